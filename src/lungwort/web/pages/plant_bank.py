"""How many cylinders a bank fills."""

from __future__ import annotations

from typing import Final

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.jobs import bank as job
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
        help=N_("Its plant sheet must state the bank and what is filled from it."),
    ),
    Field(
        name="wanted",
        label=N_("Cylinders wanted"),
        kind="number",
        option="--wanted",
        help=N_("How many are to be filled; nothing is held against the result where it is empty."),
    ),
)


@router.get("/plant/bank")
def bank(ctx: Looking) -> Response:
    """Ask for a supply, and show how many cylinders its bank fills."""
    known = tuple(
        (one.id, f"{one.site} · {one.name}")
        for one in plant_sheet.plants(ctx.where)
        if one.sheet is not None
    )
    return calculated(
        ctx,
        title=N_("How many cylinders can be filled?"),
        lead=N_("Filling from a bank of cylinders: order, heat, settled pressure, full fills."),
        fields=(evolve(FIELDS[0], choices=known), *FIELDS[1:]),
        action="/plant/bank",
        submit=N_("Work it out"),
        work=lambda values: job.bank(ctx.where, job.request_of(values), now=ctx.now),
    )
