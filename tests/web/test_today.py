"""Today: what needs somebody first, and never an old clean word."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from tests.web.kit import NOW, Clock, app_on, served, text_of

from lungwort.jobs import today as job
from lungwort.jobs.opening import Where
from lungwort.jobs.today import today

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext


def test_the_most_urgent_comes_first(year: Path) -> None:
    """Air that is not proven goes before what is late, and that before what is soon."""
    found = today(Where(workspace=year), now=NOW)
    order = [job.URGENCY.index(one.urgency) for one in found.needs]
    assert order == sorted(order)
    assert found.needs[0].urgency == job.NOT_PROVEN
    assert found.supplies[0].verdict == "not_proven"


def test_time_alone_ends_a_clean_word(folder: Path, clock: Clock) -> None:
    """What conforms today does not half a year later, without anybody having done anything."""
    from tests.web.kit import visitor_on

    with visitor_on(app_on(folder, clock=clock)) as one:
        assert 'class="board k-conforms"' in one.page("/today")
        clock.now += timedelta(days=200)
        html = one.page("/today")
    assert 'class="board k-conforms"' not in html
    assert "Stop" not in text_of(html)
    assert "Not proven" in text_of(html)


def test_a_screen_that_hears_nothing_takes_its_words_back(
    folder: Path, clock: Clock, context: BrowserContext
) -> None:
    """After three minutes without an answer no word about the air is left on the screen."""
    with served(app_on(folder, clock=clock)) as place:
        page = context.new_page()
        page.clock.install()
        page.goto(f"{place}/today")
        assert page.locator(".board.k-conforms strong").inner_text().strip() == "Conforms"
        page.clock.run_for(70_000)
        page.wait_for_load_state("networkidle")
        assert page.locator(".board.k-conforms").count() == 1
        context.set_offline(True)
        page.clock.run_for(190_000)
        assert page.locator(".board.k-conforms").count() == 0
        assert "Not up to date" in page.locator(".boards").inner_text()
        assert "no longer counts" in page.locator(".stale-note").inner_text()
        assert page.locator("#board .part").count() == 0
        context.set_offline(False)
        page.clock.run_for(70_000)
        page.locator(".board.k-conforms").wait_for()


def test_an_answer_without_the_board_is_no_news(
    folder: Path, clock: Clock, context: BrowserContext
) -> None:
    """Where another page comes instead, the words stay for three minutes and are then taken back."""
    with served(app_on(folder, clock=clock)) as place:
        page = context.new_page()
        page.clock.install()
        page.goto(f"{place}/today")
        page.route("**/today", lambda route: route.fulfill(body="<main>Sign in</main>", status=200))
        page.clock.run_for(70_000)
        assert page.locator("#board").count() == 1
        page.clock.run_for(190_000)
        assert page.locator(".board.k-conforms").count() == 0
        assert "Not up to date" in page.locator(".boards").inner_text()
