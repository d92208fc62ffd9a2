"""Open logs that nobody of this project wrote: what they hold, through `read_log`.

Where the values come from: computed from the whole originals with the `csv` and `statistics`
modules alone; sources and licences in tests/data/README.md. Tolerances follow the printed digits.
"""

from __future__ import annotations

import csv
import math
import statistics
from datetime import UTC, datetime, timedelta
from pathlib import Path

import psychrolib
import pytest
from tests.logs.made import causes

from lungwort.errors import AmbiguityError, LogError
from lungwort.logs.model import Log
from lungwort.logs.read import read_log

DATA = Path(__file__).parents[1] / "data"
HOURLY = DATA / "air_quality_co_hourly.csv"
ROOM = DATA / "occupancy_co2.txt"
ROOM_ALL = DATA / "occupancy_first_200.txt"
TRAIN = DATA / "train_compressor.csv"
FIRE = DATA / "fire_gases_10s.csv"


def known(log: Log, name: str) -> list[float]:
    """Give the readings of a channel that are there."""
    return log.frame[name].drop_nulls().to_list()


def test_hourly_co_in_mass_with_decimal_commas() -> None:
    """From the source: 7674 valid, 1683 missing, 0.1 to 11.9, mean 2.152750; 114 blank rows."""
    log = read_log(HOURLY, units={"co": "mg/m3"}, missing=[-200], zone="Europe/Rome")
    values = known(log, "co")
    assert len(values) == 7674
    assert log.frame["co"].null_count() == 1683
    assert (min(values), max(values)) == (0.1, 11.9)
    assert statistics.fmean(values) == pytest.approx(2.152750, abs=5e-7)
    peak = log.frame.filter(log.frame["co"] == 11.9)["time"].to_list()
    # 19:00 in the local time of Italy, an hour ahead of UTC in November
    assert peak == [datetime(2004, 11, 23, 18, tzinfo=UTC)]
    assert causes(log)["blank line"] == 114
    assert log.sources[0].rows_read == 9357 + 114
    assert log.interval_s == 3600.0
    assert (log.channel("co").unit, log.channel("co").quantity) == ("mg/m3", "mass_concentration")
    # No jump at the clock changes: its clock stays at UTC+1, and the log must say what it did.
    assert any("does not occur in Europe/Rome" in note for note in log.notes)


def test_hourly_co_without_its_unit_stops() -> None:
    """The headings carry no units, and -200 is no reading."""
    with pytest.raises(AmbiguityError, match=r"'CO\(GT\)' \(carbon monoxide\) has no unit"):
        read_log(HOURLY)
    log = read_log(HOURLY, units={"co": "mg/m3"})
    flags = log.frame.filter(log.frame["co"] == -200)["co_flag"].unique().to_list()
    assert set(flags) <= {3, 4, 9}
    assert min(log.frame.filter(log.frame["co_flag"] == 1)["co"]) == 0.1


def test_hourly_co_against_the_csv_module() -> None:
    """Every reading and every time, read once more by plain Python."""
    log = read_log(HOURLY, units={"co": "mg/m3"}, missing=[-200], zone="Etc/GMT-1")
    wanted: dict[datetime, float | None] = {}
    with HOURLY.open(encoding="utf-8", newline="") as stream:
        for row in csv.reader(stream, delimiter=";"):
            if row and row[0] and row[0] != "Date":
                moment = datetime.strptime(f"{row[0]} {row[1]} +0100", "%d/%m/%Y %H.%M.%S %z")
                value = float(row[2].replace(",", "."))
                wanted[moment.astimezone(UTC)] = None if value == -200 else value
    assert dict(zip(log.frame["time"].to_list(), log.frame["co"].to_list(), strict=True)) == wanted


def test_room_co2() -> None:
    """From the source: 412.75 to 2028.5, mean 606.546243, 8143 rows."""
    log = read_log(ROOM, units={"co2": "ppm"}, zone="Europe/Brussels")
    values = known(log, "co2")
    assert (len(values), min(values), max(values)) == (8143, 412.75, 2028.5)
    assert statistics.fmean(values) == pytest.approx(606.546243, abs=5e-7)
    # 17:51 in Brussels is 16:51 UTC in February; steps of 59, 60 and 61 s
    assert log.start == datetime(2015, 2, 4, 16, 51, tzinfo=UTC)
    steps = log.frame["time"].diff().drop_nulls().dt.total_seconds().unique().sort().to_list()
    assert steps == [59, 60, 61]
    assert log.interval_s == 60.0


def test_room_humidity_ratio() -> None:
    """Humidity ratio in kg/kg at 101325 Pa: psychrolib gives it back within 4e-5 of itself."""
    units = {"co2": "ppm", "water": "kg/kg", "temperature": "°C", "relative_humidity": "%RH"}
    log = read_log(ROOM_ALL, units=units, columns=[("relative_humidity", "Humidity")])
    assert (log.channel("water").unit, log.channel("water").quantity) == ("g/kg", "humidity_ratio")
    psychrolib.SetUnitSystem(psychrolib.SI)
    for row in log.frame.select("temperature", "relative_humidity", "water").rows():
        celsius, percent, grams = row
        wanted = psychrolib.GetHumRatioFromRelHum(celsius, percent / 100, 101325)
        assert math.isclose(grams / 1000, wanted, rel_tol=4e-5)


def test_train_compressor() -> None:
    """Nothing is understood until the columns are named; then values and steps are as written."""
    with pytest.raises(
        LogError, match=r"no column was understood among 'Unnamed: 0', 'timestamp', 'TP2'"
    ):
        read_log(TRAIN)
    log = read_log(
        TRAIN,
        columns=[("pressure", "TP3"), ("pressure", "TP2"), ("temperature", "Oil_temperature")],
        units={"pressure": "bar(g)", "temperature": "°C"},
        zone="Europe/Lisbon",
    )
    rows = list(csv.DictReader(TRAIN.read_text(encoding="utf-8").splitlines()))
    by_heading = {channel.heading: channel.name for channel in log.channels}
    for heading, name in by_heading.items():
        assert log.frame[name].to_list() == [float(row[heading]) for row in rows]
    assert min(known(log, by_heading["TP2"])) < 0  # slightly negative gauge pressures stay
    assert log.start == datetime(2020, 2, 1, tzinfo=UTC)


def test_fire_gases() -> None:
    """Mole fractions against seconds from ignition; 999.0 and blank cells are no readings."""
    with pytest.raises(AmbiguityError) as caught:
        read_log(FIRE)
    text = str(caught.value)
    for telling in ("'O2-1'", "'CO-3'", "'CO2-4'", "an elapsed time without a unit", "--start"):
        assert telling in text
    start = datetime(2003, 6, 1, 12, tzinfo=UTC)
    log = read_log(
        FIRE,
        columns={"o2": "O2-1", "co": "CO-3", "co2": "CO2-4"},
        units={"time": "s", "o2": "mol/mol", "co": "mol/mol", "co2": "mol/mol"},
        missing=[999.0],
        start=start,
    )
    rows = list(csv.reader(FIRE.read_text(encoding="utf-8").splitlines()))
    heads = [text.strip() for text in rows[0]]
    for name, heading, factor in (
        ("o2", "O2-1", 100.0),
        ("co", "CO-3", 1e6),
        ("co2", "CO2-4", 1e6),
    ):
        cells = [row[heads.index(heading)].strip() for row in rows[1:]]
        wanted = [None if cell in {"", "999.0"} else float(cell) * factor for cell in cells]
        assert log.frame[name].to_list() == [
            None if value is None else pytest.approx(value, rel=1e-9, abs=1e-9) for value in wanted
        ]
    assert log.frame["time"].to_list() == [
        start + timedelta(seconds=float(row[0])) for row in rows[1:]
    ]
    assert log.start == start - timedelta(seconds=60)
    # The CO cell is dead: 0 throughout, while CO2 rises by 3 %.
    assert set(known(log, "co")) == {0.0}
    assert any(name == "co" and "dead" in why for name, why in log.channel_doubts)
