"""Filling from a bank: the sheet, fills by hand, orders, heat, and what is refused."""

from __future__ import annotations

import math

import pytest
from attrs import evolve
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import PlantError
from lungwort.plant.bank import (
    AS_ONE,
    FULL_WITHIN_BAR,
    HIGHEST_FIRST,
    KEYS_TOP,
    LOWEST_FIRST,
    MOST_FILLS,
    ORDERS,
    Bank,
    Fill,
    held_by,
    read_banks,
    read_fill,
    run,
)
from lungwort.plant.filling import FAST, SLOW
from lungwort.tomlfile import opened

SHEET = """
format = 1
[[bank]]
name = "low"
cylinders = 2
volume_l = 50
pressure_bar_g = 220
[[bank]]
name = "high"
volume_l = 50
pressure_bar_g = 330
[fill]
cylinder_l = 6.8
from_bar_g = 50
to_bar_g = 300
minutes = 5
temperature_c = 15
wall_kg = 7
"""
LOW = Bank(name="low", cylinders=2, volume_l=50.0, pressure_bar_g=220.0)
MIDDLE = Bank(name="middle", cylinders=2, volume_l=50.0, pressure_bar_g=260.0)
HIGH = Bank(name="high", cylinders=2, volume_l=50.0, pressure_bar_g=330.0)
FILL = Fill(cylinder_l=6.8, from_bar_g=50.0, to_bar_g=300.0, wall_kg=7.0)


def _read(text: str) -> tuple[tuple[Bank, ...], Fill | None]:
    top = opened(text, "plant.toml", ("format", *KEYS_TOP), PlantError)
    read = read_banks(top), read_fill(top)
    top.mistakes.raise_any()
    return read


def _kg(volume_l: float, pressure_bar_g: float) -> float:
    density = PropsSI("Dmass", "P", (pressure_bar_g + 1.01325) * 1e5, "T", 293.15, "Air")
    return float(density) * volume_l / 1000.0


# --- the sheet --------------------------------------------------------------------------------------


def test_the_sheet_is_read() -> None:
    """All keys come through; one cylinder and 20 °C where nothing is said."""
    banks, fill = _read(SHEET)

    assert banks == (LOW, Bank(name="high", cylinders=1, volume_l=50.0, pressure_bar_g=330.0))
    assert fill == evolve(FILL, minutes=5.0, temperature_c=15.0)
    _, plain = _read(SHEET.replace("temperature_c = 15\nwall_kg = 7\n", ""))
    assert plain is not None
    assert (plain.temperature_c, plain.wall_kg) == (20.0, None)
    assert _read("format = 1\n") == ((), None)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("cylinder_l = 6.8\n", "", r"\[fill\], key 'cylinder_l' is missing"),
        ("to_bar_g = 300", "to_bar_g = 40", "found 40, which is not above from_bar_g"),
        ("to_bar_g = 300", "to_bar_g = inf", "found inf, allowed is"),
        ("pressure_bar_g = 220", "pressure_bar_g = 0", "found 0, allowed is 0.1"),
        ("minutes = 5", "minuts = 5", "key 'minuts': this key is not known. Near: 'minutes'"),
        ("[fill]", "[[fill]]", "is one table"),
    ],
)
def test_mistakes_are_told(old: str, new: str, told: str) -> None:
    """One mistake each."""
    assert old in SHEET
    with pytest.raises(PlantError, match=told):
        _read(SHEET.replace(old, new))


# --- by hand -----------------------------------------------------------------------------------------


def test_fills_of_an_ideal_gas_by_hand() -> None:
    """By hand at low pressure, where air is nearly ideal.

    10 L from 1.01325 to 1.5 bar(a) take 10 L x 0.487 bar; that is missing in 100 L: 0.049 bar a fill.
    """
    bank = Bank(name="b", cylinders=1, volume_l=100.0, pressure_bar_g=2.0 - 1.01325)
    fill = Fill(cylinder_l=10.0, from_bar_g=0.0, to_bar_g=1.5 - 1.01325)

    done = run([bank], fill)

    drops = [2.0 - 1.01325 - done.fills[0].banks_bar_g[0]]
    drops += [done.fills[0].banks_bar_g[0] - done.fills[1].banks_bar_g[0]]
    assert drops == pytest.approx([(1.5 - 1.01325) * 10.0 / 100.0] * 2, rel=2e-3)


def test_one_bank_by_the_library() -> None:
    """CoolProp PropsSI: the number of fills is what is above the pressure over what one takes."""
    done = run([HIGH], FILL)

    each = _kg(6.8, 300.0) - _kg(6.8, 50.0)
    above = _kg(100.0, 330.0) - _kg(100.0, 300.0)
    assert done.full == math.floor(above / each) == 1
    left = _kg(100.0, 330.0) - each
    expected = PropsSI("P", "Dmass", left / 0.1, "T", 293.15, "Air") / 1e5 - 1.01325
    assert done.fills[0].banks_bar_g[0] == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize(("heat", "with_wall"), [(SLOW, False), (FAST, False), (FAST, True)])
def test_mass_is_kept_over_all_fills(order: str, heat: str, *, with_wall: bool) -> None:
    """Conservation of mass, counted with CoolProp PropsSI from the settled pressures alone."""
    banks = [LOW, MIDDLE, HIGH]
    done = run(banks, FILL, order=order, heat=heat, with_wall=with_wall)  # type: ignore[arg-type]

    before = math.fsum(_kg(one.whole_volume_l, one.pressure_bar_g) for one in banks)
    after = math.fsum(_kg(100.0, pressure) for pressure in done.fills[-1].banks_bar_g)
    taken = math.fsum(_kg(6.8, one.ended_bar_g) - _kg(6.8, 50.0) for one in done.fills)
    assert before - after == pytest.approx(taken, rel=1e-5)


# --- the order ----------------------------------------------------------------------------------------


def test_the_cascade_fills_the_most() -> None:
    """Joined for good, these three stand at 262 bar and fill none; the highest alone fills one."""
    counts = {order: run([LOW, MIDDLE, HIGH], FILL, order=order).full for order in ORDERS}

    assert counts[LOWEST_FIRST] > counts[HIGHEST_FIRST] >= counts[AS_ONE] == 0


def test_the_order_in_the_sheet_does_not_matter() -> None:
    """The cascade finds the lowest by itself."""
    one, other = run([LOW, MIDDLE, HIGH], FILL), run([HIGH, LOW, MIDDLE], FILL)
    assert one.full == other.full
    assert sorted(one.fills[0].banks_bar_g) == pytest.approx(sorted(other.fills[0].banks_bar_g))


@given(
    pressures=st.lists(st.floats(60.0, 330.0), min_size=1, max_size=3),
    more=st.floats(60.0, 330.0),
    start=st.floats(0.0, 150.0),
)
@settings(max_examples=20, deadline=None)
def test_more_banks_never_fill_less(pressures: list[float], more: float, start: float) -> None:
    """One more member of the bank, whatever its pressure."""
    fill = Fill(cylinder_l=10.0, from_bar_g=start, to_bar_g=200.0)
    banks = [
        Bank(name=f"{at}", cylinders=1, volume_l=50.0, pressure_bar_g=pressure)
        for at, pressure in enumerate([*pressures, more])
    ]
    assert run(banks, fill).full >= run(banks[:-1], fill).full


# --- heat ---------------------------------------------------------------------------------------------


def test_hot_filling_settles_lower_and_is_never_beyond_the_gauge() -> None:
    """First law: air that flows in is compressed and warms; the wall takes part of it."""
    slow, hot, wall = (
        run([LOW, MIDDLE, HIGH], FILL, heat=heat, with_wall=with_wall).fills[0]  # type: ignore[arg-type]
        for heat, with_wall in ((SLOW, False), (FAST, False), (FAST, True))
    )

    assert slow.hottest_c == pytest.approx(20.0)
    assert hot.hottest_c > wall.hottest_c > 20.0
    assert hot.settled_bar_g < wall.settled_bar_g < slow.settled_bar_g
    for one in (slow, hot, wall):
        assert one.gauge_bar_g <= 300.0 + 1e-6
        assert one.ended_bar_g <= 300.0 + 1e-6
        assert one.full == (one.ended_bar_g >= 300.0 - FULL_WITHIN_BAR)
    assert hot.rounds > wall.rounds > 1


@given(pressure=st.floats(150.0, 330.0), volume=st.floats(20.0, 200.0))
@settings(max_examples=12, deadline=None)
def test_without_heat_there_are_never_more(pressure: float, volume: float) -> None:
    """The ends are in order."""
    banks = [LOW, Bank(name="b", cylinders=1, volume_l=volume, pressure_bar_g=pressure)]
    fill = evolve(FILL, to_bar_g=200.0)
    assert run(banks, fill, heat=FAST).full <= run(banks, fill, heat=SLOW).full


# --- edges and refusals ---------------------------------------------------------------------------------


def test_a_bank_that_is_too_low_fills_none() -> None:
    """It gives what it can: both stand at one pressure, and none is full."""
    done = run([LOW], FILL)

    assert (done.full, len(done.fills), done.stopped) == (0, 1, False)
    assert done.fills[0].ended_bar_g == pytest.approx(done.fills[0].banks_bar_g[0], abs=1e-3)


def test_counting_stops() -> None:
    """A bank as large as this never ends; it is said that there are more."""
    huge = Bank(name="huge", cylinders=1000, volume_l=100.0, pressure_bar_g=330.0)
    done = run([huge], evolve(FILL, cylinder_l=0.5, from_bar_g=250.0))
    assert (done.full, done.stopped) == (MOST_FILLS, True)


def test_what_cannot_be_filled() -> None:
    """No bank, no rising step, no wall."""
    with pytest.raises(PlantError, match="no bank to fill from"):
        run([], FILL)
    for low, high in ((300.0, 50.0), (math.nan, 300.0), (50.0, math.inf)):
        with pytest.raises(PlantError, match="cannot be worked out"):
            run([LOW], evolve(FILL, from_bar_g=low, to_bar_g=high))
    with pytest.raises(PlantError, match="wall is not known"):
        run([LOW], evolve(FILL, wall_kg=None), heat=FAST, with_wall=True)


@pytest.mark.parametrize(
    ("warm_c", "settles"),
    # CoolProp, density of air kept from the warm reading to 20 °C: computed beside.
    [(30.0, (210.0, 313.0)), (40.0, (200.0, 298.0)), (60.0, (184.0, 273.0))],
)
def test_a_warm_bank_settles_lower(warm_c: float, settles: tuple[float, float]) -> None:
    """The same gauge holds less air where it is warmer, and fills fewer cylinders."""
    for pressure, expected in zip((220.0, 330.0), settles, strict=True):
        one = Bank(name="b", cylinders=1, volume_l=50.0, pressure_bar_g=pressure)
        held = held_by(evolve(one, temperature_c=warm_c), 293.15)
        density = PropsSI("Dmass", "P", (pressure + 1.01325) * 1e5, "T", warm_c + 273.15, "Air")
        cold = PropsSI("P", "Dmass", density, "T", 293.15, "Air") / 1e5 - 1.01325
        assert held.pressure_bar_g == pytest.approx(cold, rel=1e-6)
        assert held.pressure_bar_g == pytest.approx(expected, abs=1.0)


def test_a_cold_bank_gains_nothing() -> None:
    """Air that was read cold would settle higher; that is not counted on."""
    one = Bank(name="b", cylinders=1, volume_l=50.0, pressure_bar_g=200.0)
    plain = held_by(one, 293.15)
    assert held_by(evolve(one, temperature_c=5.0), 293.15) == plain
    assert held_by(evolve(one, temperature_c=20.0), 293.15) == plain


def test_a_warm_bank_fills_fewer() -> None:
    """With 20 K nothing is left above 300 bar(g)."""
    fill = Fill(cylinder_l=6.8, from_bar_g=50.0, to_bar_g=300.0)
    cool = (Bank(name="b", cylinders=2, volume_l=50.0, pressure_bar_g=330.0),)
    warm = tuple(evolve(one, temperature_c=40.0) for one in cool)
    assert run(cool, fill).full > 0
    assert run(warm, fill).full == 0
