"""From budgets worked out at some readings to one entry that the decision rules take.

The entry never states less than what was worked out, at no reading from zero to the highest.
"""

from __future__ import annotations

import json
import math
from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air import units
from lungwort.errors import BudgetError
from lungwort.verdict import monte_carlo
from lungwort.verdict.budget import Budget, Worked, work_out
from lungwort.verdict.budget_coverage import COVERAGE
from lungwort.verdict.budget_file import not_below_zero
from lungwort.verdict.decision import Uncertainty

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.verdict.monte_carlo import Drawn, Validation

STEPS: Final = 60
"""Readings between the lowest and the highest at which the entry is held against the budget."""
_BEYOND: Final = 10.0
_WITHOUT_END: Final = (units.FRACTION, units.MASS, units.MIXING, units.FLOW)


def _most(unit: str) -> float:
    """Give the highest reading that there can be [unit]."""
    if units.unit(unit).dimension == units.FRACTION:
        return units.scale(1e6, "ppm", unit)
    return math.inf


@frozen
class Point:
    """A budget at one reading, by formula and by draws.

    Parameters
    ----------
    worked : Worked
        By formula.
    drawn : Drawn
        By draws.
    validation : Validation
        Whether the two agree.
    """

    worked: Worked
    drawn: Drawn
    validation: Validation

    @property
    def needed(self) -> float:
        """U around the reading that the decision rules need: the greater of the two [unit].

        The rules take half of it as the standard uncertainty of a normal spread, so it is never
        less than k u_c, even where the interval of the draws is shorter.
        """
        return max(self.worked.around_reading, self.drawn.around_reading)


def points(
    budget: Budget, *, coverage: float = COVERAGE, trials: int | None = None
) -> tuple[Point, ...]:
    """Work a budget out at all its readings, both ways.

    Parameters
    ----------
    budget : Budget
        The budget.
    coverage : float
        Share of true values inside the interval, above 0 and below 1 [1].
    trials : int, optional
        Draws; as many as the coverage asks for where not given [1].

    Returns
    -------
    tuple of Point
        One a reading.

    Raises
    ------
    BudgetError
        Where it cannot be worked out.
    """
    drawn = monte_carlo.effects(budget, trials or monte_carlo.trials_for(coverage))
    floor = not_below_zero(budget)
    made = []
    for reading in budget.at:
        worked = work_out(budget, reading, coverage)
        chance = monte_carlo.draw(reading, drawn, coverage=coverage, not_below_zero=floor)
        made.append(Point(worked, chance, monte_carlo.validated(worked, chance)))
    return tuple(made)


def rounded_up(value: float, digits: int = 2) -> float:
    """Round up to so many significant digits.

    Parameters
    ----------
    value : float
        The value, zero or more.
    digits : int
        Significant digits, 1 or more [1].

    Returns
    -------
    float
        Never less than the value.

    Raises
    ------
    BudgetError
        Where it is negative or no number.

    Examples
    --------
    >>> rounded_up(0.8412), rounded_up(12.01), rounded_up(0.5)
    (0.85, 13.0, 0.5)
    """
    if not (math.isfinite(value) and value >= 0):
        raise BudgetError(f"an uncertainty of {value:g} was given. It must be zero or more.")
    if value == 0:
        return 0.0
    exact = Decimal(repr(value))
    place = Decimal(1).scaleb(exact.adjusted() - digits + 1)
    return float(exact.quantize(place, rounding=ROUND_CEILING))


def cover(readings: Sequence[float], needed: Sequence[float]) -> tuple[float, float]:
    """Find an absolute and a relative part whose greater one covers U at every reading.

    Parameters
    ----------
    readings : sequence of float
        The readings [unit].
    needed : sequence of float
        U at each, above zero [unit].

    Returns
    -------
    tuple of (float, float)
        Absolute part [unit] and relative part (share of the reading, below 1), rounded up; of all
        pairs the one that states the least too much on average.

    Raises
    ------
    BudgetError
        Where there are no readings, or U is not above zero.
    """
    if not readings or len(readings) != len(needed) or not all(0 < u < math.inf for u in needed):
        raise BudgetError(
            "U must be known, and above zero, at every reading. State the resolution, at the least."
        )
    pairs = sorted(zip(readings, needed, strict=True))
    found = [(rounded_up(max(needed)), 0.0)]
    for x, u in pairs:
        if u < abs(x) and (share := rounded_up(u / abs(x), 3)) < 1.0:
            found.append((_rest(pairs, share), share))

    def excess(pair: tuple[float, float]) -> float:
        return sum(max(pair[0], pair[1] * abs(x)) / u for x, u in pairs)

    return min(found, key=excess)


def _rest(pairs: Sequence[tuple[float, float]], share: float) -> float:
    """Give the absolute part for what a share does not cover, up to the next readings that it does.

    U bends upwards between two readings (a root of a sum of squares), so whatever covers both ends
    covers what lies between.
    """
    short = [share * abs(x) < u for x, u in pairs]
    return rounded_up(
        max(
            (u for at, (_, u) in enumerate(pairs) if any(short[max(at - 1, 0) : at + 2])),
            default=0.0,
        )
    )


def entry_of(
    budget: Budget, worked_at: Sequence[Point], *, coverage: float = COVERAGE
) -> Uncertainty:
    """Make the entry that the decision rules take.

    Parameters
    ----------
    budget : Budget
        The budget.
    worked_at : sequence of Point
        As `points` gives them.
    coverage : float
        That of the points [1].

    Returns
    -------
    Uncertainty
        It covers U at the readings of the budget, between them, and down to zero. Where a share of
        the reading is part of it, readings above are covered too.

    Raises
    ------
    BudgetError
        Where the budget comes to no uncertainty at all.
    """
    readings, needed = dense(budget, worked_at, coverage=coverage)
    if units.unit(budget.unit).dimension == units.TEMPERATURE:
        absolute, relative = rounded_up(max(needed)), 0.0
    else:
        absolute, relative = cover(readings, needed)
    low, high = readings[0], budget.at[-1]
    return Uncertainty(
        analyte=budget.analyte,
        sensor=budget.sensor,
        used_for=budget.used_for,
        quantity=budget.quantity,
        unit=budget.unit,
        absolute=absolute,
        relative=relative,
        source=(
            f"budget '{budget.name}', worked out for readings from {low:g} to {high:g} "
            f"{budget.unit}"
        ),
        assumed=False,
    )


def dense(
    budget: Budget, worked_at: Sequence[Point], *, coverage: float = COVERAGE
) -> tuple[list[float], list[float]]:
    """Give U at many readings between those of the budget, and beyond them.

    Parameters
    ----------
    budget : Budget
        The budget.
    worked_at : sequence of Point
        As `points` gives them.
    coverage : float
        That of the points [1].

    Returns
    -------
    tuple of (list of float, list of float)
        Readings, rising [unit], and U by formula at each, raised by as much as any point needs more
        than the formula gives [unit].

    Raises
    ------
    BudgetError
        Where the budget comes to no uncertainty at all.
    """
    for one in worked_at:
        if not one.worked.around_reading > 0:
            raise BudgetError(
                f"budget {budget.name!r} comes to no uncertainty at a reading of "
                f"{one.worked.reading:g} {budget.unit}. State its resolution, at the least."
            )
    more = max(one.needed / one.worked.around_reading for one in worked_at)
    low, high = budget.at[0], budget.at[-1]
    if not_below_zero(budget):
        low = min(low, 0.0)
    readings = sorted(
        {low + (high - low) * step / STEPS for step in range(STEPS + 1)} | set(budget.at)
    )
    if units.unit(budget.unit).dimension in _WITHOUT_END and high > 0:
        readings.append(max(high, min(_BEYOND * high, _most(budget.unit))))
    readings = sorted(set(readings))
    exact = {one.worked.reading: one.needed for one in worked_at}
    return readings, [
        max(more * work_out(budget, one, coverage).around_reading, exact.get(one, 0.0))
        for one in readings
    ]


def uncertainties_toml(entries: Sequence[Uncertainty], remark: str = "") -> str:
    """Write entries as a file that ``lungwort judge --uncertainties`` takes.

    Parameters
    ----------
    entries : sequence of Uncertainty
        The entries.
    remark : str
        What is said at its top, in one or several lines.

    Returns
    -------
    str
        TOML.
    """
    lines = [f"# {line}" for line in remark.splitlines()]
    for one in entries:
        texts = {
            "analyte": one.analyte,
            "sensor": one.sensor,
            "used_for": one.used_for,
            "quantity": one.quantity,
            "unit": one.unit,
        }
        lines += ["", "[[uncertainty]]"]
        lines += [f"{key} = {_quoted(value)}" for key, value in texts.items()]
        lines += [f"absolute = {_plain(one.absolute)}", f"relative = {_plain(one.relative)}"]
        lines.append(f"source = {_quoted(one.source)}")
    return "\n".join(lines).lstrip("\n") + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _plain(value: float) -> str:
    return f"{Decimal(repr(value)):f}"
