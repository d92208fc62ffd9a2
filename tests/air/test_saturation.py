"""Saturation pressures against the releases, other libraries and published tables."""

from __future__ import annotations

import math

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from iapws._iapws import _Sublimation_Pressure

from lungwort.air import saturation
from lungwort.errors import QuantityError, RangeError

# --- from the source ------------------------------------------------------------------------------


def test_check_value_of_the_release_over_ice() -> None:
    """The check value of the IAPWS release."""
    # IAPWS R14-08(2011), table 3: sublimation pressure at 230 K = 8.94735e-6 MPa.
    assert saturation.saturation_pressure_ice(230.0 - 273.15) == pytest.approx(8.94735, abs=5e-6)


def test_triple_point() -> None:
    """Water and ice meet at the triple point."""
    # IAPWS: 611.657 Pa at 0.01 °C, the same over water and over ice.
    assert saturation.saturation_pressure_ice(0.01) == pytest.approx(611.657, abs=1e-9)
    assert saturation.saturation_pressure_water(0.01) == pytest.approx(611.657, abs=5e-4)


@pytest.mark.parametrize(
    ("temperature_c", "printed", "half_digit"),
    [
        # Boiling point at one atmosphere on the ITS-90, 99.974 °C (BIPM/IAPWS).
        (99.974, 101325.0, 4.0),
        # Wagner and Pruss 2002, table 13.1 (300 K, 373 K), from memory: 0.003537, 0.10090 MPa
        (300.0 - 273.15, 3537.0, 0.5),
    ],
)
def test_water_as_published(temperature_c: float, printed: float, half_digit: float) -> None:
    """The boiling point and a printed table over water."""
    found = saturation.saturation_pressure_water(temperature_c)
    assert found == pytest.approx(printed, abs=half_digit)


@pytest.mark.parametrize(
    ("temperature_c", "printed"),
    [
        # Murphy and Koop 2005, table C1 (from memory): over supercooled water at 240 K 37.667 Pa,
        # at 273.15 K 611.213 Pa; over ice at 240 K 27.272 Pa.
        (240.0 - 273.15, 37.667),
        (0.0, 611.213),
    ],
)
def test_supercooled_as_published(temperature_c: float, printed: float) -> None:
    """Murphy and Koop's own table over supercooled water."""
    assert saturation.saturation_pressure_water(temperature_c) == pytest.approx(printed, abs=5e-4)


# Computed once with iapws 1.5.5 (R14-08) over ice and CoolProp 8.0.0 (IAPWS-95) over water; the
# last digit as shown. The auxiliary equation used here is 7.2e-5 from IAPWS-95 itself.
OVER_ICE = {
    -5.0: 401.741,
    -10.0: 259.874,
    -11.0: 237.714,
    -20.0: 103.239,
    -30.0: 38.0051,
    -40.0: 12.8412,
    -45.6: 6.7090,
    -50.0: 3.9377,
    -60.0: 1.08135,
    -70.0: 0.26173,
    -80.0: 0.05477,
}
OVER_WATER = {
    3.0: 758.08,
    5.0: 872.57,
    10.0: 1228.20,
    20.0: 2339.32,
    30.0: 4246.97,
    40.0: 7384.94,
    50.0: 12351.9,
    60.0: 19946.4,
}


@pytest.mark.parametrize("temperature_c", OVER_ICE)
def test_table_over_ice(temperature_c: float) -> None:
    """Four digits of R14-08 as another library gives them."""
    found = saturation.saturation_pressure_ice(temperature_c)
    assert f"{found:.4g}" == f"{OVER_ICE[temperature_c]:.4g}"


@pytest.mark.parametrize("temperature_c", OVER_WATER)
def test_table_over_water(temperature_c: float) -> None:
    """IAPWS-95 as another library gives it."""
    found = saturation.saturation_pressure_water(temperature_c)
    assert found == pytest.approx(OVER_WATER[temperature_c], rel=7.2e-5)


@pytest.mark.parametrize(
    ("temperature_c", "printed"),
    # Wexler 1977 and Hyland and Wexler 1983 on the older temperature scale, from memory; the scales
    # differ by up to 0.005 K here, which is 0.05 %.
    [(-10.0, 259.90), (-20.0, 103.26), (-40.0, 12.84)],
)
def test_older_tables_over_ice(temperature_c: float, printed: float) -> None:
    """Older tables agree within the change of temperature scale."""
    assert saturation.saturation_pressure_ice(temperature_c) == pytest.approx(printed, rel=6e-4)


# --- other libraries over grids -------------------------------------------------------------------


def test_water_against_coolprop() -> None:
    """IAPWS-95 on a grid from the triple point to near the critical point."""
    grid = np.linspace(0.02, 100.0, 201)
    reference = PropsSI("P", "T", grid + 273.15, "Q", 0, "Water")
    found = saturation.saturation_pressure_water(grid)
    np.testing.assert_allclose(found, reference, rtol=7.2e-5)
    # and up to just below the critical point
    hot = np.linspace(100.0, 370.0, 28)
    reference = PropsSI("P", "T", hot + 273.15, "Q", 0, "Water")
    np.testing.assert_allclose(saturation.saturation_pressure_water(hot), reference, rtol=3e-4)


def test_ice_against_iapws() -> None:
    """R14-08 on a grid over its whole range."""
    grid = np.linspace(-223.1, 0.0, 224)
    reference = [_Sublimation_Pressure(float(t) + 273.15) * 1e6 for t in grid]
    np.testing.assert_allclose(saturation.saturation_pressure_ice(grid), reference, rtol=1e-6)


def test_both_against_psychrolib() -> None:
    """ASHRAE's formulas (Hyland and Wexler 1983), on the older temperature scale."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    for t in np.linspace(-99.0, -1.0, 50):
        reference = psychrolib.GetSatVapPres(float(t))
        found = saturation.saturation_pressure_ice(float(t))
        assert found == pytest.approx(reference, rel=0.008 if t < -60 else 1.2e-3)
    for t in np.linspace(1.0, 100.0, 50):
        reference = psychrolib.GetSatVapPres(float(t))
        assert saturation.saturation_pressure_water(float(t)) == pytest.approx(reference, rel=5e-4)


# --- properties -----------------------------------------------------------------------------------


@settings(deadline=None, max_examples=200)
@given(st.floats(*saturation.LIQUID_RANGE_C))
def test_dew_temperature_comes_back(temperature_c: float) -> None:
    """The inverse over water finds the temperature again."""
    pressure = saturation.saturation_pressure_water(temperature_c)
    assert saturation.dew_temperature(pressure) == pytest.approx(temperature_c, abs=1e-9)


@settings(deadline=None, max_examples=200)
@given(st.floats(*saturation.ICE_RANGE_C))
def test_frost_temperature_comes_back(temperature_c: float) -> None:
    """The inverse over ice finds the temperature again."""
    pressure = saturation.saturation_pressure_ice(temperature_c)
    assert saturation.frost_temperature(pressure) == pytest.approx(temperature_c, abs=1e-9)


def test_rising_and_water_above_ice() -> None:
    """Pressure rises with temperature, and supercooled water stands above ice."""
    grid = np.linspace(-50.0, 100.0, 30_001)
    water = saturation.saturation_pressure_water(grid)
    assert np.all(np.diff(water) > 0)
    cold = np.linspace(-50.0, 0.0, 1001)
    ice = saturation.saturation_pressure_ice(cold)
    assert np.all(np.diff(ice) > 0)
    assert np.all(saturation.saturation_pressure_water(cold) > ice)


# --- edge cases -----------------------------------------------------------------------------------


@pytest.mark.parametrize("temperature_c", [-50.1, 374.0, math.nan, math.inf])
def test_water_out_of_range(temperature_c: float) -> None:
    """No value beyond the ends over water."""
    with pytest.raises(
        RangeError, match=r"temperature over water .* °C is outside -50 to 373\.946"
    ):
        saturation.saturation_pressure_water(temperature_c)


@pytest.mark.parametrize("temperature_c", [-224.0, 0.02, math.nan])
def test_ice_out_of_range(temperature_c: float) -> None:
    """No value beyond the ends over ice."""
    with pytest.raises(RangeError, match=r"is outside -223\.15 to 0\.01 °C\. Above 0\.01 °C"):
        saturation.saturation_pressure_ice(temperature_c)


def test_arrays_keep_the_good_ones() -> None:
    """One bad element leaves its neighbours alone."""
    grid = np.array([-300.0, -40.0, math.nan, 5.0])
    found = saturation.saturation_pressure(grid, "ice")
    assert np.isnan(found).tolist() == [True, False, True, True]
    assert found[1] == saturation.saturation_pressure(-40.0, "ice")
    found = saturation.saturation_pressure(grid, "water")
    assert np.isnan(found).tolist() == [True, False, True, False]
    back = saturation.dew_temperature(np.array([-1.0, 0.0, 2339.0, math.nan]))
    assert np.isnan(back).tolist() == [True, True, False, True]


def test_vapour_pressure_out_of_range() -> None:
    """The inverses refuse what has no temperature."""
    with pytest.raises(
        RangeError, match=r"vapour pressure over ice 700 Pa is outside .* to 611\.657"
    ):
        saturation.frost_temperature(700.0)
    with pytest.raises(RangeError, match="vapour pressure over water 0 Pa is outside"):
        saturation.dew_temperature(0.0)


def test_phase_is_named_right() -> None:
    """There are two phases and no third."""
    with pytest.raises(QuantityError, match="phase 'steam' is neither 'water' nor 'ice'"):
        saturation.saturation_pressure(20.0, "steam")
