"""What the report says."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from attrs import evolve

from lungwort.limits.model import Conditions
from lungwort.paper import content, method, tables
from lungwort.paper.content import Cover, report
from lungwort.paper.result import to_document
from lungwort.paper.text import Clock
from lungwort.spot.model import SpotTest
from lungwort.verdict.model import GUARDED, NotJudged, Options

if TYPE_CHECKING:
    from lungwort.verdict.model import Verdict

DIGEST = "0" * 64


def test_the_rules_are_told_as_they_were_applied(clean: Verdict) -> None:
    """The rules are told as they were applied."""
    plain = dict(method.sentences(clean))
    assert plain["Decision rule"].startswith("Simple acceptance (JCGM 106, ILAC-G8)")
    assert "30 s (three sampling intervals)" in plain["Excursions"]
    assert "(15 s)" in plain["Weighting"]
    assert "first 30 min" in plain["Settling"]

    options = Options(
        decision=GUARDED, guard_factor=1.5, min_coverage=0.75, join_s=120.0, min_excursion_s=20.0
    )
    assert clean.log is not None
    log = evolve(clean.log, settle_s=0.0, interval_s=None)
    other = dict(method.sentences(evolve(clean, options=options, log=log)))
    assert "by 1.5 times its expanded uncertainty U (k = 2)" in other["Decision rule"]
    assert "less than 75 %" in other["Overall verdict"]
    assert "than 2 min are one" in other["Excursions"]
    assert "shorter than 20 s are not listed apart, but they count" in other["Excursions"]
    assert other["Settling"] == "No settling time was applied."
    unknown = dict(method.sentences(evolve(clean, log=log)))
    assert "than three sampling intervals are one" in unknown["Excursions"]


def test_without_a_log_no_rule_for_logs_is_told(unproven: Verdict) -> None:
    """Without a log no rule for logs is told."""
    told = dict(method.sentences(unproven))

    assert "Settling" not in told
    assert told["Uncertainty"].startswith("No uncertainty is known")


def test_the_cover_fills_the_first_page(clean: Verdict) -> None:
    """The cover fills the first page."""
    cover = Cover("Yard 4", "Compressor 2", "Panel B", "R-17", "The client", "A. Person", "Safety")
    made = report(clean, DIGEST, cover)
    facts = dict(made.facts)

    assert made.place == "Panel B"
    assert facts["Site"] == "Yard 4"
    assert facts["Reference"] == "R-17"
    assert dict(made.signature)["Name"] == "A. Person"
    bare = dict(report(clean, DIGEST).facts)
    assert bare["Site"] == ""
    assert "Reference" not in bare


def test_conditions_that_are_not_given_are_said_to_be_not_given(clean: Verdict) -> None:
    """Conditions that are not given are said to be not given."""
    facts = dict(report(evolve(clean, conditions=Conditions()), DIGEST).facts)
    assert facts["Supply pressure"] == "not given"

    given = evolve(clean, conditions=Conditions(7.0, -5.0))
    facts = dict(report(given, DIGEST).facts)
    assert (facts["Supply pressure"], facts["Lowest temperature"]) == ("7 bar(g)", "−5 °C")


def test_numbers_from_memory_and_advice_are_marked(clean: Verdict) -> None:
    """Numbers from memory and advice are marked."""
    made = report(clean, DIGEST)

    assert [row.marks for row in made.findings] == ["", "M", "", "M", "", "M", "AM"]
    assert made.findings[6].words == "Conforms (advice)"
    assert [mark for mark, _ in made.marks] == ["A", "M"]
    sure = tuple(
        evolve(one, limit=evolve(one.limit, status="confirmed", required=True))
        for one in clean.findings
    )
    assert report(evolve(clean, findings=sure), DIGEST).marks == ()


def test_a_converted_worst_value_is_told_in_both_units(clean: Verdict) -> None:
    """A converted worst value is told in both units."""
    water = report(clean, DIGEST).findings[3]
    assert water.limit == "≤ 160 mg/m3 (row up to 10 bar(g))"
    assert water.worst == "61 mg/m3 (logged as 61 mg/m3)"

    findings = list(clean.findings)
    assert findings[3].worst is not None
    findings[3] = evolve(
        findings[3],
        limit_text="≤ 160 mg/m3 (row up to 10 bar(g))",
        worst=evolve(findings[3].worst, text=""),
    )
    water = report(evolve(clean, findings=tuple(findings)), DIGEST).findings[3]
    assert water.limit.count("row up to") == 1
    assert water.worst == "61 mg/m3 (logged as −41.2 °C)"


def test_an_unsettled_limit_says_why_once_and_not_in_the_limit(clean: Verdict) -> None:
    """An unsettled limit says why once, and not in the limit."""
    findings = list(clean.findings)
    findings[3] = evolve(
        findings[3], allowed=evolve(findings[3].allowed, how="", open_reason="give the pressure")
    )
    row = report(evolve(clean, findings=tuple(findings)), DIGEST).findings[3]
    assert row.limit == "≤ 160 mg/m3"
    assert row.remarks[0] == "Give the pressure."

    findings[3] = evolve(findings[3], reason="Undecided: give the pressure.")
    row = report(evolve(clean, findings=tuple(findings)), DIGEST).findings[3]
    assert "Give the pressure." not in row.remarks


def test_a_document_is_not_named_twice(clean: Verdict) -> None:
    """A document is not named twice."""
    limits = evolve(clean.limit_set, title="X:2014, airline", document="X:2014", edition="2014")

    assert report(evolve(clean, limit_set=limits), DIGEST).against == "X:2014, airline"
    assert report(clean, DIGEST).against.endswith("(Document X 1), edition 2014")


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        (
            {"begins_after_gap": True, "may_have_begun": None},
            "Follows a gap: it may have begun earlier.",
        ),
        ({"suspect_samples": 2}, "2 readings in it flagged suspect."),
        ({"clear_of_uncertainty": True}, "The peak stands clear of the uncertainty."),
    ],
)
def test_what_must_be_known_of_an_excursion_is_said(
    changes: dict[str, Any], told: str, factory: Any
) -> None:
    """What must be known of an excursion is said."""
    clock = Clock("UTC")

    assert told in content.excursion_details(factory.excursion(**changes), clock.time)
    unknown = factory.excursion(clear_of_uncertainty=None)
    assert content.excursion_details(unknown, clock.time) == ["Peak at 4 Mar 2026 06:24:05."]


def test_what_was_left_out_is_never_silent(clean: Verdict, unproven: Verdict) -> None:
    """What was left out is never silent."""
    nothing = evolve(clean, not_judged=())
    assert "counted below" in tables.not_judged_note(nothing)
    whole = evolve(nothing, coverage=tuple(evolve(c, usable=c.readings) for c in clean.coverage))
    assert tables.not_judged_note(whole) == "Every reading in the period was judged."
    assert tables.not_judged_note(unproven).startswith("There is no log")
    start = datetime(2026, 3, 3, tzinfo=UTC)
    many = tuple(
        NotJudged("gap", "", start, start + timedelta(minutes=place), 0, "no rows")
        for place in range(1, 200)
    )
    cut = evolve(clean, not_judged=many)
    assert "The first 60 of 199 entries" in tables.not_judged_note(cut)
    assert len(tables.not_judged(cut, Clock("UTC")).rows) == 60


def test_refused_rows_are_listed_once_with_their_text(failing: Verdict) -> None:
    """Refused rows are listed once with their text."""
    refused = NotJudged("refused", "", None, None, 4, "no time in the row")
    verdict = evolve(failing, not_judged=(*failing.not_judged, refused))

    assert "refused" not in [row[0] for row in tables.not_judged(verdict, Clock("UTC")).rows]
    assert [row[2] for row in tables.refused(verdict).rows] == ["4", "3"]
    assert failing.log is not None
    bare = tuple(evolve(one, refusals=()) for one in failing.log.sources)
    untold = evolve(verdict, log=evolve(failing.log, sources=bare))
    assert "refused" in [row[0] for row in tables.not_judged(untold, Clock("UTC")).rows]


def test_hand_tests_are_told_as_they_were_read() -> None:
    """Hand tests are told as they were read."""
    assert tables.spot_value(SpotTest("odour", "wording", perceived=True)) == "noticed"
    assert tables.spot_value(SpotTest("odour", "wording", perceived=False)) == "none noticed"
    assert tables.spot_value(SpotTest("oil", "mass_concentration")) == "–"


def test_an_averaging_time_stands_beside_the_limit(clean: Verdict) -> None:
    """An averaging time stands beside the limit."""
    findings = tuple(
        evolve(one, limit=evolve(one.limit, averaging="8 h")) for one in clean.findings[:1]
    )

    assert tables.limits(evolve(clean, findings=findings)).rows[0][1] == "20 to 22 %, 8 h"


def test_a_zone_that_is_not_known_is_shown_in_utc(clean: Verdict) -> None:
    """A zone that is not known is shown in UTC."""
    assert clean.log is not None
    made = report(evolve(clean, log=evolve(clean.log, zone="Nowhere/Land")), DIGEST)

    assert made.zone == "UTC"
    assert dict(made.facts)["Time zone"].startswith("UTC")


def test_text_is_passed_through_and_quotes_keep_their_units(clean: Verdict) -> None:
    """Text is passed through and quotes keep their units."""
    assert clean.log is not None
    log = evolve(clean.log, columns_not_used=("oil mg/m3",))
    data = content.plain(report(evolve(clean, log=log), DIGEST), str.upper)

    assert data["verdict_words"] == "CONFORMS"
    assert data["columns_not_used"] == ["OIL MG/M3"]
    assert data["findings"][3]["limit"].startswith("≤ 160 MG/M³")
    assert data["charts"][0]["svg"].startswith("<svg")


def test_doubts_about_the_log_are_told_whatever_the_verdict(clean: Verdict) -> None:
    """A doubt stands in the notes of every form, also where something else decided."""
    assert clean.log is not None
    log = evolve(
        clean.log, doubts=("the clock was reset",), channel_doubts=(("co", "a dead cell"),)
    )
    doubted = evolve(clean, log=log)
    notes = content.report(doubted, "").notes
    told = to_document(doubted).log

    assert notes[0] == "Doubt about the log: the clock was reset."
    assert notes[1] == "Doubt about the log: channel co: a dead cell."
    assert told is not None
    assert told.doubts == ("the clock was reset", "channel co: a dead cell")
