"""Which rule set and which interval hold for what is on record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

from lungwort.plan import rules
from lungwort.plan.days import add_months, shown
from lungwort.plan.snapshot import CLOCK_SLACK, by_id

if TYPE_CHECKING:
    from datetime import date

    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import RiskAssessment


@frozen
class PlannedInterval:
    """How often a supply is tested by hand.

    Parameters
    ----------
    months : int
        At least once in so many [months].
    why : str
        How it came about, as a sentence.
    rule : str
        Rule set, document and standing.
    """

    months: int
    why: str
    rule: str


def plan_of(snapshot: Snapshot, supply_id: str) -> rules.RuleSet:
    """Find the rule set that holds for a supply.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply_id : str
        The supply.

    Returns
    -------
    RuleSet
        That of its site; `lungwort.plan.rules.DEFAULT` where the site names none.

    Raises
    ------
    PlanError
        Where the site's rule set cannot be read.
    """
    supply = by_id(snapshot.supplies, supply_id)
    site = None if supply is None else snapshot.site_of(supply)
    return rules.load_plan("" if site is None else site.plan)


def strictest(snapshot: Snapshot, key: str) -> rules.RuleSet:
    """Find the rule set with the lowest value of a rule, for what belongs to no site.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    key : str
        Key of the rule, which every set has.

    Returns
    -------
    RuleSet
        The strictest of the sites in use; the default where there is no site.

    Raises
    ------
    PlanError
        Where a site's rule set cannot be read.
    """
    names = dict.fromkeys(site.plan for site in snapshot.sites if site.in_use)
    found = [rules.load_plan(name) for name in names] or [rules.load_plan("")]
    return min(found, key=lambda plan: plan.rule(key).value)


def assessment_of(snapshot: Snapshot, supply_id: str) -> RiskAssessment | None:
    """Find the newest risk assessment of a supply that is not from the future."""
    found = (
        one
        for one in snapshot.assessments
        if one.supply_id == supply_id and one.time <= snapshot.now + CLOCK_SLACK
    )
    return max(found, key=lambda one: (one.time, one.seq), default=None)


def interval_of(snapshot: Snapshot, supply_id: str) -> PlannedInterval:
    """Tell how often a supply is tested by hand.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply_id : str
        The supply.

    Returns
    -------
    PlannedInterval
        The rule set's interval. A risk assessment can shorten it and never lengthen it; where the
        rule set rests on an assessment, it decides up to the rule set's longest.

    Raises
    ------
    PlanError
        Where the site's rule set cannot be read.
    """
    plan = plan_of(snapshot, supply_id)
    longest = plan.rule(rules.TEST).value
    assessment = assessment_of(snapshot, supply_id)
    unassessed = plan.find(rules.TEST_UNASSESSED)
    if assessment is not None:
        chosen = max(assessment.chosen_months, 1)
        day = shown(snapshot.day(assessment.time, supply_id))
        why = f"The risk assessment of {day} chose every {_months(chosen)}"
        if chosen > longest:
            why += f", and the rule set allows {_months(longest)} at most"
        return PlannedInterval(min(chosen, longest), f"{why}.", plan.said(rules.TEST))
    if unassessed is not None:
        why = f"Every {_months(unassessed.value)} until a risk assessment is on record."
        return PlannedInterval(unassessed.value, why, plan.said(rules.TEST_UNASSESSED))
    return PlannedInterval(longest, f"At least every {_months(longest)}.", plan.said(rules.TEST))


def next_test_by(snapshot: Snapshot, supply_id: str, tested: date) -> date:
    """Tell by which day a supply is tested again.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply_id : str
        The supply.
    tested : datetime.date
        Day of the test, in the site's zone.

    Returns
    -------
    datetime.date
        The last day on which the next test is in time.
    """
    return add_months(tested, interval_of(snapshot, supply_id).months)


def _months(count: int) -> str:
    return "month" if count == 1 else f"{count} months"
