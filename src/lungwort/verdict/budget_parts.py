"""The parts of an uncertainty budget, read from its tables: one function a kind."""

from __future__ import annotations

import math
import statistics
from typing import TYPE_CHECKING, Final

from lungwort.tomlfile import shown
from lungwort.verdict import budget as b
from lungwort.verdict.budget import Part

if TYPE_CHECKING:
    from collections.abc import Callable

    from lungwort.tomlfile import Table

_SMALLEST: Final = 1e-12
_LARGEST: Final = 1e9
_MOST_PERCENT: Final = 99.0
_ALWAYS: Final = ("name", "kind", "source")
_SPREAD: Final = ("shape", "degrees_of_freedom")
_DEFAULT_K: Final = 2.0
_LONGEST_MONTHS: Final = 600.0
EITHER: Final = "either"
DIRECTIONS: Final = (EITHER, "reads_low", "reads_high")
"""Which way a drift goes: unknown, or that the readings become too low or too high."""


def read_part(table: Table, unit: str) -> Part | None:
    """Read one ``[[budget.part]]``.

    Parameters
    ----------
    table : Table
        The table; mistakes are noted in it.
    unit : str
        Unit of the readings.

    Returns
    -------
    Part or None
        The part; None where it has a mistake.
    """
    before = len(table.mistakes.found)
    kind = table.choice("kind", tuple(b.KINDS), "")
    if "kind" not in table.values:
        table.wrong("kind", f"is missing. State one of: {', '.join(b.KINDS)}.")
    if not kind:
        return None
    read = _READERS[kind]
    try:
        made = read(table, unit)
    except ValueError:
        # A figure is missing or wrong, which is noted.
        made = None
    return made if len(table.mistakes.found) == before else None


def _needed(table: Table, key: str, unit: str, low: float = _SMALLEST) -> float:
    if key not in table.values:
        table.wrong(key, f"is missing. Write a number [{unit}].")
    found = table.number(key, low, _LARGEST, unit)
    if found is None:
        raise ValueError(key)
    return found


def _either(table: Table, key: str, unit: str) -> tuple[float, bool]:
    """Read a width in the unit, or as a share of the reading."""
    percent = f"{key}_percent"
    if (key in table.values) == (percent in table.values):
        table.wrong(key, f"write either {key!r} [{unit}] or {percent!r} [% of the reading].")
        raise ValueError(key)
    if key in table.values:
        return _needed(table, key, unit), False
    found = table.number(percent, _SMALLEST, _MOST_PERCENT, "% of the reading")
    if found is None:
        raise ValueError(key)
    return found / 100.0, True


def _made(
    table: Table,
    *,
    shape: str,
    scale: float,
    relative: bool = False,
    centre: float = 0.0,
    dof: float = math.inf,
    ratio: tuple[float, float] | None = None,
    per_month: bool = False,
    months: float | None = None,
) -> Part:
    kind = table.text("kind")
    return Part(
        name=table.name("name") if "name" in table.values else kind.replace("_", "-"),
        kind=kind,
        shape=shape,
        scale=scale,
        centre=centre,
        relative=relative,
        dof=dof,
        ratio=ratio,
        per_month=per_month,
        months=months,
        source=table.text("source"),
    )


def _dof(table: Table) -> float:
    found = table.number("degrees_of_freedom", 1.0, _LARGEST, "1")
    return math.inf if found is None else found


def _shape(table: Table, usual: str) -> str:
    return table.choice("shape", b.SHAPES, usual)


def _resolution(table: Table, unit: str) -> Part:
    table.known((*_ALWAYS, "step"))
    return _made(table, shape=b.RECTANGULAR, scale=_needed(table, "step", unit) / 2.0)


def _certified(table: Table, unit: str) -> Part:
    """Read a figure of a certificate: U and k (JCGM 100:2008, 4.3.3)."""
    table.known((*_ALWAYS, "expanded", "expanded_percent", "k", "degrees_of_freedom", "value"))
    expanded, relative = _either(table, "expanded", unit)
    k = table.number("k", 1.0, 15.0, "1") or _DEFAULT_K
    if "value" in table.values and not relative:
        # Of the gas itself; a reading is off by the same share.
        expanded, relative = expanded / _needed(table, "value", unit), True
        if expanded >= 1.0:
            table.wrong("expanded", "is as great as the value of the gas. Check both.")
    return _made(table, shape=b.NORMAL, scale=expanded / k, relative=relative, dof=_dof(table))


def _limit(table: Table, unit: str) -> Part:
    table.known((*_ALWAYS, *_SPREAD, "limit", "limit_percent"))
    scale, relative = _either(table, "limit", unit)
    return _made(
        table,
        shape=_shape(table, b.RECTANGULAR),
        scale=scale,
        relative=relative,
        dof=_dof(table),
    )


def _drift(table: Table, unit: str) -> Part:
    table.known((*_ALWAYS, *_SPREAD, "per_month", "per_month_percent", "months", "direction"))
    rate, relative = _either(table, "per_month", unit)
    months = table.number("months", 0.0, _LONGEST_MONTHS, "months")
    direction = table.choice("direction", DIRECTIONS, EITHER)
    if months is not None and relative and rate * months >= 1.0:
        table.wrong("months", "in this time the drift is as great as the reading. Calibrate first.")
    middle = {EITHER: 0.0, "reads_low": rate / 2.0, "reads_high": -rate / 2.0}[direction]
    return _made(
        table,
        shape=_shape(table, b.RECTANGULAR),
        scale=rate if direction == EITHER else rate / 2.0,
        centre=middle,
        relative=relative,
        dof=_dof(table),
        per_month=True,
        months=months,
    )


def _temperature(table: Table, unit: str) -> Part:
    table.known((*_ALWAYS, *_SPREAD, "per_k", "per_k_percent", "within_k"))
    return _times(table, unit, "per_k", "within_k", "K")


def _pressure(table: Table, unit: str) -> Part:
    partial = ("calibrated_kpa_a", "lowest_kpa_a", "highest_kpa_a")
    keys = ("per_kpa", "per_kpa_percent", "within_kpa")
    if not any(key in table.values for key in partial):
        table.known((*_ALWAYS, *_SPREAD, *keys, *partial))
        return _times(table, unit, "per_kpa", "within_kpa", "kPa")
    table.known((*_ALWAYS, *partial))
    at, low, high = (_needed(table, key, "kPa absolute", 1.0) for key in partial)
    if low > high:
        table.wrong("highest_kpa_a", f"found {high:g}, which is below the lowest, {low:g}.")
        raise ValueError
    return _made(table, shape=b.INVERSE, scale=0.0, relative=True, ratio=(low / at, high / at))


def _times(table: Table, unit: str, rate_key: str, within_key: str, per: str) -> Part:
    rate, relative = _either(table, rate_key, f"{unit}/{per}")
    scale = rate * _needed(table, within_key, per)
    if relative and scale >= 1.0:
        table.wrong(within_key, "over this the effect is as great as the reading. Check both.")
    return _made(
        table,
        shape=_shape(table, b.RECTANGULAR),
        scale=scale,
        relative=relative,
        dof=_dof(table),
    )


def _cross(table: Table, unit: str) -> Part:
    """Read what another gas adds to the reading: coefficient times its content."""
    table.known((*_ALWAYS, *_SPREAD, "interferent", "coefficient", "lowest", "highest"))
    coefficient = table.number("coefficient", -_LARGEST, _LARGEST, f"{unit} per unit of the gas")
    if coefficient is None or coefficient == 0.0:
        table.wrong(
            "coefficient",
            "state how much the reading moves with the gas; not zero, may be negative.",
        )
        raise ValueError
    low, high = (_needed(table, key, "unit of the gas", 0.0) for key in ("lowest", "highest"))
    if low > high:
        table.wrong("highest", f"found {high:g}, which is below the lowest, {low:g}.")
        raise ValueError
    return _made(
        table,
        shape=_shape(table, b.RECTANGULAR),
        scale=abs(coefficient) * (high - low) / 2.0,
        centre=-coefficient * (low + high) / 2.0,
        dof=_dof(table),
    )


def _repeatability(table: Table, unit: str) -> Part:
    """Read a type A part: repeated readings, or their standard deviation and number."""
    table.known((*_ALWAYS, "readings", "standard_deviation", "count", "mean_of"))
    mean_of = table.number("mean_of", 1.0, 1e6, "1") or 1.0
    if "readings" in table.values:
        values = numbers(table, "readings", least=2)
        spread, count = statistics.stdev(values), float(len(values))
        if spread == 0.0:
            table.wrong(
                "readings",
                "are all alike, which says nothing below the resolution. Give the standard "
                "deviation of a finer readout, or leave the part out with a reason.",
            )
    else:
        spread = _needed(table, "standard_deviation", unit)
        count = _needed(table, "count", "1", 2.0)
    return _made(table, shape=b.STUDENT, scale=spread / math.sqrt(mean_of), dof=count - 1.0)


def numbers(table: Table, key: str, *, least: int) -> tuple[float, ...]:
    """Read a list of numbers.

    Parameters
    ----------
    table : Table
        The table; mistakes are noted in it.
    key : str
        The key.
    least : int
        How many there must be [1].

    Returns
    -------
    tuple of float
        The numbers.

    Raises
    ------
    ValueError
        Where it is no such list, which is noted.
    """
    found = table.values.get(key)
    fit = isinstance(found, list) and len(found) >= least
    if not fit or not isinstance(found, list) or not all(_is_number(one) for one in found):
        table.wrong(
            key,
            f"found {'nothing' if found is None else shown(found)}, a list of {least} or more "
            "numbers is needed, like [0, 5.2].",
        )
        raise ValueError(key)
    return tuple(float(one) for one in found)


def _is_number(value: object) -> bool:
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and math.isfinite(value)
        and abs(value) <= _LARGEST
    )


def _bias(table: Table, unit: str) -> Part:
    """Read by how much the readings are known to be too high."""
    table.known((*_ALWAYS, "reads_high_by", "corrected", "expanded", "k", "degrees_of_freedom"))
    if "reads_high_by" not in table.values:
        table.wrong("reads_high_by", f"is missing. Write a number [{unit}]; negative if too low.")
    bias = table.number("reads_high_by", -_LARGEST, _LARGEST, unit)
    expanded = _needed(table, "expanded", unit)
    if bias is None:
        raise ValueError
    return _made(
        table,
        shape=b.NORMAL,
        scale=expanded / (table.number("k", 1.0, 15.0, "1") or _DEFAULT_K),
        centre=0.0 if table.flag("corrected") else -bias,
        dof=_dof(table),
    )


_READERS: Final[dict[str, Callable[[Table, str], Part]]] = {
    b.RESOLUTION: _resolution,
    b.GAS: _certified,
    b.LINEARITY: _limit,
    b.ZERO: _limit,
    b.DRIFT: _drift,
    b.TEMPERATURE: _temperature,
    b.PRESSURE: _pressure,
    b.CROSS: _cross,
    b.REPEATABILITY: _repeatability,
    b.BIAS: _bias,
    b.OTHER: _limit,
}
