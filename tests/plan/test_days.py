"""Months and days as plans count them."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from dateutil.relativedelta import relativedelta  # type: ignore[import-untyped] # no stubs needed for one test
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.plan.days import add_days, add_months, day_in, shown, zone_of


@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [
        (date(2026, 1, 31), 1, date(2026, 2, 28)),
        (date(2028, 1, 31), 1, date(2028, 2, 29)),  # 2028 is a leap year
        (date(2100, 1, 31), 1, date(2100, 2, 28)),  # 2100 is none: not divisible by 400
        (date(2026, 8, 31), 3, date(2026, 11, 30)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2026, 12, 15), 1, date(2027, 1, 15)),
        (date(2026, 5, 4), 0, date(2026, 5, 4)),
    ],
)
def test_a_shorter_month_ends_earlier(day: date, months: int, expected: date) -> None:
    """Worked by hand in the Gregorian calendar: the last day where the number does not exist."""
    assert add_months(day, months) == expected


@settings(deadline=None, max_examples=300)
@given(day=st.dates(max_value=date(2900, 1, 1)), months=st.integers(0, 600))
def test_months_as_a_general_library_counts_them(day: date, months: int) -> None:
    """python-dateutil, relativedelta(months=n): the day is brought back to the month's last."""
    assert add_months(day, months) == day + relativedelta(months=months)


def test_the_calendar_ends() -> None:
    """An interval beyond the last day that there is does not fail."""
    assert add_months(date(9999, 11, 30), 3) == date.max
    assert add_days(date(9999, 12, 30), 5) == date.max
    assert add_days(date(9999, 12, 30), 1e12) == date.max
    assert add_days(date(2026, 2, 27), 2.9) == date(2026, 3, 1)


def test_a_day_is_a_day_of_the_zone() -> None:
    """Half past eleven at night in UTC is the next day in London in summer (UTC+1)."""
    moment = datetime(2026, 6, 30, 23, 30, tzinfo=UTC)

    assert day_in(moment, (ZoneInfo("Europe/London"),)) == date(2026, 7, 1)
    assert day_in(moment, ()) == date(2026, 6, 30)
    assert day_in(moment, (ZoneInfo("America/Halifax"), ZoneInfo("Pacific/Auckland"))) == date(
        2026, 7, 1
    )


def test_unknown_zone() -> None:
    """A zone that is none is told as none, whatever its text is."""
    assert zone_of("Nowhere/Land") is None
    assert zone_of("../etc/passwd") is None
    assert zone_of("") is None
    assert zone_of("Europe/London") == ZoneInfo("Europe/London")


def test_months_are_named_in_english() -> None:
    """The names do not hang on the computer's language."""
    names = [shown(date(2026, month, 3)).split()[1] for month in range(1, 13)]

    assert names == "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()  # noqa: SIM905 - easier to read
    assert shown(date(2026, 3, 3)) == "3 Mar 2026"
