"""Enhancement factor: how much more water vapour saturated air holds than pure vapour would.

At the dew point ``t`` the mole fraction of water in air at pressure ``p`` is
``x = f(t, p) · e(t) / p``. The factor ``f`` comes from three effects, written here as
``ln f = condensed phase under pressure + air dissolved in the water - vapour in the air``:
the pressure on the condensed phase, the air dissolved in liquid water, and the attraction
between water and air molecules in the gas (virial coefficients).

==================  ==============================  ==========================================
pressure            what is given                   standing
==================  ==============================  ==========================================
10 kPa to 10 MPa    `enhancement_factor`            held against CoolProp's humid air
10 to 35 MPa        `estimated_enhancement_factor`  beyond every published range: an estimate,
                                                    taken as uncertain by 25 %
==================  ==============================  ==========================================

References
----------
R. W. Hyland, A. Wexler, ASHRAE Transactions 89 (1983) 500: equation for f, C_aaw, C_aww, B_ww,
C_www, volume of ice.
S. Herrmann, H.-J. Kretzschmar, D. P. Gatley, HVAC&R Research 15 (2009) 961 (ASHRAE RP-1485).
A. H. Harvey, P. H. Huang, Int. J. Thermophys. 28 (2007) 556: B_aw.
E. W. Lemmon et al., J. Phys. Chem. Ref. Data 29 (2000) 331: dry air, B_aa and C_aaa as its limits.
G. S. Kell, J. Chem. Eng. Data 20 (1975) 97: compressibility of liquid water.
IAPWS G7-04: Henry's constants of nitrogen, oxygen and argon.
IAPWS SR1-86(1992): density of saturated liquid water.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.air import saturation
from lungwort.air.arrays import FloatArray, as_array, like
from lungwort.air.gas import GAS_CONSTANT_J_MOL_K, ZERO_CELSIUS_K
from lungwort.air.saturation import ICE, WATER
from lungwort.errors import RangeError

if TYPE_CHECKING:
    from numpy.typing import NDArray

PRESSURE_RANGE_KPA: Final = (10.0, 10_000.0)
ESTIMATE_RANGE_KPA: Final = (10_000.0, 35_000.0)
WATER_RANGE_C: Final = (-50.0, 100.0)
ICE_RANGE_C: Final = (-100.0, 0.01)
ESTIMATE_LOWEST_C: Final = -60.0
ESTIMATE_HIGHEST_C: Final = 60.0
HIGHEST_VAPOUR_SHARE: Final = 0.95
"""Highest vapour pressure as a share of the total; nearer to boiling nothing is given."""

ESTIMATE_UNCERTAINTY: Final = 0.25
"""Relative uncertainty taken for an estimate above 10 MPa: a judgement, not derived."""

SUPERCOOLED: Final = "supercooled"

_CONVERGED: Final = 1e-14

_WATER_KG_MOL: Final = 18.015268e-3
_AIR_REDUCING_K: Final = 132.6312
_AIR_REDUCING_MOL_M3: Final = 10.4477e3
_CRITICAL_KG_M3: Final = 322.0
_DENSITY: Final = (
    (1.99274064, 1 / 3),
    (1.09965342, 2 / 3),
    (-0.510839303, 5 / 3),
    (-1.75493479, 16 / 3),
    (-45.5170352, 43 / 3),
    (-6.74694450e5, 110 / 3),
)
_HENRY: Final = (  # mole fraction in dry air; A, B, C of IAPWS G7-04
    (0.7812, -9.67578, 4.72162, 11.70585),
    (0.2095, -9.44833, 4.43822, 11.42005),
    (0.0093, -8.40954, 4.29587, 10.52779),
)


@frozen(eq=False)
class Estimate:
    """A number that is known only within bounds.

    Parameters
    ----------
    best : float or numpy.ndarray
        Best estimate [-].
    low, high : float or numpy.ndarray
        Bounds [-].
    """

    best: float | FloatArray
    low: float | FloatArray
    high: float | FloatArray


def _air_second(kelvin: FloatArray) -> FloatArray:
    """Second virial coefficient of dry air [m³/mol]."""
    tau = _AIR_REDUCING_K / kelvin
    return (
        np.asarray(
            0.118160747229
            + 0.713116392079 * tau**0.33
            - 1.61824192067 * tau**1.01
            - 0.101365037912 * tau**1.6
            - 0.146629609713 * tau**3.6
            + 0.0148287891978 * tau**3.5
        )
        / _AIR_REDUCING_MOL_M3
    )


def _air_third(kelvin: FloatArray) -> FloatArray:
    """Third virial coefficient of dry air [m⁶/mol²]."""
    tau = _AIR_REDUCING_K / kelvin
    return np.asarray(2 * (0.0714140178971 + 0.101365037912 * tau**1.6)) / _AIR_REDUCING_MOL_M3**2


def _cross_second(kelvin: FloatArray) -> FloatArray:
    """Second virial coefficient of water with air [m³/mol] (Harvey and Huang 2007)."""
    theta = kelvin / 100.0
    return np.asarray(
        1e-6 * (66.5687 * theta**-0.237 - 238.834 * theta**-1.048 - 176.755 * theta**-3.183)
    )


def _cross_third_aaw(kelvin: FloatArray) -> FloatArray:
    """Third virial coefficient of one water with two air [m⁶/mol²] (Hyland and Wexler 1983)."""
    inverse = 1.0 / kelvin
    return np.asarray(
        1e-12
        * (
            482.737
            + inverse
            * (105678.0 + inverse * (-6.56394e7 + inverse * (2.94442e10 - 3.19317e12 * inverse)))
        )
    )


def _cross_third_aww(kelvin: FloatArray) -> FloatArray:
    """Third virial coefficient of two water with one air [m⁶/mol²] (Hyland and Wexler 1983)."""
    inverse = 1.0 / kelvin
    return np.asarray(
        -1e-6
        * np.exp(-10.728876 + inverse * (3478.02 + inverse * (-383383.0 + 3.3406e7 * inverse)))
    )


def _water_virials(kelvin: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Second [m³/mol] and third [m⁶/mol²] virial coefficient of water vapour (H. and W. 1983)."""
    r_t = GAS_CONSTANT_J_MOL_K * kelvin
    second = r_t * (0.70e-8 - 0.147184e-8 * np.exp(1734.29 / kelvin))
    third = r_t**2 * (0.104e-14 - 0.335297e-17 * np.exp(3645.09 / kelvin)) + second**2
    return np.asarray(second), np.asarray(third)


def _henry_per_pa(kelvin: FloatArray) -> FloatArray:
    """Mole fraction of air dissolved in liquid water, a pascal of air [1/Pa] (IAPWS G7-04)."""
    reduced = kelvin / saturation.CRITICAL_K
    tau = 1.0 - reduced
    vapour = np.exp(saturation.ln_pressure_liquid(kelvin))
    return np.asarray(
        sum(
            share
            / (
                vapour
                * np.exp(a / reduced + b * tau**0.355 / reduced + c * reduced**-0.41 * np.exp(tau))
            )
            for share, a, b, c in _HENRY
        )
    )


def _liquid(kelvin: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Molar volume [m³/mol], compressibility [1/Pa] and dissolved air [1/Pa] of liquid water."""
    theta = 1.0 - kelvin / saturation.CRITICAL_K
    density = _CRITICAL_KG_M3 * (1.0 + sum(b * theta**power for b, power in _DENSITY))
    t = kelvin - ZERO_CELSIUS_K
    numerator = 50.88496 + t * (
        0.6163813 + t * (1.459187e-3 + t * (20.08438e-6 + t * (-58.47727e-9 + 410.4110e-12 * t)))
    )
    compressibility = 1e-11 * numerator / (1.0 + 19.67348e-3 * t)
    return np.asarray(_WATER_KG_MOL / density), compressibility, _henry_per_pa(kelvin)


def _condensed(kelvin: FloatArray, phase: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Molar volume [m³/mol], compressibility [1/Pa] and dissolved air [1/Pa] of a phase."""
    if phase == ICE:
        volume = 0.1070003e-2 + kelvin * (-0.249936e-7 + 0.371611e-9 * kelvin)
        return _WATER_KG_MOL * volume, 8.875e-11 + 1.65e-13 * kelvin, np.zeros_like(kelvin)
    if phase == SUPERCOOLED:
        # No formula reaches far below 0 °C; what they say at the triple point moves f by less
        # than 0.1 % up to 2 MPa.
        return _liquid(np.full_like(kelvin, saturation.TRIPLE_POINT_K))
    return _liquid(kelvin)


def ln_saturation(kelvin: FloatArray, phase: str) -> FloatArray:
    """Give the logarithm of the pure saturation pressure over a phase, without range check.

    Parameters
    ----------
    kelvin : numpy.ndarray
        Temperature [K].
    phase : str
        ``water``, ``supercooled`` or ``ice``.

    Returns
    -------
    numpy.ndarray
        Natural logarithm of the pressure [ln Pa].

    References
    ----------
    See `lungwort.air.saturation`.
    """
    if phase == ICE:
        return saturation.ln_pressure_ice(kelvin)
    if phase == SUPERCOOLED:
        return saturation.ln_pressure_supercooled(kelvin)
    return saturation.ln_pressure_liquid(kelvin)


def ln_enhancement(kelvin: FloatArray, pressure_pa: FloatArray, phase: str) -> FloatArray:
    """Give the logarithm of the enhancement factor, without range check.

    Parameters
    ----------
    kelvin : numpy.ndarray
        Temperature [K].
    pressure_pa : numpy.ndarray
        Absolute pressure [Pa].
    phase : str
        ``water``, ``supercooled`` or ``ice``.

    Returns
    -------
    numpy.ndarray
        Natural logarithm of the factor [-].

    References
    ----------
    Virial equation to the third coefficient in powers of the pressure, as Hyland and Wexler 1983
    and RP-1485: ``ln φ_w = p/RT (2 b - B) + (p/RT)²/2 (3 c - 2 C - 4 B b + 3 B²)`` with
    ``b = Σ y_j B_wj`` and ``c = ΣΣ y_j y_k C_wjk``.
    """
    r_t = GAS_CONSTANT_J_MOL_K * kelvin
    vapour = np.exp(ln_saturation(kelvin, phase))
    volume, compressibility, dissolved = _condensed(kelvin, phase)
    second_aa, third_aaa = _air_second(kelvin), _air_third(kelvin)
    second_aw = _cross_second(kelvin)
    third_aaw, third_aww = _cross_third_aaw(kelvin), _cross_third_aww(kelvin)
    second_ww, third_www = _water_virials(kelvin)

    pressing = (
        volume
        / r_t
        * (
            (1 + compressibility * vapour) * (pressure_pa - vapour)
            - compressibility * (pressure_pa**2 - vapour**2) / 2
        )
    )
    pure = vapour / r_t * second_ww + (vapour / r_t) ** 2 / 2 * (third_www - second_ww**2)
    density = pressure_pa / r_t
    result = np.zeros_like(kelvin + pressure_pa)
    for _ in range(100):
        y = np.exp(result) * vapour / pressure_pa
        a = 1.0 - y
        b = y * second_ww + a * second_aw
        c = y * y * third_www + 2 * y * a * third_aww + a * a * third_aaw
        mixed_b = y * y * second_ww + 2 * y * a * second_aw + a * a * second_aa
        mixed_c = (
            y**3 * third_www + 3 * y * y * a * third_aww + 3 * y * a * a * third_aaw
        ) + a**3 * third_aaa
        gas = density * (2 * b - mixed_b) + density**2 / 2 * (
            3 * c - 2 * mixed_c - 4 * mixed_b * b + 3 * mixed_b**2
        )
        following = pressing + pure - gas + np.log1p(-dissolved * a * pressure_pa)
        change = np.abs(following - result)
        result = following
        if not np.any(change > _CONVERGED):
            break
    return np.asarray(result)


def ln_enhancement_estimate(kelvin: FloatArray, pressure_pa: FloatArray, phase: str) -> FloatArray:
    """Estimate the logarithm of the enhancement factor of dense air, without range check.

    Parameters
    ----------
    kelvin : numpy.ndarray
        Temperature [K].
    pressure_pa : numpy.ndarray
        Absolute pressure [Pa].
    phase : str
        ``water``, ``supercooled`` or ``ice``.

    Returns
    -------
    numpy.ndarray
        Natural logarithm of the factor [-].

    References
    ----------
    A trace of water in dry air, in powers of the density: ``ln φ_w = 2 B_aw/V + 1.5 C_aaw/V² -
    ln Z`` with V and Z of dry air after Lemmon et al. 2000.
    """
    from CoolProp.CoolProp import PropsSI  # noqa: PLC0415 - heavy, and only dense air needs it

    r_t = GAS_CONSTANT_J_MOL_K * kelvin
    flat_kelvin, flat_pressure = np.broadcast_arrays(kelvin, pressure_pa)
    density = np.asarray(
        PropsSI("Dmolar", "T", flat_kelvin.ravel(), "P", flat_pressure.ravel(), "Air")
    ).reshape(flat_kelvin.shape)
    compressibility_factor = pressure_pa / (density * r_t)
    gas = (
        2 * _cross_second(kelvin) * density
        + 1.5 * _cross_third_aaw(kelvin) * density**2
        - np.log(compressibility_factor)
    )
    volume, _, _ = _condensed(kelvin, phase)
    vapour = np.exp(ln_saturation(kelvin, phase))
    return np.asarray(volume * (pressure_pa - vapour) / r_t - gas)


def _checked(
    temperature_c: float | FloatArray,
    pressure_kpa: float | FloatArray,
    range_c: tuple[float, float],
    range_kpa: tuple[float, float],
    remedy: str,
) -> tuple[FloatArray, FloatArray]:
    temperature, pressure = np.broadcast_arrays(as_array(temperature_c), as_array(pressure_kpa))
    vapour_kpa = np.exp(saturation.ln_pressure_liquid(temperature + ZERO_CELSIUS_K)) / 1000
    good = (
        (temperature >= range_c[0])
        & (temperature <= range_c[1])
        & (pressure >= range_kpa[0])
        & (pressure <= range_kpa[1])
        & (vapour_kpa <= HIGHEST_VAPOUR_SHARE * pressure)
    )
    if not (isinstance(temperature_c, np.ndarray) or isinstance(pressure_kpa, np.ndarray)):
        if not good:
            raise RangeError(
                f"enhancement factor at {float(temperature):.6g} °C and "
                f"{float(pressure):.6g} kPa(a): the formula is good from {range_c[0]:g} to "
                f"{range_c[1]:g} °C, from {range_kpa[0]:g} to {range_kpa[1]:g} kPa(a), and while "
                f"the vapour pressure is below {HIGHEST_VAPOUR_SHARE * 100:.0f} % of the pressure. "
                f"{remedy}"
            )
        return temperature, pressure
    return np.where(good, temperature, np.nan), np.where(good, pressure, np.nan)


def _named_phases(temperature: FloatArray, phase: str) -> list[tuple[str, NDArray[np.bool_]]]:
    """Split the temperatures by the formula of their phase, as masks."""
    if saturation.check_phase(phase) == ICE:
        return [(ICE, np.ones_like(temperature, dtype=np.bool_))]
    cold = temperature < saturation.TRIPLE_POINT_C
    return [(SUPERCOOLED, cold), (WATER, ~cold)]


def enhancement_factor(
    temperature_c: float | FloatArray, pressure_kpa: float | FloatArray, phase: str = WATER
) -> float | FloatArray:
    """Give the enhancement factor of saturated air.

    Parameters
    ----------
    temperature_c : float or numpy.ndarray
        Dew point -50 to 100 over water, frost point -100 to 0.01 over ice [°C].
    pressure_kpa : float or numpy.ndarray
        Absolute pressure, 10 to 10 000 [kPa(a)].
    phase : str
        ``water`` or ``ice``; water below 0.01 °C is supercooled.

    Returns
    -------
    float or numpy.ndarray
        Enhancement factor [-]; NaN for elements of an array that are out of range.

    Raises
    ------
    QuantityError
        Where the phase is neither.
    RangeError
        Where a float is out of range.

    References
    ----------
    See the module.

    Examples
    --------
    >>> round(enhancement_factor(20.0, 101.325), 4)
    1.0041
    >>> round(enhancement_factor(-40.0, 801.325, "ice"), 4)
    1.0452
    """
    temperature, pressure = _checked(
        temperature_c,
        pressure_kpa,
        ICE_RANGE_C if saturation.check_phase(phase) == ICE else WATER_RANGE_C,
        PRESSURE_RANGE_KPA,
        "Above 10 000 kPa(a) use estimated_enhancement_factor, which states its uncertainty.",
    )
    result = np.full_like(temperature, np.nan)
    for formula, mask in _named_phases(temperature, phase):
        result[mask] = np.exp(
            ln_enhancement(temperature[mask] + ZERO_CELSIUS_K, pressure[mask] * 1000, formula)
        )
    return like(result, temperature_c, pressure_kpa)


def estimated_enhancement_factor(
    temperature_c: float | FloatArray, pressure_kpa: float | FloatArray, phase: str = WATER
) -> Estimate:
    """Estimate the enhancement factor of air above 10 MPa, with its bounds.

    No published formula and no reference library is valid here. The bounds are the best estimate
    less and plus 25 %, a judgement. An ideal gas would have a factor of one.

    Parameters
    ----------
    temperature_c : float or numpy.ndarray
        Dew point -50 to 60 over water, frost point -60 to 0.01 over ice [°C].
    pressure_kpa : float or numpy.ndarray
        Absolute pressure, 10 000 to 35 000 [kPa(a)].
    phase : str
        ``water`` or ``ice``; water below 0.01 °C is supercooled.

    Returns
    -------
    Estimate
        Best estimate, low and high bound [-]; NaN for elements of an array that are out of range.

    Raises
    ------
    QuantityError
        Where the phase is neither.
    RangeError
        Where a float is out of range.

    References
    ----------
    See `ln_enhancement_estimate`.

    Examples
    --------
    >>> factor = estimated_enhancement_factor(20.0, 30_100.0)
    >>> round(factor.best, 1), round(factor.low, 1), round(factor.high, 1)
    (2.4, 1.8, 3.0)
    """
    ice = saturation.check_phase(phase) == ICE
    temperature, pressure = _checked(
        temperature_c,
        pressure_kpa,
        (ESTIMATE_LOWEST_C, ICE_RANGE_C[1]) if ice else (WATER_RANGE_C[0], ESTIMATE_HIGHEST_C),
        ESTIMATE_RANGE_KPA,
        "Up to 10 000 kPa(a) use enhancement_factor; beyond 35 000 kPa(a) nothing is given.",
    )
    best = np.full_like(temperature, np.nan)
    for formula, mask in _named_phases(temperature, phase):
        good = mask & np.isfinite(temperature)
        if np.any(good):
            best[good] = np.exp(
                ln_enhancement_estimate(
                    temperature[good] + ZERO_CELSIUS_K, pressure[good] * 1000, formula
                )
            )
    given = (temperature_c, pressure_kpa)
    return Estimate(
        best=like(best, *given),
        low=like(best * (1 - ESTIMATE_UNCERTAINTY), *given),
        high=like(best * (1 + ESTIMATE_UNCERTAINTY), *given),
    )
