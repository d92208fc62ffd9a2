"""Files are written whole or not at all."""

from __future__ import annotations

import errno
import os
from typing import TYPE_CHECKING

import pytest

from lungwort.errors import OutputError
from lungwort.paper import write
from lungwort.paper.result import to_json

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from lungwort.verdict.model import Verdict

WRITERS: dict[str, tuple[Callable[[Verdict, Path], Path], bytes]] = {
    "json": (write.write_json, b"{"),
    "pdf": (write.write_pdf, b"%PDF-1.7"),
    "html": (write.write_html, b"<!doctype html>"),
    "xlsx": (write.write_xlsx, b"PK"),
}


@pytest.mark.parametrize("form", WRITERS)
def test_each_form_is_written(form: str, clean: Verdict, tmp_path: Path) -> None:
    """Each form is written."""
    writer, begins = WRITERS[form]
    path = writer(clean, tmp_path / f"result.{form}")

    assert path.read_bytes().startswith(begins)
    assert [item.name for item in tmp_path.iterdir()] == [f"result.{form}"]


def test_json_is_written_as_it_is_given(clean: Verdict, tmp_path: Path) -> None:
    """JSON is written as it is given."""
    path = write.write_json(clean, str(tmp_path / "r.json"), indent=None)

    assert path.read_bytes() == to_json(clean, None).encode("utf-8")


@pytest.mark.parametrize("form", WRITERS)
def test_a_missing_folder_is_told_before_any_work(
    form: str, clean: Verdict, tmp_path: Path
) -> None:
    """A missing folder is told before any work."""
    writer, _ = WRITERS[form]
    with pytest.raises(OutputError, match=r"nowhere does not exist. Make the folder first"):
        writer(clean, tmp_path / "nowhere" / "result")


def test_a_folder_is_not_a_file(clean: Verdict, tmp_path: Path) -> None:
    """A folder is not a file."""
    with pytest.raises(OutputError, match=r"is a folder. Give the name of a file in it"):
        write.write_json(clean, tmp_path)


def test_a_file_is_not_a_folder(clean: Verdict, tmp_path: Path) -> None:
    """A file is not a folder."""
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(OutputError, match="file is not a folder"):
        write.write_json(clean, tmp_path / "file" / "r.json")


@pytest.mark.parametrize(
    ("number", "told"),
    [
        (errno.ENOSPC, "the disk is full. Make room"),
        (errno.EACCES, "another program has the file open. Close it"),
        (errno.EPERM, "writing is not allowed there"),
        (errno.EROFS, "the disk is read-only"),
        (errno.ENAMETOOLONG, "the name is too long"),
        (errno.EIO, "Check the path, or give another one"),
    ],
)
@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_failure_leaves_the_old_file_and_nothing_else(
    number: int, told: str, step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A failure leaves the old file and nothing else."""
    target = tmp_path / "result.pdf"
    target.write_bytes(b"the old one")

    def fail(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr("os.fsync" if step == "fsync" else "pathlib.Path.replace", fail)
    with pytest.raises(OutputError, match=told):
        write.write_bytes(b"the new one", target)

    assert target.read_bytes() == b"the old one"
    assert [item.name for item in tmp_path.iterdir()] == ["result.pdf"]


def test_a_folder_that_takes_no_file_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that takes no file is told."""

    def fail(**_: object) -> None:
        raise PermissionError(errno.EACCES, "no")

    monkeypatch.setattr("tempfile.NamedTemporaryFile", fail)
    with pytest.raises(OutputError, match="writing is not allowed there"):
        write.write_bytes(b"x", tmp_path / "r.json")


@pytest.mark.skipif(os.name == "nt", reason="rights of this kind are not there")
def test_the_rights_of_the_replaced_file_stay(tmp_path: Path) -> None:
    """The rights of the replaced file stay."""
    target = tmp_path / "r.json"
    target.write_bytes(b"old")
    target.chmod(0o640)
    write.write_bytes(b"new", target)

    assert target.stat().st_mode & 0o777 == 0o640
    assert write.write_bytes(b"x", tmp_path / "n").stat().st_mode & 0o777 == 0o644
