"""What goes with temperature: series whose share is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.insight.test_mann_kendall import memory_noise

from lungwort.errors import RangeError
from lungwort.insight.robust_slope import theil_sen
from lungwort.insight.season import without_season


def year(rng: np.random.Generator, n: int = 300) -> tuple[np.ndarray, np.ndarray]:
    """Days, and the temperatures of a year with weather."""
    times = np.arange(float(n))
    warm = 12.0 - 9.0 * np.cos(2 * math.pi * times / 365.0) + 2.0 * memory_noise(rng, n, 0.7)
    return times, warm


def test_share_and_trend_are_parted() -> None:
    """Known: 0.05 for each kelvin and 0.004 for each day."""
    rng = np.random.default_rng(1)
    times, warm = year(rng)
    values = 3.0 + 0.05 * warm + 0.004 * times + 0.1 * rng.normal(size=times.size)
    found = without_season(times, values, warm)
    assert found.used
    assert found.per_k == pytest.approx(0.05, abs=0.006)
    assert theil_sen(times, found.values).slope == pytest.approx(0.004, abs=3e-4)
    # A level, unlike a slope, depends on the temperature to which the days are brought.
    assert np.median(found.values) == pytest.approx(
        3.0 + 0.05 * found.mean_c + 0.004 * np.median(times), abs=0.1
    )


def test_equals_least_squares_where_noise_is_normal() -> None:
    """numpy.linalg.lstsq with both at once, within four of its standard errors."""
    rng = np.random.default_rng(2)
    times, warm = year(rng)
    values = 1.0 - 0.03 * warm + 0.002 * times + 0.05 * rng.normal(size=times.size)
    columns = np.column_stack([np.ones_like(times), warm, times])
    fit, left, _, _ = np.linalg.lstsq(columns, values, rcond=None)
    spread = float(left[0]) / (times.size - 3)
    error = math.sqrt(spread * np.linalg.inv(columns.T @ columns)[1, 1])
    assert without_season(times, values, warm).per_k == pytest.approx(fit[1], abs=4 * error)


def test_no_share_is_taken_where_there_is_none() -> None:
    """At p < 0.01 chance shows a share in about 1 of 100 series."""
    rng = np.random.default_rng(3)
    taken = 0
    for _ in range(40):
        times, warm = year(rng, 150)
        taken += without_season(times, memory_noise(rng, 150, 0.5), warm[::-1]).used
    assert taken <= 3


def test_half_a_year_of_warming_is_not_told_from_time() -> None:
    """Half a year of warming is not told from time."""
    rng = np.random.default_rng(4)
    times, warm = year(rng, 160)
    values = 3.0 + 0.05 * warm
    found = without_season(times, values, warm)
    assert not found.told_apart
    assert not found.used
    assert abs(found.alike) > 0.7
    np.testing.assert_array_equal(found.values, values)


def test_worst_days_are_on_the_bad_side() -> None:
    """Worst days are on the bad side."""
    rng = np.random.default_rng(5)
    times, warm = year(rng)
    found = without_season(times, 0.05 * warm + 0.01 * rng.normal(size=300), warm)
    assert found.worst_shift(upwards=True) == pytest.approx(
        0.05 * (found.high_c - found.mean_c), rel=0.05
    )
    assert found.worst_shift(upwards=False) == pytest.approx(
        0.05 * (found.low_c - found.mean_c), rel=0.05
    )


@pytest.mark.parametrize("warm", [np.full(30, 20.0), 20.0 + np.arange(30) % 2 * 0.5])
def test_temperatures_that_hardly_move(warm: np.ndarray) -> None:
    """Temperatures that hardly move."""
    values = np.random.default_rng(6).normal(size=30)
    assert not without_season(np.arange(30.0), values, warm).used


def test_refuses_series_of_different_length() -> None:
    """Refuses series of different length."""
    with pytest.raises(RangeError, match="30 values, 30 times and 29 temperatures"):
        without_season(np.arange(30.0), np.zeros(30), np.zeros(29))
