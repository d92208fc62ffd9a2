"""Days of readings: against numpy, over changes of the clock, and with what is left out."""

from __future__ import annotations

import csv
import math
import statistics
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from lungwort.errors import RangeError
from lungwort.insight.statistics import Day, days_of, missing_days, weeks_of
from lungwort.logs.model import ABOVE, BAD, BELOW, GOOD, SUSPECT, UNREADABLE, Channel
from lungwort.logs.read import read_log

CO = Channel("co", "co", "volume_fraction", "ppm", censored=True)
START = datetime(2026, 3, 27, 23, tzinfo=UTC)
OPEN = Path(__file__).parents[1] / "data" / "air_quality_co_hourly.csv"


def frame(
    values: list[float | None],
    *,
    start: datetime = START,
    step_s: float = 600,
    flags: list[int] | None = None,
    codes: list[int] | None = None,
) -> pl.DataFrame:
    """Frame."""
    return pl.DataFrame(
        {
            "time": [start + timedelta(seconds=step_s * k) for k in range(len(values))],
            "co": values,
            "co_flag": flags or [GOOD] * len(values),
            "co_censor": codes or [0] * len(values),
        },
        schema={
            "time": pl.Datetime("us", "UTC"),
            "co": pl.Float64,
            "co_flag": pl.UInt8,
            "co_censor": pl.Int8,
        },
    )


def test_an_open_series_by_hand() -> None:
    """All days of the open series, worked out with the csv and statistics modules and numpy."""
    by_day: dict[date, list[float]] = {}
    with OPEN.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file, delimiter=";"):
            if not row["Date"] or row["CO(GT)"].startswith("-200"):
                continue
            day = datetime.strptime(row["Date"], "%d/%m/%Y").date()  # noqa: DTZ007 - a local day
            by_day.setdefault(day, []).append(float(row["CO(GT)"].replace(",", ".")))
    log = read_log(
        OPEN,
        zone="Europe/Rome",
        units={"co": "mg/m3"},
        missing=[-200],
        settle=timedelta(0),
        resettle_gap=timedelta(days=300),
    )
    (channel,) = log.channels_of("co")[:1]
    days = days_of(log.frames(), [channel], zone="Europe/Rome", interval_s=3600.0)[channel.name]
    found = {one.day: one for one in days}
    compared = 0
    for day, values in by_day.items():
        one = found.get(day)
        if one is None or one.readings != len(values):
            continue
        compared += 1
        assert one.median == pytest.approx(statistics.median(values), rel=1e-9)
        assert (one.least, one.greatest) == pytest.approx((min(values), max(values)))
        assert one.high == pytest.approx(np.quantile(values, 0.95, method="higher"))
        assert one.low == pytest.approx(np.quantile(values, 0.05, method="lower"))
        # A day on which the clocks change has an hour more or less.
        assert one.coverage == pytest.approx(len(values) / 24.0, abs=1 / 24 + 1e-9)
    assert compared > 0.8 * len(by_day)


def test_days_are_those_of_the_site() -> None:
    """Europe/Berlin put its clocks forward on 2026-03-29 (tz database): that day has 23 hours."""
    (friday, saturday, sunday, monday) = days_of(
        [frame([1.0] * (6 * 80))], [CO], zone="Europe/Berlin", interval_s=600
    )["co"][:4]
    assert [one.day.day for one in (friday, saturday, sunday, monday)] == [28, 29, 30, 31]
    assert [one.readings for one in (friday, saturday, sunday)] == [144, 138, 144]


def test_a_day_may_be_cut_between_frames() -> None:
    """A day may be cut between frames."""
    values = [math.sin(k) for k in range(500)]
    whole = frame(list(values))
    parts = [whole[:100], whole[100:101], whole[101:101], whole[101:390], whole[390:]]
    zone = "Asia/Kolkata"
    assert days_of(parts, [CO], zone=zone, interval_s=600) == days_of(
        [whole], [CO], zone=zone, interval_s=600
    )


def test_only_usable_readings_count() -> None:
    """Only usable readings count."""
    values: list[float | None] = [1.0, 2.0, 99.0, 3.0, None, 50.0, 4.0, math.nan]
    flags = [GOOD, SUSPECT, BAD, GOOD, GOOD, GOOD, GOOD, GOOD]
    codes = [BELOW, 0, 0, ABOVE, 0, UNREADABLE, 0, 0]
    (day,) = days_of(
        [frame(values, flags=flags, codes=codes)], [CO], zone="Europe/Berlin", interval_s=600
    )["co"]
    assert (day.readings, day.least, day.greatest) == (4, 1.0, 4.0)
    assert (day.under, day.over) == (1, 1)
    assert day.coverage == pytest.approx(4 * 600 / 86400)


def test_a_channel_that_some_frames_lack() -> None:
    """A channel that some frames lack."""
    without = frame([1.0] * 10).drop("co", "co_flag", "co_censor")
    later = frame([2.0] * 10, start=START + timedelta(days=2))
    found = days_of([without, later], [CO], zone="UTC", interval_s=600)["co"]
    assert [(one.day.day, one.median, one.readings) for one in found] == [
        (29, 2.0, 6),
        (30, 2.0, 4),
    ]


def test_thin_days_are_known() -> None:
    """Thin days are known."""
    day = Day(date(2026, 1, 1), 1, 1, 1, 1, 1, readings=19, coverage=0.9)
    assert not day.enough()
    assert not Day(date(2026, 1, 1), 1, 1, 1, 1, 1, readings=50, coverage=0.1).enough()
    assert Day(date(2026, 1, 1), 1, 1, 1, 1, 1, readings=50, coverage=0.1).enough(0.05)


def test_weeks_begin_on_monday() -> None:
    """Weeks begin on monday."""
    first = date(2026, 1, 1)  # a Thursday
    days = [
        Day(first + timedelta(days=k), k, k, k, k, k + 0.5, readings=100, coverage=1.0)
        for k in range(11)
    ]
    one, two = weeks_of(days)
    assert (one.day, two.day) == (date(2025, 12, 29), date(2026, 1, 5))
    assert (one.days, two.days) == (4, 7)
    assert (one.median, one.least, one.greatest) == (1.5, 0, 3.5)
    assert one.readings == 400
    assert one.coverage == pytest.approx(4 / 7)
    assert weeks_of([]) == ()


def test_missing_days() -> None:
    """Missing days."""
    day = Day(date(2026, 1, 1), 1, 1, 1, 1, 1, readings=100, coverage=1.0)
    later = Day(date(2026, 1, 5), 1, 1, 1, 1, 1, readings=100, coverage=1.0)
    assert missing_days([day, later]) == 3
    assert missing_days([]) == 0


def test_coverage_does_not_depend_on_the_interval() -> None:
    """Six hours read every 10 s and every 60 s are a quarter of a day, whatever was read before."""
    for step in (10, 60):
        one = frame([1.0] * (6 * 3600 // step), step_s=step)
        (day,) = days_of([one], [CO], zone="Etc/GMT-1", interval_s=60)["co"]
        assert day.coverage == pytest.approx(0.25)


@pytest.mark.parametrize("interval", [0.0, -1.0, math.inf, math.nan])
def test_refuses_an_interval(interval: float) -> None:
    """Refuses an interval."""
    with pytest.raises(RangeError, match="sampling interval"):
        days_of([frame([1.0])], [CO], zone=str(ZoneInfo("UTC")), interval_s=interval)
