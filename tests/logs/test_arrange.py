"""Order, duplicates and clocks that were not to be trusted, through whole files."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from tests.logs.invent import (
    START,
    causes,
    file_of,
    lively,
    lively_rows,
    rows_of,
    stamps,
    times,
    values,
)

from lungwort.limits.load import limit_set
from lungwort.logs.read import read_log
from lungwort.verdict.judge import judge

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.logs.model import Log

STEP = timedelta(seconds=10)


def read(folder: Path, rows: list[str], **options: Any) -> Log:
    """Read one file of rows."""
    return read_log(file_of(folder, rows), **options)


def at(count: int, start: datetime = START) -> list[datetime]:
    """Give moments ten seconds apart."""
    return [start + STEP * i for i in range(count)]


def accounted(log: Log) -> bool:
    """Tell whether every row of every file is used or refused, and none twice."""
    return all(s.rows_read == s.rows_used + s.rows_refused for s in log.sources)


# --- order -------------------------------------------------------------------------------------


def test_newest_first(tmp_path: Path) -> None:
    """Turned round, with every reading at its own time."""
    rows = lively_rows(600)
    up, down = read(tmp_path, rows), read(tmp_path, rows[::-1])
    assert down.frame.equals(up.frame)
    assert any("newest first" in note for note in down.notes)
    assert down.doubts == ()


@pytest.mark.parametrize("cut", [1, 100, 599])
def test_ring_memory(tmp_path: Path, cut: int) -> None:
    """Read from its middle: the older part stands behind the newer one."""
    rows = lively_rows(600)
    log = read(tmp_path, rows[cut:] + rows[:cut])
    assert times(log) == at(600)
    assert log.doubts == ()
    assert log.unplaced is None


def test_ring_memory_of_many_days(tmp_path: Path) -> None:
    """The step back is longer than a day, and the parts fit together."""
    rows = lively_rows(3000, 600.0)
    log = read(tmp_path, rows[1000:] + rows[:1000])
    assert log.rows == 3000
    assert log.doubts == ()


def test_small_steps_back(tmp_path: Path) -> None:
    """A clock set right by some seconds, now and then: sorted and told."""
    moments = at(600)
    for i in (100, 300):
        moments[i] -= timedelta(seconds=15)
    log = read(tmp_path, rows_of([f"{m:%Y-%m-%d %H:%M:%S}" for m in moments], lively(600)))
    assert times(log) == sorted(moments)
    assert any(
        "Time runs backwards 2 times, first by 0:00:05 at line 102" in note for note in log.notes
    )


def test_shuffled_rows_lose_none(tmp_path: Path) -> None:
    """Whatever the order, within a day all are placed."""
    rows = lively_rows(2000)
    log_rows = rows[:]
    random.Random(4).shuffle(log_rows)  # noqa: S311 - an order, not a secret
    assert times(read(tmp_path, log_rows)) == at(2000)


def test_shuffled_days_are_doubted_and_lose_none(tmp_path: Path) -> None:
    """Steps back of days cannot be told from a clock that was set: kept apart, and quick about it."""
    rows = lively_rows(20000, 600.0)
    random.Random(4).shuffle(rows)  # noqa: S311 - an order, not a secret
    log = read(tmp_path, rows)
    assert log.unplaced is not None
    assert log.rows + log.unplaced.height == 20000
    assert log.doubts
    assert accounted(log)


# --- clocks ------------------------------------------------------------------------------------


@pytest.mark.parametrize("year", [1970, 2000, 2016])
@pytest.mark.parametrize("returns", [True, False])
def test_clock_reset_in_the_middle(tmp_path: Path, year: int, returns: bool) -> None:  # noqa: FBT001 - parameter
    """Readings after the reset have no time; one outside among them counts all the same."""
    lost = at(100, datetime(year, 1, 1))  # noqa: DTZ001 - wall time
    cells = lively(700)
    cells[350][0] = "90.0"
    moments = at(700)
    moments[300:400] = lost
    if not returns:
        moments, cells = moments[:400], cells[:400]
    log = read(tmp_path, rows_of([f"{m:%Y-%m-%d %H:%M:%S}" for m in moments], cells))
    assert log.rows == len(moments) - 100
    assert log.unplaced is not None
    assert log.unplaced.height == 100
    assert 90.0 in log.unplaced["co"].to_list()
    (doubt,) = log.doubts
    assert f"the clock was reset: at line 302 of log.csv it goes back to {year}-01-01" in doubt
    assert accounted(log)
    verdict = judge(log, limit_set("osha-1910-134-grade-d-airline"))
    assert verdict.overall == "does_not_conform"


@pytest.mark.parametrize("year", [1970, 2000, 2016])
def test_clock_not_set_at_the_beginning(tmp_path: Path, year: int) -> None:
    """Set while it ran: what stands before is kept apart."""
    moments = at(100, datetime(year, 1, 1)) + at(500)  # noqa: DTZ001 - wall time
    log = read(tmp_path, rows_of([f"{m:%Y-%m-%d %H:%M:%S}" for m in moments], lively(600)))
    assert log.rows == 500
    assert log.start == START.replace(tzinfo=UTC)
    assert log.unplaced is not None
    assert log.unplaced.height == 100
    assert "the clock was not set when line 2" in log.doubts[0]
    assert accounted(log)


def test_clock_set_ahead_and_back(tmp_path: Path) -> None:
    """Ten years ahead for a while: those readings are the odd ones, not the rest."""
    moments = at(700)
    moments[300:400] = [m + timedelta(days=3650) for m in moments[300:400]]
    log = read(tmp_path, rows_of([f"{m:%Y-%m-%d %H:%M:%S}" for m in moments], lively(700)))
    assert log.rows == 600
    assert log.end == at(700)[-1].replace(tzinfo=UTC)
    assert "the clock was set ahead: at line 302" in log.doubts[0]
    assert accounted(log)


@pytest.mark.parametrize("start", [datetime(1970, 1, 1), datetime(2000, 1, 1, 3)])  # noqa: DTZ001 - wall time
def test_clock_that_was_never_set(tmp_path: Path, start: datetime) -> None:
    """The whole log is where an unset clock starts."""
    log = read(tmp_path, lively_rows(300, start=start))
    assert log.rows == 300
    assert "where a clock starts that was never set" in log.doubts[0]


def test_log_from_the_future(tmp_path: Path) -> None:
    """Doubted against the present that the caller gives, and not otherwise."""
    rows = lively_rows(300)
    now = (START - timedelta(days=5)).replace(tzinfo=UTC)
    assert "in the future" in read_log(file_of(tmp_path, rows), now=now).doubts[0]
    assert read_log(file_of(tmp_path, rows)).doubts == ()
    assert read_log(file_of(tmp_path, rows), now=now + timedelta(days=5)).doubts == ()


def test_two_resets(tmp_path: Path) -> None:
    """Each is told."""
    moments = at(900)
    moments[300:350] = at(50, datetime(2000, 1, 1))  # noqa: DTZ001 - wall time
    moments[600:650] = at(50, datetime(2000, 1, 1))  # noqa: DTZ001 - wall time
    log = read(tmp_path, rows_of([f"{m:%Y-%m-%d %H:%M:%S}" for m in moments], lively(900)))
    assert log.rows == 800
    assert [doubt.count("the clock was reset") for doubt in log.doubts] == [1, 1]
    assert accounted(log)


# --- duplicates and overlaps -------------------------------------------------------------------


def test_exact_duplicates_are_dropped_and_counted(tmp_path: Path) -> None:
    """Once each, with lines."""
    rows = lively_rows(300)
    log = read(tmp_path, [*rows[:101], *rows[100:200], rows[199], *rows[200:]])
    assert times(log) == at(300)
    (refusal,) = log.sources[0].refusals
    assert (refusal.cause, refusal.rows) == ("exact duplicate of another row", 2)
    assert refusal.first_lines == (103, 203)


def test_memory_written_out_twice(tmp_path: Path) -> None:
    """The same days twice in one file."""
    rows = lively_rows(600, 600.0)
    log = read(tmp_path, rows + rows)
    assert log.rows == 600
    assert log.sources[0].rows_refused == 600
    assert log.doubts == ()


def test_same_time_other_values_are_all_used(tmp_path: Path) -> None:
    """Nothing says which is right: both count, and it is told."""
    rows = lively_rows(300)
    odd = rows[100].split(",")
    odd[1] = "55.0"
    log = read(tmp_path, [*rows[:101], ",".join(odd), *rows[101:]])
    assert log.rows == 301
    assert 55.0 in values(log, "co")
    assert any(
        "1 readings have the time of the one before but other values (first at line 103)" in n
        for n in log.notes
    )


def test_minute_stamps_for_ten_second_readings(tmp_path: Path) -> None:
    """Six readings a stamp: all that differ are used."""
    moments = [START + timedelta(minutes=i // 6) for i in range(600)]
    log = read(tmp_path, rows_of([f"{m:%Y-%m-%d %H:%M}" for m in moments], lively(600)))
    dropped = log.sources[0].rows_refused
    assert log.rows == 600 - dropped
    assert len(set(times(log))) == 100
    assert log.interval_s == 60.0
    assert ("", "frozen") not in causes(log)


def test_times_that_do_not_tell_readings_apart(tmp_path: Path) -> None:
    """One time for a whole file is doubted."""
    log = read(
        tmp_path,
        rows_of([stamps(1)[0]] * 300, [[f"{i / 100:.2f}", "430", "20.9"] for i in range(300)]),
    )
    assert any("do not tell the readings apart" in doubt for doubt in log.doubts)


def test_overlapping_files(tmp_path: Path) -> None:
    """Each overlap counts once; given in either order."""
    rows = lively_rows(900)
    a = file_of(tmp_path, rows[:500], name="a.csv")
    b = file_of(tmp_path, rows[400:], name="b.csv")
    logs = [read_log([a, b]), read_log([b, a])]
    for log in logs:
        assert times(log) == at(900)
        assert sum(s.rows_refused for s in log.sources) == 100
        assert accounted(log)
    assert logs[0].frame.equals(logs[1].frame)


def test_files_in_the_wrong_order(tmp_path: Path) -> None:
    """Days given last first."""
    files = [
        file_of(tmp_path, lively_rows(300, start=START + timedelta(days=d)), name=f"{d}.csv")
        for d in (2, 0, 1)
    ]
    log = read_log(files)
    assert times(log) == sorted(times(log))
    assert log.rows == 900
    assert log.doubts == ()


def test_same_file_twice(tmp_path: Path) -> None:
    """Read once, and said."""
    a = file_of(tmp_path, lively_rows(300), name="a.csv")
    b = file_of(tmp_path, lively_rows(300), name="b.csv")
    log = read_log([a, b])
    assert log.rows == 300
    assert len(log.sources) == 1
    assert any("b.csv has the same content as a.csv" in note for note in log.notes)


def test_one_file_a_channel(tmp_path: Path) -> None:
    """CO in one file and oxygen in the other: one row a time, nothing missing."""
    cells = lively(600)
    a = file_of(
        tmp_path, rows_of(stamps(600), [[c[0]] for c in cells]), head="Time,CO [ppm]", name="a.csv"
    )
    b = file_of(
        tmp_path, rows_of(stamps(600), [[c[2]] for c in cells]), head="Time,O2 [%]", name="b.csv"
    )
    log = read_log([a, b], settle=timedelta(0))
    assert times(log) == at(600)
    assert values(log, "co") == [float(c[0]) for c in cells]
    assert values(log, "o2") == [float(c[2]) for c in cells]
    assert set(log.frame["co_flag"]) | set(log.frame["o2_flag"]) == {1}
    assert [s.rows_used for s in log.sources] == [600, 600]
    assert not any("have the time of the one before" in note for note in log.notes)


def test_one_file_a_channel_with_censored_cells(tmp_path: Path) -> None:
    """'<' survives the joining."""
    a = file_of(tmp_path, [f"{t};<0.5" for t in stamps(100)], head="Time;CO [ppm]", name="a.csv")
    b = file_of(tmp_path, [f"{t};20.9" for t in stamps(100)], head="Time;O2 [%]", name="b.csv")
    log = read_log([a, b])
    assert log.rows == 100
    assert set(log.frame["co_censor"]) == {-1}


@pytest.mark.parametrize(
    ("text", "verdict"), [("9999", "undecided"), ("25.0", "does_not_conform"), ("0.6", "undecided")]
)
def test_reading_without_a_time(tmp_path: Path, text: str, verdict: str) -> None:
    """Outside counts without a time; a number that may be a code decides nothing."""
    rows = [*lively_rows(3000), f"??,{text},430,20.9", "??,,430,20.9", "??,<0.5,430,20.9"]
    log = read(tmp_path, rows)
    assert log.unplaced is not None
    assert log.unplaced.height == 3
    found = judge(log, limit_set("osha-1910-134-grade-d-airline")).findings
    assert next(f.verdict for f in found if f.limit.analyte == "co") == verdict
