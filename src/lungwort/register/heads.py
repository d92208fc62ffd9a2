"""``heads.txt``: the tree's head after each change, kept beside the database.

A database that was put back to an older state, or cut, is in itself without fault. The heads that
lie beside it tell.
"""

from __future__ import annotations

import os
import re
from typing import TYPE_CHECKING, Final

from lungwort.errors import RegisterError, WorkspaceError
from lungwort.register.journal import time_text
from lungwort.register.locking import locked
from lungwort.register.model import TreeHead

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

FILE: Final = "heads.txt"
_LOCK: Final = "heads.lock"
_LINE: Final = re.compile(
    rb"(\d+) ([0-9a-f]{64}) (\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z)", re.ASCII
)
_TAIL_BYTES: Final = 4096


class Heads:
    """The heads of one workspace.

    Parameters
    ----------
    folder : pathlib.Path
        The workspace.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE
        self._lock = folder / _LOCK

    def last(self) -> TreeHead | None:
        """Give the newest whole line.

        Returns
        -------
        TreeHead or None
            None where there is none yet.

        Raises
        ------
        WorkspaceError
            Where the file cannot be read or its end is no head.
        """
        try:
            with self._path.open("rb") as file:
                end = file.seek(0, os.SEEK_END)
                file.seek(max(0, end - _TAIL_BYTES))
                tail = file.read()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise WorkspaceError(
                f"{self._path} cannot be read: {error}. Check your rights to the workspace folder."
            ) from error
        # What follows the last line end is a line that a crash cut off.
        lines = tail.split(b"\n")[:-1]
        if not lines:
            return None
        match = _LINE.fullmatch(lines[-1].removesuffix(b"\r"))
        if match is None:
            raise WorkspaceError(
                f"The last line of {self._path} is no tree head, so it cannot be told whether the "
                "record is whole. Run 'lungwort verify', and restore the newest backup into a new "
                "folder."
            )
        return TreeHead(size=int(match[1]), root=match[2].decode("ascii"))

    def append(self, head: TreeHead, now: datetime) -> None:
        """Add a line, unless a later one is there already.

        Parameters
        ----------
        head : TreeHead
            The head after a change.
        now : datetime
            When, UTC.

        Raises
        ------
        WorkspaceError
            Where the file cannot be written.
        """
        try:
            with locked(self._lock):
                last = self.last()
                if last is not None and last.size >= head.size:
                    return
                self._write(f"{head.size} {head.root} {time_text(now)}\n".encode("ascii"))
        except OSError as error:
            raise WorkspaceError(
                f"{self._path} cannot be written: {error.strerror or error}. Make room, or give "
                "yourself the right to write there."
            ) from error

    def _write(self, line: bytes) -> None:
        with self._path.open("ab") as file:
            end = file.tell()
            whole = self._whole(end)
            if whole != end:
                file.truncate(whole)
            try:
                file.write(line)
                file.flush()
                os.fsync(file.fileno())
            except OSError:
                file.truncate(whole)
                raise

    def _whole(self, end: int) -> int:
        with self._path.open("rb") as file:
            file.seek(max(0, end - _TAIL_BYTES))
            tail = file.read()
        return end - (len(tail) - (tail.rfind(b"\n") + 1))


def refuse_older(known: TreeHead, size: int, where: str) -> None:
    """Refuse a database that knows less than it did.

    Parameters
    ----------
    known : TreeHead
        What ``heads.txt`` says.
    size : int
        How many entries the database holds [1].
    where : str
        The workspace.

    Raises
    ------
    RegisterError
        Where entries are missing.
    """
    if known.size > size:
        raise RegisterError(
            f"The database of {where} holds {size} entries, and {FILE} knows of {known.size}: the "
            "database was put back to an older state or cut. Nothing was recorded. Run 'lungwort "
            "verify', and restore the newest backup into a new folder."
        )
