"""Drawings of trends: the days with their band, the line with its band, and the limit."""

from __future__ import annotations

import math
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from lungwort.jobs.trend_words import FIGURE
from lungwort.paper.calculation import Curve, Level, Plot, figure
from lungwort.paper.text import unit_text

if TYPE_CHECKING:
    from datetime import date

    from lungwort.insight.statistics import Day
    from lungwort.insight.trend import Trend
    from lungwort.logs.model import Channel

_FAR: Final = 4.0
"""A limit more than this many times above all that is drawn would flatten it, and is left out."""
_STEPS: Final = 40


def plot_of(name: str, channel: Channel, trend: Trend, zone: str) -> Plot | None:
    """Draw the days of a channel.

    Parameters
    ----------
    name : str
        How the channel is called.
    channel : Channel
        The channel.
    trend : Trend
        What is to be said of it.
    zone : str
        Time zone of the days.

    Returns
    -------
    Plot or None
        The drawing; None without days.
    """
    if not trend.used:
        return None
    step = timedelta(days=7 if trend.by == "week" else 1)
    days = _with_gaps(trend.used, step)
    x = tuple(_noon(day, zone) for day, _ in days)
    curves = [
        Curve(
            "median, 5 to 95 % of each day",
            x,
            _values(days, "median"),
            _values(days, "low"),
            _values(days, "high"),
        )
    ]
    if trend.measure != "median":
        curves.append(Curve(FIGURE[trend.measure], x, _values(days, trend.measure), style="points"))
    line = _line(trend, zone)
    if line is not None:
        curves.append(line)
    return Plot(
        title=f"{name}, day by day" if trend.by == "day" else f"{name}, week by week",
        x_name="day",
        x_unit="time",
        y_name=name,
        y_unit=unit_text(channel.unit),
        curves=tuple(curves),
        levels=_levels(trend, curves, zone),
        says=_says(name, channel, trend),
    )


def _with_gaps(used: tuple[Day, ...], step: timedelta) -> list[tuple[date, Day | None]]:
    """Put a hole where a day is missing, so that no line leads across it."""
    made: list[tuple[date, Day | None]] = []
    for one in used:
        if made and one.day - made[-1][0] > step:
            made.append((made[-1][0] + step, None))
        made.append((one.day, one))
    return made


def _noon(day: date, zone: str) -> float:
    return datetime.combine(day, time(12), tzinfo=ZoneInfo(zone)).astimezone(UTC).timestamp()


def _values(days: list[tuple[date, Day | None]], name: str) -> tuple[float, ...]:
    return tuple(math.nan if one is None else float(getattr(one, name)) for _, one in days)


def _line(trend: Trend, zone: str) -> Curve | None:
    if trend.line is None or not trend.shown:
        return None
    first, last = trend.fitted[0].day, trend.fitted[-1].day
    if trend.ahead is not None:
        last = trend.ahead.latest or trend.ahead.horizon
    steps = [first + (last - first) * at / _STEPS for at in range(_STEPS + 1)]
    places = sorted(set(steps))
    bands = [trend.line.band(float(day.toordinal())) for day in places]
    bounded = all(math.isfinite(end) for band in bands for end in band)
    return Curve(
        f"trend of the {FIGURE[trend.measure]}",
        tuple(_noon(day, zone) for day in places),
        tuple(trend.line.at(float(day.toordinal())) for day in places),
        tuple(low for low, _ in bands) if bounded else (),
        tuple(high for _, high in bands) if bounded else (),
        style="dashed",
    )


def _levels(trend: Trend, curves: list[Curve], zone: str) -> tuple[Level, ...]:
    made = []
    bound = trend.bound
    if bound is not None:
        seen = [abs(y) for curve in curves for y in curve.y if math.isfinite(y)]
        if trend.reached or abs(bound.value) <= _FAR * max(seen, default=0.0):
            made.append(Level(f"limit {figure(bound.value)}", bound.value))
    if trend.ahead is not None and trend.ahead.on is not None:
        made.append(Level("limit reached", _noon(trend.ahead.on, zone), across=False))
    made.extend(
        Level("change", _noon(trend.used[one.index].day, zone), across=False)
        for one in trend.changes
    )
    return tuple(made)


def _says(name: str, channel: Channel, trend: Trend) -> str:
    first, last = trend.used[0].day.isoformat(), trend.used[-1].day.isoformat()
    values = [getattr(one, trend.measure) for one in trend.used]
    return (
        f"{name} from {first} to {last}: the {FIGURE[trend.measure]} of the {trend.by}s lies between "
        f"{figure(min(values))} and {figure(max(values))} {unit_text(channel.unit)}; {trend.word}."
    )
