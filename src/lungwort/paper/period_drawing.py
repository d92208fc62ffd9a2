"""The drawings of the period report: what happened when, and the worst values by month."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from html import escape
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.paper.axis import number_ticks
from lungwort.paper.palette import LIGHT
from lungwort.paper.text import month_name, unit_text
from lungwort.register.model import IN_SERVICE, UNDER_TEST, WITHDRAWN
from lungwort.verdict.model import CONFORMS, DOES_NOT_CONFORM

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from zoneinfo import ZoneInfo

_FONT: Final = "'Source Sans Pro', sans-serif"
_WIDTH: Final = 700.0
_LEFT: Final = 118.0
_RIGHT: Final = 694.0
_ROW: Final = 22.0
_STRIP: Final = 12.0
_MOST_LABELS: Final = 14
_TREND_WIDTH: Final = 340.0
_TREND_HEIGHT: Final = 118.0


@frozen
class Stretch:
    """A stretch of time in one state.

    Parameters
    ----------
    state : str
        ``in_service``, ``withdrawn`` or ``under_test``.
    start, end : datetime
        From when to when, UTC.
    """

    state: str
    start: datetime
    end: datetime


@frozen
class Mark:
    """Something that happened at one moment.

    Parameters
    ----------
    time : datetime
        When, UTC.
    kind : str
        A verdict, or another word for what it was.
    """

    time: datetime
    kind: str


@frozen
class TrendPoint:
    """The worst value of a limit in one month.

    Parameters
    ----------
    month : date
        First day of the month.
    value : float, optional
        The value [unit of the limit]; None where there is no number.
    text : str
        As shown in the table.
    verdict : str
        What the evidence of that month said of the limit.
    """

    month: date
    value: float | None
    text: str
    verdict: str


@frozen
class _Scale:
    start: datetime
    end: datetime

    def x(self, moment: datetime) -> float:
        share = (moment - self.start) / max(self.end - self.start, timedelta(seconds=1))
        return _LEFT + min(max(share, 0.0), 1.0) * (_RIGHT - _LEFT)


def timeline(
    start: datetime,
    end: datetime,
    zone: ZoneInfo,
    *,
    states: Sequence[Stretch],
    monitored: Sequence[tuple[str, Sequence[date]]],
    marks: Sequence[tuple[str, Sequence[Mark]]],
) -> str:
    """Draw what happened when.

    Parameters
    ----------
    start, end : datetime
        The period, UTC.
    zone : ZoneInfo
        Time zone of the site.
    states : sequence of Stretch
        States of the supply.
    monitored : sequence of (str, sequence of date)
        For each outlet the days with readings of a log.
    marks : sequence of (str, sequence of Mark)
        Rows of moments, with their headings.

    Returns
    -------
    str
        An SVG drawing.
    """
    scale = _Scale(start, end)
    rows = 1 + len(monitored) + len(marks)
    height = rows * _ROW + 30.0
    drawn = [*_months(scale, zone, rows * _ROW + 4.0)]
    y = 4.0
    drawn.append(_label("State of the supply", y))
    drawn += [_state(scale, stretch, y) for stretch in states if stretch.end > start]
    for outlet, days in monitored:
        y += _ROW
        drawn.append(_label(f"Log: {outlet}", y))
        drawn.append(_frame(scale, y))
        drawn += _days(scale, zone, days, y)
    for heading, moments in marks:
        y += _ROW
        drawn.append(_label(heading, y))
        drawn += [_mark(scale.x(mark.time), y + _STRIP / 2, mark.kind) for mark in moments]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:g} {height:g}" '
        f'font-family="{_FONT}" font-size="9.5">{_PATTERN}{"".join(drawn)}</svg>'
    )


_PATTERN: Final = (
    '<defs><pattern id="under-test" width="5" height="5" patternUnits="userSpaceOnUse">'
    f'<path d="M-1,1l2,-2M0,5l5,-5M4,6l2,-2" stroke="{LIGHT["ink"]}" stroke-width="0.9"/>'
    "</pattern></defs>"
)
_FILL: Final = {
    IN_SERVICE: f'fill="{LIGHT["ground"]}"',
    WITHDRAWN: f'fill="{LIGHT["ink"]}"',
    UNDER_TEST: 'fill="url(#under-test)"',
}
TIMELINE_LEGEND: Final = (
    "State: white in service, hatched under test, black withdrawn. Log: days with readings. "
    "Verdicts: disc conforms, square does not conform, lozenge not proven."
)


def _label(text: str, y: float) -> str:
    most = 22
    short = text if len(text) <= most else f"{text[:most]}…"
    return f'<text x="0" y="{y + 9.5:.1f}" fill="{LIGHT["ink"]}">{escape(short)}</text>'


def _frame(scale: _Scale, y: float) -> str:
    width = scale.x(scale.end) - _LEFT
    return (
        f'<rect x="{_LEFT:g}" y="{y:.1f}" width="{width:.1f}" height="{_STRIP:g}" fill="none" '
        f'stroke="{LIGHT["rule"]}" stroke-width="0.8"/>'
    )


def _state(scale: _Scale, stretch: Stretch, y: float) -> str:
    left, right = scale.x(stretch.start), scale.x(stretch.end)
    return (
        f'<rect x="{left:.1f}" y="{y:.1f}" width="{max(right - left, 1.2):.1f}" '
        f'height="{_STRIP:g}" {_FILL.get(stretch.state, _FILL[UNDER_TEST])} '
        f'stroke="{LIGHT["ink"]}" stroke-width="0.8"/>'
    )


def _days(scale: _Scale, zone: ZoneInfo, days: Sequence[date], y: float) -> Iterable[str]:
    for first, last in _runs(sorted(set(days))):
        left = scale.x(_midnight(first, zone))
        right = scale.x(_midnight(last + timedelta(days=1), zone))
        if right <= left:
            continue
        yield (
            f'<rect x="{left:.1f}" y="{y + 1.5:.1f}" width="{max(right - left, 1.2):.1f}" '
            f'height="{_STRIP - 3:g}" fill="{LIGHT["trace"]}"/>'
        )


def _runs(days: Sequence[date]) -> list[tuple[date, date]]:
    runs: list[tuple[date, date]] = []
    for day in days:
        if runs and day - runs[-1][1] == timedelta(days=1):
            runs[-1] = (runs[-1][0], day)
        else:
            runs.append((day, day))
    return runs


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)


def _months(scale: _Scale, zone: ZoneInfo, bottom: float) -> list[str]:
    first = scale.start.astimezone(zone).date().replace(day=1)
    months = []
    while _midnight(first, zone) < scale.end:
        months.append(first)
        first = (first + timedelta(days=32)).replace(day=1)
    each = -(-len(months) // _MOST_LABELS)
    drawn = []
    for place, month in enumerate(months):
        moment = _midnight(month, zone)
        if moment < scale.start:
            continue
        x = scale.x(moment)
        drawn.append(
            f'<path d="M{x:.1f},2V{bottom:.1f}" stroke="{LIGHT["rule"]}" stroke-width="0.6"/>'
        )
        if place % each == 0:
            year = f" {month.year}" if month.month == 1 or not place or place == each else ""
            drawn.append(
                f'<text x="{x + 2:.1f}" y="{bottom + 11:.1f}" fill="{LIGHT["quiet"]}">'
                f"{month_name(month.month)}{year}</text>"
            )
    return drawn


def _mark(x: float, y: float, kind: str) -> str:
    if kind == CONFORMS:
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.6" fill="{LIGHT["conforms"]}"/>'
    if kind == DOES_NOT_CONFORM:
        return (
            f'<rect x="{x - 3.6:.1f}" y="{y - 3.6:.1f}" width="7.2" height="7.2" '
            f'fill="{LIGHT["does_not_conform"]}"/>'
        )
    if kind in {"not_proven", "undecided", "no_evidence", "not_applicable"}:
        return (
            f'<path d="M{x:.1f},{y - 4.4:.1f}l4.4,4.4l-4.4,4.4l-4.4,-4.4Z" '
            f'fill="{LIGHT["ground"]}" stroke="{LIGHT["not_proven"]}" stroke-width="1.5"/>'
        )
    return (
        f'<path d="M{x:.1f},{y + 4:.1f}l-3.6,-7h7.2Z" fill="{LIGHT["ground"]}" '
        f'stroke="{LIGHT["ink"]}" stroke-width="1.1"/>'
    )


def trend(points: Sequence[TrendPoint], unit: str, lower: float | None, upper: float | None) -> str:
    """Draw the worst values of a limit by month.

    Parameters
    ----------
    points : sequence of TrendPoint
        The months, in order; those without a number are left open.
    unit : str
        Unit of the limit.
    lower, upper : float, optional
        Its bounds [unit].

    Returns
    -------
    str
        An SVG drawing; empty where no month has a number.
    """
    values = [point.value for point in points if point.value is not None]
    if not values:
        return ""
    low, high = _range(values, lower, upper)
    left, right, top, bottom = 44.0, _TREND_WIDTH - 6.0, 8.0, _TREND_HEIGHT - 20.0

    def y(value: float) -> float:
        return bottom - (value - low) / (high - low) * (bottom - top)

    step = (right - left) / max(len(points), 1)
    places = [left + step * (place + 0.5) for place in range(len(points))]
    drawn = [
        f'<path d="M{left:g},{y(value):.1f}H{right:g}" stroke="{LIGHT["rule"]}" '
        f'stroke-width="0.6"/><text x="{left - 4:g}" y="{y(value) + 3:.1f}" text-anchor="end" '
        f'fill="{LIGHT["quiet"]}">{label}</text>'
        for value, label in number_ticks(low, high, 4)
    ]
    drawn += [
        f'<path d="M{left:g},{y(bound):.1f}H{right:g}" stroke="{LIGHT["limit"]}" '
        'stroke-width="1.5" stroke-dasharray="9 3 2 3"/>'
        for bound in (lower, upper)
        if bound is not None
    ]
    drawn.append(_line(points, places, y))
    each = -(-len(points) // 12)
    for place, (x, point) in enumerate(zip(places, points, strict=True)):
        if point.value is not None:
            drawn.append(_mark(x, y(point.value), point.verdict))
        if place % each == 0:
            drawn.append(
                f'<text x="{x:.1f}" y="{bottom + 13:.1f}" text-anchor="middle" '
                f'fill="{LIGHT["quiet"]}">{month_name(point.month.month)}</text>'
            )
    drawn.append(
        f'<text x="0" y="{top + 3:g}" fill="{LIGHT["quiet"]}">{escape(unit_text(unit))}</text>'
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_TREND_WIDTH:g} '
        f'{_TREND_HEIGHT:g}" font-family="{_FONT}" font-size="9">{"".join(drawn)}</svg>'
    )


def _range(
    values: Sequence[float], lower: float | None, upper: float | None
) -> tuple[float, float]:
    bounds = [bound for bound in (lower, upper) if bound is not None]
    low, high = min(*values, *bounds, values[0]), max(*values, *bounds, values[0])
    if lower is None and low >= 0.0:
        low = 0.0
    spread = (high - low) or max(abs(high), 1.0)
    return (low if low == 0.0 else low - 0.08 * spread), high + 0.08 * spread


def _line(
    points: Sequence[TrendPoint], places: Sequence[float], y: Callable[[float], float]
) -> str:
    path, drawing = [], False
    for x, point in zip(places, points, strict=True):
        if point.value is None:
            drawing = False
            continue
        path.append(f"{'L' if drawing else 'M'}{x:.1f},{y(point.value):.1f}")
        drawing = True
    return f'<path d="{"".join(path)}" fill="none" stroke="{LIGHT["trace"]}" stroke-width="1.2"/>'
