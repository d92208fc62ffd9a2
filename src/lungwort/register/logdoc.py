"""All of a log but its readings as canonical JSON, and back, equal.

The readings lie in Parquet parts; what was said of them (channels, files, stretches, notes, doubts)
and how the files were read lie beside them in one document. Floats are written as the shortest text
that gives the same float again, so that the document holds whole numbers and text only.
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from typing import TYPE_CHECKING, Any, Final, get_args, get_origin

import attrs
from attrs import evolve, frozen

from lungwort.errors import RegisterError
from lungwort.logs.model import Channel, Log, Refusal, Source, Stretch
from lungwort.logs.options import ReadOptions
from lungwort.register.canonical import canonical, parse

if TYPE_CHECKING:
    from cattrs import Converter

FORMAT: Final = "lungwort-log/1"


@frozen(kw_only=True)
class LogFacts:
    """All of a `lungwort.logs.model.Log` but its readings; fields as there.

    Parameters
    ----------
    channels, sources, stretches : tuple
        As in the log.
    rows : int
        Readings in time [1].
    start, end : datetime, optional
        First and last time, UTC.
    interval_s : float, optional
        Sampling interval [s].
    zone : str
        Time zone, for showing.
    zone_stated : bool
        Whether it was stated.
    settle_s : float
        Settling time [s].
    notes, columns_not_used, doubts : tuple of str
        As in the log.
    outlet : str
        Name of the outlet.
    channel_doubts : tuple of (str, str)
        Column name and reason.
    unplaced_rows : int, optional
        Readings whose time is not known [1]; None where the log has none of that kind at all.
    """

    channels: tuple[Channel, ...]
    sources: tuple[Source, ...]
    rows: int
    start: datetime | None
    end: datetime | None
    interval_s: float | None
    zone: str
    zone_stated: bool
    settle_s: float
    stretches: tuple[Stretch, ...]
    notes: tuple[str, ...]
    columns_not_used: tuple[str, ...]
    outlet: str
    doubts: tuple[str, ...]
    channel_doubts: tuple[tuple[str, str], ...]
    unplaced_rows: int | None


_APART: Final = {"parts", "unplaced", "spool"}


def facts_of(log: Log) -> LogFacts:
    """Take all of a log but its readings.

    Parameters
    ----------
    log : Log
        The log.

    Returns
    -------
    LogFacts
        The rest.
    """
    taken = {
        one.name: getattr(log, one.name) for one in attrs.fields(Log) if one.name not in _APART
    }
    return LogFacts(**taken, unplaced_rows=None if log.unplaced is None else log.unplaced.height)


def log_of(facts: LogFacts) -> Log:
    """Make a log without readings.

    Parameters
    ----------
    facts : LogFacts
        All but the readings.

    Returns
    -------
    Log
        The log; its readings are to be put in.
    """
    taken = {
        one.name: getattr(facts, one.name) for one in attrs.fields(Log) if one.name not in _APART
    }
    return Log(parts=(), **taken)


def write_document(log: Log, options: ReadOptions) -> bytes:
    """Write all of a log but its readings, and how it was read.

    Parameters
    ----------
    log : Log
        The log.
    options : ReadOptions
        How its files were read.

    Returns
    -------
    bytes
        Canonical JSON (RFC 8785) in UTF-8.

    Raises
    ------
    RegisterError
        Where a text in it is no Unicode, such as a file name of raw bytes.
    """
    converter = _converter()
    document = {
        "format": FORMAT,
        "log": converter.unstructure(facts_of(log), LogFacts),
        "options": converter.unstructure(options, ReadOptions),
    }
    return canonical(document).encode("utf-8")


def read_document(content: bytes, where: str = "log document") -> tuple[LogFacts, ReadOptions]:
    """Read what `write_document` wrote.

    Parameters
    ----------
    content : bytes
        The document.
    where : str
        What it is called, for messages.

    Returns
    -------
    tuple of (LogFacts, ReadOptions)
        All of the log but its readings, and how it was read.

    Raises
    ------
    RegisterError
        Where it is no such document or comes from a newer program.
    """
    from cattrs import BaseValidationError, transform_error  # noqa: PLC0415 - only for messages

    try:
        document = parse(content.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise RegisterError(f"{where}: it is not UTF-8 text.") from error
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        found = document.get("format") if isinstance(document, dict) else None
        raise RegisterError(
            f"{where}: its format is {found!r}, and this version reads {FORMAT!r}. "
            "Use the version of lungwort that wrote it."
        )
    converter = _converter()
    try:
        facts = converter.structure(document.get("log"), LogFacts)
        options = converter.structure(document.get("options"), ReadOptions)
    except BaseValidationError as error:
        said = "; ".join(one.removesuffix(" @ $") for one in transform_error(error))
        raise RegisterError(f"{where}: it does not fit what a log is: {said}.") from error
    return facts, options


def reading_text(options: ReadOptions) -> str:
    """Write how files were read as canonical JSON: equal where they were read the same way.

    Parameters
    ----------
    options : ReadOptions
        How they were read. The name of the recipe says nothing about the reading and is left out.

    Returns
    -------
    str
        Canonical JSON.
    """
    return canonical(_converter().unstructure(evolve(options, recipe=""), ReadOptions))


def differing_options(one: ReadOptions, other: ReadOptions) -> tuple[str, ...]:
    """Name the options in which two readings differ.

    Parameters
    ----------
    one, other : ReadOptions
        How files were read.

    Returns
    -------
    tuple of str
        Such as ``zone: Europe/London instead of none``; the first against the second.
    """
    told = []
    for each in attrs.fields(ReadOptions):
        mine, theirs = getattr(one, each.name), getattr(other, each.name)
        if each.name != "recipe" and mine != theirs:
            told.append(
                f"{each.name.replace('_', ' ')}: {_shown(mine)} instead of {_shown(theirs)}"
            )
    return tuple(told)


def _shown(value: object) -> str:
    if value is None or value == ():
        return "none"
    if isinstance(value, tuple):
        return ", ".join("=".join(one) if isinstance(one, tuple) else str(one) for one in value)
    if isinstance(value, float):
        return f"{value:g}"
    return str(value)


@cache
def _converter() -> Converter:
    from cattrs import Converter  # noqa: PLC0415 - only where a document is read or written

    for kind in (Channel, Refusal, Source, Stretch, ReadOptions, LogFacts):
        # Some of these import their types for type checkers only.
        names = {**globals(), "datetime": datetime, "Refusal": Refusal}
        attrs.resolve_types(kind, globalns=names, localns={}, include_extras=True)
    converter = Converter(forbid_extra_keys=True)
    converter.register_unstructure_hook(float, _float_text)
    converter.register_unstructure_hook(datetime, _time_text)
    converter.register_structure_hook(float, _float)
    converter.register_structure_hook(datetime, _time)
    for exact in (str, int, bool):
        converter.register_structure_hook(exact, _exactly)
    converter.register_structure_hook_func(_is_optional, _optional)
    converter.register_unstructure_hook_func(_is_optional, _plain)
    return converter


def _is_optional(kind: Any) -> bool:  # noqa: ANN401 - a type of any form
    return type(None) in get_args(kind) and get_origin(kind) is not None


def _optional(plain: object, kind: Any) -> Any:  # noqa: ANN401 - as kind says
    inner = next(one for one in get_args(kind) if one is not type(None))
    return None if plain is None else _converter().structure(plain, inner)


def _plain(value: object) -> Any:  # noqa: ANN401 - any JSON value
    return None if value is None else _converter().unstructure(value)


def _float_text(value: float) -> str:
    return repr(float(value))


def _float(plain: object, _: object) -> float:
    if not isinstance(plain, str):
        raise RegisterError(f"{plain!r} stands where a number should stand as text")
    return float(plain)


def _time_text(time: datetime) -> str:
    # A wall time, such as the moment of elapsed second 0, may have no zone.
    if time.utcoffset() is None:
        return time.isoformat(timespec="microseconds")
    return f"{time.astimezone(UTC).replace(tzinfo=None).isoformat(timespec='microseconds')}Z"


def _time(plain: object, _: object) -> datetime:
    if not isinstance(plain, str):
        raise RegisterError(f"{plain!r} stands where a time should stand")
    return datetime.fromisoformat(plain)


def _exactly(plain: object, kind: type[Any]) -> Any:  # noqa: ANN401 - as kind says
    if type(plain) is not kind:
        raise RegisterError(f"{plain!r} stands where {kind.__name__} should stand")
    return plain
