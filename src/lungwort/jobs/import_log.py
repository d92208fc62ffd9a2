"""The job of taking a logger's files into the record."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from attrs import field, frozen

from lungwort.errors import InputError
from lungwort.jobs.held import STOP, Held, hold
from lungwort.jobs.opening import Where, changer, opened, site_zone
from lungwort.jobs.reading import Reading

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from datetime import datetime
    from pathlib import Path

    from lungwort.logs.model import Log
    from lungwort.register.logdoc import LogFacts
    from lungwort.register.model import Instrument, LogImport, Outlet
    from lungwort.register.records import Register
    from lungwort.register.workspace import Workspace

FORMAT: Final = "lungwort-imported/1"


def _paths(values: Iterable[Path]) -> tuple[Path, ...]:
    return tuple(values)


@frozen
class Request:
    """What is to be imported.

    Parameters
    ----------
    files : tuple of path
        Logger's files; several are joined in time.
    outlet : str
        Outlet at which the air was taken.
    instrument : str, optional
        Instrument that measured.
    reading : Reading
        How the files are to be read.
    by : str, optional
        Who imports.
    also_here : str, optional
        Why a file of another outlet belongs to this one too.
    reason : str, optional
        Why this import takes the place of one of the same files that were read otherwise.
    judge : bool
        Whether the readings are held against the supply's limits at once.
    clock_is_right : bool
        Whether the user says that the computer's clock is right, though the record is ahead of it.
    """

    files: tuple[Path, ...] = field(converter=_paths)
    outlet: str
    instrument: str | None = None
    reading: Reading = field(factory=Reading)
    by: str | None = None
    also_here: str | None = None
    reason: str | None = None
    judge: bool = True
    clock_is_right: bool = False


@frozen
class ChannelRead:
    """What was read of one channel.

    Parameters
    ----------
    name, unit : str
        Channel and its unit.
    lowest, highest : str
        Of the readings that are not bad [unit].
    usable, others : int
        Readings flagged good or suspect; all others [1].
    """

    name: str
    unit: str
    lowest: str
    highest: str
    usable: int
    others: int


@frozen
class RowsRefused:
    """Rows that were not used.

    Parameters
    ----------
    file, cause : str
        In which file, and why.
    rows : int
        How many [1].
    lines : tuple of int
        The first of them.
    sample : str
        Text of the first.
    """

    file: str
    cause: str
    rows: int
    lines: tuple[int, ...]
    sample: str


@frozen
class Imported:
    """What an import did.

    Parameters
    ----------
    record : LogImport
        The record, new or as it was.
    new : bool
        Whether it is new; else nothing was changed.
    said : str
        One sentence on that.
    outlet, instrument : str
        Names; the latter empty where none was given.
    rows_read, rows_used : int
        Rows of the files [1].
    period, zone : str
        First to last reading, and the time zone in which it is shown.
    interval : str
        Sampling interval.
    unplaced : int
        Readings whose time is not known [1].
    channels : tuple of ChannelRead
        The channels.
    refused : tuple of RowsRefused
        Rows that were not used, by cause.
    stretches : tuple of str
        What is not judged, in words.
    columns_not_used, notes, doubts, remarks : tuple of str
        What the reader must be told.
    held : Held
        What the limits say.
    next_steps : tuple of str
        What to do next.
    """

    record: LogImport
    new: bool
    said: str
    outlet: str
    instrument: str
    rows_read: int
    rows_used: int
    period: str
    zone: str
    interval: str
    unplaced: int
    channels: tuple[ChannelRead, ...]
    refused: tuple[RowsRefused, ...]
    stretches: tuple[str, ...]
    columns_not_used: tuple[str, ...]
    notes: tuple[str, ...]
    doubts: tuple[str, ...]
    remarks: tuple[str, ...]
    held: Held
    next_steps: tuple[str, ...]

    @property
    def outside(self) -> bool:
        """Whether a reading is outside a limit that must be kept."""
        return self.held.is_outside


def import_files(
    where: Where | Path | None,
    request: Request,
    *,
    now: datetime,
    progress: Callable[[int, int], None] | None = None,
) -> Imported:
    """Read a logger's files and take them into the record.

    Parameters
    ----------
    where : Where or path, optional
        Which workspace.
    request : Request
        What is to be imported.
    now : datetime
        Present moment, with a time zone.
    progress : callable, optional
        Called with bytes read and bytes in all.

    Returns
    -------
    Imported
        What was read, whether it is new, and what the supply's limits say of it.

    Raises
    ------
    InputError
        Where a file cannot be read, or stands against what is on record.
    WorkspaceError
        Where it cannot be written; nothing is recorded then.
    """
    from lungwort.logs.read import read_with  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import Instrument, Outlet  # noqa: PLC0415 - beside the store

    if not request.files:
        raise InputError("No file was given. Name at least one logger's file.")
    if not request.outlet.strip():
        raise InputError("At which outlet was the air taken? Give --outlet NAME.")
    for path in request.files:
        _check_name(path)
    with opened(where) as workspace:
        register = workspace.register
        who = changer(register, request.by)
        outlet = register.get(Outlet, request.outlet)
        if not outlet.in_use:
            raise InputError(
                f"Outlet {outlet.name} is on record as taken away. Give --outlet with one in use, or "
                f"take it back with 'lungwort outlet change \"{outlet.name}\" --in-use --reason TEXT'."
            )
        instrument = None
        if request.instrument is not None:
            instrument = register.get(Instrument, request.instrument)
            if not instrument.in_use:
                raise InputError(
                    f"Instrument {instrument.name} is on record as put away. Give --instrument with "
                    "one in use, or leave it out."
                )
        options = request.reading.options()
        log = read_with(list(request.files), options, now=now, progress=progress)
        log = log.with_outlet(outlet.name)
        record, new, mended = _record(workspace, request, log, outlet, instrument, who.name, now)
        told = hold(workspace, outlet, [record], [], now) if request.judge else Held()
        remarks = [
            *([who.remark] if who.remark else []),
            *mended,
            *_reason_remarks(request, record, new=new),
            *_zone_remarks(log, site_zone(workspace, outlet), request),
            *_instrument_remarks(log, instrument),
        ]
        return _imported(
            log,
            record,
            new=new,
            outlet=outlet,
            instrument=_instrument_name(register, record),
            zone=site_zone(workspace, outlet),
            remarks=tuple(remarks),
            held=told,
        )


def _check_name(path: Path) -> None:
    try:
        path.name.encode("utf-8")
    except UnicodeEncodeError as error:
        shown = path.name.encode("utf-8", "replace").decode("utf-8")
        raise InputError(
            f"The name of the file {shown!r} holds bytes that are no text. Rename it and import it "
            "again."
        ) from error


def _record(
    workspace: Workspace,
    request: Request,
    log: Log,
    outlet: Outlet,
    instrument: Instrument | None,
    who: str,
    now: datetime,
) -> tuple[LogImport, bool, list[str]]:
    from lungwort.register import store  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.known import draft_import, on_record  # noqa: PLC0415 - beside the store
    from lungwort.register.model import Person  # noqa: PLC0415 - beside the store
    from lungwort.register.parts import sweep  # noqa: PLC0415 - keeps --help instant

    register = workspace.register
    options = request.reading.options()
    files: list[tuple[str, bytes | Path]] = [(path.name, path) for path in request.files]
    also_here, reason = request.also_here or "", request.reason or ""
    draft = draft_import(
        log,
        outlet=outlet,
        instrument=instrument,
        files=files,
        options=options,
        by=register.get(Person, who),
    )
    # The files are held alone from the first part to the record, so that a backup gets both.
    with workspace.lock():
        known = on_record(workspace, register, draft, options, also_here=also_here, reason=reason)
        same = known is not None and known.content_sha256 == draft.content_sha256
        spoiled = store.check_parts(workspace, [known]) if known is not None and same else []
        if known is not None and not reason.strip() and not spoiled:
            return known, False, []
        sweep(workspace, now)
        stored = store.store_log(workspace, draft, log, files=files, options=options)
        if known is not None and spoiled:
            left = store.check_parts(workspace, [known])
            if left:
                raise InputError(
                    f"These files are on record as import {known.id}, and what was kept of them is spoiled: "
                    f"{' '.join(left)}"
                )
            told = [
                f"It was spoiled and has been written again as recorded: {one}" for one in spoiled
            ]
            if not reason.strip():
                return known, False, told
        with register.change(who=who, now=now, clock_is_right=request.clock_is_right) as change:
            record, new = store.record_log(
                workspace, change, stored, options, also_here=also_here, reason=reason
            )
        return record, new, []


def _reason_remarks(request: Request, record: LogImport, *, new: bool) -> list[str]:
    if not (request.reason or "").strip() or (new and record.version > 1):
        return []
    return ["The reason was not needed and is not on record: nothing there was put right."]


def _zone_remarks(log: Log, zone: str, request: Request) -> list[str]:
    if log.zone_stated:
        return []
    files = " ".join(f'"{path.name}"' for path in request.files)
    return [
        (
            f"The files state no time zone and none was given: their times were taken as UTC. The site lies "
            f"in {zone}. If the logger's clock shows the time there, put it right with 'lungwort import "
            f'{files} --outlet "{request.outlet}" --zone {zone} --reason "the clock shows local time"\'.'
        )
    ]


def _instrument_remarks(log: Log, instrument: Instrument | None) -> list[str]:
    if instrument is None:
        return [
            "No instrument was named, so nothing is known of its calibration. Give --instrument NAME."
        ]
    known = {channel.analyte for channel in instrument.channels}
    strange = [one.name for one in log.channels if one.analyte not in known]
    if not known or not strange:
        return []
    return [
        (
            f"{instrument.name} is not on record as measuring {', '.join(strange)}. Check that it is the "
            "right instrument."
        )
    ]


def _instrument_name(register: Register, record: LogImport) -> str:
    from lungwort.register.model import Instrument  # noqa: PLC0415 - beside the store

    if record.instrument_id is None:
        return ""
    found = register.find(Instrument, record.instrument_id)
    return record.instrument_id if found is None else found.name


def _imported(
    log: Log,
    record: LogImport,
    *,
    new: bool,
    outlet: Outlet,
    instrument: str,
    zone: str,
    remarks: tuple[str, ...],
    held: Held,
) -> Imported:
    from lungwort.paper.text import Clock, duration  # noqa: PLC0415 - keeps --help instant

    clock = Clock.for_period(zone, log.start, log.end)
    if not new:
        said = (
            f"Nothing was changed: these files, read this way, are on record at {outlet.name} as "
            f"import {record.id} already."
        )
    elif record.version > 1:
        said = f"Import {record.id} at {outlet.name} was put right; the version before stays."
    else:
        said = f"Recorded at {outlet.name} as import {record.id}."
    return Imported(
        record=record,
        new=new,
        said=said,
        outlet=outlet.name,
        instrument=instrument,
        rows_read=sum(source.rows_read for source in log.sources),
        rows_used=sum(source.rows_used for source in log.sources),
        period=clock.span(log.start, log.end),
        zone=clock.zone_name,
        interval=duration(log.interval_s) if log.interval_s else "not known",
        unplaced=0 if log.unplaced is None else log.unplaced.height,
        channels=_channels(log),
        refused=tuple(
            RowsRefused(source.name, one.cause, one.rows, one.first_lines, one.sample)
            for source in log.sources
            for one in source.refusals
        ),
        stretches=_stretches(log, clock),
        columns_not_used=log.columns_not_used,
        notes=log.notes,
        doubts=log.all_doubts,
        remarks=remarks,
        held=held,
        next_steps=_next_steps(outlet.name, held),
    )


def _stretches(log: Log | LogFacts, clock: Any) -> tuple[str, ...]:  # noqa: ANN401 - a Clock of the paper
    groups: dict[tuple[str, str, str], list[Any]] = {}
    for one in log.stretches:
        groups.setdefault((one.cause, one.channel, one.text), []).append(one)
    told = []
    for (_, channel, text), ones in groups.items():
        span = clock.span(ones[0].start, ones[-1].end)
        times = "" if len(ones) == 1 else f"{len(ones)} times, "
        told.append(f"{channel or 'all channels'}: {times}{span}: {text}")
    return tuple(told)


def _channels(log: Log) -> tuple[ChannelRead, ...]:
    import polars as pl  # noqa: PLC0415 - keeps --help instant

    from lungwort.logs import model  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.text import number  # noqa: PLC0415 - keeps --help instant

    lows: dict[str, list[float]] = {one.name: [] for one in log.channels}
    highs: dict[str, list[float]] = {one.name: [] for one in log.channels}
    usable = dict.fromkeys(lows, 0)
    for frame in log.frames():
        for name, low_of in lows.items():
            flag = pl.col(model.flag_column(name))
            value = pl.col(name).filter(flag != model.BAD).fill_nan(None)
            low, high, count = frame.select(
                value.min().alias("low"),
                value.max().alias("high"),
                flag.is_in([model.GOOD, model.SUSPECT]).sum().alias("usable"),
            ).row(0)
            low_of.extend([] if low is None else [low])
            highs[name].extend([] if high is None else [high])
            usable[name] += count
    return tuple(
        ChannelRead(
            name=one.name,
            unit=one.unit,
            lowest=number(min(lows[one.name], default=None)),
            highest=number(max(highs[one.name], default=None)),
            usable=usable[one.name],
            others=log.rows - usable[one.name],
        )
        for one in log.channels
    )


def _next_steps(outlet: str, held: Held) -> tuple[str, ...]:
    certify = f"'lungwort certify \"{outlet}\"'"
    if held.is_outside:
        return (
            (
                f"{STOP} No finding was "
                f"opened: run {certify} to put the verdict on record and open one. Until then the supply "
                "counts as not proven."
            ),
        )
    return (
        (
            f"Run {certify} to judge it together with the tests by hand. An import certifies nothing, "
            "and until it is judged the supply counts as not proven."
        ),
    )


def as_plain(imported: Imported) -> dict[str, Any]:
    """Give what an import did as JSON values.

    Parameters
    ----------
    imported : Imported
        What it did.

    Returns
    -------
    dict
        The record, what was read, and what the limits say.
    """
    from attrs import asdict  # noqa: PLC0415 - only here

    from lungwort.register.convert import to_plain  # noqa: PLC0415 - keeps --help instant

    plain: dict[str, Any] = asdict(imported, filter=lambda attribute, _: attribute.name != "record")
    return {"format": FORMAT, **plain, "record": to_plain(imported.record)}


def as_json(imported: Imported) -> str:
    """Give what an import did as one JSON object; see `as_plain`."""
    return json.dumps(as_plain(imported), ensure_ascii=False, indent=2)


def exit_code(imported: Imported) -> int:
    """Give the exit code: 1 where a limit is not kept, else 0.

    Parameters
    ----------
    imported : Imported
        What an import did.
    """
    return 1 if imported.outside else 0


__all__: Sequence[str] = [
    "ChannelRead",
    "Held",
    "Imported",
    "Request",
    "RowsRefused",
    "as_json",
    "as_plain",
    "exit_code",
    "import_files",
]
