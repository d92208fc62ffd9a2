"""How uncertain a reading is: an uncertainty budget, typed into a form."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.air.analytes import ANALYTES, ATMOSPHERIC_DEW_POINT, PRESSURE_DEW_POINT
from lungwort.errors import BudgetError
from lungwort.jobs import budget as job
from lungwort.jobs.budget_form import option
from lungwort.web.calculated import calculated
from lungwort.web.context import Looking
from lungwort.web.forms import Field
from lungwort.web.german_values import two_ways
from lungwort.web.menu import N_

if TYPE_CHECKING:
    from lungwort.paper.calculation import Calculation

router = APIRouter()

UNITS: Final = ("ppm", "%", "mg/m3", "°C", "%RH")


def _number(name: str, label: str, unit: str = "", text: str = "") -> Field:
    return Field(name=name, label=label, kind="number", unit=unit, option=option(name), help=text)


FIELDS: Final = (
    Field(
        name="analyte",
        label=N_("What is read"),
        kind="choice",
        required=True,
        choices=tuple((one.key, one.name) for one in ANALYTES.values() if one.unit and one.in_air),
    ),
    Field(
        name="unit",
        label=N_("Unit of the reading"),
        kind="choice",
        required=True,
        choices=tuple((one, one) for one in UNITS),
    ),
    Field(
        name="quantity",
        label=N_("Kind of dew point"),
        kind="choice",
        choices=(
            (PRESSURE_DEW_POINT, N_("at line pressure")),
            (ATMOSPHERIC_DEW_POINT, N_("let down to the atmosphere")),
        ),
        help=N_("Only for water read in °C."),
    ),
    Field(
        name="at",
        label=N_("Readings"),
        required=True,
        option="--at",
        help=N_(
            "At which the uncertainty is wanted, such as 0, half the limit and the limit: 0 2.5 5"
        ),
    ),
    Field(
        name="instrument",
        label=N_("Instrument on record"),
        kind="choice",
        help=N_("Its newest calibration then gives the months; leave it open to type them."),
    ),
    _number("resolution", N_("Resolution"), text=N_("Smallest step of the display, in the unit.")),
    _number(
        "gas_percent",
        N_("Calibration gas, U"),
        "%",
        N_("Expanded uncertainty on its certificate, as a share of its value."),
    ),
    _number("gas_k", N_("Calibration gas, k"), text=N_("On its certificate; 2 where not given.")),
    _number(
        "linearity", N_("Linearity"), text=N_("At most so far off between the ends, in the unit.")
    ),
    _number("zero", N_("Zero"), text=N_("At most so far off in clean air, in the unit.")),
    _number(
        "drift_percent", N_("Drift in a month"), "%", N_("At most, as a share of the reading.")
    ),
    _number(
        "months",
        N_("Months since the calibration"),
        "months",
        N_("Not needed where an instrument on record is chosen."),
    ),
    _number("temperature_percent", N_("Temperature effect"), "%/K", N_("Share of the reading.")),
    _number("within_k", N_("Temperature within"), "K", N_("Of that at the calibration.")),
    _number("pressure_percent", N_("Pressure effect"), "%/kPa", N_("Share of the reading.")),
    _number("within_kpa", N_("Pressure within"), "kPa", N_("Of that at the calibration.")),
    _number(
        "cross_highest",
        N_("Shown for other gases"),
        text=N_("What other gases in the air may add to the reading at most, in the unit."),
    ),
    _number(
        "repeatability",
        N_("Repeatability"),
        text=N_("Standard deviation of repeated readings, in the unit."),
    ),
    _number("repeats", N_("Number of repeated readings"), text=N_("2 or more.")),
    Field(
        name="used_for",
        label=N_("Readings of"),
        kind="choice",
        choices=(("log", N_("a logger")), ("hand test", N_("tests by hand"))),
    ),
)
_INSTRUMENT: Final = "instrument"
EXAMPLE: Final = {
    "analyte": "co",
    "unit": "ppm",
    "at": "0 2.5 5 10",
    "resolution": "0.1",
    "gas_percent": "2",
    "gas_k": "2",
    "linearity": "0.3",
    "zero": "0.2",
    "drift_percent": "1",
    "months": "6",
    "temperature_percent": "0.3",
    "within_k": "10",
    "pressure_percent": "0",
    "cross_highest": "0.3",
    "repeatability": "0.1",
    "repeats": "6",
    "used_for": "log",
}
"""Invented figures; no instrument has them."""


@router.get("/uncertainty")
def uncertainty(ctx: Looking) -> Response:
    """Ask for the parts of a budget, and show what they come to."""
    from lungwort.jobs.catalogue import instrument  # noqa: PLC0415 - only here

    listed = instrument.listed(ctx.where, now=ctx.now).plain["instruments"]
    known = tuple((one["id"], one["name"]) for one in listed)
    fields = tuple(
        evolve(one, choices=known) if one.name == _INSTRUMENT else one
        for one in FIELDS
        if known or one.name != _INSTRUMENT
    )

    def work(values: dict[str, str]) -> Calculation:
        told = next(
            filter(None, (two_ways(one, ctx.language) for one in values.get("at", "").split())), ""
        )
        if told:
            raise BudgetError(told)
        return job.uncertainty(ctx.where, job.Request(form=values), now=ctx.now)

    return calculated(
        ctx,
        title=N_("How uncertain is a reading?"),
        lead=N_(
            "From the parts of an uncertainty budget to U for the rules of decision. What is left "
            "open is not known, and nothing is proven then; write 0 where there is no such effect."
        ),
        fields=fields,
        action="/uncertainty",
        submit=N_("Work it out"),
        work=work,
        example=EXAMPLE,
        seldom=frozenset({"quantity", "used_for", "gas_k"}),
    )
