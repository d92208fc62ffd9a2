"""Reading the TOML files of this room: those that come with lungwort, and those of users."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lungwort.errors import LimitSetError, PlanError
from lungwort.limits.entries import Mistakes, Table, shown

if TYPE_CHECKING:
    from collections.abc import Mapping

FORMAT: Final = 1
"""Version of the form in which these files are written."""

MAX_BYTES: Final = 1_000_000


def shipped_ids(folder: str) -> tuple[str, ...]:
    """Name the files of a folder of this room.

    Parameters
    ----------
    folder : str
        ``library`` or ``questionnaires``.

    Returns
    -------
    tuple of str
        Ids in alphabetical order.
    """
    found = resources.files("lungwort.plan").joinpath(folder)
    names = (entry.name for entry in found.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def is_file_name(text: str) -> bool:
    """Tell whether a text names a file rather than an id."""
    return text.lower().endswith(".toml") or "/" in text or "\\" in text


def shipped_text(folder: str, name: str) -> str:
    """Read a file that comes with lungwort, by its id."""
    entry = resources.files("lungwort.plan").joinpath(folder, f"{name}.toml")
    return entry.read_text(encoding="utf-8")


def file_text(path: str, what: str) -> str:
    """Read a file of the user's own.

    Parameters
    ----------
    path : str
        The file, in UTF-8.
    what : str
        What it should be, for messages: ``rule set``.

    Returns
    -------
    str
        Its text.

    Raises
    ------
    PlanError
        Where it cannot be read.
    """
    file = Path(path)
    try:
        content = file.read_bytes()
    except FileNotFoundError:
        raise PlanError(f"{what} file {path!r} does not exist. Check the path.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise PlanError(f"{what} file {path!r} cannot be read: {reason}.") from None
    if len(content) > MAX_BYTES:
        raise PlanError(
            f"{file.name} has {len(content)} bytes; a {what} has at most {MAX_BYTES}. "
            "Give the right file."
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise PlanError(
            f"{file.name}, line {line}: not UTF-8 text. Save the file as UTF-8."
        ) from None


def parse(text: str, name: str) -> dict[str, object]:
    """Read TOML, and check that it is of the form that this version reads.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file, for messages.

    Returns
    -------
    dict
        What it holds; numbers with a point as decimals.

    Raises
    ------
    PlanError
        Where it is not TOML, or of another form.
    """
    try:
        data = tomllib.loads(text.replace("\r\n", "\n"), parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise PlanError(f"{name}: this is not TOML: {error}. Correct it there.") from None
    except RecursionError:
        raise PlanError(f"{name}: brackets are nested too deeply. Simplify the file.") from None
    form = data.get("format")
    if isinstance(form, bool) or form != FORMAT:
        found = "nothing" if form is None else shown(form)
        raise PlanError(
            f"{name}, key 'format': found {found}; this version of lungwort reads {FORMAT}. "
            f"Write format = {FORMAT} at the top of the file."
        )
    return data


def no_line(_key: str) -> None:
    """Tell no line: these files are short, and every message names the table and the key."""


def tables(top: Table, key: str, header: str = "") -> tuple[Mapping[str, object], ...]:
    """Read a list of tables; a mistake is noted where it is none, or empty.

    Parameters
    ----------
    top : Table
        What holds the list.
    key : str
        Its key.
    header : str
        How each table begins, where that is not the key alone.

    Returns
    -------
    tuple of mapping
        The tables.
    """
    value = top.values.get(key, [])
    if not isinstance(value, list) or not value or not all(isinstance(one, dict) for one in value):
        top.wrong(key, f"each {key} begins with a line [[{header or key}]], in double brackets.")
        return ()
    return tuple(value)


def whole(table: Table, key: str, low: int, high: int, unit: str) -> int | None:
    """Read a whole number.

    Parameters
    ----------
    table : Table
        What holds it.
    key : str
        Its key.
    low, high : int
        What is allowed [unit].
    unit : str
        Its unit, for messages.

    Returns
    -------
    int, optional
        The number [unit]; None where it is absent or wrong, which is noted.
    """
    if key not in table.values:
        table.wrong(key, f"is missing. Give a whole number from {low} to {high} [{unit}].")
        return None
    value = table.number(key, low, high, unit)
    if value is None:
        return None
    if value != int(value):
        table.wrong(key, f"found {shown(table.values[key])}, a whole number is needed [{unit}].")
        return None
    return int(value)


def raise_any(mistakes: Mistakes) -> None:
    """Raise all mistakes together.

    Parameters
    ----------
    mistakes : Mistakes
        What was noted.

    Raises
    ------
    PlanError
        Where there is any.
    """
    try:
        mistakes.raise_any()
    except LimitSetError as error:
        raise PlanError(str(error)) from None
