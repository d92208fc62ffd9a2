"""Air as a real gas in a cylinder: compressibility factor, density and free air.

At 300 bar a cylinder holds about a tenth less than volume times pressure says. The properties of
dry air come from CoolProp (Lemmon et al. 2000).

References
----------
E. W. Lemmon, R. T. Jacobsen, S. G. Penoncello, D. G. Friend, J. Phys. Chem. Ref. Data 29
(2000) 331.
"""

from __future__ import annotations

import math
from typing import Final

from attrs import frozen

from lungwort.air import units
from lungwort.air.arrays import FloatArray, like, within
from lungwort.air.gas import ZERO_CELSIUS_K
from lungwort.errors import QuantityError, RangeError

TEMPERATURE_RANGE_C: Final = (-60.0, 100.0)
PRESSURE_RANGE_KPA: Final = (10.0, 50_000.0)
VOLUME_RANGE_L: Final = (0.01, 100_000.0)


@frozen
class FreeAir:
    """What a cylinder holds.

    Parameters
    ----------
    litres : float
        Free air as a real gas at 1 atm and the reference temperature [L].
    ideal_litres : float
        The same for an ideal gas [L].
    rule_litres : float
        Water volume times the pressure in bar as it was written, the rule of thumb [L].
    reference_temperature_c : float
        Temperature at which the free air is counted [°C].
    compressibility_factor : float
        Z of the air in the cylinder [-].
    density_kg_m3 : float
        Density of the air in the cylinder [kg/m³].
    """

    litres: float
    ideal_litres: float
    rule_litres: float
    reference_temperature_c: float
    compressibility_factor: float
    density_kg_m3: float

    @property
    def ratio_to_ideal(self) -> float:
        """Real over ideal [-]."""
        return self.litres / self.ideal_litres

    @property
    def ratio_to_rule(self) -> float:
        """Real over the rule of thumb [-]; infinite for an empty cylinder at 0 bar(g)."""
        return self.litres / self.rule_litres if self.rule_litres else math.inf


def compressibility_factor(
    temperature_c: float | FloatArray, pressure_kpa: float | FloatArray
) -> float | FloatArray:
    """Give the compressibility factor of dry air.

    Parameters
    ----------
    temperature_c : float or numpy.ndarray
        Temperature, -60 to 100 [°C].
    pressure_kpa : float or numpy.ndarray
        Absolute pressure, 10 to 50 000 [kPa(a)].

    Returns
    -------
    float or numpy.ndarray
        Compressibility factor [-]; NaN for elements of an array that are out of range.

    Raises
    ------
    RangeError
        Where a float is out of range.

    References
    ----------
    Lemmon et al. 2000, through CoolProp.

    Examples
    --------
    >>> round(compressibility_factor(20.0, 20_000.0), 4)
    1.026
    """
    return _property("Z", temperature_c, pressure_kpa)


def density_kg_m3(
    temperature_c: float | FloatArray, pressure_kpa: float | FloatArray
) -> float | FloatArray:
    """Give the density of dry air.

    Parameters
    ----------
    temperature_c : float or numpy.ndarray
        Temperature, -60 to 100 [°C].
    pressure_kpa : float or numpy.ndarray
        Absolute pressure, 10 to 50 000 [kPa(a)].

    Returns
    -------
    float or numpy.ndarray
        Density [kg/m³]; NaN for elements of an array that are out of range.

    Raises
    ------
    RangeError
        Where a float is out of range.

    References
    ----------
    Lemmon et al. 2000, through CoolProp.

    Examples
    --------
    >>> round(density_kg_m3(20.0, 101.325), 4)
    1.2046
    """
    return _property("Dmass", temperature_c, pressure_kpa)


def _property(
    name: str, temperature_c: float | FloatArray, pressure_kpa: float | FloatArray
) -> float | FloatArray:
    import numpy as np  # noqa: PLC0415 - with CoolProp, so that the module itself costs nothing
    from CoolProp.CoolProp import PropsSI  # noqa: PLC0415 - heavy

    temperature = within(
        temperature_c,
        *TEMPERATURE_RANGE_C,
        what="temperature of the air",
        unit="°C",
        remedy="Check the value and its unit.",
    )
    pressure = within(
        pressure_kpa,
        *PRESSURE_RANGE_KPA,
        what="pressure of the air",
        unit="kPa(a)",
        remedy="Check the value, its unit, and whether it is gauge or absolute.",
    )
    temperature, pressure = np.broadcast_arrays(temperature, pressure)
    good = np.isfinite(temperature) & np.isfinite(pressure)
    result = np.full(temperature.shape, np.nan)
    if np.any(good):
        result[good] = PropsSI(
            name, "T", temperature[good] + ZERO_CELSIUS_K, "P", pressure[good] * 1000.0, "Air"
        )
    return like(result, temperature_c, pressure_kpa)


def free_air(
    water_volume_l: float,
    temperature_c: float,
    *,
    pressure_bar_g: float | None = None,
    pressure_bar_a: float | None = None,
    reference_temperature_c: float | None = None,
) -> FreeAir:
    """Tell how much free air a cylinder holds.

    Parameters
    ----------
    water_volume_l : float
        Water volume of the cylinder or bank, 0.01 to 100 000 [L].
    temperature_c : float
        Temperature of the air in it, -60 to 100 [°C].
    pressure_bar_g : float, optional
        Gauge pressure [bar(g)]; give this or ``pressure_bar_a``, up to 500 bar(a).
    pressure_bar_a : float, optional
        Absolute pressure [bar(a)].
    reference_temperature_c : float, optional
        Temperature at which the free air is counted, at 1 atm [°C]; that of the cylinder where not
        given.

    Returns
    -------
    FreeAir
        Free air, the ideal-gas value and the rule of thumb. All of the air is counted, also what
        stays behind at atmospheric pressure.

    Raises
    ------
    QuantityError
        Where neither or both of the pressures are given.
    RangeError
        Where a value is out of range.

    References
    ----------
    Ratio of densities after Lemmon et al. 2000, through CoolProp.

    Examples
    --------
    >>> held = free_air(6.8, 15.0, pressure_bar_g=300.0)
    >>> round(held.litres), round(held.ideal_litres)
    (1832, 2020)
    """
    if pressure_bar_g is not None and pressure_bar_a is None:
        written, pressure_kpa = pressure_bar_g, units.scale(pressure_bar_g, "bar(g)", "kPa(a)")
    elif pressure_bar_a is not None and pressure_bar_g is None:
        written, pressure_kpa = pressure_bar_a, units.scale(pressure_bar_a, "bar(a)", "kPa(a)")
    else:
        raise QuantityError(
            "free air needs one pressure of the cylinder: give pressure_bar_g or pressure_bar_a."
        )
    smallest, largest = VOLUME_RANGE_L
    if not smallest <= water_volume_l <= largest:
        raise RangeError(
            f"water volume {water_volume_l:g} L is outside {smallest:g} to {largest:g} L. "
            "Give the water volume of the cylinder in litres, not the free air it holds."
        )
    reference_c = temperature_c if reference_temperature_c is None else reference_temperature_c
    z = float(compressibility_factor(temperature_c, pressure_kpa))
    reference_z = float(compressibility_factor(reference_c, units.ATMOSPHERE_KPA))
    ideal = (
        water_volume_l
        * (pressure_kpa / units.ATMOSPHERE_KPA)
        * (reference_c + ZERO_CELSIUS_K)
        / (temperature_c + ZERO_CELSIUS_K)
    )
    return FreeAir(
        litres=ideal * reference_z / z,
        ideal_litres=ideal,
        rule_litres=water_volume_l * written,
        reference_temperature_c=reference_c,
        compressibility_factor=z,
        density_kg_m3=float(density_kg_m3(temperature_c, pressure_kpa)),
    )
