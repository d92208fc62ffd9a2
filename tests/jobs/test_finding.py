"""Findings: cause, cure, note and closing. The site is invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from attrs import evolve
from tests.jobs.certify_story import CLEAN, MORNING, WENNA, Story, begin

from lungwort.errors import InputError, RegisterError, UnknownRecordError
from lungwort.jobs.finding import (
    add_action,
    close_finding,
    is_about_air,
    list_findings,
    open_finding,
    show_finding,
)
from lungwort.jobs.status import status
from lungwort.register.model import Action, Finding, Site
from lungwort.register.workspace import Workspace

HOUR = timedelta(hours=1)
NUMBER = "F-2026-0001"


@pytest.fixture
def story(workspace: Workspace) -> Story:
    """Give the invented site, on either database."""
    return begin(workspace)


@pytest.fixture
def alone(sqlite_workspace: Workspace) -> Story:
    """Give the invented site where the database makes no difference."""
    return begin(sqlite_workspace)


def test_a_finding_from_opening_to_closing(story: Story) -> None:
    """Each thing that it needs is told until it is there."""
    opened = open_finding(
        story.session(MORNING),
        "main",
        "Smell of exhaust.",
        analytes=["odour", "carbon monoxide", "odour"],
        outlet="slip 2",
        time="2026-03-04 07:30",
    )
    finding = opened.finding
    assert finding.number == NUMBER
    assert finding.analytes == ("odour", "co")
    assert finding.outlet_id == story.outlet.id
    assert finding.opened_at == datetime(2026, 3, 4, 7, 30, tzinfo=UTC)
    assert opened.is_open
    assert len(opened.lacks) == 3
    assert f"lungwort finding cause {NUMBER}" in opened.lacks[0]

    now = MORNING + HOUR
    with pytest.raises(RegisterError, match=r"cannot be closed: No cause is on record"):
        close_finding(story.session(now), NUMBER, "It is gone.")
    add_action(story.session(now), NUMBER, "cause", "Exhaust at the intake.")
    with pytest.raises(RegisterError, match=r"cannot be closed: No cure is on record"):
        close_finding(story.session(now), NUMBER, "It is gone.")
    shown = add_action(story.session(now), NUMBER, "cure", "Intake moved.")
    assert [one.action.kind for one in shown.actions] == ["cause", "cure"]
    with pytest.raises(RegisterError, match=r"Outlet Slip 2 has no conforming verdict"):
        close_finding(story.session(now), NUMBER, "It is gone.")
    story.hand_test(MORNING + 3 * HOUR)
    retest = story.certify(MORNING + 3 * HOUR, certificate=False)
    done = close_finding(story.session(MORNING + 4 * HOUR), NUMBER, "Retested, clean.")
    assert not done.is_open
    assert done.lacks == ()
    closing = done.actions[-1].action
    assert retest.record is not None
    assert (closing.kind, closing.verdict_id) == ("close", retest.record.id)
    assert closing.text == "Retested, clean."
    with pytest.raises(RegisterError, match=f"{NUMBER} is closed already"):
        close_finding(story.session(MORNING + 4 * HOUR), NUMBER, "Again.")
    with pytest.raises(RegisterError, match=f"{NUMBER} is closed. Enter a note"):
        add_action(story.session(MORNING + 4 * HOUR), NUMBER, "cure", "Again.")
    noted = add_action(story.session(MORNING + 4 * HOUR), NUMBER, "note", "Told to all.")
    assert noted.actions[-1].action.text == "Told to all."
    assert noted.plain()["open"] is False


def test_a_closing_falls_with_its_retest(alone: Story) -> None:
    """Where the verdict that it rests on is taken out of the record, the finding is open again."""
    open_finding(alone.session(MORNING), "main", "Smell.", analytes=["odour"])
    for kind in ("cause", "cure"):
        add_action(alone.session(MORNING), NUMBER, kind, "A hose.")
    alone.hand_test(MORNING + 2 * HOUR)
    retest = alone.certify(MORNING + 2 * HOUR, certificate=False)
    close_finding(alone.session(MORNING + 3 * HOUR), NUMBER, "Clean.")
    assert list_findings(alone.where, now=MORNING + 3 * HOUR) == ()
    assert retest.record is not None
    with alone.workspace.register.change(who=WENNA, now=MORNING + 4 * HOUR) as change:
        (closing,) = change.all(Action, kind="close")
        change.void(closing, "The retest was of another outlet.")
    (again,) = list_findings(alone.where, now=MORNING + 4 * HOUR)
    assert again.is_open


def test_what_is_not_about_the_air_needs_no_retest(alone: Story) -> None:
    """It must be said so; what names an analyte or came from a verdict is about the air."""
    book = open_finding(alone.session(MORNING), "main", "The log book is missing.", not_air=True)
    assert book.plain()["about_air"] is False
    assert book.finding.note == "Not about the air."
    open_finding(alone.session(MORNING), "main", "Smell.", analytes=["odour"])
    with pytest.raises(RegisterError, match=r"It is not about the air: give --not-air"):
        close_finding(alone.session(MORNING), NUMBER, "Found.")
    done = close_finding(alone.session(MORNING), NUMBER, "Found.", not_air=True)
    assert not done.is_open
    with pytest.raises(RegisterError, match=r"F-2026-0002 is about the air: it names odour"):
        close_finding(alone.session(MORNING), "F-2026-0002", "Gone.", not_air=True)
    alone.hand_test(MORNING + HOUR, [*CLEAN[:4], "co=9 ppm", *CLEAN[5:]])
    made = alone.certify(MORNING + HOUR).finding
    assert made is not None
    with pytest.raises(RegisterError, match="is about the air"):
        close_finding(alone.session(MORNING + HOUR), made.number, "Gone.", not_air=True)


def test_in_doubt_a_finding_is_about_the_air(alone: Story) -> None:
    """An alarm without an analyte named stands against a certificate, and needs a retest."""
    alone.hand_test(MORNING)
    opened = open_finding(alone.session(MORNING + HOUR), "main", "Alarm; two men felt sick.")
    assert opened.plain()["about_air"] is True
    with pytest.raises(RegisterError, match=r"about the air: it was not opened with --not-air"):
        close_finding(alone.session(MORNING + HOUR), NUMBER, "Nothing.", not_air=True)
    refused = alone.certify(MORNING + HOUR)
    assert refused.certificate is None
    assert any(NUMBER in why for why in refused.no_certificate)
    assert any(row.findings for row in status(alone.where, now=MORNING + HOUR).rows)
    for kind in ("cause", "cure"):
        add_action(alone.session(MORNING + 2 * HOUR), NUMBER, kind, "The intake.")
    with pytest.raises(RegisterError, match=r"no conforming verdict whose evidence was all taken"):
        close_finding(alone.session(MORNING + 2 * HOUR), NUMBER, "Cured.")
    alone.hand_test(MORNING + 4 * HOUR)
    alone.certify(MORNING + 4 * HOUR, certificate=False)
    assert not close_finding(alone.session(MORNING + 5 * HOUR), NUMBER, "Retested.").is_open


def test_an_older_finding_without_the_words_is_about_the_air(alone: Story) -> None:
    """Whatever else its note says; and the words do not outweigh an analyte or a verdict."""
    shown = open_finding(alone.session(MORNING), "main", "Smell.")
    assert is_about_air(evolve(shown.finding, note="Told by telephone. Not about the air."))
    assert not is_about_air(evolve(shown.finding, note="Not about the air."))
    assert is_about_air(evolve(shown.finding, note="Not about the air.", analytes=("co",)))
    assert is_about_air(evolve(shown.finding, note="Not about the air.", verdict_id="verdict-1"))
    with pytest.raises(InputError, match=r"--not-air and --analyte co contradict each other"):
        open_finding(alone.session(MORNING), "main", "Smell.", analytes=["co"], not_air=True)


def test_listing(alone: Story) -> None:
    """Open ones, all of them, those of one supply; oldest first."""
    with alone.workspace.register.change(who=WENNA, now=MORNING) as change:
        change.add(evolve(alone.supply, id="", version=0, seq=0, name="other"))
    for supply, text in (("main", "One."), ("other", "Two."), ("main", "Three.")):
        open_finding(alone.session(MORNING), supply, text, not_air=True)
    close_finding(alone.session(MORNING), NUMBER, "Done.", not_air=True)

    def texts(**asked: object) -> list[str]:
        found = list_findings(alone.where, now=MORNING, **asked)  # type: ignore[arg-type] # as typed
        return [one.finding.text for one in found]

    assert texts() == ["Two.", "Three."]
    assert texts(closed=True) == ["One.", "Two.", "Three."]
    assert texts(supply="main") == ["Three."]
    with pytest.raises(UnknownRecordError, match="third"):
        texts(supply="third")


def test_a_limit_set_that_cannot_be_read_hides_no_finding(alone: Story) -> None:
    """What it still needs cannot be told then, and that is told."""
    open_finding(alone.session(MORNING), "main", "Smell.", analytes=["odour"])
    add_action(alone.session(MORNING), NUMBER, "cure", "A hose.")
    with alone.workspace.register.change(who=WENNA, now=MORNING) as change:
        site = change.get(Site, "slipway")
        change.replace(site, evolve(site, limit_set="gone.toml"), "Own limits.")
    shown = show_finding(alone.where, NUMBER, now=MORNING)
    assert shown.is_open
    assert "gone.toml" in shown.lacks[0]


def test_a_supply_without_an_outlet_in_use(alone: Story) -> None:
    """There is nothing to retest, and that is told."""
    open_finding(alone.session(MORNING), "main", "Smell.", analytes=["odour"])
    add_action(alone.session(MORNING), NUMBER, "cure", "A hose.")
    with alone.workspace.register.change(who=WENNA, now=MORNING) as change:
        change.replace(alone.outlet, evolve(alone.outlet, in_use=False), "Taken away.")
    shown = show_finding(alone.where, NUMBER, now=MORNING)
    assert any("no outlet in use that could be tested" in one for one in shown.lacks)


def test_numbers_are_not_given_twice(alone: Story) -> None:
    """Not even that of a finding opened by mistake."""
    for text in ("One.", "Two."):
        open_finding(alone.session(MORNING), "main", text)
    with alone.workspace.register.change(who=WENNA, now=MORNING) as change:
        change.void(change.get(Finding, "F-2026-0002"), "By mistake.")
    assert open_finding(alone.session(MORNING), "main", "Three.").finding.number == "F-2026-0003"


def test_what_cannot_be_entered(alone: Story) -> None:
    """Messages name what was found."""
    with pytest.raises(InputError, match="--text is empty"):
        open_finding(alone.session(MORNING), "main", " ")
    with pytest.raises(InputError, match="--analyte: analyte 'unobtainium' is not known"):
        open_finding(alone.session(MORNING), "main", "Smell.", analytes=["unobtainium"])
    with alone.workspace.register.change(who=WENNA, now=MORNING) as change:
        change.add(evolve(alone.supply, id="", version=0, seq=0, name="other"))
    with pytest.raises(RegisterError, match="Outlet Slip 2 is not an outlet of supply other"):
        open_finding(alone.session(MORNING), "other", "Smell.", outlet="Slip 2")
    open_finding(alone.session(MORNING), "main", "Smell.")
    with pytest.raises(InputError, match="'close' is no such action"):
        add_action(alone.session(MORNING), NUMBER, "close", "Done.")
    with pytest.raises(InputError, match="lies ahead"):
        add_action(alone.session(MORNING), NUMBER, "cure", "Done.", time="2026-03-05 08:00")
    with pytest.raises(UnknownRecordError, match="F-2026-0009"):
        show_finding(alone.where, "F-2026-0009", now=MORNING)
