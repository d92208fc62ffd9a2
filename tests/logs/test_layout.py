"""How a table is laid out: delimiter, headings, preamble, units, time, columns and open questions."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.logs.made import HEAD, START, causes, columns, moments, read, table, write

from lungwort.errors import AmbiguityError, LogError
from lungwort.logs.layout import cut, find_delimiter
from lungwort.logs.naming import parse_given_unit
from lungwort.logs.options import ReadOptions
from lungwort.logs.read import plan_files, read_log

WANTED = [1.2, 1.3, 1.4]


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
@pytest.mark.parametrize("decimal", [".", ","])
def test_delimiters_and_decimal_signs(tmp_path: Path, sign: str, decimal: str) -> None:
    """Every pair of delimiter and decimal sign that can be told apart gives the same numbers."""
    text = table(HEAD.replace(",", sign), cut=sign, decimal=decimal)
    if sign == decimal == ",":
        with pytest.raises(
            LogError, match=r"line 2: 60 of 60 rows have more cells .*Decimal commas"
        ):
            read(tmp_path, text)
        return
    log = read(tmp_path, text)
    assert columns(log, "co", "co2", "o2") == [
        WANTED * 20,
        [430.0, 430.1, 430.2] * 20,
        [20.9, 21.0, 20.8] * 20,
    ]
    assert (log.start, log.end) == (START, moments(60)[-1])
    assert log.interval_s == 10.0


def test_decimal_commas_in_quotation_marks(tmp_path: Path) -> None:
    """A file cut by commas can carry decimal commas inside quotation marks."""
    rows = "\n".join(f'"{m:%Y-%m-%dT%H:%M:%SZ}","1,2","430,0","20,9"' for m in moments(40))
    log = read(tmp_path, f"{HEAD}\n{rows}\n")
    assert columns(log, "co", "o2") == [[1.2] * 40, [20.9] * 40]


@pytest.mark.parametrize(
    ("cells", "given", "wanted"),
    [
        (("1,050.5", "2,000.5"), None, (1050.5, 2000.5)),
        (("1.050,5", "2.000,5"), None, (1050.5, 2000.5)),
        (("1'050.5", "2'000.5"), None, (1050.5, 2000.5)),
        (("1 050,5", "2 000,5"), None, (1050.5, 2000.5)),
        (("1\u00a0050,5", "2\u202f000,5"), None, (1050.5, 2000.5)),
        (("1,050", "2,000"), "comma", (1.05, 2.0)),
        (("1,050", "2,000"), "point", (1050.0, 2000.0)),
        (("0,050", "2,000"), None, (0.05, 2.0)),
        (("1.050", "2.000"), "point", (1.05, 2.0)),
        (("1.050", "2.000"), "comma", (1050.0, 2000.0)),
        (("1.05e3", "2E3"), None, (1050.0, 2000.0)),
    ],
)  # fmt: skip
def test_numbers_with_thousands(
    tmp_path: Path, cells: tuple[str, str], given: str | None, wanted: tuple[float, float]
) -> None:
    """Groups of thousands and decimal signs as several countries write them."""
    rows = "\n".join(f"{m:%Y-%m-%dT%H:%M:%SZ};{cells[i % 2]}" for i, m in enumerate(moments(40)))
    log = read(tmp_path, f"Time;CO2 [ppm]\n{rows}\n", decimal=given)
    assert columns(log, "co2")[0][:2] == list(wanted)


def test_a_number_that_is_one_or_a_thousand_stops(tmp_path: Path) -> None:
    """1,050 with nothing beside it to settle it."""
    rows = "\n".join(f"{m:%Y-%m-%dT%H:%M:%SZ};1,050" for m in moments(40))
    with pytest.raises(
        AmbiguityError, match=r"'1,050' can be 1050 or 1\.050\..*--decimal point or --decimal comma"
    ):
        read(tmp_path, f"Time;CO2 [ppm]\n{rows}\n")
    mixed = rows.replace("1,050", "1.5", 3).replace("1,050", "1,55", 3)
    with pytest.raises(AmbiguityError, match=r"decimal point \(3\) and some a decimal comma \(3\)"):
        read(tmp_path, f"Time;CO2 [ppm]\n{mixed}\n")


def test_the_comma_that_comes_late_stops_too(tmp_path: Path) -> None:
    """Whole numbers in the first rows do not settle the sign of what follows."""
    count = 3000
    cells = ["2" if i < count - 1 else "1,050" for i in range(count)]
    rows = "\n".join(
        f"{m:%Y-%m-%dT%H:%M:%SZ};{cell}" for m, cell in zip(moments(count), cells, strict=True)
    )
    with pytest.raises(AmbiguityError, match=r"'1,050' has a comma"):
        read(tmp_path, f"Time;CO [ppm]\n{rows}\n")


@pytest.mark.parametrize(
    ("wish", "found"), [("tab", "\t"), ("semicolon", ";"), ("|", "|"), ("comma", ","), ("#", "#")]
)
def test_a_delimiter_can_be_asked_for(wish: str, found: str) -> None:
    """By its sign or its name."""
    assert find_delimiter(["a b"], wish, "x") == found


def test_a_delimiter_that_cannot_be() -> None:
    """Two signs, or lines that nothing cuts."""
    with pytest.raises(LogError, match=r"delimiter '::' is not one character"):
        find_delimiter(["a::b"], "::", "x")
    with pytest.raises(LogError, match=r"no delimiter cuts the lines .*--delimiter"):
        find_delimiter(["abc"], None, "x")


def test_cut_minds_quotation_marks() -> None:
    """One line at a time, so that an open mark swallows no other line."""
    assert cut(['"a;1";2', 'b;"3', "c;4\r"], ";") == [["a;1", "2"], ["b", "3"], ["c", "4"]]


PREAMBLE = (
    "Report of the logger; v1.2\n"
    "Serial number, 1234\n"
    "CO limit, 5 ppm\n"
    "Channels, CO, CO2, O2\n"
    "Start, 2026-03-17T10:00:00Z\n"
    "\n"
)


def test_lines_above_the_headings(tmp_path: Path) -> None:
    """Names and numbers above the table are no headings and no readings."""
    log = read(tmp_path, table(before=PREAMBLE))
    assert log.rows == 60
    assert log.sources[0].rows_read == 60
    far = read(tmp_path, table(before="".join(f"Info {i}, a\n" for i in range(90))))
    assert columns(far, "co") == columns(log, "co")


def test_the_line_of_the_headings_can_be_named(tmp_path: Path) -> None:
    """Where two lines could be the headings."""
    text = table(HEAD, before="Time,CO [mg/m3],CO2 [mg/m3],O2 [%]\n")
    assert read(tmp_path, text, header_line=2).channel("co").unit == "ppm"
    with pytest.raises(LogError, match=r"line 999 was given for the headings, but there is none"):
        read(tmp_path, text, header_line=999)


@pytest.mark.parametrize(
    "below",
    [
        ",ppm,ppm,%",
        "[yyyy-mm-dd hh:mm:ss],[ppm],[ml/m³],[Vol.-%]",
        "UTC,ppm,ppm,%",
        "-,ppm,cm3/m3,vol%",
        "\n,ppm,ppm,%",
    ],
)
def test_a_row_of_units_under_the_headings(tmp_path: Path, below: str) -> None:
    """With or without brackets, a blank line between."""
    log = read(tmp_path, table(f"Time,CO,CO2,O2\n{below}"))
    assert [(c.name, c.unit) for c in log.channels] == [("co", "ppm"), ("co2", "ppm"), ("o2", "%")]
    assert columns(log, "co") == [WANTED * 20]
    assert causes(log) == {}


def test_the_unit_repeated_in_the_cells(tmp_path: Path) -> None:
    """A logger that writes '1.2 ppm' says its unit in each cell."""
    rows = "\n".join(f"{m:%Y-%m-%dT%H:%M:%SZ};1.2 ppm;20.9 %" for m in moments(40))
    log = read(tmp_path, f"Time;CO;O2\n{rows}\n")
    assert columns(log, "co", "o2") == [[1.2] * 40, [20.9] * 40]
    odd = rows.replace("1.2 ppm", "1.2 mg/m3", 1)
    told = read(tmp_path, f"Time;CO;O2\n{odd}\n")
    assert columns(told, "co")[0][0] is None
    assert any(
        "unit in the cell ('mg/m3') is not the column's (ppm)" in note for note in told.notes
    )


@pytest.mark.parametrize(
    ("heading", "cell", "unit", "value"),
    [
        ("CO [ppb]", "1200", "ppm", 1.2),
        ("CO2 [%]", "0.043", "ppm", 430.0),
        ("O2 [ppm]", "209000", "%", 20.9),
        ("O2 [mol/mol]", "0.209", "%", 20.9),
        ("CO [µg/m³]", "1200", "mg/m3", 1.2),
        ("Water [g/m3]", "0.05", "mg/m3", 50.0),
        # -40 °F is -40 °C
        ("Pressure dew point [°F]", "-40", "°C", -40.0),
        ("Temperature [°F]", "32", "°C", 0.0),
        ("Temperature [K]", "273.15", "°C", 0.0),
        # 1 psi = 6.894757 kPa (NIST SP 811, table of conversion factors)
        ("Line pressure [psi(g)]", "100", "bar(g)", 6.894757293),
        ("Line pressure [kPa(a)]", "101.325", "bar(g)", 0.0),
        ("Line pressure [MPa(g)]", "0.7", "bar(g)", 7.0),
        ("Line pressure [bar]", "7", "bar", 7.0),
        ("Humidity ratio [kg/kg]", "0.004", "g/kg", 4.0),
        ("Flow [m3/h]", "6", "L/min", 100.0),
    ],
)
def test_units_are_brought_to_the_canonical_one(
    tmp_path: Path, heading: str, cell: str, unit: str, value: float
) -> None:
    """Each value by hand from the definition of its unit."""
    rows = "\n".join(f"{m:%Y-%m-%dT%H:%M:%SZ};0.5;{cell}" for m in moments(20))
    first = "Oil [mg/m3]"
    log = read(tmp_path, f"Time;{first};{heading}\n{rows}\n")
    channel = log.channels[1]
    assert channel.unit == unit
    assert log.frame[channel.name][0] == pytest.approx(value, abs=1e-9)


def test_a_pressure_without_a_stated_zero_stays_unstated(tmp_path: Path) -> None:
    """Bar is kept, and the channel says what is not known."""
    rows = "\n".join(f"{m:%Y-%m-%dT%H:%M:%SZ};1.2;7.1" for m in moments(20))
    log = read(tmp_path, f"Time;CO [ppm];Pressure [bar]\n{rows}\n")
    pressure = log.channel("pressure")
    assert (pressure.unit, pressure.basis) == ("bar", "gauge or absolute is not stated")


@pytest.mark.parametrize(
    ("head", "telling", "choices", "settled"),
    [
        ("Time,CO,CO2 [ppm],O2 [%]", "'CO' (carbon monoxide) has no unit.", ("ppm", "mg/m3", "%", "mol/mol"), {"units": {"co": "ppm"}}),
        ("Time,CO [mg/Nm3],CO2 [ppm],O2 [%]", "('mg/Nm3' is not a known unit)", ("ppm", "mg/m3", "%", "mol/mol"), {"units": {"co": "mg/m3"}}),
        ("Time,CO [%LEL],CO2 [ppm],O2 [%]", "('%LEL' is not a known unit)", ("ppm", "mg/m3", "%", "mol/mol"), {"ignore": ["CO [%LEL]"]}),
        ("Time,CO [ppm]\N{MULTIPLICATION SIGN}10,CO2 [ppm],O2 [%]", "can be a factor", ("the numbers are in ppm", "the numbers are in another measure"), {"units": {"co": "ppm"}}),
        ("Time,CO [mg/m3 @ 0 °C],CO2 [ppm],O2 [%]", "is not one at 20 °C", ("the numbers are in mg/m3", "the numbers are in another measure"), {"units": {"co": "mg/m3"}}),
        ("Time,CO A1 [ppm],CO2 [ppm],O2 [%]", "the word 'a1' is not known", ("it holds the readings of carbon monoxide", "it holds something else"), {"columns": {"co": "CO A1 [ppm]"}}),
        ("Time,CO min [ppm],CO2 [ppm],O2 [%]", "lowest reading", ("it holds the readings of carbon monoxide", "it holds something else"), {"columns": {"co": "CO min [ppm]"}}),
        ("Time,CO max [ppm],CO avg [ppm],O2 [%]", "2 columns hold carbon monoxide", ("CO max [ppm]", "CO avg [ppm]"), {"columns": {"co": "CO max [ppm]"}}),
        ("Time,CO [ppm],CO [ppm],O2 [%]", "2 columns hold carbon monoxide", ("column 2", "column 3"), {"columns": {"co": "column 3"}}),
        ("Time,CO1 [ppm],CO2 [ppm],CO3 [ppm]", "'CO1' stands beside it", ("it holds the readings of carbon dioxide", "it holds something else"), {"columns": {"co2": "CO2 [ppm]"}}),
        ("Time,Dew point [°C],CO2 [ppm],O2 [%]", "at atmospheric or at line pressure", ("atmospheric dew point", "pressure dew point"), {"units": {"water": "°C pressure dew point"}}),
        ("Time,Dew point,CO2 [ppm],O2 [%]", "has no unit", ("°C atmospheric dew point", "°C pressure dew point"), {"units": {"water": "°C atmospheric dew point"}}),
        ("Time,Moisture [%],CO2 [ppm],O2 [%]", "relative humidity or a volume fraction", ("relative humidity", "volume fraction of water"), {"units": {"water": "%"}}),
        ("Time,CO [ppm],CO2,O2 [%]\n,mg/m3,ppm,%", "it says 'ppm' above 'mg/m3'", ("ppm", "mg/m3", "%", "mol/mol"), {"units": {"co": "ppm"}}),
    ],
)  # fmt: skip
def test_what_the_headings_leave_open_stops_with_its_choices(
    tmp_path: Path, head: str, telling: str, choices: tuple[str, ...], settled: dict[str, Any]
) -> None:
    """The error lists the choices, names the option, and the option settles it."""
    with pytest.raises(AmbiguityError) as caught:
        read(tmp_path, table(head))
    error = caught.value
    assert telling in str(error)
    assert error.choices == choices
    assert "--" in error.remedy
    assert str(error).startswith("log.csv, line 1, column ")
    assert read(tmp_path, table(head), **settled).rows == 60


def test_all_open_questions_come_at_once(tmp_path: Path) -> None:
    """So that one run settles them all."""
    with pytest.raises(AmbiguityError) as caught:
        read(tmp_path, table("Elapsed,CO,Dew point [°C],CO2 x10 [ppm]", time="%S"))
    text = str(caught.value)
    for telling in (
        "'CO' (carbon monoxide) has no unit",
        "is a dew point",
        "can be a factor",
        "an elapsed time without a unit",
        "--start",
    ):
        assert telling in text
    assert text.count("Also: ") == 4


def test_two_files_ask_with_their_names(tmp_path: Path) -> None:
    """A question says which file it is about."""
    paths = [
        write(tmp_path, table("Time,CO,CO2 [ppm],O2 [%]"), name) for name in ("a.csv", "b.csv")
    ]
    paths[1].write_text(table("Time,CO,CO2 [ppm],O2"), encoding="utf-8")
    with pytest.raises(AmbiguityError, match=r"^a\.csv.*Also: b\.csv, 'CO'.*Also: b\.csv, 'O2'"):
        read_log(paths)


def test_a_question_about_what_nobody_needs_leaves_the_column(tmp_path: Path) -> None:
    """With the analytes known that matter, other open columns are left alone and told."""
    log = read(tmp_path, table("Time,CO [ppm],VOC,CO2 [ppm]"), wanted=["co", "co2"])
    assert [channel.analyte for channel in log.channels] == ["co", "co2"]
    assert log.columns_not_used == ("VOC (its unit is not stated; not needed for this limit set)",)
    twice = read(tmp_path, table("Time,CO [ppm],VOC a [ppm],VOC b [ppm]"), wanted=["co"])
    assert len(twice.columns_not_used) == 2


def test_a_unit_given_against_the_heading_is_told(tmp_path: Path) -> None:
    """The user's word goes before the file's, and the log says so."""
    log = read(tmp_path, table(), units={"co": "mg/m3"})
    assert log.channel("co").quantity == "mass_concentration"
    assert "'CO [ppm]' says ppm, and was read in mg/m3, as given." in log.notes
    dew = read(
        tmp_path,
        table("Time,Drucktaupunkt [°C],CO2 [ppm],O2 [%]"),
        units={"water": "°C atmospheric dew point"},
    )
    assert any("was read as atmospheric dew point, as given" in note for note in dew.notes)
    other = read(tmp_path, table(), columns={"co": "CO2 [ppm]"})
    assert any("'CO2 [ppm]' was read as carbon monoxide, as given." in note for note in other.notes)
    content = read(tmp_path, table("Time,Dew point,CO2 [ppm],O2 [%]"), units={"water": "mg/m3"})
    assert content.channel("water").quantity == "mass_concentration"


@pytest.mark.parametrize(
    ("options", "telling"),
    [
        ({"columns": {"co": "Sensor 9"}}, r"there is no column 'Sensor 9' \(given with --column co\)\. Near it: 'Time'"),
        ({"columns": {"xo": "CO [ppm]"}}, r"'xo' is no analyte\. Near it: .*o2.*\. Known: o2"),
        ({"columns": {"co": "CO [ppm]", "co2": "CO [ppm]"}}, r"was given for co and for co2"),
        ({"units": {"co": "furlong"}}, r"column CO \[ppm\]: --unit co=furlong: unit 'furlong' is not known"),
        ({"units": {"co": "°C"}}, r"'°C' is no unit of carbon monoxide"),
        ({"units": {"c0": "ppm"}}, r"there is no column 'c0' \(given with --unit 'c0=ppm'\)"),
        ({"columns": {"water": "CO [ppm]"}, "units": {"water": "bar"}}, r"'bar' is no unit of water"),
        ({"time_columns": ["Zeit"]}, r"there is no column 'Zeit' \(given with --time-column\)\. Near it: 'Time'"),
        ({"date_order": "ydm"}, r"date order 'ydm' is not known\. Use dmy, mdy, ymd"),
        ({"decimal": "dot"}, r"decimal sign 'dot' is not known"),
        ({"zone": "Mars/Base"}, r"time zone 'Mars/Base' is not known"),
        ({"trust": ["coo"]}, r"--trust coo: no such analyte"),
    ],
)  # fmt: skip
def test_options_that_cannot_be_meant(
    tmp_path: Path, options: dict[str, Any], telling: str
) -> None:
    """What was given, what is near it, what is allowed."""
    with pytest.raises(LogError, match=telling):
        read(tmp_path, table(), **options)


def test_columns_beside_the_readings(tmp_path: Path) -> None:
    """Status columns, unnamed ones, empty ones at the end: left alone, and listed where they hold anything."""
    head = "Time,CO [ppm],CO2 [ppm],O2 [%],Status,CO alarm,,Remark,,"
    rows = "\n".join(f"{m:%Y-%m-%dT%H:%M:%SZ},1.2,430,20.9,OK,0,7,,," for m in moments(40))
    log = read(tmp_path, f"{head}\n{rows}\n")
    assert [channel.name for channel in log.channels] == ["co", "co2", "o2"]
    assert set(log.columns_not_used) == {
        "Status (not understood)",
        "CO alarm ('alarm' says that it holds no readings)",
        "column 7 (no heading) (not understood)",
        "Remark (not understood)",
    }
    named = read(tmp_path, f"{head}\n{rows}\n", columns={"so2": "column 7"}, units={"so2": "ppm"})
    assert columns(named, "so2") == [[7.0] * 40]


def test_three_hundred_columns(tmp_path: Path) -> None:
    """A wide table finds its gas."""
    head = "Time," + ",".join(f"X{i}" for i in range(300)) + ",CO [ppm]"
    rows = "\n".join(f"{m:%Y-%m-%dT%H:%M:%SZ}," + "1," * 300 + "2.5" for m in moments(30))
    log = read(tmp_path, f"{head}\n{rows}\n")
    assert columns(log, "co") == [[2.5] * 30]
    assert len(log.columns_not_used) == 300


def test_a_column_can_be_left_alone(tmp_path: Path) -> None:
    """By heading or by number; a name that is not there is told."""
    log = read(tmp_path, table(), ignore=["CO2 [ppm]", "column 4", "Gone"])
    assert [channel.name for channel in log.channels] == ["co"]
    assert "--ignore 'Gone' names no column of log.csv." in log.notes
    assert "CO2 [ppm] (left alone as asked)" in log.columns_not_used


def test_no_column_is_understood(tmp_path: Path) -> None:
    """The message lists what there is."""
    with pytest.raises(
        LogError, match=r"line 1: no column was understood among 'Time', 'A', 'B', 'C'.*--column"
    ):
        read(tmp_path, table("Time,A,B,C"))


def test_an_average_is_told_in_a_note(tmp_path: Path) -> None:
    """An average hides peaks."""
    log = read(tmp_path, table("Time,CO avg [ppm],CO2 [ppm],O2 [%]"))
    assert any("holds a avg over each interval" in note for note in log.notes)


# Time


@pytest.mark.parametrize(
    ("head", "time"),
    [
        ("Date,Time,CO [ppm],CO2 [ppm],O2 [%]", "%Y-%m-%d,%H:%M:%S"),
        ("Datum,Uhrzeit,CO [ppm],CO2 [ppm],O2 [%]", "%d.%m.%Y,%H:%M:%S"),
        ("Date,Heure,CO [ppm],CO2 [ppm],O2 [%]", "%d/%m/%Y,%H:%M:%S"),
        ("Fecha,Hora,CO [ppm],CO2 [ppm],O2 [%]", "%d-%m-%Y,%H.%M.%S"),
        ("Dato,Tid,CO [ppm],CO2 [ppm],O2 [%]", "%d.%m.%Y,%H.%M.%S"),
        ("Time,Date,CO [ppm],CO2 [ppm],O2 [%]", "%H:%M:%S,%Y-%m-%d"),
        ("Date,Time,CO [ppm],CO2 [ppm],O2 [%]", "%Y%m%d,%H%M%S"),
        ("Date,Time,CO [ppm],CO2 [ppm],O2 [%]", "%m/%d/%Y,%I:%M:%S %p"),
        ("Zeitstempel,CO [ppm],CO2 [ppm],O2 [%]", "%d.%m.%Y %H:%M:%S"),
        ("When,CO [ppm],CO2 [ppm],O2 [%]", "%Y-%m-%d %H:%M:%S"),
    ],
)  # fmt: skip
def test_one_or_two_columns_of_time(tmp_path: Path, head: str, time: str) -> None:
    """The 17th of March is day and month at once clear."""
    log = read(tmp_path, table(head, time=time), zone="UTC")
    assert (log.start, log.end, log.rows) == (START, moments(60)[-1], 60)
    assert columns(log, "co") == [WANTED * 20]


def test_a_date_beside_seconds_of_the_day_is_no_midnight(tmp_path: Path) -> None:
    """Numbers that are no clock time beside a date stop, instead of putting all rows at midnight."""
    rows = "\n".join(f"2026-03-17,{36000 + 10 * i},1.2" for i in range(40))
    with pytest.raises(
        LogError, match=r"'Time' beside the date in 'Date' holds numbers that are no time of day"
    ):
        read(tmp_path, f"Date,Time,CO [ppm]\n{rows}\n", zone="UTC")


def test_a_clock_without_a_date(tmp_path: Path) -> None:
    """It cannot be placed."""
    with pytest.raises(LogError, match=r"'Time' holds a time of day without a date \('10:00:00'\)"):
        read(tmp_path, table(time="%H:%M:%S"))


def test_no_time_at_all(tmp_path: Path) -> None:
    """A column named Time that holds none, and none at all."""
    rows = "\n".join("now,1.2" for _ in range(40))
    with pytest.raises(
        LogError, match=r"'Time' does not hold times that can be read \(found 'now'\)"
    ):
        read(tmp_path, f"Time,CO [ppm]\n{rows}\n")
    with pytest.raises(
        LogError, match=r"no column of times was found among 'A', 'CO \[ppm\]'.*--time-column"
    ):
        read(tmp_path, f"A,CO [ppm]\n{rows}\n")


def test_elapsed_time(tmp_path: Path) -> None:
    """Minutes from a start that has to be given; half a minute is thirty seconds."""
    rows = "\n".join(f"{0.5 * i:g};1.2" for i in range(40))
    text = f"Elapsed;CO [ppm]\n{rows}\n"
    log = read(tmp_path, text, units={"time": "min"}, start=START)
    assert (log.start, log.interval_s) == (START, 30.0)
    local = read(
        tmp_path, text, units={"time": "min"}, start=START.replace(tzinfo=None), zone="Europe/Oslo"
    )
    assert local.start == START.replace(hour=9)
    with pytest.raises(LogError, match=r"--unit time=days: no unit of time"):
        read(tmp_path, text, units={"time": "days"}, start=START)
    with pytest.raises(AmbiguityError, match=r"without a unit.*s; min; h; ms"):
        read(tmp_path, text, start=START)


# One reading a row


def long_rows(
    count: int = 50, *, unit: bool = True, labels: tuple[str, ...] = ("CO", "CO2", "Oxygen")
) -> list[str]:
    """Write a table with one reading a row."""
    lines = ["Time;Channel;Value" + (";Unit" if unit else "")]
    for i, moment in enumerate(moments(count)):
        for label, name, value in zip(labels, ("ppm", "ppm", "%"), (1.2, 430.0, 20.9), strict=True):
            lines.append(
                f"{moment:%Y-%m-%dT%H:%M:%SZ};{label};{value + i % 3:g}"
                + (f";{name}" if unit else "")
            )
    return lines


def test_one_reading_a_row(tmp_path: Path) -> None:
    """Three rows a moment become one row with three channels."""
    log = read(tmp_path, "\n".join(long_rows()) + "\n")
    assert [(c.name, c.unit, c.heading) for c in log.channels] == [
        ("co", "ppm", "CO"), ("co2", "ppm", "CO2"), ("o2", "%", "Oxygen"),
    ]  # fmt: skip
    assert log.rows == 50
    assert columns(log, "co", "o2")[0][:3] == [1.2, 2.2, 3.2]
    assert (log.sources[0].rows_read, log.sources[0].rows_used) == (150, 150)
    labels = ("CO [ppm]", "CO2 [ppm]", "O2 [%]")
    inside = read(tmp_path, "\n".join(long_rows(unit=False, labels=labels)) + "\n")
    assert inside.frame.select("co", "co2", "o2").equals(log.frame.select("co", "co2", "o2"))


def test_a_label_that_comes_late_is_a_channel(tmp_path: Path) -> None:
    """Oil that is first logged after thousands of rows is not lost."""
    lines = [*long_rows(900), "2026-03-17T14:00:00Z;Oil;0.9;mg/m3"]
    log = read(tmp_path, "\n".join(lines) + "\n")
    assert columns(log, "oil")[0][-1] == 0.9


@pytest.mark.parametrize("unit", ["mg/m3", ""])
def test_a_label_with_two_units_stops(tmp_path: Path, unit: str) -> None:
    """Nor is a reading without its unit taken for one with it."""
    lines = [*long_rows(), f"2026-03-17T14:00:00Z;CO;9;{unit}"]
    with pytest.raises(
        LogError, match=rf"'CO' stand in several units: ppm, {unit or 'no unit'}\. Split"
    ):
        read(tmp_path, "\n".join(lines) + "\n")


def test_labels_without_units_are_asked_about(tmp_path: Path) -> None:
    """As columns are."""
    with pytest.raises(
        AmbiguityError, match=r"'CO' \(carbon monoxide\) has no unit.*'Oxygen' \(oxygen\)"
    ):
        read(tmp_path, "\n".join(long_rows(unit=False)) + "\n")
    log = read(
        tmp_path,
        "\n".join(long_rows(unit=False)) + "\n",
        units={"co": "ppm", "co2": "ppm", "o2": "%"},
    )
    assert log.rows == 50


def test_a_label_not_known_is_counted(tmp_path: Path) -> None:
    """Rows of other labels are refused by cause."""
    lines = [*long_rows(), "2026-03-17T14:00:00Z;Door;1;"]
    log = read(tmp_path, "\n".join(lines) + "\n")
    assert causes(log) == {"label not used": 1}
    assert log.columns_not_used == ("Door (not understood)",)


def test_parse_given_unit() -> None:
    """Units with the words for a dew point."""
    assert parse_given_unit("°F atmospheric dew point") == ("°F", "atmospheric_dew_point")
    assert parse_given_unit("°C_pressure_dew_point") == ("°C", "pressure_dew_point")
    assert parse_given_unit("ml/m³") == ("ppm", "")


def test_plans_can_be_looked_at(tmp_path: Path) -> None:
    """Delimiter, lines and preamble as found."""
    (_, layout), = plan_files(write(tmp_path, table("Time;CO\n;ppm", cut=";", values=((1.5,),), before="A;B\n\n")), ReadOptions())  # fmt: skip
    assert (layout.delimiter, layout.header_line, layout.unit_line, layout.first_line) == (
        ";",
        3,
        4,
        5,
    )
    assert layout.preamble[0] == "A B"


@pytest.mark.parametrize(
    ("cells", "open_one"),
    [
        # whole numbers and 1.050: a German or Norwegian thousand, or three decimals
        (("430", "1.050", "980"), True),
        (("430", "1.050", "20.5"), False),
        (("0.500", "1.050", "2"), False),
        (("430", "1.050", "1050"), False),
        (("430", "980", "1000"), False),
    ],
)
def test_a_point_that_may_part_thousands_stops(
    tmp_path: Path,
    cells: tuple[str, ...],
    open_one: bool,  # noqa: FBT001 - drawn
) -> None:
    """1.050 ppm read for 1050 ppm would hide it; late in the file as well as early."""
    early = [cells[i % 3] for i in range(60)]
    late = [cells[0]] * 3000 + list(cells)
    for some in (early, late):
        moment = moments(len(some))
        rows = "\n".join(
            f"{m:%Y-%m-%dT%H:%M:%SZ};{cell}" for m, cell in zip(moment, some, strict=True)
        )
        text = f"Time;CO2 [ppm]\n{rows}\n"
        if open_one:
            with pytest.raises(
                AmbiguityError, match=r"'1\.050' .*--decimal point or --decimal comma"
            ):
                read(tmp_path, text)
            assert columns(read(tmp_path, text, decimal="comma"), "co2")[0][-2:] == [1050.0, 980.0]
            assert columns(read(tmp_path, text, decimal="point"), "co2")[0][-2:] == [1.05, 980.0]
        else:
            assert columns(read(tmp_path, text), "co2")[0] == [float(cell) for cell in some]


@pytest.mark.parametrize("unit", ["ppm", "mg/m3"])
@pytest.mark.parametrize("first", [0, 3000])
def test_three_decimals_everywhere_stop_between_semicolons(
    tmp_path: Path, unit: str, first: int
) -> None:
    """1.440 is fourteen hundred and forty where the comma is the decimal sign.

    It is settled by a reading with other decimals, by one that could not be a thousandfold (20.900 %
    of oxygen), and by the commas of a file that is cut by them.
    """
    cells = ["0"] * first + ["1.440", "1.380", "1.395"] * 20
    if first:
        # What comes late is looked at by itself.
        cells = ["7.125"] * first + cells[first:]
    rows = [
        (f"{m:%Y-%m-%dT%H:%M:%SZ}", cell)
        for m, cell in zip(moments(len(cells)), cells, strict=True)
    ]
    alone = "\n".join(f"{m};{cell}" for m, cell in rows)
    text = f"Time;CO [{unit}]\n{alone}\n"
    with pytest.raises(AmbiguityError, match=r"'\d\.\d{3}' can be .*--decimal point"):
        read(tmp_path, text)
    assert columns(read(tmp_path, text, decimal="comma"), "co")[0][-1] == 1395.0
    assert columns(read(tmp_path, text, decimal="point"), "co")[0][-1] == 1.395
    with_oxygen = "\n".join(f"{m};{cell};20.900" for m, cell in rows)
    log = read(tmp_path, f"Time;CO [{unit}];O2 [%]\n{with_oxygen}\n")
    assert columns(log, "co")[0][-1] == 1.395
    log = read(tmp_path, text.replace(cells[0], "1.4", 1))
    assert columns(log, "co")[0][0] == 1.4
    log = read(tmp_path, text.replace(";", ","))
    assert columns(log, "co")[0][-1] == 1.395


@pytest.mark.parametrize(
    "head",
    [
        "Time,CO [ppm],,O2 [%]\n,min,max,min",
        "Time,CO [ppm],CO2 [ppm],O2 [%]\n,Alarm,Status,Mittelwert",
        ",CO [ppm],,O2 [%]\nTime,Min,Max,Avg",
    ],
)
def test_headings_in_two_lines_stop(tmp_path: Path, head: str) -> None:
    """'min' in the line below would turn a column into the lowest readings."""
    with pytest.raises(LogError, match=r"line [12]: .*the headings stand in two lines"):
        read(tmp_path, table(head))
