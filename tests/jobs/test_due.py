"""What is due, as a list and as a calendar file."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from attrs import evolve
from icalendar import Calendar

from lungwort.errors import InputError, OutputError, PlanError
from lungwort.jobs.due import as_json, due, due_of, parse_within, write_calendar
from lungwort.jobs.opening import Where
from lungwort.register.workspace import Workspace

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.plan import build_yard as yard


def _in_order(**more: Any) -> Any:
    given: dict[str, Any] = {
        "verdicts": (yard.verdict(yard.ago(10), hand_test_ids=("test-1",)),),
        "hand_tests": (yard.hand_test(yard.ago(10)),),
    }
    return yard.yard(**(given | more))


def test_nothing_is_late() -> None:
    """The next bump test within the sixty days of the rule set; the rest later."""
    agenda = due_of(_in_order(), workspace="slip")

    assert agenda.exit_code == 0
    assert [(one.kind, one.state) for one in agenda.items] == [("bump_test", "due")]
    assert agenda.later[0].kind == "test"
    assert agenda.notes == ()
    wide = due_of(_in_order(), within_days=4000)
    assert wide.later == ()


def test_late() -> None:
    """Overdue or never done: the exit code is 3."""
    assert due_of(_in_order(calibrations=(yard.CALIBRATED,))).exit_code == 3
    assert due_of(_in_order(calibrations=())).exit_code == 3


def test_notes() -> None:
    """A withdrawn supply, records kept too short, a clock behind the record, no supply."""
    withdrawn = due_of(_in_order(states=(yard.state("withdrawn", yard.ago(1)),)))
    assert "Supply compressor is withdrawn: its tests are not listed" in withdrawn.notes[0]
    short = due_of(_in_order(sites=(evolve(yard.SITE, retention_years=3),)))
    assert "keeps its records for 3 years, and the rule set asks for 5" in short.notes[0]
    assert "COSHH 2002, regulation 9(4)" in short.notes[0]
    behind = due_of(_in_order(newest_entry=yard.ago(-1)))
    assert "clock is behind the record" in behind.notes[0]
    assert behind.exit_code == 3
    empty = due_of(yard.yard(supplies=()))
    assert "no test of air is planned" in empty.notes[0]
    unused = due_of(
        _in_order(sites=(yard.SITE, evolve(yard.SITE, id="s2", in_use=False, retention_years=1)))
    )
    assert unused.notes == ()


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("60d", 60),
        ("0d", 0),
        ("8w", 56),
        (" 1 week ", 7),
        ("30 days", 30),
        ("1 day", 1),
        (None, None),
    ],
)
def test_how_far_ahead(text: str | None, days: int | None) -> None:
    """Days and weeks."""
    assert parse_within(text) == days


@pytest.mark.parametrize("text", ["60", "", "2h", "-3d", "1.5d", "99999d", "6000w", "٣d"])
def test_no_length_of_time(text: str) -> None:
    """What was found, and how to write it."""
    with pytest.raises(InputError, match=r"--within .* is no length of time in days\. Write it"):
        parse_within(text)


def test_calendar(tmp_path: Path) -> None:
    """Read back with a general calendar library: each thing on its day, its name kept."""
    agenda = due_of(_in_order(calibrations=(yard.CALIBRATED,)), workspace="slip")
    path = write_calendar(agenda, tmp_path / "due.ics")
    events = {
        str(event["UID"]): event for event in Calendar.from_ical(path.read_bytes()).walk("VEVENT")
    }

    assert len(events) == len(agenda.items) + len(agenda.later)
    test = events["test-outlet-1@lungwort"]
    assert test.decoded("DTSTART") == date(2026, 9, 5)
    assert str(test["SUMMARY"]) == "paint-1: test by hand"
    assert "Rule: uk-guidance: HSG53" in str(test["DESCRIPTION"])
    bump = events["bump_test-instrument-1@lungwort"]
    assert str(bump["SUMMARY"]) == "four-gas: bump test (overdue)"
    with pytest.raises(OutputError, match="does not exist"):
        write_calendar(agenda, tmp_path / "none" / "due.ics")


def test_a_day_at_the_end_of_the_calendar_is_left_out(tmp_path: Path) -> None:
    """An event needs a day after it."""
    endless = _in_order(lots=(evolve(yard.TUBES, expires=date(9999, 12, 31)),))
    path = write_calendar(due_of(endless), tmp_path / "due.ics")

    assert b"oil-a" not in path.read_bytes()


def test_json() -> None:
    """Days as days; the horizon as given."""
    found = as_json(due_of(_in_order(), workspace="slip", within_days=20))

    assert (found["format"], found["within_days"], found["exit_code"]) == ("lungwort-due/1", 20, 0)
    assert found["due"][0]["due"] == "2026-06-29"
    assert {one["kind"] for one in found["later"]} == {"test", "calibration", "lot", "competence"}


def test_from_a_workspace(sqlite_workspace: Workspace) -> None:
    """Read only; a rule set that cannot be read is told."""
    from lungwort.register.model import Person

    where = Where(sqlite_workspace.folder)
    assert due(where, now=yard.NOW).items == ()
    who = sqlite_workspace.register.all(Person)[0].name
    with sqlite_workspace.register.change(who=who, now=yard.NOW) as change:
        change.add(evolve(yard.SITE, id="", seq=0, plan="no-such-plan"))
    with pytest.raises(PlanError, match="'no-such-plan' is not known"):
        due(where, now=yard.NOW)
