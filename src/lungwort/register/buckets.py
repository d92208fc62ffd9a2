"""Readings gathered into buckets of time, so that no peak is lost however long a period is.

A bucket holds, a channel, the least and the greatest usable reading as they were read, the same for
readings that are not judged, and how many there are of each kind. Buckets begin at multiples of
their width since 1970-01-01 UTC: several narrow ones make exactly one wide one, and whatever way
they are put together, the result is the same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import polars as pl

from lungwort.logs.model import (
    ABOVE,
    BAD,
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
    from collections.abc import Sequence

    from lungwort.logs.model import Channel

START: Final = "start"
ROWS: Final = "rows"
FIRST: Final = "first"
LAST: Final = "last"
LEAST: Final = ("low", "aside_low")
GREATEST: Final = ("high", "aside_high")
COUNTS: Final = ("usable", "suspect", "bad", "waiting", "unreadable", "over", "under")
KINDS: Final = (*LEAST, *GREATEST, *COUNTS)
"""What a bucket holds of a channel.

``low`` and ``high`` are of usable readings (good or suspect); ``aside_low`` and ``aside_high`` of
numbers that no verdict looks at: while settling, bad, or not readable for sure. ``over`` and
``under`` count usable readings that were logged as '>' and '<'.
"""

WIDTHS_S: Final = (
    *(1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800),
    *(3600, 7200, 10800, 14400, 21600, 28800, 43200, 86400),
)
"""Widths of buckets that fit into each other and into a day [s]."""


def column_of(channel: str, kind: str) -> str:
    """Name the column of a kind of number of a channel."""
    return f"{channel}:{kind}"


def width_for(span_s: float, points: int) -> int:
    """Choose the narrowest width at which a span has no more buckets than asked for.

    Parameters
    ----------
    span_s : float
        Length of the span [s].
    points : int
        Buckets wanted at most [1].

    Returns
    -------
    int
        Width of a bucket [s]; of a span of many years a multiple of a day.

    Examples
    --------
    >>> width_for(365 * 86400, 1200), width_for(86400, 1200), width_for(3600, 1200)
    (28800, 120, 5)
    """
    wanted = span_s / points
    for width in WIDTHS_S:
        if width >= wanted:
            return width
    day = WIDTHS_S[-1]
    return int(-(-wanted // day)) * day


def gather(frame: pl.DataFrame, channels: Sequence[Channel], width_us: int) -> pl.DataFrame:
    """Gather readings into buckets.

    Parameters
    ----------
    frame : polars.DataFrame
        Readings in the order of time, as a `lungwort.logs.model.Log` holds them.
    channels : sequence of Channel
        Its channels.
    width_us : int
        Width of a bucket [µs], 1 or more.

    Returns
    -------
    polars.DataFrame
        Buckets that hold a row, in the order of time: ``start``, ``rows``, ``first``, ``last``
        [µs UTC] and, a channel, a column for each of `KINDS`.
    """
    time = pl.col(TIME).dt.epoch("us")
    made: list[pl.Expr] = [time]
    for channel in channels:
        made.extend(_sorted_out(channel, frame.columns))
    plain = frame.select(made).with_columns((pl.col(TIME) // width_us * width_us).alias(START))
    asked = [
        pl.len().cast(pl.UInt32).alias(ROWS),
        pl.col(TIME).min().alias(FIRST),
        pl.col(TIME).max().alias(LAST),
    ]
    for channel in channels:
        asked.extend(_asked(channel.name))
    return plain.group_by(START, maintain_order=True).agg(asked).sort(START)


def _sorted_out(channel: Channel, columns: Sequence[str]) -> list[pl.Expr]:
    """Expressions that part usable readings from others."""
    name = channel.name
    flag = pl.col(flag_column(name)).fill_null(BAD)
    number = pl.col(name).is_finite().fill_null(value=False)
    with_codes = censor_column(name) in columns
    code = pl.col(censor_column(name)).fill_null(0) if with_codes else pl.lit(0, dtype=pl.Int8)
    trusted = flag.is_in([GOOD, SUSPECT])
    usable = trusted & number & (code != UNREADABLE)

    def called(kind: str, expression: pl.Expr) -> pl.Expr:
        return expression.alias(column_of(name, kind))

    return [
        called("low", pl.when(usable).then(pl.col(name))),
        called("aside_low", pl.when(number & ~usable).then(pl.col(name))),
        called("usable", usable),
        called("suspect", usable & (flag == SUSPECT)),
        called("bad", flag == BAD),
        called("waiting", flag == NOT_EVALUATED),
        called("unreadable", trusted & (code == UNREADABLE)),
        called("over", usable & (code == ABOVE)),
        called("under", usable & (code == BELOW)),
    ]


def _asked(name: str) -> list[pl.Expr]:
    def column(kind: str) -> pl.Expr:
        return pl.col(column_of(name, kind))

    return [
        *(column(kind).min() for kind in LEAST),
        *(
            column(least).max().alias(column_of(name, greatest))
            for least, greatest in zip(LEAST, GREATEST, strict=True)
        ),
        *(column(kind).sum().cast(pl.UInt32) for kind in COUNTS),
    ]


def widen(buckets: pl.DataFrame, width_us: int) -> pl.DataFrame:
    """Put buckets together to wider ones.

    Parameters
    ----------
    buckets : polars.DataFrame
        As `gather` or this gave them.
    width_us : int
        Width wanted [µs]: a multiple of the width that they have.

    Returns
    -------
    polars.DataFrame
        The wider ones: the same as `gather` would give.
    """
    asked: list[pl.Expr] = []
    for name in buckets.columns:
        column = pl.col(name)
        kind = name.rpartition(":")[2]
        if name == START:
            continue
        if name == ROWS or kind in COUNTS:
            asked.append(column.sum().cast(pl.UInt32))
        elif name == FIRST or kind in LEAST:
            asked.append(column.min())
        else:
            asked.append(column.max())
    return (
        buckets.with_columns(pl.col(START) // width_us * width_us)
        .group_by(START, maintain_order=True)
        .agg(asked)
        .sort(START)
    )


def together(pieces: Sequence[pl.DataFrame]) -> pl.DataFrame:
    """Put buckets of one width one behind the other; a channel that some lack is missing there.

    Parameters
    ----------
    pieces : sequence of polars.DataFrame
        Buckets; one that stands in two pieces becomes one.

    Returns
    -------
    polars.DataFrame
        All, in the order of time.
    """
    if not pieces:
        return pl.DataFrame(
            schema={START: pl.Int64, ROWS: pl.UInt32, FIRST: pl.Int64, LAST: pl.Int64}
        )
    alike = all(one.columns == pieces[0].columns for one in pieces)
    whole = pl.concat(pieces, how="vertical" if alike else "diagonal")
    if not whole[START].is_sorted():
        whole = whole.sort(START)
    if alike:
        return whole
    return whole.with_columns(
        pl.col(name).fill_null(0) for name in whole.columns if name.rpartition(":")[2] in COUNTS
    )
