"""A workspace in one archive, and a workspace from it.

A backup may be taken while others work: the database is copied as of one moment, and then the
files. A record is made only after the files that it names, and files are never taken away, so all
that the copy names is there. Each member's digest is in the archive and is checked on restoring.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from contextlib import closing
from pathlib import Path, PurePosixPath
from typing import IO, TYPE_CHECKING, Any, Final

import sqlalchemy as sa

from lungwort.errors import OutputError, WorkspaceError
from lungwort.register import description, heads
from lungwort.register.canonical import canonical, parse
from lungwort.register.engine import (
    SQLITE,
    open_postgresql,
    open_sqlite,
    reading,
    without_password,
    writing,
)
from lungwort.register.journal import time_text
from lungwort.register.migrate import (
    bring_up_to_date,
    form,
    known_forms,
    make_tables_in,
    upgrade,
)
from lungwort.register.records import Reader
from lungwort.register.tables import Base
from lungwort.register.workspace import (
    DATABASE_FILE,
    FILE,
    FILES,
    Workspace,
    open_workspace,
    sync_folder,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from sqlalchemy import Connection

    from lungwort.register.model import TreeHead

FORMAT: Final = "lungwort-backup/1"
MANIFEST: Final = "lungwort-backup.json"
ROWS_FILE: Final = "register.jsonl"
DERIVED: Final = "derived"
"""Folder of what is worked out from the rest and may be deleted at any time."""
_AT_ONCE_BYTES: Final = 1 << 20
_ROWS_AT_ONCE: Final = 500
_PACKED: Final = (".parquet", ".pdf", ".zip", ".png", ".jpg", ".jpeg")


def backup(workspace: Workspace, target: Path, *, now: datetime) -> Path:
    """Write all of a workspace into one ZIP archive.

    Parameters
    ----------
    workspace : Workspace
        Open; others may go on working in it.
    target : pathlib.Path
        The archive, which must not be there yet; or a folder, in which it gets a name.
    now : datetime
        The time, with its zone.

    Returns
    -------
    pathlib.Path
        The archive.

    Raises
    ------
    OutputError
        Where it cannot be written; nothing is left behind.
    RegisterError
        Where the workspace cannot be read.
    """
    target = Path(target).absolute()
    if target.is_dir():
        stamp = time_text(now)[:19].replace("-", "").replace(":", "")
        target /= f"{workspace.folder.name}-{stamp}Z.zip"
    if target.exists():
        raise OutputError(f"{target} is there already. Give another name; a backup is kept.")
    if not target.parent.is_dir():
        raise OutputError(
            f"There is no folder {target.parent}. Make it first, or give another path."
        )
    temporary: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(
            dir=target.parent, prefix=".lungwort-", suffix=".part", delete=False
        ) as file:
            temporary = Path(file.name)
            _write(workspace, file, now, {target, temporary})
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(0o600)
        temporary.replace(target)
        sync_folder(target.parent)
    except OSError as error:
        raise OutputError(
            f"{target} could not be written: {error.strerror or error}. Make room, check your "
            "rights, or give another path."
        ) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
    return target


def restore(archive: Path, folder: Path, *, database: str = SQLITE) -> Workspace:
    """Make a workspace from a backup.

    Parameters
    ----------
    archive : pathlib.Path
        As `backup` wrote it.
    folder : pathlib.Path
        New or empty.
    database : str
        ``sqlite``, or the URL of an empty PostgreSQL database; it need not be what it was.

    Returns
    -------
    Workspace
        Open.

    Raises
    ------
    WorkspaceError
        Where the folder or the database is not empty, or the archive is damaged or was altered;
        nothing is left behind.
    """
    archive, folder = Path(archive).absolute(), Path(folder).absolute()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise WorkspaceError(f"{folder} is not an empty folder. Give a new or an empty one.")
    kept = SQLITE if database == SQLITE else without_password(database)
    staging: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(dir=folder.parent, prefix=".lungwort-restore-"))
        manifest = _unpack(archive, staging)
        _place(manifest, staging, folder, database, kept)
    except OSError as error:
        raise WorkspaceError(
            f"{archive} could not be restored to {folder}: {error.strerror or error}. Check the "
            "archive, your rights and the space on the disk."
        ) from error
    finally:
        if staging is not None:
            shutil.rmtree(staging, ignore_errors=True)
    return open_workspace(folder, database=database)


def _write(workspace: Workspace, file: IO[bytes], now: datetime, without: set[Path]) -> None:
    members: dict[str, dict[str, Any]] = {}
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        head, step = _write_database(workspace, archive, members)
        _write_heads(workspace.folder, archive, members, head)
        for path in sorted(workspace.folder.rglob("*")):
            if path in without or not path.is_file() or _is_left_out(path, workspace.folder):
                continue
            name = path.relative_to(workspace.folder).as_posix()
            try:
                with path.open("rb") as source:
                    _put(archive, members, name, source)
            except FileNotFoundError:
                # A test by hand was finished meanwhile; what records name is never taken away.
                continue
        manifest = {
            "format": FORMAT,
            "name": workspace.name,
            "created": description.read(workspace.folder)["created"],
            "made": time_text(now),
            "database": SQLITE if workspace.database == SQLITE else "rows",
            "form": step,
            "size": head.size,
            "root": head.root,
            "members": members,
        }
        archive.writestr(MANIFEST, canonical(manifest))


def _write_database(
    workspace: Workspace, archive: zipfile.ZipFile, members: dict[str, dict[str, Any]]
) -> tuple[TreeHead, str]:
    with tempfile.TemporaryDirectory() as scratch, reading(workspace.engine) as connection:
        step = form(connection) or ""
        head = Reader(connection).head()
        if workspace.database == SQLITE:
            path, name = Path(scratch) / DATABASE_FILE, DATABASE_FILE
            with closing(sqlite3.connect(path)) as copy:
                driver: Any = connection.connection.driver_connection
                driver.backup(copy)
        else:
            path, name = Path(scratch) / ROWS_FILE, ROWS_FILE
            with path.open("w", encoding="utf-8", newline="\n") as lines:
                for table, row in _rows(connection):
                    lines.write(canonical({"table": table, "row": row}) + "\n")
        with path.open("rb") as source:
            _put(archive, members, name, source)
    return head, step


def _write_heads(
    folder: Path, archive: zipfile.ZipFile, members: dict[str, dict[str, Any]], head: TreeHead
) -> None:
    path = folder / heads.FILE
    if not path.exists():
        return
    # Changes made since the database was copied are not in the backup.
    lines = path.read_bytes().splitlines(keepends=True)
    kept = [
        line
        for line in lines
        if not (number := line.split(b" ", 1)[0]).isdigit() or int(number) <= head.size
    ]
    with tempfile.TemporaryFile() as source:
        source.write(b"".join(kept))
        source.seek(0)
        _put(archive, members, heads.FILE, source)


_OF_THE_SERVER: Final = ("accounts.sqlite", "lungwort-server.json")
"""Passwords, visits and tokens are secrets and prove nothing; a running server is no record."""


def _is_left_out(path: Path, folder: Path) -> bool:
    name = path.name
    if name.startswith(".lungwort-") and name.endswith(".part"):
        return True
    if path.relative_to(folder).parts[0] == DERIVED:
        return True
    if path.parent != folder:
        return False
    return (
        name in {FILE, heads.FILE, MANIFEST, ROWS_FILE}
        or name.startswith(
            (
                DATABASE_FILE,
                f"{Path(DATABASE_FILE).stem}-before-",
                f".{DATABASE_FILE}",
                *_OF_THE_SERVER,
            )
        )
        or name.endswith(".lock")
    )


def _put(
    archive: zipfile.ZipFile, members: dict[str, dict[str, Any]], name: str, source: IO[bytes]
) -> None:
    info = zipfile.ZipInfo(name)
    info.external_attr = 0o644 << 16
    packed = name.endswith(_PACKED)
    info.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
    digest, size = hashlib.sha256(), 0
    with archive.open(info, "w", force_zip64=True) as member:
        while block := source.read(_AT_ONCE_BYTES):
            digest.update(block)
            size += len(block)
            member.write(block)
    members[name] = {"sha256": digest.hexdigest(), "size_bytes": size}


def _rows(connection: Connection) -> Iterator[tuple[str, dict[str, Any]]]:
    for table in Base.metadata.sorted_tables:
        bare = _bare(table.name, [one.name for one in table.columns])
        order = [bare.c[one.name] for one in table.primary_key.columns]
        found = connection.execute(sa.select(bare).order_by(*order))
        for row in found.mappings().yield_per(_ROWS_AT_ONCE):
            yield table.name, dict(row)


def _bare(name: str, columns: list[str]) -> sa.TableClause:
    # Without the types of the model: the values go through as they lie in the database.
    return sa.table(name, *(sa.column(one) for one in columns))


def _unpack(archive: Path, staging: Path) -> dict[str, Any]:
    damaged = f"{archive} is damaged or is no backup of a workspace"
    try:
        with zipfile.ZipFile(archive) as file:
            manifest = _manifest(file, archive)
            members: Mapping[str, Mapping[str, Any]] = manifest["members"]
            names = [one for one in file.namelist() if one != MANIFEST]
            if sorted(names) != sorted(members):
                odd = sorted(set(names) ^ set(members)) or sorted(names)
                raise WorkspaceError(
                    f"{damaged}: what it holds is not what it lists ({odd[0]}). Use another backup."
                )
            for name in names:
                target = _safe(staging, name, archive)
                target.parent.mkdir(parents=True, exist_ok=True)
                with file.open(name) as source, target.open("wb") as out:
                    digest = _copied(source, out)
                if digest != members[name]["sha256"]:
                    raise WorkspaceError(
                        f"{damaged}: {name} has the SHA-256 {digest}, and "
                        f"{members[name]['sha256']} was written. Use another backup."
                    )
    except FileNotFoundError as error:
        raise WorkspaceError(
            f"There is no file {archive}. Give the archive of a backup."
        ) from error
    except (zipfile.BadZipFile, EOFError, zlib.error, NotImplementedError) as error:
        raise WorkspaceError(f"{damaged} ({error}). Use another backup.") from error
    return manifest


def _copied(source: IO[bytes], out: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while block := source.read(_AT_ONCE_BYTES):
        digest.update(block)
        out.write(block)
    out.flush()
    os.fsync(out.fileno())
    return digest.hexdigest()


def _manifest(file: zipfile.ZipFile, archive: Path) -> dict[str, Any]:
    try:
        manifest: Any = json.loads(file.read(MANIFEST).decode("utf-8"))
    except KeyError as error:
        raise WorkspaceError(
            f"{archive} is no backup of a workspace: it has no {MANIFEST}. Give an archive that "
            "'lungwort workspace backup' wrote."
        ) from error
    except ValueError as error:
        raise WorkspaceError(f"{archive} is damaged: its {MANIFEST} cannot be read.") from error
    if (
        not isinstance(manifest, dict)
        or manifest.get("format") != FORMAT
        or not isinstance(manifest.get("members"), dict)
    ):
        raise WorkspaceError(
            f"{archive} is a backup in a form that this lungwort does not know. Install the newest "
            "lungwort."
        )
    kept = {"name": str, "created": str, "database": str, "form": str, "size": int, "root": str}
    if any(type(manifest.get(one)) is not shape for one, shape in kept.items()) or any(
        not isinstance(one, dict) or not isinstance(one.get("sha256"), str)
        for one in manifest["members"].values()
    ):
        raise WorkspaceError(f"{archive} is damaged: its {MANIFEST} is not whole.")
    if manifest["form"] not in known_forms():
        raise WorkspaceError(
            f"{archive} was made by a newer lungwort (its database has the form "
            f"{manifest['form']!r}). Install the newest lungwort."
        )
    return manifest


def _safe(staging: Path, name: str, archive: Path) -> Path:
    parts = PurePosixPath(name).parts
    if not parts or name.startswith("/") or ".." in parts or "\\" in name or ":" in name:
        raise WorkspaceError(f"{archive} holds {name!r}, which no backup does. It is not used.")
    return staging.joinpath(*parts)


def _place(manifest: dict[str, Any], staging: Path, folder: Path, database: str, kept: str) -> None:
    text = description.text(manifest["name"], kept, manifest["created"])
    (staging / FILE).write_text(text, encoding="utf-8", newline="\n")
    if database == SQLITE:
        engine = open_sqlite(staging / DATABASE_FILE)
        try:
            if manifest["database"] == SQLITE:
                with reading(engine) as connection:
                    _check_head(connection, manifest)
            else:
                with writing(engine) as connection:
                    _fill(connection, manifest, staging)
        finally:
            engine.dispose()
        (staging / ROWS_FILE).unlink(missing_ok=True)
        _rename(staging, folder)
        return
    engine = open_postgresql(database)
    try:
        with writing(engine) as connection:
            _fill(connection, manifest, staging)
            for name in (ROWS_FILE, DATABASE_FILE):
                (staging / name).unlink(missing_ok=True)
            # Within the transaction: either both are there or neither is.
            _rename(staging, folder)
    except BaseException:
        if not staging.exists():
            shutil.rmtree(folder, ignore_errors=True)
        raise
    finally:
        engine.dispose()


def _fill(connection: Connection, manifest: dict[str, Any], staging: Path) -> None:
    make_tables_in(connection, manifest["form"])
    table, waiting = "", list[dict[str, Any]]()
    for name, row in _kept_rows(manifest, staging):
        if waiting and (name != table or len(waiting) == _ROWS_AT_ONCE):
            connection.execute(sa.insert(_bare(table, list(waiting[0]))), waiting)
            waiting = []
        table = name
        waiting.append(row)
    if waiting:
        connection.execute(sa.insert(_bare(table, list(waiting[0]))), waiting)
    upgrade(connection)
    _check_head(connection, manifest)


def _kept_rows(manifest: dict[str, Any], staging: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    if manifest["database"] == SQLITE:
        engine = open_sqlite(staging / DATABASE_FILE)
        try:
            bring_up_to_date(engine, read_only=False)
            with reading(engine) as connection:
                yield from _rows(connection)
        finally:
            engine.dispose()
        return
    with (staging / ROWS_FILE).open("r", encoding="utf-8", newline="\n") as lines:
        for line in lines:
            one: Any = parse(line)
            yield one["table"], one["row"]


def _check_head(connection: Connection, manifest: dict[str, Any]) -> None:
    head = Reader(connection).head()
    if (head.size, head.root) != (manifest["size"], manifest["root"]):
        raise WorkspaceError(
            f"The backup says that its journal has {manifest['size']} entries with the head "
            f"{manifest['root']}, and it has {head.size} with {head.root}. Use another backup."
        )


def _rename(staging: Path, folder: Path) -> None:
    # What was made for the owner alone gets the rights that a new folder has.
    staging.chmod(0o755)
    (staging / FILES).mkdir(exist_ok=True)
    if folder.exists():
        folder.rmdir()
    staging.replace(folder)
    sync_folder(folder.parent)
