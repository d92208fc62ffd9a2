"""The guard before the whole app: strangers, machines, and how refusals look."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from tests.web.kit import NOW, PLACE, Visitor, app_on, text_of, visitor_on

from lungwort.accounts import passwords
from lungwort.accounts.store import open_accounts
from lungwort.jobs import account as job
from lungwort.jobs.opening import Where
from lungwort.web.guard_rules import CONTENT_SECURITY_POLICY, FORM_LIMIT_BYTES
from lungwort.web.posted import Form

GOOD = "three damp gulls argue"


@pytest.fixture
def cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hash with the least that Argon2 allows."""
    hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passwords, "hasher", lambda: hasher)


@pytest.fixture
def peopled(folder: Path, cheap: None) -> Path:
    """Give a workspace with an account."""
    assert cheap is None
    job.add(Where(workspace=folder), "Wenna Harkle", role="keep", password=GOOD, now=NOW)
    return folder


def _token(folder: Path, *scopes: str) -> dict[str, str]:
    with open_accounts(folder) as accounts:
        made = accounts.make_token("Wenna Harkle", scopes, "hall", NOW, NOW + timedelta(days=9))
    return {"Authorization": f"Bearer {made}"}


def test_strangers_send_no_uploads(peopled: Path) -> None:
    """Who has not signed in sends no more than a form's worth, wherever it goes."""
    with visitor_on(app_on(peopled)) as stranger:
        stranger.get("/sign-in")
        body = b"x" * (FORM_LIMIT_BYTES + 1)
        headers = {"X-CSRF-Token": stranger.csrf, "Origin": PLACE}
        answer = stranger.client.post("/logs/new", content=body, headers=headers)

    assert answer.status_code == 413


def test_refusal_is_a_page_of_the_app(visitor: Visitor) -> None:
    """With a way on, in plain words, and as a problem for machines (RFC 9457)."""
    page = visitor.client.post("/sites/new", data={"name": "X"}, headers={"Origin": PLACE})
    problem = visitor.client.post("/api/v1/logs", headers={"Origin": PLACE})

    assert page.status_code == problem.status_code == 403
    assert "Open the page again" in text_of(page.text)
    assert problem.headers["content-type"] == "application/problem+json"
    assert problem.json()["status"] == 403


def test_machine_with_a_made_up_token_is_refused(peopled: Path) -> None:
    """RFC 6750, section 3: 401 with the way to ask."""
    with visitor_on(app_on(peopled)) as machine:
        for given_ in ("Bearer lungwort_x", "Basic abc", "Bearer", ""):
            answer = machine.get("/api/v1/status", headers={"Authorization": given_})
            assert answer.status_code == 401
            assert answer.headers["www-authenticate"].startswith("Bearer")
            assert "set-cookie" not in answer.headers


def test_cookie_is_not_looked_at_beside_a_token(peopled: Path) -> None:
    """A bad token does not fall back to the visit of somebody who is signed in."""
    with visitor_on(app_on(peopled)) as visitor:
        visitor.get("/sign-in")
        visitor.done("/sign-in", {"name": "Wenna Harkle", "password": GOOD})
        answer = visitor.get("/api/v1/status", headers={"Authorization": "Bearer lungwort_x"})

    assert answer.status_code == 401


def test_token_opens_no_page(peopled: Path) -> None:
    """It counts below the API alone; a page asks to sign in."""
    token = _token(peopled, "read", "import")
    with visitor_on(app_on(peopled)) as machine:
        answer = machine.get("/today", headers=token)
        change = machine.client.post("/sites/new", headers=token)

    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/sign-in")
    assert change.status_code == 403


def test_reading_token_changes_nothing(peopled: Path) -> None:
    """Every unsafe method is refused before the app sees it."""
    token = _token(peopled, "read")
    with visitor_on(app_on(peopled)) as machine:
        for method in ("POST", "PUT", "PATCH", "DELETE"):
            answer = machine.client.request(method, "/api/v1/logs", headers=token)
            assert answer.status_code == 403
            assert "may only read" in json.loads(answer.text)["detail"]


@pytest.mark.parametrize("path", ["/today", "/no-such-page", "/api/v1/no-such-thing"])
def test_fault_is_guarded_like_a_page(
    year: Path, path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An answer to a fault of the app has the same headers as any other, and tells no secret."""

    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("a secret detail")

    monkeypatch.setattr("lungwort.jobs.today.today", fail)
    with visitor_on(app_on(year)) as visitor:
        answer = visitor.get(path)

    assert answer.status_code == (500 if path == "/today" else 404)
    assert answer.headers["content-security-policy"] == CONTENT_SECURITY_POLICY
    assert answer.headers["cache-control"] == "no-store"
    assert "secret detail" not in answer.text
    if path == "/today":
        assert "nothing here is a verdict" in text_of(answer.text)


@pytest.mark.parametrize("chunked", [False, True])
def test_form_that_is_too_large_is_refused_on_a_page(year: Path, *, chunked: bool) -> None:
    """Though the page is already reading it; what was read of it is gone with the request."""
    app = app_on(year, upload_limit=200_000)
    read: list[int] = []

    @app.post("/logs/echo")
    def echo(form: Form) -> dict[str, int]:
        received = form.file("file")
        read.append(0 if received is None else received.size)
        return {"size": read[-1]}

    def body(size: int) -> Iterator[bytes]:
        yield b'--M\r\nContent-Disposition: form-data; name="csrf"\r\n\r\n'
        yield visitor.csrf.encode() + b"\r\n"
        yield b'--M\r\nContent-Disposition: form-data; name="file"; filename="../a.csv"\r\n\r\n'
        for _ in range(size // 10_000):
            yield b"x" * 10_000
        yield b"\r\n--M--\r\n"

    kind = {"Content-Type": "multipart/form-data; boundary=M", "Origin": PLACE}
    with visitor_on(app) as visitor:
        visitor.get("/today")
        sent = [body(size) if chunked else b"".join(body(size)) for size in (190_000, 300_000)]
        taken, refused = (
            visitor.client.post("/logs/echo", content=one, headers=kind) for one in sent
        )

    assert taken.json() == {"size": 190_000}
    assert refused.status_code == 413
    assert "too large: at most 195 KiB" in text_of(refused.text)
    assert read == [190_000]
