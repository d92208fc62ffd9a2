"""Rows as they stand in the database, without trust: nothing here decodes or expects anything."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import column, select, table, text
from sqlalchemy.exc import DBAPIError

from lungwort.register.engine import SQLITE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import Connection

_LONGEST: Final = 60
_REFUSAL: Final = re.compile(r"RAISE\(ABORT|lungwort_refuse\(\)")


def rows_of(
    connection: Connection, name: str, columns: Sequence[str], order: str
) -> tuple[list[dict[str, Any]], list[tuple[int | None, str]]]:
    """Read all rows of a table; where one cannot be read, the others still are.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Within a transaction.
    name : str
        The table.
    columns : sequence of str
        Which columns.
    order : str
        Column by which they are ordered.

    Returns
    -------
    tuple of (list of dict, list of (int or None, str))
        The rows, and what could not be read: number of the row, and why.
    """
    plain = table(name, *(column(one) for one in columns))
    key = plain.c[order]
    query = select(plain).order_by(key)
    try:
        return [dict(row) for row in connection.execute(query).mappings()], []
    except DBAPIError as error:
        first = said(error)
    if connection.dialect.name != SQLITE:
        return [], [(None, f"The table {name} cannot be read ({first}).")]
    rows: list[dict[str, Any]] = []
    problems: list[tuple[int | None, str]] = []
    try:
        keys = list(connection.execute(select(key).order_by(key)).scalars())
    except DBAPIError:
        return [], [(None, f"The table {name} cannot be read ({first}).")]
    for one in keys:
        try:
            row = connection.execute(query.where(key == one)).mappings().first()
        except DBAPIError as error:
            seq = one if isinstance(one, int) else None
            problems.append(
                (seq, f"The row {one} of the table {name} cannot be read ({said(error)}).")
            )
            continue
        if row is not None:
            rows.append(dict(row))
    if not rows:
        # Not a matter of single rows, such as a column that is missing.
        return [], [(None, f"The table {name} cannot be read ({first}).")]
    return rows, problems


def damage_of(connection: Connection) -> list[str]:
    """Say what the database itself finds wrong with its file.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Within a transaction.

    Returns
    -------
    list of str
        Empty where all is well, and for servers, which look after their files themselves.
    """
    if connection.dialect.name != SQLITE:
        return []
    try:
        found = [str(one) for one in connection.execute(text("PRAGMA integrity_check")).scalars()]
    except DBAPIError as error:
        found = [said(error)]
    return [one for one in found if one != "ok"]


def unguarded(connection: Connection, tables: Sequence[str]) -> list[str]:
    """Name the tables in which the database would let rows be changed.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Within a transaction.
    tables : sequence of str
        Which should be guarded.

    Returns
    -------
    list of str
        Those of which a guard is missing, off or does not refuse.
    """
    if connection.dialect.name == SQLITE:
        query = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        guards = ["{}_no_update", "{}_no_delete", "{}_no_replace"]
    else:
        query = (
            "SELECT tgname, pg_get_triggerdef(oid) FROM pg_trigger "
            "WHERE NOT tgisinternal AND tgenabled IN ('O', 'A')"
        )
        guards = ["{}_refuse"]
    try:
        there = {
            str(name) for name, how in connection.execute(text(query)) if _REFUSAL.search(str(how))
        }
    except DBAPIError:
        there = set()
    return [one for one in tables if any(guard.format(one) not in there for guard in guards)]


def said(error: DBAPIError) -> str:
    """Give what a database said, in one line.

    Parameters
    ----------
    error : sqlalchemy.exc.DBAPIError
        Its error.

    Returns
    -------
    str
        Without the statement.
    """
    return " ".join(str(error.orig).split()).rstrip(".")


def shown(value: object) -> str:
    """Write a value from a table for a message.

    Parameters
    ----------
    value : object
        Text, bytes, a number or None.

    Returns
    -------
    str
        Cut where it is long.
    """
    text_of = repr(value)
    return text_of if len(text_of) <= _LONGEST else f"{text_of[:_LONGEST]}…"
