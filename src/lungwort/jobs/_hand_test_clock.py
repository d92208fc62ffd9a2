"""The clock of a device on which a test was entered, held against the clock of this computer.

A device says when each entry was made by its own clock, and what that clock shows as it sends. The
difference to this computer's clock is taken off. Where the device's clock was set or went back
meanwhile, or is far off, nobody can say how long a wait lasted.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from attrs import frozen

if TYPE_CHECKING:
    from collections.abc import Sequence

MOST_OFF: Final = timedelta(hours=1)
"""How far a device's clock may be off; one that is further off is not kept right by anybody."""
SAME: Final = timedelta(seconds=10)
"""Within which two looks at a device's clock agree: the way over a slow network takes time."""
_GRAIN: Final = timedelta(seconds=1)


@frozen(kw_only=True)
class Stamp:
    """When something was done, as the device says.

    Parameters
    ----------
    time : datetime
        By its clock.
    steady_s : float, optional
        By a clock of the device that nobody sets and that may stand still while it sleeps [s].
    steady_of : str
        What that clock belongs to: two readings of different ones cannot be compared.
    """

    time: datetime
    steady_s: float | None = None
    steady_of: str = ""


@frozen(kw_only=True)
class Clocked:
    """What the device's clock is worth.

    Parameters
    ----------
    offset : timedelta
        How far it is ahead of this computer's.
    doubts : tuple of str
        Why times by it cannot be relied on; empty where they can.
    """

    offset: timedelta
    doubts: tuple[str, ...] = ()

    def time(self, stamp: Stamp) -> datetime:
        """Give a moment by this computer's clock, UTC."""
        return stamp.time - self.offset


def look_at_clock(
    stamps: Sequence[Stamp], sent: datetime, now: datetime, offset_before: timedelta | None
) -> Clocked:
    """Hold a device's clock against this computer's.

    Parameters
    ----------
    stamps : sequence of Stamp
        When each entry was made, in the order in which they were.
    sent : datetime
        What the device's clock showed as it sent them.
    now : datetime
        What this computer's clock shows, UTC.
    offset_before : timedelta, optional
        What the device was told at the last contact; None where there was none.

    Returns
    -------
    Clocked
        The offset to take off, and why it may be wrong.
    """
    fresh = sent - now
    doubts = []
    set_meanwhile = offset_before is not None and abs(fresh - offset_before) > SAME
    # One offset for all of a test, so that the network's delays do not lengthen a wait.
    offset = fresh if offset_before is None or set_meanwhile else offset_before
    if not stamps:
        return Clocked(offset=offset)
    if abs(offset) > MOST_OFF:
        doubts.append(
            f"The clock of the device is off by {_span(offset)}; more than {_span(MOST_OFF)} is not "
            "corrected without doubt. Set it right."
        )
    if set_meanwhile and offset_before is not None:
        doubts.append(
            f"The clock of the device was set by {_span(fresh - offset_before)} between two contacts."
        )
    if _went_back(stamps, sent):
        doubts.append("The clock of the device went back while entries were made.")
    elif offset_before is None and _jumped(stamps):
        doubts.append(
            "The device slept or its clock was set before this computer had seen its clock, "
            "and which of the two is not known."
        )
    if any(stamp.time - offset > now + SAME for stamp in stamps):
        doubts.append("The clock of the device put entries ahead of the present moment.")
    return Clocked(offset=offset, doubts=tuple(doubts))


def _went_back(stamps: Sequence[Stamp], sent: datetime) -> bool:
    times = [*(one.time for one in stamps), sent]
    if any(later < earlier - _GRAIN for earlier, later in pairwise(times)):
        return True
    return any(by_steady - by_clock > SAME for by_clock, by_steady in _between(stamps))


def _jumped(stamps: Sequence[Stamp]) -> bool:
    return any(by_clock - by_steady > SAME for by_clock, by_steady in _between(stamps))


def _between(stamps: Sequence[Stamp]) -> list[tuple[timedelta, timedelta]]:
    return [
        (later.time - earlier.time, timedelta(seconds=later.steady_s - earlier.steady_s))
        for earlier, later in pairwise(stamps)
        if later.steady_s is not None
        and earlier.steady_s is not None
        and later.steady_of == earlier.steady_of
    ]


def _span(span: timedelta) -> str:
    seconds = round(abs(span).total_seconds())
    for unit_s, unit in ((86400, "days"), (3600, "h"), (60, "min")):
        if seconds >= 2 * unit_s:
            return f"{seconds // unit_s} {unit}"
    return f"{seconds} s"
