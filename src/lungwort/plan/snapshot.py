"""All records in force that the rules look at, read once.

The rules of this room see nothing but a snapshot: no database, no clock.
"""

from __future__ import annotations

from collections import OrderedDict
from datetime import timedelta
from threading import Lock
from typing import TYPE_CHECKING, Any, Final, Protocol, TypeVar, runtime_checkable
from zoneinfo import ZoneInfo

from attrs import Attribute, evolve, frozen

from lungwort.limits.place import located
from lungwort.plan.days import day_in, zone_of
from lungwort.register import model

if TYPE_CHECKING:
    from collections.abc import Iterable
    from contextlib import AbstractContextManager
    from datetime import date, datetime
    from pathlib import Path

R = TypeVar("R", bound=model.Record)

CLOCK_SLACK: Final = timedelta(minutes=5)
"""How far two clocks may differ before what lies ahead counts as being from the future."""


class Records(Protocol):
    """Whatever gives the records in force by kind: a register, or a change of it."""

    def all(self, kind: type[R], /) -> list[R]:
        """Give all records of a kind that are in force."""


@runtime_checkable
class Journal(Protocol):
    """Whatever knows the journal's newest entry."""

    def newest(self) -> model.Entry | None:
        """Give the newest entry; None where there is none."""


@runtime_checkable
class Versions(Protocol):
    """Whatever knows the versions that a record had before."""

    def history(self, kind: type[R], thing_id: str, /) -> list[R]:
        """Give all versions of a thing, oldest first."""


@runtime_checkable
class Placed(Protocol):
    """Whatever knows in which folder the workspace lies."""

    @property
    def folder(self) -> Path | None:
        """The folder; None where it is not known."""


@runtime_checkable
class AtOneTime(Protocol):
    """Whatever lets several kinds be read as of one moment."""

    def at_one_time(self) -> AbstractContextManager[Records]:
        """Give the records as of one moment."""


def _in_force(records: Iterable[R]) -> tuple[R, ...]:
    return tuple(record for record in records if not record.voided)


def _without_voided(_class: type, fields: list[Attribute[Any]]) -> list[Attribute[Any]]:
    """Let no voided record into any of the snapshot's fields of records."""
    return [one.evolve(converter=_in_force) if one.default == () else one for one in fields]


@frozen(kw_only=True, field_transformer=_without_voided)
class Snapshot:
    """All records in force that the rules look at.

    Parameters
    ----------
    now : datetime
        The moment for which it is asked, UTC.
    newest_entry : datetime, optional
        Time of the journal's newest entry, UTC; None where it is not known.
    sites, supplies, stages, cartridge_changes, running_hours, events, assessments, outlets
        Records of each kind; voided ones are left out.
    equipment, instruments, calibrations, lots, lot_uses, persons, log_imports, hand_tests
        The same.
    verdicts, certificates, findings, actions, states
        The same.
    supply_versions : tuple of Supply
        All versions of the supplies, those that are no longer in force as well.
    folder : pathlib.Path, optional
        Folder of the workspace, in which limit sets of one's own are found; None where it is not
        known.
    """

    now: datetime
    newest_entry: datetime | None = None
    sites: tuple[model.Site, ...] = ()
    supplies: tuple[model.Supply, ...] = ()
    stages: tuple[model.Stage, ...] = ()
    cartridge_changes: tuple[model.CartridgeChange, ...] = ()
    running_hours: tuple[model.RunningHours, ...] = ()
    events: tuple[model.Event, ...] = ()
    assessments: tuple[model.RiskAssessment, ...] = ()
    outlets: tuple[model.Outlet, ...] = ()
    equipment: tuple[model.WearerEquipment, ...] = ()
    instruments: tuple[model.Instrument, ...] = ()
    calibrations: tuple[model.Calibration, ...] = ()
    lots: tuple[model.Lot, ...] = ()
    lot_uses: tuple[model.LotUse, ...] = ()
    persons: tuple[model.Person, ...] = ()
    log_imports: tuple[model.LogImport, ...] = ()
    hand_tests: tuple[model.HandTest, ...] = ()
    verdicts: tuple[model.VerdictRecord, ...] = ()
    certificates: tuple[model.Certificate, ...] = ()
    findings: tuple[model.Finding, ...] = ()
    actions: tuple[model.Action, ...] = ()
    states: tuple[model.SupplyState, ...] = ()
    supply_versions: tuple[model.Supply, ...] = ()
    folder: Path | None = None

    def site_of(self, supply: model.Supply) -> model.Site | None:
        """Find the site of a supply; None where it is not on record."""
        return by_id(self.sites, supply.site_id)

    def zone(self, supply_id: str) -> ZoneInfo:
        """Find the time zone of a supply's site; UTC where that is not known."""
        supply = by_id(self.supplies, supply_id)
        site = None if supply is None else self.site_of(supply)
        return (None if site is None else zone_of(site.zone)) or ZoneInfo("UTC")

    def zones(self) -> tuple[ZoneInfo, ...]:
        """Give the time zones of all sites in use."""
        found = (zone_of(site.zone) for site in self.sites if site.in_use)
        return tuple(zone for zone in found if zone is not None)

    def day(self, moment: datetime, supply_id: str = "") -> date:
        """Tell which day a moment falls on.

        Parameters
        ----------
        moment : datetime.datetime
            A moment with a time zone.
        supply_id : str
            Supply whose site's zone counts; empty for what belongs to no site: then the latest
            day of all sites in use, so that nothing holds a day too long.

        Returns
        -------
        datetime.date
            The day.
        """
        return day_in(moment, (self.zone(supply_id),) if supply_id else self.zones())

    def zoned(self, moment: datetime, supply_id: str) -> str:
        """Write the time of day of a moment in the zone of a supply's site, such as '14:05'."""
        return f"{moment.astimezone(self.zone(supply_id)):%H:%M}"

    def outlets_of(self, supply_id: str) -> tuple[model.Outlet, ...]:
        """Give a supply's outlets in use, in the order of the record."""
        return tuple(one for one in self.outlets if one.supply_id == supply_id and one.in_use)

    def stages_of(self, supply_id: str) -> tuple[model.Stage, ...]:
        """Give all stages of a supply, those taken out as well, in the air's way."""
        found = [stage for stage in self.stages if stage.supply_id == supply_id]
        return tuple(sorted(found, key=lambda stage: stage.place))

    def supplies_in_use(self) -> tuple[model.Supply, ...]:
        """Give the supplies in use at sites in use; one whose site is not on record counts too."""
        given_up = {site.id for site in self.sites if not site.in_use}
        return tuple(one for one in self.supplies if one.in_use and one.site_id not in given_up)

    def limit_set_name(self, supply_id: str) -> str:
        """Tell the limit set that holds for a supply: its own, else its site's; empty for none."""
        supply = by_id(self.supplies, supply_id)
        if supply is None:
            return ""
        site = self.site_of(supply)
        return supply.limit_set or ("" if site is None else site.limit_set)

    def limit_set_source(self, supply_id: str) -> str:
        """Tell what to load for it: an id, or the path of a file; empty for none."""
        return located(self.limit_set_name(supply_id), self.folder)


def by_id(records: Iterable[R], record_id: str | None) -> R | None:
    """Find a record by its id.

    Parameters
    ----------
    records : iterable of Record
        Where to look.
    record_id : str, optional
        The id.

    Returns
    -------
    Record, optional
        The record; None where there is none.
    """
    return next((record for record in records if record.id == record_id), None)


def take(register: Records, now: datetime) -> Snapshot:
    """Read all records in force that the rules look at, as of one moment.

    Parameters
    ----------
    register : Records
        The register, or a change of it.
    now : datetime
        The moment for which it is asked, UTC.

    Returns
    -------
    Snapshot
        The records. Where the register knows its journal, also the time of its newest entry.
    """
    if isinstance(register, AtOneTime):
        with register.at_one_time() as records:
            return _kept(records, now)
    return _take(register, now)


_KEPT: Final[OrderedDict[str, Snapshot]] = OrderedDict()
_MOST_KEPT: Final = 4
_HOLDER: Final = Lock()


def _kept(records: Records, now: datetime) -> Snapshot:
    """Read the records, unless they were read already: the newest entry's hash stands for all."""
    newest = records.newest() if isinstance(records, Journal) else None
    if newest is None:
        return _take(records, now)
    with _HOLDER:
        known = _KEPT.get(newest.hash)
        if known is not None:
            _KEPT.move_to_end(newest.hash)
            # A copy of the workspace elsewhere has the same entries.
            return evolve(known, now=now, folder=_folder(records))
    taken = _take(records, now)
    with _HOLDER:
        _KEPT[newest.hash] = taken
        while len(_KEPT) > _MOST_KEPT:
            _KEPT.popitem(last=False)
    return taken


def _take(records: Records, now: datetime) -> Snapshot:
    newest = records.newest() if isinstance(records, Journal) else None
    supplies = tuple(records.all(model.Supply))
    versions = supplies
    if isinstance(records, Versions):
        versions = tuple(
            version for one in supplies for version in records.history(model.Supply, one.id)
        )
    return Snapshot(
        now=now,
        newest_entry=None if newest is None else newest.time,
        sites=tuple(records.all(model.Site)),
        supplies=supplies,
        stages=tuple(records.all(model.Stage)),
        cartridge_changes=tuple(records.all(model.CartridgeChange)),
        running_hours=tuple(records.all(model.RunningHours)),
        events=tuple(records.all(model.Event)),
        assessments=tuple(records.all(model.RiskAssessment)),
        outlets=tuple(records.all(model.Outlet)),
        equipment=tuple(records.all(model.WearerEquipment)),
        instruments=tuple(records.all(model.Instrument)),
        calibrations=tuple(records.all(model.Calibration)),
        lots=tuple(records.all(model.Lot)),
        lot_uses=tuple(records.all(model.LotUse)),
        persons=tuple(records.all(model.Person)),
        log_imports=tuple(records.all(model.LogImport)),
        hand_tests=tuple(records.all(model.HandTest)),
        verdicts=tuple(records.all(model.VerdictRecord)),
        certificates=tuple(records.all(model.Certificate)),
        findings=tuple(records.all(model.Finding)),
        actions=tuple(records.all(model.Action)),
        states=tuple(records.all(model.SupplyState)),
        supply_versions=versions,
        folder=_folder(records),
    )


def _folder(records: Records) -> Path | None:
    return records.folder if isinstance(records, Placed) else None
