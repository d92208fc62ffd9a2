"""An invented site with a supply, and the evidence that tests put on record there."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from attrs import frozen

from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.certify import Certified, CertifyRequest, certify
from lungwort.jobs.opening import Where
from lungwort.logs.options import ReadOptions
from lungwort.logs.read import read_with
from lungwort.register.model import (
    DONE,
    Calibration,
    HandTest,
    Instrument,
    InstrumentChannel,
    LogImport,
    Lot,
    Outlet,
    Person,
    Reading,
    Site,
    Supply,
)
from lungwort.register.store import import_log
from lungwort.register.workspace import Workspace

WENNA = "Wenna Harkle"
IDRIS = "Idris Pellow"
MORNING = datetime(2026, 3, 4, 8, 0, tzinfo=UTC)
CLEAN = (
    "oil=indicator: nothing seen",
    "odour=none",
    "liquid water=none",
    "water=40 mg/m3",
    "co=1 ppm",
    "co2=430 ppm",
    "o2=20.9 %",
)


@frozen
class Story:
    """What stands in the invented record."""

    workspace: Workspace
    site: Site
    supply: Supply
    outlet: Outlet
    analyser: Instrument
    dew_point: Instrument
    indicators: Lot
    wenna: Person
    idris: Person

    @property
    def where(self) -> Where:
        """The workspace, as jobs take it."""
        return Where(self.workspace.folder)

    def session(self, now: datetime, by: str = WENNA) -> Session:
        """Give where, when and by whom."""
        return Session(now=now, where=self.where, by=by)

    def certify(self, now: datetime, **asked: object) -> Certified:
        """Ask for a certificate of the outlet."""
        usual: dict[str, object] = {"outlet": self.outlet.name, "by": WENNA}
        return certify(self.where, CertifyRequest(**{**usual, **asked}), now)  # type: ignore[arg-type] # fields of the request

    def hand_test(
        self,
        ended: datetime,
        readings: Sequence[str] = CLEAN,
        *,
        outlet: Outlet | None = None,
        state: str = DONE,
        why: str = "",
        now: datetime | None = None,
    ) -> HandTest:
        """Record a test by hand of half an hour, done by Idris Pellow with Wenna Harkle's nose."""
        procedure = self.workspace.put_file(b"id = 'invented'\n")
        with self.workspace.register.change(who=IDRIS, now=now or ended) as change:
            return change.add(
                HandTest(
                    outlet_id=(outlet or self.outlet).id,
                    procedure="full outlet test",
                    procedure_sha256=procedure,
                    state=state,
                    why=why,
                    started=ended - timedelta(minutes=30),
                    ended=ended,
                    tester_id=self.idris.id,
                    second_person_id=self.wenna.id,
                    readings=tuple(self._reading(text, ended) for text in readings),
                )
            )

    def _reading(self, text: str, time: datetime) -> Reading:
        analyte = text.partition("=")[0]
        if analyte in {"odour", "liquid water"}:
            return Reading(text, time)
        if analyte == "oil":
            return Reading(text, time, lot_id=self.indicators.id)
        instrument = self.dew_point if analyte == "water" else self.analyser
        return Reading(text, time, instrument_id=instrument.id)

    def log(
        self,
        folder: Path,
        begin: datetime,
        hours: int = 3,
        *,
        co: float = 0.4,
        instrument: Instrument | None = None,
        named: bool = True,
        now: datetime | None = None,
        outlet: Outlet | None = None,
    ) -> LogImport:
        """Import a log of one-minute readings, the given carbon monoxide in its last hour."""
        lines = ["Time,CO [ppm],CO2 [ppm],O2 [%]"]
        for minute in range(hours * 60):
            stamp = begin + timedelta(minutes=minute)
            value = co if minute >= (hours - 1) * 60 else 0.4
            lines.append(
                f"{stamp:%Y-%m-%d %H:%M:%S},{value},{430 + minute % 5},{20.9 - minute % 2 / 10:.1f}"
            )
        path = folder / f"log-{begin:%Y%m%d-%H%M}.csv"
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        end = begin + timedelta(hours=hours)
        options = ReadOptions(zone="UTC")
        log = read_with([path], options, now=now or end)
        with self.workspace.register.change(who=WENNA, now=now or end) as change:
            made, _ = import_log(
                self.workspace,
                change,
                log,
                outlet=outlet or self.outlet,
                instrument=(instrument or self.analyser) if named else None,
                files=[(path.name, path)],
                options=options,
                by=self.wenna,
            )
        return made


def begin(workspace: Workspace, **site_facts: object) -> Story:
    """Record a site with all that a clean certificate rests on."""
    now = MORNING - timedelta(days=1)
    with workspace.register.change(who=WENNA, now=now) as change:
        first = change.get(Person, WENNA)
        wenna = change.replace(
            first,
            Person(
                id=first.id,
                version=first.version,
                name=WENNA,
                role="answers for the air",
                competent_until=date(2027, 1, 1),
            ),
            "Her competence is on record now.",
        )
        idris = change.add(
            Person(name=IDRIS, role="tests by hand", competent_until=date(2027, 1, 1))
        )
        facts: dict[str, object] = {
            "name": "slipway",
            "title": "Merrowgate Slipway",
            "address": "Port Ondrey (invented)",
            "zone": "Europe/London",
            "limit_set": "en12021-2014-airline",
        }
        site = change.add(Site(**{**facts, **site_facts}))  # type: ignore[arg-type] # fields of a site
        supply = change.add(
            Supply(
                site_id=site.id,
                name="main",
                title="Main compressor",
                pressure_bar_g=Decimal(7),
                oil_lubricated=True,
                lubricant="mineral oil",
            )
        )
        outlet = change.add(Outlet(supply_id=supply.id, name="Slip 2", place="by the winch"))
        analyser = change.add(
            Instrument(
                name="Analyser A",
                serial="A-17",
                channels=(
                    InstrumentChannel("o2", "%", Decimal(0), Decimal(25), Decimal("0.2")),
                    InstrumentChannel("co", "ppm", Decimal(0), Decimal(100), Decimal(1)),
                    InstrumentChannel("co2", "ppm", Decimal(0), Decimal(2000), Decimal(50)),
                ),
                calibration_months=12,
                bump_days=180,
            )
        )
        dew_point = change.add(
            Instrument(
                name="Hygrometer B",
                serial="B-3",
                channels=(InstrumentChannel("water", "mg/m3", Decimal(0), Decimal(500)),),
                calibration_months=12,
            )
        )
        for instrument in (analyser, dew_point):
            change.add(
                Calibration(
                    instrument_id=instrument.id,
                    time=now - timedelta(days=3),
                    kind="calibration",
                    passed=True,
                    by="an invented laboratory",
                )
            )
        indicators = change.add(
            Lot(
                name="OI-7",
                kind="oil_indicator",
                analyte="oil",
                lot_number="7",
                expires=date(2027, 1, 1),
                stock=20,
            )
        )
    return Story(workspace, site, supply, outlet, analyser, dew_point, indicators, wenna, idris)
