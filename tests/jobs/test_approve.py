"""A second person approves a certificate or refuses it. The site and all readings are invented."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from attrs import evolve
from tests.jobs.certify_story import IDRIS, MORNING, WENNA, Story, begin

from lungwort.errors import InputError, RegisterError
from lungwort.jobs import approve as job
from lungwort.jobs.certify import Certified
from lungwort.jobs.withdraw import withdraw
from lungwort.register.model import (
    Approval,
    Certificate,
    Finding,
    HandTest,
    Person,
    Site,
    VerdictRecord,
)
from lungwort.register.verify import verify
from lungwort.register.workspace import Workspace

NOON = MORNING + timedelta(hours=4)
HOUR = timedelta(hours=1)


@pytest.fixture
def story(workspace: Workspace, tmp_path: Path) -> Story:
    """Give the invented site with a second signature and clean evidence, on either database."""
    return _ready(workspace, tmp_path)


@pytest.fixture
def alone(sqlite_workspace: Workspace, tmp_path: Path) -> Story:
    """Give the same where the database makes no difference."""
    return _ready(sqlite_workspace, tmp_path)


def _ready(workspace: Workspace, tmp_path: Path) -> Story:
    made = begin(workspace, second_signature=True)
    made.hand_test(MORNING)
    made.log(tmp_path, MORNING)
    return made


def asked(story: Story) -> tuple[Certified, Approval]:
    """Have it judged and ask for approval."""
    done = story.certify(NOON, ask=True)
    assert done.approval is not None
    return done, done.approval


def test_what_was_approved_is_certified_by_both(story: Story) -> None:
    """The certificate names who asked and who approved; the change is made by the second person."""
    done, approval = asked(story)
    assert (done.certificate, done.no_certificate, done.exit_code) == (None, (), 0)
    assert any("second person" in step for step in done.next_steps)
    assert story.workspace.register.all(Certificate) == []
    (waiting,) = job.listed(story.where, now=NOON + HOUR)
    assert (waiting.state, waiting.asked_by, waiting.outlet) == ("asked", WENNA, story.outlet.name)
    assert waiting.newest is not None
    assert waiting.age(NOON + HOUR) == NOON + HOUR - waiting.newest
    look = job.look(story.where, approval.id, now=NOON + HOUR)
    assert (look.verdict.overall, look.against) == ("conforms", ())

    came = job.approve(story.session(NOON + HOUR, IDRIS), approval.id)
    register = story.workspace.register
    (given,) = register.all(Certificate)
    assert given == came.record
    assert given.issued_by_id == story.wenna.id
    assert given.approved_by_id == story.idris.id
    assert given.issued_at == NOON + HOUR
    assert done.record is not None
    assert given.verdict_id == done.record.id
    assert given.result_sha256 == done.record.result_sha256
    assert story.workspace.read_file(given.pdf_sha256).startswith(b"%PDF")
    entry = next(one for one in register.entries() if one.seq == given.seq)
    assert (entry.who, entry.kind) == (IDRIS, "certificate")
    (after,) = job.listed(story.where, now=NOON + HOUR)
    assert (after.state, after.decided_by, after.certificate) == ("approved", IDRIS, given.number)
    assert verify(story.workspace).problems == ()


def test_whoever_asked_cannot_decide(alone: Story) -> None:
    """Neither approve nor refuse; and no decision is made twice."""
    _, approval = asked(alone)
    with pytest.raises(RegisterError, match="cannot be the second person as well"):
        job.approve(alone.session(NOON + HOUR), approval.id)
    with pytest.raises(RegisterError, match="cannot be the second person as well"):
        job.refuse(alone.session(NOON + HOUR), approval.id, "No.")
    job.approve(alone.session(NOON + HOUR, IDRIS), approval.id)
    with pytest.raises(RegisterError, match="decided already: it was approved"):
        job.approve(alone.session(NOON + HOUR, IDRIS), approval.id)
    with pytest.raises(RegisterError, match="decided already: it was approved"):
        job.refuse(alone.session(NOON + HOUR, IDRIS), approval.id, "No.")


def test_a_refusal_is_on_record_with_its_reason(alone: Story) -> None:
    """No certificate is issued then, and approval can be asked for anew."""
    done, approval = asked(alone)
    with pytest.raises(InputError, match="reason"):
        job.refuse(alone.session(NOON + HOUR, IDRIS), approval.id, " ")
    told = job.refuse(alone.session(NOON + HOUR, IDRIS), approval.id, "The hose was changed.")
    assert "refused" in told.said
    assert alone.workspace.register.all(Certificate) == []
    (one,) = job.listed(alone.where, now=NOON + HOUR)
    assert (one.state, one.why, one.decided_by) == ("refused", "The hose was changed.", IDRIS)
    with pytest.raises(RegisterError, match="decided already: it was refused"):
        job.approve(alone.session(NOON + HOUR, IDRIS), approval.id)
    assert done.record is not None
    job.ask(alone.session(NOON + 2 * HOUR), done.record.id)
    assert {one.state for one in job.listed(alone.where, now=NOON)} == {"refused", "asked"}


def test_evidence_that_came_since_stands_against_it(alone: Story, tmp_path: Path) -> None:
    """Whatever it says: it was not judged."""
    _, approval = asked(alone)
    alone.log(tmp_path, NOON, co=9.0)
    look = job.look(alone.where, approval.id, now=NOON + 5 * HOUR)
    assert any("newer evidence that was not judged" in why for why in look.against)
    with pytest.raises(RegisterError, match=r"cannot be issued any more.*newer evidence"):
        job.approve(alone.session(NOON + 5 * HOUR, IDRIS), approval.id)
    assert alone.workspace.register.all(Certificate) == []


def test_a_newer_verdict_stands_against_it(alone: Story, tmp_path: Path) -> None:
    """Also where it opened a finding."""
    _, approval = asked(alone)
    alone.log(tmp_path, NOON, co=9.0)
    assert alone.certify(NOON + 5 * HOUR).finding is not None
    assert alone.workspace.register.all(Finding) != []
    with pytest.raises(RegisterError, match="a newer verdict of this outlet"):
        job.approve(alone.session(NOON + 6 * HOUR, IDRIS), approval.id)


def test_a_withdrawn_supply_stands_against_it(alone: Story) -> None:
    """It is returned first."""
    _, approval = asked(alone)
    withdraw(alone.session(NOON + HOUR), "main", "A smell.")
    with pytest.raises(RegisterError, match="is withdrawn"):
        job.approve(alone.session(NOON + 2 * HOUR, IDRIS), approval.id)


def test_evidence_that_was_amended_stands_against_it(alone: Story) -> None:
    """The verdict says nothing of the test as it is now."""
    _, approval = asked(alone)
    with alone.workspace.register.change(who=WENNA, now=NOON + HOUR) as change:
        (test,) = change.all(HandTest)
        change.replace(test, evolve(test, note="Another hose."), "Forgotten.")
    with pytest.raises(RegisterError, match="was changed since"):
        job.approve(alone.session(NOON + 2 * HOUR, IDRIS), approval.id)


def test_old_evidence_stands_against_it(alone: Story) -> None:
    """Approval that comes a year later certifies nothing."""
    _, approval = asked(alone)
    with pytest.raises(RegisterError, match="cannot be issued any more"):
        job.approve(alone.session(NOON + timedelta(days=365), IDRIS), approval.id)


def test_an_issuer_who_left_issues_nothing(alone: Story) -> None:
    """Who asked must still be able to sign."""
    _, approval = asked(alone)
    with alone.workspace.register.change(who=IDRIS, now=NOON + HOUR) as change:
        wenna = change.get(Person, WENNA)
        change.replace(wenna, evolve(wenna, in_use=False), "Left.")
    with pytest.raises(RegisterError, match="retired and signs nothing"):
        job.approve(alone.session(NOON + 2 * HOUR, IDRIS), approval.id)


def test_a_verdict_without_certificate_waits_to_be_asked_for(alone: Story) -> None:
    """It is listed, and can be asked for once."""
    done = alone.certify(NOON, certificate=False)
    assert done.record is not None
    (one,) = job.listed(alone.where, now=NOON)
    assert (one.id, one.state, one.verdict_id) == ("", "", done.record.id)
    job.ask(alone.session(NOON + HOUR), done.record.id)
    with pytest.raises(RegisterError, match="asked for already"):
        job.ask(alone.session(NOON + HOUR), done.record.id)


def test_nothing_is_asked_of_nobody(alone: Story) -> None:
    """Where nobody else is on record, that is said before anything is recorded."""
    with alone.workspace.register.change(who=WENNA, now=NOON) as change:
        for person in change.all(Person):
            if person.name != WENNA:
                change.replace(person, evolve(person, in_use=False), "Left.")
    with pytest.raises(RegisterError, match="Nobody but Wenna Harkle"):
        alone.certify(NOON, ask=True)
    assert alone.workspace.register.all(VerdictRecord) == []


def test_asking_and_approving_at_once_contradict_each_other(alone: Story) -> None:
    """One of the two is meant."""
    with pytest.raises(InputError, match="Leave out --approved-by"):
        alone.certify(NOON, ask=True, approved_by=IDRIS)


def test_air_that_does_not_conform_is_not_asked_for(alone: Story, tmp_path: Path) -> None:
    """It opens a finding instead."""
    alone.log(tmp_path, NOON, co=9.0)
    done = alone.certify(NOON + 5 * HOUR, ask=True)
    assert done.approval is None
    assert done.finding is not None
    site = alone.workspace.register.get(Site, "slipway")
    assert site.second_signature
