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


def test_every_command_is_documented_with_help() -> None:
    """Each command has a help text, an example and a chapter in the reference."""
    commands: dict[str, Any] = getattr(typer.main.get_command(app), "commands", {})
    page = (ROOT / "docs/reference/commands.md").read_text(encoding="utf-8")

    assert set(commands) == {"judge", "inspect", "limits", "convert", "demo"}
    for name, command in commands.items():
        assert "Example" in (command.help or ""), name
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
    commands: dict[str, Any] = getattr(typer.main.get_command(app), "commands", {})
    known = {
        opt
        for command in commands.values()
        for parameter in command.params
        for opt in parameter.opts
    }
    known |= {"--help", "--version", "--check", "--years", "--runs", "--markdown"}
    text = page.read_text(encoding="utf-8")
    for option in set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", text)):
        assert option in known, f"{page.name}: {option}"
