"""Evidence on record that no verdict looked at: nobody may call air clean past it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.plan.choice import interval_of
from lungwort.plan.days import add_months, shown
from lungwort.plan.snapshot import by_id
from lungwort.register.model import DONE
from lungwort.verdict.model import CONFORMS, DOES_NOT_CONFORM

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import HandTest, LogImport, Outlet, VerdictRecord

LOG: Final = "log"
HAND_TEST: Final = "test by hand"
_OPTIONS: Final = {LOG: "--log", HAND_TEST: "--test"}
_NAMED_AT_MOST: Final = 3
_LENIENT: Final = "It was judged "
"""How a lapse begins that is about how a verdict was drawn, and not about its evidence."""


@frozen
class Unjudged:
    """One piece of evidence that no verdict in force looked at.

    Parameters
    ----------
    kind : str
        ``log`` or ``test by hand``.
    id : str
        Of the record.
    ended : datetime, optional
        When it ended, UTC; None where it bears no time.
    when : str
        The same in the site's zone, as part of a sentence.
    todo : str
        What to do, as a sentence.
    """

    kind: str
    id: str
    ended: datetime | None
    when: str
    todo: str


def unjudged(
    snapshot: Snapshot, outlet_id: str, *, after: datetime | None = None
) -> tuple[Unjudged, ...]:
    """Find the evidence of an outlet that was not judged.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    outlet_id : str
        The outlet.
    after : datetime, optional
        Only what ended after this moment, UTC, or bears no time; None for all.

    Returns
    -------
    tuple of Unjudged
        Log imports, and tests by hand that were done and say something, in force, that no verdict
        in force rests on, or that were changed after every verdict that does; newest first. A
        verdict that was drawn leniently is no look at the evidence, unless it does not conform, nor
        is one that proves nothing and leaves out the end of a log.
    """
    outlet = by_id(snapshot.outlets, outlet_id)
    if outlet is None:
        return ()
    verdicts = [
        one for one in snapshot.verdicts if one.overall == DOES_NOT_CONFORM or not leniency(one)
    ]
    found = [
        _of(snapshot, outlet, HAND_TEST, test.id, test.ended)
        for test in snapshot.hand_tests
        if test.outlet_id == outlet_id
        and test.state == DONE
        and test.readings
        and not _test_judged(test, verdicts)
    ]
    found += [
        _of(snapshot, outlet, LOG, one.id, one.end or one.start)
        for one in snapshot.log_imports
        if one.outlet_id == outlet_id and not _log_judged(one, verdicts)
    ]
    kept = [one for one in found if after is None or one.ended is None or one.ended > after]
    return tuple(sorted(kept, key=lambda one: (_order(one), one.id), reverse=True))


def leniency(verdict: VerdictRecord) -> str:
    """Tell in what a verdict on record was drawn leniently, so that it proves nothing.

    Parameters
    ----------
    verdict : VerdictRecord
        The verdict.

    Returns
    -------
    str
        A sentence; empty where it was drawn as it must be. A verdict that conforms keeps no other
        lapses: what is not in order with its evidence is carried by other evidence.
    """
    if verdict.overall == CONFORMS:
        return next(iter(verdict.lapses), "")
    return next((one for one in verdict.lapses if one.startswith(_LENIENT)), "")


def _order(one: Unjudged) -> float:
    return float("inf") if one.ended is None else one.ended.timestamp()


def _test_judged(test: HandTest, verdicts: Sequence[VerdictRecord]) -> bool:
    return any(test.id in one.hand_test_ids and one.seq >= test.seq for one in verdicts)


def _log_judged(log: LogImport, verdicts: Sequence[VerdictRecord]) -> bool:
    return any(
        log.id in one.log_import_ids and one.seq >= log.seq and _to_its_end(log, one)
        for one in verdicts
    )


def _to_its_end(log: LogImport, verdict: VerdictRecord) -> bool:
    """Tell whether a verdict that proves nothing looked at a log to its end, at least."""
    return (
        verdict.overall in {CONFORMS, DOES_NOT_CONFORM}
        or verdict.end is None
        or log.end is None
        or verdict.end >= log.end
    )


def _of(
    snapshot: Snapshot, outlet: Outlet, kind: str, record_id: str, ended: datetime | None
) -> Unjudged:
    when = "a time that is not known"
    if ended is not None:
        day = shown(snapshot.day(ended, outlet.supply_id))
        when = f"{day}, {snapshot.zoned(ended, outlet.supply_id)}"
    todo = (
        f"The {kind} {record_id} of {when} was not judged. Have it judged first: 'lungwort certify "
        f'"{outlet.name}" {_OPTIONS[kind]} {record_id} --no-certificate\'.'
    )
    return Unjudged(kind, record_id, ended, when, todo)


def standing(
    snapshot: Snapshot, outlet_id: str, *, after: datetime | None = None
) -> tuple[Unjudged, ...]:
    """Find the evidence of an outlet that was not judged and stands against calling its air clean.

    What is older than the plan's interval would be stale, were it judged: it stands against
    nothing, unless it ended after a moment that is named.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    outlet_id : str
        The outlet.
    after : datetime, optional
        What ended after this moment, UTC, counts however old it is; None for no such moment.

    Returns
    -------
    tuple of Unjudged
        Newest first.

    Raises
    ------
    PlanError
        Where the site's rule set cannot be read.
    """
    found = unjudged(snapshot, outlet_id)
    outlet = by_id(snapshot.outlets, outlet_id)
    if not found or outlet is None:
        return ()
    months = interval_of(snapshot, outlet.supply_id).months
    today = snapshot.day(snapshot.now, outlet.supply_id)
    return tuple(
        one
        for one in found
        if one.ended is None
        or (after is not None and one.ended > after)
        or add_months(snapshot.day(one.ended, outlet.supply_id), months) >= today
    )


def said(outlet: Outlet, found: Sequence[Unjudged]) -> str:
    """Say in one sentence that there is evidence of an outlet that was not judged.

    Parameters
    ----------
    outlet : Outlet
        The outlet.
    found : sequence of Unjudged
        The evidence.

    Returns
    -------
    str
        The sentence; empty where there is none.
    """
    if not found:
        return ""
    times = list(dict.fromkeys(one.when for one in found))
    listed = " and of ".join(times[:_NAMED_AT_MOST])
    more = len(times) - _NAMED_AT_MOST
    others = f" and of {more} other times" if more > 1 else " and of another time"
    return (
        f"There is evidence of {listed}{others if more > 0 else ''} at {outlet.name} that was not "
        f"judged: 'lungwort certify \"{outlet.name}\"'."
    )
