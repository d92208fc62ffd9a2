"""Limit sets on pages: listed, shown with their standing, put side by side."""

from __future__ import annotations

from urllib.parse import quote

import pytest
from tests.web.kit import Visitor, text_of

from lungwort.jobs.limits import list_sets, shipped_text, show_set
from lungwort.jobs.limits_compare import compare

IDS = [one.id for group in list_sets() for one in group.sets]


def test_each_set_has_its_line(reader: Visitor) -> None:
    """All sets that come with the program are listed."""
    html = reader.page("/limits?all=1")
    for name in IDS:
        assert f'href="/limits/set/{name}"' in html


def test_the_list_can_be_searched(reader: Visitor) -> None:
    """Fewer are found by words."""
    text = text_of(reader.page("/limits?q=12021"))
    assert f"of {len(IDS)} found" in text


@pytest.mark.parametrize("name", IDS)
def test_a_set_shows_each_limit_with_its_standing(reader: Visitor, name: str) -> None:
    """What is allowed, its clause, its standing and the caution stand on the page."""
    view = show_set(name)
    text = text_of(reader.page(f"/limits/set/{name}"))
    for row in view.rows:
        assert " ".join(row.allowed.split()) in text
        assert (row.own_copy or row.status) in text
    for caution in view.cautions:
        assert " ".join(caution.split())[:40] in text


def test_two_sets_side_by_side(reader: Visitor) -> None:
    """Each pair of limits stands there with the word of the job."""
    found = compare(IDS[0], IDS[1])
    text = text_of(reader.page(f"/limits/compare?a={IDS[0]}&b={IDS[1]}"))
    for pair in found.pairs:
        assert pair.word in text


@pytest.mark.parametrize(
    "name", ["nothing", "../../etc/passwd", "/etc/passwd", "x.toml", "<script>alert(1)</script>"]
)
def test_no_file_is_read_by_its_address(reader: Visitor, name: str) -> None:
    """An address names a set that is known, and never a file."""
    said = quote(name, safe="")
    for path in (f"/limits/set/{said}", f"/limits/compare?a={said}&b={IDS[0]}"):
        answer = reader.get(path)
        assert answer.status_code in {400, 404, 422}
        assert "root:" not in answer.text
        assert "<script>alert" not in answer.text


def test_a_set_of_ones_own(visitor: Visitor) -> None:
    """A copy is taken, saved and listed; mistakes come back with their line."""
    assert "EN 12021" in visitor.page("/limits/own?start=en12021-2014-airline")
    told = visitor.refused("/limits/own", {"text": "format = 1\nid = 3 4\n"})
    assert "line 2" in told
    text = shipped_text("en12021-2014-airline")
    named = text.replace('id = "en12021-2014-airline"', 'id = "yard"')
    assert "yard" in visitor.done("/limits/own", {"text": named})
    assert visitor.get("/limits/own?name=..%2Fworkspace").status_code == 404
