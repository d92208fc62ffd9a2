"""``lungwort print`` as a user meets it."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import openpyxl
import pikepdf
import pytest
from attrs import frozen

from lungwort.cli import main
from lungwort.register.model import CartridgeChange, Outlet, Site, Stage, Supply, SupplyState
from lungwort.register.workspace import create_workspace

Run = Callable[..., "Done"]
PAPERS = ("report", "summary", "tag", "notice", "tests")


@frozen
class Done:
    """What a command left behind."""

    returncode: int
    stdout: str
    stderr: str


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Give a way to run lungwort in a folder, in this process: its start takes a while."""
    monkeypatch.setenv("COLUMNS", "100")
    for name in ("LUNGWORT_WORKSPACE", "LUNGWORT_BY", "LUNGWORT_DEBUG"):
        monkeypatch.delenv(name, raising=False)

    def done(*words: str, folder: Path) -> Done:
        monkeypatch.chdir(folder)
        monkeypatch.setattr(sys, "argv", ["lungwort", *words])
        with pytest.raises(SystemExit) as left:
            main.run()
        said = capsys.readouterr()
        return Done(int(left.value.code or 0), said.out, said.err)

    return done


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a workspace with a withdrawn supply whose cartridge was changed."""
    now = datetime.now(UTC) - timedelta(minutes=5)
    made = tmp_path_factory.mktemp("print") / "slip"
    with (
        create_workspace(made, name="slip (invented)", person="Wenna Harkle", now=now) as workspace,
        workspace.register.change(who="Wenna Harkle", now=now) as change,
    ):
        site = change.add(
            Site(name="slipway", zone="Europe/London", limit_set="en12021-2014-airline")
        )
        supply = change.add(Supply(site_id=site.id, name="yard"))
        change.add(Outlet(supply_id=supply.id, name="hose"))
        stage = change.add(Stage(supply_id=supply.id, name="carbon", change_months=6))
        change.add(CartridgeChange(stage_id=stage.id, time=now, by_id=change.who.id))
        change.add(
            SupplyState(
                supply_id=supply.id,
                state="withdrawn",
                time=now,
                why="smell of oil",
                by_id=change.who.id,
            )
        )
    return made


@pytest.mark.parametrize("paper", PAPERS)
def test_every_paper_has_a_help_with_an_example(run: Run, paper: str, tmp_path: Path) -> None:
    """And every option is explained."""
    done = run("print", paper, "--help", folder=tmp_path)

    assert done.returncode == 0
    assert f"Example: lungwort print {paper}" in " ".join(done.stdout.split())
    assert "--workspace DIR" in done.stdout


@pytest.mark.parametrize(
    ("words", "file"),
    [
        (("report", "yard", "--by", "Wenna Harkle"), "report-yard.pdf"),
        (("summary", "--within", "8w"), "summary-slipway.pdf"),
        (("tag", "yard", "--stage", "carbon", "--paper", "a4"), "tag-yard.pdf"),
        (("notice", "yard", "--decides", "the yard manager"), "notice-yard.pdf"),
    ],
)
def test_papers_are_written(run: Run, folder: Path, words: tuple[str, ...], file: str) -> None:
    """Into the current folder if nothing else is said; the output names the file."""
    done = run("print", *words, folder=folder)

    assert (done.returncode, done.stderr) == (0, "")
    assert f"Written: {file}" in done.stdout
    with pikepdf.open(io.BytesIO((folder / file).read_bytes())) as made:
        assert made.open_metadata()["pdfaid:part"] == "3"
    (folder / file).unlink()


def test_the_workbook_is_written(run: Run, folder: Path, tmp_path: Path) -> None:
    """From another folder, with the workspace named."""
    target = tmp_path / "all.xlsx"
    done = run("print", "tests", "--xlsx", str(target), "--workspace", str(folder), folder=tmp_path)

    assert done.returncode == 0
    assert openpyxl.load_workbook(target).sheetnames[0] == "Tests"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("report", "yrad"), "yrad"),
        (("report", "yard", "--from", "soon"), "--from 'soon' is no day"),
        (("report", "yard", "--by", "Nobody"), "Nobody"),
        (("summary", "--site", "quay"), "quay"),
        (("summary", "--within", "soon"), "--within 'soon' is no length of time"),
        (("tag", "yard", "--paper", "a5"), "there are no tags on 'a5'. Give a6 or a4."),
        (("tag", "yard", "--stage", "drier"), "drier"),
        (("notice", "yard", "--pdf", "none/notice.pdf"), "does not exist. Make the folder first"),
    ],
)
def test_mistakes_get_a_message(run: Run, folder: Path, words: tuple[str, ...], said: str) -> None:
    """Exit code 2, one message, no traceback, no file."""
    before = {one.name for one in folder.iterdir()}
    done = run("print", *words, folder=folder)

    assert done.returncode == 2
    assert said in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert {one.name for one in folder.iterdir() if one.suffix == ".pdf"} <= before


def test_without_a_workspace_it_says_how_to_make_one(run: Run, tmp_path: Path) -> None:
    """As every command of the record."""
    done = run("print", "tests", folder=tmp_path)

    assert done.returncode == 2
    assert "lungwort workspace create" in done.stderr
