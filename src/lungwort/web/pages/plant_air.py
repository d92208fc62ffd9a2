"""Whether there is enough air."""

from __future__ import annotations

from typing import Final

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.jobs import enough_air as job
from lungwort.jobs import plant_sheet
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
        help=N_("Its plant sheet must state the compressors and who is on the air."),
    ),
    Field(
        name="intake_c",
        label=N_("Highest temperature at the intake"),
        kind="number",
        unit="°C",
        option="--intake",
        help=N_("In the time ahead; that of the sheet where nothing is given."),
    ),
    Field(
        name="without",
        label=N_("Compressor out of service"),
        option="--without",
        help=N_("Its name in the plant sheet, to see whether the others are enough."),
    ),
)


@router.get("/plant/air")
def air(ctx: Looking) -> Response:
    """Ask for a supply, and show whether it has enough air for all who are on it."""
    known = tuple(
        (one.id, f"{one.site} · {one.name}")
        for one in plant_sheet.plants(ctx.where)
        if one.sheet is not None
    )
    return calculated(
        ctx,
        title=N_("Is there enough air?"),
        lead=N_(
            "What the compressors deliver on their worst day, and what all wearers draw at once."
        ),
        fields=(evolve(FIELDS[0], choices=known), *FIELDS[1:]),
        action="/plant/air",
        submit=N_("Work it out"),
        work=lambda values: job.enough_air(ctx.where, job.request_of(values), now=ctx.now),
        seldom=frozenset({"intake_c", "without"}),
    )
