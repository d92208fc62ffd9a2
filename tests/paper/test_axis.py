"""Ticks of both axes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.paper.axis import nice_step, number_ticks, time_ticks

ZONES = ("UTC", "Europe/London", "Asia/Kathmandu", "America/St_Johns", "Australia/Lord_Howe")


@given(
    st.floats(min_value=-1e6, max_value=1e6),
    st.floats(min_value=1.0, max_value=1e6),
    st.integers(min_value=4, max_value=10),
)
@settings(deadline=None, max_examples=120)
def test_number_ticks_are_inside_even_and_few(low: float, span: float, target: int) -> None:
    """Number ticks are inside even and few."""
    high = low + span
    ticks = number_ticks(low, high, target)

    step = nice_step(high - low, target)
    assert 1 <= len(ticks) <= target + 1
    assert all(low - 1e-6 * step <= value <= high + 1e-6 * step for value, _ in ticks)
    assert all(
        later - earlier == pytest.approx(step, rel=1e-6)
        for (earlier, _), (later, _) in pairwise(ticks)
    )
    assert len({label for _, label in ticks}) == len(ticks)
    assert all(
        float(label.replace("−", "-")) == pytest.approx(value, abs=1e-3 * step)
        for value, label in ticks
    )


@given(
    st.datetimes(min_value=datetime(2020, 1, 1), max_value=datetime(2030, 1, 1)),  # noqa: DTZ001 - the zone is set below
    st.floats(min_value=2.0, max_value=20 * 365 * 86400.0),
    st.sampled_from(ZONES),
)
@settings(deadline=None, max_examples=120)
def test_time_ticks_rise_inside_the_period(naive: datetime, span_s: float, zone: str) -> None:
    """Time ticks rise inside the period."""
    start = naive.replace(tzinfo=UTC)
    end = start + timedelta(seconds=span_s)
    ticks = time_ticks(start, end, ZoneInfo(zone))

    moments = [tick.moment for tick in ticks]
    assert moments == sorted(set(moments))
    assert all(start <= moment <= end for moment in moments)
    assert 1 <= len(ticks) <= 10
    assert ticks[0].below


def test_a_local_time_that_the_clock_change_leaves_out_has_no_tick() -> None:
    """A local time that the clock change leaves out has no tick."""
    # Last Sunday of March 2026: 01:00 to 02:00 does not exist in London (Directive 2000/84/EC).
    start = datetime(2026, 3, 28, 22, tzinfo=UTC)
    ticks = time_ticks(start, start + timedelta(hours=7), ZoneInfo("Europe/London"))

    labels = [tick.label for tick in ticks]
    assert labels == ["22:00", "23:00", "00:00", "02:00", "03:00", "04:00", "05:00", "06:00"]
    assert [tick.below for tick in ticks if tick.below] == ["28 Mar 2026", "29 Mar 2026"]


def test_a_local_time_that_comes_twice_has_its_tick_at_the_first_pass() -> None:
    """A local time that comes twice has its tick at the first pass."""
    # Last Sunday of October 2026: 01:00 to 02:00 comes twice in London (Directive 2000/84/EC).
    start = datetime(2026, 10, 24, 22, tzinfo=UTC)
    ticks = time_ticks(start, start + timedelta(hours=7), ZoneInfo("Europe/London"))

    assert [tick.label for tick in ticks].count("01:00") == 1
    (first,) = [tick.moment for tick in ticks if tick.label == "01:00"]
    assert first == datetime(2026, 10, 25, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("days", "labels"),
    [
        (20.0 / 86400, "00:00:05"),
        (0.5, "02:00"),
        (6.0, "4 Mar"),
        (80.0, "16 Mar"),
        (365.0, "May"),
    ],
)
def test_steps_follow_the_length(days: float, labels: str) -> None:
    """Steps follow the length."""
    start = datetime(2026, 3, 3, tzinfo=UTC)
    ticks = time_ticks(start, start + timedelta(days=days), ZoneInfo("UTC"))

    assert labels in [tick.label for tick in ticks]


def test_weeks_begin_on_monday() -> None:
    """Weeks begin on monday."""
    start = datetime(2026, 3, 3, tzinfo=UTC)
    ticks = time_ticks(start, start + timedelta(days=50), ZoneInfo("UTC"))

    assert {tick.moment.weekday() for tick in ticks} == {0}
