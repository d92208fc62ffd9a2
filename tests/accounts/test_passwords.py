"""Passwords: what is taken, and how they are hashed."""

from __future__ import annotations

import pytest
from argon2 import Type, extract_parameters
from argon2.profiles import RFC_9106_LOW_MEMORY
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.accounts import passwords
from lungwort.errors import InputError


def test_hash_has_the_parameters_of_rfc_9106() -> None:
    """RFC 9106, section 4, second recommended option.

    Printed there: "Argon2id with t=3 iterations, p=4 lanes, m=2^(16) (64 MiB of RAM), 128-bit
    salt, and 256-bit tag size". The general library's profile of that name must say the same.
    """
    found = extract_parameters(passwords.hashed("three damp gulls argue"))

    assert found.type is Type.ID
    assert (found.time_cost, found.parallelism, found.memory_cost) == (3, 4, 2**16)
    assert (found.salt_len * 8, found.hash_len * 8) == (128, 256)
    assert found == RFC_9106_LOW_MEMORY


def test_a_password_matches_its_own_hash_alone() -> None:
    """The right one is taken, another one and a broken hash are not."""
    kept = passwords.hashed("three damp gulls argue")

    assert passwords.matches(kept, "three damp gulls argue")
    assert not passwords.matches(kept, "three damp gulls argue ")
    assert not passwords.matches("no hash", "three damp gulls argue")
    assert kept != passwords.hashed("three damp gulls argue")


def test_the_same_letters_typed_otherwise_match() -> None:
    """A letter with its accent in one piece or in two is the same password (Unicode NFKC)."""
    assert passwords.matches(passwords.hashed("caf\u00e9 on the slip"), "cafe\u0301 on the slip")


def test_hash_of_older_parameters_is_outdated() -> None:
    """A hash with other parameters is to be made anew; one of today is not."""
    from argon2 import PasswordHasher

    weak = PasswordHasher(time_cost=1, memory_cost=8192, parallelism=1).hash("three damp gulls")

    # Other tests make the same hash with less work, and it is kept.
    passwords.nobodys.cache_clear()
    assert passwords.is_outdated(weak)
    assert not passwords.is_outdated(passwords.nobodys())


@pytest.mark.parametrize("length", [0, 1, 8, 11])
def test_short_passwords_are_refused(length: int) -> None:
    """At least twelve characters, and the message says so."""
    with pytest.raises(InputError, match="at least 12 are needed"):
        passwords.check("xq7!dk2#mz9v"[:length])


def test_twelve_characters_of_any_kind_will_do() -> None:
    """NIST SP 800-63B, 5.1.1.2 (from memory): no rules on which kinds of characters."""
    for password in ("xqzdkwmrvbtj", "739184620571", "XQZDKWMRVBTJ", "ňřžďěšýáíéúů"):
        passwords.check(password)


@pytest.mark.parametrize(
    "password",
    [
        "passwordpassword",
        "Password1234!",
        "!!Qwertyuiop!!",
        "letmein-letmein",
        "changeme2026",
        "aaaaaaaaaaaaaa",
        "abababababab",
        "123456789012",
        "210987654321",
        "abcdefghijklm",
        "qwertyuiopas",
        "1q2w3e4r5t6y",
        "Lungwort2026!",
        "compressed air 1",
        "correct horse battery staple",
    ],
)
def test_what_is_guessed_first_is_refused(password: str) -> None:
    """Common passwords, repetitions, runs and the name of the program (SP 800-63B, 5.1.1.2)."""
    with pytest.raises(InputError, match="guessed first"):
        passwords.check(password)


@pytest.mark.parametrize(
    "password", ["my name is wenna ok", "HARKLE and the sea", "slip-whk-foreman"]
)
def test_password_that_holds_a_name_is_refused(password: str) -> None:
    """Neither a part of the person's name nor the account's name may be in it."""
    with pytest.raises(InputError, match="holds the name"):
        passwords.check(password, names=("whk", "Wenna Harkle"))


def test_very_long_passwords_are_refused() -> None:
    """A thousand characters is the most; sixty-four must be taken (SP 800-63B, 5.1.1.2)."""
    passwords.check("xq zd kw mr " * 6)
    with pytest.raises(InputError, match="at most 1024"):
        passwords.check("xq zd kw mr " * 100)


@given(st.text(max_size=40))
@settings(deadline=None, max_examples=200)
def test_any_text_is_taken_or_refused_with_a_reason(password: str) -> None:
    """No text breaks the check, and what is taken does not hold the name."""
    said = ""
    try:
        passwords.check(password, names=("Wenna Harkle",))
    except InputError as error:
        said = str(error)

    assert said.endswith(".") or (not said and "wenna" not in password.casefold())


def test_passwords_made_for_others_are_good_enough() -> None:
    """A made password has 80 bits and passes the check."""
    made = {passwords.temporary() for _ in range(20)}

    assert len(made) == 20
    for password in made:
        assert len(password.replace("-", "")) == 16
        passwords.check(password)
