"""Two limit sets side by side: stricter is said only where it can be said."""

from __future__ import annotations

from pathlib import Path

import pytest

from lungwort.errors import LimitSetError
from lungwort.jobs.limits import list_sets
from lungwort.jobs.limits_compare import (
    CANNOT,
    FIRST,
    MIXED,
    ONLY_FIRST,
    ONLY_SECOND,
    SAME,
    SECOND,
    Pair,
    compare,
)

WORDS = {SAME, FIRST, SECOND, MIXED, ONLY_FIRST, ONLY_SECOND, CANNOT}
IDS = [one.id for group in list_sets() for one in group.sets]


@pytest.mark.parametrize("name", IDS)
def test_a_set_is_the_same_as_itself(name: str) -> None:
    """Each limit that is a plain number is the same; others are not called stricter."""
    for pair in compare(name, name).pairs:
        assert pair.word in {SAME, CANNOT}, pair
        assert pair.why


def test_every_two_sets_mirror_each_other() -> None:
    """Turned round, first becomes second and nothing else changes."""
    turned = {FIRST: SECOND, SECOND: FIRST, ONLY_FIRST: ONLY_SECOND, ONLY_SECOND: ONLY_FIRST}
    for one in IDS[:12]:
        for other in IDS[:12]:
            there = {(p.analyte, turned.get(p.word, p.word)) for p in compare(one, other).pairs}
            back = {(p.analyte, p.word) for p in compare(other, one).pairs}
            assert there == back, (one, other)
            assert {word for _, word in back} <= WORDS


def test_carbon_monoxide_in_two_documents() -> None:
    """CGA G-7.1 Grade D: CO at most 10 ppm; EN 12021:2014: at most 5 ppm. Both as shipped."""
    found = compare("en12021-2014-airline", "cga-g7-1-grade-d")
    pair = next(one for one in found.pairs if one.analyte.casefold() == "carbon monoxide")
    assert pair.first is not None
    assert pair.second is not None
    assert "5 ppm" in pair.first.allowed
    assert "10 ppm" in pair.second.allowed
    assert pair.word == FIRST


SET = """format = 1
id = "{name}"
title = "Invented"
document = "house rule"
edition = "1"
use = "airline"
reference_temperature_c = {temperature}
reference_pressure_kpa = 101.325
source = "invented"
status = "confirmed"
[[limit]]
key = "it"
{limit}
"""


def _pair(folder: Path, one: str, other: str, temperatures: tuple[float, float] = (20, 20)) -> Pair:
    paths = []
    for name, limit, temperature in zip(("one", "other"), (one, other), temperatures, strict=True):
        path = folder / f"{name}.toml"
        text = SET.format(name=name, temperature=temperature, limit=limit.replace("; ", "\n"))
        path.write_text(text, encoding="utf-8")
        paths.append(path)
    (pair,) = compare(*paths).pairs
    return pair


CO = 'analyte = "co"; '
OIL = 'analyte = "oil"; unit = "mg/m3"; '


@pytest.mark.parametrize(
    ("one", "other", "word", "why"),
    [
        (CO + 'unit = "ppm"; upper = "<= 5"', CO + 'unit = "%"; upper = "<= 0.0005"', SAME, "ppm"),
        (CO + 'unit = "ppm"; upper = "<= 5"', CO + 'unit = "ppm"; upper = "< 5"', SECOND, "ppm"),
        # EH40/2005, table 1, carbon monoxide: 20 ppm and 23 mg/m3 stand side by side (from memory);
        # by the ideal gas law 20 ppm are 23.29 mg/m3 at 20 °C.
        (
            CO + 'unit = "ppm"; upper = "<= 20"',
            CO + 'unit = "mg/m3"; upper = "<= 23"',
            CANNOT,
            "too near",
        ),
        (
            CO + 'unit = "ppm"; upper = "<= 20"',
            CO + 'unit = "mg/m3"; upper = "<= 35"',
            FIRST,
            "28.01",
        ),
        (
            CO + 'unit = "mg/m3"; upper = "<= 10"',
            CO + 'unit = "ppm"; upper = "<= 5"',
            SECOND,
            "5.82",
        ),
        (
            CO + 'unit = "ppm"; upper = "<= 5"; averaging = "8 h"',
            CO + 'unit = "ppm"; upper = "<= 5"',
            CANNOT,
            "averaging",
        ),
        (
            CO + 'unit = "ppm"; upper = "<= 5"; required = false',
            CO
            + 'unit = "ppm"; upper = "<= 7"\n[[limit]]\nkey = "o2"\nanalyte = "o2"\nunit = "%"\nlower = ">= 20"',
            FIRST,
            "advice",
        ),
        (
            'analyte = "water"; quantity = "atmospheric_dew_point"; unit = "°C"; upper = "<= -40"',
            'analyte = "water"; unit = "mg/m3"; upper = "<= 100"',
            CANNOT,
            "atmospheric dew point",
        ),
        (
            'analyte = "odour"; wording = "none"',
            'analyte = "odour"; wording = "None"',
            SAME,
            "same words",
        ),
        (
            'analyte = "odour"; wording = "none"',
            'analyte = "odour"; wording = "no smell"',
            CANNOT,
            "different ones",
        ),
        (
            'analyte = "o2"; unit = "%"; lower = ">= 20"; upper = "<= 22"',
            'analyte = "o2"; unit = "%"; lower = ">= 19.5"; upper = "<= 21"',
            MIXED,
            "%",
        ),
    ],
)
def test_what_can_be_said_of_two_limits(
    tmp_path: Path, one: str, other: str, word: str, why: str
) -> None:
    """Numbers are brought to one unit where that is exact, and the basis is told."""
    if "required = false" in one:
        # A set needs something that is required.
        one += '\n[[limit]]\nkey = "o2"\nanalyte = "o2"\nunit = "%"\nlower = ">= 20"'
        paths = []
        for name, limit in (("one", one), ("other", other)):
            path = tmp_path / f"{name}.toml"
            path.write_text(
                SET.format(name=name, temperature=20, limit=limit.replace("; ", "\n")),
                encoding="utf-8",
            )
            paths.append(path)
        pair = compare(*paths).pairs[0]
    else:
        pair = _pair(tmp_path, one, other)
    assert (pair.word, why in pair.why) == (word, True), pair


def test_cubic_metres_of_two_states(tmp_path: Path) -> None:
    """At 0 °C a cubic metre holds 293.15/273.15 times the air of one at 20 °C (ideal gas)."""
    pair = _pair(tmp_path, OIL + 'upper = "<= 0.5"', OIL + 'upper = "<= 5"', (0, 20))
    assert pair.word == FIRST
    assert f"{5 * 293.15 / 273.15:.4g} mg/m3" in pair.why
    assert "ideal gas" in pair.why
    near = _pair(tmp_path, OIL + 'upper = "<= 5.366"', OIL + 'upper = "<= 5"', (0, 20))
    assert near.word == CANNOT


def test_the_likest_limits_stand_beside_each_other() -> None:
    """A table of water contents stands beside a content, not beside a dew point."""
    pairs = compare("en12021-2014-airline", "osha-1910-134-grade-d-airline").pairs
    water = [one for one in pairs if one.analyte == "water"]
    assert all(one.word in {CANNOT, ONLY_FIRST} for one in water)
    oil = next(one for one in pairs if one.analyte == "oil")
    assert oil.word == FIRST
    assert "25 °C" in oil.why


def test_what_is_no_set_is_refused() -> None:
    """A name that is not known says so."""
    with pytest.raises(LimitSetError):
        compare("en12021-2014-airline", "no-such-set")
