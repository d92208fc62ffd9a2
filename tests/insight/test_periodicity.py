"""Beats in readings, against scipy's spectrum and the analytic chance of noise."""

from __future__ import annotations

import csv
import math
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.signal import lombscargle

from lungwort.errors import RangeError
from lungwort.insight import periodicity as p

DATA = Path(__file__).parent.parent / "data"


def _uneven(n: int, seed: int) -> tuple[np.ndarray, np.random.Generator]:
    dice = np.random.default_rng(seed)
    return np.sort(dice.uniform(0.0, 40_000.0, n)), dice


@pytest.mark.parametrize("spaced", [np.linspace, np.geomspace])
def test_same_spectrum_as_scipy(spaced: Any) -> None:
    """The same spectrum on an even and on an uneven grid."""
    # scipy.signal.lombscargle with a floating mean, normalised, is the same share of variance.
    t, dice = _uneven(400, 1)
    y = 3.0 + np.sin(2.0 * math.pi * t / 900.0) + dice.normal(0.0, 1.0, t.size)
    hz = spaced(1e-4, 5e-3, 300)
    ours = p.power(t, y, hz)
    theirs = lombscargle(t, y, 2.0 * math.pi * hz, floating_mean=True, normalize=True)
    assert ours == pytest.approx(theirs, abs=1e-9)


def test_chance_of_one_frequency_is_exact() -> None:
    """White noise at a frequency fixed beforehand: (1 - z)**((n - 3) / 2).

    Zechmeister and Kuerster (2009), table 1, for a floating mean.
    """
    dice = np.random.default_rng(2)
    t = np.sort(dice.uniform(0.0, 1000.0, 40))
    hz = np.array([0.0137])
    shares = np.array([p.power(t, dice.normal(size=40), hz)[0] for _ in range(2500)])
    for share in (0.05, 0.12):
        expected = p.false_alarm(share, 40, 0.0)
        assert expected == pytest.approx((1.0 - share) ** 18.5)
        sd = math.sqrt(expected * (1.0 - expected) / 2500.0)
        assert float((shares > share).mean()) == pytest.approx(expected, abs=4.0 * sd)


def test_noise_seldom_shows_a_beat() -> None:
    """Noise seldom shows a beat."""
    # Baluev (2008): an upper bound, so noise is called a beat no more often than it says.
    called = 0
    for seed in range(60):
        t, dice = _uneven(200, 100 + seed)
        found = p.strongest(t, dice.normal(size=t.size), shortest_s=500.0)
        assert found is not None
        called += found.chance <= 0.05
    assert called <= 8  # binomial, 60 draws of 5 %: more than 8 once in a thousand


def test_noise_that_hangs_together_shows_no_beat() -> None:
    """Wandering readings have power at long periods without any beat."""
    called = 0
    for seed in range(40):
        dice = np.random.default_rng(500 + seed)
        y = np.zeros(600)
        for at in range(1, 600):
            y[at] = 0.95 * y[at - 1] + dice.normal()
        found = p.strongest(np.arange(600.0) * 30.0, y)
        assert found is not None
        called += found.chance <= 1e-3 and found.steadiness >= 0.5
    assert called == 0


@pytest.mark.parametrize("period_s", [420.0, 1200.0, 3000.0])
def test_beat_is_found_with_gaps_and_uneven_times(period_s: float) -> None:
    """Beat is found with gaps and uneven times."""
    t, dice = _uneven(900, 3)
    t = t[(t < 9000.0) | (t > 15_000.0)]
    y = 5.0 * np.sin(2.0 * math.pi * t / period_s + 1.0) + dice.normal(0.0, 3.0, t.size)
    y[::40] = math.nan
    found = p.strongest(t, y)
    assert found is not None
    assert found.period_s == pytest.approx(period_s, rel=0.02)
    assert found.amplitude == pytest.approx(5.0, rel=0.15)
    assert found.chance < 1e-6
    assert found.steadiness > 0.7


def test_one_hump_is_no_beat() -> None:
    """One hump is no beat."""
    t = np.arange(0.0, 40_000.0, 30.0)
    y = np.exp(-(((t - 20_000.0) / 1500.0) ** 2)) * 400.0
    y += np.random.default_rng(4).normal(0.0, 3.0, t.size)
    found = p.strongest(t, y, longest_s=5000.0)
    assert found is None or found.steadiness < 0.5


def test_real_compressor_with_one_start_has_no_beat() -> None:
    """Half an hour of a train's compressor (UCI 'MetroPT-3') holds one loading: no beat can be told."""
    with (DATA / "train_compressor.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    t = np.array([datetime.fromisoformat(row["timestamp"]).timestamp() for row in rows])
    for name in ("TP2", "TP3", "Oil_temperature"):
        found = p.strongest(t, np.array([float(row[name]) for row in rows]))
        assert found is None or found.chance > 0.01


def test_long_series_is_thinned_and_keeps_its_beat() -> None:
    """Long series is thinned and keeps its beat."""
    t = np.arange(0.0, 172_800.0, 10.0)
    y = np.sin(2.0 * math.pi * t / 3600.0)
    found = p.strongest(t, y)
    assert found is not None
    assert found.readings <= p.MOST_READINGS
    assert found.period_s == pytest.approx(3600.0, rel=0.01)


def test_too_little_gives_nothing() -> None:
    """Too little gives nothing."""
    assert p.strongest(np.arange(10.0), np.arange(10.0)) is None
    assert p.strongest(np.arange(50.0), np.ones(50)) is None
    assert p.strongest(np.arange(50.0), np.arange(50.0) % 3, longest_s=1.0) is None
    assert p.strongest(np.arange(50.0), np.full(50, math.nan)) is None
    assert p.power(np.arange(9.0), np.ones(9), np.array([0.1])).tolist() == [0.0]


def test_refusals() -> None:
    """Refusals."""
    with pytest.raises(RangeError, match="do not rise"):
        p.strongest(np.array([*range(40), 3.0]), np.arange(41.0))
    with pytest.raises(RangeError, match="period of 0"):
        p.strongest(np.arange(50.0), np.arange(50.0), shortest_s=0.0)
    with pytest.raises(RangeError, match="at least 5 readings"):
        p.false_alarm(0.5, 3, 1.0)
    with pytest.raises(RangeError, match="share nan"):
        p.false_alarm(math.nan, 30, 1.0)
