"""The kernel: a log gone through once, block by block, each channel held against its limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import polars as pl
from attrs import frozen

from lungwort.errors import LogError
from lungwort.logs import model as logs
from lungwort.verdict.blocks import BLOCK_ROWS, blocks
from lungwort.verdict.excursions import Held
from lungwort.verdict.model import ABOVE
from lungwort.verdict.tally import (
    BAD,
    ELSEWHERE,
    MISSING,
    SETTLING,
    UNREADABLE,
    USABLE,
    ChannelTally,
    Check,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from lungwort.logs.model import Channel
    from lungwort.verdict.blocks import Block, Span

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Codes = NDArray[np.int8]
    States = NDArray[np.uint8]


@frozen(eq=False)
class Column:
    """One channel's readings in a block.

    Parameters
    ----------
    values : numpy.ndarray
        Numbers [unit of the channel], NaN where there is none, shape as the block's times.
    states : numpy.ndarray, optional
        What each is good for, same shape; None where all are usable, plain and in the period.
    censor : numpy.ndarray, optional
        What each number stands for, same shape; None where all are plain.
    suspect : numpy.ndarray, optional
        Which are usable and carry the flag suspect, same shape; None for none.
    smallest, largest : float
        Ends of the numbers where ``states`` is None [unit of the channel].
    not_numbers, impossible : int
        Own readings of the period that are flagged usable and hold no number, or one that cannot
        be a measurement.
    """

    values: Floats
    states: States | None
    censor: Codes | None
    suspect: Bools | None
    smallest: float
    largest: float
    not_numbers: int = 0
    impossible: int = 0


@frozen
class Extent:
    """What a log turned out to hold.

    Parameters
    ----------
    rows : int
        Readings in time.
    first_us, last_us : int, optional
        First and last time [µs UTC]; None for a log without readings.
    before, after : int
        Readings before and after the period.
    settled_us : int, optional
        Where the time that the first settling stands for ends [µs UTC].
    """

    rows: int = 0
    first_us: int | None = None
    last_us: int | None = None
    before: int = 0
    after: int = 0
    settled_us: int | None = None


def column(block: Block, channel: Channel, possible: tuple[float, float]) -> Column:
    """Take one channel out of a block.

    Parameters
    ----------
    block : Block
        The block.
    channel : Channel
        The channel.
    possible : tuple of (float, float)
        Readings beyond cannot be measurements [unit of the channel].

    Returns
    -------
    Column
        Its readings with what each is good for.

    Raises
    ------
    LogError
        Where the frame lacks a column that the channel needs.
    """
    names = [channel.name, logs.flag_column(channel.name)]
    if channel.censored:
        names.append(logs.censor_column(channel.name))
    for name in names:
        if name not in block.frame.columns:
            raise LogError(
                f"channel {channel.name!r} has no column {name!r}. Read the log again.",
                column=name,
            )
    numbers = block.frame.get_column(names[0]).cast(pl.Float64)
    flags_column = block.frame.get_column(names[1])
    values = numbers.to_numpy()
    flags = flags_column.fill_null(logs.MISSING).to_numpy()
    censor = None
    if channel.censored:
        censor = block.frame.get_column(names[2]).fill_null(logs.PLAIN).to_numpy()
        if not censor.any():
            censor = None
    uniform = (
        numbers.null_count() == 0
        and censor is None
        and block.judged is None
        and bool(flags.min() == logs.GOOD == flags.max())
    )
    smallest, largest = (float(values.min()), float(values.max())) if uniform else (np.nan, np.nan)
    # A NaN among the numbers makes both comparisons false.
    if (
        smallest >= possible[0]
        and largest <= possible[1]
        and np.isfinite([smallest, largest]).all()
    ):
        return Column(values, None, None, None, smallest, largest)
    return _looked_into(values, numbers.is_null().to_numpy(), flags, censor, block, possible)


def _looked_into(
    values: Floats,
    nulls: Bools,
    flags: States,
    censor: Codes | None,
    block: Block,
    possible: tuple[float, float],
) -> Column:
    trusted = (flags == logs.GOOD) | (flags == logs.SUSPECT)
    finite = np.isfinite(values)
    plausible = finite & (values >= possible[0]) & (values <= possible[1])
    states = np.full(len(values), BAD, np.uint8)
    states[trusted & plausible] = USABLE
    states[flags == logs.NOT_EVALUATED] = SETTLING
    states[(flags == logs.MISSING) | (trusted & nulls)] = MISSING
    if censor is not None:
        states[trusted & (censor == logs.UNREADABLE)] = UNREADABLE
    if block.judged is not None:
        states[~block.judged] = ELSEWHERE
    suspect = (flags == logs.SUSPECT) & (states == USABLE)
    taken_as_bad = (trusted & (states == BAD))[: block.own]
    return Column(
        values=values,
        states=states,
        censor=censor,
        suspect=suspect if suspect.any() else None,
        smallest=np.nan,
        largest=np.nan,
        not_numbers=int(np.count_nonzero(taken_as_bad & ~finite[: block.own])),
        impossible=int(np.count_nonzero(taken_as_bad & finite[: block.own])),
    )


def scan(
    frames: Iterable[pl.DataFrame],
    span: Span,
    tallies: Sequence[ChannelTally],
    checks: Mapping[str, Sequence[Check]],
    block_rows: int = BLOCK_ROWS,
) -> Extent:
    """Go through a log once.

    Parameters
    ----------
    frames : iterable of polars.DataFrame
        The log's frames in time order.
    span : Span
        Which readings are judged.
    tallies : sequence of ChannelTally
        The channels; filled in.
    checks : mapping of str to sequence of Check
        For each channel's name what it is held against; filled in.
    block_rows : int
        Readings in a block.

    Returns
    -------
    Extent
        How far the log goes.

    Raises
    ------
    LogError
        Where the log lacks a column or time runs backwards.
    """
    rows = before = after = 0
    first_us: int | None = None
    last_us: int | None = None
    settled_us: int | None = None
    for block in blocks(frames, span, block_rows):
        rows += block.own
        own_times = block.time[: block.own]
        first_us = int(own_times[0]) if first_us is None else first_us
        last_us = int(own_times[-1])
        if block.judged is not None:
            before += int(np.count_nonzero(own_times < span.first_us))
            after += int(np.count_nonzero(own_times >= span.last_us))
        settled = int(np.searchsorted(own_times, span.settled_after_us, side="right"))
        if settled:
            settled_us = int(block.ends[settled - 1])
        for tally in tallies:
            taken = column(block, tally.channel, tally.possible)
            _count(block, taken, tally)
            for check in checks.get(tally.channel.name, ()):
                _hold(block, taken, check, span)
    return Extent(rows, first_us, last_us, before, after, settled_us)


def _count(block: Block, taken: Column, tally: ChannelTally) -> None:
    own = block.own
    if taken.states is None:
        counted = block.counted
        tally.readings += own if counted is None else int(np.count_nonzero(counted))
        tally.usable += own if counted is None else int(np.count_nonzero(counted))
        weight = block.weight if counted is None else block.weight[counted]
        tally.note_range(taken.smallest, taken.largest)
        tally.usable_us += int(block.weight.sum())
        tally.covered_us += int(weight.sum())
        return
    tally.not_numbers += taken.not_numbers
    tally.impossible += taken.impossible
    states = taken.states[:own]
    usable = states == USABLE
    suspect = None if taken.suspect is None else taken.suspect[:own]
    tally.usable_us += int(block.weight[usable].sum())
    if usable.any():
        values = taken.values[:own][usable]
        tally.note_range(float(values.min()), float(values.max()))
    if block.counted is not None:
        usable &= block.counted
        states = states[block.counted]
    numbers = np.bincount(states, minlength=ELSEWHERE + 1).tolist()
    tally.readings += len(states) - numbers[ELSEWHERE]
    tally.usable += numbers[USABLE]
    tally.settling += numbers[SETTLING]
    tally.missing += numbers[MISSING]
    tally.bad += numbers[BAD]
    tally.unreadable += numbers[UNREADABLE]
    tally.covered_us += int(block.weight[usable].sum())
    if suspect is not None:
        suspect = suspect & usable
        tally.suspect += int(np.count_nonzero(suspect))
        still = tally.stands_still(block.time[:own]) & suspect
        tally.covered_still_us += int(block.weight[still].sum())
        tally.covered_suspect_us += int(block.weight[suspect & ~still].sum())


def _hold(block: Block, taken: Column, check: Check, span: Span) -> None:
    window = check.basis.window
    own = block.own
    if taken.states is None:
        _furthest_plain(block, taken, check)
        if window.all_inside(taken.smallest, taken.largest):
            nothing = np.zeros(len(taken.values), np.bool_)
            for tracker in check.trackers:
                tracker.feed(block, Held(taken.values, nothing, None, None))
            return
        above, below, straddling = window.hold(taken.values, None)
        usable = None
        known = ~straddling
    else:
        raw_above, raw_below, straddling = window.hold(taken.values, taken.censor)
        usable = taken.states == USABLE
        _tell(block, taken.values, taken.states, check, span, raw_above | raw_below)
        for extreme, follow in zip((check.lowest, check.highest), check.follows, strict=True):
            if follow:
                extreme.consider_all(
                    taken.values[:own],
                    block.time[:own],
                    usable[:own],
                    None if taken.censor is None else taken.censor[:own],
                )
        above = raw_above & usable
        below = raw_below & usable
        known = usable & ~straddling
        # Nothing can be said of an unreadable one, so it straddles every bound there is.
        straddling &= usable | (taken.states == UNREADABLE)
    _add_up(block, taken, check, above[:own], below[:own], straddling[:own])
    for tracker in check.trackers:
        side = above if tracker.direction == ABOVE else below
        tracker.feed(block, Held(taken.values, side, known, taken.suspect))


def _furthest_plain(block: Block, taken: Column, check: Check) -> None:
    """Keep the furthest readings of a block in which all are usable and plain."""
    own = block.own
    follows_lower, follows_upper = check.follows
    high, low = check.highest, check.lowest
    if follows_upper and (high.value is None or taken.largest > high.value):
        at = int(taken.values[:own].argmax())
        high.consider(float(taken.values[at]), int(block.time[at]), logs.PLAIN)
    if follows_lower and (low.value is None or taken.smallest < low.value):
        at = int(taken.values[:own].argmin())
        low.consider(float(taken.values[at]), int(block.time[at]), logs.PLAIN)


def _add_up(
    block: Block, taken: Column, check: Check, above: Bools, below: Bools, straddling: Bools
) -> None:
    outside = above | below
    check.above += int(np.count_nonzero(above))
    check.below += int(np.count_nonzero(below))
    check.outside = check.above + check.below
    check.outside_us += int(block.weight[outside].sum())
    if taken.suspect is not None:
        check.outside_suspect += int(np.count_nonzero(outside & taken.suspect[: block.own]))
    undecided = int(np.count_nonzero(straddling))
    if undecided and check.straddling_first is None:
        check.straddling_first = int(block.time[int(np.argmax(straddling))])
    check.straddling += undecided


def _tell(
    block: Block, values: Floats, states: States, check: Check, span: Span, outside: Bools
) -> None:
    left_out = (states == SETTLING) | (states == BAD) | (states == ELSEWHERE)
    rows = np.flatnonzero((outside & left_out & np.isfinite(values))[: block.own])
    if rows.size:
        check.told.add(block.time[rows], values[rows], states[rows], span.first_us)
