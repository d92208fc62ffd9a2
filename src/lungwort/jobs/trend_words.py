"""What stands beside every trend: assumptions, sources, cautions, and how its figures are called."""

from __future__ import annotations

from typing import Final

from lungwort.insight.change_points import LEAST_SEGMENT
from lungwort.insight.statistics import LEAST_READINGS
from lungwort.insight.trend import LEAST_DAYS, NEWEST
from lungwort.paper.calculation import Stated

MEASURES: Final = ("p95", "median", "highest")
"""Which figure of a day is looked at: that which all but one in twenty readings keep, the median, or
the highest; where low values are bad, the same from below."""

FIGURE: Final = {
    "high": "95 % level",
    "low": "5 % level",
    "median": "median",
    "greatest": "highest reading",
    "least": "lowest reading",
}

CAUTIONS: Final = (
    (
        "A calculation from the readings given; it does not replace a measurement at the wearer, the "
        "equipment maker's instructions, the standard itself, local codes or a competent person."
    ),
    (
        "A trend goes on only if nothing changes. A cartridge breaks through, a leak opens and an intake "
        "draws in exhaust from one hour to the next, without a trend before it."
    ),
    "No trend shown is no proof that there is none, and none that the air is fit to breathe.",
)

SOURCES: Final = (
    (
        "Mann (1945) and Kendall (1975): score, its variance with ties and Z (confirmed in the documentation "
        "of open statistics libraries)."
    ),
    (
        "Memory of days: Bayley and Hammersley (1946), Marriott and Pope (1954), Hamed and Rao (1998); "
        "the widest of them is taken (from memory)."
    ),
    "Slope: median of the slopes of all pairs, Theil (1950), Sen (1968) (from memory).",
    (
        "Steps and bends: PELT, Killick, Fearnhead and Eckley (2012), with a penalty after Yao (1988) "
        "(from memory), raised by an own margin of 1.3."
    ),
)

UNCERTAINTY: Final = (
    "Of days without a trend about one series in twenty shows one here, and each channel is tested: "
    "with many channels one false alarm is to be expected. The interval of the day holds about nine of "
    "ten true days where a straight line goes on; where days hang together strongly, somewhat fewer."
)

LEFT_OUT: Final = (
    "Rises within a day: only figures of whole days are looked at.",
    "The uncertainty of the sensor, which shifts all days alike; a verdict takes it into account.",
    "A trend that is not a straight line; one that grows ever steeper reaches the limit sooner.",
)


def assumptions(least_coverage: float, by_record: bool) -> tuple[Stated, ...]:  # noqa: FBT001 - said by name below
    """Say what was taken for granted.

    Parameters
    ----------
    least_coverage : float
        Share of a day that must have been read, 0 to 1 [1].
    by_record : bool
        Whether calibrations and changes of cartridges are on record.

    Returns
    -------
    tuple of Stated
        What.
    """
    rules = (
        Stated(
            f"A day counts where {least_coverage * 100:g} % of it and {LEAST_READINGS} readings were "
            f"read; a trend needs {LEAST_DAYS} days, a piece between two steps {LEAST_SEGMENT}",
            "own rule",
        ),
        Stated(
            f"The limit is reached now where one of the newest {NEWEST} days on the calendar, whole or not, is beyond it",
            "own rule",
            "to the safe side",
        ),
        Stated(
            "A limit on a mean is held against the figure of the day all the same",
            "own rule",
            "may tell of a limit sooner than a verdict would",
        ),
        Stated("No line is drawn further ahead than it was seen", "own rule"),
    )
    if by_record:
        return rules
    return (
        *rules,
        Stated(
            "Calibrations and changes of cartridges are not known",
            "no record",
            "a step can be that of the instrument",
        ),
    )
