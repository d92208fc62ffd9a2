"""What travels from a logger's file to the verdict: the log, its channels and its sources."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import polars as pl
from attrs import evolve, field, frozen

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

# Quality flags of one reading: names and codes of QARTOD (IOOS, 2020).
GOOD: Final = 1
NOT_EVALUATED: Final = 2
SUSPECT: Final = 3
BAD: Final = 4
MISSING: Final = 9
FLAG_NAMES: Final = {
    GOOD: "good",
    NOT_EVALUATED: "not evaluated",
    SUSPECT: "suspect",
    BAD: "bad",
    MISSING: "missing",
}

# What a reading's number stands for.
PLAIN: Final = 0
BELOW: Final = -1
"""The reading was logged as '< number'."""
ABOVE: Final = 1
"""The reading was logged as '> number' or as over range."""
UNREADABLE: Final = 2
"""The reading may be a code or a value: nothing can be said of it, so it decides nothing."""

TIME: Final = "time"


def flag_column(channel: str) -> str:
    """Name the flag column of a channel."""
    return f"{channel}_flag"


def censor_column(channel: str) -> str:
    """Name the column that tells plain readings from '<', '>' and unreadable ones."""
    return f"{channel}_censor"


@frozen
class Channel:
    """One measured quantity of a log.

    Parameters
    ----------
    name : str
        Column name in the log's frames.
    analyte : str
        Key of the analyte.
    quantity : str
        Quantity name of `lungwort.air.analytes`.
    unit : str
        Unit of the column: the canonical unit of the quantity as it was logged.
    heading : str
        Heading in the file.
    logged_unit : str
        Unit in the file, before it was brought to ``unit``.
    censored : bool
        Whether the frames hold a censor column for it: where any reading is '<', '>' or not
        readable.
    basis : str
        What was taken for granted about the quantity, in words; empty where nothing was.
    """

    name: str
    analyte: str
    quantity: str
    unit: str
    heading: str = ""
    logged_unit: str = ""
    censored: bool = False
    basis: str = ""


@frozen
class Refusal:
    """Rows of a source that were not used, by cause.

    Parameters
    ----------
    cause : str
        Why, in words.
    rows : int
        How many.
    first_lines : tuple of int
        The first line numbers, counted from 1.
    sample : str
        The first such row's text, shortened.
    """

    cause: str
    rows: int
    first_lines: tuple[int, ...] = ()
    sample: str = ""


@frozen
class Source:
    """One file that a log came from.

    Parameters
    ----------
    name : str
        File name without folders.
    sha256 : str
        Digest of the file's bytes.
    size_bytes : int
        Size of the file [bytes].
    rows_read : int
        Rows found under the headings, blank ones included.
    rows_used : int
        Rows that gave at least one number with a time that can be trusted.
    refusals : tuple of Refusal
        All other rows, each under one cause, so that ``rows_read == rows_used + rows_refused``.
        A row without a number still stands in the log as a time at which nothing was read; rows
        without a time that can be trusted stand in ``Log.unplaced``.
    recipe : str
        Name of the recipe, or 'worked out from the file'.
    """

    name: str
    sha256: str
    size_bytes: int
    rows_read: int
    rows_used: int
    refusals: tuple[Refusal, ...] = ()
    recipe: str = "worked out from the file"

    @property
    def rows_refused(self) -> int:
        """How many rows were not used."""
        return sum(refusal.rows for refusal in self.refusals)


@frozen
class Stretch:
    """A stretch of time with a quality of its own.

    Parameters
    ----------
    start, end : datetime
        First and last reading concerned, UTC.
    cause : str
        ``settling``, ``gap``, ``frozen`` (the logger), ``stuck`` and ``still`` (one channel, the
        latter where quiet air makes it stand still), ``range``, ``level``, ``spike``, ``rate``,
        ``missing``, ``code``, ``code?`` (a code or a reading).
    channel : str
        Channel concerned; empty for all.
    flag : int
        Flag given, 0 where the stretch only informs.
    readings : int
        How many readings it covers.
    text : str
        What was seen, in words.
    """

    start: datetime
    end: datetime
    cause: str
    channel: str = ""
    flag: int = 0
    readings: int = 0
    text: str = ""


@frozen
class Log:
    """A stretch of readings from one outlet, clean and flagged. Immutable.

    The readings lie in one or more frames, ordered in time and not overlapping; a log larger than
    memory keeps them on disk and yields them one by one. Each frame has the columns ``time``
    (UTC, microseconds), then for each channel its value (Float64, null where missing), its flag
    (UInt8, QARTOD codes) and, where ``Channel.censored``, its censor code (Int8).

    Parameters
    ----------
    parts : tuple of polars.DataFrame or polars.LazyFrame
        The frames in time order.
    channels : tuple of Channel
        The channels.
    sources : tuple of Source
        The files.
    rows : int
        Readings in time, over all parts.
    start, end : datetime, optional
        First and last time, UTC; None for a log without rows.
    interval_s : float, optional
        Sampling interval: median of the steps [s]; None with fewer than two readings.
    zone : str
        Time zone of the site, for showing.
    zone_stated : bool
        Whether the zone or an offset was stated by the file or the user.
    settle_s : float
        Settling time that was applied [s].
    stretches : tuple of Stretch
        Stretches with a quality of their own.
    notes : tuple of str
        What the reader must be told, in words.
    columns_not_used : tuple of str
        Headings that were left alone.
    outlet : str
        Name of the outlet, where known.
    doubts : tuple of str
        Reasons for which this log alone cannot prove that the air conforms, such as a clock that
        was reset while it ran; readings outside limits count all the same.
    channel_doubts : tuple of (str, str)
        The same for one channel: column name and reason.
    unplaced : polars.DataFrame, optional
        Readings whose time is not known (columns as in ``parts``; ``time`` as the logger had it).
        They are no part of the period; outside a limit they count all the same.
    spool : object
        Keeps the folder of a log that lies on disk for as long as the log is in use.
    """

    parts: tuple[pl.DataFrame | pl.LazyFrame, ...] = field(repr=False)
    channels: tuple[Channel, ...]
    sources: tuple[Source, ...] = ()
    rows: int = 0
    start: datetime | None = None
    end: datetime | None = None
    interval_s: float | None = None
    zone: str = "UTC"
    zone_stated: bool = False
    settle_s: float = 0.0
    stretches: tuple[Stretch, ...] = ()
    notes: tuple[str, ...] = ()
    columns_not_used: tuple[str, ...] = ()
    outlet: str = ""
    doubts: tuple[str, ...] = ()
    channel_doubts: tuple[tuple[str, str], ...] = ()
    unplaced: pl.DataFrame | None = field(default=None, repr=False)
    spool: object = field(default=None, repr=False, eq=False)

    def frames(self) -> Iterator[pl.DataFrame]:
        """Yield the frames in time order, one in memory at a time where they lie on disk."""
        for part in self.parts:
            yield part.collect() if isinstance(part, pl.LazyFrame) else part

    @property
    def frame(self) -> pl.DataFrame:
        """All readings in one frame; loads a log that lies on disk into memory."""
        frames = list(self.frames())
        return frames[0] if len(frames) == 1 else pl.concat(frames)

    @property
    def all_doubts(self) -> tuple[str, ...]:
        """The doubts about the log and about its channels, in words."""
        return (*self.doubts, *(f"channel {name}: {why}" for name, why in self.channel_doubts))

    def channel(self, name: str) -> Channel:
        """Find a channel by its column name.

        Raises
        ------
        KeyError
            Where there is no such channel.
        """
        for channel in self.channels:
            if channel.name == name:
                return channel
        raise KeyError(name)

    def channels_of(self, analyte: str) -> tuple[Channel, ...]:
        """Find the channels that measure an analyte."""
        return tuple(channel for channel in self.channels if channel.analyte == analyte)

    def with_outlet(self, outlet: str) -> Log:
        """Give the same log with an outlet's name."""
        return evolve(self, outlet=outlet)
