"""Workbooks, written by two other libraries: real dates, text, two sheets, titles, formulas."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import xlsxwriter
from tests.logs.made import START, columns, moments, write

from lungwort.errors import AmbiguityError, LogError
from lungwort.logs.read import read_log

Row = tuple[Any, ...]
VALUES = [round(0.5 + 0.01 * i, 2) for i in range(60)]


def naive(moment: datetime) -> datetime:
    """Take the zone off, as a worksheet has none."""
    return moment.astimezone(UTC).replace(tzinfo=None)


def book(
    path: Path,
    head: list[str],
    row: Callable[[int, datetime], Row],
    *,
    top: int = 0,
    sheet: str = "Log",
) -> Path:
    """Write a workbook with XlsxWriter."""
    made = xlsxwriter.Workbook(str(path))
    page = made.add_worksheet(sheet)
    formats = {kind: made.add_format({"num_format": text}) for kind, text in (("datetime", "yyyy-mm-dd hh:mm:ss"), ("date", "dd.mm.yyyy"), ("time", "hh:mm:ss"))}  # fmt: skip
    if top > 1:
        page.merge_range(0, 0, 0, 3, "Report: CO [ppm] of March")
    page.write_row(top, 0, head)
    for i, moment in enumerate(moments(60)):
        for place, cell in enumerate(row(i, naive(moment))):
            kind = type(cell).__name__
            if kind in formats:
                page.write_datetime(top + 1 + i, place, cell, formats[kind])
            else:
                page.write(top + 1 + i, place, cell)
    made.close()
    return path


ONE = ["Time", "CO [ppm]", "O2 [%]"]
TWO = ["Datum", "Uhrzeit", "CO [ppm]", "O2 [%]"]


@pytest.mark.parametrize(
    ("head", "row", "top"),
    [
        (ONE, lambda i, t: (t, VALUES[i], 20.9), 0),
        (ONE, lambda i, t: (t, VALUES[i], 20.9), 4),
        (TWO, lambda i, t: (t.date(), t.time(), VALUES[i], 20.9), 0),
        (TWO, lambda i, t: (f"{t:%d.%m.%Y}", f"{t:%H:%M:%S}", VALUES[i], 20.9), 0),
        (TWO, lambda i, t: (t.date(), f"{t:%H:%M:%S}", VALUES[i], 20.9), 0),
        (ONE, lambda i, t: (f"{t:%d.%m.%Y %H:%M:%S}", VALUES[i], 20.9), 0),
        # text with decimal commas throughout
        (ONE, lambda i, t: (t, f"{VALUES[i]:.2f}".replace(".", ","), "20,9"), 0),
        # days since 1899-12-30: 2026-03-17 is day 46098
        (ONE, lambda i, _t: (46098 + (36000 + 10 * i) / 86400, VALUES[i], 20.9), 0),
    ],
)  # fmt: skip
def test_times_and_numbers_as_cells_have_them(
    tmp_path: Path, head: list[str], row: Callable[[int, datetime], Row], top: int
) -> None:
    """Real dates, texts, date and time apart, serial days; a merged title above."""
    log = read_log(book(tmp_path / "log.xlsx", head, row, top=top), zone="UTC")
    assert (log.start, log.end, log.rows) == (START, moments(60)[-1], 60)
    assert columns(log, "co", "o2") == [VALUES, [20.9] * 60]
    assert log.sources[0].refusals == ()


def test_two_sheets_of_readings_are_asked_about(tmp_path: Path) -> None:
    """A short sheet of settings beside the readings is no second log."""
    path = tmp_path / "two.xlsx"
    made = openpyxl.Workbook()
    for name, gas, count in (
        ("Hall", "CO [ppm]", 60),
        ("Shop", "CO2 [ppm]", 60),
        ("Settings", "Note", 2),
    ):
        page = made.create_sheet(name)
        page.append(["Time", gas])
        for moment in moments(count):
            page.append([naive(moment), 1.5])
    made.remove(made["Sheet"])
    made.save(path)
    with pytest.raises(
        LogError,
        match=r"two\.xlsx: has several worksheets with tables: 'Hall', 'Shop', 'Settings'\..*--sheet",
    ):
        read_log(path)
    assert columns(read_log(path, sheet="Hall", zone="UTC"), "co") == [[1.5] * 60]
    with pytest.raises(LogError, match=r"has no worksheet 'Gone'\. It has: Hall, Shop, Settings\."):
        read_log(path, sheet="Gone")
    del made["Shop"]
    made.save(path)
    assert columns(read_log(path, zone="UTC"), "co") == [[1.5] * 60]


def test_results_of_formulas_as_last_saved(tmp_path: Path) -> None:
    """A formula that was never worked out has no result, and gives no reading."""
    path = tmp_path / "formulas.xlsx"
    made = xlsxwriter.Workbook(str(path))
    page = made.add_worksheet()
    page.write_row(0, 0, ONE)
    for i, moment in enumerate(moments(40)):
        page.write(1 + i, 0, f"{moment:%Y-%m-%dT%H:%M:%SZ}")
        page.write_formula(1 + i, 1, "=1+1", None, 2.5)
        page.write_number(1 + i, 2, 20.9)
    made.close()
    assert columns(read_log(path), "co") == [[2.5] * 40]
    other = openpyxl.Workbook()
    sheet = other.active
    assert sheet is not None
    sheet.append(ONE)
    for moment in moments(40):
        sheet.append([f"{moment:%Y-%m-%dT%H:%M:%SZ}", "=1+1", 20.9])
    other.save(path)
    assert columns(read_log(path), "co") == [[None] * 40]


def test_texts_with_commas_among_numbers(tmp_path: Path) -> None:
    """A sheet in which someone typed some cells."""
    path = book(tmp_path / "log.xlsx", ONE, lambda i, t: (t, "0,5" if i % 2 else 0.5, 20.9))
    with pytest.raises(AmbiguityError, match=r"some a decimal comma \(30\)"):
        read_log(path)


def test_what_is_no_workbook(tmp_path: Path) -> None:
    """Text under a workbook's name, and a workbook without a table."""
    with pytest.raises(
        LogError,
        match=r"x\.xlsx: cannot be read as a workbook \(.*\)\. Save it anew or export CSV\.",
    ):
        read_log(write(tmp_path, "Time,CO [ppm]\n", "x.xlsx"))
    empty = openpyxl.Workbook()
    empty.save(tmp_path / "empty.xlsx")
    with pytest.raises(LogError, match=r"empty\.xlsx: has no worksheet with a table"):
        read_log(tmp_path / "empty.xlsx")
