"""How a calculation looks in the terminal."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.paper.calculation_kit import invented

from lungwort.cli._calculated import present
from lungwort.errors import InputError, OutputError


@pytest.mark.parametrize(
    ("state", "code"), [("holds", 0), ("estimate", 0), ("fails", 1), ("not_proven", 3)]
)
def test_the_word_and_the_exit_code(
    state: str, code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    """The state in words first, the cautions always."""
    assert present(invented(state=state, word="said so")) == code
    said = capsys.readouterr().out

    assert "SAID SO" in said.split("\n")[1]
    assert "margin" in said
    assert "Before you act on this" in said
    assert "A calculation is no verdict on the air" in said


def test_json_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """One document, and nothing else."""
    present(invented(), as_json=True)

    assert json.loads(capsys.readouterr().out)["format"] == "lungwort-invented/1"


def test_paper(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A PDF is written over, nothing else is."""
    target = tmp_path / "a.pdf"
    present(invented(), pdf=target)
    present(invented(), pdf=target)
    assert target.read_bytes().startswith(b"%PDF")
    assert f"Written: {target}" in capsys.readouterr().out.replace("\n", "")

    log = tmp_path / "log.csv"
    log.write_text("time,co\n", encoding="utf-8")
    with pytest.raises(InputError, match="would be lost"):
        present(invented(), pdf=log)
    assert log.read_text(encoding="utf-8") == "time,co\n"
    with pytest.raises(OutputError, match="does not exist"):
        present(invented(), pdf=tmp_path / "no" / "a.pdf")
