"""Readings over any span: equal to the merged log, no peak hidden, what is kept never trusted."""

from __future__ import annotations

import shutil
import zipfile
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import polars as pl
import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import InputError, RegisterError, UnknownRecordError
from lungwort.jobs import _readings_store as store
from lungwort.jobs.opening import Where
from lungwort.jobs.readings import (
    ASIDE_OUTSIDE,
    NOT_JUDGED,
    OUTSIDE,
    SUSPECT,
    Readings,
    readings,
)
from lungwort.logs.model import GOOD, Channel, Log, Source, Stretch
from lungwort.logs.options import ReadOptions
from lungwort.register import backup
from lungwort.register.model import LogImport, Outlet, Person, Site, Supply
from lungwort.register.store import import_log, load_log
from lungwort.register.verify import verify
from lungwort.register.workspace import create_workspace, open_workspace

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
START = datetime(2026, 3, 30, 22, 0, tzinfo=UTC)
CO = Channel("co", "co", "volume_fraction", "ppm", heading="CO", logged_unit="ppm")
DEW = Channel("dew", "water", "atmospheric_dew_point", "°C", heading="Dew", logged_unit="°C")


def log_of(
    content: bytes,
    first: int,
    values: list[float],
    *,
    step_s: int = 10,
    flags: dict[int, int] | None = None,
    channel: Channel = CO,
    stretches: tuple[Stretch, ...] = (),
) -> Log:
    """Make an invented log: values at equal steps from so many seconds after the start."""
    import hashlib

    times = [START + timedelta(seconds=first + step_s * at) for at in range(len(values))]
    marks = [(flags or {}).get(at, GOOD) for at in range(len(values))]
    frame = pl.DataFrame(
        {
            "time": pl.Series(times, dtype=pl.Datetime("us", "UTC")),
            channel.name: pl.Series(values, dtype=pl.Float64),
            f"{channel.name}_flag": pl.Series(marks, dtype=pl.UInt8),
        }
    )
    source = Source("log.csv", hashlib.sha256(content).hexdigest(), len(content), 1, 1)
    return Log(
        parts=(frame,),
        channels=(channel,),
        sources=(source,),
        rows=len(values),
        start=times[0],
        end=times[-1],
        interval_s=float(step_s),
        zone="Europe/London",
        zone_stated=True,
        stretches=stretches,
    )


def workspace_of(folder: Path, *logs: tuple[bytes, Log]) -> Where:
    """Make a workspace with an outlet that has these logs."""
    store.forget()
    with create_workspace(folder, name="slip", person="Wenna Harkle", now=NOW) as workspace:
        with workspace.register.change(who="Wenna Harkle", now=NOW) as change:
            person = change.get(Person, "Wenna Harkle")
            site = change.add(
                Site(name="slip", zone="Europe/London", limit_set="en12021-2014-airline")
            )
            supply = change.add(Supply(site_id=site.id, name="hall"))
            outlet = change.add(Outlet(supply_id=supply.id, name="panel"))
        for content, log in logs:
            with workspace.register.change(who="Wenna Harkle", now=NOW) as change:
                import_log(
                    workspace,
                    change,
                    log,
                    outlet=outlet,
                    instrument=None,
                    files=[("log.csv", content)],
                    options=ReadOptions(),
                    by=person,
                )
    return Where(workspace=folder)


def asked(
    where: Where, begin: float | None = None, end: float | None = None, **more: int
) -> Readings:
    """Ask for a span in seconds after the start."""
    return readings(
        where,
        "panel",
        now=NOW,
        begin=None if begin is None else START + timedelta(seconds=begin),
        end=None if end is None else START + timedelta(seconds=end),
        **more,
    )


@pytest.fixture(scope="module")
def spiky(tmp_path_factory: pytest.TempPathFactory) -> Where:
    """Give two days of quiet air across a change of month, with one reading of 12 ppm."""
    values = [0.4] * 17280
    values[9000] = 12.0
    return workspace_of(tmp_path_factory.mktemp("spiky") / "w", (b"a", log_of(b"a", 0, values)))


@pytest.mark.parametrize("points", [10, 37, 200, 1200, 5000])
def test_one_reading_in_two_days_is_seen(spiky: Where, points: int) -> None:
    """A 10-second spike stands in one bucket with its exact value, and says that it is outside.

    EN 12021:2014, table 1: carbon monoxide at most 5 ppm (from memory).
    """
    found = asked(spiky, points=points)
    (channel,) = found.channels
    assert len(channel.time_us) <= points + 1
    assert channel.greatest == 12.0
    (place,) = [at for at, high in enumerate(channel.high) if high == 12.0]
    assert channel.marks[place] & OUTSIDE
    spike_us = int((START + timedelta(seconds=90000)).timestamp() * 1e6)
    assert channel.time_us[place] <= spike_us < channel.time_us[place] + found.width_s * 1_000_000
    (outside,) = channel.outside
    assert outside.greatest == 12.0
    assert [line.value for line in channel.lines] == [5.0]


def test_few_readings_are_given_as_they_are(spiky: Where) -> None:
    """Where a span holds fewer readings than points, each point is a reading at its own time."""
    found = asked(spiky, 89950, 90050)
    assert found.width_s == 0
    assert found.channels[0].high == (0.4,) * 5 + (12.0,) + (0.4,) * 5
    assert found.channels[0].low == found.channels[0].high
    steps = {b - a for a, b in pairwise(found.channels[0].time_us)}
    assert steps == {10_000_000}


flagged = st.dictionaries(st.integers(0, 79), st.sampled_from([2, 3, 4, 9]), max_size=20)
piece = st.tuples(
    st.integers(0, 300).map(lambda at: at * 60),
    st.lists(st.sampled_from([0.1, 0.4, 4.9, 7.5]), min_size=1, max_size=80),
    flagged,
    st.sampled_from([10, 60]),
)


@settings(deadline=None, max_examples=12)
@given(st.lists(piece, min_size=1, max_size=3), st.integers(10, 120), st.integers(0, 15000))
def test_what_is_shown_is_the_merged_log(
    tmp_path_factory: pytest.TempPathFactory,
    pieces: list[tuple[int, list[float], dict[int, int], int]],
    points: int,
    begin: int,
) -> None:
    """Whatever imports overlap, buckets agree with what `load_log` gives for a verdict."""
    logs = []
    for number, (first, values, flags, step) in enumerate(pieces):
        content = str(number).encode()
        logs.append((content, log_of(content, first, values, step_s=step, flags=flags)))
    where = workspace_of(tmp_path_factory.mktemp("merged") / "w", *logs)
    last = max((log.end or START) for _, log in logs)
    span = (START + timedelta(seconds=begin), last)
    if span[0] >= span[1]:
        span = (START, last + timedelta(seconds=1))
    found = readings(where, "panel", now=NOW, begin=span[0], end=span[1], points=points)
    with open_workspace(where.workspace, read_only=True) as workspace:  # type: ignore[arg-type]
        whole = load_log(workspace, workspace.register.all(LogImport)).frame
    if found.begin is None or found.end is None:
        assert whole.filter(pl.col("time").is_between(*span)).height == 0
        return
    rows = whole.filter(pl.col("time").is_between(found.begin, found.end))
    usable = rows.filter(pl.col("co_flag").is_in([1, 3]) & pl.col("co").is_not_null())
    (channel,) = found.channels
    assert channel.usable == usable.height
    assert (channel.least, channel.greatest) == (usable["co"].min(), usable["co"].max())
    assert channel.suspect == rows.filter(pl.col("co_flag") == 3).height
    width_us = found.width_s * 1_000_000 or 1
    for at, low, high, bits in zip(
        channel.time_us, channel.low, channel.high, channel.marks, strict=True
    ):
        inside = pl.col("time").dt.epoch("us").is_between(at, at + width_us - 1)
        mine, used = rows.filter(inside), usable.filter(inside)
        assert (low, high) == (used["co"].min(), used["co"].max())
        assert bool(bits & SUSPECT) == bool((mine["co_flag"] == 3).any())
        assert bool(bits & NOT_JUDGED) == bool(mine["co_flag"].is_in([2, 4]).any())
        assert bool(bits & OUTSIDE) == (high is not None and high > 5.0)
    reached = [at // width_us * width_us for at in rows["time"].dt.epoch("us").to_list()]
    assert set(channel.time_us) <= set(reached)


def test_outside_while_settling_is_seen(tmp_path: Path) -> None:
    """A number that no verdict looks at stands aside, and says that it is outside all the same."""
    log = log_of(b"a", 0, [9.0, 0.5, 0.5], flags={0: 2})
    (channel,) = asked(workspace_of(tmp_path / "w", (b"a", log))).channels
    assert channel.aside_high == (9.0, None, None)
    assert channel.low == (None, 0.5, 0.5)
    assert channel.marks == (NOT_JUDGED | ASIDE_OUTSIDE, 0, 0)
    (outside,) = channel.outside
    assert (outside.greatest, outside.usable) == (9.0, False)


def test_a_bound_is_carried_as_a_verdict_does(tmp_path: Path) -> None:
    """A limit on water in mg/m3 stands over a dew point in degrees, and says so."""
    log = log_of(b"a", 0, [-40.0] * 5, channel=DEW)
    found = asked(workspace_of(tmp_path / "w", (b"a", log)))
    (channel,) = found.channels
    assert channel.lines
    for line in channel.lines:
        assert -60.0 < line.value < 30.0
        assert line.text[-2:] == "°C"
    assert any("is drawn at" in note for note in found.notes)


def test_a_gap_breaks_the_line_and_is_told(tmp_path: Path) -> None:
    """Between two imports nothing was read: no line leads across, and the stretch is listed."""
    logs = [(one, log_of(one, at, [0.4] * 100)) for one, at in ((b"a", 0), (b"b", 50000))]
    found = asked(workspace_of(tmp_path / "w", *logs))
    assert found.channels[0].breaks == (100,)
    (gap,) = [one for one in found.asides if one.kind == "gap"]
    assert gap.start == START + timedelta(seconds=990)
    assert gap.end == START + timedelta(seconds=50000)
    assert gap.text == "no readings for 13.6 h"


def test_one_name_for_two_things_is_shown_as_two(tmp_path: Path) -> None:
    """Imports that cannot be judged together can be looked at together, and it is told."""
    percent = evolve(CO, unit="%")
    logs = [
        (b"a", log_of(b"a", 0, [0.4] * 3)),
        (b"b", log_of(b"b", 60, [0.1] * 3, channel=percent)),
    ]
    found = asked(workspace_of(tmp_path / "w", *logs))
    assert [(one.channel.name, one.greatest) for one in found.channels] == [
        ("co", 0.4),
        ("co_other2", 0.1),
    ]
    assert any("stands for different things" in note for note in found.notes)


def test_what_is_kept_may_be_lost_damaged_or_not_writable(
    tmp_path: Path, spiky: Where, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder of what was worked out changes nothing but the time it takes."""
    assert spiky.workspace is not None
    folder = Path(shutil.copytree(spiky.workspace, tmp_path / "w"))
    where = Where(workspace=folder)
    shutil.rmtree(folder / "derived", ignore_errors=True)
    store.forget()
    first = asked(where)
    kept = sorted((folder / "derived").rglob("*.buckets"))
    assert len(kept) == 2 * len({path.parent.name for path in kept}) > 2
    store.forget()
    assert asked(where) == first
    for path in kept:
        content = bytearray(path.read_bytes())
        content[len(content) // 2] ^= 1
        path.write_bytes(content)
    store.forget()
    assert asked(where) == first
    for path in kept:
        path.write_bytes(b"")
    store.forget()
    assert asked(where) == first
    shutil.rmtree(folder / "derived")
    monkeypatch.setattr(Path, "mkdir", _refused)
    store.forget()
    assert asked(where) == first
    assert not (folder / "derived").exists()


def _refused(*_: object, **__: object) -> None:
    raise PermissionError(13, "Permission denied")


def test_backup_leaves_it_out_and_verifying_passes_it(tmp_path: Path, spiky: Where) -> None:
    """What can be worked out again is in no backup, and is no alteration."""
    assert spiky.workspace is not None
    store.forget()
    asked(spiky)
    assert (spiky.workspace / store.FOLDER).is_dir()
    with open_workspace(spiky.workspace, read_only=True) as workspace:
        made = backup.backup(workspace, tmp_path / "backup.zip", now=NOW)
        assert verify(workspace).problems == ()
    with zipfile.ZipFile(made) as archive:
        assert not [one for one in archive.namelist() if one.startswith(store.FOLDER)]
        assert [one for one in archive.namelist() if one.startswith("readings/")]


def test_an_altered_part_is_told(tmp_path: Path, spiky: Where) -> None:
    """Where buckets must be made anew, readings that were altered are refused."""
    assert spiky.workspace is not None
    folder = Path(shutil.copytree(spiky.workspace, tmp_path / "w"))
    shutil.rmtree(folder / "derived", ignore_errors=True)
    part = min((folder / "readings").rglob("*.parquet"))
    part.write_bytes(part.read_bytes()[:-1] + b"x")
    store.forget()
    with pytest.raises(RegisterError, match="is altered or truncated"):
        asked(Where(workspace=folder))
    store.forget()


@pytest.mark.parametrize(
    ("begin", "end", "points", "message"),
    [
        ("soon", "", 100, "--from 'soon' is no moment"),
        ("", "2026-13-01", 100, "--to '2026-13-01' is no moment"),
        ("2026-03-05", "2026-03-04", 100, "does not lie before --to"),
        ("0001-01-01", "", 100, "outside the years 1971 to 2198"),
        ("", "", 9, "9 points cannot be drawn"),
        ("", "", 5001, "5001 points cannot be drawn"),
    ],
)
def test_nonsense_is_refused(spiky: Where, begin: str, end: str, points: int, message: str) -> None:
    """What cannot be read is told with what to give."""
    with pytest.raises(InputError, match=message):
        readings(spiky, "panel", now=NOW, begin=begin, end=end, points=points)


def test_beyond_all_readings(spiky: Where) -> None:
    """A span is cut to what there is; beside it there is nothing."""
    wide = readings(spiky, "panel", now=NOW, begin="1990-01-01", end="2100-01-01")
    assert (wide.first, wide.begin) == (START, START.replace(minute=0))
    beside = readings(spiky, "panel", now=NOW, begin="1990-01-01", end="1991-01-01")
    assert (beside.begin, beside.channels) == (None, ())
    with pytest.raises(UnknownRecordError, match="panle"):
        readings(spiky, "panle", now=NOW)


def test_typed_times_are_those_of_the_site(spiky: Where) -> None:
    """31 March 2026 is in summer time in London: 01:00 there is 00:00 UTC."""
    found = readings(spiky, "panel", now=NOW, begin="2026-03-31 01:00", end="2026-03-31 01:10")
    assert found.begin == datetime(2026, 3, 31, 0, 0, tzinfo=UTC)
    assert found.end == datetime(2026, 3, 31, 0, 10, tzinfo=UTC)
