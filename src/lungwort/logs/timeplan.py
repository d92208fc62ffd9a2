"""Where the time of each reading stands in a table, and how it is written."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from attrs import define, field, frozen

from lungwort.errors import LogError
from lungwort.logs import times
from lungwort.logs.naming import column_of

if TYPE_CHECKING:
    from lungwort.logs.headings import Reading
    from lungwort.logs.options import ReadOptions

_LOOKED_AT: Final = 200
_RANK: Final = {
    times.TEXT: 0,
    times.EPOCH_S: 2,
    times.EPOCH_MS: 2,
    times.EPOCH_US: 2,
    times.SERIAL: 3,
    times.ELAPSED: 4,
}
_PAIR_RANK: Final = 1
_EPOCHS: Final = frozenset({times.EPOCH_S, times.EPOCH_MS, times.EPOCH_US})
_UTC: Final = re.compile(r"\b(?:utc|gmt|zulu)\b(?!\s*[+-]\s*\d)", re.IGNORECASE)
_CLOCK: Final = re.compile(
    r"^([01]?\d|2[0-4])[:.h][0-5]\d(?:[:.][0-5]\d(?:[.,]\d+)?)?(?:\s*[AaPp]\.?\s?[Mm]\.?)?$"
)
_COMPACT_CLOCK: Final = re.compile(r"^(?:[01]\d|2[0-4])[0-5]\d(?:[0-5]\d)?$")


@frozen
class TimePlan:
    """Where the time stands and how it is written.

    Parameters
    ----------
    kind : str
        Kind of `lungwort.logs.times`.
    columns : tuple of int
        Places of the time column, or of the date and the time column.
    headings : tuple of str
        Their headings.
    unit_s : float
        Unit of an elapsed time [s].
    utc_stated : bool
        Whether the heading says that the times are UTC.
    """

    kind: str
    columns: tuple[int, ...]
    headings: tuple[str, ...]
    unit_s: float = 1.0
    utc_stated: bool = False


@define
class _Places:
    """Columns that can hold the time, by what they hold."""

    whole: list[tuple[int, TimePlan]] = field(factory=list)
    dates: list[int] = field(factory=list)
    clocks: list[int] = field(factory=list)


def find_time(
    headings: tuple[str, ...],
    readings: list[Reading],
    units_below: list[str],
    body: list[list[str]],
    options: ReadOptions,
    name: str,
) -> TimePlan:
    """Find where the time stands.

    Parameters
    ----------
    headings : tuple of str
        All headings.
    readings : list of Reading
        What they say.
    units_below : list of str
        Row of units; empty texts where there is none.
    body : list of list of str
        Some rows.
    options : ReadOptions
        What the user settled.
    name : str
        File name, for messages.

    Returns
    -------
    TimePlan
        The time column, or the date and the time column.

    Raises
    ------
    LogError
        Where there is none, or what stands there is no time.
    """
    indices = _candidates(headings, readings, body, options, name)
    places = _Places()
    with_date = any(readings[index].key == "date" for index in indices)
    for index in indices:
        cells = _cells(body, index)
        key = readings[index].key
        timely = key != "date" and (key == "time" or bool(options.time_columns))
        if with_date and timely and (_all(_CLOCK, cells) or _all(_COMPACT_CLOCK, cells)):
            places.clocks.append(index)
        else:
            _look_at(places, index, headings, units_below, cells, options, len(indices) > 1)
    if places.dates and places.clocks:
        pair = (places.dates[0], places.clocks[0])
        both = (headings[pair[0]], headings[pair[1]])
        utc = bool(_UTC.search(" ".join(both)))
        places.whole.append((_PAIR_RANK, TimePlan(times.TEXT, pair, both, 1.0, utc)))
    elif places.dates:
        _check_date_alone(places, headings, body, name)
        place = places.dates[0]
        places.whole.append((_PAIR_RANK, TimePlan(times.TEXT, (place,), (headings[place],), 1.0)))
    if not places.whole:
        raise _no_time(places, indices, headings, body, name)
    return min(places.whole, key=lambda item: item[0])[1]


def _candidates(
    headings: tuple[str, ...],
    readings: list[Reading],
    body: list[list[str]],
    options: ReadOptions,
    name: str,
) -> list[int]:
    if options.time_columns:
        return [column_of(text, headings, name, "--time-column") for text in options.time_columns]
    indices = [i for i, reading in enumerate(readings) if reading.key in {"time", "date"}]
    if not indices:
        indices = [
            i
            for i in range(len(headings))
            if (cells := _cells(body, i))
            and all(times.shape_of(cell) is not None for cell in cells[:20])
        ][:1]
    if not indices:
        listed = ", ".join(repr(text) for text in headings if text)[:300]
        raise LogError(
            f"no column of times was found among {listed}. Name it with --time-column.", file=name
        )
    return indices


def _look_at(
    places: _Places,
    index: int,
    headings: tuple[str, ...],
    units_below: list[str],
    raw: list[str],
    options: ReadOptions,
    several: bool,  # noqa: FBT001 - whether other columns can complete it
) -> None:
    cells = _tidy(raw)
    heading = f"{headings[index]} {units_below[index]}"
    utc = bool(_UTC.search(heading))
    kind = times.numeric_kind(cells, heading)
    if kind:
        unit_s = _unit_s(heading, headings[index], options)
        plan = TimePlan(kind, (index,), (headings[index],), unit_s, utc or kind in _EPOCHS)
        places.whole.append((_RANK[kind], plan))
        return
    found = [shape for cell in cells if (shape := times.shape_of(cell)) is not None]
    if found and len(found) >= 0.5 * len(cells):
        bare = sum(not re.search(r"%[HI]", shape.pattern) for shape in found)
        if bare > 0.9 * len(found) and several:
            places.dates.append(index)
        else:
            plan = TimePlan(times.TEXT, (index,), (headings[index],), 1.0, utc)
            places.whole.append((_RANK[times.TEXT], plan))
    elif sum(bool(re.match(r"^\d{1,2}[:.h]\d{2}", cell)) for cell in cells) > 0.5 * len(cells):
        places.clocks.append(index)


def _unit_s(heading: str, name: str, options: ReadOptions) -> float:
    given = next((text for key, text in options.units if key in {"time", name}), None)
    if given is None:
        return times.elapsed_unit_s(heading) or 0.0
    unit_s = times.elapsed_unit_s(given)
    if unit_s is None:
        raise LogError(f"--unit time={given}: no unit of time. Use s, ms, min or h.", column=name)
    return unit_s


def _check_date_alone(
    places: _Places, headings: tuple[str, ...], body: list[list[str]], name: str
) -> None:
    """Refuse a date that many rows share where numbers beside it may be the time of day."""
    cells = _cells(body, places.dates[0])
    numeric = [plan for _, plan in places.whole if plan.kind in {times.ELAPSED, times.SERIAL}]
    if numeric and len(set(cells)) < 0.5 * len(cells):
        seen = _cells(body, numeric[0].columns[0])[0]
        raise LogError(
            f"{numeric[0].headings[0]!r} beside the date in {headings[places.dates[0]]!r} holds numbers that are no "
            f"time of day (found {seen!r}). Export the time as 10:15:30.",
            file=name,
        )


def _no_time(
    places: _Places,
    indices: list[int],
    headings: tuple[str, ...],
    body: list[list[str]],
    name: str,
) -> LogError:
    seen = next((cell for index in indices for cell in _cells(body, index)), "")
    where = headings[indices[0]] or f"column {indices[0] + 1}"
    if not seen:
        return LogError(f"there are no readings: no row has a time in {where!r}.", file=name)
    if places.clocks:
        return LogError(
            f"{where!r} holds a time of day without a date ({seen!r}). Export the log with its date.",
            file=name,
        )
    return LogError(
        f"{where!r} does not hold times that can be read (found {seen!r}). Name the column of the time "
        "with --time-column.",
        file=name,
        column=where,
    )


def _all(pattern: re.Pattern[str], cells: list[str]) -> bool:
    """Tell whether all cells are times of day: 10.11.12 beside a date is no date."""
    return bool(cells) and all(pattern.match(cell) for cell in cells[:_LOOKED_AT])


def _tidy(cells: list[str]) -> list[str]:
    import polars as pl  # noqa: PLC0415 - only to share one way of tidying

    tidied = times.tidy(pl.Series("t", cells[:_LOOKED_AT], dtype=pl.String))
    return [cell for cell in tidied.to_list() if cell]


def _cells(body: list[list[str]], index: int) -> list[str]:
    return [row[index].strip() for row in body if index < len(row) and row[index].strip()]
