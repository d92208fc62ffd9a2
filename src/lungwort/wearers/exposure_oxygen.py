"""Oxygen that was logged beside what was breathed: dangers that it tells of, and its part in the blood.

Lack of oxygen and too much of it are dangers of their own, which no exposure limit holds; they are
named and not worked out. Less oxygen lets the blood take up more carbon monoxide, so that the
readings count there; more than was entered is never counted.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.wearers.averages import Course, between, joined, peak
from lungwort.wearers.uptake import OXYGEN_LOSS_MMHG, WATER_MMHG
from lungwort.wearers.uptake_people import LEAST_OXYGEN_PERCENT, OXYGEN_PERCENT, barometric_mmhg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.air.arrays import FloatArray
    from lungwort.wearers.stays import Stay

DEFICIENT_PERCENT: Final = 19.5
"""Below it air lacks oxygen [%]: 29 CFR 1910.134(b), 'oxygen deficient atmosphere' (from memory)."""
ENRICHED_PERCENT: Final = 23.5
"""Above it equipment must be fit for oxygen [%]: Washington State copy, WAC 296-842-20010."""
WITHIN_PERCENT: Final = 1.0
"""By so much a reading may lie above the oxygen that was entered for enriched air [%]: own rule."""
STEP_PERCENT: Final = 0.1
"""Readings are rounded down to it for the blood [%]: own rule."""
LEAST_CAPILLARY_MMHG: Final = 20.0
"""Oxygen in the capillaries below which the equation is no use [mmHg]: own rule, as in `People`."""


@frozen(eq=False)
class OutletOxygen:
    """Oxygen that was logged at an outlet; of several sensors both ends count.

    Parameters
    ----------
    high : Course
        The readings; of several sensors the higher [%].
    lack : Course
        100 less the readings; of several sensors that which shows less oxygen [%].
    """

    high: Course
    lack: Course

    @property
    def range_percent(self) -> tuple[float, float] | None:
        """Lowest and highest reading [%]; None where there is none."""
        least, most = peak(self.lack), peak(self.high)
        if least is None or most is None:
            return None
        return 100.0 - least.value, most.value


def breathed(known: Sequence[OutletOxygen | None], stays: Sequence[Stay]) -> OutletOxygen | None:
    """Cut out what one person's stays hold.

    Parameters
    ----------
    known : sequence of OutletOxygen or None
        For each stay the oxygen of its outlet; None where it was not logged.
    stays : sequence of Stay
        The stays in the order of time.

    Returns
    -------
    OutletOxygen or None
        From the first stay to the last, with 20.9 % between them; None where nothing was read.
    """
    ends = [(one.start.timestamp(), one.end.timestamp()) for one in stays]
    made = OutletOxygen(
        joined(
            tuple(
                _cut(None if one is None else one.high, *end)
                for one, end in zip(known, ends, strict=True)
            ),
            OXYGEN_PERCENT,
        ),
        joined(
            tuple(
                _cut(None if one is None else one.lack, *end)
                for one, end in zip(known, ends, strict=True)
            ),
            100.0 - OXYGEN_PERCENT,
        ),
    )
    read = any(
        one is not None and bool(between(one.high, *end).known.any())
        for one, end in zip(known, ends, strict=True)
    )
    return made if read else None


def _cut(of: Course | None, start_s: float, end_s: float) -> Course:
    if of is not None:
        return between(of, start_s, end_s)
    unknown, no = np.array([np.nan]), np.zeros(1, dtype=np.bool_)
    return Course(np.array([start_s, end_s]), unknown, unknown, no, no)


def gaps(known: Sequence[OutletOxygen | None], stays: Sequence[Stay]) -> tuple[str, ...]:
    """Say where oxygen was logged at an outlet, but not over the whole stay.

    Parameters
    ----------
    known : sequence of OutletOxygen or None
        For each stay the oxygen of its outlet; None where it was not logged.
    stays : sequence of Stay
        The stays.

    Returns
    -------
    tuple of str
        One sentence, or none.
    """
    unknown_s = sum(
        between(one.high, stay.start.timestamp(), stay.end.timestamp()).unknown_s
        for one, stay in zip(known, stays, strict=True)
        if one is not None
    )
    if unknown_s <= 0:
        return ()
    return (f"O2: it was logged, but nothing is known of {unknown_s / 60:.1f} min of the stay.",)


def dangers(oxygen: OutletOxygen | None, entered_percent: float) -> tuple[str, ...]:
    """Name what the readings of oxygen tell of and no exposure limit holds.

    Parameters
    ----------
    oxygen : OutletOxygen, optional
        What one person breathed.
    entered_percent : float
        Oxygen that was entered, or 20.9 [%].

    Returns
    -------
    tuple of str
        Sentences.

    References
    ----------
    29 CFR 1910.134(b): below 19.5 % an atmosphere is deficient in oxygen (from memory). WAC
    296-842-20010: above 23.5 % equipment for oxygen service is needed (confirmed).
    """
    ends = None if oxygen is None else oxygen.range_percent
    if oxygen is None or ends is None:
        return ()
    low, high = ends
    found = []
    if low < DEFICIENT_PERCENT:
        minutes = _minutes_above(oxygen.lack, 100.0 - DEFICIENT_PERCENT)
        found.append(
            f"O2: oxygen was logged as low as {low:.1f} %, below {DEFICIENT_PERCENT:g} % for about "
            f"{minutes:.0f} min: danger of suffocation, which is not worked out here. Take the supply "
            "out of use, send whoever breathed there to a doctor at once, and test the cell."
        )
    most = ENRICHED_PERCENT
    if entered_percent > ENRICHED_PERCENT:
        most = entered_percent + WITHIN_PERCENT
    if high > most:
        minutes = _minutes_above(oxygen.high, most)
        found.append(
            f"O2: oxygen was logged as high as {high:.1f} %, above {most:g} % for about {minutes:.0f} "
            "min: danger of fire, which is not worked out here. Take the supply out of use and test "
            "the cell; where air rich in oxygen is meant, enter its oxygen."
        )
    return tuple(found)


def _minutes_above(of: Course, level: float) -> float:
    with np.errstate(invalid="ignore"):
        return float(of.lengths_s[of.highest > level].sum()) / 60.0


def levels(
    oxygen: OutletOxygen | None, edges_s: FloatArray, entered_percent: float, altitude_m: float
) -> FloatArray:
    """Give the oxygen that counts for the blood in each step.

    Parameters
    ----------
    oxygen : OutletOxygen, optional
        What one person breathed; None where it was not logged.
    edges_s : numpy.ndarray
        Begin of each step and end of the last, n + 1 of them [s since 1970, UTC].
    entered_percent : float
        Oxygen that was entered, or 20.9 [%].
    altitude_m : float
        Altitude, -430 to 4000 [m].

    Returns
    -------
    numpy.ndarray
        For each of n steps the lower of what was read and what was entered, rounded down, not below
        what the equation can bear; where nothing was read the lowest reading [%].
    """
    whole = np.full(edges_s.size - 1, entered_percent, dtype=np.float64)
    ends = None if oxygen is None else oxygen.range_percent
    if oxygen is None or ends is None:
        return whole
    known = oxygen.lack.known
    lengths = oxygen.lack.lengths_s
    sums, spans = (
        np.diff(np.interp(edges_s, oxygen.lack.edges_s, np.concatenate(([0.0], np.cumsum(one)))))
        for one in (
            np.where(known, oxygen.lack.values, 0.0) * lengths,
            np.where(known, 1.0, 0.0) * lengths,
        )
    )
    read = np.full(whole.size, ends[0])
    some = spans > 1e-6  # noqa: PLR2004 - less than a microsecond is rounding
    read[some] = 100.0 - sums[some] / spans[some]
    read = np.floor(read / STEP_PERCENT + 1e-6) * STEP_PERCENT
    return np.minimum(np.maximum(np.round(read, 3), least_percent(altitude_m)), whole)


def least_percent(altitude_m: float) -> float:
    """Give the least oxygen with which the equation is used.

    Parameters
    ----------
    altitude_m : float
        Altitude, -430 to 4000 [m].

    Returns
    -------
    float
        Oxygen in the air, a tenth rounded up [%].

    Examples
    --------
    >>> least_percent(0.0), least_percent(4000.0)
    (15.0, 16.7)
    """
    lungs = barometric_mmhg(altitude_m) - WATER_MMHG
    needed = 100.0 * (LEAST_CAPILLARY_MMHG + OXYGEN_LOSS_MMHG) / lungs
    return max(LEAST_OXYGEN_PERCENT, math.ceil(needed * 10) / 10)
