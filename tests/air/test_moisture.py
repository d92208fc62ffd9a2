"""Water content in all its ways of being stated, against published pairs and other libraries."""

from __future__ import annotations

import itertools
import math

import numpy as np
import psychrolib
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from lungwort.air import moisture, saturation
from lungwort.air.analytes import (
    ATMOSPHERIC_DEW_POINT,
    HUMIDITY_RATIO,
    MASS_CONCENTRATION,
    PRESSURE_DEW_POINT,
    RELATIVE_HUMIDITY,
    VOLUME_FRACTION,
)
from lungwort.air.curve import saturation_curve
from lungwort.air.interval import Interval
from lungwort.air.moisture import WaterConversion, convert_moisture, convert_water, water_bounds
from lungwort.errors import QuantityError, RangeError

QUANTITIES = (
    VOLUME_FRACTION,
    MASS_CONCENTRATION,
    ATMOSPHERIC_DEW_POINT,
    PRESSURE_DEW_POINT,
    HUMIDITY_RATIO,
    RELATIVE_HUMIDITY,
)


def single(conversion: WaterConversion) -> float:
    """Take the value of a conversion of one number."""
    assert isinstance(conversion.value, float)
    return conversion.value


# --- from the source ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("printed_f", "printed_ppm"),
    [
        # CGA G-7.1 and NFPA 1989 (from memory): 24 ppmv for a dew point of -65 °F at 1 atm
        (-65.0, 24.0),
        # 29 CFR 1910.134(i)(4)(iii): -50 °F at 1 atm, 67 ppmv in the trade's tables (from memory)
        (-50.0, 67.0),
    ],
)
def test_pairs_of_the_trade(printed_f: float, printed_ppm: float) -> None:
    """Dew points in °F go with whole ppmv."""
    found = convert_water(printed_f, ATMOSPHERIC_DEW_POINT, VOLUME_FRACTION, from_unit="°F")
    assert single(found) == pytest.approx(printed_ppm, abs=0.5)
    back = convert_water(printed_ppm, VOLUME_FRACTION, ATMOSPHERIC_DEW_POINT, to_unit="°F")
    assert single(back) == pytest.approx(printed_f, abs=0.05)
    assert back.phases == ("ice",)


def test_pair_in_celsius() -> None:
    """CSA Z180.1 (from memory): 27 ppmv with -53 °C."""
    found = convert_water(27.0, VOLUME_FRACTION, ATMOSPHERIC_DEW_POINT)
    assert single(found) == pytest.approx(-53.0, abs=0.05)


# EN 12021:2014, water of supplied air up to 40 bar (from memory): nominal pressure [bar], water
# [mg/m3 at 20 °C and 1 atm].
EN_12021 = {5: 290, 10: 160, 15: 110, 20: 80, 25: 65, 30: 55, 40: 50}


@pytest.mark.parametrize("nominal_bar", [5, 10, 15, 20, 25, 30])
def test_airline_table_is_the_rule_of_minus_eleven(nominal_bar: int) -> None:
    """The table is a pressure dew point of -11 °C, ideal gas, gauge pressure, rounded down."""
    pressure_pa = nominal_bar * 1e5 + 101325
    fraction = saturation.saturation_pressure_ice(-11.0) / pressure_pa
    ideal = single(convert_water(fraction * 1e6, VOLUME_FRACTION, MASS_CONCENTRATION))
    printed = EN_12021[nominal_bar]
    assert printed <= ideal < printed + 10
    # With the enhancement factor the same contents lie 0.3 to 2 °C lower.
    real = convert_water(
        float(printed), MASS_CONCENTRATION, PRESSURE_DEW_POINT, pressure_bar_g=nominal_bar
    )
    assert -13.0 < single(real) < -11.3
    assert real.phases == ("ice",)


# --- worked by hand or computed with other libraries ----------------------------------------------

# Computed with CoolProp 8.0.0 (f both sides); °C and mg/m3 at 20 °C and 1 atm, as rounded.
LINE_TO_ATMOSPHERE = {
    # pressure dew point: ((5 bar(g)), (7), (8), (10))
    -70.0: ((-81.1, 0.3), (-82.7, 0.3), (-83.3, 0.2), (-84.4, 0.2)),
    -40.0: ((-54.5, 16.5), (-56.7, 12.5), (-57.5, 11.2), (-58.9, 9.3)),
    -20.0: ((-37.1, 132), (-39.6, 100), (-40.6, 89), (-42.3, 74)),
    -11.0: ((-29.3, 303), (-32.0, 230), (-33.0, 205), (-34.8, 169)),
    3.0: ((-17.6, 965), (-20.5, 729), (-21.7, 650), (-23.7, 536)),
    10.0: ((-12.4, 1561), (-15.4, 1179), (-16.7, 1052), (-18.7, 866)),
    20.0: ((-5.0, 2970), (-8.3, 2242), (-9.6, 1999), (-11.8, 1646)),
}


@pytest.mark.parametrize("point_c", LINE_TO_ATMOSPHERE)
def test_line_to_atmosphere(point_c: float) -> None:
    """Letting air down lowers its dew point as another library says."""
    for pressure, (atmospheric_c, mg_m3) in zip(
        (5.0, 7.0, 8.0, 10.0), LINE_TO_ATMOSPHERE[point_c], strict=True
    ):
        found = convert_water(
            point_c, PRESSURE_DEW_POINT, ATMOSPHERIC_DEW_POINT, pressure_bar_g=pressure
        )
        assert single(found) == pytest.approx(atmospheric_c, abs=0.051)
        mass = convert_water(
            point_c, PRESSURE_DEW_POINT, MASS_CONCENTRATION, pressure_bar_g=pressure
        )
        # Half the last digit, and 1e-4 because the other library takes IAPWS-95 itself.
        digits = 0.05 if mg_m3 < 20 else 0.5
        assert single(mass) == pytest.approx(mg_m3, abs=digits + 1e-4 * mg_m3)


@pytest.mark.parametrize(
    ("mg_m3", "ppm", "point_c"),
    # IAPWS saturation with f at 1 atm, worked out with iapws 1.5.5 and CoolProp 8.0.0.
    [
        (50.0, 66.8, -45.6),
        (35.0, 46.7, -48.5),
        (25.0, 33.4, -51.3),
        (95.4, 127.4, -40.0),
        (50.15, 66.96, -45.556),
        (17.97, 24.00, -53.889),
    ],
)
def test_high_pressure_limits(mg_m3: float, ppm: float, point_c: float) -> None:
    """50 mg/m3 of the one standard is -50 °F of the other."""
    assert single(convert_water(mg_m3, MASS_CONCENTRATION, VOLUME_FRACTION)) == pytest.approx(
        ppm, abs=0.051
    )
    assert single(convert_water(mg_m3, MASS_CONCENTRATION, ATMOSPHERIC_DEW_POINT)) == pytest.approx(
        point_c, abs=0.051
    )


# Water of saturated air [mg/m3 of free air at 20 °C and 1 atm], computed with CoolProp 8.0.0 up to
# 7 bar(g) and with the estimate beyond: at 1 atm, 7 bar(g), 225 bar(g), 330 bar(g).
LOADS = {
    5.0: (6476, 839, 63.0, 59.0),
    10.0: (9115, 1179, 85.4, 78.9),
    15.0: (12660, 1636, 114.6, 104.4),
    20.0: (17363, 2242, 152.1, 137.0),
    25.0: (23530, 3036, 199.9, 178.1),
    30.0: (31530, 4064, 260.3, 229.5),
    35.0: (41798, 5384, 336.0, 293.3),
    40.0: (54848, 7061, 430.0, 371.9),
    50.0: (91783, 11804, 687.7, 584.5),
    60.0: (148288, 19058, 1067, 893),
}


@pytest.mark.parametrize("point_c", LOADS)
def test_water_loads(point_c: float) -> None:
    """What a drier or purifier has to take out of saturated air."""
    for pressure, printed in zip((0.0, 7.0, 225.0, 330.0), LOADS[point_c], strict=True):
        found = convert_water(
            point_c, PRESSURE_DEW_POINT, MASS_CONCENTRATION, pressure_bar_g=pressure
        )
        # Half the last digit, 2e-4 for f and for IAPWS-95 itself, and above 100 bar(a) 1e-3
        # for the volume of ice and water.
        digits = 0.05 if printed < 500 else 0.5
        share = 2e-4 if pressure < 100 else 1e-3
        assert single(found) == pytest.approx(printed, abs=digits + share * printed)


@pytest.mark.parametrize(
    ("mg_m3", "pressure_bar_g", "estimate_c", "ideal_c"),
    [
        (50.0, 200.0, 0.8, 11.3),
        (25.0, 200.0, -8.5, 1.3),
        (35.0, 300.0, -3.4, 12.0),
        (25.0, 300.0, -8.0, 7.0),
    ],
)
def test_cylinder_limits_as_pressure_dew_points(
    mg_m3: float, pressure_bar_g: float, estimate_c: float, ideal_c: float
) -> None:
    """Above 100 bar(a) estimate, bounds and ideal gas stand side by side (computed)."""
    found = convert_water(
        mg_m3, MASS_CONCENTRATION, PRESSURE_DEW_POINT, pressure_bar_g=pressure_bar_g
    )
    assert found.is_estimate
    assert single(found) == pytest.approx(estimate_c, abs=0.06)
    assert found.ideal_gas == pytest.approx(ideal_c, abs=0.06)
    assert float(found.low) < single(found) < float(found.high) < float(found.ideal_gas or 0)
    assert any("no reference is valid above 100 bar(a)" in text for text in found.assumptions)


def test_canadian_cylinder_point() -> None:
    """-30 °C at 15.3 MPa is 5.57 ppmv, an ideal gas 2.48 (computed)."""
    found = convert_water(
        -30.0, PRESSURE_DEW_POINT, VOLUME_FRACTION, pressure_bar_g=153.0 - 1.01325
    )
    assert single(found) == pytest.approx(5.57, abs=0.006)
    assert found.ideal_gas == pytest.approx(2.48, abs=0.006)
    assert float(found.low) == pytest.approx(0.75 * single(found))
    assert float(found.high) == pytest.approx(1.25 * single(found))


# --- other libraries over grids -------------------------------------------------------------------


@pytest.mark.parametrize("pressure_kpa", [101.325, 801.325, 4001.325, 10_000.0])
def test_against_humid_air_of_coolprop(pressure_kpa: float) -> None:
    """Humidity ratio from dew point, relative humidity from dew point, and dew point back."""
    gauge = (pressure_kpa - 101.325) / 100
    for point_c in (-60.0, -40.0, -20.0, -5.0, 1.0, 10.0, 30.0, 50.0):
        ratio = HAPropsSI("W", "T", 323.15, "P", pressure_kpa * 1000, "D", point_c + 273.15)
        found = convert_water(point_c, PRESSURE_DEW_POINT, HUMIDITY_RATIO, pressure_bar_g=gauge)
        assert single(found) == pytest.approx(ratio * 1000, rel=2.5e-4)
        back = convert_water(
            ratio, HUMIDITY_RATIO, PRESSURE_DEW_POINT, pressure_bar_g=gauge, from_unit="kg/kg"
        )
        assert single(back) == pytest.approx(point_c, abs=0.004)
        humidity = HAPropsSI("R", "T", 323.15, "P", pressure_kpa * 1000, "D", point_c + 273.15)
        found = convert_water(
            point_c,
            PRESSURE_DEW_POINT,
            RELATIVE_HUMIDITY,
            pressure_bar_g=gauge,
            gas_temperature_c=50.0,
        )
        # CoolProp holds partial pressures against f·e; so does this, by mole fractions.
        assert single(found) == pytest.approx(humidity * 100, rel=5e-4)


def test_against_psychrolib() -> None:
    """ASHRAE's simple psychrometrics leaves f out: 0.4 to 0.8 % drier at one atmosphere."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    for point_c in (-40.0, -20.0, 5.0, 20.0, 35.0):
        simple = psychrolib.GetHumRatioFromTDewPoint(point_c, 101325.0) * 1000
        found = single(convert_water(point_c, ATMOSPHERIC_DEW_POINT, HUMIDITY_RATIO))
        assert 1.002 < found / simple < 1.008


# --- properties -----------------------------------------------------------------------------------


@settings(deadline=None, max_examples=300)
@given(
    point_c=st.floats(-55.0, 45.0),
    pair=st.sampled_from(list(itertools.permutations(QUANTITIES, 2))),
    pressure_bar_g=st.sampled_from([0.0, 0.5, 7.0, 40.0, 98.0, 200.0, 300.0]),
    gas_temperature_c=st.sampled_from([-20.0, 5.0, 21.0, 50.0]),
    reference_temperature_c=st.sampled_from([0.0, 15.0, 20.0, 25.0]),
)
def test_round_trips(
    point_c: float,
    pair: tuple[str, str],
    pressure_bar_g: float,
    gas_temperature_c: float,
    reference_temperature_c: float,
) -> None:
    """Any quantity through any other comes back."""
    one, other = pair

    def carry(value: float, source: str, target: str) -> float:
        return single(
            convert_water(
                value,
                source,
                target,
                pressure_bar_g=pressure_bar_g,
                gas_temperature_c=gas_temperature_c,
                reference_temperature_c=reference_temperature_c,
            )
        )

    try:
        start = carry(point_c, PRESSURE_DEW_POINT, one) if one != PRESSURE_DEW_POINT else point_c
        there = carry(start, one, other)
        back = carry(there, other, one)
    except RangeError:
        assume(False)  # e.g. an atmospheric dew point below -100 °C at a high pressure
    assert back == pytest.approx(start, rel=1e-9, abs=1e-9)


@settings(deadline=None, max_examples=100)
@given(
    values=st.tuples(st.floats(-60.0, 50.0), st.floats(1e-6, 5.0)),
    pair=st.sampled_from(list(itertools.permutations(QUANTITIES, 2))),
    pressure_bar_g=st.sampled_from([0.0, 7.0, 40.0, 98.98, 200.0, 330.0]),
)
def test_rising(values: tuple[float, float], pair: tuple[str, str], pressure_bar_g: float) -> None:
    """More water in is more water out, whatever the quantities; bounds keep their order."""
    one, other = pair
    low_c, step = values
    points = np.array([low_c, min(low_c + step, 55.0)])
    start = convert_water(
        points, PRESSURE_DEW_POINT, one, pressure_bar_g=pressure_bar_g, gas_temperature_c=20.0
    )
    found = convert_water(
        np.asarray(start.value), one, other, pressure_bar_g=pressure_bar_g, gas_temperature_c=20.0
    )
    value, low, high = (np.asarray(x) for x in (found.value, found.low, found.high))
    assume(not np.isnan(value).any())
    assert value[1] >= value[0]
    assert np.all((low <= value) & (value <= high))
    if pressure_bar_g < 99:
        np.testing.assert_array_equal(low, value)
        np.testing.assert_array_equal(high, value)


@pytest.mark.parametrize("pressure_bar_g", [0.0, 7.0, 40.0, 98.0, 200.0, 330.0])
def test_no_step_at_the_melting_point(pressure_bar_g: float) -> None:
    """Where the dew point changes from ice to water the content rises without a step."""
    grid = np.linspace(-4.0, 1.0, 50_001)
    found = convert_water(grid, PRESSURE_DEW_POINT, VOLUME_FRACTION, pressure_bar_g=pressure_bar_g)
    rises = np.diff(np.log(np.asarray(found.value)))
    assert rises.min() > 0
    assert rises.max() < 1.3e-5  # 13 % a degree at the very most
    back = convert_water(
        np.asarray(found.value), VOLUME_FRACTION, PRESSURE_DEW_POINT, pressure_bar_g=pressure_bar_g
    )
    np.testing.assert_allclose(np.asarray(back.value), grid, atol=1e-9)


def test_ice_point() -> None:
    """Ice under one atmosphere of air melts at 0.00 °C: so the Celsius scale was made."""
    curve = saturation_curve(101.325)
    assert curve.phase(-0.001) == "ice"
    assert curve.phase(0.002) == "water"
    # Melting under pressure: -0.0075 °C a bar from the pressure on the ice (handbook value, from
    # memory), and somewhat more from the air dissolved in the water.
    dense = saturation_curve(10_000.0)
    assert dense.phase(-1.05) == "ice"
    assert dense.phase(-0.70) == "water"


@settings(deadline=None, max_examples=50)
@given(st.lists(st.floats(-120.0, 120.0) | st.just(math.nan), min_size=1, max_size=30))
def test_arrays_as_floats(points: list[float]) -> None:
    """An array gives what its elements give one by one; refused elements carry the reason."""
    found = convert_water(
        np.array(points), PRESSURE_DEW_POINT, MASS_CONCENTRATION, pressure_bar_g=7.0
    )
    for point, value, code in zip(points, np.asarray(found.value), found.refused, strict=True):
        if math.isnan(point):
            assert code == moisture.NO_READING
            assert math.isnan(value)
        elif not -100.0 <= point <= 100.0:
            assert code == (moisture.DRIER if point < 0 else moisture.WETTER)
            assert math.isnan(value)
        else:
            alone = convert_water(point, PRESSURE_DEW_POINT, MASS_CONCENTRATION, pressure_bar_g=7.0)
            assert code == moisture.GOOD
            assert value == pytest.approx(single(alone), rel=1e-13)
    refused = sum(not -100.0 <= point <= 100.0 for point in points)
    assert sum(found.reasons().values()) == refused


def test_long_arrays_as_short_ones() -> None:
    """A long array is worked in pieces and gives the same."""
    ppm = np.geomspace(0.05, 20_000.0, 40_001).reshape(-1, 1)
    found = convert_water(ppm, VOLUME_FRACTION, PRESSURE_DEW_POINT, pressure_bar_g=7.0)
    values = np.asarray(found.value)
    assert values.shape == ppm.shape
    for index in (0, 16_383, 16_384, 40_000):
        alone = convert_water(
            float(ppm[index, 0]), VOLUME_FRACTION, PRESSURE_DEW_POINT, pressure_bar_g=7.0
        )
        assert values[index, 0] == pytest.approx(single(alone), abs=1e-12)


# --- edge cases -----------------------------------------------------------------------------------


def test_drier_than_the_formulas_keeps_a_bound() -> None:
    """Bone-dry readings and zero drift below zero are no dew point, yet surely below -100 °C."""
    found = convert_water(np.array([-3.0, 0.0, 50.0]), VOLUME_FRACTION, ATMOSPHERIC_DEW_POINT)
    assert np.isnan(np.asarray(found.value)).tolist() == [True, True, False]
    assert np.asarray(found.high)[:2] == pytest.approx([-100.0, -100.0])
    assert np.asarray(found.low)[:2].tolist() == [-math.inf, -math.inf]
    assert found.reasons() == {"drier than the formulas reach": 2}
    wet = convert_water(
        np.array([400_000.0, math.nan]), VOLUME_FRACTION, PRESSURE_DEW_POINT, pressure_bar_g=40.0
    )
    assert np.asarray(wet.low)[0] == pytest.approx(100.0)
    assert np.asarray(wet.high)[0] == math.inf
    assert wet.reasons() == {"no reading": 1, "wetter than the formulas reach": 1}
    assert np.isnan(np.asarray(wet.low)[1])


def test_bounds_beyond_the_estimate_are_open() -> None:
    """Where the bound itself leaves the range it becomes infinite and not the end of the range."""
    # about -59 °C at 200 bar(g): a quarter more enhancement would put it below -60 °C
    ppm = single(convert_water(-59.0, PRESSURE_DEW_POINT, VOLUME_FRACTION, pressure_bar_g=200.0))
    found = convert_water(ppm, VOLUME_FRACTION, PRESSURE_DEW_POINT, pressure_bar_g=200.0)
    assert single(found) == pytest.approx(-59.0, abs=1e-9)
    assert found.low == -math.inf
    wet = single(convert_water(59.0, PRESSURE_DEW_POINT, VOLUME_FRACTION, pressure_bar_g=200.0))
    found = convert_water(wet, VOLUME_FRACTION, PRESSURE_DEW_POINT, pressure_bar_g=200.0)
    assert found.high == math.inf


@pytest.mark.parametrize(
    ("value", "source", "target", "words"),
    [
        (
            0.0,
            VOLUME_FRACTION,
            ATMOSPHERIC_DEW_POINT,
            r"0 ppm is drier than a dew point of -100 °C",
        ),
        (-130.0, ATMOSPHERIC_DEW_POINT, VOLUME_FRACTION, r"-130 °C is outside -100 to 98\.54 °C"),
        (120.0, PRESSURE_DEW_POINT, ATMOSPHERIC_DEW_POINT, "120 °C is outside -100 to 100 °C"),
        (60.0, PRESSURE_DEW_POINT, RELATIVE_HUMIDITY, "nothing"),
        (2e6, VOLUME_FRACTION, MASS_CONCENTRATION, "2e\\+06 ppm is wetter than air can be"),
        (-900.0, HUMIDITY_RATIO, VOLUME_FRACTION, "-900 g/kg is drier than air can be"),
        (130.0, RELATIVE_HUMIDITY, VOLUME_FRACTION, "130 %RH is wetter than air can be"),
        (90.0, ATMOSPHERIC_DEW_POINT, PRESSURE_DEW_POINT, r"report the dew point as above 100 °C"),
    ],
)
def test_floats_out_of_range(value: float, source: str, target: str, words: str) -> None:
    """A float out of range raises and tells which end it passed."""
    if words == "nothing":
        # More than saturated is told as a number: there the water has condensed.
        assert (
            single(
                convert_water(value, source, target, pressure_bar_g=40.0, gas_temperature_c=20.0)
            )
            > 100
        )
        return
    with pytest.raises(RangeError, match=words):
        convert_water(value, source, target, pressure_bar_g=40.0, gas_temperature_c=20.0)


@pytest.mark.parametrize(
    ("pressure_bar_g", "words"),
    [
        (350.0, r"pressure 351\.013 bar\(a\) is outside 0\.1 to 350 bar\(a\)"),
        (-1.0, r"pressure 0\.01325 bar\(a\) is outside"),
    ],
)
def test_pressure_out_of_range(pressure_bar_g: float, words: str) -> None:
    """A pressure nobody has formulas for is refused, for arrays too."""
    for value in (5.0, np.array([5.0])):
        with pytest.raises(RangeError, match=words):
            convert_water(value, PRESSURE_DEW_POINT, VOLUME_FRACTION, pressure_bar_g=pressure_bar_g)


def test_gas_temperature_out_of_range() -> None:
    """The gas temperature must lie where saturation is known."""
    with pytest.raises(RangeError, match=r"gas temperature 150 °C is outside -100 to 100 °C"):
        convert_water(
            50.0, RELATIVE_HUMIDITY, VOLUME_FRACTION, pressure_bar_g=7.0, gas_temperature_c=150.0
        )


def test_what_is_missing_is_named() -> None:
    """A missing pressure or temperature is asked for, never taken."""
    with pytest.raises(QuantityError, match=r"pressure dew point needs the pressure of the air"):
        convert_water(3.0, PRESSURE_DEW_POINT, VOLUME_FRACTION)
    with pytest.raises(QuantityError, match=r"relative humidity needs the pressure"):
        convert_water(3.0, RELATIVE_HUMIDITY, VOLUME_FRACTION, gas_temperature_c=20.0)
    with pytest.raises(QuantityError, match=r"relative humidity needs the temperature"):
        convert_water(3.0, RELATIVE_HUMIDITY, VOLUME_FRACTION, pressure_bar_g=0.0)


def test_what_is_no_water_content() -> None:
    """Wrong quantities, units and numbers are refused by name."""
    with pytest.raises(QuantityError, match=r"'wetness' does not state a water content"):
        convert_water(3.0, "wetness", VOLUME_FRACTION)
    with pytest.raises(QuantityError, match=r"mg/m3 .* cannot be scaled to °C"):
        convert_water(3.0, ATMOSPHERIC_DEW_POINT, VOLUME_FRACTION, from_unit="mg/m3")
    with pytest.raises(QuantityError, match=r"ppm .* cannot be scaled to K"):
        convert_water(3.0, ATMOSPHERIC_DEW_POINT, VOLUME_FRACTION, to_unit="K")
    with pytest.raises(QuantityError, match="nan is not a water content"):
        convert_water(math.nan, VOLUME_FRACTION, MASS_CONCENTRATION)
    with pytest.raises(QuantityError, match="pressure nan is not a number"):
        convert_water(3.0, PRESSURE_DEW_POINT, VOLUME_FRACTION, pressure_bar_g=math.nan)


def test_nothing_to_convert() -> None:
    """The same quantity only changes its unit, needs nothing and assumes nothing."""
    found = convert_water(-120.0, PRESSURE_DEW_POINT, PRESSURE_DEW_POINT, to_unit="K")
    assert single(found) == pytest.approx(153.15)
    assert found.assumptions == ()
    assert found.phases == ()
    array = convert_water(np.array([1.0, math.nan]), VOLUME_FRACTION, VOLUME_FRACTION)
    assert array.reasons() == {"no reading": 1}


def test_assumptions_are_told() -> None:
    """Every assumption that entered stands in the result, none that did not."""
    line = convert_water(-20.0, PRESSURE_DEW_POINT, MASS_CONCENTRATION, pressure_bar_g=7.0)
    assert line.assumptions == (
        "below 0 °C taken as frost point",
        "enhancement factor of air at 8.013 bar(a)",
        "gauge pressure counted from 1.01325 bar(a)",
        "mg/m3 at 20 °C and 101.325 kPa(a), ideal gas, moist air",
    )
    plain = convert_water(50.0, VOLUME_FRACTION, MASS_CONCENTRATION, reference_temperature_c=0.0)
    assert plain.assumptions == (
        "mg/m3 at 0 °C and 101.325 kPa(a), ideal gas, moist air",
        "ppm as mole fraction of the moist air",
    )
    humid = convert_water(
        45.0, RELATIVE_HUMIDITY, HUMIDITY_RATIO, pressure_bar_g=0.0, gas_temperature_c=-5.0
    )
    assert "relative humidity over ice at -5 °C" in humid.assumptions
    assert "g/kg as grams of water to a kilogram of dry air" in humid.assumptions
    both = convert_water(np.array([20.0, 20_000.0]), VOLUME_FRACTION, ATMOSPHERIC_DEW_POINT)
    assert both.phases == ("ice", "water")
    assert "atmospheric dew point at 101.325 kPa(a)" in both.assumptions


def test_reference_state_of_the_mass_concentration() -> None:
    """The mg/m3 follow their reference temperature and pressure."""
    warm = single(convert_water(66.8, VOLUME_FRACTION, MASS_CONCENTRATION))
    cold = single(
        convert_water(66.8, VOLUME_FRACTION, MASS_CONCENTRATION, reference_temperature_c=0.0)
    )
    thin = single(
        convert_water(66.8, VOLUME_FRACTION, MASS_CONCENTRATION, reference_pressure_kpa=100.0)
    )
    assert cold / warm == pytest.approx(293.15 / 273.15)
    assert thin / warm == pytest.approx(100.0 / 101.325)


def test_another_pressure() -> None:
    """The dew point rises with the pressure, and through the atmosphere it is the same road."""
    straight = convert_moisture(
        -40.0, PRESSURE_DEW_POINT, PRESSURE_DEW_POINT, pressure_bar_g=7.0, to_pressure_bar_g=40.0
    )
    low = convert_water(-40.0, PRESSURE_DEW_POINT, VOLUME_FRACTION, pressure_bar_g=7.0)
    around = convert_water(single(low), VOLUME_FRACTION, PRESSURE_DEW_POINT, pressure_bar_g=40.0)
    assert single(straight) == pytest.approx(single(around), abs=1e-9)
    assert single(straight) > -40.0


def test_supercooled_water() -> None:
    """Over supercooled water the same air has a lower dew point, and no ice is named."""
    frost = convert_moisture(127.4, VOLUME_FRACTION, ATMOSPHERIC_DEW_POINT)
    dew = convert_moisture(127.4, VOLUME_FRACTION, ATMOSPHERIC_DEW_POINT, supercooled=True)
    assert single(frost) == pytest.approx(-40.0, abs=0.01)
    # Murphy and Koop: the frost point of -40 °C is a dew point of -43.65 °C.
    assert single(dew) == pytest.approx(-43.65, abs=0.03)
    assert dew.phases == ("supercooled",)
    assert "below 0 °C taken over supercooled water, as asked" in dew.assumptions
    mixed = convert_moisture(
        single(dew),
        ATMOSPHERIC_DEW_POINT,
        ATMOSPHERIC_DEW_POINT,
        supercooled=True,
        to_supercooled=False,
    )
    assert single(mixed) == pytest.approx(single(frost), abs=1e-9)
    assert mixed.assumptions[:2] == (
        "given: below 0 °C taken over supercooled water, as asked",
        "result: below 0 °C taken as frost point",
    )
    warm = convert_moisture(
        np.array([-10.0, 10.0]), ATMOSPHERIC_DEW_POINT, HUMIDITY_RATIO, supercooled=True
    )
    back = convert_moisture(
        np.asarray(warm.value), HUMIDITY_RATIO, ATMOSPHERIC_DEW_POINT, supercooled=True
    )
    np.testing.assert_allclose(np.asarray(back.value), [-10.0, 10.0], atol=1e-9)
    assert back.phases == ("supercooled", "water")


@settings(deadline=None, max_examples=100)
@given(
    ends=st.tuples(st.floats(-10.0, 3e4), st.floats(-10.0, 3e4)).map(sorted),
    share=st.floats(0.0, 1.0),
    pressure_bar_g=st.sampled_from([7.0, 200.0]),
)
def test_an_interval_never_narrows(ends: list[float], share: float, pressure_bar_g: float) -> None:
    """Whatever lies in the interval lies in what it becomes."""
    interval = Interval(ends[0], ends[1], "mg/m3")
    found = water_bounds(
        interval, MASS_CONCENTRATION, PRESSURE_DEW_POINT, pressure_bar_g=pressure_bar_g
    )
    inner = ends[0] + share * (ends[1] - ends[0])
    value = convert_water(
        np.array([inner]), MASS_CONCENTRATION, PRESSURE_DEW_POINT, pressure_bar_g=pressure_bar_g
    )
    low, high = float(np.asarray(value.low)[0]), float(np.asarray(value.high)[0])
    assert found.lower - 1e-9 <= low
    assert high <= found.upper + 1e-9


def test_intervals_with_open_ends() -> None:
    """Infinite ends stay infinite, and excluded ends stay excluded."""
    below = water_bounds(
        Interval.less_than(50.0, "mg/m3"), MASS_CONCENTRATION, ATMOSPHERIC_DEW_POINT
    )
    assert below.lower == -math.inf
    assert below.upper == pytest.approx(-45.58, abs=0.01)
    assert not below.upper_included
    above = water_bounds(Interval.more_than(50.0), VOLUME_FRACTION, MASS_CONCENTRATION)
    assert above.upper == math.inf
    assert above.unit == "mg/m3"
    exact = water_bounds(Interval.exactly(67.0, "ppm"), VOLUME_FRACTION, ATMOSPHERIC_DEW_POINT)
    assert exact.is_exact
