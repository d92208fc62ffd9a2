"""The documentation says what the program does."""

from __future__ import annotations

import importlib.util
import re
import sys
from pathlib import Path
from typing import Any

import pytest
import typer

from lungwort.cli.main import app

ROOT = Path(__file__).resolve().parent.parent
PAGES = sorted([*ROOT.glob("docs/**/*.md"), *ROOT.glob("*.md")])


def _generator() -> Any:
    spec = importlib.util.spec_from_file_location(
        "generate_docs", ROOT / "tools" / "generate_docs.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["generate_docs"] = module
    spec.loader.exec_module(module)
    return module


def test_generated_pages_are_not_stale() -> None:
    """What tools/generate_docs.py would write now is what stands in docs/."""
    assert _generator().stale_pages() == {}


def test_a_stale_page_would_be_found(tmp_path: Path) -> None:
    """An empty folder is stale in every page."""
    assert set(_generator().stale_pages(tmp_path)) == set(_generator().PAGES)


COMMANDS = {
    *("judge", "inspect", "limits", "convert", "demo"),
    *("workspace", "site", "supply", "outlet", "instrument", "person", "lot"),
    *("test", "import", "certify", "status", "due", "finding", "withdraw", "return"),
    *("print", "pack", "verify"),
    *("plant", "exposure", "cause", "trend", "uncertainty"),
    *("serve", "account"),
}


def _commands() -> dict[str, Any]:
    return dict(_generator().walk(typer.main.get_command(app)))


def test_the_commands_are_the_ones_that_are_meant() -> None:
    """No command is lost, and none is added without a word in the documentation."""
    assert {name for name in _commands() if " " not in name} == COMMANDS


def test_every_command_is_documented_with_help() -> None:
    """Each command has a help text, an example and a chapter in the reference."""
    page = (ROOT / "docs/reference/commands.md").read_text(encoding="utf-8")

    for name, command in _commands().items():
        assert getattr(command, "commands", None) or "Example" in (command.help or ""), name
        assert command.help, name
        assert f"## `lungwort {name}`" in page
        for parameter in command.params:
            assert parameter.name == "help" or getattr(parameter, "help", None), (
                f"{name}: {parameter.name}"
            )


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    """Every link and picture inside the repository exists."""
    text = page.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", text):
        if "://" not in target:
            assert (page.parent / target).exists(), f"{page.name}: {target}"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_options_in_the_pages_exist(page: Path) -> None:
    """An option that a page names is an option of some command."""
    known = {
        opt
        for command in _commands().values()
        for parameter in command.params
        for opt in (*parameter.opts, *parameter.secondary_opts)
    }
    known |= {"--help", "--version", "--check", "--years", "--runs", "--markdown", "--run-slow"}
    text = page.read_text(encoding="utf-8")
    for option in set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", text)):
        assert option in known, f"{page.name}: {option}"
