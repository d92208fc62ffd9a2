"""The commands in the tutorials do what the tutorials say."""

from __future__ import annotations

import contextlib
import doctest
import functools
import io
import os
import re
import shlex
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from lungwort.cli import things
from lungwort.cli.main import run

ROOT = Path(__file__).resolve().parent.parent
PAGES = ("docs/tutorial/first-verdict.md", "docs/tutorial/keep-the-record.md")
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
# A comment in a page sets the clock, unpacks an archive, or names the file that the block below is.
NOTE = re.compile(r"^<!-- (?P<command>(?:clock|unpack) .*) -->$", re.MULTILINE)
FILE = re.compile(
    r"^<!-- (?P<command>file [\w.-]+) -->\n+```\w*\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL
)
BLOCK = re.compile(r"^```console\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL)
WIDTH = 100


def _steps(page: str) -> list[tuple[str, str]]:
    """Give each command of a page with the output printed under it, and files to write before."""
    found = [(one.start(), one["command"], one["text"]) for one in FILE.finditer(page)]
    found += [(one.start(), one["command"], "") for one in NOTE.finditer(page)]
    for block in BLOCK.finditer(page):
        for number, part in enumerate(re.split(r"^\$ ", block["text"], flags=re.MULTILINE)[1:]):
            command, _, output = part.partition("\n")
            found.append((block.start() + number, command, output))
    return [(command, output) for _, command, output in sorted(found, key=lambda one: one[0])]


def _python(words: list[str], folder: Path, environment: dict[str, str]) -> str:
    """Run a script with the standard library alone, as an inspector would."""
    done = subprocess.run(
        [sys.executable, "-I", "-S", *words],
        cwd=folder,
        env=environment,
        check=False,
        capture_output=True,
        stdin=subprocess.DEVNULL,
        encoding="utf-8",
    )
    return done.stdout + done.stderr


def _lungwort(words: list[str]) -> str:
    """Run the command in this process, so that its clock can be set."""
    text = io.StringIO()
    with (
        contextlib.redirect_stdout(text),
        contextlib.redirect_stderr(text),
        contextlib.suppress(SystemExit),
        pytest.MonkeyPatch.context() as patch,
    ):
        patch.setattr(sys, "argv", ["lungwort", *words])
        patch.setattr(sys, "stdin", io.StringIO())
        run()
    return text.getvalue()


@pytest.mark.parametrize("name", PAGES)
def test_the_commands_of_a_tutorial_say_what_it_says(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every console block runs, in order; '...' stands for any text."""
    for key in [key for key in os.environ if key.startswith("LUNGWORT_")]:
        monkeypatch.delenv(key)
    monkeypatch.setenv("COLUMNS", str(WIDTH))
    monkeypatch.chdir(tmp_path)
    steps = _steps((ROOT / name).read_text(encoding="utf-8"))

    assert steps
    for command, expected in steps:
        word, _, rest = command.partition(" ")
        if word == "clock":
            day, clock, zone = rest.split()
            moment = datetime.fromisoformat(f"{day} {clock}").replace(tzinfo=ZoneInfo(zone))
            monkeypatch.setattr(things, "now", functools.partial(moment.astimezone, UTC))
        elif word == "file":
            Path(rest).write_text(expected, encoding="utf-8")
        elif word == "unpack":
            shutil.unpack_archive(*rest.split())
        elif word == "cd":
            monkeypatch.chdir(rest)
        elif word == "export":
            key, _, value = shlex.split(rest)[0].partition("=")
            monkeypatch.setenv(key, value)
        else:
            words = shlex.split(rest)
            output = (
                _lungwort(words)
                if word == "lungwort"
                else _python(words, Path.cwd(), dict(os.environ))
            )
            assert doctest.OutputChecker().check_output(expected, output, FLAGS), (
                f"{name}: $ {command}\n--- expected\n{expected}\n--- got\n{output}"
            )
