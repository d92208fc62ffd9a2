"""The vectorised kernel against a judge that takes one reading at a time."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.verdict.brute_force import Ask, Plain, Row, plain_judge
from tests.verdict.build_log import START, at, limits, make_log

from lungwort.air import analytes
from lungwort.air.interval import INSIDE, OUTSIDE, Interval
from lungwort.limits.model import Bound, Limit
from lungwort.logs.model import Log, Stretch
from lungwort.verdict.judge import judge
from lungwort.verdict.model import Options, Verdict
from lungwort.verdict.window import Edge, Window

VALUES = st.one_of(
    st.none(),
    st.sampled_from([0.0, 1.5, 2.0, 2.5, 4.5, 5.0, 5.5, 6.0, 8.0]),
    st.just(math.nan),
)
FLAGS = st.sampled_from([1, 1, 1, 1, 1, 1, 3, 4, 9, 2, 0])
STEPS = st.sampled_from([10, 10, 10, 10, 10, 5, 14, 15, 16, 40, 100, 0])


@st.composite
def readings(draw: st.DrawFn, *, censored: bool) -> list[Row]:
    """Draw a log of up to 40 readings."""
    count = draw(st.integers(1, 40))
    t = 0
    rows = []
    for _ in range(count):
        censor = draw(st.sampled_from([0, 0, 0, -1, 1, 2])) if censored else 0
        rows.append(Row(t, draw(VALUES), draw(FLAGS), censor))
        t += draw(STEPS)
    return rows


ENDS = st.sampled_from([(None, 5.0), (2.0, None), (2.0, 5.0), (None, 0.0), (5.0, 5.0)])


def as_log(rows: list[Row], splits: list[int], settled: int | None, *, censored: bool) -> Log:
    """Make the same log for the package."""
    stretches = []
    if settled is not None:
        stretches.append(Stretch(START, at(settled), "settling", flag=2))
    log = make_log(
        {"co": [row.value for row in rows]},
        flags={"co": [row.flag for row in rows]},
        censor={"co": [row.censor for row in rows]} if censored else None,
        times=[at(row.t) for row in rows],
        splits=splits,
        stretches=stretches,
    )
    return evolve(log, interval_s=10.0)


def a_limit(lower: float | None, upper: float | None, included: tuple[bool, bool]) -> Limit:
    """Make a limit on CO."""
    return Limit(
        key="co",
        analyte="co",
        quantity=analytes.VOLUME_FRACTION,
        unit="ppm",
        lower=None if lower is None else Bound(lower, included[0]),
        upper=None if upper is None else Bound(upper, included[1]),
        status="confirmed",
    )


def same_excursions(verdict: Verdict, plain: Plain) -> None:
    """Compare every field of every excursion."""
    order: Any = lambda one: (one["start"], one["direction"])  # noqa: E731 - a sort key
    expected = sorted(plain.excursions, key=order)
    assert len(verdict.excursions) == len(expected)
    found = sorted(verdict.excursions, key=lambda one: (one.start, one.direction))
    for one, want in zip(found, expected, strict=True):
        assert one.direction == want["direction"]
        for name in ("start", "end", "peak_time", "may_have_begun", "may_have_lasted"):
            moment = getattr(one, name)
            seconds = None if moment is None else (moment - START) / timedelta(seconds=1)
            assert seconds == want[name], name
        for name in ("peak", "samples", "ended_by", "begins_after_gap"):
            assert getattr(one, name) == want[name], name
        assert one.suspect_samples == want["suspect"]
        assert one.duration_s == (one.end - one.start).total_seconds()
        assert one.mean == pytest.approx(want["mean"], rel=1e-9, abs=1e-12)
        assert one.integral == pytest.approx(want["integral"], rel=1e-9, abs=1e-12)


@given(
    data=st.data(),
    censored=st.booleans(),
    ends=ENDS,
    included=st.tuples(st.booleans(), st.booleans()),
    join=st.sampled_from([None, 0.0, 5.0, 60.0]),
    block_rows=st.integers(1, 12),
)
@settings(deadline=None, max_examples=400)
def test_kernel_agrees_with_a_judge_of_single_readings(
    data: st.DataObject,
    censored: bool,  # noqa: FBT001 - drawn by hypothesis
    ends: tuple[float | None, float | None],
    included: tuple[bool, bool],
    join: float | None,
    block_rows: int,
) -> None:
    """Excursions, shares, coverage, counts, worst reading and verdict agree."""
    if ends == (5.0, 5.0):
        included = (True, True)
    rows = data.draw(readings(censored=censored))
    span = rows[-1].t
    start = data.draw(st.one_of(st.none(), st.integers(-20, span + 20)))
    end = data.draw(st.one_of(st.none(), st.integers(start or 0, span + 40)))
    settled = data.draw(st.one_of(st.none(), st.sampled_from([row.t for row in rows])))
    splits = data.draw(st.lists(st.integers(0, len(rows)), max_size=4))
    options = Options(
        join_s=join,
        start=None if start is None else at(start),
        end=None if end is None else at(end),
    )
    verdict = judge(
        as_log(rows, splits, settled, censored=censored),
        limits(a_limit(*ends, included)),
        options=options,
        block_rows=block_rows,
    )
    plain = plain_judge(
        rows,
        Ask(
            lower=ends[0],
            upper=ends[1],
            lower_included=included[0],
            upper_included=included[1],
            join_s=30.0 if join is None else join,
            start=start,
            end=end,
            settled=settled,
        ),
    )
    same_excursions(verdict, plain)
    finding = verdict.findings[0]
    coverage = finding.coverage
    assert coverage is not None
    share = min(1.0, plain.covered_s / plain.period_s) if plain.period_s else 0.0
    assert coverage.share == pytest.approx(share, rel=1e-9)
    for name in ("readings", "usable", "bad", "missing", "settling", "suspect"):
        assert getattr(coverage, name) == getattr(plain, name), name
    assert coverage.undecided == plain.straddling
    if plain.usable_s:
        assert finding.share_outside == pytest.approx(plain.outside_s / plain.usable_s, rel=1e-9)
    if not censored and plain.highest is not None and plain.lowest is not None:
        margins = []
        if ends[1] is not None:
            margins.append((ends[1] - plain.highest, plain.highest))
        if ends[0] is not None:
            margins.append((plain.lowest - ends[0], plain.lowest))
        assert finding.worst is not None
        assert finding.margin == pytest.approx(min(margins)[0], abs=1e-9)
        assert finding.worst.value in {
            value for margin, value in margins if margin == min(margins)[0]
        }
    assert finding.verdict == expected_verdict(rows, plain, options)
    assert verdict.overall == {
        "does_not_conform": "does_not_conform",
        "conforms": "conforms",
    }.get(finding.verdict, "not_proven")


def expected_verdict(rows: list[Row], plain: Plain, options: Options) -> str:
    """Apply the rules in words to what the plain judge found."""
    if plain.outside:
        return "does_not_conform"
    if plain.usable_s == 0 and plain.usable == 0 and plain.highest is None:
        usable = any(
            row.flag in {1, 3}
            and row.censor != 2
            and row.value is not None
            and math.isfinite(row.value)
            and (options.start is None or at(row.t) >= options.start)
            and (options.end is None or at(row.t) < options.end)
            for row in rows
        )
        if not usable:
            return "no_evidence"
    if plain.straddling or len(rows) < 2 or plain.period_s == 0:
        return "undecided"
    if plain.covered_good_s < 0.9 * plain.period_s - 1e-6:
        return "undecided"
    return "conforms"


@given(data=st.data(), splits=st.lists(st.integers(0, 40), max_size=8))
@settings(deadline=None, max_examples=100)
def test_verdict_is_identical_however_the_log_is_split(
    data: st.DataObject, splits: list[int]
) -> None:
    """One part, many parts and parts that are read when needed give equal verdicts."""
    rows = data.draw(readings(censored=True))
    whole = as_log(rows, [], None, censored=True)
    parts = as_log(rows, [min(cut, len(rows)) for cut in splits], None, censored=True)
    limit_set = limits(a_limit(2.0, 5.0, (True, True)))
    one = judge(whole, limit_set, block_rows=7)
    other = judge(parts, limit_set, block_rows=7)
    assert evolve(one, log=None) == evolve(other, log=None)
    lazy = evolve(parts, parts=tuple(part.lazy() for part in parts.parts))
    assert evolve(judge(lazy, limit_set, block_rows=7), log=None) == evolve(one, log=None)


BOUND = st.one_of(st.none(), st.sampled_from([1.0, 2.0, 3.0]))


@given(
    value=st.sampled_from([0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5]),
    censor=st.sampled_from([0, -1, 1]),
    lower=BOUND,
    upper=BOUND,
    included=st.tuples(st.booleans(), st.booleans()),
)
@settings(deadline=None, max_examples=500)
def test_window_holds_as_an_interval_does(
    value: float,
    censor: int,
    lower: float | None,
    upper: float | None,
    included: tuple[bool, bool],
) -> None:
    """Many readings at a time as `Interval.against` one by one."""
    window = Window(
        None if lower is None else Edge(lower, lower, included[0]),
        None if upper is None else Edge(upper, upper, included[1]),
    )
    above, below, straddling = window.hold(np.array([value]), np.array([censor], np.int8))
    said = {0: Interval.exactly, -1: Interval.less_than, 1: Interval.more_than}[censor](value)
    word = said.against(
        at_least=-math.inf if lower is None else lower,
        at_most=math.inf if upper is None else upper,
        at_least_included=included[0],
        at_most_included=included[1],
    )
    assert bool(above[0] or below[0]) == (word == OUTSIDE)
    assert bool(straddling[0]) == (word not in {INSIDE, OUTSIDE})
    assert window.against(said) == word
