"""Why a verdict no longer proves what it said: what it rests on changed since."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import SpotError
from lungwort.plan.lapses import (
    instrument_lapses,
    later_lapses,
    log_lapses,
    person_lapses,
    reading_lapses,
)
from lungwort.plan.snapshot import by_id
from lungwort.register.model import DONE
from lungwort.spot.parse import parse_spot
from lungwort.verdict.model import CONFORMS

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import (
        HandTest,
        LimitWord,
        LogImport,
        Reading,
        Supply,
        VerdictRecord,
    )

_LOG: Final = "log"
_SUPPLY_FACTS: Final = (
    ("lubricant", "lubricant"),
    ("oil_lubricated", "word on whether it is oil-lubricated"),
    ("intake", "intake"),
    ("kind", "kind"),
)
"""Facts of a supply on which its air depends, beside those that a verdict holds itself."""


@frozen
class _Carrier:
    """Evidence that may carry a verdict's word on a limit."""

    time: datetime | None
    lapses: tuple[str, ...]


def doubt_of(snapshot: Snapshot, supply: Supply, record: VerdictRecord, key: str = "") -> str:
    """Tell why a verdict no longer proves what it said.

    What the evidence rests on is looked at as it stood at its time, by what is on record now: a
    competence, a lot or a calibration that ended since takes nothing away, and one that was
    taken back does.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    supply : Supply
        The supply of its outlet.
    record : VerdictRecord
        The verdict.
    key : str
        The limit whose evidence is asked about; empty for all that it requires.

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
    return (
        _supply_since(snapshot, supply, record)
        or _changed_since(snapshot, record)
        or _evidence_since(snapshot, supply, record, key)
    )


def _supply_since(snapshot: Snapshot, supply: Supply, record: VerdictRecord) -> str:
    """Tell what of the supply was changed after a verdict was recorded, once or for good."""
    versions = sorted(
        (one for one in snapshot.supply_versions if one.id == supply.id),
        key=lambda one: (one.seq, one.version),
    )
    before = [one for one in versions if one.seq <= record.seq]
    if not before:
        return ""
    since = [one for one in versions if one.seq > record.seq]
    for field, what in _SUPPLY_FACTS:
        if any(getattr(one, field) != getattr(before[-1], field) for one in since):
            return (
                f"The {what} of supply {supply.name} was changed on record after the verdict. Test "
                "again; if it was only written down wrongly, judge anew."
            )
    return ""


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


def _evidence_since(snapshot: Snapshot, supply: Supply, record: VerdictRecord, key: str) -> str:
    """Tell what was not in order with the evidence of a limit that no other evidence carries."""
    tests = [
        one
        for one in snapshot.hand_tests
        if one.id in record.hand_test_ids and one.state == DONE and one.readings
    ]
    imports = [one for one in snapshot.log_imports if one.id in record.log_import_ids]
    for word in record.limits:
        if word.verdict != CONFORMS or not (word.key == key if key else word.required):
            continue
        carriers = _by_hand(snapshot, supply, tests, word.analyte)
        if word.means == _LOG and imports:
            carriers.append(_logged(snapshot, supply, record, imports, word))
        told = _against(word, carriers)
        if not carriers:
            # What was worked out from other evidence rests on all of it.
            everything = [
                *_by_hand(snapshot, supply, tests, ""),
                *(_Carrier(None, _log(snapshot, supply, record, one, "")) for one in imports),
            ]
            told = next((one.lapses[0] for one in everything if one.lapses), "")
        if told:
            return told
    return ""


def _against(word: LimitWord, carriers: list[_Carrier]) -> str:
    """Tell the lapse of what carries a word, unless what is as new carries it without one."""
    counting = [
        one
        for one in carriers
        if word.evidence_time is None or one.time is None or one.time >= word.evidence_time
    ] or carriers
    if any(not one.lapses for one in counting):
        return ""
    return next((one.lapses[0] for one in counting), "")


def _by_hand(
    snapshot: Snapshot, supply: Supply, tests: list[HandTest], analyte: str
) -> list[_Carrier]:
    """Give the readings of an analyte, or of all, with what was not in order with each."""
    found = []
    for test in tests:
        tester = person_lapses(snapshot, test.tester_id, test.started, supply_id=supply.id)
        for reading in test.readings:
            if analyte and _read(reading) not in {analyte, ""}:
                continue
            own = reading_lapses(snapshot, test, reading, supply_id=supply.id)
            found.append(_Carrier(reading.time, (*tester, *own)))
    return found


def _read(reading: Reading) -> str:
    """Tell the analyte that was read; empty where it cannot be understood."""
    return _analyte_of(reading.text)


@lru_cache(maxsize=4096)
def _analyte_of(text: str) -> str:
    try:
        return parse_spot(text).analyte
    except SpotError:
        return ""


def _logged(
    snapshot: Snapshot,
    supply: Supply,
    record: VerdictRecord,
    imports: list[LogImport],
    word: LimitWord,
) -> _Carrier:
    """Give the logs as one, with what was not in order with any that may measure the analyte."""
    told: list[str] = []
    measuring = [one for one in imports if _may_measure(snapshot, one, word.analyte)]
    for one in measuring:
        told += _log(snapshot, supply, record, one, word.analyte)
    if not measuring:
        for one in imports:
            told += _log(snapshot, supply, record, one, "")
    return _Carrier(None, tuple(told))


def _may_measure(snapshot: Snapshot, imported: LogImport, analyte: str) -> bool:
    instrument = by_id(snapshot.instruments, imported.instrument_id)
    if instrument is None or not instrument.channels:
        return True
    return any(channel.analyte == analyte for channel in instrument.channels)


def _log(
    snapshot: Snapshot, supply: Supply, record: VerdictRecord, imported: LogImport, analyte: str
) -> tuple[str, ...]:
    """Tell what was not in order with a log, for one channel or for the worst."""
    if imported.instrument_id is None or imported.end is None:
        return log_lapses(snapshot, imported)
    begun = record.start or imported.start or imported.end
    return (
        *instrument_lapses(
            snapshot, imported.instrument_id, imported.end, supply_id=supply.id, analyte=analyte
        ),
        *later_lapses(
            snapshot, imported.instrument_id, begun, supply_id=supply.id, analyte=analyte
        ),
    )
