"""The envelope loses no peak: against brute force."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.logs.model import Channel, Log
from lungwort.paper.envelope import (
    Envelope,
    bucket_count,
    envelopes,
    from_us,
    shown_period,
    to_us,
)
from lungwort.verdict.model import Options, Verdict

START = datetime(2026, 3, 3, tzinfo=UTC)
CO = Channel("co", "co", "volume_fraction", "ppm", censored=True)

readings = st.lists(
    st.tuples(
        st.integers(min_value=1, max_value=500),
        st.one_of(st.none(), st.floats(min_value=-50, max_value=500), st.just(float("nan"))),
        st.sampled_from([1, 1, 1, 2, 3, 4, 9]),
        st.sampled_from([0, 0, 0, -1, 1, 2]),
    ),
    min_size=1,
    max_size=120,
)


def _log(rows: list[tuple[int, float | None, int, int]], cuts: int) -> Log:
    seconds = np.cumsum([row[0] for row in rows])
    frame = pl.DataFrame(
        {
            "time": pl.Series(
                [START + timedelta(seconds=int(second)) for second in seconds],
                dtype=pl.Datetime("us", "UTC"),
            ),
            "co": pl.Series([row[1] for row in rows], dtype=pl.Float64),
            "co_flag": pl.Series([row[2] for row in rows], dtype=pl.UInt8),
            "co_censor": pl.Series([row[3] for row in rows], dtype=pl.Int8),
        }
    )
    size = -(-len(rows) // cuts)
    parts = tuple(frame.slice(at, size) for at in range(0, len(rows), size))
    return Log(parts, (CO,), rows=len(rows), start=frame["time"][0], end=frame["time"][-1])


@given(readings, st.integers(1, 4), st.integers(1, 40), st.integers(0, 600), st.integers(1, 9000))
@settings(deadline=None, max_examples=200)
def test_each_bucket_is_what_brute_force_finds(
    rows: list[tuple[int, float | None, int, int]], cuts: int, most: int, skip: int, span: int
) -> None:
    """Each bucket is what brute force finds."""
    log = _log(rows, cuts)
    start = START + timedelta(seconds=skip)
    end = start + timedelta(seconds=span)
    made = envelopes(log, (CO,), start, end, most)["co"]

    edges = [*made.edges_us.tolist(), made.end_us + 1]
    assert len(edges) == most + 1
    table = log.frame.rows()
    for bucket in range(most):
        held = [
            (to_us(moment), value, flag, censor)
            for moment, value, flag, censor in table
            if edges[bucket] <= to_us(moment) < edges[bucket + 1]
            and value is not None
            and not np.isnan(value)
            and censor != 2
        ]
        used = [row for row in held if row[2] in {1, 3}]
        aside = [row[1] for row in held if row[2] == 2]
        assert made.usable[bucket] == len(used)
        assert made.low[bucket] == min((row[1] for row in used), default=np.inf)
        assert made.high[bucket] == max((row[1] for row in used), default=-np.inf)
        assert made.aside_low[bucket] == min(aside, default=np.inf)
        assert made.aside_high[bucket] == max(aside, default=-np.inf)
        assert made.suspect[bucket] == any(row[2] == 3 for row in held)
        assert made.over_range[bucket] == any(row[3] == 1 for row in used)
        if used:
            assert made.first_us[bucket] == used[0][0]
            assert made.last_us[bucket] == used[-1][0]
    usable = [
        row[1]
        for row in table
        if row[1] is not None
        and not np.isnan(row[1])
        and row[2] in {1, 3}
        and row[3] != 2
        and start <= row[0] <= end
    ]
    if usable:
        assert made.high.max() == max(usable)
        assert made.low.min() == min(usable)


def test_runs_part_where_a_gap_is_too_long_to_bridge() -> None:
    """Runs part where a gap is too long to bridge."""
    rows: list[tuple[int, float | None, int, int]] = []
    rows += [(10, 1.0, 1, 0)] * 5 + [(100, 1.0, 1, 0)] + [(10, 1.0, 1, 0)] * 4
    log = _log(rows, 1)
    assert log.start is not None
    assert log.end is not None
    made = envelopes(log, (CO,), log.start, log.end, 50)["co"]

    first, second = made.runs(30_000_000)
    assert int(made.last_us[first[-1]]) + 100_000_000 == int(made.first_us[second[0]])
    assert len(list(made.runs(100_000_000))) == 1


def test_no_reading_gives_no_run() -> None:
    """No reading gives no run."""
    empty = Envelope(0, 10_000_000, 4)

    assert list(empty.runs(1)) == []


@pytest.mark.parametrize(
    ("interval_s", "buckets"), [(None, 1000), (10.0, 361), (1e6, 1), (0.5, 1000)]
)
def test_no_bucket_is_narrower_than_the_sampling_interval(
    interval_s: float | None, buckets: int
) -> None:
    """No bucket is narrower than the sampling interval."""
    assert bucket_count(0, 3_600_000_000, interval_s, 1000) == buckets


def test_moments_go_there_and_back() -> None:
    """Moments go there and back."""
    assert from_us(to_us(START)) == START


def test_the_drawn_period_shows_settling_unless_a_start_was_given(
    failing: Verdict, unproven: Verdict
) -> None:
    """The drawn period shows settling unless a start was given."""
    later = START + timedelta(minutes=30)
    log = failing.log
    assert log is not None
    judged = evolve(failing, start=later, end=later + timedelta(hours=1))

    assert shown_period(judged) == (log.start, log.end)
    chosen = evolve(judged, options=Options(start=later, end=judged.end))
    assert shown_period(chosen) == (judged.start, judged.end)
    assert shown_period(unproven) is None


def test_a_year_of_ten_second_readings_is_gathered_fast() -> None:
    """A year of ten second readings is gathered fast."""
    rows = 3_153_600
    channels = tuple(evolve(CO, name=f"c{place}", censored=False) for place in range(5))
    moments = np.datetime64("2026-01-01", "us") + np.arange(rows) * np.timedelta64(10, "s")
    values = np.random.default_rng(1).random(rows)
    frame = pl.DataFrame(
        {
            "time": pl.Series(moments).dt.replace_time_zone("UTC"),
            **{channel.name: values for channel in channels},
            **{f"{channel.name}_flag": np.ones(rows, np.uint8) for channel in channels},
        }
    )
    log = Log((frame,), channels, rows=rows, interval_s=10.0)
    begun = time.perf_counter()
    made = envelopes(log, channels, frame["time"][0], frame["time"][-1])
    took_s = time.perf_counter() - begun

    assert made["c0"].high.max() == values.max()
    assert took_s < 2.0  # about 0.2 s; the room is for a busy machine
