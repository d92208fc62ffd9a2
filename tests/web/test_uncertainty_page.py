"""Asking on a page how uncertain a reading is. All figures are invented."""

from __future__ import annotations

import re
from urllib.parse import urlencode

from tests.web.kit import Visitor, text_of

from lungwort.web.pages.uncertainty import EXAMPLE, FIELDS


def _ask(reader: Visitor, status: int = 200, **more: str) -> str:
    asked = EXAMPLE | more | {"asked": "1"}
    return text_of(reader.page(f"/uncertainty?{urlencode(asked)}", status=status))


def test_the_form_asks(reader: Visitor) -> None:
    """Without anything typed there is a form, and no result."""
    text = text_of(reader.page("/uncertainty"))
    assert "Months since the calibration" in text
    assert "with k = 2" not in text


def test_every_field_of_the_example_is_asked() -> None:
    """The example fills the form, and nothing else."""
    assert set(EXAMPLE) <= {one.name for one in FIELDS}


def test_estimate(reader: Visitor) -> None:
    """The invented example comes to an estimate, with the entry for the rules."""
    text = _ask(reader)
    assert "uncertain by U =" in text
    assert "Entry for the decision rules" in text


def test_what_is_left_open_is_not_proven(reader: Visitor) -> None:
    """An open field is not a zero."""
    text = _ask(reader, zero="")
    assert "nothing is stated on zero" in text


def test_refusal_names_the_field(reader: Visitor) -> None:
    """A figure below zero is refused, and what was typed stays."""
    text = _ask(reader, status=422, linearity="-3")
    assert "Linearity" in text
    assert "no number of zero or more" in text


def test_instrument_on_record(reader: Visitor) -> None:
    """The list offers those on record, whose calibrations count; another is refused."""
    page = reader.page("/uncertainty")
    found = re.search(r'<option value="(instrument-[^"]+)"|value="(instrument-[^"]+)"', page)
    assert found is not None
    text = _ask(reader, instrument=found[1] or found[2], months="")
    assert "calibrated" in text
    assert "ppm as the uncertainty of co" in text
    assert "Change instrument monitor-" in text
    assert "no-such" in _ask(reader, status=422, instrument="no-such")


def test_no_effect_at_all_is_refused(reader: Visitor) -> None:
    """Zero in every field: a reading without any uncertainty there is not."""
    nothing = {one.name: "0" for one in FIELDS if one.kind == "number" and one.name in EXAMPLE} | {
        "at": "5"
    }
    text = _ask(reader, status=422, **nothing)
    assert "no part that is more than zero" in text or "no uncertainty" in text
    assert "resolution" in text.lower()


def test_readings_that_can_be_read_in_two_ways_are_refused(visitor: Visitor) -> None:
    """1.440 in German, 1,440 in English: a thousandfold apart."""
    assert "can be 1440 or 1.440" in _ask(visitor, status=422, at="0 1,440")
    visitor.done("/language", {"language": "de"})
    assert "1440" in _ask(visitor, status=422, at="0 1.440")
