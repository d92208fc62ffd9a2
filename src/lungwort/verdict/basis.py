"""From what was measured to what is limited: one conversion of the bound, none of the column."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import field, frozen

from lungwort.air import analytes, gas, units
from lungwort.errors import QuantityError, RangeError
from lungwort.limits.model import Bound
from lungwort.verdict.window import Edge, Window

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from lungwort.air.moisture import WaterConversion
    from lungwort.limits.model import Allowed, Conditions, Limit, LimitSet

    Floats = NDArray[np.float64]

WATER: Final = "water"
_WATER_QUANTITIES: Final = frozenset(
    {
        analytes.MASS_CONCENTRATION,
        analytes.VOLUME_FRACTION,
        analytes.ATMOSPHERIC_DEW_POINT,
        analytes.PRESSURE_DEW_POINT,
        analytes.HUMIDITY_RATIO,
    }
)
_GAS_QUANTITIES: Final = frozenset({analytes.MASS_CONCENTRATION, analytes.VOLUME_FRACTION})

QUANTITY_NAMES: Final = {
    analytes.VOLUME_FRACTION: "volume fraction",
    analytes.MASS_CONCENTRATION: "mass concentration",
    analytes.ATMOSPHERIC_DEW_POINT: "atmospheric dew point",
    analytes.PRESSURE_DEW_POINT: "pressure dew point",
    analytes.HUMIDITY_RATIO: "humidity ratio",
    analytes.RELATIVE_HUMIDITY: "relative humidity",
    analytes.TEMPERATURE: "temperature",
    analytes.PRESSURE: "pressure",
    analytes.FLOW: "flow",
    analytes.WORDING: "wording",
}


def _same(values: Floats) -> Floats:
    return values


@frozen
class Basis:
    """How evidence of one quantity is held against one limit.

    Parameters
    ----------
    window : Window
        The allowed range [unit of the evidence].
    unit : str
        Unit of the evidence.
    to_limit : callable
        Carries readings [unit of the evidence] to the limit's unit, rising with them.
    converted : bool
        Whether the numbers change on the way.
    remarks : tuple of str
        What was taken for granted.
    """

    window: Window
    unit: str
    to_limit: Callable[[Floats], Floats] = field(default=_same)
    converted: bool = False
    remarks: tuple[str, ...] = ()

    def value_in_limit_unit(self, value: float) -> float:
        """Carry one reading to the limit's unit.

        Parameters
        ----------
        value : float
            Reading [unit of the evidence].
        """
        return float(self.to_limit(np.array([value], dtype=np.float64))[0])


@frozen
class NotComparable:
    """Why evidence cannot be held against a limit.

    Parameters
    ----------
    reason : str
        What is in the way and what to give.
    """

    reason: str


def bounds_of(allowed: Allowed) -> tuple[Bound | None, Bound | None]:
    """Give the bounds that decide, of a settled or an unsettled range.

    Parameters
    ----------
    allowed : Allowed
        The range.

    Returns
    -------
    tuple of Bound or None
        Lower and upper. Of an unsettled range, the upper is what is outside in any case.
    """
    if allowed.open_reason and allowed.surely_outside_above is not None:
        return allowed.lower, Bound(allowed.surely_outside_above)
    return allowed.lower, allowed.upper


def basis(
    limit: Limit,
    allowed: Allowed,
    *,
    quantity: str,
    unit: str,
    limit_set: LimitSet,
    conditions: Conditions,
) -> Basis | NotComparable:
    """Work out how evidence is held against a limit.

    Parameters
    ----------
    limit : Limit
        The limit.
    allowed : Allowed
        Its range with the conditions filled in.
    quantity : str
        Quantity name of the evidence.
    unit : str
        Unit of the evidence.
    limit_set : LimitSet
        The set, for its reference state.
    conditions : Conditions
        What is known of the supply.

    Returns
    -------
    Basis or NotComparable
        The way, or why there is none.
    """
    if quantity == limit.quantity:
        return _by_scale(limit, allowed, unit)
    if limit.analyte == WATER:
        return _by_water(limit, allowed, quantity, unit, limit_set, conditions)
    if {quantity, limit.quantity} == _GAS_QUANTITIES:
        return _by_gas(limit, allowed, unit, limit_set)
    return NotComparable(
        f"{QUANTITY_NAMES.get(quantity, quantity)} was measured and the limit is for "
        f"{QUANTITY_NAMES.get(limit.quantity, limit.quantity)}; there is no way from one to the "
        "other. Give a reading of the limited quantity."
    )


def _window(allowed: Allowed, carry: Callable[[float], tuple[float, float]]) -> Window:
    lower, upper = bounds_of(allowed)
    return Window(
        lower=None if lower is None else Edge(*carry(lower.value), lower.included),
        upper=None if upper is None else Edge(*carry(upper.value), upper.included),
    )


def _by_scale(limit: Limit, allowed: Allowed, unit: str) -> Basis | NotComparable:
    try:
        window = _window(allowed, lambda value: (units.scale(value, limit.unit, unit),) * 2)
    except QuantityError as error:
        return NotComparable(str(error))
    if units.unit(limit.unit) == units.unit(unit):
        return Basis(window, unit)
    return Basis(
        window,
        unit,
        to_limit=lambda values: units.scale(values, unit, limit.unit),
        converted=True,
    )


def _by_gas(
    limit: Limit, allowed: Allowed, unit: str, limit_set: LimitSet
) -> Basis | NotComparable:
    try:
        factor = gas.conversion_factor(
            unit,
            limit.unit,
            gas=limit.analyte,
            temperature_c=limit_set.reference_temperature_c,
            pressure_kpa=limit_set.reference_pressure_kpa,
        )
    except (QuantityError, RangeError) as error:
        return NotComparable(str(error))
    remark = (
        f"{unit} and {limit.unit} were converted at {limit_set.reference_temperature_c:g} °C and "
        f"{limit_set.reference_pressure_kpa:g} kPa(a), the reference state of the limit set."
    )
    return Basis(
        _window(allowed, lambda value: (value / factor,) * 2),
        unit,
        to_limit=lambda values: values * factor,
        converted=True,
        remarks=(remark,),
    )


def _by_water(
    limit: Limit,
    allowed: Allowed,
    quantity: str,
    unit: str,
    limit_set: LimitSet,
    conditions: Conditions,
) -> Basis | NotComparable:
    if quantity == analytes.RELATIVE_HUMIDITY:
        return NotComparable(
            "relative humidity was measured; it is not taken for the water content of the line, "
            "because it hangs on the temperature and pressure at the sensor. Give a dew point or "
            "a water content."
        )
    if not {quantity, limit.quantity} <= _WATER_QUANTITIES:
        return NotComparable(
            f"{QUANTITY_NAMES.get(quantity, quantity)} was measured and the limit is for "
            f"{QUANTITY_NAMES.get(limit.quantity, limit.quantity)}. Give a dew point or a water "
            "content."
        )
    from lungwort.air.moisture import convert_water  # noqa: PLC0415 - heavy, and rarely needed

    pressure = conditions.supply_pressure_bar_g
    assumptions: list[str] = []

    def carry(value: float | Floats, *, back: bool = False) -> WaterConversion:
        ways = ((limit.quantity, limit.unit), (quantity, unit))
        (from_quantity, from_unit), (to_quantity, to_unit) = ways[::-1] if back else ways
        result = convert_water(
            value,
            from_quantity,
            to_quantity,
            pressure_bar_g=pressure,
            from_unit=from_unit,
            to_unit=to_unit,
            reference_temperature_c=limit_set.reference_temperature_c,
            reference_pressure_kpa=limit_set.reference_pressure_kpa,
        )
        assumptions.extend(result.assumptions)
        return result

    anchors: list[tuple[float, float]] = []

    def to_evidence(bound: float) -> tuple[float, float]:
        result = carry(bound)
        anchors.append((float(result.value), bound))
        return float(result.low), float(result.high)

    def to_limit(values: Floats) -> Floats:
        # A logger has few different readings: each is converted once. One beyond the formulas is
        # told as the nearest that can be converted; the verdict compares the reading itself with
        # the carried bound and does not hang on this.
        different, where = np.unique(values, return_inverse=True)
        carried = np.asarray(carry(different, back=True).value, dtype=np.float64)
        fits = np.isfinite(carried)
        pairs = sorted([*anchors, *zip(different[fits], carried[fits], strict=True)])
        known, told = np.array(pairs, dtype=np.float64).T
        carried[~fits] = np.interp(different[~fits], known, told)
        return carried[where]

    try:
        window = _window(allowed, to_evidence)
    except (QuantityError, RangeError) as error:
        return NotComparable(
            f"{QUANTITY_NAMES[quantity]} was measured and the limit is for "
            f"{QUANTITY_NAMES[limit.quantity]}. {error}"
        )
    remarks = [*dict.fromkeys(assumptions)]
    if analytes.PRESSURE_DEW_POINT in {quantity, limit.quantity} and pressure is not None:
        remarks.append(
            f"The pressure dew point was taken at the supply pressure of {pressure:g} bar(g). "
            "At a lower pressure the same pressure dew point means more water."
        )
    return Basis(window, unit, to_limit=to_limit, converted=True, remarks=tuple(remarks))
