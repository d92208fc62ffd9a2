"""Writes results to files: whole or not at all."""

from __future__ import annotations

import errno
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from lungwort.errors import OutputError

if TYPE_CHECKING:
    from lungwort.paper.content import Cover
    from lungwort.verdict.model import Verdict


def write_json(verdict: Verdict, path: Path | str, *, indent: int | None = 2) -> Path:
    """Write a verdict as JSON.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    path : pathlib.Path or str
        Where to; an existing file is replaced.
    indent : int, optional
        Blanks a level; None for one line.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    OutputError
        Where the file could not be written; an existing one is then left as it was.
    """
    target = checked(path)
    from lungwort.paper.result import to_json  # noqa: PLC0415 - pydantic is heavy

    return write_bytes(to_json(verdict, indent).encode("utf-8"), target)


def write_pdf(verdict: Verdict, path: Path | str, cover: Cover | None = None) -> Path:
    """Write a verdict as PDF/A-3b; parameters and errors as `write_json`, ``cover`` as `to_pdf`."""
    target = checked(path)
    from lungwort.paper.report import to_pdf  # noqa: PLC0415 - only needed here

    return write_bytes(to_pdf(verdict, cover), target)


def write_html(verdict: Verdict, path: Path | str, cover: Cover | None = None) -> Path:
    """Write a verdict as one HTML file; parameters and errors as `write_pdf`."""
    target = checked(path)
    from lungwort.paper.page import to_html  # noqa: PLC0415 - only needed here

    return write_bytes(to_html(verdict, cover).encode("utf-8"), target)


def write_xlsx(verdict: Verdict, path: Path | str, cover: Cover | None = None) -> Path:
    """Write a verdict as a workbook; parameters and errors as `write_pdf`."""
    target = checked(path)
    from lungwort.paper.workbook import to_xlsx  # noqa: PLC0415 - only needed here

    return write_bytes(to_xlsx(verdict, cover), target)


def checked(path: Path | str) -> Path:
    """Refuse a path that cannot be written, before any work is done.

    Parameters
    ----------
    path : pathlib.Path or str
        Where a result is to go.

    Returns
    -------
    pathlib.Path
        The path.

    Raises
    ------
    OutputError
        Where it is a folder, or its folder is missing.
    """
    target = Path(path)
    if target.is_dir():
        raise OutputError(f"{target} is a folder. Give the name of a file in it.")
    if not target.parent.is_dir():
        what = "is not a folder" if target.parent.exists() else "does not exist"
        raise OutputError(
            f"{target} cannot be written: {target.parent} {what}. Make the folder first, or give "
            "another path."
        )
    return target


def write_bytes(content: bytes, path: Path | str) -> Path:
    """Put bytes into a file so that it is whole or as it was before.

    Parameters
    ----------
    content : bytes
        What to write.
    path : pathlib.Path or str
        Where to; an existing file is replaced.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    OutputError
        Where it could not be written.
    """
    target = checked(path)
    temporary: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(
            dir=target.parent, prefix=".lungwort-", suffix=".part", delete=False
        ) as file:
            temporary = Path(file.name)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(_mode(target))
        temporary.replace(target)
    except OSError as error:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
        raise OutputError(f"{target} could not be written: {_cause(error)}") from error
    return target


def _mode(target: Path) -> int:
    # A temporary file is private; a result gets the rights of the one it replaces, else the usual.
    if target.exists():
        return target.stat().st_mode & 0o777
    return 0o644


def _cause(error: OSError) -> str:
    if error.errno in {errno.EACCES, errno.EPERM}:
        return (
            "writing is not allowed there, or another program has the file open. Close it there, "
            "or give another path."
        )
    if error.errno == errno.EROFS:
        return "the disk is read-only. Give a path on another disk."
    if error.errno in {errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)}:
        return "the disk is full. Make room, or give a path on another disk."
    if error.errno == errno.ENAMETOOLONG:
        return "the name is too long. Give a shorter one."
    reason = (error.strerror or type(error).__name__).rstrip(".")
    return f"{reason[:1].lower()}{reason[1:]}. Check the path, or give another one."
