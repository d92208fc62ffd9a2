"""Steps and bends: series whose changes are known, and the search against a plain one."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.insight.test_mann_kendall import memory_noise

from lungwort.errors import RangeError
from lungwort.insight import change_points as cp
from lungwort.insight.change_points import change_points, noise_of, step_instead


def test_a_step_is_found_where_it_is() -> None:
    """Twenty trials of a step of 3 spreads in 180 days: found within 3 days in nearly all."""
    rng = np.random.default_rng(1)
    hits = 0
    for _ in range(20):
        values = rng.normal(size=180)
        values[100:] += 3.0
        found = change_points(np.arange(180.0), values)
        hits += len(found) == 1 and abs(found[0].index - 100) <= 3 and 1.5 < found[0].step < 4.5
    assert hits >= 18


def test_a_bend_is_found() -> None:
    """A bend is found."""
    times = np.arange(200.0)
    values = np.maximum(times - 120.0, 0.0) * 0.2 + np.random.default_rng(2).normal(size=200)
    (found,) = change_points(times, values)
    assert abs(found.index - 120) <= 15
    assert found.slope_before == pytest.approx(0.0, abs=0.03)
    assert found.slope_after == pytest.approx(0.2, abs=0.03)


@pytest.mark.parametrize("memory", [0.0, 0.6])
def test_noise_and_lines_have_no_change(memory: float) -> None:
    """With the margin chance shows one in a few of 100 series."""
    rng = np.random.default_rng(3)
    times = np.arange(120.0)
    alarms = sum(
        bool(change_points(times, slope * times + memory_noise(rng, 120, memory)))
        for slope in (0.0, 0.1)
        for _ in range(40)
    )
    assert alarms <= 8


def test_single_odd_days_are_no_change() -> None:
    """Single odd days are no change."""
    values = np.random.default_rng(4).normal(size=100)
    values[[20, 21, 60]] += 40.0
    assert change_points(np.arange(100.0), values) == ()


def test_the_search_equals_the_whole_search() -> None:
    """Optimal partitioning (Jackson and others, 2005) by the plain recursion, costs by numpy.polyfit."""
    rng = np.random.default_rng(5)
    times = np.arange(60.0)
    values = np.concatenate([np.zeros(25), 4.0 + 0.2 * np.arange(35)]) + rng.normal(size=60)
    clean = cp._without_odd_days(values, noise_of(values).spread)
    penalty = 12.0
    least = cp.LEAST_SEGMENT

    def cost(a: int, b: int) -> float:
        fit = np.polyfit(times[a:b], clean[a:b], 1)
        return float(np.sum((clean[a:b] - np.polyval(fit, times[a:b])) ** 2))

    best: dict[int, tuple[float, list[int]]] = {0: (0.0, [])}
    for end in range(least, 61):
        ways = [
            (best[at][0] + cost(at, end) + (penalty if at else 0.0), [*best[at][1], at])
            for at in best
            if end - at >= least
        ]
        best[end] = min(ways)
    assert cp._pelt(times, clean, penalty) == best[60][1][1:]


@pytest.mark.parametrize("memory", [0.0, 0.5, 0.8])
def test_spread_and_memory_are_told(memory: float) -> None:
    """Of a long series with a spread of 1, also where it has a step and a slope."""
    values = memory_noise(np.random.default_rng(6), 3000, memory) + 0.01 * np.arange(3000)
    values[1500:] += 20.0
    found = noise_of(values)
    assert found.memory == pytest.approx(memory, abs=0.06)
    assert found.spread == pytest.approx(1.0, abs=0.12)
    assert found.long_run == pytest.approx((1 + memory) / (1 - memory), rel=0.4)


def test_step_explains_better_than_a_line() -> None:
    """Step explains better than a line."""
    rng = np.random.default_rng(7)
    times = np.arange(80.0)
    step = np.where(times < 30, 0.0, 2.0) + rng.normal(size=80) * 0.7
    found = step_instead(times, step)
    assert found is not None
    assert abs(found.index - 30) <= 3
    assert found.step == pytest.approx(2.0, abs=0.5)
    assert step_instead(times, 0.05 * times + rng.normal(size=80) * 0.7) is None


@pytest.mark.parametrize("values", [np.full(40, 3.0), np.arange(12.0)])
def test_nothing_in_flat_or_short_series(values: np.ndarray) -> None:
    """Nothing in flat or short series."""
    times = np.arange(float(values.size))
    assert change_points(times, values) == ()
    assert step_instead(times[:12], values[:12]) is None


def test_readings_that_move_by_whole_digits() -> None:
    """Readings that move by whole digits."""
    values = np.where(np.arange(60) < 30, 5.0, 8.0)
    values[[5, 17, 44]] += 1.0
    (found,) = change_points(np.arange(60.0), values)
    assert found.index == 30


def test_refuses_what_is_no_number() -> None:
    """Refuses what is no number."""
    with pytest.raises(RangeError, match="holds nan"):
        change_points(np.arange(30.0), np.array([math.nan] * 30))
