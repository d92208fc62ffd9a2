"""A log taken in blocks of fixed length, whatever parts it is stored in.

Blocks are cut by the count of readings from the log's start. The same readings therefore give
the same sums to the last bit, however the log is split into parts, and only one block is in
memory beside the part that it was cut from.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl
from attrs import frozen

from lungwort.errors import LogError
from lungwort.logs.model import TIME

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    Times = NDArray[np.int64]
    Bools = NDArray[np.bool_]

BLOCK_ROWS: Final = 131_072
HOLD_INTERVALS: Final = 1.5
"""A reading stands for the time until the next one, at most this many sampling intervals."""

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_FAR: Final = np.iinfo(np.int64).max


def microseconds(time: datetime) -> int:
    """Turn a time into microseconds since 1970, UTC.

    Parameters
    ----------
    time : datetime
        With a time zone.
    """
    return (time - _EPOCH) // timedelta(microseconds=1)


def moment(microseconds_utc: int) -> datetime:
    """Turn microseconds since 1970 into a time in UTC.

    Parameters
    ----------
    microseconds_utc : int
        Time [µs].
    """
    return _EPOCH + timedelta(microseconds=int(microseconds_utc))


@frozen
class Span:
    """Which readings are judged and how long each stands.

    Parameters
    ----------
    first_us, last_us : int
        Readings with ``first_us <= time < last_us`` are judged [µs UTC].
    settled_after_us : int
        Readings up to here belong to the first settling, which is not counted as uncovered
        [µs UTC].
    interval_us : int
        Sampling interval [µs]; 0 where it is not known: then no reading stands for any time.
    """

    first_us: int = -_FAR
    last_us: int = _FAR
    settled_after_us: int = -_FAR
    interval_us: int = 0

    @property
    def hold_us(self) -> int:
        """Longest time that one reading stands for [µs]."""
        return round(HOLD_INTERVALS * self.interval_us)


@frozen(eq=False)
class Block:
    """Readings that stand one after the other, and the one that follows them.

    Parameters
    ----------
    frame : polars.DataFrame
        The readings, with one more row at the end where the log goes on.
    own : int
        Readings that belong to the block itself.
    time : numpy.ndarray
        Times [µs UTC], shape (own,) or (own + 1,).
    weight : numpy.ndarray
        Time that each own reading stands for, inside the period [µs], shape (own,).
    apart : numpy.ndarray
        Whether the next reading comes later than a reading can stand for, shape (own,).
    judged : numpy.ndarray, optional
        Which rows lie in the period, same shape as time; None for all.
    counted : numpy.ndarray, optional
        Which own readings count for coverage, shape (own,); None for all.
    """

    frame: pl.DataFrame
    own: int
    time: Times
    weight: Times
    apart: Bools
    judged: Bools | None
    counted: Bools | None

    @property
    def ends(self) -> Times:
        """End of the time that each own reading stands for [µs UTC], shape (own,)."""
        return self.time[: self.own] + self.weight


def blocks(frames: Iterable[pl.DataFrame], span: Span, size: int = BLOCK_ROWS) -> Iterator[Block]:
    """Cut a log's frames into blocks.

    Parameters
    ----------
    frames : iterable of polars.DataFrame
        The log's frames in time order.
    span : Span
        Which readings are judged.
    size : int
        Readings in a block.

    Yields
    ------
    Block
        Blocks of ``size`` readings, the last one shorter.

    Raises
    ------
    LogError
        Where a reading has no time or time runs backwards.
    """
    waiting: list[pl.DataFrame] = []
    height = 0
    for frame in frames:
        if frame.height == 0:
            continue
        waiting.append(frame)
        height += frame.height
        if height <= size:
            continue
        held = waiting[0] if len(waiting) == 1 else pl.concat(waiting)
        at = 0
        while height - at > size:
            yield _block(held.slice(at, size + 1), size, span)
            at += size
        waiting = [held.slice(at)]
        height -= at
    if waiting:
        yield _block(pl.concat(waiting) if len(waiting) > 1 else waiting[0], height, span)


def _block(frame: pl.DataFrame, own: int, span: Span) -> Block:
    column = frame.get_column(TIME)
    if column.null_count():
        raise LogError("a reading has no time. Read the log again and leave that row out.")
    time = column.dt.epoch("us").to_numpy()
    steps = np.diff(time)
    if steps.size and steps.min() < 0:
        at = moment(int(time[int(np.argmax(steps < 0))]))
        raise LogError(
            f"time runs backwards after {at:%Y-%m-%d %H:%M:%S} UTC. "
            "A log must be in time order before it is judged."
        )
    hold = span.hold_us
    if len(steps) < own:
        # Nothing follows the last reading of the log: it stands for one interval.
        steps = np.append(steps, span.interval_us)
    apart = steps > hold
    weight = np.minimum(steps, hold)
    judged: Bools | None = None
    if time[0] < span.first_us or time[-1] >= span.last_us:
        judged = (time >= span.first_us) & (time < span.last_us)
        weight = np.where(judged[:own], weight, 0)
    if time[-1] + hold > span.last_us:
        weight = np.minimum(weight, np.maximum(span.last_us - time[:own], 0))
    counted: Bools | None = None
    if time[0] <= span.settled_after_us:
        counted = time[:own] > span.settled_after_us
    return Block(frame, own, time, weight, apart, judged, counted)
