"""Withdrawing a supply. The site is invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from attrs import evolve
from tests.jobs.certify_story import IDRIS, MORNING, WENNA, Story, begin

from lungwort.errors import InputError, RegisterError, UnknownRecordError
from lungwort.jobs.finding import open_finding
from lungwort.jobs.withdraw import withdraw
from lungwort.register.model import Finding, SupplyState
from lungwort.register.workspace import Workspace


@pytest.fixture
def story(workspace: Workspace) -> Story:
    """Give the invented site, on either database."""
    return begin(workspace)


@pytest.fixture
def alone(sqlite_workspace: Workspace) -> Story:
    """Give the invented site where the database makes no difference."""
    return begin(sqlite_workspace)


def test_a_supply_is_withdrawn(story: Story) -> None:
    """With the reason, who and when; open findings are linked; what to do next is told."""
    opened = open_finding(story.session(MORNING), "main", "Smell.", analytes=["odour"])
    done = withdraw(story.session(MORNING, IDRIS), "MAIN", " Smell of oil. ")
    (state,) = story.workspace.register.all(SupplyState)
    assert done.state == state
    assert (state.state, state.why, state.by_id) == ("withdrawn", "Smell of oil.", story.idris.id)
    assert state.time == MORNING
    assert state.finding_ids == (opened.finding.id,)
    assert done.findings == ("F-2026-0001",)
    assert done.next_steps[0] == (
        "Hang the notice up where the air is taken: 'lungwort print notice \"main\"'."
    )
    assert any("lungwort finding cause F-2026-0001" in step for step in done.next_steps)
    assert done.plain()["findings"] == ["F-2026-0001"]
    with pytest.raises(RegisterError, match=r"withdrawn already since 4 Mar 2026 08:00:00: Smell"):
        withdraw(story.session(MORNING), "main", "Again.")


def test_since_when(alone: Story) -> None:
    """A typed time is the site's; in March London is on UTC (IANA time zone database)."""
    with pytest.raises(InputError, match="--time '2026-03-05 07:15' lies ahead"):
        withdraw(alone.session(MORNING), "main", "Smell.", time="2026-03-05 07:15")
    done = withdraw(alone.session(MORNING), "main", "Smell.", time="2026-03-04 07:15")
    assert done.state.time == datetime(2026, 3, 4, 7, 15, tzinfo=UTC)
    assert done.when == "4 Mar 2026 07:15:00"


def test_what_cannot_be_withdrawn(alone: Story) -> None:
    """Messages name what was found."""
    with pytest.raises(InputError, match="--because is empty"):
        withdraw(alone.session(MORNING), "main", "  ")
    with pytest.raises(InputError, match="2001 characters"):
        withdraw(alone.session(MORNING), "main", "x" * 2001)
    with pytest.raises(UnknownRecordError, match="mian"):
        withdraw(alone.session(MORNING), "mian", "Smell.")
    with alone.workspace.register.change(who=WENNA, now=MORNING) as change:
        other = change.add(evolve(alone.supply, id="", version=0, seq=0, name="other"))
        change.add(
            Finding(
                number="F-2026-0007",
                supply_id=other.id,
                opened_at=MORNING,
                text="Of the other.",
                by_id=alone.wenna.id,
            )
        )
    with pytest.raises(RegisterError, match="F-2026-0007 is of another supply, not of main"):
        withdraw(alone.session(MORNING), "main", "Smell.", findings=["F-2026-0007"])
    assert alone.workspace.register.all(SupplyState) == []
    later = MORNING + timedelta(hours=1)
    done = withdraw(alone.session(later), "other", "Smell.", findings=["F-2026-0007"])
    assert done.findings == ("F-2026-0007",)
