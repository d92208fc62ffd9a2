"""Accounts: who is there, who keeps the workspace, and what lies in the file."""

from __future__ import annotations

import os
import sqlite3
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from lungwort.accounts.model import IDLE, LONGEST, Account
from lungwort.accounts.store import FILE, Accounts, open_accounts
from lungwort.errors import InputError, UnknownRecordError, WorkspaceError

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
GOOD = "three damp gulls argue"
OTHER = "seven brass kettles sing"


def _keeper(accounts: Accounts, name: str = "Wenna Harkle") -> Account:
    return accounts.add("p1", name, "keep", GOOD, NOW)


def test_accounts_are_added_and_listed_by_name(accounts: Accounts) -> None:
    """What was added is there; closed ones come last."""
    assert not accounts.any()
    _keeper(accounts)
    accounts.add("p2", "Idris Pellow", "test", OTHER, NOW)
    accounts.close_account("idris pellow")

    assert accounts.any()
    assert [(one.name, one.role, one.in_use) for one in accounts.list()] == [
        ("Wenna Harkle", "keep", True),
        ("Idris Pellow", "test", False),
    ]


def test_first_account_keeps_the_workspace(accounts: Accounts) -> None:
    """Otherwise nobody could add others."""
    with pytest.raises(InputError, match="first account must keep"):
        accounts.add("p1", "Idris Pellow", "test", GOOD, NOW)

    assert not accounts.any()


def test_two_accounts_of_one_name_are_refused(accounts: Accounts) -> None:
    """Case and blanks make no other name; the name of a closed account is free again."""
    _keeper(accounts)
    accounts.add("p2", "Idris Pellow", "test", OTHER, NOW)
    with pytest.raises(InputError, match="called 'idris pellow' already"):
        accounts.add("p3", "idris  pellow", "look", OTHER, NOW)
    with pytest.raises(InputError, match="called 'WENNA harkle' already"):
        accounts.change("Idris Pellow", new_name="WENNA harkle")
    accounts.close_account("Idris Pellow")

    assert accounts.add("p3", "idris pellow", "look", OTHER, NOW).in_use


def test_unknown_role_is_refused(accounts: Accounts) -> None:
    """The message names the roles."""
    with pytest.raises(InputError, match="look, test, approve, keep"):
        accounts.add("p1", "Wenna Harkle", "root", GOOD, NOW)


def test_last_keeper_cannot_be_closed_or_lowered(accounts: Accounts) -> None:
    """With another one it can."""
    _keeper(accounts)
    accounts.add("p2", "Idris Pellow", "approve", OTHER, NOW)
    with pytest.raises(InputError, match="last account that keeps"):
        accounts.close_account("Wenna Harkle")
    with pytest.raises(InputError, match="last account that keeps"):
        accounts.change("Wenna Harkle", role="approve")
    assert accounts.get("Wenna Harkle").role == "keep"
    accounts.change("Idris Pellow", role="keep")

    assert not accounts.close_account("Wenna Harkle").in_use
    with pytest.raises(InputError, match="last account that keeps"):
        accounts.change("Idris Pellow", role="look")


def test_unknown_account(accounts: Accounts) -> None:
    """A name that is not there, or is closed, is told so."""
    _keeper(accounts)
    with pytest.raises(UnknownRecordError, match="called 'Nobody'"):
        accounts.get("Nobody")
    with pytest.raises(UnknownRecordError, match="no such account"):
        accounts.by_id("nothing")


def test_password_holding_the_name_is_refused(accounts: Accounts) -> None:
    """Of the account and of the person."""
    with pytest.raises(InputError, match="holds the name"):
        accounts.add("p1", "foreman", "keep", "foreman of the slip", NOW)
    with pytest.raises(InputError, match="holds the name"):
        accounts.add("p1", "foreman", "keep", "wenna of the slip", NOW, person="Wenna Harkle")


@pytest.mark.skipif(os.name != "posix", reason="rights of files as POSIX has them")
def test_file_is_readable_by_its_owner_alone(accounts: Accounts) -> None:
    """Mode 0600 from the beginning."""
    assert stat.S_IMODE(accounts.path.stat().st_mode) == 0o600


def test_no_secret_lies_in_the_file(accounts: Accounts) -> None:
    """Neither a password, nor a visit's, a machine's or a recovery code's secret."""
    account = _keeper(accounts)
    visit = accounts.begin(account, now=NOW)
    token = accounts.make_token("Wenna Harkle", ["read"], "logger", NOW, NOW + timedelta(days=1))
    secret = accounts.totp_begin(account.id)
    import pyotp

    recovery = accounts.totp_confirm(account.id, pyotp.TOTP(secret).at(NOW), now=NOW)

    kept = accounts.path.read_bytes()
    assert b"$argon2id$" in kept
    for one in (GOOD, visit, token, *recovery):
        assert one.encode() not in kept


def test_file_of_a_newer_form_is_refused(tmp_path: Path) -> None:
    """It is left as it is."""
    with sqlite3.connect(tmp_path / FILE) as rows:
        rows.execute("PRAGMA user_version = 99")
    rows.close()
    before = (tmp_path / FILE).read_bytes()
    with pytest.raises(WorkspaceError, match="newer lungwort"):
        open_accounts(tmp_path)

    assert (tmp_path / FILE).read_bytes() == before


def test_broken_file_is_told(tmp_path: Path) -> None:
    """No traceback, and no file in its place."""
    (tmp_path / FILE).write_bytes(
        b"this is no database, but it is long enough to look like one" * 9
    )
    with pytest.raises(WorkspaceError, match="cannot be used: file is not a database"):
        open_accounts(tmp_path)


def test_missing_file_is_not_made_unless_asked(tmp_path: Path) -> None:
    """Opening to look makes nothing."""
    with pytest.raises(WorkspaceError, match="no accounts"):
        open_accounts(tmp_path, create=False)

    assert list(tmp_path.iterdir()) == []


# --- visits -------------------------------------------------------------------------------------


def test_visit_ends_when_idle(accounts: Accounts) -> None:
    """Eight hours without a request, and not a second less."""
    secret = accounts.begin(_keeper(accounts), now=NOW)

    assert accounts.visit(secret, now=NOW + IDLE) is not None
    assert accounts.visit(secret, now=NOW + IDLE + IDLE) is not None
    assert accounts.visit(secret, now=NOW + 3 * IDLE + timedelta(seconds=1)) is None


def test_visit_ends_after_seven_days_whatever_happens(accounts: Accounts) -> None:
    """Though somebody works without a pause."""
    secret = accounts.begin(_keeper(accounts), now=NOW)
    at = NOW
    while at + timedelta(hours=7) <= NOW + LONGEST:
        at += timedelta(hours=7)
        assert accounts.visit(secret, now=at) is not None

    assert accounts.visit(secret, now=NOW + LONGEST + timedelta(seconds=1)) is None


def test_visit_outlives_the_server(accounts: Accounts) -> None:
    """Another process finds it by the same secret."""
    secret = accounts.begin(_keeper(accounts), now=NOW)
    with open_accounts(accounts.path.parent, create=False) as again:
        found = again.visit(secret, now=NOW)

    assert found is not None
    assert found.name == "Wenna Harkle"


def test_unknown_or_ended_visit_is_nobodys(accounts: Accounts) -> None:
    """A made-up secret, and one that was signed out."""
    secret = accounts.begin(_keeper(accounts), now=NOW)
    accounts.end(secret)

    assert accounts.visit(secret, now=NOW) is None
    assert accounts.visit("x" * 43, now=NOW) is None


def test_change_of_password_ends_other_visits(accounts: Accounts) -> None:
    """The visit in which it was changed goes on."""
    account = _keeper(accounts)
    here, there = (accounts.begin(account, now=NOW) for _ in range(2))
    accounts.set_password(account.id, OTHER, but=here)

    assert accounts.visit(here, now=NOW) is not None
    assert accounts.visit(there, now=NOW) is None


def test_the_same_password_is_no_new_one(accounts: Accounts) -> None:
    """Somebody who must change it cannot keep it."""
    account = _keeper(accounts)
    with pytest.raises(InputError, match="password that you have"):
        accounts.set_password(account.id, GOOD)


def test_sign_out_everywhere(accounts: Accounts) -> None:
    """All visits but this one end; those of others do not."""
    account = _keeper(accounts)
    other = accounts.add("p2", "Idris Pellow", "test", OTHER, NOW)
    here, there = (accounts.begin(account, now=NOW, peer="192.0.2.7") for _ in range(2))
    theirs = accounts.begin(other, now=NOW)
    assert [one.peer for one in accounts.visits(account.id, now=NOW)] == ["192.0.2.7"] * 2
    accounts.end_all(account.id, but=here)

    assert accounts.visit(here, now=NOW) is not None
    assert accounts.visit(there, now=NOW) is None
    assert accounts.visit(theirs, now=NOW) is not None


def test_closing_ends_visits_and_tokens(accounts: Accounts) -> None:
    """Nothing goes on under a closed account."""
    _keeper(accounts)
    other = accounts.add("p2", "Idris Pellow", "test", OTHER, NOW)
    visit = accounts.begin(other, now=NOW)
    token = accounts.make_token(other.name, ["read"], "logger", NOW, NOW + timedelta(days=9))
    accounts.close_account(other.name)

    assert accounts.visit(visit, now=NOW) is None
    assert accounts.token(token, now=NOW) is None
    assert accounts.tokens() == ()


def test_role_changes_reach_visits_at_once(accounts: Accounts) -> None:
    """A visit has the role that the account has now."""
    _keeper(accounts)
    other = accounts.add("p2", "Idris Pellow", "keep", OTHER, NOW)
    visit = accounts.begin(other, now=NOW)
    accounts.change(other.name, role="look")
    found = accounts.visit(visit, now=NOW)

    assert found is not None
    assert found.role == "look"


# --- tokens -------------------------------------------------------------------------------------


def test_token_is_taken_until_it_ends(accounts: Accounts) -> None:
    """It has its scopes, remembers when it was used, and ends at its time."""
    _keeper(accounts)
    ends = NOW + timedelta(days=30)
    secret = accounts.make_token("Wenna Harkle", ["import", "read"], " hall  1 ", NOW, ends)
    used = NOW + timedelta(hours=1)
    found = accounts.token(secret, now=used)

    assert found is not None
    assert found.label == "hall 1"
    assert found.scopes == {"import", "read"}
    assert accounts.tokens()[0].last_used == used
    assert accounts.token(secret, now=ends) is None
    assert accounts.token(secret + "x", now=NOW) is None


def test_revoked_token_is_taken_no_more(accounts: Accounts) -> None:
    """And revoking it twice is told."""
    _keeper(accounts)
    secret = accounts.make_token("Wenna Harkle", ["read"], "hall", NOW, NOW + timedelta(days=30))
    token = accounts.tokens()[0]
    accounts.revoke(token.id)

    assert accounts.token(secret, now=NOW) is None
    with pytest.raises(UnknownRecordError, match="no token"):
        accounts.revoke(token.id)


@pytest.mark.parametrize(
    ("scopes", "label", "days", "said"),
    [
        (["write"], "hall", 30, "read, import"),
        ([], "hall", 30, "read, import"),
        (["read"], "  ", 30, "Say with --label"),
        (["read"], "hall", 0, "two years at most"),
        (["read"], "hall", 733, "two years at most"),
    ],
)
def test_token_that_cannot_be_made(
    accounts: Accounts, scopes: list[str], label: str, days: int, said: str
) -> None:
    """Each mistake is told, and no token is made."""
    _keeper(accounts)
    with pytest.raises(InputError, match=said):
        accounts.make_token("Wenna Harkle", scopes, label, NOW, NOW + timedelta(days=days))

    assert accounts.tokens() == ()
