"""Signing in, one's own account, who acts, and the pages of those who keep accounts."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from urllib.parse import quote, urljoin, urlsplit

import pyotp
import pytest
from argon2 import PasswordHasher
from fastapi import Request
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.web.kit import NOW, PLACE, Clock, Visitor, app_on, text_of, visitor_on

from lungwort.accounts import passwords
from lungwort.accounts.store import FILE, open_accounts
from lungwort.jobs import account as job
from lungwort.jobs.catalogue import person as person_job
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.opening import Where
from lungwort.web.context import context_of
from lungwort.web.pages.today import own_path

GOOD = "three damp gulls argue"
OTHER = "seven brass kettles sing"
KEEPER = {"name": "Wenna Harkle", "password": GOOD}
TESTER = {"name": "Idris Pellow", "password": OTHER}


@pytest.fixture
def cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hash with the least that Argon2 allows."""
    hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passwords, "hasher", lambda: hasher)
    passwords.nobodys.cache_clear()


@pytest.fixture
def peopled(folder: Path, cheap: None) -> Path:
    """Give a workspace with two accounts."""
    assert cheap is None
    where = Where(workspace=folder)
    job.add(where, "Wenna Harkle", role="keep", password=GOOD, now=NOW)
    job.add(where, "Idris Pellow", role="test", password=OTHER, now=NOW)
    return folder


@pytest.fixture
def stranger(peopled: Path, clock: Clock) -> Iterator[Visitor]:
    """Give a browser that nobody signed in with."""
    with visitor_on(app_on(peopled, clock=clock)) as one:
        one.get("/sign-in")
        yield one


@pytest.fixture
def keeper(stranger: Visitor) -> Visitor:
    """Sign Wenna Harkle in."""
    stranger.done("/sign-in", KEEPER)
    return stranger


@pytest.fixture
def tester(peopled: Path, clock: Clock) -> Iterator[Visitor]:
    """Sign Idris Pellow in, with a browser of his own."""
    with visitor_on(app_on(peopled, clock=clock)) as one:
        one.get("/sign-in")
        one.done("/sign-in", TESTER)
        yield one


# --- signing in and out ---------------------------------------------------------------------------


def test_page_asks_to_sign_in_and_comes_back(stranger: Visitor) -> None:
    """After signing in one is where one wanted to go."""
    way = stranger.get("/accounts?q=hall").headers["location"]
    form = stranger.page(way)
    # The first of the page's forms is that of the language.
    after = re.findall(r'name="next" value="([^"]*)"', form)[-1]
    answer = stranger.post("/sign-in", {**KEEPER, "next": after})

    assert (answer.status_code, answer.headers["location"]) == (303, "/accounts?q=hall")
    assert "Wenna Harkle" in stranger.page("/today")


def test_wrong_password_is_told_and_not_shown_again(stranger: Visitor) -> None:
    """The name stands there still; what was typed as password does not."""
    answer = stranger.post("/sign-in", {"name": "Wenna Harkle", "password": "not the right one"})

    assert answer.status_code == 422
    assert "password or the one-time code is wrong" in text_of(answer.text)
    assert "Wenna Harkle" in answer.text
    assert "not the right one" not in answer.text
    assert stranger.get("/today").status_code == 303


def test_too_many_tries_are_slowed_down(stranger: Visitor, clock: Clock) -> None:
    """Also on the page, and the wait ends."""
    for _ in range(5):
        stranger.refused("/sign-in", {"name": "Wenna Harkle", "password": "wrong"})
    assert "Wait 2 seconds" in stranger.refused("/sign-in", KEEPER)
    clock.now += timedelta(seconds=2)

    assert "Today" in stranger.done("/sign-in", KEEPER)


def test_cookie_changes_at_signing_in_and_out(stranger: Visitor) -> None:
    """A secret that was planted before is worth nothing after (session fixation)."""
    name = "lungwort_visit_8765"
    before = stranger.client.cookies[name]
    stranger.done("/sign-in", KEEPER)
    during = stranger.client.cookies[name]
    stranger.done("/sign-out")
    after = stranger.client.cookies[name]
    assert len({before, during, after}) == 3
    stranger.client.cookies.clear()
    for old in (before, during):
        answer = stranger.client.get(
            "/today", headers={"Cookie": f"{name}={old}"}, follow_redirects=False
        )
        assert answer.status_code == 303


def test_sign_out_is_no_link(keeper: Visitor) -> None:
    """A foreign page cannot sign anybody out by a picture."""
    assert keeper.get("/sign-out").status_code == 405
    assert keeper.get("/today").status_code == 200


def test_visit_ends_after_eight_idle_hours(keeper: Visitor, clock: Clock) -> None:
    """A tablet that was left lying asks again."""
    clock.now += timedelta(hours=8)
    assert keeper.get("/today").status_code == 200
    clock.now += timedelta(hours=8, seconds=1)

    assert keeper.get("/today").headers["location"].startswith("/sign-in")


def test_person_who_has_left_cannot_sign_in(peopled: Path, stranger: Visitor) -> None:
    """The answer does not tell why."""
    person_job.change(
        Session(now=NOW, where=Where(workspace=peopled), by="Wenna Harkle"),
        "Idris Pellow",
        person_job.PersonFacts(in_use=False),
        "has left",
    )

    assert "password or the one-time code is wrong" in stranger.refused("/sign-in", TESTER)


def test_nobody_acts_for_another(peopled: Path, tester: Visitor) -> None:
    """Whatever name a form brings along, things are recorded by the person of the account."""
    app = tester.client.app
    seen: list[str | None] = []

    @app.get("/seen")  # type: ignore[attr-defined, untyped-decorator]
    def seen_page(request: Request) -> None:
        seen.append(context_of(request).session().by)

    answer = tester.post("/who", {"person": "Wenna Harkle"})
    tester.get("/seen?by=Wenna%20Harkle")
    with open_accounts(peopled) as accounts:
        person = accounts.get("Idris Pellow").person_id

    assert answer.headers["location"] == "/my-account"
    assert seen == [person]


@given(st.text(max_size=60))
@settings(deadline=None, max_examples=300)
def test_next_leads_nowhere_else(asked: str) -> None:
    """Whatever stands in ?next=, a browser stays on this server (open redirect)."""
    for text in (asked, "/" + asked, "//" + asked, "/\\" + asked, "/\t/" + asked):
        path = own_path(text)
        # Browsers drop tabs and line breaks from addresses and take \ for / (WHATWG URL, 4.4).
        seen = re.sub(r"[\t\r\n]", "", path).replace("\\", "/")

        assert seen.startswith("/")
        assert not seen.startswith("//")
        assert urlsplit(urljoin(PLACE, seen)).netloc == "127.0.0.1:8765"


@pytest.mark.parametrize(
    "asked",
    [
        "//attacker.example",
        "https://attacker.example",
        "/\\attacker.example",
        "javascript:alert(1)",
        "/\t/x",
        "x",
    ],
)
def test_sign_in_does_not_send_elsewhere(stranger: Visitor, asked: str) -> None:
    """Neither from the address nor from the form."""
    form = stranger.page(f"/sign-in?next={quote(asked, safe='')}")
    answer = stranger.post("/sign-in", {**KEEPER, "next": asked})

    assert 'name="next" value="/today"' in form
    assert answer.headers["location"] == "/today"


@settings(
    deadline=None, max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.text(max_size=80), st.text(max_size=80), st.text(max_size=20))
def test_anything_typed_is_refused_in_words(
    stranger: Visitor, clock: Clock, name: str, password: str, code: str
) -> None:
    """No input of any kind breaks the page."""
    clock.now += timedelta(hours=1)
    answer = stranger.post("/sign-in", {"name": name, "password": password, "code": code})

    assert answer.status_code == 422
    assert '<div class="note note-refused" role="alert">' in answer.text


# --- one's own account ----------------------------------------------------------------------------


def test_change_of_password_ends_the_other_visits(
    peopled: Path, keeper: Visitor, clock: Clock
) -> None:
    """The visit in which it was changed goes on; the old password is taken no more."""
    with visitor_on(app_on(peopled, clock=clock)) as other:
        other.get("/sign-in")
        other.done("/sign-in", KEEPER)
        keeper.get("/my-account")
        said = keeper.done("/my-account/password", {"present": GOOD, "new": OTHER, "again": OTHER})
        assert "Your password is changed." in said
        assert keeper.get("/today").status_code == 200
        assert other.get("/today").status_code == 303
        other.get("/sign-in")
        other.refused("/sign-in", KEEPER)

        assert "Today" in other.done("/sign-in", {**KEEPER, "password": OTHER})


@pytest.mark.parametrize(
    ("present", "new", "again", "said"),
    [
        ("wrong", OTHER, OTHER, "present password is wrong"),
        (GOOD, OTHER, OTHER + " ", "not typed the same twice"),
        (GOOD, "too short", "too short", "at least 12"),
        (GOOD, "wenna and the sea", "wenna and the sea", "holds the name"),
        (GOOD, "passwordpassword", "passwordpassword", "guessed first"),
        (GOOD, GOOD, GOOD, "password that you have"),
    ],
)
def test_password_that_is_not_changed(
    keeper: Visitor, present: str, new: str, again: str, said: str
) -> None:
    """The reason is told, and the old one is good still."""
    fields = {"present": present, "new": new, "again": again}
    assert said in keeper.refused("/my-account/password", fields)
    keeper.done("/sign-out")

    assert "Today" in keeper.done("/sign-in", KEEPER)


def test_one_time_codes_from_start_to_end(keeper: Visitor, clock: Clock) -> None:
    """Set up with the secret as it is written, asked for at signing in, then turned off."""
    keeper.get("/my-account")
    assert "present password is wrong" in keeper.refused("/my-account/codes", {"present": "no"})
    page = keeper.post("/my-account/codes", {"present": GOOD})
    assert page.headers["location"] == "/my-account#codes"
    shown = keeper.page("/my-account")
    assert 'src="data:image/svg+xml' in shown
    found = re.search(r'<code translate="no">([A-Z2-7 ]+)</code>', shown)
    assert found is not None
    device = pyotp.TOTP(found[1].replace(" ", ""))
    assert "not the code of the moment" in keeper.refused(
        "/my-account/codes/confirm", {"code": "12345"}
    )
    on = keeper.post("/my-account/codes/confirm", {"code": device.at(clock.now)})
    recovery = re.findall(r'<li><code translate="no">([a-z2-7 ]+)</code>', on.text)
    assert len(recovery) == 10
    assert recovery[0] not in keeper.page("/my-account")

    keeper.done("/sign-out")
    keeper.refused("/sign-in", KEEPER)
    clock.now += timedelta(seconds=60)
    keeper.done("/sign-in", {**KEEPER, "code": device.at(clock.now)})
    keeper.done("/sign-out")
    keeper.done("/sign-in", {**KEEPER, "code": recovery[0]})
    assert "9 recovery codes are left" in text_of(keeper.page("/my-account"))
    keeper.post("/my-account/codes/drop", {"present": GOOD})
    keeper.done("/sign-out")

    assert "Today" in keeper.done("/sign-in", KEEPER)


def test_sign_out_everywhere_else(peopled: Path, keeper: Visitor, clock: Clock) -> None:
    """The visit in which it was asked for goes on."""
    with visitor_on(app_on(peopled, clock=clock)) as other:
        other.get("/sign-in")
        other.done("/sign-in", KEEPER)
        assert "signed out everywhere else" in keeper.done("/my-account/end-visits")

        assert other.get("/today").status_code == 303
        assert keeper.get("/today").status_code == 200


# --- who acts, where nobody need sign in ----------------------------------------------------------


def test_who_acts_is_chosen(visitor: Visitor) -> None:
    """By name or id; it stands on every page from then on."""
    page = visitor.page("/who")
    assert "Idris Pellow" in page
    visitor.done("/who", {"person": "idris pellow"})

    assert '<a href="/who">Idris Pellow</a>' in visitor.page("/today")


@pytest.mark.parametrize("person", ["Nobody", "", "<script>"])
def test_unknown_person_does_not_act(visitor: Visitor, person: str) -> None:
    """The one who was chosen before stays."""
    assert "Nobody in use has this name" in visitor.refused("/who", {"person": person})
    assert '<a href="/who">Wenna Harkle</a>' in visitor.page("/today")


def test_nobody_signs_in_where_there_are_no_accounts(visitor: Visitor) -> None:
    """The page leads on."""
    assert visitor.get("/sign-in").headers["location"] == "/today"
    assert visitor.get("/my-account").headers["location"] == "/who"
    assert "nobody need sign in" in visitor.refused("/sign-in", KEEPER)


# --- accounts, for those who keep the workspace ---------------------------------------------------


def test_first_account_closes_the_workspace(folder: Path, visitor: Visitor, cheap: None) -> None:
    """Whoever made it signs in with it; a mistake before leaves no closed door behind."""
    assert cheap is None
    visitor.page("/accounts/new")
    person = {"person": "Wenna Harkle"}
    assert "at least 12" in visitor.refused(
        "/accounts/new", {**person, "password": "short", "again": "short"}
    )
    assert "same twice" in visitor.refused(
        "/accounts/new", {**person, "password": GOOD, "again": OTHER}
    )
    assert not (folder / FILE).exists()
    assert visitor.get("/today").status_code == 200
    said = visitor.done("/accounts/new", {**person, "password": GOOD, "again": GOOD})

    assert "Sign in" in said
    assert visitor.get("/today").status_code == 303
    assert "Today" in visitor.done("/sign-in", KEEPER)


def test_new_person_chooses_a_password_first(folder: Path, keeper: Visitor, clock: Clock) -> None:
    """What was made for them is shown once, and opens nothing but the change of it."""
    person_job.add(
        Session(now=NOW, where=Where(workspace=folder), by="Wenna Harkle"),
        "Senna Vole",
        person_job.PersonFacts(),
    )
    answer = keeper.post("/accounts/new", {"person": "Senna Vole", "role": "look"})
    found = re.search(r'<code translate="no">([a-z0-9-]{19})</code>', answer.text)
    assert found is not None
    assert found[1] not in keeper.page("/accounts")
    with visitor_on(app_on(folder, clock=clock)) as new:
        new.get("/sign-in")
        said = new.done("/sign-in", {"name": "Senna Vole", "password": found[1]})
        assert "Choose a password of your own first" in said
        assert new.get("/today").headers["location"] == "/my-account"
        new.done("/my-account/password", {"present": found[1], "new": OTHER, "again": OTHER})

        assert new.get("/today").status_code == 200


@pytest.mark.parametrize(
    "path", ["/accounts", "/accounts/new", "/accounts/tokens/new", "/accounts/x"]
)
def test_accounts_are_for_keepers(tester: Visitor, path: str) -> None:
    """Others are told whom to ask, for looking and for changing."""
    assert "may not do this" in text_of(tester.page(path, status=403))
    assert tester.post(path).status_code in {403, 405}


def test_last_keeper_stays(keeper: Visitor, peopled: Path) -> None:
    """On the page too, neither closed nor lowered."""
    with open_accounts(peopled) as accounts:
        place = f"/accounts/{accounts.get('Wenna Harkle').id}"
    lowered = keeper.refused(place, {"role": "look", "name": "Wenna Harkle"})
    closed = keeper.refused(f"{place}/close")

    assert "last account that keeps" in lowered
    assert "last account that keeps" in closed
    assert keeper.get("/accounts").status_code == 200


def test_role_is_lowered_at_once(keeper: Visitor, tester: Visitor, peopled: Path) -> None:
    """In the middle of a visit."""
    with open_accounts(peopled) as accounts:
        place = f"/accounts/{accounts.get('Idris Pellow').id}"
        accounts.change("Idris Pellow", role="keep")
        assert tester.get("/accounts").status_code == 200
        keeper.done(place, {"role": "look", "name": "Idris Pellow"})

    assert tester.get("/accounts").status_code == 403


def test_reset_and_close_end_visits(keeper: Visitor, tester: Visitor, peopled: Path) -> None:
    """Somebody whose tablet was stolen is out at once."""
    with open_accounts(peopled) as accounts:
        place = f"/accounts/{accounts.get('Idris Pellow').id}"
    keeper.get(place)
    shown = keeper.post(f"{place}/reset")
    assert "Copy this now" in shown.text
    assert tester.get("/today").status_code == 303
    keeper.get(place)

    assert "is closed" in keeper.done(f"{place}/close")
    assert "Idris Pellow" not in text_of(keeper.page("/accounts"))


def test_token_is_shown_once_and_revoked(keeper: Visitor, peopled: Path) -> None:
    """Its secret is on no page afterwards."""
    fields = {"account": "Wenna Harkle", "label": "hall <1>", "scope": "both", "days": "30"}
    assert "from 1 to 732" in keeper.refused("/accounts/tokens/new", {**fields, "days": "9999"})
    shown = keeper.post("/accounts/tokens/new", fields)
    found = re.search(r'<code translate="no">(lungwort_[\w-]+)</code>', shown.text)
    assert found is not None
    listed = keeper.page("/accounts")
    assert found[1] not in listed
    assert "hall &lt;1&gt;" in listed
    with open_accounts(peopled) as accounts:
        token = accounts.token(found[1], now=NOW)
        assert token is not None
        keeper.done(f"/accounts/tokens/{token.id}/revoke")

        assert accounts.token(found[1], now=NOW) is None


def test_script_in_a_name_stays_text(keeper: Visitor, peopled: Path) -> None:
    """On the list, on its page and as who is signed in."""
    name = '<script>alert("x")</script>'
    with open_accounts(peopled) as accounts:
        account = accounts.change("Idris Pellow", new_name=name)
    for path in ("/accounts", f"/accounts/{account.id}", "/accounts/tokens/new"):
        page = keeper.page(path)
        assert name not in page
        assert "&lt;script&gt;" in page


def test_alive_tells_the_mark_alone(keeper: Visitor) -> None:
    """A second start finds the first by it; it tells nothing of the record."""
    keeper.client.app.state.mark = "m" * 43  # type: ignore[attr-defined]

    assert keeper.get("/alive").text == "m" * 43
