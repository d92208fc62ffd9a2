"""Limits on a mean over a window of time."""

from __future__ import annotations

import numpy as np
import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.verdict.build_log import at, limits, make_log, upper

from lungwort.limits.model import Bound
from lungwort.verdict.averages import rolling_means, window_s
from lungwort.verdict.judge import judge
from lungwort.verdict.model import Options

MINUTES = 15 * 6  # readings of 10 s in a quarter of an hour


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("8 h", 28800.0),
        ("15 min", 900.0),
        ("10 min", 600.0),
        ("0.5 h", 1800.0),
        ("30 s", 30.0),
        ("any reading", None),
        ("ceiling", None),
        ("", None),
        ("0 h", None),
        ("a shift", None),
    ],
)
def test_length_of_the_window(text: str, seconds: float | None) -> None:
    """What is not understood is held reading by reading, the stricter way."""
    assert window_s(text) == seconds


@given(
    steps=st.lists(st.sampled_from([10, 10, 5, 15, 60, 400]), min_size=1, max_size=60),
    data=st.data(),
    window=st.sampled_from([10, 60, 300, 900]),
    chunk=st.integers(1, 20),
)
@settings(deadline=None, max_examples=150)
def test_rolling_means_against_sums_by_hand(
    steps: list[int], data: st.DataObject, window: int, chunk: int
) -> None:
    """Each window summed up on its own, in plain Python."""
    times = np.cumsum([0, *steps[:-1]]).astype(np.int64)
    weights = np.minimum(np.array(steps), 15).astype(np.int64)
    values = np.array(
        data.draw(
            st.lists(
                st.sampled_from([0.0, 1.0, 5.0, 40.0]), min_size=len(steps), max_size=len(steps)
            )
        )
    )
    million = 1_000_000
    means, covered = rolling_means(
        times * million, weights * million, values, window * million, chunk
    )
    for k in range(len(steps)):
        end = times[k] + weights[k]
        begin = end - window
        overlap = [
            max(0, min(times[i] + weights[i], end) - max(times[i], begin)) for i in range(k + 1)
        ]
        assert covered[k] / million == pytest.approx(sum(overlap), abs=1e-6)
        total = sum(float(value) * part for value, part in zip(values, overlap, strict=False))
        assert means[k] == pytest.approx(total / sum(overlap), abs=1e-9)


def test_no_reading_above_needs_no_mean() -> None:
    """A mean cannot exceed its greatest reading, also in a period shorter than the window."""
    verdict = judge(make_log({"co": [19.0] * 100}), limits(upper("co", 20.0, averaging="8 h")))
    assert verdict.overall == "conforms"


def test_short_peak_inside_the_mean() -> None:
    """One minute at 60 ppm in an hour at 1 ppm: the quarter-hour mean is 4.9 ppm at most."""
    values = [1.0] * 360
    values[200:206] = [60.0] * 6
    log = make_log({"co": values})
    limit = upper("co", 20.0, averaging="15 min")
    verdict = judge(log, limits(limit))
    assert verdict.overall == "conforms"
    found = verdict.findings[0]
    assert found.worst is not None
    assert found.worst.value == pytest.approx((6 * 60 + 84) / 90)
    assert found.reason.startswith("every mean is inside")
    assert judge(log, limits(evolve(limit, averaging="ceiling"))).overall == "does_not_conform"


def test_mean_beyond_the_limit() -> None:
    """Half an hour at 40 ppm: the mean passes 20 ppm halfway through the window."""
    values = [0.0] * 180 + [40.0] * 180 + [0.0] * 180
    verdict = judge(make_log({"co": values}), limits(upper("co", 20.0, averaging="15 min")))
    assert verdict.overall == "does_not_conform"
    (one,) = verdict.excursions
    assert one.peak == pytest.approx(40.0)
    # Worked by hand: more than 45 of 90 readings at 40 ppm, from the 46th one on.
    assert one.start == at((180 + 45) * 10)
    assert one.end == at((360 + 45 - 1) * 10)
    assert "mean" in verdict.findings[0].reason


def test_period_shorter_than_the_window() -> None:
    """The time that was not measured is not taken as clean air; a surely exceeded mean is outside."""
    values: list[float] = [1.0] * 50 + [30.0] * 50
    limit = limits(upper("co", 20.0, averaging="8 h"))
    short = judge(make_log({"co": values}), limit)
    assert short.overall == "not_proven"
    assert "not taken as clean air" in short.reasons[0]
    assert short.findings[0].worst is not None
    # 1000 s at 1000 ppm are more than 20 ppm over 8 h, whatever came before: 34.7 ppm.
    sure = judge(make_log({"co": [1000.0] * 100}), limit)
    assert sure.overall == "does_not_conform"


def test_window_with_holes_is_undecided() -> None:
    """Ten minutes at 40 ppm after five that are missing: 26.7 to 40 ppm, nobody knows."""
    values = [*[0.0] * 270, *[None] * 30, *[40.0] * 60, *[0.0] * 540]
    verdict = judge(
        make_log({"co": values}),
        limits(upper("co", 30.0, averaging="15 min")),
    )
    assert verdict.overall == "not_proven"
    assert "too little of the window is covered" in verdict.reasons[0]


def test_open_readings_leave_the_mean_unknown() -> None:
    """A '> 4' among the readings: the mean may be anything."""
    values = [1.0] * 360
    values[100] = 25.0
    values[200] = 4.0
    censor = [0] * 360
    censor[200] = 1
    log = make_log({"co": values}, censor={"co": censor})
    verdict = judge(log, limits(upper("co", 20.0, averaging="15 min")))
    assert verdict.overall == "not_proven"
    assert "the mean over 15 min is not known" in verdict.reasons[0]


def test_lower_bound_on_a_mean_is_held_reading_by_reading() -> None:
    """The stricter way, because no document in the trade sets a lower bound on a mean."""
    limit = evolve(upper("o2", 23.5, "%", averaging="15 min"), lower=Bound(19.5))
    log = make_log({"o2": [20.9] * 50 + [19.0] + [24.0] + [20.9] * 50})
    verdict = judge(log, limits(limit))
    assert verdict.overall == "does_not_conform"
    assert "below 19.5 %" in verdict.reasons[0]
    above = judge(make_log({"o2": [20.9] * 50 + [24.0] + [20.9] * 50}), limits(limit))
    assert above.overall == "conforms"


def test_no_coverage_asked_for() -> None:
    """Even where no coverage is asked for, a window needs a reading."""
    values = [1.0] * 50 + [30.0] * 50
    limit = limits(upper("co", 20.0, averaging="8 h"))
    log = make_log({"co": values})
    found = judge(log, limit, options=Options(min_coverage=0.0))
    assert found.findings[0].verdict == "conforms"
    assert MINUTES == 90


@pytest.mark.parametrize(
    ("averaging", "overall"),
    [("15 min", "not_proven"), ("1 h", "conforms"), ("8 h", "conforms"), ("ceiling", "conforms")],
)
def test_readings_too_far_apart_for_the_window(averaging: str, overall: str) -> None:
    """A reading an hour says nothing of a quarter of an hour, and is told to be sparse."""
    log = make_log({"co": [1.0] * 100}, step_s=3600.0)
    verdict = judge(log, limits(upper("co", 20.0, averaging=averaging)))
    assert verdict.overall == overall
    assert any("between two readings was not seen" in one for one in verdict.notes)
    if overall == "not_proven":
        assert "a reading every 1 h, which cannot show a mean over 15 min" in verdict.reasons[0]
