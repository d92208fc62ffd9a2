"""Supplies on pages: how each stands, withdrawal and return, from one state to the other."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from tests.web.kit import NOW, Visitor, text_of

from lungwort.jobs.opening import Where
from lungwort.jobs.status import status
from lungwort.jobs.supply_now import supply_now


def _id(visitor: Visitor, name: str) -> str:
    listed = visitor.get("/api/v1/supplies").json()["supplies"]
    return next(str(one["id"]) for one in listed if one["name"] == name)


def test_the_list_says_what_status_says(reader: Visitor, year: Path) -> None:
    """No word about air stands on the page that the job does not give."""
    html = text_of(reader.page("/supplies"))
    words = {"conforms": "Conforms", "not_proven": "Not proven"}
    for row in status(Where(workspace=year), now=NOW).rows:
        assert row.title in html
        assert words[row.verdict] in html


def test_a_supply_shows_its_word_and_the_reasons(reader: Visitor) -> None:
    """A supply whose evidence went stale is not proven, and says which and since when."""
    html = reader.page(f"/supplies/{_id(reader, 'charging-compressor')}")
    text = text_of(html)
    assert "Not proven" in text
    assert "went stale on 1 Sep 2026" in text
    assert 'class="panel k-not_proven"' in html
    assert "Counts until" in text


def test_every_limit_has_its_evidence(reader: Visitor, year: Path) -> None:
    """The table has a line for each limit at each outlet, those that prove nothing first."""
    shown = supply_now(Where(workspace=year), "charging-compressor", now=NOW)
    assert shown.row is not None
    assert len(shown.evidence) == len(shown.row.evidence.limits) > 5
    # The log of the panel's monitor proves what it measured; oil and the like went stale.
    assert {one.proves for one in shown.evidence} == {True, False}
    assert all(one.used is None or 0 <= one.used <= 1 for one in shown.evidence)
    html = reader.page(f"/supplies/{shown.supply.id}")
    assert html.count('<tr class="open">') == sum(not one.proves for one in shown.evidence)


def test_withdrawn_and_returned(visitor: Visitor) -> None:
    """A withdrawn supply says so before anything else, and comes back when nothing is against it."""
    supply = _id(visitor, "hall-compressor")
    assert "Why it is withdrawn" in visitor.page(f"/supplies/{supply}/withdraw")
    refused = visitor.refused(f"/supplies/{supply}/withdraw", {"because": "  "})
    assert "Why it is withdrawn" in refused
    text = visitor.done(f"/supplies/{supply}/withdraw", {"because": "A smell of diesel"})
    assert "nobody may breathe its air" in text
    html = visitor.page(f"/supplies/{supply}")
    assert 'class="panel k-withdrawn"' in html
    assert "WITHDRAWN" in html
    assert "A smell of diesel" in html
    assert 'class="board k-withdrawn"' in visitor.page("/today")
    again = visitor.refused(f"/supplies/{supply}/withdraw", {"because": "again"})
    assert "withdrawn already" in again
    against = text_of(visitor.page(f"/supplies/{supply}/return"))
    assert "It may not return yet" in against
    refused = visitor.refused(f"/supplies/{supply}/return", {})
    assert "may not return to service" in refused


def test_no_command_of_the_terminal_is_shown(visitor: Visitor) -> None:
    """What a job says is worded for somebody who has never seen a terminal."""
    supply = _id(visitor, "hall-compressor")
    visitor.post(f"/supplies/{supply}/withdraw", {"because": "x"})
    for path in (
        f"/supplies/{supply}",
        f"/supplies/{supply}/return",
        "/supplies",
        "/today",
        "/plan",
    ):
        text = text_of(visitor.page(path))
        assert not re.search(r"(?<![\w-])--[a-z]|lungwort [a-z]+ ", text), path


@pytest.mark.parametrize("name", ["supply-nothing", "<script>alert(1)</script>", "..", "%00"])
def test_an_unknown_supply_is_told(reader: Visitor, name: str) -> None:
    """Whatever is asked for, there is an answer without a fault, and nothing of it is markup."""
    answer = reader.get(f"/supplies/{name}")
    assert answer.status_code in {200, 303, 307, 404, 422}
    assert "<script>alert" not in answer.text


def test_hostile_names_stay_names(visitor: Visitor) -> None:
    """Marks in a reason are shown as they were typed."""
    supply = _id(visitor, "hall-compressor")
    visitor.post(f"/supplies/{supply}/withdraw", {"because": "<img src=x onerror=alert(1)> =1+1"})
    html = visitor.page(f"/supplies/{supply}")
    assert "<img src=x" not in html
    assert "&lt;img src=x" in html
