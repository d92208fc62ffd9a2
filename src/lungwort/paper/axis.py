"""Where the ticks of a chart stand, and what they say."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.paper.text import month_name

if TYPE_CHECKING:
    from collections.abc import Iterator
    from zoneinfo import ZoneInfo

_SECONDS: Final = (1, 2, 5, 10, 15, 30)
_MINUTES: Final = tuple(60 * step for step in (1, 2, 5, 10, 15, 30))
_HOURS: Final = tuple(3600 * step for step in (1, 2, 3, 6, 12))
_DAY_S: Final = 86400
_DAYS: Final = (1, 2, 7, 14)
_MONTHS: Final = (1, 2, 3, 6)
_MONTH_S: Final = 30.44 * _DAY_S


def nice_step(span: float, target: int) -> float:
    """Choose a step of 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    span : float
        Length of the axis, above 0 [unit of the axis].
    target : int
        How many steps are wanted, at least 1.

    Returns
    -------
    float
        The least such step that needs no more than ``target`` steps.

    Examples
    --------
    >>> nice_step(10.0, 5), nice_step(0.7, 5), nice_step(1200.0, 6)
    (2.0, 0.2, 200.0)
    """
    rough = span / target
    power = math.floor(math.log10(rough))
    for factor in (1, 2, 5):
        step = float(f"{factor}e{power}")
        if step >= rough * (1.0 - 1e-9):
            return step
    return float(f"1e{power + 1}")


def number_ticks(low: float, high: float, target: int = 5) -> tuple[tuple[float, str], ...]:
    """Place ticks on an axis of numbers.

    Parameters
    ----------
    low, high : float
        Ends of the axis, ``low < high`` [unit of the axis].
    target : int
        How many steps are wanted.

    Returns
    -------
    tuple of (float, str)
        Place and label of each tick inside the axis, rising.

    Examples
    --------
    >>> number_ticks(-0.5, 1.2)
    ((-0.5, '−0.5'), (0.0, '0.0'), (0.5, '0.5'), (1.0, '1.0'))
    """
    step = nice_step(high - low, target)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    ticks: list[tuple[float, str]] = []
    for index in range(first, last + 1):
        value = round(index * step, decimals) + 0.0
        ticks.append((value, f"{value:.{decimals}f}".replace("-", "−")))
    return tuple(ticks)


@frozen
class TimeTick:
    """One tick of a time axis.

    Parameters
    ----------
    moment : datetime
        Where it stands, UTC.
    label : str
        First line: time of day, day or month.
    below : str
        Second line: the date or the year where it changes; else empty.
    """

    moment: datetime
    label: str
    below: str = ""


def time_ticks(
    start: datetime, end: datetime, zone: ZoneInfo, target: int = 8
) -> tuple[TimeTick, ...]:
    """Place ticks on a time axis at round times of the site's zone.

    Parameters
    ----------
    start, end : datetime
        Ends of the axis, UTC.
    zone : zoneinfo.ZoneInfo
        Zone in which the times are round.
    target : int
        Most ticks wanted.

    Returns
    -------
    tuple of TimeTick
        Ticks inside the axis, rising. A local time that a clock change leaves out has no tick, one
        that it repeats has one, at its first pass.
    """
    span_s = max((end - start).total_seconds(), 1.0)
    rough = span_s / target
    for step in (*_SECONDS, *_MINUTES, *_HOURS):
        if step >= rough:
            moments = _within_days(start, end, zone, step)
            return _labelled_times(moments, zone, with_seconds=step < _MINUTES[0])
    for days in _DAYS:
        if days * _DAY_S >= rough:
            return _labelled_days(_days(start, end, zone, days), zone)
    for months in _MONTHS:
        if months * _MONTH_S >= rough:
            return _labelled_months(_months(start, end, zone, months), zone)
    years = int(nice_step(span_s / (12 * _MONTH_S), target)) or 1
    return _labelled_months(_months(start, end, zone, 12 * years), zone)


def _inside(
    wall: Iterator[datetime], start: datetime, end: datetime, zone: ZoneInfo
) -> Iterator[datetime]:
    for local in wall:
        moment = local.replace(tzinfo=zone).astimezone(UTC)
        exists = moment.astimezone(zone).replace(tzinfo=None) == local
        if exists and start <= moment <= end:
            yield moment


def _within_days(
    start: datetime, end: datetime, zone: ZoneInfo, step_s: int
) -> tuple[datetime, ...]:
    first = start.astimezone(zone).replace(tzinfo=None)
    last = end.astimezone(zone).replace(tzinfo=None)
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    skip = int((first - midnight).total_seconds() // step_s) - 1
    # Two hours beyond the last wall time: the clock may go back inside the period.
    count = int((last - midnight).total_seconds() // step_s) + 2 + 7200 // step_s
    wall = (midnight + timedelta(seconds=step_s * index) for index in range(skip, count))
    return tuple(_inside(wall, start, end, zone))


def _days(start: datetime, end: datetime, zone: ZoneInfo, step: int) -> tuple[datetime, ...]:
    day = start.astimezone(zone).replace(tzinfo=None, hour=0, minute=0, second=0, microsecond=0)
    last = end.astimezone(zone).replace(tzinfo=None)
    week = 7
    if step % week == 0:
        day -= timedelta(days=day.weekday())
    count = (last - day).days // step + 1
    wall = (day + timedelta(days=step * index) for index in range(count))
    return tuple(_inside(wall, start, end, zone))


def _months(start: datetime, end: datetime, zone: ZoneInfo, step: int) -> tuple[datetime, ...]:
    first, last = start.astimezone(zone), end.astimezone(zone)
    begin = (first.year * 12 + first.month - 1) // step * step
    stop = last.year * 12 + last.month
    wall = (
        datetime(index // 12, index % 12 + 1, 1)  # noqa: DTZ001 - wall time, the zone comes next
        for index in range(begin, stop, step)
    )
    return tuple(_inside(wall, start, end, zone))


def _labelled_times(
    moments: tuple[datetime, ...], zone: ZoneInfo, *, with_seconds: bool
) -> tuple[TimeTick, ...]:
    ticks: list[TimeTick] = []
    seen = ""
    for moment in moments:
        local = moment.astimezone(zone)
        date = f"{local.day} {month_name(local.month)} {local.year}"
        label = f"{local:%H:%M:%S}" if with_seconds else f"{local:%H:%M}"
        ticks.append(TimeTick(moment, label, "" if date == seen else date))
        seen = date
    return tuple(ticks)


def _labelled_days(moments: tuple[datetime, ...], zone: ZoneInfo) -> tuple[TimeTick, ...]:
    ticks: list[TimeTick] = []
    seen = 0
    for moment in moments:
        local = moment.astimezone(zone)
        year = "" if local.year == seen else str(local.year)
        ticks.append(TimeTick(moment, f"{local.day} {month_name(local.month)}", year))
        seen = local.year
    return tuple(ticks)


def _labelled_months(moments: tuple[datetime, ...], zone: ZoneInfo) -> tuple[TimeTick, ...]:
    ticks: list[TimeTick] = []
    seen = 0
    for moment in moments:
        local = moment.astimezone(zone)
        year = "" if local.year == seen else str(local.year)
        ticks.append(TimeTick(moment, month_name(local.month), year))
        seen = local.year
    return tuple(ticks)
