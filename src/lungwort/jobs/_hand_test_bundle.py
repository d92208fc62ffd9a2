"""A test under way as one document: all that a device needs to go on without a connection."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from lungwort.errors import SpotError
from lungwort.spot import procedure_model as m
from lungwort.spot import rows, runner
from lungwort.spot.answers import device_of, wanted
from lungwort.spot.devices import IndicatorKind, TubeKind

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from lungwort.jobs._hand_test_stand import Stand
    from lungwort.spot.procedure_model import Ask
    from lungwort.spot.run_model import KnownLot, Run

    Worded = Callable[[str], str]


def bundle(stand: Stand, now: datetime, said: Worded = str) -> dict[str, Any]:
    """Put together what a device needs to guide through a test, with or without a connection.

    Parameters
    ----------
    stand : Stand
        The test.
    now : datetime
        The time, with a time zone.
    said : callable
        Words a text for whoever reads it.

    Returns
    -------
    dict
        JSON values: the procedure, what can be chosen, the kinds of devices, where the test stands.
    """
    run = stand.run
    return {
        "run": run.id,
        "outlet": run.context.outlet,
        "outlet_id": run.context.outlet_id,
        "tester": run.context.tester,
        "tester_id": run.context.tester_id,
        "zone": run.context.zone,
        "started": run.started.isoformat(),
        "procedure": {
            "id": run.procedure.id,
            "title": said(run.procedure.title),
            "about": said(run.procedure.about),
            "cautions": [said(one) for one in run.procedure.cautions],
            "remarks": [said(one) for one in run.procedure.remarks],
            "steps": [
                {
                    "id": step.id,
                    "title": said(step.title),
                    "text": said(step.text),
                    "standing": said(step.standing),
                    "source": said(step.source),
                    "asks": [_ask(run, ask, said) for ask in step.asks],
                }
                for step in run.procedure.steps
            ],
        },
        "persons": [
            {"id": one.id, "name": one.name}
            for one in run.context.persons
            if one.id != run.context.tester_id
        ],
        "instruments": [{"id": one.id, "name": one.name} for one in run.context.instruments],
        "lots": [_lot(run, one) for one in run.context.lots],
        "indicators": {one.id: _indicator(one, said) for one in run.context.indicators},
        "tubes": {one.id: _tube(one, said) for one in run.context.tubes},
        "row_states": list(rows.STATES),
        "stand": stand_plain(stand, now, said),
    }


def stand_plain(stand: Stand, now: datetime, said: Worded = str) -> dict[str, Any]:
    """Say where a test stands, as JSON values.

    Parameters
    ----------
    stand : Stand
        The test.
    now : datetime
        The time, with a time zone.
    said : callable
        Words a text for whoever reads it.

    Returns
    -------
    dict
        All entries, what comes next, and what follows from them.
    """
    run = stand.run
    return {
        "now": now.isoformat(),
        "entries": [
            {
                "step": one.step,
                "name": one.name,
                "given": one.given,
                "time": one.time.isoformat(),
                "state": one.state,
                "why": said(one.why) if one.why and not one.amends else one.why,
                "amends": one.amends,
            }
            for one in run.entries
        ],
        "next": None if stand.ask is None else stand.ask.name,
        "void": [said(one) for one in stand.void],
        "notes": [said(one) for one in run.notes],
        "doubts": [
            {"name": one.name, "text": said(one.text)}
            for one in runner.consequences(run)
            if one.effect == m.DOUBT
        ],
        "warnings": [
            {"name": one.name, "text": said(one.text)}
            for one in runner.consequences(run)
            if one.effect == m.WARN
        ],
        "photos": [
            {"step": one.step, "name": one.name, "sha256": one.sha256} for one in run.photos
        ],
    }


def _ask(run: Run, ask: Ask, said: Worded) -> dict[str, Any]:
    try:
        hint = wanted(run, ask)
    except SpotError:
        hint = ""
    return {
        "name": ask.name,
        "ask": said(ask.ask),
        "kind": ask.kind,
        "optional": ask.optional,
        "when": [{"name": one.name, "word": one.word} for one in ask.when],
        "unit": ask.unit,
        "analyte": ask.analyte,
        "low": ask.low,
        "high": ask.high,
        "below": ask.below,
        "above": ask.above,
        "why": said(ask.why),
        "against": ask.against,
        "choices": [
            {
                "word": one.word,
                "label": said(one.word),
                "says": said(one.says),
                "effect": one.effect,
                "why": said(one.why),
            }
            for one in ask.choices
        ],
        "minutes": ask.minutes,
        "device_time": ask.device_time,
        "short": ask.short,
        "longest_minutes": ask.longest_minutes,
        "long": ask.long,
        "lot_kind": ask.lot_kind,
        "lot": ask.lot,
        "pressure": ask.pressure,
        "strokes": ask.strokes,
        "expired": ask.expired,
        "standing": said(ask.standing),
        "source": said(ask.source),
        "wanted": said(hint),
    }


def _lot(run: Run, lot: KnownLot) -> dict[str, Any]:
    found, assumed = device_of(run, lot)
    own = None if assumed else found
    return {
        "id": lot.id,
        "name": lot.name,
        "kind": lot.kind,
        "analyte": lot.analyte,
        "expires": None if lot.expires is None else lot.expires.isoformat(),
        "device": "" if found is None else found.id,
        "assumed": assumed,
        # What the device asks for; none where the procedure's time holds.
        "purge_min": own.purge_min if isinstance(own, IndicatorKind) else None,
        "sample_min": _sample_min(found, own),
    }


def _sample_min(
    found: IndicatorKind | TubeKind | None, own: IndicatorKind | TubeKind | None
) -> float | None:
    if isinstance(found, TubeKind):
        return found.sample_min
    return own.sample_min if isinstance(own, IndicatorKind) else None


def _indicator(kind: IndicatorKind, said: Worded) -> dict[str, Any]:
    return {
        "title": said(kind.title),
        "rows": [
            {"name": said(one.name), "dots_mg_m3": one.dots_mg_m3, "line_mg_m3": one.line_mg_m3}
            for one in kind.rows
        ],
        "purge_min": kind.purge_min,
        "sample_min": kind.sample_min,
        "flow_l_min": None if kind.flow_l_min is None else list(kind.flow_l_min),
        "standing": said(kind.standing),
        "remarks": [said(one) for one in kind.remarks],
    }


def _tube(kind: TubeKind, said: Worded) -> dict[str, Any]:
    return {
        "title": said(kind.title),
        "analyte": kind.analyte,
        "unit": kind.unit,
        "first_mark": kind.first_mark,
        "last_mark": kind.last_mark,
        "strokes": kind.strokes,
        "strokes_may_differ": kind.strokes_may_differ,
        "sample_min": kind.sample_min,
        "standing": said(kind.standing),
        "remarks": [said(one) for one in kind.remarks],
    }
