"""The job of looking through what was imported, and of taking out what was imported by mistake."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

from lungwort.errors import InputError
from lungwort.jobs.catalogue import shape
from lungwort.jobs.catalogue.shape import Done, Listing, Section, Session
from lungwort.jobs.opening import Where, common_zone, opened, site_of
from lungwort.register.model import Instrument, LogImport, Outlet, Person, VerdictRecord

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.import_log import ChannelRead, RowsRefused
    from lungwort.register.records import Change, Register


@frozen(kw_only=True)
class ImportRow:
    """An import in a list.

    Parameters
    ----------
    id : str
        Its id.
    outlet_id, outlet : str
        Where the air was taken.
    files : tuple of str
        Names of its files.
    start, end : datetime, optional
        First and last reading, UTC.
    zone : str
        Time zone of the site.
    readings, refused : int
        Readings in time; rows that were not used [1].
    instrument, by : str
        What measured, empty where it was not said; who took it in.
    judged : str
        Verdict of the newest judging that looked at it; empty where none did.
    """

    id: str
    outlet_id: str
    outlet: str
    files: tuple[str, ...]
    start: datetime | None
    end: datetime | None
    zone: str
    readings: int
    refused: int
    instrument: str
    by: str
    judged: str


@frozen(kw_only=True)
class ImportShown:
    """An import with all that was read of it.

    Parameters
    ----------
    row : ImportRow
        As in the list.
    voided : str
        Why it counts no more; empty where it does.
    recorded_at : datetime
        When the version in force was taken in, UTC.
    version : int
        Which version it is [1].
    digests : tuple of (str, str, int)
        Name, SHA-256 and length [byte] of each file.
    interval : str
        Sampling interval in words.
    zone_read : str
        Time zone in which the logger's clock was read; empty where it was not stated.
    channels : tuple of (str, str)
        Channels and their units.
    counted : tuple of ChannelRead
        The same with what was read; empty where it was not asked for.
    refused : tuple of RowsRefused
        Rows that were not used, by cause.
    stretches : tuple of str
        What is not judged, in words.
    columns_not_used, notes, doubts : tuple of str
        What the reader must be told.
    verdicts : tuple of (str, datetime)
        Verdicts that looked at it, and when they were judged.
    """

    row: ImportRow
    voided: str
    recorded_at: datetime
    version: int
    digests: tuple[tuple[str, str, int], ...]
    interval: str
    zone_read: str
    channels: tuple[tuple[str, str], ...]
    counted: tuple[ChannelRead, ...]
    refused: tuple[RowsRefused, ...]
    stretches: tuple[str, ...]
    columns_not_used: tuple[str, ...]
    notes: tuple[str, ...]
    doubts: tuple[str, ...]
    verdicts: tuple[tuple[str, datetime], ...]


def rows(where: Where | Path | None) -> tuple[ImportRow, ...]:
    """List the imports in force for a page, the newest readings first.

    Parameters
    ----------
    where : Where or path, optional
        Which workspace.

    Returns
    -------
    tuple of ImportRow
        The imports.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        verdicts = register.all(VerdictRecord)
        people = {one.id: one.name for one in register.all(Person)}
        places = {one.id: one for one in register.all(Outlet)}
        zones = {one.id: site_of(register, one).zone for one in places.values()}
        tools = {one.id: one.name for one in register.all(Instrument)}
        found = [
            _row(
                one,
                outlet=places[one.outlet_id].name if one.outlet_id in places else one.outlet_id,
                zone=zones.get(one.outlet_id, "UTC"),
                instrument=tools.get(one.instrument_id or "", one.instrument_id or ""),
                by=people.get(one.by_id, one.by_id),
                verdicts=verdicts,
            )
            for one in register.all(LogImport)
        ]
    return tuple(
        sorted(found, key=lambda one: 0.0 if one.end is None else one.end.timestamp(), reverse=True)
    )


def _row(
    one: LogImport,
    *,
    outlet: str,
    zone: str,
    instrument: str,
    by: str,
    verdicts: list[VerdictRecord],
) -> ImportRow:
    judged = [each for each in verdicts if one.id in each.log_import_ids and each.seq > one.seq]
    return ImportRow(
        id=one.id,
        outlet_id=one.outlet_id,
        outlet=outlet,
        files=tuple(file.name for file in one.files),
        start=one.start,
        end=one.end,
        zone=zone,
        readings=one.rows,
        refused=one.refused,
        instrument=instrument,
        by=by,
        judged=max(judged, key=lambda each: each.seq).overall if judged else "",
    )


def show_import(
    where: Where | Path | None, import_id: str, *, count_up_to: int | None = None
) -> ImportShown:
    """Show what was read of an import, also of one that counts no more.

    Parameters
    ----------
    where : Where or path, optional
        Which workspace.
    import_id : str
        Its id.
    count_up_to : int, optional
        Readings up to which they are gone through one by one [1]; None for any number.

    Returns
    -------
    ImportShown
        The import.

    Raises
    ------
    UnknownRecordError
        Where there is no such import.
    RegisterError
        Where what was kept of it is missing or was altered.
    """
    from lungwort.jobs.import_log import RowsRefused, _channels, _stretches  # noqa: PLC0415 - beside it
    from lungwort.paper.text import Clock, duration  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.store import facts_of_import, load_log  # noqa: PLC0415 - keeps --help instant

    with opened(where, read_only=True) as workspace:
        register = workspace.register
        versions = register.history(LogImport, import_id)
        one = versions[-1] if versions else register.get(LogImport, import_id)
        facts = facts_of_import(workspace, one)
        outlet = register.find(Outlet, one.outlet_id)
        zone = "UTC" if outlet is None else site_of(register, outlet).zone
        by = register.find(Person, one.by_id)
        verdicts = [each for each in register.all(VerdictRecord) if one.id in each.log_import_ids]
        entry = list(register.entries(one.seq, one.seq))
        clock = Clock.for_period(zone, facts.start, facts.end)
        few = count_up_to is None or one.rows <= count_up_to
        counted = _channels(load_log(workspace, [one])) if few and not one.voided else ()
        return ImportShown(
            row=_row(
                one,
                outlet=one.outlet_id if outlet is None else outlet.name,
                zone=zone,
                instrument=_name(register, Instrument, one.instrument_id),
                by=one.by_id if by is None else by.name,
                verdicts=verdicts,
            ),
            voided=one.reason if one.voided else "",
            recorded_at=entry[0].time,
            version=one.version,
            digests=tuple((file.name, file.sha256, file.size_bytes) for file in one.files),
            interval=duration(facts.interval_s) if facts.interval_s else "not known",
            zone_read=facts.zone if facts.zone_stated else "",
            channels=tuple((each.name, each.unit) for each in facts.channels),
            counted=counted,
            refused=tuple(
                RowsRefused(source.name, each.cause, each.rows, each.first_lines, each.sample)
                for source in facts.sources
                for each in source.refusals
            ),
            stretches=_stretches(facts, clock),
            columns_not_used=facts.columns_not_used,
            notes=facts.notes,
            doubts=(
                *facts.doubts,
                *(f"channel {name}: {why}" for name, why in facts.channel_doubts),
            ),
            verdicts=tuple((each.overall, each.judged_at) for each in verdicts),
        )


def zone_of(where: Where | Path | None, outlet: str) -> str:
    """Give the time zone of the site of an outlet.

    Parameters
    ----------
    where : Where or path, optional
        Which workspace.
    outlet : str
        The outlet, by id or name.

    Returns
    -------
    str
        IANA time zone.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        return site_of(register, register.get(Outlet, outlet)).zone


def list_imports(where: Where, outlet: str | None = None) -> Listing:
    """List the imports in force, with the ids by which other commands take them.

    Parameters
    ----------
    where : Where
        Which workspace.
    outlet : str, optional
        Those of one outlet; None for all.

    Returns
    -------
    Listing
        The imports, oldest first.

    Raises
    ------
    UnknownRecordError
        Where there is no such outlet.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        if outlet is None:
            zone = common_zone(register)
            imports = register.all(LogImport)
        else:
            known = register.get(Outlet, outlet)
            zone = site_of(register, known).zone
            imports = register.all(LogImport, outlet_id=known.id)
        table = _table(register, imports, zone)
        plain = {
            "imports": [
                shape.plain(
                    one,
                    outlet=_name(register, Outlet, one.outlet_id),
                    instrument=_name(register, Instrument, one.instrument_id),
                )
                for one in imports
            ]
        }
    return Listing(table, (f"Times are in {zone or 'UTC'}.",) if imports else (), plain)


def void_import(at: Session, import_id: str, reason: str | None) -> Done:
    """Take out an import that was made by mistake; all of it stays to be seen and counts no more.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    import_id : str
        Its id.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    UnknownRecordError
        Where there is no such import.
    InputError
        Where there is no reason, or something in force rests on it.
    """
    why = shape.need_reason(reason)
    with at.recording() as (_, change, remarks):
        old = change.get(LogImport, import_id)
        names = ", ".join(file.name for file in old.files)
        outlet = _name(change, Outlet, old.outlet_id)
        gone = change.void(old, why)
        return Done(
            record=gone,
            said=(
                f"Import {old.id} ({names}) at {outlet} counts no more. Its files and readings stay "
                "where they are."
            ),
            remarks=tuple(remarks),
        )


def refuse_other_options(**given: object) -> None:
    """Refuse options of an import where nothing is imported.

    Parameters
    ----------
    **given : object
        Options by name, falsy where they were not given.

    Raises
    ------
    InputError
        Where one was given.
    """
    for name, value in given.items():
        if value:
            option = "FILE" if name == "files" else f"--{name.replace('_', '-')}"
            raise InputError(
                f"{option} says how to import, and --list and --void import nothing. Leave it out."
            )


def _table(register: Register, imports: list[LogImport], zone: str | None) -> Section:
    clock = shape.clock(
        zone, [moment for one in imports for moment in (one.start, one.end) if moment is not None]
    )
    rows = tuple(
        (
            one.id,
            _name(register, Outlet, one.outlet_id),
            ", ".join(file.name for file in one.files),
            clock.span(one.start, one.end),
            str(one.rows),
            str(one.refused),
            _name(register, Instrument, one.instrument_id) or "not named",
        )
        for one in imports
    )
    return Section(
        "Imports",
        ("id", "outlet", "files", "period", "readings", "rows not used", "instrument"),
        rows,
        "No logger's file is on record. Import one with 'lungwort import FILE --outlet NAME'.",
    )


def _name(
    register: Register | Change, kind: type[Outlet | Instrument], thing_id: str | None
) -> str:
    if thing_id is None:
        return ""
    found = register.find(kind, thing_id)
    return thing_id if found is None else found.name
