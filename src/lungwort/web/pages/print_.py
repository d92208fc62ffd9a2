"""Papers from the record: to hang up, hand over or keep."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final

from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import LungwortError
from lungwort.jobs import hand_test_views, print_choices
from lungwort.jobs import print as job
from lungwort.jobs.due import parse_within
from lungwort.web.context import Ctx, Looking
from lungwort.web.forms import REFUSED, Field, form_view
from lungwort.web.menu import N_
from lungwort.web.pages._handing import PDF, XLSX, hand_out

if TYPE_CHECKING:
    from lungwort.jobs.print_choices import Choices

router = APIRouter()

PLACE: Final = "/print"
_MEDIA: Final = {".pdf": PDF, ".xlsx": XLSX}
_SUPPLY_LABEL: Final = N_("Supply")


def _supply(choices: Choices, *, withdrawn: bool = False) -> Field:
    listed = choices.withdrawn if withdrawn else choices.supplies
    return Field(
        name="supply",
        label=_SUPPLY_LABEL,
        kind="choice",
        option="SUPPLY",
        required=True,
        groups=(("", listed),),
    )


def _fields(choices: Choices) -> dict[str, tuple[Field, ...]]:
    return {
        "report": (
            _supply(choices),
            Field(
                name="from",
                label=N_("First day"),
                kind="date",
                option="--from",
                help=N_("Twelve months before the last day where nothing is given."),
            ),
            Field(
                name="to",
                label=N_("Last day"),
                kind="date",
                option="--to",
                help=N_("Today where nothing is given."),
            ),
            Field(
                name="by",
                label=N_("Who signs it"),
                kind="choice",
                option="--by",
                groups=(("", choices.people),),
                help=N_("Left to fill in by hand where nobody is chosen."),
            ),
        ),
        "summary": (
            Field(
                name="site",
                label=N_("Site"),
                kind="choice",
                option="--site",
                required=True,
                groups=(("", choices.sites),),
            ),
            Field(
                name="within",
                label=N_("How many days ahead to look"),
                kind="number",
                option="--within",
                help=N_("60 where nothing is given."),
            ),
        ),
        "notice": (
            _supply(choices, withdrawn=True),
            Field(
                name="decides",
                label=N_("Who decides that it returns to service"),
                option="--decides",
                help=N_("Who withdrew it where nothing is given."),
            ),
        ),
        "tag": (
            _supply(choices),
            Field(
                name="stage",
                label=N_("Stages"),
                option="--stage",
                kind="text",
                many=True,
                help=N_("A name a line; all with a change on record where nothing is given."),
            ),
            Field(
                name="paper",
                label=N_("Paper"),
                kind="choice",
                option="--paper",
                choices=(("a6", N_("one on a small page (A6)")), ("a4", N_("four on a page (A4)"))),
                required=True,
            ),
        ),
    }


@router.get(PLACE)
def choose(ctx: Looking) -> Response:
    """Offer all that can be printed."""
    return _choose(ctx, {})


def _choose(
    ctx: Ctx,
    values: Mapping[str, str],
    *,
    kind: str = "",
    error: LungwortError | None = None,
) -> Response:
    choices = print_choices.choices(ctx.where, now=ctx.now)
    asked = {name: value for name, value in ctx.request.query_params.items() if value}
    alone = {"supply": choices.supplies[0][0]} if len(choices.supplies) == 1 else {}
    site = {"site": choices.sites[0][0]} if len(choices.sites) == 1 else {}
    forms = {
        name: form_view(
            fields,
            action=f"{PLACE}/{name}",
            submit=N_("Make the file"),
            values={"paper": "a6", **site, **alone, **asked, **(values if name == kind else {})},
            error=error if name == kind else None,
        )
        for name, fields in _fields(choices).items()
    }
    return ctx.page(
        "print/print.html",
        status=200 if error is None else REFUSED,
        forms=forms,
        choices=choices,
        kind=kind,
        procedures=hand_test_views.procedures(ctx.where.workspace),
    )


def _made(
    ctx: Ctx,
    kind: str,
    make: Callable[[Path], job.Printed],
    values: Mapping[str, str] | None = None,
) -> Response:
    with tempfile.TemporaryDirectory(prefix="lungwort-") as name:
        try:
            printed = make(Path(name))
        except LungwortError as error:
            given = dict(ctx.request.query_params) if values is None else values
            return _choose(ctx, given, kind=kind, error=error)
        content = printed.path.read_bytes()
    if printed.notes:
        # The file is no page: what is to be minded waits for the next one.
        ctx.tell(
            ctx.gettext("The paper %(name)s was made. Mind:") % {"name": printed.path.name},
            kind="minded",
            remarks=printed.notes,
        )
    return hand_out(content, printed.path.name, _MEDIA[printed.path.suffix])


def _asked(ctx: Ctx, name: str) -> str | None:
    return ctx.request.query_params.get(name, "").strip() or None


@router.get(f"{PLACE}/report")
def report(ctx: Looking) -> Response:
    """Print the report of a supply over a period."""
    return _made(
        ctx,
        "report",
        lambda folder: job.report(
            ctx.where,
            _asked(ctx, "supply") or "",
            folder,
            now=ctx.now,
            begin=_asked(ctx, "from"),
            end=_asked(ctx, "to"),
            by=_asked(ctx, "by"),
        ),
    )


@router.get(f"{PLACE}/summary")
def summary(ctx: Looking) -> Response:
    """Print the summary of a site."""

    def make(folder: Path) -> job.Printed:
        within = _asked(ctx, "within")
        if within is not None and within.isdigit():
            within += " d"
        days = None if within is None else parse_within(within)
        return job.summary(ctx.where, _asked(ctx, "site"), folder, now=ctx.now, within_days=days)

    return _made(ctx, "summary", make)


@router.get(f"{PLACE}/notice")
def notice_of_chosen(ctx: Looking) -> Response:
    """Print the notice of a withdrawn supply that was chosen."""
    return _notice(ctx, _asked(ctx, "supply") or "")


@router.get(PLACE + "/notice/{supply_id}")
def notice(ctx: Looking, supply_id: str) -> Response:
    """Print the notice of a withdrawn supply."""
    return _notice(ctx, supply_id)


def _notice(ctx: Ctx, supply: str) -> Response:
    return _made(
        ctx,
        "notice",
        lambda folder: job.notice(
            ctx.where, supply, folder, now=ctx.now, decides=_asked(ctx, "decides")
        ),
        {**ctx.request.query_params, "supply": supply},
    )


@router.get(f"{PLACE}/tag")
def tag(ctx: Looking) -> Response:
    """Print the tags of a supply's stages of treatment."""
    stages = tuple(
        line.strip()
        for value in ctx.request.query_params.getlist("stage")
        for line in value.splitlines()
        if line.strip()
    )
    return _made(
        ctx,
        "tag",
        lambda folder: job.tags(
            ctx.where,
            _asked(ctx, "supply") or "",
            folder,
            now=ctx.now,
            stages=stages,
            paper=_asked(ctx, "paper") or "a6",
        ),
    )


@router.get(f"{PLACE}/tests")
def workbook(ctx: Looking) -> Response:
    """Give the workbook of all tests."""
    return _made(ctx, "tests", lambda folder: job.workbook(ctx.where, folder, now=ctx.now))
