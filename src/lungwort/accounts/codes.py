"""One-time codes of a second device, recovery codes, and how secrets are kept.

References
----------
.. [1] RFC 6238: TOTP, time step 30 s; section 5.2: a code is taken once, and one step of delay is
   allowed for.
.. [2] RFC 4226, section 4: the shared secret should have 160 bit.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from typing import TYPE_CHECKING, Final

from lungwort.errors import InputError

if TYPE_CHECKING:
    from datetime import datetime

STEP_SECONDS: Final = 30
DIGITS: Final = 6
DRIFT_STEPS: Final = 1
"""Steps by which the device's clock may differ."""

RECOVERY_CODES: Final = 10
_SECRET_CHARACTERS: Final = 32
_RECOVERY_BYTES: Final = 10
_TOKEN_BYTES: Final = 32
_GROUP: Final = 4
MACHINE_PREFIX: Final = "lungwort_"


def new_secret() -> str:
    """Make the secret that a device and the server share.

    Returns
    -------
    str
        160 random bits in base 32.
    """
    import pyotp  # noqa: PLC0415 - keeps --help instant

    return pyotp.random_base32(length=_SECRET_CHARACTERS)


def step_of(secret: str, code: str, *, now: datetime, after: int = -1) -> int | None:
    """Find the time step that a one-time code belongs to [1]_.

    Parameters
    ----------
    secret : str
        What the device and the server share, base 32.
    code : str
        As typed; blanks do not count.
    now : datetime
        The present moment, with a time zone.
    after : int
        Last step that a code was taken of; only later ones are taken [1].

    Returns
    -------
    int or None
        The step [1]; None where the code is wrong or was taken before.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # RFC 6238, Appendix B
    >>> step_of(secret, "287 082", now=datetime.fromtimestamp(59, UTC))
    1
    >>> step_of(secret, "287082", now=datetime.fromtimestamp(59, UTC), after=1)
    """
    import pyotp  # noqa: PLC0415 - keeps --help instant

    typed = "".join(code.split())
    if len(typed) != DIGITS or not (typed.isascii() and typed.isdigit()):
        return None
    device = pyotp.TOTP(secret, digits=DIGITS, interval=STEP_SECONDS)
    present = int(now.timestamp()) // STEP_SECONDS
    found = None
    for step in range(max(present - DRIFT_STEPS, 0), present + DRIFT_STEPS + 1):
        if hmac.compare_digest(device.generate_otp(step), typed) and step > after:
            found = step if found is None else found
    return found


def address(secret: str, *, account: str, workspace: str) -> str:
    """Give the address that a device reads from a QR code.

    Parameters
    ----------
    secret : str
        What the device and the server share, base 32.
    account, workspace : str
        What the device shows beside the codes.

    Returns
    -------
    str
        An ``otpauth`` address.
    """
    import pyotp  # noqa: PLC0415 - keeps --help instant

    device = pyotp.TOTP(secret, digits=DIGITS, interval=STEP_SECONDS)
    return device.provisioning_uri(name=account, issuer_name=f"lungwort {workspace}".strip())


def grouped(text: str) -> str:
    """Write a secret in groups of four, as one types it.

    Parameters
    ----------
    text : str
        The secret.

    Returns
    -------
    str
        With blanks.

    Examples
    --------
    >>> grouped("GEZDGNBVGY3T")
    'GEZD GNBV GY3T'
    """
    return " ".join(text[place : place + _GROUP] for place in range(0, len(text), _GROUP))


def new_recovery_codes() -> tuple[str, ...]:
    """Make codes that stand in for a lost device, each once.

    Returns
    -------
    tuple of str
        Ten of 80 random bits each.
    """
    return tuple(
        base64.b32encode(secrets.token_bytes(_RECOVERY_BYTES)).decode("ascii").lower()
        for _ in range(RECOVERY_CODES)
    )


def plain_recovery_code(text: str) -> str:
    """Take blanks and hyphens out of a recovery code.

    Parameters
    ----------
    text : str
        As typed.

    Returns
    -------
    str
        As it was made.
    """
    return "".join(text.split()).replace("-", "").lower()


def new_machine_secret() -> str:
    """Make the secret of a machine's token.

    Returns
    -------
    str
        256 random bits after a word by which it is recognised where it should not be.
    """
    return MACHINE_PREFIX + secrets.token_urlsafe(_TOKEN_BYTES)


def new_visit_secret() -> str:
    """Make the secret that the cookie of a visit carries.

    Returns
    -------
    str
        256 random bits.
    """
    return secrets.token_urlsafe(_TOKEN_BYTES)


def digest(secret: str) -> str:
    """Give what is kept of a random secret.

    A secret of 80 random bits or more cannot be guessed from a fast hash, so SHA-256 will do; a
    password is kept otherwise.

    Parameters
    ----------
    secret : str
        The secret.

    Returns
    -------
    str
        SHA-256, hexadecimal.

    Examples
    --------
    >>> digest("abc")  # FIPS 180-4, example
    'ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad'
    """
    return hashlib.sha256(secret.encode("utf-8")).hexdigest()


def name_key(name: str) -> str:
    """Give the form in which two names of accounts are held against each other.

    Parameters
    ----------
    name : str
        As typed.

    Returns
    -------
    str
        Without case and doubled blanks.

    Raises
    ------
    InputError
        Where nothing is left of it.
    """
    import unicodedata  # noqa: PLC0415 - only here

    key = " ".join(unicodedata.normalize("NFKC", name).casefold().split())
    if not key:
        raise InputError("Give the name of the account.")
    return key
