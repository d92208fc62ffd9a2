"""One at a time, between processes: a lock on a file, which ends with the process that holds it."""

from __future__ import annotations

import os
import sys
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from lungwort.errors import RegisterError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

WAIT_SECONDS: Final = 30
"""How long somebody else is waited for [s]."""
_PAUSE_SECONDS: Final = 0.02


@contextmanager
def locked(path: Path, *, wait_seconds: float = WAIT_SECONDS) -> Iterator[None]:
    """Hold a lock on a file.

    Parameters
    ----------
    path : pathlib.Path
        The file; made where it is missing, and left there.
    wait_seconds : float
        How long to wait for somebody else who holds it [s].

    Yields
    ------
    None
        While it is held.

    Raises
    ------
    RegisterError
        Where somebody else goes on holding it.
    OSError
        Where the file cannot be made.
    """
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        until = time.monotonic() + wait_seconds
        while not _taken(handle):
            if time.monotonic() >= until:
                raise RegisterError(
                    f"Somebody else holds {path} and has not finished. Wait until they have "
                    "finished and try again."
                )
            time.sleep(_PAUSE_SECONDS)
        try:
            yield
        finally:
            _release(handle)
    finally:
        os.close(handle)


if sys.platform == "win32":
    import msvcrt

    def _taken(handle: int) -> bool:
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def _release(handle: int) -> None:
        os.lseek(handle, 0, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _taken(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True

    def _release(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN)
