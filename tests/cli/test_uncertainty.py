"""``lungwort uncertainty`` in the terminal. All figures are invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer

from lungwort.cli.uncertainty import uncertainty
from lungwort.errors import BudgetError
from lungwort.verdict import decision
from lungwort.verdict.budget_file import example_text


def _code(**more: object) -> int:
    with pytest.raises(typer.Exit) as left:
        uncertainty(**more)  # type: ignore[arg-type]
    return int(left.value.exit_code)


def test_estimate(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """0, the parts in words, and a file that the rules take."""
    target = tmp_path / "u.toml"
    assert _code(example="co", write=target) == 0
    said = capsys.readouterr().out
    assert "ESTIMATE" in said
    assert "hydrogen" in said
    assert "Before you act on this" in said
    assert decision.uncertainties(target).entries[0].analyte == "co"


def test_not_proven(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """3 where a part is not known."""
    file = tmp_path / "b.toml"
    file.write_text(example_text("co").split("[budget.left_out]")[0], "utf-8")
    assert _code(file=file) == 3
    assert "nothing is stated on pressure effect" in capsys.readouterr().out


def test_json_and_paper(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """One document for machines; a PDF with the same."""
    target = tmp_path / "u.pdf"
    assert _code(example="o2", as_json=True, pdf=target) == 0
    plain = json.loads(capsys.readouterr().out)
    assert plain["format"] == "lungwort-uncertainty/1"
    assert plain["data"]["budgets"][0]["unit"] == "%"
    assert target.read_bytes().startswith(b"%PDF")


def test_mistakes_are_told_with_their_line(tmp_path: Path) -> None:
    """A line of the file, not a traceback."""
    file = tmp_path / "b.toml"
    file.write_text(example_text("co").replace("step = 0.1", "step = -0.1"), "utf-8")
    with pytest.raises(BudgetError, match=r"b.toml, line 18: .*found -0.1"):
        uncertainty(file=file)
