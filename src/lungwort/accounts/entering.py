"""Signing in: password, one-time code, and how often it may be tried."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import sqlalchemy as sa

from lungwort.accounts import codes, passwords, tables, throttle
from lungwort.accounts.database import Database
from lungwort.accounts.model import Account, SignInError
from lungwort.accounts.rows import (
    ACCOUNT,
    NAME,
    PEER,
    check_tries,
    count_try,
    find_account,
    forget_old_tries,
    forget_tries,
    keep_recovery,
    take_back_try,
    take_code,
    to_account,
)
from lungwort.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

_LONGEST_TEXT: Final = 200
_WRONG: Final = (
    "The name, the password or the one-time code is wrong, or the account is closed. "
    "Try again, or ask somebody who keeps the workspace."
)


class Entering(Database):
    """Who may come in."""

    def sign_in(
        self,
        name: str,
        password: str,
        code: str | None,
        *,
        now: datetime,
        peer: str,
        may: Callable[[str], bool] = lambda _: True,
    ) -> Account:
        """Find out whether somebody may come in.

        Whatever is wrong, the answer is the same, and a hash of the same cost was computed.

        Parameters
        ----------
        name, password : str
            As typed.
        code : str, optional
            One-time code or recovery code, for accounts that need one.
        now : datetime
            The present moment, with a time zone.
        peer : str
            Address that the try comes from.
        may : callable
            Tells of the id of a person whether it is on record and in use.

        Returns
        -------
        Account
            The account.

        Raises
        ------
        SignInError
            Where something is wrong, or there were too many failed tries.
        """
        try:
            key = codes.name_key(name[:_LONGEST_TEXT])
        except InputError as error:
            raise SignInError("Give your name and your password.") from error
        subjects = ((NAME, key), (PEER, throttle.peer_key(peer)))
        # The try is counted before the password is looked at: many tries at the same moment must
        # not all pass before the first of them has failed.
        with self._writing() as rows:
            forget_old_tries(rows, now)
            check_tries(rows, subjects, now)
            for kind, subject in subjects:
                count_try(rows, kind, subject, now)
            row = rows.execute(
                sa.select(ACCOUNT).where(ACCOUNT.c.in_use, ACCOUNT.c.name_key == key)
            ).first()
        nobodys = passwords.nobodys()
        right = passwords.matches(nobodys if row is None else row.password, password)
        if row is None or not right or not may(row.person_id):
            raise SignInError(_WRONG)
        again = passwords.hashed(password) if passwords.is_outdated(row.password) else None
        with self._writing() as rows:
            if row.totp is not None and not take_code(rows, row, code or "", now):
                raise SignInError(_WRONG)
            if again is not None:
                rows.execute(
                    sa.update(ACCOUNT).where(ACCOUNT.c.id == row.id).values(password=again)
                )
            forget_tries(rows, key)
            take_back_try(rows, subjects[1][1])
        return to_account(row)

    def check_password(self, account_id: str, password: str, *, now: datetime, peer: str) -> None:
        """Check the password of somebody who is signed in, before something grave.

        Parameters
        ----------
        account_id : str
            The account.
        password : str
            As typed.
        now : datetime
            The present moment, with a time zone.
        peer : str
            Address that the try comes from.

        Raises
        ------
        SignInError
            Where it is wrong, or there were too many failed tries.
        """
        key = codes.name_key(self.by_id(account_id).name)
        subjects = ((NAME, key), (PEER, throttle.peer_key(peer)))
        with self._writing() as rows:
            check_tries(rows, subjects, now)
            for kind, subject in subjects:
                count_try(rows, kind, subject, now)
            kept = find_account(rows, account_id).password
        if not passwords.matches(kept, password):
            raise SignInError("The present password is wrong. Nothing was changed.")
        with self._writing() as rows:
            forget_tries(rows, key)
            take_back_try(rows, subjects[1][1])

    def totp_begin(self, account_id: str) -> str:
        """Propose a secret for one-time codes; it counts once a code of it was given.

        Parameters
        ----------
        account_id : str
            The account.

        Returns
        -------
        str
            The secret, base 32.
        """
        secret = codes.new_secret()
        with self._writing() as rows:
            rows.execute(
                sa.update(ACCOUNT).where(ACCOUNT.c.id == account_id).values(totp_proposed=secret)
            )
        return secret

    def totp_proposed(self, account_id: str) -> str | None:
        """Give the secret that was proposed and not confirmed yet.

        Parameters
        ----------
        account_id : str
            The account.

        Returns
        -------
        str or None
            The secret, base 32.
        """
        with self._reading() as rows:
            found: str | None = rows.execute(
                sa.select(ACCOUNT.c.totp_proposed).where(ACCOUNT.c.id == account_id)
            ).scalar_one()
        return found

    def totp_confirm(self, account_id: str, code: str, *, now: datetime) -> tuple[str, ...]:
        """Ask for one-time codes from now on.

        Parameters
        ----------
        account_id : str
            The account.
        code : str
            A code of the proposed secret, as typed.
        now : datetime
            The present moment, with a time zone.

        Returns
        -------
        tuple of str
            Recovery codes, each good once; only hashes of them are kept.

        Raises
        ------
        InputError
            Where no secret was proposed, or the code is not one of it.
        """
        recovery = codes.new_recovery_codes()
        with self._writing() as rows:
            secret = rows.execute(
                sa.select(ACCOUNT.c.totp_proposed).where(ACCOUNT.c.id == account_id)
            ).scalar_one()
            if secret is None:
                raise InputError("Set up one-time codes first, then give a code.")
            step = codes.step_of(secret, code, now=now)
            if step is None:
                raise InputError(
                    "This is not the code of the moment. Check that the clocks of the device and "
                    "of this computer are right, and give the next code."
                )
            rows.execute(
                sa.update(ACCOUNT)
                .where(ACCOUNT.c.id == account_id)
                .values(totp=secret, totp_step=step, totp_proposed=None)
            )
            keep_recovery(rows, account_id, recovery)
        return recovery

    def totp_drop(self, account_id: str) -> None:
        """Ask for one-time codes no more.

        Parameters
        ----------
        account_id : str
            The account.
        """
        with self._writing() as rows:
            rows.execute(
                sa.update(ACCOUNT)
                .where(ACCOUNT.c.id == account_id)
                .values(totp=None, totp_proposed=None)
            )
            keep_recovery(rows, account_id, ())

    def recovery_left(self, account_id: str) -> int:
        """Count the recovery codes that were not used.

        Parameters
        ----------
        account_id : str
            The account.

        Returns
        -------
        int
            How many [1].
        """
        with self._reading() as rows:
            return int(
                rows.execute(
                    sa.select(sa.func.count()).where(tables.recovery.c.account_id == account_id)
                ).scalar_one()
            )
