"""Saturation pressure of water, over liquid and over ice, and the temperatures it belongs to.

Pure water: the presence of air is the business of `lungwort.air.enhancement`.

=================  ==========================  =============================================
over               range                       formula
=================  ==========================  =============================================
liquid             0.01 to 373.946 °C          Wagner and Pruss (7.2e-5 from IAPWS-95)
supercooled        -50 to 0.01 °C              Murphy and Koop 2005, equation 10
ice                -223.15 to 0.01 °C          IAPWS R14-08(2011)
=================  ==========================  =============================================

References
----------
W. Wagner, A. Pruss, J. Phys. Chem. Ref. Data 31 (2002) 387, equation 2.5 (also IAPWS SR1-86(1992)).
IAPWS R14-08(2011), Revised Release on the Pressure along the Melting and Sublimation Curves of
Ordinary Water Substance, equation 6.
D. M. Murphy, T. Koop, Q. J. R. Meteorol. Soc. 131 (2005) 1539, equation 10.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from lungwort.air.arrays import FloatArray, Numbers, as_array, same_kind, within
from lungwort.air.gas import ZERO_CELSIUS_K
from lungwort.errors import QuantityError

if TYPE_CHECKING:
    from collections.abc import Callable

WATER: Final = "water"
ICE: Final = "ice"

TRIPLE_POINT_C: Final = 0.01
TRIPLE_POINT_K: Final = 273.16
TRIPLE_POINT_PA: Final = 611.657
CRITICAL_K: Final = 647.096
_CRITICAL_PA: Final = 22.064e6

LIQUID_RANGE_C: Final = (-50.0, 373.946)
ICE_RANGE_C: Final = (-223.15, 0.01)

_LIQUID: Final = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)
_SUBLIMATION: Final = (
    (-0.212144006e2, 0.333333333e-2),
    (0.273203819e2, 0.120666667e1),
    (-0.610598130e1, 0.170333333e1),
)


def ln_pressure_liquid(kelvin: FloatArray) -> FloatArray:
    """Give ln of the saturation pressure over liquid water, without range check.

    Parameters
    ----------
    kelvin : numpy.ndarray
        Temperature [K].

    Returns
    -------
    numpy.ndarray
        Natural logarithm of the pressure [ln Pa].

    References
    ----------
    Wagner and Pruss 2002, equation 2.5.
    """
    theta = 1.0 - kelvin / CRITICAL_K
    total = sum((a * theta**power for a, power in _LIQUID), start=np.zeros_like(kelvin))
    return np.asarray(np.log(_CRITICAL_PA) + CRITICAL_K / kelvin * total)


def _ln_murphy_koop(kelvin: FloatArray) -> FloatArray:
    ln_kelvin = np.log(kelvin)
    return np.asarray(
        54.842763
        - 6763.22 / kelvin
        - 4.210 * ln_kelvin
        + 0.000367 * kelvin
        + np.tanh(0.0415 * (kelvin - 218.8))
        * (53.878 - 1331.22 / kelvin - 9.44523 * ln_kelvin + 0.014025 * kelvin)
    )


def ln_pressure_supercooled(kelvin: FloatArray) -> FloatArray:
    """Give ln of the saturation pressure over supercooled water, without range check.

    Parameters
    ----------
    kelvin : numpy.ndarray
        Temperature [K].

    Returns
    -------
    numpy.ndarray
        Natural logarithm of the pressure [ln Pa].

    References
    ----------
    Murphy and Koop 2005, equation 10.
    """
    # The two formulas differ by 4e-8 at the triple point; joined there, so that the pressure
    # never steps back while the temperature rises.
    at_triple = np.asarray(TRIPLE_POINT_K)
    return _ln_murphy_koop(kelvin) + ln_pressure_liquid(at_triple) - _ln_murphy_koop(at_triple)


def ln_pressure_ice(kelvin: FloatArray) -> FloatArray:
    """Give ln of the saturation pressure over ice, without range check.

    Parameters
    ----------
    kelvin : numpy.ndarray
        Temperature [K].

    Returns
    -------
    numpy.ndarray
        Natural logarithm of the pressure [ln Pa].

    References
    ----------
    IAPWS R14-08(2011), equation 6.
    """
    theta = kelvin / TRIPLE_POINT_K
    total = sum((a * theta**power for a, power in _SUBLIMATION), start=np.zeros_like(kelvin))
    return np.asarray(np.log(TRIPLE_POINT_PA) + total / theta)


def _ln_water(kelvin: FloatArray) -> FloatArray:
    return np.where(
        kelvin < TRIPLE_POINT_K,
        ln_pressure_supercooled(np.minimum(kelvin, TRIPLE_POINT_K)),
        ln_pressure_liquid(np.maximum(kelvin, TRIPLE_POINT_K)),
    )


def saturation_pressure_water(temperature_c: Numbers) -> Numbers:
    """Give the saturation pressure over liquid water.

    Parameters
    ----------
    temperature_c : float or numpy.ndarray
        Temperature, -50 to 373.946; below 0.01 the water is supercooled [°C].

    Returns
    -------
    float or numpy.ndarray
        Saturation pressure [Pa]; NaN for elements of an array that are out of range.

    Raises
    ------
    RangeError
        Where a float is out of range.

    References
    ----------
    Wagner and Pruss 2002, equation 2.5, from 0.01 °C up; Murphy and Koop 2005, equation 10, below.

    Examples
    --------
    >>> round(saturation_pressure_water(20.0), 2)
    2339.19
    """
    checked = within(
        temperature_c,
        *LIQUID_RANGE_C,
        what="temperature over water",
        unit="°C",
        remedy="Below -50 °C water freezes by itself: use the pressure over ice.",
    )
    return same_kind(np.exp(_ln_water(checked + ZERO_CELSIUS_K)), temperature_c)


def saturation_pressure_ice(temperature_c: Numbers) -> Numbers:
    """Give the saturation pressure over ice.

    Parameters
    ----------
    temperature_c : float or numpy.ndarray
        Temperature, -223.15 to 0.01 [°C].

    Returns
    -------
    float or numpy.ndarray
        Saturation pressure [Pa]; NaN for elements of an array that are out of range.

    Raises
    ------
    RangeError
        Where a float is out of range.

    References
    ----------
    IAPWS R14-08(2011), equation 6.

    Examples
    --------
    >>> round(saturation_pressure_ice(-40.0), 3)
    12.841
    """
    checked = within(
        temperature_c,
        *ICE_RANGE_C,
        what="temperature over ice",
        unit="°C",
        remedy="Above 0.01 °C there is no ice: use the pressure over water.",
    )
    return same_kind(np.exp(ln_pressure_ice(checked + ZERO_CELSIUS_K)), temperature_c)


def saturation_pressure(temperature_c: Numbers, phase: str) -> Numbers:
    """Give the saturation pressure over a named phase.

    Parameters
    ----------
    temperature_c : float or numpy.ndarray
        Temperature, within the range of the phase [°C].
    phase : str
        ``water`` or ``ice``.

    Returns
    -------
    float or numpy.ndarray
        Saturation pressure [Pa]; NaN for elements of an array that are out of range.

    Raises
    ------
    QuantityError
        Where the phase is neither.
    RangeError
        Where a float is out of range.

    References
    ----------
    As in `saturation_pressure_water` and `saturation_pressure_ice`.
    """
    if check_phase(phase) == ICE:
        return saturation_pressure_ice(temperature_c)
    return saturation_pressure_water(temperature_c)


def check_phase(phase: str) -> str:
    """Hold the name of a phase against the two there are.

    Parameters
    ----------
    phase : str
        ``water`` or ``ice``.

    Returns
    -------
    str
        The same.

    Raises
    ------
    QuantityError
        Where it is neither.
    """
    if phase not in {WATER, ICE}:
        raise QuantityError(f"phase {phase!r} is neither 'water' nor 'ice'. Name one of them.")
    return phase


def dew_temperature(vapour_pressure_pa: Numbers) -> Numbers:
    """Give the temperature at which pure vapour is saturated over liquid water.

    Parameters
    ----------
    vapour_pressure_pa : float or numpy.ndarray
        Vapour pressure, from that of -50 °C to that of 373.9 °C [Pa].

    Returns
    -------
    float or numpy.ndarray
        Temperature [°C]; NaN for elements of an array that are out of range.

    Raises
    ------
    RangeError
        Where a float is out of range.

    References
    ----------
    Inverse of `saturation_pressure_water` by Newton's method.

    Examples
    --------
    >>> round(dew_temperature(2339.19), 3)
    20.0
    """
    return _temperature(vapour_pressure_pa, _ln_water, LIQUID_RANGE_C, "water")


def frost_temperature(vapour_pressure_pa: Numbers) -> Numbers:
    """Give the temperature at which pure vapour is saturated over ice.

    Parameters
    ----------
    vapour_pressure_pa : float or numpy.ndarray
        Vapour pressure, from that of -223.15 °C to 611.657 [Pa].

    Returns
    -------
    float or numpy.ndarray
        Temperature [°C]; NaN for elements of an array that are out of range.

    Raises
    ------
    RangeError
        Where a float is out of range.

    References
    ----------
    Inverse of `saturation_pressure_ice` by Newton's method.

    Examples
    --------
    >>> round(frost_temperature(12.8412), 3)
    -40.0
    """
    return _temperature(vapour_pressure_pa, ln_pressure_ice, ICE_RANGE_C, "ice")


def _temperature(
    pressure_pa: Numbers,
    ln_pressure: Callable[[FloatArray], FloatArray],
    range_c: tuple[float, float],
    over: str,
) -> Numbers:
    lowest, highest = (np.asarray(end + ZERO_CELSIUS_K) for end in range_c)
    # A hair wider than the exact ends, so that the pressure of an end itself is let in.
    slack = 1e-12
    checked = within(
        pressure_pa,
        float(np.exp(ln_pressure(lowest))) * (1 - slack),
        float(np.exp(ln_pressure(highest))) * (1 + slack),
        what=f"vapour pressure over {over}",
        unit="Pa",
        remedy="Check the unit, and whether the vapour is over water or over ice.",
    )
    wanted = np.log(checked)
    # ln e is nearly straight in 1/T, so Newton's method on 1/T comes in from anywhere.
    inverse = _first_guess(wanted, lowest, highest, ln_pressure)
    step = 1e-4
    for _ in range(50):
        kelvin = 1.0 / inverse
        below, above = np.maximum(kelvin - step, lowest), np.minimum(kelvin + step, highest)
        slope = (ln_pressure(above) - ln_pressure(below)) / (above - below)
        change = (ln_pressure(kelvin) - wanted) / (slope * kelvin * kelvin)
        inverse = np.clip(inverse + change, 1.0 / highest, 1.0 / lowest)
        if not np.any(np.abs(change) > 1e-14 * inverse):
            break
    return same_kind(1.0 / inverse - ZERO_CELSIUS_K, pressure_pa)


def _first_guess(
    wanted: FloatArray,
    lowest: FloatArray,
    highest: FloatArray,
    ln_pressure: Callable[[FloatArray], FloatArray],
) -> FloatArray:
    low, high = ln_pressure(lowest), ln_pressure(highest)
    share = (wanted - low) / (high - low)
    return as_array(1.0 / lowest + share * (1.0 / highest - 1.0 / lowest))
