"""The measuring of pages still runs, on a few thousand readings."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any

SCRIPT = Path(__file__).resolve().parents[2] / "bench" / "web_pages.py"


def test_every_page_is_measured(tmp_path: Path) -> None:
    """Each page answers, and each has its figures."""
    spec = importlib.util.spec_from_file_location("bench_web_pages", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module: Any = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    figures = module.measure(tmp_path, 3000, 2)
    assert figures.pop("memory")
    assert len(figures) > 20
    assert all(one["median"] > 0 for one in figures.values())
    assert "times the empty route" in module.table({**figures, "memory": {"gb": 1.0}}, 3000)
