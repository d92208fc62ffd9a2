"""What is due, and what is overdue."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plan import build_yard as yard

from lungwort.errors import PlanError
from lungwort.plan.choice import interval_of, next_test_by, strictest
from lungwort.plan.due import Due, due
from lungwort.plan.snapshot import Snapshot
from lungwort.register.model import (
    Calibration,
    CalibrationRow,
    CartridgeChange,
    InstrumentChannel,
    LotUse,
    Person,
    RiskAssessment,
)


def _only(kind: str, snapshot: Snapshot, **more: Any) -> list[Due]:
    return [one for one in due(snapshot, **more) if one.kind == kind]


def _tested(time: datetime, **more: Any) -> Snapshot:
    """Build a yard with one conforming test by hand."""
    test = yard.hand_test(time)
    verdict = yard.verdict(time, hand_test_ids=("test-1",))
    return yard.yard(**({"hand_tests": (test,), "verdicts": (verdict,)} | more))


def test_never_tested() -> None:
    """Due now, and said to be never done."""
    (found,) = _only("test", yard.yard())

    assert (found.state, found.due, found.subject) == ("never done", date(2026, 6, 15), "paint-1")
    assert found.subject_kind == "outlet"
    assert found.why == "No conforming verdict with a test by hand is on record."
    assert found.rule == "uk-guidance: HSG53; L5, 6th edition, L5 paras 178-186; from memory"


@pytest.mark.parametrize(
    ("tested", "by", "state"),
    [
        (datetime(2026, 3, 15, 9, tzinfo=UTC), date(2026, 6, 15), "due"),
        (datetime(2026, 3, 14, 9, tzinfo=UTC), date(2026, 6, 14), "overdue"),
        (datetime(2026, 5, 14, 9, tzinfo=UTC), date(2026, 8, 14), "due"),
        (datetime(2026, 5, 15, 9, tzinfo=UTC), date(2026, 8, 15), "later"),
        # The last of November has no counterpart in February.
        (datetime(2025, 11, 30, 9, tzinfo=UTC), date(2026, 2, 28), "overdue"),
    ],
)
def test_every_three_months(tested: datetime, by: date, state: str) -> None:
    """HSG53/L5 (from memory): at least every three months; in time through the last day."""
    (found,) = _only("test", _tested(tested), horizon_days=60)

    assert (found.due, found.state) == (by, state)
    assert found.why.endswith("At least every 3 months.")
    assert next_test_by(yard.yard(), "supply-1", tested.date()) == by


def test_the_horizon() -> None:
    """Sixty days are the rule set's own; the user can ask for others."""
    snapshot = _tested(datetime(2026, 5, 14, 9, tzinfo=UTC))  # due on 14 August, 60 days on

    assert [one.state for one in _only("test", snapshot, horizon_days=None)] == ["due"]
    assert [one.state for one in _only("test", snapshot, horizon_days=59)] == ["later"]
    assert [one.state for one in _only("test", snapshot)] == ["due"]


def test_the_oldest_test_of_a_verdict_counts() -> None:
    """A verdict on two tests is as old as the older of them; an aborted one says nothing."""
    tests = (
        yard.hand_test(yard.ago(10)),
        yard.hand_test(yard.ago(12), "test-2"),
        yard.hand_test(yard.ago(50), "test-3", state="aborted", readings=()),
    )
    verdict = yard.verdict(yard.ago(10), hand_test_ids=("test-1", "test-2", "test-3"))

    (found,) = _only("test", yard.yard(hand_tests=tests, verdicts=(verdict,)))
    assert found.due == date(2026, 9, 3)


@pytest.mark.parametrize(
    "more",
    [
        {"hand_test_ids": ()},  # a log alone is no test by hand
        {"hand_test_ids": ("test-9",)},  # voided since
        {"hand_test_ids": ("test-2",)},  # aborted
        {"hand_test_ids": ("test-3",)},  # from the future
        {"overall": "not_proven", "hand_test_ids": ("test-1",)},
    ],
)
def test_what_is_no_test_done(more: dict[str, Any]) -> None:
    """Only a conforming verdict with a test by hand that was done counts."""
    tests = (
        yard.hand_test(yard.ago(10)),
        yard.hand_test(yard.ago(10), "test-2", state="aborted", readings=()),
        yard.hand_test(yard.ago(-3), "test-3"),
    )
    snapshot = yard.yard(hand_tests=tests, verdicts=(yard.verdict(yard.ago(10), **more),))

    assert [one.state for one in _only("test", snapshot)] == ["never done"]


@pytest.mark.parametrize("kind", ["maintenance", "moved", "doubt"])
def test_at_once_after_an_event(kind: str) -> None:
    """UK guidance (from memory): after maintenance, moving or doubt."""
    event = yard.event(kind, yard.ago(3))

    (found,) = _only("test", _tested(yard.ago(10), events=(event,)))
    assert (found.due, found.state) == (date(2026, 6, 12), "overdue")
    assert "on 12 Jun 2026, after the last test" in found.why
    today = yard.event(kind, yard.ago(0, 1))
    (found,) = _only("test", _tested(yard.ago(10), events=(today,)))
    assert (found.due, found.state) == (date(2026, 6, 15), "due")
    (found,) = _only("test", _tested(yard.ago(2), events=(event,)))
    assert found.due == date(2026, 9, 13)


def test_at_once_after_a_verdict_that_does_not_conform() -> None:
    """Until a test that conforms."""
    snapshot = _tested(yard.ago(10))
    broken = yard.changed(snapshot, verdicts=(*snapshot.verdicts, yard.failing(yard.ago(4))))

    (found,) = _only("test", broken)
    assert (found.due, found.state) == (date(2026, 6, 11), "overdue")
    assert "outside a limit on 11 Jun 2026" in found.why
    cured = yard.changed(snapshot, verdicts=(*snapshot.verdicts, yard.failing(yard.ago(14))))
    assert _only("test", cured)[0].due == date(2026, 9, 5)
    never = yard.yard(verdicts=(yard.failing(yard.ago(4), limits=()),))
    assert _only("test", never)[0].due == date(2026, 6, 11)


def test_a_withdrawn_supply_is_tested_when_it_returns() -> None:
    """Its tests are not listed; its cartridges are."""
    stage = evolve(yard.STAGE, change_months=6)
    snapshot = yard.yard(states=(yard.state("withdrawn", yard.ago(3)),), stages=(stage,))

    assert _only("test", snapshot) == []
    assert len(_only("cartridge", snapshot)) == 1


def test_a_supply_without_an_outlet() -> None:
    """Nothing shows what its air is."""
    (found,) = _only("test", yard.yard(outlets=()))

    assert (found.state, found.subject_kind, found.subject) == (
        "never done",
        "supply",
        "compressor",
    )


def test_cartridges() -> None:
    """By the stage's own interval; one without an interval or out of use is not due."""
    stages = (
        evolve(yard.STAGE, change_months=3),
        evolve(yard.STAGE, id="stage-2", name="filter", place=2, change_hours=Decimal(500)),
        evolve(yard.STAGE, id="stage-3", name="separator", place=3),
        evolve(yard.STAGE, id="stage-4", name="old", place=4, change_months=1, in_use=False),
        evolve(yard.STAGE, id="stage-5", name="catalyst", place=5, change_months=1),
    )
    changes = (
        CartridgeChange(id="c1", stage_id="stage-1", time=yard.ago(120), by_id="p"),
        CartridgeChange(id="c2", stage_id="stage-2", time=yard.ago(20), by_id="p"),
    )
    found = _only("cartridge", yard.yard(stages=stages, cartridge_changes=changes))

    assert [(one.subject, one.state) for one in found] == [
        ("compressor/carbon", "overdue"),
        ("compressor/catalyst", "never done"),
        ("compressor/filter", "due"),
    ]
    assert found[2].due == date(2026, 6, 15)
    assert "its hours cannot be told" in found[2].why


def test_calibrations_and_bump_tests() -> None:
    """By the instrument's intervals: twelve months from 10 January, thirty days from 30 May."""
    snapshot = yard.yard()

    assert [(one.due, one.state) for one in _only("calibration", snapshot)] == [
        (date(2027, 1, 10), "later")
    ]
    assert [(one.due, one.state) for one in _only("bump_test", snapshot)] == [
        (date(2026, 6, 29), "due")
    ]
    none = yard.yard(calibrations=())
    for kind in ("calibration", "bump_test"):
        (found,) = _only(kind, none)
        assert found.state == "never done"
        assert found.rule == "the instrument's own interval"
    bare = evolve(yard.METER, calibration_months=None, bump_days=None)
    for kind in ("calibration", "bump_test"):
        (found,) = _only(kind, yard.yard(instruments=(bare,), calibrations=()))
        assert found.rule == "uk-guidance: common practice, no source"
    away = yard.yard(instruments=(evolve(yard.METER, in_use=False),))
    assert _only("calibration", away) == []
    dew = evolve(yard.METER, channels=(InstrumentChannel("water", "°C"),))
    assert _only("bump_test", yard.yard(instruments=(dew,))) == []


def test_a_calibration_that_did_not_pass() -> None:
    """Overdue since its day, and not to be used."""
    failed = Calibration(
        id="c9",
        instrument_id="instrument-1",
        time=yard.ago(2),
        kind="calibration",
        passed=False,
        by="laboratory (invented)",
    )
    (found,) = _only("calibration", yard.yard(calibrations=(yard.CALIBRATED, failed)))

    assert (found.due, found.state) == (date(2026, 6, 13), "overdue")
    assert found.why == "The calibration of 13 Jun 2026 did not pass. Do not use it."


def test_lots_expire() -> None:
    """Through the last day of use; a lot that is used up is not told."""
    lots = (
        evolve(yard.TUBES, expires=date(2026, 6, 14)),
        evolve(yard.TUBES, id="lot-2", name="oil-b", expires=date(2026, 6, 15)),
        evolve(yard.TUBES, id="lot-3", name="oil-c", expires=None),
        evolve(yard.TUBES, id="lot-4", name="oil-d", stock=0, expires=date(2026, 1, 1)),
    )
    found = _only("lot", yard.yard(lots=lots))

    assert [(one.subject, one.state) for one in found] == [
        ("oil-a", "overdue"),
        ("oil-b", "due"),
        ("oil-c", "due"),
    ]
    assert found[2].what == "enter the expiry"


@pytest.mark.parametrize(
    ("used", "more", "count"),
    [
        (6, {}, 0),
        (7, {}, 1),  # three left
        (12, {}, 1),  # more used than came
        (0, {"expires": date(2026, 6, 14)}, 1),  # ten left, none in date
        (9, {"kind": "calibration_gas"}, 0),  # one cylinder left
        (10, {"kind": "calibration_gas"}, 1),
        (10, {"kind": "filter"}, 0),
    ],
)
def test_low_stock(used: int, more: dict[str, Any], count: int) -> None:
    """Three or fewer in date: common practice, no source."""
    uses = (LotUse(id="u1", lot_id="lot-1", time=yard.ago(1), count=used),)
    snapshot = yard.yard(lots=(evolve(yard.TUBES, **more),), lot_uses=uses)

    assert len(_only("stock", snapshot)) == count


def test_a_second_lot_of_the_same_kind_is_stock() -> None:
    """Counted together; the newest lot stands for them."""
    empty = evolve(yard.TUBES, stock=0)
    second = evolve(yard.TUBES, id="lot-2", name="oil-b", seq=12, expires=None)

    assert _only("stock", yard.yard(lots=(empty, second))) == []
    (found,) = _only("stock", yard.yard(lots=(empty, evolve(second, stock=2))))
    assert (found.subject, found.state, found.what) == (
        "oil-b",
        "due",
        "order more: oil oil indicator",
    )
    assert found.why == "2 in date left."


def test_competence() -> None:
    """Of whoever has one, and of whoever has tested without one."""
    persons = (
        yard.WENNA,
        evolve(yard.IDRIS, competent_until=None),
        Person(id="person-3", name="Gone", competent_until=date(2020, 1, 1), in_use=False),
        Person(id="person-4", name="Visitor"),
    )
    found = _only(
        "competence", yard.yard(persons=persons, hand_tests=(yard.hand_test(yard.ago(9)),))
    )

    assert [(one.subject, one.state) for one in found] == [
        ("Idris Pellow", "never done"),
        ("Wenna Harkle", "later"),
    ]
    # Who tested long ago and no longer has a competence does not test any more.
    old = yard.yard(persons=persons[1:2], hand_tests=(yard.hand_test(yard.ago(367)),))
    assert _only("competence", old) == []


def _assessed(months: int, days: float = 30, **more: Any) -> RiskAssessment:
    given_values: dict[str, Any] = {
        "id": f"a-{days}",
        "supply_id": "supply-1",
        "time": yard.ago(days),
        "questionnaire": "test-interval",
        "answers": (),
        "proposed_months": months,
        "chosen_months": months,
        "by_id": "person-1",
    }
    return RiskAssessment(**(given_values | more))


@pytest.mark.parametrize(
    ("plan", "assessments", "months", "words"),
    [
        ("uk-guidance", (), 3, "At least every 3 months."),
        ("uk-guidance", (_assessed(1),), 1, "chose every month."),
        ("uk-guidance", (_assessed(12),), 3, "chose every 12 months, and the rule set allows 3"),
        ("six-monthly-diving", (), 6, "At least every 6 months."),
        ("quarterly", (), 3, "At least every 3 months."),
        ("own-risk-assessment", (), 1, "Every month until a risk assessment is on record."),
        ("own-risk-assessment", (_assessed(4),), 4, "The risk assessment of 16 May 2026 chose"),
        ("own-risk-assessment", (_assessed(12),), 6, "the rule set allows 6 months at most"),
        ("own-risk-assessment", (_assessed(2), _assessed(5, 60)), 2, "16 May 2026"),
        ("own-risk-assessment", (_assessed(4, -3),), 1, "until a risk assessment"),
        ("own-risk-assessment", (_assessed(4, supply_id="supply-2"),), 1, "until a risk"),
        ("uk-guidance", (_assessed(0),), 1, "chose every month"),
    ],
)
def test_intervals(
    plan: str, assessments: tuple[RiskAssessment, ...], months: int, words: str
) -> None:
    """By the rule set, shortened by an assessment, never longer than the rule set's longest."""
    snapshot = yard.yard(sites=(evolve(yard.SITE, plan=plan),), assessments=assessments)
    found = interval_of(snapshot, "supply-1")

    assert found.months == months
    assert words in found.why


def test_assessments_are_looked_at_again() -> None:
    """Where the rule set rests on one: never done, or after twelve months."""
    own = evolve(yard.SITE, plan="own-risk-assessment")

    (found,) = _only("assessment", yard.yard(sites=(own,)))
    assert found.state == "never done"
    (found,) = _only("assessment", yard.yard(sites=(own,), assessments=(_assessed(3),)))
    assert (found.due, found.state) == (date(2027, 5, 16), "later")
    assert _only("assessment", yard.yard()) == []


def test_the_strictest_rule_set_holds_for_what_belongs_to_no_site(tmp_path: Path) -> None:
    """Of the sites in use; the default where there is none."""
    from lungwort.plan import files

    text = files.shipped_text("library", "uk-guidance").replace('"uk-guidance"', '"mine"', 1)
    own = tmp_path / "mine.toml"
    own.write_text(text.replace("value = 12", "value = 6"), encoding="utf-8")
    second = evolve(yard.SITE, id="site-2", name="second", plan=str(own))

    assert strictest(yard.yard(sites=(yard.SITE, second)), "calibration").id == "mine"
    unused = evolve(second, in_use=False)
    assert strictest(yard.yard(sites=(yard.SITE, unused)), "calibration").id == "uk-guidance"
    assert strictest(yard.yard(sites=()), "calibration").id == "uk-guidance"


def test_a_rule_set_that_is_not_known() -> None:
    """The message names it; nothing is claimed to be due or not."""
    with pytest.raises(PlanError, match="rule set 'nonsense' is not known"):
        due(yard.yard(sites=(evolve(yard.SITE, plan="nonsense"),)))


def test_a_supply_whose_site_is_not_on_record() -> None:
    """The default rule set holds, in UTC."""
    assert interval_of(yard.yard(sites=()), "supply-1").months == 3
    assert interval_of(yard.yard(), "nothing").months == 3
    assert [one.due for one in _only("test", yard.yard(sites=()))] == [date(2026, 6, 15)]


def test_late_comes_first() -> None:
    """Overdue, never done, due, later; each by day."""
    snapshot = _tested(yard.ago(200), lots=(evolve(yard.TUBES, expires=date(2026, 6, 20)),))
    found = due(snapshot)
    states = [one.state for one in found]

    assert states == sorted(states, key=["overdue", "never done", "due", "later"].index)
    assert states[0] == "overdue"
    assert found[0].kind == "test"


@settings(deadline=None, max_examples=100)
@given(
    tested=st.integers(0, 400),
    wait=st.integers(0, 400),
    events=st.lists(st.integers(0, 400), max_size=2),
)
def test_what_is_overdue_stays_overdue(tested: int, wait: int, events: list[int]) -> None:
    """Time alone settles nothing, and an event never puts a test off."""
    snapshot = _tested(yard.ago(tested))
    happened = [yard.event("doubt", yard.ago(days)) for days in events]
    (plain,), (with_event,) = (
        _only("test", snapshot),
        _only("test", yard.changed(snapshot, events=happened)),
    )
    later = yard.changed(snapshot, events=happened, now=yard.NOW + timedelta(days=wait))

    assert with_event.due <= max(plain.due, yard.NOW.date())
    assert _only("test", later)[0].due == with_event.due
    if with_event.state == "overdue":
        assert _only("test", later)[0].state == "overdue"


def test_a_channel_that_no_record_covers() -> None:
    """Named, for the others were done; whoever reads 'calibrate' alone looks in the wrong place."""
    rows = tuple(
        CalibrationRow(key, unit, Decimal(20), Decimal(20))
        for key, unit in (("o2", "%"), ("co", "ppm"))
    )
    snapshot = yard.yard(calibrations=(evolve(yard.CALIBRATED, rows=rows),))

    for kind, what in (("calibration", "calibrate"), ("bump_test", "bump test")):
        (found,) = _only(kind, snapshot)
        assert found.what == f"{what} carbon dioxide"
        assert "of carbon dioxide is on record: what is on record covers other" in found.why
