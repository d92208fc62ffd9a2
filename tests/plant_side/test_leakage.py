"""Leakage from a decay test: against a handbook rule, CoolProp's masses and an orifice by scipy."""

from __future__ import annotations

import math
import tomllib

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from lungwort.errors import PlantError
from lungwort.plant.free_air import KG_PER_L
from lungwort.plant.leakage import LEAST_CHOKED_BAR_G, LeakTest, leakage, read_leak_tests
from lungwort.tomlfile import Mistakes, Table

FINE = 0.0001
"""Smallest step that a gauge may be given [bar]."""


def _test(**more: float | str) -> LeakTest:
    given = {"volume_l": 500.0, "from_bar_g": 8.0, "to_bar_g": 7.0, "minutes": 10.0, **more}
    return LeakTest(**given)  # type: ignore[arg-type]


def _read(text: str) -> tuple[LeakTest, ...]:
    top = Table(tomllib.loads(text), (), "", Mistakes("plant.toml", text, error=PlantError))
    found = read_leak_tests(top)
    top.mistakes.raise_any()
    return found


def test_loss_is_that_of_the_handbook_rule() -> None:
    """Usual rule (compressed-air handbooks, from memory): V (p1 - p2) / (t p0), over the test.

    At the mean pressure the rule of an exponential differs from it by its second order only.
    """
    expected = 500.0 * 1.0 / (10.0 * 1.01325)

    assert leakage([_test()], 7.5).likely_l_min == pytest.approx(expected, rel=2e-3)


def test_loss_is_the_mass_that_coolprop_misses() -> None:
    """CoolProp (Lemmon et al. 2000): real densities before and after, with the air cooling down.

    The mean over the test lies at the logarithmic mean of the two pressures.
    """
    begin = PropsSI("Dmass", "T", 300.15, "P", 8e5 + 101_325, "Air")
    end = PropsSI("Dmass", "T", 296.15, "P", 7e5 + 101_325, "Air")
    expected = 0.5 * (begin - end) / KG_PER_L / 10.0
    first, last = 9.01325 / 300.15, 8.01325 / 296.15
    mean_bar_a = (first - last) / math.log(first / last) * 298.15

    found = leakage(
        [_test(temperature_from_c=27.0, temperature_to_c=23.0)], mean_bar_a - 1.01325, air_c=25.0
    )

    assert found.likely_l_min == pytest.approx(expected, rel=6e-3)
    assert found.with_temperatures


def test_loss_at_another_pressure_is_that_of_an_orifice() -> None:
    """An isothermal vessel that empties through a choked orifice, integrated by scipy.solve_ivp.

    Choked mass flow: A p sqrt(k / (R T)) (2/(k+1))^((k+1)/(2(k-1))), any textbook on gas dynamics.
    """
    area, k, gas, kelvin, volume = 1e-6, 1.4, 287.05, 293.15, 0.5
    factor = math.sqrt(k / (gas * kelvin)) * (2 / (k + 1)) ** ((k + 1) / (2 * (k - 1)))
    fall = solve_ivp(
        lambda _, p: -area * factor * p * gas * kelvin / volume,
        (0.0, 600.0),
        [9.01325e5],
        rtol=1e-9,
    )
    end_bar_g = fall.y[0][-1] / 1e5 - 1.01325
    expected_at_6 = area * factor * 7.01325e5 * 60.0 / KG_PER_L

    found = leakage([_test(to_bar_g=end_bar_g, resolution_bar=FINE)], 6.0)

    assert found.likely_l_min == pytest.approx(expected_at_6, rel=1e-4)


def test_no_doubt_where_air_is_choked_all_the_time() -> None:
    """Ratio of pressures at which choking begins: (2/2.4)^3.5 = 0.528 for air (gas dynamics)."""
    assert pytest.approx(1.01325 / (2 / 2.4) ** 3.5 - 1.01325, abs=0.05) == LEAST_CHOKED_BAR_G
    assert leakage([_test()], 7.0).doubts == ()
    (doubt,) = leakage([_test(from_bar_g=2.0, to_bar_g=0.5)], 7.0).doubts
    assert "ends below 0.95 bar(g)" in doubt


def test_interval_is_that_of_the_readings() -> None:
    """By hand: half a step off at both ends, and 2 K between them where no temperature is known."""
    found = leakage([_test()], 7.5)
    begin, end = 9.01325 + 0.05, 8.01325 - 0.05
    rate = math.log(begin / 292.15 / (end / 294.15)) / 10.0
    expected = rate * 500.0 * 8.51325 / 1.01325

    assert found.high_l_min == pytest.approx(expected, rel=1e-6)
    assert 0 < found.low_l_min < found.likely_l_min < found.high_l_min
    assert not found.with_temperatures


def test_warming_hides_a_leak() -> None:
    """The same fall of pressure with warmer air at the end means that more was lost."""
    warm = leakage([_test(temperature_from_c=20.0, temperature_to_c=25.0)], 7.0)
    same = leakage([_test(temperature_from_c=20.0, temperature_to_c=20.0)], 7.0)
    cold = leakage([_test(temperature_from_c=25.0, temperature_to_c=20.0)], 7.0)

    assert cold.likely_l_min < same.likely_l_min < warm.likely_l_min


def test_no_fall_is_no_proof_of_no_leak() -> None:
    """A fall below one step of the gauge leaves an upper end above zero, and a doubt."""
    found = leakage([_test(to_bar_g=8.0)], 7.0)

    assert found.low_l_min == 0.0
    assert found.likely_l_min == 0.0
    assert found.high_l_min > 1.0
    assert "less than one step of the gauge" in found.doubts[0]


def test_repeats_count_once_and_parts_add_up() -> None:
    """Of repeats the worst counts; two parts lose what both lose."""
    worse = _test(to_bar_g=6.5)
    one = leakage([worse], 7.0).high_l_min

    assert leakage([_test(), worse, _test()], 7.0).high_l_min == pytest.approx(one)
    hall = leakage([worse, _test(part="hall")], 7.0).high_l_min
    assert hall == pytest.approx(one + leakage([_test()], 7.0).high_l_min)


@given(
    volume_l=st.floats(10, 5000),
    fall_bar=st.floats(0.2, 3.0),
    minutes=st.floats(1, 600),
    at_bar_g=st.floats(1.0, 12.0),
)
@settings(max_examples=40, deadline=None)
def test_round_trip(volume_l: float, fall_bar: float, minutes: float, at_bar_g: float) -> None:
    """Letting the air go at the rate found for so long makes the pressure fall as in the test."""
    test = _test(volume_l=volume_l, to_bar_g=8.0 - fall_bar, minutes=minutes)
    rate = leakage([test], at_bar_g).likely_l_min
    k = rate / (volume_l * (at_bar_g + 1.01325) / 1.01325)

    assert 9.01325 * math.exp(-k * minutes) - 1.01325 == pytest.approx(8.0 - fall_bar, abs=1e-9)


def test_a_rise_is_refused() -> None:
    """Air came in: the compressor was not shut off."""
    with pytest.raises(PlantError, match="ends with more air than it began with"):
        leakage([_test(to_bar_g=8.5, temperature_from_c=20.0, temperature_to_c=20.0)], 7.0)


def test_no_test_is_refused() -> None:
    """Nothing is assumed in its place here."""
    with pytest.raises(PlantError, match="no leak test is given"):
        leakage([], 7.0)


@pytest.mark.parametrize("pressure", [0.0, -1.0, math.nan, math.inf])
def test_a_working_pressure_that_cannot_be_is_refused(pressure: float) -> None:
    """Zero, negative and no numbers."""
    with pytest.raises(PlantError, match="the working pressure"):
        leakage([_test()], pressure)


@pytest.mark.parametrize(
    ("key", "value", "told"),
    [
        ("volume_l", 0.0, "the volume is 0 L"),
        ("volume_l", math.nan, "the volume is nan L"),
        ("minutes", -3.0, "the time is -3 min"),
        ("from_bar_g", math.inf, "the pressure at the beginning is inf"),
        ("resolution_bar", 0.0, "the step of the gauge is 0 bar"),
    ],
)
def test_a_test_that_cannot_be_is_refused(key: str, value: float, told: str) -> None:
    """Each figure is held against its range."""
    with pytest.raises(PlantError, match="is allowed") as refused:
        _test(**{key: value})
    assert told in str(refused.value)


SHEET = """
[[leak_test]]
volume_l = 520
from_bar_g = 8.0
to_bar_g = 7.0
minutes = 14.0
temperature_from_c = 24
temperature_to_c = 22
"""


def test_read_leak_tests() -> None:
    """With a gauge of 0.1 bar where nothing is said of it."""
    (found,) = _read(SHEET)

    assert found.temperature_to_c == 22.0
    assert found.resolution_bar == 0.1


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("volume_l = 520\n", "", "'volume_l' is missing"),
        ("temperature_to_c = 22\n", "", "'temperature_to_c' is missing. Give both"),
        ("minutes = 14.0", "minutes = 0", "found 0, allowed is 0.1 to"),
        ("minutes = 14.0", "minutes = nan", "found nan"),
        ("minutes", "minute", "Near: 'minutes'"),
        ("to_bar_g = 7.0\nminutes = 14.0\ntemperature_from_c = 24\ntemperature_to_c = 22", "to_bar_g = 8.2\nminutes = 14.0", "the pressure rose"),
    ],
)  # fmt: skip
def test_mistakes_of_a_sheet_are_told(old: str, new: str, told: str) -> None:
    """With table and key."""
    with pytest.raises(PlantError, match=r"\[\[leak_test\]\] number 1") as refused:
        _read(SHEET.replace(old, new))
    assert told in str(refused.value)
