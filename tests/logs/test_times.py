"""Times as loggers write them, through whole files and through the parts that read them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.logs.invent import file_of, lively, rows_of, small_blocks, times

from lungwort.errors import AmbiguityError, LogError
from lungwort.logs import times as reading
from lungwort.logs.read import read_log

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.logs.model import Log

FIRST = datetime(2026, 3, 4, 10, 0)  # noqa: DTZ001 - wall time
COUNT = 40


def read(folder: Path, stamps: list[str], *, head: str = "Time", **options: Any) -> Log:
    """Read a file with these times; cut by semicolons, so that times may hold commas."""
    rows = [f"{stamp};0.{i % 7};20.9" for i, stamp in enumerate(stamps)]
    return read_log(file_of(folder, rows, head=f"{head};CO [ppm];O2 [%]"), **options)


def expected(step: timedelta = timedelta(minutes=1), count: int = COUNT) -> list[datetime]:
    """Give the moments that the files stand for."""
    return [FIRST + step * i for i in range(count)]


# A strftime format and options that settle it, where it needs them.
SPELLINGS: list[tuple[str, dict[str, Any]]] = [
    ("%Y-%m-%d %H:%M:%S", {}),
    ("%Y-%m-%dT%H:%M:%S", {}),
    ("%Y-%m-%d_%H:%M:%S", {}),
    ("%Y-%m-%dT%H:%M:%SZ", {}),
    ("%Y-%m-%d %H:%M:%S UTC", {}),
    ("%Y-%m-%d %H:%M", {}),
    ("%Y/%m/%d %H:%M:%S", {}),
    ("%Y.%m.%d %H:%M:%S", {}),
    ("%Y-%m-%d %H:%M:%S.000", {}),
    ("%Y-%m-%d %H:%M:%S,000", {}),
    ("%Y-%m-%dT%H:%M:%S.000000Z", {}),
    ("%d.%m.%Y %H:%M:%S", {}),
    ("%d.%m.%Y %H.%M.%S", {}),
    ("%d/%m/%Y %H:%M:%S", {"date_order": "dmy"}),
    ("%d/%m/%Y %H.%M.%S", {"date_order": "dmy"}),
    ("%m/%d/%Y %H:%M", {"date_order": "mdy"}),
    ("%m/%d/%Y %I:%M:%S %p", {"date_order": "mdy"}),
    ("%m/%d/%Y %I:%M%p", {"date_order": "mdy"}),
    ("%d-%m-%y %H:%M", {"date_order": "dmy"}),
    ("%y/%m/%d %H:%M", {"date_order": "ymd"}),
    ("%y-%m-%d %H:%M:%S", {"date_order": "ymd"}),
    ("%d %b %Y %H:%M:%S", {}),
    ("%d-%b-%Y %H:%M", {}),
    ("%d-%b-%y %H:%M:%S", {}),
    ("%b %d, %Y %I:%M:%S %p", {}),
    ("%B %d, %Y %H:%M", {}),
    ("%a %d %b %Y %H:%M:%S", {}),
    ("%a, %d %b %Y %H:%M:%S", {}),
    ("%A %Y-%m-%d %H:%M:%S", {}),
    ("%a %b %d, %Y %H:%M:%S", {}),
    ("%Y%m%dT%H%M%S", {}),
    ("%Y%m%d %H%M%S", {}),
    ("%Y%m%d%H%M%S", {}),
    ("%Y%m%d%H%M", {}),
    ("%Y-%m-%d %Hh%M", {}),
    ("%Y-%m-%d\u202f%H:%M:%S", {}),
    ("%Y-%m-%d, %H:%M:%S", {}),
]


@pytest.mark.parametrize(("spelling", "options"), SPELLINGS, ids=[s for s, _ in SPELLINGS])
def test_spellings(tmp_path: Path, spelling: str, options: dict[str, Any]) -> None:
    """Each is read to the minute it was written for, across noon."""
    moments = [FIRST + timedelta(hours=1, minutes=55) + timedelta(minutes=i) for i in range(COUNT)]
    log = read(tmp_path, [moment.strftime(spelling) for moment in moments], **options)
    assert times(log) == moments
    assert log.sources[0].rows_refused == 0


@pytest.mark.parametrize("offset", ["+01:00", "+0100", "+01", "-05:30", "+00:00"])
def test_offsets(tmp_path: Path, offset: str) -> None:
    """A written offset gives UTC whatever zone is asked for."""
    stamps = [f"{moment:%Y-%m-%dT%H:%M:%S}{offset}" for moment in expected()]
    whole = offset if ":" in offset else offset + ("" if len(offset) == 5 else "00")
    utc = [
        datetime.strptime(f"{m:%Y-%m-%dT%H:%M:%S}{whole}", "%Y-%m-%dT%H:%M:%S%z")
        .astimezone(UTC)
        .replace(tzinfo=None)
        for m in expected()
    ]
    for zone in (None, "Europe/London"):
        log = read(tmp_path, stamps, zone=zone)
        assert times(log) == utc
        assert log.zone_stated


@pytest.mark.parametrize(
    ("words", "month"),
    [
        ("4. März 2026", 3), ("4. Mrz 2026", 3), ("4. Dezember 2026", 12), ("4. Okt. 2026", 10),
        ("4 février 2026", 2), ("4 août 2026", 8), ("4 déc. 2026", 12), ("4 juil. 2026", 7),
        ("4 enero 2026", 1), ("4 de marzo de 2026", 3), ("4 ago 2026", 8), ("4 dic 2026", 12),
        ("4. mai 2026", 5), ("4. desember 2026", 12), ("4 okt 2026", 10), ("4 June 2026", 6),
        ("4 Sept 2026", 9), ("4-MAR-2026", 3), ("Mi 4. März 2026", 3), ("mar. 4 mars 2026", 3),
        ("mié 4 marzo 2026", 3), ("ons 4 mars 2026", 3), ("Mittwoch, 4. März 2026", 3),
    ],
)  # fmt: skip
def test_month_names(tmp_path: Path, words: str, month: int) -> None:
    """English, German, French, Spanish and Norwegian, with a weekday or without."""
    stamps = [f"{words} 10:{minute:02d}:00" for minute in range(COUNT)]
    assert times(read(tmp_path, stamps)) == [
        datetime(2026, month, 4, 10, minute)  # noqa: DTZ001 - wall time
        for minute in range(COUNT)
    ]


@pytest.mark.parametrize(
    ("text", "hour"),
    [
        ("12:00:00 AM", 0), ("12:59:59 AM", 0), ("1:00:00 AM", 1), ("11:00:00 am", 11),
        ("12:00:00 PM", 12), ("12:30:00 p.m.", 12), ("1:00:00 p. m.", 13), ("11:59:59 PM", 23),
        ("12:15:00 a.m.", 0),
    ],
)  # fmt: skip
def test_twelve_hours(text: str, hour: int) -> None:
    """Midnight is 12 AM, noon is 12 PM: ISO 8601 has no such clock, the trade has."""
    column = reading.tidy(pl.Series("t", [f"2026-03-04 {text}"]))
    parsed = reading.parse_text(column, "dmy")
    assert parsed.times[0] is not None
    assert parsed.times[0].hour == hour


def test_midnight_written_as_24(tmp_path: Path) -> None:
    """ISO 8601-1:2019 4.3.8.1 (from memory) lets 24:00 end a day: the next day's 00:00."""
    stamps = ["2026-03-04 23:58", "2026-03-04 23:59", "2026-03-04 24:00", "2026-03-05 00:01"]
    assert times(read(tmp_path, stamps)) == [
        datetime(2026, 3, 4, 23, 58) + timedelta(minutes=i)  # noqa: DTZ001 - wall time
        for i in range(4)
    ]
    log = read(tmp_path, ["31.12.2026 23:59:50", "31.12.2026 24:00:00", "01.01.2027 00:00:10"])
    assert times(log)[1] == datetime(2027, 1, 1)  # noqa: DTZ001 - wall time
    offset = ["2026-03-04T23:59:00Z", "2026-03-04T24:00:00Z", "2026-03-05T00:01:00Z"]
    assert times(read(tmp_path, offset))[1] == datetime(2026, 3, 5)  # noqa: DTZ001 - UTC


def test_mixed_spellings(tmp_path: Path) -> None:
    """A date without a time at midnight, seconds left out, a fraction now and then."""
    stamps = ["2026-03-03 23:59:50", "2026-03-04", "2026-03-04 00:00:10", "2026-03-04 00:01",
              "2026-03-04 00:01:10.500", "2026-03-04 00:01:20,5", "2026-03-04T00:01:30"]  # fmt: skip
    zero = datetime(2026, 3, 4)  # noqa: DTZ001 - wall time
    offsets = [-10, 0, 10, 60, 70.5, 80.5, 90]
    log = read(tmp_path, stamps)
    assert times(log) == [zero + timedelta(seconds=offset) for offset in offsets]


def test_a_spelling_that_only_the_middle_shows(tmp_path: Path) -> None:
    """Month names, comma fractions and weekdays far from head and tail are read all the same."""
    moments = expected(timedelta(seconds=10), 9000)
    stamps = [f"{moment:%Y-%m-%d %H:%M:%S}" for moment in moments]
    stamps[4000] = f"{moments[4000]:%d. März %Y %H:%M:%S}"
    stamps[4001] = f"{moments[4001]:%Y-%m-%d %H:%M:%S},0"
    stamps[4002] = f"{moments[4002]:%a %d %b %Y %I:%M:%S a.m.}".replace(
        "a.m.", "a.m." if moments[4002].hour < 12 else "p.m."
    )
    log = read(tmp_path, stamps)
    assert times(log) == moments


@pytest.mark.parametrize(
    "wrong",
    ["31.02.2026 10:02", "2026-13-01 10:02", "32.01.2026 10:02", "2026-03-04 25:00", "04.03.0026 10:02",
     "2026-03-04 10:61", "rubbish", "0", "2026-03-04 10:02 Mars"],
)  # fmt: skip
def test_times_that_cannot_be(tmp_path: Path, wrong: str) -> None:
    """Refused, counted, and the reading in the row is kept apart and doubted."""
    stamps = [f"{moment:%d.%m.%Y %H:%M}" for moment in expected()]
    if wrong.startswith("2026"):
        stamps = [f"{moment:%Y-%m-%d %H:%M}" for moment in expected()]
    stamps[2] = wrong
    log = read(tmp_path, stamps)
    assert log.rows == COUNT - 1
    (refusal,) = log.sources[0].refusals
    assert (refusal.cause, refusal.rows, refusal.first_lines) == ("time cannot be read", 1, (4,))
    assert log.unplaced is not None
    assert log.unplaced["co"].to_list() == [0.2]
    assert any("1 rows with readings have no time" in doubt for doubt in log.doubts)


def test_year_of_two_digits_among_four(tmp_path: Path) -> None:
    """26 is 2026 and never the year 26."""
    stamps = [f"{moment:%d.%m.%Y %H:%M:%S}" for moment in expected()]
    stamps[5] = f"{expected()[5]:%d.%m.%y %H:%M:%S}"
    stamps += ["25.03.2026 10:00:00"]
    try:
        log = read(tmp_path, stamps)
    except AmbiguityError as error:
        assert "dmy" in error.choices  # noqa: PT017 - either is right, a guess is not
    else:
        assert times(log)[5] == expected()[5]


# --- numbers -----------------------------------------------------------------------------------


def counts(unit_s: float, zero: datetime = datetime(1970, 1, 1), form: str = "{:.0f}") -> list[str]:  # noqa: DTZ001 - wall time
    """Write the moments as counts since a moment."""
    return [form.format((m - zero).total_seconds() / unit_s) for m in expected()]


@pytest.mark.parametrize("unit_s", [1, 1e-3, 1e-6])
def test_epoch(tmp_path: Path, unit_s: float) -> None:
    """Seconds, milliseconds and microseconds since 1970 (POSIX.1-2017, 4.16), which are UTC."""
    log = read(tmp_path, counts(unit_s), head="timestamp", zone="America/New_York")
    assert times(log) == expected()


@pytest.mark.parametrize(
    ("form", "comma"), [("{:.9f}", False), ("{:.6f}", False), ("{:.9f}", True)]
)
def test_spreadsheet_serial(tmp_path: Path, form: str, comma: bool) -> None:  # noqa: FBT001 - parameter
    """Days since 1899-12-30: 46085 is 2026-03-04 (computed: 2026-03-04 minus 1899-12-30)."""
    assert (datetime(2026, 3, 4) - datetime(1899, 12, 30)).days == 46085  # noqa: DTZ001 - dates
    stamps = counts(86400, datetime(1899, 12, 30), form)  # noqa: DTZ001 - wall time
    if comma:
        stamps = [stamp.replace(".", ",") for stamp in stamps]
    found = times(read(tmp_path, stamps, zone="Europe/London"))
    digits = 0.05 if form == "{:.6f}" else 0.001
    for got, want in zip(found, expected(), strict=True):
        assert abs((got - want).total_seconds()) <= digits


def test_spreadsheet_serial_of_whole_days(tmp_path: Path) -> None:
    """One reading a day, at midnight."""
    log = read(tmp_path, [str(46085 + i) for i in range(COUNT)])
    assert times(log)[3] == datetime(2026, 3, 7)  # noqa: DTZ001 - wall time


@pytest.mark.parametrize(
    ("head", "per_s"),
    [
        ("Elapsed time [s]", 1.0),
        ("Elapsed [min]", 60.0),
        ("Time (ms)", 0.001),
        ("Zeit (h)", 3600.0),
    ],
)
def test_elapsed(tmp_path: Path, head: str, per_s: float) -> None:
    """Counted from the start that the user gives, in the unit of the heading."""
    stamps = [f"{60 * i / per_s:.9f}" for i in range(COUNT)]
    log = read(tmp_path, stamps, head=head, start=FIRST)
    assert times(log) == expected()
    aware = read(
        tmp_path, stamps, head=head, start=FIRST.replace(tzinfo=UTC), zone="America/New_York"
    )
    assert times(aware) == expected()


def test_elapsed_without_a_start(tmp_path: Path) -> None:
    """Asked for, with the option that gives it."""
    with pytest.raises(LogError, match="--start"):
        read(tmp_path, [str(10 * i) for i in range(COUNT)], head="Elapsed time [s]")
    with pytest.raises(LogError, match="needs a start"):
        reading.parse_numeric(pl.Series("t", ["1"]), reading.ELAPSED, start=None, unit_s=1.0)


def test_numbers_out_of_all_years() -> None:
    """Null, not the year 33658."""
    column = pl.Series("t", ["1772618400", "1e30", "99999999999999999999", "-1e15", "x", "inf"])
    found = reading.parse_numeric(column, reading.EPOCH_S, start=None, unit_s=1.0)
    assert found.null_count() == 5
    assert found[0] == FIRST.replace(hour=10)


@pytest.mark.parametrize(
    ("cells", "heading", "kind"),
    [
        (["1772618400", "1772618410"], "t", reading.EPOCH_S),
        (["1772618400000"], "t", reading.EPOCH_MS),
        (["1772618400000000"], "t", reading.EPOCH_US),
        (["46085,5", "46086"], "t", reading.SERIAL),
        (["46085", "46086"], "Time [s]", reading.ELAPSED),
        (["0", "10", "20"], "t", reading.ELAPSED),
        (["20260304", "20260305"], "t", ""),
        (["20260304100000"], "t", ""),
        (["2026-03-04"], "t", ""),
        ([], "t", ""),
        (["", " "], "t", ""),
    ],
)
def test_kind_of_numbers(cells: list[str], heading: str, kind: str) -> None:
    """What a column of numbers in the time's place is."""
    assert reading.numeric_kind(cells, heading) == kind


# --- order of day and month --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("form", "choices"),
    [
        ("%d/%m/%Y", ("dmy", "mdy")),
        ("%d/%m/%y", ("dmy", "mdy", "ymd")),
        ("%d.%m.%y", ("dmy", "mdy", "ymd")),
    ],
)
def test_open_order_stops(tmp_path: Path, form: str, choices: tuple[str, ...]) -> None:
    """Nothing above 12 in the file: all ways are listed, with the option."""
    with pytest.raises(AmbiguityError, match="--date-order") as caught:
        read(tmp_path, [m.strftime(f"{form} %H:%M") for m in expected()])
    assert caught.value.choices == choices


@pytest.mark.parametrize(
    ("form", "start"),
    [("%d/%m/%Y", "25 03 2026"), ("%m/%d/%Y", "25 03 2026"), ("%d.%m.%Y", "04 03 2026")],
)
def test_settled_by_the_dates(tmp_path: Path, form: str, start: str) -> None:
    """A day above 12 settles it, and so do points."""
    first = datetime.strptime(start, "%d %m %Y")  # noqa: DTZ007 - wall time
    moments = [first + timedelta(hours=i) for i in range(COUNT)]
    assert times(read(tmp_path, [m.strftime(f"{form} %H:%M") for m in moments])) == moments


def test_settled_by_a_late_row(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The thirteenth comes only in a late block."""
    small_blocks(monkeypatch, 400)
    moments = [datetime(2026, 3, 1) + timedelta(hours=i) for i in range(24 * 14)]  # noqa: DTZ001
    for form in ("%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M"):
        assert times(read(tmp_path, [m.strftime(form) for m in moments])) == moments


def test_contradiction_in_a_late_block(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Day first at the beginning, month first at the end: no guess, wherever the blocks end."""
    stamps = [f"25/03/2026 10:{i:02d}" for i in range(60)] + [
        f"03/26/2026 10:{i:02d}" for i in range(60)
    ]
    for block in (1 << 20, 400):
        small_blocks(monkeypatch, block)
        with pytest.raises(AmbiguityError, match="some only the month first"):
            read(tmp_path, stamps)


def test_open_dates_after_settled_ones(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """ISO dates at first do not settle what 04/03/2026 means later."""
    stamps = [f"2026-03-03 10:{i:02d}" for i in range(60)] + [
        f"04/03/2026 10:{i:02d}" for i in range(60)
    ]
    small_blocks(monkeypatch, 400)
    with pytest.raises(AmbiguityError, match="do not say whether the day or the month"):
        read(tmp_path, stamps)


@pytest.mark.parametrize(
    ("form", "order"),
    [
        ("%d/%m/%Y", "mdy"),
        ("%m/%d/%Y", "dmy"),
        ("%d/%m/%Y", "ymd"),
        ("%d.%m.%Y", "ymd"),
        ("%m/%d/%y", "ymd"),
    ],
)
def test_order_against_the_evidence(tmp_path: Path, form: str, order: str) -> None:
    """What the user gave does not fit: said, with a date that shows it."""
    moments = [datetime(2026, 3, 25) + timedelta(hours=i) for i in range(COUNT)]  # noqa: DTZ001
    with pytest.raises(LogError, match=f"date order {order} was given"):
        read(tmp_path, [m.strftime(f"{form} %H:%M") for m in moments], date_order=order)


def test_order_chosen_among_contradicting_dates(tmp_path: Path) -> None:
    """The user's order is used; dates that do not fit are refused and their readings kept apart."""
    stamps = ["25/03/2026 10:00", "25/03/2026 10:01", "03/26/2026 10:00", "25/03/2026 10:02"]
    log = read(tmp_path, stamps, date_order="dmy")
    assert log.rows == 3
    assert log.unplaced is not None
    assert log.unplaced.height == 1


@settings(deadline=None, max_examples=60)
@given(
    order=st.sampled_from(["dmy", "mdy", "ymd"]),
    first=st.dates(date(2013, 1, 1), date(2030, 12, 31)),
    days=st.integers(1, 900),
)
def test_two_digit_years_are_settled_right_or_not_at_all(
    order: str, first: date, days: int
) -> None:
    """What the dates prove is the order they were written in."""
    form = "/".join({"d": "%d", "m": "%m", "y": "%y"}[letter] for letter in order)
    evidence = reading.OrderEvidence()
    evidence.add((first + timedelta(days=i)).strftime(form) for i in range(days))
    assert evidence.settled in {"", order}
    assert evidence.allows(order)
    assert not evidence.contradictory


def test_hint_of_days_that_follow_one_another(tmp_path: Path) -> None:
    """03/04, 04/04, 05/04 are three days in April, or months apart."""
    stamps = [f"{day:02d}/04/2026 {hour:02d}:00" for day in (3, 4, 5) for hour in range(24)]
    with pytest.raises(AmbiguityError, match="if the day stands first"):
        read(tmp_path, stamps)
    stamps = [f"04/{day:02d}/2026 {hour:02d}:00" for day in (3, 4, 5) for hour in range(24)]
    with pytest.raises(AmbiguityError, match="if the month stands first"):
        read(tmp_path, stamps)


# --- offsets and two columns -------------------------------------------------------------------


@pytest.mark.parametrize("block", [1 << 20, 350])
@pytest.mark.parametrize("offset_first", [True, False])
def test_times_with_and_without_an_offset(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    block: int,
    offset_first: bool,  # noqa: FBT001 - parameters
) -> None:
    """Those without one cannot be placed beside those with one: doubted, none lost."""
    small_blocks(monkeypatch, block)
    stamps = [f"{m:%Y-%m-%d %H:%M:%S}" for m in expected()]
    half = [s + ("+01:00" if (i < 20) == offset_first else "") for i, s in enumerate(stamps)]
    log = read(tmp_path, half, zone="Europe/London")
    assert any("some times carry an offset" in doubt for doubt in log.doubts)
    kept_apart = 0 if log.unplaced is None else log.unplaced.height
    assert log.rows + kept_apart == COUNT
    if offset_first or block > 1000:
        assert kept_apart == 20


def test_date_and_time_in_two_columns(tmp_path: Path) -> None:
    """Joined; a row without its date borrows none."""
    moments = expected()
    rows = [f"{m:%d.%m.%Y};{m:%H:%M:%S};0.{i % 7}" for i, m in enumerate(moments)]
    rows[3] = ";10:03:00;0.9"
    log = read_log(file_of(tmp_path, rows, head="Datum;Uhrzeit;CO [ppm]"))
    assert times(log) == [m for i, m in enumerate(moments) if i != 3]
    assert log.sources[0].refusals[0].cause == "no time in the row"
    assert log.unplaced is not None
    assert log.unplaced["co"].to_list() == [0.9]


def test_a_trailer_without_readings_raises_no_doubt(tmp_path: Path) -> None:
    """'End of log' is refused and counted; it hides no reading."""
    rows = rows_of([f"{m:%Y-%m-%d %H:%M:%S}" for m in expected()], lively(COUNT))
    log = read_log(file_of(tmp_path, [*rows, "End of log,,,"]))
    assert log.unplaced is None
    assert log.doubts == ()
    assert log.sources[0].rows_refused == 1
    assert log.sources[0].rows_used == COUNT
