"""The questionnaire: never longer than the rule set allows, and the worst where it is left open."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import PlanError
from lungwort.plan.questionnaire import (
    load_questionnaire,
    propose,
    questionnaire_ids,
    read_questionnaire,
)
from lungwort.plan.rules import load_plan, plan_ids

ASKED = load_questionnaire()
BEST = {
    question.key: max(question.choices, key=lambda one: one.at_most_months).key
    for question in ASKED.questions
}
ANSWERS = st.fixed_dictionaries(
    {},
    optional={
        question.key: st.sampled_from([choice.key for choice in question.choices])
        for question in ASKED.questions
    },
)
PLANS = st.sampled_from(plan_ids()).map(load_plan)


def test_it_asks_what_matters_and_claims_no_source() -> None:
    """The list of questions, and the standing of what they lead to."""
    keys = [question.key for question in ASKED.questions]

    assert questionnaire_ids() == ("test-interval",)
    assert keys == ["source", "intake", "age", "history", "purifier", "mobile", "people", "danger"]
    assert ASKED.status == "common practice, no source"
    assert any("competent person decides" in remark for remark in ASKED.remarks)


@pytest.mark.parametrize(("plan", "months"), [("uk-guidance", 3), ("own-risk-assessment", 6)])
def test_the_best_answers_reach_the_longest_interval(plan: str, months: int) -> None:
    """Where nothing shortens it, the rule set's own longest is proposed."""
    made = propose(ASKED, BEST, load_plan(plan))

    assert made.months == months
    assert made.unanswered == ()
    assert made.answers == tuple(BEST.items())
    assert made.cautions == ASKED.remarks


def test_reasons_show_what_shortens_it() -> None:
    """The answer that decides stands first."""
    made = propose(ASKED, BEST | {"intake": "nearby"}, load_plan("own-risk-assessment"))

    assert made.months == 3
    assert made.reasons[0].startswith("At most 3 months. Can exhaust gas, traffic")
    assert made.reasons[0].endswith("can bring fumes to the intake.")


def test_nothing_answered() -> None:
    """All questions open: the shortest of all."""
    made = propose(ASKED, {}, load_plan("own-risk-assessment"))

    assert made.months == 1
    assert len(made.unanswered) == len(ASKED.questions)
    assert made.reasons[0].startswith("At most 1 month. Left open: ")


@settings(deadline=None, max_examples=150)
@given(answers=ANSWERS, plan=PLANS)
def test_never_longer_than_the_rule_set(answers: dict[str, str], plan: object) -> None:
    """Whatever is answered, the interval lies between a month and the rule set's longest."""
    made = propose(ASKED, answers, plan)  # type: ignore[arg-type] # sampled rule sets

    assert 1 <= made.months <= plan.rule("test").value  # type: ignore[attr-defined] # the same


@settings(deadline=None, max_examples=150)
@given(answers=ANSWERS, plan=PLANS, data=st.data())
def test_leaving_a_question_open_never_lengthens(
    answers: dict[str, str], plan: object, data: st.DataObject
) -> None:
    """Less said is never better."""
    if not answers:
        return
    open_key = data.draw(st.sampled_from(sorted(answers)))
    fewer = {key: value for key, value in answers.items() if key != open_key}

    with_it = propose(ASKED, answers, plan)  # type: ignore[arg-type] # sampled rule sets
    without = propose(ASKED, fewer, plan)  # type: ignore[arg-type] # the same
    assert without.months <= with_it.months


def test_wrong_answers_are_told() -> None:
    """A question that is none, and an answer that is none."""
    with pytest.raises(PlanError, match=r"no question 'intakes'\. Near: 'intake'"):
        propose(ASKED, {"intakes": "no"}, load_plan(""))
    with pytest.raises(PlanError, match=r"no question 'zzz'\. Questions: source, intake"):
        propose(ASKED, {"zzz": "no"}, load_plan(""))
    with pytest.raises(
        PlanError, match=r"'maybe' is no answer to .*Answer one of: yes \(yes\); no"
    ):
        propose(ASKED, {"mobile": "maybe"}, load_plan(""))


_OWN = """format = 1
id = "mine"
title = "Mine"
status = "own rule"
[[question]]
key = "a"
text = "A?"
[[question.answer]]
key = "yes"
text = "yes"
at_most_months = 2
why = "so"
"""


def test_a_questionnaire_of_ones_own(tmp_path: Path) -> None:
    """A file in the same form."""
    path = tmp_path / "mine.toml"
    path.write_text(_OWN, encoding="utf-8")

    assert propose(load_questionnaire(str(path)), {"a": "yes"}, load_plan("")).months == 2


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (_OWN.replace("at_most_months = 2", "at_most_months = 0"), "allowed is 1 to 12 months"),
        (_OWN.replace("at_most_months = 2\n", ""), r"answer 1, key 'at_most_months' is missing"),
        (_OWN.replace('key = "a"', "key = 1"), r"question 1, key 'key': found 1"),
        (_OWN.replace('why = "so"', ""), r"key 'why' is missing"),
        (_OWN + _OWN.split('status = "own rule"\n')[1], r"question 'a' stands twice"),
        (_OWN + '[[question.answer]]\nkey = "yes"\n', r"question 'a': answer 'yes' stands twice"),
        (_OWN.partition("[[question.answer]]")[0], r"begins with a line \[\[question\.answer\]\]"),
    ],
)
def test_mistakes_are_told(text: str, message: str) -> None:
    """What was found, where, and what to do."""
    with pytest.raises(PlanError, match=message):
        read_questionnaire(text, "mine.toml")


def test_unknown_questionnaire() -> None:
    """Near names are told, and how to give one's own."""
    with pytest.raises(PlanError, match=r"'test-intervall' is not known\. Near: 'test-interval'"):
        load_questionnaire("test-intervall")
