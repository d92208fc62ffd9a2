"""Whoever uses the pages: by keyboard, by ear, on a small screen or a large one, in two languages.

The rules are those of WCAG 2.2, levels A and AA, as axe-core tests them; what a program cannot tell
(whether words are plain, whether the order makes sense) is not proved here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from tests.web.kit import app_on, served

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

AXE = (Path(__file__).parent / "vendor" / "axe-core" / "axe.min.js").read_text("utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PAGES = (
    "/today",
    "/supplies",
    "/supplies/new",
    "/supplies/{supply}",
    "/supplies/{supply}/withdraw",
    "/supplies/{supply}/return",
    "/supplies/{supply}/change",
    "/supplies/{supply}/cartridges/new",
    "/supplies/{supply}/hours/new",
    "/supplies/{supply}/events/new",
    "/supplies/{supply}/assessment",
    "/readings/{outlet}",
    "/logs",
    "/logs/new",
    "/tests",
    "/tests/new",
    "/tests/paper",
    "/judge/{outlet}",
    "/approvals",
    "/findings",
    "/findings/new",
    "/findings/F-2026-0001",
    "/plan",
    "/certificates",
    "/packs",
    "/verify",
    "/print",
    "/limits",
    "/limits/set/en12021-2014-airline",
    "/limits/compare",
    "/limits/own",
    "/limits/own/form",
    "/supplies/{supply}/recorded",
    "/calculations",
    "/plant",
    "/plant/sheets/{supply}",
    "/plant/sheets/{supply}?as=text",
    "/plant/air",
    "/plant/air?asked=1&supply=hall-compressor",
    "/plant/reserve?asked=1&supply=hall-compressor",
    "/plant/bank?asked=1&supply=charging-compressor",
    "/plant/treatment?asked=1&supply=charging-compressor",
    "/exposure?outlet={outlet}",
    "/cause?finding=F-2026-0001",
    "/trend",
    "/uncertainty",
    "/convert",
    "/sites",
    "/sites/new",
    "/outlets",
    "/outlets/new",
    "/outlets/{outlet}",
    "/instruments",
    "/instruments/new",
    "/lots",
    "/lots/new",
    "/people",
    "/people/new",
    "/workspace",
    "/welcome",
    "/accounts",
    "/accounts/new",
    "/my-account",
    "/who",
    "/nothing-here",
)
LOOKS = {
    "wide": (1280, "light"),
    "narrow, dark": (360, "dark"),
}


@pytest.fixture(scope="module")
def place(year: Path) -> Iterator[str]:
    """Serve the invented year."""
    with served(app_on(year)) as address:
        yield address


@pytest.fixture(scope="module", params=LOOKS)
def page(request: pytest.FixtureRequest, browser: Browser) -> Iterator[Page]:
    """Open a page of one width and colour scheme, into which axe-core may be put."""
    width, scheme = LOOKS[request.param]
    made = browser.new_context(
        viewport={"width": width, "height": 900},
        color_scheme=scheme,  # type: ignore[arg-type]
        bypass_csp=True,
        reduced_motion="reduce",
        locale="en-GB",
    )
    yield made.new_page()
    made.close()


@pytest.fixture(scope="module")
def names(place: str, browser: Browser) -> dict[str, str]:
    """Find a supply and an outlet."""
    made = browser.new_context(locale="en-GB")
    one = made.new_page()
    found = {}
    for word in ("supply", "outlet"):
        one.goto(place + ("/supplies" if word == "supply" else "/tests/new"))
        match = re.search(rf"({word}-[a-z2-7]{{16}})", one.content())
        assert match is not None
        found[word] = match[1]
    made.close()
    return found


@pytest.mark.parametrize("path", PAGES)
def test_no_rule_is_broken(path: str, page: Page, place: str, names: dict[str, str]) -> None:
    """axe-core finds nothing, nothing has to be moved sideways, and no script fails."""
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    answer = page.goto(place + path.format(**names))
    assert answer is not None
    assert answer.status == (404 if path == "/nothing-here" else 200)
    page.wait_for_load_state("networkidle")
    page.evaluate(AXE)
    found = page.evaluate("rules => axe.run(document, { runOnly: rules })", RULES)["violations"]
    told = [f"{one['id']}: {one['nodes'][0]['html'][:200]}" for one in found]
    assert told == []
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert faults == []


def test_the_widest_screen(browser: Browser, place: str) -> None:
    """At 2560 px lines stay readable and nothing is lost."""
    context = browser.new_context(viewport={"width": 2560, "height": 1400}, locale="en-GB")
    page = context.new_page()
    for path in ("/today", "/supplies", "/plan"):
        page.goto(place + path)
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
        assert page.locator("main").bounding_box()["width"] <= 1900  # type: ignore[index]
    context.close()


def test_the_keyboard_is_enough(browser: Browser, place: str) -> None:
    """Tab leads to the content first, then through the menu; each place that it comes to is seen."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB")
    page = context.new_page()
    page.goto(f"{place}/today")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('.board') !== null")
    seen = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert float(seen.removesuffix("px")) >= 2
    page.keyboard.press("Enter")
    page.wait_for_url("**/supplies/supply-*")
    context.close()


@pytest.mark.parametrize(
    "path", ["/today", "/supplies", "/plan", "/tests/new", "/logs/new", "/findings"]
)
def test_german_is_german(path: str, browser: Browser, place: str) -> None:
    """The language of a page is declared, and what is not translated is marked as English."""
    context = browser.new_context(locale="de-DE")
    page = context.new_page()
    page.goto(place + path)
    assert page.locator("html").get_attribute("lang") == "de"
    assert "Heute" in page.locator("nav.rail").inner_text()
    assert not re.search(r"[\ue000-\uf8ff]", page.content()), "marks of half a translation"
    context.close()
