"""What is counted and kept of a log's readings while it is gone through."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import define, field

from lungwort.logs.model import ABOVE as MORE_THAN
from lungwort.logs.model import BELOW as LESS_THAN
from lungwort.logs.model import PLAIN

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lungwort.limits.model import Limit
    from lungwort.logs.model import Channel, Stretch
    from lungwort.verdict.basis import Basis
    from lungwort.verdict.excursions import Tracker

    Floats = NDArray[np.float64]
    Times = NDArray[np.int64]
    Bools = NDArray[np.bool_]
    Codes = NDArray[np.int8]
    States = NDArray[np.uint8]

# What one reading is good for.
USABLE: Final = 0
UNREADABLE: Final = 1
SETTLING: Final = 2
MISSING: Final = 3
BAD: Final = 4
ELSEWHERE: Final = 5
"""The reading lies outside the period that is judged."""


@define
class ChannelTally:
    """Counts of one channel's readings in the period; times in µs.

    Parameters
    ----------
    channel : Channel
        The channel.
    possible : tuple of (float, float)
        Readings beyond cannot be measurements [unit of the channel].
    still : numpy.ndarray
        Begins and ends of the stretches in which the channel stood still at its resting value
        [µs UTC], shape (2, n).
    """

    channel: Channel
    possible: tuple[float, float]
    still: Times
    readings: int = 0
    usable: int = 0
    settling: int = 0
    suspect: int = 0
    bad: int = 0
    missing: int = 0
    unreadable: int = 0
    not_numbers: int = 0
    impossible: int = 0
    usable_us: int = 0
    covered_us: int = 0
    covered_suspect_us: int = 0
    covered_still_us: int = 0
    smallest: float | None = None
    largest: float | None = None

    def note_range(self, smallest: float, largest: float) -> None:
        """Keep the smallest and the largest usable reading.

        Parameters
        ----------
        smallest, largest : float
            Ends of some readings [unit of the channel].
        """
        self.smallest = smallest if self.smallest is None else min(self.smallest, smallest)
        self.largest = largest if self.largest is None else max(self.largest, largest)

    def stands_still(self, times: Times) -> Bools:
        """Tell which readings lie in a stretch in which the channel stood still.

        Parameters
        ----------
        times : numpy.ndarray
            Times [µs UTC], shape (n,).
        """
        begins, ends = self.still
        if not begins.size:
            return np.zeros(len(times), np.bool_)
        near = np.searchsorted(begins, times, side="right") - 1
        return np.asarray((near >= 0) & (times <= ends[np.maximum(near, 0)]), np.bool_)


@define
class Extreme:
    """The furthest usable reading on one side.

    A reading that is open towards the side ('> 50' on the upper side) goes before every other,
    because it may be any amount further.

    Parameters
    ----------
    upper : bool
        Whether the side is the upper one.
    value : float, optional
        The reading's number [unit of the evidence]; None while there is none.
    time : int
        When [µs UTC].
    censor : int
        What the number stands for (codes of `lungwort.logs.model`).
    """

    upper: bool
    value: float | None = None
    time: int = 0
    censor: int = PLAIN

    @property
    def is_open(self) -> bool:
        """Whether the reading may be any amount further than its number."""
        return self.censor == (MORE_THAN if self.upper else LESS_THAN)

    def consider(self, value: float, time: int, censor: int) -> None:
        """Take a reading where it is further than the one held.

        Parameters
        ----------
        value : float
            The reading's number [unit of the evidence].
        time : int
            When [µs UTC].
        censor : int
            What the number stands for.
        """
        opens = censor == (MORE_THAN if self.upper else LESS_THAN)
        if self.value is not None:
            if self.is_open and not opens:
                return
            further = value > self.value if self.upper else value < self.value
            if opens == self.is_open and not further:
                return
        self.value, self.time, self.censor = value, time, censor

    def consider_all(
        self, values: Floats, times: Times, usable: Bools, censor: Codes | None
    ) -> None:
        """Take the furthest of a block's usable readings.

        Parameters
        ----------
        values : numpy.ndarray
            Readings [unit of the evidence], shape (n,).
        times : numpy.ndarray
            Times [µs UTC], shape (n,).
        usable : numpy.ndarray
            Which may be taken, shape (n,).
        censor : numpy.ndarray, optional
            What the numbers stand for, shape (n,).
        """
        groups = [(usable, PLAIN)]
        if censor is not None:
            groups = [(usable & (censor == code), code) for code in (PLAIN, LESS_THAN, MORE_THAN)]
        for mask, code in groups:
            rows = np.flatnonzero(mask)
            if rows.size:
                some = values[rows]
                at = int(some.argmax() if self.upper else some.argmin())
                self.consider(float(some[at]), int(times[rows[at]]), code)


@define
class Told:
    """Readings outside a limit that are not judged but told, by the stretch they lie in.

    Parameters
    ----------
    stretches : tuple of Stretch
        The log's stretches that concern the channel, in time order.
    settling : tuple of bool
        Which of them are settling.
    starts, ends : numpy.ndarray
        Their ends [µs UTC], shape (n,).
    """

    stretches: tuple[Stretch, ...]
    settling: Bools
    starts: Times
    ends: Times
    counts: Times = field(init=False)
    highest: Floats = field(init=False)
    lowest: Floats = field(init=False)

    def __attrs_post_init__(self) -> None:
        size = len(self.stretches) + 4
        self.counts = np.zeros(size, np.int64)
        self.highest = np.full(size, -np.inf)
        self.lowest = np.full(size, np.inf)

    @property
    def loose(self) -> int:
        """Number of the first place after the stretches: settling, bad, before, after."""
        return len(self.stretches)

    def add(self, times: Times, values: Floats, states: States, first_us: int) -> None:
        """Take readings outside the limit that are not judged.

        Parameters
        ----------
        times : numpy.ndarray
            Times [µs UTC], shape (n,).
        values : numpy.ndarray
            Readings [unit of the evidence], shape (n,).
        states : numpy.ndarray
            Why each is not judged, shape (n,).
        first_us : int
            Begin of the period [µs UTC].
        """
        place = np.where(states == SETTLING, self.loose, self.loose + 1)
        elsewhere = states == ELSEWHERE
        place[elsewhere] = np.where(times[elsewhere] < first_us, self.loose + 2, self.loose + 3)
        for kind in (True, False):
            own = np.flatnonzero(self.settling == kind)
            rows = np.flatnonzero((states == SETTLING) if kind else (states == BAD))
            if own.size and rows.size:
                near = np.searchsorted(self.starts[own], times[rows], side="right") - 1
                within = (near >= 0) & (times[rows] <= self.ends[own[np.maximum(near, 0)]])
                place[rows[within]] = own[near[within]]
        np.add.at(self.counts, place, 1)
        np.maximum.at(self.highest, place, values)
        np.minimum.at(self.lowest, place, values)


@define
class Check:
    """One channel held against one limit.

    Parameters
    ----------
    limit : Limit
        The limit.
    channel : Channel
        The channel.
    basis : Basis
        How the one is held against the other.
    trackers : tuple of Tracker
        Followers of the excursions, one a side that has a bound.
    told : Told
        Readings told though not judged.
    of_means : bool
        Whether what is held are means over a window and not single readings.
    """

    limit: Limit
    channel: Channel
    basis: Basis
    trackers: tuple[Tracker, ...]
    told: Told
    of_means: bool = False
    highest: Extreme = field(factory=lambda: Extreme(upper=True))
    lowest: Extreme = field(factory=lambda: Extreme(upper=False))
    outside_us: int = 0
    outside: int = 0
    outside_suspect: int = 0
    above: int = 0
    below: int = 0
    straddling: int = 0
    straddling_first: int | None = None

    @property
    def follows(self) -> tuple[bool, bool]:
        """Whether the lower and the upper side are looked at for the worst reading."""
        window = self.basis.window
        return window.lower is not None, window.upper is not None or window.lower is None
