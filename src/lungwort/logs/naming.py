"""How the user names columns and units, and units that stand in the cells."""

from __future__ import annotations

import difflib
import re
from collections import Counter

from lungwort.air import units as air_units
from lungwort.air.analytes import ATMOSPHERIC_DEW_POINT, PRESSURE_DEW_POINT
from lungwort.errors import LogError
from lungwort.logs.headunits import fold


def column_of(text: str, headings: tuple[str, ...], name: str, option: str) -> int:
    """Find a column by its heading, or by 'column N' where headings are missing or twice there.

    Parameters
    ----------
    text : str
        The heading, with or without accents and blanks, or ``column 3``.
    headings : tuple of str
        All headings.
    name : str
        File name, for the message.
    option : str
        Option that the heading was given with, for the message.

    Returns
    -------
    int
        Place of the column, from 0.

    Raises
    ------
    LogError
        Where there is no such column; the message lists those near it.
    """
    asked = text.strip()
    for index, heading in enumerate(headings):
        if heading == asked:
            return index
    number = re.fullmatch(r"column (\d+)", asked)
    if number is not None and 0 < int(number.group(1)) <= len(headings):
        return int(number.group(1)) - 1
    wanted = fold(asked)
    alike = [index for index, heading in enumerate(headings) if wanted and fold(heading) == wanted]
    if len(alike) == 1:
        return alike[0]
    filled = [heading for heading in headings if heading]
    near = [headings[index] for index in alike] or difflib.get_close_matches(
        asked, filled, n=3, cutoff=0.4
    )
    listed = ", ".join(map(repr, near or filled[:12]))
    raise LogError(
        f"there is no column {asked!r} (given with {option}). Near it: {listed}.", file=name
    )


def label_of(index: int, headings: tuple[str, ...]) -> str:
    """Give the words by which a column can be named: its heading, or 'column N'."""
    heading = headings[index]
    return heading if heading and headings.count(heading) == 1 else f"column {index + 1}"


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


def unit_in_cells(cells: list[str]) -> str:
    """Find the unit that the cells of a column repeat.

    Parameters
    ----------
    cells : list of str
        Some cells.

    Returns
    -------
    str
        Unit name; empty where most cells repeat none.

    Examples
    --------
    >>> unit_in_cells(["1.2 ppm", "<1 ppm"])
    'ppm'
    """
    found: Counter[str] = Counter()
    for cell in cells[:100]:
        match = re.match(r"^[<>]?\s*[+-]?[\d.,]+\s*([^\d\s].*)$", cell)
        named = air_units.unit_name(match.group(1)) if match else None
        found[named or ""] += 1
    if not found:
        return ""
    unit, count = found.most_common(1)[0]
    return unit if count > 0.8 * sum(found.values()) else ""
