"""Reading the times of a log: as text, as counts since a moment, as days of a spreadsheet."""

from __future__ import annotations

import re
from collections import Counter
from datetime import datetime
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import polars as pl
from attrs import frozen

from lungwort.errors import LogError
from lungwort.logs.dateorder import OrderEvidence, date_prefixes
from lungwort.logs.timeshape import Shape, shape_of, tidy

if TYPE_CHECKING:
    from numpy.typing import NDArray

TEXT: Final = "text"
EPOCH_S: Final = "epoch seconds"
EPOCH_MS: Final = "epoch milliseconds"
EPOCH_US: Final = "epoch microseconds"
SERIAL: Final = "spreadsheet serial days"
ELAPSED: Final = "elapsed time"

_US_PER_S: Final = 1_000_000
_DAY_US: Final = 86_400 * _US_PER_S
_COUNT_AT_MOST_US: Final = 7e18
_DUSTY_FROM_US: Final = 60 * _US_PER_S
_YEARS: Final = (1900, 2200)
_SERIAL_ZERO: Final = datetime(1899, 12, 30)  # noqa: DTZ001 - wall time, zone comes later
_EPOCH: Final = datetime(1970, 1, 1)  # noqa: DTZ001 - wall time, zone comes later

_NUMBER: Final = re.compile(r"^[+-]?\d+(?:[.,]\d+)?$")
_ELAPSED_UNIT_S: Final = {
    "s": 1.0, "sec": 1.0, "secs": 1.0, "seconds": 1.0, "sek": 1.0, "sekunden": 1.0, "secondes": 1.0,
    "segundos": 1.0, "sekunder": 1.0, "ms": 1e-3, "min": 60.0, "minutes": 60.0, "minuten": 60.0,
    "h": 3600.0, "hr": 3600.0, "hours": 3600.0, "stunden": 3600.0,
}  # fmt: skip


@frozen
class Parsed:
    """A column of times, read.

    Parameters
    ----------
    times : polars.Series
        Times (microseconds): wall time, or UTC where ``offset``; null where a time cannot be read.
    offset : bool
        Whether the times carry an offset from UTC. Times without one among them are null: they
        cannot be placed.
    wall : bool
        Whether times without an offset were met.
    formats : tuple of str
        The formats met, as chrono patterns.
    """

    times: pl.Series
    offset: bool
    wall: bool
    formats: tuple[str, ...] = ()


def parse_text(column: pl.Series, order: str, *, with_offset: bool = False) -> Parsed:
    """Parse a column of times written as text.

    Parameters
    ----------
    column : polars.Series
        Text, tidied.
    order : str
        Order of day and month for open dates.
    with_offset : bool
        Whether times with an offset were met earlier in the file.

    Returns
    -------
    Parsed
        The times.
    """
    name = column.name
    shapes = Counter(shape for shape in map(shape_of, _sample(column)) if shape is not None)
    if not shapes:
        empty = pl.Series(name, [None] * len(column), dtype=pl.Datetime("us"))
        return Parsed(empty, with_offset, wall=False)
    first = shapes.most_common(1)[0][0]
    met = [first.formats(order)]
    parsed = _by_pattern(column, met[0], offset=first.offset)
    if not parsed.has_nulls():
        return _kept(parsed.alias(name), met, first, None, with_offset=with_offset)
    places = parsed.is_null() & column.is_not_null() & (column != "")
    places = places.fill_null(value=False).arg_true()
    rest, shifts = _day_24(tidy(column.gather(places), thorough=True))
    found, offsets = _patch(rest, order, met)
    stamps = parsed.cast(pl.Int64).fill_null(0).to_numpy().copy()
    known = parsed.is_not_null().to_numpy().copy()
    has_offset = np.full(len(column), first.offset)
    at = places.to_numpy()
    stamps[at] = (found.cast(pl.Int64).fill_null(0) + shifts).to_numpy()
    known[at] = found.is_not_null().to_numpy()
    has_offset[at] = offsets
    parsed = _series(name, stamps, known)
    return _kept(parsed, met, first, has_offset, with_offset=with_offset)


def _series(name: str, stamps: NDArray[np.int64], known: NDArray[np.bool_]) -> pl.Series:
    frame = pl.DataFrame({"t": stamps, "k": known})
    return frame.select(pl.when(pl.col("k")).then(pl.col("t")).cast(pl.Datetime("us")).alias(name))[
        name
    ]


def _kept(
    parsed: pl.Series,
    met: list[str],
    first: Shape,
    has_offset: NDArray[np.bool_] | None,
    *,
    with_offset: bool,
) -> Parsed:
    """Leave out times without an offset among times with one."""
    if has_offset is None:
        offset, wall = first.offset, not first.offset
        has_offset = np.full(len(parsed), first.offset)
    else:
        known = parsed.is_not_null().to_numpy()
        offset, wall = bool(has_offset[known].any()), bool((~has_offset[known]).any())
    if wall and (offset or with_offset):
        known = parsed.is_not_null().to_numpy() & has_offset
        stamps = parsed.cast(pl.Int64).fill_null(0).to_numpy()
        parsed = _series(parsed.name, stamps, known)
    return Parsed(parsed, offset or with_offset, wall, tuple(met))


def _sample(column: pl.Series) -> list[str]:
    # The commonest form is all that is wanted here; what differs is looked at one by one later.
    step = max(1, len(column) // 50)
    picked = pl.concat([column.head(50), column.gather_every(step), column.tail(20)])
    return [text for text in picked.drop_nulls().unique(maintain_order=True).to_list() if text]


def _by_pattern(column: pl.Series, pattern: str, *, offset: bool) -> pl.Series:
    # Times hardly repeat: a cache of them costs more than it saves.
    times = pl.col("s").str.to_datetime(pattern, strict=False, time_unit="us", cache=False)
    if offset and "%#z" in pattern:
        times = times.dt.replace_time_zone(None)
    return _sane(pl.DataFrame({"s": column}).select(times.alias("t"))["t"])


def _sane(parsed: pl.Series) -> pl.Series:
    """Leave out years that no logger can mean, such as 0026 for a year of two digits."""
    low, high = (datetime(year, 1, 1) for year in _YEARS)  # noqa: DTZ001 - wall time
    least, most = parsed.min(), parsed.max()
    if least is None or (
        isinstance(least, datetime) and isinstance(most, datetime) and low <= least and most < high
    ):
        return parsed
    inside = (pl.col("t") >= low) & (pl.col("t") < high)
    return pl.DataFrame({"t": parsed}).select(pl.when(inside).then(pl.col("t")).alias("t"))["t"]


def _day_24(texts: pl.Series) -> tuple[pl.Series, pl.Series]:
    """Write 24:00 as 00:00 and say how much later it is [µs]."""
    pattern = r"([ T])24([:.]00(?:[:.]00(?:\.0+)?)?)(?:$|\s|[Z+-])"
    late = texts.str.contains(pattern).fill_null(value=False)
    if not late.any():
        return texts, pl.Series([0] * len(texts), dtype=pl.Int64)
    frame = pl.DataFrame({"s": texts, "l": late})
    texts = frame.select(
        pl.when("l")
        .then(pl.col("s").str.replace(r"([ T])24([:.]00)", "${1}00$2"))
        .otherwise("s")
        .alias("s")
    )["s"]
    return texts, late.cast(pl.Int64) * _DAY_US


def _patch(texts: pl.Series, order: str, met: list[str]) -> tuple[pl.Series, NDArray[np.bool_]]:
    """Parse the few times that are not written as the rest, format after format."""
    found = pl.Series("t", [None] * len(texts), dtype=pl.Datetime("us"))
    offsets = np.zeros(len(texts), dtype=bool)
    tried: set[str] = set()
    open_ = np.arange(len(texts))
    while len(open_):
        remaining = texts.gather(open_)
        sample = remaining.drop_nulls().unique(maintain_order=True).head(2000).to_list()
        shapes: Counter[Shape] = Counter()
        hopeless: list[str] = []
        for text in sample:
            shape = shape_of(text)
            if shape is None or shape.formats(order) in tried:
                hopeless.append(text)
            else:
                shapes[shape] += 1
        keep = ~remaining.is_in(hopeless).fill_null(value=True).to_numpy()
        open_ = open_[keep]
        if not shapes:
            continue
        shape = shapes.most_common(1)[0][0]
        pattern = shape.formats(order)
        tried.add(pattern)
        if pattern not in met:
            met.append(pattern)
        times = _by_pattern(texts.gather(open_), pattern, offset=shape.offset)
        hit = times.is_not_null().to_numpy()
        found = found.scatter(open_[hit].tolist(), times.filter(pl.Series(hit)))
        offsets[open_[hit]] = shape.offset
        open_ = open_[~hit]
    return found, offsets


def numeric_kind(values: list[str], heading: str) -> str:
    """Tell what a column of numbers in the time's place is.

    Parameters
    ----------
    values : list of str
        Some cells.
    heading : str
        The heading.

    Returns
    -------
    str
        One of the kinds of this module, or empty where the cells are not numbers or are compact
        dates such as 20260304.
    """
    cells = [text.strip() for text in values if text.strip()]
    if not cells or not all(_NUMBER.match(text) for text in cells):
        return ""
    if all(
        re.fullmatch(r"(?:19|20)\d{2}(?:0\d|1[0-2])[0-3]\d(?:\d{4}|\d{6})?", text) for text in cells
    ):
        return ""
    numbers = [abs(float(text.replace(",", "."))) for text in cells]
    top = max(numbers)
    if min(numbers) >= 6e8 and top < 4.2e9:  # noqa: PLR2004 - 1989 to 2103 in seconds
        return EPOCH_S
    if min(numbers) >= 6e11 and top < 4.2e12:  # noqa: PLR2004 - the same in milliseconds
        return EPOCH_MS
    if min(numbers) >= 6e14 and top < 4.2e15:  # noqa: PLR2004 - the same in microseconds
        return EPOCH_US
    if elapsed_unit_s(heading) is None and min(numbers) >= 25569 and top < 73050:  # noqa: PLR2004 - 1970 to 2099 in days
        return SERIAL
    return ELAPSED


def elapsed_unit_s(heading: str) -> float | None:
    """Read the unit of an elapsed time from its heading.

    Parameters
    ----------
    heading : str
        The heading, or the unit alone.

    Returns
    -------
    float or None
        Length of the unit [s]; None where the heading names none.
    """
    for word in re.split(r"[^a-z]+", heading.lower()):
        if word in _ELAPSED_UNIT_S:
            return _ELAPSED_UNIT_S[word]
    return None


def parse_numeric(
    column: pl.Series, kind: str, *, start: datetime | None, unit_s: float
) -> pl.Series:
    """Parse a column of numeric times.

    Parameters
    ----------
    column : polars.Series
        Text of numbers.
    kind : str
        Kind of this module, not ``text``.
    start : datetime, optional
        Moment of elapsed zero, wall time or UTC; needed for an elapsed time.
    unit_s : float
        Unit of an elapsed time [s].

    Returns
    -------
    polars.Series
        Times (microseconds), null where a number cannot be read.

    Raises
    ------
    LogError
        Where an elapsed time has no start.
    """
    numbers = (
        column.str.strip_chars().str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
    )
    factor, zero = {
        EPOCH_S: (_US_PER_S, _EPOCH),
        EPOCH_MS: (1_000, _EPOCH),
        EPOCH_US: (1, _EPOCH),
        SERIAL: (86_400 * _US_PER_S, _SERIAL_ZERO),
        ELAPSED: (unit_s * _US_PER_S, start),
    }[kind]
    if zero is None:
        raise LogError("an elapsed time needs a start. Give it with --start '2026-03-04 10:00'.")
    frame = pl.DataFrame({"n": numbers})
    # A day, an hour or a minute carries microseconds of float dust: a millisecond is what it can mean.
    steps = (
        ((pl.col("n") * factor / 1000).round() * 1000)
        if factor >= _DUSTY_FROM_US
        else (pl.col("n") * factor).round()
    )
    sane = pl.col("n").is_finite() & (pl.col("n").abs() * factor < _COUNT_AT_MOST_US)
    return _sane(
        frame.select(
            pl.when(sane)
            .then(pl.lit(zero) + steps.cast(pl.Int64, strict=False).cast(pl.Duration("us")))
            .alias("t")
        )["t"].cast(pl.Datetime("us"))
    )


def zone_info(name: str) -> ZoneInfo:
    """Find a time zone.

    Parameters
    ----------
    name : str
        IANA name, such as ``Europe/London``.

    Returns
    -------
    zoneinfo.ZoneInfo
        The zone.

    Raises
    ------
    LogError
        Where there is no such zone.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise LogError(
            f"time zone {name!r} is not known. Use an IANA name such as Europe/London, "
            "or Etc/GMT-1 for a clock that stays at UTC+1 all year."
        ) from error


__all__ = [
    "ELAPSED",
    "EPOCH_MS",
    "EPOCH_S",
    "EPOCH_US",
    "SERIAL",
    "TEXT",
    "OrderEvidence",
    "Parsed",
    "Shape",
    "date_prefixes",
    "elapsed_unit_s",
    "numeric_kind",
    "parse_numeric",
    "parse_text",
    "shape_of",
    "tidy",
    "zone_info",
]
