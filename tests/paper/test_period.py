"""The report of a supply over a period."""

from __future__ import annotations

import io
import json
import subprocess
import xml.etree.ElementTree as ET
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pikepdf
import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.paper.period import (
    ATTACHMENT,
    page_data,
    period_pdf,
    stretches,
    time_withdrawn_s,
)
from lungwort.paper.period_drawing import TrendPoint, timeline, trend
from lungwort.paper.period_sheet import (
    CartridgeLine,
    CertificateLine,
    DayTrendLine,
    EventLine,
    ExcursionLine,
    FindingLine,
    HandTestLine,
    MonitoredLine,
    PeriodSheet,
    StateLine,
    TrendLine,
    VerdictLine,
)

if TYPE_CHECKING:
    from pathlib import Path

NASTY = 'q"uote\\ #set page *b* \u202egnp.exe 空気 שלום ' + "no_break_" * 20 + "long words " * 20
SVG = "{http://www.w3.org/2000/svg}"
OUTLET = "Blasting hall, outlet 3"


def _at(month: int, day: int, hour: int = 9) -> datetime:
    return datetime(2026, month, day, hour, tzinfo=UTC)


MONTHS = tuple(date(2026, month, 1) for month in range(1, 7))
CO = TrendLine(
    analyte="co",
    limit="≤ 5 ppm",
    unit="ppm",
    upper=5.0,
    points=(
        TrendPoint(MONTHS[0], 0.9, "0.9", "conforms"),
        TrendPoint(MONTHS[1], None, "", "no_evidence"),
        TrendPoint(MONTHS[2], 21.9, "21.9", "does_not_conform"),
        TrendPoint(MONTHS[3], 4.9, "4.9", "undecided"),
        TrendPoint(MONTHS[4], 0.7, "0.7", "conforms"),
        TrendPoint(MONTHS[5], 0.8, "0.8", "conforms"),
    ),
)
SHEET = PeriodSheet(
    supply="Compressor house, compressor 2",
    site="Merrowgate Slipway",
    site_address="Port Ondrey (invented)",
    supply_facts=(("Kind", "compressor for an airline"),),
    start=datetime(2026, 1, 1, tzinfo=UTC),
    end=datetime(2026, 6, 30, 23, tzinfo=UTC),  # midnight in British summer
    made_at=datetime(2026, 7, 2, 12, tzinfo=UTC),
    zone="Europe/London",
    workspace_name="Merrowgate air",
    states=(
        StateLine(time=datetime(2025, 6, 1, tzinfo=UTC), state="in_service", why="tested"),
        StateLine(time=_at(3, 9), state="withdrawn", why="CO above 5 ppm", by="Wenna Harkle"),
        StateLine(time=_at(3, 15), state="under_test", why="intake moved", by="Wenna Harkle"),
        StateLine(time=_at(3, 20), state="in_service", why="retested", by="Wenna Harkle"),
    ),
    verdicts=(
        VerdictLine(
            time=_at(1, 5), outlet=OUTLET, overall="conforms", certificate="YARD-2026-0001"
        ),
        VerdictLine(
            time=_at(3, 8),
            outlet=OUTLET,
            overall="does_not_conform",
            reasons=("carbon monoxide was above 5 ppm in 2 excursions",),
        ),
        VerdictLine(time=_at(4, 8), outlet=OUTLET, overall="not_proven"),
    ),
    certificates=(
        CertificateLine(
            number="YARD-2026-0001",
            outlet=OUTLET,
            issued_by="Wenna Harkle",
            issued_at=_at(1, 6),
            next_test_by=date(2026, 4, 6),
        ),
    ),
    tests=(
        HandTestLine(
            time=_at(1, 5),
            outlet=OUTLET,
            procedure="full outlet test",
            tester="Idris Pellow",
            state="done",
            readings=("oil=indicator: nothing seen", "odour=none"),
        ),
        HandTestLine(
            time=_at(2, 5),
            outlet=OUTLET,
            procedure="full outlet test",
            tester="Idris Pellow",
            state="void",
            why="the seal was broken",
        ),
    ),
    findings=(
        FindingLine(
            number="F-2026-0003",
            text="carbon monoxide above the limit",
            opened_at=_at(3, 9),
            closed_at=_at(3, 20),
            analytes=("co",),
            causes=("exhaust of a lorry at the intake",),
            cures=("intake led to the roof",),
            retest="Conforms, judged 19 Mar 2026",
        ),
        FindingLine(number="F-2026-0004", text="smell of oil", opened_at=_at(5, 9)),
    ),
    excursions=tuple(
        ExcursionLine(
            outlet=OUTLET,
            analyte="co",
            direction="above",
            start=_at(3, 8, hour),
            duration_s=600.0 * hour,
            peak=10.0 + hour,
            limit=5.0,
            unit="ppm",
        )
        for hour in (1, 2, 3)
    ),
    monitored=(
        MonitoredLine(
            outlet=OUTLET, days=tuple(date(2026, 1, 1) + timedelta(days=d) for d in range(45))
        ),
        MonitoredLine(
            outlet="Paint shop",
            days=tuple(date(2026, 2, 1) + timedelta(days=d) for d in range(28)),
        ),
    ),
    trends=(CO,),
    day_trends=(
        DayTrendLine(
            outlet=OUTLET,
            name="Water",
            figure="95 % level",
            days=60,
            word="rises",
            change="4.66 mg/m3 (4.38 to 4.94)",
            limit="≤ 35 mg/m3",
            reached="2026-08-20 (2026-08-10 to 2026-08-30)",
        ),
    ),
    cartridges=(
        CartridgeLine(
            stage="Carbon filter",
            time=_at(3, 14),
            running_hours="4812 h",
            lot="24-118",
            by="Idris Pellow",
        ),
    ),
    events=(EventLine(time=_at(5, 3), kind="maintenance", text="valves", by="Idris Pellow"),),
    notes=("one result could not be read",),
    prepared_by="Wenna Harkle",
    role="answers for the air",
    tree_size=1412,
    tree_root="0c" * 32,
)


def _text(data: bytes, tmp_path: Path) -> str:
    path = tmp_path / "period.pdf"
    path.write_bytes(data)
    try:
        done = subprocess.run(
            ["pdftotext", "-layout", str(path), "-"],  # noqa: S607 - found on the path or skipped
            check=True,
            capture_output=True,
        )
    except FileNotFoundError:
        pytest.skip("pdftotext is not installed")
    return " ".join(done.stdout.decode("utf-8").split())


def test_what_the_report_says(tmp_path: Path) -> None:
    """State history, verdicts, certificates, tests, findings, excursions, days, trends, cartridges."""
    data = period_pdf(SHEET)
    shown = _text(data, tmp_path)

    for telling in (
        "Compressor house, compressor 2",
        "1 Jan 2026 to 30 Jun 2026",
        "3 verdicts: conforms 1, does not conform 1, not proven 1. 2 findings, of which 1 open.",
        "Time withdrawn 6 d, 1 time",
        "Days with a log 59 of 181",
        "Tests by hand 1 done, 1 aborted or void",
        "9 Mar 2026 09:00:00 +00:00 WITHDRAWN",
        "CO above 5 ppm",
        "F-2026-0003 Carbon monoxide above the limit.",
        "Exhaust of a lorry at the intake.",
        "Intake led to the roof.",
        "open for 11 d",
        "STILL OPEN",
        "not on record",
        "above 5 ppm",
        "YARD-2026-0001",
        "The seal was broken.",
        "oil=indicator: nothing seen; odour=none",
        "✕ 21.9",
        "4.66 mg/m³ (4.38 to 4.94)",
        "≤ 35 mg/m³",
        "4.9 (undecided)",
        "Carbon filter",
        "4812 h",
        "24-118",
        "valves",
        "One result could not be read.",
        "It is no certificate",
        "days of which nothing is known",
        "Wenna Harkle",
    ):
        assert telling in shown, telling
    with pikepdf.open(io.BytesIO(data)) as file:
        meta = file.open_metadata()
        assert (meta["pdfaid:part"], meta["pdfaid:conformance"]) == ("3", "B")
        attached = json.loads(file.attachments[ATTACHMENT].get_file().read_bytes())
    assert attached["format"] == "lungwort-period/1"
    assert attached["findings"][0]["causes"] == ["exhaust of a lorry at the intake"]
    assert attached["trends"][0]["points"][2]["value"] == 21.9
    assert attached["states"][1]["time"] == "2026-03-09T09:00:00Z"


def test_excursions_are_added_up_by_analyte() -> None:
    """How many, in all, the longest, the furthest."""
    (row,) = page_data(SHEET)["excursions"]["rows"]

    assert row == (
        "Carbon monoxide",
        "above 5 ppm",
        "3",
        "1 h",  # 10 + 20 + 30 min
        "30 min, 8 Mar 2026 03:00:00 +00:00",
        "13 ppm, 8 Mar 2026 03:00:00 +00:00",
        OUTLET,
    )


def test_the_lowest_is_the_furthest_below() -> None:
    """Below a bound the smallest reading counts."""
    low = [
        ExcursionLine(
            outlet=OUTLET,
            analyte="o2",
            direction="below",
            start=_at(3, day),
            duration_s=60.0,
            peak=peak,
            limit=20.0,
            unit="%",
        )
        for day, peak in ((1, 19.5), (2, 17.25), (3, None))
    ]
    (row,) = page_data(evolve(SHEET, excursions=tuple(low)))["excursions"]["rows"]

    assert row[5].startswith("17.25 %, 2 Mar 2026")
    assert row[2] == "3"


def test_a_day_counts_once() -> None:
    """45 days from 1 January and all of February are 59 days; the half year has 181."""
    rows = page_data(SHEET)["monitored"]["rows"]

    assert rows[0][:4] == (OUTLET, "45", "136", "24.9 %")
    assert rows[1][4] == "1 Feb 2026 to 28 Feb 2026"


def test_the_period_is_cut_at_the_changes_of_state() -> None:
    """Without gap or overlap, and with the state in which it began."""
    cut = stretches(SHEET)

    assert [part.state for part in cut] == ["in_service", "withdrawn", "under_test", "in_service"]
    assert cut[0].start == SHEET.start
    assert cut[-1].end == SHEET.end
    assert time_withdrawn_s(SHEET) == 6 * 86400


def test_before_any_state_the_supply_is_under_test() -> None:
    """Nothing recorded is never 'in service'."""
    (part,) = stretches(evolve(SHEET, states=()))
    assert part.state == "under_test"
    late = stretches(evolve(SHEET, states=SHEET.states[1:2]))
    assert [part.state for part in late] == ["under_test", "withdrawn"]


def test_what_lies_ahead_is_not_counted() -> None:
    """A period that has not ended ends when the record was read."""
    early = evolve(SHEET, made_at=_at(3, 12))

    assert stretches(early)[-1].end == early.made_at
    assert time_withdrawn_s(early) == 3 * 86400
    assert page_data(early)["state_when"] == "when the record was read"
    assert stretches(evolve(SHEET, made_at=SHEET.start)) == ()
    assert page_data(evolve(SHEET, made_at=SHEET.start - timedelta(days=1)))["state_words"] == (
        "No time of it has passed"
    )


_STATES = st.lists(
    st.tuples(st.integers(-40, 400), st.sampled_from(["in_service", "withdrawn", "under_test"])),
    max_size=12,
)


@settings(deadline=None, max_examples=100)
@given(_STATES)
def test_stretches_fill_the_period(changes: list[tuple[int, str]]) -> None:
    """Whatever was recorded: every moment has one state, the newest at it."""
    lines = tuple(
        StateLine(time=SHEET.start + timedelta(days=day), state=state) for day, state in changes
    )
    cut = stretches(evolve(SHEET, states=lines))

    assert cut[0].start == SHEET.start
    assert cut[-1].end == SHEET.end
    for before, after in pairwise(cut):
        assert before.end == after.start
    for part in cut:
        moment = part.start + (part.end - part.start) / 2
        newest = [line for line in sorted(lines, key=lambda line: line.time) if line.time <= moment]
        assert part.state == (newest[-1].state if newest else "under_test")


def test_a_month_without_evidence_is_left_open() -> None:
    """No number, no mark, no line across it."""
    svg = ET.fromstring(trend(CO.points, "ppm", None, 5.0))  # noqa: S314 - our own drawing
    line = [one for one in svg.iter(f"{SVG}path") if one.attrib.get("fill") == "none"]
    drawn = next(one.attrib["d"] for one in line if "L" in one.attrib["d"])

    assert drawn.count("M") == 2
    assert drawn.count("L") == 3
    assert len(list(svg.iter(f"{SVG}circle"))) == 3  # conforms: discs
    assert len(list(svg.iter(f"{SVG}rect"))) == 1  # does not conform: a square


def test_the_limit_and_all_values_are_inside_the_drawing() -> None:
    """A value beyond the limit moves the axis, not out of sight."""
    svg = ET.fromstring(trend(CO.points, "ppm", None, 5.0))  # noqa: S314 - our own drawing
    height = float(svg.attrib["viewBox"].split()[3])
    for circle in svg.iter(f"{SVG}circle"):
        assert 0 < float(circle.attrib["cy"]) < height
    (square,) = svg.iter(f"{SVG}rect")
    assert 0 < float(square.attrib["y"]) < height


@pytest.mark.parametrize(
    ("values", "lower", "upper"),
    [
        ((-47.0, -45.5), None, -40.0),
        ((0.0, 0.0), None, 0.5),
        ((20.9, 20.9), 20.9, 20.9),
        ((1e-9,), None, 1e9),
        ((5.0,), None, None),
    ],
)
def test_trends_of_any_numbers_can_be_drawn(
    values: tuple[float, ...], lower: float | None, upper: float | None
) -> None:
    """Negative, equal, zero, very small and very large."""
    points = [TrendPoint(MONTHS[0], value, "", "conforms") for value in values]
    svg = ET.fromstring(trend(points, "°C", lower, upper))  # noqa: S314 - our own drawing

    assert len(list(svg.iter(f"{SVG}circle"))) == len(values)
    assert "nan" not in ET.tostring(svg).decode()


def test_without_a_number_there_is_no_drawing() -> None:
    """Odour has none."""
    assert trend([TrendPoint(MONTHS[0], None, "", "conforms")], "", None, None) == ""


def test_the_days_of_a_log_stand_in_the_zone_of_the_site() -> None:
    """A day in Tokyo begins 9 hours before it does in UTC; consecutive days are one bar."""
    start = datetime(2026, 1, 1, tzinfo=UTC)
    days = [date(2026, 1, 11), date(2026, 1, 12), date(2026, 1, 14)]

    def bars(zone: str) -> list[float]:
        drawn = timeline(
            start,
            start + timedelta(days=100),
            ZoneInfo(zone),
            states=(),
            monitored=[("a", days)],
            marks=(),
        )
        svg = ET.fromstring(drawn)  # noqa: S314 - our own drawing
        rects = [one for one in svg.iter(f"{SVG}rect") if one.attrib.get("height") == "9"]
        return [float(one.attrib["x"]) for one in rects]

    utc, tokyo = bars("UTC"), bars("Asia/Tokyo")
    assert len(utc) == len(tokyo) == 2
    # The plot is 576 units wide for 100 days: 9 hours are 2.16 units.
    assert utc[0] - tokyo[0] == pytest.approx(2.16, abs=0.11)


def test_an_empty_period_says_so(tmp_path: Path) -> None:
    """Each section says that there is nothing, none is left blank."""
    bare = PeriodSheet(
        supply="C",
        site="S",
        start=SHEET.start,
        end=SHEET.end,
        made_at=SHEET.made_at,
        zone="Europe/London",
        workspace_name="",
    )
    shown = _text(period_pdf(bare), tmp_path)

    for telling in (
        "No state was recorded: the supply counts as under test.",
        "No finding was opened or open in the period.",
        "No verdict of the period lists an excursion.",
        "No verdict was given in the period.",
        "No certificate was issued in the period.",
        "No test by hand was done in the period.",
        "No log was imported for the period.",
        "No cartridge change was recorded in the period.",
        "Days with a log 0 of 181",
    ):
        assert telling in shown, telling


def test_any_text_stays_text(tmp_path: Path) -> None:
    """Markup, controls and letters without a shape, in every field, and many rows."""
    data = period_pdf(
        evolve(
            SHEET,
            supply=NASTY,
            site=NASTY,
            supply_facts=((NASTY, NASTY),),
            states=tuple(evolve(line, why=NASTY, by=NASTY) for line in SHEET.states),
            verdicts=tuple(evolve(one, outlet=NASTY, reasons=(NASTY,)) for one in SHEET.verdicts)
            * 30,
            findings=tuple(
                evolve(one, number=NASTY, text=NASTY, causes=(NASTY,) * 9, analytes=(NASTY,))
                for one in SHEET.findings
            ),
            monitored=tuple(evolve(one, outlet=NASTY) for one in SHEET.monitored),
            trends=(evolve(CO, analyte="x", limit=NASTY, unit="<&>"),),
            day_trends=(
                DayTrendLine(
                    outlet=NASTY, name=NASTY, figure=NASTY, days=1, word=NASTY, limit=NASTY
                ),
            ),
            notes=(NASTY,) * 20,
            prepared_by=NASTY,
            role=NASTY,
        )
    )
    shown = _text(data, tmp_path)

    assert "#set page *b* [U+202E]gnp.exe" in shown
    assert shown.count("Does not conform") == 30


def test_the_same_sheet_makes_the_same_bytes() -> None:
    """No clock."""
    assert period_pdf(SHEET) == period_pdf(SHEET)
