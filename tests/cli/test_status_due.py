"""``lungwort status`` and ``lungwort due`` as a user meets them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from attrs import evolve

from lungwort.register.workspace import create_workspace

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.plan import build_yard as yard


def run(*words: str, folder: Path, columns: int = 100) -> subprocess.CompletedProcess[str]:
    """Run lungwort in a process of its own, in a folder."""
    environment = {**os.environ, "COLUMNS": str(columns), "PYTHONIOENCODING": "cp1252"}
    environment.pop("LUNGWORT_WORKSPACE", None)
    return subprocess.run(
        [sys.executable, "-m", "lungwort", *words],
        check=False,
        capture_output=True,
        cwd=folder,
        env=environment,
        encoding="utf-8",
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a workspace with three supplies: one conforms, one does not, one is withdrawn."""
    now = datetime.now(UTC) - timedelta(minutes=1)
    made = tmp_path_factory.mktemp("status") / "slip"
    with create_workspace(made, name="slip", person="Wenna Harkle", now=now) as workspace:
        register = workspace.register
        with register.change(who="Wenna Harkle", now=now) as change:
            who = change.who.id
            site = change.add(evolve(yard.SITE, id="", seq=0))
            for name in ("clean", "foul", "gone"):
                supply = change.add(evolve(yard.SUPPLY, id="", seq=0, site_id=site.id, name=name))
                outlet = change.add(
                    evolve(yard.OUTLET, id="", seq=0, supply_id=supply.id, name=f"{name}-1")
                )
                build = yard.failing if name == "foul" else yard.verdict
                verdict = build(now - timedelta(days=2), "", outlet=outlet.id)
                change.add(evolve(verdict, id="", version=0, seq=0, supply_id=supply.id, by_id=who))
                state = "withdrawn" if name == "gone" else "in_service"
                change.add(
                    evolve(
                        yard.state(state, now - timedelta(days=1), why="invented"),
                        id="",
                        version=0,
                        supply_id=supply.id,
                        by_id=who,
                    )
                )
    return made


def test_all_on_one_screen(folder: Path) -> None:
    """State and verdict in words, never by colour alone; the worst in service decides."""
    done = run("status", folder=folder)

    assert done.returncode == 1
    assert done.stderr == ""
    assert "● CONFORMS" in done.stdout
    assert "✕ DOES NOT CONFORM" in done.stdout
    assert "■ WITHDRAWN since" in done.stdout
    assert "● CONFORMS, by its evidence alone; not to be breathed until it is" in done.stdout
    assert "▶ in service since" in done.stdout
    assert "Carbon monoxide: the newest evidence" in done.stdout
    assert "\x1b" not in done.stdout


@pytest.mark.parametrize(("supply", "code"), [("clean", 0), ("foul", 1), ("gone", 3)])
def test_one_supply(folder: Path, supply: str, code: int) -> None:
    """With all its evidence, and the exit code of it alone."""
    done = run("status", "--supply", supply, "--site", "yard", folder=folder)

    assert done.returncode == code
    assert "stale on" in done.stdout
    assert done.stdout.count(f"{supply}-1") >= len(yard.KEYS)


def test_json_is_one_document(folder: Path) -> None:
    """And nothing else on the stream."""
    done = run("status", "--json", folder=folder)
    found = json.loads(done.stdout)

    assert done.returncode == found["exit_code"] == 1
    assert {row["supply"]: row["verdict"] for row in found["supplies"]} == {
        "clean": "conforms",
        "foul": "does_not_conform",
        "gone": "conforms",
    }
    due = run("due", "--json", folder=folder)
    assert due.returncode == json.loads(due.stdout)["exit_code"] == 3


def test_narrow_screen(folder: Path) -> None:
    """Nothing is cut off at sixty columns."""
    done = run("status", folder=folder, columns=60)

    assert "DOES NOT CONFORM" in done.stdout
    assert all(len(line) <= 60 for line in done.stdout.splitlines())


def test_due_and_its_calendar(folder: Path, tmp_path: Path) -> None:
    """What was never done is late; the calendar file is written."""
    ics = tmp_path / "due.ics"
    done = run(
        "due", "--within", "60d", "--ics", str(ics), "--workspace", str(folder), folder=tmp_path
    )

    assert done.returncode == 3
    assert "○ NEVER DONE  clean-1: test by hand" in done.stdout
    assert "✕ OVERDUE" in done.stdout  # the retest of what did not conform
    assert "Supply gone is withdrawn" in done.stdout
    assert ics.read_bytes().startswith(b"BEGIN:VCALENDAR")
    assert str(ics.name) in done.stdout.replace("\n", "")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("due", "--within", "soon"), "--within 'soon' is no length of time in days"),
        (("due", "--ics", "none/due.ics"), "does not exist"),
        (("status", "--supply", "claen"), "clean"),
        (("status", "--site", "nowhere"), "nowhere"),
    ],
)
def test_mistakes_get_a_message(folder: Path, words: tuple[str, ...], message: str) -> None:
    """Exit code 2, one message, no traceback, nothing on the result's stream."""
    done = run(*words, folder=folder)

    assert done.returncode == 2
    assert message in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize("command", ["status", "due"])
def test_without_a_workspace(tmp_path: Path, command: str) -> None:
    """It says how to name one."""
    done = run(command, folder=tmp_path)

    assert done.returncode == 2
    assert "--workspace DIR" in done.stderr


def test_nothing_is_due(tmp_path: Path) -> None:
    """An empty record: nothing is due, and that no test is planned is said."""
    now = datetime.now(UTC)
    create_workspace(tmp_path / "new", name="new", person="Wenna Harkle", now=now).close()
    done = run("due", folder=tmp_path / "new")

    assert done.returncode == 0
    assert done.stdout.startswith("Nothing is due.")
    assert "no test of air is planned" in done.stdout
