"""What goes into a pack, and what the check of a record is told from outside."""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
import zipfile
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import attrs
import polars as pl
import pytest
from tests import record_kit as kit

from lungwort.errors import InputError, OutputError, RegisterError, UnknownRecordError
from lungwort.jobs import pack as job
from lungwort.jobs import verify as check
from lungwort.jobs.opening import Where
from lungwort.jobs.pack_choice import Choice, Kept, chosen, latest, read_journal, standing
from lungwort.logs.read import read_with
from lungwort.paper import verify_pack
from lungwort.register import model as m
from lungwort.register.store import import_log
from lungwort.register.workspace import open_workspace

NOW = datetime(2026, 5, 4, 10, 20, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Build the record once."""
    return kit.build(tmp_path_factory.mktemp("kit") / "workspace")


@pytest.fixture
def folder(built: Any, tmp_path: Path) -> Path:
    """Give a copy of it that may be changed."""
    shutil.copytree(built.folder, tmp_path / "workspace")
    return tmp_path / "workspace"


def ask(
    built: Any, folder: Path, **given: Any
) -> tuple[job.Packed, dict[str, list[dict[str, Any]]]]:
    """Make a pack, check it, and give its records by kind."""
    wanted: dict[str, Any] = {"supply": "yard", "target": folder / "a.zip"} | given
    packed = job.pack(Where(built.folder), job.Request(**wanted), now=NOW)
    assert verify_pack.check(folder / "a.zip").problems == []
    records: dict[str, list[dict[str, Any]]] = {}
    with zipfile.ZipFile(folder / "a.zip") as archive:
        for name in archive.namelist():
            if name.startswith("journal/"):
                entry = json.loads(archive.read(name))
                records.setdefault(entry["kind"], []).append(entry["record"])
    return packed, records


def ids(records: dict[str, list[dict[str, Any]]], kind: str) -> list[str]:
    """Give the ids of a kind, in order."""
    return [one["id"] for one in records.get(kind, [])]


def test_all_of_a_supply(built: Any, tmp_path: Path) -> None:
    """And nothing of the other one; the record is not touched."""
    before = kit.bytes_below(built.folder)
    packed, records = ask(built, tmp_path)

    assert kit.bytes_below(built.folder) == before
    assert (packed.log_imports, packed.hand_tests, packed.verdicts) == (2, 2, 2)
    assert [number for number, _ in packed.certificates] == ["YARD-2026-0001", "YARD-2026-0002"]
    assert packed.entries == sum(map(len, records.values())) == 28
    assert [one["version"] for one in records["supply"]] == [1, 2]
    assert {one["name"] for one in records["supply"]} == {"yard"}
    assert [one["name"] for one in records["outlet"]] == ["hose 1"]
    assert {one["name"] for one in records["person"]} == {kit.ANSWERS, kit.TESTS}
    assert "event" not in records
    assert packed.standing == (
        "Newest state of the supply in this pack: withdrawn, 2026-04-20 09:00 UTC (smell of oil).",
        "Finding F-2026-0001 is open: smell of oil reported.",
    )
    assert packed.sha256 == hashlib.sha256((tmp_path / "a.zip").read_bytes()).hexdigest()
    assert packed.size_bytes == (tmp_path / "a.zip").stat().st_size
    with open_workspace(built.folder, read_only=True) as workspace:
        head = workspace.register.head()
    assert packed.head == f"{head.size}:{head.root}"


def test_the_same_moment_gives_the_same_bytes(built: Any, tmp_path: Path) -> None:
    """Twice the same pack."""
    one, _ = ask(built, tmp_path)
    other, _ = ask(built, tmp_path)

    assert one == other


def test_papers_and_files_are_those_of_the_record(built: Any, tmp_path: Path) -> None:
    """Byte for byte, under names that people can read; the CSV holds what the parts hold."""
    ask(built, tmp_path)
    first = built.imports[0]
    with (
        zipfile.ZipFile(tmp_path / "a.zip") as archive,
        open_workspace(built.folder, read_only=True) as workspace,
    ):
        for one in built.certificates:
            paper = archive.read(f"certificates/{one.number}.pdf")
            assert paper == workspace.read_file(one.pdf_sha256)
        for one in built.verdicts:
            assert archive.read(f"results/{one.id}.json") == workspace.read_file(one.result_sha256)
            assert archive.read(f"inputs/{one.id}.json") == workspace.read_file(one.inputs_sha256)
        logger = f"logger-files/{first.id}/{first.files[0].sha256[:8]}-logger-20260310.csv"
        assert archive.read(logger) == kit.log_csv(
            datetime(2026, 3, 10, 9, tzinfo=UTC),
            seed=datetime(2026, 3, 10).toordinal(),  # noqa: DTZ001 - a day
        )
        table = pl.read_csv(archive.read(f"readings/{first.id}/readings.csv"))
        part = pl.read_parquet(built.folder / first.parts[0].path)
    assert table.columns[:3] == ["time [UTC]", "o2 (volume fraction) [%]", "o2_flag"]
    assert "water (pressure dew point) [°C]" in table.columns
    assert table["time [UTC]"][0] == "2026-03-10T09:00:00.000000Z"
    assert table["co (volume fraction) [ppm]"].to_list() == part["co"].to_list()
    assert table.height == first.rows


def test_readings_of_a_wrong_clock_are_marked(folder: Path, tmp_path: Path) -> None:
    """Their time is not known; the table says so, and the rest is as it was."""
    lines = kit.log_csv(datetime(2026, 6, 1, 9, tzinfo=UTC)).decode().splitlines()
    for place in range(40, 60):
        lines[place] = f"2019-01-01 00:{place}:00{lines[place][19:]}"
    file = tmp_path / "reset.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    now = datetime(2026, 6, 2, tzinfo=UTC)
    log = read_with(file, kit.READ, now=now)
    with (
        open_workspace(folder) as workspace,
        workspace.register.change(who=kit.TESTS, now=now) as change,
    ):
        outlet = change.get(m.Outlet, "boat hose")
        record, _ = import_log(
            workspace,
            change,
            log,
            outlet=outlet,
            instrument=None,
            files=[(file.name, file)],
            options=kit.READ,
            by=change.who,
        )
    request = job.Request(supply="boat", target=tmp_path / "a.zip")
    job.pack(Where(folder), request, now=now)
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        table = pl.read_csv(archive.read(f"readings/{record.id}/readings.csv"))
    known = table.filter(pl.col(job.TIME_KNOWN) == "yes")
    rest = table.filter(pl.col(job.TIME_KNOWN) == "no")

    assert (known.height, rest.height) == (record.rows, 20) == (101, 20)
    assert known["time [UTC]"].min() == "2026-06-01T09:00:00.000000Z"
    assert rest["time [UTC]"].max() == "2019-01-01T00:59:00.000000Z"


def test_a_period(built: Any, tmp_path: Path) -> None:
    """March alone: its log, test, verdict and certificate; nothing of April but the supply itself."""
    packed, records = ask(built, tmp_path, begin="2026-03-01", end="2026-03-31")

    assert packed.period == "from 2026-03-01 to 2026-03-31"
    assert [number for number, _ in packed.certificates] == ["YARD-2026-0001"]
    assert ids(records, "log_import") == [built.imports[0].id]
    assert ids(records, "hand_test") == [built.tests[0].id]
    assert ids(records, "verdict") == [built.verdicts[0].id]
    assert len(records["lot_use"]) == 1
    assert "finding" not in records
    assert packed.standing == ()


def test_a_later_period(built: Any, tmp_path: Path) -> None:
    """From the day of the finding: it, its action and the state, and the verdict that they rest on."""
    packed, records = ask(built, tmp_path, begin="2026-04-20")

    assert (len(records["finding"]), len(records["action"]), len(records["supply_state"])) == (
        1,
        1,
        1,
    )
    assert ids(records, "verdict") == [built.verdicts[1].id]
    assert packed.certificates == ()
    assert packed.period == "from 2026-04-20"


def test_days_are_those_of_the_site(built: Any, tmp_path: Path) -> None:
    """10 April 09:00 UTC is 10:00 in London; the day ends at 23:00 UTC."""
    _, records = ask(built, tmp_path, begin="2026-04-10", end="2026-04-10")

    assert ids(records, "log_import") == [built.imports[1].id]
    with pytest.raises(InputError, match="nothing to hand over"):
        ask(built, tmp_path, begin="2026-04-11", end="2026-04-12", supply="boat")


def test_one_certificate(built: Any, tmp_path: Path) -> None:
    """With all that it rests on, and with what was found and decided since."""
    packed, records = ask(built, tmp_path, certificate="yard-2026-0001")

    assert ids(records, "certificate") == [built.certificates[0].id]
    assert built.imports[0].id in ids(records, "log_import")
    assert built.tests[0].id in ids(records, "hand_test")
    assert len(records["calibration"]) == 1
    assert "withdrawn" in packed.standing[0]
    assert "F-2026-0001 is open" in packed.standing[1]


def test_heads_that_the_inspector_holds(built: Any, tmp_path: Path) -> None:
    """The pack then proves that the journal goes on from them."""
    with open_workspace(built.folder, read_only=True) as workspace:
        head = workspace.register.head(5)
    ask(built, tmp_path, heads=(f"5:{head.root}",))

    assert verify_pack.check(tmp_path / "a.zip", [(5, head.root)]).problems == []
    assert verify_pack.check(tmp_path / "a.zip", [(5, "ab" * 32)]).problems != []
    with pytest.raises(RegisterError, match=f"never had the head 5:{'ab' * 32}"):
        ask(built, tmp_path, heads=(f"5:{'ab' * 32}",))
    with pytest.raises(RegisterError, match="never had the head 99:"):
        ask(built, tmp_path, heads=(f"99:{'ab' * 32}",))


@pytest.mark.parametrize(
    ("given", "error", "telling"),
    [
        ({"supply": "yrd"}, UnknownRecordError, "yard"),
        ({"certificate": "YARD-9"}, UnknownRecordError, "YARD-9"),
        (
            {"supply": "boat", "certificate": "YARD-2026-0001"},
            InputError,
            "is of another supply than",
        ),
        ({"begin": "March"}, InputError, "--from 'March' is no day"),
        ({"end": "2026-02-30"}, InputError, "--to-date '2026-02-30' is no day"),
        ({"begin": "2026-03-02", "end": "2026-03-01"}, InputError, "Give the earlier day first"),
        (
            {"begin": "2026-03-02", "certificate": "YARD-2026-0001"},
            InputError,
            "either of one certificate or of a period",
        ),
        ({"heads": ("5",)}, InputError, "'5' is no head"),
        ({"supply": "boat", "begin": "2030-01-01"}, InputError, "nothing to hand over"),
    ],
)
def test_what_cannot_be_asked_for(
    built: Any, tmp_path: Path, given: dict[str, Any], error: type[Exception], telling: str
) -> None:
    """Refused with a message, and nothing is written."""
    with pytest.raises(error, match=telling):
        ask(built, tmp_path, **given)
    assert list(tmp_path.iterdir()) == []


def test_a_target_that_cannot_be(built: Any, tmp_path: Path) -> None:
    """Before any work is done."""
    with pytest.raises(OutputError, match="does not exist"):
        ask(built, tmp_path, target=tmp_path / "none" / "a.zip")


def _first_digest(built: Any, which: str) -> str:
    record = built.imports[0]
    digests: dict[str, str] = {
        "logger": record.files[0].sha256,
        "log": record.log_sha256,
        "pdf": built.certificates[0].pdf_sha256,
        "procedure": built.tests[0].procedure_sha256,
    }
    return digests[which]


@pytest.mark.parametrize("which", ["logger", "log", "pdf", "procedure"])
@pytest.mark.parametrize("how", ["altered", "missing"])
def test_an_altered_record_is_not_handed_over(
    built: Any, folder: Path, tmp_path: Path, which: str, how: str
) -> None:
    """A file that a record names is not as it was."""
    path = folder / "files" / _first_digest(built, which)
    if how == "missing":
        path.unlink()
    else:
        path.write_bytes(path.read_bytes() + b" ")
    request = job.Request(supply="yard", target=tmp_path / "a.zip")

    with pytest.raises(RegisterError, match=path.name):
        job.pack(Where(folder), request, now=NOW)
    assert not (tmp_path / "a.zip").exists()


def test_altered_readings_are_not_handed_over(built: Any, folder: Path, tmp_path: Path) -> None:
    """A Parquet part is not as it was."""
    part = built.imports[0].parts[0]
    path = folder / part.path
    path.write_bytes(path.read_bytes()[:-1])

    with pytest.raises(RegisterError, match="was altered: its SHA-256 is"):
        job.pack(Where(folder), job.Request(supply="yard", target=tmp_path / "a.zip"), now=NOW)


def test_an_altered_journal_is_not_handed_over(folder: Path, tmp_path: Path) -> None:
    """The finished pack goes through its own check before it gets its name."""
    with closing(sqlite3.connect(folder / "register.sqlite", isolation_level=None)) as database:
        database.execute("DROP TRIGGER journal_no_update")
        database.execute(
            "UPDATE journal SET content = replace(content, 'hose 1', 'hose 9') WHERE seq = 7"
        )

    with pytest.raises(RegisterError, match="The pack would not pass its own check: "):
        job.pack(Where(folder), job.Request(supply="yard", target=tmp_path / "a.zip"), now=NOW)
    assert not (tmp_path / "a.zip").exists()


@pytest.mark.parametrize("content", ["", "[]", '{"record": 7}', '{"more": 1}'])
def test_a_journal_that_cannot_be_read_is_named(content: str) -> None:
    """By the number of the entry."""
    entry = m.Entry(1, NOW, "w", "add", "site", "site-a", 1, content, "")

    with pytest.raises(RegisterError, match="Entry 1 of the journal is missing or was altered"):
        read_journal([entry])


def test_a_hole_in_the_journal_is_named() -> None:
    """The second entry is the third."""
    first = m.Entry(1, NOW, "w", "add", "site", "site-a", 1, '{"record": {}}', "")

    with pytest.raises(RegisterError, match="Entry 2 of the journal"):
        read_journal([first, attrs.evolve(first, seq=3)])


# --- Choosing, by small records -----------------------------------------------------------------


def _kept(*records: tuple[str, str, dict[str, Any]]) -> list[Kept]:
    found: list[Kept] = []
    for seq, (kind, thing, record) in enumerate(records, start=1):
        version = 1 + sum(one.id == thing for one in found)
        found.append(Kept(seq, kind, thing, version, "", {"voided": False, **record}))
    return found


def _at(day: str) -> datetime:
    return datetime.fromisoformat(day).replace(tzinfo=UTC)


SUPPLY = ("supply", "s", {"site_id": "site"})
FINDING = (
    "finding",
    "f",
    {"supply_id": "s", "number": "F-1", "text": "oil", "opened_at": "2026-01-10T00:00:00Z"},
)


def _close(day: str, *, voided: bool = False) -> tuple[str, str, dict[str, Any]]:
    record = {"finding_id": "f", "kind": "close", "time": f"{day}T00:00:00Z", "voided": voided}
    return ("action", "a", record)


@pytest.mark.parametrize(
    ("begin", "end", "close", "there"),
    [
        ("2026-01-01", "2026-02-01", None, True),
        ("2026-02-01", "2026-03-01", None, True),
        ("2026-02-01", "2026-03-01", _close("2026-02-10"), True),
        ("2026-02-01", "2026-03-01", _close("2026-05-10"), True),
        ("2026-02-01", "2026-03-01", _close("2026-01-20"), False),
        ("2026-02-01", "2026-03-01", _close("2026-01-20", voided=True), True),
        ("2025-11-01", "2026-01-01", None, False),
    ],
)
def test_a_finding_that_was_open_in_the_period_goes_along(
    begin: str, end: str, close: tuple[str, str, dict[str, Any]] | None, *, there: bool
) -> None:
    """Opened in it, or before it and not closed before it."""
    log = ("log_import", "l", {"supply_id": "s", "start": None, "end": None})
    journal = _kept(SUPPLY, FINDING, log, *([close] if close else []))
    found = chosen(journal, Choice("s", _at(begin), _at(end)))

    assert ("f" in {one.id for one in found}) == there


def test_the_state_at_the_begin_goes_along() -> None:
    """The last one before the period."""
    states = [
        ("supply_state", f"st{n}", {"supply_id": "s", "time": f"2026-0{n}-05T00:00:00Z"})
        for n in range(1, 6)
    ]
    found = chosen(_kept(SUPPLY, *states), Choice("s", _at("2026-03-01"), _at("2026-05-01")))

    assert [one.id for one in found if one.kind == "supply_state"] == ["st2", "st3", "st4"]


@pytest.mark.parametrize(
    ("start", "end", "there"),
    [
        ("2026-02-20", "2026-03-02", True),
        ("2026-03-30", "2026-04-02", True),
        ("2026-01-01", "2026-12-01", True),
        ("2026-02-01", "2026-02-28", False),
        ("2026-04-01", "2026-04-02", False),
        (None, None, True),
    ],
)
def test_an_import_that_touches_the_period_goes_along(
    start: str | None, end: str | None, *, there: bool
) -> None:
    """Whole."""
    event = ("event", "e", {"supply_id": "s", "time": "2026-03-05T00:00:00Z"})
    times = {"start": start and f"{start}T00:00:00Z", "end": end and f"{end}T00:00:00Z"}
    log = ("log_import", "l", {"supply_id": "s", **times})
    found = chosen(_kept(SUPPLY, event, log), Choice("s", _at("2026-03-01"), _at("2026-04-01")))

    assert ("l" in {one.id for one in found}) == there


def test_all_versions_and_all_that_is_named_go_along() -> None:
    """Also what only an older version names, and what lies behind it."""
    journal = _kept(
        ("person", "p", {}),
        ("instrument", "i", {"maker_id": "gone"}),
        ("instrument", "j", {}),
        SUPPLY,
        (
            "hand_test",
            "h",
            {
                "supply_id": "s",
                "ended": "2026-03-05T00:00:00Z",
                "readings": [{"instrument_id": "i"}],
            },
        ),
        ("hand_test", "h", {"supply_id": "s", "ended": "2026-03-05T00:00:00Z", "tester_id": "p"}),
        ("calibration", "c", {"instrument_id": "i", "time": "2025-01-01T00:00:00Z"}),
        ("calibration", "d", {"instrument_id": "j", "time": "2025-01-01T00:00:00Z"}),
        ("calibration", "e", {"instrument_id": "i", "time": "2026-09-01T00:00:00Z"}),
    )
    found = chosen(journal, Choice("s", _at("2026-03-01"), _at("2026-04-01")))

    assert [(one.id, one.version) for one in found] == [
        ("p", 1),
        ("i", 1),
        ("s", 1),
        ("h", 1),
        ("h", 2),
        ("c", 1),
    ]
    assert [(one.id, one.version) for one in latest(found) if one.id == "h"] == [("h", 2)]


def test_a_voided_state_does_not_stand() -> None:
    """Nor does a closing that was voided."""
    journal = _kept(
        (
            "supply_state",
            "s1",
            {"state": "in_service", "time": "2026-03-05T00:00:00Z", "why": "new"},
        ),
        (
            "supply_state",
            "b",
            {"state": "withdrawn", "time": "2026-03-06T00:00:00Z", "why": "x", "voided": True},
        ),
        FINDING,
        _close("2026-03-06", voided=True),
    )

    assert list(standing(journal)) == [
        "Newest state of the supply in this pack: in service, 2026-03-05 00:00 UTC (new).",
        "Finding F-1 is open: oil.",
    ]
    assert list(standing(_kept(FINDING, _close("2026-03-06")))) == []


# --- The check, against what was kept elsewhere -------------------------------------------------


def _outside(**given: Any) -> check.Outside:
    return check.Outside(**given)


def _certificate_file(built: Any, tmp_path: Path) -> Path:
    path = tmp_path / "handed-out.pdf"
    shutil.copy(built.folder / "files" / built.certificates[0].pdf_sha256, path)
    return path


def test_a_sound_record_against_everything(built: Any, tmp_path: Path) -> None:
    """Head, certificate and pack; verdicts are drawn again."""
    packed, _ = ask(built, tmp_path)
    outside = _outside(
        heads=(packed.head,),
        certificates=(_certificate_file(built, tmp_path),),
        packs=(tmp_path / "a.zip",),
    )
    outcome = check.verify(Where(built.folder), outside)

    assert outcome.checked.problems == ()
    assert outcome.exit_code == 0
    assert outcome.head == packed.head
    assert len(outcome.compared) == 3
    said = check.as_json(outcome)
    assert said["fits"] is True
    assert said["checked"]["certificates"] == 2
    assert f"{said['head']['size']}:{said['head']['root']}" == packed.head


def test_a_record_that_was_put_back(built: Any, folder: Path, tmp_path: Path) -> None:
    """With its heads: an older state in itself without fault. Each thing kept elsewhere tells."""
    with open_workspace(folder) as workspace:
        later = workspace.register.entry(workspace.register.head().size).time + timedelta(days=1)
        with workspace.register.change(who=kit.ANSWERS, now=later) as change:
            change.add(m.Person(name="New Person"))
    newer = attrs.evolve(built, folder=folder)
    packed, _ = ask(newer, tmp_path)

    for given in ({"heads": (packed.head,)}, {"packs": (tmp_path / "a.zip",)}):
        outcome = check.verify(Where(built.folder), _outside(**given))

        assert outcome.exit_code == 1
        assert "put back to an older state or cut" in outcome.checked.problems[0].what


def test_a_certificate_that_is_of_another_record(built: Any, tmp_path: Path) -> None:
    """Its head is not of this journal, and its paper not on record."""
    other = kit.build(tmp_path / "other")
    outcome = check.verify(
        Where(built.folder), _outside(certificates=(_certificate_file(other, tmp_path),))
    )

    assert [one.where.split(" ")[0] for one in outcome.checked.problems] == ["known", "certificate"]
    assert "No certificate on record has this paper" in outcome.checked.problems[1].what
    assert check.as_json(outcome)["problems"][1]["where"] == "certificate handed-out.pdf"


def test_an_altered_paper_of_a_certificate(built: Any, tmp_path: Path) -> None:
    """The head fits, the paper is not the one on record."""
    path = _certificate_file(built, tmp_path)
    path.write_bytes(path.read_bytes() + b"\n% more")
    outcome = check.verify(Where(built.folder), _outside(certificates=(path,)))

    assert [one.where for one in outcome.checked.problems] == ["certificate handed-out.pdf"]


def test_an_altered_pack(built: Any, tmp_path: Path) -> None:
    """What does not fit in it is told with the name of the pack."""
    ask(built, tmp_path)
    with zipfile.ZipFile(tmp_path / "a.zip", "a") as archive:
        archive.writestr("more.txt", b"more")
    outcome = check.verify(Where(built.folder), _outside(packs=(tmp_path / "a.zip",)))

    assert [one.where for one in outcome.checked.problems] == ["pack a.zip, more.txt"]


@pytest.mark.parametrize(
    ("kind", "content", "telling"),
    [
        ("certificates", b"%PDF-1.7 of somebody else", "shows no head that can be read"),
        ("certificates", None, "cannot be read"),
        ("packs", b"no ZIP", "is no evidence pack that can be read"),
        ("packs", None, "is not there"),
    ],
)
def test_what_cannot_be_compared(
    built: Any, tmp_path: Path, kind: str, content: bytes | None, telling: str
) -> None:
    """It is not passed over."""
    path = tmp_path / "given"
    if content is not None:
        path.write_bytes(content)

    with pytest.raises(InputError, match=telling):
        check.verify(Where(built.folder), _outside(**{kind: (path,)}))


@pytest.mark.parametrize(
    "text", ["", "12", "12:ab", "x:" + "ab" * 32, "12:" + "ag" * 32, "-1:" + "ab" * 32]
)
def test_what_is_no_head(text: str) -> None:
    """The message shows what one looks like."""
    with pytest.raises(InputError, match=r"is no head\. Give it as SIZE:ROOT"):
        check.parse_head(text)
