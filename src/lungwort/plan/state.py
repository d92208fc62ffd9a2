"""The state of a supply: in service, withdrawn or under test, and what stands against its return.

A supply is what the record last said of it. Nothing but a recorded return brings a withdrawn
supply back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.limits.load import limit_set as load_limit_set
from lungwort.plan.days import shown
from lungwort.plan.evidence import required_limits, supply_evidence
from lungwort.plan.snapshot import by_id
from lungwort.plan.unjudged import said, standing, unjudged
from lungwort.register.model import (
    CAUSE,
    CLOSE,
    CURE,
    DONE,
    IN_SERVICE,
    UNDER_TEST,
    WITHDRAWN,
)
from lungwort.verdict.model import CONFORMS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from lungwort.limits.model import LimitSet
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import (
        Action,
        Finding,
        HandTest,
        Outlet,
        SupplyState,
        VerdictRecord,
    )

_STRICTNESS: Final = {IN_SERVICE: 0, UNDER_TEST: 1, WITHDRAWN: 2}


@frozen
class State:
    """The state of a supply.

    Parameters
    ----------
    state : str
        ``in_service``, ``withdrawn`` or ``under_test``.
    since : datetime, optional
        Since when, UTC; None where nothing was recorded.
    why : str
        Why.
    by : str
        Who decided; empty where nothing was recorded.
    """

    state: str
    since: datetime | None = None
    why: str = ""
    by: str = ""


def supply_state(snapshot: Snapshot, supply_id: str) -> State:
    """Tell the state of a supply.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply_id : str
        The supply.

    Returns
    -------
    State
        What was last recorded; under test where nothing was. Where the newest by its time and the
        one recorded last differ, the stricter of the two.
    """
    record = _state_record(snapshot, supply_id)
    if record is None:
        return State(UNDER_TEST, why="It was never put into service.")
    person = by_id(snapshot.persons, record.by_id)
    return State(record.state, record.time, record.why, "" if person is None else person.name)


def _state_record(snapshot: Snapshot, supply_id: str) -> SupplyState | None:
    records = [one for one in snapshot.states if one.supply_id == supply_id]
    if not records:
        return None
    by_time = max(records, key=lambda one: (one.time, one.seq))
    # A correction of an old record is recorded late and changes nothing today.
    first_said = [one for one in records if one.version <= 1]
    recorded_last = max(first_said, key=lambda one: (one.seq, one.time), default=by_time)
    return max((by_time, recorded_last), key=lambda one: _STRICTNESS[one.state])


def finding_open(snapshot: Snapshot, finding_id: str) -> bool:
    """Tell whether a finding is open.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    finding_id : str
        The finding.

    Returns
    -------
    bool
        Whether it is on record and not closed. Closing counts no more once the verdict that it
        rests on was voided, or conforms no more.
    """
    if by_id(snapshot.findings, finding_id) is None:
        return False
    return not any(
        action.kind == CLOSE and _closing_holds(snapshot, action)
        for action in _actions(snapshot, finding_id)
    )


def _closing_holds(snapshot: Snapshot, action: Action) -> bool:
    if action.verdict_id is None:
        return True
    verdict = by_id(snapshot.verdicts, action.verdict_id)
    return verdict is not None and verdict.overall == CONFORMS


def open_findings(snapshot: Snapshot, supply_id: str | None = None) -> tuple[Finding, ...]:
    """Give the open findings.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply_id : str, optional
        Of which supply; None for all.

    Returns
    -------
    tuple of Finding
        Oldest first.
    """
    found = [
        finding
        for finding in snapshot.findings
        if supply_id in {None, finding.supply_id} and finding_open(snapshot, finding.id)
    ]
    return tuple(sorted(found, key=lambda finding: (finding.opened_at, finding.seq)))


def newest_action(snapshot: Snapshot, finding_id: str, kind: str) -> Action | None:
    """Give the newest action of a kind on a finding; None where there is none."""
    found = (one for one in _actions(snapshot, finding_id) if one.kind == kind)
    return max(found, key=lambda one: (one.time, one.seq), default=None)


def _actions(snapshot: Snapshot, finding_id: str) -> list[Action]:
    return [action for action in snapshot.actions if action.finding_id == finding_id]


def may_return(
    snapshot: Snapshot, supply_id: str, limit_set: LimitSet | None = None
) -> tuple[str, ...]:
    """Tell what stands against returning a supply to service.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply_id : str
        The supply.
    limit_set : LimitSet, optional
        The limits in force for it; None to load the set that the supply or its site names.

    Returns
    -------
    tuple of str
        Sentences that say what is missing; empty where it may return.

    Raises
    ------
    LimitSetError
        Where the limit set that is named cannot be used.
    PlanError
        Where the site's rule set cannot be read.
    """
    supply = by_id(snapshot.supplies, supply_id)
    if supply is None:
        return ("The supply is not on record. Add it.",)
    if not supply.in_use:
        return (f"Supply {supply.name} is on record as given up. Take it back into use first.",)
    state = supply_state(snapshot, supply_id)
    if state.state == IN_SERVICE:
        return (f"Supply {supply.name} is in service already.",)
    name = snapshot.limit_set_source(supply_id)
    if limit_set is None and not name:
        return (
            (
                f"Neither supply {supply.name} nor its site names a limit set. Name the one that its "
                "air is held against."
            ),
        )
    limits = load_limit_set(name) if limit_set is None else limit_set
    told: list[str] = []
    findings = _findings_of(snapshot, supply_id)
    for finding in findings:
        told += _finding_reasons(snapshot, finding)
    for outlet in snapshot.outlets_of(supply_id):
        told += _outlet_reasons(snapshot, outlet, findings, state, limits)
        told += _unjudged_since(snapshot, outlet, findings, state)
    evidence = supply_evidence(snapshot, supply_id, limits)
    if evidence.overall != CONFORMS:
        told += evidence.reasons
    return tuple(dict.fromkeys(told))


def _findings_of(snapshot: Snapshot, supply_id: str) -> tuple[Finding, ...]:
    """Give the open findings, and those that led to the withdrawal."""
    record = _state_record(snapshot, supply_id)
    linked = () if record is None else record.finding_ids
    opened = {finding.id for finding in open_findings(snapshot, supply_id)}
    return tuple(one for one in snapshot.findings if one.id in opened or one.id in linked)


def _finding_reasons(snapshot: Snapshot, finding: Finding) -> list[str]:
    told = []
    if newest_action(snapshot, finding.id, CAUSE) is None:
        told.append(f"Finding {finding.number} has no cause on record. Enter what caused it.")
    if newest_action(snapshot, finding.id, CURE) is None:
        told.append(f"Finding {finding.number} has no cure on record. Enter what was done.")
    return told


def retest_after(
    snapshot: Snapshot, outlet_id: str, findings: Sequence[Finding], state: State | None = None
) -> datetime | None:
    """Tell after which moment an outlet's retest must lie.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    outlet_id : str
        The outlet.
    findings : sequence of Finding
        The findings that stand against the supply.
    state : State, optional
        The supply's state; a withdrawal without a finding asks for a retest of every outlet.

    Returns
    -------
    datetime, optional
        The newest cure of its findings, or the opening of one that has no cure, or the withdrawal
        without a finding, UTC; None where no retest is asked for.
    """
    moments = []
    outlet = by_id(snapshot.outlets, outlet_id)
    in_use = set() if outlet is None else {o.id for o in snapshot.outlets_of(outlet.supply_id)}
    for finding in findings:
        # What was found at an outlet that is out of use concerns the air of all the others.
        if finding.outlet_id == outlet_id or finding.outlet_id not in in_use:
            cure = newest_action(snapshot, finding.id, CURE)
            moments.append(max(finding.opened_at, cure.time) if cure else finding.opened_at)
    if state is not None and state.state == WITHDRAWN and not findings:
        moments += [] if state.since is None else [state.since]
    return max(moments, default=None)


def retest(
    snapshot: Snapshot, outlet_id: str, limit_set: LimitSet, after: datetime | None
) -> VerdictRecord | None:
    """Find the newest conforming verdict of an outlet with all its evidence after a moment.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    outlet_id : str
        The outlet.
    limit_set : LimitSet
        The limits in force.
    after : datetime, optional
        The moment, UTC; None for any verdict that conforms.

    Returns
    -------
    VerdictRecord, optional
        The verdict; None where there is none. One that something was not in order with is none.
    """
    outlet = by_id(snapshot.outlets, outlet_id)
    found = [
        record
        for record in snapshot.verdicts
        if record.outlet_id == outlet_id
        and (outlet is None or record.supply_id == outlet.supply_id)
        and record.overall == CONFORMS
        and not record.lapses
        and record.limit_set_digest == limit_set.digest
        and (after is None or _all_after(snapshot, record, limit_set, after))
    ]
    return max(found, key=lambda one: (one.judged_at, one.seq), default=None)


def _all_after(
    snapshot: Snapshot, record: VerdictRecord, limit_set: LimitSet, after: datetime
) -> bool:
    """Tell whether a verdict was judged after a moment, and all its evidence was taken after it."""
    tests = [by_id(snapshot.hand_tests, one) for one in record.hand_test_ids]
    imports = [by_id(snapshot.log_imports, one) for one in record.log_import_ids]
    # A test that is void or was aborted gave nothing, and its time says nothing.
    begun = [None if test is None else test.started for test in tests if not _gave_nothing(test)]
    begun += [None if one is None else record.start or one.start for one in imports]
    times = [moment for moment in begun if moment is not None]
    if not times or len(times) != len(begun):
        return False  # what it rests on is not on record any more, or bears no time
    supply = by_id(snapshot.supplies, record.supply_id)
    keys = set() if supply is None else {one.key for one in required_limits(limit_set, supply)}
    times += [
        word.evidence_time
        for word in record.limits
        if word.key in keys and word.evidence_time is not None
    ]
    return min(times) > after and record.judged_at > after


def _gave_nothing(test: HandTest | None) -> bool:
    return test is not None and test.state != DONE


def _unjudged_since(
    snapshot: Snapshot, outlet: Outlet, findings: Sequence[Finding], state: State
) -> list[str]:
    """Tell what was taken since the air was found bad, was not judged, and is old by now.

    What would count still is among the reasons of the evidence.
    """
    moments = [finding.opened_at for finding in findings]
    moments += [] if state.since is None else [state.since]
    if not moments:
        return []
    counts = standing(snapshot, outlet.id)
    found = unjudged(snapshot, outlet.id, after=min(moments))
    told = said(outlet, [one for one in found if one not in counts])
    return [told] if told else []


def _outlet_reasons(
    snapshot: Snapshot,
    outlet: Outlet,
    findings: Sequence[Finding],
    state: State,
    limit_set: LimitSet,
) -> list[str]:
    after = retest_after(snapshot, outlet.id, findings, state)
    if after is None or retest(snapshot, outlet.id, limit_set, after) is not None:
        return []
    day = shown(snapshot.day(after, outlet.supply_id))
    return [
        (
            f"Outlet {outlet.name} has no conforming verdict whose evidence was all taken after "
            f"{day}, {snapshot.zoned(after, outlet.supply_id)}. Test it again and have it judged."
        )
    ]
