"""Uptake of carbon monoxide by the blood: the equation of Coburn, Forster and Kane, not linearised.

The equation for one step at constant carbon monoxide::

    dx/dt = Vco/Vb + [PIco - x PcO2 / (M (cap - x))] / (Vb B),   B = 1/DL + PL/VA,   PL = PB - 47

has a closed implicit solution. With its steady state xs and w = (x - xs) / (cap - xs) it reads
``ln|w| - w = ln|w0| - w0 - k t``, which the functions of Lambert and Wright solve at once, so that
a step of any length is exact.

References
----------
R. F. Coburn, R. E. Forster, P. B. Kane, J. Clin. Invest. 44 (1965) 1899; equation and parameters as
reproduced from Peterson and Stewart (confirmed on a reference page on carbon monoxide), closed
solution as in public source code in R (confirmed).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import fields, frozen

from lungwort.errors import RangeError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.air.arrays import FloatArray

WATER_MMHG: Final = 47.0
"""Pressure of water vapour in the lungs, at 37 °C [mmHg] (confirmed, as PL = PB - 47)."""
OXYGEN_LOSS_MMHG: Final = 49.0
"""What the oxygen of the capillaries lies below that of the inhaled air [mmHg] (confirmed)."""
HIGHEST_PPM: Final = 100_000.0
LONGEST_MIN: Final = 60 * 24 * 366.0

_RANGES: Final = {
    "ventilation_ml_min": (500.0, 200_000.0, "mL/min"),
    "diffusion_ml_min_mmhg": (1.0, 200.0, "mL/min/mmHg"),
    "blood_ml": (500.0, 20_000.0, "mL"),
    "haldane": (100.0, 400.0, ""),
    "oxygen_capacity": (0.03, 0.4, "mL/mL"),
    "own_co_ml_min": (0.0, 0.5, "mL/min"),
    "barometric_mmhg": (200.0, 900.0, "mmHg"),
    "oxygen_mmhg": (20.0, 900.0, "mmHg"),
    "oxygen_fraction": (0.0, 1.0, ""),
}


@frozen(eq=False)
class People:
    """Sets of parameters of people, all of one length n.

    Parameters
    ----------
    ventilation_ml_min : numpy.ndarray
        VA, alveolar ventilation, 500 to 200 000 [mL/min].
    diffusion_ml_min_mmhg : numpy.ndarray
        DL, diffusing capacity of the lungs for carbon monoxide, 1 to 200 [mL/min/mmHg].
    blood_ml : numpy.ndarray
        Vb, volume of the blood, 500 to 20 000 [mL].
    haldane : numpy.ndarray
        M, how much more readily the blood binds carbon monoxide than oxygen, 100 to 400 [-].
    oxygen_capacity : numpy.ndarray
        Oxygen that one mL of blood can bind, 0.03 to 0.4 [mL/mL].
    own_co_ml_min : numpy.ndarray
        Vco, carbon monoxide that the body makes itself, 0 to 0.5 [mL/min].
    barometric_mmhg : numpy.ndarray
        PB, pressure of the air, 200 to 900 [mmHg].
    oxygen_mmhg : numpy.ndarray
        PcO2, oxygen in the capillaries of the lungs without carbon monoxide, 20 to 900 [mmHg].
    oxygen_fraction : numpy.ndarray
        Share of oxygen in the inhaled air, by which carbon monoxide lessens PcO2, 0 to 1 [-]; 0
        where this is not taken into account.
    """

    ventilation_ml_min: FloatArray
    diffusion_ml_min_mmhg: FloatArray
    blood_ml: FloatArray
    haldane: FloatArray
    oxygen_capacity: FloatArray
    own_co_ml_min: FloatArray
    barometric_mmhg: FloatArray
    oxygen_mmhg: FloatArray
    oxygen_fraction: FloatArray

    def __attrs_post_init__(self) -> None:
        """Refuse what no living person can have."""
        size = np.shape(self.blood_ml)
        for one in fields(People):
            values = getattr(self, one.name)
            low, high, unit = _RANGES[one.name]
            if np.shape(values) != size or np.ndim(values) != 1 or not np.size(values):
                raise RangeError(
                    f"{one.name} of the wearers has the shape {np.shape(values)}; all parameters "
                    "are lists of one length. Give as many of each."
                )
            if not bool(np.all((values >= low) & (values <= high))):
                worst = float(np.asarray(values)[~((values >= low) & (values <= high))][0])
                raise RangeError(
                    f"{one.name} of a wearer is {worst:g}; allowed is {low:g} to {high:g} {unit}. "
                    "Check the work rate, body, altitude and oxygen that were entered.".replace(
                        "  ", " "
                    )
                )

    def __len__(self) -> int:
        """Count the sets."""
        return int(self.blood_ml.size)

    @property
    def resistance(self) -> FloatArray:
        """B = 1/DL + PL/VA [mmHg min/mL]."""
        lungs = self.barometric_mmhg - WATER_MMHG
        return 1.0 / self.diffusion_ml_min_mmhg + lungs / self.ventilation_ml_min


def one_person(
    ventilation_ml_min: float = 6000.0,
    diffusion_ml_min_mmhg: float = 30.0,
    blood_ml: float = 5500.0,
    haldane: float = 218.0,
    oxygen_capacity: float = 0.20,
    own_co_ml_min: float = 0.007,
    barometric_mmhg: float = 760.0,
    oxygen_mmhg: float = 100.0,
    oxygen_fraction: float = 0.0,
) -> People:
    """Give one set of parameters; without arguments the conventional standard set.

    Parameters
    ----------
    ventilation_ml_min, diffusion_ml_min_mmhg, blood_ml, haldane, oxygen_capacity : float
        As in `People` [mL/min, mL/min/mmHg, mL, -, mL/mL].
    own_co_ml_min, barometric_mmhg, oxygen_mmhg, oxygen_fraction : float
        As in `People` [mL/min, mmHg, mmHg, -].

    Returns
    -------
    People
        One set.

    Raises
    ------
    RangeError
        Where a value is out of range.

    References
    ----------
    Standard set: conventional, from memory. M = 218 and Vco = 0.007 mL/min: Peterson and Stewart, as
    reproduced (confirmed).
    """
    return People(
        *(
            np.array([value], dtype=np.float64)
            for value in (
                ventilation_ml_min,
                diffusion_ml_min_mmhg,
                blood_ml,
                haldane,
                oxygen_capacity,
                own_co_ml_min,
                barometric_mmhg,
                oxygen_mmhg,
                oxygen_fraction,
            )
        )
    )


def _checked(value: float, low: float, high: float, what: str, unit: str) -> float:
    if not (math.isfinite(value) and low <= value <= high):
        raise RangeError(
            f"{what} is {value:g}; allowed is {low:g} to {high:g} {unit}. Check the figure."
        )
    return value


def _rates(people: People, ppm: float | FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give g and l of dy/dt = g - l y / (1 - y), where y = x/cap is the share of the capacity [1/min]."""
    inhaled = 1e-6 * ppm * (people.barometric_mmhg - WATER_MMHG)
    oxygen = np.maximum(people.oxygen_mmhg - people.oxygen_fraction * inhaled, 1.0)
    whole = people.blood_ml * people.oxygen_capacity
    flow = whole * people.resistance
    return people.own_co_ml_min / whole + inhaled / flow, oxygen / (people.haldane * flow)


def steady_percent(people: People, ppm: float) -> FloatArray:
    """Give the carboxyhaemoglobin that is reached in the end at constant carbon monoxide.

    Parameters
    ----------
    people : People
        The people.
    ppm : float
        Carbon monoxide in the air that is breathed, 0 to 100 000 [ppm].

    Returns
    -------
    numpy.ndarray
        Carboxyhaemoglobin [%].

    Raises
    ------
    RangeError
        Where ``ppm`` is out of range.

    References
    ----------
    x = S/Q of the closed solution (confirmed): Q = B M Vco + M PIco + PcO2,
    S = cap M (Vco B + PIco).

    Examples
    --------
    >>> round(float(steady_percent(one_person(), 35.0)[0]), 4)
    5.3679
    """
    _checked(ppm, 0.0, HIGHEST_PPM, "carbon monoxide in the air breathed", "ppm")
    gain, loss = _rates(people, ppm)
    return 100.0 * gain / (gain + loss)


def after(
    people: People, start_percent: float | FloatArray, ppm: float, minutes: float
) -> FloatArray:
    """Give the carboxyhaemoglobin after a time at constant carbon monoxide.

    Parameters
    ----------
    people : People
        The people.
    start_percent : float or numpy.ndarray
        Carboxyhaemoglobin at the beginning, 0 to 99 [%].
    ppm : float
        Carbon monoxide in the air that is breathed, 0 to 100 000 [ppm].
    minutes : float
        How long, 0 to a year [min].

    Returns
    -------
    numpy.ndarray
        Carboxyhaemoglobin [%].

    Raises
    ------
    RangeError
        Where a value is out of range.

    References
    ----------
    Closed implicit solution (confirmed), solved by the functions of Lambert and Wright.

    Examples
    --------
    The standard set, 200 ppm for an hour; published for people: 5 to 6 %.

    >>> round(float(after(one_person(), 0.75, 200.0, 60.0)[0]), 4)
    5.3661
    """
    _checked(ppm, 0.0, HIGHEST_PPM, "carbon monoxide in the air breathed", "ppm")
    _checked(minutes, 0.0, LONGEST_MIN, "the time", "min")
    return 100.0 * _step(_share(people, start_percent), *_rates(people, ppm), minutes)


def along(
    people: Sequence[People],
    which: Sequence[int],
    minutes: Sequence[float] | FloatArray,
    ppm: Sequence[float] | FloatArray,
    start_percent: float | FloatArray,
) -> FloatArray:
    """Follow the carboxyhaemoglobin over steps of constant carbon monoxide.

    Parameters
    ----------
    people : sequence of People
        The same people at one or several rates of work, all of one length n.
    which : sequence of int
        For each step the place in ``people`` that holds.
    minutes : sequence of float
        Length of each step, 0 to a year [min].
    ppm : sequence of float or numpy.ndarray
        Carbon monoxide in each, 0 to 100 000; a column for each set of parameters where they differ
        [ppm].
    start_percent : float or numpy.ndarray
        Carboxyhaemoglobin at the beginning, 0 to 99 [%].

    Returns
    -------
    numpy.ndarray
        Carboxyhaemoglobin at the beginning and after each step, one column a set of parameters [%].

    Raises
    ------
    RangeError
        Where a value is out of range, or the lengths differ.

    Examples
    --------
    >>> steps = along([one_person()], [0, 0], [60.0, 240.0], [200.0, 0.0], 0.75)
    >>> [round(float(one), 2) for one in steps[:, 0]]
    [0.75, 5.37, 2.82]
    """
    lengths = np.asarray(minutes, dtype=np.float64)
    levels = np.asarray(ppm, dtype=np.float64)
    if not len(which) == lengths.size == len(levels):
        raise RangeError(
            f"{len(which)} rates of work, {lengths.size} lengths and {len(levels)} levels of carbon "
            "monoxide were given; one of each is needed for every step."
        )
    for values, high, what, unit in (
        (levels, HIGHEST_PPM, "carbon monoxide in the air breathed", "ppm"),
        (lengths, LONGEST_MIN, "the length of a step", "min"),
    ):
        wrong = values[~((values >= 0) & (values <= high))]
        if wrong.size:
            _checked(float(wrong[0]), 0.0, high, what, unit)
    found = np.empty((lengths.size + 1, len(people[0])))
    found[0] = _share(people[0], start_percent)
    for at in range(lengths.size):
        gain, loss = _rates(people[which[at]], levels[at])
        found[at + 1] = _step(found[at], gain, loss, float(lengths[at]))
    return 100.0 * found


def _share(people: People, percent: float | FloatArray) -> FloatArray:
    """Check the carboxyhaemoglobin at the beginning, and give it as a share of the capacity."""
    given = np.asarray(percent, dtype=np.float64)
    if not bool(np.all((given >= 0) & (given <= 99))):  # noqa: PLR2004 - beyond it nobody lives
        raise RangeError(
            f"carboxyhaemoglobin at the beginning is {given.flat[0]:g} %; allowed is 0 to 99 %. "
            "Check the figure."
        )
    return np.array(np.broadcast_to(given / 100.0, (len(people),)))


def _step(start: FloatArray, gain: FloatArray, loss: FloatArray, minutes: float) -> FloatArray:
    """Go one step; start and end are shares of the oxygen capacity."""
    from scipy.special import lambertw, wrightomega  # noqa: PLC0415 - keeps --help instant

    rate = gain + loss
    steady = gain / rate
    room = loss / rate
    offset = (start - steady) / room
    away = np.abs(offset)
    with np.errstate(divide="ignore"):
        level = np.log(away) - offset - rate * minutes / room
    rising = -np.asarray(wrightomega(level), dtype=np.float64)
    if not bool(np.any(offset > 0)):
        return np.asarray(np.clip(steady + room * rising, 0.0, 1.0))
    # Only rounding can put a falling level above -1, where the function of Lambert has its end.
    inner = -np.exp(np.minimum(level, -1.0))
    falling = -np.real(lambertw(inner, 0, 1e-12))
    return np.asarray(np.clip(steady + room * np.where(offset > 0, falling, rising), 0.0, 1.0))
