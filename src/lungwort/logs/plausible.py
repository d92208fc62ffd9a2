"""What a reading can be: possible ranges, doubtful steps, and numbers that stand for no reading.

The thresholds are common practice, no source; a suspect reading is used and told.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.air import units
from lungwort.air.analytes import (
    ANALYTES,
    ATMOSPHERIC_DEW_POINT,
    HUMIDITY_RATIO,
    MASS_CONCENTRATION,
    PRESSURE_DEW_POINT,
    TEMPERATURE,
    VOLUME_FRACTION,
)
from lungwort.logs.cells import CODES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lungwort.logs.model import Channel

NO_NATURAL_AIR_BELOW_PPM: Final = 100.0
"""Outside air holds about 420 ppm of carbon dioxide; less than this is not natural air."""
DEAD_CO_SWING_PPM: Final = 1000.0
"""Carbon dioxide that moves by more comes from burning or breathing: a CO cell must answer."""
NO_CO_BELOW_PPM: Final = 0.05
"""A carbon monoxide channel that moves and never reaches this much is in another unit."""

_DEGREES: Final = frozenset({ATMOSPHERIC_DEW_POINT, PRESSURE_DEW_POINT, TEMPERATURE})
_NEAR_K: Final = 20.0


@frozen
class Threshold:
    """What makes a reading of one analyte doubtful.

    Parameters
    ----------
    spike : float
        A single reading that stands out from both neighbours by more [canonical unit].
    rate : float
        Change from one reading to the next by more [canonical unit].
    """

    spike: float
    rate: float


THRESHOLDS: Final[dict[str, Threshold]] = {
    "o2": Threshold(0.5, 1.0),
    "co": Threshold(5.0, 20.0),
    "co2": Threshold(200.0, 1000.0),
    "no": Threshold(2.0, 5.0),
    "no2": Threshold(1.0, 3.0),
    "so2": Threshold(1.0, 3.0),
    "h2s": Threshold(2.0, 5.0),
    "voc": Threshold(5.0, 20.0),
}

# A cell that reads further below zero than this is off by at least as much: common practice. An
# oxygen cell in air without oxygen may read a little below zero, and that must not be lost.
_ZERO_ERROR: Final[dict[str, tuple[float, float]]] = {
    "o2": (-2.0, 102.0),
    "co": (-1.0, 1e6),
    "co2": (-50.0, 1e6),
    "no": (-0.5, 1e6),
    "no2": (-0.5, 1e6),
    "nox": (-0.5, 1e6),
    "so2": (-0.5, 1e6),
    "h2s": (-1.0, 1e6),
    "voc": (-1.0, 1e6),
    "water": (-2.0, 5e6),
    "oil": (-0.05, 1e6),
}


def possible_range(channel: Channel) -> tuple[float, float]:
    """Give the readings that physics and a small zero error allow.

    Parameters
    ----------
    channel : Channel
        The channel.

    Returns
    -------
    tuple of (float, float)
        Lowest and highest [unit of the channel].
    """
    if channel.quantity in {ATMOSPHERIC_DEW_POINT, PRESSURE_DEW_POINT}:
        return -110.0, 100.0
    if channel.quantity == HUMIDITY_RATIO:
        return -0.01, 622.0
    low, high = _ZERO_ERROR.get(channel.analyte, ANALYTES[channel.analyte].possible)
    if channel.analyte == "water" and channel.quantity == VOLUME_FRACTION:
        return -5.0, 1e6
    if channel.quantity == MASS_CONCENTRATION:
        return low, 5e6
    canonical = ANALYTES[channel.analyte].unit
    if (
        canonical
        and channel.unit != canonical
        and units.unit(channel.unit).dimension == units.unit(canonical).dimension
    ):
        return units.scale(low, canonical, channel.unit), units.scale(high, canonical, channel.unit)
    return low, high


def is_co2(channel: Channel) -> bool:
    """Tell whether a channel measures carbon dioxide as a volume fraction.

    Parameters
    ----------
    channel : Channel
        The channel.
    """
    return channel.analyte == "co2" and channel.quantity == VOLUME_FRACTION


def at_rest(channel: Channel, value: float) -> bool:
    """Tell whether quiet air makes a channel stand still at a value.

    Parameters
    ----------
    channel : Channel
        The channel.
    value : float
        Where it stands still [unit of the channel].
    """
    if channel.analyte == "o2" and channel.quantity == VOLUME_FRACTION:
        return 20.8 <= units.scale(value, channel.unit, "%") <= 21.0  # noqa: PLR2004 - fresh air
    return value == 0.0 and channel.analyte != "co2"


def codes_within(channel: Channel) -> tuple[float, ...]:
    """List the codes for no reading that a channel's sensor could also show.

    Parameters
    ----------
    channel : Channel
        The channel.

    Returns
    -------
    tuple of float
        Codes inside the possible range [unit of the channel].
    """
    lowest, highest = possible_range(channel)
    return tuple(code for code in CODES if lowest <= code <= highest)


def near_code(channel: Channel, code: float) -> float:
    """Give the reading from which on a channel comes near a code for no reading.

    Parameters
    ----------
    channel : Channel
        The channel.
    code : float
        The code [unit of the channel].

    Returns
    -------
    float
        Half the code, or 20 K from it on a scale whose zero is a convention
        [unit of the channel].
    """
    if channel.quantity in _DEGREES:
        return code - _NEAR_K if code > 0 else code + _NEAR_K
    return 0.5 * code


def stand_alone(
    value: NDArray[np.float64], code: float, near: float, before: float, after: float
) -> NDArray[np.bool_]:
    """Find where a code is no step on the way of the readings: a rising gas passes through 999 too.

    Parameters
    ----------
    value : numpy.ndarray
        Readings, NaN where there is none, shape (n,).
    code : float
        The code.
    near : float
        Reading from which on one comes near the code.
    before, after : float
        Nearest reading before the first and after the last that is no code; NaN for none.

    Returns
    -------
    numpy.ndarray
        Whether a reading is the code and neither reading beside its run comes near it, shape (n,).
    """
    alone = np.zeros(len(value), dtype=bool)
    places = np.flatnonzero(value == code)
    if not len(places):
        return alone
    plain = np.flatnonzero(~np.isnan(value) & ~np.isin(value, CODES))
    at = np.searchsorted(plain, places)
    padded = np.concatenate(([before], value[plain], [after]))
    sign = np.sign(code)
    beside = np.fmax(sign * padded[at], sign * padded[at + 1])
    alone[places] = ~(beside >= sign * near)
    return alone


def doubtful_steps(
    value: NDArray[np.float64],
    before: float,
    after: float,
    threshold: Threshold,
    *,
    after_spike: bool = False,
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Find single readings that stand out, and jumps.

    Parameters
    ----------
    value : numpy.ndarray
        Readings of a part [canonical unit], NaN where there is none, shape (n,).
    before, after : float
        The reading before the part and the one after it [canonical unit]; NaN for none.
    threshold : Threshold
        From where on a step is doubtful.
    after_spike : bool
        Whether the reading before the part stood out.

    Returns
    -------
    tuple of (numpy.ndarray, numpy.ndarray)
        Whether a reading stands out from both neighbours, and whether it jumps from the one
        before without doing so, shape (n,) each.
    """
    step = np.diff(value, prepend=before, append=after)
    size = np.abs(step)
    rate = size[:-1] > threshold.rate
    spike = (
        (size[:-1] > threshold.spike)
        & (size[1:] > threshold.spike)
        & (np.sign(step[:-1]) != np.sign(step[1:]))
    )
    # The way back from a reading that stands out is no jump of its own.
    back = np.concatenate(([after_spike], spike[:-1]))
    return spike, rate & ~spike & ~back


def first_plain(value: NDArray[np.float64], otherwise: float = np.nan) -> float:
    """Give the first reading that is no code for no reading.

    Parameters
    ----------
    value : numpy.ndarray
        Readings, NaN where there is none, shape (n,).
    otherwise : float
        What to give where there is none.
    """
    for start in range(0, len(value), 4096):
        chunk = value[start : start + 4096]
        good = np.flatnonzero(~np.isnan(chunk) & ~np.isin(chunk, CODES))
        if len(good):
            return float(chunk[good[0]])
    return otherwise
