"""How much of a series is the weather: the part that goes with temperature, taken out robustly.

Sensors and moisture both go up and down with temperature. Half a year from winter to summer then
looks like a trend. Where readings of temperature stand beside, their share is taken out first, but
only where temperature and time can be told apart.
"""

from __future__ import annotations

from math import erfc, sqrt
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.errors import RangeError
from lungwort.insight.mann_kendall import checked, serial_factor

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

MOST_ALIKE: Final = 0.7
"""Rank correlation of temperature and time above which they are not told apart [1]; own rule."""
LEAST_SWING_K: Final = 2.0
"""Swing of the days' temperatures, 5 to 95 %, below which there is no season [K]; own rule."""
_ROUNDS: Final = 30
_CLOSE: Final = 1e-10
_SURE: Final = 0.01


@frozen
class Season:
    """The part of a series that goes with temperature.

    Parameters
    ----------
    per_k : float
        Change of the values for one kelvin more [unit of the values per K]; 0 where none is shown.
    mean_c : float
        Temperature to which the values are brought: the median of the days [°C].
    low_c, high_c : float
        5 % and 95 % of the days' temperatures [°C].
    alike : float
        Rank correlation of temperature and time, -1 to 1 [1].
    values : numpy.ndarray
        Values as they would have been at ``mean_c`` [unit of the values].
    told_apart : bool
        Whether temperature and time could be told apart; otherwise nothing was taken out.
    p : float
        Probability that values without such a part show one [1].
    """

    per_k: float
    mean_c: float
    low_c: float
    high_c: float
    alike: float
    values: Floats
    told_apart: bool
    p: float

    @property
    def used(self) -> bool:
        """Whether something was taken out."""
        return self.per_k != 0.0

    def worst_shift(self, *, upwards: bool) -> float:
        """Give what the season adds on the worst of its days.

        Parameters
        ----------
        upwards : bool
            Whether high values are the bad ones.

        Returns
        -------
        float
            To be added to the values [unit of the values]: 0 or more upwards, 0 or less downwards.
        """
        shifts = (
            self.per_k * (self.low_c - self.mean_c),
            self.per_k * (self.high_c - self.mean_c),
        )
        return max(0.0, *shifts) if upwards else min(0.0, *shifts)


def without_season(times: Floats, values: Floats, temperature_c: Floats) -> Season:
    """Take out what goes with temperature.

    Parameters
    ----------
    times : numpy.ndarray
        Times, rising [any unit of time].
    values : numpy.ndarray
        Values, finite, 4 to 3000 of them [any unit].
    temperature_c : numpy.ndarray
        Temperature of the same days [°C].

    Returns
    -------
    Season
        What was taken out, and what remains.

    Raises
    ------
    RangeError
        Where the series differ in length, or hold what is not a number.

    Notes
    -----
    Medians of the slopes of all pairs, along time and along temperature by turns until both stay
    (backfitting). The part is used where Kendall's correlation of temperature with what the time
    leaves is one that chance shows in fewer than 1 of 100 cases, widened for memory as
    `lungwort.insight.mann_kendall.serial_factor` does, the days' temperatures swing by 2 K or more
    and their rank correlation with time is at most 0.7. These three are own rules.
    """
    y, t = checked(values, "the values"), checked(times, "the times")
    warm = checked(temperature_c, "the temperatures")
    if not y.size == t.size == warm.size:
        raise RangeError(
            f"{y.size} values, {t.size} times and {warm.size} temperatures do not go together. "
            "Give one of each a day."
        )
    from scipy.stats import kendalltau, spearmanr  # noqa: PLC0415 - keeps --help instant

    middle = float(np.median(warm))
    low, high = (float(one) for one in np.quantile(warm, [0.05, 0.95]))
    flat = bool(np.all(warm == warm[0]) or np.all(y == y[0]))
    alike = 0.0 if flat else float(spearmanr(warm, t).statistic)
    apart = high - low >= LEAST_SWING_K and abs(alike) <= MOST_ALIKE
    if flat or not apart:
        return Season(0.0, middle, low, high, alike, y, told_apart=apart or flat, p=1.0)
    along_time = along_heat = 0.0
    for _ in range(_ROUNDS):
        before = (along_time, along_heat)
        along_heat = _median_slope(warm, y - along_time * t)
        along_time = _median_slope(t, y - along_heat * warm)
        if np.allclose(before, (along_time, along_heat), rtol=1e-9, atol=_CLOSE):
            break
    rest = y - along_time * t
    left = rest - along_heat * (warm - middle)
    p = _chance(kendalltau(warm, rest).statistic, y.size, _memory_factor(left, warm))
    if p >= _SURE:
        return Season(0.0, middle, low, high, alike, y, told_apart=True, p=p)
    taken = y - along_heat * (warm - middle)
    return Season(along_heat, middle, low, high, alike, taken, told_apart=True, p=p)


def _memory_factor(left: Floats, warm: Floats) -> float:
    """Widen for memory: two series deceive by the memory that both have."""
    if np.all(left == left[0]):
        return 1.0
    return min(serial_factor(left), serial_factor(warm))


def _chance(tau: float, n: int, factor: float) -> float:
    spread = sqrt(factor * 2.0 * (2.0 * n + 5.0) / (9.0 * n * (n - 1.0)))
    return erfc(abs(float(tau)) / spread / sqrt(2.0))


def _median_slope(x: Floats, y: Floats) -> float:
    first, second = np.triu_indices(x.size, 1)
    apart = x[second] - x[first]
    there = apart != 0
    return float(np.median((y[second] - y[first])[there] / apart[there]))
