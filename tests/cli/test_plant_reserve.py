"""``lungwort plant reserve`` and ``lungwort plant bank`` as a user meets them; all is invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from tests.jobs.test_bank import SHEET as BANK
from tests.jobs.test_reserve import SHEET as RESERVE
from typer.testing import CliRunner, Result

from lungwort.cli.plant_bank import bank
from lungwort.cli.plant_reserve import reserve
from lungwort.errors import PlantError

APP = typer.Typer()
APP.command()(reserve)
APP.command()(bank)


def _run(folder: Path, command: str, sheet: str, *words: str) -> Result:
    file = folder / "plant.toml"
    file.write_text(sheet, encoding="utf-8")
    return CliRunner().invoke(APP, [command, "--sheet", str(file), *words], env={"COLUMNS": "120"})


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        ((), 0, "LONG ENOUGH"),
        (("--escape", "600"), 1, "TOO SHORT"),
        (("--escape", "100"), 3, "NOT PROVEN"),
    ],
)
def test_the_reserve(tmp_path: Path, words: tuple[str, ...], code: int, told: str) -> None:
    """State, time and cautions; the exit code tells the state."""
    done = _run(tmp_path, "reserve", RESERVE, *words)

    assert done.exit_code == code, done.output
    assert told in done.output
    assert "After the compressor stops the air lasts" in done.output
    assert "It is of use only to those who notice" in done.output


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        ((), 0, "FOR INFORMATION"),
        (("--wanted", "1"), 0, "ENOUGH"),
        (("--wanted", "99"), 1, "NOT ENOUGH"),
        (("--wanted", "6"), 3, "NOT PROVEN"),
    ],
)
def test_the_bank(tmp_path: Path, words: tuple[str, ...], code: int, told: str) -> None:
    """State, number and orders; the exit code tells the state."""
    done = _run(tmp_path, "bank", BANK, *words)

    assert done.exit_code == code, done.output
    assert told in done.output
    assert "Orders compared" in done.output
    assert "No cylinder is filled beyond its working pressure" in done.output


def test_json_and_paper(tmp_path: Path) -> None:
    """One document and nothing else; a PDF beside it."""
    target = tmp_path / "reserve.pdf"
    done = _run(tmp_path, "reserve", RESERVE, "--json", "--pdf", str(target))

    assert json.loads(done.stdout)["format"] == "lungwort-reserve/1"
    assert target.read_bytes().startswith(b"%PDF")


def test_what_cannot_be_used(tmp_path: Path) -> None:
    """The refusal is one that the program turns into words and code 2."""
    done = _run(tmp_path, "reserve", RESERVE.replace("volume_l = 500", "volume_l = -1"))

    assert isinstance(done.exception, PlantError)
    assert "found -1, allowed is 0.1" in str(done.exception)
