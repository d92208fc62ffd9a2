"""How long the air lasts when the compressor stops: receivers, and cylinders behind a regulator.

The pressure at the source of the lines falls while the wearers and the leaks go on drawing. The
time ends when it falls below the least pressure at which every wearer still has enough.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air.gas import ZERO_CELSIUS_K
from lungwort.errors import PlantError
from lungwort.plant import filling
from lungwort.plant.filling import SLOW, Contents, Heat, kpa_of
from lungwort.plant.reading import count, named_tables, needed
from lungwort.tomlfile import Table

if TYPE_CHECKING:
    from collections.abc import Sequence

KEYS_TOP: Final = ("receiver", "reserve", "escape")

_RECEIVER: Final = ("name", "volume_l", "pressure_bar_g", "at")
_RESERVE: Final = (
    "name",
    "cylinders",
    "volume_l",
    "pressure_bar_g",
    "lowest_inlet_bar_g",
    "outlet_bar_g",
    "at",
    "opens_after_min",
)
_ESCAPE: Final = ("minutes", "why")
_POINTS: Final = 24


@frozen(kw_only=True)
class Receiver:
    """A vessel in the lines.

    Parameters
    ----------
    name : str
        Its name.
    volume_l : float
        Its volume [L].
    pressure_bar_g : float
        Lowest pressure in use, at which the compressor cuts in [bar(g)].
    at : str
        Node at which it stands; empty where the sheet does not say.
    """

    name: str
    volume_l: float
    pressure_bar_g: float
    at: str = ""


@frozen(kw_only=True)
class Reserve:
    """Cylinders behind a regulator.

    Parameters
    ----------
    name : str
        Its name.
    cylinders : int
        How many [1].
    volume_l : float
        Water volume of one [L].
    pressure_bar_g : float
        Lowest pressure to which they are kept filled [bar(g)].
    lowest_inlet_bar_g : float
        Pressure below which the regulator no longer holds [bar(g)].
    outlet_bar_g : float
        Pressure that the regulator holds [bar(g)].
    at : str
        Node at which it feeds in; empty where the sheet does not say.
    opens_after_min : float, optional
        Time until somebody has opened it [min]; 0 where it opens by itself, None where the sheet
        does not say.
    """

    name: str
    cylinders: int
    volume_l: float
    pressure_bar_g: float
    lowest_inlet_bar_g: float
    outlet_bar_g: float
    at: str = ""
    opens_after_min: float | None = None

    @property
    def whole_volume_l(self) -> float:
        """Water volume of all its cylinders [L]."""
        return self.cylinders * self.volume_l


@frozen
class Escape:
    """Time that everybody needs to get to safe air.

    Parameters
    ----------
    minutes : float
        The time [min].
    why : str
        What it rests on.
    """

    minutes: float
    why: str = ""


@frozen
class Feed:
    """What one reserve gave.

    Parameters
    ----------
    name : str
        The reserve.
    usable_kg : float
        Air that it can give [kg].
    from_min, to_min : float, optional
        When it fed [min]; None where it never did.
    why_not : str
        Why it never did; empty where it did.
    """

    name: str
    usable_kg: float
    from_min: float | None = None
    to_min: float | None = None
    why_not: str = ""


@frozen
class Course:
    """How the pressure falls.

    Parameters
    ----------
    heat : str
        ``slow`` for a constant temperature, ``fast`` for no heat from the walls.
    draw_kg_s : float
        Air that is drawn, leaks with it [kg/s].
    least_bar_g : float
        Pressure at the source down to which every wearer has enough [bar(g)].
    lasts_min : float
        Time until then [min].
    times_min, pressures_bar_g : tuple of float
        The pressure at the source over time [min], [bar(g)].
    feeds : tuple of Feed
        The reserves, in the order in which they step in.
    receivers_kg : float
        Air that the receivers can give above the least pressure [kg].
    coldest_c : float
        Lowest temperature of the air in the receivers [°C].
    """

    heat: Heat
    draw_kg_s: float
    least_bar_g: float
    lasts_min: float
    times_min: tuple[float, ...]
    pressures_bar_g: tuple[float, ...]
    feeds: tuple[Feed, ...]
    receivers_kg: float
    coldest_c: float


def read_receivers(top: Table) -> tuple[Receiver, ...]:
    """Read the receivers of a plant sheet.

    Parameters
    ----------
    top : Table
        The top of the sheet; mistakes are noted there.

    Returns
    -------
    tuple of Receiver
        Those without a mistake.
    """
    found = []
    for table in named_tables(top, "receiver", _RECEIVER):
        volume = needed(table, "volume_l", filling.VOLUME_RANGE_L, "L")
        pressure = needed(table, "pressure_bar_g", (0.1, 500.0), "bar(g)")
        if volume is not None and pressure is not None:
            found.append(
                Receiver(
                    name=table.text("name"),
                    volume_l=volume,
                    pressure_bar_g=pressure,
                    at=table.text("at"),
                )
            )
    return tuple(found)


def read_reserves(top: Table) -> tuple[Reserve, ...]:
    """Read the reserve cylinders of a plant sheet.

    Parameters
    ----------
    top : Table
        The top of the sheet; mistakes are noted there.

    Returns
    -------
    tuple of Reserve
        Those without a mistake.
    """
    found = []
    for table in named_tables(top, "reserve", _RESERVE):
        cylinders = count(table, "cylinders")
        volume = needed(table, "volume_l", (0.1, 1e4), "L")
        pressure = needed(table, "pressure_bar_g", (0.1, 450.0), "bar(g)")
        lowest = needed(table, "lowest_inlet_bar_g", (0.1, 450.0), "bar(g)")
        outlet = needed(table, "outlet_bar_g", (0.1, 50.0), "bar(g)")
        if None in (cylinders, volume, pressure, lowest, outlet):
            continue
        assert cylinders and volume and pressure and lowest and outlet  # noqa: PT018, S101 - for types
        if lowest < outlet:
            table.wrong(
                "lowest_inlet_bar_g",
                f"found {lowest:g}, which is below the outlet ({outlet:g} bar(g)); a regulator "
                "cannot hold more than what comes in.",
            )
            continue
        found.append(
            Reserve(
                name=table.text("name"),
                cylinders=cylinders,
                volume_l=volume,
                pressure_bar_g=pressure,
                lowest_inlet_bar_g=lowest,
                outlet_bar_g=outlet,
                at=table.text("at"),
                opens_after_min=table.number("opens_after_min", 0.0, 600.0, "min"),
            )
        )
    return tuple(found)


def read_escape(top: Table) -> Escape | None:
    """Read how long it takes to get to safe air.

    Parameters
    ----------
    top : Table
        The top of the sheet; mistakes are noted there.

    Returns
    -------
    Escape or None
        None where the sheet does not say.
    """
    given = top.values.get("escape")
    if given is None:
        return None
    if not isinstance(given, dict):
        top.wrong("escape", "is one table. Write [escape] and its keys below it.")
        return None
    table = Table(given, (), "[escape]", top.mistakes)
    table.known(_ESCAPE)
    minutes = needed(table, "minutes", (1.0, 1440.0), "min")
    why = table.text("why")
    return None if minutes is None else Escape(minutes, why)


def last(
    receivers: Sequence[Receiver],
    reserves: Sequence[Reserve],
    *,
    draw_kg_s: float,
    least_bar_g: float,
    temperature_c: float,
    heat: Heat = SLOW,
) -> Course:
    """Tell how the pressure falls after the compressor has stopped.

    Receivers count as one vessel at the lowest of their pressures. A reserve steps in where the
    pressure comes to what its regulator holds, not before it is open, and feeds until its cylinders
    come to the lowest inlet pressure; those that open first come first, of these the highest
    regulator. Where the pressure is below the least from the beginning, nothing lasts.

    Parameters
    ----------
    receivers : sequence of Receiver
        Vessels in the lines.
    reserves : sequence of Reserve
        Cylinders behind regulators.
    draw_kg_s : float
        Constant mass flow drawn, leaks with it, more than 0 [kg/s].
    least_bar_g : float
        Least pressure at the source at which every wearer has enough, 0 to 50 [bar(g)].
    temperature_c : float
        Temperature of the air before, -30 to 80 [°C].
    heat : str
        ``slow`` or ``fast``, see `lungwort.plant.filling`.

    Returns
    -------
    Course
        The pressure over time, and how long it is enough.

    Raises
    ------
    PlantError
        Where there is neither a receiver nor a reserve, or nothing is drawn.
    RangeError
        Where a volume, pressure or temperature is out of range.

    References
    ----------
    Conservation of mass; air as a real gas, Lemmon et al. 2000, through CoolProp.
    """
    _check(receivers, reserves, draw_kg_s, least_bar_g, temperature_c)
    temperature_k = temperature_c + ZERO_CELSIUS_K
    path = _Path(draw_kg_s, least_bar_g, heat, receivers, temperature_k)
    feeds = []
    for one in sorted(reserves, key=lambda one: (one.opens_after_min or 0.0, -one.outlet_bar_g)):
        usable = _usable_kg(one, temperature_k, heat)
        feeds.append(path.feed(one, usable))
    path.fall_to(kpa_of(least_bar_g), math.inf)
    return Course(
        heat=heat,
        draw_kg_s=draw_kg_s,
        least_bar_g=least_bar_g,
        lasts_min=path.time_min,
        times_min=tuple(path.times),
        pressures_bar_g=tuple(path.pressures),
        feeds=tuple(feeds),
        receivers_kg=path.whole_kg,
        coldest_c=path.coldest_k - ZERO_CELSIUS_K,
    )


class _Path:
    """The way down of the pressure at the source."""

    def __init__(
        self,
        draw_kg_s: float,
        least_bar_g: float,
        heat: Heat,
        receivers: Sequence[Receiver],
        temperature_k: float,
    ) -> None:
        self._draw_kg_min = draw_kg_s * 60.0
        self._least_kpa = kpa_of(least_bar_g)
        self._heat: Heat = heat
        self._full: Contents | None = None
        self.time_min = 0.0
        self.whole_kg = 0.0
        self.coldest_k = temperature_k
        self.pressure_kpa = math.nan
        self.times: list[float] = []
        self.pressures: list[float] = []
        if receivers:
            start = kpa_of(min(one.pressure_bar_g for one in receivers))
            volume = math.fsum(one.volume_l for one in receivers)
            self._full = filling.contents(volume, start, temperature_k)
            self._mass = self._full.mass_kg
            self.pressure_kpa = start
            self.whole_kg = self._mass - filling.mass_at_kg(self._full, self._least_kpa, heat)
            self._note()

    @property
    def too_low(self) -> bool:
        """Whether the lowest pressure in use is below the least from the beginning."""
        return self._full is not None and self._full.pressure_kpa < self._least_kpa

    def fall_to(self, pressure_kpa: float, until_min: float) -> None:
        """Let the receivers empty down to a pressure, or until a moment, whichever is first."""
        if self._full is None or self.pressure_kpa <= pressure_kpa:
            return
        low = filling.mass_at_kg(self._full, max(pressure_kpa, self._least_kpa), self._heat)
        most = (until_min - self.time_min) * self._draw_kg_min
        gone = min(self._mass - low, max(most, 0.0))
        if gone <= 0.0:
            return
        begin, mass = self.time_min, self._mass
        for step in range(1, _POINTS + 1):
            self._mass = mass - gone * step / _POINTS
            held = filling.drawn(self._full, self._mass, self._heat)
            self.time_min = begin + gone * step / _POINTS / self._draw_kg_min
            self.pressure_kpa = held.pressure_kpa
            self.coldest_k = min(self.coldest_k, held.temperature_k)
            self._note()

    def feed(self, one: Reserve, usable_kg: float) -> Feed:
        """Let a reserve step in."""
        outlet = kpa_of(one.outlet_bar_g)
        if self.too_low:
            return Feed(one.name, usable_kg, why_not="the pressure is too low before it steps in")
        if outlet < self._least_kpa:
            return Feed(
                one.name,
                usable_kg,
                why_not=f"its regulator holds {one.outlet_bar_g:g} bar(g), less than the least "
                f"pressure of {filling.bar_g_of(self._least_kpa):.2f} bar(g)",
            )
        opens = one.opens_after_min or 0.0
        self.fall_to(outlet, math.inf)
        self.fall_to(self._least_kpa, opens)
        if self.time_min < opens:
            return Feed(
                one.name,
                usable_kg,
                why_not=f"it is open only after {opens:g} min, when the pressure is too low already",
            )
        if usable_kg <= 0.0:
            return Feed(one.name, 0.0, why_not="its cylinders are at the lowest inlet pressure")
        begin = self.time_min
        if self._full is None:
            self.pressure_kpa = outlet
        self._note()
        self.time_min += usable_kg / self._draw_kg_min
        self._note()
        return Feed(one.name, usable_kg, begin, self.time_min)

    def _note(self) -> None:
        pressure = filling.bar_g_of(self.pressure_kpa)
        if self.times and (self.times[-1], self.pressures[-1]) == (self.time_min, pressure):
            return
        self.times.append(self.time_min)
        self.pressures.append(pressure)


def _usable_kg(one: Reserve, temperature_k: float, heat: Heat) -> float:
    held = filling.contents(one.whole_volume_l, kpa_of(one.pressure_bar_g), temperature_k)
    return held.mass_kg - filling.mass_at_kg(held, kpa_of(one.lowest_inlet_bar_g), heat)


def _check(
    receivers: Sequence[Receiver],
    reserves: Sequence[Reserve],
    draw_kg_s: float,
    least_bar_g: float,
    temperature_c: float,
) -> None:
    if not receivers and not reserves:
        raise PlantError(
            "the plant sheet has neither a [[receiver]] nor a [[reserve]], so nothing holds air when "
            "the compressor stops. Add what there is."
        )
    if not (math.isfinite(draw_kg_s) and draw_kg_s > 0.0):
        raise PlantError(
            f"a draw of {draw_kg_s:g} kg/s cannot be. Say who is on the air and what they need."
        )
    if not 0.0 <= least_bar_g <= 50.0:  # noqa: PLR2004 - as the docstring says
        raise PlantError(
            f"a least pressure of {least_bar_g:g} bar(g) cannot be used; allowed is 0 to 50 bar(g). "
            "Check the pressures of the wearers."
        )
    if not -30.0 <= temperature_c <= 80.0:  # noqa: PLR2004 - as the docstring says
        raise PlantError(
            f"an air temperature of {temperature_c:g} °C cannot be used; allowed is -30 to 80 °C."
        )
