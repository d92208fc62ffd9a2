"""From an outlet on record, or from files, to the days that trends are looked for in."""

from __future__ import annotations

import math
import re
from datetime import timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from attrs import evolve, field, frozen

from lungwort.errors import InputError, LungwortError
from lungwort.insight.statistics import Day, days_of
from lungwort.insight.trend import Bound
from lungwort.jobs.trend import Request, days_asked

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from datetime import date, datetime

    import polars as pl

    from lungwort.jobs._readings_store import Holding, Shelf
    from lungwort.jobs.opening import Where
    from lungwort.limits.model import Conditions, LimitSet
    from lungwort.logs.model import Channel, Log
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Outlet, Supply
    from lungwort.register.workspace import Workspace

TEMPERATURE: Final = "temperature"
BESIDE: Final = frozenset({"temperature", "pressure", "flow", "relative_humidity"})
"""What is logged beside the air; looked at only where it is asked for or has a limit."""
_USUAL_INTERVAL_S: Final = 60.0
DOUBTS_BACK: Final = timedelta(days=14)
"""How far back of the newest log its doubts count; own rule."""


@frozen
class Watched:
    """A channel with its days and limits.

    Parameters
    ----------
    channel : Channel
        The channel.
    days : tuple of Day
        Its days.
    bounds : tuple of Bound
        The strictest limit on each side; none where there is no limit.
    """

    channel: Channel
    days: tuple[Day, ...] = field(repr=False)
    bounds: tuple[Bound, ...] = ()


@frozen
class Known:
    """Something on record that can explain a step.

    Parameters
    ----------
    day : date
        When.
    kind : str
        ``calibration``, ``cartridge``, ``event`` or ``state``.
    text : str
        What, in words.
    """

    day: date
    kind: str
    text: str


@frozen(kw_only=True)
class Ground:
    """All that a calculation of trends rests on.

    Parameters
    ----------
    subject : str
        Of what.
    zone : str
        Time zone of the days.
    now : datetime
        The time, UTC.
    watched : tuple of Watched
        The channels that are looked at.
    temperature_c : dict of date to float
        Medians of the days [°C]; empty where no temperature is logged beside.
    known : tuple of Known
        What is on record, in the order of time.
    by_record : bool
        Whether there is a record to know it from.
    limit_set : str
        Limits that hold; empty for none.
    measure : str
        ``p95``, ``median`` or ``highest``.
    least_coverage : float
        Share of a day that must have been read, 0 to 1 [1].
    notes : tuple of str
        What must be told beside.
    files : tuple of (str, str)
        Names and digests of the files.
    doubts : tuple of str
        Why the readings themselves are in doubt.
    end : date, optional
        The newest day of any reading.
    """

    subject: str
    zone: str
    now: datetime
    watched: tuple[Watched, ...]
    temperature_c: dict[date, float] = field(factory=dict, repr=False)
    known: tuple[Known, ...] = ()
    by_record: bool = False
    limit_set: str = ""
    measure: str = "p95"
    least_coverage: float = 0.2
    notes: tuple[str, ...] = ()
    files: tuple[tuple[str, str], ...] = ()
    doubts: tuple[str, ...] = ()
    end: date | None = None


def from_record(where: Where, request: Request, *, now: datetime) -> Ground:
    """Take the readings of an outlet on record.

    Parameters
    ----------
    where : Where
        Which workspace.
    request : Request
        What is asked.
    now : datetime
        The time, UTC.

    Returns
    -------
    Ground
        What the calculation rests on.

    Raises
    ------
    UnknownRecordError
        Where there is no such outlet.
    InputError
        Where nothing is on record of it, or nothing of what is asked for.
    """
    from lungwort.jobs.opening import opened  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - the same
    from lungwort.register.model import Outlet  # noqa: PLC0415 - the same

    with opened(where, read_only=True) as workspace:
        snapshot = take(workspace.register, now)
        place = workspace.register.get(Outlet, request.outlet or "")
        return ground_of(workspace, snapshot, place, request)


def ground_of(workspace: Workspace, snapshot: Snapshot, place: Outlet, request: Request) -> Ground:
    """Take the readings of an outlet from an open workspace.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    snapshot : Snapshot
        The record.
    place : Outlet
        The outlet.
    request : Request
        What is asked of it.

    Returns
    -------
    Ground
        What the calculation rests on.

    Raises
    ------
    InputError
        Where nothing is on record of it, or nothing of what is asked for.
    """
    from lungwort.jobs import _readings_marks as marks  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs._readings_store import Shelf, holding  # noqa: PLC0415 - the same
    from lungwort.limits.model import Conditions  # noqa: PLC0415 - the same
    from lungwort.plan.snapshot import by_id  # noqa: PLC0415 - the same

    supply = by_id(snapshot.supplies, place.supply_id)
    if supply is None:
        raise InputError(
            f"The supply of the outlet {place.name} is not on record any more. Choose another outlet."
        )
    imports = [one for one in snapshot.log_imports if one.outlet_id == place.id]
    if not imports:
        raise InputError(
            f"no log of the outlet {place.name} is on record. Bring one in with 'lungwort import'."
        )
    clock = snapshot.zone(supply.id)
    held = holding(workspace, place.id, imports)
    days = days_of(
        _months(Shelf(workspace, place.id), held),
        held.channels,
        zone=clock.key,
        interval_s=_longest_interval(held),
    )
    limits, told = _limits_of(request, snapshot, supply)
    conditions = Conditions(
        None if supply.pressure_bar_g is None else float(supply.pressure_bar_g),
        None if supply.lowest_temperature_c is None else float(supply.lowest_temperature_c),
    )
    tools = [one.instrument_id for one in imports if one.instrument_id]
    ground = _ground(request, held.channels, days, limits, _conditions(request, conditions))
    return evolve(
        ground,
        subject=f"{supply.title or supply.name}, {place.name}",
        zone=clock.key,
        now=snapshot.now,
        by_record=True,
        end=max(
            (one.end.astimezone(clock).date() for one in imports if one.end is not None),
            default=None,
        ),
        known=tuple(
            Known(one.time.astimezone(clock).date(), one.kind, one.text)
            for one in marks.moments(snapshot, place, supply, tools)
            if one.kind != marks.HAND_TEST
        ),
        notes=(*told, *ground.notes, *_doubts(held)),
        doubts=_newest_doubts(held),
    )


def _limits_of(
    request: Request, snapshot: Snapshot, supply: Supply
) -> tuple[LimitSet | None, tuple[str, ...]]:
    from lungwort.jobs.judging import limits_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.limits.load import limit_set  # noqa: PLC0415 - the same

    if request.limits is not None:
        return limit_set(request.limits), ()
    try:
        return limits_of(snapshot, supply), ()
    except LungwortError as error:
        return None, (f"No limits are held against the days: {error}",)


def _months(shelf: Shelf, held: Holding) -> Iterator[pl.DataFrame]:
    for month in held.months:
        yield shelf.readings(month)[0]


def _longest_interval(held: Holding) -> float:
    steps = [facts.interval_s for _, facts in held.facts if facts.interval_s]
    return max(steps, default=_USUAL_INTERVAL_S)


def _newest_doubts(held: Holding) -> tuple[str, ...]:
    """Give the doubts of the newest logs: an old one says nothing of the days that count now."""
    ends = [one.end for one, _ in held.facts if one.end is not None]
    if not ends:
        return ()
    since = max(ends) - DOUBTS_BACK
    found = [
        doubt
        for one, facts in held.facts
        if one.end is not None and one.end >= since
        for doubt in facts.doubts
    ]
    return tuple(dict.fromkeys(found))


def _doubts(held: Holding) -> tuple[str, ...]:
    found = [doubt for _, facts in held.facts for doubt in facts.doubts]
    return tuple(dict.fromkeys(found))


def from_files(where: Where, request: Request, *, now: datetime) -> Ground:
    """Take the readings of logger's files.

    Parameters
    ----------
    where : Where
        Which workspace; not opened.
    request : Request
        What is asked.
    now : datetime
        The time, UTC.

    Returns
    -------
    Ground
        What the calculation rests on.

    Raises
    ------
    InputError
        Where the files cannot be read, or hold nothing of what is asked for.
    """
    from lungwort.limits.load import limit_set  # noqa: PLC0415 - keeps --help instant
    from lungwort.limits.model import Conditions  # noqa: PLC0415 - the same
    from lungwort.logs.read import read_with  # noqa: PLC0415 - the same

    del where
    limits = None if request.limits is None else limit_set(request.limits)
    log = read_with(list(request.files), request.reading.options(), now=now)
    days = days_of(
        log.frames(),
        log.channels,
        zone=log.zone,
        interval_s=log.interval_s or _USUAL_INTERVAL_S,
    )
    ground = _ground(request, log.channels, days, limits, _conditions(request, Conditions()))
    return evolve(
        ground,
        subject=request.outlet or log.outlet or ", ".join(one.name for one in log.sources),
        zone=log.zone,
        now=now,
        notes=(*_zone_note(log), *ground.notes, *map(_without_option, log.all_doubts)),
        doubts=tuple(map(_without_option, log.all_doubts)),
        end=None if log.end is None else log.end.astimezone(ZoneInfo(log.zone)).date(),
        files=tuple((one.name, one.sha256) for one in log.sources),
    )


def _without_option(doubt: str) -> str:
    """Take an option out of a doubt that only judging has, and end the sentence."""
    return re.sub(r"[^.;]*--trust \S+", "", doubt).rstrip(" .;,") + "."


def _conditions(request: Request, known: Conditions) -> Conditions:
    """Take the conditions that were given before those on record."""
    from lungwort.jobs.inputs import (  # noqa: PLC0415 - keeps --help instant
        parse_pressure_bar_g,
        parse_temperature_c,
    )

    if request.supply_pressure is not None:
        pressure, _ = parse_pressure_bar_g(request.supply_pressure, "--supply-pressure")
        known = evolve(known, supply_pressure_bar_g=pressure)
    if request.lowest_temperature is not None:
        lowest = parse_temperature_c(request.lowest_temperature, "--lowest-temperature")
        known = evolve(known, lowest_temperature_c=lowest)
    return known


def _zone_note(log: Log) -> tuple[str, ...]:
    if log.zone_stated:
        return ()
    return (f"No time zone is stated in the file; its days were taken as days of {log.zone}.",)


def _ground(
    request: Request,
    channels: Sequence[Channel],
    days: dict[str, tuple[Day, ...]],
    limits: LimitSet | None,
    conditions: Conditions,
) -> Ground:
    """Give all but what only the record or the files know."""
    from datetime import UTC, datetime  # noqa: PLC0415 - a stand-in

    begin, end = days_asked(request)
    notes: list[str] = []
    watched = []
    for channel in channels:
        bounds, told = bounds_of(limits, conditions, channel)
        if not _wanted(request, channel, bounds):
            continue
        notes.extend(told)
        within = tuple(
            one
            for one in days.get(channel.name, ())
            if (begin is None or one.day >= begin) and (end is None or one.day <= end)
        )
        watched.append(Watched(channel, within, bounds))
    if not watched:
        found = ", ".join(sorted({one.analyte for one in channels})) or "nothing"
        asked = (
            "anything but pressure and the like"
            if request.analyte is None
            else repr(request.analyte)
        )
        raise InputError(f"no readings of {asked} were found; there are readings of {found}.")
    if limits is not None and any(one.bounds for one in watched) and request.analyte is None:
        without = [one.channel.name for one in watched if not one.bounds]
        watched = [one for one in watched if one.bounds]
        if without:
            notes.append(f"No limit to hold against: {', '.join(without)}; not looked at.")
    return Ground(
        subject="",
        zone="UTC",
        now=datetime(1970, 1, 1, tzinfo=UTC),
        watched=tuple(watched),
        temperature_c=_temperatures(channels, days),
        limit_set="" if limits is None else f"{limits.title} ({limits.id})",
        measure=request.measure,
        least_coverage=request.least_coverage_percent / 100.0,
        notes=tuple(dict.fromkeys(notes)),
    )


def _wanted(request: Request, channel: Channel, bounds: Sequence[Bound]) -> bool:
    if request.analyte is not None:
        return request.analyte in {channel.analyte, channel.name}
    return bool(bounds) or channel.analyte not in BESIDE


def _temperatures(
    channels: Iterable[Channel], days: dict[str, tuple[Day, ...]]
) -> dict[date, float]:
    for channel in channels:
        if channel.analyte == TEMPERATURE and channel.unit == "°C" and days.get(channel.name):
            return {one.day: one.median for one in days[channel.name] if one.readings}
    return {}


def bounds_of(
    limits: LimitSet | None, conditions: Conditions, channel: Channel
) -> tuple[tuple[Bound, ...], tuple[str, ...]]:
    """Find the strictest limit on each side of a channel, carried to its unit as a verdict does it.

    Parameters
    ----------
    limits : LimitSet, optional
        The limits.
    conditions : Conditions
        What is known of the supply.
    channel : Channel
        The channel.

    Returns
    -------
    tuple of (tuple of Bound, tuple of str)
        Up to two limits, and what is to be told of those that cannot be held against it. Readings on
        the safe side of a bound keep the limit for sure.
    """
    from lungwort.limits.resolve import limit_text, resolve  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.basis import NotComparable, basis  # noqa: PLC0415 - the same

    if limits is None:
        return (), ()
    above: list[tuple[bool, float, Bound]] = []
    below: list[tuple[bool, float, Bound]] = []
    told = []
    for limit in limits:
        if limit.analyte != channel.analyte or limit.wording:
            continue
        allowed = resolve(limit, conditions)
        how = basis(
            limit,
            allowed,
            quantity=channel.quantity,
            unit=channel.unit,
            limit_set=limits,
            conditions=conditions,
        )
        if isinstance(how, NotComparable):
            told.append(f"{channel.name}: {how.reason}")
            continue
        if allowed.open_reason:
            told.append(f"{channel.name}: {allowed.open_reason}")
        name = limit_text(limit, allowed) + ("" if limit.required else ", advice")
        # Advice comes behind what is required, and only where nothing is.
        high, low = how.window.fits_to, how.window.fits_from
        if math.isfinite(high):
            above.append((not limit.required, high, Bound(high, upwards=True, name=name)))
        if math.isfinite(low):
            below.append((not limit.required, -low, Bound(low, upwards=False, name=name)))
    strictest = [min(side, key=lambda one: one[:2])[2] for side in (above, below) if side]
    return tuple(strictest), tuple(told)
