"""What needs somebody now, readable from two metres."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from lungwort.jobs import approve
from lungwort.jobs import today as job
from lungwort.jobs.today import Need
from lungwort.web.context import LANGUAGES, Anybody, Looking
from lungwort.web.menu import N_
from lungwort.web.posted import Form

router = APIRouter()

URGENCY_WORDS: Final = {
    job.STOP: N_("Stop"),
    job.NOT_PROVEN: N_("Not proven"),
    job.LATE: N_("Late"),
    job.OPEN: N_("Open finding"),
    job.HEADS_FOR_LIMIT: N_("Heads for a limit"),
    job.GOES_STALE: N_("Test soon"),
    job.SOON: N_("Soon"),
}
_PLACES: Final = {
    "supply": "/supplies/{id}",
    "finding": "/findings/{id}",
    "outlet": "/outlets/{id}",
    "instrument": "/instruments/{id}",
    "lot": "/lots/{id}",
    "person": "/people/{id}",
    "treatment": "/plant/treatment?asked=1&supply={id}",
    "air": "/plant/air?asked=1&supply={id}",
    "reserve": "/plant/reserve?asked=1&supply={id}",
    "trend": "/trend?outlet={id}&figure=highest",
}


@router.get("/")
def home(ctx: Looking) -> Response:
    """Lead to what needs somebody now."""
    return ctx.go("/today")


@router.get("/today")
def today(ctx: Looking) -> Response:
    """Show what needs somebody now."""
    found = job.today(ctx.where, now=ctx.now)
    return ctx.page(
        "today/today.html",
        today=found,
        addresses=[_address(one) for one in found.needs],
        urgency_words=URGENCY_WORDS,
        zone=found.supplies[0].zone if found.supplies else "UTC",
        approvals=[one for one in approve.listed(ctx.where, now=ctx.now) if one.state == "asked"],
    )


def _address(need: Need) -> str:
    if need.kind in _PLACES:
        return _PLACES[need.kind].format(id=need.id)
    return f"/supplies/{need.supply_id}" if need.supply_id else "/plan"


@router.post("/language")
def language(ctx: Anybody, form: Form) -> Response:
    """Take the language that the visitor chose."""
    wanted = form.text("language")
    if wanted in LANGUAGES:
        ctx.visit.language = wanted
        ctx.request.app.state.visits.save(ctx.visit)
    return RedirectResponse(own_path(form.text("next")), status_code=303)


def own_path(text: str | None) -> str:
    """Give a path of this app to go on to; Today for anything else.

    Parameters
    ----------
    text : str, optional
        What was asked for.

    Returns
    -------
    str
        A path that begins with one slash and leads nowhere else.
    """
    if not text or not text.startswith("/") or text.startswith(("//", "/\\")) or "\\" in text:
        return "/today"
    return text if text.isprintable() else "/today"
