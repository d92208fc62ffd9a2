"""Where a series steps or bends, so that no straight line is laid across it.

References
----------
R. Killick, P. Fearnhead and I. A. Eckley, Journal of the American Statistical Association 107
(2012) 1590: PELT. Y.-C. Yao, Statistics and Probability Letters 6 (1988) 181: a penalty of the
number of parameters times the logarithm of the number of values finds the right number of steps.
Both from memory.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.insight.mann_kendall import checked

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LEAST_SEGMENT: Final = 10
"""Values between two changes at least [1]; own rule."""
PARAMETERS: Final = 3.0
"""What a change adds to the description: a place, a level and a slope [1]."""
MARGIN: Final = 1.3
"""The penalty is raised by this, for noise whose memory is only known about [1]: own rule, from
trials with noise that has a memory and no change."""
_FAR_LESS: Final = 8.0
"""How many times less the variance of means must be for the noise around lines to be taken [1]: own
rule, from trials with noise that has a memory and no change."""
_LEAST_FOR_LINES: Final = 12
_MOST_PLACES: Final = 250
_MOST_MEMORY: Final = 0.9
_SPREAD_OF_MAD: Final = 1.4826
_CLIP: Final = 4.0
_NARROW_CLIP: Final = 2.0
_NARROW_SHARE: Final = 0.9205
"""Share of the variance of a normal spread that is left when it is cut at two standard deviations [1]:
2 Φ(2) - 1 - 4 φ(2) + 8 (1 - Φ(2)), closed form. A bend stands in three second differences."""
_DUST: Final = 1e-9


@frozen
class Change:
    """A place where the series changes.

    Parameters
    ----------
    index : int
        First value behind it, counted from 0 [1].
    step : float
        By how much the level jumps there [unit of the values].
    slope_before, slope_after : float
        Slopes of the straight lines on its two sides [unit of the values per unit of time].
    """

    index: int
    step: float
    slope_before: float
    slope_after: float


@frozen
class Noise:
    """How a series scatters from one value to the next.

    Parameters
    ----------
    spread : float
        Standard deviation around level and trend [unit of the values].
    memory : float
        How much of a deviation stays at the next value, 0 to 0.9 [1].
    """

    spread: float
    memory: float

    @property
    def long_run(self) -> float:
        """Variance that counts for means over many values [unit of the values, squared]."""
        return self.spread**2 * (1.0 + self.memory) / (1.0 - self.memory)


def noise_of(values: Floats) -> Noise:
    """Tell how a series scatters, whatever steps and trends it has.

    Parameters
    ----------
    values : numpy.ndarray
        Values in the order of time, finite [any unit].

    Returns
    -------
    Noise
        From the differences of neighbours and of values two apart: for a memory r that fades from
        value to value their variances stand as 1 to 1 + r. The spread is at least the smallest
        step by which values differ: readings are not told apart within a digit. Where the series
        falls and then rises, its slopes stand in these differences as if they were memory; what is
        left by lines through three neighbours is taken where it scatters far less.
    """
    x = checked(values)
    found, curved = _noise(x), _noise_around_lines(x)
    if curved is not None and curved.long_run * _FAR_LESS < found.long_run:
        return curved
    return found


def _noise(x: Floats) -> Noise:
    least = _digit(x)
    one, two = _variance(x[1:] - x[:-1]), _variance(x[2:] - x[:-2])
    if one <= 0:
        # More than half of the differences are alike: readings that move by single digits only. The
        # digit is more than their scatter, and their memory cannot be seen.
        return Noise(least, 0.0)
    memory = min(max(two / one - 1.0, 0.0), _MOST_MEMORY)
    return Noise(max(math.sqrt(one / (2.0 * (1.0 - memory))), least), memory)


def _noise_around_lines(x: Floats) -> Noise | None:
    """Tell the noise from second differences, in which no slope stands; None where they are alike.

    For variance v and memory r those of neighbours have the variance v (6 - 8r + 2r^2), those of
    values two apart v (6 - 8r^2 + 2r^4): they stand as 1 to (1 + r) (3 - r^2) / (3 - r).
    """
    if x.size < _LEAST_FOR_LINES:
        return None
    one = _variance(x[2:] - 2.0 * x[1:-1] + x[:-2], _NARROW_CLIP) / _NARROW_SHARE
    two = _variance(x[4:] - 2.0 * x[2:-2] + x[:-4], _NARROW_CLIP) / _NARROW_SHARE
    if one <= 0:
        return None
    memories = np.linspace(0.0, _MOST_MEMORY, 91)
    ratios = (1.0 + memories) * (3.0 - memories**2) / (3.0 - memories)
    memory = float(np.interp(two / one, ratios, memories))
    spread = math.sqrt(one / (6.0 - 8.0 * memory + 2.0 * memory**2))
    return Noise(max(spread, _digit(x)), memory)


def _digit(x: Floats) -> float:
    """Give the smallest step between different values; 0 where all are alike."""
    steps = np.diff(np.unique(x))
    steps = steps[steps > _DUST * float(np.max(np.abs(x)))] if steps.size else steps
    return float(steps.min()) if steps.size else 0.0


def _variance(differences: Floats, clip: float = _CLIP) -> float:
    """Give the variance without the few greatest, which are steps and odd days; 0 for ties."""
    around = np.abs(differences - np.median(differences))
    spread = _SPREAD_OF_MAD * float(np.median(around))
    return float(np.mean(np.minimum(around, clip * spread) ** 2))


def change_points(times: Floats, values: Floats) -> tuple[Change, ...]:
    """Find where a series steps or bends.

    Parameters
    ----------
    times : numpy.ndarray
        Times, rising [any unit of time].
    values : numpy.ndarray
        Values, finite, 4 to 3000 of them [any unit].

    Returns
    -------
    tuple of Change
        In the order of time; straight lines are laid between them.

    Raises
    ------
    RangeError
        Where there are too few or too many values, or one is not a number.

    Notes
    -----
    PELT on the squares that straight lines leave, with the penalty
    ``1.3 * 3 * ln(n) * long-run variance``: 3 parameters each worth ln(n) of the variance (Yao),
    that variance widened for memory as a mean of such values is, and 1.3 as an own margin.
    """
    y, t = checked(values, "the values"), checked(times, "the times")
    n = y.size
    noise = noise_of(y)
    if n < 2 * LEAST_SEGMENT or noise.long_run <= 0:
        return ()
    clean = _without_odd_days(y, noise.spread)
    penalty = MARGIN * PARAMETERS * math.log(n) * noise.long_run
    places = _pelt(t, clean, penalty)
    ends = [0, *places, n]
    lines = [_line(t[a:b], clean[a:b]) for a, b in pairwise(ends)]
    made = []
    for place, (before, after) in zip(places, pairwise(lines), strict=True):
        middle = (t[place - 1] + t[place]) / 2.0
        step = (after[0] + after[1] * middle) - (before[0] + before[1] * middle)
        made.append(Change(place, step, before[1], after[1]))
    return tuple(made)


def _without_odd_days(y: Floats, spread: float) -> Floats:
    """Bring single values that stand far out back to their neighbours."""
    half = LEAST_SEGMENT // 2
    padded = np.pad(y, half, mode="edge")
    around = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)
    return np.clip(y, around - _CLIP * spread, around + _CLIP * spread)


def _line(t: Floats, y: Floats) -> tuple[float, float]:
    centre = t.mean()
    away = t - centre
    slope = float(away @ (y - y.mean()) / (away @ away))
    return float(y.mean()) - slope * float(centre), slope


def _pelt(t: Floats, y: Floats, penalty: float) -> list[int]:
    import ruptures  # noqa: PLC0415 - keeps --help instant

    class StraightLine(ruptures.base.BaseCost):  # type: ignore[misc]
        """Squares that a straight line leaves, from running sums, so that each costs nothing."""

        model = "straight line"
        min_size = LEAST_SEGMENT

        def fit(self, signal: Floats) -> StraightLine:
            self.signal = signal
            time, value = signal[:, 1] - signal[:, 1].mean(), signal[:, 0] - signal[:, 0].mean()
            columns = (time, value, time * time, time * value, value * value)
            zero = np.zeros((1, 5))
            self.sums = np.vstack([zero, np.cumsum(np.column_stack(columns), axis=0)]).tolist()
            return self

        def error(self, start: int, end: int) -> float:
            a, b = self.sums[start], self.sums[end]
            n = end - start
            st, sy, stt, sty, syy = (y - x for x, y in zip(a, b, strict=True))
            wide = stt - st * st / n
            both = sty - st * sy / n
            left = syy - sy * sy / n - (both * both / wide if wide > 0 else 0.0)
            return max(float(left), 0.0)

    jump = max(1, math.ceil(y.size / _MOST_PLACES))
    search = ruptures.Pelt(custom_cost=StraightLine(), min_size=LEAST_SEGMENT, jump=jump)
    found = search.fit(np.column_stack([y, t])).predict(pen=penalty)
    return [int(place) for place in found[:-1]]


def step_instead(times: Floats, values: Floats) -> Change | None:
    """Tell whether one step explains a series better than a straight line does.

    Parameters
    ----------
    times : numpy.ndarray
        Times, rising [any unit of time].
    values : numpy.ndarray
        Values, finite, 4 to 3000 of them [any unit].

    Returns
    -------
    Change or None
        The best step; None where the line leaves less, after one parameter more (the place of the
        step) has been paid for as in `change_points`.

    Raises
    ------
    RangeError
        Where there are too few or too many values, or one is not a number.
    """
    y, t = checked(values, "the values"), checked(times, "the times")
    n = y.size
    if n < 2 * LEAST_SEGMENT:
        return None
    noise = noise_of(y)
    clean = _without_odd_days(y, noise.spread) if noise.spread > 0 else y
    level, slope = _line(t, clean)
    by_line = float(np.sum((clean - level - slope * t) ** 2))
    count = np.arange(1, n)
    upto = np.cumsum(clean)[:-1]
    after = clean.sum() - upto
    between = upto**2 / count + after**2 / (n - count)
    between = between[LEAST_SEGMENT - 1 : n - LEAST_SEGMENT]
    place = int(np.argmax(between)) + LEAST_SEGMENT
    by_step = float(np.sum(clean**2)) - float(between.max())
    if by_step + math.log(n) * noise.long_run >= by_line:
        return None
    step = float(clean[place:].mean() - clean[:place].mean())
    return Change(place, step, 0.0, 0.0)
