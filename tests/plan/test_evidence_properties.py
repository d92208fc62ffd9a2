"""What must hold whatever is on record: no clean word without fresh evidence."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plan import build_yard as yard

from lungwort.plan.evidence import supply_evidence
from lungwort.register.model import LimitWord, VerdictRecord

BADNESS = {"conforms": 0, "not_proven": 1, "does_not_conform": 2}
WORDS = ["conforms", "does_not_conform", "undecided", "no_evidence", "not_applicable"]
DAYS = st.integers(0, 200)


@st.composite
def verdict(draw: st.DrawFn, words: tuple[str, ...] = tuple(WORDS)) -> VerdictRecord:
    """Draw a verdict at one of two outlets, of one of two limit sets, up to two days ahead."""
    time = yard.ago(draw(st.integers(-2, 200)))
    limits = tuple(
        LimitWord(
            key=key,
            analyte=yard.LIMITS.limit(key).analyte,
            verdict=draw(st.sampled_from(words)),
            required=True,
            evidence_time=draw(st.sampled_from([time, time - timedelta(days=1), None])),
        )
        for key in draw(st.sets(st.sampled_from(yard.KEYS), min_size=1))
    )
    given_words = {one.verdict for one in limits}
    overall = "does_not_conform" if "does_not_conform" in given_words else "not_proven"
    if given_words == {"conforms"}:
        overall = "conforms"
    name = f"verdict-{draw(st.integers(0, 10**9))}"
    digest = draw(st.sampled_from([yard.LIMITS.digest, yard.LIMITS.digest, "9" * 64]))
    return yard.verdict(
        time,
        name,
        draw(st.sampled_from(["outlet-1", "outlet-2"])),
        overall=overall,
        limits=limits,
        limit_set_digest=digest,
    )


VERDICTS = st.lists(verdict(), max_size=6)
EVENTS = st.lists(
    st.builds(
        lambda kind, days: yard.event(kind, yard.ago(days)),
        st.sampled_from(["maintenance", "moved", "doubt", "other"]),
        DAYS,
    ),
    max_size=2,
)
CLEAN = [
    yard.verdict(yard.ago(20), "clean-1"),
    yard.verdict(yard.ago(20), "clean-2", "outlet-2"),
]


def _overall(verdicts: list[VerdictRecord], **more: Any) -> str:
    snapshot = yard.yard(verdicts=verdicts, outlets=(yard.OUTLET, yard.SECOND), **more)
    return supply_evidence(snapshot, "supply-1", yard.LIMITS).overall


@settings(deadline=None, max_examples=150)
@given(verdicts=VERDICTS, events=EVENTS, clean=st.sampled_from([[], CLEAN]))
def test_conforms_only_with_fresh_evidence_of_every_limit(
    verdicts: list[VerdictRecord], events: list[Any], clean: list[VerdictRecord]
) -> None:
    """Held against a plain reading of the rule, written again without the code under test.

    Conforms means: at each outlet, for each required limit, there is a word of the limit set in
    force that says 'conforms', not older than 92 days (the longest three months), not older than
    the newest event, not from the future, and no word of that time or later says otherwise.
    """
    given_verdicts = [*clean, *verdicts]
    if _overall(given_verdicts, events=events) != "conforms":
        return
    since = max([yard.ago(92), *(event.time for event in events)])
    for outlet in ("outlet-1", "outlet-2"):
        for key in yard.KEYS:
            words = [
                (word.evidence_time, word.verdict, record.limit_set_digest)
                for record in given_verdicts
                if record.outlet_id == outlet
                for word in record.limits
                if word.key == key and word.evidence_time is not None
            ]
            good = [
                time
                for time, said, digest in words
                if said == "conforms"
                and digest == yard.LIMITS.digest
                and since <= time <= yard.NOW + timedelta(minutes=5)
            ]
            assert good, (outlet, key)
            against = [
                time
                for time, said, _ in words
                if said in {"undecided", "does_not_conform"} and time >= max(good)
            ]
            assert not against, (outlet, key)


@settings(deadline=None, max_examples=100)
@given(verdicts=VERDICTS, events=EVENTS, days=st.integers(0, 150), key=st.sampled_from(yard.KEYS))
def test_a_failing_verdict_never_improves(
    verdicts: list[VerdictRecord], events: list[Any], days: int, key: str
) -> None:
    """One limit outside, the others silent: the state is as bad as before, or worse."""
    word = next(one for one in yard.words(yard.ago(days)) if one.key == key)
    failing = yard.verdict(
        yard.ago(days),
        "failing",
        overall="does_not_conform",
        limits=(evolve(word, verdict="does_not_conform"),),
    )
    given_verdicts = [*CLEAN, *verdicts]
    before = _overall(given_verdicts, events=events)

    assert BADNESS[_overall([*given_verdicts, failing], events=events)] >= BADNESS[before]


@settings(deadline=None, max_examples=100)
@given(verdicts=VERDICTS, data=st.data())
def test_taking_good_evidence_away_never_improves(
    verdicts: list[VerdictRecord], data: st.DataObject
) -> None:
    """A verdict in which nothing is outside, open or from the future can only help."""
    good = data.draw(verdict(("conforms", "no_evidence")))
    if any(one.evidence_time and one.evidence_time > yard.NOW for one in good.limits):
        return
    given_verdicts = [*CLEAN, *verdicts]

    with_it = _overall([*given_verdicts, good])
    assert BADNESS[_overall(given_verdicts)] >= BADNESS[with_it]


@settings(deadline=None, max_examples=80)
@given(verdicts=VERDICTS, days=DAYS, later=st.integers(1, 400))
def test_waiting_and_events_never_improve(
    verdicts: list[VerdictRecord], days: int, later: int
) -> None:
    """Neither an event nor time that passes makes the evidence better.

    Evidence from the future is left out: once its day has come it is evidence.
    """
    past = [
        one
        for one in [*CLEAN, *verdicts]
        if all(word.evidence_time is None or word.evidence_time <= yard.NOW for word in one.limits)
    ]
    before = BADNESS[_overall(past)]

    assert BADNESS[_overall(past, events=(yard.event("doubt", yard.ago(days)),))] >= before
    assert BADNESS[_overall(past, now=yard.NOW + timedelta(days=later))] >= before


@settings(deadline=None, max_examples=60)
@given(verdicts=VERDICTS)
def test_the_order_of_the_record_does_not_matter(verdicts: list[VerdictRecord]) -> None:
    """The same records in another order say the same."""
    given_verdicts = [*CLEAN, *verdicts]

    assert _overall(given_verdicts) == _overall(given_verdicts[::-1])
