"""Recipes: how one logger's file is laid out, kept so that it need not be said twice."""

from __future__ import annotations

import difflib
import tomllib
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from lungwort.air.analytes import ANALYTES, ATMOSPHERIC_DEW_POINT, PRESSURE_DEW_POINT
from lungwort.errors import QuantityError, RecipeError
from lungwort.logs.naming import parse_given_unit
from lungwort.logs.options import DATE_ORDERS, DECIMALS, ReadOptions
from lungwort.logs.times import elapsed_unit_s

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.logs.model import Channel

FORMAT: Final = "lungwort-recipe/1"
_WORDS: Final = {
    PRESSURE_DEW_POINT: " pressure dew point",
    ATMOSPHERIC_DEW_POINT: " atmospheric dew point",
}
_FILE_KEYS: Final = (
    "delimiter",
    "encoding",
    "decimal",
    "header_line",
    "sheet",
    "ignore",
    "missing",
    "only_columns",
)
_TIME_KEYS: Final = ("columns", "zone", "date_order", "start", "unit")
_CHANNEL_KEYS: Final = ("heading", "analyte", "unit")
_TOP_KEYS: Final = (
    "format",
    "name",
    "file",
    "time",
    "channel",
    "trust",
    "settle_min",
    "resettle_gap_min",
)


def load_recipe(path: str | Path) -> ReadOptions:
    """Read a recipe.

    Parameters
    ----------
    path : path
        A TOML file as `save_recipe` writes it.

    Returns
    -------
    ReadOptions
        The options that it stands for.

    Raises
    ------
    RecipeError
        With file, key, what was found and what is allowed.
    """
    where = Path(path)
    try:
        table = tomllib.loads(where.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise RecipeError(
            f"{where.name}: cannot be opened ({error.strerror or error}). Check the name."
        ) from error
    except UnicodeDecodeError as error:
        raise RecipeError(f"{where.name}: is not UTF-8 text. A recipe is a TOML file.") from error
    except tomllib.TOMLDecodeError as error:
        raise RecipeError(f"{where.name}: is not valid TOML: {error}.") from error
    name = where.name
    _only(table, _TOP_KEYS, name, "the recipe")
    if table.get("format") != FORMAT:
        raise RecipeError(
            f"{name}: format is {table.get('format')!r}, and this version reads {FORMAT!r}."
        )
    file = _section(table, "file", _FILE_KEYS, name)
    time = _section(table, "time", _TIME_KEYS, name)
    channels = table.get("channel", [])
    if not isinstance(channels, list):
        raise RecipeError(f"{name}: channels are written as [[channel]], with two brackets.")
    units: list[tuple[str, str]] = []
    columns: list[tuple[str, str]] = []
    for number, channel in enumerate(channels, start=1):
        _only(channel, _CHANNEL_KEYS, name, f"channel {number}")
        heading = _text(channel, "heading", name, f"channel {number}", needed=True)
        analyte = _text(channel, "analyte", name, f"channel {number}", needed=True)
        if analyte not in ANALYTES:
            near = difflib.get_close_matches(analyte, list(ANALYTES), n=3, cutoff=0.3)
            raise RecipeError(
                f"{name}: channel {number}: {analyte!r} is no analyte. Near it: {', '.join(near) or 'none'}."
            )
        unit = _text(channel, "unit", name, f"channel {number}")
        if unit:
            try:
                parse_given_unit(unit)
            except QuantityError as error:
                raise RecipeError(f"{name}: channel {number}: {error}") from error
            units.append((heading, unit))
        columns.append((analyte, heading))
    time_unit = _text(time, "unit", name, "time")
    if time_unit:
        if elapsed_unit_s(time_unit) is None:
            raise RecipeError(
                f"{name}: time: unit is {time_unit!r}, and must be a unit of time: s, ms, min or h."
            )
        units.append(("time", time_unit))
    return ReadOptions(
        zone=_text(time, "zone", name, "time") or None,
        date_order=_choice(time, "date_order", DATE_ORDERS, name),
        decimal=_choice(file, "decimal", DECIMALS, name),
        delimiter=_text(file, "delimiter", name, "file") or None,
        encoding=_text(file, "encoding", name, "file") or None,
        units=tuple(units),
        columns=tuple(columns),
        only_columns=_yes_or_no(file, "only_columns", name),
        ignore=_texts(file, "ignore", name),
        time_columns=_texts(time, "columns", name),
        start=_moment(time.get("start"), name),
        missing=_texts(file, "missing", name),
        sheet=_text(file, "sheet", name, "file") or None,
        header_line=_whole(file, "header_line", name),
        trust=_texts(table, "trust", name),
        settle_s=60.0 * _number(table, "settle_min", 30.0, name),
        resettle_gap_s=60.0 * _number(table, "resettle_gap_min", 10.0, name),
        recipe=str(table.get("name") or where.stem),
    )


def _only(table: object, allowed: tuple[str, ...], name: str, where: str) -> None:
    if not isinstance(table, dict):
        raise RecipeError(f"{name}: {where} must be a table, and {table!r} is not.")
    for key in table:
        if key not in allowed:
            near = difflib.get_close_matches(key, allowed, n=1, cutoff=0.4)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            raise RecipeError(
                f"{name}: {where} has an unknown key {key!r}.{hint} Known: {', '.join(allowed)}."
            )


def _section(
    table: dict[str, Any], key: str, allowed: tuple[str, ...], name: str
) -> dict[str, Any]:
    section = table.get(key, {})
    _only(section, allowed, name, f"[{key}]")
    return dict(section)


def _text(table: dict[str, Any], key: str, name: str, where: str, *, needed: bool = False) -> str:
    value = table.get(key, "")
    if not isinstance(value, str) or (needed and not value):
        raise RecipeError(f"{name}: {where}: {key} must be text, and is {value!r}.")
    return value


def _texts(table: dict[str, Any], key: str, name: str) -> tuple[str, ...]:
    value = table.get(key, [])
    if not isinstance(value, list):
        raise RecipeError(f"{name}: {key} must be a list, and is {value!r}.")
    for item in value:
        if isinstance(item, bool) or not isinstance(item, (int, float, str)):
            raise RecipeError(
                f"{name}: {key} must be a list of texts or numbers, and holds {item!r}."
            )
    return tuple(item if isinstance(item, str) else f"{item:g}" for item in value)


def _yes_or_no(table: dict[str, Any], key: str, name: str) -> bool:
    value = table.get(key, False)
    if not isinstance(value, bool):
        raise RecipeError(f"{name}: {key} must be true or false, and is {value!r}.")
    return value


def _choice(table: dict[str, Any], key: str, allowed: tuple[str, ...], name: str) -> str | None:
    value = table.get(key)
    if value is not None and value not in allowed:
        raise RecipeError(f"{name}: {key} is {value!r}, and must be one of {', '.join(allowed)}.")
    return value


def _whole(table: dict[str, Any], key: str, name: str) -> int | None:
    value = table.get(key)
    if value is not None and (not isinstance(value, int) or isinstance(value, bool) or value < 1):
        raise RecipeError(f"{name}: {key} must be a line number from 1, and is {value!r}.")
    return value


def _number(table: dict[str, Any], key: str, default: float, name: str) -> float:
    value = table.get(key, default)
    if not isinstance(value, (int, float)) or isinstance(value, bool) or not 0 <= value < 1e6:  # noqa: PLR2004 - two years in minutes
        raise RecipeError(f"{name}: {key} must be a number of minutes from 0, and is {value!r}.")
    return float(value)


def _moment(value: object, name: str) -> datetime | None:
    if value is None or isinstance(value, datetime):
        return value
    if isinstance(value, date):
        return datetime(value.year, value.month, value.day)  # noqa: DTZ001 - wall time, the zone comes later
    if isinstance(value, str):
        try:
            return datetime.fromisoformat(value)
        except ValueError as error:
            raise RecipeError(
                f"{name}: start is {value!r}; write it like 2026-03-04T10:00:00."
            ) from error
    raise RecipeError(f"{name}: start is {value!r}; write it like 2026-03-04T10:00:00.")


def recipe_of(options: ReadOptions, channels: Sequence[Channel], name: str) -> str:
    """Write how a log was read as a recipe, with the moment of elapsed second 0 where one was given.

    Parameters
    ----------
    options : ReadOptions
        How it was read.
    channels : sequence of Channel
        What its columns were taken for; empty where the files have several layouts, so that the
        recipe says only what was settled.
    name : str
        Name of the recipe.

    Returns
    -------
    str
        TOML text. What a recipe cannot say stands in it as a comment.
    """
    headings = [channel.heading for channel in channels]
    if headings and all(headings) and len(set(headings)) == len(headings):
        told = [
            (one.heading, one.analyte, f"{one.logged_unit}{_WORDS.get(one.quantity, '')}")
            for one in channels
        ]
        return recipe_text(options, told, name, start=options.start)
    units = dict(options.units)
    named = [(heading, analyte, units.pop(heading, "")) for analyte, heading in options.columns]
    units.pop("time", None)
    text = recipe_text(options, named, name, start=options.start, only=options.only_columns)
    besides = "".join(
        f"# Settled besides: {_quote(f'{key}={unit}')}\n" for key, unit in units.items()
    )
    return f"{text}{besides}"


def recipe_text(
    options: ReadOptions,
    headings: list[tuple[str, str, str]],
    name: str,
    *,
    start: datetime | None = None,
    only: bool = True,
) -> str:
    """Write options and channels as a recipe.

    Parameters
    ----------
    options : ReadOptions
        What was settled.
    headings : list of (str, str, str)
        Heading, analyte key and unit (with words for a dew point) of each channel.
    name : str
        Name of the recipe.
    start : datetime.datetime, optional
        Moment of elapsed second 0, where it belongs to the recipe.
    only : bool
        Whether no other columns are used.

    Returns
    -------
    str
        TOML text.
    """
    lines = [f"format = {_quote(FORMAT)}", f"name = {_quote(name)}"]
    lines.append(f"settle_min = {options.settle_s / 60:.12g}")
    lines.append(f"resettle_gap_min = {options.resettle_gap_s / 60:.12g}")
    if options.trust:
        lines.append(f"trust = {_list(options.trust)}")
    lines += ["", "[file]"]
    for key in ("delimiter", "encoding", "decimal", "sheet"):
        value = getattr(options, key)
        if value:
            lines.append(f"{key} = {_quote(value)}")
    if options.header_line:
        lines.append(f"header_line = {options.header_line}")
    for key in ("ignore", "missing"):
        if getattr(options, key):
            lines.append(f"{key} = {_list(getattr(options, key))}")
    lines.append(f"only_columns = {str(only).lower()}")
    lines += ["", "[time]"]
    if options.time_columns:
        lines.append(f"columns = {_list(options.time_columns)}")
    for key in ("zone", "date_order"):
        if getattr(options, key):
            lines.append(f"{key} = {_quote(getattr(options, key))}")
    if start is not None:
        lines.append(f"start = {_quote(start.isoformat())}")
    unit = next((text for given, text in options.units if given == "time"), "")
    if unit:
        lines.append(f"unit = {_quote(unit)}")
    for heading, analyte, unit in headings:
        lines += ["", "[[channel]]", f"heading = {_quote(heading)}", f"analyte = {_quote(analyte)}"]
        if unit:
            lines.append(f"unit = {_quote(unit)}")
    return "\n".join(lines) + "\n"


def _quote(text: str) -> str:
    table = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r"}
    return '"' + "".join(table.get(char) or _plain(char) for char in text) + '"'


def _plain(char: str) -> str:
    return (
        char
        if char.isprintable()
        else f"\\u{ord(char):04X}"
        if ord(char) < 1 << 16
        else f"\\U{ord(char):08X}"
    )


def _list(items: tuple[str, ...]) -> str:
    return "[" + ", ".join(_quote(item) for item in items) + "]"
