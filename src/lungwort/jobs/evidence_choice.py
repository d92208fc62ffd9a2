"""Which evidence of an outlet a verdict is drawn from, where the user does not say it all."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import InputError, RegisterError
from lungwort.jobs.finding import is_about_air
from lungwort.jobs.judging import gives_nothing
from lungwort.register.model import DONE, WITHDRAWN, HandTest, LogImport

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import datetime

    from lungwort.paper.text import Clock
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Outlet, Record

NEAR: Final = timedelta(days=7)
"""How far apart a test by hand and the end of a log may lie to be judged together where the user
does not choose: common practice, no source."""

_RULE_NEWEST: Final = (
    "Chosen by rule: the newest evidence of the outlet, and what ends within 7 days of it (common "
    "practice, no source)."
)
_RULE: Final = (
    "Chosen by rule: the newest test by hand of the outlet, and the logs that end within 7 days of "
    "it (common practice, no source)."
)


@frozen
class Wanted:
    """What the user said of the evidence.

    Parameters
    ----------
    tests, logs : tuple of str
        Ids of tests by hand and of log imports; empty to choose by rule.
    no_tests, no_logs : bool
        Whether to leave all of them out.
    begin, end : datetime, optional
        Period to judge, UTC.
    newest : bool
        Whether the newest evidence of either kind is meant, as for judging a log that came in;
        else the newest test by hand is, as for a certificate.
    """

    tests: tuple[str, ...] = ()
    logs: tuple[str, ...] = ()
    no_tests: bool = False
    no_logs: bool = False
    begin: datetime | None = None
    end: datetime | None = None
    newest: bool = False


@frozen
class Chosen:
    """Evidence to judge.

    Parameters
    ----------
    tests : tuple of HandTest
        Tests by hand.
    imports : tuple of LogImport
        Logs.
    begin, end : datetime, optional
        Period to judge, UTC; None for all of the logs.
    reasons : tuple of str
        What stands beside the verdict's reasons: tests that give nothing.
    notes : tuple of str
        How it was chosen, and what was left out.
    newer : tuple of str
        Evidence of the outlet that is newer and was left out. No certificate is issued past it.
    narrowed : bool
        Whether the user narrowed the period. No certificate is issued past readings outside the
        limits that were left out so.
    """

    tests: tuple[HandTest, ...]
    imports: tuple[LogImport, ...]
    begin: datetime | None = None
    end: datetime | None = None
    reasons: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    newer: tuple[str, ...] = ()
    narrowed: bool = False


def choose(snapshot: Snapshot, outlet: Outlet, wanted: Wanted) -> Chosen:
    """Choose the evidence of an outlet.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    outlet : Outlet
        Where the air was taken.
    wanted : Wanted
        What the user said.

    Returns
    -------
    Chosen
        The evidence. Without a word of the user: the newest test by hand that was done, and the
        logs that end within 7 days of it; or the newest evidence and what ends within 7 days of
        it. After a finding or a withdrawal logs count from then on.

    Raises
    ------
    InputError
        Where what the user said contradicts itself.
    RegisterError
        Where there is nothing to judge, or what was named is not evidence of this outlet.
    """
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.unjudged import standing  # noqa: PLC0415 - keeps --help instant

    for name, ids, none in (
        ("test", wanted.tests, wanted.no_tests),
        ("log", wanted.logs, wanted.no_logs),
    ):
        if ids and none:
            raise InputError(f"--{name} and --no-{name} contradict each other. Give one of them.")
    clock = Clock.for_period(snapshot.zone(outlet.supply_id).key, None, None)
    all_tests = sorted(
        (one for one in snapshot.hand_tests if one.outlet_id == outlet.id),
        key=lambda one: (one.ended, one.seq),
    )
    all_logs = sorted(
        (one for one in snapshot.log_imports if one.outlet_id == outlet.id),
        key=lambda one: (one.end or one.start or snapshot.now, one.seq),
    )
    tests = _tests(all_tests, all_logs, wanted, outlet)
    after = _after(snapshot, outlet)
    imports = _logs(all_logs, tests, wanted, outlet, after)
    if not tests and not imports:
        raise RegisterError(_nothing(outlet, bool(all_tests or all_logs)))
    begin, shifted = _begin(imports, wanted, after)
    notes = [] if _said(wanted) else [_RULE_NEWEST if wanted.newest else _RULE]
    if shifted and begin is not None:
        notes.append(
            f"The logs are judged from {clock.time(begin)} on: what lies before the last finding, "
            "cure or withdrawal says nothing of the air after it."
        )
    notes += _ages(snapshot, tests, imports, after, clock, outlet.supply_id)
    not_judged = {one.id for one in standing(snapshot, outlet.id)}
    left_out, newer = _left_out(all_tests, all_logs, tests, imports, clock, not_judged)
    done = [one.ended for one in tests if one.state == DONE]
    nothing = [
        gives_nothing(snapshot, one)
        for one in all_tests
        if one.state != DONE and one not in tests and (not done or one.ended > max(done))
    ]
    return Chosen(
        tests=tests,
        imports=imports,
        begin=begin,
        end=wanted.end,
        reasons=tuple(nothing if not wanted.no_tests else []),
        notes=(*notes, *left_out),
        newer=newer,
        narrowed=wanted.begin is not None or wanted.end is not None,
    )


def _said(wanted: Wanted) -> bool:
    return bool(wanted.tests or wanted.logs or wanted.begin or wanted.end)


def _named(known: Sequence[Record], ids: Sequence[str], outlet: Outlet, what: str) -> list[Record]:
    by_id = {one.id: one for one in known}
    found = []
    for name in dict.fromkeys(ids):
        if name not in by_id:
            listed = ", ".join(list(by_id)[-5:]) or "none"
            raise RegisterError(
                f"There is no {what} {name!r} of outlet {outlet.name} in force. On record there, "
                f"newest last: {listed}."
            )
        found.append(by_id[name])
    return found


def _tests(
    known: Sequence[HandTest], logs: Sequence[LogImport], wanted: Wanted, outlet: Outlet
) -> tuple[HandTest, ...]:
    if wanted.no_tests:
        return ()
    if wanted.tests:
        named = _named(known, wanted.tests, outlet, "test by hand")
        return tuple(one for one in named if isinstance(one, HandTest))
    done = [
        one
        for one in known
        if one.state == DONE
        and (wanted.begin is None or one.started >= wanted.begin)
        and (wanted.end is None or one.ended <= wanted.end)
    ]
    if wanted.begin is not None or wanted.end is not None:
        return tuple(done)
    ends = [one.end for one in logs if one.end is not None]
    if wanted.newest and not wanted.no_logs and ends:
        done = [one for one in done if one.ended >= max(ends) - NEAR]
    return tuple(done[-1:])


def _logs(
    known: Sequence[LogImport],
    tests: Sequence[HandTest],
    wanted: Wanted,
    outlet: Outlet,
    after: datetime | None,
) -> tuple[LogImport, ...]:
    if wanted.no_logs:
        return ()
    if wanted.logs:
        named = _named(known, wanted.logs, outlet, "log import")
        return tuple(one for one in named if isinstance(one, LogImport))
    timed = [(one, one.start, one.end) for one in known]
    if wanted.begin is not None or wanted.end is not None:
        return tuple(
            one
            for one, start, end in timed
            if start is not None
            and end is not None
            and (wanted.begin is None or end >= wanted.begin)
            and (wanted.end is None or start <= wanted.end)
        )
    ends = [one.ended for one in tests] or [end for _, _, end in timed if end is not None]
    if not ends:
        return ()
    newest = max(ends)
    near = [(one, end) for one, _, end in timed if end is not None and abs(end - newest) <= NEAR]
    since = tuple(one for one, end in near if after is None or end > after)
    if since or (after is not None and any(one.started > after for one in tests)):
        return since
    # Where nothing is a retest yet, what there is is judged as it is, and told.
    return tuple(one for one, _ in near)


def _after(snapshot: Snapshot, outlet: Outlet) -> datetime | None:
    """Find the moment since which evidence says what the air is now; None for any.

    It is the newest cure of a finding on the outlet's air, the opening of one that has no cure, or
    the newest withdrawal: closed findings count too, for the air before the cure was another.
    """
    from lungwort.plan.state import retest_after  # noqa: PLC0415 - keeps --help instant

    findings = [
        one for one in snapshot.findings if one.supply_id == outlet.supply_id and is_about_air(one)
    ]
    moments = [retest_after(snapshot, outlet.id, findings)]
    moments += [
        one.time
        for one in snapshot.states
        if one.supply_id == outlet.supply_id and one.state == WITHDRAWN
    ]
    return max((one for one in moments if one is not None), default=None)


def _begin(
    imports: Sequence[LogImport], wanted: Wanted, after: datetime | None
) -> tuple[datetime | None, bool]:
    """Give the begin of the period, and whether it was put there because of what happened."""
    if wanted.begin is not None or after is None:
        return wanted.begin, False
    reach = [one for one in imports if one.start is not None and one.end is not None]
    if not any(one.start <= after < one.end for one in reach if one.start and one.end):
        return None, False
    # A whole second on, so that the evidence lies after the moment and not on it.
    return after.replace(microsecond=0) + timedelta(seconds=1), True


def _ages(
    snapshot: Snapshot,
    tests: Sequence[HandTest],
    imports: Sequence[LogImport],
    after: datetime | None,
    clock: Clock,
    supply_id: str,
) -> list[str]:
    """Tell evidence that is old, or older than what happened to the supply."""
    from lungwort.plan.evidence import newest_event  # noqa: PLC0415 - keeps --help instant

    event = newest_event(snapshot, supply_id)
    told = []
    times = [(f"The test by hand {one.id}", one.started) for one in tests if one.state == DONE]
    times += [(f"The log {one.id}", one.end) for one in imports if one.end is not None]
    for what, time in times:
        if event is not None and time < event[0]:
            told.append(
                f"{what} of {clock.time(time)} is older than this: {event[1]} ({clock.time(event[0])}). It says nothing "
                "of the air since."
            )
        if after is not None and time <= after:
            told.append(
                f"{what} of {clock.time(time)} is from before the last finding, cure or withdrawal "
                f"({clock.time(after)}). It is no retest."
            )
    newest = max((time for _, time in times), default=None)
    if newest is not None and snapshot.now - newest > NEAR:
        told.append(f"The newest of it is {(snapshot.now - newest).days} days old.")
    return told


def _left_out(
    all_tests: Sequence[HandTest],
    all_logs: Sequence[LogImport],
    tests: Sequence[HandTest],
    imports: Sequence[LogImport],
    clock: Clock,
    not_judged: Collection[str],
) -> tuple[list[str], tuple[str, ...]]:
    """Tell what was left out and is near or was never judged, and what of it is newer."""
    used = [one.ended for one in tests] + [one.end for one in imports if one.end is not None]
    others = [
        (f"test by hand {one.id} of {clock.time(one.ended)}", one.ended, one.id)
        for one in all_tests
        if one.state == DONE and one not in tests
    ]
    others += [
        (f"log {one.id} of {clock.span(one.start, one.end)}", one.end, one.id)
        for one in all_logs
        if one.end is not None and one not in imports
    ]
    if not used:
        return [], tuple(what for what, _, _ in others)
    first, last = min(used) - NEAR, max(used)
    newer = tuple(what for what, time, _ in others if time > last)
    told = [f"Left out: {what}." for what, time, _ in others if first <= time <= last]
    told += [
        f"Left out, and not judged: {what}."
        for what, time, record_id in others
        if time < first and record_id in not_judged
    ]
    return [*told, *(f"Left out, though newer: {what}." for what in newer)], newer


def _nothing(outlet: Outlet, any_known: bool) -> str:  # noqa: FBT001 - one of two messages
    if any_known:
        return (
            f"Nothing of what is on record at outlet {outlet.name} was chosen. Give another period "
            "with --from and --to, or name evidence with --test ID and --log ID."
        )
    return (
        f"There is nothing to judge at outlet {outlet.name} yet. Do a test by hand "
        f"('lungwort test start \"{outlet.name}\"'), or import a log "
        f"('lungwort import FILE --outlet \"{outlet.name}\"')."
    )
