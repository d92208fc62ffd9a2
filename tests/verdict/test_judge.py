"""The verdict on small logs that try to get a clean word without evidence. Numbers are invented."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import Any

import polars as pl
import pytest
from attrs import evolve
from tests.verdict.build_log import CHANNELS, O2, START, at, limits, make_log, upper

from lungwort.errors import InputError, LimitSetError, LogError
from lungwort.limits.load import limit_set
from lungwort.limits.model import Bound, Conditions, Limit, PressureRow
from lungwort.logs.model import GOOD, NOT_EVALUATED, Refusal, Source, Stretch
from lungwort.spot.model import SpotTest
from lungwort.spot.parse import parse_spot
from lungwort.verdict.beside import beside_a_clean_word
from lungwort.verdict.judge import judge
from lungwort.verdict.model import GUARDED, Options

CO = upper("co", 5.0)
QUIET = [1.0] * 100


def with_values(changes: dict[int, float | None], base: list[float] | None = None) -> list[Any]:
    """Put other values into a quiet column."""
    values: list[Any] = list(base or QUIET)
    for row, value in changes.items():
        values[row] = value
    return values


# --- what conforms ---------------------------------------------------------------------------


def test_quiet_log_conforms_and_says_why() -> None:
    """Everything inside and covered: the clean word, with its reasons and cautions."""
    now = datetime(2026, 3, 5, tzinfo=START.tzinfo)
    verdict = judge(make_log({"co": QUIET, "o2": [20.9] * 100}), limits(CO, O2), now=now)
    assert verdict.overall == "conforms"
    assert verdict.reasons[0] == "Every required limit is kept (2 of 2)."
    assert "oxygen" in verdict.reasons[1]
    finding = verdict.finding("co")
    assert finding.verdict == "conforms"
    assert finding.worst is not None
    assert (finding.worst.value, finding.worst.time, finding.worst.text) == (1.0, START, "1 ppm")
    assert finding.margin == 4.0
    assert finding.share_outside == 0.0
    # Worked by hand: U = 1 ppm, u = 0.5 ppm, Φ(8) = 1.
    assert finding.uncertainty == 1.0
    assert finding.probability == pytest.approx(1.0)
    assert "assumption" in finding.uncertainty_source
    assert (verdict.start, verdict.end) == (START, at(1000))
    assert verdict.judged_at == now
    assert verdict.version
    assert verdict.excursions == ()
    assert any("up to 50 %" in one for one in verdict.cautions)
    assert any("competent person" in one for one in verdict.cautions)


@pytest.mark.parametrize(
    ("value", "included", "overall"),
    [
        (5.0, True, "conforms"),
        (5.0, False, "does_not_conform"),
        (5.0000001, True, "does_not_conform"),
        (4.9999999, False, "conforms"),
        (5.0 + 1e-12, True, "conforms"),
        (5.0 - 1e-12, False, "does_not_conform"),
    ],
)
def test_reading_on_the_bound(value: float, included: bool, overall: str) -> None:  # noqa: FBT001 - a table
    """An inclusive bound allows its number, an exclusive one does not, whatever the last bits."""
    log = make_log({"co": with_values({50: value})})
    verdict = judge(log, limits(upper("co", 5.0, included=included)))
    assert verdict.overall == overall
    if overall == "conforms" and included:
        assert any("nothing is in hand" in one for one in verdict.finding("co").remarks)


@pytest.mark.parametrize("ppm", [500.0, 499.99999999999994, 500.00000000000006])
def test_bound_in_another_unit_is_the_same_bound(ppm: float) -> None:
    """0.05 % is 500 ppm, also after both have gone through a scaling."""
    log = make_log({"co2": [ppm] * 100})
    for limit in (upper("co2", 0.05, "%"), upper("co2", 500.0), upper("co2", 500000.0, "ppb")):
        verdict = judge(log, limits(limit))
        assert verdict.overall == "conforms"
        assert verdict.findings[0].margin == 0.0


def test_two_sided_limit_looks_at_both_ends() -> None:
    """The end with the least room is the worst; both directions make excursions."""
    low = judge(make_log({"o2": with_values({10: 19.6}, [20.9] * 100)}), limits(O2))
    assert low.overall == "conforms"
    assert low.findings[0].worst is not None
    assert low.findings[0].worst.value == 19.6
    assert low.findings[0].margin == pytest.approx(0.1)
    both = judge(make_log({"o2": with_values({10: 19.0, 20: 24.5}, [20.9] * 100)}), limits(O2))
    assert both.overall == "does_not_conform"
    assert {one.direction for one in both.excursions} == {"above", "below"}
    assert both.findings[0].margin == pytest.approx(-1.0)
    assert "above 23.5 %" in both.findings[0].reason
    assert "below 19.5 %" in both.findings[0].reason
    assert any("Oxygen outside its limits: act at once" in one for one in both.cautions)


# --- what must never be clean ----------------------------------------------------------------


@pytest.mark.parametrize(
    "values",
    [
        [None] * 100,
        [math.nan] * 100,
        [math.inf] * 100,
        [-math.inf] * 100,
        [-40.0] * 100,
    ],
)
def test_column_without_measurements(values: list[float | None]) -> None:
    """Nothing, no numbers, endless ones and a turned sign are no evidence, whatever their flag."""
    log = make_log({"co": values}, flags={"co": [1] * 100})
    verdict = judge(log, limits(CO))
    assert verdict.overall == "not_proven"
    assert verdict.finding("co").verdict == "no_evidence"
    assert "no usable reading" in verdict.reasons[0]


def test_some_nan_are_told_and_not_covered() -> None:
    """NaN among good readings: told, and too many of them leave it undecided."""
    few = judge(make_log({"co": with_values({3: math.nan})}, flags={"co": [1] * 100}), limits(CO))
    assert few.overall == "conforms"
    assert any("not a number, taken as bad" in one for one in few.notes)
    many = judge(
        make_log({"co": with_values(dict.fromkeys(range(11), math.nan))}, flags={"co": [1] * 100}),
        limits(CO),
    )
    assert many.overall == "not_proven"
    assert "cover 89 %" in many.reasons[0]
    odd = judge(make_log({"co": with_values({3: -40.0})}, flags={"co": [1] * 100}), limits(CO))
    assert any("cannot be measurements" in one for one in odd.notes)


@pytest.mark.parametrize("flag", [0, 2, 4, 5, 9])
def test_flags_that_are_not_usable(flag: int) -> None:
    """Only good and suspect readings are evidence; any other code is not."""
    verdict = judge(make_log({"co": QUIET}, flags={"co": [flag] * 100}), limits(CO))
    assert verdict.overall == "not_proven"
    assert verdict.finding("co").verdict == "no_evidence"


def test_empty_log_and_no_log() -> None:
    """Nothing was measured."""
    empty = judge(make_log({"co": []}), limits(CO))
    assert empty.overall == "not_proven"
    assert (empty.start, empty.end) == (None, None)
    none = judge(None, limits(CO))
    assert none.overall == "not_proven"
    assert "no hand test of it was given, and no log" in none.reasons[0]
    assert none.not_judged == ()
    missing = judge(make_log({"o2": [20.9] * 100}), limits(CO))
    assert "the log has no channel of it" in missing.reasons[0]
    assert any("held against no limit: o2" in one for one in missing.notes)


def test_set_without_required_limits_proves_nothing() -> None:
    """Advice alone, or no limit at all, never gives a clean word."""
    log = make_log({"co": QUIET})
    assert judge(log, limits()).overall == "not_proven"
    advice = judge(log, limits(evolve(CO, required=False)))
    assert advice.overall == "not_proven"
    assert advice.finding("co").verdict == "conforms"


def test_advice_never_decides_but_is_told() -> None:
    """Advice outside stands in the notes."""
    log = make_log({"co": with_values({5: 4.0})})
    verdict = judge(log, limits(CO, evolve(upper("co", 3.0, key="advice"), required=False)))
    assert verdict.overall == "conforms"
    assert verdict.finding("advice").verdict == "does_not_conform"
    assert any(one.startswith("Advice, not required: carbon monoxide") for one in verdict.notes)
    assert len(verdict.excursions) == 1


@pytest.mark.parametrize(
    ("values", "interval", "overall"),
    [
        ([1.0], "median", "not_proven"),
        ([1.0], 10.0, "not_proven"),
        ([9.0], "median", "does_not_conform"),
        ([1.0] * 100, None, "not_proven"),
        ([1.0] * 100, 0.0, "not_proven"),
        ([1.0] * 100, math.nan, "not_proven"),
        ([9.0] * 100, None, "does_not_conform"),
    ],
)
def test_log_without_a_stretch_of_time(
    values: list[float], interval: float | str | None, overall: str
) -> None:
    """One reading or no sampling interval cannot conform, but can be outside."""
    verdict = judge(make_log({"co": values}, interval_s=interval), limits(CO))
    assert verdict.overall == overall
    if overall == "not_proven":
        assert "fewer than two readings or no sampling interval" in verdict.reasons[0]


def test_one_short_suspect_spike_counts() -> None:
    """A CO spike of one reading is evidence, also where it carries the flag suspect."""
    flags = [1] * 100
    flags[40] = 3
    verdict = judge(make_log({"co": with_values({40: 60.0})}, flags={"co": flags}), limits(CO))
    assert verdict.overall == "does_not_conform"
    assert verdict.excursions[0].suspect_samples == 1
    assert verdict.excursions[0].clear_of_uncertainty is True
    assert any("carry the flag suspect and count" in one for one in verdict.finding("co").remarks)
    assert "Withdraw the supply now" in verdict.cautions[0]
    assert "seen by a doctor" in verdict.cautions[1]


def test_mostly_suspect_readings_prove_nothing() -> None:
    """Suspect readings may condemn; they do not acquit."""
    verdict = judge(make_log({"co": QUIET}, flags={"co": [3] * 100}), limits(CO))
    assert verdict.overall == "not_proven"
    assert "flagged good cover 0 %" in verdict.reasons[0]
    some = judge(make_log({"co": QUIET}, flags={"co": [1] * 95 + [3] * 5}), limits(CO))
    assert some.overall == "conforms"
    assert any("5 readings inside carry the flag suspect" in x for x in some.finding("co").remarks)


def test_standing_still_at_rest_is_told_beside_the_finding() -> None:
    """CO at zero for long is usual; that a dead cell looks the same is told."""
    still = Stretch(at(0), at(690), "still", "co", 3, 70, "stood still")
    other = Stretch(at(0), at(690), "still", "o2", 3, 70, "stood still")
    log = make_log({"co": [0.0] * 100}, flags={"co": [3] * 70 + [1] * 30}, stretches=[still, other])
    verdict = judge(log, limits(CO))
    assert verdict.overall == "conforms"
    assert any("so does a dead cell" in one for one in verdict.finding("co").remarks)
    # A suspect reading outside is outside, stand still or not.
    outside = make_log({"co": [9.0] * 100}, flags={"co": [3] * 100}, stretches=[still])
    assert judge(outside, limits(CO)).overall == "does_not_conform"


@pytest.mark.parametrize(
    ("censor", "value", "verdict"),
    [
        (-1, 5.0, "conforms"),
        (-1, 6.0, "undecided"),
        (1, 5.0, "does_not_conform"),
        (1, 4.0, "undecided"),
        (2, 1.0, "undecided"),
    ],
)
def test_open_readings(censor: int, value: float, verdict: str) -> None:
    """'<', '>' and unreadable ones are intervals, not numbers."""
    codes = [0] * 100
    codes[30] = censor
    log = make_log({"co": with_values({30: value})}, censor={"co": codes})
    found = judge(log, limits(CO)).finding("co")
    assert found.verdict == verdict
    assert found.coverage is not None
    assert found.coverage.undecided == int(verdict == "undecided")
    if verdict == "undecided":
        assert "may lie on either side" in found.reason
    if censor == 1:
        assert found.worst is not None
        assert found.worst.text == f"> {value:g} ppm"
        assert found.margin == (0.0 if verdict == "does_not_conform" else None)
        assert found.probability is None


def test_open_reading_goes_before_a_plain_one() -> None:
    """'> 50' may be more than 60, so it is the worst; '< x' on the lower side likewise."""
    codes = [0] * 100
    codes[30] = codes[31] = 1
    log = make_log(
        {"co": with_values({29: 60.0, 30: 50.0, 31: 40.0, 32: 70.0})}, censor={"co": codes}
    )
    worst = judge(log, limits(CO)).finding("co").worst
    assert worst is not None
    assert worst.text == "> 50 ppm"
    codes = [0] * 100
    codes[30] = -1
    oxygen = make_log({"o2": with_values({29: 17.0, 30: 18.0}, [20.9] * 100)}, censor={"o2": codes})
    worst = judge(oxygen, limits(O2)).finding("o2").worst
    assert worst is not None
    assert worst.text == "< 18 %"


def test_only_unreadable_codes_are_no_evidence() -> None:
    """A column of codes says nothing."""
    log = make_log({"co": QUIET}, censor={"co": [2] * 100})
    found = judge(log, limits(CO)).finding("co")
    assert found.verdict == "no_evidence"
    assert "100 unreadable" in found.reason


# --- coverage and period ---------------------------------------------------------------------


@pytest.mark.parametrize(("gap", "overall"), [(10, "conforms"), (11, "not_proven")])
def test_missing_readings_count_against_coverage(gap: int, overall: str) -> None:
    """Ten of a hundred may be missing at 90 %, eleven may not."""
    log = make_log({"co": with_values(dict.fromkeys(range(40, 40 + gap)))})
    verdict = judge(log, limits(CO))
    assert verdict.overall == overall
    assert verdict.coverage[0].share == pytest.approx(1 - gap / 100)
    assert verdict.coverage[0].missing == gap


def test_gap_in_time_counts_against_coverage() -> None:
    """A hole in the times: a reading stands for one and a half intervals at most."""
    times = [at(10 * i) for i in range(50)] + [at(10 * i + 200) for i in range(50, 100)]
    log = evolve(make_log({"co": QUIET}, times=times), interval_s=10.0)
    verdict = judge(log, limits(CO))
    # Worked by hand: 1200 s, of which 98 x 10 + 15 + 10 s are covered.
    assert verdict.coverage[0].share == pytest.approx(1005 / 1200)
    assert verdict.overall == "not_proven"
    assert judge(log, limits(CO), options=Options(min_coverage=0.8)).overall == "conforms"


def test_first_settling_is_not_counted_but_told() -> None:
    """Readings outside while settling are not judged, but told; the period begins after it."""
    settling = Stretch(at(0), at(290), "settling", "", 2, 30, "first 5 min.")
    values = with_values({5: 30.0})
    flags = [2] * 30 + [1] * 70
    log = make_log({"co": values}, flags={"co": flags}, stretches=[settling])
    verdict = judge(log, limits(CO))
    assert verdict.overall == "conforms"
    assert verdict.start == at(300)
    assert verdict.coverage[0].share == 1.0
    told = verdict.not_judged[0]
    assert (told.cause, told.readings) == ("settling", 30)
    assert told.outside == ("carbon monoxide, limit co: 1 reading outside, highest 30 ppm",)
    assert "not judged, but told" in told.text


def test_later_settling_counts_as_not_covered() -> None:
    """Only the first settling is free."""
    first = Stretch(at(0), at(90), "settling", "", 2, 10)
    later = Stretch(at(500), at(690), "settling", "", 2, 20)
    flags = [2] * 10 + [1] * 40 + [2] * 20 + [1] * 30
    log = make_log({"co": QUIET}, flags={"co": flags}, stretches=[first, later])
    verdict = judge(log, limits(CO))
    assert verdict.coverage[0].share == pytest.approx(70 / 90)
    assert verdict.coverage[0].settling == 20
    assert verdict.overall == "not_proven"


def test_settling_of_single_channels() -> None:
    """Where only some channels settle, the others' time counts from the start."""
    co = Stretch(at(0), at(290), "settling", "co", 2, 30)
    o2 = Stretch(at(0), at(190), "settling", "o2", 2, 20)
    flags = {"co": [2] * 30 + [1] * 70, "o2": [2] * 20 + [1] * 80}
    values = {"co": QUIET, "o2": [20.9] * 100}
    one = judge(make_log(values, flags=flags, stretches=[co]), limits(CO, O2))
    assert one.start == START
    both = judge(make_log(values, flags=flags, stretches=[co, o2]), limits(CO, O2))
    assert both.start == at(200)


def test_all_settling_leaves_nothing() -> None:
    """A log that is shorter than its settling proves nothing."""
    settling = Stretch(at(0), at(990), "settling", "", 2, 100)
    log = make_log({"co": QUIET}, flags={"co": [2] * 100}, stretches=[settling])
    verdict = judge(log, limits(CO))
    assert verdict.overall == "not_proven"
    assert verdict.start == verdict.end
    assert verdict.finding("co").verdict == "no_evidence"


def test_usable_reading_inside_the_first_settling_counts_when_outside() -> None:
    """A good flag inside the settling stretch is odd; the reading is evidence all the same."""
    settling = Stretch(at(0), at(990), "settling", "", 2, 99)
    log = make_log({"co": with_values({5: 30.0})}, flags={"co": [1] * 100}, stretches=[settling])
    assert judge(log, limits(CO)).overall == "does_not_conform"
    quiet = make_log({"co": QUIET}, flags={"co": [1] * 100}, stretches=[settling])
    verdict = judge(quiet, limits(CO))
    assert verdict.overall == "not_proven"
    assert "no time is left to judge" in verdict.reasons[0]


@pytest.mark.parametrize(
    ("start", "end", "share"),
    [
        (None, None, 1.0),
        (0, 1000, 1.0),
        (-1000, None, 0.5),
        (None, 2000, 0.5),
        (-500, 1500, 0.5),
        (2000, 3000, 0.0),
        (-2000, -1000, 0.0),
        (500, 500, 0.0),
        (5, 105, 0.95),
    ],
)
def test_period_that_was_asked_for(start: int | None, end: int | None, share: float) -> None:
    """Time before and after the log inside the period is not covered."""
    options = Options(
        start=None if start is None else at(start), end=None if end is None else at(end)
    )
    verdict = judge(make_log({"co": QUIET}), limits(CO), options=options)
    assert verdict.coverage[0].share == pytest.approx(share)
    assert verdict.overall == ("conforms" if share >= 0.9 else "not_proven")


def test_readings_outside_the_period_are_told() -> None:
    """What was left out by the choice of the period is told where it is outside a limit."""
    log = make_log({"co": with_values({2: 9.0, 97: 8.0})})
    options = Options(start=at(100), end=at(900))
    verdict = judge(log, limits(CO), options=options)
    assert verdict.overall == "conforms"
    before, after = verdict.not_judged
    assert before.cause == after.cause == "outside the period"
    assert "highest 9 ppm" in before.outside[0]
    assert "highest 8 ppm" in after.outside[0]
    assert (before.readings, after.readings) == (10, 10)


@pytest.mark.parametrize(
    ("options", "telling"),
    [
        (Options(decision="kind"), "decision rule 'kind' is not known"),
        (Options(min_coverage=1.5), "a least coverage of 1.5 cannot be"),
        (Options(min_coverage=math.nan), "a least coverage of nan cannot be"),
        (Options(guard_factor=-1.0), "a guard factor of -1 cannot be"),
        (Options(join_s=math.inf), "a joining time of inf cannot be"),
        (Options(min_excursion_s=-1.0), "a least length of an excursion of -1 cannot be"),
        (Options(start=at(10), end=at(0)), "ends .* before it starts"),
        (Options(start=datetime(2026, 1, 1)), "the start .* states no time zone"),  # noqa: DTZ001 - the mistake
    ],
)
def test_options_that_cannot_be_used(options: Options, telling: str) -> None:
    """Each refusal says which option and what is allowed."""
    with pytest.raises(InputError, match=telling):
        judge(make_log({"co": QUIET}), limits(CO), options=options)


def test_time_of_judging_needs_a_zone() -> None:
    """A naive time is refused."""
    with pytest.raises(InputError, match=r"time of judging .* states no time zone"):
        judge(None, limits(CO), now=datetime(2026, 1, 1))  # noqa: DTZ001 - the mistake


# --- excursions ------------------------------------------------------------------------------


def test_excursion_in_all_its_parts() -> None:
    """Worked by hand: 6, 7, 9 ppm for 10 s each against 5 ppm."""
    verdict = judge(make_log({"co": with_values({20: 6.0, 21: 7.0, 22: 9.0})}), limits(CO))
    (one,) = verdict.excursions
    assert (one.start, one.end, one.duration_s) == (at(200), at(230), 30.0)
    assert (one.peak, one.peak_time, one.limit, one.unit) == (9.0, at(220), 5.0, "ppm")
    assert one.mean == pytest.approx(22 / 3)
    assert one.integral == pytest.approx((1 + 2 + 4) * 10 / 3600)
    assert (one.samples, one.ended_by, one.begins_after_gap) == (3, "returned", False)
    assert verdict.finding("co").share_outside == pytest.approx(0.03)
    assert "highest 9 ppm at 4 Mar 2026 08:03:40 UTC" in verdict.reasons[0]


def test_peak_within_the_uncertainty_is_told() -> None:
    """0.5 ppm beyond with U = 1 ppm does not stand clear; the verdict stays."""
    verdict = judge(make_log({"co": with_values({20: 5.5})}), limits(CO))
    assert verdict.overall == "does_not_conform"
    assert verdict.excursions[0].clear_of_uncertainty is False
    oil = judge(
        make_log({"voc": with_values({20: 5.5})}),
        limits(upper("voc", 5.0)),
        uncertainties=evolve(_no_uncertainties(), entries=()),
    )
    assert oil.excursions[0].clear_of_uncertainty is None
    assert oil.findings[0].uncertainty is None


def _no_uncertainties() -> Any:
    from lungwort.verdict.decision import Uncertainties

    return Uncertainties((), "none")


@pytest.mark.parametrize(
    ("inside", "join", "excursions"),
    [(2, None, 1), (3, None, 2), (3, 31.0, 1), (1, 0.0, 2), (1, 10.0, 2), (1, 10.1, 1)],
)
def test_joining_of_runs(inside: int, join: float | None, excursions: int) -> None:
    """Runs nearer than the joining time are one."""
    log = make_log({"co": with_values({20: 6.0, 21 + inside: 7.0})})
    verdict = judge(log, limits(CO), options=Options(join_s=join))
    assert len(verdict.excursions) == excursions


def test_bad_neighbours_never_shorten_in_silence() -> None:
    """Bad readings before and after: the excursion says how long it may have lasted."""
    values = with_values(dict.fromkeys(range(20, 30), 9.0))
    flags = [1] * 100
    for row in (*range(15, 20), *range(30, 40)):
        flags[row] = 4
    (one,) = judge(make_log({"co": values}, flags={"co": flags}), limits(CO)).excursions
    assert (one.ended_by, one.begins_after_gap) == ("data_gap", True)
    assert (one.may_have_begun, one.may_have_lasted) == (at(140), at(400))


def test_bad_and_outside_by_turns_is_one_excursion() -> None:
    """Every other reading bad: one excursion, not fifty."""
    values = with_values(dict.fromkeys(range(100), 9.0))
    flags = [1 if row % 2 else 4 for row in range(100)]
    verdict = judge(make_log({"co": values}, flags={"co": flags}), limits(CO))
    (one,) = verdict.excursions
    assert one.samples == 50
    assert (one.start, one.end) == (at(10), at(1000))
    told = next(part for part in verdict.not_judged if part.cause == "bad")
    assert (told.readings, told.channel) == (50, "co")


def test_bad_readings_with_numbers_outside_are_told() -> None:
    """A bad reading outside is not judged; inside its stretch it is told."""
    bad = Stretch(at(400), at(450), "stuck", "co", 4, 6, "stuck")
    flags = [1] * 100
    flags[40:46] = [4] * 6
    values = with_values(dict.fromkeys(range(40, 46), 9.0))
    verdict = judge(make_log({"co": values}, flags={"co": flags}, stretches=[bad]), limits(CO))
    assert verdict.overall == "conforms"
    (told,) = verdict.not_judged
    assert told.outside == ("carbon monoxide, limit co: 6 readings outside, highest 9 ppm",)
    low = make_log(
        {"o2": with_values(dict.fromkeys(range(40, 46), 1.0), [20.9] * 100)},
        flags={"o2": flags},
        stretches=[evolve(bad, channel="o2")],
    )
    assert "lowest 1 %" in judge(low, limits(O2)).not_judged[0].outside[0]


def test_loose_settling_readings_are_told() -> None:
    """Not evaluated readings that no stretch names are told as settling."""
    flags = [1] * 100
    flags[50] = 2
    verdict = judge(make_log({"co": with_values({50: 9.0})}, flags={"co": flags}), limits(CO))
    assert verdict.overall == "conforms"
    assert [part.cause for part in verdict.not_judged] == ["settling"]


def test_log_that_ends_outside() -> None:
    """The last reading stands for one interval, and the end is told."""
    verdict = judge(make_log({"co": with_values({98: 6.0, 99: 7.0})}), limits(CO))
    (one,) = verdict.excursions
    assert (one.ended_by, one.end, one.may_have_lasted) == ("log_ended", at(1000), None)
    assert any("may have lasted longer than shown" in note for note in verdict.notes)


def test_short_excursions_count_though_not_listed() -> None:
    """The filter is for the list; the verdict stays, and the count is told."""
    log = make_log({"co": with_values({20: 6.0, **dict.fromkeys(range(50, 60), 7.0)})})
    verdict = judge(log, limits(CO), options=Options(min_excursion_s=60.0))
    assert len(verdict.excursions) == 1
    assert "Not listed: 1 excursion shorter than 1 min, the longest 10 s" in verdict.notes[0]
    only = judge(
        make_log({"co": with_values({20: 6.0})}), limits(CO), options=Options(min_excursion_s=60.0)
    )
    assert only.overall == "does_not_conform"
    assert only.excursions == ()


def test_reading_of_no_width_is_evidence() -> None:
    """Two readings of one time: the first stands for no time and still counts."""
    times = [at(10 * i) for i in range(99)]
    times.insert(50, at(490))
    values = with_values({49: 9.0})
    log = evolve(make_log({"co": values}, times=times), interval_s=10.0)
    verdict = judge(log, limits(CO))
    assert verdict.overall == "does_not_conform"
    assert verdict.excursions[0].duration_s == 0.0
    assert verdict.excursions[0].mean == 9.0


# --- several channels, other limits ----------------------------------------------------------


def test_two_cells_the_worse_decides() -> None:
    """Two channels of one analyte: both are shown, the worse one decides."""
    log = make_log({"co": QUIET, "co_b": with_values({10: 9.0})})
    found = judge(log, limits(CO)).finding("co")
    assert found.verdict == "does_not_conform"
    assert found.channels == ("co", "co_b")
    assert found.reason.startswith("channel co_b: ")
    assert any(one.startswith("Channel co: conforms") for one in found.remarks)
    dead = judge(make_log({"co": QUIET, "co_b": [None] * 100}), limits(CO))
    assert dead.overall == "not_proven"
    assert dead.finding("co").verdict == "no_evidence"
    order = judge(
        make_log({"co": with_values({1: 2.0}), "co_b": with_values({1: 3.0})}), limits(CO)
    )
    assert order.finding("co").worst is not None
    assert order.finding("co").margin == 2.0


def test_several_limits_of_one_channel() -> None:
    """Each limit of an analyte is a finding of its own."""
    log = make_log({"co": with_values({10: 7.0})})
    verdict = judge(log, limits(CO, upper("co", 10.0, key="co_high")))
    assert verdict.finding("co").verdict == "does_not_conform"
    assert verdict.finding("co_high").verdict == "conforms"
    assert verdict.overall == "does_not_conform"
    with pytest.raises(KeyError):
        verdict.finding("co_none")


def test_limit_without_bounds_is_never_kept() -> None:
    """A malformed limit bounds nothing and proves nothing."""
    empty = Limit(
        key="co", analyte="co", quantity="volume_fraction", unit="ppm", status="confirmed"
    )
    verdict = judge(make_log({"co": QUIET}), limits(empty))
    assert verdict.overall == "not_proven"
    assert "states no bound" in verdict.reasons[0]


TABLE = Limit(
    key="water",
    analyte="water",
    quantity="mass_concentration",
    unit="mg/m3",
    kind="pressure_table",
    table=(),
    status="confirmed",
)
MARGIN = Limit(
    key="margin",
    analyte="water",
    quantity="pressure_dew_point",
    unit="°C",
    kind="dew_point_margin",
    margin_c=5.0,
    needs="lowest temperature",
    status="confirmed",
)


def _table() -> Limit:
    from lungwort.limits.model import PressureRow

    return evolve(TABLE, table=(PressureRow(5.0, Bound(290.0)), PressureRow(10.0, Bound(160.0))))


def test_limit_that_waits_for_the_supply_pressure() -> None:
    """Open: inside proves nothing, beyond every row is outside all the same."""
    inside = judge(make_log({"water": [100.0] * 100}), limits(_table()))
    assert inside.finding("water").verdict == "undecided"
    assert "supply pressure" in inside.finding("water").reason
    outside = judge(make_log({"water": [300.0] * 100}), limits(_table()))
    assert outside.finding("water").verdict == "does_not_conform"
    nothing = judge(make_log({"water": [None] * 100}), limits(_table()))
    assert nothing.finding("water").verdict == "no_evidence"
    assert "Also: " in nothing.finding("water").reason
    known = judge(
        make_log({"water": [100.0] * 100}), limits(_table()), supply=Conditions(10.0, None)
    )
    assert known.overall == "conforms"
    none = judge(make_log({"co": QUIET}), limits(_table()))
    assert "Also: " in none.finding("water").reason


def test_limit_whose_condition_is_not_given() -> None:
    """It is laid aside only where another required limit of the analyte stands in."""
    supply = Conditions(10.0, None)
    log = make_log({"water": [100.0] * 100})
    both = judge(log, limits(_table(), MARGIN), supply=supply)
    assert both.overall == "conforms"
    assert both.finding("margin").verdict == "not_applicable"
    alone = judge(log, limits(MARGIN), supply=supply)
    assert alone.overall == "not_proven"
    assert alone.finding("margin").verdict == "undecided"
    nothing = judge(make_log({"co": QUIET}), limits(CO, MARGIN), supply=supply)
    assert nothing.finding("margin").verdict == "no_evidence"
    assert nothing.overall == "not_proven"
    advice = judge(log, limits(evolve(_table(), required=False), MARGIN), supply=supply)
    assert advice.finding("margin").verdict == "undecided"
    given = judge(log, limits(MARGIN), supply=Conditions(10.0, 5.0))
    assert given.finding("margin").verdict in {"conforms", "does_not_conform"}
    needs_pressure = evolve(CO, key="co2nd", needs="supply pressure")
    assert (
        judge(make_log({"co": QUIET}), limits(CO, needs_pressure)).finding("co2nd").verdict
        == "not_applicable"
    )
    odd = evolve(CO, key="odd", needs="full moon")
    assert judge(make_log({"co": QUIET}), limits(CO, odd)).finding("odd").verdict == "conforms"


# --- guarded acceptance ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "factor", "verdict"),
    [
        (4.2, 1.0, "undecided"),
        (4.0, 1.0, "conforms"),
        (4.2, 0.5, "conforms"),
        (5.1, 1.0, "does_not_conform"),
    ],
)
def test_guarded_acceptance(value: float, factor: float, verdict: str) -> None:
    """CO 4.2 ppm with U = 1 ppm against 5 ppm: inside, and not clear of the limit."""
    options = Options(decision=GUARDED, guard_factor=factor)
    found = judge(make_log({"co": with_values({5: value})}), limits(CO), options=options)
    assert found.finding("co").verdict == verdict
    if verdict == "undecided":
        assert "accepted would be up to 4 ppm" in found.finding("co").reason
    assert any("Guarded acceptance" in one for one in found.cautions)


def test_guarded_acceptance_needs_an_uncertainty() -> None:
    """Without a known uncertainty nothing is accepted."""
    options = Options(decision=GUARDED)
    found = judge(
        make_log({"co": QUIET}), limits(CO), options=options, uncertainties=_no_uncertainties()
    )
    assert found.overall == "not_proven"
    assert "no uncertainty is known" in found.reasons[0]


def test_guarded_acceptance_on_both_sides() -> None:
    """O2 has a guard band at each end: U = 0.4 %."""
    options = Options(decision=GUARDED)
    for value, verdict in ((19.8, "undecided"), (20.0, "conforms"), (23.2, "undecided")):
        log = make_log({"o2": with_values({5: value}, [20.9] * 100)})
        assert judge(log, limits(O2), options=options).finding("o2").verdict == verdict


# --- what a log must be ----------------------------------------------------------------------


def test_log_out_of_order_is_refused() -> None:
    """Time that runs backwards would make weights of nothing."""
    times = [at(10 * i) for i in range(100)]
    times[50] = at(0)
    with pytest.raises(LogError, match="time runs backwards after 2026-03-04 08:08:10"):
        judge(make_log({"co": QUIET}, times=times), limits(CO))


def test_log_without_its_columns_is_refused() -> None:
    """A frame without a flag column, or without a time, is no log."""
    log = make_log({"co": QUIET})
    bare = evolve(log, parts=(log.frame.drop("co_flag"),))
    with pytest.raises(LogError, match="has no column 'co_flag'"):
        judge(bare, limits(CO))
    holes = log.frame.with_columns(
        pl.when(pl.col("co_flag") == 1).then(None).otherwise(pl.col("time")).alias("time")
    )
    with pytest.raises(LogError, match="a reading has no time"):
        judge(evolve(log, parts=(holes,)), limits(CO))


def test_null_flags_and_null_columns() -> None:
    """A missing flag is not good; a column of the null type is empty."""
    log = make_log({"co": QUIET})
    null_flags = log.frame.with_columns(pl.lit(None, dtype=pl.UInt8).alias("co_flag"))
    assert judge(evolve(log, parts=(null_flags,)), limits(CO)).overall == "not_proven"
    null_values = log.frame.with_columns(pl.lit(None).alias("co"))
    assert judge(evolve(log, parts=(null_values,)), limits(CO)).overall == "not_proven"


def test_stretches_and_refused_rows_are_listed() -> None:
    """What was left out stands in the verdict, clipped to the period, refused rows last."""
    gap = Stretch(at(800), at(1200), "gap", "", 0, 0, "no readings")
    spike = Stretch(at(100), at(100), "spike", "co", 3, 1, "one stands out")
    early = Stretch(at(0), at(50), "missing", "co", 9, 6, "no reading")
    source = Source(
        "a.csv", "0" * 64, 1, 110, 100, (Refusal("torn line", 10, (4, 9)), Refusal("no time", 1))
    )
    log = evolve(
        make_log({"co": QUIET}, stretches=[gap, spike, early], zone_stated=False), sources=(source,)
    )
    options = Options(start=at(100), end=at(1000))
    verdict = judge(log, limits(CO), options=options)
    causes = [one.cause for one in verdict.not_judged]
    assert causes == ["outside the period", "gap", "refused", "refused"]
    cut = verdict.not_judged[1]
    assert (cut.start, cut.end) == (at(800), at(1000))
    assert "reaches beyond the period" in cut.text
    assert verdict.not_judged[2].text == "a.csv: 10 rows not used: torn line (line 4, 9)"
    assert any("states a time zone" in one for one in verdict.notes)


def test_channel_basis_and_memory_are_told() -> None:
    """What was taken for granted stands beside the finding, and so does a limit from memory."""
    channels = {"co": evolve(CHANNELS["co"], basis="taken as ppm by volume.")}
    limit = evolve(CO, status="from memory", remark="as low as possible.")
    verdict = judge(make_log({"co": QUIET}, channels=channels), limits(limit))
    remarks = verdict.finding("co").remarks
    assert any("check against your own copy" in one for one in remarks)
    assert "as low as possible." in remarks
    assert "Channel co: taken as ppm by volume." in remarks
    assert any("Limits from memory (co)" in one for one in verdict.cautions)
    assert verdict.channel("co") == channels["co"]
    with pytest.raises(KeyError):
        verdict.channel("x")
    with pytest.raises(KeyError):
        judge(None, limits(CO)).channel("co")


def test_times_are_shown_in_the_zone_of_the_site() -> None:
    """The reason names the local time and its offset; an unknown zone falls back to UTC."""
    log = make_log({"co": with_values({0: 9.0})}, zone="Europe/Oslo")
    assert "4 Mar 2026 09:00:00 (UTC+01:00)" in judge(log, limits(CO)).reasons[0]
    odd = make_log({"co": with_values({0: 9.0})}, zone="Mars/Base")
    assert "4 Mar 2026 08:00:00 UTC" in judge(odd, limits(CO)).reasons[0]
    fine = make_log(
        {"co": with_values({1: 9.0})},
        times=[START + timedelta(seconds=i, milliseconds=250 * (i == 1)) for i in range(100)],
    )
    assert "08:00:01.25 UTC" in judge(fine, limits(CO)).reasons[0]


@pytest.mark.parametrize("rows", [1, 2, 3, 7, 1000])
def test_excursion_over_the_blocks(rows: int) -> None:
    """A run with bad readings inside and after it, however the log is cut into blocks."""
    values = with_values({18: 1.0, 20: 9.0, 21: 6.0, 23: 8.0, 24: 7.0, 60: 19.0, 61: 1.0})
    flags = [1] * 100
    for row in (17, 18, 19, 22, *range(25, 30), 59, *range(61, 100)):
        flags[row] = 4
    log = make_log({"co": values}, flags={"co": flags})
    first, last = judge(log, limits(CO), block_rows=rows).excursions
    assert (first.start, first.end, first.samples) == (at(200), at(250), 4)
    assert (first.peak, first.peak_time) == (9.0, at(200))
    assert first.mean == pytest.approx((9 + 6 + 8 + 7) / 4)
    assert (first.begins_after_gap, first.may_have_begun) == (True, at(160))
    assert (first.ended_by, first.may_have_lasted) == ("data_gap", at(300))
    assert (last.may_have_begun, last.may_have_lasted) == (at(580), None)
    oxygen = with_values({20: 18.0, 21: 19.0, 23: 17.0}, [20.9] * 100)
    (low,) = judge(make_log({"o2": oxygen}), limits(O2), block_rows=rows).excursions
    assert (low.direction, low.peak, low.peak_time, low.samples) == ("below", 17.0, at(230), 3)


def test_excursion_through_a_time_gap() -> None:
    """Outside before and after a hole in the times: two excursions, each saying so."""
    times = [at(10 * i + (300 if i > 20 else 0)) for i in range(100)]
    log = evolve(make_log({"co": with_values({20: 9.0, 21: 9.0})}, times=times), interval_s=10.0)
    before, after = judge(log, limits(CO)).excursions
    assert (before.end, before.ended_by, before.may_have_lasted) == (at(215), "data_gap", at(510))
    assert (after.begins_after_gap, after.may_have_begun) == (True, at(200))


def test_censor_column_of_plain_readings() -> None:
    """A channel that could hold '<' and does not is as any other."""
    log = make_log({"co": QUIET}, censor={"co": [0] * 100})
    assert judge(log, limits(CO)).overall == "conforms"


def test_open_reading_in_an_earlier_block_stays_the_worst() -> None:
    """'> 50' before a plain 60 in a later block."""
    codes = [0] * 100
    codes[3] = 1
    log = make_log({"co": with_values({3: 50.0, 90: 60.0})}, censor={"co": codes})
    worst = judge(log, limits(CO), block_rows=10).finding("co").worst
    assert worst is not None
    assert worst.text == "> 50 ppm"


def test_key_given_twice_is_refused() -> None:
    """Two limits of one key could be taken for each other."""
    with pytest.raises(LimitSetError, match="holds the key 'co' twice"):
        judge(make_log({"co": QUIET}), limits(CO, upper("co", 9.0)))


def test_what_is_thin_is_told() -> None:
    """A short period, a lowered coverage and a hand test without a limit."""
    verdict = judge(
        make_log({"co": QUIET[:20]}),
        limits(CO),
        spots=[parse_spot("co2=400 ppm"), SpotTest("oil", "mass_concentration")],
        options=Options(min_coverage=0.5),
    )
    assert verdict.overall == "conforms"
    assert any("Only 3 min 20 s were judged" in one for one in verdict.cautions)
    assert any("lowered to 50 %" in one for one in verdict.cautions)
    assert any(one.startswith("Hand test 'co2=400 ppm': the limit set") for one in verdict.notes)
    assert any(one.startswith("Hand test 'oil': the limit set has") for one in verdict.notes)


def test_hand_tests_and_decision_rule_can_be_given_plainly() -> None:
    """A hand test may be typed, and the decision rule given by name."""
    log = make_log({"co": [4.5] * 100})
    plain = judge(log, limits(CO, upper("oil", 0.5, "mg/m3")), spots=["oil=<0.05 mg/m3"])
    guarded = judge(log, limits(CO), decision="guarded")
    assert plain.overall == "conforms"
    assert plain.spots[0].analyte == "oil"
    assert guarded.options.decision == GUARDED
    assert guarded.finding("co").verdict == "undecided"


def test_more_than_is_told_as_more_than() -> None:
    """A reading logged as '> 50' is not told as 50."""
    log = make_log(
        {"co": with_values({50: 50.0})}, censor={"co": [int(i == 50) for i in range(100)]}
    )
    assert "the highest > 50 ppm" in judge(log, limits(CO)).finding("co").reason


# --- what was seen beside a clean word -------------------------------------------------------


def _by_pressure() -> Limit:
    """Make a water limit of two rows."""
    rows = (PressureRow(5.0, Bound(290.0)), PressureRow(10.0, Bound(160.0)))
    return evolve(upper("water", 1.0, "mg/m3"), kind="pressure_table", upper=None, table=rows)


@pytest.mark.parametrize(
    ("water", "pressure", "expected"),
    [
        (200.0, 4.0, "conforms"),
        (200.0, 7.0, "undecided"),
        (100.0, 7.0, "conforms"),
        (200.0, 12.0, "undecided"),
    ],
    ids=["as given", "another row", "kept by the stricter row too", "beyond the table"],
)
def test_a_logged_pressure_above_the_one_given_opens_the_limit(
    water: float, pressure: float, expected: str
) -> None:
    """A row of the table stands only as long as the log does not show a higher pressure."""
    log = make_log({"water": [water] * 100, "pressure": [pressure] * 100})
    found = judge(
        log, limits(_by_pressure()), supply=Conditions(supply_pressure_bar_g=4.0)
    ).findings[0]
    assert found.verdict == expected
    assert ("the log reaches" in found.reason) == (expected == "undecided")


def test_a_channel_that_never_moves_is_told() -> None:
    """Quiet air looks like a dead cell, over the whole log too."""
    dead = judge(make_log({"co": [0.0] * 100}), limits(CO)).finding("co")
    alive = judge(make_log({"co": [0.0, 0.1] * 50}), limits(CO)).finding("co")
    assert any("shows 0 ppm throughout" in one for one in dead.remarks)
    assert not any("throughout" in one for one in alive.remarks)


def test_what_was_outside_while_settling_stands_beside_the_clean_word() -> None:
    """A clean verdict names what was seen and not judged."""
    flags = [NOT_EVALUATED] * 10 + [GOOD] * 90
    log = make_log(
        {"co": [50.0] * 10 + [1.0] * 90},
        flags={"co": flags},
        stretches=[Stretch(at(0), at(90), "settling", "", NOT_EVALUATED, 10, "settling")],
    )
    verdict = judge(log, limits(CO))
    assert verdict.overall == "conforms"
    assert any(
        one.startswith("Outside, though not judged (settling): carbon") for one in verdict.reasons
    )


def test_what_narrows_a_clean_word_stands_beside_it() -> None:
    """A set that looks at one gas, a lowered coverage and a short look are told with the verdict."""
    short = judge(make_log({"co": [1.0] * 50}), limits(CO), options=Options(min_coverage=0.5))
    assert short.overall == "conforms"
    assert any("says nothing of oxygen" in one for one in short.reasons)
    assert "Only 50 % of the period had to be covered (usual: 90 %)." in short.reasons
    assert short.reasons[-1] == "Only 8 min 20 s of readings were judged."
    long = judge(make_log({"co": [1.0] * 100}), limits(CO))
    assert not any("Only" in one for one in long.reasons)


def test_the_least_covered_analyte_is_named() -> None:
    """The nearest to its limit may be well covered and another one not."""
    missing: list[Any] = [1.0] * 95 + [None] * 5
    verdict = judge(make_log({"co": missing, "o2": [20.0] * 100}), limits(CO, O2))
    assert (
        "Least covered: carbon monoxide, with usable readings for 95 % of the period."
        in verdict.reasons
    )


def test_a_set_that_looks_at_everything_narrows_nothing() -> None:
    """The airline set has a limit for each of the core analytes."""
    airline = limit_set("en12021-2014-airline")
    assert beside_a_clean_word(airline, Options(), (), None) == ()


def test_advice_that_is_not_kept_stands_beside_a_clean_word() -> None:
    """Advice never decides, and is not hidden either."""
    advice = evolve(upper("co", 0.5, key="advice"), required=False)
    verdict = judge(make_log({"co": QUIET}), limits(CO, advice))
    assert verdict.overall == "conforms"
    assert any(
        one.startswith("Advice not kept: carbon monoxide, limit ≤ 0.5 ppm: 100")
        for one in verdict.reasons
    )
