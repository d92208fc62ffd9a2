"""What is said of one channel, as tables and for machines."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.insight.statistics import missing_days, weeks_of
from lungwort.insight.trend_said import share
from lungwort.jobs import trend_words as words
from lungwort.paper.calculation import Grid, figure
from lungwort.paper.text import number, typeset, unit_text

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from lungwort.insight.trend import Trend
    from lungwort.jobs.trend_ground import Ground, Known, Watched
    from lungwort.paper.calculation import Cell

MONTH_DAYS: Final = 30.0
"""Slopes are shown for so many days [d]."""
NEAR_DAYS: Final = 5
"""What is on record so near to a step is named beside it [d]; own rule."""


@frozen
class Seen:
    """A channel with what is to be said of it, held against one limit or none.

    Parameters
    ----------
    name : str
        How it is called.
    watched : Watched
        The channel.
    trend : Trend
        What is to be said.
    """

    name: str
    watched: Watched
    trend: Trend

    @property
    def unit(self) -> str:
        """Its unit, as print writes it."""
        return unit_text(self.watched.channel.unit)


def near(ground: Ground, day: date) -> list[Known]:
    """Find what is on record near to a day.

    Parameters
    ----------
    ground : Ground
        What is on record.
    day : date
        The day.

    Returns
    -------
    list of Known
        In the order of time.
    """
    reach = timedelta(days=NEAR_DAYS)
    return [one for one in ground.known if abs(one.day - day) <= reach]


def finite(value: float) -> float | None:
    """Give a number, and None for one without an end.

    Parameters
    ----------
    value : float
        The number [any unit].

    Returns
    -------
    float or None
        The number.
    """
    return value if math.isfinite(value) else None


def channels(trends: Sequence[Seen]) -> Grid:
    """List all channels.

    Parameters
    ----------
    trends : sequence of Seen
        The channels, the most urgent first.

    Returns
    -------
    Grid
        A row each.
    """
    rows = []
    for one in trends:
        trend = one.trend
        rows.append(
            (
                one.name,
                words.FIGURE[trend.measure],
                trend.word,
                len(trend.fitted),
                trend.thin + missing_days(one.watched.days),
                slope_words(one),
                None if trend.test is None else share(trend.test.p),
                limit_words(one),
                ahead_words(one),
            )
        )
    return Grid(
        title="Channels, the most urgent first",
        head=(
            *("channel", "figure of a day", "trend", "days used", "days not used"),
            *("change in 30 days", "p", "limit", "reached on about"),
        ),
        rows=tuple(rows),
        marked=tuple(at for at, one in enumerate(trends) if one.trend.reached),
        note=(
            "Days used: those behind the last step or bend. p: probability that days without a trend look "
            "like this, their memory taken into account."
        ),
    )


def limit_words(seen: Seen) -> str:
    """Write the limit of a channel, in its own unit as well.

    Parameters
    ----------
    seen : Seen
        The channel.

    Returns
    -------
    str
        A dash for none.
    """
    bound = seen.trend.bound
    if bound is None:
        return "–"
    value = f"{number(bound.value)} {seen.unit}"
    if " to " in bound.name:
        return f"{'at most' if bound.upwards else 'at least'} {value}"
    if not bound.name or value in typeset(bound.name):
        return typeset(bound.name) or value
    return f"{typeset(bound.name)} = {value}"


def slope_words(seen: Seen) -> str:
    """Write the change in 30 days with its interval.

    Parameters
    ----------
    seen : Seen
        The channel.

    Returns
    -------
    str
        A dash for none.
    """
    line = seen.trend.line
    if line is None:
        return "–"
    slope, low, high = (
        "–" if finite(one) is None else figure(one * MONTH_DAYS)
        for one in (line.slope, line.low, line.high)
    )
    return f"{slope} {seen.unit} ({low} to {high})"


def ahead_words(seen: Seen) -> str:
    """Write when the limit is reached.

    Parameters
    ----------
    seen : Seen
        The channel.

    Returns
    -------
    str
        A dash for none.
    """
    ahead = seen.trend.ahead
    if ahead is None:
        return "now" if seen.trend.reached or seen.trend.beyond else "–"
    if ahead.on is None and ahead.earliest is None:
        return f"not by {ahead.horizon.isoformat()}"
    on, early, late = (
        f"after {ahead.horizon.isoformat()}" if day is None else day.isoformat()
        for day in (ahead.on, ahead.earliest, ahead.latest)
    )
    return f"{on} ({early} to {late})"


def changes(ground: Ground, trends: Sequence[Seen]) -> Grid:
    """List steps and bends with what is on record beside them.

    Parameters
    ----------
    ground : Ground
        What is on record.
    trends : sequence of Seen
        The channels.

    Returns
    -------
    Grid
        A row for each step and bend.
    """
    rows: dict[tuple[Cell, ...], None] = {}
    for one in trends:
        for change in one.trend.changes:
            day = one.trend.used[change.index].day
            beside = "; ".join(f"{each.day.isoformat()} {each.text}" for each in near(ground, day))
            rows[
                (
                    one.name,
                    words.FIGURE[one.trend.measure],
                    day.isoformat(),
                    change.step,
                    change.slope_before * MONTH_DAYS,
                    change.slope_after * MONTH_DAYS,
                    one.unit,
                    beside or ("nothing on record" if ground.by_record else "no record"),
                )
            ] = None
    return Grid(
        title="Steps and bends",
        head=(
            *("channel", "figure of a day", "about", "step", "30 days before", "30 days after"),
            *("unit", f"on record within {NEAR_DAYS} days"),
        ),
        note="30 days before and after: how far the line on that side leads in 30 days.",
        rows=tuple(rows),
    )


def weeks(seen: Seen) -> Grid:
    """List the weeks of a channel.

    Parameters
    ----------
    seen : Seen
        The channel.

    Returns
    -------
    Grid
        The newest first.
    """
    trend = seen.trend
    listed = trend.used if trend.by == "week" else weeks_of(trend.used)
    return Grid(
        title=f"{seen.name}, week by week ({seen.unit})",
        head=(
            *("Monday", "least", "5 %", "median", "95 %", "greatest", "readings"),
            *("share of the week read (%)", "days"),
        ),
        rows=tuple(
            (
                one.day.isoformat(),
                *(one.least, one.low, one.median, one.high, one.greatest, one.readings),
                one.coverage * 100.0,
                one.days,
            )
            for one in reversed(listed)
        ),
        note="The newest first; 5 %, median and 95 % are medians of the days.",
    )


def as_data(ground: Ground, trends: Sequence[Seen]) -> dict[str, Any]:
    """Give the whole result for machines.

    Parameters
    ----------
    ground : Ground
        What it rests on.
    trends : sequence of Seen
        The channels.

    Returns
    -------
    dict
        Numbers, texts, lists and dicts only.
    """
    return {
        "zone": ground.zone,
        "limit_set": ground.limit_set,
        "least_coverage": ground.least_coverage,
        "trends": [_as_data(one) for one in trends],
    }


def _as_data(seen: Seen) -> dict[str, Any]:
    trend, line, ahead, test = seen.trend, seen.trend.line, seen.trend.ahead, seen.trend.test
    return {
        "channel": seen.watched.channel.name,
        "analyte": seen.watched.channel.analyte,
        "unit": seen.watched.channel.unit,
        "figure": trend.measure,
        "trend": trend.word,
        "by": trend.by,
        "days_used": len(trend.used),
        "days_thin": trend.thin,
        "first_day": trend.fitted[0].day.isoformat() if trend.fitted else None,
        "last_day": trend.fitted[-1].day.isoformat() if trend.fitted else None,
        "slope_per_day": None if line is None else line.slope,
        "slope_low": None if line is None else finite(line.low),
        "slope_high": None if line is None else finite(line.high),
        "p": None if test is None else test.p,
        "limit": None
        if trend.bound is None
        else {
            "value": trend.bound.value,
            "side": "upwards" if trend.bound.upwards else "downwards",
            "name": trend.bound.name,
        },
        "reached": [one.day.isoformat() for one in trend.reached],
        "beyond": [one.day.isoformat() for one in trend.beyond],
        "ahead": None
        if ahead is None
        else {
            name: None if day is None else day.isoformat()
            for name, day in (
                ("on", ahead.on),
                ("earliest", ahead.earliest),
                ("latest", ahead.latest),
                ("horizon", ahead.horizon),
            )
        },
        "changes": [
            {"day": trend.used[one.index].day.isoformat(), "step": one.step}
            for one in trend.changes
        ],
        "reasons": list(trend.reasons),
    }
