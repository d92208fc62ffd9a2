"""The plan on a page, and as a calendar."""

from __future__ import annotations

from pathlib import Path

import pytest
from icalendar import Calendar
from tests.web.kit import NOW, Visitor, text_of

from lungwort.jobs.due import due
from lungwort.jobs.opening import Where


def test_the_page_lists_what_the_job_gives(reader: Visitor, year: Path) -> None:
    """Everything that is planned has its line, its rule and the way to where it is done."""
    agenda = due(Where(workspace=year), now=NOW)
    html = reader.page("/plan")
    text = text_of(html)
    for one in (*agenda.items, *agenda.later):
        assert one.subject in text
    assert f"{len(agenda.items) + len(agenda.later)} entries" in text
    assert "2 things are late" in text
    assert 'href="/tests/new"' in html
    assert "/cartridges/new" in html


def test_how_far_ahead(reader: Visitor) -> None:
    """Less is listed for a shorter time, and late things always."""
    week, all_of_it = text_of(reader.page("/plan?within=7")), text_of(reader.page("/plan"))
    assert "indicators-a" in week
    assert "competence" not in week
    assert "competence" in all_of_it


@pytest.mark.parametrize("within", ["", "x", "-1", "99999999999", "²", "7%00"])
def test_nonsense_shows_the_plan(reader: Visitor, within: str) -> None:
    """A time that makes no sense is left out."""
    assert reader.get(f"/plan?within={within}").status_code == 200


def test_the_calendar_can_be_read(reader: Visitor) -> None:
    """A general-purpose reader of RFC 5545 finds an event for what is due."""
    answer = reader.get("/plan/calendar.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    events = Calendar.from_ical(answer.content).walk("VEVENT")
    assert len(events) > 5
