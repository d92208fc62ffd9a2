"""The pages on intervals show files that load, and the numbers of the shipped ones."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Final

import pytest

from lungwort.errors import PlanError
from lungwort.plan import rules
from lungwort.plan.questionnaire import (
    Questionnaire,
    load_questionnaire,
    propose,
    read_questionnaire,
)
from lungwort.plan.rules import RuleSet, load_plan, plan_ids, read_plan

DOCS: Final = Path(__file__).resolve().parents[2] / "docs/how-to"


def _page(name: str = "own-plan.md") -> str:
    return (DOCS / name).read_text(encoding="utf-8")


def _blocks() -> dict[str, str]:
    """Give the files that the page shows by their ids."""
    texts = re.findall(r"^```toml\n(.*?)^```$", _page(), re.MULTILINE | re.DOTALL)
    return {tomllib.loads(text)["id"]: text for text in texts}


def _saved(folder: Path, name: str) -> str:
    file = folder / f"{name}.toml"
    file.write_text(_blocks()[name], encoding="utf-8")
    return str(file)


def _plan(folder: Path) -> RuleSet:
    return load_plan(_saved(folder, "yard-plan"))


def _questions(folder: Path) -> Questionnaire:
    return load_questionnaire(_saved(folder, "yard-questions"))


def test_the_rule_set_of_the_page_loads_from_its_file(tmp_path: Path) -> None:
    """Every rule has the number that the page shows."""
    plan = _plan(tmp_path)

    assert {rule.key: rule.value for rule in plan.rules} == {
        "test": 2,
        "events": 0,
        "retention": 10,
        "calibration": 6,
        "bump_test": 0,
        "warning": 45,
        "low_stock": 5,
    }
    assert plan.origin == "yard-plan.toml"
    assert plan.said("test") == "yard-plan: House rule 9, section 1; confirmed"


def test_the_questionnaire_of_the_page_proposes_as_the_page_says(tmp_path: Path) -> None:
    """The shortest decides; what is left open counts as its worst; the rule set bounds it."""
    asked, plan = _questions(tmp_path), _plan(tmp_path)
    longer = load_plan("uk-guidance")

    assert propose(asked, {"paint": "no", "hours": "many"}, longer).months == 2
    assert propose(asked, {"hours": "few"}, longer).months == 1
    assert propose(asked, {"paint": "no", "hours": "few"}, longer).months == 3
    assert propose(asked, {"paint": "no", "hours": "few"}, plan).months == 2
    assert propose(asked, {}, plan).cautions == asked.remarks != ()


def test_the_wrong_keys_of_the_page_are_refused_as_it_says() -> None:
    """The messages, word for word, with the near name."""
    wrong = _blocks()["yard-plan"].replace("value = 2", "valeu = 2")
    with pytest.raises(PlanError, match="Near: 'value'") as first:
        read_plan(wrong, "yard-plan.toml")
    wrong = _blocks()["yard-questions"].replace("at_most_months = 1", "at_most_month = 1")
    with pytest.raises(PlanError, match="Near: 'at_most_months'") as second:
        read_questionnaire(wrong, "yard-questions.toml")

    assert f"```text\n{first.value}\n```" in _page()
    assert f"```text\n{second.value}\n```" in _page()


def _known_keys(error: PlanError) -> list[set[str]]:
    found = re.findall(r"Known keys: ([^.]*)\.", str(error))
    return [set(one.split(", ")) for one in found]


def test_every_key_that_the_loaders_know_stands_in_a_table() -> None:
    """At the top, in a rule, a question and an answer."""
    with pytest.raises(PlanError, match="Known keys") as plan:
        read_plan('format = 1\nqqq = 1\n[[rule]]\nkey = "test"\nqqq = 1\n', "x.toml")
    with pytest.raises(PlanError, match="Known keys") as asked:
        read_questionnaire(
            "format = 1\nqqq = 1\n[[question]]\nqqq = 1\n[[question.answer]]\nqqq = 1\n", "x.toml"
        )
    known = [*_known_keys(plan.value), *_known_keys(asked.value)]
    lines = [line for line in _page().splitlines() if line.startswith("|")]
    told = {key for line in lines for key in re.findall(r"`(\w+)`", line)}

    assert len(known) == 5
    assert set().union(*known) - told == set()
    assert all(f"`{one}`" in _page() for one in (*rules.STATUSES, *rules.EVENTS_KNOWN))


def _of_table(line: str) -> list[str]:
    return [cell.strip() for cell in line.strip("|").split("|")]


def _rows() -> dict[str, list[str]]:
    rows = [
        _of_table(line)
        for line in _page().split("### The rules", 1)[1].splitlines()
        if line.startswith("| `")
    ]
    return {row[0].strip("`"): row for row in rows if len(row) == 6}


@pytest.mark.parametrize("key", ["test", "retention", "calibration", "bump_test", "warning"])
@pytest.mark.parametrize("end", ["from", "to"])
def test_the_ranges_of_the_page_are_those_that_are_taken(key: str, end: str) -> None:
    """The end itself is taken, and one beyond it is refused."""
    place = 3 if end == "from" else 4
    edge = int(_rows()[key][place])
    text = _blocks()["yard-plan"]
    at = re.compile(rf'(key = "{key}"\nvalue = )\d+')

    assert read_plan(at.sub(rf"\g<1>{edge}", text), "x.toml").rule(key).value == edge
    beyond = edge - 1 if end == "from" else edge + 1
    with pytest.raises(PlanError, match=rf"rule '{key}', key 'value'"):
        read_plan(at.sub(rf"\g<1>{beyond}", text), "x.toml")


@pytest.mark.parametrize("key", ["test", "test_unassessed", "assessment", "events", "retention"])
def test_the_page_says_which_rules_are_needed(key: str) -> None:
    """A set without a needed one is refused; one without another loads."""
    text = re.sub(
        rf'\[\[rule\]\]\nkey = "{key}".*?(?=\[\[rule|\Z)',
        "",
        _blocks()["yard-plan"],
        flags=re.DOTALL,
    )

    if _rows()[key][5] == "yes":
        with pytest.raises(PlanError, match=f"rule '{key}' is missing"):
            read_plan(text, "x.toml")
    else:
        assert read_plan(text, "x.toml").find(key) is None


def test_the_page_on_planning_lists_the_shipped_sets_as_they_are() -> None:
    """Interval, document, clause and standing of the test rule, from the files."""
    rows = {
        row[0].strip("`"): row
        for row in map(_of_table, _page("plan-tests.md").splitlines())
        if len(row) == 4 and row[0].strip("`") in plan_ids()
    }

    assert set(rows) == set(plan_ids())
    for name, row in rows.items():
        plan = load_plan(name)
        rule = plan.rule("test")
        first = plan.find("test_unassessed") or rule
        assert re.findall(r"\d+", row[1]) == [
            str(one.value) for one in dict.fromkeys((first, rule))
        ], name
        if rule.document:
            assert row[2] == f"{rule.document}, {rule.clause}"
        else:
            assert row[2] == "none"
        assert row[3] == rule.status
