"""Water in air, from any of its six ways of being stated to any other.

Everything goes through the mole fraction of water in the moist air. Its six faces, named as in
`lungwort.air.analytes`:

=========================  ==========  ===============================================
quantity                   unit        what it needs besides the number
=========================  ==========  ===============================================
volume_fraction            ppm         nothing: mole fraction of the moist air
mass_concentration         mg/m3       a reference state (20 °C, 101.325 kPa(a))
atmospheric_dew_point      °C          nothing: at 101.325 kPa(a)
pressure_dew_point         °C          the line pressure
humidity_ratio             g/kg        nothing: grams to a kilogram of dry air
relative_humidity          %RH         gas temperature and pressure
=========================  ==========  ===============================================

mg/m³ counts the moist air as an ideal gas brought to the reference state with all its water still
vapour. A dew point below 0 °C is a frost point, unless supercooled water is asked for; under
pressure ice melts a little below 0 °C (-0.07 °C at 7 bar(g), -1.0 °C at 100 bar(a)), and between
that point and 0 °C the dew point is over water. The phase of every result is named.

Up to 100 bar(a) `low` and `high` are the value itself. Above, no published formula is valid: the
value is a virial estimate, `low` and `high` its bounds, and the ideal-gas value is given as well.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from attrs import field, frozen

from lungwort.air import gas, units
from lungwort.air._content import (
    DRIER,
    GOOD,
    NO_READING,
    REASONS,
    WATER_QUANTITIES,
    WETTER,
    State,
    assumptions,
    estimate_bounds,
    phases_of,
    refuse_scalar,
    run,
)
from lungwort.air.arrays import FloatArray, as_array, like
from lungwort.air.interval import Interval
from lungwort.errors import QuantityError

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "DRIER",
    "GOOD",
    "NO_READING",
    "REASONS",
    "WATER_QUANTITIES",
    "WETTER",
    "WaterConversion",
    "convert_moisture",
    "convert_water",
    "water_bounds",
]


@frozen(eq=False)
class WaterConversion:
    """A water content stated another way.

    Parameters
    ----------
    value : float or numpy.ndarray
        Best estimate [unit]; NaN where refused.
    low, high : float or numpy.ndarray
        Bounds [unit]; equal to the value up to 100 bar(a). Of a reading drier or wetter than the
        formulas reach, the end of the range is one bound and the other is infinite.
    assumptions : tuple of str
        What was taken for the conversion, in words.
    quantity : str
        What it is now.
    unit : str
        Unit of value, low, high and ideal_gas.
    phases : tuple of str
        ``ice``, ``water`` or ``supercooled``: what the dew points of the result are over; empty
        where the result is no dew point.
    ideal_gas : float or numpy.ndarray, optional
        What an ideal gas would give [unit]; only where a pressure above 100 bar(a) entered.
    refused : numpy.ndarray
        For each element 0 or a key of `REASONS`.
    """

    value: float | FloatArray
    low: float | FloatArray
    high: float | FloatArray
    assumptions: tuple[str, ...] = ()
    quantity: str = ""
    unit: str = ""
    phases: tuple[str, ...] = ()
    ideal_gas: float | FloatArray | None = None
    refused: NDArray[np.int8] = field(factory=lambda: np.zeros((), dtype=np.int8))

    @property
    def is_estimate(self) -> bool:
        """Whether a pressure above 100 bar(a) made this an estimate."""
        return self.ideal_gas is not None

    def reasons(self) -> dict[str, int]:
        """Count the refused elements by cause.

        Returns
        -------
        dict of str to int
            Words of `REASONS` with how many elements each refused; empty where none was.
        """
        return {
            words: count
            for code, words in REASONS.items()
            if (count := int(np.count_nonzero(self.refused == code)))
        }


def convert_water(
    value: float | FloatArray,
    from_quantity: str,
    to_quantity: str,
    *,
    pressure_bar_g: float | None = None,
    from_unit: str | None = None,
    to_unit: str | None = None,
    reference_temperature_c: float = gas.REFERENCE_TEMPERATURE_C,
    reference_pressure_kpa: float = gas.REFERENCE_PRESSURE_KPA,
    gas_temperature_c: float | None = None,
) -> WaterConversion:
    """State a water content another way.

    Rising in ``value``, whatever the quantities. Below 0 °C a dew point is taken, and given, as a
    frost point.

    Parameters
    ----------
    value : float or numpy.ndarray
        Water content [from_unit].
    from_quantity, to_quantity : str
        ``volume_fraction``, ``mass_concentration``, ``atmospheric_dew_point``,
        ``pressure_dew_point``, ``humidity_ratio`` or ``relative_humidity``.
    pressure_bar_g : float, optional
        Line pressure, -0.91 to 348.9 [bar(g)]; needed for a pressure dew point and a relative
        humidity.
    from_unit, to_unit : str, optional
        Units; the canonical ones of the quantities where not given (ppm, mg/m3, °C, g/kg, %RH).
    reference_temperature_c : float
        Temperature at which mg/m³ is counted [°C].
    reference_pressure_kpa : float
        Absolute pressure at which mg/m³ is counted [kPa(a)].
    gas_temperature_c : float, optional
        Temperature of the air [°C]; needed for a relative humidity.

    Returns
    -------
    WaterConversion
        Value, bounds and the assumptions. Elements of an array that are out of range are NaN, and
        `WaterConversion.refused` tells why.

    Raises
    ------
    QuantityError
        Where a quantity or unit is not known, a pressure or temperature is needed and missing, or
        a float is not a number.
    RangeError
        Where a float, the pressure, the gas temperature or the reference state is out of range.

    References
    ----------
    `lungwort.air.saturation` and `lungwort.air.enhancement`; ratio of molar masses 18.0153/28.966.

    Examples
    --------
    >>> found = convert_water(24.0, "volume_fraction", "atmospheric_dew_point", to_unit="°F")
    >>> round(found.value, 1), found.phases
    (-65.0, ('ice',))
    >>> line = convert_water(3.0, "pressure_dew_point", "mass_concentration", pressure_bar_g=7.0)
    >>> round(line.value)
    729
    """
    state = _state(
        pressure_bar_g,
        reference_temperature_c,
        reference_pressure_kpa,
        gas_temperature_c,
        supercooled=False,
    )
    return _convert(value, (from_quantity, from_unit, state), (to_quantity, to_unit, state))


def convert_moisture(
    value: float | FloatArray,
    from_quantity: str,
    to_quantity: str,
    *,
    pressure_bar_g: float | None = None,
    to_pressure_bar_g: float | None = None,
    from_unit: str | None = None,
    to_unit: str | None = None,
    reference_temperature_c: float = gas.REFERENCE_TEMPERATURE_C,
    reference_pressure_kpa: float = gas.REFERENCE_PRESSURE_KPA,
    gas_temperature_c: float | None = None,
    supercooled: bool = False,
    to_supercooled: bool | None = None,
) -> WaterConversion:
    """State a water content another way, at another pressure or over supercooled water.

    Parameters
    ----------
    value : float or numpy.ndarray
        Water content [from_unit].
    from_quantity, to_quantity : str
        As in `convert_water`.
    pressure_bar_g : float, optional
        Pressure at which the value was measured [bar(g)].
    to_pressure_bar_g : float, optional
        Pressure at which the result is wanted [bar(g)]; that of the value where not given.
    from_unit, to_unit : str, optional
        As in `convert_water`.
    reference_temperature_c : float
        Temperature at which mg/m³ is counted [°C].
    reference_pressure_kpa : float
        Absolute pressure at which mg/m³ is counted [kPa(a)].
    gas_temperature_c : float, optional
        Temperature of the air [°C]; needed for a relative humidity.
    supercooled : bool
        Whether a given dew point below 0 °C is over supercooled water (down to -50 °C).
    to_supercooled : bool, optional
        Whether a resulting dew point below 0 °C is; as the given one where not told.

    Returns
    -------
    WaterConversion
        As from `convert_water`.

    Raises
    ------
    QuantityError, RangeError
        As in `convert_water`.

    References
    ----------
    As `convert_water`.

    Examples
    --------
    >>> higher = convert_moisture(
    ...     3.0, "pressure_dew_point", "pressure_dew_point", pressure_bar_g=7, to_pressure_bar_g=40
    ... )
    >>> round(higher.value, 1)
    26.9
    """
    target_pressure = pressure_bar_g if to_pressure_bar_g is None else to_pressure_bar_g
    source, target = (
        _state(
            pressure,
            reference_temperature_c,
            reference_pressure_kpa,
            gas_temperature_c,
            supercooled=liquid,
        )
        for pressure, liquid in (
            (pressure_bar_g, supercooled),
            (target_pressure, supercooled if to_supercooled is None else to_supercooled),
        )
    )
    return _convert(value, (from_quantity, from_unit, source), (to_quantity, to_unit, target))


def water_bounds(
    interval: Interval,
    from_quantity: str,
    to_quantity: str,
    *,
    pressure_bar_g: float | None = None,
    reference_temperature_c: float = gas.REFERENCE_TEMPERATURE_C,
    reference_pressure_kpa: float = gas.REFERENCE_PRESSURE_KPA,
    gas_temperature_c: float | None = None,
) -> Interval:
    """State an interval of water contents another way, never narrower than it is.

    Parameters
    ----------
    interval : Interval
        Water contents, in its own unit or the canonical one of the quantity.
    from_quantity, to_quantity : str
        As in `convert_water`.
    pressure_bar_g : float, optional
        Line pressure [bar(g)].
    reference_temperature_c : float
        Temperature at which mg/m³ is counted [°C].
    reference_pressure_kpa : float
        Absolute pressure at which mg/m³ is counted [kPa(a)].
    gas_temperature_c : float, optional
        Temperature of the air [°C]; needed for a relative humidity.

    Returns
    -------
    Interval
        The same contents in the canonical unit of the result. Above 100 bar(a) the ends carry the
        uncertainty of the estimate; an end beyond the formulas becomes infinite or the end of
        their range, whichever is outward.

    Raises
    ------
    QuantityError, RangeError
        As in `convert_water`, but never for an end of the interval that is out of range.

    References
    ----------
    As `convert_water`.

    Examples
    --------
    >>> from lungwort.air.interval import Interval
    >>> dry = water_bounds(
    ...     Interval.between(0.0, 24.0, "ppm"), "volume_fraction", "atmospheric_dew_point"
    ... )
    >>> dry.lower, round(dry.upper, 1), dry.unit
    (-inf, -53.9, '°C')
    """
    ends = np.array([interval.lower, interval.upper], dtype=np.float64)
    finite = np.isfinite(ends)
    found = convert_water(
        np.where(finite, ends, 0.0),
        from_quantity,
        to_quantity,
        pressure_bar_g=pressure_bar_g,
        from_unit=interval.unit or None,
        reference_temperature_c=reference_temperature_c,
        reference_pressure_kpa=reference_pressure_kpa,
        gas_temperature_c=gas_temperature_c,
    )
    lower = float(as_array(found.low)[0]) if finite[0] else -math.inf
    upper = float(as_array(found.high)[1]) if finite[1] else math.inf
    exact = lower == upper
    return Interval(
        lower,
        upper,
        found.unit,
        lower_included=exact or interval.lower_included,
        upper_included=exact or interval.upper_included,
    )


def _state(
    pressure_bar_g: float | None,
    reference_temperature_c: float,
    reference_pressure_kpa: float,
    gas_temperature_c: float | None,
    *,
    supercooled: bool,
) -> State:
    for name, number in (("pressure", pressure_bar_g), ("gas temperature", gas_temperature_c)):
        if number is not None and not math.isfinite(number):
            raise QuantityError(f"{name} {number} is not a number. Give one, or leave it out.")
    return State(
        pressure_kpa=None
        if pressure_bar_g is None
        else units.scale(float(pressure_bar_g), "bar(g)", "kPa(a)"),
        reference_temperature_c=reference_temperature_c,
        reference_pressure_kpa=reference_pressure_kpa,
        gas_temperature_c=gas_temperature_c,
        supercooled=supercooled,
    )


_Side: TypeAlias = tuple[str, str | None, State]


def _convert(value: float | FloatArray, source: _Side, target: _Side) -> WaterConversion:
    from_quantity, from_unit, from_state = source
    to_quantity, to_unit, to_state = target
    for quantity in (from_quantity, to_quantity):
        if quantity not in WATER_QUANTITIES:
            raise QuantityError(
                f"{quantity!r} does not state a water content. "
                f"Quantities that do: {', '.join(WATER_QUANTITIES)}."
            )
    unit_in = from_unit or WATER_QUANTITIES[from_quantity]
    unit_out = units.unit(to_unit or WATER_QUANTITIES[to_quantity]).name
    canonical = WATER_QUANTITIES[to_quantity]
    if not isinstance(value, np.ndarray) and not math.isfinite(value):
        raise QuantityError(f"{value} is not a water content. Give a number.")
    given = as_array(units.scale(as_array(value), unit_in, WATER_QUANTITIES[from_quantity]))
    units.scale(0.0, canonical, unit_out)  # refuses a unit of another dimension before any work

    if from_quantity == to_quantity and from_state == to_state:
        # Nothing to convert, and so nothing that could be out of range or is assumed.
        refused = np.where(np.isnan(given), NO_READING, GOOD).astype(np.int8)
        same = like(as_array(units.scale(given, canonical, unit_out)), value)
        return WaterConversion(
            same,
            same,
            same,
            (),
            to_quantity,
            unit_out,
            phases=phases_of(given[refused == GOOD], to_quantity, to_state),
            refused=refused,
        )

    ends = ((from_quantity, from_state), (to_quantity, to_state))
    best, refused = run(given, *ends)
    low = high = best
    ideal: FloatArray | None = None
    if any(state.is_dense(quantity) for quantity, state in ends):
        low, high = estimate_bounds(given, *ends)
        ideal, _ = run(given, *ends, ideal=True)
    phases = phases_of(best[refused == GOOD], to_quantity, to_state)
    if not isinstance(value, np.ndarray) and refused != GOOD:
        refuse_scalar(float(given), int(refused), *ends)
    low = np.where(refused == DRIER, -np.inf, np.where(refused == NO_READING, np.nan, low))
    high = np.where(refused == WETTER, np.inf, np.where(refused == NO_READING, np.nan, high))
    best = np.where(refused == GOOD, best, np.nan)

    def out(numbers: FloatArray) -> float | FloatArray:
        return like(as_array(units.scale(numbers, canonical, unit_out)), value)

    return WaterConversion(
        value=out(best),
        low=out(low),
        high=out(high),
        assumptions=assumptions(given, phases, *ends),
        quantity=to_quantity,
        unit=unit_out,
        phases=phases,
        ideal_gas=None if ideal is None else out(np.where(refused == GOOD, ideal, np.nan)),
        refused=refused,
    )
