"""The benchmark still runs, on a few thousand rows, and counts and divides rightly."""

from __future__ import annotations

import csv
import importlib.util
import itertools
import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from types import ModuleType

BENCH = Path(__file__).resolve().parents[2] / "bench"


def load(name: str) -> ModuleType:
    """Load a script of the benchmark as a module."""
    spec = importlib.util.spec_from_file_location(f"bench_{name}", BENCH / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def run() -> Any:
    """Load the script that measures."""
    return load("run")


@pytest.fixture(scope="module")
def make_year() -> Any:
    """Load the script that makes the readings."""
    return load("make_year")


def test_readings_follow_each_other_across_blocks(
    make_year: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One heading, every 10 s a row, whole or in blocks."""
    monkeypatch.setattr(make_year, "BLOCK_ROWS", 700)
    file = make_year.write_years(tmp_path / "a" / "x.csv", 2_000)
    with file.open(encoding="utf-8", newline="") as text:
        rows = list(csv.DictReader(text))
    stamps = [datetime.fromisoformat(f"{row['Date']}T{row['Time']}") for row in rows]
    assert len(rows) == 2_000
    assert {later - sooner for sooner, later in itertools.pairwise(stamps)} == {
        timedelta(seconds=10)
    }
    assert list(rows[0]) == [
        "Date",
        "Time",
        "CO [ppm]",
        "CO2 [ppm]",
        "O2 [%]",
        "Water [mg/m3]",
        "Line pressure [bar(g)]",
    ]
    again = make_year.write_years(tmp_path / "y.csv", 2_000)
    assert again.read_bytes() == file.read_bytes()


def test_a_year_is_365_days_of_10_seconds(make_year: Any, run: Any) -> None:
    """By hand: 365 x 86 400 / 10."""
    assert (make_year.ROWS_A_YEAR, run.ROWS_A_YEAR) == (3_153_600, 3_153_600)


def test_exhaust_comes_every_90_days_for_40_minutes(make_year: Any) -> None:
    """By hand: 90 days are 777 600 rows, 40 minutes are 240."""
    around = make_year.block(777_600 - 300, 400, make_year.SEED)
    assert (around["CO [ppm]"] > 5.0).sum() == 240
    assert (around["CO2 [ppm]"] > 500).sum() == 240


def filled(run: Any, factor: float) -> dict[str, Any]:
    """Make figures of three runs in which everything but the baseline is slower by a factor."""
    made = {stage: run.Measured() for stage in run.STAGES}
    for base in (1.0, 2.0, 4.0):
        for stage in run.STAGES:
            slower = 1.0 if stage == "baseline" else factor
            made[stage].seconds.append(base * slower)
            made[stage].wall.append(base * slower)
            made[stage].memory_gb.append(0.25 * slower)
    return made


def test_ratios_are_taken_run_by_run(run: Any) -> None:
    """A run four times as slow in all its stages gives the same ratio."""
    made = filled(run, 3.0)
    made["read"].seconds[2] = 400.0
    assert run.ratio(made, "read") == 3.0
    assert run.ratio(made, "command") == 3.0
    assert run.memory(made) == 0.75


@pytest.mark.parametrize(
    ("factor", "marks"),
    [
        (0.5, ["met", "met", "met", "met", "met", "met"]),
        (3.0, ["not met", "not met", "met", "met", "met", "met"]),
        (7.0, ["not met", "not met", "not met", "not met", "met", "met"]),
    ],
)
def test_targets_say_met_or_not(run: Any, factor: float, marks: list[str]) -> None:
    """Most: 2.5, 0.5 and 4 times the baseline, 1.5 GB at 8 years."""
    found = {1: filled(run, factor), 8: filled(run, factor)}
    held = run.targets(found, {1: 1_000, 8: 1_000}, (0.25, 0.05))
    assert [target.mark for target in held] == marks


def test_slow_help_memory_unknown_and_bent_growth_are_told(run: Any) -> None:
    """Help may take 2 x 0.05 s + 0.2 s = 0.30 s; a row may not take twice as long as before."""
    found = {1: filled(run, 0.5), 2: filled(run, 0.5)}
    held = run.targets(found, {1: 1_000, 2: 500}, (0.31, 0.05))
    by_name = {target.name: target.mark for target in held}
    assert by_name["lungwort --help"] == "not met"
    assert by_name["peak memory, 2 year(s)"] == "not measured"
    assert by_name["time a row, 2 years over 1"] == "not met"


def test_figures_go_between_the_marks(run: Any, tmp_path: Path) -> None:
    """And what stands around them stays."""
    page = tmp_path / "page.md"
    run.write_markdown(page, "first")
    made = page.read_text(encoding="utf-8")
    page.write_text(f"Above.\n{made}Below.\n", encoding="utf-8")
    run.write_markdown(page, "second")
    text = page.read_text(encoding="utf-8")
    assert (text.startswith("Above.\n"), text.endswith("Below.\n")) == (True, True)
    assert ("second" in text, "first" in text) == (True, False)
    page.write_text("nothing", encoding="utf-8")
    with pytest.raises(SystemExit, match="to write between"):
        run.write_markdown(page, "third")


def test_a_stage_that_fails_is_shown(run: Any) -> None:
    """With what it wrote; a verdict's exit code is no failure, 2 is."""
    fails = [sys.executable, "-c", "import sys; sys.exit('no such thing')"]
    with pytest.raises(SystemExit, match="no such thing"):
        run.run_process(fails)
    assert run.run_process(fails, verdict=True).output == ""
    with pytest.raises(SystemExit, match="ended with 2"):
        run.run_process([sys.executable, "-c", "import sys; sys.exit(2)"], verdict=True)


def test_the_whole_benchmark_on_a_few_thousand_rows(tmp_path: Path) -> None:
    """Every stage, two lengths, and the page."""
    page = tmp_path / "performance.md"
    done = subprocess.run(
        [
            *(sys.executable, str(BENCH / "run.py"), "--years", "1,2", "--runs", "1"),
            *("--rows", "3000", "--folder", str(tmp_path / "out"), "--markdown", str(page)),
        ],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "out" / "bench.pdf").read_bytes()[:5] == b"%PDF-"
    for text in (done.stdout, page.read_text(encoding="utf-8")):
        for word in ("baseline", "read_log", "judge", "command with PDF", "peak memory", "cores"):
            assert word in text
        assert "| 2 | 0.01 |" in text
