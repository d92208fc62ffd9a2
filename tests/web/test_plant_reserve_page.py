"""Reserve and bank on their pages; the plant is invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.jobs.test_bank import SHEET as BANK
from tests.jobs.test_reserve import SHEET as RESERVE
from tests.web.kit import NOW, Visitor, text_of

from lungwort.jobs import plant_sheet
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.opening import Where


@pytest.fixture
def supply(folder: Path) -> str:
    """Put an invented plant sheet on record, and give the id of its supply."""
    known = plant_sheet.plants(Where(workspace=folder))[0]
    session = Session(NOW, Where(workspace=folder), "Wenna Harkle")
    kwargs = {} if known.sheet is None else {"reason": "invented"}
    text = RESERVE + BANK[BANK.index("[[bank]]") :]
    plant_sheet.record(session, known.id, text, **kwargs)
    return known.id


@pytest.mark.parametrize(
    ("page", "title"),
    [
        ("/plant/reserve", "How long does the reserve last?"),
        ("/plant/bank", "How many cylinders can be filled?"),
    ],
)
def test_the_pages_ask_before_they_answer(
    visitor: Visitor, supply: str, page: str, title: str
) -> None:
    """Without a question there is a form with the supplies that have a sheet."""
    html = visitor.page(page)

    assert title in text_of(html)
    assert supply in html
    assert "Before you act on this" not in text_of(html)


def test_the_reserve_stands_below_the_form(visitor: Visitor, supply: str) -> None:
    """State, time, drawing and cautions."""
    html = visitor.page(f"/plant/reserve?supply={supply}&escape_min=10")
    text = text_of(html)

    assert "After the compressor stops the air lasts" in text
    assert "10 min are needed to get to safe air" in text
    assert "It is of use only to those who notice at once" in text
    assert "<svg" in html


def test_the_bank_stands_below_the_form(visitor: Visitor, supply: str) -> None:
    """State, number, orders and cautions."""
    html = visitor.page(f"/plant/bank?supply={supply}&wanted=3")
    text = text_of(html)

    assert "cylinders of 6.8 L can be filled from 50 to 300 bar(g)" in text
    assert "Orders compared" in text
    assert "<svg" in html


@pytest.mark.parametrize(
    ("query", "told"),
    [
        ("/plant/reserve?escape_min=0&supply=", "outside 1 to 1440"),
        ("/plant/bank?wanted=7.5&supply=", "is no whole number"),
    ],
)
def test_what_cannot_be_is_refused_at_the_form(
    visitor: Visitor, supply: str, query: str, told: str
) -> None:
    """The page comes with 422 and says what is allowed."""
    assert told in text_of(visitor.page(f"{query}{supply}", status=422))
