"""Hours used and hours a day, from readings of the hour meter."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import theilslopes

from lungwort.errors import PlantError
from lungwort.plant.running import DAY_AND_NIGHT_H, MeterReading, running
from lungwort.plant.water_load import Span

START = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


def _read(days: float, hours: float) -> MeterReading:
    return MeterReading(START + timedelta(days=days), hours)


def test_a_steady_supply() -> None:
    """By hand: 6 h a day for 40 days are 240 h, and 300 h after ten more."""
    found = running([_read(n, 1000 + 6 * n) for n in (10, 20, 30, 40)], START, hours_at_start=1000)

    assert found.used_h == Span.exactly(240.0)
    assert found.rate_h_d.likely == pytest.approx(6.0)
    assert found.used_by(START + timedelta(days=50)).likely == pytest.approx(300.0)
    assert found.used_by(START) == Span.exactly(240.0)
    assert not found.doubts


def test_one_odd_reading_hardly_moves_the_likely_rate() -> None:
    """scipy.stats.theilslopes is the outside check of the slope and its ends."""
    days = [7.0, 14.0, 21.0, 28.0, 35.0, 42.0]
    hours = [1000 + 5 * n for n in days]
    hours[-1] += 60  # one weekend of filling
    found = running(
        [_read(*one) for one in zip(days, hours, strict=True)], START, hours_at_start=1000
    )
    slope = theilslopes([1000, *hours], [0, *days], alpha=0.95)

    assert found.rate_h_d.likely == pytest.approx(slope.slope)
    assert found.rate_h_d.likely == pytest.approx(5.0, abs=0.5)
    assert found.rate_h_d.high >= (hours[-1] - hours[-2]) / 7  # the last stretch counts for safety
    assert found.rate_h_d.low <= slope.low_slope + 1e-9


@settings(max_examples=40, deadline=None)
@given(steps=st.lists(st.tuples(st.integers(1, 30), st.integers(0, 200)), min_size=1, max_size=8))
def test_never_slower_than_the_plan_of_changes(steps: list[tuple[int, int]]) -> None:
    """`plan.cartridges` draws on with the faster of mean and last stretch; the high rate is no less."""
    from lungwort.plan import cartridges

    days = hours = 0
    readings, theirs = [], [cartridges.MeterReading(START, Decimal(0))]
    for step, more in steps:
        days, hours = days + step, hours + more
        readings.append(_read(days, hours))
        theirs.append(cartridges.MeterReading(START + timedelta(days=days), Decimal(hours)))
    found = running(readings, START, hours_at_start=0.0)

    assert found.rate_h_d.high >= cartridges._rate_h_d(theirs) - 1e-9  # the rule itself
    assert found.rate_h_d.low <= found.rate_h_d.likely <= found.rate_h_d.high


def test_without_readings_day_and_night_is_counted() -> None:
    """With no reading after the change the supply may have run all the time."""
    found = running([], START, hours_at_start=100.0)

    assert found.rate_h_d == Span(0.0, DAY_AND_NIGHT_H, DAY_AND_NIGHT_H)
    assert found.used_by(START + timedelta(days=2)).high == 48.0
    assert "no reading of the hour meter after the change" in found.doubts[0]


def test_a_supply_that_stood_still_may_start_again() -> None:
    """A meter that did not move says nothing of the days to come: day and night, as the plan has it."""
    found = running([_read(30, 500)], START, hours_at_start=500.0)

    assert found.used_h == Span.exactly(0.0)
    assert found.rate_h_d.high == DAY_AND_NIGHT_H
    assert found.rate_h_d.low == 0.0


def test_the_reading_before_the_change_is_its_start() -> None:
    """By hand: 90 h from the reading before to the last; 60 h of them after the first one since."""
    found = running([_read(-5, 100), _read(5, 130), _read(15, 190)], START)

    assert found.used_h == Span(60.0, 90.0, 90.0)
    assert not found.doubts


@pytest.mark.parametrize(
    ("readings", "at_start", "told"),
    [
        ([_read(5, 130)], None, "up to the change is on record"),
        ([_read(5, 130), _read(9, 120)], 100.0, "went backwards"),
        ([_read(5, 90)], 100.0, "went backwards"),
        ([_read(2, 160)], 100.0, "more than there are hours"),
    ],
)
def test_a_meter_that_does_not_tell_is_doubted(
    readings: list[MeterReading], at_start: float | None, told: str
) -> None:
    """The reason is given, and the highest rate is day and night or more."""
    found = running(readings, START, hours_at_start=at_start)

    assert told in found.doubts[0]
    assert found.rate_h_d.high >= DAY_AND_NIGHT_H


@pytest.mark.parametrize("hours", [-1.0, math.nan, math.inf])
def test_a_reading_that_cannot_be_is_refused(hours: float) -> None:
    """Negative and no numbers are refused."""
    with pytest.raises(PlantError, match="on the hour meter cannot be"):
        _read(1, hours)


def test_times_without_a_zone_are_refused() -> None:
    """A time without a zone could be any hour."""
    bare = datetime(2026, 3, 1)  # noqa: DTZ001 - that is what is refused

    with pytest.raises(PlantError, match="states no time zone"):
        MeterReading(bare, 1.0)
    with pytest.raises(PlantError, match="states no time zone"):
        running([], bare)
