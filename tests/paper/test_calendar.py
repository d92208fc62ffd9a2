"""The calendar file, read back by a reader of RFC 5545 written here."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import InputError
from lungwort.paper.calendar import CalendarItem, due_ics

NOW = datetime(2026, 11, 25, 12, 30, 5, 123456, tzinfo=UTC)
TEST = CalendarItem(
    "due-outlet-test-supply-7k3m@lungwort",
    date(2026, 12, 1),
    "Outlet test: compressor house, Merrowgate Slipway; three-monthly",
    "At least every three months.\nWhy: rule 'a, b; c' \\ last test on 1 Sep 2026.",
)
CELL = CalendarItem(
    "due-calibration-9@lungwort", date(2026, 11, 30), "Calibration", "", "https://air.example/9", 0
)

# RFC 5545, section 3.1: contentline = name *(";" param) ":" value.
_LINE = re.compile(r"^([A-Z0-9-]+)((?:;[A-Z0-9-]+=[^:;]+)*):(.*)$", re.DOTALL)


def _unfold(data: bytes) -> list[str]:
    # Section 3.1: a line ends with CRLF; CRLF and one blank is folded text.
    assert data.endswith(b"\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert b"\r" not in data.replace(b"\r\n", b"")
    return data.replace(b"\r\n ", b"").decode("utf-8").split("\r\n")[:-1]


def _text(value: str) -> str:
    # Section 3.3.11: \\ \; \, \N and \n are the only escapes.
    assert not re.search(r"\\[^\\;,Nn]", value.replace("\\\\", ""))
    return re.sub(r"\\([\\;,Nn])", lambda found: "\n" if found[1] in "Nn" else found[1], value)


def _events(data: bytes) -> list[dict[str, str]]:
    events: list[dict[str, str]] = []
    inside: list[str] = []
    for line in _unfold(data):
        found = _LINE.match(line)
        assert found, line
        name, parameters, value = found.groups()
        if name == "BEGIN":
            inside.append(value)
            if value == "VEVENT":
                events.append({})
        elif name == "END":
            assert inside.pop() == value
        elif "VALARM" in inside:
            events[-1][f"ALARM {name}"] = value
        elif "VEVENT" in inside:
            assert name not in events[-1]
            events[-1][name + parameters] = value
    assert inside == []
    return events


def test_an_item_is_an_event_of_the_whole_day() -> None:
    """RFC 5545, 3.6.1: DTEND of an event of whole days is the day after."""
    _, event = _events(due_ics([TEST, CELL], name="Due", now=NOW))

    assert event["UID"] == TEST.uid
    assert event["DTSTART;VALUE=DATE"] == "20261201"
    assert event["DTEND;VALUE=DATE"] == "20261202"
    assert event["DTSTAMP"] == "20261125T123005Z"
    assert event["TRANSP"] == "TRANSPARENT"
    assert _text(event["SUMMARY"]) == TEST.summary
    assert _text(event["DESCRIPTION"]) == TEST.description


def test_the_reminder_comes_days_before_at_nine() -> None:
    """RFC 5545, 3.8.6.3: 6 d 15 h before midnight is nine in the morning seven days before."""
    cell, test = _events(due_ics([TEST, CELL], name="Due", now=NOW))

    assert test["ALARM ACTION"] == cell["ALARM ACTION"] == "DISPLAY"
    assert test["ALARM TRIGGER"] == "-P6DT15H"
    assert cell["ALARM TRIGGER"] == "PT9H"
    assert test["ALARM DESCRIPTION"].startswith("Due on 2026-12-01: Outlet test")


def test_items_stand_in_the_order_of_their_days() -> None:
    """The order given does not matter, so the same items make the same file."""
    data = due_ics([TEST, CELL], name="Due", now=NOW)

    assert [event["UID"] for event in _events(data)] == [CELL.uid, TEST.uid]
    assert data == due_ics([CELL, TEST], name="Due", now=NOW)


def test_an_empty_field_is_left_out() -> None:
    """No empty DESCRIPTION; a URL only where there is one."""
    cell, test = _events(due_ics([TEST, CELL], name="Due", now=NOW))

    assert "DESCRIPTION" not in cell
    assert cell["URL"] == "https://air.example/9"
    assert "URL" not in test


def test_a_calendar_of_nothing_is_valid() -> None:
    """RFC 5545, 3.6: component = 1*(...): a calendar holds at least one component."""
    lines = _unfold(due_ics([], name="Due", now=NOW))

    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-1] == "END:VCALENDAR"
    assert "VERSION:2.0" in lines
    assert any(line.startswith("PRODID:") for line in lines)
    assert lines.count("BEGIN:VTIMEZONE") == 1
    assert "BEGIN:VEVENT" not in lines


def test_two_items_of_one_name_are_refused() -> None:
    """A calendar would show only one of them: nothing is dropped in silence."""
    with pytest.raises(InputError, match="two items of the calendar have the name 'due-cal"):
        due_ics([CELL, CELL], name="Due", now=NOW)


@settings(deadline=None, max_examples=80)
@given(
    st.text(max_size=200),
    st.text(max_size=300),
)
def test_any_text_stays_in_its_line(summary: str, description: str) -> None:
    """RFC 5545, 3.1: no line is longer than 75 octets, and no text can start a property."""
    item = CalendarItem("due-1@lungwort", date(2026, 12, 1), summary, description)
    data = due_ics([item], name=summary, now=NOW)

    for line in data.split(b"\r\n"):
        assert len(line) <= 75
        line.decode("utf-8")  # section 3.1 lets a fold split a character; better that it does not
    (event,) = _events(data)
    assert event["UID"] == "due-1@lungwort"
    # Section 3.3.11: TEXT has no control characters but the tab.
    assert not any(ord(char) < 32 or ord(char) == 127 for char in "".join(event.values()))
    if summary.isascii() and summary.isprintable():
        assert _text(event["SUMMARY"]) == summary
