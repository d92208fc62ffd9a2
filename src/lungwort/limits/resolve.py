"""From a limit to the range that a reading is held against.

Most limits are a plain range. Two kinds hang on something about the supply that the air itself
does not tell: a table by supply pressure, and a dew point that must stay below the lowest
temperature. What is not known is never guessed: the limit then stays open and says what to give.
A temperature in the log is not taken for the lowest temperature, because a log of one mild day
says nothing of the coldest stretch of pipe in winter.
"""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Final

from lungwort.air import analytes
from lungwort.air.units import ATMOSPHERE_KPA
from lungwort.errors import QuantityError
from lungwort.limits.digest import decimal_text
from lungwort.limits.model import (
    ANY_READING,
    DEW_POINT_MARGIN,
    FROM_MEMORY,
    PRESSURE_TABLE,
    WORDING,
    Allowed,
    Bound,
    Conditions,
    Limit,
    LimitSet,
)

MAX_PRESSURE_BAR_G: Final = 1000.0
"""Highest supply pressure taken for a real one [bar(g)]."""
MIN_TEMPERATURE_C: Final = -90.0
"""Lowest temperature taken for a real one [°C]: the coldest ever recorded outdoors is -89.2 °C."""
MAX_TEMPERATURE_C: Final = 60.0
"""Highest 'lowest temperature' taken for a real one [°C]: above it people do not work."""

OWN_COPY: Final = "from memory: check against your own copy of the document"

_DEW_POINTS: Final = (analytes.ATMOSPHERIC_DEW_POINT, analytes.PRESSURE_DEW_POINT)

CORE_ANALYTES: Final = ("o2", "co", "co2", "oil", "water", "odour")
"""What one expects a set for breathing air to limit."""


def _minus(value: float, less: float) -> float:
    """Subtract without float dust: 20 - 5.56 is 14.44."""
    return float(Decimal(repr(float(value))) - Decimal(repr(float(less))))


def check_conditions(conditions: Conditions) -> None:
    """Refuse conditions that no supply can have.

    Parameters
    ----------
    conditions : Conditions
        What is known of the supply: pressure [bar(g)] and lowest temperature [°C]. Valid from
        above vacuum to 1000 bar(g), and from -90 to 60 °C.

    Raises
    ------
    QuantityError
        Where a number is not finite or lies outside.
    """
    pressure, temperature = conditions.supply_pressure_bar_g, conditions.lowest_temperature_c
    if pressure is not None:
        vacuum = -ATMOSPHERE_KPA / 100.0
        if not (math.isfinite(pressure) and vacuum < pressure <= MAX_PRESSURE_BAR_G):
            raise QuantityError(
                f"a supply pressure of {pressure:g} bar(g) cannot be. "
                f"Give one above vacuum ({vacuum:.5g} bar(g)) and up to "
                f"{MAX_PRESSURE_BAR_G:g} bar(g)."
            )
    if temperature is not None and not (
        math.isfinite(temperature) and MIN_TEMPERATURE_C <= temperature <= MAX_TEMPERATURE_C
    ):
        raise QuantityError(
            f"a lowest temperature of {temperature:g} °C cannot be. "
            f"Give one from {MIN_TEMPERATURE_C:g} to {MAX_TEMPERATURE_C:g} °C."
        )


def resolve(limit: Limit, conditions: Conditions) -> Allowed:
    """Fill a limit's conditions in.

    Parameters
    ----------
    limit : Limit
        What the document allows.
    conditions : Conditions
        What is known of the supply: pressure [bar(g)], from above vacuum to 1000 bar(g), and
        lowest temperature [°C], from -90 to 60 °C.

    Returns
    -------
    Allowed
        The range [unit of the limit]. Of a pressure table the stricter of the two neighbouring
        rows serves; nothing is interpolated. Where a condition is missing, or the pressure lies
        outside the table, ``open_reason`` says so and the range stays empty.

    Raises
    ------
    QuantityError
        Where a condition is not finite or cannot be.

    Examples
    --------
    >>> from lungwort.limits.load import limit_set
    >>> water = limit_set("en12021-2014-airline").limit("water")
    >>> resolve(water, Conditions(supply_pressure_bar_g=7.0)).how
    'row up to 10 bar(g)'
    """
    check_conditions(conditions)
    if limit.kind == PRESSURE_TABLE:
        return _from_table(limit, conditions.supply_pressure_bar_g)
    if limit.kind == DEW_POINT_MARGIN:
        return _from_margin(limit, conditions.lowest_temperature_c)
    return Allowed(lower=limit.lower, upper=limit.upper)


def _strictness(bound: Bound) -> tuple[float, bool]:
    """Order upper bounds: the smaller is the stricter."""
    return bound.value, bound.included


def _from_table(limit: Limit, pressure: float | None) -> Allowed:
    rows = limit.table
    if pressure is None:
        return Allowed(
            open_reason=(
                "the limit depends on the supply pressure, which is not known; "
                "give it with --supply-pressure, like --supply-pressure '7 bar(g)'."
            ),
            surely_outside_above=max(row.upper.value for row in rows),
        )
    if pressure <= limit.table_above_bar_g:
        return Allowed(
            open_reason=(
                f"the table begins above {decimal_text(limit.table_above_bar_g)} bar(g) and the "
                f"supply pressure is {decimal_text(pressure)} bar(g); "
                "use a limit set for that pressure."
            )
        )
    last = rows[-1]
    if pressure > last.up_to_bar_g and not limit.last_row_serves_above:
        return Allowed(
            open_reason=(
                f"the table ends at {decimal_text(last.up_to_bar_g)} bar(g) and the supply "
                f"pressure is {decimal_text(pressure)} bar(g); use a limit set for that pressure."
            )
        )
    at = next((i for i, row in enumerate(rows) if pressure <= row.up_to_bar_g), len(rows) - 1)
    neighbours = [at]
    if at > 0 and pressure < rows[at].up_to_bar_g:
        neighbours.append(at - 1)
    chosen = min(neighbours, key=lambda i: _strictness(rows[i].upper))
    return Allowed(upper=rows[chosen].upper, how=_row_text(limit, chosen))


def _row_text(limit: Limit, index: int) -> str:
    if limit.last_row_serves_above and index == len(limit.table) - 1:
        below = limit.table[index - 1].up_to_bar_g if index else limit.table_above_bar_g
        return f"row above {decimal_text(below)} bar(g)"
    return f"row up to {decimal_text(limit.table[index].up_to_bar_g)} bar(g)"


def _from_margin(limit: Limit, lowest_c: float | None) -> Allowed:
    if limit.margin_c is None:
        raise QuantityError(f"limit {limit.key!r} is a dew point margin and states no margin.")
    if lowest_c is None:
        if limit.default_upper is not None:
            return Allowed(
                upper=limit.default_upper, how="default where the lowest temperature is not known"
            )
        return Allowed(
            open_reason=(
                "the limit depends on the lowest temperature that the air is taken to, which is "
                "not known; give it with --lowest-temperature, like --lowest-temperature '5 °C'. "
                "A temperature in the log is not taken for it."
            )
        )
    return Allowed(
        upper=Bound(_minus(lowest_c, limit.margin_c)),
        how=f"{decimal_text(limit.margin_c)} °C below {decimal_text(lowest_c)} °C",
    )


def _dew_point_text(limit: Limit) -> str:
    return limit.quantity.replace("_", " ") if limit.quantity in _DEW_POINTS else ""


def _range_text(lower: Bound | None, upper: Bound | None, unit: str) -> str:
    if lower and upper and lower.included and upper.included:
        return f"{decimal_text(lower.value)} to {decimal_text(upper.value)} {unit}"
    ends = []
    if lower:
        ends.append(f"{'≥' if lower.included else '>'} {decimal_text(lower.value)}")
    if upper:
        ends.append(f"{'≤' if upper.included else '<'} {decimal_text(upper.value)}")
    return f"{' and '.join(ends)} {unit}"


def limit_text(limit: Limit, allowed: Allowed | None = None) -> str:
    """Write a limit as it is shown.

    Parameters
    ----------
    limit : Limit
        The limit.
    allowed : Allowed, optional
        The range with the conditions filled in, from `resolve`; without it, or where it is open,
        a limit that depends on conditions is shown in its general form.

    Returns
    -------
    str
        Like '≤ 5 ppm', '20 to 22 %', '≤ 160 mg/m3 (row up to 10 bar(g))' or the wording.

    Examples
    --------
    >>> from lungwort.limits.load import limit_set
    >>> airline = limit_set("en12021-2014-airline")
    >>> limit_text(airline.limit("co")), limit_text(airline.limit("o2"))
    ('≤ 5 ppm', '20 to 22 %')
    >>> limit_text(airline.limit("water"))
    '≤ 50 to 290 mg/m3 by supply pressure'
    """
    if limit.kind == WORDING:
        return limit.wording
    filled = None if allowed is None or allowed.open_reason else allowed
    dew_point = _dew_point_text(limit)
    unit = f"{limit.unit} {dew_point}" if dew_point else limit.unit
    if limit.kind == PRESSURE_TABLE and filled is None:
        values = [row.upper.value for row in limit.table]
        sign = "≤" if all(row.upper.included for row in limit.table) else "<"
        ends = " to ".join(decimal_text(value) for value in sorted({min(values), max(values)}))
        text = f"{sign} {ends} {unit} by supply pressure"
    elif limit.kind == DEW_POINT_MARGIN and filled is None:
        text = f"{dew_point} {decimal_text(limit.margin_c or 0.0)} °C below the lowest temperature"
        if limit.default_upper is not None:
            default = _range_text(None, limit.default_upper, limit.unit)
            text += f", {default} where that is not known"
    else:
        source = filled or Allowed(lower=limit.lower, upper=limit.upper)
        text = _range_text(source.lower, source.upper, unit)
        if source.how:
            text += f" ({source.how})"
    return text if limit.averaging == ANY_READING else f"{text}, {limit.averaging} mean"


def row_texts(limit: Limit) -> tuple[tuple[str, str], ...]:
    """Write the rows of a pressure table as they are shown.

    Parameters
    ----------
    limit : Limit
        The limit.

    Returns
    -------
    tuple of (str, str)
        Pressure range [bar(g)] and bound [unit of the limit]; empty where there is no table.

    Examples
    --------
    >>> from lungwort.limits.load import limit_set
    >>> row_texts(limit_set("en12021-2014-charging").limit("water"))
    (('above 40 up to 200 bar(g)', '≤ 50 mg/m3'), ('above 200 bar(g)', '≤ 35 mg/m3'))
    """
    texts = []
    below = limit.table_above_bar_g
    for number, row in enumerate(limit.table, start=1):
        low, high = decimal_text(below), decimal_text(row.up_to_bar_g)
        if number == len(limit.table) and limit.last_row_serves_above:
            where = f"above {low} bar(g)"
        else:
            where = f"above {low} up to {high} bar(g)"
        texts.append((where, _range_text(None, row.upper, limit.unit)))
        below = row.up_to_bar_g
    return tuple(texts)


def check_own_copy(limit: Limit) -> str:
    """Say what to do where a limit was written down from memory.

    Parameters
    ----------
    limit : Limit
        The limit.

    Returns
    -------
    str
        'from memory: check against your own copy of the document', or empty for a limit that was
        seen in its source.
    """
    return OWN_COPY if limit.status == FROM_MEMORY else ""


def not_covered(limit_set: LimitSet) -> tuple[str, ...]:
    """Name what a set has no required limit for, though breathing air is judged by it.

    Parameters
    ----------
    limit_set : LimitSet
        The set.

    Returns
    -------
    tuple of str
        Names in running text, out of oxygen, carbon monoxide, carbon dioxide, oil, water and
        odour. A verdict by this set says nothing of them.
    """
    covered = {limit.analyte for limit in limit_set if limit.required and not limit.needs}
    return tuple(analytes.ANALYTES[key].name for key in CORE_ANALYTES if key not in covered)


def set_cautions(limit_set: LimitSet) -> tuple[str, ...]:
    """Say what to mind before acting on a limit set.

    Parameters
    ----------
    limit_set : LimitSet
        The set.

    Returns
    -------
    tuple of str
        Whole sentences.
    """
    cautions = []
    memory = sum(1 for limit in limit_set if limit.status == FROM_MEMORY)
    if memory:
        cautions.append(
            f"{memory} of {len(limit_set.limits)} limits are from memory: check them against "
            "your own copy of the document before anyone relies on them."
        )
    missing = not_covered(limit_set)
    if missing:
        cautions.append(
            f"This set has no required limit for {', '.join(missing)}: "
            "a verdict by it says nothing of them."
        )
    cautions.append(
        "The document itself, in the edition in force, and local law decide, "
        "and a competent person answers for the use made of them."
    )
    return tuple(cautions)
