"""``lungwort plant air`` as a user meets it; the plant is invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from lungwort.cli.plant_air import air
from lungwort.errors import PlantError
from lungwort.jobs.plant_sheet import form_text

APP = typer.Typer()
APP.command()(air)


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """Write the plant sheet that is handed out, as if its figures were one's own."""
    file = tmp_path / "plant.toml"
    file.write_text(form_text().replace("invented = true ", "# invented = true "), encoding="utf-8")
    return file


def test_enough_ends_with_0(sheet: Path) -> None:
    """The form's figures are an example in which there is enough."""
    done = CliRunner().invoke(APP, ["--sheet", str(sheet)], env={"COLUMNS": "120"})

    assert done.exit_code == 0, done.output
    assert "ENOUGH" in done.output
    assert "Measure flow and pressure at each wearer" in done.output


def test_too_little_ends_with_1(sheet: Path) -> None:
    """The only compressor is out of service."""
    done = CliRunner().invoke(APP, ["--sheet", str(sheet), "--without", "c1", "--json"])

    assert done.exit_code == 1
    assert json.loads(done.output)["data"]["supply_l_min"]["low"] == 0


def test_what_is_missing_ends_with_3(sheet: Path) -> None:
    """Without the height above the sea nothing is proven."""
    text = form_text()
    line = next(one for one in text.splitlines() if one.startswith("altitude_m"))
    sheet.write_text(text.replace(line, ""), encoding="utf-8")
    done = CliRunner().invoke(APP, ["--sheet", str(sheet)], env={"COLUMNS": "120"})

    assert done.exit_code == 3
    assert "The height above the sea is not given" in done.output


def test_a_hotter_intake_delivers_less(sheet: Path) -> None:
    """The same in JSON, at two temperatures."""
    low = []
    for intake in ("20", "45"):
        done = CliRunner().invoke(APP, ["--sheet", str(sheet), "--intake", intake, "--json"])
        low.append(json.loads(done.output)["data"]["supply_l_min"]["low"])

    # Ideal gas alone: 293/318 = 0.92; damp air takes away some more (CoolProp, 90 %: 8.6 of 101 kPa).
    assert 0.82 < low[1] / low[0] < 0.92


def test_a_pdf_is_written(sheet: Path, tmp_path: Path) -> None:
    """The same on paper."""
    paper = tmp_path / "air.pdf"
    done = CliRunner().invoke(APP, ["--sheet", str(sheet), "--pdf", str(paper)])

    assert done.exit_code == 0, done.output
    assert paper.read_bytes().startswith(b"%PDF-")


def test_neither_supply_nor_sheet_is_refused() -> None:
    """It is told what to give."""
    done = CliRunner().invoke(APP, [])

    assert isinstance(done.exception, PlantError)
    assert "a file can stand in its place" in str(done.exception)
