"""The jobs on accounts: who may sign in, and as which person on record."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.accounts import passwords
from lungwort.accounts.model import APPROVE, KEEP, LOOK, TEST, Account
from lungwort.accounts.store import FILE, Accounts, open_accounts
from lungwort.errors import InputError, LungwortError, RegisterError, UnknownRecordError
from lungwort.jobs.catalogue.shape import Listing, Section
from lungwort.jobs.opening import Where, common_zone, opened
from lungwort.register.model import Person

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.register.records import Reader

ROLE_WORDS: Final = {
    LOOK: "looks",
    TEST: "tests",
    APPROVE: "approves",
    KEEP: "keeps the workspace",
}


@frozen
class Told:
    """What was done with an account.

    Parameters
    ----------
    account : Account
        As it is now.
    said : str
        One sentence on it.
    remarks : tuple of str
        What to mind.
    next_steps : tuple of str
        What to do next.
    """

    account: Account
    said: str
    remarks: tuple[str, ...] = ()
    next_steps: tuple[str, ...] = ()


def folder_of(where: Where) -> Path:
    """Give the folder of the workspace.

    Parameters
    ----------
    where : Where
        Which workspace.

    Returns
    -------
    pathlib.Path
        The folder.

    Raises
    ------
    WorkspaceError
        Where there is none.
    """
    from lungwort.register.workspace import find_workspace  # noqa: PLC0415 - keeps --help instant

    return where.workspace or find_workspace(where.start or Path.cwd())


def exist(where: Where) -> bool:
    """Tell whether there is an account in use, so that people must sign in.

    Parameters
    ----------
    where : Where
        Which workspace.

    Returns
    -------
    bool
        Whether there is one.
    """
    folder = folder_of(where)
    if not (folder / FILE).exists():
        return False
    with open_accounts(folder, create=False) as accounts:
        return accounts.any()


def open_existing(where: Where) -> Accounts:
    """Open the accounts of a workspace that has some.

    Parameters
    ----------
    where : Where
        Which workspace.

    Returns
    -------
    Accounts
        The accounts.

    Raises
    ------
    UnknownRecordError
        Where there are none.
    """
    folder = folder_of(where)
    if not (folder / FILE).exists():
        raise UnknownRecordError(
            "There are no accounts. Make the first with 'lungwort account add PERSON --role keep'."
        )
    return open_accounts(folder, create=False)


def people(where: Where) -> tuple[tuple[str, str], ...]:
    """Give the persons on record who are in use: id and name, by name.

    Parameters
    ----------
    where : Where
        Which workspace.

    Returns
    -------
    tuple of (str, str)
        Id and name.
    """
    with opened(where, read_only=True) as workspace:
        found = [one for one in workspace.register.all(Person) if one.in_use]
    return tuple((one.id, one.name) for one in sorted(found, key=lambda one: one.name.casefold()))


def zone(where: Where) -> str:
    """Give the time zone in which times of accounts are shown.

    Parameters
    ----------
    where : Where
        Which workspace.

    Returns
    -------
    str
        The zone that all sites share; UTC where they share none.
    """
    with opened(where, read_only=True) as workspace:
        return common_zone(workspace.register) or "UTC"


def person_in_use(where: Where, person_id: str) -> bool:
    """Tell whether a person is on record and in use.

    Parameters
    ----------
    where : Where
        Which workspace.
    person_id : str
        Id of the person.

    Returns
    -------
    bool
        False where the record of the person was voided or the person has left.
    """
    with opened(where, read_only=True) as workspace:
        return _in_use(workspace.register, person_id)


def _in_use(register: Reader, person_id: str) -> bool:
    return any(one.id == person_id and one.in_use for one in register.all(Person))


def person_name(where: Where, person_id: str) -> str:
    """Give the name of a person on record.

    Parameters
    ----------
    where : Where
        Which workspace.
    person_id : str
        Id of the person.

    Returns
    -------
    str
        The name; empty where there is no such person.
    """
    with opened(where, read_only=True) as workspace:
        named = {one.id: one.name for one in workspace.register.all(Person)}
    return named.get(person_id, "")


def add(
    where: Where,
    person: str,
    *,
    role: str,
    password: str,
    now: datetime,
    name: str | None = None,
    must_change: bool = False,
) -> Told:
    """Make an account for a person on record.

    Parameters
    ----------
    where : Where
        Which workspace.
    person : str
        Name or id of a person in use.
    role : str
        ``look``, ``test``, ``approve`` or ``keep``; the first account keeps the workspace.
    password : str
        The password.
    now : datetime
        The time, with a time zone.
    name : str, optional
        What is typed at signing in; the person's name where none is given.
    must_change : bool
        Whether the password is to be changed at the first sign-in.

    Returns
    -------
    Told
        What was done.

    Raises
    ------
    InputError
        Where the person, the name, the role or the password cannot be used.
    """
    with opened(where, read_only=True) as workspace:
        found = workspace.register.get(Person, person)
    if not found.in_use:
        raise RegisterError(
            f"{found.name} is on record as retired and gets no account. Take the person back "
            "into use first."
        )
    folder = folder_of(where)
    first = not (folder / FILE).exists()
    try:
        with open_accounts(folder) as accounts:
            account = accounts.add(
                found.id,
                found.name if name is None else name,
                role,
                password,
                now,
                person=found.name,
                must_change=must_change,
            )
    except LungwortError:
        if first:
            # A file without an account would ask everybody to sign in and let nobody do so.
            _drop_if_empty(folder)
        raise
    remarks = []
    if first:
        remarks.append(
            "From now on everybody signs in, also on this computer. The accounts are in no "
            "backup: after a restore they are made anew."
        )
    if account.name != found.name:
        remarks.append(f"At signing in, the name to type is {account.name!r}.")
    if must_change:
        remarks.append("The password is to be changed at the first sign-in.")
    return Told(
        account,
        f"{found.name} has an account and {ROLE_WORDS[role]}.",
        tuple(remarks),
        ("lungwort serve",) if first else (),
    )


def _drop_if_empty(folder: Path) -> None:
    with open_accounts(folder, create=False) as accounts:
        empty = not accounts.list()
    if empty:
        (folder / FILE).unlink()


def listed(where: Where) -> Listing:
    """List the accounts.

    Parameters
    ----------
    where : Where
        Which workspace.

    Returns
    -------
    Listing
        The accounts in use.
    """
    with opened(where, read_only=True) as workspace:
        named = {one.id: one for one in workspace.register.all(Person)}
    folder = folder_of(where)
    found: tuple[Account, ...] = ()
    if (folder / FILE).exists():
        with open_accounts(folder, create=False) as accounts:
            found = tuple(one for one in accounts.list() if one.in_use)
    rows = []
    plain: list[dict[str, Any]] = []
    for one in found:
        person = named.get(one.person_id)
        able = person is not None and person.in_use
        who = "voided" if person is None else person.name
        state = "in use" if able else "cannot sign in: the person has left or was voided"
        rows.append(
            (
                one.name,
                who,
                one.role,
                "yes" if one.totp else "no",
                state + (", password to be changed" if one.must_change else ""),
            )
        )
        plain.append(
            {
                "id": one.id,
                "name": one.name,
                "person": None if person is None else person.name,
                "person_id": one.person_id,
                "role": one.role,
                "one_time_codes": one.totp,
                "must_change_password": one.must_change,
                "can_sign_in": able,
            }
        )
    return Listing(
        Section(
            "Accounts",
            ("name", "person", "role", "one-time codes", "state"),
            tuple(rows),
            "No accounts: on this computer no password is asked for.",
        ),
        () if rows else ("Make the first with 'lungwort account add PERSON --role keep'.",),
        {"accounts": plain},
    )


def change(
    where: Where,
    name: str,
    *,
    role: str | None = None,
    new_name: str | None = None,
    password: str | None = None,
    must_change: bool = False,
    drop_codes: bool = False,
) -> Told:
    """Change an account.

    Parameters
    ----------
    where : Where
        Which workspace.
    name : str
        Name or id of the account.
    role, new_name, password : str, optional
        What is different; a new password ends all visits.
    must_change : bool
        Whether the new password is to be changed at the next sign-in.
    drop_codes : bool
        Whether one-time codes are asked for no more.

    Returns
    -------
    Told
        What was done.

    Raises
    ------
    InputError
        Where it cannot be done, or nothing was to be changed.
    """
    if role is None and new_name is None and password is None and not drop_codes:
        raise InputError(
            "Nothing to change was given. Give --role, --name, --new-password or --drop-codes."
        )
    told = []
    with open_existing(where) as accounts:
        account = accounts.get(name)
        if password is not None:
            person = person_name(where, account.person_id)
            accounts.set_password(account.id, password, person=person, must_change=must_change)
            told.append("It has a new password, and its visits ended.")
        if drop_codes:
            accounts.totp_drop(account.id)
            told.append("It is asked for one-time codes no more.")
        if role is not None or new_name is not None:
            account = accounts.change(account.id, role=role, new_name=new_name)
        account = accounts.by_id(account.id)
    return Told(
        account,
        f"The account {account.name} {ROLE_WORDS[account.role]}.",
        tuple(told),
    )


def reset(where: Where, name: str) -> tuple[Told, str]:
    """Give an account a password that is to be changed at the next sign-in.

    Parameters
    ----------
    where : Where
        Which workspace.
    name : str
        Name or id of the account.

    Returns
    -------
    tuple of (Told, str)
        What was done, and the password; it can be shown only now.
    """
    made = passwords.temporary()
    return change(where, name, password=made, must_change=True), made


def close(where: Where, name: str) -> Told:
    """Close an account; what the person did stays on record.

    Parameters
    ----------
    where : Where
        Which workspace.
    name : str
        Name or id of the account.

    Returns
    -------
    Told
        What was done.

    Raises
    ------
    InputError
        Where nobody would keep the workspace.
    """
    with open_existing(where) as accounts:
        account = accounts.close_account(name)
    return Told(
        account,
        f"The account {account.name} is closed. Its visits ended and its tokens are taken no more.",
        ("What was recorded under it stays on record.",),
    )
