"""The column store: what is imported comes back equal, and every alteration of a part shows.

Readings are invented, but for the open logs whose sources stand in tests/data/README.md. Parts are
read independently with PyArrow, digests with hashlib and json alone.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import polars as pl
import pyarrow.parquet
import pytest
from attrs import evolve, frozen

from lungwort.errors import RegisterError, WorkspaceError
from lungwort.logs.model import Log
from lungwort.logs.options import ReadOptions
from lungwort.logs.read import read_with
from lungwort.logs.recipe import load_recipe
from lungwort.register import parts as parts_module
from lungwort.register import store
from lungwort.register.known import content_digest, draft_import
from lungwort.register.logdoc import facts_of
from lungwort.register.model import Instrument, LogImport, Outlet, Part, Person, Site, Supply
from lungwort.register.parts import by_month, sweep
from lungwort.register.store import check_parts, facts_of_import, import_log, load_log, store_log
from lungwort.register.workspace import Workspace, create_workspace

DATA = Path(__file__).parents[1] / "data"
WHO = "Wenna Harkle"
HEAD = "Time,CO [ppm],CO2 [ppm],O2 [%]"
OSLO = ReadOptions(zone="Europe/Oslo")


def write(
    folder: Path,
    name: str,
    begin: datetime,
    count: int = 120,
    *,
    value: Callable[[int], str] = lambda i: f"0.{i % 5}",
    after: str = "",
) -> Path:
    """Write a minute-by-minute log in UTC."""
    lines = [HEAD]
    for i in range(count):
        stamp = f"{begin + timedelta(minutes=i):%Y-%m-%dT%H:%M:%SZ}"
        lines.append(f"{stamp},{value(i)},{430 + i % 7},{20.9 - i % 2 / 10:.1f}")
    path = folder / name
    path.write_text("\n".join(lines) + "\n" + after, encoding="utf-8")
    return path


@frozen
class Place:
    """A workspace with two outlets and an instrument."""

    workspace: Workspace
    now: datetime
    outlet: Outlet
    other: Outlet
    instrument: Instrument

    def take(self, *paths: Path, **more: object) -> tuple[LogImport, bool]:
        """Import files as they are."""
        options = more.pop("options", OSLO)
        assert isinstance(options, ReadOptions)
        log = read_with(list(paths), options)
        usual: dict[str, object] = {
            "outlet": self.outlet,
            "instrument": None,
            "files": [(path.name, path) for path in paths],
            "options": options,
        }
        with self.workspace.register.change(who=WHO, now=self.now) as change:
            return import_log(
                self.workspace,
                change,
                log,
                by=change.who,
                **{**usual, **more},  # type: ignore[arg-type] # as given
            )


def furnish(workspace: Workspace, now: datetime) -> Place:
    """Add what an import needs."""
    with workspace.register.change(who=WHO, now=now) as change:
        site = change.add(Site(name="slipway", zone="Europe/London"))
        supply = change.add(Supply(site_id=site.id, name="house", pressure_bar_g=Decimal(7)))
        outlet = change.add(Outlet(supply_id=supply.id, name="Panel 2"))
        other = change.add(Outlet(supply_id=supply.id, name="Panel 3"))
        instrument = change.add(Instrument(name="Logger 1"))
    return Place(workspace, now, outlet, other, instrument)


@pytest.fixture
def place(sqlite_workspace: Workspace, start_time: datetime) -> Place:
    """Give a furnished workspace on SQLite."""
    return furnish(sqlite_workspace, start_time + timedelta(hours=1))


@pytest.fixture
def each_place(workspace: Workspace, start_time: datetime) -> Place:
    """Give a furnished workspace, once on each server."""
    return furnish(workspace, start_time + timedelta(hours=1))


@pytest.fixture
def march(tmp_path: Path) -> Path:
    """Give a log over the end of a month in UTC, with a comment behind it."""
    begin = datetime(2026, 3, 31, 23, tzinfo=UTC)
    return write(tmp_path, "march.csv", begin, after="end of log\n")


def assert_equal(one: Log, other: Log) -> None:
    """Compare two logs in all they hold."""
    assert facts_of(one) == facts_of(other)
    assert one.frame.equals(other.frame, null_equal=True)
    assert one.frame.schema == other.frame.schema
    assert (one.unplaced is None) == (other.unplaced is None)
    if one.unplaced is not None and other.unplaced is not None:
        assert one.unplaced.equals(other.unplaced, null_equal=True)
        assert one.unplaced.schema == other.unplaced.schema


# --- there and back ------------------------------------------------------------------------------


def test_an_import_comes_back_as_it_was(each_place: Place, march: Path) -> None:
    """All readings, flags, stretches, notes, refusals, on both servers."""
    record, new = each_place.take(march)
    log = read_with(march, OSLO)
    assert new
    assert_equal(load_log(each_place.workspace, [record]), log)
    assert check_parts(each_place.workspace, [record]) == []
    assert facts_of_import(each_place.workspace, record) == facts_of(log)
    found = each_place.workspace.register.all(LogImport, outlet_id=each_place.outlet.id)
    assert found == [record]
    assert (record.rows, record.refused) == (120, 1)
    assert record.start == datetime(2026, 3, 31, 23, tzinfo=UTC)
    assert record.end == datetime(2026, 4, 1, 0, 59, tzinfo=UTC)


HOURLY = ReadOptions(units=(("co", "mg/m3"),), missing=("-200",), zone="Europe/Rome")
ROOM = ReadOptions(units=(("co2", "ppm"),), zone="Europe/Brussels")
TRAIN = ReadOptions(
    columns=(("pressure", "TP3"), ("pressure", "TP2"), ("temperature", "Oil_temperature")),
    units=(("pressure", "bar(g)"), ("temperature", "°C")),
    zone="Europe/Lisbon",
)
FIRE = ReadOptions(
    columns=(("o2", "O2-1"), ("co", "CO-3"), ("co2", "CO2-4")),
    units=(("time", "s"), ("o2", "mol/mol"), ("co", "mol/mol"), ("co2", "mol/mol")),
    missing=("999",),
    start=datetime(2003, 6, 1, 12, tzinfo=UTC),
)


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("air_quality_co_hourly.csv", HOURLY),
        ("occupancy_co2.txt", ROOM),
        ("train_compressor.csv", TRAIN),
        ("fire_gases_10s.csv", FIRE),
    ],
)
def test_logs_that_nobody_of_this_project_wrote_come_back(
    place: Place, name: str, options: ReadOptions, tmp_path: Path
) -> None:
    """Open logs: long gaps, missing readings, elapsed seconds, odd headings; by the recipe too."""
    log = read_with(DATA / name, options)
    record, _ = place.take(DATA / name, options=options)
    assert_equal(load_log(place.workspace, [record]), log)
    assert check_parts(place.workspace, [record]) == []
    recipe = tmp_path / "recipe.toml"
    recipe.write_bytes(place.workspace.read_file(record.recipe_sha256))
    assert read_with(DATA / name, load_recipe(recipe)).frame.equals(log.frame)


def test_readings_without_a_known_time_are_kept_apart(place: Place, tmp_path: Path) -> None:
    """A clock that was reset: its readings lie in a part of their own and come back."""
    text = write(tmp_path, "a.csv", datetime(2026, 3, 4, 8, tzinfo=UTC)).read_text(encoding="utf-8")
    more = write(tmp_path, "b.csv", datetime(2000, 1, 1, tzinfo=UTC), 60).read_text(
        encoding="utf-8"
    )
    path = tmp_path / "reset.csv"
    path.write_text(text + more.split("\n", 1)[1], encoding="utf-8")
    log = read_with(path, OSLO)
    assert log.unplaced is not None
    record, _ = place.take(path)
    apart = [part for part in record.parts if "month=unplaced" in part.path]
    assert [part.rows for part in apart] == [log.unplaced.height] == [60]
    assert record.rows == 120
    assert_equal(load_log(place.workspace, [record]), log)
    assert check_parts(place.workspace, [record]) == []


def test_a_log_on_disk_is_stored_frame_by_frame(
    place: Place, march: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A log larger than memory: parts that lie on disk, and come back lying on disk."""
    log = read_with(march, OSLO)
    lazy = []
    for number in range(4):
        path = tmp_path / f"{number}.parquet"
        log.frame[30 * number : 30 * number + 30].write_parquet(path)
        lazy.append(pl.scan_parquet(path))
    split = evolve(log, parts=tuple(lazy))
    with place.workspace.register.change(who=WHO, now=place.now) as change:
        record, _ = import_log(
            place.workspace,
            change,
            split,
            outlet=place.outlet,
            instrument=None,
            files=[("march.csv", march)],
            options=OSLO,
            by=change.who,
        )
    assert [part.rows for part in record.parts] == [30, 30, 30, 30]
    monkeypatch.setattr(store, "IN_MEMORY_ROWS", 100)
    back = load_log(place.workspace, [record])
    assert {type(part) for part in back.parts} == {pl.LazyFrame}
    assert_equal(back, log)
    part = load_log(place.workspace, [record], start=datetime(2026, 4, 1, tzinfo=UTC))
    assert part.rows == 60


def test_parts_lie_by_outlet_and_month_in_utc(place: Place, march: Path) -> None:
    """Read with PyArrow: each part holds one month, under its digest's name."""
    record, _ = place.take(march)
    months = {}
    for part in record.parts:
        path = place.workspace.folder / part.path
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        assert part.sha256 == digest
        assert path.name == f"part-{digest[:16]}.parquet"
        assert path.parent.parent.name == f"outlet={place.outlet.id}"
        # Without the folders' names as columns, which PyArrow would add.
        table = pyarrow.parquet.ParquetFile(path).read()
        months[path.parent.name] = {f"{one:%Y-%m}" for one in table["time"].to_pylist()}
        assert table.num_rows == part.rows == 60
        assert table.column_names[:3] == ["time", "co", "co_flag"]
    assert months == {"month=2026-03": {"2026-03"}, "month=2026-04": {"2026-04"}}


def test_cutting_by_month_keeps_every_row() -> None:
    """Leap days and turns of the year, an hour a row, counted by hand."""
    begin = datetime(2023, 12, 31, tzinfo=UTC)
    times = pl.Series("time", [begin + timedelta(hours=i) for i in range(24 * 62)])
    frame = pl.DataFrame({"time": times.cast(pl.Datetime("us", "UTC"))})
    cut = [(month, one.height) for month, one in by_month(frame)]
    # 2024 is a leap year.
    assert cut == [("2023-12", 24), ("2024-01", 24 * 31), ("2024-02", 24 * 29), ("2024-03", 24)]
    assert pl.concat([one for _, one in by_month(frame)]).equals(frame)


def test_the_same_log_gives_the_same_bytes(
    tmp_path: Path, march: Path, start_time: datetime
) -> None:
    """Two workspaces, one log: parts, recipe and document have the same digests."""
    records = []
    for number in range(2):
        folder = tmp_path / f"w{number}"
        with create_workspace(folder, name="W", person=WHO, now=start_time) as workspace:
            place = furnish(workspace, start_time)
            records.append(place.take(march)[0])
    one, other = records
    assert [part.sha256 for part in one.parts] == [part.sha256 for part in other.parts]
    assert (one.recipe_sha256, one.log_sha256) == (other.recipe_sha256, other.log_sha256)
    assert one.content_sha256 == other.content_sha256


def test_the_files_are_kept_as_they_came(place: Place, march: Path) -> None:
    """Byte for byte, under their digest; the recipe reads the file the same way again."""
    record, _ = place.take(march)
    assert [(file.name, file.size_bytes) for file in record.files] == [
        ("march.csv", march.stat().st_size)
    ]
    assert place.workspace.read_file(record.files[0].sha256) == march.read_bytes()
    recipe = march.with_name("recipe.toml")
    recipe.write_bytes(place.workspace.read_file(record.recipe_sha256))
    again = read_with(march, load_recipe(recipe))
    assert again.frame.equals(read_with(march, OSLO).frame)


def test_a_large_file_is_copied_in_blocks(
    place: Place, march: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is never in memory as a whole, and its copy is the same."""
    monkeypatch.setattr(parts_module, "_AT_ONCE", 10)
    monkeypatch.setattr(parts_module, "_BLOCK", 100)
    record, _ = place.take(march)
    assert place.workspace.read_file(record.files[0].sha256) == march.read_bytes()


def test_the_content_digest_is_over_files_and_reading() -> None:
    """Worked out anew with json and hashlib: sorted keys, no blanks, floats as text."""
    options = ReadOptions(zone="Europe/Oslo", settle_s=60.0, recipe="any name")
    reading: dict[str, object] = {
        "columns": [], "date_order": None, "decimal": None, "delimiter": None, "encoding": None,
        "header_line": None, "ignore": [], "missing": [], "only_columns": False, "recipe": "",
        "resettle_gap_s": "600.0", "settle_s": "60.0", "sheet": None, "start": None,
        "time_columns": [], "trust": [], "units": [], "wanted": None, "zone": "Europe/Oslo",
    }  # fmt: skip
    inner = json.dumps(reading, sort_keys=True, separators=(",", ":"))
    outer = {"format": "lungwort-import/1", "files": ["a" * 64, "b" * 64], "reading": inner}
    text = json.dumps(outer, sort_keys=True, separators=(",", ":"))
    expected = hashlib.sha256(text.encode()).hexdigest()
    assert content_digest(["b" * 64, "a" * 64, "b" * 64], options) == expected
    assert content_digest(["b" * 64, "a" * 64], evolve(options, settle_s=61.0)) != expected


# --- the same again, and the same elsewhere --------------------------------------------------------


def test_the_same_import_twice_changes_nothing(each_place: Place, march: Path) -> None:
    """No entry, no file, no part; the record is the one that was there."""
    first, _ = each_place.take(march)
    before = each_place.workspace.register.head()
    files = sorted(each_place.workspace.folder.rglob("*.parquet"))
    again, new = each_place.take(march)
    assert (again, new) == (first, False)
    assert each_place.workspace.register.head() == before
    assert sorted(each_place.workspace.folder.rglob("*.parquet")) == files


def test_the_order_of_files_and_their_names_do_not_matter(place: Place, tmp_path: Path) -> None:
    """The digests say which files they are."""
    one = write(tmp_path, "1.csv", datetime(2026, 3, 4, 8, tzinfo=UTC))
    two = write(tmp_path, "2.csv", datetime(2026, 3, 4, 12, tzinfo=UTC))
    first, _ = place.take(one, two)
    copy = tmp_path / "copy of 1.csv"
    shutil.copy(one, copy)
    assert place.take(two, copy) == (first, False)
    # A part of what is on record adds nothing either.
    assert place.take(one) == (first, False)


def test_a_file_belongs_to_one_outlet(place: Place, march: Path) -> None:
    """Air of one outlet proves nothing about another, unless somebody says why it does."""
    first, _ = place.take(march)
    with pytest.raises(
        RegisterError, match=rf"march.csv is on record at outlet Panel 2 .*{first.id}.*--also-here"
    ):
        place.take(march, outlet=place.other)
    assert place.workspace.register.all(LogImport) == [first]
    second, new = place.take(march, outlet=place.other, also_here="both are fed by one hose")
    assert new
    assert second.note == "Also at this outlet: both are fed by one hose"
    assert second.outlet_id == place.other.id
    with pytest.raises(RegisterError, match="of several outlets"):
        load_log(place.workspace, [first, second])


def test_a_voided_import_stands_in_nobodys_way(place: Place, march: Path) -> None:
    """Put at the wrong outlet by mistake: void it, and import it where it belongs."""
    first, _ = place.take(march)
    with place.workspace.register.change(who=WHO, now=place.now) as change:
        change.void(first, "wrong outlet")
    second, new = place.take(march, outlet=place.other)
    assert new
    assert second.id != first.id
    assert check_parts(place.workspace, [first, second]) == []


def test_a_file_that_was_read_otherwise_is_a_correction(place: Place, march: Path) -> None:
    """Never two readings of one file beside each other; the reason is on record."""
    first, _ = place.take(march)
    rome = evolve(OSLO, zone="Europe/Rome", settle_s=60.0)
    with pytest.raises(
        RegisterError,
        match=r"read otherwise then \(zone: Europe/Rome instead of Europe/Oslo; settle s: 60 instead of 1800\).*--reason",
    ):
        place.take(march, options=rome)
    second, new = place.take(march, options=rome, reason="the clock showed Rome's time")
    assert new
    assert (second.id, second.version, second.reason) == (
        first.id,
        2,
        "the clock showed Rome's time",
    )
    assert load_log(place.workspace, [second]).settle_s == 60.0
    # The version before can still be drawn on.
    assert load_log(place.workspace, [first]).settle_s == 1800.0
    assert place.workspace.register.all(LogImport) == [second]


def test_a_file_read_otherwise_together_with_new_ones_is_refused(
    place: Place, tmp_path: Path
) -> None:
    """Else its readings would stand in the record twice, at other times."""
    one = write(tmp_path, "1.csv", datetime(2026, 3, 4, 8, tzinfo=UTC))
    two = write(tmp_path, "2.csv", datetime(2026, 3, 4, 12, tzinfo=UTC))
    place.take(one)
    with pytest.raises(RegisterError, match=r"1.csv is on record here .*Read it the same way"):
        place.take(one, two, options=evolve(OSLO, settle_s=60.0))
    both, new = place.take(one, two)
    assert new
    assert both.rows == 240
    # Nor is one corrected while its readings stand uncorrected in the other.
    with pytest.raises(RegisterError, match="Read it the same way"):
        place.take(one, options=evolve(OSLO, settle_s=60.0), reason="another settling time")


def test_the_instrument_can_be_put_right(place: Place, march: Path) -> None:
    """Named later, with a reason; not in silence."""
    first, _ = place.take(march)
    with pytest.raises(RegisterError, match="with no instrument, and now instrument Logger 1"):
        place.take(march, instrument=place.instrument)
    second, new = place.take(march, instrument=place.instrument, reason="forgotten")
    assert (second.id, second.version, second.instrument_id) == (first.id, 2, place.instrument.id)
    assert new
    # Named again, or not named at all: nothing changes.
    assert place.take(march, instrument=place.instrument) == (second, False)
    assert place.take(march) == (second, False)
    assert place.take(march, instrument=place.instrument, reason="again") == (second, False)


def test_a_file_that_changes_while_it_is_read_is_refused(place: Place, march: Path) -> None:
    """The log and the kept file must be of the same bytes."""
    log = read_with(march, OSLO)
    march.write_text(march.read_text(encoding="utf-8") + "more\n", encoding="utf-8")
    person = place.workspace.register.get(Person, WHO)
    with pytest.raises(RegisterError, match="changed while it was read"):
        draft_import(
            log,
            outlet=place.outlet,
            instrument=None,
            files=[("march.csv", march)],
            options=OSLO,
            by=person,
        )


def test_a_log_out_of_order_is_refused(place: Place, march: Path) -> None:
    """What cannot be judged is not stored."""
    log = read_with(march, OSLO)
    backwards = evolve(log, parts=(log.frame[::-1],))
    with (
        pytest.raises(RegisterError, match="not in the order of time"),
        place.workspace.register.change(who=WHO, now=place.now) as change,
    ):
        import_log(
            place.workspace,
            change,
            backwards,
            outlet=place.outlet,
            instrument=None,
            files=[("march.csv", march)],
            options=OSLO,
            by=change.who,
        )
    assert place.workspace.register.all(LogImport) == []


# --- a period, and several imports -----------------------------------------------------------------


def test_a_period_takes_its_readings_and_says_so(place: Place, march: Path) -> None:
    """From the first moment on, before the last one; what is stored stays as it is."""
    record, _ = place.take(march)
    start, end = datetime(2026, 3, 31, 23, 50, tzinfo=UTC), datetime(2026, 4, 1, 0, 10, tzinfo=UTC)
    log = load_log(place.workspace, [record], start=start, end=end)
    assert log.frame["time"].to_list() == [start + timedelta(minutes=i) for i in range(20)]
    assert (log.rows, log.start, log.end) == (20, start, end - timedelta(minutes=1))
    assert log.stretches == ()
    assert log.notes[-1] == (
        "march.csv: only readings from 2026-03-31 23:50:00 UTC and before 2026-04-01 00:10:00 UTC are "
        "taken; 100 others are left out."
    )
    assert_equal(load_log(place.workspace, [record]), read_with(march, OSLO))
    nothing = load_log(place.workspace, [record], start=end + timedelta(days=9))
    assert (nothing.rows, nothing.start, nothing.frame.height) == (0, None, 0)
    with pytest.raises(RegisterError, match="states no time zone"):
        load_log(place.workspace, [record], start=datetime(2026, 4, 1))  # noqa: DTZ001 - the mistake


def test_imports_that_overlap_are_one_log(place: Place, tmp_path: Path) -> None:
    """The logger was read out twice, and overwrote nothing: every reading counts once."""
    begin = datetime(2026, 3, 31, 22, tzinfo=UTC)
    one = write(tmp_path, "1.csv", begin, 180)
    two = write(tmp_path, "2.csv", begin, 300)
    first, _ = place.take(one)
    second, _ = place.take(two)
    for imports in ([first, second], [second, first], [first, second, first]):
        log = load_log(place.workspace, imports)
        assert (log.rows, log.doubts) == (300, ())
        assert log.frame.equals(read_with(two, OSLO).frame)
        assert [source.name for source in log.sources] == ["1.csv", "2.csv"]


def test_imports_that_disagree_keep_both_values(place: Place, tmp_path: Path) -> None:
    """And the log says that they do."""
    begin = datetime(2026, 3, 31, 22, tzinfo=UTC)
    first, _ = place.take(write(tmp_path, "1.csv", begin, 180))
    changed = write(
        tmp_path, "2.csv", begin, 180, value=lambda i: "50" if i == 100 else f"0.{i % 5}"
    )
    second, _ = place.take(changed)
    log = load_log(place.workspace, [first, second])
    here = log.frame.filter(pl.col("time") == begin + timedelta(minutes=100))
    assert here["co"].to_list() == [0.0, 50.0]
    assert log.rows == 181
    assert any("1.csv and 2.csv disagree at 1 time in co" in doubt for doubt in log.doubts)


def test_no_import_is_no_log(place: Place) -> None:
    """Not an empty log, which might pass for one without a reading outside."""
    with pytest.raises(RegisterError, match="No import was given"):
        load_log(place.workspace, [])


# --- alterations -------------------------------------------------------------------------------------


def both_say(place: Place, record: LogImport, said: str) -> None:
    """Expect the check to find it, and the loading to refuse it, naming file and import."""
    told = check_parts(place.workspace, [record])
    assert len(told) == 1
    for text in (record.id, "march.csv", said):
        assert text in told[0]
    with pytest.raises(RegisterError, match=said):
        load_log(place.workspace, [record])


@pytest.mark.parametrize("lazily", [False, True])
def test_a_missing_part_is_named(
    place: Place,
    march: Path,
    lazily: bool,  # noqa: FBT001 - a parameter
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Never fewer readings in silence."""
    record, _ = place.take(march)
    monkeypatch.setattr(store, "IN_MEMORY_ROWS", 0 if lazily else 1000)
    (place.workspace.folder / record.parts[1].path).unlink()
    both_say(place, record, "is missing")


@pytest.mark.parametrize("lazily", [False, True])
def test_every_altered_byte_is_found(
    place: Place,
    march: Path,
    lazily: bool,  # noqa: FBT001 - a parameter
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One bit anywhere in the part."""
    record, _ = place.take(march)
    monkeypatch.setattr(store, "IN_MEMORY_ROWS", 0 if lazily else 1000)
    path = place.workspace.folder / record.parts[0].path
    whole = path.read_bytes()
    for at in {0, 4, len(whole) // 2, len(whole) - 1, *range(7, len(whole), 97)}:
        altered = bytearray(whole)
        altered[at] ^= 1
        path.write_bytes(altered)
        both_say(place, record, "is altered or truncated")
    path.write_bytes(whole)
    assert check_parts(place.workspace, [record]) == []


@pytest.mark.parametrize("kept", [0, 1, 100, -1])
def test_a_truncated_part_is_found(place: Place, march: Path, kept: int) -> None:
    """As after a disk that was full, or a copy that broke off."""
    record, _ = place.take(march)
    path = place.workspace.folder / record.parts[0].path
    path.write_bytes(path.read_bytes()[:kept])
    both_say(place, record, "is altered or truncated")


def test_swapped_parts_are_found(place: Place, march: Path) -> None:
    """Both are valid Parquet, and neither is the one on record."""
    record, _ = place.take(march)
    one, two = (place.workspace.folder / part.path for part in record.parts)
    first, second = one.read_bytes(), two.read_bytes()
    one.write_bytes(second)
    two.write_bytes(first)
    assert len(check_parts(place.workspace, [record])) == 2


@pytest.mark.parametrize("name", ["log_sha256", "files"])
def test_an_altered_file_is_found(place: Place, march: Path, name: str) -> None:
    """The document is checked with the parts; the file as it came by its digest."""
    record, _ = place.take(march)
    digest = record.log_sha256 if name == "log_sha256" else record.files[0].sha256
    path = place.workspace.file_path(digest)
    altered = bytearray(path.read_bytes())
    altered[len(altered) // 2] ^= 1
    path.write_bytes(altered)
    if name == "log_sha256":
        with pytest.raises(RegisterError, match="was altered"):
            load_log(place.workspace, [record])
        assert "was altered" in check_parts(place.workspace, [record])[0]
    else:
        with pytest.raises(RegisterError, match="was altered"):
            place.workspace.read_file(digest)


def forged(place: Place, record: LogImport, frame: pl.DataFrame) -> LogImport:
    """Put other readings in place of the first part, with a digest that fits."""
    path = place.workspace.folder / record.parts[0].path
    frame.write_parquet(path)
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    part = Part(record.parts[0].path, digest, frame.height)
    return evolve(record, parts=(part, *record.parts[1:]))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda frame: frame[::-1], "times that are not in order"),
        (lambda frame: frame.drop("co"), "has the columns"),
        (lambda frame: frame.with_columns(pl.col("time") + pl.duration(days=40)), "holds readings of 2026-05"),
        (lambda frame: frame.with_columns(pl.col("time").cast(pl.Datetime("ms", "UTC"))), "times of the kind"),
        (lambda frame: frame[:-1], "says that it has 120 readings"),
    ],
)  # fmt: skip
def test_a_part_that_fits_its_digest_and_nothing_else_is_found(
    place: Place, march: Path, change: Callable[[pl.DataFrame], pl.DataFrame], said: str
) -> None:
    """Someone who alters a part and its digest in the record must still do more."""
    record, _ = place.take(march)
    frame = pl.read_parquet(place.workspace.folder / record.parts[0].path, hive_partitioning=False)
    told = check_parts(place.workspace, [forged(place, record, change(frame))])
    assert any(said in one for one in told)


@pytest.mark.parametrize(
    "path", ["/etc/part.parquet", "readings/../part.parquet", "files/part.parquet"]
)
def test_a_part_outside_the_store_is_not_read(place: Place, march: Path, path: str) -> None:
    """A forged record must not make the program read elsewhere."""
    record, _ = place.take(march)
    elsewhere = evolve(record, parts=(evolve(record.parts[0], path=path), *record.parts[1:]))
    with pytest.raises(RegisterError, match="names a part outside readings"):
        load_log(place.workspace, [elsewhere])


# --- what a crash or a full disk leaves ---------------------------------------------------------------


def test_what_was_written_without_a_record_counts_for_nothing(place: Place, march: Path) -> None:
    """Parts of an import that was never recorded are used by the next one."""
    log = read_with(march, OSLO)
    person = place.workspace.register.get(Person, WHO)
    files: list[tuple[str, bytes | Path]] = [("march.csv", march.read_bytes())]
    draft = draft_import(
        log, outlet=place.outlet, instrument=None, files=files, options=OSLO, by=person
    )
    stored = store_log(place.workspace, draft, log, files=files, options=OSLO)
    assert place.workspace.register.all(LogImport) == []
    times = {
        part.path: (place.workspace.folder / part.path).stat().st_mtime_ns for part in stored.parts
    }
    record, new = place.take(march)
    assert new
    assert record.parts == stored.parts
    for part in record.parts:
        assert (place.workspace.folder / part.path).stat().st_mtime_ns == times[part.path]


def test_a_spoiled_leftover_is_written_anew(place: Place, march: Path, tmp_path: Path) -> None:
    """A part of the right name and the wrong bytes is not taken for granted."""
    with create_workspace(tmp_path / "other", name="O", person=WHO, now=place.now) as other:
        sample, _ = furnish(other, place.now).take(march)
    folder = place.workspace.folder / "readings" / f"outlet={place.outlet.id}"
    for part in sample.parts:
        path = folder / Path(part.path).parent.name / Path(part.path).name
        path.parent.mkdir(parents=True)
        path.write_bytes(b"PAR1")
    record, _ = place.take(march)
    assert check_parts(place.workspace, [record]) == []


def test_old_temporary_files_are_swept_and_new_ones_are_not(place: Place, march: Path) -> None:
    """Another import may be writing right now."""
    record, _ = place.take(march)
    folder = (place.workspace.folder / record.parts[0].path).parent
    left = folder / ".lungwort-abc.part"
    left.write_bytes(b"half")
    written = datetime.fromtimestamp(left.stat().st_mtime, tz=UTC)
    assert sweep(place.workspace, written + timedelta(hours=1)) == 0
    assert sweep(place.workspace, written + timedelta(days=2)) == 1
    assert not left.exists()
    assert check_parts(place.workspace, [record]) == []


@pytest.mark.parametrize(
    ("number", "said"),
    [(28, "the disk is full"), (30, "the disk is read-only"), (13, "not allowed"), (27, "no file of that size")],
)  # fmt: skip
def test_what_the_system_refuses_is_told(
    place: Place, march: Path, number: int, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """POSIX error numbers: ENOSPC 28, EROFS 30, EACCES 13, EFBIG 27. Nothing is recorded."""

    def refuse(path: Path, content: bytes) -> None:
        raise OSError(number, f"refused {len(content)} bytes", str(path))

    monkeypatch.setattr(parts_module, "write_synced", refuse)
    with pytest.raises(WorkspaceError, match=f"{said}.*Nothing was recorded"):
        place.take(march)
    assert place.workspace.register.all(LogImport) == []
    monkeypatch.undo()
    assert place.take(march)[1]


# --- odd corners ---------------------------------------------------------------------------------------


def test_a_log_with_nothing_in_time_comes_back(place: Place, march: Path) -> None:
    """All its readings are without a known time; its frames still have all columns."""
    whole = read_with(march, OSLO)
    log = evolve(
        whole,
        parts=(whole.frame.head(0),),
        rows=0,
        start=None,
        end=None,
        interval_s=None,
        unplaced=whole.frame,
    )
    files: list[tuple[str, bytes | Path]] = [("march.csv", march)]
    with place.workspace.register.change(who=WHO, now=place.now) as change:
        record, _ = import_log(
            place.workspace,
            change,
            log,
            outlet=place.outlet,
            instrument=None,
            files=files,
            options=OSLO,
            by=change.who,
        )
    assert (record.rows, record.start) == (0, None)
    assert_equal(load_log(place.workspace, [record]), log)
    short = forged(place, record, whole.frame.drop("co"))
    assert any("lacks the columns co" in one for one in check_parts(place.workspace, [short]))


def test_what_is_no_parquet_is_told_also_with_its_digest(place: Place, march: Path) -> None:
    """Somebody replaced the part and its digest in the record."""
    record, _ = place.take(march)
    path = place.workspace.folder / record.parts[0].path
    path.write_bytes(b"no parquet at all")
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    parts = (evolve(record.parts[0], sha256=digest), *record.parts[1:])
    both_say(place, evolve(record, parts=parts), "cannot be read as Parquet")


def test_a_record_that_counts_otherwise_is_refused(place: Place, march: Path) -> None:
    """A part less, or other numbers: never fewer readings in silence."""
    record, _ = place.take(march)
    with pytest.raises(RegisterError, match="its document 120 and its parts 60"):
        load_log(place.workspace, [evolve(record, parts=record.parts[:1])])
    with pytest.raises(RegisterError, match="says that it has 119 readings"):
        load_log(place.workspace, [evolve(record, rows=119)])
    assert (
        "and its parts 60"
        in check_parts(place.workspace, [evolve(record, parts=record.parts[:1])])[0]
    )
    wrong = evolve(record.parts[0], rows=59)
    told = check_parts(place.workspace, [evolve(record, parts=(wrong, *record.parts[1:]))])
    assert "holds 60 readings, and 59 are on record" in told[0]


def test_a_period_that_holds_all_changes_nothing(place: Place, march: Path) -> None:
    """Not even a note."""
    record, _ = place.take(march)
    far = timedelta(days=300)
    log = load_log(place.workspace, [record], start=place.now - far, end=place.now + far)
    assert_equal(log, read_with(march, OSLO))


@pytest.mark.parametrize("at_once", [0, 1 << 20])
def test_a_file_that_changes_before_it_is_kept_is_refused(
    place: Place, march: Path, at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between being read and being kept, small or large."""
    monkeypatch.setattr(parts_module, "_AT_ONCE", at_once)
    log = read_with(march, OSLO)
    person = place.workspace.register.get(Person, WHO)
    files: list[tuple[str, bytes | Path]] = [("march.csv", march)]
    draft = draft_import(
        log, outlet=place.outlet, instrument=None, files=files, options=OSLO, by=person
    )
    march.write_bytes(march.read_bytes() + b"more\n")
    with pytest.raises(RegisterError, match=r"march.csv changed while it was read"):
        store_log(place.workspace, draft, log, files=files, options=OSLO)
    march.unlink()
    with pytest.raises(RegisterError, match=r"march.csv cannot be read"):
        store_log(place.workspace, draft, log, files=files, options=OSLO)


def test_a_log_that_counts_wrongly_is_refused(place: Place, march: Path) -> None:
    """Its facts and its readings must be of one log."""
    log = evolve(read_with(march, OSLO), rows=119)
    person = place.workspace.register.get(Person, WHO)
    files: list[tuple[str, bytes | Path]] = [("march.csv", march)]
    draft = draft_import(
        log, outlet=place.outlet, instrument=None, files=files, options=OSLO, by=person
    )
    with pytest.raises(RegisterError, match="says that it has 119 readings and holds 120"):
        store_log(place.workspace, draft, log, files=files, options=OSLO)
    with pytest.raises(RegisterError, match="No file was given"):
        draft_import(log, outlet=place.outlet, instrument=None, files=[], options=OSLO, by=person)


def test_a_copy_that_breaks_off_leaves_nothing(
    place: Place, march: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A large file, and a disk that fails under it (POSIX EIO 5)."""
    monkeypatch.setattr(parts_module, "_AT_ONCE", 0)
    before = sorted(place.workspace.folder.rglob("*"))

    def fail(handle: int) -> None:
        raise OSError(5, f"Input/output error on {handle}")

    monkeypatch.setattr("os.fsync", fail)
    with pytest.raises(WorkspaceError, match=r"input/output error.*Check the disk"):
        place.take(march)
    monkeypatch.undo()
    assert sorted(place.workspace.folder.rglob("*")) == before
