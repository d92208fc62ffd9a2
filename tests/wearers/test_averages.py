"""Averages of what was breathed, by hand and by brute force."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import ExposureError
from lungwort.wearers.averages import (
    Course,
    between,
    course,
    dose,
    fewer_steps,
    highest_mean,
    joined,
    peak,
    runs_above,
)

H = 3600.0


def _steps(*pairs: tuple[float, float], start: float = 0.0) -> Course:
    """Make a course of hours and levels."""
    edges = start + np.concatenate(([0.0], np.cumsum([h * H for h, _ in pairs])))
    values = np.array([level for _, level in pairs])
    no = np.zeros(len(pairs), dtype=np.bool_)
    return Course(edges, values, values, no, no)


def test_shift_by_hand() -> None:
    """The example of the method: sum(c t)/8 h; 30 ppm 2 h, 10 ppm 4 h, nothing 2 h: 12.5 ppm."""
    one = _steps((2, 30), (4, 10), (2, 0))
    assert dose(one).value == pytest.approx(100.0)
    assert highest_mean(one, 24 * H, 8 * H).value == pytest.approx(12.5)
    assert highest_mean(one, 8 * H).value == pytest.approx(12.5)


def test_short_stay_is_spread_over_eight_hours() -> None:
    """An hour at 80 ppm is 10 ppm over 8 h; 5 min at 300 ppm are 100 ppm over 15 min (by hand)."""
    assert highest_mean(_steps((1, 80)), 24 * H, 8 * H).value == pytest.approx(10.0)
    assert highest_mean(_steps((1 / 12, 300)), 900.0).value == pytest.approx(100.0)


def test_long_stay() -> None:
    """12 h at 20 ppm: 30 ppm by the sum over 8 h, 20 ppm in the worst 8 h in a row (by hand)."""
    one = _steps((12, 20))
    assert highest_mean(one, 24 * H, 8 * H).value == pytest.approx(30.0)
    assert highest_mean(one, 8 * H).value == pytest.approx(20.0)


def test_window_between_edges() -> None:
    """The worst 15 min need not begin at a reading: 10 min at 60, 10 min at 90 ppm: 80 ppm (by hand)."""
    one = _steps((1 / 6, 60), (1 / 6, 90))
    found = highest_mean(one, 900.0)
    assert found.value == pytest.approx((5 * 60 + 10 * 90) / 15)
    assert (found.start_s, found.end_s) == pytest.approx((300.0, 1200.0))


@settings(max_examples=25, deadline=None)
@given(
    lengths=st.lists(st.integers(1, 40), min_size=2, max_size=12),
    seed=st.integers(0, 2**31),
    window=st.integers(5, 120),
)
def test_window_against_brute_force(lengths: list[int], seed: int, window: int) -> None:
    """numpy: with whole seconds, the highest mean of any window of a 1 s grid."""
    levels = np.random.default_rng(seed).uniform(0, 100, len(lengths))
    edges = np.concatenate(([0.0], np.cumsum(lengths))).astype(np.float64)
    no = np.zeros(len(lengths), dtype=np.bool_)
    grid = np.repeat(levels, lengths)
    padded = np.concatenate((np.zeros(window), grid, np.zeros(window)))
    brute = np.convolve(padded, np.ones(window), mode="valid").max() / window
    found = highest_mean(Course(edges, levels, levels, no, no), float(window))
    assert found.value == pytest.approx(brute)


def test_steps_of_readings() -> None:
    """Between two readings stands their mean, by the trapezoidal rule of numpy."""
    times = np.array([0.0, 10.0, 40.0, 60.0])
    readings = np.array([0.0, 8.0, 2.0, 2.0])
    one = course(times, readings, longest_s=60.0)
    assert dose(one).value * H == pytest.approx(float(np.trapezoid(readings, times)))
    assert not dose(one).at_least
    found = peak(one)
    assert found is not None
    assert found.value == 8.0


def test_unknown_is_never_zero() -> None:
    """A hole, a missing reading and '>' make every sum a lower end."""
    hole = course(np.array([0.0, 10.0, 500.0, 510.0]), np.full(4, 30.0), longest_s=60.0)
    assert hole.unknown_s == 490.0
    assert dose(hole).at_least
    assert highest_mean(hole, 900.0).at_least
    missing = course(np.array([0.0, 10.0, 20.0]), np.array([5.0, math.nan, 5.0]), longest_s=60.0)
    assert missing.unknown_s == 20.0
    assert dose(missing).value == 0.0
    assert dose(missing).at_least
    over = course(
        np.array([0.0, 10.0]),
        np.array([500.0, 500.0]),
        longest_s=60.0,
        lower_end=np.array([False, True]),
    )
    assert over.unknown_s == 0
    assert dose(over).at_least


def test_single_peak_beside_a_hole_counts() -> None:
    """The highest reading stands though a reading beside it is missing."""
    one = course(np.array([0.0, 10.0, 20.0]), np.array([math.nan, 300.0, math.nan]), longest_s=60.0)
    found = peak(one)
    assert found is not None
    assert found.value == 300.0
    nothing = course(np.array([0.0, 10.0]), np.full(2, math.nan), longest_s=60.0)
    assert peak(nothing) is None


def test_two_readings_at_one_moment() -> None:
    """Of several readings of one moment the highest counts, also at the beginning."""
    one = course(np.array([0.0, 10.0, 10.0, 20.0]), np.array([1.0, 50.0, 7.0, 1.0]), longest_s=60.0)
    found = peak(one)
    assert found is not None
    assert found.value == 50.0
    assert one.duration_s == 20.0
    assert dose(one).value * H == pytest.approx(2 * 10 * (1.0 + 50.0) / 2)
    first = course(
        np.array([0.0, 0.0, 0.0, 10.0]), np.array([9.0, math.nan, 1.0, 1.0]), longest_s=60.0
    )
    assert dose(first).value * H == pytest.approx(10 * (9.0 + 1.0) / 2)


def test_negative_readings_count_as_none() -> None:
    """A sensor's zero below 0 does not pay for carbon monoxide elsewhere."""
    one = course(np.array([0.0, 10.0]), np.array([-3.0, -3.0]), longest_s=60.0)
    assert dose(one).value == 0.0


def test_cutting() -> None:
    """A stay that begins before the log has a stretch of which nothing is known."""
    one = _steps((1, 10), (1, 20))
    part = between(one, -H / 2, 1.5 * H)
    assert part.unknown_s == H / 2
    assert dose(part).value == pytest.approx(10 + 10)
    assert dose(part).at_least
    inner = between(one, 0.25 * H, 0.75 * H)
    assert dose(inner).value == pytest.approx(5.0)
    assert not inner.at_least


def test_joining() -> None:
    """Between two stays stands what is in the air beside, or nothing known."""
    first, second = _steps((1, 10)), _steps((1, 20), start=2 * H)
    assert dose(joined((first, second), 3.0)).value == pytest.approx(33.0)
    assert joined((first, second), None).unknown_s == H
    with pytest.raises(ExposureError, match="overlap"):
        joined((second, first))
    with pytest.raises(ExposureError, match="no stay"):
        joined(())


def test_runs() -> None:
    """Two excursions above 5 ppm with their doses, by hand."""
    one = _steps((1, 0), (0.5, 20), (0.5, 40), (1, 2), (0.25, 8), (1, 5))
    runs = runs_above(one, 5.0)
    assert [(run.start_s / H, run.end_s / H) for run in runs] == [(1, 2), (3, 3.25)]
    assert [run.dose_h for run in runs] == pytest.approx([30.0, 2.0])
    assert [run.peak for run in runs] == [40.0, 8.0]
    assert not any(run.at_least for run in runs)


def test_run_beside_a_hole_is_a_lower_end() -> None:
    """Where the excursion runs into a stretch of which nothing is known, it may be longer."""
    (run,) = runs_above(_steps((1, 20), (1, math.nan), (1, 0)), 5.0)
    assert run.at_least


def test_fewer_steps_keep_the_dose() -> None:
    """Taking steps together leaves the dose, the length, the peak and the unknown time."""
    levels = np.abs(np.sin(np.arange(5000.0))) * 50
    levels[1000:1200] = math.nan
    no = np.zeros(5000, dtype=np.bool_)
    one = Course(np.arange(5001.0), levels, levels, no, no)
    less = fewer_steps(one, 100)
    assert less.values.size <= 103
    assert dose(less).value == pytest.approx(dose(one).value)
    assert less.unknown_s == one.unknown_s
    assert np.nanmax(less.highest) == np.nanmax(levels)
    assert fewer_steps(less, 1000) is less
    with pytest.raises(ExposureError, match="at least 1"):
        fewer_steps(one, 0)


@pytest.mark.parametrize(
    ("times", "readings", "longest", "said"),
    [
        ([0.0], [1.0], 60.0, "at least two readings"),
        ([0.0, 1.0], [1.0], 60.0, "at least two readings"),
        ([1.0, 0.0], [1.0, 1.0], 60.0, "order of time"),
        ([0.0, 1.0], [1.0, math.inf], 60.0, "finite"),
        ([0.0, math.nan], [1.0, 1.0], 60.0, "finite"),
        ([5.0, 5.0], [1.0, 1.0], 60.0, "at one moment"),
        ([0.0, 1.0], [1.0, 1.0], 0.0, "longest step"),
        ([0.0, 1.0], [1.0, 1.0], math.nan, "longest step"),
    ],
)
def test_refuses(times: list[float], readings: list[float], longest: float, said: str) -> None:
    """Readings that cannot be laid out are refused."""
    with pytest.raises(ExposureError, match=said):
        course(np.array(times), np.array(readings), longest_s=longest)


def test_refuses_windows_and_stretches() -> None:
    """Averaging times and stretches must have a length."""
    with pytest.raises(ExposureError, match="above 0"):
        highest_mean(_steps((1, 1)), 0.0)
    with pytest.raises(ExposureError, match="above 0"):
        highest_mean(_steps((1, 1)), 900.0, math.nan)
    with pytest.raises(ExposureError, match="ends before it begins"):
        between(_steps((1, 1)), 5.0, 5.0)
