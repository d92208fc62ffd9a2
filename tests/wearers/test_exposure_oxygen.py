"""Oxygen logged beside what was breathed: dangers, gaps, and its part in the blood. Data invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from attrs import evolve

from lungwort.wearers.averages import Course, course
from lungwort.wearers.exposure import OutletAir, Person, Question, people
from lungwort.wearers.exposure_limits import exposure_limits
from lungwort.wearers.exposure_oxygen import (
    OutletOxygen,
    breathed,
    dangers,
    gaps,
    least_percent,
    levels,
)
from lungwort.wearers.stays import Stay
from lungwort.wearers.uptake import along
from lungwort.wearers.uptake_people import Surroundings, Wearer, drawn

START = datetime(2026, 3, 4, 6, 0, tzinfo=UTC)


def _course(values: list[float]) -> Course:
    times = START.timestamp() + 60.0 * np.arange(len(values), dtype=np.float64)
    return course(times, np.asarray(values, dtype=np.float64), longest_s=180.0)


def _oxygen(values: list[float], other: list[float] | None = None) -> OutletOxygen:
    return OutletOxygen(_course(values), _course([100.0 - one for one in other or values]))


def _stay(begin_min: float, end_min: float) -> Stay:
    return Stay(
        "A. Example",
        "hall 1",
        START + timedelta(minutes=begin_min),
        START + timedelta(minutes=end_min),
        "moderate",
        Wearer(),
    )


def _one(oxygen: OutletOxygen | None, co: float = 60.0, entered: float = 20.9) -> Person:
    air = OutletAir("hall 1", {"co": _course([co] * 61)}, {"co": 60.0}, oxygen=oxygen)
    question = Question((air,), (_stay(0, 60),), exposure_limits())
    (found,) = people(evolve(question, surroundings=Surroundings(oxygen_percent=entered)))
    return found


def test_too_little_is_a_danger() -> None:
    """12 % is below 19.5 % (29 CFR 1910.134(b), from memory): told first, with how long."""
    found = _one(_oxygen([20.9] * 31 + [12.0] * 30))
    assert found.dangers == found.holes[: len(found.dangers)]
    assert "as low as 12.0 %" in found.dangers[0]
    assert "about 30 min" in found.dangers[0]
    assert "suffocation" in found.dangers[0]
    assert found.oxygen_percent == pytest.approx((12.0, 20.9))


def test_the_lower_of_two_sensors_counts() -> None:
    """One sensor at 20.9 % does not hide another at 16 %."""
    found = _one(_oxygen([20.9] * 61, [16.0] * 61))
    assert "as low as 16.0 %" in found.dangers[0]


def test_too_much_is_a_danger_unless_it_was_entered() -> None:
    """32 % is above 23.5 % (WAC 296-842-20010); entered as 32 % it is what was meant."""
    rich = _oxygen([32.0, 32.2] * 30 + [32.0])
    assert "danger of fire" in _one(rich).dangers[0]
    assert _one(rich, entered=32.0).dangers == ()
    assert "as high as 40.0 %" in _one(_oxygen([40.0] * 61), entered=32.0).dangers[0]


@pytest.mark.parametrize("percent", [19.5, 20.2, 20.9, 21.3, 23.5])
def test_ordinary_air_is_no_danger(percent: float) -> None:
    """What lies from 19.5 to 23.5 % trips nothing."""
    assert _one(_oxygen([percent] * 61), co=3.0).holes == ()


def test_blood_takes_the_lower_oxygen() -> None:
    """Logged 17 % gives what entered 17 % gives; more than was entered is never counted."""
    logged, entered = _one(_oxygen([17.0] * 61)).blood, _one(None, entered=17.0).blood
    plain = _one(None).blood
    rich = _one(_oxygen([32.0] * 61)).blood
    assert logged is not None
    assert entered is not None
    assert plain is not None
    assert rich is not None
    assert logged.peak_percent == pytest.approx(entered.peak_percent, rel=1e-9)
    assert logged.peak_percent[1] > plain.peak_percent[1]
    assert rich.peak_percent == plain.peak_percent
    mixed = _one(_oxygen([32.0] * 61), entered=40.0).blood
    assert mixed is not None
    assert mixed.peak_percent == pytest.approx(
        _one(None, entered=32.0).blood.peak_percent,  # type: ignore[union-attr]
        rel=1e-9,
    )


def test_below_what_the_equation_can_bear() -> None:
    """8 % is counted as 15 %, and is told as a danger."""
    found = _one(_oxygen([8.0] * 61))
    assert found.blood is not None
    least = _one(None, entered=15.0).blood
    assert least is not None
    assert found.blood.peak_percent == pytest.approx(least.peak_percent, rel=1e-9)


def test_after_the_stay_it_is_plain_air() -> None:
    """Enriched air in the stay does not shorten the time after it: each draw followed by itself."""
    found = _one(None, entered=40.0).blood
    assert found is not None
    rich, plain = (
        drawn(Wearer(), Surroundings(oxygen_percent=percent)).people for percent in (40.0, 20.9)
    )
    percent = along(
        [rich["moderate"], plain["rest"]],
        [0, 1],
        [60.0, 120.0],
        [60.0, 0.0],
        drawn(Wearer(), Surroundings()).start_percent,
    )
    at = found.times_s.tolist().index(START.timestamp() + 3 * 3600)
    assert found.middle[at] == pytest.approx(float(np.median(percent[-1])), rel=1e-6)


def test_levels_follow_the_time() -> None:
    """The mean of each step, rounded down to a tenth; a gap takes the lowest reading."""
    oxygen = _oxygen([20.0] * 11 + [18.07] * 10 + [float("nan")] * 10 + [20.0] * 10)
    known = breathed((oxygen,), (_stay(0, 40),))
    edges = START.timestamp() + 60.0 * np.array([0.0, 5.0, 12.0, 18.0, 22.0, 28.0, 35.0, 40.0])
    found = levels(known, edges, 20.9, 0.0)
    # From 5 to 12 min: 5 min of 20, one of the mean 19.035, one of 18.07: 19.586 (by hand).
    assert found[[0, 1, 2, 4, 6]] == pytest.approx([20.0, 19.5, 18.0, 18.0, 20.0])
    assert levels(None, edges, 20.9, 0.0).tolist() == [20.9] * 7


def test_gaps_are_told() -> None:
    """Oxygen that was logged but not over the whole stay is a hole; not logged at all is none."""
    oxygen, stay = _oxygen([20.9] * 31), _stay(0, 60)
    assert "30.0 min" in gaps((oxygen,), (stay,))[0]
    assert gaps((None,), (stay,)) == ()
    assert any(one.startswith("O2: it was logged, but") for one in _one(oxygen, co=3.0).holes)


def test_nothing_read_in_the_stay() -> None:
    """A log of oxygen that ends before the stay tells nothing of it."""
    later = _stay(120, 180)
    assert breathed((_oxygen([12.0] * 61),), (later,)) is None
    assert breathed((None,), (later,)) is None
    assert dangers(None, 20.9) == ()


def test_altitude_lifts_the_least() -> None:
    """At 4000 m (462 mmHg, ISO 2533:1975) 69 mmHg of 415 are 16.6 % and a little (by hand)."""
    assert least_percent(4000.0) == pytest.approx(16.7)
    assert _one(_oxygen([8.0] * 61)).blood is not None
    air = OutletAir("hall 1", {"co": _course([60.0] * 61)}, oxygen=_oxygen([8.0] * 61))
    question = Question(
        (air,), (_stay(0, 60),), exposure_limits(), surroundings=Surroundings(altitude_m=4000.0)
    )
    (found,) = people(question)
    assert found.blood is not None
