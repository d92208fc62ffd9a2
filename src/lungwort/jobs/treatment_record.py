"""What the record says of a supply's treatment: changes, hours, and the moisture behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve

from lungwort.plant.treatment import CO_CATALYST

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date, datetime

    from lungwort.jobs.opening import Where
    from lungwort.jobs.readings import Points
    from lungwort.jobs.treatment_result import Ground
    from lungwort.plan.snapshot import Snapshot
    from lungwort.plant.running import Running
    from lungwort.plant.treatment import TreatmentStage
    from lungwort.plant.treatment_moisture import Moisture, WaterReading
    from lungwort.plant.treatment_state import Decided, Facts, Planned
    from lungwort.register.model import CartridgeChange, Outlet, Stage, Supply

MOST_POINTS: Final = 3000
BEYOND_MG_M3: Final = 1e5
"""What a reading wetter than the formulas reach counts as, at the least [mg/m³]."""


def on_record(
    where: Where,
    ground: Ground,
    supply: str,
    *,
    until: date | None = None,
    highest_water_mg_m3: float | None = None,
) -> Ground:
    """Add what the record says of the stages of a plant sheet.

    Parameters
    ----------
    where : Where
        Which workspace.
    ground : Ground
        The sheet and the moment.
    supply : str
        Name or id of the supply.
    until : date, optional
        Day until which the cartridges shall last, where that is before the plan.
    highest_water_mg_m3 : float, optional
        Highest water content allowed behind the treatment, in place of the sheet's [mg/m³].

    Returns
    -------
    Ground
        With the facts and what they come to, stage by stage.

    Raises
    ------
    UnknownRecordError
        Where there is no such supply.
    """
    from lungwort.jobs.opening import opened  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.treatment_words import delivered_l_min  # noqa: PLC0415 - the same
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plant.treatment_life import stage_life  # noqa: PLC0415 - keeps --help instant
    from lungwort.plant.treatment_state import Facts, decide  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import Supply as SupplyRecord  # noqa: PLC0415 - beside its use

    with opened(where, read_only=True) as workspace:
        found = workspace.register.get(SupplyRecord, supply)
        snapshot = take(workspace.register, ground.now)
    told: list[tuple[Facts, Decided]] = []
    notes: list[str] = []
    for stage in ground.sheet.treatments:
        kept = _kept(snapshot, found, stage)
        change = None if kept is None else _newest_change(snapshot, kept)
        wet: tuple[Moisture, ...] = ()
        if change is not None and (stage.dries or stage.kind == CO_CATALYST):
            limit = highest_water_mg_m3
            if limit is None:
                limit = stage.highest_outlet_water_mg_m3
            wet, said = _moisture(where, snapshot, found, stage, change.time, limit)
            notes += said
        facts = Facts(
            life=stage_life(
                ground.sheet.treatments,
                stage.name,
                ground.intake,
                delivered_l_min=delivered_l_min(ground.sheet),
            ),
            running=None if change is None else _running(snapshot, found, change),
            planned=_planned(snapshot, kept, until),
            moisture=wet,
            upstream=tuple(
                decided
                for before, decided in told
                if before.life.stage.dries and stage.kind == CO_CATALYST
            ),
            now=ground.now,
            zone=snapshot.zone(found.id),
            past=(
                stage_life(ground.sheet.treatments, stage.name, ground.year)
                if ground.intake_given
                else None
            ),
        )
        told.append((facts, decide(facts)))
    return evolve(
        ground,
        subject=found.title or found.name,
        zone=snapshot.zone(found.id).key,
        told=tuple(told),
        notes=tuple(dict.fromkeys(notes)),
    )


def _kept(snapshot: Snapshot, supply: Supply, stage: TreatmentStage) -> Stage | None:
    wanted = stage.name.casefold()
    return next(
        (
            one
            for one in snapshot.stages_of(supply.id)
            if one.in_use and one.name.casefold() == wanted
        ),
        None,
    )


def _newest_change(snapshot: Snapshot, stage: Stage) -> CartridgeChange | None:
    return max(
        (
            one
            for one in snapshot.cartridge_changes
            if one.stage_id == stage.id and one.time <= snapshot.now
        ),
        key=lambda one: (one.time, one.seq),
        default=None,
    )


def _running(snapshot: Snapshot, supply: Supply, change: CartridgeChange) -> Running:
    from lungwort.plan.cartridges import readings_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.plant.running import MeterReading, running  # noqa: PLC0415 - the same

    readings = [
        MeterReading(one.time, float(one.hours))
        for one in readings_of(snapshot, supply.id)
        if one.time <= snapshot.now
    ]
    start = change.running_hours
    return running(readings, change.time, hours_at_start=None if start is None else float(start))


def _planned(snapshot: Snapshot, stage: Stage | None, until: date | None) -> Planned:
    from lungwort.plan.cartridges import change_due  # noqa: PLC0415 - keeps --help instant
    from lungwort.plant.treatment_state import Planned  # noqa: PLC0415 - keeps --help instant

    if stage is None:
        return Planned(
            until,
            "No stage of this name is on record for the supply. Add it with 'lungwort supply "
            "stage', under the name that the sheet gives it.",
            told=False,
        )
    if stage.change_hours is None and stage.change_months is None:
        return Planned(until, "" if until is None else "The day that was asked for.")
    due = change_due(snapshot, stage)
    if due.day is None:
        return Planned(until, due.why, told=False)
    if until is not None and until < due.day:
        return Planned(until, "The day that was asked for.")
    return Planned(due.day, due.why)


def _moisture(
    where: Where,
    snapshot: Snapshot,
    supply: Supply,
    stage: TreatmentStage,
    since: datetime,
    limit_mg_m3: float | None,
) -> tuple[tuple[Moisture, ...], list[str]]:
    from lungwort.plant.treatment_moisture import moisture  # noqa: PLC0415 - keeps --help instant

    found: list[Moisture] = []
    notes: list[str] = []
    pressure_bar_g = stage.pressure_bar_g
    if supply.pressure_bar_g is not None:
        pressure_bar_g = float(supply.pressure_bar_g)
    for outlet in snapshot.outlets_of(supply.id):
        readings = list(_by_hand(snapshot, outlet, since, pressure_bar_g, notes))
        readings += _logged(where, snapshot, outlet, since, pressure_bar_g, notes)
        found.append(moisture(outlet.name, readings, limit_mg_m3=limit_mg_m3))
    return tuple(found), notes


def _by_hand(
    snapshot: Snapshot,
    outlet: Outlet,
    since: datetime,
    pressure_bar_g: float | None,
    notes: list[str],
) -> Iterator[WaterReading]:
    import math  # noqa: PLC0415 - only here

    from lungwort.air.moisture import water_bounds  # noqa: PLC0415 - keeps --help instant
    from lungwort.errors import InputError  # noqa: PLC0415 - beside its use
    from lungwort.plant.treatment_moisture import WaterReading  # noqa: PLC0415 - the same
    from lungwort.register.model import DONE  # noqa: PLC0415 - beside its use
    from lungwort.spot.parse import parse_spot  # noqa: PLC0415 - keeps --help instant

    for test in snapshot.hand_tests:
        if test.outlet_id != outlet.id or test.state != DONE:
            continue
        for reading in test.readings:
            if not since < reading.time <= snapshot.now:
                continue
            try:
                spot = parse_spot(reading.text, time=reading.time)
                if spot.analyte != "water" or spot.value is None:
                    continue
                bounds = water_bounds(
                    spot.value,
                    spot.quantity,
                    "mass_concentration",
                    pressure_bar_g=pressure_bar_g,
                )
            except InputError as refused:
                notes.append(f"The reading {reading.text!r} at {outlet.name}: {refused}")
                continue
            open_ended = math.isinf(bounds.upper)
            high = bounds.lower if open_ended else bounds.upper
            yield WaterReading(
                reading.time,
                max(high, 0.0) if math.isfinite(high) else 0.0,
                outlet.name,
                "test by hand",
                open_ended,
            )


def _logged(
    where: Where,
    snapshot: Snapshot,
    outlet: Outlet,
    since: datetime,
    pressure_bar_g: float | None,
    notes: list[str],
) -> list[WaterReading]:
    """Give the highest usable reading of each day since."""
    from lungwort.jobs.readings import readings  # noqa: PLC0415 - keeps --help instant

    imports = [
        one
        for one in snapshot.log_imports
        if one.outlet_id == outlet.id and one.end is not None and one.end > since
    ]
    if not imports or since >= snapshot.now:
        return []
    shown = readings(
        where, outlet.id, now=snapshot.now, begin=since, end=snapshot.now, points=MOST_POINTS
    )
    found: list[WaterReading] = []
    for points in shown.channels:
        if points.channel.analyte == "water":
            found += of_days(points, outlet.name, shown.zone, pressure_bar_g, notes)
    return found


def of_days(
    points: Points, outlet: str, zone: str, pressure_bar_g: float | None, notes: list[str]
) -> list[WaterReading]:
    """Give the highest usable reading of each day of a channel of water.

    Parameters
    ----------
    points : Points
        The channel.
    outlet : str
        Name of the outlet.
    zone : str
        Time zone in which days are counted.
    pressure_bar_g : float, optional
        Line pressure, for dew points under pressure [bar(g)].
    notes : list of str
        What could not be used is added here.

    Returns
    -------
    list of WaterReading
        One a day.
    """
    from datetime import UTC, datetime  # noqa: PLC0415 - only here
    from zoneinfo import ZoneInfo  # noqa: PLC0415 - only here

    from lungwort.jobs.readings import OVER  # noqa: PLC0415 - keeps --help instant
    from lungwort.plant.treatment_moisture import WaterReading  # noqa: PLC0415 - the same

    rows = [
        (time_us, high, bool(mark & OVER))
        for time_us, high, mark in zip(points.time_us, points.high, points.marks, strict=True)
        if high is not None
    ]
    contents = _as_mg_m3([high for _, high, _ in rows], points, outlet, pressure_bar_g, notes)
    best: dict[date, WaterReading] = {}
    for (time_us, _, marked), mg_m3 in zip(rows, contents, strict=False):
        if mg_m3 is None:
            continue
        over = marked or mg_m3 >= BEYOND_MG_M3
        time = datetime.fromtimestamp(time_us / 1e6, UTC)
        day = time.astimezone(ZoneInfo(zone)).date()
        known = best.get(day)
        if known is None or (over, mg_m3) > (known.open_ended, known.high_mg_m3):
            best[day] = WaterReading(time, mg_m3, outlet, "log", over)
    return list(best.values())


def _as_mg_m3(
    values: Sequence[float],
    points: Points,
    outlet: str,
    pressure_bar_g: float | None,
    notes: list[str],
) -> list[float | None]:
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    from lungwort.air.moisture import convert_water  # noqa: PLC0415 - keeps --help instant
    from lungwort.errors import InputError  # noqa: PLC0415 - beside its use

    if not values:
        return []
    channel = points.channel
    try:
        made = convert_water(
            np.asarray(values, dtype=np.float64),
            channel.quantity,
            "mass_concentration",
            pressure_bar_g=pressure_bar_g,
            from_unit=channel.unit,
        )
    except InputError as refused:
        notes.append(f"The logged channel {channel.name} at {outlet} was not used: {refused}")
        return []
    high = np.asarray(made.high, dtype=np.float64)
    if np.isinf(high).any():
        notes.append(
            f"{int(np.isinf(high).sum())} readings of {channel.name} at {outlet} are wetter than "
            f"the formulas reach; they count as {BEYOND_MG_M3:g} mg/m3 or more."
        )
    return [None if np.isnan(one) else min(max(float(one), 0.0), BEYOND_MG_M3) for one in high]
