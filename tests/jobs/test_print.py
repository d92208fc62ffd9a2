"""Papers from an invented record that has been through a withdrawal and a return."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import openpyxl
import pikepdf
import pytest
from attrs import frozen
from tests.jobs.certify_story import CLEAN, IDRIS, MORNING, WENNA, Story, begin

from lungwort.errors import InputError, OutputError, UnknownRecordError
from lungwort.jobs import print as job
from lungwort.jobs.finding import add_action
from lungwort.jobs.print_period import parse_days
from lungwort.jobs.return_ import return_supply
from lungwort.jobs.withdraw import withdraw
from lungwort.paper import all_tests
from lungwort.paper.text import zone
from lungwort.register.model import CartridgeChange, Event, Finding, Site, Stage, Supply
from lungwort.register.workspace import Workspace, create_workspace

DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
MAY = datetime(2026, 5, 20, 12, tzinfo=UTC)
BAD = tuple("co=21 ppm" if text.startswith("co=") else text for text in CLEAN)


@frozen
class Told:
    """The story and what it left on record."""

    story: Story
    number: str
    certificates: tuple[str, ...]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Told]:
    """Test, put into service, find carbon monoxide, withdraw, cure, test again, return."""
    folder = tmp_path_factory.mktemp("print")
    with create_workspace(
        folder / "workspace",
        name="Merrowgate Slipway (invented)",
        person=WENNA,
        now=datetime(2026, 3, 2, 8, tzinfo=UTC),
    ) as workspace:
        yield _lived(begin(workspace), folder)


def _lived(story: Story, folder: Path) -> Told:
    story.log(folder, MORNING)
    story.hand_test(MORNING + 4 * HOUR)
    first = story.certify(MORNING + 5 * HOUR)
    return_supply(story.session(MORNING + 6 * HOUR), "main")
    bad = MORNING + 30 * DAY
    story.log(folder, bad, co=12.0)
    story.hand_test(bad + 4 * HOUR, BAD)
    story.certify(bad + 5 * HOUR)
    (finding,) = story.workspace.register.all(Finding)
    withdraw(
        story.session(bad + 6 * HOUR),
        "main",
        "carbon monoxide in the air",
        findings=[finding.number],
    )
    cured = bad + 10 * DAY
    add_action(story.session(cured), finding.number, "cause", "exhaust at the intake")
    add_action(story.session(cured), finding.number, "cure", "intake led to the roof")
    with story.workspace.register.change(who=IDRIS, now=cured + HOUR) as change:
        stage = change.add(
            Stage(
                supply_id=story.supply.id,
                name="carbon",
                kind="carbon",
                change_hours=Decimal(1000),
                change_months=6,
            )
        )
        change.add(Stage(supply_id=story.supply.id, name="drier", kind="drier", place=2))
        change.add(
            CartridgeChange(
                stage_id=stage.id,
                time=cured + HOUR,
                running_hours=Decimal("1200.5"),
                by_id=story.idris.id,
            )
        )
        change.add(
            Event(
                supply_id=story.supply.id,
                kind="maintenance",
                time=cured + HOUR,
                text="intake moved",
                by_id=story.idris.id,
            )
        )
        change.add(Supply(site_id=story.site.id, name="new"))
    story.log(folder, cured + 2 * HOUR)
    story.hand_test(cured + 6 * HOUR)
    story.certify(cured + 7 * HOUR)
    return_supply(story.session(cured + 8 * HOUR), "main")
    second = story.certify(cured + 9 * HOUR)
    numbers = [one.certificate.number for one in (first, second) if one.certificate is not None]
    assert len(numbers) == 2
    return Told(story, finding.number, tuple(numbers))


def _attached(path: Path) -> dict[str, Any]:
    with pikepdf.open(io.BytesIO(path.read_bytes())) as file:
        (name,) = file.attachments
        found: dict[str, Any] = json.loads(file.attachments[name].get_file().read_bytes())
    return found


def test_the_report_tells_the_whole_story(told: Told, tmp_path: Path) -> None:
    """States, verdicts with certificates, the finding with cause and cure, excursions, days."""
    made = job.report(
        told.story.where, "main", tmp_path / "r.pdf", now=MAY, begin="2026-03-01", by=IDRIS
    )
    sheet = _attached(made.path)

    assert made.notes == ()
    assert [line["state"] for line in sheet["states"]][-3:] == [
        "in_service",
        "withdrawn",
        "in_service",
    ]
    assert sheet["states"][-2]["why"] == "carbon monoxide in the air"
    assert [line["overall"] for line in sheet["verdicts"]] == [
        "conforms",
        "does_not_conform",
        "conforms",
        "conforms",
    ]
    assert [line["certificate"] for line in sheet["verdicts"]] == [
        told.certificates[0],
        "",
        "",
        told.certificates[1],
    ]
    (finding,) = sheet["findings"]
    assert finding["number"] == told.number
    assert finding["causes"] == ["exhaust at the intake"]
    assert finding["cures"] == ["intake led to the roof"]
    assert finding["closed_at"] is not None
    assert finding["retest"].startswith("Conforms")
    (excursion,) = [one for one in sheet["excursions"] if one["analyte"] == "co"]
    assert (excursion["peak"], excursion["limit"], excursion["duration_s"]) == (12.0, 5.0, 3600.0)
    (days,) = sheet["monitored"]
    assert days["days"] == ["2026-03-04", "2026-04-03", "2026-04-13"]
    assert [line["stage"] for line in sheet["cartridges"]] == ["carbon"]
    assert [line["text"] for line in sheet["events"]] == ["intake moved"]
    assert [line["state"] for line in sheet["tests"]] == ["done"] * 3
    assert (sheet["prepared_by"], sheet["role"]) == (IDRIS, "tests by hand")
    assert len(sheet["tree_root"]) == 64


def test_the_worst_of_a_month_is_the_worst(told: Told, tmp_path: Path) -> None:
    """In April a test by hand read 21 ppm, a log 12 ppm, and a retest conformed."""
    made = job.report(told.story.where, "main", tmp_path / "r.pdf", now=MAY, begin="2026-03-01")
    (co,) = [
        line
        for line in _attached(made.path)["trends"]
        if line["analyte"] == "co" and line["required"]
    ]

    assert [point["month"] for point in co["points"]] == ["2026-03-01", "2026-04-01", "2026-05-01"]
    assert [point["verdict"] for point in co["points"]] == [
        "conforms",
        "does_not_conform",
        "no_evidence",
    ]
    assert co["points"][1]["value"] == 21.0
    assert co["points"][2]["value"] is None


def test_only_what_belongs_to_the_period_is_reported(told: Told, tmp_path: Path) -> None:
    """After it was returned there is only the state in which the period began."""
    made = job.report(
        told.story.where,
        "main",
        tmp_path / "r.pdf",
        now=MAY,
        begin="2026-05-01",
        end="2026-05-10",
    )
    sheet = _attached(made.path)

    assert [line["state"] for line in sheet["states"]] == ["in_service"]
    for name in ("verdicts", "certificates", "tests", "findings", "excursions", "monitored"):
        assert sheet[name] == [], name
    # Days are those of Port Ondrey: British summer time.
    assert (sheet["start"], sheet["end"]) == ("2026-04-30T23:00:00Z", "2026-05-10T23:00:00Z")


def test_what_cannot_be_read_is_named(sqlite_workspace: Workspace, tmp_path: Path) -> None:
    """A result and a part of a log that are gone: the report says what is missing in it."""
    story = begin(sqlite_workspace)
    imported = story.log(tmp_path, MORNING)
    story.hand_test(MORNING + 4 * HOUR)
    record = story.certify(MORNING + 5 * HOUR).record
    assert record is not None
    sqlite_workspace.file_path(record.result_sha256).unlink()
    (sqlite_workspace.folder / imported.parts[0].path).unlink()

    made = job.report(story.where, "main", tmp_path / "r.pdf", now=MAY)

    assert len(made.notes) == 3
    assert any(
        one.startswith(f"The log import {imported.id} could not be read") for one in made.notes
    )
    assert any("could not be looked for" in one for one in made.notes)
    assert any(f"result of the verdict {record.id} could not be read" in one for one in made.notes)
    sheet = _attached(made.path)
    assert sheet["notes"] == list(made.notes)
    assert [line["overall"] for line in sheet["verdicts"]] == ["conforms"]
    assert sheet["monitored"] == []


@pytest.mark.parametrize(
    ("begin_day", "end_day", "expected"),
    [
        # ISO 8601 days of London: midnight of 29 March 2026 is 00:00 UTC, of 30 March 23:00 UTC.
        ("2026-03-29", "2026-03-29", ("2026-03-29T00:00", "2026-03-29T23:00")),
        (None, "2026-02-28", ("2025-03-01T00:00", "2026-03-01T00:00")),
        (None, None, ("2025-05-20T23:00", "2026-05-20T23:00")),
    ],
)
def test_days_are_those_of_the_site(
    begin_day: str | None, end_day: str | None, expected: tuple[str, str]
) -> None:
    """Also where the clocks change; twelve months if no first day is given."""
    found = parse_days(begin_day, end_day, zone("Europe/London"), now=MAY)

    assert tuple(f"{moment:%Y-%m-%dT%H:%M}" for moment in found) == expected


@pytest.mark.parametrize(
    ("begin_day", "end_day", "match"),
    [
        ("last week", None, r"--from 'last week' is no day"),
        (None, "03/04/2026", r"--to '03/04/2026' is no day"),
        ("2026-03-02", "2026-03-01", r"--from 2026-03-02 lies after --to 2026-03-01"),
        ("2026-06-01", "2026-06-02", r"--from 2026-06-01 lies ahead"),
    ],
)
def test_days_that_cannot_be_used(begin_day: str | None, end_day: str | None, match: str) -> None:
    """What was given, and how it is written."""
    with pytest.raises(InputError, match=match):
        parse_days(begin_day, end_day, zone("Europe/London"), now=MAY)


def test_the_summary_has_every_supply(told: Told, tmp_path: Path) -> None:
    """The one that is in service with its certificate, the new one under test, and what is due."""
    made = job.summary(told.story.where, None, tmp_path / "s.pdf", now=MAY)
    sheet = _attached(made.path)
    main, new = sheet["supplies"]

    assert sheet["site"] == "Merrowgate Slipway"
    assert (main["supply"], main["state"], main["verdict"]) == (
        "Main compressor (main)",
        "in_service",
        "conforms",
    )
    assert main["certificate"] == told.certificates[1]
    assert main["next_test_by"] is not None
    assert main["weakest"] != ""
    assert (new["supply"], new["state"], new["since"], new["verdict"]) == (
        "new",
        "under_test",
        None,
        "not_proven",
    )
    assert all(one["state"] != "later" for one in sheet["due"])


def test_a_passed_day_is_marked(told: Told, tmp_path: Path) -> None:
    """A year later the test is overdue, and the evidence proves nothing any more."""
    made = job.summary(told.story.where, "slipway", tmp_path / "s.pdf", now=MAY + 365 * DAY)
    sheet = _attached(made.path)

    assert sheet["supplies"][0]["next_test_late"]
    assert sheet["supplies"][0]["verdict"] == "not_proven"
    assert any(one["state"] == "overdue" for one in sheet["due"])


def test_which_site_is_asked_where_there_are_several(
    sqlite_workspace: Workspace, tmp_path: Path
) -> None:
    """None, one, several, and one that is not there."""
    where = begin(sqlite_workspace).where
    job.summary(where, None, tmp_path / "s.pdf", now=MAY)
    with sqlite_workspace.register.change(who=WENNA, now=MAY) as change:
        change.add(Site(name="quay"))
    with pytest.raises(InputError, match=r"There are several sites: quay, slipway\. Name one"):
        job.summary(where, None, tmp_path / "s.pdf", now=MAY)
    with pytest.raises(UnknownRecordError, match="nowhere"):
        job.summary(where, "nowhere", tmp_path / "s.pdf", now=MAY)


def test_a_notice_is_for_a_withdrawn_supply(told: Told, tmp_path: Path) -> None:
    """One in service has none, and the message says what to do."""
    with pytest.raises(InputError, match=r"Supply main is in service.*lungwort withdraw"):
        job.notice(told.story.where, "main", tmp_path / "n.pdf", now=MAY)
    with pytest.raises(InputError, match="Supply new is under test, not withdrawn"):
        job.notice(told.story.where, "new", tmp_path / "n.pdf", now=MAY)
    assert not (tmp_path / "n.pdf").exists()


def test_the_notice_says_why_and_who_decides(sqlite_workspace: Workspace, tmp_path: Path) -> None:
    """From the withdrawal, its finding and its person."""
    story = begin(sqlite_workspace)
    story.hand_test(MORNING, BAD)
    story.certify(MORNING + HOUR)
    (finding,) = sqlite_workspace.register.all(Finding)
    withdraw(
        story.session(MORNING + 2 * HOUR), "main", "carbon monoxide", findings=[finding.number]
    )

    made = job.notice(story.where, "main", tmp_path / "n.pdf", now=MORNING + DAY)
    sheet = _attached(made.path)
    assert sheet["why"] == "carbon monoxide"
    assert sheet["finding"] == finding.number
    assert sheet["since"] == "2026-03-04T10:00:00Z"
    assert sheet["withdrawn_by"] == WENNA
    assert sheet["decides"] == f"{WENNA} (answers for the air)"
    assert sheet["outlets"] == ["Slip 2, by the winch"]
    made = job.summary(story.where, None, tmp_path / "s.pdf", now=MORNING + DAY)
    (line,) = _attached(made.path)["supplies"]
    assert (line["state"], line["certificate"], line["next_test_by"]) == ("withdrawn", "", None)
    assert line["verdict"] == "does_not_conform"
    assert line["findings"][0].startswith(f"{finding.number}: ")
    named = job.notice(
        story.where, "main", tmp_path / "n.pdf", now=MORNING + DAY, decides="the yard manager"
    )
    assert _attached(named.path)["decides"] == "the yard manager"


def test_a_tag_states_the_next_change(told: Told, tmp_path: Path) -> None:
    """Changed on 13 April at 1200.5 h, every 1000 h or 6 months, whichever comes first."""
    made = job.tags(told.story.where, "main", tmp_path / "t.pdf", now=MAY)
    (tag,) = _attached(made.path)["tags"]

    assert (tag["stage"], tag["running_hours"], tag["next_hours"]) == (
        "carbon",
        "1200.5 h",
        "2200.5 h",
    )
    assert tag["next_by"] == date(2026, 10, 13).isoformat()
    assert tag["by"] == IDRIS
    assert made.notes == ("No change is on record for: drier.",)


def test_a_stage_without_a_change_has_no_tag(told: Told, tmp_path: Path) -> None:
    """Nor has one that is not there."""
    where, path = told.story.where, tmp_path / "t.pdf"
    with pytest.raises(
        InputError, match=r"No cartridge change is on record for supply main in: dr"
    ):
        job.tags(where, "main", path, now=MAY, stages=("drier",))
    with pytest.raises(InputError, match="No cartridge change is on record for supply new"):
        job.tags(where, "new", path, now=MAY)
    with pytest.raises(UnknownRecordError, match="carbn"):
        job.tags(where, "main", path, now=MAY, stages=("carbn",))


def test_the_workbook_has_all_tests(told: Told, tmp_path: Path) -> None:
    """Tests with their readings, a row each limit of each verdict, certificates, finding, due."""
    made = job.workbook(told.story.where, tmp_path / "t.xlsx", now=MAY)
    book = openpyxl.load_workbook(made.path)

    def rows(name: str) -> list[dict[str, Any]]:
        heads = all_tests.HEADS[name]
        values = book[name].iter_rows(min_row=2, values_only=True)
        return [dict(zip(heads, row, strict=True)) for row in values]

    assert len(rows("Tests")) == 3
    assert {row["Tester"] for row in rows("Tests")} == {IDRIS}
    assert len(rows("Readings")) == 3 * len(CLEAN)
    (high,) = [row for row in rows("Readings") if row["As entered"] == "co=21 ppm"]
    assert (high["From [unit]"], high["To [unit]"], high["Unit"]) == (21, 21, "ppm")
    assert high["Instrument"] == "Analyser A"
    assert [row["Noticed"] for row in rows("Readings") if row["Analyte"] == "Odour"] == ["no"] * 3
    verdicts = rows("Verdicts")
    assert {row["Overall"] for row in verdicts} == {"Conforms", "Does not conform"}
    assert all(row["Outlet"] == "Slip 2" for row in verdicts)
    assert [row["Certificate"] for row in rows("Certificates")] == list(told.certificates)
    (finding,) = rows("Findings")
    assert (finding["Finding"], finding["Causes"], finding["Open"]) == (
        told.number,
        "exhaust at the intake",
        "no",
    )
    assert len(rows("Instruments")) == 4
    assert len(rows("Calibrations")) == 2
    (lot,) = rows("Lots")
    assert (lot["Stock when it came [pieces]"], lot["Expires"]) == (20, datetime(2027, 1, 1))  # noqa: DTZ001 - a cell has no zone
    assert rows("Due")


def test_sites_in_several_zones_are_shown_in_utc(
    sqlite_workspace: Workspace, tmp_path: Path
) -> None:
    """And it is said."""
    story = begin(sqlite_workspace)
    with sqlite_workspace.register.change(who=WENNA, now=MAY) as change:
        change.add(Site(name="far", zone="Asia/Tokyo"))
    made = job.workbook(story.where, tmp_path / "t.xlsx", now=MAY)

    assert made.notes == ("The sites lie in several time zones, so all times are in UTC.",)
    heads = [cell.value for cell in openpyxl.load_workbook(made.path)["Tests"][1]]
    assert "Started (UTC)" in heads


def test_a_path_that_cannot_be_written_is_told_first(told: Told, tmp_path: Path) -> None:
    """Before anything is read."""
    where, path = told.story.where, tmp_path / "none" / "x.pdf"
    made: tuple[Callable[[], object], ...] = (
        lambda: job.report(where, "main", path, now=MAY),
        lambda: job.summary(where, None, path, now=MAY),
        lambda: job.notice(where, "main", path, now=MAY),
        lambda: job.tags(where, "main", path, now=MAY),
        lambda: job.workbook(where, path, now=MAY),
    )
    for one in made:
        with pytest.raises(OutputError, match=r"does not exist\. Make the folder first"):
            one()


def test_without_a_path_the_file_has_a_name_of_its_own(
    told: Told, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the current folder."""
    monkeypatch.chdir(tmp_path)

    assert job.report(told.story.where, "main", now=MAY).path == Path("report-main.pdf")
    assert job.workbook(told.story.where, now=MAY).path == Path("tests.xlsx")
    assert {one.name for one in tmp_path.iterdir()} == {"report-main.pdf", "tests.xlsx"}


def test_printing_changes_nothing(told: Told, tmp_path: Path) -> None:
    """The record is only read."""
    before = told.story.workspace.register.head()
    job.report(told.story.where, "main", tmp_path / "r.pdf", now=MAY)
    job.workbook(told.story.where, tmp_path / "t.xlsx", now=MAY)

    assert told.story.workspace.register.head() == before
