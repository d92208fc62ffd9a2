"""Gas conversions against published and hand-worked values."""

from __future__ import annotations

import math

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.air import gas
from lungwort.errors import QuantityError, RangeError

# --- from the source ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("temperature_c", "printed", "half_digit"),
    [
        # CODATA 2018, molar volume of an ideal gas (273.15 K, 101.325 kPa): 22.413 969 54e-3 m3/mol
        (0.0, 22.41396954, 5e-9),
        # CCOHS, converting occupational exposure limits: 24.45 L at 25 °C; a convention, 24.465
        # when worked out, so it fits to 0.1 % only
        (25.0, 24.45, 0.02),
        # EH40 (UK exposure limits): 24.05526 L at 20 °C and 1 atm; from memory, with an older R
        (20.0, 24.05526, 2e-4),
    ],
)
def test_molar_volume_as_published(temperature_c: float, printed: float, half_digit: float) -> None:
    """Molar volumes as printed in published documents."""
    assert gas.molar_volume_l_mol(temperature_c, 101.325) == pytest.approx(printed, abs=half_digit)


def test_carbon_dioxide_limit_as_printed() -> None:
    """Published pairs of ppm and mg/m3 for carbon dioxide."""
    # Commission Directive 2006/15/EC, annex: carbon dioxide 5000 ppm = 9000 mg/m3 at 20 °C and
    # 101.3 kPa (rounded there to two digits; from memory): 9147 worked out.
    assert gas.convert_gas(5000.0, "ppm", "mg/m3", gas="co2") == pytest.approx(9000, rel=0.02)
    # Worked example in circulation with 44 g/mol and 24.45 L/mol at 25 °C: 8998 mg/m3.
    assert gas.convert_gas(5000.0, "ppm", "mg/m3", gas="co2", temperature_c=25.0) == pytest.approx(
        8998, rel=1e-3
    )


# --- worked by hand -------------------------------------------------------------------------------

# mg/m3 a ppm at 0, 20 and 25 °C and 101.325 kPa: M / (8.314462618 T / 101.325), M of the IUPAC
# abridged standard atomic weights 2021; each rounded to the digits shown.
FACTORS = {
    "co": (1.2497, 1.1644, 1.1449),
    "co2": (1.9635, 1.8295, 1.7988),
    "no": (1.3387, 1.2474, 1.2265),
    "no2": (2.0525, 1.9125, 1.8804),
    "so2": (2.8582, 2.6632, 2.6186),
    "h2s": (1.5205, 1.4168, 1.3930),
    "ch4": (0.7158, 0.6669, 0.6557),
    "water": (0.8038, 0.7489, 0.7364),
    "o3": (2.1414, 1.9953, 1.9619),
}


@pytest.mark.parametrize("key", FACTORS)
def test_factors(key: str) -> None:
    """The mass of one ppm at three reference temperatures."""
    for temperature_c, factor in zip((0.0, 20.0, 25.0), FACTORS[key], strict=True):
        found = gas.mg_m3_per_ppm(key, temperature_c=temperature_c)
        assert found == pytest.approx(factor, abs=5.1e-5)


def test_sum_over_the_table_of_factors() -> None:
    """An alarm for a typing error in the table above."""
    assert math.fsum(map(math.fsum, FACTORS.values())) == pytest.approx(41.7052, abs=1e-9)


def test_breathing_air_limits() -> None:
    """Limits of breathing air, and what the reference temperature does to them."""
    assert gas.convert_gas(500.0, "ppm", "mg/m3", gas="co2") == pytest.approx(915, abs=0.5)
    assert gas.convert_gas(5.0, "ml/m³", "mg/m³", gas="co") == pytest.approx(5.82, abs=0.005)
    # The same mass in a cubic metre is 7.3 % more at 0 °C than at 20 °C: 293.15/273.15.
    cold = gas.convert_gas(1.0, "ppm", "mg/m3", gas="co", temperature_c=0.0)
    warm = gas.convert_gas(1.0, "ppm", "mg/m3", gas="co", temperature_c=20.0)
    assert cold / warm == pytest.approx(293.15 / 273.15, rel=1e-12)


def test_prefixes() -> None:
    """Decimal prefixes leave no float dust."""
    assert gas.convert_gas(0.5, "%", "ppm") == 5000.0
    assert gas.convert_gas(3.0, "ppm", "ppb") == 3000.0
    assert gas.convert_gas(1.0, "g/m3", "ug/m3") == 1e6
    assert gas.convert_gas(20.9, "%", "g/m3", gas="o2") == pytest.approx(278.0, abs=0.05)
    assert gas.convert_gas(1e-6, "mol/mol", "mg/m3", gas="co") == pytest.approx(1.16441, abs=5e-6)


def test_direction() -> None:
    """Warmer or thinner air holds less of the same share."""
    base = gas.mg_m3_per_ppm("co", temperature_c=20.0, pressure_kpa=101.325)
    assert gas.mg_m3_per_ppm("co", temperature_c=25.0, pressure_kpa=101.325) < base
    assert gas.mg_m3_per_ppm("co", temperature_c=20.0, pressure_kpa=90.0) < base
    assert gas.mg_m3_per_ppm("co2") > base


@settings(deadline=None, max_examples=100)
@given(
    value=st.floats(-1e4, 1e6),
    key=st.sampled_from(sorted(FACTORS)),
    one=st.sampled_from(["ppm", "ppb", "%", "mol/mol"]),
    other=st.sampled_from(["mg/m3", "ug/m3", "g/m3"]),
    temperature_c=st.floats(-50, 100),
    pressure_kpa=st.floats(50, 1000),
)
def test_round_trip(
    value: float, key: str, one: str, other: str, temperature_c: float, pressure_kpa: float
) -> None:
    """There and back gives the reading again."""
    there = gas.convert_gas(
        value, one, other, gas=key, temperature_c=temperature_c, pressure_kpa=pressure_kpa
    )
    back = gas.convert_gas(
        there, other, one, gas=key, temperature_c=temperature_c, pressure_kpa=pressure_kpa
    )
    assert back == pytest.approx(value, rel=1e-12, abs=1e-300)


def test_arrays_and_columns_as_floats() -> None:
    """Arrays and Polars columns give exactly what single floats give."""
    readings = np.array([0.0, 1.5, math.nan, 7.0])
    as_array = gas.convert_gas(readings, "ppm", "mg/m3", gas="co")
    as_column = (
        pl.DataFrame({"co": readings})
        .select(gas.convert_gas_expression(pl.col("co"), "ppm", "mg/m3", gas="co"))
        .to_series()
        .to_numpy()
    )
    one_by_one = [gas.convert_gas(float(x), "ppm", "mg/m3", gas="co") for x in readings]
    np.testing.assert_array_equal(as_array, one_by_one)
    np.testing.assert_array_equal(as_column, one_by_one)
    volumes = gas.molar_volume_l_mol(np.array([0.0, 300.0]), 101.325)
    assert isinstance(volumes, np.ndarray)
    assert volumes[0] == pytest.approx(22.41397, abs=5e-6)
    assert math.isnan(volumes[1])


# --- edge cases -----------------------------------------------------------------------------------


def test_gas_missing_or_twice() -> None:
    """Between ppm and mg/m3 the gas is needed, once."""
    with pytest.raises(QuantityError, match=r"differ by the molar mass.*not both"):
        gas.convert_gas(1.0, "ppm", "mg/m3")
    with pytest.raises(QuantityError, match="not both"):
        gas.convert_gas(1.0, "ppm", "mg/m3", gas="co", molar_mass=28.0)
    assert gas.convert_gas(1.0, "ppm", "mg/m3", molar_mass=92.14) == pytest.approx(3.830, abs=5e-4)


def test_gas_without_a_molar_mass() -> None:
    """A mixture or an unknown gas is refused by name."""
    with pytest.raises(QuantityError, match=r"nitrogen oxides .* has no single molar mass"):
        gas.convert_gas(1.0, "ppm", "mg/m3", gas="nox")
    with pytest.raises(QuantityError, match=r"gas 'radon' is not known\. Known gases: o2, n2, co"):
        gas.molar_mass_g_mol("radon")
    with pytest.raises(QuantityError, match=r"molar mass 0\.028 g/mol is outside 1 to 1000"):
        gas.mg_m3_per_ppm(molar_mass=0.028)


def test_units_of_something_else() -> None:
    """Only units of a gas in air are converted."""
    with pytest.raises(QuantityError, match="°C is a unit of temperature, not of a gas in air"):
        gas.convert_gas(1.0, "ppm", "°C")
    with pytest.raises(QuantityError, match="g/kg is a unit of humidity ratio"):
        gas.convert_gas(1.0, "g/kg", "ppm")


@pytest.mark.parametrize(
    ("temperature_c", "pressure_kpa", "words"),
    [
        (293.15, 101.325, r"reference temperature 293\.15 °C is outside -100 to 200 °C"),
        (20.0, 101325.0, r"reference pressure 101325 kPa\(a\) is outside 1 to 2000"),
        (20.0, 0.0, r"reference pressure 0 kPa\(a\) is outside"),
        (math.nan, 101.325, "reference temperature nan"),
    ],
)
def test_reference_state_out_of_range(
    temperature_c: float, pressure_kpa: float, words: str
) -> None:
    """Kelvin or pascals given by mistake are noticed."""
    with pytest.raises(RangeError, match=words):
        gas.molar_volume_l_mol(temperature_c, pressure_kpa)
