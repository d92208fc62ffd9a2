"""Passwords: what is taken for one, and how it is kept.

References
----------
.. [1] NIST SP 800-63B, section 5.1.1: length and blocklist, no rules of composition, no change
   without cause (revision 3; from memory).
.. [2] RFC 9106, section 4: the second recommended option is Argon2id with 3 passes, 4 lanes,
   64 MiB, a salt of 128 bit and a tag of 256 bit.
"""

from __future__ import annotations

import secrets
import threading
import unicodedata
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Final

from lungwort.errors import InputError

if TYPE_CHECKING:
    from argon2 import PasswordHasher

SHORTEST: Final = 12
LONGEST: Final = 1024
PASSES: Final = 3
LANES: Final = 4
MEMORY_KIB: Final = 64 * 1024
SALT_BYTES: Final = 16
TAG_BYTES: Final = 32
FEWEST_CHARACTERS: Final = 4
"""A password has at least so many characters that differ."""

_SHORTEST_NAME: Final = 4
_AT_ONCE: Final = 2
_RUNS: Final = (
    "0123456789" * 4,
    "1234567890" * 4,
    "abcdefghijklmnopqrstuvwxyz" * 2,
    "qwertyuiopasdfghjklzxcvbnm" * 2,
    "qwertzuiopasdfghjklyxcvbnm" * 2,
    "1q2w3e4r5t6y7u8i9o0p",
    "1qaz2wsx3edc4rfv5tgb6yhn7ujm8ik",
)

# Each hash takes 64 MiB: many people at once must not take all the memory.
_turns = threading.BoundedSemaphore(_AT_ONCE)


def _plain(password: str) -> str:
    # The same password typed on another keyboard must come out as the same bytes.
    return unicodedata.normalize("NFKC", password)


def check(password: str, *, names: tuple[str, ...] = ()) -> None:
    """Refuse a password that is too short or easily guessed.

    There are no rules on which kinds of characters it holds [1]_.

    Parameters
    ----------
    password : str
        As typed.
    names : tuple of str
        Names of the person and the account, which it must not hold.

    Raises
    ------
    InputError
        Where it is too short, too long, common, a run, or holds a name.

    Examples
    --------
    >>> check("three damp gulls argue")
    >>> check("Password1234!")
    Traceback (most recent call last):
    ...
    lungwort.errors.InputError: This password is among those that are guessed first. ...
    """
    text = _plain(password)
    if len(text) < SHORTEST:
        raise InputError(
            f"The password has {len(text)} characters; at least {SHORTEST} are needed. "
            "Several words in a row, with blanks between them, are good and easy to keep in mind."
        )
    if len(text) > LONGEST:
        raise InputError(f"The password has {len(text)} characters; at most {LONGEST} are taken.")
    folded = text.casefold()
    for name in names:
        parts = [part for part in name.casefold().split() if len(part) >= _SHORTEST_NAME]
        whole = name.casefold().strip()
        if any(part in folded for part in parts) or (whole and whole in folded):
            raise InputError(
                "The password holds the name of the person or of the account. Take one that does not."
            )
    if _is_common(folded):
        raise InputError(
            "This password is among those that are guessed first. Take several words in a row "
            "that do not belong together."
        )


def _is_common(folded: str) -> bool:
    bare = "".join(folded.split())
    if len(set(bare)) < FEWEST_CHARACTERS:
        return True
    if any(bare in run or bare[::-1] in run for run in _RUNS):
        return True
    letters = "".join(one for one in bare if one.isalpha())
    return any(letters and letters == word * (len(letters) // len(word)) for word in _common())


@cache
def _common() -> frozenset[str]:
    text = (resources.files("lungwort.accounts") / "data" / "common-passwords.txt").read_text(
        encoding="utf-8"
    )
    return frozenset(
        line.strip() for line in text.splitlines() if line.strip() and not line.startswith("#")
    )


@cache
def hasher() -> PasswordHasher:
    """Give what hashes passwords, with the parameters of RFC 9106 [2]_.

    Returns
    -------
    argon2.PasswordHasher
        Argon2id.
    """
    from argon2 import PasswordHasher, Type  # noqa: PLC0415 - keeps --help instant

    return PasswordHasher(
        time_cost=PASSES,
        memory_cost=MEMORY_KIB,
        parallelism=LANES,
        hash_len=TAG_BYTES,
        salt_len=SALT_BYTES,
        type=Type.ID,
    )


def hashed(password: str) -> str:
    """Hash a password.

    Parameters
    ----------
    password : str
        As typed.

    Returns
    -------
    str
        The hash with its parameters and salt.
    """
    with _turns:
        return hasher().hash(_plain(password))


def matches(kept: str, password: str) -> bool:
    """Tell whether a password is the one that was hashed.

    Parameters
    ----------
    kept : str
        The hash.
    password : str
        As typed.

    Returns
    -------
    bool
        False also where the hash cannot be read.
    """
    from argon2.exceptions import InvalidHashError, VerificationError  # noqa: PLC0415 - see above

    with _turns:
        try:
            return hasher().verify(kept, _plain(password[:LONGEST]))
        except (VerificationError, InvalidHashError):
            return False


def is_outdated(kept: str) -> bool:
    """Tell whether a hash was made with other parameters than those of today.

    Parameters
    ----------
    kept : str
        The hash.

    Returns
    -------
    bool
        Whether it should be made anew at the next sign-in.
    """
    return hasher().check_needs_rehash(kept)


@cache
def nobodys() -> str:
    """Give the hash of a password that nobody knows.

    Where nobody has the name that was typed, the password is held against this one, so that it
    takes as long as for a name that exists.

    Returns
    -------
    str
        A hash with the parameters of today.
    """
    return hashed(secrets.token_urlsafe(TAG_BYTES))


def temporary() -> str:
    """Make a password for the first sign-in of somebody else.

    Returns
    -------
    str
        Sixteen random letters and digits in groups of four, without those that look alike (80 bit).
    """
    alphabet = "abcdefghjkmnpqrstuvwxyz23456789x"
    drawn = "".join(secrets.choice(alphabet) for _ in range(16))
    return "-".join(drawn[place : place + 4] for place in range(0, 16, 4))
