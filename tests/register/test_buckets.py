"""Buckets of time lose no peak, however they are put together.

The oracle gathers a reading at a time in plain Python and shares no code with what it checks.
"""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.logs.model import (
    ABOVE,
    BAD,
    BELOW,
    GOOD,
    MISSING,
    NOT_EVALUATED,
    PLAIN,
    SUSPECT,
    UNREADABLE,
    Channel,
)
from lungwort.register.buckets import WIDTHS_S, gather, together, widen, width_for

START = datetime(2026, 3, 28, 23, 59, 30, tzinfo=UTC)
CO = Channel("co", "co", "volume_fraction", "ppm", censored=True)
O2 = Channel("o2", "o2", "volume_fraction", "%")
SECOND = 1_000_000

numbers = st.none() | st.sampled_from([math.nan, math.inf]) | st.floats(-5.0, 50.0, width=32)
cells = st.tuples(
    numbers,
    st.sampled_from([GOOD, GOOD, GOOD, SUSPECT, NOT_EVALUATED, BAD, MISSING]),
    st.sampled_from([PLAIN, PLAIN, ABOVE, BELOW, UNREADABLE]),
)
rows = st.lists(st.tuples(st.integers(0, 9000), cells, cells), max_size=60).map(
    lambda given: sorted(given, key=lambda one: one[0])
)
Row = tuple[int, tuple[Any, int, int], tuple[Any, int, int]]


def frame_of(given: list[Row]) -> pl.DataFrame:
    """Make readings as a log holds them."""
    return pl.DataFrame(
        {
            "time": pl.Series(
                [START + timedelta(seconds=at) for at, _, _ in given],
                dtype=pl.Datetime("us", "UTC"),
            ),
            "co": pl.Series([co[0] for _, co, _ in given], dtype=pl.Float64),
            "co_flag": pl.Series([co[1] for _, co, _ in given], dtype=pl.UInt8),
            "co_censor": pl.Series([co[2] for _, co, _ in given], dtype=pl.Int8),
            "o2": pl.Series([o2[0] for _, _, o2 in given], dtype=pl.Float64),
            "o2_flag": pl.Series([o2[1] for _, _, o2 in given], dtype=pl.UInt8),
        }
    )


def expected(given: list[Row], width_s: int) -> dict[int, dict[str, Any]]:
    """Gather a reading at a time."""
    found: dict[int, dict[str, Any]] = defaultdict(lambda: defaultdict(list))
    for at, co, o2 in given:
        second = int((START + timedelta(seconds=at)).timestamp())
        bucket = found[second - second % width_s]
        bucket["rows"].append(second)
        for name, (value, flag, code) in (("co", co), ("o2", (o2[0], o2[1], PLAIN))):
            real = value is not None and math.isfinite(value)
            trusted = flag in {GOOD, SUSPECT}
            if real and trusted and code != UNREADABLE:
                bucket[f"{name} used"].append(value)
                bucket[f"{name} doubted"].extend([1] * (flag == SUSPECT))
                bucket[f"{name} over"].extend([1] * (code == ABOVE))
            elif real:
                bucket[f"{name} aside"].append(value)
            bucket[f"{name} bad"].extend([1] * (flag == BAD))
            bucket[f"{name} waiting"].extend([1] * (flag == NOT_EVALUATED))
    return found


def holds(buckets: pl.DataFrame, wanted: dict[int, dict[str, Any]]) -> None:
    """Hold buckets to what was gathered a reading at a time."""
    assert buckets["start"].to_list() == [at * SECOND for at in sorted(wanted)]
    for row in buckets.iter_rows(named=True):
        bucket = wanted[row["start"] // SECOND]
        assert row["rows"] == len(bucket["rows"])
        assert row["first"] == min(bucket["rows"]) * SECOND
        assert row["last"] == max(bucket["rows"]) * SECOND
        for name in ("co", "o2"):
            used, aside = bucket[f"{name} used"], bucket[f"{name} aside"]
            assert row[f"{name}:low"] == min(used, default=None)
            assert row[f"{name}:high"] == max(used, default=None)
            assert row[f"{name}:aside_low"] == min(aside, default=None)
            assert row[f"{name}:aside_high"] == max(aside, default=None)
            assert row[f"{name}:usable"] == len(used)
            assert row[f"{name}:suspect"] == len(bucket[f"{name} doubted"])
            assert row[f"{name}:over"] == len(bucket[f"{name} over"])
            assert row[f"{name}:bad"] == len(bucket[f"{name} bad"])
            assert row[f"{name}:waiting"] == len(bucket[f"{name} waiting"])


@settings(deadline=None, max_examples=60)
@given(rows, st.sampled_from([1, 10, 60, 3600]))
def test_a_bucket_holds_the_least_and_the_greatest_reading(
    given_rows: list[Row], width: int
) -> None:
    """Every bucket says what a reading-by-reading look says."""
    buckets = gather(frame_of(given_rows), (CO, O2), width * SECOND)
    holds(buckets, expected(given_rows, width))


@settings(deadline=None, max_examples=60)
@given(rows, st.integers(0, 9000))
def test_wider_buckets_are_the_same_whichever_way(given_rows: list[Row], cut: int) -> None:
    """Cut anywhere, gathered narrowly and put together: the same as gathered at once."""
    frame = frame_of(given_rows)
    before = frame.filter(pl.col("time") < START + timedelta(seconds=cut))
    after = frame.slice(before.height)
    pieces = [gather(one, (CO, O2), 60 * SECOND) for one in (before, after)]
    holds(widen(together(pieces), 3600 * SECOND), expected(given_rows, 3600))


def test_a_channel_that_a_piece_lacks_is_missing_there() -> None:
    """Buckets of logs with different channels stand one behind the other."""
    frame = frame_of([(0, (1.0, GOOD, PLAIN), (20.9, GOOD, PLAIN))])
    later = frame.with_columns(pl.col("time") + timedelta(days=1))
    whole = together([gather(later, (CO,), 60 * SECOND), gather(frame, (CO, O2), 60 * SECOND)])
    assert whole["o2:high"].to_list() == [20.9, None]
    assert whole["o2:usable"].to_list() == [1, 0]
    assert together([]).height == 0


@given(st.floats(0.0, 4e9), st.integers(10, 5000))
def test_no_more_buckets_than_asked_for(span_s: float, points: int) -> None:
    """The width fits the points, and all widths fit into one another and into a day."""
    width = width_for(span_s, points)
    assert span_s / width <= points
    assert width % 86400 == 0 or 86400 % width == 0


@pytest.mark.parametrize("level", [60, 3600])
def test_widths_are_multiples_of_what_is_kept(level: int) -> None:
    """What is kept a minute and an hour serves all wider buckets."""
    assert all(width % level == 0 for width in WIDTHS_S if width >= level)
