"""How much air the lines lose, from the fall of their pressure with nobody on the air.

Through a small hole at more than about twice the pressure outside, air flows as fast as it can, and
its mass flow is proportional to the absolute pressure. The mass in the lines then falls as exp(-k t),
and k gives the loss at any working pressure.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air.gas import ZERO_CELSIUS_K
from lungwort.errors import PlantError
from lungwort.plant.free_air import FREE_PRESSURE_PA, FREE_TEMPERATURE_K
from lungwort.plant.reading import needed
from lungwort.tomlfile import Table

if TYPE_CHECKING:
    from collections.abc import Sequence

KEYS_TOP: Final = ("leak_test",)
_LEAK_TEST: Final = (
    "volume_l",
    "from_bar_g",
    "to_bar_g",
    "minutes",
    "temperature_from_c",
    "temperature_to_c",
    "resolution_bar",
    "part",
)
ASSUMED_RESOLUTION_BAR: Final = 0.1
"""Smallest step of the gauge where it is not given [bar]; common practice, no source."""
TEMPERATURE_READ_K: Final = 0.5
"""Half the last digit of a thermometer that shows whole degrees [K]; own rule."""
TEMPERATURE_UNKNOWN_K: Final = 2.0
"""By how much the air may have warmed or cooled in a test without temperatures [K]; own rule."""
LEAST_CHOKED_BAR_G: Final = 0.95
"""Below it air no longer flows through a hole as fast as it can: (1/0.528 - 1) of 1.013 bar, rounded
up [bar(g)]; 0.528 is (2/2.4)^3.5 for air."""
_PA: Final = 1e5


@frozen(kw_only=True)
class LeakTest:
    """A decay test: all shut, nobody on the air.

    Parameters
    ----------
    volume_l : float
        Volume of receiver and lines that was shut off, 0.1 to 1e6 [L].
    from_bar_g, to_bar_g : float
        Pressure at the beginning and at the end, 0 to 450 [bar(g)].
    minutes : float
        How long it took, 0.1 to 10 000 [min].
    temperature_from_c, temperature_to_c : float, optional
        Temperature of the air in the lines at the beginning and at the end [°C].
    resolution_bar : float
        Smallest step of the gauge, 0.0001 to 5 [bar].
    part : str
        Which part of the lines; tests of one part are repeats, parts are added up.
    """

    volume_l: float
    from_bar_g: float
    to_bar_g: float
    minutes: float
    temperature_from_c: float | None = None
    temperature_to_c: float | None = None
    resolution_bar: float = ASSUMED_RESOLUTION_BAR
    part: str = ""

    def __attrs_post_init__(self) -> None:
        """Refuse what cannot be."""
        for value, low, high, what, unit in (
            (self.volume_l, 0.1, 1e6, "the volume", "L"),
            (self.from_bar_g, 0.0, 450.0, "the pressure at the beginning", "bar(g)"),
            (self.to_bar_g, 0.0, 450.0, "the pressure at the end", "bar(g)"),
            (self.minutes, 0.1, 10_000.0, "the time", "min"),
            (self.resolution_bar, 0.0001, 5.0, "the step of the gauge", "bar"),
        ):
            if not low <= value <= high:
                raise PlantError(
                    f"leak test: {what} is {value:g} {unit}; {low:g} to {high:g} {unit} is allowed."
                )


@frozen(kw_only=True)
class Leakage:
    """Air that the lines lose.

    Parameters
    ----------
    low_l_min, likely_l_min, high_l_min : float
        Free air at the working pressure [L/min].
    at_bar_g : float
        The working pressure [bar(g)].
    with_temperatures : bool
        Whether temperatures were measured in every test that counts.
    doubts : tuple of str
        Why the figure may be too low all the same; empty for none.
    """

    low_l_min: float
    likely_l_min: float
    high_l_min: float
    at_bar_g: float
    with_temperatures: bool
    doubts: tuple[str, ...] = ()


def read_leak_tests(top: Table) -> tuple[LeakTest, ...]:
    """Read decay tests from a plant sheet.

    Parameters
    ----------
    top : Table
        The top of the sheet; mistakes are noted there.

    Returns
    -------
    tuple of LeakTest
        Those without a mistake.
    """
    found = []
    for at, values in enumerate(top.tables("leak_test"), start=1):
        table = Table(values, (), f"[[leak_test]] number {at}", top.mistakes)
        before = len(top.mistakes.found)
        table.known(_LEAK_TEST)
        volume = needed(table, "volume_l", (0.1, 1e6), "L")
        begin = needed(table, "from_bar_g", (0.01, 450.0), "bar(g)")
        end = needed(table, "to_bar_g", (0.0, 450.0), "bar(g)")
        minutes = needed(table, "minutes", (0.1, 10_000.0), "min")
        first, last = (table.number(key, -50.0, 80.0, "°C") for key in _LEAK_TEST[4:6])
        step = table.number("resolution_bar", 0.0001, 5.0, "bar")
        part = table.text("part")
        if (first is None) != (last is None):
            table.wrong(
                "temperature_from_c" if first is None else "temperature_to_c",
                "is missing. Give both temperatures, or none.",
            )
        if begin is not None and end is not None and end > begin and first is None:
            table.wrong(
                "to_bar_g",
                f"found {end:g}, above from_bar_g ({begin:g}): the pressure rose. Test again with "
                "the compressor shut off, or give both temperatures.",
            )
        if len(top.mistakes.found) > before or None in {volume, begin, end, minutes}:
            continue
        found.append(
            LeakTest(
                volume_l=volume or 0.0,
                from_bar_g=begin or 0.0,
                to_bar_g=end or 0.0,
                minutes=minutes or 0.0,
                temperature_from_c=first,
                temperature_to_c=last,
                resolution_bar=ASSUMED_RESOLUTION_BAR if step is None else step,
                part=part,
            )
        )
    return tuple(found)


def leakage(
    tests: Sequence[LeakTest],
    at_bar_g: float,
    *,
    air_c: float = 20.0,
    atmosphere_pa: float = FREE_PRESSURE_PA,
) -> Leakage:
    """Give the loss at a working pressure.

    Parameters
    ----------
    tests : sequence of LeakTest
        At least one. Of tests of one part the one with the greatest loss counts; parts are added.
    at_bar_g : float
        Working pressure of the lines, above 0 to 450 [bar(g)].
    air_c : float
        Temperature of the air in the lines in use [°C].
    atmosphere_pa : float
        Pressure of the air outside, 50 000 to 110 000 [Pa(a)].

    Returns
    -------
    Leakage
        With the interval that reading the gauge and the temperatures leaves.

    Raises
    ------
    PlantError
        Where there is no test, air came in during one, or a figure is out of range.

    References
    ----------
    Mass balance of an ideal gas, m = p V / (R T), and choked flow, dm/dt = -k m, so that
    k = ln((p1/T1) / (p2/T2)) / t. For little loss this is the usual V (p1 - p2) / (p0 t).

    Examples
    --------
    500 L that fall from 8 to 7 bar(g) in 10 minutes, at the mean of both:

    >>> test = LeakTest(volume_l=500.0, from_bar_g=8.0, to_bar_g=7.0, minutes=10.0)
    >>> round(leakage([test], 7.5).likely_l_min, 1)
    49.4
    """
    if not tests:
        raise PlantError("no leak test is given. Add a [[leak_test]] to the plant sheet.")
    for value, low, high, what in (
        (at_bar_g, 1e-6, 450.0, "the working pressure [bar(g)]"),
        (air_c, -50.0, 80.0, "the temperature of the air in the lines [°C]"),
        (atmosphere_pa, 50_000.0, 110_000.0, "the pressure outside [Pa(a)]"),
    ):
        if not low <= value <= high:
            raise PlantError(f"leakage: {what} is {value:g}; {low:g} to {high:g} is allowed.")
    parts: dict[str, tuple[float, float, float]] = {}
    for test in tests:
        rates = _rates(test, atmosphere_pa)
        scale = (
            test.volume_l
            * ((at_bar_g * _PA + atmosphere_pa) / FREE_PRESSURE_PA)
            * (FREE_TEMPERATURE_K / (air_c + ZERO_CELSIUS_K))
        )
        made = (rates[0] * scale, rates[1] * scale, rates[2] * scale)
        old = parts.get(test.part)
        if old is None or made[2] > old[2]:
            parts[test.part] = made
    sums = [math.fsum(one[at] for one in parts.values()) for at in range(3)]
    return Leakage(
        low_l_min=sums[0],
        likely_l_min=sums[1],
        high_l_min=sums[2],
        at_bar_g=at_bar_g,
        with_temperatures=all(one.temperature_from_c is not None for one in tests),
        doubts=_doubts(tests),
    )


def _rates(test: LeakTest, atmosphere_pa: float) -> tuple[float, float, float]:
    """Give k at its low end, likely and at its high end [1/min]."""
    half = test.resolution_bar / 2.0
    if test.temperature_from_c is None or test.temperature_to_c is None:
        first = last = FREE_TEMPERATURE_K
        off = TEMPERATURE_UNKNOWN_K / 2.0
    else:
        first = test.temperature_from_c + ZERO_CELSIUS_K
        last = test.temperature_to_c + ZERO_CELSIUS_K
        off = TEMPERATURE_READ_K

    def rate(gauge: float, kelvin: float) -> float:
        begin = (test.from_bar_g + gauge) * _PA + atmosphere_pa
        end = max((test.to_bar_g - gauge), 0.0) * _PA + atmosphere_pa
        held = (begin / (first - kelvin)) / (end / (last + kelvin))
        return math.log(held) / test.minutes

    low, likely, high = rate(-half, -off), rate(0.0, 0.0), rate(half, off)
    if high <= 0.0:
        raise PlantError(
            f"the leak test from {test.from_bar_g:g} to {test.to_bar_g:g} bar(g) ends with more air "
            "than it began with. Shut the compressor off from the lines, and test again."
        )
    return max(low, 0.0), max(likely, 0.0), high


def _doubts(tests: Sequence[LeakTest]) -> tuple[str, ...]:
    doubts = []
    if any(one.to_bar_g < LEAST_CHOKED_BAR_G for one in tests):
        doubts.append(
            f"A leak test ends below {LEAST_CHOKED_BAR_G:g} bar(g), where leaks lose less than the "
            "rule says. Test again near the working pressure."
        )
    if any(one.from_bar_g - one.to_bar_g < one.resolution_bar for one in tests):
        doubts.append(
            "In a leak test the pressure fell by less than one step of the gauge. Test longer for "
            "a closer figure; until then the upper end counts."
        )
    return tuple(doubts)
