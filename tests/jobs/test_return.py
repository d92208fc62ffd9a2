"""The whole story of bad air: finding, withdrawal, cause, cure, retest, return. All is invented."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from attrs import evolve
from tests.jobs.certify_story import MORNING, WENNA, Story, begin

from lungwort.errors import RegisterError
from lungwort.jobs.finding import add_action, list_findings, open_finding, show_finding
from lungwort.jobs.return_ import against, return_supply
from lungwort.jobs.status import status
from lungwort.jobs.withdraw import withdraw
from lungwort.plan.snapshot import take
from lungwort.plan.state import supply_state
from lungwort.register.model import Action, Outlet, SupplyState
from lungwort.register.workspace import Workspace

HOUR = timedelta(hours=1)
NOON = MORNING + 4 * HOUR


@pytest.fixture
def story(workspace: Workspace) -> Story:
    """Give the invented site, on either database."""
    return begin(workspace)


@pytest.fixture
def alone(sqlite_workspace: Workspace) -> Story:
    """Give the invented site where the database makes no difference."""
    return begin(sqlite_workspace)


def refused(story: Story, hours: float) -> str:
    """Try to return the supply, see that nothing is recorded, and give the message."""
    before = story.workspace.register.head()
    now = NOON + hours * HOUR
    with pytest.raises(RegisterError, match="Supply main may not return to service") as error:
        return_supply(story.session(now), "main")
    assert story.workspace.register.head() == before
    for place, why in enumerate(against(story.where, "main", now=now), start=1):
        assert f"{place}. {why}" in str(error.value)
    return str(error.value)


def test_bad_air_from_finding_to_return(story: Story, tmp_path: Path) -> None:  # noqa: PLR0915 - one story in its order
    """Each thing that is missing stands against the return in turn, and none can be left out."""
    # A new supply is under test: nothing but evidence stands against putting it into service.
    assert "there is no evidence" in refused(story, -5)
    story.hand_test(MORNING)
    story.log(tmp_path, MORNING)
    first = story.certify(NOON)
    assert first.certificate is not None
    assert first.record is not None
    begun = return_supply(story.session(NOON), "main", "New hose and filter.")
    assert begun.state.state == "in_service"
    assert begun.state.verdict_ids == (first.record.id,)
    assert begun.verdicts == (("Slip 2", first.record.id),)
    assert begun.state.why == "New hose and filter."
    assert begun.next_steps == ()
    assert "in service already" in refused(story, 0.5)

    # The air goes bad.
    story.log(tmp_path, NOON + HOUR, co=9.0)
    bad = story.certify(NOON + 5 * HOUR, certificate=False, withdraw=True)
    assert bad.finding is not None
    assert bad.state is not None
    assert bad.state.finding_ids == (bad.finding.id,)
    told = refused(story, 5)
    assert "Finding F-2026-0001 has no cause on record" in told
    assert "Finding F-2026-0001 has no cure on record" in told
    assert "Outlet Slip 2 has no conforming verdict whose evidence was all taken after" in told

    # Cause and cure.
    add_action(story.session(NOON + 6 * HOUR), "F-2026-0001", "cause", "Exhaust at the intake.")
    told = refused(story, 6)
    assert "no cause" not in told
    assert "no cure" in told
    cured = NOON + 7 * HOUR
    shown = add_action(story.session(cured), "F-2026-0001", "cure", "Intake moved.")
    assert any("test it again" in one for one in shown.lacks)
    told = refused(story, 7)
    assert "no cure" not in told
    assert "Outlet Slip 2 has no conforming verdict" in told

    # The old evidence judged again is no retest.
    again = story.certify(
        cured + HOUR, tests=first.record.hand_test_ids, logs=first.record.log_import_ids
    )
    assert again.verdict.overall == "conforms"
    assert again.certificate is None
    assert "no conforming verdict" in refused(story, 8)

    # The retest: a log that began before the cure is judged from then on.
    story.hand_test(cured + 2 * HOUR)
    log = story.log(tmp_path, cured - HOUR, hours=4)
    retest = story.certify(cured + 4 * HOUR)
    assert retest.verdict.overall == "conforms"
    assert retest.retest
    assert retest.certificate is None
    assert retest.record is not None
    assert retest.record.log_import_ids == (log.id,)
    assert retest.record.start == cured + timedelta(seconds=1)
    assert any("judged from" in note for note in retest.verdict.notes)

    # The return closes the finding in the same change.
    before = story.workspace.register.head().size
    done = return_supply(story.session(cured + 5 * HOUR), "main")
    assert story.workspace.register.head().size == before + 2
    assert done.findings == ("F-2026-0001",)
    assert done.next_steps == (
        "Take the withdrawn notice down.",
        "Issue the certificate: 'lungwort certify \"Slip 2\"'.",
    )
    assert done.state.verdict_ids == (retest.record.id,)
    closing = story.workspace.register.all(Action, kind="close")
    assert [(one.finding_id, one.verdict_id) for one in closing] == [
        (bad.finding.id, retest.record.id)
    ]
    assert list_findings(story.where, now=cured + 5 * HOUR) == ()
    assert not show_finding(story.where, "F-2026-0001", now=cured + 5 * HOUR).is_open
    snapshot = take(story.workspace.register, cured + 5 * HOUR)
    assert supply_state(snapshot, story.supply.id).state == "in_service"
    given = story.certify(cured + 6 * HOUR)
    assert given.certificate is not None
    assert given.certificate.number == "SLIPWAY-2026-0002"


def test_a_retest_that_fails_keeps_the_supply_out(alone: Story, tmp_path: Path) -> None:
    """It opens a new finding, which needs a cause, a cure and a retest of its own."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING, co=9.0)
    alone.certify(NOON, withdraw=True)
    for kind in ("cause", "cure"):
        add_action(alone.session(NOON + HOUR), "F-2026-0001", kind, "As it seemed.")
    alone.hand_test(NOON + 2 * HOUR)
    alone.log(tmp_path, NOON + 2 * HOUR, co=8.0)
    done = alone.certify(NOON + 6 * HOUR)
    assert done.finding is not None
    assert done.finding.number == "F-2026-0002"
    assert done.state is None
    assert not any("Withdraw the supply now" in step for step in done.next_steps)
    assert "Finding F-2026-0002 has no cause" in refused(alone, 7)


def test_a_log_that_was_not_judged_stands_against_the_return(alone: Story, tmp_path: Path) -> None:
    """Taken after the withdrawal and before the retest, it may be as bad as it was."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    assert alone.certify(NOON).certificate is not None
    return_supply(alone.session(NOON), "main", "New hose and filter.")
    withdraw(alone.session(NOON + HOUR), "main", "A smell of exhaust.")
    bad = alone.log(tmp_path, NOON + 2 * HOUR, co=40.0)
    alone.hand_test(NOON + 6 * HOUR)
    retest = alone.certify(NOON + 7 * HOUR, no_logs=True)
    assert retest.verdict.overall == "conforms"
    assert not retest.retest
    assert retest.exit_code == 3
    assert any(bad.id in why and "was not judged" in why for why in retest.no_certificate)
    told = refused(alone, 8)
    assert "There is evidence of 4 Mar 2026, 16:59 at Slip 2 that was not judged" in told
    judged = alone.certify(NOON + 9 * HOUR, logs=(bad.id,), certificate=False)
    assert judged.finding is not None
    told = refused(alone, 10)
    assert "was not judged" not in told
    assert f"Finding {judged.finding.number} has no cause on record" in told


def test_the_status_knows_of_evidence_that_was_not_judged(alone: Story, tmp_path: Path) -> None:
    """A log or a test by hand that came in takes the clean word away until it is judged."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    alone.certify(NOON)
    return_supply(alone.session(NOON), "main")
    assert status(alone.where, now=NOON + HOUR).exit_code == 0
    alone.log(tmp_path, NOON, hours=2, co=40.0)
    (row,) = status(alone.where, now=NOON + 3 * HOUR).rows
    assert row.verdict == "not_proven"
    assert "that was not judged: 'lungwort certify \"Slip 2\"'." in row.reasons[0]
    assert status(alone.where, now=NOON + 3 * HOUR).exit_code == 3
    alone.certify(NOON + 4 * HOUR)
    assert status(alone.where, now=NOON + 5 * HOUR).exit_code == 1


def test_a_withdrawal_without_a_finding_asks_for_a_retest(alone: Story, tmp_path: Path) -> None:
    """A smell is reason enough to withdraw; the evidence from before it says nothing of it."""
    alone.hand_test(MORNING)
    alone.log(tmp_path, MORNING)
    alone.certify(NOON)
    return_supply(alone.session(NOON), "main")
    done = withdraw(alone.session(NOON + HOUR), "main", "Smell of oil.")
    assert done.state.finding_ids == ()
    assert "Outlet Slip 2 has no conforming verdict" in refused(alone, 1.5)
    alone.hand_test(NOON + 3 * HOUR)
    alone.log(tmp_path, NOON + 2 * HOUR)
    retest = alone.certify(NOON + 6 * HOUR)
    assert retest.retest
    back = return_supply(alone.session(NOON + 6 * HOUR), "main")
    assert retest.record is not None
    assert back.state.verdict_ids == (retest.record.id,)


def test_every_outlet_in_use_needs_its_verdict(alone: Story) -> None:
    """One outlet proves nothing about another."""
    with alone.workspace.register.change(who=WENNA, now=MORNING - HOUR) as change:
        other = change.add(Outlet(supply_id=alone.supply.id, name="Slip 3"))
    alone.hand_test(MORNING)
    alone.certify(NOON)
    assert "Slip 3" in refused(alone, 0)
    alone.hand_test(NOON + HOUR, outlet=other)
    alone.certify(NOON + 2 * HOUR, outlet="Slip 3", certificate=False)
    done = return_supply(alone.session(NOON + 2 * HOUR), "main")
    assert [place for place, _ in done.verdicts] == ["Slip 2", "Slip 3"]


def test_a_finding_at_an_outlet_that_was_given_up(alone: Story) -> None:
    """It can be closed by the return, which says so, without a retest that cannot be made."""
    with alone.workspace.register.change(who=WENNA, now=MORNING - HOUR) as change:
        other = change.add(Outlet(supply_id=alone.supply.id, name="Slip 3"))
    alone.hand_test(MORNING, [*alone_clean(), "co=9 ppm"], outlet=other)
    alone.certify(NOON, outlet="Slip 3", withdraw=True)
    for kind in ("cause", "cure"):
        add_action(alone.session(NOON + HOUR), "F-2026-0001", kind, "The hose; taken away.")
    with alone.workspace.register.change(who=WENNA, now=NOON + HOUR) as change:
        change.replace(other, evolve(other, in_use=False), "Taken away.")
    alone.hand_test(NOON + 3 * HOUR)
    alone.certify(NOON + 3 * HOUR)
    done = return_supply(alone.session(NOON + 4 * HOUR), "main")
    assert done.findings == ("F-2026-0001",)
    (closing,) = alone.workspace.register.all(Action, kind="close")
    assert closing.verdict_id is None
    assert "outlet Slip 3 is no longer in use" in closing.text


def alone_clean() -> list[str]:
    """Give all clean readings but that of carbon monoxide."""
    from tests.jobs.certify_story import CLEAN

    return [one for one in CLEAN if not one.startswith("co=")]


def test_an_open_finding_on_the_whole_supply(alone: Story) -> None:
    """A finding that names no outlet needs a retest of every outlet, and is closed by one."""
    open_finding(alone.session(MORNING - 2 * HOUR), "main", "Smell.", analytes=["odour"])
    withdraw(alone.session(MORNING - 2 * HOUR), "main", "Smell.")
    for kind in ("cause", "cure"):
        add_action(alone.session(MORNING - HOUR), "F-2026-0001", kind, "Old hose; replaced.")
    alone.hand_test(MORNING)
    retest = alone.certify(NOON)
    done = return_supply(alone.session(NOON), "main")
    assert retest.record is not None
    (closing,) = alone.workspace.register.all(Action, kind="close")
    assert closing.verdict_id == retest.record.id
    assert done.findings == ("F-2026-0001",)
    states = alone.workspace.register.all(SupplyState)
    assert [one.state for one in states] == ["withdrawn", "in_service"]
