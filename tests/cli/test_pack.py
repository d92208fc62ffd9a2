"""The commands pack and verify, as a user types them."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest
from tests import record_kit as kit


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Build the record once."""
    return kit.build(tmp_path_factory.mktemp("kit") / "workspace")


def lungwort(folder: Path, *arguments: object) -> subprocess.CompletedProcess[str]:
    """Run a command in a folder."""
    return subprocess.run(
        [sys.executable, "-m", "lungwort", *map(str, arguments)],
        cwd=folder,
        check=False,
        capture_output=True,
        encoding="utf-8",
    )


def test_from_pack_to_inspector_and_back(built: Any, tmp_path: Path) -> None:
    """The pack is made, checked by Python alone, and held against the record later."""
    made = lungwort(built.folder, "pack", "yard", "--to", tmp_path / "yard.zip")
    with zipfile.ZipFile(tmp_path / "yard.zip") as archive:
        archive.extractall(tmp_path / "inspector")
    inspected = subprocess.run(
        [sys.executable, "-I", "-S", "verify_pack.py"],
        cwd=tmp_path / "inspector",
        check=False,
        capture_output=True,
        encoding="utf-8",
    )
    checked = lungwort(
        tmp_path, "verify", "--workspace", built.folder, "--pack", tmp_path / "yard.zip"
    )

    assert (made.returncode, made.stderr) == (0, "")
    assert "Written: " in made.stdout
    assert "2 certificates" in made.stdout
    assert "! Newest state of the supply in this pack: withdrawn" in made.stdout
    assert "The inspector unpacks it and runs: python verify_pack.py" in made.stdout
    assert "What it does not prove" in made.stdout
    assert (inspected.returncode, inspected.stderr) == (0, "")
    assert (checked.returncode, checked.stderr) == (0, "")
    assert "● Everything fits." in checked.stdout
    assert "Compared with: pack yard.zip" in checked.stdout
    head = next(
        line.strip()
        for line, before in zip(
            checked.stdout.splitlines()[1:], checked.stdout.splitlines(), strict=False
        )
        if before.startswith("Head of the record; write it down")
    )
    assert lungwort(built.folder, "verify", "--head", head).returncode == 0


def test_one_json_document(built: Any, tmp_path: Path) -> None:
    """And nothing else on the output."""
    made = lungwort(built.folder, "pack", "yard", "--to", tmp_path / "a.zip", "--json")
    checked = lungwort(built.folder, "verify", "--json")

    assert json.loads(made.stdout)["pack"] == str(tmp_path / "a.zip")
    assert json.loads(made.stdout)["certificates"][0]["number"] == "YARD-2026-0001"
    assert json.loads(checked.stdout)["fits"] is True
    assert json.loads(checked.stdout)["head"]["size"] == 34


def test_an_altered_record_leaves_with_1(built: Any, tmp_path: Path) -> None:
    """The first thing that does not fit is named, in words and in JSON."""
    folder = tmp_path / "workspace"
    shutil.copytree(built.folder, folder)
    paper = folder / "files" / built.certificates[0].pdf_sha256
    paper.write_bytes(paper.read_bytes() + b" ")
    shown = lungwort(folder, "verify")
    listed = lungwort(folder, "verify", "--json")

    assert (shown.returncode, shown.stderr) == (1, "")
    assert "✕ THE RECORD DOES NOT FIT: 1 thing does not." in shown.stdout
    assert "First: entry" in shown.stdout
    assert "YARD-2026-0001" in shown.stdout
    assert "Everything fits" not in shown.stdout
    assert listed.returncode == 1
    assert "was altered: its SHA-256 is" in json.loads(listed.stdout)["problems"][0]["what"]


@pytest.mark.parametrize(
    ("arguments", "telling"),
    [
        (("verify", "--head", "12"), "'12' is no head"),
        (("verify", "--certificate", "none.pdf"), "none.pdf cannot be read"),
        (("verify", "--pack", "none.zip"), "none.zip is not there"),
        (("verify", "--workspace", "none"), "no folder"),
        (("pack", "yrd", "--to", "a.zip"), "yard"),
        (("pack", "yard", "--to", "none/a.zip"), "does not exist"),
        (("pack", "yard", "--to", "a.zip", "--from", "x"), "--from 'x' is no day"),
        (("pack", "yard"), "--to"),
    ],
)
def test_mistakes_get_a_message(built: Any, arguments: tuple[str, ...], telling: str) -> None:
    """And leave with 2, without a traceback."""
    done = lungwort(built.folder, *arguments)

    assert done.returncode == 2
    assert telling in done.stderr
    assert "Traceback" not in done.stderr
    assert not list(built.folder.glob("*.zip"))


@pytest.mark.parametrize("command", ["pack", "verify"])
def test_help_has_an_example(tmp_path: Path, command: str) -> None:
    """One that can be typed."""
    done = lungwort(tmp_path, command, "--help")

    assert done.returncode == 0
    assert f"Example: lungwort {command} " in " ".join(done.stdout.split())
