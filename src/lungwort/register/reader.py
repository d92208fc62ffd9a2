"""What can be asked of the record; every answer is made of frozen records."""

from __future__ import annotations

from contextlib import nullcontext
from typing import TYPE_CHECKING, Final, TypeVar

from sqlalchemy import select

from lungwort.errors import RegisterError, UnknownRecordError
from lungwort.register import stored_tree
from lungwort.register.checking import words
from lungwort.register.model import TreeHead
from lungwort.register.queries import (
    JOURNAL,
    THINGS,
    entry_of,
    every,
    find_one,
    from_row,
    newest_entry,
    subtrees_of,
    table_of,
    unknown,
    versions,
    within,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from contextlib import AbstractContextManager
    from pathlib import Path

    from sqlalchemy import Connection

    from lungwort.register.model import Entry, Record

R = TypeVar("R", bound="Record")

_ENTRIES_AT_ONCE: Final = 1000


class Reader:
    """What can be asked of the record.

    Parameters
    ----------
    connection : sqlalchemy.Connection, optional
        Within one transaction.
    folder : pathlib.Path, optional
        Folder of the workspace; None where it is not known.
    """

    def __init__(self, connection: Connection | None = None, folder: Path | None = None) -> None:
        self._connection = connection
        self._folder = folder

    @property
    def folder(self) -> Path | None:
        """Folder of the workspace, in which what the record names relatively is found."""
        return self._folder

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
            found = find_one(connection, kind, name_or_id)
            if found is not None:
                return found
            raise UnknownRecordError(unknown(connection, kind, name_or_id))

    def find(self, kind: type[R], name_or_id: str) -> R | None:
        """Give the version in force of a thing, or None; parameters as for `get`."""
        with self._reading() as connection:
            return find_one(connection, kind, name_or_id)

    def all(self, kind: type[R], /, **equal: object) -> list[R]:
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
        with self._reading() as connection:
            return every(connection, kind, **equal)

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
        with self._reading() as connection:
            return versions(connection, kind, thing_id)

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
            found = connection.execute(select(THINGS).order_by(THINGS.c.id))
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
            query = select(JOURNAL).where(JOURNAL.c.seq >= first).order_by(JOURNAL.c.seq)
            if last is not None:
                query = query.where(JOURNAL.c.seq <= last)
            with self._reading() as connection:
                found = connection.execute(query.limit(_ENTRIES_AT_ONCE)).mappings().all()
            for row in found:
                yield entry_of(row)
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
            return newest_entry(connection)

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
            size = within(connection, size)
            return TreeHead(size=size, root=stored_tree.root(size, subtrees_of(connection)).hex())

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
            size = within(connection, size)
            if not 1 <= seq <= size:
                raise RegisterError(
                    f"There is no entry {seq} among the first {size} of the journal. Give one from "
                    f"1 to {size}."
                )
            path = stored_tree.inclusion(seq - 1, size, subtrees_of(connection))
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
            size = within(connection, size)
            if not 0 <= old_size <= size:
                raise RegisterError(
                    f"A record of {size} entries cannot go on from one of {old_size}. Give the "
                    "smaller one first."
                )
            path = stored_tree.consistency(old_size, size, subtrees_of(connection))
        return tuple(one.hex() for one in path)
