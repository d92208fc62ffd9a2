"""How fresh the evidence is, and that nothing but fresh evidence proves anything."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from attrs import evolve
from tests.plan import build_yard as yard

from lungwort.limits.model import LimitSet
from lungwort.plan.evidence import (
    SupplyEvidence,
    clock_behind,
    newest_event,
    required_limits,
    supply_evidence,
)
from lungwort.register.model import Calibration, CalibrationRow, CartridgeChange, RiskAssessment


def judged(*verdicts: Any, **more: Any) -> SupplyEvidence:
    """Tell how the yard's evidence stands."""
    return supply_evidence(
        yard.yard(**({"verdicts": verdicts} | more)), "supply-1", more.pop("limits", yard.LIMITS)
    )


def test_fresh_and_conforming() -> None:
    """Every required limit has evidence of ten days ago."""
    found = judged(yard.verdict(yard.ago(10)))

    assert (found.overall, found.reasons) == ("conforms", ())
    assert {one.key for one in found.limits} == set(yard.KEYS)
    assert all(one.proves and one.fresh and not one.why for one in found.limits)
    assert found.limits[0].age == timedelta(days=10)
    assert found.limits[0].verdict_id == "verdict-1"
    # Measured on 5 June 2026; three months on is 5 September, the last day on which it counts.
    assert {one.stale_on for one in found.limits} == {date(2026, 9, 6)}


def test_no_evidence_at_all() -> None:
    """Each limit says that it was not tested."""
    found = judged()

    assert found.overall == "not_proven"
    assert found.reasons == (
        (
            "Oxygen, oil, carbon monoxide, carbon dioxide, odour and water: there is no evidence. "
            "Test it."
        ),
    )
    assert next(one for one in found.limits if one.key == "co").why == (
        "Carbon monoxide: there is no evidence. Test it."
    )
    assert found.weakest is not None
    assert found.weakest.verdict == "no_evidence"
    assert found.limits[0].age is None


@pytest.mark.parametrize("verdict", ["no_evidence", "not_applicable"])
def test_words_that_are_no_evidence(verdict: str) -> None:
    """A verdict that says nothing of a limit neither proves it nor takes older proof away."""
    says_nothing = yard.verdict(
        yard.ago(1), "verdict-9", limits=yard.words(yard.ago(1), co=verdict), overall="not_proven"
    )

    assert judged(says_nothing).overall == "not_proven"
    assert judged(yard.verdict(yard.ago(10)), says_nothing).overall == "conforms"


def test_a_word_without_a_time_is_no_evidence() -> None:
    """Without a time nothing can be fresh."""
    found = judged(yard.verdict(yard.ago(1), limits=yard.words(None)))

    assert found.overall == "not_proven"
    assert all(one.verdict == "no_evidence" for one in found.limits)


def test_the_newest_evidence_counts() -> None:
    """By the time of the evidence, not by when it was judged or recorded."""
    older, newer = yard.verdict(yard.ago(10)), yard.failing(yard.ago(5))

    assert judged(older, newer).overall == "does_not_conform"
    assert judged(newer, older).overall == "does_not_conform"
    late = evolve(older, seq=900, judged_at=yard.ago(0))
    assert judged(newer, late).overall == "does_not_conform"
    assert judged(newer, yard.verdict(yard.ago(1))).overall == "conforms"


def test_outside_says_so_first_and_is_the_weakest() -> None:
    """The reason names the analyte, the day and what to do."""
    found = judged(
        yard.failing(
            yard.ago(5), limits=yard.words(yard.ago(5), co="does_not_conform", oil="undecided")
        )
    )

    assert found.reasons[0] == (
        "Carbon monoxide: the newest evidence, of 10 Jun 2026, is outside the limit. Withdraw the "
        "supply, find the cause, cure it and test again."
    )
    assert "leaves it undecided" in found.reasons[1]
    assert found.weakest is not None
    assert found.weakest.key == "co"


def test_the_worst_reading_is_named() -> None:
    """As the verdict showed it."""
    words = tuple(
        evolve(one, worst="12 ppm") for one in yard.words(yard.ago(5), co="does_not_conform")
    )

    assert (
        "outside the limit (12 ppm)" in judged(yard.failing(yard.ago(5), limits=words)).reasons[0]
    )


def test_outside_stays_outside_when_it_is_old() -> None:
    """Nothing goes away by waiting."""
    found = judged(yard.failing(yard.ago(900)))

    assert found.overall == "does_not_conform"
    assert next(one for one in found.limits if one.key == "co").fresh
    assert not next(one for one in found.limits if one.key == "oil").fresh


def test_evidence_of_one_moment_judged_twice() -> None:
    """The worse word holds: judging again does not better the air. Voiding does."""
    bad, good = yard.failing(yard.ago(5)), yard.verdict(yard.ago(5), "verdict-3", seq=999)

    assert judged(bad, good).overall == "does_not_conform"
    assert judged(good, bad).overall == "does_not_conform"
    assert judged(evolve(bad, voided=True), good).overall == "conforms"


def test_undecided_is_not_proof_and_hides_older_proof() -> None:
    """The newest evidence counts, whatever older evidence says."""
    open_word = yard.verdict(
        yard.ago(1),
        "verdict-9",
        limits=yard.words(yard.ago(1), oil="undecided"),
        overall="not_proven",
    )

    assert judged(yard.verdict(yard.ago(10)), open_word).overall == "not_proven"


@pytest.mark.parametrize(
    ("tested", "now", "overall"),
    [
        # At least every three months, by the site's days: from 15 March to the end of 15 June.
        (datetime(2026, 3, 15, 9, 0, tzinfo=UTC), yard.NOW, "conforms"),
        (datetime(2026, 3, 14, 23, 30, tzinfo=UTC), yard.NOW, "not_proven"),
        # London is an hour ahead in summer: 22:30 UTC is the 15th, 23:30 UTC the 16th.
        (
            datetime(2026, 3, 15, 9, 0, tzinfo=UTC),
            datetime(2026, 6, 15, 22, 30, tzinfo=UTC),
            "conforms",
        ),
        (
            datetime(2026, 3, 15, 9, 0, tzinfo=UTC),
            datetime(2026, 6, 15, 23, 30, tzinfo=UTC),
            "not_proven",
        ),
        # 30 November and three months: the end of February.
        (datetime(2026, 11, 30, 9, tzinfo=UTC), datetime(2027, 2, 28, 9, tzinfo=UTC), "conforms"),
        (datetime(2026, 11, 30, 9, tzinfo=UTC), datetime(2027, 3, 1, 9, tzinfo=UTC), "not_proven"),
    ],
)
def test_when_it_goes_stale(tested: datetime, now: datetime, overall: str) -> None:
    """Through the last day of the interval and no longer."""
    found = judged(yard.verdict(tested), now=now)

    assert found.overall == overall
    if overall == "not_proven":
        assert "went stale on" in found.reasons[0]
        assert found.weakest is not None
        assert not found.weakest.fresh


def test_a_risk_assessment_makes_it_stale_earlier() -> None:
    """Chosen: every month."""
    decided = RiskAssessment(
        id="a1",
        supply_id="supply-1",
        time=yard.ago(100),
        questionnaire="test-interval",
        answers=(),
        proposed_months=1,
        chosen_months=1,
        by_id="person-1",
    )

    assert judged(yard.verdict(yard.ago(40))).overall == "conforms"
    assert judged(yard.verdict(yard.ago(40)), assessments=(decided,)).overall == "not_proven"


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("maintenance", "before the supply was maintained on 12 Jun 2026"),
        ("moved", "before the supply was moved on 12 Jun 2026"),
        ("doubt", "before the supply came into doubt on 12 Jun 2026"),
        ("other", "before the supply had something happen to it on 12 Jun 2026"),
    ],
)
def test_an_event_makes_older_evidence_stale(kind: str, words: str) -> None:
    """What was measured before it says nothing of the air after it."""
    event = yard.event(kind, yard.ago(3))

    found = judged(yard.verdict(yard.ago(10)), events=(event,))
    assert found.overall == "not_proven"
    assert words in found.reasons[0]
    assert judged(yard.verdict(yard.ago(2)), events=(event,)).overall == "conforms"
    other = evolve(event, supply_id="supply-2")
    assert judged(yard.verdict(yard.ago(10)), events=(other,)).overall == "conforms"


def test_a_change_of_cartridge_makes_older_evidence_stale() -> None:
    """It is work on the treatment."""
    change = CartridgeChange(id="c1", stage_id="stage-1", time=yard.ago(3), by_id="person-1")

    found = judged(yard.verdict(yard.ago(10)), cartridge_changes=(change,))
    assert found.overall == "not_proven"
    assert "before the cartridge of carbon was changed on 12 Jun 2026" in found.reasons[0]
    elsewhere = evolve(change, stage_id="stage-9")
    assert judged(yard.verdict(yard.ago(10)), cartridge_changes=(elsewhere,)).overall == "conforms"


def test_a_rule_set_can_leave_events_out(tmp_path: Any) -> None:
    """A user's own set that asks for a test after a doubt alone."""
    from lungwort.plan import files

    text = files.shipped_text("library", "uk-guidance").replace('"uk-guidance"', '"mine"')
    text = text.replace(
        '["maintenance", "moved", "doubt", "other", "cartridge_change"]', '["doubt"]'
    )
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    snapshot = yard.yard(
        sites=(evolve(yard.SITE, plan=str(path)),),
        events=(yard.event("moved", yard.ago(3)),),
        cartridge_changes=(
            CartridgeChange(id="c1", stage_id="stage-1", time=yard.ago(3), by_id="person-1"),
        ),
    )

    assert newest_event(snapshot, "supply-1") is None


def test_another_limit_set_proves_nothing() -> None:
    """A verdict by another edition is named as the reason."""
    other = {"limit_set": "old-edition", "limit_set_digest": "9" * 64}

    found = judged(yard.verdict(yard.ago(10), **other))
    assert found.overall == "not_proven"
    assert "judged by another limit set or edition (old-edition)" in found.reasons[0]
    failing = judged(yard.failing(yard.ago(10), **other))
    assert failing.overall == "not_proven"


def test_newer_evidence_by_another_limit_set() -> None:
    """It takes nothing away where it conforms; where it does not, the older proof is in doubt."""
    ours = yard.verdict(yard.ago(10))
    other = {"limit_set": "old-edition", "limit_set_digest": "9" * 64}

    assert judged(ours, yard.verdict(yard.ago(5), "verdict-3", **other)).overall == "conforms"
    found = judged(ours, yard.failing(yard.ago(5), **other))
    assert found.overall == "not_proven"
    assert "newer evidence does not show that it is kept" in found.reasons[0]
    assert judged(ours, yard.failing(yard.ago(15), **other)).overall == "conforms"


def test_evidence_from_the_future() -> None:
    """A clock is wrong somewhere: nothing is proved, and what is outside stays outside."""
    ahead = yard.verdict(yard.ago(-2), "verdict-3")

    for found in (judged(ahead), judged(yard.verdict(yard.ago(10)), ahead)):
        assert found.overall == "not_proven"
        assert "evidence from the future (2026-06-17 09:00 UTC)" in found.reasons[0]
    assert judged(yard.failing(yard.ago(10)), ahead).overall == "does_not_conform"
    slightly = yard.verdict(yard.NOW + timedelta(minutes=5))
    assert judged(slightly).overall == "conforms"


def test_a_clock_behind_the_record() -> None:
    """Nothing can be called fresh by it; five minutes are let pass."""
    good = yard.verdict(yard.ago(10))

    found = judged(good, newest_entry=yard.NOW + timedelta(minutes=5, seconds=1))
    assert found.overall == "not_proven"
    assert "clock is behind the record" in found.reasons[0]
    assert judged(good, newest_entry=yard.NOW + timedelta(minutes=5)).overall == "conforms"
    failing = judged(yard.failing(yard.ago(10)), newest_entry=yard.NOW + timedelta(days=1))
    assert failing.overall == "does_not_conform"
    assert clock_behind(yard.yard()) == ()


def test_each_outlet_stands_for_itself() -> None:
    """The supply is as good as its worst outlet, and each reason names its outlet."""
    outlets = (yard.OUTLET, yard.SECOND)
    good = yard.verdict(yard.ago(10))

    found = judged(good, outlets=outlets)
    assert found.overall == "not_proven"
    assert found.reasons[0].startswith("paint-2: Oxygen, oil, carbon monoxide")
    assert [one.overall for one in found.outlets] == ["conforms", "not_proven"]
    both = judged(good, yard.verdict(yard.ago(10), "v2", "outlet-2"), outlets=outlets)
    assert both.overall == "conforms"
    worst = judged(good, yard.failing(yard.ago(10), outlet="outlet-2"), outlets=outlets)
    assert worst.overall == "does_not_conform"


def test_what_limits_have_in_common_is_said_once() -> None:
    """What is outside first; two limits of one analyte are one name."""
    limits = evolve(
        yard.LIMITS,
        limits=(*yard.LIMITS.limits, evolve(yard.LIMITS.limit("co"), key="co-8h")),
    )
    words = (
        *yard.words(yard.ago(5), oil="undecided", co="does_not_conform"),
        evolve(yard.words(yard.ago(5))[0], key="co-8h", analyte="co", verdict="undecided"),
    )
    verdict = yard.failing(yard.ago(5), limits=words)
    found = supply_evidence(yard.yard(verdicts=(verdict,)), "supply-1", limits)

    assert [reason.split(":")[0] for reason in found.reasons] == [
        "Carbon monoxide",
        "Oil and carbon monoxide",
    ]


def test_without_outlet_supply_or_limits() -> None:
    """Nothing to measure at, nothing to measure by: nothing is proved."""
    unused = judged(yard.verdict(yard.ago(1)), outlets=(evolve(yard.OUTLET, in_use=False),))
    assert unused.overall == "not_proven"
    assert "no outlet in use" in unused.reasons[0]
    assert unused.weakest is None
    missing = supply_evidence(yard.yard(), "nothing", yard.LIMITS)
    assert (missing.overall, missing.reasons) == (
        "not_proven",
        ("The supply is not on record. Add it.",),
    )
    advice = evolve(
        yard.LIMITS, limits=tuple(evolve(one, required=False) for one in yard.LIMITS.limits)
    )
    found = supply_evidence(yard.yard(verdicts=(yard.verdict(yard.ago(1)),)), "supply-1", advice)
    assert found.overall == "not_proven"
    assert "no required limit" in found.reasons[0]


def test_a_limit_that_needs_the_lowest_temperature() -> None:
    """It asks for evidence once the temperature is on record."""
    needing = tuple(
        evolve(one, needs="lowest temperature") if one.key == "co" else one for one in yard.LIMITS
    )
    limits: LimitSet = evolve(yard.LIMITS, limits=needing)

    assert "co" not in {one.key for one in required_limits(limits, yard.SUPPLY)}
    cold = evolve(yard.SUPPLY, lowest_temperature_c=Decimal(-5))
    assert "co" in {one.key for one in required_limits(limits, cold)}


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"pressure_bar_g": Decimal(9)}, "another supply pressure than is on record now"),
        ({"lowest_temperature_c": Decimal(5)}, "another lowest temperature than is on record"),
        ({"hand_test_ids": ("gone",)}, "a test by hand that was voided since"),
        ({"log_import_ids": ("gone",)}, "a log that was voided since"),
        ({"hand_test_ids": ("test-1",), "seq": 99}, "a test by hand that was amended since"),
        ({"log_import_ids": ("log-1",), "seq": 100}, "a log whose import was corrected since"),
    ],
)
def test_what_a_verdict_rests_on_changed(more: dict[str, Any], words: str) -> None:
    """It proves nothing any more, and the reason says why."""
    kept = {
        "hand_tests": (yard.hand_test(yard.ago(10)),),
        "log_imports": (yard.log_import(yard.ago(11), yard.ago(10)),),
    }
    rests: dict[str, Any] = {"hand_test_ids": ("test-1",), "log_import_ids": ("log-1",)}

    in_order = yard.verdict(yard.ago(10), pressure_bar_g=Decimal("7.0"), **rests)
    assert judged(in_order, **kept).overall == "conforms"
    found = judged(yard.verdict(yard.ago(10), **more), **kept)
    assert found.overall == "not_proven"
    assert words in found.reasons[0]
    outside = judged(yard.failing(yard.ago(10), **more), **kept)
    assert outside.overall == "does_not_conform"


def test_an_aborted_test_beside_the_evidence_takes_nothing_away() -> None:
    """It gave nothing when the verdict was drawn, and gives nothing now."""
    aborted = yard.hand_test(yard.ago(12), "test-0", state="aborted", readings=())
    good = yard.verdict(yard.ago(10), hand_test_ids=("test-0",))

    assert judged(good, hand_tests=(aborted,)).overall == "conforms"


def test_a_fault_of_the_instrument_found_later() -> None:
    """A calibration that finds it out of tolerance takes the readings before with it."""
    found_out = Calibration(
        id="c9",
        instrument_id="instrument-1",
        time=yard.ago(2),
        kind="calibration",
        passed=True,
        by="laboratory (invented)",
        rows=(CalibrationRow("co", "ppm", Decimal(20), Decimal(12), Decimal(20), Decimal(2)),),
    )
    calibrations = (yard.CALIBRATED, yard.BUMPED, found_out)
    by_hand = yard.verdict(yard.ago(10), hand_test_ids=("test-1",))
    logged = yard.verdict(yard.ago(10), log_import_ids=("log-1",))
    test: dict[str, Any] = {"hand_tests": (yard.hand_test(yard.ago(10)),)}
    log: dict[str, Any] = {"log_imports": (yard.log_import(yard.ago(11), yard.ago(10)),)}

    for verdict, kept in ((by_hand, test), (logged, log)):
        assert judged(verdict, **kept).overall == "conforms"
        doubted = judged(verdict, calibrations=calibrations, **kept)
        assert doubted.overall == "not_proven"
        assert "found co at 12 ppm instead of 20 ppm" in doubted.reasons[0]
    unnamed = {"log_imports": (yard.log_import(yard.ago(11), yard.ago(10), instrument_id=None),)}
    told = judged(logged, calibrations=calibrations, **unnamed)
    assert told.overall == "not_proven"
    assert "not said which instrument made the log" in told.reasons[0]


def test_an_outlet_that_hung_on_another_supply() -> None:
    """What was measured there then says nothing of this supply, good or bad."""
    then = yard.verdict(yard.ago(10), supply_id="supply-2")

    assert judged(then).overall == "not_proven"
    assert judged(yard.verdict(yard.ago(20)), then).overall == "conforms"
    foul = yard.failing(yard.ago(10), supply_id="supply-2")
    assert judged(yard.verdict(yard.ago(20)), foul).overall == "conforms"


def test_the_weakest_goes_stale_first() -> None:
    """Among limits that are all proved, the one with the oldest evidence."""
    words = tuple(
        evolve(one, evidence_time=yard.ago(30)) if one.key == "oil" else one
        for one in yard.words(yard.ago(10))
    )
    found = judged(yard.verdict(yard.ago(10), limits=words))

    assert found.weakest is not None
    assert (found.weakest.key, found.overall) == ("oil", "conforms")


def test_an_analyte_that_is_not_known() -> None:
    """A limit set of a later version may hold one; its key is shown."""
    limits = evolve(yard.LIMITS, limits=(evolve(yard.LIMITS.limits[0], key="x", analyte="argon"),))
    found = supply_evidence(yard.yard(), "supply-1", limits)

    assert found.reasons == ("Argon: there is no evidence. Test it.",)
