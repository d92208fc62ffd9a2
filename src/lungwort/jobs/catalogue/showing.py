"""How the things of a kind, and one thing with its history, are put together to be shown."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

from lungwort.errors import UnknownRecordError
from lungwort.jobs.catalogue.shape import (
    Listing,
    Section,
    View,
    clock,
    differences,
    name_of,
    names_by_id,
    plain,
    time_plain,
)
from lungwort.jobs.opening import common_zone
from lungwort.register.checking import is_id
from lungwort.register.model import Record

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lungwort.jobs.catalogue.shape import Noun
    from lungwort.register.records import Reader

R = TypeVar("R", bound=Record)


def newest(register: Reader, kind: type[R], thing_id: str) -> R:
    """Give the newest version of a thing that another one names, voided or not.

    Parameters
    ----------
    register : Reader
        The record.
    kind : type
        Of which kind.
    thing_id : str
        Its id.

    Returns
    -------
    Record
        Its newest version.

    Raises
    ------
    UnknownRecordError
        Where it was never recorded.
    """
    versions = register.history(kind, thing_id)
    return versions[-1] if versions else register.get(kind, thing_id)


def found(register: Reader, noun: Noun[R], name_or_id: str) -> R:
    """Find a thing to show, also one that was voided, by its id.

    Parameters
    ----------
    register : Register
        The record.
    noun : Noun
        What kind of thing it is.
    name_or_id : str
        Name or id.

    Returns
    -------
    Record
        Its newest version.

    Raises
    ------
    UnknownRecordError
        Where there is none.
    """
    try:
        return register.get(noun.kind, name_or_id)
    except UnknownRecordError:
        if not is_id(name_or_id):
            raise
        versions = register.history(noun.kind, name_or_id)
        if not versions:
            raise
        return versions[-1]


def history_section(register: Reader, noun: Noun[R], record: R) -> Section:
    """List all versions of a thing: who recorded each, when, why, and what was different."""
    versions = register.history(noun.kind, record.id)
    entries = [register.entry(one.seq) for one in versions]
    zone = common_zone(register)
    when = clock(zone, [entry.time for entry in entries])
    names = names_by_id(register)
    rows = []
    for place, (one, entry) in enumerate(zip(versions, entries, strict=True)):
        if place == 0:
            said = "recorded"
        elif one.voided:
            said = "voided: recorded by mistake"
        else:
            said = "; ".join(
                f"{label}: {before} → {after}"
                for label, before, after in differences(noun, versions[place - 1], one, names)
            )
        rows.append((str(one.version), when.time(entry.time), entry.who, said, one.reason))
    return Section(
        "History",
        ("version", f"recorded ({when.zone_name})", "by", "what", "why"),
        tuple(rows),
    )


def recorded_facts(register: Reader, record: Record, zone: str | None) -> list[tuple[str, str]]:
    """Say when and by whom the version in force was recorded, and its id."""
    entry = register.entry(record.seq)
    when = clock(zone, [entry.time])
    facts = [
        (
            "Recorded",
            f"version {record.version}, {when.time(entry.time)} ({when.zone_name}) by {entry.who}"
            + (f": {record.reason}" if record.reason else ""),
        ),
        ("Id", record.id),
    ]
    if record.voided:
        facts.insert(0, ("Voided", "yes: recorded by mistake; it counts no more"))
    return facts


def fact_lines(noun: Noun[R], record: R) -> list[tuple[str, str]]:
    """Write the facts of a thing, each with its label."""
    return [(fact.label, fact.words(getattr(record, fact.field))) for fact in noun.facts]


def history_plain(register: Reader, noun: Noun[R], record: R) -> list[dict[str, Any]]:
    """Give all versions of a thing as JSON values, with who recorded each and when."""
    out = []
    for one in register.history(noun.kind, record.id):
        entry = register.entry(one.seq)
        out.append({**plain(one), "recorded_by": entry.who, "recorded_at": time_plain(entry.time)})
    return out


def listing(
    noun: Noun[R],
    records: list[R],
    *,
    retired_too: bool,
    headings: tuple[str, ...],
    row: Callable[[R], tuple[str, ...]],
    more: Callable[[R], dict[str, Any]],
    empty: str,
) -> Listing:
    """List the things of one kind.

    Parameters
    ----------
    noun : Noun
        What kind of thing it is.
    records : list of Record
        Those in force.
    retired_too : bool
        Whether those that are not in use are listed too.
    headings : tuple of str
        Of the columns.
    row : callable
        From a record to its row.
    more : callable
        From a record to what JSON says of it beyond its own fields.
    empty : str
        What is said where there is none.

    Returns
    -------
    Listing
        The list, in order of the names.
    """
    ordered = sorted(records, key=lambda one: name_of(one).casefold())
    kept = [one for one in ordered if retired_too or getattr(one, "in_use", True)]
    left_out = len(ordered) - len(kept)
    remarks = []
    if left_out:
        remarks.append(
            f"{left_out} no longer in use {'is' if left_out == 1 else 'are'} not shown: add --all."
        )
    rows = []
    for one in kept:
        cells = row(one)
        rows.append(
            cells if getattr(one, "in_use", True) else (f"{cells[0]} (retired)", *cells[1:])
        )
    return Listing(
        Section(noun.plural.capitalize(), headings, tuple(rows), empty),
        tuple(remarks),
        {
            noun.plural.replace(" ", "_"): [plain(one, **more(one)) for one in kept],
            "not_shown": left_out,
        },
    )


def view(
    register: Reader,
    noun: Noun[R],
    record: R,
    zone: str | None,
    sections: list[Section],
    plain_values: dict[str, Any],
    *,
    history: bool,
    facts: Sequence[tuple[str, str]] = (),
    remarks: Sequence[str] = (),
) -> View:
    """Put together what is known of a thing.

    Parameters
    ----------
    register : Reader
        The record.
    noun : Noun
        What kind of thing it is.
    record : Record
        The thing.
    zone : str, optional
        Time zone in which times are shown; None where it is not clear.
    sections : list of Section
        What belongs to it.
    plain_values : dict
        The same as JSON values.
    history : bool
        Whether all versions are listed.
    facts : sequence of (str, str)
        What goes before its own facts: where it is.
    remarks : sequence of str
        What is to be minded.

    Returns
    -------
    View
        All of it.
    """
    lines = [*facts, *fact_lines(noun, record)]
    if not getattr(record, "in_use", True):
        lines.insert(0, ("In use", "no: retired"))
    lines += recorded_facts(register, record, zone)
    out = list(sections)
    if history:
        out.append(history_section(register, noun, record))
        plain_values["history"] = history_plain(register, noun, record)
    title = f"{noun.word.capitalize()} {name_of(record)}"
    return View(title, tuple(lines), tuple(out), tuple(remarks), plain_values)
