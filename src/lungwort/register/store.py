"""The column store: logs as Parquet parts by outlet and month, and how they come back.

Everything of an import is on the disk, synced, before its record is made: first the files as they
came, the recipe and the log's document into ``files``, then the parts. Each is written under a
temporary name in its own folder, synced and renamed, and its name holds its digest. The record, made
in one transaction with its journal entry, is the only thing that makes an import count. What a crash
leaves behind counts for nothing: parts are used again by the next import of the same files, and
temporary files are swept.
"""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from attrs import evolve

from lungwort.errors import RegisterError
from lungwort.logs.recipe import recipe_of
from lungwort.register.canonical import canonical
from lungwort.register.logdoc import (
    LogFacts,
    differing_options,
    log_of,
    read_document,
    reading_text,
    write_document,
)
from lungwort.register.merge import merge_logs
from lungwort.register.model import Instrument, KeptFile, LogImport, Outlet, Person
from lungwort.register.parts import (
    between,
    digest_of,
    empty_frame,
    is_unplaced,
    keep_file,
    misfits,
    names_of,
    read_part,
    scan_part,
    write_parts,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from lungwort.logs.model import Log
    from lungwort.logs.options import ReadOptions
    from lungwort.register.records import Change, Register
    from lungwort.register.workspace import Workspace

IN_MEMORY_ROWS: Final = 4_000_000
"""Logs with more readings than this stay on disk while they are used [1]."""

_CONTENT_FORMAT: Final = "lungwort-import/1"


def import_log(
    workspace: Workspace,
    change: Change,
    log: Log,
    *,
    outlet: Outlet,
    instrument: Instrument | None,
    files: Sequence[tuple[str, bytes | Path]],
    options: ReadOptions,
    by: Person,
    also_here: str = "",
    reason: str = "",
) -> tuple[LogImport, bool]:
    """Write a log into the column store and record it.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    change : Change
        The change that records it.
    log : Log
        The log.
    outlet : Outlet
        Where the air was taken.
    instrument : Instrument, optional
        What measured.
    files : sequence of (str, bytes or Path)
        Name and content of the files as they came.
    options : ReadOptions
        How they were read.
    by : Person
        Who imports.
    also_here : str
        Why a file that is on record at another outlet belongs to this one too.
    reason : str
        Why this import takes the place of one of the same files at this outlet that were read
        otherwise.

    Returns
    -------
    tuple of (LogImport, bool)
        The record, and whether it is new: False where the same files, read the same way, are on
        record at that outlet already, and nothing was changed.

    Raises
    ------
    RegisterError
        Where a file is on record at another outlet, or here but read otherwise, and no reason was
        given; where a file changed while it was read.
    WorkspaceError
        Where something could not be written; nothing is recorded then.
    """
    draft = draft_import(
        log, outlet=outlet, instrument=instrument, files=files, options=options, by=by
    )
    known = on_record(workspace, change, draft, options, also_here=also_here, reason=reason)
    if isinstance(known, LogImport) and not reason:
        return known, False
    stored = store_log(workspace, draft, log, files=files, options=options)
    return record_log(workspace, change, stored, options, also_here=also_here, reason=reason)


def draft_import(
    log: Log,
    *,
    outlet: Outlet,
    instrument: Instrument | None,
    files: Sequence[tuple[str, bytes | Path]],
    options: ReadOptions,
    by: Person,
) -> LogImport:
    """Say what an import would be, before anything is written.

    Parameters
    ----------
    log : Log
        The log.
    outlet : Outlet
        Where the air was taken.
    instrument : Instrument, optional
        What measured.
    files : sequence of (str, bytes or Path)
        Name and content of the files as they came.
    options : ReadOptions
        How they were read.
    by : Person
        Who imports.

    Returns
    -------
    LogImport
        Without parts and digests of what is to be written.

    Raises
    ------
    RegisterError
        Where the log was read from other bytes than the files now hold.
    """
    kept: dict[str, KeptFile] = {}
    for name, content in files:
        digest, size = digest_of(content)
        kept.setdefault(digest, KeptFile(name=name, sha256=digest, size_bytes=size))
    if not kept:
        raise RegisterError("No file was given to import. Name at least one logger's file.")
    for source in log.sources:
        if source.sha256 not in kept:
            raise RegisterError(
                f"{source.name} changed while it was read. Let the logger finish, copy the file "
                "and import the copy."
            )
    return LogImport(
        outlet_id=outlet.id,
        instrument_id=None if instrument is None else instrument.id,
        files=tuple(kept.values()),
        content_sha256=content_digest(list(kept), options),
        recipe_sha256="",
        log_sha256="",
        parts=(),
        start=_utc(log.start),
        end=_utc(log.end),
        rows=log.rows,
        refused=sum(source.rows_refused for source in log.sources),
        by_id=by.id,
    )


def content_digest(digests: Sequence[str], options: ReadOptions) -> str:
    """Give the digest over some files and how they were read.

    Parameters
    ----------
    digests : sequence of str
        SHA-256 of the files, in any order.
    options : ReadOptions
        How they were read, settling included.

    Returns
    -------
    str
        SHA-256, lower-case hexadecimal.
    """
    content = {
        "format": _CONTENT_FORMAT,
        "files": sorted(set(digests)),
        "reading": reading_text(options),
    }
    return hashlib.sha256(canonical(content).encode("utf-8")).hexdigest()


def on_record(
    workspace: Workspace,
    register: Register | Change,
    draft: LogImport,
    options: ReadOptions,
    *,
    also_here: str = "",
    reason: str = "",
) -> LogImport | None:
    """Look whether an import is on record already, or stands against what is.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    register : Register or Change
        What is on record.
    draft : LogImport
        What would be imported.
    options : ReadOptions
        How its files were read.
    also_here : str
        Why a file of another outlet belongs to this one too.
    reason : str
        Why it takes the place of one of the same files.

    Returns
    -------
    LogImport or None
        The import that is the same; with ``reason``, the one whose place it takes. None where the
        files are new.

    Raises
    ------
    RegisterError
        Where a file is on record at another outlet, or here but read otherwise, and no reason was
        given.
    """
    mine = {file.sha256 for file in draft.files}
    sharing = [one for one in register.all(LogImport) if mine & {file.sha256 for file in one.files}]
    if not also_here.strip():
        _refuse_elsewhere(register, draft)
    here = [one for one in sharing if one.outlet_id == draft.outlet_id]
    for one in here:
        if one.content_sha256 != draft.content_sha256:
            continue
        if draft.instrument_id in {None, one.instrument_id} or reason.strip():
            return one
        was = (
            "no instrument"
            if one.instrument_id is None
            else _instrument(register, one.instrument_id)
        )
        raise RegisterError(
            f"{names_of(draft)} is on record as import {one.id} with {was}, and now "
            f"{_instrument(register, draft.instrument_id)} was named. To correct that, give "
            "--reason TEXT."
        )
    for one in here:
        theirs = {file.sha256 for file in one.files}
        read_so = read_document(workspace.read_file(one.log_sha256), _document_name(one))[1]
        differing = differing_options(options, read_so)
        if not differing and mine <= theirs:
            return one
        if not differing:
            continue
        if mine == theirs and reason.strip():
            return one
        shared = [file.name for file in draft.files if file.sha256 in theirs]
        remedy = (
            "To correct that, give --reason TEXT."
            if mine == theirs
            else "Read it the same way, or import its files together as before and give --reason TEXT."
        )
        raise RegisterError(
            f"{', '.join(shared)} is on record here as import {one.id} and was read otherwise then "
            f"({'; '.join(differing)}). {remedy}"
        )
    return None


def _sharing(register: Register | Change, draft: LogImport) -> list[LogImport]:
    """List the imports in force that share a file with another one."""
    mine = {file.sha256 for file in draft.files}
    return [one for one in register.all(LogImport) if mine & {file.sha256 for file in one.files}]


def _elsewhere(register: Register | Change, draft: LogImport) -> list[LogImport]:
    return [one for one in _sharing(register, draft) if one.outlet_id != draft.outlet_id]


def _refuse_elsewhere(register: Register | Change, draft: LogImport) -> None:
    elsewhere = _elsewhere(register, draft)
    if not elsewhere:
        return
    one = elsewhere[0]
    mine = {file.sha256 for file in draft.files}
    shared = [file.name for file in one.files if file.sha256 in mine]
    other = register.find(Outlet, one.outlet_id)
    named = one.outlet_id if other is None else other.name
    raise RegisterError(
        f"{', '.join(shared)} is on record at outlet {named} (import {one.id}), and air of one "
        "outlet proves nothing about another. If the file really belongs to this outlet too, say "
        "why with --also-here TEXT; if it was put there by mistake, take that import out first with "
        f"'lungwort import --void {one.id} --reason TEXT'."
    )


def _instrument(register: Register | Change, thing_id: str | None) -> str:
    found = None if thing_id is None else register.find(Instrument, thing_id)
    return f"instrument {thing_id if found is None else found.name}"


def store_log(
    workspace: Workspace,
    draft: LogImport,
    log: Log,
    *,
    files: Sequence[tuple[str, bytes | Path]],
    options: ReadOptions,
) -> LogImport:
    """Write the files, the recipe, the document and the parts of an import. Nothing is recorded.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    draft : LogImport
        As `draft_import` gave it.
    log : Log
        The log.
    files : sequence of (str, bytes or Path)
        Name and content of the files as they came.
    options : ReadOptions
        How they were read.

    Returns
    -------
    LogImport
        Ready to be recorded.

    Raises
    ------
    RegisterError
        Where a file changed meanwhile or the log is not in the order of time.
    WorkspaceError
        Where something could not be written.
    """
    by_digest = {file.sha256: file for file in draft.files}
    for name, content in files:
        digest = keep_file(workspace, name, content)
        if digest not in by_digest:
            raise RegisterError(
                f"{name} changed while it was read. Let the logger finish, copy the file and "
                "import the copy."
            )
    one_layout = len(log.sources) == 1
    recipe = recipe_of(options, log.channels if one_layout else (), options.recipe or "as imported")
    recipe_sha256 = workspace.put_file(recipe.encode("utf-8"))
    log_sha256 = workspace.put_file(write_document(log, options))
    parts = tuple(write_parts(workspace, draft.outlet_id, log))
    rows = sum(part.rows for part in parts if not is_unplaced(part))
    if rows != log.rows:
        raise RegisterError(
            f"The log of {names_of(draft)} says that it has {log.rows} readings and holds {rows}. "
            "Read it again."
        )
    return evolve(draft, recipe_sha256=recipe_sha256, log_sha256=log_sha256, parts=parts)


def record_log(
    workspace: Workspace,
    change: Change,
    stored: LogImport,
    options: ReadOptions,
    *,
    also_here: str = "",
    reason: str = "",
) -> tuple[LogImport, bool]:
    """Record an import whose parts are on the disk.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    change : Change
        The change that records it.
    stored : LogImport
        As `store_log` gave it.
    options : ReadOptions
        How its files were read.
    also_here, reason : str
        As for `import_log`.

    Returns
    -------
    tuple of (LogImport, bool)
        The record, and whether it is new.

    Raises
    ------
    RegisterError
        As `on_record`: somebody else may have imported meanwhile.
    """
    known = on_record(workspace, change, stored, options, also_here=also_here, reason=reason)
    if also_here.strip() and _elsewhere(change, stored):
        stored = evolve(stored, note=f"Also at this outlet: {also_here.strip()}")
    if known is None:
        return change.add(stored), True
    same = known.content_sha256 == stored.content_sha256 and stored.instrument_id in {
        None,
        known.instrument_id,
    }
    if same or not reason.strip() or len(known.files) != len(stored.files):
        return known, False
    return change.replace(known, stored, reason.strip()), True


def load_log(
    workspace: Workspace,
    imports: Sequence[LogImport],
    *,
    start: datetime | None = None,
    end: datetime | None = None,
) -> Log:
    """Rebuild a log from one or several imports of an outlet.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    imports : sequence of LogImport
        Which; several are merged as `lungwort.register.merge` says.
    start, end : datetime, optional
        Take only readings with ``start <= time < end``. Readings without a trusted time stay.

    Returns
    -------
    Log
        Equal to what was imported where it is one whole import.

    Raises
    ------
    RegisterError
        Where a part is missing, altered or cannot be read, where the imports are of several
        outlets, or where they cannot be merged.
    """
    if not imports:
        raise RegisterError("No import was given. Import a logger's file first.")
    outlets = {one.outlet_id for one in imports}
    if len(outlets) > 1:
        raise RegisterError(
            f"The imports are of several outlets ({', '.join(sorted(outlets))}). Air of one outlet "
            "proves nothing about another: take those of one."
        )
    for name, moment in (("start", start), ("end", end)):
        if moment is not None and moment.utcoffset() is None:
            raise RegisterError(f"The {name} {moment.isoformat()} states no time zone. Add one.")
    in_order = sorted({one.id: one for one in imports}.values(), key=lambda one: (one.seq, one.id))
    lazily = sum(one.rows for one in in_order) > IN_MEMORY_ROWS
    named = []
    for one in in_order:
        log = _load_one(workspace, one, lazily=lazily)
        if start is not None or end is not None:
            log = between(log, start, end)
        named.append((names_of(one), log))
    return merge_logs(named)


def facts_of_import(workspace: Workspace, one: LogImport) -> LogFacts:
    """Give all of an imported log but its readings, which are not touched.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    one : LogImport
        The import.

    Returns
    -------
    LogFacts
        Channels, sources, stretches, notes, doubts and so on.

    Raises
    ------
    RegisterError
        Where its document is missing or was altered.
    """
    return read_document(workspace.read_file(one.log_sha256), _document_name(one))[0]


def check_parts(workspace: Workspace, imports: Sequence[LogImport]) -> list[str]:
    """Check the Parquet parts of imports against the record.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    imports : sequence of LogImport
        Which.

    Returns
    -------
    list of str
        What does not fit, in order: missing, altered or truncated parts, other numbers of rows,
        other columns, times out of order or of another month. Empty where all fits.
    """
    problems = []
    for one in imports:
        try:
            facts = facts_of_import(workspace, one)
        except RegisterError as error:
            problems.append(str(error))
            continue
        for part in one.parts:
            try:
                frame = read_part(workspace, one, part)
            except RegisterError as error:
                problems.append(str(error))
                continue
            problems.extend(
                f"{part.path} of import {one.id} ({names_of(one)}) {what}."
                for what in misfits(frame, part, facts)
            )
        rows = sum(part.rows for part in one.parts if not is_unplaced(part))
        if not rows == one.rows == facts.rows:
            problems.append(
                f"Import {one.id} ({names_of(one)}) says that it has {one.rows} readings, its "
                f"document {facts.rows} and its parts {rows}."
            )
    return problems


def _utc(moment: datetime | None) -> datetime | None:
    return None if moment is None else moment.astimezone(UTC)


def _document_name(one: LogImport) -> str:
    return f"The log document of import {one.id} ({names_of(one)})"


def _load_one(workspace: Workspace, one: LogImport, *, lazily: bool) -> Log:
    facts = facts_of_import(workspace, one)
    read = scan_part if lazily else read_part
    placed = [part for part in one.parts if not is_unplaced(part)]
    apart = [part for part in one.parts if is_unplaced(part)]
    rows = sum(part.rows for part in placed)
    lost = sum(part.rows for part in apart) if apart else None
    if not rows == one.rows == facts.rows or lost != facts.unplaced_rows:
        raise RegisterError(
            f"Import {one.id} ({names_of(one)}) says that it has {one.rows} readings, its document "
            f"{facts.rows} and its parts {rows}. It cannot be used: run 'lungwort verify'."
        )
    parts = tuple(read(workspace, one, part) for part in placed)
    if not parts:
        parts = (empty_frame(facts),)
    unplaced = read_part(workspace, one, apart[0]) if apart else None
    return evolve(log_of(facts), parts=parts, unplaced=unplaced)
