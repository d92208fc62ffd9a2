"""Wall clocks and clock changes, held against the standard library's zoneinfo."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.logs.invent import file_of, lively, rows_of, small_blocks, times

from lungwort.errors import LogError
from lungwort.logs.clock import Localiser, clock_changes
from lungwort.logs.read import read_log
from lungwort.logs.times import zone_info

if TYPE_CHECKING:
    from pathlib import Path

# Moments at which the clock goes back, UTC: IANA time zone database through zoneinfo, which the
# tests below ask anew.
BACK = {
    "Europe/London": datetime(2026, 10, 25, 1, tzinfo=UTC),
    "Europe/Berlin": datetime(2026, 10, 25, 1, tzinfo=UTC),
    "America/New_York": datetime(2026, 11, 1, 6, tzinfo=UTC),
    "Australia/Lord_Howe": datetime(2026, 4, 4, 15, tzinfo=UTC),
    "Africa/Casablanca": datetime(2026, 2, 15, 2, tzinfo=UTC),
    "Europe/Dublin": datetime(2026, 10, 25, 1, tzinfo=UTC),
}


def walls_of(utc: list[datetime], zone: str) -> pl.Series:
    """Give the wall times that a clock in a zone shows."""
    there = ZoneInfo(zone)
    return pl.Series(
        "t",
        [moment.astimezone(there).replace(tzinfo=None) for moment in utc],
        dtype=pl.Datetime("us"),
    )


def back_to_utc(
    localiser: Localiser, walls: pl.Series, cuts: tuple[int, ...] = ()
) -> list[datetime]:
    """Localise wall times, in blocks that end at the cuts."""
    ends = [*sorted(cuts), len(walls)]
    begins = [0, *ends[:-1]]
    parts = [localiser.to_utc(walls[a:b]) for a, b in zip(begins, ends, strict=True) if b > a]
    return [moment.replace(tzinfo=UTC) for moment in pl.concat(parts).to_list()]


@pytest.mark.parametrize("zone", BACK)
def test_the_moments_are_those_of_zoneinfo(zone: str) -> None:
    """The clock goes back at the moment that the other tests take."""
    there, change = ZoneInfo(zone), BACK[zone]
    before, after = (
        (change + timedelta(seconds=offset)).astimezone(there).utcoffset() for offset in (-1, 0)
    )
    assert before is not None
    assert after is not None
    assert after < before
    found = clock_changes(there, datetime(2026, 1, 1), datetime(2026, 12, 31))  # noqa: DTZ001 - wall
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    assert (change - epoch) // timedelta(microseconds=1) in found.instants_us


@settings(deadline=None, max_examples=150)
@given(
    zone=st.sampled_from(sorted(BACK)),
    step_s=st.one_of(st.integers(1, 90), st.integers(60, 7300), st.integers(7300, 90000)),
    lead=st.integers(20, 60),
    phase=st.floats(0.0, 0.999),
    newest_first=st.booleans(),
    cuts=st.lists(st.integers(20, 400), max_size=4),
)
def test_any_sampling_interval_finds_its_way_back(
    *, zone: str, step_s: int, lead: int, phase: float, newest_first: bool, cuts: list[int]
) -> None:
    """UTC to wall clock in the order of the file to UTC gives the same moments."""
    lead_s = lead * step_s if step_s >= 300 else 5400
    start = BACK[zone] - timedelta(seconds=round(lead_s + phase * step_s))
    count = 2 * lead if step_s >= 300 else 10800 // step_s
    utc = [start + timedelta(seconds=step_s * i) for i in range(count)]
    if newest_first:
        utc.reverse()
    localiser = Localiser(ZoneInfo(zone))
    assert back_to_utc(localiser, walls_of(utc, zone), tuple(c for c in cuts if c < count)) == utc
    assert localiser.unresolved == 0


@pytest.mark.parametrize("zone", ["UTC", "Asia/Kolkata", "Etc/GMT-1", "Africa/Lagos"])
def test_zone_without_changes(zone: str) -> None:
    """A zone that keeps its offset moves every time by it."""
    utc = [datetime(2026, 1, 1, tzinfo=UTC) + timedelta(hours=7 * i) for i in range(1300)]
    localiser = Localiser(ZoneInfo(zone))
    assert back_to_utc(localiser, walls_of(utc, zone)) == utc
    assert localiser.notes() == []


@settings(deadline=None, max_examples=40)
@given(
    zone=st.sampled_from(
        ["Europe/London", "America/New_York", "Australia/Lord_Howe", "Africa/Casablanca"]
    ),
    hours=st.lists(st.integers(0, 24 * 364), min_size=1, max_size=50),
)
def test_times_away_from_changes(zone: str, hours: list[int]) -> None:
    """Whatever their order, times that occur once are those of zoneinfo."""
    there = ZoneInfo(zone)
    walls = []
    for hour in hours:
        wall = datetime(2026, 1, 1) + timedelta(hours=hour)  # noqa: DTZ001 - wall time
        both = {wall.replace(tzinfo=there, fold=fold).astimezone(UTC) for fold in (0, 1)}
        if len(both) == 1:
            walls.append((wall, both.pop()))
    if walls:
        series = pl.Series("t", [wall for wall, _ in walls], dtype=pl.Datetime("us"))
        assert back_to_utc(Localiser(there), series) == [utc for _, utc in walls]


def test_hour_that_occurs_twice_without_a_step_back_is_told(tmp_path: Path) -> None:
    """A clock that ignores summer time shows the hour once: taken as the first pass, and said."""
    walls = [f"2026-10-25 {h:02d}:{m:02d}:00" for h in range(4) for m in range(0, 60, 5)]
    log = read_log(file_of(tmp_path, rows_of(walls, lively(48))), zone="Europe/London")
    told = [note for note in log.notes if "no step back" in note]
    assert len(told) == 1
    assert "12 of them" in told[0]
    assert "--zone Etc/GMT-1" in told[0]
    assert any("12 readings fall in an hour that occurs twice" in note for note in log.notes)
    # 00:00 London summer time is 23:00 UTC; 02:00 winter time is 02:00 UTC.
    assert times(log)[0] == datetime(2026, 10, 24, 23)  # noqa: DTZ001 - UTC
    assert times(log)[24] == datetime(2026, 10, 25, 2)  # noqa: DTZ001 - UTC


def test_log_that_begins_in_the_hour_that_occurs_twice() -> None:
    """Nothing says which pass it is: the first is taken and told."""
    zone = "Europe/Berlin"
    utc = [BACK[zone] + timedelta(minutes=10 + i) for i in range(30)]
    localiser = Localiser(ZoneInfo(zone))
    assert back_to_utc(localiser, walls_of(utc, zone))[0] == utc[0] - timedelta(hours=1)
    assert localiser.unresolved == 30
    assert "no step back" in localiser.notes()[1]


def test_two_copies_of_a_memory_each_pass_through_twice() -> None:
    """A second copy begins before the hour again, with the first pass."""
    zone = "Europe/London"
    utc = [BACK[zone] + timedelta(minutes=10 * i - 90) for i in range(20)] * 2
    assert back_to_utc(Localiser(ZoneInfo(zone)), walls_of(utc, zone), (25,)) == utc


def test_a_small_step_back_is_no_clock_change() -> None:
    """A clock set right by some seconds in the hour that occurs twice stays in the first pass."""
    zone = "Europe/London"
    utc = [BACK[zone] + timedelta(seconds=10 * i - 3000) for i in range(200)]
    utc[50] -= timedelta(seconds=14)
    assert back_to_utc(Localiser(ZoneInfo(zone)), walls_of(utc, zone)) == utc


def test_gap_inside_the_hour_that_occurs_twice() -> None:
    """A step back of five minutes with a gap is the second pass."""
    zone = "Europe/London"
    first = [BACK[zone] + timedelta(minutes=i - 90) for i in range(60)]
    second = [BACK[zone] + timedelta(minutes=25 + i) for i in range(60)]
    utc = first + second
    assert back_to_utc(Localiser(ZoneInfo(zone)), walls_of(utc, zone)) == utc


def test_time_that_never_occurs_is_placed_and_told(tmp_path: Path) -> None:
    """01:30 on the last Sunday in March does not occur in London."""
    walls = [f"2026-03-29 {h:02d}:{m:02d}:00" for h in range(4) for m in range(0, 60, 5)]
    log = read_log(file_of(tmp_path, rows_of(walls, lively(48))), zone="Europe/London")
    assert any("12 readings carry a time that does not occur" in note for note in log.notes)
    assert log.rows == 48
    assert datetime(2026, 3, 29, 1, 30) in times(log)  # noqa: DTZ001 - UTC


def test_lines_without_a_time_leave_the_passes_alone() -> None:
    """A null stays null and does not hide the step back."""
    zone = "Europe/London"
    utc = [BACK[zone] + timedelta(minutes=5 * i - 90) for i in range(40)]
    walls = walls_of(utc, zone).to_list()
    walls.insert(18, None)
    series = pl.Series("t", walls, dtype=pl.Datetime("us"))
    found = Localiser(ZoneInfo(zone)).to_utc(series).to_list()
    assert found[18] is None
    assert [m.replace(tzinfo=UTC) for m in found if m is not None] == utc
    empty = pl.Series("t", [None, None], dtype=pl.Datetime("us"))
    assert Localiser(ZoneInfo(zone)).to_utc(empty).to_list() == [None, None]


def test_blocks_that_end_inside_the_hour(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Through a file read in blocks of a few lines, both ways round."""
    zone = "Europe/Berlin"
    utc = [BACK[zone] + timedelta(minutes=2 * i - 120) for i in range(120)]
    walls = [f"{wall:%Y-%m-%d %H:%M:%S}" for wall in walls_of(utc, zone).to_list()]
    rows = rows_of(walls, lively(120))
    small_blocks(monkeypatch, 300)
    naive = [moment.replace(tzinfo=None) for moment in utc]
    assert times(read_log(file_of(tmp_path, rows), zone=zone)) == naive
    assert times(read_log(file_of(tmp_path, rows[::-1], name="down.csv"), zone=zone)) == naive


def test_zone_that_is_not_known() -> None:
    """The message names what to give."""
    with pytest.raises(LogError, match=r"time zone 'Mars/Olympus' is not known.*IANA"):
        zone_info("Mars/Olympus")


def test_same_minute_logged_six_times_is_no_step_back() -> None:
    """Stamps of a minute for readings each ten seconds: equal times stay in one pass."""
    zone = "Europe/London"
    utc = [BACK[zone] + timedelta(minutes=(i // 6) - 70) for i in range(800)]
    found = back_to_utc(Localiser(ZoneInfo(zone)), walls_of(utc, zone))
    assert np.all(np.diff([m.timestamp() for m in found]) >= 0)
    assert found == utc
