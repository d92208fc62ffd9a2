"""The first set-up: from nothing to what a first test needs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from tests.web.kit import NOW, Visitor, app_on, served, text_of, visitor_on

from lungwort.jobs.catalogue import setting_up
from lungwort.jobs.opening import Where

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import BrowserContext, Page

FIRST = {"person": "Wenna Harkle", "name": "Merrowgate Slipway (invented)"}


@pytest.fixture
def start(tmp_path: Path) -> Path:
    """Give a folder that is not there yet."""
    return tmp_path / "record"


@pytest.fixture
def stranger(start: Path) -> Iterator[Visitor]:
    """Give a visitor of an app without a workspace."""
    with visitor_on(app_on(None, start_folder=start)) as one:
        one.page("/welcome")
        yield one


def test_where_there_is_nothing_every_page_leads_to_the_set_up(stranger: Visitor) -> None:
    """Where there is nothing every page leads to the set up."""
    for place in ("/today", "/people", "/workspace", "/supplies/new"):
        assert stranger.get(place).headers["location"] == "/welcome"


def test_the_folder_is_proposed_and_the_person_acts(stranger: Visitor, start: Path) -> None:
    """The folder is proposed and the person acts."""
    assert f'value="{start}"' in stranger.page("/welcome")
    said = stranger.done("/welcome", {**FIRST, "folder": str(start)})
    assert "Wenna Harkle" in said
    assert (start / "lungwort-workspace.toml").is_file()
    said = stranger.done("/people/new", {"name": "Idris Pellow", "then": "/welcome"})
    assert "Taken for" not in said
    page = stranger.page("/people")
    assert "Idris Pellow" in page
    kinds = {one.kind: one for one in setting_up.steps(Where(workspace=start), now=NOW)}
    assert [one.name for one in kinds["person"].things] == ["Wenna Harkle", "Idris Pellow"]
    assert not kinds["site"].done


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"person": ""}, "Your name"),
        ({"name": ""}, "Name of the workplace"),
        ({"folder": "somewhere"}, "does not say where on this computer"),
        ({"folder": ""}, "No folder is given"),
    ],
)
def test_what_is_missing_is_said_at_its_field(
    stranger: Visitor, start: Path, typed: dict[str, str], words: str
) -> None:
    """What is missing is said at its field."""
    said = stranger.refused("/welcome", {**FIRST, "folder": str(start), **typed})
    assert words in said
    assert not start.exists()


def test_a_folder_with_something_in_it_is_left_alone(stranger: Visitor, start: Path) -> None:
    """A folder with something in it is left alone."""
    start.mkdir()
    (start / "letter.txt").write_text("mine", encoding="utf-8")
    stranger.refused("/welcome", {**FIRST, "folder": str(start)})
    assert [one.name for one in start.iterdir()] == ["letter.txt"]


def test_a_second_workspace_is_not_made_beside_the_first(
    stranger: Visitor, start: Path, tmp_path: Path
) -> None:
    """A second workspace is not made beside the first."""
    stranger.done("/welcome", {**FIRST, "folder": str(start)})
    other = tmp_path / "other"
    stranger.done("/welcome", {**FIRST, "folder": str(other)})
    assert not other.exists()


def test_over_a_network_nobody_makes_a_workspace(start: Path) -> None:
    """Over a network nobody makes a workspace."""
    app = app_on(None, start_folder=start, host="192.0.2.1")
    with visitor_on(app) as one:
        for answer in (
            one.get("/welcome"),
            one.post("/welcome", {**FIRST, "folder": str(start)}),
        ):
            assert answer.status_code == 403
            assert "on the computer itself" in text_of(answer.text)
    assert not start.exists()


def test_the_year_has_all_that_a_first_test_needs(reader: Visitor) -> None:
    """The year has all that a first test needs."""
    said = text_of(reader.page("/welcome"))
    assert "What a first test needs is on record" in said
    assert "missing" not in said


def _fill(page: Page, **typed: str) -> None:
    for name, value in typed.items():
        box = page.locator(f'main [name="{name}"]').first
        if box.evaluate("one => one.tagName") == "SELECT":
            box.select_option(value)
        else:
            box.fill(value)


def _send(page: Page) -> None:
    page.locator("main form .actions:last-child button.main").click()


def test_a_stranger_sets_up_a_site(start: Path, context: BrowserContext) -> None:
    """A stranger sets up a site."""
    from playwright.sync_api import expect

    page = context.new_page()
    page.set_viewport_size({"width": 360, "height": 740})
    wrong: list[str] = []
    page.on("console", lambda one: wrong.append(one.text) if one.type == "error" else None)
    with served(app_on(None, start_folder=start)) as place:
        page.goto(place)
        _fill(page, **FIRST)
        _send(page)
        page.get_by_role("link", name="Enter the site").click()
        # The zone of the reader's own device is proposed.
        expect(page.locator('[name="zone"]')).to_have_value("Europe/London")
        _fill(page, name="slipway", limit_set="en12021-2014-airline", plan="uk-guidance")
        _send(page)
        page.get_by_role("link", name="Enter the supply").click()
        page.locator('[name="site"]').select_option(index=1)
        _fill(page, name="hall", pressure_bar_g="7", lowest_temperature_c="5")
        page.get_by_label("Compressor for an airline").check()
        page.get_by_label("Yes").check()
        _send(page)
        page.get_by_role("link", name="Enter an outlet").click()
        page.locator('[name="supply"]').select_option(index=1)
        _fill(page, name="hall-1")
        _send(page)
        page.get_by_role("link", name="Enter an instrument").click()
        _fill(page, name="monitor")
        page.locator('[name="analyte.1"]').select_option("co")
        for name, value in (("low.1", "0"), ("high.1", "100"), ("unit.1", "ppm")):
            page.locator(f'[name="{name}"]').fill(value)
        # The key Enter saves: it does not ask for more rows.
        page.locator('[name="high.1"]').press("Enter")
        page.get_by_role("link", name="Enter its calibration").click()
        for name, value in (("reference.1", "50"), ("found.1", "49"), ("tolerance.1", "2")):
            page.locator(f'[name="{name}"]').fill(value)
        page.get_by_label("Yes").check()
        _send(page)
        # Nobody is on record as competent yet, so it is not called ready.
        page.get_by_text("something is still to be said of them").wait_for()
        assert page.url.endswith("/welcome")
        width = page.evaluate("document.documentElement.scrollWidth")
        page.context.close()
    assert width <= 360
    assert wrong == []
    done = {one.kind: one.done for one in setting_up.steps(Where(workspace=start), now=NOW)}
    assert done == {
        "site": True,
        "supply": True,
        "outlet": True,
        "instrument": True,
        "lot": False,
        "person": True,
    }


@pytest.mark.parametrize("name", ["x\x00y", "x\ny"])
def test_a_folder_that_no_system_bears_is_refused(name: str, tmp_path: Path) -> None:
    """Characters that are no letters are named, and nothing is made."""
    with visitor_on(app_on(None)) as one:
        one.page("/welcome")
        told = one.refused("/welcome", {**FIRST, "folder": str(tmp_path / name)})
    assert "no folder" in told
    assert list(tmp_path.iterdir()) == []
