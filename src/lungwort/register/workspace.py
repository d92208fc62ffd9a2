"""The workspace: the folder in which a record and all that belongs to it lie.

::

    lungwort-workspace.toml   what it is, and where its database is
    register.sqlite           the database, unless it is on a PostgreSQL server
    heads.txt                 the tree's head after each change
    files/<sha256>            what was taken into the record, by its digest
    readings/…                the loggers' readings
    open-tests/…              tests by hand that are not finished
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
import threading
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self

from lungwort.errors import RegisterError, WorkspaceError
from lungwort.register import description
from lungwort.register.engine import (
    SQLITE,
    WAIT_SECONDS,
    open_postgresql,
    open_sqlite,
    without_password,
)
from lungwort.register.journal import time_text
from lungwort.register.locking import locked
from lungwort.register.migrate import bring_up_to_date, make_tables
from lungwort.register.model import Person
from lungwort.register.records import Register

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime
    from types import TracebackType

    from sqlalchemy import Engine

FILE: Final = description.FILE
DATABASE_FILE: Final = "register.sqlite"
FILES: Final = "files"
_LOCK: Final = "workspace.lock"
_DIGEST: Final = re.compile(r"[0-9a-f]{64}")


class Workspace:
    """A workspace that is open; close it, or use it in a ``with`` block.

    Parameters
    ----------
    folder : pathlib.Path
        Where it lies.
    name : str
        What it is called.
    database : str
        ``sqlite``, or a URL without password.
    engine : sqlalchemy.Engine
        The database.
    read_only : bool
        Whether nothing may be changed.
    wait_seconds : float
        How long a writer waits for another one [s].

    Attributes
    ----------
    register : Register
        What is on record.
    """

    def __init__(
        self,
        folder: Path,
        name: str,
        database: str,
        engine: Engine,
        *,
        read_only: bool = False,
        wait_seconds: float = WAIT_SECONDS,
    ) -> None:
        self.folder = folder
        self.name = name
        self.database = database
        self.read_only = read_only
        self.register = Register(engine, folder, read_only=read_only, wait_seconds=wait_seconds)
        self._engine = engine
        self._wait_seconds = wait_seconds
        self._holder = threading.RLock()
        self._held = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def engine(self) -> Engine:
        """The database."""
        return self._engine

    def close(self) -> None:
        """Close the database."""
        self._engine.dispose()

    def file_path(self, sha256: str) -> Path:
        """Give the path of a file by its digest.

        Parameters
        ----------
        sha256 : str
            SHA-256, lower-case hexadecimal.

        Returns
        -------
        pathlib.Path
            Whether or not it is there.

        Raises
        ------
        RegisterError
            Where it is no digest.
        """
        if not _DIGEST.fullmatch(sha256):
            raise RegisterError(f"{sha256!r} is no SHA-256 digest in lower-case hexadecimal.")
        return self.folder / FILES / sha256

    def put_file(self, content: bytes) -> str:
        """Take a file into the workspace; the same content twice is kept once.

        Parameters
        ----------
        content : bytes
            All of it.

        Returns
        -------
        str
            Its SHA-256.

        Raises
        ------
        WorkspaceError
            Where it cannot be written; nothing is left behind.
        """
        sha256 = hashlib.sha256(content).hexdigest()
        path = self.file_path(sha256)
        if self.read_only:
            raise WorkspaceError("The workspace was opened for reading only. Nothing was kept.")
        try:
            if not (path.exists() and path.read_bytes() == content):
                path.parent.mkdir(exist_ok=True)
                write_synced(path, content)
        except OSError as error:
            raise WorkspaceError(
                f"{path} could not be written: {description.cause(error)} Nothing was recorded."
            ) from error
        return sha256

    def read_file(self, sha256: str) -> bytes:
        """Give a file of the workspace.

        Parameters
        ----------
        sha256 : str
            Its SHA-256.

        Returns
        -------
        bytes
            All of it, as it was taken in.

        Raises
        ------
        RegisterError
            Where it is missing or was altered.
        """
        path = self.file_path(sha256)
        try:
            content = path.read_bytes()
        except FileNotFoundError as error:
            raise RegisterError(
                f"The file {path} is missing. Copy it from a backup; its name is its SHA-256."
            ) from error
        except OSError as error:
            raise RegisterError(
                f"The file {path} cannot be read: {description.cause(error)}"
            ) from error
        found = hashlib.sha256(content).hexdigest()
        if found != sha256:
            raise RegisterError(
                f"The file {path} was altered: its SHA-256 is {found}. Copy it from a backup."
            )
        return content

    @contextmanager
    def lock(self) -> Iterator[None]:
        """Hold the files of the workspace alone; may be nested within one thread.

        Yields
        ------
        None
            While it is held.

        Raises
        ------
        RegisterError
            Where somebody else goes on holding it.
        WorkspaceError
            Where the folder cannot be written.
        """
        with self._holder:
            if self._held:
                yield
                return
            try:
                holding = locked(self.folder / _LOCK, wait_seconds=self._wait_seconds)
                holding.__enter__()
            except OSError as error:
                raise WorkspaceError(
                    f"{self.folder} cannot be written: {description.cause(error)}"
                ) from error
            self._held = 1
            try:
                yield
            finally:
                self._held = 0
                holding.__exit__(None, None, None)


def create_workspace(
    folder: Path, *, name: str, person: str, now: datetime, database: str = SQLITE
) -> Workspace:
    """Make a workspace with an empty record.

    Parameters
    ----------
    folder : pathlib.Path
        New or empty.
    name : str
        What it is called, for people.
    person : str
        Name of the person who answers for the air: the first on record.
    now : datetime
        The time, with its zone.
    database : str
        ``sqlite``, or the URL of an empty PostgreSQL database. A password in it is used now and
        not kept.

    Returns
    -------
    Workspace
        Open.

    Raises
    ------
    WorkspaceError
        Where the folder or the database is not empty or cannot be written.
    RegisterError
        Where the name of the workspace or of the person cannot be used.
    """
    folder = Path(folder).absolute()
    if not name.strip() or not name.isprintable():
        raise RegisterError(
            f"The name of the workspace, {name!r}, cannot be used. Give --name NAME."
        )
    if (folder / FILE).exists():
        raise WorkspaceError(f"{folder} is a workspace already. Give another folder.")
    if (folder / DATABASE_FILE).exists():
        raise WorkspaceError(
            f"{folder} holds a database and no {FILE}: making a workspace there broke off, or the "
            "file was lost. Give another folder; a workspace that was in use is restored from its "
            "backup."
        )
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise WorkspaceError(f"{folder} is not an empty folder. Give a new or an empty one.")
    existed = folder.exists()
    kept = SQLITE if database == SQLITE else without_password(database)
    engine = _engine(folder, database, read_only=False, wait_seconds=WAIT_SECONDS)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / FILES).mkdir(exist_ok=True)
        make_tables(engine)
        workspace = Workspace(folder, name.strip(), kept, engine)
        # The name stands in the journal too, so that another one in the description shows.
        first = Person(name=person, note=f"Workspace: {name.strip()}")
        with workspace.register.found(first, now=now):
            pass
        # Last of all: without it the folder is no workspace yet.
        write_synced(
            folder / FILE, description.text(name.strip(), kept, time_text(now)).encode("utf-8")
        )
    except OSError as error:
        _forget(engine, folder, existed=existed)
        raise WorkspaceError(f"{folder} could not be made: {description.cause(error)}") from error
    except BaseException:
        _forget(engine, folder, existed=existed)
        raise
    return workspace


def open_workspace(
    folder: Path,
    *,
    read_only: bool = False,
    wait_seconds: float = WAIT_SECONDS,
    database: str | None = None,
) -> Workspace:
    """Open a workspace.

    Parameters
    ----------
    folder : pathlib.Path
        Where it lies.
    read_only : bool
        Whether nothing may be changed.
    wait_seconds : float
        How long a writer waits for another one [s].
    database : str, optional
        The same database with a password, where the environment does not give it.

    Returns
    -------
    Workspace
        Open.

    Raises
    ------
    WorkspaceError
        Where there is none, or its description or its database cannot be used.
    """
    folder = Path(folder).absolute()
    described = description.read(folder)
    database = database or described["database"]
    if database == SQLITE and not (folder / DATABASE_FILE).is_file():
        raise WorkspaceError(
            f"The database {folder / DATABASE_FILE} is missing. Restore the newest backup into a new "
            "folder."
        )
    engine = _engine(folder, database, read_only=read_only, wait_seconds=wait_seconds)
    try:
        bring_up_to_date(engine, read_only=read_only)
        return Workspace(
            folder,
            described["name"],
            described["database"],
            engine,
            read_only=read_only,
            wait_seconds=wait_seconds,
        )
    except BaseException:
        engine.dispose()
        raise


def find_workspace(start: Path) -> Path:
    """Look for the workspace that a folder lies in.

    Parameters
    ----------
    start : pathlib.Path
        The folder itself or one below.

    Returns
    -------
    pathlib.Path
        The workspace's folder.

    Raises
    ------
    WorkspaceError
        Where there is none.
    """
    start = Path(start).absolute()
    for folder in (start, *start.parents):
        if (folder / FILE).is_file():
            return folder
    raise WorkspaceError(
        f"Neither {start} nor a folder above it is a workspace. Give --workspace DIR, set "
        "LUNGWORT_WORKSPACE, or make one with 'lungwort workspace create'."
    )


def backup(workspace: Workspace, target: Path, *, now: datetime) -> Path:
    """Write all of a workspace into one archive; see `lungwort.register.backup.backup`."""
    from lungwort.register.backup import backup as write  # noqa: PLC0415 - it builds on this module

    return write(workspace, target, now=now)


def restore(archive: Path, folder: Path, *, database: str = SQLITE) -> Workspace:
    """Make a workspace from a backup; see `lungwort.register.backup.restore`."""
    from lungwort.register.backup import restore as make  # noqa: PLC0415 - it builds on this module

    return make(archive, folder, database=database)


def write_synced(path: Path, content: bytes) -> None:
    """Write a file so that it is whole, or as it was before, even after a power cut.

    Parameters
    ----------
    path : pathlib.Path
        Where to; an existing file is replaced.
    content : bytes
        All of it.

    Raises
    ------
    OSError
        Where it cannot be written; nothing is left behind.
    """
    temporary: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(
            dir=path.parent, prefix=".lungwort-", suffix=".part", delete=False
        ) as file:
            temporary = Path(file.name)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(0o644)
        temporary.replace(path)
    except BaseException:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder last, where the system can.

    Parameters
    ----------
    folder : pathlib.Path
        In which a file was made or renamed.
    """
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _forget(engine: Engine, folder: Path, *, existed: bool) -> None:
    # Half a workspace would stand in the way of the next attempt. The folder was empty before.
    engine.dispose()
    shutil.rmtree(folder, ignore_errors=True)
    if existed:
        folder.mkdir(exist_ok=True)


def _engine(folder: Path, database: str, *, read_only: bool, wait_seconds: float) -> Engine:
    if database == SQLITE:
        return open_sqlite(folder / DATABASE_FILE, read_only=read_only, wait_seconds=wait_seconds)
    return open_postgresql(database, read_only=read_only)
