"""How one file is laid out: delimiter, heading line, which column is what, and what stays open."""

from __future__ import annotations

import csv
import re
from collections import Counter
from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.air import units as air_units
from lungwort.air.analytes import ANALYTES
from lungwort.errors import LogError
from lungwort.logs import times
from lungwort.logs import vocabulary as words_of
from lungwort.logs.columns import Chosen, ValueColumn, choose_columns
from lungwort.logs.decimals import (
    choose_decimal,
    dotted_question,
    highest_values,
    value_cells,
)
from lungwort.logs.headings import Reading, read_heading
from lungwort.logs.headunits import bare_unit, fold
from lungwort.logs.options import Question, ReadOptions
from lungwort.logs.timeplan import TimePlan, find_time

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

DELIMITERS: Final = (";", "\t", "|", ",")
DELIMITER_NAMES: Final = {
    ";": "semicolon",
    "\t": "tab",
    "|": "pipe",
    ",": "comma",
    "": "cells of a worksheet",
}

Labels = dict[str, "Counter[str]"]

_HEADING_WORDS: Final = {"time", "date", "name", "value", "unit"}
_SAMPLE_ROWS: Final = 400
_SUB_HEADINGS: Final = (
    words_of.MEANS | words_of.LOWEST | words_of.HIGHEST | words_of.EXPOSURE | words_of.NOT_A_READING
)
_SUB_HEADINGS_FROM: Final = 0.5


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
    _refuse_second_headings(rows, header, first, name)
    headings = tuple(cell.strip().strip('"').strip() for cell in rows[header])
    units_below = [cell.strip() for cell in rows[unit_line]] if unit_line is not None else []
    units_below += [""] * (len(headings) - len(units_below))
    readings = [read_heading(text, units_below[i]) for i, text in enumerate(headings)]
    body = [row for row in rows[first:] if any(cell.strip() for cell in row)]
    time = find_time(headings, readings, units_below, body, options, name)
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
        labels = count_labels(body, long)
        return settle_labels(evolve(partial, long=long), labels, body, options, name)
    chosen = choose_columns(
        headings, readings, body, time.columns, options, name=name, line=header + 1
    )
    return _finish(_with(partial, chosen), body, options)


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


def _refuse_second_headings(rows: list[list[str]], header: int, first: int, name: str) -> None:
    """Stop where the words of the headings stand in two lines: 'CO [ppm]' above 'min' and 'max'."""
    for index in range(max(header - 1, 0), min(first + 2, len(rows))):
        if index == header:
            continue
        cells = [fold(cell) for cell in rows[index] if cell.strip()]
        telling = [cell for cell in cells if set(cell.split()) & _SUB_HEADINGS]
        if len(telling) > 1 and len(telling) >= _SUB_HEADINGS_FROM * len(cells):
            raise LogError(
                f"the headings stand in two lines (this one has {', '.join(map(repr, telling[:3]))}). "
                "Join them into one, such as 'CO max [ppm]'.",
                file=name,
                line=index + 1,
            )


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
    cells = [bare_unit(cell) for cell in row if cell.strip()]
    if not cells:
        return False
    known = sum(air_units.unit_name(cell) is not None for cell in cells)
    formats = sum(
        bool(re.fullmatch(r"[-–]|(?:[dmyjthst]{1,4}[-./: ]?){2,7}|utc|gmt|s|min|h", cell.lower()))
        for cell in cells
    )
    return known > 0 and known + formats >= 0.6 * len(cells)


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


def count_labels(rows: Iterable[Sequence[str]], long: LongPlan) -> Labels:
    """Count the labels of a file with one reading a row, with their units.

    Parameters
    ----------
    rows : iterable of sequence of str
        Rows of cells.
    long : LongPlan
        Where label, value and unit stand.

    Returns
    -------
    dict
        Label to the units beside it and how often.
    """
    labels: Labels = {}
    for row in rows:
        if len(row) > max(long.label, long.value) and row[long.value].strip():
            unit = row[long.unit].strip() if long.unit is not None and long.unit < len(row) else ""
            labels.setdefault(row[long.label].strip(), Counter())[unit] += 1
    return labels


def settle_labels(
    layout: Layout, labels: Labels, body: list[list[str]], options: ReadOptions, name: str
) -> Layout:
    """Choose the channels of a file with one reading a row from its labels.

    Parameters
    ----------
    layout : Layout
        What is understood so far.
    labels : dict
        Labels of the file with the units beside them, from `count_labels`.
    body : list of list of str
        Some rows.
    options : ReadOptions
        What the user settled.
    name : str
        File name, for messages.

    Returns
    -------
    Layout
        With its channels.

    Raises
    ------
    LogError
        Where a label stands beside several units.
    """
    names = tuple(label for label in labels if label)
    readings = [read_heading(label, labels[label].most_common(1)[0][0]) for label in names]
    chosen = choose_columns(names, readings, [], (), options, name=name, line=layout.header_line)
    for column in chosen.values:
        units = [unit or "no unit" for unit in labels[column.heading]]
        if len({air_units.unit_name(unit) or unit for unit in units}) > 1:
            raise LogError(
                f"the readings of {column.heading!r} stand in several units: {', '.join(units)}. "
                "Split the file by unit and read the parts together.",
                file=name,
            )
    return _finish(_with(layout, chosen), body, options)


def _with(layout: Layout, chosen: Chosen) -> Layout:
    return evolve(
        layout,
        values=chosen.values,
        unused=chosen.unused,
        questions=chosen.questions,
        notes=chosen.notes,
    )


def _finish(layout: Layout, body: list[list[str]], options: ReadOptions) -> Layout:
    questions = list(layout.questions)
    places = (
        [layout.long.value]
        if layout.long is not None
        else [column.index for column in layout.values]
    )
    cells = [row[place] for row in body[:_SAMPLE_ROWS] for place in places if place < len(row)]
    decimal, question = choose_decimal(cells, options)
    if question is None and options.decimal is None and decimal == "point":
        question = dotted_question(
            value_cells(layout, body[:_SAMPLE_ROWS]), layout.delimiter, highest_values(layout)
        )
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
