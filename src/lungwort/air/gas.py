"""From parts of a volume to mass in a volume, and back: ppm and mg/m³.

An ideal gas at a stated reference state: ``mg/m³ = ppm · M / V_m`` with the molar volume
``V_m = R T / p``. The reference state is part of every mg/m³: between 0 °C and 20 °C the same air
differs by 7 %.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.air import units
from lungwort.air.analytes import ANALYTES
from lungwort.air.arrays import FloatArray, Numbers, like, within
from lungwort.errors import QuantityError

if TYPE_CHECKING:
    import polars as pl

GAS_CONSTANT_J_MOL_K: Final = 8.314462618
"""Molar gas constant [J/(mol·K)], CODATA 2018."""
ZERO_CELSIUS_K: Final = 273.15

REFERENCE_TEMPERATURE_C: Final = 20.0
REFERENCE_PRESSURE_KPA: Final = units.ATMOSPHERE_KPA

_TEMPERATURE_C: Final = (-100.0, 200.0)
_MOLAR_MASS_G_MOL: Final = (1.0, 1000.0)
_PRESSURE_KPA: Final = (1.0, 2000.0)


def molar_volume_l_mol(
    temperature_c: float | FloatArray = REFERENCE_TEMPERATURE_C,
    pressure_kpa: float | FloatArray = REFERENCE_PRESSURE_KPA,
) -> float | FloatArray:
    """Give the volume of one mole of an ideal gas.

    Parameters
    ----------
    temperature_c : float or numpy.ndarray
        Temperature, -100 to 200 [°C].
    pressure_kpa : float or numpy.ndarray
        Absolute pressure, 1 to 2000 [kPa(a)]. Air departs from the ideal gas by less than 1 %
        here.

    Returns
    -------
    float or numpy.ndarray
        Molar volume [L/mol]; NaN for elements of an array that are out of range.

    Raises
    ------
    RangeError
        Where a float is out of range.

    References
    ----------
    Ideal gas law with the molar gas constant of CODATA 2018.

    Examples
    --------
    >>> round(molar_volume_l_mol(20.0, 101.325), 5), round(molar_volume_l_mol(25.0, 101.325), 5)
    (24.05512, 24.4654)
    """
    temperature = within(
        temperature_c,
        *_TEMPERATURE_C,
        what="reference temperature",
        unit="°C",
        remedy="Give it in °C, usually 0, 15, 20 or 25.",
    )
    pressure = within(
        pressure_kpa,
        *_PRESSURE_KPA,
        what="reference pressure",
        unit="kPa(a)",
        remedy="Give the absolute pressure, usually 101.325 kPa(a).",
    )
    volume = GAS_CONSTANT_J_MOL_K * (temperature + ZERO_CELSIUS_K) / pressure
    return like(volume, temperature_c, pressure_kpa)


def molar_mass_g_mol(gas: str) -> float:
    """Give the molar mass of a gas.

    Parameters
    ----------
    gas : str
        Key of an analyte: ``co``, ``co2``, ``water`` and so on.

    Returns
    -------
    float
        Molar mass [g/mol].

    Raises
    ------
    QuantityError
        Where the gas is not known or has no single molar mass.

    Examples
    --------
    >>> molar_mass_g_mol("co")
    28.01
    """
    known = [key for key, analyte in ANALYTES.items() if analyte.molar_mass_g_mol is not None]
    if gas not in ANALYTES:
        raise QuantityError(
            f"gas {gas!r} is not known. Known gases: {', '.join(known)}. "
            "For another gas give its molar mass [g/mol]."
        )
    mass = ANALYTES[gas].molar_mass_g_mol
    if mass is None:
        raise QuantityError(
            f"{ANALYTES[gas].name} has no single molar mass. Give one [g/mol], for example that of "
            "the substance the instrument was calibrated with."
        )
    return mass


def mg_m3_per_ppm(
    gas: str | None = None,
    *,
    molar_mass: float | None = None,
    temperature_c: float = REFERENCE_TEMPERATURE_C,
    pressure_kpa: float = REFERENCE_PRESSURE_KPA,
) -> float:
    """Give the mass concentration that one ppm makes.

    Parameters
    ----------
    gas : str, optional
        Key of an analyte with a molar mass.
    molar_mass : float, optional
        Molar mass [g/mol]; give this or ``gas``.
    temperature_c : float
        Temperature of the reference state, -100 to 200 [°C].
    pressure_kpa : float
        Absolute pressure of the reference state, 1 to 2000 [kPa(a)].

    Returns
    -------
    float
        Mass concentration of one ppm [mg/m³].

    Raises
    ------
    QuantityError
        Where neither or both of gas and molar mass are given, or one cannot be used.
    RangeError
        Where the reference state is out of range.

    References
    ----------
    Ideal gas law; R of CODATA 2018.

    Examples
    --------
    >>> round(mg_m3_per_ppm("co"), 4)
    1.1644
    """
    if (gas is None) == (molar_mass is None):
        raise QuantityError(
            "ppm and mg/m3 differ by the molar mass: give the gas (co, co2, ...) "
            "or a molar mass [g/mol], and not both."
        )
    mass = molar_mass_g_mol(gas) if gas is not None else molar_mass
    lightest, heaviest = _MOLAR_MASS_G_MOL
    if mass is None or not lightest <= mass <= heaviest:
        raise QuantityError(f"molar mass {mass} g/mol is outside 1 to 1000 g/mol. Check its unit.")
    return mass / float(molar_volume_l_mol(temperature_c, pressure_kpa))


def conversion_factor(
    from_unit: str,
    to_unit: str,
    *,
    gas: str | None = None,
    molar_mass: float | None = None,
    temperature_c: float = REFERENCE_TEMPERATURE_C,
    pressure_kpa: float = REFERENCE_PRESSURE_KPA,
) -> float:
    """Give the number by which a gas reading is multiplied to change its unit.

    Parameters
    ----------
    from_unit, to_unit : str
        Units of volume fraction (ppm, ppb, %, mol/mol) or mass concentration (mg/m3, ug/m3, g/m3),
        in any spelling.
    gas : str, optional
        Key of an analyte; needed between volume fraction and mass concentration.
    molar_mass : float, optional
        Molar mass in place of a gas [g/mol].
    temperature_c : float
        Temperature of the reference state, -100 to 200 [°C].
    pressure_kpa : float
        Absolute pressure of the reference state, 1 to 2000 [kPa(a)].

    Returns
    -------
    float
        Factor [to_unit per from_unit].

    Raises
    ------
    QuantityError
        Where a unit is of another kind, or the gas is needed and missing.
    RangeError
        Where the reference state is out of range.

    References
    ----------
    Ideal gas law; R of CODATA 2018.

    Examples
    --------
    >>> round(5000 * conversion_factor("ppm", "mg/m3", gas="co2", temperature_c=25.0))
    8994
    """
    source, target = units.unit(from_unit), units.unit(to_unit)
    for one in (source, target):
        if one.dimension not in {units.FRACTION, units.MASS}:
            raise QuantityError(
                f"{one.name} is a unit of {one.dimension}, not of a gas in air. "
                "Use ppm, ppb, %, mol/mol, mg/m3, ug/m3 or g/m3."
            )
    if source.dimension == target.dimension:
        return float(units.scale(1.0, source.name, target.name))
    per_ppm = mg_m3_per_ppm(
        gas, molar_mass=molar_mass, temperature_c=temperature_c, pressure_kpa=pressure_kpa
    )
    if source.dimension == units.FRACTION:
        return source.factor * per_ppm / target.factor
    return source.factor / per_ppm / target.factor


def convert_gas(
    value: Numbers,
    from_unit: str,
    to_unit: str,
    *,
    gas: str | None = None,
    molar_mass: float | None = None,
    temperature_c: float = REFERENCE_TEMPERATURE_C,
    pressure_kpa: float = REFERENCE_PRESSURE_KPA,
) -> Numbers:
    """Convert a gas reading between volume fraction and mass concentration.

    Parameters
    ----------
    value : float or numpy.ndarray
        Reading or readings [from_unit].
    from_unit, to_unit : str
        Units of volume fraction (ppm, ppb, %, mol/mol) or mass concentration (mg/m3, ug/m3, g/m3),
        in any spelling.
    gas : str, optional
        Key of an analyte; needed between volume fraction and mass concentration.
    molar_mass : float, optional
        Molar mass in place of a gas [g/mol].
    temperature_c : float
        Temperature of the reference state, -100 to 200 [°C].
    pressure_kpa : float
        Absolute pressure of the reference state, 1 to 2000 [kPa(a)].

    Returns
    -------
    float or numpy.ndarray
        Reading or readings [to_unit].

    Raises
    ------
    QuantityError
        Where a unit is of another kind, or the gas is needed and missing.
    RangeError
        Where the reference state is out of range.

    References
    ----------
    Ideal gas law; R of CODATA 2018.

    Examples
    --------
    >>> round(convert_gas(5.0, "ppm", "mg/m3", gas="co"), 2)
    5.82
    """
    return value * conversion_factor(
        from_unit,
        to_unit,
        gas=gas,
        molar_mass=molar_mass,
        temperature_c=temperature_c,
        pressure_kpa=pressure_kpa,
    )


def convert_gas_expression(
    expression: pl.Expr,
    from_unit: str,
    to_unit: str,
    *,
    gas: str | None = None,
    molar_mass: float | None = None,
    temperature_c: float = REFERENCE_TEMPERATURE_C,
    pressure_kpa: float = REFERENCE_PRESSURE_KPA,
) -> pl.Expr:
    """Convert a column of gas readings inside a Polars query.

    Parameters
    ----------
    expression : polars.Expr
        Column of readings [from_unit].
    from_unit, to_unit : str
        Units, as in `convert_gas`.
    gas : str, optional
        Key of an analyte; needed between volume fraction and mass concentration.
    molar_mass : float, optional
        Molar mass in place of a gas [g/mol].
    temperature_c : float
        Temperature of the reference state, -100 to 200 [°C].
    pressure_kpa : float
        Absolute pressure of the reference state, 1 to 2000 [kPa(a)].

    Returns
    -------
    polars.Expr
        Column of readings [to_unit].

    Raises
    ------
    QuantityError, RangeError
        As in `convert_gas`.

    References
    ----------
    Ideal gas law; R of CODATA 2018.
    """
    return expression * conversion_factor(
        from_unit,
        to_unit,
        gas=gas,
        molar_mass=molar_mass,
        temperature_c=temperature_c,
        pressure_kpa=pressure_kpa,
    )
