"""Air from one vessel to another: mass, energy, and the ends that can be worked out by hand."""

from __future__ import annotations

import math

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.air import cylinder
from lungwort.errors import PlantError, RangeError
from lungwort.plant.filling import (
    COLDEST_K,
    FAST,
    SLOW,
    Wall,
    bar_g_of,
    contents,
    drawn,
    kpa_of,
    mass_at_kg,
    pooled,
    settled,
    transfer,
)

ROOM_K = 293.15

# --- what a vessel holds ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("volume_l", "pressure_kpa", "free_l_15", "free_l_20"),
    [
        (6.8, 30_000.0, 1828, 1823),
        (6.8, 30_101.325, 1832, 1827),
        (6.0, 30_101.325, 1617, 1612),
        (9.0, 30_000.0, 2419, 2412),
        (12.0, 23_200.0, 2633, 2622),
        (12.0, 23_301.325, 2643, 2631),
        (12.0, 20_101.325, 2329, 2318),
        (10.0, 20_000.0, 1932, 1923),
        (7.0, 23_200.0, 1536, 1529),
    ],
)
def test_free_air_as_tabled(
    volume_l: float, pressure_kpa: float, free_l_15: int, free_l_20: int
) -> None:
    """Free air at 1 atm and the same temperature; computed with CoolProp 8, 'Air' (Lemmon 2000)."""
    for temperature_c, printed in ((15.0, free_l_15), (20.0, free_l_20)):
        held = contents(volume_l, pressure_kpa, temperature_c + 273.15)
        litre_kg = float(cylinder.density_kg_m3(temperature_c, 101.325)) / 1000.0

        assert held.mass_kg / litre_kg == pytest.approx(printed, abs=0.51)


def test_mass_and_energy_by_the_high_level_interface() -> None:
    """CoolProp PropsSI, which takes another way through the library."""
    held = contents(50.0, 20_000.0, ROOM_K)

    density = PropsSI("Dmass", "P", 2e7, "T", ROOM_K, "Air")
    energy = PropsSI("Umass", "P", 2e7, "T", ROOM_K, "Air")
    assert held.mass_kg == pytest.approx(density * 0.05, rel=1e-9)
    assert held.energy_kj == pytest.approx(density * 0.05 * energy / 1000.0, rel=1e-9)
    assert held.density_kg_m3 == pytest.approx(231.65, abs=0.005)  # computed, as tabled


@given(gauge=st.floats(0.0, 400.0))
@settings(max_examples=20, deadline=None)
def test_gauge_and_absolute_there_and_back(gauge: float) -> None:
    """0 bar(g) is 1 atm."""
    assert kpa_of(0.0) == 101.325
    assert bar_g_of(kpa_of(gauge)) == pytest.approx(gauge, abs=1e-9)


@pytest.mark.parametrize(
    ("volume_l", "pressure_kpa", "temperature_k", "told"),
    [
        (0.0, 1000.0, ROOM_K, "water volume: found 0 L"),
        (-5.0, 1000.0, ROOM_K, "water volume: found -5 L"),
        (10.0, 0.0, ROOM_K, "absolute pressure of the air: found 0 kPa"),
        (10.0, math.inf, ROOM_K, "absolute pressure of the air: found inf"),
        (10.0, math.nan, ROOM_K, "absolute pressure of the air: found nan"),
        (10.0, 1000.0, 20.0, "temperature of the air: found 20 K, allowed is 223"),
    ],
)
def test_what_cannot_be_is_refused(
    volume_l: float, pressure_kpa: float, temperature_k: float, told: str
) -> None:
    """The message says what was found and what is allowed."""
    with pytest.raises(RangeError, match=told.replace("(", r"\(")):
        contents(volume_l, pressure_kpa, temperature_k)


# --- one vessel into another -----------------------------------------------------------------------


def test_a_filling_vacuum_gets_kappa_times_the_temperature() -> None:
    """First law, evacuated rigid vessel without heat, ideal gas: T = kappa T0 (Moran and Shapiro).

    The giver is so large that its state stays; kappa of air at 20 °C from CoolProp, ideal gas part.
    """
    kappa = PropsSI("Cp0mass", "P", 1e5, "T", ROOM_K, "Air") / (
        PropsSI("Cp0mass", "P", 1e5, "T", ROOM_K, "Air") - 8.314462618 / 0.02896546
    )
    room = contents(1e6, 101.325, ROOM_K)
    nearly_empty = contents(1.0, 1.0, ROOM_K)

    filled = transfer(room, nearly_empty, until_kpa=100.0, heat=FAST).target

    # 1 kPa of 100 was there before, at ROOM_K; what it does is found from the same energy balance.
    share = 1.0 / 100.0
    by_hand = ROOM_K / (share + (1.0 - share) / kappa)
    assert kappa == pytest.approx(1.4, abs=0.002)
    assert filled.temperature_k == pytest.approx(by_hand, rel=2e-3)
    assert filled.temperature_k == pytest.approx(kappa * ROOM_K, rel=7e-3)


def test_two_equal_vessels_of_an_ideal_gas_come_to_the_mean() -> None:
    """By hand: equal volumes, one temperature, ideal gas, so the pressures average.

    Also without heat: the energy of an ideal gas of constant heat capacity is p V / (kappa - 1).
    """
    high, low = contents(10.0, 120.0, ROOM_K), contents(10.0, 40.0, ROOM_K)
    for heat in (SLOW, FAST):
        done = transfer(high, low, until_kpa=1000.0, heat=heat)

        assert not done.reached
        assert done.source.pressure_kpa == pytest.approx(80.0, rel=5e-4)
        assert done.target.pressure_kpa == pytest.approx(done.source.pressure_kpa, rel=1e-7)


def test_equal_vessels_of_a_real_gas_come_together_by_their_densities() -> None:
    """CoolProp directly: at one temperature the densities average, not the pressures."""
    done = transfer(
        contents(50.0, 30_000.0, ROOM_K),
        contents(50.0, 5_000.0, ROOM_K),
        until_kpa=40_000.0,
        heat=SLOW,
    )
    mean = (
        PropsSI("Dmass", "P", 3e7, "T", ROOM_K, "Air")
        + PropsSI("Dmass", "P", 5e6, "T", ROOM_K, "Air")
    ) / 2.0
    expected = PropsSI("P", "Dmass", mean, "T", ROOM_K, "Air") / 1000.0

    assert done.target.pressure_kpa == pytest.approx(expected, rel=1e-6)
    assert done.target.pressure_kpa < 17_500.0 * 0.97


@given(
    source_bar=st.floats(60.0, 400.0),
    target_bar=st.floats(0.0, 300.0),
    until_bar=st.floats(50.0, 330.0),
    volume_l=st.floats(1.0, 200.0),
    wall_kg=st.one_of(st.none(), st.floats(1.0, 20.0)),
)
@settings(max_examples=60, deadline=None)
def test_mass_and_energy_are_kept(
    source_bar: float, target_bar: float, until_bar: float, volume_l: float, wall_kg: float | None
) -> None:
    """Conservation of mass, and of energy with the wall's; the pressure asked for is not passed."""
    source = contents(volume_l, kpa_of(source_bar), ROOM_K)
    target = contents(6.8, kpa_of(target_bar), ROOM_K)
    wall = Wall(wall_kg) if wall_kg else None

    done = transfer(source, target, until_kpa=kpa_of(until_bar), heat=FAST, wall=wall)

    mass = source.mass_kg + target.mass_kg
    assert done.source.mass_kg + done.target.mass_kg == pytest.approx(mass, rel=1e-9)
    into_wall = wall.capacity_kj_k * (done.target.temperature_k - ROOM_K) if wall else 0.0
    energy = done.source.energy_kj + done.target.energy_kj + into_wall
    assert energy == pytest.approx(source.energy_kj + target.energy_kj, rel=1e-7, abs=1e-4)
    assert done.moved_kg >= 0.0
    top = max(kpa_of(until_bar), target.pressure_kpa)
    assert done.target.pressure_kpa <= top * (1 + 1e-6)
    if not done.reached and done.moved_kg:
        assert done.target.pressure_kpa == pytest.approx(done.source.pressure_kpa, rel=1e-5)


@pytest.mark.parametrize("off", [0.0, 1e-15, 1e-12])
def test_a_vessel_that_is_full_to_the_last_digit_takes_nothing(off: float) -> None:
    """A pressure that differs from the one asked for by rounding alone is that pressure."""
    source = contents(8.0, kpa_of(228.0), ROOM_K)
    target = contents(6.8, kpa_of(174.0), ROOM_K)
    done = transfer(source, target, until_kpa=target.pressure_kpa * (1 + off), heat=FAST)
    assert done.reached
    assert done.moved_kg == 0.0
    alike = contents(6.8, source.pressure_kpa * (1 - off), ROOM_K)
    assert transfer(source, alike, until_kpa=kpa_of(300.0), heat=FAST).moved_kg == 0.0


def test_the_wall_lies_between_the_ends() -> None:
    """Without heat the air is hottest; a heavy wall comes near to no warming at all."""
    source, target = contents(200.0, kpa_of(300.0), ROOM_K), contents(6.8, kpa_of(50.0), ROOM_K)

    hot, steel, heavy = (
        transfer(source, target, until_kpa=kpa_of(250.0), heat=FAST, wall=wall).target
        for wall in (None, Wall(7.0), Wall(7000.0))
    )

    assert hot.temperature_k > steel.temperature_k > heavy.temperature_k > ROOM_K
    assert heavy.temperature_k == pytest.approx(ROOM_K, abs=0.5)
    assert hot.mass_kg < steel.mass_kg < heavy.mass_kg
    assert settled(hot, ROOM_K).pressure_kpa < hot.pressure_kpa


def test_nothing_flows_where_nothing_drives_it() -> None:
    """A giver below the taker gives nothing; a taker at the pressure asked for takes nothing."""
    low, high = contents(50.0, 5_000.0, ROOM_K), contents(6.8, 20_000.0, ROOM_K)

    assert transfer(low, high, until_kpa=30_000.0, heat=FAST).moved_kg == 0.0
    shut = transfer(contents(50.0, 30_000.0, ROOM_K), high, until_kpa=20_000.0, heat=SLOW)
    assert (shut.moved_kg, shut.reached) == (0.0, True)


# --- drawing from a vessel ---------------------------------------------------------------------------


def test_drawing_at_low_pressure_by_hand() -> None:
    """Ideal gas: at one temperature what remains goes with p; without heat with p to the 1/kappa."""
    held = contents(500.0, 801.325, ROOM_K)

    slow, fast = (mass_at_kg(held, 601.325, heat) / held.mass_kg for heat in (SLOW, FAST))

    ratio = 601.325 / 801.325
    assert slow == pytest.approx(ratio, rel=2e-3)
    assert fast == pytest.approx(ratio ** (1 / 1.4), rel=2e-3)
    after = drawn(held, fast * held.mass_kg, FAST)
    assert after.temperature_k == pytest.approx(ROOM_K * ratio ** (0.4 / 1.4), rel=2e-3)


def test_drawing_at_high_pressure_keeps_the_entropy() -> None:
    """CoolProp PropsSI by pressure and entropy, which takes another way through the library."""
    held = contents(200.0, 20_100.0, ROOM_K)
    entropy = PropsSI("Smass", "P", 20.1e6, "T", ROOM_K, "Air")

    for pressure_pa in (10e6, 5e6, 2e6):
        expected = PropsSI("Dmass", "P", pressure_pa, "Smass", entropy, "Air") * 0.2
        assert mass_at_kg(held, pressure_pa / 1000.0, FAST) == pytest.approx(expected, rel=1e-5)


def test_cooling_is_stopped_above_the_critical_point() -> None:
    """CoolProp: the critical temperature of air is 132.5 K; drawn far down, air would be liquid."""
    assert PropsSI("Tcrit", "Air") < COLDEST_K
    held = contents(50.0, 30_000.0, ROOM_K)

    assert drawn(held, held.mass_kg * 0.05, FAST).temperature_k == COLDEST_K


@given(pressure=st.floats(100.0, 20_000.0))
@settings(max_examples=20, deadline=None)
def test_mass_and_pressure_there_and_back(pressure: float) -> None:
    """Drawn down to a pressure, the vessel has that pressure; the fast way leaves more behind."""
    held = contents(50.0, 20_101.325, ROOM_K)
    for heat in (SLOW, FAST):
        left = mass_at_kg(held, pressure, heat)
        assert drawn(held, left, heat).pressure_kpa == pytest.approx(pressure, rel=1e-6)
    assert mass_at_kg(held, pressure, FAST) >= mass_at_kg(held, pressure, SLOW)


def test_more_than_there_is_cannot_be_drawn() -> None:
    """Neither all, nor a negative amount."""
    held = contents(50.0, 20_000.0, ROOM_K)
    for left in (0.0, held.mass_kg * 1.1, math.nan):
        with pytest.raises(PlantError, match="cannot remain"):
            drawn(held, left, SLOW)
    assert mass_at_kg(held, 30_000.0, FAST) == held.mass_kg


def test_joined_vessels() -> None:
    """By hand at low pressure: volumes weigh the pressures."""
    joined = pooled((contents(10.0, 150.0, ROOM_K), contents(30.0, 110.0, ROOM_K)))
    assert joined.pressure_kpa == pytest.approx(120.0, rel=1e-3)
    with pytest.raises(PlantError, match="no vessel"):
        pooled(())
