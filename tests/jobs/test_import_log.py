"""Importing as the terminal asks for it: what is told, what is recorded, what is refused.

All readings are invented. Limits: EN 12021:2014 as shipped (carbon monoxide at most 5 ppm).
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from attrs import evolve

from lungwort.errors import InputError, LogError, RegisterError, UnknownRecordError
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.import_log import Imported, Request, as_json, exit_code, import_files
from lungwort.jobs.imports import list_imports, refuse_other_options, void_import
from lungwort.jobs.opening import Where
from lungwort.jobs.reading import Reading
from lungwort.register.model import (
    Certificate,
    Finding,
    Instrument,
    InstrumentChannel,
    LogImport,
    Outlet,
    Person,
    Site,
    Supply,
    VerdictRecord,
)
from lungwort.register.store import check_parts, load_log
from lungwort.register.workspace import Workspace, open_workspace

WHO = "Wenna Harkle"
NOW = datetime(2026, 3, 5, 8, tzinfo=UTC)


def write_log(folder: Path, name: str = "log.csv", *, co: float = 0.4, offset: str = "Z") -> Path:
    """Write three hours of one-minute readings with the given carbon monoxide in the last hour."""
    lines = ["Time,CO [ppm],CO2 [ppm],O2 [%]"]
    for i in range(180):
        value = co if i >= 120 else 0.3 + i % 3 / 10
        lines.append(
            f"2026-03-04 {8 + i // 60:02d}:{i % 60:02d}:00{offset},{value:g},{430 + i % 5},{20.9 - i % 2 / 10:.1f}"
        )
    path = folder / name
    path.write_text("\n".join([*lines, "end of log"]) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def home(sqlite_workspace: Workspace) -> Path:
    """Give the folder of a workspace with an airline, two outlets and an instrument."""
    with sqlite_workspace.register.change(who=WHO, now=NOW - timedelta(days=2)) as change:
        site = change.add(
            Site(name="slipway", zone="Europe/Oslo", limit_set="en12021-2014-airline")
        )
        supply = change.add(Supply(site_id=site.id, name="house", pressure_bar_g=Decimal(7)))
        bare = change.add(Site(name="bare"))
        other = change.add(Supply(site_id=bare.id, name="other"))
        change.add(Outlet(supply_id=supply.id, name="panel-2"))
        change.add(Outlet(supply_id=supply.id, name="panel-3"))
        change.add(Outlet(supply_id=supply.id, name="gone", in_use=False))
        change.add(Outlet(supply_id=other.id, name="no-limits"))
        channels = (InstrumentChannel("co", "ppm"), InstrumentChannel("o2", "%"))
        change.add(Instrument(name="logger-1", channels=channels))
        change.add(Instrument(name="logger-2", in_use=False))
    return sqlite_workspace.folder


def take(home: Path, path: Path, **more: object) -> Imported:
    """Import one file at the usual outlet."""
    usual: dict[str, object] = {"files": (path,), "outlet": "panel-2", "by": WHO}
    return import_files(Where(home), Request(**{**usual, **more}), now=NOW)  # type: ignore[arg-type] # as given


def on_record(home: Path, kind: type[LogImport] = LogImport) -> list[LogImport]:
    """List what is on record."""
    with open_workspace(home, read_only=True) as workspace:
        return workspace.register.all(kind)


def test_an_import_tells_what_was_read(home: Path, tmp_path: Path) -> None:
    """Rows, period in the site's zone, channels and what was refused and why."""
    done = take(home, write_log(tmp_path), instrument="logger-1")
    assert done.new
    assert done.said == f"Recorded at panel-2 as import {done.record.id}."
    assert (done.rows_read, done.rows_used) == (181, 180)
    # 08:00 UTC is 09:00 in Oslo in March.
    assert (done.period, done.zone) == ("4 Mar 2026 09:00:00 to 11:59:00", "Europe/Oslo")
    assert done.interval == "1 min"
    assert [(one.name, one.unit, one.lowest, one.highest) for one in done.channels] == [
        ("co", "ppm", "0.3", "0.5"),
        ("co2", "ppm", "430", "434"),
        ("o2", "%", "20.8", "20.9"),
    ]
    assert [one.usable + one.others for one in done.channels] == [180, 180, 180]
    assert [(one.rows, one.lines, one.sample) for one in done.refused] == [
        (1, (182,), "end of log,,,")
    ]
    assert done.instrument == "logger-1"
    assert any("co2" in one and "not on record as measuring" in one for one in done.remarks)
    assert any("settling" in one for one in done.stretches)
    assert on_record(home) == [done.record]


def test_clean_readings_are_no_certificate(home: Path, tmp_path: Path) -> None:
    """They are held against the limits, nothing of that is recorded, and the next step is told."""
    done = take(home, write_log(tmp_path))
    assert done.held.overall == "not_proven"
    assert done.held.outside == ()
    assert (exit_code(done), done.outside) == (0, False)
    assert done.next_steps == (
        (
            "Run 'lungwort certify \"panel-2\"' to judge it together with the tests by hand. An import "
            "certifies nothing, and until it is judged the supply counts as not proven."
        ),
    )
    with open_workspace(home, read_only=True) as workspace:
        for kind in (VerdictRecord, Certificate, Finding):
            assert workspace.register.all(kind) == []


def test_readings_outside_a_limit_are_told_at_once(home: Path, tmp_path: Path) -> None:
    """Nobody should have to wait for a certificate to hear that; no finding is opened in silence."""
    done = take(home, write_log(tmp_path, co=9.0))
    assert done.new
    assert done.held.overall == "does_not_conform"
    assert (exit_code(done), done.outside) == (1, True)
    assert len(done.held.outside) == 1
    assert "Carbon monoxide" in done.held.outside[0]
    assert "60 readings above 5 ppm" in done.held.outside[0]
    assert "Let nobody breathe this air" in done.next_steps[0]
    assert "lungwort certify" in done.next_steps[0]
    with open_workspace(home, read_only=True) as workspace:
        assert workspace.register.all(Finding) == []
    # Also where it was on record already.
    assert exit_code(take(home, write_log(tmp_path, co=9.0))) == 1
    assert take(home, write_log(tmp_path, co=9.0), judge=False).held.overall == ""


def test_without_a_limit_set_it_is_recorded_and_said(home: Path, tmp_path: Path) -> None:
    """What cannot be judged is no reason to lose the log."""
    done = take(home, write_log(tmp_path), outlet="no-limits")
    assert done.new
    assert done.held.overall == ""
    assert "No limit set holds" in done.held.why_not
    assert exit_code(done) == 0


def test_the_same_files_twice_change_nothing(home: Path, tmp_path: Path) -> None:
    """And it is said."""
    path = write_log(tmp_path)
    first = take(home, path)
    again = take(home, path)
    assert not again.new
    assert again.record == first.record
    assert again.said == (
        "Nothing was changed: these files, read this way, are on record at panel-2 as import "
        f"{first.record.id} already."
    )
    assert on_record(home) == [first.record]
    needless = take(home, path, reason="to be sure")
    assert any("The reason was not needed" in one for one in needless.remarks)
    assert on_record(home) == [first.record]


def test_a_zone_is_not_guessed_but_suggested(home: Path, tmp_path: Path) -> None:
    """The site's zone is told with the very command that puts it right."""
    path = write_log(tmp_path, offset="")
    done = take(home, path)
    assert done.record.start == datetime(2026, 3, 4, 8, tzinfo=UTC)
    told = [one for one in done.remarks if "state no time zone" in one]
    assert len(told) == 1
    assert "The site lies in Europe/Oslo" in told[0]
    assert '--zone Europe/Oslo --reason "the clock shows local time"' in told[0]
    right = take(
        home, path, reading=Reading(zone="Europe/Oslo"), reason="the clock shows local time"
    )
    assert right.record.start == datetime(2026, 3, 4, 7, tzinfo=UTC)
    assert (right.record.id, right.record.version) == (done.record.id, 2)
    assert right.said.endswith("was put right; the version before stays.")
    assert not any("state no time zone" in one for one in right.remarks)


@pytest.mark.parametrize(
    ("change", "kind", "said"),
    [
        ({"outlet": "panel-9"}, UnknownRecordError, "panel-2"),
        ({"outlet": " "}, InputError, "Give --outlet NAME"),
        ({"outlet": "gone"}, InputError, "on record as taken away"),
        ({"instrument": "logger-2"}, InputError, "on record as put away"),
        ({"instrument": "logger-9"}, UnknownRecordError, "logger-1"),
        ({"by": "Nobody"}, UnknownRecordError, WHO),
        ({"files": ()}, InputError, "No file was given"),
        ({"reading": Reading(zone="Mars")}, InputError, "Mars"),
    ],
)
def test_what_cannot_be_used_is_refused(
    home: Path, tmp_path: Path, change: dict[str, object], kind: type[Exception], said: str
) -> None:
    """Before anything is recorded, with a hint."""
    with pytest.raises(kind, match=said):
        take(home, write_log(tmp_path), **change)
    assert on_record(home) == []
    assert not (home / "readings").exists()


def test_a_file_that_cannot_be_read_leaves_nothing(home: Path, tmp_path: Path) -> None:
    """Nor a file that is no log."""
    path = tmp_path / "empty.csv"
    path.write_bytes(b"")
    with pytest.raises(LogError, match="empty"):
        take(home, path)
    with pytest.raises(LogError, match="no such file"):
        take(home, tmp_path / "missing.csv")
    assert on_record(home) == []


def test_a_name_of_raw_bytes_is_refused(home: Path, tmp_path: Path) -> None:
    """It cannot be written into the journal the same everywhere."""
    with pytest.raises(InputError, match=r"bytes that are no text. Rename it"):
        take(home, tmp_path / "log\udcff.csv")


def test_another_outlet_needs_a_reason(home: Path, tmp_path: Path) -> None:
    """One file belongs to one outlet, unless somebody says why not."""
    path = write_log(tmp_path)
    first = take(home, path)
    with pytest.raises(
        RegisterError, match=rf"outlet panel-2 .*--also-here.*--void {first.record.id}"
    ):
        take(home, path, outlet="panel-3")
    second = take(home, path, outlet="panel-3", also_here="both hang on one hose")
    assert second.new
    assert second.record.note == "Also at this outlet: both hang on one hose"


def test_spoiled_parts_are_written_again_from_the_file(home: Path, tmp_path: Path) -> None:
    """The same file gives the same bytes, so the record needs no change."""
    path = write_log(tmp_path)
    first = take(home, path)
    one = home / first.record.parts[0].path
    one.write_bytes(one.read_bytes()[:-1])
    again = take(home, path)
    assert again.record == first.record
    assert not again.new
    assert any("spoiled and has been written again" in told for told in again.remarks)
    with open_workspace(home, read_only=True) as workspace:
        assert check_parts(workspace, [first.record]) == []
        assert load_log(workspace, [first.record]).rows == 180


def test_the_result_is_one_json_object(home: Path, tmp_path: Path) -> None:
    """With the record as the journal holds it."""
    done = take(home, write_log(tmp_path, co=9.0))
    plain = json.loads(as_json(done))
    assert plain["format"] == "lungwort-imported/1"
    assert plain["new"] is True
    assert plain["record"]["id"] == done.record.id
    assert plain["record"]["start"] == "2026-03-04T08:00:00.000000Z"
    assert plain["held"]["overall"] == "does_not_conform"
    assert plain["channels"][0]["name"] == "co"
    assert plain["refused"][0]["rows"] == 1


def test_who_imports_is_asked_for_where_several_might(home: Path, tmp_path: Path) -> None:
    """The only person on record is taken, and that is told."""
    done = take(home, write_log(tmp_path), by=None)
    assert any("the only person on record" in one for one in done.remarks)
    with open_workspace(home) as workspace, workspace.register.change(who=WHO, now=NOW) as change:
        change.add(Person(name="Idris Pellow"))
    with pytest.raises(RegisterError, match="Give --by NAME"):
        take(home, write_log(tmp_path, "other.csv", co=0.5), by=None)


def test_imports_are_listed_with_their_ids(home: Path, tmp_path: Path) -> None:
    """Of one outlet or of all; times in the zone of the site."""
    first = take(home, write_log(tmp_path))
    second = take(
        home, write_log(tmp_path, "b.csv", co=0.2), outlet="panel-3", instrument="logger-1"
    )
    of_all = list_imports(Where(home))
    assert [row[:3] for row in of_all.table.rows] == [
        (first.record.id, "panel-2", "log.csv"),
        (second.record.id, "panel-3", "b.csv"),
    ]
    of_one = list_imports(Where(home), "panel-3")
    assert of_one.table.rows == (
        (second.record.id, "panel-3", "b.csv", "4 Mar 2026 09:00:00 to 11:59:00", "180", "1", "logger-1"),
    )  # fmt: skip
    assert [one["outlet"] for one in of_all.plain["imports"]] == ["panel-2", "panel-3"]
    assert list_imports(Where(home), "no-limits").table.rows == ()


def test_a_mistaken_import_is_taken_out_and_stays_to_be_seen(home: Path, tmp_path: Path) -> None:
    """With a reason; then the file can be imported where it belongs."""
    path = write_log(tmp_path)
    first = take(home, path)
    at = Session(NOW, Where(home), WHO)
    with pytest.raises(InputError, match="--reason"):
        void_import(at, first.record.id, None)
    done = void_import(at, first.record.id, "wrong outlet")
    assert "counts no more" in done.said
    assert on_record(home) == []
    with open_workspace(home, read_only=True) as workspace:
        versions = workspace.register.history(LogImport, first.record.id)
        assert [one.voided for one in versions] == [False, True]
        assert check_parts(workspace, versions) == []
    moved = take(home, path, outlet="panel-3")
    assert moved.new
    with pytest.raises(UnknownRecordError, match="log-import-nonsense"):
        void_import(at, "log-import-nonsense", "no such")


def test_listing_takes_no_files() -> None:
    """Nobody should believe that something was imported."""
    refuse_other_options(files=None, zone=None)
    with pytest.raises(InputError, match=r"^FILE says how to import"):
        refuse_other_options(files=[Path("a.csv")])
    with pytest.raises(InputError, match=r"^--also-here says how"):
        refuse_other_options(also_here="x")


def test_a_future_log_is_doubted(home: Path, tmp_path: Path) -> None:
    """The clock of the logger, or that of the computer: either way it proves nothing."""
    path = write_log(tmp_path)
    request = Request((path,), "panel-2", by=WHO)
    done = import_files(Where(home), evolve(request), now=NOW - timedelta(days=2))
    assert any("in the future" in one for one in done.doubts)
    with open_workspace(home, read_only=True) as workspace:
        assert load_log(workspace, [done.record]).doubts == done.doubts
