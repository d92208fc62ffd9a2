"""What was imported or tested and never judged stands against every clean word."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plan import build_yard as yard
from tests.plan.test_evidence_properties import BADNESS, CLEAN, EVENTS, VERDICTS

from lungwort.plan.evidence import supply_evidence
from lungwort.plan.snapshot import Snapshot
from lungwort.plan.state import may_return
from lungwort.plan.unjudged import said, standing, unjudged
from lungwort.register.model import HandTest, LogImport

GOOD = yard.verdict(yard.ago(10))
LOG = yard.log_import(yard.ago(9, 3), yard.ago(9))
TEST = yard.hand_test(yard.ago(8))


def _found(**more: Any) -> tuple[str, ...]:
    return tuple(one.id for one in unjudged(yard.yard(**more), "outlet-1"))


def _overall(snapshot: Snapshot) -> str:
    return supply_evidence(snapshot, "supply-1", yard.LIMITS).overall


def test_it_is_told_with_what_to_do() -> None:
    """Newest first, with the time in the site's zone, and the command that judges it."""
    log, test = evolve(LOG, id="log-7"), evolve(TEST, id="test-7")
    newest, older = unjudged(yard.yard(log_imports=(log,), hand_tests=(test,)), "outlet-1")

    assert (newest.kind, newest.id, newest.ended) == ("test by hand", "test-7", test.ended)
    assert (older.kind, older.id, older.ended) == ("log", "log-7", LOG.end)
    assert older.todo == (
        "The log log-7 of 6 Jun 2026, 10:00 was not judged. Have it judged first: 'lungwort certify "
        '"paint-1" --log log-7 --no-certificate\'.'
    )
    assert '"paint-1" --test test-7 --no-certificate' in newest.todo


@pytest.mark.parametrize(
    ("more", "judged"),
    [
        ({}, True),
        ({"overall": "does_not_conform", "end": yard.ago(9, 1)}, True),
        ({"overall": "not_proven", "end": LOG.end}, True),
        ({"overall": "not_proven", "end": None}, True),
        # Changed after every verdict that rests on it, voided, or other evidence.
        ({"seq": 99}, False),
        ({"voided": True}, False),
        ({"hand_test_ids": (), "log_import_ids": ()}, False),
        ({"overall": "not_proven", "lapses": ("The bump test failed.",)}, True),
        (
            {"overall": "does_not_conform", "lapses": ("It was judged with a least coverage.",)},
            True,
        ),
        ({"overall": "not_proven", "lapses": ("It was judged with a least coverage.",)}, False),
        # A look that was not in order, or left the end out and proved nothing.
        ({"lapses": ("Only half of the period was covered.",)}, False),
    ],
)
def test_what_counts_as_judged(more: dict[str, Any], judged: bool) -> None:  # noqa: FBT001 - one of two outcomes
    """A verdict in force that rests on its newest version."""
    rests: dict[str, Any] = {"hand_test_ids": ("test-1",), "log_import_ids": ("log-1",)}
    verdict = yard.verdict(yard.ago(8), **(rests | more))
    found = _found(verdicts=(verdict,), log_imports=(LOG,), hand_tests=(TEST,))

    assert found == (() if judged else ("test-1", "log-1"))


def test_a_log_whose_end_was_left_out_and_proved_nothing() -> None:
    """What was cut off may be bad; one without a time has no end that could be left out."""
    verdict = yard.verdict(
        yard.ago(9), overall="not_proven", log_import_ids=("log-1",), end=yard.ago(9, 1)
    )

    assert _found(verdicts=(verdict,), log_imports=(LOG,)) == ("log-1",)
    assert _found(verdicts=(verdict,), log_imports=(evolve(LOG, end=None),)) == ()


def test_what_says_nothing_or_lies_elsewhere() -> None:
    """A test that gave nothing, an outlet that is not on record, and the evidence of another."""
    for nothing in (
        evolve(TEST, state="void"),
        evolve(TEST, state="aborted"),
        evolve(TEST, readings=()),
        evolve(TEST, voided=True),
        evolve(TEST, outlet_id="outlet-2"),
    ):
        assert _found(hand_tests=(nothing,)) == ()
    assert _found(log_imports=(evolve(LOG, outlet_id="outlet-2"),)) == ()
    assert unjudged(yard.yard(log_imports=(LOG,)), "outlet-9") == ()
    assert standing(yard.yard(log_imports=(LOG,)), "outlet-9") == ()
    stray = evolve(LOG, outlet_id="outlet-9")
    assert unjudged(yard.yard(log_imports=(stray,)), "outlet-9") == ()


def test_after_a_moment() -> None:
    """Only what ended after it, and what bears no time."""
    timeless = evolve(LOG, id="log-0", start=None, end=None)
    snapshot = yard.yard(log_imports=(LOG, timeless), hand_tests=(TEST,))

    assert [one.id for one in unjudged(snapshot, "outlet-1", after=yard.ago(9))] == [
        "log-0",
        "test-1",
    ]
    assert unjudged(snapshot, "outlet-1")[0].when == "a time that is not known"


@pytest.mark.parametrize(
    ("days", "overall"),
    [
        (0, "not_proven"),
        (9, "not_proven"),
        (60, "not_proven"),
        (92, "not_proven"),
        (93, "conforms"),
    ],
)
def test_how_long_it_stands_against_the_air(days: int, overall: str) -> None:
    """Three months, the plan's interval: 15 June less three months is 15 March, 92 days before."""
    log = yard.log_import(yard.ago(days, 2), yard.ago(days))
    snapshot = yard.yard(verdicts=(GOOD,), log_imports=(log,))

    assert _overall(snapshot) == overall
    assert _overall(yard.changed(snapshot, log_imports=())) == "conforms"
    counted = standing(snapshot, "outlet-1", after=yard.ago(days + 1))
    assert [one.id for one in counted] == ["log-1"]


def test_the_reason_names_it() -> None:
    """In one sentence, however much there is."""
    logs = [yard.log_import(yard.ago(9), yard.ago(k), f"log-{k}") for k in range(5)]

    def reason(count: int) -> str:
        snapshot = yard.yard(verdicts=(GOOD,), log_imports=tuple(logs[:count]))
        (told,) = supply_evidence(snapshot, "supply-1", yard.LIMITS).reasons
        return told

    assert reason(1) == (
        "There is evidence of 15 Jun 2026, 10:00 at paint-1 that was not judged: 'lungwort certify "
        '"paint-1"\'.'
    )
    assert "10:00 and of 14 Jun 2026, 10:00 at paint-1" in reason(2)
    assert "of 13 Jun 2026, 10:00 and of another time at paint-1" in reason(4)
    assert "of 13 Jun 2026, 10:00 and of 2 other times at paint-1" in reason(5)
    assert said(yard.OUTLET, ()) == ""


def test_bad_air_stays_bad() -> None:
    """What is outside comes first, and the unjudged evidence is named beside it."""
    snapshot = yard.yard(verdicts=(yard.failing(yard.ago(10)),), log_imports=(LOG,))
    found = supply_evidence(snapshot, "supply-1", yard.LIMITS)

    assert found.overall == "does_not_conform"
    assert "is outside the limit" in found.reasons[0]
    assert "was not judged" in found.reasons[-1]


@pytest.mark.parametrize("overall", ["conforms", "not_proven"])
def test_what_was_judged_leniently_proves_nothing(overall: str) -> None:
    """Its words on the limits count no more than the verdict does."""
    lapse = "It was judged with a least coverage of 0.5; 0.9 is asked for."
    snapshot = yard.yard(verdicts=(yard.verdict(yard.ago(10), overall=overall, lapses=(lapse,)),))
    found = supply_evidence(snapshot, "supply-1", yard.LIMITS)

    assert found.overall == "not_proven"
    assert found.reasons == (f"{lapse} Judge it anew without that.",)


def _withdrawn(cured: float, **more: Any) -> Snapshot:
    """Build a yard that failed, was withdrawn a day later, cured, and tested again and judged."""
    tested = yard.ago(cured - 1)
    given_records: dict[str, Any] = {
        "verdicts": (
            yard.failing(yard.ago(120)),
            yard.verdict(tested, "verdict-3", hand_test_ids=("test-3",)),
        ),
        "hand_tests": (yard.hand_test(tested, "test-3"),),
        "findings": (yard.finding(yard.ago(120), verdict_id="verdict-2"),),
        "actions": (yard.action("cause", yard.ago(cured)), yard.action("cure", yard.ago(cured))),
        "states": (yard.state("withdrawn", yard.ago(119), finding_ids=("finding-F-1",)),),
    }
    return yard.yard(**(given_records | more))


@pytest.mark.parametrize("days", [3, 6, 60, 100, 118])
def test_it_stands_against_a_return(days: int) -> None:
    """Whatever was taken since the air was found bad, and what would count still."""
    assert may_return(_withdrawn(5), "supply-1") == ()
    log = yard.log_import(yard.ago(days, 2), yard.ago(days))
    (told,) = may_return(_withdrawn(5, log_imports=(log,)), "supply-1")

    assert told.startswith("There is evidence of ")
    assert "at paint-1 that was not judged: 'lungwort certify \"paint-1\"'." in told


def test_what_is_older_than_the_bad_air_and_the_interval_does_not() -> None:
    """It would be stale, were it judged."""
    log = yard.log_import(yard.ago(130, 2), yard.ago(130))

    assert may_return(_withdrawn(5, log_imports=(log,)), "supply-1") == ()


def test_a_new_supply_may_not_begin_past_it() -> None:
    """A supply that never was in service has no finding and no withdrawal."""
    snapshot = yard.yard(verdicts=(GOOD,), log_imports=(LOG,))

    assert may_return(yard.changed(snapshot, log_imports=()), "supply-1") == ()
    assert any("was not judged" in one for one in may_return(snapshot, "supply-1"))


@st.composite
def evidence(draw: st.DrawFn) -> LogImport | HandTest:
    """Draw a log or a test by hand, up to two days ahead, at one of two outlets."""
    end = yard.ago(draw(st.integers(-2, 200)))
    outlet = draw(st.sampled_from(["outlet-1", "outlet-2"]))
    if draw(st.booleans()):
        return yard.hand_test(end - timedelta(hours=1), "test-new", outlet, seq=300)
    return yard.log_import(end - timedelta(hours=2), end, "log-new", outlet_id=outlet, seq=300)


def _with(snapshot: Snapshot, one: LogImport | HandTest) -> Snapshot:
    if isinstance(one, HandTest):
        return yard.changed(snapshot, hand_tests=(*snapshot.hand_tests, one))
    return yard.changed(snapshot, log_imports=(*snapshot.log_imports, one))


@settings(deadline=None, max_examples=100)
@given(verdicts=VERDICTS, events=EVENTS, clean=st.sampled_from([[], CLEAN]), one=evidence())
def test_unjudged_evidence_never_improves(
    verdicts: list[Any], events: list[Any], clean: list[Any], one: LogImport | HandTest
) -> None:
    """As bad as before, or worse; nor does it take away what stands against a return."""
    outlets = (yard.OUTLET, yard.SECOND)
    snapshot = yard.yard(verdicts=[*clean, *verdicts], events=events, outlets=outlets)
    after = _with(snapshot, one)

    assert BADNESS[_overall(after)] >= BADNESS[_overall(snapshot)]
    assert set(may_return(snapshot, "supply-1")) <= set(may_return(after, "supply-1"))


@settings(deadline=None, max_examples=100)
@given(verdicts=VERDICTS, events=EVENTS, one=evidence())
def test_nothing_conforms_past_evidence_that_was_not_judged(
    verdicts: list[Any], events: list[Any], one: LogImport | HandTest
) -> None:
    """Not within the interval (92 days, the longest three months), and not past anything newer."""
    end = one.ended if isinstance(one, HandTest) else one.end
    records = [*CLEAN, *verdicts]
    snapshot = yard.yard(verdicts=records, events=events, outlets=(yard.OUTLET, yard.SECOND))
    assert end is not None
    good = [
        word.evidence_time
        for record in records
        if record.outlet_id == one.outlet_id and record.overall == "conforms"
        for word in record.limits
        if word.evidence_time is not None
    ]
    if end >= yard.ago(92) or end > max(good):
        assert _overall(_with(snapshot, one)) != "conforms"
