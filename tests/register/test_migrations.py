"""The database's form: from the first step to the newest, on both databases."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from datetime import datetime
from importlib.resources import files
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from tests.register.invented import check_whole, one_of_each

from lungwort.errors import WorkspaceError
from lungwort.register import migrate
from lungwort.register.engine import reading, writing
from lungwort.register.model import KINDS, HandTest, Outlet, Person, Photo, Site, Supply
from lungwort.register.tables import Base
from lungwort.register.verify import verify
from lungwort.register.workspace import (
    DATABASE_FILE,
    Workspace,
    create_workspace,
    open_workspace,
)

WENNA = "Wenna Harkle"
SECOND = '''"""A later step, invented for a test."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Add a table and a column with many rows."""
    op.create_table("later", sa.Column("one", sa.Integer(), primary_key=True))
    for start in range(0, 60_000, 500):
        rows = ", ".join(f"({one})" for one in range(start, start + 500))
        op.execute(f"INSERT INTO later (one) VALUES {rows}")
    op.add_column("site", sa.Column("colour", sa.Text(), nullable=True))
    if FAILS:
        raise OSError(28, "No space left on device")


FAILS = False
'''


@pytest.fixture
def later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Let there be a second step, as a later lungwort has one; give its file."""
    folder = write_later(tmp_path)
    monkeypatch.setattr(migrate, "STEPS", folder)
    return folder / "versions" / "r0005_later.py"


def write_later(folder: Path) -> Path:
    """Copy the steps and add one."""
    target = folder / "migrations"
    with_own = shutil.ignore_patterns("__pycache__")
    shutil.copytree(str(files("lungwort.register") / "migrations"), target, ignore=with_own)
    (target / "versions" / "r0005_later.py").write_text(SECOND, encoding="utf-8")
    return target


def _fill(workspace: Workspace, start_time: datetime) -> None:
    with workspace.register.change(who=WENNA, now=start_time) as change:
        one_of_each(change)


def _forms(workspace: Workspace) -> tuple[str | None, bool]:
    with reading(workspace.engine) as connection:
        return migrate.form(connection), sa.inspect(connection).has_table("later")


def test_the_newest_step_is_the_one_that_is_named() -> None:
    """The program looks at the name alone, so that opening is quick."""
    steps = ScriptDirectory(str(files("lungwort.register") / "migrations"))

    assert steps.get_heads() == [migrate.HEAD]
    assert [one.revision for one in steps.walk_revisions()][-1] == "0001"
    assert "0001" in migrate.known_forms()


def test_all_steps_lead_to_the_tables_of_the_program(workspace: Workspace) -> None:
    """Alembic finds no difference between what the steps made and what the models say."""
    with workspace.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []
        found = sa.inspect(connection)
        assert set(found.get_table_names()) == {"alembic_version", "things", "journal", *KINDS}
        for table in Base.metadata.sorted_tables:
            keys = {one["constrained_columns"][0] for one in found.get_foreign_keys(table.name)}
            assert keys == {one.parent.name for one in table.foreign_keys}, table.name
            unique = [one["column_names"] for one in found.get_unique_constraints(table.name)]
            assert unique == ([] if table.name == "things" else [["id", "version"]]), table.name


def test_a_record_of_the_first_form_stays_whole_when_photos_come(
    database: str, tmp_path: Path, start_time: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The table is added, the record verifies as before, and a photo can be recorded."""
    with monkeypatch.context() as older:
        older.setattr(migrate, "HEAD", "0001")
        with create_workspace(
            tmp_path / "old", name="Merrowgate", person=WENNA, now=start_time, database=database
        ) as made:
            with made.register.change(who=WENNA, now=start_time) as change:
                site = change.add(Site(name="slipway"))
                supply = change.add(Supply(site_id=site.id, name="yard", kind="airline_compressor"))
                outlet = change.add(Outlet(supply_id=supply.id, name="hose-1"))
                test = change.add(
                    HandTest(
                        outlet_id=outlet.id,
                        procedure="invented",
                        procedure_sha256=made.put_file(b"invented"),
                        state="aborted",
                        started=start_time,
                        ended=start_time,
                        tester_id=change.get(Person, WENNA).id,
                    )
                )
            head = made.register.head()
            with reading(made.engine) as connection:
                assert not sa.inspect(connection).has_table("photo")
    with open_workspace(made.folder) as again:
        assert _forms(again) == (migrate.HEAD, False)
        assert again.register.head() == head
        assert verify(again).problems == ()
        with again.register.change(who=WENNA, now=start_time) as change:
            change.add(
                Photo(
                    hand_test_id=test.id,
                    name="rows.png",
                    media_type="image/png",
                    photo_sha256=again.put_file(b"invented too"),
                    size_bytes=12,
                    time=start_time,
                    by_id=change.get(Person, WENNA).id,
                )
            )
        assert verify(again).problems == ()


def test_from_each_step_to_the_newest_with_a_record(
    workspace: Workspace, start_time: datetime, later: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A record made under the first form is whole under a later one."""
    assert later.is_file()
    _fill(workspace, start_time)
    head = workspace.register.head()
    workspace.close()
    monkeypatch.setattr(migrate, "HEAD", "0005")

    with pytest.raises(
        WorkspaceError, match=r"older lungwort \(form '0004'\).*Bring it up to date"
    ):
        open_workspace(workspace.folder, read_only=True)
    with open_workspace(workspace.folder) as again:
        assert _forms(again) == ("0005", True)
        assert again.register.head() == head
        assert check_whole(again) == len(KINDS)
    with open_workspace(workspace.folder) as again, again.engine.connect() as connection:
        assert connection.execute(sa.text("SELECT count(*) FROM later")).scalar_one() == 60_000


def test_before_a_step_sqlite_is_copied(
    sqlite_workspace: Workspace, start_time: datetime, later: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The copy is the database as it was, and opens with the older program."""
    assert later.is_file()
    _fill(sqlite_workspace, start_time)
    head = sqlite_workspace.register.head()
    sqlite_workspace.close()
    folder = sqlite_workspace.folder
    with monkeypatch.context() as newer:
        newer.setattr(migrate, "HEAD", "0005")
        open_workspace(folder).close()

    copies = [one.name for one in folder.iterdir() if "before" in one.name]
    assert copies == ["register-before-0005-from-0004.sqlite"]
    (folder / DATABASE_FILE).unlink()
    (folder / copies[0]).rename(folder / DATABASE_FILE)
    with open_workspace(folder) as again:
        assert _forms(again) == ("0004", False)
        assert again.register.head() == head
        assert check_whole(again) == len(KINDS)


def test_a_step_that_fails_changes_nothing(
    workspace: Workspace, start_time: datetime, later: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All steps are one transaction, tables included; afterwards it may be tried again."""
    _fill(workspace, start_time)
    workspace.close()
    text = later.read_text(encoding="utf-8")
    later.write_text(text.replace("FAILS = False", "FAILS = True"), encoding="utf-8")
    with monkeypatch.context() as newer:
        newer.setattr(migrate, "HEAD", "0005")
        with pytest.raises(OSError, match="No space left"):
            open_workspace(workspace.folder)

    with open_workspace(workspace.folder) as again:
        assert _forms(again) == ("0004", False)
        assert check_whole(again) == len(KINDS)
    later.write_text(text.replace("r0005", "r0005 "), encoding="utf-8")
    monkeypatch.setattr(migrate, "HEAD", "0005")
    with open_workspace(workspace.folder) as again:
        assert _forms(again) == ("0005", True)


def test_two_who_open_at_once_do_it_once(
    workspace: Workspace, later: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second finds it done."""
    assert later.is_file()
    monkeypatch.setattr(migrate, "HEAD", "0005")
    with writing(workspace.engine) as connection:
        migrate.upgrade(connection)

    with open_workspace(workspace.folder) as again:
        assert _forms(again) == ("0005", True)
    with writing(workspace.engine) as connection:
        migrate.upgrade(connection)


def test_a_database_without_its_form_is_refused(sqlite_workspace: Workspace) -> None:
    """Tables alone do not make a record of lungwort's."""
    sqlite_workspace.close()
    with closing(sqlite3.connect(sqlite_workspace.folder / DATABASE_FILE)) as connection:
        connection.execute("DELETE FROM alembic_version")
        connection.commit()

    with pytest.raises(WorkspaceError, match="holds no record of lungwort's"):
        open_workspace(sqlite_workspace.folder)


def test_no_step_is_taken_back() -> None:
    """A record is never made into an older one."""
    steps = ScriptDirectory(str(files("lungwort.register") / "migrations"))

    for step in steps.walk_revisions():
        with pytest.raises(NotImplementedError, match="not taken back"):
            step.module.downgrade()
