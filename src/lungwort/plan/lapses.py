"""What a test or a log rests on, and was not in order at its time.

A lapse forbids no record. It makes a verdict that would conform 'not proven', and says why and
what to do.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from lungwort.air import units
from lungwort.air.analytes import ANALYTES
from lungwort.errors import QuantityError, SpotError
from lungwort.plan import calibrations
from lungwort.plan.days import shown
from lungwort.plan.snapshot import by_id
from lungwort.plan.stock import left
from lungwort.register.model import DONE
from lungwort.spot.indicator import MEANS as BANDED_INDICATOR
from lungwort.spot.parse import parse_spot
from lungwort.spot.run_model import DOUBT_MARK

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from lungwort.logs.model import Log
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import (
        HandTest,
        Instrument,
        InstrumentChannel,
        LogImport,
        Lot,
        Reading,
        Supply,
    )
    from lungwort.spot.model import SpotTest

_BY_SENSES: Final = ("odour", "liquid_water")
_ZERO_DRIFT_SHARE: Final = 0.05
"""Share of a range that a zero may drift below it where no uncertainty is on record: common
practice, no source."""


def person_lapses(
    snapshot: Snapshot, person_id: str | None, time: datetime, *, supply_id: str = ""
) -> tuple[str, ...]:
    """Tell why a person was not competent to test at a moment.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    person_id : str, optional
        The person.
    time : datetime
        The moment, UTC.
    supply_id : str
        Supply whose site's days count; empty for the latest of all sites.

    Returns
    -------
    tuple of str
        Sentences; empty where nothing is against it.
    """
    person = by_id(snapshot.persons, person_id)
    if person is None:
        return ("Who tested is not on record. Enter the person, and amend the test.",)
    if person.competent_until is None:
        return (
            (
                f"No competence of {person.name} to test is on record. Enter until when it holds, or "
                "have somebody competent test again."
            ),
        )
    if snapshot.day(time, supply_id) > person.competent_until:
        return (
            (
                f"The competence of {person.name} to test ended on {shown(person.competent_until)}. "
                "Enter its renewal, or have somebody competent test again."
            ),
        )
    return ()


def instrument_lapses(
    snapshot: Snapshot,
    instrument_id: str | None,
    time: datetime,
    *,
    supply_id: str = "",
    analyte: str = "",
) -> tuple[str, ...]:
    """Tell why an instrument could not be relied on at a moment.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    instrument_id : str, optional
        The instrument.
    time : datetime
        When it was read, UTC.
    supply_id : str
        Supply whose site's days count; empty for the latest of all sites.
    analyte : str
        The channel that was read; empty for the whole instrument, by its worst channel.

    Returns
    -------
    tuple of str
        Sentences; empty where nothing is against it. A fault that was found later counts too.
    """
    instrument = by_id(snapshot.instruments, instrument_id)
    if instrument is None:
        return (
            (
                "The instrument is not on record, so its calibration is not known. Enter it with its "
                "calibration, or test again with one on record."
            ),
        )
    told = list(_calibration_lapses(snapshot, instrument, time, supply_id, analyte))
    if calibrations.needs_bump(instrument, analyte):
        told += _bump_lapses(snapshot, instrument, time, supply_id, analyte)
    told += later_lapses(snapshot, instrument_id, time, supply_id=supply_id, analyte=analyte)
    return tuple(dict.fromkeys(told))


def later_lapses(
    snapshot: Snapshot,
    instrument_id: str | None,
    time: datetime,
    *,
    supply_id: str = "",
    analyte: str = "",
) -> tuple[str, ...]:
    """Tell what was learned of an instrument after a moment and puts its readings in doubt.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    instrument_id : str, optional
        The instrument.
    time : datetime
        When it was read, UTC.
    supply_id : str
        Supply whose site's days count; empty for the latest of all sites.
    analyte : str
        The channel that was read; empty for the whole instrument, by its worst channel.

    Returns
    -------
    tuple of str
        Sentences; empty where nothing was.
    """
    instrument = by_id(snapshot.instruments, instrument_id)
    if instrument is None:
        return ()
    cast = calibrations.doubt_cast_back(snapshot, instrument, time, analyte)
    if cast is None:
        return ()
    record, fault = cast
    day = shown(snapshot.day(record.time, supply_id))
    return (
        (
            f"After it was read the {_kind(record.kind)} of instrument {instrument.name} on {day} "
            f"{fault}. Test again with an instrument in order."
        ),
    )


def _kind(kind: str) -> str:
    return kind.replace("_", " ")


def _what(instrument: Instrument, standing: calibrations.Standing) -> str:
    """Name the instrument, and the channel where records cover some of its channels only."""
    if not standing.analyte:
        return f"instrument {instrument.name}"
    return f"instrument {instrument.name} for {_name(standing.analyte)}"


def _calibration_lapses(
    snapshot: Snapshot, instrument: Instrument, time: datetime, supply_id: str, analyte: str
) -> tuple[str, ...]:
    standing = calibrations.calibration_standing(snapshot, instrument, time, supply_id, analyte)
    what = _what(instrument, standing)
    day = shown(snapshot.day(time, supply_id))
    if standing.newest is None:
        return (
            (
                f"No calibration of {what} before {day} is on record. Enter it, "
                "or test again with an instrument in calibration."
            ),
        )
    if standing.fault:
        done = shown(snapshot.day(standing.newest.time, supply_id))
        return (
            (
                f"The calibration of {what} on {done} {standing.fault}. Test "
                "again with an instrument in calibration."
            ),
        )
    if standing.until is not None and snapshot.day(time, supply_id) > standing.until:
        return (
            (
                f"The calibration of {what} ended on {shown(standing.until)}, "
                f"before {day}. Have it calibrated and test again, or test with another."
            ),
        )
    return ()


def _bump_lapses(
    snapshot: Snapshot, instrument: Instrument, time: datetime, supply_id: str, analyte: str
) -> tuple[str, ...]:
    standing = calibrations.bump_standing(snapshot, instrument, time, supply_id, analyte)
    what = _what(instrument, standing)
    day = shown(snapshot.day(time, supply_id))
    if standing.newest is None:
        return (
            (
                f"No bump test of {what} before {day} is on record. Enter it, or "
                "bump it and test again."
            ),
        )
    if standing.fault:
        done = shown(snapshot.day(standing.newest.time, supply_id))
        return (
            (
                f"The {_kind(standing.newest.kind)} of {what} on {done} "
                f"{standing.fault}. Test again with an instrument in order."
            ),
        )
    if standing.until is not None and snapshot.day(time, supply_id) > standing.until:
        return (
            (
                f"The bump test of {what} held until {shown(standing.until)}, "
                f"and it was read on {day}. Bump it and test again."
            ),
        )
    return ()


def lot_lapses(
    snapshot: Snapshot,
    lot_id: str | None,
    time: datetime,
    *,
    needed: int = 0,
    supply_id: str = "",
) -> tuple[str, ...]:
    """Tell why a lot could not be used at a moment.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    lot_id : str, optional
        The lot.
    time : datetime
        The moment, UTC.
    needed : int
        How many are still to be taken from it [1]; 0 where its use is on record already.
    supply_id : str
        Supply whose site's days count; empty for the latest of all sites.

    Returns
    -------
    tuple of str
        Sentences; empty where nothing is against it.
    """
    lot = by_id(snapshot.lots, lot_id)
    if lot is None:
        return ("The lot is not on record. Enter it with its expiry, and amend the test.",)
    told = []
    if lot.expires is None:
        told.append(
            f"The expiry of lot {lot.name} is not on record. Enter it as printed, or test again "
            "with a lot in date."
        )
    elif snapshot.day(time, supply_id) > lot.expires:
        told.append(
            f"Lot {lot.name} expired on {shown(lot.expires)}. Test again with a lot in date."
        )
    if left(snapshot, lot.id, time) < needed:
        told.append(
            f"More of lot {lot.name} was used than came ({lot.stock}). Check which lot was used, "
            "and enter what came."
        )
    return tuple(told)


def hand_test_lapses(snapshot: Snapshot, hand_test: HandTest) -> tuple[str, ...]:
    """Tell what a test by hand rests on and was not in order at its time.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    hand_test : HandTest
        The test.

    Returns
    -------
    tuple of str
        Sentences; empty where all was in order.
    """
    outlet = by_id(snapshot.outlets, hand_test.outlet_id)
    supply_id = "" if outlet is None else outlet.supply_id
    told: list[str] = []
    if hand_test.state != DONE:
        why = f": {hand_test.why.rstrip('.')}" if hand_test.why else ""
        told.append(f"The test by hand is {hand_test.state}{why}. It is no evidence. Do it again.")
    told += person_lapses(snapshot, hand_test.tester_id, hand_test.started, supply_id=supply_id)
    for reading in hand_test.readings:
        told += reading_lapses(snapshot, hand_test, reading, supply_id=supply_id)
    return tuple(dict.fromkeys(told))


def reading_lapses(
    snapshot: Snapshot, hand_test: HandTest, reading: Reading, *, supply_id: str = ""
) -> tuple[str, ...]:
    """Tell what one reading of a test by hand rests on and was not in order.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    hand_test : HandTest
        The test.
    reading : Reading
        One of its readings.
    supply_id : str
        Supply whose site's days count; empty for the latest of all sites.

    Returns
    -------
    tuple of str
        Sentences; empty where all was in order.
    """
    try:
        spot = parse_spot(reading.text, time=reading.time)
    except SpotError as error:
        return (f"The reading {reading.text!r} cannot be understood: {error}",)
    told: list[str] = []
    if spot.means == BANDED_INDICATOR:
        told += _lubricant_lapses(by_id(snapshot.supplies, supply_id))
    if spot.analyte == "odour":
        told += _second_person_lapses(snapshot, hand_test)
    if reading.instrument_id is not None:
        told += instrument_lapses(
            snapshot,
            reading.instrument_id,
            reading.time,
            supply_id=supply_id,
            analyte=spot.analyte,
        )
        told += _reading_range(by_id(snapshot.instruments, reading.instrument_id), spot)
    if reading.lot_id is not None:
        told += lot_lapses(snapshot, reading.lot_id, reading.time, supply_id=supply_id)
        told += _lot_fits(by_id(snapshot.lots, reading.lot_id), spot)
    if reading.instrument_id is None and reading.lot_id is None and _needs_means(spot):
        told.append(
            f"It is not said what '{reading.text}' was read from. Amend the test with the "
            "instrument, or with the lot of the tube or indicator."
        )
    # What was found short in the test, such as too little flow, puts all that it says in doubt.
    told += [one.given for one in hand_test.answers if one.name.endswith(DOUBT_MARK)]
    return tuple(dict.fromkeys(told))


def _lubricant_lapses(supply: Supply | None) -> tuple[str, ...]:
    """Tell why a banded indicator may not show the oil of a supply (common practice, no source)."""
    if supply is None or supply.oil_lubricated is False or supply.lubricant:
        return ()
    return (
        (
            f"Which lubricant supply {supply.name} has is not known, and the banded indicator may not "
            "show it. Test oil with a detector tube for 15 min, or enter the lubricant with "
            "'lungwort supply change'."
        ),
    )


def _needs_means(spot: SpotTest) -> bool:
    return spot.analyte not in _BY_SENSES and ANALYTES[spot.analyte].in_air


def _second_person_lapses(snapshot: Snapshot, hand_test: HandTest) -> tuple[str, ...]:
    second = by_id(snapshot.persons, hand_test.second_person_id)
    if hand_test.second_person_id is None:
        return (
            (
                "No second person judged the odour: whoever works in the air no longer notices it. "
                "Have a second person judge it, and test again."
            ),
        )
    if hand_test.second_person_id == hand_test.tester_id:
        return (
            (
                "The odour was judged by the tester alone. Have a second person judge it, and test "
                "again."
            ),
        )
    if second is None:
        return ("Who judged the odour is not on record. Enter the person, and amend the test.",)
    return ()


def _lot_fits(lot: Lot | None, spot: SpotTest) -> tuple[str, ...]:
    if lot is None or lot.analyte in {"", spot.analyte}:
        return ()
    return (
        (
            f"Lot {lot.name} is for {_name(lot.analyte)}, and {_name(spot.analyte)} was read from it. "
            "Check which lot was used, and amend the test."
        ),
    )


def _reading_range(instrument: Instrument | None, spot: SpotTest) -> tuple[str, ...]:
    if instrument is None:
        return ()  # told already
    if spot.value is None:
        return _range_lapses(instrument, spot.analyte, (), "")
    ends = (spot.value.lower, spot.value.upper)
    return _range_lapses(
        instrument, spot.analyte, [end for end in ends if math.isfinite(end)], spot.value.unit
    )


def _range_lapses(
    instrument: Instrument, analyte: str, values: Iterable[float], unit: str
) -> tuple[str, ...]:
    """Hold readings [unit] against the range of the channel they came from."""
    if not instrument.channels:
        return ()
    fitting = [channel for channel in instrument.channels if channel.analyte == analyte]
    if not fitting:
        return (
            (
                f"Instrument {instrument.name} is not on record as measuring {_name(analyte)}. Enter "
                "its channel, or name the instrument that was read."
            ),
        )
    beyond = {id(channel): _beyond(channel, values, unit) for channel in fitting}
    if not all(beyond.values()):
        return ()
    return (
        (
            f"Instrument {instrument.name} measures {_name(analyte)} {_range_text(fitting[0])}, and a "
            "reading lies beyond it. Test again with one that reaches so far."
        ),
    )


def _beyond(channel: InstrumentChannel, values: Iterable[float], unit: str) -> bool:
    try:
        scaled = [units.scale(value, unit, channel.unit) for value in values]
    except QuantityError:
        return False  # another quantity than the range is stated for: nothing can be said
    low = -math.inf if channel.low is None else float(channel.low)
    high = math.inf if channel.high is None else float(channel.high)
    if channel.uncertainty is not None:
        slack = float(channel.uncertainty)
    else:
        slack = (high - low) * _ZERO_DRIFT_SHARE if math.isfinite(high - low) else 0.0
    return any(value > high or value < low - slack for value in scaled)


def _range_text(channel: InstrumentChannel) -> str:
    low = "" if channel.low is None else f"from {channel.low} {channel.unit}"
    high = "" if channel.high is None else f"up to {channel.high} {channel.unit}"
    return " ".join(part for part in (low, high) if part)


def _name(analyte: str) -> str:
    return ANALYTES[analyte].name if analyte in ANALYTES else analyte


def log_lapses(
    snapshot: Snapshot, log_import: LogImport, log: Log | None = None
) -> tuple[str, ...]:
    """Tell what an imported log rests on and was not in order at its end.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    log_import : LogImport
        The import.
    log : Log, optional
        Its readings: each channel is asked for, and held against the range of the instrument's;
        without it the whole instrument counts.

    Returns
    -------
    tuple of str
        Sentences; empty where all was in order.
    """
    outlet = by_id(snapshot.outlets, log_import.outlet_id)
    supply_id = "" if outlet is None else outlet.supply_id
    if log_import.instrument_id is None:
        return (
            (
                "It is not said which instrument made the log, so its calibration is not known. Import "
                "the log again and name the instrument."
            ),
        )
    if log_import.end is None:
        return ("The log has no reading with a time. Import a log that has.",)
    instrument = by_id(snapshot.instruments, log_import.instrument_id)
    told: list[str] = []
    for analyte in _channels_read(log, instrument) or ("",):
        told += instrument_lapses(
            snapshot,
            log_import.instrument_id,
            log_import.end,
            supply_id=supply_id,
            analyte=analyte,
        )
        told += later_lapses(
            snapshot,
            log_import.instrument_id,
            log_import.start or log_import.end,
            supply_id=supply_id,
            analyte=analyte,
        )
    if log is not None and instrument is not None:
        for analyte, unit, lowest, highest in _spans(log):
            told += _range_lapses(instrument, analyte, (lowest, highest), unit)
    return tuple(dict.fromkeys(told))


def _channels_read(log: Log | None, instrument: Instrument | None) -> tuple[str, ...]:
    """List what a log measures of the air, and what else its instrument is on record for."""
    if log is None:
        return ()
    own = () if instrument is None else [channel.analyte for channel in instrument.channels]
    read = [channel.analyte for channel in log.channels]
    return tuple(dict.fromkeys(key for key in read if ANALYTES[key].in_air or key in own))


def _spans(log: Log) -> list[tuple[str, str, float, float]]:
    """Give lowest and highest usable reading of each channel that measures the air."""
    import polars as pl  # noqa: PLC0415 - keeps --help instant

    from lungwort.logs.model import GOOD, flag_column  # noqa: PLC0415 - keeps --help instant

    spans = []
    for channel in log.channels:
        if not ANALYTES[channel.analyte].in_air:
            continue
        usable = pl.col(channel.name).filter(pl.col(flag_column(channel.name)) == GOOD)
        ends = [
            part.lazy()
            .select(usable.min().alias("low"), usable.max().alias("high"))
            .collect()
            .row(0)
            for part in log.parts
        ]
        found = [end for end in ends if end[0] is not None]
        if found:
            low, high = min(end[0] for end in found), max(end[1] for end in found)
            spans.append((channel.analyte, channel.unit, low, high))
    return spans
