"""The workbook of all tests on record, for those who live in a spreadsheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import OutputError
from lungwort.paper.text import Clock, zone
from lungwort.paper.workbook import Book

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.paper.workbook import Cell

    Rows = tuple[tuple[Cell, ...], ...]

# A heading that ends with '(zone)' gets the name of the time zone there.
HEADS: Final[dict[str, tuple[str, ...]]] = {
    "Tests": (
        "Test",
        "Site",
        "Supply",
        "Outlet",
        "Procedure",
        "State",
        "Started (zone)",
        "Ended (zone)",
        "Tester",
        "Second person",
        "Why aborted or void",
        "Readings",
        "Note",
    ),
    "Readings": (
        "Test",
        "Supply",
        "Outlet",
        "Read at (zone)",
        "Analyte",
        "As entered",
        "From [unit]",
        "From included",
        "To [unit]",
        "To included",
        "Unit",
        "Noticed",
        "Done with",
        "Instrument",
        "Lot",
        "What is amiss",
    ),
    "Verdicts": (
        "Verdict",
        "Site",
        "Supply",
        "Outlet",
        "Judged at (zone)",
        "Overall",
        "Limit",
        "Analyte",
        "Verdict on the limit",
        "Required",
        "Limit as shown",
        "Worst as shown",
        "Means",
        "Evidence of (zone)",
        "Period from (zone)",
        "Period to (zone)",
        "Limit set",
        "Digest of the limit set (SHA-256)",
        "Reasons",
        "Lapses",
        "Judged by",
        "Result (SHA-256)",
    ),
    "Certificates": (
        "Certificate",
        "Site",
        "Supply",
        "Outlet",
        "Issued at (zone)",
        "Issued by",
        "Approved by",
        "Next test by",
        "Verdict",
        "Journal entries at issue",
        "Head of the journal's tree",
        "PDF (SHA-256)",
        "Digitally signed",
    ),
    "Findings": (
        "Finding",
        "Site",
        "Supply",
        "Outlet",
        "Opened at (zone)",
        "Opened by",
        "What",
        "Analytes",
        "Causes",
        "Cures",
        "Notes",
        "Closed at (zone)",
        "Open",
        "Verdict",
    ),
    "Instruments": (
        "Instrument",
        "Type",
        "Serial number",
        "Analyte",
        "Unit",
        "Range from [unit]",
        "Range to [unit]",
        "U, k = 2 [unit]",
        "Calibration every [months]",
        "Bump test every [days]",
        "In use",
    ),
    "Calibrations": (
        "Instrument",
        "Serial number",
        "Kind",
        "When (zone)",
        "Passed",
        "Valid until",
        "By",
        "Analyte",
        "Unit",
        "Reference [unit]",
        "As found [unit]",
        "As left [unit]",
        "Tolerance [unit]",
        "Paper (SHA-256)",
    ),
    "Lots": (
        "Lot",
        "Kind",
        "Device",
        "Analyte",
        "Lot number",
        "Expires",
        "Stock when it came [pieces]",
        "Left [pieces]",
    ),
    "Due": ("State", "Due", "What", "Of", "Why", "Rule"),
}
"""Headings of each sheet; the rows of `AllTests` have their columns in this order."""


@frozen(kw_only=True)
class AllTests:
    """All rows of the workbook, each with the columns of `HEADS`.

    Parameters
    ----------
    tests, readings, verdicts, certificates, findings, instruments, calibrations, lots, due
        Rows of the sheets. Numbers are numbers, moments are in UTC, days are days, and None
        leaves a cell empty.
    zone : str
        IANA time zone in which moments are shown.
    made_at : datetime
        Moment up to which the record was read, UTC.
    workspace_name : str
        The record that it comes from.
    """

    tests: Rows = ()
    readings: Rows = ()
    verdicts: Rows = ()
    certificates: Rows = ()
    findings: Rows = ()
    instruments: Rows = ()
    calibrations: Rows = ()
    lots: Rows = ()
    due: Rows = ()
    zone: str
    made_at: datetime
    workspace_name: str


def tests_xlsx(rows: AllTests) -> bytes:
    """Write all tests on record as a workbook.

    Parameters
    ----------
    rows : AllTests
        The rows.

    Returns
    -------
    bytes
        An XLSX file with the sheets Tests, Readings, Verdicts (a row each limit), Certificates,
        Findings, Instruments (a row each channel), Calibrations (a row each channel), Lots, Due
        and About. No cell holds a formula: what a user wrote stays text.

    Raises
    ------
    OutputError
        Where a row has not the columns of its sheet.
    """
    clock = Clock(zone(rows.zone).key, zone_info=zone(rows.zone))
    book = Book(
        clock,
        rows.made_at,
        title="Breathing air: all tests",
        elsewhere="the record has all",
    )
    of_sheet: dict[str, Rows] = {
        "Tests": rows.tests,
        "Readings": rows.readings,
        "Verdicts": rows.verdicts,
        "Certificates": rows.certificates,
        "Findings": rows.findings,
        "Instruments": rows.instruments,
        "Calibrations": rows.calibrations,
        "Lots": rows.lots,
        "Due": rows.due,
    }
    for name, lines in of_sheet.items():
        head = HEADS[name]
        for line in lines:
            if len(line) != len(head):
                raise OutputError(
                    f"a row of the sheet {name} has {len(line)} cells instead of {len(head)}. "
                    "Please report this."
                )
        book.sheet(name, [text.replace("(zone)", f"({clock.zone_name})") for text in head], lines)
    book.sheet(
        "About",
        ("What", "Value"),
        (
            ("Record", rows.workspace_name),
            (f"Read up to ({clock.zone_name})", rows.made_at),
            ("Time zone of all times", clock.zone_name),
            (
                "Mind this",
                (
                    "A copy for looking at. The record itself, its journal and its certificates are "
                    "what proves anything."
                ),
            ),
        ),
    )
    return book.close()
