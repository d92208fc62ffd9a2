"""Measure importing invented 10-second readings against bare Polars writing the same frame.

    python bench/import_year.py --rows 3153600

Importing keeps the file, writes Parquet parts by month with their digests, syncs each to the disk,
and records it all; bare Polars writes one Parquet file and syncs nothing. Reading the file, which
both need before, is told apart.
"""

from __future__ import annotations

import argparse
import importlib.util
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from lungwort.logs.options import ReadOptions
from lungwort.logs.read import read_with
from lungwort.register.model import LogImport, Outlet, Site, Supply
from lungwort.register.store import import_log, load_log
from lungwort.register.workspace import create_workspace

if TYPE_CHECKING:
    from collections.abc import Callable

T = TypeVar("T")

HERE = Path(__file__).resolve().parent
ROWS_A_YEAR = 365 * 24 * 360


def make(path: Path, rows: int) -> Path:
    """Make the file with the script that makes years."""
    spec = importlib.util.spec_from_file_location("make_year", HERE / "make_year.py")
    assert spec is not None
    assert spec.loader is not None
    module: Any = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    made: Path = module.write_years(path, rows)
    return made


def measure(rows: int, folder: Path) -> dict[str, float]:
    """Measure each stage once.

    Parameters
    ----------
    rows : int
        How many readings [1].
    folder : pathlib.Path
        Where to work.

    Returns
    -------
    dict
        Stage to time [s].
    """
    taken: dict[str, float] = {}

    def timed(stage: str, work: Callable[[], T]) -> T:
        begin = time.perf_counter()
        done = work()
        taken[stage] = time.perf_counter() - begin
        return done

    path = make(folder / "log.csv", rows)
    options = ReadOptions(zone="Europe/London")
    log = timed("read", lambda: read_with(path, options))
    bare = folder / "bare.parquet"
    timed("bare write", lambda: log.frame.write_parquet(bare, compression="zstd"))
    now = datetime(2030, 1, 1, tzinfo=UTC)
    who = "Wenna Harkle"
    with create_workspace(folder / "w", name="Invented", person=who, now=now) as workspace:
        with workspace.register.change(who=who, now=now) as change:
            site = change.add(Site(name="slipway"))
            supply = change.add(Supply(site_id=site.id, name="house"))
            outlet = change.add(Outlet(supply_id=supply.id, name="panel"))

        def take() -> tuple[LogImport, bool]:
            with workspace.register.change(who=who, now=now) as change:
                return import_log(
                    workspace,
                    change,
                    log,
                    outlet=outlet,
                    instrument=None,
                    files=[(path.name, path)],
                    options=options,
                    by=change.who,
                )

        record, _ = timed("import", take)
        back = timed("load", lambda: load_log(workspace, [record]))
        assert back.frame.equals(log.frame)
    return taken


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Measure importing a log.")
    parser.add_argument("--rows", type=int, default=ROWS_A_YEAR)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        taken = measure(given.rows, Path(folder))
    for stage, seconds in taken.items():
        print(f"{stage:<12}{seconds:8.2f} s{seconds / taken['bare write']:8.2f} x bare write")


if __name__ == "__main__":
    main()
