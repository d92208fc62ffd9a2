"""Files of calculations that were shown on a page, and the way to all that can be worked out."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import UnknownRecordError
from lungwort.paper.calculation import Calculation
from lungwort.web.calculated import PLACE, kept
from lungwort.web.context import Ctx, Looking
from lungwort.web.menu import N_
from lungwort.web.pages._handing import PDF, hand_out

router = APIRouter()

QUESTIONS: Final = (
    ("/plant", N_("Plant sheets"), N_("What stands behind the outlets of a supply, and who is on them: the other calculations start here.")),
    ("/plant/air", N_("Is there enough air?"), N_("Flow and pressure at every wearer against what the machine delivers.")),
    ("/plant/reserve", N_("How long does the reserve last?"), N_("If the compressor stops: the time until the first wearer has too little, against the time to get out.")),
    ("/plant/bank", N_("How many cylinders can be filled?"), N_("Filling from a bank of cylinders: order, heat, settled pressure, full fills.")),
    ("/plant/treatment", N_("How long does the treatment last?"), N_("Water load and life of driers and cartridges, and the day of the next change.")),
    ("/exposure", N_("What was breathed?"), N_("After bad air: averages against exposure limits, and carboxyhaemoglobin as a screening estimate.")),
    ("/cause", N_("Why did the air go wrong?"), N_("Causes that fit the readings, with what speaks for and against each.")),
    ("/trend", N_("When will it go wrong?"), N_("Slow changes, whether they are real, and when a limit would be reached.")),
    ("/uncertainty", N_("How uncertain is a reading?"), N_("An uncertainty budget of an instrument, for the rules of decision.")),
)  # fmt: skip


@router.get(PLACE)
def places(ctx: Looking) -> Response:
    """Show all that can be worked out."""
    return ctx.page("calculated/places.html", questions=QUESTIONS)


@router.get(PLACE + "/{name}/pdf")
def pdf(ctx: Looking, name: str) -> Response:
    """Hand out a calculation on paper, just as it was shown."""
    from lungwort.paper.calculation_sheet import calculation_pdf  # noqa: PLC0415 - typst is heavy

    made = _made(ctx, name)
    return hand_out(calculation_pdf(made), f"lungwort-{made.kind}.pdf", PDF, inline=True)


@router.get(PLACE + "/{name}/json")
def data(ctx: Looking, name: str) -> Response:
    """Hand out a calculation as data, just as it was shown."""
    from lungwort.paper.calculation_sheet import json_text  # noqa: PLC0415 - only here

    made = _made(ctx, name)
    return hand_out(json_text(made).encode(), f"lungwort-{made.kind}.json", "application/json")


def _made(ctx: Ctx, name: str) -> Calculation:
    found = kept(ctx).get(name)
    if found is None:
        raise UnknownRecordError(
            "This calculation is no longer kept: the server was started anew, or many were made "
            "since. Ask again with the same figures."
        )
    return found
