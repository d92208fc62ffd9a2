"""Columns in which a logger tells of itself: a reported fault must not end in a clean word.

The words are common practice of loggers in English and German, no source; all numbers are invented.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import pytest
from tests.logs.invent import on_disk, small_blocks
from tests.logs.made import HEAD, moments, read

from lungwort.limits.load import limit_set
from lungwort.limits.model import Conditions
from lungwort.logs import parse
from lungwort.logs.status import Watched, is_fault
from lungwort.verdict.judge import judge

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from lungwort.logs.blocks import Block
    from lungwort.logs.model import Log

ROWS = 720
SPOTS = ("oil=<0.05 mg/m3", "odour=none", "liquid water=none", "water=40 mg/m3")


def with_status(word: Callable[[int], str], heading: str = "Status", *, comma: bool = False) -> str:
    """Write two hours of lively readings with a status word in each row."""
    cut, head = (";", HEAD.replace(",", ";")) if comma else (",", HEAD)
    lines = [cut.join([head, heading])]
    for place, moment in enumerate(moments(ROWS)):
        numbers = [
            f"{1.2 + place % 7 / 10:.1f}",
            f"{430 + place % 5}.0",
            f"{20.8 + place % 3 / 10:.1f}",
        ]
        cells = [one.replace(".", ",") if comma else one for one in numbers]
        lines.append(cut.join([f"{moment:%Y-%m-%dT%H:%M:%SZ}", *cells, word(place)]))
    return "\n".join(lines) + "\n"


def overall(log: Log) -> str:
    """Judge by the airline set, with all hand tests done."""
    supply = Conditions(supply_pressure_bar_g=7.0)
    return judge(log, limit_set("en12021-2014-airline"), spots=SPOTS, supply=supply).overall


FAULTS = [
    "FEHLER CO-SENSOR", "Störung", "Stoerung 12", "Sensorfehler", "defekt", "ungültig", "Fault", "ERROR 17", "ERR12",
    "Err", "CO_FAIL", "Failed", "sensor failure", "ALARM", "invalid", "Sensor missing", "COMM LOST", "comms fail",
    "Over range", "erreur", "défaut", "fallo", "feil", "NO sensor fault", "NO-FEHLER", "SensorError", "not OK",
    "Fault: no sensor", "Fehler: kein Signal", "Sensor 0 fault", "Sensor fault: NO",
]  # fmt: skip
SOUND = [
    "OK", "ok", "Normal", "CAL", "WARMUP", "no alarm", "kein Alarm", "No fault", "keine Störung", "Error 0", "Alarm off",
    "Alarm: aus", "fehlerfrei", "Low battery", "0", "1", "off", "aus", "Ferrous", "NoError", "sans défaut", "",
    "Fault: no", "0 errors", "sensor ok; 0 faults", "Störung: nein",
]  # fmt: skip


@pytest.mark.parametrize("word", FAULTS)
def test_words_of_a_fault(word: str) -> None:
    """The word is a fault, in any case of letters."""
    assert is_fault(pl.Series([word, word.upper(), word.lower()]), "Status").all()


@pytest.mark.parametrize("word", SOUND)
def test_words_of_no_fault(word: str) -> None:
    """The word is no fault, in any case of letters."""
    assert not is_fault(pl.Series([word, word.upper(), word.lower()]), "Status").any()


def test_on_is_a_fault_under_alarm_alone() -> None:
    """'on' under 'Alarm' is an alarm; under 'Status' or 'Alarm enabled' it is none."""
    on = pl.Series(["ON"])
    found = [is_fault(on, heading).item() for heading in ("Alarm", "Status", "Alarm enabled")]
    assert found == [True, False, False]


@pytest.mark.parametrize("comma", [False, True])
@pytest.mark.parametrize("heading", ["Status", "Sensorzustand", "Störung", "CO status", "État"])
@pytest.mark.parametrize("word", ["FEHLER CO-SENSOR", "Sensor fault"])
def test_fault_in_all_rows(tmp_path: Path, word: str, heading: str, *, comma: bool) -> None:
    """A fault in every row takes the clean word away, read as numbers or as text."""
    log = read(tmp_path, with_status(lambda _: word, heading, comma=comma))
    assert [one for one in log.doubts if f"in {ROWS} rows ('{word}', first at line 2)" in one]
    assert overall(log) != "conforms"
    assert overall(read(tmp_path, with_status(lambda _: "OK", heading, comma=comma))) == "conforms"


@pytest.mark.parametrize("keep", [small_blocks, on_disk])
def test_fault_in_some_rows_over_several_blocks(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    keep: Callable[[pytest.MonkeyPatch, int], None],
) -> None:
    """The rows are counted over the whole file, with the line of the first; empty cells stay plain."""
    keep(monkeypatch, 3000)
    plain: list[bool] = []
    whole = parse.FileParser._parse

    def watched(self: parse.FileParser, block: Block, *, last: bool) -> pl.DataFrame:
        plain.append(block.plain)
        return whole(self, block, last=last)

    monkeypatch.setattr(parse.FileParser, "_parse", watched)
    text = with_status(lambda place: "FEHLER" if 100 <= place < 150 or place == 700 else "")
    log = read(tmp_path, text)
    assert len(plain) > 5
    assert all(plain)
    # Worked by hand: row 100 from 0 stands under one line of headings, so at line 102.
    assert [one for one in log.doubts if "in 51 rows ('FEHLER', first at line 102)" in one]
    assert overall(log) != "conforms"


@pytest.mark.parametrize("word", ["OK", "no alarm", "kein Alarm", "", "0"])
@pytest.mark.parametrize("heading", ["Status", "Alarm"])
def test_sound_word_everywhere_says_nothing(tmp_path: Path, word: str, heading: str) -> None:
    """One sound word in all rows gives neither a doubt nor a note."""
    log = read(tmp_path, with_status(lambda _: word, heading))
    assert not [one for one in (*log.doubts, *log.notes) if "column '" in one]
    assert overall(log) == "conforms"


def test_other_words_that_change_are_noted(tmp_path: Path) -> None:
    """OK, CAL and WARMUP are listed with their rows and raise no doubt."""
    text = with_status(lambda place: "WARMUP" if place < 20 else "CAL" if place < 30 else "OK")
    log = read(tmp_path, text)
    assert [n for n in log.notes if "'OK' in 690 rows, 'WARMUP' in 20 rows, 'CAL' in 10 rows" in n]
    assert not [one for one in log.doubts if "Status" in one]


def test_alarm_bit_is_noted(tmp_path: Path) -> None:
    """A bit that is set is a note: what it stands for is not said."""
    log = read(tmp_path, with_status(lambda place: str(int(place == 9)), "Alarm"))
    assert [one for one in log.notes if "'0' in 719 rows, '1' in 1 rows" in one]
    always = read(tmp_path, with_status(lambda _: "1", "Alarm"))
    assert [one for one in always.notes if "'1' in 720 rows" in one]
    assert not [one for one in (*log.doubts, *always.doubts) if "Alarm" in one]


def test_column_left_alone_as_asked_is_noted(tmp_path: Path) -> None:
    """Who settles it with --ignore gets a note in place of the doubt."""
    log = read(tmp_path, with_status(lambda _: "FEHLER"), ignore=("Status",))
    assert [one for one in log.notes if "reports a fault in 720 rows" in one and "as asked" in one]
    assert not [one for one in log.doubts if "Status" in one]


def test_other_columns_are_not_watched(tmp_path: Path) -> None:
    """A remark with the word is no status."""
    log = read(tmp_path, with_status(lambda _: "fault test done", "Remark"))
    assert not [one for one in log.doubts if "fault" in one]


def test_fault_without_a_reading_is_noted() -> None:
    """Where no reading stands beside it, nothing can be mistaken for a measurement."""
    column = Watched(4, "Status")
    column.add(pl.Series(["Fault", "OK"]), pl.Series([2, 3]), pl.Series([False, True]))
    assert not column.doubt()
    assert "in 1 rows without a reading ('Fault')" in column.notes()[0]


def test_many_kinds_are_bounded() -> None:
    """Words are kept up to a bound, and rows beyond it still count."""
    column = Watched(4, "Status")
    for block in range(20):
        at = range(block * 100, block * 100 + 100)
        words = [f"fault {i}" if i % 2 else f"word {i}" for i in at]
        column.add(pl.Series(words), pl.Series([*at]), pl.Series([True] * 100))
    assert len(column.faults) <= 51
    assert len(column.rows) <= 50
    assert "in 1000 rows" in column.doubt()
    assert "first at line 1)" in column.doubt()
    assert "other values in 992 rows" in column.notes()[0]


def test_a_measure_under_such_a_heading_is_not_listed() -> None:
    """A signal quality in per cent is no list of words."""
    column = Watched(4, "Signal quality")
    lines = pl.Series(range(200))
    column.add(lines.cast(pl.String), lines, lines >= 0)
    assert column.notes() == [
        "column 'Signal quality' is not used; it holds 50 or more different numbers."
    ]
