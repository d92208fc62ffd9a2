"""Records for tests of plans, built without a database: one invented yard."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from attrs import evolve

from lungwort.limits.load import limit_set
from lungwort.plan.snapshot import Snapshot
from lungwort.register.model import (
    Action,
    Calibration,
    Event,
    Finding,
    HandTest,
    Instrument,
    InstrumentChannel,
    LimitWord,
    LogImport,
    Lot,
    Outlet,
    Person,
    Reading,
    Site,
    Stage,
    Supply,
    SupplyState,
    VerdictRecord,
)

NOW = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)
LIMITS = limit_set("osha-1910-134-grade-d-airline")
KEYS = tuple(limit.key for limit in LIMITS if limit.required and not limit.needs)
SITE = Site(
    id="site-1",
    seq=1,
    name="yard",
    title="Merrowgate Slipway (invented)",
    zone="Europe/London",
    limit_set=LIMITS.id,
    plan="uk-guidance",
)
WENNA = Person(id="person-1", seq=2, name="Wenna Harkle", competent_until=date(2027, 1, 31))
IDRIS = Person(id="person-2", seq=3, name="Idris Pellow", competent_until=date(2027, 1, 31))
SUPPLY = Supply(
    id="supply-1", seq=4, site_id="site-1", name="compressor", pressure_bar_g=Decimal(7)
)
STAGE = Stage(id="stage-1", seq=5, supply_id="supply-1", name="carbon", kind="carbon")
OUTLET = Outlet(id="outlet-1", seq=6, supply_id="supply-1", name="paint-1")
SECOND = Outlet(id="outlet-2", seq=7, supply_id="supply-1", name="paint-2")
METER = Instrument(
    id="instrument-1",
    seq=8,
    name="four-gas",
    channels=(
        InstrumentChannel("o2", "%", Decimal(0), Decimal(25), Decimal("0.3")),
        InstrumentChannel("co", "ppm", Decimal(0), Decimal(100), Decimal(1)),
        InstrumentChannel("co2", "ppm", Decimal(0), Decimal(5000)),
    ),
    calibration_months=12,
    bump_days=30,
)
CALIBRATED = Calibration(
    id="calibration-1",
    seq=9,
    instrument_id="instrument-1",
    time=datetime(2026, 1, 10, 9, 0, tzinfo=UTC),
    kind="calibration",
    passed=True,
    by="laboratory (invented)",
)
BUMPED = Calibration(
    id="calibration-2",
    seq=10,
    instrument_id="instrument-1",
    time=datetime(2026, 5, 30, 7, 0, tzinfo=UTC),
    kind="bump_test",
    passed=True,
    by="Idris Pellow",
)
TUBES = Lot(
    id="lot-1",
    seq=11,
    name="oil-a",
    kind="oil_indicator",
    analyte="oil",
    expires=date(2027, 6, 30),
    stock=10,
)


def ago(days: float, hours: float = 0) -> datetime:
    """Tell a moment before now [d], [h]."""
    return NOW - timedelta(days=days, hours=hours)


def hand_test(
    time: datetime, name: str = "test-1", outlet: str = "outlet-1", **more: Any
) -> HandTest:
    """Build a test by hand that is in order."""
    given: dict[str, Any] = {
        "id": name,
        "outlet_id": outlet,
        "procedure": "full-outlet",
        "procedure_sha256": "0" * 64,
        "state": "done",
        "started": time,
        "ended": time + timedelta(hours=1),
        "tester_id": IDRIS.id,
        "second_person_id": WENNA.id,
        "readings": (
            Reading("co=2 ppm", time, instrument_id=METER.id),
            Reading("oil=<0.5 mg/m3", time, lot_id=TUBES.id),
            Reading("odour=none", time),
        ),
        "seq": 100,
    }
    return HandTest(**(given | more))


def log_import(start: datetime, end: datetime, name: str = "log-1", **more: Any) -> LogImport:
    """Build a log import."""
    given: dict[str, Any] = {
        "id": name,
        "outlet_id": "outlet-1",
        "instrument_id": METER.id,
        "files": (),
        "content_sha256": "1" * 64,
        "recipe_sha256": "2" * 64,
        "log_sha256": "3" * 64,
        "parts": (),
        "start": start,
        "end": end,
        "rows": 10,
        "refused": 0,
        "by_id": WENNA.id,
        "seq": 101,
    }
    return LogImport(**(given | more))


def words(time: datetime | None, **verdicts: str) -> tuple[LimitWord, ...]:
    """Build a word on each required limit; those not named conform."""
    return tuple(
        LimitWord(
            key=limit.key,
            analyte=limit.analyte,
            verdict=verdicts.get(limit.key, "conforms"),
            required=True,
            means="log",
            evidence_time=time,
        )
        for limit in LIMITS
        if limit.key in KEYS
    )


def verdict(
    time: datetime, name: str = "verdict-1", outlet: str = "outlet-1", **more: Any
) -> VerdictRecord:
    """Build a verdict of evidence of one moment; it conforms where nothing else is said."""
    given: dict[str, Any] = {
        "id": name,
        "version": 1,
        "seq": 200,
        "outlet_id": outlet,
        "supply_id": "supply-1",
        "overall": "conforms",
        "limits": words(time),
        "limit_set": LIMITS.id,
        "limit_set_digest": LIMITS.digest,
        "inputs_sha256": "4" * 64,
        "result_sha256": "5" * 64,
        "judged_at": time + timedelta(hours=2),
        "program_version": "0",
        "by_id": WENNA.id,
    }
    return VerdictRecord(**(given | more))


def failing(time: datetime, name: str = "verdict-2", key: str = "co", **more: Any) -> VerdictRecord:
    """Build a verdict with one limit outside."""
    return verdict(
        time,
        name,
        **(
            {"overall": "does_not_conform", "limits": words(time, **{key: "does_not_conform"})}
            | more
        ),
    )


def state(kind: str, time: datetime, **more: Any) -> SupplyState:
    """Build a state of the supply."""
    given: dict[str, Any] = {
        "id": f"state-{kind}-{time:%Y%m%d%H%M}",
        "version": 1,
        "supply_id": "supply-1",
        "state": kind,
        "time": time,
        "why": "invented",
        "by_id": WENNA.id,
    }
    return SupplyState(**(given | more))


def finding(time: datetime, number: str = "F-1", **more: Any) -> Finding:
    """Build a finding at the first outlet."""
    given: dict[str, Any] = {
        "id": f"finding-{number}",
        "number": number,
        "supply_id": "supply-1",
        "outlet_id": "outlet-1",
        "opened_at": time,
        "text": "carbon monoxide outside",
        "by_id": WENNA.id,
    }
    return Finding(**(given | more))


def action(kind: str, time: datetime, number: str = "F-1", **more: Any) -> Action:
    """Build an action on a finding."""
    given: dict[str, Any] = {
        "id": f"action-{kind}-{time:%Y%m%d%H%M}",
        "finding_id": f"finding-{number}",
        "kind": kind,
        "time": time,
        "text": "invented",
        "by_id": WENNA.id,
    }
    return Action(**(given | more))


def event(kind: str, time: datetime, **more: Any) -> Event:
    """Build an event of the supply."""
    given: dict[str, Any] = {
        "id": f"event-{kind}",
        "supply_id": "supply-1",
        "kind": kind,
        "time": time,
        "text": "invented",
        "by_id": WENNA.id,
    }
    return Event(**(given | more))


def yard(**more: Any) -> Snapshot:
    """Build the yard in order: one supply, one outlet, a meter in calibration, a lot in date."""
    given: dict[str, Any] = {
        "now": NOW,
        "sites": (SITE,),
        "persons": (WENNA, IDRIS),
        "supplies": (SUPPLY,),
        "stages": (STAGE,),
        "outlets": (OUTLET,),
        "instruments": (METER,),
        "calibrations": (CALIBRATED, BUMPED),
        "lots": (TUBES,),
    }
    return Snapshot(**(given | more))


def changed(snapshot: Snapshot, **more: Any) -> Snapshot:
    """Build the same with other records."""
    return evolve(snapshot, **more)
