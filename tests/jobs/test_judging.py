"""From evidence on record to a verdict and back. The site and all readings are invented."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from attrs import evolve
from tests.jobs.certify_story import CLEAN, IDRIS, MORNING, WENNA, Story, begin
from tests.verdict.build_log import limits, make_log, upper

from lungwort.errors import RegisterError
from lungwort.jobs.finding import add_action
from lungwort.jobs.instrument_uncertainty import uncertainties_of
from lungwort.jobs.judging import draw, gather, judge_evidence, limit_words, rejudge
from lungwort.jobs.status import status
from lungwort.limits.load import limit_set
from lungwort.limits.model import Conditions
from lungwort.logs.options import ReadOptions
from lungwort.logs.read import read_with
from lungwort.plan.snapshot import take
from lungwort.register.model import (
    VOID,
    Calibration,
    HandTest,
    Instrument,
    InstrumentChannel,
    LogImport,
    Outlet,
    Supply,
)
from lungwort.register.store import import_log
from lungwort.register.workspace import Workspace
from lungwort.spot.parse import parse_spot
from lungwort.verdict.decision import HAND_TEST, LOGGED, uncertainties
from lungwort.verdict.inputs import Inputs, from_bytes
from lungwort.verdict.model import Options

HOUR = timedelta(hours=1)
NOON = MORNING + 4 * HOUR


@pytest.fixture
def story(sqlite_workspace: Workspace) -> Story:
    """Give the invented site."""
    return begin(sqlite_workspace)


def dew_log(story: Story, folder: Path, instrument: Instrument, begin: datetime) -> LogImport:
    """Import a log of water alone."""
    lines = ["Time,Water [mg/m3]"]
    lines += [
        f"{begin + timedelta(minutes=minute):%Y-%m-%d %H:%M:%S},{40 + minute % 3}"
        for minute in range(180)
    ]
    path = folder / "water.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    options = ReadOptions(zone="UTC")
    log = read_with([path], options, now=NOON)
    with story.workspace.register.change(who=WENNA, now=NOON) as change:
        made, _ = import_log(
            story.workspace,
            change,
            log,
            outlet=story.outlet,
            instrument=instrument,
            files=[(path.name, path)],
            options=options,
            by=story.wenna,
        )
    return made


def test_a_lapse_of_one_log_is_held_against_its_own_channels(story: Story, tmp_path: Path) -> None:
    """Two loggers side by side: what one of them lacks says nothing of the other."""
    with story.workspace.register.change(who=WENNA, now=MORNING) as change:
        bare = change.add(Instrument(name="Hygrometer C"))
    gases = story.log(tmp_path, MORNING)
    water = dew_log(story, tmp_path, bare, MORNING)
    judged = judge_evidence(story.workspace, story.outlet, [gases, water], [], Options(), NOON)
    assert judged.inputs.log_doubts == ()
    assert {name for name, _ in judged.inputs.channel_doubts} == {"water"}
    assert judged.verdict.finding("co").verdict == "conforms"
    assert judged.verdict.finding("water").verdict == "undecided"
    assert "No calibration of instrument Hygrometer C" in judged.verdict.finding("water").reason
    assert any("Hygrometer C" in one for one in judged.lapses)
    record = evolve(judged.record(story.wenna.id), seq=10_000)
    for content in (judged.inputs_json, judged.result_json):
        story.workspace.put_file(content)
    assert rejudge(story.workspace, record) == judged.result_json


def test_a_lapse_of_the_only_log_is_held_against_all_of_it(story: Story, tmp_path: Path) -> None:
    """Nothing of it proves anything then."""
    gases = story.log(tmp_path, MORNING, named=False)
    judged = judge_evidence(story.workspace, story.outlet, [gases], [], Options(), NOON)
    assert len(judged.inputs.log_doubts) == 1
    assert judged.inputs.channel_doubts == ()
    assert judged.verdict.finding("co").verdict == "undecided"


def test_a_reading_bears_the_doubts_of_what_it_was_read_from(story: Story) -> None:
    """A lot that had expired says nothing of the analyser."""
    with story.workspace.register.change(who=WENNA, now=MORNING - 2 * HOUR) as change:
        lot = evolve(story.indicators, expires=date(2026, 3, 1))
        change.replace(story.indicators, lot, "As printed.")
    test = story.hand_test(MORNING)
    judged = judge_evidence(story.workspace, story.outlet, [], [test], Options(), NOON)
    doubts = {spot.given: spot.doubts for spot in judged.inputs.spots}
    assert len(doubts["oil=indicator: nothing seen"]) == 1
    assert all(not why for text, why in doubts.items() if not text.startswith("oil"))
    assert judged.verdict.finding("oil").verdict == "undecided"
    assert judged.verdict.finding("co").verdict == "conforms"


def test_inputs_hold_what_was_known(story: Story) -> None:
    """Limit set, conditions and spots come back from the bytes; the digest is on record."""
    test = story.hand_test(MORNING)
    judged = judge_evidence(
        story.workspace, story.outlet, [], [test], Options(), NOON, reasons=("R.",), notes=("N.",)
    )
    inputs = from_bytes(judged.inputs_json)
    assert inputs == judged.inputs
    assert inputs.conditions == Conditions(7.0, None)
    assert inputs.limit_set == limit_set("en12021-2014-airline")
    assert [spot.given for spot in inputs.spots] == list(CLEAN)
    assert judged.verdict.reasons[-1] == "R."
    assert judged.verdict.notes[0] == "N."
    record = judged.record(story.wenna.id)
    assert record.limit_set_digest == inputs.limit_set.digest
    assert (record.pressure_bar_g, record.lowest_temperature_c) == (Decimal("7.0"), None)
    undated = evolve(judged, verdict=evolve(judged.verdict, judged_at=None))
    with pytest.raises(RegisterError, match="without the time of judging"):
        undated.record(story.wenna.id)


def test_evidence_of_another_outlet_is_refused(story: Story) -> None:
    """Air of one outlet proves nothing about another."""
    test = story.hand_test(MORNING)
    with story.workspace.register.change(who=WENNA, now=MORNING) as change:
        other = change.add(Outlet(supply_id=story.supply.id, name="Slip 3"))
    with pytest.raises(RegisterError, match=f"{test.id} is evidence of another outlet"):
        judge_evidence(story.workspace, other, [], [test], Options(), NOON)
    snapshot = evolve(take(story.workspace.register, NOON), supplies=())
    with pytest.raises(RegisterError, match="supply of the outlet Slip 2 is not on record"):
        gather(snapshot, story.outlet, [], [test], Options(), NOON, logs={})


def test_a_test_without_readings_is_named(story: Story) -> None:
    """So is one that was taken out of the record."""
    empty = story.hand_test(MORNING, ())
    judged = judge_evidence(story.workspace, story.outlet, [], [empty], Options(), NOON)
    assert judged.verdict.overall == "not_proven"
    assert judged.verdict.reasons[-1] == (
        f"The hand test {empty.id} of 4 Mar 2026 08:00:00 has no reading: it gives no evidence."
    )
    gone = evolve(empty, voided=True, reason="Another outlet.")
    judged = judge_evidence(story.workspace, story.outlet, [], [gone], Options(), NOON)
    assert "was taken out of the record (Another outlet)" in judged.verdict.reasons[-1]
    silent = evolve(empty, state=VOID, why="")
    judged = judge_evidence(story.workspace, story.outlet, [], [silent], Options(), NOON)
    assert judged.verdict.reasons[-1].endswith("is void: it gives no evidence.")


def test_what_is_drawn_again_rests_on_the_record_of_its_time(story: Story, tmp_path: Path) -> None:
    """A verdict without its import cannot be drawn; a correction of the import does not matter."""
    story.log(tmp_path, MORNING)
    done = story.certify(NOON, certificate=False)
    assert done.record is not None
    lost = evolve(done.record, log_import_ids=("log-import-aaaaaaaaaaaaaaaa",))
    with pytest.raises(RegisterError, match="log-import-aaaaaaaaaaaaaaaa that a verdict rests on"):
        rejudge(story.workspace, lost)


def test_the_supply_s_own_limit_set_goes_before_the_site_s(story: Story) -> None:
    """The one in force is the one that is named nearest."""
    with story.workspace.register.change(who=WENNA, now=MORNING) as change:
        supply = change.get(Supply, "main")
        own = evolve(supply, limit_set="osha-1910-134-grade-d-airline")
        change.replace(supply, own, "For other people.")
    test = story.hand_test(MORNING)
    judged = judge_evidence(story.workspace, story.outlet, [], [test], Options(), NOON)
    assert judged.verdict.limit_set.id == "osha-1910-134-grade-d-airline"


def of(story: Story, *readings: tuple[str, Instrument | None]) -> HandTest:
    """Make a test by hand with given instruments, not on record."""
    test = story.hand_test(MORNING, [text for text, _ in readings])
    return evolve(
        test,
        readings=tuple(
            evolve(one, instrument_id=None if instrument is None else instrument.id)
            for one, (_, instrument) in zip(test.readings, readings, strict=True)
        ),
    )


def test_uncertainties_of_several_instruments(story: Story) -> None:
    """The least certain one's holds; one that is silent brings the assumption beside it."""
    with story.workspace.register.change(who=WENNA, now=MORNING) as change:
        wide, narrow, silent = (
            change.add(
                Instrument(
                    name=f"CO {place}",
                    channels=(
                        InstrumentChannel("co", unit, uncertainty=value),
                        InstrumentChannel("pressure", "bar(g)", uncertainty=Decimal(1)),
                    ),
                )
            )
            for place, (unit, value) in enumerate(
                [("%", Decimal("0.0003")), ("ppm", Decimal("0.1")), ("ppm", None)]
            )
        )
        dew = change.add(
            Instrument(
                name="Dew",
                channels=(
                    InstrumentChannel("water", "°C pressure dew point", uncertainty=Decimal(2)),
                ),
            )
        )
    snapshot = take(story.workspace.register, NOON)
    shipped = uncertainties().of("co", "volume_fraction", HAND_TEST)
    assert shipped is not None

    def found(*pairs: tuple[str, Instrument | None]) -> tuple[float, str, bool]:
        entry = uncertainties_of(snapshot, [], [of(story, *pairs)]).of(
            "co", "volume_fraction", HAND_TEST
        )
        assert entry is not None
        return entry.expanded(0.5, "ppm"), entry.sensor, entry.assumed

    # 0.0003 % is 3 ppm.
    expanded, sensor, assumed = found(("co=2 ppm", wide), ("co=2 ppm", narrow))
    assert (sensor, assumed) == ("CO 0", False)
    assert expanded == pytest.approx(3.0)
    expanded, sensor, assumed = found(("co=2 ppm", narrow))
    assert (sensor, assumed) == ("CO 1", False)
    assert expanded == pytest.approx(0.1)
    together = found(("co=2 ppm", narrow), ("co=2 ppm", silent))
    assert together[0] == pytest.approx(max(0.1, shipped.expanded(0.5, "ppm")))
    assert found(("co=2 ppm", None))[1] == shipped.sensor
    assert found(("co2=400 ppm", narrow))[1] == shipped.sensor
    all_of = uncertainties_of(snapshot, [], [of(story, ("water=-40 °C pressure dew point", dew))])
    entry = all_of.of("water", "pressure_dew_point", HAND_TEST)
    assert entry is not None
    assert (entry.sensor, entry.unit, entry.absolute) == ("Dew", "°C", 2.0)
    assert entry.text == "Dew: U (k = 2) = 2 K (as recorded for the instrument)"
    none = uncertainties_of(snapshot, [], [of(story, ("odour=none", None))])
    assert none == uncertainties()
    assert all_of.of("pressure", "pressure", LOGGED) == uncertainties().of(
        "pressure", "pressure", LOGGED
    )


SUM_SET = limits(upper("oil_and_particles", 2.0, "mg/m3"), upper("co", 5.0))


def words(log_co: list[float | None] | None, *spots: object) -> dict[str, tuple[str, object, str]]:
    """Judge and give verdict, time and means of each limit."""
    inputs = Inputs(
        limit_set=SUM_SET,
        conditions=Conditions(),
        options=Options(),
        uncertainties=uncertainties(),
        spots=tuple(spots),  # type: ignore[arg-type] # as given
        judged_at=NOON,
    )
    log = None if log_co is None else make_log({"co": log_co})
    return {
        word.key: (word.verdict, word.evidence_time, word.means)
        for word in limit_words(draw(log, inputs))
    }


def test_a_sum_is_as_old_as_its_oldest_part() -> None:
    """Oil of today and particles of last month are a sum of last month."""
    month_ago = NOON - timedelta(days=30)
    told = words(
        None,
        parse_spot("oil=0.1 mg/m3", time=NOON),
        parse_spot("particles=0.1 mg/m3", time=month_ago),
    )
    assert told["oil_and_particles"] == (
        "conforms",
        month_ago,
        "worked out: oil plus particles",
    )
    untimed = words(None, parse_spot("oil=0.1 mg/m3", time=NOON), parse_spot("particles=0.1 mg/m3"))
    assert untimed["oil_and_particles"] == ("conforms", None, "")


def test_a_channel_without_a_usable_reading_is_no_evidence_in_time() -> None:
    """The time is that of the test by hand that stands in for it."""
    told = words([None] * 100, parse_spot("co=2 ppm", time=MORNING))
    assert told["co"] == ("conforms", MORNING, "hand test")
    told = words([1.0] * 100, parse_spot("co=2 ppm", time=MORNING - timedelta(days=9)))
    assert told["co"][2] == "log"
    # build_log begins on 4 March 2026, 08:00 UTC, with a reading every 10 s.
    assert told["co"][1] == datetime(2026, 3, 4, 8, 16, 30, tzinfo=UTC)


def test_evidence_in_doubt_is_not_the_newest_where_the_limit_is_kept() -> None:
    """What does not carry the word does not make it young."""
    doubted = evolve(parse_spot("co=2 ppm", time=NOON), doubts=("Its calibration had run out.",))
    told = words(None, doubted, parse_spot("co=1 ppm", time=MORNING))
    assert told["co"] == ("conforms", MORNING, "hand test")
    told = words(None, doubted)
    assert told["co"] == ("undecided", NOON, "hand test")


def test_lapses_are_kept_beside_a_verdict_that_is_not_clean(story: Story) -> None:
    """They say why nothing is proved."""
    with story.workspace.register.change(who=IDRIS, now=MORNING - 2 * HOUR) as change:
        for one in change.all(Calibration, instrument_id=story.dew_point.id):
            change.void(one, "Of another instrument.")
    test = story.hand_test(MORNING)
    judged = judge_evidence(story.workspace, story.outlet, [], [test], Options(), NOON)
    assert judged.lapses == judged.record(story.wenna.id).lapses != ()


def test_what_was_judged_leniently_does_not_count(story: Story) -> None:
    """No certificate is issued for it, so the status calls nothing clean by it either."""
    story.hand_test(MORNING)
    lenient = story.certify(MORNING, min_coverage=0.5, certificate=False)
    assert lenient.verdict.overall == "conforms"
    assert lenient.record is not None
    told = "It was judged with a least coverage of 0.5; 0.9 is asked for."
    assert lenient.record.lapses == (told,)
    (row,) = status(story.where, now=MORNING + HOUR).rows
    assert row.verdict == "not_proven"
    assert any(told in why for why in row.reasons)

    usual = story.certify(MORNING + HOUR, certificate=False)
    assert usual.record is not None
    assert usual.record.lapses == ()
    (row,) = status(story.where, now=MORNING + HOUR).rows
    assert (row.verdict, row.reasons) == ("conforms", ())


@pytest.mark.parametrize(
    ("period", "left_out"),
    [
        ({"begin": "2026-03-04 08:30", "end": "2026-03-04 09:59"}, True),
        ({"end": "2026-03-04 09:59"}, True),
        ({"begin": "2026-03-04 08:30"}, False),
        ({}, False),
    ],
)
def test_a_part_of_a_log_without_its_bad_hour_does_not_count(
    story: Story,
    tmp_path: Path,
    period: dict[str, str],
    left_out: bool,  # noqa: FBT001 - one of the cases
) -> None:
    """The log's last hour is outside; a part that holds it, or all of it, is just outside."""
    test = story.hand_test(MORNING)
    story.log(tmp_path, MORNING, co=9.0)
    done = story.certify(NOON, tests=(test.id,), certificate=False, **period)
    assert done.record is not None
    assert done.record.overall == ("conforms" if left_out else "does_not_conform")
    told = [one for one in done.record.lapses if "chosen by hand" in one]
    assert len(told) == left_out
    if left_out:
        assert "carbon monoxide" in told[0]
        (row,) = status(story.where, now=NOON).rows
        assert row.verdict == "not_proven"


def test_what_lies_before_the_cure_is_left_out_rightly(story: Story, tmp_path: Path) -> None:
    """The period begins after the cure by itself, and that is no choice by hand."""
    story.log(tmp_path, MORNING - 4 * HOUR, hours=3, co=9.0)
    bad = story.certify(MORNING, certificate=False)
    assert bad.finding is not None
    for kind in ("cause", "cure"):
        add_action(story.session(MORNING + HOUR), bad.finding.number, kind, "The intake.")
    story.log(tmp_path, MORNING + HOUR - timedelta(minutes=30), hours=2)
    story.hand_test(MORNING + 3 * HOUR)
    done = story.certify(MORNING + 3 * HOUR, certificate=False)
    assert done.record is not None
    assert (done.record.overall, done.record.lapses) == ("conforms", ())


def test_newer_evidence_that_was_left_out_leaves_nothing_proven(story: Story) -> None:
    """Naming an older test does not make the newer one go away."""
    older = story.hand_test(MORNING)
    story.hand_test(MORNING + HOUR, [*CLEAN[:4], "co=9 ppm", *CLEAN[5:]])
    done = story.certify(NOON, tests=(older.id,), certificate=False)
    assert done.verdict.overall == "conforms"
    (row,) = status(story.where, now=NOON).rows
    assert row.verdict == "not_proven"
