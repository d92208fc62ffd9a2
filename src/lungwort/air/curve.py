"""Water content of saturated air against dew point at one pressure, both ways.

At one pressure the content is a smooth, rising function of the dew point. It is worked out once
on a grid of 0.05 °C with the full formulas and carried between by cubic Hermite interpolation,
which here agrees with the formulas to about 1e-10; so a year of readings costs no more than
looking up a table, and one reading and a million give the same answer.

Two branches, over ice and over water, meet at the melting point under pressure. The content of
stable saturation is the smaller of the two, the dew point the higher: so the curve rises without
a step, and the phase is that which really forms.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.air import enhancement, saturation
from lungwort.air.arrays import as_array
from lungwort.air.enhancement import SUPERCOOLED
from lungwort.air.gas import ZERO_CELSIUS_K
from lungwort.air.saturation import ICE, WATER
from lungwort.errors import RangeError

if TYPE_CHECKING:
    from collections.abc import Callable

    from lungwort.air.arrays import FloatArray

PRESSURE_RANGE_KPA: Final = (10.0, 35_000.0)
_STEP_C: Final = 0.05
_MARGIN: Final = 3
_STABLE_WATER_FROM_C: Final = -5.0
_HIGHEST_PA: Final = 101_000.0
# What rounding in the last place may put outside an end.
_HAIR: Final = 1e-9
_PIECE: Final = 16_384


@frozen(eq=False)
class _Grid:
    """A smooth function by its values and slopes on an even grid."""

    first: float
    step: float
    values: FloatArray
    slopes: FloatArray

    def __call__(self, at: FloatArray) -> FloatArray:
        """Value between the nodes; NaN beyond them."""
        place = (at - self.first) / self.step
        last = len(self.values) - 1
        inside = (place >= -_HAIR) & (place <= last + _HAIR)
        index = np.clip(np.where(inside, place, 0.0), 0, last - 1).astype(np.intp)
        share = place - index
        rest = 1.0 - share
        result = (
            rest * rest * (1 + 2 * share) * self.values[index]
            + share * share * (3 - 2 * share) * self.values[index + 1]
            + share
            * rest
            * self.step
            * (rest * self.slopes[index] - share * self.slopes[index + 1])
        )
        return np.where(inside, result, np.nan)

    def slope(self, at: FloatArray) -> FloatArray:
        """Slope between the nodes."""
        place = (at - self.first) / self.step
        index = np.clip(place, 0, len(self.values) - 2).astype(np.intp)
        share = place - index
        rise = (self.values[index + 1] - self.values[index]) / self.step
        return as_array(
            6 * share * (1 - share) * rise
            + (1 - share) * (1 - 3 * share) * self.slopes[index]
            + share * (3 * share - 2) * self.slopes[index + 1]
        )


@frozen(eq=False)
class _Branch:
    """One phase, both ways: logarithm of the content [ln mol/mol] against temperature [°C]."""

    forward: _Grid
    backward: _Grid

    @classmethod
    def through(cls, forward: _Grid) -> _Branch:
        """Complete a branch with its inverse."""
        nodes = forward.values
        even = np.linspace(nodes[0], nodes[-1], len(nodes))
        temperature = np.interp(even, nodes, forward.first + forward.step * np.arange(len(nodes)))
        for _ in range(3):  # Newton's method, quadratic from a linear guess
            temperature -= (_at_ends(forward, temperature) - even) / forward.slope(temperature)
        step = float(even[1] - even[0])
        return cls(
            forward, _Grid(float(even[0]), step, temperature, 1.0 / forward.slope(temperature))
        )

    def content(self, temperature: FloatArray) -> FloatArray:
        """Mole fraction at a temperature [°C]; NaN outside the branch."""
        return np.asarray(np.exp(self.forward(temperature)))

    def temperature(self, ln_content: FloatArray) -> FloatArray:
        """Temperature [°C] at the logarithm of a mole fraction; NaN outside the branch."""
        return self.backward(ln_content)


def _at_ends(grid: _Grid, at: FloatArray) -> FloatArray:
    last = grid.first + grid.step * (len(grid.values) - 1)
    return grid(np.clip(at, grid.first, last))


@frozen(eq=False)
class SaturationCurve:
    """Water content of saturated air at one pressure.

    Parameters
    ----------
    pressure_kpa : float
        Absolute pressure [kPa(a)].
    lowest_c, highest_c : float
        Range of the dew or frost point [°C].
    lowest_phase : str
        ``ice`` or ``water``: what the lowest point is over.
    cold, warm : object
        The branch below and the branch above the melting point.
    stable : bool
        Whether the phase is the stable one; else supercooled water was asked for.
    """

    pressure_kpa: float
    lowest_c: float
    highest_c: float
    lowest_phase: str
    cold: _Branch
    warm: _Branch
    stable: bool

    def content(self, temperature_c: FloatArray) -> FloatArray:
        """Give the water content at which air is saturated.

        Parameters
        ----------
        temperature_c : numpy.ndarray
            Dew or frost point [°C].

        Returns
        -------
        numpy.ndarray
            Mole fraction of water in the moist air [mol/mol]; NaN out of range.
        """
        return _in_pieces(self._content, temperature_c)

    def _content(self, temperature_c: FloatArray) -> FloatArray:
        if self.stable and np.all(temperature_c < self.warm.forward.first):
            return self.cold.content(temperature_c)
        cold, warm = self.cold.content(temperature_c), self.warm.content(temperature_c)
        if self.stable:
            return np.asarray(np.fmin(cold, warm))
        return np.where(temperature_c < saturation.TRIPLE_POINT_C, cold, warm)

    def temperature(self, content: FloatArray) -> FloatArray:
        """Give the temperature at which air of a water content is saturated.

        Parameters
        ----------
        content : numpy.ndarray
            Mole fraction of water in the moist air [mol/mol].

        Returns
        -------
        numpy.ndarray
            Dew or frost point [°C]; NaN out of range.
        """
        return _in_pieces(self._temperature, content)

    def _temperature(self, content: FloatArray) -> FloatArray:
        with np.errstate(divide="ignore", invalid="ignore"):
            wanted = np.log(content)
        cold = self.cold.temperature(wanted)
        if np.all(wanted < self.warm.backward.first):
            return cold
        warm = self.warm.temperature(wanted)
        if self.stable:
            return np.asarray(np.fmax(cold, warm))
        return np.where(np.isnan(cold), warm, cold)

    def phase(self, temperature_c: float) -> str:
        """Tell what a dew or frost point is over.

        Parameters
        ----------
        temperature_c : float
            Dew or frost point [°C].

        Returns
        -------
        str
            ``ice``, ``water`` or, where it was asked for, ``supercooled``.
        """
        if not self.stable:
            return SUPERCOOLED if temperature_c < 0 else WATER
        if temperature_c >= saturation.TRIPLE_POINT_C:
            return WATER
        at = np.asarray(temperature_c)
        over_ice, over_water = self.cold.content(at), self.warm.content(at)
        return WATER if over_water <= over_ice else ICE  # NaN, far below melting, is ice


def _in_pieces(function: Callable[[FloatArray], FloatArray], numbers: FloatArray) -> FloatArray:
    """Work through a long array in pieces that stay in the processor's cache."""
    if numbers.size <= _PIECE:
        return function(numbers)
    flat = numbers.ravel()
    result = np.empty_like(flat)
    for start in range(0, flat.size, _PIECE):
        result[start : start + _PIECE] = function(flat[start : start + _PIECE])
    return result.reshape(numbers.shape)


def _branch(
    phase: str, lowest_c: float, highest_c: float, pressure_kpa: float, *, ideal: bool
) -> _Branch:
    count = max(int(np.ceil((highest_c - lowest_c) / _STEP_C - _HAIR)), 2)
    # The last node is put on the highest temperature itself, the first a little below the lowest.
    first = highest_c - count * _STEP_C
    nodes = np.arange(-_MARGIN, count + 1 + _MARGIN, dtype=np.float64)
    kelvin = first + ZERO_CELSIUS_K + _STEP_C * nodes
    pressure_pa = np.asarray(pressure_kpa * 1000.0)
    ln_content = enhancement.ln_saturation(kelvin, phase) - np.log(pressure_pa)
    if not ideal:
        dense = pressure_kpa > enhancement.PRESSURE_RANGE_KPA[1]
        formula = enhancement.ln_enhancement_estimate if dense else enhancement.ln_enhancement
        ln_content = ln_content + formula(kelvin, pressure_pa, phase)
    slope = (
        45 * (ln_content[4:-2] - ln_content[2:-4])
        - 9 * (ln_content[5:-1] - ln_content[1:-5])
        + (ln_content[6:] - ln_content[:-6])
    ) / (60 * _STEP_C)
    return _Branch.through(_Grid(first, _STEP_C, ln_content[_MARGIN:-_MARGIN], slope))


@lru_cache(maxsize=64)
def saturation_curve(
    pressure_kpa: float, *, supercooled: bool = False, ideal: bool = False
) -> SaturationCurve:
    """Give the curve of saturated air at a pressure.

    Parameters
    ----------
    pressure_kpa : float
        Absolute pressure, 10 to 35 000 [kPa(a)]; above 10 000 the curve is an estimate.
    supercooled : bool
        Whether points below 0 °C are over supercooled water and not over ice.
    ideal : bool
        Whether the enhancement factor is left out.

    Returns
    -------
    SaturationCurve
        The curve: from -100 °C over ice (-60 °C above 10 000 kPa(a), -50 °C over supercooled
        water) up to 100 °C (60 °C above 10 000 kPa(a); below atmospheric boiling at low pressure).

    Raises
    ------
    RangeError
        Where the pressure is out of range.

    References
    ----------
    `lungwort.air.saturation`, `lungwort.air.enhancement`.

    Examples
    --------
    >>> import numpy as np
    >>> curve = saturation_curve(101.325)
    >>> round(float(curve.content(np.asarray(-45.6))) * 1e6, 1)
    66.6
    """
    if not PRESSURE_RANGE_KPA[0] <= pressure_kpa <= PRESSURE_RANGE_KPA[1]:
        raise RangeError(
            f"pressure {pressure_kpa / 100:.6g} bar(a) is outside {PRESSURE_RANGE_KPA[0] / 100:g} "
            f"to {PRESSURE_RANGE_KPA[1] / 100:g} bar(a), where the moisture formulas are good. "
            "Check the pressure, its unit, and whether it is gauge or absolute."
        )
    dense = pressure_kpa > enhancement.PRESSURE_RANGE_KPA[1]
    lowest_ice = enhancement.ESTIMATE_LOWEST_C if dense else enhancement.ICE_RANGE_C[0]
    highest = enhancement.ESTIMATE_HIGHEST_C if dense else enhancement.WATER_RANGE_C[1]
    most_pa = enhancement.HIGHEST_VAPOUR_SHARE * pressure_kpa * 1000
    boiling = saturation.dew_temperature(most_pa) if most_pa < _HIGHEST_PA else highest
    highest = min(highest, boiling)
    joint = saturation.TRIPLE_POINT_C
    if supercooled:
        lowest, cold_phase, warm_from = enhancement.WATER_RANGE_C[0], SUPERCOOLED, joint
    else:
        lowest, cold_phase, warm_from = lowest_ice, ICE, _STABLE_WATER_FROM_C
    cold = _branch(cold_phase, lowest, joint, pressure_kpa, ideal=ideal)
    warm = _branch(WATER, warm_from, highest, pressure_kpa, ideal=ideal)
    return SaturationCurve(
        pressure_kpa=pressure_kpa,
        lowest_c=lowest,
        highest_c=highest,
        lowest_phase=WATER if supercooled else ICE,
        cold=cold,
        warm=warm,
        stable=not supercooled,
    )
