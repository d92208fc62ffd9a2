"""Backup and restore: all of it, as of one moment, on either database, or not at all."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from tests.register.invented import check_whole, one_of_each
from tests.register.worker import SITES_A_CHANGE

from lungwort.errors import OutputError, WorkspaceError
from lungwort.register import workspace as by_contract
from lungwort.register.backup import MANIFEST, backup, restore
from lungwort.register.model import KINDS, Site
from lungwort.register.workspace import DATABASE_FILE, FILE, Workspace, open_workspace

if TYPE_CHECKING:
    from tests.conftest import Server

WENNA = "Wenna Harkle"
WORKER = Path(__file__).with_name("worker.py")


@pytest.fixture
def filled(workspace: Workspace, start_time: datetime) -> Workspace:
    """Give a workspace with a record of each kind, a file, readings and an open test."""
    return fill(workspace, start_time)


def fill(workspace: Workspace, start_time: datetime) -> Workspace:
    """Fill a workspace with some of everything."""
    with workspace.register.change(who=WENNA, now=start_time) as change:
        one_of_each(change)
    workspace.put_file(b"abc")
    for name in ("readings/outlet=o/month=2026-03/part-0a.parquet", "open-tests/one.json"):
        path = workspace.folder / name
        path.parent.mkdir(parents=True)
        path.write_bytes(name.encode())
    return workspace


def _content(folder: Path) -> dict[str, bytes]:
    return {
        one.relative_to(folder).as_posix(): one.read_bytes()
        for one in folder.rglob("*")
        if one.is_file() and not one.name.startswith(("register.", FILE, "heads.lock"))
    }


@pytest.mark.parametrize("target", ["sqlite", "postgresql"])
def test_all_comes_back_on_either_database(
    filled: Workspace,
    tmp_path: Path,
    start_time: datetime,
    target: str,
    postgresql_server: Server,
) -> None:
    """Every record, every file, the heads; and the record goes on from there."""
    archive = backup(filled, tmp_path / "kept.zip", now=start_time)
    name = postgresql_server.new_database() if target == "postgresql" else ""
    url = postgresql_server.url(name) if name else "sqlite"

    with restore(archive, tmp_path / "again", database=url) as again:
        for kind in KINDS.values():
            assert list(again.register.rows(kind)) == list(filled.register.rows(kind))
        assert list(again.register.entries()) == list(filled.register.entries())
        assert again.name == filled.name
        assert _content(again.folder) == _content(filled.folder)
        assert (again.folder / DATABASE_FILE).exists() == (target == "sqlite")
        with again.register.change(who=WENNA, now=start_time) as change:
            change.add(Site(name="Quay"))
        assert check_whole(again) == len(KINDS) + 1
    with open_workspace(tmp_path / "again") as again:
        assert again.database.split(":")[0].split("+")[0] == target
    assert check_whole(filled) == len(KINDS)
    if name:
        postgresql_server.drop(name)


def test_the_contract_names_them_in_workspace(
    sqlite_workspace: Workspace, tmp_path: Path, start_time: datetime
) -> None:
    """The same two functions, found beside opening and making."""
    archive = by_contract.backup(sqlite_workspace, tmp_path, now=start_time)

    assert archive == tmp_path / "workspace-20260302T080000Z.zip"
    with by_contract.restore(archive, tmp_path / "again") as again:
        assert check_whole(again) == 1


def test_a_backup_while_others_write(workspace: Workspace, tmp_path: Path) -> None:
    """It is the record as of one moment: whole, with every file that it names."""
    with subprocess.Popen(
        [sys.executable, WORKER, "change", workspace.folder, "400"],
        stdout=subprocess.PIPE,
        text=True,
    ) as writer:
        assert writer.stdout is not None
        archives = []
        for number in range(3):
            for _ in range(3):
                assert writer.stdout.readline()
            path = tmp_path / f"{number}.zip"
            archives.append(backup(workspace, path, now=datetime.fromisoformat("2026-03-02T10Z")))
        writer.kill()
    sizes = []
    for number, archive in enumerate(archives):
        with restore(archive, tmp_path / f"again-{number}") as again:
            sizes.append(check_whole(again))
            sites = again.register.all(Site)
            assert len(sites) % SITES_A_CHANGE == 0
            for site in sites:
                again.read_file(site.note)
    assert sizes == sorted(set(sizes))


def test_a_backup_is_not_written_over(
    sqlite_workspace: Workspace, tmp_path: Path, start_time: datetime
) -> None:
    """Nor into a folder that is not there; nothing half-written stays."""
    archive = backup(sqlite_workspace, tmp_path / "kept.zip", now=start_time)
    with pytest.raises(OutputError, match=r"kept\.zip is there already"):
        backup(sqlite_workspace, archive, now=start_time)
    with pytest.raises(OutputError, match=r"no folder .*none"):
        backup(sqlite_workspace, tmp_path / "none" / "kept.zip", now=start_time)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["kept.zip", "workspace"]


def test_a_backup_into_the_workspace_does_not_hold_itself(
    sqlite_workspace: Workspace, start_time: datetime
) -> None:
    """Temporary files, locks and copies of the database are left out as well."""
    folder = sqlite_workspace.folder
    for name in (".lungwort-x.part", "register-before-0005-from-0004.sqlite", "workspace.lock"):
        (folder / name).write_bytes(b"x")

    archive = backup(sqlite_workspace, folder / "kept.zip", now=start_time)
    second = backup(sqlite_workspace, folder / "second.zip", now=start_time)

    with zipfile.ZipFile(archive) as file:
        assert sorted(file.namelist()) == ["heads.txt", MANIFEST, DATABASE_FILE]
    with zipfile.ZipFile(second) as file:
        assert "kept.zip" in file.namelist()


def test_a_full_disk_leaves_no_half_backup(
    sqlite_workspace: Workspace,
    tmp_path: Path,
    start_time: datetime,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The message says so, and the folder is as it was."""

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("lungwort.register.backup.os.fsync", refuse)
    with pytest.raises(OutputError, match=r"could not be written: No space left.*Make room"):
        backup(sqlite_workspace, tmp_path / "kept.zip", now=start_time)
    assert [one.name for one in tmp_path.iterdir()] == ["workspace"]


def test_restoring_into_what_is_there_is_refused(
    sqlite_workspace: Workspace, tmp_path: Path, start_time: datetime, postgresql: str
) -> None:
    """Neither a folder nor a database with something in it is touched."""
    archive = backup(sqlite_workspace, tmp_path / "kept.zip", now=start_time)
    with pytest.raises(WorkspaceError, match="is not an empty folder"):
        restore(archive, sqlite_workspace.folder)
    restore(archive, tmp_path / "one", database=postgresql).close()

    with pytest.raises(WorkspaceError, match="database holds tables already"):
        restore(archive, tmp_path / "two", database=postgresql)

    assert sorted(one.name for one in tmp_path.iterdir()) == ["kept.zip", "one", "workspace"]
    with open_workspace(tmp_path / "one") as again:
        assert check_whole(again) == 1
    (tmp_path / "empty").mkdir()
    restore(archive, tmp_path / "empty").close()


def _rewritten(archive: Path, change: Callable[[dict[str, bytes]], None]) -> None:
    with zipfile.ZipFile(archive) as file:
        content = {one: file.read(one) for one in file.namelist()}
    change(content)
    with zipfile.ZipFile(archive, "w") as file:
        for name, one in content.items():
            file.writestr(name, one)


def _manifest(content: dict[str, bytes], **changed: Any) -> None:
    manifest = {**json.loads(content[MANIFEST]), **changed}
    content[MANIFEST] = json.dumps({k: v for k, v in manifest.items() if v is not ...}).encode()


FILE_NAME = "files/ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda c: c.update({FILE_NAME: b"abd"}), "has the SHA-256 .* was written"),
        (lambda c: c.update({"heads.txt": c["heads.txt"][:-9]}), r"heads\.txt has the SHA-256"),
        (lambda c: c.pop(FILE_NAME), r"what it holds is not what it lists \(files/ba7816bf"),
        (lambda c: c.update({"files/more": b""}), r"is not what it lists \(files/more\)"),
        (lambda c: c.update({"../../etc/cron.d/x": b""}), r"is not what it lists \(\.\./"),
        (lambda c: c.pop(MANIFEST), r"is no backup of a workspace: it has no lungwort-backup"),
        (lambda c: c.update({MANIFEST: b"{"}), "lungwort-backup.json cannot be read"),
        (lambda c: c.update({MANIFEST: b"[]"}), "in a form that this lungwort does not know"),
        (lambda c: _manifest(c, format="lungwort-backup/2"), "in a form that this lungwort does"),
        (lambda c: _manifest(c, form="9999"), r"made by a newer lungwort \(.*'9999'"),
        (lambda c: _manifest(c, root=...), "lungwort-backup.json is not whole"),
        (lambda c: _manifest(c, size=3), "its journal has 3 entries"),
        (lambda c: _manifest(c, root="0" * 64), "entries with the head 0000"),
    ],
)
def test_an_altered_backup_is_refused(
    sqlite_workspace: Workspace,
    tmp_path: Path,
    start_time: datetime,
    change: Callable[[dict[str, bytes]], None],
    said: str,
    postgresql: str,
) -> None:
    """Each alteration is named, and nothing is left behind."""
    fill(sqlite_workspace, start_time)
    archive = backup(sqlite_workspace, tmp_path / "kept.zip", now=start_time)
    _rewritten(archive, change)

    for url in ("sqlite", postgresql):
        with pytest.raises(WorkspaceError, match=said):
            restore(archive, tmp_path / "again", database=url)

    assert sorted(one.name for one in tmp_path.iterdir()) == ["kept.zip", "workspace"]
    # The database is as empty as it was: another backup can be restored to it.
    sound = backup(sqlite_workspace, tmp_path / "sound.zip", now=start_time)
    with restore(sound, tmp_path / "again", database=postgresql) as again:
        assert check_whole(again) == len(KINDS)


def test_a_name_that_leads_out_of_the_folder_is_refused(
    sqlite_workspace: Workspace, tmp_path: Path, start_time: datetime
) -> None:
    """Even where the archive's list agrees with it."""
    archive = backup(sqlite_workspace, tmp_path / "kept.zip", now=start_time)
    empty = {"sha256": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"}
    for name in ("../out", "/out", "a/../../out", "c:out", "a\\..\\out"):

        def change(content: dict[str, bytes], name: str = name) -> None:
            members = json.loads(content[MANIFEST])["members"]
            wanted = {one: members[one] for one in members if one in content}
            content[name] = b""
            _manifest(content, members={**wanted, name: empty})

        whole = archive.read_bytes()
        _rewritten(archive, change)
        with pytest.raises(WorkspaceError, match="which no backup does"):
            restore(archive, tmp_path / "again")
        archive.write_bytes(whole)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["kept.zip", "workspace"]


def test_a_damaged_archive_is_refused(
    sqlite_workspace: Workspace, tmp_path: Path, start_time: datetime
) -> None:
    """Cut off, overwritten in the middle, or something else altogether."""
    archive = backup(sqlite_workspace, tmp_path / "kept.zip", now=start_time)
    whole = archive.read_bytes()
    spoilt = bytearray(whole)
    spoilt[300:400] = bytes(100)
    for content in (whole[: len(whole) // 2], bytes(spoilt), b"", b"letter"):
        archive.write_bytes(content)
        with pytest.raises(WorkspaceError, match=r"is damaged or is no backup.*another backup"):
            restore(archive, tmp_path / "again")
    with pytest.raises(WorkspaceError, match=r"no file .*none"):
        restore(tmp_path / "none", tmp_path / "again")
    other = io.BytesIO()
    with zipfile.ZipFile(other, "w") as file:
        file.writestr("letter.txt", "Dear Wenna")
    archive.write_bytes(other.getvalue())
    with pytest.raises(WorkspaceError, match="is no backup of a workspace"):
        restore(archive, tmp_path / "again")
    assert sorted(one.name for one in tmp_path.iterdir()) == ["kept.zip", "workspace"]


def test_heads_of_later_changes_are_left_out(
    sqlite_workspace: Workspace,
    tmp_path: Path,
    start_time: datetime,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A change between the copy of the database and that of heads.txt would look like a loss."""
    from lungwort.register import backup as module

    copied = module._write_heads

    def late(*given: Any) -> None:
        with sqlite_workspace.register.change(
            who=WENNA, now=start_time + timedelta(hours=1)
        ) as change:
            change.add(Site(name="late"))
        copied(*given)

    monkeypatch.setattr(module, "_write_heads", late)
    archive = backup(sqlite_workspace, tmp_path / "kept.zip", now=start_time)

    with restore(archive, tmp_path / "again") as again:
        assert check_whole(again) == 1
        with again.register.change(who=WENNA, now=start_time) as change:
            change.add(Site(name="next"))
