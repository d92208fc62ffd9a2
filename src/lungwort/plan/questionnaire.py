"""A short questionnaire that proposes how often a supply is tested, and shows why.

Each answer says how many months it allows at most, and the shortest decides. A question that is
left open counts as its worst answer. It helps a competent person to decide and decides nothing
itself.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import PlanError
from lungwort.limits.entries import Mistakes, Table, near
from lungwort.plan import files, rules

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lungwort.plan.rules import RuleSet

DEFAULT: Final = "test-interval"
"""The questionnaire that comes with lungwort."""

_LONGEST_MONTHS: Final = 12
_TOP_KEYS: Final = ("format", "id", "title", "status", "remarks", "question")
_QUESTION_KEYS: Final = ("key", "text", "answer")
_ANSWER_KEYS: Final = ("key", "text", "at_most_months", "why")


@frozen
class Choice:
    """One answer that can be given.

    Parameters
    ----------
    key, text : str
        What is entered; what it means.
    at_most_months : int
        Longest interval that it allows [months].
    why : str
        Why, as part of a sentence.
    """

    key: str
    text: str
    at_most_months: int
    why: str


@frozen
class Question:
    """One question.

    Parameters
    ----------
    key, text : str
        Its name; the question.
    choices : tuple of Choice
        The answers that can be given.
    """

    key: str
    text: str
    choices: tuple[Choice, ...]


@frozen
class Questionnaire:
    """The questions.

    Parameters
    ----------
    id, title : str
        Short name; what it asks, in words.
    status : str
        Where it comes from.
    questions : tuple of Question
        The questions.
    remarks : tuple of str
        What to mind before acting on it.
    """

    id: str
    title: str
    status: str
    questions: tuple[Question, ...]
    remarks: tuple[str, ...] = ()


@frozen
class Proposal:
    """The interval that the answers lead to.

    Parameters
    ----------
    months : int
        The interval [months].
    reasons : tuple of str
        Why, what shortens it most first.
    unanswered : tuple of str
        Keys of the questions that were left open.
    answers : tuple of (str, str)
        Question and answer, in the questionnaire's order; what was left open is missing.
    cautions : tuple of str
        What to mind before acting on it.
    """

    months: int
    reasons: tuple[str, ...]
    unanswered: tuple[str, ...]
    answers: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]


def questionnaire_ids() -> tuple[str, ...]:
    """Name the questionnaires that come with lungwort.

    Returns
    -------
    tuple of str
        Ids in alphabetical order.
    """
    return files.shipped_ids("questionnaires")


def load_questionnaire(id_or_path: str = DEFAULT) -> Questionnaire:
    """Load a questionnaire by its id, or a user's own by its file.

    Parameters
    ----------
    id_or_path : str
        An id, or the path of a TOML file.

    Returns
    -------
    Questionnaire
        The questionnaire.

    Raises
    ------
    PlanError
        Where the id is not known, or the file cannot be read or has mistakes (all are named).
    """
    if id_or_path in questionnaire_ids():
        return _shipped(id_or_path)
    if not files.is_file_name(id_or_path):
        listed = ", ".join(questionnaire_ids())
        raise PlanError(
            f"questionnaire {id_or_path!r} is not known.{near(id_or_path, questionnaire_ids())} "
            f"Those that come with lungwort: {listed}. One of your own is given by its file, like "
            "my-questions.toml."
        )
    text = files.file_text(id_or_path, "questionnaire")
    return read_questionnaire(text, Path(id_or_path).name)


@cache
def _shipped(name: str) -> Questionnaire:
    return read_questionnaire(files.shipped_text("questionnaires", name), f"{name}.toml")


def read_questionnaire(text: str, name: str) -> Questionnaire:
    """Read a questionnaire from TOML text.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file, for messages.

    Returns
    -------
    Questionnaire
        The questionnaire.

    Raises
    ------
    PlanError
        Where the text has mistakes; all are named.
    """
    mistakes = Mistakes(name)
    top = Table(files.parse(text, name), "", files.no_line, mistakes)
    top.known(_TOP_KEYS)
    questions = tuple(
        _question(values, number, mistakes)
        for number, values in enumerate(files.tables(top, "question"))
    )
    _no_doubles([question.key for question in questions], "question", mistakes)
    found = Questionnaire(
        id=top.name("id"),
        title=top.text("title", required=True),
        status=top.text("status", required=True),
        questions=questions,
        remarks=top.texts("remarks"),
    )
    files.raise_any(mistakes)
    return found


def _question(values: Mapping[str, object], number: int, mistakes: Mistakes) -> Question:
    key = values.get("key")
    where = f"question {key!r}" if isinstance(key, str) else f"question {number + 1}"
    table = Table(values, where, files.no_line, mistakes)
    table.known(_QUESTION_KEYS)
    choices = tuple(
        _choice(Table(one, f"{where}, answer {count + 1}", files.no_line, mistakes))
        for count, one in enumerate(files.tables(table, "answer", "question.answer"))
    )
    _no_doubles([choice.key for choice in choices], f"{where}: answer", mistakes)
    return Question(table.name("key"), table.text("text", required=True), choices)


def _choice(table: Table) -> Choice:
    table.known(_ANSWER_KEYS)
    return Choice(
        key=table.name("key"),
        text=table.text("text", required=True),
        at_most_months=files.whole(table, "at_most_months", 1, _LONGEST_MONTHS, "months") or 1,
        why=table.text("why", required=True),
    )


def _no_doubles(keys: list[str], what: str, mistakes: Mistakes) -> None:
    for key in dict.fromkeys(keys):
        if key and keys.count(key) > 1:
            mistakes.add(f"{what} {key!r} stands twice. Give each its own key.")


def propose(
    questionnaire: Questionnaire, answers: Mapping[str, str], rule_set: RuleSet
) -> Proposal:
    """Propose an interval between tests by hand.

    Parameters
    ----------
    questionnaire : Questionnaire
        The questions.
    answers : mapping of str to str
        Answer by key of the question.
    rule_set : RuleSet
        The rule set that holds; its interval is never made longer.

    Returns
    -------
    Proposal
        The shortest interval that any answer allows. A question left open counts as its worst
        answer.

    Raises
    ------
    PlanError
        Where an answer is given to no question, or is none of those that can be given.

    Examples
    --------
    >>> from lungwort.plan.rules import load_plan
    >>> made = propose(load_questionnaire(), {"mobile": "no"}, load_plan("uk-guidance"))
    >>> made.months, "source" in made.unanswered
    (1, True)
    """
    known = [question.key for question in questionnaire.questions]
    for key in answers:
        if key not in known:
            hint = near(key, known) or f" Questions: {', '.join(known)}."
            raise PlanError(f"there is no question {key!r}.{hint}")
    longest = rule_set.rule(rules.TEST)
    told = [(longest.value, f"The rule set allows no longer ({rule_set.said(rules.TEST)}).")]
    unanswered, given = [], []
    for question in questionnaire.questions:
        answer = answers.get(question.key)
        if answer is None:
            worst = min(question.choices, key=lambda one: one.at_most_months)
            unanswered.append(question.key)
            told.append((worst.at_most_months, f"Left open: {question.text}"))
            continue
        choice = _chosen(question, answer)
        given.append((question.key, choice.key))
        answered = f"{choice.text[:1].upper()}{choice.text[1:]}: {choice.why}."
        told.append((choice.at_most_months, f"{question.text} {answered}"))
    told.sort(key=lambda one: one[0])
    reasons = tuple(
        f"At most {months} month{'s' if months > 1 else ''}. {text}" for months, text in told
    )
    return Proposal(told[0][0], reasons, tuple(unanswered), tuple(given), questionnaire.remarks)


def _chosen(question: Question, answer: str) -> Choice:
    for choice in question.choices:
        if choice.key == answer:
            return choice
    listed = "; ".join(f"{choice.key} ({choice.text})" for choice in question.choices)
    raise PlanError(f"{answer!r} is no answer to '{question.text}' Answer one of: {listed}.")
