"""Oil and particles together: sums of intervals, worked by hand and held against a plain search."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.air.interval import INSIDE, OUTSIDE, Interval
from lungwort.spot.indicator import REMARK
from lungwort.spot.model import SpotTest
from lungwort.spot.parse import parse_spot
from lungwort.spot.together import (
    HIGHEST_COUNT,
    MEANS,
    SUM,
    missing_part,
    together,
)

UNIT = "mg/m3"


def written(*texts: str) -> list[SpotTest]:
    """Read hand tests."""
    return [parse_spot(text) for text in texts]


# Worked by hand.
@pytest.mark.parametrize(
    ("texts", "value"),
    [
        (("oil=1.5 mg/m3", "particles=1.5 mg/m3"), Interval.exactly(3.0, UNIT)),
        (("oil=0.1 mg/m3", "particles=0.2 mg/m3"), Interval.exactly(0.3, UNIT)),
        (("oil=0.1-0.5 mg/m3", "particles=0.4 mg/m3"), Interval.between(0.5, 0.9, UNIT)),
        (("oil=<0.05 mg/m3", "particles=<0.1 mg/m3"), Interval.less_than(0.15, UNIT)),
        (
            ("oil=<=0.5 mg/m3", "particles=<=1 mg/m3"),
            Interval(-math.inf, 1.5, UNIT, lower_included=False),
        ),
        (("oil=<=0.5 mg/m3", "particles=<1 mg/m3"), Interval.less_than(1.5, UNIT)),
        # a content is never below zero, so that '< 0.05' adds at least nothing
        (
            ("oil=<0.05 mg/m3", "particles=2.5 mg/m3"),
            Interval(2.5, 2.55, UNIT, upper_included=False),
        ),
        (("oil=>1 mg/m3", "particles=0.5 mg/m3"), Interval.more_than(1.5, UNIT)),
        (
            ("oil=<1 mg/m3", "particles=>=0.5 mg/m3"),
            Interval(0.5, math.inf, UNIT, upper_included=False),
        ),
        (("particles=300 µg/m3", "oil=0.7 mg/m3"), Interval.exactly(1.0, UNIT)),
        # several of one kind: highest lower end, highest upper end
        (("oil=0.2 mg/m3", "oil=0.6 mg/m3", "particles=0.1 mg/m3"), Interval.exactly(0.7, UNIT)),
        (
            ("oil=0.2-0.9 mg/m3", "oil=0.6 mg/m3", "particles=0.1 mg/m3"),
            Interval(0.7, 1.0, UNIT),
        ),
        (
            ("oil=>=0.5 mg/m3", "oil=>0.5 mg/m3", "particles=0.1 mg/m3"),
            Interval.more_than(0.6, UNIT),
        ),
        (
            ("oil=<0.5 mg/m3", "oil=<=0.5 mg/m3", "particles=<=1 mg/m3"),
            Interval(-math.inf, 1.5, UNIT, lower_included=False),
        ),
        # one alone: the least that the sum can be
        (("oil=1.5 mg/m3",), Interval(1.5, math.inf, UNIT, upper_included=False)),
        (("particles=0.1-0.5 mg/m3",), Interval.more_than(0.1, UNIT)),
        (("oil=<0.05 mg/m3",), Interval(0.0, math.inf, UNIT, upper_included=False)),
    ],
)
def test_sums_worked_by_hand(texts: tuple[str, ...], value: Interval) -> None:
    """End by end, open ends open."""
    (only,) = together(written(*texts))
    assert (only.analyte, only.quantity, only.value) == (SUM, "mass_concentration", value)
    assert only.means == MEANS
    assert set(only.parts) == set(written(*texts))


def test_the_sum_names_its_tests() -> None:
    """Given, remark and time say what it was worked out from."""
    noon = datetime(2026, 3, 4, 12, tzinfo=UTC)
    oil = parse_spot("oil=indicator: 0.1-0.5", time=noon)
    dust = parse_spot("particles=0.4 mg/m3", time=noon)
    (only,) = together([dust, oil])
    assert only.given == "oil=indicator: 0.1-0.5 + particles=0.4 mg/m3"
    assert only.remark == REMARK
    assert only.time == noon
    assert missing_part(only) == ""
    later = evolve(dust, time=noon + timedelta(hours=1), given="")
    (several,) = together([oil, oil, later])
    assert several.time is None
    assert several.given == ("oil=indicator: 0.1-0.5, oil=indicator: 0.1-0.5 + particles 0.4 mg/m3")
    assert several.remark == f"{REMARK} {HIGHEST_COUNT}"


def test_one_alone_says_what_is_missing() -> None:
    """The other part; whole tests miss nothing."""
    assert [missing_part(one) for one in together(written("oil=1 mg/m3"))] == ["particles"]
    assert [missing_part(one) for one in together(written("particles=1 mg/m3"))] == ["oil"]
    assert [missing_part(one) for one in written("oil=1 mg/m3", "oil+particles=1 mg/m3")] == [
        "",
        "",
    ]


def test_both_together_bound_each_part() -> None:
    """Neither part is more than the sum; a part that was tested itself is left alone."""
    oil, dust = together(written("oil+particles=0.8 mg/m3", "oil and particles=<0.9 mg/m3"))
    assert (oil.analyte, dust.analyte) == ("oil", "particles")
    assert oil.value == dust.value == Interval.less_than(0.9, UNIT)
    assert oil.means == "worked out: oil is no more than oil and particles together"
    assert missing_part(oil) == ""
    half, bound = together(written("oil+particles=0.8 mg/m3", "particles=0.3 mg/m3"))
    assert (half.analyte, bound.analyte) == (SUM, "oil")
    assert str(bound.value) == "≤ 0.8 mg/m3"
    assert [one.analyte for one in together(written("oil+particles=1 mg/m3", "oil=1 mg/m3"))] == [
        SUM,
        "particles",
    ]


def test_what_cannot_be_added_is_passed_over() -> None:
    """Other analytes, words, other quantities, below zero, and what was worked out before."""
    mass = "mass_concentration"
    odd = [
        *written("co=1 ppm", "odour=none"),
        SpotTest("oil", "wording", perceived=True),
        SpotTest("oil", "volume_fraction", Interval.exactly(1.0, "ppm")),
        SpotTest("oil", mass, Interval.exactly(1.0, "ppm")),
        SpotTest("oil", mass, Interval(-0.3, -0.1, UNIT)),
        *together(written("oil=1 mg/m3", "particles=1 mg/m3")),
    ]
    assert together([]) == together(odd) == ()
    (bare,) = together(
        [*odd, SpotTest("oil", mass, Interval(-0.1, 0.3)), *written("particles=1 mg/m3")]
    )
    assert bare.value == Interval(1.0, 1.3, UNIT)
    assert bare.given == "oil 0 to 0.3 mg/m3 + particles=1 mg/m3"
    below = SpotTest("oil", mass, Interval(-0.1, 0.0, UNIT, upper_included=False))
    (zero,) = together([below, *written("particles=1 mg/m3")])
    assert zero.value == Interval.exactly(1.0, UNIT)


def test_ends_too_near_to_tell_apart() -> None:
    """A band that a sum cannot resolve keeps a width, to the safe side."""
    thin = Interval.between(1e-18, 2e-18, UNIT)
    oil = SpotTest("oil", "mass_concentration", thin)
    (only,) = together([oil, *written("particles=2 mg/m3")])
    assert only.value is not None
    assert only.value.lower == 2.0
    assert only.value.upper > 2.0
    assert only.value.against(at_most=2.0) == OUTSIDE


@pytest.mark.parametrize(
    "name",
    [
        "oil and particles",
        "oil_and_particles",
        "oil+particles",
        "Oil + Particles",
        "oil and particles together",
        "oil mist and particulates",
    ],
)
def test_names_of_the_sum(name: str) -> None:
    """However it is written."""
    spot = parse_spot(f"{name}=0.8 mg/m3")
    assert (spot.analyte, spot.value) == (SUM, Interval.exactly(0.8, UNIT))


TENTHS = st.integers(0, 30)


@st.composite
def readings(draw: st.DrawFn, analyte: str) -> SpotTest:
    """Draw an exact reading, a band or an open one, in tenths."""
    low, high = sorted((draw(TENTHS), draw(TENTHS)))
    kind = draw(st.sampled_from(["exact", "band", "below", "above"]))
    included = draw(st.booleans())
    value = {
        "exact": lambda: Interval.exactly(low / 10, UNIT),
        "band": lambda: Interval(low / 10, (high + 1) / 10, UNIT, included, not included),
        "below": lambda: Interval(-math.inf, (high + 1) / 10, UNIT, False, included),
        "above": lambda: Interval(low / 10, math.inf, UNIT, included, False),
    }[kind]()
    return SpotTest(analyte, "mass_concentration", value)


def _tenths_within(value: Interval | None) -> list[float]:
    """List the twentieths up to 12 that an interval holds, in twentieths."""
    assert value is not None
    return [
        n
        for n in range(241)
        if (value.lower < n / 20 or (value.lower_included and value.lower == n / 20))
        and (value.upper > n / 20 or (value.upper_included and value.upper == n / 20))
    ]


@settings(deadline=None, max_examples=120)
@given(
    st.lists(readings("oil"), min_size=1, max_size=3),
    st.lists(readings("particles"), min_size=1, max_size=3),
    st.integers(0, 60),
)
def test_never_inside_where_a_pair_may_be_outside(
    oils: list[SpotTest], dusts: list[SpotTest], limit: int
) -> None:
    """Every true pair that the tests allow is tried, on a grid of twentieths."""
    (only,) = together([*oils, *dusts])
    assert only.value is not None
    outcome = only.value.against(at_most=limit / 10)
    pairs = [
        [
            (a + b) * 5 <= limit * 10
            for a in _tenths_within(x.value)
            for b in _tenths_within(y.value)
        ]
        for x in oils
        for y in dusts
    ]
    if outcome == INSIDE:
        assert all(all(pair) for pair in pairs)
    if outcome == OUTSIDE:
        assert not all(any(pair) for pair in pairs)
    if any(not any(pair) for pair in pairs):
        assert outcome == OUTSIDE
