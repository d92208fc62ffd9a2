"""A visitor for the pages: keeps cookies, sends the token with forms, knows what was told."""

from __future__ import annotations

import re
import socket
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from typing import Any

import httpx2 as httpx
from fastapi import FastAPI
from fastapi.testclient import TestClient

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
"""When the invented year ends."""
PLACE = "http://127.0.0.1:8765"
Fields = Mapping[str, str | Sequence[str]]


@dataclass
class Clock:
    """A clock that is set by hand.

    Attributes
    ----------
    now : datetime
        What it shows.
    """

    now: datetime = NOW

    def __call__(self) -> datetime:
        """Read it."""
        return self.now


@dataclass
class Visitor:
    """A browser without a screen.

    Attributes
    ----------
    client : TestClient
        Sends the requests; does not follow the way on by itself.
    place : str
        Where the app is.
    csrf : str
        Token of the visit; read from the first page.
    """

    client: TestClient
    place: str = PLACE
    csrf: str = field(default="")

    def get(self, path: str, *, headers: Mapping[str, str] | None = None) -> httpx.Response:
        """Get a page."""
        answer: httpx.Response = self.client.get(
            path, headers=dict(headers or {}), follow_redirects=False
        )
        found = re.search(r'<meta name="csrf" content="([^"]*)"', answer.text)
        if found:
            self.csrf = unescape(found[1])
        return answer

    def page(self, path: str, *, status: int = 200) -> str:
        """Get a page that must be there, and give its HTML."""
        answer = self.get(path)
        assert answer.status_code == status, f"{path}: {answer.status_code} {text_of(answer.text)}"
        return answer.text

    def post(
        self,
        path: str,
        fields: Fields | None = None,
        *,
        files: Any = None,
        headers: Mapping[str, str] | None = None,
    ) -> httpx.Response:
        """Send a form, with the token of the visit."""
        if not self.csrf:
            self.get("/today")
        answer: httpx.Response = self.client.post(
            path,
            data={"csrf": self.csrf, **(fields or {})},
            files=files,
            headers={"Origin": self.place, "X-CSRF-Token": self.csrf, **(headers or {})},
            follow_redirects=False,
        )
        return answer

    def done(self, path: str, fields: Fields | None = None, **more: Any) -> str:
        """Send a form that must be taken, go on, and give the next page's text without marks."""
        answer = self.post(path, fields, **more)
        assert answer.status_code in {303, 204}, (
            f"{path}: {answer.status_code} {text_of(answer.text)}"
        )
        return text_of(self.page(answer.headers.get("location") or answer.headers["HX-Redirect"]))

    def refused(self, path: str, fields: Fields | None = None, **more: Any) -> str:
        """Send a form that must be refused, and give the page's text without marks."""
        answer = self.post(path, fields, **more)
        assert answer.status_code == 422, f"{path}: {answer.status_code} {text_of(answer.text)}"
        return text_of(answer.text)


def text_of(html: str) -> str:
    """Give what a page says, without marks, in one line."""
    body = html[html.find("<main") :] if "<main" in html else html
    body = body[: body.find("</main>")] if "</main>" in body else body
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", body))).strip()


def app_on(workspace: Path | None, *, clock: Clock | None = None, **more: Any) -> FastAPI:
    """Make the app on a workspace, with a clock that is set by hand."""
    from lungwort.web.app import create_app
    from lungwort.web.settings import Settings

    return create_app(Settings(workspace=workspace, clock=clock or Clock(), **more))


@contextmanager
def visitor_on(app: FastAPI, *, place: str = PLACE) -> Iterator[Visitor]:
    """Make a visitor of an app; errors of the app come as pages, as they would for a browser."""
    with TestClient(app, base_url=place, raise_server_exceptions=False) as client:
        yield Visitor(client, place)


@contextmanager
def served(app: FastAPI, *, port: int = 0) -> Iterator[str]:
    """Serve an app on a port of its own for a real browser, and give its address."""
    import uvicorn

    # Named, so that asyncio sends small answers at once.
    with socket.socket(proto=socket.IPPROTO_TCP) as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", port))
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.02)
            assert thread.is_alive(), "the server did not start"
        try:
            yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join(10)
