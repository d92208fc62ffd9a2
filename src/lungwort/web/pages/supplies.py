"""Supplies: how each stands and why; withdrawal and return."""

from __future__ import annotations

from datetime import timedelta
from typing import Final

from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import LungwortError
from lungwort.jobs import return_ as return_job
from lungwort.jobs import status as status_job
from lungwort.jobs import withdraw as withdraw_job
from lungwort.jobs.held import STOP
from lungwort.jobs.status import SupplyRow
from lungwort.jobs.supply_now import SupplyNow, supply_now
from lungwort.paper.text import VERDICT_WORDS
from lungwort.web.context import Approving, Ctx, Looking, Testing
from lungwort.web.forms import Field, attempt, form_page
from lungwort.web.lists import Cell, Column, Table, list_page
from lungwort.web.menu import N_
from lungwort.web.posted import Form

router = APIRouter()

CHART_DAYS: Final = 30
COLUMNS: Final = (
    Column("supply", N_("Supply")),
    Column("site", N_("Site")),
    Column("state", N_("State")),
    Column("verdict", N_("Its air")),
    Column("weakest", N_("Weakest evidence")),
    Column("next", N_("Next")),
    Column("findings", N_("Open findings")),
)


@router.get("/supplies")
def supplies(ctx: Looking) -> Response:
    """List all supplies in use."""
    found = status_job.status(ctx.where, now=ctx.now)
    table = Table(
        key="supplies",
        columns=COLUMNS,
        rows=tuple(map(_row, found.rows)),
        empty=N_("No supply is on record yet."),
        file_stem="supplies",
    )
    actions = [(N_("Add a supply"), "/supplies/new")] if ctx.may("keep") else []
    return list_page(
        ctx, "list.html", table, title=N_("Supplies"), actions=actions, remarks=found.notes
    )


def _row(row: SupplyRow) -> tuple[Cell, ...]:
    return (
        Cell(row.title or row.supply, href=f"/supplies/{row.supply_id}"),
        Cell(row.site),
        Cell(row.state_words, mark=row.state),
        Cell(VERDICT_WORDS[row.verdict], mark=row.verdict),
        Cell("" if row.weakest is None else row.weakest.text),
        Cell(row.next_text, sort=row.next_due.due.isoformat() if row.next_due else "9999"),
        Cell(", ".join(row.findings), sort=len(row.findings)),
    )


@router.get("/supplies/{supply_id}")
def supply(ctx: Looking, supply_id: str) -> Response:
    """Show how a supply stands, and why."""
    shown = supply_now(ctx.where, supply_id, now=ctx.now)
    asked = ctx.request.query_params.get("outlet")
    outlet = next((one for one in shown.outlets if one.id == asked), None)
    if outlet is None:
        outlet = next(iter(sorted(shown.outlets, key=lambda one: one.last is None)), None)
    begin = end = ""
    if outlet is not None and outlet.last is not None and outlet.newest is not None:
        # The newest log, and no more of a long one than can be read at a look.
        end = outlet.last.isoformat()
        begin = max(outlet.newest, outlet.last - timedelta(days=CHART_DAYS)).isoformat()
    return ctx.page(
        "supplies/supply.html", now=shown, outlet=outlet, begin=begin, end=end, key=_key(shown)
    )


def _key(shown: SupplyNow) -> str:
    """Name the word of the large panel: withdrawn goes before anything that the air may be."""
    if shown.row is None:
        return "not_applicable"
    return "withdrawn" if shown.withdrawn else shown.row.verdict


WITHDRAW: Final = Field(
    name="because",
    label=N_("Why it is withdrawn"),
    kind="area",
    option="--because",
    required=True,
    help=N_("What was found or suspected. It is recorded for good, with your name and the time."),
)
SINCE: Final = Field(
    name="time",
    label=N_("Since when"),
    kind="moment",
    option="--time",
    help=N_("In the site's time; left empty it is now."),
)


def _withdraw_page(
    ctx: Ctx,
    supply_id: str,
    values: dict[str, str] | None = None,
    error: LungwortError | None = None,
) -> Response:
    shown = supply_now(ctx.where, supply_id, now=ctx.now)
    open_ones = [one for one in shown.findings if one.is_open]
    fields = [WITHDRAW, SINCE]
    if open_ones:
        fields.append(
            Field(
                name="findings",
                label=N_("Findings that led to it"),
                kind="choice",
                many=True,
                option="--finding",
                choices=tuple(
                    (one.finding.number, f"{one.finding.number}: {one.finding.text}")
                    for one in open_ones
                ),
            )
        )
    return form_page(
        ctx,
        "supplies/withdraw.html",
        title=N_("Withdraw"),
        fields=fields,
        action=f"/supplies/{shown.supply.id}/withdraw",
        submit=N_("Withdraw the supply now"),
        values=values,
        error=error,
        danger=True,
        now=shown,
        stop=STOP,
    )


@router.get("/supplies/{supply_id}/withdraw")
def withdraw_form(ctx: Testing, supply_id: str) -> Response:
    """Ask why a supply is withdrawn."""
    return _withdraw_page(ctx, supply_id)


@router.post("/supplies/{supply_id}/withdraw")
def withdraw(ctx: Testing, supply_id: str, form: Form) -> Response:
    """Withdraw a supply."""

    def do() -> str:
        done = withdraw_job.withdraw(
            ctx.session(),
            supply_id,
            form.text("because") or "",
            findings=form.texts("findings"),
            time=form.text("time"),
        )
        ctx.tell(done.said, kind="minded", remarks=done.remarks, next_steps=done.next_steps)
        return f"/supplies/{done.state.supply_id}"

    return attempt(ctx, do, again=lambda error: _withdraw_page(ctx, supply_id, form.values, error))


BECAUSE: Final = Field(
    name="because",
    label=N_("What else is to be said of it"),
    kind="area",
    option="--because",
)


def _return_page(
    ctx: Ctx,
    supply_id: str,
    values: dict[str, str] | None = None,
    error: LungwortError | None = None,
) -> Response:
    shown = supply_now(ctx.where, supply_id, now=ctx.now)
    against = return_job.against(ctx.where, supply_id, now=ctx.now)
    return form_page(
        ctx,
        "supplies/return.html",
        title=N_("Return to service"),
        fields=[BECAUSE],
        action=f"/supplies/{shown.supply.id}/return",
        submit=N_("Return the supply to service"),
        values=values,
        error=error,
        now=shown,
        against=against,
    )


@router.get("/supplies/{supply_id}/return")
def return_form(ctx: Looking, supply_id: str) -> Response:
    """Show what stands against the return of a supply, or ask for it."""
    return _return_page(ctx, supply_id)


@router.post("/supplies/{supply_id}/return")
def return_to_service(ctx: Approving, supply_id: str, form: Form) -> Response:
    """Return a supply to service."""

    def do() -> str:
        done = return_job.return_supply(ctx.session(), supply_id, form.text("because") or "")
        ctx.tell(done.said, remarks=done.remarks, next_steps=done.next_steps)
        return f"/supplies/{done.state.supply_id}"

    return attempt(ctx, do, again=lambda error: _return_page(ctx, supply_id, form.values, error))
