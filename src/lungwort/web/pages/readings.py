"""The readings of an outlet as charts that can be moved and zoomed, and the numbers for them."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Any, Final

from fastapi import APIRouter, Query
from fastapi.responses import JSONResponse, Response

from lungwort.errors import InputError, LungwortError
from lungwort.jobs import _readings_marks as marks
from lungwort.jobs import readings as job
from lungwort.paper.text import analyte_name, unit_text
from lungwort.web.context import Ctx, Looking
from lungwort.web.menu import N_
from lungwort.web.statuses import status_of

if TYPE_CHECKING:
    from lungwort.jobs.readings import Points, Readings

router = APIRouter()

_From = Annotated[str, Query(alias="from", max_length=64)]
_To = Annotated[str, Query(alias="to", max_length=64)]
_PLACES: Final = {
    marks.HAND_TEST: "/tests/{id}",
    marks.STATE: "/supplies/{id}",
    marks.CARTRIDGE: "/supplies/{id}",
    marks.CALIBRATION: "/instruments/{id}",
    marks.EVENT: "/supplies/{id}",
}
_KINDS: Final = {
    marks.SETTLING: N_("Settling, not judged"),
    marks.GAP: N_("Nothing was read"),
    marks.UNUSABLE: N_("Readings that cannot be used"),
    marks.DOUBTED: N_("Readings in doubt"),
}
_WORDS: Final = {
    "loading": N_("Readings are being fetched …"),
    "failed": N_("The readings could not be fetched: {why} What is shown may be old."),
    "no_answer": N_("no answer came."),
    "again": N_("Try again"),
    "none": N_("There are no readings in this span."),
    "span": N_("{from} to {to}, times in {zone}."),
    "bucket": N_("Each point spans {width}, from the least to the greatest reading in it."),
    "single": N_("Each point is one reading."),
    "charts": N_(
        "Readings. Plus and minus zoom, the arrow keys move, Home shows the whole period."
    ),
    "span_buttons": N_("What is shown"),
    "whole": N_("Whole period"),
    "day": N_("24 h"),
    "week": N_("7 days"),
    "month": N_("30 days"),
    "earlier": N_("Earlier"),
    "later": N_("Later"),
    "closer": N_("Closer"),
    "wider": N_("Wider"),
    "mark": N_("Mark a span to zoom into"),
    "hint": N_(
        "Drag to move. Drag with Shift, or after 'Mark a span', to zoom into a span. The wheel zooms once a chart was clicked, or with Ctrl; two fingers zoom on a touch screen."
    ),
    "numbers": N_("Numbers for the span shown"),
    "channel": N_("What was measured"),
    "least": N_("Least"),
    "greatest": N_("Greatest"),
    "usable": N_("Usable"),
    "in_doubt": N_("Of these in doubt"),
    "limits": N_("Limits"),
    "excursions": N_("Outside a limit, by the verdicts on record"),
    "outside": N_("Outside a limit, in no verdict on record"),
    "outside_why": N_("Until somebody judges them, these readings stand for bad air."),
    "not_usable": N_("among readings that no verdict looks at"),
    "asides": N_("Not judged, or in doubt"),
    "moments": N_("What happened"),
    "from": N_("From"),
    "to": N_("To"),
    "furthest": N_("Furthest"),
    "limit": N_("Limit"),
    "why": N_("Why"),
    "what": N_("What"),
    "when": N_("When"),
    "all_channels": N_("everything"),
    "more": N_("{count} more are not listed: zoom in to see them."),
    "show": N_("Show this stretch"),
    "open": N_("Open these readings as a page"),
    "notes": N_("Mind"),
    "legend_band": N_("Least to greatest reading"),
    "legend_limit": N_("Limit"),
    "legend_excursion": N_("Outside, by a verdict on record"),
    "legend_outside": N_("A reading outside a limit"),
    "legend_settling": N_("Settling, not judged"),
    "legend_unusable": N_("Not usable"),
    "legend_gap": N_("Nothing was read"),
    "legend_aside": N_("Numbers that no verdict looks at"),
    "legend_suspect": N_("Readings in doubt"),
    "legend_moment": N_("Something happened"),
    "nothing_usable": N_("nothing usable"),
    "over": N_("logged as '>': may have been higher"),
    "under": N_("logged as '<': may have been lower"),
    "caution": N_(
        "A chart is for looking. Whether air is fit to breathe is said by a verdict, under the standard itself, local codes and a competent person."
    ),
}


@router.get("/readings/{outlet_id}")
def page(ctx: Looking, outlet_id: str, begin: _From = "", end: _To = "") -> Response:
    """Show the readings of an outlet; ``?from=`` and ``?to=`` keep the span in the address."""
    found = job.readings(ctx.where, outlet_id, now=ctx.now, begin=begin, end=end, points=200)
    return ctx.page(
        "readings/readings.html",
        readings=found,
        channels=[_channel(ctx, one, found) for one in found.channels],
        begin=begin,
        end=end,
    )


@router.get("/readings/{outlet_id}/data")
def data(
    ctx: Looking,
    outlet_id: str,
    begin: _From = "",
    end: _To = "",
    points: Annotated[str, Query(max_length=8)] = "",
    words: Annotated[str, Query(max_length=8)] = "",
) -> Response:
    """Give the points of a span as JSON.

    Asked with ``from`` and ``to`` (ISO 8601; without an offset in the site's zone; cut to the first
    and last reading), ``points`` (10 to 5000) and ``words=yes`` for the texts of the chart.

    Answers with ``zone``; ``first``, ``last`` of all readings and ``from``, ``to`` of what is given
    (seconds since 1970-01-01 UTC, null where there is nothing); ``width`` of a bucket [s], 0 where
    each point is one reading; ``channels``, each with ``name``, ``title``, ``unit``, ``lines``
    (``v`` value, ``text``, ``upper``, ``required``, ``mean``) and, one entry a point, ``t`` (begin of
    the bucket [s]), ``lo``, ``hi``, ``alo``, ``ahi`` (usable readings, and numbers that no verdict
    looks at; null where there is none) and ``m`` (sum of 1 doubted, 2 holds readings that are not
    judged, 4 outside, 8 logged as '>', 16 logged as '<', 32 outside among what is not judged);
    ``breaks`` (places of points before which nothing was read) and the numbers of the span
    ``least``, ``greatest``, ``readings``, ``usable``, ``suspect``; ``excursions``, ``outside``,
    ``asides``, ``moments`` and ``notes``. What cannot be read is refused with 422 and ``error``.
    """
    try:
        found = job.readings(
            ctx.where,
            outlet_id,
            now=ctx.now,
            begin=begin,
            end=end,
            points=_points(points),
        )
    except LungwortError as error:
        return JSONResponse({"error": _plain(ctx, str(error))}, status_code=status_of(error))
    made = _json(ctx, found)
    if words:
        made["words"] = {key: ctx.gettext(text) for key, text in _WORDS.items()}
    return JSONResponse(made, headers={"Cache-Control": "no-store"})


def _points(text: str) -> int:
    if not text:
        return job.POINTS
    try:
        return int(text)
    except ValueError as error:
        raise InputError(
            f"{text!r} is no number of points. Give a whole number, like 1200."
        ) from error


def _plain(ctx: Ctx, text: str) -> str:
    return str(ctx.wording.said(text).striptags())


def _seconds(moment: datetime | None) -> float | None:
    return None if moment is None else moment.astimezone(UTC).timestamp()


def _title(ctx: Ctx, one: Points, found: Readings) -> str:
    name = ctx.gettext(analyte_name(one.channel.analyte))
    alike = [each for each in found.channels if each.channel.analyte == one.channel.analyte]
    return f"{name} ({one.channel.name})" if len(alike) > 1 else name


def _channel(ctx: Ctx, one: Points, found: Readings) -> dict[str, Any]:
    return {
        "name": one.channel.name,
        "title": _title(ctx, one, found),
        "unit": unit_text(one.channel.unit),
        "heading": one.channel.heading,
        "lines": [
            {
                "v": line.value,
                "text": _plain(ctx, line.text)
                + ("" if line.required else f" ({ctx.gettext(N_('advice'))})"),
                "upper": line.upper,
                "required": line.required,
                "mean": line.averaging != "any reading",
            }
            for line in one.lines
        ],
        "least": one.least,
        "greatest": one.greatest,
        "readings": one.readings,
        "usable": one.usable,
        "suspect": one.suspect,
    }


def _json(ctx: Ctx, found: Readings) -> dict[str, Any]:
    half = found.width_s / 2
    return {
        "outlet": found.outlet,
        "zone": found.zone,
        "first": _seconds(found.first),
        "last": _seconds(found.last),
        "from": _seconds(found.begin),
        "to": _seconds(found.end),
        "width": found.width_s,
        "channels": [
            {
                **_channel(ctx, one, found),
                "t": [at / 1e6 + half for at in one.time_us],
                "lo": one.low,
                "hi": one.high,
                "alo": one.aside_low,
                "ahi": one.aside_high,
                "m": one.marks,
                "breaks": one.breaks,
            }
            for one in found.channels
        ],
        "excursions": [
            {
                "channel": one.channel,
                "title": ctx.gettext(analyte_name(one.analyte)),
                "from": _seconds(one.start),
                "to": _seconds(one.end),
                "peak": one.peak,
                "limit": one.limit,
                "above": one.direction == "above",
                "unit": unit_text(one.unit),
            }
            for one in found.excursions
        ],
        "outside": [
            {
                "channel": one.channel.name,
                "title": _title(ctx, one, found),
                "unit": unit_text(one.channel.unit),
                "from": _seconds(each.start),
                "to": _seconds(each.end),
                "least": each.least,
                "greatest": each.greatest,
                "usable": each.usable,
            }
            for one in found.channels
            for each in one.outside
        ],
        "outside_more": sum(one.outside_unlisted for one in found.channels),
        "asides": [
            {
                "channel": one.channel,
                "kind": one.kind,
                "title": ctx.gettext(_KINDS[one.kind]),
                "from": _seconds(one.start),
                "to": _seconds(one.end),
                "why": _plain(ctx, one.text),
            }
            for one in found.asides
        ],
        "asides_more": found.asides_unlisted,
        "moments": [
            {
                "t": _seconds(one.time),
                "kind": one.kind,
                "what": _plain(ctx, one.text),
                "href": _PLACES[one.kind].format(id=one.id),
            }
            for one in found.moments
        ],
        "notes": [_plain(ctx, one) for one in found.notes],
    }
