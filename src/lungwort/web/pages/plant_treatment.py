"""How long the treatment of a supply lasts."""

from __future__ import annotations

from typing import Final

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.jobs import plant_sheet
from lungwort.jobs import treatment as job
from lungwort.web.calculated import calculated
from lungwort.web.context import Looking
from lungwort.web.forms import Field
from lungwort.web.menu import N_

router = APIRouter()

FIELDS: Final = (
    Field(
        name="supply",
        label=N_("Supply"),
        kind="choice",
        required=True,
        help=N_("Its plant sheet must state the stages of its treatment."),
    ),
    Field(
        name="stage",
        label=N_("Stage"),
        option="--stage",
        help=N_("Name of the stage in the plant sheet; the most urgent where nothing is given."),
    ),
    Field(
        name="until",
        label=N_("Until when it shall last"),
        kind="date",
        option="--until",
        help=N_("The planned change on record where nothing is given, or where that is earlier."),
    ),
    Field(
        name="intake_c",
        label=N_("Temperature at the intake"),
        kind="number",
        unit="°C",
        option="--intake",
        help=N_("In the time ahead; lowest and highest of the sheet where nothing is given."),
    ),
    Field(
        name="highest_water_mg_m3",
        label=N_("Highest water content behind the treatment"),
        kind="number",
        unit="mg/m³",
        option="--highest-water",
        help=N_("Above this the measured air is too wet; the sheet's where nothing is given."),
    ),
)


@router.get("/plant/treatment")
def treatment(ctx: Looking) -> Response:
    """Ask for a supply, and show how long its treatment lasts."""
    known = tuple(
        (one.id, f"{one.site} · {one.name}")
        for one in plant_sheet.plants(ctx.where)
        if one.sheet is not None
    )
    return calculated(
        ctx,
        title=N_("How long does the treatment last?"),
        lead=N_("Water load and life of driers and cartridges, and the day of the next change."),
        fields=(evolve(FIELDS[0], choices=known), *FIELDS[1:]),
        action="/plant/treatment",
        submit=N_("Work it out"),
        work=lambda values: job.treatment(ctx.where, job.request_of(values), now=ctx.now),
        seldom=frozenset({"stage", "intake_c", "highest_water_mg_m3"}),
    )
