"""Reading the TOML files of this room, with every mistake told: which file, which key, what to do."""

from __future__ import annotations

import difflib
import tomllib
from decimal import Decimal
from importlib import resources
from types import NoneType, UnionType
from typing import TYPE_CHECKING, Any, Final, TypeVar, cast, get_args, get_origin, get_type_hints

from attrs import NOTHING, fields, has

from lungwort.errors import ProcedureError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

FORMAT: Final = 1
"""Version of the form in which these files are written."""

MAX_BYTES: Final = 1_000_000

T = TypeVar("T")


def shipped(folder: str) -> dict[str, str]:
    """Read the files that come with lungwort.

    Parameters
    ----------
    folder : str
        ``devices`` or ``procedures``.

    Returns
    -------
    dict of str to str
        Text by id, in alphabetical order.
    """
    found = resources.files("lungwort.spot").joinpath("library", folder)
    entries = sorted(found.iterdir(), key=lambda one: one.name)
    return {
        one.name.removesuffix(".toml"): one.read_text(encoding="utf-8")
        for one in entries
        if one.name.endswith(".toml")
    }


def read_file(path: Path) -> str:
    """Read a file of the user's own.

    Parameters
    ----------
    path : pathlib.Path
        The file, in UTF-8.

    Returns
    -------
    str
        Its text, with line feeds for line ends.

    Raises
    ------
    ProcedureError
        Where it cannot be read, is too long, or is not UTF-8.
    """
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise ProcedureError(f"{path} does not exist. Check the path.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise ProcedureError(f"{path} cannot be read: {reason}. Check the file.") from None
    if len(content) > MAX_BYTES:
        raise ProcedureError(
            f"{path.name} has {len(content)} bytes; such a file has at most {MAX_BYTES}. Give the "
            "right file."
        )
    try:
        return content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise ProcedureError(
            f"{path.name}, line {line}: not UTF-8 text. Save the file as UTF-8."
        ) from None


def parse(text: str, name: str) -> dict[str, Any]:
    """Read TOML of the form that this version knows.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file, for messages.

    Returns
    -------
    dict
        What it holds, without ``format``; numbers with a point as decimals.

    Raises
    ------
    ProcedureError
        Where it is not TOML, or of another form.
    """
    try:
        data = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise ProcedureError(f"{name}: this is not TOML: {error}. Correct it there.") from None
    except RecursionError:
        raise ProcedureError(
            f"{name}: brackets are nested too deeply. Simplify the file."
        ) from None
    form = data.pop("format", None)
    if isinstance(form, bool) or form != FORMAT:
        raise ProcedureError(
            f"{name}, key 'format': found {form!r}; this version of lungwort reads {FORMAT}. Write "
            f"format = {FORMAT} at the top of the file."
        )
    return data


def build(kind: type[T], data: Mapping[str, Any], where: str) -> T:
    """Build a frozen class from a table, refusing what does not belong in it.

    Parameters
    ----------
    kind : type
        An attrs class; its fields say which keys there are, and which types they take.
    data : mapping
        The table.
    where : str
        File and table, for messages.

    Returns
    -------
    kind
        The value.

    Raises
    ------
    ProcedureError
        Where a key is unknown, missing or of another type; all such mistakes together.
    """
    known = {one.name: one for one in fields(cast("Any", kind))}
    takes = get_type_hints(kind)
    mistakes = []
    for key in data:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            hint = f"Did you mean {near[0]!r}?" if near else f"Known: {', '.join(known)}."
            mistakes.append(f"{where}: key {key!r} is not known. {hint}")
    values = {}
    for name, one in known.items():
        if name not in data:
            if one.default is NOTHING:
                mistakes.append(f"{where}: key {name!r} is missing. Give it.")
            continue
        try:
            values[name] = _value(takes[name], data[name], f"{where}, {name}")
        except ProcedureError as error:
            mistakes.append(str(error))
    if mistakes:
        raise ProcedureError("\n".join(mistakes))
    return kind(**values)


def _value(takes: Any, value: Any, where: str) -> Any:  # noqa: ANN401 - what TOML holds
    if isinstance(takes, UnionType):
        (takes,) = (one for one in get_args(takes) if one is not NoneType)
    if get_origin(takes) is tuple:
        each = get_args(takes)[0]
        if not isinstance(value, list):
            raise ProcedureError(f"{where}: found {value!r}; a list in square brackets is needed.")
        return tuple(
            _value(each, one, f"{where} {number}") for number, one in enumerate(value, start=1)
        )
    if has(takes):
        if not isinstance(value, dict):
            raise ProcedureError(f"{where}: found {value!r}; a table is needed.")
        return build(takes, value, where)
    if takes is Decimal:
        if isinstance(value, bool) or not isinstance(value, int | Decimal):
            raise ProcedureError(f"{where}: found {value!r}; a number is needed, without quotes.")
        number = Decimal(value)
        if not number.is_finite():
            raise ProcedureError(f"{where}: found {value}; a finite number is needed.")
        return number
    if takes is int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise ProcedureError(f"{where}: found {value!r}; a whole number is needed.")
        return value
    if takes is bool:
        if not isinstance(value, bool):
            raise ProcedureError(f"{where}: found {value!r}; true or false is needed.")
        return value
    if not isinstance(value, str):
        raise ProcedureError(f"{where}: found {value!r}; a text in quotes is needed.")
    return value
