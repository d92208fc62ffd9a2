"""Files as careless loggers and careless people leave them: nothing lost in silence, nothing guessed."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.logs.made import HEAD, START, causes, columns, moments, read, table, write

from lungwort.errors import AmbiguityError, LogError
from lungwort.logs.read import read_log

COMMENT = "neither a time nor a reading (a comment or a footer)"
WANTED = [1.2, 1.3, 1.4]


@pytest.mark.parametrize(
    ("after", "cause"),
    [
        ("End of log\n", COMMENT),
        ("# checksum 9f3a\n", COMMENT),
        ('"End of log, all well"\n', COMMENT),
        ("\x1a\n", COMMENT),
        ("Total,480,33,1\n", "a summary row"),
        ("Mean:,1.2,430,20.9\n", "a summary row"),
        ("Mittelwert,1.2,430,20.9\n", "a summary row"),
        ("\n \n", "blank line"),
    ],
)
def test_what_stands_under_the_readings(tmp_path: Path, after: str, cause: str) -> None:
    """Footers are counted and cast no doubt on the readings."""
    log = read(tmp_path, table(after=after))
    assert log.rows == 60
    assert causes(log) == {cause: after.count("\n")}
    assert log.sources[0].refusals[0].first_lines[0] == 62
    assert log.doubts == ()
    assert log.unplaced is None


@pytest.mark.parametrize(
    ("after", "value"),
    [("??,99,430,20.9\n", 99.0), (",99,430,20.9\n", 99.0), ("??,>50,430,20.9\n", 50.0)],
)
def test_a_reading_whose_time_is_lost_is_kept_apart(
    tmp_path: Path, after: str, value: float
) -> None:
    """It may be outside a limit, so it goes on beside the log and puts the log in doubt."""
    log = read(tmp_path, table(after=after))
    assert log.rows == 60
    assert log.unplaced is not None
    assert log.unplaced["co"].to_list() == [value]
    assert any("no time" in doubt for doubt in log.doubts)
    assert sum(causes(log).values()) == 1


def test_over_range_without_a_time_is_kept_too(tmp_path: Path) -> None:
    """A word can stand for the highest reading of all."""
    log = read(tmp_path, table(after="??,OVER,430,20.9\n"))
    assert log.unplaced is not None
    assert log.unplaced.height == 1


def test_comments_between_the_readings(tmp_path: Path) -> None:
    """Remarks of the logger inside the table."""
    text = table().replace("\n", "\n# a remark\n", 4)
    log = read(tmp_path, text)
    assert log.rows == 60
    assert causes(log)[COMMENT] == 4


def test_blank_lines_between_the_readings(tmp_path: Path) -> None:
    """Line numbers go on counting them."""
    log = read(tmp_path, table(after="bad,9,9,9\n").replace("\n", "\n\n"))
    assert log.rows == 60
    assert causes(log)["blank line"] == 62
    assert next(r for r in log.sources[0].refusals if r.cause != "blank line").first_lines == (123,)


def test_the_headings_once_more(tmp_path: Path) -> None:
    """A restart writes them again; the readings after them count."""
    lines = table(count=80).splitlines()
    text = "\n".join([*lines[:41], HEAD, *lines[41:]]) + "\n"
    log = read(tmp_path, text)
    assert log.rows == 80
    assert causes(log) == {"heading line repeated": 1}


@pytest.mark.parametrize(
    ("head", "telling"),
    [
        ("Time,CO2 [ppm],CO [ppm],O2 [%]", r"'CO \[ppm\]' becomes 'CO2 \[ppm\]'"),
        ("Time,CO [mg/m3],CO2 [ppm],O2 [%]", r"'CO \[ppm\]' becomes 'CO \[mg/m3\]'"),
        ("Time,CO [ppm],CO2 [ppm],H2S [ppm]", r"'O2 \[%\]' becomes 'H2S \[ppm\]'"),
        ("Date,CO2 [ppm],CO [ppm],O2 [%]", r"other headings begin here \(Date, CO2 \[ppm\]"),
    ],
)
def test_other_headings_inside_the_file_stop(tmp_path: Path, head: str, telling: str) -> None:
    """Columns that change their meaning on the way are never read on."""
    with pytest.raises(LogError, match=rf"log\.csv, line 62: .*{telling}.*Split the file there"):
        read(tmp_path, table(after=table(head)))


@pytest.mark.parametrize("end", ["", ".", "0,430,2", "0,4", "0Z"])
def test_the_last_line_cut_short(tmp_path: Path, end: str) -> None:
    """20.9 cut to 2 is no oxygen reading."""
    whole = table(values=((1.25, 430.5, 20.95),))
    stub = whole[: -len(",1.25,430.5,20.95\n")]
    text = (
        stub
        + {"": ",1.25,430.5,2", ".": ",1.25,430.", "0,430,2": ",1.25", "0,4": ",1.2", "0Z": ""}[end]
    )
    log = read(tmp_path, text)
    assert log.rows == 59
    assert sum(causes(log).values()) == 1
    assert set(columns(log, "o2")[0]) == {20.95}


def test_a_last_line_without_its_end_is_whole_where_it_is(tmp_path: Path) -> None:
    """No line end alone is no damage."""
    assert read(tmp_path, table().rstrip("\n")).rows == 60


def test_an_open_quotation_mark_swallows_nothing(tmp_path: Path) -> None:
    """A mark that is never closed in one remark leaves all other lines alone."""
    rows = [
        f"{m:%Y-%m-%dT%H:%M:%SZ},1.2,430,20.9,{chr(34) + 'odd' if i == 7 else 'ok'}"
        for i, m in enumerate(moments(60))
    ]
    log = read(tmp_path, HEAD + ",Remark\n" + "\n".join(rows) + "\n")
    assert log.rows == 60
    assert columns(log, "co") == [[1.2] * 60]


def test_a_line_with_too_many_cells(tmp_path: Path) -> None:
    """One is refused; many stop the reading."""
    log = read(tmp_path, table(after="2026-03-17T11:00:00Z,1,2,3,4\n"))
    assert causes(log) == {"more cells than headings": 1}
    with pytest.raises(
        LogError, match=r"line 2: 60 of 60 rows have more cells than there are headings \(3\)"
    ):
        read(tmp_path, table("Time,CO [ppm],CO2 [ppm]"))


def test_zero_bytes_and_very_long_lines(tmp_path: Path) -> None:
    """A block of zero bytes at the end, a line of fifty thousand signs at the top."""
    log = read(tmp_path, table(before="x" * 50_000 + "\n", after="\x00" * 40 + "\n"))
    assert log.rows == 60
    assert causes(log) == {COMMENT: 1}


def test_markup_and_formulas_in_headings(tmp_path: Path) -> None:
    """They are text, whatever they look like."""
    log = read(tmp_path, table('Time,<b>CO</b> [ppm],"=HYPERLINK(""x"") ",O2 [%]'))
    assert [channel.name for channel in log.channels] == ["co", "o2"]
    assert any("HYPERLINK" in text for text in log.columns_not_used)


def test_one_reading_only(tmp_path: Path) -> None:
    """A file of one row is a log of one row."""
    log = read(tmp_path, f"{HEAD}\n2026-03-17T10:00:00Z,1,430,20.9\n")
    assert (log.rows, log.interval_s, log.start) == (1, None, START)


@pytest.mark.parametrize(
    ("time", "choices"),
    [("04/03/2026 %H:%M:%S", ("dmy", "mdy")), ("4.3.26 %H:%M:%S", ("dmy", "mdy", "ymd"))],
)
def test_a_date_that_is_two(tmp_path: Path, time: str, choices: tuple[str, ...]) -> None:
    """04/03/2026 with no day above twelve in the file."""
    with pytest.raises(
        AmbiguityError, match=r"whether the day or the month stands first.*--date-order"
    ) as caught:
        read(tmp_path, table(time=time))
    assert set(caught.value.choices) <= {"dmy", "mdy", "ymd"}
    assert set(choices[:2]) <= set(caught.value.choices)


def test_both_answers_are_taken_as_given(tmp_path: Path) -> None:
    """The same file, read in both ways."""
    text = table(time="04/03/2026 %H:%M:%S")
    assert f"{read(tmp_path, text, date_order='dmy', zone='UTC').start:%Y-%m-%d}" == "2026-03-04"
    assert f"{read(tmp_path, text, date_order='mdy', zone='UTC').start:%Y-%m-%d}" == "2026-04-03"


# Several files


def parts(count: int = 60) -> list[str]:
    """Cut one table into two that overlap by ten rows."""
    lines = table(count=count).splitlines()
    return ["\n".join(lines[:36]) + "\n", "\n".join([lines[0], *lines[26:]]) + "\n"]


def test_files_that_overlap_are_joined_once(tmp_path: Path) -> None:
    """In any order, doubled rows are dropped and counted."""
    texts = parts()
    whole = read(tmp_path, table(), "whole.csv")
    paths = [write(tmp_path, text, f"{i}.csv") for i, text in enumerate(texts)]
    for order in (paths, paths[::-1]):
        log = read_log(order)
        assert log.frame.equals(whole.frame)
        assert causes(log) == {"exact duplicate of another row": 10}
        assert sum(source.rows_used for source in log.sources) == 60


def test_columns_in_another_order_in_the_second_file(tmp_path: Path) -> None:
    """Channels follow the headings, not the places."""
    first, second = parts()
    turned = "\n".join(
        ",".join(line.split(",")[k] for k in (0, 3, 1, 2)) for line in second.splitlines()
    )
    log = read_log([write(tmp_path, first, "a.csv"), write(tmp_path, turned + "\n", "b.csv")])
    assert log.frame.equals(read(tmp_path, table(), "whole.csv").frame)


def test_another_unit_in_the_second_file(tmp_path: Path) -> None:
    """Ppb is brought to ppm; mg/m3 is another channel, for it needs a reference state."""
    lines = table().splitlines()
    first = "\n".join(lines[:31]) + "\n"
    rest = "\n".join(lines[31:]) + "\n"
    one = write(tmp_path, first, "a.csv")
    ppb = write(tmp_path, HEAD.replace("CO [ppm]", "CO [ppb]") + "\n" + rest, "b.csv")
    assert columns(read_log([one, ppb]), "co")[0][30:33] == [0.0012, 0.0013, 0.0014]
    mass = write(tmp_path, HEAD.replace("CO [ppm]", "CO [mg/m3]") + "\n" + rest, "c.csv")
    log = read_log([one, mass])
    assert [(c.name, c.unit) for c in log.channels_of("co")] == [("co", "ppm"), ("co_2", "mg/m3")]
    assert log.frame["co"].null_count() == log.frame["co_2"].null_count() == 30


def test_the_same_file_twice(tmp_path: Path) -> None:
    """By its content, under another name."""
    paths = [write(tmp_path, table(), name) for name in ("a.csv", "b.csv")]
    log = read_log(paths)
    assert (log.rows, len(log.sources)) == (60, 1)
    assert "b.csv has the same content as a.csv and was read once." in log.notes


def test_a_column_missing_in_one_file(tmp_path: Path) -> None:
    """Its readings are missing there, and stay missing."""
    first, _ = parts()
    lines = table().splitlines()
    without = "\n".join(",".join(line.split(",")[:3]) for line in [lines[0], *lines[36:]])
    log = read_log([write(tmp_path, first, "a.csv"), write(tmp_path, without + "\n", "b.csv")])
    assert log.rows == 60
    assert log.frame["o2"].null_count() == 25
    assert set(log.frame.filter(log.frame["o2"].is_null())["o2_flag"].to_list()) == {9}


@pytest.mark.parametrize("quote", ["", '"'])
def test_a_row_that_lacks_a_cell_puts_the_log_in_doubt(tmp_path: Path, quote: str) -> None:
    """With one cell gone, hydrogen sulphide would pass for carbon monoxide."""
    rows = [f"{m:%Y-%m-%dT%H:%M:%SZ},1.2,0.1,20.9,ok" for m in moments(60)]
    rows[30] = rows[30].replace(",1.2", "")
    rows = [f"{quote}{row.replace(',', quote + ',' + quote)}{quote}" for row in rows]
    log = read(tmp_path, "Time,CO [ppm],H2S [ppm],O2 [%],Status\n" + "\n".join(rows) + "\n")
    assert log.rows == 60
    assert any(
        "more or fewer cells than the others (first at line 32)" in doubt for doubt in log.doubts
    )


def test_cells_left_away_at_the_end_by_all_rows_are_no_fault(tmp_path: Path) -> None:
    """Loggers that write no remark leave the cell away."""
    log = read(tmp_path, table(HEAD + ",Remark"))
    assert (log.rows, causes(log), log.doubts) == (60, {}, ())


def test_an_ungrouped_thousand_puts_the_log_in_doubt(tmp_path: Path) -> None:
    """1,050 in a file cut by commas has a cell too many: just the readings that matter would go."""
    text = table(after="2026-03-17T10:10:00Z,1.2,1,050,20.9\n")
    log = read(tmp_path, text)
    assert causes(log) == {"more cells than headings": 1}
    assert any("more or fewer cells than the others" in doubt for doubt in log.doubts)
