"""The guard: attacks by name, and what is left as it was after each."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import anyio
import pytest
from fastapi.testclient import TestClient
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.web.kit import NOW, PLACE, Clock

from lungwort.web.guard import Guard
from lungwort.web.guard_rules import (
    CONTENT_SECURITY_POLICY,
    FORM_LIMIT_BYTES,
    first_form_field,
    host_name,
    takes_uploads,
)
from lungwort.web.visits import Visits

ANOTHER = "of another visit"
GOOD = "three damp gulls argue"
LIMIT = 3 * 1024 * 1024


class Echo:
    """An app that reads all it is sent and says how much it was."""

    def __init__(self) -> None:
        self.read = 0
        self.asked = 0

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Read, and answer."""
        self.asked += 1
        self.read = 0
        while True:
            message = await receive()
            self.read += len(message.get("body", b""))
            if not message.get("more_body"):
                break
        headers = [(b"content-type", b"text/plain"), (b"server", b"tells too much")]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": str(self.read).encode()})
        assert scope["type"] == "http"


@pytest.fixture
def echo() -> Echo:
    """Make an app that counts what it is sent."""
    return Echo()


@pytest.fixture
def visits() -> Visits:
    """Keep visits without a workspace."""
    return Visits(lambda: None, clock=Clock())


@pytest.fixture
def client(echo: Echo, visits: Visits) -> TestClient:
    """Ask the counting app through the guard."""
    guard = Guard(
        echo,
        visits=visits,
        allowed_hosts=frozenset({"127.0.0.1", "[::1]", "localhost", "Air.Example"}),
        secure=False,
        upload_limit=LIMIT,
    )
    return TestClient(guard, base_url=PLACE, follow_redirects=False)


def _visit(client: TestClient, visits: Visits) -> str:
    client.get("/today")
    visit = visits.get(client.cookies["lungwort_visit_8765"], NOW)
    assert visit is not None
    return visit.csrf


# --- the name of the server -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "host",
    ["127.0.0.1", "127.0.0.1:8765", "LOCALHOST:1", "[::1]:8765", "air.example", "AIR.example:443"],
)
def test_known_names_are_let_through(client: TestClient, host: str) -> None:
    """With or without a port, whatever the case."""
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "attacker.example",
        "127.0.0.1.attacker.example",
        "localhost.attacker.example:8765",
        "air.example.",
        "127.0.0.2",
        "2130706433",
        "0x7f.1",
    ],
)
def test_dns_rebinding_is_refused(client: TestClient, echo: Echo, host: str) -> None:
    """A foreign name that was made to point here reaches nothing (RFC 9110, 15.5.20: 421)."""
    answer = client.get("/today", headers={"Host": host})

    assert answer.status_code == 421
    assert answer.headers["content-type"].startswith("text/plain")
    assert "set-cookie" not in answer.headers
    assert echo.asked == 0


@pytest.mark.parametrize(
    "host", ["", "127.0.0.1@attacker.example", "a b", "127.0.0.1/x", "[::1", "é"]
)
def test_unreadable_host_is_refused(client: TestClient, echo: Echo, host: str) -> None:
    """RFC 9112, section 3.2: an invalid Host field gets 400."""
    assert client.get("/", headers={b"Host": host.encode("utf-8")}).status_code == 400
    assert echo.asked == 0


def test_two_hosts_are_refused(client: TestClient, echo: Echo) -> None:
    """RFC 9112, section 3.2: more than one Host field gets 400."""
    headers = [("Host", "127.0.0.1"), ("Host", "attacker.example")]

    assert client.get("/", headers=headers).status_code == 400
    assert echo.asked == 0


@given(st.text(max_size=60))
@settings(deadline=None, max_examples=300)
def test_any_host_is_a_name_or_none(host: str) -> None:
    """What is read as a name holds no port, path or user."""
    name = host_name(host)

    assert name is None or (name == name.lower() and not set(name) & set("@/\\ []?#"))


# --- forms that others send -----------------------------------------------------------------------


def test_own_form_is_taken(client: TestClient, visits: Visits, echo: Echo) -> None:
    """By field or by header, with the origin of this server; the app gets the whole body."""
    csrf = _visit(client, visits)
    origin = {"Origin": PLACE, "Sec-Fetch-Site": "same-origin"}
    by_field = client.post("/x", data={"csrf": csrf, "a": "b"}, headers=origin)
    by_header = client.post("/x", json={"a": "b"}, headers={**origin, "X-CSRF-Token": csrf})

    assert (by_field.status_code, by_field.text) == (200, str(len(f"csrf={csrf}&a=b")))
    assert by_header.status_code == 200
    assert echo.asked == 3


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://attacker.example"},
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1:8765"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Origin": "http://127.0.0.1:8765.attacker.example"},
        {"Origin": "http://[::1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
        {"Sec-Fetch-Site": "cross-site", "Origin": PLACE},
        {"Referer": "http://attacker.example/http://127.0.0.1:8765/"},
    ],
)
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
def test_form_of_a_foreign_page_is_refused(
    client: TestClient, visits: Visits, echo: Echo, headers: dict[str, str], method: str
) -> None:
    """Though it knew the token: another scheme, port or site is another origin."""
    csrf = _visit(client, visits)
    answer = client.request(method, "/x", headers={**headers, "X-CSRF-Token": csrf})

    assert answer.status_code == 403
    assert echo.asked == 1


@pytest.mark.parametrize("token", [None, "", "0" * 64, "é", ANOTHER])
def test_form_without_the_visits_token_is_refused(
    client: TestClient, visits: Visits, echo: Echo, token: str | None
) -> None:
    """Though it comes from the right origin, by field or by header."""
    _visit(client, visits)
    if token is ANOTHER:
        token = visits.new(NOW).csrf
    data = {"a": "b"} if token is None else {"csrf": token, "a": "b"}
    headers = {"Origin": PLACE}
    assert client.post("/x", data=data, headers=headers).status_code == 403
    if token:
        raw = [(b"Origin", PLACE.encode()), (b"X-CSRF-Token", token.encode())]
        assert client.post("/x", headers=raw).status_code == 403

    assert echo.asked == 1


def test_token_in_the_address_is_no_token(client: TestClient, visits: Visits, echo: Echo) -> None:
    """Addresses lie in histories and logs."""
    csrf = _visit(client, visits)

    assert client.post(f"/x?csrf={csrf}", headers={"Origin": PLACE}).status_code == 403
    assert echo.asked == 1


def test_two_tokens_are_none(client: TestClient, visits: Visits) -> None:
    """What two readers would read in two ways is refused."""
    csrf = _visit(client, visits)
    body = f"csrf={csrf}&csrf=other"
    kind = {"Content-Type": "application/x-www-form-urlencoded"}

    assert client.post("/x", content=body, headers=kind).status_code == 403


def test_form_of_another_kind_is_no_way_around(client: TestClient, visits: Visits) -> None:
    """Kinds that a foreign form can send without asking first are checked alike."""
    csrf = _visit(client, visits)
    for kind in ("text/plain", "application/json", ""):
        answer = client.post("/x", content=f"csrf={csrf}", headers={"Content-Type": kind})
        assert answer.status_code == 403


def _multipart(*parts: tuple[str, str, bytes]) -> tuple[bytes, dict[str, str]]:
    body = b"".join(
        b'--MARK\r\nContent-Disposition: form-data; name="'
        + name.encode()
        + b'"'
        + (f'; filename="{file}"'.encode() if file else b"")
        + b"\r\n\r\n"
        + content
        + b"\r\n"
        for name, file, content in parts
    )
    return body + b"--MARK--\r\n", {"Content-Type": "multipart/form-data; boundary=MARK"}


def test_upload_with_its_token_first_is_taken(
    client: TestClient, visits: Visits, echo: Echo
) -> None:
    """The app gets every byte of it."""
    csrf = _visit(client, visits)
    body, kind = _multipart(("csrf", "", csrf.encode()), ("file", "log.csv", b"x" * 2_000_000))
    answer = client.post("/logs/new", content=body, headers=kind)

    assert (answer.status_code, answer.text) == (200, str(len(body)))
    assert echo.asked == 2


def test_upload_with_its_token_later_is_refused(
    client: TestClient, visits: Visits, echo: Echo
) -> None:
    """Behind the file, in a file's place, or beyond the first kilobytes it is not looked for."""
    csrf = _visit(client, visits).encode()
    for parts in (
        (("file", "log.csv", b"x"), ("csrf", "", csrf)),
        (("csrf", "csrf.txt", csrf),),
        (("csrf", "", csrf + b"x" * 20_000),),
    ):
        body, kind = _multipart(*parts)
        assert client.post("/logs/new", content=body, headers=kind).status_code == 403

    assert echo.asked == 1


def test_refused_upload_is_not_read_to_its_end(echo: Echo, visits: Visits) -> None:
    """Without its token, no more than the beginning of half a gigabyte is taken in."""
    guard = Guard(
        echo,
        visits=visits,
        allowed_hosts=frozenset({"127.0.0.1"}),
        secure=False,
        upload_limit=512 * 1024 * 1024,
    )
    body, kind = _multipart(("file", "log.csv", b"x" * 65536))
    taken = 0

    async def receive() -> dict[str, Any]:
        nonlocal taken
        taken += 65536
        return {"type": "http.request", "body": body[:65536], "more_body": True}

    answers: list[dict[str, Any]] = []

    async def send(message: Any) -> None:
        answers.append(message)

    scope = _scope("POST", "/logs/new", {**kind, "Content-Length": str(500 * 1024 * 1024)})
    anyio.run(guard, scope, receive, send)

    assert answers[0]["status"] == 403
    assert taken <= 2 * 65536
    assert echo.asked == 0


def _scope(method: str, path: str, headers: dict[str, str]) -> dict[str, Any]:
    return {
        "type": "http",
        "method": method,
        "path": path,
        "query_string": b"",
        "server": ("127.0.0.1", 8765),
        "client": ("127.0.0.1", 50000),
        "headers": [
            (b"host", b"127.0.0.1:8765"),
            *((name.lower().encode(), value.encode()) for name, value in headers.items()),
        ],
    }


@given(st.binary(max_size=300), st.text(max_size=40))
@settings(deadline=None, max_examples=200)
def test_any_beginning_is_a_field_or_none(beginning: bytes, kind: str) -> None:
    """Nothing that is sent breaks the reading of the first field."""
    assert first_form_field(beginning, kind) is None
    found = first_form_field(b"--M\r\n" + beginning, "multipart/form-data; boundary=M")

    assert found is None or isinstance(found[1], str)


@given(st.text(st.characters(codec="utf-8", exclude_characters="\r\n-"), max_size=200))
@settings(deadline=None, max_examples=100)
def test_first_field_is_read_as_it_was_written(value: str) -> None:
    """Whatever it holds."""
    body, kind = _multipart(("csrf", "", value.encode()), ("other", "", b"x"))

    assert first_form_field(body, kind["Content-Type"]) == ("csrf", value)


# --- how much is taken ----------------------------------------------------------------------------


def test_large_form_is_refused_by_its_length(
    client: TestClient, visits: Visits, echo: Echo
) -> None:
    """Before anything of it is read."""
    csrf = _visit(client, visits)
    body = b"x" * (FORM_LIMIT_BYTES + 1)
    answer = client.post("/x", content=body, headers={"X-CSRF-Token": csrf})

    assert answer.status_code == 413
    assert "at most 64 KiB" in answer.text
    assert echo.asked == 1


def test_form_of_just_the_limit_is_taken(client: TestClient, visits: Visits) -> None:
    """The limit itself is allowed."""
    csrf = _visit(client, visits)
    body = b"x" * FORM_LIMIT_BYTES

    assert client.post("/x", content=body, headers={"X-CSRF-Token": csrf}).status_code == 200


def _chunks(count: int, size: int) -> Iterator[bytes]:
    for _ in range(count):
        yield b"x" * size


def test_large_form_without_a_length_is_refused(client: TestClient, visits: Visits) -> None:
    """Sent in chunks it is counted as it comes."""
    csrf = _visit(client, visits)
    answer = client.post("/x", content=_chunks(3, 40_000), headers={"X-CSRF-Token": csrf})

    assert answer.status_code == 413


def test_upload_over_the_limit_is_refused_in_chunks(client: TestClient, visits: Visits) -> None:
    """Uploads are counted too; below the limit they are taken."""
    csrf = _visit(client, visits)
    most = LIMIT // 65536
    headers = {"X-CSRF-Token": csrf, "Content-Type": "application/octet-stream"}
    taken = client.post("/logs/new", content=_chunks(most, 65536), headers=headers)
    refused = client.post("/logs/new", content=_chunks(most + 1, 65536), headers=headers)

    assert (taken.status_code, taken.text) == (200, str(LIMIT))
    assert refused.status_code == 413
    assert "at most 3 MiB" in refused.text


@pytest.mark.parametrize("length", ["-1", "+5", "1e3", "0x10", "1 1", "１０"])
def test_length_that_is_no_number_is_refused(
    client: TestClient, visits: Visits, length: str
) -> None:
    """RFC 9110, section 8.6: a length is digits alone."""
    csrf = _visit(client, visits)
    headers = {"X-CSRF-Token": csrf, "Content-Length": length.encode("utf-8")}

    assert client.post("/x", content=b"abc", headers=headers).status_code == 400  # type: ignore[arg-type]


def test_length_of_a_thousand_digits_is_too_large(client: TestClient, visits: Visits) -> None:
    """It is not made into a number of that size."""
    csrf = _visit(client, visits)
    headers = {"X-CSRF-Token": csrf, "Content-Length": "9" * 1000}

    assert client.post("/logs/new", content=b"abc", headers=headers).status_code == 413


def test_body_of_a_get_is_limited_too(client: TestClient) -> None:
    """No way around by another method."""
    assert client.request("GET", "/logs", content=b"x" * (FORM_LIMIT_BYTES + 1)).status_code == 413


def test_static_files_take_nothing(client: TestClient, echo: Echo) -> None:
    """There is no visit there, so nothing is sent there either."""
    assert client.post("/static/x", content=b"abc").status_code == 405
    assert echo.asked == 0


@pytest.mark.parametrize(
    ("path", "yes"),
    [("/logs", True), ("/logs/new", True), ("/logsx", False), ("/sign-in", False), ("/", False)],
)
def test_where_files_are_sent_in(path: str, *, yes: bool) -> None:
    """At named places alone; neither at signing in nor at a name that begins alike."""
    assert takes_uploads(path) is yes


# --- what browsers are told -----------------------------------------------------------------------


def test_headers_of_every_answer(client: TestClient) -> None:
    """Also of refused ones; the server does not say what it is."""
    for answer in (
        client.get("/"),
        client.get("/", headers={"Host": "x.example"}),
        client.post("/x"),
    ):
        assert answer.headers["content-security-policy"] == CONTENT_SECURITY_POLICY
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"
        assert answer.headers["cross-origin-opener-policy"] == "same-origin"
        assert "camera=(self)" in answer.headers["permissions-policy"]
        assert answer.headers["cache-control"] == "no-store"
        assert "server" not in answer.headers
        assert "strict-transport-security" not in answer.headers


def test_policy_allows_nothing_from_elsewhere_and_nothing_inline() -> None:
    """CSP level 3: each directive that would otherwise be open is closed or 'self'."""
    directives = dict(part.split(" ", 1) for part in CONTENT_SECURITY_POLICY.split("; "))

    assert directives["img-src"] == "'self' data: blob:"
    for name in ("base-uri", "object-src", "frame-ancestors"):
        assert directives.pop(name) == "'none'"
    directives.pop("img-src")
    assert set(directives.values()) == {"'self'"}
    assert {"default-src", "script-src", "style-src", "form-action", "worker-src"} <= set(
        directives
    )
    assert "unsafe" not in CONTENT_SECURITY_POLICY


def test_static_files_may_be_kept(client: TestClient) -> None:
    """With the mark of their content for ever, without it after asking."""
    assert "immutable" in client.get("/static/a.css?v=12").headers["cache-control"]
    assert client.get("/static/a.css").headers["cache-control"] == "no-cache"
    assert "set-cookie" not in client.get("/static/a.css").headers


def test_cookie_of_a_visit(client: TestClient) -> None:
    """Out of reach of scripts and of other sites; given once."""
    cookie = client.get("/").headers["set-cookie"]

    assert re.fullmatch(r"lungwort_visit_8765=[\w-]{43}; Path=/; HttpOnly; SameSite=Strict", cookie)
    assert "set-cookie" not in client.get("/").headers


def test_link_from_elsewhere_signs_nobody_out(client: TestClient, echo: Echo) -> None:
    """Browsers keep a Strict cookie back there; no new one is put in its place.

    The page that comes instead asks once more from here, and then the cookie is sent.
    """
    elsewhere = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}
    answer = client.get('/findings/F%201?a="><script>&b=1', headers=elsewhere)

    assert answer.status_code == 200
    assert "set-cookie" not in answer.headers
    assert answer.headers["content-security-policy"] == CONTENT_SECURITY_POLICY
    assert 'content="0; url=/findings/F%201?a=' in answer.text
    assert "<script>" not in answer.text
    assert "&amp;b=1" in answer.text
    assert echo.asked == 0
    client.get("/")
    assert client.get("/", headers=elsewhere).text == "0"


@pytest.mark.parametrize("path", ["//attacker.example/x", "/\\attacker.example", "/x"])
def test_asking_once_more_stays_here(client: TestClient, path: str) -> None:
    """The address in it is never another server's."""
    scope = _scope("GET", path, {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"})
    sent: list[Any] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    anyio.run(client.app, scope, receive, send)
    found = re.search(rb'content="0; url=([^"]*)"', sent[1]["body"])

    assert found is not None
    assert found[1].startswith(b"/")
    assert not found[1].startswith((b"//", b"/\\"))


def test_https_is_kept_to(echo: Echo, visits: Visits) -> None:
    """The cookie goes over HTTPS alone, and browsers are told to stay with it."""
    guard = Guard(
        echo,
        visits=visits,
        allowed_hosts=frozenset({"air.example"}),
        secure=True,
        upload_limit=LIMIT,
    )
    client = TestClient(guard, base_url="https://air.example")
    answer = client.get("/")
    visit = visits.get(client.cookies["lungwort_visit_443"], NOW)
    assert visit is not None
    token = {"X-CSRF-Token": visit.csrf}

    assert answer.headers["set-cookie"].endswith("; Secure")
    assert answer.headers["strict-transport-security"] == "max-age=31536000"
    assert client.post("/x", headers={**token, "Origin": "https://air.example"}).status_code == 200
    assert client.post("/x", headers={**token, "Origin": "http://air.example"}).status_code == 403


def test_websockets_are_refused(echo: Echo, visits: Visits) -> None:
    """Nothing here speaks them, and a browser would not check their origin."""
    guard = Guard(echo, visits=visits, allowed_hosts=frozenset(), secure=False, upload_limit=LIMIT)
    sent: list[Any] = []

    async def receive() -> dict[str, Any]:
        return {"type": "websocket.connect"}

    async def send(message: Any) -> None:
        sent.append(message)

    anyio.run(guard, {"type": "websocket", "path": "/"}, receive, send)

    assert sent == [{"type": "websocket.close", "code": 1008}]
    assert echo.asked == 0


@given(st.text(max_size=80))
@settings(deadline=None, max_examples=100)
def test_any_cookie_is_a_visit_or_none(cookie: str) -> None:
    """Whatever a browser sends as cookies, there is an answer."""
    visits = Visits(lambda: None, clock=Clock())
    guard = Guard(
        Echo(),
        visits=visits,
        allowed_hosts=frozenset({"127.0.0.1"}),
        secure=False,
        upload_limit=LIMIT,
    )
    answers: list[Any] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        answers.append(message)

    scope = _scope("GET", "/", {})
    text = f"lungwort_visit_8765={cookie}; lungwort_language={cookie}"
    scope["headers"].append((b"cookie", text.encode("utf-8")))
    anyio.run(guard, scope, receive, send)

    assert answers[0]["status"] == 200
