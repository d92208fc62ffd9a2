"""Air in one hose or pipe: friction, pressure drop, and the most that comes through.

The flow is taken as isothermal and steady:

    p1² - p2² = (m/A)² R T (f L/D + K + 2 ln(p1/p2))

with the Darcy friction factor f and the sum K of the losses of bends, valves and couplings. It
cannot be faster at the end than the isothermal speed of sound sqrt(R T): where it gets there the
pipe is choked, and a lower pressure at the end brings no more air.

References
----------
Crane Technical Paper 410, equation 1-6 (isothermal flow of compressible fluids). fluids 1.3.1,
``fluids.compressible.isothermal_gas`` and ``P_isothermal_critical_flow``. B. S. Massey, Mechanics
of Fluids, compressible flow with friction (from memory).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lungwort.errors import PlantError
from lungwort.plant.free_air import GAS_CONSTANT_J_KG_K

if TYPE_CHECKING:
    from lungwort.air.arrays import FloatArray

LAMINAR_REYNOLDS: Final = 2000.0
TURBULENT_REYNOLDS: Final = 4000.0
_LEAST_REYNOLDS: Final = 1e-9
_COLEBROOK_STEPS: Final = 6
_FLOW_STEPS: Final = 100
_TOLERANCE: Final = 1e-12


def friction_factor(
    reynolds: float | FloatArray, relative_roughness: float | FloatArray
) -> FloatArray:
    """Give the Darcy friction factor of a round pipe.

    Parameters
    ----------
    reynolds : float or numpy.ndarray
        Reynolds number, above 0 [-].
    relative_roughness : float or numpy.ndarray
        Roughness over bore, 0 to 0.05 [-].

    Returns
    -------
    numpy.ndarray
        64/Re below 2000, Colebrook's above 4000, and a straight line between, where a pipe may do
        one or the other [-].

    References
    ----------
    C. F. Colebrook, J. Inst. Civ. Eng. 11 (1939) 133; solved by Newton's method.
    """
    re = np.maximum(np.asarray(reynolds, dtype=np.float64), _LEAST_REYNOLDS)
    rough = np.asarray(relative_roughness, dtype=np.float64)
    re, rough = np.broadcast_arrays(re, rough)
    laminar = 64.0 / np.minimum(re, LAMINAR_REYNOLDS)
    turbulent = _colebrook(np.maximum(re, TURBULENT_REYNOLDS), rough)
    share = np.clip((re - LAMINAR_REYNOLDS) / (TURBULENT_REYNOLDS - LAMINAR_REYNOLDS), 0.0, 1.0)
    made: FloatArray = laminar * (1.0 - share) + turbulent * share
    return made


def _colebrook(reynolds: FloatArray, rough: FloatArray) -> FloatArray:
    # y = 1/sqrt(f) solves y + 2 log10(rough/3.7 + 2.51 y / Re) = 0; the start is Haaland's formula.
    y = -1.8 * np.log10((rough / 3.7) ** 1.11 + 6.9 / reynolds)
    for _ in range(_COLEBROOK_STEPS):
        inner = rough / 3.7 + 2.51 * y / reynolds
        value = y + 2.0 * np.log10(inner)
        slope = 1.0 + 2.0 * 2.51 / (reynolds * inner * math.log(10.0))
        y = y - value / slope
    made: FloatArray = 1.0 / y**2
    return made


def reynolds(kg_s: float | FloatArray, bore_m: float | FloatArray, viscosity: float) -> FloatArray:
    """Give the Reynolds number of a mass flow.

    Parameters
    ----------
    kg_s : float or numpy.ndarray
        Mass flow; its sign does not matter [kg/s].
    bore_m : float or numpy.ndarray
        Bore, above 0 [m].
    viscosity : float
        Dynamic viscosity [Pa s].

    Returns
    -------
    numpy.ndarray
        4 m / (pi D mu) [-].
    """
    made: FloatArray = 4.0 * np.abs(kg_s) / (math.pi * np.asarray(bore_m) * viscosity)
    return made


def choking_pressure_pa(kg_s: float, bore_m: float, temperature_k: float) -> float:
    """Give the pressure at the end of a pipe at which a mass flow chokes it.

    Parameters
    ----------
    kg_s : float
        Mass flow [kg/s].
    bore_m : float
        Bore [m].
    temperature_k : float
        Temperature [K].

    Returns
    -------
    float
        m sqrt(R T) / A [Pa(a)]: there the air moves at the isothermal speed of sound.
    """
    area = math.pi * bore_m**2 / 4.0
    return abs(kg_s) * math.sqrt(GAS_CONSTANT_J_KG_K * temperature_k) / area


def outlet_pressure_pa(
    inlet_pa: float,
    kg_s: float,
    *,
    length_m: float,
    bore_m: float,
    roughness_m: float,
    loss_coefficient: float,
    temperature_k: float,
    viscosity: float,
) -> float | None:
    """Give the pressure at the end of one pipe from that at its beginning.

    Parameters
    ----------
    inlet_pa : float
        Pressure at the beginning [Pa(a)].
    kg_s : float
        Mass flow, 0 or more [kg/s].
    length_m, bore_m, roughness_m : float
        The pipe [m].
    loss_coefficient : float
        Sum of the K of its bends and couplings [-].
    temperature_k : float
        Temperature [K].
    viscosity : float
        Dynamic viscosity [Pa s].

    Returns
    -------
    float or None
        Pressure at the end [Pa(a)]; None where so much does not come through.

    Raises
    ------
    PlantError
        Where a figure is not a number, or out of range.
    """
    _positive("pressure at the beginning [Pa(a)]", inlet_pa)
    _positive("mass flow [kg/s]", kg_s, zero=True)
    _positive("bore [m]", bore_m)
    _positive("length [m]", length_m, zero=True)
    _positive("roughness [m]", roughness_m, zero=True)
    _positive("sum of losses", loss_coefficient, zero=True)
    _positive("temperature [K]", temperature_k)
    _positive("viscosity [Pa s]", viscosity)
    least = choking_pressure_pa(kg_s, bore_m, temperature_k)
    if kg_s == 0.0:
        return inlet_pa
    factor = float(friction_factor(reynolds(kg_s, bore_m, viscosity), roughness_m / bore_m))
    loss = factor * length_m / bore_m + loss_coefficient
    square = least**2

    def balance(outlet: float) -> float:
        return inlet_pa**2 - outlet**2 - square * (loss + 2.0 * math.log(inlet_pa / outlet))

    # Of the two roots only the one above the choking pressure is a flow.
    if least >= inlet_pa or balance(least) < 0.0:
        return None
    low, high = least, inlet_pa
    for _ in range(_FLOW_STEPS):
        middle = (low + high) / 2.0
        if balance(middle) > 0.0:
            low = middle
        else:
            high = middle
        if high - low <= _TOLERANCE * high:
            break
    return low


def flow_kg_s(
    inlet_pa: float,
    outlet_pa: float,
    *,
    length_m: float,
    bore_m: float,
    roughness_m: float,
    loss_coefficient: float,
    temperature_k: float,
    viscosity: float,
) -> float:
    """Give the mass flow between two pressures, at most that at which the pipe chokes.

    Parameters
    ----------
    inlet_pa, outlet_pa : float
        Pressures at beginning and end, the first the greater one [Pa(a)].
    length_m, bore_m, roughness_m : float
        The pipe [m].
    loss_coefficient : float
        Sum of the K of its bends and couplings [-].
    temperature_k : float
        Temperature [K].
    viscosity : float
        Dynamic viscosity [Pa s].

    Returns
    -------
    float
        Mass flow [kg/s].

    Raises
    ------
    PlantError
        Where a figure is not a number, or out of range.
    """
    _positive("pressure at the beginning [Pa(a)]", inlet_pa)
    _positive("pressure at the end [Pa(a)]", outlet_pa, zero=True)
    _positive("bore [m]", bore_m)
    if outlet_pa >= inlet_pa:
        return 0.0
    high = choking_flow_kg_s(inlet_pa, bore_m, temperature_k)
    low = 0.0
    for _ in range(_FLOW_STEPS):
        middle = (low + high) / 2.0
        end = outlet_pressure_pa(
            inlet_pa,
            middle,
            length_m=length_m,
            bore_m=bore_m,
            roughness_m=roughness_m,
            loss_coefficient=loss_coefficient,
            temperature_k=temperature_k,
            viscosity=viscosity,
        )
        if end is None or end < outlet_pa:
            high = middle
        else:
            low = middle
        if high - low <= _TOLERANCE * high:
            break
    return low


def _positive(what: str, value: float, *, zero: bool = False) -> None:
    if not (value >= 0.0 if zero else value > 0.0) or math.isinf(value):
        least = "0 or more" if zero else "more than 0"
        raise PlantError(
            f"{what}: found {value:g}; a pipe needs {least}. Check the figure and its unit."
        )


def choking_flow_kg_s(inlet_pa: float, bore_m: float, temperature_k: float) -> float:
    """Give the mass flow that no pipe of a bore passes, however short.

    Parameters
    ----------
    inlet_pa : float
        Pressure at the beginning [Pa(a)].
    bore_m : float
        Bore [m].
    temperature_k : float
        Temperature [K].

    Returns
    -------
    float
        p A / sqrt(R T) [kg/s].
    """
    area = math.pi * bore_m**2 / 4.0
    return inlet_pa * area / math.sqrt(GAS_CONSTANT_J_KG_K * temperature_k)
