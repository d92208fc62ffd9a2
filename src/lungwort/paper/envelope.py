"""The envelope of a channel: least and greatest reading a bucket of time, so no peak is lost."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import define, field

from lungwort.logs.model import (
    ABOVE,
    GOOD,
    NOT_EVALUATED,
    SUSPECT,
    TIME,
    UNREADABLE,
    censor_column,
    flag_column,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    import polars as pl

    from lungwort.logs.model import Channel, Log
    from lungwort.verdict.model import Verdict

    Floats = np.ndarray[tuple[int], np.dtype[np.float64]]
    Ints = np.ndarray[tuple[int], np.dtype[np.int64]]
    Bools = np.ndarray[tuple[int], np.dtype[np.bool_]]

MOST_BUCKETS: Final = 1000
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_NEVER: Final = np.iinfo(np.int64).max


def to_us(moment: datetime) -> int:
    """Give a moment as microseconds since 1970-01-01 UTC."""
    return (moment - _EPOCH) // timedelta(microseconds=1)


def from_us(moment_us: int) -> datetime:
    """Give the moment that lies so many microseconds after 1970-01-01 UTC."""
    return _EPOCH + timedelta(microseconds=moment_us)


@define
class Envelope:
    """Least and greatest reading of a channel in each bucket of time.

    Parameters
    ----------
    start_us, end_us : int
        Period, both ends included [microseconds since 1970-01-01 UTC].
    buckets : int
        How many buckets of equal width.
    low, high : numpy.ndarray
        Least and greatest usable reading, shape (buckets,) [unit of the channel]; infinite where
        there is none.
    first_us, last_us : numpy.ndarray
        Time of the first and last usable reading, shape (buckets,) [microseconds].
    usable : numpy.ndarray
        Usable readings, shape (buckets,).
    aside_low, aside_high : numpy.ndarray
        The same for readings that were not evaluated, such as while settling.
    suspect, over_range : numpy.ndarray
        Whether the bucket holds a reading flagged suspect, or one logged as '> number'.
    """

    start_us: int
    end_us: int
    buckets: int
    low: Floats = field(init=False)
    high: Floats = field(init=False)
    first_us: Ints = field(init=False)
    last_us: Ints = field(init=False)
    usable: Ints = field(init=False)
    aside_low: Floats = field(init=False)
    aside_high: Floats = field(init=False)
    suspect: Bools = field(init=False)
    over_range: Bools = field(init=False)

    def __attrs_post_init__(self) -> None:
        self.low = np.full(self.buckets, np.inf)
        self.high = np.full(self.buckets, -np.inf)
        self.first_us = np.full(self.buckets, _NEVER, dtype=np.int64)
        self.last_us = np.full(self.buckets, -_NEVER, dtype=np.int64)
        self.usable = np.zeros(self.buckets, dtype=np.int64)
        self.aside_low = np.full(self.buckets, np.inf)
        self.aside_high = np.full(self.buckets, -np.inf)
        self.suspect = np.zeros(self.buckets, dtype=np.bool_)
        self.over_range = np.zeros(self.buckets, dtype=np.bool_)

    @property
    def edges_us(self) -> Ints:
        """Left edges of the buckets [microseconds], shape (buckets,)."""
        span = self.end_us - self.start_us + 1
        return self.start_us + (np.arange(self.buckets, dtype=np.int64) * span) // self.buckets

    def add(self, time_us: Ints, values: Floats, flags: Ints, censor: Ints | None) -> None:
        """Take in a stretch of readings in time order.

        Parameters
        ----------
        time_us : numpy.ndarray
            Times, rising, shape (n,) [microseconds since 1970-01-01 UTC].
        values : numpy.ndarray
            Readings, shape (n,) [unit of the channel]; not a number where missing.
        flags : numpy.ndarray
            QARTOD flags, shape (n,).
        censor : numpy.ndarray, optional
            Censor codes, shape (n,).
        """
        begin, stop = np.searchsorted(time_us, (self.start_us, self.end_us + 1), side="left")
        if begin == stop:
            return
        time_us, values, flags = time_us[begin:stop], values[begin:stop], flags[begin:stop]
        readable = np.isfinite(values)
        if censor is not None:
            censor = censor[begin:stop]
            readable &= censor != UNREADABLE
        offsets = np.searchsorted(time_us, self.edges_us, side="left")
        counts = np.diff(np.append(offsets, len(time_us)))
        held = np.flatnonzero(counts)
        starts = offsets[held]
        suspect = flags == SUSPECT
        used = readable & ((flags == GOOD) | suspect)
        self._take_used(held, starts, time_us, values, used)
        aside = readable & (flags == NOT_EVALUATED)
        if aside.any():
            low, high = _extremes(values, aside, starts)
            self.aside_low[held] = np.minimum(self.aside_low[held], low)
            self.aside_high[held] = np.maximum(self.aside_high[held], high)
        if suspect.any():
            self.suspect[held] |= np.logical_or.reduceat(suspect & readable, starts)
        if censor is not None:
            self.over_range[held] |= np.logical_or.reduceat(used & (censor == ABOVE), starts)

    def _take_used(
        self, held: Ints, starts: Ints, time_us: Ints, values: Floats, used: Bools
    ) -> None:
        low, high = _extremes(values, used, starts)
        if used.all():
            first = time_us[starts]
            last = time_us[np.append(starts[1:], len(time_us)) - 1]
            count = np.diff(np.append(starts, len(time_us)))
        else:
            first = np.minimum.reduceat(np.where(used, time_us, _NEVER), starts)
            last = np.maximum.reduceat(np.where(used, time_us, -_NEVER), starts)
            count = np.add.reduceat(used.astype(np.int64), starts)
        self.low[held] = np.minimum(self.low[held], low)
        self.high[held] = np.maximum(self.high[held], high)
        self.first_us[held] = np.minimum(self.first_us[held], first)
        self.last_us[held] = np.maximum(self.last_us[held], last)
        self.usable[held] += count

    def runs(self, bridge_us: int) -> Iterator[Ints]:
        """Give the buckets with usable readings, parted where a gap is too long to bridge.

        Parameters
        ----------
        bridge_us : int
            Longest step between readings over which a line may be drawn [microseconds].

        Yields
        ------
        numpy.ndarray
            Indices of the buckets of one unbroken run.
        """
        held = np.flatnonzero(self.usable)
        if len(held) == 0:
            return
        steps = self.first_us[held[1:]] - self.last_us[held[:-1]]
        yield from np.split(held, np.flatnonzero(steps > bridge_us) + 1)


def _extremes(values: Floats, wanted: Bools, starts: Ints) -> tuple[Floats, Floats]:
    if wanted.all():
        return np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)
    low = np.minimum.reduceat(np.where(wanted, values, np.inf), starts)
    high = np.maximum.reduceat(np.where(wanted, values, -np.inf), starts)
    return low, high


def shown_period(verdict: Verdict) -> tuple[datetime, datetime] | None:
    """Choose the period that is drawn: what was judged, with the settling time before it.

    Parameters
    ----------
    verdict : Verdict
        The verdict.

    Returns
    -------
    tuple of (datetime, datetime) or None
        Start and end, UTC; None without a log or without a period.
    """
    log, start, end = verdict.log, verdict.start, verdict.end
    if log is None or start is None or end is None:
        return None
    if verdict.options.start is None and log.start is not None:
        start = min(start, log.start)
    if verdict.options.end is None and log.end is not None:
        end = max(end, log.end)
    return start, end


def bucket_count(start_us: int, end_us: int, interval_s: float | None, most: int) -> int:
    """Choose how many buckets serve: at most ``most``, none narrower than a sampling interval.

    Parameters
    ----------
    start_us, end_us : int
        Period [microseconds].
    interval_s : float, optional
        Sampling interval [s].
    most : int
        Upper bound, at least 1.

    Returns
    -------
    int
        Between 1 and ``most``.
    """
    if not interval_s:
        return most
    return max(1, min(most, round((end_us - start_us) / (interval_s * 1e6)) + 1))


def envelopes(
    log: Log,
    channels: tuple[Channel, ...],
    start: datetime,
    end: datetime,
    most: int = MOST_BUCKETS,
) -> dict[str, Envelope]:
    """Go through a log once and gather the envelope of each channel.

    Parameters
    ----------
    log : Log
        The log; its frames are taken one at a time.
    channels : tuple of Channel
        Channels wanted.
    start, end : datetime
        Period, UTC, both ends included.
    most : int
        Largest number of buckets, at least 1.

    Returns
    -------
    dict of str to Envelope
        The envelopes by column name.
    """
    start_us, end_us = to_us(start), to_us(end)
    buckets = bucket_count(start_us, end_us, log.interval_s, most)
    made = {channel.name: Envelope(start_us, end_us, buckets) for channel in channels}
    for frame in log.frames():
        time_us = frame[TIME].to_physical().to_numpy()
        for channel in channels:
            made[channel.name].add(time_us, *_columns(frame, channel))
    return made


def _columns(frame: pl.DataFrame, channel: Channel) -> tuple[Floats, Ints, Ints | None]:
    return (
        frame[channel.name].to_numpy(),
        frame[flag_column(channel.name)].to_numpy(),
        frame[censor_column(channel.name)].to_numpy() if channel.censored else None,
    )
