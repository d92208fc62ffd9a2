"""How long a supply really runs: hours used since a moment, and hours a day, with their ends.

The plan of changes (`lungwort.plan.cartridges`) draws the readings of the hour meter on with the
faster of the mean and the last stretch. The highest rate here is never below that, so that no day
found here lies later for the same hours.
"""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import PlantError
from lungwort.plant.water_load import Span

if TYPE_CHECKING:
    from collections.abc import Sequence

DAY_AND_NIGHT_H: Final = 24.0
"""Most hours that a supply can run in a day [h/d]."""
LEAST_FOR_SLOPE: Final = 3
"""Readings from which a robust slope is told [1]."""
CONFIDENCE: Final = 0.95

_DAY: Final = timedelta(days=1)
_METER_SLACK_H: Final = 1.0


STOOD_STILL: Final = "stood still"
STILL_DAYS: Final = 28.0
"""Days through which a supply in use does not rest; own rule [d]."""


@frozen
class MeterReading:
    """What an hour meter showed.

    Parameters
    ----------
    time : datetime
        When, with a time zone.
    hours : float
        The reading, 0 or more [h].

    Raises
    ------
    PlantError
        Where the time has no zone, or the hours are no number of 0 or more.
    """

    time: datetime
    hours: float

    def __attrs_post_init__(self) -> None:
        """Check the reading."""
        if self.time.utcoffset() is None:
            raise PlantError(
                f"the reading of {self.time.isoformat()} states no time zone. Add one."
            )
        if not (math.isfinite(self.hours) and self.hours >= 0):
            raise PlantError(
                f"a reading of {self.hours} h on the hour meter cannot be. Give 0 or more."
            )


@frozen
class Running:
    """How long a supply ran since a moment, and how fast its hours go on.

    Parameters
    ----------
    since : datetime
        From when hours are counted, UTC.
    read : datetime
        The last moment for which the meter tells, UTC; ``since`` where none does.
    used_h : Span
        Hours used up to ``read`` [h].
    rate_h_d : Span
        Hours a day from then on [h/d].
    readings : int
        Readings after ``since`` [1].
    doubts : tuple of str
        Why the hours are not told by the meter; empty where they are.
    """

    since: datetime
    read: datetime
    used_h: Span
    rate_h_d: Span
    readings: int
    doubts: tuple[str, ...] = ()

    def used_by(self, moment: datetime) -> Span:
        """Give the hours used up to a moment.

        Parameters
        ----------
        moment : datetime
            Which; before ``read`` the hours at ``read`` are given.

        Returns
        -------
        Span
            Hours [h].
        """
        days = max((moment - self.read) / _DAY, 0.0)
        return Span(
            self.used_h.low + self.rate_h_d.low * days,
            self.used_h.likely + self.rate_h_d.likely * days,
            self.used_h.high + self.rate_h_d.high * days,
        )


def running(
    readings: Sequence[MeterReading], since: datetime, *, hours_at_start: float | None = None
) -> Running:
    """Tell how long a supply ran since a moment, and how fast its hours go on.

    Parameters
    ----------
    readings : sequence of MeterReading
        What the meter showed, in any order; those before ``since`` count for its start.
    since : datetime
        From when, with a time zone: the change of the cartridge.
    hours_at_start : float, optional
        What the meter showed then [h]; the last reading before it where not given, since the meter
        showed no less.

    Returns
    -------
    Running
        Likely rate: the slope of Theil and Sen through all readings since, from three on; else
        the mean. Its ends take in the 95 % ends of that slope, the mean and the last stretch. With
        no reading since, day and night.

    Raises
    ------
    PlantError
        Where ``since`` has no time zone, or the hours at the start are no number.

    References
    ----------
    P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379, by ``scipy.stats.theilslopes``.
    """
    if since.utcoffset() is None:
        raise PlantError(f"the change of {since.isoformat()} states no time zone. Add one.")
    ordered = sorted(readings, key=lambda one: (one.time, one.hours))
    after = [one for one in ordered if one.time > since]
    before = [one for one in ordered if one.time <= since]
    begun, exact = since, hours_at_start is not None
    if hours_at_start is None and before:
        begun, hours_at_start = before[-1].time, before[-1].hours
    if hours_at_start is None:
        return _blind(since, after, "no reading of the hour meter up to the change is on record")
    run = [MeterReading(since, hours_at_start), *after]
    if any(later.hours < earlier.hours for earlier, later in pairwise(run)):
        return _blind(since, after, "the hour meter went backwards after the change")
    if len(run) == 1:
        return Running(
            since,
            since,
            Span.exactly(0.0),
            Span(0.0, DAY_AND_NIGHT_H, DAY_AND_NIGHT_H),
            0,
            (
                (
                    "no reading of the hour meter after the change is on record, so that it is counted "
                    "as if it ran day and night"
                ),
            ),
        )
    used = run[-1].hours - run[0].hours
    days = (run[-1].time - begun) / _DAY
    doubts: tuple[str, ...] = ()
    if used > DAY_AND_NIGHT_H * days + _METER_SLACK_H:
        doubts = (
            (
                f"the hour meter went on by {used:g} h in {days:.1f} days, more than there are hours: "
                "check its readings"
            ),
        )
    still = [
        (earlier, later)
        for earlier, later in pairwise(run)
        if later.hours == earlier.hours and (later.time - earlier.time) / _DAY >= STILL_DAYS
    ]
    if still:
        first, last = still[-1]
        doubts = (
            *doubts,
            (
                f"the hour meter {STOOD_STILL} at {last.hours:g} h from {first.time:%Y-%m-%d} to "
                f"{last.time:%Y-%m-%d}: if the supply ran then, the meter is broken, and the hours are "
                "not known"
            ),
        )
    least = used if exact else run[-1].hours - run[1].hours
    return Running(since, run[-1].time, Span(least, used, used), _rate(run), len(after), doubts)


def _blind(since: datetime, after: Sequence[MeterReading], why: str) -> Running:
    """Count day and night, since the meter does not tell."""
    return Running(
        since,
        since,
        Span.exactly(0.0),
        Span(0.0, DAY_AND_NIGHT_H, DAY_AND_NIGHT_H),
        len(after),
        (f"{why}, so that it is counted as if it ran day and night",),
    )


def _rate(run: Sequence[MeterReading]) -> Span:
    mean = _between(run[0], run[-1])
    found = [one for one in (mean, _between(run[-2], run[-1])) if one is not None]
    likely = mean
    if len(run) > LEAST_FOR_SLOPE:
        from scipy.stats import theilslopes  # noqa: PLC0415 - keeps --help instant

        days = [(one.time - run[0].time) / _DAY for one in run]
        if len(set(days)) > LEAST_FOR_SLOPE:
            slope = theilslopes([one.hours for one in run], days, alpha=CONFIDENCE)
            likely = float(slope.slope)
            found += [likely, float(slope.low_slope), float(slope.high_slope)]
    highest = max(found, default=0.0)
    if highest <= 0 or likely is None:
        return Span(0.0, DAY_AND_NIGHT_H, DAY_AND_NIGHT_H)
    lowest = max(min(found), 0.0)
    return Span(lowest, max(likely, lowest), highest)


def _between(first: MeterReading, last: MeterReading) -> float | None:
    days = (last.time - first.time) / _DAY
    return (last.hours - first.hours) / days if days > 0 else None
