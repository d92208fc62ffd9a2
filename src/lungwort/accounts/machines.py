"""Tokens of machines: what reads the record, or brings in logs, without anybody there."""

from __future__ import annotations

import secrets
from datetime import timedelta
from typing import TYPE_CHECKING, Final

import sqlalchemy as sa

from lungwort.accounts import codes, tables
from lungwort.accounts.database import Database
from lungwort.accounts.model import SCOPES, MachineToken
from lungwort.accounts.rows import ACCOUNT, find_named, seconds, to_machine
from lungwort.errors import InputError, UnknownRecordError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

TOKEN: Final = tables.token
LONGEST_TOKEN: Final = timedelta(days=2 * 366)
_SEEN_EVERY_SECONDS: Final = 60
_LONGEST_TEXT: Final = 200


class Machines(Database):
    """Tokens of machines."""

    def make_token(
        self, name: str, scopes: Iterable[str], label: str, now: datetime, expires: datetime
    ) -> str:
        """Make a token with which a machine reads or brings in logs.

        Parameters
        ----------
        name : str
            Account in whose name it acts.
        scopes : iterable of str
            Of `SCOPES`.
        label : str
            What it is for.
        now, expires : datetime
            The present moment, and from when it is no longer taken, with a time zone.

        Returns
        -------
        str
            The token; only a hash of it is kept.

        Raises
        ------
        InputError
            Where a scope is unknown, the label is missing, or it would last too long or not at all.
        """
        wanted = frozenset(scopes)
        if not wanted or not wanted <= set(SCOPES):
            raise InputError(f"--scope is one or more of: {', '.join(SCOPES)}.")
        shown = " ".join(label.split())
        if not shown or len(shown) > _LONGEST_TEXT:
            raise InputError(
                f"Say with --label what the token is for, in at most {_LONGEST_TEXT} characters."
            )
        if not now < expires <= now + LONGEST_TOKEN:
            raise InputError("--days must be from 1 to 732: a token lasts two years at most.")
        secret = codes.new_machine_secret()
        with self._writing() as rows:
            row = find_named(rows, name)
            rows.execute(
                sa.insert(TOKEN).values(
                    digest=codes.digest(secret),
                    id=secrets.token_hex(4),
                    account_id=row.id,
                    label=shown,
                    scopes=" ".join(sorted(wanted)),
                    made=seconds(now),
                    expires=seconds(expires),
                )
            )
        return secret

    def token(self, secret: str, *, now: datetime) -> MachineToken | None:
        """Find a token by its secret.

        Parameters
        ----------
        secret : str
            What the machine sent.
        now : datetime
            The present moment, with a time zone.

        Returns
        -------
        MachineToken or None
            None where it is not known, has ended, or the account is closed.
        """
        at = seconds(now)
        key = codes.digest(secret)
        joined = TOKEN.join(ACCOUNT, TOKEN.c.account_id == ACCOUNT.c.id)
        with self._reading() as rows:
            row = rows.execute(
                sa.select(TOKEN)
                .select_from(joined)
                .where(TOKEN.c.digest == key, ACCOUNT.c.in_use, TOKEN.c.expires > at)
            ).first()
        if row is None:
            return None
        if row.last_used is None or at - row.last_used >= _SEEN_EVERY_SECONDS:
            with self._writing() as rows:
                rows.execute(sa.update(TOKEN).where(TOKEN.c.digest == key).values(last_used=at))
        return to_machine(row)

    def tokens(self) -> tuple[MachineToken, ...]:
        """Give all tokens that were not revoked, the newest first."""
        with self._reading() as rows:
            return tuple(
                to_machine(row)
                for row in rows.execute(sa.select(TOKEN).order_by(TOKEN.c.made.desc(), TOKEN.c.id))
            )

    def revoke(self, token_id: str) -> MachineToken:
        """Take a token no more.

        Parameters
        ----------
        token_id : str
            Its id.

        Returns
        -------
        MachineToken
            As it was.

        Raises
        ------
        UnknownRecordError
            Where there is none.
        """
        with self._writing() as rows:
            row = rows.execute(sa.select(TOKEN).where(TOKEN.c.id == token_id)).first()
            if row is None:
                raise UnknownRecordError(
                    f"There is no token {token_id!r}. See 'lungwort account token list'."
                )
            rows.execute(sa.delete(TOKEN).where(TOKEN.c.id == token_id))
        return to_machine(row)
