"""Enhancement factor against CoolProp, IAPWS G11-15, Greenspan and a published table."""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAProps_Aux
from iapws.humidAir import _fugacity, _virial

from lungwort.air import enhancement, saturation
from lungwort.errors import QuantityError, RangeError

# --- from the source ------------------------------------------------------------------------------

# L. Greenspan, J. Res. NBS 80A (1976) 41, coefficients as printed by B. Hardy (1998) for the
# ITS-90: f = exp[α (1 - e/P) + β (P/e - 1)], α = Σ A_i t^i, ln β = Σ B_i t^i.
GREENSPAN = {
    "water": (
        (3.53624e-4, 2.9328363e-5, 2.6168979e-7, 8.5813609e-9),
        (-10.7588, 6.3268134e-2, -2.5368934e-4, 6.3405286e-7),
    ),
    "supercooled": (
        (3.62183e-4, 2.6061244e-5, 3.8667770e-7, 3.8268958e-9),
        (-10.7604, 6.3987441e-2, -2.6351566e-4, 1.6725084e-6),
    ),
    "ice": (
        (3.64449e-4, 2.9367585e-5, 4.8874766e-7, 4.3669918e-9),
        (-10.7271, 7.6215115e-2, -1.7490155e-4, 2.4668279e-6),
    ),
}


def greenspan(temperature_c: float, pressure_kpa: float, name: str) -> float:
    """Greenspan's factor, with the saturation pressures used here."""
    a, b = GREENSPAN[name]
    phase = "ice" if name == "ice" else "water"
    ratio = saturation.saturation_pressure(temperature_c, phase) / 1000 / pressure_kpa
    alpha = sum(x * temperature_c**i for i, x in enumerate(a))
    beta = math.exp(sum(x * temperature_c**i for i, x in enumerate(b)))
    return math.exp(alpha * (1 - ratio) + beta * (1 / ratio - 1))


@pytest.mark.parametrize(
    ("name", "grid", "tolerances"),
    [
        ("water", (0.5, 10.0, 20.0, 30.0, 40.0), {101.325: 3e-4, 800.0: 1.5e-3, 2000.0: 5e-3}),
        ("supercooled", (-50.0, -30.0, -10.0), {101.325: 8e-4, 800.0: 3.4e-3, 2000.0: 1e-2}),
        ("ice", (-60.0, -50.0, -30.0, -10.0), {101.325: 1e-3, 800.0: 4.5e-3, 2000.0: 1.4e-2}),
    ],
)
def test_against_greenspan(
    name: str, grid: tuple[float, ...], tolerances: dict[float, float]
) -> None:
    """The older formula, whose authors state up to some parts in a thousand below 2 MPa."""
    for pressure_kpa, tolerance in tolerances.items():
        for t in grid:
            found = enhancement.enhancement_factor(
                t, pressure_kpa, "ice" if name == "ice" else "water"
            )
            assert found == pytest.approx(greenspan(t, pressure_kpa, name), rel=tolerance)


# Computed with CoolProp 8.0.0, HAProps_Aux('f'); as rounded.
COOLPROP = {
    1.01325: (1.0063, 1.0051, 1.0046, 1.0043, 1.0042, 1.0041, 1.0042, 1.0044, 1.0048),
    8.0: (1.0509, 1.0404, 1.0364, 1.0330, 1.0302, 1.0271, 1.0253, 1.0239, 1.0230),
    41.0: (1.3049, 1.2331, 1.2067, 1.1847, 1.1664, 1.1468, 1.1341, 1.1233, 1.1144),
    100.0: (2.0121, 1.7181, 1.6194, 1.5410, 1.4778, 1.4134, 1.3717, 1.3371, 1.3082),
}
COLUMNS_C = (-50.0, -30.0, -20.0, -10.0, 0.01, 10.0, 20.0, 30.0, 40.0)


@pytest.mark.parametrize("pressure_bar", COOLPROP)
def test_table_of_factors(pressure_bar: float) -> None:
    """The factors CoolProp gives, over ice and over water, up to 100 bar(a)."""
    for t, printed in zip(COLUMNS_C, COOLPROP[pressure_bar], strict=True):
        phase = "ice" if t <= 0.01 else "water"
        found = enhancement.enhancement_factor(t, pressure_bar * 100, phase)
        assert found == pytest.approx(printed, abs=5e-5, rel=2e-4)


# Computed beyond every published range from the same equation, with V and Z of dry air of
# CoolProp 8.0.0, rounded to two decimals; the molar volume of ice was taken a little differently,
# which shows in the last digit at -50 °C.
ESTIMATES = {
    154: (2.90, 2.26, 2.06, 1.90, 1.76, 1.67, 1.59, 1.53, 1.48),
    201: (3.95, 2.86, 2.54, 2.30, 2.09, 1.94, 1.83, 1.73, 1.66),
    233: (4.78, 3.33, 2.91, 2.60, 2.33, 2.14, 2.00, 1.88, 1.79),
    301: (6.80, 4.46, 3.80, 3.32, 2.89, 2.61, 2.40, 2.23, 2.09),
    331: (7.80, 5.01, 4.23, 3.66, 3.16, 2.84, 2.59, 2.39, 2.23),
}


@pytest.mark.parametrize("pressure_bar", ESTIMATES)
def test_table_of_estimates(pressure_bar: int) -> None:
    """The estimates beyond 100 bar(a), with bounds of a quarter."""
    for t, printed in zip(COLUMNS_C, ESTIMATES[pressure_bar], strict=True):
        found = enhancement.estimated_enhancement_factor(
            t, pressure_bar * 100.0, "ice" if t < 0 else "water"
        )
        assert found.best == pytest.approx(printed, abs=0.0051, rel=4e-3)
        assert float(found.low) == pytest.approx(0.75 * float(found.best))
        assert float(found.high) == pytest.approx(1.25 * float(found.best))


def test_estimate_joins_the_checked_range_within_its_uncertainty() -> None:
    """At 100 bar(a) the estimate and the checked formula agree far within the bounds."""
    for t in (-50.0, -20.0, 20.0, 50.0):
        phase = "ice" if t < 0 else "water"
        checked = enhancement.enhancement_factor(t, 10_000.0, phase)
        estimate = enhancement.estimated_enhancement_factor(t, 10_000.0, phase)
        assert float(estimate.low) < float(checked) < float(estimate.high)
        assert float(estimate.best) == pytest.approx(float(checked), rel=0.03)


# --- other libraries over grids -------------------------------------------------------------------


@pytest.mark.parametrize("pressure_kpa", [20.0, 101.325, 500.0, 801.325, 2000.0, 4100.0, 10_000.0])
def test_against_coolprop(pressure_kpa: float) -> None:
    """The same equation with the same coefficients, so close agreement is asked for."""
    for t in (*np.arange(-100.0, 0.0, 9.0), *np.arange(0.5, 100.0, 9.0)):
        phase = "ice" if t < 0 else "water"
        if t > 0 and saturation.saturation_pressure_water(float(t)) > 950 * pressure_kpa:
            continue
        reference = HAProps_Aux("f", t + 273.15, pressure_kpa * 1000, 0)[0]
        found = enhancement.enhancement_factor(float(t), pressure_kpa, phase)
        assert found == pytest.approx(reference, rel=1.3e-4)


@pytest.mark.parametrize(
    ("temperature_c", "pressure_kpa", "phase"),
    [(-60.0, 800.0, "ice"), (-20.0, 800.0, "ice"), (20.0, 800.0, "water"), (10.0, 4500.0, "water")],
)
def test_against_the_fugacity_of_iapws(
    temperature_c: float, pressure_kpa: float, phase: str
) -> None:
    """At saturation the fugacity of water in the air (IAPWS G11-15) is that of the phase itself."""
    kelvin = temperature_c + 273.15
    factor = float(enhancement.enhancement_factor(temperature_c, pressure_kpa, phase))
    pure_pa = saturation.saturation_pressure(temperature_c, phase)
    fraction = factor * pure_pa / (pressure_kpa * 1000)
    in_air_pa = _fugacity(kelvin, pressure_kpa / 1000, fraction) * 1e6
    virial = _virial(kelvin)["Bww"]
    r_t = 8.314462618 * kelvin
    volume = 19.6e-6 if phase == "ice" else 18.0e-6  # m3/mol, handbook values
    dissolved = (
        0.0 if phase == "ice" else pressure_kpa * 1000 / (6.7e9 if temperature_c > 15 else 5.6e9)
    )
    phase_pa = (
        pure_pa
        * math.exp(virial * pure_pa / r_t + volume * (pressure_kpa * 1000 - pure_pa) / r_t)
        * (1 - dissolved)
    )
    assert in_air_pa == pytest.approx(phase_pa, rel=1.5e-3)


# --- properties -----------------------------------------------------------------------------------


def test_direction() -> None:
    """More pressure gives more, more warmth gives less at pressure, none can give less than one."""
    pressures = np.linspace(50.0, 10_000.0, 200)
    for t, phase in ((-60.0, "ice"), (20.0, "water")):
        assert np.all(np.diff(enhancement.enhancement_factor(t, pressures, phase)) > 0)
    temperatures = np.linspace(-100.0, 0.0, 101)
    at_pressure = enhancement.enhancement_factor(temperatures, 5000.0, "ice")
    assert np.all(np.diff(at_pressure) < 0)
    assert np.all(np.asarray(at_pressure) > 1)


# --- edge cases -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("temperature_c", "pressure_kpa", "phase"),
    [
        (-101.0, 101.325, "ice"),
        (0.5, 101.325, "ice"),
        (-51.0, 101.325, "water"),
        (100.0, 101.325, "water"),
        (20.0, 5.0, "water"),
        (20.0, 10_001.0, "water"),
        (math.nan, 101.325, "water"),
    ],
)
def test_out_of_range(temperature_c: float, pressure_kpa: float, phase: str) -> None:
    """A float raises, an element of an array becomes NaN."""
    with pytest.raises(RangeError, match=r"enhancement factor at .* the formula is good from"):
        enhancement.enhancement_factor(temperature_c, pressure_kpa, phase)
    found = enhancement.enhancement_factor(np.array([temperature_c]), pressure_kpa, phase)
    assert np.isnan(found).tolist() == [True]


def test_estimate_out_of_range() -> None:
    """The estimate has its own range and says where to go below it."""
    with pytest.raises(RangeError, match=r"beyond 35 000 kPa\(a\) nothing is given"):
        enhancement.estimated_enhancement_factor(20.0, 40_000.0)
    with pytest.raises(RangeError, match="use enhancement_factor"):
        enhancement.estimated_enhancement_factor(20.0, 800.0)
    found = enhancement.estimated_enhancement_factor(np.array([-70.0, -20.0]), 20_000.0, "ice")
    assert np.isnan(found.best).tolist() == [True, False]
    nothing = enhancement.estimated_enhancement_factor(np.array([-70.0]), 20_000.0, "ice")
    assert np.isnan(nothing.low).tolist() == [True]


def test_phase_is_named_right() -> None:
    """There are two phases and no third."""
    with pytest.raises(QuantityError, match="phase 'fog' is neither"):
        enhancement.enhancement_factor(20.0, 101.325, "fog")


def test_supercooled_joins_water_at_the_triple_point() -> None:
    """No step where supercooled water becomes water."""
    below = enhancement.enhancement_factor(0.01 - 1e-9, 2000.0, "water")
    above = enhancement.enhancement_factor(0.01, 2000.0, "water")
    assert below == pytest.approx(float(above), rel=1e-8)
