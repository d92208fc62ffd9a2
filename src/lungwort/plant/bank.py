"""Filling cylinders from a bank: how many, in which order, how hot, and what is left in each.

A cylinder is joined to one member of the bank after the other. In a *cascade* the member with the
lowest pressure that is still above that of the cylinder comes first, so that the highest are kept
for the last bars. The valve is shut when the cylinder's gauge shows the pressure asked for; it is
never let beyond it, hot or cold.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, Literal

from attrs import evolve, frozen

from lungwort.air.gas import ZERO_CELSIUS_K
from lungwort.errors import PlantError
from lungwort.plant import filling
from lungwort.plant.filling import FAST, SLOW, Contents, Heat, Wall, kpa_of
from lungwort.plant.reading import count, named_tables, needed
from lungwort.tomlfile import Table

if TYPE_CHECKING:
    from collections.abc import Sequence

KEYS_TOP: Final = ("bank", "fill")

Order = Literal["lowest first", "highest first", "as one"]
LOWEST_FIRST: Final = "lowest first"
HIGHEST_FIRST: Final = "highest first"
AS_ONE: Final = "as one"
ORDERS: Final[tuple[Order, ...]] = (LOWEST_FIRST, AS_ONE, HIGHEST_FIRST)

MOST_FILLS: Final = 300
"""Fills after which counting stops [1]."""
MOST_ROUNDS: Final = 8
"""How often a cylinder that has cooled is filled up again [1]."""
FULL_WITHIN_BAR: Final = 0.5
"""How far below the pressure asked for a cooled cylinder still counts as full [bar]; own rule."""

_BANK: Final = ("name", "cylinders", "volume_l", "pressure_bar_g", "temperature_c")
_FILL: Final = (
    "cylinder_l",
    "from_bar_g",
    "to_bar_g",
    "minutes",
    "temperature_c",
    "wall_kg",
    "wall_j_kg_k",
)


@frozen(kw_only=True)
class Bank:
    """One member of a bank: cylinders that are joined and opened together.

    Parameters
    ----------
    name : str
        Its name.
    cylinders : int
        How many [1].
    volume_l : float
        Water volume of one [L].
    pressure_bar_g : float
        Pressure in them [bar(g)].
    temperature_c : float, optional
        Temperature of the air in them when the pressure was read [°C]; None where the pressure is
        taken as settled at the temperature of the place.
    """

    name: str
    cylinders: int
    volume_l: float
    pressure_bar_g: float
    temperature_c: float | None = None

    @property
    def whole_volume_l(self) -> float:
        """Water volume of all its cylinders [L]."""
        return self.cylinders * self.volume_l


@frozen(kw_only=True)
class Fill:
    """What is filled.

    Parameters
    ----------
    cylinder_l : float
        Water volume of a cylinder that is filled [L].
    from_bar_g, to_bar_g : float
        Pressure with which it comes, and that which is asked for, at ``temperature_c``; the second
        is never gone beyond [bar(g)].
    minutes : float, optional
        How long one filling takes [min].
    temperature_c : float
        Temperature of the room, and of all cylinders before [°C].
    wall_kg : float, optional
        Mass of the empty cylinder [kg].
    wall_j_kg_k : float
        Heat capacity of its material; steel where nothing is given [J/(kg K)].
    """

    cylinder_l: float
    from_bar_g: float
    to_bar_g: float
    minutes: float | None = None
    temperature_c: float = 20.0
    wall_kg: float | None = None
    wall_j_kg_k: float = filling.STEEL_J_KG_K


@frozen(kw_only=True)
class Filled:
    """What came of filling one cylinder.

    Parameters
    ----------
    number : int
        Which one, from 1 [1].
    gauge_bar_g : float
        Pressure when it was first shut, hot [bar(g)].
    hottest_c : float
        Highest temperature of the air in it [°C].
    settled_bar_g : float
        Pressure after it was shut the first time and had cooled [bar(g)].
    ended_bar_g : float
        Pressure when it had been filled up as often as it takes, cooled [bar(g)].
    rounds : int
        How often it was joined to the bank [1].
    full : bool
        Whether it got the pressure asked for, settled.
    banks_bar_g : tuple of float
        Pressure in every member afterwards, settled, in the order of the sheet [bar(g)].
    """

    number: int
    gauge_bar_g: float
    hottest_c: float
    settled_bar_g: float
    ended_bar_g: float
    rounds: int
    full: bool
    banks_bar_g: tuple[float, ...]


@frozen(kw_only=True)
class Run:
    """One cylinder after the other, until none can be filled any more.

    Parameters
    ----------
    order : str
        One of `ORDERS`.
    heat : str
        ``slow`` or ``fast``, see `lungwort.plant.filling`.
    with_wall : bool
        Whether the wall of the cylinder took up heat.
    fills : tuple of Filled
        The full ones, and the first that did not become full.
    stopped : bool
        Whether counting stopped at `MOST_FILLS`, so that there may be more.
    """

    order: Order
    heat: Heat
    with_wall: bool
    fills: tuple[Filled, ...]
    stopped: bool

    @property
    def full(self) -> int:
        """How many became full [1]."""
        return sum(one.full for one in self.fills)


def read_banks(top: Table) -> tuple[Bank, ...]:
    """Read the members of the bank from a plant sheet.

    Parameters
    ----------
    top : Table
        The top of the sheet; mistakes are noted there.

    Returns
    -------
    tuple of Bank
        Those without a mistake.
    """
    found = []
    for table in named_tables(top, "bank", _BANK):
        cylinders = count(table, "cylinders")
        volume = needed(table, "volume_l", (0.1, 1e4), "L")
        pressure = needed(table, "pressure_bar_g", (0.1, 450.0), "bar(g)")
        warm = table.number("temperature_c", -30.0, 80.0, "°C")
        if cylinders is not None and volume is not None and pressure is not None:
            found.append(
                Bank(
                    temperature_c=warm,
                    name=table.text("name"),
                    cylinders=cylinders,
                    volume_l=volume,
                    pressure_bar_g=pressure,
                )
            )
    return tuple(found)


def read_fill(top: Table) -> Fill | None:
    """Read what is filled from a plant sheet.

    Parameters
    ----------
    top : Table
        The top of the sheet; mistakes are noted there.

    Returns
    -------
    Fill or None
        None where the sheet does not say, or has a mistake.
    """
    given = top.values.get("fill")
    if given is None:
        return None
    if not isinstance(given, dict):
        top.wrong("fill", "is one table. Write [fill] and its keys below it.")
        return None
    table = Table(given, (), "[fill]", top.mistakes)
    table.known(_FILL)
    volume = needed(table, "cylinder_l", (0.1, 1000.0), "L")
    low = needed(table, "from_bar_g", (0.0, 450.0), "bar(g)")
    high = needed(table, "to_bar_g", (0.1, 450.0), "bar(g)")
    temperature = table.number("temperature_c", -30.0, 80.0, "°C")
    capacity = table.number("wall_j_kg_k", 100.0, 3000.0, "J/(kg K)")
    minutes = table.number("minutes", 0.01, 1440.0, "min")
    wall = table.number("wall_kg", 0.1, 500.0, "kg")
    if volume is None or low is None or high is None:
        return None
    if high <= low:
        table.wrong("to_bar_g", f"found {high:g}, which is not above from_bar_g ({low:g}).")
        return None
    return Fill(
        cylinder_l=volume,
        from_bar_g=low,
        to_bar_g=high,
        minutes=minutes,
        temperature_c=20.0 if temperature is None else temperature,
        wall_kg=wall,
        wall_j_kg_k=filling.STEEL_J_KG_K if capacity is None else capacity,
    )


def run(
    banks: Sequence[Bank],
    fill: Fill,
    *,
    order: Order = LOWEST_FIRST,
    heat: Heat = SLOW,
    with_wall: bool = False,
) -> Run:
    """Fill one cylinder after the other until one does not become full.

    Parameters
    ----------
    banks : sequence of Bank
        Members of the bank; at least one.
    fill : Fill
        What is filled; every cylinder comes with the same pressure.
    order : str
        ``lowest first``: the cascade. ``highest first``: the other way round. ``as one``: all
        members are joined for good.
    heat : str
        ``slow``: everything stays at the temperature of the room. ``fast``: no heat leaves the air
        while it flows; after it is shut, cylinder and bank come to the temperature of the room,
        and the cylinder is filled up again, `MOST_ROUNDS` times at most.
    with_wall : bool
        With ``fast``: whether the wall of the cylinder comes to one temperature with its air.

    Returns
    -------
    Run
        Every filling, and what is left in the bank after each.

    Raises
    ------
    PlantError
        Where there is no bank, the pressures are no rising step, or the wall is not known.
    RangeError
        Where a volume, pressure or temperature is out of range.

    References
    ----------
    First law for an open rigid vessel (Moran and Shapiro, from memory); air as a real gas, Lemmon
    et al. 2000, through CoolProp (computed).
    """
    _check(banks, fill)
    if with_wall and fill.wall_kg is None:
        raise PlantError("the mass of the cylinder's wall is not known. Give wall_kg in [fill].")
    wall = Wall(fill.wall_kg, fill.wall_j_kg_k) if with_wall and fill.wall_kg else None
    temperature_k = fill.temperature_c + ZERO_CELSIUS_K
    vessels = [held_by(one, temperature_k) for one in banks]
    fills: list[Filled] = []
    while len(fills) < MOST_FILLS:
        if order == AS_ONE:
            joined = filling.pooled(tuple(vessels))
            vessels = [_part(joined, one.volume_l) for one in vessels]
        done, vessels = _fill_one(vessels, fill, order, heat, wall)
        fills.append(evolve(done, number=len(fills) + 1))
        if not done.full:
            break
    return Run(
        order=order,
        heat=heat,
        with_wall=wall is not None,
        fills=tuple(fills),
        stopped=len(fills) == MOST_FILLS and fills[-1].full,
    )


def held_by(one: Bank, room_k: float) -> Contents:
    """Tell what a member of the bank holds, settled at the temperature of the place.

    Parameters
    ----------
    one : Bank
        The member.
    room_k : float
        Temperature of the place [K].

    Returns
    -------
    Contents
        Air that was warmer when its pressure was read settles lower; where it was colder, nothing is
        gained from its warming.
    """
    pressure = kpa_of(one.pressure_bar_g)
    plain = filling.contents(one.whole_volume_l, pressure, room_k)
    if one.temperature_c is None or one.temperature_c + ZERO_CELSIUS_K <= room_k:
        return plain
    warm = filling.contents(one.whole_volume_l, pressure, one.temperature_c + ZERO_CELSIUS_K)
    return filling.settled(warm, room_k)


def _fill_one(
    vessels: list[Contents], fill: Fill, order: Order, heat: Heat, wall: Wall | None
) -> tuple[Filled, list[Contents]]:
    room_k = fill.temperature_c + ZERO_CELSIUS_K
    until = kpa_of(fill.to_bar_g)
    cylinder = filling.contents(fill.cylinder_l, kpa_of(fill.from_bar_g), room_k)
    first: tuple[float, float] | None = None
    hottest = room_k
    rounds = 0
    while rounds < (MOST_ROUNDS if heat == FAST else 1):
        before = cylinder.mass_kg
        cylinder, vessels, warmest = _round(cylinder, vessels, until, order, heat, wall)
        rounds += 1
        hottest = max(hottest, warmest)
        gauge = cylinder.pressure_bar_g
        cylinder = filling.settled(cylinder, room_k)
        vessels = [filling.settled(one, room_k) for one in vessels]
        first = first or (gauge, cylinder.pressure_bar_g)
        if _is_full(cylinder, fill) or cylinder.mass_kg - before < 1e-6 * before:
            break
    gauge, settled = first or (cylinder.pressure_bar_g, cylinder.pressure_bar_g)
    return (
        Filled(
            number=0,
            gauge_bar_g=gauge,
            hottest_c=hottest - ZERO_CELSIUS_K,
            settled_bar_g=settled,
            ended_bar_g=cylinder.pressure_bar_g,
            rounds=rounds,
            full=_is_full(cylinder, fill),
            banks_bar_g=tuple(one.pressure_bar_g for one in vessels),
        ),
        vessels,
    )


def _round(
    cylinder: Contents,
    vessels: list[Contents],
    until_kpa: float,
    order: Order,
    heat: Heat,
    wall: Wall | None,
) -> tuple[Contents, list[Contents], float]:
    """Join a cylinder to every member once; tells also how hot it became."""
    after = list(vessels)
    hottest = cylinder.temperature_k
    if order == AS_ONE:
        joined = filling.pooled(tuple(vessels))
        moved = filling.transfer(joined, cylinder, until_kpa=until_kpa, heat=heat, wall=wall)
        parts = [_part(moved.source, one.volume_l) for one in vessels]
        return moved.target, parts, max(hottest, moved.target.temperature_k)
    by_pressure = sorted(range(len(vessels)), key=lambda at: vessels[at].pressure_kpa)
    for at in by_pressure if order == LOWEST_FIRST else reversed(by_pressure):
        moved = filling.transfer(after[at], cylinder, until_kpa=until_kpa, heat=heat, wall=wall)
        after[at], cylinder = moved.source, moved.target
        hottest = max(hottest, cylinder.temperature_k)
        if moved.reached:
            break
    return cylinder, after, hottest


def _part(whole: Contents, volume_l: float) -> Contents:
    share = volume_l / whole.volume_l
    return evolve(
        whole,
        volume_l=volume_l,
        mass_kg=whole.mass_kg * share,
        energy_kj=whole.energy_kj * share,
    )


def _is_full(cylinder: Contents, fill: Fill) -> bool:
    return cylinder.pressure_bar_g >= fill.to_bar_g - FULL_WITHIN_BAR


def _check(banks: Sequence[Bank], fill: Fill) -> None:
    if not banks:
        raise PlantError("there is no bank to fill from. Add a [[bank]] to the plant sheet.")
    ends = (fill.from_bar_g, fill.to_bar_g)
    if not all(math.isfinite(one) for one in ends) or not 0.0 <= ends[0] < ends[1]:
        raise PlantError(
            f"a filling from {ends[0]:g} to {ends[1]:g} bar(g) cannot be worked out. Give two gauge "
            "pressures, the lower first."
        )
