"""Means over a window of time, for limits that are set on a mean."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl
from attrs import evolve

from lungwort.limits.model import ANY_READING
from lungwort.logs.plausible import possible_range
from lungwort.verdict.blocks import BLOCK_ROWS, Block, blocks
from lungwort.verdict.evidence import of_check
from lungwort.verdict.excursions import SECOND_US, Held
from lungwort.verdict.model import ABOVE, DOES_NOT_CONFORM, UNDECIDED
from lungwort.verdict.scan import column
from lungwort.verdict.tally import USABLE, Check
from lungwort.verdict.words import count

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from lungwort.verdict.blocks import Span
    from lungwort.verdict.evidence import Court, Evidence
    from lungwort.verdict.tally import ChannelTally

    Floats = NDArray[np.float64]
    Times = NDArray[np.int64]
    Bools = NDArray[np.bool_]

CEILING: Final = "ceiling"
_WINDOW = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*(h|min|s)\b")
_UNIT_S: Final = {"h": 3600.0, "min": 60.0, "s": 1.0}


def window_s(averaging: str) -> float | None:
    """Read the length of the window out of a limit's averaging.

    Parameters
    ----------
    averaging : str
        ``any reading``, ``ceiling``, ``8 h``, ``15 min``, ``10 min``.

    Returns
    -------
    float or None
        Length [s]; None where each single reading is held against the bound, which is also how an
        averaging that is not understood is taken, because that is the stricter way.

    Examples
    --------
    >>> window_s("8 h"), window_s("15 min"), window_s("ceiling")
    (28800.0, 900.0, None)
    """
    if averaging in {ANY_READING, CEILING, ""}:
        return None
    match = _WINDOW.match(averaging)
    if match is None or float(match.group(1)) == 0:
        return None
    return float(match.group(1)) * _UNIT_S[match.group(2)]


def rolling_means(
    times: Times, weights: Times, values: Floats, window_us: int, chunk: int = BLOCK_ROWS
) -> tuple[Floats, Floats]:
    """Take the time-weighted mean over a window that ends with each reading.

    Parameters
    ----------
    times : numpy.ndarray
        Begin of what each usable reading stands for [µs UTC], rising, shape (n,).
    weights : numpy.ndarray
        Time that each stands for [µs], shape (n,).
    values : numpy.ndarray
        Readings [unit], shape (n,).
    window_us : int
        Length of the window [µs].
    chunk : int
        Readings taken at a time, so that sums stay short and exact.

    Returns
    -------
    tuple of numpy.ndarray
        Mean over the covered part of each window [unit], NaN where nothing is covered, and the
        covered time [µs], each of shape (n,).
    """
    means = np.full(len(times), np.nan)
    covered = np.zeros(len(times))
    ends = times + weights
    for begin in range(0, len(times), chunk):
        end = min(begin + chunk, len(times))
        # The chunk and what the windows of its readings reach back to.
        back = int(np.searchsorted(ends, ends[begin] - window_us, side="right"))
        start, weight = times[back:end], weights[back:end]
        origin = values[begin]
        value = values[back:end] - origin
        seconds = weight / SECOND_US
        time_sum = np.concatenate(([0], np.cumsum(weight)))
        value_sum = np.concatenate(([0.0], np.cumsum(value * seconds)))
        opens = ends[begin:end] - window_us
        first = np.searchsorted(ends[back:end], opens, side="right")
        first = np.minimum(first, len(start) - 1)
        cut = np.clip(opens - start[first], 0, weight[first])
        rows = np.arange(begin - back, end - back) + 1
        time = time_sum[rows] - time_sum[first] - cut
        total = value_sum[rows] - value_sum[first] - value[first] * (cut / SECOND_US)
        covered[begin:end] = time
        some = time > 0
        part = np.full(end - begin, np.nan)
        part[some] = origin + total[some] / (time[some] / SECOND_US)
        means[begin:end] = part
    return means, covered


def hold_means(
    frames: Iterable[pl.DataFrame],
    span: Span,
    check: Check,
    *,
    length_s: float,
    min_coverage: float,
    block_rows: int = BLOCK_ROWS,
) -> int:
    """Hold the means over a window against the upper end of a limit.

    Parameters
    ----------
    frames : iterable of polars.DataFrame
        The log's frames in time order.
    span : Span
        Which readings are judged.
    check : Check
        What is held; filled in.
    length_s : float
        Length of the window [s].
    min_coverage : float
        Least share of a window that must be covered, 0 to 1.
    block_rows : int
        Readings in a block.

    Returns
    -------
    int
        How many windows are covered enough to be judged.

    Notes
    -----
    A window covered less is outside only where its covered part alone, with clean air for all the
    rest, makes a mean beyond the bound; it is undecided where the mean of the covered part is
    beyond the bound, and says nothing otherwise.
    """
    times, weights, values = _usable(frames, span, check, block_rows)
    window_us = round(length_s * SECOND_US)
    means, covered = rolling_means(times, weights, values, window_us)
    enough = (covered > 0) & (covered >= min_coverage * window_us)
    above_from = check.basis.window.above_from
    beyond = means > above_from
    surely = means * (covered / window_us) > above_from
    outside = (beyond & enough) | surely
    known = enough | surely
    undecided = beyond & ~known
    check.highest.consider_all(means, times + weights, known, None)
    check.above = check.outside = int(np.count_nonzero(outside))
    check.outside_us = int(weights[outside].sum())
    check.straddling = int(np.count_nonzero(undecided))
    if check.straddling:
        check.straddling_first = int(times[int(np.argmax(undecided))])
    apart = np.append(np.diff(times) > span.hold_us, False)
    series = Block(pl.DataFrame(), len(times), times, weights, apart, None, None)
    for tracker in check.trackers:
        if tracker.direction == ABOVE:
            tracker.feed(series, Held(np.nan_to_num(means), outside, known, None))
    return int(np.count_nonzero(enough))


def _usable(
    frames: Iterable[pl.DataFrame], span: Span, check: Check, block_rows: int
) -> tuple[Times, Times, Floats]:
    """Collect the usable readings; '< x' and '> x' enter with their number."""
    times: list[Times] = []
    weights: list[Times] = []
    values: list[Floats] = []
    for block in blocks(frames, span, block_rows):
        taken = column(block, check.channel, possible_range(check.channel))
        rows = (
            slice(0, block.own)
            if taken.states is None
            else np.flatnonzero(taken.states[: block.own] == USABLE)
        )
        times.append(block.time[: block.own][rows])
        weights.append(block.weight[rows])
        values.append(taken.values[: block.own][rows])
    return np.concatenate(times), np.concatenate(weights), np.concatenate(values)


def of_means(
    means: Check, readings: Check, tally: ChannelTally, court: Court, enough: int
) -> Evidence:
    """Say what a channel's means say of a limit on a mean.

    Parameters
    ----------
    means : Check
        The means held against the limit.
    readings : Check
        The single readings held against it.
    tally : ChannelTally
        What was counted of the channel.
    court : Court
        What evidence is weighed with.
    enough : int
        How many windows are covered enough to be judged.

    Returns
    -------
    Evidence
        The channel's word.
    """
    said = of_check(means, tally, court)
    if said.verdict == DOES_NOT_CONFORM:
        return said
    reason = ""
    if not enough:
        reason = (
            f"single readings are above the limit, and the readings do not fill one window of "
            f"{court.limit.averaging}; the time that was not measured is not taken as clean air."
        )
    elif readings.straddling:
        reason = (
            f"{count(readings.straddling, 'reading')} may lie on either side of the limit, so that "
            f"the mean over {court.limit.averaging} is not known."
        )
    if reason:
        worst = of_check(readings, tally, court)
        return evolve(said, verdict=UNDECIDED, reason=reason, worst=said.worst or worst.worst)
    return said
