"""A certificate that a second person approves, with accounts and on one's own computer."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from attrs import evolve
from fastapi import FastAPI
from tests.web.kit import NOW, Clock, Visitor, app_on, text_of, visitor_on

from lungwort.accounts import passwords
from lungwort.jobs import account
from lungwort.jobs.opening import Where, opened
from lungwort.register.model import Approval, Certificate, Outlet, Person, Site

WENNA, IDRIS = "Wenna Harkle", "Idris Pellow"
PASSWORD = "three damp gulls argue"  # noqa: S105 - invented for this test


@pytest.fixture
def double(folder: Path) -> Path:
    """Let the site want a second signature."""
    with (
        opened(Where(workspace=folder)) as workspace,
        workspace.register.change(who=WENNA, now=NOW) as change,
    ):
        (site,) = change.all(Site)
        change.replace(site, evolve(site, second_signature=True), "Two pairs of eyes.")
    return folder


@pytest.fixture
def hall(double: Path) -> str:
    """Give the outlet of the hall."""
    with opened(Where(workspace=double), read_only=True) as workspace:
        return workspace.register.get(Outlet, "hall-1").id


@pytest.fixture
def alone(double: Path, clock: Clock) -> Iterator[Visitor]:
    """Give a visitor on their own computer."""
    with visitor_on(app_on(double, clock=clock)) as one:
        one.post("/who", {"person": WENNA})
        yield one


def certificates(folder: Path) -> list[Certificate]:
    """List the certificates on record."""
    with opened(Where(workspace=folder), read_only=True) as workspace:
        return workspace.register.all(Certificate)


def person_id(folder: Path, name: str) -> str:
    """Find a person's id."""
    with opened(Where(workspace=folder), read_only=True) as workspace:
        return workspace.register.get(Person, name).id


def test_on_ones_own_computer_the_second_person_is_chosen(
    alone: Visitor, hall: str, double: Path
) -> None:
    """With the caution that this rests on one's word; without a choice nothing is recorded."""
    told = text_of(alone.page(f"/judge/{hall}"))
    assert "a second person approves each certificate" in told
    assert "rests on the word of whoever sits here" in told
    before = len(certificates(double))
    assert "a second person signs each certificate" in alone.refused(f"/judge/{hall}", {})
    assert len(certificates(double)) == before
    told = alone.done(f"/judge/{hall}", {"approved_by": person_id(double, IDRIS)})
    assert "was issued" in told
    newest = max(certificates(double), key=lambda one: one.seq)
    assert newest.approved_by_id == person_id(double, IDRIS)


def test_asked_now_and_approved_later(alone: Visitor, hall: str, double: Path) -> None:
    """The list says who asked and how old the evidence is; the certificate names both."""
    before = len(certificates(double))
    told = alone.done(f"/judge/{hall}", {"ask": "yes"})
    assert "A second person is asked to approve the certificate" in told
    assert len(certificates(double)) == before
    html = alone.page("/approvals")
    told = text_of(html)
    assert "Asked by Wenna Harkle" in told
    assert "days old" in told
    found = re.search(r'href="(/approvals/approval-[^"]+)"', html)
    assert found
    where = found[1]
    told = text_of(alone.page(where))
    assert "Carbon monoxide" in told
    idris = person_id(double, IDRIS)
    assert "Choose who decides" in alone.refused(f"{where}/approve", {"looked": "yes"})
    assert "looked at the evidence" in alone.refused(f"{where}/approve", {"second": idris})
    refused = alone.refused(
        f"{where}/approve", {"looked": "yes", "second": person_id(double, WENNA)}
    )
    assert "cannot be the second person as well" in refused
    assert len(certificates(double)) == before
    told = alone.done(f"{where}/approve", {"looked": "yes", "second": idris})
    assert "was approved and issued" in told
    newest = max(certificates(double), key=lambda one: one.seq)
    assert newest.issued_by_id == person_id(double, WENNA)
    assert newest.approved_by_id == idris
    assert f"Approved by {IDRIS}" in told
    assert "Nothing waits." in text_of(alone.page("/approvals"))
    assert "decided already" in alone.refused(
        f"{where}/approve", {"looked": "yes", "second": idris}
    )


def test_a_refusal_has_its_reason(alone: Visitor, hall: str, double: Path) -> None:
    """It is on the list of what was decided, and can be asked for anew."""
    alone.done(f"/judge/{hall}", {"ask": "yes"})
    found = re.search(r'href="(/approvals/approval-[^"]+)"', alone.page("/approvals"))
    assert found
    idris = person_id(double, IDRIS)
    assert "Say why" in alone.refused(f"{found[1]}/refuse", {"second": idris, "reason": ""})
    told = alone.done(f"{found[1]}/refuse", {"second": idris, "reason": "The hose was new."})
    assert "Refused by Idris Pellow. The hose was new." in told
    assert "The hose was new." in text_of(alone.page("/approvals"))


def test_a_verdict_nobody_asked_for_is_listed(alone: Visitor, hall: str) -> None:
    """With a button to ask."""
    alone.done(f"/judge/{hall}", {"only": "yes"})
    html = alone.page("/approvals")
    assert "nobody was asked yet" in text_of(html)
    found = re.search(r'action="(/approvals/ask/verdict-[^"]+)"', html)
    assert found
    assert "A second person is asked" in alone.done(found[1])


def test_a_withdrawn_supply_is_told_before_the_decision(
    alone: Visitor, hall: str, double: Path
) -> None:
    """There is no button to approve any more, and pressing it all the same is refused."""
    from lungwort.jobs.catalogue.shape import Session
    from lungwort.jobs.withdraw import withdraw

    alone.done(f"/judge/{hall}", {"ask": "yes"})
    withdraw(
        Session(now=NOW, where=Where(workspace=double), by=IDRIS), "hall-compressor", "A smell."
    )
    found = re.search(r'href="(/approvals/approval-[^"]+)"', alone.page("/approvals"))
    assert found
    told = text_of(alone.page(found[1]))
    assert "This certificate cannot be issued any more" in told
    assert "is withdrawn" in told
    assert "Approve: issue the certificate" not in told
    assert "is withdrawn" in alone.refused(
        f"{found[1]}/approve", {"looked": "yes", "second": person_id(double, IDRIS)}
    )


@pytest.fixture
def app(double: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> FastAPI:
    """Give the app with two accounts; passwords are hashed with the least that Argon2 allows."""
    hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passwords, "hasher", lambda: hasher)
    for name, role in ((WENNA, "keep"), (IDRIS, "approve")):
        account.add(Where(workspace=double), name, role=role, password=PASSWORD, now=NOW)
    return app_on(double, clock=clock)


def test_with_accounts_the_second_person_signs_in(app: FastAPI, hall: str, double: Path) -> None:
    """Nobody approves for somebody else, whatever form is sent; nor what they asked for."""
    before = len(certificates(double))
    with visitor_on(app) as wenna, visitor_on(app) as idris:
        for one, name in ((wenna, WENNA), (idris, IDRIS)):
            one.get("/sign-in")
            one.done("/sign-in", {"name": name, "password": PASSWORD})
        assert 'name="approved_by"' not in wenna.page(f"/judge/{hall}")
        told = wenna.refused(f"/judge/{hall}", {"approved_by": person_id(double, IDRIS)})
        assert "nobody does that for them" in told
        told = wenna.done(f"/judge/{hall}", {})
        assert "A second person is asked" in told
        found = re.search(r'href="(/approvals/approval-[^"]+)"', wenna.page("/approvals"))
        assert found
        assert "Somebody else decides" in text_of(wenna.page(found[1]))
        forged = {"looked": "yes", "second": person_id(double, IDRIS)}
        assert "cannot be the second person as well" in wenna.refused(f"{found[1]}/approve", forged)
        assert len(certificates(double)) == before
        told = idris.done(f"{found[1]}/approve", {"looked": "yes"})
        assert f"Approved by {IDRIS}" in told
    newest = max(certificates(double), key=lambda one: one.seq)
    assert newest.issued_by_id == person_id(double, WENNA)
    assert newest.approved_by_id == person_id(double, IDRIS)
    with opened(Where(workspace=double), read_only=True) as workspace:
        (entry,) = workspace.register.entries(newest.seq, newest.seq)
        assert entry.who == IDRIS
        assert [one.state for one in workspace.register.all(Approval)] == ["approved"]
