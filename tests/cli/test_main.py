"""The command line as a user meets it: exit codes, streams, messages, no traceback."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

CLEAN = (
    "--spot",
    "oil=<0.05 mg/m3",
    "--spot",
    "odour=none",
    "--spot",
    "liquid water=none",
    "--spot",
    "water=40 mg/m3",
)
LIMITS = ("--limits", "en12021-2014-airline", "--supply-pressure", "7 bar(g)")


def run(
    *words: str, cwd: Path | None = None, columns: int = 100
) -> subprocess.CompletedProcess[str]:
    """Run lungwort in a process of its own."""
    environment = {**os.environ, "COLUMNS": str(columns), "PYTHONIOENCODING": "cp1252"}
    return subprocess.run(
        [sys.executable, "-m", "lungwort", *words],
        check=False,
        capture_output=True,
        cwd=cwd,
        env=environment,
        encoding="utf-8",
    )


def write_log(path: Path, co: list[float], heading: str = "CO [ppm]") -> Path:
    """Write a log of one-minute readings with the given carbon monoxide (invented)."""
    lines = [f"Time,{heading},CO2 [ppm],O2 [%]"]
    lines += [
        f"2026-03-04T{8 + i // 60:02d}:{i % 60:02d}:00Z,{value},{430 + i % 7},{20.9 - (i % 3) / 100:.2f}"
        for i, value in enumerate(co)
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def calm(count: int = 180) -> list[float]:
    """Make carbon monoxide of quiet air [ppm] (invented)."""
    return [round(0.3 + 0.1 * (i % 4), 1) for i in range(count)]


def test_clean_air_conforms_and_leaves_with_0(tmp_path: Path) -> None:
    """A clean log with the hand tests that the set asks for conforms."""
    log = write_log(tmp_path / "log.csv", calm())
    done = run("judge", str(log), *LIMITS, *CLEAN)

    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.splitlines()[1].strip("│ ").startswith("● CONFORMS")
    assert done.stderr == ""


def test_bad_air_does_not_conform_and_leaves_with_1(tmp_path: Path) -> None:
    """Carbon monoxide above the limit is told first, with its time."""
    log = write_log(tmp_path / "log.csv", [*calm(100), *[9.0] * 5, *calm(75)])
    done = run("judge", str(log), *LIMITS, *CLEAN)

    assert done.returncode == 1
    assert "✕ DOES NOT CONFORM" in done.stdout
    assert "5 readings above 5 ppm" in done.stdout


def test_missing_evidence_is_not_proven_and_leaves_with_3(tmp_path: Path) -> None:
    """Without the hand tests nothing is proven, whatever the log says."""
    log = write_log(tmp_path / "log.csv", calm())
    done = run("judge", str(log), *LIMITS)

    assert done.returncode == 3
    assert "? NOT PROVEN" in done.stdout
    assert "no hand test" in " ".join(done.stdout.split())


def test_json_is_one_object_and_nothing_else(tmp_path: Path) -> None:
    """--json prints one object on stdout, with the keys that are documented."""
    log = write_log(tmp_path / "log.csv", [*calm(100), *[9.0] * 5, *calm(75)])
    done = run("judge", str(log), *LIMITS, *CLEAN, "--json")
    found = json.loads(done.stdout)

    assert done.returncode == 1
    assert found["verdict"] == "does_not_conform"
    assert found["limit_set"]["id"] == "en12021-2014-airline"
    assert len(found["limit_set"]["digest"]) == 64
    assert found["sources"][0]["name"] == "log.csv"
    assert found["sources"][0]["rows"] == 180
    assert found["sources"][0]["refused"] == 0
    (excursion,) = found["excursions"]
    assert excursion["analyte"] == "co"
    assert excursion["direction"] == "above"
    assert excursion["start"] == "2026-03-04T09:40:00Z"
    assert excursion["duration_s"] == 300.0
    assert excursion["peak"] == 9.0
    assert excursion["ended_by"] == "returned"


def test_results_are_written_and_named(tmp_path: Path) -> None:
    """The four results are written and the terminal names them."""
    log = write_log(tmp_path / "log.csv", calm())
    words = [word for kind in ("pdf", "html", "xlsx") for word in (f"--{kind}", f"out.{kind}")]
    done = run("judge", str(log), *LIMITS, *CLEAN, *words, "--json-file", "out.json", cwd=tmp_path)

    assert done.returncode == 0, done.stderr
    for kind, magic in (("pdf", b"%PDF-"), ("html", b"<!doctype"), ("xlsx", b"PK"), ("json", b"{")):
        content = (tmp_path / f"out.{kind}").read_bytes()
        assert content[: len(magic)].lower() == magic.lower()
        assert f"out.{kind}" in done.stdout


CANNOT = {
    "no such file": (["judge", "none.csv", *LIMITS], "no such file"),
    "no such set": (
        ["judge", "log.csv", "--limits", "en12021-2014-airlin"],
        "en12021-2014-airline",
    ),
    "no limits": (["judge", "log.csv"], "--limits"),
    "nothing to judge": (["judge", *LIMITS], "nothing was given"),
    "spot": (["judge", "log.csv", *LIMITS, "--spot", "oil=0.3"], "oil"),
    "pressure": (
        ["judge", "log.csv", "--limits", "en12021-2014-airline", "--supply-pressure", "7"],
        "unit",
    ),
    "temperature": (["judge", "log.csv", *LIMITS, "--lowest-temperature", "900 °C"], "900"),
    "zone": (["judge", "log.csv", *LIMITS, "--zone", "Europe/Atlantis"], "Europe/Atlantis"),
    "settle": (["judge", "log.csv", *LIMITS, "--settle", "soon"], "soon"),
    "from": (["judge", "log.csv", *LIMITS, "--from", "4/3/2026"], "--from"),
    "decision": (["judge", "log.csv", *LIMITS, "--decision", "brave"], "brave"),
    "coverage": (["judge", "log.csv", *LIMITS, "--coverage", "90"], "coverage"),
    "pdf folder": (["judge", "log.csv", *LIMITS, "--pdf", "none/out.pdf"], "none"),
    "pdf over log": (["judge", "log.csv", *LIMITS, "--pdf", "log.csv"], "written over"),
    "unit pair": (["judge", "log.csv", *LIMITS, "--unit", "ppm"], "name=value"),
    "unit": (["judge", "log.csv", *LIMITS, "--unit", "co=parsec"], "parsec"),
    "date order": (["judge", "log.csv", *LIMITS, "--date-order", "myd"], "myd"),
    "recipe": (["judge", "log.csv", *LIMITS, "--recipe", "none.toml"], "none.toml"),
    "inspect": (["inspect", "none.csv"], "no such file"),
    "convert": (["convert", "5 ppm", "mg/m3"], "--gas"),
    "limits": (["limits", "none-such"], "none-such"),
}


@pytest.mark.parametrize("case", CANNOT)
def test_what_cannot_be_used_leaves_with_2_and_says_why(case: str, tmp_path: Path) -> None:
    """The reason is on stderr, in words, and there is neither a verdict nor a traceback."""
    write_log(tmp_path / "log.csv", calm())
    words, telling = CANNOT[case]
    done = run(*words, cwd=tmp_path)

    assert done.returncode == 2, done.stdout
    assert telling in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert sorted(path.name for path in tmp_path.iterdir()) == ["log.csv"]


def test_an_open_question_names_the_choices(tmp_path: Path) -> None:
    """A gas column without a unit stops, with the choices and the option that settles them."""
    log = write_log(tmp_path / "log.csv", calm(), heading="CO")
    done = run("judge", str(log), *LIMITS, *CLEAN)

    assert done.returncode == 2
    assert "ppm; mg/m3" in done.stderr
    assert "--unit co=ppm" in done.stderr
    assert run("judge", str(log), *LIMITS, *CLEAN, "--unit", "co=ppm").returncode == 0


def test_a_fault_of_our_own_is_no_verdict(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Even an unforeseen fault leaves with 2 and without a traceback."""
    from lungwort.cli import main

    def broken() -> None:
        raise ZeroDivisionError("seven")

    monkeypatch.setattr(main, "app", broken)
    monkeypatch.delenv("LUNGWORT_DEBUG", raising=False)
    with pytest.raises(SystemExit) as left:
        main.run()

    assert left.value.code == 2
    assert "There is no verdict" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (KeyboardInterrupt(), 130, "interrupted"),
        (OSError(28, "No space left on device"), 2, "No space left"),
        (MemoryError(), 2, "memory"),
        (BrokenPipeError(), 2, ""),
    ],
    ids=["interrupt", "disk full", "memory", "pipe"],
)
def test_what_the_system_does_is_told(
    error: BaseException,
    code: int,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A full disk, too little memory and an interruption end in words."""
    from lungwort.cli import main

    def stopped() -> None:
        raise error

    monkeypatch.setattr(main, "app", stopped)
    with pytest.raises(SystemExit) as left:
        main.run()

    assert left.value.code == code
    assert words in capsys.readouterr().err


def test_version() -> None:
    """--version prints the version."""
    assert run("--version").stdout.startswith("lungwort 0.")


def test_help_needs_no_heavy_import() -> None:
    """--help loads neither Polars nor NumPy nor Typst nor pydantic, so it is instant."""
    code = (
        "import sys\nsys.argv = ['lungwort', '--help']\n"
        "try:\n    from lungwort.cli.main import run; run()\nexcept SystemExit:\n    pass\n"
        "heavy = {'polars', 'numpy', 'scipy', 'typst', 'pydantic', 'CoolProp', 'xlsxwriter'}\n"
        "sys.stderr.write(','.join(sorted(heavy & set(sys.modules))))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, encoding="utf-8"
    )

    assert done.stderr == ""


def test_the_demonstration_comes_out_as_seeded(tmp_path: Path) -> None:
    """The demo command writes the invented site, judges it and names the reports."""
    done = run("demo", str(tmp_path / "demo"))

    assert done.returncode == 0, done.stdout
    assert "9 of 9 verdicts are the ones that were seeded" in done.stdout
    assert len(list((tmp_path / "demo").glob("*.pdf"))) == 9
    assert "A year of records (invented)" in done.stdout
    assert (tmp_path / "demo" / "workspace" / "heads.txt").is_file()
