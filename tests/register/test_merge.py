"""Imports of one outlet become one log: no reading is lost, and no doubt is.

All readings are invented. The oracle follows the rules of the module's docstring in plain Python,
a reading at a time, and shares no code with what it checks.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from attrs import evolve, frozen
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import RegisterError
from lungwort.limits.model import Bound, Limit, LimitSet
from lungwort.logs.model import (
    ABOVE,
    BAD,
    BELOW,
    GOOD,
    MISSING,
    NOT_EVALUATED,
    PLAIN,
    SUSPECT,
    UNREADABLE,
    Channel,
    Log,
    Source,
    Stretch,
)
from lungwort.register.merge import merge_logs
from lungwort.verdict.judge import judge
from lungwort.verdict.model import CONFORMS, DOES_NOT_CONFORM

START = datetime(2026, 3, 4, 8, tzinfo=UTC)
CO = Channel("co", "co", "volume_fraction", "ppm", heading="CO", logged_unit="ppm", censored=True)
O2 = Channel("o2", "o2", "volume_fraction", "%", heading="O2", logged_unit="%")
CO2 = Channel("co2", "co2", "volume_fraction", "ppm", heading="CO2", logged_unit="ppm")


@frozen
class Cell:
    """One reading of one channel."""

    value: float | None
    flag: int = GOOD
    censor: int = PLAIN


Row = tuple[int, dict[str, Cell]]


def at(seconds: float) -> datetime:
    """Give a moment."""
    return START + timedelta(seconds=seconds)


def make(rows: Sequence[Row], channels: Sequence[Channel] = (CO, O2), **facts: object) -> Log:
    """Make a log of rows: seconds after the start, and a cell a channel."""
    columns: dict[str, pl.Series] = {
        "time": pl.Series([at(second) for second, _ in rows], dtype=pl.Datetime("us", "UTC"))
    }
    for channel in channels:
        cells = [cells.get(channel.name, Cell(None, MISSING)) for _, cells in rows]
        name = channel.name
        columns[name] = pl.Series([cell.value for cell in cells], dtype=pl.Float64)
        columns[f"{name}_flag"] = pl.Series([cell.flag for cell in cells], dtype=pl.UInt8)
        if channel.censored:
            columns[f"{name}_censor"] = pl.Series([cell.censor for cell in cells], dtype=pl.Int8)
    usual: dict[str, object] = {
        "parts": (pl.DataFrame(columns),),
        "channels": tuple(channels),
        "rows": len(rows),
        "start": at(rows[0][0]) if rows else None,
        "end": at(rows[-1][0]) if rows else None,
        "interval_s": 10.0,
        "zone_stated": True,
    }
    return Log(**{**usual, **facts})  # type: ignore[arg-type] # fields of Log


def plain(*values: float, start: int = 0, step: int = 10) -> Log:
    """Make a log of carbon monoxide alone."""
    return make([(start + step * i, {"co": Cell(value)}) for i, value in enumerate(values)], (CO,))


def rows_of(log: Log) -> list[tuple[object, ...]]:
    """List the rows, NaN told as text so that it equals itself."""
    return [
        tuple("nan" if isinstance(x, float) and math.isnan(x) else x for x in row)
        for row in log.frame.iter_rows()
    ]


# --- the oracle -------------------------------------------------------------------------------


def _same(cells: Sequence[Cell]) -> bool:
    numbers = [c.value for c in cells if c.value is not None and not math.isnan(c.value)]
    codes = [c.censor for c in cells if c.value is not None or c.censor != PLAIN]
    return len(set(numbers)) <= 1 and len(set(codes)) <= 1


def _joined(cells: Sequence[Cell]) -> Cell:
    flags = {cell.flag for cell in cells}
    numbers = [c.value for c in cells if c.value is not None and not math.isnan(c.value)]
    others = [c.value for c in cells if c.value is not None]
    codes = [c.censor for c in cells if c.value is not None or c.censor != PLAIN]
    if SUSPECT in flags or {GOOD, BAD} <= flags:
        flag = SUSPECT
    else:
        flag = next((one for one in (GOOD, BAD, NOT_EVALUATED) if one in flags), MISSING)
    value = next(iter((*numbers, *others)), None)
    return Cell(value, flag, codes[0] if codes else PLAIN)


def oracle(
    imports: Sequence[Sequence[Row]], channels: Sequence[Channel]
) -> tuple[list[tuple[object, ...]], int]:
    """Merge a row at a time; give the rows and at how many times the imports disagree."""
    groups: dict[tuple[int, int], list[tuple[int, dict[str, Cell]]]] = defaultdict(list)
    for place, rows in enumerate(imports):
        seen: dict[int, int] = defaultdict(int)
        for second, cells in rows:
            groups[second, seen[second]].append((place, cells))
            seen[second] += 1
    absent = Cell(None, MISSING)
    made: list[tuple[tuple[int, int, int], tuple[object, ...]]] = []
    times = set()
    for (second, nth), members in groups.items():
        columns = {c.name: [cells.get(c.name, absent) for _, cells in members] for c in channels}
        odd = {name for name, cells in columns.items() if not _same(cells)}
        if odd and len(members) > 1:
            times.add(second)
        kept = []
        for index, (place, _) in enumerate(members):
            row: list[object] = [at(second)]
            for channel in channels:
                ones = columns[channel.name]
                cell = _joined(ones)
                if channel.name in odd:
                    cell = ones[index]
                    others = any(one.flag in {GOOD, SUSPECT} for one in ones)
                    if cell.flag in {GOOD, SUSPECT} or (cell.flag == NOT_EVALUATED and others):
                        cell = evolve(cell, flag=SUSPECT)
                if len(members) == 1:
                    cell = ones[0]
                value = cell.value
                shown = "nan" if value is not None and math.isnan(value) else value
                row += [shown, cell.flag] + ([cell.censor] if channel.censored else [])
            if tuple(row) not in kept:
                kept.append(tuple(row))
                made.append(((second, nth, place), tuple(row)))
    return [row for _, row in sorted(made, key=lambda one: one[0])], len(times)


VALUES = st.sampled_from([0.0, 1.0, 4.5, 50.0])


@st.composite
def cells(draw: st.DrawFn, *, censored: bool) -> Cell:
    """Any reading that a log can hold."""
    if draw(st.integers(0, 5)) == 0:
        return Cell(None, MISSING)
    value = draw(VALUES | st.just(math.nan)) if draw(st.integers(0, 9)) == 0 else draw(VALUES)
    flag = draw(st.sampled_from([GOOD, GOOD, GOOD, SUSPECT, BAD, NOT_EVALUATED]))
    if math.isnan(value):
        flag = BAD
    censor = draw(st.sampled_from([PLAIN, PLAIN, PLAIN, BELOW, ABOVE, UNREADABLE]))
    return Cell(value, flag, censor if censored else PLAIN)


@st.composite
def tables(draw: st.DrawFn, channels: Sequence[Channel] = (CO, O2)) -> list[Row]:
    """Rows in the order of time, some at one time."""
    seconds = sorted(draw(st.lists(st.integers(0, 7), min_size=1, max_size=7)))
    return [
        (
            10 * second,
            {c.name: draw(cells(censored=c.censored)) for c in channels},
        )
        for second in seconds
    ]


@settings(deadline=None, max_examples=60)
@given(imports=st.lists(tables(), min_size=2, max_size=3))
def test_merging_follows_the_rules(imports: list[list[Row]]) -> None:
    """Property: row for row what the oracle gives, and a doubt where and only where it sees one."""
    merged = merge_logs([(f"{place}.csv", make(rows)) for place, rows in enumerate(imports)])
    expected, times = oracle(imports, (CO, O2))
    assert rows_of(merged) == expected
    assert bool(merged.doubts) == bool(times)
    if times:
        assert sum(int(one.split(" disagree at ")[1].split()[0]) for one in merged.doubts) == times
    assert merged.rows == len(expected)
    assert merged.frame["time"].is_sorted()


@settings(deadline=None, max_examples=20)
@given(imports=st.lists(tables(), min_size=2, max_size=3))
def test_no_usable_reading_is_lost(imports: list[list[Row]]) -> None:
    """Property: what any import shows and trusts is in the whole, and trusted there."""
    merged = merge_logs([(f"{place}.csv", make(rows)) for place, rows in enumerate(imports)])
    held = {
        (name, row["time"], row[name], row.get(f"{name}_censor", PLAIN))
        for row in merged.frame.iter_rows(named=True)
        for name in ("co", "o2")
        if row[f"{name}_flag"] in {GOOD, SUSPECT}
    }
    for rows, channel in itertools.product(imports, (CO, O2)):
        for second, row in rows:
            cell = row[channel.name]
            if cell.flag in {GOOD, SUSPECT} and cell.value is not None:
                assert (channel.name, at(second), cell.value, cell.censor) in held


@settings(deadline=None, max_examples=20)
@given(rows=tables(), cut=st.integers(0, 7))
def test_the_same_readings_twice_are_the_readings_once(rows: list[Row], cut: int) -> None:
    """Property: a log with itself, or with a part of itself, is the log, without a doubt."""
    log = make(rows)
    for other in (log, make(rows[cut:]), make(rows[:cut])):
        if not other.rows:
            continue
        merged = merge_logs([("a.csv", log), ("b.csv", other)])
        # A part that begins inside rows of one time is matched from its own first one.
        inside = 0 < cut < len(rows) and rows[cut - 1][0] == rows[cut][0] and other is not log
        if not inside:
            assert rows_of(merged) == rows_of(log)
            assert merged.doubts == ()


@settings(deadline=None, max_examples=15)
@given(imports=st.lists(tables(), min_size=2, max_size=3), splits=st.integers(1, 4))
def test_how_imports_are_cut_into_parts_does_not_matter(
    imports: list[list[Row]], splits: int
) -> None:
    """Property: parts in memory, on disk and cut anywhere between two times give the same rows."""
    whole = [make(rows) for rows in imports]
    cut = []
    for log in whole:
        frame = log.frame
        edges = [0, frame.height]
        edges += [
            place
            for place in range(splits, frame.height, splits)
            if frame["time"][place] != frame["time"][place - 1]
        ]
        edges = sorted(set(edges))
        parts = tuple(frame[a:b].lazy() for a, b in itertools.pairwise(edges))
        cut.append(evolve(log, parts=parts))
    names = [f"{place}.csv" for place in range(len(imports))]
    one = merge_logs(list(zip(names, whole, strict=True)))
    other = merge_logs(list(zip(names, cut, strict=True)), in_memory_rows=0)
    assert rows_of(one) == rows_of(other)
    assert bool(one.doubts) == bool(other.doubts)
    assert one.interval_s == other.interval_s


# --- what reaches the verdict --------------------------------------------------------------------

LIMITS = LimitSet(
    id="invented",
    title="An invented set",
    document="none",
    edition="1",
    use="tests",
    limits=(
        Limit(
            key="co",
            analyte="co",
            quantity="volume_fraction",
            unit="ppm",
            upper=Bound(5.0, included=True),
            status="confirmed",
        ),
    ),
    digest="0" * 64,
)


def word(log: Log) -> str:
    """Judge carbon monoxide against 5 ppm."""
    return judge(log, LIMITS, now=at(86400)).overall


def test_two_halves_of_a_clean_log_conform() -> None:
    """What each shows for its own time counts for the whole."""
    first, second = plain(*[1.0, 1.1] * 30), plain(*[1.2, 1.1] * 30, start=600)
    assert word(first) == word(second) == CONFORMS
    merged = merge_logs([("a.csv", first), ("b.csv", second)])
    assert word(merged) == CONFORMS
    assert (merged.start, merged.end, merged.rows) == (at(0), at(1190), 120)


@pytest.mark.parametrize("other", [1.5, 4.9])
def test_imports_that_disagree_prove_nothing(other: float) -> None:
    """Both values are inside the limit, and still nobody knows which file is right."""
    first, second = plain(*[1.0, 1.1] * 30), plain(*[1.0, 1.1] * 29, 1.0, other)
    merged = merge_logs([("a.csv", first), ("b.csv", second)])
    assert merged.doubts == (
        (
            "a.csv and b.csv disagree at 1 time in co, first at 2026-03-04 08:09:50 UTC (co: 1.1 and "
            f"{other:g} ppm), so it cannot be told which of them is right"
        ),
    )
    assert word(merged) == "not_proven"


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
@pytest.mark.parametrize("flag", [GOOD, NOT_EVALUATED])
def test_a_reading_outside_is_found_in_whichever_file(order: tuple[int, int], flag: int) -> None:
    """The file that was right may be the other one; it may call the reading settling."""
    clean = plain(*[1.0, 1.1] * 30)
    bad = make(
        [(10 * i, {"co": Cell(50.0 if i == 7 else [1.0, 1.1][i % 2], flag)}) for i in range(60)],
        (CO,),
    )
    logs = [("clean.csv", clean), ("bad.csv", bad)]
    merged = merge_logs([logs[place] for place in order])
    assert word(merged) == DOES_NOT_CONFORM
    assert merged.frame.filter(pl.col("co") == 50.0)["co_flag"].to_list() == [SUSPECT]
    assert len(merged.doubts) == 1


def test_settling_gives_way_to_a_file_that_goes_further_back() -> None:
    """A logger read out in the middle had settled long before."""
    early = plain(*[1.0] * 20)
    late = make([(10 * i, {"co": Cell(1.0, NOT_EVALUATED)}) for i in range(10, 30)], (CO,))
    merged = merge_logs([("early.csv", early), ("late.csv", late)])
    assert merged.frame["co_flag"].to_list() == [GOOD] * 20 + [NOT_EVALUATED] * 10
    assert merged.doubts == ()


def test_a_gap_between_imports_stays_one() -> None:
    """Nothing was measured in between, so nothing is proved of it."""
    first, second = plain(*[1.0, 1.1] * 30), plain(*[1.0, 1.1] * 30, start=3000)
    merged = merge_logs([("a.csv", first), ("b.csv", second)])
    assert [(one.cause, one.start, one.end, one.readings) for one in merged.stretches] == [
        ("gap", at(590), at(3000), 0)
    ]
    verdict = judge(merged, LIMITS, now=at(86400))
    assert verdict.overall == "not_proven"
    # Worked by hand: 120 readings of 10 s, one of which may stand for 15 s, of 3600 s.
    assert verdict.coverage[0].share == pytest.approx(1205 / 3600)


def test_a_channel_that_one_import_lacks_is_missing_there() -> None:
    """Missing lowers coverage; it never raises it."""
    both = make([(10 * i, {"co": Cell(1.0), "co2": Cell(430.0)}) for i in range(60)], (CO, CO2))
    alone = plain(*[1.0] * 60, start=600)
    merged = merge_logs([("both.csv", both), ("alone.csv", alone)])
    assert [one.name for one in merged.channels] == ["co", "co2"]
    assert merged.frame["co2_flag"].to_list() == [GOOD] * 60 + [MISSING] * 60
    assert merged.frame["co2"].null_count() == 60
    assert "Channel co2 is missing in alone.csv." in merged.notes


def test_two_instruments_that_log_at_the_same_times_are_put_side_by_side() -> None:
    """One measures carbon monoxide, the other carbon dioxide: nothing disagrees."""
    first = plain(1.0, 2.0)
    second = make([(0, {"co2": Cell(430.0)}), (10, {"co2": Cell(431.0)})], (CO2,))
    merged = merge_logs([("a.csv", first), ("b.csv", second)])
    assert merged.doubts == ()
    assert merged.frame.select("co", "co2").rows() == [(1.0, 430.0), (2.0, 431.0)]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"unit": "mg/m3", "quantity": "mass_concentration"}, "as mass concentration in mg/m3"),
        ({"analyte": "no"}, "no as volume fraction in ppm"),
    ],
)
def test_one_name_for_two_things_stops(change: dict[str, str], said: str) -> None:
    """Such imports are judged apart; nothing is converted on the way."""
    other = evolve(CO, **change)  # type: ignore[arg-type] # fields of Channel
    logs = [("a.csv", plain(1.0)), ("b.csv", make([(0, {"co": Cell(1.0)})], (other,)))]
    with pytest.raises(RegisterError, match=f"channel co is co as volume fraction in ppm.*{said}"):
        merge_logs(logs)


def test_what_was_said_of_each_import_is_said_of_the_whole() -> None:
    """Doubts above all: a clock that was reset in one file is not forgotten beside another."""
    unplaced = make([(0, {"co": Cell(99.0)})], (CO,)).frame
    source = Source("a.csv", "0" * 64, 10, 1, 1)
    first = evolve(
        plain(1.0, 1.0),
        doubts=("the clock was reset",),
        channel_doubts=(("co", "dead"),),
        notes=("one", "two"),
        sources=(source,),
        unplaced=unplaced,
        stretches=(Stretch(at(0), at(0), "settling"),),
        outlet="Panel 2",
        settle_s=1800.0,
        columns_not_used=("Door",),
    )
    second = evolve(
        plain(1.0, 1.0, start=10),
        notes=("two", "three"),
        sources=(source,),
        unplaced=unplaced,
        zone="Europe/Oslo",
        zone_stated=False,
        interval_s=60.0,
    )
    merged = merge_logs([("a.csv", first), ("b.csv", second)])
    assert merged.doubts == ("the clock was reset",)
    assert merged.channel_doubts == (("co", "dead"),)
    assert merged.notes[:3] == ("one", "two", "three")
    assert any("different zones (UTC, Europe/Oslo)" in note for note in merged.notes)
    assert any("every 10 s up to every 60 s" in note for note in merged.notes)
    assert merged.sources == (source,)
    assert merged.unplaced is not None
    assert merged.unplaced["co"].to_list() == [99.0]
    assert merged.stretches == first.stretches
    assert (merged.outlet, merged.settle_s, merged.zone_stated) == ("Panel 2", 1800.0, False)
    assert merged.columns_not_used == ("Door",)
    assert word(merged) == DOES_NOT_CONFORM


def test_coverage_is_reckoned_by_the_shortest_interval() -> None:
    """Many slow readings must not let a fast log's holes pass for covered."""
    slow = evolve(plain(*[1.0, 1.1] * 50, step=60), interval_s=60.0)
    fast = evolve(plain(*[1.0, 1.1] * 5, start=7000), interval_s=10.0)
    assert merge_logs([("slow.csv", slow), ("fast.csv", fast)]).interval_s == 10.0


def test_nothing_to_merge_is_refused_and_one_stays_as_it_is() -> None:
    """One import is not touched at all."""
    log = plain(1.0)
    assert merge_logs([("a.csv", log)]) is log
    with pytest.raises(RegisterError, match="No import was given"):
        merge_logs([])


def test_a_long_overlap_is_kept_on_disk() -> None:
    """What is merged beyond the bound does not stay in memory, and goes with the log."""
    logs = [("a.csv", plain(*[1.0] * 100)), ("b.csv", plain(*[1.0] * 100, start=500))]
    merged = merge_logs(logs, in_memory_rows=50)
    assert [type(part) for part in merged.parts] == [pl.LazyFrame]
    assert rows_of(merged) == rows_of(merge_logs(logs))
