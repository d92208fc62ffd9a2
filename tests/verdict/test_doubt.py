"""Doubts about a log, readings without a time, and where lost time went. Numbers are invented."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import polars as pl
import pytest
from attrs import evolve
from tests.verdict.build_log import at, limits, make_log, upper

from lungwort.limits.model import LimitSet
from lungwort.logs.model import BAD, GOOD, NOT_EVALUATED, Log, Stretch
from lungwort.verdict.judge import judge
from lungwort.verdict.model import Options

CO = upper("co", 5.0)
QUIET = [1.0] * 100
RESET = datetime(2000, 1, 1, tzinfo=UTC)


def unplaced(
    co: list[float | None],
    *,
    flags: list[int] | None = None,
    censor: list[int] | None = None,
    timed: bool = True,
) -> pl.DataFrame:
    """Make readings whose time cannot be trusted."""
    columns: dict[str, Any] = {
        "time": pl.Series([RESET if timed else None] * len(co), dtype=pl.Datetime("us", "UTC")),
        "co": pl.Series(co, dtype=pl.Float64),
        "co_flag": pl.Series(flags or [GOOD] * len(co), dtype=pl.UInt8),
    }
    if censor is not None:
        columns["co_censor"] = pl.Series(censor, dtype=pl.Int8)
    return pl.DataFrame(columns)


def quiet(**changes: Any) -> Log:
    """Make a quiet log that would conform, with something against it."""
    return evolve(make_log({"co": QUIET}), **changes)


def test_without_doubt_the_quiet_log_conforms() -> None:
    """The base of the tests below: it is the doubt that makes the difference."""
    assert judge(quiet(), limits(CO)).overall == "conforms"


def test_a_doubt_about_the_log_leaves_every_finding_open() -> None:
    """A log whose clock was reset proves nothing, and the reason is told."""
    verdict = judge(quiet(doubts=("the clock was reset.",)), limits(CO))

    assert verdict.overall == "not_proven"
    assert verdict.finding("co").verdict == "undecided"
    assert verdict.finding("co").reason == "the clock was reset."


def test_a_doubt_about_one_channel_leaves_the_others_alone() -> None:
    """A dead carbon dioxide cell says nothing against the carbon monoxide cell."""
    log = evolve(
        make_log({"co": QUIET, "co2": [0.0] * 100}),
        channel_doubts=(("co2", "a wrong unit or a dead cell"),),
    )
    verdict = judge(log, limits(CO, upper("co2", 500.0)))

    assert verdict.finding("co").verdict == "conforms"
    assert verdict.finding("co2").verdict == "undecided"
    assert verdict.finding("co2").reason == "a wrong unit or a dead cell."


def test_a_doubt_hides_nothing_that_is_outside() -> None:
    """Readings outside count, whatever is doubted."""
    log = evolve(make_log({"co": [*QUIET, 9.0]}), doubts=("the clock was reset",))

    assert judge(log, limits(CO)).overall == "does_not_conform"


def test_readings_without_a_time_count_where_they_are_outside() -> None:
    """Nobody can say when it was, but the air was outside."""
    verdict = judge(quiet(unplaced=unplaced([1.0, 12.0, 7.0, None])), limits(CO))
    finding = verdict.finding("co")

    assert finding.verdict == "does_not_conform"
    assert "2 readings without a trusted time above 5 ppm, the highest 12 ppm" in finding.reason
    assert "clock said 1 Jan 2000 " in finding.reason
    assert finding.worst is not None
    assert finding.worst.value == 12.0
    assert finding.worst.time is None
    assert finding.margin == -7.0


def test_readings_without_any_time_count_too() -> None:
    """A row whose time cannot be read still holds a reading."""
    finding = judge(quiet(unplaced=unplaced([12.0], timed=False)), limits(CO)).finding("co")

    assert finding.verdict == "does_not_conform"
    assert "clock said" not in finding.reason


def test_too_little_oxygen_without_a_time_counts() -> None:
    """A lower bound is held as well."""
    frame = unplaced([17.0, 20.9]).rename({"co": "o2", "co_flag": "o2_flag"})
    log = evolve(make_log({"o2": [20.9] * 100}), unplaced=frame)
    low = evolve(upper("o2", 23.5, "%"), lower=CO.upper and evolve(CO.upper, value=19.5))
    finding = judge(log, limits(low)).finding("o2")

    assert finding.verdict == "does_not_conform"
    assert "below 19.5 %, the lowest 17 %" in finding.reason


def test_readings_without_a_time_that_are_inside_prove_nothing() -> None:
    """They neither help nor harm."""
    assert judge(quiet(unplaced=unplaced([1.0, 2.0])), limits(CO)).overall == "conforms"


def test_what_is_outside_both_ways_is_told_once_more() -> None:
    """Outside in time decides; the rest is a remark."""
    log = evolve(make_log({"co": [*QUIET, 9.0]}), unplaced=unplaced([12.0]))
    finding = judge(log, limits(CO)).finding("co")

    assert "1 reading above 5 ppm" in finding.reason
    assert any(one.startswith("Also 1 reading without a trusted time") for one in finding.remarks)


@pytest.mark.parametrize(
    "frame",
    [
        unplaced([12.0], flags=[BAD]),
        unplaced([-40.0]),
        unplaced([float("nan")]),
        unplaced([12.0], censor=[-1]),
        unplaced([12.0]).rename({"co": "h2s", "co_flag": "h2s_flag"}),
    ],
    ids=["bad", "impossible", "not a number", "less than", "another channel"],
)
def test_what_is_no_evidence_in_time_is_none_without(frame: pl.DataFrame) -> None:
    """Bad, impossible and straddling readings do not turn into evidence by losing their time."""
    assert judge(quiet(unplaced=frame), limits(CO)).finding("co").verdict == "conforms"


def test_more_than_without_a_time_is_outside() -> None:
    """'> 5' is above 5."""
    log = quiet(unplaced=unplaced([5.0], censor=[1]))

    assert judge(log, limits(CO)).finding("co").verdict == "does_not_conform"


def test_one_reading_does_not_break_a_limit_on_a_mean() -> None:
    """A mean needs a time; the doubt that goes with such rows keeps it open."""
    mean: LimitSet = limits(upper("co", 5.0, averaging="8 h"))
    log = quiet(unplaced=unplaced([12.0]), doubts=("1 row has no time",))

    assert judge(log, mean).finding("co").verdict == "undecided"


def test_lost_time_is_named_where_coverage_is_too_low() -> None:
    """The reason says what became of the time, longest first, clipped to the period."""
    flags = [GOOD] * 50 + [BAD] * 40 + [NOT_EVALUATED] * 10
    log = make_log(
        {"co": QUIET},
        flags={"co": flags},
        stretches=[
            Stretch(at(500), at(890), "frozen", "", BAD, 40, "frozen"),
            Stretch(at(900), at(990), "settling", "", NOT_EVALUATED, 10, "settling"),
            Stretch(at(0), at(100), "stuck", "co2", BAD, 10, "another channel"),
            Stretch(at(0), at(100), "spike", "co", 3, 10, "used all the same"),
            Stretch(at(-900), at(-800), "frozen", "", BAD, 10, "before the period"),
        ],
    )
    reason = judge(log, limits(CO)).finding("co").reason

    assert "cover 50 %" in reason
    assert "(the logger frozen for 6 min 40 s, settling anew for 1 min 40 s)" in reason


def test_a_gap_is_lost_time() -> None:
    """Time without readings is named as such."""
    times = [at(10 * i) for i in range(50)] + [at(2000 + 10 * i) for i in range(50)]
    log = make_log(
        {"co": QUIET}, times=times, stretches=[Stretch(at(490), at(2000), "gap", "", 0, 0, "gap")]
    )
    reason = judge(log, limits(CO), options=Options(min_coverage=0.9)).finding("co").reason

    assert "(no readings for 25 min 10 s)" in reason
