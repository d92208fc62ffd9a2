"""The job of looking at limit sets, and its command."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
import typer
from typer.testing import CliRunner

from lungwort.cli.limits import limits
from lungwort.errors import LimitSetError
from lungwort.jobs.limits import list_json, list_sets, set_json, show_set
from lungwort.limits.load import available, limit_set, shipped_ids

if TYPE_CHECKING:
    from pathlib import Path

APP = typer.Typer()
APP.command()(limits)

MINE = """\
format = 1
id = "mine"
title = "House rule [bold]7[/bold]"
document = "House rule"
edition = "1"
use = "airline"
extends = "en12021-2014-airline"
status = "from memory"
source = "[red]a letter[/red]"

[[limit]]
key = "co"
analyte = "co"
unit = "ppm"
upper = "< 3"
"""


def run(*arguments: str) -> str:
    """Run the command, which must succeed, at 80 columns and without a terminal."""
    result = CliRunner(env={"COLUMNS": "80"}).invoke(APP, list(arguments))
    assert result.exception is None, result.output
    assert result.exit_code == 0
    return result.output


def test_list_has_every_set_once_under_its_document() -> None:
    """Counted against the sets themselves."""
    groups = list_sets()
    assert [one.id for group in groups for one in group.sets] == [one.id for one in available()]
    assert len({group.document for group in groups}) == len(groups)
    airline = next(
        one for group in groups for one in group.sets if one.id == "en12021-2014-airline"
    )
    # oxygen, the water table and the dew point margin are from memory
    assert (airline.limits, airline.from_memory) == (8, 3)


def test_show_marks_what_is_from_memory() -> None:
    """And gives the rows of the water table."""
    view = show_set("en12021-2014-airline")
    rows = {row.key: row for row in view.rows}
    assert rows["water"].own_copy == "from memory: check against your own copy of the document"
    assert rows["co"].own_copy == ""
    assert rows["water"].rows[1] == ("above 5 up to 10 bar(g)", "≤ 160 mg/m3")
    assert rows["co"].rows == ()
    assert rows["co"].analyte == "carbon monoxide"
    assert any("3 of 8 limits are from memory" in text for text in view.cautions)


def test_list_on_80_columns() -> None:
    """Every id whole, no line too wide."""
    text = run()
    words = text.split()
    assert all(set_id in words for set_id in shipped_ids())
    assert max(map(len, text.splitlines())) <= 80
    assert "check them against your own copy" in " ".join(words)
    assert "EN 12021:2014\n" in text


@pytest.mark.parametrize("set_id", shipped_ids())
def test_show_on_80_columns(set_id: str) -> None:
    """Clause, source, status, remarks and cautions of every limit are there."""
    text = run(set_id)
    flat = " ".join(text.split())
    # a source without a blank, such as an address, may be longer than a line and is then broken
    joined = flat.replace(" ", "")
    one = limit_set(set_id)
    assert max(map(len, text.splitlines())) <= 80
    assert one.digest in text
    for limit in one:
        for part in (limit.clause, limit.source, limit.status, limit.remark, limit.wording):
            assert part.replace(" ", "") in joined
    for remark in one.remarks:
        assert remark.replace(" ", "") in joined
    assert "a competent person answers for the use made of them." in flat


def test_show_tells_advice_and_conditions() -> None:
    """25 mg/m3 at the filling outlet is advice; the margin needs a temperature."""
    assert "Advice: shown, never decides." in run("en12021-2014-charging")
    assert "Applies where this is given: lowest temperature." in run("en12021-2014-airline")


def test_own_file_is_checked_and_shown(tmp_path: Path) -> None:
    """Its text is shown as it is, never taken for markup."""
    file = tmp_path / "mine.toml"
    file.write_text(MINE, encoding="utf-8")
    text = run(str(file))
    assert "House rule [bold]7[/bold]" in text
    assert "Source: [red]a letter[/red]" in text
    assert "From: mine.toml" in text
    assert "Extends: en12021-2014-airline" in text
    assert "carbon monoxide: < 3 ppm" in text
    assert "changed: co." in " ".join(text.split())


def test_own_file_without_remarks(tmp_path: Path) -> None:
    """No empty heading is shown."""
    state = "reference_temperature_c = 20\nreference_pressure_kpa = 101.325"
    file = tmp_path / "bare.toml"
    file.write_text(MINE.replace('extends = "en12021-2014-airline"', state), encoding="utf-8")
    text = run(str(file))
    assert "Remarks" not in text
    assert "Cautions" in text
    assert "no required limit for oxygen, carbon dioxide, oil, water, odour" in (
        " ".join(text.split())
    )


@pytest.mark.parametrize("flag", [[], ["--json"]])
def test_mistakes_reach_the_caller(tmp_path: Path, flag: list[str]) -> None:
    """As one error, which the program turns into its exit code."""
    file = tmp_path / "mine.toml"
    file.write_text(MINE.replace('"< 3"', "3"), encoding="utf-8")
    result = CliRunner().invoke(APP, [str(file), *flag])
    assert isinstance(result.exception, LimitSetError)
    assert "mine.toml, line 15: limit 'co', key 'upper': found 3" in str(result.exception)
    unknown = CliRunner().invoke(APP, ["nfpa-1998", *flag])
    assert isinstance(unknown.exception, LimitSetError)
    assert "Near: 'nfpa-1989'." in str(unknown.exception)


def test_json_list() -> None:
    """One object with all sets."""
    found = json.loads(run("--json"))
    assert found == list_json()
    assert [one["id"] for one in found["limit_sets"]] == [one.id for one in available()]


@pytest.mark.parametrize("set_id", shipped_ids())
def test_json_of_a_set(set_id: str) -> None:
    """Everything that the set holds, as plain values."""
    found: dict[str, Any] = json.loads(run(set_id, "--json"))
    one = limit_set(set_id)
    assert found == set_json(set_id)
    assert found["digest"] == one.digest
    assert [item["key"] for item in found["limits"]] == [limit.key for limit in one]
    for item, limit in zip(found["limits"], one, strict=True):
        assert item["upper"] == (
            None
            if limit.upper is None
            else {"value": limit.upper.value, "included": limit.upper.included}
        )
        assert len(item["table"]) == len(limit.table)
        assert bool(item["own_copy"]) is (limit.status == "from memory")


def test_help_names_the_argument() -> None:
    """What can be given."""
    text = " ".join(run("--help").split())
    assert "List the limit sets, show one with its sources, or check one of your own." in text
    assert "--json" in text
