"""The workbook of all tests, read back with another library."""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import openpyxl
import pytest
from attrs import evolve

from lungwort.errors import OutputError
from lungwort.paper import all_tests
from lungwort.paper.all_tests import HEADS, AllTests

if TYPE_CHECKING:
    from lungwort.paper.workbook import Cell

MADE = datetime(2026, 7, 2, 12, tzinfo=UTC)
READ = datetime(2026, 7, 1, 9, 30, tzinfo=UTC)
FORMULAS = ("=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", '=HYPERLINK("http://a.example")')


def _row(name: str, **cells: Cell) -> tuple[Cell, ...]:
    row: list[Cell] = [None] * len(HEADS[name])
    for heading, value in cells.items():
        row[HEADS[name].index(heading.replace("_", " "))] = value
    return tuple(row)


def _reading(text: str) -> tuple[Cell, ...]:
    row = list(_row("Readings", Test="hand_test-1", Outlet=text, Unit="ppm", Lot=text))
    row[HEADS["Readings"].index("Read at (zone)")] = READ
    row[HEADS["Readings"].index("To [unit]")] = 0.5
    row[HEADS["Readings"].index("To included")] = False
    return tuple(row)


BOOK = AllTests(
    readings=tuple(map(_reading, ("outlet 3", *FORMULAS))),
    instruments=(
        (
            "Logger A",
            "",
            "LG-2207",
            "CO",
            "ppm",
            Decimal(0),
            Decimal("50.5"),
            None,
            12,
            30,
            True,
        ),
    ),
    certificates=(_row("Certificates", Certificate="Y-1", Next_test_by=date(2026, 10, 1)),),
    zone="Europe/London",
    made_at=MADE,
    workspace_name="Merrowgate air (invented)",
)


def _open(data: bytes) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(data))


def test_sheets_headings_filters_and_frozen_heads() -> None:
    """Nine sheets and one about it, each with a heading that stays in sight."""
    book = _open(all_tests.tests_xlsx(BOOK))

    assert book.sheetnames == [
        "Tests",
        "Readings",
        "Verdicts",
        "Certificates",
        "Findings",
        "Instruments",
        "Calibrations",
        "Lots",
        "Due",
        "About",
    ]
    for name in book.sheetnames:
        page = book[name]
        assert page.freeze_panes == "A2"
        assert (page.auto_filter.ref is not None) == (page.max_row > 1)
    heads = [cell.value for cell in book["Readings"][1]]
    assert "Read at (Europe/London)" in heads
    assert not any("(zone)" in str(head) for head in heads)
    assert len(heads) == len(HEADS["Readings"])


def test_numbers_are_numbers_and_days_are_days() -> None:
    """With the unit in a column of its own."""
    book = _open(all_tests.tests_xlsx(BOOK))
    instrument = dict(
        zip(HEADS["Instruments"], [cell.value for cell in book["Instruments"][2]], strict=True)
    )
    assert instrument["Range to [unit]"] == 50.5
    assert instrument["Range from [unit]"] == 0
    assert instrument["U, k = 2 [unit]"] is None
    assert instrument["Unit"] == "ppm"
    assert instrument["In use"] == "yes"
    reading = [cell.value for cell in book["Readings"][2]]
    # 09:30 UTC is 10:30 in British summer.
    assert reading[HEADS["Readings"].index("Read at (zone)")] == datetime(2026, 7, 1, 10, 30)  # noqa: DTZ001 - a cell has no zone
    assert reading[HEADS["Readings"].index("To [unit]")] == 0.5
    cell = book["Certificates"].cell(2, HEADS["Certificates"].index("Next test by") + 1)
    assert cell.is_date
    assert cell.value == datetime(2026, 10, 1)  # noqa: DTZ001 - a cell has no zone
    assert cell.number_format == "yyyy-mm-dd"


def test_no_text_becomes_a_formula() -> None:
    """What a user wrote stays text, in every cell; the file holds no formula and no link."""
    data = all_tests.tests_xlsx(BOOK)
    book = _open(data)
    outlets = [row[HEADS["Readings"].index("Outlet")] for row in book["Readings"].iter_rows()]

    assert [cell.value for cell in outlets[2:]] == list(FORMULAS)
    assert all(cell.data_type == "s" for cell in outlets)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        for name in archive.namelist():
            content = archive.read(name)
            if name.startswith("xl/worksheets/"):
                assert b"<f>" not in content
                assert b"hyperlink" not in content


def test_a_row_that_does_not_fit_is_refused() -> None:
    """Cells under the wrong heading would lie."""
    with pytest.raises(OutputError, match="sheet Due has 2 cells instead of 6"):
        all_tests.tests_xlsx(evolve(BOOK, due=(("due", None),)))


def test_the_same_rows_make_the_same_bytes() -> None:
    """No clock."""
    assert all_tests.tests_xlsx(BOOK) == all_tests.tests_xlsx(BOOK)


def test_an_empty_record_makes_an_empty_book() -> None:
    """All sheets, with headings and nothing else."""
    book = _open(
        all_tests.tests_xlsx(AllTests(zone="Nowhere/Land", made_at=MADE, workspace_name=""))
    )

    assert book["Tests"].max_row == 1
    assert "Started (UTC)" in [cell.value for cell in book["Tests"][1]]
