"""The user's own assessment of how often a supply is tested: questions, proposal, decision."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import InputError, PlanError
from lungwort.jobs.catalogue import shape, typed
from lungwort.jobs.catalogue.shape import Done, Session
from lungwort.jobs.opening import opened
from lungwort.plan import questionnaire as questions
from lungwort.plan.choice import interval_of, plan_of
from lungwort.plan.snapshot import take
from lungwort.register.model import RiskAssessment, Supply

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.plan.questionnaire import Proposal, Questionnaire

LONGEST_MONTHS: Final = 60


@frozen
class Proposed:
    """What the answers led to, before anything is decided.

    Parameters
    ----------
    supply : str
        Name of the supply.
    proposal : Proposal
        The interval, with its reasons.
    holds_months : int
        Interval that holds now [months].
    holds_why : str
        Why.
    plain : dict
        The same as JSON values.
    """

    supply: str
    proposal: Proposal
    holds_months: int
    holds_why: str
    plain: dict[str, Any]


def questionnaire(name: str | None) -> Questionnaire:
    """Load the questions.

    Parameters
    ----------
    name : str, optional
        Id or file; None for the questionnaire that comes with lungwort.

    Returns
    -------
    Questionnaire
        The questions.

    Raises
    ------
    InputError
        Where it is not known or has mistakes.
    """
    return questions.load_questionnaire(name or questions.DEFAULT)


def read_answers(texts: Sequence[str]) -> dict[str, str]:
    """Read answers as they are typed.

    Parameters
    ----------
    texts : sequence of str
        Each ``question=answer``.

    Returns
    -------
    dict
        Answer by question.

    Raises
    ------
    InputError
        Where one is not of that form, or a question is answered twice.
    """
    from lungwort.jobs.inputs import parse_pairs  # noqa: PLC0415 - brings in Polars

    answers: dict[str, str] = {}
    for key, answer in parse_pairs(texts, "--answer", "intake=no"):
        if key in answers:
            raise InputError(f"--answer {key} is given twice. Give one answer a question.")
        answers[key] = answer
    return answers


def propose(at: Session, supply: str, asked: Questionnaire, answers: dict[str, str]) -> Proposed:
    """Say which interval the answers lead to; nothing is recorded.

    Parameters
    ----------
    at : Session
        Where and when.
    supply : str
        Name or id of the supply.
    asked : Questionnaire
        The questions.
    answers : dict
        Answer by question; what is left open counts as its worst answer.

    Returns
    -------
    Proposed
        The proposal, and what holds now.

    Raises
    ------
    InputError
        Where an answer cannot be used.
    """
    with opened(at.where, read_only=True) as workspace:
        owner = workspace.register.get(Supply, supply)
        snapshot = take(workspace.register, at.now)
        try:
            proposal = questions.propose(asked, answers, plan_of(snapshot, owner.id))
        except PlanError as error:
            raise InputError(f"--answer: {error}") from error
        holds = interval_of(snapshot, owner.id)
    return Proposed(
        owner.name,
        proposal,
        holds.months,
        holds.why,
        {
            "supply": owner.name,
            "questionnaire": asked.id,
            "answers": dict(proposal.answers),
            "unanswered": list(proposal.unanswered),
            "proposed_months": proposal.months,
            "reasons": list(proposal.reasons),
            "cautions": list(proposal.cautions),
            "holds_months": holds.months,
            "holds_why": holds.why,
            "recorded": False,
        },
    )


def decide(
    at: Session,
    supply: str,
    asked: Questionnaire,
    answers: dict[str, str],
    *,
    months: str,
    why: str | None = None,
) -> Done:
    """Record the answers, the proposal and what was decided.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    supply : str
        Name or id of the supply.
    asked : Questionnaire
        The questions.
    answers : dict
        Answer by question; what is left open counts as its worst answer.
    months : str
        Interval that was decided [months].
    why : str, optional
        Reasons for another interval than the proposed one; needed for a longer one.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where an answer or the months cannot be used, or a longer interval has no reason.
    """
    chosen = typed.whole(months, "--months", 1, LONGEST_MONTHS, "months")
    reasons = typed.words(why or "", "--why")
    proposed = propose(at, supply, asked, answers)
    offered = proposed.proposal.months
    if chosen > offered and not reasons:
        raise InputError(
            f"--months {chosen} is longer than the {shape.counted(offered, 'month')} that the answers "
            "lead to. Say --why; a competent person answers for it."
        )
    with at.recording() as (_, change, said):
        owner = change.get(Supply, supply)
        record = change.add(
            RiskAssessment(
                supply_id=owner.id,
                time=change.now,
                questionnaire=asked.id,
                answers=proposed.proposal.answers,
                proposed_months=offered,
                chosen_months=chosen,
                why=reasons,
                by_id=change.who.id,
            )
        )
        holds = interval_of(take(change, at.now), owner.id)
        if proposed.proposal.unanswered:
            said.append(
                f"Left open: {', '.join(proposed.proposal.unanswered)}. Each counted as its worst answer."
            )
        if holds.months != chosen:
            said.append(f"What holds is every {shape.counted(holds.months, 'month')}. {holds.why}")
    return Done(
        record,
        f"Decided for {owner.name}: a test at least every {shape.counted(chosen, 'month')}; the answers "
        f"led to {shape.counted(offered, 'month')}.",
        tuple(said),
        ("lungwort due",),
    )
