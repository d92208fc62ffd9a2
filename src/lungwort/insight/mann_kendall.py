"""Does a series rise or fall, or does it only look so? Mann-Kendall with ties and with memory.

Days hang together: a warm week makes seven alike. The plain test takes each for new evidence and
finds trends in noise far too often; its variance is therefore widened.

References
----------
H. B. Mann, Econometrica 13 (1945) 245. M. G. Kendall, Rank Correlation Methods (1975).
K. H. Hamed and A. R. Rao, Journal of Hydrology 204 (1998) 182. S. Yue and C. Y. Wang, Water
Resources Management 18 (2004) 201. G. V. Bayley and J. M. Hammersley, Supplement to the Journal of
the Royal Statistical Society 8 (1946) 184. F. H. C. Marriott and J. A. Pope, Biometrika 41 (1954)
390. All from memory; the formulas of S, its variance and Z are confirmed in the documentation of
open statistics libraries.
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from attrs import frozen

from lungwort.errors import RangeError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

NONE: Final = "none"
HAMED_RAO: Final = "hamed_rao"
YUE_WANG: Final = "yue_wang"
SERIAL: Final = "serial"
Correction = Literal["none", "hamed_rao", "yue_wang", "serial"]
"""How the variance is corrected for days that hang together: not at all, after Hamed and Rao with
all lags that stand out, after Yue and Wang with all lags, or by the widest of what the first lags
say (`SERIAL`), which keeps false alarms near what is promised."""

LEAST: Final = 4
"""Fewest values that the test takes [1]: with three no order is unlikely."""
MOST: Final = 3000
"""Most values at once [1]: the work grows with the square."""
_MOST_MEMORY: Final = 0.97
_LEVEL: Final = 0.05


@frozen
class MannKendall:
    """What the test says.

    Parameters
    ----------
    values : int
        How many values [1].
    score : int
        S: pairs that rise less pairs that fall [1].
    variance : float
        Of S, after the correction [1].
    z : float
        Standardised score [1]; 0 where the values do not tell.
    p : float
        Probability that values without a trend show such a score, either way, 0 to 1 [1].
    tau : float
        Score over the number of pairs, -1 to 1 [1].
    factor : float
        By how much the correction changed the variance [1].
    correction : str
        Which one.
    """

    values: int
    score: int
    variance: float
    z: float
    p: float
    tau: float
    factor: float
    correction: str


def mann_kendall(
    values: Floats, *, correction: Correction = NONE, without: Floats | None = None
) -> MannKendall:
    """Test a series for a trend, either way.

    Parameters
    ----------
    values : numpy.ndarray
        Values in the order of time, finite, 4 to 3000 of them [any unit].
    correction : str
        One of the `Correction`.
    without : numpy.ndarray, optional
        The values without their trend, in which memory is looked for [unit of the values]; worked
        out with the median of the slopes of all pairs, at even steps, where not given.

    Returns
    -------
    MannKendall
        Score, variance, z and p. Values that are all alike give p = 1.

    Raises
    ------
    RangeError
        Where there are too few or too many values, or one is not a number.

    References
    ----------
    S = sum of sign(x_j - x_i); var(S) = [n(n-1)(2n+5) - sum of t(t-1)(2t+5) over ties] / 18;
    Z = (S -+ 1) / sqrt(var(S)): Mann (1945), Kendall (1975); confirmed.

    Examples
    --------
    >>> found = mann_kendall(np.array([1.0, 2.3, 3.1, 4.5, 5.2, 6.8, 7.1, 8.9, 9.5, 10.2]))
    >>> found.score, found.variance, round(found.z, 5)
    (45, 125.0, 3.93548)
    """
    x = checked(values)
    n = x.size
    if correction not in {NONE, HAMED_RAO, YUE_WANG, SERIAL}:
        raise RangeError(
            f"the correction {correction!r} is not known. Use none, hamed_rao, yue_wang or serial."
        )
    score, plain = score_of(x), variance_of(x)
    factor = 1.0
    if plain > 0 and correction != NONE:
        if without is None:
            without = x - _median_step(x) * np.arange(1, n + 1)
        factor = {HAMED_RAO: _hamed_rao, YUE_WANG: _yue_wang, SERIAL: serial_factor}[correction](
            without
        )
    variance = plain * factor
    z, p = _z_and_p(score, variance)
    return MannKendall(n, score, variance, z, p, score / (0.5 * n * (n - 1)), factor, correction)


def checked(values: Floats, what: str = "the series") -> Floats:
    """Check that a series can be tested.

    Parameters
    ----------
    values : numpy.ndarray
        Values in the order of time [any unit].
    what : str
        What they are, for the message.

    Returns
    -------
    numpy.ndarray
        The same as floats.

    Raises
    ------
    RangeError
        Where there are too few or too many, or one is not a number.
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1:
        raise RangeError(f"{what} has {x.ndim} dimensions. Give one row of values.")
    if not LEAST <= x.size <= MOST:
        raise RangeError(
            f"{what} has {x.size} values. A trend is looked for in {LEAST} to {MOST} values; "
            "give more days, or weeks instead of days."
        )
    bad = np.flatnonzero(~np.isfinite(x))
    if bad.size:
        raise RangeError(
            f"{what} holds {x[bad[0]]!s} as value {bad[0] + 1}. Leave out what is not a number."
        )
    return x


def score_of(values: Floats) -> int:
    """Count pairs that rise less pairs that fall.

    Parameters
    ----------
    values : numpy.ndarray
        Values in the order of time, finite [any unit].

    Returns
    -------
    int
        S [1].
    """
    return sum(
        int(np.sign(values[begin + 1 :] - values[begin]).sum()) for begin in range(values.size - 1)
    )


def variance_of(values: Floats) -> float:
    """Give the variance of the score where there is no trend, with ties.

    Parameters
    ----------
    values : numpy.ndarray
        Values, finite [any unit].

    Returns
    -------
    float
        Variance of S for values that do not hang together [1]; 0 where all are alike.
    """
    n = values.size
    ties = np.unique(values, return_counts=True)[1].astype(np.float64)
    return float(n * (n - 1) * (2 * n + 5) - np.sum(ties * (ties - 1) * (2 * ties + 5))) / 18.0


def _z_and_p(score: int, variance: float) -> tuple[float, float]:
    if score == 0:
        return 0.0, 1.0
    if not variance > 0:
        # A variance of nothing or less is a failure of the correction, never a proof of a trend.
        return 0.0, 1.0
    z = (score - math.copysign(1, score)) / math.sqrt(variance)
    return z, math.erfc(abs(z) / math.sqrt(2.0))


def _median_step(x: Floats) -> float:
    first, second = np.triu_indices(x.size, 1)
    return float(np.median((x[second] - x[first]) / (second - first)))


def autocorrelation(values: Floats) -> Floats:
    """Give how values hang together with those before them.

    Parameters
    ----------
    values : numpy.ndarray
        Values at even steps of time, finite [any unit].

    Returns
    -------
    numpy.ndarray
        For each lag from 0 to n - 1, -1 to 1 [1]; zeros behind lag 0 where all are alike.
    """
    y = values - values.mean()
    whole = float(y @ y)
    if whole <= 0:
        return np.concatenate([[1.0], np.zeros(values.size - 1)])
    size = 1 << (2 * values.size - 1).bit_length()
    power = np.abs(np.fft.rfft(y, size)) ** 2
    return np.fft.irfft(power, size)[: values.size] / whole


def _weights(n: int) -> Floats:
    lag = np.arange(1, n, dtype=np.float64)
    return (n - lag) * (n - lag - 1) * (n - lag - 2) * (2.0 / (n * (n - 1.0) * (n - 2.0)))


def _hamed_rao(without: Floats) -> float:
    r = autocorrelation(_ranks(without))[1:]
    bound = NormalDist().inv_cdf(1 - _LEVEL / 2) / math.sqrt(without.size)
    return float(1.0 + np.sum(np.where(np.abs(r) > bound, r, 0.0) * _weights(without.size)))


def _yue_wang(without: Floats) -> float:
    n = without.size
    return float(1.0 + 2.0 * np.sum((1 - np.arange(1, n) / n) * autocorrelation(without)[1:]))


def serial_factor(without: Floats) -> float:
    """Tell by how much days that hang together widen the variance, on the cautious side.

    Parameters
    ----------
    without : numpy.ndarray
        Values without their trend, in the order of time, finite [any unit].

    Returns
    -------
    float
        1 or more [1]: the greatest of 1, of what a memory that fades from day to day gives
        (Bayley and Hammersley, with lag one corrected for its bias), and of Hamed and Rao's factor
        over the first lags that stand out one after the other.

    Notes
    -----
    Hamed and Rao's factor over all lags, and Yue and Wang's, let noise with a memory pass as a
    trend two to five times too often in series of months; the lags far out are noise themselves.
    """
    n = without.size
    ranks = autocorrelation(_ranks(without))[1:]
    bound = NormalDist().inv_cdf(1 - _LEVEL / 2) / math.sqrt(n)
    low = np.flatnonzero(ranks[: n // 2] <= bound)
    first = int(low[0]) if low.size else n // 2
    ranked = 1.0 + float(np.sum(ranks[:first] * _weights(n)[:first]))
    memory = memory_of(without)
    lag = np.arange(1, n)
    fading = 1.0 + 2.0 * float(np.sum((1 - lag / n) * memory**lag))
    return max(1.0, ranked, fading)


def memory_of(without: Floats) -> float:
    """Give how much of a day's deviation stays the day after, corrected for short series.

    Parameters
    ----------
    without : numpy.ndarray
        Values without their trend, in the order of time, finite [any unit].

    Returns
    -------
    float
        Lag-one autocorrelation, 0 to 0.97 [1].

    References
    ----------
    Taking out mean and slope lowers it by (2 + 4 r) / n on average, after the way of Marriott and
    Pope (1954); from memory.
    """
    n = without.size
    r = float(autocorrelation(without)[1])
    if n <= LEAST + 1:
        return _MOST_MEMORY if r > 0 else 0.0
    return min(max((n * r + 2.0) / (n - 4.0), 0.0), _MOST_MEMORY)


def _ranks(x: Floats) -> Floats:
    """Give ranks from 1; those that tie share their mean."""
    _, place, counts = np.unique(x, return_inverse=True, return_counts=True)
    upto = np.cumsum(counts)
    return (upto - (counts - 1) / 2.0)[place].astype(np.float64)


def trend_free(values: Floats) -> Floats:
    """Take the memory of one day out of a series, and keep its trend.

    Parameters
    ----------
    values : numpy.ndarray
        Values in the order of time, finite [any unit].

    Returns
    -------
    numpy.ndarray
        One value fewer [unit of the values].

    References
    ----------
    Trend-free pre-whitening: S. Yue, P. Pilon, B. Phinney and G. Cavadias, Hydrological Processes
    16 (2002) 1807; from memory.
    """
    x = checked(values)
    step = _median_step(x)
    without = x - step * np.arange(1, x.size + 1)
    r = float(autocorrelation(without)[1])
    freed: Floats = without[1:] - r * without[:-1] + step * np.arange(1, x.size)
    return freed
