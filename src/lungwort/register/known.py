"""Whether files are on record already, here or elsewhere, and read the same way.

One file belongs to one outlet and is on record once there. Another outlet needs a reason, and so
does another way of reading: that is a correction, a new version of the same import.
"""

from __future__ import annotations

import hashlib
from datetime import UTC
from typing import TYPE_CHECKING, Final

from lungwort.errors import RegisterError
from lungwort.register.canonical import canonical
from lungwort.register.logdoc import differing_options, read_document, reading_text
from lungwort.register.model import Instrument, KeptFile, LogImport, Outlet
from lungwort.register.parts import digest_of, names_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from lungwort.logs.model import Log
    from lungwort.logs.options import ReadOptions
    from lungwort.register.model import Person
    from lungwort.register.records import Change, Register
    from lungwort.register.workspace import Workspace

_CONTENT_FORMAT: Final = "lungwort-import/1"


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
    corrected: LogImport | None = None
    for one in here:
        theirs = {file.sha256 for file in one.files}
        read_so = read_document(workspace.read_file(one.log_sha256), document_name(one))[1]
        differing = differing_options(options, read_so)
        if not differing and mine <= theirs:
            return one
        if not differing:
            continue
        if mine == theirs and reason.strip():
            corrected = one
            continue
        shared = [file.name for file in draft.files if file.sha256 in theirs]
        remedy = (
            "To correct that, give --reason TEXT."
            if mine == theirs
            else (
                "Read it the same way, or take that import out first with 'lungwort import --void "
                f"{one.id} --reason TEXT'."
            )
        )
        raise RegisterError(
            f"{', '.join(shared)} is on record here as import {one.id} and was read otherwise then "
            f"({'; '.join(differing)}). {remedy}"
        )
    return corrected


def _sharing(register: Register | Change, draft: LogImport) -> list[LogImport]:
    """List the imports in force that share a file with another one."""
    mine = {file.sha256 for file in draft.files}
    return [one for one in register.all(LogImport) if mine & {file.sha256 for file in one.files}]


def elsewhere(register: Register | Change, draft: LogImport) -> list[LogImport]:
    """List the imports in force at other outlets that share a file with another one.

    Parameters
    ----------
    register : Register or Change
        What is on record.
    draft : LogImport
        The other one.
    """
    return [one for one in _sharing(register, draft) if one.outlet_id != draft.outlet_id]


def _refuse_elsewhere(register: Register | Change, draft: LogImport) -> None:
    found = elsewhere(register, draft)
    if not found:
        return
    one = found[0]
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


def _utc(moment: datetime | None) -> datetime | None:
    return None if moment is None else moment.astimezone(UTC)


def document_name(one: LogImport) -> str:
    """Name the log document of an import, for messages.

    Parameters
    ----------
    one : LogImport
        The import.
    """
    return f"The log document of import {one.id} ({names_of(one)})"
