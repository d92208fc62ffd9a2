"""Free air and mass flow: litres a minute at 20 °C and 1 atm, and kilograms a second."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, overload

import numpy as np

if TYPE_CHECKING:
    from lungwort.air.arrays import FloatArray


GAS_CONSTANT_J_KG_K: Final = 287.05
"""Specific gas constant of dry air [J/(kg K)] (R = 8.314462618 J/(mol K) over 28.965 g/mol)."""
FREE_TEMPERATURE_K: Final = 293.15
FREE_PRESSURE_PA: Final = 101_325.0
KG_PER_L: Final = FREE_PRESSURE_PA / (GAS_CONSTANT_J_KG_K * FREE_TEMPERATURE_K) / 1000.0
"""Mass of a litre of free dry air [kg/L]."""
_SECONDS_A_MINUTE: Final = 60.0


@overload
def kg_s_of_l_min(free_l_min: float) -> float: ...
@overload
def kg_s_of_l_min(free_l_min: FloatArray) -> FloatArray: ...
def kg_s_of_l_min(free_l_min: float | FloatArray) -> float | FloatArray:
    """Turn a flow of free air into a mass flow of dry air.

    Parameters
    ----------
    free_l_min : float or numpy.ndarray
        Free air, at 20 °C and 101.325 kPa(a) [L/min].

    Returns
    -------
    float or numpy.ndarray
        Mass flow [kg/s].

    References
    ----------
    Ideal gas law; at this state real air differs by 0.04 % (Lemmon et al. 2000).

    Examples
    --------
    >>> round(kg_s_of_l_min(1000.0), 6)
    0.020069
    """
    return free_l_min * (KG_PER_L / _SECONDS_A_MINUTE)


@overload
def l_min_of_kg_s(kg_s: float) -> float: ...
@overload
def l_min_of_kg_s(kg_s: FloatArray) -> FloatArray: ...
def l_min_of_kg_s(kg_s: float | FloatArray) -> float | FloatArray:
    """Turn a mass flow of dry air into a flow of free air.

    Parameters
    ----------
    kg_s : float or numpy.ndarray
        Mass flow [kg/s].

    Returns
    -------
    float or numpy.ndarray
        Free air, at 20 °C and 101.325 kPa(a) [L/min].

    Examples
    --------
    >>> round(l_min_of_kg_s(kg_s_of_l_min(170.0)), 9)
    170.0
    """
    return kg_s * (_SECONDS_A_MINUTE / KG_PER_L)


def viscosity_pa_s(temperature_k: float | FloatArray) -> float | FloatArray:
    """Give the viscosity of air by Sutherland's formula.

    Parameters
    ----------
    temperature_k : float or numpy.ndarray
        Temperature, 200 to 400 [K].

    Returns
    -------
    float or numpy.ndarray
        Dynamic viscosity [Pa s]; that it grows with pressure (2 % at 20 bar) is left out.

    References
    ----------
    U.S. Standard Atmosphere, 1976, equation 51: beta = 1.458e-6, S = 110.4 K (from memory).
    """
    made = 1.458e-6 * np.power(temperature_k, 1.5) / (np.asarray(temperature_k) + 110.4)
    return float(made) if np.ndim(made) == 0 else made
