"""Imports that are killed, starved of room, refused, or run at once: nothing half-done ever counts.

The processes are real and die by SIGKILL. After each death the workspace must open, every import on
record must be whole, the whole record must verify, and the same import must succeed.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from lungwort.jobs.import_log import Request, import_files
from lungwort.jobs.reading import Reading
from lungwort.logs.read import read_log
from lungwort.register.model import LogImport, Outlet, Site, Supply
from lungwort.register.store import check_parts, load_log
from lungwort.register.verify import verify
from lungwort.register.workspace import create_workspace, open_workspace

pytestmark = pytest.mark.skipif(
    not hasattr(os, "fork"), reason="processes are forked to be killed quickly"
)

WHO = "Wenna Harkle"
NOW = datetime(2026, 3, 5, 8, tzinfo=UTC)
LATER = NOW + timedelta(hours=1)
WORKER = Path(__file__).with_name("import_worker.py")


class Worker:
    """The process that forks those that are to be killed."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(WORKER)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            encoding="utf-8",
        )

    def run(self, *orders: dict[str, Any]) -> list[dict[str, Any]]:
        """Run imports at once and give their answers."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(orders) + "\n")
        self._process.stdin.flush()
        answers: list[dict[str, Any]] = json.loads(self._process.stdout.readline())
        return answers

    def close(self) -> None:
        """End it."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        assert self._process.stdout is not None
        self._process.stdout.close()
        self._process.wait(60)


@pytest.fixture(scope="module")
def worker() -> Iterator[Worker]:
    """Give the worker."""
    made = Worker()
    yield made
    made.close()


class Place:
    """Copies of one furnished workspace, and the logger's files."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.count = 0
        self.template = home / "template"
        with (
            create_workspace(self.template, name="Invented", person=WHO, now=NOW) as workspace,
            workspace.register.change(who=WHO, now=NOW) as change,
        ):
            site = change.add(Site(name="slipway"))
            supply = change.add(Supply(site_id=site.id, name="house"))
            for name in ("Panel 2", "Panel 3"):
                change.add(Outlet(supply_id=supply.id, name=name))
        self.logs = [self._log(number) for number in range(3)]

    def _log(self, number: int) -> Path:
        begin = datetime(2026, 2, 28, 23, number, tzinfo=UTC)
        rows = [
            f"{begin + timedelta(minutes=i):%Y-%m-%dT%H:%M:%SZ},0.{(i * 7 + number) % 10},{430 + i % 9}"
            for i in range(120)
        ]
        path = self.home / f"log{number}.csv"
        path.write_text("\n".join(["Time,CO [ppm],CO2 [ppm]", *rows]) + "\n", encoding="utf-8")
        return path

    def copy(self) -> Path:
        """Give a fresh workspace."""
        self.count += 1
        folder = self.home / f"w{self.count}"
        shutil.copytree(self.template, folder)
        return folder

    def order(self, folder: Path, log: int = 0, **more: Any) -> dict[str, Any]:
        """Order an import."""
        return {
            "folder": str(folder),
            "files": [str(self.logs[log])],
            "outlet": "Panel 2",
            "by": WHO,
            "now": NOW.isoformat(),
            **more,
        }


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Place:
    """Give the place."""
    return Place(tmp_path_factory.mktemp("faults"))


def assert_whole(folder: Path, least: int, most: int) -> list[LogImport]:
    """Expect between so many imports, all whole, and a record without a fault."""
    with open_workspace(folder) as workspace:
        imports = workspace.register.all(LogImport)
        assert least <= len(imports) <= most
        assert check_parts(workspace, imports) == []
        for one in imports:
            assert workspace.read_file(one.files[0].sha256)
            assert load_log(workspace, [one]).rows == 120
        assert verify(workspace).problems == ()
        return imports


def assert_goes_on(place: Place, folder: Path, log: int = 0) -> None:
    """Expect the record to be whole now, and the import to succeed when it is repeated."""
    before = assert_whole(folder, 0, 1)
    request = Request(
        files=(place.logs[log],),
        outlet="Panel 2",
        reading=Reading(zone="UTC"),
        by=WHO,
        judge=False,
    )
    done = import_files(folder, request, now=LATER)
    assert done.new == (not before)
    assert_whole(folder, 1, 1)
    with open_workspace(folder) as workspace:
        back = load_log(workspace, [done.record])
    assert back.frame.equals(read_log(place.logs[log], zone="UTC").frame)
    shutil.rmtree(folder)


def calls_of_one_import(worker: Worker, place: Place) -> int:
    """Count the points at which an import can be killed."""
    folder = place.copy()
    (answer,) = worker.run(place.order(folder))
    assert answer["status"] == 0
    assert answer["new"]
    shutil.rmtree(folder)
    return int(answer["calls"])


def test_killed_before_and_after_some_of_its_steps(worker: Worker, place: Place) -> None:
    """The first and last steps, and some between: where files are synced, renamed, folders made."""
    calls = calls_of_one_import(worker, place)
    assert calls > 12
    for at in (1, calls // 3, 2 * calls // 3, calls):
        for when in ("before", "after"):
            folder = place.copy()
            (answer,) = worker.run(place.order(folder, kill_at=at, when=when))
            assert answer["status"] == -9
            assert_goes_on(place, folder)


def test_killed_at_a_random_time(worker: Worker, place: Place) -> None:
    """Also inside the database's own writing, which no step of the program shows."""
    for _ in range(4):
        folder = place.copy()
        worker.run(place.order(folder, delay_s=0.4))
        assert_goes_on(place, folder)


@pytest.mark.slow
def test_killed_at_every_step(worker: Worker, place: Place) -> None:
    """Every point at which something is made to last, before it and after it."""
    calls = calls_of_one_import(worker, place)
    for at in range(1, calls + 1):
        for when in ("before", "after"):
            folder = place.copy()
            (answer,) = worker.run(place.order(folder, kill_at=at, when=when))
            assert answer["status"] == -9
            assert_goes_on(place, folder)


@pytest.mark.slow
def test_killed_two_hundred_times(worker: Worker, place: Place) -> None:
    """At random times from the first to beyond the last of its steps."""
    killed = 0
    for _ in range(220):
        folder = place.copy()
        (answer,) = worker.run(place.order(folder, delay_s=0.35))
        killed += answer["status"] == -9
        assert_goes_on(place, folder)
    assert killed >= 100


@pytest.mark.slow
def test_killed_again_and_again_in_one_workspace(worker: Worker, place: Place) -> None:
    """What the dead leave behind adds up and still counts for nothing."""
    folder = place.copy()
    for _ in range(40):
        worker.run(place.order(folder, delay_s=0.25))
        assert_whole(folder, 0, 1)
    assert_goes_on(place, folder)


def test_a_kill_does_not_touch_what_is_on_record(worker: Worker, place: Place) -> None:
    """The imports before it stay as they are."""
    folder = place.copy()
    (first,) = worker.run(place.order(folder, log=0))
    for at in (1, 4, 8, 11):
        copy = folder.with_name(f"{folder.name}-{at}")
        shutil.copytree(folder, copy)
        (answer,) = worker.run(place.order(copy, log=1, kill_at=at, when="after"))
        assert answer["status"] == -9
        assert [one.id for one in assert_whole(copy, 1, 1)] == [first["id"]]
        (second,) = worker.run(place.order(copy, log=1))
        assert second["new"]
        assert_whole(copy, 2, 2)


@pytest.mark.parametrize("file_bytes", [100, 1500, 4000, 20_000])
def test_no_room_is_told_and_nothing_is_lost(worker: Worker, place: Place, file_bytes: int) -> None:
    """No file may grow beyond a size: as with a full disk, the system refuses to write on."""
    folder = place.copy()
    (answer,) = worker.run(place.order(folder, file_bytes=file_bytes))
    assert answer["status"] == 0, answer
    assert answer["error"] in {"WorkspaceError", "RegisterError"}
    assert answer["said"].endswith(".")
    assert "Traceback" not in answer["said"]
    assert assert_whole(folder, 0, 0) == []
    assert_goes_on(place, folder)


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """Give a folder on a disk of 2 MiB, where the tests may make one."""
    home = Path(tempfile.mkdtemp(prefix="lw-small-"))
    mount = shutil.which("mount")
    done = (
        mount is not None
        and not subprocess.run(
            [mount, "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(home)],
            check=False,
            capture_output=True,
        ).returncode
    )
    if not done:
        home.rmdir()
        pytest.skip("a disk of its own can be made by root alone")
    yield home
    subprocess.run(["umount", str(home)], check=True)  # noqa: S607 - beside mount
    home.rmdir()


def test_a_full_disk_is_told_and_nothing_is_lost(
    worker: Worker, place: Place, small_disk: Path
) -> None:
    """Filled up but for some kilobytes, then given room again."""
    folder = small_disk / "w"
    shutil.copytree(place.template, folder)
    free = shutil.disk_usage(small_disk).free
    for left in (0, 8192, 24_576, 65_536):
        ballast = small_disk / "ballast"
        ballast.write_bytes(b"\0" * max(free - left, 0))
        (answer,) = worker.run(place.order(folder))
        ballast.unlink()
        assert answer["status"] == 0, answer
        if "error" in answer:
            assert answer["error"] in {"WorkspaceError", "RegisterError"}
            assert answer["said"].endswith(".")
            assert_whole(folder, 0, 0)
    request = Request((place.logs[0],), "Panel 2", reading=Reading(zone="UTC"), judge=False)
    import_files(folder, request, now=LATER)
    assert_whole(folder, 1, 1)


@pytest.fixture
def locked_folder(request: pytest.FixtureRequest, place: Place) -> Iterator[Path]:
    """Give a workspace that cannot be written: by its rights, or for root by a read-only disk."""
    if os.geteuid() != 0:
        folder = place.copy()
        everything = [folder, *folder.rglob("*")]
        for one in everything:
            one.chmod(0o555 if one.is_dir() else 0o444)
        yield folder
        for one in everything:
            one.chmod(0o755 if one.is_dir() else 0o644)
        return
    disk: Path = request.getfixturevalue("small_disk")
    shutil.copytree(place.template, disk / "w")
    for how in ("ro", "rw"):
        subprocess.run(["mount", "-o", f"remount,{how}", str(disk)], check=True)  # noqa: S607 - the system's own
        if how == "ro":
            yield disk / "w"


def test_a_folder_that_may_not_be_written_is_told(
    worker: Worker, place: Place, locked_folder: Path
) -> None:
    """Somebody else's folder, or one that was locked away."""
    (answer,) = worker.run(place.order(locked_folder))
    assert answer["status"] == 0, answer
    assert answer["error"] in {"WorkspaceError", "RegisterError"}
    assert answer["said"].endswith(".")
    assert str(locked_folder) in answer["said"]


def test_one_file_by_two_processes_at_once_is_one_record(worker: Worker, place: Place) -> None:
    """One imports it, the other finds it on record."""
    folder = place.copy()
    answers = worker.run(*[place.order(folder) for _ in range(3)])
    assert [answer["status"] for answer in answers] == [0, 0, 0], answers
    assert sorted(answer["new"] for answer in answers) == [False, False, True]
    assert len({answer["id"] for answer in answers}) == 1
    assert_whole(folder, 1, 1)


def test_two_files_at_once_both_land(worker: Worker, place: Place) -> None:
    """Each waits for the other as long as it must."""
    folder = place.copy()
    answers = worker.run(*[place.order(folder, log=number) for number in range(3)])
    assert [answer.get("new") for answer in answers] == [True, True, True], answers
    assert_whole(folder, 3, 3)


def test_one_is_killed_while_another_imports(worker: Worker, place: Place) -> None:
    """A lock dies with the process that held it."""
    folder = place.copy()
    dead, alive = worker.run(
        place.order(folder, log=0, kill_at=6, when="after"), place.order(folder, log=1)
    )
    assert dead["status"] == -9
    assert alive["new"]
    assert_whole(folder, 1, 1)
