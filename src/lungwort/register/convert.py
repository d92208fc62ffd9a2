"""Records as plain JSON values, and back, without loss."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from decimal import Decimal, InvalidOperation
from functools import cache
from typing import TYPE_CHECKING, Any, Final, TypeVar, get_args, get_origin

import attrs

from lungwort.errors import RegisterError
from lungwort.register import model
from lungwort.register.journal import time_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from cattrs import Converter

    from lungwort.register.model import Record

R = TypeVar("R", bound="Record")

_TIME: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z", re.ASCII)
_DATE: Final = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_NUMBER: Final = re.compile(r"[+-]?\d+(\.\d+)?(E[+-]?\d+)?", re.ASCII)


def to_plain(record: Record) -> dict[str, Any]:
    """Write a record in JSON values: what an entry of the journal hashes.

    Parameters
    ----------
    record : Record
        Of any kind.

    Returns
    -------
    dict
        All fields but ``seq``: decimal numbers as text as they were given, times as
        ``YYYY-MM-DDTHH:MM:SS.ffffffZ``, days as ISO dates, tuples as lists, parts as dicts.

    Raises
    ------
    RegisterError
        Where a value cannot be recorded: a float, a time without a zone.
    """
    plain = {
        one.name: plain_value(getattr(record, one.name), one.name)
        for one in attrs.fields(type(record))
    }
    del plain["seq"]
    return plain


def from_plain(kind: type[R], plain: Mapping[str, Any]) -> R:
    """Make a record from what `to_plain` wrote.

    Parameters
    ----------
    kind : type
        A class of `lungwort.register.model.KINDS`.
    plain : mapping
        Its fields; those with a default may be missing, others may not be there.

    Returns
    -------
    Record
        With ``seq`` 0 where none is given.

    Raises
    ------
    RegisterError
        Where a field is missing, unknown or of the wrong kind.
    """
    made: R = _structured(kind, dict(plain), kind.KIND.replace("_", " "))
    return made


def field_types(kind: type[Any]) -> dict[str, Any]:
    """Give the types of the fields of a record or of a part of one.

    Parameters
    ----------
    kind : type
        A class of `lungwort.register.model`.

    Returns
    -------
    dict
        Name and resolved type of each field, in order.
    """
    _resolve(kind)
    return {one.name: one.type for one in attrs.fields(kind)}


def is_tuple(kind: Any) -> bool:  # noqa: ANN401 - a type of any form
    """Say whether a field's type is a tuple.

    Parameters
    ----------
    kind : type
        As `field_types` gives it.

    Returns
    -------
    bool
        True for every tuple.
    """
    return get_origin(kind) is tuple


def tuple_from_plain(kind: Any, plain: object, what: str) -> Any:  # noqa: ANN401 - as its field says
    """Make a tuple field from plain JSON values.

    Parameters
    ----------
    kind : type
        The field's type.
    plain : object
        A list, as `to_plain` wrote it.
    what : str
        Where it stands, for the message.

    Returns
    -------
    tuple
        Of text or of parts.

    Raises
    ------
    RegisterError
        Where it does not fit.
    """
    return _structured(kind, plain, what)


def plain_value(value: object, where: str = "value") -> Any:  # noqa: ANN401 - any JSON value
    """Write one value of a record in JSON values.

    Parameters
    ----------
    value : object
        A field.
    where : str
        Its name, for the message.

    Returns
    -------
    object
        None, true, false, a whole number, text, a list or a dict.

    Raises
    ------
    RegisterError
        Where it cannot be recorded.
    """
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, Decimal):
        return _number_text(value, where)
    if isinstance(value, datetime):
        return time_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (tuple, list)):
        return [plain_value(one, where) for one in value]
    shape: Any = type(value)
    if attrs.has(shape):
        return {
            one.name: plain_value(getattr(value, one.name), f"{where}: {one.name}")
            for one in attrs.fields(shape)
        }
    raise RegisterError(
        f"The {where} {value!r} is of a kind that cannot be recorded ({type(value).__name__}). "
        "Give text, a whole or decimal number, a day or a time with its zone."
    )


def time_from_text(text: object) -> datetime:
    """Read a time as `to_plain` writes it.

    Parameters
    ----------
    text : object
        ``YYYY-MM-DDTHH:MM:SS.ffffffZ``.

    Returns
    -------
    datetime.datetime
        UTC.

    Raises
    ------
    RegisterError
        Where it is not so written.
    """
    if isinstance(text, str) and _TIME.fullmatch(text):
        try:
            return datetime.fromisoformat(text).astimezone(UTC)
        except ValueError:
            pass
    raise RegisterError(f"The record holds {text!r} where a time in UTC should stand.")


def number_from_text(text: object) -> Decimal:
    """Read a decimal number as `to_plain` writes it.

    Parameters
    ----------
    text : object
        Digits as text.

    Returns
    -------
    decimal.Decimal
        Exactly that.

    Raises
    ------
    RegisterError
        Where it is not so written.
    """
    if isinstance(text, str) and _NUMBER.fullmatch(text):
        try:
            return Decimal(text)
        except InvalidOperation:
            pass
    raise RegisterError(f"The record holds {text!r} where a decimal number should stand as text.")


def date_from_text(text: object) -> date:
    """Read a day as `to_plain` writes it.

    Parameters
    ----------
    text : object
        ``YYYY-MM-DD``.

    Returns
    -------
    datetime.date
        The day.

    Raises
    ------
    RegisterError
        Where it is not so written.
    """
    if isinstance(text, str) and _DATE.fullmatch(text):
        try:
            return date.fromisoformat(text)
        except ValueError:
            pass
    raise RegisterError(f"The record holds {text!r} where a day should stand as YYYY-MM-DD.")


def _number_text(value: Decimal, where: str) -> str:
    if not value.is_finite():
        raise RegisterError(f"The {where} is {value}, which is no number. Give a number.")
    return str(value)


def _structured(kind: Any, plain: object, what: str) -> Any:  # noqa: ANN401 - as kind says
    from cattrs import (  # noqa: PLC0415 - keeps --help instant
        BaseValidationError,
        transform_error,
    )

    if attrs.has(kind):
        _resolve(kind)
    try:
        return _converter().structure(plain, kind)
    except BaseValidationError as error:
        said = "; ".join(
            one.removesuffix(" @ $") for one in transform_error(error, format_exception=_said)
        )
        raise RegisterError(f"This is not a {what} as it is recorded: {said}.") from error


def _said(error: BaseException, kind: type | None) -> str:
    from cattrs import ForbiddenExtraKeysError  # noqa: PLC0415 - keeps --help instant

    if isinstance(error, KeyError):
        return f"{error.args[0]} is missing"
    if isinstance(error, ForbiddenExtraKeysError):
        return f"unknown: {', '.join(sorted(map(str, error.extra_fields)))}"
    if isinstance(error, RegisterError):
        return str(error).rstrip(".")
    name = getattr(kind, "__name__", str(kind))
    return f"it does not fit {name} ({error})"


_done: set[object] = set()


def _resolve(kind: Any) -> None:  # noqa: ANN401 - an attrs class
    if kind in _done:
        return
    # The model imports these names for type checkers only.
    names = {**vars(model), "datetime": datetime, "date": date, "Decimal": Decimal}
    attrs.resolve_types(kind, globalns=names, localns={}, include_extras=True)
    for one in attrs.fields(kind):
        for inner in get_args(one.type):
            if attrs.has(inner):
                _resolve(inner)
    _done.add(kind)


@cache
def _converter() -> Converter:
    from cattrs import Converter  # noqa: PLC0415 - keeps --help instant

    converter = Converter(forbid_extra_keys=True)
    converter.register_structure_hook(Decimal, lambda plain, _: number_from_text(plain))
    converter.register_structure_hook(datetime, lambda plain, _: time_from_text(plain))
    converter.register_structure_hook(date, lambda plain, _: date_from_text(plain))
    for exact in (str, int, bool):
        converter.register_structure_hook(exact, _exactly)
    converter.register_structure_hook_func(is_tuple, _tuple)
    return converter


def _exactly(plain: object, kind: type[Any]) -> Any:  # noqa: ANN401 - as kind says
    # 1 == True in Python; in JSON they differ.
    if type(plain) is not kind:
        raise RegisterError(f"The record holds {plain!r} where {_WORDS[kind]} should stand.")
    return plain


def _tuple(plain: object, kind: Any) -> tuple[Any, ...]:  # noqa: ANN401 - a type of any form
    if not isinstance(plain, (list, tuple)):
        raise RegisterError(f"The record holds {plain!r} where a list should stand.")
    inner = get_args(kind)
    if len(inner) == 2 and inner[1] is Ellipsis:  # noqa: PLR2004 - tuple[X, ...]
        return tuple(_converter().structure(one, inner[0]) for one in plain)
    if len(plain) != len(inner):
        raise RegisterError(f"The record holds {plain!r} where {len(inner)} values should stand.")
    return tuple(_converter().structure(one, each) for one, each in zip(plain, inner, strict=True))


_WORDS: Final = {str: "text", int: "a whole number", bool: "true or false"}
