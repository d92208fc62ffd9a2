"""A small record that tests of the check and of the pack begin with, all of it invented.

Not a test: the tests of several rooms begin with it.
"""

from __future__ import annotations

import hashlib
import random
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import attrs

from lungwort.jobs.judging import draw
from lungwort.limits.load import limit_set
from lungwort.limits.model import Conditions
from lungwort.logs.options import ReadOptions
from lungwort.logs.read import read_with
from lungwort.paper.certificate import CertificateSheet, certificate_pdf
from lungwort.paper.result import to_json
from lungwort.register import model as m
from lungwort.register.store import import_log, load_log
from lungwort.register.workspace import Workspace, create_workspace
from lungwort.spot.parse import parse_spot
from lungwort.verdict.decision import uncertainties
from lungwort.verdict.inputs import Inputs, to_bytes
from lungwort.verdict.model import Options

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
NAME = "Merrowgate Slipway (invented)"
ANSWERS = "Wenna Harkle"
TESTS = "Idris Pellow"
SPOTS = (
    "oil=<0.05 mg/m3",
    "odour=none",
    "liquid water=none",
)
READ = ReadOptions(
    zone="UTC",
    units=(("water", "°C pressure dew point"),),
    settle_s=0.0,
)


@attrs.frozen
class Kit:
    """What was recorded, for looking up."""

    folder: Path
    supply: m.Supply
    outlet: m.Outlet
    imports: tuple[m.LogImport, ...]
    tests: tuple[m.HandTest, ...]
    verdicts: tuple[m.VerdictRecord, ...]
    certificates: tuple[m.Certificate, ...]


def log_csv(begin: datetime, hours: int = 2, seed: int = 1) -> bytes:
    """Write a logger's file with a reading a minute of good air."""
    chance = random.Random(seed)  # noqa: S311 - invented readings
    lines = ["Time,O2 [%],CO [ppm],CO2 [ppm],Pressure dew point [°C]"]
    for minute in range(hours * 60 + 1):
        time = begin + timedelta(minutes=minute)
        lines.append(
            f"{time:%Y-%m-%d %H:%M:%S},{20.9 + chance.uniform(-0.05, 0.05):.2f},"
            f"{chance.uniform(0.2, 0.9):.1f},{430 + chance.uniform(-20, 20):.0f},"
            f"{-48 + chance.uniform(-1, 1):.1f}"
        )
    return ("\n".join(lines) + "\n").encode("utf-8")


def imported(
    workspace: Workspace, outlet: m.Outlet, instrument: m.Instrument, begin: datetime, now: datetime
) -> m.LogImport:
    """Import an invented log."""
    content = log_csv(begin, seed=begin.toordinal())
    file = workspace.folder.parent / f"logger-{begin:%Y%m%d}.csv"
    file.write_bytes(content)
    log = read_with(file, READ, now=now)
    file.unlink()
    with workspace.register.change(who=TESTS, now=now) as change:
        record, new = import_log(
            workspace,
            change,
            log,
            outlet=outlet,
            instrument=instrument,
            files=[(file.name, content)],
            options=READ,
            by=change.who,
        )
    assert new
    return record


def hand_test(workspace: Workspace, outlet: m.Outlet, lot: m.Lot, now: datetime) -> m.HandTest:
    """Record an invented test by hand."""
    procedure = workspace.put_file(f"# procedure as followed on {now:%Y-%m-%d}\n".encode())
    with workspace.register.change(who=TESTS, now=now) as change:
        return change.add(
            m.HandTest(
                outlet_id=outlet.id,
                procedure="full-outlet-test",
                procedure_sha256=procedure,
                state=m.DONE,
                started=now - timedelta(minutes=40),
                ended=now - timedelta(minutes=5),
                tester_id=change.who.id,
                second_person_id=change.get(m.Person, ANSWERS).id,
                answers=(m.Answer(step="odour", name="odour", given="none", time=now),),
                readings=tuple(
                    m.Reading(text=text, time=now - timedelta(minutes=10), lot_id=lot.id)
                    for text in SPOTS
                ),
            )
        )


def judged(
    workspace: Workspace, kit_imports: list[m.LogImport], test: m.HandTest, now: datetime
) -> tuple[m.VerdictRecord, m.Certificate]:
    """Judge an import and a test, and certify the outlet."""
    log = load_log(workspace, kit_imports)
    inputs = Inputs(
        limit_set=limit_set("en12021-2014-airline"),
        conditions=Conditions(7.0, 5.0),
        options=Options(),
        uncertainties=uncertainties(),
        spots=tuple(parse_spot(one.text, time=one.time) for one in test.readings),
        outlet="hose 1",
        judged_at=now,
    )
    verdict = draw(log, inputs)
    assert verdict.overall == "conforms", verdict.reasons
    assert verdict.judged_at is not None
    result = to_json(verdict)
    register = workspace.register
    outlet = register.get(m.Outlet, test.outlet_id)
    with register.change(who=ANSWERS, now=now) as change:
        record = change.add(
            m.VerdictRecord(
                outlet_id=outlet.id,
                supply_id=outlet.supply_id,
                overall=verdict.overall,
                reasons=verdict.reasons,
                limit_set=verdict.limit_set.id,
                limit_set_digest=verdict.limit_set.digest,
                inputs_sha256=workspace.put_file(to_bytes(inputs)),
                result_sha256=workspace.put_file(result.encode("utf-8")),
                log_import_ids=tuple(one.id for one in kit_imports),
                hand_test_ids=(test.id,),
                start=verdict.start,
                end=verdict.end,
                judged_at=verdict.judged_at,
                program_version=verdict.version,
                by_id=change.who.id,
            )
        )
        head = change.head()
        number = f"YARD-2026-{len(change.all(m.Certificate)) + 1:04d}"
        sheet = CertificateSheet(
            number=number,
            site="Merrowgate Slipway",
            supply="yard compressor",
            outlet=outlet.name,
            issued_at=now,
            issued_by=ANSWERS,
            tree_size=head.size,
            tree_root=head.root,
            zone="Europe/London",
            workspace_name=workspace.name,
            next_test_by=date(2026, 6, 1),
        )
        pdf = certificate_pdf(verdict, sheet, result)
        certificate = change.add(
            m.Certificate(
                number=number,
                verdict_id=record.id,
                outlet_id=outlet.id,
                supply_id=outlet.supply_id,
                issued_at=now,
                issued_by_id=change.who.id,
                next_test_by=date(2026, 6, 1),
                tree_size=head.size,
                tree_root=head.root,
                result_sha256=record.result_sha256,
                pdf_sha256=workspace.put_file(pdf),
            )
        )
    return record, certificate


def build(folder: Path, database: str = "sqlite") -> Kit:
    """Make a workspace with two imports, two tests, two certificates and what they rest on."""
    now = START
    with create_workspace(
        folder, name=NAME, person=ANSWERS, now=now, database=database
    ) as workspace:
        register = workspace.register
        paper = workspace.put_file(b"%PDF-1.7 invented calibration paper")
        with register.change(who=ANSWERS, now=now + timedelta(minutes=1)) as change:
            person = change.add(m.Person(name=TESTS, role="tests by hand"))
            site = change.add(
                m.Site(
                    name="slipway",
                    title="Merrowgate Slipway",
                    address="Port Ondrey",
                    zone="Europe/London",
                    limit_set="en12021-2014-airline",
                )
            )
            supply = change.add(
                m.Supply(
                    site_id=site.id,
                    name="yard",
                    title="Yard compressor",
                    oil_lubricated=True,
                    pressure_bar_g=Decimal("7.0"),
                    lowest_temperature_c=Decimal(5),
                )
            )
            other = change.add(m.Supply(site_id=site.id, name="boat", title="Boat compressor"))
            stage = change.add(m.Stage(supply_id=supply.id, name="carbon", kind="carbon"))
            outlet = change.add(m.Outlet(supply_id=supply.id, name="hose 1", place="blast bay"))
            change.add(m.Outlet(supply_id=other.id, name="boat hose"))
            instrument = change.add(
                m.Instrument(
                    name="logger A",
                    serial="0001",
                    channels=(
                        m.InstrumentChannel("co", "ppm", Decimal(0), Decimal(50), Decimal("0.5")),
                        m.InstrumentChannel("o2", "%"),
                    ),
                )
            )
            lot = change.add(m.Lot(name="tubes 1", kind="tube", analyte="oil", stock=10))
            change.add(
                m.Calibration(
                    instrument_id=instrument.id,
                    time=now - timedelta(days=30),
                    kind=m.CALIBRATION,
                    rows=(
                        m.CalibrationRow(
                            "co", "ppm", Decimal("10.0"), Decimal("10.4"), Decimal("10.0")
                        ),
                    ),
                    passed=True,
                    valid_until=date(2027, 1, 31),
                    by="Ondrey Metrology (invented)",
                    paper_sha256=paper,
                )
            )
            change.add(
                m.CartridgeChange(
                    stage_id=stage.id, time=now, running_hours=Decimal("1200.5"), by_id=person.id
                )
            )
            change.add(m.RunningHours(supply_id=supply.id, time=now, hours=Decimal("1200.5")))
            change.add(
                m.RiskAssessment(
                    supply_id=supply.id,
                    time=now,
                    questionnaire="plain",
                    answers=(("who is served", "two blasters"),),
                    proposed_months=3,
                    chosen_months=3,
                    by_id=person.id,
                )
            )
            change.add(m.WearerEquipment(outlet_id=outlet.id, name="blast hood", count=2))
            mistaken = change.add(
                m.Event(
                    supply_id=other.id, kind="moved", time=now, text="to the quay", by_id=person.id
                )
            )
        with register.change(who=TESTS, now=now + timedelta(minutes=2)) as change:
            change.void(mistaken, "it was another compressor")
            supply = change.replace(
                supply, attrs.evolve(supply, serves="blast bay"), "serves was left empty"
            )
        imports, tests, verdicts, certificates = [], [], [], []
        for month in (3, 4):
            day = datetime(2026, month, 10, 9, 0, tzinfo=UTC)
            imports.append(imported(workspace, outlet, instrument, day, day + timedelta(hours=3)))
            tests.append(hand_test(workspace, outlet, lot, day + timedelta(hours=4)))
            with register.change(who=TESTS, now=day + timedelta(hours=4, minutes=1)) as change:
                change.add(
                    m.LotUse(lot_id=lot.id, time=change.now, count=1, hand_test_id=tests[-1].id)
                )
            verdict, certificate = judged(
                workspace, imports[-1:], tests[-1], day + timedelta(hours=5)
            )
            verdicts.append(verdict)
            certificates.append(certificate)
        with register.change(who=ANSWERS, now=datetime(2026, 4, 20, 9, tzinfo=UTC)) as change:
            finding = change.add(
                m.Finding(
                    number="F-2026-0001",
                    supply_id=supply.id,
                    outlet_id=outlet.id,
                    opened_at=change.now,
                    text="smell of oil reported",
                    analytes=("oil", "odour"),
                    by_id=change.who.id,
                )
            )
            photo = b"\x89PNG\r\n\x1a\n invented"
            change.add(
                m.Photo(
                    hand_test_id=tests[-1].id,
                    step="connect",
                    name="outlet.png",
                    media_type="image/png",
                    photo_sha256=workspace.put_file(photo),
                    size_bytes=len(photo),
                    time=change.now,
                    by_id=change.who.id,
                )
            )
            change.add(
                m.Approval(
                    verdict_id=verdicts[-1].id,
                    outlet_id=outlet.id,
                    supply_id=supply.id,
                    asked_at=change.now,
                    asked_by_id=change.who.id,
                )
            )
            sheet = "format = 1\n"
            change.add(
                m.PlantRecord(
                    supply_id=supply.id,
                    name="plant.toml",
                    text=sheet,
                    sheet_digest=hashlib.sha256(sheet.encode()).hexdigest(),
                    time=change.now,
                    by_id=change.who.id,
                )
            )
            change.add(
                m.Action(
                    finding_id=finding.id,
                    kind="cause",
                    time=change.now,
                    text="filter spent",
                    by_id=change.who.id,
                )
            )
            change.add(
                m.SupplyState(
                    supply_id=supply.id,
                    state=m.WITHDRAWN,
                    time=change.now,
                    why="smell of oil",
                    finding_ids=(finding.id,),
                    verdict_ids=(verdicts[-1].id,),
                    by_id=change.who.id,
                )
            )
    return Kit(
        folder,
        supply,
        outlet,
        tuple(imports),
        tuple(tests),
        tuple(verdicts),
        tuple(certificates),
    )


def bytes_below(folder: Path) -> dict[str, str]:
    """Digest of every file, but for those that SQLite makes while it is read."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.endswith(("-shm", "-wal", ".lock"))
    }
