"""How much water reaches the drier or cartridge behind a compressor.

Air is drawn in with its moisture, compressed, cooled and led through a separator. What the cooled
air cannot hold falls out as liquid, and the separator takes most of it. What goes on is the vapour
of air saturated at the temperature and pressure there, and the liquid that got through. It is never
more than was drawn in.

All is counted in mg to a cubic metre of free dry air (20 °C, 1 atm), since the dry air is what
stays the same on the way.

References
----------
`lungwort.air.moisture` and `lungwort.air.enhancement` for water in air under pressure.
ICAO Doc 7488, Manual of the ICAO Standard Atmosphere: pressure at a height.
"""

from __future__ import annotations

import math
from typing import Final

from attrs import frozen

from lungwort.air import saturation, units
from lungwort.air.moisture import convert_moisture, convert_water
from lungwort.errors import PlantError

WATER_TO_AIR: Final = 18.0153 / 28.966
"""Ratio of the molar masses of water and dry air [-]."""
FREE_AIR_KG_M3: Final = 28.966 / 24.05512
"""Dry air in a cubic metre of free air, as an ideal gas at 20 °C and 1 atm [kg/m³]."""

INTAKE_RANGE_C: Final = (-50.0, 60.0)
SEPARATOR_RANGE_C: Final = (-50.0, 60.0)
PRESSURE_RANGE_BAR_G: Final = (-0.6, 348.9)
ALTITUDE_RANGE_M: Final = (-400.0, 5000.0)
COLDEST_COUNTED_C: Final = 0.01
"""A colder separator freezes; its air is counted as if it were at the freezing point [°C]."""

_PERCENT: Final = 100.0


@frozen
class Span:
    """A figure with the ends between which it lies.

    Parameters
    ----------
    low, likely, high : float
        Lowest, likeliest and highest value [any unit], in rising order; the highest may be
        infinite.

    Raises
    ------
    PlantError
        Where they are not numbers, or not in rising order.
    """

    low: float
    likely: float
    high: float

    def __attrs_post_init__(self) -> None:
        """Check that the ends stand in order."""
        if any(math.isnan(one) for one in (self.low, self.likely, self.high)):
            raise PlantError("a figure with its ends needs three numbers; one is not a number.")
        if not self.low <= self.likely <= self.high:
            raise PlantError(
                f"the ends of a figure must rise, and {self.low:g}, {self.likely:g}, "
                f"{self.high:g} do not. Give the lowest first."
            )

    @classmethod
    def exactly(cls, value: float) -> Span:
        """Make a span that is one value [any unit]."""
        return cls(value, value, value)

    def times(self, factor: float) -> Span:
        """Give the span times a factor of 0 or more [1]."""
        return Span(self.low * factor, self.likely * factor, self.high * factor)


@frozen
class Saturated:
    """What air can hold as vapour, counted to its dry part.

    Parameters
    ----------
    water_mg_m3 : Span
        Water to a cubic metre of free dry air [mg/m³]; a span of one value up to 100 bar(a), with
        the uncertainty of the enhancement factor above.
    ideal_mg_m3 : float
        What an ideal gas would hold [mg/m³].
    estimated : bool
        Whether the pressure lies above 100 bar(a), beyond every published formula.
    """

    water_mg_m3: Span
    ideal_mg_m3: float
    estimated: bool


@frozen
class WaterLoad:
    """What water goes where, in mg to a cubic metre of free dry air.

    Parameters
    ----------
    drawn_in_mg_m3 : Span
        Drawn in with the air [mg/m³].
    vapour_mg_m3 : Span
        Going on as vapour [mg/m³].
    carried_mg_m3 : Span
        Going on as liquid that the separator let through [mg/m³].
    load_mg_m3 : Span
        Both: what the drier has to take [mg/m³].
    ideal_load_mg_m3 : float
        The likely load if air were an ideal gas [mg/m³].
    condenses : bool
        Whether liquid falls out in the likely case.
    estimated : bool
        Whether the enhancement factor had to be estimated (above 100 bar(a)).
    """

    drawn_in_mg_m3: Span
    vapour_mg_m3: Span
    carried_mg_m3: Span
    load_mg_m3: Span
    ideal_load_mg_m3: float
    condenses: bool
    estimated: bool


def pressure_at_height_kpa(altitude_m: float) -> float:
    """Give the pressure of the standard atmosphere at a height.

    Parameters
    ----------
    altitude_m : float
        Height above the sea, -400 to 5000 [m].

    Returns
    -------
    float
        Absolute pressure [kPa(a)].

    Raises
    ------
    PlantError
        Where the height is out of range.

    References
    ----------
    ICAO Doc 7488 (standard atmosphere): ``p = 101.325 (1 - 2.25577e-5 h)^5.25588``, from memory.

    Examples
    --------
    >>> round(pressure_at_height_kpa(1000.0), 2)
    89.87
    """
    _held(altitude_m, ALTITUDE_RANGE_M, "height above the sea", "m")
    return float(units.ATMOSPHERE_KPA * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


def drawn_in_mg_m3(
    temperature_c: float, humidity_percent: float, *, altitude_m: float = 0.0
) -> float:
    """Give the water that is drawn in with the air.

    Parameters
    ----------
    temperature_c : float
        At the intake, -50 to 60 [°C].
    humidity_percent : float
        Relative humidity there, over liquid water, also below 0 °C as weather stations give it,
        0 to 100 [%].
    altitude_m : float
        Height above the sea, -400 to 5000 [m].

    Returns
    -------
    float
        Water to a cubic metre of free dry air [mg/m³].

    Raises
    ------
    PlantError
        Where a value is out of range.

    References
    ----------
    Humidity ratio as in the ASHRAE Handbook of Fundamentals, chapter Psychrometrics, by
    `lungwort.air.moisture`.

    Examples
    --------
    >>> round(drawn_in_mg_m3(20.0, 50.0))
    8782
    """
    _held(temperature_c, INTAKE_RANGE_C, "temperature at the intake", "°C")
    _held(humidity_percent, (0.0, 100.0), "relative humidity at the intake", "%")
    ratio = convert_moisture(
        humidity_percent,
        "relative_humidity",
        "humidity_ratio",
        pressure_bar_g=(pressure_at_height_kpa(altitude_m) - units.ATMOSPHERE_KPA) / 100.0,
        gas_temperature_c=temperature_c,
        supercooled=True,
    )
    return float(ratio.value) * FREE_AIR_KG_M3 * 1e3


def saturated(temperature_c: float, pressure_bar_g: float) -> Saturated:
    """Give what air holds at most as vapour, to a cubic metre of free dry air.

    Parameters
    ----------
    temperature_c : float
        Where the air was last wet, -50 to 60; below 0.01 it is counted as 0.01, since what is
        frozen there thaws sometime [°C].
    pressure_bar_g : float
        Pressure there over 1 atm, -0.6 to 348.9 [bar(g)].

    Returns
    -------
    Saturated
        With the enhancement factor; above 100 bar(a) with its uncertainty of 25 %.

    Raises
    ------
    PlantError
        Where a value is out of range.

    References
    ----------
    `lungwort.air.enhancement`; the ideal gas for comparison: ``x = e / p``.

    Examples
    --------
    >>> found = saturated(20.0, 7.0)
    >>> round(found.water_mg_m3.likely), round(found.ideal_mg_m3), found.estimated
    (2248, 2193, False)
    """
    _held(temperature_c, SEPARATOR_RANGE_C, "temperature at the separator", "°C")
    _held(pressure_bar_g, PRESSURE_RANGE_BAR_G, "pressure at the separator", "bar(g)")
    counted_c = max(temperature_c, COLDEST_COUNTED_C)
    ratio = convert_water(
        counted_c, "pressure_dew_point", "humidity_ratio", pressure_bar_g=pressure_bar_g
    )
    vapour_kpa = saturation.saturation_pressure_water(counted_c) / 1e3
    dry_kpa = float(units.scale(pressure_bar_g, "bar(g)", "kPa(a)")) - vapour_kpa
    per_gram = FREE_AIR_KG_M3 * 1e3
    return Saturated(
        Span(float(ratio.low), float(ratio.value), float(ratio.high)).times(per_gram),
        WATER_TO_AIR * vapour_kpa / dry_kpa * 1e3 * per_gram,
        ratio.is_estimate,
    )


def water_load(
    drawn_in: Span, temperature_c: float, pressure_bar_g: float, efficiency_percent: Span
) -> WaterLoad:
    """Give what water goes past a separator, as vapour and as liquid.

    Parameters
    ----------
    drawn_in : Span
        Water that comes with the air [mg/m³ of free dry air], 0 or more.
    temperature_c : float
        Of the air in the separator, -50 to 60 [°C].
    pressure_bar_g : float
        Pressure there over 1 atm, -0.6 to 348.9 [bar(g)].
    efficiency_percent : Span
        Share of the liquid water that the separator takes, 0 to 100 [%].

    Returns
    -------
    WaterLoad
        Nothing of it is more than was drawn in.

    Raises
    ------
    PlantError
        Where a value is out of range.

    References
    ----------
    Mass balance of the water over the separator: ``load = vapour + (1 - η) (drawn in - vapour)``
    with ``vapour = min(drawn in, saturated)``.

    Examples
    --------
    >>> at = Span.exactly(drawn_in_mg_m3(20.0, 70.0))
    >>> found = water_load(at, 30.0, 225.0, Span.exactly(100.0))
    >>> round(found.load_mg_m3.likely, -1), found.condenses
    (260.0, True)
    """
    if not (drawn_in.low >= 0 and math.isfinite(drawn_in.high)):
        raise PlantError(
            f"water drawn in of {drawn_in.low:g} to {drawn_in.high:g} mg/m3 cannot be. Give "
            "numbers of 0 or more."
        )
    for share in (efficiency_percent.low, efficiency_percent.high):
        _held(share, (0.0, 100.0), "efficiency of the separator", "%")
    holds = saturated(temperature_c, pressure_bar_g)
    most = holds.water_mg_m3
    vapour = Span(
        min(drawn_in.low, most.low),
        min(drawn_in.likely, most.likely),
        min(drawn_in.high, most.high),
    )
    through = _through(efficiency_percent)
    load = Span(
        vapour.low + through.low * (drawn_in.low - vapour.low),
        vapour.likely + through.likely * (drawn_in.likely - vapour.likely),
        vapour.high + through.high * (drawn_in.high - vapour.high),
    )
    liquid = sorted(
        (
            through.low * max(drawn_in.low - most.high, 0.0),
            through.likely * (drawn_in.likely - vapour.likely),
            through.high * max(drawn_in.high - most.low, 0.0),
        )
    )
    ideal_vapour = min(drawn_in.likely, holds.ideal_mg_m3)
    return WaterLoad(
        drawn_in_mg_m3=drawn_in,
        vapour_mg_m3=vapour,
        carried_mg_m3=Span(*liquid),
        load_mg_m3=load,
        ideal_load_mg_m3=ideal_vapour + through.likely * (drawn_in.likely - ideal_vapour),
        condenses=drawn_in.likely > most.likely,
        estimated=holds.estimated,
    )


def _through(efficiency_percent: Span) -> Span:
    return Span(
        1.0 - efficiency_percent.high / _PERCENT,
        1.0 - efficiency_percent.likely / _PERCENT,
        1.0 - efficiency_percent.low / _PERCENT,
    )


def _held(value: float, allowed: tuple[float, float], what: str, unit: str) -> None:
    low, high = allowed
    if not low <= value <= high:
        raise PlantError(
            f"{what} {value:g} {unit} is outside {low:g} to {high:g} {unit}. Check the value and "
            "its unit."
        )
