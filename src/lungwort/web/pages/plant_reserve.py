"""How long the air of a supply lasts when its compressor stops."""

from __future__ import annotations

from typing import Final

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.jobs import plant_sheet
from lungwort.jobs import reserve as job
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
        help=N_(
            "Its plant sheet must state who is on the air, and receivers or reserve cylinders."
        ),
    ),
    Field(
        name="escape_min",
        label=N_("Time to get to safe air"),
        kind="number",
        unit="min",
        option="--escape",
        help=N_("What the slowest needs; the sheet's where nothing is given."),
    ),
)


@router.get("/plant/reserve")
def reserve(ctx: Looking) -> Response:
    """Ask for a supply, and show how long its air lasts when the compressor stops."""
    known = tuple(
        (one.id, f"{one.site} · {one.name}")
        for one in plant_sheet.plants(ctx.where)
        if one.sheet is not None
    )
    return calculated(
        ctx,
        title=N_("How long does the reserve last?"),
        lead=N_(
            "If the compressor stops: the time until the first wearer has too little, against the time "
            "to get out."
        ),
        fields=(evolve(FIELDS[0], choices=known), *FIELDS[1:]),
        action="/plant/reserve",
        submit=N_("Work it out"),
        work=lambda values: job.reserve(ctx.where, job.request_of(values), now=ctx.now),
    )
