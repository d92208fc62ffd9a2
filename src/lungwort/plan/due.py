"""What is due, and what is overdue.

A day on which something is due is the last day on which it is in time.
"""

from __future__ import annotations

from datetime import timedelta
from itertools import chain
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air.analytes import ANALYTES
from lungwort.plan import rules
from lungwort.plan.calibrations import Standing, bump_standing, calibration_standing, needs_bump
from lungwort.plan.cartridges import change_due
from lungwort.plan.choice import assessment_of, interval_of, next_test_by, plan_of, strictest
from lungwort.plan.days import add_months, shown
from lungwort.plan.evidence import newest_event
from lungwort.plan.snapshot import CLOCK_SLACK, by_id
from lungwort.plan.state import supply_state
from lungwort.plan.stock import left
from lungwort.register.model import DONE, WITHDRAWN
from lungwort.verdict.model import CONFORMS, DOES_NOT_CONFORM

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, datetime

    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Instrument, Lot, Outlet, Supply, VerdictRecord

OVERDUE: Final = "overdue"
DUE: Final = "due"
LATER: Final = "later"
NEVER_DONE: Final = "never done"
_ORDER: Final = {OVERDUE: 0, NEVER_DONE: 1, DUE: 2, LATER: 3}
LATE: Final = (OVERDUE, NEVER_DONE)
"""States of what is not in time."""

_TESTED_LATELY: Final = timedelta(days=366)
"""How long after a test somebody counts as one who tests: common practice, no source."""

_REORDERED: Final = ("oil_indicator", "tube", "calibration_gas")
_IN_NUMBERS: Final = ("oil_indicator", "tube")


@frozen
class Due:
    """One thing to be done.

    Parameters
    ----------
    kind : str
        ``test``, ``cartridge``, ``assessment``, ``calibration``, ``bump_test``, ``lot``,
        ``stock`` or ``competence``.
    subject_kind, subject_id, subject : str
        Kind, id and name of the record it is about.
    what : str
        What is to be done.
    due : date
        Last day on which it is in time; for what was never done, today.
    state : str
        ``overdue``, ``due`` (within the horizon), ``later`` or ``never done``.
    why : str
        How the day came about, as sentences.
    rule : str
        By which rule, with its document and standing.
    supply_id : str
        The supply that it belongs to; empty for none.
    """

    kind: str
    subject_kind: str
    subject_id: str
    subject: str
    what: str
    due: date
    state: str
    why: str
    rule: str
    supply_id: str = ""


@frozen
class _Told:
    """What a rule says of one thing, before its day is held against today."""

    kind: str
    subject_kind: str
    subject_id: str
    subject: str
    what: str
    day: date | None
    why: str
    rule: str
    supply_id: str = ""
    never: bool = False


def due(snapshot: Snapshot, *, horizon_days: int | None = 60) -> tuple[Due, ...]:
    """Tell what is due.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    horizon_days : int, optional
        How far ahead a thing counts as due rather than later [d]; None for the rule sets' own.

    Returns
    -------
    tuple of Due
        Everything that the plan knows, what is late first, then by day. The tests of a withdrawn
        supply are left out: a test is part of its return.

    Raises
    ------
    PlanError
        Where a site's rule set cannot be read.
    """
    told = chain(
        _tests(snapshot),
        _cartridges(snapshot),
        _assessments(snapshot),
        _instruments(snapshot),
        _lots(snapshot),
        _stock(snapshot),
        _competence(snapshot),
    )
    found = [_placed(snapshot, one, horizon_days) for one in told]
    return tuple(sorted(found, key=lambda one: (_ORDER[one.state], one.due, one.kind, one.subject)))


def _placed(snapshot: Snapshot, told: _Told, horizon_days: int | None) -> Due:
    """Hold a day against today."""
    today = snapshot.day(snapshot.now, told.supply_id)
    if horizon_days is None:
        plan = (
            plan_of(snapshot, told.supply_id)
            if told.supply_id
            else strictest(snapshot, rules.WARNING)
        )
        horizon_days = plan.rule(rules.WARNING).value
    day = told.day or today
    if told.never:
        state = NEVER_DONE
    elif day < today:
        state = OVERDUE
    else:
        state = DUE if day - today <= timedelta(days=horizon_days) else LATER
    return Due(
        kind=told.kind,
        subject_kind=told.subject_kind,
        subject_id=told.subject_id,
        subject=told.subject,
        what=told.what,
        due=day,
        state=state,
        why=told.why,
        rule=told.rule,
        supply_id=told.supply_id,
    )


def _tests(snapshot: Snapshot) -> Iterator[_Told]:
    for supply in snapshot.supplies_in_use():
        if supply_state(snapshot, supply.id).state == WITHDRAWN:
            continue
        outlets = snapshot.outlets_of(supply.id)
        if not outlets:
            yield _Told(
                "test",
                supply.KIND,
                supply.id,
                supply.name,
                "add an outlet and test it by hand",
                None,
                "The supply has no outlet in use, so nothing shows what its air is.",
                interval_of(snapshot, supply.id).rule,
                supply.id,
                never=True,
            )
        for outlet in outlets:
            yield _test(snapshot, supply, outlet)


def _test(snapshot: Snapshot, supply: Supply, outlet: Outlet) -> _Told:
    every = interval_of(snapshot, supply.id)
    records = [
        one
        for one in snapshot.verdicts
        if one.outlet_id == outlet.id and one.supply_id == supply.id
    ]
    tested = max(
        (time for one in records if (time := _tested_at(snapshot, one)) is not None), default=None
    )
    failed = max((_evidence_time(one) for one in records if _fails(one)), default=None)
    event = newest_event(snapshot, supply.id)
    day: date | None = None
    rule = every.rule
    if failed is not None and (tested is None or failed >= tested):
        day = snapshot.day(failed, supply.id)
        why = (
            f"The air was outside a limit on {shown(day)}, and no conforming test by hand was made "
            "since. Cure it and test again."
        )
    elif tested is None:
        why = "No conforming verdict with a test by hand is on record."
    elif event is not None and event[0] > tested:
        day = snapshot.day(event[0], supply.id)
        why = f"The {event[1]} on {shown(day)}, after the last test."
        rule = plan_of(snapshot, supply.id).said(rules.EVENTS)
    else:
        last = snapshot.day(tested, supply.id)
        day = next_test_by(snapshot, supply.id, last)
        why = f"Last test on {shown(last)}. {every.why}"
    return _Told(
        "test",
        outlet.KIND,
        outlet.id,
        outlet.name,
        "test by hand",
        day,
        why,
        rule,
        supply.id,
        never=day is None,
    )


def _tested_at(snapshot: Snapshot, record: VerdictRecord) -> datetime | None:
    """Tell when a conforming verdict's oldest test by hand began; None where it counts not."""
    if record.overall != CONFORMS:
        return None
    begun = []
    for test_id in record.hand_test_ids:
        test = by_id(snapshot.hand_tests, test_id)
        if test is None or test.started > snapshot.now + CLOCK_SLACK:
            return None
        if test.state == DONE:
            begun.append(test.started)
    return min(begun, default=None)


def _fails(record: VerdictRecord) -> bool:
    return record.overall == DOES_NOT_CONFORM


def _evidence_time(record: VerdictRecord) -> datetime:
    times = [word.evidence_time for word in record.limits if word.evidence_time is not None]
    return max(times, default=record.judged_at)


def _cartridges(snapshot: Snapshot) -> Iterator[_Told]:
    for supply in snapshot.supplies_in_use():
        for stage in snapshot.stages_of(supply.id):
            if not stage.in_use or (stage.change_hours is None and stage.change_months is None):
                continue
            change = change_due(snapshot, stage)
            yield _Told(
                "cartridge",
                stage.KIND,
                stage.id,
                f"{supply.name}/{stage.name}",
                "change the cartridge",
                change.day,
                change.why,
                "the stage's own interval",
                supply.id,
                never=not change.ever,
            )


def _assessments(snapshot: Snapshot) -> Iterator[_Told]:
    for supply in snapshot.supplies_in_use():
        plan = plan_of(snapshot, supply.id)
        rule = plan.find(rules.ASSESSMENT)
        if rule is None:
            continue
        newest = assessment_of(snapshot, supply.id)
        day, why = None, "The rule set rests on a risk assessment, and none is on record."
        if newest is not None:
            made = snapshot.day(newest.time, supply.id)
            day = add_months(made, rule.value)
            why = f"Assessed on {shown(made)}, to be looked at again after {rule.value} months."
        yield _Told(
            "assessment",
            supply.KIND,
            supply.id,
            supply.name,
            "assess the risk and set the interval of tests",
            day,
            why,
            plan.said(rules.ASSESSMENT),
            supply.id,
            never=newest is None,
        )


def _instruments(snapshot: Snapshot) -> Iterator[_Told]:
    for instrument in snapshot.instruments:
        if not instrument.in_use:
            continue
        now = snapshot.now + CLOCK_SLACK
        yield _standing(
            snapshot, instrument, "calibration", calibration_standing(snapshot, instrument, now)
        )
        if needs_bump(instrument):
            yield _standing(
                snapshot, instrument, "bump_test", bump_standing(snapshot, instrument, now)
            )


def _standing(snapshot: Snapshot, instrument: Instrument, kind: str, standing: Standing) -> _Told:
    what = "calibrate" if kind == "calibration" else "bump test"
    word = kind.replace("_", " ")
    day = standing.until
    if standing.newest is None and standing.analyte:
        # Other channels have one: to say that it was never done would be untrue.
        named = (
            ANALYTES[standing.analyte].name if standing.analyte in ANALYTES else standing.analyte
        )
        what = f"{what} {named}"
        why = (
            f"No {word} of {named} is on record: what is on record covers other channels only. Enter "
            "it, or have it done."
        )
    elif standing.newest is None:
        why = f"No {word} is on record."
    else:
        done = snapshot.day(standing.newest.time)
        newest = standing.newest.kind.replace("_", " ")
        if standing.fault:
            day = done
            why = f"The {newest} of {shown(done)} {standing.fault}. Do not use it."
        else:
            why = f"Last {newest} on {shown(done)}."
    return _Told(
        kind,
        instrument.KIND,
        instrument.id,
        instrument.name,
        what,
        day,
        why,
        standing.rule,
        never=standing.newest is None,
    )


def _lots(snapshot: Snapshot) -> Iterator[_Told]:
    for lot in snapshot.lots:
        count = left(snapshot, lot.id)
        if count <= 0:
            continue
        if lot.expires is None:
            what, why = "enter the expiry", f"{count} left, and its expiry is not on record."
        else:
            what = "replace before it expires, and throw away"
            why = f"{count} left, last day of use {shown(lot.expires)}."
        yield _Told(
            "lot", lot.KIND, lot.id, lot.name, what, lot.expires, why, "as printed on the lot"
        )


def _stock(snapshot: Snapshot) -> Iterator[_Told]:
    plan = strictest(snapshot, rules.LOW_STOCK)
    today = snapshot.day(snapshot.now)
    groups: dict[tuple[str, str], list[Lot]] = {}
    for lot in snapshot.lots:
        if lot.kind in _REORDERED:
            groups.setdefault((lot.kind, lot.device or lot.analyte), []).append(lot)
    for (kind, device), lots in groups.items():
        usable = [one for one in lots if one.expires is None or one.expires >= today]
        count = sum(max(left(snapshot, one.id), 0) for one in usable)
        low = plan.rule(rules.LOW_STOCK).value if kind in _IN_NUMBERS else 0
        if count > low:
            continue
        newest = max(lots, key=lambda one: one.seq)
        name = " ".join(part for part in (device, kind.replace("_", " ")) if part)
        yield _Told(
            "stock",
            newest.KIND,
            newest.id,
            newest.name,
            f"order more: {name}",
            None,
            f"{count} in date left.",
            plan.said(rules.LOW_STOCK),
        )


def _competence(snapshot: Snapshot) -> Iterator[_Told]:
    since = snapshot.now - _TESTED_LATELY
    testers = {test.tester_id for test in snapshot.hand_tests if test.started >= since}
    for person in snapshot.persons:
        if not person.in_use or (person.competent_until is None and person.id not in testers):
            continue
        until = person.competent_until
        why = (
            "Has tested within a year, and no competence to test is on record."
            if until is None
            else f"The competence to test holds until {shown(until)}."
        )
        yield _Told(
            "competence",
            person.KIND,
            person.id,
            person.name,
            "renew the competence to test",
            until,
            why,
            "as on record for the person",
            never=until is None,
        )
