"""Uncertainty budget of a reading: from its parts to an expanded uncertainty.

The true value behind a reading x is taken as c = (x + A)(1 + e1)(1 + e2)…, where A is the sum of
the effects in the unit of the reading, and each e an effect that goes with the reading.

References
----------
JCGM 100:2008 (GUM), Evaluation of measurement data: Guide to the expression of uncertainty in
measurement.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.errors import BudgetError
from lungwort.verdict.budget_coverage import (
    COVERAGE,
    checked_coverage,
    coverage_factor,
    effective_dof,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

NORMAL: Final = "normal"
STUDENT: Final = "student"
RECTANGULAR: Final = "rectangular"
TRIANGULAR: Final = "triangular"
U_SHAPED: Final = "u_shaped"
INVERSE: Final = "inverse"
SHAPES: Final = (NORMAL, RECTANGULAR, TRIANGULAR, U_SHAPED)
"""Shapes that a budget may name."""

RESOLUTION: Final = "resolution"
GAS: Final = "gas"
LINEARITY: Final = "linearity"
ZERO: Final = "zero"
DRIFT: Final = "drift"
TEMPERATURE: Final = "temperature"
PRESSURE: Final = "pressure"
CROSS: Final = "cross"
REPEATABILITY: Final = "repeatability"
BIAS: Final = "bias"
OTHER: Final = "other"
NEEDED: Final = {
    RESOLUTION: "resolution of the reading",
    GAS: "calibration gas",
    LINEARITY: "linearity",
    ZERO: "zero",
    DRIFT: "drift since calibration",
    TEMPERATURE: "temperature effect",
    PRESSURE: "pressure effect",
    CROSS: "cross-sensitivity",
    REPEATABILITY: "repeatability",
}
"""Parts that every budget gives, or leaves out with a reason."""
KINDS: Final = {**NEEDED, BIAS: "bias", OTHER: "other"}

_DIVISOR: Final = {
    NORMAL: 1.0,
    STUDENT: 1.0,
    RECTANGULAR: math.sqrt(3.0),
    TRIANGULAR: math.sqrt(6.0),
    U_SHAPED: math.sqrt(2.0),
}
_DUST: Final = 1e-9


@frozen(kw_only=True)
class Part:
    """One part of a budget: by how much, and which way, it may move the true value off the reading.

    Parameters
    ----------
    name : str
        Its name, unlike that of every other part.
    kind : str
        One of `KINDS`.
    shape : str
        ``normal``, ``student``, ``rectangular``, ``triangular``, ``u_shaped``, or ``inverse`` for a
        cell that reads partial pressure.
    scale : float
        Standard uncertainty for ``normal`` and ``student``, else half width; not below zero
        [unit, or share of the reading].
    centre : float
        Middle of the effect on the true value; not zero where the readings are off to one side and
        nobody corrects them [unit, or share of the reading].
    relative : bool
        Whether it goes with the reading.
    dof : float
        Degrees of freedom, 1 or more; infinite where the spread is taken as known [1].
    ratio : tuple of (float, float), optional
        For ``inverse``: lowest and highest pressure at the cell over that at its calibration [1].
    per_month : bool
        Whether scale and centre are those of one month since the calibration.
    months : float, optional
        Months since the calibration, where the budget itself states them [months].
    source : str
        Where the figure comes from.
    """

    name: str
    kind: str
    shape: str
    scale: float = 0.0
    centre: float = 0.0
    relative: bool = False
    dof: float = math.inf
    ratio: tuple[float, float] | None = None
    per_month: bool = False
    months: float | None = None
    source: str = ""

    def __attrs_post_init__(self) -> None:
        """Refuse figures that no part can have."""
        if not (math.isfinite(self.scale) and self.scale >= 0 and math.isfinite(self.centre)):
            raise BudgetError(
                f"part {self.name!r}: a width of {self.scale:g} around {self.centre:g} was given. "
                "Both must be numbers, and the width not below zero."
            )
        if not self.dof >= 1:
            raise BudgetError(
                f"part {self.name!r}: {self.dof:g} degrees of freedom were given. "
                "At least 1 is needed, which two readings give."
            )
        if self.shape == INVERSE and (
            self.ratio is None or not 0 < self.ratio[0] <= self.ratio[1] < math.inf
        ):
            raise BudgetError(
                f"part {self.name!r}: the lowest and highest pressure were given as {self.ratio}. "
                "Both must be above zero, and the highest not below the lowest."
            )

    @property
    def middle(self) -> float:
        """Middle of the effect [unit, or share of the reading]."""
        if self.ratio is not None:
            return 2.0 / (self.ratio[0] + self.ratio[1]) - 1.0
        return self.centre

    @property
    def standard(self) -> float:
        """Standard uncertainty [unit, or share of the reading] (JCGM 100:2008, 4.3 and 4.2)."""
        if self.ratio is not None:
            low, high = self.ratio
            half = (high - low) / 2.0 / _DIVISOR[RECTANGULAR]
            return half * (1.0 + self.middle) ** 2
        return self.scale / _DIVISOR[self.shape]


@frozen(kw_only=True)
class Budget:
    """The uncertainty budget of one kind of reading.

    Parameters
    ----------
    name : str
        Its name.
    analyte, quantity, unit : str
        What is read, and in which unit.
    at : tuple of float
        Readings at which it is worked out, rising [unit].
    parts : tuple of Part
        Its parts.
    left_out : tuple of (str, str)
        Kinds of part that are left out, with the reason.
    correlations : tuple of (str, str, float)
        Names of two parts, and their correlation, from -1 to 1 [1].
    used_for : str
        ``log`` or ``hand test``.
    sensor : str
        Kind of sensor, in words.
    instrument : str
        Name of the instrument on record; empty for none.
    note : str
        What the writer says of it.
    """

    name: str
    analyte: str
    quantity: str
    unit: str
    at: tuple[float, ...]
    parts: tuple[Part, ...]
    left_out: tuple[tuple[str, str], ...] = ()
    correlations: tuple[tuple[str, str, float], ...] = ()
    used_for: str = "log"
    sensor: str = ""
    instrument: str = ""
    note: str = ""

    def missing(self) -> tuple[str, ...]:
        """Give the kinds of part that are neither there nor left out with a reason."""
        there = {part.kind for part in self.parts} | {kind for kind, _ in self.left_out}
        return tuple(kind for kind in NEEDED if kind not in there)

    @property
    def undated(self) -> tuple[str, ...]:
        """Names of the parts that grow with time, where no time is known."""
        return tuple(one.name for one in self.parts if one.per_month and one.months is None)

    def aged(self, months: float) -> Budget:
        """Give the same budget at another age of the calibration.

        Parameters
        ----------
        months : float
            Months since the calibration, zero or more [months].

        Returns
        -------
        Budget
            With this age in every part that grows with time.

        Raises
        ------
        BudgetError
            Where it is no such number.
        """
        if not (math.isfinite(months) and months >= 0):
            raise BudgetError(
                f"{months:g} months since the calibration were given. "
                "It must be a number of zero or more."
            )
        for one in self.parts:
            if one.per_month and one.relative and months * (abs(one.centre) + one.scale) >= 1:
                raise BudgetError(
                    f"part {one.name!r}: in {months:.3g} months the drift is as great as the "
                    "reading. Calibrate first; nothing can be said of readings until then."
                )
        return evolve(
            self,
            parts=tuple(evolve(one, months=months) if one.per_month else one for one in self.parts),
        )

    @property
    def terms(self) -> tuple[Part, ...]:
        """The parts as they stand now, without those of which the time is not known."""
        return tuple(
            evolve(
                one, scale=one.scale * one.months, centre=one.centre * one.months, per_month=False
            )
            if one.per_month and one.months is not None
            else one
            for one in self.parts
            if not one.per_month or one.months is not None
        )


@frozen
class Share:
    """What one part does to the result.

    Parameters
    ----------
    name, kind, shape : str
        Which part.
    standard : float
        Its standard uncertainty [unit, or share of the reading].
    relative : bool
        Whether that is a share of the reading.
    dof : float
        Its degrees of freedom [1].
    sensitivity : float
        By how much the result moves with it [1, or unit].
    contribution : float
        Standard uncertainty of the result by this part alone [unit].
    """

    name: str
    kind: str
    shape: str
    standard: float
    relative: bool
    dof: float
    sensitivity: float
    contribution: float


@frozen
class Worked:
    """A budget, worked out at one reading.

    Parameters
    ----------
    reading : float
        The reading [unit].
    value : float
        Best estimate of the true value [unit].
    combined : float
        Combined standard uncertainty u_c [unit].
    dof : float
        Effective degrees of freedom [1].
    factor : float
        Coverage factor k [1].
    expanded : float
        U = k u_c, around the best estimate [unit].
    offset : float
        How far the best estimate lies from the reading, which nobody corrects [unit].
    shares : tuple of Share
        What each part does.
    one_sided : float
        How far the best estimate would lie from the reading with only the offsets that raise it, or
        only those that lower it, whichever is farther [unit].
    """

    reading: float
    value: float
    combined: float
    dof: float
    factor: float
    expanded: float
    offset: float
    shares: tuple[Share, ...]
    one_sided: float

    @property
    def around_reading(self) -> float:
        """U around the reading as it is shown: k u_c and the offset (JCGM 100:2008, F.2.4.5).

        Offsets that go against each other do not cancel: the greater side counts whole (own rule). A
        gas that is only assumed would else make U smaller.
        """
        return self.expanded + self.one_sided


def work_out(budget: Budget, reading: float, coverage: float = COVERAGE) -> Worked:
    """Combine the parts of a budget at one reading.

    Parameters
    ----------
    budget : Budget
        The budget.
    reading : float
        The reading [unit].
    coverage : float
        Share of true values inside the interval, above 0 and below 1 [1].

    Returns
    -------
    Worked
        u_c, effective degrees of freedom, k, U, and what each part does.

    Raises
    ------
    BudgetError
        Where the reading is no number, or the correlations contradict one another.

    References
    ----------
    JCGM 100:2008: 5.1.2 and 5.2.2 (combination), G.4.1 (effective degrees of freedom, rounded down
    to a whole number), G.3 (k from Student's t).

    Examples
    --------
    Two equal rectangular parts of half width 1:

    >>> two = tuple(Part(name=n, kind="other", shape="rectangular", scale=1.0) for n in "ab")
    >>> made = work_out(Budget(name="x", analyte="co", quantity="volume_fraction", unit="ppm",
    ...                        at=(5.0,), parts=two), 5.0)
    >>> round(made.combined, 4), round(made.expanded, 3)
    (0.8165, 1.633)
    """
    if not math.isfinite(reading):
        raise BudgetError(f"the reading is {reading:g}. It must be a number.")
    checked_coverage(coverage)
    terms = budget.terms
    added = reading + sum(one.middle for one in terms if not one.relative)
    product = math.prod(1.0 + one.middle for one in terms if one.relative)
    slopes = [added * product / (1.0 + one.middle) if one.relative else product for one in terms]
    pulls = [slope * one.standard for slope, one in zip(slopes, terms, strict=True)]
    matrix = correlation_matrix(budget)
    variance = float(
        sum(
            pulls[i] * pulls[j] * float(matrix[i, j])
            for i in range(len(terms))
            for j in range(len(terms))
        )
    )
    combined = math.sqrt(max(variance, 0.0))
    dof = _effective_dof(budget, terms, pulls, combined)
    factor = coverage_factor(dof, coverage)
    value = added * product
    sides = [
        (reading + sum(side(one.middle, 0.0) for one in terms if not one.relative))
        * math.prod(1.0 + side(one.middle, 0.0) for one in terms if one.relative)
        for side in (max, min)
    ]
    return Worked(
        reading=reading,
        value=value,
        combined=combined,
        dof=dof,
        factor=factor,
        expanded=factor * combined,
        offset=value - reading,
        shares=tuple(
            Share(
                one.name, one.kind, one.shape, one.standard, one.relative, one.dof, slope, abs(pull)
            )
            for one, slope, pull in zip(terms, slopes, pulls, strict=True)
        ),
        one_sided=max(abs(one - reading) for one in (value, *sides)),
    )


def _effective_dof(
    budget: Budget, terms: Sequence[Part], pulls: Sequence[float], combined: float
) -> float:
    correlated = {name for pair in budget.correlations for name in pair[:2]}
    few = [
        one.dof for one, pull in zip(terms, pulls, strict=True) if pull and math.isfinite(one.dof)
    ]
    if few and (
        combined == 0 or any(one.name in correlated and math.isfinite(one.dof) for one in terms)
    ):
        # The formula holds for independent parts only; the fewest is the safe side.
        return min(few)
    return effective_dof(pulls, [one.dof for one in terms])


def correlation_matrix(budget: Budget) -> NDArray[np.float64]:
    """Set up the correlations of the parts that are worked with.

    Parameters
    ----------
    budget : Budget
        The budget.

    Returns
    -------
    numpy.ndarray
        Symmetrical, 1 along the diagonal.

    Raises
    ------
    BudgetError
        Where a part is not known, a correlation is beyond ±1, or they contradict one another.
    """
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    terms = budget.terms
    place = {one.name: at for at, one in enumerate(terms)}
    undated = set(budget.undated)
    matrix = np.eye(len(terms))
    for first, second, size in budget.correlations:
        if {first, second} & undated:
            continue
        if first not in place or second not in place or first == second:
            raise BudgetError(
                f"budget {budget.name!r}: a correlation between {first!r} and {second!r} is given. "
                f"Name two different parts of: {', '.join(place)}."
            )
        if not -1.0 <= size <= 1.0:
            raise BudgetError(
                f"budget {budget.name!r}: a correlation of {size:g} is given. It lies from -1 to 1."
            )
        matrix[place[first], place[second]] = matrix[place[second], place[first]] = size
    if len(terms) and float(np.linalg.eigvalsh(matrix)[0]) < -_DUST:
        raise BudgetError(
            f"budget {budget.name!r}: its correlations contradict one another, no inputs can vary "
            "together like that. Check their signs, or give fewer."
        )
    return matrix
