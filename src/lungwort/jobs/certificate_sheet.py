"""What a certificate says beside its verdict, taken from the record."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.register.model import DONE, Person

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from lungwort.jobs.judging import Judged
    from lungwort.paper.certificate import CertificateSheet
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import HandTest, Lot, Supply, TreeHead, VerdictRecord

KIND_WORDS: Final = {
    "airline_compressor": "compressor for an airline",
    "charging_compressor": "compressor for charging cylinders",
    "cylinder_bank": "cylinder bank",
    "ring_main": "ring main",
}
_OIL_WORDS: Final = {True: "oil-lubricated", False: "not oil-lubricated", None: "not known"}


def sheet_of(
    snapshot: Snapshot,
    judged: Judged,
    record: VerdictRecord,
    *,
    number: str,
    issuer: Person,
    approver: Person | None,
    head: TreeHead,
    next_test_by: date | None,
    notes: Sequence[str],
    workspace_name: str,
    issued_at: datetime,
) -> CertificateSheet:
    """Fill the sheet of a certificate from the record.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    judged : Judged
        The verdict with its evidence.
    record : VerdictRecord
        The verdict as it is on record.
    number : str
        The certificate's number.
    issuer : Person
        Who issues it.
    approver : Person, optional
        Second person who signs.
    head : TreeHead
        Head of the journal's tree at issue.
    next_test_by : date, optional
        Last day of the next test.
    notes : sequence of str
        How the evidence was chosen, and what was left out.
    workspace_name : str
        The record that it is kept in.
    issued_at : datetime
        When, UTC.

    Returns
    -------
    CertificateSheet
        The sheet.
    """
    from lungwort.paper.certificate import CertificateSheet  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import by_id  # noqa: PLC0415 - keeps --help instant

    outlet = judged.outlet
    supply = by_id(snapshot.supplies, outlet.supply_id)
    site = None if supply is None else snapshot.site_of(supply)
    return CertificateSheet(
        number=number,
        site="" if site is None else site.title or site.name,
        site_address="" if site is None else site.address,
        supply="" if supply is None else _titled(supply.name, supply.title),
        supply_facts=() if supply is None else supply_facts(supply),
        outlet=f"{outlet.name}, {outlet.place}".rstrip(", "),
        issued_at=issued_at,
        issued_by=issuer.name,
        issued_role=issuer.role,
        approved_by="" if approver is None else approver.name,
        approved_role="" if approver is None else approver.role,
        next_test_by=next_test_by,
        tree_size=head.size,
        tree_root=head.root,
        zone=snapshot.zone(outlet.supply_id).key,
        evidence=evidence_rows(snapshot, judged, record, notes),
        instruments=instrument_rows(snapshot, judged),
        consumables=consumable_rows(snapshot, judged.tests),
        procedure=", ".join(
            dict.fromkeys(one.procedure for one in judged.tests if one.state == DONE)
        ),
        workspace_name=workspace_name,
    )


def _titled(name: str, title: str) -> str:
    return f"{title} ({name})" if title and title != name else name


def supply_facts(supply: Supply) -> tuple[tuple[str, str], ...]:
    """Say what is on record of a supply.

    Parameters
    ----------
    supply : Supply
        The supply.

    Returns
    -------
    tuple of (str, str)
        Label and value.
    """
    facts = [
        ("Kind", KIND_WORDS.get(supply.kind, supply.kind.replace("_", " "))),
        ("Plate", supply.maker_plate),
        ("Lubrication", _OIL_WORDS[supply.oil_lubricated]),
        ("Lubricant", supply.lubricant),
        ("Intake", supply.intake),
        ("Serves", supply.serves),
    ]
    return tuple((label, value) for label, value in facts if value)


def evidence_rows(
    snapshot: Snapshot, judged: Judged, record: VerdictRecord, notes: Sequence[str]
) -> tuple[tuple[str, str], ...]:
    """Say what a verdict rests on.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    judged : Judged
        The verdict with its evidence.
    record : VerdictRecord
        The verdict as it is on record.
    notes : sequence of str
        How the evidence was chosen, and what was left out.

    Returns
    -------
    tuple of (str, str)
        Label and value.
    """
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant

    clock = Clock.for_period(snapshot.zone(judged.outlet.supply_id).key, None, None)
    people = {one.id: one.name for one in snapshot.persons}
    rows = []
    for test in judged.tests:
        second = people.get(test.second_person_id or "")
        odour = f"; odour judged by {second}" if second else ""
        tester = people.get(test.tester_id, test.tester_id)
        when = clock.span(test.started, test.ended)
        rows.append(("Test by hand", f"{test.id}, {test.procedure}, {when}, by {tester}{odour}"))
    for one in judged.imports:
        names = ", ".join(file.name for file in one.files)
        rows.append(("Log", f"{one.id}, {names}, {clock.span(one.start, one.end)}"))
    rows.append(("Verdict", record.id))
    rows.append(("Judged by", people.get(record.by_id, record.by_id)))
    rows.append(("Limit set", f"{record.limit_set}, SHA-256 {record.limit_set_digest}"))
    rows.extend(("Evidence", note) for note in notes)
    # What narrows the clean word stands beside it, on paper too.
    rows.extend(("Mind", reason) for reason in judged.verdict.reasons[1:])
    return tuple(rows)


def instrument_rows(snapshot: Snapshot, judged: Judged) -> tuple[tuple[str, str, str, str], ...]:
    """List the instruments behind a verdict with their calibrations.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    judged : Judged
        The verdict with its evidence.

    Returns
    -------
    tuple of (str, str, str, str)
        Name, serial number, calibrated on, valid until, as at the newest use.
    """
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.calibrations import calibration_standing  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.days import shown  # noqa: PLC0415 - keeps --help instant

    supply_id = judged.outlet.supply_id
    clock = Clock.for_period(snapshot.zone(supply_id).key, None, None)
    used: dict[str, datetime] = {}
    read = [
        (reading.instrument_id, reading.time) for test in judged.tests for reading in test.readings
    ]
    read += [(one.instrument_id, one.end) for one in judged.imports if one.end is not None]
    for instrument_id, time in read:
        if instrument_id is not None:
            used[instrument_id] = max(time, used.get(instrument_id, time))
    rows = []
    for one in snapshot.instruments:
        if one.id in used:
            standing = calibration_standing(snapshot, one, used[one.id], supply_id)
            rows.append(
                (
                    f"{one.name}, {one.type}".rstrip(", "),
                    one.serial,
                    "" if standing.newest is None else clock.day(standing.newest.time),
                    "" if standing.until is None else shown(standing.until),
                )
            )
    return tuple(rows)


def consumable_rows(
    snapshot: Snapshot, tests: Sequence[HandTest]
) -> tuple[tuple[str, str, str], ...]:
    """List the lots that were used up in tests.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    tests : sequence of HandTest
        The tests.

    Returns
    -------
    tuple of (str, str, str)
        What, lot number, expires on.
    """
    from lungwort.plan.days import shown  # noqa: PLC0415 - keeps --help instant

    used = {reading.lot_id for test in tests for reading in test.readings}
    return tuple(
        (
            _what(one),
            one.lot_number or one.name,
            "" if one.expires is None else shown(one.expires),
        )
        for one in snapshot.lots
        if one.id in used
    )


def _what(lot: Lot) -> str:
    kind = lot.kind.replace("_", " ")
    return f"{kind}, {lot.device}" if lot.device else kind
