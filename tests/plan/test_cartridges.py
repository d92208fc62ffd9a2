"""Changes of cartridges by months and by running hours."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plan import build_yard as yard

from lungwort.plan.cartridges import ChangeDue, change_due, readings_of
from lungwort.register.model import CartridgeChange, RunningHours

BY_HOURS = evolve(yard.STAGE, change_hours=Decimal(500))
BY_MONTHS = evolve(yard.STAGE, change_months=6)
DAY = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)


def _change(time: datetime = DAY, hours: str | None = "1000", **more: Any) -> CartridgeChange:
    meter = None if hours is None else Decimal(hours)
    values: dict[str, Any] = {"id": "c1", "stage_id": "stage-1", "time": time, "by_id": "p"}
    return CartridgeChange(**(values | {"running_hours": meter} | more))


def _read(days: float, hours: str, **more: Any) -> RunningHours:
    time = DAY + timedelta(days=days)
    given_values: dict[str, Any] = {"id": f"h{days}", "supply_id": "supply-1"}
    return RunningHours(**(given_values | {"time": time, "hours": Decimal(hours)} | more))


def _due(stage: Any = BY_HOURS, *changes: CartridgeChange, **more: Any) -> ChangeDue:
    snapshot = yard.yard(stages=(stage,), cartridge_changes=changes or (_change(),), **more)
    return change_due(snapshot, stage)


def test_never_changed() -> None:
    """It says so, and claims no day."""
    found = change_due(yard.yard(stages=(BY_HOURS,)), BY_HOURS)

    assert found == ChangeDue(None, "No change of its cartridge is on record.", ever=False)


def test_by_months() -> None:
    """From the newest change: 1 March and six months is 1 September."""
    found = _due(BY_MONTHS, _change(DAY - timedelta(days=200)), _change(id="c2"))

    assert found.day == date(2026, 9, 1)
    assert found.why == "Changed on 1 Mar 2026, to be changed every 6 months."


@pytest.mark.parametrize(
    ("readings", "day", "how"),
    [
        # No reading after the change: day and night, 500 h / 24 h = 20.8 days, from 1 March.
        ((), date(2026, 3, 21), "0 h of 500 h were used by the reading of 1 Mar 2026"),
        # 100 h in 20 days are 5 h a day; the other 400 h last 80 days from 21 March: 9 June.
        ((_read(20, "1100"),), date(2026, 6, 9), "100 h of 500 h were used"),
        # Faster of late: 50 h in 5 days are 10 h a day; 350 h left last 35 days from 26 March.
        ((_read(20, "1100"), _read(25, "1150")), date(2026, 4, 30), "at 10.0 h a day"),
        # Slower of late: the mean of 150 h in 60 days, 2.5 h a day, is kept; 140 days from 30 April.
        ((_read(20, "1100"), _read(60, "1150")), date(2026, 9, 17), "at 2.5 h a day"),
        # Not run at all: from the reading on as if day and night.
        ((_read(30, "1000"),), date(2026, 4, 20), "as if it ran day and night"),
        # Just used up on the day of the reading.
        ((_read(50, "1500"),), date(2026, 4, 20), "500 h of 500 h"),
        # Used up before it: 10 h too many at 10.2 h a day, a day before the reading.
        ((_read(50, "1510"),), date(2026, 4, 19), "510 h of 500 h"),
        # A meter reading of another supply does not count.
        ((_read(20, "5000", supply_id="supply-2"),), date(2026, 3, 21), "0 h of 500 h"),
    ],
)
def test_by_running_hours(readings: tuple[RunningHours, ...], day: date, how: str) -> None:
    """Worked by hand beside each row; part of a day is left out."""
    found = _due(BY_HOURS, running_hours=readings)

    assert found.day == day
    assert how in found.why


def test_the_earlier_of_hours_and_months() -> None:
    """Both are given: the cartridge is changed by the one that comes first."""
    both = evolve(BY_HOURS, change_months=2)

    assert _due(both, running_hours=(_read(20, "1100"),)).day == date(2026, 5, 1)
    assert _due(both, running_hours=(_read(20, "1400"),)).day == date(2026, 3, 26)


def test_hours_that_are_not_known() -> None:
    """No reading up to the change: it says so and claims no day, whatever the months say."""
    for stage in (BY_HOURS, evolve(BY_HOURS, change_months=2)):
        found = _due(stage, _change(hours=None), running_hours=(_read(20, "1100"),))
        assert found.day is None
        assert found.ever
        assert "no reading of the hour meter up to the change on 1 Mar 2026" in found.why


def test_hours_of_the_last_reading_before_the_change() -> None:
    """The meter showed no less then, so the cartridge is not older than that."""
    found = _due(BY_HOURS, _change(hours=None), running_hours=(_read(-5, "990"), _read(20, "1100")))

    assert "110 h of 500 h were used" in found.why


def test_a_meter_that_went_backwards() -> None:
    """It was changed, or misread: nothing can be told."""
    found = _due(BY_HOURS, running_hours=(_read(20, "1100"), _read(30, "12")))

    assert found.day is None
    assert "went backwards after the change on 1 Mar 2026" in found.why


def test_readings_at_changes_count_too() -> None:
    """The meter was read when another stage of the supply was changed."""
    other = evolve(yard.STAGE, id="stage-2", name="filter")
    changes = (
        _change(),
        _change(DAY + timedelta(days=10), "1100", id="c2", stage_id="stage-2"),
        _change(DAY, "7", id="c3", stage_id="stage-9"),
        _change(DAY + timedelta(days=11), None, id="c4", stage_id="stage-2"),
    )
    snapshot = yard.yard(stages=(BY_HOURS, other), cartridge_changes=changes)

    assert [one.hours for one in readings_of(snapshot, "supply-1")] == [1000, 1100]
    assert "100 h of 500 h" in change_due(snapshot, BY_HOURS).why


def test_hours_far_beyond_all_days() -> None:
    """A slip in a reading does not break the calendar."""
    assert _due(BY_HOURS, running_hours=(_read(20, "1000.000001"),)).day is not None
    assert _due(BY_HOURS, running_hours=(_read(0.001, "999999999"),)).day is not None
    tiny = evolve(BY_HOURS, change_hours=Decimal("1E+9"))
    assert _due(tiny, running_hours=(_read(2000, "1001"),)).day == date.max


@settings(deadline=None, max_examples=200)
@given(
    steps=st.lists(st.tuples(st.integers(1, 40), st.integers(0, 300)), max_size=5),
    allowed=st.integers(1, 2000),
)
def test_never_later_than_the_mean_says(steps: list[tuple[int, int]], allowed: int) -> None:
    """No later than a straight line through change and last reading; before that once used up."""
    readings, days, hours = [], 0, 1000
    for step, run in steps:
        days, hours = days + step, hours + run
        readings.append(_read(days, str(hours)))
    stage = evolve(BY_HOURS, change_hours=Decimal(allowed))
    found = _due(stage, running_hours=tuple(readings))

    used = hours - 1000
    assert found.day is not None
    if used > allowed:
        assert found.day < (DAY + timedelta(days=days)).date()
    elif used:
        full = (DAY + timedelta(days=allowed * days / used)).date()
        assert found.day <= full + timedelta(days=1)
    else:
        assert found.day <= (DAY + timedelta(days=days + allowed / 24)).date()
