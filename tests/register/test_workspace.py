"""The workspace folder: made whole or not at all, opened or refused with the reason."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import subprocess
import sys
import threading
import tomllib
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from tests.register.invented import check_whole

from lungwort.errors import LungwortError, RegisterError, UnknownRecordError, WorkspaceError
from lungwort.register import migrate
from lungwort.register.model import Person, Site
from lungwort.register.workspace import (
    DATABASE_FILE,
    FILE,
    Workspace,
    create_workspace,
    find_workspace,
    open_workspace,
)

if TYPE_CHECKING:
    from tests.conftest import Server

WENNA = "Wenna Harkle"
WORKER = Path(__file__).with_name("worker.py")


def _add(workspace: Workspace, name: str, now: datetime) -> Site:
    with workspace.register.change(who=WENNA, now=now) as change:
        return change.add(Site(name=name))


def test_a_new_workspace_has_one_entry(workspace: Workspace, start_time: datetime) -> None:
    """The first record is the person who answers for the air."""
    register = workspace.register
    assert [one.name for one in register.all(Person)] == [WENNA]
    assert [(one.who, one.time) for one in register.entries()] == [(WENNA, start_time)]
    head = register.head()
    kept = (workspace.folder / "heads.txt").read_text(encoding="ascii")
    assert kept == f"1 {head.root} 2026-03-02T08:00:00.000000Z\n"
    described = tomllib.loads((workspace.folder / FILE).read_text(encoding="utf-8"))
    assert described["name"] == workspace.name == "Merrowgate Slipway (invented)"
    assert described["database"] == workspace.database
    assert register.all(Person)[0].note == "Workspace: Merrowgate Slipway (invented)"
    assert check_whole(workspace) == 1


def test_what_is_recorded_is_there_after_opening_again(
    workspace: Workspace, start_time: datetime
) -> None:
    """Close, open, and go on."""
    site = _add(workspace, "Yard", start_time)
    head = workspace.register.head()
    workspace.close()

    with open_workspace(workspace.folder) as again:
        assert again.register.get(Site, "yard") == site
        assert again.register.head() == head
        assert (again.name, again.database) == (workspace.name, workspace.database)
        _add(again, "Quay", start_time)
        assert check_whole(again) == 3


def test_reading_only(workspace: Workspace, start_time: datetime) -> None:
    """Nothing can be changed, not even past the register."""
    _add(workspace, "Yard", start_time)
    workspace.close()

    with open_workspace(workspace.folder, read_only=True) as again:
        assert again.register.get(Site, "Yard").name == "Yard"
        with (
            pytest.raises(RegisterError, match="opened for reading only"),
            again.register.change(who=WENNA, now=start_time),
        ):
            pass
        with pytest.raises(WorkspaceError, match="opened for reading only"):
            again.put_file(b"x")
        with again.engine.connect() as connection, pytest.raises(Exception, match=r"read-?only"):
            connection.exec_driver_sql("CREATE TABLE more (one TEXT)")


@pytest.mark.parametrize("name", ['Yard "7"', "C:\\yard", "Öl & Luft 🫁", "a'b"])
def test_any_name_is_kept(tmp_path: Path, start_time: datetime, name: str) -> None:
    """Names with quotes and backslashes come back from the description as they were."""
    create_workspace(tmp_path / "w", name=name, person=WENNA, now=start_time).close()

    with open_workspace(tmp_path / "w") as workspace:
        assert workspace.name == name


@pytest.mark.parametrize(
    ("name", "person", "said"),
    [
        ("", WENNA, r"name of the workspace, '', cannot be used\. Give --name"),
        ("a\nb", WENNA, "cannot be used"),
        ("Yard", "", "name of the person is empty"),
        ("Yard", " Wenna", "begins or ends with a blank"),
    ],
)
@pytest.mark.parametrize("existed", [True, False])
def test_a_workspace_is_made_whole_or_not_at_all(
    tmp_path: Path, start_time: datetime, name: str, person: str, said: str, *, existed: bool
) -> None:
    """A mistake leaves nothing behind that stands in the way of the next attempt."""
    folder = tmp_path / "w"
    if existed:
        folder.mkdir()

    with pytest.raises(RegisterError, match=said):
        create_workspace(folder, name=name, person=person, now=start_time)

    assert folder.exists() == existed
    assert not existed or list(folder.iterdir()) == []
    create_workspace(folder, name="Yard", person=WENNA, now=start_time).close()


def test_a_folder_with_something_in_it_is_left_alone(tmp_path: Path, start_time: datetime) -> None:
    """Neither a workspace nor anything else is overwritten."""
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "holiday.txt").write_text("sun", encoding="utf-8")
    (tmp_path / "file").write_text("x", encoding="utf-8")
    create_workspace(tmp_path / "w", name="Yard", person=WENNA, now=start_time).close()

    (tmp_path / "half").mkdir()
    (tmp_path / "half" / DATABASE_FILE).write_bytes(b"")
    for folder, said in [
        ("half", "holds a database and no lungwort-workspace"),
        ("full", "is not an empty folder"),
        ("file", "is not an empty folder"),
        ("w", "is a workspace already"),
    ]:
        with pytest.raises(WorkspaceError, match=said):
            create_workspace(tmp_path / folder, name="Yard", person=WENNA, now=start_time)
    assert [one.name for one in (tmp_path / "full").iterdir()] == ["holiday.txt"]


def test_a_database_with_a_record_is_not_begun_again(
    tmp_path: Path, start_time: datetime, postgresql: str, postgresql_server: Server
) -> None:
    """Two workspaces never share a database; nor is somebody else's database used."""
    make = {"name": "Yard", "person": WENNA, "now": start_time}
    create_workspace(tmp_path / "w", **make, database=postgresql).close()  # type: ignore[arg-type]

    with pytest.raises(WorkspaceError, match="database holds tables already"):
        create_workspace(tmp_path / "x", **make, database=postgresql)  # type: ignore[arg-type]

    other = postgresql_server.new_database()
    postgresql_server.run("CREATE TABLE holidays (day date)", other)
    with pytest.raises(WorkspaceError, match="database holds tables already"):
        create_workspace(tmp_path / "x", **make, database=postgresql_server.url(other))  # type: ignore[arg-type]
    assert not (tmp_path / "x").exists()
    with open_workspace(tmp_path / "w") as workspace:
        assert check_whole(workspace) == 1
    postgresql_server.drop(other)


def test_an_attempt_that_broke_off_may_be_repeated(
    tmp_path: Path, start_time: datetime, postgresql: str
) -> None:
    """Tables on the server without an entry are no record yet."""
    with pytest.raises(RegisterError, match="name of the person"):
        create_workspace(tmp_path / "w", name="Y", person="", now=start_time, database=postgresql)

    with create_workspace(
        tmp_path / "w", name="Y", person=WENNA, now=start_time, database=postgresql
    ) as workspace:
        assert check_whole(workspace) == 1


def test_the_password_is_not_kept(
    tmp_path: Path,
    start_time: datetime,
    postgresql: str,
    postgresql_server: Server,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It is used when the workspace is made; later it comes from the environment."""
    for name in ("PGPASSWORD", "PGPASSFILE", "LUNGWORT_DATABASE_PASSWORD"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("PGPASSFILE", str(tmp_path / "none"))
    name = postgresql.split("/")[3].split("?", maxsplit=1)[0]
    url = postgresql_server.url(name, password=True)
    password = postgresql_server.password
    create_workspace(tmp_path / "w", name="Y", person=WENNA, now=start_time, database=url).close()

    for path in (tmp_path / "w").rglob("*"):
        assert not path.is_file() or password.encode() not in path.read_bytes(), path
    with pytest.raises(WorkspaceError, match=r"cannot be reached.*LUNGWORT_DATABASE_PASSWORD"):
        open_workspace(tmp_path / "w")
    for variable in ("LUNGWORT_DATABASE_PASSWORD", "PGPASSWORD"):
        with monkeypatch.context() as patch:
            patch.setenv(variable, password)
            with open_workspace(tmp_path / "w") as workspace:
                assert workspace.database == (
                    f"postgresql+psycopg://postgres@127.0.0.1:{postgresql_server.port}/{name}"
                )
                assert check_whole(workspace) == 1
    monkeypatch.setenv("LUNGWORT_DATABASE_PASSWORD", "wrong-secret")
    with pytest.raises(WorkspaceError, match="cannot be reached") as caught:
        open_workspace(tmp_path / "w")
    assert "wrong-secret" not in str(caught.value)


def test_where_there_is_no_workspace(tmp_path: Path) -> None:
    """The message says how to make one."""
    for folder, said in [
        (tmp_path / "none", "no folder .*none.*lungwort workspace create"),
        (tmp_path, "is no workspace: it has no lungwort-workspace.toml.*lungwort workspace create"),
    ]:
        with pytest.raises(WorkspaceError, match=said):
            open_workspace(folder)
    with pytest.raises(
        WorkspaceError, match="--workspace DIR, set LUNGWORT_WORKSPACE, or make one"
    ):
        find_workspace(tmp_path)


def test_the_workspace_is_found_from_below(sqlite_workspace: Workspace) -> None:
    """As other programs look for the folder they work in."""
    below = sqlite_workspace.folder / "reports" / "2026"
    below.mkdir(parents=True)

    assert find_workspace(below) == sqlite_workspace.folder
    assert find_workspace(sqlite_workspace.folder) == sqlite_workspace.folder


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name = x", "toml has a mistake: .*line 1"),
        ("\udcff", "toml has a mistake"),
        ("", "has the format None"),
        ('format = "lungwort-workspace/2"', "made by a newer lungwort: install that"),
        ('format = "lungwort-workspace/1"', "has no name. Add a line"),
        ('format = "lungwort-workspace/1"\nname = 7', "has no name. Add a line"),
        ('format = "lungwort-workspace/1"\nname = "Y"', "has no database. Add a line"),
        (
            'format = "lungwort-workspace/1"\nname = "Y"\ndatabase = "x"\ncreated = "y"',
            "cannot be read as a URL. Give 'sqlite'",
        ),
        (
            'format = "lungwort-workspace/1"\nname = "Y"\ndatabase = "mysql://u@h/d"\ncreated = ""',
            "has no created",
        ),
        (
            'format = "lungwort-workspace/1"\nname = "Y"\ndatabase = "mysql://u@h/d"\ncreated = "y"',
            "A database of 'mysql' is not supported",
        ),
    ],
)
def test_mistakes_in_the_description(sqlite_workspace: Workspace, text: str, said: str) -> None:
    """Each is named, with the file."""
    sqlite_workspace.close()
    path = sqlite_workspace.folder / FILE
    path.write_bytes(text.encode("utf-8", "surrogateescape"))

    with pytest.raises(WorkspaceError, match=said):
        open_workspace(sqlite_workspace.folder)


def test_a_missing_or_foreign_database(sqlite_workspace: Workspace, tmp_path: Path) -> None:
    """No new, empty database takes the place of one that is gone."""
    sqlite_workspace.close()
    path = sqlite_workspace.folder / DATABASE_FILE
    path.rename(tmp_path / "kept")

    with pytest.raises(WorkspaceError, match=r"register\.sqlite is missing\. Restore the newest"):
        open_workspace(sqlite_workspace.folder)
    assert not path.exists()
    path.write_bytes(b"This is a letter, and no database. " * 100)
    with pytest.raises(WorkspaceError, match="damaged or not a database"):
        open_workspace(sqlite_workspace.folder)
    path.write_bytes(b"")
    with pytest.raises(WorkspaceError, match="holds no record of lungwort's"):
        open_workspace(sqlite_workspace.folder)
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE holidays (day TEXT)")
    with pytest.raises(WorkspaceError, match="holds no record of lungwort's"):
        open_workspace(sqlite_workspace.folder)
    path.write_bytes((tmp_path / "kept").read_bytes()[:9000])
    with pytest.raises(LungwortError, match=r"damaged|refused"):
        open_workspace(sqlite_workspace.folder).register.all(Site)


def test_a_database_newer_than_the_program(workspace: Workspace) -> None:
    """It is not touched."""
    with workspace.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    workspace.close()

    for read_only in (True, False):
        with pytest.raises(WorkspaceError, match=r"made by a newer lungwort.*'9999'.*Nothing was"):
            open_workspace(workspace.folder, read_only=read_only)
    assert migrate.HEAD != "9999"


def test_files_are_kept_by_their_digest(sqlite_workspace: Workspace) -> None:
    """FIPS 180-2, appendix B.1: SHA-256 of 'abc' is ba7816bf … f20015ad."""
    known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

    assert sqlite_workspace.put_file(b"abc") == known
    assert sqlite_workspace.put_file(b"abc") == known

    assert sqlite_workspace.read_file(known) == b"abc"
    assert sqlite_workspace.file_path(known) == sqlite_workspace.folder / "files" / known
    assert [one.name for one in (sqlite_workspace.folder / "files").iterdir()] == [known]


def test_an_altered_or_missing_file_is_named(sqlite_workspace: Workspace) -> None:
    """And the same content taken in again mends it."""
    known = sqlite_workspace.put_file(b"abc")
    path = sqlite_workspace.file_path(known)
    path.write_bytes(b"abd")
    with pytest.raises(RegisterError, match=rf"{known} was altered: its SHA-256 is "):
        sqlite_workspace.read_file(known)
    sqlite_workspace.put_file(b"abc")
    assert sqlite_workspace.read_file(known) == b"abc"
    path.unlink()
    with pytest.raises(RegisterError, match=rf"{known} is missing\. Copy it from a backup"):
        sqlite_workspace.read_file(known)
    for odd in ("../../etc/passwd", known.upper(), known[:-1], ""):
        with pytest.raises(RegisterError, match="is no SHA-256 digest"):
            sqlite_workspace.read_file(odd)


def test_the_lock_may_be_nested_but_not_shared(sqlite_workspace: Workspace) -> None:
    """One process holds it at a time, one thread of it."""
    seen = []

    def other() -> None:
        with sqlite_workspace.lock():
            seen.append("other")

    with sqlite_workspace.lock(), sqlite_workspace.lock():
        thread = threading.Thread(target=other)
        thread.start()
        thread.join(0.2)
        assert seen == []
    thread.join(10)
    assert seen == ["other"]


def test_the_lock_holds_between_processes(sqlite_workspace: Workspace) -> None:
    """Whoever comes second waits, and is told if it takes too long; a dead holder holds nothing."""
    folder = sqlite_workspace.folder
    with (
        subprocess.Popen(
            [sys.executable, WORKER, "lock", folder], stdin=-1, stdout=-1, text=True
        ) as holder,
        open_workspace(folder, wait_seconds=0.1) as workspace,
    ):
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(RegisterError, match="Somebody else holds"), workspace.lock():
            pass
        holder.kill()
        holder.wait()
        with workspace.lock():
            pass


def test_a_head_that_a_crash_lost_is_added(workspace: Workspace, start_time: datetime) -> None:
    """Committed, but not in heads.txt: the next change makes up for it."""
    path = workspace.folder / "heads.txt"
    before = path.read_bytes()
    _add(workspace, "Yard", start_time)
    whole = path.read_bytes()

    for left in (before, before + b"2 0a1b", whole[:-1], b"1 0a"):
        path.write_bytes(left)
        _add(workspace, f"site {len(left)} {workspace.register.head().size}", start_time)
        sizes = [int(line.split()[0]) for line in path.read_text("ascii").splitlines()]
        now = workspace.register.head().size
        assert sizes[-2:] == [now - 1, now], left
        check_whole(workspace)
    path.unlink()
    _add(workspace, "Dock", start_time)
    check_whole(workspace)


def test_a_database_put_back_to_an_older_state_is_refused(
    sqlite_workspace: Workspace, start_time: datetime
) -> None:
    """It is without fault in itself; heads.txt knows better."""
    folder = sqlite_workspace.folder
    sqlite_workspace.close()
    older = (folder / DATABASE_FILE).read_bytes()
    with open_workspace(folder) as workspace:
        _add(workspace, "Yard", start_time)
    (folder / DATABASE_FILE).write_bytes(older)
    kept = (folder / "heads.txt").read_bytes()

    with (
        open_workspace(folder) as workspace,
        pytest.raises(
            RegisterError, match=r"holds 1 entries, and heads.txt knows of 2.*older state"
        ),
    ):
        _add(workspace, "Quay", start_time)
    assert (folder / "heads.txt").read_bytes() == kept


def test_another_record_than_heads_knows_is_refused(
    sqlite_workspace: Workspace, start_time: datetime
) -> None:
    """Same length, other entries."""
    path = sqlite_workspace.folder / "heads.txt"
    line = path.read_text("ascii").split()
    line[1] = hashlib.sha256(b"other").hexdigest()
    path.write_text(" ".join(line) + "\n", encoding="ascii")

    with pytest.raises(RegisterError, match=r"are not those that heads.txt knows"):
        _add(sqlite_workspace, "Yard", start_time)
    path.write_text("nonsense\n", encoding="ascii")
    with pytest.raises(WorkspaceError, match=r"last line of .* is no tree head"):
        _add(sqlite_workspace, "Yard", start_time)
    assert sqlite_workspace.register.head().size == 1


def test_a_head_that_cannot_be_written_is_said(
    sqlite_workspace: Workspace, start_time: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The record is made; whoever reads the message must not make it twice."""

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("lungwort.register.heads.Heads._write", refuse)
        with pytest.raises(WorkspaceError, match=r"was recorded, but not its head.*Do not repeat"):
            _add(sqlite_workspace, "Yard", start_time)
    assert sqlite_workspace.register.get(Site, "Yard").version == 1
    _add(sqlite_workspace, "Quay", start_time + timedelta(minutes=1))
    assert check_whole(sqlite_workspace) == 3


def test_a_closed_workspace_leaves_no_open_file(
    sqlite_workspace: Workspace, start_time: datetime
) -> None:
    """The write-ahead log is gone: the folder may be copied or removed."""
    _add(sqlite_workspace, "Yard", start_time)
    sqlite_workspace.close()

    names = {one.name for one in sqlite_workspace.folder.iterdir()}

    assert names == {FILE, DATABASE_FILE, "heads.txt", "heads.lock", "files"}
    with open_workspace(sqlite_workspace.folder, read_only=True) as again:
        assert check_whole(again) == 2
    assert {one.name for one in sqlite_workspace.folder.iterdir()} == names


def test_entries_read_as_json_elsewhere(sqlite_workspace: Workspace) -> None:
    """Anyone with a JSON reader can read what was hashed."""
    content = json.loads(sqlite_workspace.register.entry(1).content)

    assert content["format"] == "lungwort-journal/1"
    assert content["record"]["name"] == WENNA
    with pytest.raises(UnknownRecordError, match="There is no entry 2 in the journal"):
        sqlite_workspace.register.entry(2)
