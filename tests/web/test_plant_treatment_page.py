"""Life of the treatment on a page; the plant is invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.web.kit import NOW, Visitor, text_of

from lungwort.jobs import plant_sheet
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.opening import Where

SHEET = """
format = 1
[place]
intake_temperature_c = [5, 30]
intake_humidity_percent = [50, 90]
[[treatment]]
name = "cartridge-a"
kind = "molecular_sieve"
sorbent_g = 2600
water_capacity_percent = 12
pressure_bar_g = 225
inlet_above_intake_c = 10
separator_efficiency_percent = 99
flow_l_min = 265
"""
PAGE = "/plant/treatment"


@pytest.fixture
def supply(folder: Path) -> str:
    """Put an invented plant sheet on record, and give the id of its supply."""
    known = plant_sheet.plants(Where(workspace=folder))[0]
    session = Session(NOW, Where(workspace=folder), "Wenna Harkle")
    kwargs = {} if known.sheet is None else {"reason": "invented"}
    plant_sheet.record(session, known.id, SHEET, **kwargs)
    return known.id


def test_the_page_asks_before_it_answers(visitor: Visitor, supply: str) -> None:
    """Without a question there is a form with the supplies that have a sheet."""
    html = visitor.page(PAGE)

    assert "How long does the treatment last?" in text_of(html)
    assert supply in html
    assert "Life against the temperature" not in html


def test_the_answer_stands_below_the_form(visitor: Visitor, supply: str) -> None:
    """State, reasons, drawing, and the same as a file."""
    html = visitor.page(f"{PAGE}?supply={supply}&intake_c=20")
    text = text_of(html)

    assert "not proven" in text.casefold()
    assert "No stage of this name is on record" in text
    assert "<svg" in html
    assert "Measured moisture counts more than any calculated life." in text


@pytest.mark.parametrize(
    ("query", "told"),
    [("intake_c=99", "outside -50 to 60"), ("stage=zzz", "zzz"), ("until=2026-99-99", "is no day")],
)
def test_what_cannot_be_is_refused_at_the_form(
    visitor: Visitor, supply: str, query: str, told: str
) -> None:
    """The page comes with 422 and says what is allowed."""
    html = visitor.page(f"{PAGE}?supply={supply}&{query}", status=422)

    assert told in text_of(html)
