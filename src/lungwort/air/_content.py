"""The steps behind `lungwort.air.moisture`: to the mole fraction, and from it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from attrs import frozen

from lungwort.air import enhancement, gas, units
from lungwort.air.analytes import (
    ATMOSPHERIC_DEW_POINT,
    HUMIDITY_RATIO,
    MASS_CONCENTRATION,
    PRESSURE_DEW_POINT,
    QUANTITY_UNIT,
    RELATIVE_HUMIDITY,
    VOLUME_FRACTION,
)
from lungwort.air.arrays import FloatArray, as_array
from lungwort.air.curve import SaturationCurve, saturation_curve
from lungwort.air.enhancement import SUPERCOOLED
from lungwort.air.saturation import ICE
from lungwort.errors import QuantityError, RangeError

if TYPE_CHECKING:
    from numpy.typing import NDArray

AIR_G_MOL: Final = 28.966
"""Molar mass of dry air [g/mol], as in ASHRAE RP-1485."""

WATER_QUANTITIES: Final[dict[str, str]] = {
    VOLUME_FRACTION: "ppm",
    **{
        name: QUANTITY_UNIT[name]
        for name in (
            MASS_CONCENTRATION,
            ATMOSPHERIC_DEW_POINT,
            PRESSURE_DEW_POINT,
            HUMIDITY_RATIO,
            RELATIVE_HUMIDITY,
        )
    },
}
"""The six quantities with their canonical units."""

DEW_POINTS: Final = frozenset({ATMOSPHERIC_DEW_POINT, PRESSURE_DEW_POINT})
AT_LINE: Final = frozenset({PRESSURE_DEW_POINT, RELATIVE_HUMIDITY})

GOOD: Final = 0
NO_READING: Final = 1
DRIER: Final = 2
WETTER: Final = 3
REASONS: Final[dict[int, str]] = {
    NO_READING: "no reading",
    DRIER: "drier than the formulas reach",
    WETTER: "wetter than the formulas reach",
}
"""Why an element of an array has no value."""

_HIGHEST_RELATIVE_HUMIDITY: Final = 110.0
_LOWEST_FRACTION: Final = -0.1
_HIGHEST_FRACTION: Final = 0.999999


@frozen
class State:
    """What a conversion is done at."""

    pressure_kpa: float | None
    reference_temperature_c: float
    reference_pressure_kpa: float
    gas_temperature_c: float | None
    supercooled: bool

    def needed_pressure_kpa(self, quantity: str) -> float:
        if quantity == ATMOSPHERIC_DEW_POINT:
            return units.ATMOSPHERE_KPA
        if self.pressure_kpa is None:
            raise QuantityError(
                f"a {quantity.replace('_', ' ')} needs the pressure of the air, and none is given. "
                "Give the line pressure in bar(g) (pressure_bar_g; 0 for air let down to "
                "atmosphere)."
            )
        return self.pressure_kpa

    def needed_temperature_c(self) -> float:
        if self.gas_temperature_c is None:
            raise QuantityError(
                "a relative humidity needs the temperature of the air, and none is given. "
                "Give the gas temperature in °C (gas_temperature_c)."
            )
        return self.gas_temperature_c

    def curve(self, quantity: str, *, ideal: bool) -> SaturationCurve:
        return saturation_curve(
            self.needed_pressure_kpa(quantity), supercooled=self.supercooled, ideal=ideal
        )

    def saturated_at_gas_temperature(self, *, ideal: bool) -> float:
        curve = self.curve(RELATIVE_HUMIDITY, ideal=ideal)
        temperature = self.needed_temperature_c()
        if not curve.lowest_c <= temperature <= curve.highest_c:
            raise RangeError(
                f"gas temperature {temperature:g} °C is outside {curve.lowest_c:g} to "
                f"{curve.highest_c:.4g} °C at {bar_text(curve.pressure_kpa)}. "
                "Check the temperature and its unit."
            )
        return float(curve.content(as_array(temperature)))

    def is_dense(self, quantity: str) -> bool:
        return (
            quantity in AT_LINE
            and self.needed_pressure_kpa(quantity) > enhancement.PRESSURE_RANGE_KPA[1]
        )

    def mg_m3_per_fraction(self) -> float:
        return 1e6 * gas.mg_m3_per_ppm(
            "water",
            temperature_c=self.reference_temperature_c,
            pressure_kpa=self.reference_pressure_kpa,
        )


def bar_text(pressure_kpa: float) -> str:
    return f"{pressure_kpa / 100:.4g} bar(a)"


End: TypeAlias = tuple[str, State]


def run(
    given: FloatArray, source: End, target: End, *, times: float = 1.0, ideal: bool = False
) -> tuple[FloatArray, NDArray[np.int8]]:
    """Convert; what is out of range is brought to the end of the range and marked.

    `times` multiplies the enhancement factor at line pressure, once.
    """
    from_times = times if source[0] in AT_LINE else 1.0
    to_times = 1.0 if source[0] in AT_LINE else times
    fraction, refused = _to_fraction(given, *source, from_times, ideal=ideal)
    result, late = _from_fraction(fraction, *target, to_times, ideal=ideal)
    refused = np.where(refused == GOOD, late, refused)
    return result, np.where(np.isnan(given), NO_READING, refused).astype(np.int8)


def _clip(
    numbers: FloatArray, lowest: float, highest: float
) -> tuple[FloatArray, NDArray[np.int8]]:
    codes = np.where(numbers < lowest, DRIER, np.where(numbers > highest, WETTER, GOOD))
    return np.clip(numbers, lowest, highest), codes.astype(np.int8)


def _to_fraction(
    given: FloatArray, quantity: str, state: State, times: float, *, ideal: bool
) -> tuple[FloatArray, NDArray[np.int8]]:
    if quantity in DEW_POINTS:
        curve = state.curve(quantity, ideal=ideal)
        temperature, codes = _clip(given, curve.lowest_c, curve.highest_c)
        return curve.content(temperature) * times, codes
    if quantity == RELATIVE_HUMIDITY:
        saturated = state.saturated_at_gas_temperature(ideal=ideal)
        humidity, codes = _clip(given, -_HIGHEST_RELATIVE_HUMIDITY, _HIGHEST_RELATIVE_HUMIDITY)
        return humidity / 100.0 * saturated * times, codes
    if quantity == HUMIDITY_RATIO:
        ratio = given / 1000.0
        share = _mass_ratio()
        fraction = np.where(ratio > -share, ratio / np.where(ratio > -share, share + ratio, 1), -1)
    elif quantity == MASS_CONCENTRATION:
        fraction = given / state.mg_m3_per_fraction()
    else:
        fraction = given / 1e6
    return _clip(fraction, _LOWEST_FRACTION, _HIGHEST_FRACTION)


def _from_fraction(
    fraction: FloatArray, quantity: str, state: State, times: float, *, ideal: bool
) -> tuple[FloatArray, NDArray[np.int8]]:
    if quantity in DEW_POINTS:
        curve = state.curve(quantity, ideal=ideal)
        ends = curve.content(np.array([curve.lowest_c, curve.highest_c])) * times
        inside, codes = _clip(fraction, float(ends[0]), float(ends[1]))
        temperature = curve.temperature(inside / times)
        return np.clip(temperature, curve.lowest_c, curve.highest_c), codes
    if quantity == RELATIVE_HUMIDITY:
        saturated = state.saturated_at_gas_temperature(ideal=ideal) * times
        result = fraction / saturated * 100.0
    elif quantity == HUMIDITY_RATIO:
        result = 1000.0 * _mass_ratio() * fraction / (1.0 - fraction)
    elif quantity == MASS_CONCENTRATION:
        result = fraction * state.mg_m3_per_fraction()
    else:
        result = fraction * 1e6
    return as_array(result), np.zeros(fraction.shape, dtype=np.int8)


def _mass_ratio() -> float:
    return gas.molar_mass_g_mol("water") / AIR_G_MOL


def estimate_bounds(given: FloatArray, source: End, target: End) -> tuple[FloatArray, FloatArray]:
    runs = [
        run(given, source, target, times=1.0 + sign * enhancement.ESTIMATE_UNCERTAINTY)
        for sign in (-1, 1)
    ]
    lows = [np.where(codes == DRIER, -np.inf, result) for result, codes in runs]
    highs = [np.where(codes == WETTER, np.inf, result) for result, codes in runs]
    return np.minimum(*lows), np.maximum(*highs)


def phases_of(temperature: FloatArray, quantity: str, state: State) -> tuple[str, ...]:
    """Name what dew points are over; nothing where they are none or the pressure is not known."""
    known = quantity == ATMOSPHERIC_DEW_POINT or state.pressure_kpa is not None
    if quantity not in DEW_POINTS or temperature.size == 0 or not known:
        return ()
    curve = state.curve(quantity, ideal=False)
    return tuple(
        sorted({curve.phase(float(end)) for end in (np.min(temperature), np.max(temperature))})
    )


def refuse_scalar(given: float, code: int, source: End, target: End) -> None:
    """Raise for one number that is out of range, naming the end that it passed."""
    (from_quantity, from_state), (to_quantity, to_state) = source, target
    found = f"{from_quantity.replace('_', ' ')} {given:.6g} {WATER_QUANTITIES[from_quantity]}"
    drier = code == DRIER
    remedy = "Check the value and its unit."
    if from_quantity in DEW_POINTS:
        curve = from_state.curve(from_quantity, ideal=False)
        if not curve.lowest_c <= given <= curve.highest_c:
            raise RangeError(
                f"{found} is outside {curve.lowest_c:g} to {curve.highest_c:.4g} °C, where the "
                f"formulas are good at {bar_text(curve.pressure_kpa)}. {remedy}"
            )
    if to_quantity in DEW_POINTS:
        curve = to_state.curve(to_quantity, ideal=False)
        end = curve.lowest_c if drier else curve.highest_c
        raise RangeError(
            f"{found} is {'drier' if drier else 'wetter'} than a dew point of {end:.4g} °C at "
            f"{bar_text(curve.pressure_kpa)}, where the formulas end. {remedy} If it is right, "
            f"report the dew point as {'below' if drier else 'above'} {end:.4g} °C."
        )
    raise RangeError(f"{found} is {'drier' if drier else 'wetter'} than air can be. {remedy}")


def assumptions(
    given: FloatArray, phases: tuple[str, ...], source: End, target: End
) -> tuple[str, ...]:
    """Say in words what was taken for a conversion."""
    before = phases_of(given[np.isfinite(given)], *source)
    if source[1].supercooled == target[1].supercooled:
        words = [text for phase, text in _COLD_WORDS.items() if phase in {*before, *phases}]
    else:
        words = [f"given: {text}" for phase, text in _COLD_WORDS.items() if phase in before]
        words += [f"result: {text}" for phase, text in _COLD_WORDS.items() if phase in phases]
    for quantity, state in (source, target):
        words += _pressure_words(quantity, state)
    state = source[1]
    reference = (
        f"mg/m3 at {state.reference_temperature_c:g} °C and "
        f"{state.reference_pressure_kpa:g} kPa(a), ideal gas, moist air"
    )
    stated = {
        ATMOSPHERIC_DEW_POINT: "atmospheric dew point at 101.325 kPa(a)",
        MASS_CONCENTRATION: reference,
        VOLUME_FRACTION: "ppm as mole fraction of the moist air",
        HUMIDITY_RATIO: "g/kg as grams of water to a kilogram of dry air",
    }
    words += [text for quantity, text in stated.items() if quantity in {source[0], target[0]}]
    return tuple(dict.fromkeys(words))


_COLD_WORDS: Final = {
    ICE: "below 0 °C taken as frost point",
    SUPERCOOLED: "below 0 °C taken over supercooled water, as asked",
}


def _pressure_words(quantity: str, state: State) -> list[str]:
    if quantity not in DEW_POINTS and quantity != RELATIVE_HUMIDITY:
        return []
    pressure = state.needed_pressure_kpa(quantity)
    limit = enhancement.PRESSURE_RANGE_KPA[1]
    words = [f"enhancement factor of air at {bar_text(pressure)}"]
    if pressure > limit:
        estimated = (
            f"{words[0]} estimated: no reference is valid above {bar_text(limit)}; the bounds of "
            f"{enhancement.ESTIMATE_UNCERTAINTY * 100:.0f} % of the water content are a judgement"
        )
        words = [estimated]
    if quantity == RELATIVE_HUMIDITY:
        temperature = state.needed_temperature_c()
        over = state.curve(quantity, ideal=False).phase(temperature)
        words.append(f"relative humidity over {over} at {temperature:g} °C")
    if quantity in AT_LINE:
        words.append(f"gauge pressure counted from {units.ATMOSPHERE_KPA / 100:g} bar(a)")
    return words
