"""What the measured moisture behind a stage says of it; it counts more than any calculation."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import PlantError
from lungwort.plant.water_load import Span

if TYPE_CHECKING:
    from collections.abc import Sequence

LEAST_FOR_TREND: Final = 5
"""Readings from which a trend is told [1]."""
CONFIDENCE: Final = 0.95

ABOVE: Final = "above"
RISING: Final = "rising"
STEADY: Final = "steady"
OPEN: Final = "open"
TOO_FEW: Final = "too_few"
NONE: Final = "none"

_DAY: Final = timedelta(days=1)
_FARTHEST_DAYS: Final = 36_500.0


@frozen
class WaterReading:
    """A measured water content.

    Parameters
    ----------
    time : datetime
        When, with a time zone.
    high_mg_m3 : float
        The upper end of what was read, 0 or more [mg/m³ at 20 °C, 1 atm].
    outlet : str
        Where.
    means : str
        ``log`` or ``test by hand``.
    open_ended : bool
        Whether it may have been higher still, such as a reading of '> 20'.

    Raises
    ------
    PlantError
        Where the time has no zone, or the content is no number of 0 or more.
    """

    time: datetime
    high_mg_m3: float
    outlet: str = ""
    means: str = "log"
    open_ended: bool = False

    def __attrs_post_init__(self) -> None:
        """Check the reading."""
        if self.time.utcoffset() is None:
            raise PlantError(
                f"the reading of {self.time.isoformat()} states no time zone. Add one."
            )
        if not self.high_mg_m3 >= 0 or math.isinf(self.high_mg_m3):
            raise PlantError(
                f"a water content of {self.high_mg_m3:g} mg/m3 cannot be. Give a number of 0 or "
                "more."
            )


@frozen
class Moisture:
    """What the readings of one outlet say.

    Parameters
    ----------
    outlet : str
        Where.
    state : str
        ``above`` where the newest reading lies above the limit, ``open`` where it may have been
        higher than it says, ``rising`` where the readings creep
        upward, ``steady`` where they do not, ``too_few`` where a trend cannot be told, ``none``
        where there is no reading.
    readings : tuple of WaterReading
        In order of time.
    limit_mg_m3 : float, optional
        Highest content allowed [mg/m³]; None where none is given.
    slope_mg_m3_d : Span, optional
        Slope of Theil and Sen with its 95 % ends [mg/m³ a day].
    reaches : datetime, optional
        When the limit would be reached at the fastest slope; None where it would not be.
    """

    outlet: str
    state: str
    readings: tuple[WaterReading, ...]
    limit_mg_m3: float | None = None
    slope_mg_m3_d: Span | None = None
    reaches: datetime | None = None

    @property
    def newest(self) -> WaterReading | None:
        """The newest reading; None where there is none."""
        return self.readings[-1] if self.readings else None


def moisture(
    outlet: str, readings: Sequence[WaterReading], *, limit_mg_m3: float | None = None
) -> Moisture:
    """Tell whether the moisture at an outlet is too high, or creeps upward.

    Parameters
    ----------
    outlet : str
        Where.
    readings : sequence of WaterReading
        Since the cartridge was changed, in any order.
    limit_mg_m3 : float, optional
        Highest content allowed, above 0 [mg/m³].

    Returns
    -------
    Moisture
        Rising where the lower 95 % end of the slope lies above 0.

    Raises
    ------
    PlantError
        Where the limit is no number above 0.

    References
    ----------
    P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379, by ``scipy.stats.theilslopes``.
    """
    if limit_mg_m3 is not None and not (math.isfinite(limit_mg_m3) and limit_mg_m3 > 0):
        raise PlantError(
            f"a highest water content of {limit_mg_m3:g} mg/m3 cannot be. Give a number above 0."
        )
    ordered = tuple(sorted(readings, key=lambda one: one.time))
    if not ordered:
        return Moisture(outlet, NONE, (), limit_mg_m3)
    slope = _slope(ordered)
    newest = ordered[-1]
    if limit_mg_m3 is not None and newest.high_mg_m3 > limit_mg_m3:
        return Moisture(outlet, ABOVE, ordered, limit_mg_m3, slope)
    if newest.open_ended:
        return Moisture(outlet, OPEN, ordered, limit_mg_m3, slope)
    if slope is None:
        return Moisture(outlet, TOO_FEW, ordered, limit_mg_m3)
    if slope.low <= 0:
        return Moisture(outlet, STEADY, ordered, limit_mg_m3, slope)
    reaches = None
    if limit_mg_m3 is not None:
        days = (limit_mg_m3 - newest.high_mg_m3) / slope.high
        reaches = newest.time + timedelta(days=min(days, _FARTHEST_DAYS))
    return Moisture(outlet, RISING, ordered, limit_mg_m3, slope, reaches)


def _slope(ordered: Sequence[WaterReading]) -> Span | None:
    days = [(one.time - ordered[0].time) / _DAY for one in ordered]
    if len(set(days)) < LEAST_FOR_TREND:
        return None
    from scipy.stats import theilslopes  # noqa: PLC0415 - keeps --help instant

    found = theilslopes([one.high_mg_m3 for one in ordered], days, alpha=CONFIDENCE)
    ends = sorted((float(found.low_slope), float(found.slope), float(found.high_slope)))
    return None if any(math.isnan(one) for one in ends) else Span(*ends)
