"""A reading outside, and everything that may befall a file: the finding is never 'conforms'."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.logs.invent import START, file_of, lively, on_disk, small_blocks

from lungwort.errors import LogError
from lungwort.limits.load import limit_set
from lungwort.logs.read import read_log
from lungwort.verdict.judge import judge

if TYPE_CHECKING:
    from pathlib import Path

ROWS = 1500
SETTLED = 260
LIMITS = "osha-1910-134-grade-d-airline"  # CO at most 10 ppm: 29 CFR 1910.134(i)(1)(ii)(C)

# What stands in the CO cell of the reading that matters. Grade D allows 10 ppm.
OUTSIDE = [
    "10.1", "11", "25.0", "500.0", "999", "999.0", "999.9", "9999", "65535", "32767", "1e3", "1200000", "12.5*",
    ">50", "> 9", ">10", "OVER", "O.L.", "+++", "inf", "1e400", "25 ppb", "12.5?", "0x1F", "15 (a)", "12,5", "5,3,1",
    "11.0 ppm", "٢٥", "1'200", "<25",
]  # fmt: skip

MISCHIEF = [
    "freeze after", "hold the cell", "code before", "code after", "gap before", "short gap before", "time rubbish",
    "time blank", "date impossible", "clock reset", "clock ahead", "step back", "duplicate before", "newest first",
    "two files", "blank others", "many missing", "cut last", "small blocks", "on disk", "words around", "all saturate",
]  # fmt: skip


def cells_of(text: str, at: int, run: int, mischief: set[str]) -> list[list[str]]:
    """Give lively readings, the one outside, and mischief in the cells about it."""
    cells = lively(ROWS, seed=at)
    for i in range(at, min(at + run, ROWS)):
        cells[i][0] = text
    for i in range(at + 1, min(at + 150, ROWS)):
        if "freeze after" in mischief:
            cells[i] = list(cells[at])
        elif "hold the cell" in mischief:
            cells[i][0] = text
        elif "all saturate" in mischief:
            cells[i] = [text, "5000", "25.0"]
    if "code before" in mischief:
        cells[at - 1][0] = "-200"
    if "code after" in mischief and at + run < ROWS:
        cells[at + run][0] = "9999"
    if "words around" in mischief:
        cells[at - 1][0] = "ERR"
    if "blank others" in mischief:
        cells[at][1:] = ["", ""]
    if "many missing" in mischief:
        for i in range(0, ROWS, 40):
            cells[i][0] = "" if i != at else text
    return cells


def stamps_of(at: int, mischief: set[str]) -> list[str]:
    """Give times, and mischief in those about the reading outside."""
    pause = timedelta(0)
    if "gap before" in mischief:
        pause = timedelta(hours=2)
    elif "short gap before" in mischief:
        pause = timedelta(minutes=5)
    moments = [
        START + timedelta(seconds=10 * i) + (pause if i >= at else timedelta(0))
        for i in range(ROWS)
    ]
    if "clock reset" in mischief:
        unset = datetime(2000, 1, 1)  # noqa: DTZ001 - wall time
        moments[at:] = [unset + timedelta(seconds=10 * i) for i in range(ROWS - at)]
    elif "clock ahead" in mischief:
        moments[at : at + 20] = [m + timedelta(days=4000) for m in moments[at : at + 20]]
    elif "step back" in mischief:
        moments[at] -= timedelta(minutes=7)
    stamps = [f"{m:%Y-%m-%d %H:%M:%S}" for m in moments]
    for name, stamp in (
        ("time rubbish", "??"),
        ("time blank", ""),
        ("date impossible", "2026-02-31 10:00:00"),
    ):
        if name in mischief:
            stamps[at] = stamp
    return stamps


def write(folder: Path, text: str, at: int, run: int, mischief: set[str]) -> list[Path]:
    """Write a log with a reading outside and some mischief about it."""
    cells = cells_of(text, at, run, mischief)
    rows = [
        ";".join([stamp, *row]) for stamp, row in zip(stamps_of(at, mischief), cells, strict=True)
    ]
    if "duplicate before" in mischief:
        rows.insert(at, rows[at - 1])
    if "newest first" in mischief:
        rows.reverse()
    head = "Time;CO [ppm];CO2 [ppm];O2 [%]"
    paths = [file_of(folder, rows, head=head)]
    if "two files" in mischief:
        half = len(rows) // 2
        paths = [
            file_of(folder, rows[half:], head=head, name="a.csv"),
            file_of(folder, rows[:half], head=head, name="b.csv"),
        ]
    if "cut last" in mischief:
        paths[-1].write_bytes(paths[-1].read_bytes()[:-3])
    return paths


def finding(paths: list[Path], mischief: set[str]) -> str:
    """Read and judge: the verdict on carbon monoxide, or that the file was refused."""
    with pytest.MonkeyPatch.context() as patch:
        if "on disk" in mischief:
            on_disk(patch, 4000)
        elif "small blocks" in mischief:
            small_blocks(patch, 4000)
        try:
            log = read_log(paths)
        except LogError:
            return "refused"
    assert all(s.rows_read == s.rows_used + s.rows_refused for s in log.sources)
    verdict = judge(log, limit_set(LIMITS))
    return next(f.verdict for f in verdict.findings if f.limit.analyte == "co")


@settings(deadline=None, max_examples=100, suppress_health_check=[HealthCheck.too_slow])
@given(
    text=st.sampled_from(OUTSIDE),
    at=st.integers(SETTLED, ROWS - 2),
    run=st.sampled_from([1, 1, 2, 30, 400]),
    mischief=st.sets(st.sampled_from(MISCHIEF), max_size=4),
)
def test_never_conforms(
    tmp_path_factory: pytest.TempPathFactory, text: str, at: int, run: int, mischief: set[str]
) -> None:
    """Outside, undecided, without evidence or refused: whatever happens to the file."""
    paths = write(tmp_path_factory.mktemp("log"), text, at, run, mischief)
    found = finding(paths, mischief)
    if "gap before" in mischief and run < 180:
        # Settling is not judged: the verdict tells such readings and does not rest on them.
        return
    assert found in {"does_not_conform", "undecided", "no_evidence", "refused"}


@pytest.mark.parametrize("text", OUTSIDE)
def test_each_reading_by_itself(tmp_path: Path, text: str) -> None:
    """Without any mischief, one row of each."""
    assert finding(write(tmp_path, text, 700, 1, set()), set()) in {
        "does_not_conform",
        "undecided",
        "refused",
    }


def test_nothing_outside_conforms(tmp_path: Path) -> None:
    """The tests above can fail: fresh air conforms."""
    assert finding(write(tmp_path, "0.6", 700, 1, set()), set()) == "conforms"
    assert finding(write(tmp_path, "<0.6", 700, 1, {"step back"}), set()) == "conforms"
