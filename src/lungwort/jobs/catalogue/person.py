"""Persons: who tests, decides and signs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from attrs import frozen

from lungwort.jobs.catalogue import (
    shape,
    showing,
    typed,
    voiding,
)
from lungwort.jobs.catalogue.shape import Done, Fact, Listing, Noun, Session, View
from lungwort.jobs.opening import Where, common_zone, opened
from lungwort.register.model import Person

if TYPE_CHECKING:
    from datetime import date, datetime


NOUN: Final = Noun(
    Person,
    "person",
    "persons",
    (
        Fact("name", "Name", "--name", typed.person_name),
        Fact("role", "Role", "--role", typed.words),
        Fact(
            "competent_until",
            "Competent to test until",
            "--competent-until",
            typed.or_none(typed.day),
            shape.day,
            "no competence on record",
        ),
        Fact("note", "Note", "--note", typed.words),
    ),
)


@frozen(kw_only=True)
class PersonFacts:
    """What is said of a person, as typed; None where it is not said.

    Parameters
    ----------
    name, role, competent_until, note : str, optional
        As in `lungwort.register.model.Person`.
    in_use : bool, optional
        False once the person has left.
    """

    name: str | None = None
    role: str | None = None
    competent_until: str | None = None
    note: str | None = None
    in_use: bool | None = None


def remarks_on(person: Person, at: Session, zone: str | None) -> list[str]:
    """Say what is to be minded about a person's competence.

    Parameters
    ----------
    person : Person
        The person.
    at : Session
        When.
    zone : str, optional
        Time zone of the days.

    Returns
    -------
    list of str
        Empty where the person is competent today, or has left.
    """
    if not person.in_use:
        return []
    if person.competent_until is None:
        return [
            (
                f"No competence of {person.name} is on record (--competent-until): a test by "
                f"{person.name} proves nothing until it is."
            )
        ]
    if person.competent_until < _today(at.now, zone):
        return [
            (
                f"The competence of {person.name} ended on {shape.day(person.competent_until)}: a test by "
                f"{person.name} after that proves nothing."
            )
        ]
    return []


def _today(now: datetime, zone: str | None) -> date:
    return now.astimezone(ZoneInfo(zone or "UTC")).date()


def add(at: Session, name: str, facts: PersonFacts) -> Done:
    """Record a new person.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        The person's name.
    facts : PersonFacts
        What is said of the person.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a value cannot be used, or the name is taken.
    """
    values, remarks = NOUN.values(facts)
    values["name"] = typed.person_name(name, "NAME")
    with at.recording() as (_, change, said):
        record = change.add(Person(**values))
        remarks += remarks_on(record, at, common_zone(change))
    return Done(
        record,
        f"{record.name} is on record.",
        (*said, *remarks),
        (f'lungwort test start OUTLET --by "{record.name}"',),
    )


def change(at: Session, name: str, facts: PersonFacts, reason: str | None) -> Done:
    """Record a new version of a person.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        The person's name or id.
    facts : PersonFacts
        What is different.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a value cannot be used, nothing would be different, there is no reason, or nobody
        would be left who can record.
    """
    values, remarks = NOUN.need_values(facts, reason)
    with at.recording() as (_, changing, said):
        old = changing.get(Person, name)
        if values.get("in_use") is False:
            voiding.keep_one_person(changing, old)
        new = shape.replaced(changing, NOUN, old, values, reason)
        told = shape.told_change(NOUN, old, new, {})
        remarks += remarks_on(new, at, common_zone(changing))
    return Done(new, told, (*said, *remarks))


def void(at: Session, name: str, reason: str | None) -> Done:
    """Void a person who was recorded by mistake.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        The person's name or id.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        What was done.

    Raises
    ------
    RegisterError
        Where something on record refers to the person, or nobody would be left who can record.
    """
    return voiding.void(
        at,
        NOUN,
        name,
        reason,
        instead="For somebody who has left, use 'lungwort person change NAME --retire'.",
    )


def listed(where: Where, *, retired_too: bool = False) -> Listing:
    """List the persons.

    Parameters
    ----------
    where : Where
        Which workspace.
    retired_too : bool
        Whether those who have left are listed too.

    Returns
    -------
    Listing
        The list.
    """
    with opened(where, read_only=True) as workspace:
        return showing.listing(
            NOUN,
            workspace.register.all(Person),
            retired_too=retired_too,
            headings=("name", "role", "competent to test until"),
            row=lambda one: (
                one.name,
                one.role,
                shape.day(one.competent_until)
                if one.competent_until
                else "no competence on record",
            ),
            more=lambda _: {},
            empty="Nobody is on record.",
        )


def show(where: Where, name: str, *, now: datetime, history: bool = False) -> View:
    """Show a person.

    Parameters
    ----------
    where : Where
        Which workspace.
    name : str
        The person's name or id.
    now : datetime
        The time, with a time zone.
    history : bool
        Whether all versions are listed.

    Returns
    -------
    View
        What is known of the person.

    Raises
    ------
    UnknownRecordError
        Where there is none of that name.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        person = showing.found(register, NOUN, name)
        zone = common_zone(register)
        return showing.view(
            register,
            NOUN,
            person,
            zone,
            [],
            {"person": shape.plain(person)},
            history=history,
            remarks=remarks_on(person, Session(now), zone),
        )
