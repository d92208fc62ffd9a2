"""``lungwort import`` as a user meets it: exit codes, streams, words. All readings are invented."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from lungwort.register.model import Outlet, Person, Site, Supply
from lungwort.register.workspace import create_workspace

WHO = "Wenna Harkle"
START = datetime(2026, 3, 2, tzinfo=UTC)


def run(*words: str, cwd: Path, **more: str) -> subprocess.CompletedProcess[str]:
    """Run lungwort in a process of its own."""
    environment = {**os.environ, "COLUMNS": "100", **more}
    for name in ("LUNGWORT_WORKSPACE", "LUNGWORT_BY"):
        if name not in more:
            environment.pop(name, None)
    return subprocess.run(
        [sys.executable, "-m", "lungwort", *words],
        check=False,
        capture_output=True,
        cwd=cwd,
        env=environment,
        encoding="utf-8",
    )


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a folder with a workspace in it, made for all of these tests, and two logs."""
    folder = tmp_path_factory.mktemp("import")
    with (
        create_workspace(folder / "w", name="Invented", person=WHO, now=START) as workspace,
        workspace.register.change(who=WHO, now=START) as change,
    ):
        site = change.add(
            Site(name="slipway", zone="Europe/London", limit_set="en12021-2014-airline")
        )
        supply = change.add(Supply(site_id=site.id, name="house", pressure_bar_g=Decimal(7)))
        for name in ("panel-2", "panel-3"):
            change.add(Outlet(supply_id=supply.id, name=name))
        change.add(Person(name="Idris Pellow"))
    for name, co in (("clean", 0.4), ("bad", 9.0)):
        lines = ["Time,CO [ppm],CO2 [ppm],O2 [%]"]
        lines += [
            f"2026-03-04T{8 + i // 60:02d}:{i % 60:02d}:00Z,{co if i > 150 else 0.3 + i % 3 / 10:.1f},"
            f"{430 + i % 7},20.9"
            for i in range(180)
        ]
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def test_a_clean_log_is_recorded_and_leaves_with_0(home: Path) -> None:
    """Read, kept, held against the limits; the same again changes nothing."""
    words = ("import", "clean.csv", "--outlet", "panel-2", "--by", WHO, "--workspace", "w")
    done = run(*words, cwd=home)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stderr == ""
    for telling in (
        "Recorded at panel-2 as import log-import-",
        "Rows: 180 read, 180 used",
        "4 Mar 2026 08:00:00 to 10:59:00 (Europe/London)",
        "no reading that was judged is outside a limit",
        "lungwort certify",
    ):
        assert telling in done.stdout
    again = run(*words, cwd=home)
    assert again.returncode == 0
    assert again.stdout.startswith("Nothing was changed")


def test_a_bad_log_leaves_with_1(home: Path) -> None:
    """It is on record all the same; as JSON nothing else is printed."""
    done = run(
        *("import", "../bad.csv", "--outlet", "panel-3", "--json"), cwd=home / "w", LUNGWORT_BY=WHO
    )
    assert done.returncode == 1, done.stderr
    plain = json.loads(done.stdout)
    assert plain["new"] is True
    assert plain["held"]["overall"] == "does_not_conform"
    told = run("import", "../bad.csv", "--outlet", "panel-3", cwd=home / "w", LUNGWORT_BY=WHO)
    assert told.returncode == 1
    assert "OUTSIDE THE LIMITS" in told.stdout
    assert "Let nobody breathe this air" in told.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("missing.csv", "--outlet", "panel-2", "--by", WHO), "no such file"),
        (("clean.csv", "--outlet", "panel-9", "--by", WHO), "no outlet 'panel-9'"),
        (("clean.csv", "--outlet", "panel-2"), "Give --by NAME"),
        (("clean.csv", "--by", WHO), "Give --outlet NAME"),
        (("--outlet", "panel-2", "--by", WHO), "No file was given"),
        (("clean.csv", "--list"), "FILE says how to import"),
    ],
)
def test_what_cannot_be_used_leaves_with_2(home: Path, words: tuple[str, ...], said: str) -> None:
    """A sentence on the error stream and no traceback."""
    done = run("import", *words, "--workspace", "w", cwd=home)
    assert done.returncode == 2
    assert done.stdout == ""
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_imports_are_listed_and_taken_out(home: Path) -> None:
    """The list gives the ids; taking one out needs a reason."""
    words = ("import", "clean.csv", "--outlet", "panel-2", "--by", WHO, "--workspace", "w")
    run(*words, cwd=home)
    listed = run("import", "--list", "--outlet", "panel-2", "--workspace", "w", cwd=home)
    assert listed.returncode == 0
    assert "clean.csv" in listed.stdout
    plain = json.loads(run("import", "--list", "--json", "--workspace", "w", cwd=home).stdout)
    found = next(one for one in plain["imports"] if one["outlet"] == "panel-2")
    out = ("import", "--void", found["id"], "--by", WHO, "--workspace", "w")
    assert "--reason" in run(*out, cwd=home).stderr
    gone = run(*out, "--reason", "wrong outlet", cwd=home)
    assert gone.returncode == 0, gone.stderr
    assert "counts no more" in gone.stdout
