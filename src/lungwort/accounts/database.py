"""The file in which accounts are kept: how it is opened, and one transaction at a time."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Final, Self

import sqlalchemy as sa
from sqlalchemy.pool import NullPool

from lungwort.accounts import tables
from lungwort.accounts.rows import find_account, to_account
from lungwort.errors import WorkspaceError

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator
    from pathlib import Path
    from types import TracebackType

    from lungwort.accounts.model import Account

_WAIT_SECONDS: Final = 10


class Database:
    """The file; opened for each question and closed after it.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._engine = sa.create_engine(
            sa.URL.create("sqlite", database=str(path)),
            connect_args={"timeout": _WAIT_SECONDS, "check_same_thread": False},
            poolclass=NullPool,
        )

        @sa.event.listens_for(self._engine, "connect")
        def _connect(connection: sqlite3.Connection, _: object) -> None:
            connection.isolation_level = None
            for pragma in ("foreign_keys = ON", "trusted_schema = OFF", "secure_delete = ON"):
                connection.execute(f"PRAGMA {pragma}")

        with self._reading() as rows:
            form = _form(rows)
        if form > tables.FORM:
            raise WorkspaceError(
                f"{path} was written by a newer lungwort (form {form}; this one knows "
                f"{tables.FORM}). Use the newer one."
            )
        if form < tables.FORM:
            with self._writing() as rows:
                # Another process may have made them in between.
                if _form(rows) < tables.FORM:
                    tables.metadata.create_all(rows)
                    rows.exec_driver_sql(f"PRAGMA user_version = {tables.FORM}")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()

    @contextmanager
    def _reading(self) -> Iterator[sa.Connection]:
        with self._begun("BEGIN") as rows:
            yield rows

    @contextmanager
    def _writing(self) -> Iterator[sa.Connection]:
        with self._begun("BEGIN IMMEDIATE") as rows:
            yield rows

    @contextmanager
    def _begun(self, how: str) -> Iterator[sa.Connection]:
        try:
            with self._engine.connect() as rows:
                rows.exec_driver_sql(how)
                try:
                    yield rows
                except BaseException:
                    rows.exec_driver_sql("ROLLBACK")
                    raise
                rows.exec_driver_sql("COMMIT")
        except sa.exc.DBAPIError as error:
            raise WorkspaceError(
                f"{self.path} cannot be used: {error.orig}. Check the file and the folder."
            ) from error

    def by_id(self, account_id: str) -> Account:
        """Find an account by its id, also a closed one.

        Parameters
        ----------
        account_id : str
            The id.

        Returns
        -------
        Account
            The account.

        Raises
        ------
        UnknownRecordError
            Where there is none.
        """
        with self._reading() as rows:
            return to_account(find_account(rows, account_id))


def _form(rows: sa.Connection) -> int:
    return int(rows.exec_driver_sql("PRAGMA user_version").scalar_one())
