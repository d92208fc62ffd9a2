"""Why a verdict no longer proves what it said, by what is on record now."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from attrs import evolve
from tests.plan import build_yard as yard

from lungwort.plan.doubts import doubt_of
from lungwort.plan.snapshot import Snapshot
from lungwort.register.model import (
    CalibrationRow,
    LimitWord,
    Reading,
    Supply,
    VerdictRecord,
)

TIME = yard.ago(10)
CO_ALONE = evolve(
    yard.BUMPED,
    id="c-co",
    rows=(CalibrationRow("co", "ppm", Decimal(20), Decimal(20), None, Decimal(2)),),
)


def _word(key: str, **more: Any) -> LimitWord:
    given: dict[str, Any] = {
        "key": key,
        "analyte": key,
        "verdict": "conforms",
        "required": True,
        "means": "hand test",
        "evidence_time": TIME,
    }
    return LimitWord(**(given | more))


def _verdict(*keys: str, **more: Any) -> VerdictRecord:
    given: dict[str, Any] = {
        "limits": tuple(_word(key) for key in keys or ("co", "oil", "odour")),
        "hand_test_ids": ("test-1",),
    }
    return yard.verdict(TIME, **(given | more))


def _yard(**more: Any) -> Snapshot:
    given: dict[str, Any] = {
        "hand_tests": (yard.hand_test(TIME),),
        "log_imports": (yard.log_import(TIME - timedelta(days=1), TIME),),
    }
    return yard.yard(**(given | more))


def _persons(until: date) -> dict[str, Any]:
    return {"persons": (yard.WENNA, evolve(yard.IDRIS, competent_until=until))}


def _lots(until: date) -> dict[str, Any]:
    return {"lots": (evolve(yard.TUBES, expires=until),)}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_persons(date(2026, 1, 1)), "The competence of Idris Pellow to test ended on 1 Jan 2026"),
        (_lots(date(2026, 1, 1)), "Lot oil-a expired on 1 Jan 2026"),
        ({"lots": ()}, "The lot is not on record"),
        ({"calibrations": (yard.BUMPED,)}, "No calibration of instrument four-gas before"),
        ({"calibrations": (yard.CALIBRATED,)}, "The bump test of instrument four-gas held until"),
        ({"calibrations": ()}, "No calibration of instrument four-gas before"),
        ({"instruments": ()}, "The instrument is not on record"),
        ({"persons": (yard.IDRIS,)}, "Who judged the odour is not on record"),
    ],
)
def test_what_the_evidence_rests_on_is_taken_back(change: dict[str, Any], words: str) -> None:
    """The verdict proves nothing any more; in order it does."""
    assert doubt_of(_yard(), yard.SUPPLY, _verdict()) == ""
    assert doubt_of(_yard(**change), yard.SUPPLY, _verdict()).startswith(words)


@pytest.mark.parametrize(
    "change", [_persons(date(2026, 6, 5)), _lots(date(2026, 6, 5)), _persons(date(2029, 1, 1))]
)
def test_what_ended_after_the_test_takes_nothing_away(change: dict[str, Any]) -> None:
    """The test was on 5 June: its own day is in time."""
    assert doubt_of(_yard(**change), yard.SUPPLY, _verdict()) == ""


def test_a_calibration_that_ran_out_since_takes_nothing_away() -> None:
    """It is asked how it stood on the day of the test."""
    later = evolve(_yard(), now=yard.NOW + timedelta(days=900))

    assert doubt_of(later, yard.SUPPLY, _verdict()) == ""


def test_a_lapse_in_what_carries_no_limit_does_no_harm() -> None:
    """An unused reading, a limit that is advice, one that is undecided, one not asked about."""
    gone = _yard(**_lots(date(2026, 1, 1)))

    assert doubt_of(gone, yard.SUPPLY, _verdict("co", "odour")) == ""
    for more in ({"required": False}, {"verdict": "undecided"}):
        record = _verdict(limits=(_word("co"), _word("oil", **more)))
        assert doubt_of(gone, yard.SUPPLY, record) == ""
    assert doubt_of(gone, yard.SUPPLY, _verdict(), "co") == ""
    assert doubt_of(gone, yard.SUPPLY, _verdict(), "oil").startswith("Lot oil-a expired")


def test_another_test_carries_the_limit() -> None:
    """Where it is as new as the verdict's word, and itself in order."""
    other = yard.hand_test(
        TIME, "test-2", readings=(Reading("oil=<0.5 mg/m3", TIME, lot_id="lot-2"),)
    )
    lots = (evolve(yard.TUBES, expires=date(2026, 1, 1)), evolve(yard.TUBES, id="lot-2"))
    both = _yard(hand_tests=(yard.hand_test(TIME), other), lots=lots)
    record = _verdict(hand_test_ids=("test-1", "test-2"))

    assert doubt_of(both, yard.SUPPLY, record) == ""
    older = evolve(other, readings=(evolve(other.readings[0], time=TIME - timedelta(days=1)),))
    stale = evolve(both, hand_tests=(yard.hand_test(TIME), older))
    assert doubt_of(stale, yard.SUPPLY, record).startswith("Lot oil-a expired")
    timeless = evolve(record, limits=(_word("oil", evidence_time=None),))
    assert doubt_of(stale, yard.SUPPLY, timeless) == ""
    newer = evolve(record, limits=(_word("oil", evidence_time=TIME + timedelta(hours=1)),))
    assert doubt_of(both, yard.SUPPLY, newer) == ""


def test_a_log_carries_the_limit() -> None:
    """Its channels are asked for one by one; a bump test of one covers no other."""
    record = _verdict(
        limits=(_word("co", means="log"), _word("o2", means="log")),
        hand_test_ids=(),
        log_import_ids=("log-1",),
    )
    assert doubt_of(_yard(), yard.SUPPLY, record) == ""
    bumped = _yard(calibrations=(yard.CALIBRATED, CO_ALONE))
    assert doubt_of(bumped, yard.SUPPLY, record, "co") == ""
    assert "for oxygen" in doubt_of(bumped, yard.SUPPLY, record)
    bare = evolve(bumped, instruments=(evolve(yard.METER, channels=()),))
    assert "for oxygen" in doubt_of(bare, yard.SUPPLY, record)
    timeless = _yard(log_imports=(evolve(yard.log_import(TIME, TIME), start=None, end=None),))
    assert doubt_of(timeless, yard.SUPPLY, record).startswith("The log has no reading with a time")


def test_a_log_in_order_stands_in_for_a_test() -> None:
    """Where the verdict's word rests on the log."""
    record = _verdict(limits=(_word("co", means="log"),), log_import_ids=("log-1",))

    assert doubt_of(_yard(**_persons(date(2026, 1, 1))), yard.SUPPLY, record) == ""
    by_hand = evolve(record, limits=(_word("co"),))
    told = doubt_of(_yard(**_persons(date(2026, 1, 1))), yard.SUPPLY, by_hand)
    assert told.startswith("The competence of Idris Pellow")


def test_what_was_worked_out_rests_on_everything() -> None:
    """No single reading carries it, so that any lapse counts."""
    worked_out = _word("no2")
    for means in ("log", "hand test"):
        record = _verdict(limits=(evolve(worked_out, means=means),), log_import_ids=("log-1",))
        assert doubt_of(_yard(), yard.SUPPLY, record) == ""
        uncalibrated = doubt_of(_yard(calibrations=()), yard.SUPPLY, record)
        assert uncalibrated.startswith("No calibration of instrument four-gas")
    nameless = yard.hand_test(TIME, readings=(Reading("what is this", TIME),))
    told = doubt_of(_yard(hand_tests=(nameless,)), yard.SUPPLY, _verdict())
    assert "cannot be understood" in told


def _versions(seq: int, *changes: dict[str, Any]) -> dict[str, Any]:
    made: list[Supply] = [evolve(yard.SUPPLY, oil_lubricated=True, lubricant="mineral oil")]
    for number, change in enumerate(changes):
        made.append(evolve(made[-1], version=number + 2, seq=seq + number, **change))
    other = evolve(yard.SUPPLY, id="supply-2", seq=seq + 9, intake="elsewhere")
    return {"supplies": (made[-1],), "supply_versions": (*made, other)}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"lubricant": "polyalkylene glycol"}, "The lubricant of supply compressor was changed"),
        ({"oil_lubricated": None}, "The word on whether it is oil-lubricated of supply"),
        ({"intake": "beside the road"}, "The intake of supply compressor was changed"),
        ({"kind": "cylinder_bank"}, "The kind of supply compressor was changed"),
    ],
)
def test_the_supply_became_another(change: dict[str, Any], words: str) -> None:
    """After the verdict; one judged after the change knows of it."""
    after = _yard(**_versions(300, change))
    told = doubt_of(after, after.supplies[0], _verdict())

    assert told.startswith(words)
    assert "Test again; if it was only written down wrongly, judge anew." in told
    before = _yard(**_versions(150, change))
    assert doubt_of(before, before.supplies[0], _verdict()) == ""
    back = _yard(
        **_versions(300, change, {key: getattr(after.supply_versions[0], key) for key in change})
    )
    assert doubt_of(back, back.supplies[0], _verdict()).startswith(words)


def test_other_facts_of_the_supply_may_change() -> None:
    """Who breathes it and what it is called say nothing of its air."""
    renamed = _yard(**_versions(300, {"serves": "three blasters", "title": "Hall"}))

    assert doubt_of(renamed, renamed.supplies[0], _verdict()) == ""
