"""The median line against scipy, and the day on which it meets a limit."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from lungwort.errors import RangeError
from lungwort.insight.robust_slope import Slope, crossing, theil_sen

NEARLY = np.array([1.1, 1.0, 1.3, 1.2, 1.4, 1.6, 1.5, 1.9, 1.8, 2.2, 2.1, 2.6])


def test_as_computed() -> None:
    """Scipy theilslopes 0.95 at 3 months a step (computed).

    0.042857 (0.033333 to 0.053333), intercept 0.921429 by the way 'joint', 0.842857 by 'separate'.
    """
    line = theil_sen(np.arange(12.0) * 3, NEARLY)
    assert (line.slope, line.low, line.high) == pytest.approx(
        (0.042857, 0.033333, 0.053333), abs=1e-6
    )
    assert line.at(0.0) == pytest.approx(0.921429, abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("digits", [1, 6])
def test_equals_scipy(seed: int, digits: int) -> None:
    """Scipy theilslopes; series like that of its docstring: a line, noise and odd values."""
    rng = np.random.default_rng(seed)
    x = np.linspace(-5, 5, 150)
    y = np.round(x + rng.normal(size=150), digits)
    y[11:15] += 10
    y[-5:] -= 7
    for confidence in (0.90, 0.95):
        line = theil_sen(x, y, confidence=confidence)
        wanted = stats.theilslopes(y, x, alpha=confidence, method="joint")  # type: ignore[call-overload] # the stubs lack it
        assert line.slope == pytest.approx(wanted.slope, rel=1e-9)
        assert line.low == pytest.approx(wanted.low_slope, rel=1e-9)
        assert line.high == pytest.approx(wanted.high_slope, rel=1e-9)
        assert line.at(0.0) == pytest.approx(wanted.intercept, abs=1e-9)


def test_interval_of_the_level_holds_what_it_promises() -> None:
    """Binomial: of 400 samples 95 % hold the true median; a share below 91.5 % is 3 errors off."""
    rng = np.random.default_rng(8)
    held = 0
    for _ in range(400):
        line = theil_sen(np.arange(40.0), rng.normal(size=40))
        held += line.level_low <= 0.0 <= line.level_high
    assert held / 400 > 0.915


def test_memory_widens_both_intervals() -> None:
    """Memory widens both intervals."""
    times, values = np.arange(60.0), np.random.default_rng(9).normal(size=60)
    plain, wide = theil_sen(times, values), theil_sen(times, values, factor=4.0)
    assert (wide.slope, wide.level) == (plain.slope, plain.level)
    assert wide.high - wide.low > 1.7 * (plain.high - plain.low)
    assert wide.level_high - wide.level_low > 1.5 * (plain.level_high - plain.level_low)


def test_flat_values() -> None:
    """Flat values."""
    line = theil_sen(np.arange(5.0), np.full(5, 5.0))
    assert (line.slope, line.low, line.high, line.level) == (0.0, 0.0, 0.0, 5.0)


def test_too_few_for_an_interval_bound_nothing() -> None:
    """Too few for an interval bound nothing."""
    line = theil_sen(np.arange(4.0), np.array([1.0, 3.0, 2.0, 4.0]))
    assert math.isinf(line.level_high)
    assert math.isinf(line.high)


# --- meeting a limit ------------------------------------------------------------------------------


def exact(slope: float = 0.5) -> Slope:
    """Exact."""
    return Slope(slope, slope - 0.1, slope + 0.1, 10.0, 2.0, 1.8, 2.3, 30)


def test_crossing_where_the_band_meets_the_limit() -> None:
    """Crossing where the band meets the limit."""
    found = crossing(exact(), 7.0)
    assert found is not None
    assert found.time == pytest.approx(20.0)
    assert found.latest is not None
    assert exact().band(found.earliest)[1] == pytest.approx(7.0, abs=1e-9)
    assert exact().band(found.latest)[0] == pytest.approx(7.0, abs=1e-9)
    assert found.earliest < found.time < found.latest


def test_falling_line_is_the_mirror() -> None:
    """Falling line is the mirror."""
    up = crossing(exact(), 7.0)
    down = crossing(Slope(-0.5, -0.6, -0.4, 10.0, -2.0, -2.3, -1.8, 30), -7.0)
    assert up is not None
    assert down is not None
    assert (down.time, down.earliest, down.latest) == pytest.approx(
        (up.time, up.earliest, up.latest)
    )


def test_no_crossing_where_the_slope_may_be_zero() -> None:
    """No crossing where the slope may be zero."""
    assert crossing(Slope(0.5, -0.1, 1.1, 10.0, 2.0, 1.8, 2.2, 30), 7.0) is None


def test_a_limit_long_behind_lies_in_the_past() -> None:
    """A limit long behind lies in the past."""
    found = crossing(exact(), -40.0)
    assert found is not None
    assert found.time < 0.0
    assert found.earliest <= found.time


def test_level_that_may_already_be_there() -> None:
    """Level that may already be there."""
    found = crossing(exact(), 2.2)
    assert found is not None
    assert found.earliest <= 10.0 <= found.time


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("times", "values", "told"),
    [
        ([0.0, 1, 2, 3, 4], [1.0, 2, 3, 4], "5 times go with 4 values"),
        ([0.0, 1, 1, 3], [1.0, 2, 3, 4], "times do not rise"),
        ([0.0, 1, 2, 3], [1.0, 2, math.nan, 4], "the values holds nan"),
        ([0.0, 1], [1.0, 2], "has 2 values"),
    ],
)
def test_refuses(times: list[float], values: list[float], told: str) -> None:
    """Refuses."""
    with pytest.raises(RangeError, match=told):
        theil_sen(np.array(times), np.array(values))


@pytest.mark.parametrize("confidence", [0.0, 1.0, 95.0, math.nan])
def test_refuses_a_confidence(confidence: float) -> None:
    """Refuses a confidence."""
    with pytest.raises(RangeError, match="not between 0 and 1"):
        theil_sen(np.arange(12.0), NEARLY, confidence=confidence)


@pytest.mark.parametrize("factor", [0.5, -1.0, math.inf, math.nan])
def test_refuses_a_widening(factor: float) -> None:
    """Refuses a widening."""
    with pytest.raises(RangeError, match="must be 1 or more"):
        theil_sen(np.arange(12.0), NEARLY, factor=factor)


def test_refuses_a_limit_that_is_no_number() -> None:
    """Refuses a limit that is no number."""
    with pytest.raises(RangeError, match="a limit of nan"):
        crossing(exact(), math.nan)
