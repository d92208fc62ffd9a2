"""Keeping the plant sheet of a supply."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from lungwort.errors import InputError, OutputError, PlantError, UnknownRecordError
from lungwort.jobs import plant_sheet as job
from lungwort.jobs.catalogue import site, supply
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.opening import Where, opened
from lungwort.jobs.workspace import create
from lungwort.plant.sheet import read_sheet
from lungwort.register.model import PlantRecord
from lungwort.register.verify import verify

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@pytest.fixture
def where(tmp_path: Path) -> Where:
    """Make a workspace with one supply."""
    folder = tmp_path / "w"
    create(folder, name="Yard (invented)", person="Ada Example", now=NOW)
    at = Session(NOW, Where(folder), "Ada Example")
    site.add(at, "yard", site.SiteFacts(title="Yard (invented)", zone="Europe/London"))
    supply.add(at, "hall", supply.SupplyFacts(kind="airline_compressor"))
    return Where(folder)


def at(where: Where, minutes: int) -> Session:
    """Sit down some minutes later."""
    return Session(NOW + timedelta(minutes=minutes), where, "Ada Example")


def test_versions_stay_and_the_record_is_whole(where: Where) -> None:
    """The newest is in force; both are entries."""
    first = job.record(at(where, 1), "hall", "format = 1\n")
    assert first.said == "The plant sheet of supply hall is on record."
    assert any("[[compressor]]" in one for one in first.remarks)
    second = job.record(
        at(where, 2), "hall", 'format = 1\ntitle = "b"\n', name="b.toml", reason="a new hose"
    )
    assert "Version 2" in second.said

    kept = job.newest(where, "hall")
    assert (kept.name, kept.version, kept.by, kept.zone) == (
        "b.toml",
        2,
        "Ada Example",
        "Europe/London",
    )
    assert "version 2 since 2 Mar 2026 08:02" in kept.origin
    assert job.sheet_of(where, "hall").title == "b"
    assert job.newest(where, "hall", 1).text == "format = 1\n"
    (only,) = job.plants(where)
    assert [(one.version, one.reason) for one in only.versions] == [(1, ""), (2, "a new hose")]
    with pytest.raises(PlantError, match="no version 3; on record are 1 to 2"):
        job.newest(where, "hall", 3)
    with opened(where, read_only=True) as workspace:
        record = workspace.register.all(PlantRecord)[0]
        assert [one.text for one in workspace.register.history(PlantRecord, record.id)] == [
            "format = 1\n",
            'format = 1\ntitle = "b"\n',
        ]
        assert verify(workspace).problems == ()


def test_nothing_is_recorded_of_a_sheet_with_a_mistake(where: Where) -> None:
    """Nor of one that is there already, nor without a reason."""
    with pytest.raises(PlantError, match="line 3"):
        job.record(at(where, 1), "hall", "format = 1\n[place]\naltitude_m = 1e9\n")
    job.record(at(where, 1), "hall", "format = 1\n")
    with pytest.raises(PlantError, match="on record already"):
        job.record(at(where, 2), "hall", "format = 1\r\n", reason="again")
    with pytest.raises(InputError, match="--reason is missing"):
        job.record(at(where, 2), "hall", "format = 1\n# b\n")
    with pytest.raises(UnknownRecordError, match="hal"):
        job.record(at(where, 2), "hal", "format = 1\n")

    assert job.newest(where, "hall").version == 1


def test_a_supply_without_a_sheet_is_told_what_to_do(where: Where) -> None:
    """And is listed."""
    with pytest.raises(PlantError, match="lungwort plant set hall"):
        job.newest(where, "hall")
    with pytest.raises(PlantError, match="neither a supply nor a file"):
        job.sheet_of(where, None)

    (only,) = job.plants(where)
    assert (only.name, only.sheet) == ("hall", None)


def test_a_file_goes_before_the_record(where: Where, tmp_path: Path) -> None:
    """To try something out."""
    file = tmp_path / "try.toml"
    file.write_text('format = 1\ntitle = "try"\n', encoding="utf-8")
    job.record(at(where, 1), "hall", "format = 1\n")

    sheet = job.sheet_of(where, "hall", file)
    assert (sheet.title, sheet.origin) == ("try", "file try.toml")
    assert job.sheet_of(where, None, file).title == "try"
    with pytest.raises(PlantError, match="does not exist"):
        job.sheet_of(where, None, tmp_path / "none.toml")


def test_a_form_is_written_and_never_over_something(tmp_path: Path) -> None:
    """It can be read as it is."""
    job.write_form(tmp_path / "plant.toml")
    assert job.sheet_of(Where(tmp_path), None, tmp_path / "plant.toml").compressors

    with pytest.raises(PlantError, match="is there already"):
        job.write_form(tmp_path / "plant.toml")
    with pytest.raises(OutputError, match="does not exist"):
        job.write_form(tmp_path / "no" / "plant.toml")


def test_places_to_which_no_pipe_leads_are_told() -> None:
    """A slip in a name: the sheet is kept, and the name stands beside those that are known."""
    sheet = read_sheet(job.form_text(), "form.toml")
    assert job.unknown_places(sheet) == ()
    text = job.form_text().replace('at = "hall-1"', 'at = "hal-1"', 1)
    (told,) = job.unknown_places(read_sheet(text, "form.toml"))
    assert "'hal-1' (wearer blaster)" in told
    assert "known are: plant, manifold, hall-1, spray-2" in told
    assert job.unknown_places(read_sheet("format = 1\n", "form.toml")) == ()
