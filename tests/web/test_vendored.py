"""What was taken from others is as it was taken, with its licence, and asks nobody on the network."""

from __future__ import annotations

import hashlib
import re
import tomllib
from pathlib import Path

import pytest

import lungwort.web

VENDOR = Path(lungwort.web.__file__).parent / "static" / "vendor"
FOLDERS = sorted(path for path in VENDOR.iterdir() if path.is_dir())
FOR_TESTS = Path(__file__).parent / "vendor" / "axe-core"


@pytest.mark.parametrize("folder", [*FOLDERS, FOR_TESTS], ids=lambda one: one.name)
def test_files_are_those_that_were_taken(folder: Path) -> None:
    """Each file has the digest that is written beside it, and none is there without one."""
    told = tomllib.loads((folder / "VENDORED.toml").read_text("utf-8"))
    assert {"name", "version", "licence", "source", "files"} <= set(told)
    there = {path.name for path in folder.iterdir()} - {"VENDORED.toml"}
    assert there == set(told["files"])
    assert "LICENSE" in there
    for name, digest in told["files"].items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest, name


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda one: one.name)
def test_nothing_is_fetched_from_elsewhere(folder: Path) -> None:
    """No script or style loads from another place: addresses stand in comments and names only."""
    for path in folder.iterdir():
        if path.suffix not in {".js", ".css"}:
            continue
        text = path.read_text("utf-8")
        assert not re.search(r"(fetch|open|import|url|@import|src=)\s*\(?\s*[\"'`]?https?:", text)
        assert not re.search(r"sourceMappingURL", text)


def test_both_are_there() -> None:
    """The pages need these two."""
    assert [folder.name for folder in FOLDERS] == ["htmx", "uplot"]
