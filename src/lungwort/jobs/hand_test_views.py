"""Tests by hand and procedures, listed and shown."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs

from lungwort.jobs import _hand_test_files as files
from lungwort.jobs import _hand_test_record as records
from lungwort.jobs._hand_test_stand import stand_of
from lungwort.jobs.catalogue.shape import Listing, Section, View, clock, plain
from lungwort.jobs.opening import common_zone, opened, site_of
from lungwort.register.model import HandTest, Outlet, Person
from lungwort.spot.procedures import load_procedure, own_files, procedure_ids
from lungwort.spot.run_model import DOUBT_MARK

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from lungwort.jobs._hand_test_stand import Stand
    from lungwort.jobs.opening import Where
    from lungwort.spot.procedure_model import Ask, Procedure


def open_tests(where: Where | Path | None, *, now: datetime) -> tuple[Stand, ...]:
    """List the tests under way.

    Parameters
    ----------
    where : Where, Path or None
        The workspace.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    tuple of Stand
        In order of their names.
    """
    with opened(where, read_only=True) as workspace:
        runs = [files.load(workspace, one) for one in files.ids(workspace)]
    return tuple(stand_of(run, now) for run in runs)


def listed(where: Where | Path | None, *, now: datetime, outlet: str | None = None) -> Listing:
    """List the tests on record and those under way, the newest first.

    Parameters
    ----------
    where : Where, Path or None
        The workspace.
    now : datetime
        The time, with a time zone.
    outlet : str, optional
        Of which outlet; None for all.

    Returns
    -------
    Listing
        The list.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        wanted_id = None if outlet is None else register.get(Outlet, outlet).id
        tests = [one for one in register.all(HandTest) if wanted_id in {None, one.outlet_id}]
        tests.sort(key=lambda one: (one.started, one.seq), reverse=True)
        runs = [files.load(workspace, one) for one in files.ids(workspace)]
        names = {one.id: one.name for one in register.all(Outlet)}
        people = {one.id: one.name for one in register.all(Person)}
        when = clock(common_zone(register), [one.started for one in tests])
    under_way = [stand_of(run, now) for run in runs if wanted_id in {None, run.context.outlet_id}]
    rows = [
        (
            when.time(one.run.started),
            one.run.context.outlet,
            one.run.procedure.id,
            "under way",
            one.run.context.tester,
            one.id,
        )
        for one in under_way
    ]
    rows += [
        (
            when.time(one.started),
            names.get(one.outlet_id, one.outlet_id),
            one.procedure,
            one.state,
            people.get(one.tester_id, one.tester_id),
            one.id,
        )
        for one in tests
    ]
    heads = (f"begun ({when.zone_name})", "outlet", "procedure", "state", "by", "id")
    empty = "No test by hand is on record. Begin one with 'lungwort test start OUTLET'."
    return Listing(
        Section("Tests by hand", heads, tuple(rows), empty),
        ("Go on with one under way by 'lungwort test resume ID'.",) if under_way else (),
        {
            "under_way": [one.plain() for one in under_way],
            "tests": [_plain(one, names, people) for one in tests],
        },
    )


def _plain(test: HandTest, names: dict[str, str], people: dict[str, str]) -> dict[str, Any]:
    return plain(
        test,
        outlet=names.get(test.outlet_id, ""),
        tester=people.get(test.tester_id, ""),
        doubts=list(records.doubts_of(test)),
    )


def show(where: Where | Path | None, test_id: str, *, now: datetime) -> View:
    """Show a test on record, or one under way.

    Parameters
    ----------
    where : Where, Path or None
        The workspace.
    test_id : str
        Its id, or the name of one under way.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    View
        All that was entered and what it says.
    """
    from lungwort.plan.lapses import hand_test_lapses  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    with opened(where, read_only=True) as workspace:
        register = workspace.register
        if test_id in files.ids(workspace):
            return _open_view(stand_of(files.load(workspace, test_id), now))
        test = register.get(HandTest, test_id)
        outlet = register.get(Outlet, test.outlet_id)
        people = {one.id: one.name for one in register.all(Person)}
        when = clock(site_of(register, outlet).zone, [test.started, test.ended])
        lapses = hand_test_lapses(take(register, now), test)
    facts = [
        ("Outlet", outlet.name),
        ("Procedure", test.procedure),
        ("State", test.state + (f": {test.why}" if test.why else "")),
        ("Begun", f"{when.time(test.started)} ({when.zone_name})"),
        ("Ended", when.time(test.ended)),
        ("Tested by", people.get(test.tester_id, test.tester_id)),
        ("Odour judged by", people.get(test.second_person_id or "", "nobody else")),
        ("Version", f"{test.version}" + (f": {test.reason}" if test.reason else "")),
        ("Id", test.id),
    ]
    sections = (
        Section(
            "What it says of the air",
            ("reading", "read at"),
            tuple((one.text, when.time(one.time)) for one in test.readings),
            "Nothing.",
        ),
        Section(
            "Entries",
            ("entry", "given", "at"),
            tuple(
                (one.name, one.given, when.time(one.time))
                for one in test.answers
                if not one.name.endswith(DOUBT_MARK)
            ),
        ),
    )
    remarks = (*test.note.splitlines(), *records.doubts_of(test), *lapses)
    shown = _plain(test, {outlet.id: outlet.name}, people)
    shown["lapses"] = list(lapses)
    return View(
        f"Test by hand {test.id}", tuple(facts), sections, tuple(dict.fromkeys(remarks)), shown
    )


def _open_view(one: Stand) -> View:
    when = clock(one.run.context.zone, [one.run.started])
    facts = [
        ("Outlet", one.run.context.outlet),
        ("Procedure", one.run.procedure.id),
        ("State", "under way"),
        ("Begun", f"{when.time(one.run.started)} ({when.zone_name})"),
        ("Tested by", one.run.context.tester),
        ("Next", "all is entered: finish it" if one.ask is None else one.ask.ask),
    ]
    rows = tuple(
        (
            entry.name,
            entry.given if not entry.why else f"{entry.given} ({entry.state}: {entry.why})",
            when.time(entry.time),
        )
        for entry in one.run.entries
    )
    return View(
        f"Test under way {one.id}",
        tuple(facts),
        (Section("Entries", ("entry", "given", "at"), rows),),
        (*one.void, *one.run.notes),
        one.plain(),
    )


def procedures(folder: Path | None) -> tuple[Procedure, ...]:
    """List the procedures that come with lungwort and the user's own.

    Parameters
    ----------
    folder : pathlib.Path, optional
        Folder of the workspace; None where there is none.

    Returns
    -------
    tuple of Procedure
        The shipped ones first.

    Raises
    ------
    ProcedureError
        Where one of the user's own has mistakes.
    """
    own = None if folder is None else folder / files.PROCEDURES
    names: Iterable[str] = (*procedure_ids(), *(file.stem for file in own_files(own)))
    return tuple(load_procedure(name, own) for name in names)


def procedure(folder: Path | None, name: str) -> Procedure:
    """Load one procedure by id or file; ``folder`` as `procedures`."""
    return load_procedure(name, None if folder is None else folder / files.PROCEDURES)


def workspace_folder(where: Where) -> Path | None:
    """Find the folder of the workspace for listing procedures; None where there is none."""
    from lungwort.errors import WorkspaceError  # noqa: PLC0415 - only here
    from lungwort.register.workspace import find_workspace  # noqa: PLC0415 - keeps --help instant

    if where.workspace is not None:
        return where.workspace
    try:
        return find_workspace(where.start or Path.cwd())
    except WorkspaceError:
        return None


def procedure_view(found: Procedure) -> View:
    """Show a procedure step by step, with the standing of its times and ranges.

    Parameters
    ----------
    found : Procedure
        The procedure.

    Returns
    -------
    View
        For a screen, and as JSON values.
    """
    sections = []
    for step in found.steps:
        rows = tuple(
            (ask.name, ask.ask, _rule(ask), ask.standing if _rule(ask) else "") for ask in step.asks
        )
        below = (step.text, *((step.source,) if step.source else ()))
        sections.append(
            Section(step.title, ("entry", "asked", "rule", "standing"), rows, below=below)
        )
    facts = (("Id", found.id), ("About", found.about), ("Origin", found.origin))
    return View(
        found.title,
        facts,
        tuple(sections),
        (*found.cautions, *found.remarks),
        attrs.asdict(found, filter=lambda field, _: field.name != "text"),
    )


def _rule(ask: Ask) -> str:
    parts = []
    if ask.minutes is not None:
        source = ", or what the device asks for" if ask.device_time else ""
        parts.append(f"at least {ask.minutes:g} min{source}, else {ask.short}")
    if ask.low is not None:
        parts.append(f"below {ask.low:g} {ask.unit}: {ask.below}")
    if ask.high is not None:
        parts.append(f"above {ask.high:g} {ask.unit}: {ask.above}")
    parts += [f"{one.word}: {one.effect}" for one in ask.choices if one.effect]
    if ask.against:
        parts.append("what the wearers' equipment needs: doubt")
    if ask.optional:
        parts.append("may be left out")
    parts += [f"where {one.name} = {one.word}" for one in ask.when]
    return "; ".join(parts)


def procedure_listing(found: Iterable[Procedure]) -> Listing:
    """List procedures.

    Parameters
    ----------
    found : iterable of Procedure
        The procedures.

    Returns
    -------
    Listing
        The list.
    """
    listed_ones = tuple(found)
    rows = tuple((one.id, one.title, one.origin, one.about) for one in listed_ones)
    return Listing(
        Section("Procedures", ("id", "title", "origin", "about"), rows),
        ("Your own lie in the folder 'procedures' of the workspace, one file each.",),
        {
            "procedures": [
                {
                    "id": one.id,
                    "title": one.title,
                    "origin": one.origin,
                    "about": one.about,
                    "entries": len(one.asks()),
                }
                for one in listed_ones
            ]
        },
    )
