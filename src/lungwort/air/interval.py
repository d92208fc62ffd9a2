"""What an uncertain or banded reading says: all that lies between two ends."""

from __future__ import annotations

import math
from typing import Final

from attrs import field, frozen

from lungwort.errors import QuantityError

INSIDE: Final = "inside"
OUTSIDE: Final = "outside"
STRADDLES: Final = "straddles"


@frozen
class Interval:
    """A range of values, each end included or not.

    A plain reading, a band of an indicator, ``< 0.05`` and a reading with its uncertainty are all
    intervals, so that verdict code has one path.

    Parameters
    ----------
    lower, upper : float
        Ends of the range [unit]; infinite where there is none.
    unit : str
        Unit name.
    lower_included, upper_included : bool
        Whether the end itself belongs to the range.

    Raises
    ------
    QuantityError
        Where an end is not a number, the ends are the wrong way round, or the range is empty.

    Examples
    --------
    >>> str(Interval.between(0.1, 0.5, "mg/m3"))
    '> 0.1 to 0.5 mg/m3'
    >>> str(Interval.less_than(0.05, "mg/m3")), str(Interval.exactly(4.0, "ppm"))
    ('< 0.05 mg/m3', '4 ppm')
    """

    lower: float
    upper: float
    unit: str = field(default="")
    lower_included: bool = field(default=True)
    upper_included: bool = field(default=True)

    def __attrs_post_init__(self) -> None:
        if math.isnan(self.lower) or math.isnan(self.upper):
            raise QuantityError("an interval needs two numbers, and one of them is not a number.")
        if self.lower > self.upper:
            raise QuantityError(
                f"an interval from {self.lower:g} to {self.upper:g} runs backwards."
            )
        if self.lower == self.upper and not (self.lower_included and self.upper_included):
            raise QuantityError(
                f"an interval that leaves out both of its ends at {self.lower:g} is empty."
            )

    @classmethod
    def exactly(cls, value: float, unit: str = "") -> Interval:
        """Make the interval that holds one value [unit]."""
        return cls(value, value, unit)

    @classmethod
    def less_than(cls, value: float, unit: str = "") -> Interval:
        """Make '< value' [unit]."""
        return cls(-math.inf, value, unit, lower_included=False, upper_included=False)

    @classmethod
    def more_than(cls, value: float, unit: str = "") -> Interval:
        """Make '> value' [unit]."""
        return cls(value, math.inf, unit, lower_included=False, upper_included=False)

    @classmethod
    def between(cls, lower: float, upper: float, unit: str = "") -> Interval:
        """Make the band above ``lower`` up to and with ``upper`` [unit]."""
        return cls(lower, upper, unit, lower_included=False, upper_included=True)

    @property
    def is_exact(self) -> bool:
        """Whether it holds one value only."""
        return self.lower == self.upper

    def against(
        self,
        *,
        at_least: float = -math.inf,
        at_most: float = math.inf,
        at_least_included: bool = True,
        at_most_included: bool = True,
    ) -> str:
        """Hold the interval against an allowed range.

        Parameters
        ----------
        at_least, at_most : float
            Ends of what is allowed [unit].
        at_least_included, at_most_included : bool
            Whether the end itself is allowed.

        Returns
        -------
        str
            ``inside`` where every value is allowed, ``outside`` where none is, else ``straddles``.

        Examples
        --------
        >>> Interval.between(0.1, 0.5, "mg/m3").against(at_most=0.5)
        'inside'
        >>> Interval.between(0.1, 0.5, "mg/m3").against(at_most=0.1)
        'outside'
        >>> Interval.less_than(0.5, "mg/m3").against(at_most=0.1)
        'straddles'
        """
        above = self._all_above(at_most, allowed=at_most_included)
        below = self._all_below(at_least, allowed=at_least_included)
        if above or below:
            return OUTSIDE
        upper_fits = self.upper < at_most or (
            self.upper == at_most and (at_most_included or not self.upper_included)
        )
        lower_fits = self.lower > at_least or (
            self.lower == at_least and (at_least_included or not self.lower_included)
        )
        return INSIDE if upper_fits and lower_fits else STRADDLES

    def _all_above(self, bound: float, *, allowed: bool) -> bool:
        return self.lower > bound or (self.lower == bound and not (allowed and self.lower_included))

    def _all_below(self, bound: float, *, allowed: bool) -> bool:
        return self.upper < bound or (self.upper == bound and not (allowed and self.upper_included))

    def __str__(self) -> str:
        tail = f" {self.unit}" if self.unit else ""
        if self.is_exact:
            return f"{self.lower:g}{tail}"
        if self.lower == -math.inf and self.upper == math.inf:
            return "any value"
        if self.lower == -math.inf:
            return f"{'≤' if self.upper_included else '<'} {self.upper:g}{tail}"
        if self.upper == math.inf:
            return f"{'≥' if self.lower_included else '>'} {self.lower:g}{tail}"
        lower = f"{'' if self.lower_included else '> '}{self.lower:g}"
        upper = f"{'' if self.upper_included else '< '}{self.upper:g}"
        return f"{lower} to {upper}{tail}"
