"""The summary of a site."""

from __future__ import annotations

import io
import json
import subprocess
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pikepdf
import pytest
from attrs import evolve

from lungwort.paper.site_summary import (
    ATTACHMENT,
    MOST_DUE,
    DueLine,
    SummarySheet,
    SupplyLine,
    page_data,
    summary_pdf,
)

if TYPE_CHECKING:
    from pathlib import Path

NASTY = 'q"uote\\ #set page *b* \u202egnp.exe 空気 שלום ' + "no_break_" * 20 + "long words " * 20
GOOD = SupplyLine(
    supply="Compressor house, compressor 2",
    kind="compressor for an airline",
    state="in_service",
    since=datetime(2026, 8, 2, 9, tzinfo=UTC),
    verdict="conforms",
    verdict_at=datetime(2026, 10, 5, 9, tzinfo=UTC),
    weakest_verdict="conforms",
    weakest="Oil at outlet 3: banded oil indicator of 5 Oct 2026, stale on 6 Jan 2027",
    certificate="YARD-2026-0012",
    next_test_by=date(2027, 1, 5),
)
BAD = SupplyLine(
    supply="Charging compressor",
    state="withdrawn",
    since=datetime(2026, 11, 20, 9, tzinfo=UTC),
    verdict="does_not_conform",
    verdict_at=datetime(2026, 11, 19, 9, tzinfo=UTC),
    weakest_verdict="does_not_conform",
    weakest="Carbon monoxide at outlet 1: log of 19 Nov 2026",
    next_test_by=date(2026, 11, 19),
    next_test_late=True,
    findings=("F-2026-0003: carbon monoxide above the limit",),
)
NEW = SupplyLine(supply="Cylinder bank", state="under_test")
DUE = (
    DueLine(state="overdue", due=date(2026, 11, 1), subject="Logger A", what="calibration"),
    DueLine(state="never done", due=None, subject="Cylinder bank", what="test by hand"),
    DueLine(
        state="due",
        due=date(2026, 12, 24),
        subject="Lot 24-118",
        what="expires",
        why="Its paper says so.",
    ),
)
SHEET = SummarySheet(
    site="Merrowgate Slipway",
    site_address="Port Ondrey (invented)",
    made_at=datetime(2026, 11, 25, 12, tzinfo=UTC),
    zone="Europe/London",
    workspace_name="Merrowgate air",
    supplies=(GOOD, BAD, NEW),
    due=DUE,
    tree_size=1412,
    tree_root="0c" * 32,
)


def _text(data: bytes, tmp_path: Path) -> str:
    path = tmp_path / "summary.pdf"
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


def test_what_the_summary_says(tmp_path: Path) -> None:
    """All supplies, their states and evidence, and what is due, on one page."""
    data = summary_pdf(SHEET)
    shown = _text(data, tmp_path)

    for telling in (
        "Merrowgate Slipway",
        "as of 25 Nov 2026 12:00:00 (Europe/London)",
        "1 supply in service, 1 withdrawn, 1 under test, 2 items overdue.",
        "Do not breathe the air of: Charging compressor.",
        "Under test, not in service: Cylinder bank.",
        "In service",
        "since 2 Aug 2026",
        "last judged 5 Oct 2026",
        "YARD-2026-0012",
        "19 Nov 2026 (passed)",
        "F-2026-0003",
        "no state on record",
        "before it is in service",
        "No verdict",
        "OVERDUE",
        "NEVER DONE",
        "24 Dec 2026",
        "Its paper says so.",
        "It is no certificate",
    ):
        assert telling in shown, telling
    with pikepdf.open(io.BytesIO(data)) as file:
        assert len(file.pages) == 1
        meta = file.open_metadata()
        assert (meta["pdfaid:part"], meta["pdfaid:conformance"]) == ("3", "B")
        attached = json.loads(file.attachments[ATTACHMENT].get_file().read_bytes())
    assert attached["format"] == "lungwort-site-summary/1"
    assert attached["supplies"][1]["state"] == "withdrawn"
    assert attached["due"][0]["due"] == "2026-11-01"


@pytest.mark.parametrize(
    ("supplies", "due", "tone"),
    [
        ((GOOD,), (), "conforms"),
        ((GOOD, BAD), (), "does_not_conform"),
        ((GOOD, NEW), (), "not_proven"),
        ((GOOD,), DUE[:1], "not_proven"),
        ((GOOD,), DUE[1:2], "not_proven"),
        ((GOOD,), DUE[2:], "conforms"),
        ((evolve(GOOD, verdict="not_proven"),), (), "not_proven"),
        ((evolve(GOOD, verdict=""),), (), "not_proven"),
        ((), (), "not_proven"),
    ],
)
def test_the_headline_is_only_green_where_all_is_well(
    supplies: tuple[SupplyLine, ...], due: tuple[DueLine, ...], tone: str
) -> None:
    """Withdrawn, under test, unproven, overdue, or nothing at all: never a clean headline."""
    assert page_data(evolve(SHEET, supplies=supplies, due=due))["tone"] == tone


def test_a_supply_in_service_without_proof_is_named() -> None:
    """It is the one that somebody may be breathing from."""
    said = page_data(evolve(SHEET, supplies=(evolve(GOOD, verdict="not_proven"),), due=()))

    assert (
        "In service without evidence that it conforms: Compressor house"
        in (said["headline_detail"])
    )


def test_forty_items_are_all_printed_and_a_hundred_are_counted(tmp_path: Path) -> None:
    """What does not fit is said to be left out."""
    many = tuple(
        evolve(DUE[2], due=date(2026, 12, 1) + timedelta(days=day), what=f"thing {day}.")
        for day in range(40)
    )
    shown = _text(summary_pdf(evolve(SHEET, due=many)), tmp_path)
    assert all(f"thing {day}." in shown for day in range(40))

    said = page_data(evolve(SHEET, due=many * 3))
    assert len(said["due"]["rows"]) == MOST_DUE
    assert said["due_note"].startswith(f"The {MOST_DUE} most pressing of 120 items")


def test_nothing_due_is_said(tmp_path: Path) -> None:
    """An empty list is not left blank."""
    shown = _text(summary_pdf(evolve(SHEET, due=(), supplies=())), tmp_path)

    assert "Nothing is due within 60 days." in shown
    assert "No supply is on record at this site." in shown


def test_any_text_stays_text(tmp_path: Path) -> None:
    """Markup, controls and letters without a shape."""
    line = evolve(BAD, supply=NASTY, kind=NASTY, weakest=NASTY, findings=(NASTY, NASTY))
    due = DueLine(state="overdue", due=None, subject=NASTY, what=NASTY, why=NASTY)
    data = summary_pdf(evolve(SHEET, site=NASTY, supplies=(line,) * 5, due=(due,) * 5))

    shown = _text(data, tmp_path)
    assert "#set page *b* [U+202E]gnp.exe" in shown
    assert "are written as [U+…]" in shown


def test_the_same_sheet_makes_the_same_bytes() -> None:
    """No clock."""
    assert summary_pdf(SHEET) == summary_pdf(SHEET)
