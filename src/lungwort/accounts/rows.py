"""What is asked of the tables of accounts in several places."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

import sqlalchemy as sa

from lungwort.accounts import codes, tables, throttle
from lungwort.accounts.model import KEEP, Account, MachineToken, SignInError
from lungwort.errors import InputError, UnknownRecordError

if TYPE_CHECKING:
    from collections.abc import Iterable

ACCOUNT: Final = tables.account
_ATTEMPT: Final = tables.attempt
_CLOSED_BY_TRIES: Final = (
    "There were too many failed tries with this name. It is closed until somebody who keeps the "
    "workspace gives it a new password."
)
_LAST_KEEPER: Final = (
    "{name} is the last account that keeps the workspace, and so it cannot be closed or get "
    "another role. Give another account the role 'keep' first."
)
NAME: Final = "name"
PEER: Final = "peer"


def seconds(moment: datetime) -> int:
    """Write a moment as whole seconds since 1970, UTC [s]."""
    return int(moment.timestamp())


def moment(at: int) -> datetime:
    """Read a moment that `seconds` wrote."""
    return datetime.fromtimestamp(at, UTC)


def to_account(row: sa.Row[Any]) -> Account:
    """Make an account of its row."""
    return Account(
        id=row.id,
        person_id=row.person_id,
        name=row.name,
        role=row.role,
        totp=row.totp is not None,
        must_change=row.must_change,
        in_use=row.in_use,
        language=row.language,
    )


def to_machine(row: sa.Row[Any]) -> MachineToken:
    """Make a token of its row."""
    return MachineToken(
        id=row.id,
        account_id=row.account_id,
        label=row.label,
        scopes=frozenset(row.scopes.split()),
        made=moment(row.made),
        expires=moment(row.expires),
        last_used=None if row.last_used is None else moment(row.last_used),
    )


def find_account(rows: sa.Connection, account_id: str) -> sa.Row[Any]:
    """Find the row of an account by its id, also of a closed one."""
    row = rows.execute(sa.select(ACCOUNT).where(ACCOUNT.c.id == account_id)).first()
    if row is None:
        raise UnknownRecordError("There is no such account.")
    return row


def find_named(rows: sa.Connection, name: str) -> sa.Row[Any]:
    """Find the row of an account in use by its name or id."""
    found = rows.execute(
        sa.select(ACCOUNT).where(
            ACCOUNT.c.in_use,
            sa.or_(ACCOUNT.c.name_key == codes.name_key(name), ACCOUNT.c.id == name.strip()),
        )
    ).all()
    if not found:
        raise UnknownRecordError(
            f"No account in use is called {name!r}. See 'lungwort account list'."
        )
    # A name that is another account's id would be a strange one; the id is what is unique.
    return next((row for row in found if row.id == name.strip()), found[0])


def check_not_last(rows: sa.Connection, row: sa.Row[Any]) -> None:
    """Refuse to take away the last account that keeps the workspace."""
    if row.role != KEEP:
        return
    others = rows.execute(
        sa.select(sa.func.count()).where(
            ACCOUNT.c.in_use, ACCOUNT.c.role == KEEP, ACCOUNT.c.id != row.id
        )
    ).scalar_one()
    if not others:
        raise InputError(_LAST_KEEPER.format(name=row.name))


def end_visits(rows: sa.Connection, account_id: str, but: str | None) -> None:
    """End the visits of an account, but for one."""
    table = tables.visit
    ended = sa.delete(table).where(table.c.account_id == account_id)
    if but is not None:
        ended = ended.where(table.c.digest != codes.digest(but))
    rows.execute(ended)


def check_tries(rows: sa.Connection, subjects: Iterable[tuple[str, str]], now: datetime) -> None:
    """Refuse a try that comes too early after failed ones."""
    for kind, subject in subjects:
        row = rows.execute(_one_attempt(kind, subject)).first()
        if row is None:
            continue
        if kind == NAME and row.failures >= throttle.MOST_FOR_NAME:
            raise SignInError(_CLOSED_BY_TRIES)
        free = throttle.FREE_FOR_NAME if kind == NAME else throttle.FREE_FOR_PEER
        # A clock that was set back must not lock anybody out for longer than the wait itself.
        wait = throttle.wait_seconds(row.failures, free=free)
        left = min(row.last + wait - seconds(now), wait)
        if left > 0:
            raise SignInError(
                f"There were too many failed tries. Wait {_words(left)}, then try again."
            )


def _words(wait: int) -> str:
    minute = 60
    if wait < minute:
        return f"{wait} second{'s' if wait != 1 else ''}"
    minutes = -(-wait // minute)
    return f"{minutes} minute{'s' if minutes != 1 else ''}"


def _one_attempt(kind: str, subject: str) -> sa.Select[Any]:
    return sa.select(_ATTEMPT).where(_ATTEMPT.c.kind == kind, _ATTEMPT.c.subject == subject)


def count_try(rows: sa.Connection, kind: str, subject: str, now: datetime) -> None:
    """Count a try as failed; it is taken back where it was not."""
    row = rows.execute(_one_attempt(kind, subject)).first()
    if row is None:
        rows.execute(
            sa.insert(_ATTEMPT).values(kind=kind, subject=subject, failures=1, last=seconds(now))
        )
        return
    rows.execute(
        sa.update(_ATTEMPT)
        .where(_ATTEMPT.c.kind == kind, _ATTEMPT.c.subject == subject)
        .values(failures=row.failures + 1, last=seconds(now))
    )


def forget_tries(rows: sa.Connection, key: str) -> None:
    """Forget all failed tries with a name."""
    rows.execute(sa.delete(_ATTEMPT).where(_ATTEMPT.c.kind == NAME, _ATTEMPT.c.subject == key))


def take_back_try(rows: sa.Connection, peer: str) -> None:
    """Take back one try from an address.

    Its other failed tries stay, so that somebody with an account of their own cannot go on
    guessing at others' by signing in now and then.
    """
    rows.execute(
        sa.update(_ATTEMPT)
        .where(_ATTEMPT.c.kind == PEER, _ATTEMPT.c.subject == peer, _ATTEMPT.c.failures > 0)
        .values(failures=_ATTEMPT.c.failures - 1)
    )


def forget_old_tries(rows: sa.Connection, now: datetime) -> None:
    """Forget what lies long back; tries with the name of an account stay until it is signed in to."""
    known = sa.select(ACCOUNT.c.name_key).where(ACCOUNT.c.in_use)
    peer_until = seconds(now - throttle.FORGET_PEER_AFTER)
    name_until = seconds(now - throttle.FORGET_NAME_AFTER)
    rows.execute(sa.delete(_ATTEMPT).where(_ATTEMPT.c.kind == PEER, _ATTEMPT.c.last < peer_until))
    rows.execute(
        sa.delete(_ATTEMPT).where(
            _ATTEMPT.c.kind == NAME,
            _ATTEMPT.c.last < name_until,
            _ATTEMPT.c.subject.not_in(known),
        )
    )


def take_code(rows: sa.Connection, row: sa.Row[Any], code: str, now: datetime) -> bool:
    """Take a one-time code or a recovery code, each once; False where it is neither."""
    account = find_account(rows, row.id)
    if account.totp is None:
        return True
    step = codes.step_of(account.totp, code, now=now, after=account.totp_step)
    if step is not None:
        rows.execute(sa.update(ACCOUNT).where(ACCOUNT.c.id == account.id).values(totp_step=step))
        return True
    table = tables.recovery
    used = rows.execute(
        sa.delete(table).where(
            table.c.account_id == account.id,
            table.c.digest == codes.digest(codes.plain_recovery_code(code)),
        )
    )
    return used.rowcount == 1


def keep_recovery(rows: sa.Connection, account_id: str, made: Iterable[str]) -> None:
    """Put new recovery codes in the place of the old ones."""
    table = tables.recovery
    rows.execute(sa.delete(table).where(table.c.account_id == account_id))
    for one in made:
        rows.execute(sa.insert(table).values(digest=codes.digest(one), account_id=account_id))
