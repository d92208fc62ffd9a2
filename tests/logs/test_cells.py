"""What single cells say: numbers, codes, '<' and '>', and what nobody can read."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.logs.invent import file_of, flags, small_blocks, stamps, values

from lungwort.errors import AmbiguityError
from lungwort.logs.cells import Causes, decimal_evidence, number, read_cell, read_column
from lungwort.logs.model import (
    ABOVE,
    BAD,
    BELOW,
    GOOD,
    MISSING,
    PLAIN,
    SUSPECT,
    UNREADABLE,
)
from lungwort.logs.read import read_log

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.logs.model import Log


def column(cells: list[str], **options: Any) -> tuple[list[Any], list[int], list[int]]:
    """Read cells as one column: values, flags, censor codes."""
    given_ = {"decimal": "point", "unit": "ppm", "missing": frozenset(), **options}
    read = read_column(
        pl.Series("co", cells),
        pl.Series("line", range(len(cells))),
        causes=Causes(),
        **given_,
    )
    censors = [PLAIN] * len(cells) if read.censors is None else read.censors.to_list()
    return read.values.to_list(), read.flags.to_list(), censors


# --- worked by hand ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("0.5", "point", 0.5), ("-0.5", "point", -0.5), ("+0.5", "point", 0.5), (".5", "point", 0.5),
        ("5.", "point", 5.0), ("1e2", "point", 100.0), ("1.5E-03", "point", 0.0015),
        ("−0.5", "point", -0.5), ("1,050", "point", 1050.0), ("1,050.5", "point", 1050.5),
        ("1'050.5", "point", 1050.5), ("1\u202f050.5", "point", 1050.5), ("1\u00a0050", "point", 1050.0),
        ("1 050", "point", 1050.0), ("1,050,000", "point", 1050000.0), ("٢٠", "point", 20.0),
        ("0,5", "comma", 0.5), ("1.050", "comma", 1050.0), ("1.050,5", "comma", 1050.5),
        ("1 050,5", "comma", 1050.5), ("1,5e2", "comma", 150.0), ("1050", "comma", 1050.0),
    ],
)  # fmt: skip
def test_numbers(text: str, decimal: str, value: float) -> None:
    """Signs, exponents, thousands and other scripts."""
    assert number(text, decimal) == value
    assert read_cell(text, decimal, "ppm").value == value


@pytest.mark.parametrize(
    ("text", "decimal"),
    [("0,5", "point"), ("0.5", "comma"), ("1,05,0", "point"), ("5,3,1", "comma"), ("0x1F", "point"),
     ("1_000", "point"), ("", "point"), ("1e", "point"), ("--5", "point"), ("1.0.5", "point")],
)  # fmt: skip
def test_no_numbers(text: str, decimal: str) -> None:
    """What is not a number in that decimal sign is none."""
    assert number(text, decimal) is None


@pytest.mark.parametrize(
    ("text", "value", "censor", "flag"),
    [
        ("", None, PLAIN, MISSING), ("   ", None, PLAIN, MISSING), ("---", None, PLAIN, MISSING),
        ("–", None, PLAIN, MISSING), ("****", None, PLAIN, MISSING), ("NaN", None, PLAIN, MISSING),
        ("n/a", None, PLAIN, MISSING), ("#DIV/0!", None, PLAIN, MISSING), ("No Data", None, PLAIN, MISSING),
        ("<0.05", 0.05, BELOW, GOOD), ("< 0.05", 0.05, BELOW, GOOD), ("≤0.05", 0.05, BELOW, GOOD),
        ("&lt;0.05", 0.05, BELOW, GOOD), (">50", 50.0, ABOVE, GOOD), (">= 50", 50.0, ABOVE, GOOD),
        ("> 1,050", 1050.0, ABOVE, GOOD), ("<5 ppm", 5.0, BELOW, GOOD),
        ("0.5 ppm", 0.5, PLAIN, GOOD), ("0.5ppm", 0.5, PLAIN, GOOD), ('"0.5"', 0.5, PLAIN, GOOD),
        ("0.5*", 0.5, PLAIN, SUSPECT), ("0.5 (a)", 0.5, PLAIN, SUSPECT), ("12 !", 12.0, PLAIN, SUSPECT),
        ("OVER", None, ABOVE, SUSPECT), ("O.L.", None, ABOVE, SUSPECT), ("+++", None, ABOVE, SUSPECT),
        (">>>", None, ABOVE, SUSPECT), ("inf", None, ABOVE, SUSPECT), ("∞", None, ABOVE, SUSPECT),
        ("1e400", None, ABOVE, SUSPECT), ("-1e400", None, BELOW, SUSPECT), ("−inf", None, BELOW, SUSPECT),
        ("UNDER", None, BELOW, SUSPECT), ("<<", None, BELOW, SUSPECT), ("-OL", None, BELOW, SUSPECT),
        ("ERR", None, PLAIN, BAD), ("FAULT", None, PLAIN, BAD), ("CAL", None, PLAIN, BAD),
        ("warm-up", None, PLAIN, BAD), ("Störung", None, PLAIN, BAD), ("E05", None, PLAIN, BAD),
        ("5,3,1", None, UNREADABLE, SUSPECT), ("25 ppb", None, UNREADABLE, SUSPECT),
        ("0,5", None, UNREADABLE, SUSPECT), ("12.5?3", None, UNREADABLE, SUSPECT),
        ("0x1F", None, UNREADABLE, SUSPECT), ("<ERR", None, UNREADABLE, SUSPECT),
        ("<<5", None, UNREADABLE, SUSPECT), ("- 5", None, UNREADABLE, SUSPECT),
    ],
)  # fmt: skip
def test_cells(text: str, value: float | None, censor: int, flag: int) -> None:
    """A word is bad; something that begins as a number may be a reading and decides nothing."""
    cell = read_cell(text, "point", "ppm")
    assert (cell.value, cell.censor, cell.flag) == (value, censor, flag)
    assert (cell.cause == "") == (cell.flag == GOOD)


def test_nothing_that_looks_like_a_reading_is_merely_bad() -> None:
    """A point in a file of commas is not read, and not thrown away either."""
    found = column(["0,5", "12.5", "0,6"], decimal="comma")
    assert found == ([0.5, None, 0.6], [GOOD, SUSPECT, GOOD], [PLAIN, UNREADABLE, PLAIN])


def test_over_range_takes_the_highest_reading_that_is_no_code() -> None:
    """'OVER' is more than the highest number of the column; 9999 and given codes are none."""
    found = column(["3", "50", "OVER", "9999", "UNDER", "-200", "77"], missing=frozenset({"77"}))
    assert found[0] == [3.0, 50.0, 50.0, 9999.0, 3.0, -200.0, None]
    assert found[2] == [PLAIN, PLAIN, ABOVE, PLAIN, BELOW, PLAIN, PLAIN]


def test_over_range_without_any_number_says_nothing() -> None:
    """A column of nothing but OVER is no column of bad cells: it keeps the log from proving."""
    assert column(["OVER", "OVER"]) == ([None, None], [SUSPECT] * 2, [UNREADABLE] * 2)
    assert column(["UNDER", "9999"])[2] == [UNREADABLE, PLAIN]


def test_given_codes_are_missing_but_not_what_is_above_them() -> None:
    """--missing 999 takes 999 away and leaves '>999' what it is: over range."""
    found = column(["999", ">999", "999,0", "x7", "5"], missing=frozenset({"999", "x7"}))
    assert found[0][:2] == [None, 999.0]
    assert found[1] == [MISSING, GOOD, SUSPECT, MISSING, GOOD]
    assert found[2] == [PLAIN, ABOVE, UNREADABLE, PLAIN, PLAIN]
    plain = column(["-200", "5"], missing=frozenset({"-200"}))
    assert plain == ([None, 5.0], [MISSING, GOOD], [PLAIN, PLAIN])
    assert column(["1", "5"], missing=frozenset({"-200"}))[1] == [GOOD, GOOD]


def test_unreadable_code_that_is_given() -> None:
    """A text that stands for no reading, as given, is missing and no longer unreadable."""
    assert column(["5 bad", "1"], missing=frozenset({"5 bad"}))[2] == [PLAIN, PLAIN]


# --- through files -----------------------------------------------------------------------------


def read(folder: Path, cells: list[str], *, head: str = "CO [ppm]", **options: Any) -> Log:
    """Read a file with one channel cut by semicolons."""
    rows = [f"{time};{cell}" for time, cell in zip(stamps(len(cells), 60.0), cells, strict=True)]
    return read_log(file_of(folder, rows, head=f"Time;{head}"), settle=None, **options)


def test_odd_cells_are_told_with_their_lines(tmp_path: Path) -> None:
    """Each kind is counted with where to look."""
    cells = ["0.5"] * 60
    cells[10], cells[20], cells[30], cells[31] = "ERR", "<0.2", "---", "25 ppb"
    log = read(tmp_path, cells)
    told = " ".join(log.notes)
    for part in (
        "1 cells: cannot be read ('ERR') (first at line 12)",
        "line 32",
        "not the column's (ppm)",
    ):
        assert part in told
    assert flags(log, "co")[10] == BAD
    assert log.rows == 60


def test_many_kinds_of_odd_cells_are_summed_up(tmp_path: Path) -> None:
    """Beyond eight kinds the rest is counted."""
    cells = ["0.5"] * 60 + [f"ERR-{chr(65 + i)}" for i in range(20)]
    assert any("12 more cells of 12 other kinds" in note for note in read(tmp_path, cells).notes)


@pytest.mark.parametrize("block", [1 << 20, 2000])
def test_comma_that_comes_late(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, block: int) -> None:
    """'1,050' beyond the sample stops where nothing settles it, and is read where points do."""
    small_blocks(monkeypatch, block)
    cells = [str(400 + i % 60) for i in range(900)]
    cells[800] = "1,050"
    with pytest.raises(AmbiguityError, match=r"'1,050' has a comma.*--decimal"):
        read(tmp_path, cells, head="CO2 [ppm]")
    assert values(read(tmp_path, cells, head="CO2 [ppm]", decimal="point"), "co2")[800] == 1050.0
    assert values(read(tmp_path, cells, head="CO2 [ppm]", decimal="comma"), "co2")[800] == 1.05
    pointed = [f"{400 + i % 60}.5" for i in range(900)]
    pointed[800] = "1,050.5"
    assert values(read(tmp_path, pointed, head="CO2 [ppm]"), "co2")[800] == 1050.5


def test_mixed_decimal_signs_stop(tmp_path: Path) -> None:
    """Points first, a decimal comma late."""
    cells = [f"{i % 7}.5" for i in range(900)]
    cells[800] = "0,5"
    with pytest.raises(AmbiguityError, match="has a comma"):
        read(tmp_path, cells)


def test_padding_that_only_the_middle_shows(tmp_path: Path) -> None:
    """Blanks around numbers far from head and tail."""
    cells = ["0.5"] * 1000
    cells[500] = "  0.7 "
    log = read(tmp_path, cells)
    assert values(log, "co")[500] == 0.7
    assert flags(log, "co")[500] != BAD


def test_censored_readings_reach_the_log(tmp_path: Path) -> None:
    """'<' and '>' stay intervals, in the unit of the channel."""
    cells = ["0.5"] * 200
    cells[150], cells[160] = "<0.2", ">1000"
    log = read(tmp_path, cells, head="CO [ppb]")
    assert log.channels[0].unit == "ppm"
    assert log.channels[0].censored
    assert log.frame["co_censor"].to_list()[150] == BELOW
    assert log.frame["co_censor"].to_list()[160] == ABOVE
    assert values(log, "co")[160] == 1.0


# --- edge cases --------------------------------------------------------------------------------


@settings(deadline=None, max_examples=200)
@given(text=st.text(max_size=12), decimal=st.sampled_from(["point", "comma"]))
def test_any_text_says_something(text: str, decimal: str) -> None:
    """No text raises; a value is finite; what is not good has a cause."""
    cell = read_cell(text, decimal, "ppm")
    assert cell.value is None or math.isfinite(cell.value)
    assert (cell.flag == GOOD) == (cell.cause == "")
    assert cell.value is not None or cell.flag != GOOD


@settings(deadline=None, max_examples=200)
@given(
    value=st.floats(-1e6, 1e6, allow_nan=False),
    decimals=st.integers(0, 4),
    sign=st.sampled_from(["point", "comma"]),
    grouped=st.booleans(),
)
def test_written_numbers_are_read_back(
    *, value: float, decimals: int, sign: str, grouped: bool
) -> None:
    """Python's own formatting, with either decimal sign, grouped or not."""
    text = f"{value:,.{decimals}f}" if grouped else f"{value:.{decimals}f}"
    if sign == "comma":
        text = text.translate(str.maketrans(",.", ".,"))
    assert number(text, sign) == float(f"{value:.{decimals}f}")


@pytest.mark.parametrize(
    ("cells", "point", "comma", "either"),
    [
        (["0.5", "1.25"], 2, 0, 0), (["0,5"], 0, 1, 0), (["1,050"], 0, 0, 1), (["1,050,000"], 1, 0, 0),
        (["1.050"], 0, 0, 0), (["1.050.000"], 0, 1, 0), (["1.050,5"], 0, 1, 0), (["1,050.5"], 1, 0, 0),
        (["<0,05", "> 0.5 ppm"], 1, 1, 0), (["", "ERR", "12"], 0, 0, 0), (["0,050"], 0, 1, 0),
    ],
)  # fmt: skip
def test_evidence_of_the_decimal_sign(
    cells: list[str], point: int, comma: int, either: int
) -> None:
    """What cells say about the decimal sign."""
    found = decimal_evidence(cells)
    assert (found.point, found.comma, len(found.either)) == (point, comma, either)
