"""The invented year as a workspace, and visitors of it: without a screen, and with chromium."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from tests.web.kit import NOW, Clock, Visitor, app_on, visitor_on

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext

CHROMIUM = "/usr/bin/chromium"


@pytest.fixture(scope="session")
def year(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a workspace with the invented year, once a run; never change it, take `folder`."""
    from lungwort.jobs.demo_year import write_year

    return write_year(tmp_path_factory.mktemp("year"), now=NOW).folder


@pytest.fixture
def folder(year: Path, tmp_path: Path) -> Path:
    """Copy the invented year, so that it may be changed."""
    return Path(shutil.copytree(year, tmp_path / "workspace"))


@pytest.fixture
def clock() -> Clock:
    """Give the app a clock; it shows the end of the invented year until it is set."""
    return Clock()


@pytest.fixture(scope="module")
def reader(year: Path) -> Iterator[Visitor]:
    """Give a visitor who only looks, at the year that all share."""
    with visitor_on(app_on(year)) as one:
        yield one


@pytest.fixture
def visitor(folder: Path, clock: Clock) -> Iterator[Visitor]:
    """Give a visitor of a copy of the year, who may change it; acts as Wenna Harkle."""
    with visitor_on(app_on(folder, clock=clock)) as one:
        one.post("/who", {"person": "Wenna Harkle"})
        yield one


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Start the chromium of Debian, for one module."""
    if not Path(CHROMIUM).exists():
        pytest.skip("chromium is not installed")
    # Its event loop would be in the way of other modules' tests, so it does not outlive this one.
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        made = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield made
        made.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    """Open a fresh profile of chromium, without cookies."""
    made = browser.new_context(locale="en-GB", timezone_id="Europe/London")
    made.set_default_timeout(10_000)
    yield made
    made.close()
