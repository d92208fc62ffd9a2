"""What a server is started with."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from attrs import field, frozen

UPLOAD_LIMIT_BYTES = 512 * 1024 * 1024


def _now() -> datetime:
    return datetime.now(UTC)


@frozen(kw_only=True)
class Settings:
    """What a server is started with.

    Parameters
    ----------
    workspace : pathlib.Path, optional
        Folder of the workspace; None where there is none yet.
    start_folder : pathlib.Path
        Where a first workspace is proposed.
    host : str
        Address that is listened on.
    port : int
        Port that is listened on.
    names : frozenset of str
        Further host names under which browsers reach it.
    secure : bool
        Whether browsers reach it by HTTPS.
    upload_limit : int
        Largest upload [byte].
    clock : callable
        Gives the present moment, UTC; the only clock of the app.
    """

    workspace: Path | None = None
    start_folder: Path = field(factory=lambda: Path.home() / "lungwort")
    host: str = "127.0.0.1"
    port: int = 8765
    names: frozenset[str] = frozenset()
    secure: bool = False
    upload_limit: int = UPLOAD_LIMIT_BYTES
    clock: Callable[[], datetime] = _now

    @property
    def on_loopback(self) -> bool:
        """Whether only this computer reaches it."""
        return self.host in {"127.0.0.1", "::1", "localhost"}
