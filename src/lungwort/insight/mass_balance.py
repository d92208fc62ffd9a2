"""What carbon dioxide, oxygen and carbon monoxide must do together when something burns or breathes.

Burning ties the rise of carbon dioxide to the fall of oxygen. Readings that break the tie come from
something else: a gas let in, a gas taken out, or a cell that shows what is not there.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import RangeError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

AIR_O2: Final = 0.20947
"""Mole fraction of oxygen in dry air [1]; published air composition, confirmed."""

OPEN_AIR_CO2_PPM: Final = 430.0
"""Carbon dioxide in open air of 2026 [ppm]; extrapolated, from memory."""

FUELS: Final = (
    ("carbon", 0.0),
    ("oil (CH2)", 2.0),
    ("diesel", 1.85),
    ("petrol", 1.87),
    ("propane", 8.0 / 3.0),
    ("ethane", 3.0),
    ("methane", 4.0),
)
"""Fuels with their hydrogen per carbon [1]; computed from stoichiometry."""

BREATH_RATIO: Final = (0.7, 1.0)
"""Carbon dioxide out per oxygen in, of fat and of carbohydrate [1]; confirmed."""

LEAST_RATIO: Final = 0.5
"""Carbon dioxide up per oxygen down of methane, the least of the fuels [1]; computed."""

MOST_RATIO: Final = 1.0
"""The same of carbon, the most [1]; computed."""

TIED: Final = "tied"
DISPLACED: Final = "displaced"
BROKEN: Final = "broken"
CANNOT_TELL: Final = "cannot tell"

_LEAST_POINTS: Final = 5
_MOST_PPM: Final = 1e6
_MOST_H_PER_C: Final = 4.0


def _finite(value: float, what: str, unit: str) -> None:
    if not math.isfinite(value):
        raise RangeError(f"{what} is {value} {unit}: a finite number is needed. Give the reading.")


def ratio_of_fuel(hydrogen_per_carbon: float) -> float:
    """Give the carbon dioxide that comes up for the oxygen that goes down, in complete burning.

    Parameters
    ----------
    hydrogen_per_carbon : float
        Hydrogen atoms per carbon atom of the fuel [1], 0 (carbon) to 4 (methane).

    Returns
    -------
    float
        Rise of carbon dioxide over fall of oxygen [1], ``1 / (1 + h / 4)``.

    Raises
    ------
    RangeError
        Where it is outside 0 to 4.

    References
    ----------
    Stoichiometry of ``CHh + (1 + h/4) O2 -> CO2 + h/2 H2O``; computed.

    Examples
    --------
    >>> round(ratio_of_fuel(4.0), 3), round(ratio_of_fuel(1.85), 3)
    (0.5, 0.684)
    """
    if not 0.0 <= hydrogen_per_carbon <= _MOST_H_PER_C:
        raise RangeError(
            f"hydrogen per carbon of the fuel is {hydrogen_per_carbon}: allowed is 0 (carbon) to 4 "
            "(methane). Give the ratio of the fuel."
        )
    return 1.0 / (1.0 + hydrogen_per_carbon / 4.0)


def o2_fall_ppm(co2_rise_ppm: float, ratio: float) -> float:
    """Give the fall of oxygen that belongs to a rise of carbon dioxide.

    Parameters
    ----------
    co2_rise_ppm : float
        Rise of carbon dioxide [ppm], not negative.
    ratio : float
        Carbon dioxide up per oxygen down [1], 0.5 to 1.

    Returns
    -------
    float
        Fall of oxygen [ppm].

    Raises
    ------
    RangeError
        Where a number is outside its range.

    Examples
    --------
    >>> round(o2_fall_ppm(580.0, 0.8))
    725
    """
    if not 0.0 <= co2_rise_ppm <= _MOST_PPM:
        raise RangeError(
            f"rise of carbon dioxide is {co2_rise_ppm} ppm: allowed is 0 to 1000000 ppm. Give the "
            "reading less what it was before."
        )
    if not LEAST_RATIO <= ratio <= MOST_RATIO:
        raise RangeError(
            f"carbon dioxide up per oxygen down is {ratio}: allowed is {LEAST_RATIO} (methane) to "
            f"{MOST_RATIO} (carbon). Give the ratio of what burns or breathes."
        )
    return co2_rise_ppm / ratio


def displaced_o2_ppm(gas_rise_ppm: float) -> float:
    """Give the fall of oxygen where a gas is let into air and only takes up room.

    Parameters
    ----------
    gas_rise_ppm : float
        Rise of the gas [ppm], 0 to 1 000 000.

    Returns
    -------
    float
        Fall of oxygen [ppm], 0.20947 of the rise.

    Raises
    ------
    RangeError
        Where it is outside its range.

    Examples
    --------
    >>> round(displaced_o2_ppm(580.0))
    121
    """
    if not 0.0 <= gas_rise_ppm <= _MOST_PPM:
        raise RangeError(
            f"rise of the gas is {gas_rise_ppm} ppm: allowed is 0 to 1000000 ppm. Give the reading "
            "less what it was before."
        )
    return AIR_O2 * gas_rise_ppm


def dilution_fraction(reading_ppm: float, ambient_ppm: float, source_ppm: float) -> float:
    """Give the share of a source in what is breathed, from one gas that it carries.

    Parameters
    ----------
    reading_ppm : float
        What is read [ppm], not below ambient.
    ambient_ppm : float
        What clean air holds [ppm], not negative.
    source_ppm : float
        What the source holds [ppm], above the reading.

    Returns
    -------
    float
        Share [1], 0 to 1.

    Raises
    ------
    RangeError
        Where the reading does not lie between ambient and source.

    References
    ----------
    Mass balance, ``(c - c_ambient) / (c_source - c_ambient)``.

    Examples
    --------
    >>> round(dilution_fraction(5.0, 0.0, 10_000.0), 6)
    0.0005
    """
    for value, what in ((reading_ppm, "reading"), (ambient_ppm, "ambient"), (source_ppm, "source")):
        _finite(value, f"the {what}", "ppm")
    if not 0.0 <= ambient_ppm <= reading_ppm <= source_ppm or ambient_ppm == source_ppm:
        raise RangeError(
            f"the reading is {reading_ppm:g} ppm, clean air {ambient_ppm:g} ppm and the source "
            f"{source_ppm:g} ppm: the reading must lie between the two. Check which is which."
        )
    return (reading_ppm - ambient_ppm) / (source_ppm - ambient_ppm)


@frozen
class Balance:
    """How a change of carbon dioxide and one of oxygen go together.

    Parameters
    ----------
    word : str
        ``tied`` as in burning or breathing, ``displaced`` as where a gas is let in, ``broken``
        where neither can be, or ``cannot tell``.
    ratio : float or None
        Carbon dioxide up per oxygen down [1]; None where oxygen did not move for certain.
    expected_low_ppm, expected_high_ppm : float
        Fall of oxygen that burning or breathing would bring [ppm].
    text : str
        The same in words.
    """

    word: str
    ratio: float | None
    expected_low_ppm: float
    expected_high_ppm: float
    text: str


def balance(
    co2_rise_ppm: float, o2_drop_ppm: float, *, co2_doubt_ppm: float, o2_doubt_ppm: float
) -> Balance:
    """Tell whether carbon dioxide and oxygen moved as they do when something burns or breathes.

    Parameters
    ----------
    co2_rise_ppm : float
        Rise of carbon dioxide [ppm]; negative for a fall.
    o2_drop_ppm : float
        Fall of oxygen [ppm]; negative for a rise.
    co2_doubt_ppm, o2_doubt_ppm : float
        Half-widths within which the two are known [ppm], above 0.

    Returns
    -------
    Balance
        What can be told. Never ``tied`` where oxygen did not fall for certain.

    Raises
    ------
    RangeError
        Where a number is not finite, or a half-width not above 0.

    Examples
    --------
    >>> balance(30000.0, 42000.0, co2_doubt_ppm=600.0, o2_doubt_ppm=1000.0).word
    'tied'
    >>> balance(580.0, 700.0, co2_doubt_ppm=50.0, o2_doubt_ppm=2000.0).word
    'cannot tell'
    """
    for value, what in ((co2_rise_ppm, "rise of CO2"), (o2_drop_ppm, "fall of O2")):
        _finite(value, what, "ppm")
    for value, what in ((co2_doubt_ppm, "doubt of CO2"), (o2_doubt_ppm, "doubt of O2")):
        if not (math.isfinite(value) and value > 0.0):
            raise RangeError(f"{what} is {value} ppm: a number above 0 is needed. Give it.")
    most_co2, least_co2 = co2_rise_ppm + co2_doubt_ppm, max(co2_rise_ppm - co2_doubt_ppm, 0.0)
    least_o2, most_o2 = o2_drop_ppm - o2_doubt_ppm, o2_drop_ppm + o2_doubt_ppm
    low, high = max(co2_rise_ppm, 0.0) / MOST_RATIO, max(co2_rise_ppm, 0.0) / LEAST_RATIO
    burning = least_o2 <= max(most_co2, 0.0) / LEAST_RATIO and most_o2 >= least_co2 / MOST_RATIO
    displacing = least_o2 <= AIR_O2 * max(most_co2, 0.0) and most_o2 >= AIR_O2 * least_co2
    moved = least_o2 > 0.0 and least_co2 > 0.0
    ratio = co2_rise_ppm / o2_drop_ppm if moved else None
    if not burning and not displacing:
        word, said = BROKEN, "no burning, breathing or letting in of one gas ties the two so"
    elif burning and not displacing and moved:
        word, said = TIED, "that is what burning or breathing does"
    elif displacing and not burning and least_co2 > 0.0:
        word, said = DISPLACED, "too little for burning or breathing; a gas let in does so"
    else:
        word, said = CANNOT_TELL, "within what the cells can tell, so it decides nothing"
    text = (
        f"carbon dioxide moved by {co2_rise_ppm:+.0f} ppm and oxygen by {-o2_drop_ppm:+.0f} ppm "
        f"(burning or breathing: {-low:.0f} to {-high:.0f} ppm): {said}."
    )
    return Balance(word, ratio, low, high, text)


@frozen
class Tie:
    """The tie of carbon dioxide to oxygen over many readings.

    Parameters
    ----------
    ratio : float
        Carbon dioxide up per oxygen down [1].
    low, high : float
        Interval of 95 % [1].
    readings : int
        Pairs that it rests on [1].
    """

    ratio: float
    low: float
    high: float
    readings: int


def tie(co2_ppm: Floats, o2_ppm: Floats, *, most: int = 400) -> Tie:
    """Find carbon dioxide up per oxygen down, robust to single bad readings.

    Parameters
    ----------
    co2_ppm, o2_ppm : numpy.ndarray
        Readings at the same times, shape (n,) [ppm]; pairs with NaN are left out.
    most : int
        Pairs used at most, evenly chosen [1].

    Returns
    -------
    Tie
        The slope (Theil and Sen), its interval and the number of pairs.

    Raises
    ------
    RangeError
        With fewer than five pairs, or oxygen that does not move.

    References
    ----------
    P. K. Sen, Journal of the American Statistical Association 63 (1968) 1379; from memory.
    """
    import numpy as np  # noqa: PLC0415 - keeps --help instant
    from scipy.stats import theilslopes  # noqa: PLC0415 - keeps --help instant

    both = np.isfinite(co2_ppm) & np.isfinite(o2_ppm)
    co2, o2 = co2_ppm[both], o2_ppm[both]
    if co2.size > most:
        chosen = np.linspace(0, co2.size - 1, most).astype(int)
        co2, o2 = co2[chosen], o2[chosen]
    if co2.size < _LEAST_POINTS or float(np.ptp(o2)) == 0.0:
        raise RangeError(
            f"{co2.size} pairs of carbon dioxide and oxygen, oxygen moving by "
            f"{float(np.ptp(o2)) if o2.size else 0.0:g} ppm: at least {_LEAST_POINTS} pairs and "
            "oxygen that moves are needed. Give readings from around the event."
        )
    slope, _, low, high = theilslopes(co2, -o2)
    return Tie(float(slope), float(low), float(high), int(co2.size))
