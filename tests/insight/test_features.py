"""How one channel moved: shapes made by hand, whatever noise, sampling and gaps."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy import stats

from lungwort.errors import LogError
from lungwort.insight import cause_series as cs
from lungwort.insight import features as f
from lungwort.logs.model import BAD, GOOD, UNREADABLE, Channel, Log
from lungwort.logs.read import read_log

LIMITS = f.THRESHOLDS["co"]


def _noise(n: int, sd: float = 0.1, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, sd, n)


def _shape(name: str, n: int = 500) -> np.ndarray:
    x = np.linspace(0.0, 1.0, n)
    shapes = {
        f.NONE: np.zeros(n),
        f.FAINT: np.where(x > 0.6, 1.6, 0.0),
        f.STEP: np.where(x > 0.6, 8.0, 0.0),
        f.EPISODE: np.where((x > 0.4) & (x < 0.6), 8.0, 0.0),
        f.CREEP: 8.0 * x,
        f.SINK: -8.0 * x,
        f.DOWN: np.where(x > 0.6, -8.0, 0.0),
        f.BURSTS: np.where((x * 12.0) % 3.0 < 0.15, 8.0, 0.0),
    }
    return shapes[name]


@pytest.mark.parametrize("name", f.SHAPES)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_shapes(name: str, seed: int) -> None:
    """Shapes."""
    dice = np.random.default_rng(seed)
    t = np.cumsum(dice.uniform(20.0, 100.0, 500))
    y = 0.3 + _shape(name) + _noise(500, seed=seed)
    y[dice.random(500) < 0.1] = np.nan
    keep = np.ones(500, dtype=bool)
    keep[90:120] = False
    found = f.movement(t[keep], y[keep], LIMITS)
    assert found is not None
    assert found.shape == name
    assert found.clear == (name not in {f.NONE, f.FAINT})
    if found.clear:
        assert abs(found.change) == pytest.approx(8.0, rel=0.2)


def test_begin_and_end_of_an_episode() -> None:
    """Begin and end of an episode."""
    t = np.arange(500.0) * 60.0
    found = f.movement(t, _shape(f.EPISODE) + _noise(500), LIMITS)
    assert found is not None
    # Made to be off from 40 to 60 % of 30 000 s.
    assert found.begin_s == pytest.approx(12_000.0, abs=600.0)
    assert found.end_s == pytest.approx(18_000.0, abs=600.0)
    assert found.stays == "returns"


def test_low_readings_at_the_begin_are_what_was_before() -> None:
    """Low readings at the begin are what was before."""
    y = np.where(np.arange(500) < 350, 0.0, 8.0) + _noise(500)
    found = f.movement(np.arange(500.0) * 60.0, y, LIMITS)
    assert found is not None
    assert (found.shape, found.stays) == (f.STEP, "stays")
    assert found.change > 0.0


def test_too_few_readings() -> None:
    """Too few readings."""
    y = np.full(400, np.nan)
    y[:20] = 9.0
    assert f.movement(np.arange(400.0), y, LIMITS) is None


def test_readings_that_stand_still_did_not_move() -> None:
    """Readings that stand still did not move."""
    found = f.movement(np.arange(400.0), np.full(400, 3.0), LIMITS)
    assert found is not None
    assert (found.shape, found.noise) == (f.NONE, 0.0)


def test_noise_whatever_moves_below() -> None:
    """Noise whatever moves below."""
    # The standard deviation that numpy was asked for, on a ramp a hundred times as high.
    y = np.linspace(0.0, 100.0, 5000) + _noise(5000, 1.0, seed=4)
    assert f.noise_of(y) == pytest.approx(1.0, rel=0.05)


def test_baseline_withstands_nearly_half_of_bad_readings() -> None:
    """Baseline withstands nearly half of bad readings."""
    # The shorth stands up to less than half of outlying readings (Rousseeuw and Leroy 1988).
    y = np.concatenate([_noise(600, 1.0), np.full(400, 50.0)])
    assert f.baseline_of(y) == pytest.approx(0.0, abs=0.5)
    assert float(np.mean(y)) > 15.0


def test_binned_means_as_scipy() -> None:
    """Binned means as scipy."""
    # scipy.stats.binned_statistic gives the same means.
    t = np.sort(np.random.default_rng(5).uniform(0.0, 100.0, 300))
    y = _noise(300)
    edges = np.linspace(0.0, 100.0, 12)
    theirs = stats.binned_statistic(t, y, "mean", edges).statistic
    assert f.binned(t, y, edges) == pytest.approx(theirs)
    assert np.isnan(f.binned(t, np.full(300, np.nan), edges)).all()


def test_correlation_as_scipy() -> None:
    """Correlation as scipy."""
    # scipy.stats.pearsonr, with no shift allowed.
    a, b = _noise(80, seed=6), _noise(80, seed=7)
    mixed = a + 0.5 * b
    assert f.correlation(a, mixed, lags=0) == pytest.approx(stats.pearsonr(a, mixed).statistic)
    assert f.correlation(a[:5], b[:5]) is None
    assert f.correlation(a, np.ones(80)) is None
    late = np.roll(a, 2)
    late[:2] = np.nan
    assert f.correlation(late, a) == pytest.approx(1.0)


def _log(rows: int = 60, **more: list[float | None]) -> Log:
    start = datetime(2026, 3, 1, tzinfo=UTC)
    columns = {"co": [float(at % 3) for at in range(rows)], **more}
    frame = pl.DataFrame(
        {"time": [start + timedelta(minutes=at) for at in range(rows)], **columns},
        schema_overrides={"time": pl.Datetime("us", "UTC")},
    ).with_columns(pl.lit(GOOD, pl.UInt8).alias("co_flag"))
    return Log(parts=(frame,), channels=(Channel("co", "co", "volume_fraction", "ppm"),), rows=rows)


def test_bad_and_unreadable_readings_are_not_used() -> None:
    """Bad and unreadable readings are not used."""
    log = _log()
    frame = log.frame.with_columns(
        pl.when(pl.int_range(pl.len()) == 5)
        .then(BAD)
        .otherwise(GOOD)
        .cast(pl.UInt8)
        .alias("co_flag"),
        pl.when(pl.int_range(pl.len()) == 9)
        .then(UNREADABLE)
        .otherwise(0)
        .cast(pl.Int8)
        .alias("co_censor"),
    )
    channel = Channel("co", "co", "volume_fraction", "ppm", censored=True)
    series = cs.series_of(Log(parts=(frame,), channels=(channel,), rows=60))
    assert np.flatnonzero(np.isnan(series.values["co"])).tolist() == [5, 9]


def test_span_is_cut_and_too_short_a_one_refused() -> None:
    """Span is cut and too short a one refused."""
    log = _log()
    begin = datetime(2026, 3, 1, 0, 10, tzinfo=UTC)
    assert cs.series_of(log, begin, begin + timedelta(minutes=29)).time_s.size == 30
    with pytest.raises(LogError, match="5 readings lie in the span: at least 24"):
        cs.series_of(log, begin, begin + timedelta(minutes=4))


@pytest.mark.parametrize("pressure", [True, False])
def test_units_and_dew_points_are_brought_to_one(tmp_path: Path, *, pressure: bool) -> None:
    """A dew point of 3 °C under 7 bar(g), and carbon monoxide in mg/m³.

    By hand: vapour over water at 3 °C has 758 Pa (steam tables). In air of 8.013 bar that is a
    share of 758/801325, of which a mole fills 24.06 L at 20 °C and 1 atm: 709 mg/m³, and about 3 %
    more by the enhancement of air under pressure. 1 ppm of CO is 28.01/24.06 = 1.165 mg/m³.
    """
    rows = [f"2026-03-01T00:{at:02d}:00Z,3.0,1.165,7.0" for at in range(40)]
    head = "Time,Dew point [°C],CO [mg/m3],Line pressure [bar(g)]"
    path = tmp_path / "log.csv"
    path.write_text("\n".join([head, *rows]), encoding="utf-8")
    log = read_log(
        path,
        units={"water": "°C pressure dew point"},
        ignore=() if pressure else ("Line pressure [bar(g)]",),
        settle=timedelta(0),
        now=datetime(2026, 4, 1, tzinfo=UTC),
    )
    series = cs.series_of(log)
    assert series.values["co"][0] == pytest.approx(1.0, abs=0.002)
    assert series.water_level == pressure
    if pressure:
        assert series.values["water"][0] == pytest.approx(709.0 * 1.03, rel=0.01)
    else:
        assert "only rise and fall" in series.notes[0]


def test_long_logs_are_brought_to_means() -> None:
    """Long logs are brought to means."""
    rows = cs.MOST_READINGS + 2
    series = cs.series_of(_log(rows))
    assert series.time_s.size == rows // 2
    assert "2 readings each" in series.notes[0]
