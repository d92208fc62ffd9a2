"""Readings day by day and week by week: least, 5 %, median, 95 %, greatest, and how much was read.

A day is one of the site's own days, from midnight to midnight there. A day that was hardly read
says nothing of the day: it is counted, never used.
"""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

import polars as pl
from attrs import frozen

from lungwort.errors import RangeError
from lungwort.logs.model import (
    ABOVE,
    BELOW,
    GOOD,
    NOT_EVALUATED,
    SUSPECT,
    TIME,
    UNREADABLE,
    censor_column,
    flag_column,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from lungwort.logs.model import Channel

DAY: Final = "day"
CHANNEL: Final = "channel"
LEAST_COVERAGE: Final = 0.2
"""Share of a day that must have been read [1]: one shift of five hours; own rule."""
LEAST_READINGS: Final = 20
"""Readings of a day that 5 % and 95 % need [1]: one in twenty must exist."""
_LOW: Final = 0.05
_HIGH: Final = 0.95
_DAY_S: Final = 86_400.0
_PIECE_S: Final = 600.0
_SECOND_US: Final = 1_000_000
_DAYS_OF_WEEK: Final = 7


@frozen
class Day:
    """What was read of one channel on one day, or in one week.

    Parameters
    ----------
    day : date
        The day in the site's zone; of a week its Monday.
    least, low, median, high, greatest : float
        Least reading, 5 % of the readings, median, 95 %, greatest [unit of the channel].
    readings : int
        Usable readings [1].
    coverage : float
        Share of the day that they cover, 0 to 1 [1].
    under, over : int
        Readings among them that were logged as '<' and as '>' [1]; they count with their number.
    days : int
        Days that it rests on [1].
    aside_least, aside_greatest : float, optional
        Least and greatest of the readings that are never judged, as those in which the instrument
        settles [unit of the channel]; None where there are none. Of a day with none but these the
        other figures are no numbers, and ``readings`` is 0.
    """

    day: date
    least: float
    low: float
    median: float
    high: float
    greatest: float
    readings: int
    coverage: float
    under: int = 0
    over: int = 0
    days: int = 1
    aside_least: float | None = None
    aside_greatest: float | None = None

    def enough(self, least_coverage: float = LEAST_COVERAGE) -> bool:
        """Tell whether enough was read to stand for the day.

        Parameters
        ----------
        least_coverage : float
            Share of the day that must have been read, 0 to 1 [1].

        Returns
        -------
        bool
            Whether it may be used.
        """
        return self.coverage >= least_coverage and self.readings >= LEAST_READINGS


def days_of(
    frames: Iterable[pl.DataFrame],
    channels: Sequence[Channel],
    *,
    zone: str,
    interval_s: float,
) -> dict[str, tuple[Day, ...]]:
    """Give the days of each channel.

    Parameters
    ----------
    frames : iterable of polars.DataFrame
        Readings as `lungwort.logs.model.Log` holds them, in the order of time and not overlapping;
        one is in memory at a time. A channel may be missing in some.
    channels : sequence of Channel
        The channels.
    zone : str
        IANA time zone of the site.
    interval_s : float
        Sampling interval, the longest where it changed, above 0 [s]. What was read of a day is
        counted in pieces of ten minutes, or of this where it is longer: a piece with a reading was
        read.

    Returns
    -------
    dict of str to tuple of Day
        By the name of the channel, in the order of time. Only usable readings count: good or
        suspect, and not readable in two ways; what is set aside is named beside them.

    Raises
    ------
    RangeError
        Where the interval is not above 0.
    """
    if not 0 < interval_s < float("inf"):
        raise RangeError(
            f"a sampling interval of {interval_s} s was given. It must be a number above 0 s."
        )
    made: dict[str, list[Day]] = {channel.name: [] for channel in channels}
    for frame in _whole_days(frames, zone):
        for channel in channels:
            if channel.name in frame.columns:
                made[channel.name].extend(_days(frame, channel, interval_s))
    return {name: tuple(days) for name, days in made.items()}


def _whole_days(frames: Iterable[pl.DataFrame], zone: str) -> Iterator[pl.DataFrame]:
    """Hand on frames that end with a day: what the last day of one lacks stands in the next."""
    kept: pl.DataFrame | None = None
    for frame in frames:
        if frame.is_empty():
            continue
        local = frame.with_columns(pl.col(TIME).dt.convert_time_zone(zone).dt.date().alias(DAY))
        if kept is not None:
            local = pl.concat([kept, local], how="diagonal")
        last = local[DAY].max()
        kept = local.filter(pl.col(DAY) == last)
        done = local.filter(pl.col(DAY) != last)
        if not done.is_empty():
            yield done
    if kept is not None:
        yield kept


def _days(frame: pl.DataFrame, channel: Channel, interval_s: float) -> list[Day]:
    name, piece_s = channel.name, max(interval_s, _PIECE_S)
    code = (
        pl.col(censor_column(name)).fill_null(0)
        if censor_column(name) in frame.columns
        else pl.lit(0, dtype=pl.Int8)
    )
    flag = pl.col(flag_column(name))
    whole = pl.col(name).is_finite().fill_null(value=False) & (code != UNREADABLE)
    usable, aside = pl.col("usable"), pl.col("aside")
    value = pl.col("value").filter(usable)
    found = (
        frame.select(
            DAY,
            (pl.col(TIME).dt.epoch("us") // int(piece_s * _SECOND_US)).alias("piece"),
            pl.col(name).alias("value"),
            code.alias("code"),
            (flag.is_in([GOOD, SUSPECT]) & whole).alias("usable"),
            ((flag == NOT_EVALUATED) & whole).alias("aside"),
        )
        .filter(usable | aside)
        .group_by(DAY)
        .agg(
            value.min().alias("least"),
            # The outer of two readings where the share falls between them.
            value.quantile(_LOW, interpolation="lower").alias("low"),
            value.median().alias("median"),
            value.quantile(_HIGH, interpolation="higher").alias("high"),
            value.max().alias("greatest"),
            usable.sum().alias("readings"),
            (usable & (pl.col("code") == BELOW)).sum().alias("under"),
            (usable & (pl.col("code") == ABOVE)).sum().alias("over"),
            (pl.col("piece").filter(usable).n_unique() * piece_s / _DAY_S)
            .clip(0.0, 1.0)
            .alias("coverage"),
            pl.col("value").filter(aside).min().alias("aside_least"),
            pl.col("value").filter(aside).max().alias("aside_greatest"),
        )
        .with_columns(pl.col("least", "low", "median", "high", "greatest").fill_null(math.nan))
        .sort(DAY)
    )
    return [Day(**row) for row in found.iter_rows(named=True)]


def weeks_of(days: Sequence[Day]) -> tuple[Day, ...]:
    """Give weeks from days.

    Parameters
    ----------
    days : sequence of Day
        Days that may be used, in the order of time.

    Returns
    -------
    tuple of Day
        Weeks from Monday on: medians of the days' figures, their least and their greatest; the
        coverage is that of the whole week.
    """
    if not days:
        return ()
    frame = pl.DataFrame(
        {
            DAY: [one.day for one in days],
            **{
                name: [getattr(one, name) for one in days]
                for name in ("least", "low", "median", "high", "greatest")
            },
            **{
                name: [getattr(one, name) for one in days]
                for name in ("readings", "coverage", "under", "over")
            },
        }
    )
    found = (
        frame.with_columns(pl.col(DAY).dt.truncate("1w"))
        .group_by(DAY)
        .agg(
            pl.col("least").min(),
            pl.col("low").median(),
            pl.col("median").median(),
            pl.col("high").median(),
            pl.col("greatest").max(),
            pl.col("readings").sum(),
            (pl.col("coverage").sum() / _DAYS_OF_WEEK).alias("coverage"),
            pl.col("under").sum(),
            pl.col("over").sum(),
            pl.len().alias("days"),
        )
        .sort(DAY)
    )
    return tuple(Day(**row) for row in found.iter_rows(named=True))


def missing_days(days: Sequence[Day]) -> int:
    """Count days between the first and the last of which there is nothing.

    Parameters
    ----------
    days : sequence of Day
        Days in the order of time, each once.

    Returns
    -------
    int
        How many [1].
    """
    if not days:
        return 0
    return (days[-1].day - days[0].day) // timedelta(days=1) + 1 - len(days)
