"""Readings that do not change: runs of them, counted part after part, and which are too long."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import define, field, frozen

if TYPE_CHECKING:
    from numpy.typing import NDArray

FROZEN_S: Final = 900.0
"""Channels that vary must stand still together at least so long to be called frozen [s]."""
FROZEN_READINGS: Final = 10
FROZEN_FACTOR: Final = 20.0
"""... and so many times longer than 95 % of their own still runs."""
STUCK_S: Final = 3600.0
"""A single channel must stand still at least so long to be called stuck [s]."""
STUCK_READINGS: Final = 30
STUCK_FACTOR: Final = 50.0
_USUAL: Final = 0.95


@frozen
class Run:
    """Readings in a row that do not change.

    Parameters
    ----------
    first, last : int
        First and last row of the log, from 0.
    first_us, last_us : int
        Their times [µs UTC].
    """

    first: int
    last: int
    first_us: int
    last_us: int

    @property
    def readings(self) -> int:
        """How many readings it holds."""
        return self.last - self.first + 1


@define
class RunTally:
    """Counts runs of unchanged readings over a whole log, fed part after part in time order.

    Parameters
    ----------
    least_s : float
        A run is long from this length on [s].
    least_readings : int
        ... and from so many readings on.
    factor : float
        A long run is too long where it holds so many times more readings than 95 % of the runs
        that are not long.
    """

    least_s: float
    least_readings: int
    factor: float
    _long: list[Run] = field(factory=list, repr=False)
    _short: dict[int, int] = field(factory=dict, repr=False)
    _open: tuple[int, int] | None = field(default=None, repr=False)
    _last_us: int = 0
    _rows: int = 0

    def feed(self, still: NDArray[np.bool_], micro: NDArray[np.int64]) -> None:
        """Go on with a part.

        Parameters
        ----------
        still : numpy.ndarray
            Whether each reading equals the one before it, shape (n,); the first reading of a log
            equals none.
        micro : numpy.ndarray
            Times [µs UTC], shape (n,).
        """
        begins = np.flatnonzero(~still)
        if len(begins):
            self._close(self._rows + int(begins[0]), int(micro[begins[0] - 1]))
            lengths = np.diff(begins)
            long = np.flatnonzero(lengths >= self.least_readings)
            firsts, lasts = begins[long], begins[long + 1] - 1 if len(long) else begins[:0]
            enough = micro[lasts] - micro[firsts] >= self.least_s * 1e6
            for first, last in zip(firsts[enough].tolist(), lasts[enough].tolist(), strict=True):
                self._long.append(
                    Run(self._rows + first, self._rows + last, int(micro[first]), int(micro[last]))
                )
            self._count(lengths, 1)
            self._count(lengths[long[enough]], -1)
            self._open = (self._rows + int(begins[-1]), int(micro[begins[-1]]))
        self._rows += len(micro)
        self._last_us = int(micro[-1])

    def _close(self, row: int, micro: int) -> None:
        if self._open is None:
            return
        first, first_us = self._open
        last_us = self._last_us if row == self._rows else micro
        readings = row - first
        if readings >= self.least_readings and last_us - first_us >= self.least_s * 1e6:
            self._long.append(Run(first, row - 1, first_us, last_us))
        else:
            self._short[readings] = self._short.get(readings, 0) + 1
        self._open = None

    def _count(self, lengths: NDArray[np.int64], weight: int) -> None:
        if not len(lengths):
            return
        if int(lengths.max()) < 1 << 16:
            numbers = np.bincount(lengths)
            found = np.flatnonzero(numbers)
            numbers = numbers[found]
        else:
            found, numbers = np.unique(lengths, return_counts=True)
        for length, number in zip(found.tolist(), numbers.tolist(), strict=True):
            self._short[length] = self._short.get(length, 0) + weight * number

    def finish(self) -> list[Run]:
        """End the log and choose the runs that are too long.

        Returns
        -------
        list of Run
            The runs, in time order.
        """
        self._close(self._rows, self._last_us)
        counted = sorted((length, number) for length, number in self._short.items() if number > 0)
        whole = sum(number for _, number in counted)
        usual, passed = np.inf, 0
        for length, number in counted:
            passed += number
            if passed >= _USUAL * whole:
                usual = float(length)
                break
        return [run for run in self._long if run.readings > self.factor * usual]
