"""The register: what is on record, and how it is changed.

Reading gives frozen records of `lungwort.register.model`. A change is one transaction: each record
goes into its table together with its entry in the journal, everything or nothing.
"""

from __future__ import annotations

import base64
import difflib
import secrets
from contextlib import contextmanager, nullcontext
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final, TypeVar

import attrs
from sqlalchemy import exists, func, insert, select

from lungwort.errors import RegisterError, StaleRecordError, UnknownRecordError
from lungwort.register import stored_tree
from lungwort.register.checking import (
    id_prefix,
    in_order,
    is_id,
    name_key,
    references,
    words,
)
from lungwort.register.convert import (
    field_types,
    is_tuple,
    plain_value,
    to_plain,
    tuple_from_plain,
)
from lungwort.register.engine import WAIT_SECONDS, reading, writing
from lungwort.register.heads import FILE, Heads, refuse_older
from lungwort.register.journal import ADD, FIRST_PREVIOUS, REPLACE, VOID, make_entry
from lungwort.register.merkle import leaf_hash
from lungwort.register.model import KINDS, Entry, Person, Stage, Supply, TreeHead
from lungwort.register.tables import ROWS, JournalRow, ThingRow

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from contextlib import AbstractContextManager
    from pathlib import Path

    from sqlalchemy import ColumnElement, Connection, Engine, Table
    from sqlalchemy.engine import RowMapping

    from lungwort.register.model import Record

R = TypeVar("R", bound="Record")

CLOCK_TOLERANCE: Final = timedelta(minutes=5)
"""How far the computer's clock may be behind the newest entry; clocks of two computers differ."""

_KNOWN_SHOWN: Final = 12
_ENTRIES_AT_ONCE: Final = 1000
_ID_BYTES: Final = 10
_JOURNAL: Final[Table] = JournalRow.__table__  # type: ignore[assignment] # a Table, as declared
_THINGS: Final[Table] = ThingRow.__table__  # type: ignore[assignment] # a Table, as declared


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


class Reader:
    """What can be asked of the record.

    Parameters
    ----------
    connection : sqlalchemy.Connection, optional
        Within one transaction.
    """

    def __init__(self, connection: Connection | None = None) -> None:
        self._connection = connection

    def _reading(self) -> AbstractContextManager[Connection]:
        if self._connection is None:
            raise RegisterError("The record was closed. Open the workspace again.")
        return nullcontext(self._connection)

    def get(self, kind: type[R], name_or_id: str) -> R:
        """Give the version in force of a thing.

        Parameters
        ----------
        kind : type
            Of which kind.
        name_or_id : str
            Its name, without regard to capitals, or its id; a stage also as ``supply/stage``.

        Returns
        -------
        Record
            Not voided.

        Raises
        ------
        UnknownRecordError
            Where there is none; the message lists what comes near.
        """
        with self._reading() as connection:
            found = _find(connection, kind, name_or_id)
            if found is not None:
                return found
            raise UnknownRecordError(_unknown(connection, kind, name_or_id))

    def find(self, kind: type[R], name_or_id: str) -> R | None:
        """Give the version in force of a thing, or None; parameters as for `get`."""
        with self._reading() as connection:
            return _find(connection, kind, name_or_id)

    def all(self, kind: type[R], **equal: object) -> list[R]:
        """Give all versions in force of a kind.

        Parameters
        ----------
        kind : type
            Of which kind.
        **equal : object
            Only those with these values: ``supply_id="supply-…"``. Not for tuples.

        Returns
        -------
        list of Record
            Not voided, in the order in which they were recorded.

        Raises
        ------
        RegisterError
            Where the kind has no such field.
        """
        table = table_of(kind)
        conditions = [_in_force(table)]
        for name, value in equal.items():
            if is_tuple(field_types(kind).get(name, tuple[str, ...])):
                raise RegisterError(f"Records of {words(kind.KIND)} cannot be asked by {name}.")
            conditions.append(table.c[name].is_(None) if value is None else table.c[name] == value)
        query = select(table).where(*conditions).order_by(table.c.seq)
        with self._reading() as connection:
            return [from_row(kind, row) for row in connection.execute(query).mappings()]

    def history(self, kind: type[R], thing_id: str) -> list[R]:
        """Give all versions of a thing.

        Parameters
        ----------
        kind : type
            Of which kind.
        thing_id : str
            Its id.

        Returns
        -------
        list of Record
            Oldest first; empty where there is none.
        """
        table = table_of(kind)
        query = select(table).where(table.c.id == thing_id).order_by(table.c.version)
        with self._reading() as connection:
            return [from_row(kind, row) for row in connection.execute(query).mappings()]

    def version(self, kind: type[R], thing_id: str, version: int) -> R:
        """Give one version of a thing.

        Parameters
        ----------
        kind : type
            Of which kind.
        thing_id : str
            Its id.
        version : int
            From 1.

        Returns
        -------
        Record
            Voided or not.

        Raises
        ------
        UnknownRecordError
            Where there is none.
        """
        table = table_of(kind)
        query = select(table).where(table.c.id == thing_id, table.c.version == version)
        with self._reading() as connection:
            row = connection.execute(query).mappings().first()
        if row is None:
            raise UnknownRecordError(
                f"There is no version {version} of the {words(kind.KIND)} {thing_id} on record."
            )
        return from_row(kind, row)

    def rows(self, kind: type[R]) -> Iterator[R]:
        """Give every record of a kind: all versions, voided or not, for checking.

        Parameters
        ----------
        kind : type
            Of which kind.

        Yields
        ------
        Record
            In the order in which they were recorded.
        """
        table = table_of(kind)
        with self._reading() as connection:
            for row in connection.execute(select(table).order_by(table.c.seq)).mappings():
                yield from_row(kind, row)

    def things(self) -> dict[str, str]:
        """Give every thing that was ever recorded.

        Returns
        -------
        dict
            Id and kind.
        """
        with self._reading() as connection:
            found = connection.execute(select(_THINGS).order_by(_THINGS.c.id))
            return {row.id: row.kind for row in found}

    def entries(self, first: int = 1, last: int | None = None) -> Iterator[Entry]:
        """Give the entries of the journal.

        Parameters
        ----------
        first, last : int
            From which to which, both included; to the newest if ``last`` is not given.

        Yields
        ------
        Entry
            In order.
        """
        # In batches, each read as of its own time: entries never change, and a journal may be long.
        while last is None or first <= last:
            query = select(_JOURNAL).where(_JOURNAL.c.seq >= first).order_by(_JOURNAL.c.seq)
            if last is not None:
                query = query.where(_JOURNAL.c.seq <= last)
            with self._reading() as connection:
                found = connection.execute(query.limit(_ENTRIES_AT_ONCE)).mappings().all()
            for row in found:
                yield _entry(row)
            if len(found) < _ENTRIES_AT_ONCE:
                return
            first = found[-1]["seq"] + 1

    def entry(self, seq: int) -> Entry:
        """Give one entry of the journal.

        Parameters
        ----------
        seq : int
            Its number, from 1.

        Returns
        -------
        Entry
            As it was recorded.

        Raises
        ------
        UnknownRecordError
            Where there is none.
        """
        for one in self.entries(seq, seq):
            return one
        raise UnknownRecordError(f"There is no entry {seq} in the journal.")

    def newest(self) -> Entry | None:
        """Give the newest entry of the journal.

        Returns
        -------
        Entry or None
            None where there is none yet.
        """
        with self._reading() as connection:
            return _newest(connection)

    def head(self, size: int | None = None) -> TreeHead:
        """Give the head of the tree over the first entries.

        Parameters
        ----------
        size : int, optional
            How many [1]; all if not given.

        Returns
        -------
        TreeHead
            From the hashes kept with the entries.

        Raises
        ------
        RegisterError
            Where there are not so many.
        """
        with self._reading() as connection:
            size = _within(connection, size)
            return TreeHead(size=size, root=stored_tree.root(size, _fetch(connection)).hex())

    def inclusion(self, seq: int, size: int | None = None) -> tuple[str, ...]:
        """Prove that an entry is in the tree, without the other entries.

        Parameters
        ----------
        seq : int
            Its number, from 1.
        size : int, optional
            Of how many entries the tree is made [1]; all if not given.

        Returns
        -------
        tuple of str
            The audit path, from the leaf upwards, hexadecimal.

        Raises
        ------
        RegisterError
            Where there is no such entry.
        """
        with self._reading() as connection:
            size = _within(connection, size)
            if not 1 <= seq <= size:
                raise RegisterError(
                    f"There is no entry {seq} among the first {size} of the journal. Give one from "
                    f"1 to {size}."
                )
            path = stored_tree.inclusion(seq - 1, size, _fetch(connection))
        return tuple(one.hex() for one in path)

    def consistency(self, old_size: int, size: int | None = None) -> tuple[str, ...]:
        """Prove that the record only grew between two heads.

        Parameters
        ----------
        old_size : int
            Entries of the earlier tree [1].
        size : int, optional
            Entries of the later tree [1]; all if not given.

        Returns
        -------
        tuple of str
            The proof, hexadecimal.

        Raises
        ------
        RegisterError
            Where there are not so many entries.
        """
        with self._reading() as connection:
            size = _within(connection, size)
            if not 0 <= old_size <= size:
                raise RegisterError(
                    f"A record of {size} entries cannot go on from one of {old_size}. Give the "
                    "smaller one first."
                )
            path = stored_tree.consistency(old_size, size, _fetch(connection))
        return tuple(one.hex() for one in path)


class Register(Reader):
    """The record of one workspace.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        Its database.
    folder : pathlib.Path
        Its folder.
    read_only : bool
        Whether nothing may be changed.
    wait_seconds : float
        How long a change waits for another one [s].
    """

    def __init__(
        self,
        engine: Engine,
        folder: Path,
        *,
        read_only: bool = False,
        wait_seconds: float = WAIT_SECONDS,
    ) -> None:
        super().__init__()
        self._engine = engine
        self._folder = folder
        self._heads = Heads(folder)
        self._read_only = read_only
        self._wait_seconds = wait_seconds

    def _reading(self) -> AbstractContextManager[Connection]:
        return reading(self._engine)

    @contextmanager
    def at_one_time(self) -> Iterator[Reader]:
        """Read several things as of one moment: what is recorded meanwhile is not seen.

        Yields
        ------
        Reader
            For reading.
        """
        with reading(self._engine) as connection:
            yield Reader(connection)

    @contextmanager
    def change(self, *, who: str, now: datetime, clock_is_right: bool = False) -> Iterator[Change]:
        """Change the record in one transaction: everything in the block, or nothing.

        Parameters
        ----------
        who : str
            Name of a person on record who makes the change.
        now : datetime
            The time, with its zone.
        clock_is_right : bool
            Whether to record although the newest entry is later than ``now``.

        Yields
        ------
        Change
            For adding, replacing and voiding.

        Raises
        ------
        UnknownRecordError
            Where there is no such person.
        RegisterError
            Where the clock is behind the record, the database lacks entries that it had, or
            somebody else goes on writing.
        WorkspaceError
            Where nothing can be written.
        """
        with self._changing(now, clock_is_right=clock_is_right) as change:
            change.who = _acting(change, who)
            yield change

    @contextmanager
    def found(self, person: Person, *, now: datetime) -> Iterator[Change]:
        """Begin an empty record with the person who answers for it.

        Parameters
        ----------
        person : Person
            The first record.
        now : datetime
            The time, with its zone.

        Yields
        ------
        Change
            In which the person is recorded.

        Raises
        ------
        RegisterError
            Where the record is not empty.
        """
        with self._changing(now, clock_is_right=False) as change:
            if change.size:
                raise RegisterError("The record is not empty, so it cannot be begun.")
            change.who = person
            change.who = change.add(person)
            yield change

    @contextmanager
    def _changing(self, now: datetime, *, clock_is_right: bool) -> Iterator[Change]:
        if now.utcoffset() is None:
            raise RegisterError(f"The time {now} has no time zone. Give one in UTC.")
        now = now.astimezone(UTC)
        if self._read_only:
            raise RegisterError("The workspace was opened for reading only. Nothing was recorded.")
        with writing(self._engine, wait_seconds=self._wait_seconds) as connection:
            newest = _newest(connection)
            self._check_heads(connection, newest)
            _check_clock(newest, now, clock_is_right=clock_is_right)
            change = Change(connection, now, newest)
            yield change
            head = change.head() if change.made else None
            change.close()
        if head is not None:
            self._heads.append(head, now)

    def _check_heads(self, connection: Connection, newest: Entry | None) -> None:
        size = newest.seq if newest else 0
        known = self._heads.last()
        if known is None and size == 0:
            return
        if known is not None:
            refuse_older(known, size, str(self._folder))
            root = stored_tree.root(known.size, _fetch(connection)).hex()
            if root != known.root:
                raise RegisterError(
                    f"The first {known.size} entries of the journal in {self._folder} are not those "
                    f"that {FILE} knows: the record was altered. Nothing was recorded. Run "
                    "'lungwort verify', and restore the newest backup into a new folder."
                )
        if newest is not None and (known is None or known.size < size):
            # A crash between the commit and the line, or another one who is about to add it.
            root = stored_tree.root(size, _fetch(connection)).hex()
            self._heads.append(TreeHead(size=size, root=root), newest.time)


class Change(Reader):
    """A change being made; see `Register.change`.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction that nobody else can write in.
    now : datetime
        The time of the change, UTC.
    newest : Entry, optional
        The newest entry before it; None where there is none.

    Attributes
    ----------
    now : datetime
        The time of the change, UTC.
    who : Person
        Who makes it.
    size : int
        Entries of the journal so far [1].
    made : int
        Entries that it has made [1].
    """

    who: Person

    def __init__(self, connection: Connection, now: datetime, newest: Entry | None) -> None:
        super().__init__(connection)
        self.now = now
        self.size = newest.seq if newest else 0
        self.made = 0
        self._previous = newest.hash if newest else FIRST_PREVIOUS

    def close(self) -> None:
        """End it: nothing more can be recorded by it."""
        self._connection = None

    def add(self, record: R) -> R:
        """Record a new thing.

        Parameters
        ----------
        record : Record
            Without id and version.

        Returns
        -------
        Record
            With its id, version 1 and the number of its entry.

        Raises
        ------
        RegisterError
            Where it cannot be recorded as it is, its name is taken, or it names a thing that is
            not on record.
        """
        if record.id or record.version:
            raise RegisterError(
                f"The {words(record.KIND)} {record.id} is on record already. Replace or void it."
            )
        return self._record(ADD, attrs.evolve(record, reason="", voided=False), None)

    def replace(self, old: R, new: R, reason: str) -> R:
        """Record a new version of a thing.

        Parameters
        ----------
        old : Record
            The version in force.
        new : Record
            What takes its place.
        reason : str
            Why.

        Returns
        -------
        Record
            The new version.

        Raises
        ------
        StaleRecordError
            Where ``old`` is not the version in force.
        RegisterError
            Where no reason is given, nothing differs, or it cannot be recorded as it is.
        """
        if type(old) is not type(new):
            raise RegisterError(f"A {words(old.KIND)} cannot be replaced by a {words(new.KIND)}.")
        if new.id not in {"", old.id}:
            raise RegisterError(f"{old.id} cannot be replaced by a record of {new.id}.")
        reason = _reason(reason)
        self._check_in_force(old)
        new = attrs.evolve(
            new, id=old.id, version=old.version, seq=old.seq, reason=old.reason, voided=False
        )
        if in_order(new) == in_order(old):
            raise RegisterError(
                f"The new version of the {words(old.KIND)} {_called(old)} says the same as the one "
                "in force. Nothing was recorded."
            )
        return self._record(REPLACE, attrs.evolve(new, version=old.version + 1, reason=reason), old)

    def void(self, old: R, reason: str) -> R:
        """Record that a thing was recorded by mistake.

        Parameters
        ----------
        old : Record
            The version in force.
        reason : str
            Why.

        Returns
        -------
        Record
            The new, voided version.

        Raises
        ------
        StaleRecordError
            Where ``old`` is not the version in force.
        RegisterError
            Where no reason is given.
        """
        reason = _reason(reason)
        self._check_in_force(old)
        return self._record(
            VOID, attrs.evolve(old, version=old.version + 1, reason=reason, voided=True), old
        )

    def _check_in_force(self, old: Record) -> None:
        with self._reading() as connection:
            table = table_of(type(old))
            query = select(table).where(table.c.id == old.id).order_by(table.c.version.desc())
            row = connection.execute(query.limit(1)).mappings().first()
        what = f"{words(old.KIND)} {_called(old)}"
        if row is None:
            raise UnknownRecordError(f"There is no {words(old.KIND)} {old.id!r} on record.")
        newest = from_row(type(old), row)
        if newest.voided:
            raise StaleRecordError(
                f"The {what} was voided ({newest.reason}). Nothing was recorded."
            )
        if newest.version != old.version:
            raise StaleRecordError(
                f"The {what} was changed by somebody else meanwhile: version {newest.version} is in "
                f"force, not {old.version}. Nothing was recorded. Look at it again and repeat the "
                "change."
            )
        if newest != in_order(old):
            raise StaleRecordError(
                f"The {what} that is to be changed is not as it is on record. Nothing was recorded. "
                "Look at it again and repeat the change."
            )

    def _record(self, action: str, record: R, old: R | None) -> R:
        with self._reading() as connection:
            seq = self.size + 1
            record = attrs.evolve(record, seq=seq, id=record.id or _new_id(record.KIND))
            if old is None:
                record = attrs.evolve(record, version=1)
            record = in_order(record)
            if action != VOID:
                self._check_references(connection, record, old)
                self._check_name(connection, record)
            if isinstance(record, Person) and old is not None:
                self._check_somebody_left(connection, record)
            entry = make_entry(
                seq=seq,
                time=self.now,
                who=self.who.name,
                action=action,
                kind=record.KIND,
                id=record.id,
                version=record.version,
                record=to_plain(record),
                previous=self._previous,
            )
            leaf = leaf_hash(entry.content.encode("utf-8"))
            subtrees = stored_tree.closed_subtrees(seq, leaf, _fetch(connection))
            if old is None:
                connection.execute(insert(_THINGS), {"id": record.id, "kind": record.KIND})
            connection.execute(insert(_JOURNAL), {**attrs.asdict(entry), "subtrees": subtrees})
            connection.execute(insert(table_of(type(record))), to_row(record))
        self.size, self._previous = seq, entry.hash
        self.made += 1
        return record

    def _check_references(self, connection: Connection, record: Record, old: Record | None) -> None:
        known = set(references(old)) if old is not None else set()
        for field, kind, named in references(record):
            if (field, kind, named) in known:
                continue
            if _find_by_id(connection, KINDS[kind], named) is None:
                raise UnknownRecordError(
                    f"The {field} of the {words(record.KIND)} cannot be used. "
                    f"{_unknown(connection, KINDS[kind], named)}"
                )

    def _check_name(self, connection: Connection, record: Record) -> None:
        if isinstance(record, Stage):
            same: list[Any] = [
                one
                for one in self.all(Stage, supply_id=record.supply_id)
                if name_key(one.name) == name_key(record.name)
            ]
        elif record.NAME:
            same = _named(connection, type(record), getattr(record, record.NAME))
        else:
            return
        for one in same:
            if one.id != record.id:
                field = record.NAME or "name"
                raise RegisterError(
                    f"There is a {words(record.KIND)} with the {field} {getattr(one, field)!r} "
                    f"already ({one.id}). Give another {field}."
                )

    def _check_somebody_left(self, connection: Connection, record: Person) -> None:
        if record.in_use and not record.voided:
            return
        table = table_of(Person)
        others = select(func.count()).where(
            _in_force(table),
            table.c.in_use == True,  # noqa: E712 - SQL
            table.c.id != record.id,
        )
        if not connection.execute(others).scalar_one():
            raise RegisterError(
                f"{record.name} is the only person who can make changes. Record somebody else first."
            )


def _acting(change: Change, who: str) -> Person:
    person = change.get(Person, who)
    if not person.in_use:
        raise RegisterError(
            f"{person.name} is no longer in use on record, so cannot make changes. Name somebody "
            "else."
        )
    return person


def _check_clock(newest: Entry | None, now: datetime, *, clock_is_right: bool) -> None:
    if newest is None or clock_is_right or newest.time - now <= CLOCK_TOLERANCE:
        return
    raise RegisterError(
        f"The computer's clock says {now:%Y-%m-%d %H:%M} UTC, and the newest entry on record was "
        f"made at {newest.time:%Y-%m-%d %H:%M} UTC: the clock is behind the record. Nothing was "
        "recorded. Set the clock right and try again. If the clock is right and was ahead before, "
        "give --clock-is-right."
    )


def _reason(reason: str) -> str:
    if not reason.strip():
        raise RegisterError("A change of what is on record needs a reason. Give --reason TEXT.")
    return reason.strip()


def _called(record: Record) -> str:
    return repr(getattr(record, record.NAME)) if record.NAME else record.id


def _new_id(kind: str) -> str:
    code = base64.b32encode(secrets.token_bytes(_ID_BYTES)).decode("ascii").lower()
    return f"{id_prefix(kind)}-{code}"


def _in_force(table: Table) -> ColumnElement[bool]:
    newer = table.alias()
    later = exists().where(newer.c.id == table.c.id, newer.c.version > table.c.version)
    return ~later & (table.c.voided == False)  # noqa: E712 - SQL


def _find(connection: Connection, kind: type[R], name_or_id: str) -> R | None:
    if is_id(name_or_id):
        return _find_by_id(connection, kind, name_or_id)
    if kind is Stage and "/" in name_or_id:
        supply_name, _, name = name_or_id.rpartition("/")
        supply = _find(connection, Supply, supply_name)
        if supply is None:
            return None
        stages = Reader(connection).all(kind, supply_id=supply.id)
        return next(
            (one for one in stages if name_key(one.name) == name_key(name)),  # type: ignore[attr-defined] # a Stage
            None,
        )
    if not kind.NAME:
        return None
    return next(iter(_named(connection, kind, name_or_id)), None)


def _find_by_id(connection: Connection, kind: type[R], thing_id: str) -> R | None:
    table = table_of(kind)
    query = select(table).where(table.c.id == thing_id).order_by(table.c.version.desc()).limit(1)
    row = connection.execute(query).mappings().first()
    if row is None or row["voided"]:
        return None
    return from_row(kind, row)


def _named(connection: Connection, kind: type[R], name: str) -> list[R]:
    table = table_of(kind)
    query = select(table).where(table.c.name_key == name_key(name.strip()), _in_force(table))
    return [from_row(kind, row) for row in connection.execute(query).mappings()]


def _unknown(connection: Connection, kind: type[Record], given: str) -> str:
    what = words(kind.KIND)
    if is_id(given):
        query = select(_THINGS.c.kind).where(_THINGS.c.id == given)
        other = connection.execute(query).scalar_one_or_none()
        if other is not None and other != kind.KIND:
            return f"{given} is of the kind {words(other)}, and a {what} is needed."
        if other is not None:
            voided = Reader(connection).history(kind, given)
            if voided:
                return f"The {what} {given} was voided: {voided[-1].reason}."
        return f"There is no {what} {given} on record."
    if kind is Stage:
        names = [
            f"{supply.name}/{stage.name}"
            for supply in Reader(connection).all(Supply)
            for stage in Reader(connection).all(Stage, supply_id=supply.id)
        ]
    elif kind.NAME:
        names = [getattr(one, kind.NAME) for one in Reader(connection).all(kind)]
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


def _fetch(connection: Connection) -> stored_tree.Fetch:
    def fetch(seqs: Iterable[int], /) -> dict[int, list[str]]:
        wanted = list(seqs)
        if not wanted:
            return {}
        query = select(_JOURNAL.c.seq, _JOURNAL.c.subtrees).where(_JOURNAL.c.seq.in_(wanted))
        return {row.seq: row.subtrees for row in connection.execute(query)}

    return fetch


def _newest(connection: Connection) -> Entry | None:
    query = select(_JOURNAL).order_by(_JOURNAL.c.seq.desc()).limit(1)
    row = connection.execute(query).mappings().first()
    return None if row is None else _entry(row)


def _within(connection: Connection, size: int | None) -> int:
    there: int = connection.execute(select(func.max(_JOURNAL.c.seq))).scalar_one() or 0
    if size is None:
        return there
    if not 0 <= size <= there:
        raise RegisterError(
            f"A tree of {size} entries was asked for, and there are {there}. Give a size from 0 to "
            f"{there}."
        )
    return size


def _entry(row: RowMapping) -> Entry:
    return Entry(**{name: row[name] for name in attrs.fields_dict(Entry)})
