"""Entries of the journal: how one is made, and whether one is as it was made.

An entry's content is canonical JSON that holds the record, all that is said of the change, and the
hash of the entry before. So every entry vouches for all before it. Nothing here reads a clock or a
database.
"""

from __future__ import annotations

import hashlib
import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from lungwort.errors import RegisterError
from lungwort.register.canonical import canonical, is_canonical, parse
from lungwort.register.model import Entry

if TYPE_CHECKING:
    from collections.abc import Mapping

FORMAT: Final = "lungwort-journal/1"
FIRST_PREVIOUS: Final = "0" * 64
"""What stands in the first entry in place of the hash of the entry before."""

ADD: Final = "add"
REPLACE: Final = "replace"
VOID: Final = "void"
ACTIONS: Final = (ADD, REPLACE, VOID)

_MEMBERS: Final = (
    "action",
    "format",
    "id",
    "kind",
    "previous",
    "record",
    "seq",
    "time",
    "version",
    "who",
)
_TIME: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z", re.ASCII)


def entry_hash(content: str) -> str:
    """Hash an entry's content.

    Parameters
    ----------
    content : str
        The entry in canonical JSON.

    Returns
    -------
    str
        SHA-256 of its UTF-8 bytes, lower-case hexadecimal.
    """
    # Half a surrogate pair can only come from an altered database; it must not stop the check.
    return hashlib.sha256(content.encode("utf-8", "surrogatepass")).hexdigest()


def time_text(time: datetime) -> str:
    """Write a time as entries do.

    Parameters
    ----------
    time : datetime
        With a time zone.

    Returns
    -------
    str
        UTC with microseconds, such as ``2026-03-02T08:30:00.000000Z``.

    Raises
    ------
    RegisterError
        Where the time has no zone.
    """
    if time.utcoffset() is None:
        raise RegisterError(f"The time {time} has no time zone. Give one in UTC.")
    return f"{time.astimezone(UTC).replace(tzinfo=None).isoformat(timespec='microseconds')}Z"


def make_entry(
    *,
    seq: int,
    time: datetime,
    who: str,
    action: str,
    kind: str,
    id: str,  # noqa: A002 - what the model calls it
    version: int,
    record: Mapping[str, Any],
    previous: str,
) -> Entry:
    """Make an entry.

    Parameters
    ----------
    seq : int
        1 for the first, then in steps of one.
    time : datetime
        When the change is made, with a time zone.
    who : str
        Who makes the change, by name.
    action : str
        One of `ACTIONS`.
    kind, id : str
        Kind and thing.
    version : int
        Version that it records.
    record : mapping
        The record in plain JSON values.
    previous : str
        Hash of the entry before; `FIRST_PREVIOUS` for the first.

    Returns
    -------
    Entry
        With its content and hash.

    Raises
    ------
    RegisterError
        Where the time has no zone or the record cannot be written as canonical JSON.
    """
    content = canonical(
        {
            "format": FORMAT,
            "seq": seq,
            "time": time_text(time),
            "who": who,
            "action": action,
            "kind": kind,
            "id": id,
            "version": version,
            "record": dict(record),
            "previous": previous,
        }
    )
    return Entry(
        seq=seq,
        time=time.astimezone(UTC),
        who=who,
        action=action,
        kind=kind,
        id=id,
        version=version,
        content=content,
        hash=entry_hash(content),
    )


def check_entry(entry: Entry, previous: Entry | None) -> list[str]:
    """Say what does not fit in an entry and between it and the one before.

    Parameters
    ----------
    entry : Entry
        As it was found.
    previous : Entry, optional
        The entry before it; None for the first.

    Returns
    -------
    list of str
        Whole sentences; empty where everything fits.
    """
    problems = []
    expected = previous.seq + 1 if previous else 1
    if entry.seq != expected:
        problems.append(f"Its number is {entry.seq}, and {expected} should come here.")
    own = entry_hash(entry.content)
    if entry.hash != own:
        problems.append(f"Its content has the hash {own}, and {entry.hash} was recorded.")
    if entry.time.utcoffset() != timedelta(0):
        problems.append(f"Its time {entry.time} is not in UTC.")
    try:
        content = parse(entry.content)
    except RegisterError as error:
        return [*problems, f"Its content cannot be read. {error}"]
    if not isinstance(content, dict):
        return [*problems, "Its content is not a JSON object."]
    if not is_canonical(entry.content):
        problems.append("Its content is not canonical JSON (RFC 8785).")
    problems += _of_members(entry, content)
    problems += _of_record(entry, content)
    if "previous" in content:
        before = previous.hash if previous else FIRST_PREVIOUS
        if content["previous"] != before:
            problems.append(
                f"It names {content['previous']} as the hash of the entry before, "
                f"and that is {before}."
            )
    return problems


def _of_members(entry: Entry, content: Mapping[str, Any]) -> list[str]:
    problems = [f"Its content has no {name}." for name in _MEMBERS if name not in content]
    problems += [
        f"Its content has a member {name!r} that no entry has."
        for name in content
        if name not in _MEMBERS
    ]
    if content.get("format", FORMAT) != FORMAT:
        problems.append(f"Its format is {content['format']!r}, not {FORMAT!r}.")
    for name in ("seq", "who", "action", "kind", "id", "version"):
        column = getattr(entry, name)
        if name in content and not _same(content[name], column):
            problems.append(
                f"Its {name} is {column!r} in the table and {content[name]!r} in what was hashed."
            )
    if entry.action not in ACTIONS:
        problems.append(f"Its action is {entry.action!r}, not one of {', '.join(ACTIONS)}.")
    time = content.get("time", "")
    if "time" in content:
        if not isinstance(time, str) or not _TIME.fullmatch(time):
            problems.append(f"Its time {time!r} is not written as UTC with microseconds.")
        elif entry.time.utcoffset() is not None and time != time_text(entry.time):
            problems.append(
                f"Its time is {time_text(entry.time)} in the table and {time} in what was hashed."
            )
    return problems


def _of_record(entry: Entry, content: Mapping[str, Any]) -> list[str]:
    if "record" not in content:
        return []
    record = content["record"]
    if not isinstance(record, dict):
        return ["Its record is not a JSON object."]
    return [
        f"Its record says that its {name} is {record[name]!r}, and the entry says {column!r}."
        for name, column in (("id", entry.id), ("version", entry.version))
        if name in record and not _same(record[name], column)
    ]


def _same(one: object, other: object) -> bool:
    # 1 == True in Python; in what is hashed they differ.
    return type(one) is type(other) and one == other
