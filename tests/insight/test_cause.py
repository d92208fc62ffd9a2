"""Causes of bad air: against invented logs whose cause is known, and by direction."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.insight.cause_kit import (
    CLEAR_SEEDS,
    FAINT_SEEDS,
    MIDDLE_SEEDS,
    NONE_NAMED,
    matrix_text,
    outcomes,
    ranking_of,
    series_of_fault,
)

from lungwort.demo import faults
from lungwort.errors import LogError
from lungwort.insight import cause
from lungwort.insight.cause_drivers import Sign
from lungwort.insight.cause_series import Series
from lungwort.insight.cause_signs import Seen, see
from lungwort.insight.cause_table import OTHER, causes, read_causes

PAGE = Path(__file__).parents[2] / "docs" / "explanation" / "why-the-air-went-wrong.md"


def test_clear_causes_are_found() -> None:
    """Causes of invented logs (the generator shares nothing with the finder), seeds not seen before."""
    results = [one for one in outcomes(faults.CLEAR, CLEAR_SEEDS) if one.cause != faults.CLEAN]
    first = sum(one.first == one.cause for one in results) / len(results)
    three = sum(one.cause in one.three for one in results) / len(results)
    assert first >= 0.80, matrix_text(outcomes(faults.CLEAR, CLEAR_SEEDS))
    assert three >= 0.95, matrix_text(outcomes(faults.CLEAR, CLEAR_SEEDS))


def test_no_cause_is_lost_altogether() -> None:
    """No cause is lost altogether."""
    results = outcomes(faults.CLEAR, CLEAR_SEEDS)
    for name in faults.CAUSES:
        assert sum(one.first == name for one in results if one.cause == name) >= CLEAR_SEEDS / 2


def test_belief_keeps_its_word() -> None:
    """Of causes that are named as likely, as many are right as the belief says, or more."""
    sure = [one for one in outcomes(faults.CLEAR, CLEAR_SEEDS) if one.sure != NONE_NAMED]
    right = [one.sure == one.cause for one in sure]
    mean = sum(one.belief for one in sure) / len(sure)
    sd = math.sqrt(mean * (1.0 - mean) / len(sure))
    assert sum(right) / len(sure) >= mean - 2.0 * sd
    very = [one for one in sure if one.belief >= 0.85]
    assert sum(one.sure == one.cause for one in very) / len(very) >= 0.95


def test_faint_and_clean_logs_name_no_wrong_cause() -> None:
    """Faint and clean logs name no wrong cause."""
    results = outcomes(faults.FAINT, FAINT_SEEDS)
    wrong = [one for one in results if one.sure not in {one.cause, NONE_NAMED}]
    assert len(wrong) <= 1, wrong
    clean = [
        one
        for size, seeds in ((faults.CLEAR, CLEAR_SEEDS), (faults.FAINT, FAINT_SEEDS))
        for one in outcomes(size, seeds)
        if one.cause == faults.CLEAN
    ]
    assert all(one.sure == NONE_NAMED for one in clean)


def test_page_shows_the_same_table() -> None:
    """Page shows the same table."""
    table = matrix_text(outcomes(faults.CLEAR, CLEAR_SEEDS))
    assert table in PAGE.read_text("utf-8"), f"put this into {PAGE.name}:\n{table}"


def test_middle_sizes_are_seldom_wrong() -> None:
    """Half as much of a fault: of those named as likely at most one in twenty is wrong."""
    results = outcomes(faults.MIDDLE, MIDDLE_SEEDS)
    sure = [one for one in results if one.sure != NONE_NAMED]
    assert len(sure) >= len(results) / 2
    assert sum(one.sure != one.cause for one in sure) <= len(sure) / 20.0


@settings(max_examples=25, deadline=None)
@given(
    readings=st.integers(24, 200),
    step_s=st.floats(1.0, 600.0),
    seed=st.integers(0, 2**32 - 1),
    kind=st.sampled_from(["noise", "still", "huge", "holes", "spikes"]),
    absent=st.sets(
        st.sampled_from(["co", "co2", "o2", "water", "pressure", "temperature"]), max_size=5
    ),
)
def test_any_readings_give_beliefs(
    readings: int, step_s: float, seed: int, kind: str, absent: set[str]
) -> None:
    """Whatever is read, beliefs are probabilities that add up to 1 and nothing is not a number."""
    dice = np.random.default_rng(seed)
    t = 1.77e9 + np.cumsum(dice.uniform(0.1, 2.0, readings)) * step_s
    values = {}
    for name, usual in (
        ("co", 0.3),
        ("co2", 430.0),
        ("o2", 20.9),
        ("water", 25.0),
        ("pressure", 7.0),
        ("temperature", 20.0),
    ):
        if name in absent:
            continue
        y = usual + dice.normal(0.0, 0.02 * usual, readings)
        if kind == "still":
            y = np.full(readings, usual)
        elif kind == "huge":
            y *= 10.0 ** dice.uniform(0.0, 4.0)
        elif kind == "holes":
            y[dice.random(readings) < dice.random()] = np.nan
        elif kind == "spikes":
            y[dice.random(readings) < 0.05] *= 50.0
        values[name] = y
    found = cause.rank(Series(t, values))
    assert sum(one.belief for one in found.ranked) == pytest.approx(1.0)
    assert all(0.0 <= one.belief <= 1.0 for one in found.ranked)
    assert len(found.ranked) == len(causes().causes) + 1


def _steady(n: int = 400, seed: int = 0) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    dice = np.random.default_rng(seed)
    t = 1.77e9 + np.arange(n) * 60.0
    return t, {
        "co": 0.2 + dice.normal(0.0, 0.1, n),
        "co2": 430.0 + dice.normal(0.0, 4.0, n),
        "o2": 20.93 + dice.normal(0.0, 0.01, n),
        "water": 25.0 * (1.0 + dice.normal(0.0, 0.02, n)),
    }


def _beliefs(values: dict[str, np.ndarray], t: np.ndarray) -> dict[str, float]:
    return {one.id: one.belief for one in cause.rank(Series(t, values)).ranked}


def test_carbon_dioxide_with_carbon_monoxide_points_to_exhaust() -> None:
    """Engines give off both; hot oil carbon monoxide alone (mass balance; OSHA memo 1994-07-05)."""
    t, values = _steady()
    values["co"][150:200] += 10.0
    alone = _beliefs(values, t)
    values["co2"][150:200] += 300.0
    both = _beliefs(values, t)
    assert both["exhaust"] > 0.6 > alone["exhaust"]
    assert (
        alone["oil_breakdown"] + alone["interference"]
        > both["oil_breakdown"] + both["interference"]
    )


def test_channel_that_is_absent_counts_for_nothing() -> None:
    """Channel that is absent counts for nothing."""
    t, values = _steady()
    values["co"][150:200] += 10.0
    values["co2"][150:200] += 300.0
    whole = _beliefs(values, t)
    del values["co2"]
    part = cause.rank(Series(t, values))
    assert "carbon dioxide" in part.seen.missing
    assert {one.feature for one in part.seen.signs}.isdisjoint({"co2", "co_with_co2", "balance"})
    exhaust = next(one for one in part.ranked if one.id == "exhaust")
    assert exhaust.lacking == ("co2",)
    assert exhaust.belief < whole["exhaust"]
    assert not part.told


def test_too_few_readings_are_not_measured() -> None:
    """Too few readings are not measured."""
    t, values = _steady()
    values["co2"][20:] = np.nan
    assert "carbon dioxide" in see(Series(t, values)).missing


def test_nothing_that_moves_names_nothing() -> None:
    """Nothing that moves names nothing."""
    t, values = _steady()
    found = cause.rank(Series(t, values))
    assert not found.told
    assert found.named == ()
    assert "nothing moved clearly" in found.why_not


def test_beliefs_add_up_and_leave_room() -> None:
    """Beliefs add up and leave room."""
    for name in ("exhaust", "oxygen_shift", faults.CLEAN):
        found = ranking_of(name, 3)
        assert sum(one.belief for one in found.ranked) == pytest.approx(1.0)
        other = next(one for one in found.ranked if one.id == OTHER)
        assert other.belief >= cause.LEFT_TO_OTHER
        assert [one.belief for one in found.ranked] == sorted(
            (one.belief for one in found.ranked), reverse=True
        )


def test_gaps_and_shuffled_rates_do_not_change_the_cause() -> None:
    """Gaps and shuffled rates do not change the cause."""
    t, values = _steady(900, 7)
    values["co"][300:420] += 10.0
    values["co2"][300:420] += 300.0
    keep = np.ones(900, dtype=bool)
    keep[350:380] = False
    keep[500:900:2] = False
    found = cause.rank(Series(t[keep], {name: one[keep] for name, one in values.items()}))
    assert found.told
    assert found.ranked[0].id == "exhaust"


def test_intake_speaks() -> None:
    """Intake speaks."""
    fault = faults.fault_log("catalyst", 4)
    outlet, intake = series_of_fault(fault)
    assert intake is not None
    outcome = {one.feature: one.outcome for one in see(outlet, intake=intake).signs}
    assert outcome["co_with_intake"] == "yes"
    assert "co_with_intake" not in {one.feature for one in see(outlet).signs}


def test_hour_is_that_of_the_place() -> None:
    """Hour is that of the place."""
    t, values = _steady()  # 1.77e9 s is 2026-02-02 02:40 UTC
    values["co"][60:120] += 10.0  # from 03:40 UTC
    at = {
        zone: next(
            one.outcome for one in see(Series(t, values), zone=zone).signs if one.feature == "hour"
        )
        for zone in ("UTC", "Asia/Tokyo")
    }
    assert at == {"UTC": "night", "Asia/Tokyo": "day"}  # Tokyo is 9 h ahead: 12:40


def test_weights_by_hand() -> None:
    """Bayes by hand for one sign: 45 % against 12 % at a prior of 0.7/12 against 0.3."""
    table = causes()
    sign = Sign("co", "episode", "carbon monoxide changed for a while.")
    seen = Seen((sign,), {}, (), None, None, True, 0.0, 1.0)
    found = {one.id: one for one in cause.weigh(seen, table).ranked}
    score = (45.0 / 12.0) ** cause.TEMPER
    exhaust, breath = found["exhaust"], found["breath"]
    assert exhaust.weighed[0].log_ratio == pytest.approx(math.log(score))
    # The sign that exhaust needs beside it (carbon dioxide) is lacking: half counts.
    assert exhaust.lacking == ("co2",)
    ratio = (exhaust.belief / (found[OTHER].belief - cause.LEFT_TO_OTHER)) / ((0.7 / 12) / 0.3)
    assert ratio == pytest.approx(math.sqrt(score))
    assert breath.weighed[0].word == cause.STRONGLY_AGAINST
    assert breath.speaks_against == breath.weighed
    assert exhaust.speaks_for == exhaust.weighed


@pytest.mark.parametrize(
    ("times", "word"),
    [
        (6.0, cause.STRONGLY_FOR),
        (2.0, cause.FOR),
        (1.0, cause.NEITHER),
        (0.5, cause.AGAINST),
        (0.1, cause.STRONGLY_AGAINST),
    ],
)
def test_words_of_weights(times: float, word: str) -> None:
    """Words of weights."""
    assert cause.Weighed(Sign("co", "none", ""), math.log(times)).word == word


def test_every_cause_says_what_would_confirm_it() -> None:
    """Every cause says what would confirm it."""
    table = causes()
    assert {one.id for one in table.causes} == set(faults.CAUSES)
    for one in table.causes:
        assert one.confirm
        assert one.first
        assert one.cautions
        assert one.why
        for feature, row in one.likelihood.items():
            assert sum(row.values()) == pytest.approx(1.0), (one.id, feature)
            assert set(row) == set(table.other[feature])
    assert table.standing == "own rule"
    assert "reasoning" in table.source
    assert table.cause("breath").id == "breath"
    with pytest.raises(LogError, match="Known are: exhaust"):
        table.cause("ghosts")


GOOD = """
format = 1
standing = "own rule"
[other]
share_before = 40
co = { yes = 30, no = 70 }
[[cause]]
id = "one"
title = "One"
why = "It does."
confirm = ["Look."]
first = ["Stop."]
cautions = ["Mind."]
[cause.likelihood]
co = { yes = 90 }
"""


def test_table_is_read() -> None:
    """Table is read."""
    table = read_causes(GOOD, "own.toml")
    assert table.causes[0].likelihood["co"] == pytest.approx({"yes": 0.9, "no": 0.1})
    assert table.other_before == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("no = 70", "no = 60", "found 90 % in all"),
        ("co = { yes = 90 }", "co = { yes = 90, no = 30 }", "found 120 % in all"),
        ("co = { yes = 90 }", "co2 = { yes = 90 }", "'co2' is no sign"),
        ("co = { yes = 90 }", "co = { maybe = 90 }", "this key is not known"),
        ('confirm = ["Look."]', "", "No cause is named without it"),
        ("share_before = 40", "share_before = 100", "allowed is 1 to 99"),
        ("share_before = 40", "", "share_before.* is missing"),
        ('id = "one"', 'id = "one"\nneeds = ["luck"]', "'luck' is no sign"),
        ('standing = "own rule"', "", "standing.* is missing"),
    ],
)
def test_mistakes_in_the_table_are_told(old: str, new: str, told: str) -> None:
    """Mistakes in the table are told."""
    with pytest.raises(LogError, match=told):
        read_causes(GOOD.replace(old, new, 1), "own.toml")
