"""Frames on their way into one log: the same columns in all, counted, in memory or in a folder."""

from __future__ import annotations

import shutil
import tempfile
import weakref
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl
from attrs import define, field

from lungwort.logs.arrange import FILE, ROWS, USED, Counts, join_same_time, without_number
from lungwort.logs.blocks import LINE
from lungwort.logs.cells import CODES
from lungwort.logs.model import (
    MISSING,
    PLAIN,
    SUSPECT,
    TIME,
    UNREADABLE,
    censor_column,
    flag_column,
)

if TYPE_CHECKING:
    from lungwort.logs.arrange import Arranged
    from lungwort.logs.model import Channel


def uniform(frame: pl.DataFrame, channels: tuple[Channel, ...], censored: set[str]) -> pl.DataFrame:
    """Give every frame the same columns, empty where a file has no such channel.

    Parameters
    ----------
    frame : polars.DataFrame
        Readings of one file.
    channels : tuple of Channel
        All channels of the log.
    censored : set of str
        Channels with a censor column so far; added to.

    Returns
    -------
    polars.DataFrame
        The readings, with a value and a flag for each channel.
    """
    height = frame.height
    columns = []
    for channel in channels:
        name = channel.name
        if name in frame.columns:
            columns.extend([frame[name], frame[flag_column(name)]])
        else:
            columns.append(pl.Series(name, [None], dtype=pl.Float64).new_from_index(0, height))
            columns.append(
                pl.Series(flag_column(name), [MISSING], dtype=pl.UInt8).new_from_index(0, height)
            )
        censor = censor_column(name)
        if censor in frame.columns:
            censored.add(name)
            columns.append(frame[censor])
        elif name in censored:
            columns.append(pl.Series(censor, [PLAIN], dtype=pl.Int8).new_from_index(0, height))
    extra = [frame[name] for name in (LINE, ROWS, USED) if name in frame.columns]
    return pl.DataFrame([*extra, frame[TIME], *columns])


def with_censors(frame: pl.DataFrame, censored: set[str]) -> pl.DataFrame:
    """Give a frame the censor columns that other frames turned out to need.

    Parameters
    ----------
    frame : polars.DataFrame
        Readings.
    censored : set of str
        Channels with a censor column.
    """
    missing = [name for name in sorted(censored) if censor_column(name) not in frame.columns]
    return frame.with_columns(
        pl.lit(PLAIN, dtype=pl.Int8).alias(censor_column(name)) for name in missing
    )


def codes_unread(frame: pl.DataFrame, channels: tuple[Channel, ...]) -> pl.DataFrame:
    """Mark numbers that may be codes as unreadable where no neighbours tell.

    Parameters
    ----------
    frame : polars.DataFrame
        Readings without a time that can be trusted.
    channels : tuple of Channel
        The channels.

    Returns
    -------
    polars.DataFrame
        The readings; a code such as 9999 decides nothing.
    """
    for channel in channels:
        name, flag, censor = channel.name, flag_column(channel.name), censor_column(channel.name)
        code = pl.col(name).is_in(CODES).fill_null(value=False)
        plain = pl.lit(PLAIN, dtype=pl.Int8)
        if censor in frame.columns:
            plain = pl.col(censor)
            code &= pl.col(censor) == PLAIN
        if frame.select(code.any()).item():
            frame = frame.with_columns(
                pl.when(code).then(UNREADABLE).otherwise(plain).cast(pl.Int8).alias(censor),
                pl.when(code).then(SUSPECT).otherwise(pl.col(flag)).cast(pl.UInt8).alias(flag),
            )
    return frame


@define
class Counted:
    """What was counted while the rows were put in order.

    Parameters
    ----------
    notes, doubts : list of str
        What was seen, and what keeps the log from proving anything by itself.
    duplicates, reset, empty : dict
        File index to exact duplicates, rows with a wrong clock and rows without a number.
    unplaced : list of polars.DataFrame
        Readings whose time cannot be trusted.
    rows : int
        Readings in time.
    differing, first_differing : int
        Readings with the time of the one before but other values, and the line of the first.
    """

    notes: list[str] = field(factory=list)
    doubts: list[str] = field(factory=list)
    duplicates: Counts = field(factory=dict)
    reset: Counts = field(factory=dict)
    empty: Counts = field(factory=dict)
    unplaced: list[pl.DataFrame] = field(factory=list)
    rows: int = 0
    differing: int = 0
    first_differing: int = 0

    def take(self, arranged: Arranged, channels: tuple[Channel, ...]) -> pl.DataFrame:
        """Count what was arranged.

        Parameters
        ----------
        arranged : Arranged
            Rows in the order of time.
        channels : tuple of Channel
            The channels.

        Returns
        -------
        polars.DataFrame
            The rows ready to be graded.
        """
        names = [channel.name for channel in channels]
        self.notes.extend(note for note in arranged.notes if note not in self.notes)
        self.doubts.extend(arranged.doubts)
        for mine, new in (
            (self.duplicates, arranged.duplicates),
            (self.reset, arranged.reset),
            (self.empty, without_number(arranged.frame, names)),
        ):
            for file, (count, lines) in new.items():
                old, first = mine.get(file, (0, ()))
                mine[file] = (old + count, (*first, *lines)[:3])
        if arranged.unplaced.height:
            self.unplaced.append(arranged.unplaced)
        frame, joined = join_same_time(arranged.frame, names)
        if arranged.differing:
            self.first_differing = self.first_differing or arranged.first_differing
            self.differing += max(arranged.differing - joined, 0)
        self.rows += frame.height
        spare = [name for name in (LINE, FILE, ROWS, USED) if name in frame.columns]
        return frame.drop(spare).with_columns(pl.col(TIME).dt.replace_time_zone("UTC"))


class Spool:
    """A folder for the parts of a log, removed when the log is no longer in use.

    Attributes
    ----------
    folder : pathlib.Path
        The folder.
    remove : callable
        Removes it at once.
    """

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="lungwort-"))
        self.remove = weakref.finalize(self, shutil.rmtree, self.folder, ignore_errors=True)


def part_on_disk(path: Path, channels: tuple[Channel, ...], added: set[str]) -> pl.LazyFrame:
    """Give a part on disk, with the censor columns that any part has.

    Parameters
    ----------
    path : pathlib.Path
        The part.
    channels : tuple of Channel
        The channels.
    added : set of str
        Censor columns that any part has.
    """
    scanned = pl.scan_parquet(path)
    own = set(pl.read_parquet_schema(path))
    if added <= own:
        return scanned
    columns: list[pl.Expr] = [pl.col(TIME)]
    for channel in channels:
        columns.extend([pl.col(channel.name), pl.col(flag_column(channel.name))])
        censor = censor_column(channel.name)
        if censor in own:
            columns.append(pl.col(censor))
        elif censor in added:
            columns.append(pl.lit(PLAIN, dtype=pl.Int8).alias(censor))
    return scanned.select(columns)
