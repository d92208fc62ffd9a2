"""Look for the cause of bad air in a log, or in the readings of an outlet on record."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Final

from attrs import field, frozen

from lungwort.errors import InputError, LogError
from lungwort.jobs.inputs import parse_moment
from lungwort.jobs.reading import Reading

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.logs.model import Log
    from lungwort.paper.calculation import Calculation, Quantity, Stated
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import LogImport, Outlet
    from lungwort.register.workspace import Workspace

LEAST_MARGIN: Final = timedelta(hours=3)
"""Time before and after an excursion on record that is looked at as well, at least; own rule."""
MOST_MARGIN: Final = timedelta(hours=24)
LAST: Final = timedelta(hours=24)
"""How much of the newest readings is looked at where no excursion is on record; own rule."""
LONG: Final = timedelta(days=3)
"""A span longer than this is said to be too long for one event; own rule."""

_OF_USE: Final = (
    "co",
    "co2",
    "o2",
    "water",
    "voc",
    "nox",
    "no",
    "no2",
    "pressure",
    "temperature",
    "relative_humidity",
    "flow",
)


def _paths(values: Iterable[Path]) -> tuple[Path, ...]:
    return tuple(values)


@frozen
class Request:
    """What is asked.

    Parameters
    ----------
    files : tuple of path
        Logger's files of the outlet; empty to take what is on record.
    intake : tuple of path
        Logger's files of the intake over the same time; empty for none.
    reading : Reading
        How the files are to be read.
    outlet : str, optional
        Outlet on record, or the name of the outlet of the files.
    finding : str, optional
        A finding on record; its outlet, and the excursions of its verdict, are taken.
    begin, end : str, optional
        Span to look at, as typed: the event with some hours before and after.
    """

    files: tuple[Path, ...] = field(factory=tuple, converter=_paths)
    intake: tuple[Path, ...] = field(factory=tuple, converter=_paths)
    reading: Reading = field(factory=Reading)
    outlet: str | None = None
    finding: str | None = None
    begin: str | None = None
    end: str | None = None


@frozen
class _Found:
    """A log with its span."""

    log: Log
    subject: str
    begin: datetime | None
    end: datetime | None
    taken: tuple[Stated, ...] = ()


def cause(where: Where, request: Request, *, now: datetime) -> Calculation:
    """Put the causes that fit the readings in order, with what speaks for and against each.

    Parameters
    ----------
    where : Where
        Which workspace; it is only opened where no file is given.
    request : Request
        What is asked.
    now : datetime
        The time, UTC.

    Returns
    -------
    Calculation
        An estimate where a cause stands out, else not proven; never more.

    Raises
    ------
    InputError
        Where anything that was given cannot be used.
    """
    from lungwort.insight.cause import rank  # noqa: PLC0415 - keeps --help instant
    from lungwort.insight.cause_series import series_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.cause_result import Ground, calculation_of  # noqa: PLC0415 - the same
    from lungwort.logs.read import read_with  # noqa: PLC0415 - keeps --help instant

    found = _from_files(request, now) if request.files else _from_record(where, request, now)
    series = series_of(found.log, found.begin, found.end)
    intake = None
    if request.intake:
        outside = read_with(list(request.intake), request.reading.options(_OF_USE), now=now)
        _not_the_same(found.log, outside)
        try:
            intake = series_of(outside, found.begin, found.end)
        except LogError as error:
            raise LogError(f"the log of the intake (--intake): {error}") from error
    ranking = rank(series, zone=found.log.zone, intake=intake)
    return calculation_of(
        Ground(
            ranking=ranking,
            series=series,
            subject=found.subject,
            zone=found.log.zone,
            now=now,
            inputs=_inputs(found.log, series.time_s.size),
            assumptions=(*found.taken, *_taken(found, float(series.time_s[-1] - series.time_s[0]))),
            left_out=tuple(found.log.all_doubts),
            intake=intake is not None,
        )
    )


def finding_number(where: Where, key: str) -> str:
    """Give the number of a finding on record.

    Parameters
    ----------
    where : Where
        The workspace.
    key : str
        Its number or id.

    Returns
    -------
    str
        Its number.

    Raises
    ------
    UnknownRecordError
        Where no such finding is on record.
    """
    from lungwort.jobs.opening import opened  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import Finding  # noqa: PLC0415 - the same

    with opened(where, read_only=True) as workspace:
        return workspace.register.get(Finding, key).number


def _not_the_same(log: Log, outside: Log) -> None:
    """Refuse a log of the outlet that is given for the intake as well: it would always agree."""
    at_outlet = {one.sha256: one.name for one in log.sources}
    for one in outside.sources:
        if one.sha256 in at_outlet:
            raise InputError(
                f"--intake: {one.name} is the log of the outlet itself ({at_outlet[one.sha256]}). Give "
                "readings that were taken at the intake."
            )


def _from_files(request: Request, now: datetime) -> _Found:
    from lungwort.logs.read import read_with  # noqa: PLC0415 - keeps --help instant

    if request.finding is not None:
        raise InputError(
            "files and --finding were both given. Give the files, or the finding whose readings are "
            "on record."
        )
    log = read_with(list(request.files), request.reading.options(_OF_USE), now=now)
    begin, end = _span(request, log.zone)
    return _Found(log, request.outlet or ", ".join(one.name for one in log.sources), begin, end)


def _span(request: Request, zone: str) -> tuple[datetime | None, datetime | None]:
    begin = None if request.begin is None else parse_moment(request.begin, zone, "--from")
    end = None if request.end is None else parse_moment(request.end, zone, "--to")
    if begin is not None and end is not None and begin >= end:
        raise InputError(
            f"--from {request.begin} does not lie before --to {request.end}. Give the earlier "
            "moment first."
        )
    return begin, end


def _from_record(where: Where, request: Request, now: datetime) -> _Found:
    from attrs import evolve  # noqa: PLC0415 - only here

    from lungwort.jobs.opening import opened, site_zone  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import Finding, LogImport, Outlet  # noqa: PLC0415 - the same
    from lungwort.register.store import load_log  # noqa: PLC0415 - keeps --help instant

    if request.outlet is None and request.finding is None:
        raise InputError(
            "nothing was given to look at. Name a logger's file, an outlet on record with --outlet, "
            "or a finding with --finding."
        )
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        finding = None if request.finding is None else register.get(Finding, request.finding)
        name = request.outlet
        if finding is not None:
            if finding.outlet_id is None:
                raise InputError(
                    f"{finding.number} is of no outlet. Name the outlet with --outlet and the span "
                    "with --from and --to."
                )
            if name is not None and register.get(Outlet, name).id != finding.outlet_id:
                raise InputError(
                    f"{finding.number} is of the outlet "
                    f"{register.get(Outlet, finding.outlet_id).name!r}, and --outlet names {name!r}. "
                    "Give one of the two."
                )
            name = finding.outlet_id
        place = register.get(Outlet, name or "")
        imports = register.all(LogImport, outlet_id=place.id)
        if not imports:
            raise InputError(
                f"no log of the outlet {place.name!r} is on record. Bring one in with 'lungwort "
                "import', or name a file."
            )
        zone = site_zone(workspace, place)
        begin, end = _span(request, zone)
        taken: tuple[Stated, ...] = ()
        if begin is None and end is None:
            snapshot = take(register, now)
            begin, end, taken = _span_of(
                workspace, snapshot, place, imports, None if finding is None else finding.verdict_id
            )
        log = load_log(workspace, imports, start=begin, end=end)
        if not log.rows:
            raise InputError(
                f"the outlet {place.name!r} has no readings in that span. Give another with --from "
                "and --to."
            )
        subject = place.name if finding is None else f"{place.name}, {finding.number}"
        return _Found(evolve(log, zone=zone), subject, begin, end, taken)


def _span_of(
    workspace: Workspace,
    snapshot: Snapshot,
    place: Outlet,
    imports: Sequence[LogImport],
    verdict_id: str | None,
) -> tuple[datetime | None, datetime | None, tuple[Stated, ...]]:
    """Take the newest excursion on record with time around it, or else the newest readings."""
    from lungwort.jobs._readings_marks import excursions  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.calculation import Stated  # noqa: PLC0415 - keeps --help instant

    found, _ = excursions(workspace, snapshot, place)
    mine = [one for one in found if one.verdict_id == verdict_id] or list(found)
    if mine:
        last = mine[-1]
        near = [one for one in mine if last.start - one.end <= MOST_MARGIN]
        first = min(one.start for one in near)
        end = max(one.end for one in near)
        margin = min(max(3 * (end - first), LEAST_MARGIN), MOST_MARGIN)
        said = f"The newest excursion on record, with {margin.total_seconds() / 3600:.0f} h before and after it."
        return first - margin, end + margin, (Stated(said, "own rule"),)
    newest = max((one.end for one in imports if one.end is not None), default=None)
    if newest is None:
        return None, None, ()
    said = f"No excursion is on record: the newest {LAST.total_seconds() / 3600:.0f} h of readings."
    return newest - LAST, newest, (Stated(said, "own rule", "an earlier event is not seen"),)


def _inputs(log: Log, readings: int) -> tuple[Quantity, ...]:
    from lungwort.paper.calculation import Quantity  # noqa: PLC0415 - keeps --help instant

    made = [
        Quantity("Readings in time", readings, source="on record" if not log.sources else "entered")
    ]
    made += [
        Quantity(one.name, f"{one.rows_used} rows used, {one.rows_refused} not", source="file")
        for one in log.sources[:5]
    ]
    made.append(
        Quantity(
            "Channels",
            ", ".join(f"{one.analyte} [{one.unit}]" for one in log.channels),
            source="file",
        )
    )
    return tuple(made)


def _taken(found: _Found, span_s: float) -> tuple[Stated, ...]:
    from lungwort.paper.calculation import Stated  # noqa: PLC0415 - keeps --help instant

    made = [
        Stated(
            "One cause at a time: two at once look like neither, and often like a third.",
            "own rule",
            "a second cause may be missed, or a third one named",
        ),
        Stated(
            "Signs hang together, so each counts somewhat less than it would alone.",
            "own rule",
            "makes the beliefs smaller",
        ),
    ]
    if not found.log.zone_stated:
        made.append(
            Stated(
                f"The file states no time zone; hours were read in {found.log.zone}.",
                "own rule",
                "the hour of the event may be wrong",
            )
        )
    if span_s > LONG.total_seconds():
        made.append(
            Stated(
                f"All {span_s / 86400:.0f} days were looked at as one event; --from and --to would "
                "narrow it.",
                "own rule",
                "several events are mixed",
            )
        )
    return tuple(made)
