"""The accounts of a workspace: a small database of their own beside the record.

It holds secrets and nothing that proves anything, so it is no part of the journal and goes into no
backup. Of passwords, tokens and recovery codes only hashes are kept. The file is opened for each
question and closed after it.
"""

from __future__ import annotations

import os
import secrets
from typing import TYPE_CHECKING, Any, Final

import sqlalchemy as sa

from lungwort.accounts import codes, passwords, tables
from lungwort.accounts.entering import Entering
from lungwort.accounts.machines import Machines
from lungwort.accounts.model import KEEP, ROLES, Account
from lungwort.accounts.rows import (
    ACCOUNT,
    check_not_last,
    end_visits,
    find_account,
    find_named,
    forget_tries,
    seconds,
    to_account,
)
from lungwort.accounts.visiting import Visiting
from lungwort.errors import InputError, WorkspaceError

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

FILE: Final = "accounts.sqlite"
"""Name of the file in the folder of the workspace."""

_LONGEST_TEXT: Final = 200


def open_accounts(folder: Path, *, create: bool = True) -> Accounts:
    """Open the accounts of a workspace.

    Parameters
    ----------
    folder : pathlib.Path
        Folder of the workspace.
    create : bool
        Whether to make the file where it is missing.

    Returns
    -------
    Accounts
        The accounts.

    Raises
    ------
    WorkspaceError
        Where the file is missing, cannot be used, or is of a newer form.
    """
    path = folder / FILE
    if not path.exists():
        if not create:
            raise WorkspaceError(f"There are no accounts in {folder}.")
        try:
            # Made with its rights from the first moment on, so that nobody else ever reads it.
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        except FileExistsError:
            pass
        except OSError as error:
            raise WorkspaceError(f"{path} cannot be made: {error.strerror}.") from error
    return Accounts(path)


class Accounts(Entering, Visiting, Machines):
    """The accounts, their visits, and the tokens of machines.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    """

    def any(self) -> bool:
        """Tell whether there is an account in use."""
        with self._reading() as rows:
            return bool(rows.execute(sa.select(sa.exists().where(ACCOUNT.c.in_use))).scalar())

    def list(self) -> tuple[Account, ...]:
        """Give all accounts by name, closed ones last."""
        order = (ACCOUNT.c.in_use.desc(), ACCOUNT.c.name_key)
        with self._reading() as rows:
            return tuple(
                to_account(row) for row in rows.execute(sa.select(ACCOUNT).order_by(*order))
            )

    def get(self, name: str) -> Account:
        """Find an account in use by its name or id.

        Parameters
        ----------
        name : str
            As typed.

        Returns
        -------
        Account
            The account.

        Raises
        ------
        UnknownRecordError
            Where there is none.
        """
        with self._reading() as rows:
            return to_account(find_named(rows, name))

    def add(
        self,
        person_id: str,
        name: str,
        role: str,
        password: str,
        now: datetime,
        *,
        person: str = "",
        must_change: bool = False,
    ) -> Account:
        """Add an account.

        Parameters
        ----------
        person_id : str
            Person on record who acts.
        name : str
            What is typed at signing in.
        role : str
            One of `ROLES`; the first account keeps the workspace.
        password : str
            The password.
        now : datetime
            The present moment, with a time zone.
        person : str
            Name of the person, which the password must not hold.
        must_change : bool
            Whether the password is to be changed at the first sign-in.

        Returns
        -------
        Account
            The account.

        Raises
        ------
        InputError
            Where the name is taken, the role is unknown, or the password is not good enough.
        """
        shown = " ".join(name.split())
        key = codes.name_key(shown)
        if len(shown) > _LONGEST_TEXT or not shown.isprintable():
            raise InputError(
                f"--name has characters that cannot be shown or more than {_LONGEST_TEXT} of them."
            )
        _check_role(role)
        passwords.check(password, names=(shown, person))
        row = {
            "id": secrets.token_hex(8),
            "person_id": person_id,
            "name": shown,
            "name_key": key,
            "role": role,
            "password": passwords.hashed(password),
            "must_change": must_change,
            "language": "",
            "totp_step": -1,
            "in_use": True,
            "made": seconds(now),
        }
        with self._writing() as rows:
            in_use = rows.execute(sa.select(ACCOUNT).where(ACCOUNT.c.in_use)).all()
            if any(one.name_key == key for one in in_use):
                raise InputError(
                    f"An account is called {shown!r} already. Give another one with --name."
                )
            if not in_use and role != KEEP:
                raise InputError(
                    f"The first account must keep the workspace: give --role {KEEP}. Otherwise "
                    "nobody could add others."
                )
            rows.execute(sa.insert(ACCOUNT).values(**row))
            forget_tries(rows, key)
        return self.by_id(str(row["id"]))

    def change(
        self,
        name: str,
        *,
        role: str | None = None,
        new_name: str | None = None,
    ) -> Account:
        """Give an account another role or another name.

        Parameters
        ----------
        name : str
            Name or id.
        role : str, optional
            One of `ROLES`.
        new_name : str, optional
            What is typed at signing in from now on.

        Returns
        -------
        Account
            As it is now.

        Raises
        ------
        InputError
            Where the name is taken, the role is unknown, or nobody would keep the workspace.
        """
        values: dict[str, Any] = {}
        if role is not None:
            _check_role(role)
            values["role"] = role
        if new_name is not None:
            values["name"] = " ".join(new_name.split())
            values["name_key"] = codes.name_key(new_name)
        with self._writing() as rows:
            row = find_named(rows, name)
            if role is not None and role != KEEP:
                check_not_last(rows, row)
            if new_name is not None and any(
                one.id != row.id
                for one in rows.execute(
                    sa.select(ACCOUNT).where(
                        ACCOUNT.c.in_use, ACCOUNT.c.name_key == values["name_key"]
                    )
                )
            ):
                raise InputError(f"An account is called {values['name']!r} already.")
            if values:
                rows.execute(sa.update(ACCOUNT).where(ACCOUNT.c.id == row.id).values(**values))
        return self.by_id(row.id)

    def close_account(self, name: str) -> Account:
        """Close an account: its visits end, and its tokens are taken no more.

        Parameters
        ----------
        name : str
            Name or id.

        Returns
        -------
        Account
            As it is now.

        Raises
        ------
        InputError
            Where nobody would keep the workspace.
        """
        with self._writing() as rows:
            row = find_named(rows, name)
            check_not_last(rows, row)
            rows.execute(
                sa.update(ACCOUNT)
                .where(ACCOUNT.c.id == row.id)
                .values(in_use=False, totp=None, totp_proposed=None)
            )
            for table in (tables.visit, tables.token, tables.recovery):
                rows.execute(sa.delete(table).where(table.c.account_id == row.id))
        return self.by_id(row.id)

    def set_language(self, account_id: str, language: str) -> None:
        """Keep the language of somebody's pages.

        Parameters
        ----------
        account_id : str
            The account.
        language : str
            The language; empty for what the browser asks for.
        """
        with self._writing() as rows:
            rows.execute(
                sa.update(ACCOUNT).where(ACCOUNT.c.id == account_id).values(language=language)
            )

    def set_password(
        self,
        account_id: str,
        password: str,
        *,
        person: str = "",
        must_change: bool = False,
        but: str | None = None,
    ) -> None:
        """Give an account another password; its visits end.

        Parameters
        ----------
        account_id : str
            The account.
        password : str
            The new password.
        person : str
            Name of the person, which the password must not hold.
        must_change : bool
            Whether it is to be changed at the next sign-in.
        but : str, optional
            Secret of the visit that goes on.

        Raises
        ------
        InputError
            Where it is not good enough.
        """
        account = self.by_id(account_id)
        passwords.check(password, names=(account.name, person))
        with self._reading() as rows:
            kept = find_account(rows, account_id).password
        if passwords.matches(kept, password):
            raise InputError("This is the password that you have. Take another one.")
        made = passwords.hashed(password)
        with self._writing() as rows:
            rows.execute(
                sa.update(ACCOUNT)
                .where(ACCOUNT.c.id == account_id)
                .values(password=made, must_change=must_change)
            )
            end_visits(rows, account_id, but)
            forget_tries(rows, codes.name_key(account.name))


def _check_role(role: str) -> None:
    if role not in ROLES:
        raise InputError(f"--role is one of: {', '.join(ROLES)}. {role!r} is none of them.")
