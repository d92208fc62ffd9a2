"""Tests by hand that are under way: where they lie, and what their entries can name."""

from __future__ import annotations

import base64
import json
import re
import secrets
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import ProcedureError, RegisterError, UnknownRecordError
from lungwort.paper.write import write_bytes
from lungwort.register.model import (
    Instrument,
    Lot,
    Outlet,
    Person,
    WearerEquipment,
)
from lungwort.spot.devices import IndicatorKind, TubeKind, load_device, shipped_devices
from lungwort.spot.run_json import from_json, to_json
from lungwort.spot.run_model import Context, Handled, KnownLot, KnownThing, Wearers

if TYPE_CHECKING:
    from decimal import Decimal
    from pathlib import Path

    from lungwort.register.records import Reader
    from lungwort.register.workspace import Workspace
    from lungwort.spot.run_model import Run

OPEN_TESTS: Final = "open-tests"
RECORDED_TESTS: Final = "recorded-tests"
"""Folder that tells which test a device's run became, for a device that comes back late."""
PROCEDURES: Final = "procedures"
DEVICES: Final = "devices"
_RECORDED_FORMAT: Final = "lungwort-recorded-test/1"
_NAME: Final = re.compile(r"open-[a-z2-7]{8}")


@frozen
class Recorded:
    """Which test a run became, and what came from devices for it.

    Parameters
    ----------
    outlet_id, tester_id : str
        Where and by whom.
    started : datetime
        When it was begun, UTC.
    handled : tuple of Handled
        What came from devices and was dealt with.
    """

    outlet_id: str
    tester_id: str
    started: datetime
    handled: tuple[Handled, ...]


def new_id(workspace: Workspace) -> str:
    """Give a name to a test under way that no other has."""
    while True:
        name = f"open-{base64.b32encode(secrets.token_bytes(5)).decode('ascii').lower()}"
        if not path_of(workspace, name).exists():
            return name


def path_of(workspace: Workspace, run_id: str) -> Path:
    """Give the file of a test under way, whether or not it is there.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    run_id : str
        Name of the test.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    UnknownRecordError
        Where it is no such name.
    """
    if not _NAME.fullmatch(run_id):
        raise UnknownRecordError(
            f"{run_id!r} is no name of a test under way, which goes like open-k3m5q2wd. "
            "'lungwort test list' lists them."
        )
    return workspace.folder / OPEN_TESTS / f"{run_id}.json"


def ids(workspace: Workspace) -> tuple[str, ...]:
    """Name the tests under way, in alphabetical order."""
    folder = workspace.folder / OPEN_TESTS
    if not folder.is_dir():
        return ()
    found = (one.stem for one in folder.glob("*.json"))
    return tuple(sorted(name for name in found if _NAME.fullmatch(name)))


def save(workspace: Workspace, run: Run) -> None:
    """Keep a test under way: whole, or as it was before.

    Parameters
    ----------
    workspace : Workspace
        The open workspace, whose files are held.
    run : Run
        The test.
    """
    path = path_of(workspace, run.id)
    path.parent.mkdir(exist_ok=True)
    write_bytes(to_json(run).encode("utf-8"), path)


def load(workspace: Workspace, run_id: str) -> Run:
    """Read a test under way.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    run_id : str
        Its name.

    Returns
    -------
    Run
        The test.

    Raises
    ------
    UnknownRecordError
        Where there is none.
    SpotError
        Where its file was altered.
    """
    path = path_of(workspace, run_id)
    try:
        text = path.read_bytes().decode("utf-8", errors="replace")
    except FileNotFoundError:
        known = ", ".join(ids(workspace)) or "none"
        raise UnknownRecordError(
            f"No test {run_id!r} is under way. Under way: {known}. A finished one is shown by "
            "'lungwort test show ID'."
        ) from None
    return from_json(text, f"{OPEN_TESTS}/{path.name}")


def remove(workspace: Workspace, run_id: str) -> None:
    """Take the file of a test away once it is on record."""
    path_of(workspace, run_id).unlink(missing_ok=True)


def keep_handled(workspace: Workspace, run: Run) -> None:
    """Keep what came from devices beyond the end of a test, so that none counts twice.

    Parameters
    ----------
    workspace : Workspace
        The open workspace, whose files are held.
    run : Run
        The test; its procedure, entries and photos are on record and are left out.
    """
    path = workspace.folder / RECORDED_TESTS / path_of(workspace, run.id).name
    path.parent.mkdir(exist_ok=True)
    kept = {
        "format": _RECORDED_FORMAT,
        "outlet_id": run.context.outlet_id,
        "tester_id": run.context.tester_id,
        "started": run.started.astimezone(UTC).isoformat(),
        "handled": [[one.id, one.state, one.why] for one in run.handled],
    }
    write_bytes(json.dumps(kept, ensure_ascii=False).encode("utf-8"), path)


def handled_before(workspace: Workspace, run_id: str) -> Recorded | None:
    """Read what came from devices for a test that has ended.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    run_id : str
        Name of the test while it was under way.

    Returns
    -------
    Recorded, optional
        None where none of the kind ended, or what was kept of it cannot be read.
    """
    path = workspace.folder / RECORDED_TESTS / path_of(workspace, run_id).name
    try:
        plain = json.loads(path.read_bytes())
        if plain["format"] != _RECORDED_FORMAT:
            return None
        return Recorded(
            plain["outlet_id"],
            plain["tester_id"],
            datetime.fromisoformat(plain["started"]),
            tuple(Handled(id=one, state=state, why=why) for one, state, why in plain["handled"]),
        )
    except (OSError, ValueError, TypeError, KeyError):
        return None


def only_one(workspace: Workspace, run_id: str | None) -> str:
    """Settle which test under way is meant.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    run_id : str, optional
        Its name; None for the only one.

    Returns
    -------
    str
        Its name.

    Raises
    ------
    RegisterError
        Where there is none, or several.
    """
    if run_id is not None:
        return run_id.strip()
    known = ids(workspace)
    if len(known) == 1:
        return known[0]
    if not known:
        raise RegisterError("No test is under way. Begin one with 'lungwort test start OUTLET'.")
    raise RegisterError(f"Several tests are under way: {', '.join(known)}. Give the one you mean.")


def devices(workspace: Workspace) -> tuple[IndicatorKind | TubeKind, ...]:
    """Give the kinds of indicators and tubes that are known: the shipped ones and the user's own.

    Parameters
    ----------
    workspace : Workspace
        The open workspace, whose folder ``devices`` holds the user's own.

    Returns
    -------
    tuple of IndicatorKind or TubeKind
        All of them.

    Raises
    ------
    ProcedureError
        Where a file has mistakes, or an id stands twice.
    """
    found = list(shipped_devices())
    folder = workspace.folder / DEVICES
    for file in sorted(folder.glob("*.toml")) if folder.is_dir() else ():
        one = load_device(file)
        if one.id in {other.id for other in found}:
            raise ProcedureError(
                f"{DEVICES}/{file.name}: the id {one.id!r} is taken. Give it another."
            )
        found.append(one)
    return tuple(found)


def context(
    workspace: Workspace, reader: Reader, outlet: Outlet, tester: Person, zone: str
) -> Context:
    """Put together what the entries of a test can name.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    reader : Reader
        The record.
    outlet : Outlet
        Where.
    tester : Person
        Who tests.
    zone : str
        Time zone of the site.

    Returns
    -------
    Context
        For the run.
    """
    known = devices(workspace)
    return Context(
        outlet_id=outlet.id,
        outlet=outlet.name,
        tester_id=tester.id,
        tester=tester.name,
        zone=zone,
        persons=tuple(
            KnownThing(id=one.id, name=one.name) for one in reader.all(Person) if one.in_use
        ),
        instruments=tuple(
            KnownThing(id=one.id, name=one.name) for one in reader.all(Instrument) if one.in_use
        ),
        lots=tuple(
            KnownLot(
                id=one.id,
                name=one.name,
                kind=one.kind,
                analyte=one.analyte,
                device=one.device,
                expires=one.expires,
            )
            for one in reader.all(Lot)
        ),
        wearers=tuple(
            Wearers(
                name=one.name,
                minimum_flow_l_min=_float(one.minimum_flow_l_min),
                lowest_pressure_bar_g=_float(one.lowest_pressure_bar_g),
                highest_pressure_bar_g=_float(one.highest_pressure_bar_g),
                count=one.count,
            )
            for one in reader.all(WearerEquipment, outlet_id=outlet.id)
            if one.in_use
        ),
        indicators=tuple(one for one in known if isinstance(one, IndicatorKind)),
        tubes=tuple(one for one in known if isinstance(one, TubeKind)),
    )


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)
