"""Is there a beat in a series of readings? Least-squares spectrum for any sampling.

A beat is only called one where noise without a beat would hardly show it, and where it stands out
from the noise around it: readings that hang together (as all real ones do) have much power at long
periods without any beat.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.errors import RangeError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Complexes = NDArray[np.complex128]

LEAST_READINGS: Final = 30
LEAST_CYCLES: Final = 8.0
"""A beat seen fewer times than this is not told from chance [1]; own rule."""

MOST_READINGS: Final = 1400
_MOST_FREQUENCIES: Final = 2500
_OVERSAMPLING: Final = 3.0
# Small enough that the sums run on one core: a web server answers others meanwhile.
_BLOCK: Final = 4000
_BINS: Final = 20
_PEAK_WIDTH: Final = 4
_STRETCHES: Final = 8
_LEAST_SPAN_INTERVALS: Final = 2.2


@frozen
class Beat:
    """The strongest beat in a series.

    Parameters
    ----------
    period_s : float
        Its period [s].
    amplitude : float
        Half of its swing [unit of the readings].
    power : float
        Share of the variance that it explains, 0 to 1 [1].
    false_alarm : float
        Probability that independent noise shows one so strong at any period looked at [1].
    local_false_alarm : float
        The same against the noise around that period, which also holds where readings hang
        together [1].
    steadiness : float
        How evenly it goes through the readings, 0 (one stretch alone) to 1 (all the time) [1].
    cycles : float
        How many times it fits into the readings [1].
    readings : int
        Readings used [1].
    """

    period_s: float
    amplitude: float
    power: float
    false_alarm: float
    local_false_alarm: float
    steadiness: float
    cycles: float
    readings: int

    @property
    def chance(self) -> float:
        """The greater of the two probabilities [1]."""
        return max(self.false_alarm, self.local_false_alarm)


def power(time_s: Floats, values: Floats, frequency_hz: Floats) -> Floats:
    """Give the share of the variance that a sine with a mean of its own explains.

    Parameters
    ----------
    time_s : numpy.ndarray
        Times, rising, any spacing, shape (n,) [s].
    values : numpy.ndarray
        Readings, finite, shape (n,) [any unit].
    frequency_hz : numpy.ndarray
        Frequencies above 0, shape (m,) [Hz].

    Returns
    -------
    numpy.ndarray
        Shares, 0 to 1, shape (m,) [1]; zeros for readings that do not move.

    References
    ----------
    M. Zechmeister and M. Kuerster, Astronomy and Astrophysics 496 (2009) 577: the generalised
    Lomb-Scargle periodogram; from memory.
    """
    y = values - values.mean()
    whole = float(y @ y)
    if whole <= 0.0:
        return np.zeros(frequency_hz.size)
    turns, ones, doubled = _sums(time_s - time_s.mean(), y, frequency_hz)
    n = float(y.size)
    c, s, yc, ys = ones.real, ones.imag, turns.real, turns.imag
    cc = (n + doubled.real) / 2.0 - c * c / n
    ss = (n - doubled.real) / 2.0 - s * s / n
    cs = doubled.imag / 2.0 - c * s / n
    d = cc * ss - cs * cs
    safe = np.where(d > 1e-9 * n * n, d, np.inf)
    shares = (ss * yc**2 + cc * ys**2 - 2.0 * cs * yc * ys) / (whole * safe)
    clipped: Floats = np.clip(shares, 0.0, 1.0)
    return clipped


def _sums(t: Floats, y: Floats, frequency_hz: Floats) -> tuple[Complexes, Complexes, Complexes]:
    """Give the sums over readings of y z, of z and of z squared, with z a turn for each frequency.

    On an even grid the turns of a block are those of the first block times one turn for each
    reading, so that the sums are products of a matrix that is made once.
    """
    step = max(1, _BLOCK // t.size)
    gaps = np.diff(frequency_hz)
    even = gaps.size > 0 and bool(np.allclose(gaps, gaps[0], rtol=1e-6, atol=0.0))
    block = np.arange(step) * (float(gaps[0]) if even else 0.0)
    turn = np.exp(2j * math.pi * np.outer(block, t)) if even else np.empty((0, 0))
    squared = turn * turn
    found = []
    for begin in range(0, frequency_hz.size, step):
        here = frequency_hz[begin : begin + step]
        if even:
            first = np.exp(2j * math.pi * here[0] * t)
            rows, more = turn[: here.size], squared[: here.size]
        else:
            first = np.ones(t.size, dtype=np.complex128)
            rows = np.exp(2j * math.pi * np.outer(here, t))
            more = rows * rows
        found.append((rows @ (first * y), rows @ first, more @ (first * first)))
    turns, ones, doubled = (np.concatenate(one) for one in zip(*found, strict=True))
    return turns, ones, doubled


def false_alarm(share: float, readings: int, bandwidth: float) -> float:
    """Give the probability that independent noise shows such a share at any frequency looked at.

    Parameters
    ----------
    share : float
        Share of the variance, 0 to 1 [1].
    readings : int
        Readings, at least 5 [1].
    bandwidth : float
        Highest frequency times effective length, ``f_max * sqrt(4 pi var(t))`` [1]; 0 for a
        single frequency that was fixed beforehand.

    Returns
    -------
    float
        Upper bound of the probability, 0 to 1 [1]; exact for a single frequency.

    Raises
    ------
    RangeError
        Where a number is outside its range.

    References
    ----------
    R. V. Baluev, Monthly Notices of the Royal Astronomical Society 385 (2008) 1279; from memory.

    Examples
    --------
    >>> round(false_alarm(0.5, 23, 0.0), 6) == round(0.5**10, 6)
    True
    """
    if not 0.0 <= share <= 1.0 or readings < 5 or not bandwidth >= 0.0:  # noqa: PLR2004 - degrees of freedom
        raise RangeError(
            f"share {share}, {readings} readings, bandwidth {bandwidth}: allowed are a share of 0 "
            "to 1, at least 5 readings and a bandwidth that is not negative. Give more readings."
        )
    free = readings - 1
    single = float((1.0 - share) ** (0.5 * (readings - 3)))
    gamma = math.sqrt(2.0 / free) * math.exp(
        math.lgamma(free / 2.0) - math.lgamma((free - 1) / 2.0)
    )
    rate = (
        gamma
        * bandwidth
        * float((1.0 - share) ** (0.5 * (readings - 4)))
        * math.sqrt(0.5 * free * share)
    )
    return float(min(1.0, 1.0 - (1.0 - single) * math.exp(-rate)))


def _grid(span_s: float, shortest_s: float, longest_s: float) -> Floats:
    low, high = 1.0 / longest_s, 1.0 / shortest_s
    wanted = math.ceil((high - low) * span_s * _OVERSAMPLING) + 1
    return np.linspace(low, high, int(min(max(wanted, 16), _MOST_FREQUENCIES)))


def _background(frequency: Floats, shares: Floats, peak: int) -> float:
    """Give the power of the noise where the peak stands, by a bent line through the logarithms.

    Readings that wander have ever more power at longer periods; the line follows that.
    """
    x = np.log(frequency)
    edges = np.linspace(float(x[0]), float(x[-1]) + 1e-9, _BINS + 1)
    place = np.digitize(x, edges) - 1
    near = abs(np.arange(shares.size) - peak) <= _PEAK_WIDTH
    at, level = [], []
    for one in range(_BINS):
        here = (place == one) & ~near & (shares > 0.0)
        if here.any():
            at.append(float(x[here].mean()))
            level.append(math.log(float(np.median(shares[here])) / math.log(2.0)))
    if len(at) < 4:  # noqa: PLR2004 - a bent line needs some more than three
        return 1.0
    line = np.polynomial.Polynomial.fit(np.array(at), np.array(level), 2)
    return math.exp(min(float(line(float(x[peak]))), 0.0))


def _local_chance(frequency: Floats, shares: Floats, peak: int, independent: float) -> float:
    """Hold the peak against the noise around it, whose power is exponential."""
    level = _background(frequency, shares, peak)
    single = math.exp(-min(float(shares[peak]) / level, 700.0))
    return float(-math.expm1(independent * math.log1p(-min(single, 1.0 - 1e-16))))


def strongest(
    time_s: Floats,
    values: Floats,
    *,
    shortest_s: float | None = None,
    longest_s: float | None = None,
) -> Beat | None:
    """Find the strongest beat in readings.

    Parameters
    ----------
    time_s : numpy.ndarray
        Times, rising, any spacing, shape (n,) [s].
    values : numpy.ndarray
        Readings, shape (n,) [any unit]; NaN is left out.
    shortest_s, longest_s : float, optional
        Periods to look at [s]; from a bit above twice the sampling interval to an eighth of the
        length where not given.

    Returns
    -------
    Beat or None
        The strongest; None where there are too few readings, they do not move, or no period fits.

    Raises
    ------
    RangeError
        Where times do not rise, or a period given is not above 0.
    """
    for period in (shortest_s, longest_s):
        if period is not None and not (math.isfinite(period) and period > 0.0):
            raise RangeError(f"a period of {period} s: a number above 0 is needed. Give seconds.")
    good = np.isfinite(values) & np.isfinite(time_s)
    t, y = time_s[good], values[good]
    if t.size > 1 and float(np.diff(t).min()) < 0.0:
        raise RangeError("times do not rise. Sort the readings by time.")
    if t.size < LEAST_READINGS:
        return None
    if t.size > MOST_READINGS:
        t, y = _thinned(t, y)
    span, interval = float(t[-1] - t[0]), float(np.median(np.diff(t)))
    if span <= 0.0 or interval <= 0.0 or float(np.ptp(y)) == 0.0:
        return None
    low = max(shortest_s or 0.0, _LEAST_SPAN_INTERVALS * interval)
    high = min(longest_s or math.inf, span / LEAST_CYCLES)
    if low >= high:
        return None
    y = y - _slow(t, y, high)
    frequency = _grid(span, low, high)
    shares = power(t, y, frequency)
    peak = int(np.argmax(shares))
    share, hz = float(shares[peak]), float(frequency[peak])
    width = float(frequency[-1]) * math.sqrt(4.0 * math.pi * float(np.var(t)))
    independent = max(1.0, float(frequency[-1] - frequency[0]) * span)
    return Beat(
        period_s=1.0 / hz,
        amplitude=math.sqrt(2.0 * share * float(np.var(y))),
        power=share,
        false_alarm=false_alarm(share, t.size, width),
        local_false_alarm=_local_chance(frequency, shares, peak, independent),
        steadiness=steadiness(t, y, hz),
        cycles=span * hz,
        readings=int(t.size),
    )


def steadiness(time_s: Floats, values: Floats, frequency_hz: float) -> float:
    """Tell how evenly a beat goes through readings, with its phase kept.

    Parameters
    ----------
    time_s, values : numpy.ndarray
        Times [s] and finite readings [any unit], shape (n,).
    frequency_hz : float
        The beat [Hz].

    Returns
    -------
    float
        Number of stretches, out of eight, that would carry as much if all carried the same, over
        eight, times how well their phases agree: 0 to 1 [1].
    """
    places = np.linspace(time_s[0], time_s[-1], _STRETCHES + 1)[1:-1]
    parts = np.split(np.arange(time_s.size), np.searchsorted(time_s, places))
    turn = np.exp(-2j * math.pi * frequency_hz * (time_s - time_s[0]))
    arms = np.array(
        [complex((values[one] - values[one].mean()) @ turn[one]) for one in parts if one.size > 0]
    )
    size = np.abs(arms)
    if float(size.sum()) <= 0.0:
        return 0.0
    even = float(size.sum()) ** 2 / (float((size**2).sum()) * _STRETCHES)
    return even * abs(complex(arms.sum())) / float(size.sum())


def _thinned(t: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Take means of neighbours, so that a long series costs no more than a short one."""
    per = -(-t.size // MOST_READINGS)
    whole = t.size // per * per
    return t[:whole].reshape(-1, per).mean(axis=1), y[:whole].reshape(-1, per).mean(axis=1)


def _slow(t: Floats, y: Floats, longest_s: float) -> Floats:
    """Give what moves slower than any beat looked at: a line through medians of wide blocks."""
    blocks = np.floor((t - t[0]) / (longest_s * 1.0)).astype(int)
    places, levels = [], []
    for one in np.unique(blocks):
        here = blocks == one
        if here.sum() >= 5:  # noqa: PLR2004 - fewer give no median worth the name
            places.append(float(t[here].mean()))
            levels.append(float(np.median(y[here])))
    if len(places) < 2:  # noqa: PLR2004 - a line needs two
        return np.full(t.size, float(np.median(y)))
    line: Floats = np.interp(t, np.array(places), np.array(levels))
    return line
