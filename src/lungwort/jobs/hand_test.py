"""Tests by hand: begun, entered step by step, gone on with after a crash, finished, amended, voided.

A test under way lies in the workspace's folder ``open-tests`` and is written after each entry. What
is finished goes into the record in one change, and its file is taken away.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import attrs

from lungwort.errors import InputError, RegisterError
from lungwort.jobs import _hand_test_files as files
from lungwort.jobs import _hand_test_paper as papers
from lungwort.jobs import _hand_test_record as records
from lungwort.jobs._hand_test_stand import Stand, stand_of
from lungwort.jobs.catalogue.shape import Done, need_reason
from lungwort.jobs.held import STOP, Held, hold
from lungwort.jobs.opening import changer, changing, opened, site_zone
from lungwort.register.model import DONE, VOID, HandTest, Outlet, Person, Supply
from lungwort.spot import procedure_model as m
from lungwort.spot import runner
from lungwort.spot.procedures import DEFAULT, load_procedure

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.catalogue.shape import Session
    from lungwort.jobs.opening import Where
    from lungwort.register.records import Reader
    from lungwort.register.workspace import Workspace
    from lungwort.spot.run_model import Run

doubts_of = records.doubts_of
form = papers.form
__all__ = [
    "Stand",
    "abort",
    "amend",
    "amend_entry",
    "doubts_of",
    "enter",
    "finish",
    "form",
    "from_file",
    "left_s",
    "recorded",
    "refreshed",
    "stand",
    "start",
    "thing_lapses",
    "usual_procedure",
    "void",
]

_CHARGING: Final = "charging_compressor"
_CHARGING_DEFAULT: Final = "charging-outlet-test"


def start(
    at: Session, outlet: str, *, procedure: str | None = None, tester: str | None = None
) -> Stand:
    """Begin a test by hand.

    Parameters
    ----------
    at : Session
        Where, when and by whom: the person tests where no other is named.
    outlet : str
        Name or id of the outlet.
    procedure : str, optional
        Id or file of the procedure; the full outlet test where none is named, and the charging
        outlet test at a charging compressor.
    tester : str, optional
        Who tests, by name or id.

    Returns
    -------
    Stand
        At its first entry.

    Raises
    ------
    ProcedureError
        Where the procedure is not known or has mistakes.
    RegisterError
        Where the outlet is not on record or no longer in use.
    """
    with opened(at.where) as workspace, workspace.lock():
        register = workspace.register
        run, told = _begun(workspace, at, outlet, procedure, tester or at.by)
        told += [
            f"Another test is under way at this outlet: {one}."
            for one in files.ids(workspace)
            if files.load(workspace, one).context.outlet_id == run.context.outlet_id
        ]
        run = attrs.evolve(run, id=files.new_id(workspace))
        files.save(workspace, run)
        told += _person_lapses(register, run, at.now)
        return stand_of(run, at.now, tuple(told))


def _begun(
    workspace: Workspace, at: Session, outlet: str, procedure: str | None, tester: str | None
) -> tuple[Run, list[str]]:
    register = workspace.register
    who = changer(register, tester)
    place = register.get(Outlet, outlet)
    if not place.in_use:
        raise RegisterError(
            f"Outlet {place.name} is on record as retired. Take it back with 'lungwort outlet change "
            f"{place.name} --in-use --reason TEXT', or test another."
        )
    supply = register.get(Supply, place.supply_id)
    chosen = procedure or usual_procedure(supply)
    found = load_procedure(chosen, workspace.folder / files.PROCEDURES)
    known = files.context(
        workspace,
        register,
        place,
        register.get(Person, who.name),
        site_zone(workspace, place),
    )
    return runner.start(found, known, at.now), [who.remark] if who.remark else []


def usual_procedure(supply: Supply) -> str:
    """Give the id of the procedure that is followed at a supply where none is chosen."""
    return _CHARGING_DEFAULT if supply.kind == _CHARGING else DEFAULT


def stand(where: Where | Path | None, run_id: str | None, *, now: datetime) -> Stand:
    """Say where a test under way stands.

    Parameters
    ----------
    where : Where, Path or None
        The workspace.
    run_id : str, optional
        Its name; None for the only one.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    Stand
        At its next entry.
    """
    with opened(where, read_only=True) as workspace:
        run = files.load(workspace, files.only_one(workspace, run_id))
    return stand_of(run, now)


def enter(at: Session, run_id: str, name: str, given: str) -> Stand:
    """Enter something in a test under way, and keep it.

    Parameters
    ----------
    at : Session
        Where and when.
    run_id : str
        Name of the test.
    name : str
        Which entry; it must be the next one.
    given : str
        As typed.

    Returns
    -------
    Stand
        At the next entry, or at the same one where this was not accepted. A lapse, such as a
        calibration that ran out, is told and forbids nothing.

    Raises
    ------
    SpotError
        Where the entry cannot be understood; the test is then as it was.
    """
    with opened(at.where) as workspace, workspace.lock():
        run = refreshed(workspace, files.load(workspace, run_id))
        before = len(run.notes)
        after = runner.enter(run, name, given, at.now)
        files.save(workspace, after)
        newest = after.entries[-1]
        refused = newest.state == "refused"
        told = list(after.notes[before:])
        if refused:
            told.append(f"Not accepted: {newest.why}")
        else:
            told += [
                one.text
                for one in runner.consequences(after)
                if one.name == name and one.effect in {m.WARN, m.DOUBT}
            ]
            told += thing_lapses(workspace.register, after, name, at.now)
        return stand_of(after, at.now, tuple(told), refused=refused)


def refreshed(workspace: Workspace, run: Run) -> Run:
    """Let a test see what was put on record since it was begun.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    run : Run
        The test.

    Returns
    -------
    Run
        With what its entries can name now.
    """
    register = workspace.register
    outlet = register.get(Outlet, run.context.outlet_id)
    tester = register.get(Person, run.context.tester_id)
    known = files.context(workspace, register, outlet, tester, site_zone(workspace, outlet))
    return attrs.evolve(run, context=known)


def _person_lapses(register: Reader, run: Run, now: datetime) -> list[str]:
    from lungwort.plan.lapses import person_lapses  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    supply_id = register.get(Outlet, run.context.outlet_id).supply_id
    told = person_lapses(take(register, now), run.context.tester_id, now, supply_id=supply_id)
    return list(told)


def thing_lapses(register: Reader, run: Run, name: str, now: datetime) -> list[str]:
    """Tell what is not in order with the instrument or the lot that an entry names.

    Parameters
    ----------
    register : Reader
        The record.
    run : Run
        The test.
    name : str
        Which entry.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    list of str
        Sentences; empty for other entries.
    """
    from lungwort.plan.lapses import instrument_lapses, lot_lapses  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    ask = next(ask for _, ask in run.procedure.asks() if ask.name == name)
    entry = run.in_force(name)
    if entry is None or not entry.ref or ask.kind not in {m.INSTRUMENT, m.LOT}:
        return []
    supply_id = register.get(Outlet, run.context.outlet_id).supply_id
    snapshot = take(register, now)
    if ask.kind == m.INSTRUMENT:
        return list(instrument_lapses(snapshot, entry.ref, now, supply_id=supply_id))
    return list(lot_lapses(snapshot, entry.ref, now, needed=1, supply_id=supply_id))


def amend_entry(at: Session, run_id: str, name: str, given: str, reason: str | None) -> Stand:
    """Put something else in the place of an entry of a test under way; both stay.

    Parameters
    ----------
    at : Session
        Where and when.
    run_id : str
        Name of the test.
    name, given : str
        Which entry, and what it should have been.
    reason : str, optional
        Why.

    Returns
    -------
    Stand
        The test.

    Raises
    ------
    SpotError
        Where it cannot be amended so.
    InputError
        Where no reason is given.
    """
    why = need_reason(reason)
    with opened(at.where) as workspace, workspace.lock():
        run = refreshed(workspace, files.load(workspace, run_id))
        run = runner.amend(run, name, given, why, at.now)
        files.save(workspace, run)
        return stand_of(run, at.now)


def abort(at: Session, run_id: str | None, reason: str | None) -> Done:
    """Give up a test under way; that it was begun and why it ended goes into the record.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    run_id : str, optional
        Name of the test; None for the only one.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where no reason is given.
    """
    why = (reason or "").strip()
    if not why:
        raise InputError("Why is the test aborted? Give --reason TEXT.")
    with opened(at.where) as workspace, workspace.lock():
        name = files.only_one(workspace, run_id)
        run = runner.abort(refreshed(workspace, files.load(workspace, name)), why, at.now)
        return recorded(workspace, at, run, at.now)


def finish(at: Session, run_id: str | None) -> Done:
    """Record a test under way that is complete or void.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    run_id : str, optional
        Name of the test; None for the only one.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    SpotError
        Where something is still to be entered.
    """
    with opened(at.where) as workspace, workspace.lock():
        name = files.only_one(workspace, run_id)
        run = refreshed(workspace, files.load(workspace, name))
        return recorded(workspace, at, run, at.now)


def recorded(workspace: Workspace, at: Session, run: Run, ended: datetime) -> Done:
    """Put a test that has ended on record, once.

    Parameters
    ----------
    workspace : Workspace
        The open workspace, whose files are held.
    at : Session
        When and by whom.
    run : Run
        Complete, void or aborted.
    ended : datetime
        When it ended, UTC.

    Returns
    -------
    Done
        What was recorded, or what was on record already.
    """
    same = records.same_test(workspace.register, run)
    if run.id and (run.handled or run.photos):
        files.keep_handled(workspace, run)
    if same is not None:
        # A crash between recording and taking the file away, or a form that came twice.
        if run.id:
            files.remove(workspace, run.id)
        return Done(same, f"Test {same.id} is on record already; nothing was added.")
    sha256 = workspace.put_file(run.procedure.text.encode("utf-8"))
    who = changer(workspace.register, at.by or run.context.tester)
    with changing(workspace, who.name, now=at.now, clock_is_right=at.clock_is_right) as change:
        test = change.add(records.record_of(run, sha256, at.now, ended))
        records.use_lots(change, run, test)
        records.add_photos(change, run, test)
    if run.id:
        files.remove(workspace, run.id)
    place = workspace.register.get(Outlet, test.outlet_id)
    told = hold(workspace, place, [], [test], at.now) if test.state == DONE else Held()
    return _done(test, run.context.outlet, told)


def _done(test: HandTest, outlet: str, told: Held) -> Done:
    words = {DONE: "done", VOID: "void", "aborted": "aborted"}[test.state]
    said = f"Test {test.id} at outlet {outlet} is on record: {words}."
    remarks = [*test.note.splitlines(), *records.doubts_of(test)]
    if test.state == DONE:
        listed = "; ".join(one.text for one in test.readings)
        if told.is_outside:
            return Done(
                test,
                f"{said} ✕ OUTSIDE THE LIMITS of {told.limit_set}. It says: {listed}.",
                (*told.outside, STOP, *remarks),
                (f"lungwort certify {_quoted(outlet)} --withdraw (on record, with a finding)",),
                outside=True,
            )
        return Done(
            test,
            f"{said} It says: {listed or 'nothing of the air'}.",
            (*remarks, "It is no verdict yet: the air counts as not proven until it is judged."),
            (f"lungwort certify {_quoted(outlet)}",),
        )
    return Done(
        test,
        f"{said} {test.why} It says nothing of the air.",
        tuple(remarks),
        (f"lungwort test start {_quoted(outlet)}",),
    )


def _quoted(name: str) -> str:
    return f'"{name}"' if " " in name else name


def from_file(at: Session, path: Path) -> Done:
    """Record a test that was done on paper.

    Parameters
    ----------
    at : Session
        Where, when and by whom it is recorded; who tested stands in the form.
    path : pathlib.Path
        The form, as `form` writes it and filled in.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a line cannot be used; nothing is recorded then.
    """
    paper = papers.read_paper(path)
    with opened(at.where) as workspace, workspace.lock():
        zone = site_zone(workspace, workspace.register.get(Outlet, paper.outlet))
        begun = papers.moment_of(paper, zone, at.now)
        run, _ = _begun(workspace, at, paper.outlet, paper.procedure, paper.tester or at.by)
        run = attrs.evolve(run, started=begun)
        run, last = papers.followed(run, paper, zone, at.now)
        return recorded(workspace, at, run, last)


def amend(at: Session, test_id: str, name: str, given: str, reason: str | None) -> Done:
    """Amend an entry of a test on record; what it says of the air is worked out anew.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    test_id : str
        Id of the test.
    name, given : str
        Which entry, and what it should have been.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        The new version.

    Raises
    ------
    RegisterError
        Where the test was aborted or voided by hand.
    SpotError
        Where the entry cannot be amended so.
    """
    why = need_reason(reason)
    with opened(at.where) as workspace, workspace.lock():
        register = workspace.register
        old = register.get(HandTest, test_id)
        if old.state not in {DONE, VOID} or not old.answers:
            raise RegisterError(
                f"Test {old.id} was {old.state} and cannot be amended. Begin a new one."
            )
        outlet = register.get(Outlet, old.outlet_id)
        zone = site_zone(workspace, outlet)
        known = files.context(
            workspace, register, outlet, register.get(Person, old.tester_id), zone
        )
        run = records.run_of(old, workspace.read_file(old.procedure_sha256), known)
        if old.state == VOID and not runner.void_reasons(run):
            raise RegisterError(f"Test {old.id} was voided: {old.why} It stays void; test again.")
        run = runner.amend(run, name, given, why, at.now)
        new = records.record_of(run, old.procedure_sha256, at.now, old.ended)
        with changing(workspace, at.by, now=at.now, clock_is_right=at.clock_is_right) as change:
            made = change.replace(old, new, why)
            records.use_lots(change, run, made)
        told = hold(workspace, outlet, [], [made], at.now) if made.state == DONE else Held()
    done = _done(made, outlet.name, told)
    return attrs.evolve(
        done,
        remarks=(*done.remarks, "Verdicts that were drawn from it before stand as they were."),
        next_steps=done.next_steps,
    )


def void(at: Session, test_id: str, reason: str | None) -> Done:
    """Declare a test on record void: it stays, and says nothing of the air any more.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    test_id : str
        Id of the test.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        The new version.

    Raises
    ------
    RegisterError
        Where it is void already.
    """
    why = need_reason(reason)
    with opened(at.where) as workspace:
        old = workspace.register.get(HandTest, test_id)
        if old.state == VOID:
            raise RegisterError(f"Test {old.id} is void already: {old.why}")
        outlet = workspace.register.get(Outlet, old.outlet_id)
        with changing(workspace, at.by, now=at.now, clock_is_right=at.clock_is_right) as change:
            made = change.replace(old, attrs.evolve(old, state=VOID, why=why, readings=()), why)
    done = _done(made, outlet.name, Held())
    return attrs.evolve(
        done,
        remarks=(
            *done.remarks,
            "A certificate or a verdict that rests on it no longer holds up: judge the outlet again.",
        ),
    )


def left_s(at_stand: Stand, now: datetime) -> float:
    """Tell how long the wait of a test under way still lasts [s]; 0 where none is under way."""
    left = runner.wait_left(at_stand.run, now)
    return 0.0 if left is None else left.total_seconds()
