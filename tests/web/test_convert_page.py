"""Converting on a page: the address holds the question, errors name the field."""

from __future__ import annotations

from urllib.parse import urlencode

import pytest
from tests.web.kit import Visitor, text_of

from lungwort.jobs.convert import convert


def _ask(reader: Visitor, status: int = 200, **asked: str) -> str:
    return text_of(reader.page(f"/convert?{urlencode(asked)}", status=status))


@pytest.mark.parametrize("what", ["", "moisture", "gas", "cylinder", "<script>"])
def test_each_kind_has_its_form(reader: Visitor, what: str) -> None:
    """Without a number there is a form, and no result."""
    text = _ask(reader, what=what)
    assert "Type a number" in text


def test_carbon_monoxide_in_mass(reader: Visitor) -> None:
    """5 ppm of CO are 5.822 mg/m3 at 20 °C: 28.01 g/mol over 24.055 L/mol (ideal gas, computed)."""
    text = _ask(reader, what="gas", value="5", unit="ppm", gas="co", target="mg/m3")
    assert "5 ppm = 5.822 mg/m3" in text
    assert "ideal gas" in text
    assert "0 °C and 20 °C differ by 7 %" in text


def test_moisture_says_what_the_job_says(reader: Visitor) -> None:
    """Result, assumptions and cautions of the job all stand on the page."""
    found = convert("-40 °C", "ppm", kind="pressure-dew-point", pressure="7 bar(g)")
    text = _ask(
        reader,
        what="moisture",
        value="-40",
        unit="°C",
        kind="pressure-dew-point",
        pressure="7",
        pressure_unit="bar(g)",
        target="ppm",
    )
    for line in (found.lines()[0], *found.assumptions, *found.cautions):
        assert line in text


def test_a_cylinder(reader: Visitor) -> None:
    """What a cylinder holds, with the caution that it is no breathing time."""
    text = _ask(reader, what="cylinder", value="300", unit="bar(g)", volume="6.8", temperature="20")
    assert "1827 L free air" in text
    assert "Free air is not breathing time" in text


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"what": "moisture", "value": "-5", "unit": "°C", "target": "ppm"}, "it is a"),
        ({"what": "gas", "value": "5", "unit": "ppm", "target": "mg/m3"}, "‘Gas’"),
        ({"what": "cylinder", "value": "300", "unit": "bar(g)"}, "Water volume"),
        ({"what": "gas", "value": "x", "unit": "ppm", "target": "mg/m3", "gas": "co"}, "'x ppm'"),
        (
            {"what": "gas", "value": "1e400", "unit": "ppm", "target": "mg/m3", "gas": "co"},
            "too large",
        ),
        (
            {"what": "gas", "value": "1", "unit": "ppm", "target": "mg/m3", "molar_mass": "1,440"},
            "has a comma",
        ),
        (
            {"what": "gas", "value": "1", "unit": "ppm", "target": "mg/m3", "molar_mass": "x"},
            "Molar mass",
        ),
        ({"what": "gas", "value": "9" * 70, "unit": "ppm", "target": "mg/m3"}, "60 characters"),
    ],
)
def test_errors_say_which_field(reader: Visitor, asked: dict[str, str], told: str) -> None:
    """A question that cannot be answered is refused with the field's name."""
    text = _ask(reader, 422, **asked)
    assert told in text[text.index("Result") :]


@pytest.mark.parametrize(
    "query",
    ["value=1", "value=%00&unit=%00&target=%00", "what=gas&value=1&unit=<b>&target='\"><script>x"],
)
def test_nonsense(reader: Visitor, query: str) -> None:
    """A nonsense address is refused, and never taken for marks."""
    answer = reader.get(f"/convert?{query}")
    assert answer.status_code == 422
    assert "<script>x" not in answer.text


def test_live_answers_are_shown_even_where_refused(reader: Visitor) -> None:
    """What is asked for while typing comes with 200, or the script would not show it."""
    answer = reader.get("/convert?what=gas&value=x&unit=ppm", headers={"HX-Request": "true"})
    assert answer.status_code == 200
    assert "note-refused" in answer.text


def test_a_pressure_without_its_unit_is_not_guessed(reader: Visitor) -> None:
    """Gauge or absolute is asked for, at the field that lacks it."""
    told = text_of(
        reader.page(
            "/convert?what=moisture&value=24&unit=ppm&target=pressure-dew-point&pressure=7",
            status=422,
        )
    )
    assert "choose the unit of this pressure" in told
