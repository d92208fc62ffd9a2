"""Putting readings in the order of time, and finding clocks that were not to be trusted."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl
from attrs import field, frozen

from lungwort.logs.blocks import LINE
from lungwort.logs.model import TIME

if TYPE_CHECKING:
    from numpy.typing import NDArray

FILE: Final = "file"
_SAME_TIME_AT_MOST: Final = 0.9
_DAY_US: Final = 86_400_000_000

# Where a clock starts that was never set: common practice, no source.
_NEVER_SET: Final = (
    (1970, 1, 1),
    (1980, 1, 1),
    (1980, 1, 6),
    (1990, 1, 1),
    (2000, 1, 1),
    (2001, 1, 1),
)


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
    duplicates : dict
        File index to rows dropped as exact duplicates, with first lines.
    """

    frame: pl.DataFrame
    unplaced: pl.DataFrame
    notes: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    duplicates: dict[int, tuple[int, tuple[int, ...]]] = field(factory=dict)
    reset: dict[int, tuple[int, tuple[int, ...]]] = field(factory=dict)


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
    reset: dict[int, tuple[int, tuple[int, ...]]] = {}
    micro = frame[TIME].cast(pl.Int64).to_numpy()
    if len(micro) > 1 and (np.diff(micro) < 0).any():
        frame, micro = _turn_round(frame, micro, names, notes)
        bad = _after_reset(frame, micro)
        if bad.any():
            unplaced = frame.filter(pl.Series(bad))
            frame = frame.filter(pl.Series(~bad))
            micro = micro[~bad]
            first = unplaced.row(0, named=True)
            text = (
                f"the clock was reset: at line {first[LINE]} of {names[first[FILE]]} it goes back to "
                f"{first[TIME]:%Y-%m-%d %H:%M:%S}, and {unplaced.height} readings from there have no time that can be trusted"
            )
            doubts.append(text)
            reset = _by_file(unplaced)
        frame = _sort(frame, micro, names, notes)
    frame, duplicates = _without_duplicates(frame, notes, doubts)
    return Arranged(frame, unplaced, tuple(notes), tuple(doubts), duplicates, reset)


def _by_file(rows: pl.DataFrame) -> dict[int, tuple[int, tuple[int, ...]]]:
    grouped = rows.group_by(FILE, maintain_order=True).agg(
        pl.len().alias("k"), pl.col(LINE).head(3)
    )
    return {file: (count, tuple(lines)) for file, count, lines in grouped.iter_rows()}


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


def _after_reset(frame: pl.DataFrame, micro: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Find readings written after a clock went back by more than a day."""
    bad = np.zeros(len(micro), dtype=bool)
    files = frame[FILE].to_numpy()
    steps = np.diff(micro)
    backs = np.flatnonzero((steps < -_DAY_US) & (files[1:] == files[:-1])) + 1
    for back in backs:
        if bad[back]:
            continue
        top = int(micro[:back][files[:back] == files[back]].max())
        ahead = np.flatnonzero((micro[back:] >= top - _DAY_US) | (files[back:] != files[back]))
        stop = back + (int(ahead[0]) if len(ahead) else len(micro) - back)
        part = micro[back:stop]
        before = micro[:back]
        again = np.isin(part, before)
        if again.mean() > 0.9:  # noqa: PLR2004 - the same memory written out twice
            continue
        # A ring memory read from its middle: the older part ends where the newer began.
        if part.max() <= before.min() and before.min() - part.max() <= _DAY_US:
            continue
        bad[back:stop] = True
    return bad


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


def _without_duplicates(
    frame: pl.DataFrame, notes: list[str], doubts: list[str]
) -> tuple[pl.DataFrame, dict[int, tuple[int, tuple[int, ...]]]]:
    micro = frame[TIME].cast(pl.Int64).to_numpy()
    same = np.flatnonzero(np.diff(micro) == 0) + 1
    if not len(same):
        return frame, {}
    involved = np.zeros(len(micro), dtype=bool)
    involved[same] = True
    involved[same - 1] = True
    values = [name for name in frame.columns if name not in {LINE, FILE}]
    doubled = frame.with_row_index("_at").filter(pl.Series(involved))
    # A row without a single reading repeats nothing, so nulls count as equal.
    first = doubled.unique(subset=values, keep="first", maintain_order=True)
    dropped = doubled.join(first.select("_at"), on="_at", how="anti", maintain_order="left")
    by_file = _by_file(dropped) if dropped.height else {}
    left = frame
    if dropped.height:
        keep = np.ones(len(micro), dtype=bool)
        keep[dropped["_at"].to_numpy()] = False
        left = frame.filter(pl.Series(keep))
    again = left[TIME].cast(pl.Int64).to_numpy()
    differing = int(np.count_nonzero(np.diff(again) == 0))
    if differing:
        place = int(np.flatnonzero(np.diff(again) == 0)[0]) + 1
        row = left.row(place, named=True)
        notes.append(
            f"{differing} readings have the time of the one before but other values (first at line {row[LINE]}): all are used."
        )
        if differing > _SAME_TIME_AT_MOST * len(again):
            doubts.append(
                f"{differing} of {len(again)} readings share their time with another one: the times do not tell the readings apart"
            )
    return left, by_file


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


def utc(moment: datetime) -> datetime:
    """Mark a UTC time without a zone as UTC."""
    return moment.replace(tzinfo=UTC)
