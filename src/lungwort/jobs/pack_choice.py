"""Which entries of the journal go into a pack: those asked for, and all that they rest on."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import InputError, RegisterError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from lungwort.register.model import Entry

NO_FILE: Final = "content_sha256"
"""Field that ends like the name of a digest of a file, and is one over other digests."""

_ALWAYS: Final = ("outlet", "stage", "wearer_equipment")
_TIMES: Final = {
    "cartridge_change": "time",
    "running_hours": "time",
    "event": "time",
    "risk_assessment": "time",
    "hand_test": "ended",
    "verdict": "judged_at",
    "certificate": "issued_at",
    "finding": "opened_at",
    "action": "time",
    "supply_state": "time",
}
"""The kinds that belong to a supply at a time, and the field that says when."""


@frozen
class Kept:
    """An entry of the journal, read.

    Parameters
    ----------
    seq : int
        Its number.
    kind, id : str
        Kind and thing.
    version : int
        Version that it recorded.
    content : str
        As it is hashed.
    record : dict
        The record in it.
    """

    seq: int
    kind: str
    id: str
    version: int
    content: str
    record: dict[str, Any]


@frozen
class Choice:
    """What is asked for.

    Parameters
    ----------
    supply_id : str
        The supply.
    begin, end : datetime, optional
        The period, UTC: from the first moment to before the last.
    certificate_id : str, optional
        The one certificate that it is about.
    """

    supply_id: str
    begin: datetime | None = None
    end: datetime | None = None
    certificate_id: str | None = None

    def holds(self, time: datetime) -> bool:
        """Say whether a moment lies in the period.

        Parameters
        ----------
        time : datetime
            The moment, UTC.

        Returns
        -------
        bool
            True also where no period was given.
        """
        return (self.begin is None or time >= self.begin) and self.before_end(time)

    def before_end(self, time: datetime) -> bool:
        """Say whether a moment lies before the end of the period; as `holds`."""
        return self.end is None or time < self.end


def read_journal(entries: Iterable[Entry]) -> list[Kept]:
    """Read the records out of the entries.

    Parameters
    ----------
    entries : iterable of Entry
        All, in order.

    Returns
    -------
    list of Kept
        In order.

    Raises
    ------
    RegisterError
        Where one cannot be read.
    """
    found = []
    for place, one in enumerate(entries, start=1):
        try:
            record = json.loads(one.content)["record"]
        except (ValueError, KeyError, TypeError) as error:
            raise _altered(place) from error
        if one.seq != place or not isinstance(record, dict):
            raise _altered(place)
        found.append(Kept(one.seq, one.kind, one.id, one.version, one.content, record))
    return found


def _altered(seq: int) -> RegisterError:
    return RegisterError(
        f"Entry {seq} of the journal is missing or was altered, so no pack can be made. Run "
        "'lungwort verify', and restore the newest backup into a new folder."
    )


def chosen(journal: Sequence[Kept], choice: Choice) -> list[Kept]:
    """Choose the entries that go into a pack.

    Parameters
    ----------
    journal : sequence of Kept
        All entries, in order.
    choice : Choice
        What is asked for.

    Returns
    -------
    list of Kept
        In order: all versions of each thing that is asked for or that such a thing names.

    Raises
    ------
    InputError
        Where the period holds no test, log, verdict, certificate or finding of the supply.
    """
    by_id: dict[str, list[Kept]] = {}
    for one in journal:
        by_id.setdefault(one.id, []).append(one)
    newest = {thing: versions[-1] for thing, versions in by_id.items()}
    if choice.certificate_id is not None:
        things = {choice.certificate_id, choice.supply_id} | _standing(newest, choice.supply_id)
    else:
        things = _of_period(newest, choice)
        if not things:
            raise InputError(
                "The record holds no test, log, verdict, certificate, finding or event of this supply "
                "in that period, so there is nothing to hand over. Give another period."
            )
        things |= {choice.supply_id} | _furniture(newest, choice.supply_id)
    _close(things, by_id)
    things |= _calibrations(newest, things, choice)
    things |= {
        one.id
        for one in newest.values()
        if one.kind in {"lot_use", "photo"} and one.record.get("hand_test_id") in things
    }
    _close(things, by_id)
    return sorted((one for thing in things for one in by_id[thing]), key=lambda one: one.seq)


def latest(entries: Iterable[Kept]) -> list[Kept]:
    """Keep the newest version of each thing.

    Parameters
    ----------
    entries : iterable of Kept
        In order.

    Returns
    -------
    list of Kept
        In the order in which the things were first recorded.
    """
    return list({one.id: one for one in entries}.values())


def digests_in(record: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """List the files that a record names by their digests.

    Parameters
    ----------
    record : mapping
        In plain JSON values.

    Yields
    ------
    tuple of (str, str)
        Field, or name of the logger's file, and digest; parts of readings are not among them.
    """
    for field, value in record.items():
        if field.endswith("sha256") and field != NO_FILE and value:
            yield field, value
    for file in record.get("files", ()):
        yield file["name"], file["sha256"]


def _of_period(newest: Mapping[str, Kept], choice: Choice) -> set[str]:
    found: set[str] = set()
    states = []
    closed = {
        one.record["finding_id"]: _time(one.record["time"])
        for one in newest.values()
        if one.kind == "action" and one.record["kind"] == "close" and not one.record["voided"]
    }
    for one in newest.values():
        if _supply_of(newest, one.record) != choice.supply_id:
            continue
        record = one.record
        if one.kind == "log_import":
            start, end = record.get("start"), record.get("end")
            begun = start is None or choice.before_end(_time(start))
            over = end is not None and choice.begin is not None and _time(end) < choice.begin
            if begun and not over:
                found.add(one.id)
        elif one.kind in _TIMES:
            time = _time(record[_TIMES[one.kind]])
            if choice.holds(time):
                found.add(one.id)
            elif one.kind == "supply_state" and choice.before_end(time):
                states.append((time, one.seq, one.id))
            elif (
                # Open when the period begins.
                one.kind == "finding"
                and choice.before_end(time)
                and choice.begin is not None
                and (one.id not in closed or closed[one.id] >= choice.begin)
            ):
                found.add(one.id)
    if found and states:
        # In which state the period begins.
        found.add(max(states)[2])
    return found


def _standing(newest: Mapping[str, Kept], supply_id: str) -> set[str]:
    # A certificate is not handed over without what was found and decided since.
    own = [
        one
        for one in newest.values()
        if not one.record["voided"] and _supply_of(newest, one.record) == supply_id
    ]
    states = [one for one in own if one.kind == "supply_state"]
    closed = {
        one.record["finding_id"]
        for one in own
        if one.kind == "action" and one.record["kind"] == "close"
    }
    found = {one.id for one in own if one.kind == "finding" and one.id not in closed}
    if states:
        found.add(max(states, key=lambda one: (_time(one.record["time"]), one.seq)).id)
    return found


def standing(entries: Iterable[Kept]) -> Iterator[str]:
    """Say what whoever reads a certificate must know besides.

    Parameters
    ----------
    entries : iterable of Kept
        Those of the pack, in order.

    Yields
    ------
    str
        The newest state of the supply in the pack, and each finding that is open in it.
    """
    now = [one for one in latest(entries) if not one.record["voided"]]
    states = [one for one in now if one.kind == "supply_state"]
    if states:
        last = max(states, key=lambda one: (_time(one.record["time"]), one.seq)).record
        yield (
            f"Newest state of the supply in this pack: {last['state'].replace('_', ' ')}, "
            f"{last['time'][:16].replace('T', ' ')} UTC ({last['why'].rstrip('.')})."
        )
    closed = {
        one.record["finding_id"]
        for one in now
        if one.kind == "action" and one.record["kind"] == "close"
    }
    for one in now:
        if one.kind == "finding" and one.id not in closed:
            yield f"Finding {one.record['number']} is open: {one.record['text'].rstrip('.')}."


def _furniture(newest: Mapping[str, Kept], supply_id: str) -> set[str]:
    return {
        one.id
        for one in newest.values()
        if one.kind in _ALWAYS and _supply_of(newest, one.record) == supply_id
    }


def _calibrations(newest: Mapping[str, Kept], things: set[str], choice: Choice) -> set[str]:
    return {
        one.id
        for one in newest.values()
        if one.kind == "calibration"
        and one.record["instrument_id"] in things
        and choice.before_end(_time(one.record["time"]))
    }


def _supply_of(newest: Mapping[str, Kept], record: Mapping[str, Any]) -> str | None:
    # Of which supply a thing is: by itself, or by its outlet, stage or finding.
    if "supply_id" in record:
        return str(record["supply_id"])
    for field in ("outlet_id", "stage_id", "finding_id"):
        other = newest.get(record.get(field) or "")
        if other is not None:
            return _supply_of(newest, other.record)
    return None


def _close(things: set[str], by_id: Mapping[str, Sequence[Kept]]) -> None:
    waiting = list(things)
    while waiting:
        for one in by_id.get(waiting.pop(), ()):
            for named in _named(one.record):
                if named not in things and named in by_id:
                    things.add(named)
                    waiting.append(named)


def _named(value: object, field: str = "") -> Iterator[str]:
    if isinstance(value, dict):
        for name, one in value.items():
            yield from _named(one, name)
    elif isinstance(value, list):
        for one in value:
            yield from _named(one, field)
    elif isinstance(value, str) and value and field.endswith(("_id", "_ids")):
        yield value


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)
