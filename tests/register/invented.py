"""Invented records, and a check of a whole record that leans on nothing it checks."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any, get_args, get_origin

import attrs
from hypothesis import strategies as st

from lungwort.register import convert, model
from lungwort.register.checking import CHOICES
from lungwort.register.records import Change
from lungwort.register.workspace import Workspace

DIGEST = hashlib.sha256(b"invented").hexdigest()
NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)

texts = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12
) | st.sampled_from(["", "é", "Öl-Abscheider", "line\nbreak", '"quoted"', "\u2028", "🫁"])
names = st.text(st.characters(categories=["L", "N"]), min_size=1, max_size=12)
times = st.datetimes(
    datetime.fromisoformat("0001-01-02"),
    datetime.fromisoformat("9999-12-30"),
    timezones=st.just(UTC),
)
numbers = st.decimals(allow_nan=False, allow_infinity=False)
whole = st.integers(-(2**53) + 1, 2**53 - 1)


def values(shape: Any, name: str, kind: str) -> st.SearchStrategy[Any]:
    """Give values that fit a field."""
    if (kind, name) in CHOICES:
        return st.sampled_from(CHOICES[kind, name])
    if name.endswith("_sha256"):
        return st.sampled_from([DIGEST, hashlib.sha256(b"").hexdigest()])
    if name in {"name", "number"}:
        return names
    if get_origin(shape) is tuple:
        inner = get_args(shape)
        if inner[-1] is Ellipsis:
            return st.lists(values(inner[0], "", ""), max_size=3).map(tuple)
        return st.tuples(*(values(one, "", "") for one in inner))
    if type(None) in get_args(shape):
        return st.none() | values(get_args(shape)[0], name, kind)
    if attrs.has(shape):
        return st.builds(
            shape,
            **{one: values(each, one, "") for one, each in convert.field_types(shape).items()},
        )
    simple: dict[Any, st.SearchStrategy[Any]] = {
        str: texts,
        int: whole,
        bool: st.booleans(),
        Decimal: numbers,
        datetime: times,
        date: st.dates(),
    }
    return simple[shape]


def records_of(kind: type[model.Record]) -> st.SearchStrategy[Any]:
    """Give records of a kind that need not name things that are there."""
    return st.builds(
        kind,
        **{
            one: values(shape, one, kind.KIND)
            for one, shape in convert.field_types(kind).items()
            if one != "seq"
        },
    )


def one_of_each(change: Change) -> dict[str, Any]:
    """Record one thing of each kind, each field filled in."""
    made: dict[str, Any] = {}

    def add(record: model.Record) -> None:
        made[record.KIND] = change.add(record)

    def id_of(kind: str) -> str:
        return str(made[kind].id)

    made["person"] = change.who
    by = change.who.id
    add(model.Site(name="Yard", title="Merrowgate Slipway", address="Port Ondrey (invented)"))
    add(
        model.Supply(
            site_id=id_of("site"),
            name="hall",
            oil_lubricated=True,
            pressure_bar_g=Decimal("7.50"),
            lowest_temperature_c=Decimal(-5),
        )
    )
    add(
        model.Stage(
            supply_id=id_of("supply"), name="carbon", kind="carbon", change_hours=Decimal(1000)
        )
    )
    add(model.Lot(name="tubes 7", kind="tube", analyte="co", expires=date(2027, 1, 31), stock=10))
    add(
        model.CartridgeChange(
            stage_id=id_of("stage"),
            time=NOON,
            running_hours=Decimal("123.4"),
            lot_id=id_of("lot"),
            by_id=by,
        )
    )
    add(model.RunningHours(supply_id=id_of("supply"), time=NOON, hours=Decimal("130.0")))
    add(
        model.Event(
            supply_id=id_of("supply"), kind="moved", time=NOON, text="To the hall.", by_id=by
        )
    )
    add(
        model.RiskAssessment(
            supply_id=id_of("supply"),
            time=NOON,
            questionnaire="invented",
            answers=(("oil", "yes"), ("traffic", "no")),
            proposed_months=3,
            chosen_months=2,
            by_id=by,
        )
    )
    add(model.Outlet(supply_id=id_of("supply"), name="hall-1", place="North wall"))
    add(
        model.WearerEquipment(
            outlet_id=id_of("outlet"), name="hood", minimum_flow_l_min=Decimal(170), count=2
        )
    )
    add(
        model.PlantRecord(
            supply_id=id_of("supply"),
            name="plant.toml",
            text="format = 1\n",
            sheet_digest=DIGEST,
            time=NOON,
            by_id=by,
        )
    )
    add(
        model.Instrument(
            name="four gases",
            channels=(
                model.InstrumentChannel("co", "ppm", Decimal(0), Decimal(50), Decimal("1.5")),
            ),
            calibration_months=6,
            bump_days=30,
        )
    )
    add(
        model.Calibration(
            instrument_id=id_of("instrument"),
            time=NOON,
            kind="calibration",
            rows=(model.CalibrationRow("co", "ppm", Decimal(10), Decimal("9.6")),),
            passed=True,
            valid_until=date(2026, 9, 1),
            by="invented laboratory",
            paper_sha256=DIGEST,
        )
    )
    add(
        model.HandTest(
            outlet_id=id_of("outlet"),
            procedure="invented",
            procedure_sha256=DIGEST,
            state="done",
            started=NOON,
            ended=NOON + timedelta(minutes=20),
            tester_id=by,
            answers=(model.Answer("line", "pressure", "7 bar", NOON),),
            readings=(
                model.Reading("co=1 ppm", NOON, id_of("instrument")),
                model.Reading("oil=tube: <0.1 mg/m3", NOON, None, id_of("lot")),
            ),
        )
    )
    add(model.LotUse(lot_id=id_of("lot"), time=NOON, count=1, hand_test_id=id_of("hand_test")))
    add(
        model.Photo(
            hand_test_id=id_of("hand_test"),
            step="rows",
            name="rows.jpg",
            media_type="image/jpeg",
            photo_sha256=DIGEST,
            size_bytes=12,
            time=NOON,
            by_id=by,
        )
    )
    add(
        model.LogImport(
            outlet_id=id_of("outlet"),
            instrument_id=id_of("instrument"),
            files=(model.KeptFile("log.csv", DIGEST, 12),),
            content_sha256=DIGEST,
            recipe_sha256=DIGEST,
            log_sha256=DIGEST,
            parts=(model.Part("readings/a.parquet", DIGEST, 3),),
            start=NOON,
            end=NOON,
            rows=3,
            refused=0,
            by_id=by,
        )
    )
    add(
        model.VerdictRecord(
            outlet_id=id_of("outlet"),
            supply_id=id_of("supply"),
            overall="does_not_conform",
            reasons=("co above its limit",),
            limits=(model.LimitWord("co", "co", "does_not_conform", required=True),),
            limit_set="invented",
            limit_set_digest=DIGEST,
            inputs_sha256=DIGEST,
            result_sha256=DIGEST,
            log_import_ids=(id_of("log_import"),),
            hand_test_ids=(id_of("hand_test"),),
            judged_at=NOON,
            program_version="0",
            by_id=by,
        )
    )
    add(
        model.Certificate(
            number="YARD-2026-0001",
            verdict_id=id_of("verdict"),
            outlet_id=id_of("outlet"),
            supply_id=id_of("supply"),
            issued_at=NOON,
            issued_by_id=by,
            tree_size=change.size,
            tree_root=change.head().root,
            result_sha256=DIGEST,
            pdf_sha256=DIGEST,
        )
    )
    add(
        model.Approval(
            verdict_id=id_of("verdict"),
            outlet_id=id_of("outlet"),
            supply_id=id_of("supply"),
            asked_at=NOON,
            asked_by_id=by,
        )
    )
    add(
        model.Finding(
            number="F-2026-0001",
            supply_id=id_of("supply"),
            outlet_id=id_of("outlet"),
            verdict_id=id_of("verdict"),
            opened_at=NOON,
            text="Carbon monoxide.",
            analytes=("co",),
            by_id=by,
        )
    )
    add(
        model.Action(
            finding_id=id_of("finding"), kind="cause", time=NOON, text="A van idled.", by_id=by
        )
    )
    add(
        model.SupplyState(
            supply_id=id_of("supply"),
            state="withdrawn",
            time=NOON,
            why="Carbon monoxide.",
            finding_ids=(id_of("finding"),),
            verdict_ids=(id_of("verdict"),),
            by_id=by,
        )
    )
    assert set(made) == set(model.KINDS), "a kind is missing here"
    return made


def check_whole(workspace: Workspace) -> int:
    """Hold journal, records, things and heads against one another; give the number of entries.

    Hashing is written out again here from RFC 6962, section 2.1.
    """
    register = workspace.register
    entries = list(register.entries())
    previous, leaves, found = "0" * 64, [], {}
    for number, entry in enumerate(entries, 1):
        content = json.loads(entry.content)
        assert (entry.seq, content["seq"], content["previous"]) == (number, number, previous)
        previous = hashlib.sha256(entry.content.encode()).hexdigest()
        assert entry.hash == previous
        leaves.append(hashlib.sha256(b"\0" + entry.content.encode()).digest())
        found[number] = (entry.kind, content["record"])
    rows = {
        one.seq: (name, convert.to_plain(one))
        for name, kind in model.KINDS.items()
        for one in register.rows(kind)
    }
    assert rows == found
    assert register.things() == {entry.id: entry.kind for entry in entries}
    assert register.head().size == len(entries)
    assert register.head().root == _root(leaves).hex()
    text = (workspace.folder / "heads.txt").read_text(encoding="ascii")
    lines = text.split("\n")
    assert lines.pop() == "", "the last line is cut off"
    sizes = [int(line.split()[0]) for line in lines]
    assert sizes == sorted(set(sizes))
    for line in lines:
        size, root, _ = line.split()
        assert root == _root(leaves[: int(size)]).hex()
    return len(entries)


def _root(leaves: list[bytes]) -> bytes:
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    split = 1 << ((len(leaves) - 1).bit_length() - 1)
    return hashlib.sha256(b"\1" + _root(leaves[:split]) + _root(leaves[split:])).digest()
