"""Findings on pages: from what was found to the end."""

from __future__ import annotations

import re

import pytest
from tests.web.kit import Visitor, text_of

from lungwort.errors import LimitSetError


def test_the_way_of_a_closed_finding(reader: Visitor) -> None:
    """Each stage of the invented finding is done, with who and when."""
    text = text_of(reader.page("/findings/F-2026-0001"))
    for word in ("Found done", "Cause done", "Cure done", "Tested again done", "Closed done"):
        assert word in text
    assert "Wenna Harkle" in text
    assert "engine running below the intake" in text


def test_a_finding_from_its_opening(visitor: Visitor) -> None:
    """What is lacking is named, and is done on the same page."""
    html = visitor.page("/findings/new")
    supply = re.search(r'<option value="(supply-[a-z0-9]+)">Hall compressor', html)
    assert supply is not None
    text = visitor.done(
        "/findings/new", {"supply": supply[1], "text": "Smell of exhaust", "analytes": ["co"]}
    )
    number = re.search(r"F-2026-\d{4}", text)
    assert number is not None
    assert "still to do" in text
    assert "Enter the cause" in text
    assert "1 finding is open" in text_of(visitor.page("/findings"))
    path = f"/findings/{number[0]}"
    assert "Why it went wrong" in visitor.refused(f"{path}/cause", {"text": ""})
    text = visitor.done(f"{path}/cause", {"text": "A lorry at the intake"})
    assert "A lorry at the intake" in text
    assert "Cause done" in text
    text = visitor.done(f"{path}/cure", {"text": "The yard is closed to lorries"})
    assert "Cure done" in text
    assert "Tested again still to do" in text
    refused = visitor.refused(f"{path}/close", {"text": "all is well"})
    assert "test" in refused
    assert "Closed still to do" in text_of(visitor.page(path))


def test_a_finding_that_is_not_about_air(visitor: Visitor) -> None:
    """It is closed without a test, as it was said at its opening."""
    html = visitor.page("/findings/new")
    supply = re.search(r'<option value="(supply-[a-z0-9]+)">Hall compressor', html)
    assert supply is not None
    text = visitor.done(
        "/findings/new", {"supply": supply[1], "text": "The label fell off", "not_air": "yes"}
    )
    number = re.search(r"F-2026-\d{4}", text)
    assert number is not None
    path = f"/findings/{number[0]}"
    visitor.done(f"{path}/cause", {"text": "Old glue"})
    visitor.done(f"{path}/cure", {"text": "A new label"})
    text = visitor.done(f"{path}/close", {"text": "It holds", "not_air": "yes"})
    assert "Closed done" in text
    assert "Tested again no test was needed" in text
    assert "Tested again done" not in text


def test_a_rule_that_cannot_be_read_is_no_test(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where it cannot be told whether it was tested again, it was not."""
    html = visitor.page("/findings/new")
    supply = re.search(r'<option value="(supply-[a-z0-9]+)">Hall compressor', html)
    assert supply is not None
    text = visitor.done("/findings/new", {"supply": supply[1], "text": "A smell"})
    number = re.search(r"F-2026-\d{4}", text)
    assert number is not None
    for kind in ("cause", "cure"):
        visitor.done(f"/findings/{number[0]}/{kind}", {"text": "x"})

    def broken(*_: object) -> None:
        raise LimitSetError("The limit set own-1 cannot be read.")

    monkeypatch.setattr("lungwort.jobs.judging.limits_of", broken)
    text = text_of(visitor.page(f"/findings/{number[0]}"))
    assert "own-1 cannot be read" in text
    assert "Tested again still to do" in text


def test_an_unknown_action_is_refused(visitor: Visitor) -> None:
    """What is no cause, cure or note records nothing."""
    assert "no such action" in visitor.refused("/findings/F-2026-0001/dance", {"text": "x"})
