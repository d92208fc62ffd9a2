"""``lungwort workspace`` as a user meets it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from lungwort.cli import things
from lungwort.cli.main import app
from lungwort.errors import LungwortError
from lungwort.register.model import Person
from lungwort.register.workspace import Workspace, create_workspace, open_workspace

Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Give a way to run commands in an empty folder, without settings from outside."""
    for name in ("LUNGWORT_WORKSPACE", "LUNGWORT_BY", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)

    def call(*words: str | Path, fails: str = "") -> Result:
        result = CliRunner().invoke(app, [str(word) for word in words])
        if fails:
            assert isinstance(result.exception, LungwortError), result.output
            assert fails in " ".join(str(result.exception).split())
        else:
            assert result.exit_code == 0, result.output + repr(result.exception)
        return result

    return call


CREATE = ("workspace", "create", "slip", "--name", "Merrowgate Slipway", "--person", "Wenna Harkle")


def process(*words: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run lungwort in a process of its own."""
    environment = {name: value for name, value in os.environ.items() if "LUNGWORT" not in name}
    return subprocess.run(
        [sys.executable, "-m", "lungwort", *words],
        check=False,
        capture_output=True,
        cwd=cwd,
        env={**environment, "PYTHONIOENCODING": "cp1252"},
        encoding="utf-8",
    )


def test_a_workspace_is_made_and_shown(run: Run, tmp_path: Path) -> None:
    """One sentence, and what to do next; the folder is then found from within."""
    made = run(*CREATE)
    assert "Workspace Merrowgate Slipway is made in" in made.output
    assert "Wenna Harkle answers for it" in made.output
    assert "Next: cd" in made.output
    assert "lungwort site add NAME" in made.output
    with open_workspace(tmp_path / "slip") as workspace:
        assert [one.name for one in workspace.register.all(Person)] == ["Wenna Harkle"]

    os.chdir(tmp_path / "slip")
    shown = run("workspace", "show").output
    assert "Merrowgate Slipway" in shown
    assert "SQLite, in the folder" in shown
    assert "1 entry" in shown
    assert "Next: lungwort site add" in shown


def test_json_is_one_document(run: Run) -> None:
    """--json gives what is shown, and nothing else."""
    run(*CREATE)
    found = json.loads(run("workspace", "show", "--workspace", "slip", "--json").stdout)
    assert found["name"] == "Merrowgate Slipway"
    assert found["journal"]["size"] == 1
    assert len(found["journal"]["root"]) == 64
    assert found["records"] == {"person": 1}
    assert found["persons"] == ["Wenna Harkle"]


def test_the_environment_names_the_workspace(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """LUNGWORT_WORKSPACE serves where --workspace is not given."""
    run(*CREATE)
    run("workspace", "show", fails="lungwort workspace create")
    monkeypatch.setenv("LUNGWORT_WORKSPACE", "slip")
    assert "Merrowgate Slipway" in run("workspace", "show").output


def test_a_folder_that_is_not_empty_is_refused(run: Run, tmp_path: Path) -> None:
    """Neither a workspace nor anything else is overwritten."""
    run(*CREATE)
    run(*CREATE, fails="is a workspace already")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "thesis.txt").write_text("x", encoding="utf-8")
    run(
        "workspace",
        "create",
        "full",
        "--name",
        "x",
        "--person",
        "Wenna",
        fails="not an empty folder",
    )
    assert [one.name for one in (tmp_path / "full").iterdir()] == ["thesis.txt"]


@pytest.mark.parametrize(
    ("name", "person", "message"),
    [
        (" ", "Wenna Harkle", "--name is missing or empty"),
        ("Slipway", "", "--person '' has no letter in it"),
        ("Slipway", "Wenna=Harkle", "--person 'Wenna=Harkle' has '='"),
        ("a\x07b", "Wenna Harkle", "control characters"),
    ],
)
def test_names_are_checked_before_anything_is_made(
    run: Run, tmp_path: Path, name: str, person: str, message: str
) -> None:
    """Nothing is left behind."""
    run("workspace", "create", "slip", "--name", name, "--person", person, fails=message)
    assert not (tmp_path / "slip").exists()


def test_backup_and_restore_are_one_command_each(run: Run, tmp_path: Path) -> None:
    """What was in the workspace is in the one brought back; neither overwrites anything."""
    run(*CREATE)
    run("site", "add", "yard", "--workspace", "slip", "--zone", "Europe/London")
    saved = run("workspace", "backup", "--workspace", "slip", "--to", "slip.zip")
    assert "Written: " in saved.output
    run("workspace", "backup", "--workspace", "slip", "--to", "slip.zip", fails="there already")
    back = run("workspace", "restore", "slip.zip", "--to", "again")
    assert "restored to" in back.output
    assert "2 entries in its journal" in back.output
    run("workspace", "restore", "slip.zip", "--to", "again", fails="not an empty folder")
    heads = [
        json.loads(run("workspace", "show", "--workspace", one, "--json").stdout)["journal"]
        for one in ("slip", "again")
    ]
    assert heads[0] == heads[1]
    run("workspace", "restore", "none.zip", "--to", "third", fails="none.zip")
    (tmp_path / "bad.zip").write_bytes((tmp_path / "slip.zip").read_bytes()[:-200])
    run("workspace", "restore", "bad.zip", "--to", "third", fails="bad.zip")
    assert not (tmp_path / "third").exists()


def test_upgrade_of_a_workspace_that_is_up_to_date_changes_nothing(run: Run) -> None:
    """It says so and leaves the journal alone."""
    run(*CREATE)
    done = run("workspace", "upgrade", "--workspace", "slip")
    assert "has the form of this lungwort, with 1 entry" in done.output


def test_workspace_on_a_server(
    run: Run, postgresql: str, tmp_path: Path, start_time: datetime
) -> None:
    """--database keeps the record on a PostgreSQL server; show names it."""
    run(*CREATE, "--database", postgresql)
    found = json.loads(run("workspace", "show", "--workspace", "slip", "--json").stdout)
    assert found["database"].startswith("postgresql")
    assert "PostgreSQL, " in run("workspace", "show", "--workspace", "slip").output
    run("site", "add", "yard", "--workspace", "slip", "--zone", "Europe/London")
    assert "yard" in run("site", "list", "--workspace", "slip").output
    with pytest.raises(LungwortError, match="empty"):
        create_workspace(
            tmp_path / "other", name="x", person="W", now=start_time, database=postgresql
        )


def test_a_database_that_cannot_be_used_is_told(run: Run, tmp_path: Path) -> None:
    """A URL that is none, and a server that is not there."""
    run(*CREATE, "--database", "oracle://somewhere", fails="oracle")
    assert not (tmp_path / "slip" / "lungwort-workspace.toml").exists()


def test_a_clock_behind_the_record_is_told(
    run: Run, sqlite_workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Showing warns; recording is refused until --clock-is-right."""
    early = datetime.fromisoformat("2026-03-01T08:00:00+00:00")
    monkeypatch.setattr(things, "now", lambda: early)
    folder = str(sqlite_workspace.folder)
    assert (
        "ahead of this computer's clock" in run("workspace", "show", "--workspace", folder).output
    )
    words = ("site", "add", "yard", "--workspace", folder)
    run(*words, fails="give --clock-is-right")
    assert "Site yard is on record" in run(*words, "--clock-is-right").output


def test_in_a_process_of_its_own(tmp_path: Path) -> None:
    """Exit codes, streams and encoding as the shell sees them."""
    made = process(
        "workspace", "create", "hæfn", "--name", "Höfn ✓", "--person", "Ægir Þórsson", cwd=tmp_path
    )
    assert (made.returncode, made.stderr) == (0, "")
    assert "Ægir Þórsson answers for it" in made.stdout
    again = process("workspace", "create", "hæfn", "--name", "x", "--person", "Ægir", cwd=tmp_path)
    assert again.returncode == 2
    assert again.stdout == ""
    assert again.stderr.startswith("lungwort: ")
    assert again.stderr.rstrip().endswith(".")
    assert "Traceback" not in again.stderr
    added = process("site", "add", "höfn", "--zone", "Atlantic/Reykjavik", cwd=tmp_path / "hæfn")
    assert added.returncode == 0, added.stderr
    listed = process("site", "list", "--json", cwd=tmp_path / "hæfn" / "files")
    assert json.loads(listed.stdout)["sites"][0]["name"] == "höfn"


def test_help_loads_nothing_heavy(tmp_path: Path) -> None:
    """--help is instant: no database, data-frame engine or typesetter is loaded for it."""
    code = (
        "import sys; sys.argv = ['lungwort', '--help']\n"
        "from lungwort.cli.main import run\n"
        "try:\n    run()\nexcept SystemExit:\n    pass\n"
        "heavy = {'sqlalchemy', 'alembic', 'polars', 'pydantic', 'numpy', 'typst', 'rich.table'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)\n"
    )
    for words in (["--help"], ["supply", "--help"], ["supply", "add", "--help"]):
        done = subprocess.run(
            [sys.executable, "-c", code.replace("'--help'", ", ".join(map(repr, words)))],
            check=True,
            capture_output=True,
            cwd=tmp_path,
            encoding="utf-8",
        )
        assert "Usage" in done.stdout
        # The reader of options itself takes pydantic once a command is named; nothing else may.
        assert done.stderr.strip() in {"[]", "['pydantic']" if len(words) > 1 else "[]"}
