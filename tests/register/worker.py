"""What another process does in a workspace, for tests: ``worker.py WHAT FOLDER [N]``."""

from __future__ import annotations

import os
import signal
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from lungwort.errors import LungwortError
from lungwort.register import migrate
from lungwort.register.canonical import canonical
from lungwort.register.model import Site
from lungwort.register.workspace import open_workspace

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
SITES_A_CHANGE = 3
WENNA = "Wenna Harkle"


def say(text: object) -> None:
    """Tell the test, at once."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def change(folder: Path, times: int) -> None:
    """Make changes of several records each, and say so after each."""
    with open_workspace(folder) as workspace:
        say("open")
        for number in range(times):
            with workspace.register.change(who=WENNA, now=NOW) as made:
                sha256 = workspace.put_file(f"{os.getpid()} {number}".encode())
                for part in range(SITES_A_CHANGE):
                    name = f"site {os.getpid()} {number} {part}"
                    made.add(Site(name=name, note=sha256))
            say(made.size)


def hold(folder: Path, _: int) -> None:
    """Begin a change and do not end it before something is read."""
    # Whoever starts the tests in the background of a shell hands down that interrupts are ignored.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    with (
        open_workspace(folder) as workspace,
        workspace.register.change(who=WENNA, now=NOW) as made,
    ):
        made.add(Site(name="held"))
        say("held")
        sys.stdin.readline()


def lock(folder: Path, _: int) -> None:
    """Hold the files of the workspace until something is read."""
    with open_workspace(folder) as workspace, workspace.lock():
        say("held")
        sys.stdin.readline()


def upgrade(folder: Path, _: int) -> None:
    """Bring the database up to a newer form, whose steps lie beside the workspace."""
    migrate.STEPS = folder.parent / "migrations"
    migrate.HEAD = "0005"
    say("begin")
    with open_workspace(folder) as workspace:
        say(workspace.register.head().size)


def full(folder: Path, spare: int) -> None:
    """Work with files that may grow by some bytes only."""
    import resource

    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    with open_workspace(folder) as workspace:
        largest = max(one.stat().st_size for one in folder.iterdir())
        resource.setrlimit(resource.RLIMIT_FSIZE, (largest + spare, resource.RLIM_INFINITY))
        fill(workspace.folder, spare)


def fill(folder: Path, _: int) -> None:
    """Change until it fails."""
    with open_workspace(folder) as workspace:
        for number in range(10_000):
            with workspace.register.change(who=WENNA, now=NOW) as made:
                for part in range(SITES_A_CHANGE):
                    made.add(Site(name=f"full {number} {part}", note="x" * 2000))
            say(made.size)


def keep(folder: Path, size: int) -> None:
    """Take in a file that is too large for the disk."""
    import resource

    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    with open_workspace(folder) as workspace:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size // 2, resource.RLIM_INFINITY))
        workspace.put_file(b"x" * size)


def read(folder: Path, _: int) -> None:
    """Look, as somebody who may not write there."""
    _as_nobody(folder)
    with open_workspace(folder, read_only=True) as workspace:
        say([one.name for one in workspace.register.all(Site)])
        with workspace.register.change(who=WENNA, now=NOW):
            pass


def write(folder: Path, _: int) -> None:
    """Write, as somebody who may not write there."""
    _as_nobody(folder)
    with (
        open_workspace(folder) as workspace,
        workspace.register.change(who=WENNA, now=NOW + timedelta(hours=1)) as made,
    ):
        made.add(Site(name="forbidden"))


def _as_nobody(folder: Path) -> None:
    if os.geteuid() == 0:
        # Rights do not bind root. All that is loaded late must be loaded before.
        with open_workspace(folder, read_only=True) as workspace:
            workspace.register.all(Site)
        canonical({"any": "thing"})
        os.seteuid(65534)


def main() -> None:
    """Do what the command line says."""
    what, folder = sys.argv[1], Path(sys.argv[2])
    number = int(sys.argv[3]) if len(sys.argv) > len(("worker", "what", "folder")) else 0
    try:
        globals()[what](folder, number)
    except LungwortError as error:
        say(f"{type(error).__name__}: {error}")
        sys.exit(2)


if __name__ == "__main__":
    main()
