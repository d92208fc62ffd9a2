"""Channels whose readings as a whole cannot be believed: dead cells, wrong units, frozen loggers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.air.analytes import VOLUME_FRACTION
from lungwort.logs.plausible import (
    DEAD_CO_SWING_PPM,
    NO_CO_BELOW_PPM,
    NO_NATURAL_AIR_BELOW_PPM,
    is_co2,
)
from lungwort.logs.stillness import STUCK_S

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from lungwort.logs.model import Channel
    from lungwort.logs.whole import Extremes

_READINGS_TO_DOUBT: Final = 30
_SHARE_TO_DOUBT: Final = 0.1
_ALWAYS_MOVING: Final = frozenset({"co2", "water", "pressure", "temperature", "relative_humidity"})


def channel_doubts(
    channels: Sequence[Channel],
    extremes: Mapping[str, Extremes],
    trust: Sequence[str],
    *,
    rows: int,
    interval_s: float | None,
) -> list[tuple[str, str]]:
    """Say for which channels the readings as a whole cannot be believed.

    Parameters
    ----------
    channels : sequence of Channel
        The channels.
    extremes : mapping of str to Extremes
        What was kept of each.
    trust : sequence of str
        Analytes whose implausible level is known to be true.
    rows : int
        Readings in time.
    interval_s : float, optional
        Sampling interval [s].

    Returns
    -------
    list of (str, str)
        Column name and reason.
    """
    alive = [c for c in channels if c.name in extremes and extremes[c.name].readings]
    found: list[tuple[str, str]] = []
    for channel in alive:
        if channel.analyte not in trust:
            reason = _level(channel, extremes[channel.name])
            if reason:
                found.append((channel.name, reason))
    found.extend(_dead_co(alive, extremes, trust))
    found.extend(_all_still(alive, extremes, rows * (interval_s or 0.0), rows))
    return found


def _level(channel: Channel, seen: Extremes) -> str:
    if is_co2(channel) and seen.implausible > _SHARE_TO_DOUBT * seen.readings:
        return (
            f"{seen.implausible} of {seen.readings} readings are below {NO_NATURAL_AIR_BELOW_PPM:g} ppm, and "
            "outside air holds about 420 ppm of carbon dioxide: a wrong unit or a dead cell. If the supply "
            "really holds none, say so with --trust co2"
        )
    if channel.analyte == "o2" and channel.unit == "%" and seen.high <= 1.0:
        return (
            f"no reading is above {seen.high:g} %: this looks like a fraction of 1 or another unit and not like "
            "per cent. Give the unit with --unit, such as --unit o2=mol/mol"
        )
    if (
        channel.analyte == "co"
        and channel.quantity == VOLUME_FRACTION
        and 0.0 < seen.high < NO_CO_BELOW_PPM
        and seen.low < seen.high
    ):
        return (
            f"it moves and no reading is above {seen.high:g} {channel.unit}, less than any cell tells apart: this "
            "looks like per cent or a fraction of 1. Give the unit with --unit, such as --unit co=%. If it is "
            "known to be right, say so with --trust co"
        )
    return ""


def _dead_co(
    alive: Sequence[Channel], extremes: Mapping[str, Extremes], trust: Sequence[str]
) -> list[tuple[str, str]]:
    """Find a CO cell that never moves while carbon dioxide swings by combustion's measure."""
    swing = max(
        (extremes[c.name].high - extremes[c.name].low for c in alive if is_co2(c)), default=0.0
    )
    if swing < DEAD_CO_SWING_PPM or "co" in trust:
        return []
    reason = (
        f"it shows {{at:g}} {{unit}} throughout although carbon dioxide moves by {swing:.0f} ppm: test the cell "
        "with gas, it may be dead. If it is known to be right, say so with --trust co"
    )
    return [
        (c.name, reason.format(at=extremes[c.name].low, unit=c.unit))
        for c in alive
        if c.analyte == "co" and extremes[c.name].low == extremes[c.name].high
    ]


def _all_still(
    alive: Sequence[Channel], extremes: Mapping[str, Extremes], length_s: float, rows: int
) -> list[tuple[str, str]]:
    # One channel alone may well be still for a while.
    least_s = STUCK_S / 2 if len(alive) > 1 else STUCK_S
    if rows < _READINGS_TO_DOUBT or length_s < least_s:
        return []
    if any(extremes[c.name].low < extremes[c.name].high for c in alive):
        return []
    if not any(c.analyte in _ALWAYS_MOVING for c in alive):
        return []
    reason = "no channel changed at all over the whole log: the logger was frozen or no instrument was connected"
    return [(c.name, reason) for c in alive]
