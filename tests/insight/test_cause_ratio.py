"""How much carbon dioxide comes with carbon monoxide: against full least squares, and by coverage."""

from __future__ import annotations

import numpy as np
import pytest

from lungwort.insight.cause_ratio import LEAST_CO2_PER_CO, companion

N = 160


def _van(begin: int = 60, end: int = 75, height: float = 10.0) -> np.ndarray:
    van = np.zeros(N)
    van[begin:end] = height
    return van


def _day(swing: float = 12.0) -> np.ndarray:
    x = np.linspace(0.0, 1.0, N)
    return 430.0 + swing * np.sin(2.0 * np.pi * x + 0.4)


def test_ratio_as_full_least_squares() -> None:
    """Frisch and Waugh (1933): the same coefficient as one regression on all columns (numpy)."""
    dice = np.random.default_rng(1)
    co = _van() + dice.normal(0.0, 0.1, N)
    co2 = _day() + 2.5 * co + dice.normal(0.0, 2.0, N)
    columns = np.column_stack([co, np.vander(np.linspace(-1.0, 1.0, N), 5)])
    theirs, *_ = np.linalg.lstsq(columns, co2, rcond=None)
    found = companion(co, co2)
    assert found is not None
    assert found.per == pytest.approx(theirs[0], rel=1e-6)


@pytest.mark.parametrize("hanging", [0.0, 0.6])
def test_interval_covers_the_truth(hanging: float) -> None:
    """Two standard errors cover about 95 % (binomial: fewer than 90 of 120 would be one in a million)."""
    covered = sure = 0
    for seed in range(120):
        dice = np.random.default_rng(seed)
        noise = np.zeros(N)
        for at in range(N):
            noise[at] = hanging * noise[at - 1] + dice.normal(0.0, 3.0)
        found = companion(_van(), _day() + 2.5 * _van() + noise)
        nothing = companion(_van(), _day() + noise)
        assert found is not None
        assert nothing is not None
        covered += abs(found.per - 2.5) <= found.half_width
        sure += nothing.sure
    assert covered >= 96
    assert sure <= 2


def test_too_little_for_exhaust_is_told() -> None:
    """Hot oil brings no carbon dioxide: below what the richest exhaust brings, for certain."""
    dice = np.random.default_rng(3)
    found = companion(_van(), _day() + dice.normal(0.0, 2.0, N))
    assert found is not None
    assert found.below(LEAST_CO2_PER_CO)
    assert not found.sure


def test_late_cell_does_no_harm() -> None:
    """Two bins between the cells leave the ratio as it is."""
    co2 = _day(0.0) + np.roll(4.0 * _van(), 2)
    found = companion(_van(), co2)
    assert found is not None
    assert found.per == pytest.approx(4.0, rel=0.01)


def test_what_cannot_be_told() -> None:
    """Too few bins, a driver that stands still, and one that moves as slowly as the day."""
    assert companion(_van()[:20], _day()[:20]) is None
    assert companion(np.ones(N), _day()) is None
    assert companion(np.linspace(0.0, 8.0, N), _day()) is None
    assert companion(np.full(N, np.nan), _day()) is None
