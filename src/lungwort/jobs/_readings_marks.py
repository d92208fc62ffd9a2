"""What is marked on the readings of an outlet: limits, excursions, stretches and moments."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from attrs import evolve, frozen

from lungwort.errors import LungwortError
from lungwort.register.model import BUMP_TEST

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.jobs._readings_store import Holding
    from lungwort.logs.model import Channel
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Outlet, Supply
    from lungwort.register.workspace import Workspace

HAND_TEST: Final = "hand_test"
STATE: Final = "state"
CARTRIDGE: Final = "cartridge"
CALIBRATION: Final = "calibration"
EVENT: Final = "event"

SETTLING: Final = "settling"
GAP: Final = "gap"
UNUSABLE: Final = "unusable"
DOUBTED: Final = "doubted"


@frozen
class Line:
    """A limit as a line over a channel.

    Parameters
    ----------
    key : str
        Key of the limit in its set.
    value : float
        Where it stands [unit of the channel].
    text : str
        Its sign, bound, unit and, of a limit on a mean, over how long.
    upper : bool
        Whether it is crossed upwards.
    required : bool
        False for advice.
    averaging : str
        Over how long a mean is held against it; ``any reading`` for none.
    outside_from : float
        Readings beyond this are outside [unit of the channel].
    """

    key: str
    value: float
    text: str
    upper: bool
    required: bool
    averaging: str
    outside_from: float


@frozen
class Excursion:
    """A stretch of time outside a limit, as a verdict on record has it.

    Parameters
    ----------
    channel, analyte, limit_key, direction : str
        Which channel, analyte and limit; ``above`` or ``below``.
    start, end : datetime
        From when to when, UTC.
    peak, limit : float, optional
        Furthest reading and the bound [unit].
    unit : str
        Unit of the limit.
    judged_at : datetime
        When the verdict was drawn, UTC.
    verdict_id : str
        The verdict.
    """

    channel: str
    analyte: str
    limit_key: str
    direction: str
    start: datetime
    end: datetime
    peak: float | None
    limit: float
    unit: str
    judged_at: datetime
    verdict_id: str


@frozen
class Aside:
    """A stretch whose readings are not judged, or are used with a doubt.

    Parameters
    ----------
    kind : str
        ``settling``, ``gap``, ``unusable`` or ``doubted``.
    channel : str
        Column name; empty for all channels.
    start, end : datetime
        From when to when, UTC.
    text : str
        Why, in words.
    readings : int
        How many readings [1]; 0 where there is none.
    """

    kind: str
    channel: str
    start: datetime
    end: datetime
    text: str
    readings: int = 0


@frozen
class Moment:
    """A moment that matters to who looks at readings.

    Parameters
    ----------
    time : datetime
        When, UTC.
    kind : str
        ``hand_test``, ``state``, ``cartridge``, ``calibration`` or ``event``.
    id : str
        Of the test, the supply or the instrument.
    text : str
        What, in words.
    """

    time: datetime
    kind: str
    id: str
    text: str


def limit_lines(
    snapshot: Snapshot, supply: Supply, channels: Sequence[Channel]
) -> tuple[dict[str, tuple[Line, ...]], tuple[str, ...]]:
    """Find the limits that hold for a supply, carried to its channels as a verdict does it.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply : Supply
        The supply.
    channels : sequence of Channel
        The channels.

    Returns
    -------
    tuple of (dict, tuple of str)
        Lines by column name, and what is to be told of limits that could not be drawn.
    """
    from lungwort.jobs.judging import limits_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.limits.model import Conditions  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper import chart  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.basis import NotComparable, basis  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.judge import judge  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.model import NOT_APPLICABLE  # noqa: PLC0415 - keeps --help instant

    try:
        limits = limits_of(snapshot, supply)
        conditions = Conditions(
            None if supply.pressure_bar_g is None else float(supply.pressure_bar_g),
            None if supply.lowest_temperature_c is None else float(supply.lowest_temperature_c),
        )
        # Without any evidence a verdict says which limits apply, and what they allow.
        said = judge(None, limits, supply=conditions)
    except LungwortError as error:
        return {}, (f"No limits are drawn: {error}",)
    lines: dict[str, tuple[Line, ...]] = {}
    told: list[str] = []
    for channel in channels:
        mine: list[Line] = []
        for finding in said.findings:
            limit = finding.limit
            if limit.analyte != channel.analyte or finding.verdict == NOT_APPLICABLE:
                continue
            held = evolve(said, findings=(evolve(finding, channels=(channel.name,)),))
            drawn, remarks = chart.limit_lines(held, channel)
            told.extend(remarks)
            how = basis(
                limit,
                finding.allowed,
                quantity=channel.quantity,
                unit=channel.unit,
                limit_set=limits,
                conditions=conditions,
            )
            if isinstance(how, NotComparable):
                continue
            for line in drawn:
                upper = line.text[:1] in "≤<"
                beyond = how.window.above_from if upper else how.window.below_from
                mine.append(
                    Line(
                        limit.key,
                        line.value,
                        line.text,
                        upper,
                        limit.required,
                        limit.averaging,
                        beyond,
                    )
                )
        lines[channel.name] = tuple(sorted(mine, key=lambda one: one.value))
    return lines, tuple(dict.fromkeys(told))


def excursions(
    workspace: Workspace, snapshot: Snapshot, outlet: Outlet
) -> tuple[tuple[Excursion, ...], tuple[str, ...]]:
    """List the excursions that verdicts on record found in logs of an outlet.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    snapshot : Snapshot
        The record.
    outlet : Outlet
        The outlet.

    Returns
    -------
    tuple of (tuple of Excursion, tuple of str)
        In the order of time; of one stretch that was judged more than once, as the newest verdict
        has it. And what could not be read.
    """
    kept: list[Excursion] = []
    told: list[str] = []
    mine = [one for one in snapshot.verdicts if one.outlet_id == outlet.id and one.log_import_ids]
    for record in sorted(mine, key=lambda one: (one.judged_at, one.seq), reverse=True):
        try:
            found = _excursions_of(record.result_sha256, workspace.read_file(record.result_sha256))
        except (LungwortError, ValueError, KeyError, TypeError) as error:
            told.append(
                f"The result of the verdict {record.id} could not be read, so its excursions are "
                f"not marked: {error}"
            )
            continue
        newer = list(kept)
        for one in found:
            whole = evolve(one, judged_at=record.judged_at, verdict_id=record.id)
            if not any(_holds(each, whole) for each in newer):
                kept.append(whole)
    return tuple(sorted(kept, key=lambda one: (one.start, one.channel, one.limit_key))), tuple(told)


def _holds(newer: Excursion, older: Excursion) -> bool:
    """Tell whether a newer verdict says of the same stretch, or more, what an older one says."""
    same = (newer.channel, newer.limit_key, newer.direction, newer.limit, newer.unit)
    return (
        same == (older.channel, older.limit_key, older.direction, older.limit, older.unit)
        and newer.start <= older.start
        and newer.end >= older.end
    )


@lru_cache(maxsize=256)
def _excursions_of(result_sha256: str, content: bytes) -> tuple[Excursion, ...]:  # noqa: ARG001 - part of the key
    result: dict[str, Any] = json.loads(content)
    never = datetime(1970, 1, 1, tzinfo=UTC)
    made = []
    for one in result["excursions"]:
        start = datetime.fromisoformat(one["start"]).astimezone(UTC)
        peak = one["peak"]
        made.append(
            Excursion(
                channel=one["channel"],
                analyte=one["analyte"],
                limit_key=one["limit_key"],
                direction=one["direction"],
                start=start,
                end=start + timedelta(seconds=float(one["duration_s"])),
                peak=None if peak is None else float(peak),
                limit=float(one["limit"]),
                unit=one["unit"],
                judged_at=never,
                verdict_id="",
            )
        )
    return tuple(made)


def asides(holding: Holding, start: datetime, end: datetime) -> tuple[Aside, ...]:
    """List what the imports say of stretches that are not judged or are doubted.

    Parameters
    ----------
    holding : Holding
        What there is of the outlet.
    start, end : datetime
        Stretches that touch this span are given, UTC.

    Returns
    -------
    tuple of Aside
        In the order of time, as they are, not cut to the span. Gaps of an import that another one
        fills are left out.
    """
    from lungwort.logs.model import BAD, MISSING, NOT_EVALUATED, SUSPECT  # noqa: PLC0415 - keeps --help instant

    names = {
        piece.record.id: dict(piece.names) for month in holding.months for piece in month.pieces
    }
    found: dict[tuple[object, ...], Aside] = {}
    for record, facts in holding.facts:
        others = [
            (other.start, other.end)
            for other, _ in holding.facts
            if other.id != record.id and other.start is not None and other.end is not None
        ]
        for one in facts.stretches:
            if one.end < start or one.start > end:
                continue
            if one.cause == GAP:
                filled = any(a <= one.end and b >= one.start for a, b in others)
                if filled:
                    continue
                kind = GAP
            elif one.cause == SETTLING or one.flag == NOT_EVALUATED:
                kind = SETTLING
            elif one.flag in {BAD, MISSING}:
                kind = UNUSABLE
            elif one.flag == SUSPECT:
                kind = DOUBTED
            else:
                continue
            channel = names.get(record.id, {}).get(one.channel, one.channel)
            aside = Aside(kind, channel, one.start, one.end, one.text or one.cause, one.readings)
            found[kind, channel, one.start, one.end, aside.text] = aside
    return tuple(sorted(found.values(), key=lambda each: (each.start, each.end, each.channel)))


def moments(
    snapshot: Snapshot, outlet: Outlet, supply: Supply, instrument_ids: Sequence[str]
) -> tuple[Moment, ...]:
    """List the moments that matter at an outlet.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    outlet : Outlet
        The outlet.
    supply : Supply
        Its supply.
    instrument_ids : sequence of str
        What measured there.

    Returns
    -------
    tuple of Moment
        In the order of time.
    """
    from lungwort.paper.states import STATE_WORDS  # noqa: PLC0415 - keeps --help instant

    stages = {one.id: one.name for one in snapshot.stages_of(supply.id)}
    tools = {one.id: one.name for one in snapshot.instruments}
    found = [
        Moment(one.ended, HAND_TEST, one.id, f"Test by hand: {one.procedure}, {one.state}")
        for one in snapshot.hand_tests
        if one.outlet_id == outlet.id
    ]
    found += [
        Moment(one.time, STATE, supply.id, f"{STATE_WORDS.get(one.state, one.state)}: {one.why}")
        for one in snapshot.states
        if one.supply_id == supply.id
    ]
    found += [
        Moment(one.time, CARTRIDGE, supply.id, f"Cartridge changed: {stages[one.stage_id]}")
        for one in snapshot.cartridge_changes
        if one.stage_id in stages
    ]
    found += [
        Moment(
            one.time,
            CALIBRATION,
            one.instrument_id,
            f"{tools.get(one.instrument_id, one.instrument_id)}: {one.kind.replace('_', ' ')}"
            f"{'' if one.passed else ', not passed'}",
        )
        for one in snapshot.calibrations
        # Bump tests are done daily: only one that was not passed matters here.
        if one.instrument_id in instrument_ids and not (one.kind == BUMP_TEST and one.passed)
    ]
    found += [
        Moment(one.time, EVENT, supply.id, f"{one.kind.replace('_', ' ').capitalize()}: {one.text}")
        for one in snapshot.events
        if one.supply_id == supply.id
    ]
    return tuple(sorted(found, key=lambda one: (one.time, one.kind, one.id)))
