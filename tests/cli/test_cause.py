"""``lungwort cause`` in the terminal: exit codes and words. The logs are invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer

from lungwort.cli.cause import cause
from lungwort.demo.faults import CLEAN, fault_log
from lungwort.errors import InputError


@pytest.mark.parametrize(
    ("wrong", "code", "word"),
    [("exhaust", 0, "LIKELY CAUSE"), (CLEAN, 3, "CANNOT BE TOLD")],
)
def test_word_and_exit_code(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], wrong: str, code: int, word: str
) -> None:
    """0 where a cause stands out, 3 where none can be told; the cautions stand in both."""
    path = tmp_path / "log.csv"
    path.write_text(fault_log(wrong, 1).csv(), encoding="utf-8")
    with pytest.raises(typer.Exit) as left:
        cause([path], settle="0")
    said = " ".join(capsys.readouterr().out.split())
    assert left.value.exit_code == code
    assert word in said
    assert "counts as bad until it was tested again" in said


def test_json_and_pdf(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One JSON document and nothing else, and a PDF beside it."""
    path, pdf = tmp_path / "log.csv", tmp_path / "cause.pdf"
    path.write_text(fault_log("drier_saturating", 1).csv(), encoding="utf-8")
    with pytest.raises(typer.Exit):
        cause([path], settle="0", as_json=True, pdf=pdf)
    assert json.loads(capsys.readouterr().out)["data"]["causes"][0]["id"] == "drier_saturating"
    assert pdf.read_bytes().startswith(b"%PDF")


def test_nothing_given() -> None:
    """Nothing to look at is refused in words."""
    with pytest.raises(InputError, match="nothing was given to look at"):
        cause()
