"""Quality flags: what is doubtful, what is never used, and that nothing outside is lost."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from tests.logs.invent import START, causes, file_of, flags, lively, rows_of, stamps, values

from lungwort.limits.load import limit_set
from lungwort.logs.model import (
    BAD,
    GOOD,
    MISSING,
    NOT_EVALUATED,
    PLAIN,
    SUSPECT,
    UNREADABLE,
    Channel,
)
from lungwort.logs.plausible import at_rest, possible_range, stand_alone
from lungwort.logs.read import read_log
from lungwort.logs.stillness import RunTally
from lungwort.logs.stretches import STRETCHES_AT_MOST
from lungwort.verdict.judge import judge

if TYPE_CHECKING:
    from pathlib import Path

    from lungwort.logs.model import Log

NO_SETTLING = {"settle": timedelta(0)}
Cells = list[list[str]]


def read(
    folder: Path,
    cells: Cells,
    *,
    step_s: float = 10.0,
    head: str = "Time,CO [ppm],CO2 [ppm],O2 [%]",
    **options: Any,
) -> Log:
    """Read readings at a steady step, without settling where nothing else is said."""
    rows = rows_of(stamps(len(cells), step_s), cells)
    return read_log(file_of(folder, rows, head=head), **{**NO_SETTLING, **options})


def with_column(cells: Cells, place: int, put: dict[int, str]) -> Cells:
    """Change some cells of a column."""
    for row, text in put.items():
        cells[row][place] = text
    return cells


def overall(log: Log) -> dict[str, str]:
    """Judge a log on its gases alone: analyte to verdict."""
    verdict = judge(log, limit_set("osha-1910-134-grade-d-airline"))
    return {finding.limit.analyte: finding.verdict for finding in verdict.findings}


# --- range and codes ---------------------------------------------------------------------------


def test_fresh_air_is_good_throughout(tmp_path: Path) -> None:
    """Noise alone raises no flag, no stretch and no doubt."""
    log = read(tmp_path, lively(3000))
    assert log.stretches == ()
    assert log.channel_doubts == ()
    assert all(set(flags(log, name)) == {GOOD} for name in ("co", "co2", "o2"))


@pytest.mark.parametrize("code", ["-200", "-999", "-9999", "-32768", "-99.9"])
def test_codes_that_no_sensor_shows_are_missing(tmp_path: Path, code: str) -> None:
    """Far below zero: a code for no reading, whatever the channel."""
    log = read(tmp_path, with_column(lively(200), 0, {50: code, 51: code}))
    assert flags(log, "co")[49:53] == [GOOD, MISSING, MISSING, GOOD]
    assert values(log, "co")[50] is None
    assert ("co", "code") in causes(log)


@pytest.mark.parametrize("code", ["999", "999.9", "9999", "65535", "32767"])
def test_codes_that_could_be_readings_decide_nothing(tmp_path: Path, code: str) -> None:
    """9999 ppm of CO in quiet air may be a code or a cell over its range: not proven."""
    log = read(tmp_path, with_column(lively(2000), 0, {500: code, 501: code}))
    assert flags(log, "co")[499:502] == [GOOD, SUSPECT, SUSPECT]
    assert log.frame["co_censor"].to_list()[500] == UNREADABLE
    assert overall(log)["co"] == "undecided"
    settled = read(tmp_path, with_column(lively(2000), 0, {500: code, 501: code}), missing=[code])
    assert flags(settled, "co")[500] == MISSING


@pytest.mark.parametrize("length", [1, 60, 400])
def test_a_long_run_of_a_code_is_no_reading(tmp_path: Path, length: int) -> None:
    """-99.9 °C for an hour is not a very dry hour."""
    dew = [f"{-52 + 0.1 * (i % 9):.1f}" for i in range(2000)]
    dew[300 : 300 + length] = ["-99.9"] * length
    cells = [[*row[:1], text] for row, text in zip(lively(2000), dew, strict=True)]
    log = read(tmp_path, cells, head="Time,CO [ppm],atmospheric dew point [°C]")
    assert log.frame["water_censor"].to_list()[300 : 300 + length] == [UNREADABLE] * length
    assert log.frame["water_censor"].to_list()[299] == PLAIN


def test_a_rise_through_a_code_is_a_rise(tmp_path: Path) -> None:
    """700, 850, 999, 1150 ppm are readings, all of them outside."""
    rise = {500 + i: str(v) for i, v in enumerate([300, 700, 850, 999, 999, 1150, 999, 600, 200])}
    log = read(tmp_path, with_column(lively(2000), 0, rise))
    assert set(flags(log, "co")[500:509]) <= {GOOD, SUSPECT}
    assert not log.channel("co").censored
    assert overall(log)["co"] == "does_not_conform"


def test_a_channel_that_lives_about_a_code(tmp_path: Path) -> None:
    """Carbon dioxide about 1000 ppm shows 999 as any other number."""
    co2 = [str(990 + (i * 7) % 20) for i in range(2000)]
    co2[700:720] = ["450"] * 10 + ["999"] + ["450"] * 9
    cells = [[row[0], text, row[2]] for row, text in zip(lively(2000), co2, strict=True)]
    log = read(tmp_path, cells)
    assert not log.channel("co2").censored


@pytest.mark.parametrize(
    ("place", "name", "text"),
    [
        (0, "co", "1200000"),
        (2, "o2", "130"),
        (2, "o2", "9999"),
        (2, "o2", "-40"),
        (1, "co2", "3000000"),
    ],
)
def test_beyond_what_a_sensor_shows_decides_nothing(
    tmp_path: Path, place: int, name: str, text: str
) -> None:
    """Over its range or broken: the verdict on that gas cannot be clean."""
    log = read(tmp_path, with_column(lively(2000), place, {700: text}))
    assert flags(log, name)[700] == SUSPECT
    assert log.frame[f"{name}_censor"].to_list()[700] == UNREADABLE
    assert overall(log)[name] == "undecided"


def test_below_zero_by_more_than_a_zero_error(tmp_path: Path) -> None:
    """CO at -4 ppm is a cell that reads too low: bad, and too much of it proves nothing."""
    log = read(tmp_path, with_column(lively(2000), 0, dict.fromkeys(range(500, 900), "-4.0")))
    assert set(flags(log, "co")[500:900]) == {BAD}
    assert ("co", "range") in causes(log)
    assert overall(log)["co"] == "undecided"


def test_no_oxygen_is_a_reading(tmp_path: Path) -> None:
    """0.0 % and a little below are used: outside, whether dead cell or true."""
    for text in ("0.0", "-0.3"):
        log = read(tmp_path, with_column(lively(2000), 2, dict.fromkeys(range(700, 720), text)))
        assert set(flags(log, "o2")[700:720]) <= {GOOD, SUSPECT}
        assert overall(log)["o2"] == "does_not_conform"


@pytest.mark.parametrize(
    ("analyte", "quantity", "unit", "inside", "outside"),
    [
        ("co", "volume_fraction", "ppm", (-1.0, 1e6), (-1.1, 1.1e6)),
        ("o2", "volume_fraction", "%", (-2.0, 102.0), (-2.1, 102.1)),
        ("water", "atmospheric_dew_point", "°C", (-110.0, 100.0), (-111.0, 101.0)),
        ("water", "humidity_ratio", "g/kg", (0.0, 622.0), (-0.1, 623.0)),
        ("water", "volume_fraction", "ppm", (-5.0, 1e6), (-6.0, 1.1e6)),
        ("co", "mass_concentration", "mg/m3", (-1.0, 5e6), (-1.1, 5.1e6)),
        ("pressure", "pressure", "bar(g)", (-1.1, 1000.0), (-1.2, 1001.0)),
    ],
)
def test_possible_ranges(
    analyte: str, quantity: str, unit: str, inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    """The ends belong to the range."""
    low, high = possible_range(Channel("x", analyte, quantity, unit))
    assert all(low <= value <= high for value in inside)
    assert not any(low <= value <= high for value in outside)


# --- steps -------------------------------------------------------------------------------------


def test_spike_and_jump_are_suspect_and_used(tmp_path: Path) -> None:
    """One reading of 40 ppm counts as outside although it is suspect."""
    log = read(tmp_path, with_column(lively(2000), 0, {700: "40.0"}))
    assert flags(log, "co")[699:702] == [GOOD, SUSPECT, GOOD]
    assert ("co", "spike") in causes(log)
    assert overall(log)["co"] == "does_not_conform"
    jump = read(tmp_path, with_column(lively(2000), 0, dict.fromkeys(range(700, 705), "40.0")))
    assert ("co", "rate") in causes(jump)
    assert flags(jump, "co")[700] == SUSPECT
    assert flags(jump, "co")[702] == GOOD


# --- stillness ---------------------------------------------------------------------------------


def frozen_cells(count: int, first: int, last: int) -> Cells:
    """Give lively readings that stand still from first to last."""
    cells = lively(count)
    for i in range(first + 1, last):
        cells[i] = list(cells[first])
    return cells


@pytest.mark.parametrize(("first", "last"), [(1000, 1200), (0, 400), (2600, 3000)])
def test_frozen_logger(tmp_path: Path, first: int, last: int) -> None:
    """In the middle, from the beginning, to the end: all but the first reading are bad."""
    log = read(tmp_path, frozen_cells(3000, first, last))
    (stretch,) = [s for s in log.stretches if s.cause == "frozen"]
    assert stretch.readings == last - first
    assert stretch.start == log.frame["time"][first]
    for name in ("co", "co2", "o2"):
        assert flags(log, name)[first] in {GOOD, SUSPECT}
        assert set(flags(log, name)[first + 1 : last]) <= {BAD, SUSPECT}
    assert flags(log, "co2")[first + 1 : last] == [BAD] * (last - first - 1)


def test_frozen_at_a_reading_outside_is_not_lost(tmp_path: Path) -> None:
    """The logger froze on 25 ppm: measured once, so it does not conform."""
    cells = lively(5000)
    for i in range(1000, 1300):
        cells[i] = ["25.0", "520", "20.8"]
    cells[2000][0] = "4.0"
    cells[2001][0] = "30.0"  # not the highest of the log
    log = read(tmp_path, cells[:2000] + cells[2002:])
    assert ("", "frozen") in causes(log)
    assert overall(log)["co"] == "does_not_conform"


def test_frozen_while_settling_still_counts_its_first_judged_reading(tmp_path: Path) -> None:
    """Frozen on 25 ppm from the first row: after settling one reading stands."""
    cells = lively(9000)
    for i in range(400):
        cells[i] = ["25.0", "520", "20.8"]
    log = read(tmp_path, cells, settle=timedelta(minutes=30))
    assert flags(log, "co")[180] in {GOOD, SUSPECT}
    assert overall(log)["co"] == "does_not_conform"


def test_saturated_together_is_not_frozen_away(tmp_path: Path) -> None:
    """All sensors at their ends in an exhaust plume: suspect, used, outside for its whole length."""
    cells = lively(9000)
    for i in range(1000, 1240):
        cells[i] = ["500.0", "5000", "20.5"]
    log = read(tmp_path, cells)
    assert set(flags(log, "co")[1001:1240]) == {SUSPECT}
    verdict = judge(log, limit_set("osha-1910-134-grade-d-airline"))
    longest = max(e.duration_s for e in verdict.excursions if e.analyte == "co")
    assert longest >= 2390.0


def test_a_channel_at_its_end_stays_in_use(tmp_path: Path) -> None:
    """500.0 ppm for two hours while the others vary: a cell at its end, outside all the time."""
    log = read(tmp_path, with_column(lively(9000), 0, dict.fromkeys(range(1000, 1720), "500.0")))
    assert ("co", "stuck") in causes(log)
    assert set(flags(log, "co")[1001:1720]) == {SUSPECT}
    verdict = judge(log, limit_set("osha-1910-134-grade-d-airline"))
    (excursion,) = [e for e in verdict.excursions if e.analyte == "co"]
    assert excursion.samples == 720


def test_a_channel_that_is_stuck_inside_proves_nothing(tmp_path: Path) -> None:
    """3.4 ppm for most of the day while the others vary."""
    log = read(tmp_path, with_column(lively(9000), 0, dict.fromkeys(range(1000, 8000), "3.4")))
    assert ("co", "stuck") in causes(log)
    assert overall(log)["co"] == "undecided"


def test_a_channel_at_rest(tmp_path: Path) -> None:
    """CO at 0.0 for two hours and lively else: told, used."""
    log = read(tmp_path, with_column(lively(9000), 0, dict.fromkeys(range(1000, 1720), "0.0")))
    assert ("co", "still") in causes(log)
    assert overall(log)["co"] == "conforms"


def test_honest_steadiness_is_left_alone(tmp_path: Path) -> None:
    """CO 0.0, O2 20.9, CO2 in steps of 10 ppm that change every few minutes."""
    rng = np.random.default_rng(7)
    co2 = np.repeat(420 + 10 * rng.integers(0, 4, 500), rng.integers(6, 40, 500))[:9000]
    cells = [["0.0", str(v), "20.9"] for v in co2.tolist()]
    log = read(tmp_path, cells)
    assert causes(log) == set()
    assert set(flags(log, "co2")) == {GOOD}


def test_one_channel_alone_is_never_called_frozen(tmp_path: Path) -> None:
    """A log of CO only has nothing to compare with."""
    cells = [[row[0]] for row in frozen_cells(3000, 1000, 1300)]
    log = read(tmp_path, cells, head="Time,CO [ppm]")
    assert ("", "frozen") not in causes(log)


def test_frozen_although_one_column_is_empty(tmp_path: Path) -> None:
    """A channel without readings does not hide that the others stand still."""
    cells = [[*row, ""] for row in frozen_cells(3000, 1000, 1300)]
    log = read(tmp_path, cells, head="Time,CO [ppm],CO2 [ppm],O2 [%],NO2 [ppm]")
    assert ("", "frozen") in causes(log)


def test_missing_readings_are_not_frozen(tmp_path: Path) -> None:
    """An hour without any reading is missing and nothing else."""
    cells = lively(3000)
    for i in range(1000, 1400):
        cells[i] = ["", "---", "NaN"]
    log = read(tmp_path, cells)
    assert ("", "frozen") not in causes(log)
    assert flags(log, "o2")[1000:1400] == [MISSING] * 400


def test_the_whole_log_stands_still(tmp_path: Path) -> None:
    """No channel moves in hours: doubted as a whole."""
    log = read(tmp_path, [["0.4", "431", "20.9"]] * 800)
    assert {name for name, _ in log.channel_doubts} == {"co", "co2", "o2"}
    short = read(tmp_path, [["0.4", "431", "20.9"]] * 60)
    assert short.channel_doubts == ()
    quiet = read(tmp_path, [["0.0", "20.9"]] * 800, head="Time,CO [ppm],O2 [%]")
    assert quiet.channel_doubts == ()
    alone = read(tmp_path, [["431"]] * 800, head="Time,CO2 [ppm]")
    assert [name for name, _ in alone.channel_doubts] == ["co2"]


def test_still_runs_are_the_same_however_they_are_fed() -> None:
    """Brute force over random runs, whole and in pieces."""
    rng = np.random.default_rng(3)
    value = np.repeat(np.arange(400), rng.integers(1, 9, 400))
    value = np.concatenate((value[:600], np.full(300, -1), value[600:], np.full(200, -2)))
    still = np.concatenate(([False], value[1:] == value[:-1]))
    micro = np.arange(len(value), dtype=np.int64) * 10_000_000

    def runs(cuts: list[int]) -> list[tuple[int, int]]:
        tally = RunTally(900.0, 10, 20.0)
        for a, b in zip([0, *cuts], [*cuts, len(value)], strict=True):
            tally.feed(still[a:b], micro[a:b])
        return [(run.first, run.last) for run in tally.finish()]

    assert runs([]) == [(600, 899), (len(value) - 200, len(value) - 1)]
    for cuts in ([1], [600], [700, 701, 899, 900], list(range(50, len(value), 50))):
        assert runs(cuts) == runs([])


# --- doubts about whole channels ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "scale", "name", "word"),
    [
        (1, 1e-4, "co2", "below 100 ppm"),
        (1, 0.0, "co2", "dead cell"),
        (2, 0.01, "o2", "fraction of 1"),
        (0, 1e-4, "co", "per cent"),
        (0, 1e-6, "co", "fraction of 1"),
    ],
)
def test_wrong_units_and_dead_cells(
    tmp_path: Path, place: int, scale: float, name: str, word: str
) -> None:
    """Per cent under a ppm heading, fractions under per cent, a dead cell: never clean."""
    cells = lively(2000)
    for row in cells:
        row[place] = f"{float(row[place]) * scale:.8f}"
    log = read(tmp_path, cells)
    reasons = dict(log.channel_doubts)
    assert word in reasons[name]
    assert overall(log)[name] != "conforms"


def test_level_that_is_known_to_be_right(tmp_path: Path) -> None:
    """--trust takes the doubt away."""
    cells = [[row[0], "0.5", row[2]] for row in lively(2000)]
    assert dict(read(tmp_path, cells).channel_doubts).keys() >= {"co2"}
    log = read(tmp_path, cells, trust=["co2"])
    assert "co2" not in dict(log.channel_doubts)
    assert set(flags(log, "co2")) == {GOOD}


def test_oxygen_in_a_ppm_column(tmp_path: Path) -> None:
    """20.9 under 'O2 [ppm]' is 0.00209 %: outside, and the unit is doubted."""
    log = read(tmp_path, lively(2000), head="Time,CO [ppm],CO2 [ppm],O2 [ppm]")
    assert "another unit" in dict(log.channel_doubts)["o2"]
    assert overall(log)["o2"] == "does_not_conform"


def test_dead_co_cell_beside_swinging_carbon_dioxide(tmp_path: Path) -> None:
    """CO shows 0.0 while CO2 swings by 2000 ppm."""
    cells = [["0.0", str(int(430 + 1000 * (1 + np.sin(i / 40)))), "20.9"] for i in range(2000)]
    log = read(tmp_path, cells)
    assert "may be dead" in dict(log.channel_doubts)["co"]
    assert "co" not in dict(read(tmp_path, cells, trust=["co"]).channel_doubts)


# --- settling, gaps, intervals -----------------------------------------------------------------


def test_settling_after_start_and_gap(tmp_path: Path) -> None:
    """30 min after the first reading and after a gap of more than 10 min."""
    times = stamps(400) + stamps(400, start=START + timedelta(hours=3))
    log = read_log(file_of(tmp_path, rows_of(times, lively(800))))
    assert flags(log, "co")[:180] == [NOT_EVALUATED] * 180
    assert flags(log, "co")[180] == GOOD
    assert flags(log, "co")[400:580] == [NOT_EVALUATED] * 180
    assert [s.readings for s in log.stretches if s.cause == "settling"] == [180, 180]
    (gap,) = [s for s in log.stretches if s.cause == "gap"]
    assert "114 min" in gap.text


def test_a_gap_inside_settling_begins_it_anew(tmp_path: Path) -> None:
    """Stretches do not run over one another."""
    times = stamps(30) + stamps(400, start=START + timedelta(minutes=20))
    log = read_log(file_of(tmp_path, rows_of(times, lively(430))))
    assert [s.readings for s in log.stretches if s.cause == "settling"] == [30, 180]
    assert flags(log, "co")[209:211] == [NOT_EVALUATED, GOOD]


def test_readings_outside_while_settling_keep_their_numbers(tmp_path: Path) -> None:
    """They are not judged, and the verdict can tell them."""
    log = read(tmp_path, with_column(lively(2000), 0, {20: "90.0"}), settle=timedelta(minutes=30))
    assert values(log, "co")[20] == 90.0
    assert flags(log, "co")[20] == NOT_EVALUATED


@pytest.mark.parametrize(
    ("steps", "interval"),
    [
        ([10.0] * 300, 10.0),
        ([3600.0] * 60, 3600.0),
        ([60.0] * 100 + [10.0] * 300, 10.0),
        ([10.0] * 100 + [60.0] * 300, 60.0),
    ],
)
def test_sampling_interval_is_that_of_most_steps(
    tmp_path: Path, steps: list[float], interval: float
) -> None:
    """Median of all steps, wherever they lie."""
    at = np.concatenate(([0.0], np.cumsum(steps)))
    times = [f"{START + timedelta(seconds=s):%Y-%m-%d %H:%M:%S}" for s in at.tolist()]
    log = read_log(file_of(tmp_path, rows_of(times, lively(len(times)))))
    assert log.interval_s == interval
    assert ("", "gap") not in causes(log)


def test_many_stretches_are_counted_together(tmp_path: Path) -> None:
    """Beyond the list the readings are counted."""
    put = {4 * i: "" for i in range(1, 400)}
    log = read(tmp_path, with_column(lively(2000), 0, put))
    listed = [s for s in log.stretches if s.cause == "missing"]
    assert len(listed) == STRETCHES_AT_MOST
    assert any(
        f"co: {399 - STRETCHES_AT_MOST} more readings in stretches of the kind 'missing'" in note
        for note in log.notes
    )


# --- parts by themselves -----------------------------------------------------------------------


def test_standing_alone() -> None:
    """Neighbours beyond the run, not within it, and codes are no neighbours."""
    nan = float("nan")
    value = np.array([1.0, 999.0, nan, 999.0, 9999.0, 2.0, 600.0, 999.0, 700.0, 999.0])
    found = stand_alone(value, 999.0, 499.5, nan, 5.0)
    assert found.tolist() == [False, True, False, True, False, False, False, False, False, False]
    assert stand_alone(np.array([999.0]), 999.0, 499.5, nan, nan).tolist() == [True]
    assert stand_alone(np.array([-99.9]), -99.9, -49.95, -60.0, -50.0).tolist() == [False]
    assert stand_alone(np.array([-99.9]), -99.9, -49.95, -40.0, -49.0).tolist() == [True]
    assert stand_alone(np.array([1.0]), 999.0, 499.5, nan, nan).tolist() == [False]


@pytest.mark.parametrize(
    ("analyte", "value", "rests"),
    [
        ("o2", 20.9, True),
        ("o2", 20.5, False),
        ("co", 0.0, True),
        ("co", 0.1, False),
        ("co2", 0.0, False),
    ],
)
def test_resting(analyte: str, value: float, rests: bool) -> None:  # noqa: FBT001 - parameter
    """Where quiet air makes a channel stand still."""
    unit = "%" if analyte == "o2" else "ppm"
    assert at_rest(Channel("x", analyte, "volume_fraction", unit), value) is rests
