"""What is shown of a supply: state, treatment, outlets, hour meter, events, assessments."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from lungwort.jobs.catalogue import shape
from lungwort.jobs.catalogue.shape import Section
from lungwort.jobs.catalogue.supply import STATE_WORDS
from lungwort.paper.text import NO_VALUE
from lungwort.plan.snapshot import take
from lungwort.plan.state import open_findings, supply_state

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from lungwort.paper.text import Clock
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import (
        CartridgeChange,
        Event,
        Outlet,
        RiskAssessment,
        RunningHours,
        Site,
        Stage,
        Supply,
    )
    from lungwort.register.records import Reader

MOST_ROWS: Final = 10


def parts(
    register: Reader, supply: Supply, site: Site, *, now: datetime
) -> tuple[list[tuple[str, str]], list[Section], dict[str, Any]]:
    """Gather what belongs to a supply.

    Parameters
    ----------
    register : Reader
        The record.
    supply : Supply
        The supply.
    site : Site
        Its site.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    tuple of (list, list of Section, dict)
        Facts that go before its own, sections, and the same as JSON values.
    """
    snapshot = take(register, now)
    changes = [
        one for one in snapshot.cartridge_changes if one.stage_id in _stages(snapshot, supply)
    ]
    hours = _of(snapshot.running_hours, supply)
    events = _of(snapshot.events, supply)
    assessments = _of(snapshot.assessments, supply)
    when = shape.clock(
        site.zone, [one.time for group in (changes, hours, events, assessments) for one in group]
    )
    state = supply_state(snapshot, supply.id)
    findings = open_findings(snapshot, supply.id)
    since = f" since {when.time(state.since)}" if state.since else ""
    by = f", by {state.by}" if state.by else ""
    facts = [
        ("Site", site.name),
        ("State", f"{STATE_WORDS[state.state]}{since}: {state.why}{by}"),
    ]
    if not supply.limit_set and site.limit_set:
        facts.append(("Limit set of its site", site.limit_set))
    if findings:
        facts.append(("Open findings", ", ".join(one.number for one in findings)))
    sections = [
        _treatment(snapshot, supply, changes, when),
        _outlets(snapshot, supply),
        _hours(hours, when),
        _events(events, when),
        _assessments(assessments, when),
    ]
    plain = {
        "supply": shape.plain(supply, site=site.name),
        "state": {
            "state": state.state,
            "since": shape.time_plain(state.since) if state.since else None,
            "why": state.why,
            "by": state.by,
        },
        "open_findings": [one.number for one in findings],
        "stages": [shape.plain(one) for one in snapshot.stages_of(supply.id)],
        "cartridge_changes": [shape.plain(one) for one in changes],
        "outlets": [shape.plain(one) for one in _of(snapshot.outlets, supply)],
        "running_hours": [shape.plain(one) for one in hours],
        "events": [shape.plain(one) for one in events],
        "assessments": [shape.plain(one) for one in assessments],
    }
    return facts, sections, plain


def _of(records: tuple[Any, ...], supply: Supply) -> list[Any]:
    found = [one for one in records if one.supply_id == supply.id]
    return sorted(found, key=lambda one: (getattr(one, "time", supply.seq), one.seq))


def _stages(snapshot: Snapshot, supply: Supply) -> set[str]:
    return {one.id for one in snapshot.stages_of(supply.id)}


def _treatment(
    snapshot: Snapshot, supply: Supply, changes: list[CartridgeChange], when: Clock
) -> Section:
    rows = []
    lots = {one.id: one.name for one in snapshot.lots}
    for stage in snapshot.stages_of(supply.id):
        mine = [one for one in changes if one.stage_id == stage.id]
        last = max(mine, key=lambda one: (one.time, one.seq), default=None)
        rows.append(
            (
                str(stage.place),
                stage.name + ("" if stage.in_use else " (taken out)"),
                shape.kind_words(stage.kind),
                change_rule(stage),
                when.time(last.time) if last else NO_VALUE,
                shape.amount(last.running_hours, "h") if last else NO_VALUE,
                lots.get(last.lot_id or "", NO_VALUE) if last else NO_VALUE,
            )
        )
    return Section(
        "Treatment, in the air's way",
        ("place", "stage", "kind", "changed after", f"last change ({when.zone_name})", "at", "lot"),
        tuple(rows),
        f"None on record. Next: lungwort supply stage {supply.name} NAME --kind filter",
    )


def change_rule(stage: Stage) -> str:
    """Say after what time a stage's cartridge is changed."""
    said = []
    if stage.change_hours is not None:
        said.append(shape.amount(stage.change_hours, "h"))
    if stage.change_months is not None:
        said.append(shape.counted(stage.change_months, "month"))
    return " or ".join(said) or NO_VALUE


def _outlets(snapshot: Snapshot, supply: Supply) -> Section:
    outlets: list[Outlet] = _of(snapshot.outlets, supply)
    return Section(
        "Outlets",
        ("name", "place", "in use"),
        tuple((one.name, one.place, shape.yes_no(one.in_use)) for one in outlets),
        f"None on record. Next: lungwort outlet add NAME --supply {supply.name}",
    )


def _hours(hours: list[RunningHours], when: Clock) -> Section:
    rows = [
        (when.time(one.time), shape.amount(one.hours, "h"), one.note, one.id)
        for one in reversed(hours)
    ]
    return _newest("Hour meter", (f"read ({when.zone_name})", "showed", "note", "id"), rows)


def _events(events: list[Event], when: Clock) -> Section:
    rows = [
        (when.time(one.time), shape.kind_words(one.kind), one.text, one.id)
        for one in reversed(events)
    ]
    return _newest("Events", (f"when ({when.zone_name})", "kind", "what", "id"), rows)


def _assessments(assessments: list[RiskAssessment], when: Clock) -> Section:
    rows = [
        (
            when.time(one.time),
            shape.counted(one.chosen_months, "month"),
            shape.counted(one.proposed_months, "month"),
            one.why,
            one.id,
        )
        for one in reversed(assessments)
    ]
    return _newest(
        "Assessments of how often to test",
        (f"when ({when.zone_name})", "decided", "proposed", "why", "id"),
        rows,
    )


def _newest(title: str, headings: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Section:
    left = len(rows) - MOST_ROWS
    if left > 0:
        rows = [
            *rows[:MOST_ROWS],
            (f"… and {left} earlier: see --json", *[""] * (len(headings) - 1)),
        ]
    return Section(title, headings, tuple(rows))
