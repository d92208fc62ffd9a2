"""Visits: what the server remembers of a browser between two requests."""

from __future__ import annotations

import hashlib
import re
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from attrs import define, evolve, field

from lungwort.accounts.model import (
    IDLE,
    IMPORT,
    LONGEST,
    LOOK,
    ROLES,
    TEST,
    Account,
    MachineToken,
)
from lungwort.accounts.store import FILE

if TYPE_CHECKING:
    from lungwort.accounts.store import Accounts

COOKIE: Final = "lungwort_visit"
LANGUAGE_COOKIE: Final = "lungwort_language"
PERSON_EVERY: Final = timedelta(minutes=1)
"""How often it is looked up whether the person of an account is still on record and in use."""

MOST_VISITS: Final = 10_000
"""Visits kept in memory; the one that was not seen for longest is forgotten first."""

_TOKEN: Final = re.compile(r"[A-Za-z0-9_-]{43}")
_TOKEN_BYTES: Final = 32


def new_token() -> str:
    """Make a secret of 256 random bits."""
    return secrets.token_urlsafe(_TOKEN_BYTES)


def csrf_of(token: str) -> str:
    """Give the form token that belongs to a visit.

    It follows from the visit's secret and does not tell it, so that a form that stood open
    while the server was started anew can still be sent.

    Parameters
    ----------
    token : str
        The visit's secret.

    Returns
    -------
    str
        The form token.
    """
    return hashlib.sha256(b"lungwort form token\0" + token.encode("utf-8")).hexdigest()


@define(slots=False)
class Visit:
    """A browser's visit.

    Parameters
    ----------
    token : str
        Secret that the cookie carries.
    csrf : str
        What every form sends along.
    begun : datetime
        When it began, UTC.
    seen : datetime
        When the last request came, UTC.
    account : Account, optional
        Who is signed in.
    person : str, optional
        Name of the person who acts, chosen where no accounts are needed.
    language : str, optional
        Language that was chosen.
    notes : list of dict
        What is to be told on the next page.
    machine : MachineToken, optional
        The token of the machine that asks; None for a browser.
    """

    token: str
    csrf: str
    begun: datetime
    seen: datetime
    account: Account | None = None
    person: str | None = None
    language: str | None = None
    notes: list[dict[str, Any]] = field(factory=list)
    machine: MachineToken | None = None


class Visits:
    """All visits; those of accounts outlive the server, the others do not.

    Parameters
    ----------
    folder : callable
        Gives the folder of the workspace; None while there is none.
    clock : callable
        Gives the present moment, UTC.

    Attributes
    ----------
    always : bool
        Whether somebody must sign in even where there are no accounts (and so nobody can): set
        where others than this computer reach the server, so that it is not open to all of them
        once the file of the accounts is gone.
    """

    def __init__(self, folder: Callable[[], Path | None], *, clock: Callable[[], datetime]) -> None:
        self._folder = folder
        self._clock = clock
        self.always = False
        self._persons: dict[str, tuple[datetime, bool]] = {}
        self._known: OrderedDict[str, Visit] = OrderedDict()
        self._lock = threading.Lock()
        self._accounts: tuple[Path, Accounts] | None = None

    def now(self) -> datetime:
        """Read the clock."""
        return self._clock()

    def needs_sign_in(self) -> bool:
        """Tell whether somebody must sign in: as soon as there are accounts."""
        folder = self._folder()
        return self.always or (folder is not None and (folder / FILE).exists())

    def accounts(self) -> Accounts | None:
        """Open the accounts of the workspace; None where there are none."""
        folder = self._folder()
        if folder is None or not (folder / FILE).exists():
            return None
        from lungwort.accounts.store import open_accounts  # noqa: PLC0415 - needs the database

        with self._lock:
            if self._accounts is None or self._accounts[0] != folder:
                self._accounts = (folder, open_accounts(folder, create=False))
            return self._accounts[1]

    def new(self, now: datetime) -> Visit:
        """Begin a visit of a browser that was not seen before.

        Parameters
        ----------
        now : datetime
            The present moment, UTC.

        Returns
        -------
        Visit
            Nobody is signed in to it.
        """
        token = new_token()
        return self._kept(Visit(token, csrf_of(token), begun=now, seen=now))

    def get(self, cookie: str | None, now: datetime) -> Visit | None:
        """Find the visit that a cookie belongs to.

        Parameters
        ----------
        cookie : str, optional
            What the browser sent.
        now : datetime
            The present moment, UTC.

        Returns
        -------
        Visit or None
            None where it is not known or has ended.
        """
        if cookie is None or not _TOKEN.fullmatch(cookie):
            return None
        accounts = self.accounts()
        account = None if accounts is None else accounts.visit(cookie, now=now)
        if accounts is not None and account is not None and not self._acts(account, now):
            accounts.end(cookie)
            account = None
        with self._lock:
            visit = self._known.get(cookie)
            if visit is not None:
                ended = now - visit.seen > IDLE or now - visit.begun > LONGEST
                signed_out = visit.account is not None and account is None
                if ended or signed_out:
                    del self._known[cookie]
                    visit = None
        if visit is None:
            if account is None:
                return None
            visit = Visit(cookie, csrf_of(cookie), begun=now, seen=now)
        visit.account = account
        if account is not None and account.language:
            visit.language = account.language
        visit.seen = now
        return self._kept(visit)

    def _acts(self, account: Account, now: datetime) -> bool:
        from lungwort.jobs.account import person_in_use  # noqa: PLC0415 - opens the record
        from lungwort.jobs.opening import Where  # noqa: PLC0415 - see above

        known = self._persons.get(account.person_id)
        if known is None or not timedelta(0) <= now - known[0] < PERSON_EVERY:
            known = (now, person_in_use(Where(workspace=self._folder()), account.person_id))
            self._persons[account.person_id] = known
        return known[1]

    def _kept(self, visit: Visit) -> Visit:
        with self._lock:
            self._known[visit.token] = visit
            self._known.move_to_end(visit.token)
            while len(self._known) > MOST_VISITS:
                self._known.popitem(last=False)
        return visit

    def save(self, visit: Visit) -> None:
        """Keep what was changed on a visit; its language goes with the account.

        Parameters
        ----------
        visit : Visit
            The visit.
        """
        accounts = self.accounts()
        if visit.account is not None and accounts is not None and visit.machine is None:
            accounts.set_language(visit.account.id, visit.language or "")
        self._kept(visit)

    def enter(
        self, visit: Visit, account: Account, now: datetime, *, peer: str = "", browser: str = ""
    ) -> None:
        """Sign somebody in: the visit goes on under a new secret.

        Parameters
        ----------
        visit : Visit
            The visit.
        account : Account
            Who gave the right password.
        now : datetime
            The present moment, UTC.
        peer, browser : str
            Address and browser, for the list of visits.
        """
        accounts = self.accounts()
        assert accounts is not None  # noqa: S101 - an account was found in them
        token = accounts.begin(account, now=now, peer=peer, browser=browser)
        self._moved(visit, token, now)
        visit.account = account
        visit.person = None

    def leave(self, visit: Visit, now: datetime) -> None:
        """Sign out: the visit ends, and an empty one begins in its place.

        Parameters
        ----------
        visit : Visit
            The visit.
        now : datetime
            The present moment, UTC.
        """
        if (accounts := self.accounts()) is not None:
            accounts.end(visit.token)
        self._moved(visit, new_token(), now)
        visit.account = None
        visit.person = None
        visit.notes = []

    def _moved(self, visit: Visit, token: str, now: datetime) -> None:
        with self._lock:
            self._known.pop(visit.token, None)
        visit.token, visit.csrf = token, csrf_of(token)
        visit.begun = visit.seen = now
        self._kept(visit)

    def machine(self, secret: str, now: datetime) -> Visit | None:
        """Find the machine that a bearer token belongs to.

        Parameters
        ----------
        secret : str
            The token.
        now : datetime
            The present moment, UTC.

        Returns
        -------
        Visit or None
            A visit for this request alone, whose account has no more than the role ``look``
            (``test`` with the scope ``import``); None where the token is not taken.
        """
        accounts = self.accounts()
        found = None if accounts is None else accounts.token(secret, now=now)
        if accounts is None or found is None:
            return None
        account = accounts.by_id(found.account_id)
        if not self._acts(account, now):
            return None
        most = TEST if IMPORT in found.scopes else LOOK
        role = min(account.role, most, key=ROLES.index)
        return Visit(
            "",
            new_token(),
            begun=now,
            seen=now,
            account=evolve(account, role=role, must_change=False),
            machine=found,
        )
