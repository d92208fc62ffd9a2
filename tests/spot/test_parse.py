"""Hand tests as a user writes them."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.air import analytes
from lungwort.air.interval import Interval
from lungwort.errors import SpotError
from lungwort.spot.parse import parse_spot


@pytest.mark.parametrize(
    ("text", "analyte", "quantity", "value"),
    [
        ("oil=<0.05 mg/m3", "oil", "mass_concentration", Interval.less_than(0.05, "mg/m3")),
        ("oil=0.1-0.5 mg/m3", "oil", "mass_concentration", Interval.between(0.1, 0.5, "mg/m3")),
        ("oil=0.1 to 0.5 mg/m³", "oil", "mass_concentration", Interval.between(0.1, 0.5, "mg/m3")),
        ("oil=0,3 mg/m³", "oil", "mass_concentration", Interval.exactly(0.3, "mg/m3")),
        ("oil mist = 300 µg/m³", "oil", "mass_concentration", Interval.exactly(0.3, "mg/m3")),
        ("co=2 ppm", "co", "volume_fraction", Interval.exactly(2.0, "ppm")),
        ("CO = 2 ml/m³", "co", "volume_fraction", Interval.exactly(2.0, "ppm")),
        ("carbon monoxide=2 ppm", "co", "volume_fraction", Interval.exactly(2.0, "ppm")),
        ("co=2±0.5 ppm", "co", "volume_fraction", Interval(1.5, 2.5, "ppm")),
        ("co=2 +- 0.5 ppm", "co", "volume_fraction", Interval(1.5, 2.5, "ppm")),
        ("co=2 ppm +/- 0.5 ppm", "co", "volume_fraction", Interval(1.5, 2.5, "ppm")),
        ("co=0.3 ± 0.5 ppm", "co", "volume_fraction", Interval(0.0, 0.8, "ppm")),
        ("co=≤ 3 ppm", "co", "volume_fraction", Interval(-math.inf, 3.0, "ppm", False, True)),
        ("co=>= 3 ppm", "co", "volume_fraction", Interval(3.0, math.inf, "ppm", True, False)),
        ("co=> 3 ppm", "co", "volume_fraction", Interval.more_than(3.0, "ppm")),
        ("co=5,82 mg/m3", "co", "mass_concentration", Interval.exactly(5.82, "mg/m3")),
        ("co2=0.05 %", "co2", "volume_fraction", Interval.exactly(500.0, "ppm")),
        ("o2=20.946 %", "o2", "volume_fraction", Interval.exactly(20.946, "%")),
        ("o2=209000 ppm", "o2", "volume_fraction", Interval.exactly(20.9, "%")),
        ("water=20 mg/m3", "water", "mass_concentration", Interval.exactly(20.0, "mg/m3")),
        ("water=24 ppmv", "water", "volume_fraction", Interval.exactly(24.0, "ppm")),
        ("water=0.02 g/kg", "water", "humidity_ratio", Interval.exactly(0.02, "g/kg")),
        (
            "water=−50 °C atmospheric dew point",
            "water",
            "atmospheric_dew_point",
            Interval.exactly(-50.0, "°C"),
        ),
        ("water=-50 °C pdp", "water", "pressure_dew_point", Interval.exactly(-50.0, "°C")),
        (
            "water=-60--50 °C atmospheric frost point",
            "water",
            "atmospheric_dew_point",
            Interval.between(-60.0, -50.0, "°C"),
        ),
        (
            "water=-50 ± 2 °C pressure dew point",
            "water",
            "pressure_dew_point",
            Interval(-52.0, -48.0, "°C"),
        ),
        ("pressure=7 bar(g)", "pressure", "pressure", Interval.exactly(7.0, "bar(g)")),
        (
            "liquid water=0.2 g/m3",
            "liquid_water",
            "mass_concentration",
            Interval.exactly(200, "mg/m3"),
        ),
    ],
)
def test_numbers_become_intervals(text: str, analyte: str, quantity: str, value: Interval) -> None:
    """Each way of writing a number gives the interval that it stands for (worked by hand)."""
    spot = parse_spot(text)
    assert (spot.analyte, spot.quantity, spot.given) == (analyte, quantity, text)
    assert spot.perceived is None
    assert spot.value is not None
    assert spot.value.unit == value.unit
    assert spot.value.lower == pytest.approx(value.lower, rel=1e-12)
    assert spot.value.upper == pytest.approx(value.upper, rel=1e-12)
    assert (spot.value.lower_included, spot.value.upper_included) == (
        value.lower_included,
        value.upper_included,
    )


@pytest.mark.parametrize(
    ("text", "analyte", "perceived", "means"),
    [
        ("odour=none", "odour", False, "by nose"),
        ("odor=noticeable", "odour", True, "by nose"),
        ("smell=Nothing noticed.", "odour", False, "by nose"),
        ("odour=slight", "odour", True, "by nose"),
        ("liquid water=none", "liquid_water", False, "by eye"),
        ("liquid_water=seen", "liquid_water", True, "by eye"),
    ],
)
def test_words_for_what_is_perceived(
    text: str,
    analyte: str,
    perceived: bool,  # noqa: FBT001 - a table of cases
    means: str,
) -> None:
    """Odour and liquid water are told in words."""
    spot = parse_spot(text, time=datetime(2026, 3, 4, tzinfo=UTC))
    assert (spot.analyte, spot.perceived, spot.means) == (analyte, perceived, means)
    assert spot.quantity == analytes.WORDING
    assert spot.value is None
    assert spot.time == datetime(2026, 3, 4, tzinfo=UTC)


def test_indicator_and_tube_name_their_means() -> None:
    """The banded indicator gives its band, a tube its number."""
    seen = parse_spot("oil=indicator: nothing seen")
    assert seen.value == Interval.less_than(0.05, "mg/m3")
    assert seen.means == "banded oil indicator"
    assert "5 min sample after a 1 min purge" in seen.remark
    assert parse_spot("oil=banded oil indicator: 0,5-1,0 mg/m³").value == Interval.between(
        0.5, 1.0, "mg/m3"
    )
    tube = parse_spot("co=tube: <2 ppm")
    assert (tube.means, tube.value) == ("detector tube", Interval.less_than(2.0, "ppm"))


@pytest.mark.parametrize(
    ("text", "telling"),
    [
        ("co", "not of the form analyte=reading"),
        ("=3 ppm", "not of the form analyte=reading"),
        ("co=", "not of the form analyte=reading"),
        ("carbonmonoxide=3 ppm", "Did you mean 'carbon monoxide'"),
        ("xx=3 ppm", "Known: o2, n2, co"),
        ("co=3", "has no unit"),
        ("co=3 pmm", "Did you mean ppm"),
        ("co=3 furlong", "unit 'furlong' is not known"),
        ("oil=3 ppm", "oil is not measured in ppm. Use a unit like mg/m3"),
        ("water=30 %RH", "water is not measured in %RH"),
        ("water=-50 °C", "at which pressure.*atmospheric dew point' or .*pressure dew point'"),
        ("co=2 ppm atmospheric dew point", "a dew point is a temperature of water"),
        ("o2=5 °C pdp", "a dew point is a temperature of water"),
        ("co=-3 ppm", "below zero cannot be"),
        ("co=<-3 ppm", "below zero cannot be"),
        ("co=>-3 ppm", "below zero cannot be"),
        ("co=nan ppm", "no number with a unit"),
        ("co=inf ppm", "no number with a unit"),
        ("co=1e400 mg/m3", "too large for a number"),
        ("co=2±-1 ppm", "a spread below zero cannot be"),
        ("co=2 mg/m3 ± 1 ppm", "Write both in one unit"),
        ("co=3-2 ppm", "does not rise"),
        ("co2=1,050 ppm", "can be read as 1050 or as 1.05"),
        ("co2=1.050 ppm", "can be read as 1050 or as 1.05"),
        ("co2=5,000 ppm", r"can be read as 5000 or as 5\.0?"),
        ("oil=nothing seen", "nothing seen on what.*oil=indicator: nothing seen"),
        ("co=none", "nothing found says too little.*co=<1 ppm"),
        ("co=indicator: 0.1-0.5", "the banded indicator is for oil"),
        ("oil=indicator: 0.2-0.5", "not a band of the oil indicator"),
        ("odour=3 ppm", "an odour is told in words"),
        ("o2=120 %", "possible is 0 to 100 %"),
        ("water=-200 °C adp", "possible is -110 to 100 °C"),
        ("pressure=7 bar", "gauge or absolute is not stated"),
    ],
)
def test_what_cannot_be_understood_is_refused(text: str, telling: str) -> None:
    """Each message says what was found and what to write."""
    with pytest.raises(SpotError, match=telling) as caught:
        parse_spot(text)
    assert str(caught.value).rstrip("'").endswith((".", "?"))


@given(st.text(max_size=30))
@settings(deadline=None, max_examples=300)
def test_any_text_is_read_or_refused(text: str) -> None:
    """No text raises anything but the one error of hand tests."""
    for given_text in (text, f"co={text}", f"water={text} °C pdp", f"oil=indicator:{text}"):
        try:
            spot = parse_spot(given_text)
        except SpotError:
            continue
        assert spot.value is not None or spot.perceived is not None


@given(st.decimals(min_value=0, max_value=999, places=2))
@settings(deadline=None, max_examples=100)
def test_comma_and_point_are_one(number: object) -> None:
    """A decimal comma reads as a decimal point."""
    point = parse_spot(f"co={number} ppm")
    comma = parse_spot(f"co={str(number).replace('.', ',')} ppm")
    assert point.value == comma.value == Interval.exactly(float(str(number)), "ppm")
