"""How certain the instruments are that evidence was taken with."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import evolve

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import HandTest, Instrument, LogImport
    from lungwort.verdict.decision import Uncertainties, Uncertainty


def uncertainties_of(
    snapshot: Snapshot, imports: Sequence[LogImport], tests: Sequence[HandTest]
) -> Uncertainties:
    """Put the instruments' own uncertainties before the assumptions that are shipped.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    imports, tests : sequence
        The evidence.

    Returns
    -------
    Uncertainties
        Where several instruments measured one quantity, the least certain one's; where one of them
        has none on record, no less than the assumption.
    """
    from lungwort.spot.parse import parse_spot  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict import decision  # noqa: PLC0415 - keeps --help instant

    shipped = decision.uncertainties()
    instruments = {one.id: one for one in snapshot.instruments}
    used = [(instruments.get(one.instrument_id or ""), decision.LOGGED, "") for one in imports]
    used += [
        (
            instruments.get(reading.instrument_id or ""),
            decision.HAND_TEST,
            parse_spot(reading.text).analyte,
        )
        for test in tests
        for reading in test.readings
    ]
    entries: dict[tuple[str, str, str], Uncertainty] = {}
    for instrument, used_for, analyte in used:
        for entry in _own_uncertainties(instrument, used_for):
            if not analyte or entry.analyte == analyte:
                key = (entry.used_for, entry.analyte, entry.quantity)
                entries[key] = _wider(entries.get(key, entry), entry)
    # Where another instrument of which nothing is known measured the same, the assumption holds
    # beside: the less certain of the two.
    for (used_for, analyte, quantity), entry in entries.items():
        silent = [
            one
            for one, purpose, of in used
            if purpose == used_for
            and of in {"", analyte}
            and not any(
                (own.analyte, own.quantity) == (analyte, quantity)
                for own in _own_uncertainties(one, purpose)
            )
        ]
        assumed = shipped.of(analyte, quantity, used_for)
        if silent and assumed is not None:
            entries[used_for, analyte, quantity] = _wider(entry, assumed)
    if not entries:
        return shipped
    return decision.Uncertainties(
        entries=(*entries.values(), *shipped.entries),
        origin="the instruments on record, then shipped assumptions",
    )


def _own_uncertainties(instrument: Instrument | None, used_for: str) -> list[Uncertainty]:
    from lungwort.air.analytes import ANALYTES, quantity_of_unit  # noqa: PLC0415 - keeps --help instant
    from lungwort.logs.naming import parse_given_unit  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.decision import Uncertainty  # noqa: PLC0415 - keeps --help instant

    found = []
    for channel in () if instrument is None else instrument.channels:
        known = ANALYTES.get(channel.analyte)
        if instrument is None or known is None or not known.in_air or not channel.uncertainty:
            continue
        unit, dew_point = parse_given_unit(channel.unit)
        found.append(
            Uncertainty(
                analyte=channel.analyte,
                sensor=instrument.name,
                used_for=used_for,
                quantity=dew_point or quantity_of_unit(unit),
                unit=unit,
                absolute=float(channel.uncertainty),
                relative=0.0,
                source="as recorded for the instrument",
                assumed=False,
            )
        )
    return found


def _wider(one: Uncertainty, other: Uncertainty) -> Uncertainty:
    """Of two uncertainties of one quantity take the greater parts."""
    if other.expanded(0.0, one.unit) > one.absolute:
        one, other = other, one
    return evolve(one, relative=max(one.relative, other.relative))
