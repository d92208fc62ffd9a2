"""Canonical JSON (RFC 8785): one value, one text, one digest.

Numbers are integers only. What is measured is kept as text in the record, so that it stays as it
was written; a float would let the same reading have two texts.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from lungwort.errors import RegisterError

if TYPE_CHECKING:
    from collections.abc import Mapping


def canonical(value: object) -> str:
    """Write a value as canonical JSON.

    Parameters
    ----------
    value : object
        Mappings with text keys, lists, tuples, text, whole numbers, true, false and None.

    Returns
    -------
    str
        The text; its UTF-8 bytes are what is hashed.

    Raises
    ------
    RegisterError
        Where the value holds a float, a whole number that JSON readers round, half of a surrogate
        pair, or anything that JSON does not know.

    References
    ----------
    RFC 8785, JSON Canonicalization Scheme (JCS), 2020.

    Examples
    --------
    >>> canonical({"b": [1, True, None], "a": "€"})
    '{"a":"€","b":[1,true,null]}'
    """
    import rfc8785  # noqa: PLC0415 - keeps --help instant

    _refuse_floats(value, "")
    try:
        return rfc8785.dumps(value).decode("utf-8")  # type: ignore[arg-type] # checked by the library itself
    except (rfc8785.CanonicalizationError, UnicodeError) as error:
        raise RegisterError(
            f"This cannot be recorded as canonical JSON: {error}. Give text that is valid Unicode "
            "and whole numbers between -(2^53 - 1) and 2^53 - 1."
        ) from error


def parse(text: str) -> object:
    """Read JSON strictly: no floats, no name twice, nothing after the end.

    Parameters
    ----------
    text : str
        One JSON document.

    Returns
    -------
    object
        The value.

    Raises
    ------
    RegisterError
        Where it is not JSON, or not such as `canonical` writes.
    """
    try:
        value: object = json.loads(
            text, parse_float=_no_float, parse_constant=_no_float, object_pairs_hook=_once
        )
    except ValueError as error:
        raise RegisterError(f"It is not JSON: {error}.") from error
    except RecursionError as error:
        raise RegisterError("It is not JSON of the record: it is nested too deeply.") from error
    return value


def is_canonical(text: str) -> bool:
    """Say whether a text is canonical JSON, byte for byte.

    Parameters
    ----------
    text : str
        One JSON document.

    Returns
    -------
    bool
        False also where it is no JSON at all.
    """
    try:
        return canonical(parse(text)) == text
    except RegisterError:
        return False


def _no_float(text: str) -> object:
    raise RegisterError(
        f"It holds the number {text}; only whole numbers are recorded as numbers, "
        "and measured values as text."
    )


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    together = dict(pairs)
    if len(together) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise RegisterError(f"It holds the name {twice!r} twice.")
    return together


def _refuse_floats(value: object, where: str) -> None:
    if isinstance(value, float):
        raise RegisterError(
            f"A float cannot be recorded ({where.lstrip('.') or 'value'} is {value!r}). "
            "Give a decimal number as text."
        )
    if isinstance(value, dict):
        members: Mapping[object, object] = value
        for name, one in members.items():
            _refuse_floats(one, f"{where}.{name}")
    elif isinstance(value, (list, tuple)):
        for number, one in enumerate(value):
            _refuse_floats(one, f"{where}[{number}]")
