"""What adding, changing, listing and showing have in common for every kind of thing."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final, Generic, TypeVar

import attrs
from attrs import field, frozen

from lungwort.errors import InputError, StaleRecordError
from lungwort.jobs.catalogue import chosen, typed
from lungwort.jobs.opening import Where, changer, opened
from lungwort.paper.text import NO_VALUE, Clock, month_name
from lungwort.register.convert import to_plain
from lungwort.register.model import KINDS, Record

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from datetime import date, datetime
    from decimal import Decimal

    from lungwort.register.records import Change, Reader
    from lungwort.register.workspace import Workspace

R = TypeVar("R", bound=Record)

MOST_REFERENCES: Final = 5
_BOOKKEEPING: Final = frozenset({"id", "version", "seq", "reason"})


class ChangedMeanwhileError(StaleRecordError):
    """Somebody else changed a thing since it was opened to be changed."""


@frozen
class Seen:
    """The version of a thing that somebody saw when they began to change it.

    Parameters
    ----------
    kind : type
        Class of its records.
    thing_id : str
        Its id.
    version : int
        Number of the version [1].
    """

    kind: type[Record]
    thing_id: str
    version: int

    def check(self, register: Reader) -> None:
        """Refuse to go on where another version is in force by now.

        Parameters
        ----------
        register : Reader
            The record, opened for the change.

        Raises
        ------
        ChangedMeanwhileError
            Where somebody else changed it.
        """
        now = register.get(self.kind, self.thing_id)
        if now.version != self.version:
            who = register.entry(now.seq).who
            raise ChangedMeanwhileError(
                f"{who} changed it meanwhile: version {now.version} is in force, and this was "
                f"opened on version {self.version}. Nothing was recorded. Look at both, and save "
                "again what is still to change."
            )


@frozen
class Session:
    """Where, when and by whom something is recorded.

    Parameters
    ----------
    now : datetime
        The time, with a time zone.
    where : Where
        Which workspace.
    by : str, optional
        Who makes the change.
    clock_is_right : bool
        Whether the user says that the clock is right, though the record is ahead of it.
    seen : Seen, optional
        What is to be changed, as it was seen; None where that does not matter.
    """

    now: datetime
    where: Where = field(factory=Where)
    by: str | None = None
    clock_is_right: bool = False
    seen: Seen | None = None

    @contextmanager
    def recording(self) -> Iterator[tuple[Workspace, Change, list[str]]]:
        """Open the workspace and one change of its record.

        Yields
        ------
        tuple of (Workspace, Change, list of str)
            The workspace, the change, and what was taken for granted about who makes it.
        """
        with opened(self.where) as workspace:
            who = changer(workspace.register, self.by)
            with workspace.register.change(
                who=who.name, now=self.now, clock_is_right=self.clock_is_right
            ) as change:
                if self.seen is not None:
                    self.seen.check(change)
                yield workspace, change, [who.remark] if who.remark else []


@frozen
class Taken:
    """A value, and what was taken for granted about it.

    Parameters
    ----------
    value : object
        The value.
    remarks : tuple of str
        The remarks.
    """

    value: object
    remarks: tuple[str, ...] = ()


@frozen
class Fact:
    """One thing that is said of a kind of thing.

    Parameters
    ----------
    field : str
        Field of the record.
    label : str
        As shown.
    option : str
        Option that gives it.
    read : callable
        From the text and the option to the value (or a `Taken`).
    show : callable
        From the value to words.
    missing : str
        What is shown where there is no value.
    """

    field: str
    label: str
    option: str
    read: Callable[[str, str], object]
    show: Callable[[Any], str] = str
    missing: str = NO_VALUE

    def words(self, value: object) -> str:
        """Write a value, or what is shown where there is none."""
        if value is None or value in ("", ()):
            return self.missing
        return self.show(value) or self.missing


@frozen
class Done:
    """What a change did.

    Parameters
    ----------
    record : Record
        What is on record now.
    said : str
        One sentence on it.
    remarks : tuple of str
        What to mind.
    next_steps : tuple of str
        What to do next.
    outside : bool
        Whether what was recorded is outside a limit.
    """

    record: Record
    said: str
    remarks: tuple[str, ...] = ()
    next_steps: tuple[str, ...] = ()
    outside: bool = False


@frozen
class Section:
    """A table under a heading.

    Parameters
    ----------
    title : str
        The heading.
    headings : tuple of str
        Of the columns.
    rows : tuple of tuple of str
        The rows.
    empty : str
        What is said where there is no row.
    below : tuple of str
        Lines under the table.
    """

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    empty: str = "Nothing on record."
    below: tuple[str, ...] = ()


@frozen
class Listing:
    """The things of one kind.

    Parameters
    ----------
    table : Section
        As shown.
    remarks : tuple of str
        What is not shown, and what to do next.
    plain : dict
        The same as JSON values.
    """

    table: Section
    remarks: tuple[str, ...]
    plain: dict[str, Any]


@frozen
class View:
    """One thing with all that is known of it.

    Parameters
    ----------
    title : str
        What it is and how it is called.
    facts : tuple of (str, str)
        Label and words.
    sections : tuple of Section
        What belongs to it.
    remarks : tuple of str
        What to mind.
    plain : dict
        The same as JSON values.
    """

    title: str
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    remarks: tuple[str, ...]
    plain: dict[str, Any]


@frozen
class Noun(Generic[R]):
    """One kind of thing, as commands know it.

    Parameters
    ----------
    kind : type
        Class of its records.
    word, plural : str
        What it is called; the word is also its command.
    facts : tuple of Fact
        What is said of it, in the order in which it is shown.
    """

    kind: type[R]
    word: str
    plural: str
    facts: tuple[Fact, ...]

    def values(self, given: object) -> tuple[dict[str, Any], list[str]]:
        """Read what was given.

        Parameters
        ----------
        given : object
            Attrs object with a field a fact: the text as typed, or None where it was not given.

        Returns
        -------
        tuple of (dict, list of str)
            Values by field, and what was taken for granted.
        """
        found: dict[str, Any] = {}
        remarks: list[str] = []
        for fact in self.facts:
            text = getattr(given, fact.field, None)
            if text is None:
                continue
            value = fact.read(text, fact.option)
            if isinstance(value, Taken):
                remarks += value.remarks
                value = value.value
            found[fact.field] = value
        return found, remarks

    def called(self, record: R) -> str:
        """Say which thing is meant: 'site yard'."""
        return f"{self.word} {name_of(record)}"

    def need_values(self, given: object, reason: str | None) -> tuple[dict[str, Any], list[str]]:
        """Read what is to change, and refuse a change without contents or reason."""
        values, remarks = self.values(given)
        in_use = getattr(given, "in_use", None)
        if in_use is not None:
            values["in_use"] = in_use
        if not values:
            options = ", ".join(fact.option for fact in self.facts)
            raise InputError(f"Nothing is given that would change. Give one or more of {options}.")
        need_reason(reason)
        return values, remarks


def need_reason(reason: str | None) -> str:
    """Refuse a change of what is on record without a reason.

    Parameters
    ----------
    reason : str, optional
        As typed.

    Returns
    -------
    str
        The reason.

    Raises
    ------
    InputError
        Where there is none.
    """
    return typed.needed_words(
        reason, "--reason", "why what is on record changes; the version before stays to be seen"
    )


def name_of(record: Record) -> str:
    """Give the name by which a user calls a thing; with its id where that is needed as well."""
    if record.NAME:
        return str(getattr(record, record.NAME))
    name = getattr(record, "name", "")
    return f"{name} ({record.id})" if name else record.id


def replaced(
    change: Change, noun: Noun[R], old: R, values: dict[str, Any], reason: str | None
) -> R:
    """Record a new version of a thing.

    Parameters
    ----------
    change : Change
        The open change.
    noun : Noun
        What kind of thing it is.
    old : Record
        The version in force.
    values : dict
        What is to be different.
    reason : str, optional
        Why.

    Returns
    -------
    Record
        The new version.

    Raises
    ------
    InputError
        Where nothing would be different, or there is no reason.
    """
    why = need_reason(reason)
    new = attrs.evolve(old, **chosen.placed(values, change.folder))
    if new == old:
        raise InputError(
            f"Nothing changes: {noun.called(old)} is on record like that already "
            f"(version {old.version})."
        )
    return change.replace(old, new, why)


def told_change(noun: Noun[R], old: R, new: R, names: dict[str, str]) -> str:
    """Say what is different now, in one sentence."""
    parts = "; ".join(
        f"{label}: {before} → {after}"
        for label, before, after in differences(noun, old, new, names)
    )
    return f"Version {new.version} of {noun.called(new)} is in force. {parts}."


def differences(
    noun: Noun[R], old: R, new: R, names: dict[str, str]
) -> Iterator[tuple[str, str, str]]:
    """Find what two versions say differently.

    Parameters
    ----------
    noun : Noun
        What kind of thing it is.
    old, new : Record
        The versions.
    names : dict
        Names of things by id.

    Yields
    ------
    tuple of (str, str, str)
        Label, words before, words after.
    """
    known = {fact.field: fact for fact in noun.facts}
    for one in attrs.fields(noun.kind):
        before, after = getattr(old, one.name), getattr(new, one.name)
        if one.name in _BOOKKEEPING or before == after:
            continue
        if one.name in known:
            fact = known[one.name]
            yield fact.label, fact.words(before), fact.words(after)
        elif one.name.endswith("_id"):
            label = one.name.removesuffix("_id").replace("_", " ")
            yield label, names.get(str(before), str(before)), names.get(str(after), str(after))
        else:
            yield one.name.replace("_", " "), _plain_words(before), _plain_words(after)


def _plain_words(value: object) -> str:
    if isinstance(value, bool):
        return yes_no(value)
    return NO_VALUE if value is None or value in ("", ()) else str(value)


def yes_no(value: object) -> str:
    """Write yes or no."""
    return "yes" if value else "no"


def day(value: date | None) -> str:
    """Write a day, such as '3 Mar 2026'; a dash for none."""
    return NO_VALUE if value is None else f"{value.day} {month_name(value.month)} {value.year}"


def amount(value: Decimal | int | None, unit: str) -> str:
    """Write a number with its unit; a dash for none."""
    if value is None:
        return NO_VALUE
    written = str(value) if isinstance(value, int) else f"{value:f}"
    return f"{written} {unit}".strip().replace("-", "\u2212", 1 if written.startswith("-") else 0)


def counted(value: int, singular: str) -> str:
    """Write a number of things: '1 month', '6 months'."""
    return f"{value} {singular}{'' if value == 1 else 's'}"


def kind_words(kind: str) -> str:
    """Write a kind in words: 'ring main'."""
    return kind.replace("_", " ")


def clock(zone: str | None, moments: Iterable[datetime]) -> Clock:
    """Make the clock for some moments, in a zone; UTC where it is not clear which."""
    listed = sorted(moments)
    if not listed:
        return Clock.for_period(zone or "UTC", None, None)
    return Clock.for_period(zone or "UTC", listed[0], listed[-1])


def names_by_id(register: Reader) -> dict[str, str]:
    """Give the names of all things in force that have one, by id."""
    return {
        one.id: name_of(one) for kind in KINDS.values() if kind.NAME for one in register.all(kind)
    }


def plain(record: Record, **more: object) -> dict[str, Any]:
    """Give a record as JSON values, with what belongs to it."""
    return {**to_plain(record), "seq": record.seq, **more}


def time_plain(moment: datetime) -> str:
    """Write a time, UTC, to the second or finer where it has more."""
    from lungwort.register.journal import time_text  # noqa: PLC0415 - one form for all

    return time_text(moment)
