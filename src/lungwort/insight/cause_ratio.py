"""How much of one gas comes with another, below what either the day or the cell does by itself."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LEAST_CO2_PER_CO: Final = 1.2
"""Carbon dioxide per carbon monoxide of the richest engine exhaust [1]; from memory."""

_LEAST_BINS: Final = 24
_CURVES: Final = 4
_LAGS: Final = 2
_MOST_HANGING: Final = 0.95


@frozen
class Companion:
    """How much of a gas comes with another.

    Parameters
    ----------
    per : float
        Rise of it for each unit of the other [unit per unit].
    half_width : float
        Two standard errors, widened for readings that hang together [the same].
    """

    per: float
    half_width: float

    @property
    def sure(self) -> bool:
        """Whether any of it comes with the other for certain (two and a half half-widths)."""
        return self.per > 2.5 * self.half_width

    def below(self, least: float) -> bool:
        """Tell whether it is below a ratio for certain."""
        return self.per + 1.5 * self.half_width < least


def companion(driver: Floats, follower: Floats) -> Companion | None:
    """Find how much of a gas comes with another, with what moves slowly taken off.

    Parameters
    ----------
    driver, follower : numpy.ndarray
        Means of even bins, NaN for none, shape (n,) [any units].

    Returns
    -------
    Companion or None
        The ratio; None where too little is known or the driver moves as slowly as the day does.

    Notes
    -----
    Least squares on the driver and a curve of fourth degree in time, at the shift of up to two bins
    that fits best. The standard error is widened by the root of (1 + r)/(1 - r) with r the
    correlation of one residual with the next.

    Examples
    --------
    >>> van = np.zeros(100)
    >>> van[40:50] = 10.0
    >>> flicker = np.sin(np.arange(100.0) * 2.399)
    >>> found = companion(van, 430.0 + 0.1 * np.arange(100.0) + 2.5 * van + flicker)
    >>> round(found.per, 1), found.sure
    (2.5, True)
    """
    best: tuple[float, Companion] | None = None
    for shift in range(-_LAGS, _LAGS + 1):
        moved = np.roll(driver, shift)
        if shift > 0:
            moved[:shift] = np.nan
        elif shift < 0:
            moved[shift:] = np.nan
        found = _fit(moved, follower)
        if found is not None and (best is None or found[0] < best[0]):
            best = found
    return None if best is None else best[1]


def _fit(driver: Floats, follower: Floats) -> tuple[float, Companion] | None:
    both = np.isfinite(driver) & np.isfinite(follower)
    n = int(both.sum())
    if n < _LEAST_BINS:
        return None
    x = np.linspace(-1.0, 1.0, driver.size)[both]
    curve: Floats = np.polynomial.legendre.legvander(x, _CURVES).astype(np.float64)
    own = _left_over(curve, driver[both])
    power = float(own @ own)
    whole = driver[both] - driver[both].mean()
    # Less than a tenth of its movement is left: the curve could stand for the driver itself.
    nothing = 1e-12 * n * float(np.abs(driver[both]).max()) ** 2
    if power <= max(0.1 * float(whole @ whole), nothing):
        return None
    rest = _left_over(curve, follower[both])
    per = float(own @ rest) / power
    left = rest - per * own
    free = n - _CURVES - 2
    variance = float(left @ left) / free
    hanging = 0.0
    if variance > 0.0:
        hanging = min(max(float(left[1:] @ left[:-1]) / float(left @ left), 0.0), _MOST_HANGING)
    error = math.sqrt(variance / power * (1.0 + hanging) / (1.0 - hanging))
    return float(left @ left) / n, Companion(per, 2.0 * error)


def _left_over(curve: Floats, values: Floats) -> Floats:
    fitted, *_ = np.linalg.lstsq(curve, values, rcond=None)
    left: Floats = values - curve @ fitted
    return left
