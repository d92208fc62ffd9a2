"""Why the air went wrong: from readings on record, or from files sent in that are not kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.jobs import cause as job
from lungwort.jobs.reading import Reading
from lungwort.web.calculated import calculated_post
from lungwort.web.context import Ctx, Looking
from lungwort.web.forms import Field
from lungwort.web.menu import N_
from lungwort.web.posted import Form, Posted

if TYPE_CHECKING:
    from lungwort.paper.calculation import Calculation

router = APIRouter()

FIELDS: Final = (
    Field(
        name="outlet",
        label=N_("Outlet on record"),
        kind="choice",
        option="--outlet",
        help=N_("Its readings on record are taken; or send in a logger's file below."),
    ),
    Field(
        name="finding",
        label=N_("Finding on record"),
        option="--finding",
        help=N_("Such as F-2026-0001, in place of an outlet."),
    ),
    Field(
        name="files",
        label=N_("Logger's file"),
        kind="file",
        many=True,
        help=N_("Files of one outlet; they are read and not kept."),
    ),
    Field(
        name="begin",
        label=N_("Begin of the span"),
        kind="moment",
        option="--from",
        help=N_(
            "The event with some hours before it. Where nothing is given: the newest excursion on "
            "record, or the whole file."
        ),
    ),
    Field(name="end", label=N_("End of the span"), kind="moment", option="--to"),
    Field(
        name="intake",
        label=N_("Logger's file of the intake"),
        kind="file",
        many=True,
        help=N_("Readings at the intake over the same time tell much."),
    ),
    Field(
        name="zone",
        label=N_("Time zone of the file"),
        option="--zone",
        help=N_("Such as Europe/London."),
    ),
    Field(
        name="column",
        label=N_("Column of a gas"),
        kind="area",
        option="--column",
        help=N_("Where it is not found by itself, a line each: 'co=Sensor 1'."),
    ),
    Field(
        name="unit",
        label=N_("Unit of a column"),
        kind="area",
        option="--unit",
        help=N_("Where the file does not say it, a line each: 'co=ppm'."),
    ),
    Field(
        name="settle",
        label=N_("Settling time"),
        option="--settle",
        help=N_("Readings in it are left out; 30 min where nothing is given."),
    ),
)
_SELDOM: Final = frozenset({"intake", "zone", "column", "unit", "settle"})


@router.get("/cause")
def ask(ctx: Looking) -> Response:
    """Ask in which readings a cause is to be looked for."""
    return _page(ctx, None)


@router.post("/cause")
def cause(ctx: Looking, form: Form) -> Response:
    """Show which causes fit; nothing is recorded."""
    return _page(ctx, form)


def _page(ctx: Ctx, form: Posted | None) -> Response:
    from lungwort.jobs.hand_test_pages import beginning  # noqa: PLC0415 - only here

    places = tuple(
        (one.outlet_id, f"{one.supply} · {one.outlet}") for one in beginning(ctx.where).places
    )
    asked = ctx.request.query_params
    if form is None and "finding" in asked:
        job.finding_number(ctx.where, asked["finding"])
    return calculated_post(
        ctx,
        form,
        title=N_("Why did the air go wrong?"),
        lead=N_(
            "Causes that fit the readings, with what speaks for and against each. A pointer to what "
            "to look at first; the air counts as bad until it was tested again and found good."
        ),
        fields=(evolve(FIELDS[0], choices=places), *FIELDS[1:]),
        action="/cause",
        submit=N_("Look for causes"),
        work=lambda sent: _looked_for(ctx, sent),
        seldom=_SELDOM,
    )


def _looked_for(ctx: Ctx, sent: Posted) -> Calculation:
    return job.cause(ctx.where, request_of(sent), now=ctx.now)


def request_of(sent: Posted) -> job.Request:
    """Take what was sent in.

    Parameters
    ----------
    sent : Posted
        The form.

    Returns
    -------
    Request
        What is asked; files go before what is on record.
    """
    files = tuple(one.path for one in sent.files.get("files", ()))
    begin, end = (
        None if text is None else text.replace("T", " ")
        for text in (sent.text("begin"), sent.text("end"))
    )
    return job.Request(
        files=files,
        intake=tuple(one.path for one in sent.files.get("intake", ())),
        outlet=None if files else sent.text("outlet"),
        finding=None if files else sent.text("finding"),
        begin=begin,
        end=end,
        reading=Reading(
            zone=sent.text("zone"),
            unit=sent.lines("unit"),
            column=sent.lines("column"),
            settle=sent.text("settle"),
        ),
    )
