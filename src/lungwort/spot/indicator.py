"""The banded oil indicator: a device that is read by eye, in bands.

Air is blown through it for a stated time; how far the mark has spread tells the band in which the
oil content lies. It gives no number, and none is made up here: a band goes to the verdict as the
interval that it is.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

from lungwort.air.interval import Interval
from lungwort.errors import SpotError

THRESHOLDS_MG_M3: Final = (0.05, 0.1, 0.5, 1.0)
"""Oil contents at which the mark reaches the next step [mg/m³]: common practice, no source. The
first is the first trace that can be seen."""

PURGE_MIN: Final = 1.0
"""Time for which the outlet is blown out before the sample [min]: common practice, no source."""
SAMPLE_MIN: Final = 5.0
"""Time for which air is blown through the indicator [min]: common practice, no source."""

MEANS: Final = "banded oil indicator"
REMARK: Final = (
    "The bands hold for a 5 min sample after a 1 min purge, read at once in good light "
    "(common practice, no source): follow the instructions of the indicator in use."
)

UNIT: Final = "mg/m3"

_NAMES: Final = (
    ("nothing seen", "nothing", "none", "no trace", "no mark"),
    ("first trace", "trace"),
    (),
    (),
    (),
)


def bands() -> tuple[Interval, ...]:
    """Give the bands, from nothing seen to the last step.

    Returns
    -------
    tuple of Interval
        Five bands of oil content [mg/m3]. A band leaves out its lower threshold and holds its
        upper one, so that a band that ends on a limit is inside it with nothing in hand.

    Examples
    --------
    >>> [str(one) for one in bands()][:3]
    ['< 0.05 mg/m3', '> 0.05 to 0.1 mg/m3', '> 0.1 to 0.5 mg/m3']
    """
    steps = THRESHOLDS_MG_M3
    return (
        Interval.less_than(steps[0], UNIT),
        *(Interval.between(low, high, UNIT) for low, high in pairwise(steps)),
        Interval.more_than(steps[-1], UNIT),
    )


def band_names() -> tuple[str, ...]:
    """Give the bands as a user may write them.

    Returns
    -------
    tuple of str
        'nothing seen', '0.05-0.1' and so on, in the order of `bands`.
    """
    steps = THRESHOLDS_MG_M3
    return (
        "nothing seen",
        *(f"{low:g}-{high:g}" for low, high in pairwise(steps)),
        f"> {steps[-1]:g}",
    )


def band(state: str | int) -> Interval:
    """Turn what is seen on the indicator into the interval that it stands for.

    Parameters
    ----------
    state : str or int
        The band: its number, from 0 (nothing seen) to 4 (above the last threshold), or its name,
        such as 'nothing seen', 'first trace', '0.1-0.5' or '> 1.0'; a unit [mg/m3] may follow.

    Returns
    -------
    Interval
        Oil content [mg/m3].

    Raises
    ------
    SpotError
        Where there is no such band.

    Examples
    --------
    >>> str(band("nothing seen")), str(band(2))
    ('< 0.05 mg/m3', '> 0.1 to 0.5 mg/m3')
    """
    all_bands = bands()
    if isinstance(state, int):
        if not 0 <= state < len(all_bands):
            raise SpotError(
                f"band {state} of the oil indicator does not exist. "
                f"Give a number from 0 (nothing seen) to {len(all_bands) - 1}."
            )
        return all_bands[state]
    words = " ".join(state.lower().replace("mg/m³", "").replace("mg/m3", "").split())
    for names, one in zip(_NAMES, all_bands, strict=True):
        if words in names:
            return one
    wanted = _ends(words)
    for one in all_bands:
        if wanted is not None and wanted == (one.lower, one.upper):
            return one
    raise SpotError(
        f"{state!r} is not a band of the oil indicator. Choose one of: {', '.join(band_names())}."
    )


def _ends(words: str) -> tuple[float, float] | None:
    """Read '0.1-0.5', '< 0.05' or '> 1.0'; None where it is none of these."""
    text = words.replace(",", ".").replace("–", "-").replace(" to ", "-").replace(" ", "")
    low, sign, high = text.partition("-")
    if text.startswith("<"):
        low, high = "-inf", text[1:]
    elif text.startswith(">"):
        low, high = text[1:], "inf"
    elif not sign:
        return None
    try:
        return float(low), float(high)
    except ValueError:
        return None
