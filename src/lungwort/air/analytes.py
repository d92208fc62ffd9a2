"""What is measured in the air: the analytes, with the unit each is kept in."""

from __future__ import annotations

from typing import Final

from attrs import frozen

from lungwort.air import units

# Molar masses [g/mol] from the IUPAC abridged standard atomic weights (2021), rounded as printed
# in occupational hygiene tables.


@frozen
class Analyte:
    """One thing that is measured.

    Parameters
    ----------
    key : str
        Short key used in files, options and column names.
    name : str
        Name in running text.
    unit : str
        Canonical unit.
    molar_mass_g_mol : float, optional
        Molar mass [g/mol] of a gas that converts between volume fraction and mass concentration.
    possible : tuple of (float, float)
        Lowest and highest reading that physics and zero drift allow [canonical unit]; a reading
        outside cannot be a measurement.
    in_air : bool
        Whether it is a property of the air itself; false for what is logged beside it.
    """

    key: str
    name: str
    unit: str
    molar_mass_g_mol: float | None = None
    possible: tuple[float, float] = (-float("inf"), float("inf"))
    in_air: bool = True


_TABLE: Final[tuple[Analyte, ...]] = (
    Analyte("o2", "oxygen", "%", 31.998, (0.0, 100.0)),
    Analyte("n2", "nitrogen", "%", 28.014, (0.0, 100.0)),
    Analyte("co", "carbon monoxide", "ppm", 28.010, (-5.0, 1e6)),
    Analyte("co2", "carbon dioxide", "ppm", 44.009, (-50.0, 1e6)),
    Analyte("no", "nitric oxide", "ppm", 30.006, (-2.0, 1e6)),
    Analyte("no2", "nitrogen dioxide", "ppm", 46.0055, (-2.0, 1e6)),
    Analyte("nox", "nitrogen oxides (NO + NO2)", "ppm", None, (-2.0, 1e6)),
    Analyte("so2", "sulphur dioxide", "ppm", 64.064, (-2.0, 1e6)),
    Analyte("h2s", "hydrogen sulphide", "ppm", 34.081, (-2.0, 1e6)),
    Analyte("ch4", "methane", "ppm", 16.043, (-20.0, 1e6)),
    Analyte("hydrocarbons", "hydrocarbons as methane", "ppm", 16.043, (-20.0, 1e6)),
    Analyte("voc", "volatile organic compounds", "ppm", None, (-5.0, 1e6)),
    Analyte("halogenated", "halogenated compounds", "ppm", None, (-5.0, 1e6)),
    Analyte("o3", "ozone", "ppm", 47.998, (-2.0, 1e6)),
    Analyte("oil", "oil", "mg/m3", None, (-0.5, 1e6)),
    Analyte("particles", "particles", "mg/m3", None, (-0.5, 1e6)),
    Analyte("oil_and_particles", "oil and particles together", "mg/m3", None, (-0.5, 1e6)),
    Analyte("water", "water", "mg/m3", 18.0153, (-20.0, 1e6)),
    Analyte("liquid_water", "liquid water", "g/m3", None, (0.0, 1e6)),
    Analyte("odour", "odour", "", None),
    Analyte("relative_humidity", "relative humidity", "%RH", None, (-2.0, 110.0)),
    Analyte("temperature", "temperature", "°C", None, (-90.0, 1500.0), in_air=False),
    Analyte("pressure", "line pressure", "bar(g)", None, (-1.1, 1000.0), in_air=False),
    Analyte("flow", "flow", "L/min", None, (-1e4, 1e7), in_air=False),
)
ANALYTES: Final[dict[str, Analyte]] = {analyte.key: analyte for analyte in _TABLE}

VOLUME_FRACTION: Final = "volume_fraction"
MASS_CONCENTRATION: Final = "mass_concentration"
ATMOSPHERIC_DEW_POINT: Final = "atmospheric_dew_point"
PRESSURE_DEW_POINT: Final = "pressure_dew_point"
HUMIDITY_RATIO: Final = "humidity_ratio"
RELATIVE_HUMIDITY: Final = "relative_humidity"
TEMPERATURE: Final = "temperature"
PRESSURE: Final = "pressure"
FLOW: Final = "flow"
WORDING: Final = "wording"

QUANTITY_UNIT: Final[dict[str, str]] = {
    MASS_CONCENTRATION: "mg/m3",
    ATMOSPHERIC_DEW_POINT: "°C",
    PRESSURE_DEW_POINT: "°C",
    HUMIDITY_RATIO: "g/kg",
    RELATIVE_HUMIDITY: "%RH",
    TEMPERATURE: "°C",
    PRESSURE: "bar(g)",
    FLOW: "L/min",
    WORDING: "",
}
"""Canonical unit of each quantity; a volume fraction is kept in % or ppm by analyte."""

_DIMENSION_QUANTITY: Final = {
    units.FRACTION: VOLUME_FRACTION,
    units.MASS: MASS_CONCENTRATION,
    units.MIXING: HUMIDITY_RATIO,
    units.RELATIVE_HUMIDITY: RELATIVE_HUMIDITY,
    units.PRESSURE: PRESSURE,
    units.PRESSURE_UNSTATED: PRESSURE,
    units.FLOW: FLOW,
    units.TEMPERATURE: TEMPERATURE,
}


def quantity_of_unit(unit_text: str) -> str:
    """Tell which quantity a unit measures.

    Parameters
    ----------
    unit_text : str
        Name or spelling of a unit. A temperature unit gives ``temperature``: whether it is a dew
        point is never read from the unit.

    Returns
    -------
    str
        One of the quantity names of this module.

    Raises
    ------
    QuantityError
        Where the unit is not known.
    """
    return _DIMENSION_QUANTITY[units.unit(unit_text).dimension]


def canonical_unit(analyte_key: str, quantity: str) -> str:
    """Give the unit in which an analyte is kept when measured as a quantity.

    Parameters
    ----------
    analyte_key : str
        Key of the analyte.
    quantity : str
        Quantity name of this module.

    Returns
    -------
    str
        Unit name: ``%`` for oxygen and nitrogen fractions, ``ppm`` for other fractions, else the
        quantity's own unit.
    """
    if quantity == VOLUME_FRACTION:
        return ANALYTES[analyte_key].unit if ANALYTES[analyte_key].unit in {"%", "ppm"} else "ppm"
    return QUANTITY_UNIT[quantity]
