"""``lungwort plant treatment`` as a user meets it; the plant is invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from lungwort.cli.plant_treatment import treatment
from lungwort.errors import PlantError

APP = typer.Typer()
APP.command()(treatment)

SHEET = """
format = 1
[place]
intake_temperature_c = [5, 30]
intake_humidity_percent = [50, 90]
[[treatment]]
name = "cartridge-a"
kind = "molecular_sieve"
sorbent_g = 2600
water_capacity_percent = 12
pressure_bar_g = 225
inlet_above_intake_c = 10
separator_efficiency_percent = 99
flow_l_min = 265
"""


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """Write an invented plant sheet."""
    file = tmp_path / "plant.toml"
    file.write_text(SHEET, encoding="utf-8")
    return file


def test_a_sheet_alone_is_an_estimate(sheet: Path) -> None:
    """It ends with 0, and says life, cautions and sources."""
    done = CliRunner().invoke(APP, ["--sheet", str(sheet)], env={"COLUMNS": "120"})

    assert done.exit_code == 0, done.output
    assert "ESTIMATE" in done.output
    assert "New, cartridge-a lasts at least" in done.output
    assert "Measured moisture counts more than any calculated life." in done.output


def test_a_hotter_intake_shortens_the_life(sheet: Path) -> None:
    """The same in JSON, at two temperatures of the intake."""
    lives = []
    for intake in ("10", "35"):
        done = CliRunner().invoke(APP, ["--sheet", str(sheet), "--intake", intake, "--json"])
        assert done.exit_code == 0, done.output
        lives.append(json.loads(done.output)["data"]["life_h"]["likely"])

    # Reference table (computed), saturated at 225 bar(g): a life at 45 °C is about 0.28 of that at 20 °C.
    assert 0.2 < lives[1] / lives[0] < 0.35


def test_what_is_missing_is_not_proven(sheet: Path) -> None:
    """A sheet without the capacity ends with 3 and names the key."""
    sheet.write_text(SHEET.replace("water_capacity_percent = 12", ""), encoding="utf-8")
    done = CliRunner().invoke(APP, ["--sheet", str(sheet)], env={"COLUMNS": "120"})

    assert done.exit_code == 3
    assert "water_capacity_percent" in done.output


def test_a_pdf_is_written(sheet: Path, tmp_path: Path) -> None:
    """The same on paper."""
    paper = tmp_path / "cartridge.pdf"
    done = CliRunner().invoke(APP, ["--sheet", str(sheet), "--pdf", str(paper)])

    assert done.exit_code == 0, done.output
    assert paper.read_bytes().startswith(b"%PDF-")


def test_neither_supply_nor_sheet_is_refused() -> None:
    """It is told what to give."""
    done = CliRunner().invoke(APP, [])

    assert isinstance(done.exception, PlantError)
    assert "a file can stand in its place" in str(done.exception)
