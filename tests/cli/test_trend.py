"""``lungwort trend`` as a user meets it; the readings are invented."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from lungwort.cli.trend import trend
from lungwort.errors import InputError

APP = typer.Typer()
APP.command()(trend)


def _log(folder: Path, slope: float, days: int = 40) -> Path:
    """Write hourly readings that rise by so much a day."""
    begin = datetime(2026, 1, 1, tzinfo=UTC)
    lines = ["Time,CO [ppm]"]
    for hour in range(days * 24):
        value = 1.0 + slope * (hour // 24) + (hour * 37 % 17) / 100.0
        lines.append(f"{begin + timedelta(hours=hour):%Y-%m-%d %H:%M:%S},{value:.2f}")
    file = folder / "hall.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


@pytest.mark.parametrize(
    ("slope", "days", "code", "said"),
    [
        (0.05, 40, 0, "A TREND TOWARDS A LIMIT"),
        (0.2, 40, 1, "LIMIT REACHED"),
        (0.05, 10, 3, "TOO LITTLE TO TELL"),
    ],
)
def test_exit_codes(tmp_path: Path, slope: float, days: int, code: int, said: str) -> None:
    """0 for a trend, 1 for a limit that is reached, 3 where nothing can be told."""
    file = _log(tmp_path, slope, days)
    arguments = [str(file), "--zone", "UTC", "--limits", "en12021-2014-airline", "--analyte", "co"]
    done = CliRunner().invoke(APP, arguments, env={"COLUMNS": "120"})
    assert done.exit_code == code, done.output
    assert said in done.output
    assert "no proof" in " ".join(done.output.split())


def test_json_and_pdf(tmp_path: Path) -> None:
    """One JSON object, and a PDF beside it."""
    pdf = tmp_path / "trend.pdf"
    arguments = [str(_log(tmp_path, 0.05)), "--zone", "UTC", "--json", "--pdf", str(pdf)]
    done = CliRunner().invoke(APP, arguments)
    assert done.exit_code == 0, done.output
    made = json.loads(done.stdout)
    assert made["kind"] == "trend"
    assert made["data"]["trends"][0]["trend"] == "rises"
    assert pdf.read_bytes().startswith(b"%PDF")


def test_refusal() -> None:
    """Nothing given is refused with what to give."""
    done = CliRunner().invoke(APP, [])
    assert isinstance(done.exception, InputError)
    assert "--outlet" in str(done.exception)
