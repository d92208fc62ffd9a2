"""``certify``, ``withdraw``, ``return`` and ``finding`` as a user meets them. All is invented."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from tests.jobs.certify_story import MORNING, WENNA, Story, begin
from tests.paper.test_sign import PASSPHRASE, _authority, _key_file
from typer.testing import CliRunner, Result

from lungwort.cli import things
from lungwort.cli.main import app
from lungwort.errors import LungwortError
from lungwort.paper.sign import check_signature
from lungwort.register.model import Certificate, VerdictRecord
from lungwort.register.workspace import Workspace

HOUR = timedelta(hours=1)
NOON = MORNING + 4 * HOUR
Run = Callable[..., Result]


@pytest.fixture
def story(sqlite_workspace: Workspace) -> Story:
    """Give the invented site."""
    return begin(sqlite_workspace)


@pytest.fixture
def run(story: Story, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    """Give a way to run a command at a time of the story."""
    for name in ("LUNGWORT_WORKSPACE", "COLUMNS", "LUNGWORT_PKCS12_PASSPHRASE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LUNGWORT_BY", WENNA)
    monkeypatch.chdir(tmp_path)

    def call(*words: str | Path, now: datetime = NOON, code: int = 0, fails: str = "") -> Result:
        monkeypatch.setattr(things, "now", lambda: now)
        given = [*map(str, words), "--workspace", str(story.workspace.folder)]
        result = CliRunner().invoke(app, given)
        if fails:
            assert isinstance(result.exception, LungwortError), result.output
            assert fails in " ".join(str(result.exception).split())
        else:
            assert result.exit_code == code, result.output + repr(result.exception)
        return result

    return call


def words_of(result: Result) -> str:
    """Give what was printed with single blanks."""
    return " ".join(result.stdout.split())


def json_of(result: Result) -> dict[str, Any]:
    """Read the one JSON document that was printed."""
    document: dict[str, Any] = json.loads(result.stdout)
    return document


def test_a_certificate_on_the_screen(story: Story, run: Run, tmp_path: Path) -> None:
    """Verdict, number, digest, the tree head to note down, and what to do next."""
    story.hand_test(MORNING)
    story.log(tmp_path, MORNING)
    told = words_of(run("certify", "slip 2", "--pdf", "copy.pdf"))
    (given,) = story.workspace.register.all(Certificate)
    assert "● CONFORMS" in told
    assert "Slip 2, supply main" in told
    assert "Times: " not in told
    assert "● CERTIFICATE SLIPWAY-2026-0001" in told
    assert f"SHA-256 {given.result_sha256}" in told
    assert f"Tree head: {given.tree_size} {given.tree_root}" in told
    assert "Next test by: 2026-06-04" in told
    assert "Written: copy.pdf" in told
    assert "Chosen by rule: the newest test by hand" in told
    assert "Next: Note the tree head down outside this computer" in told
    assert (tmp_path / "copy.pdf").read_bytes()[:5] == b"%PDF-"


def test_json_is_one_document(story: Story, run: Run, tmp_path: Path) -> None:
    """Nothing else is printed."""
    story.hand_test(MORNING)
    story.log(tmp_path, MORNING)
    told = json_of(run("certify", "Slip 2", "--json", "--no-certificate"))
    assert told["result"]["verdict"] == "conforms"
    assert told["certificate"] is None
    assert told["verdict"]["by_id"] == story.wenna.id


def test_bad_air_through_the_commands(story: Story, run: Run, tmp_path: Path) -> None:
    """From the finding to the return, each step says what comes next."""
    story.hand_test(MORNING)
    story.log(tmp_path, MORNING, co=9.0)
    told = words_of(run("certify", "Slip 2", code=1))
    assert "✕ FINDING F-2026-0001" in told
    assert 'Next: Withdraw the supply now: \'lungwort withdraw "main" --because' in told
    told = words_of(run("withdraw", "main", "--because", "F-2026-0001"))
    assert "Supply main is withdrawn: nobody may breathe its air." in told
    assert "Findings F-2026-0001" in told
    assert 'lungwort print notice "main"' in told
    told = words_of(run("finding", "list"))
    assert "F-2026-0001 open main Slip 2 4 Mar 2026" in told
    run("return", "main", fails="1. Finding F-2026-0001 has no cause on record.")
    run("finding", "cause", "F-2026-0001", "--text", "Exhaust at the intake.")
    told = words_of(run("finding", "cure", "F-2026-0001", "--text", "Intake moved."))
    assert "Cure Intake moved. (4 Mar 2026 12:00:00, Wenna Harkle)" in told
    assert "To close it · Outlet Slip 2 has no conforming verdict" in told
    run("finding", "note", "F-2026-0001", "--text", "The crew was told.")
    run("finding", "close", "F-2026-0001", "--because", "Well.", fails="cannot be closed")
    story.hand_test(NOON + 2 * HOUR)
    told = words_of(run("certify", "Slip 2", now=NOON + 3 * HOUR))
    assert "No certificate · Supply main is withdrawn." in told
    assert "Next: This verdict is a retest. Return the supply" in told
    told = words_of(run("return", "main", "--because", "Cured.", now=NOON + 3 * HOUR))
    assert "Supply main is in service." in told
    assert "Why Cured." in told
    told = words_of(run("finding", "show", "F-2026-0001", now=NOON + 3 * HOUR))
    assert "F-2026-0001, closed" in told
    assert "Closed Supply main was returned to service." in told
    assert "No finding is open." in words_of(run("finding", "list", now=NOON + 3 * HOUR))
    assert "closed" in words_of(run("finding", "list", "--all", now=NOON + 3 * HOUR))
    told = words_of(run("certify", "Slip 2", now=NOON + 3 * HOUR))
    assert "CERTIFICATE SLIPWAY-2026-0001" in told


def test_not_proven_leaves_with_3(story: Story, run: Run, tmp_path: Path) -> None:
    """What is missing is told."""
    story.log(tmp_path, MORNING, named=False)
    told = words_of(run("certify", "Slip 2", code=3))
    assert "? NOT PROVEN" in told
    assert "What it rests on was not in order" in told
    assert "It is not said which instrument made the log" in told
    assert "Next: Get what is missing" in told


def test_findings_by_hand(run: Run) -> None:
    """Opened, listed and closed, and as JSON."""
    run("finding", "list", "--json")
    assert "No finding is on record." in words_of(run("finding", "list", "--all"))
    told = json_of(
        run("finding", "open", "main", "--text", "Smell.", "--analyte", "odour", "--json")
    )
    assert (told["number"], told["open"], told["analytes"]) == ("F-2026-0001", True, ["odour"])
    run("finding", "open", "main", "--text", "Log book gone.", "--outlet", "Slip 2", "--not-air")
    assert "Not about the air." in words_of(run("finding", "show", "F-2026-0002"))
    run("finding", "close", "F-2026-0002", "--because", "Found.", "--not-air")
    told = json_of(run("finding", "list", "--all", "--json"))
    assert [one["open"] for one in told["findings"]] == [True, False]
    told = json_of(run("withdraw", "main", "--because", "Smell.", "--json"))
    assert (told["state"], told["findings"]) == ("withdrawn", ["F-2026-0001"])


def test_a_dry_run_says_so(story: Story, run: Run, tmp_path: Path) -> None:
    """Nothing is recorded."""
    story.hand_test(MORNING)
    story.log(tmp_path, MORNING)
    told = words_of(run("certify", "Slip 2", "--dry-run"))
    assert "Nothing was recorded" in told
    assert "Recorded as" not in told
    assert story.workspace.register.all(VerdictRecord) == []


def test_a_digital_signature(
    story: Story, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The passphrase comes from the environment; a wrong one leaves nothing on record."""
    story.hand_test(MORNING)
    story.log(tmp_path, MORNING)
    authority = _authority()
    key = tmp_path / "wenna.p12"
    key.write_bytes(_key_file(authority))
    monkeypatch.setenv("LUNGWORT_PKCS12_PASSPHRASE", "wrong")
    run("certify", "Slip 2", "--sign-with", key, fails="the passphrase is wrong")
    assert story.workspace.register.all(VerdictRecord) == []
    monkeypatch.setenv("LUNGWORT_PKCS12_PASSPHRASE", PASSPHRASE.decode("ascii"))
    told = words_of(run("certify", "Slip 2", "--sign-with", key))
    assert "digitally signed" in told
    (given,) = story.workspace.register.all(Certificate)
    assert given.digitally_signed
    pdf = story.workspace.read_file(given.pdf_sha256)
    report = check_signature(pdf, [authority.pem], now=NOON)
    assert (report.signed, report.intact, report.covers_whole_file) == (True, True, True)
    assert report.trusted
    changed = pdf.replace(b"SLIPWAY", b"SLIPWEY", 1) if b"SLIPWAY" in pdf else pdf[:-1]
    assert not check_signature(changed, [authority.pem], now=NOON).intact
    with pikepdf.open(io.BytesIO(pdf)) as read:
        assert len(read.attachments) == 1


def test_copies_of_certificates(story: Story, run: Run, tmp_path: Path) -> None:
    """Byte for byte as it was issued; a voided one is listed and not handed out."""
    assert "No certificate is on record." in words_of(run("print", "certificate"))
    story.hand_test(MORNING)
    assert "Times: Europe/London" in words_of(run("certify", "Slip 2"))
    assert "rests on the same evidence already" in words_of(run("certify", "Slip 2"))
    first, second = story.workspace.register.all(Certificate)
    told = words_of(run("print", "certificate", "slipway-2026-0001"))
    assert "SLIPWAY-2026-0001, replaced by a newer one Written: SLIPWAY-2026-0001.pdf" in told
    kept = story.workspace.read_file(first.pdf_sha256)
    assert (tmp_path / "SLIPWAY-2026-0001.pdf").read_bytes() == kept
    copied = json_of(run("print", "certificate", first.id, "--pdf", "b.pdf", "--json"))
    assert (copied["number"], copied["pdf"]) == ("SLIPWAY-2026-0001", "b.pdf")
    (tmp_path / "log.csv").write_text("a,b\n", encoding="utf-8")
    run("print", "certificate", first.id, "--pdf", "log.csv", fails="is no PDF of lungwort")
    run("print", "certificate", "SLIPWAY-2026-0009", fails="SLIPWAY-2026-0009")
    with story.workspace.register.change(who=WENNA, now=NOON) as change:
        change.void(second, "Issued by mistake.")
    run("print", "certificate", second.number, fails="was voided and is not handed out")
    told = words_of(run("print", "certificate", "--supply", "main"))
    assert "SLIPWAY-2026-0002 voided main Slip 2" in told
    late = NOON + timedelta(days=200)
    listed = json_of(run("print", "certificate", "--json", now=late))["certificates"]
    assert [one["standing"] for one in listed] == ["past its next test", "voided"]
    run("withdraw", "main", "--because", "Smell.")
    listed = json_of(run("print", "certificate", "--json"))["certificates"]
    assert [one["standing"] for one in listed] == ["supply withdrawn", "voided"]


def test_every_command_shows_an_example(run: Run) -> None:
    """Help names the options and gives an example."""
    for words in (
        ("certify",),
        ("withdraw",),
        ("return",),
        ("print", "certificate"),
        *(("finding", one) for one in ("list", "show", "open", "cause", "cure", "note", "close")),
    ):
        result = CliRunner().invoke(app, [*words, "--help"])
        assert result.exit_code == 0
        assert "Example:" in result.stdout
    assert run is not None
