"""From evidence on record to a certificate or a finding. The site and all readings are invented."""

from __future__ import annotations

import hashlib
import io
import json
import threading
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pikepdf
import pytest
from attrs import evolve
from tests.jobs.certify_story import CLEAN, IDRIS, MORNING, WENNA, Story, begin

from lungwort.errors import InputError, OutputError, RegisterError, UnknownRecordError
from lungwort.jobs.certify import CertifyRequest, certify, plain
from lungwort.jobs.finding import add_action, open_finding
from lungwort.jobs.judging import judge_evidence, rejudge
from lungwort.jobs.numbers import certificate_stem
from lungwort.jobs.opening import Where
from lungwort.jobs.return_ import against
from lungwort.jobs.withdraw import withdraw
from lungwort.paper import certificate as paper
from lungwort.register.model import (
    ABORTED,
    VOID,
    Calibration,
    Certificate,
    Event,
    Finding,
    HandTest,
    LogImport,
    Outlet,
    Person,
    Site,
    Supply,
    SupplyState,
    VerdictRecord,
)
from lungwort.register.workspace import Workspace, create_workspace, open_workspace

NOON = MORNING + timedelta(hours=4)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)


@pytest.fixture
def story(workspace: Workspace) -> Story:
    """Give the invented site, on either database."""
    return begin(workspace)


@pytest.fixture
def alone(sqlite_workspace: Workspace) -> Story:
    """Give the invented site where the database makes no difference."""
    return begin(sqlite_workspace)


def size(story: Story) -> int:
    """Count the entries of the journal."""
    return story.workspace.register.head().size


def test_clean_air_gets_a_certificate(story: Story, tmp_path: Path) -> None:
    """Verdict and certificate are recorded in one change, with all that proves them."""
    test = story.hand_test(MORNING)
    log = story.log(tmp_path, MORNING)
    before = size(story)
    copy = tmp_path / "copy.pdf"
    done = story.certify(NOON, pdf=copy)
    register = story.workspace.register

    assert done.verdict.overall == "conforms"
    assert done.exit_code == 0
    assert done.certificate is not None
    assert done.record is not None
    assert size(story) == before + 2
    record = register.get(VerdictRecord, done.record.id)
    given = register.get(Certificate, "slipway-2026-0001")
    assert given == done.certificate
    assert given.number == "SLIPWAY-2026-0001"
    assert given.verdict_id == record.id
    assert record.hand_test_ids == (test.id,)
    assert record.log_import_ids == (log.id,)
    assert record.pressure_bar_g == Decimal(7)
    assert record.limit_set == "en12021-2014-airline"
    assert record.lapses == ()
    # The tree head is that after the verdict and before the certificate.
    assert given.tree_size == record.seq == given.seq - 1
    assert register.head(given.tree_size).root == given.tree_root
    # Files named by their digests.
    assert story.workspace.read_file(given.result_sha256).decode("utf-8") == done.result_json
    pdf = story.workspace.read_file(given.pdf_sha256)
    assert copy.read_bytes() == pdf
    assert done.pdf == copy
    with pikepdf.open(io.BytesIO(pdf)) as read:
        attached = read.attachments[paper.ATTACHMENT].get_file().read_bytes()
    assert attached.decode("utf-8") == done.result_json
    # Every three months from the oldest evidence that counts, which is of 4 March (UK guidance,
    # from memory: at least every three months).
    assert given.next_test_by == date(2026, 6, 4)
    assert any("tree head" in step for step in done.next_steps)


def test_the_evidence_of_each_limit_has_its_own_time(alone: Story, tmp_path: Path) -> None:
    """The newest evidence of each counts: the log's last reading, or the test by hand."""
    alone.hand_test(MORNING)
    log = alone.log(tmp_path, MORNING)
    done = alone.certify(NOON)
    assert done.record is not None
    words = {word.key: word for word in done.record.limits}
    assert (words["co"].evidence_time, words["co"].means) == (log.end, "log")
    assert (words["oil"].evidence_time, words["oil"].means) == (MORNING, "banded oil indicator")
    assert words["oil"].worst == "< 0.05 mg/m3"
    assert words["odour"].worst == "none noticed"
    assert words["water"].means == "hand test"
    margin = words["water_margin"]
    assert (margin.verdict, margin.evidence_time, margin.means) == ("not_applicable", None, "")


def test_a_verdict_is_drawn_again_byte_for_byte(
    story: Story, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was recorded later and another library of limits make no difference."""
    story.hand_test(MORNING)
    log = story.log(tmp_path, MORNING, co=7.0)
    done = story.certify(NOON, decision="guarded", guard_factor=0.5)
    assert done.record is not None
    monkeypatch.setattr("lungwort.limits.load.limit_set", None)
    monkeypatch.setattr("lungwort.verdict.decision.uncertainties", None)
    with story.workspace.register.change(who=WENNA, now=NOON) as change:
        change.replace(log, evolve(log, instrument_id=None), "It was another instrument.")
        supply = change.get(Supply, "main")
        change.replace(supply, evolve(supply, pressure_bar_g=Decimal(9)), "A stronger one.")
        outlet = change.get(Outlet, "Slip 2")
        change.replace(outlet, evolve(outlet, name="Slip 3"), "Renamed.")
    drawn = rejudge(story.workspace, done.record)
    assert drawn.decode("utf-8") == done.result_json
    assert hashlib.sha256(drawn).hexdigest() == done.record.result_sha256


def test_a_dry_run_records_nothing(alone: Story, tmp_path: Path) -> None:
    """It tells the verdict and what would stand against a certificate."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    before = size(alone)
    files = set((alone.workspace.folder / "files").iterdir())
    done = alone.certify(NOON, dry_run=True)
    assert done.verdict.overall == "conforms"
    assert (done.record, done.certificate, done.no_certificate) == (None, None, ())
    assert size(alone) == before
    assert set((alone.workspace.folder / "files").iterdir()) == files
    withdraw(alone.session(NOON), "main", "A smell.")
    done = alone.certify(NOON, dry_run=True)
    assert any("is withdrawn" in why for why in done.no_certificate)
    assert done.exit_code == 0
    outside = alone.log(tmp_path, NOON, co=9.0)
    done = alone.certify(NOON + 4 * HOUR, dry_run=True, logs=(outside.id,))
    assert (done.exit_code, done.finding) == (1, None)


def test_air_outside_opens_a_finding(story: Story, tmp_path: Path) -> None:
    """The withdrawal is proposed, and no certificate is issued."""
    story.hand_test(MORNING)
    story.log(tmp_path, MORNING, co=9.0)
    done = story.certify(NOON)
    assert done.exit_code == 1
    assert done.certificate is None
    assert done.record is not None
    assert done.finding is not None
    assert done.finding.number == "F-2026-0001"
    assert done.finding.analytes == ("co",)
    assert done.finding.verdict_id == done.record.id
    assert done.finding.outlet_id == story.outlet.id
    assert "Outlet Slip 2: carbon monoxide, limit ≤ 5 ppm: 60 readings above" in done.finding.text
    assert done.state is None
    assert done.next_steps[0].startswith('Withdraw the supply now: \'lungwort withdraw "main"')
    assert story.workspace.register.all(SupplyState) == []


def test_withdrawing_at_once(alone: Story, tmp_path: Path) -> None:
    """With --withdraw the supply is withdrawn in the same change."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING, co=9.0)
    before = size(alone)
    done = alone.certify(NOON, withdraw=True)
    assert done.finding is not None
    (state,) = alone.workspace.register.all(SupplyState)
    assert state == done.state
    assert (state.state, state.finding_ids) == ("withdrawn", (done.finding.id,))
    assert size(alone) == before + 3
    assert not any("Withdraw the supply now" in step for step in done.next_steps)


def test_the_same_excursion_twice_is_one_finding(alone: Story, tmp_path: Path) -> None:
    """It is noted on the finding that is open; after a cure it is a new finding."""
    alone.hand_test(MORNING)
    log = alone.log(tmp_path, MORNING, co=9.0)
    first = alone.certify(NOON)
    again = alone.certify(NOON + HOUR, logs=(log.id,))
    assert first.finding is not None
    assert again.finding == first.finding
    add_action(alone.session(NOON + 2 * HOUR), "F-2026-0001", "cause", "Exhaust at the intake.")
    add_action(alone.session(NOON + 2 * HOUR), "F-2026-0001", "cure", "Intake moved.")
    retest = alone.log(tmp_path, NOON + 3 * HOUR, co=8.0)
    third = alone.certify(NOON + 7 * HOUR, logs=(retest.id,))
    assert third.finding is not None
    assert third.finding.number == "F-2026-0002"


def test_missing_evidence_is_not_proven(alone: Story, tmp_path: Path) -> None:
    """The verdict is recorded with what is missing; there is no certificate and no finding."""
    alone.log(tmp_path, MORNING)
    done = alone.certify(NOON)
    assert done.exit_code == 3
    assert done.record is not None
    assert done.record.overall == "not_proven"
    assert (done.certificate, done.finding) == (None, None)
    assert any("no hand test of it was given" in why for why in done.record.reasons)
    words = {word.key: word for word in done.record.limits}
    assert words["oil"].evidence_time is None
    assert alone.workspace.register.all(Certificate) == []


@pytest.mark.parametrize(
    ("lapse", "told"),
    [
        ("calibration", "No calibration of instrument Analyser A"),
        ("bump", "The bump test of instrument Analyser A held until"),
        ("lot", "Lot OI-7 expired on 1 Mar 2026"),
        ("tester", "The competence of Idris Pellow to test ended on 1 Mar 2026"),
        ("log instrument", "It is not said which instrument made the log"),
    ],
)
def test_a_lapse_makes_it_not_proven(
    sqlite_workspace: Workspace, tmp_path: Path, lapse: str, told: str
) -> None:
    """A lapse forbids no record, and what rests on it proves nothing."""
    story = begin(sqlite_workspace)
    with sqlite_workspace.register.change(who=WENNA, now=MORNING - 2 * HOUR) as change:
        if lapse == "calibration":
            for one in change.all(Calibration, instrument_id=story.analyser.id):
                change.void(one, "It was of another instrument.")
        elif lapse == "bump":
            change.replace(story.analyser, evolve(story.analyser, bump_days=1), "Stricter.")
        elif lapse == "lot":
            lot = evolve(story.indicators, expires=date(2026, 3, 1))
            change.replace(story.indicators, lot, "As printed.")
        elif lapse == "tester":
            idris = evolve(story.idris, competent_until=date(2026, 3, 1))
            change.replace(story.idris, idris, "As on the paper.")
    story.hand_test(MORNING)
    story.log(tmp_path, MORNING, named=lapse != "log instrument")
    done = story.certify(NOON)
    assert done.verdict.overall == "not_proven"
    assert done.record is not None
    assert any(told in one for one in done.record.lapses)
    assert any(told in one for one in done.record.reasons)
    assert done.certificate is None
    assert rejudge(story.workspace, done.record).decode("utf-8") == done.result_json


def test_a_lapse_does_not_hide_what_is_outside(alone: Story, tmp_path: Path) -> None:
    """An instrument out of calibration that reads outside is believed."""
    with alone.workspace.register.change(who=WENNA, now=MORNING - 2 * HOUR) as change:
        for one in change.all(Calibration, instrument_id=alone.analyser.id):
            change.void(one, "It was of another instrument.")
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING, co=9.0)
    done = alone.certify(NOON)
    assert done.exit_code == 1
    assert done.finding is not None
    assert done.record is not None
    assert done.record.lapses


def test_a_lapse_of_one_instrument_is_carried_by_another(alone: Story, tmp_path: Path) -> None:
    """Where every limit has evidence in order, a doubtful reading beside it is told and no more."""
    with alone.workspace.register.change(who=WENNA, now=MORNING - 2 * HOUR) as change:
        spare = change.add(evolve(alone.analyser, id="", version=0, seq=0, name="Analyser C"))
    alone.log(tmp_path, MORNING)
    test = alone.hand_test(MORNING, now=NOON)
    readings = tuple(
        evolve(one, instrument_id=spare.id) if one.text.startswith("co=") else one
        for one in test.readings
    )
    with alone.workspace.register.change(who=IDRIS, now=NOON) as change:
        change.replace(test, evolve(test, readings=readings), "It was the other analyser.")
    done = alone.certify(NOON)
    assert done.verdict.overall == "conforms"
    assert any("No calibration of instrument Analyser C" in one for one in done.lapses)
    assert any("'co=1 ppm' cannot prove" in one for one in done.verdict.notes)
    assert done.record is not None
    assert done.record.lapses == ()
    assert done.certificate is not None


@pytest.mark.parametrize(("state", "how"), [(VOID, "is void"), (ABORTED, "was aborted")])
def test_a_test_that_gave_nothing_is_named(
    alone: Story, tmp_path: Path, state: str, how: str
) -> None:
    """The newest test that was done is judged, and the newer one is named beside the verdict."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    broken = alone.hand_test(MORNING + HOUR, (), state=state, why="The seal was broken", now=NOON)
    done = alone.certify(NOON)
    said = f"The hand test {broken.id} of 4 Mar 2026 09:00:00 {how} (The seal was broken): it gives no evidence."
    assert done.verdict.overall == "conforms"
    assert said in done.verdict.reasons
    alone_given = alone.certify(NOON, tests=(broken.id,), no_logs=True)
    assert alone_given.verdict.overall == "not_proven"
    assert alone_given.record is not None
    assert said in alone_given.record.reasons


def test_who_may_issue(alone: Story, tmp_path: Path) -> None:
    """Without competence there is no certificate; the air is judged all the same where asked."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    with alone.workspace.register.change(who=WENNA, now=NOON) as change:
        change.add(Person(name="Tam Orrin"))
    before = size(alone)
    with pytest.raises(
        RegisterError, match=r"Tam Orrin may not issue a certificate\. No competence"
    ):
        alone.certify(NOON, by="Tam Orrin")
    with pytest.raises(UnknownRecordError, match="Nobody Known"):
        alone.certify(NOON, by="Nobody Known")
    assert size(alone) == before
    done = alone.certify(NOON, by="Tam Orrin", certificate=False)
    assert done.exit_code == 0
    assert done.certificate is None
    assert size(alone) == before + 1


def test_bad_air_is_recorded_whoever_asks(alone: Story, tmp_path: Path) -> None:
    """That nobody may sign must not keep a finding off the record."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING, co=9.0)
    with alone.workspace.register.change(who=WENNA, now=NOON) as change:
        change.add(Person(name="Tam Orrin"))
    assert alone.certify(NOON, by="Tam Orrin").finding is not None


def test_the_second_signature(sqlite_workspace: Workspace, tmp_path: Path) -> None:
    """Where the site asks for it, another person must sign."""
    story = begin(sqlite_workspace, second_signature=True)
    story.hand_test(MORNING)
    story.log(tmp_path, MORNING)
    before = size(story)
    with pytest.raises(RegisterError, match=r"a second person signs .* Give --approved-by NAME"):
        story.certify(NOON)
    with pytest.raises(RegisterError, match="cannot approve it as well"):
        story.certify(NOON, approved_by=WENNA)
    with pytest.raises(UnknownRecordError, match="Nobody"):
        story.certify(NOON, approved_by="Nobody")
    assert size(story) == before
    done = story.certify(NOON, approved_by=IDRIS)
    assert done.certificate is not None
    assert done.certificate.approved_by_id == story.idris.id
    with sqlite_workspace.register.change(who=WENNA, now=NOON) as change:
        idris = change.get(Person, IDRIS)
        change.replace(idris, evolve(idris, in_use=False), "Left.")
    with pytest.raises(RegisterError, match="Idris Pellow is on record as retired"):
        story.certify(NOON + HOUR, approved_by=IDRIS)


def test_numbers_go_up_by_one_and_are_never_given_twice(alone: Story, tmp_path: Path) -> None:
    """Not even the number of a certificate that was voided; each site and year has its own row."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    first, second = (alone.certify(NOON + hours * HOUR).certificate for hours in (0, 1))
    assert first is not None
    assert second is not None
    assert (first.number, second.number) == ("SLIPWAY-2026-0001", "SLIPWAY-2026-0002")
    with alone.workspace.register.change(who=WENNA, now=NOON + 2 * HOUR) as change:
        change.void(second, "Issued by mistake.")
    third = alone.certify(NOON + 3 * HOUR)
    assert third.certificate is not None
    assert third.certificate.number == "SLIPWAY-2026-0003"
    assert "Certificate SLIPWAY-2026-0001 rests on the same evidence already." in third.remarks


# The year is that of the site: 31 December 2026 11:30 UTC is 1 January 2027 00:30 in Auckland
# (UTC+13 in summer, IANA time zone database).
@pytest.mark.parametrize(
    ("name", "zone", "now", "stem"),
    [
        ("yard", "UTC", datetime(2026, 12, 31, 11, 30, tzinfo=UTC), "YARD-2026-"),
        ("yard", "Pacific/Auckland", datetime(2026, 12, 31, 11, 30, tzinfo=UTC), "YARD-2027-"),
        ("Søndre kaj 3", "UTC", datetime(2026, 1, 1, tzinfo=UTC), "SNDRE-KAJ-3-2026-"),
        ("Мол", "UTC", datetime(2026, 1, 1, tzinfo=UTC), "SITE-2026-"),
        ("a" * 60, "UTC", datetime(2026, 1, 1, tzinfo=UTC), f"{'A' * 24}-2026-"),
    ],
)
def test_the_stem_of_numbers(name: str, zone: str, now: datetime, stem: str) -> None:
    """Letters, digits and hyphens alone."""
    assert certificate_stem(Site(name=name, zone=zone), now) == stem


def test_a_withdrawn_supply_gets_a_verdict_and_no_certificate(alone: Story, tmp_path: Path) -> None:
    """The retest of a withdrawn supply is recorded; a certificate waits for its return."""
    withdraw(alone.session(MORNING - HOUR), "main", "A smell.")
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    done = alone.certify(NOON)
    assert done.verdict.overall == "conforms"
    assert done.record is not None
    assert done.certificate is None
    assert done.retest
    assert done.exit_code == 0
    assert "is withdrawn. Return it first" in done.no_certificate[0]
    assert "lungwort return" in done.next_steps[0]


def test_an_open_finding_on_the_air_stands_against_a_certificate(
    alone: Story, tmp_path: Path
) -> None:
    """One that is not about the air does not."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    open_finding(alone.session(NOON), "main", "The log book is wet.", not_air=True)
    assert alone.certify(NOON).certificate is not None
    open_finding(alone.session(NOON), "main", "Smell of exhaust.", analytes=["odour"])
    done = alone.certify(NOON + HOUR)
    assert done.certificate is None
    assert done.retest
    assert done.no_certificate == ("Finding F-2026-0002 is open: Smell of exhaust.",)


def test_evidence_from_before_an_event_carries_no_certificate(alone: Story, tmp_path: Path) -> None:
    """After maintenance the air must be tested anew; the verdict is recorded and says so."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    with alone.workspace.register.change(who=WENNA, now=MORNING + 4 * HOUR) as change:
        change.add(
            Event(
                supply_id=alone.supply.id,
                kind="maintenance",
                time=MORNING + 4 * HOUR,
                text="Belt changed.",
                by_id=alone.wenna.id,
            )
        )
    done = alone.certify(NOON + HOUR)
    assert done.verdict.overall == "conforms"
    assert done.certificate is None
    assert done.exit_code == 3
    assert any("is from before the supply was maintained" in why for why in done.no_certificate)
    assert any("older than this: supply was maintained" in note for note in done.verdict.notes)


def test_old_evidence_is_told_and_stale_evidence_carries_no_certificate(
    alone: Story, tmp_path: Path
) -> None:
    """By the plan evidence goes stale after three months."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    done = alone.certify(MORNING + 20 * DAY)
    assert done.certificate is not None
    assert "The newest of it is 19 days old." in done.verdict.notes
    done = alone.certify(MORNING + 100 * DAY)
    assert done.certificate is None
    assert any("went stale on" in why for why in done.no_certificate)


def test_newer_evidence_that_was_left_out_stands_against_a_certificate(
    alone: Story, tmp_path: Path
) -> None:
    """Nobody certifies past a newer log that may be bad."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    later = alone.log(tmp_path, MORNING + 9 * DAY, co=9.0)
    done = alone.certify(MORNING + 10 * DAY)
    assert done.verdict.overall == "conforms"
    assert done.certificate is None
    assert any(
        f"newer evidence that was not judged: log {later.id}" in why for why in done.no_certificate
    )
    assert any(note.startswith("Left out, though newer: log") for note in done.verdict.notes)
    judged = alone.certify(MORNING + 10 * DAY + HOUR, certificate=False)
    assert judged.record is not None
    assert judged.record.log_import_ids == (later.id,)
    assert judged.record.hand_test_ids == ()
    assert judged.exit_code == 1


@pytest.mark.parametrize("asked", ["no_logs", "tests", "by rule"])
def test_no_certificate_past_a_log_that_was_not_judged(
    alone: Story, tmp_path: Path, asked: str
) -> None:
    """A bad log just before the test by hand, left out by an option or by the rule's 7 days."""
    bad = alone.log(tmp_path, MORNING, co=40.0)
    noon = MORNING + (20 * DAY if asked == "by rule" else 4 * HOUR)
    test = alone.hand_test(noon - timedelta(minutes=28))
    options: dict[str, object] = {"no_logs": True} if asked == "no_logs" else {}
    if asked == "tests":
        options = {"tests": (test.id,), "no_logs": True}
    foreseen = alone.certify(noon, dry_run=True, **options)
    done = alone.certify(noon, **options)
    assert done.verdict.overall == "conforms"
    assert done.record is not None
    assert done.certificate is None
    assert done.exit_code == 3
    assert done.no_certificate == foreseen.no_certificate
    (why,) = done.no_certificate
    assert why.startswith(f"The log {bad.id} of ")
    command = f"'lungwort certify \"Slip 2\" --log {bad.id} --no-certificate'"
    assert why.endswith(f"was not judged. Have it judged first: {command}.")
    assert any(note.startswith("Left out") and bad.id in note for note in done.verdict.notes)
    # The command that it names does what it says.
    judged = alone.certify(noon + HOUR, logs=(bad.id,), certificate=False)
    assert judged.exit_code == 1
    assert judged.finding is not None
    again = alone.certify(noon + 2 * HOUR, **options)
    assert again.certificate is None
    assert not any("was not judged" in one for one in again.no_certificate)


def test_a_look_that_leaves_the_bad_part_out_is_none(alone: Story, tmp_path: Path) -> None:
    """Whatever it says: what lies before the chosen hours is as unjudged as it was."""
    bad = alone.log(tmp_path, MORNING, hours=1, co=40.0)
    clean = alone.log(tmp_path, MORNING + HOUR)
    look = alone.certify(NOON, logs=(bad.id, clean.id), begin="2026-03-04 09:00", certificate=False)
    assert look.record is not None
    assert look.record.overall == "not_proven"
    assert look.record.log_import_ids == (bad.id, clean.id)
    alone.hand_test(NOON + HOUR)
    done = alone.certify(NOON + HOUR, no_logs=True)
    assert done.verdict.overall == "conforms"
    assert any(bad.id in why and "was not judged" in why for why in done.no_certificate)


def test_what_was_judged_leniently_counts_for_nothing(alone: Story, tmp_path: Path) -> None:
    """Neither for the status nor for a return, though the verdict says that the air conforms."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    done = alone.certify(NOON, min_coverage=0.5, certificate=False)
    assert done.verdict.overall == "conforms"
    reasons = against(alone.where, "main", now=NOON + HOUR)
    assert any("It was judged with a least coverage of 0.5" in why for why in reasons)
    alone.certify(NOON + 2 * HOUR, certificate=False)
    assert against(alone.where, "main", now=NOON + 3 * HOUR) == ()


def test_an_old_log_that_was_not_judged_and_is_clean(alone: Story, tmp_path: Path) -> None:
    """It stands in the way until it is judged by itself; then it does not."""
    old = alone.log(tmp_path, MORNING)
    noon = MORNING + 20 * DAY
    alone.hand_test(noon)
    assert alone.certify(noon).certificate is None
    alone.certify(noon + HOUR, logs=(old.id,), no_tests=True, certificate=False)
    assert alone.certify(noon + 2 * HOUR).certificate is not None


def test_what_was_never_judged_since_the_last_certificate(alone: Story, tmp_path: Path) -> None:
    """It stands in the way however old it is by now."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    assert alone.certify(NOON).certificate is not None
    between = alone.log(tmp_path, MORNING + 9 * DAY, co=40.0)
    alone.hand_test(MORNING + 110 * DAY)
    done = alone.certify(MORNING + 110 * DAY + HOUR)
    assert done.verdict.overall == "conforms"
    assert [between.id in why for why in done.no_certificate] == [True]


def test_a_test_that_gave_nothing_stands_in_nobodys_way(alone: Story) -> None:
    """A void test has nothing that could be judged."""
    alone.hand_test(MORNING)
    alone.hand_test(MORNING - HOUR, (), state="void", why="The seal was broken.", now=NOON)
    assert alone.certify(NOON).certificate is not None


def test_a_period_that_leaves_out_bad_readings_earns_no_certificate(
    alone: Story, tmp_path: Path
) -> None:
    """Nobody certifies around an excursion by choosing the hours."""
    test = alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING, co=9.0)
    period = {"begin": "2026-03-04 08:30", "end": "2026-03-04 09:59"}
    done = alone.certify(NOON, tests=(test.id,), **period)
    assert done.verdict.overall == "conforms"
    assert done.certificate is None
    assert done.exit_code == 3
    assert any(
        why.startswith("Readings that the chosen period leaves out are outside the limits: ")
        and "carbon monoxide" in why
        for why in done.no_certificate
    )


def test_what_narrows_the_clean_word_stands_on_the_paper(
    alone: Story, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The reasons beside it go onto the sheet."""
    sheets: list[paper.CertificateSheet] = []
    real = paper.certificate_pdf

    def kept(verdict: object, sheet: paper.CertificateSheet, result: str) -> bytes:
        sheets.append(sheet)
        return real(verdict, sheet, result)  # type: ignore[arg-type] # passed on

    monkeypatch.setattr(paper, "certificate_pdf", kept)
    test = alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    aborted = alone.hand_test(MORNING + HOUR, (), state=ABORTED, why="Rain", now=NOON)
    assert alone.certify(NOON).certificate is not None
    (sheet,) = sheets
    assert any(label == "Mind" and aborted.id in text for label, text in sheet.evidence)
    assert any(label == "Test by hand" and test.id in text for label, text in sheet.evidence)
    assert ("Analyser A", "A-17", "28 Feb 2026", "28 Feb 2027") in sheet.instruments
    assert ("oil indicator", "7", "1 Jan 2027") in sheet.consumables
    assert (sheet.issued_by, sheet.issued_role) == (WENNA, "answers for the air")
    assert sheet.supply == "Main compressor (main)"
    assert sheet.outlet == "Slip 2, by the winch"


def test_a_certificate_asks_for_the_usual_coverage(alone: Story, tmp_path: Path) -> None:
    """A lower one may be judged by, and earns no certificate."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    done = alone.certify(NOON, min_coverage=0.5)
    assert done.certificate is None
    assert any("Only 50 % of the period had to be covered" in why for why in done.no_certificate)


def test_choosing_the_evidence(alone: Story, tmp_path: Path) -> None:
    """By id, by period, or none of a kind; what is left out is told."""
    old = alone.hand_test(MORNING)
    new = alone.hand_test(MORNING + 2 * HOUR)
    log = alone.log(tmp_path, MORNING)
    far = alone.log(tmp_path, MORNING + 30 * DAY)
    now = MORNING + 31 * DAY

    def of(**asked: object) -> tuple[set[str], set[str], tuple[str, ...]]:
        done = alone.certify(now, dry_run=True, **asked)
        inputs = done.verdict
        used = json.loads(done.result_json)
        names = {one["name"] for one in used["sources"]}
        times = {one["time"] for one in used["spots"]}
        return times, names, inputs.notes

    stamp = {old.id: "2026-03-04T08:00:00Z", new.id: "2026-03-04T10:00:00Z"}
    names = {one.id: one.files[0].name for one in (log, far)}
    times, files, notes = of()
    assert (times, files) == ({stamp[new.id]}, {names[log.id]})
    assert notes[0].startswith("Chosen by rule: the newest test by hand")
    times, files, notes = of(tests=(old.id,), no_logs=True)
    assert (times, files) == ({stamp[old.id]}, set())
    assert not any(note.startswith("Chosen by rule") for note in notes)
    assert any(f"Left out, though newer: test by hand {new.id}" in note for note in notes)
    times, files, notes = of(begin="2026-03-04 07:00", end="2026-03-04 23:00")
    assert (times, files) == (set(stamp.values()), {names[log.id]})
    times, files, notes = of(logs=(far.id,), no_tests=True)
    assert (times, files) == (set(), {names[far.id]})
    times, files, notes = of(certificate=False)
    assert (times, files) == (set(), {names[far.id]})
    assert notes[0].startswith("Chosen by rule: the newest evidence")


def test_the_period_is_in_the_zone_of_the_site(alone: Story, tmp_path: Path) -> None:
    """A typed time without an offset is the site's."""
    with alone.workspace.register.change(who=WENNA, now=MORNING - HOUR) as change:
        change.replace(alone.site, evolve(alone.site, zone="Asia/Tokyo"), "Moved.")
    log = alone.log(tmp_path, MORNING)
    done = alone.certify(NOON, begin="2026-03-04 18:00", end="2026-03-04 19:00", certificate=False)
    assert done.record is not None
    assert done.record.log_import_ids == (log.id,)
    assert done.record.start == datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
    assert done.record.end == datetime(2026, 3, 4, 10, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("asked", "kind", "told"),
    [
        ({"tests": ("x",), "no_tests": True}, InputError, "--test and --no-test contradict"),
        ({"logs": ("x",), "no_logs": True}, InputError, "--log and --no-log contradict"),
        ({"tests": ("hand_test-x",)}, RegisterError, "There is no test by hand 'hand_test-x'"),
        ({"logs": ("log_import-x",)}, RegisterError, "There is no log import 'log_import-x'"),
        ({"no_tests": True, "no_logs": True}, RegisterError, "Nothing of what is on record"),
        ({"begin": "yesterday"}, InputError, "--from 'yesterday' is no moment"),
        ({"decision": "kind"}, InputError, "decision rule 'kind' is not known"),
        ({"min_coverage": 2.0}, InputError, "a least coverage of 2 cannot be"),
        ({"join": "soon"}, InputError, "--join 'soon' is no length of time"),
        ({"pdf": Path("x.pdf"), "certificate": False}, InputError, "--pdf is for a certificate"),
        ({"dry_run": True, "withdraw": True}, InputError, "Leave out --withdraw"),
        ({"sign_with": Path("nowhere.p12")}, InputError, "nowhere.p12 cannot be read"),
        ({"outlet": "Slip 9"}, UnknownRecordError, "Slip 9"),
    ],
)
def test_what_cannot_be_asked(
    alone: Story,
    tmp_path: Path,
    asked: dict[str, object],
    kind: type[Exception],
    told: str,
) -> None:
    """Every refusal says what was found, and nothing is recorded."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    before = size(alone)
    with pytest.raises(kind, match=told):
        alone.certify(NOON, **asked)
    assert size(alone) == before


def test_nothing_to_judge(alone: Story) -> None:
    """The message says how evidence comes on record."""
    with pytest.raises(RegisterError, match="nothing to judge at outlet Slip 2 yet"):
        alone.certify(NOON)


def test_no_limit_set(sqlite_workspace: Workspace) -> None:
    """Without limits there is nothing to hold air against; a set that cannot be read is named."""
    story = begin(sqlite_workspace, limit_set="")
    story.hand_test(MORNING)
    with pytest.raises(RegisterError, match="No limit set holds for the supply main"):
        story.certify(NOON)
    with sqlite_workspace.register.change(who=WENNA, now=NOON) as change:
        site = change.get(Site, "slipway")
        change.replace(site, evolve(site, limit_set="gone.toml"), "Own limits.")
    with pytest.raises(
        InputError, match=r"limit set of the site slipway cannot be used.*gone\.toml"
    ):
        story.certify(NOON)


def test_given_up_outlets_are_not_certified(alone: Story) -> None:
    """What is out of use is not certified by mistake."""
    alone.hand_test(MORNING)
    with alone.workspace.register.change(who=WENNA, now=NOON) as change:
        change.replace(alone.outlet, evolve(alone.outlet, in_use=False), "Taken away.")
    with pytest.raises(RegisterError, match="Outlet Slip 2 is on record as given up"):
        alone.certify(NOON)


def test_a_failure_on_the_way_leaves_nothing(
    story: Story, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No verdict without its certificate, and no file without its record."""
    story.hand_test(MORNING)
    story.log(tmp_path, MORNING)
    before = size(story)
    files = set((story.workspace.folder / "files").iterdir())

    def fail(*_: object) -> bytes:
        raise OutputError("The page could not be set.")

    monkeypatch.setattr(paper, "certificate_pdf", fail)
    with pytest.raises(OutputError, match="could not be set"):
        story.certify(NOON, pdf=tmp_path / "copy.pdf")
    assert size(story) == before
    assert story.workspace.register.all(VerdictRecord) == []
    assert set((story.workspace.folder / "files").iterdir()) == files
    assert not (tmp_path / "copy.pdf").exists()


def test_a_copy_that_cannot_be_written_is_told(
    alone: Story, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The certificate is on record, and the message says where its PDF is."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)

    def fail(_: bytes, path: Path) -> Path:
        raise OutputError(f"{path} could not be written.")

    monkeypatch.setattr("lungwort.paper.write.write_bytes", fail)
    with pytest.raises(
        OutputError, match=r"on record all the same; .* print certificate SLIPWAY-2026-0001"
    ):
        alone.certify(NOON, pdf=tmp_path / "copy.pdf")
    assert len(alone.workspace.register.all(Certificate)) == 1
    (tmp_path / "log.csv").write_text("a,b\n", encoding="utf-8")
    with pytest.raises(InputError, match="is no PDF of lungwort"):
        alone.certify(NOON, pdf=tmp_path / "log.csv")


def test_what_is_recorded_meanwhile_is_judged_too(
    alone: Story, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A log that comes in while another is judged does not slip past the certificate."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    calls: list[object] = []

    def judged(*given: object, **named: object) -> object:
        made = judge_evidence(*given, **named)  # type: ignore[arg-type] # passed on
        if not calls:
            alone.log(tmp_path, MORNING + 3 * HOUR, hours=1, co=9.0, now=NOON)
        calls.append(made)
        return made

    monkeypatch.setattr("lungwort.jobs.certify.judge_evidence", judged)
    done = alone.certify(NOON + HOUR)
    assert len(calls) == 2
    assert done.verdict.overall == "does_not_conform"
    assert done.certificate is None


def test_what_is_recorded_meanwhile_and_makes_no_difference(
    alone: Story, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody else's entry on another thing does not stop it; endless changes are given up on."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    calls: list[object] = []

    def judged(*given: object, **named: object) -> object:
        made = judge_evidence(*given, **named)  # type: ignore[arg-type] # passed on
        with alone.workspace.register.change(who=WENNA, now=NOON) as change:
            change.add(Person(name=f"Guest {len(calls)}"))
        calls.append(made)
        return made

    monkeypatch.setattr("lungwort.jobs.certify.judge_evidence", judged)
    assert alone.certify(NOON).certificate is not None
    assert len(calls) == 1

    def disturbed(*given: object, **named: object) -> object:
        made = judge_evidence(*given, **named)  # type: ignore[arg-type] # passed on
        calls.append(made)
        alone.hand_test(MORNING + len(calls) * timedelta(minutes=1), now=NOON)
        return made

    monkeypatch.setattr("lungwort.jobs.certify.judge_evidence", disturbed)
    with pytest.raises(RegisterError, match="went on being changed"):
        alone.certify(NOON)


def test_two_at_once_get_two_numbers(story: Story, tmp_path: Path) -> None:
    """Numbers are given inside the change, so that no two are alike and none is left out."""
    story.hand_test(MORNING)
    story.log(tmp_path, MORNING)
    folder = story.workspace.folder
    given: list[str] = []
    failed: list[BaseException] = []

    def issue() -> None:
        try:
            done = certify(Where(folder), CertifyRequest(outlet="Slip 2", by=WENNA), NOON)
            assert done.certificate is not None
            given.append(done.certificate.number)
        except BaseException as error:  # noqa: BLE001 - told by the test
            failed.append(error)

    threads = [threading.Thread(target=issue) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    assert sorted(given) == [f"SLIPWAY-2026-{place:04d}" for place in range(1, 5)]


def test_the_result_as_one_document(alone: Story, tmp_path: Path) -> None:
    """JSON for programs: result, records, tree head, next steps."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    told = plain(alone.certify(NOON))
    assert json.loads(json.dumps(told)) == told
    assert told["result"]["verdict"] == "conforms"
    assert told["certificate"]["number"] == "SLIPWAY-2026-0001"
    assert told["verdict"]["overall"] == "conforms"
    assert told["finding"] is None
    assert set(told["tree_head"]) == {"size", "root"}


def test_uncertainties_of_the_instruments_enter(alone: Story, tmp_path: Path) -> None:
    """U on record of the very instrument stands before the assumption that is shipped."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    done = alone.certify(NOON, decision="guarded", guard_factor=1.0)
    co = done.verdict.finding("co")
    assert co.uncertainty == pytest.approx(1.0)
    assert co.uncertainty_source == (
        "Analyser A: U (k = 2) = 1 ppm (as recorded for the instrument)"
    )


def test_a_workspace_opened_anew_knows_it_all(alone: Story, tmp_path: Path) -> None:
    """What was recorded stays, and is drawn again from the folder alone."""
    alone.hand_test(MORNING, CLEAN)
    alone.log(tmp_path, MORNING)
    done = alone.certify(NOON)
    with open_workspace(alone.workspace.folder, read_only=True) as again:
        (record,) = again.register.all(VerdictRecord)
        assert rejudge(again, record).decode("utf-8") == done.result_json
        assert {type(one) for one in again.register.all(HandTest)} == {HandTest}
        assert len(again.register.all(LogImport)) == 1
        assert again.register.all(Finding) == []


def test_two_sites_number_apart(tmp_path: Path) -> None:
    """Each site has a row of its own."""
    with create_workspace(
        tmp_path / "w", name="Two (invented)", person=WENNA, now=MORNING - 2 * DAY
    ) as made:
        story = begin(made)
        with made.register.change(who=WENNA, now=MORNING - HOUR) as change:
            site = change.add(evolve(story.site, id="", version=0, seq=0, name="yard"))
            supply = change.add(
                evolve(story.supply, id="", version=0, seq=0, name="second", site_id=site.id)
            )
            outlet = change.add(Outlet(supply_id=supply.id, name="Dock 1"))
        for place in (story.outlet, outlet):
            story.hand_test(MORNING, outlet=place)
        numbers = [
            story.certify(NOON, outlet=place.name).certificate for place in (story.outlet, outlet)
        ]
        assert [one.number for one in numbers if one is not None] == [
            "SLIPWAY-2026-0001",
            "YARD-2026-0001",
        ]
