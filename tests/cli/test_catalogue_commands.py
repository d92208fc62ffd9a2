"""Commands on sites, supplies, outlets, instruments, persons and lots, as a user meets them."""

from __future__ import annotations

import functools
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import typer.main
import typer.testing
from typer.testing import CliRunner, Result

from lungwort.cli import things
from lungwort.cli.main import app
from lungwort.errors import LungwortError

Run = Callable[..., Result]
NOUNS = ("site", "supply", "outlet", "instrument", "person", "lot")
NAMES = {
    "site": "slipway",
    "supply": "hall",
    "outlet": "hall-1",
    "instrument": "analyser-1",
    "person": "Wenna Harkle",
    "lot": "co-tubes",
}
SETUP: tuple[tuple[str, ...], ...] = (
    ("site", "add", "slipway", "--zone", "Europe/London", "--limits", "en12021-2014-airline"),
    ("supply", "add", "hall", "--kind", "airline-compressor", "--pressure", "7 bar(g)"),
    ("supply", "stage", "hall", "fine", "--kind", "filter", "--change-hours", "1000"),
    ("outlet", "add", "hall-1", "--place", "north wall"),
    ("outlet", "equipment", "hall-1", "hood", "--minimum-flow", "170 L/min", "--count", "2"),
    ("instrument", "add", "analyser-1", "--channel", "co=0-100 ppm ± 2 ppm", "--serial", "4711"),
    ("lot", "add", "co-tubes", "--kind", "tube", "--analyte", "co", "--stock", "10"),
)


@pytest.fixture(scope="module", autouse=True)
def _built_once() -> Iterator[None]:
    """Build the tree of commands once: it takes as long as most commands themselves."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(typer.testing, "_get_command", functools.cache(typer.main.get_command))
        yield


def _invoke(*words: str) -> Result:
    return CliRunner().invoke(app, list(words))


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the folder of a workspace that was furnished by commands (invented), to be copied."""
    folder = tmp_path_factory.mktemp("commands") / "slip"
    with pytest.MonkeyPatch.context() as patch:
        for name in ("LUNGWORT_WORKSPACE", "LUNGWORT_BY"):
            patch.delenv(name, raising=False)
        made = _invoke(
            *("workspace", "create", str(folder)),
            *("--name", "Merrowgate Slipway (invented)", "--person", "Wenna Harkle"),
        )
        assert made.exit_code == 0, made.output
        for words in SETUP:
            done = _invoke(*words, "--workspace", str(folder))
            assert done.exit_code == 0, f"{words}: {done.output}{done.exception!r}"
    return folder


@pytest.fixture
def run(template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Give a way to run commands in a copy of it."""
    for name in ("LUNGWORT_WORKSPACE", "LUNGWORT_BY", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(shutil.copytree(template, tmp_path / "slip"))

    def call(*words: str, fails: str = "") -> Result:
        result = _invoke(*words)
        if fails:
            assert isinstance(result.exception, LungwortError), result.output
            said = str(result.exception)
            assert fails in " ".join(said.split())
            assert said.endswith(".")
        else:
            assert result.exit_code == 0, result.output + repr(result.exception)
        return result

    return call


def flat(result: Result) -> str:
    """Give the output with every run of blanks as one, wherever lines were broken."""
    return " ".join(result.output.split())


def test_the_way_from_site_to_test_is_shown_step_by_step(run: Run) -> None:
    """Each addition names the next one: site, supply, outlet, instrument, then the test."""
    site = flat(run("site", "add", "dock", "--zone", "Europe/London"))
    assert "Next: lungwort supply add NAME --site dock --kind airline-compressor" in site
    supply = flat(run("supply", "add", "crane", "--site", "dock", "--kind", "ring-main"))
    assert "lungwort outlet add NAME --supply crane" in supply
    outlet = flat(run("outlet", "add", "crane-1", "--supply", "crane"))
    assert "lungwort instrument add NAME --channel 'co=0-100 ppm ± 2 ppm'" in outlet
    assert "lungwort test start crane-1" in outlet
    instrument = flat(run("instrument", "add", "meter-2"))
    assert "lungwort instrument calibrate meter-2 --row" in instrument
    person = flat(run("person", "add", "Idris Pellow"))
    assert 'Next: lungwort test start OUTLET --by "Idris Pellow"' in person


def test_a_next_step_stays_on_one_line(run: Run) -> None:
    """A command that is to be copied is not broken at the edge."""
    lines = run("instrument", "add", "meter-2").output.splitlines()
    (line,) = [one for one in lines if one.startswith("Next: ")]
    assert line.endswith("proves nothing)")
    assert len(line) > 100


@pytest.mark.parametrize("noun", NOUNS)
def test_every_noun_lists_and_shows_as_text_and_json(run: Run, noun: str) -> None:
    """The same verbs and options for all: list, show, --all, --json, --history."""
    name = NAMES[noun]
    assert name in run(noun, "list").output
    assert name in run(noun, "list", "--all").output
    listed = json.loads(run(noun, "list", "--json").stdout)
    plural = {"supply": "supplies"}.get(noun, f"{noun}s")
    assert [one["name"] for one in listed[plural]] == [name]
    assert listed["not_shown"] == 0
    shown = run(noun, "show", name, "--history").output
    assert "History" in shown
    assert f"{noun.capitalize()} {name}" in shown
    plain = json.loads(run(noun, "show", name, "--json", "--history").stdout)
    assert plain[noun]["name"] == name
    assert plain[noun]["id"].startswith(f"{noun}-")
    assert [one["version"] for one in plain["history"]] == [1]
    assert plain["history"][0]["recorded_by"] == "Wenna Harkle"
    by_id = json.loads(run(noun, "show", plain[noun]["id"], "--json").stdout)
    assert by_id[noun] == plain[noun]


@pytest.mark.parametrize("noun", NOUNS)
def test_every_noun_changes_with_a_reason_and_keeps_the_version_before(run: Run, noun: str) -> None:
    """--note changes anything; without --reason it is refused."""
    name = NAMES[noun]
    run(noun, "change", name, "--note", "see the folder", fails="--reason is missing")
    run(noun, "change", name, "--reason", "x", fails="Nothing is given that would change")
    done = flat(run(noun, "change", name, "--note", "see the folder", "--reason", "asked for"))
    assert "Version 2 of" in done
    assert "→ see the folder" in done
    run(
        noun, "change", name, "--note", "see the folder", "--reason", "x", fails="like that already"
    )
    history = flat(run(noun, "show", name, "--history"))
    assert "→ see the folder" in history
    assert "asked for" in history


@pytest.mark.parametrize("noun", NOUNS)
def test_every_noun_is_renamed_and_found_by_its_new_name(run: Run, noun: str) -> None:
    """The id stays."""
    before = json.loads(run(noun, "show", NAMES[noun], "--json").stdout)[noun]["id"]
    new = "Wenna Harkle-Pellow" if noun == "person" else "new-name"
    run(noun, "change", NAMES[noun], "--name", new, "--reason", "renamed")
    assert json.loads(run(noun, "show", new, "--json").stdout)[noun]["id"] == before
    run(noun, "show", NAMES[noun], fails=f"no {noun} '{NAMES[noun]}' on record")


@pytest.mark.parametrize("noun", NOUNS)
def test_every_noun_refuses_a_name_that_is_taken_or_none(run: Run, noun: str) -> None:
    """The message names what is on record."""
    needs = {
        "supply": ("--kind", "ring-main"),
        "lot": ("--kind", "other"),
    }.get(noun, ())
    run(noun, "add", NAMES[noun].upper(), *needs, fails=NAMES[noun])
    run(noun, "add", "!", *needs, fails="NAME '!' has ")
    run(noun, "show", f"{NAMES[noun]}x", fails=NAMES[noun])


@pytest.mark.parametrize("noun", [one for one in NOUNS if one not in {"person", "lot", "site"}])
def test_retire_and_in_use(run: Run, noun: str) -> None:
    """Retired: not listed, told; back in use: listed again."""
    run(noun, "change", NAMES[noun], "--retire", "--reason", "given up")
    listed = flat(run(noun, "list"))
    assert NAMES[noun] not in listed
    assert "1 no longer in use is not shown: add --all." in listed
    assert f"{NAMES[noun]} (retired)" in run(noun, "list", "--all").output
    assert "no: retired" in run(noun, "show", NAMES[noun]).output
    run(noun, "change", NAMES[noun], "--in-use", "--reason", "back again")
    assert NAMES[noun] in run(noun, "list").output


@pytest.mark.parametrize("noun", NOUNS)
def test_void_of_what_is_referred_to_and_of_what_is_not(run: Run, noun: str) -> None:
    """A site with a supply stays; an outlet without tests goes once its equipment is void."""
    name = NAMES[noun]
    run(noun, "void", name, fails="--reason is missing")
    refused = {
        "site": "supply hall on record refers to it",
        "supply": "outlet hall-1",
        "outlet": "wearer equipment",
        "person": "only person",
    }.get(noun)
    if refused:
        run(noun, "void", name, "--reason", "mistake", fails=refused)
        return
    assert "is void" in flat(run(noun, "void", name, "--reason", "mistake"))
    run(noun, "show", name, fails="on record")


def test_who_makes_a_change_is_asked_once_there_are_two(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """--by goes before LUNGWORT_BY, which goes before the only person."""
    only = flat(run("person", "add", "Idris Pellow", "--competent-until", "2099-12-31"))
    assert "Recorded as done by Wenna Harkle, the only person on record." in only
    event = ("supply", "event", "hall", "--kind", "maintenance", "--what", "valves changed")
    run(*event, fails="Give --by NAME or set LUNGWORT_BY. On record: Idris Pellow, Wenna Harkle.")
    run(*event, "--by", "Idris", fails="There is no person 'Idris' on record")
    monkeypatch.setenv("LUNGWORT_BY", "Wenna Harkle")
    run(*event)
    run(*event, "--by", "idris pellow")
    events = json.loads(run("supply", "show", "hall", "--json").stdout)["events"]
    persons = {
        one["id"]: one["name"]
        for one in json.loads(run("person", "list", "--json").stdout)["persons"]
    }
    assert [persons[one["by_id"]] for one in events] == ["Wenna Harkle", "Idris Pellow"]


def test_a_year_of_a_supply(run: Run) -> None:
    """Stage, cartridge, hours, events: all is shown, with ids by which to void."""
    cartridge = ("supply", "cartridge", "hall", "fine")
    done = flat(run(*cartridge, "--hours", "1234,5", "--time", "2026-01-05 09:00"))
    assert "at 5 Jan 2026 09:00:00 (Europe/London)" in done
    run("supply", "hours", "hall", "1300", "--time", "2026-02-05 09:00")
    run("supply", "hours", "hall", "1200", fails="1200 h is less than 1300 h")
    run("supply", "hours", "hall", "1,234", fails="can be read as 1234 or as 1.234")
    run("supply", "event", "hall", "--kind", "doubt", "--what", "smell of oil")
    shown = flat(run("supply", "show", "hall"))
    for part in ("1234.5 h", "1300 h", "smell of oil", "under test", "7 bar(g)", "hall-1"):
        assert part in shown
    plain = json.loads(run("supply", "show", "hall", "--json").stdout)
    meter = plain["running_hours"][-1]
    assert meter["hours"] == "1300"
    assert meter["id"] in shown
    gone = flat(run("supply", "void", meter["id"], "--reason", "misread"))
    assert f"Running hours {meter['id']} is void" in gone
    run("supply", "hours", "hall", "1250", "--time", "2026-02-05 09:00")


def test_calibration_and_bump_test(run: Run, tmp_path: Path) -> None:
    """The issue of a calibration is asked for, held against its rows, and shown."""
    words = ("instrument", "calibrate", "analyser-1")
    run(*words, fails="Give --passed where the instrument may be used, else --failed")
    run(*words, "--row", "co=50/40 ppm ± 2 ppm", "--passed", fails="did not pass")
    paper = tmp_path / "certificate.pdf"
    paper.write_bytes(b"%PDF-1.7 invented")
    done = flat(
        run(
            *words,
            *("--row", "co=50/40/50,1 ppm ± 2 ppm", "--passed", "--valid-until", "2099-03-31"),
            *("--paper", str(paper), "--done-by", "test laboratory (invented)"),
        )
    )
    assert "is on record as passed" in done
    bump = ("instrument", "bump", "analyser-1", "--row", "co=50/46 ppm ± 10 % of reference")
    assert "is on record as passed" in flat(run(*bump, "--passed"))
    shown = flat(run("instrument", "show", "analyser-1"))
    assert "co at 50 ppm (± 2 ppm): as found 40 ppm, as left 50.1 ppm" in shown
    calibration = json.loads(run("instrument", "show", "analyser-1", "--json").stdout)[
        "calibrations"
    ][-1]
    assert (calibration["kind"], calibration["by"]) == ("calibration", "test laboratory (invented)")
    run("instrument", "paper", calibration["id"], "--to", "out.pdf")
    assert Path("out.pdf").read_bytes() == paper.read_bytes()


def test_lots_are_used_up(run: Run) -> None:
    """What is left is derived."""
    assert "8 left" in flat(run("lot", "use", "co-tubes", "2", "--why", "broken"))
    run("lot", "use", "co-tubes", "9", "--why", "x", fails="only 8 of lot co-tubes are left")
    assert json.loads(run("lot", "list", "--json").stdout)["lots"][0]["left"] == 8


def test_outlets_of_one_supply(run: Run) -> None:
    """--supply narrows the list; an unknown one is refused."""
    run("supply", "add", "crane", "--kind", "ring-main")
    run("outlet", "add", "crane-1", "--supply", "crane")
    assert "hall-1" not in run("outlet", "list", "--supply", "crane").output
    run("outlet", "list", "--supply", "crain", fails="Did you mean crane")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("site add x --zone Europe/Londn", "Did you mean 'Europe/London'"),
        (
            "site add x --limits en12021-airline",
            "--limits: limit set 'en12021-airline' is not known",
        ),
        ("site add x --plan yearly", "--plan: rule set 'yearly' is not known"),
        ("site add x --retention-years 0", "--retention-years '0' is out of range"),
        ("site add x --second-signature maybe", "Give yes or no"),
        ("supply add x", "Give --kind with one of: airline-compressor"),
        ("supply add x --kind ring-main --pressure 7", "--pressure '7'"),
        ("supply add x --kind ring-main --lowest-temperature cold", "--lowest-temperature 'cold'"),
        ("supply stage hall x --kind filtr", "Did you mean 'filter'"),
        ("supply cartridge hall x", "Supply hall has no stage 'x'"),
        ("supply hours hall many", "'many' is no number"),
        ("supply event hall --kind moved", "--what is missing"),
        ("outlet add x --supply y", "no supply 'y' on record"),
        ("outlet equipment hall-1 hood --minimum-flow fast --reason x", "--minimum-flow 'fast'"),
        ("instrument add x --channel co", "not of the form name=value"),
        ("instrument add x --bump-days 1.5", "no whole number of days"),
        ("person add Idris --competent-until 31/3/2027", "Write year, month, day, like 2026-03-04"),
        ("lot add x --kind tube", "Give --analyte"),
        ("lot use co-tubes none --why x", "COUNT 'none' is no whole number"),
        ("supply assess hall --answer x", "--answer 'x' is not of the form name=value"),
    ],
)
def test_a_mistake_gets_a_clear_message_and_records_nothing(
    run: Run, words: str, message: str
) -> None:
    """What was found, where, and what would do; the journal does not grow."""
    before = json.loads(run("workspace", "show", "--json").stdout)["journal"]
    run(*words.split(), fails=message)
    assert json.loads(run("workspace", "show", "--json").stdout)["journal"] == before


def test_an_assessment_by_options(run: Run) -> None:
    """Without --months the proposal alone; with it the decision, and a longer one needs --why."""
    words = ("supply", "assess", "hall", "--answer", "mobile=no")
    shown = flat(run(*words))
    assert "The answers lead to a test every month." in shown
    assert "Nothing is recorded" in shown
    assert "common practice, no source" in shown
    plain = json.loads(run(*words, "--json").stdout)
    assert (plain["proposed_months"], plain["recorded"]) == (1, False)
    run(*words, "--months", "3", fails="Say --why")
    assert json.loads(run("supply", "show", "hall", "--json").stdout)["assessments"] == []
    done = json.loads(run(*words, "--months", "3", "--why", "watched", "--json").stdout)
    assert done["recorded"] is True
    assert done["assessment"]["answers"] == [["mobile", "no"]]
    assert "Decided for hall" in flat(run(*words, "--months", "1"))


def test_an_assessment_at_a_terminal(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Questions that were not answered by options are asked; a wrong number is asked again."""
    monkeypatch.setattr(things, "at_terminal", lambda: True)
    # source, intake, age, history, purifier, [mobile given], people, danger; months; why
    lines = ["2", "9", "3", "1", "1", "1", "1", "2", "2", ""]
    result = CliRunner().invoke(
        app, ["supply", "assess", "hall", "--answer", "mobile=no"], input="\n".join(lines) + "\n"
    )
    assert result.exit_code == 0, result.output
    assert "What gives the air?" in result.output
    assert "Is the supply moved" not in result.output.split("The answers lead")[0]
    assert "Give a number from 1 to 3." in result.output
    (record,) = json.loads(run("supply", "show", "hall", "--json").stdout)["assessments"]
    assert dict(record["answers"])["source"] == "oil_free"
    assert dict(record["answers"])["danger"] == "no"
    assert (record["proposed_months"], record["chosen_months"]) == (3, 2)

    result = CliRunner().invoke(app, ["supply", "assess", "hall"], input="\n" * 9)
    assert result.exit_code == 0, result.output
    assert "Nothing is recorded" in result.output


def test_lists_of_an_empty_workspace_say_what_to_do(tmp_path: Path) -> None:
    """Nothing on record is a sentence, not an empty table."""
    folder = str(tmp_path / "empty")
    _invoke("workspace", "create", folder, "--name", "x", "--person", "Wenna Harkle")
    for noun in ("site", "supply", "outlet", "instrument", "lot"):
        said = flat(_invoke(noun, "list", "--workspace", folder))
        assert f"Next: lungwort {noun} add NAME" in said, noun
        assert json.loads(_invoke(noun, "list", "--workspace", folder, "--json").stdout)


def test_tables_fit_into_a_hundred_columns(run: Run) -> None:
    """In a file no line of a table is longer; only next steps may be."""
    for noun in NOUNS:
        for words in ((noun, "list"), (noun, "show", NAMES[noun], "--history")):
            for line in run(*words).output.splitlines():
                assert len(line) <= 100, line


@pytest.mark.usefixtures("run")
def test_in_a_process_of_its_own() -> None:
    """Exit code 2 and one sentence on the error stream; 0 and JSON in UTF-8 where it is well."""
    environment = {**os.environ, "PYTHONIOENCODING": "cp1252"}

    def process(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "lungwort", *words],
            check=False,
            capture_output=True,
            env=environment,
            encoding="utf-8",
        )

    wrong = process("supply", "show", "hal")
    assert (wrong.returncode, wrong.stdout) == (2, "")
    assert wrong.stderr.startswith(
        "lungwort: There is no supply 'hal' on record. Did you mean hall?"
    )
    right = process("instrument", "show", "analyser-1", "--json")
    assert (right.returncode, right.stderr) == (0, "")
    assert json.loads(right.stdout)["instrument"]["channels"][0]["uncertainty"] == "2"
    text = process("instrument", "show", "analyser-1")
    assert "co: 0 to 100 ppm ± 2 ppm" in text.stdout
