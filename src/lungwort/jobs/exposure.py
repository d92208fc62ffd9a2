"""What people have breathed, from logs and from who was where.

Nothing of it is recorded: what a person breathed is about that person's health, and the journal
never forgets.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from attrs import evolve, field, frozen

from lungwort.errors import ExposureError
from lungwort.jobs.reading import Reading

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.logs.model import Log
    from lungwort.paper.calculation import Calculation
    from lungwort.register.model import LogImport
    from lungwort.register.workspace import Workspace
    from lungwort.verdict.decision import Uncertainties, Uncertainty
    from lungwort.wearers.exposure_limits import ExposureLimit
    from lungwort.wearers.stays import Stay
    from lungwort.wearers.uptake_people import Surroundings

BESIDE: Final = timedelta(hours=1)
"""How far beside the stays readings on record are taken."""
LONGEST_WORST_CASE_DAYS: Final = 3
"""Longest span for which somebody is taken to be there all the time; common practice, no source [d]."""


def _texts(values: Iterable[str]) -> tuple[str, ...]:
    return tuple(values)


def _paths(values: Iterable[Path]) -> tuple[Path, ...]:
    return tuple(values)


@frozen(kw_only=True)
class Request:
    """What is asked.

    Parameters
    ----------
    files : tuple of Path
        Logger's files of one outlet; none to take what is on record.
    outlets : tuple of str
        Name of the outlet of the files, or outlets on record.
    more : tuple of (str, Path)
        Further outlets, each with a logger's file.
    reading : Reading
        How the files are to be read.
    stays : tuple of str
        ``NAME,OUTLET,START,END,WORK``, as typed; none for the worst case.
    stays_file : Path, optional
        A table of stays.
    begin, end : str, optional
        Period of the worst case, as typed.
    limits : tuple of str
        Sets of exposure limits; none for all that come with lungwort.
    altitude_m : float, optional
        Altitude; sea level where not given [m].
    oxygen_percent : float, optional
        Oxygen in the air breathed; 20.9 where not given [%].
    ambient_ppm : float
        Carbon monoxide between and after the stays [ppm].
    below_percent : float
        Carboxyhaemoglobin until which the time after is counted [%].
    above_ppm : float
        Carbon monoxide above which a stretch is listed [ppm].
    uncertainties : Path, optional
        Uncertainties of the sensors of one's own.
    """

    files: tuple[Path, ...] = field(factory=tuple, converter=_paths)
    outlets: tuple[str, ...] = field(factory=tuple, converter=_texts)
    more: tuple[tuple[str, Path], ...] = ()
    reading: Reading = field(factory=Reading)
    stays: tuple[str, ...] = field(factory=tuple, converter=_texts)
    stays_file: Path | None = None
    begin: str | None = None
    end: str | None = None
    limits: tuple[str, ...] = field(factory=tuple, converter=_texts)
    altitude_m: float | None = None
    oxygen_percent: float | None = None
    ambient_ppm: float = 0.0
    below_percent: float = 2.0
    above_ppm: float = 5.0
    uncertainties: Path | None = None


def logs_of(texts: Iterable[str]) -> tuple[tuple[str, Path], ...]:
    """Read further outlets with their logs.

    Parameters
    ----------
    texts : iterable of str
        ``OUTLET=FILE``.

    Returns
    -------
    tuple of (str, Path)
        Outlets and files.

    Raises
    ------
    ExposureError
        Where one is not written so.
    """
    from pathlib import Path  # noqa: PLC0415 - keeps --help instant

    found = []
    for text in texts:
        name, mark, file = (part.strip() for part in text.partition("="))
        if not (name and mark and file):
            raise ExposureError(
                f"--log {text!r} names no outlet with its file. Write it like 'hall 2=hall2.csv'."
            )
        found.append((name, Path(file)))
    return tuple(found)


def outlet_name(where: Where, key: str) -> str:
    """Give the name of an outlet on record, in use or not.

    Parameters
    ----------
    where : Where
        The workspace.
    key : str
        Its id or name.

    Returns
    -------
    str
        Its name.

    Raises
    ------
    UnknownRecordError
        Where no such outlet is on record.
    """
    from lungwort.jobs.opening import opened  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import Outlet  # noqa: PLC0415 - keeps --help instant

    with opened(where, read_only=True) as workspace:
        return workspace.register.get(Outlet, key).name


@frozen(eq=False)
class _Logs:
    """The logs by outlet, and what goes with them."""

    logs: dict[str, Log]
    zone: str
    typed_zone: str | None
    uncertainties: Uncertainties
    trust: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def exposure(where: Where, request: Request, *, now: datetime) -> Calculation:
    """Work out what people have breathed.

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
        It fails where an exposure limit was exceeded, and is not proven where the log has holes.

    Raises
    ------
    InputError
        Where anything that was given cannot be used.
    """
    from lungwort.jobs.exposure_log import taken_from  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.exposure_result import calculation_of  # noqa: PLC0415 - the same
    from lungwort.jobs.exposure_tables import Ground  # noqa: PLC0415 - the same
    from lungwort.wearers.exposure import Question, people, worst_case  # noqa: PLC0415 - the same
    from lungwort.wearers.exposure_limits import exposure_limits  # noqa: PLC0415 - the same

    _check(request)
    limits = exposure_limits(request.limits)
    found = (
        _from_files(request, now)
        if request.files or request.more
        else _from_record(where, request, now)
    )
    elsewhere = _not_chosen(limits, request)
    every = (*limits, *elsewhere)
    taken = [taken_from(log, name, every, found.trust) for name, log in found.logs.items()]
    stays = _stays(request, found.typed_zone)
    assumed = not stays
    airs = tuple(one.air for one in taken)
    for stay in stays:
        _not_ahead(stay, now)
    if assumed:
        for air in airs:
            span = _period(request, found.logs[air.outlet], found.typed_zone)
            _not_endless(air.outlet, *span)
            stays = (*stays, *worst_case((air,), *span))
    question = Question(
        airs=airs,
        stays=stays,
        limits=limits,
        surroundings=_surroundings(request),
        ambient_ppm=request.ambient_ppm,
        below_percent=request.below_percent,
        above_ppm=request.above_ppm,
        uncertainties=_by_analyte(found.uncertainties, every),
        elsewhere=elsewhere,
    )
    return calculation_of(
        Ground(
            question=question,
            people=people(question, assumed=assumed),
            zone=found.zone,
            now=now,
            chosen=request.limits,
            altitude_given=request.altitude_m is not None,
            oxygen_given=request.oxygen_percent is not None,
            left_out=tuple(text for one in taken for text in one.left_out),
            notes=(
                *found.notes,
                *(text for one in taken for text in one.remarks),
                *(
                    f"You said with --trust that the level of {one.upper()} is known to be true."
                    for one in dict.fromkeys(found.trust)
                ),
            ),
            stretches=tuple((one.air.outlet, each) for one in taken for each in one.stretches),
            files=tuple(
                (source.name, source.sha256, name)
                for name, log in found.logs.items()
                for source in log.sources
            ),
        )
    )


def _not_chosen(limits: Iterable[ExposureLimit], request: Request) -> tuple[ExposureLimit, ...]:
    """Give the limits of the sets that come with lungwort and were not chosen."""
    from lungwort.wearers.exposure_limits import exposure_limits  # noqa: PLC0415 - the same

    if not request.limits:
        return ()
    held = {one.set_id for one in limits}
    return tuple(one for one in exposure_limits() if one.set_id not in held)


def _not_endless(outlet: str, start: datetime, end: datetime) -> None:
    """Refuse a worst case of many days, through which nobody stays at an outlet."""
    days = (end - start).total_seconds() / 86_400.0
    if days > LONGEST_WORST_CASE_DAYS:
        raise ExposureError(
            f"nobody is named, and the readings of {outlet!r} reach over {days:.0f} days: nobody "
            f"breathes there as long as that without a break. Give the span of the bad air with "
            f"--from and --to, at most {LONGEST_WORST_CASE_DAYS} days, or who was there with --stay."
        )


def _check(request: Request) -> None:
    from lungwort.air.analytes import ANALYTES  # noqa: PLC0415 - keeps --help instant

    for one in request.reading.trust:
        if one not in ANALYTES:
            raise ExposureError(
                f"--trust {one!r} is no analyte. Give its short name, such as co or co2."
            )
    if request.stays and request.stays_file is not None:
        raise ExposureError(
            "stays were given with --stay and with --stays. Write all into the table, or give each "
            "with --stay."
        )
    if (request.begin or request.end) and (request.stays or request.stays_file is not None):
        raise ExposureError(
            "--from and --to are the period of the worst case; with stays these say when. Leave "
            "--from and --to out."
        )
    if not request.files and not request.more and evolve(request.reading, trust=()) != Reading():
        raise ExposureError(
            "it was said how a file is to be read, and no file was given; what is on record was read "
            "when it came in. Leave --zone and the like out, or name the file."
        )
    if request.files and len(request.outlets) > 1:
        raise ExposureError(
            f"the files are of one outlet, and {len(request.outlets)} were named. Give one --outlet, "
            "and the file of each other outlet with --log 'OUTLET=FILE'."
        )


def _from_files(request: Request, now: datetime) -> _Logs:
    from lungwort.logs.read import read_with  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict import decision  # noqa: PLC0415 - keeps --help instant

    options = request.reading.options()
    logs = {}
    if request.files:
        name = request.outlets[0] if request.outlets else _only_outlet(request)
        logs[name] = read_with(list(request.files), options, now=now)
    for name, path in request.more:
        if name in logs:
            raise ExposureError(
                f"there are two logs of the outlet {name!r}. Give the files of one outlet together."
            )
        logs[name] = read_with([path], options, now=now)
    zones = {log.zone for log in logs.values()}
    if len(zones) > 1:
        raise ExposureError(
            f"the logs were read in several time zones ({', '.join(sorted(zones))}). Give --zone."
        )
    notes = tuple(
        f"{name}: no time zone is stated in the file; its times and those of the stays were taken as "
        f"times of one clock, in {log.zone}."
        for name, log in logs.items()
        if not log.zone_stated
    )
    zone = zones.pop()
    # A file that states an offset says nothing of the clock by which people know when they worked.
    typed = zone if options.zone is not None or notes else None
    known = decision.uncertainties(request.uncertainties)
    return _Logs(logs, zone, typed, known, options.trust, notes)


def _only_outlet(request: Request) -> str:
    """Name the outlet of the files as the stays do, where they name one alone."""
    named = dict.fromkeys(one.outlet for one in _stays(request, "UTC"))
    for name, _ in request.more:
        named.pop(name, None)
    if not named:
        return "the outlet"
    if len(named) > 1:
        listed = ", ".join(repr(name) for name in named)
        raise ExposureError(
            f"the stays are on several outlets ({listed}). Say with --outlet which one the files are "
            "of, and give the log of each other with --log 'OUTLET=FILE'."
        )
    return next(iter(named))


def _from_record(where: Where, request: Request, now: datetime) -> _Logs:
    from lungwort.jobs.instrument_uncertainty import uncertainties_of  # noqa: PLC0415 - the same
    from lungwort.jobs.opening import opened, site_zone  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import LogImport, Outlet  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict import decision  # noqa: PLC0415 - keeps --help instant

    named = dict.fromkeys(one.outlet for one in _stays(request, "UTC"))
    if not named and not request.outlets:
        raise ExposureError(
            "no log was given. Name a logger's file, or an outlet on record with --outlet."
        )
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        places = {name: register.get(Outlet, name) for name in named}
        for name in request.outlets:
            place = register.get(Outlet, name)
            if place.id not in {one.id for one in places.values()}:
                places[place.name] = place
        zones = {site_zone(workspace, place) for place in places.values()}
        if len(zones) > 1:
            raise ExposureError(
                f"the outlets lie in several time zones ({', '.join(sorted(zones))}). Ask for each "
                "site apart."
            )
        zone = zones.pop()
        span = _span(request, zone)
        logs, used = {}, []
        for name, place in places.items():
            imports = register.all(LogImport, outlet_id=place.id)
            logs[name] = evolve(_stored(workspace, name, imports, span), zone=zone)
            used += imports
        known = uncertainties_of(take(register, now), used, ())
    if request.uncertainties is not None:
        known = decision.uncertainties(request.uncertainties)
    return _Logs(logs, zone, zone, known, request.reading.trust)


def _stored(
    workspace: Workspace,
    name: str,
    imports: Sequence[LogImport],
    span: tuple[datetime | None, datetime | None],
) -> Log:
    from lungwort.register.store import load_log  # noqa: PLC0415 - keeps --help instant

    if not imports:
        raise ExposureError(
            f"no log of the outlet {name!r} is on record. Bring one in with 'lungwort import'."
        )
    log = load_log(workspace, imports, start=span[0], end=span[1])
    if not log.rows:
        raise ExposureError(
            f"no reading of the outlet {name!r} is on record in the time asked for. Check the times, "
            "or bring the log in with 'lungwort import'."
        )
    return log


def _span(request: Request, zone: str) -> tuple[datetime | None, datetime | None]:
    stays = _stays(request, zone)
    if stays:
        return (
            min(one.start for one in stays) - BESIDE,
            max(one.end for one in stays) + BESIDE,
        )
    return _moment(request.begin, zone, "--from"), _moment(request.end, zone, "--to")


def _moment(text: str | None, zone: str | None, option: str) -> datetime | None:
    from lungwort.wearers.stays import moment  # noqa: PLC0415 - keeps --help instant

    return None if text is None else moment(text, zone, option)


def _period(request: Request, log: Log, zone: str | None) -> tuple[datetime, datetime]:
    begin = _moment(request.begin, zone, "--from") or log.start
    end = _moment(request.end, zone, "--to") or log.end
    if begin is None or end is None or begin >= end:
        raise ExposureError(
            "the period holds no time, or ends before it begins. Check --from and --to, and the log."
        )
    return begin, end


def _not_ahead(stay: Stay, now: datetime) -> None:
    if stay.end > now + timedelta(minutes=5):
        raise ExposureError(
            f"the stay of {stay.name} ends at {stay.end:%Y-%m-%d %H:%M} UTC, which lies ahead. Check "
            "the times and the time zone."
        )


def _stays(request: Request, zone: str | None) -> tuple[Stay, ...]:
    from lungwort.tomlfile import file_text  # noqa: PLC0415 - keeps --help instant
    from lungwort.wearers.stays import read_csv, read_stays  # noqa: PLC0415 - keeps --help instant

    if request.stays_file is not None:
        text = file_text(request.stays_file, "table of stays", ExposureError)
        return read_csv(text, zone, request.stays_file.name)
    return read_stays(request.stays, zone) if request.stays else ()


def _surroundings(request: Request) -> Surroundings:
    from lungwort.wearers.uptake_people import OXYGEN_PERCENT, Surroundings  # noqa: PLC0415 - the same

    return Surroundings(
        altitude_m=request.altitude_m or 0.0,
        oxygen_percent=OXYGEN_PERCENT if request.oxygen_percent is None else request.oxygen_percent,
    )


def _by_analyte(known: Uncertainties, limits: Iterable[ExposureLimit]) -> dict[str, Uncertainty]:
    from lungwort.air.analytes import quantity_of_unit  # noqa: PLC0415 - keeps --help instant

    found = {}
    for analyte, unit in {"co": "ppm", **{one.analyte: one.unit for one in limits}}.items():
        entry = known.of(analyte, quantity_of_unit(unit))
        if entry is not None:
            found[analyte] = entry
    return found
