"""Water that reaches the treatment, against tables, CoolProp, psychrolib and a balance by hand."""

from __future__ import annotations

import math

import psychrolib
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from lungwort.air.moisture import convert_water
from lungwort.errors import PlantError
from lungwort.plant.water_load import (
    FREE_AIR_KG_M3,
    Span,
    drawn_in_mg_m3,
    pressure_at_height_kpa,
    saturated,
    water_load,
)

psychrolib.SetUnitSystem(psychrolib.SI)
PERFECT = Span.exactly(100.0)


def _moist(dry_mg_m3: float) -> float:
    """Give mg to a cubic metre of moist air, as tables give it, from mg to one of dry air."""
    moles = dry_mg_m3 / 18.0153 * 24.05512 / 1e6  # of water to a mole of dry air
    return moles / (1 + moles) * 18.0153 / 24.05512 * 1e6


# Reference values of this project, section 12 "Water of saturated air", standing: computed outside
# of this program (CoolProp's virials with the extrapolation V above 100 bar(a)); mg per m3 free air
# at 20 °C, 1 atm, with f / ideal.
TABLE = [
    (5.0, 0.0, 6476.0, 6449.0),
    (20.0, 0.0, 17363.0, 17290.0),
    (40.0, 0.0, 54848.0, 54584.0),
    (5.0, 7.0, 839.0, 816.0),
    (20.0, 7.0, 2242.0, 2186.0),
    (35.0, 7.0, 5384.0, 5261.0),
    (60.0, 7.0, 19058.0, 18642.0),
    (5.0, 225.0, 63.0, 28.9),
    (20.0, 225.0, 152.1, 77.5),
    (30.0, 225.0, 260.3, 140.7),
    (40.0, 225.0, 430.0, 244.7),
    (60.0, 225.0, 1067.0, 660.9),
    (20.0, 330.0, 137.0, 52.9),
    (35.0, 330.0, 293.3, 127.4),
]


@pytest.mark.parametrize(("temperature_c", "pressure_bar_g", "with_f", "ideal"), TABLE)
def test_water_of_saturated_air_is_that_of_the_table(
    temperature_c: float, pressure_bar_g: float, with_f: float, ideal: float
) -> None:
    """Real and ideal content follow the table; above 100 bar(a) it lies within the interval."""
    found = saturated(temperature_c, pressure_bar_g)

    assert _moist(found.water_mg_m3.likely) == pytest.approx(with_f, rel=0.001)
    assert _moist(found.ideal_mg_m3) == pytest.approx(ideal, rel=0.001)
    assert found.water_mg_m3.low <= found.water_mg_m3.likely <= found.water_mg_m3.high
    assert found.estimated == (pressure_bar_g > 100)


# Section 12, the same standing: ideal-gas sizing overstates life by these factors at 20 °C.
@pytest.mark.parametrize(("pressure_bar_g", "times"), [(225.0, 1.96), (330.0, 2.59)])
def test_ideal_gas_overstates_life_at_high_pressure(pressure_bar_g: float, times: float) -> None:
    """The ratio of real to ideal content is about 2 at 225 bar(g) and 2.6 at 330 bar(g)."""
    found = saturated(20.0, pressure_bar_g)

    assert found.water_mg_m3.likely / found.ideal_mg_m3 == pytest.approx(times, rel=0.01)


@pytest.mark.parametrize("temperature_c", [1.0, 10.0, 25.0, 45.0])
@pytest.mark.parametrize("pressure_bar_g", [0.0, 7.0, 40.0, 95.0])
def test_saturated_air_agrees_with_coolprop(temperature_c: float, pressure_bar_g: float) -> None:
    """Up to 10 MPa CoolProp's humid air (Herrmann et al. 2009) gives the same humidity ratio."""
    ratio = HAPropsSI(
        "W", "T", temperature_c + 273.15, "P", (pressure_bar_g + 1.01325) * 1e5, "R", 1.0
    )
    found = saturated(temperature_c, pressure_bar_g)

    assert found.water_mg_m3.likely == pytest.approx(ratio * FREE_AIR_KG_M3 * 1e6, rel=0.0005)
    assert found.water_mg_m3.low == found.water_mg_m3.high


# Section 5.5 (computed by CoolProp): 3 °C pressure dew point at 7 bar(g) is 729 mg/m3, 20 °C 2242.
@pytest.mark.parametrize(("temperature_c", "mg_m3"), [(3.0, 729.0), (10.0, 1179.0), (20.0, 2242.0)])
def test_air_behind_a_refrigeration_drier(temperature_c: float, mg_m3: float) -> None:
    """Water behind a drier is that of its pressure dew point."""
    assert _moist(saturated(temperature_c, 7.0).water_mg_m3.likely) == pytest.approx(
        mg_m3, rel=0.003
    )


@pytest.mark.parametrize(
    ("temperature_c", "humidity"), [(2.0, 50.0), (20.0, 50.0), (32.0, 90.0), (45.0, 30.0)]
)
@pytest.mark.parametrize("altitude_m", [0.0, 1500.0])
def test_water_drawn_in_agrees_with_psychrolib(
    temperature_c: float, humidity: float, altitude_m: float
) -> None:
    """The library psychrolib (ASHRAE Handbook 2017) has no enhancement factor, which is 0.4 to 0.5 % here."""
    around = psychrolib.GetStandardAtmPressure(altitude_m)
    ratio = psychrolib.GetHumRatioFromRelHum(temperature_c, humidity / 100, around)
    found = drawn_in_mg_m3(temperature_c, humidity, altitude_m=altitude_m)

    assert found == pytest.approx(ratio * FREE_AIR_KG_M3 * 1e6, rel=0.006)
    assert found > ratio * FREE_AIR_KG_M3 * 1e6


@pytest.mark.parametrize("altitude_m", [-400.0, 0.0, 1000.0, 5000.0])
def test_pressure_at_a_height_agrees_with_psychrolib(altitude_m: float) -> None:
    """The standard atmosphere, as psychrolib has it (ASHRAE Handbook 2017, chapter 1, eq. 3)."""
    assert pressure_at_height_kpa(altitude_m) == pytest.approx(
        psychrolib.GetStandardAtmPressure(altitude_m) / 1000, rel=1e-4
    )


def test_balance_by_hand() -> None:
    """10 g drawn in, air at 20 °C and 7 bar(g) holds 2248 mg (CoolProp), 95 % of the rest goes.

    By hand: 10 000 - 2248 = 7752 mg of liquid, 5 % of it or 388 mg get through, 2636 mg in all.
    """
    found = water_load(Span.exactly(10_000.0), 20.0, 7.0, Span.exactly(95.0))

    assert found.load_mg_m3.likely == pytest.approx(2636.0, abs=8.0)
    assert found.carried_mg_m3.likely == pytest.approx(388.0, abs=2.0)
    assert found.condenses


def test_no_more_than_was_drawn_in() -> None:
    """Dry air stays as it is: nothing condenses, and no separator takes anything."""
    found = water_load(Span.exactly(500.0), 30.0, 7.0, Span.exactly(95.0))

    assert found.load_mg_m3 == Span.exactly(500.0)
    assert found.carried_mg_m3 == Span.exactly(0.0)
    assert not found.condenses


def test_a_separator_that_takes_nothing_lets_all_through() -> None:
    """With an efficiency of 0 the whole water goes on, whatever the pressure."""
    found = water_load(Span.exactly(9_000.0), 20.0, 200.0, Span.exactly(0.0))

    assert found.load_mg_m3.likely == pytest.approx(9_000.0)


def test_the_interval_of_the_estimate_is_carried_on() -> None:
    """The load has the 25 % of the factor above 100 bar(a); the better separator gives its low end."""
    found = water_load(Span.exactly(9_000.0), 20.0, 225.0, Span(95.0, 98.0, 100.0))

    assert found.estimated
    assert found.vapour_mg_m3.high / found.vapour_mg_m3.likely == pytest.approx(1.25, rel=0.001)
    assert found.load_mg_m3.low == pytest.approx(found.vapour_mg_m3.low)
    assert found.load_mg_m3.high > found.vapour_mg_m3.high + 400
    assert found.load_mg_m3.low < found.load_mg_m3.likely < found.load_mg_m3.high


def test_directions() -> None:
    """Hotter means more water, higher pressure less, wetter air more, as long as it condenses."""
    by_temperature = [saturated(t, 225.0).water_mg_m3.likely for t in (0, 10, 20, 30, 40, 50)]
    by_pressure = [saturated(20.0, p).water_mg_m3.likely for p in (0, 7, 40, 98)]
    by_humidity = [drawn_in_mg_m3(20.0, h) for h in (0, 10, 50, 100)]

    assert by_temperature == sorted(by_temperature)
    assert by_pressure == sorted(by_pressure, reverse=True)
    assert by_humidity == sorted(by_humidity)
    assert drawn_in_mg_m3(20.0, 0.0) == 0.0


def test_frozen_separator_counts_as_just_thawed() -> None:
    """A separator below 0 °C thaws sometime, so that no less water is counted than at 0.01 °C."""
    assert saturated(-10.0, 100.0) == saturated(0.01, 100.0)


def test_below_freezing_humidity_is_over_water() -> None:
    """Weather stations give humidity over water also below 0 °C (WMO-No. 8), which is more water.

    Over ice the same 80 % would be 33 % less at -40 °C.
    """
    over_ice = convert_water(
        80.0, "relative_humidity", "humidity_ratio", pressure_bar_g=0.0, gas_temperature_c=-20.0
    )
    found = drawn_in_mg_m3(-20.0, 80.0)

    # Murphy and Koop 2005: saturation over water / over ice at -20 °C is 125.4 Pa / 103.2 Pa.
    assert found / (float(over_ice.value) * FREE_AIR_KG_M3 * 1e3) == pytest.approx(
        125.4 / 103.2, rel=0.003
    )


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (
            lambda: drawn_in_mg_m3(61.0, 50.0),
            "temperature at the intake 61 °C is outside -50 to 60",
        ),
        (lambda: drawn_in_mg_m3(math.nan, 50.0), "temperature at the intake nan"),
        (lambda: drawn_in_mg_m3(20.0, 101.0), "relative humidity at the intake 101 %"),
        (lambda: drawn_in_mg_m3(20.0, -1.0), "relative humidity at the intake -1 %"),
        (lambda: drawn_in_mg_m3(20.0, 50.0, altitude_m=6000.0), "height above the sea 6000 m"),
        (lambda: saturated(math.inf, 7.0), "temperature at the separator inf"),
        (lambda: saturated(20.0, 400.0), r"pressure at the separator 400 bar\(g\)"),
        (lambda: saturated(20.0, -1.0), r"pressure at the separator -1 bar\(g\)"),
        (lambda: water_load(Span.exactly(-1.0), 20.0, 7.0, PERFECT), "water drawn in of -1"),
        (lambda: water_load(Span(0.0, 1.0, math.inf), 20.0, 7.0, PERFECT), "inf mg/m3 cannot be"),
        (
            lambda: water_load(Span.exactly(1.0), 20.0, 7.0, Span.exactly(101.0)),
            "efficiency of the separator 101 %",
        ),
        (lambda: Span(2.0, 1.0, 3.0), "must rise"),
        (lambda: Span(0.0, math.nan, 3.0), "one is not a number"),
    ],
)
def test_refusals(call: object, told: str) -> None:
    """What cannot be is refused by name, with what is allowed."""
    with pytest.raises(PlantError, match=told):
        call()  # type: ignore[operator]
