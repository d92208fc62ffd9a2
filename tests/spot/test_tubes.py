"""Detector tubes: corrections and uncertainty, held against examples worked by hand.

Rules: c = reading × 1013/p[hPa] and c = scale reading × n_scale/n_used (general rules, from
memory); relative expanded uncertainty 30 % at 0.5 to 2 times the limit and 50 % below (EN 482 style,
from memory).
"""

from __future__ import annotations

import math

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import ProcedureError, SpotError
from lungwort.spot.devices import (
    IndicatorKind,
    TubeKind,
    find_device,
    load_device,
    read_device,
    shipped_devices,
)
from lungwort.spot.parse import parse_spot
from lungwort.spot.tubes import (
    pressure_factor,
    relative_uncertainty_percent,
    rounded,
    strokes_factor,
    tube_reading,
)

TUBE = TubeKind(
    "co-a",
    "CO",
    "co",
    "ppm",
    first_mark=5.0,
    last_mark=100.0,
    strokes=10.0,
    strokes_may_differ=True,
)


def test_worked_by_hand_at_sea_level() -> None:
    """10 ppm at 1013 hPa, general 50 %: 5 to 15 ppm."""
    found = tube_reading(TUBE, "10", pressure_hpa=1013.0)
    assert found.text == "co=tube: 10 ± 5 ppm"
    assert (found.value.lower, found.value.upper) == (5.0, 15.0)


def test_worked_by_hand_on_a_mountain() -> None:
    """20 ppm at 900 hPa: 20 × 1013/900 = 22.5111 → 22.51 ppm; half of it, 11.255, up to 11.26."""
    found = tube_reading(TUBE, "20 ppm", pressure_hpa=900.0)
    assert found.text == "co=tube: 22.51 ± 11.26 ppm"
    assert any("1013/900" in one and "from memory" in one for one in found.remarks)


def test_worked_by_hand_with_more_strokes() -> None:
    """8 ppm with 20 strokes of a scale for 10: 8 × 10/20 = 4 ppm."""
    found = tube_reading(TUBE, "8", pressure_hpa=1013.0, strokes=20)
    assert found.text == "co=tube: 4 ± 2 ppm"
    assert any("20 instead of 10 strokes" in one for one in found.remarks)


def test_under_the_first_mark_is_never_nought() -> None:
    """'< first mark', corrected as well: 5 × 1013/900 = 5.6278 ppm, rounded up to 5.628."""
    assert tube_reading(TUBE, "nothing", pressure_hpa=1013.0).text == "co=tube: <5 ppm"
    assert tube_reading(TUBE, "3", pressure_hpa=1013.0).text == "co=tube: <5 ppm"
    assert tube_reading(TUBE, "< 3", pressure_hpa=1013.0).text == "co=tube: <5 ppm"
    # 5.628 could be read as 5628, so a nought follows.
    assert tube_reading(TUBE, "nothing", pressure_hpa=900.0).text == "co=tube: <5.6280 ppm"


def test_past_the_last_mark() -> None:
    """'> last mark', corrected, rounded down: 100 × 1013/1050 = 96.476 ppm."""
    for said in ("beyond", "> 120", "150"):
        found = tube_reading(TUBE, said, pressure_hpa=1050.0)
        assert found.text == "co=tube: >96.47 ppm"
        assert found.value.upper == math.inf
        assert any("overloaded" in one for one in found.remarks)


@pytest.mark.parametrize(
    ("value", "limit", "own", "percent"),
    [
        (5.0, 5.0, None, 30.0),
        (2.5, 5.0, None, 30.0),
        (10.0, 5.0, None, 30.0),
        (2.4, 5.0, None, 50.0),
        (10.1, 5.0, None, 50.0),
        (5.0, None, None, 50.0),
        (5.0, 5.0, 15.0, 15.0),
    ],
)
def test_which_uncertainty(
    value: float, limit: float | None, own: float | None, percent: float
) -> None:
    """30 % near the limit, 50 % elsewhere and where none is known; the tube's own goes before."""
    kind = evolve(TUBE, relative_uncertainty_percent=own)
    found, standing = relative_uncertainty_percent(kind, value, limit)
    assert found == percent
    assert ("from memory" in standing) == (own is None)


@pytest.mark.parametrize(
    ("said", "pressure", "strokes", "kind", "match"),
    [
        ("8", 101.3, None, TUBE, "cannot be that of the surroundings"),
        ("8", 7000.0, None, TUBE, "cannot be that of the surroundings"),
        ("8", 1013.0, 0, TUBE, "0 strokes cannot be"),
        ("8", 1013.0, 5, evolve(TUBE, strokes_may_differ=False), "do not allow another number"),
        ("8", 1013.0, 5, evolve(TUBE, strokes=None), "not in its data"),
        ("nothing", 1013.0, None, evolve(TUBE, first_mark=None), "first mark of co-a is not in"),
        ("beyond", 1013.0, None, evolve(TUBE, last_mark=None), "last mark of co-a is not in"),
        ("8 mg/m3", 1013.0, None, TUBE, "is in ppm, not mg/m3"),
        ("much", 1013.0, None, TUBE, "nothing that is seen on a tube"),
        ("-3", 1013.0, None, TUBE, "nothing that is seen on a tube"),
        ("0.0", 1013.0, None, TUBE, "never shows nought"),
        ("1.234", 1013.0, None, TUBE, "can be read in two ways"),
    ],
)
def test_what_is_refused(
    said: str, pressure: float, strokes: float | None, kind: TubeKind, match: str
) -> None:
    """Line pressure, forbidden strokes, other units and words are refused."""
    with pytest.raises(SpotError, match=match):
        tube_reading(kind, said, pressure_hpa=pressure, strokes=strokes)


def test_factors() -> None:
    """1013/800 = 1.26625; 10/20 = 0.5; the scale's own strokes change nothing."""
    assert pressure_factor(800.0) == pytest.approx(1.26625, abs=1e-9)
    assert strokes_factor(TUBE, 20.0) == 0.5
    assert strokes_factor(evolve(TUBE, strokes_may_differ=False), 10.0) == 1.0


@settings(deadline=None, max_examples=200)
@given(
    mark=st.floats(5.0, 100.0).map(lambda one: round(one, 1)),
    pressure=st.floats(300.0, 1100.0).map(round),
    strokes=st.sampled_from([None, 1.0, 5.0, 10.0, 20.0]),
)
def test_the_text_is_parsed_back(mark: float, pressure: int, strokes: float | None) -> None:
    """Whatever is read: the text is understood, and holds the corrected reading and its spread."""
    found = tube_reading(TUBE, f"{mark:g}", pressure_hpa=pressure, strokes=strokes)
    back = parse_spot(found.text)
    assert back.means == "detector tube"
    assert back.value is not None
    assert back.value.lower == pytest.approx(found.value.lower, rel=1e-9, abs=1e-9)
    assert back.value.upper == pytest.approx(found.value.upper, rel=1e-9)
    exact = mark * 1013.0 / pressure * (10.0 / strokes if strokes else 1.0)
    assert back.value.lower <= exact <= back.value.upper


@settings(deadline=None, max_examples=200)
@given(st.floats(1e-3, 1e6))
def test_rounding_keeps_its_side(value: float) -> None:
    """Up is not below, down is not above, to four digits."""
    up, down = float(rounded(value, up=True)), float(rounded(value, up=False))
    assert down * (1 - 1e-8) <= value <= up * (1 + 1e-8)
    assert up == pytest.approx(value, rel=1.1e-3)
    assert down == pytest.approx(value, rel=1.1e-3)


def test_shipped_kinds_carry_no_scale_of_their_own() -> None:
    """The general kinds state no mark that nobody has read from an instruction."""
    tubes = [one for one in shipped_devices() if isinstance(one, TubeKind)]
    assert {one.analyte for one in tubes} == {"co", "co2", "water", "oil", "nox"}
    assert all(one.first_mark is None and one.strokes is None for one in tubes)
    oil = find_device(shipped_devices(), "tube-oil")
    assert isinstance(oil, TubeKind)
    assert oil.sample_min == 15.0  # lubricant not known: common practice, no source
    assert oil.standing == "common practice, no source"
    assert isinstance(find_device(shipped_devices(), "Banded-Oil-Indicator"), IndicatorKind)


OWN = """format = 1
id = "own-tube"
kind = "tube"
title = "Own tube"
analyte = "co"
unit = "ppm"
first_mark = 5
last_mark = 100
standing = "own rule"
"""


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            'analyte = "co"',
            'analyte = "coo"',
            r"line 5: key 'analyte': 'coo' is not known. Near: 'co'",
        ),
        ("last_mark = 100", "last_mark = 3", "not above the first mark 5"),
        ("first_mark = 5", 'first_mark = "5"', "a number without quotes"),
        ("first_mark = 5", "first_marke = 5", "Near: 'first_mark'"),
        ('standing = "own rule"', 'standing = "confirmed"', "key 'source' is missing"),
        ("format = 1", "format = 2", "reads 1"),
        ("last_mark = 100", "last_mark = ", "line 8, column 13: this is not TOML"),
    ],
)
def test_mistakes_in_a_tube(old: str, new: str, said: str) -> None:
    """Each mistake is named with file and place."""
    assert old in OWN
    with pytest.raises(ProcedureError, match=said):
        read_device(OWN.replace(old, new), "own.toml")


def test_files_that_cannot_be_read(tmp_path: object) -> None:
    """A missing file, and an id that is not known."""
    from pathlib import Path

    folder = Path(str(tmp_path))
    with pytest.raises(ProcedureError, match="does not exist"):
        load_device(folder / "none.toml")
    (folder / "latin.toml").write_bytes(b'title = "\xe9"\n')
    with pytest.raises(ProcedureError, match="line 1: not UTF-8"):
        load_device(folder / "latin.toml")
    with pytest.raises(ProcedureError, match=r"'tube-c' is not known\. Near: "):
        find_device(shipped_devices(), "tube-c")
