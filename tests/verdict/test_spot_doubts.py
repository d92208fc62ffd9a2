"""Hand tests that rest on something that was not in order: they prove nothing, and hide nothing."""

from __future__ import annotations

import json

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.verdict.build_log import CHANNELS, O2, ODOUR, limits, make_log, upper

from lungwort.air import analytes
from lungwort.logs.model import Channel
from lungwort.paper.result import to_json
from lungwort.spot.model import SpotTest
from lungwort.spot.parse import parse_spot
from lungwort.spot.together import together
from lungwort.verdict.judge import judge
from lungwort.verdict.model import GUARDED, Options, Verdict

LAPSE = "Its calibration had run out."
OTHER = "The lot had expired."
OIL = upper("oil", 0.5, "mg/m3")
CO = upper("co", 5.0)
SUM = upper("oil_and_particles", 2.0, "mg/m3")
THREE = limits(upper("oil", 2.0, "mg/m3"), upper("particles", 2.0, "mg/m3"), SUM)
QUIET = [1.0, 1.2] * 50
MORE = {
    **CHANNELS,
    "particles": Channel("particles", "particles", analytes.MASS_CONCENTRATION, "mg/m3"),
}


def doubted(text: str, *why: str) -> SpotTest:
    """Read a hand test and give it doubts."""
    return evolve(parse_spot(text), doubts=why or (LAPSE,))


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("oil=0.1 mg/m3", "undecided"),
        ("oil=indicator: nothing seen", "undecided"),
        ("oil=<1 mg/m3", "undecided"),
        ("oil=0.6 mg/m3", "does_not_conform"),
        ("oil=indicator: 0.5-1.0", "does_not_conform"),
        ("oil=>0.5 mg/m3", "does_not_conform"),
    ],
)
def test_a_doubt_takes_a_clean_word_and_no_other(text: str, verdict: str) -> None:
    """Inside becomes undecided with the reason; outside stays outside."""
    found = judge(None, limits(OIL), spots=[doubted(text)])
    finding = found.finding("oil")
    assert finding.verdict == verdict
    assert found.overall == ("not_proven" if verdict == "undecided" else verdict)
    assert any(f"Hand test {text!r} cannot prove" in note for note in found.notes)


def test_the_reason_says_what_was_read_and_what_was_not_in_order() -> None:
    """Both stand in the finding and in the whole."""
    found = judge(None, limits(OIL), spots=[doubted("oil=0.1 mg/m3", LAPSE, OTHER)])
    reason = found.finding("oil").reason
    assert reason == (
        "the hand test reads 0.1 mg/m3, which is inside the limit, but this proves nothing: "
        "Its calibration had run out.; The lot had expired."
    )
    assert reason in found.reasons[0]


def test_a_judgement_in_words_may_be_in_doubt() -> None:
    """A nose that was not there proves nothing; what it noticed counts."""
    clean = judge(None, limits(ODOUR), spots=[doubted("odour=none", "Nobody else smelt.")])
    assert clean.overall == "not_proven"
    assert "but this proves nothing: Nobody else smelt." in clean.finding("odour").reason
    foul = judge(None, limits(ODOUR), spots=[doubted("odour=noticeable")])
    assert foul.overall == "does_not_conform"


def test_another_test_without_doubt_carries_the_limit() -> None:
    """The doubtful one is told beside it."""
    found = judge(None, limits(CO), spots=[doubted("co=2 ppm"), parse_spot("co=3 ppm")])
    finding = found.finding("co")
    assert finding.verdict == found.overall == "conforms"
    assert finding.worst is not None
    assert finding.worst.value == 3.0
    assert any(one.startswith("Hand test: undecided: ") and LAPSE in one for one in finding.remarks)
    assert any("cannot prove" in note for note in found.notes)


def test_a_channel_without_doubt_carries_the_limit() -> None:
    """So does a channel of the log, unless it has nothing usable or is itself in doubt."""
    log = make_log({"co": QUIET})
    test = doubted("co=2 ppm")
    assert judge(log, limits(CO), spots=[test]).overall == "conforms"
    empty = make_log({"co": [None] * 100})
    assert judge(empty, limits(CO), spots=[test]).finding("co").verdict == "undecided"
    unsure = evolve(log, doubts=("The clock was reset.",))
    assert judge(unsure, limits(CO), spots=[test]).finding("co").verdict == "undecided"
    foul = make_log({"co": [*QUIET, 9.0]})
    assert judge(foul, limits(CO), spots=[test]).overall == "does_not_conform"


def test_a_doubtful_test_outside_decides_beside_clean_ones() -> None:
    """What was measured outside is never laid aside."""
    log = make_log({"co": QUIET})
    found = judge(log, limits(CO), spots=[doubted("co=6 ppm"), parse_spot("co=2 ppm")])
    assert found.overall == "does_not_conform"


def test_a_doubtful_test_on_both_sides_stays_open_beside_a_clean_one() -> None:
    """A reading that may lie on either side is undecided whatever else there is."""
    found = judge(None, limits(CO), spots=[doubted("co=<9 ppm"), parse_spot("co=2 ppm")])
    assert found.finding("co").verdict == "undecided"


def test_guarded_acceptance_keeps_its_own_reason() -> None:
    """A reading that is not clear of the bound is undecided for that reason first."""
    found = judge(
        None, limits(CO), spots=[doubted("co=4.9 ppm")], options=Options(decision=GUARDED)
    )
    assert "guard" in found.finding("co").reason


# Worked by hand.
@pytest.mark.parametrize(
    ("doubtful", "sure", "oil", "particles", "both"),
    [
        (("oil=1 mg/m3",), ("particles=0.5 mg/m3",), "undecided", "conforms", "undecided"),
        (("oil=1 mg/m3",), ("oil=1 mg/m3", "particles=0.5 mg/m3"), *(["conforms"] * 3)),
        (("oil+particles=0.8 mg/m3",), (), *(["undecided"] * 3)),
        (("oil+particles=0.8 mg/m3",), ("oil+particles=1 mg/m3",), *(["conforms"] * 3)),
        (
            ("oil+particles=0.8 mg/m3",),
            ("oil=1 mg/m3", "particles=0.5 mg/m3"),
            *(["conforms"] * 3),
        ),
        # the trusted test of both shows the part that was tested in doubt
        (("oil=0.3 mg/m3",), ("oil+particles=0.8 mg/m3",), *(["conforms"] * 3)),
        # a doubtful part still adds up
        (
            ("oil=1.8 mg/m3",),
            ("oil=1 mg/m3", "particles=0.5 mg/m3"),
            "conforms",
            "conforms",
            "does_not_conform",
        ),
        (
            ("oil=2.5 mg/m3",),
            ("oil+particles=0.8 mg/m3",),
            "does_not_conform",
            "conforms",
            "does_not_conform",
        ),
    ],
)
def test_oil_and_particles_together(
    doubtful: tuple[str, ...], sure: tuple[str, ...], oil: str, particles: str, both: str
) -> None:
    """Doubts enter what is worked out, unless each part has a test without doubt."""
    spots = [*map(doubted, doubtful), *map(parse_spot, sure)]
    found = judge(None, THREE, spots=spots)
    assert [one.verdict for one in found.findings] == [oil, particles, both]


def test_a_logged_part_beside_a_doubtful_one() -> None:
    """The sum of a logged and a doubtful part proves nothing."""
    log = make_log({"particles": [0.3, 0.4] * 50}, channels=MORE)
    found = judge(log, THREE, spots=[doubted("oil=0.3 mg/m3")])
    assert [one.verdict for one in found.findings] == ["undecided", "conforms", "undecided"]
    with_oil = make_log({"oil": [0.3, 0.4] * 50, "particles": [0.3, 0.4] * 50}, channels=MORE)
    assert judge(with_oil, THREE, spots=[doubted("oil=0.3 mg/m3")]).overall == "conforms"


def test_doubts_are_gathered_once() -> None:
    """What is worked out names each reason once."""
    (both,) = together([doubted("oil=1 mg/m3"), doubted("particles=1 mg/m3", LAPSE, OTHER)])
    assert both.doubts == (LAPSE, OTHER)


def test_doubts_stand_in_the_result() -> None:
    """The JSON tells them beside the test."""
    found = judge(None, limits(CO), spots=[doubted("co=2 ppm"), parse_spot("co=3 ppm")])
    document = json.loads(to_json(found))
    assert [one["doubts"] for one in document["spots"]] == [[LAPSE], []]


TESTS = st.lists(
    st.builds(
        lambda analyte, number, unsure: evolve(
            parse_spot(f"{analyte}={number / 10:g} mg/m3"), doubts=(LAPSE,) if unsure else ()
        ),
        st.sampled_from(["oil", "particles", "oil+particles"]),
        st.integers(0, 25),
        st.booleans(),
    ),
    max_size=6,
)


def _of(spots: list[SpotTest]) -> Verdict:
    return judge(None, THREE, spots=spots)


@given(spots=TESTS)
@settings(deadline=None, max_examples=100)
def test_a_doubt_never_makes_clean_and_never_refuses_for_nothing(spots: list[SpotTest]) -> None:
    """The whole conforms with doubts exactly where all tests and the sure ones alone conform."""
    told = _of(spots)
    trusting = _of([evolve(one, doubts=()) for one in spots])
    sure = _of([one for one in spots if not one.doubts])
    for with_doubts, without, alone in zip(
        told.findings, trusting.findings, sure.findings, strict=True
    ):
        clean = without.verdict == alone.verdict == "conforms"
        assert with_doubts.verdict != "conforms" or clean
        outside = without.verdict == "does_not_conform"
        assert (with_doubts.verdict == "does_not_conform") == outside
    conform = trusting.overall == sure.overall == "conforms"
    assert (told.overall == "conforms") == conform


def test_a_range_with_two_ends_in_doubt() -> None:
    """A lower end is treated alike."""
    assert judge(None, limits(O2), spots=[doubted("o2=20.9 %")]).overall == "not_proven"
    assert judge(None, limits(O2), spots=[doubted("o2=19 %")]).overall == "does_not_conform"
