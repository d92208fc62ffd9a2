"""Trends from files, from a record and from days alone. All readings are invented."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest
from attrs import evolve

from lungwort.errors import InputError, LimitSetError, UnknownRecordError
from lungwort.insight.statistics import Day, days_of
from lungwort.insight.trend import Bound
from lungwort.jobs._readings_store import forget
from lungwort.jobs.opening import Where
from lungwort.jobs.reading import Reading
from lungwort.jobs.today import HEADS_FOR_LIMIT, today
from lungwort.jobs.trend import Request, trend
from lungwort.jobs.trend_ground import Ground, Known, Watched, _newest_doubts, bounds_of
from lungwort.jobs.trend_result import calculation_of, trends_of, warning_words
from lungwort.jobs.trend_warnings import days_of_buckets
from lungwort.limits.load import limit_set
from lungwort.limits.model import Conditions
from lungwort.logs.model import GOOD, Channel
from lungwort.logs.options import ReadOptions
from lungwort.logs.read import read_with
from lungwort.paper.calculation import ESTIMATE, FAILS, HOLDS, NOT_PROVEN, Calculation
from lungwort.paper.calculation_sheet import json_text
from lungwort.paper.plot import plot_svg
from lungwort.register import model as m
from lungwort.register.buckets import gather
from lungwort.register.store import import_log
from lungwort.register.workspace import create_workspace

FIRST = date(2026, 1, 1)
NOW = datetime(2026, 3, 3, 12, 0, tzinfo=UTC)
WHO = "Wenna Harkle"
CO = Channel("co", "co", "volume_fraction", "ppm")
NOWHERE = Where()
AIRLINE = "en12021-2014-airline"


def a_day(k: int, value: float, **more: int) -> Day:
    """Give day number k; every figure of it is the same."""
    day, v = FIRST + timedelta(days=k), float(value)
    return Day(day, v, v, v, v, v, readings=1440, coverage=1.0, **more)


def ground(values: np.ndarray, *, bound: Bound | None = None, **more: object) -> Ground:
    """Days of carbon monoxide, one after the other."""
    days = tuple(a_day(k, value) for k, value in enumerate(values))
    watched = Watched(CO, days, () if bound is None else (bound,))
    base = Ground(subject="invented", zone="UTC", now=NOW, watched=(watched,))
    return evolve(base, **more)  # type: ignore[arg-type]


def rising(n: int = 62, slope: float = 0.04) -> np.ndarray:
    """From 1 on by so much a day, with noise."""
    return np.asarray(1.0 + slope * np.arange(n) + 0.15 * np.random.default_rng(3).normal(size=n))


def csv_log(level: Callable[[int], float], days: int = 60, step_min: int = 30) -> bytes:
    """Write a logger's file over many days; readings are never still."""
    begin = datetime(2026, 1, 1, tzinfo=UTC)
    lines = ["Time,CO [ppm],O2 [%]"]
    for at in range(days * 1440 // step_min):
        day = at * step_min // 1440
        time = begin + timedelta(minutes=at * step_min)
        wiggle = (at * 37 % 17) / 100.0
        lines.append(f"{time:%Y-%m-%d %H:%M:%S},{level(day) + wiggle:.2f},{20.8 + wiggle:.2f}")
    return ("\n".join(lines) + "\n").encode()


# --- from days alone ------------------------------------------------------------------------------


def test_a_trend_towards_a_limit() -> None:
    """Known: 1 + 0.04 k = 5 at k = 100, which is the 11th of April."""
    made = calculation_of(ground(rising(), bound=Bound(5.0, name="≤ 5 ppm")))
    assert made.state == ESTIMATE
    assert made.word == "a trend towards a limit"
    (found,) = made.data["trends"]
    assert found["ahead"]["earliest"] <= "2026-04-11" <= found["ahead"]["latest"]
    assert found["slope_per_day"] == pytest.approx(0.04, abs=0.004)
    assert found["ahead"]["on"] in made.answer
    assert any("test gas" in text for text in made.next_steps)


def test_a_limit_that_is_reached_fails() -> None:
    """Whatever the trend: the newest days count."""
    values = np.append(np.full(40, 2.0), 6.0)
    made = calculation_of(ground(values, bound=Bound(5.0, name="≤ 5 ppm")))
    assert made.state == FAILS
    assert "2026-02-10" in made.answer
    assert "Nobody breathes" in made.next_steps[0]


def test_too_little_is_not_proven() -> None:
    """Ten days are too few, and the result says how many are needed."""
    made = calculation_of(ground(rising(10), bound=Bound(5.0)))
    assert made.state == NOT_PROVEN
    assert "10 days can be used; a trend needs 20" in " ".join(made.reasons)


def test_a_trend_elsewhere_hides_nothing() -> None:
    """One channel falls, of the other there is too little: that is what is said."""
    falls = ground(rising()[::-1], bound=Bound(9.0)).watched[0]
    short = evolve(ground(rising(8), bound=Bound(9.0)).watched[0], channel=evolve(CO, name="co_b"))
    for watched in ((falls, short), (short, falls)):
        base = Ground(subject="", zone="UTC", now=NOW, watched=watched)
        made = calculation_of(base)
        assert made.state == NOT_PROVEN
        assert "co_b" in made.answer


@pytest.mark.parametrize("values", [np.full(60, 0.3), rising(), rising()[::-1], rising(8)])
def test_it_never_holds(values: np.ndarray) -> None:
    """No trend shows that air stays good; the cautions say so."""
    made = calculation_of(ground(values, bound=Bound(50.0)))
    assert made.state != HOLDS
    assert any("no proof" in text for text in made.cautions)


def test_no_trend_says_that_it_proves_nothing() -> None:
    """Days that are nearly flat: an estimate, without a line on the drawing."""
    values = np.where(np.arange(60) % 13 == 6, 0.4, 0.3)
    made = calculation_of(ground(values, bound=Bound(5.0)))
    assert (made.state, made.word) == (ESTIMATE, "no trend shown")
    assert "no proof" in made.answer
    assert made.data["trends"][0]["p"] > 0.2
    assert len(made.plots[0].curves) == 2


def test_a_step_beside_a_calibration_may_be_the_instrument() -> None:
    """The step is named with what is on record beside it."""
    values = np.where(np.arange(80) < 40, 1.0, 3.0) + 0.1 * np.random.default_rng(4).normal(size=80)
    known = Known(FIRST + timedelta(days=39), "calibration", "meter: calibration")
    made = calculation_of(ground(values, bound=Bound(9.0), known=(known,), by_record=True))
    steps = next(grid for grid in made.grids if grid.title == "Steps and bends")
    assert "meter: calibration" in str(steps.rows[0])
    assert any("may be that of the instrument" in text for text in made.reasons)


@pytest.mark.parametrize(
    ("day", "said"), [(30, "goes on across a calibration"), (-9, "no calibration is on record")]
)
def test_drift_and_air_are_told_apart_as_far_as_can_be(day: int, said: str) -> None:
    """A trend that goes on across a calibration speaks against a drift; without one it is open."""
    known = Known(FIRST + timedelta(days=day), "calibration", "meter: calibration")
    made = calculation_of(ground(rising(), bound=Bound(9.0), known=(known,), by_record=True))
    assert any(said in text for text in made.reasons)


def test_censored_readings_and_old_days_are_told() -> None:
    """Readings as '<' and '>', and that nothing is known since the newest day."""
    days = tuple(a_day(k, 0.5, under=3, over=k == 7) for k in range(30))
    base = Ground(subject="", zone="UTC", now=NOW, watched=(Watched(CO, days),))
    said = " ".join(calculation_of(base).reasons)
    assert "90 readings were logged as '<'" in said
    assert "1 readings were logged as '>'" in said
    assert "32 days ago" in said


def test_everything_can_be_shown() -> None:
    """JSON without NaN, drawings with band, limit and day, also with gaps."""
    base = ground(rising(), bound=Bound(5.0, name="≤ 5 ppm"))
    watched = base.watched[0]
    base = evolve(base, watched=(evolve(watched, days=(*watched.days[:20], *watched.days[25:])),))
    made = calculation_of(base)
    assert json.loads(json_text(made))["data"]["trends"][0]["trend"] == "rises"
    (plot,) = made.plots
    assert any(level.across for level in plot.levels)
    assert any(not level.across for level in plot.levels)
    assert "<svg" in plot_svg(plot, "UTC")


# --- limits ---------------------------------------------------------------------------------------


def test_limits_are_those_of_the_set() -> None:
    """EN 12021:2014 (confirmed, secondary): carbon monoxide 5 ppm, oxygen 20 to 22 %."""
    limits = limit_set(AIRLINE)
    (co,), told = bounds_of(limits, Conditions(), CO)
    assert co.upwards
    assert co.value == pytest.approx(5.0)
    assert told == ()
    oxygen = Channel("o2", "o2", "volume_fraction", "%")
    high, low = bounds_of(limits, Conditions(), oxygen)[0]
    assert (high.value, low.value) == pytest.approx((22.0, 20.0))
    assert (high.upwards, low.upwards) == (True, False)


def test_a_limit_that_needs_the_pressure_says_so() -> None:
    """Water of the airline set depends on the pressure of the supply."""
    water = Channel("water", "water", "mass_concentration", "mg/m3")
    found, told = bounds_of(limit_set(AIRLINE), Conditions(), water)
    assert told
    known, _ = bounds_of(limit_set(AIRLINE), Conditions(supply_pressure_bar_g=7.0), water)
    assert known
    assert all(one.value >= known[0].value for one in found)


# --- from files -----------------------------------------------------------------------------------


def test_files(tmp_path: Path) -> None:
    """Sixty days of half hours: 1 + 0.03 a day, and the limit named."""
    file = tmp_path / "hall.csv"
    file.write_bytes(csv_log(lambda day: 1.0 + 0.03 * day))
    request = Request(
        files=(file,), limits=AIRLINE, analyte="co", reading=Reading(zone="UTC", settle="0 min")
    )
    made = trend(NOWHERE, request, now=NOW)
    (found,) = made.data["trends"]
    assert found["trend"] == "rises"
    assert found["slope_per_day"] == pytest.approx(0.03, abs=0.002)
    assert found["days_used"] in {59, 60}
    assert made.subject == "hall.csv"
    less = trend(NOWHERE, evolve(request, begin="2026-01-10", end="2026-02-10"), now=NOW)
    assert less.data["trends"][0]["days_used"] == 32


def test_files_without_limits(tmp_path: Path) -> None:
    """Without a limit set there is a trend, and nothing to hold it against."""
    file = tmp_path / "hall.csv"
    file.write_bytes(csv_log(lambda day: 1.0 + 0.03 * day, days=30, step_min=60))
    made = trend(NOWHERE, Request(files=(file,), reading=Reading(zone="UTC")), now=NOW)
    assert {one["analyte"] for one in made.data["trends"]} == {"co", "o2"}
    assert all(one["limit"] is None for one in made.data["trends"])
    assert "no limit was given" in made.answer


# --- from the record ------------------------------------------------------------------------------


@pytest.fixture
def workspace(tmp_path: Path) -> Where:
    """Make a workspace with sixty days of readings and a calibration in the middle of them."""
    content = csv_log(lambda day: 1.0 + 0.05 * day)
    file = tmp_path / "logger.csv"
    file.write_bytes(content)
    options = ReadOptions(zone="Europe/London", settle_s=0.0)
    log = read_with(file, options, now=NOW)
    begin = datetime(2025, 12, 1, tzinfo=UTC)
    with (
        create_workspace(tmp_path / "yard", name="yard", person=WHO, now=begin) as made,
        made.register.change(who=WHO, now=NOW - timedelta(hours=1)) as change,
    ):
        site = change.add(m.Site(name="slipway", zone="Europe/London"))
        supply = change.add(
            m.Supply(
                site_id=site.id,
                name="hall",
                title="Hall",
                kind=m.CHARGING_COMPRESSOR,
                limit_set=AIRLINE,
                pressure_bar_g=Decimal(7),
            )
        )
        outlet = change.add(m.Outlet(supply_id=supply.id, name="hall-1"))
        change.add(m.Outlet(supply_id=supply.id, name="empty"))
        meter = change.add(m.Instrument(name="meter"))
        change.add(
            m.Calibration(
                instrument_id=meter.id,
                time=datetime(2026, 1, 30, 9, tzinfo=UTC),
                kind=m.CALIBRATION,
                passed=True,
                by=WHO,
            )
        )
        import_log(
            made,
            change,
            log,
            outlet=outlet,
            instrument=meter,
            files=[(file.name, content)],
            options=options,
            by=change.who,
        )
    return Where(workspace=tmp_path / "yard")


def test_an_outlet_on_record(workspace: Where) -> None:
    """The limit set in force, the site's days, and the calibration that lies within."""
    made = trend(workspace, Request(outlet="hall-1"), now=NOW)
    by = {(one["analyte"], one["limit"]["side"]): one for one in made.data["trends"]}
    assert set(by) == {("co", "upwards"), ("o2", "upwards"), ("o2", "downwards")}
    co = by["co", "upwards"]
    assert (co["trend"], co["limit"]["value"]) == ("rises", pytest.approx(5.0))
    assert co["ahead"]["earliest"] is not None
    assert made.zone == "Europe/London"
    assert any("across a calibration on 2026-01-30" in text for text in made.reasons)
    assert made.subject == "Hall, hall-1"


def test_the_same_from_files_and_from_the_record(workspace: Where, tmp_path: Path) -> None:
    """Both ways lead to the same days."""
    asked = Request(outlet="hall-1", analyte="co", limits=AIRLINE)
    stored = trend(workspace, asked, now=NOW).data["trends"]
    reading = Reading(zone="Europe/London", settle="0 min")
    files = evolve(asked, files=(tmp_path / "logger.csv",), reading=reading)
    assert trend(NOWHERE, files, now=NOW).data["trends"] == stored


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("request_", "told"),
    [
        (Request(), "nothing was given to look at"),
        (Request(outlet="a", measure="mean"), "--figure 'mean' is not known"),
        (Request(outlet="a", least_coverage_percent=120.0), "--least-coverage 120"),
        (Request(outlet="a", least_coverage_percent=float("nan")), "--least-coverage nan"),
        (Request(outlet="a", begin="3 March"), "--from '3 March' is no day"),
        (Request(outlet="a", begin="2026-03-04", end="2026-03-01"), "lies behind --to"),
    ],
)
def test_refuses(request_: Request, told: str) -> None:
    """With the option, what was found and what is allowed."""
    with pytest.raises(InputError, match=told):
        trend(NOWHERE, request_, now=NOW)


def test_refuses_what_is_not_there(workspace: Where) -> None:
    """No such outlet, no readings, no such analyte, no such limit set."""
    with pytest.raises(UnknownRecordError, match="'hall-9'"):
        trend(workspace, Request(outlet="hall-9"), now=NOW)
    with pytest.raises(InputError, match="no log of the outlet empty"):
        trend(workspace, Request(outlet="empty"), now=NOW)
    with pytest.raises(
        InputError, match="no readings of 'oil' were found; there are readings of co"
    ):
        trend(workspace, Request(outlet="hall-1", analyte="oil"), now=NOW)
    with pytest.raises(LimitSetError, match="'nothing' is not known"):
        trend(workspace, Request(outlet="hall-1", limits="nothing"), now=NOW)


# --- early warning --------------------------------------------------------------------------------


def test_today_warns_of_a_limit_ahead(workspace: Where) -> None:
    """The highest of each day rises by 0.05 ppm from 1.16 ppm; 5 ppm is reached after 77 days."""
    found = today(workspace, now=NOW)
    (need,) = [one for one in found.needs if one.urgency == HEADS_FOR_LIMIT]
    assert (need.kind, need.name) == ("trend", "hall-1")
    assert "Carbon monoxide: the highest reading rises by 1.5" in need.what
    assert "2026-03-1" in need.what
    # Of old readings nothing is said: they tell nothing of now.
    later = today(workspace, now=NOW + timedelta(days=20))
    assert not [one for one in later.needs if one.urgency == HEADS_FOR_LIMIT]


def test_today_says_where_it_could_not_look(workspace: Where) -> None:
    """A part of the readings that is missing is told, and Today still opens."""
    assert workspace.workspace is not None
    for part in workspace.workspace.rglob("*.parquet"):
        part.unlink()
    shutil.rmtree(workspace.workspace / "derived", ignore_errors=True)
    forget()
    found = today(workspace, now=NOW)
    told = [one.what for one in found.needs if one.urgency == HEADS_FOR_LIMIT]
    assert told == ["Trends could not be looked for."]


def test_days_of_hours_are_those_of_readings() -> None:
    """Least, greatest and day are the same from buckets of an hour and from the readings."""
    begin = datetime(2026, 3, 27, 23, tzinfo=UTC)
    times = [begin + timedelta(minutes=10 * k) for k in range(6 * 24 * 5)]
    frame = pl.DataFrame(
        {
            "time": times,
            "co": [float(k * 37 % 101) for k in range(len(times))],
            "co_flag": [GOOD] * len(times),
        },
        schema={"time": pl.Datetime("us", "UTC"), "co": pl.Float64, "co_flag": pl.UInt8},
    )
    zone = ZoneInfo("Europe/Berlin")
    whole = days_of([frame], [CO], zone=zone.key, interval_s=600)["co"]
    buckets = gather(frame, [CO], 3600 * 1_000_000)
    hours = days_of_buckets([buckets[:30], buckets[30:]], CO, zone, begin - timedelta(days=1))
    assert [(one.day, one.least, one.greatest) for one in hours] == [
        (one.day, one.least, one.greatest) for one in whole
    ]


def _file(folder: Path, level: Callable[[int], str], *, days: int = 60) -> Path:
    """Write a log of every half hour; what the reading says is given by its number."""
    begin = datetime(2026, 1, 1, tzinfo=UTC)
    lines = ["Time,CO [ppm],O2 [%]"]
    for at in range(48 * days):
        time = begin + timedelta(minutes=30 * at)
        lines.append(f"{time:%Y-%m-%d %H:%M:%S},{level(at)},{20.8 + at * 37 % 17 / 100:.2f}")
    path = folder / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def _asked(path: Path) -> Calculation:
    request = Request(files=(path,), limits=AIRLINE, analyte="co", reading=Reading(zone="UTC"))
    return trend(NOWHERE, request, now=NOW)


def test_readings_where_the_instrument_settles_are_not_passed_over(tmp_path: Path) -> None:
    """An hourly log that ends with one reading in six hours, all of them beyond the limit."""
    begin = datetime(2026, 1, 1, tzinfo=UTC)
    times = [(begin + timedelta(hours=at), 1 + at % 3 / 10) for at in range(30 * 24)]
    times += [(begin + timedelta(days=30, hours=6 * at + 5), 9 + at % 2 / 10) for at in range(20)]
    path = tmp_path / "log.csv"
    path.write_text(
        "Time,CO [ppm]\n" + "".join(f"{t:%Y-%m-%dT%H:%M:%SZ},{co:.1f}\n" for t, co in times),
        encoding="utf-8",
    )
    made = _asked(path)
    assert (made.state, made.word) == (NOT_PROVEN, "readings beyond a limit")
    assert "up to 9.1" in made.answer
    assert "settles" in made.answer
    assert "Nobody breathes this air" in made.next_steps[0]
    assert not any("nothing is known since" in t and "2026-01-30" in t for t in made.reasons)


def test_daily_peaks_are_named(tmp_path: Path) -> None:
    """One reading of 30 ppm a day lies above the 95 % level of each day."""
    path = _file(tmp_path, lambda at: "30.0" if at % 48 == 20 else f"{1 + at * 7 % 5 / 10:.1f}")
    made = _asked(path)
    assert (made.state, made.word) == (NOT_PROVEN, "readings beyond a limit")
    assert "on 7 of the newest 7 days, up to 30" in made.answer


def test_doubted_readings_prove_no_trend() -> None:
    """What the reader of the log doubts is no ground for an estimate; a trend to a limit is told."""
    falling = rising(slope=-0.01)
    doubts = ("channel co: it looks like per cent",)
    plain = calculation_of(ground(falling, bound=Bound(5.0)))
    assert plain.state == ESTIMATE
    made = calculation_of(ground(falling, bound=Bound(5.0), doubts=doubts))
    assert (made.state, made.word) == (NOT_PROVEN, "readings in doubt")
    ahead = calculation_of(ground(rising(), bound=Bound(5.0), doubts=doubts))
    assert (ahead.state, ahead.word) == (NOT_PROVEN, "readings in doubt")
    assert ahead.answer.startswith("The readings themselves are in doubt")
    assert "reaches the limit" in ahead.answer
    assert "unit, cell, clock" in ahead.next_steps[0]
    reached = calculation_of(ground(np.full(60, 9.0) + rising(60), bound=Bound(5.0), doubts=doubts))
    assert reached.state == FAILS


def test_a_channel_that_ends_before_the_log_does(tmp_path: Path) -> None:
    """Nine days of 'nan' at the end: the log goes on, and of the gas nothing is known."""
    made = _asked(
        _file(tmp_path, lambda at: "nan" if at >= 51 * 48 else f"{1 + at * 7 % 5 / 10:.1f}")
    )
    assert (made.state, made.word) == (NOT_PROVEN, "newest days missing")
    assert "no reading that can be used since 2026-02-20" in made.reasons[0]


def test_per_cent_taken_for_ppm_proves_nothing(tmp_path: Path) -> None:
    """0.003 % are 30 ppm: a doubt of the reader goes before the trend, and names no option in vain."""
    made = _asked(_file(tmp_path, lambda at: f"{0.001 + at // 48 * 0.0002 + at * 7 % 5 / 1e4:.4f}"))
    assert (made.state, made.word) == (NOT_PROVEN, "readings in doubt")
    assert not any("--trust" in text for text in made.reasons)
    assert any("looks like per cent" in text and text.endswith(".") for text in made.reasons)


def test_a_cell_that_stopped_is_told(tmp_path: Path) -> None:
    """It moved for weeks and has stood at one figure for the last fortnight."""
    made = _asked(
        _file(tmp_path, lambda at: "1.0" if at >= 46 * 48 else f"{1 + at * 7 % 5 / 10:.1f}")
    )
    assert (made.state, made.word) == (NOT_PROVEN, "newest readings never moved")
    assert any("newest 10 days are 1 and never moved" in text for text in made.reasons)
    assert "Test the cell with gas" in made.next_steps[0]


@pytest.mark.parametrize(
    ("levels", "told"),
    [
        (np.where(np.arange(60) >= 58, 9.0, 1.0) + rising(60, 0.0), "is beyond the limit"),
        (1.0 + 3.0 * (np.arange(40) / 39.0) ** 4, "almost all of them one way"),
        (4.0 - 3.0 * (np.arange(40) / 39.0) ** 4, ""),
        (rising(slope=0.0), ""),
        (rising(slope=-0.01), ""),
    ],
)
def test_what_is_told_before_anybody_asks(levels: np.ndarray, told: str) -> None:
    """A limit that is reached, and days that went far towards it; nothing where they go away."""
    trends = trends_of(ground(levels, bound=Bound(5.0)))
    found = warning_words(trends[0])
    assert (told in found) if told else not found


def test_old_doubts_on_record_do_not_count() -> None:
    """Those of logs that end in the newest fortnight do."""

    class Facts:
        doubts = ("it looks odd",)

    class Import:
        def __init__(self, end: datetime | None) -> None:
            self.end = end

    class Held:
        facts = ((Import(NOW - timedelta(days=400)), Facts()), (Import(None), Facts()))

    assert _newest_doubts(Held()) == ("it looks odd",)  # type: ignore[arg-type]  # what is asked of it
    Held.facts = (
        (Import(NOW - timedelta(days=400)), Facts()),
        (Import(NOW), type("F", (), {"doubts": ()})()),
    )
    assert _newest_doubts(Held()) == ()  # type: ignore[arg-type]  # the same
    Held.facts = ()  # type: ignore[assignment]  # the same
    assert _newest_doubts(Held()) == ()  # type: ignore[arg-type]  # the same
