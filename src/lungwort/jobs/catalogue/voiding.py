"""Voiding what was recorded by mistake, as long as nothing rests on it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, TypeVar

from lungwort.errors import RegisterError
from lungwort.jobs.catalogue.shape import Done, name_of, need_reason
from lungwort.register.checking import id_prefix, is_id, references
from lungwort.register.model import KINDS, Person, Record

if TYPE_CHECKING:
    from lungwort.jobs.catalogue.shape import Noun, Session
    from lungwort.register.records import Change, Reader

R = TypeVar("R", bound=Record)

MOST_REFERENCES: Final = 5


def referring(register: Reader, record: Record) -> list[Record]:
    """Find the records in force that refer to a thing.

    Parameters
    ----------
    register : Reader
        The record.
    record : Record
        The thing.

    Returns
    -------
    list of Record
        All of them, in order of kind.
    """
    return [
        one
        for kind in KINDS.values()
        for one in register.all(kind)
        if one.id != record.id and any(named == record.id for _, _, named in references(one))
    ]


def refuse_if_referred_to(change: Change, record: Record, called: str, instead: str) -> None:
    """Refuse to void what other records in force rest on.

    Parameters
    ----------
    change : Change
        The open change.
    record : Record
        What is to be voided.
    called : str
        What it is called, for the message.
    instead : str
        What to do instead: a whole sentence.

    Raises
    ------
    RegisterError
        Where something refers to it; the message names it.
    """
    known = referring(change, record)
    if not known:
        return
    listed = ", ".join(
        f"{one.KIND.replace('_', ' ')} {name_of(one)}" for one in known[:MOST_REFERENCES]
    )
    more = len(known) - MOST_REFERENCES
    raise RegisterError(
        f"{called} cannot be voided: {listed}{f' and {more} more' if more > 0 else ''} on record "
        f"refer{'s' if len(known) == 1 else ''} to it. Void is for what was recorded by mistake and "
        f"is used nowhere. {instead}"
    )


def void(
    at: Session,
    noun: Noun[R],
    name_or_id: str,
    reason: str | None,
    *,
    parts: tuple[Noun[Any], ...] = (),
    instead: str,
) -> Done:
    """Void a thing, or something that was recorded of it.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    noun : Noun
        What kind of thing it is.
    name_or_id : str
        Its name, or the id of one of its ``parts``.
    reason : str, optional
        Why.
    parts : tuple of Noun
        Kinds of records that belong to such a thing and are called by id.
    instead : str
        What to do where others refer to it: a whole sentence.

    Returns
    -------
    Done
        What was done.

    Raises
    ------
    RegisterError
        Where other records in force refer to it.
    """
    why = need_reason(reason)
    asked = name_or_id.strip()
    chosen: Noun[Any] = noun
    for part in parts:
        if is_id(asked) and asked.rpartition("-")[0] == id_prefix(part.kind.KIND):
            chosen = part
    with at.recording() as (_, change, remarks):
        old = change.get(chosen.kind, asked)
        called = chosen.called(old)
        if isinstance(old, Person):
            _keep_one_person(change, old, "voided")
        refuse_if_referred_to(change, old, called[0].upper() + called[1:], instead)
        gone = change.void(old, why)
    return Done(
        gone,
        f"{called[0].upper()}{called[1:]} is void. It stays in the record with the reason, and counts "
        "no more.",
        tuple(remarks),
    )


def _keep_one_person(change: Change, old: Person, word: str) -> None:
    others = [one for one in change.all(Person) if one.in_use and one.id != old.id]
    if not others:
        raise RegisterError(
            f"{old.name} is the only person in use and cannot be {word}: nobody could record "
            "anything any more. Add another person first with 'lungwort person add NAME'."
        )


def keep_one_person(change: Change, old: Person) -> None:
    """Refuse to retire the only person in use."""
    _keep_one_person(change, old, "retired")
