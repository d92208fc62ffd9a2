"""Limits on oil and particles together, against hand tests and logged channels."""

from __future__ import annotations

import pytest
from attrs import evolve
from tests.verdict.build_log import CHANNELS, limits, make_log, upper

from lungwort.air import analytes
from lungwort.limits.load import limit_set
from lungwort.logs.model import ABOVE, PLAIN, SUSPECT, Channel
from lungwort.spot.parse import parse_spot
from lungwort.verdict.judge import judge
from lungwort.verdict.model import GUARDED, Options, Verdict

MASS = analytes.MASS_CONCENTRATION
MORE = {
    **CHANNELS,
    "particles": Channel("particles", "particles", MASS, "mg/m3"),
    "both": Channel("both", "oil_and_particles", MASS, "mg/m3"),
}
SUM = upper("oil_and_particles", 2.0, "mg/m3")
ALL = limits(upper("oil", 2.0, "mg/m3"), upper("particles", 2.0, "mg/m3"), SUM)


def of(*texts: str, options: Options = Options()) -> Verdict:  # noqa: B008 - immutable
    """Judge hand tests alone against the three limits."""
    return judge(None, ALL, spots=[parse_spot(text) for text in texts], options=options)


# Worked by hand.
@pytest.mark.parametrize(
    ("texts", "verdict", "margin"),
    [
        # inside each limit alone, outside together
        (("oil=1.5 mg/m3", "particles=1.5 mg/m3"), "does_not_conform", -1.0),
        (("oil=1 mg/m3", "particles=0.5 mg/m3"), "conforms", 0.5),
        (("oil=1.5 mg/m3", "particles=0.5 mg/m3"), "conforms", 0.0),
        (("oil=0.1-0.5 mg/m3", "particles=<1.5 mg/m3"), "conforms", 0.0),
        (("oil=0.1-0.5 mg/m3", "particles=1.8 mg/m3"), "undecided", -0.3),
        (("oil=0.5-1 mg/m3", "particles=1.5 mg/m3"), "does_not_conform", -0.5),
        (("oil=indicator: nothing seen", "particles=1.9 mg/m3"), "conforms", 0.05),
        # the worst pair decides
        (("oil=0.1 mg/m3", "oil=1.5 mg/m3", "particles=0.1 mg/m3"), "conforms", 0.4),
        (("oil=0.1 mg/m3", "oil=1.5 mg/m3", "particles=0.6 mg/m3"), "does_not_conform", -0.1),
        # one alone says nothing, unless it is outside by itself
        (("oil=1.5 mg/m3",), "no_evidence", None),
        (("particles=1.5 mg/m3",), "no_evidence", None),
        (("oil=2.5 mg/m3",), "does_not_conform", -0.5),
        (("particles=>2 mg/m3",), "does_not_conform", 0.0),
        # together, and beside tests of each
        (("oil+particles=0.8 mg/m3",), "conforms", 1.2),
        (("oil+particles=2.1 mg/m3",), "does_not_conform", -0.1),
        (
            ("oil+particles=0.8 mg/m3", "oil=1.5 mg/m3", "particles=1 mg/m3"),
            "does_not_conform",
            -0.5,
        ),
        (("oil+particles=0.8 mg/m3", "oil=0.5 mg/m3"), "conforms", 1.2),
    ],
)
def test_sum_of_hand_tests(texts: tuple[str, ...], verdict: str, margin: float | None) -> None:
    """The finding on the sum, and never a clean whole beside an open one."""
    found = of(*texts)
    finding = found.finding("oil_and_particles")
    assert finding.verdict == verdict
    assert finding.margin == (None if margin is None else pytest.approx(margin))
    if verdict != "conforms":
        assert found.overall != "conforms"


def test_a_sum_is_shown_with_its_tests() -> None:
    """In the reason, in the finding and among the tests, marked; the tests are not 'not used'."""
    found = of("oil=1.5 mg/m3", "particles=1.5 mg/m3")
    assert found.finding("oil").verdict == found.finding("particles").verdict == "conforms"
    (reason,) = found.reasons
    assert reason == (
        "oil and particles together, limit ≤ 2 mg/m3: the sum is 3 mg/m3, worked out from "
        "oil=1.5 mg/m3 + particles=1.5 mg/m3, which is outside the limit."
    )
    (spot,) = found.finding("oil_and_particles").spots
    assert spot.means == "worked out: oil plus particles"
    assert found.spots[-1] == spot
    assert len(found.spots) == 3
    assert not any("not used" in one for one in found.notes)
    # judging the tests of a verdict again adds nothing twice
    assert judge(None, ALL, spots=found.spots) == found
    alone = judge(None, limits(SUM), spots=found.spots)
    assert alone.overall == "does_not_conform"
    assert alone.notes == ()


def test_what_is_missing_is_told() -> None:
    """Which test to do, of one part or of none."""
    reason = of("oil=1.5 mg/m3").finding("oil_and_particles").reason
    assert "only oil is known (oil=1.5 mg/m3). A hand test of particles is missing" in reason
    assert of("oil=1.5 mg/m3").spots == (parse_spot("oil=1.5 mg/m3"),)
    reason = of("particles=1 mg/m3").finding("oil_and_particles").reason
    assert "only particles is known (particles=1 mg/m3). A hand test of oil is missing" in reason
    reason = of("co=1 ppm").finding("oil_and_particles").reason
    assert "Test oil and particles together, or each of the two." in reason


def test_both_together_prove_each_part() -> None:
    """Neither part is more than both; where both are outside, a part stays open."""
    good = of("oil+particles=0.8 mg/m3")
    assert good.overall == "conforms"
    assert good.finding("oil").reason == (
        "oil alone is ≤ 0.8 mg/m3, worked out from oil+particles=0.8 mg/m3, "
        "which is inside the limit."
    )
    bad = of("oil+particles=2.1 mg/m3")
    assert bad.overall == "does_not_conform"
    assert bad.finding("particles").verdict == "no_evidence"
    assert "does not show that particles alone is inside" in bad.finding("particles").reason
    both = of("oil+particles=0.8 mg/m3", "oil=0.5 mg/m3", "particles=0.2 mg/m3")
    assert any(
        one.startswith("Worked out: conforms: the sum is 0.7 mg/m3")
        for one in both.finding("oil_and_particles").remarks
    )


def test_sets_without_a_limit_on_the_sum_add_nothing() -> None:
    """A sum is only worked out where it is asked for."""
    two = limits(upper("oil", 2.0, "mg/m3"), upper("particles", 2.0, "mg/m3"))
    spots = [parse_spot("oil=1.5 mg/m3"), parse_spot("particles=1.5 mg/m3")]
    found = judge(None, two, spots=spots)
    assert found.overall == "conforms"
    assert found.spots == tuple(spots)


def test_guarded_sum() -> None:
    """A sum with a single number in it must stand clear: U is 30 % of it (shipped assumption)."""
    guarded = Options(decision=GUARDED)
    assert of("oil=1 mg/m3", "particles=0.5 mg/m3", options=guarded).overall == "conforms"
    for texts in (
        ("oil=1 mg/m3", "particles=0.6 mg/m3"),
        ("oil=1.6 mg/m3", "particles=<0.05 mg/m3"),
    ):
        finding = of(*texts, options=guarded).finding("oil_and_particles")
        assert finding.verdict == "undecided"
        assert "not clear of it by the guard band" in finding.reason
        assert of(*texts).finding("oil_and_particles").verdict == "conforms"
    exact = of("oil=1 mg/m3", "particles=0.5 mg/m3").finding("oil_and_particles")
    assert exact.uncertainty == pytest.approx(0.45)
    assert exact.probability is not None
    band = of("oil=1 mg/m3", "particles=<0.5 mg/m3").finding("oil_and_particles")
    assert band.uncertainty == pytest.approx(0.45)
    assert band.probability is None


QUIET = [0.3] * 99 + [0.9]


def test_logged_part_counts_with_its_highest_reading() -> None:
    """Oil in the log and particles by hand: the peak of the one is added to the other."""
    for hand, verdict in (
        ("1 mg/m3", "conforms"),
        ("1.2 mg/m3", "undecided"),
        ("2.1 mg/m3", "does_not_conform"),
    ):
        log = make_log({"oil": QUIET}, channels=MORE)
        found = judge(log, ALL, spots=[parse_spot(f"particles={hand}")])
        finding = found.finding("oil_and_particles")
        assert finding.verdict == verdict
        assert "highest reading 0.9 mg/m3 of channel oil of the log" in finding.reason
    # a hand test of oil at a quiet time does not hide the peak
    spots = [parse_spot("oil=0.3 mg/m3"), parse_spot("particles=1.2 mg/m3")]
    assert judge(make_log({"oil": QUIET}, channels=MORE), ALL, spots=spots).overall == "not_proven"
    below = make_log({"oil": [-0.01] * 100}, channels=MORE)
    clean = judge(below, ALL, spots=[parse_spot("particles=1 mg/m3")])
    assert clean.overall == "conforms"


def test_both_parts_logged() -> None:
    """The two peaks may not have come together: inside proves, outside only leaves it open."""
    low = judge(make_log({"oil": QUIET, "particles": QUIET}, channels=MORE), ALL)
    assert low.overall == "conforms"
    high = judge(make_log({"oil": QUIET, "particles": [1.2] * 100}, channels=MORE), ALL)
    assert high.finding("oil_and_particles").verdict == "undecided"
    assert high.overall == "not_proven"
    alone = judge(make_log({"oil": QUIET}, channels=MORE), ALL)
    assert "only oil is known (highest reading 0.9" in alone.finding("oil_and_particles").reason
    direct = judge(make_log({"both": QUIET}, channels=MORE), limits(SUM))
    assert direct.overall == "conforms"


@pytest.mark.parametrize(
    "why", ["no limit of its own", "gaps", "suspect", "doubt", "open", "one reading"]
)
def test_a_log_that_proves_nothing_leaves_the_sum_open(why: str) -> None:
    """Whatever keeps the channel from proving anything keeps the sum from being inside."""
    spots = [parse_spot("oil=0.3 mg/m3"), parse_spot("particles=0.3 mg/m3")]
    values: list[float | None] = [0.3] * 100
    own = limits(SUM) if why == "no limit of its own" else ALL
    log = make_log({"oil": values}, channels=MORE)
    if why == "gaps":
        log = make_log({"oil": [*values[:80], *[None] * 20]}, channels=MORE)
    elif why == "suspect":
        log = make_log({"oil": values}, flags={"oil": [SUSPECT] * 100}, channels=MORE)
    elif why == "doubt":
        log = evolve(log, doubts=("the clock was reset",))
    elif why == "open":
        log = make_log({"oil": values}, censor={"oil": [ABOVE, *[PLAIN] * 99]}, channels=MORE)
    elif why == "one reading":
        log = make_log({"oil": [0.3]}, channels=MORE)
    finding = judge(log, own, spots=spots).finding("oil_and_particles")
    assert finding.verdict == "undecided"
    assert "channel oil of the log, which proves nothing by itself" in finding.reason
    assert "may lie on either side" in finding.reason
    # a channel without a usable reading is stood in for by the hand test
    dead = make_log({"oil": [None] * 100}, channels=MORE)
    assert judge(dead, own, spots=spots).finding("oil_and_particles").verdict == "conforms"


# NFPA 1989, CSA Z180.1 and US Navy tables, from memory: oil and particles together at most 2, 1 and
# 5 mg/m3. Three quarters of it each is inside each limit alone and outside the sum.
@pytest.mark.parametrize(
    ("set_id", "most"),
    [
        ("nfpa-1989", 2.0),
        ("csa-z180-1-airline", 1.0),
        ("csa-z180-1-cylinder", 1.0),
        ("us-navy-divers-air-abp", 5.0),
        ("us-navy-divers-air-commercial", 5.0),
    ],
)
def test_shipped_sets_hold_the_sum(set_id: str, most: float) -> None:
    """Outside together though inside each; one alone is not proven."""
    one = limit_set(set_id)
    oil, dust = (parse_spot(f"{name}={0.75 * most:g} mg/m3") for name in ("oil", "particles"))
    found = judge(None, one, spots=[oil, dust])
    assert found.finding("oil").verdict == found.finding("particles").verdict == "conforms"
    assert found.finding("oil_and_particles").verdict == "does_not_conform"
    assert found.overall == "does_not_conform"
    assert judge(None, one, spots=[oil]).finding("oil_and_particles").verdict == "no_evidence"
