"""Days and months, as plans count them.

A day is a calendar day in the site's time zone. Whatever holds until a day holds through that
whole day and no longer.
"""

from __future__ import annotations

import calendar
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

if TYPE_CHECKING:
    from collections.abc import Iterable

_MONTHS_A_YEAR: Final = 12
_NAMES: Final = "JanFebMarAprMayJunJulAugSepOctNovDec"


def add_months(day: date, months: int) -> date:
    """Count months on from a day.

    Parameters
    ----------
    day : datetime.date
        From when.
    months : int
        How many [months], 0 or more.

    Returns
    -------
    datetime.date
        The day of the same number; where that month is shorter, its last day. From 31 January one
        month leads to 28 February, or to the 29th in a leap year. A day beyond the year 9999 is
        the last one that there is.

    Examples
    --------
    >>> str(add_months(date(2026, 1, 31), 1)), str(add_months(date(2028, 1, 31), 1))
    ('2026-02-28', '2028-02-29')
    """
    year, month = divmod(day.year * _MONTHS_A_YEAR + day.month - 1 + months, _MONTHS_A_YEAR)
    if year > date.max.year:
        return date.max
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(day.day, last))


def add_days(day: date, days: float) -> date:
    """Count whole days on from a day; part of a day is left out, and the calendar's end is kept.

    Parameters
    ----------
    day : datetime.date
        From when.
    days : float
        How many [d], 0 or more.

    Returns
    -------
    datetime.date
        The day.
    """
    return date.max if days >= (date.max - day).days else day + timedelta(days=int(days))


def zone_of(name: str) -> ZoneInfo | None:
    """Find a time zone; None where there is no such zone."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def day_in(moment: datetime, zones: Iterable[ZoneInfo]) -> date:
    """Tell which day it is; in several zones the latest.

    What holds until a day ends with that day in the zone where the day ends first.

    Parameters
    ----------
    moment : datetime.datetime
        A moment with a time zone.
    zones : iterable of zoneinfo.ZoneInfo
        Where; UTC where there are none.

    Returns
    -------
    datetime.date
        The day.
    """
    days = [moment.astimezone(zone).date() for zone in zones]
    return max(days, default=moment.astimezone(UTC).date())


def shown(day: date) -> str:
    """Write a day as it stands in a sentence, such as '3 Mar 2026'."""
    return f"{day.day} {_NAMES[3 * day.month - 3 : 3 * day.month]} {day.year}"
