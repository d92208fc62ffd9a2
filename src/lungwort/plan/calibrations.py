"""Whether an instrument could be trusted at a moment: calibrations and bump tests."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air.analytes import ANALYTES
from lungwort.plan import rules
from lungwort.plan.choice import strictest
from lungwort.plan.days import add_days, add_months
from lungwort.register.model import BUMP_TEST, CALIBRATION

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Calibration, CalibrationRow, Instrument

_GAS_UNITS: Final = ("ppm", "%")


@frozen
class Standing:
    """How an instrument stood with its calibration, or its bump test.

    Parameters
    ----------
    newest : Calibration, optional
        The newest record that counts; None where there is none.
    fault : str
        Why it may not be used by it, as part of a sentence; empty where it passed.
    until : date, optional
        Last day on which it holds; None where there is none, or it did not pass.
    rule : str
        Where the interval comes from.
    analyte : str
        The channel it is of, where a record before it covers some channels only; else empty. So
        with ``newest`` None other channels have a record and this one has none.
    """

    newest: Calibration | None
    fault: str = ""
    until: date | None = None
    rule: str = ""
    analyte: str = ""


def left_at_fault(record: Calibration, analyte: str = "") -> str:
    """Tell why an instrument may not be used after a calibration or bump test.

    Parameters
    ----------
    record : Calibration
        The record.
    analyte : str
        Channel whose rows count; empty for all.

    Returns
    -------
    str
        Part of a sentence; empty where it may be used.
    """
    if not record.passed:
        return "did not pass"
    for row in _rows(record, analyte):
        left = row.as_found if row.as_left is None else row.as_left
        if row.tolerance is not None and abs(left - row.reference) > row.tolerance:
            return (
                f"left {row.analyte} at {left} {row.unit} instead of {row.reference} {row.unit}, "
                f"beyond its tolerance of {row.tolerance} {row.unit}"
            )
    return ""


def found_at_fault(record: Calibration, analyte: str = "") -> str:
    """Tell why readings before a calibration or bump test are in doubt.

    Parameters
    ----------
    record : Calibration
        The record.
    analyte : str
        Channel whose rows count; empty for all.

    Returns
    -------
    str
        Part of a sentence; empty where they are not.
    """
    for row in _rows(record, analyte):
        if row.tolerance is not None and abs(row.as_found - row.reference) > row.tolerance:
            return (
                f"found {row.analyte} at {row.as_found} {row.unit} instead of {row.reference} "
                f"{row.unit}, beyond its tolerance of {row.tolerance} {row.unit}"
            )
    return "" if record.passed else "did not pass"


def calibration_standing(
    snapshot: Snapshot,
    instrument: Instrument,
    time: datetime,
    supply_id: str = "",
    analyte: str = "",
) -> Standing:
    """Tell how the calibration of an instrument, or of one channel, stood at a moment.

    A record with rows covers the channels that its rows name; one without covers all, because
    its paper is of the whole instrument (as stated by who entered it).

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    instrument : Instrument
        The instrument.
    time : datetime
        The moment, UTC.
    supply_id : str
        Supply whose site's days count; empty for the latest of all sites.
    analyte : str
        The channel; empty for the one that stands worst.

    Returns
    -------
    Standing
        Held until the day on its paper or by the instrument's own interval, whichever ends
        earlier; where neither is known by the strictest rule set of the sites in use.
    """
    if not analyte and (keys := _keys(instrument)):
        return _worst(
            calibration_standing(snapshot, instrument, time, supply_id, key) for key in keys
        )
    records = _of(snapshot, instrument, (CALIBRATION,))
    newest = _newest(records, time, analyte)
    named = _named(records, time, analyte)
    plan = strictest(snapshot, rules.CALIBRATION)
    months, rule = instrument.calibration_months, "the instrument's own interval"
    if newest is None:
        if months is None:
            rule = plan.said(rules.CALIBRATION)
        return Standing(None, rule=rule, analyte=named)
    ends = [] if newest.valid_until is None else [(newest.valid_until, "its paper")]
    if months is None and not ends:
        months, rule = plan.rule(rules.CALIBRATION).value, plan.said(rules.CALIBRATION)
    if months is not None:
        ends.append((add_months(snapshot.day(newest.time, supply_id), months), rule))
    until, rule = min(ends)
    fault = left_at_fault(newest, analyte)
    return Standing(newest, fault, None if fault else until, rule, named)


def bump_standing(
    snapshot: Snapshot,
    instrument: Instrument,
    time: datetime,
    supply_id: str = "",
    analyte: str = "",
) -> Standing:
    """Tell how an instrument's bump test stood at a moment; parameters as `calibration_standing`.

    Of the whole instrument the channels count that are offered gas.

    Returns
    -------
    Standing
        A calibration counts as a bump test, because gas was offered to the cells (common
        practice, no source).
    """
    keys = [key for key in _keys(instrument) if _is_gas(key)]
    if not analyte and keys:
        return _worst(bump_standing(snapshot, instrument, time, supply_id, key) for key in keys)
    records = _of(snapshot, instrument, (BUMP_TEST, CALIBRATION))
    newest = _newest(records, time, analyte)
    named = _named(records, time, analyte)
    plan = strictest(snapshot, rules.BUMP_TEST)
    days, rule = instrument.bump_days, "the instrument's own interval"
    if days is None:
        days, rule = plan.rule(rules.BUMP_TEST).value, plan.said(rules.BUMP_TEST)
    if newest is None:
        return Standing(None, rule=rule, analyte=named)
    until = add_days(snapshot.day(newest.time, supply_id), days)
    if newest.kind == BUMP_TEST and newest.valid_until is not None:
        until = min(until, newest.valid_until)
    fault = left_at_fault(newest, analyte)
    return Standing(newest, fault, None if fault else until, rule, named)


def needs_bump(instrument: Instrument, analyte: str = "") -> bool:
    """Tell whether an instrument, or one channel, is bump tested: a gas, or it is not known.

    Dew point meters, oil indicators, gauges and flow meters are not offered gas: common practice,
    no source.
    """
    if analyte:
        return _is_gas(analyte)
    keys = _keys(instrument)
    return not keys or any(_is_gas(key) for key in keys)


def doubt_cast_back(
    snapshot: Snapshot, instrument: Instrument, time: datetime, analyte: str = ""
) -> tuple[Calibration, str] | None:
    """Find what was learned later that puts readings of a moment in doubt.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    instrument : Instrument
        The instrument.
    time : datetime
        When it was read, UTC.
    analyte : str
        The channel that was read; empty for any.

    Returns
    -------
    tuple of (Calibration, str), optional
        The next calibration of the channel after it, or the next bump test where no calibration
        lies between, and what it found; None where neither found a fault.
    """
    # A record of other channels must not hide a later one that found this channel at fault.
    for key in (analyte,) if analyte else ("", *_keys(instrument)):
        for kinds in ((BUMP_TEST, CALIBRATION), (CALIBRATION,)):
            after = [
                one
                for one in _of(snapshot, instrument, kinds)
                if one.time > time and _covers(one, key)
            ]
            first = min(after, key=lambda one: (one.time, one.seq), default=None)
            if first is not None and (fault := found_at_fault(first, key)):
                return first, fault
    return None


def _is_gas(key: str) -> bool:
    return key not in ANALYTES or ANALYTES[key].unit in _GAS_UNITS


def _keys(instrument: Instrument) -> tuple[str, ...]:
    return tuple(dict.fromkeys(channel.analyte for channel in instrument.channels))


def _rows(record: Calibration, analyte: str) -> list[CalibrationRow]:
    return [row for row in record.rows if analyte in {"", row.analyte}]


def _covers(record: Calibration, analyte: str) -> bool:
    return not analyte or not record.rows or bool(_rows(record, analyte))


def _worst(standings: Iterable[Standing]) -> Standing:
    """Choose none on record before one at fault before the one that ends first."""
    return min(
        standings,
        key=lambda one: (one.newest is not None, not one.fault, one.until or date.max),
    )


def _named(records: Iterable[Calibration], time: datetime, analyte: str) -> str:
    return analyte if any(one.rows for one in records if one.time <= time) else ""


def _of(snapshot: Snapshot, instrument: Instrument, kinds: tuple[str, ...]) -> list[Calibration]:
    return [
        one
        for one in snapshot.calibrations
        if one.instrument_id == instrument.id and one.kind in kinds
    ]


def _newest(records: Iterable[Calibration], time: datetime, analyte: str) -> Calibration | None:
    before = [one for one in records if one.time <= time and _covers(one, analyte)]
    return max(before, key=lambda one: (one.time, one.seq), default=None)
