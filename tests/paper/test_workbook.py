"""The workbook, read back with another library."""

from __future__ import annotations

import io
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import openpyxl
import pytest
from attrs import evolve

from lungwort.paper import workbook
from lungwort.paper.content import Cover

if TYPE_CHECKING:
    from lungwort.verdict.model import Verdict


def _open(data: bytes) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(data))


def _rows(book: openpyxl.Workbook, name: str) -> list[tuple[Any, ...]]:
    return list(book[name].iter_rows(values_only=True))


def test_sheets_and_their_headings(failing: Verdict) -> None:
    """Sheets and their headings."""
    book = _open(workbook.to_xlsx(failing))

    assert book.sheetnames == [
        "Verdict",
        "Limits",
        "Excursions",
        "Not judged",
        "Coverage",
        "Readings",
        "Hand tests",
        "Sources",
        "Notes",
    ]
    for page in book.worksheets:
        assert page.freeze_panes == "A2"
        assert page.cell(1, 1).font.bold
    assert book["Excursions"].cell(1, 5).value == "From (Europe/London)"
    assert book["Excursions"].cell(1, 7).value == "Lasted [s]"


def test_numbers_are_numbers_and_times_are_local_times(failing: Verdict) -> None:
    """Numbers are numbers and times are local times."""
    rows = _rows(_open(workbook.to_xlsx(failing)), "Excursions")

    first = rows[1]
    assert first[0] == 1
    assert first[4] == datetime(2026, 3, 3, 11, 16, 10)  # noqa: DTZ001 - a cell has no zone
    assert (first[6], first[7], first[10]) == (10.0, 14.2, 5.0)
    assert rows[2][16] == "yes"
    assert rows[2][18] == datetime(2026, 3, 4, 7, 0)  # noqa: DTZ001 - a cell has no zone


def test_all_excursions_are_in_it(failing: Verdict, factory: Any) -> None:
    """All excursions are in it."""
    many = tuple(factory.excursion(place) for place in range(2500))
    rows = _rows(_open(workbook.to_xlsx(evolve(failing, excursions=many))), "Excursions")

    assert len(rows) == 2501
    assert rows[-1][0] == 2500


@pytest.mark.parametrize("start", ["=1+1", "+1", "-1+2", "@SUM(A1)", "=HYPERLINK(0)", "{=1}"])
def test_text_is_never_a_formula(start: str, factory: Any) -> None:
    """Text is never a formula."""
    verdict = factory.failing(name=start + ".csv")
    verdict = evolve(verdict, reasons=(start,), log=verdict.log.with_outlet(start))
    book = _open(workbook.to_xlsx(verdict, Cover(site=start)))

    cells = [cell for page in book.worksheets for row in page.iter_rows() for cell in row]
    assert all(cell.data_type != "f" for cell in cells)
    assert sum(cell.value == start for cell in cells) >= 2
    assert sum(cell.value == start + ".csv" for cell in cells) == 3


def test_addresses_are_not_made_links(factory: Any) -> None:
    """Addresses are not made links."""
    book = _open(workbook.to_xlsx(factory.failing(name="https://example.org/log.csv")))

    assert all(page._hyperlinks == [] for page in book.worksheets)


def test_readings_keep_every_peak(failing: Verdict) -> None:
    """Readings keep every peak."""
    assert failing.log is not None
    rows = _rows(_open(workbook.to_xlsx(failing)), "Readings")
    used = failing.log.frame.filter(failing.log.frame["co_flag"].is_in([1, 3]))["co"]

    assert len(rows) <= workbook.READING_STEPS + 1
    assert rows[0][1] == "co, least [ppm]"
    assert max(row[2] for row in rows[1:] if row[2] is not None) == pytest.approx(
        used.max(), rel=1e-15
    )
    assert min(row[1] for row in rows[1:] if row[1] is not None) == pytest.approx(
        used.min(), rel=1e-15
    )
    assert any(row[1] is None for row in rows[1:])


def test_without_a_log_there_is_no_sheet_of_readings(unproven: Verdict) -> None:
    """Without a log there is no sheet of readings."""
    book = _open(workbook.to_xlsx(unproven))

    assert "Readings" not in book.sheetnames
    limits = _rows(book, "Limits")
    assert limits[1][6] is None
    (oil,) = [row for row in limits if row[0] == "Oil"]
    assert oil[6] is None
    assert oil[7] == "> 0.1 mg/m³"


def test_a_log_without_channels_gives_an_empty_sheet(failing: Verdict) -> None:
    """A log without channels gives an empty sheet."""
    assert failing.log is not None
    bare = evolve(failing.log, channels=())
    rows = _rows(_open(workbook.to_xlsx(evolve(failing, log=bare, excursions=()))), "Readings")

    assert rows == [("Step from (Europe/London)",)]


def test_the_same_verdict_gives_the_same_bytes(failing: Verdict) -> None:
    """The same verdict gives the same bytes."""
    assert workbook.to_xlsx(failing) == workbook.to_xlsx(failing)
    undated = evolve(failing, judged_at=None)
    assert workbook.to_xlsx(undated) == workbook.to_xlsx(undated)


def test_text_longer_than_a_cell_takes_is_cut_and_says_so(failing: Verdict) -> None:
    """Text longer than a cell takes is cut and says so."""
    # Excel specifications and limits: 32 767 characters in a cell.
    book = _open(workbook.to_xlsx(evolve(failing, notes=("x" * 40_000,))))

    note = book["Notes"].cell(2, 2).value
    assert isinstance(note, str)
    assert len(note) == 32_767
    assert note.endswith("[cut short]")


def test_more_rows_than_a_sheet_takes_are_told(
    failing: Verdict, factory: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """More rows than a sheet takes are told."""
    monkeypatch.setattr(workbook, "MOST_ROWS", 10)
    many = tuple(factory.excursion(place) for place in range(25))
    rows = _rows(_open(workbook.to_xlsx(evolve(failing, excursions=many))), "Excursions")

    assert len(rows) == 12
    assert rows[-1][0] == "More rows were left out here; the JSON result has all."


def test_a_time_with_microseconds_can_be_written(failing: Verdict) -> None:
    """A time with microseconds can be written."""
    assert failing.judged_at is not None
    odd = evolve(failing, judged_at=failing.judged_at + timedelta(microseconds=123456))

    assert _open(workbook.to_xlsx(odd)).sheetnames[0] == "Verdict"
