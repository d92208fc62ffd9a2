"""The guard before the app: who may ask from where, how much may be sent, what browsers may do.

Everything here is checked before a page is made: the name under which the server was asked for
(so that a foreign page cannot reach it by a name of its own that points to this computer), the
size of what is sent, and that a form was sent from one of the app's own pages.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from functools import partial
from html import escape
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING, Final
from urllib.parse import parse_qs, quote

from anyio.to_thread import run_sync
from attrs import define, field

from lungwort.errors import LungwortError
from lungwort.web.guard_body import (
    App,
    Body,
    GoneError,
    Message,
    Receive,
    Scope,
    Send,
    TooLargeError,
)
from lungwort.web.guard_rules import (
    CSRF_WINDOW_BYTES,
    FOR_EVER,
    FORM_LIMIT_BYTES,
    HEADERS,
    LANGUAGE,
    LONG_FORM_LIMIT_BYTES,
    SAFE_METHODS,
    STATIC,
    STRICT_TRANSPORT,
    cookie_name,
    first_form_field,
    host_name,
    is_api,
    origin,
    same,
    size_words,
    takes_uploads,
)
from lungwort.web.visits import LANGUAGE_COOKIE, Visit, Visits

if TYPE_CHECKING:
    from starlette.responses import Response

_TOO_LARGE: Final = (
    "What was sent is too large: at most {most} is taken here. Nothing of it was kept. "
    "Split the file, or bring it in at the terminal."
)
_NOT_OURS: Final = (
    "This was not sent from a page of this server, so nothing was changed. "
    "Open the page again here and send it from there."
)
_OLD_PAGE: Final = (
    "This page was opened before you signed in or before the server was started anew, so "
    "nothing was changed. Open the page again and send it once more."
)
_NO_LENGTH: Final = "The length of what is sent cannot be read, so nothing of it was taken."
_UNKNOWN_MACHINE: Final = (
    "The token is not taken: it is unknown, has ended, or was revoked. Ask somebody who keeps "
    "the workspace for a new one."
)
_READ_ONLY: Final = "This token may only read. Use one with the scope 'import'."


class Guard:
    """ASGI middleware that stands before the app.

    Parameters
    ----------
    app : ASGI application
        What it guards.
    visits : Visits
        All visits.
    allowed_hosts : frozenset of str
        Names under which the server may be asked for, without ports.
    secure : bool
        Whether browsers reach the server by HTTPS.
    upload_limit : int
        Largest upload [byte].
    """

    def __init__(
        self,
        app: App,
        *,
        visits: Visits,
        allowed_hosts: frozenset[str],
        secure: bool,
        upload_limit: int,
    ) -> None:
        self._app = app
        self._visits = visits
        self._hosts = frozenset(host.lower().strip("[]") for host in allowed_hosts)
        self._secure = secure
        self._upload_limit = upload_limit

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return
        await _Request(self, scope, receive, send).run()

    async def serve(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand a request on to the app."""
        await self._app(scope, receive, send)

    @property
    def visits(self) -> Visits:
        """All visits."""
        return self._visits

    @property
    def secure(self) -> bool:
        """Whether browsers reach the server by HTTPS."""
        return self._secure

    def knows_host(self, host: str) -> bool:
        """Tell whether the server may be asked for under a name."""
        name = host_name(host)
        return name is not None and name in self._hosts

    def limit(self, scope: Scope, visit: Visit | None, kind: str) -> int:
        """Give how much may be sent [byte].

        Whoever has not signed in, where that is needed, sends no more than the sign-in form.
        """
        if not takes_uploads(scope["path"]):
            return FORM_LIMIT_BYTES
        stranger = visit is None or visit.account is None
        if stranger and scope["app_needs_sign_in"]:
            return FORM_LIMIT_BYTES
        if kind == "application/x-www-form-urlencoded":
            return LONG_FORM_LIMIT_BYTES
        return self._upload_limit


@define
class _Request:
    """One request on its way through the guard."""

    guard: Guard
    scope: Scope
    receive: Receive
    send: Send
    headers: dict[str, list[str]] = field(factory=dict)
    visit: Visit | None = None
    cookie: str | None = None
    language: str | None = None
    started: bool = False
    body: Body | None = None

    @property
    def path(self) -> str:
        path: str = self.scope["path"]
        return path

    @property
    def safe(self) -> bool:
        return self.scope["method"] in SAFE_METHODS

    def header(self, name: str) -> str:
        return self.headers.get(name, [""])[0]

    async def run(self) -> None:
        for name, value in self.scope["headers"]:
            self.headers.setdefault(name.decode("latin-1").lower(), []).append(
                value.decode("latin-1")
            )
        hosts = self.headers.get("host", [])
        if len(hosts) != 1 or host_name(hosts[0]) is None:
            await self.plain(
                HTTPStatus.BAD_REQUEST, "This request does not say which server it is for."
            )
            return
        if not self.guard.knows_host(hosts[0]):
            await self.plain(
                HTTPStatus.MISDIRECTED_REQUEST,
                "This server is not known by that name. Start it with --public-name NAME if it "
                "should be.",
            )
            return
        if self.comes_from_elsewhere():
            await self.once_more()
            return
        self.scope["app_needs_sign_in"] = False
        state = self.scope.setdefault("state", {})
        try:
            if not await self.find_visit():
                return
        except LungwortError as error:
            await self.plain(HTTPStatus.SERVICE_UNAVAILABLE, str(error))
            return
        state["visit"] = self.visit
        try:
            await self.checked()
        except GoneError:
            return
        except TooLargeError:
            if self.started:
                raise
            await self.too_large()

    def comes_from_elsewhere(self) -> bool:
        """Tell whether a link on a foreign page led here, for which browsers keep the cookie back."""
        return (
            self.scope["method"] == "GET"
            and self.header("sec-fetch-mode") == "navigate"
            and self.header("sec-fetch-site") in {"cross-site", "same-site"}
            and self.cookie_value(cookie_name(self.scope)) is None
        )

    async def once_more(self) -> None:
        # A new visit here would take the place of the one that the browser keeps back, and sign
        # somebody out who followed a link. Asked for once more from this page, it is sent along.
        query = self.scope.get("query_string", b"").decode("latin-1")
        raw = self.scope.get("raw_path") or quote(self.path).encode("ascii")
        # One slash alone: an address that begins with two names another server.
        address = "/" + raw.decode("latin-1").partition("?")[0].lstrip("/\\")
        address += f"?{query}" if query else ""
        page = (
            '<!doctype html><html lang="en"><meta charset="utf-8"><title>lungwort</title>'
            f'<meta http-equiv="refresh" content="0; url={escape(address)}">'
            f'<p><a href="{escape(address)}">lungwort</a></p></html>'
        )
        await self.answer(HTTPStatus.OK, page.encode("utf-8"), b"text/html; charset=utf-8")

    async def find_visit(self) -> bool:
        """Find out who asks; False where the request was refused for it."""
        visits, now = self.guard.visits, self.guard.visits.now()
        if is_api(self.path) and "authorization" in self.headers:
            # A request with a token of its own is a machine's: its cookie is not looked at, so
            # that no page can borrow a browser's visit by adding a header.
            return await self.find_machine()
        if self.path.startswith(STATIC):
            return True
        self.scope["app_needs_sign_in"] = await run_sync(visits.needs_sign_in)
        self.cookie = self.cookie_value(cookie_name(self.scope))
        chosen = self.cookie_value(LANGUAGE_COOKIE)
        self.language = chosen if chosen is not None and LANGUAGE.fullmatch(chosen) else None
        self.visit = await run_sync(visits.get, self.cookie, now)
        if self.visit is None:
            self.visit = visits.new(now)
            self.visit.language = self.language
        return True

    async def find_machine(self) -> bool:
        values = self.headers["authorization"]
        scheme, _, secret = values[0].partition(" ")
        visits = self.guard.visits
        if len(values) == 1 and scheme.lower() == "bearer":
            self.visit = await run_sync(visits.machine, secret.strip(), visits.now())
        if self.visit is None:
            await self.refuse(
                HTTPStatus.UNAUTHORIZED,
                _UNKNOWN_MACHINE,
                (b"www-authenticate", b'Bearer realm="lungwort"'),
            )
            return False
        machine = self.visit.machine
        if not self.safe and (machine is None or "import" not in machine.scopes):
            await self.refuse(HTTPStatus.FORBIDDEN, _READ_ONLY)
            return False
        return True

    def cookie_value(self, name: str) -> str | None:
        cookies: SimpleCookie = SimpleCookie()
        for header in self.headers.get("cookie", []):
            try:
                cookies.load(header)
            except CookieError:
                continue
        found = cookies.get(name)
        return None if found is None else found.value

    async def checked(self) -> None:
        kind = self.header("content-type").partition(";")[0].strip().lower()
        limit = FORM_LIMIT_BYTES
        if self.visit is not None and not self.safe:
            limit = self.guard.limit(self.scope, self.visit, kind)
        self.body = Body(self.receive, limit)
        length = self.headers.get("content-length", [])
        if length:
            if len(length) > 1 or not (length[0].isascii() and length[0].isdigit()):
                await self.refuse(HTTPStatus.BAD_REQUEST, _NO_LENGTH)
                return
            if int(length[0][:20]) > limit:
                await self.too_large()
                return
        if not self.safe and not await self.from_own_page(kind):
            return
        try:
            await self.guard.serve(self.scope, self.body, self.sending)
        except (TooLargeError, GoneError):
            raise
        except Exception as error:
            # The app tells a fault outside of its own middleware, and so without the headers that
            # the guard adds. Here they are added; the error goes on to where it is written down.
            if not self.started:
                await self.fault(error)
            raise

    async def fault(self, error: Exception) -> None:
        app = self.scope.get("app")
        tell = None if app is None else app.exception_handlers.get(Exception)
        if tell is None:
            return
        from starlette.requests import Request  # noqa: PLC0415 - only here

        answer: Response = await run_sync(tell, Request(self.scope), error)
        await answer(self.scope, self.receive, self.sending)

    async def from_own_page(self, kind: str) -> bool:
        """Check that a page of this server sent what is sent; False where it was refused."""
        if self.visit is None:
            await self.refuse(HTTPStatus.METHOD_NOT_ALLOWED, "This address takes nothing.")
            return False
        if self.visit.machine is not None:
            return True
        if not self.sameorigin():
            await self.refuse(HTTPStatus.FORBIDDEN, _NOT_OURS)
            return False
        if not same(await self.form_token(kind), self.visit.csrf):
            await self.refuse(HTTPStatus.FORBIDDEN, _OLD_PAGE)
            return False
        return True

    def sameorigin(self) -> bool:
        """Tell whether all that the browser says of the sending page points here.

        Browsers send ``Sec-Fetch-Site`` and ``Origin`` with every form; programs that are no
        browsers send neither, and for them the form token alone decides.
        """
        sites = self.headers.get("sec-fetch-site", [])
        if any(site != "same-origin" for site in sites):
            return False
        own = ("https" if self.guard.secure else "http", self.header("host").lower())
        origins = self.headers.get("origin", [])
        if not origins and "referer" in self.headers:
            origins = self.headers["referer"]
        return all(origin(one) == own for one in origins)

    async def form_token(self, kind: str) -> str:
        # An upload of hundreds of megabytes must not be read into memory to find its token, nor
        # taken in before it is known that it may be: so scripts send the token as a header, and
        # a form puts it first, where it lies within the first few kilobytes. An address is no
        # place for it: addresses are kept in histories and logs.
        if token := self.header("x-csrf-token"):
            return token
        assert self.body is not None  # noqa: S101 - set before
        if kind == "multipart/form-data":
            first = first_form_field(
                await self.body.beginning(CSRF_WINDOW_BYTES), self.header("content-type")
            )
            return first[1] if first is not None and first[0] == "csrf" else ""
        if kind == "application/x-www-form-urlencoded":
            text = (await self.body.beginning(self.body.limit + 1)).decode("latin-1")
            try:
                tokens = parse_qs(text, max_num_fields=2000).get("csrf", [])
            except ValueError:
                return ""
            return tokens[0] if len(tokens) == 1 else ""
        return ""

    async def sending(self, message: Message) -> None:
        """Send on what the app answers, with the headers of the guard."""
        if message["type"] == "http.response.start":
            if self.body is not None and self.body.over:
                # What read the body may have made an error of its own out of its sudden end.
                raise TooLargeError
            self.started = True
            message["headers"] = self.guarded(message.get("headers", ()), message["status"])
        await self.send(message)

    def guarded(
        self, headers: Iterable[tuple[bytes, bytes]], status: int
    ) -> list[tuple[bytes, bytes]]:
        ours = [*HEADERS, STRICT_TRANSPORT] if self.guard.secure else list(HEADERS)
        names = {name for name, _ in ours} | {b"server"}
        kept = [(name, value) for name, value in headers if name.lower() not in names]
        if not any(name.lower() == b"cache-control" for name, _ in kept):
            ours.append((b"cache-control", self.keeping(status)))
        if (
            self.visit is not None
            and self.visit.machine is None
            and self.visit.token != self.cookie
        ):
            ours.append((b"set-cookie", self.cookie_header(self.visit.token)))
        if self.visit is not None and self.visit.language not in {None, self.language}:
            # What was chosen is remembered on this device when the visit is over.
            ours.append((b"set-cookie", self.language_header(str(self.visit.language))))
        return [*kept, *ours]

    def keeping(self, status: int) -> bytes:
        if not self.path.startswith(STATIC) or status not in {
            HTTPStatus.OK,
            HTTPStatus.NOT_MODIFIED,
        }:
            return b"no-store"
        return FOR_EVER if b"v=" in self.scope.get("query_string", b"") else b"no-cache"

    def cookie_header(self, token: str) -> bytes:
        parts = [f"{cookie_name(self.scope)}={token}", "Path=/", "HttpOnly", "SameSite=Strict"]
        if self.guard.secure:
            parts.append("Secure")
        return "; ".join(parts).encode("ascii")

    def language_header(self, language: str) -> bytes:
        year = 365 * 24 * 3600
        parts = [
            f"{LANGUAGE_COOKIE}={language}",
            "Path=/",
            f"Max-Age={year}",
            "HttpOnly",
            "SameSite=Strict",
            *(["Secure"] if self.guard.secure else []),
        ]
        return "; ".join(parts).encode("ascii", "ignore")

    async def too_large(self) -> None:
        assert self.body is not None  # noqa: S101 - set before
        words = _TOO_LARGE.format(most=size_words(self.body.limit))
        # The rest of what is sent is not read: the connection ends with the answer.
        await self.refuse(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, words, (b"connection", b"close"))

    async def plain(self, status: HTTPStatus, words: str) -> None:
        await self.answer(status, words.encode("utf-8"), b"text/plain; charset=utf-8")

    async def refuse(self, status: HTTPStatus, words: str, *headers: tuple[bytes, bytes]) -> None:
        if self.path.startswith("/api/") or "application/json" in self.header("accept"):
            problem = {
                "type": "about:blank",
                "title": status.phrase,
                "status": int(status),
                "detail": words,
            }
            await self.answer(
                status, json.dumps(problem).encode("utf-8"), b"application/problem+json", *headers
            )
            return
        page = await run_sync(partial(self.page, status, words))
        if page is None:
            await self.answer(status, words.encode("utf-8"), b"text/plain; charset=utf-8", *headers)
            return
        await self.answer(status, bytes(page.body), b"text/html; charset=utf-8", *headers)

    def page(self, status: HTTPStatus, words: str) -> Response | None:
        """Make a page of the app that says why something was refused."""
        if self.visit is None or "app" not in self.scope:
            return None
        from starlette.requests import Request  # noqa: PLC0415 - only here

        from lungwort.web.context import context_of  # noqa: PLC0415 - the app imports the guard

        ctx = context_of(Request(self.scope))
        return ctx.page("error.html", status=int(status), code=int(status), words=words)

    async def answer(
        self, status: HTTPStatus, body: bytes, kind: bytes, *headers: tuple[bytes, bytes]
    ) -> None:
        self.started = True
        own = [
            (b"content-type", kind),
            (b"content-length", str(len(body)).encode("ascii")),
            *headers,
        ]
        await self.send(
            {
                "type": "http.response.start",
                "status": int(status),
                "headers": self.guarded(own, int(status)),
            }
        )
        await self.send(
            {
                "type": "http.response.body",
                "body": b"" if self.scope["method"] == "HEAD" else body,
            }
        )
