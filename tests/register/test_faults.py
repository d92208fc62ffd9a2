"""Faults to survive: killed at any moment, a full disk, a folder that may only be read."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from tests.register.invented import check_whole
from tests.register.test_migrations import write_later
from tests.register.worker import SITES_A_CHANGE

from lungwort.register import migrate
from lungwort.register.engine import reading
from lungwort.register.model import Site
from lungwort.register.workspace import Workspace, create_workspace, open_workspace

WENNA = "Wenna Harkle"
WORKER = Path(__file__).with_name("worker.py")
FEW, MANY = 3, 100

posix = pytest.mark.skipif(sys.platform == "win32", reason="no such limits or rights on Windows")


def _run(what: str, folder: Path, *more: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, WORKER, what, folder, *map(str, more)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


def _killed(what: str, folder: Path, seconds: float, *more: object) -> list[str]:
    """Start a worker, kill it some time after its first word, and give what it said in time."""
    with subprocess.Popen(
        [sys.executable, WORKER, what, folder, *map(str, more)],
        stdout=subprocess.PIPE,
        text=True,
    ) as worker:
        assert worker.stdout is not None
        first = worker.stdout.readline()
        time.sleep(seconds)
        worker.kill()
        rest = worker.stdout.read()
    # What was said without a line end was being said when it died.
    return [first.strip(), *(rest[: rest.rfind("\n") + 1].splitlines())]


def _survive_changes(workspace: Workspace, times: int, seed: int) -> None:
    chance = random.Random(seed)  # noqa: S311 - no secret
    for _ in range(times):
        said = _killed("change", workspace.folder, chance.uniform(0, 0.15), 100_000)
        assert said[0] == "open"
        with open_workspace(workspace.folder) as again:
            known = int(said[-1]) if len(said) > 1 else 0
            sites = again.register.all(Site)
            # Nothing that was said to be recorded is lost, nothing half-recorded remains.
            assert again.register.head().size >= known
            assert len(sites) % SITES_A_CHANGE == 0
            for site in sites:
                again.read_file(site.note)
            with again.register.change(
                who=WENNA, now=datetime.fromisoformat("2026-03-02T09Z")
            ) as c:
                for part in range(SITES_A_CHANGE):
                    sha256 = again.put_file(b"after")
                    c.add(Site(name=f"after {again.register.head().size} {part}", note=sha256))
            check_whole(again)
    left = [one.name for one in (workspace.folder / "files").iterdir() if "part" in one.name]
    assert len(left) <= times, "each kill leaves one temporary file at most"
    with open_workspace(workspace.folder) as again:
        assert check_whole(again) > times * SITES_A_CHANGE


def test_killed_while_changing(workspace: Workspace) -> None:
    """A few times at random moments."""
    _survive_changes(workspace, FEW, 1)


@pytest.mark.slow
def test_killed_while_changing_many_times(workspace: Workspace) -> None:
    """Many times at random moments."""
    _survive_changes(workspace, MANY, 2)


def _survive_upgrades(
    workspace: Workspace, times: int, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_later(workspace.folder.parent)
    with workspace.register.change(
        who=WENNA, now=datetime.fromisoformat("2026-03-02T09Z")
    ) as change:
        for number in range(30):
            change.add(Site(name=f"site {number}"))
    head = workspace.register.head()
    workspace.close()
    chance, forms = random.Random(seed), set()  # noqa: S311 - no secret
    for _ in range(times):
        _killed("upgrade", workspace.folder, chance.uniform(0, 0.4))
        with reading(workspace.engine) as connection:
            found = migrate.form(connection)
        forms.add(found)
        if found == "0005":
            break
        # As it was, to the last table: the older program opens it.
        with open_workspace(workspace.folder) as again:
            assert again.register.head() == head
            assert check_whole(again) == 31
    assert forms <= {"0004", "0005"}
    monkeypatch.setattr(migrate, "STEPS", workspace.folder.parent / "migrations")
    monkeypatch.setattr(migrate, "HEAD", "0005")
    with open_workspace(workspace.folder) as again, again.engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT count(*) FROM later").scalar_one()
        assert rows == 60_000
        connection.rollback()
        assert again.register.head() == head
        assert check_whole(again) == 31
    workspace.close()


def test_killed_while_migrating(workspace: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    """Either the older form or the newer one, each whole."""
    _survive_upgrades(workspace, FEW, 3, monkeypatch)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10))
def test_killed_while_migrating_many_times(
    workspace: Workspace, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """Many times."""
    _survive_upgrades(workspace, 8, seed, monkeypatch)


@posix
@pytest.mark.parametrize("spare", [0, 1_000, 30_000, 200_000])
def test_a_file_that_may_not_grow(sqlite_workspace: Workspace, spare: int) -> None:
    """What is on a disk without room for more: a clear message, and the record as it was."""
    done = _run("full", sqlite_workspace.folder, spare)

    *said, last = done.stdout.splitlines()
    assert done.returncode == 2, done.stderr
    assert last.startswith("WorkspaceError: "), last
    assert "Nothing was recorded" in last or "was recorded, but not its head" in last
    with open_workspace(sqlite_workspace.folder) as again:
        recorded = again.register.head().size
        assert recorded in {int(said[-1]) if said else 1, recorded}
        assert (recorded - 1) % SITES_A_CHANGE == 0
        assert recorded >= (int(said[-1]) if said else 1)
        with again.register.change(
            who=WENNA, now=datetime.fromisoformat("2026-03-02T09Z")
        ) as change:
            change.add(Site(name="room again"))
        assert check_whole(again) == recorded + 1


@posix
def test_a_file_that_does_not_fit(sqlite_workspace: Workspace) -> None:
    """Nothing of it stays in the folder."""
    done = _run("keep", sqlite_workspace.folder, 200_000)

    assert done.returncode == 2, done.stderr
    assert "could not be written" in done.stdout
    assert "Nothing was recorded" in done.stdout
    assert list((sqlite_workspace.folder / "files").iterdir()) == []


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """Mount a disk of 1 MiB in memory, where this is allowed."""
    folder = Path(tempfile.mkdtemp(prefix="lw-disk-"))
    mount = shutil.which("mount")
    if mount is None or sys.platform != "linux" or os.geteuid() != 0:
        folder.rmdir()
        pytest.skip("only root on Linux may mount a small disk; the limit on files is tested above")
    done = subprocess.run(
        [mount, "-t", "tmpfs", "-o", "size=1200k", "tmpfs", folder],
        check=False,
        capture_output=True,
    )
    if done.returncode:
        folder.rmdir()
        pytest.skip("mounting is not allowed here; the limit on files is tested above")
    yield folder
    subprocess.run(["umount", folder], check=True)  # noqa: S607 - beside mount
    folder.rmdir()


def test_a_full_disk(small_disk: Path, start_time: datetime) -> None:
    """Once there is room again the work goes on where it was."""
    folder = small_disk / "w"
    create_workspace(folder, name="Y", person=WENNA, now=start_time).close()
    ballast = small_disk / "ballast"
    ballast.write_bytes(b"x" * 100_000)

    done = _run("fill", folder)

    *said, last = done.stdout.splitlines()
    assert done.returncode == 2, done.stderr
    assert "disk" in last, last
    ballast.unlink()
    with open_workspace(folder) as again:
        recorded = again.register.head().size
        assert recorded >= int(said[-1])
        assert (recorded - 1) % SITES_A_CHANGE == 0
        with again.register.change(who=WENNA, now=start_time.replace(hour=10)) as change:
            change.add(Site(name="room again"))
        assert check_whole(again) == recorded + 1


@pytest.fixture
def forbidden(start_time: datetime) -> Iterator[Path]:
    """Give a workspace that may be read and not written."""
    top = Path(tempfile.mkdtemp(prefix="lw-read-"))
    top.chmod(0o755)
    folder = top / "w"
    with create_workspace(folder, name="Y", person=WENNA, now=start_time) as made:
        with made.register.change(who=WENNA, now=start_time) as change:
            change.add(Site(name="Yard"))
        made.put_file(b"abc")
    for one in [folder, *folder.rglob("*")]:
        one.chmod(0o555 if one.is_dir() else 0o444)
    yield folder
    for one in [folder, *folder.rglob("*")]:
        one.chmod(0o755 if one.is_dir() else 0o644)
    shutil.rmtree(top)


@posix
def test_a_folder_that_may_only_be_read(forbidden: Path) -> None:
    """Looking works; writing is refused with a reason, and leaves no trace."""
    before = {one.name: one.stat().st_mtime_ns for one in forbidden.rglob("*")}

    looked = _run("read", forbidden)
    wrote = _run("write", forbidden)

    assert looked.stdout.splitlines()[0] == "['Yard']", looked.stderr + looked.stdout
    assert "opened for reading only" in looked.stdout
    assert wrote.returncode == 2, wrote.stderr
    assert wrote.stdout.startswith("WorkspaceError: The database"), wrote.stdout
    assert "right" in wrote.stdout or "you may read and write it" in wrote.stdout
    assert {one.name: one.stat().st_mtime_ns for one in forbidden.rglob("*")} == before


@posix
def test_a_workspace_is_not_made_where_nothing_may_be_written(
    forbidden: Path,
) -> None:
    """The folder's own message."""
    script = (
        "import os, sys; from datetime import datetime, UTC; from pathlib import Path;"
        "from lungwort.errors import LungwortError;"
        "from lungwort.register.workspace import create_workspace as make;"
        "os.geteuid() or os.seteuid(65534)\n"
        f"try: make(Path({str(forbidden / 'new')!r}), name='Y', person='W', now=datetime.now(UTC))\n"
        "except LungwortError as error: print(error)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False
    )
    assert "could not be made: permission denied" in done.stdout, done.stderr
    assert not (forbidden / "new").exists()


@posix
def test_interrupted_while_changing(sqlite_workspace: Workspace) -> None:
    """Ctrl-C rolls back as an error does."""
    with subprocess.Popen(
        [sys.executable, WORKER, "hold", sqlite_workspace.folder],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as worker:
        assert worker.stdout is not None
        assert worker.stdout.readline() == "held\n"
        worker.send_signal(signal.SIGINT)
        worker.wait(30)
    assert sqlite_workspace.register.all(Site) == []
    assert check_whole(sqlite_workspace) == 1
