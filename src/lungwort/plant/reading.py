"""Reading lists of things from a plant sheet: names, numbers that must be there, counts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lungwort.tomlfile import Table

if TYPE_CHECKING:
    from collections.abc import Sequence


def named_tables(top: Table, key: str, keys: Sequence[str]) -> tuple[Table, ...]:
    """Open the tables of a list; each must have a name.

    Parameters
    ----------
    top : Table
        The top of the sheet; mistakes are noted there.
    key : str
        Their key.
    keys : sequence of str
        Keys that they may have.

    Returns
    -------
    tuple of Table
        One for each, to be read key by key.
    """
    found = []
    for at, values in enumerate(top.tables(key), start=1):
        given = values.get("name")
        name = given if isinstance(given, str) else ""
        where = f"[[{key}]] {name!r}" if name else f"[[{key}]] number {at}"
        table = Table(values, (name,) if name else (), where, top.mistakes)
        table.known(keys)
        table.text("name", required=True)
        found.append(table)
    return tuple(found)


def needed(table: Table, key: str, ends: tuple[float, float], unit: str) -> float | None:
    """Read a number that must be there.

    Parameters
    ----------
    table : Table
        Where it stands; mistakes are noted there.
    key : str
        Its key.
    ends : tuple of (float, float)
        Lowest and highest allowed [unit].
    unit : str
        Its unit.

    Returns
    -------
    float or None
        None where it is missing or wrong.
    """
    if key not in table.values:
        table.wrong(key, f"is missing. Give a number [{unit}].")
        return None
    return table.number(key, *ends, unit)


def count(table: Table, key: str) -> int | None:
    """Read how many cylinders there are; one where nothing is said.

    Parameters
    ----------
    table : Table
        Where it stands; mistakes are noted there.
    key : str
        Its key.

    Returns
    -------
    int or None
        None where it is wrong.
    """
    if key not in table.values:
        return 1
    number = table.number(key, 1, 1000, "cylinders")
    if number is not None and not number.is_integer():
        table.wrong(key, f"found {number:g}; give a whole number.")
        return None
    return None if number is None else int(number)
