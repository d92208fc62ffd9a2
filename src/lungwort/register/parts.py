"""Parquet parts and kept files on the disk: written whole or not at all, and checked when read.

A part is written under a temporary name in its own folder, synced and renamed; its name holds the
first 16 digits of its digest, so that the same readings give the same name and are kept once.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import io
import os
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Final

import polars as pl
from attrs import evolve

from lungwort.errors import RegisterError, WorkspaceError
from lungwort.logs.model import TIME
from lungwort.register.merge import columns_of
from lungwort.register.model import LogImport, Part
from lungwort.register.workspace import sync_folder, write_synced

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lungwort.logs.model import Log
    from lungwort.register.logdoc import LogFacts
    from lungwort.register.workspace import Workspace

FOLDER: Final = "readings"
UNPLACED: Final = "month=unplaced"
"""Folder, beside those of the months, for readings whose time is not known."""

_OLD: Final = timedelta(days=1)
_BLOCK: Final = 1 << 20
_AT_ONCE: Final = 64 << 20


def is_unplaced(part: Part) -> bool:
    """Say whether a part holds readings whose time is not known.

    Parameters
    ----------
    part : Part
        The part.
    """
    return UNPLACED in PurePosixPath(part.path).parts


def by_month(frame: pl.DataFrame) -> Iterator[tuple[str, pl.DataFrame]]:
    """Cut readings by month, UTC.

    Parameters
    ----------
    frame : polars.DataFrame
        Readings in the order of time.

    Yields
    ------
    tuple of (str, polars.DataFrame)
        Month such as ``2026-03``, and its readings.
    """
    at = 0
    for length, first in frame[TIME].dt.truncate("1mo").rle().struct.unnest().iter_rows():
        yield f"{first.year:04d}-{first.month:02d}", frame.slice(at, length)
        at += length


def write_parts(workspace: Workspace, outlet_id: str, log: Log) -> Iterator[Part]:
    """Write the readings of a log, a frame at a time.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    outlet_id : str
        Where the air was taken.
    log : Log
        The log.

    Yields
    ------
    Part
        What was written, in the order of time; readings without a known time last.

    Raises
    ------
    RegisterError
        Where the log is not in the order of time.
    WorkspaceError
        Where something could not be written.
    """
    home = f"{FOLDER}/outlet={outlet_id}"
    reach: datetime | None = None
    for frame in log.frames():
        if frame.height == 0:
            continue
        times = frame[TIME]
        if times.has_nulls() or not times.is_sorted() or (reach is not None and times[0] < reach):
            raise RegisterError(
                "The log is not in the order of time and cannot be stored. Read it again."
            )
        reach = times[-1]
        for month, rows in by_month(frame):
            yield _write_part(workspace, f"{home}/month={month}", rows)
    if log.unplaced is not None:
        yield _write_part(workspace, f"{home}/{UNPLACED}", log.unplaced)


def _write_part(workspace: Workspace, folder: str, frame: pl.DataFrame) -> Part:
    buffer = io.BytesIO()
    frame.rechunk().write_parquet(buffer, compression="zstd", compression_level=3, statistics=True)
    content = buffer.getvalue()
    digest = hashlib.sha256(content).hexdigest()
    path = f"{folder}/part-{digest[:16]}.parquet"
    with told(workspace.folder / path):
        target = workspace.folder / path
        _make_folder(target.parent, workspace.folder)
        if not _holds(target, digest):
            write_synced(target, content)
    return Part(path=path, sha256=digest, rows=frame.height)


def keep_file(workspace: Workspace, name: str, content: bytes | Path) -> str:
    """Take a file as it came into ``files``; a large one is never in memory as a whole.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    name : str
        What it is called, for messages.
    content : bytes or pathlib.Path
        All of it, or where it lies.

    Returns
    -------
    str
        Its SHA-256.

    Raises
    ------
    RegisterError
        Where it cannot be read or changed meanwhile.
    WorkspaceError
        Where it could not be written.
    """
    if isinstance(content, Path):
        try:
            small = content.stat().st_size <= _AT_ONCE
            taken = content.read_bytes() if small else b""
        except OSError as error:
            raise RegisterError(f"{name} cannot be read ({error.strerror or error}).") from error
        if not small:
            return _keep_large(workspace, name, content)
    else:
        taken = content
    return workspace.put_file(taken)


def _keep_large(workspace: Workspace, name: str, content: Path) -> str:
    digest, _ = digest_of(content)
    target = workspace.file_path(digest)
    with told(target):
        if not _holds(target, digest):
            _copy_synced(content, target)
    if digest_of(target)[0] != digest:
        raise RegisterError(
            f"{name} changed while it was copied. Let the logger finish, copy the file and import "
            "the copy."
        )
    return digest


def _copy_synced(source: Path, target: Path) -> None:
    temporary: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(
            dir=target.parent, prefix=".lungwort-", suffix=".part", delete=False
        ) as file:
            temporary = Path(file.name)
            with source.open("rb") as stream:
                while block := stream.read(_BLOCK):
                    file.write(block)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(0o644)
        temporary.replace(target)
    except BaseException:
        if temporary is not None:
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)
        raise
    sync_folder(target.parent)


def sweep(workspace: Workspace, now: datetime) -> int:
    """Remove temporary files that a crash left behind more than a day ago.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    int
        How many were removed [1].
    """
    removed = 0
    for path in (workspace.folder / FOLDER).glob("*/*/.lungwort-*.part"):
        with contextlib.suppress(OSError):
            written = datetime.fromtimestamp(path.stat().st_mtime, tz=UTC)
            if now - written > _OLD:
                path.unlink()
                removed += 1
    return removed


def read_part(workspace: Workspace, one: LogImport, part: Part) -> pl.DataFrame:
    """Read a part that is as it was recorded.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    one : LogImport
        The import that it belongs to.
    part : Part
        The part.

    Returns
    -------
    polars.DataFrame
        Its readings.

    Raises
    ------
    RegisterError
        Where it is missing, altered, truncated or cannot be read; names file and import.
    """
    path = _place(workspace, one, part)
    try:
        content = path.read_bytes()
    except FileNotFoundError as error:
        raise _spoiled(one, part, "is missing") from error
    except OSError as error:
        raise _spoiled(one, part, f"cannot be read ({error.strerror or error})") from error
    _check_digest(one, part, hashlib.sha256(content).hexdigest())
    try:
        frame = pl.read_parquet(io.BytesIO(content))
    except (pl.exceptions.PolarsError, OSError) as error:
        raise _spoiled(one, part, f"cannot be read as Parquet ({error})") from error
    if frame.height != part.rows:
        raise _spoiled(one, part, f"holds {frame.height} readings, and {part.rows} are on record")
    return frame


def scan_part(workspace: Workspace, one: LogImport, part: Part) -> pl.LazyFrame:
    """Give a part that is as it was recorded and stays on disk; as `read_part`."""
    path = _place(workspace, one, part)
    if not path.is_file():
        raise _spoiled(one, part, "is missing")
    _check_digest(one, part, digest_of(path)[0])
    return pl.scan_parquet(path)


def _check_digest(one: LogImport, part: Part, found: str) -> None:
    if found != part.sha256:
        raise _spoiled(
            one,
            part,
            f"is altered or truncated: its SHA-256 is {found}, and {part.sha256} is on record",
        )


def empty_frame(facts: LogFacts) -> pl.DataFrame:
    """Give the columns of a log without readings.

    Parameters
    ----------
    facts : LogFacts
        All of the log but its readings.
    """
    schema: dict[str, pl.DataType] = {}
    for name in columns_of(facts.channels):
        if name == TIME:
            schema[name] = pl.Datetime("us", "UTC")
        elif name.endswith("_flag"):
            schema[name] = pl.UInt8()
        elif name.endswith("_censor"):
            schema[name] = pl.Int8()
        else:
            schema[name] = pl.Float64()
    return pl.DataFrame(schema=schema)


def misfits(frame: pl.DataFrame, part: Part, facts: LogFacts) -> Iterator[str]:
    """Say what of a part does not fit what a part is.

    Parameters
    ----------
    frame : polars.DataFrame
        Its readings.
    part : Part
        The part.
    facts : LogFacts
        All of the log but its readings.

    Yields
    ------
    str
        What, to stand behind the name of the part.
    """
    wanted = set(columns_of(facts.channels))
    if is_unplaced(part):
        missing = [
            name
            for name in (TIME, *(one.name for one in facts.channels))
            if name not in frame.columns
        ]
        if missing:
            yield f"lacks the columns {', '.join(missing)}"
        return
    if set(frame.columns) != wanted:
        yield f"has the columns {', '.join(frame.columns)}, and not {', '.join(sorted(wanted))}"
        return
    times = frame[TIME]
    if times.dtype != pl.Datetime("us", "UTC"):
        yield f"has times of the kind {times.dtype}"
        return
    if times.has_nulls() or not times.is_sorted():
        yield "has times that are not in order"
        return
    months = {month for month, _ in by_month(frame)}
    named = PurePosixPath(part.path).parent.name.removeprefix("month=")
    if months - {named}:
        yield f"holds readings of {', '.join(sorted(months))}"


def between(log: Log, start: datetime | None, end: datetime | None) -> Log:
    """Take the readings of a period; what is stored stays as it is.

    Parameters
    ----------
    log : Log
        The log.
    start, end : datetime, optional
        Readings with ``start <= time < end`` are taken; all without a known time stay.

    Returns
    -------
    Log
        The log of that period, with a note on how many readings were left out.
    """
    wanted = pl.lit(value=True)
    if start is not None:
        wanted &= pl.col(TIME) >= start.astimezone(UTC)
    if end is not None:
        wanted &= pl.col(TIME) < end.astimezone(UTC)
    parts: list[pl.DataFrame | pl.LazyFrame] = []
    rows = 0
    first: datetime | None = None
    last: datetime | None = None
    for part in log.parts:
        taken = part.filter(wanted)
        ends = taken.lazy().select(
            pl.len().alias("n"), pl.col(TIME).min().alias("a"), pl.col(TIME).max().alias("b")
        )
        count, low, high = ends.collect().row(0)
        if count:
            parts.append(taken)
            rows += count
            first = low if first is None else first
            last = high
    if rows == log.rows:
        return log
    if not parts:
        parts.append(log.parts[0].head(0))
    asked = " and ".join(
        f"{word} {moment.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"
        for word, moment in (("from", start), ("before", end))
        if moment is not None
    )
    files = ", ".join(source.name for source in log.sources)
    return evolve(
        log,
        parts=tuple(parts),
        rows=rows,
        start=first,
        end=last,
        stretches=tuple(
            one
            for one in log.stretches
            if (start is None or one.end >= start) and (end is None or one.start < end)
        ),
        notes=(
            *log.notes,
            f"{files}: only readings {asked} are taken; {log.rows - rows} others are left out.",
        ),
    )


def names_of(one: LogImport) -> str:
    """List the names of the files of an import.

    Parameters
    ----------
    one : LogImport
        The import.
    """
    return ", ".join(file.name for file in one.files)


def _place(workspace: Workspace, one: LogImport, part: Part) -> Path:
    pure = PurePosixPath(part.path)
    if pure.is_absolute() or ".." in pure.parts or pure.parts[:1] != (FOLDER,):
        raise RegisterError(
            f"Import {one.id} ({names_of(one)}) names a part outside {FOLDER}: {part.path!r}."
        )
    return workspace.folder.joinpath(*pure.parts)


def _spoiled(one: LogImport, part: Part, what: str) -> RegisterError:
    return RegisterError(
        f"{part.path} of import {one.id} ({names_of(one)}) {what}. Its readings cannot be used: take "
        f"the file from a backup, or take the import out with 'lungwort import --void {one.id} --reason "
        "TEXT' and import the logger's file again."
    )


def digest_of(content: bytes | Path) -> tuple[str, int]:
    """Give SHA-256 and size of some content.

    Parameters
    ----------
    content : bytes or pathlib.Path
        All of it, or where it lies.

    Returns
    -------
    tuple of (str, int)
        Digest, and size [bytes].

    Raises
    ------
    RegisterError
        Where it cannot be read.
    """
    if isinstance(content, bytes):
        return hashlib.sha256(content).hexdigest(), len(content)
    try:
        with content.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
            return digest, stream.tell()
    except OSError as error:
        raise RegisterError(
            f"{content.name} cannot be read ({error.strerror or error}). Check the file."
        ) from error


def _holds(path: Path, digest: str) -> bool:
    return path.is_file() and digest_of(path)[0] == digest


def _make_folder(folder: Path, top: Path) -> None:
    missing = []
    at = folder
    while at != top and not at.is_dir():
        missing.append(at)
        at = at.parent
    for one in reversed(missing):
        one.mkdir(exist_ok=True)
        sync_folder(one.parent)


@contextlib.contextmanager
def told(path: Path) -> Iterator[None]:
    """Tell what the system refused in a sentence.

    Parameters
    ----------
    path : pathlib.Path
        What is being written.

    Raises
    ------
    WorkspaceError
        In place of an `OSError`.
    """
    try:
        yield
    except OSError as error:
        raise WorkspaceError(
            f"{path} could not be written: {_cause(error)} Nothing was recorded."
        ) from error


def _cause(error: OSError) -> str:
    if error.errno in {errno.EACCES, errno.EPERM}:
        return "writing is not allowed there, or another program has it open. Allow it, or close it there."
    if error.errno == errno.EROFS:
        return "the disk is read-only. Make it writable, or move the workspace."
    if error.errno in {errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)}:
        return "the disk is full. Make room and import again."
    if error.errno == errno.EFBIG:
        return "the system allows no file of that size there. Raise the limit and import again."
    reason = (error.strerror or type(error).__name__).rstrip(".")
    return f"{reason[:1].lower()}{reason[1:]}. Check the disk and import again."
