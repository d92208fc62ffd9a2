"""How far a workspace is set up: what is on record for a first test, and what is missing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.jobs.catalogue import instrument as instrument_job
from lungwort.jobs.catalogue import lot as lot_job
from lungwort.jobs.catalogue import person as person_job
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.catalogue.supply import missing
from lungwort.jobs.catalogue.treatment import left
from lungwort.jobs.opening import Where, common_zone, opened
from lungwort.register.model import (
    Instrument,
    Lot,
    Outlet,
    Person,
    Site,
    Supply,
    WearerEquipment,
)

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.register.records import Reader

STEPS: Final = ("site", "supply", "outlet", "instrument", "lot", "person")
"""Kinds of things, in the order in which they are best put on record."""
NO_CHANNELS: Final = (
    "No channels are on record (--channel): its readings cannot be held against its ranges."
)
_FOR_TESTS: Final = ("oil_indicator", "tube")


@frozen
class OnRecord:
    """A thing that is on record.

    Parameters
    ----------
    id, name : str
        Its id; what it is called.
    lacks : tuple of str
        What is still to be said of it, and what follows.
    """

    id: str
    name: str
    lacks: tuple[str, ...] = ()


@frozen
class Step:
    """One kind of thing that a workspace needs.

    Parameters
    ----------
    kind : str
        One of `STEPS`.
    things : tuple of OnRecord
        Those in use.
    """

    kind: str
    things: tuple[OnRecord, ...]

    @property
    def done(self) -> bool:
        """Whether there is at least one."""
        return bool(self.things)


def steps(where: Where, *, now: datetime) -> tuple[Step, ...]:
    """Say what is on record for a first test, and what is missing.

    Parameters
    ----------
    where : Where
        Which workspace.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    tuple of Step
        In the order of `STEPS`.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        found = {
            "site": _sites(register),
            "supply": _supplies(register),
            "outlet": _outlets(register),
            "instrument": _instruments(register, now),
            "lot": _lots(register, now),
            "person": _people(register, now),
        }
    return tuple(Step(kind, found[kind]) for kind in STEPS)


def own_limit_sets(where: Where) -> tuple[tuple[str, str], ...]:
    """Name the limit sets that lie in the workspace's own folder.

    Parameters
    ----------
    where : Where
        Which workspace.

    Returns
    -------
    tuple of (str, str)
        As a site or a supply names it; as it is called.
    """
    with opened(where, read_only=True) as workspace:
        files = sorted((workspace.folder / "limits").glob("*.toml"))
    return tuple((f"limits/{one.name}", one.stem) for one in files)


def _sites(register: Reader) -> tuple[OnRecord, ...]:
    return tuple(
        OnRecord(
            one.id,
            one.title or one.name,
            ()
            if one.limit_set
            else ("It has no limit set (--limits): each supply needs its own then.",),
        )
        for one in register.all(Site)
        if one.in_use
    )


def _supplies(register: Reader) -> tuple[OnRecord, ...]:
    sites = {one.id: one for one in register.all(Site)}
    found = []
    for one in register.all(Supply):
        if not one.in_use:
            continue
        lacks = missing(one, sites[one.site_id])
        if not register.all(Outlet, supply_id=one.id, in_use=True):
            lacks.append("It has no outlet yet: its air can be tested nowhere.")
        found.append(OnRecord(one.id, one.title or one.name, tuple(lacks)))
    return tuple(found)


def _outlets(register: Reader) -> tuple[OnRecord, ...]:
    worn = {one.outlet_id for one in register.all(WearerEquipment) if one.in_use}
    return tuple(
        OnRecord(
            one.id,
            one.name,
            ()
            if one.id in worn
            else ("It is not said what is worn there: a flow test cannot be held against it.",),
        )
        for one in register.all(Outlet)
        if one.in_use
    )


def _instruments(register: Reader, now: datetime) -> tuple[OnRecord, ...]:
    found = []
    for one in register.all(Instrument):
        if not one.in_use:
            continue
        lacks = instrument_job.lapses(register, one, now)
        if not one.channels:
            lacks = (NO_CHANNELS, *lacks)
        found.append(OnRecord(one.id, one.name, lacks))
    return tuple(found)


def _lots(register: Reader, now: datetime) -> tuple[OnRecord, ...]:
    return tuple(
        OnRecord(one.id, one.name, tuple(lot_job.remarks_on(one, register, now)))
        for one in register.all(Lot)
        if one.kind in _FOR_TESTS and left(register, one) > 0
    )


def _people(register: Reader, now: datetime) -> tuple[OnRecord, ...]:
    zone = common_zone(register)
    return tuple(
        OnRecord(one.id, one.name, tuple(person_job.remarks_on(one, Session(now), zone)))
        for one in register.all(Person)
        if one.in_use
    )
