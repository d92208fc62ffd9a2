"""The generated reference page says what the data say."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from lungwort.limits.load import available

if TYPE_CHECKING:
    from types import ModuleType

ROOT = Path(__file__).resolve().parents[2]
NAME = "docs/reference/limit-sets.md"


@pytest.fixture(name="tool", scope="module")
def _tool() -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        "generate_docs", ROOT / "tools" / "generate_docs.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_reference_page_is_not_stale(tool: Any) -> None:
    """Run 'python tools/generate_docs.py' where this fails."""
    assert NAME not in tool.stale_pages()


def test_stale_page_is_noticed(tool: Any, tmp_path: Path) -> None:
    """An old number and a missing page are both found, with the difference."""
    assert NAME in tool.stale_pages(tmp_path)
    page = tmp_path / NAME
    page.parent.mkdir(parents=True)
    text = (ROOT / NAME).read_text(encoding="utf-8")
    page.write_text(text.replace("≤ 5 ppm", "≤ 6 ppm", 1), encoding="utf-8")
    assert re.search(r"^-.*≤ 6 ppm.*\n\+.*≤ 5 ppm", tool.stale_pages(tmp_path)[NAME], re.MULTILINE)


def test_check_tells_by_its_exit_code(
    tool: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """1 when stale, 0 after writing; only this page, so that other pages do not matter."""
    monkeypatch.setattr(tool, "PAGES", {NAME: tool.limit_sets_page})
    stale = {NAME: "difference"}
    monkeypatch.setattr(tool, "ROOT", tmp_path)
    monkeypatch.setattr(tool, "stale_pages", lambda: stale)
    assert tool.main(["--check"]) == 1
    assert "docs/reference/limit-sets.md is stale; run" in capsys.readouterr().err
    assert tool.main([]) == 0
    assert "wrote docs/reference/limit-sets.md" in capsys.readouterr().out
    assert (tmp_path / NAME).read_bytes() == (ROOT / NAME).read_bytes().replace(b"\r\n", b"\n")
    stale.clear()
    assert tool.main(["--check"]) == 0


def test_page_has_every_set_and_every_number_from_memory_marked() -> None:
    """Counted in the page itself."""
    text = (ROOT / NAME).read_text(encoding="utf-8")
    for one in available():
        assert f"### `{one.id}`\n" in text
        assert f"Digest: `{one.digest}`" in text
    marked = text.count("| from memory: check against your own copy of the document |")
    assert marked == sum(limit.status == "from memory" for one in available() for limit in one)


def test_tables_are_whole() -> None:
    """Every row of a table has as many cells as its head."""
    cells = 0
    for line in (ROOT / NAME).read_text(encoding="utf-8").splitlines():
        count = len(re.findall(r"(?<!\\)\|", line))
        if not line.startswith("|"):
            cells = 0
        elif cells == 0:
            cells = count
        else:
            assert count == cells, line
