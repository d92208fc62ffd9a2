"""What compressors deliver: against the standard atmosphere of fluids, and moist air of CoolProp."""

from __future__ import annotations

import math
import tomllib

import pytest
from CoolProp.HumidAirProp import HAPropsSI
from fluids.atmosphere import ATMOSPHERE_1976
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import PlantError
from lungwort.plant.capacity import (
    Compressor,
    Site,
    delivery,
    free_of_inlet,
    read_compressors,
    supply,
)
from lungwort.plant.free_air import KG_PER_L
from lungwort.tomlfile import Mistakes, Table

STILL = Site(intake_c=(20.0, 20.0), humidity_percent=(0.0, 0.0))


def _read(text: str) -> tuple[Compressor, ...]:
    top = Table(tomllib.loads(text), (), "", Mistakes("plant.toml", text, error=PlantError))
    found = read_compressors(top)
    top.mistakes.raise_any()
    return found


def _machine(litres: float = 1000.0, **more: float) -> Compressor:
    return Compressor(name="c1", free_air_l_min=litres, tolerance_percent=0.0, **more)  # type: ignore[arg-type]


def test_declared_state_gives_the_declared_free_air() -> None:
    """1000 L/min at 1 bar(a) and 20 °C (ISO 1217, from memory) are 1000/1.01325 L/min at 1 atm."""
    assert delivery(_machine(), STILL).declared_l_min == pytest.approx(1000 / 1.01325)


def test_at_sea_level_the_volume_is_the_free_air() -> None:
    """20 °C, dry, 1 atm: the state of free air itself."""
    assert delivery(_machine(), STILL).low_l_min == pytest.approx(1000.0)


@pytest.mark.parametrize("height_m", [0.0, 500.0, 1500.0, 3000.0, 4500.0])
def test_height_takes_air_away_as_the_standard_atmosphere_says(height_m: float) -> None:
    """fluids.ATMOSPHERE_1976 (U.S. Standard Atmosphere 1976): pressures at equal temperature."""
    expected = 1000.0 * ATMOSPHERE_1976(height_m).P / 101_325.0
    site = Site(altitude_m=height_m, intake_c=(20.0, 20.0), humidity_percent=(0.0, 0.0))

    # fluids knows that gravity falls with height, which is 0.05 % of the pressure at 4.5 km.
    assert delivery(_machine(), site).low_l_min == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("temperature_c", "humidity_percent", "pressure_pa"),
    [
        (32.0, 90.0, 101_325.0),
        (20.0, 50.0, 95_000.0),
        (45.0, 100.0, 84_000.0),
        (5.0, 80.0, 101_325.0),
    ],
)
def test_dry_air_in_damp_air_is_that_of_coolprop(
    temperature_c: float, humidity_percent: float, pressure_pa: float
) -> None:
    """CoolProp HAPropsSI (ASHRAE RP-1485): Vda, m³ of moist air to a kg of dry air."""
    each = HAPropsSI(
        "Vda", "T", temperature_c + 273.15, "P", pressure_pa, "R", humidity_percent / 100
    )
    expected = 1.0 / each / KG_PER_L  # 1000 L are 1 m³

    found = free_of_inlet(1000.0, temperature_c, pressure_pa, humidity_percent)

    assert found == pytest.approx(expected, rel=1.5e-3)


@pytest.mark.parametrize(
    ("litres", "percent"),
    # ISO 1217:2009 annex C (from memory): 7 % below 0.5 m³/min, 6 to 1.5, 5 to 15, then 4.
    [(300.0, 7.0), (1450.0, 6.0), (9000.0, 5.0), (30_000.0, 4.0)],
)
def test_tolerance_is_that_of_the_standard(litres: float, percent: float) -> None:
    """The lower end is low by the tolerance, the upper end high by it."""
    made = delivery(Compressor(name="c1", free_air_l_min=litres), STILL)

    assert made.low_l_min == pytest.approx(litres * (1 - percent / 100))
    assert made.high_l_min == pytest.approx(litres * (1 + percent / 100))
    assert made.likely_l_min == pytest.approx(litres)


def test_duty_wear_and_purge_take_their_shares() -> None:
    """60 % of the time, 10 % worn, 15 % for the treatment: by hand 0.6 · 0.9 · 0.85."""
    made = delivery(_machine(duty_percent=60.0, wear_percent=10.0, purge_percent=15.0), STILL)

    assert made.low_l_min == pytest.approx(1000 * 0.6 * 0.9 * 0.85)


@given(
    st.floats(-400, 5000), st.floats(-30, 30), st.floats(0, 25), st.floats(0, 60), st.floats(0, 40)
)
@settings(max_examples=40, deadline=None)
def test_low_end_is_the_lowest(
    height_m: float, cold_c: float, warmer: float, dry: float, damper: float
) -> None:
    """No state between the ends gives less than the low end or more than the high end."""
    site = Site(altitude_m=height_m, intake_c=(cold_c, cold_c + warmer), humidity_percent=(dry, dry + damper))  # fmt: skip
    made = delivery(Compressor(name="c1", free_air_l_min=1000.0), site)
    between = free_of_inlet(1000.0, cold_c + warmer / 3, site.atmosphere_pa, dry + damper / 3)

    assert made.low_l_min < between < made.high_l_min
    assert made.low_l_min < made.likely_l_min < made.high_l_min


def test_standby_is_left_out_and_the_largest_may_stop() -> None:
    """Two in service, one that stands by; without the largest the smaller one is left."""
    machines = [
        Compressor(name="small", free_air_l_min=600.0, tolerance_percent=0.0),
        Compressor(name="large", free_air_l_min=900.0, tolerance_percent=0.0),
        Compressor(name="spare", free_air_l_min=5000.0, standby=True),
    ]
    made = supply(machines, STILL)

    assert made.low_l_min == pytest.approx(1500.0)
    assert made.without_largest_l_min == pytest.approx(600.0)
    assert len(made.deliveries) == 3


def test_only_standby_delivers_nothing() -> None:
    """A machine that stands by is no supply."""
    made = supply([Compressor(name="spare", free_air_l_min=900.0, standby=True)], STILL)

    assert made.low_l_min == 0.0
    assert made.without_largest_l_min == 0.0


def test_no_compressor_is_refused() -> None:
    """With what to do."""
    with pytest.raises(PlantError, match=r"Add a \[\[compressor\]\]"):
        supply([], STILL)


@pytest.mark.parametrize("litres", [0.0, -5.0, math.nan, math.inf])
def test_a_delivery_that_cannot_be_is_refused(litres: float) -> None:
    """Zero, negative and no numbers."""
    with pytest.raises(PlantError, match=r"the declared delivery is .* is allowed"):
        Compressor(name="c1", free_air_l_min=litres)


@pytest.mark.parametrize(
    ("temperature_c", "pressure_pa", "humidity_percent"),
    [
        (80.0, 101_325.0, 0.0),
        (20.0, 7.0, 0.0),
        (20.0, 101_325.0, 101.0),
        (math.nan, 101_325.0, 0.0),
    ],
)
def test_an_inlet_that_cannot_be_is_refused(
    temperature_c: float, pressure_pa: float, humidity_percent: float
) -> None:
    """Bars in place of pascals, and the like."""
    with pytest.raises(PlantError, match=r"inlet: .* is allowed"):
        free_of_inlet(1000.0, temperature_c, pressure_pa, humidity_percent)


def test_a_mountain_that_cannot_be_is_refused() -> None:
    """Above 5000 m there is no figure."""
    with pytest.raises(PlantError, match="height above the sea"):
        delivery(_machine(), Site(altitude_m=6000.0))


SHEET = """
[[compressor]]
name = "c1"
free_air_l_min = 1450
declared_at_bar_g = 8
duty_percent = 80
"""


def test_read_compressors() -> None:
    """What is not given has the figures of ISO 1217, and is told from what is."""
    (found,) = _read(SHEET)

    assert found.free_air_l_min == 1450.0
    assert found.declared_at_bar_g == 8.0
    assert found.declared_inlet_bar_a == 1.0
    assert found.tolerance == 6.0
    assert "duty_percent" in found.stated
    assert "wear_percent" not in found.stated


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("free_air_l_min = 1450\n", "", "'free_air_l_min' is missing"),
        ("= 1450", "= 0", "found 0, allowed is 1 to 1e"),
        ("= 1450", "= nan", "found nan"),
        ("= 80", "= 0", "found 0, allowed is 1 to 100 %"),
        ("= 80", '= "80 %"', "a number without quotes is needed"),
        ("duty_percent", "duty_percnt", "this key is not known. Near: 'duty_percent'"),
        ("= 80", "= 80\nstandby = 1", "true or false"),
    ],
)
def test_mistakes_of_a_sheet_are_told(old: str, new: str, told: str) -> None:
    """With table and key."""
    with pytest.raises(PlantError, match=r"\[\[compressor\]\] 'c1'") as refused:
        _read(SHEET.replace(old, new))
    assert told in str(refused.value)


def test_names_taken_twice_are_refused() -> None:
    """Since results name machines."""
    with pytest.raises(PlantError, match="taken by another"):
        _read(SHEET + SHEET)
