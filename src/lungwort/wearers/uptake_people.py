"""Wearers as sets of parameters: rates of work, bodies, altitude, and how far all that is uncertain.

Nobody's ventilation, blood and lungs are known to a few per cent. Each is drawn from a range, and
the carboxyhaemoglobin is worked out for all draws; what is reported is the middle and the band from
the 5th to the 95th of a hundred.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.errors import ExposureError, RangeError
from lungwort.wearers.uptake import OXYGEN_LOSS_MMHG, WATER_MMHG, People

if TYPE_CHECKING:
    from lungwort.air.arrays import FloatArray

REST: Final = "rest"
HEAVY: Final = "heavy"
VERY_HEAVY: Final = "very_heavy"
WORK: Final = ("rest", "light", "moderate", "heavy", "very_heavy")

VENTILATION_L_MIN: Final = {
    "rest": 6.0,
    "light": 12.0,
    "moderate": 18.0,
    "heavy": 24.0,
    "very_heavy": 30.0,
}
"""Alveolar ventilation by rate of work [L/min]: public source code of the equation (confirmed)."""
DIFFUSION: Final = {
    "rest": 20.0,
    "light": 25.0,
    "moderate": 30.0,
    "heavy": 40.0,
    "very_heavy": 50.0,
}
"""Diffusing capacity by rate of work [mL/min/mmHg]: the same code (confirmed)."""

START_PERCENT: Final = {
    "non-smoker": 0.75,
    "light smoker": 2.0,
    "smoker": 5.0,
    "heavy smoker": 10.0,
}
"""Carboxyhaemoglobin at the beginning [%]: classes of the same code (figures confirmed, words ours)."""

MALE: Final = "male"
FEMALE: Final = "female"
_BLOOD: Final = {MALE: (366.9, 32.19, 604.1), FEMALE: (356.1, 33.08, 183.3)}
"""a, b and c of Vb = a H³ + b W + c [mL; m, kg]: the same code (confirmed)."""

DRAWS: Final = 200
BAND: Final = (5.0, 50.0, 95.0)
_SEED: Final = 20_261_126
_STPD: Final = 273.15 / 310.15
SEA_LEVEL_MMHG: Final = 760.0
LOWEST_M: Final = -430.0
HIGHEST_M: Final = 4000.0
LEAST_OXYGEN_PERCENT: Final = 15.0
OXYGEN_PERCENT: Final = 20.9

# Each range with its ground; the share of a draw runs from 0 to 1.
DIFFUSION_FACTOR: Final = (1.0, 1.5)
VENTILATION_TOP: Final = 1.2
HALDANE: Final = (218.0, 250.0)
OXYGEN_CAPACITY: Final = (0.18, 0.22)
BLOOD_ML: Final = (3600.0, 6500.0)
BLOOD_SHARE: Final = 0.1
OWN_CO_ML_MIN: Final = (0.005, 0.009)
START_FACTOR: Final = (0.7, 1.3)


def _allowed(value: float | None, low: float, high: float, what: str, unit: str) -> None:
    if value is not None and not (math.isfinite(value) and low <= value <= high):
        raise RangeError(
            f"{what} is {value:g} {unit}; allowed is {low:g} to {high:g} {unit}. "
            "Check the figure and its unit."
        )


@frozen
class Wearer:
    """What is known of a person's body.

    Parameters
    ----------
    height_m : float, optional
        Height, 1.2 to 2.3; with weight and sex it gives the volume of the blood [m].
    weight_kg : float, optional
        Weight, 35 to 250 [kg].
    sex : str, optional
        ``male`` or ``female``.
    start_percent : float
        Carboxyhaemoglobin before, 0 to 60 [%].
    """

    height_m: float | None = None
    weight_kg: float | None = None
    sex: str | None = None
    start_percent: float = START_PERCENT["non-smoker"]

    def __attrs_post_init__(self) -> None:
        """Refuse a body that cannot be, or of which only a part is known."""
        _allowed(self.height_m, 1.2, 2.3, "the height", "m")
        _allowed(self.weight_kg, 35.0, 250.0, "the weight", "kg")
        _allowed(self.start_percent, 0.0, 60.0, "carboxyhaemoglobin at the beginning", "%")
        known = [one is not None for one in (self.height_m, self.weight_kg, self.sex)]
        if any(known) and not all(known):
            raise ExposureError(
                "height, weight and sex give the volume of the blood only together. Give all three, "
                "or none."
            )
        if self.sex is not None and self.sex not in _BLOOD:
            raise ExposureError(
                f"sex is {self.sex!r}; the formula of the blood volume knows 'male' and 'female'. "
                "Give one of them, or leave height, weight and sex out."
            )


@frozen
class Surroundings:
    """Where it was breathed.

    Parameters
    ----------
    altitude_m : float
        Altitude, -430 to 4000 [m].
    oxygen_percent : float
        Oxygen in the air breathed, 15 to 100 [%].
    """

    altitude_m: float = 0.0
    oxygen_percent: float = OXYGEN_PERCENT

    def __attrs_post_init__(self) -> None:
        """Refuse an altitude or air in which the equation is no use."""
        _allowed(self.altitude_m, LOWEST_M, HIGHEST_M, "the altitude", "m")
        _allowed(
            self.oxygen_percent, LEAST_OXYGEN_PERCENT, 100.0, "oxygen in the air breathed", "%"
        )


def barometric_mmhg(altitude_m: float) -> float:
    """Give the pressure of the air at an altitude.

    Parameters
    ----------
    altitude_m : float
        Altitude, -430 to 4000 [m].

    Returns
    -------
    float
        Pressure [mmHg].

    Raises
    ------
    RangeError
        Where the altitude is out of range.

    References
    ----------
    ISO 2533:1975 (ICAO standard atmosphere): p = p0 (1 - 0.0065 h / 288.15)^5.25588.

    Examples
    --------
    >>> round(barometric_mmhg(2000.0))
    596
    """
    _allowed(altitude_m, LOWEST_M, HIGHEST_M, "the altitude", "m")
    return float(SEA_LEVEL_MMHG * (1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588)


def blood_ml(height_m: float, weight_kg: float, sex: str) -> float:
    """Give the volume of the blood.

    Parameters
    ----------
    height_m : float
        Height [m].
    weight_kg : float
        Weight [kg].
    sex : str
        ``male`` or ``female``.

    Returns
    -------
    float
        Volume [mL].

    References
    ----------
    366.9 H³ + 32.19 W + 604.1 for men, 356.1 H³ + 33.08 W + 183.3 for women (confirmed, public source
    code of the equation).

    Examples
    --------
    >>> round(blood_ml(1.75, 75.0, "male"))
    4985
    """
    a, b, c = _BLOOD[sex]
    return a * height_m**3 + b * weight_kg + c


def latin_hypercube(draws: int, variables: int, seed: int = _SEED) -> FloatArray:
    """Spread draws evenly: each variable has exactly one in each of as many equal strata.

    Parameters
    ----------
    draws : int
        How many, 1 or more [1].
    variables : int
        How many variables, 1 or more [1].
    seed : int
        Where the random numbers begin; fixed, so that the same question gets the same answer.

    Returns
    -------
    numpy.ndarray
        Numbers between 0 and 1, a row for each draw.

    References
    ----------
    M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21 (1979) 239.
    """
    random = np.random.default_rng(seed)
    strata = np.stack([random.permutation(draws) for _ in range(variables)], axis=1)
    return (strata + random.random((draws, variables))) / draws


@frozen(eq=False)
class Drawn:
    """A wearer as drawn: the same people at each rate of work.

    Parameters
    ----------
    people : dict of str to People
        By rate of work.
    start_percent : numpy.ndarray
        Carboxyhaemoglobin at the beginning of each draw [%].
    sensor : numpy.ndarray
        How far the sensor is off in each draw, as a share of its expanded uncertainty, -1 to 1 [-].
    """

    people: dict[str, People]
    start_percent: FloatArray
    sensor: FloatArray


def drawn(
    wearer: Wearer, surroundings: Surroundings, *, draws: int = DRAWS, seed: int = _SEED
) -> Drawn:
    """Draw parameter sets of a wearer.

    Parameters
    ----------
    wearer : Wearer
        What is known of the body.
    surroundings : Surroundings
        Altitude and oxygen.
    draws : int
        How many, 10 to 10 000 [1].
    seed : int
        Where the random numbers begin.

    Returns
    -------
    Drawn
        The sets.

    Raises
    ------
    RangeError
        Where the number of draws, or what comes out, cannot be.
    """
    if not 10 <= draws <= 10_000:  # noqa: PLR2004 - from a rough band to a smooth one
        raise RangeError(
            f"{draws} draws were asked for; allowed is 10 to 10000. Give another number."
        )
    shares = latin_hypercube(draws, 8, seed).T

    def spread(at: int, low: float, high: float) -> FloatArray:
        return np.asarray(low + (high - low) * shares[at], dtype=np.float64)

    barometric = barometric_mmhg(surroundings.altitude_m)
    oxygen = surroundings.oxygen_percent / 100.0
    capillary = oxygen * (barometric - WATER_MMHG) - OXYGEN_LOSS_MMHG
    # Litres of the lungs, warm and damp, as dry gas at 0 °C: what the code multiplies by. The upper
    # end leaves that away, as the conventional standard set does.
    dry = (barometric - WATER_MMHG) / SEA_LEVEL_MMHG * _STPD
    if wearer.height_m is None or wearer.weight_kg is None or wearer.sex is None:
        blood = spread(2, *BLOOD_ML)
    else:
        middle = blood_ml(wearer.height_m, wearer.weight_kg, wearer.sex)
        blood = spread(2, middle * (1 - BLOOD_SHARE), middle * (1 + BLOOD_SHARE))
    same = np.ones(draws)
    people = {
        work: People(
            ventilation_ml_min=1000.0 * VENTILATION_L_MIN[work] * spread(0, dry, VENTILATION_TOP),
            diffusion_ml_min_mmhg=DIFFUSION[work] * spread(1, *DIFFUSION_FACTOR),
            blood_ml=blood,
            haldane=spread(3, *HALDANE),
            oxygen_capacity=spread(4, *OXYGEN_CAPACITY),
            own_co_ml_min=spread(5, *OWN_CO_ML_MIN),
            barometric_mmhg=same * barometric,
            oxygen_mmhg=same * capillary,
            oxygen_fraction=same * oxygen,
        )
        for work in WORK
    }
    start = wearer.start_percent * spread(6, *START_FACTOR)
    return Drawn(people, start, spread(7, -1.0, 1.0))
