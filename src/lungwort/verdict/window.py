"""What is allowed, carried into the unit of the evidence and ready for comparing.

A bound is carried to the evidence, never a column of readings to the bound: one conversion
instead of millions, and the readings stay as they were logged. A carried bound may itself be
known only to lie between two values; a reading between them is undecided.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.air.interval import INSIDE, OUTSIDE, STRADDLES, Interval
from lungwort.logs.model import ABOVE, BELOW, UNREADABLE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Codes = NDArray[np.int8]

DUST: Final = 1e-9
"""Numbers nearer than this, relative to the bound but at least absolute, are the same number.

Scaling a unit leaves the last binary digits open (0.05 % is 500.00000000000006 ppm), and no
instrument resolves a billionth. Without it, whether a reading on the bound is allowed would be
up to the rounding of a multiplication."""


@frozen
class Edge:
    """One end of what is allowed, in the unit of the evidence.

    Parameters
    ----------
    low, high : float
        Between which values the end lies; equal where it is known exactly [unit of the evidence].
    included : bool
        Whether the end itself is allowed.
    """

    low: float
    high: float
    included: bool = True

    @property
    def dust(self) -> float:
        """Half-width of the range that counts as the same number [unit of the evidence]."""
        return DUST * max(1.0, abs(self.low), abs(self.high))


@frozen
class Window:
    """The allowed range that evidence is held against.

    Parameters
    ----------
    lower, upper : Edge, optional
        The ends; None where there is none.
    """

    lower: Edge | None = None
    upper: Edge | None = None

    @property
    def above_from(self) -> float:
        """Plain readings greater than this are outside [unit of the evidence]."""
        if self.upper is None:
            return math.inf
        return self.upper.high + (self.upper.dust if self.upper.included else -self.upper.dust)

    @property
    def fits_to(self) -> float:
        """Plain readings up to this keep the upper end for sure [unit of the evidence]."""
        if self.upper is None:
            return math.inf
        return self.upper.low + (self.upper.dust if self.upper.included else -self.upper.dust)

    @property
    def below_from(self) -> float:
        """Plain readings smaller than this are outside [unit of the evidence]."""
        if self.lower is None:
            return -math.inf
        return self.lower.low - (self.lower.dust if self.lower.included else -self.lower.dust)

    @property
    def fits_from(self) -> float:
        """Plain readings from this on keep the lower end for sure [unit of the evidence]."""
        if self.lower is None:
            return -math.inf
        return self.lower.high - (self.lower.dust if self.lower.included else -self.lower.dust)

    def all_inside(self, smallest: float, largest: float) -> bool:
        """Tell whether plain readings between two values are all inside.

        Parameters
        ----------
        smallest, largest : float
            Least and greatest reading [unit of the evidence]; a NaN gives False.
        """
        return smallest >= self.fits_from and largest <= self.fits_to

    def hold(self, values: Floats, censor: Codes | None) -> tuple[Bools, Bools, Bools]:
        """Hold readings against the window.

        Parameters
        ----------
        values : numpy.ndarray
            Readings [unit of the evidence], shape (n,).
        censor : numpy.ndarray, optional
            What each number stands for (codes of `lungwort.logs.model`), shape (n,).

        Returns
        -------
        tuple of numpy.ndarray
            Above, below and straddling, each of shape (n,). What is none of them is inside.
            '< x', '> x' and plain readings are taken as the intervals that they are, as
            `lungwort.air.interval.Interval.against` does one by one.
        """
        above = values > self.above_from
        below = values < self.below_from
        inside = (values <= self.fits_to) & (values >= self.fits_from)
        if censor is not None and censor.any():
            self._hold_censored(values, censor, above, below, inside)
        return above, below, ~(above | below | inside)

    def _hold_censored(
        self, values: Floats, censor: Codes, above: Bools, below: Bools, inside: Bools
    ) -> None:
        less = np.flatnonzero(censor == BELOW)
        more = np.flatnonzero(censor == ABOVE)
        above[less] = False
        below[more] = False
        inside[less] = self.lower is None
        inside[more] = self.upper is None
        if self.upper is not None:
            inside[less] &= values[less] <= self.upper.low + self.upper.dust
            above[more] = values[more] >= self.upper.high - self.upper.dust
        if self.lower is not None:
            inside[more] &= values[more] >= self.lower.high - self.lower.dust
            below[less] = values[less] <= self.lower.low + self.lower.dust
        nothing_said = censor == UNREADABLE
        above[nothing_said] = False
        below[nothing_said] = False
        inside[nothing_said] = False
        inside &= ~(above | below)

    def against(self, evidence: Interval) -> str:
        """Hold one interval against the window.

        Parameters
        ----------
        evidence : Interval
            What a hand test says [unit of the evidence].

        Returns
        -------
        str
            ``inside``, ``outside`` or ``straddles``.
        """
        strict = self._against(evidence, widest=False)
        wide = self._against(evidence, widest=True)
        if wide == OUTSIDE:
            return OUTSIDE
        return INSIDE if strict == INSIDE else STRADDLES

    def _against(self, evidence: Interval, *, widest: bool) -> str:
        lower, upper = self.lower, self.upper
        at_least = -math.inf if lower is None else (lower.low if widest else lower.high)
        at_most = math.inf if upper is None else (upper.high if widest else upper.low)
        ends = [
            next(
                (
                    bound
                    for edge, bound in ((lower, at_least), (upper, at_most))
                    if edge is not None and abs(end - bound) <= edge.dust
                ),
                end,
            )
            for end in (evidence.lower, evidence.upper)
        ]
        if ends[0] == ends[1] and not evidence.is_exact:
            # An open band narrower than dust is a point.
            snapped = Interval.exactly(ends[0], evidence.unit)
        else:
            snapped = Interval(
                ends[0],
                ends[1],
                evidence.unit,
                evidence.lower_included,
                evidence.upper_included,
            )
        return snapped.against(
            at_least=at_least,
            at_most=at_most,
            at_least_included=lower is None or lower.included,
            at_most_included=upper is None or upper.included,
        )
