"""Readings of one quantity against limits of another."""

from __future__ import annotations

import numpy as np
import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.verdict.build_log import limits, make_log, upper

from lungwort.air.interval import Interval
from lungwort.air.moisture import convert_water
from lungwort.limits.model import Allowed, Bound, Conditions, Limit
from lungwort.verdict.basis import Basis, NotComparable, basis
from lungwort.verdict.judge import judge
from lungwort.verdict.window import Edge, Window

QUIET = [1.0] * 100


# From the source: EU limit values for CO, 20 ppm (23 mg/m3) at 20 °C and 101.3 kPa (Directive
# 91/322/EEC annex for the state; ECHA list for the pair), confirmed. Computed: 1.1644 mg/m3 a ppm.
@pytest.mark.parametrize(
    ("mg_m3", "verdict"), [(5.82, "conforms"), (5.821, "conforms"), (5.823, "does_not_conform")]
)
def test_gas_in_mass_against_a_limit_in_parts(mg_m3: float, verdict: str) -> None:
    """5 ppm CO = 5.82 mg/m3 at 20 °C (computed); the worst is told in both units."""
    log = make_log({"co_mg": [mg_m3] * 100})
    found = judge(log, limits(upper("co", 5.0))).finding("co")
    assert found.verdict == verdict
    assert found.worst is not None
    assert found.worst.value == pytest.approx(mg_m3 / 1.1644, rel=1e-4)
    assert (found.worst.unit, found.worst.logged_value, found.worst.logged_unit) == (
        "ppm",
        mg_m3,
        "mg/m3",
    )
    assert any("20 °C and 101.325 kPa(a)" in one for one in found.remarks)
    assert "logged" in found.reason


def test_reference_state_of_the_set_is_used() -> None:
    """Between 0 and 20 °C the same mg/m3 differs by 7.3 % (273.15/293.15, worked by hand)."""
    cold = evolve(limits(upper("co", 5.0)), reference_temperature_c=0.0)
    log = make_log({"co_mg": [6.0] * 100})
    at_0 = judge(log, cold).finding("co")
    at_20 = judge(log, limits(upper("co", 5.0))).finding("co")
    assert at_0.worst is not None
    assert at_20.worst is not None
    assert at_20.worst.value / at_0.worst.value == pytest.approx(293.15 / 273.15, rel=1e-6)
    assert (at_0.verdict, at_20.verdict) == ("conforms", "does_not_conform")


def test_oil_in_parts_is_not_comparable() -> None:
    """VOC is not mixed with hydrocarbons, and ppm without a molar mass is no mg/m3."""
    voc = judge(make_log({"voc": QUIET}), limits(upper("hydrocarbons", 25.0)))
    assert voc.findings[0].verdict == "no_evidence"
    mass = judge(make_log({"voc": QUIET}), limits(upper("voc", 5.0, "mg/m3")))
    assert mass.findings[0].verdict == "no_evidence"
    assert "no single molar mass" in mass.findings[0].reason


# From the source: 24 ppmv is -65 °F (-53.9 °C), 67 ppmv is -50 °F (pairs in common use, from
# memory; computed with the enhancement factor: 24.00 and 66.96 ppmv).
@pytest.mark.parametrize(
    ("dew_point_c", "verdict"), [(-54.0, "conforms"), (-53.7, "does_not_conform")]
)
def test_dew_point_against_a_content(dew_point_c: float, verdict: str) -> None:
    """An atmospheric dew point against 24 ppm of water."""
    log = make_log({"adp": [dew_point_c] * 100})
    found = judge(log, limits(upper("water", 24.0, "ppm"))).findings[0]
    assert found.verdict == verdict
    assert found.worst is not None
    assert found.worst.value == pytest.approx(24.0, rel=0.03)
    assert any("frost point" in one for one in found.remarks)


# From the source: EN 12021:2014 airline table, 10 bar 160 mg/m3 (from memory); the table is what a
# pressure dew point of -11 °C gives (computed with the enhancement factor: -11.6 °C).
@pytest.mark.parametrize(
    ("dew_point_c", "verdict"), [(-12.0, "conforms"), (-11.0, "does_not_conform")]
)
def test_pressure_dew_point_against_a_content(dew_point_c: float, verdict: str) -> None:
    """The supply pressure is needed, and told."""
    log = make_log({"pdp": [dew_point_c] * 100})
    limit = upper("water", 160.0, "mg/m3")
    found = judge(log, limits(limit), supply=Conditions(10.0, None)).findings[0]
    assert found.verdict == verdict
    assert any("supply pressure of 10 bar(g)" in one for one in found.remarks)
    without = judge(log, limits(limit)).findings[0]
    assert without.verdict == "no_evidence"
    assert "pressure" in without.reason


def test_pressure_that_fell_in_the_log() -> None:
    """-30 °C at 10 bar(g) is 26 mg/m3 and at 1 bar(g) over 140 (computed): doubt, not a clean word."""
    limit = limits(upper("water", 50.0, "mg/m3"))
    supply = Conditions(10.0, None)
    columns = {"pdp": [-30.0] * 100, "pressure": [10.0] * 99 + [1.0]}
    fell = judge(make_log(columns), limit, supply=supply).findings[0]
    assert fell.verdict == "undecided"
    assert "falls to 1 bar(g)" in fell.reason
    held = judge(make_log({**columns, "pressure": [10.0] * 100}), limit, supply=supply).findings[0]
    assert held.verdict == "conforms"
    drier = judge(make_log({**columns, "pdp": [-60.0] * 100}), limit, supply=supply).findings[0]
    assert drier.verdict == "conforms"
    vacuum = {**columns, "pressure": [10.0] * 99 + [-1.0]}
    assert judge(make_log(vacuum), limit, supply=supply).findings[0].verdict == "undecided"


def test_content_above_ten_megapascal_is_an_interval() -> None:
    """At 200 bar(g) the carried bound has a width; a reading inside the width is undecided."""
    limit = upper("water", 50.0, "mg/m3")
    way = basis(
        limit,
        Allowed(upper=Bound(50.0)),
        quantity="pressure_dew_point",
        unit="°C",
        limit_set=limits(limit),
        conditions=Conditions(200.0, None),
    )
    assert isinstance(way, Basis)
    edge = way.window.upper
    assert edge is not None
    assert edge.low < edge.high
    middle = (edge.low + edge.high) / 2
    for value, verdict in (
        (edge.low - 0.1, "conforms"),
        (middle, "undecided"),
        (edge.high + 0.1, "does_not_conform"),
    ):
        log = make_log({"pdp": [value] * 100})
        found = judge(log, limits(limit), supply=Conditions(200.0, None)).findings[0]
        assert found.verdict == verdict


def test_relative_humidity_is_not_taken_for_water() -> None:
    """It hangs on temperature and pressure at the sensor."""
    limit = limits(upper("water", 50.0, "mg/m3"))
    beside = judge(make_log({"rh": QUIET}), limit).findings[0]
    assert beside.verdict == "no_evidence"
    assert "relative humidity in the log is not taken for it" in beside.reason
    own = judge(make_log({"water_rh": QUIET}), limit).findings[0]
    assert own.verdict == "no_evidence"
    assert "relative humidity was measured; it is not taken" in own.reason


def test_comparable_channel_beside_one_that_is_not() -> None:
    """A channel that cannot be held against the limit is told and does not decide."""
    log = make_log({"water": [20.0] * 100, "water_rh": QUIET})
    found = judge(log, limits(upper("water", 50.0, "mg/m3"))).findings[0]
    assert found.verdict == "conforms"
    assert found.channels == ("water",)
    assert any("relative humidity was measured" in one for one in found.remarks)


def way_of(limit: Limit, quantity: str, unit: str, **given: float) -> Basis | NotComparable:
    """Work a way out."""
    return basis(
        limit,
        Allowed(upper=limit.upper, lower=limit.lower),
        quantity=quantity,
        unit=unit,
        limit_set=limits(limit),
        conditions=Conditions(**given),
    )


@pytest.mark.parametrize(
    ("limit", "quantity", "unit", "telling"),
    [
        (upper("water", 50.0, "mg/m3"), "temperature", "°C", "Give a dew point or a water content"),
        (upper("o2", 23.5, "%"), "pressure", "bar(g)", "no way from one to the other"),
        (upper("pressure", 10.0, "bar(g)"), "pressure", "bar", "gauge or absolute is not stated"),
        (upper("water", 1e9, "mg/m3"), "atmospheric_dew_point", "°C", "mass concentration"),
        (upper("water", 50.0, "mg/m3"), "humidity_ratio_", "°C", "humidity_ratio_ was measured"),
    ],
)
def test_no_way(limit: Limit, quantity: str, unit: str, telling: str) -> None:
    """Each says what is in the way."""
    way = way_of(limit, quantity, unit)
    assert isinstance(way, NotComparable)
    assert telling in way.reason


@given(
    bound=st.floats(10, 200),
    reading=st.floats(-70, 5),
    pressure=st.floats(1, 90),
)
@settings(deadline=None, max_examples=60)
def test_carrying_the_bound_is_carrying_the_reading(
    bound: float, reading: float, pressure: float
) -> None:
    """Reading against carried bound and carried reading against bound agree, as both rise."""
    way = way_of(
        upper("water", bound, "mg/m3"), "pressure_dew_point", "°C", supply_pressure_bar_g=pressure
    )
    assert isinstance(way, Basis)
    content = float(
        convert_water(
            reading, "pressure_dew_point", "mass_concentration", pressure_bar_g=pressure
        ).value
    )
    above, below, straddling = way.window.hold(np.array([reading]), None)
    if abs(content - bound) > 1e-6 * bound:
        assert bool(above[0]) == (content > bound)
        assert not below[0]
        assert not straddling[0]
    assert way.value_in_limit_unit(reading) == pytest.approx(content, rel=1e-9)


def test_reading_beyond_the_formulas_is_told_as_the_nearest() -> None:
    """-105 °C is drier than the formulas reach: inside, and told as the nearest content."""
    found = judge(
        make_log({"adp": [-105.0] * 100}), limits(upper("water", 50.0, "mg/m3"))
    ).findings[0]
    assert found.verdict == "conforms"
    assert found.worst is not None
    assert np.isfinite(found.worst.value)


def test_band_narrower_than_dust_is_a_point() -> None:
    """An open band whose ends are one number after scaling counts as that number."""
    window = Window(upper=Edge(0.5, 0.5))
    nearly = np.nextafter(0.5, 1.0)
    assert window.against(Interval(0.5, float(nearly), "", False, True)) == "inside"
    assert window.against(Interval.between(0.5, 1.0)) == "outside"
    assert Window().against(Interval.exactly(1e9)) == "inside"
    values, codes = np.array([1.0, 1.0]), np.array([-1, 1], np.int8)
    above, below, straddling = Window().hold(values, codes)
    assert not above.any()
    assert not below.any()
    assert not straddling.any()
    wide = Window(upper=Edge(1.0, 2.0), lower=Edge(-2.0, -1.0))
    assert wide.against(Interval.exactly(1.5)) == "straddles"
    assert wide.against(Interval.exactly(-1.5)) == "straddles"
    assert wide.against(Interval.exactly(0.5)) == "inside"
    assert wide.against(Interval.exactly(2.5)) == "outside"
