"""Uncertainty budgets by formula, against the GUM and a library that propagates the same model."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from uncertainties import correlated_values, ufloat

from lungwort.errors import BudgetError
from lungwort.verdict.budget import (
    INVERSE,
    NEEDED,
    NORMAL,
    RECTANGULAR,
    SHAPES,
    STUDENT,
    TRIANGULAR,
    U_SHAPED,
    Budget,
    Part,
    correlation_matrix,
    work_out,
)
from lungwort.verdict.budget_coverage import COVERAGE, coverage_factor, effective_dof


def budget_of(
    *parts: Part,
    at: tuple[float, ...] = (5.0,),
    correlations: tuple[tuple[str, str, float], ...] = (),
) -> Budget:
    """Put a budget of CO together."""
    return Budget(
        name="b",
        analyte="co",
        quantity="volume_fraction",
        unit="ppm",
        at=at,
        parts=parts,
        correlations=correlations,
    )


def part(name: str, scale: float, *, shape: str = NORMAL, relative: bool = False) -> Part:
    """Make a part without an offset."""
    return Part(name=name, kind="other", shape=shape, scale=scale, relative=relative)


@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        # Closed forms of scipy.stats.
        (RECTANGULAR, stats.uniform(-1, 2).std()),
        (TRIANGULAR, stats.triang(0.5, -1, 2).std()),
        (U_SHAPED, stats.arcsine(-1, 2).std()),
        (NORMAL, 1.0),
    ],
)
def test_standard_uncertainty_of_shapes(shape: str, expected: float) -> None:
    """JCGM 100:2008, 4.3.7 and 4.3.9, against the standard deviations that scipy gives."""
    assert part("a", 1.0, shape=shape).standard == pytest.approx(float(expected), rel=1e-12)


def test_two_rectangular_parts_make_a_triangular_one() -> None:
    """The sum of two alike rectangular spreads is triangular (JCGM 100:2008, 4.3.9 note)."""
    made = work_out(
        budget_of(part("a", 0.5, shape=RECTANGULAR), part("b", 0.5, shape=RECTANGULAR)), 5.0
    )
    assert made.combined == pytest.approx(part("c", 1.0, shape=TRIANGULAR).standard, rel=1e-12)


def test_against_the_uncertainties_library() -> None:
    """The same product model, propagated by the library ``uncertainties``."""
    budget = budget_of(
        part("a", 0.12, shape=RECTANGULAR),
        Part(name="cross", kind="cross", shape=RECTANGULAR, scale=0.15, centre=-0.15),
        part("gas", 0.01, relative=True),
        Part(name="drift", kind="drift", shape=RECTANGULAR, scale=0.03, centre=0.03, relative=True),
        Part(name="p", kind="pressure", shape=INVERSE, relative=True, ratio=(0.97, 1.01)),
    )
    root3 = math.sqrt(3)
    for reading in (0.0, 2.5, 5.0, 40.0):
        added = reading + ufloat(0, 0.12 / root3) + ufloat(-0.15, 0.15 / root3)
        expected = (
            added
            * (1 + ufloat(0, 0.01))
            * (1 + ufloat(0.03, 0.03 / root3))
            / ufloat(0.99, 0.02 / root3)
        )
        made = work_out(budget, reading)
        assert made.value == pytest.approx(expected.nominal_value, rel=1e-12)
        assert made.combined == pytest.approx(expected.std_dev, rel=1e-9)
        assert made.offset == pytest.approx(expected.nominal_value - reading, abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(
    first=st.floats(0.01, 2.0),
    second=st.floats(0.001, 0.2),
    size=st.floats(-1.0, 1.0),
    reading=st.floats(0.0, 100.0),
)
def test_correlated_parts_against_the_library(
    first: float, second: float, size: float, reading: float
) -> None:
    """Two parts that vary together, against ``uncertainties.correlated_values``."""
    cov = size * first * second
    one, other = correlated_values([0, 0], [[first**2, cov], [cov, second**2]])
    expected = (reading + one) * (1 + other)
    made = work_out(
        budget_of(
            part("a", first), part("b", second, relative=True), correlations=(("a", "b", size),)
        ),
        reading,
    )
    assert made.combined == pytest.approx(expected.std_dev, rel=1e-6, abs=1e-6)


def test_gum_h1_end_gauge() -> None:
    """JCGM 100:2008, H.1 (from memory): 25, 9.7, 2.9 and 16.6 nm give 32 nm, 16, 92 nm."""
    parts = [25.0, 9.7, 2.9, 16.6]
    made = work_out(budget_of(*(part(f"p{n}", u) for n, u in enumerate(parts))), 0.0, 0.99)
    assert round(made.combined) == 32
    # H.1.6: 25 nm with 18, 9.7 nm with 25.6, 2.9 nm with 50 and 16.6 nm with 2 degrees of freedom.
    dof = effective_dof(parts, [18, 25.6, 50, 2])
    assert math.floor(dof) == 16
    assert coverage_factor(dof, 0.99) == pytest.approx(2.92, abs=0.005)
    assert coverage_factor(dof, 0.99) * 32 == pytest.approx(93, abs=1)


def test_gum_g41_effective_degrees_of_freedom() -> None:
    """JCGM 100:2008, G.4.1 example (from memory): 0.25, 0.57 and 0.82 % with 9, 4, 14 give 19."""
    assert round(effective_dof([0.25, 0.57, 0.82], [9, 4, 14]), 1) == 19.0


@pytest.mark.parametrize("dof", [1, 2, 5, 20, 100, math.inf])
def test_coverage_factor_against_scipy(dof: float) -> None:
    """Table G.2 is Student's t; scipy.stats is the reference."""
    expected = stats.t.ppf(0.97725, dof) if math.isfinite(dof) else stats.norm.ppf(0.97725)
    assert coverage_factor(dof, 0.9545) == pytest.approx(float(expected), rel=1e-9)


def test_degrees_of_freedom_are_rounded_down() -> None:
    """JCGM 100:2008, G.4.1 note: to the next lower whole number, which gives the greater k."""
    assert coverage_factor(4.99) == coverage_factor(4.0) > coverage_factor(5.0)


def test_correlated_part_of_few_readings_takes_the_fewest() -> None:
    """The formula for degrees of freedom holds for independent parts only (G.4.1)."""
    few = Part(name="few", kind="repeatability", shape=STUDENT, scale=0.1, dof=4)
    alone = work_out(budget_of(few, part("b", 1.0)), 5.0)
    bound = work_out(budget_of(few, part("b", 1.0), correlations=(("few", "b", 0.5),)), 5.0)
    assert alone.dof > 1000
    assert bound.dof == 4


@pytest.mark.parametrize("shape", SHAPES)
def test_more_is_never_less(shape: str) -> None:
    """Every part that is added, and every width that grows, makes U greater."""
    base = work_out(budget_of(part("a", 0.3)), 5.0).expanded
    more = work_out(budget_of(part("a", 0.3), part("b", 0.1, shape=shape)), 5.0).expanded
    still = work_out(budget_of(part("a", 0.3), part("b", 0.2, shape=shape)), 5.0).expanded
    assert base < more < still


def test_an_offset_that_nobody_corrects_is_added() -> None:
    """JCGM 100:2008, F.2.4.5: U then holds the offset too."""
    off = Part(name="bias", kind="bias", shape=NORMAL, scale=0.1, centre=-0.5)
    made = work_out(budget_of(off), 5.0)
    assert made.value == pytest.approx(4.5)
    assert made.around_reading == pytest.approx(made.expanded + 0.5)


def test_age_grows_what_grows_with_time() -> None:
    """Drift goes with the months; a part without months is told, not taken as none."""
    drift = Part(name="d", kind="drift", shape=RECTANGULAR, scale=0.1, per_month=True)
    budget = budget_of(drift, part("a", 0.1))
    assert budget.undated == ("d",)
    old = budget.aged(6.0)
    assert old.undated == ()
    assert work_out(old, 5.0).shares[0].standard == pytest.approx(0.6 / math.sqrt(3))
    assert work_out(budget.aged(12.0), 5.0).combined > work_out(old, 5.0).combined


def test_missing_parts_are_told() -> None:
    """A budget without a needed part says which."""
    assert set(budget_of(part("a", 1.0)).missing()) == set(NEEDED)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_refusals_of_readings(value: float) -> None:
    """A reading that is no number is refused."""
    with pytest.raises(BudgetError, match="must be a number"):
        work_out(budget_of(part("a", 1.0)), value)


@pytest.mark.parametrize("value", [math.nan, math.inf, -1.0])
def test_refusals_of_widths_and_ages(value: float) -> None:
    """Widths and ages below zero, or without end, are refused."""
    with pytest.raises(BudgetError, match="not below zero"):
        part("a", value)
    with pytest.raises(BudgetError, match="zero or more"):
        budget_of(part("a", 1.0)).aged(value)


@pytest.mark.parametrize("value", [0.0, 1.0, -0.1, math.nan])
def test_refusals_of_coverage(value: float) -> None:
    """A coverage that is no share is refused."""
    with pytest.raises(BudgetError, match="above 0 and below 1"):
        work_out(budget_of(part("a", 1.0)), 5.0, value)


def test_other_refusals() -> None:
    """Degrees of freedom below 1, pressures of zero, drift beyond the reading."""
    with pytest.raises(BudgetError, match="At least 1"):
        Part(name="a", kind="other", shape=STUDENT, scale=1.0, dof=0.5)
    with pytest.raises(BudgetError, match="At least 1"):
        coverage_factor(0.0)
    with pytest.raises(BudgetError, match="above zero"):
        Part(name="p", kind="pressure", shape=INVERSE, ratio=(0.0, 1.0))
    drift = Part(
        name="d", kind="drift", shape=RECTANGULAR, scale=0.1, relative=True, per_month=True
    )
    with pytest.raises(BudgetError, match="Calibrate first"):
        budget_of(drift).aged(10.0)


def test_correlations_that_contradict_are_refused() -> None:
    """Three inputs cannot each go against the other two."""
    parts = [part(name, 1.0) for name in "abc"]
    pairs = (("a", "b", -0.9), ("b", "c", -0.9), ("a", "c", -0.9))
    with pytest.raises(BudgetError, match="contradict one another"):
        correlation_matrix(budget_of(*parts, correlations=pairs))
    with pytest.raises(BudgetError, match="two different parts"):
        correlation_matrix(budget_of(*parts, correlations=(("a", "z", 0.1),)))
    with pytest.raises(BudgetError, match="from -1 to 1"):
        correlation_matrix(budget_of(*parts, correlations=(("a", "b", 1.1),)))


def test_opposite_parts_cancel() -> None:
    """Two equal parts that go against each other wholly leave nothing."""
    made = work_out(
        budget_of(part("a", 1.0), part("b", 1.0), correlations=(("a", "b", -1.0),)), 5.0
    )
    assert made.combined == pytest.approx(0.0, abs=1e-9)
    assert pytest.approx(0.9545, abs=1e-4) == COVERAGE


def test_a_correlation_with_what_has_no_age_waits() -> None:
    """A drift with no months given counts for nothing yet, so nothing can vary with it."""
    drift = Part(name="d", kind="drift", shape=RECTANGULAR, scale=0.1, per_month=True)
    made = budget_of(part("a", 1.0), drift, correlations=(("a", "d", 0.5),))
    assert made.undated == ("d",)
    assert correlation_matrix(made).tolist() == [[1.0]]
    assert work_out(made, 5.0).combined == pytest.approx(1.0)
    aged = made.aged(6.0)
    assert correlation_matrix(aged).tolist() == [[1.0, 0.5], [0.5, 1.0]]


def test_offsets_that_go_against_each_other_do_not_cancel() -> None:
    """One part lowers the true value by 0.15, one raises it by 0.2: U counts the greater, not 0.05."""
    low = Part(name="h2", kind="cross", shape=NORMAL, scale=0.1, centre=-0.15)
    high = Part(name="drift", kind="drift", shape=NORMAL, scale=0.1, centre=0.2)
    both, alone = work_out(budget_of(low, high), 5.0), work_out(budget_of(high), 5.0)
    assert both.offset == pytest.approx(0.05)
    assert both.one_sided == pytest.approx(0.2)
    assert both.around_reading == pytest.approx(both.expanded + 0.2)
    # A gas that is only assumed never makes U smaller.
    assert both.around_reading >= alone.around_reading
    share = Part(name="age", kind="drift", shape=NORMAL, scale=0.01, centre=0.03, relative=True)
    assert work_out(budget_of(low, share), 5.0).one_sided == pytest.approx(0.15)
    assert work_out(budget_of(low, share), 10.0).one_sided == pytest.approx(0.3)
