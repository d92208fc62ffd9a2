"""How much air the compressors deliver where they stand, on their worst day.

A compressor takes in a volume. What it delivers is the dry air in that volume: less on a height, in
the heat and in damp air. Free air here is at 20 °C and 1 atm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air.gas import ZERO_CELSIUS_K
from lungwort.air.saturation import saturation_pressure_water
from lungwort.errors import PlantError
from lungwort.plant.free_air import FREE_PRESSURE_PA, FREE_TEMPERATURE_K
from lungwort.plant.reading import named_tables, needed
from lungwort.plant.water_load import pressure_at_height_kpa

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.tomlfile import Table

KEYS_TOP: Final = ("compressor",)
_COMPRESSOR: Final = (
    "name",
    "free_air_l_min",
    "declared_at_bar_g",
    "declared_inlet_c",
    "declared_inlet_bar_a",
    "tolerance_percent",
    "duty_percent",
    "wear_percent",
    "purge_percent",
    "standby",
)
FREE_AIR_RANGE_L_MIN: Final = (1.0, 1e6)
DECLARED_INLET_C: Final = 20.0
"""Temperature at the inlet of a declared delivery, ISO 1217 (from memory) [°C]."""
DECLARED_INLET_BAR_A: Final = 1.0
"""Pressure there, the air dry; ISO 1217 (from memory) [bar(a)]."""
TOLERANCES: Final = ((500.0, 7.0), (1500.0, 6.0), (15_000.0, 5.0), (float("inf"), 4.0))
"""Tolerance of a declared volume flow [L/min up to which, ± %]: ISO 1217:2009, annex C (from memory)."""
ASSUMED_INTAKE_C: Final = (-10.0, 45.0)
"""Temperatures at the intake where none are stated [°C]; own rule."""
ASSUMED_HUMIDITY_PERCENT: Final = (0.0, 100.0)


@frozen(kw_only=True)
class Compressor:
    """A machine that delivers.

    Parameters
    ----------
    name : str
        Its name.
    free_air_l_min : float
        Declared delivery: volume at the state of the inlet, 1 to 1e6 [L/min].
    declared_at_bar_g : float, optional
        Pressure at which that is declared [bar(g)].
    declared_inlet_c, declared_inlet_bar_a : float
        State of the inlet for which it is declared, the air dry [°C, bar(a)].
    tolerance_percent : float, optional
        Tolerance of the declared figure, 0 to 50; by ISO 1217 where not given [± %].
    duty_percent : float
        Share of the time that it may run, above 0 to 100 [%].
    wear_percent : float
        Loss against the plate, as measured, 0 to 90 [%].
    purge_percent : float
        Share of its air that treatment takes for itself, 0 to 50 [%].
    standby : bool
        Whether it only stands by.
    stated : frozenset of str
        Which keys the sheet itself states; the others are assumed.
    """

    name: str
    free_air_l_min: float
    declared_at_bar_g: float | None = None
    declared_inlet_c: float = DECLARED_INLET_C
    declared_inlet_bar_a: float = DECLARED_INLET_BAR_A
    tolerance_percent: float | None = None
    duty_percent: float = 100.0
    wear_percent: float = 0.0
    purge_percent: float = 0.0
    standby: bool = False
    stated: frozenset[str] = frozenset()

    def __attrs_post_init__(self) -> None:
        """Refuse what cannot be."""
        for value, low, high, what, unit in (
            (self.free_air_l_min, *FREE_AIR_RANGE_L_MIN, "the declared delivery", "L/min"),
            (self.declared_inlet_c, -50.0, 60.0, "the declared temperature at the inlet", "°C"),
            (self.declared_inlet_bar_a, 0.5, 1.2, "the declared pressure at the inlet", "bar(a)"),
            (self.tolerance_percent or 0.0, 0.0, 50.0, "the tolerance", "%"),
            (self.duty_percent, 1.0, 100.0, "the share of the time that it may run", "%"),
            (self.wear_percent, 0.0, 90.0, "the wear", "%"),
            (self.purge_percent, 0.0, 50.0, "the air taken by treatment", "%"),
        ):
            if not low <= value <= high:
                raise PlantError(
                    f"compressor {self.name!r}: {what} is {value:g} {unit}; {low:g} to {high:g} "
                    f"{unit} is allowed. Check the figure and its unit."
                )

    @property
    def tolerance(self) -> float:
        """Tolerance that is counted with [± %]."""
        if self.tolerance_percent is not None:
            return self.tolerance_percent
        return next(percent for up_to, percent in TOLERANCES if self.free_air_l_min <= up_to)


@frozen(kw_only=True)
class Site:
    """Where the compressors draw in.

    Parameters
    ----------
    altitude_m : float
        Height above the sea, -400 to 5000 [m].
    intake_c : tuple of (float, float)
        Lowest and highest temperature at the intake [°C].
    humidity_percent : tuple of (float, float)
        Lowest and highest relative humidity there [%].
    """

    altitude_m: float = 0.0
    intake_c: tuple[float, float] = ASSUMED_INTAKE_C
    humidity_percent: tuple[float, float] = ASSUMED_HUMIDITY_PERCENT

    @property
    def atmosphere_pa(self) -> float:
        """Pressure of the standard atmosphere there [Pa(a)]."""
        return 1000.0 * pressure_at_height_kpa(self.altitude_m)


@frozen(kw_only=True)
class Delivery:
    """What one compressor delivers, as free air.

    Parameters
    ----------
    name : str
        The compressor.
    declared_l_min : float
        At its declared state, new [L/min].
    low_l_min, likely_l_min, high_l_min : float
        Where it stands: hottest and dampest with the lower tolerance; in the middle; coldest and
        driest with the upper tolerance [L/min].
    standby : bool
        Whether it only stands by.
    """

    name: str
    declared_l_min: float
    low_l_min: float
    likely_l_min: float
    high_l_min: float
    standby: bool


@frozen(kw_only=True)
class Supply:
    """What all compressors deliver, as free air.

    Parameters
    ----------
    deliveries : tuple of Delivery
        Each, also those that stand by.
    low_l_min, likely_l_min, high_l_min : float
        Sum of those in service [L/min].
    without_largest_l_min : float
        Low end of the sum when the largest of those in service stops, and none that stands by takes
        over [L/min].
    """

    deliveries: tuple[Delivery, ...]
    low_l_min: float
    likely_l_min: float
    high_l_min: float
    without_largest_l_min: float


def read_compressors(top: Table) -> tuple[Compressor, ...]:
    """Read the compressors from a plant sheet.

    Parameters
    ----------
    top : Table
        The top of the sheet; mistakes are noted there.

    Returns
    -------
    tuple of Compressor
        Those without a mistake.
    """
    found: list[Compressor] = []
    for table in named_tables(top, "compressor", _COMPRESSOR):
        before = len(top.mistakes.found)
        name = table.text("name")
        delivery = needed(table, "free_air_l_min", FREE_AIR_RANGE_L_MIN, "L/min")
        given = {
            key: table.number(key, low, high, unit)
            for key, low, high, unit in (
                ("declared_at_bar_g", 0.1, 450.0, "bar(g)"),
                ("declared_inlet_c", -50.0, 60.0, "°C"),
                ("declared_inlet_bar_a", 0.5, 1.2, "bar(a)"),
                ("tolerance_percent", 0.0, 50.0, "%"),
                ("duty_percent", 1.0, 100.0, "%"),
                ("wear_percent", 0.0, 90.0, "%"),
                ("purge_percent", 0.0, 50.0, "%"),
            )
        }
        standby = table.flag("standby")
        if any(one.name == name for one in found):
            table.wrong("name", "is taken by another [[compressor]]. Give each its own.")
        if delivery is None or not name or len(top.mistakes.found) > before:
            continue
        values = {key: value for key, value in given.items() if value is not None}
        found.append(
            Compressor(
                name=name,
                free_air_l_min=delivery,
                standby=standby,
                stated=frozenset(key for key in table.values if key in _COMPRESSOR),
                **values,
            )
        )
    return tuple(found)


def free_of_inlet(
    volume_l_min: float, temperature_c: float, pressure_pa: float, humidity_percent: float = 0.0
) -> float:
    """Turn a volume flow at an inlet into free dry air.

    Parameters
    ----------
    volume_l_min : float
        Volume flow of the air as it is at the inlet, above 0 [L/min].
    temperature_c : float
        Temperature there, -50 to 60 [°C].
    pressure_pa : float
        Pressure there, 30 000 to 120 000 [Pa(a)].
    humidity_percent : float
        Relative humidity there, 0 to 100; the water goes out with the condensate [%].

    Returns
    -------
    float
        Free air at 20 °C and 1 atm [L/min].

    Raises
    ------
    PlantError
        Where a figure is out of range.

    References
    ----------
    Ideal gas law and Dalton's law: V (p - h e(T)) / p0 · T0 / T; e by `lungwort.air.saturation`.

    Examples
    --------
    >>> round(free_of_inlet(1000.0, 20.0, 101_325.0), 6)
    1000.0
    """
    for value, low, high, what in (
        (volume_l_min, 1e-9, 1e9, "the volume flow [L/min]"),
        (temperature_c, -50.0, 60.0, "the temperature [°C]"),
        (pressure_pa, 30_000.0, 120_000.0, "the pressure [Pa(a)]"),
        (humidity_percent, 0.0, 100.0, "the humidity [%]"),
    ):
        if not low <= value <= high:
            raise PlantError(f"inlet: {what} is {value:g}; {low:g} to {high:g} is allowed.")
    vapour = humidity_percent / 100.0 * float(saturation_pressure_water(temperature_c))
    return (
        volume_l_min
        * ((pressure_pa - vapour) / FREE_PRESSURE_PA)
        * (FREE_TEMPERATURE_K / (temperature_c + ZERO_CELSIUS_K))
    )


def delivery(compressor: Compressor, site: Site) -> Delivery:
    """Give what a compressor delivers where it stands.

    Parameters
    ----------
    compressor : Compressor
        The machine.
    site : Site
        Where it draws in.

    Returns
    -------
    Delivery
        Free air. The volume drawn in stays as declared; that a compressor takes in less at a
        greater ratio of pressures is left out.

    Raises
    ------
    PlantError
        Where a figure of the site is out of range.

    References
    ----------
    ISO 1217 (from memory): free air delivery is the volume flow delivered, referred to the state of
    the inlet.

    Examples
    --------
    1000 L/min by the plate, at 1000 m and 30 °C, dry: 89.9/101.3 of it, times 293/303.

    >>> one = Compressor(name="c1", free_air_l_min=1000.0, tolerance_percent=0.0)
    >>> where = Site(altitude_m=1000.0, intake_c=(30.0, 30.0), humidity_percent=(0.0, 0.0))
    >>> round(delivery(one, where).low_l_min)
    858
    """
    pressure = site.atmosphere_pa
    cold, hot = site.intake_c
    dry, damp = site.humidity_percent
    share = (
        compressor.duty_percent
        / 100.0
        * (1.0 - compressor.wear_percent / 100.0)
        * (1.0 - compressor.purge_percent / 100.0)
    )
    volume, off = compressor.free_air_l_min * share, compressor.tolerance / 100.0
    # Damp takes more away in the heat than the cold gives, but both ends are looked at.
    ends = [free_of_inlet(volume, t, pressure, h) for t in (cold, hot) for h in (dry, damp)]
    middle = free_of_inlet(volume, (cold + hot) / 2.0, pressure, (dry + damp) / 2.0)
    return Delivery(
        name=compressor.name,
        declared_l_min=free_of_inlet(
            compressor.free_air_l_min,
            compressor.declared_inlet_c,
            compressor.declared_inlet_bar_a * 1e5,
        ),
        low_l_min=min(ends) * (1.0 - off),
        likely_l_min=middle,
        high_l_min=max(ends) * (1.0 + off),
        standby=compressor.standby,
    )


def supply(compressors: Sequence[Compressor], site: Site) -> Supply:
    """Give what all compressors deliver.

    Parameters
    ----------
    compressors : sequence of Compressor
        The machines; at least one.
    site : Site
        Where they draw in.

    Returns
    -------
    Supply
        Those that stand by are not counted in.

    Raises
    ------
    PlantError
        Where there is none.

    Examples
    --------
    >>> pair = [Compressor(name=name, free_air_l_min=1000.0) for name in ("c1", "c2")]
    >>> made = supply(pair, Site())
    >>> round(made.low_l_min / made.without_largest_l_min, 9)
    2.0
    """
    if not compressors:
        raise PlantError("no compressor is given. Add a [[compressor]] to the plant sheet.")
    each = tuple(delivery(one, site) for one in compressors)
    running = [one for one in each if not one.standby]
    low = sum(one.low_l_min for one in running)
    return Supply(
        deliveries=each,
        low_l_min=low,
        likely_l_min=sum(one.likely_l_min for one in running),
        high_l_min=sum(one.high_l_min for one in running),
        without_largest_l_min=low - max((one.low_l_min for one in running), default=0.0),
    )
