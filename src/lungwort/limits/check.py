"""From the tables of a TOML text to limits, with every mistake told and its line.

The checks do not stop at the first mistake: whoever writes a set sees all of them at once.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Final

from lungwort.air import analytes, units
from lungwort.air.analytes import ANALYTES
from lungwort.errors import QuantityError
from lungwort.limits.entries import Mistakes, Table, near, shown
from lungwort.limits.locate import TOP, Places
from lungwort.limits.model import (
    ANY_READING,
    CONFIRMED,
    DEW_POINT_MARGIN,
    FROM_MEMORY,
    PRESSURE_TABLE,
    RANGE,
    WORDING,
    Bound,
    Limit,
    PressureRow,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

STATUSES: Final = (CONFIRMED, FROM_MEMORY)
AVERAGINGS: Final = (ANY_READING, "10 min", "15 min", "8 h")
LOWEST_TEMPERATURE: Final = "lowest temperature"
MAX_PRESSURE_BAR_G: Final = 1000
MAX_MARGIN_C: Final = 50

LIMIT_KEYS: Final = (
    "key",
    "analyte",
    "quantity",
    "unit",
    "lower",
    "upper",
    "rows",
    "table_above_bar_g",
    "last_row_serves_above",
    "margin_c",
    "default_upper",
    "wording",
    "averaging",
    "required",
    "needs",
    "clause",
    "source",
    "status",
    "remark",
)
_KIND_OF_KEY: Final = {
    "lower": RANGE,
    "upper": RANGE,
    "rows": PRESSURE_TABLE,
    "table_above_bar_g": PRESSURE_TABLE,
    "last_row_serves_above": PRESSURE_TABLE,
    "margin_c": DEW_POINT_MARGIN,
    "default_upper": DEW_POINT_MARGIN,
    "wording": WORDING,
}
_KIND_NEEDS: Final = {
    RANGE: ("lower", "upper"),
    PRESSURE_TABLE: ("rows",),
    DEW_POINT_MARGIN: ("margin_c",),
    WORDING: ("wording",),
}

_GAS: Final = (analytes.VOLUME_FRACTION, analytes.MASS_CONCENTRATION)
_QUANTITIES: Final[dict[str, tuple[str, ...]]] = {
    "oil": (analytes.MASS_CONCENTRATION,),
    "particles": (analytes.MASS_CONCENTRATION,),
    "oil_and_particles": (analytes.MASS_CONCENTRATION,),
    "water": (
        analytes.MASS_CONCENTRATION,
        analytes.VOLUME_FRACTION,
        analytes.ATMOSPHERIC_DEW_POINT,
        analytes.PRESSURE_DEW_POINT,
        analytes.HUMIDITY_RATIO,
        analytes.RELATIVE_HUMIDITY,
    ),
    "liquid_water": (analytes.WORDING, analytes.MASS_CONCENTRATION),
    "odour": (analytes.WORDING,),
    "relative_humidity": (analytes.RELATIVE_HUMIDITY,),
    "temperature": (analytes.TEMPERATURE,),
    "pressure": (analytes.PRESSURE,),
    "flow": (analytes.FLOW,),
}
_PLAUSIBLE: Final[dict[str, tuple[float, float, str]]] = {
    analytes.VOLUME_FRACTION: (0.0, 1e6, "ppm"),
    analytes.MASS_CONCENTRATION: (0.0, 1e6, "mg/m3"),
    analytes.ATMOSPHERIC_DEW_POINT: (-120.0, 60.0, "°C"),
    analytes.PRESSURE_DEW_POINT: (-120.0, 60.0, "°C"),
    analytes.HUMIDITY_RATIO: (0.0, 1e3, "g/kg"),
    analytes.RELATIVE_HUMIDITY: (0.0, 100.0, "%RH"),
    analytes.TEMPERATURE: (-90.0, 100.0, "°C"),
    analytes.PRESSURE: (-1.0, 1e3, "bar(g)"),
    analytes.FLOW: (0.0, 1e6, "L/min"),
}
_DEW_POINTS: Final = (analytes.ATMOSPHERIC_DEW_POINT, analytes.PRESSURE_DEW_POINT)
_TEMPERATURES: Final = (*_DEW_POINTS, analytes.TEMPERATURE)
_QUANTITY_NAMES: Final = tuple(sorted((*analytes.QUANTITY_UNIT, analytes.VOLUME_FRACTION)))


def read_limits(
    data: Mapping[str, object], places: Places, mistakes: Mistakes
) -> tuple[tuple[Limit, ...], dict[str, int | None]]:
    """Read the limits of a set.

    Parameters
    ----------
    data : mapping
        The whole file as tomllib read it, with decimals for floats.
    places : Places
        Lines of the parts.
    mistakes : Mistakes
        Where mistakes are noted.

    Returns
    -------
    tuple
        The limits without mistakes, and the line of each key.
    """
    top = Table(data, "", lambda key: places.key(TOP, key), mistakes)
    default_status = top.choice("status", STATUSES, "")
    default_source = top.text("source")
    blocks = data.get("limit", [])
    if not isinstance(blocks, list) or not all(isinstance(block, dict) for block in blocks):
        top.wrong("limit", "each limit begins with a line [[limit]], in double brackets.")
        return (), {}
    limits: list[Limit] = []
    lines: dict[str, int | None] = {}
    for number, block in enumerate(blocks):
        name = block.get("key")
        where = f"limit {name!r}" if isinstance(name, str) else f"limit {number + 1}"
        table = Table(block, where, partial(places.key, number), mistakes)
        before = len(mistakes.found)
        limit = _read_limit(table, partial(places.row, number), default_status, default_source)
        if limit.key in lines:
            first = lines[limit.key]
            table.wrong(
                "key", f"{limit.key!r} stands already" + (f" at line {first}." if first else ".")
            )
        if limit.key:
            lines.setdefault(limit.key, places.limit(number))
        if len(mistakes.found) == before:
            limits.append(limit)
    return tuple(limits), lines


def _read_limit(
    table: Table,
    row_line: Callable[[int], int | None],
    default_status: str,
    default_source: str,
) -> Limit:
    table.known(LIMIT_KEYS)
    key = table.name("key")
    kind = _read_kind(table)
    analyte = _read_analyte(table)
    quantity, unit = _read_quantity(table, analyte, kind)
    lower, upper = table.bound("lower", ">"), table.bound("upper", "<")
    default_upper = table.bound("default_upper", "<")
    for name, bound in (("lower", lower), ("upper", upper), ("default_upper", default_upper)):
        _check_plausible(table, name, bound, quantity, unit)
    _check_order(table, lower, upper)
    rows = _read_rows(table, row_line, quantity, unit)
    above = table.number("table_above_bar_g", 0, MAX_PRESSURE_BAR_G, "bar(g)") or 0.0
    if rows and rows[0].up_to_bar_g <= above:
        table.wrong("table_above_bar_g", "the first row must serve a pressure above this one.")
    margin = table.number("margin_c", 0, MAX_MARGIN_C, "°C")
    needs = table.choice("needs", (LOWEST_TEMPERATURE,), "")
    if needs and (kind != DEW_POINT_MARGIN or default_upper is not None):
        table.wrong("needs", "only a limit with margin_c and without default_upper can need this.")
    source = table.text("source") or default_source
    if not source:
        table.wrong(
            "source",
            "is missing. State where the numbers come from, here or once for the whole set.",
        )
    status = table.choice("status", STATUSES, default_status)
    if not status and "status" not in table.values:
        table.wrong(
            "status",
            "is missing. State 'confirmed' (seen in the source) or 'from memory', here or once "
            "for the whole set.",
        )
    return Limit(
        key=key,
        analyte=analyte,
        quantity=quantity,
        unit=unit,
        kind=kind,
        lower=lower,
        upper=upper,
        table=rows,
        table_above_bar_g=above,
        margin_c=margin,
        wording=table.text("wording", required=kind == WORDING),
        averaging=table.choice("averaging", AVERAGINGS, ANY_READING),
        required=table.flag("required", default=True),
        needs=needs,
        clause=table.text("clause"),
        source=source,
        status=status,
        remark=table.text("remark"),
        last_row_serves_above=table.flag("last_row_serves_above", default=False),
        default_upper=default_upper,
    )


def _read_kind(table: Table) -> str:
    kinds = {_KIND_OF_KEY[key]: key for key in table.values if key in _KIND_OF_KEY}
    if len(kinds) > 1:
        keys = " and ".join(repr(key) for key in kinds.values())
        table.wrong(
            next(iter(kinds.values())), f"{keys} stand in one limit. Make two limits of them."
        )
    kind = next(iter(kinds), "")
    needed = _KIND_NEEDS.get(kind, ("lower", "upper", "rows", "margin_c", "wording"))
    if not any(key in table.values for key in needed):
        table.wrong(
            "key" if not kind else kinds[kind],
            f"the limit says nothing that is allowed. Give one of: {', '.join(needed)}.",
        )
    return kind


def _read_analyte(table: Table) -> str:
    analyte = table.text("analyte", required=True)
    if not analyte or analyte in ANALYTES:
        return analyte
    by_name = {known.name: known.key for known in ANALYTES.values()}
    if analyte.lower() in by_name:
        hint = f" Its key is {by_name[analyte.lower()]!r}."
    else:
        hint = near(analyte, ANALYTES) or f" Known analytes: {', '.join(ANALYTES)}."
    table.wrong("analyte", f"{shown(analyte)} is not known.{hint}")
    return ""


def _read_quantity(table: Table, analyte: str, kind: str) -> tuple[str, str]:
    """Read quantity and unit, and hold them against the analyte."""
    allowed = _QUANTITIES.get(analyte, _GAS) if analyte else _QUANTITY_NAMES
    quantity = table.text("quantity")
    if quantity and quantity not in _QUANTITY_NAMES:
        table.wrong(
            "quantity",
            f"{shown(quantity)} is not known.{near(quantity, _QUANTITY_NAMES)} "
            f"Known quantities: {', '.join(_QUANTITY_NAMES)}.",
        )
        quantity = ""
    if kind == WORDING:
        _check_wording(table, analyte, quantity, allowed)
        return analytes.WORDING, ""
    unit = _read_unit(table)
    if not unit:
        return quantity, ""
    measured = analytes.quantity_of_unit(unit)
    if not quantity and measured == analytes.TEMPERATURE and analyte == "water":
        table.wrong(
            "quantity",
            "is missing. State 'atmospheric_dew_point' or 'pressure_dew_point': "
            "they differ by tens of degrees.",
        )
        return "", unit
    quantity = quantity or measured
    fits = _TEMPERATURES if measured == analytes.TEMPERATURE else (measured,)
    if quantity not in fits:
        table.wrong(
            "unit",
            f"{unit!r} measures a {units.UNITS[unit].dimension}, "
            f"not a {quantity.replace('_', ' ')}.",
        )
    elif quantity not in allowed:
        table.wrong(
            "quantity" if "quantity" in table.values else "unit",
            f"{analyte} is not limited as {quantity.replace('_', ' ')}; "
            f"allowed are {', '.join(name.replace('_', ' ') for name in allowed)}.",
        )
    elif kind == DEW_POINT_MARGIN and (quantity not in _DEW_POINTS or unit != "°C"):
        table.wrong(
            "margin_c",
            "a margin needs quantity 'atmospheric_dew_point' or 'pressure_dew_point' "
            "and unit '°C'.",
        )
    return quantity, unit


def _read_unit(table: Table) -> str:
    given = table.text("unit", required=True)
    if not given:
        return ""
    unit = units.unit_name(given)
    if unit is None:
        hint = near(given, units.UNITS) or f" Known units: {', '.join(units.UNITS)}."
        table.wrong("unit", f"{shown(given)} is not known.{hint}")
        return ""
    if units.UNITS[unit].dimension == units.PRESSURE_UNSTATED:
        table.wrong(
            "unit", f"{shown(given)} does not say gauge or absolute. Write {unit}(g) or {unit}(a)."
        )
        return ""
    return unit


def _check_wording(table: Table, analyte: str, quantity: str, allowed: tuple[str, ...]) -> None:
    if analyte and analytes.WORDING not in allowed:
        table.wrong("wording", f"{analyte} is limited by numbers, not in words.")
    if quantity not in {"", analytes.WORDING}:
        table.wrong("quantity", f"found {shown(quantity)} with a wording. Leave it out.")
    if "unit" in table.values:
        table.wrong("unit", "a wording has no unit. Leave it out.")


def _check_plausible(table: Table, key: str, bound: Bound | None, quantity: str, unit: str) -> None:
    if bound is None or quantity not in _PLAUSIBLE or not unit:
        return
    low, high, base = _PLAUSIBLE[quantity]
    try:
        value = units.scale(bound.value, unit, base)
    except QuantityError:
        return  # the unit was already told to be of another dimension
    if not low <= value <= high:
        table.wrong(
            key,
            f"{bound.value:g} {unit} cannot be: a {quantity.replace('_', ' ')} lies between "
            f"{low:g} and {high:g} {base}.",
        )


def _check_order(table: Table, lower: Bound | None, upper: Bound | None) -> None:
    if lower is None or upper is None:
        return
    if lower.value > upper.value:
        table.wrong("lower", f"{lower.value:g} is above the upper bound {upper.value:g}.")
    elif lower.value == upper.value and not (lower.included and upper.included):
        table.wrong("lower", f"with both bounds at {upper.value:g} nothing at all is allowed.")


def _same_line(line: int | None, _key: str) -> int | None:
    return line


def _read_rows(
    table: Table, row_line: Callable[[int], int | None], quantity: str, unit: str
) -> tuple[PressureRow, ...]:
    if "rows" not in table.values:
        return ()
    value = table.values["rows"]
    example = '{ up_to_bar_g = 10, upper = "<= 160" }'
    if not isinstance(value, list) or not value or not all(isinstance(r, dict) for r in value):
        table.wrong("rows", f"found {shown(value)}, a list of rows is needed, each like {example}.")
        return ()
    rows: list[PressureRow] = []
    for number, content in enumerate(value):
        line = row_line(number)
        row = Table(
            content, f"{table.where}, row {number + 1}", partial(_same_line, line), table.mistakes
        )
        row.known(("up_to_bar_g", "upper"))
        pressure = row.number("up_to_bar_g", 0, MAX_PRESSURE_BAR_G, "bar(g)")
        upper = row.bound("upper", "<")
        _check_plausible(row, "upper", upper, quantity, unit)
        for key in ("up_to_bar_g", "upper"):
            if key not in content:
                row.wrong(key, f"is missing. A row is written like {example}.")
        if pressure is None or upper is None:
            continue
        if rows and pressure <= rows[-1].up_to_bar_g:
            row.wrong(
                "up_to_bar_g",
                f"{pressure:g} does not rise above the row before, {rows[-1].up_to_bar_g:g}.",
            )
        rows.append(PressureRow(pressure, upper))
    return tuple(rows)
