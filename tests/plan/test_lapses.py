"""What a test or a log rests on, and was not in order at its time."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import polars as pl
import pytest
from attrs import evolve
from tests.plan import build_yard as yard

from lungwort.logs.model import Channel, Log
from lungwort.plan.lapses import (
    hand_test_lapses,
    instrument_lapses,
    later_lapses,
    log_lapses,
    lot_lapses,
    person_lapses,
)
from lungwort.register.model import (
    Answer,
    Calibration,
    CalibrationRow,
    Instrument,
    InstrumentChannel,
    LotUse,
    Reading,
)

TIME = yard.ago(5)


def _calibration(time: datetime, kind: str = "calibration", **more: Any) -> Calibration:
    given: dict[str, Any] = {
        "id": f"c-{kind}-{time:%Y%m%d%H%M}",
        "instrument_id": "instrument-1",
        "time": time,
        "kind": kind,
        "passed": True,
        "by": "laboratory (invented)",
    }
    return Calibration(**(given | more))


def _row(found: str, left: str | None = None, tolerance: str | None = "2") -> CalibrationRow:
    return CalibrationRow(
        "co",
        "ppm",
        Decimal(20),
        Decimal(found),
        None if left is None else Decimal(left),
        None if tolerance is None else Decimal(tolerance),
    )


def test_a_test_in_order_has_no_lapse() -> None:
    """Tester competent, second person there, meter calibrated and bumped, lot in date."""
    assert hand_test_lapses(yard.yard(), yard.hand_test(TIME)) == ()


@pytest.mark.parametrize(
    ("until", "words"),
    [
        (None, "No competence of Idris Pellow to test is on record"),
        (date(2026, 6, 9), "The competence of Idris Pellow to test ended on 9 Jun 2026"),
    ],
)
def test_the_tester_must_be_competent(until: date | None, words: str) -> None:
    """On the day of the test; through the last day of the competence."""
    snapshot = yard.yard(persons=(yard.WENNA, evolve(yard.IDRIS, competent_until=until)))

    (told,) = hand_test_lapses(snapshot, yard.hand_test(TIME))
    assert told.startswith(words)
    last_day = yard.yard(
        persons=(yard.WENNA, evolve(yard.IDRIS, competent_until=date(2026, 6, 10)))
    )
    assert hand_test_lapses(last_day, yard.hand_test(TIME)) == ()


def test_days_of_competence_are_the_sites() -> None:
    """At 23:30 UTC in summer it is the next day in London."""
    snapshot = yard.yard(persons=(evolve(yard.IDRIS, competent_until=date(2026, 6, 10)),))
    late = datetime(2026, 6, 10, 23, 30, tzinfo=UTC)

    assert person_lapses(snapshot, "person-2", late, supply_id="supply-1")
    assert not person_lapses(snapshot, "person-2", late - timedelta(hours=1), supply_id="supply-1")
    assert person_lapses(snapshot, "nobody", late) == (
        "Who tested is not on record. Enter the person, and amend the test.",
    )


@pytest.mark.parametrize(
    ("second", "words"),
    [
        (None, "No second person judged the odour"),
        ("person-2", "The odour was judged by the tester alone"),
        ("person-9", "Who judged the odour is not on record"),
    ],
)
def test_odour_needs_a_second_person(second: str | None, words: str) -> None:
    """Where a reading of odour is there, and only there."""
    test = yard.hand_test(TIME, second_person_id=second)

    (told,) = hand_test_lapses(yard.yard(), test)
    assert told.startswith(words)
    without = evolve(test, readings=test.readings[:2])
    assert hand_test_lapses(yard.yard(), without) == ()


@pytest.mark.parametrize(
    ("calibrations", "words"),
    [
        ((), "No calibration of instrument four-gas before 10 Jun 2026 is on record"),
        ((_calibration(yard.ago(4)),), "No calibration of instrument four-gas before"),
        (
            (_calibration(datetime(2025, 6, 9, 9, tzinfo=UTC)),),
            "The calibration of instrument four-gas ended on 9 Jun 2026, before 10 Jun 2026",
        ),
        (
            (_calibration(yard.ago(20), valid_until=date(2026, 6, 9)),),
            "The calibration of instrument four-gas ended on 9 Jun 2026",
        ),
        (
            (yard.CALIBRATED, _calibration(yard.ago(20), passed=False)),
            "The calibration of instrument four-gas on 26 May 2026 did not pass",
        ),
        (
            (yard.CALIBRATED, _calibration(yard.ago(20), rows=(_row("20", "25"),))),
            "on 26 May 2026 left co at 25 ppm instead of 20 ppm, beyond its tolerance of 2 ppm",
        ),
    ],
)
def test_the_instrument_must_be_in_calibration(
    calibrations: tuple[Calibration, ...], words: str
) -> None:
    """By the paper's day or the interval, whichever ends earlier."""
    snapshot = yard.yard(calibrations=(*calibrations, yard.BUMPED))

    told = instrument_lapses(snapshot, "instrument-1", TIME, supply_id="supply-1")
    assert len(told) == 1
    assert words in told[0]


def test_a_calibration_holds_through_its_last_day() -> None:
    """Calibrated on 10 June 2025 for twelve months: good on 10 June 2026."""
    snapshot = yard.yard(
        calibrations=(_calibration(datetime(2025, 6, 10, 9, tzinfo=UTC)), yard.BUMPED)
    )

    assert instrument_lapses(snapshot, "instrument-1", TIME, supply_id="supply-1") == ()


@pytest.mark.parametrize(
    ("bumps", "words"),
    [
        (
            (_calibration(yard.ago(40), "bump_test"),),
            "The bump test of instrument four-gas held until 5 Jun 2026, and it was read on 10 Jun",
        ),
        (
            (yard.BUMPED, _calibration(yard.ago(6), "bump_test", passed=False)),
            "The bump test of instrument four-gas on 9 Jun 2026 did not pass",
        ),
        (
            (_calibration(yard.ago(20), "bump_test", valid_until=date(2026, 6, 1)),),
            "held until 1 Jun 2026",
        ),
    ],
)
def test_the_instrument_must_be_bumped(bumps: tuple[Calibration, ...], words: str) -> None:
    """Within its days, and passed."""
    (told,) = instrument_lapses(
        yard.yard(calibrations=(yard.CALIBRATED, *bumps)),
        "instrument-1",
        TIME,
        supply_id="supply-1",
    )

    assert words in told


def test_a_calibration_counts_as_a_bump_test() -> None:
    """Gas was offered to the cells; without either both are missing."""
    calibrated = yard.yard(calibrations=(_calibration(yard.ago(20)),))
    assert instrument_lapses(calibrated, "instrument-1", TIME) == ()
    neither = instrument_lapses(yard.yard(calibrations=()), "instrument-1", TIME)
    assert [told.split(" of ")[0] for told in neither] == ["No calibration", "No bump test"]


def test_intervals_of_the_rule_set_where_the_instrument_has_none() -> None:
    """Twelve months and thirty days: common practice, no source."""
    bare = evolve(yard.METER, calibration_months=None, bump_days=None)
    kept = (
        _calibration(datetime(2025, 6, 10, 9, tzinfo=UTC)),
        _calibration(datetime(2026, 5, 11, 9, tzinfo=UTC), "bump_test"),
    )
    snapshot = yard.yard(instruments=(bare,), calibrations=kept)

    assert instrument_lapses(snapshot, "instrument-1", TIME) == ()
    assert len(instrument_lapses(snapshot, "instrument-1", TIME + timedelta(days=1))) == 2
    paper = (_calibration(datetime(2025, 6, 1, 9, tzinfo=UTC), valid_until=date(2027, 6, 1)),)
    longer = yard.yard(instruments=(bare,), calibrations=(*paper, yard.BUMPED))
    assert instrument_lapses(longer, "instrument-1", TIME) == ()


def test_what_is_not_offered_gas_is_not_bumped() -> None:
    """A dew point meter; where nothing is known of an instrument it is."""
    dew = evolve(yard.METER, channels=(InstrumentChannel("water", "°C"),))
    snapshot = yard.yard(instruments=(dew,), calibrations=(yard.CALIBRATED,))
    assert instrument_lapses(snapshot, "instrument-1", TIME) == ()
    for channels in ((), (InstrumentChannel("argon", "ppm"),)):
        unknown = yard.yard(
            instruments=(evolve(yard.METER, channels=channels),), calibrations=(yard.CALIBRATED,)
        )
        assert len(instrument_lapses(unknown, "instrument-1", TIME)) == 1


@pytest.mark.parametrize("kind", ["calibration", "bump_test"])
@pytest.mark.parametrize("fault", [{"passed": False}, {"rows": (_row("25", "20"),)}])
def test_a_fault_found_afterwards(kind: str, fault: dict[str, Any]) -> None:
    """As found out of tolerance, or not passed: the readings before are in doubt."""
    snapshot = yard.yard(
        calibrations=(yard.CALIBRATED, yard.BUMPED, _calibration(yard.ago(1), kind, **fault))
    )

    (told,) = instrument_lapses(snapshot, "instrument-1", TIME)
    assert told.startswith(f"After it was read the {kind.replace('_', ' ')} of instrument four-gas")
    assert later_lapses(snapshot, "instrument-1", TIME) == (told,)
    assert later_lapses(snapshot, "nothing", TIME) == ()


def test_a_fault_found_after_the_next_good_calibration_casts_nothing_back() -> None:
    """What lies between was in order; a good bump test clears less than a calibration."""
    good, bad = _calibration(yard.ago(3)), _calibration(yard.ago(1), passed=False)
    snapshot = yard.yard(calibrations=(yard.CALIBRATED, yard.BUMPED, good, bad))
    assert later_lapses(snapshot, "instrument-1", TIME) == ()
    bumped = yard.yard(
        calibrations=(yard.CALIBRATED, yard.BUMPED, evolve(good, kind="bump_test"), bad)
    )
    assert later_lapses(bumped, "instrument-1", TIME)
    untold = _calibration(yard.ago(1), rows=(_row("99", "20", None),))
    assert later_lapses(yard.yard(calibrations=(untold,)), "instrument-1", TIME) == ()


@pytest.mark.parametrize(
    ("lot", "words"),
    [
        (evolve(yard.TUBES, expires=date(2026, 6, 9)), "Lot oil-a expired on 9 Jun 2026"),
        (evolve(yard.TUBES, expires=None), "The expiry of lot oil-a is not on record"),
        (evolve(yard.TUBES, analyte="co"), "Lot oil-a is for carbon monoxide, and oil was read"),
        (evolve(yard.TUBES, analyte="argon"), "Lot oil-a is for argon, and oil was read"),
        (evolve(yard.TUBES, id="lot-9"), "The lot is not on record"),
    ],
)
def test_the_lot_must_fit_and_be_in_date(lot: Any, words: str) -> None:
    """On the day of the test, through the last day of use."""
    (told,) = hand_test_lapses(yard.yard(lots=(lot,)), yard.hand_test(TIME))

    assert told.startswith(words)
    for good in (evolve(yard.TUBES, expires=date(2026, 6, 10)), evolve(yard.TUBES, analyte="")):
        assert hand_test_lapses(yard.yard(lots=(good,)), yard.hand_test(TIME)) == ()


def test_not_beyond_the_stock() -> None:
    """More was used than came; or what is still to be taken is not there."""
    used = LotUse(id="u1", lot_id="lot-1", time=TIME, count=10)
    snapshot = yard.yard(lot_uses=(used,))

    assert lot_lapses(snapshot, "lot-1", TIME) == ()
    assert (
        "More of lot oil-a was used than came (10)"
        in lot_lapses(snapshot, "lot-1", TIME, needed=1)[0]
    )
    more = yard.yard(lot_uses=(used, evolve(used, id="u2", count=1)))
    assert lot_lapses(more, "lot-1", TIME)
    assert lot_lapses(more, "lot-1", TIME - timedelta(seconds=1), needed=10) == ()


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        (Reading("co=2 ppm", TIME), "It is not said what 'co=2 ppm' was read from"),
        (Reading("co=2 ppm", TIME, instrument_id="gone"), "The instrument is not on record"),
        (
            Reading("so2=0 ppm", TIME, instrument_id="instrument-1"),
            "Instrument four-gas is not on record as measuring sulphur dioxide",
        ),
        (
            Reading("co=101 ppm", TIME, instrument_id="instrument-1"),
            "Instrument four-gas measures carbon monoxide from 0 ppm up to 100 ppm, and a reading",
        ),
        (Reading("co2=6000 ppm", TIME, instrument_id="instrument-1"), "up to 5000 ppm"),
        (Reading("nonsense", TIME), "The reading 'nonsense' cannot be understood: hand test"),
    ],
)
def test_each_reading_rests_on_something(reading: Reading, words: str) -> None:
    """What it was read from, that it measures it, and how far it reaches."""
    (told,) = hand_test_lapses(yard.yard(), yard.hand_test(TIME, readings=(reading,)))

    assert words in told


@pytest.mark.parametrize(
    "reading",
    [
        Reading("odour=none", TIME),
        Reading("liquid water=none", TIME),
        Reading("flow=150 L/min", TIME),
        Reading("co=<5 ppm", TIME, instrument_id="instrument-1"),
        Reading("o2=20.9 %", TIME, instrument_id="instrument-1"),
        Reading(
            "co=5 mg/m3", TIME, instrument_id="instrument-1"
        ),  # another quantity than its range
    ],
)
def test_readings_in_order(reading: Reading) -> None:
    """What needs no instrument, and what lies within the range or cannot be held against it."""
    assert hand_test_lapses(yard.yard(), yard.hand_test(TIME, readings=(reading,))) == ()


def test_an_instrument_of_which_little_is_known() -> None:
    """Without channels nothing can be held against it; with an open range its known end."""
    reading = (Reading("co=101 ppm", TIME, instrument_id="instrument-1"),)
    test = yard.hand_test(TIME, readings=reading)

    bare = yard.yard(instruments=(evolve(yard.METER, channels=()),))
    assert hand_test_lapses(bare, test) == ()
    for low, high, count in (
        (None, Decimal(100), 1),
        (Decimal(0), None, 0),
        (Decimal(150), None, 1),
    ):
        channel = InstrumentChannel("co", "ppm", low, high)
        snapshot = yard.yard(instruments=(evolve(yard.METER, channels=(channel,)),))
        assert len(hand_test_lapses(snapshot, test)) == count
    seen = yard.hand_test(
        TIME, readings=(Reading("odour=none", TIME, instrument_id="instrument-1"),)
    )
    assert "not on record as measuring odour" in hand_test_lapses(yard.yard(), seen)[0]


@pytest.mark.parametrize(
    ("state", "why", "words"),
    [
        ("void", "the seal was broken.", "The test by hand is void: the seal was broken. It is no"),
        ("aborted", "", "The test by hand is aborted. It is no evidence."),
    ],
)
def test_a_test_that_gave_nothing(state: str, why: str, words: str) -> None:
    """It says so first."""
    test = yard.hand_test(TIME, state=state, why=why, readings=())

    assert hand_test_lapses(yard.yard(), test)[0].startswith(words)


def test_a_lapse_is_told_once() -> None:
    """Two readings of one instrument without calibration are one lapse."""
    readings = tuple(
        Reading(text, TIME, instrument_id="instrument-1") for text in ("co=2 ppm", "o2=20.9 %")
    )
    snapshot = yard.yard(calibrations=(yard.BUMPED,), outlets=())

    assert len(hand_test_lapses(snapshot, yard.hand_test(TIME, readings=readings))) == 1


def test_a_log_in_order() -> None:
    """Its instrument was in calibration and bumped at its end."""
    assert log_lapses(yard.yard(), yard.log_import(yard.ago(6), TIME)) == ()


def test_what_a_log_rests_on() -> None:
    """The instrument; its calibration at the end of the log; a time."""
    nobody = yard.log_import(yard.ago(6), TIME, instrument_id=None)
    assert "not said which instrument made the log" in log_lapses(yard.yard(), nobody)[0]
    timeless = evolve(yard.log_import(yard.ago(6), TIME), end=None)
    assert log_lapses(yard.yard(), timeless) == (
        "The log has no reading with a time. Import a log that has.",
    )
    late = yard.log_import(yard.ago(6), datetime(2027, 1, 20, 9, tzinfo=UTC))
    assert len(log_lapses(yard.yard(outlets=()), late)) == 2
    unknown = yard.log_import(yard.ago(6), TIME, instrument_id="gone")
    assert "not on record" in log_lapses(yard.yard(), unknown, _log([1.0]))[0]


def test_a_fault_found_while_the_log_ran() -> None:
    """Good at its end, and found out of tolerance in between: its begin is in doubt."""
    snapshot = yard.yard(
        calibrations=(
            yard.CALIBRATED,
            yard.BUMPED,
            _calibration(yard.ago(5.5), rows=(_row("25", "20"),)),
        )
    )
    log = yard.log_import(yard.ago(6), TIME)

    assert "After it was read" in log_lapses(snapshot, log)[0]
    assert log_lapses(snapshot, evolve(log, start=None)) == ()


def _log(values: list[float | None], analyte: str = "co", unit: str = "ppm", flag: int = 1) -> Log:
    times = [yard.ago(6) + timedelta(minutes=count) for count in range(len(values))]
    frame = pl.DataFrame(
        {
            "time": times,
            analyte: pl.Series(values, dtype=pl.Float64),
            f"{analyte}_flag": pl.Series([flag] * len(values), dtype=pl.UInt8),
        }
    )
    return Log(parts=(frame, frame.lazy()), channels=(Channel(analyte, analyte, "", unit),))


@pytest.mark.parametrize(
    ("log", "words"),
    [
        (_log([1.0, 100.0, -1.0]), ""),
        (_log([-250.0], "co2"), ""),  # within 5 % of its range
        (_log([-251.0], "co2"), "and a reading lies beyond it"),
        (_log([1.0, 100.5]), "and a reading lies beyond it"),
        (_log([1.0, -1.5]), "and a reading lies beyond it"),
        (_log([1.0, 500.0], flag=4), ""),  # flagged bad: not used
        (_log([None]), ""),
        (_log([]), ""),
        (_log([3.0], "so2"), "not on record as measuring sulphur dioxide"),
        (_log([30.0], "temperature", "°C"), ""),  # beside the air
    ],
)
def test_a_log_within_the_range_of_its_instrument(log: Log, words: str) -> None:
    """The lowest and the highest usable reading of each channel of the air."""
    told = log_lapses(yard.yard(), yard.log_import(yard.ago(6), TIME), log)

    assert len(told) == bool(words)
    assert all(words in one for one in told)


def test_two_ranges_of_one_analyte() -> None:
    """An instrument may measure one gas in two ranges: one that holds the reading is enough."""
    both = Instrument(
        id="instrument-1",
        name="two-range",
        channels=(
            InstrumentChannel("co", "ppm", Decimal(0), Decimal(10)),
            InstrumentChannel("co", "ppm", Decimal(0), Decimal(500)),
        ),
    )
    snapshot = yard.yard(instruments=(both,))
    test = yard.hand_test(TIME, readings=(Reading("co=101 ppm", TIME, instrument_id=both.id),))

    assert hand_test_lapses(snapshot, test) == ()


def test_what_was_found_short_in_a_test_puts_it_in_doubt() -> None:
    """Too little flow for the wearers stands beside the air itself: nothing of the test proves."""
    told = "At 120 L/min the flow is below the 170 L/min of the hoods."
    answers = (
        Answer(step="drawing", name="drawing-flow", given="120 L/min", time=TIME),
        Answer(step="drawing", name="drawing-flow (doubt)", given=told, time=TIME),
    )

    assert told in hand_test_lapses(yard.yard(), yard.hand_test(TIME, answers=answers))
    assert told not in hand_test_lapses(yard.yard(), yard.hand_test(TIME, answers=answers[:1]))


def _lapses_of(analyte: str, *records: Calibration) -> tuple[str, ...]:
    snapshot = yard.yard(calibrations=records)
    return instrument_lapses(snapshot, "instrument-1", TIME, analyte=analyte)


def test_a_calibration_covers_the_channels_of_its_rows_alone() -> None:
    """Carbon monoxide alone was calibrated and bumped: oxygen was not."""
    partial = _calibration(yard.ago(20), rows=(_row("20"),))

    assert _lapses_of("co", partial) == ()
    told = _lapses_of("o2", partial)
    assert [one.split(" before ")[0] for one in told] == [
        "No calibration of instrument four-gas for oxygen",
        "No bump test of instrument four-gas for oxygen",
    ]
    assert _lapses_of("", partial) == told


def test_a_later_partial_calibration_takes_nothing_away() -> None:
    """Oxygen stands by the earlier full one, unless the later one failed and names it or all."""
    full = _calibration(yard.ago(30))
    rows = (_row("20"),)

    assert _lapses_of("o2", full, _calibration(yard.ago(20), rows=rows)) == ()
    failed = _calibration(yard.ago(20), rows=rows, passed=False)
    assert _lapses_of("o2", full, failed) == ()
    assert any("for carbon monoxide on" in one for one in _lapses_of("co", full, failed))
    assert any("did not pass" in one for one in _lapses_of("", full, failed))
    assert _lapses_of("o2", full, _calibration(yard.ago(20), passed=False))


def test_water_needs_no_bump_test() -> None:
    """Only gas channels are bumped: common practice, no source."""
    old = _calibration(yard.ago(90))

    assert _lapses_of("water", old) == ()
    assert any("bump" in one for one in _lapses_of("o2", old))


def test_a_later_record_of_one_channel_hides_no_fault_of_another() -> None:
    """The next calibration names oxygen; the one after it found carbon monoxide far off."""
    oxygen = evolve(_row("20"), analyte="o2", unit="%")
    later = (
        _calibration(yard.ago(3), rows=(oxygen,)),
        _calibration(yard.ago(2), rows=(_row("9", "20"),)),
    )
    kept = (yard.CALIBRATED, yard.BUMPED)

    assert any("found co at 9 ppm" in one for one in _lapses_of("co", *kept, *later))
    assert any("found co at 9 ppm" in one for one in _lapses_of("", *kept, *later))
    assert _lapses_of("o2", *kept, *later) == ()


def test_a_log_is_asked_for_each_of_its_channels() -> None:
    """Only carbon monoxide was calibrated: a log of carbon dioxide rests on nothing."""
    snapshot = yard.yard(calibrations=(_calibration(yard.ago(20), rows=(_row("20"),)),))
    kept = yard.log_import(yard.ago(6), yard.ago(5))

    assert log_lapses(snapshot, kept, _log([1.0])) == ()
    told = log_lapses(snapshot, kept, _log([400.0], "co2"))
    assert any("No bump test of instrument four-gas for carbon dioxide" in one for one in told)
    assert any("for oxygen" in one for one in log_lapses(snapshot, kept))


@pytest.mark.parametrize(
    ("facts", "text", "count"),
    [
        ({"oil_lubricated": True}, "oil=indicator: nothing seen", 1),
        ({"oil_lubricated": True, "lubricant": "mineral oil"}, "oil=indicator: nothing seen", 0),
        ({"oil_lubricated": False}, "oil=indicator: nothing seen", 0),
        ({"oil_lubricated": True}, "oil=<0.5 mg/m3", 0),
    ],
)
def test_a_banded_indicator_where_the_lubricant_is_not_known(
    facts: dict[str, Any], text: str, count: int
) -> None:
    """It may not show it (common practice, no source); a tube of 15 min does."""
    snapshot = yard.yard(supplies=(evolve(yard.SUPPLY, **facts),))
    test = yard.hand_test(TIME, readings=(Reading(text, TIME, lot_id=yard.TUBES.id),))

    told = hand_test_lapses(snapshot, test)
    assert len(told) == count
    assert all("Which lubricant supply compressor has is not known" in one for one in told)
