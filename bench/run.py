"""Measure lungwort against bare Polars, and how it grows.

    python bench/run.py --years 1,2,4,8 --runs 3 --markdown docs/explanation/performance.md

Every stage runs in a fresh process, all stages in turn, ``--runs`` times; medians are printed, with
ratios to the baseline of the same run. The baseline is a bare Polars CSV read and time parse of the
same file. Data are invented and go to ``bench/out``.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

HERE = Path(__file__).resolve().parent
OUT = HERE / "out"
ROWS_A_YEAR = 365 * 24 * 360

READ_MOST = 2.5
JUDGE_MOST = 0.5
COMMAND_MOST = 4.0
MEMORY_MOST_GB = 1.5
MEMORY_AT_YEARS = 8
HELP_FACTOR = 2.0
HELP_EXTRA_S = 0.2
GROWTH_MOST = 1.25
"""Seconds a row at the longest file over those at the shortest, for growth to pass as linear."""

STAGES = ("baseline", "read", "judge", "command")
CANNOT_USE = 2
"""Exit code of a file that could not be read or used; every other one is a verdict."""

BEGIN_MARK = "<!-- figures: begin -->"
END_MARK = "<!-- figures: end -->"


@dataclass
class Measured:
    """What one stage took, a value a run.

    Parameters
    ----------
    seconds : list of float
        Time of the work inside the process, or of the whole process for a command [s].
    wall : list of float
        Time of the whole process, start to end [s].
    memory_gb : list of float
        Peak resident memory [GB], empty where the system does not tell.
    """

    seconds: list[float] = field(default_factory=list)
    wall: list[float] = field(default_factory=list)
    memory_gb: list[float] = field(default_factory=list)


@dataclass
class Target:
    """A figure beside what it should reach.

    Parameters
    ----------
    name : str
        What was measured.
    figure, target : str
        The figure and what it should be, as shown.
    met : bool or None
        Whether it was reached; None where it could not be measured.
    """

    name: str
    figure: str
    target: str
    met: bool | None

    @property
    def mark(self) -> str:
        """In words."""
        return {True: "met", False: "not met", None: "not measured"}[self.met]


@dataclass
class Process:
    """How a process ran: its output, time [s] and peak memory [GB]."""

    output: str
    wall: float
    memory_gb: float | None


def run_process(words: list[str], *, verdict: bool = False) -> Process:
    """Run a process to its end.

    Parameters
    ----------
    words : list of str
        The command.
    verdict : bool
        Whether its exit code is a verdict, so that only 2 is a failure.

    Returns
    -------
    Process
        How it ran.

    Raises
    ------
    SystemExit
        Where it failed; what it wrote is shown.
    """
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        begin = time.perf_counter()
        process = subprocess.Popen(words, stdout=out, stderr=err)  # noqa: S603 - own commands
        if sys.platform == "win32":
            code, memory = process.wait(), None
        else:
            # wait4 tells the memory of this child alone.
            _, status, usage = os.wait4(process.pid, 0)
            code = process.returncode = os.waitstatus_to_exitcode(status)
            memory = usage.ru_maxrss * (1.0 if sys.platform == "darwin" else 1024.0) / 1e9
        wall = time.perf_counter() - begin
        out.seek(0)
        err.seek(0)
        if code < 0 or code == CANNOT_USE or (code > 0 and not verdict):
            told = err.read().decode(errors="replace")
            sys.exit(f"{' '.join(words)}\nended with {code}:\n{told}")
        return Process(out.read().decode(errors="replace"), wall, memory)


def command_words(file: Path, pdf: Path) -> list[str]:
    """Give the whole command as a user types it."""
    return [
        *(sys.executable, "-m", "lungwort", "judge", str(file)),
        *("--limits", "en12021-2014-airline", "--zone", "UTC"),
        *("--spot", "oil=<0.05 mg/m3", "--spot", "odour=none"),
        *("--supply-pressure", "7 bar(g)", "--pdf", str(pdf)),
    ]


def measure(file: Path, runs: int, folder: Path) -> dict[str, Measured]:
    """Measure all stages on one file.

    Parameters
    ----------
    file : Path
        The readings.
    runs : int
        How often.
    folder : Path
        Where the PDF goes.

    Returns
    -------
    dict of str to Measured
        Figures by stage.
    """
    measured = {stage: Measured() for stage in STAGES}
    run_process([sys.executable, str(HERE / "stage.py"), "baseline", str(file)])
    for _ in range(runs):
        for stage in STAGES:
            if stage == "command":
                done = run_process(command_words(file, folder / "bench.pdf"), verdict=True)
                seconds = done.wall
            else:
                done = run_process([sys.executable, str(HERE / "stage.py"), stage, str(file)])
                seconds = float(json.loads(done.output)["seconds"])
            measured[stage].seconds.append(seconds)
            measured[stage].wall.append(done.wall)
            if done.memory_gb is not None:
                measured[stage].memory_gb.append(done.memory_gb)
    return measured


def ratio(measured: dict[str, Measured], stage: str) -> float:
    """Median over the runs of a stage's time over the baseline's of the same run.

    A command is held against the whole process of the baseline, other stages against its work.
    """
    base = measured["baseline"]
    divisor = base.wall if stage == "command" else base.seconds
    return median(mine / its for mine, its in zip(measured[stage].seconds, divisor, strict=True))


def memory(measured: dict[str, Measured]) -> float | None:
    """Largest peak memory of reading, judging or the command [GB]."""
    peaks = [peak for stage in STAGES[1:] for peak in measured[stage].memory_gb]
    return max(peaks) if peaks else None


def measure_help(runs: int) -> tuple[float, float]:
    """Time ``lungwort --help`` and an interpreter that only imports typing [s]."""
    bare, shown = [], []
    for _ in range(max(runs, 3)):
        bare.append(run_process([sys.executable, "-c", "import typing"]).wall)
        shown.append(run_process([sys.executable, "-m", "lungwort", "--help"]).wall)
    return median(shown), median(bare)


def targets(
    found: dict[int, dict[str, Measured]], rows: dict[int, int], help_times: tuple[float, float]
) -> list[Target]:
    """Hold the figures against what is to be reached."""
    first, last = min(found), max(found)
    one = found[first]
    listed = []
    for stage, name, most in (
        ("read", "read_log", READ_MOST),
        ("judge", "judge in memory", JUDGE_MOST),
        ("command", "whole command with PDF", COMMAND_MOST),
    ):
        got = ratio(one, stage)
        listed.append(
            Target(
                f"{name}, {first} year(s)",
                f"{got:.2f} x baseline",
                f"at most {most:g} x",
                met=got <= most,
            )
        )
    peak = memory(found[last])
    listed.append(
        Target(
            f"peak memory, {last} year(s)",
            "unknown" if peak is None else f"{peak:.2f} GB",
            f"at most {MEMORY_MOST_GB:g} GB at {MEMORY_AT_YEARS} years",
            met=None if peak is None or last < MEMORY_AT_YEARS else peak <= MEMORY_MOST_GB,
        )
    )
    if last > first:
        slope = {
            years: median(found[years]["command"].seconds) / rows[years] for years in (first, last)
        }
        growth = slope[last] / slope[first]
        listed.append(
            Target(
                f"time a row, {last} years over {first}",
                f"{growth:.2f}",
                f"linear: at most {GROWTH_MOST:g}",
                met=growth <= GROWTH_MOST,
            )
        )
    shown, bare = help_times
    most_help = HELP_FACTOR * bare + HELP_EXTRA_S
    listed.append(
        Target(
            "lungwort --help",
            f"{shown:.2f} s",
            f"at most {HELP_FACTOR:g} x {bare:.3f} s + {HELP_EXTRA_S:g} s = {most_help:.2f} s",
            met=shown <= most_help,
        )
    )
    return listed


def machine() -> str:
    """Say how large the machine is, not which one it is."""
    if sys.platform == "linux":
        cores = len(os.sched_getaffinity(0))
    else:
        cores = os.cpu_count() or 1
    told = [f"{cores} cores"]
    if sys.platform != "win32":
        size = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
        told.append(f"{size / 1e9:.0f} GB memory")
    return ", ".join([*told, f"{platform.system()}, Python {platform.python_version()}"])


def row_of(cells: list[str]) -> str:
    """Write one row of a Markdown table."""
    return f"| {' | '.join(cells)} |"


def report(
    found: dict[int, dict[str, Measured]],
    rows: dict[int, int],
    help_times: tuple[float, float],
    runs: int,
) -> str:
    """Write the figures as Markdown, which also reads well on a screen."""
    lines = [
        f"Machine: {machine()}. Medians of {runs} runs, every stage in a fresh process.",
        "",
        row_of(["measured", "figure", "target", ""]),
        row_of(["---"] * 4),
    ]
    lines += [
        row_of([target.name, target.figure, target.target, target.mark])
        for target in targets(found, rows, help_times)
    ]
    lines += [
        "",
        row_of(
            [
                "years",
                "million rows",
                "baseline [s]",
                "baseline process [s]",
                "read_log [s]",
                "judge [s]",
                "command with PDF [s]",
                "read / baseline",
                "judge / baseline",
                "command / baseline process",
                "peak memory [GB]",
            ]
        ),
        row_of(["---:"] * 11),
    ]
    for years, measured in found.items():
        peak = memory(measured)
        lines.append(
            row_of(
                [
                    str(years),
                    f"{rows[years] / 1e6:.2f}",
                    f"{median(measured['baseline'].seconds):.2f}",
                    f"{median(measured['baseline'].wall):.2f}",
                    *(f"{median(measured[stage].seconds):.2f}" for stage in STAGES[1:]),
                    *(f"{ratio(measured, stage):.2f}" for stage in STAGES[1:]),
                    "unknown" if peak is None else f"{peak:.2f}",
                ]
            )
        )
    return "\n".join(lines)


def write_markdown(path: Path, text: str) -> None:
    """Put the figures between the marks of a page, or make a page for them."""
    page = path.read_text(encoding="utf-8") if path.exists() else PAGE
    head, begin, rest = page.partition(BEGIN_MARK)
    _, end, tail = rest.partition(END_MARK)
    if not (begin and end):
        sys.exit(f"{path} has no '{BEGIN_MARK}' and '{END_MARK}' to write between.")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(
        f"{head}{BEGIN_MARK}\n\n{text}\n\n{END_MARK}{tail}", encoding="utf-8", newline="\n"
    )


PAGE = f"""# How fast it is, and how it grows

A year of 10-second readings has 3.15 million rows of date, time and five channels (138 MB). The
readings are invented. The baseline is the least that any program built on Polars must do: read the
CSV and parse its times. `make bench` measures all of it again; with
`python bench/run.py --markdown docs/explanation/performance.md` the figures below are written anew.

{BEGIN_MARK}

{END_MARK}

The baseline's work is timed inside its process; `read_log` and `judge` likewise. The whole command
is timed from outside, starting Python included, and is held against the baseline's whole process.
Ratios are taken run by run, so that a busy machine slows both sides. Peak memory is the largest of
reading, judging and the command.
"""


def main() -> None:
    """Read the command line, measure, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--years", default="1,2,4,8", help="numbers of years, comma-separated")
    parser.add_argument("--runs", type=int, default=3, help="how often each stage is run")
    parser.add_argument(
        "--rows", type=int, default=ROWS_A_YEAR, help="rows a year, for a quick look"
    )
    parser.add_argument("--folder", type=Path, default=OUT, help="where data and PDF go")
    parser.add_argument("--markdown", type=Path, help="page to write the figures into")
    given = parser.parse_args()
    found, rows = {}, {}
    for years in sorted({int(part) for part in given.years.split(",")}):
        rows[years] = years * given.rows
        file = given.folder / f"readings-{rows[years]}.csv"
        if not file.exists():
            print(f"making {file.name} ...", file=sys.stderr)
            words = [sys.executable, str(HERE / "make_year.py"), "--rows", str(rows[years])]
            made = run_process([*words, "--out", str(file)])
            peak = "" if made.memory_gb is None else f", {made.memory_gb:.2f} GB"
            print(f"made in {made.wall:.1f} s{peak}", file=sys.stderr)
        print(f"measuring {years} year(s) ...", file=sys.stderr)
        found[years] = measure(file, given.runs, given.folder)
    text = report(found, rows, measure_help(given.runs), given.runs)
    print(text)
    if given.markdown:
        write_markdown(given.markdown, text)


if __name__ == "__main__":
    main()
