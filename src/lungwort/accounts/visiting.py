"""Visits of accounts: they outlive the server, and end after idle hours and after days."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING, Final

import sqlalchemy as sa

from lungwort.accounts import codes, tables
from lungwort.accounts.database import Database
from lungwort.accounts.model import IDLE, LONGEST, Account, KnownVisit
from lungwort.accounts.rows import ACCOUNT, end_visits, moment, seconds, to_account

if TYPE_CHECKING:
    from datetime import datetime

VISIT: Final = tables.visit
_SEEN_EVERY_SECONDS: Final = 60
_LONGEST_TEXT: Final = 200


class Visiting(Database):
    """Visits of accounts."""

    def begin(self, account: Account, *, now: datetime, peer: str = "", browser: str = "") -> str:
        """Begin a visit of an account.

        Parameters
        ----------
        account : Account
            Who signed in.
        now : datetime
            The present moment, with a time zone.
        peer, browser : str
            Where it comes from, for the list of visits.

        Returns
        -------
        str
            The secret of its cookie; only a hash of it is kept.
        """
        secret = codes.new_visit_secret()
        at = seconds(now)
        with self._writing() as rows:
            rows.execute(
                sa.delete(VISIT).where(
                    sa.or_(
                        VISIT.c.seen < at - int(IDLE.total_seconds()),
                        VISIT.c.begun < at - int(LONGEST.total_seconds()),
                    )
                )
            )
            rows.execute(
                sa.insert(VISIT).values(
                    digest=codes.digest(secret),
                    id=secrets.token_hex(8),
                    account_id=account.id,
                    begun=at,
                    seen=at,
                    peer=peer[:_LONGEST_TEXT],
                    browser=browser[:_LONGEST_TEXT],
                )
            )
        return secret

    def visit(self, secret: str, *, now: datetime) -> Account | None:
        """Find who a visit belongs to.

        Parameters
        ----------
        secret : str
            Secret of its cookie.
        now : datetime
            The present moment, with a time zone.

        Returns
        -------
        Account or None
            None where the visit is not known, has ended, or the account is closed.
        """
        key = codes.digest(secret)
        at = seconds(now)
        joined = VISIT.join(ACCOUNT, VISIT.c.account_id == ACCOUNT.c.id)
        with self._reading() as rows:
            row = rows.execute(
                sa.select(ACCOUNT, VISIT.c.begun, VISIT.c.seen)
                .select_from(joined)
                .where(VISIT.c.digest == key, ACCOUNT.c.in_use)
            ).first()
        if (
            row is None
            or at - row.seen > IDLE.total_seconds()
            or at - row.begun > LONGEST.total_seconds()
        ):
            return None
        if at - row.seen >= _SEEN_EVERY_SECONDS:
            with self._writing() as rows:
                rows.execute(sa.update(VISIT).where(VISIT.c.digest == key).values(seen=at))
        return to_account(row)

    def visits(self, account_id: str, *, now: datetime, here: str = "") -> tuple[KnownVisit, ...]:
        """Give the visits of an account that have not ended, the newest first.

        Parameters
        ----------
        account_id : str
            The account.
        now : datetime
            The present moment, with a time zone.
        here : str
            Secret of the visit that asks.

        Returns
        -------
        tuple of KnownVisit
            The visits.
        """
        at = seconds(now)
        with self._reading() as rows:
            found = rows.execute(
                sa.select(VISIT)
                .where(
                    VISIT.c.account_id == account_id,
                    VISIT.c.seen >= at - int(IDLE.total_seconds()),
                    VISIT.c.begun >= at - int(LONGEST.total_seconds()),
                )
                .order_by(VISIT.c.seen.desc(), VISIT.c.id)
            ).all()
        return tuple(
            KnownVisit(
                row.id,
                moment(row.begun),
                moment(row.seen),
                row.peer,
                row.browser,
                here=row.digest == codes.digest(here),
            )
            for row in found
        )

    def end(self, secret: str) -> None:
        """End a visit.

        Parameters
        ----------
        secret : str
            Secret of its cookie.
        """
        with self._writing() as rows:
            rows.execute(sa.delete(VISIT).where(VISIT.c.digest == codes.digest(secret)))

    def end_all(self, account_id: str, *, but: str | None = None) -> None:
        """End all visits of an account.

        Parameters
        ----------
        account_id : str
            The account.
        but : str, optional
            Secret of the visit that goes on.
        """
        with self._writing() as rows:
            end_visits(rows, account_id, but)
