"""The register: what is on record, and how it is changed.

Reading gives frozen records of `lungwort.register.model`. A change is one transaction: each record
goes into its table together with its entry in the journal, everything or nothing.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from datetime import UTC, timedelta
from typing import TYPE_CHECKING, Final

from lungwort.errors import RegisterError, WorkspaceError
from lungwort.register import stored_tree
from lungwort.register.changing import Change
from lungwort.register.engine import WAIT_SECONDS, reading, writing
from lungwort.register.heads import FILE, Heads, refuse_older
from lungwort.register.model import Person, TreeHead
from lungwort.register.queries import newest_entry, subtrees_of
from lungwort.register.reader import Reader

if TYPE_CHECKING:
    from collections.abc import Iterator
    from contextlib import AbstractContextManager
    from datetime import datetime
    from pathlib import Path

    from sqlalchemy import Connection, Engine

    from lungwort.register.model import Entry

__all__ = ["CLOCK_TOLERANCE", "Change", "Reader", "Register"]

CLOCK_TOLERANCE: Final = timedelta(minutes=5)
"""How far the computer's clock may be behind the newest entry; clocks of two computers differ."""


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
        super().__init__(folder=folder)
        self._engine = engine
        self._heads = Heads(folder)
        self._read_only = read_only
        self._wait_seconds = wait_seconds
        self._here = threading.local()

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
            yield Reader(connection, self.folder)

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
        with self._alone(), writing(self._engine, wait_seconds=self._wait_seconds) as connection:
            newest = newest_entry(connection)
            self._check_heads(connection, newest)
            _check_clock(newest, now, clock_is_right=clock_is_right)
            change = Change(connection, now, newest, self.folder)
            try:
                yield change
                head = change.head() if change.made else None
            finally:
                change.close()
        if head is not None:
            try:
                self._heads.append(head, now)
            except RegisterError as error:
                raise WorkspaceError(
                    f"The change was recorded, but not its head: {error} Do not repeat the change; "
                    "the next one makes up for it."
                ) from error

    @contextmanager
    def _alone(self) -> Iterator[None]:
        # A change within a change would wait for itself.
        if getattr(self._here, "changing", False):
            raise RegisterError("A change is being made already. Record both in one.")
        self._here.changing = True
        try:
            yield
        finally:
            self._here.changing = False

    def _check_heads(self, connection: Connection, newest: Entry | None) -> None:
        size = newest.seq if newest else 0
        known = self._heads.last()
        if known is None and size == 0:
            return
        if known is not None:
            refuse_older(known, size, str(self.folder))
            root = stored_tree.root(known.size, subtrees_of(connection)).hex()
            if root != known.root:
                raise RegisterError(
                    f"The first {known.size} entries of the journal in {self.folder} are not those "
                    f"that {FILE} knows: the record was altered. Nothing was recorded. Run "
                    "'lungwort verify', and restore the newest backup into a new folder."
                )
        if newest is not None and (known is None or known.size < size):
            # A crash between the commit and the line, or another one who is about to add it.
            root = stored_tree.root(size, subtrees_of(connection)).hex()
            self._heads.append(TreeHead(size=size, root=root), newest.time)


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
