"""Rows of the banded oil indicator, held against every combination worked out by hand."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.air.interval import Interval
from lungwort.errors import ProcedureError, SpotError
from lungwort.spot import rows
from lungwort.spot.devices import IndicatorKind, Row, read_device, shipped_devices
from lungwort.spot.indicator import THRESHOLDS_MG_M3
from lungwort.spot.parse import parse_spot

KIND = next(one for one in shipped_devices() if isinstance(one, IndicatorKind))
N, D, L = rows.STATES

# Worked by hand from the rows of the built-in kind (common practice, no source): lowest row dots
# 0.05, line 0.1; middle row line 0.5; top row line 1.0 mg/m3. Lower end: what was reached. Upper
# end: the next threshold that was not, and never below the joined line of a row that shows dots.
BY_HAND = {
    (N, N, N): (-math.inf, 0.05),
    (D, N, N): (0.05, 0.1),
    (D, D, N): (0.05, 0.5),
    (D, D, D): (0.05, 1.0),
    (L, N, N): (0.1, 0.5),
    (L, D, N): (0.1, 0.5),
    (L, D, D): (0.1, 1.0),
    (L, L, N): (0.5, 1.0),
    (L, L, D): (0.5, 1.0),
    (L, L, L): (1.0, math.inf),
}


def test_the_built_in_kind_has_the_thresholds_of_the_bands() -> None:
    """Rows and bands are the same indicator: one set of figures."""
    figures = [KIND.rows[0].dots_mg_m3, *(row.line_mg_m3 for row in KIND.rows)]
    assert figures == list(THRESHOLDS_MG_M3)
    assert (KIND.purge_min, KIND.sample_min) == (1.0, 5.0)
    assert KIND.standing == "common practice, no source"


@pytest.mark.parametrize(("states", "ends"), BY_HAND.items())
def test_each_possible_combination(states: tuple[str, ...], ends: tuple[float, float]) -> None:
    """Each combination that can be gives the interval worked out by hand."""
    found = rows.rows_interval(KIND, states)
    assert (found.lower, found.upper) == ends


@pytest.mark.parametrize(
    "states", [one for one in itertools.product((N, D, L), repeat=3) if one not in BY_HAND]
)
def test_each_other_combination_is_refused(states: tuple[str, ...]) -> None:
    """An upper row further on than a lower one cannot be, and the message says why."""
    with pytest.raises(
        SpotError, match=r"this cannot be: row .* below it only .* lowest row first"
    ):
        rows.rows_interval(KIND, states)


@pytest.mark.parametrize("states", BY_HAND)
def test_the_reading_is_parsed_back_to_the_same_interval(states: tuple[str, ...]) -> None:
    """What is stored means what the rows mean."""
    test = parse_spot(rows.rows_reading(KIND, states))
    assert test.value == rows.rows_interval(KIND, states)
    assert test.analyte == "oil"


def test_more_to_see_never_gives_a_cleaner_verdict() -> None:
    """Going on in any row raises neither end downwards."""
    for one, other in itertools.product(BY_HAND, repeat=2):
        if all(
            rows.STATES.index(a) <= rows.STATES.index(b) for a, b in zip(one, other, strict=True)
        ):
            assert rows.rows_interval(KIND, one).upper <= rows.rows_interval(KIND, other).upper
            assert rows.rows_interval(KIND, one).lower <= rows.rows_interval(KIND, other).lower


@pytest.mark.parametrize(
    ("text", "states"),
    [
        ("line, dots, nothing", (L, D, N)),
        ("Joined line; separate dots; none", (L, D, N)),
        ("nothing", (N, N, N)),
        ("2/1/0", (L, D, N)),
    ],
)
def test_rows_as_typed(text: str, states: tuple[str, ...]) -> None:
    """Words and order of typing."""
    assert rows.read_rows(KIND, text) == states


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("line, dots", r"tells of 2 rows, and the indicator has 3.*lowest, middle, top"),
        ("dots", r"tells of 1 rows"),
        ("blue, nothing, nothing", r"'blue' is nothing that is seen"),
    ],
)
def test_rows_that_cannot_be_read(text: str, said: str) -> None:
    """What is not understood is said, with what can be written."""
    with pytest.raises(SpotError, match=said):
        rows.read_rows(KIND, text)


def test_wrong_number_of_states() -> None:
    """A row that was not read is not taken as clean."""
    with pytest.raises(SpotError, match="has 3 rows, and each shows one of"):
        rows.rows_interval(KIND, (N, N))


@settings(deadline=None, max_examples=60)
@given(
    steps=st.lists(st.floats(0.01, 10.0), min_size=2, max_size=6, unique=True),
    data=st.data(),
)
def test_any_indicator(steps: list[float], data: st.DataObject) -> None:
    """For any rising thresholds: the interval is never empty and holds what was reached."""
    steps = sorted(round(one, 4) for one in steps)
    if len(set(steps)) < len(steps):
        return
    first, *lines = steps
    kind = IndicatorKind(
        "x",
        "X",
        tuple(Row(f"r{n}", first if n == 0 else None, line) for n, line in enumerate(lines)),
        1.0,
        5.0,
    )
    ranks = sorted(
        data.draw(st.lists(st.integers(0, 2), min_size=len(lines), max_size=len(lines))),
        reverse=True,
    )
    found = rows.rows_interval(kind, tuple(rows.STATES[one] for one in ranks))
    reached = [line for line, rank in zip(lines, ranks, strict=True) if rank == 2]
    assert found.lower == (max(reached) if reached else first if ranks[0] else -math.inf)
    assert found.upper > found.lower
    seen = [line for line, rank in zip(lines, ranks, strict=True) if rank == 1]
    assert not seen or found.upper >= max(seen)


@pytest.mark.parametrize(
    ("seal", "expired", "sample", "flow", "said"),
    [
        (False, False, 5.0, None, ["seal of the indicator was broken"]),
        (True, True, 5.0, None, ["had expired"]),
        (True, False, 4.99, None, ["4.99 min, and its bands hold for 5 min"]),
        (True, False, 5.0, 9.0, ["9 L/min, and its bands hold for 3.5 to 4.5 L/min"]),
        (False, True, 1.0, 1.0, ["broken", "expired", "1 min", "1 L/min"]),
        (True, False, 5.0, 4.0, []),
    ],
)
def test_what_voids_an_indicator(
    *, seal: bool, expired: bool, sample: float, flow: float | None, said: list[str]
) -> None:
    """A broken seal, an expired lot, a short sample and a wrong flow each void it."""
    kind = IndicatorKind("x", "X", KIND.rows, 1.0, 5.0, flow_l_min=(3.5, 4.5))
    told = rows.void_reasons(
        kind, seal_intact=seal, expired=expired, sample_min=sample, flow_l_min=flow
    )
    assert len(told) == len(said)
    assert all(part in one for part, one in zip(said, told, strict=True))


OWN = """format = 1
id = "own"
kind = "oil_indicator"
title = "Own"
purge_min = 1
sample_min = 5
standing = "own rule"
[[row]]
name = "lowest"
dots_mg_m3 = 0.1
line_mg_m3 = 0.2
"""


def test_an_indicator_of_the_users_own() -> None:
    """Other thresholds give other intervals, written as a number and not as a band."""
    kind = read_device(OWN, "own.toml")
    assert isinstance(kind, IndicatorKind)
    assert rows.rows_reading(kind, (D,)) == "oil=0.1-0.2 mg/m3"
    assert rows.rows_interval(kind, (N,)) == Interval.less_than(0.1, "mg/m3")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "line_mg_m3 = 0.2",
            "line_mg_m3 = 0.05",
            r"line 11: row 'lowest', key 'line_mg_m3'.*not above 0.1",
        ),
        ("purge_min = 1\n", "", "key 'purge_min' is missing"),
        (
            "purge_min = 1",
            "purge_mins = 1",
            "'purge_mins': this key is not known. Near: 'purge_min'",
        ),
        ('standing = "own rule"', 'standing = "sure"', "allowed are 'confirmed'"),
        ('standing = "own rule"\n', "", "key 'standing' is missing"),
        ('kind = "oil_indicator"', 'kind = "oil"', "'oil_indicator', 'tube'"),
        ('title = "Own"', 'title = "Own"\nflow_l_min = [4, 3]', "lowest and highest flow"),
        ("dots_mg_m3 = 0.1\n", "", "content of the first trace"),
    ],
)
def test_mistakes_in_an_indicator(old: str, new: str, said: str) -> None:
    """Each mistake is named with its place."""
    assert old in OWN
    with pytest.raises(ProcedureError, match=said):
        read_device(OWN.replace(old, new), "own.toml")
