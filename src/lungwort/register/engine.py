"""The database: how it is opened, written to by one at a time, and what its errors mean.

SQLite lies in the workspace folder (write-ahead log, foreign keys on, synced at each commit).
PostgreSQL is named by a URL. Nobody else than this module knows which of the two it is.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import contextmanager
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import unquote

from sqlalchemy import URL, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.pool import NullPool

from lungwort.errors import RegisterError, WorkspaceError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy import Connection, Engine

SQLITE: Final = "sqlite"
POSTGRESQL: Final = "postgresql"
_DRIVER: Final = "postgresql+psycopg"

WAIT_SECONDS: Final = 30
"""How long a writer waits for another one [s]."""

# Any number will do, so long as all writers take the same; it counts within one database.
_WRITERS: Final = 0x6C756E67

_NOT_A_URL: Final = (
    "Give 'sqlite', or a URL such as postgresql://user@host:5432/database. "
    "The password is best left out and set as LUNGWORT_DATABASE_PASSWORD."
)


def open_sqlite(
    path: Path, *, read_only: bool = False, wait_seconds: float = WAIT_SECONDS
) -> Engine:
    """Open a SQLite file.

    Parameters
    ----------
    path : pathlib.Path
        The file; made where it is missing, unless for reading only.
    read_only : bool
        Whether nothing may be written.
    wait_seconds : float
        How long a writer waits for another one [s].

    Returns
    -------
    sqlalchemy.Engine
        Nothing is read yet.
    """
    address = path.resolve().as_uri()
    query = {"uri": "true", "mode": "rwc"}
    if read_only and _may_write(path):
        # Opened for writing and told not to, it clears its write-ahead log away in the end.
        query["mode"] = "rw"
    elif read_only:
        query["mode"] = "ro"
        if not _has_log(path):
            # A folder that cannot be written has no room for the memory that readers and writers
            # share. SQLite reads the file alone if it is told that nobody writes.
            query["immutable"] = "1"
    return _sqlite(address, tuple(query.items()), wait_seconds, read_only=read_only)


@lru_cache(maxsize=32)
def _sqlite(
    address: str, query: tuple[tuple[str, str], ...], wait_seconds: float, *, read_only: bool
) -> Engine:
    # Kept, since it knows the statements that it has put together; it holds no connection, so
    # that the file can be moved or taken away as soon as a workspace is closed.
    engine = create_engine(
        URL.create("sqlite", database=address, query=dict(query)),
        connect_args={"timeout": wait_seconds},
        poolclass=NullPool,
    )

    @event.listens_for(engine, "connect")
    def _connect(connection: sqlite3.Connection, _: Any) -> None:  # noqa: ANN401 - SQLAlchemy's
        # Transactions are begun by the line below, not by the driver's guess.
        connection.isolation_level = None
        for pragma in ("foreign_keys = ON", "synchronous = FULL", "trusted_schema = OFF"):
            connection.execute(f"PRAGMA {pragma}")
        if read_only:
            connection.execute("PRAGMA query_only = ON")
        else:
            connection.execute("PRAGMA journal_mode = WAL")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def open_postgresql(url: str | URL, *, read_only: bool = False) -> Engine:
    """Open a PostgreSQL database.

    Parameters
    ----------
    url : str or sqlalchemy.URL
        Which. Without a password, that of `password_from_environment` is taken.
    read_only : bool
        Whether nothing may be written.

    Returns
    -------
    sqlalchemy.Engine
        Nothing is read yet.

    Raises
    ------
    WorkspaceError
        Where it is no such URL or the driver is not installed.
    """
    address = postgresql_url(url)
    if address.password is None and (password := password_from_environment()):
        address = address.set(password=password)
    options = {"options": "-c default_transaction_read_only=on"} if read_only else {}
    try:
        return create_engine(
            address, connect_args={"connect_timeout": 10, **options}, pool_pre_ping=True
        )
    except ImportError as error:
        raise WorkspaceError(
            "The driver for PostgreSQL is not installed or does not run. Install it with: "
            "pip install 'lungwort[postgresql]'."
        ) from error


def postgresql_url(url: str | URL) -> URL:
    """Read the URL of a PostgreSQL database.

    Parameters
    ----------
    url : str or sqlalchemy.URL
        ``postgresql://user@host:port/database``.

    Returns
    -------
    sqlalchemy.URL
        With the driver that is used.

    Raises
    ------
    WorkspaceError
        Where it is something else.
    """
    try:
        address = make_url(url)
    except (ArgumentError, NoSuchModuleError, ValueError) as error:
        # The text is not shown: it may hold a password.
        raise WorkspaceError(f"The database cannot be read as a URL. {_NOT_A_URL}") from error
    if address.drivername not in {POSTGRESQL, _DRIVER}:
        raise WorkspaceError(f"A database of {address.drivername!r} is not supported. {_NOT_A_URL}")
    if not address.database:
        raise WorkspaceError(f"The URL names no database. {_NOT_A_URL}")
    return address.set(drivername=_DRIVER)


def without_password(url: str | URL) -> str:
    """Write a URL as it may be kept and shown.

    Parameters
    ----------
    url : str or sqlalchemy.URL
        Of a PostgreSQL database.

    Returns
    -------
    str
        The same without its password.

    Raises
    ------
    WorkspaceError
        Where it is no such URL.
    """
    address = postgresql_url(url)
    query = {name: value for name, value in address.query.items() if name != "password"}
    bare = URL.create(
        address.drivername,
        address.username,
        None,
        address.host,
        address.port,
        address.database,
        query,
    )
    return bare.render_as_string(hide_password=False)


def password_from_environment() -> str | None:
    """Give the password that the environment holds for the database.

    Returns
    -------
    str or None
        ``LUNGWORT_DATABASE_PASSWORD``. Without it the driver itself looks at ``PGPASSWORD`` and
        the user's password file.
    """
    return os.environ.get("LUNGWORT_DATABASE_PASSWORD") or None


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Read in one transaction: what others write meanwhile is not seen.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The database.

    Yields
    ------
    sqlalchemy.Connection
        For reading.

    Raises
    ------
    WorkspaceError
        Where the database cannot be read.
    """
    with explained(engine):
        level: dict[str, Any] = (
            {} if engine.dialect.name == SQLITE else {"isolation_level": "REPEATABLE READ"}
        )
        with engine.connect() as connection:
            connection.execution_options(**level)
            yield connection


@contextmanager
def writing(engine: Engine, *, wait_seconds: float = WAIT_SECONDS) -> Iterator[Connection]:
    """Write in one transaction, alone: another writer waits until it is over.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The database.
    wait_seconds : float
        How long to wait for another writer [s]; SQLite was told when it was opened.

    Yields
    ------
    sqlalchemy.Connection
        Committed at the end; rolled back where anything is raised.

    Raises
    ------
    RegisterError
        Where somebody else goes on writing.
    WorkspaceError
        Where the database cannot be written.
    """
    with explained(engine), engine.connect() as connection:
        connection.execution_options(writes=True)
        with connection.begin():
            if engine.dialect.name == POSTGRESQL:
                connection.execute(text(f"SET LOCAL lock_timeout = {int(wait_seconds * 1000)}"))
                connection.execute(
                    text("SELECT pg_advisory_xact_lock(:writers)"), {"writers": _WRITERS}
                )
            yield connection


@contextmanager
def explained(engine: Engine) -> Iterator[None]:
    """Say what the database's errors mean to the user.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The database.

    Yields
    ------
    None
        While it is used.

    Raises
    ------
    RegisterError
        In place of the database's own errors.
    """
    try:
        yield
    except DBAPIError as error:
        raise _meaning(error, _shown(engine)) from error
    except sqlite3.Error as error:
        # From the driver while it connects.
        raise _of_sqlite(error, _shown(engine)) from error


def _may_write(path: Path) -> bool:
    effective = os.access in os.supports_effective_ids
    return all(os.access(one, os.W_OK, effective_ids=effective) for one in (path, path.parent))


def _has_log(path: Path) -> bool:
    log = path.with_name(path.name + "-wal")
    return log.exists() and log.stat().st_size > 0


def _shown(engine: Engine) -> str:
    if engine.dialect.name == SQLITE:
        return unquote((engine.url.database or "").removeprefix("file://"))
    return engine.url.render_as_string(hide_password=True)


def _meaning(error: DBAPIError, where: str) -> RegisterError:
    original = error.orig
    if isinstance(original, sqlite3.Error):
        return _of_sqlite(original, where)
    return _of_postgresql(original, where)


def _of_sqlite(error: sqlite3.Error, where: str) -> RegisterError:
    said = str(error)
    if "locked" in said or "busy" in said:
        return RegisterError(
            "Somebody else is writing to this workspace, and has not finished. Nothing was "
            "recorded. Wait until they have finished and try again."
        )
    if "full" in said:
        return WorkspaceError(
            f"The disk is full: {where} could not be written. Nothing was recorded. Make room and "
            "try again."
        )
    if "readonly" in said or "read-only" in said:
        return WorkspaceError(
            f"The database {where} may only be read. Nothing was recorded. Give yourself the right "
            "to write to the workspace folder, or work on a copy that was restored from a backup."
        )
    if "unable to open" in said:
        return WorkspaceError(
            f"The database {where} cannot be opened. Check that the file is there and that you may "
            "read and write it and its folder."
        )
    if "not a database" in said or "malformed" in said or "corrupt" in said:
        return WorkspaceError(
            f"The file {where} is damaged or not a database ({said}). Keep it as it is, and restore "
            "the newest backup into a new folder."
        )
    if "disk I/O" in said:
        return WorkspaceError(
            f"The disk failed while {where} was used ({said}). Nothing was recorded. Check the disk "
            "and its free space, then run 'lungwort verify'."
        )
    return WorkspaceError(
        f"The database {where} refused: {said}. Nothing was recorded. Run 'lungwort verify'."
    )


def _of_postgresql(error: BaseException | None, where: str) -> RegisterError:
    state = getattr(error, "sqlstate", None)
    said = " ".join(str(error).split()).rstrip(".")
    if state == "55P03":
        return RegisterError(
            "Somebody else is writing to this workspace, and has not finished. Nothing was "
            "recorded. Wait until they have finished and try again."
        )
    if state == "25006":
        return WorkspaceError(
            f"The database {where} may only be read. Nothing was recorded. Open the workspace for "
            "writing with a user who may write."
        )
    if state == "53100":
        return WorkspaceError(
            f"The disk of the database {where} is full. Nothing was recorded. Make room and try again."
        )
    if state is None or state.startswith(("08", "28", "3D", "57")):
        return WorkspaceError(
            f"The database {where} cannot be reached: {said}. Nothing was recorded. Check that the "
            "server runs and that the user may connect; the password is taken from "
            "LUNGWORT_DATABASE_PASSWORD, PGPASSWORD or the password file."
        )
    return WorkspaceError(
        f"The database {where} refused: {said}. Nothing was recorded. Run 'lungwort verify'."
    )
