"""Flow of many demand valves at once: each draws in half of the time, and not at the same moment.

A breath is taken as one half of a sine, then as much time without flow. The peak is then pi times
the volume a minute. For several wearers whose breaths have nothing to do with each other the flow
that is gone beyond in a small share of the time only is worked out by convolution.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import ExposureError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.air.arrays import FloatArray

SHARE_OF_TIME: Final = 0.999
"""Share of the time in which the flow is no greater than the quantile; own choice."""
MOST_WEARERS: Final = 500
HIGHEST_VENTILATION_L_MIN: Final = 300.0
_STEPS: Final = 400


@frozen
class PeakFlow:
    """Flow of several demand valves.

    Parameters
    ----------
    mean_l_min : float
        Mean [L/min].
    most_of_the_time_l_min : float
        Not gone beyond in `SHARE_OF_TIME` of the time when breaths are independent [L/min].
    all_at_once_l_min : float
        All peaks at the same moment [L/min].
    """

    mean_l_min: float
    most_of_the_time_l_min: float
    all_at_once_l_min: float


def peak_of_l_min(ventilation_l_min: float) -> float:
    """Give the greatest flow of a sine-shaped breath.

    Parameters
    ----------
    ventilation_l_min : float
        Mean volume breathed in a minute, above 0 to 300 [L/min].

    Returns
    -------
    float
        pi times as much [L/min].

    Raises
    ------
    ExposureError
        Where the volume is out of range.

    References
    ----------
    Mathematics: the mean over a whole period of the positive half of a sine of height A is A / pi.

    Examples
    --------
    >>> round(peak_of_l_min(40.0), 1)
    125.7
    """
    if not 0.0 < ventilation_l_min <= HIGHEST_VENTILATION_L_MIN:
        raise ExposureError(
            f"a volume of {ventilation_l_min:g} L/min breathed by one person cannot be; above 0 to "
            f"{HIGHEST_VENTILATION_L_MIN:g} L/min is allowed. Check the figure."
        )
    return math.pi * ventilation_l_min


def peak_flow(
    ventilations_l_min: Sequence[float], share_of_time: float = SHARE_OF_TIME
) -> PeakFlow:
    """Give mean, high quantile and greatest flow of several demand valves.

    Parameters
    ----------
    ventilations_l_min : sequence of float
        Mean volume of each wearer, above 0 to 300; at most 500 wearers [L/min].
    share_of_time : float
        Share of the time in which the quantile is not gone beyond, 0.5 to 0.999999 [-].

    Returns
    -------
    PeakFlow
        Zeros for nobody. The quantile is rounded up, by less than 1 % of the sum of the peaks.

    Raises
    ------
    ExposureError
        Where a volume, the number of wearers or the share is out of range.

    References
    ----------
    At a random moment one valve is shut with probability 1/2, and else has the flow A sin(x) with x
    even between 0 and pi; its probability to be at or below q is 1/2 + arcsin(q / A) / pi. Sums of
    independent variables have the convolution of their distributions (mathematics).

    Examples
    --------
    >>> found = peak_flow([40.0])
    >>> round(found.mean_l_min), round(found.all_at_once_l_min)
    (40, 126)
    """
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    if len(ventilations_l_min) > MOST_WEARERS:
        raise ExposureError(
            f"{len(ventilations_l_min)} wearers of demand valves are more than the {MOST_WEARERS} "
            "that can be counted with. Split them into supplies."
        )
    if not 0.5 <= share_of_time <= 0.999999:  # noqa: PLR2004 - as documented
        raise ExposureError(
            f"a share of the time of {share_of_time:g} cannot be used; 0.5 to 0.999999 is allowed."
        )
    peaks = [peak_of_l_min(one) for one in ventilations_l_min]
    if not peaks:
        return PeakFlow(0.0, 0.0, 0.0)
    step = max(peaks) / _STEPS
    whole = np.ones(1)
    for peak in peaks:
        whole = np.convolve(whole, _one(peak, step))
    place = int(np.searchsorted(np.cumsum(whole), share_of_time))
    at_once = math.fsum(peaks)
    return PeakFlow(math.fsum(ventilations_l_min), min(place * step, at_once), at_once)


def _one(peak_l_min: float, step_l_min: float) -> FloatArray:
    """Give the chance of each step of flow; what lies between two counts as the higher."""
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    edges = np.arange(math.ceil(peak_l_min / step_l_min - 1e-9) + 1) * step_l_min
    below = 0.5 + np.arcsin(np.minimum(edges / peak_l_min, 1.0)) / math.pi
    return np.diff(below, prepend=0.0)
