"""The rows of the workbook of all tests, taken from the record."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from lungwort.errors import PlanError, SpotError
from lungwort.register.model import CAUSE, CLOSE, CURE, NOTE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lungwort.paper.all_tests import AllTests
    from lungwort.paper.workbook import Cell
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import HandTest, Outlet, Reading, Supply

    Row = tuple[Cell, ...]


def all_tests(snapshot: Snapshot, *, workspace_name: str) -> tuple[AllTests, tuple[str, ...]]:
    """Fill the workbook of all tests.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    workspace_name : str
        Its name.

    Returns
    -------
    tuple of (AllTests, tuple of str)
        The rows, and what is to be said beside them.
    """
    from lungwort.paper.all_tests import AllTests  # noqa: PLC0415 - keeps --help instant

    names = _Names(snapshot)
    notes: list[str] = []
    zones = {zone.key for zone in snapshot.zones()}
    if len(zones) > 1:
        notes.append("The sites lie in several time zones, so all times are in UTC.")
    return AllTests(
        tests=tuple(_tests(snapshot, names)),
        readings=tuple(_readings(snapshot, names)),
        verdicts=tuple(_verdicts(snapshot, names)),
        certificates=tuple(_certificates(snapshot, names)),
        findings=tuple(_findings(snapshot, names)),
        instruments=tuple(_instruments(snapshot)),
        calibrations=tuple(_calibrations(snapshot)),
        lots=tuple(_lots(snapshot)),
        due=tuple(_due(snapshot, notes)),
        zone=zones.pop() if len(zones) == 1 else "UTC",
        made_at=snapshot.now,
        workspace_name=workspace_name,
    ), tuple(notes)


class _Names:
    """Names of what records refer to by id; an unknown id stands for itself."""

    def __init__(self, snapshot: Snapshot) -> None:
        self.supplies: dict[str, Supply] = {one.id: one for one in snapshot.supplies}
        self.outlets: dict[str, Outlet] = {one.id: one for one in snapshot.outlets}
        self.sites = {one.id: one.name for one in snapshot.sites}
        self.people = {one.id: one.name for one in snapshot.persons}
        self.instruments = {one.id: one.name for one in snapshot.instruments}
        self.lots = {one.id: one.name for one in snapshot.lots}

    def place(self, supply_id: str, outlet_id: str | None) -> tuple[str, str, str]:
        """Name site, supply and outlet."""
        supply = self.supplies.get(supply_id)
        outlet = self.outlets.get(outlet_id or "")
        return (
            "" if supply is None else self.sites.get(supply.site_id, supply.site_id),
            supply_id if supply is None else supply.name,
            (outlet_id or "") if outlet is None else outlet.name,
        )

    def of_outlet(self, outlet_id: str) -> tuple[str, str, str]:
        """Name site, supply and outlet of an outlet."""
        outlet = self.outlets.get(outlet_id)
        return self.place("" if outlet is None else outlet.supply_id, outlet_id)

    def who(self, person_id: str | None) -> str | None:
        """Name a person; None for none."""
        return None if person_id is None else self.people.get(person_id, person_id)


def _tests(snapshot: Snapshot, names: _Names) -> Iterator[Row]:
    for one in snapshot.hand_tests:
        yield (
            one.id,
            *names.of_outlet(one.outlet_id),
            one.procedure,
            one.state,
            one.started,
            one.ended,
            names.who(one.tester_id),
            names.who(one.second_person_id),
            one.why,
            len(one.readings),
            one.note,
        )


def _readings(snapshot: Snapshot, names: _Names) -> Iterator[Row]:
    for test in snapshot.hand_tests:
        for reading in test.readings:
            yield _reading(snapshot, names, test, reading)


def _reading(snapshot: Snapshot, names: _Names, test: HandTest, reading: Reading) -> Row:
    from lungwort.paper.text import analyte_name, unit_text  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.lapses import reading_lapses  # noqa: PLC0415 - keeps --help instant
    from lungwort.spot.parse import parse_spot  # noqa: PLC0415 - keeps --help instant

    _, supply, outlet = names.of_outlet(test.outlet_id)
    known = names.outlets.get(test.outlet_id)
    amiss: list[str] = []
    try:
        supply_id = "" if known is None else known.supply_id
        amiss += reading_lapses(snapshot, test, reading, supply_id=supply_id)
        spot = parse_spot(reading.text, time=reading.time)
    except (SpotError, PlanError) as error:
        amiss.append(str(error))
        analyte = analyte_name(reading.text.partition("=")[0].strip())
        values: Row = (None, None, None, None, None)
        perceived, means = None, None
    else:
        analyte, perceived, means = analyte_name(spot.analyte), spot.perceived, spot.means
        value = spot.value
        values = (
            (None, None, None, None, None)
            if value is None
            else (
                *_end(value.lower, included=value.lower_included),
                *_end(value.upper, included=value.upper_included),
                unit_text(value.unit),
            )
        )
    return (
        test.id,
        supply,
        outlet,
        reading.time,
        analyte,
        reading.text,
        *values,
        perceived,
        means,
        names.instruments.get(reading.instrument_id or "", reading.instrument_id),
        names.lots.get(reading.lot_id or "", reading.lot_id),
        " ".join(dict.fromkeys(amiss)),
    )


def _end(value: float, *, included: bool) -> tuple[float | None, bool | None]:
    return (value, included) if math.isfinite(value) else (None, None)


def _verdicts(snapshot: Snapshot, names: _Names) -> Iterator[Row]:
    from lungwort.paper.text import VERDICT_WORDS, analyte_name, typeset  # noqa: PLC0415 - keeps --help instant

    for one in snapshot.verdicts:
        before = (
            one.id,
            *names.place(one.supply_id, one.outlet_id),
            one.judged_at,
            VERDICT_WORDS[one.overall],
        )
        after = (
            one.start,
            one.end,
            one.limit_set,
            one.limit_set_digest,
            typeset(" ".join(one.reasons)),
            " ".join(one.lapses),
            names.who(one.by_id),
            one.result_sha256,
        )
        for word in one.limits:
            yield (
                *before,
                word.key,
                analyte_name(word.analyte),
                VERDICT_WORDS.get(word.verdict, word.verdict),
                word.required,
                typeset(word.limit),
                typeset(word.worst),
                word.means,
                word.evidence_time,
                *after,
            )
        if not one.limits:
            yield (*before, *(None,) * 8, *after)


def _certificates(snapshot: Snapshot, names: _Names) -> Iterator[Row]:
    for one in snapshot.certificates:
        yield (
            one.number,
            *names.place(one.supply_id, one.outlet_id),
            one.issued_at,
            names.who(one.issued_by_id),
            names.who(one.approved_by_id),
            one.next_test_by,
            one.verdict_id,
            one.tree_size,
            one.tree_root,
            one.pdf_sha256,
            one.digitally_signed,
        )


def _findings(snapshot: Snapshot, names: _Names) -> Iterator[Row]:
    from lungwort.paper.text import analyte_name  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import finding_open, newest_action  # noqa: PLC0415 - keeps --help instant

    for one in snapshot.findings:
        texts = {
            kind: " ".join(
                action.text
                for action in sorted(snapshot.actions, key=lambda action: (action.time, action.seq))
                if action.finding_id == one.id and action.kind == kind
            )
            for kind in (CAUSE, CURE, NOTE)
        }
        is_open = finding_open(snapshot, one.id)
        closing = newest_action(snapshot, one.id, CLOSE)
        yield (
            one.number,
            *names.place(one.supply_id, one.outlet_id),
            one.opened_at,
            names.who(one.by_id),
            one.text,
            ", ".join(map(analyte_name, one.analytes)),
            texts[CAUSE],
            texts[CURE],
            texts[NOTE],
            None if is_open or closing is None else closing.time,
            is_open,
            one.verdict_id,
        )


def _instruments(snapshot: Snapshot) -> Iterator[Row]:
    from lungwort.paper.text import analyte_name, unit_text  # noqa: PLC0415 - keeps --help instant

    for one in snapshot.instruments:
        after = (one.calibration_months, one.bump_days, one.in_use)
        for channel in one.channels:
            yield (
                one.name,
                one.type,
                one.serial,
                analyte_name(channel.analyte),
                unit_text(channel.unit),
                channel.low,
                channel.high,
                channel.uncertainty,
                *after,
            )
        if not one.channels:
            yield (one.name, one.type, one.serial, *(None,) * 5, *after)


def _calibrations(snapshot: Snapshot) -> Iterator[Row]:
    from lungwort.paper.text import analyte_name, unit_text  # noqa: PLC0415 - keeps --help instant

    instruments = {one.id: one for one in snapshot.instruments}
    for one in snapshot.calibrations:
        known = instruments.get(one.instrument_id)
        before = (
            one.instrument_id if known is None else known.name,
            "" if known is None else known.serial,
            one.kind.replace("_", " "),
            one.time,
            one.passed,
            one.valid_until,
            one.by,
        )
        for row in one.rows:
            yield (
                *before,
                analyte_name(row.analyte),
                unit_text(row.unit),
                row.reference,
                row.as_found,
                row.as_left,
                row.tolerance,
                one.paper_sha256,
            )
        if not one.rows:
            yield (*before, *(None,) * 6, one.paper_sha256)


def _lots(snapshot: Snapshot) -> Iterator[Row]:
    from lungwort.paper.text import analyte_name  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.stock import left  # noqa: PLC0415 - keeps --help instant

    for one in snapshot.lots:
        yield (
            one.name,
            one.kind.replace("_", " "),
            one.device,
            analyte_name(one.analyte) if one.analyte else None,
            one.lot_number,
            one.expires,
            one.stock,
            left(snapshot, one.id),
        )


def _due(snapshot: Snapshot, notes: list[str]) -> Iterator[Row]:
    from lungwort.plan.due import NEVER_DONE, due  # noqa: PLC0415 - keeps --help instant

    try:
        found = due(snapshot, horizon_days=None)
    except PlanError as error:
        notes.append(f"What is due cannot be told: {error}")
        return
    for one in found:
        day = None if one.state == NEVER_DONE else one.due
        yield (one.state, day, one.what, one.subject, one.why, one.rule)
