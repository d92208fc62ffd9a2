"""Rows and records: how the tables are asked."""

from __future__ import annotations

import difflib
from functools import cache
from typing import TYPE_CHECKING, Any, Final, TypeVar

import attrs
from sqlalchemy import exists, func, select

from lungwort.errors import RegisterError
from lungwort.register.checking import a_kind, is_id, name_key, words
from lungwort.register.convert import field_types, is_tuple, plain_value, tuple_from_plain
from lungwort.register.model import KINDS, Entry, Stage, Supply
from lungwort.register.tables import ROWS, JournalRow, ThingRow

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from sqlalchemy import ColumnElement, Connection, Table
    from sqlalchemy.engine import RowMapping

    from lungwort.register import stored_tree
    from lungwort.register.model import Record

R = TypeVar("R", bound="Record")

_KNOWN_SHOWN: Final = 12
JOURNAL: Final[Table] = JournalRow.__table__  # type: ignore[assignment] # a Table, as declared
THINGS: Final[Table] = ThingRow.__table__  # type: ignore[assignment] # a Table, as declared


def table_of(kind: type[Record]) -> Table:
    """Give the table of a kind.

    Parameters
    ----------
    kind : type
        A class of `lungwort.register.model.KINDS`.

    Returns
    -------
    sqlalchemy.Table
        As `lungwort.register.tables` declares it.

    Raises
    ------
    RegisterError
        Where it is no kind of record.
    """
    if KINDS.get(kind.KIND) is not kind:
        raise RegisterError(f"{kind.__name__} is no kind of record.")
    table: Table = ROWS[kind.KIND].__table__  # type: ignore[assignment] # a Table, as declared
    return table


def to_row(record: Record) -> dict[str, Any]:
    """Write a record as a row of its table.

    Parameters
    ----------
    record : Record
        Of any kind.

    Returns
    -------
    dict
        Column and value.
    """
    row = {}
    for one in attrs.fields(type(record)):
        value = getattr(record, one.name)
        row[one.name] = plain_value(value, one.name) if isinstance(value, tuple) else value
    if record.NAME:
        row["name_key"] = name_key(row[record.NAME])
    return row


def from_row(kind: type[R], row: RowMapping | Mapping[str, Any]) -> R:
    """Make a record from a row of its table.

    Parameters
    ----------
    kind : type
        A class of `lungwort.register.model.KINDS`.
    row : mapping
        Column and value.

    Returns
    -------
    Record
        With its ``seq``.
    """
    values = {
        name: tuple_from_plain(each, row[name], f"{name} of the {words(kind.KIND)}")
        if is_tuple(each)
        else row[name]
        for name, each in field_types(kind).items()
    }
    return kind(**values)


def every(connection: Connection, kind: type[R], /, **equal: object) -> list[R]:
    """Give all versions in force of a kind.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        For reading.
    kind : type
        Of which kind.
    **equal : object
        Only those with these values.

    Returns
    -------
    list of Record
        Not voided, in the order in which they were recorded.

    Raises
    ------
    RegisterError
        Where the kind has no such field, or it is a tuple.
    """
    table = table_of(kind)
    conditions = [in_force(table)]
    for name, value in equal.items():
        if is_tuple(field_types(kind).get(name, tuple[str, ...])):
            raise RegisterError(f"Records of {words(kind.KIND)} cannot be asked by {name}.")
        conditions.append(table.c[name].is_(None) if value is None else table.c[name] == value)
    query = select(table).where(*conditions).order_by(table.c.seq)
    return [from_row(kind, row) for row in connection.execute(query).mappings()]


def versions(connection: Connection, kind: type[R], thing_id: str) -> list[R]:
    """Give all versions of a thing.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        For reading.
    kind : type
        Of which kind.
    thing_id : str
        Its id.

    Returns
    -------
    list of Record
        Oldest first.
    """
    table = table_of(kind)
    query = select(table).where(table.c.id == thing_id).order_by(table.c.version)
    return [from_row(kind, row) for row in connection.execute(query).mappings()]


@cache  # an alias is dear to make, and each would be compiled anew
def in_force(table: Table) -> ColumnElement[bool]:
    """Give the condition that a row is in force: the newest version, and not voided.

    Parameters
    ----------
    table : sqlalchemy.Table
        Of a kind of record.

    Returns
    -------
    sqlalchemy.ColumnElement
        The condition.
    """
    newer = table.alias()
    later = exists().where(newer.c.id == table.c.id, newer.c.version > table.c.version)
    return ~later & (table.c.voided == False)  # noqa: E712 - SQL


def find_one(connection: Connection, kind: type[R], name_or_id: str) -> R | None:
    """Give the version in force of a thing.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        For reading.
    kind : type
        Of which kind.
    name_or_id : str
        Its name or id; a stage also as ``supply/stage``.

    Returns
    -------
    Record or None
        None where there is none.
    """
    if is_id(name_or_id):
        return find_by_id(connection, kind, name_or_id)
    if kind is Stage and "/" in name_or_id:
        supply_name, _, name = name_or_id.rpartition("/")
        supply = find_one(connection, Supply, supply_name)
        if supply is None:
            return None
        stages = every(connection, kind, supply_id=supply.id)
        return next(
            (one for one in stages if name_key(one.name) == name_key(name)),  # type: ignore[attr-defined] # a Stage
            None,
        )
    if not kind.NAME:
        return None
    return next(iter(named(connection, kind, name_or_id)), None)


def find_by_id(connection: Connection, kind: type[R], thing_id: str) -> R | None:
    """Give the version in force of a thing by its id.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        For reading.
    kind : type
        Of which kind.
    thing_id : str
        Its id.

    Returns
    -------
    Record or None
        None where there is none.
    """
    table = table_of(kind)
    query = select(table).where(table.c.id == thing_id).order_by(table.c.version.desc()).limit(1)
    row = connection.execute(query).mappings().first()
    if row is None or row["voided"]:
        return None
    return from_row(kind, row)


def named(connection: Connection, kind: type[R], name: str) -> list[R]:
    """Give the things in force of a name.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        For reading.
    kind : type
        Of which kind; one that has names.
    name : str
        Without regard to capitals.

    Returns
    -------
    list of Record
        None or one.
    """
    table = table_of(kind)
    query = select(table).where(table.c.name_key == name_key(name.strip()), in_force(table))
    return [from_row(kind, row) for row in connection.execute(query).mappings()]


def unknown(connection: Connection, kind: type[Record], given: str) -> str:
    """Say that a thing is not on record, and what comes near.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        For reading.
    kind : type
        Of which kind.
    given : str
        The name or id.

    Returns
    -------
    str
        The message.
    """
    what = words(kind.KIND)
    if is_id(given):
        query = select(THINGS.c.kind).where(THINGS.c.id == given)
        other = connection.execute(query).scalar_one_or_none()
        if other is not None and other != kind.KIND:
            return f"{given} is {a_kind(other)}, and {a_kind(kind.KIND)} is needed."
        if other is not None:
            voided = versions(connection, kind, given)
            if voided:
                return f"The {what} {given} was voided: {voided[-1].reason}."
        return f"There is no {what} {given} on record."
    if kind is Stage:
        names = [
            f"{supply.name}/{stage.name}"
            for supply in every(connection, Supply)
            for stage in every(connection, Stage, supply_id=supply.id)
        ]
    elif kind.NAME:
        names = [getattr(one, kind.NAME) for one in every(connection, kind)]
    else:
        return f"There is no {what} {given!r} on record. It is called by its id."
    keys = {name_key(name): name for name in names}
    near = [keys[one] for one in difflib.get_close_matches(name_key(given), list(keys))]
    said = f"There is no {what} {given!r} on record."
    if not names:
        return f"{said} There is no {what} at all yet."
    if near:
        said = f"{said} Did you mean {' or '.join(near)}?"
    if len(names) <= _KNOWN_SHOWN:
        return f"{said} On record: {', '.join(names)}."
    return f"{said} There are {len(names)} on record."


def subtrees_of(connection: Connection) -> stored_tree.Fetch:
    """Give the way to the hashes that are kept with entries.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        For reading.

    Returns
    -------
    callable
        As `lungwort.register.stored_tree` needs it.
    """

    def fetch(seqs: Iterable[int], /) -> dict[int, list[str]]:
        wanted = list(seqs)
        if not wanted:
            return {}
        query = select(JOURNAL.c.seq, JOURNAL.c.subtrees).where(JOURNAL.c.seq.in_(wanted))
        return {row.seq: row.subtrees for row in connection.execute(query)}

    return fetch


def newest_entry(connection: Connection) -> Entry | None:
    """Give the newest entry of the journal.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        For reading.

    Returns
    -------
    Entry or None
        None where there is none yet.
    """
    query = select(JOURNAL).order_by(JOURNAL.c.seq.desc()).limit(1)
    row = connection.execute(query).mappings().first()
    return None if row is None else entry_of(row)


def within(connection: Connection, size: int | None) -> int:
    """Check that there are so many entries.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        For reading.
    size : int, optional
        How many [1]; all if not given.

    Returns
    -------
    int
        How many [1].

    Raises
    ------
    RegisterError
        Where there are not so many.
    """
    there: int = connection.execute(select(func.max(JOURNAL.c.seq))).scalar_one() or 0
    if size is None:
        return there
    if not 0 <= size <= there:
        raise RegisterError(
            f"A tree of {size} entries was asked for, and there are {there}. Give a size from 0 to "
            f"{there}."
        )
    return size


def entry_of(row: RowMapping) -> Entry:
    """Make an entry from a row of the journal.

    Parameters
    ----------
    row : mapping
        Column and value.

    Returns
    -------
    Entry
        As it was recorded.
    """
    return Entry(**{name: row[name] for name in attrs.fields_dict(Entry)})
