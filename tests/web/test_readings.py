"""The charts: numbers for a span, and what a browser does with them."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import pytest
from tests.web.kit import NOW, Visitor, app_on, served, text_of

from lungwort.jobs.opening import Where
from lungwort.jobs.readings import OVER, readings
from lungwort.register.model import Outlet
from lungwort.register.workspace import open_workspace

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, Page


@pytest.fixture(scope="module")
def hall(year: Path) -> str:
    """Give the id of the outlet at which carbon monoxide was found."""
    with open_workspace(year, read_only=True) as workspace:
        return workspace.register.get(Outlet, "hall-1").id


def _data(reader: Visitor, outlet: str, query: str = "") -> dict[str, Any]:
    answer = reader.get(f"/readings/{outlet}/data{query}")
    assert answer.status_code == 200, answer.text
    made: dict[str, Any] = answer.json()
    return made


def test_numbers_stand_in_the_page_without_a_script(reader: Visitor, hall: str) -> None:
    """Who has no script, no eyes for a picture or only paper reads the same numbers."""
    text = text_of(reader.page(f"/readings/{hall}"))
    assert "Readings of hall-1" in text
    assert "Carbon monoxide" in text
    assert "≤ 5 ppm" in text
    assert "GMT" in text


def test_the_answer_is_of_one_shape(reader: Visitor, hall: str) -> None:
    """All arrays of a channel have one entry a point; the words come when asked for."""
    found = _data(reader, hall, "?points=300&words=yes")
    assert found["zone"] == "Europe/London"
    assert found["words"]["whole"] == "Whole period"
    for channel in found["channels"]:
        lengths = {len(channel[key]) for key in ("t", "lo", "hi", "alo", "ahi", "m")}
        assert len(lengths) == 1
        assert channel["t"] == sorted(channel["t"])
    assert "words" not in _data(reader, hall)
    json.dumps(found, allow_nan=False)


def test_the_span_of_the_excursion(reader: Visitor, hall: str) -> None:
    """Around the excursion of the invented year its readings are given one by one."""
    begin, end = (
        _data(reader, hall)["excursions"][0]["from"],
        _data(reader, hall)["excursions"][0]["to"],
    )
    moments = [datetime.fromtimestamp(at, UTC).isoformat() for at in (begin - 600, end + 600)]
    found = _data(reader, hall, f"?from={quote(moments[0])}&to={quote(moments[1])}")
    assert found["width"] == 0
    (monoxide,) = [one for one in found["channels"] if one["title"] == "Carbon monoxide"]
    assert any(bits & 4 for bits in monoxide["m"])
    assert monoxide["greatest"] == found["excursions"][0]["peak"]
    assert found["outside"] == []


@pytest.mark.parametrize(
    ("query", "status", "words"),
    [
        ("?from=soon", 422, "'soon' is no moment"),
        ("?points=many", 422, "'many' is no number of points"),
        ("?points=1", 422, "1 points cannot be drawn"),
        ("?from=2026-03-05&to=2026-03-04", 422, "does not lie before"),
        ("?from=9999-12-31", 422, "outside the years"),
    ],
)
def test_nonsense_is_refused_in_words(
    reader: Visitor, hall: str, query: str, status: int, words: str
) -> None:
    """The error is a sentence, and the page of the same span says it too."""
    answer = reader.get(f"/readings/{hall}/data{query}")
    assert answer.status_code == status
    assert words in answer.json()["error"]
    if "points" not in query:
        assert words in text_of(reader.page(f"/readings/{hall}{query}", status=status))


def test_no_such_outlet(reader: Visitor) -> None:
    """An outlet that is not on record is a page that is not there."""
    assert reader.get("/readings/outlet-none").status_code == 404
    assert reader.get("/readings/outlet-none/data").status_code == 404


def _opened(context: BrowserContext, address: str) -> tuple[Page, list[str]]:
    page = context.new_page()
    wrong: list[str] = []
    page.on("console", lambda one: wrong.append(one.text) if one.type == "error" else None)
    page.on("pageerror", lambda one: wrong.append(str(one)))
    page.goto(address)
    page.wait_for_selector(".chart-tables table")
    return page, wrong


def _settled(page: Page, said: str) -> None:
    page.wait_for_function(
        "before => { const f = document.querySelector('figure.chart');"
        " return !f.hasAttribute('aria-busy') && f.querySelector('.chart-said').textContent !== before }",
        arg=said,
    )


def test_in_a_browser(year: Path, hall: str, context: BrowserContext) -> None:
    """Keys and buttons zoom and move, the address keeps the span, the table follows."""
    with served(app_on(year)) as place:
        page, wrong = _opened(context, f"{place}/readings/{hall}")
        assert page.locator(".chart-channel canvas").count() == 5
        said = page.inner_text(".chart-said")
        assert "Europe/London" in said
        page.focus(".chart-stack")
        page.keyboard.press("+")
        _settled(page, said)
        assert "from=" in page.url
        closer = page.inner_text(".chart-said")
        page.keyboard.press("Home")
        _settled(page, closer)
        whole = page.inner_text(".chart-said")
        assert whole.split(" to ")[0] == said.split(" to ")[0]
        # The excursion in the table leads to its readings.
        page.locator("section", has_text="by the verdicts on record").locator(
            "tbody button"
        ).first.click()
        _settled(page, whole)
        page.wait_for_function(
            "document.querySelector('.chart-said').textContent.includes('8 Oct')"
        )
        address, shown = page.url, page.inner_text(".chart-said")
        page.reload()
        page.wait_for_selector(".chart-tables table")
        assert page.url == address
        assert page.inner_text(".chart-said").split(",")[0] == shown.split(",")[0]
        # Dragging moves, and what lies to the left comes into sight.
        # The browser comes back to where it was read last, which may be below the drawing.
        page.locator(".u-over").first.scroll_into_view_if_needed()
        box = page.locator(".u-over").first.bounding_box()
        assert box is not None
        middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(*middle)
        page.mouse.down()
        page.mouse.move(middle[0] + 150, middle[1], steps=4)
        page.mouse.up()
        page.wait_for_function("before => location.href !== before", arg=address)
        assert wrong == []


def test_narrow_and_dark(year: Path, hall: str, browser: Any) -> None:
    """At 360 px nothing has to be moved sideways, in the dark either."""
    with served(app_on(year)) as place:
        context = browser.new_context(viewport={"width": 360, "height": 740}, color_scheme="dark")
        page, wrong = _opened(context, f"{place}/readings/{hall}")
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        page.emulate_media(color_scheme="light")
        page.emulate_media(media="print")
        assert not page.is_visible(".chart-tools")
        assert wrong == []
        context.close()


def test_ticks_stand_at_whole_hours_of_the_site(year: Path, browser: Any) -> None:
    """Through both changes of 2026 in London, ticks are at midnights there, wherever the browser is.

    Summer time in the United Kingdom: from 01:00 UTC on the last Sunday of March (29 March 2026)
    to 01:00 UTC on the last Sunday of October (25 October 2026); Summer Time Act 1972, section 1,
    as amended 2002 (from memory).
    """
    with served(app_on(year)) as place:
        context = browser.new_context(timezone_id="America/New_York")
        page = context.new_page()
        page.goto(f"{place}/today")
        found = page.evaluate(
            """async ([place, spans]) => {
              const { ticks } = await import(place + "/static/js/chart-time.js");
              return spans.map(([a, b]) => ticks(Date.parse(a) / 1e3, Date.parse(b) / 1e3, 12, "Europe/London").at.map((at) => new Date(at * 1e3).toISOString()));
            }""",
            [
                place,
                [
                    ["2026-03-27T12:00:00Z", "2026-03-31T12:00:00Z"],
                    ["2026-10-23T12:00:00Z", "2026-10-27T12:00:00Z"],
                    ["2026-01-15T00:00:00Z", "2026-11-15T00:00:00Z"],
                ],
            ],
        )
        context.close()
    spring, autumn, months = ([one.removesuffix(":00.000Z") for one in each] for each in found)
    assert {"2026-03-28T00:00", "2026-03-29T00:00", "2026-03-29T23:00"} <= set(spring)
    assert {"2026-10-24T23:00", "2026-10-26T00:00"} <= set(autumn)
    assert {"2026-03-01T00:00", "2026-03-31T23:00", "2026-11-01T00:00"} <= set(months)


def test_the_invented_year(year: Path) -> None:
    """The excursion on record, the withdrawal and the settling of the invented year are marked."""
    found = readings(Where(workspace=year), "hall-1", now=NOW)
    assert {one.analyte for one in found.excursions} == {"co"}
    assert [one for one in found.moments if "WITHDRAWN" in one.text.upper()]
    assert {"settling", "gap"} <= {one.kind for one in found.asides}
    # All that is outside stands in a verdict.
    assert [one for channel in found.channels for one in channel.outside] == []
    assert not any(bits & OVER for channel in found.channels for bits in channel.marks)
