"""What each person has breathed: averages, limits and blood together."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from attrs import evolve

from lungwort.air.arrays import FloatArray
from lungwort.errors import ExposureError
from lungwort.verdict.decision import uncertainties
from lungwort.wearers.averages import course
from lungwort.wearers.exposure import OutletAir, Person, Question, people, worst_case
from lungwort.wearers.exposure_limits import exposure_limits
from lungwort.wearers.stays import Stay, read_stays
from lungwort.wearers.uptake import along
from lungwort.wearers.uptake_people import WORK, Surroundings, Wearer, drawn

START = datetime(2026, 3, 4, 6, 0, tzinfo=UTC)
UNCERTAINTIES = {"co": uncertainties().of("co", "volume_fraction")}


def _times(count: int, step_s: float) -> FloatArray:
    return np.asarray(START.timestamp() + step_s * np.arange(count), dtype=np.float64)


def _air(
    levels: list[tuple[float, float]], outlet: str = "hall 1", step_s: float = 60.0
) -> OutletAir:
    """Invented readings: hours and levels one after the other."""
    values = np.concatenate([np.full(round(h * 3600 / step_s), level) for h, level in levels])
    values = np.append(values, values[-1])
    times = _times(values.size, step_s)
    return OutletAir(outlet, {"co": course(times, values, longest_s=3 * step_s)}, {"co": step_s})


def _stay(begin_h: float, end_h: float, work: str = "moderate", outlet: str = "hall 1") -> Stay:
    return Stay(
        "A. Example",
        outlet,
        START + timedelta(hours=begin_h),
        START + timedelta(hours=end_h),
        work,
        Wearer(),
    )


def _one(air: OutletAir, *stays: Stay, **more: Any) -> Person:
    question = Question((air,), stays, exposure_limits())
    (found,) = people(evolve(question, **more))
    return found


def test_averages_of_a_stay() -> None:
    """Only the stay counts: 2 h of 40 ppm of a log of 6 h give 10 ppm over 8 h (by hand)."""
    found = _one(_air([(2, 0), (2, 40), (2, 400)]), _stay(2.5, 3.5), _stay(1.0, 1.5))
    assert found.shift is not None
    assert found.shift.value == pytest.approx(5.0, rel=1e-6)
    assert found.highest is not None
    assert found.highest.value == 40.0
    assert found.holes == ()
    assert found.exceeded == ()


def test_limits_are_exceeded() -> None:
    """120 ppm for half an hour: above 100 ppm over 15 min, not above 20 ppm over 8 h (by hand: 7.5)."""
    found = _one(_air([(0.5, 120), (2, 0)]), _stay(0, 2))
    assert {one.held.limit.averaging for one in found.exceeded} == {"15 min"}
    assert {one.held.limit.set_id for one in found.exceeded} == {
        "uk-eh40-2020",
        "eu-exposure-limits",
    }


def test_a_hole_is_never_clean() -> None:
    """Who stays longer than the log has a stretch of which nothing is known."""
    found = _one(_air([(2, 30)]), _stay(1, 3))
    assert any("nothing is known of 60.0 min" in one for one in found.holes)
    assert found.shift is not None
    assert found.shift.at_least
    assert found.blood is not None
    assert found.blood.filled
    whole = _one(_air([(4, 30)]), _stay(1, 3))
    assert whole.blood is not None
    # What is not known was taken as the highest reading, here the level of the whole log.
    np.testing.assert_allclose(found.blood.peak_percent, whole.blood.peak_percent, rtol=1e-6)


def test_no_carbon_monoxide_logged() -> None:
    """A log without carbon monoxide tells nothing of it, and says so."""
    times = _times(200, 60.0)
    air = OutletAir("hall 1", {"co2": course(times, np.full(200, 600.0), longest_s=180.0)})
    found = _one(air, _stay(0, 3))
    assert found.blood is None
    assert found.shift is None
    assert "no carbon monoxide was logged" in found.holes[0]
    assert any(one.held.limit.analyte == "co2" for one in found.findings)


def test_nothing_known_at_all() -> None:
    """A stay wholly beside the log leaves no figure for the blood."""
    found = _one(_air([(1, 30)]), _stay(5, 6))
    assert found.blood is None
    assert any("100.0 %" in one for one in found.holes)


def test_doubts_reach_the_person() -> None:
    """Doubted readings, readings beyond the range and readings far apart are all told."""
    times = _times(121, 60.0)
    doubted = np.arange(121) == 30
    one = course(times, np.full(121, 3.0), longest_s=180.0, doubtful=doubted, lower_end=doubted)
    air = OutletAir("hall 1", {"co": one}, {"co": 600.0}, ("the clock was reset",))
    said = " ".join(_one(air, _stay(0, 2)).holes)
    for part in ("are doubted", "there was more", "10.0 min apart", "the clock was reset"):
        assert part in said


def test_uncertainty_of_the_sensor() -> None:
    """19.5 ppm over 8 h is below 20, but not by U = 1 ppm (shipped assumption): it cannot be told."""
    air = _air([(8, 19.5)])
    assert _one(air, _stay(0, 8)).holes == ()
    found = _one(air, _stay(0, 8), uncertainties=UNCERTAINTIES)
    assert any("not by more than the sensor's uncertainty" in one for one in found.holes)
    assert found.exceeded == ()
    clear = _one(_air([(8, 18.0)]), _stay(0, 8), uncertainties=UNCERTAINTIES)
    assert clear.holes == ()


def test_blood_is_that_of_the_equation() -> None:
    """Work, then rest, then the air after: the middle of all draws followed one by one."""
    found = _one(
        _air([(6, 100)]), _stay(0, 1, "heavy"), _stay(1.5, 2, "light"), ambient_ppm=2.0
    ).blood
    assert found is not None
    draws = drawn(Wearer(), Surroundings())
    percent = along(
        [draws.people[work] for work in WORK],
        [WORK.index(work) for work in ("heavy", "rest", "light")],
        [60.0, 30.0, 30.0],
        [100.0, 2.0, 100.0],
        draws.start_percent,
    )
    at = found.times_s.tolist().index(START.timestamp() + 7200)
    assert found.middle[at] == pytest.approx(float(np.median(percent[-1])), rel=1e-6)
    assert found.high[at] == pytest.approx(float(np.percentile(percent[-1], 95)), rel=1e-6)
    assert found.end_s == START.timestamp() + 7200


def test_time_until_below() -> None:
    """After 1 h of 100 ppm it takes hours to come down; the upper end takes longer than the middle."""
    found = _one(_air([(1, 100)]), _stay(0, 1, "heavy")).blood
    assert found is not None
    middle, high = found.below_h
    assert middle is not None
    assert high is not None
    assert 0 < middle < high
    at = np.searchsorted(found.times_s, found.end_s + middle * 3600)
    assert found.middle[at] < 2.0 <= found.middle[at - 2]
    never = _one(_air([(1, 100)]), _stay(0, 1, "heavy"), ambient_ppm=50.0).blood
    assert never is not None
    assert never.below_h == (None, None)
    at_once = _one(_air([(1, 0)]), _stay(0, 1)).blood
    assert at_once is not None
    assert at_once.below_h[1] == 0.0


@pytest.mark.parametrize("work", ["rest", "light", "moderate", "heavy"])
def test_directions(work: str) -> None:
    """More work, more carbon monoxide: more in the blood, at every edge of the band."""
    base = _one(_air([(2, 60)]), _stay(0, 2, work)).blood
    harder = _one(_air([(2, 60)]), _stay(0, 2, WORK[WORK.index(work) + 1])).blood
    worse = _one(_air([(2, 70)]), _stay(0, 2, work)).blood
    assert base is not None
    assert harder is not None
    assert worse is not None
    assert all(a < b for a, b in zip(base.peak_percent, harder.peak_percent, strict=True))
    assert all(a < b for a, b in zip(base.peak_percent, worse.peak_percent, strict=True))


def test_sensor_widens_the_band() -> None:
    """What the sensor may be off widens the band at both ends."""
    plain = _one(_air([(2, 60)]), _stay(0, 2)).blood
    wide = _one(_air([(2, 60)]), _stay(0, 2), uncertainties=UNCERTAINTIES).blood
    assert plain is not None
    assert wide is not None
    assert wide.peak_percent[2] - wide.peak_percent[0] > (
        plain.peak_percent[2] - plain.peak_percent[0]
    )


def test_worst_case() -> None:
    """Without stays somebody is on each outlet all the time, working hard and at rest."""
    airs = (_air([(2, 30)]), _air([(2, 60)], "hall 2"))
    stays = worst_case(airs, START, START + timedelta(hours=2))
    found = people(Question(airs, stays, exposure_limits()), assumed=True)
    assert len(found) == 4
    assert all(one.assumed for one in found)
    assert {one.stays[0].work for one in found} == {"very_heavy", "rest"}


def test_outlet_without_carbon_monoxide_between() -> None:
    """A stay at an outlet where it is not logged is a hole in the person's course."""
    times = _times(200, 60.0)
    other = OutletAir("hall 2", {"co2": course(times, np.full(200, 600.0), longest_s=180.0)})
    question = Question(
        (_air([(2, 30)]), other), (_stay(0, 1), _stay(1, 2, outlet="hall 2")), exposure_limits()
    )
    (found,) = people(question)
    assert any(one.startswith("CO: nothing is known of 60.0 min") for one in found.holes)


def test_long_log_is_quick_and_close() -> None:
    """A day of 10 s readings: steps taken together come within 0.01 % COHb of every single step."""
    random = np.random.default_rng(5)
    levels = np.maximum(random.normal(20, 30, 8641), 0)
    times = _times(8641, 10.0)
    one = course(times, levels, longest_s=30.0)
    found = _one(OutletAir("hall 1", {"co": one}, {"co": 10.0}), _stay(0, 24, "heavy")).blood
    assert found is not None
    draws = drawn(Wearer(), Surroundings())
    every = along(
        [draws.people["heavy"]], [0] * 8640, one.lengths_s / 60, one.values, draws.start_percent
    )
    assert found.middle[found.times_s.tolist().index(found.end_s)] == pytest.approx(
        float(np.median(every[-1])), abs=0.01
    )


def test_refuses() -> None:
    """No stay, an outlet without a log, levels that cannot be."""
    air = _air([(1, 5)])
    with pytest.raises(ExposureError, match="no stay"):
        people(Question((air,), (), exposure_limits()))
    with pytest.raises(ExposureError, match="of which there is no log"):
        people(Question((air,), (_stay(0, 1, outlet="hall 9"),), exposure_limits()))
    for name in ("ambient_ppm", "below_percent", "above_ppm"):
        for bad in (math.nan, -1.0, math.inf):
            with pytest.raises(ExposureError, match="allowed is"):
                Question((air,), (), (), **{name: bad})  # type: ignore[arg-type]


def test_typed_stays_and_the_course_meet() -> None:
    """A stay typed in the site's zone meets the readings in UTC (Berlin: one hour ahead in March)."""
    stays = read_stays(
        ["A. Example,hall 1,2026-03-04 08:00,2026-03-04 09:00,rest"], "Europe/Berlin"
    )
    (found,) = people(Question((_air([(1, 10), (2, 50)]),), stays, exposure_limits()))
    assert found.mean is not None
    assert found.mean.value == pytest.approx(50.0, rel=0.01)
