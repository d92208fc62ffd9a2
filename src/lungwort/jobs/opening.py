"""What every job on the record begins with: which workspace, who makes the change, whose clock."""

from __future__ import annotations

from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from attrs import frozen

from lungwort.errors import InputError, RegisterError
from lungwort.register.model import Outlet, Person, Site, Supply

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lungwort.register.records import Change, Reader
    from lungwort.register.workspace import Workspace

CLOCK_SLACK: Final = timedelta(minutes=2)
"""How far a typed time may lie ahead of the computer's clock: two clocks are never quite alike."""


@frozen
class Where:
    """Which workspace a job works on.

    Parameters
    ----------
    workspace : Path, optional
        Folder as typed or as the environment says; None to look for one from ``start`` upwards.
    start : Path, optional
        Where to begin looking; None for the current folder.
    """

    workspace: Path | None = None
    start: Path | None = None


@contextmanager
def opened(
    folder: Path | Where | None, *, read_only: bool = False, start: Path | None = None
) -> Iterator[Workspace]:
    """Open the workspace, and close it at the end.

    Parameters
    ----------
    folder : Path or Where, optional
        Its folder; None to look for one upwards.
    read_only : bool
        Whether nothing is to be changed.
    start : Path, optional
        Where to begin looking; None for the current folder.

    Yields
    ------
    Workspace
        The open workspace.

    Raises
    ------
    WorkspaceError
        Where there is none, or it cannot be used.
    """
    from lungwort.register.workspace import find_workspace, open_workspace  # noqa: PLC0415 - keeps --help instant

    if isinstance(folder, Where):
        start = folder.start or start
        folder = folder.workspace
    if folder is None:
        folder = find_workspace(start or Path.cwd())
    with open_workspace(folder, read_only=read_only) as workspace:
        yield workspace


@frozen
class Changer:
    """Who makes a change.

    Parameters
    ----------
    name : str
        Name of a person in force.
    remark : str
        What was taken for granted, to be shown; empty where the person was named.
    """

    name: str
    remark: str = ""


def changer(register: Reader, by: str | None) -> Changer:
    """Settle who makes a change.

    Parameters
    ----------
    register : Reader
        The record.
    by : str, optional
        Name as given; None or empty where none was given.

    Returns
    -------
    Changer
        The person. Where none was named, the only one in use.

    Raises
    ------
    UnknownRecordError
        Where nobody of that name is on record.
    RegisterError
        Where none was named and several are on record, or the named one has left.
    """
    if by is not None and by.strip():
        person = register.get(Person, by.strip())
        if not person.in_use:
            raise RegisterError(
                f"{person.name} is on record as retired and makes no changes. Give --by with "
                f"somebody in use, or take the person back with 'lungwort person change "
                f'"{person.name}" --in-use --reason TEXT\'.'
            )
        return Changer(person.name)
    known = [one for one in register.all(Person) if one.in_use]
    if len(known) == 1:
        return Changer(
            known[0].name, f"Recorded as done by {known[0].name}, the only person on record."
        )
    names = ", ".join(sorted(one.name for one in known))
    raise RegisterError(
        "Who makes this change? Give --by NAME or set LUNGWORT_BY. "
        + (f"On record: {names}." if names else "Nobody in use is on record.")
    )


@contextmanager
def changing(
    workspace: Workspace, by: str | None, *, now: datetime, clock_is_right: bool = False
) -> Iterator[Change]:
    """Open one change of the record: everything in it is recorded, or nothing.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    by : str, optional
        Who makes it, as `changer` takes it.
    now : datetime
        When, with a time zone.
    clock_is_right : bool
        Whether the user says that the computer's clock is right, though the record is ahead of it.

    Yields
    ------
    Change
        The change; ``change.who`` is the person.

    Raises
    ------
    RegisterError
        Where it is not clear who makes it, or the clock is behind the record.
    """
    register = workspace.register
    who = changer(register, by).name
    with register.change(who=who, now=now, clock_is_right=clock_is_right) as change:
        yield change


def site_of(register: Reader, thing: Outlet | Supply | Site) -> Site:
    """Give the site of an outlet or a supply.

    Parameters
    ----------
    register : Reader
        The record.
    thing : Outlet, Supply or Site
        What it is asked of.

    Returns
    -------
    Site
        Its site.
    """
    if isinstance(thing, Outlet):
        thing = register.get(Supply, thing.supply_id)
    if isinstance(thing, Supply):
        thing = register.get(Site, thing.site_id)
    return thing


def site_zone(workspace: Workspace, thing: Outlet | Supply | Site) -> str:
    """Give the time zone in which an outlet's, a supply's or a site's times are read and shown.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    thing : Outlet, Supply or Site
        What it is asked of.

    Returns
    -------
    str
        IANA time zone.
    """
    return site_of(workspace.register, thing).zone


def common_zone(register: Reader) -> str | None:
    """Give the time zone of things that belong to no site.

    Parameters
    ----------
    register : Reader
        The record.

    Returns
    -------
    str or None
        The zone that all sites in use share; UTC where there is no site; None where they differ.
    """
    zones = {one.zone for one in register.all(Site) if one.in_use}
    if len(zones) > 1:
        return None
    return zones.pop() if zones else "UTC"


def typed_time(text: str | None, zone: str | None, option: str, *, now: datetime) -> datetime:
    """Read the time at which something happened.

    Parameters
    ----------
    text : str, optional
        ISO 8601, such as ``2026-03-04 10:00`` or ``2026-03-04T10:00+01:00``; None for now.
    zone : str, optional
        IANA zone of a time without an offset; None where it is not clear.
    option : str
        Option that it was given with, for the message.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    datetime
        The time, UTC.

    Raises
    ------
    InputError
        Where it is no such time, lies ahead, or can be read in two ways.
    """
    if text is None:
        return now.astimezone(UTC)
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError(
            f"{option} {text!r} is no moment. Write it year first, like '2026-03-04 10:00'."
        ) from error
    if len(text.strip()) <= len("2026-03-04"):
        raise InputError(
            f"{option} {text!r} has no time of day. Write it like '{text.strip()} 10:00'."
        )
    if moment.tzinfo is None:
        moment = _placed(moment, text.strip(), zone, option)
    if moment > now + CLOCK_SLACK:
        raise InputError(
            f"{option} {text!r} lies ahead: it is {now.astimezone(moment.tzinfo):%Y-%m-%d %H:%M} "
            "now. Record what has happened, or set the computer's clock right."
        )
    return moment.astimezone(UTC)


def _placed(moment: datetime, text: str, zone: str | None, option: str) -> datetime:
    if zone is None:
        raise InputError(
            f"{option} {text!r} can be read in several time zones, as the sites lie in more than "
            f"one. Write its offset with it, like '{text}+01:00', or Z for UTC."
        )
    info = ZoneInfo(zone)
    first, second = (moment.replace(tzinfo=info, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first
    if first.astimezone(UTC).astimezone(info).replace(tzinfo=None) != moment:
        raise InputError(
            f"{option} {text!r} did not exist in {zone}: clocks were put forward over it. Check it."
        )
    offsets = " or ".join(f"'{text}{one:%z}'" for one in (first, second))
    raise InputError(
        f"{option} {text!r} came twice in {zone}, as clocks were put back. Write {offsets}."
    )
