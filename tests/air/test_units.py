"""Units, analytes and intervals."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.air import analytes, units
from lungwort.air.interval import INSIDE, OUTSIDE, STRADDLES, Interval
from lungwort.errors import QuantityError

# --- from the source ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "unit", "to", "printed", "half_digit"),
    [
        # BIPM, SI Brochure, 9th edition: 1 bar = 100 kPa; 1 atm = 101 325 Pa
        (1.0, "bar(a)", "kPa(a)", 100.0, 1e-9),
        (1.0, "atm", "Pa(a)", 101_325.0, 1e-6),
        # NIST SP 811, appendix B.8: 1 psi = 6.894 757 kPa; 1 ft3/min = 4.719 474e-4 m3/s;
        # t/°C = (t/°F - 32)/1.8
        (1.0, "psi(a)", "kPa(a)", 6.894757, 5e-7),
        (1.0, "ft3/min", "L/min", 4.719474e-4 * 60_000, 5e-10 * 60_000),
        (212.0, "°F", "°C", 100.0, 1e-9),
        (-50.0, "°F", "K", 227.594, 5e-4),
        # 29 CFR 1910.134(i): -50 °F (-45.6 °C), 10 °F of difference
        (-50.0, "°F", "°C", -45.6, 0.05),
        (0.0, "bar(g)", "bar(a)", 1.01325, 1e-12),
        (0.0, "psi(g)", "psi(a)", 14.69595, 5e-6),
    ],
)
def test_published_conversions(
    value: float, unit: str, to: str, printed: float, half_digit: float
) -> None:
    """Definitions and printed factors."""
    assert units.scale(value, unit, to) == pytest.approx(printed, abs=half_digit)


# --- worked by hand -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spelling", "name"),
    [
        ("ml/m³", "ppm"),
        ("ppmv", "ppm"),
        ("µmol/mol", "ppm"),
        ("μmol/mol", "ppm"),
        ("Vol.-%", "%"),
        ("% vol", "%"),
        ("mg/m^3", "mg/m3"),
        ("mg·m⁻³", "mg/m3"),
        ("mg m-3", "mg/m3"),
        ("µg/m3", "ug/m3"),
        ("bar (ü)", "bar(g)"),
        ("barg", "bar(g)"),
        ("bar a", "bar(a)"),
        ("bar", "bar"),
        ("PSIG", "psi(g)"),
        ("mbar", "hPa"),
        ("℃", "°C"),
        ("deg C", "°C"),
        ("ºF", "°F"),
        ("% r.F.", "%RH"),
        ("scfm", "ft3/min"),
        ("furlong", None),
        ("", None),
    ],
)
def test_spellings(spelling: str, name: str | None) -> None:
    """What loggers and people write, in several languages."""
    assert units.unit_name(spelling) == name


def test_every_unit_knows_its_own_name() -> None:
    """A name is a spelling of itself."""
    assert {name: units.unit_name(name) for name in units.UNITS} == {n: n for n in units.UNITS}


@pytest.mark.parametrize(
    ("text", "value", "name"),
    [
        ("24 ppmv", 24.0, "ppm"),
        ("-50 °F", -50.0, "°F"),
        ("−50 °F", -50.0, "°F"),
        ("7 bar(g)", 7.0, "bar(g)"),
        ("0,5 mg/m³", 0.5, "mg/m3"),
        ("0,500 mg/m³", 0.5, "mg/m3"),
        ("1050,5 ppm", 1050.5, "ppm"),
        (".5mg/m3", 0.5, "mg/m3"),
        ("1e3 ppm", 1000.0, "ppm"),
        ("  5.  % ", 5.0, "%"),
    ],
)
def test_quantities(text: str, value: float, name: str) -> None:
    """A number with its unit."""
    assert units.parse_quantity(text) == (value, name)


# --- properties -----------------------------------------------------------------------------------

DIMENSIONS: dict[str, list[str]] = {}
for _unit in units.UNITS.values():
    DIMENSIONS.setdefault(_unit.dimension, []).append(_unit.name)
PAIRS = [(a, b) for names in DIMENSIONS.values() for a in names for b in names]


@settings(deadline=None, max_examples=200)
@given(pair=st.sampled_from(PAIRS), value=st.floats(-1e4, 1e4))
def test_scaling_comes_back_and_keeps_order(pair: tuple[str, str], value: float) -> None:
    """There and back is the same number; more is more in every unit."""
    there = units.scale(value, *pair)
    assert units.scale(there, pair[1], pair[0]) == pytest.approx(value, rel=1e-9, abs=1e-6)
    assert units.scale(value + 1.0, *pair) > there


# --- edge cases -----------------------------------------------------------------------------------


def test_no_scaling_across_dimensions() -> None:
    """A ppm is no mg/m3, and bar without its zero is no pressure yet."""
    with pytest.raises(QuantityError, match=r"ppm \(volume fraction\) cannot be scaled to mg/m3"):
        units.scale(1.0, "ppm", "mg/m3")
    for pair in (("bar", "bar(g)"), ("psi(a)", "psi")):
        with pytest.raises(QuantityError, match="gauge or absolute is not stated"):
            units.scale(1.0, *pair)
    with pytest.raises(QuantityError, match=r"unit 'furlong' is not known\. Known units: ppm"):
        units.unit("furlong")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("ppm", "does not begin with a number"),
        ("", "does not begin with a number"),
        ("24", "has no unit"),
        ("24 furlongs", "unit 'furlongs' is not known"),
        ("1,050.2 ppm", r"can be 1\.050 or 1050"),
        ("1,050 ppm", r"can be 1\.050 or 1050"),
        ("-12,500 ppm", r"can be -12\.500 or -12500"),
    ],
)
def test_unreadable_quantities(text: str, words: str) -> None:
    """What cannot be read is refused with an example."""
    with pytest.raises(QuantityError, match=words):
        units.parse_quantity(text)


def test_quantities_of_units() -> None:
    """A unit tells the quantity; a temperature never tells that it is a dew point."""
    assert analytes.quantity_of_unit("ml/m3") == analytes.VOLUME_FRACTION
    assert analytes.quantity_of_unit("°C") == analytes.TEMPERATURE
    assert analytes.quantity_of_unit("bar") == analytes.PRESSURE
    assert analytes.quantity_of_unit("mg/kg") == analytes.HUMIDITY_RATIO
    with pytest.raises(QuantityError, match="is not known"):
        analytes.quantity_of_unit("furlong")


def test_canonical_units() -> None:
    """Oxygen in %, other gases in ppm, the rest by quantity."""
    assert analytes.canonical_unit("o2", analytes.VOLUME_FRACTION) == "%"
    assert analytes.canonical_unit("co", analytes.VOLUME_FRACTION) == "ppm"
    assert analytes.canonical_unit("water", analytes.VOLUME_FRACTION) == "ppm"
    assert analytes.canonical_unit("water", analytes.PRESSURE_DEW_POINT) == "°C"
    for key, analyte in analytes.ANALYTES.items():
        assert key == analyte.key
        assert analyte.unit == "" or analyte.unit in units.UNITS
        assert analyte.possible[0] < analyte.possible[1]


# IUPAC, abridged standard atomic weights 2021 (from memory): H 1.0080, C 12.011, N 14.007,
# O 15.999, S 32.06.
ATOMS = {"H": 1.0080, "C": 12.011, "N": 14.007, "O": 15.999, "S": 32.06}
FORMULAS = {
    "o2": "OO",
    "n2": "NN",
    "co": "CO",
    "co2": "COO",
    "no": "NO",
    "no2": "NOO",
    "so2": "SOO",
    "h2s": "HHS",
    "ch4": "CHHHH",
    "o3": "OOO",
    "water": "HHO",
}


@pytest.mark.parametrize("key", FORMULAS)
def test_molar_masses(key: str) -> None:
    """Molar masses are the sums of their atoms, within the last digit of the atomic weights."""
    total = sum(ATOMS[atom] for atom in FORMULAS[key])
    assert analytes.ANALYTES[key].molar_mass_g_mol == pytest.approx(total, abs=0.006)


# --- intervals ------------------------------------------------------------------------------------

NUMBERS = st.integers(-5, 5).map(float)


@settings(deadline=None, max_examples=300)
@given(
    ends=st.tuples(NUMBERS, NUMBERS).filter(lambda pair: pair[0] < pair[1]),
    included=st.tuples(st.booleans(), st.booleans()),
    allowed=st.tuples(NUMBERS, NUMBERS),
    allowed_included=st.tuples(st.booleans(), st.booleans()),
)
def test_against_brute_force(
    ends: tuple[float, float],
    included: tuple[bool, bool],
    allowed: tuple[float, float],
    allowed_included: tuple[bool, bool],
) -> None:
    """What every point on a fine grid says is what the interval says."""
    interval = Interval(*ends, lower_included=included[0], upper_included=included[1])
    points = [
        x / 4
        for x in range(-24, 25)
        if ends[0] < x / 4 < ends[1]
        or (x / 4 == ends[0] and included[0])
        or (x / 4 == ends[1] and included[1])
    ]

    def fits(x: float) -> bool:
        above = x > allowed[0] or (x == allowed[0] and allowed_included[0])
        below = x < allowed[1] or (x == allowed[1] and allowed_included[1])
        return above and below

    fitting = [fits(x) for x in points]
    expected = INSIDE if all(fitting) else STRADDLES if any(fitting) else OUTSIDE
    found = interval.against(
        at_least=allowed[0],
        at_most=allowed[1],
        at_least_included=allowed_included[0],
        at_most_included=allowed_included[1],
    )
    # An interval on both sides of what is allowed, none of it inside, counts as straddling.
    if allowed[0] > allowed[1] or allowed == (allowed[0], allowed[0]):
        assert found in {expected, STRADDLES, OUTSIDE}
    else:
        assert found == expected


def test_intervals_in_words() -> None:
    """How an interval is shown."""
    assert str(Interval.exactly(4.0)) == "4"
    assert str(Interval.less_than(0.05, "mg/m3")) == "< 0.05 mg/m3"
    assert str(Interval(-math.inf, 0.05, "mg/m3")) == "≤ 0.05 mg/m3"
    assert str(Interval.more_than(50.0, "ppm")) == "> 50 ppm"
    assert str(Interval(50.0, math.inf, "ppm")) == "≥ 50 ppm"
    assert str(Interval(1.0, 2.0, upper_included=False)) == "1 to < 2"
    assert str(Interval(-math.inf, math.inf)) == "any value"


def test_intervals_that_are_none() -> None:
    """Backwards, empty and without numbers."""
    with pytest.raises(QuantityError, match="runs backwards"):
        Interval(2.0, 1.0)
    with pytest.raises(QuantityError, match="is empty"):
        Interval(1.0, 1.0, lower_included=False)
    with pytest.raises(QuantityError, match="not a number"):
        Interval(math.nan, 1.0)
