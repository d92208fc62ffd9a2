"""A budget worked out by chance: draws of all parts at once, for models that bend.

References
----------
JCGM 101:2008, Evaluation of measurement data: Supplement 1 to the GUM, Propagation of distributions
using a Monte Carlo method.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import BudgetError
from lungwort.verdict.budget import (
    INVERSE,
    NORMAL,
    RECTANGULAR,
    STUDENT,
    TRIANGULAR,
    correlation_matrix,
)
from lungwort.verdict.budget_coverage import COVERAGE, checked_coverage

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lungwort.verdict.budget import Budget, Part, Worked

    Draws = NDArray[np.float64]

SEED: Final = 20081008
DIGITS: Final = 2
"""Significant digits of an uncertainty that are meant, for the rule of clause 8."""


@frozen
class Drawn:
    """What the draws came to at one reading.

    Parameters
    ----------
    reading : float
        The reading [unit].
    mean, standard : float
        Mean and standard deviation of the true values drawn [unit].
    low, high : float
        Shortest interval that holds the share wanted of them [unit].
    physical_low, physical_high : float
        The same without draws below zero, where there is no such thing; else as above [unit].
    trials : int
        How many were drawn [1].
    """

    reading: float
    mean: float
    standard: float
    low: float
    high: float
    physical_low: float
    physical_high: float
    trials: int

    @property
    def around_reading(self) -> float:
        """Farther end of the intervals from the reading [unit]."""
        return max(
            self.high - self.reading, self.reading - self.low, self.physical_high - self.reading
        )


@frozen
class Validation:
    """Whether the combination by formula agrees with the draws.

    Parameters
    ----------
    tolerance : float
        δ: half a unit of the last digit of u_c that is meant [unit].
    low_off, high_off : float
        How far the ends of the two intervals lie apart [unit].
    agrees : bool
        Whether both are within the tolerance.
    """

    tolerance: float
    low_off: float
    high_off: float
    agrees: bool


def trials_for(coverage: float) -> int:
    """Give the number of draws for a coverage.

    Parameters
    ----------
    coverage : float
        Share of true values, above 0 and below 1 [1].

    Returns
    -------
    int
        The next whole ten thousand above 10 000 / (1 - p).

    References
    ----------
    JCGM 101:2008, 7.2.1: M should be large, such as 10 000 times greater than 1/(1 - p).

    Examples
    --------
    >>> trials_for(0.95), trials_for(0.9545)
    (200000, 220000)
    """
    return 10_000 * math.ceil(1.0 / (1.0 - checked_coverage(coverage)) - 1e-9)


def effects(budget: Budget, trials: int, seed: int = SEED) -> tuple[Draws, Draws]:
    """Draw the effects of all parts.

    Parameters
    ----------
    budget : Budget
        The budget.
    trials : int
        How many, 1000 or more [1].
    seed : int
        Where the stream of chance begins; the same seed gives the same draws.

    Returns
    -------
    tuple of numpy.ndarray
        A, to be added to a reading [unit], and the product of 1 + e [1].

    Raises
    ------
    BudgetError
        Where too few are asked for.

    References
    ----------
    JCGM 101:2008, 6.4: rectangular, triangular, arc sine (U-shaped), Gaussian, and scaled and
    shifted t for repeated readings. Correlated parts: a Gaussian copula, of which the correlation
    of two rectangular parts differs by less than 0.02 from the one stated (computed).
    """
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    least = 1000
    if trials < least:
        raise BudgetError(f"{trials} draws were asked for. At least {least} are needed.")
    chance = np.random.Generator(np.random.PCG64(seed))
    bound = _bound(budget, trials, chance)
    added, product = np.zeros(trials), np.ones(trials)
    for at, one in enumerate(budget.terms):
        effect = _effect(one, trials, chance, bound.get(at))
        if one.relative:
            product *= 1.0 + effect
        else:
            added += effect
    return added, product


def _bound(budget: Budget, trials: int, chance: np.random.Generator) -> dict[int, Draws]:
    """Draw scores of the parts that vary together."""
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    matrix = correlation_matrix(budget)
    off = matrix - np.eye(len(matrix))
    places = [at for at in range(len(matrix)) if np.any(off[at])]
    if not places:
        return {}
    values, vectors = np.linalg.eigh(matrix[np.ix_(places, places)])
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    scores = root @ chance.standard_normal((len(places), trials))
    return dict(zip(places, scores, strict=True))


def _effect(one: Part, trials: int, chance: np.random.Generator, scores: Draws | None) -> Draws:
    import numpy as np  # noqa: PLC0415 - keeps --help instant
    from scipy.special import ndtr, stdtrit  # noqa: PLC0415 - keeps --help instant

    drawn: Draws
    if one.shape == NORMAL:
        drawn = chance.standard_normal(trials) if scores is None else scores
    elif one.shape == STUDENT and scores is None and math.isfinite(one.dof):
        drawn = chance.standard_t(one.dof, trials)
    else:
        share = (
            chance.random(trials) if scores is None else np.asarray(ndtr(scores), dtype=np.float64)
        )
        if one.shape == STUDENT:
            drawn = np.asarray(stdtrit(one.dof, share), dtype=np.float64)
        elif one.shape == RECTANGULAR:
            drawn = 2.0 * share - 1.0
        elif one.shape == TRIANGULAR:
            below = share < 1.0 / 2.0
            drawn = np.where(below, np.sqrt(2.0 * share) - 1.0, 1.0 - np.sqrt(2.0 * (1.0 - share)))
        elif one.shape == INVERSE and one.ratio is not None:
            low, high = one.ratio
            return 1.0 / (low + (high - low) * share) - 1.0
        else:
            drawn = np.sin(math.pi * (share - 0.5))
    return one.centre + one.scale * drawn


def shortest_interval(values: Draws, coverage: float = COVERAGE) -> tuple[float, float]:
    """Give the shortest interval that holds a share of the values.

    Parameters
    ----------
    values : numpy.ndarray
        The values, 1000 or more.
    coverage : float
        Share wanted, above 0 and below 1 [1].

    Returns
    -------
    tuple of (float, float)
        Its ends [unit of the values].

    References
    ----------
    JCGM 101:2008, 7.7.2 and 7.7.4.
    """
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    rising = np.sort(values)
    held = min(math.ceil(checked_coverage(coverage) * len(rising)), len(rising) - 1)
    widths = rising[held:] - rising[: len(rising) - held]
    at = int(np.argmin(widths))
    return float(rising[at]), float(rising[at + held])


def draw(
    reading: float,
    drawn: tuple[Draws, Draws],
    *,
    coverage: float = COVERAGE,
    not_below_zero: bool = False,
) -> Drawn:
    """Work a budget out at one reading, from the effects drawn.

    Parameters
    ----------
    reading : float
        The reading [unit].
    drawn : tuple of numpy.ndarray
        As `effects` gives them.
    coverage : float
        Share of true values inside the interval, above 0 and below 1 [1].
    not_below_zero : bool
        Whether there is no true value below zero, as with a concentration.

    Returns
    -------
    Drawn
        Mean, standard deviation and shortest intervals.

    Raises
    ------
    BudgetError
        Where the reading is no number, or lies so far below zero that nearly all draws do.

    References
    ----------
    JCGM 101:2008, 7.5 to 7.7. Knowledge that the true value is not below zero enters as a prior:
    draws below zero are left out, not set to zero.
    """
    if not math.isfinite(reading):
        raise BudgetError(f"the reading is {reading:g}. It must be a number.")
    added, product = drawn
    values = (reading + added) * product
    low, high = shortest_interval(values, coverage)
    physical = (low, high)
    if not_below_zero and float(values.min()) < 0:
        kept = values[values >= 0]
        few = 1000
        if len(kept) < few:
            raise BudgetError(
                f"a reading of {reading:g} lies so far below zero that the parts of the budget do "
                "not explain it. Check the zero of the instrument, or the part for its zero."
            )
        physical = shortest_interval(kept, coverage)
    return Drawn(
        reading=reading,
        mean=float(values.mean()),
        standard=float(values.std(ddof=1)),
        low=low,
        high=high,
        physical_low=physical[0],
        physical_high=physical[1],
        trials=len(values),
    )


def tolerance_of(standard: float, digits: int = DIGITS) -> float:
    """Give the numerical tolerance δ of a standard uncertainty.

    Parameters
    ----------
    standard : float
        Standard uncertainty, above zero [unit].
    digits : int
        Significant digits that are meant, 1 or more [1].

    Returns
    -------
    float
        Half a unit of the last of them [unit].

    Raises
    ------
    BudgetError
        Where the uncertainty is not above zero.

    References
    ----------
    JCGM 101:2008, 7.9.2: written as c × 10^l with c a whole number of so many digits, δ = 10^l / 2.

    Examples
    --------
    The example of 7.9.2: 0.000 35 with two digits gives 0.000 005.

    >>> f"{tolerance_of(0.00035):.7f}"
    '0.0000050'
    """
    if not (math.isfinite(standard) and standard > 0):
        raise BudgetError(
            f"a standard uncertainty of {standard:g} was given. It must be above zero."
        )
    mantissa = f"{standard:.{digits - 1}e}"
    power = int(mantissa.split("e")[1]) - (digits - 1)
    return 0.5 * 10.0**power


def validated(worked: Worked, drawn: Drawn, digits: int = DIGITS) -> Validation:
    """Hold the interval of the formula against that of the draws.

    Parameters
    ----------
    worked : Worked
        The budget by formula.
    drawn : Drawn
        The budget by draws, at the same reading and coverage.
    digits : int
        Significant digits of u_c that are meant, 1 or more [1].

    Returns
    -------
    Validation
        Whether the formula may be used.

    References
    ----------
    JCGM 101:2008, 8.1: d_low = |y - U - y_low|, d_high = |y + U - y_high|, both within δ.
    """
    if worked.combined == 0:
        return Validation(0.0, 0.0, 0.0, agrees=True)
    tolerance = tolerance_of(worked.combined, digits)
    low_off = abs(worked.value - worked.expanded - drawn.low)
    high_off = abs(worked.value + worked.expanded - drawn.high)
    return Validation(
        tolerance, low_off, high_off, agrees=low_off <= tolerance and high_off <= tolerance
    )
