"""One timed stage in a process of its own; prints its seconds as JSON.

    python bench/stage.py baseline FILE

``baseline`` reads the file with bare Polars and parses its times, ``read`` reads it with
``read_log``, ``judge`` judges it after reading. Imports are not in the seconds, the work is.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

LIMIT_SET = "en12021-2014-airline"
SPOTS = ("oil=<0.05 mg/m3", "odour=none")
SUPPLY_BAR_G = 7.0


def baseline(file: Path) -> float:
    """Read with bare Polars and parse the times; gives the time taken [s]."""
    import polars as pl

    begin = time.perf_counter()
    frame = pl.read_csv(file).with_columns(
        (pl.col("Date") + " " + pl.col("Time"))
        .str.to_datetime("%Y-%m-%d %H:%M:%S", time_unit="us")
        .alias("time")
    )
    taken = time.perf_counter() - begin
    assert frame["time"].null_count() == 0
    return taken


def read(file: Path) -> float:
    """Read with `read_log`; gives the time taken [s]."""
    from lungwort.logs.read import read_log

    begin = time.perf_counter()
    log = read_log([file], zone="UTC")
    taken = time.perf_counter() - begin
    assert log.rows > 0
    return taken


def judge(file: Path) -> float:
    """Judge what was read before; gives the time taken [s]."""
    from lungwort.limits.load import limit_set
    from lungwort.limits.model import Conditions
    from lungwort.logs.read import read_log
    from lungwort.spot.parse import parse_spot
    from lungwort.verdict.judge import judge as hold

    log = read_log([file], zone="UTC")
    limits = limit_set(LIMIT_SET)
    spots = tuple(parse_spot(spot) for spot in SPOTS)
    begin = time.perf_counter()
    verdict = hold(log, limits, spots=spots, supply=Conditions(SUPPLY_BAR_G))
    taken = time.perf_counter() - begin
    assert verdict.findings
    return taken


STAGES = {"baseline": baseline, "read": read, "judge": judge}

if __name__ == "__main__":
    print(json.dumps({"seconds": STAGES[sys.argv[1]](Path(sys.argv[2]))}))
