"""Signing in: what is said, what is computed, and how often it may be tried."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta
from typing import Any

import pyotp
import pytest
from argon2 import PasswordHasher
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.accounts import passwords, throttle
from lungwort.accounts.model import Account, SignInError
from lungwort.accounts.store import Accounts, open_accounts
from lungwort.errors import InputError

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
GOOD = "three damp gulls argue"
OTHER = "seven brass kettles sing"
PEER = "192.0.2.7"
WRONG = "name, the password or the one-time code is wrong"


def _keeper(accounts: Accounts) -> Account:
    return accounts.add("p1", "Wenna Harkle", "keep", GOOD, NOW)


def _try(accounts: Accounts, password: str = OTHER, *, at: int = 0, **more: Any) -> Account:
    more.setdefault("peer", PEER)
    name = more.pop("name", "Wenna Harkle")
    code = more.pop("code", None)
    return accounts.sign_in(name, password, code, now=NOW + timedelta(seconds=at), **more)


def test_right_password_lets_in(accounts: Accounts) -> None:
    """The name is taken without regard to case."""
    _keeper(accounts)

    assert _try(accounts, GOOD, name=" wenna harkle").name == "Wenna Harkle"


@pytest.mark.parametrize(
    "case", ["unknown name", "wrong password", "closed", "left", "wrong code", "no code"]
)
def test_whatever_is_wrong_the_answer_is_the_same(
    accounts: Accounts, monkeypatch: pytest.MonkeyPatch, case: str
) -> None:
    """The message is the same, and one password was held against one hash of today's cost."""
    account = _keeper(accounts)
    other = accounts.add("p2", "Idris Pellow", "test", OTHER, NOW)
    name, password, code, may = "Wenna Harkle", GOOD, None, True
    if case == "unknown name":
        name = "Nobody"
    elif case == "wrong password":
        password = OTHER
    elif case == "closed":
        name, password = "Idris Pellow", OTHER
        accounts.close_account(other.id)
    elif case == "left":
        may = False
    else:
        secret = accounts.totp_begin(account.id)
        accounts.totp_confirm(account.id, pyotp.TOTP(secret).at(NOW), now=NOW)
        code = "000000" if case == "wrong code" else None
    held: list[str] = []
    real = passwords.matches

    def matches(kept: str, typed: str) -> bool:
        held.append(kept)
        return real(kept, typed)

    monkeypatch.setattr(passwords, "matches", matches)
    with pytest.raises(SignInError, match=WRONG):
        accounts.sign_in(name, password, code, now=NOW, peer=PEER, may=lambda _: may)

    assert len(held) == 1
    assert not passwords.is_outdated(held[0])


def test_hash_is_made_anew_when_parameters_change(
    accounts: Accounts, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the next sign-in with the right password, not with a wrong one."""
    _keeper(accounts)
    stronger = PasswordHasher(time_cost=2, memory_cost=16, parallelism=1)
    monkeypatch.setattr(passwords, "hasher", lambda: stronger)

    def kept() -> str:
        with accounts._reading() as rows:
            return str(rows.exec_driver_sql("SELECT password FROM account").scalar_one())

    before = kept()
    with pytest.raises(SignInError, match=WRONG):
        _try(accounts)
    assert kept() == before
    _try(accounts, GOOD)

    assert "t=2" in kept()
    assert _try(accounts, GOOD).name == "Wenna Harkle"


# --- how often it may be tried ------------------------------------------------------------------


def test_tries_with_one_name_are_slowed_down(accounts: Accounts) -> None:
    """Five are free; then each failure doubles the wait, and the right password waits too."""
    _keeper(accounts)
    for number in range(throttle.FREE_FOR_NAME):
        with pytest.raises(SignInError, match=WRONG):
            _try(accounts, peer=f"192.0.2.{number}")
    with pytest.raises(SignInError, match="Wait 2 seconds"):
        _try(accounts, GOOD, at=0)
    with pytest.raises(SignInError, match=WRONG):
        _try(accounts, at=2)
    with pytest.raises(SignInError, match="Wait 1 second,"):
        _try(accounts, GOOD, at=5)

    assert _try(accounts, GOOD, at=6).name == "Wenna Harkle"


def test_names_that_nobody_has_are_slowed_down_alike(accounts: Accounts) -> None:
    """The wait does not tell which names exist."""
    _keeper(accounts)
    for number in range(throttle.FREE_FOR_NAME):
        with pytest.raises(SignInError, match=WRONG):
            _try(accounts, name="Nobody", peer=f"192.0.2.{number}")
    with pytest.raises(SignInError, match="Wait 2 seconds"):
        _try(accounts, name="nobody ")


def test_tries_from_one_address_are_slowed_down(accounts: Accounts) -> None:
    """Twenty are free, whatever names are tried; another address is not held up."""
    _keeper(accounts)
    for number in range(throttle.FREE_FOR_PEER):
        with pytest.raises(SignInError, match=WRONG):
            _try(accounts, name=f"name {number}")
    with pytest.raises(SignInError, match="Wait 2 seconds"):
        _try(accounts, GOOD)

    assert _try(accounts, GOOD, peer="198.51.100.1").name == "Wenna Harkle"


def test_own_account_does_not_wash_an_address_clean(accounts: Accounts) -> None:
    """Somebody who signs in now and then cannot guess at others' passwords in between."""
    _keeper(accounts)
    for number in range(throttle.FREE_FOR_PEER):
        with pytest.raises(SignInError, match=WRONG):
            _try(accounts, name=f"name {number}")
        if number == 10:
            _try(accounts, GOOD)
    with pytest.raises(SignInError, match="Wait"):
        _try(accounts, GOOD)


def test_counts_survive_a_restart(accounts: Accounts) -> None:
    """Starting the server anew gives no new tries."""
    _keeper(accounts)
    for _ in range(throttle.FREE_FOR_NAME):
        with pytest.raises(SignInError, match=WRONG):
            _try(accounts)
    with (
        open_accounts(accounts.path.parent, create=False) as again,
        pytest.raises(SignInError, match="Wait 2 seconds"),
    ):
        _try(again, GOOD)


def test_success_forgets_the_failures_of_a_name(accounts: Accounts) -> None:
    """After the right password there are five free tries again."""
    _keeper(accounts)
    for _ in range(throttle.FREE_FOR_NAME - 1):
        with pytest.raises(SignInError, match=WRONG):
            _try(accounts)
    _try(accounts, GOOD)
    for _ in range(throttle.FREE_FOR_NAME):
        with pytest.raises(SignInError, match=WRONG):
            _try(accounts)


def test_hundred_failures_close_a_name_until_a_new_password(accounts: Accounts) -> None:
    """SP 800-63B, 5.2.2 (from memory): no more than 100 consecutive failed attempts."""
    account = _keeper(accounts)
    at = 0
    for number in range(throttle.MOST_FOR_NAME):
        with pytest.raises(SignInError, match=WRONG):
            _try(accounts, at=at, peer=f"198.51.{number}.1")
        at += throttle.LONGEST_WAIT_SECONDS
    with pytest.raises(SignInError, match="until somebody who keeps the workspace"):
        _try(accounts, GOOD, at=at + 10**8)
    accounts.set_password(account.id, OTHER)

    assert _try(accounts, OTHER, at=at).name == "Wenna Harkle"


def test_many_tries_at_the_same_moment_count_each(accounts: Accounts) -> None:
    """Parallel guesses get no more tries than guesses one by one."""
    _keeper(accounts)
    said: list[str] = []

    def guess() -> None:
        try:
            _try(accounts)
        except SignInError as error:
            said.append(str(error))

    guessing = [threading.Thread(target=guess) for _ in range(12)]
    for one in guessing:
        one.start()
    for one in guessing:
        one.join()

    assert len(said) == 12
    assert sum("wrong" in one for one in said) == throttle.FREE_FOR_NAME


def test_clock_set_back_locks_nobody_out(accounts: Accounts) -> None:
    """The wait is never longer than its own length, whatever the clock does."""
    _keeper(accounts)
    for _ in range(throttle.FREE_FOR_NAME):
        with pytest.raises(SignInError, match=WRONG):
            _try(accounts, at=10**7)
    with pytest.raises(SignInError, match="Wait 2 seconds"):
        _try(accounts, GOOD)


def test_old_tries_are_forgotten_but_not_those_of_an_account(accounts: Accounts) -> None:
    """The table does not grow with names that were made up; a name's own count stays."""
    _keeper(accounts)
    for name in ("Nobody", "Wenna Harkle"):
        with pytest.raises(SignInError, match=WRONG):
            _try(accounts, name=name)
    with pytest.raises(SignInError, match=WRONG):
        _try(accounts, name="Else", at=40 * 86400, peer="198.51.100.1")
    with accounts._reading() as rows:
        kept = {row[0] for row in rows.exec_driver_sql("SELECT subject FROM attempt")}

    assert kept == {"wenna harkle", "else", "198.51.100.1"}


@given(st.integers(0, 10_000), st.integers(1, 50))
@settings(deadline=None, max_examples=200)
def test_wait_grows_and_has_an_end(failures: int, free: int) -> None:
    """It never shrinks with more failures, and is at most a quarter of an hour."""
    wait = throttle.wait_seconds(failures, free=free)

    assert 0 <= wait <= 15 * 60
    assert wait <= throttle.wait_seconds(failures + 1, free=free)
    assert (wait == 0) is (failures < free)


@given(st.one_of(st.ip_addresses().map(str), st.text(max_size=40)))
@settings(deadline=None, max_examples=200)
def test_any_peer_has_a_key(peer: str) -> None:
    """Whatever the server says of the other end, tries are counted for something."""
    assert throttle.peer_key(peer)


def test_ipv4_written_as_ipv6_is_the_same_peer() -> None:
    """RFC 4291, section 2.5.5.2: ::ffff:0:0/96 holds IPv4 addresses."""
    assert throttle.peer_key("::ffff:192.0.2.7") == throttle.peer_key("192.0.2.7")


# --- one-time codes -----------------------------------------------------------------------------


def _with_codes(accounts: Accounts) -> tuple[pyotp.TOTP, tuple[str, ...]]:
    account = _keeper(accounts)
    secret = accounts.totp_begin(account.id)
    device = pyotp.TOTP(secret)
    assert not accounts.by_id(account.id).totp
    recovery = accounts.totp_confirm(account.id, device.at(NOW), now=NOW)
    assert accounts.by_id(account.id).totp
    return device, recovery


def test_code_is_asked_for_once_it_was_confirmed(accounts: Accounts) -> None:
    """The code of confirming counts as used; the next one is taken, once."""
    device, _ = _with_codes(accounts)
    with pytest.raises(SignInError, match=WRONG):
        _try(accounts, GOOD, code=device.at(NOW))
    later = device.at(NOW + timedelta(seconds=60))

    assert _try(accounts, GOOD, at=60, code=later).totp
    with pytest.raises(SignInError, match=WRONG):
        _try(accounts, GOOD, at=61, code=later)


def test_secret_does_not_count_before_a_code_of_it(accounts: Accounts) -> None:
    """Somebody whose device did not read it is not locked out."""
    account = _keeper(accounts)
    accounts.totp_begin(account.id)
    with pytest.raises(InputError, match="not the code of the moment"):
        accounts.totp_confirm(account.id, "000000x", now=NOW)

    assert _try(accounts, GOOD).name == "Wenna Harkle"


def test_confirming_without_a_secret_is_refused(accounts: Accounts) -> None:
    """There is nothing to confirm."""
    account = _keeper(accounts)
    with pytest.raises(InputError, match="Set up one-time codes first"):
        accounts.totp_confirm(account.id, "123456", now=NOW)


def test_recovery_code_lets_in_once(accounts: Accounts) -> None:
    """However it is grouped; nine others are left."""
    device, recovery = _with_codes(accounts)
    code = " ".join(recovery[3][at : at + 4] for at in range(0, 16, 4)).upper()

    assert device.secret
    assert _try(accounts, GOOD, code=code).totp
    assert accounts.recovery_left(accounts.get("Wenna Harkle").id) == 9
    with pytest.raises(SignInError, match=WRONG):
        _try(accounts, GOOD, code=code)


def test_recovery_code_of_another_account_is_refused(accounts: Accounts) -> None:
    """It belongs to one account."""
    _, recovery = _with_codes(accounts)
    other = accounts.add("p2", "Idris Pellow", "test", OTHER, NOW)
    secret = accounts.totp_begin(other.id)
    accounts.totp_confirm(other.id, pyotp.TOTP(secret).at(NOW), now=NOW)
    with pytest.raises(SignInError, match=WRONG):
        _try(accounts, OTHER, name="Idris Pellow", code=recovery[0])

    assert accounts.recovery_left(accounts.get("Wenna Harkle").id) == 10


def test_codes_can_be_turned_off(accounts: Accounts) -> None:
    """Then the password alone is asked for, and old recovery codes are gone."""
    _with_codes(accounts)
    account = accounts.get("Wenna Harkle")
    accounts.totp_drop(account.id)

    assert _try(accounts, GOOD).totp is False
    assert accounts.recovery_left(account.id) == 0


def test_password_is_checked_again_before_something_grave(accounts: Accounts) -> None:
    """And these tries are counted like those of signing in."""
    account = _keeper(accounts)
    accounts.check_password(account.id, GOOD, now=NOW, peer=PEER)
    for _ in range(throttle.FREE_FOR_NAME):
        with pytest.raises(SignInError, match="present password is wrong"):
            accounts.check_password(account.id, "wrong", now=NOW, peer=PEER)
    with pytest.raises(SignInError, match="Wait 2 seconds"):
        accounts.check_password(account.id, GOOD, now=NOW, peer=PEER)
