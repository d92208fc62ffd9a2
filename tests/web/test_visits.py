"""Visits: what is remembered of a browser, for how long, and for whom."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from tests.web.kit import NOW, Clock

from lungwort.accounts import passwords
from lungwort.accounts.model import IDLE, LONGEST
from lungwort.accounts.store import FILE, open_accounts
from lungwort.jobs import account as job
from lungwort.jobs.catalogue import person as person_job
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.opening import Where
from lungwort.web import visits as web_visits
from lungwort.web.visits import Visits, csrf_of

GOOD = "three damp gulls argue"
OTHER = "seven brass kettles sing"


@pytest.fixture
def cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hash with the least that Argon2 allows."""
    hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passwords, "hasher", lambda: hasher)


@pytest.fixture
def peopled(folder: Path, cheap: None) -> Path:
    """Give a workspace with two accounts."""
    assert cheap is None
    where = Where(workspace=folder)
    job.add(where, "Wenna Harkle", role="keep", password=GOOD, now=NOW)
    job.add(where, "Idris Pellow", role="test", password=OTHER, now=NOW)
    return folder


def _visits(folder: Path | None) -> Visits:
    return Visits(lambda: folder, clock=Clock())


def test_visit_is_found_by_its_cookie() -> None:
    """And what was kept on it is still there."""
    visits = _visits(None)
    visit = visits.new(NOW)
    visit.person = "Wenna Harkle"
    visits.save(visit)
    found = visits.get(visit.token, NOW + timedelta(minutes=5))

    assert found is visit
    assert found.person == "Wenna Harkle"


@pytest.mark.parametrize(
    "cookie", [None, "", "x", "x" * 43, "é" * 43, "a" * 5000, "../../etc/passwd"]
)
def test_made_up_cookie_is_nobodys(cookie: str | None, tmp_path: Path) -> None:
    """No visit is taken over from what a browser brings along."""
    assert _visits(tmp_path).get(cookie, NOW) is None


def test_visit_without_account_ends_too() -> None:
    """After idle hours, and after seven days whatever happens."""
    visits = _visits(None)
    idle, busy = visits.new(NOW), visits.new(NOW)
    assert visits.get(idle.token, NOW + IDLE + timedelta(seconds=1)) is None
    at = NOW
    while at + IDLE <= NOW + LONGEST:
        at += IDLE
        assert visits.get(busy.token, at) is busy
    assert visits.get(busy.token, NOW + LONGEST + timedelta(seconds=1)) is None


def test_memory_has_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Browsers that keep no cookies do not fill it; the oldest is forgotten first."""
    monkeypatch.setattr(web_visits, "MOST_VISITS", 3)
    visits = _visits(None)
    made = [visits.new(NOW) for _ in range(5)]

    assert [visits.get(one.token, NOW) is not None for one in made] == [
        False,
        False,
        True,
        True,
        True,
    ]


def test_form_token_does_not_tell_the_cookie() -> None:
    """It follows from the secret, and differs from visit to visit."""
    one, other = (_visits(None).new(NOW) for _ in range(2))

    assert one.csrf == csrf_of(one.token)
    assert one.csrf != other.csrf
    assert one.token not in one.csrf


def test_signing_in_gives_a_new_secret(peopled: Path) -> None:
    """A secret that somebody planted before is worth nothing after (session fixation)."""
    visits = _visits(peopled)
    visit = visits.new(NOW)
    before = visit.token
    with open_accounts(peopled) as accounts:
        visits.enter(visit, accounts.get("Wenna Harkle"), NOW)

    assert visit.token != before
    assert visits.get(before, NOW) is None
    assert visits.get(visit.token, NOW) is visit


def test_visit_of_an_account_outlives_the_server(peopled: Path) -> None:
    """With the same form token, so that an open form can still be sent."""
    visit = _visits(peopled).new(NOW)
    with open_accounts(peopled) as accounts:
        account = accounts.get("Wenna Harkle")
    first = _visits(peopled)
    first.enter(visit, account, NOW)
    found = _visits(peopled).get(visit.token, NOW)

    assert found is not None
    assert found.account == account
    assert found.csrf == visit.csrf


def test_signing_out_ends_it_for_good(peopled: Path) -> None:
    """Its secret is worth nothing, for this server and for another."""
    visits = _visits(peopled)
    visit = visits.new(NOW)
    with open_accounts(peopled) as accounts:
        visits.enter(visit, accounts.get("Wenna Harkle"), NOW)
    token = visit.token
    visit.notes.append({"said": "something of hers"})
    visits.leave(visit, NOW)

    assert visit.account is None
    assert visit.notes == []
    assert visits.get(token, NOW) is None
    assert _visits(peopled).get(token, NOW) is None


def test_visit_ends_when_the_account_is_closed(peopled: Path) -> None:
    """At the next request."""
    visits = _visits(peopled)
    visit = visits.new(NOW)
    with open_accounts(peopled) as accounts:
        visits.enter(visit, accounts.get("Idris Pellow"), NOW)
        assert visits.get(visit.token, NOW) is visit
        accounts.close_account("Idris Pellow")

    assert visits.get(visit.token, NOW) is None


def test_visit_ends_when_the_person_leaves(peopled: Path) -> None:
    """Within a minute, also in the middle of a visit; and a machine in their name stops too."""
    visits = _visits(peopled)
    visit = visits.new(NOW)
    with open_accounts(peopled) as accounts:
        visits.enter(visit, accounts.get("Idris Pellow"), NOW)
        token = accounts.make_token("Idris Pellow", ["read"], "hall", NOW, NOW + timedelta(days=9))
    assert visits.get(visit.token, NOW) is visit
    assert visits.machine(token, NOW) is not None
    person_job.change(
        Session(now=NOW, where=Where(workspace=peopled), by="Wenna Harkle"),
        "Idris Pellow",
        person_job.PersonFacts(in_use=False),
        "has left",
    )
    later = NOW + timedelta(minutes=1)

    assert visits.get(visit.token, later) is None
    assert visits.machine(token, later) is None


@pytest.mark.parametrize(
    ("scopes", "role"), [(("read",), "look"), (("import",), "test"), (("read", "import"), "test")]
)
def test_machine_may_no_more_than_its_scopes(
    peopled: Path, scopes: tuple[str, ...], role: str
) -> None:
    """Though the account in whose name it acts keeps the workspace."""
    with open_accounts(peopled) as accounts:
        token = accounts.make_token("Wenna Harkle", scopes, "hall", NOW, NOW + timedelta(days=9))
    found = _visits(peopled).machine(token, NOW)

    assert found is not None
    assert found.account is not None
    assert found.machine is not None
    assert found.account.role == role
    assert found.machine.scopes == set(scopes)


def test_machine_may_no_more_than_its_account(peopled: Path) -> None:
    """A token of somebody who only looks brings nothing in."""
    with open_accounts(peopled) as accounts:
        accounts.change("Idris Pellow", role="look")
        token = accounts.make_token("Idris Pellow", ["import"], "x", NOW, NOW + timedelta(days=9))
    found = _visits(peopled).machine(token, NOW)

    assert found is not None
    assert found.account is not None
    assert found.account.role == "look"


def test_language_goes_with_the_account(peopled: Path) -> None:
    """It is there on another device."""
    visits = _visits(peopled)
    one, other = (visits.new(NOW) for _ in range(2))
    with open_accounts(peopled) as accounts:
        for visit in (one, other):
            visits.enter(visit, accounts.get("Wenna Harkle"), NOW)
    one.language = "de"
    visits.save(one)
    found = visits.get(other.token, NOW)

    assert found is not None
    assert found.language == "de"


def test_server_for_others_is_never_open(peopled: Path) -> None:
    """Though the file of the accounts is taken away under it, everybody must sign in."""
    visits = _visits(peopled)
    visits.always = True
    (peopled / FILE).unlink()

    assert visits.needs_sign_in()
    visits.always = False
    assert not visits.needs_sign_in()
