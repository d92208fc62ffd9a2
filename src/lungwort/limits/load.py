"""Limit sets: those that come with lungwort, and those that users write.

A set is a TOML file. Both sorts go through the same checks. See the how-to 'Write your own limit
set' for the form.
"""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal
from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.errors import LimitSetError
from lungwort.limits.check import LOWEST_TEMPERATURE, read_limits
from lungwort.limits.digest import content_digest
from lungwort.limits.entries import Mistakes, Table, near, shown
from lungwort.limits.locate import TOP, find_places
from lungwort.limits.model import Limit, LimitSet

if TYPE_CHECKING:
    import os
    from collections.abc import Mapping

FORMAT: Final = 1
"""Version of the form in which sets are written."""

SET_KEYS: Final = (
    "format",
    "id",
    "title",
    "document",
    "edition",
    "use",
    "extends",
    "remove",
    "reference_temperature_c",
    "reference_pressure_kpa",
    "status",
    "source",
    "remarks",
    "limit",
)
MAX_BYTES: Final = 1_000_000
_HOW_TO_LIST: Final = (
    "'lungwort limits' lists all that come with it; a set of your own is given by its file, "
    "like my-set.toml."
)
_SYNTAX_PLACE: Final = re.compile(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)")


@cache
def shipped_ids() -> tuple[str, ...]:
    """Name the limit sets that come with lungwort.

    Returns
    -------
    tuple of str
        Ids in alphabetical order.
    """
    library = resources.files("lungwort.limits").joinpath("library")
    return tuple(
        sorted(
            entry.name.removesuffix(".toml")
            for entry in library.iterdir()
            if entry.name.endswith(".toml")
        )
    )


@cache
def _shipped(set_id: str) -> LimitSet:
    entry = resources.files("lungwort.limits").joinpath("library", f"{set_id}.toml")
    return read_text(entry.read_text(encoding="utf-8"), f"{set_id}.toml", shipped=True)


def available() -> tuple[LimitSet, ...]:
    """Load all limit sets that come with lungwort.

    Returns
    -------
    tuple of LimitSet
        In order of document and id.
    """
    sets = [_shipped(set_id) for set_id in shipped_ids()]
    return tuple(sorted(sets, key=lambda one: (one.document.casefold(), one.id)))


def limit_set(id_or_path: str | os.PathLike[str]) -> LimitSet:
    """Load a limit set by its id, or a user's own by its file.

    Parameters
    ----------
    id_or_path : str or path
        An id such as ``en12021-2014-airline``, or the path of a TOML file. A file never hides a
        set that comes with lungwort.

    Returns
    -------
    LimitSet
        The set.

    Raises
    ------
    LimitSetError
        Where the id is not known (near ones are named), or the file cannot be read or has
        mistakes (all are named, with their lines).

    Examples
    --------
    >>> limit_set("osha-1910-134-grade-d-airline").limit("co").upper
    Bound(value=10.0, included=True)
    """
    if isinstance(id_or_path, str):
        if id_or_path in shipped_ids():
            return _shipped(id_or_path)
        if not _is_file_name(id_or_path):
            raise LimitSetError(
                f"limit set {id_or_path!r} is not known.{_near_sets(id_or_path)} {_HOW_TO_LIST}"
            )
    return load_file(id_or_path)


def _is_file_name(text: str) -> bool:
    if text.lower().endswith(".toml") or "/" in text or "\\" in text:
        return True
    try:
        return Path(text).is_file()
    except (OSError, ValueError):
        return False


def _near_sets(text: str) -> str:
    words = text.lower().replace("_", "-").split()
    ids = shipped_ids()
    holding = [known for known in ids if words and all(word in known for word in words)]
    if holding:
        longest = 6
        more = f" and {len(holding) - longest} more" if len(holding) > longest else ""
        return f" Near: {', '.join(holding[:longest])}{more}."
    return near("-".join(words), ids)


def load_file(path: str | os.PathLike[str]) -> LimitSet:
    """Load a limit set that a user has written.

    Parameters
    ----------
    path : str or path
        A TOML file in UTF-8.

    Returns
    -------
    LimitSet
        The set; ``origin`` is the name of the file.

    Raises
    ------
    LimitSetError
        Where the file cannot be read or has mistakes; all are named, with their lines.
    """
    file = Path(path)
    try:
        content = file.read_bytes()
    except FileNotFoundError:
        raise LimitSetError(
            f"limit set file {str(file)!r} does not exist. Check the path; {_HOW_TO_LIST}"
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise LimitSetError(f"limit set file {str(file)!r} cannot be read: {reason}.") from None
    if len(content) > MAX_BYTES:
        raise LimitSetError(
            f"{file.name} has {len(content)} bytes; a limit set has at most {MAX_BYTES}."
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise LimitSetError(
            f"{file.name}, line {line}: not UTF-8 text. Save the file as UTF-8."
        ) from None
    return read_text(text, file.name)


def read_text(text: str, name: str, *, shipped: bool = False) -> LimitSet:
    """Read a limit set from TOML text.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file, for messages.
    shipped : bool
        Whether the set is one that comes with lungwort.

    Returns
    -------
    LimitSet
        The set with its digest.

    Raises
    ------
    LimitSetError
        Where the text has mistakes; all are named, with their lines.
    """
    text = text.replace("\r\n", "\n")
    data = _parse(text, name)
    places = find_places(text)
    mistakes = Mistakes(name)
    top = Table(data, "", lambda key: places.key(TOP, key), mistakes)
    top.known(SET_KEYS)
    _check_format(top)
    set_id = top.name("id")
    if set_id in shipped_ids() and not shipped:
        top.wrong("id", f"{set_id!r} is a set that comes with lungwort. Give yours another id.")
    bases = _read_bases(top)
    own, lines = read_limits(data, places, mistakes)
    merged = _merge(top, bases, own, lines)
    built = LimitSet(
        id=set_id,
        title=top.text("title", required=True),
        document=top.text("document", required=True),
        edition=top.text("edition", required=True),
        use=top.text("use", required=True),
        limits=merged.limits,
        reference_temperature_c=_reference(top, bases, "temperature_c"),
        reference_pressure_kpa=_reference(top, bases, "pressure_kpa"),
        remarks=(*merged.remarks, *top.texts("remarks")),
        extends=", ".join(base.id for base in bases),
        origin="shipped" if shipped else name,
    )
    if not mistakes.found:
        _check_whole(built, lines, mistakes)
    mistakes.raise_any()
    return evolve(built, digest=content_digest(built))


def _parse(text: str, name: str) -> dict[str, object]:
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        match = _SYNTAX_PLACE.fullmatch(str(error))
        what, line, column = match.groups() if match else (str(error), None, None)
        where = f"line {line}, column {column}" if line else "at the end"
        raise LimitSetError(
            f"{name}, {where}: this is not TOML: {what[:1].lower()}{what[1:]}."
        ) from None
    except RecursionError:
        raise LimitSetError(f"{name}: brackets are nested too deeply to be a limit set.") from None


def _check_format(top: Table) -> None:
    value = top.values.get("format")
    if value is None:
        top.wrong("format", f"is missing. Write format = {FORMAT} at the top of the file.")
    elif isinstance(value, bool) or value != FORMAT:
        top.wrong("format", f"found {shown(value)}; this version of lungwort reads {FORMAT}.")


def _read_bases(top: Table) -> tuple[LimitSet, ...]:
    value = top.values.get("extends")
    if value is None:
        return ()
    names = value if isinstance(value, list) else [value]
    bases: list[LimitSet] = []
    for base in names:
        if isinstance(base, str) and base in shipped_ids():
            if base in names[: len(bases)]:
                top.wrong("extends", f"{base!r} stands twice.")
            bases.append(_shipped(base))
        elif isinstance(base, str):
            top.wrong(
                "extends",
                f"limit set {base!r} is not known.{_near_sets(base)} Only a set that comes with "
                "lungwort can be extended.",
            )
        else:
            top.wrong("extends", f"found {shown(base)}, the id of a set in quotes is needed.")
    return tuple(bases)


@frozen
class _Merged:
    limits: tuple[Limit, ...]
    remarks: tuple[str, ...] = ()


def _merge(
    top: Table,
    bases: tuple[LimitSet, ...],
    own: tuple[Limit, ...],
    lines: Mapping[str, int | None],
) -> _Merged:
    """Lay a set's own limits over those it extends, and say what was changed."""
    removed = top.texts("remove")
    if not bases:
        if removed:
            top.wrong("remove", "there is nothing to remove from: the set extends no other.")
        return _Merged(own)
    inherited: dict[str, Limit] = {}
    clashes: set[str] = set()
    for limit in (limit for base in bases for limit in base):
        if limit.key in inherited:
            clashes.add(limit.key)
        inherited[limit.key] = limit
    for key in sorted(clashes - lines.keys() - set(removed)):
        top.wrong("extends", f"more than one of these sets has a limit {key!r}. Write your own.")
    for key in removed:
        if key not in inherited:
            hint = near(key, inherited) or f" It has: {', '.join(inherited)}."
            top.wrong("remove", f"the extended set has no limit {key!r}.{hint}")
        elif key in lines:
            top.wrong("remove", f"{key!r} is removed and written anew; a new one replaces the old.")
    own_by_key = {limit.key: limit for limit in own}
    kept = [own_by_key.get(key, limit) for key, limit in inherited.items() if key not in removed]
    added = [limit for limit in own if limit.key not in inherited]
    changed = [limit for limit in own if limit.key in inherited]
    remark = _change_remark(bases, changed, removed, added)
    from_bases = [text for base in bases for text in base.remarks]
    return _Merged((*kept, *added), (remark, *dict.fromkeys(from_bases)))


def _change_remark(
    bases: tuple[LimitSet, ...], changed: list[Limit], removed: tuple[str, ...], added: list[Limit]
) -> str:
    parts = [
        f"{word} {', '.join(keys)}"
        for word, keys in (
            ("changed:", [limit.key for limit in changed]),
            ("removed:", list(removed)),
            ("added:", [limit.key for limit in added]),
        )
        if keys
    ]
    built_on = " and ".join(f"{base.id} ({base.title})" for base in bases)
    remark = f"Built on {built_on}; {'; '.join(parts) or 'nothing changed'}."
    return f"{remark} A verdict by this set is not a verdict by that document." if parts else remark


def _reference(top: Table, bases: tuple[LimitSet, ...], what: str) -> float:
    key = f"reference_{what}"
    low, high, unit = (-20, 40, "°C") if what == "temperature_c" else (80, 120, "kPa(a)")
    inherited = {float(getattr(base, key)) for base in bases}
    stated = top.number(key, low, high, unit)
    if len(inherited) > 1:
        top.wrong("extends", f"these sets differ in {key}; their numbers do not go together.")
    elif inherited:
        (value,) = inherited
        if stated is not None and stated != value:
            top.wrong(
                key,
                f"found {stated:g}, the extended set has {value:g}: its numbers would change "
                "their meaning. Leave the key out.",
            )
        return value
    elif key not in top.values:
        top.wrong(key, f"is missing. State to which state mg/m3 refer, in {unit}.")
    return float(low) if stated is None else stated


def _check_whole(built: LimitSet, lines: Mapping[str, int | None], mistakes: Mistakes) -> None:
    """Check what only the finished set shows."""
    if not any(limit.required for limit in built):
        mistakes.add("the set has no required limit: everything would conform to it.")
    stands_in = {limit.analyte for limit in built if limit.required and not limit.needs}
    for limit in built:
        if limit.needs and limit.required and limit.analyte not in stands_in:
            mistakes.add(
                f"limit {limit.key!r}, key 'needs': without the {LOWEST_TEMPERATURE} no other "
                f"required limit of {limit.analyte} would stand in. Leave 'needs' out.",
                lines.get(limit.key),
            )
