"""The jobs that somebody does on an account of their own: sign in, password, one-time codes."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from lungwort.accounts import codes, passwords
from lungwort.accounts.model import Account, KnownVisit, SignInError
from lungwort.accounts.store import FILE
from lungwort.errors import InputError
from lungwort.jobs.account import Told, folder_of, open_existing, person_in_use, person_name
from lungwort.jobs.opening import Where, opened

if TYPE_CHECKING:
    from datetime import datetime


def sign_in(
    where: Where, name: str, password: str, code: str | None, *, now: datetime, peer: str
) -> Account:
    """Find out whether somebody may come in.

    Parameters
    ----------
    where : Where
        Which workspace.
    name, password : str
        As typed.
    code : str, optional
        One-time code or recovery code.
    now : datetime
        The time, with a time zone.
    peer : str
        Address that the try comes from.

    Returns
    -------
    Account
        The account.

    Raises
    ------
    SignInError
        Where something is wrong; the message does not tell what.
    """
    if not (folder_of(where) / FILE).exists():
        raise SignInError("There are no accounts here, and so nobody need sign in.")
    with open_existing(where) as accounts:
        return accounts.sign_in(
            name, password, code, now=now, peer=peer, may=partial(person_in_use, where)
        )


def change_own_password(
    where: Where,
    account: Account,
    *,
    present: str,
    new: str,
    again: str,
    now: datetime,
    peer: str,
    but: str,
) -> Told:
    """Change the password of somebody who is signed in; their other visits end.

    Parameters
    ----------
    where : Where
        Which workspace.
    account : Account
        Who is signed in.
    present, new, again : str
        The present password, and the new one twice, as typed.
    now : datetime
        The time, with a time zone.
    peer : str
        Address that it comes from.
    but : str
        Secret of the visit that goes on.

    Returns
    -------
    Told
        What was done.

    Raises
    ------
    InputError
        Where a password is wrong or not good enough.
    """
    if new != again:
        raise InputError("The new password was not typed the same twice. Type it again.")
    person = person_name(where, account.person_id)
    # What is wrong with the new one is told before the present one is tried, so that it does not
    # count as a failed try.
    passwords.check(new, names=(account.name, person))
    with open_existing(where) as accounts:
        accounts.check_password(account.id, present, now=now, peer=peer)
        accounts.set_password(account.id, new, person=person, but=but)
        account = accounts.by_id(account.id)
    return Told(account, "Your password is changed. Your other visits ended.")


def end_visits(where: Where, account: Account, *, but: str) -> None:
    """End all visits of an account but one.

    Parameters
    ----------
    where : Where
        Which workspace.
    account : Account
        Whose.
    but : str
        Secret of the visit that goes on.
    """
    with open_existing(where) as accounts:
        accounts.end_all(account.id, but=but)


def drop_codes(where: Where, account: Account, *, password: str, now: datetime, peer: str) -> None:
    """Ask somebody who is signed in for one-time codes no more.

    Parameters
    ----------
    where : Where
        Which workspace.
    account : Account
        Who is signed in.
    password : str
        As typed.
    now : datetime
        The time, with a time zone.
    peer : str
        Address that it comes from.

    Raises
    ------
    SignInError
        Where the password is wrong.
    """
    with open_existing(where) as accounts:
        accounts.check_password(account.id, password, now=now, peer=peer)
        accounts.totp_drop(account.id)


def visits(where: Where, account: Account, *, now: datetime, here: str) -> tuple[KnownVisit, ...]:
    """Give the visits of an account that have not ended, the newest first.

    Parameters
    ----------
    where : Where
        Which workspace.
    account : Account
        Whose.
    now : datetime
        The time, with a time zone.
    here : str
        Secret of the visit that asks.

    Returns
    -------
    tuple of KnownVisit
        The visits.
    """
    with open_existing(where) as accounts:
        return accounts.visits(account.id, now=now, here=here)


def recovery_left(where: Where, account: Account) -> int:
    """Count the recovery codes of an account that were not used [1].

    Parameters
    ----------
    where : Where
        Which workspace.
    account : Account
        Whose.

    Returns
    -------
    int
        How many [1].
    """
    with open_existing(where) as accounts:
        return accounts.recovery_left(account.id)


def begin_codes(where: Where, account: Account, *, password: str, now: datetime, peer: str) -> None:
    """Propose a secret for one-time codes; it counts once a code of it was given.

    Parameters
    ----------
    where : Where
        Which workspace.
    account : Account
        Who is signed in.
    password : str
        As typed.
    now : datetime
        The time, with a time zone.
    peer : str
        Address that it comes from.

    Raises
    ------
    SignInError
        Where the password is wrong.
    """
    with open_existing(where) as accounts:
        accounts.check_password(account.id, password, now=now, peer=peer)
        accounts.totp_begin(account.id)


def proposed_codes(where: Where, account: Account) -> tuple[str, str] | None:
    """Give the secret that was proposed, and the address that a device reads.

    Parameters
    ----------
    where : Where
        Which workspace.
    account : Account
        Who is signed in.

    Returns
    -------
    tuple of (str, str) or None
        Secret in groups of four, and address; None where none was proposed.
    """
    with open_existing(where) as accounts:
        secret = accounts.totp_proposed(account.id)
    if secret is None:
        return None
    with opened(where, read_only=True) as workspace:
        name = workspace.name
    return codes.grouped(secret), codes.address(secret, account=account.name, workspace=name)


def confirm_codes(where: Where, account: Account, code: str, *, now: datetime) -> tuple[str, ...]:
    """Ask for one-time codes from now on.

    Parameters
    ----------
    where : Where
        Which workspace.
    account : Account
        Who is signed in.
    code : str
        As typed.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    tuple of str
        Recovery codes in groups of four; they can be shown only now.

    Raises
    ------
    InputError
        Where the code is not one of the proposed secret.
    """
    with open_existing(where) as accounts:
        made = accounts.totp_confirm(account.id, code, now=now)
    return tuple(codes.grouped(one) for one in made)
