"""The column store: logs as Parquet parts by outlet and month, and how they come back.

Everything of an import is on the disk, synced, before its record is made: first the files as they
came, the recipe and the log's document into ``files``, then the parts. Each is written under a
temporary name in its own folder, synced and renamed, and its name holds its digest. The record, made
in one transaction with its journal entry, is the only thing that makes an import count. What a crash
leaves behind counts for nothing: parts are used again by the next import of the same files, and
temporary files are swept.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve

from lungwort.errors import RegisterError
from lungwort.logs.recipe import recipe_of
from lungwort.register.known import document_name, draft_import, elsewhere, on_record
from lungwort.register.logdoc import (
    LogFacts,
    log_of,
    read_document,
    write_document,
)
from lungwort.register.merge import merge_logs
from lungwort.register.model import Instrument, LogImport, Outlet, Person
from lungwort.register.parts import (
    between,
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
    from datetime import datetime
    from pathlib import Path

    from lungwort.logs.model import Log
    from lungwort.logs.options import ReadOptions
    from lungwort.register.records import Change
    from lungwort.register.workspace import Workspace

IN_MEMORY_ROWS: Final = 4_000_000
"""Logs with more readings than this stay on disk while they are used [1]."""


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
    if also_here.strip() and elsewhere(change, stored):
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
    return read_document(workspace.read_file(one.log_sha256), document_name(one))[0]


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
