"""The HTML file."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any

import pytest
from attrs import evolve

from lungwort.paper.content import Cover
from lungwort.paper.page import to_html
from lungwort.paper.result import digest, to_json

if TYPE_CHECKING:
    from lungwort.verdict.model import Verdict

VOID = {"meta", "br", "link", "img", "input", "hr"}
NASTY = '<script>alert(\'x\')</script>" onload="alert(1)" &amp; {{ 7 * 7 }} \u202egnp.exe'


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] != "style":
            self.text.append(data)


def _read(page: str) -> _Reader:
    reader = _Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


@pytest.mark.parametrize("which", ["failing", "clean", "unproven"])
def test_the_page_is_well_formed_and_needs_no_network(
    which: str, request: pytest.FixtureRequest
) -> None:
    """The page is well formed and needs no network."""
    verdict: Verdict = request.getfixturevalue(which)
    page = to_html(verdict)
    reader = _read(page)

    names = {tag for tag, _ in reader.tags}
    assert not names & {"script", "link", "img", "iframe", "object", "form", "base"}
    for _, attributes in reader.tags:
        for name, value in attributes.items():
            assert name not in {"src", "href", "onload", "onclick"}
            assert name == "xmlns" or "://" not in (value or "")
    assert "@import" not in page
    assert page.count("url(") == page.count('"url(#')
    assert digest(to_json(verdict)) in "".join(reader.text)


def test_the_page_can_be_read_aloud(failing: Verdict) -> None:
    """The page can be read aloud."""
    reader = _read(to_html(failing))

    assert ("html", {"lang": "en-GB"}) in reader.tags
    assert all("scope" in attributes for tag, attributes in reader.tags if tag == "th")
    drawings = [attributes for tag, attributes in reader.tags if tag == "svg"]
    assert all(
        (one.get("role") == "img" and one.get("aria-label")) or one.get("aria-hidden") == "true"
        for one in drawings
    )
    levels = [int(tag[1]) for tag, _ in reader.tags if tag in {"h1", "h2", "h3"}]
    assert levels[0] == 1
    assert levels.count(1) == 1
    ids = [attributes["id"] for _, attributes in reader.tags if "id" in attributes]
    assert len(ids) == len(set(ids))


def test_the_page_has_a_dark_ground_and_a_print_style(clean: Verdict) -> None:
    """The page has a dark ground and a print style."""
    page = to_html(clean)

    assert "prefers-color-scheme: dark" in page
    assert "@media print" in page


def test_text_from_files_stays_text(factory: Any) -> None:
    """Text from files stays text."""
    verdict = factory.failing(name=NASTY)
    verdict = evolve(verdict, reasons=(NASTY,), log=verdict.log.with_outlet(NASTY))
    reader = _read(to_html(verdict, Cover(site=NASTY)))
    shown = "".join(reader.text)

    assert shown.count("<script>alert('x')</script>") >= 4
    assert "{{ 7 * 7 }}" in shown
    assert "[U+202E]gnp.exe" in shown
    assert not [tag for tag, _ in reader.tags if tag == "script"]


def test_the_page_says_what_the_report_says(failing: Verdict) -> None:
    """The page says what the report says."""
    shown = " ".join("".join(_read(to_html(failing)).text).split())

    for part in (
        "Does not conform",
        "Invented limits for airline air",
        "3 excursions in time order.",
        "43 min 20 s",
        "Follows a gap: it may have begun earlier after 4 Mar 2026 05:00:00.",
        "does not stand clear of the uncertainty",
        "no time in the row",
        "812, 813, 4409, 4410",
        "Battery V",
        "ab" * 32,
        "banded oil indicator",
        "Before acting on this report",
        "Europe/London",
    ):
        assert part in shown


def test_a_zone_that_was_assumed_is_told_as_assumed(failing: Verdict) -> None:
    """A zone that was assumed is told as assumed."""
    assert failing.log is not None
    page = to_html(evolve(failing, log=evolve(failing.log, zone_stated=False)))

    assert "assumed: neither the file nor the user stated one" in page
