"""Who was where and when."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from lungwort.errors import ExposureError
from lungwort.wearers.stays import moment, read_csv, read_stays

ZONE = "Europe/Berlin"
ONE = "A. Example,hall 1,2026-03-04 08:00,2026-03-04 10:30,heavy"


def test_one_stay() -> None:
    """Wall times are those of the site: in March Berlin is an hour ahead of UTC."""
    (stay,) = read_stays([ONE], ZONE)
    assert (stay.name, stay.outlet, stay.work) == ("A. Example", "hall 1", "heavy")
    assert stay.start == datetime(2026, 3, 4, 7, 0, tzinfo=UTC)
    assert stay.end == datetime(2026, 3, 4, 9, 30, tzinfo=UTC)


def test_body_and_beginning() -> None:
    """Height, weight, sex and the carboxyhaemoglobin before may follow."""
    (stay,) = read_stays([f"{ONE},1.80,82,male,3.5"], ZONE)
    assert stay.wearer.height_m == 1.8
    assert stay.wearer.start_percent == 3.5


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_table(mark: str) -> None:
    """A table reads the same whatever separates its cells, and in any order of columns."""
    rows = [
        ["work", "name", "outlet", "start", "end"],
        ["very heavy", "A", "hall 1", "2026-03-04T08:00+01:00", "2026-03-04 10:30"],
        ["", "", "", "", ""],
        ["rest", "A", "hall 2", "2026-03-04 10:30", "2026-03-04 11:00"],
    ]
    stays = read_csv("\ufeff" + "\r\n".join(mark.join(row) for row in rows), ZONE)
    assert [one.work for one in stays] == ["very_heavy", "rest"]
    assert stays[0].end == stays[1].start


def test_clocks_put_back_and_forward() -> None:
    """2026-10-25 02:30 came twice in Berlin and 2026-03-29 02:30 never: refused (IANA tz database)."""
    with pytest.raises(ExposureError, match="came twice"):
        moment("2026-10-25 02:30", ZONE, "stay 1")
    with pytest.raises(ExposureError, match="did not exist"):
        moment("2026-03-29 02:30", ZONE, "stay 1")
    assert moment("2026-10-25 02:30+01:00", ZONE, "stay 1").hour == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("A,hall 1,2026-03-04 08:00,heavy", "has 4 parts"),
        ("", "parts"),
        (",hall 1,2026-03-04 08:00,2026-03-04 09:00,heavy", "name is empty"),
        ("A,hall 1,8 o'clock,2026-03-04 09:00,heavy", "is no moment"),
        ("A,hall 1,2026-03-04,2026-03-04 09:00,heavy", "no time of day"),
        ("A,hall 1,2026-03-04 09:00,2026-03-04 09:00,heavy", "not after its begin"),
        ("A,hall 1,2026-03-04 09:00,2026-03-04 08:00,heavy", "not after its begin"),
        ("A,hall 1,2026-03-04 08:00,2026-03-04 09:00,hard", "allowed are rest"),
        (f"{ONE},180,82,male", "height"),
        (f"{ONE},1.80,82,male,nan", "at the beginning"),
        (f"{ONE},1.80", "only together"),
        (f"{ONE},tall,82,male", "a number with a point"),
        (f"{'x' * 200},hall 1,2026-03-04 08:00,2026-03-04 09:00,rest", "longer than"),
    ],
)
def test_refuses(text: str, said: str) -> None:
    """What cannot be read is refused, with its place."""
    with pytest.raises(ExposureError, match=said) as caught:
        read_stays([text], ZONE)
    assert "stay 1" in str(caught.value)


def test_refuses_two_places_at_once() -> None:
    """Nobody breathes from two outlets at one time, nor has two bodies."""
    other = "A. Example,hall 2,2026-03-04 10:00,2026-03-04 11:00,rest"
    with pytest.raises(ExposureError, match="already"):
        read_stays([ONE, other], ZONE)
    later = "A. Example,hall 2,2026-03-04 11:00,2026-03-04 12:00,rest,1.8,80,male"
    with pytest.raises(ExposureError, match="other figures of the body"):
        read_stays([ONE, later], ZONE)
    assert len(read_stays([ONE, other.replace("A. Example", "B. Example")], ZONE)) == 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "line 1: the headings are none"),
        ("name,outlet\nA,b", "line 1"),
        ("name,outlet,start,end,work,age\n", "line 1"),
        ("name,outlet,start,end,work\n", "holds no stay"),
        ("name,outlet,start,end,work\nA,b\n", "line 2: has 2 cells"),
        ("name,outlet,start,end,work\nA,b,x,y,rest\n", "line 2, start"),
        ('name,outlet,start,end,work\n"A,b', "is no CSV"),
        ("name,outlet,start,end,work\n" + "x" * 1_000_001, "at most"),
    ],
)
def test_refuses_tables(text: str, said: str) -> None:
    """A table that cannot be read is refused, with its line."""
    with pytest.raises(ExposureError, match=said):
        read_csv(text, ZONE)


def test_refuses_a_time_of_no_zone() -> None:
    """Where the zone of the site is not known, each time must state its offset."""
    with pytest.raises(ExposureError, match="Give --zone"):
        read_stays([ONE], None)
    (stay,) = read_stays(
        ["A. Example,hall 1,2026-03-04T08:00+01:00,2026-03-04T10:30+01:00,heavy"], None
    )
    assert stay.start == datetime(2026, 3, 4, 7, 0, tzinfo=UTC)


def test_refuses_too_many() -> None:
    """A list longer than can be worked out in one go is refused, however it comes."""
    row = "A{0},hall 1,2026-03-04 08:00,2026-03-04 09:00,rest"
    rows = [row.format(number) for number in range(301)]
    with pytest.raises(ExposureError, match="more than 300 stays"):
        read_stays(rows, ZONE)
    with pytest.raises(ExposureError, match="more than 300 stays"):
        read_csv("name,outlet,start,end,work\n" + "\n".join(rows), ZONE)


def test_refuses_no_stay_and_no_zone() -> None:
    """Nothing is no stay, and a zone must be known."""
    with pytest.raises(ExposureError, match="no stay"):
        read_stays([], ZONE)
    with pytest.raises(ExposureError, match="time zone 'Mars/Base'"):
        read_stays([ONE], "Mars/Base")
