"""Putting readings in the order of time, and finding clocks that were not to be trusted."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl
from attrs import evolve, field, frozen

from lungwort.logs.blocks import LINE
from lungwort.logs.model import MISSING, TIME, censor_column, flag_column

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

FILE: Final = "file"
_SAME_TIME_AT_MOST: Final = 0.9
_DAY_US: Final = 86_400_000_000
_LONG_JUMP_US: Final = 300 * _DAY_US

ROWS: Final = "file_rows"
"""Column: rows of the file that a row of a frame holds; absent where it is one."""
USED: Final = "file_rows_used"
"""Column: how many of them gave a number; absent where the numbers tell."""

# Where a clock starts that was never set: common practice, no source.
_NEVER_SET: Final = (
    (1970, 1, 1),
    (1980, 1, 1),
    (1980, 1, 6),
    (1990, 1, 1),
    (2000, 1, 1),
    (2001, 1, 1),
)


Counts = dict[int, tuple[int, tuple[int, ...]]]


@frozen
class Arranged:
    """Readings in the order of time.

    Parameters
    ----------
    frame : polars.DataFrame
        The readings, time rising.
    unplaced : polars.DataFrame
        Readings whose time cannot be trusted.
    notes, doubts : tuple of str
        What was seen, and what keeps the log from proving anything by itself.
    duplicates, reset : dict
        File index to rows dropped as exact duplicates, and to rows set apart because of the clock,
        with first lines.
    differing : int
        Readings with the time of the one before but other values.
    first_differing : int
        Line of the first of them.
    """

    frame: pl.DataFrame
    unplaced: pl.DataFrame
    notes: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    duplicates: Counts = field(factory=dict)
    reset: Counts = field(factory=dict)
    differing: int = 0
    first_differing: int = 0


def arrange(frame: pl.DataFrame, names: list[str]) -> Arranged:
    """Order readings in time.

    Parameters
    ----------
    frame : polars.DataFrame
        Readings in the order of the files, with ``file`` (index) and ``line``.
    names : list of str
        File names, for words.

    Returns
    -------
    Arranged
        Ordered readings; rows after a clock reset are set apart, exact duplicates dropped.
    """
    notes: list[str] = []
    doubts: list[str] = []
    unplaced = frame.head(0)
    reset: Counts = {}
    micro = frame[TIME].cast(pl.Int64).to_numpy()
    steps = np.diff(micro)
    backwards = bool((steps < 0).any())
    if backwards:
        frame, micro = _turn_round(frame, micro, names, notes)
        steps = np.diff(micro)
    if backwards or (steps > _LONG_JUMP_US).any():
        bad, doubts = _untrusted(frame, micro, names)
        if bad.any():
            unplaced = frame.filter(pl.Series(bad))
            frame = frame.filter(pl.Series(~bad))
            micro = micro[~bad]
            reset = rows_by_file(unplaced)
        frame = _sort(frame, micro, names, notes)
    return _without_duplicates(
        frame, Arranged(frame, unplaced, tuple(notes), tuple(doubts), {}, reset)
    )


def rows_by_file(rows: pl.DataFrame) -> Counts:
    """Count the rows of the files that are in a frame.

    Parameters
    ----------
    rows : polars.DataFrame
        Rows with ``file``, ``line`` and perhaps ``file_rows``.

    Returns
    -------
    dict
        File index to the number of its rows and the first line numbers.
    """
    number = pl.col(ROWS).sum() if ROWS in rows.columns else pl.len()
    grouped = rows.group_by(FILE, maintain_order=True).agg(
        number.cast(pl.Int64).alias("k"), pl.col(LINE).head(3)
    )
    return {file: (count, tuple(lines)) for file, count, lines in grouped.iter_rows()}


def without_number(frame: pl.DataFrame, channels: Iterable[str]) -> Counts:
    """Count the rows of the files that gave no number at all.

    Parameters
    ----------
    frame : polars.DataFrame
        Rows with ``file``, ``line`` and the channels' columns.
    channels : iterable of str
        Names of the channels.

    Returns
    -------
    dict
        File index to the number of such rows and the first line numbers.
    """
    names = list(channels)
    if ROWS not in frame.columns:
        if any(not frame[name].has_nulls() for name in names):
            return {}
        return rows_by_file(frame.filter(pl.all_horizontal(pl.col(names).is_null())))
    rows = frame.with_columns((pl.col(ROWS) - pl.col(USED)).alias(ROWS)).filter(pl.col(ROWS) > 0)
    return rows_by_file(rows)


def join_same_time(frame: pl.DataFrame, channels: Iterable[str]) -> tuple[pl.DataFrame, int]:
    """Put together rows of the same time that hold different channels.

    Parameters
    ----------
    frame : polars.DataFrame
        Rows in the order of time.
    channels : iterable of str
        Names of the channels.

    Returns
    -------
    tuple of (polars.DataFrame, int)
        The rows, and how many were joined to another one.
    """
    names = list(channels)
    if len(names) < 2 or frame.height < 2:  # noqa: PLR2004 - nothing to join
        return frame, 0
    same = np.diff(frame[TIME].cast(pl.Int64).to_numpy()) == 0
    if not same.any() or not all(frame[flag_column(name)].max() == MISSING for name in names):
        return frame, 0
    filled = {name: pl.col(flag_column(name)) != MISSING for name in names}
    groups = (
        frame.filter(pl.Series(np.concatenate((same, [False])) | np.concatenate(([False], same))))
        .group_by(TIME)
        .agg(pl.max_horizontal(has.sum() for has in filled.values()).alias("most"))
        .filter(pl.col("most") <= 1)
        .select(TIME)
    )
    if not groups.height:
        return frame, 0
    apart = frame.join(groups, on=TIME, how="semi", maintain_order="left")
    rest = frame.join(groups, on=TIME, how="anti", maintain_order="left")
    columns = [pl.col(LINE).first(), pl.col(FILE).first()]
    for name in names:
        columns.append(pl.col(name).filter(filled[name]).first())
        columns.append(pl.col(flag_column(name)).min())
        if censor_column(name) in frame.columns:
            censor = pl.col(censor_column(name)).filter(filled[name]).first()
            columns.append(censor.fill_null(0))
    joined = apart.group_by(TIME, maintain_order=True).agg(columns)
    kept = [name for name in frame.columns if name in joined.columns]
    together = pl.concat([rest.select(kept), joined.select(kept)]).sort(TIME, maintain_order=True)
    return together, frame.height - together.height


def _turn_round(
    frame: pl.DataFrame, micro: NDArray[np.int64], names: list[str], notes: list[str]
) -> tuple[pl.DataFrame, NDArray[np.int64]]:
    """Turn files round that were written newest first."""
    files = frame[FILE].to_numpy()
    turned = []
    order = np.arange(len(micro))
    for index in np.unique(files):
        places = np.flatnonzero(files == index)
        steps = np.diff(micro[places])
        steps = steps[steps != 0]
        if len(steps) and np.count_nonzero(steps < 0) > 0.9 * len(steps):
            order[places] = places[::-1]
            turned.append(names[int(index)])
    if not turned:
        return frame, micro
    notes.append(f"{', '.join(turned)}: written newest first; turned round.")
    return frame[order.tolist()], micro[order]


def _untrusted(
    frame: pl.DataFrame, micro: NDArray[np.int64], names: list[str]
) -> tuple[NDArray[np.bool_], list[str]]:
    """Find readings written while the clock was wrong by more than a day."""
    bad = np.zeros(len(micro), dtype=bool)
    said: list[str] = []
    files = frame[FILE].to_numpy()
    lines = frame[LINE].to_numpy()
    for index in np.unique(files).tolist():
        places = np.flatnonzero(files == index)
        for first, last, text in _wrong_stretches(micro[places]):
            bad[places[first:last]] = True
            at = places[first]
            when = f"{_wall(int(micro[at])):%Y-%m-%d %H:%M:%S}"
            said.append(
                f"{text.format(line=lines[at], name=names[index], when=when)}, and {last - first} readings from "
                "there have no time that can be trusted"
            )
    return bad, said


def _wrong_stretches(micro: NDArray[np.int64]) -> list[tuple[int, int, str]]:
    """Find where the clock of one file was wrong: first row, row behind the last, words."""
    steps = np.diff(micro)
    found: list[tuple[int, int, str]] = []
    jumps = np.flatnonzero(steps > _LONG_JUMP_US) + 1
    begin = _wall(int(micro[0]))
    start = 0
    if len(jumps) and (begin.month, begin.day) in {(1, 1), (1, 6)}:
        start = int(jumps[0])
        found.append(
            (0, start, "the clock was not set when line {line} of {name} was written ({when})")
        )
    good = np.ones(len(micro), dtype=bool)
    good[:start] = False
    forward = np.flatnonzero(steps > _DAY_US) + 1
    top, seen = int(micro[start]), start
    skip_to = start
    for back in (np.flatnonzero(steps < -_DAY_US) + 1).tolist():
        if back <= skip_to or back <= start:
            continue
        top = max(top, int(micro[seen:back].max()))
        earlier = forward[(forward > max(seen, start)) & (forward < back)]
        if len(earlier):
            ahead = int(earlier[-1])
            before, here = int(micro[ahead - 1]), int(micro[back])
            if 0 <= here - before <= int(micro[back - 1] - micro[ahead]) + _DAY_US:
                found.append(
                    (
                        ahead,
                        back,
                        "the clock was set ahead: at line {line} of {name} it jumps to {when}",
                    )
                )
                top, seen = before, back
                good[ahead:back] = False
                continue
        stop = _end_of_reset(micro, back, top, good)
        seen = back
        if stop > back:
            found.append(
                (back, stop, "the clock was reset: at line {line} of {name} it goes back to {when}")
            )
            skip_to = seen = stop
            good[back:stop] = False
    return found


def _end_of_reset(micro: NDArray[np.int64], back: int, top: int, good: NDArray[np.bool_]) -> int:
    """Give the row at which a clock that went back is right again; ``back`` where it was right."""
    ahead = micro[back:] >= top - _DAY_US
    stop = back + (int(np.argmax(ahead)) if ahead.any() else len(ahead))
    part, before = micro[back:stop], micro[:back][good[:back]]
    if np.isin(part, before).mean() > 0.9:  # noqa: PLR2004 - the same memory written out twice
        return back
    # A ring memory read from its middle: the older part ends where the newer began.
    if part.max() <= before.min() and before.min() - part.max() <= _DAY_US:
        return back
    return stop


def _wall(micro: int) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=micro)


def _sort(
    frame: pl.DataFrame, micro: NDArray[np.int64], names: list[str], notes: list[str]
) -> pl.DataFrame:
    steps = np.diff(micro)
    if not (steps < 0).any():
        return frame
    files = frame[FILE].to_numpy()
    inside = np.flatnonzero((steps < 0) & (files[1:] == files[:-1])) + 1
    if len(inside):
        row = frame.row(int(inside[0]), named=True)
        back = timedelta(microseconds=int(-steps[inside[0] - 1]))
        notes.append(
            f"Time runs backwards {len(inside)} times, first by {back} at line {row[LINE]} of "
            f"{names[row[FILE]]}: readings were put in the order of time."
        )
    if len(np.unique(files)) > 1 and len(np.flatnonzero(steps < 0)) > len(inside):
        notes.append(
            "The files overlap in time or were given out of order: readings were put in the order of time."
        )
    return frame.sort(TIME, maintain_order=True)


def _without_duplicates(frame: pl.DataFrame, arranged: Arranged) -> Arranged:
    micro = frame[TIME].cast(pl.Int64).to_numpy()
    same = np.flatnonzero(np.diff(micro) == 0) + 1
    if not len(same):
        return evolve(arranged, frame=frame)
    involved = np.zeros(len(micro), dtype=bool)
    involved[same] = True
    involved[same - 1] = True
    values = [name for name in frame.columns if name not in {LINE, FILE, ROWS, USED}]
    doubled = frame.with_row_index("_at").filter(pl.Series(involved))
    # A row without a single reading repeats nothing, so nulls count as equal.
    first = doubled.unique(subset=values, keep="first", maintain_order=True)
    dropped = doubled.join(first.select("_at"), on="_at", how="anti", maintain_order="left")
    if dropped.height:
        keep = np.ones(len(micro), dtype=bool)
        keep[dropped["_at"].to_numpy()] = False
        frame = frame.filter(pl.Series(keep))
    again = np.flatnonzero(np.diff(frame[TIME].cast(pl.Int64).to_numpy()) == 0) + 1
    return evolve(
        arranged,
        frame=frame,
        duplicates=rows_by_file(dropped) if dropped.height else {},
        differing=len(again),
        first_differing=int(frame[LINE][int(again[0])]) if len(again) else 0,
    )


def same_time_words(differing: int, first_line: int, rows: int) -> tuple[str, str]:
    """Say what readings that share a time mean.

    Parameters
    ----------
    differing : int
        Readings with the time of the one before but other values.
    first_line : int
        Line of the first of them.
    rows : int
        Readings in all.

    Returns
    -------
    tuple of (str, str)
        A note and a doubt; empty for none.
    """
    if not differing:
        return "", ""
    note = (
        f"{differing} readings have the time of the one before but other values (first at line {first_line}): "
        "all are used."
    )
    if differing <= _SAME_TIME_AT_MOST * rows:
        return note, ""
    return note, (
        f"{differing} of {rows} readings share their time with another one: the times do not tell the readings apart"
    )


def clock_doubts(first: datetime, last: datetime, now: datetime | None) -> list[str]:
    """Say where the times as a whole cannot be right.

    Parameters
    ----------
    first, last : datetime
        First and last time, UTC.
    now : datetime, optional
        Present moment, UTC.

    Returns
    -------
    list of str
        Reasons; empty for none.
    """
    found = []
    if (first.year, first.month, first.day) in _NEVER_SET:
        found.append(
            f"the log begins on {first:%Y-%m-%d}, where a clock starts that was never set: its times cannot be trusted"
        )
    if now is not None and last > now + timedelta(days=1):
        found.append(
            f"the log ends on {last:%Y-%m-%d %H:%M} UTC, which is in the future: its clock cannot be trusted"
        )
    return found
