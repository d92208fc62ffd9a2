"""The frame of every page: lists, forms, errors, colours."""

from __future__ import annotations

import json
import re
from importlib import resources
from io import BytesIO

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook
from tests.web.kit import Visitor, text_of

from lungwort.paper.palette import DARK, LIGHT, contrast
from lungwort.web.lists import Cell, Column, Table, harmless, table_view
from lungwort.web.pages.today import own_path
from lungwort.web.posted import plain_name

CSS = (resources.files("lungwort.web") / "static/css/base.css").read_text("utf-8")


def _variables(text: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", text))


@pytest.mark.parametrize(("place", "palette"), [(0, LIGHT), (1, DARK)])
def test_colours_are_those_of_paper(place: int, palette: dict[str, str]) -> None:
    """Screen and paper show one thing in one colour."""
    part = CSS.split("@media screen and (prefers-color-scheme: dark)")[place]
    written = _variables(part.split("@media (max-width")[0])
    for name, colour in palette.items():
        assert written[name.replace("_", "-")] == colour, name


@pytest.mark.parametrize("place", [0, 1])
def test_controls_can_be_seen(place: int) -> None:
    """WCAG 2.2: text 4.5 to 1 (1.4.3), edges of controls and the focus 3 to 1 (1.4.11)."""
    part = CSS.split("@media screen and (prefers-color-scheme: dark)")[place]
    found = _variables(part.split("@media (max-width")[0])
    for ground in ("ground", "panel"):
        assert contrast(found["act"], found[ground]) >= 4.5
        assert contrast(found["edge"], found[ground]) >= 3
        assert contrast(found["focus"], found[ground]) >= 3
    assert contrast(found["on-act"], found["act"]) >= 4.5


def test_no_style_or_script_stands_in_a_page() -> None:
    """The content security policy lets none through, so it would be lost."""
    for path in (resources.files("lungwort.web") / "templates").rglob("*.html"):  # type: ignore[attr-defined]
        text = path.read_text("utf-8")
        assert not re.search(r"\sstyle=|<style|\son[a-z]+=\"|javascript:", text), path.name
        for tag in re.findall(r"<script[^>]*>", text):
            assert "src=" in tag or 'type="application/json"' in tag, path.name
        assert "http://" not in text.replace("http://www.w3.org", "")
        assert "https://" not in text


@given(st.text(max_size=40))
def test_no_cell_is_a_formula(text: str) -> None:
    """Nothing that a spreadsheet takes for a formula is given out, and numbers stay numbers."""
    given_out = harmless(text)
    assert not re.match(r"[=+@\t\r]", given_out) or _is_number(given_out)
    assert given_out.lstrip("'") == text.lstrip("'") or given_out == text


def _is_number(text: str) -> bool:
    try:
        float(text.replace("−", "-"))
    except ValueError:
        return False
    return True


@given(st.text(max_size=60))
def test_a_file_stays_in_its_folder(name: str) -> None:
    """Whatever a browser calls a file, its name is one part of a path."""
    kept = plain_name(name)
    assert kept
    assert not set(kept) & set("/\\:")
    assert kept not in {".", ".."}


@given(st.text(max_size=40))
def test_the_way_on_leads_nowhere_else(text: str) -> None:
    """A path that was asked for never leads to another place."""
    path = own_path(text)
    assert path.startswith("/")
    assert not path.startswith(("//", "/\\"))


def test_lists_are_searched_sorted_and_taken_along(reader: Visitor) -> None:
    """A list is asked for by its address, and given as a file of three kinds."""
    html = reader.page("/lots?q=indicators&sort=c0&dir=down")
    first, second = text_of(html).find("indicators-b"), text_of(html).find("indicators-a")
    assert 0 < first < second
    assert "entries" not in text_of(html)
    csv = reader.get("/lots?export=csv").content.decode("utf-8-sig").splitlines()
    rows = json.loads(reader.get("/lots?export=json").text)
    sheet = load_workbook(BytesIO(reader.get("/lots?export=xlsx").content)).active
    assert sheet is not None
    assert len(csv) == len(rows) + 1 == sheet.max_row
    assert reader.page("/lots?q=nothing+like+this").count("Nothing in this list") == 1


def test_an_unknown_page_and_thing_are_told(reader: Visitor) -> None:
    """What is not there gets a page with a way on, in words."""
    for path in ("/nothing-here", "/supplies/supply-unknown", "/findings/F-1900-0001"):
        answer = reader.get(path)
        assert answer.status_code == 404
        assert "Go to Today" in answer.text


def test_paging_never_leaves_a_list(reader: Visitor) -> None:
    """Page numbers that make no sense show a page that is there."""
    for page in ("0", "-1", "999999999999999999999999", "x", "²"):
        assert reader.get(f"/lots?page={page}").status_code == 200


def test_table_view_sorts_numbers_as_numbers() -> None:
    """2 comes before 10."""

    class Request:
        class url:  # noqa: N801 - as starlette calls it
            path = "/x"

        class query_params(dict[str, str]):  # noqa: N801
            def multi_items(self) -> list[tuple[str, str]]:
                return list(self.items())

    class Ctx:
        request = Request()

    Ctx.request.query_params = Request.query_params(sort="n")  # type: ignore[assignment]
    table = Table(
        key="k", columns=(Column("n", "N"),), rows=((Cell("10", sort=10),), (Cell("2", sort=2),))
    )
    shown = table_view(Ctx(), table)  # type: ignore[arg-type]
    assert [row[0].text for row in shown.table.rows] == ["2", "10"]


def test_a_comma_is_a_decimal_sign_where_german_is_spoken(visitor: Visitor) -> None:
    """In fields for numbers alone, and where it can be read in one way only."""
    listed = visitor.get("/api/v1/supplies").json()["supplies"]
    supply = next(one["id"] for one in listed if one["name"] == "hall-compressor")
    html = visitor.page(f"/supplies/{supply}/hours/new")
    name = re.search(r'inputmode="decimal"[^>]*name="(\w+)"', html)
    assert name is not None
    assert f'name="numbers" value="{name[1]}"' in html
    visitor.done("/language", {"language": "de"})
    shown = visitor.done(f"/supplies/{supply}/hours/new", {name[1]: "9940,5", "numbers": name[1]})
    assert "9940,5" in shown or "9.940,5" in shown
