"""Make years of invented 10-second readings, the same for the same seed.

    python bench/make_year.py --years 8 --out bench/out/years-8.csv

A year is 365 days: 3 153 600 rows of date, time and five channels, about 138 MB. Years follow each
other without a gap. One month is in memory at a time, so 8 years need no more than one.
"""

from __future__ import annotations

import argparse
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl

if TYPE_CHECKING:
    from typing import BinaryIO

SEED: Final = 1
STEP_S: Final = 10
ROWS_A_YEAR: Final = 365 * 24 * 360
BLOCK_ROWS: Final = 262_080
"""Rows made at a time: a twelfth of a year, about."""

EXHAUST_EVERY: Final = 777_600
"""Every 90 days exhaust is drawn in [rows], so that there is something to find."""
EXHAUST_ROWS: Final = 240
"""For 40 minutes [rows]."""

BEGIN: Final = datetime(2018, 1, 1)  # noqa: DTZ001 - a logger's local clock


def block(first: int, rows: int, seed: int) -> pl.DataFrame:
    """Make a block of readings.

    Parameters
    ----------
    first : int
        Number of its first row [1].
    rows : int
        How many rows [1].
    seed : int
        Seed of the noise [1].

    Returns
    -------
    polars.DataFrame
        The block as it is written, with text for date and time.
    """
    random = np.random.default_rng([seed, first])
    number = np.arange(first, first + rows)
    exhaust = (number % EXHAUST_EVERY >= EXHAUST_EVERY - EXHAUST_ROWS).astype(np.float64)
    begin = BEGIN + timedelta(seconds=first * STEP_S)
    times = pl.datetime_range(
        begin, begin + timedelta(seconds=(rows - 1) * STEP_S), f"{STEP_S}s", eager=True
    )
    co2 = random.normal(430.0, 10.0, rows) + 140.0 * exhaust
    return pl.DataFrame(
        {
            "Date": times.dt.strftime("%Y-%m-%d"),
            "Time": times.dt.strftime("%H:%M:%S"),
            "CO [ppm]": np.round(np.abs(random.normal(0.6, 0.2, rows)) + 11.0 * exhaust, 1),
            "CO2 [ppm]": np.rint(co2).astype(np.int64),
            "O2 [%]": np.round(random.normal(20.9, 0.03, rows), 2),
            "Water [mg/m3]": np.round(np.abs(random.normal(40.0, 3.0, rows)), 1),
            "Line pressure [bar(g)]": np.round(random.normal(7.0, 0.1, rows), 2),
        }
    )


def write_years(path: Path, rows: int, *, seed: int = SEED) -> Path:
    """Write readings, unless the file is there already.

    Parameters
    ----------
    path : Path
        The file; its folder is made.
    rows : int
        How many readings [1], at least 1.
    seed : int
        Seed of the noise [1].

    Returns
    -------
    Path
        The file.
    """
    if path.exists():
        return path
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.part")
    with part.open("wb") as file:
        _write(file, rows, seed)
    part.replace(path)
    return path


def _write(file: BinaryIO, rows: int, seed: int) -> None:
    for first in range(0, rows, BLOCK_ROWS):
        count = min(BLOCK_ROWS, rows - first)
        block(first, count, seed).write_csv(file, include_header=first == 0)


def main() -> None:
    """Read the command line and write the file."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--years", type=int, default=1, help="how many years of 365 days")
    parser.add_argument("--rows", type=int, help="how many rows, in place of years")
    parser.add_argument("--out", type=Path, required=True, help="the file to write")
    parser.add_argument("--seed", type=int, default=SEED)
    given = parser.parse_args()
    path = write_years(given.out, given.rows or given.years * ROWS_A_YEAR, seed=given.seed)
    print(f"{path}: {path.stat().st_size / 1e6:.0f} MB")


if __name__ == "__main__":
    main()
