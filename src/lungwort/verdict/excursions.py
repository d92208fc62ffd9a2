"""Excursions: stretches of time outside a limit, followed through a log block by block."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import define, field, frozen

from lungwort.verdict.blocks import moment
from lungwort.verdict.model import ABOVE, DATA_GAP, LOG_ENDED, RETURNED, Excursion

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from lungwort.verdict.blocks import Block

    Floats = NDArray[np.float64]
    Times = NDArray[np.int64]
    Bools = NDArray[np.bool_]

SECOND_US = 1_000_000


@frozen(eq=False)
class Held:
    """One block's readings held against a limit.

    Parameters
    ----------
    values : numpy.ndarray
        Readings [unit of the evidence], shape (own,) or (own + 1,).
    outside : numpy.ndarray
        Which are outside on the tracker's side, same shape.
    known : numpy.ndarray, optional
        Which are usable and decided, same shape; None for all.
    suspect : numpy.ndarray, optional
        Which carry the flag suspect, same shape; None for none.
    """

    values: Floats
    outside: Bools
    known: Bools | None
    suspect: Bools | None


@define
class _Run:
    """An excursion in the making; times in µs UTC."""

    start: int
    end: int
    last_time: int
    peak: float
    peak_time: int
    weighted: float
    beyond: float
    plain: float
    seconds: float
    samples: int
    suspect: int
    after_gap: bool
    may_have_begun: int | None
    ended_by: str
    may_have_lasted: int | None = None


@define
class Tracker:
    """Follows the excursions of one channel on one side of one limit.

    Runs of readings outside belong together where less than ``join_us`` lies between the end of
    one reading outside and the next one.

    Parameters
    ----------
    direction : str
        ``above`` or ``below``.
    bound : float
        The bound [unit of the limit].
    to_limit : callable
        Carries readings to the limit's unit.
    join_us : int
        Runs nearer than this are one [µs].
    last_us : int
        Time from which readings are not judged [µs UTC].
    """

    direction: str
    bound: float
    to_limit: Callable[[Floats], Floats]
    join_us: int
    last_us: int
    runs: list[_Run] = field(factory=list)
    _last_known: int | None = None
    _previous_known: bool = False
    _previous_apart: bool = False
    _waiting: bool = False

    def feed(self, block: Block, held: Held) -> None:
        """Take the next block.

        Parameters
        ----------
        block : Block
            The readings.
        held : Held
            How they stand to the limit.
        """
        own = block.own
        known = held.known
        at = np.flatnonzero(held.outside[:own])
        if self._waiting:
            self._resolve(block, known)
        if at.size:
            self._gather(block, held, at)
        if known is None:
            self._last_known = int(block.time[own - 1])
            self._previous_known = True
        else:
            seen = np.flatnonzero(known[:own])
            if seen.size:
                self._last_known = int(block.time[seen[-1]])
            self._previous_known = bool(known[own - 1])
        self._previous_apart = bool(block.apart[own - 1])

    def _resolve(self, block: Block, known: Bools | None) -> None:
        """Find the first known reading after the last run, looked for since an earlier block."""
        first = 0 if known is None else int(np.argmax(known))
        if known is None or known[first]:
            self.runs[-1].may_have_lasted = int(block.time[first])
            self._waiting = False

    def _gather(self, block: Block, held: Held, at: NDArray[np.intp]) -> None:
        times = block.time[at]
        ends = block.ends[at]
        gaps = times[1:] - ends[:-1]
        firsts = np.concatenate(([0], np.flatnonzero((gaps > 0) & (gaps >= self.join_us)) + 1))
        lasts = np.append(firsts[1:], len(at)) - 1
        raw = held.values[at]
        values = self.to_limit(raw)
        seconds = block.weight[at] / SECOND_US
        distance = values - self.bound if self.direction == ABOVE else self.bound - values
        furthest = np.maximum if self.direction == ABOVE else np.minimum
        peaks = furthest.reduceat(raw, firsts)
        group = np.repeat(np.arange(len(firsts)), lasts - firsts + 1)
        on_peak = np.flatnonzero(raw == peaks[group])
        peak_at = on_peak[np.unique(group[on_peak], return_index=True)[1]]
        suspect = np.zeros(len(at), np.int64) if held.suspect is None else held.suspect[at]
        sums = [
            np.add.reduceat(column, firsts).tolist()
            for column in (
                values * seconds,
                distance * seconds,
                values,
                seconds,
                suspect.astype(np.int64),
            )
        ]
        seen = None if held.known is None else np.flatnonzero(held.known)
        for number, (first, last) in enumerate(zip(firsts.tolist(), lasts.tolist(), strict=True)):
            after_gap, begun = self._before(block, int(at[first]), seen)
            ended_by, lasted = self._after(block, int(at[last]), seen)
            run = _Run(
                start=int(times[first]),
                end=int(ends[last]),
                last_time=int(times[last]),
                peak=float(raw[peak_at[number]]),
                peak_time=int(times[peak_at[number]]),
                weighted=sums[0][number],
                beyond=sums[1][number],
                plain=sums[2][number],
                seconds=sums[3][number],
                samples=last - first + 1,
                suspect=int(sums[4][number]),
                after_gap=after_gap,
                may_have_begun=begun,
                ended_by=ended_by,
                may_have_lasted=lasted,
            )
            self._add(run)
            self._waiting = ended_by == DATA_GAP and lasted is None

    def _before(
        self, block: Block, row: int, seen: NDArray[np.intp] | None
    ) -> tuple[bool, int | None]:
        """Tell whether a gap adjoins the begin of a run, and the last known reading before."""
        if row == 0:
            after_gap = self._previous_apart or not self._previous_known
            return after_gap, self._last_known if after_gap else None
        place = row if seen is None else int(np.searchsorted(seen, row))
        before = None if place == 0 else (row - 1 if seen is None else int(seen[place - 1]))
        if before == row - 1 and not block.apart[row - 1]:
            return False, None
        return True, self._last_known if before is None else int(block.time[before])

    def _after(
        self, block: Block, row: int, seen: NDArray[np.intp] | None
    ) -> tuple[str, int | None]:
        """Tell how a run ended, and the first known reading after it where a gap adjoins."""
        if row + 1 == len(block.time) or block.time[row + 1] >= self.last_us:
            return LOG_ENDED, None
        place = row + 1 if seen is None else int(np.searchsorted(seen, row + 1))
        after = place if seen is None else (int(seen[place]) if place < len(seen) else None)
        if after == row + 1 and not block.apart[row]:
            return RETURNED, None
        return DATA_GAP, None if after is None else int(block.time[after])

    def _add(self, run: _Run) -> None:
        if not self.runs:
            self.runs.append(run)
            return
        held = self.runs[-1]
        gap = run.start - held.end
        if gap > 0 and gap >= self.join_us:
            self.runs.append(run)
            return
        further = run.peak > held.peak if self.direction == ABOVE else run.peak < held.peak
        if further:
            held.peak, held.peak_time = run.peak, run.peak_time
        held.end, held.last_time = run.end, run.last_time
        held.weighted += run.weighted
        held.beyond += run.beyond
        held.plain += run.plain
        held.seconds += run.seconds
        held.samples += run.samples
        held.suspect += run.suspect
        held.ended_by, held.may_have_lasted = run.ended_by, run.may_have_lasted

    def excursions(
        self,
        *,
        limit_key: str,
        analyte: str,
        channel: str,
        unit: str,
        clear: Callable[[Floats], list[bool | None]],
    ) -> list[Excursion]:
        """Give the excursions found, in time order.

        Parameters
        ----------
        limit_key, analyte, channel : str
            What they belong to.
        unit : str
            Unit of the limit.
        clear : callable
            Tells of peaks [unit of the evidence] whether each is beyond the bound by more than U.
        """
        found: list[Excursion] = []
        raw = np.array([run.peak for run in self.runs], dtype=np.float64)
        if not raw.size:
            return found
        peaks = self.to_limit(raw).tolist()
        for run, peak, is_clear in zip(self.runs, peaks, clear(raw), strict=True):
            mean = run.weighted / run.seconds if run.seconds else run.plain / run.samples
            found.append(
                Excursion(
                    limit_key=limit_key,
                    analyte=analyte,
                    channel=channel,
                    direction=self.direction,
                    start=moment(run.start),
                    end=moment(run.end),
                    duration_s=(run.end - run.start) / SECOND_US,
                    peak=peak,
                    peak_time=moment(run.peak_time),
                    mean=mean,
                    limit=self.bound,
                    unit=unit,
                    integral=run.beyond / 3600.0,
                    samples=run.samples,
                    ended_by=run.ended_by,
                    clear_of_uncertainty=is_clear,
                    begins_after_gap=run.after_gap,
                    may_have_begun=None
                    if run.may_have_begun is None
                    else moment(run.may_have_begun),
                    may_have_lasted=(
                        None if run.may_have_lasted is None else moment(run.may_have_lasted)
                    ),
                    suspect_samples=run.suspect,
                )
            )
        return found
