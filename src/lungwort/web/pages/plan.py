"""What is due and overdue."""

from __future__ import annotations

import tempfile
from datetime import timedelta
from pathlib import Path
from typing import Final

from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import InputError
from lungwort.jobs import due as job
from lungwort.jobs.status import when_words
from lungwort.plan.due import LATE, Due
from lungwort.web.context import Looking
from lungwort.web.lists import Cell, Column, Table, list_page
from lungwort.web.menu import N_

router = APIRouter()

COLUMNS: Final = (
    Column("when", N_("When")),
    Column("group", N_("How soon")),
    Column("what", N_("What")),
    Column("thing", N_("Of what")),
    Column("why", N_("Why")),
    Column("rule", N_("By which rule")),
)
WEEK: Final = timedelta(days=7)
MONTH: Final = timedelta(days=31)
AHEAD: Final = (7, 31, 92, 366)


@router.get("/plan")
def plan(ctx: Looking, within: str = "", supply: str = "") -> Response:
    """List what is due, what is late first."""
    days = int(within) if within.isascii() and within.isdigit() and len(within) < 5 else None  # noqa: PLR2004 - years ahead
    agenda = job.due(ctx.where, now=ctx.now, within_days=days)
    found = [*agenda.items, *agenda.later]
    rows = [_row(one, ctx.now.date()) for one in found if not supply or one.supply_id == supply]
    if days is not None:
        rows = [
            _row(one, ctx.now.date())
            for one in agenda.items
            if not supply or one.supply_id == supply
        ]
    table = Table(
        key="plan",
        columns=COLUMNS,
        rows=tuple(rows),
        empty=N_("Nothing is planned."),
        file_stem="plan",
    )
    late = sum(one.state in LATE for one in found)
    return list_page(
        ctx, "plan/plan.html", table, agenda=agenda, late=late, within=within, ahead=AHEAD
    )


def _row(one: Due, today: object) -> tuple[Cell, ...]:
    return (
        Cell(when_words(one), sort=one.due.isoformat()),
        Cell(_soon(one, today)),
        Cell(one.what, href=_way(one), spoken=True),
        Cell(one.subject),
        Cell(one.why),
        Cell(one.rule),
    )


def _soon(one: Due, today: object) -> str:
    if one.state in LATE:
        return N_("late")
    left = one.due - today  # type: ignore[operator]
    if left <= WEEK:
        return N_("within a week")
    return N_("within a month") if left <= MONTH else N_("later")


_WAYS: Final = {
    "calibration": "/instruments/{id}",
    "bump_test": "/instruments/{id}",
    "lot": "/lots/{id}",
    "stock": "/lots/{id}",
    "competence": "/people/{id}",
    "test": "/tests/new",
    "cartridge": "/supplies/{supply}/cartridges/new",
    "assessment": "/supplies/{supply}/assessment",
}


def _way(one: Due) -> str:
    """Lead to where it is done."""
    return _WAYS.get(one.kind, "/plan").format(id=one.subject_id, supply=one.supply_id)


@router.get("/plan/calendar.ics")
def calendar(ctx: Looking) -> Response:
    """Give what is due as a calendar file."""
    agenda = job.due(ctx.where, now=ctx.now, within_days=366)
    if not agenda.items and not agenda.later:
        raise InputError("Nothing is planned, so there is no calendar. Add a supply first.")
    with tempfile.TemporaryDirectory(prefix="lungwort-") as folder:
        content = job.write_calendar(agenda, Path(folder) / "plan.ics").read_bytes()
    return Response(
        content,
        media_type="text/calendar; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="plan.ics"'},
    )
