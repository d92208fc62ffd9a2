"""Air that leaves one vessel and fills another: mass, energy and heat, as a real gas.

Two ends are worked out, between which every real filling or emptying lies. *Slow*: all heat goes to
the walls and to the room, the temperature stays as it was. *Fast*: no heat leaves the air, so that
what is filled becomes hot and what is emptied becomes cold. With the mass of the cylinder's wall,
the state in which wall and air have come to one temperature lies between them.

For both vessels together the first law holds without steps: nothing leaves the two, so the sum of
the internal energies stays. The air that remains in the vessel that gives expands at constant
entropy.

References
----------
M. J. Moran, H. N. Shapiro, Fundamentals of Engineering Thermodynamics, chapters 4 and 6: first law
for an open rigid vessel, and constant entropy of what remains in it; from memory. Properties of dry
air: E. W. Lemmon et al., J. Phys. Chem. Ref. Data 29 (2000) 331, through CoolProp; computed.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final, Literal

from attrs import field, frozen

from lungwort.air.units import ATMOSPHERE_KPA
from lungwort.errors import PlantError, RangeError

if TYPE_CHECKING:
    from collections.abc import Callable

Heat = Literal["slow", "fast"]
SLOW: Final = "slow"
FAST: Final = "fast"

PRESSURE_RANGE_KPA: Final = (1.0, 50_000.0)
TEMPERATURE_RANGE_K: Final = (223.15, 373.15)
VOLUME_RANGE_L: Final = (0.1, 1e6)
COLDEST_K: Final = 140.0
"""Where the cooling of air that expands without heat is stopped [K]: just above the critical point
(132.5 K), below which it could become liquid. No wall lets a cylinder in use become that cold."""
STEEL_J_KG_K: Final = 460.0
"""Heat capacity of steel [J/(kg K)]; from memory."""
_STEPS: Final = 60
_ALIKE: Final = 1e-9
_COLDER_K: Final = (30.0, 60.0, 90.0, 120.0, 160.0)


@frozen
class Contents:
    """The air in a vessel.

    Parameters
    ----------
    volume_l : float
        Water volume [L].
    mass_kg : float
        Mass of the air [kg].
    temperature_k : float
        Its temperature [K].
    pressure_kpa : float
        Its absolute pressure [kPa(a)].
    energy_kj : float
        Its internal energy; only differences mean something [kJ].
    entropy_kj_kg_k : float
        Its specific entropy; only differences mean something [kJ/(kg K)].
    """

    volume_l: float
    mass_kg: float
    temperature_k: float
    pressure_kpa: float
    energy_kj: float = field(repr=False)
    entropy_kj_kg_k: float = field(repr=False)

    @property
    def density_kg_m3(self) -> float:
        """Density [kg/m³]."""
        return self.mass_kg / self.volume_l * 1000.0

    @property
    def pressure_bar_g(self) -> float:
        """Gauge pressure [bar(g)]."""
        return bar_g_of(self.pressure_kpa)


@frozen
class Wall:
    """The wall of a cylinder, which takes up heat.

    Parameters
    ----------
    mass_kg : float
        Mass of the empty cylinder [kg].
    heat_capacity_j_kg_k : float
        Of its material [J/(kg K)].
    """

    mass_kg: float
    heat_capacity_j_kg_k: float = STEEL_J_KG_K

    @property
    def capacity_kj_k(self) -> float:
        """Heat that warms it by one kelvin [kJ/K]."""
        return self.mass_kg * self.heat_capacity_j_kg_k / 1000.0


@frozen
class Transfer:
    """What became of two vessels after the valve between them was open.

    Parameters
    ----------
    source, target : Contents
        The vessel that gave, and the one that took.
    moved_kg : float
        Air that went over [kg].
    reached : bool
        Whether the one that took came to the pressure at which the valve is shut; otherwise both
        stand at one pressure.
    """

    source: Contents
    target: Contents
    moved_kg: float
    reached: bool


def kpa_of(pressure_bar_g: float) -> float:
    """Give the absolute pressure of a gauge pressure, against 1 atm.

    Parameters
    ----------
    pressure_bar_g : float
        Gauge pressure [bar(g)].

    Returns
    -------
    float
        Absolute pressure [kPa(a)].
    """
    return pressure_bar_g * 100.0 + ATMOSPHERE_KPA


def bar_g_of(pressure_kpa: float) -> float:
    """Give the gauge pressure of an absolute pressure, against 1 atm.

    Parameters
    ----------
    pressure_kpa : float
        Absolute pressure [kPa(a)].

    Returns
    -------
    float
        Gauge pressure [bar(g)].
    """
    return (pressure_kpa - ATMOSPHERE_KPA) / 100.0


def contents(volume_l: float, pressure_kpa: float, temperature_k: float) -> Contents:
    """Tell what a vessel holds.

    Parameters
    ----------
    volume_l : float
        Water volume, 0.1 to 1 000 000 [L].
    pressure_kpa : float
        Absolute pressure, 1 to 50 000 [kPa(a)].
    temperature_k : float
        Temperature of the air, 223.15 to 373.15 [K].

    Returns
    -------
    Contents
        Mass and energy of the air in it.

    Raises
    ------
    RangeError
        Where a value is out of range or no number.

    Examples
    --------
    >>> held = contents(50.0, 20_000.0, 293.15)
    >>> round(held.mass_kg, 2)
    11.58
    """
    _within("water volume", volume_l, VOLUME_RANGE_L, "L")
    _within("absolute pressure of the air", pressure_kpa, PRESSURE_RANGE_KPA, "kPa(a)")
    _within("temperature of the air", temperature_k, TEMPERATURE_RANGE_K, "K")
    air = _Air()
    return air.contents(volume_l, air.density(pressure_kpa, temperature_k), temperature_k)


def settled(held: Contents, temperature_k: float) -> Contents:
    """Tell what the pressure is when the air has come to another temperature.

    Parameters
    ----------
    held : Contents
        Air in a closed vessel.
    temperature_k : float
        Temperature to which it comes, 223.15 to 373.15 [K].

    Returns
    -------
    Contents
        The same air at that temperature.

    Raises
    ------
    RangeError
        Where the temperature is out of range.
    """
    _within("temperature of the air", temperature_k, TEMPERATURE_RANGE_K, "K")
    return _Air().contents(held.volume_l, held.density_kg_m3, temperature_k)


def drawn(held: Contents, mass_left_kg: float, heat: Heat) -> Contents:
    """Tell what remains after air was drawn from a vessel.

    Parameters
    ----------
    held : Contents
        Air before.
    mass_left_kg : float
        Air that remains, more than 0 and at most what there was [kg].
    heat : str
        ``slow`` for a constant temperature, ``fast`` for no heat from the wall, down to 140 K.

    Returns
    -------
    Contents
        Air after.

    Raises
    ------
    PlantError
        Where more should remain than there was, or nothing.
    """
    if not 0.0 < mass_left_kg <= held.mass_kg * (1 + 1e-12):
        raise PlantError(
            f"{mass_left_kg:g} kg of air cannot remain of {held.mass_kg:g} kg. Draw less, and not all."
        )
    return _Air().drawn(held, mass_left_kg, heat)


def mass_at_kg(held: Contents, pressure_kpa: float, heat: Heat) -> float:
    """Tell how much remains in a vessel when it has been drawn down to a pressure.

    Parameters
    ----------
    held : Contents
        Air before.
    pressure_kpa : float
        Absolute pressure down to which it is drawn; where it is not below the pressure there is,
        nothing can be drawn [kPa(a)].
    heat : str
        ``slow`` or ``fast``, as `drawn`.

    Returns
    -------
    float
        Mass of the air that remains [kg].

    Raises
    ------
    RangeError
        Where the pressure is out of range.
    """
    _within("absolute pressure of the air", pressure_kpa, PRESSURE_RANGE_KPA, "kPa(a)")
    if pressure_kpa >= held.pressure_kpa:
        return held.mass_kg
    air = _Air()
    if heat == SLOW:
        return air.density(pressure_kpa, held.temperature_k) * held.volume_l / 1000.0
    return _root(
        lambda mass: air.drawn(held, mass, heat).pressure_kpa - pressure_kpa,
        held.mass_kg * pressure_kpa / held.pressure_kpa * 1e-2,
        held.mass_kg,
    )


def transfer(
    source: Contents,
    target: Contents,
    *,
    until_kpa: float,
    heat: Heat,
    wall: Wall | None = None,
) -> Transfer:
    """Open a valve from one vessel to another until a pressure is reached or both stand at one.

    Parameters
    ----------
    source, target : Contents
        The vessel that gives, and the one that takes.
    until_kpa : float
        Pressure of the one that takes at which the valve is shut [kPa(a)].
    heat : str
        ``slow``: both keep their temperatures. ``fast``: no heat leaves the air.
    wall : Wall, optional
        With ``fast``: the wall of the one that takes, which comes to one temperature with its air,
        from the temperature that the air had before.

    Returns
    -------
    Transfer
        Both vessels after.

    Raises
    ------
    RangeError
        Where the pressure is out of range.
    """
    _within("pressure at which the valve is shut", until_kpa, PRESSURE_RANGE_KPA, "kPa(a)")
    # Pressures that differ by the last digit of a number are one pressure: nothing flows.
    if target.pressure_kpa >= until_kpa * (1 - _ALIKE):
        return Transfer(source, target, 0.0, reached=True)
    if source.pressure_kpa <= target.pressure_kpa * (1 + _ALIKE):
        return Transfer(source, target, 0.0, reached=False)
    air = _Air()

    def after(moved: float) -> tuple[Contents, Contents]:
        left = air.drawn(source, source.mass_kg - moved, heat)
        if heat == SLOW:
            density = (target.mass_kg + moved) / target.volume_l * 1000.0
            return left, air.contents(target.volume_l, density, target.temperature_k)
        energy = target.energy_kj + source.energy_kj - left.energy_kj
        return left, air.warmed(target, target.mass_kg + moved, energy, wall)

    def beyond(moved: float) -> float:
        left, filled = after(moved)
        return filled.pressure_kpa - min(left.pressure_kpa, until_kpa)

    most = source.mass_kg * 0.9999
    # What comes out of a bank that is nearly empty is cold, and cold air is dense.
    for colder_k in _COLDER_K:
        coldest = max(target.temperature_k - colder_k, COLDEST_K)
        densest = air.density(until_kpa, coldest) * target.volume_l / 1000.0
        high = min(most, densest - target.mass_kg)
        if high >= most or beyond(high) > 0.0:
            break
    moved = _root(beyond, 0.0, high)
    left, filled = after(moved)
    reached = left.pressure_kpa >= until_kpa * (1 - _ALIKE)
    return Transfer(left, filled, moved, reached=reached)


def pooled(vessels: tuple[Contents, ...]) -> Contents:
    """Tell what is in vessels of one temperature when they are joined and have settled.

    Parameters
    ----------
    vessels : tuple of Contents
        The vessels; at least one.

    Returns
    -------
    Contents
        All of their air in all of their volume, at the temperature of the first.

    Raises
    ------
    PlantError
        Where there is none.
    """
    if not vessels:
        raise PlantError("there is no vessel to join. Name at least one.")
    volume = math.fsum(one.volume_l for one in vessels)
    mass = math.fsum(one.mass_kg for one in vessels)
    return _Air().contents(volume, mass / volume * 1000.0, vessels[0].temperature_k)


class _Air:
    """Properties of dry air by density and temperature, always above its critical temperature."""

    def __init__(self) -> None:
        from CoolProp import CoolProp as library  # noqa: PLC0415, N813 - heavy; its own name is taken

        self._state: Any = library.AbstractState("HEOS", "Air")
        self._state.specify_phase(library.iphase_supercritical_gas)
        self._by_density = library.DmassT_INPUTS
        self._by_pressure = library.PT_INPUTS

    def density(self, pressure_kpa: float, temperature_k: float) -> float:
        self._state.update(self._by_pressure, pressure_kpa * 1000.0, temperature_k)
        return float(self._state.rhomass())

    def contents(self, volume_l: float, density_kg_m3: float, temperature_k: float) -> Contents:
        self._state.update(self._by_density, density_kg_m3, temperature_k)
        mass = density_kg_m3 * volume_l / 1000.0
        return Contents(
            volume_l=volume_l,
            mass_kg=mass,
            temperature_k=temperature_k,
            pressure_kpa=self._state.p() / 1000.0,
            energy_kj=mass * self._state.umass() / 1000.0,
            entropy_kj_kg_k=self._state.smass() / 1000.0,
        )

    def drawn(self, held: Contents, mass_kg: float, heat: Heat) -> Contents:
        density = mass_kg / held.volume_l * 1000.0
        temperature = held.temperature_k
        if heat == FAST:
            temperature = max(self._isentropic(held, density), COLDEST_K)
        return self.contents(held.volume_l, density, temperature)

    def warmed(
        self, before: Contents, mass_kg: float, energy_kj: float, wall: Wall | None
    ) -> Contents:
        """Find the temperature at which the air, with the wall, holds the energy."""
        density = mass_kg / before.volume_l * 1000.0
        capacity = wall.capacity_kj_k if wall else 0.0

        def step(temperature: float) -> float:
            self._state.update(self._by_density, density, temperature)
            more = mass_kg * self._state.umass() / 1000.0 - energy_kj
            more += capacity * (temperature - before.temperature_k)
            return float(more / (mass_kg * self._state.cvmass() / 1000.0 + capacity))

        return self.contents(before.volume_l, density, _newton(step, before.temperature_k))

    def _isentropic(self, held: Contents, density: float) -> float:
        def step(temperature: float) -> float:
            self._state.update(self._by_density, density, temperature)
            more = self._state.smass() / 1000.0 - held.entropy_kj_kg_k
            return float(more / (self._state.cvmass() / 1000.0 / temperature))

        start = held.temperature_k * (density / held.density_kg_m3) ** 0.4
        return _newton(step, max(start, COLDEST_K))


def _newton(step: Callable[[float], float], start: float) -> float:
    """Find a temperature; it is not sought below the coldest that is told."""
    temperature = start
    for _ in range(_STEPS):
        change = step(temperature)
        new = max(temperature - change, COLDEST_K)
        if abs(new - temperature) < 1e-9 * temperature:
            return new
        temperature = new
    raise PlantError(
        f"the temperature of the air was not found from {start:.0f} K on. Check pressures and volumes."
    )


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Find where a function that changes its sign once is zero."""
    from scipy.optimize import brentq  # noqa: PLC0415 - heavy

    if function(low) * function(high) > 0:
        raise PlantError(
            "no balance of pressures was found between the vessels. Check pressures and volumes."
        )
    return float(brentq(function, low, high, xtol=1e-12, rtol=1e-12))


def _within(what: str, value: float, ends: tuple[float, float], unit: str) -> None:
    low, high = ends
    if not low <= value <= high:
        raise RangeError(
            f"{what}: found {value:g} {unit}, allowed is {low:g} to {high:g} {unit}. "
            "Check the value, its unit, and whether a pressure is gauge or absolute."
        )
