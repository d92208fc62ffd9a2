"""What the pages on tests by hand show: what can be begun, what is on record, what it says."""

from __future__ import annotations

from datetime import datetime  # noqa: TC003 - attrs reads it
from typing import TYPE_CHECKING

from attrs import frozen

from lungwort.jobs import _hand_test_files as files
from lungwort.jobs import _hand_test_record as records
from lungwort.jobs._hand_test_bundle import bundle, stand_plain
from lungwort.jobs._hand_test_stand import stand_of
from lungwort.jobs.catalogue.shape import View  # noqa: TC001 - attrs reads it
from lungwort.jobs.hand_test import refreshed, usual_procedure
from lungwort.jobs.hand_test_views import show
from lungwort.jobs.held import Held, hold
from lungwort.jobs.opening import opened, site_of
from lungwort.register.model import DONE, HandTest, Outlet, Person, Supply
from lungwort.spot.procedure_model import WAIT
from lungwort.spot.procedures import read_procedure
from lungwort.spot.run_model import DOUBT_MARK

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.jobs._hand_test_stand import Stand
    from lungwort.jobs.opening import Where
    from lungwort.spot.procedure_model import Procedure


__all__ = [
    "Beginning",
    "Ended",
    "Line",
    "Place",
    "Row",
    "beginning",
    "bundle",
    "ended",
    "reading_words",
    "rows",
    "stand_of_run",
    "stand_plain",
]


def reading_words(text: str) -> str:
    """Word what a test says of one analyte for a page.

    Parameters
    ----------
    text : str
        As it is on record, such as ``oil=indicator: nothing seen``.

    Returns
    -------
    str
        With the analyte's name.

    Examples
    --------
    >>> reading_words("co=< 1 ppm")
    'Carbon monoxide: < 1 ppm'
    """
    from lungwort.paper.text import analyte_name  # noqa: PLC0415 - keeps --help instant

    analyte, sign, said = text.partition("=")
    return f"{analyte_name(analyte.strip())}: {said.strip()}" if sign else text


@frozen(kw_only=True)
class Line:
    """An entry of a test on record, as a page shows it.

    Parameters
    ----------
    asked, given : str
        The question, and what was entered.
    time : datetime
        When, UTC.
    state : str
        ``taken``, ``refused``, ``amended`` or ``replaced``.
    """

    asked: str
    given: str
    time: datetime
    state: str


@frozen(kw_only=True)
class Ended:
    """A test on record as a page shows it.

    Parameters
    ----------
    test : HandTest
        The test.
    view : View
        All that was entered and what it says.
    outlet_id, outlet, supply, zone : str
        Where; the site's time zone.
    held : Held
        What the supply's limits say of it now; nothing of that is on record.
    steps : tuple of (str, str)
        Short names and headings of the procedure's steps.
    asks : tuple of (str, str)
        Short names and questions of the entries that can be amended.
    lines : tuple of Line
        All entries, in order.
    readings : tuple of (str, datetime)
        What it says of the air, in words, and when that was read.
    title : str
        What the procedure is called.
    """

    test: HandTest
    view: View
    outlet_id: str
    outlet: str
    supply: str
    zone: str
    held: Held
    steps: tuple[tuple[str, str], ...]
    asks: tuple[tuple[str, str], ...]
    lines: tuple[Line, ...]
    readings: tuple[tuple[str, datetime], ...]
    title: str


def ended(where: Where | Path | None, test_id: str, *, now: datetime) -> Ended:
    """Show a test on record with what the supply's limits say of it.

    Parameters
    ----------
    where : Where, Path or None
        The workspace.
    test_id : str
        Id of the test.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    Ended
        For a page.
    """
    view = show(where, test_id, now=now)
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        test = register.get(HandTest, test_id)
        outlet = register.get(Outlet, test.outlet_id)
        supply = register.get(Supply, outlet.supply_id)
        procedure_text = workspace.read_file(test.procedure_sha256)
        held = hold(workspace, outlet, [], [test], now) if test.state == DONE else Held()
        zone = site_of(register, outlet).zone
    found = read_procedure(
        procedure_text.decode("utf-8", errors="replace"), f"procedure of {test.id}", shipped=True
    )
    given = {one.name for one in test.answers}
    return Ended(
        test=test,
        view=view,
        outlet_id=outlet.id,
        outlet=outlet.name,
        supply=supply.title or supply.name,
        zone=zone,
        held=held,
        steps=tuple((one.id, one.title) for one in found.steps),
        asks=tuple(
            (ask.name, ask.ask) for _, ask in found.asks() if ask.name in given and ask.kind != WAIT
        ),
        lines=_lines(test, found),
        readings=tuple((reading_words(one.text), one.time) for one in test.readings),
        title=found.title,
    )


def _lines(test: HandTest, procedure: Procedure) -> tuple[Line, ...]:
    asked = {ask.name: ask.ask for _, ask in procedure.asks()}
    waits = {ask.name for _, ask in procedure.asks() if ask.kind == WAIT}
    answers = [one for one in test.answers if not one.name.endswith(DOUBT_MARK)]
    amended = {
        one.name.removesuffix(records.AMENDED_MARK)
        for one in answers
        if one.name.endswith(records.AMENDED_MARK)
    }
    found = []
    for one in answers:
        name, state = one.name, "taken"
        if name.endswith(records.REFUSED_MARK):
            name, state = name.removesuffix(records.REFUSED_MARK), "refused"
        elif name.endswith(records.AMENDED_MARK):
            name, state = name.removesuffix(records.AMENDED_MARK), "amended"
        elif name in amended and name not in waits:
            state = "replaced"
        found.append(Line(asked=asked.get(name, name), given=one.given, time=one.time, state=state))
    return tuple(found)


@frozen(kw_only=True)
class Place:
    """An outlet at which a test can be begun.

    Parameters
    ----------
    supply_id, supply, state : str
        Its supply, and the state of that.
    outlet_id, outlet, where : str
        The outlet, and where it is.
    procedure : str
        Id of the procedure that is followed where none is chosen.
    under_way : tuple of (str, str)
        Names of tests under way there, and who tests.
    """

    supply_id: str
    supply: str
    state: str
    outlet_id: str
    outlet: str
    where: str
    procedure: str
    under_way: tuple[tuple[str, str], ...] = ()


@frozen(kw_only=True)
class Beginning:
    """What a test can be begun with.

    Parameters
    ----------
    places : tuple of Place
        Outlets in use, in order of supply and name.
    people : tuple of (str, str)
        Ids and names of the people in use.
    """

    places: tuple[Place, ...]
    people: tuple[tuple[str, str], ...]


def beginning(where: Where | Path | None) -> Beginning:
    """List what a test can be begun with.

    Parameters
    ----------
    where : Where, Path or None
        The workspace.

    Returns
    -------
    Beginning
        Outlets and people.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        supplies = {one.id: one for one in register.all(Supply)}
        outlets = [one for one in register.all(Outlet) if one.in_use]
        people = [one for one in register.all(Person) if one.in_use]
        runs = [files.load(workspace, one) for one in files.ids(workspace)]
    places = [
        Place(
            supply_id=supply.id,
            supply=supply.title or supply.name,
            state="",
            outlet_id=outlet.id,
            outlet=outlet.name,
            where=outlet.place,
            procedure=usual_procedure(supply),
            under_way=tuple(
                (run.id, run.context.tester) for run in runs if run.context.outlet_id == outlet.id
            ),
        )
        for outlet in outlets
        if (supply := supplies[outlet.supply_id]).in_use
    ]
    return Beginning(
        places=tuple(
            sorted(places, key=lambda one: (one.supply.casefold(), one.outlet.casefold()))
        ),
        people=tuple(
            sorted(((one.id, one.name) for one in people), key=lambda one: one[1].casefold())
        ),
    )


@frozen(kw_only=True)
class Row:
    """A test in a list.

    Parameters
    ----------
    id, outlet_id, outlet, supply, procedure, state, tester, zone : str
        What it is.
    started : datetime
        When it was begun, UTC.
    says : str
        What it says of the air, in short; why it says nothing.
    """

    id: str
    outlet_id: str
    outlet: str
    supply: str
    procedure: str
    state: str
    tester: str
    zone: str
    started: datetime
    says: str


def rows(where: Where | Path | None) -> tuple[Row, ...]:
    """List the tests on record, the newest first.

    Parameters
    ----------
    where : Where, Path or None
        The workspace.

    Returns
    -------
    tuple of Row
        All of them.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        tests = sorted(register.all(HandTest), key=lambda one: (one.started, one.seq), reverse=True)
        outlets = {one.id: one for one in register.all(Outlet)}
        supplies = {one.id: one for one in register.all(Supply)}
        people = {one.id: one.name for one in register.all(Person)}
        zones = {one.id: site_of(register, one).zone for one in supplies.values()}
    found = []
    for one in tests:
        outlet = outlets.get(one.outlet_id)
        supply = None if outlet is None else supplies.get(outlet.supply_id)
        found.append(
            Row(
                id=one.id,
                outlet_id=one.outlet_id,
                outlet=one.outlet_id if outlet is None else outlet.name,
                supply="" if supply is None else supply.title or supply.name,
                procedure=one.procedure,
                state=one.state,
                tester=people.get(one.tester_id, one.tester_id),
                zone="UTC" if supply is None else zones[supply.id],
                started=one.started,
                says="; ".join(reading_words(two.text) for two in one.readings) or one.why,
            )
        )
    return tuple(found)


def stand_of_run(where: Where | Path | None, run_id: str, *, now: datetime) -> Stand:
    """Give a test under way with what was put on record since it was begun.

    Parameters
    ----------
    where : Where, Path or None
        The workspace.
    run_id : str
        Name of the test.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    Stand
        The test.
    """
    with opened(where, read_only=True) as workspace:
        run = refreshed(workspace, files.load(workspace, run_id))
    return stand_of(run, now)
