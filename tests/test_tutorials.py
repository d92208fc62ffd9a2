"""The commands in the tutorials do what the tutorials say."""

from __future__ import annotations

import doctest
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PAGES = ("docs/tutorial/first-verdict.md",)
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
TITLE = re.compile(
    r"^<!-- file: (?P<name>[\w.-]+) -->\n```\w*\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL
)
BLOCK = re.compile(r"^```console\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL)
WIDTH = 100


def _steps(page: str) -> list[tuple[str, str]]:
    """Give each command of a page with the output printed under it, and files to write before."""
    found = [(one.start(), "file " + one["name"], one["text"]) for one in TITLE.finditer(page)]
    for block in BLOCK.finditer(page):
        for number, part in enumerate(re.split(r"^\$ ", block["text"], flags=re.MULTILINE)[1:]):
            command, _, output = part.partition("\n")
            found.append((block.start() + number, command, output))
    return [(command, output) for _, command, output in sorted(found, key=lambda one: one[0])]


def _run(command: str, folder: Path, environment: dict[str, str]) -> str:
    words = shlex.split(command)
    while words and re.fullmatch(r"[A-Z_]+=.*", words[0]):
        name, _, value = words.pop(0).partition("=")
        environment = {**environment, name: value}
    program = {
        "lungwort": [sys.executable, "-m", "lungwort"],
        "python": [sys.executable, "-I", "-S"],
    }
    done = subprocess.run(
        [*program[words[0]], *words[1:]],
        cwd=folder,
        env=environment,
        check=False,
        capture_output=True,
        stdin=subprocess.DEVNULL,
        encoding="utf-8",
    )
    return done.stdout + done.stderr


@pytest.mark.parametrize("name", PAGES)
def test_the_commands_of_a_tutorial_say_what_it_says(name: str, tmp_path: Path) -> None:
    """Every console block runs, in order, in one folder; '...' stands for any text."""
    folder = tmp_path
    environment = {
        key: value for key, value in os.environ.items() if not key.startswith("LUNGWORT_")
    }
    environment |= {"COLUMNS": str(WIDTH), "PYTHONUTF8": "1"}
    steps = _steps((ROOT / name).read_text(encoding="utf-8"))

    assert steps
    for command, expected in steps:
        if command.startswith("file "):
            (folder / command.removeprefix("file ")).write_text(expected, encoding="utf-8")
        elif command.startswith("cd "):
            folder = (folder / command.removeprefix("cd ")).resolve()
        elif command.startswith("export "):
            key, _, value = shlex.split(command)[1].partition("=")
            environment[key] = value
        else:
            output = _run(command, folder, environment)
            assert doctest.OutputChecker().check_output(expected, output, FLAGS), (
                f"{name}: $ {command}\n--- expected\n{expected}\n--- got\n{output}"
            )
