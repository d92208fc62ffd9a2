"""From a limit to the range that a reading is held against."""

from __future__ import annotations

import math
import re

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import QuantityError
from lungwort.limits.load import available, limit_set
from lungwort.limits.model import (
    DEW_POINT_MARGIN,
    PRESSURE_TABLE,
    Allowed,
    Bound,
    Conditions,
    Limit,
    PressureRow,
)
from lungwort.limits.resolve import (
    check_own_copy,
    limit_text,
    not_covered,
    resolve,
    row_texts,
    set_cautions,
)

AIRLINE = limit_set("en12021-2014-airline")
CHARGING = limit_set("en12021-2014-charging")
NORWAY = limit_set("norway-filling-plant")


def table_limit(*rows: tuple[float, float], above: float = 0.0, is_open: bool = False) -> Limit:
    """Make a water table."""
    return Limit(
        key="water",
        analyte="water",
        quantity="mass_concentration",
        unit="mg/m3",
        kind=PRESSURE_TABLE,
        table=tuple(PressureRow(pressure, Bound(value)) for pressure, value in rows),
        table_above_bar_g=above,
        last_row_serves_above=is_open,
    )


def at(limit: Limit, pressure: float | None) -> Allowed:
    """Resolve at a supply pressure [bar(g)]."""
    return resolve(limit, Conditions(supply_pressure_bar_g=pressure))


def upper(allowed: Allowed) -> float:
    """Give the upper bound, which must be settled."""
    assert allowed.open_reason == ""
    assert allowed.upper is not None
    return allowed.upper.value


# From the source: the rows of EN 12021:2014 (from memory), HSE DVIS9 and the Norwegian § 5-5


@pytest.mark.parametrize(
    ("pressure", "mg_m3", "how"),
    [
        (5.0, 290, "row up to 5 bar(g)"),
        (7.0, 160, "row up to 10 bar(g)"),
        (10.0, 160, "row up to 10 bar(g)"),
        (10.01, 110, "row up to 15 bar(g)"),
        (40.0, 50, "row up to 40 bar(g)"),
        (0.5, 290, "row up to 5 bar(g)"),
    ],
)
def test_airline_water(pressure: float, mg_m3: float, how: str) -> None:
    """The stricter neighbouring row, exactly at a row that row."""
    allowed = at(AIRLINE.limit("water"), pressure)
    assert upper(allowed) == mg_m3
    assert allowed.how == how


@pytest.mark.parametrize(
    ("pressure", "mg_m3", "how"),
    [
        (40.1, 50, "row up to 200 bar(g)"),
        (200.0, 50, "row up to 200 bar(g)"),
        (200.5, 35, "row above 200 bar(g)"),
        (300.0, 35, "row above 200 bar(g)"),
        (330.0, 35, "row above 200 bar(g)"),
    ],
)
def test_charging_water(pressure: float, mg_m3: float, how: str) -> None:
    """Above 200 bar 35 mg/m3, without an end."""
    allowed = at(CHARGING.limit("water"), pressure)
    assert upper(allowed) == mg_m3
    assert allowed.how == how


def test_norwegian_water_between_the_two_printed_pressures() -> None:
    """50 mg/m3 is printed for 200 bar, 30 for 300 bar: in between the stricter."""
    water = NORWAY.limit("water")
    assert upper(at(water, 200.0)) == 50
    assert upper(at(water, 250.0)) == 30
    assert "ends at 300 bar(g)" in at(water, 300.5).open_reason


# Worked by hand


def test_lower_neighbour_serves_where_it_is_the_stricter() -> None:
    """Nothing says that a table falls with pressure."""
    rising = table_limit((5, 10), (10, 40))
    assert upper(at(rising, 7.0)) == 10
    assert at(rising, 7.0).how == "row up to 5 bar(g)"
    assert upper(at(rising, 10.0)) == 40


def test_excluded_bound_is_the_stricter_of_two_equal_ones() -> None:
    """'< 50' allows less than '<= 50'."""
    limit = evolve(
        table_limit((5, 50), (10, 50)),
        table=(
            PressureRow(5, Bound(50, included=False)),
            PressureRow(10, Bound(50, included=True)),
        ),
    )
    assert at(limit, 7.0).upper == Bound(50, included=False)


def test_open_table_of_one_row() -> None:
    """Its only row serves everything above its beginning."""
    limit = table_limit((300, 35), above=200, is_open=True)
    assert at(limit, 500.0).how == "row above 200 bar(g)"
    assert row_texts(limit) == (("above 200 bar(g)", "≤ 35 mg/m3"),)


@pytest.mark.parametrize(
    ("temperature", "dew_point", "how"),
    [
        (5.0, 0.0, "5 °C below 5 °C"),
        (-10.0, -15.0, "5 °C below -10 °C"),
        (20.1, 15.1, "5 °C below 20.1 °C"),
    ],
)
def test_margin_below_the_lowest_temperature(
    temperature: float, dew_point: float, how: str
) -> None:
    """Without float dust."""
    allowed = resolve(AIRLINE.limit("water_margin"), Conditions(lowest_temperature_c=temperature))
    assert allowed.upper == Bound(dew_point)
    assert allowed.how == how
    assert allowed.lower is None


def test_ten_fahrenheit_margin() -> None:
    """29 CFR 1910.134(i)(5)(ii): 70 °F ambient asks for 60 °F, 15.56 °C, at most."""
    margin = limit_set("osha-1910-134-grade-d-airline").limit("water_margin")
    allowed = resolve(margin, Conditions(lowest_temperature_c=(70 - 32) / 1.8))
    sixty_f = (60 - 32) / 1.8
    assert sixty_f - 0.005 <= upper(allowed) <= sixty_f


def test_default_dew_point_of_the_old_edition() -> None:
    """EN 12021:1998 (from memory): -11 °C where the temperature is not known."""
    margin = limit_set("en12021-1998-airline").limit("water_margin")
    unknown = resolve(margin, Conditions())
    assert upper(unknown) == -11
    assert unknown.how == "default where the lowest temperature is not known"
    assert upper(resolve(margin, Conditions(lowest_temperature_c=-20.0))) == -25


def test_range_and_wording_pass_through() -> None:
    """They depend on nothing."""
    assert resolve(AIRLINE.limit("o2"), Conditions()) == Allowed(Bound(20.0), Bound(22.0))
    assert resolve(AIRLINE.limit("odour"), Conditions()) == Allowed()


# Open limits


def test_unknown_pressure_stays_open_and_says_what_to_give() -> None:
    """Above the loosest row a reading is outside whatever the pressure."""
    allowed = at(AIRLINE.limit("water"), None)
    assert allowed.upper is None
    assert "--supply-pressure '7 bar(g)'" in allowed.open_reason
    assert allowed.surely_outside_above == 290


def test_unknown_temperature_stays_open_and_says_what_to_give() -> None:
    """A temperature in the log is not taken for it."""
    margin = limit_set("osha-1910-134-grade-d-airline").limit("water_margin")
    allowed = resolve(margin, Conditions(supply_pressure_bar_g=7.0))
    assert allowed.upper is None
    assert "--lowest-temperature '5 °C'" in allowed.open_reason
    assert "not taken for it" in allowed.open_reason
    assert allowed.surely_outside_above is None


@pytest.mark.parametrize(
    ("limit", "pressure", "reason"),
    [
        (AIRLINE.limit("water"), 40.01, r"the table ends at 40 bar\(g\)"),
        (AIRLINE.limit("water"), 0.0, r"the table begins above 0 bar\(g\)"),
        (CHARGING.limit("water"), 40.0, r"the table begins above 40 bar\(g\)"),
        (CHARGING.limit("water"), 7.0, r"supply pressure is 7 bar\(g\)"),
    ],
)
def test_pressure_outside_the_table_stays_open(limit: Limit, pressure: float, reason: str) -> None:
    """Nothing is extrapolated, and nothing is claimed of such air."""
    allowed = at(limit, pressure)
    assert allowed.upper is None
    assert allowed.surely_outside_above is None

    assert re.search(reason, allowed.open_reason)


# Refused


@pytest.mark.parametrize(
    ("conditions", "message"),
    [
        (Conditions(supply_pressure_bar_g=math.nan), r"supply pressure of nan bar\(g\) cannot be"),
        (Conditions(supply_pressure_bar_g=math.inf), r"supply pressure of inf bar\(g\) cannot be"),
        (Conditions(supply_pressure_bar_g=-1.02), r"above vacuum \(-1.0132 bar\(g\)\)"),
        (Conditions(supply_pressure_bar_g=-1.01325), r"above vacuum"),
        (Conditions(supply_pressure_bar_g=1000.5), r"up to 1000 bar\(g\)"),
        (Conditions(lowest_temperature_c=math.nan), "lowest temperature of nan °C cannot be"),
        (Conditions(lowest_temperature_c=-math.inf), "lowest temperature of -inf °C cannot be"),
        (Conditions(lowest_temperature_c=-90.5), "from -90 to 60 °C"),
        (Conditions(lowest_temperature_c=61.0), "from -90 to 60 °C"),
    ],
)
@pytest.mark.parametrize("key", ["co", "water", "water_margin", "odour"])
def test_conditions_that_cannot_be(conditions: Conditions, message: str, key: str) -> None:
    """Refused for every limit, also for one that does not need them."""
    with pytest.raises(QuantityError, match=message):
        resolve(AIRLINE.limit(key), conditions)


def test_margin_without_a_number() -> None:
    """Only made by hand; the loader refuses it."""
    limit = Limit("m", "water", "pressure_dew_point", "°C", kind=DEW_POINT_MARGIN)
    with pytest.raises(QuantityError, match="limit 'm' is a dew point margin and states no margin"):
        resolve(limit, Conditions())
    assert limit_text(limit) == "pressure dew point 0 °C below the lowest temperature"


# Properties

TABLES = st.lists(
    st.tuples(st.integers(1, 400), st.integers(0, 500)),
    min_size=1,
    max_size=8,
    unique_by=lambda row: row[0],
).map(lambda rows: tuple((float(p), float(v)) for p, v in sorted(rows)))


@given(rows=TABLES, pressure=st.floats(0.01, 400.0), is_open=st.booleans())
@settings(deadline=None, max_examples=300)
def test_never_looser_than_either_neighbour(
    *, rows: tuple[tuple[float, float], ...], pressure: float, is_open: bool
) -> None:
    """Held against a search over all rows; the bound is always a printed one."""
    allowed = at(table_limit(*rows, is_open=is_open), pressure)
    below = [value for row, value in rows if row <= pressure]
    above = [value for row, value in rows if row >= pressure]
    exact = [value for row, value in rows if row == pressure]
    if exact:
        assert upper(allowed) == exact[0]
    elif not above:
        assert bool(allowed.open_reason) is not is_open
        if is_open:
            assert upper(allowed) == below[-1]
    else:
        neighbours = [above[0], *below[-1:]]
        assert all(upper(allowed) <= value for value in neighbours)
        assert upper(allowed) in neighbours


@given(st.floats(0.01, 40.0), st.floats(0.01, 40.0))
@settings(deadline=None, max_examples=200)
def test_more_pressure_never_allows_more_water(one: float, other: float) -> None:
    """The printed table falls; so does what is taken from it."""
    low, high = sorted((one, other))
    water = AIRLINE.limit("water")
    assert upper(at(water, high)) <= upper(at(water, low))


@given(rows=TABLES, pressure=st.floats(0.01, 1000.0), is_open=st.booleans())
@settings(deadline=None, max_examples=200)
def test_surely_outside_is_outside_at_every_pressure(
    *, rows: tuple[tuple[float, float], ...], pressure: float, is_open: bool
) -> None:
    """What is told without the pressure holds with any."""
    limit = table_limit(*rows, is_open=is_open)
    surely = at(limit, None).surely_outside_above
    assert surely is not None
    allowed = at(limit, pressure)
    if not allowed.open_reason:
        assert upper(allowed) <= surely


@given(st.floats(-90, 60), st.floats(-90, 60))
@settings(deadline=None, max_examples=200)
def test_colder_never_allows_more_water(one: float, other: float) -> None:
    """And the bound stays the margin below the temperature."""
    low, high = sorted((one, other))
    margin = AIRLINE.limit("water_margin")
    cold = upper(resolve(margin, Conditions(lowest_temperature_c=low)))
    warm = upper(resolve(margin, Conditions(lowest_temperature_c=high)))
    assert cold <= warm
    assert cold == pytest.approx(low - 5.0, abs=1e-9)


# As shown


@pytest.mark.parametrize(
    ("limit", "conditions", "text"),
    [
        (AIRLINE.limit("co"), None, "≤ 5 ppm"),
        (AIRLINE.limit("o2"), None, "20 to 22 %"),
        (AIRLINE.limit("odour"), None, "no significant odour or taste"),
        (AIRLINE.limit("water"), None, "≤ 50 to 290 mg/m3 by supply pressure"),
        (AIRLINE.limit("water"), Conditions(), "≤ 50 to 290 mg/m3 by supply pressure"),
        (
            AIRLINE.limit("water"),
            Conditions(supply_pressure_bar_g=7.0),
            "≤ 160 mg/m3 (row up to 10 bar(g))",
        ),
        (
            AIRLINE.limit("water_margin"),
            None,
            "pressure dew point 5 °C below the lowest temperature",
        ),
        (
            AIRLINE.limit("water_margin"),
            Conditions(lowest_temperature_c=5.0),
            "≤ 0 °C pressure dew point (5 °C below 5 °C)",
        ),
        (
            limit_set("en12021-1998-airline").limit("water_margin"),
            None,
            (
                "pressure dew point 5 °C below the lowest temperature, "
                "≤ -11 °C where that is not known"
            ),
        ),
        (
            limit_set("osha-1910-134-grade-d-cylinder").limit("water"),
            Conditions(),
            "≤ -50 °F atmospheric dew point",
        ),
        (limit_set("niosh-rel").limit("co_8h"), Conditions(), "≤ 35 ppm, 8 h mean"),
        (
            Limit("x", "o2", "volume_fraction", "%", lower=Bound(20, included=False)),
            None,
            "> 20 %",
        ),
        (Limit("x", "o2", "volume_fraction", "%", lower=Bound(19.5)), None, "≥ 19.5 %"),
        (
            Limit("x", "co", "volume_fraction", "ppm", upper=Bound(0.1, included=False)),
            None,
            "< 0.1 ppm",
        ),
        (
            Limit(
                "x",
                "o2",
                "volume_fraction",
                "%",
                lower=Bound(20),
                upper=Bound(22, included=False),
            ),
            None,
            "≥ 20 and < 22 %",
        ),
        (table_limit((5, 50), (10, 50)), None, "≤ 50 mg/m3 by supply pressure"),
        (
            evolve(table_limit((5, 50)), table=(PressureRow(5, Bound(50, included=False)),)),
            None,
            "< 50 mg/m3 by supply pressure",
        ),
    ],
)
def test_limit_text(limit: Limit, conditions: Conditions | None, text: str) -> None:
    """General form without conditions, filled in with them."""
    allowed = None if conditions is None else resolve(limit, conditions)
    assert limit_text(limit, allowed) == text


def test_own_copy_is_asked_for_what_is_from_memory() -> None:
    """And for nothing else."""
    assert check_own_copy(AIRLINE.limit("water")) == (
        "from memory: check against your own copy of the document"
    )
    assert check_own_copy(AIRLINE.limit("co")) == ""


def test_what_a_set_does_not_cover_is_named() -> None:
    """29 CFR 1910.430 limits neither oxygen nor water."""
    assert not_covered(AIRLINE) == ()
    assert not_covered(limit_set("osha-1910-430-diving")) == ("oxygen", "water")
    cautions = set_cautions(limit_set("osha-1910-430-diving"))
    assert any("oxygen, water: a verdict by it says nothing of them" in c for c in cautions)
    assert any(c.startswith("4 of 4 limits are from memory") for c in cautions)


def test_advice_covers_nothing() -> None:
    """CGA G-7.1 Grade E: 24 ppm water is by use, so the set does not stand for dry air."""
    assert not_covered(limit_set("cga-g7-1-grade-e")) == ("water",)


def test_every_set_defers_to_its_document() -> None:
    """The last caution is never left out."""
    for one in available():
        assert "a competent person answers" in set_cautions(one)[-1]
    assert len(set_cautions(limit_set("osha-1910-134-grade-d-airline"))) == 1
