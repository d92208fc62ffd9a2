"""Long work beside the pages: its progress, its end, and what becomes of it when the server stops."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest
from fastapi import FastAPI
from tests.web.kit import Clock, Visitor, app_on, text_of, visitor_on

from lungwort.errors import InputError
from lungwort.web.tasks import MOST_AT_ONCE, Progress, Task, TooManyTasksError, tasks
from lungwort.web.visits import Visit, csrf_of, new_token

SECONDS = 10.0


@pytest.fixture
def app(folder: Path, clock: Clock) -> FastAPI:
    """Give the app on a copy of the year."""
    return app_on(folder, clock=clock)


def visit_of(app: FastAPI, visitor: Visitor) -> Visit:
    """Find the visit of a visitor."""
    visitor.get("/today")
    cookie = next(one for one in visitor.client.cookies.jar if "visit" in one.name)
    found = app.state.visits.get(cookie.value, Clock()())
    assert found is not None
    return found  # type: ignore[no-any-return] # the state of an app may hold anything


def over(app: FastAPI, task_id: str, visit: Visit) -> Task:
    """Wait until a task is over."""
    found = tasks(app).get(task_id, visit)
    assert found is not None
    assert found.ended.wait(SECONDS)
    return found


def test_its_page_shows_the_share_and_leads_on(app: FastAPI) -> None:
    """A page that is loaded again shows the same task; once it is done it leads to what came of it."""
    go, seen = threading.Event(), threading.Event()

    def work(progress: Progress) -> str:
        progress(30, 120)
        seen.set()
        assert go.wait(SECONDS)
        return "/logs"

    with visitor_on(app) as one:
        visit = visit_of(app, one)
        name = tasks(app).start("Reading <b>march.csv</b>", work, by=visit)
        assert seen.wait(SECONDS)
        for _ in range(2):
            html = one.page(f"/tasks/{name}")
            assert "25 % is done." in text_of(html)
            assert "<title>25 % Reading" in html
            assert "<b>march.csv</b>" not in html
        part = one.get(f"/tasks/{name}", headers={"HX-Request": "true"}).text
        assert part.lstrip().startswith("<section")
        go.set()
        over(app, name, visit)
        assert one.get(f"/tasks/{name}").headers["location"] == "/logs"
        swapped = one.get(f"/tasks/{name}", headers={"HX-Request": "true"})
        assert swapped.headers["HX-Redirect"] == "/logs"


def test_a_task_that_fails_says_why(app: FastAPI) -> None:
    """In the words of the job; a fault of the program itself is told as one, without its text."""

    def refused(_: Progress) -> str:
        raise InputError("The file is empty. Give --zone NAME.")

    def broken(_: Progress) -> str:
        raise KeyError("secret")

    def full(_: Progress) -> str:
        raise OSError(28, "No space left on device")

    with visitor_on(app) as one:
        visit = visit_of(app, one)
        told = []
        for work in (refused, broken, full):
            name = tasks(app).start("Reading", work, by=visit, back="/logs/new")
            over(app, name, visit)
            html = one.page(f"/tasks/{name}")
            assert 'href="/logs/new"' in html
            told.append(text_of(html))
    assert "The file is empty. Give" in told[0]
    assert "--zone" not in told[0]
    assert "A fault in lungwort itself" in told[1]
    assert "secret" not in told[1]
    assert "No space left on device" in told[2]


def test_tasks_of_one_kind_are_done_one_after_the_other(app: FastAPI) -> None:
    """Those that change the record never meet."""
    inside: list[int] = []
    most: list[int] = []

    def work(_: Progress) -> str:
        inside.append(1)
        most.append(len(inside))
        time.sleep(0.05)
        inside.pop()
        return "/logs"

    with visitor_on(app) as one:
        visit = visit_of(app, one)
        names = [tasks(app).start("x", work, by=visit, alone="record") for _ in range(4)]
        assert {over(app, name, visit).state for name in names} == {"done"}
    assert most == [1, 1, 1, 1]


def test_not_more_than_some_are_begun(app: FastAPI) -> None:
    """A page that is sent a hundred times does not fill the computer."""
    go = threading.Event()

    def work(_: Progress) -> str:
        go.wait(SECONDS)
        return "/logs"

    with visitor_on(app) as one:
        visit = visit_of(app, one)
        names = [tasks(app).start("x", work, by=visit) for _ in range(MOST_AT_ONCE)]
        with pytest.raises(TooManyTasksError, match="under way already"):
            tasks(app).start("x", work, by=visit)
        go.set()
        for name in names:
            over(app, name, visit)
        tasks(app).start("x", work, by=visit)


def test_when_the_server_stops_the_work_stops(app: FastAPI) -> None:
    """It ends where it tells how far it is, and its changes are rolled back by its error."""
    begun = threading.Event()

    def work(progress: Progress) -> str:
        begun.set()
        while True:
            progress(1, 2)
            time.sleep(0.005)

    with visitor_on(app) as one:
        visit = visit_of(app, one)
        name = tasks(app).start("x", work, by=visit)
        assert begun.wait(SECONDS)
        tasks(app).stop(SECONDS)
        ended = over(app, name, visit)
        assert ended.state == "failed"
        assert "The server was stopped meanwhile" in ended.error


def test_a_task_is_seen_by_whoever_began_it(app: FastAPI) -> None:
    """Nobody else learns its title or where it leads."""
    with visitor_on(app) as one:
        visit = visit_of(app, one)
        name = tasks(app).start("x", lambda _: "/logs", by=visit)
        over(app, name, visit)
        token = new_token()
        other = Visit(token, csrf_of(token), begun=visit.begun, seen=visit.seen)
        assert tasks(app).get(name, other) is None
        assert "There is no such task" in text_of(one.page("/tasks/unknown", status=404))
