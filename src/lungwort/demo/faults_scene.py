"""Chance, and the log in the making, for invented logs with known faults."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import define, field

from lungwort.demo import signals

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from lungwort.demo.signals import Floats

DAY_S: Final = 86_400.0
HOUR_S: Final = 3600.0


@define
class Dice:
    """Chance that is the same everywhere.

    Parameters
    ----------
    bits : numpy.random.PCG64
        The stream it is drawn from.
    """

    bits: np.random.PCG64

    def uniform(self, low: float, high: float) -> float:
        """Draw a number between two."""
        raw = int(self.bits.random_raw(1)[0])
        return low + (high - low) * (raw >> 11) * 2.0**-53

    def whole(self, low: int, high: int) -> int:
        """Draw a whole number, both ends included."""
        return low + int(self.uniform(0.0, 1.0) * (high - low + 1))

    def luck(self, share: float) -> bool:
        """Tell whether something with this probability happens."""
        return self.uniform(0.0, 1.0) < share

    def one_of(self, choices: Sequence[float]) -> float:
        """Choose one, all alike."""
        return choices[self.whole(0, len(choices) - 1)]

    def noise(self, n: int, sd: float) -> Floats:
        """Make bell-shaped noise."""
        return signals.noise(self.bits, n, sd)


@define
class FaultScene:
    """A log in the making.

    Parameters
    ----------
    dice : Dice
        Chance.
    start : datetime
        First reading, UTC.
    time_s : numpy.ndarray
        Times from the first reading, evenly spaced, shape (n,) [s].
    step_s : float
        Time between readings [s].
    strength : float
        How much of the fault there is [1].
    values : dict of str to numpy.ndarray
        Readings by analyte, shape (n,).
    needed : set of str
        Analytes that must be measured for the fault to be seen.
    likely : dict of str to float
        Probability that others are measured [1].
    intake : dict of str to numpy.ndarray
        Readings at the intake.
    """

    dice: Dice
    start: datetime
    time_s: Floats
    step_s: float
    strength: float
    values: dict[str, Floats]
    needed: set[str] = field(factory=lambda: {"co"})
    likely: dict[str, float] = field(factory=dict)
    intake: dict[str, Floats] = field(factory=dict)

    @property
    def n(self) -> int:
        """How many readings there are."""
        return int(self.time_s.size)

    @property
    def day_s(self) -> Floats:
        """Time since midnight of each reading [s]."""
        begin = self.start.hour * HOUR_S + self.start.minute * 60.0
        return (self.time_s + begin) % DAY_S

    def window(
        self, shortest_s: float, longest_s: float, *, by_day: float = 0.0
    ) -> tuple[float, float]:
        """Choose a span in the log, by day with a probability."""
        whole = float(self.time_s[-1])
        length = min(self.dice.uniform(shortest_s, longest_s), 0.4 * whole)
        want_day = self.dice.luck(by_day)
        for _ in range(40):
            begin = self.dice.uniform(0.05, 0.93) * (whole - length)
            local = (self.start.hour * HOUR_S + begin) % DAY_S
            if not want_day or 7.0 * HOUR_S <= local <= 18.0 * HOUR_S:
                break
        return begin, begin + length

    def during(self, begin: float, end: float) -> Floats:
        """Give 1 within a span and 0 outside."""
        return ((self.time_s >= begin) & (self.time_s < end)).astype(np.float64)

    def lagged(self, signal: Floats, low_s: float, high_s: float) -> Floats:
        """Follow a signal late, by a time constant drawn between two [s]."""
        return signals.lag(signal, self.step_s, self.dice.uniform(low_s, high_s))

    def gusts(self, depth: float) -> Floats:
        """Make a rough factor around 1, as wind does."""
        rough = signals.lag(self.dice.noise(self.n, 1.0), self.step_s, 240.0)
        swing = float(np.abs(rough).max()) or 1.0
        return 1.0 + depth * rough / swing
