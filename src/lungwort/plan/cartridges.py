"""When a cartridge is to be changed: by months, or by the running hours of the supply."""

from __future__ import annotations

import math
from datetime import date, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.plan.days import add_days, add_months, shown

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from decimal import Decimal

    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import CartridgeChange, Stage

DAY_AND_NIGHT_H: Final = 24.0
"""Most hours that a supply can run in a day [h/d]."""


@frozen
class MeterReading:
    """What an hour meter showed.

    Parameters
    ----------
    time : datetime
        When, UTC.
    hours : Decimal
        The reading [h].
    """

    time: datetime
    hours: Decimal


@frozen
class ChangeDue:
    """When a cartridge is to be changed.

    Parameters
    ----------
    day : date, optional
        Last day of its use; None where it cannot be told, or was never changed.
    why : str
        How that came about, as sentences.
    ever : bool
        Whether a change is on record.
    """

    day: date | None
    why: str
    ever: bool = True


def change_due(snapshot: Snapshot, stage: Stage) -> ChangeDue:
    """Tell when the cartridge of a stage is to be changed.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    stage : Stage
        The stage; it has an interval in hours, in months, or both.

    Returns
    -------
    ChangeDue
        The earlier of both. Running hours are drawn on in a straight line from the last reading
        of the hour meter, with the faster of the mean since the change and the last stretch; with
        no reading after the change, as if the supply ran day and night.
    """
    newest = max(
        (one for one in snapshot.cartridge_changes if one.stage_id == stage.id),
        key=lambda one: (one.time, one.seq),
        default=None,
    )
    if newest is None:
        return ChangeDue(None, "No change of its cartridge is on record.", ever=False)
    found = []
    changed = snapshot.day(newest.time, stage.supply_id)
    if stage.change_months is not None:
        why = f"Changed on {shown(changed)}, to be changed every {stage.change_months} months."
        found.append(ChangeDue(add_months(changed, stage.change_months), why))
    if stage.change_hours is not None:
        found.append(_by_hours(snapshot, stage, newest, stage.change_hours))
    unknown = [one for one in found if one.day is None]
    if unknown:
        return unknown[0]
    return min(found, key=lambda one: one.day or date.max)


def readings_of(snapshot: Snapshot, supply_id: str) -> tuple[MeterReading, ...]:
    """Give all readings of a supply's hour meter, those at changes of cartridges as well.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply_id : str
        The supply.

    Returns
    -------
    tuple of MeterReading
        In order of time.
    """
    stages = {stage.id for stage in snapshot.stages_of(supply_id)}
    found = [
        MeterReading(one.time, one.hours)
        for one in snapshot.running_hours
        if one.supply_id == supply_id
    ]
    found += [
        MeterReading(one.time, one.running_hours)
        for one in snapshot.cartridge_changes
        if one.stage_id in stages and one.running_hours is not None
    ]
    return tuple(sorted(found, key=lambda one: (one.time, one.hours)))


def _by_hours(
    snapshot: Snapshot, stage: Stage, change: CartridgeChange, allowed: Decimal
) -> ChangeDue:
    readings = readings_of(snapshot, stage.supply_id)
    changed = shown(snapshot.day(change.time, stage.supply_id))
    before = [one for one in readings if one.time <= change.time]
    start = change.running_hours
    if start is None and before:
        start = before[-1].hours  # the meter showed no less: the cartridge is not older than that
    if start is None:
        why = (
            f"To be changed every {allowed} running hours, and no reading of the hour meter up to "
            f"the change on {changed} is on record, so its hours cannot be told. Enter the reading."
        )
        return ChangeDue(None, why)
    run = [MeterReading(change.time, start), *(one for one in readings if one.time > change.time)]
    if any(later.hours < earlier.hours for earlier, later in pairwise(run)):
        why = (
            f"The hour meter went backwards after the change on {changed}, so the hours of the "
            "cartridge cannot be told. Correct the readings, or change it."
        )
        return ChangeDue(None, why)
    used, rate = run[-1].hours - start, _rate_h_d(run)
    days = math.floor(float(allowed - used) / rate)
    read = snapshot.day(run[-1].time, stage.supply_id)
    day = (
        add_days(read, days)
        if days >= 0
        else read - timedelta(days=min(-days, read.toordinal() - 1))
    )
    how = f"at {rate:.1f} h a day" if len(run) > 1 and used > 0 else "as if it ran day and night"
    why = (
        f"{used} h of {allowed} h were used by the reading of {shown(read)}, drawn on from there "
        f"{how}."
    )
    return ChangeDue(day, why)


def _rate_h_d(run: Sequence[MeterReading]) -> float:
    """Tell how fast hours are used: the faster of the mean and the last stretch [h/d]."""
    rates = []
    for first, last in ((run[0], run[-1]), (run[-2] if len(run) > 1 else run[0], run[-1])):
        days = (last.time - first.time) / timedelta(days=1)
        if days > 0:
            rates.append(float(last.hours - first.hours) / days)
    fastest = max(rates, default=0.0)
    return fastest if fastest > 0 else DAY_AND_NIGHT_H
