"""How the readings of one channel moved: not at all, in one step, for a while, in bursts, creeping.

Made for readings as they are: uneven in time, with gaps, rounded by a display, with noise that is
not known beforehand. A channel with too few readings is not measured; it never counts for anything.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.insight.cause_series import LEAST_READINGS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

NONE: Final = "none"
FAINT: Final = "faint"
STEP: Final = "step"
EPISODE: Final = "episode"
BURSTS: Final = "bursts"
CREEP: Final = "creep"
SINK: Final = "sink"
DOWN: Final = "down"
SHAPES: Final = (NONE, FAINT, STEP, EPISODE, BURSTS, CREEP, SINK, DOWN)
"""How a channel can have moved; it sinks slowly, and down is any other fall."""

BURST_S: Final = 2400.0
"""Rises that are over within this time are bursts [s]; own rule."""

_MOST_BLOCKS: Final = 72
_LEAST_BLOCKS: Final = 8
_LEAST_A_BLOCK: Final = 3
_MAD_TO_SD: Final = 1.4826
_NOISE_TIMES: Final = 6.0
_RETURNED: Final = 0.4
_BURST_SHARE: Final = 0.35
_FEW_RUNS: Final = 4
_EARLY, _LATE = 0.04, 0.96


@frozen
class Thresholds:
    """From when on a channel has moved.

    Parameters
    ----------
    faint, clear : float
        Least change that is seen at all, and that is clear [unit of the channel; for water decades
        of its content].
    """

    faint: float
    clear: float


THRESHOLDS: Final[dict[str, Thresholds]] = {
    "co": Thresholds(1.0, 2.5),
    "co2": Thresholds(40.0, 90.0),
    "o2": Thresholds(0.12, 0.3),
    "water": Thresholds(0.1, 0.2),
    "voc": Thresholds(0.5, 1.5),
    "nox": Thresholds(0.5, 1.5),
}
"""Own rule, by reasoning: faint is what ordinary cells drift in a day, clear is well above it."""


@frozen
class Movement:
    """How one channel moved.

    Parameters
    ----------
    shape : str
        One of `SHAPES`.
    change : float
        By how much, from what it was before [unit of the channel; decades for water].
    baseline : float
        What it was before [the same].
    noise : float
        Standard deviation from reading to reading [the same].
    begin_s, end_s : float
        From when to when it was off [s since 1970-01-01 UTC].
    runs : tuple of (float, float)
        Stretches in which single readings stood clearly above what was before [s].
    stays : str
        ``returns``, ``stays`` or ``rises on``, by the end of the readings.
    clear : bool
        Whether the change is clear, and not only seen.
    """

    shape: str
    change: float
    baseline: float
    noise: float
    begin_s: float
    end_s: float
    runs: tuple[tuple[float, float], ...] = ()
    stays: str = "returns"
    clear: bool = False


def noise_of(values: Floats) -> float:
    """Give the noise from reading to reading, whatever moves slowly below it.

    Parameters
    ----------
    values : numpy.ndarray
        Finite readings in the order of time, shape (n,), n >= 2 [any unit].

    Returns
    -------
    float
        Standard deviation [the same unit].

    Examples
    --------
    >>> noise_of(np.array([1.0, 1.0, 1.0]))
    0.0
    """
    steps = np.diff(values)
    return float(_MAD_TO_SD * np.median(np.abs(steps - np.median(steps))) / math.sqrt(2.0))


def baseline_of(values: Floats) -> float:
    """Give the level around which most readings lie: the middle of the shortest half of them.

    Parameters
    ----------
    values : numpy.ndarray
        Finite readings, shape (n,), n >= 2 [any unit].

    Returns
    -------
    float
        The level [the same unit].

    References
    ----------
    The shorth: P. J. Rousseeuw and A. M. Leroy, Statistica Neerlandica 42 (1988) 103; from memory.
    """
    ordered = np.sort(values)
    half = ordered.size // 2 + 1
    widths = ordered[half - 1 :] - ordered[: ordered.size - half + 1]
    least = widths.min()
    first = int(np.flatnonzero(widths <= least + 1e-12)[0])
    return float(np.median(ordered[first : first + half]))


def blocks_of(time_s: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Bring finite readings to medians of blocks of as many readings each.

    Parameters
    ----------
    time_s, values : numpy.ndarray
        Times [s] and finite readings [any unit], shape (n,).

    Returns
    -------
    tuple of numpy.ndarray
        Mean times and medians of 8 to 72 blocks.
    """
    count = int(np.clip(values.size // _LEAST_A_BLOCK, _LEAST_BLOCKS, _MOST_BLOCKS))
    pieces = np.array_split(np.arange(values.size), count)
    return (
        np.array([float(time_s[one].mean()) for one in pieces]),
        np.array([float(np.median(values[one])) for one in pieces]),
    )


def _sums(levels: Floats) -> tuple[Floats, Floats]:
    return np.concatenate([[0.0], np.cumsum(levels)]), np.concatenate([[0.0], np.cumsum(levels**2)])


def _two_levels(levels: Floats) -> tuple[float, float, int, int]:
    """Fit one level outside and one inside a stretch; give rest, change, first and last block."""
    n = levels.size
    total, squares = _sums(levels)
    a, b = np.triu_indices(n + 1, k=2)
    inside = (b - a).astype(np.float64)
    fits = (inside <= n - 2) & ~((a == 0) & (b == n))
    a, b, inside = a[fits], b[fits], inside[fits]
    sum_in = total[b] - total[a]
    sum_out, outside = total[n] - sum_in, n - inside
    rest = squares[n] - sum_in**2 / inside - sum_out**2 / outside
    best = int(np.argmin(rest))
    change = sum_in[best] / inside[best] - sum_out[best] / outside[best]
    return float(rest[best]), float(change), int(a[best]), int(b[best])


def _hinge(time: Floats, levels: Floats) -> tuple[float, float, int]:
    """Fit a level and then a line from some block on; give rest, change and first block."""
    n = levels.size
    best = (math.inf, 0.0, 0)
    for at in range(n - max(3, n // 5)):
        ramp = np.maximum(time - time[at], 0.0)
        shape = np.column_stack([np.ones(n), ramp])
        fitted, *_ = np.linalg.lstsq(shape, levels, rcond=None)
        rest = float(((levels - shape @ fitted) ** 2).sum())
        if rest < best[0]:
            best = (rest, float(fitted[1] * ramp[-1]), at)
    return best


def _runs(time_s: Floats, above: Floats, high: float) -> tuple[tuple[float, float], ...]:
    """Give the stretches that go over a level, each until it is well below that level again."""
    found: list[tuple[float, float]] = []
    low, begin, last = _RETURNED * high, None, 0.0
    for second, value in zip(time_s.tolist(), above.tolist(), strict=True):
        if value > high and begin is None:
            begin = second
        if begin is not None and value < low:
            found.append((begin, last))
            begin = None
        last = second
    if begin is not None:
        found.append((begin, last))
    return tuple(found)


def movement(time_s: Floats, values: Floats, limits: Thresholds) -> Movement | None:
    """Tell how a channel moved.

    Parameters
    ----------
    time_s : numpy.ndarray
        Times, rising, shape (n,) [s].
    values : numpy.ndarray
        Readings, NaN for none, shape (n,) [unit of the limits].
    limits : Thresholds
        From when on it has moved.

    Returns
    -------
    Movement or None
        How it moved; None where there are too few readings: it was not measured.
    """
    good = np.isfinite(values)
    t, y = time_s[good], values[good]
    if y.size < LEAST_READINGS:
        return None
    noise, base = noise_of(y), baseline_of(y)
    runs = _runs(t, y - base, max(limits.clear, _NOISE_TIMES * noise))
    found = _bursts(t, y, runs, base, noise) if runs else None
    if found is not None:
        return found
    return _slow(t, y, limits, noise, runs)


def _bursts(
    t: Floats, y: Floats, runs: tuple[tuple[float, float], ...], base: float, noise: float
) -> Movement | None:
    """Call short rises by their name; None where they are not short, or one alone."""
    step = float(np.median(np.diff(t)))
    lengths = np.array([end - begin + step for begin, end in runs])
    share = float(lengths.sum()) / float(t[-1] - t[0] + step)
    single = lengths.size == 1 and lengths[0] <= BURST_S / 2.0
    several = lengths.size > 1 and float(np.median(lengths)) <= BURST_S >= lengths.max() / 3.0
    # What is still high at the end may be no burst at all, but the end of a slow rise.
    unfinished = runs[-1][1] >= float(t[-1]) and lengths.size < _FEW_RUNS
    if not (single or several) or unfinished or share > _BURST_SHARE:
        return None
    peaks = [float(y[(t >= begin) & (t <= end)].max()) for begin, end in runs]
    return Movement(
        BURSTS,
        float(np.median(peaks)) - base,
        base,
        noise,
        runs[0][0],
        runs[-1][1],
        runs,
        "returns",
        True,
    )


def _slow(
    t: Floats, y: Floats, limits: Thresholds, noise: float, runs: tuple[tuple[float, float], ...]
) -> Movement:
    """Hold a level, a line, a bent line and two levels against the blocks; take the best."""
    time, levels = blocks_of(t, y)
    n = levels.size
    spread = max(noise_of(levels), limits.faint / 10.0, noise / math.sqrt(max(1.0, y.size / n)))
    level_rest = float(((levels - levels.mean()) ** 2).sum())
    two_rest, two_change, first, last = _two_levels(levels)
    bent_rest, bent_change, bend = _hinge(time, levels)
    price = math.log(n)
    costs = {
        NONE: level_rest / spread**2 + price,
        CREEP: bent_rest / spread**2 + 3.0 * price,
        EPISODE: two_rest / spread**2 + 4.0 * price,
    }
    kind = min(costs, key=lambda one: costs[one])
    if kind == EPISODE and bent_rest <= 1.25 * two_rest and abs(bent_change) >= limits.faint:
        kind = CREEP
    if kind == NONE:
        return Movement(NONE, 0.0, float(np.median(y)), noise, t[0], t[-1], runs)
    several = _episodes(t, y, runs, noise) if kind == EPISODE else None
    if several is not None:
        return several
    if kind == CREEP:
        change, begin, end = bent_change, float(time[bend]), float(t[-1])
        base = float(np.median(levels[: max(bend, 1) + 1]))
        shape, stays = CREEP, "rises on"
    else:
        # A low stretch in high readings is two stretches of the higher level, and the other way.
        change, begin, end = two_change, float(time[first]), float(time[last - 1])
        inside = np.zeros(n, dtype=bool)
        inside[first:last] = True
        at_end, at_begin = last >= n * _LATE, first <= n * _EARLY
        if at_begin and not at_end:
            inside, change, begin, end = ~inside, -change, float(time[last]), float(t[-1])
            at_end = True
        shape, stays = (STEP, "stays") if at_end else (EPISODE, "returns")
        base = float(np.median(levels[~inside]))
    if change < 0.0 and abs(change) >= limits.faint:
        shape = SINK if kind == CREEP else DOWN
    return Movement(
        _sized(shape, change, limits),
        change,
        base,
        noise,
        begin,
        end,
        runs,
        stays,
        abs(change) >= limits.clear,
    )


def _episodes(
    t: Floats, y: Floats, runs: tuple[tuple[float, float], ...], noise: float
) -> Movement | None:
    """Take several rises that each ended by what was read in all of them; None for one alone."""
    if len(runs) < 2 or runs[0][0] <= float(t[0]) or runs[-1][1] >= float(t[-1]):  # noqa: PLR2004 - one alone is fitted
        return None
    inside = np.zeros(t.size, dtype=bool)
    for begin, end in runs:
        inside |= (t >= begin) & (t <= end)
    if inside.mean() > 0.5:  # noqa: PLR2004 - then it is not known which level was there before
        return None
    base = float(np.median(y[~inside]))
    change = float(np.median(y[inside])) - base
    return Movement(
        EPISODE, change, base, noise, runs[0][0], runs[-1][1], runs, "returns", clear=True
    )


def _sized(shape: str, change: float, limits: Thresholds) -> str:
    if abs(change) < limits.faint:
        return NONE
    return FAINT if abs(change) < limits.clear else shape


def binned(time_s: Floats, values: Floats, edges_s: Floats) -> Floats:
    """Give the means of readings between edges, NaN where there are none.

    Parameters
    ----------
    time_s, values : numpy.ndarray
        Times [s] and readings [any unit], NaN for none, shape (n,).
    edges_s : numpy.ndarray
        Edges, rising, shape (m + 1,) [s].

    Returns
    -------
    numpy.ndarray
        Means, shape (m,).
    """
    good = np.isfinite(values)
    count, _ = np.histogram(time_s[good], edges_s)
    total, _ = np.histogram(time_s[good], edges_s, weights=values[good])
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def correlation(one: Floats, other: Floats, *, lags: int = 2) -> float | None:
    """Give the correlation of two series, the best within a small shift.

    Parameters
    ----------
    one, other : numpy.ndarray
        Series at the same, evenly spaced times, NaN for none, shape (n,) [any unit].
    lags : int
        Places by which one may be shifted against the other [1].

    Returns
    -------
    float or None
        Pearson's coefficient of greatest size, -1 to 1; None below twelve pairs or where one does
        not move.

    Examples
    --------
    >>> rising = np.arange(20.0)
    >>> round(correlation(rising, 3.0 - rising), 3)
    -1.0
    """
    found = []
    for shift in range(-lags, lags + 1):
        a = one[max(shift, 0) : one.size + min(shift, 0)]
        b = other[max(-shift, 0) : other.size + min(-shift, 0)]
        both = np.isfinite(a) & np.isfinite(b)
        if both.sum() < 12:  # noqa: PLR2004 - fewer pairs say nothing
            continue
        a, b = a[both] - a[both].mean(), b[both] - b[both].mean()
        size = math.sqrt(float(a @ a) * float(b @ b))
        if size > 0.0:
            found.append(float(a @ b) / size)
    return max(found, key=abs) if found else None
