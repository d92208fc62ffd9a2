"""When will it go wrong? Trends of an outlet's readings, or of files that are sent in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import InputError
from lungwort.jobs import trend as job
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
        name="files",
        label=N_("Logger's file"),
        kind="file",
        many=True,
        help=N_("Files of one outlet over weeks or months; they are read and not kept."),
    ),
    Field(
        name="limits",
        label=N_("Limit set"),
        kind="choice",
        option="--limits",
        help=N_("That in force at the outlet where nothing is chosen; none for a file."),
    ),
    Field(
        name="supply_pressure",
        label=N_("Supply pressure, highest"),
        option="--supply-pressure",
        help=N_(
            "Such as 7 bar(g), where a limit depends on it; that on record where nothing is given."
        ),
    ),
    Field(
        name="lowest_temperature",
        label=N_("Lowest temperature of line or cylinder"),
        option="--lowest-temperature",
        help=N_("Such as 5 °C, where a limit depends on it."),
    ),
    Field(
        name="analyte",
        label=N_("Only this"),
        option="--analyte",
        help=N_("Such as co or water; all that has a limit where nothing is given."),
    ),
    Field(
        name="figure",
        label=N_("Figure of a day"),
        kind="choice",
        choices=(
            ("p95", N_("95 % level (5 % where low is bad)")),
            ("median", N_("Median")),
            ("highest", N_("Highest reading (lowest where low is bad)")),
        ),
        option="--figure",
        help=N_("What of each day is held against the limit."),
    ),
    Field(name="begin", label=N_("First day"), kind="date", option="--from"),
    Field(name="end", label=N_("Last day"), kind="date", option="--to"),
    Field(
        name="least_coverage",
        label=N_("Share of a day that must have been read"),
        kind="number",
        unit="%",
        option="--least-coverage",
        help=N_("20 % where nothing is given: one shift of five hours."),
    ),
    Field(
        name="zone",
        label=N_("Time zone of the file"),
        option="--zone",
        help=N_("Such as Europe/London; days are counted in it."),
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
)
_SELDOM: Final = frozenset(
    {
        *("begin", "end", "least_coverage", "zone", "column", "unit", "figure"),
        *("supply_pressure", "lowest_temperature"),
    }
)


@router.get("/trend")
def ask(ctx: Looking) -> Response:
    """Ask which readings are looked at; an address that names an outlet shows it at once."""
    query = ctx.request.query_params
    named = {one.name: tuple(query.getlist(one.name)) for one in FIELDS if one.name in query}
    return _page(ctx, Posted(fields=named) if named else None)


@router.post("/trend")
def trend(ctx: Looking, form: Form) -> Response:
    """Show the trends; nothing is recorded."""
    return _page(ctx, form)


def _page(ctx: Ctx, form: Posted | None) -> Response:
    from lungwort.jobs.hand_test_pages import beginning  # noqa: PLC0415 - only here
    from lungwort.limits.load import shipped_ids  # noqa: PLC0415 - only here

    places = tuple(
        (one.outlet_id, f"{one.supply} · {one.outlet}") for one in beginning(ctx.where).places
    )
    choices = {"outlet": places, "limits": tuple((one, one) for one in shipped_ids())}
    return calculated_post(
        ctx,
        form,
        title=N_("When will it go wrong?"),
        lead=N_(
            "Whether readings rise or fall from day to day, and when they reach a limit if nothing "
            "changes. No trend shown proves nothing of tomorrow."
        ),
        fields=tuple(
            evolve(one, choices=choices[one.name]) if one.name in choices else one for one in FIELDS
        ),
        action="/trend",
        submit=N_("Look for trends"),
        work=lambda sent: _worked_out(ctx, sent),
        seldom=_SELDOM,
    )


def _worked_out(ctx: Ctx, sent: Posted) -> Calculation:
    return job.trend(ctx.where, request_of(sent), now=ctx.now)


def request_of(sent: Posted) -> job.Request:
    """Take what was sent in.

    Parameters
    ----------
    sent : Posted
        The form.

    Returns
    -------
    Request
        What is asked.

    Raises
    ------
    InputError
        Where a number cannot be read, or a limit set is none that comes with lungwort.
    """
    from lungwort.limits.load import shipped_ids  # noqa: PLC0415 - only here

    limits = sent.text("limits")
    # A name that was sent in must never become a path on the server.
    if limits is not None and limits not in shipped_ids():
        raise InputError(f"--limits {limits!r} is not known. Choose one of the list.")
    files = tuple(one.path for one in sent.files.get("files", ()))
    return job.Request(
        outlet=None if files else sent.text("outlet"),
        files=files,
        limits=limits,
        analyte=sent.text("analyte"),
        measure=sent.text("figure") or "p95",
        begin=sent.text("begin"),
        end=sent.text("end"),
        supply_pressure=sent.text("supply_pressure"),
        lowest_temperature=sent.text("lowest_temperature"),
        least_coverage_percent=_number(sent, "least_coverage", job.LEAST_COVERAGE_PERCENT),
        reading=Reading(
            zone=sent.text("zone"), unit=sent.lines("unit"), column=sent.lines("column")
        ),
    )


def _number(sent: Posted, name: str, usual: float) -> float:
    text = sent.text(name)
    if text is None:
        return usual
    try:
        return float(text)
    except ValueError:
        option = name.replace("_", "-")
        raise InputError(f"--{option} {text!r} is no number. Write it like 12.5.") from None
