"""What can only be known of a whole log: its sampling interval, each channel's extremes and still runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl
from attrs import define, field, frozen

from lungwort.air.analytes import ANALYTES
from lungwort.logs.model import TIME, Channel
from lungwort.logs.plausible import (
    NO_NATURAL_AIR_BELOW_PPM,
    codes_within,
    first_plain,
    is_co2,
    near_code,
    possible_range,
)
from lungwort.logs.stillness import (
    FROZEN_FACTOR,
    FROZEN_READINGS,
    FROZEN_S,
    STUCK_FACTOR,
    STUCK_READINGS,
    STUCK_S,
    Run,
    RunTally,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Times = NDArray[np.int64]


@frozen
class Edge:
    """What a part's neighbours must know of it: its first reading, and its first that is no code.

    Parameters
    ----------
    first, plain : float
        The readings [unit of the channel]; NaN for none.
    """

    first: float
    plain: float


_GUESS_FROM: Final = 1 << 16
NOTHING: Final = Edge(np.nan, np.nan)


@define
class Extremes:
    """What is kept of a channel over the whole log.

    Parameters
    ----------
    low, high : float
        Lowest and highest possible reading [unit of the channel].
    readings : int
        Possible readings.
    implausible : int
        Readings below what natural air holds.
    near : dict
        For each code the readings that come near it.
    coded : dict
        For each code how often it occurs.
    edges : list of Edge
        One a part.
    """

    low: float = np.inf
    high: float = -np.inf
    readings: int = 0
    implausible: int = 0
    near: dict[float, int] = field(factory=dict)
    coded: dict[float, int] = field(factory=dict)
    edges: list[Edge] = field(factory=list)


@define
class WholeLog:
    """Gathers what grading needs of a whole log, part after part in time order.

    Parameters
    ----------
    channels : tuple of Channel
        The channels.
    extremes : dict
        Channel name to what was kept of it.
    rows : int
        Readings in time.
    interval_s : float, optional
        Median of the steps that go forward [s]; known once finished.
    frozen : list of Run
        Runs in which the logger was frozen; known once finished.
    stuck : dict
        Channel name to the runs in which it stood still alone; known once finished.
    finished : bool
        Whether all parts were seen.
    """

    channels: tuple[Channel, ...]
    extremes: dict[str, Extremes] = field(factory=dict)
    rows: int = 0
    interval_s: float | None = None
    frozen: list[Run] = field(factory=list)
    stuck: dict[str, list[Run]] = field(factory=dict)
    finished: bool = False
    _steps: dict[int, int] = field(factory=dict, repr=False)
    _step_guess: int = field(default=0, repr=False)
    _joint: RunTally = field(
        factory=lambda: RunTally(FROZEN_S, FROZEN_READINGS, FROZEN_FACTOR), repr=False
    )
    _single: dict[str, RunTally] = field(factory=dict, repr=False)
    _last: dict[str, float] = field(factory=dict, repr=False)
    _last_us: int | None = field(default=None, repr=False)

    def observe(self, frame: pl.DataFrame) -> None:
        """Take in what can only be known of the whole log.

        Parameters
        ----------
        frame : polars.DataFrame
            A part: time-ordered readings with the flags that their text gave; not empty.
        """
        micro = frame[TIME].cast(pl.Int64).to_numpy()
        self._count_steps(micro)
        joint = np.ones(len(micro), dtype=bool)
        # Where a channel reads nothing twice it has not moved either; where all do, nothing is still.
        blank: Bools | None = np.ones(len(micro), dtype=bool)
        for channel in self.channels:
            value = possible_readings(channel, frame[channel.name])[0]
            hole = np.isnan(value)
            holes = bool(hole.any())
            self._count(channel, self.extremes.setdefault(channel.name, Extremes()), value, holes)
            previous = self._last.get(channel.name)
            still = np.empty(len(value), dtype=bool)
            np.equal(value[1:], value[:-1], out=still[1:])
            still[0] = previous is not None and value[0] == previous
            if channel.quantity != "pressure" and ANALYTES[channel.analyte].in_air:
                tally = self._single.setdefault(
                    channel.name, RunTally(STUCK_S, STUCK_READINGS, STUCK_FACTOR)
                )
                tally.feed(still, micro)
            if holes:
                still[1:] |= hole[1:] & hole[:-1]
                still[0] |= previous is not None and bool(hole[0]) and np.isnan(previous)
                blank = None if blank is None else blank & hole
            else:
                blank = None
            joint &= still
            self._last[channel.name] = float(value[-1])
        if blank is not None:
            joint &= ~blank
        self._joint.feed(joint, micro)
        self.rows += len(micro)
        self._last_us = int(micro[-1])

    def _count_steps(self, micro: Times) -> None:
        steps = np.diff(micro)
        if self._last_us is not None:
            steps = np.concatenate(([micro[0] - self._last_us], steps))
        if not self._step_guess:
            # Only a guess, counted apart so that most steps need no sorting.
            guess = median_step_s(micro[:_GUESS_FROM])
            self._step_guess = round(guess * 1e6) if guess is not None else 0
        usual = steps == self._step_guess
        same = int(np.count_nonzero(usual))
        if same:
            self._steps[self._step_guess] = self._steps.get(self._step_guess, 0) + same
        if same < len(steps):
            # To the millisecond, so that a trembling clock does not fill the memory.
            odd = np.maximum(np.round(steps[~usual & (steps > 0)] / 1000), 1).astype(np.int64)
            lengths, numbers = np.unique(odd * 1000, return_counts=True)
            for length, number in zip(lengths.tolist(), numbers.tolist(), strict=True):
                self._steps[length] = self._steps.get(length, 0) + number

    def _count(self, channel: Channel, seen: Extremes, value: Floats, holes: bool) -> None:  # noqa: FBT001 - what is known of the readings already
        seen.edges.append(Edge(float(value[0]), first_plain(value)))
        filled = np.count_nonzero(~np.isnan(value)) if holes else len(value)
        if not filled:
            return
        low, high = float(np.fmin.reduce(value)), float(np.fmax.reduce(value))
        seen.low, seen.high = min(seen.low, low), max(seen.high, high)
        seen.readings += int(filled)
        if is_co2(channel) and low < NO_NATURAL_AIR_BELOW_PPM:
            seen.implausible += int(np.count_nonzero(value < NO_NATURAL_AIR_BELOW_PPM))
        for code in codes_within(channel):
            half = near_code(channel, code)
            if (high < half) if code > 0 else (low > half):
                continue
            near = np.count_nonzero(value >= half if code > 0 else value <= half)
            seen.near[code] = seen.near.get(code, 0) + int(near)
            if low <= code <= high and (hits := int(np.count_nonzero(value == code))):
                seen.coded[code] = seen.coded.get(code, 0) + hits

    def finish(self) -> None:
        """End the observation: the whole log was seen."""
        total, passed = sum(self._steps.values()), 0
        for length in sorted(self._steps):
            passed += self._steps[length]
            if 2 * passed >= total:
                self.interval_s = length / 1e6
                break
        varying = [c.name for c in self.channels if self.varies(c.name)]
        self.frozen = self._joint.finish() if len(varying) > 1 else []
        self.stuck = {
            name: tally.finish() for name, tally in self._single.items() if self.varies(name)
        }
        self.finished = True

    def varies(self, name: str) -> bool:
        """Tell whether a channel changes at all.

        Parameters
        ----------
        name : str
            Column name of the channel.
        """
        return self.extremes[name].low < self.extremes[name].high


def possible_readings(channel: Channel, column: pl.Series) -> tuple[Floats, Floats | None]:
    """Tell possible readings from numbers that cannot be readings.

    Parameters
    ----------
    channel : Channel
        The channel.
    column : polars.Series
        Its readings [unit of the channel], shape (n,).

    Returns
    -------
    tuple of (numpy.ndarray, numpy.ndarray or None)
        The possible readings, NaN elsewhere, and all numbers where some are not possible.
    """
    value = (column.fill_null(np.nan) if column.has_nulls() else column).to_numpy()
    lowest, highest = possible_range(channel)
    low, high = np.fmin.reduce(value), np.fmax.reduce(value)
    if (low >= lowest and high <= highest) or np.isnan(low):
        return value, None
    return np.where((value >= lowest) & (value <= highest), value, np.nan), value


def median_step_s(micro: Times) -> float | None:
    """Give the median of the steps that go forward.

    Parameters
    ----------
    micro : numpy.ndarray
        Times [µs], shape (n,).

    Returns
    -------
    float or None
        The median [s]; None where there is none.
    """
    steps = np.diff(micro)
    forward = steps[steps > 0]
    return float(np.median(forward)) / 1e6 if len(forward) else None
