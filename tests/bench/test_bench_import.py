"""The measuring of imports still runs, on a few thousand rows."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any

SCRIPT = Path(__file__).resolve().parents[2] / "bench" / "import_year.py"


def test_every_stage_is_measured(tmp_path: Path) -> None:
    """What is loaded is what was imported; the script itself sees to that."""
    spec = importlib.util.spec_from_file_location("bench_import_year", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module: Any = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    taken = module.measure(3000, tmp_path)
    assert list(taken) == ["read", "bare write", "import", "load"]
    assert all(seconds > 0 for seconds in taken.values())
