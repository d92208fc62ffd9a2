"""The app: its pages, what guards them, and how errors reach the reader."""

from __future__ import annotations

import importlib
import logging
from http import HTTPStatus
from importlib import resources
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.responses import PlainTextResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from lungwort import __version__
from lungwort.errors import LungwortError, OldWorkspaceError
from lungwort.web.api.interface import make_api
from lungwort.web.context import NobodySignedInError, NoWorkspaceError, context_of
from lungwort.web.guard import Guard
from lungwort.web.pages import PAGES
from lungwort.web.statuses import FAULT, SYSTEM, status_of
from lungwort.web.visits import Visits

if TYPE_CHECKING:
    from lungwort.web.settings import Settings

LOG: Final = logging.getLogger("lungwort.web")
API: Final = "/api/v1"


def create_app(settings: Settings) -> FastAPI:
    """Put the app together.

    Parameters
    ----------
    settings : Settings
        What the server is started with.

    Returns
    -------
    fastapi.FastAPI
        The app.
    """
    app = FastAPI(
        title="lungwort",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
    )
    app.state.settings = settings
    app.state.workspace = settings.workspace
    visits = Visits(lambda: app.state.workspace, clock=settings.clock)
    app.state.visits = visits
    app.state.needs_sign_in = visits.needs_sign_in
    for name in PAGES:
        app.include_router(importlib.import_module(f"lungwort.web.pages.{name}").router)
    app.mount(API, make_api(app.state))
    with resources.as_file(resources.files("lungwort.paper") / "fonts") as folder:
        app.mount("/static/fonts", StaticFiles(directory=folder), name="fonts")
    with resources.as_file(resources.files("lungwort.web") / "static") as folder:
        app.mount("/static", StaticFiles(directory=folder), name="static")
    app.add_exception_handler(LungwortError, _refused)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(OSError, _system_error)
    app.add_exception_handler(Exception, _fault)
    app.add_middleware(
        Guard,
        visits=visits,
        allowed_hosts=_hosts(settings),
        secure=settings.secure,
        upload_limit=settings.upload_limit,
    )
    return app


def _hosts(settings: Settings) -> frozenset[str]:
    own = {settings.host} if settings.host not in {"0.0.0.0", "::"} else set()  # noqa: S104 - compared, not bound
    return frozenset({"127.0.0.1", "localhost", "[::1]", "::1", *own, *settings.names})


def _refused(request: Request, error: Exception) -> Response:
    if isinstance(error, NoWorkspaceError):
        return RedirectResponse("/welcome", status_code=303)
    if isinstance(error, NobodySignedInError):
        return _to_sign_in(request)
    if isinstance(error, OldWorkspaceError):
        return context_of(request).page("old_workspace.html", status=503)
    return _told(request, status_of(error), str(error))


def _to_sign_in(request: Request) -> Response:
    account = request.state.visit.account
    if account is not None and account.must_change:
        return RedirectResponse("/my-account", status_code=303)
    after = request.url.path
    if request.method != "GET" or after in {"/", "/sign-in"}:
        return RedirectResponse("/sign-in", status_code=303)
    if request.url.query:
        after += f"?{request.url.query}"
    return RedirectResponse(f"/sign-in?next={quote(after, safe='')}", status_code=303)


_PLAIN_WORDS: Final = {
    HTTPStatus.NOT_FOUND: "There is no such page. It may have been given up; go on from Today.",
    HTTPStatus.METHOD_NOT_ALLOWED: "This address does not take what was sent to it.",
    HTTPStatus.REQUEST_ENTITY_TOO_LARGE: "What was sent is too large.",
}


def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101 - registered for this class alone
    status = HTTPStatus(error.status_code)
    words = _PLAIN_WORDS.get(status, str(error.detail))
    return _told(request, status, words, headers=dict(error.headers or {}))


def _system_error(request: Request, error: Exception) -> Response:
    LOG.error("%s %s", request.method, request.url.path, exc_info=error)
    return _told(request, HTTPStatus.INSUFFICIENT_STORAGE, SYSTEM.format(error=error))


def _fault(request: Request, error: Exception) -> Response:
    LOG.error("%s %s", request.method, request.url.path, exc_info=error)
    return _told(request, HTTPStatus.INTERNAL_SERVER_ERROR, FAULT)


def _told(
    request: Request, status: HTTPStatus, words: str, *, headers: dict[str, str] | None = None
) -> Response:
    if getattr(request.state, "visit", None) is None:
        return PlainTextResponse(words, status_code=status, headers=headers)
    answer = context_of(request).page("error.html", status=status, code=int(status), words=words)
    answer.headers.update(headers or {})
    return answer
