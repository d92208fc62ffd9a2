"""Joining into one log: book-keeping of every row, and logs that lie on disk."""

from __future__ import annotations

import gc
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal
from tests.logs.invent import (
    HEAD,
    START,
    file_of,
    lively,
    lively_rows,
    on_disk,
    rows_of,
    small_blocks,
    stamps,
)

from lungwort.errors import LogError
from lungwort.logs import gather
from lungwort.logs.read import read_log

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.logs.model import Log


def numbers_in(log: Log) -> int:
    """Count the rows of the log that hold a number before codes were taken away."""
    names = [channel.name for channel in log.channels]
    frame = log.frame
    return sum(
        any(row[name] is not None or row[f"{name}_flag"] == 9 for name in names)
        for row in frame.iter_rows(named=True)
    )


# --- book-keeping ------------------------------------------------------------------------------

LINES = {
    "good": "{t},0.5,430,20.9",
    "other": "{t},0.7,431,20.8",
    "half": "{t},0.5,,",
    "empty": "{t},,,",
    "words": "{t},ERR,---,n/a",
    "wide": "{t},0.5,430,20.9,77",
    "short": "{t},0.5",
    "no time": ",0.5,430,20.9",
    "bad time": "rubbish,0.5,430,20.9",
    "blank": "",
    "commas": ",,,",
    "heading": HEAD,
    "reset": "2000-01-01 00:00:{i:02d},0.5,430,20.9",
    "reset empty": "2000-01-01 00:01:{i:02d},,,",
}
NUMBER = {"good", "other", "half", "short"}


@settings(deadline=None, max_examples=60)
@given(
    kinds=st.lists(st.sampled_from(sorted(LINES)), min_size=1, max_size=25),
    again=st.sets(st.integers(0, 60)),
)
def test_every_row_is_used_or_refused(
    tmp_path_factory: pytest.TempPathFactory, kinds: list[str], again: set[int]
) -> None:
    """Rows read = rows used + rows refused, each cause with the rows that were written for it."""
    rows, wrote = [], []
    for i, kind in enumerate(["good"] * 30 + kinds + ["good"] * 30):
        time = f"{START + timedelta(seconds=10 * i):%Y-%m-%d %H:%M:%S}"
        rows.append(LINES[kind].format(t=time, i=i % 60))
        wrote.append(kind)
        if i in again and kind in {"good", "other", "half", "empty"}:
            rows.append(rows[-1])
            wrote.append("again")
    log = read_log(file_of(tmp_path_factory.mktemp("log"), rows))
    (source,) = log.sources
    causes = {refusal.cause: refusal.rows for refusal in source.refusals}
    assert source.rows_read == len(rows) == source.rows_used + source.rows_refused
    assert source.rows_used == sum(kind in NUMBER for kind in wrote)
    assert causes.get("no number in the row", 0) == sum(
        kind in {"empty", "words"} for kind in wrote
    )
    assert causes.get("exact duplicate of another row", 0) == wrote.count("again")
    assert causes.get("more cells than headings", 0) == wrote.count("wide")
    assert causes.get("heading line repeated", 0) == wrote.count("heading")
    assert causes.get("no time in the row", 0) == wrote.count("no time")
    assert causes.get("time cannot be read", 0) == wrote.count("bad time")
    assert causes.get("blank line", 0) == wrote.count("blank") + wrote.count("commas")
    wrong_clock = causes.get("the clock was wrong: the time cannot be trusted", 0)
    assert wrong_clock == wrote.count("reset") + wrote.count("reset empty")
    # What stands in the log and beside it is what was not thrown away.
    assert log.rows == source.rows_used + causes.get("no number in the row", 0)
    beside = wrote.count("no time") + wrote.count("bad time") + wrote.count("reset")
    assert (0 if log.unplaced is None else log.unplaced.height) == beside


@settings(deadline=None, max_examples=40)
@given(
    cells=st.lists(
        st.tuples(
            st.integers(0, 20),
            st.sampled_from(["CO", "O2", "CO2", "noise"]),
            st.sampled_from(["1.5", "20.9", "", "---"]),
        ),
        min_size=5,
        max_size=60,
    ),
    block=st.sampled_from([120, 1 << 20]),
)
def test_every_row_of_a_long_file(
    tmp_path_factory: pytest.TempPathFactory, cells: list[tuple[int, str, str]], block: int
) -> None:
    """One reading a row: the same identity, whatever shares a time and wherever blocks end."""
    fixed = [(100 + i, name, "5") for i in range(40) for name in ("CO", "O2")]
    rows = [
        f"{START + timedelta(seconds=10 * at):%Y-%m-%d %H:%M:%S},{name},{text},{'%' if name == 'O2' else 'ppm'}"
        for at, name, text in [*sorted(cells), *fixed]
    ]
    with pytest.MonkeyPatch.context() as patch:
        small_blocks(patch, block)
        log = read_log(
            file_of(tmp_path_factory.mktemp("log"), rows, head="Time,Parameter,Value,Unit"),
            ignore=["noise"],
            settle=timedelta(0),
        )
    (source,) = log.sources
    assert source.rows_read == len(rows) == source.rows_used + source.rows_refused
    have = {channel.name.upper() for channel in log.channels}
    seen, repeated, numbers = set(), 0, 0
    for at, name, text in [*sorted(cells), *fixed]:
        if name in have:
            number = text not in {"", "---"}
            repeated += number and (at, name, text) in seen
            numbers += number
            seen.add((at, name, text))
    # Duplicates are told row by row of the log, so that some stay with a partner that differs.
    assert numbers - repeated <= source.rows_used <= numbers


def test_no_row_can_be_used(tmp_path: Path) -> None:
    """The causes are in the message."""
    rows = [f"rubbish {i},0.5,430,20.9" for i in range(3)] + [",1,2,3"] * 2
    with pytest.raises(LogError):
        read_log(file_of(tmp_path, rows))


# --- beside an independent reader --------------------------------------------------------------


def test_values_and_times_beside_pandas(tmp_path: Path) -> None:
    """A realistic file with gaps and blanks, read by pandas."""
    cells = lively(3000)
    for i in range(0, 3000, 97):
        cells[i][i % 3] = ""
    at = stamps(1500) + stamps(1500, start=START + timedelta(days=1))
    path = file_of(tmp_path, rows_of(at, cells))
    log = read_log(path, zone="Europe/Berlin")
    other = pd.read_csv(path)
    moments = pd.to_datetime(other["Time"]).dt.tz_localize("Europe/Berlin").dt.tz_convert("UTC")
    assert [m.timestamp() for m in log.frame["time"]] == [m.timestamp() for m in moments]
    for name, heading in (("co", "CO [ppm]"), ("co2", "CO2 [ppm]"), ("o2", "O2 [%]")):
        mine = log.frame[name].to_list()
        assert [None if pd.isna(v) else v for v in other[heading].tolist()] == mine


# --- on disk -----------------------------------------------------------------------------------


def eventful() -> list[str]:
    """Give rows in which every kind of flag occurs."""
    cells = lively(4000, seed=5)
    for i in range(600, 900):
        cells[i] = list(cells[600])  # frozen
    for i in range(1200, 1700):
        cells[i][0] = "3.3"  # stuck
    for i, text in {50: "999", 1000: "", 1001: "---", 1100: "-200", 1750: "40.0", 1751: "0.6", 1800: "<0.5",
                    1801: ">300", 1900: "9999", 2000: "ERR", 2001: "25 ppb", 2100: "1200000"}.items():  # fmt: skip
        cells[i][0] = text
    for i in range(2400, 2500):
        cells[i] = ["", "", ""]
    for i in range(3900, 4000):
        cells[i] = list(cells[3900])
    rows = rows_of(stamps(2600) + stamps(1400, start=START + timedelta(hours=10)), cells)
    rows[1500:1500] = [rows[1499]] * 3
    rows.insert(2000, "rubbish,0.5,430,20.9")
    rows.insert(2200, rows[2199].replace(",", ",7", 1))
    return rows


def assert_same(one: Log, other: Log) -> None:
    """Hold two logs against one another: readings, flags, words and counts."""
    assert_frame_equal(one.frame, other.frame)
    for name in ("channels", "sources", "rows", "start", "end", "interval_s", "stretches", "notes",
                 "doubts", "channel_doubts", "columns_not_used"):  # fmt: skip
        assert getattr(one, name) == getattr(other, name), name
    assert (one.unplaced is None) == (other.unplaced is None)
    if one.unplaced is not None and other.unplaced is not None:
        assert_frame_equal(one.unplaced, other.unplaced)


@pytest.mark.parametrize("block", [777, 5000, 40000])
def test_on_disk_as_in_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, block: int) -> None:
    """The same log to the last flag, stretch and note, wherever parts end."""
    path = file_of(tmp_path, eventful())
    memory = read_log(path)
    assert {s.cause for s in memory.stretches} >= {
        "frozen",
        "stuck",
        "gap",
        "settling",
        "missing",
        "code",
        "code?",
        "range",
        "spike",
    }
    on_disk(monkeypatch, block)
    disk = read_log(path)
    assert disk.spool is not None
    assert len(disk.parts) > 1
    assert_same(memory, disk)


@pytest.mark.parametrize("block", [900, 5000])
def test_in_memory_with_any_blocks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    """Blocks make no difference in memory either."""
    path = file_of(tmp_path, eventful())
    memory = read_log(path)
    small_blocks(monkeypatch, block)
    assert_same(memory, read_log(path))


def test_several_files_on_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the order of time they stay on disk; channels that one file lacks are missing in it."""
    a = file_of(tmp_path, lively_rows(500), name="a.csv")
    late = rows_of(stamps(500, start=START + timedelta(days=1)), [[c[0]] for c in lively(500)])
    b = file_of(tmp_path, late, head="Time,CO [ppm]", name="b.csv")
    memory = read_log([a, b])
    on_disk(monkeypatch, 2000)
    disk = read_log([a, b])
    assert disk.spool is not None
    assert_same(memory, disk)


@pytest.mark.parametrize("what", ["newest first", "reset", "not set", "files"])
def test_out_of_order_falls_back_to_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    """What needs the whole log in view is read into memory, with the same result."""
    rows = lively_rows(800)
    paths = [file_of(tmp_path, rows)]
    if what == "newest first":
        paths = [file_of(tmp_path, rows[::-1])]
    elif what == "reset":
        paths = [
            file_of(
                tmp_path,
                [*rows[:400], *lively_rows(50, start=START.replace(year=2000)), *rows[400:]],
            )
        ]
    elif what == "not set":
        paths = [file_of(tmp_path, [*lively_rows(50, start=START.replace(2000, 1, 1)), *rows])]
    else:
        paths = [
            file_of(tmp_path, rows[400:], name="b.csv"),
            file_of(tmp_path, rows[:400], name="a.csv"),
        ]
    memory = read_log(paths)
    on_disk(monkeypatch, 2000)
    disk = read_log(paths)
    assert disk.spool is None
    assert_same(memory, disk)


def test_folder_goes_with_the_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The parts are removed when nobody uses the log any more, and after an error at once."""
    path = file_of(tmp_path, lively_rows(800))
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temp"))
    (tmp_path / "temp").mkdir()
    on_disk(monkeypatch, 2000)
    log: Any = read_log(path)
    (folder,) = (tmp_path / "temp").iterdir()
    assert len(list(folder.iterdir())) == len(log.parts)
    assert sum(frame.height for frame in log.frames()) == 800
    del log
    gc.collect()
    assert not folder.exists()
    broken = file_of(tmp_path, [*lively_rows(800), *lively_rows(5)], name="back.csv")
    assert read_log(broken).spool is None
    assert list((tmp_path / "temp").iterdir()) == []
    with pytest.raises(LogError):
        read_log(file_of(tmp_path, ["rubbish,1,2,3", "rubbish,1,2,3"], name="none.csv"))
    assert list((tmp_path / "temp").iterdir()) == []


def test_same_time_doubt_on_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Times that tell nothing apart are doubted there too."""
    rows = rows_of([stamps(1)[0]] * 300, [[f"{i / 100:.2f}", "430", "20.9"] for i in range(300)])
    on_disk(monkeypatch, 1000)
    assert any("do not tell" in doubt for doubt in read_log(file_of(tmp_path, rows)).doubts)


def test_progress_reaches_the_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Never back, never beyond the whole."""
    small_blocks(monkeypatch, 3000)
    told: list[tuple[int, int]] = []
    read_log(
        file_of(tmp_path, lively_rows(2000)),
        progress=lambda done, whole: told.append((done, whole)),
    )
    done = [a for a, _ in told]
    assert done == sorted(done)
    assert done[-1] == told[-1][1]
    assert gather.IN_MEMORY_BYTES == 256 << 20
