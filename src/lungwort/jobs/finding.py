"""Findings: what is wrong with a supply's air, its cause, its cure, and its closing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import InputError, RegisterError
from lungwort.jobs.numbers import finding_number
from lungwort.jobs.opening import opened, site_of, typed_time
from lungwort.register.model import (
    CAUSE,
    CLOSE,
    CURE,
    NOTE,
    Action,
    Finding,
    Outlet,
    Person,
    Supply,
    VerdictRecord,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.catalogue.shape import Session
    from lungwort.jobs.opening import Where
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.records import Change, Reader

KIND_WORDS: Final = {CAUSE: "cause", CURE: "cure", NOTE: "note", CLOSE: "closed"}
NOT_ABOUT_AIR: Final = "Not about the air."
"""How the note of a finding begins that was said at its opening not to be about the air."""
_LONGEST: Final = 2000


@frozen
class ActionShown:
    """An action on a finding, for a screen.

    Parameters
    ----------
    action : Action
        The record.
    by : str
        Who did it.
    when : str
        When, in the site's zone.
    """

    action: Action
    by: str
    when: str


@frozen
class FindingShown:
    """A finding, for a screen.

    Parameters
    ----------
    finding : Finding
        The record.
    supply, outlet : str
        Of which supply; at which outlet, empty for none.
    by : str
        Who opened it.
    when : str
        When it was opened, in the site's zone.
    is_open : bool
        Whether it is open.
    actions : tuple of ActionShown
        What was found out and done, oldest first.
    lacks : tuple of str
        What is still needed to close it.
    remarks : tuple of str
        What was taken for granted.
    retests : tuple of (str, str, str)
        Conforming verdicts after the cure: when they were drawn, at which outlet, and their ids.
    tested_again : bool
        Whether there is one for each outlet concerned; in doubt there is not.
    zone : str
        IANA time zone of the site.
    measured : tuple of (datetime, datetime), optional
        First and last reading of the verdict that found it, UTC; None where there is none.
    """

    finding: Finding
    supply: str
    outlet: str
    by: str
    when: str
    is_open: bool
    actions: tuple[ActionShown, ...]
    lacks: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    retests: tuple[tuple[str, str, str], ...] = ()
    tested_again: bool = False
    zone: str = "UTC"
    measured: tuple[datetime, datetime] | None = None

    def plain(self) -> dict[str, Any]:
        """Give it in JSON values."""
        from lungwort.register.convert import to_plain  # noqa: PLC0415 - keeps --help instant

        return {
            **to_plain(self.finding),
            "supply": self.supply,
            "outlet": self.outlet,
            "by": self.by,
            "open": self.is_open,
            "about_air": is_about_air(self.finding),
            "lacks": list(self.lacks),
            "actions": [{**to_plain(one.action), "by": one.by} for one in self.actions],
        }


def is_about_air(finding: Finding) -> bool:
    """Tell whether a finding is about the air, and not only about its keeping.

    In doubt it is: only what was said at its opening not to be about the air is not, and nothing
    that names an analyte or came from a verdict.
    """
    said = finding.note.startswith(NOT_ABOUT_AIR)
    return not said or bool(finding.analytes or finding.verdict_id)


def text_given(text: str | None, option: str) -> str:
    """Read a text that must say something.

    Parameters
    ----------
    text : str, optional
        As typed.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    str
        Without blanks around it.

    Raises
    ------
    InputError
        Where it is empty or too long.
    """
    said = (text or "").strip()
    if not said:
        raise InputError(f"{option} is empty. Give {option} TEXT.")
    if len(said) > _LONGEST:
        raise InputError(f"{option} has {len(said)} characters. Give at most {_LONGEST}.")
    return said


def list_findings(
    folder: Path | Where | None, *, supply: str | None = None, closed: bool = False, now: datetime
) -> tuple[FindingShown, ...]:
    """List the findings.

    Parameters
    ----------
    folder : Path or Where, optional
        The workspace.
    supply : str, optional
        Of which supply; None for all.
    closed : bool
        Whether to list closed ones too.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    tuple of FindingShown
        Oldest first.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    with opened(folder, read_only=True) as workspace:
        wanted = None if supply is None else workspace.register.get(Supply, supply).id
        snapshot = take(workspace.register, now)
    return findings_of(snapshot, supply_id=wanted, closed=closed)


def findings_of(
    snapshot: Snapshot, *, supply_id: str | None = None, closed: bool = False
) -> tuple[FindingShown, ...]:
    """List the findings of a snapshot; parameters as `list_findings`, by id."""
    shown = [
        _shown(snapshot, one)
        for one in sorted(snapshot.findings, key=lambda one: (one.opened_at, one.seq))
        if supply_id in {None, one.supply_id}
    ]
    return tuple(one for one in shown if one.is_open or closed)


def show_finding(folder: Path | Where | None, number: str, *, now: datetime) -> FindingShown:
    """Show one finding.

    Parameters
    ----------
    folder : Path or Where, optional
        The workspace.
    number : str
        Its number.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    FindingShown
        With its actions, and what is needed to close it.
    """
    with opened(folder, read_only=True) as workspace:
        return _look(workspace.register, workspace.register.get(Finding, number), now)


def open_finding(
    session: Session,
    supply: str,
    text: str,
    *,
    analytes: Sequence[str] = (),
    outlet: str | None = None,
    time: str | None = None,
    not_air: bool = False,
) -> FindingShown:
    """Open a finding that no verdict opened.

    Parameters
    ----------
    session : Session
        Where, when and by whom.
    supply : str
        Of which supply.
    text : str
        What is wrong.
    analytes : sequence of str
        Analytes concerned; none for all of the air, or where it is not about the air.
    outlet : str, optional
        At which outlet.
    time : str, optional
        When it was found, as typed; None for now.
    not_air : bool
        Whether it is not about the air, but about its keeping alone.

    Returns
    -------
    FindingShown
        The finding.

    Raises
    ------
    InputError
        Where an analyte is named, though it is not about the air.
    RegisterError
        Where the outlet is of another supply.
    """
    from lungwort.jobs.catalogue import typed  # noqa: PLC0415 - keeps --help instant

    said = text_given(text, "--text")
    keys = tuple(dict.fromkeys(typed.analyte(one, "--analyte") for one in analytes))
    if not_air and keys:
        raise InputError(
            f"--not-air and --analyte {keys[0]} contradict each other: an analyte is of the air. "
            "Give one of them."
        )
    with session.recording() as (_, change, remarks):
        of = change.get(Supply, supply)
        place = None if outlet is None else change.get(Outlet, outlet)
        if place is not None and place.supply_id != of.id:
            raise RegisterError(f"Outlet {place.name} is not an outlet of supply {of.name}.")
        zone = site_of(change, of).zone
        made = change.add(
            Finding(
                number=finding_number(change, zone),
                supply_id=of.id,
                outlet_id=None if place is None else place.id,
                opened_at=typed_time(time, zone, "--time", now=session.now),
                text=said,
                analytes=keys,
                by_id=change.who.id,
                note=NOT_ABOUT_AIR if not_air else "",
            )
        )
        return _look(change, made, session.now, remarks)


def add_action(
    session: Session,
    number: str,
    kind: str,
    text: str,
    *,
    time: str | None = None,
) -> FindingShown:
    """Enter the cause of a finding, its cure, or a note.

    Parameters
    ----------
    session : Session
        Where, when and by whom.
    number : str
        The finding's number.
    kind : str
        ``cause``, ``cure`` or ``note``.
    text : str
        What was found out or done.
    time : str, optional
        When, as typed; None for now.

    Returns
    -------
    FindingShown
        The finding.

    Raises
    ------
    InputError
        Where the kind is none of these.
    RegisterError
        Where the finding is closed and something other than a note was given.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import finding_open  # noqa: PLC0415 - keeps --help instant

    if kind not in {CAUSE, CURE, NOTE}:
        raise InputError(f"{kind!r} is no such action. Give {CAUSE}, {CURE} or {NOTE}.")
    said = text_given(text, "--text")
    with session.recording() as (_, change, remarks):
        finding = change.get(Finding, number)
        supply = change.get(Supply, finding.supply_id)
        if kind != NOTE and not finding_open(take(change, session.now), finding.id):
            raise RegisterError(
                f"Finding {finding.number} is closed. Enter a note, or open a new finding."
            )
        change.add(
            Action(
                finding_id=finding.id,
                kind=kind,
                time=typed_time(time, site_of(change, supply).zone, "--time", now=session.now),
                text=said,
                by_id=change.who.id,
            )
        )
        return _look(change, finding, session.now, remarks)


def close_finding(
    session: Session,
    number: str,
    text: str,
    *,
    not_air: bool = False,
) -> FindingShown:
    """Close a finding.

    Parameters
    ----------
    session : Session
        Where, when and by whom.
    number : str
        Its number.
    text : str
        Why it can be closed.
    not_air : bool
        Whether to close without a retest what was said at its opening not to be about the air.

    Returns
    -------
    FindingShown
        The finding.

    Raises
    ------
    RegisterError
        Where it is closed already, or something is still needed: a cause, a cure, and a
        conforming retest whose evidence was taken after the cure.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import finding_open  # noqa: PLC0415 - keeps --help instant

    said = text_given(text, "--because")
    with session.recording() as (_, change, remarks):
        finding = change.get(Finding, number)
        snapshot = take(change, session.now)
        if not finding_open(snapshot, finding.id):
            raise RegisterError(f"Finding {finding.number} is closed already.")
        if not_air:
            if is_about_air(finding):
                raise RegisterError(
                    f"Finding {finding.number} is about the air: {_why_air(finding)}. It is closed "
                    "by a conforming retest after the cure alone. Leave out --not-air."
                )
            close(change, finding, said, None)
        else:
            needed = lacking(snapshot, finding)
            if needed:
                hint = "" if is_about_air(finding) else " It is not about the air: give --not-air."
                raise RegisterError(
                    f"Finding {finding.number} cannot be closed: {' '.join(needed)}{hint}"
                )
            newest = max(retests(snapshot, finding), key=lambda one: (one.judged_at, one.seq))
            close(change, finding, said, newest)
        return _look(change, finding, session.now, remarks)


def _why_air(finding: Finding) -> str:
    if finding.analytes:
        return f"it names {', '.join(finding.analytes)}"
    if finding.verdict_id:
        return "it names a verdict"
    return "it was not opened with --not-air"


def close(change: Change, finding: Finding, text: str, verdict: VerdictRecord | None) -> Action:
    """Record the closing of a finding, within a change that has made sure that it may be closed.

    Parameters
    ----------
    change : Change
        The change.
    finding : Finding
        The finding.
    text : str
        Why.
    verdict : VerdictRecord, optional
        The retest; None for what is not about the air.

    Returns
    -------
    Action
        The closing.
    """
    return change.add(
        Action(
            finding_id=finding.id,
            kind=CLOSE,
            time=change.now,
            text=text,
            verdict_id=None if verdict is None else verdict.id,
            by_id=change.who.id,
        )
    )


def retests(snapshot: Snapshot, finding: Finding) -> tuple[VerdictRecord, ...]:
    """Find the conforming retests of a finding after its cure.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    finding : Finding
        The finding.

    Returns
    -------
    tuple of VerdictRecord
        One an outlet concerned: its own, or each outlet in use where it names none. Outlets
        without such a retest are left out.
    """
    from lungwort.jobs.judging import limits_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import by_id  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import retest, retest_after  # noqa: PLC0415 - keeps --help instant

    supply = by_id(snapshot.supplies, finding.supply_id)
    if supply is None:
        return ()
    limits = limits_of(snapshot, supply)
    found = (
        retest(snapshot, one.id, limits, retest_after(snapshot, one.id, (finding,)))
        for one in _outlets(snapshot, finding)
    )
    return tuple(one for one in found if one is not None)


def _outlets(snapshot: Snapshot, finding: Finding) -> tuple[Outlet, ...]:
    if finding.outlet_id is None:
        return snapshot.outlets_of(finding.supply_id)
    return tuple(one for one in snapshot.outlets if one.id == finding.outlet_id)


def lacking(snapshot: Snapshot, finding: Finding) -> tuple[str, ...]:
    """Tell what is still needed to close a finding.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    finding : Finding
        The finding.

    Returns
    -------
    tuple of str
        Sentences that say what to do; empty where it may be closed.
    """
    from lungwort.plan.state import newest_action  # noqa: PLC0415 - keeps --help instant

    told = []
    if newest_action(snapshot, finding.id, CAUSE) is None:
        told.append(
            f"No cause is on record: 'lungwort finding cause {finding.number} --text TEXT'."
        )
    cure = newest_action(snapshot, finding.id, CURE)
    if cure is None:
        told.append(f"No cure is on record: 'lungwort finding cure {finding.number} --text TEXT'.")
        told.append("Then test again and have it judged.")
        return tuple(told)
    tested = {one.outlet_id for one in retests(snapshot, finding)}
    outlets = _outlets(snapshot, finding)
    told.extend(
        f"Outlet {one.name} has no conforming verdict whose evidence was all taken after the "
        f"finding and its cure: test it again, then 'lungwort certify \"{one.name}\"'."
        for one in outlets
        if one.id not in tested
    )
    if not outlets:
        told.append("The supply has no outlet in use that could be tested again. Add one.")
    return tuple(told)


def _look(
    reader: Reader, finding: Finding, now: datetime, remarks: Sequence[str] = ()
) -> FindingShown:
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    return _shown(take(reader, now), finding, remarks)


def _measured(snapshot: Snapshot, finding: Finding) -> tuple[datetime, datetime] | None:
    found = next((one for one in snapshot.verdicts if one.id == finding.verdict_id), None)
    if found is None or found.start is None or found.end is None:
        return None
    return found.start, found.end


def _shown(snapshot: Snapshot, finding: Finding, remarks: Sequence[str] = ()) -> FindingShown:
    from lungwort.errors import LungwortError  # noqa: PLC0415 - beside its use
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import finding_open  # noqa: PLC0415 - keeps --help instant

    clock = Clock.for_period(snapshot.zone(finding.supply_id).key, None, None)
    is_open = finding_open(snapshot, finding.id)
    try:
        lacks = lacking(snapshot, finding) if is_open else ()
    except LungwortError as error:
        # A limit set that cannot be read must not hide the finding.
        lacks = (str(error),)
    tested = _retests_after_cure(snapshot, finding)
    return FindingShown(
        finding=finding,
        zone=snapshot.zone(finding.supply_id).key,
        measured=_measured(snapshot, finding),
        supply=_name(snapshot.supplies, finding.supply_id),
        outlet=_name(snapshot.outlets, finding.outlet_id),
        by=_name(snapshot.persons, finding.by_id),
        when=clock.time(finding.opened_at),
        is_open=is_open,
        actions=tuple(
            ActionShown(one, _name(snapshot.persons, one.by_id), clock.time(one.time))
            for one in sorted(snapshot.actions, key=lambda one: (one.time, one.seq))
            if one.finding_id == finding.id
        ),
        lacks=lacks,
        remarks=tuple(remarks),
        retests=tuple(
            (clock.time(one.judged_at), _name(snapshot.outlets, one.outlet_id), one.id)
            for one in tested
        ),
        tested_again=bool(tested)
        and (
            not is_open
            or {one.outlet_id for one in tested} == {one.id for one in _outlets(snapshot, finding)}
        ),
    )


def _retests_after_cure(snapshot: Snapshot, finding: Finding) -> tuple[VerdictRecord, ...]:
    from lungwort.errors import LungwortError  # noqa: PLC0415 - beside its use
    from lungwort.plan.snapshot import by_id  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import finding_open, newest_action  # noqa: PLC0415 - keeps --help instant

    if not finding_open(snapshot, finding.id):
        # What it was closed on, and no verdict that came later.
        end = newest_action(snapshot, finding.id, CLOSE)
        known = None if end is None or not end.verdict_id else end.verdict_id
        verdict = None if known is None else by_id(snapshot.verdicts, known)
        return () if verdict is None else (verdict,)
    if newest_action(snapshot, finding.id, CURE) is None:
        return ()
    try:
        return retests(snapshot, finding)
    except LungwortError:
        return ()


def _name(records: Sequence[Supply | Outlet | Person], thing_id: str | None) -> str:
    return next((one.name for one in records if one.id == thing_id), thing_id or "")
