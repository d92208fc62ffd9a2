"""Measure each page of the browser's face against an empty FastAPI route in the same run.

    python bench/web_pages.py --rows 3153600 --gets 60

A workspace with the invented year gets a year of 10-second readings at each of five outlets. Pages
are asked for one after the other over one connection, as a browser on the same computer would; a
page's figure is what it takes beyond the empty route. With ``--draw`` chromium draws the chart.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.util
import os
import platform
import re
import socket
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from statistics import median, quantiles
from typing import TYPE_CHECKING, Any

import httpx2 as httpx

if TYPE_CHECKING:
    from collections.abc import Iterator

HERE = Path(__file__).resolve().parent
ROWS_A_YEAR = 365 * 24 * 360
OUTLETS = 5
MEDIAN_MOST_MS = 50.0
SPAN_MOST_MS = 100.0
EMPTY = "empty route"

_EMPTY_APP = """
import sys, uvicorn
from fastapi import FastAPI
app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
@app.get("/")
def empty():
    return ""
uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[1]), log_level="error", access_log=False)
"""
_OUR_APP = """
import sys, uvicorn
from pathlib import Path
from lungwort.web.app import create_app
from lungwort.web.settings import Settings
app = create_app(Settings(workspace=Path(sys.argv[2]), port=int(sys.argv[1])))
uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[1]), log_level="error", access_log=False)
"""


def make_workspace(folder: Path, rows: int) -> tuple[Path, list[str]]:
    """Make the workspace that is asked.

    Parameters
    ----------
    folder : pathlib.Path
        Where to work.
    rows : int
        Readings an outlet [1].

    Returns
    -------
    tuple of (Path, list of str)
        The workspace, and the ids of the outlets with readings.
    """
    from lungwort.jobs.catalogue import outlet
    from lungwort.jobs.catalogue.outlet import OutletFacts
    from lungwort.jobs.catalogue.shape import Session
    from lungwort.jobs.demo_year import write_year
    from lungwort.jobs.import_log import Request, import_files
    from lungwort.jobs.opening import Where
    from lungwort.jobs.reading import Reading

    now = datetime.now(UTC)
    where = Where(workspace=write_year(folder, now=now).folder)
    by = "Wenna Harkle"
    ids = []
    for number in range(1, OUTLETS + 1):
        name = f"bench-{number}"
        facts = OutletFacts(supply="hall-compressor", place="measured")
        made = outlet.add(Session(now, where, by), name, facts)
        file = _file(folder / f"{name}.csv", rows, seed=number)
        request = Request(
            files=(file,), outlet=name, reading=Reading(zone="UTC"), by=by, judge=False
        )
        import_files(where, request, now=now)
        file.unlink()
        ids.append(made.record.id)
    assert where.workspace is not None
    return where.workspace, ids


def _file(path: Path, rows: int, *, seed: int) -> Path:
    spec = importlib.util.spec_from_file_location("make_year", HERE / "make_year.py")
    assert spec is not None
    assert spec.loader is not None
    module: Any = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    made: Path = module.write_years(path, rows, seed=seed)
    return made


@contextlib.contextmanager
def running(program: str, *words: str) -> Iterator[tuple[httpx.Client, int]]:
    """Run a server, and give a client of it and the number of its process."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    process = subprocess.Popen([sys.executable, "-c", program, str(port), *words])  # noqa: S603 - our own words
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=120) as client:
            for _ in range(600):
                with contextlib.suppress(httpx.TransportError):
                    client.get("/static/icon.svg")
                    break
                time.sleep(0.1)
            yield client, process.pid
    finally:
        process.terminate()
        process.wait(20)


def addresses(outlets: list[str], client: httpx.Client) -> dict[str, str]:
    """Name the pages that are measured."""
    one = outlets[0]
    data = f"/readings/{one}/data"
    supply = re.search(r'href="(/supplies/supply-[a-z0-9]+)"', client.get("/supplies").text)
    assert supply is not None
    return {
        "today": "/today",
        "supplies": "/supplies",
        "a supply": supply[1],
        "readings of an outlet": f"/readings/{one}",
        "logs": "/logs",
        "bring in a log": "/logs/new",
        "tests": "/tests",
        "begin a test": "/tests/new",
        "findings": "/findings",
        "plan": "/plan",
        "certificates": "/certificates",
        "packs": "/packs",
        "limit sets": "/limits",
        "convert": "/convert",
        "instruments": "/instruments",
        "lots": "/lots",
        "people": "/people",
        "outlets": "/outlets",
        "sites": "/sites",
        "chart: all there is": data,
        "chart: a month": f"{data}?from=2018-03-01T00:00:00Z&to=2018-04-01T00:00:00Z",
        "chart: a day": f"{data}?from=2018-03-01T00:00:00Z&to=2018-03-02T00:00:00Z",
        "chart: an hour": f"{data}?from=2018-03-01T00:00:00Z&to=2018-03-01T01:00:00Z",
    }


def timed(client: httpx.Client, path: str, gets: int) -> list[float]:
    """Ask for a page some times; give what each took [ms]."""
    taken = []
    for _ in range(gets):
        begun = time.perf_counter()
        answer = client.get(path)
        taken.append(1000 * (time.perf_counter() - begun))
        assert answer.status_code == 200, (path, answer.status_code, answer.text[:300])
    return taken


def measure(folder: Path, rows: int, gets: int) -> dict[str, dict[str, float]]:
    """Measure all pages.

    Parameters
    ----------
    folder : pathlib.Path
        Where to work.
    rows : int
        Readings an outlet [1].
    gets : int
        How often each page is asked for, at least 2 [1].

    Returns
    -------
    dict
        Name of the page to its ``first``, ``median`` and ``p99`` [ms]; of the empty route as well.
    """
    workspace, outlets = make_workspace(folder, rows)
    figures: dict[str, dict[str, float]] = {}
    with running(_EMPTY_APP) as (bare, _), running(_OUR_APP, str(workspace)) as (ours, process):
        timed(bare, "/", 5)
        pages = addresses(outlets, ours)
        empty: list[float] = []
        for name, path in pages.items():
            first = timed(ours, path, 1)[0]
            empty += timed(bare, "/", gets)
            figures[name] = {"first": first, **_shares(timed(ours, path, gets))}
        figures[EMPTY] = {"first": empty[0], **_shares(empty)}
        figures["memory"] = {"gb": _memory_gb(process)}
    return figures


def _shares(taken: list[float]) -> dict[str, float]:
    return {"median": median(taken), "p99": quantiles(taken, n=100, method="inclusive")[98]}


def _memory_gb(process: int) -> float:
    status = Path(f"/proc/{process}/status")
    if not status.exists():
        return float("nan")
    words = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
    return int(words.split()[1]) / 1e6


def table(figures: dict[str, dict[str, float]], rows: int) -> str:
    """Write the figures as a table in Markdown."""
    empty = figures[EMPTY]
    lines = [
        (
            f"Machine: {os.cpu_count()} cores, {platform.system()}, Python "
            f"{platform.python_version()}. {rows:,} readings at each of {OUTLETS} outlets. The empty "
            f"route takes {empty['median']:.1f} ms at the median, {empty['p99']:.1f} ms at the 99th "
            f"percentile; the server's peak memory was {figures['memory']['gb']:.2f} GB."
        ),
        "",
        "| page | first [ms] | median [ms] | 99th percentile [ms] | median beyond the empty route [ms] | times the empty route | target |",
        "| --- | ---: | ---: | ---: | ---: | ---: | --- |",
    ]
    for name, one in figures.items():
        if name in {EMPTY, "memory"}:
            continue
        beyond = one["median"] - empty["median"]
        most = SPAN_MOST_MS if name.startswith("chart") else MEDIAN_MOST_MS
        met = "met" if beyond <= most else f"missed ({most:.0f} ms)"
        lines.append(
            f"| {name} | {one['first']:.0f} | {one['median']:.1f} | {one['p99']:.1f} | "
            f"{beyond:.1f} | {one['median'] / empty['median']:.1f} | {met} |"
        )
    return "\n".join(lines)


def main() -> None:
    """Read the command line, measure, and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--rows", type=int, default=ROWS_A_YEAR, help="readings an outlet")
    parser.add_argument("--gets", type=int, default=60, help="how often each page is asked for")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        print(table(measure(Path(folder), given.rows, given.gets), given.rows))


if __name__ == "__main__":
    main()
