"""How steeply a series rises or falls, not led astray by single odd days.

References
----------
P. K. Sen, Journal of the American Statistical Association 63 (1968) 1379: the median of the slopes
of all pairs, with its interval; from memory.
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.errors import RangeError
from lungwort.insight.mann_kendall import checked, variance_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

CONFIDENCE: Final = 0.95


@frozen
class Slope:
    """A straight line through a series.

    Parameters
    ----------
    slope : float
        Median of the slopes of all pairs [unit of the values per unit of time].
    low, high : float
        Its interval; infinite where the values do not bound it.
    at_time, level : float
        A point on the line: the median of the times [unit of time] and the level there [unit of
        the values].
    level_low, level_high : float
        Interval of that level [unit of the values]; infinite where the values do not bound it.
    values : int
        How many values it rests on [1].
    confidence : float
        Of both intervals, 0 to 1 [1].
    """

    slope: float
    low: float
    high: float
    at_time: float
    level: float
    level_low: float
    level_high: float
    values: int
    confidence: float = CONFIDENCE

    def at(self, time: float) -> float:
        """Give the line at a time.

        Parameters
        ----------
        time : float
            The time [unit of time].

        Returns
        -------
        float
            Level there [unit of the values].
        """
        return self.level + self.slope * (time - self.at_time)

    def band(self, time: float) -> tuple[float, float]:
        """Give the interval of the line at a time; it widens away from the middle.

        Parameters
        ----------
        time : float
            The time [unit of time].

        Returns
        -------
        tuple of (float, float)
            Least and greatest level there [unit of the values].

        Notes
        -----
        The widths of level and slope are added as squares: both are taken to be independent, which
        holds in the middle of the times.
        """
        away = time - self.at_time
        up, down = (self.high, self.low) if away >= 0 else (self.low, self.high)
        here = self.at(time)
        return (
            here - math.hypot(self.level - self.level_low, (self.slope - down) * away),
            here + math.hypot(self.level_high - self.level, (up - self.slope) * away),
        )


def theil_sen(
    times: Floats, values: Floats, *, confidence: float = CONFIDENCE, factor: float = 1.0
) -> Slope:
    """Lay the median line through a series.

    Parameters
    ----------
    times : numpy.ndarray
        Times, rising, finite [any unit of time].
    values : numpy.ndarray
        Values, finite, 4 to 3000 of them [any unit].
    confidence : float
        Of the intervals, above 0 and below 1 [1].
    factor : float
        By how much the variance of the Mann-Kendall score is widened because values hang together,
        1 or more [1].

    Returns
    -------
    Slope
        The line. Values that are all alike give a slope of 0 from 0 to 0.

    Raises
    ------
    RangeError
        Where numbers are missing, times do not rise, or an argument is outside its range.

    Examples
    --------
    >>> x = np.array([1.1, 1.0, 1.3, 1.2, 1.4, 1.6, 1.5, 1.9, 1.8, 2.2, 2.1, 2.6])
    >>> line = theil_sen(np.arange(12.0) * 3, x)
    >>> round(line.slope, 6), round(line.low, 6), round(line.high, 6)
    (0.042857, 0.033333, 0.053333)
    """
    y, t = checked(values, "the values"), checked(times, "the times")
    if y.size != t.size:
        raise RangeError(f"{t.size} times go with {y.size} values. Give one time for each value.")
    if np.any(np.diff(t) <= 0):
        raise RangeError("the times do not rise. Put the days in order, each once.")
    if not 0 < confidence < 1:
        raise RangeError(f"a confidence of {confidence:g} is not between 0 and 1. Give like 0.95.")
    if not (math.isfinite(factor) and factor >= 1):
        raise RangeError(f"a widening of {factor:g} was given. It must be 1 or more.")
    first, second = np.triu_indices(y.size, 1)
    slopes = np.sort((y[second] - y[first]) / (t[second] - t[first]))
    slope = float(np.median(slopes))
    z = NormalDist().inv_cdf(0.5 + confidence / 2)
    low, high = _slope_ends(slopes, variance_of(y), z, factor)
    middle = float(np.median(t))
    around = np.sort(y - slope * (t - middle))
    level = float(np.median(around))
    level_low, level_high = _median_ends(around, z, factor)
    return Slope(slope, low, high, middle, level, level_low, level_high, y.size, confidence)


def _slope_ends(slopes: Floats, variance: float, z: float, factor: float) -> tuple[float, float]:
    pairs = slopes.size
    width = z * math.sqrt(variance * factor)
    lower = round((pairs - width) / 2.0) - 1
    upper = round((pairs + width) / 2.0)
    if variance == 0:
        return float(slopes[0]), float(slopes[-1])
    return (
        float(slopes[lower]) if lower >= 0 else -math.inf,
        float(slopes[upper]) if upper < pairs else math.inf,
    )


def _median_ends(around: Floats, z: float, factor: float) -> tuple[float, float]:
    """Give the interval of a median from its order, with as many values as are worth one each."""
    n = around.size
    half = z * math.sqrt(factor / n) / 2.0
    lower, upper = (
        math.floor(n * (0.5 - half)) - 1 if half < 0.5 else -1,  # noqa: PLR2004 - the middle
        math.ceil(n * (0.5 + half)),
    )
    if around[0] == around[-1]:
        return float(around[0]), float(around[-1])
    return (
        float(around[lower]) if lower >= 0 else -math.inf,
        float(around[upper]) if upper < n else math.inf,
    )


@frozen
class Crossing:
    """When a line reaches a limit.

    Parameters
    ----------
    time : float
        When the line itself does [unit of time].
    earliest : float
        When the outer edge of its band does [unit of time].
    latest : float, optional
        When its inner edge does [unit of time]; None where it never does.
    """

    time: float
    earliest: float
    latest: float | None


def crossing(line: Slope, limit: float) -> Crossing | None:
    """Tell when a line reaches a limit.

    Parameters
    ----------
    line : Slope
        The line.
    limit : float
        The limit, finite [unit of the values].

    Returns
    -------
    Crossing or None
        When; None where the line does not lead there for sure: its slope is not shown to go one
        way, or it goes away from a limit that lies ahead.

    Raises
    ------
    RangeError
        Where the limit is not a number.

    Notes
    -----
    The band is that of `Slope.band`; the times are where it meets the limit.
    """
    if not math.isfinite(limit):
        raise RangeError(f"a limit of {limit} was given. Give a number.")
    if line.low > 0 and math.isfinite(line.high):
        outer, inner = line.high - line.slope, line.slope - line.low
        up, down = line.level_high - line.level, line.level - line.level_low
    elif line.high < 0 and math.isfinite(line.low):
        outer, inner = line.slope - line.low, line.high - line.slope
        up, down = line.level - line.level_low, line.level_high - line.level
    else:
        return None
    way, steep = limit - line.level, abs(line.slope)
    ahead = way if line.slope > 0 else -way
    earliest = _meets(ahead, steep, up, outer, sign=1)
    if earliest is None:
        return None
    latest = _meets(ahead, steep, down, inner, sign=-1)
    return Crossing(
        line.at_time + ahead / steep,
        line.at_time + earliest,
        None if latest is None else line.at_time + latest,
    )


def _meets(ahead: float, steep: float, level: float, slope: float, *, sign: int) -> float | None:
    """Solve steep * x + sign * hypot(level, slope * x) = ahead for x; the left rises from 0 on."""
    if not (math.isfinite(level) and math.isfinite(slope)):
        return None

    def edge(x: float) -> float:
        return steep * x + sign * math.hypot(level, slope * x) - ahead

    high = (abs(ahead) + level) / steep + 1.0
    low = 0.0 if edge(0.0) <= 0 else -high
    for _ in range(60):
        if edge(high) >= 0:
            break
        high *= 2.0
    else:
        return None
    if edge(low) > 0:
        # Reached so long ago that the band does not tell when.
        return low
    for _ in range(200):
        middle = (low + high) / 2.0
        if edge(middle) < 0:
            low = middle
        else:
            high = middle
    # The side on which nothing is promised too late or too early.
    return low if sign > 0 else high
