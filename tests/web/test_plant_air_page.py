"""Enough air on a page; the plant is invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.web.kit import NOW, Visitor, text_of

from lungwort.jobs import plant_sheet
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.opening import Where

PAGE = "/plant/air"


@pytest.fixture
def supply(folder: Path) -> str:
    """Put an invented plant sheet on record, and give the id of its supply."""
    known = plant_sheet.plants(Where(workspace=folder))[0]
    session = Session(NOW, Where(workspace=folder), "Wenna Harkle")
    kwargs = {} if known.sheet is None else {"reason": "invented"}
    plant_sheet.record(session, known.id, _OWN, **kwargs)
    return known.id


_OWN = plant_sheet.form_text().replace("invented = true ", "# invented = true ")


def test_the_page_asks_before_it_answers(visitor: Visitor, supply: str) -> None:
    """Without a question there is a form with the supplies that have a sheet."""
    html = visitor.page(PAGE)

    assert "Is there enough air?" in text_of(html)
    assert supply in html
    assert "Who is on the air" not in text_of(html)


def test_the_answer_stands_below_the_form(visitor: Visitor, supply: str) -> None:
    """State, tables and drawings."""
    html = visitor.page(f"{PAGE}?supply={supply}")
    text = text_of(html)

    assert "The compressors deliver at least" in text
    assert "Who is on the air" in text
    assert "<svg" in html
    assert "does not replace a measurement at the wearer" in text


@pytest.mark.parametrize(
    ("query", "told"), [("intake_c=99", "outside -50 to 60"), ("without=zzz", "zzz")]
)
def test_what_cannot_be_is_refused_at_the_form(
    visitor: Visitor, supply: str, query: str, told: str
) -> None:
    """The page comes with 422 and says what is allowed."""
    html = visitor.page(f"{PAGE}?supply={supply}&{query}", status=422)

    assert told in text_of(html)
