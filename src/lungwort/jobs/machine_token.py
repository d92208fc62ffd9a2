"""The jobs on tokens with which machines read the record or bring in logs."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.accounts.model import IMPORT, READ, MachineToken
from lungwort.accounts.store import FILE, open_accounts
from lungwort.errors import InputError
from lungwort.jobs.account import folder_of, open_existing, zone
from lungwort.jobs.catalogue.shape import Listing, Section
from lungwort.paper.text import Clock

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from lungwort.jobs.opening import Where

SCOPE_WORDS: Final = {READ: "read", IMPORT: "bring in logs"}
DAYS: Final = 365
_NEVER: Final = "not yet"


@frozen
class NewToken:
    """A token that was made.

    Parameters
    ----------
    secret : str
        The token; it can be shown only now.
    said : str
        One sentence on it.
    """

    secret: str
    said: str


def make_token(
    where: Where,
    name: str,
    *,
    scopes: Iterable[str],
    label: str,
    now: datetime,
    days: int = DAYS,
) -> NewToken:
    """Make a token for a machine.

    Parameters
    ----------
    where : Where
        Which workspace.
    name : str
        Account in whose name it acts.
    scopes : iterable of str
        ``read``, ``import`` or both.
    label : str
        What it is for.
    now : datetime
        The time, with a time zone.
    days : int
        How long it is taken [d].

    Returns
    -------
    NewToken
        The token; it can be shown only now.

    Raises
    ------
    InputError
        Where something of it cannot be used.
    """
    wanted = tuple(scopes)
    most = 2 * 366
    if not 1 <= days <= most:
        raise InputError(f"--days must be from 1 to {most}: a token lasts two years at most.")
    expires = now + timedelta(days=days)
    with open_existing(where) as accounts:
        secret = accounts.make_token(name, wanted, label, now, expires)
    able = " and ".join(words for scope, words in SCOPE_WORDS.items() if scope in wanted)
    return NewToken(
        secret,
        f"The token for {' '.join(label.split())!r} may {able} until {expires:%Y-%m-%d}. "
        "Copy it now: it cannot be shown again.",
    )


def tokens(where: Where) -> Listing:
    """List the tokens of machines.

    Parameters
    ----------
    where : Where
        Which workspace.

    Returns
    -------
    Listing
        All that were not revoked.
    """
    folder = folder_of(where)
    found: tuple[MachineToken, ...] = ()
    named: dict[str, str] = {}
    if (folder / FILE).exists():
        with open_accounts(folder, create=False) as accounts:
            found = accounts.tokens()
            named = {one.id: one.name for one in accounts.list()}
    clock = Clock.for_period(zone(where), None, None)
    rows = tuple(
        (
            one.id,
            one.label,
            named[one.account_id],
            ", ".join(sorted(one.scopes)),
            clock.day(one.expires),
            _NEVER if one.last_used is None else clock.time(one.last_used),
        )
        for one in found
    )
    return Listing(
        Section(
            "Tokens for machines",
            ("id", "for", "in the name of", "may", "ends", "last used"),
            rows,
            "No tokens.",
        ),
        (),
        {
            "tokens": [
                {
                    "id": one.id,
                    "label": one.label,
                    "account": named[one.account_id],
                    "scopes": sorted(one.scopes),
                    "made": one.made.isoformat(),
                    "expires": one.expires.isoformat(),
                    "last_used": None if one.last_used is None else one.last_used.isoformat(),
                }
                for one in found
            ]
        },
    )


def revoke(where: Where, token_id: str) -> str:
    """Take a token no more.

    Parameters
    ----------
    where : Where
        Which workspace.
    token_id : str
        Its id, as `tokens` lists it.

    Returns
    -------
    str
        One sentence on it.

    Raises
    ------
    UnknownRecordError
        Where there is none.
    """
    with open_existing(where) as accounts:
        token = accounts.revoke(token_id)
    return f"The token for {token.label!r} is taken no more."
