"""What an account, a visit and a machine's token are."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from attrs import frozen

from lungwort.errors import InputError

LOOK: Final = "look"
TEST: Final = "test"
APPROVE: Final = "approve"
KEEP: Final = "keep"
ROLES: Final = (LOOK, TEST, APPROVE, KEEP)
"""What an account may do, each with all before it."""

READ: Final = "read"
IMPORT: Final = "import"
SCOPES: Final = (READ, IMPORT)
"""What a machine's token may do."""

IDLE: Final = timedelta(hours=8)
"""A visit ends after this time without a request (a shift)."""

LONGEST: Final = timedelta(days=7)
"""A visit ends after this time whatever happens."""


class SignInError(InputError):
    """Somebody could not be let in."""


class CodeNeededError(SignInError):
    """Name and password are right; the one-time code is still to be given."""


@frozen
class Account:
    """Somebody who may sign in.

    Parameters
    ----------
    id : str
        Identifier.
    person_id : str
        Person on record who acts.
    name : str
        What is typed at signing in.
    role : str
        One of `ROLES`.
    totp : bool
        Whether a one-time code is asked for.
    must_change : bool
        Whether the password was given by somebody else and is to be changed first.
    in_use : bool
        False once closed.
    language : str
        Language of the pages; empty for what the browser asks for.
    """

    id: str
    person_id: str
    name: str
    role: str
    totp: bool = False
    must_change: bool = False
    in_use: bool = True
    language: str = ""


@frozen
class KnownVisit:
    """A visit of an account, as it is listed.

    Parameters
    ----------
    id : str
        Identifier; not the secret of its cookie.
    begun, seen : datetime
        When it began, and when the last request came (to the minute), UTC.
    peer : str
        Address it came from.
    browser : str
        What the browser calls itself.
    here : bool
        Whether it is the one that asks.
    """

    id: str
    begun: datetime
    seen: datetime
    peer: str
    browser: str
    here: bool = False


@frozen
class MachineToken:
    """A token with which a machine reads or brings in logs.

    Parameters
    ----------
    id : str
        Identifier; not the secret.
    account_id : str
        Account in whose name it acts.
    label : str
        What it is for.
    scopes : frozenset of str
        Of `SCOPES`.
    made : datetime
        When it was made, UTC.
    expires : datetime
        From when it is no longer taken, UTC.
    last_used : datetime, optional
        When it was used last (to the minute), UTC.
    """

    id: str
    account_id: str
    label: str
    scopes: frozenset[str]
    made: datetime
    expires: datetime
    last_used: datetime | None = None
