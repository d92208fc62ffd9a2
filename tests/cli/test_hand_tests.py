"""``lungwort test`` as somebody types it, driven through a pipe, with a clock of the test's own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from tests.spot.hand_test_kit import FULL
from typer.testing import CliRunner, Result

from lungwort.cli import test as face
from lungwort.cli import things
from lungwort.cli.main import app
from lungwort.errors import LungwortError
from lungwort.jobs import _hand_test_files as files
from lungwort.jobs import hand_test as job
from lungwort.register.workspace import Workspace, open_workspace
from lungwort.spot import runner

BEGIN = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)


class Clock:
    """A clock that moves when somebody waits, and a little with every look."""

    def __init__(self) -> None:
        self.now = BEGIN
        self.slept = 0.0

    def look(self) -> datetime:
        """Tell the time."""
        self.now += timedelta(milliseconds=10)
        return self.now

    def sleep(self, seconds: float) -> None:
        """Let time pass [s]."""
        self.slept += seconds
        self.now += timedelta(seconds=seconds)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Put a clock of the test's own in the place of the computer's."""
    made = Clock()
    monkeypatch.setattr(things, "now", made.look)
    monkeypatch.setattr(face, "_sleep", made.sleep)
    monkeypatch.setenv("COLUMNS", "200")
    return made


@pytest.fixture
def yard(sqlite_workspace: Workspace, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Set up an invented yard by the commands themselves."""
    monkeypatch.setenv("LUNGWORT_WORKSPACE", str(sqlite_workspace.folder))
    monkeypatch.setenv("LUNGWORT_BY", "Wenna Harkle")
    for command in (
        ["person", "add", "Idris Pellow", "--competent-until", "2027-12-31"],
        ["site", "add", "slipway", "--zone", "Europe/London"],
        ["supply", "add", "yard", "--site", "slipway", "--kind", "airline-compressor"],
        ["outlet", "add", "hose-1", "--supply", "yard"],
        ["instrument", "add", "logger-A"],
        [
            "lot",
            "add",
            "ind-1",
            "--kind",
            "oil-indicator",
            "--expires",
            "2026-12-31",
            "--stock",
            "5",
        ],
    ):
        run(*command)
    monkeypatch.setenv("LUNGWORT_BY", "Idris Pellow")
    assert clock.slept == 0
    return sqlite_workspace.folder


def run(*command: str, typed: str = "", code: int = 0) -> Result:
    """Run a command and hold it to its exit code."""
    result = CliRunner().invoke(app, list(command), input=typed)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == code, result.output
    return result


def typed(until: str = "", **changed: str) -> str:
    """Write what is typed for a full test; a wait is begun by Enter and ends by itself."""
    lines = []
    for name, usual, _ in FULL:
        if name == until:
            break
        given = changed.get(name.replace("-", "_"), usual)
        if given != "end":
            lines.append("" if given == "begin" else given.replace("logger a", "logger-A"))
    return "\n".join(lines) + "\n"


def test_a_test_through_a_pipe(yard: Path, clock: Clock) -> None:
    """From start to record: cautions first, 1 min and 5 min waited, readings at the end."""
    said = run("test", "start", "hose-1", typed=typed()).output
    assert said.index("not to be breathed during the test") < said.index("Which instrument")
    assert "instructions of the instrument" in said
    assert "Times and ranges: common practice, no source" in said
    assert 359 < clock.slept < 361
    assert "is on record: done" in said
    assert "oil=indicator: nothing seen" in said
    assert "no verdict yet" in said
    listed = json.loads(run("test", "list", "--json").output)
    assert [one["state"] for one in listed["tests"]] == ["done"]
    assert listed["under_way"] == []
    shown = json.loads(run("test", "show", listed["tests"][0]["id"], "--json").output)
    assert "odour=none" in [one["text"] for one in shown["readings"]]
    assert shown["procedure"] == "full-outlet-test"
    assert yard.exists()


def test_left_and_gone_on_with(yard: Path, clock: Clock) -> None:
    """The end of what is typed leaves it; 'resume' goes on at the same step."""
    said = run("test", "start", "hose-1", typed=typed("seal"), code=3).output
    assert "Go on with: lungwort test resume open-" in said
    assert "under way" in run("test", "list").output
    rest = typed()[len(typed("seal")) :]
    clock.now += timedelta(hours=1)
    said = run("test", "resume", typed=rest).output
    assert "gone on with as open-" in said
    assert "is on record: done" in said
    assert list((yard / "open-tests").iterdir()) == []


def test_ctrl_c_while_the_time_counts_down(
    yard: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is told how to go on, and the time goes on by the clock."""

    def pressed(seconds: float) -> None:
        clock.sleep(min(seconds, 20))
        raise KeyboardInterrupt

    monkeypatch.setattr(face, "_sleep", pressed)
    said = run("test", "start", "hose-1", typed=typed(), code=130).output
    assert "Waiting times go on by the clock" in said
    assert "nothing was written" not in said
    monkeypatch.setattr(face, "_sleep", clock.sleep)
    clock.now += timedelta(seconds=10)
    clock.slept = 0
    rest = typed()[len(typed("indicator-lot")) :]
    run("test", "resume", typed=rest)
    assert 329 < clock.slept < 331  # 30 s of the minute were left, and 5 min of the sample
    assert yard.exists()


def test_a_wait_that_is_ended_by_hand_voids(yard: Path, clock: Clock) -> None:
    """'--end-wait' is recorded as cut short; the void test leaves with 3."""
    run("test", "start", "hose-1", typed=typed("purging"), code=3)
    test = json.loads(run("test", "list", "--json").output)["under_way"][0]["id"]
    job.enter(things.session(yard, None, clock_is_right=False), test, "purging", "begin")
    said = run("test", "resume", test, "--end-wait", typed="void\n", code=3).output
    assert "cut short after" in said
    assert "is on record: void" in said
    assert clock.slept == 0


def test_a_void_test_may_be_put_right_at_once(yard: Path, clock: Clock) -> None:
    """A slip of the finger: !amend asks what, and why."""
    text = typed("indicator-flow", seal="broken") + "seal\n"
    text += "!amend seal\nintact\ntyped wrongly\n!stop\n"
    said = run("test", "start", "hose-1", typed=text, code=3).output
    assert "The test is void:" in said
    assert said.index("The flow through the indicator") > said.index("The test is void:")
    test = json.loads(run("test", "list", "--json").output)["under_way"][0]
    assert (test["void"], test["next"]) == ([], "indicator-flow")
    assert [one["why"] for one in test["entries"] if one["name"] == "seal"] == ["", "typed wrongly"]
    assert yard.exists()
    assert clock.slept > 0


def test_what_is_not_understood_is_asked_again(yard: Path, clock: Clock) -> None:
    """A message, no traceback, the same question."""
    text = typed("line-pressure") + "seven\n12\n7\n!stop\n"
    said = run("test", "start", "hose-1", typed=text, code=3).output
    assert "'seven' is no number" in said
    assert "Not accepted: 12 bar(g) is above 10 bar(g)" in said
    assert "Connected, tight" in said
    assert yard.exists()
    assert clock.slept == 0


def test_given_up(yard: Path, clock: Clock) -> None:
    """By a word in the test, and by the command."""
    said = run("test", "start", "hose-1", typed="!abort compressor tripped\n", code=3).output
    assert "is on record: aborted. compressor tripped" in said
    run("test", "start", "hose-1", typed="", code=3)
    with pytest.raises(LungwortError, match="--reason"):
        run("test", "abort")
    assert "aborted" in run("test", "abort", "--reason", "rain").output
    states = [one["state"] for one in json.loads(run("test", "list", "--json").output)["tests"]]
    assert states == ["aborted", "aborted"]
    assert yard.exists()
    assert clock.slept == 0


def test_amend_and_void_on_record(yard: Path, clock: Clock) -> None:
    """New versions, with reasons."""
    at = things.session(yard, "Idris Pellow", clock_is_right=False)
    under_way = job.start(at, "hose-1").run
    for name, given, seconds in FULL:
        clock.now += timedelta(seconds=seconds)
        said = given.replace("logger a", "logger-A")
        under_way = runner.enter(under_way, name, said, clock.now)
    with open_workspace(yard) as workspace:
        files.save(workspace, under_way)
    run("test", "resume")
    test = json.loads(run("test", "list", "--json").output)["tests"][0]["id"]
    with pytest.raises(LungwortError, match="--reason"):
        run("test", "amend", test, "co", "4")
    said = run("test", "amend", test, "co", "4", "--reason", "misread").output
    assert "co=4 ppm" in said
    assert "Verdicts that were drawn from it before" in said
    assert "is on record: void" in run("test", "void", test, "--reason", "old indicator").output
    assert json.loads(run("test", "show", test, "--json").output)["readings"] == []


def test_forms_and_procedures(yard: Path, clock: Clock, tmp_path: Path) -> None:
    """Printed, filled in, recorded; listed and shown, also without a workspace's own."""
    form = run("test", "form", "full-outlet-test").output
    assert form.startswith("# Full test of an airline outlet\n# CAUTION: Air that is not proven")
    listed = json.loads(run("test", "procedures", "list", "--json").output)
    assert {one["id"] for one in listed["procedures"]} == {
        "charging-outlet-test",
        "full-outlet-test",
        "tube-test",
    }
    assert "common practice, no source" in run("test", "procedures", "show", "tube-test").output
    assert json.loads(run("test", "procedures", "show", "tube-test", "--json").output)["steps"]
    file = tmp_path / "paper.toml"
    file.write_text(
        'format = 1\nprocedure = "full-outlet-test"\noutlet = "hose-1"\nstarted = "2026-03-02 09:00"\n'
        'aborted = "rain"\n[[entry]]\nname = "instrument"\ngiven = "logger-A"\ntime = "09:01"\n',
        encoding="utf-8",
    )
    assert "aborted. rain" in run("test", "from-file", str(file), code=3).output
    assert yard.exists()
    assert clock.slept == 0


def test_killed_while_the_time_counts_down(yard: Path, tmp_path: Path) -> None:
    """A process that is killed leaves the test at the same step, with its time going on."""
    said = tmp_path / "said.txt"
    with said.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "lungwort", "test", "start", "hose-1"],
            stdin=subprocess.PIPE,
            stdout=out,
            stderr=subprocess.STDOUT,
            env={**os.environ, "LUNGWORT_WORKSPACE": str(yard), "LUNGWORT_BY": "Idris Pellow"},
        )
        assert process.stdin is not None
        process.stdin.write((typed("purging") + "\n").encode())
        process.stdin.flush()
        until = time.monotonic() + 60
        while b"left." not in said.read_bytes():
            assert process.poll() is None, said.read_text(encoding="utf-8")
            assert time.monotonic() < until, said.read_text(encoding="utf-8")
            time.sleep(0.05)
        process.kill()
        process.wait()
        process.stdin.close()
    found = job.stand(things.where(yard), None, now=datetime.now(UTC))
    assert found.ask is not None
    assert found.ask.name == "purging"
    assert found.wait_left_s is not None
    assert 0 < found.wait_left_s <= 60
    later = datetime.now(UTC) + timedelta(minutes=2)
    assert job.left_s(found, later) == 0


@pytest.mark.parametrize(
    "command",
    ["start", "resume", "abort", "from-file", "form", "list", "show", "amend", "void"],
)
def test_every_command_has_a_help_with_an_example(command: str) -> None:
    """And every option says what it does."""
    said = run("test", command, "--help").output
    assert "Example: lungwort test" in said
