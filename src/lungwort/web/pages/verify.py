"""Verify: is the record as it was, and does a paper or a pack belong to it."""

from __future__ import annotations

import secrets
import shutil
import tempfile
from collections import OrderedDict
from datetime import datetime
from pathlib import Path
from typing import Final

from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import LungwortError, UnknownRecordError
from lungwort.jobs import sent_in
from lungwort.jobs import verify as job
from lungwort.jobs.verify import Alone, Outcome, Outside
from lungwort.web.context import Ctx, Looking
from lungwort.web.forms import Field, attempt, form_page
from lungwort.web.menu import N_
from lungwort.web.posted import Form, Received
from lungwort.web.tasks import Progress, tasks

router = APIRouter()

Found = Outcome | tuple[Alone, ...]
MOST_KEPT: Final = 40

FIELDS: Final = (
    Field(
        name="files",
        label=N_("Certificates or packs that were kept elsewhere"),
        kind="file",
        many=True,
        help=N_(
            "Choose them or drop them here: PDF files as they were issued, or ZIP files as handed over."
        ),
    ),
    Field(
        name="heads",
        label=N_("Heads that were kept elsewhere"),
        many=True,
        option="--head",
        help=N_("One a line, as SIZE:ROOT, as it stands on a certificate."),
    ),
    Field(
        name="alone",
        label=N_("The files are of another workspace: check them by themselves"),
        kind="flag",
        help=N_("The record kept here is then left out."),
    ),
)


def _page(
    ctx: Ctx, values: dict[str, str] | None = None, error: LungwortError | None = None
) -> Response:
    return form_page(
        ctx,
        "verify/verify.html",
        title=N_("Verify"),
        fields=FIELDS,
        action="/verify",
        submit=N_("Check the record"),
        values=values,
        error=error,
    )


@router.get("/verify")
def verify(ctx: Looking) -> Response:
    """Ask what the record is compared with."""
    return _page(ctx)


@router.post("/verify")
def check(ctx: Looking, form: Form) -> Response:
    """Recompute the whole record, beside the pages."""

    def do() -> str:
        heads = tuple(line for text in form.texts("heads") for line in text.split())
        for text in heads:
            job.parse_head(text)
        folder = Path(tempfile.mkdtemp(prefix="lungwort-verify-"))
        try:
            certificates, packs = _sorted(form.files.get("files", ()), folder)
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        outside = Outside(heads=heads, certificates=certificates, packs=packs)
        results, alone = _results(ctx), form.flag("alone")
        where = ctx.where

        def work(progress: Progress) -> str:
            try:
                if alone:
                    return f"/verify/{results.keep(job.check_alone(outside), ctx)}"
                outcome = job.verify(where, outside, progress=progress)
            finally:
                shutil.rmtree(folder, ignore_errors=True)
            return f"/verify/{results.keep(outcome, ctx)}"

        try:
            task = tasks(ctx.request.app).start(
                ctx.gettext(N_("Checking the files") if alone else N_("Checking the record")),
                work,
                by=ctx.visit,
                alone="verify",
                back="/verify",
            )
        except LungwortError:
            # No task takes the files away.
            shutil.rmtree(folder, ignore_errors=True)
            raise
        return f"/tasks/{task}"

    return attempt(ctx, do, again=lambda error: _page(ctx, form.values, error))


class Results:
    """Checks that were made since the server was started."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, tuple[Found, datetime]] = OrderedDict()

    def keep(self, outcome: Found, ctx: Ctx) -> str:
        """Keep what was found; give the name under which it is shown."""
        name = secrets.token_urlsafe(12)
        self._kept[name] = (outcome, ctx.now)
        while len(self._kept) > MOST_KEPT:
            self._kept.popitem(last=False)
        return name

    def get(self, name: str) -> tuple[Found, datetime] | None:
        """Give what was found."""
        return self._kept.get(name)


def _results(ctx: Ctx) -> Results:
    state = ctx.request.app.state
    if not hasattr(state, "verify_results"):
        state.verify_results = Results()
    found: Results = state.verify_results
    return found


@router.get("/verify/{name}")
def found(ctx: Looking, name: str) -> Response:
    """Show what a check found."""
    kept = _results(ctx).get(name)
    if kept is None:
        raise UnknownRecordError(
            "This check was made before the server was started anew. Check again."
        )
    outcome, at = kept
    if isinstance(outcome, tuple):
        return ctx.page("verify/alone.html", found=outcome, at=at)
    return ctx.page("verify/found.html", outcome=outcome, at=at, shows_not=job.SHOWS_NOT)


def _sorted(files: tuple[Received, ...], folder: Path) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    """Tell papers from packs, and refuse what is neither or means harm."""
    certificates: list[Path] = []
    packs: list[Path] = []
    for number, one in enumerate(files):
        kind = sent_in.kind_of(one.path)
        place = folder / str(number)
        place.mkdir()
        kept = place / one.name
        (certificates if kind == sent_in.CERTIFICATE else packs).append(kept)
        shutil.move(one.path, kept)
    return tuple(certificates), tuple(packs)
