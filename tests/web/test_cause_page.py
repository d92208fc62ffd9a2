"""Asking on a page why the air went wrong. Logs and year are invented."""

from __future__ import annotations

from tests.web.kit import Visitor, text_of

from lungwort.demo.faults import fault_log
from lungwort.web.pages.cause import request_of
from lungwort.web.posted import Posted


def test_form(reader: Visitor) -> None:
    """The form offers the outlets on record, and says what a result is not."""
    text = text_of(reader.page("/cause"))
    assert "Outlet on record" in text
    assert "counts as bad until it was tested again" in text


def test_file_is_looked_at(reader: Visitor) -> None:
    """A file sent in: the cause, what would confirm it, and the cautions."""
    answer = reader.post(
        "/cause",
        {"settle": "0"},
        files=[("files", ("log.csv", fault_log("exhaust", 8).csv().encode(), "text/csv"))],
    )
    assert answer.status_code == 200, text_of(answer.text)
    text = text_of(answer.text)
    assert "exhaust of an engine drawn in" in text
    assert "What would confirm it" in text
    assert "sent to a doctor at once" in text


def test_finding_of_the_invented_year(reader: Visitor) -> None:
    """The invented year has a van at the intake of hall-1; its finding leads to exhaust."""
    text = text_of(reader.post("/cause", {"finding": "F-2026-0001"}).text)
    assert "Why did the air go wrong?" in text
    assert "exhaust of an engine drawn in" in text


def test_refusal_stands_at_the_form(reader: Visitor) -> None:
    """Nothing to look at is refused, and the form is there again."""
    text = reader.refused("/cause", {"zone": "Europe/London"})
    assert "nothing was given to look at" in text
    assert "Look for causes" in text


def test_files_go_before_what_is_on_record() -> None:
    """Without a file the outlet counts; moments are read as the browser writes them."""
    sent = Posted({"outlet": ("hall-1",), "begin": ("2026-03-04T06:00",)}, {})
    asked = request_of(sent)
    assert (asked.outlet, asked.begin, asked.end) == ("hall-1", "2026-03-04 06:00", None)


def test_an_unknown_finding_in_the_address_is_told(reader: Visitor) -> None:
    """A link that leads nowhere says so."""
    assert "F-9999-9999" in reader.page("/cause?finding=F-9999-9999", status=404)
