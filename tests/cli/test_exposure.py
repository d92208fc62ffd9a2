"""``lungwort exposure`` in the terminal: exit codes and words. The log is invented."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import typer

from lungwort.cli.exposure import exposure
from lungwort.errors import ExposureError

START = datetime(2026, 3, 4, 6, 0, tzinfo=UTC)


@pytest.fixture
def shift(tmp_path: Path) -> Path:
    """Write two hours of readings: an hour around 2 ppm, then one around 160 ppm, never still."""
    path = tmp_path / "shift.csv"
    lines = ["time,CO [ppm]"]
    for at in range(241):
        level = (2.0 if at < 120 else 160.0) + 0.01 * (at * 7 % 13)
        lines.append(f"{START + timedelta(seconds=30 * at):%Y-%m-%d %H:%M:%S},{level:.2f}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def _code(path: Path, stay: str, **more: object) -> int:
    with pytest.raises(typer.Exit) as left:
        exposure([path], stay=[stay], zone="Europe/London", settle="0", **more)  # type: ignore[arg-type]
    return int(left.value.exit_code)


@pytest.mark.parametrize(
    ("begin", "end", "code", "word"),
    [
        ("06:05", "06:50", 0, "SCREENING ESTIMATE"),
        ("07:05", "07:50", 1, "EXPOSURE LIMIT EXCEEDED"),
        ("05:30", "06:30", 3, "NOT PROVEN"),
    ],
)
def test_word_and_exit_code(
    shift: Path, capsys: pytest.CaptureFixture[str], begin: str, end: str, code: int, word: str
) -> None:
    """0 for an estimate, 1 above a limit, 3 for a hole; the caution stands in all three."""
    stay = f"A. Example,hall 1,2026-03-04 {begin},2026-03-04 {end},heavy"
    assert _code(shift, stay) == code
    said = capsys.readouterr().out
    assert word in said
    assert "never medical advice" in said


def test_json_and_paper(shift: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One JSON document, and a PDF with it."""
    pdf = tmp_path / "a.pdf"
    stay = "A. Example,hall 1,2026-03-04 07:05,2026-03-04 07:50,heavy"
    assert _code(shift, stay, as_json=True, pdf=pdf, limits=["osha-pel"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert made["data"]["people"][0]["name"] == "A. Example"
    assert pdf.read_bytes().startswith(b"%PDF")


def test_refusal(shift: Path) -> None:
    """A stay that cannot be read is refused in words."""
    with pytest.raises(ExposureError, match="has 2 parts"):
        exposure([shift], stay=["A. Example,hall 1"], zone="Europe/London")


def test_trust_is_offered(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The option that a doubt names is one that the command takes."""
    path = tmp_path / "still.csv"
    lines = ["time,CO [ppm]"]
    lines += [f"{START + timedelta(seconds=30 * at):%Y-%m-%d %H:%M:%S},0.0" for at in range(241)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    stay = "A. Example,hall 1,2026-03-04 06:05,2026-03-04 07:50,heavy"
    assert _code(path, stay) == 3
    assert "--trust co" in capsys.readouterr().out
    assert _code(path, stay, trust=["co"]) == 0
