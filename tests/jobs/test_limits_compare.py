"""Two limit sets side by side: stricter is said only where it can be said."""

from __future__ import annotations

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


def test_what_is_no_set_is_refused() -> None:
    """A name that is not known says so."""
    with pytest.raises(LimitSetError):
        compare("en12021-2014-airline", "no-such-set")
