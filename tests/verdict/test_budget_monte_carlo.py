"""Draws of all parts at once, against the examples of JCGM 101 and closed forms."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy import stats
from tests.verdict.test_budget import budget_of, part

from lungwort.errors import BudgetError
from lungwort.verdict import monte_carlo as mc
from lungwort.verdict.budget import (
    INVERSE,
    NORMAL,
    RECTANGULAR,
    STUDENT,
    TRIANGULAR,
    U_SHAPED,
    Part,
    work_out,
)


def test_jcgm101_9_2_2_four_normal_parts() -> None:
    """JCGM 101:2008, 9.2.2 (from memory): u = 2.0, 95 % interval ±3.92; the formula agrees."""
    budget = budget_of(*(part(f"x{n}", 1.0) for n in range(4)))
    drawn = mc.draw(0.0, mc.effects(budget, 200_000), coverage=0.95)
    worked = work_out(budget, 0.0, 0.95)
    assert worked.combined == pytest.approx(2.0)
    assert worked.expanded == pytest.approx(3.92, abs=0.005)
    assert drawn.standard == pytest.approx(2.0, abs=0.01)
    assert drawn.high - drawn.low == pytest.approx(2 * 3.92, abs=0.06)
    assert mc.validated(worked, drawn).tolerance == pytest.approx(0.05)


def test_jcgm101_9_2_3_four_rectangular_parts() -> None:
    """JCGM 101:2008, 9.2.3 (from memory): ±3.88, in closed form 2√3 (2 - (3/5)^(1/4))."""
    budget = budget_of(*(part(f"x{n}", math.sqrt(3), shape=RECTANGULAR) for n in range(4)))
    drawn = mc.draw(0.0, mc.effects(budget, 200_000), coverage=0.95)
    exact = 2 * math.sqrt(3) * (2 - 0.6**0.25)
    assert exact == pytest.approx(3.88, abs=0.005)
    assert drawn.high - drawn.low == pytest.approx(2 * exact, abs=0.06)


def test_jcgm101_9_2_4_one_part_rules() -> None:
    """JCGM 101:2008, 9.2.4 (from memory): u = 10.1; ±17.0 by draws, ±19.9 by formula, no match."""
    parts = [part(f"x{n}", math.sqrt(3), shape=RECTANGULAR) for n in range(3)]
    budget = budget_of(*parts, part("x4", 10 * math.sqrt(3), shape=RECTANGULAR))
    drawn = mc.draw(0.0, mc.effects(budget, 200_000), coverage=0.95)
    worked = work_out(budget, 0.0, 0.95)
    assert worked.combined == pytest.approx(10.1, abs=0.05)
    assert worked.expanded == pytest.approx(19.9, abs=0.05)
    assert (drawn.high - drawn.low) / 2 == pytest.approx(17.0, abs=0.1)
    assert not mc.validated(worked, drawn).agrees


def test_validation_rule() -> None:
    """JCGM 101:2008, 8.1: two alike intervals agree; one moved by more than δ does not."""
    worked = work_out(budget_of(part("a", 1.0)), 5.0)
    low, high = worked.value - worked.expanded, worked.value + worked.expanded
    alike = mc.Drawn(5.0, 5.0, 1.0, low + 0.04, high - 0.04, low, high, 1000)
    moved = mc.Drawn(5.0, 5.0, 1.0, low, high - 0.06, low, high, 1000)
    assert mc.validated(worked, alike).agrees
    assert not mc.validated(worked, moved).agrees


@pytest.mark.parametrize(
    ("shape", "reference"),
    [
        (NORMAL, stats.norm()),
        (RECTANGULAR, stats.uniform(-1, 2)),
        (TRIANGULAR, stats.triang(0.5, -1, 2)),
        (U_SHAPED, stats.arcsine(-1, 2)),
        (STUDENT, stats.t(5)),
    ],
)
def test_draws_follow_their_shape(shape: str, reference: Any) -> None:
    """Kolmogorov and Smirnov's test against scipy.stats; the seed is fixed, so it is repeatable."""
    one = Part(name="a", kind="other", shape=shape, scale=1.0, dof=5)
    added, _ = mc.effects(budget_of(one), 20_000)
    assert stats.kstest(added, reference.cdf).pvalue > 0.01


def test_partial_pressure_bends_the_model() -> None:
    """The mean of 1/r over a rectangular r is ln(b/a)/(b - a), more than 1/mean."""
    cell = Part(name="p", kind="pressure", shape=INVERSE, relative=True, ratio=(0.6, 1.4))
    drawn = mc.draw(20.0, mc.effects(budget_of(cell), 200_000))
    exact = 20.0 * math.log(1.4 / 0.6) / 0.8
    assert drawn.mean == pytest.approx(exact, rel=0.002)
    assert drawn.mean > work_out(budget_of(cell), 20.0).value


def test_product_of_two_parts_against_the_closed_form() -> None:
    """Var of (x + A)(1 + e) for independent parts: x²s² + a² + a²s² (Goodman 1960)."""
    budget = budget_of(part("a", 1.0), part("e", 0.3, relative=True))
    drawn = mc.draw(5.0, mc.effects(budget, 200_000))
    assert drawn.standard == pytest.approx(math.sqrt(25 * 0.09 + 1 + 0.09), rel=0.01)


@pytest.mark.parametrize("size", [-0.8, 0.5, 1.0])
def test_correlated_draws(size: float) -> None:
    """Draws of two parts vary together as stated: the variance of their sum is 2 + 2r."""
    budget = budget_of(part("a", 1.0), part("b", 1.0), correlations=(("a", "b", size),))
    added, _ = mc.effects(budget, 100_000)
    assert float(np.var(added)) == pytest.approx(2 + 2 * size, abs=0.03)


def test_correlated_rectangular_draws_are_close() -> None:
    """The copula gives (6/π) asin(r/2): within 0.02 of what is stated (closed form)."""
    parts = [part(name, math.sqrt(3), shape=RECTANGULAR) for name in "ab"]
    added, _ = mc.effects(budget_of(*parts, correlations=(("a", "b", 0.6),)), 200_000)
    assert float(np.var(added)) / 2 - 1 == pytest.approx(6 / math.pi * math.asin(0.3), abs=0.01)


def test_a_correlated_part_of_few_readings_keeps_its_tails() -> None:
    """Student's spread under a correlation: the variance of each is ν/(ν - 2), not one.

    Source: any handbook of statistics; here scipy.stats.t(5).
    """
    few = Part(name="a", kind="other", shape=STUDENT, scale=1.0, dof=5)
    made = budget_of(few, part("b", 1.0), correlations=(("a", "b", 0.4),))
    alone, _ = mc.effects(budget_of(few, part("b", 1e-9), correlations=(("a", "b", 0.4),)), 200_000)
    assert stats.kstest(alone[:5000], stats.t(5).cdf).pvalue > 0.001
    added, _ = mc.effects(made, 200_000)
    free, _ = mc.effects(budget_of(few, part("b", 1.0)), 200_000)
    assert float(np.var(added)) > float(np.var(free)) * 1.2


def test_same_seed_same_draws() -> None:
    """A result can be had again; another seed differs a little, not much."""
    budget = budget_of(part("a", 1.0))
    first, again = (mc.draw(5.0, mc.effects(budget, 50_000)) for _ in range(2))
    other = mc.draw(5.0, mc.effects(budget, 50_000, seed=1))
    assert first == again
    assert first != other
    assert other.standard == pytest.approx(first.standard, rel=0.02)


def test_no_true_value_below_zero() -> None:
    """Left out, not set to zero: at a reading of 0 the half normal reaches 2 u (closed form)."""
    drawn = mc.draw(0.0, mc.effects(budget_of(part("a", 1.0)), 220_000), not_below_zero=True)
    assert drawn.physical_low == pytest.approx(0.0, abs=0.01)
    assert drawn.physical_high == pytest.approx(float(stats.halfnorm.ppf(0.9545)), abs=0.04)
    assert drawn.low < -1.9
    # What the decision needs is not cut short by it.
    assert drawn.around_reading > 1.95


def test_shortest_interval_of_a_lopsided_spread() -> None:
    """Shortest 95 % of an exponential spread begins at zero and ends at its 95th percentile."""
    values = np.random.default_rng(3).exponential(size=200_000)
    low, high = mc.shortest_interval(values, 0.95)
    assert low == pytest.approx(0.0, abs=0.01)
    assert high == pytest.approx(float(stats.expon.ppf(0.95)), abs=0.05)


def test_refusals() -> None:
    """Too few draws, no number, a reading that the budget cannot explain, no uncertainty."""
    budget = budget_of(part("a", 0.1))
    drawn = mc.effects(budget, 2000)
    with pytest.raises(BudgetError, match="At least 1000"):
        mc.effects(budget, 10)
    with pytest.raises(BudgetError, match="must be a number"):
        mc.draw(math.nan, drawn)
    with pytest.raises(BudgetError, match="Check the zero"):
        mc.draw(-5.0, drawn, not_below_zero=True)
    with pytest.raises(BudgetError, match="above zero"):
        mc.tolerance_of(0.0)
