"""Files that came in and are not on record yet: names, sweeping, what was settled."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import InputError, UnknownRecordError
from lungwort.web import incoming

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


def put(batch: incoming.Batch, name: str, content: bytes = b"x") -> Path:
    """Let a file come in."""
    target, stream = batch.take(name)
    with stream:
        stream.write(content)
        return batch.keep(target, stream)


@pytest.mark.parametrize(
    "name",
    [
        "../../register.sqlite",
        "..\\..\\register.sqlite",
        "/etc/passwd",
        "C:\\Windows\\system.ini",
        "..",
        ".",
        "",
        "a\x00b.csv",
        "con.csv",
        "NUL",
        "x.part",
        "-rf",
        "<script>alert(1)</script>.csv",
        "\u202egpj.csv",
        "a" * 400 + ".csv",
    ],
)
def test_whatever_a_file_is_called_it_lies_in_its_folder(tmp_path: Path, name: str) -> None:
    """No name leads out of it, and none is taken for a device or for one of our own files."""
    batch = incoming.begin(tmp_path, now=NOW, owner="")
    path = put(batch, name)
    assert path.parent == batch.folder / "files"
    assert path.read_bytes() == b"x"
    assert batch.files == (path,)
    assert not set(path.name) & set('<>:"|?*/\\\x00')
    assert path.stem.lower() not in {"con", "nul"}
    assert {one.name for one in tmp_path.iterdir()} == {incoming.FOLDER}


@settings(deadline=None, max_examples=200)
@given(st.text(max_size=300))
def test_a_safe_name_is_one_name(name: str) -> None:
    """It has no folders, can be written, and stays as it is when it is made safe again."""
    safe = incoming.safe_name(name)
    assert safe
    assert safe not in {".", ".."}
    assert "/" not in safe
    assert "\\" not in safe
    assert incoming.safe_name(safe) == safe


def test_what_lies_is_swept_after_a_day(tmp_path: Path) -> None:
    """Not before, and nothing else of the workspace is touched."""
    old = incoming.begin(tmp_path, now=NOW, owner="")
    put(old, "a.csv")
    strange = tmp_path / incoming.FOLDER / "README"
    strange.mkdir()
    incoming.sweep(tmp_path, now=NOW + timedelta(hours=23))
    assert incoming.find(tmp_path, old.id).files != ()
    new = incoming.begin(tmp_path, now=NOW + timedelta(hours=25), owner="")
    with pytest.raises(UnknownRecordError, match="not here any more"):
        incoming.find(tmp_path, old.id)
    assert incoming.find(tmp_path, new.id).id == new.id
    assert strange.is_dir()


@pytest.mark.parametrize("name", ["", "..", "../files", "a" * 26 + "/..", "A" * 26, "a" * 25])
def test_only_its_own_names_are_looked_up(tmp_path: Path, name: str) -> None:
    """An address is no path."""
    with pytest.raises(UnknownRecordError, match="not here any more"):
        incoming.find(tmp_path, name)


def test_what_was_settled_is_there_again(tmp_path: Path) -> None:
    """As after a page was loaded again, or the server was started anew."""
    batch = incoming.begin(tmp_path, now=NOW, owner="Wenna Harkle")
    batch.outlet = "outlet-1"
    batch.choose("zone", "Europe/London")
    batch.choose("unit", "co=ppm")
    batch.choose("unit", "co=mg/m3")
    batch.choose("unit", "o2=%")
    batch.choose("header_line", "3")
    batch.save()
    again = incoming.find(tmp_path, batch.id)
    assert (again.outlet, again.owner) == ("outlet-1", "Wenna Harkle")
    reading = again.reading(None)
    assert reading.zone == "Europe/London"
    assert reading.unit == ("co=mg/m3", "o2=%")
    assert reading.header_line == 3
    assert [one.id for one in incoming.listed(tmp_path)] == [batch.id]


def test_nothing_else_can_be_settled(tmp_path: Path) -> None:
    """Least of all which file a recipe is read from."""
    batch = incoming.begin(tmp_path, now=NOW, owner="")
    for name in ("recipe", "__class__", "path"):
        with pytest.raises(InputError, match="nothing to settle"):
            batch.choose(name, "/etc/passwd")
    with pytest.raises(InputError, match="no line of a file"):
        batch.choose("header_line", "1e9")


def test_a_file_half_come_is_none(tmp_path: Path) -> None:
    """It counts once it came whole."""
    batch = incoming.begin(tmp_path, now=NOW, owner="")
    target, stream = batch.take("a.csv")
    with stream:
        stream.write(b"half")
        assert list(batch.files) == []
        batch.keep(target, stream)
    names = [path.name for path in batch.files]
    assert names == ["a.csv"]


def test_columns_are_settled_by_what_was_changed(tmp_path: Path) -> None:
    """Naming one column for an analyte names the others that stay, so that none is lost."""
    batch = incoming.begin(tmp_path, now=NOW, owner="")
    was = (("Time", "time", ""), ("A", "co", "ppm"), ("B", "ignore", ""), ("C", "o2", "%"))
    incoming.roles(batch, was, {label: (role, unit) for label, role, unit in was})
    assert batch.settled == {}
    incoming.roles(
        batch,
        was,
        {"Time": ("time", ""), "A": ("co", "ppm"), "B": ("co", "mg/m3"), "C": ("ignore", "%")},
    )
    assert batch.settled["column"] == ["co=A", "co=B"]
    assert batch.settled["ignore"] == ["C"]
    assert batch.settled["unit"] == ["B=mg/m3"]
    assert "time_column" not in batch.settled


def test_too_many_files_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And too much of them."""
    monkeypatch.setattr(incoming, "MOST_FILES", 2)
    batch = incoming.begin(tmp_path, now=NOW, owner="")
    put(batch, "a.csv")
    put(batch, "b.csv")
    with pytest.raises(InputError, match="2 files lie here already"):
        batch.take("c.csv")
    with pytest.raises(InputError, match=r"More than 4 GiB"):
        incoming.check_room(tmp_path, 5 * 1024**3)
