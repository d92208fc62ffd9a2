"""The benchmark of networks still runs."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

BENCH = Path(__file__).resolve().parents[2] / "bench"


def load() -> ModuleType:
    """Load the script as a module."""
    spec = importlib.util.spec_from_file_location("bench_network", BENCH / "network.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_a_small_mesh(capsys: pytest.CaptureFixture[str]) -> None:
    """One row a size."""
    load().main(["--sides", "6", "--runs", "1"])

    assert "| 36 |" in capsys.readouterr().out
