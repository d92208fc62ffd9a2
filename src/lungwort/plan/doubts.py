"""Why a verdict no longer proves what it said: what it rests on changed since."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lungwort.plan.lapses import later_lapses
from lungwort.plan.snapshot import by_id

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Supply, VerdictRecord


def doubt_of(snapshot: Snapshot, supply: Supply, record: VerdictRecord) -> str:
    """Tell why a verdict no longer proves what it said.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply : Supply
        The supply of its outlet.
    record : VerdictRecord
        The verdict.

    Returns
    -------
    str
        A sentence; empty where nothing is against it.
    """
    for given, kept, what in (
        (record.pressure_bar_g, supply.pressure_bar_g, "supply pressure"),
        (record.lowest_temperature_c, supply.lowest_temperature_c, "lowest temperature"),
    ):
        if given is not None and given != kept:
            return (
                f"The verdict was drawn with another {what} than is on record now. Judge it anew."
            )
    return _changed_since(snapshot, record) or _instruments_since(snapshot, supply, record)


def _changed_since(snapshot: Snapshot, record: VerdictRecord) -> str:
    for test_id in record.hand_test_ids:
        test = by_id(snapshot.hand_tests, test_id)
        if test is None:
            return "The verdict rests on a test by hand that was voided since. Test again."
        if test.seq > record.seq:
            return "The verdict rests on a test by hand that was amended since. Judge it anew."
    for import_id in record.log_import_ids:
        imported = by_id(snapshot.log_imports, import_id)
        if imported is None:
            return "The verdict rests on a log that was voided since. Judge other evidence."
        if imported.seq > record.seq:
            return "The verdict rests on a log whose import was corrected since. Judge it anew."
    return ""


def _instruments_since(snapshot: Snapshot, supply: Supply, record: VerdictRecord) -> str:
    """Tell what was learned later of the instruments behind a verdict."""
    read: list[tuple[str | None, datetime | None]] = []
    for test in snapshot.hand_tests:
        if test.id in record.hand_test_ids:
            read += [(reading.instrument_id, reading.time) for reading in test.readings]
    for imported in snapshot.log_imports:
        if imported.id in record.log_import_ids:
            read += [(imported.instrument_id, record.start or imported.start)]
    for instrument_id, time in read:
        if instrument_id is not None and time is not None:
            told = later_lapses(snapshot, instrument_id, time, supply_id=supply.id)
            if told:
                return told[0]
    return ""
