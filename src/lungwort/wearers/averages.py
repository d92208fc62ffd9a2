"""Averages of what was breathed: over 8 hours, over 15 minutes, the highest, and the dose.

A course is held in steps between two readings, each with the mean of both. A step of which nothing
is known adds nothing to a sum, and the sum then says that it is a lower end.

References
----------
Directive 98/24/EC, article 2, and EH40/2005, appendix: the 8-hour reference period, sum(c t) / 8 h
(method as commonly taught, from memory); short exposures are spread over 15 min.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from lungwort.errors import ExposureError

if TYPE_CHECKING:
    from lungwort.air.arrays import FloatArray

BoolArray: TypeAlias = NDArray[np.bool_]

HOUR_S: Final = 3600.0
SHIFT_S: Final = 8 * HOUR_S
DAY_S: Final = 24 * HOUR_S
SHORT_S: Final = 900.0
_LEAST: Final = 2


@frozen(eq=False)
class Course:
    """What was in the air over time, in n steps.

    Parameters
    ----------
    edges_s : numpy.ndarray
        Begin of each step and end of the last, rising, n + 1 of them [s since 1970, UTC].
    values : numpy.ndarray
        Mean over each step, NaN where nothing is known [unit of the channel].
    highest : numpy.ndarray
        Highest reading at either end of each step, NaN where nothing is known [the same].
    lower_end : numpy.ndarray
        Whether more may have been in the air than the value says.
    doubtful : numpy.ndarray
        Whether a reading at either end is doubted.
    """

    edges_s: FloatArray
    values: FloatArray
    highest: FloatArray
    lower_end: BoolArray
    doubtful: BoolArray

    @property
    def lengths_s(self) -> FloatArray:
        """Length of each step [s]."""
        return np.diff(self.edges_s)

    @property
    def known(self) -> BoolArray:
        """Whether anything is known of each step."""
        return ~np.isnan(self.values)

    @property
    def duration_s(self) -> float:
        """Length of the whole [s]."""
        return float(self.edges_s[-1] - self.edges_s[0])

    @property
    def unknown_s(self) -> float:
        """Time of which nothing is known [s]."""
        return float(self.lengths_s[~self.known].sum())

    @property
    def doubtful_s(self) -> float:
        """Time with doubted readings [s]."""
        return float(self.lengths_s[self.doubtful & self.known].sum())

    @property
    def at_least(self) -> bool:
        """Whether sums over it are lower ends."""
        return bool(np.any(~self.known) or np.any(self.lower_end))


@frozen
class Average:
    """One average, or a dose.

    Parameters
    ----------
    value : float
        The figure [unit of the channel, for a dose times hours].
    at_least : bool
        Whether it is a lower end.
    start_s : float
        Begin of the time that it is of [s since 1970, UTC].
    end_s : float
        Its end [s since 1970, UTC].
    """

    value: float
    at_least: bool
    start_s: float
    end_s: float


@frozen
class Run:
    """A stretch above a level.

    Parameters
    ----------
    start_s, end_s : float
        From when to when [s since 1970, UTC].
    peak : float
        Highest reading [unit of the channel].
    dose_h : float
        Integral over it [unit of the channel times hours].
    at_least : bool
        Whether peak and dose are lower ends, as readings are '>' or are missing beside it.
    """

    start_s: float
    end_s: float
    peak: float
    dose_h: float
    at_least: bool


def course(
    times_s: FloatArray,
    readings: FloatArray,
    *,
    longest_s: float,
    lower_end: BoolArray | None = None,
    doubtful: BoolArray | None = None,
) -> Course:
    """Lay readings out in steps.

    Parameters
    ----------
    times_s : numpy.ndarray
        When each was taken, in order; of several at one moment the highest counts [s since 1970, UTC].
    readings : numpy.ndarray
        The readings; NaN where there is none, a negative one counts as 0 [any unit].
    longest_s : float
        Longest time between two readings of which they still tell anything, above 0 [s].
    lower_end : numpy.ndarray, optional
        Whether each was logged as '>'.
    doubtful : numpy.ndarray, optional
        Whether each is doubted.

    Returns
    -------
    Course
        The steps.

    Raises
    ------
    ExposureError
        Where there are fewer than two times, times do not rise, or a reading is infinite.
    """
    times = np.asarray(times_s, dtype=np.float64)
    values = np.asarray(readings, dtype=np.float64)
    if times.size != values.size or times.size < _LEAST:
        raise ExposureError(
            f"{times.size} times and {values.size} readings were found; at least two readings, each "
            "with its time, are needed. Give a longer log."
        )
    if not (math.isfinite(longest_s) and longest_s > 0):
        raise ExposureError(
            f"the longest step is {longest_s:g} s; it must be above 0. Check the log's times."
        )
    if bool(np.any(np.isinf(values))) or not bool(np.all(np.isfinite(times))):
        raise ExposureError("a reading or a time is no finite number. Check the log.")
    if bool(np.any(np.diff(times) < 0)):
        raise ExposureError("readings do not stand in the order of time. Put them in order.")
    values = np.maximum(values, 0.0)  # keeps NaN
    flags = [
        np.zeros(times.size, dtype=np.bool_) if one is None else np.asarray(one, dtype=np.bool_)
        for one in (lower_end, doubtful)
    ]
    first = np.flatnonzero(np.concatenate(([True], np.diff(times) > 0)))
    if first.size < _LEAST:
        raise ExposureError(
            "all readings were taken at one moment; at least two moments are needed. Check the "
            "column of the time."
        )
    times, values = times[first], np.fmax.reduceat(values, first)
    over, doubted = (np.logical_or.reduceat(one, first) for one in flags)
    lengths = np.diff(times)
    return Course(
        times,
        np.where(lengths <= longest_s, (values[:-1] + values[1:]) / 2.0, np.nan),
        np.fmax(values[:-1], values[1:]),
        over[:-1] | over[1:],
        doubted[:-1] | doubted[1:],
    )


def between(of: Course, start_s: float, end_s: float) -> Course:
    """Cut a stretch out; what lies outside the course is a step of which nothing is known.

    Parameters
    ----------
    of : Course
        The course.
    start_s : float
        Begin of the stretch [s since 1970, UTC].
    end_s : float
        Its end, after the begin [s since 1970, UTC].

    Returns
    -------
    Course
        The stretch, from begin to end.

    Raises
    ------
    ExposureError
        Where the end does not lie after the begin.
    """
    if not start_s < end_s:
        raise ExposureError("a stay ends before it begins. Give the earlier moment first.")
    inner = of.edges_s[(of.edges_s > start_s) & (of.edges_s < end_s)]
    edges = np.concatenate(([start_s], inner, [end_s]))
    middles = (edges[:-1] + edges[1:]) / 2.0
    places = np.searchsorted(of.edges_s, middles, side="right") - 1
    inside = (places >= 0) & (places < of.values.size)
    places = np.clip(places, 0, of.values.size - 1)
    return Course(
        edges,
        np.where(inside, of.values[places], np.nan),
        np.where(inside, of.highest[places], np.nan),
        inside & of.lower_end[places],
        inside & of.doubtful[places],
    )


def joined(courses: tuple[Course, ...], beside: float | None = 0.0) -> Course:
    """Put courses one after the other.

    Parameters
    ----------
    courses : tuple of Course
        In the order of time, not overlapping.
    beside : float, optional
        What was in the air between them [unit of the channel]; None where that is not known.

    Returns
    -------
    Course
        One course.

    Raises
    ------
    ExposureError
        Where there is none, or two overlap.
    """
    if not courses:
        raise ExposureError("no stay was given. Say who was where and when.")
    edges, parts = [courses[0].edges_s], [courses[0]]
    for before, one in pairwise(courses):
        if one.edges_s[0] < before.edges_s[-1]:
            raise ExposureError("two stays overlap. Correct their times.")
        if one.edges_s[0] > before.edges_s[-1]:
            level = np.array([np.nan if beside is None else beside])
            no = np.zeros(1, dtype=np.bool_)
            parts.append(Course(np.empty(0), level, level, no, no))
            edges.append(one.edges_s)
        else:
            edges.append(one.edges_s[1:])
        parts.append(one)
    return Course(
        np.concatenate(edges),
        np.concatenate([one.values for one in parts]),
        np.concatenate([one.highest for one in parts]),
        np.concatenate([one.lower_end for one in parts]),
        np.concatenate([one.doubtful for one in parts]),
    )


def dose(of: Course) -> Average:
    """Give the integral over a course.

    Parameters
    ----------
    of : Course
        The course.

    Returns
    -------
    Average
        The dose [unit of the channel times hours].
    """
    known = of.known
    total = float((of.values[known] * of.lengths_s[known]).sum()) / HOUR_S
    return Average(total, of.at_least, float(of.edges_s[0]), float(of.edges_s[-1]))


def peak(of: Course) -> Average | None:
    """Give the highest reading; None where there is no reading.

    Parameters
    ----------
    of : Course
        The course.

    Returns
    -------
    Average or None
        The highest reading, and the step in which it lies.
    """
    if bool(np.all(np.isnan(of.highest))):
        return None
    at = int(np.nanargmax(of.highest))
    return Average(
        float(of.highest[at]), of.at_least, float(of.edges_s[at]), float(of.edges_s[at + 1])
    )


def highest_mean(of: Course, window_s: float, over_s: float | None = None) -> Average:
    """Give the highest mean over any window, time-weighted and exact.

    The sum over a window is a function with corners only where an end of the window passes an
    edge, so the highest stands at such a place.

    Parameters
    ----------
    of : Course
        The course; outside it nothing was breathed.
    window_s : float
        Length of the window, above 0 [s].
    over_s : float, optional
        Time by which the sum is divided, above 0; the window's own where not given [s].

    Returns
    -------
    Average
        The mean [unit of the channel], and its window.

    Raises
    ------
    ExposureError
        Where a length is not above 0.

    References
    ----------
    EH40/2005, appendix, and Directive 98/24/EC: time-weighted average over the reference period
    (from memory).
    """
    divisor = window_s if over_s is None else over_s
    for one in (window_s, divisor):
        if not (math.isfinite(one) and one > 0):
            raise ExposureError(f"an averaging time of {one:g} s was given; it must be above 0.")
    sums = np.concatenate(([0.0], np.cumsum(np.where(of.known, of.values, 0.0) * of.lengths_s)))
    first, last = float(of.edges_s[0]), float(of.edges_s[-1])
    begins = np.concatenate((of.edges_s, of.edges_s - window_s))
    begins = np.clip(begins, min(first, last - window_s), max(first, last - window_s))
    totals = np.interp(begins + window_s, of.edges_s, sums) - np.interp(begins, of.edges_s, sums)
    at = int(np.argmax(totals))
    begin = float(begins[at])
    return Average(float(totals[at]) / divisor, of.at_least, begin, begin + window_s)


def runs_above(of: Course, level: float) -> tuple[Run, ...]:
    """List the stretches whose readings lie above a level.

    Parameters
    ----------
    of : Course
        The course.
    level : float
        The level [unit of the channel].

    Returns
    -------
    tuple of Run
        In the order of time. A step belongs to one where a reading at either end lies above.
    """
    above = np.zeros(of.values.size + 2, dtype=np.bool_)
    known = of.known
    with np.errstate(invalid="ignore"):
        above[1:-1] = known & (of.highest > level)
    begins = np.flatnonzero(above[1:] & ~above[:-1])
    ends = np.flatnonzero(~above[1:] & above[:-1])
    weights = np.where(known, of.values, 0.0) * of.lengths_s / HOUR_S
    found = []
    for begin, end in zip(begins.tolist(), ends.tolist(), strict=True):
        beside = (begin > 0 and not known[begin - 1]) or (end < known.size and not known[end])
        found.append(
            Run(
                float(of.edges_s[begin]),
                float(of.edges_s[end]),
                float(of.highest[begin:end].max()),
                float(weights[begin:end].sum()),
                bool(beside or of.lower_end[begin:end].any()),
            )
        )
    return tuple(found)


def fewer_steps(of: Course, most: int) -> Course:
    """Take steps together, so that at most so many are left; the dose stays what it is.

    Parameters
    ----------
    of : Course
        The course.
    most : int
        How many steps at most, 1 or more [1].

    Returns
    -------
    Course
        Steps of which nothing is known stay apart; others are averaged over equal lengths of time.

    Raises
    ------
    ExposureError
        Where ``most`` is below 1.
    """
    if most < 1:
        raise ExposureError(f"{most} steps were asked for; at least 1 is needed.")
    if of.values.size <= most:
        return of
    bins = np.floor((of.edges_s[:-1] - of.edges_s[0]) / (of.duration_s / most)).astype(np.int64)
    known = of.known
    fresh = np.concatenate(([True], (np.diff(bins) > 0) | (known[1:] != known[:-1])))
    first = np.flatnonzero(fresh)
    lengths = np.add.reduceat(of.lengths_s, first)
    sums = np.add.reduceat(np.where(known, of.values, 0.0) * of.lengths_s, first)
    return Course(
        np.append(of.edges_s[:-1][first], of.edges_s[-1]),
        np.where(known[first], sums / lengths, np.nan),
        np.fmax.reduceat(of.highest, first),
        np.logical_or.reduceat(of.lower_end, first),
        np.logical_or.reduceat(of.doubtful, first),
    )
