"""How one file is laid out: delimiter, heading line, which column is what, and what stays open."""

from __future__ import annotations

import csv
import difflib
import re
from collections import Counter
from typing import Final

from attrs import evolve, frozen

from lungwort.air import units as air_units
from lungwort.air.analytes import (
    ANALYTES,
    ATMOSPHERIC_DEW_POINT,
    PRESSURE_DEW_POINT,
    canonical_unit,
)
from lungwort.errors import LogError, QuantityError
from lungwort.logs import times
from lungwort.logs.cells import decimal_evidence
from lungwort.logs.headings import (
    DEW_POINT,
    Reading,
    dimensions_that_fit,
    fold,
    quantity_of,
    read_heading,
)
from lungwort.logs.options import Question, ReadOptions

DELIMITERS: Final = (";", "\t", "|", ",")
DELIMITER_NAMES: Final = {
    ";": "semicolon",
    "\t": "tab",
    "|": "pipe",
    ",": "comma",
    "": "cells of a worksheet",
}

_HEADING_WORDS: Final = {"time", "date", "name", "value", "unit"}
_SAMPLE_ROWS: Final = 400


@frozen
class ValueColumn:
    """A column that becomes a channel.

    Parameters
    ----------
    index : int
        Place in the row, from 0.
    heading : str
        Heading in the file, or the label in a long file.
    analyte, quantity : str
        What it measures.
    unit : str
        Unit in the file.
    name : str
        Column name in the log.
    basis : str
        What was taken for granted.
    """

    index: int
    heading: str
    analyte: str
    quantity: str
    unit: str
    name: str = ""
    basis: str = ""

    @property
    def canonical_unit(self) -> str:
        """Unit in which the log keeps it; a pressure without a stated zero stays what it is."""
        dimension = air_units.unit(self.unit).dimension
        if dimension == air_units.PRESSURE_UNSTATED:
            return "bar"
        return canonical_unit(self.analyte, self.quantity)


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


@frozen
class LongPlan:
    """A file with one reading a row: where the label, the value and the unit stand."""

    label: int
    value: int
    unit: int | None = None


@frozen
class Layout:
    """Everything understood of a file before its readings are read.

    Parameters
    ----------
    delimiter : str
        Delimiter; empty for a worksheet.
    header_line, unit_line, first_line : int
        Lines of the headings, of the units (0 for none) and of the first reading, from 1.
    headings : tuple of str
        All headings.
    time : TimePlan
        The time.
    values : tuple of ValueColumn
        The channels.
    long : LongPlan, optional
        For a file with one reading a row.
    decimal : str
        ``point`` or ``comma``.
    unused : tuple of (str, str)
        Headings left alone, and why.
    questions : tuple of Question
        What must be settled before the file can be read.
    preamble : tuple of str
        Lines above the headings.
    notes : tuple of str
        What the reader must be told.
    """

    delimiter: str
    header_line: int
    unit_line: int
    first_line: int
    headings: tuple[str, ...]
    time: TimePlan
    values: tuple[ValueColumn, ...]
    long: LongPlan | None = None
    decimal: str = "point"
    unused: tuple[tuple[str, str], ...] = ()
    questions: tuple[Question, ...] = ()
    preamble: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    width: int = 0


def cut(lines: list[str], delimiter: str) -> list[list[str]]:
    """Cut lines into cells, one line at a time so that line numbers hold."""
    rows = []
    for line in lines:
        text = line.rstrip("\r")
        if '"' not in text:
            rows.append(text.split(delimiter))
            continue
        try:
            rows.append(next(csv.reader([text], delimiter=delimiter), []))
        except csv.Error:
            rows.append(text.split(delimiter))
    return rows


def find_delimiter(lines: list[str], wish: str | None, name: str) -> str:
    """Find the delimiter by which most lines have the same number of cells.

    Raises
    ------
    LogError
        Where no delimiter cuts the lines evenly.
    """
    if wish is not None:
        named = {"tab": "\t", "comma": ",", "semicolon": ";", "pipe": "|"}.get(wish, wish)
        if len(named) != 1:
            raise LogError(
                f"delimiter {wish!r} is not one character. Use ';', ',', '|' or 'tab'.", file=name
            )
        return named
    body = [line for line in lines[-_SAMPLE_ROWS:] if line.strip()]
    best, best_score = "", 0.0
    for delimiter in DELIMITERS:
        widths = Counter(len(row) for row in cut(body, delimiter))
        width, count = max(widths.items(), key=lambda item: (item[1], item[0]))
        share = count / max(len(body), 1)
        # A decimal comma cuts evenly too, so the comma must win clearly over the others.
        score = share if width > 1 else 0.0
        if score > best_score + (0.15 if delimiter == "," and best else 0.0):
            best, best_score = delimiter, score
    if not best or best_score < 0.4:  # noqa: PLR2004 - fewer than that is no table
        first = body[0][:80] if body else ""
        raise LogError(
            f"no delimiter cuts the lines into even columns (first line: {first!r}). "
            "Export the log as CSV, or name the delimiter with --delimiter.",
            file=name,
        )
    return best


def lay_out(rows: list[list[str]], delimiter: str, options: ReadOptions, name: str) -> Layout:
    """Understand a file from its first rows.

    Parameters
    ----------
    rows : list of list of str
        First rows, one a line.
    delimiter : str
        Delimiter; empty for a worksheet.
    options : ReadOptions
        What the user settled.
    name : str
        File name, for messages.

    Returns
    -------
    Layout
        What was understood, with open questions in it.

    Raises
    ------
    LogError
        Where there are no headings, no readings or no time.
    """
    header, unit_line, first = _find_header(rows, options, name)
    headings = tuple(cell.strip().strip('"').strip() for cell in rows[header])
    units_below = [cell.strip() for cell in rows[unit_line]] if unit_line is not None else []
    units_below += [""] * (len(headings) - len(units_below))
    readings = [read_heading(text, units_below[i]) for i, text in enumerate(headings)]
    body = [row for row in rows[first:] if any(cell.strip() for cell in row)]
    time = _find_time(headings, readings, units_below, body, options, name)
    width = len(headings)
    partial = Layout(
        delimiter=delimiter,
        header_line=header + 1,
        unit_line=0 if unit_line is None else unit_line + 1,
        first_line=first + 1,
        headings=headings,
        time=time,
        values=(),
        preamble=tuple(" ".join(cell for cell in row if cell.strip()) for row in rows[:header])[
            :50
        ],
        width=width,
    )
    long = _find_long(readings, time)
    if long is not None:
        return _finish(_long_values(partial, long, body, options), body, options)
    return _finish(_wide_values(partial, readings, body, options), body, options)


def _find_header(
    rows: list[list[str]], options: ReadOptions, name: str
) -> tuple[int, int | None, int]:
    if options.header_line is not None:
        header = options.header_line - 1
        if not 0 <= header < len(rows):
            raise LogError(
                f"line {options.header_line} was given for the headings, but there is none.",
                file=name,
            )
    else:
        header = _best_header(rows, name)
    unit_line = None
    first = header + 1
    for index in range(header + 1, min(header + 4, len(rows))):
        if not any(cell.strip() for cell in rows[index]):
            continue
        if unit_line is None and _is_unit_row(rows[index]):
            unit_line, first = index, index + 1
            continue
        break
    return header, unit_line, first


def _best_header(rows: list[list[str]], name: str) -> int:
    best, best_score = -1, 0.0
    for index, row in enumerate(rows[:200]):
        cells = [cell for cell in row if cell.strip()]
        if len(cells) < 2 or _looks_like_data(cells):  # noqa: PLR2004 - a time and a value
            continue
        keys = [read_heading(cell).key for cell in cells]
        known = len({key for key in keys if key and key not in _HEADING_WORDS}) + sum(
            key in _HEADING_WORDS for key in keys
        )
        score = known + 0.3 * any(key in {"time", "date"} for key in keys)
        # A preamble line such as 'Channel; CO; ppm' is narrower than the table.
        following = [
            len(other)
            for other in rows[index + 1 : index + 30]
            if any(cell.strip() for cell in other)
        ]
        if following and len(row) < 0.5 * Counter(following).most_common(1)[0][0]:
            score *= 0.2
        if score > best_score:
            best, best_score = index, score
    if best < 0:
        first = " ".join(rows[0])[:80] if rows else ""
        raise LogError(
            f"no line of headings was found (first line: {first!r}). A heading names what a column measures, such as "
            "'CO [ppm]'. Add one, or name its line with --header-line and the columns with --column.",
            file=name,
        )
    return best


def _looks_like_data(cells: list[str]) -> bool:
    numeric = sum(
        bool(re.fullmatch(r"[<>]?\s*[+-]?\d[\d.,]*(?:[eE][+-]?\d+)?", cell.strip()))
        for cell in cells
    )
    timed = sum(times.shape_of(cell.strip()) is not None for cell in cells)
    return timed > 0 or numeric >= max(2, 0.5 * len(cells))


def _is_unit_row(row: list[str]) -> bool:
    cells = [cell.strip().strip("[](){}").strip() for cell in row if cell.strip()]
    if not cells:
        return False
    known = sum(air_units.unit_name(cell) is not None for cell in cells)
    formats = sum(
        bool(re.fullmatch(r"[-–]|(?:[dmyjthst]{1,4}[-./: ]?){2,7}|utc|gmt|s|min|h", cell.lower()))
        for cell in cells
    )
    return known > 0 and known + formats >= 0.6 * len(cells)


def _find_time(
    headings: tuple[str, ...],
    readings: list[Reading],
    units_below: list[str],
    body: list[list[str]],
    options: ReadOptions,
    name: str,
) -> TimePlan:
    wished = options.time_columns
    if wished:
        indices = [_index_of(text, headings, name, "--time-column") for text in wished]
    else:
        indices = [i for i, reading in enumerate(readings) if reading.key in {"time", "date"}]
        if not indices:
            indices = [
                i
                for i in range(len(headings))
                if (cells := _cells(body, i))
                and all(times.shape_of(c) is not None for c in cells[:20])
            ][:1]
    if not indices:
        listed = ", ".join(repr(text) for text in headings if text)[:300]
        raise LogError(
            f"no column of times was found among {listed}. Name it with --time-column.", file=name
        )
    candidates: list[tuple[int, TimePlan]] = []
    clocks: list[int] = []
    dates: list[int] = []
    with_date = any(readings[index].key == "date" for index in indices)
    for index in indices:
        if with_date and readings[index].key == "time" and _all_clock(_cells(body, index)):
            clocks.append(index)
            continue
        cells = _tidy_cells(_cells(body, index))
        heading = f"{headings[index]} {units_below[index]}"
        kind = times.numeric_kind(cells[:200], heading)
        shapes = [times.shape_of(cell) for cell in cells[:200]]
        found = [shape for shape in shapes if shape is not None]
        utc = bool(re.search(r"\b(?:utc|gmt|zulu)\b", heading.lower()))
        if kind:
            unit_s = times.elapsed_unit_s(heading) or 0.0
            given = next(
                (text for key, text in options.units if key in {"time", headings[index]}), None
            )
            if given is not None:
                unit_s = times.elapsed_unit_s(given) or 0.0
            rank = {
                times.EPOCH_S: 2,
                times.EPOCH_MS: 2,
                times.EPOCH_US: 2,
                times.SERIAL: 3,
                times.ELAPSED: 4,
            }[kind]
            utc = utc or rank == 2  # noqa: PLR2004 - an epoch counts from a UTC moment
            candidates.append((rank, TimePlan(kind, (index,), (headings[index],), unit_s, utc)))
        elif len(found) >= 0.5 * max(len(cells[:200]), 1) and found:
            bare = sum(not re.search(r"%[HI]", shape.pattern) for shape in found)
            if bare > 0.9 * len(found) and len(indices) > 1:
                dates.append(index)
            else:
                candidates.append((0, TimePlan(times.TEXT, (index,), (headings[index],), 1.0, utc)))
        elif cells and sum(
            bool(re.match(r"^\d{1,2}[:.h]\d{2}", cell)) for cell in cells[:200]
        ) > 0.5 * len(cells[:200]):
            clocks.append(index)
    if dates and clocks:
        utc = bool(
            re.search(
                r"\b(?:utc|gmt|zulu)\b", f"{headings[dates[0]]} {headings[clocks[0]]}".lower()
            )
        )
        pair = (dates[0], clocks[0])
        candidates.append(
            (1, TimePlan(times.TEXT, pair, (headings[pair[0]], headings[pair[1]]), 1.0, utc))
        )
    elif dates:
        candidates.append(
            (1, TimePlan(times.TEXT, (dates[0],), (headings[dates[0]],), 1.0, utc_stated=False))
        )
    if not candidates:
        seen = next((cell for index in indices for cell in _cells(body, index)), "")
        where = headings[indices[0]] or f"column {indices[0] + 1}"
        if clocks:
            raise LogError(
                f"{where!r} holds a time of day without a date ({seen!r}). Export the log with its date.",
                file=name,
            )
        raise LogError(
            f"{where!r} does not hold times that can be read (found {seen!r}).",
            file=name,
            column=where,
        )
    candidates.sort(key=lambda item: item[0])
    return candidates[0][1]


def _all_clock(cells: list[str]) -> bool:
    """Tell whether all cells are times of day: 10.11.12 beside a date is no date."""
    clock = re.compile(
        r"^([01]?\d|2[0-4])[:.h][0-5]\d(?:[:.][0-5]\d(?:[.,]\d+)?)?(?:\s*[AaPp]\.?\s?[Mm]\.?)?$"
    )
    return bool(cells) and all(clock.match(cell) for cell in cells[:200])


def _tidy_cells(cells: list[str]) -> list[str]:
    import polars as pl  # noqa: PLC0415 - only to share one way of tidying

    return [
        cell for cell in times.tidy(pl.Series("t", cells[:200], dtype=pl.String)).to_list() if cell
    ]


def _cells(body: list[list[str]], index: int) -> list[str]:
    return [row[index].strip() for row in body if index < len(row) and row[index].strip()]


def _index_of(text: str, headings: tuple[str, ...], name: str, option: str) -> int:
    for index, heading in enumerate(headings):
        if heading == text.strip():
            return index
    wanted = fold(text)
    for index, heading in enumerate(headings):
        if fold(heading) == wanted:
            return index
    near = difflib.get_close_matches(
        text, [heading for heading in headings if heading], n=3, cutoff=0.4
    )
    listed = ", ".join(repr(heading) for heading in near) or ", ".join(
        repr(h) for h in headings[:12] if h
    )
    raise LogError(
        f"there is no column {text!r} (given with {option}). Near it: {listed}.", file=name
    )


def _find_long(readings: list[Reading], time: TimePlan) -> LongPlan | None:
    places = {
        reading.key: index
        for index, reading in enumerate(readings)
        if reading.key in {"name", "value", "unit"}
    }
    analytes = [r for i, r in enumerate(readings) if r.key in ANALYTES and i not in time.columns]
    if "name" in places and "value" in places and not analytes:
        return LongPlan(places["name"], places["value"], places.get("unit"))
    return None


def _long_values(
    layout: Layout, long: LongPlan, body: list[list[str]], options: ReadOptions
) -> Layout:
    labels: dict[str, Counter[str]] = {}
    for row in body:
        if len(row) > max(long.label, long.value):
            unit = row[long.unit].strip() if long.unit is not None and long.unit < len(row) else ""
            labels.setdefault(row[long.label].strip(), Counter())[unit] += 1
    names = tuple(label for label in labels if label)
    readings = [read_heading(label, labels[label].most_common(1)[0][0]) for label in names]
    shadow = evolve(layout, headings=names, time=evolve(layout.time, columns=()))
    chosen = _wide_values(shadow, readings, [], options)
    return evolve(
        layout,
        long=long,
        values=chosen.values,
        unused=chosen.unused,
        questions=chosen.questions,
        notes=chosen.notes,
    )


def _wide_values(
    layout: Layout, readings: list[Reading], body: list[list[str]], options: ReadOptions
) -> Layout:
    headings = layout.headings
    named = {
        _index_of(text, headings, "the file", f"--column {key}"): key
        for key, text in options.columns
    }
    for key in named.values():
        if key not in ANALYTES:
            near = difflib.get_close_matches(key, list(ANALYTES), n=3, cutoff=0.4)
            raise LogError(
                f"--column {key}=…: {key!r} is no analyte. Known near it: {', '.join(near) or 'none'}."
            )
    ignored = {fold(text) for text in options.ignore}
    questions: list[Question] = []
    unused: list[tuple[str, str]] = []
    notes: list[str] = []
    columns: list[ValueColumn] = []
    for index, reading in enumerate(readings):
        heading = headings[index]
        if index in layout.time.columns:
            continue
        if not heading and not any(_cells(body, index)):
            continue
        shown = heading or f"column {index + 1} (no heading)"
        if fold(heading) in ignored:
            unused.append((shown, "left alone as asked"))
            continue
        forced = named.get(index)
        if forced is None and (
            options.only_columns or any(key == reading.key for key in named.values())
        ):
            unused.append(
                (shown, "another column was named for it" if reading.key else "not understood")
            )
            continue
        key = forced or reading.key
        if key not in ANALYTES:
            unused.append(
                (shown, "another time column" if key in {"time", "date"} else "not understood")
            )
            continue
        column, question, why = _value_column(
            index, heading, key, reading, body, options, layout.header_line
        )
        if question is not None:
            if options.wanted is not None and key not in options.wanted:
                unused.append((shown, f"{why}; not needed for this limit set"))
            elif not ANALYTES[key].in_air or key == "relative_humidity":
                unused.append((shown, why))
            else:
                questions.append(question)
            continue
        if column is None:
            unused.append((shown, why))
            continue
        if reading.statistic:
            notes.append(
                f"'{heading}' holds a {reading.statistic} over each interval, as its heading says: "
                "shorter peaks may not show."
            )
        columns.append(column)
    kept, doubled, dropped = _one_a_quantity(columns, named, options, layout.header_line)
    unused.extend(dropped)
    return evolve(
        layout,
        values=_with_names(kept),
        unused=tuple(unused),
        questions=(*questions, *doubled),
        notes=(*layout.notes, *notes),
    )


def _given_unit(key: str, heading: str, options: ReadOptions) -> str:
    for name, text in options.units:
        if fold(name) == fold(heading) or name == key:
            return text
    return ""


def parse_given_unit(text: str) -> tuple[str, str]:
    """Read a unit as given by the user, with the words for a dew point.

    Parameters
    ----------
    text : str
        Like ``mg/m3`` or ``°C pressure dew point``.

    Returns
    -------
    tuple of (str, str)
        Unit name, and the quantity where the words name one (else empty).

    Raises
    ------
    QuantityError
        Where the unit is not known.

    Examples
    --------
    >>> parse_given_unit("°C pressure dew point")
    ('°C', 'pressure_dew_point')
    """
    words = text.replace("_", " ")
    quantity = ""
    for pattern, found in (
        (r"(?:pressure|line)[ -](?:dew|frost)[ -]?point", PRESSURE_DEW_POINT),
        (r"(?:atmospheric|atm)[ -](?:dew|frost)[ -]?point", ATMOSPHERIC_DEW_POINT),
    ):
        if re.search(pattern, words, re.IGNORECASE):
            quantity = found
            words = re.sub(pattern, " ", words, flags=re.IGNORECASE)
    return air_units.unit(words.strip()).name, quantity


def _value_column(
    index: int,
    heading: str,
    key: str,
    reading: Reading,
    body: list[list[str]],
    options: ReadOptions,
    line: int,
) -> tuple[ValueColumn | None, Question | None, str]:
    unit, quantity = reading.unit, reading.quantity
    given = _given_unit(key, heading, options)
    if given:
        try:
            unit, given_quantity = parse_given_unit(given)
        except QuantityError as error:
            raise LogError(f"--unit {key}={given}: {error}", column=heading) from error
        quantity = given_quantity or (quantity if quantity != DEW_POINT else "")
        if given_quantity == "" and reading.quantity == DEW_POINT:
            quantity = DEW_POINT
    if not unit:
        unit = _unit_in_cells(_cells(body, index))
    if not unit:
        options_text = {
            "o2": ("%", "ppm", "mol/mol"), "n2": ("%", "ppm"), "oil": ("mg/m3",), "particles": ("mg/m3",),
            "water": ("mg/m3", "ppm", "g/kg", "kg/kg", "'°C atmospheric dew point'", "'°C pressure dew point'"),
        }.get(key, ("ppm", "mg/m3", "%", "mol/mol"))  # fmt: skip
        if quantity in {PRESSURE_DEW_POINT, ATMOSPHERIC_DEW_POINT, DEW_POINT}:
            options_text = ("'°C atmospheric dew point'", "'°C pressure dew point'")
        odd = f" ('{reading.unit_text}' is not a known unit)" if reading.unit_text else ""
        return (
            None,
            Question(
                f"'{heading}' ({ANALYTES[key].name}) has no unit{odd}.",
                tuple(text.strip("'") for text in options_text),
                f"Settle it with --unit {key}={options_text[0]} (or one of the others).",
                line=line,
                column=heading,
                analyte=key,
            ),
            "its unit is not stated",
        )
    if key == "relative_humidity" and unit == "%":
        unit = "%RH"
    dimension = air_units.unit(unit).dimension
    if dimension not in dimensions_that_fit(key):
        return None, None, f"'{unit}' is no unit of {ANALYTES[key].name}"
    quantity = quantity_of(key, quantity, unit)
    if (
        quantity in {PRESSURE_DEW_POINT, ATMOSPHERIC_DEW_POINT}
        and dimension != air_units.TEMPERATURE
    ):
        return None, None, f"a dew point is not measured in '{unit}'"
    if quantity == DEW_POINT:
        return (
            None,
            Question(
                f"'{heading}' is a dew point, and it is not said whether at atmospheric or at line pressure.",
                ("atmospheric dew point", "pressure dew point"),
                f"Settle it with --unit 'water={unit} atmospheric dew point' or --unit 'water={unit} pressure dew point'.",
                line=line,
                column=heading,
                analyte=key,
            ),
            "it is not said at which pressure the dew point is",
        )
    basis = ""
    if dimension == air_units.PRESSURE_UNSTATED:
        basis = "gauge or absolute is not stated"
    return ValueColumn(index, heading, key, quantity, unit, basis=basis), None, ""


def _unit_in_cells(cells: list[str]) -> str:
    found: Counter[str] = Counter()
    for cell in cells[:100]:
        match = re.match(r"^[<>]?\s*[+-]?[\d.,]+\s*([^\d\s].*)$", cell)
        named = air_units.unit_name(match.group(1)) if match else None
        found[named or ""] += 1
    if not found:
        return ""
    unit, count = found.most_common(1)[0]
    return unit if count > 0.8 * sum(found.values()) else ""


def _one_a_quantity(
    columns: list[ValueColumn], named: dict[int, str], options: ReadOptions, line: int
) -> tuple[list[ValueColumn], list[Question], list[tuple[str, str]]]:
    questions: list[Question] = []
    dropped: list[tuple[str, str]] = []
    kept: list[ValueColumn] = []
    groups: dict[tuple[str, str], list[ValueColumn]] = {}
    for column in columns:
        groups.setdefault((column.analyte, column.quantity), []).append(column)
    for (analyte, _), group in groups.items():
        beside = not ANALYTES[analyte].in_air or analyte == "relative_humidity"
        if len(group) == 1 or beside or all(column.index in named for column in group):
            kept.extend(group)
            continue
        headings = tuple(column.heading for column in group)
        if options.wanted is not None and analyte not in options.wanted:
            dropped.extend(
                (heading, "one of several columns for one analyte; not needed for this limit set")
                for heading in headings
            )
            continue
        questions.append(
            Question(
                f"{len(group)} columns hold {ANALYTES[analyte].name}: {', '.join(map(repr, headings))}.",
                headings,
                f"Name the one to use with --column '{analyte}={headings[0]}' (repeat it to use several).",
                line=line,
                column=headings[0],
                analyte=analyte,
            )
        )
    kept.sort(key=lambda column: column.index)
    return kept, questions, dropped


def _with_names(columns: list[ValueColumn]) -> tuple[ValueColumn, ...]:
    seen: Counter[str] = Counter()
    out = []
    for column in columns:
        seen[column.analyte] += 1
        count = seen[column.analyte]
        out.append(
            evolve(column, name=column.analyte if count == 1 else f"{column.analyte}_{count}")
        )
    return tuple(out)


def _finish(layout: Layout, body: list[list[str]], options: ReadOptions) -> Layout:
    questions = list(layout.questions)
    places = (
        [layout.long.value]
        if layout.long is not None
        else [column.index for column in layout.values]
    )
    cells = [row[place] for row in body[:_SAMPLE_ROWS] for place in places if place < len(row)]
    decimal, question = choose_decimal(cells, options)
    if question is not None:
        questions.append(evolve(question, line=layout.first_line))
    if layout.time.kind == times.ELAPSED:
        heading = layout.time.headings[0]
        if layout.time.unit_s == 0.0:
            questions.append(
                Question(
                    f"'{heading}' is an elapsed time without a unit.",
                    ("s", "min", "h", "ms"),
                    "Settle it with --unit time=s (or min, h, ms).",
                    line=layout.header_line,
                    column=heading,
                )
            )
        if options.start is None:
            questions.append(
                Question(
                    f"'{heading}' counts from a moment that the file does not name.",
                    ("any date and time",),
                    "Give it with --start '2026-03-04 10:00'.",
                    line=layout.header_line,
                    column=heading,
                )
            )
    return evolve(layout, decimal=decimal, questions=tuple(questions))


def choose_decimal(cells: list[str], options: ReadOptions) -> tuple[str, Question | None]:
    """Choose the decimal sign from some cells.

    Parameters
    ----------
    cells : list of str
        Cells of the value columns.
    options : ReadOptions
        What the user settled.

    Returns
    -------
    tuple of (str, Question or None)
        ``point`` or ``comma``, and a question where the cells leave it open.
    """
    if options.decimal is not None:
        return options.decimal, None
    evidence = decimal_evidence(cells)
    if evidence.comma and not evidence.point:
        return "comma", None
    if evidence.point and not evidence.comma:
        return "point", None
    if evidence.point and evidence.comma:
        return "point", Question(
            f"some numbers have a decimal point ({evidence.point}) and some a decimal comma ({evidence.comma}).",
            ("point", "comma"),
            "Settle it with --decimal point or --decimal comma.",
        )
    if evidence.either:
        sample = evidence.either[0]
        return "point", Question(
            f"'{sample}' can be {sample.replace(',', '')} or {sample.replace(',', '.')}.",
            ("comma groups thousands", "comma is the decimal sign"),
            "Settle it with --decimal point or --decimal comma.",
        )
    return "point", None
