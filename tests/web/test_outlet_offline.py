"""A test at an outlet in a real browser: without a connection, after a restart, on two tablets.

The clock of the browser and that of the server begin alike and are moved together; a wait of
minutes is slept through, as a tablet sleeps.
"""

from __future__ import annotations

import re
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from tests.jobs.tablet_kit import IDRIS, PNG, WENNA, furnish
from tests.web.kit import app_on, served

from lungwort.jobs import hand_test as job
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.opening import Where, opened
from lungwort.register import model as r
from lungwort.register.verify import verify
from lungwort.register.workspace import create_workspace

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, FilePayload, Page, Route

START = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


# A tablet's clock that begins with the server's, goes on by itself, and is put forward by hand as
# if the tablet had slept; unlike a stopped clock it outlives a page that is loaded again.
SHIFTED = """(() => {
    const real = Date;
    const ahead = () => {
        try {
            return Math.round(Number(localStorage.getItem("test-clock-ms") ?? AHEAD));
        } catch {
            return Math.round(AHEAD);
        }
    };
    self.Date = class extends real {
        constructor(...given) {
            if (given.length) super(...given);
            else super(real.now() + ahead());
        }
        static now() {
            return real.now() + ahead();
        }
    };
})()"""


class Running:
    """A clock that goes on by itself and can be put forward with the browser's."""

    def __init__(self) -> None:
        self.begun = time.monotonic()
        self.slept = timedelta()
        self.ahead_ms = START.timestamp() * 1000 - time.time() * 1000

    def __call__(self) -> datetime:
        """Read it."""
        return START + timedelta(seconds=time.monotonic() - self.begun) + self.slept


class Outlet:
    """A workspace, a server on a port that stays the same, and tablets."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.clock = Running()
        with socket.socket() as one:
            one.bind(("127.0.0.1", 0))
            self.port = int(one.getsockname()[1])
        self.base = f"http://127.0.0.1:{self.port}"
        self._up = ExitStack()

    def start(self) -> None:
        """Start the server anew; it remembers nothing but the workspace."""
        self._up.enter_context(
            served(app_on(self.folder, clock=self.clock), port=self.port)  # type: ignore[arg-type]
        )

    def stop(self) -> None:
        """Stop the server."""
        self._up.close()
        self._up = ExitStack()

    def begin(self) -> str:
        """Begin a full test, and give its address."""
        at = Session(self.clock(), Where(self.folder), IDRIS)
        return f"{self.base}/tests/under-way/{job.start(at, 'hose-1').id}"

    def sleep(self, page: Page, seconds: float) -> None:
        """Let the tablet sleep while time goes on everywhere.

        Nothing is on its way meanwhile: two clocks cannot be put forward at one moment.
        """
        page.wait_for_function("() => !navigator.onLine || lungwortTest.idle()")
        self.clock.slept += timedelta(seconds=seconds)
        self.wake(page)

    def wake(self, page: Page) -> None:
        """Set the clock of a tablet to what it would show now."""
        ahead = self.clock.ahead_ms + self.clock.slept.total_seconds() * 1000
        page.evaluate(f"localStorage.setItem('test-clock-ms', '{ahead}')")

    def opened(self, context: BrowserContext) -> Page:
        """Open a tab on a tablet."""
        ahead = self.clock.ahead_ms + self.clock.slept.total_seconds() * 1000
        context.add_init_script(SHIFTED.replace("AHEAD", str(ahead)))
        return context.new_page()

    def record(self) -> tuple[list[r.HandTest], list[r.Photo]]:
        """Give what is on record, which must be sound."""
        with opened(Where(self.folder)) as workspace:
            assert verify(workspace).problems == ()
            return workspace.register.all(r.HandTest), workspace.register.all(r.Photo)

    def open_run(self) -> job.Stand:
        """Say where the only test under way stands on the computer."""
        return job.stand(Where(self.folder), None, now=self.clock())


@pytest.fixture
def outlet(tmp_path: Path) -> Iterator[Outlet]:
    """Furnish an invented yard and serve it."""
    with create_workspace(
        tmp_path / "workspace",
        name="Merrowgate Slipway (invented)",
        person=WENNA,
        now=START - timedelta(hours=1),
    ) as made:
        furnish(made, START - timedelta(hours=1))
    found = Outlet(tmp_path / "workspace")
    found.start()
    yield found
    found.stop()


@pytest.fixture
def tablet(context: BrowserContext, outlet: Outlet) -> Page:
    """Give a tablet whose clock is the server's."""
    return outlet.opened(context)


def ask(page: Page, text: str) -> None:
    """Wait until something is asked."""
    page.locator("#guide h1", has_text=text).wait_for()


def figure(page: Page, text: str) -> None:
    """Enter a number."""
    page.locator("input.figure").fill(text)
    page.get_by_role("button", name="Enter", exact=True).click()


def pick(page: Page, text: str) -> None:
    """Press a large button."""
    page.locator(".pick", has_text=re.compile(f"^{text}", re.IGNORECASE)).click()


def to_purging(page: Page) -> None:
    """Go through the first steps."""
    page.get_by_role("button", name="Understood").click()
    ask(page, "Which instrument")
    pick(page, "logger A")
    ask(page, "Oxygen reading in fresh air")
    figure(page, "20.9")
    ask(page, "Pressure at the connection")
    figure(page, "7")
    ask(page, "Connected, tight")
    page.get_by_role("button", name="Done").click()
    ask(page, "Has the monitor")
    pick(page, "yes")
    ask(page, "Blowing the outlet out")


def wait(page: Page) -> None:
    """Begin a wait."""
    page.get_by_role("button", name="Begin").click()
    page.locator(".countdown").wait_for()


def to_rows(page: Page, outlet: Outlet) -> None:
    """Blow out, and take the oil sample."""
    wait(page)
    outlet.sleep(page, 61)
    page.get_by_role("button", name="Go on").click()
    ask(page, "Lot of the oil indicator")
    pick(page, "ind-1")
    ask(page, "The seal")
    pick(page, "intact")
    ask(page, "The flow through")
    pick(page, "as stated")
    ask(page, "Oil sample")
    wait(page)
    outlet.sleep(page, 301)
    page.get_by_role("button", name="Go on").click()
    ask(page, "What each row shows")


def rows(page: Page, *states: int) -> None:
    """Enter what the rows show."""
    for place, state in enumerate(states):
        page.locator(".row").nth(place).locator(".row-state").nth(state).click()
    page.get_by_role("button", name="Enter", exact=True).click()


def to_end(page: Page, co: str = "1") -> None:
    """Go through the rest."""
    rows(page, 0, 0, 0)
    for name, text in (("Oxygen", "20.9"), ("Carbon monoxide", co), ("Carbon dioxide", "430")):
        ask(page, name)
        figure(page, text)
    ask(page, "Moisture")
    figure(page, "-48")
    ask(page, "Liquid water")
    pick(page, "none")
    ask(page, "Who is the second person")
    pick(page, WENNA)
    ask(page, "What that person noticed")
    pick(page, "none")
    ask(page, "Lowest pressure")
    figure(page, "6.5")
    ask(page, "Lowest flow")
    figure(page, "180")
    ask(page, "Remarks")
    page.get_by_role("button", name="Leave out").click()
    ask(page, "All is entered")


def finish(page: Page) -> None:
    """Record the test."""
    page.get_by_role("button", name="Record the test").click()


def on_record(page: Page) -> None:
    """Wait until the page of the test on record is there."""
    page.wait_for_url(re.compile("/tests/hand-test-"))


def until(holds: Callable[[], bool]) -> None:
    """Wait until something holds on the computer."""
    for _ in range(200):
        if holds():
            return
        time.sleep(0.05)
    pytest.fail("it did not come to hold")


def all_on_computer(page: Page) -> None:
    """Wait until nothing waits on the device."""
    page.locator(".connection", has_text="All is on the computer").wait_for()


def worker_ready(page: Page) -> None:
    """Wait until the page can be loaded without a connection."""
    page.wait_for_function(
        """async () => {
            const pages = await caches.open("lungwort-tests-pages");
            const page = await pages.match(location.pathname);
            const names = await caches.keys();
            const files = names.find((one) => one.startsWith("lungwort-tests-files-"));
            if (!page || !files || !navigator.serviceWorker.controller) return false;
            const kept = (await (await caches.open(files)).keys()).map((one) => one.url);
            return ["outlet-test.js", "outlet-test-model.js", "tests.css"].every((name) =>
                kept.some((one) => one.includes(name)));
        }"""
    )


READ = (
    "oil=indicator: nothing seen",
    "o2=20.9 %",
    "co=1 ppm",
    "co2=430 ppm",
    "water=-48 °C atmospheric dew point",
    "liquid_water=none",
    "odour=none",
    "pressure=6.5 bar(g)",
    "flow=180 L/min",
)


def test_without_a_connection_from_the_middle_to_the_end(
    context: BrowserContext, outlet: Outlet, tablet: Page
) -> None:
    """The connection drops, the page is loaded again without it, the test goes on to its end.

    Back on the air it is recorded by itself: whole, once, at the times of the tablet.
    """
    tablet.goto(outlet.begin())
    to_purging(tablet)
    all_on_computer(tablet)
    worker_ready(tablet)
    context.set_offline(True)
    to_rows(tablet, outlet)
    tablet.locator(".connection", has_text="No connection. 7 entries are kept").wait_for()
    tablet.reload()
    ask(tablet, "What each row shows")
    with tablet.expect_file_chooser() as chosen:
        tablet.locator(".photo-button").click()
    photo_file: FilePayload = {"name": "rows.png", "mimeType": "image/png", "buffer": PNG}
    chosen.value.set_files(photo_file)
    tablet.get_by_text("1 photo").wait_for()
    to_end(tablet)
    finish(tablet)
    ask(tablet, "Will be recorded as soon as the connection is back")
    assert outlet.record() == ([], [])
    tablet.reload()
    ask(tablet, "Will be recorded as soon as the connection is back")
    context.set_offline(False)
    on_record(tablet)
    (test,), (photo,) = outlet.record()
    assert test.state == "done"
    assert tuple(one.text for one in test.readings) == READ
    times = [one.time for one in test.answers]
    assert times == sorted(times)
    begun, ended = (one.time for one in test.answers if one.name == "oil-sample")
    assert timedelta(seconds=300) <= ended - begun < timedelta(seconds=330)
    assert job.doubts_of(test) == ()
    assert (photo.step, photo.name) == ("rows", "rows.png")
    text = tablet.locator("main").inner_text()
    assert "On record, not judged here" in text
    assert "rows.png" in text
    kept = tablet.evaluate("indexedDB.databases().then((all) => all.length)")
    assert kept == 1


def test_the_server_is_started_anew_and_answers_are_lost(outlet: Outlet, tablet: Page) -> None:
    """Requests that arrive and whose answer does not: each entry counts once all the same."""
    tablet.goto(outlet.begin())
    lost = []

    def lose(route: Route) -> None:
        route.fetch()
        lost.append(route.request.url)
        route.abort()

    tablet.route("**/entries", lose)
    to_purging(tablet)
    tablet.wait_for_timeout(300)
    assert lost
    assert len(outlet.open_run().run.entries) >= 1
    tablet.unroute("**/entries")
    outlet.stop()
    wait(tablet)
    tablet.locator(".countdown").wait_for()
    outlet.start()
    outlet.sleep(tablet, 61)
    all_on_computer(tablet)
    run = outlet.open_run().run
    assert [one.name for one in run.entries] == [
        "instrument",
        "fresh-air-o2",
        "line-pressure",
        "connected",
        "on-air",
        "purging",
    ]
    assert run.marks == ()
    tablet.get_by_role("button", name="Go on").click()
    ask(tablet, "Lot of the oil indicator")


@pytest.mark.slow
def test_a_wait_survives_sleep_and_reload(outlet: Outlet, tablet: Page) -> None:
    """The count-down is that of the beginning; too short is told before, too long after."""
    tablet.goto(outlet.begin())
    to_purging(tablet)
    wait(tablet)
    digits = tablet.locator(".countdown .digits")
    digits.wait_for()
    outlet.sleep(tablet, 20)
    tablet.wait_for_timeout(300)
    minutes, seconds = digits.inner_text().split(":")
    assert 30 <= int(minutes) * 60 + int(seconds) <= 40
    assert "left" in tablet.title()
    all_on_computer(tablet)
    tablet.reload()
    digits.wait_for()
    minutes, seconds = digits.inner_text().split(":")
    assert 25 <= int(minutes) * 60 + int(seconds) <= 40
    early = tablet.locator("details.early")
    early.locator("summary").click()
    assert "The test is then void" in early.inner_text()
    outlet.sleep(tablet, 41)
    tablet.get_by_role("button", name="Go on").wait_for()
    assert not early.is_visible()
    tablet.get_by_role("button", name="Go on").click()
    ask(tablet, "Lot of the oil indicator")
    pick(tablet, "ind-1")
    ask(tablet, "The seal")
    pick(tablet, "intact")
    ask(tablet, "The flow through")
    pick(tablet, "as stated")
    ask(tablet, "Oil sample")
    wait(tablet)
    digits.wait_for()
    outlet.sleep(tablet, 8 * 60)
    tablet.get_by_text("7 min at most were meant").wait_for()
    tablet.get_by_role("button", name="Go on").click()
    ask(tablet, "What each row shows")
    tablet.get_by_text("and 5 min were meant").wait_for()


@pytest.mark.slow
def test_a_void_test_is_told_and_recorded_so(outlet: Outlet, tablet: Page) -> None:
    """A broken seal: foretold on the button, told at once, nothing of the air on record."""
    tablet.goto(outlet.begin())
    to_purging(tablet)
    wait(tablet)
    outlet.sleep(tablet, 61)
    tablet.get_by_role("button", name="Go on").click()
    pick(tablet, "ind-1")
    ask(tablet, "The seal")
    assert "The test is then void" in tablet.locator("[data-word=broken]").inner_text()
    pick(tablet, "broken")
    ask(tablet, "The test is void")
    tablet.get_by_role("button", name="Record it as void").click()
    on_record(tablet)
    (test,), _ = outlet.record()
    assert (test.state, test.readings) == ("void", ())
    assert "It says nothing of the air" in tablet.locator("main").inner_text()


@pytest.mark.slow
def test_two_tabs_show_the_same_and_neither_enters_twice(
    context: BrowserContext, outlet: Outlet, tablet: Page
) -> None:
    """What one tab enters the other shows; both go on from there."""
    address = outlet.begin()
    tablet.goto(address)
    to_purging(tablet)
    second = context.new_page()
    second.goto(address)
    ask(second, "Blowing the outlet out")
    wait(tablet)
    second.locator(".countdown").wait_for()
    outlet.sleep(tablet, 61)
    second.get_by_role("button", name="Go on").click()
    ask(tablet, "Lot of the oil indicator")
    all_on_computer(tablet)
    assert len(outlet.open_run().run.entries) == 7


@pytest.mark.slow
def test_a_second_tablet_that_differs_is_told(
    browser: Browser, context: BrowserContext, outlet: Outlet, tablet: Page
) -> None:
    """The first one counts; the second is led back, and settles it by an amendment."""
    address = outlet.begin()
    tablet.goto(address)
    to_purging(tablet)
    all_on_computer(tablet)
    with browser.new_context(locale="en-GB") as other:
        second = outlet.opened(other)
        second.goto(address)
        ask(second, "Blowing the outlet out")
        for page in (tablet, second):
            wait(page)
            page.locator(".countdown").wait_for()
            if page is tablet:
                all_on_computer(page)
        ask(second, "Another device was first")
        second.get_by_role("button", name="I have seen this").click()
        second.locator(".countdown").wait_for()
        outlet.sleep(tablet, 62)
        outlet.wake(second)
        tablet.get_by_role("button", name="Go on").click()
        pick(tablet, "ind-1")
        ask(tablet, "The seal")
        all_on_computer(tablet)
        second.reload()
        ask(second, "The seal")
        context.set_offline(True)
        pick(tablet, "intact")
        ask(tablet, "The flow through")
        pick(second, "broken")
        ask(second, "The test is void")
        until(lambda: outlet.open_run().run.given("seal") == "broken")
        context.set_offline(False)
        ask(tablet, "Another device was first")
        assert (
            "'broken' was entered on another device before" in tablet.locator("main").inner_text()
        )
        tablet.get_by_role("button", name="Amend to intact").click()
        ask(tablet, "The flow through")
        all_on_computer(tablet)
    run = outlet.open_run().run
    assert run.given("seal") == "intact"
    assert run.standing_marks() == ()
    assert any("'broken' came first" in one for one in run.notes)


@pytest.mark.slow
def test_what_the_computer_refuses_leads_back_and_the_rest_is_kept(
    context: BrowserContext, outlet: Outlet, tablet: Page
) -> None:
    """A unit that only the computer knows is wrong: told, asked again, the rest confirmed."""
    tablet.goto(outlet.begin())
    to_purging(tablet)
    to_rows(tablet, outlet)
    rows(tablet, 0, 0, 0)
    ask(tablet, "Oxygen")
    all_on_computer(tablet)
    context.set_offline(True)
    figure(tablet, "20.9 furlongs")
    ask(tablet, "Carbon monoxide")
    figure(tablet, "1")
    ask(tablet, "Carbon dioxide")
    context.set_offline(False)
    ask(tablet, "The computer did not take an entry")
    assert "20.9 furlongs" in tablet.locator("main").inner_text()
    tablet.get_by_text("1 entry that followed is kept and asked again").wait_for()
    tablet.get_by_role("button", name="I have seen this").click()
    ask(tablet, "Oxygen")
    figure(tablet, "20.9")
    ask(tablet, "Carbon monoxide")
    tablet.get_by_role("button", name="Yes: 1").click()
    ask(tablet, "Carbon dioxide")
    all_on_computer(tablet)
    run = outlet.open_run().run
    assert run.given("co") == "1 ppm"
    assert any("confirmed later" in one for one in run.notes)


@pytest.mark.slow
def test_an_amendment_keeps_both(outlet: Outlet, tablet: Page) -> None:
    """With a reason, and not without one."""
    tablet.goto(outlet.begin())
    to_purging(tablet)
    tablet.get_by_role("button", name="What was entered").click()
    line = tablet.locator(".entry-line", has_text="Pressure at the connection")
    line.get_by_role("button", name="Put right").click()
    figure(tablet, "8")
    tablet.get_by_text("Give the reason").wait_for()
    tablet.locator("#guide textarea").fill("the other gauge")
    figure(tablet, "8")
    ask(tablet, "Blowing the outlet out")
    all_on_computer(tablet)
    run = outlet.open_run().run
    found = [(one.given, one.amends, one.why) for one in run.entries if one.name == "line-pressure"]
    assert found == [("7 bar(g)", False, ""), ("8 bar(g)", True, "the other gauge")]


@pytest.mark.slow
def test_targets_are_large_and_the_page_has_one_heading(outlet: Outlet, tablet: Page) -> None:
    """At least 56 CSS pixels for a glove, at the width of a telephone too."""
    tablet.set_viewport_size({"width": 360, "height": 740})
    tablet.goto(outlet.begin())
    to_purging(tablet)
    to_rows(tablet, outlet)
    small: list[Any] = tablet.evaluate(
        """[...document.querySelectorAll("#guide button, #guide .row-state, #guide .photo-button, #guide a, #guide summary")]
            .filter((one) => one.offsetParent)
            .map((one) => [one.innerText, one.getBoundingClientRect().height])
            .filter(([, height]) => height < 56)"""
    )
    assert small == []
    assert tablet.locator("h1").count() == 1
    assert tablet.evaluate("document.documentElement.scrollWidth") <= 360


def test_without_javascript_the_test_is_guided_too(browser: Browser, outlet: Outlet) -> None:
    """Entry by entry, as forms."""
    with browser.new_context(java_script_enabled=False, locale="en-GB") as plain:
        page = plain.new_page()
        page.goto(outlet.begin())
        page.get_by_label("logger A").check()
        page.get_by_role("button", name="Enter").click()
        page.get_by_label("Oxygen reading in fresh air").fill("19")
        page.get_by_role("button", name="Enter").click()
        page.get_by_text("Not accepted.", exact=True).wait_for()
        page.get_by_label("Oxygen reading in fresh air").fill("20.9")
        page.get_by_role("button", name="Enter").click()
        page.get_by_label("Pressure at the connection").wait_for()
    states = [(one.name, one.state) for one in outlet.open_run().run.entries]
    assert states == [
        ("instrument", "taken"),
        ("fresh-air-o2", "refused"),
        ("fresh-air-o2", "taken"),
    ]


@pytest.mark.slow
def test_another_person_finds_no_page_of_the_one_before(
    context: BrowserContext, outlet: Outlet, tablet: Page
) -> None:
    """Pages kept for one person are thrown away when another one is there, or signs out."""
    tablet.goto(f"{outlet.base}/who")
    tablet.get_by_role("button", name=IDRIS).click()
    address = outlet.begin()
    tablet.goto(address)
    worker_ready(tablet)
    tablet.goto(f"{outlet.base}/who")
    tablet.get_by_role("button", name=WENNA).click()
    tablet.goto(outlet.begin())
    worker_ready(tablet)
    kept = tablet.evaluate(
        """async () => (await (await caches.open("lungwort-tests-pages")).keys())
            .map((one) => new URL(one.url).pathname)"""
    )
    assert address.removeprefix(outlet.base) not in kept
    tablet.add_script_tag(url=f"{outlet.base}/static/js/outlet-test-forget.js", type="module")
    tablet.wait_for_function("async () => !(await caches.keys()).includes('lungwort-tests-pages')")
    context.set_offline(True)
    from playwright.sync_api import Error

    with pytest.raises(Error, match=r"net::ERR_(FAILED|INTERNET_DISCONNECTED)"):
        tablet.goto(address)
