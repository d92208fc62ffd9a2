"""In service, withdrawn, under test: and what stands against a return."""

from __future__ import annotations

from typing import Any

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plan import build_yard as yard

from lungwort.errors import LimitSetError
from lungwort.plan.snapshot import Snapshot
from lungwort.plan.state import (
    finding_open,
    may_return,
    open_findings,
    retest,
    retest_after,
    supply_state,
)

BROKEN = yard.ago(20)
CURED = yard.ago(10)
RETESTED = yard.ago(5)


def _broken(**more: Any) -> Snapshot:
    """Build a yard whose air failed, was withdrawn, explained, cured and tested again."""
    given_records: dict[str, Any] = {
        "verdicts": (
            yard.verdict(yard.ago(40), "verdict-0"),
            yard.failing(BROKEN),
            yard.verdict(RETESTED, "verdict-3", hand_test_ids=("test-3",)),
        ),
        "hand_tests": (yard.hand_test(RETESTED, "test-3"),),
        "findings": (yard.finding(BROKEN, verdict_id="verdict-2"),),
        "actions": (yard.action("cause", yard.ago(12)), yard.action("cure", CURED)),
        "states": (
            yard.state("in_service", yard.ago(39)),
            yard.state("withdrawn", yard.ago(19), finding_ids=("finding-F-1",)),
        ),
    }
    return yard.yard(**(given_records | more))


def test_a_supply_without_a_record_is_under_test() -> None:
    """It was never put into service."""
    found = supply_state(yard.yard(), "supply-1")

    assert (found.state, found.since, found.by) == ("under_test", None, "")
    assert found.why == "It was never put into service."


def test_the_newest_record_holds() -> None:
    """With who decided, since when, and why."""
    found = supply_state(_broken(), "supply-1")

    assert (found.state, found.since, found.by) == ("withdrawn", yard.ago(19), "Wenna Harkle")
    unknown = supply_state(_broken(persons=()), "supply-1")
    assert unknown.by == ""


def test_a_withdrawal_recorded_late_holds() -> None:
    """It bears an earlier time than the return, and was recorded after it."""
    returned = yard.state("in_service", yard.ago(2), seq=300)
    late = yard.state("withdrawn", yard.ago(3), seq=301)

    assert supply_state(yard.yard(states=(returned, late)), "supply-1").state == "withdrawn"


def test_a_corrected_old_record_changes_nothing_today() -> None:
    """The wording of an old withdrawal was put right after the return."""
    corrected = yard.state("withdrawn", yard.ago(20), seq=302, version=2)
    returned = yard.state("in_service", yard.ago(2), seq=300)

    assert supply_state(yard.yard(states=(corrected, returned)), "supply-1").state == "in_service"
    assert supply_state(yard.yard(states=(corrected,)), "supply-1").state == "withdrawn"


STATES = st.lists(
    st.builds(
        lambda kind, days, seq: yard.state(kind, yard.ago(days), seq=seq),
        st.sampled_from(["in_service", "withdrawn", "under_test"]),
        st.integers(0, 30),
        st.integers(1, 1000),
    ),
    max_size=5,
    unique_by=lambda one: one.seq,
)


@settings(deadline=None, max_examples=200)
@given(states=STATES)
def test_withdrawn_until_a_return_is_recorded(states: list[Any]) -> None:
    """Whatever came before: a withdrawal recorded last holds, and only a return ends it."""
    last = max((one.seq for one in states), default=0)
    gone = yard.state("withdrawn", yard.ago(40), seq=last + 1)

    assert supply_state(yard.yard(states=(*states, gone)), "supply-1").state == "withdrawn"
    evidence = (yard.verdict(yard.ago(1)),)
    with_evidence = yard.yard(states=(*states, gone), verdicts=evidence)
    assert supply_state(with_evidence, "supply-1").state == "withdrawn"


def test_findings_open_and_closed() -> None:
    """Closed by an action; open again once the retest behind it is voided or does not conform."""
    good = yard.verdict(RETESTED, "verdict-3")
    closed = yard.action("close", yard.ago(1), verdict_id="verdict-3")
    findings = (yard.finding(yard.ago(4), "F-2", supply_id="supply-2"), yard.finding(BROKEN))
    snapshot = yard.yard(findings=findings, actions=(closed,), verdicts=(good,))

    assert not finding_open(snapshot, "finding-F-1")
    assert finding_open(snapshot, "finding-F-2")
    assert not finding_open(snapshot, "nothing")
    assert [one.number for one in open_findings(snapshot)] == ["F-2"]
    assert open_findings(snapshot, "supply-1") == ()
    assert finding_open(yard.changed(snapshot, verdicts=()), "finding-F-1")
    bad = evolve(good, overall="does_not_conform")
    assert finding_open(yard.changed(snapshot, verdicts=(bad,)), "finding-F-1")
    without = evolve(closed, verdict_id=None)
    assert not finding_open(yard.changed(snapshot, actions=(without,)), "finding-F-1")
    noted = yard.changed(snapshot, actions=(yard.action("note", yard.ago(1)),))
    assert [one.number for one in open_findings(noted)] == ["F-1", "F-2"]


def test_it_may_return() -> None:
    """Cause, cure, and a conforming retest with all its evidence after the cure."""
    assert may_return(_broken(), "supply-1") == ()
    assert may_return(_broken(), "supply-1", yard.LIMITS) == ()


def test_cause_and_cure_are_asked_for() -> None:
    """Each by itself, naming the finding."""
    only_cure = _broken(actions=(yard.action("cure", CURED),))
    assert may_return(only_cure, "supply-1") == (
        "Finding F-1 has no cause on record. Enter what caused it.",
    )
    only_cause = _broken(actions=(yard.action("cause", CURED),))
    assert may_return(only_cause, "supply-1") == (
        "Finding F-1 has no cure on record. Enter what was done.",
    )


def test_the_retest_lies_after_the_newest_cure() -> None:
    """A second cure asks for a second retest."""
    again = _broken(
        actions=(
            yard.action("cause", CURED),
            yard.action("cure", CURED),
            yard.action("cure", yard.ago(2)),
        )
    )

    (told,) = may_return(again, "supply-1")
    assert told.startswith("Outlet paint-1 has no conforming verdict whose evidence was all taken")
    assert "after 13 Jun 2026, 10:00" in told  # London, an hour ahead of UTC in June


@pytest.mark.parametrize(
    "more",
    [
        # Judged after the cure, on evidence from before it.
        {"hand_test_ids": ("test-0",)},
        # Part of the evidence from before it.
        {"hand_test_ids": ("test-3", "test-0")},
        {"hand_test_ids": ("test-3",), "log_import_ids": ("log-1",)},
        # One limit by evidence from before it.
        {"hand_test_ids": ("test-3",), "limits": yard.words(CURED)},
        # Without evidence on record any more, or without a time.
        {"hand_test_ids": ()},
        {"hand_test_ids": ("gone",)},
        {"log_import_ids": ("gone",)},
        {"log_import_ids": ("log-2",)},
        # Judged by another limit set, or not conforming.
        {"hand_test_ids": ("test-3",), "limit_set_digest": "9" * 64},
        {"hand_test_ids": ("test-3",), "overall": "not_proven"},
        # Conforming, though something was not in order with it.
        {"hand_test_ids": ("test-3",), "lapses": ("Only half of the period was covered.",)},
        # Of another supply, on which the outlet hung then.
        {"hand_test_ids": ("test-3",), "supply_id": "supply-2"},
        # Judged before the cure, though the evidence bears a later time.
        {"hand_test_ids": ("test-3",), "judged_at": CURED},
    ],
)
def test_what_is_no_retest(more: dict[str, Any]) -> None:
    """It must conform, by the limits in force, on evidence taken after the cure alone."""
    snapshot = _broken(
        verdicts=(yard.failing(BROKEN), yard.verdict(RETESTED, "verdict-3", **more)),
        hand_tests=(yard.hand_test(RETESTED, "test-3"), yard.hand_test(CURED, "test-0")),
        log_imports=(
            yard.log_import(yard.ago(11), yard.ago(4)),
            evolve(yard.log_import(yard.ago(11), yard.ago(4), "log-2"), start=None),
        ),
    )

    assert any("has no conforming verdict" in one for one in may_return(snapshot, "supply-1"))


def test_a_retest_by_a_log_judged_from_the_cure_on() -> None:
    """The log began before the cure; what was judged of it did not."""
    log = yard.log_import(yard.ago(11), yard.ago(5))
    by_log = yard.verdict(RETESTED, "verdict-3", log_import_ids=("log-1",), start=yard.ago(9))
    snapshot = _broken(verdicts=(yard.failing(BROKEN), by_log), log_imports=(log,), hand_tests=())

    assert may_return(snapshot, "supply-1") == ()


def test_an_aborted_test_is_no_part_of_a_retest() -> None:
    """Its time says nothing, and by itself it is nothing."""
    aborted = yard.hand_test(yard.ago(15), "test-0", state="aborted", readings=())
    done = yard.hand_test(RETESTED, "test-3")
    both = yard.verdict(RETESTED, "verdict-3", hand_test_ids=("test-0", "test-3"))
    snapshot = _broken(verdicts=(yard.failing(BROKEN), both), hand_tests=(aborted, done))

    assert may_return(snapshot, "supply-1") == ()
    alone = evolve(both, hand_test_ids=("test-0",))
    alone_snapshot = yard.changed(snapshot, verdicts=(yard.failing(BROKEN), alone))
    assert any("has no conforming verdict" in one for one in may_return(alone_snapshot, "supply-1"))


def test_the_evidence_as_a_whole_must_conform() -> None:
    """A second outlet without evidence stands against the return."""
    (told,) = may_return(_broken(outlets=(yard.OUTLET, yard.SECOND)), "supply-1")

    assert told.startswith("paint-2: Oxygen, oil, carbon monoxide, carbon dioxide, odour and water")


def test_a_finding_of_the_whole_supply_asks_for_every_outlet() -> None:
    """Also one at an outlet that was since taken out of use."""
    outlets = (yard.OUTLET, yard.SECOND)
    old = yard.verdict(yard.ago(30), "verdict-4", "outlet-2")
    for where in (None, "outlet-9"):
        findings = (yard.finding(BROKEN, outlet_id=where),)
        snapshot = _broken(outlets=outlets, findings=findings)
        snapshot = yard.changed(snapshot, verdicts=(*snapshot.verdicts, old))

        (told,) = may_return(snapshot, "supply-1")
        assert told.startswith("Outlet paint-2 has no conforming verdict")


def test_withdrawn_without_a_finding() -> None:
    """Every outlet is tested again after the withdrawal."""
    states = (yard.state("withdrawn", yard.ago(3)),)
    snapshot = _broken(findings=(), actions=(), states=states)

    (told,) = may_return(snapshot, "supply-1")
    assert "after 12 Jun 2026" in told
    earlier = yard.changed(snapshot, states=(yard.state("withdrawn", yard.ago(7)),))
    assert may_return(earlier, "supply-1") == ()


def test_a_closed_finding_behind_the_withdrawal_still_needs_its_cause() -> None:
    """Closing is no way around."""
    snapshot = _broken(actions=(yard.action("close", yard.ago(1)),))

    told = may_return(snapshot, "supply-1")
    assert told[:2] == (
        "Finding F-1 has no cause on record. Enter what caused it.",
        "Finding F-1 has no cure on record. Enter what was done.",
    )


def test_a_new_supply_needs_no_cause() -> None:
    """Under test and never in service: its evidence alone decides."""
    good = (yard.verdict(yard.ago(5)),)

    assert may_return(yard.yard(verdicts=good), "supply-1") == ()
    (told,) = may_return(yard.yard(), "supply-1")
    assert told.endswith("there is no evidence. Test it.")


def test_what_cannot_return_at_all() -> None:
    """Not on record, given up, in service already, or without a limit set."""
    assert may_return(yard.yard(), "nothing") == ("The supply is not on record. Add it.",)
    given_up = yard.yard(supplies=(evolve(yard.SUPPLY, in_use=False),))
    assert "given up" in may_return(given_up, "supply-1")[0]
    serving = yard.yard(states=(yard.state("in_service", yard.ago(1)),))
    assert may_return(serving, "supply-1") == ("Supply compressor is in service already.",)
    bare = yard.yard(sites=(evolve(yard.SITE, limit_set=""),))
    assert "names a limit set" in may_return(bare, "supply-1")[0]
    assert may_return(bare, "supply-1", yard.LIMITS)
    wrong = yard.yard(sites=(evolve(yard.SITE, limit_set="no-such-set"),))
    with pytest.raises(LimitSetError, match="no-such-set"):
        may_return(wrong, "supply-1")


def test_after_which_moment_a_retest_lies() -> None:
    """The newest cure; the opening where there is no cure or it is older; nothing without either."""
    snapshot = _broken()
    findings = open_findings(snapshot)

    assert retest_after(snapshot, "outlet-1", findings) == CURED
    assert retest_after(snapshot, "outlet-2", findings) == CURED  # not an outlet in use
    assert retest_after(snapshot, "outlet-1", ()) is None
    uncured = yard.changed(snapshot, actions=())
    assert retest_after(uncured, "outlet-1", findings) == BROKEN
    early = yard.changed(snapshot, actions=(yard.action("cure", yard.ago(30)),))
    assert retest_after(early, "outlet-1", findings) == BROKEN
    both = yard.changed(snapshot, outlets=(yard.OUTLET, yard.SECOND))
    assert retest_after(both, "outlet-2", findings) is None


def test_the_retest_is_the_newest() -> None:
    """Any conforming verdict where no moment is given."""
    snapshot = _broken()

    found = retest(snapshot, "outlet-1", yard.LIMITS, None)
    assert found is not None
    assert found.id == "verdict-3"
    assert retest(snapshot, "outlet-2", yard.LIMITS, None) is None
    for orphan in (yard.changed(snapshot, supplies=()), yard.changed(snapshot, outlets=())):
        assert retest(orphan, "outlet-1", yard.LIMITS, CURED) is not None


@settings(deadline=None, max_examples=100)
@given(
    drop=st.sets(st.sampled_from(["cause", "cure", "retest", "test"]), min_size=1),
)
def test_nothing_missing_may_return(drop: set[str]) -> None:
    """Whatever of cause, cure, retest and its evidence is missing: there is a reason against it."""
    whole = _broken()
    snapshot = yard.changed(
        whole,
        actions=tuple(one for one in whole.actions if one.kind not in drop),
        verdicts=tuple(
            one for one in whole.verdicts if "retest" not in drop or one.id != "verdict-3"
        ),
        hand_tests=() if "test" in drop else whole.hand_tests,
    )

    assert may_return(snapshot, "supply-1")
