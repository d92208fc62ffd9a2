"""Findings: from what was found to its cause, its cure, the test after it, and the end."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from attrs import frozen
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.air.analytes import ANALYTES
from lungwort.errors import LungwortError
from lungwort.jobs import finding as job
from lungwort.jobs.catalogue import outlet as outlet_job
from lungwort.jobs.catalogue import supply as supply_job
from lungwort.jobs.finding import FindingShown
from lungwort.register.model import CAUSE, CLOSE, CURE
from lungwort.web.context import Approving, Ctx, Looking, Testing
from lungwort.web.forms import Field, FormView, attempt, form_page, form_view
from lungwort.web.lists import Cell, Column, Table, list_page
from lungwort.web.menu import N_
from lungwort.web.posted import Form

router = APIRouter()

COLUMNS: Final = (
    Column("number", N_("Number")),
    Column("state", N_("State")),
    Column("found", N_("Found")),
    Column("supply", N_("Supply")),
    Column("outlet", N_("Outlet")),
    Column("what", N_("What is wrong")),
    Column("lacks", N_("What is lacking")),
)
AROUND: Final = timedelta(hours=6)


@router.get("/findings")
def findings(ctx: Looking, supply: str = "", closed: str = "") -> Response:
    """List the findings, open ones first."""
    found = job.list_findings(ctx.where, supply=supply or None, closed=True, now=ctx.now)
    open_ones = [one for one in found if one.is_open]
    shown = [*open_ones, *(one for one in reversed(found) if not one.is_open)]
    if closed == "no":
        shown = open_ones
    table = Table(
        key="findings",
        columns=COLUMNS,
        rows=tuple(map(_row, shown)),
        empty=N_("No finding is on record."),
        file_stem="findings",
    )
    return list_page(
        ctx, "findings/findings.html", table, open_count=len(open_ones), only_open=closed == "no"
    )


def _row(one: FindingShown) -> tuple[Cell, ...]:
    return (
        Cell(one.finding.number, href=f"/findings/{one.finding.number}"),
        Cell("open" if one.is_open else "closed"),
        Cell(one.when, sort=one.finding.opened_at),
        Cell(one.supply, href=f"/supplies/{one.finding.supply_id}"),
        Cell(one.outlet),
        Cell(one.finding.text),
        Cell(" ".join(one.lacks)),
    )


@frozen
class Stage:
    """One stage of a finding's way.

    Parameters
    ----------
    label : str
        What it is called.
    done : bool
        Whether it is behind us.
    lines : tuple of (str, str, str)
        When, by whom, what.
    verdicts : tuple of (str, str, str)
        When, at which outlet, and the verdict's id.
    not_needed : bool
        Whether it is left out, since it is not about the air.
    """

    label: str
    done: bool
    lines: tuple[tuple[str, str, str], ...] = ()
    verdicts: tuple[tuple[str, str, str], ...] = ()
    not_needed: bool = False


def _stages(shown: FindingShown) -> tuple[Stage, ...]:
    def of(kind: str) -> tuple[tuple[str, str, str], ...]:
        return tuple(
            (one.when, one.by, one.action.text) for one in shown.actions if one.action.kind == kind
        )

    causes, cures, ends = of(CAUSE), of(CURE), of(CLOSE)
    return (
        Stage(N_("Found"), True, ((shown.when, shown.by, shown.finding.text),)),
        Stage(N_("Cause"), bool(causes), causes),
        Stage(N_("Cure"), bool(cures), cures),
        Stage(
            N_("Tested again"),
            shown.tested_again,
            (),
            shown.retests,
            not_needed=not shown.tested_again
            and not shown.is_open
            and not job.is_about_air(shown.finding),
        ),
        Stage(N_("Closed"), not shown.is_open, ends),
    )


WHEN: Final = Field(
    name="time",
    label=N_("When"),
    kind="moment",
    option="--time",
    help=N_("In the site's time; left empty it is now."),
)


def _text(label: str, option: str = "--text") -> Field:
    return Field(name="text", label=label, kind="area", option=option, required=True)


def _action_forms(
    shown: FindingShown, posted: tuple[str, dict[str, str], LungwortError] | None
) -> dict[str, FormView]:
    number = shown.finding.number
    wanted = {
        "cause": ([_text(N_("Why it went wrong")), WHEN], N_("Record the cause")),
        "cure": ([_text(N_("What was done about it")), WHEN], N_("Record the cure")),
        "note": ([_text(N_("A note")), WHEN], N_("Record the note")),
        "close": (
            [
                _text(N_("Why it can be closed"), "--because"),
                Field(
                    name="not_air",
                    label=N_("It was not about the air, and needs no test"),
                    kind="flag",
                    option="--not-air",
                ),
            ],
            N_("Close the finding"),
        ),
    }
    if job.is_about_air(shown.finding):
        wanted["close"][0].pop()
    made = {}
    for kind, (fields, submit) in wanted.items():
        values, error = ({}, None)
        if posted is not None and posted[0] == kind:
            values, error = posted[1], posted[2]
        made[kind] = form_view(
            fields,
            action=f"/findings/{number}/{kind}",
            submit=submit,
            values=values,
            error=error,
        )
    return made


def _page(
    ctx: Ctx, number: str, posted: tuple[str, dict[str, str], LungwortError] | None = None
) -> Response:
    shown = job.show_finding(ctx.where, number, now=ctx.now)
    begun = shown.finding.opened_at
    return ctx.page(
        "findings/finding.html",
        status=200 if posted is None else 422,
        shown=shown,
        stages=_stages(shown),
        forms=_action_forms(shown, posted),
        about_air=job.is_about_air(shown.finding),
        begin=(begun - AROUND).isoformat(),
        end=(begun + AROUND).isoformat(),
        local_begin=_local(shown.measured[0] if shown.measured else begun - AROUND, shown.zone),
        local_end=_local(shown.measured[1] if shown.measured else begun, shown.zone),
        notes_of=tuple(one for one in shown.actions if one.action.kind == "note"),
    )


def _local(moment: datetime, zone: str) -> str:
    """Write a moment as a field of a form holds it, in the site's time."""
    return moment.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%dT%H:%M")


def _new_page(
    ctx: Ctx, values: dict[str, str] | None = None, error: LungwortError | None = None
) -> Response:
    supplies = supply_job.listed(ctx.where, now=ctx.now).plain["supplies"]
    outlets = outlet_job.listed(ctx.where).plain["outlets"]
    fields = [
        Field(
            name="supply",
            label=N_("Which supply"),
            kind="choice",
            option="--supply",
            required=True,
            groups=(("", tuple((one["id"], one.get("title") or one["name"]) for one in supplies)),),
        ),
        _text(N_("What is wrong")),
        Field(
            name="outlet",
            label=N_("At which outlet"),
            kind="choice",
            option="--outlet",
            groups=(("", tuple((one["id"], one["name"]) for one in outlets)),),
        ),
        Field(
            name="analytes",
            label=N_("What in the air"),
            kind="choice",
            many=True,
            option="--analyte",
            choices=tuple((key, one.name) for key, one in ANALYTES.items()),
            help=N_("Left empty it is about all of the air."),
        ),
        Field(
            name="not_air",
            label=N_("It is not about the air, but about its keeping"),
            kind="flag",
            option="--not-air",
        ),
        WHEN,
    ]
    return form_page(
        ctx,
        "findings/new.html",
        title=N_("Enter a finding"),
        fields=fields,
        action="/findings/new",
        submit=N_("Record the finding"),
        values=values or dict(ctx.request.query_params),
        error=error,
    )


@router.get("/findings/new")
def new_form(ctx: Testing) -> Response:
    """Ask what is wrong."""
    return _new_page(ctx)


@router.post("/findings/new")
def new(ctx: Testing, form: Form) -> Response:
    """Open a finding that no verdict opened."""

    def do() -> str:
        made = job.open_finding(
            ctx.session(),
            form.text("supply") or "",
            form.text("text") or "",
            analytes=form.texts("analytes"),
            outlet=form.text("outlet"),
            time=form.text("time"),
            not_air=form.flag("not_air"),
        )
        ctx.tell(f"Finding {made.finding.number} is on record.", remarks=made.remarks)
        return f"/findings/{made.finding.number}"

    return attempt(ctx, do, again=lambda error: _new_page(ctx, form.values, error))


@router.get("/findings/{number}")
def finding(ctx: Looking, number: str) -> Response:
    """Show a finding and its way."""
    return _page(ctx, number)


@router.post("/findings/{number}/close")
def close(ctx: Approving, number: str, form: Form) -> Response:
    """Close a finding."""

    def do() -> str:
        made = job.close_finding(
            ctx.session(), number, form.text("text") or "", not_air=form.flag("not_air")
        )
        ctx.tell(f"Finding {made.finding.number} is closed.", remarks=made.remarks)
        return f"/findings/{made.finding.number}"

    return attempt(ctx, do, again=lambda error: _page(ctx, number, ("close", form.values, error)))


@router.post("/findings/{number}/{kind}")
def act(ctx: Testing, number: str, kind: str, form: Form) -> Response:
    """Enter the cause of a finding, its cure, or a note."""

    def do() -> str:
        made = job.add_action(
            ctx.session(), number, kind, form.text("text") or "", time=form.text("time")
        )
        ctx.tell("It is on record.", remarks=made.remarks)
        return f"/findings/{made.finding.number}"

    shown_at = kind if kind in {"cause", "cure"} else "note"
    return attempt(ctx, do, again=lambda error: _page(ctx, number, (shown_at, form.values, error)))
