"""A change of the record, and what is refused."""

from __future__ import annotations

import base64
import secrets
from typing import TYPE_CHECKING, Any, Final, TypeVar

import attrs
from sqlalchemy import Text, func, insert, or_, select, type_coerce

from lungwort.errors import RegisterError, StaleRecordError, UnknownRecordError
from lungwort.register import stored_tree
from lungwort.register.checking import (
    a_kind,
    id_prefix,
    in_order,
    name_key,
    naming_fields,
    references,
    words,
)
from lungwort.register.convert import to_plain
from lungwort.register.journal import ADD, FIRST_PREVIOUS, REPLACE, VOID, make_entry
from lungwort.register.merkle import leaf_hash
from lungwort.register.model import KINDS, Lot, LotUse, Person, Photo, Stage
from lungwort.register.queries import (
    JOURNAL,
    THINGS,
    find_by_id,
    from_row,
    in_force,
    named,
    subtrees_of,
    table_of,
    to_row,
    unknown,
)
from lungwort.register.reader import Reader

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from sqlalchemy import Connection

    from lungwort.register.model import Entry, Record

R = TypeVar("R", bound="Record")

_ID_BYTES: Final = 10


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
    folder : pathlib.Path, optional
        Folder of the workspace.

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

    def __init__(
        self,
        connection: Connection,
        now: datetime,
        newest: Entry | None,
        folder: Path | None = None,
    ) -> None:
        super().__init__(connection, folder)
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
        if record.reason or record.voided:
            raise RegisterError(
                f"A new {words(record.KIND)} has no reason and is not voided. Leave both out; what "
                "is to be remembered of it goes into its note."
            )
        return self._record(ADD, record, None)

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
            raise RegisterError(
                f"{old.id} cannot be replaced by {a_kind(new.KIND)}: it is {a_kind(old.KIND)}."
            )
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
            Where no reason is given, or something in force names it.
        """
        reason = _reason(reason)
        self._check_in_force(old)
        with self._reading() as connection:
            _check_unnamed(connection, old)
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
            subtrees = stored_tree.closed_subtrees(seq, leaf, subtrees_of(connection))
            if old is None:
                connection.execute(insert(THINGS), {"id": record.id, "kind": record.KIND})
            connection.execute(insert(JOURNAL), {**attrs.asdict(entry), "subtrees": subtrees})
            connection.execute(insert(table_of(type(record))), to_row(record))
        self.size, self._previous = seq, entry.hash
        self.made += 1
        return record

    def _check_references(self, connection: Connection, record: Record, old: Record | None) -> None:
        known = set(references(old)) if old is not None else set()
        for field, kind, thing in references(record):
            if (field, kind, thing) in known:
                continue
            if find_by_id(connection, KINDS[kind], thing) is None:
                raise UnknownRecordError(
                    f"The {field} of the {words(record.KIND)} cannot be used. "
                    f"{unknown(connection, KINDS[kind], thing)}"
                )

    def _check_name(self, connection: Connection, record: Record) -> None:
        if isinstance(record, Stage):
            same: list[Any] = [
                one
                for one in self.all(Stage, supply_id=record.supply_id)
                if name_key(one.name) == name_key(record.name)
            ]
        elif record.NAME:
            same = named(connection, type(record), getattr(record, record.NAME))
        else:
            return
        for one in same:
            if one.id != record.id:
                field = record.NAME or "name"
                raise RegisterError(
                    f"There is {a_kind(record.KIND)} with the {field} {getattr(one, field)!r} "
                    f"already ({one.id}). Give another {field}."
                )

    def _check_somebody_left(self, connection: Connection, record: Person) -> None:
        if record.in_use and not record.voided:
            return
        table = table_of(Person)
        others = select(func.count()).where(
            in_force(table),
            table.c.in_use == True,  # noqa: E712 - SQL
            table.c.id != record.id,
        )
        if not connection.execute(others).scalar_one():
            raise RegisterError(
                f"{record.name} is the only person who can make changes. Record somebody else first."
            )


def _check_unnamed(connection: Connection, old: Record) -> None:
    # What rests on a mistake must not go on standing: it is voided first.
    for kind in KINDS.values():
        if kind is LotUse and not isinstance(old, Lot):
            # What was used up in a test stays used up.
            continue
        if kind is Photo:
            # It shows what was seen, also in a test that was recorded by mistake.
            continue
        table = table_of(kind)
        naming = [
            type_coerce(table.c[field], Text).like(f'%"{old.id}"%')
            if several
            else table.c[field] == old.id
            for field, several in naming_fields(kind, old.KIND)
        ]
        if not naming:
            continue
        query = select(table).where(or_(*naming), in_force(table)).limit(1)
        row = connection.execute(query).mappings().first()
        if row is not None:
            other = from_row(kind, row)
            raise RegisterError(
                f"The {words(old.KIND)} {_called(old)} cannot be voided while the "
                f"{words(kind.KIND)} {_called(other)} names it. Void or change that first."
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
