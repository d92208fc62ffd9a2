"""How fresh the evidence for each limit of a supply is, and what it says as a whole.

For each outlet and each required limit the newest evidence counts, whatever older evidence says.
Evidence goes stale by the plan's interval and by what happened to the supply since. What is
missing, stale, drawn from another limit set or from the future proves nothing; what is outside a
limit stays outside until newer evidence is inside. No outlet conforms past evidence that was not
judged and would count still.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.air.analytes import ANALYTES
from lungwort.plan import rules
from lungwort.plan.choice import interval_of, plan_of
from lungwort.plan.days import add_days, add_months, shown
from lungwort.plan.doubts import doubt_of
from lungwort.plan.snapshot import CLOCK_SLACK, by_id
from lungwort.plan.unjudged import leniency, said, standing
from lungwort.verdict.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    NO_EVIDENCE,
    NOT_PROVEN,
    UNDECIDED,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date, datetime, timedelta

    from lungwort.limits.model import Limit, LimitSet
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import LimitWord, Outlet, Supply, VerdictRecord

_SAYS_SOMETHING: Final = (CONFORMS, DOES_NOT_CONFORM, UNDECIDED)
_BADNESS: Final = {CONFORMS: 0, UNDECIDED: 1, NOT_PROVEN: 1, DOES_NOT_CONFORM: 2}


@frozen
class Evidence:
    """The newest evidence of one limit at one outlet.

    Parameters
    ----------
    outlet_id, outlet : str
        The outlet, and its name.
    key, analyte : str
        The limit.
    verdict : str
        What it says: ``conforms``, ``does_not_conform``, ``undecided`` or ``no_evidence``.
    time : datetime, optional
        When it was measured, UTC; None for none.
    age : timedelta, optional
        How old it is; None for none.
    stale_on : date, optional
        First day on which it counts no more, by the plan; None for none.
    fresh : bool
        Whether it counts now: not stale, and nothing puts it in doubt.
    means : str
        ``log``, or the means of the test by hand; empty for none.
    why : str
        Why it does not prove that the limit is kept, as a sentence; empty where it does.
    verdict_id : str
        The verdict that says so; empty for none.
    """

    outlet_id: str
    outlet: str
    key: str
    analyte: str
    verdict: str
    time: datetime | None = None
    age: timedelta | None = None
    stale_on: date | None = None
    fresh: bool = False
    means: str = ""
    why: str = ""
    verdict_id: str = ""

    @property
    def proves(self) -> bool:
        """Whether it shows that the limit is kept now."""
        return self.fresh and self.verdict == CONFORMS


@frozen
class OutletEvidence:
    """What the evidence of one outlet says as a whole.

    Parameters
    ----------
    outlet_id, outlet : str
        The outlet, and its name.
    overall : str
        ``conforms``, ``does_not_conform`` or ``not_proven``.
    reasons : tuple of str
        Why, most telling first.
    limits : tuple of Evidence
        One a required limit, in the set's order.
    """

    outlet_id: str
    outlet: str
    overall: str
    reasons: tuple[str, ...]
    limits: tuple[Evidence, ...]


@frozen
class SupplyEvidence:
    """What the evidence of a supply says as a whole: the worst of its outlets in use.

    Parameters
    ----------
    overall : str
        ``conforms``, ``does_not_conform`` or ``not_proven``.
    reasons : tuple of str
        Why, most telling first.
    outlets : tuple of OutletEvidence
        One an outlet in use.
    weakest : Evidence, optional
        What is outside, else missing or in doubt, else goes stale first; None without an outlet
        or a limit.
    """

    overall: str
    reasons: tuple[str, ...]
    outlets: tuple[OutletEvidence, ...] = ()
    weakest: Evidence | None = None

    @property
    def limits(self) -> tuple[Evidence, ...]:
        """The evidence of all outlets, one after the other."""
        return tuple(one for outlet in self.outlets for one in outlet.limits)


@frozen
class _Word:
    """One verdict's word on one limit."""

    word: LimitWord
    record: VerdictRecord
    time: datetime

    @property
    def order(self) -> tuple[datetime, int, bool, int]:
        # At one time the worse word is the later: a judgement repeated does not better the air.
        # Of two that say the same, the one drawn as it must be counts, and of those the last.
        bad = _BADNESS[self.word.verdict]
        return self.time, bad, not leniency(self.record), self.record.seq


@frozen
class _Ground:
    """What one supply's evidence is held against."""

    snapshot: Snapshot
    supply: Supply
    limit_set: LimitSet
    months: int
    event: datetime | None
    event_text: str


def required_limits(limit_set: LimitSet, supply: Supply) -> tuple[Limit, ...]:
    """Give the limits for which a supply needs evidence.

    Parameters
    ----------
    limit_set : LimitSet
        The limits in force.
    supply : Supply
        The supply.

    Returns
    -------
    tuple of Limit
        The required ones; one that needs the lowest temperature only where that is on record, for
        without it another limit of the set stands in.
    """
    known = supply.lowest_temperature_c is not None
    return tuple(limit for limit in limit_set if limit.required and (known or not limit.needs))


def newest_event(snapshot: Snapshot, supply_id: str) -> tuple[datetime, str] | None:
    """Find the newest event of a supply after which older evidence counts no more.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply_id : str
        The supply.

    Returns
    -------
    tuple of (datetime, str), optional
        When, UTC, and what it was, as part of a sentence; None where there is none.

    Raises
    ------
    PlanError
        Where the site's rule set cannot be read.
    """
    asked = plan_of(snapshot, supply_id).rule(rules.EVENTS).events
    found = [
        (event.time, _EVENT_WORDS.get(event.kind, event.kind))
        for event in snapshot.events
        if event.supply_id == supply_id and event.kind in asked
    ]
    if rules.CARTRIDGE_CHANGE in asked:
        stages = {stage.id: stage.name for stage in snapshot.stages_of(supply_id)}
        found += [
            (change.time, f"cartridge of {stages[change.stage_id]} was changed")
            for change in snapshot.cartridge_changes
            if change.stage_id in stages
        ]
    return max(found, default=None)


_EVENT_WORDS: Final = {
    "maintenance": "supply was maintained",
    "moved": "supply was moved",
    "doubt": "supply came into doubt",
    "other": "supply had something happen to it",
}


def supply_evidence(snapshot: Snapshot, supply_id: str, limit_set: LimitSet) -> SupplyEvidence:
    """Tell how the evidence of a supply stands now.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply_id : str
        The supply.
    limit_set : LimitSet
        The limits in force for it.

    Returns
    -------
    SupplyEvidence
        'conforms' only where every required limit has fresh evidence that conforms at every outlet
        in use and none of it was left unjudged; 'does_not_conform' where the newest evidence of one
        is outside; else 'not_proven'.

    Raises
    ------
    PlanError
        Where the site's rule set cannot be read.
    """
    supply = by_id(snapshot.supplies, supply_id)
    if supply is None:
        return SupplyEvidence(NOT_PROVEN, ("The supply is not on record. Add it.",))
    event = newest_event(snapshot, supply_id)
    ground = _Ground(
        snapshot=snapshot,
        supply=supply,
        limit_set=limit_set,
        months=interval_of(snapshot, supply_id).months,
        event=event[0] if event else None,
        event_text=event[1] if event else "",
    )
    outlets = tuple(_outlet(ground, outlet) for outlet in snapshot.outlets_of(supply_id))
    return _whole(snapshot, outlets)


def _whole(snapshot: Snapshot, outlets: tuple[OutletEvidence, ...]) -> SupplyEvidence:
    clock = clock_behind(snapshot)
    weakest = _weakest([one for outlet in outlets for one in outlet.limits])
    if not outlets:
        none = "The supply has no outlet in use, so nothing shows what its air is. Add one."
        return SupplyEvidence(NOT_PROVEN, (*clock, none))
    worst = max((outlet.overall for outlet in outlets), key=_BADNESS.__getitem__)
    if clock and worst == CONFORMS:
        worst = NOT_PROVEN
    ordered = sorted(outlets, key=lambda outlet: -_BADNESS[outlet.overall])
    reasons = tuple(
        reason if len(outlets) == 1 else f"{outlet.outlet}: {reason}"
        for outlet in ordered
        for reason in outlet.reasons
    )
    return SupplyEvidence(worst, (*clock, *reasons), outlets, weakest)


def clock_behind(snapshot: Snapshot) -> tuple[str, ...]:
    """Say that the computer's clock is behind the record, where it is.

    Parameters
    ----------
    snapshot : Snapshot
        The record.

    Returns
    -------
    tuple of str
        One sentence, or none.
    """
    newest = snapshot.newest_entry
    if newest is None or newest <= snapshot.now + CLOCK_SLACK:
        return ()
    return (
        (
            f"The computer's clock is behind the record: it says {snapshot.now:%Y-%m-%d %H:%M} UTC, "
            f"and the newest entry is of {newest:%Y-%m-%d %H:%M} UTC. Set the clock, as nothing can be "
            "called fresh by it."
        ),
    )


def _outlet(ground: _Ground, outlet: Outlet) -> OutletEvidence:
    # What was measured while the outlet hung on another supply says nothing of this one.
    records = [
        one
        for one in ground.snapshot.verdicts
        if one.outlet_id == outlet.id and one.supply_id == ground.supply.id
    ]
    required = required_limits(ground.limit_set, ground.supply)
    limits = tuple(_evidence(ground, outlet, limit, records) for limit in required)
    outside = [one for one in limits if one.verdict == DOES_NOT_CONFORM]
    not_judged = said(outlet, standing(ground.snapshot, outlet.id))
    if outside:
        overall = DOES_NOT_CONFORM
    elif limits and not not_judged and all(one.proves for one in limits):
        overall = CONFORMS
    else:
        overall = NOT_PROVEN
    reasons = _reasons((*outside, *(one for one in limits if one not in outside)))
    if not limits:
        reasons = ("The limit set has no required limit, so nothing can be proved by it.",)
    if not_judged:
        reasons = (*reasons, not_judged)
    return OutletEvidence(outlet.id, outlet.name, overall, reasons, limits)


def _reasons(limits: Iterable[Evidence]) -> tuple[str, ...]:
    """Say once what several limits have in common."""
    names: dict[str, list[str]] = {}
    for one in limits:
        name, sign, rest = one.why.partition(": ")
        if sign and name == _analyte(one.analyte):
            names.setdefault(rest, []).append(name)
        elif one.why:
            names.setdefault(one.why, [])
    return tuple(f"{_listed(found)}: {rest}" if found else rest for rest, found in names.items())


def _listed(names: Sequence[str]) -> str:
    """Name several analytes in running text."""
    first, *others = dict.fromkeys(names)
    others = [name[:1].lower() + name[1:] for name in others]
    return " and ".join([", ".join([first, *others[:-1]]), *others[-1:]])


def _evidence(
    ground: _Ground,
    outlet: Outlet,
    limit: Limit,
    records: Sequence[VerdictRecord],
) -> Evidence:
    words = [
        _Word(word, record, word.evidence_time)
        for record in records
        for word in record.limits
        if word.key == limit.key
        and word.verdict in _SAYS_SOMETHING
        and word.evidence_time is not None
    ]
    name = _analyte(limit.analyte)
    latest = ground.snapshot.now + CLOCK_SLACK
    ahead = [one for one in words if one.time > latest]
    past = [one for one in words if one.time <= latest]
    ours = [one for one in past if one.record.limit_set_digest == ground.limit_set.digest]
    others = [one for one in past if one.record.limit_set_digest != ground.limit_set.digest]
    newest = max(ours, key=lambda one: one.order, default=None)
    other = max(others, key=lambda one: one.order, default=None)
    if newest is None:
        return _nothing(outlet, limit, other, ahead)
    found = _of_word(ground, outlet, limit, newest)
    why = found.why
    if found.verdict == CONFORMS and not why:
        why = _lenient(newest.record) or doubt_of(ground.snapshot, ground.supply, newest.record)
        if other is not None and other.order > newest.order and other.word.verdict != CONFORMS:
            why = (
                f"{name}: newer evidence does not show that it is kept; it was judged by another "
                f"limit set or edition ({other.record.limit_set}). Judge it anew."
            )
        elif ahead:
            why = _from_the_future(name, ahead)
    return evolve(found, fresh=found.fresh and why == found.why, why=why)


def _lenient(record: VerdictRecord) -> str:
    told = leniency(record)
    return f"{told} Judge it anew without that." if told else ""


def _nothing(outlet: Outlet, limit: Limit, other: _Word | None, ahead: Sequence[_Word]) -> Evidence:
    name = _analyte(limit.analyte)
    if other is not None:
        why = (
            f"{name}: the evidence was judged by another limit set or edition "
            f"({other.record.limit_set}) than the one in force. Judge it anew."
        )
    elif ahead:
        why = _from_the_future(name, ahead)
    else:
        why = f"{name}: there is no evidence. Test it."
    return Evidence(outlet.id, outlet.name, limit.key, limit.analyte, NO_EVIDENCE, why=why)


def _of_word(ground: _Ground, outlet: Outlet, limit: Limit, newest: _Word) -> Evidence:
    """Tell what the newest word says and whether the plan lets it count still."""
    snapshot, supply_id = ground.snapshot, ground.supply.id
    name, day = _analyte(limit.analyte), snapshot.day(newest.time, supply_id)
    stale_on = add_days(add_months(day, ground.months), 1)
    why = ""
    if newest.word.verdict == DOES_NOT_CONFORM:
        worst = f" ({newest.word.worst})" if newest.word.worst else ""
        why = (
            f"{name}: the newest evidence, of {shown(day)}, is outside the limit{worst}. Withdraw "
            "the supply, find the cause, cure it and test again."
        )
    elif newest.word.verdict == UNDECIDED:
        why = (
            f"{name}: the newest evidence, of {shown(day)}, leaves it undecided whether the limit "
            "is kept. See that verdict's reasons, and test again."
        )
    elif ground.event is not None and newest.time < ground.event:
        event_day = shown(snapshot.day(ground.event, supply_id))
        why = (
            f"{name}: the newest evidence, of {shown(day)}, is from before the "
            f"{ground.event_text} on {event_day}. Test again."
        )
    elif snapshot.day(snapshot.now, supply_id) >= stale_on:
        why = (
            f"{name}: the newest evidence, of {shown(day)}, went stale on {shown(stale_on)}. Test "
            "again."
        )
    return Evidence(
        outlet_id=outlet.id,
        outlet=outlet.name,
        key=limit.key,
        analyte=limit.analyte,
        verdict=newest.word.verdict,
        time=newest.time,
        age=snapshot.now - newest.time,
        stale_on=stale_on,
        fresh=not why or newest.word.verdict == DOES_NOT_CONFORM,
        means=newest.word.means,
        why=why,
        verdict_id=newest.record.id,
    )


def _from_the_future(name: str, ahead: Sequence[_Word]) -> str:
    time = max(one.time for one in ahead)
    return (
        f"{name}: there is evidence from the future ({time:%Y-%m-%d %H:%M} UTC). Check the clocks "
        "of the logger and of the computer, and void what bears a wrong time."
    )


def _weakest(limits: Iterable[Evidence]) -> Evidence | None:
    def order(one: Evidence) -> tuple[int, int]:
        if one.verdict == DOES_NOT_CONFORM:
            rank = 0
        elif one.verdict == NO_EVIDENCE:
            rank = 1
        else:
            rank = 3 if one.proves else 2
        return rank, 0 if one.stale_on is None else one.stale_on.toordinal()

    return min(limits, key=order, default=None)


def _analyte(key: str) -> str:
    name = ANALYTES[key].name if key in ANALYTES else key
    return name[:1].upper() + name[1:]
