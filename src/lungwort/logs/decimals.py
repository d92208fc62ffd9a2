"""Which sign parts the decimals of a file, and which the thousands."""

from __future__ import annotations

import math
import re
from itertools import zip_longest
from typing import TYPE_CHECKING, Final

from lungwort.air import units
from lungwort.logs.cells import decimal_evidence
from lungwort.logs.options import Question

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.logs.layout import Layout
    from lungwort.logs.options import ReadOptions

_DOTTED: Final = re.compile(r"[<>]?\s*[+-]?[1-9]\d{0,2}\.\d{3}")
_DECIMALS: Final = re.compile(r"[<>]?\s*[+-]?(?:\d*\.(?:\d{1,2}|\d{4,})|0*\.\d{3}|\d{4,}\.\d{3})")
_ALIKE_AT_LEAST: Final = 3
_SEMICOLON: Final = ";"
_HOTTEST: Final = 1000.0
"""No dew point and no air lies above it [°C or °F]; own rule."""
_GROUPING: Final = re.compile(r"(?<=\d)['\u2009\u00a0\u202f ](?=\d{3}(?!\d))")


def value_cells(layout: Layout, rows: list[list[str]]) -> list[list[str]]:
    """Collect the cells of each channel.

    Parameters
    ----------
    layout : Layout
        How the file is laid out.
    rows : list of list of str
        Some rows.

    Returns
    -------
    list of list of str
        Stripped cells that are not empty, one list a channel.
    """
    long = layout.long
    if long is None:
        places = [column.index for column in layout.values]
        found = [[row[place].strip() for row in rows if place < len(row)] for place in places]
    else:
        most = max(long.label, long.value)
        found = [
            [row[long.value].strip() for row in rows if len(row) > most and row[long.label].strip() == column.heading]
            for column in layout.values
        ]  # fmt: skip
    return [[cell for cell in cells if cell] for cells in found]


def highest_values(layout: Layout) -> list[float]:
    """Give the highest value that each channel can have, in the unit of its column.

    Parameters
    ----------
    layout : Layout
        How the file is laid out.

    Returns
    -------
    list of float
        A whole for contents and humidity, 1000 for temperatures, else without end.
    """
    return [highest_value(column.unit) for column in layout.values]


def highest_value(unit: str) -> float:
    """Give the highest value that there can be in a unit; as `highest_values`."""
    if unit not in units.UNITS:
        return math.inf
    dimension = units.unit(unit).dimension
    if dimension == units.FRACTION:
        return units.scale(1e6, "ppm", unit)
    if dimension == units.RELATIVE_HUMIDITY:
        return 100.0
    return _HOTTEST if dimension == units.TEMPERATURE else math.inf


def point_is_decimal(
    columns: list[list[str]], delimiter: str = ",", highest: Sequence[float] = ()
) -> tuple[bool, str]:
    """Look whether the point can only be a decimal sign.

    1.050 among 430 and 980 can be a thousand and fifty; where every number of a column has three
    decimals, or any number of the file has another count of them, the point is a decimal sign. In
    a file that is cut by semicolons three decimals everywhere prove nothing: such files come from
    where the comma is the decimal sign, and 1.440 there is fourteen hundred and forty. Where that
    cannot be (20.900 %), the point is a decimal sign.

    Parameters
    ----------
    columns : list of list of str
        Cells, one list a channel.
    delimiter : str
        What cuts the lines of the file.
    highest : sequence of float
        Highest value that each channel can have; without end where none are given.

    Returns
    -------
    tuple of (bool, str)
        Whether it is proven, and else a number that can be read in two ways (empty for none).

    Examples
    --------
    >>> point_is_decimal([["430", "1.050"]]), point_is_decimal([["430", "1.050"], ["20.9"]])
    ((False, '1.050'), (True, ''))
    >>> alike = [["1.440", "1.380", "1.395"]]
    >>> point_is_decimal(alike), point_is_decimal(alike, ";")
    ((True, ''), (False, '1.440'))
    >>> point_is_decimal([*alike, ["20.900", "20.905"]], ";", [1e6, 100.0])
    (True, '')
    """
    open_one = ""
    of_thousands = delimiter == _SEMICOLON
    for cells, most in zip_longest(columns, highest, fillvalue=math.inf):
        assert isinstance(cells, list)  # noqa: S101 - for types
        dotted = [cell for cell in cells if _DOTTED.fullmatch(cell)]
        if any(_thousands(cell) > most for cell in dotted):
            return True, ""
        if any(_DECIMALS.fullmatch(cell) for cell in cells):
            return True, ""
        bare = any(re.fullmatch(r"[<>]?\s*[+-]?\d+", cell) for cell in cells)
        if len(dotted) >= _ALIKE_AT_LEAST and not bare:
            if not of_thousands:
                return True, ""
            open_one = open_one or dotted[0]
        if dotted and bare and not any(re.fullmatch(r"[+-]?\d{4,}", cell) for cell in cells):
            open_one = open_one or dotted[0]
    return False, open_one


def _thousands(cell: str) -> float:
    return abs(float(cell.lstrip("<> ").replace(".", "")))


def dotted_question(
    columns: list[list[str]], delimiter: str = ",", highest: Sequence[float] = ()
) -> Question | None:
    """Ask where a point may part thousands.

    Parameters
    ----------
    columns : list of list of str
        Cells, one list a channel.
    delimiter : str
        What cuts the lines of the file.
    highest : sequence of float
        As `point_is_decimal`.

    Returns
    -------
    Question or None
        None where the point can only be the decimal sign.
    """
    _, sample = point_is_decimal(columns, delimiter, highest)
    if not sample:
        return None
    return Question(
        f"'{sample}' can be {sample.replace('.', '')} or a number with three decimals.",
        ("point is the decimal sign", "point groups thousands"),
        "Settle it with --decimal point or --decimal comma.",
    )


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
    # Blanks and apostrophes can only group thousands: without them the sign shows.
    evidence = decimal_evidence(_GROUPING.sub("", cell) for cell in cells)
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
