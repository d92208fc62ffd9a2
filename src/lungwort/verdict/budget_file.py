"""Uncertainty budgets as files: reading them, and writing what comes out for the decision rules."""

from __future__ import annotations

import itertools
import math
from importlib import resources
from typing import TYPE_CHECKING, Final

from lungwort.air import analytes, units
from lungwort.errors import BudgetError, QuantityError
from lungwort.tomlfile import Table, near, opened
from lungwort.verdict import budget as b
from lungwort.verdict.budget import Budget
from lungwort.verdict.budget_parts import numbers, read_part

if TYPE_CHECKING:
    from lungwort.verdict.budget import Part

KEYS_TOP: Final = ("format", "budget")
_KEYS: Final = (
    "name",
    "analyte",
    "quantity",
    "unit",
    "at",
    "used_for",
    "sensor",
    "instrument",
    "note",
    "part",
    "left_out",
    "correlation",
)
_USES: Final = ("log", "hand test")
EXAMPLES: Final = ("co", "o2")
_MOST_READINGS: Final = 20


def example_text(name: str) -> str:
    """Give an example of a budget file, of our own invention.

    Parameters
    ----------
    name : str
        One of `EXAMPLES`.

    Returns
    -------
    str
        TOML.

    Raises
    ------
    BudgetError
        Where there is none of that name.
    """
    if name not in EXAMPLES:
        raise BudgetError(
            f"there is no example {name!r}.{near(name, EXAMPLES)} There are: {', '.join(EXAMPLES)}."
        )
    place = resources.files("lungwort.verdict") / "budgets" / f"{name}.toml"
    return place.read_text(encoding="utf-8")


def read_budgets(text: str, name: str) -> tuple[Budget, ...]:
    """Read a file of uncertainty budgets.

    Parameters
    ----------
    text : str
        The file, TOML.
    name : str
        Its name, for messages.

    Returns
    -------
    tuple of Budget
        The budgets, in the order of the file.

    Raises
    ------
    BudgetError
        Where it has mistakes; all are told, with their lines.
    """
    return budgets_of(opened(text, name, KEYS_TOP, BudgetError))


def budgets_of(top: Table) -> tuple[Budget, ...]:
    """Read the budgets of a file that is open.

    Parameters
    ----------
    top : Table
        Its top.

    Returns
    -------
    tuple of Budget
        The budgets.

    Raises
    ------
    BudgetError
        Where it has mistakes.
    """
    tables = top.tables("budget")
    if not tables:
        top.wrong("budget", "is missing. Write at least one table [[budget]].")
    made = [_budget(values, top) for values in tables]
    names = [one.get("name") for one in tables]
    for one in {str(name) for name in names if names.count(name) > 1}:
        top.wrong("budget", f"the name {one!r} stands twice. Give each budget its own.")
    top.mistakes.raise_any()
    return tuple(one for one in made if one is not None)


def _budget(values: object, top: Table) -> Budget | None:
    fields = values if isinstance(values, dict) else {}
    name = str(fields.get("name", ""))
    table = Table(fields, (name,) if name else (), f"[[budget]] {name!r}", top.mistakes)
    table.known(_KEYS)
    name = table.name("name")
    analyte = table.text("analyte", required=True)
    if analyte and analyte not in analytes.ANALYTES:
        table.wrong("analyte", f"{analyte!r} is not known.{near(analyte, analytes.ANALYTES)}")
        analyte = ""
    unit, quantity = _unit(table)
    parts = _parts(table, unit)
    made = Budget(
        name=name,
        analyte=analyte,
        quantity=quantity,
        unit=unit,
        at=_at(table),
        parts=parts,
        left_out=_left_out(table, parts),
        correlations=_correlations(table, parts),
        used_for=table.choice("used_for", _USES, _USES[0]),
        sensor=table.text("sensor") or f"{analyte} sensor",
        instrument=table.text("instrument"),
        note=table.text("note"),
    )
    if not table.mistakes.found:
        try:
            b.correlation_matrix(made)
        except BudgetError as refused:
            table.wrong("correlation", str(refused))
    return made


def _unit(table: Table) -> tuple[str, str]:
    written = table.text("unit", required=True)
    quantity = table.text("quantity")
    if not written:
        return "", quantity
    try:
        unit = units.unit(written).name
        found = analytes.quantity_of_unit(unit)
    except QuantityError as refused:
        table.wrong("unit", str(refused))
        return "", quantity
    known = {*analytes.QUANTITY_UNIT, analytes.VOLUME_FRACTION} - {analytes.WORDING}
    if not quantity and found == analytes.TEMPERATURE and table.text("analyte") == "water":
        table.wrong(
            "quantity",
            f"is missing: write '{analytes.PRESSURE_DEW_POINT}' or "
            f"'{analytes.ATMOSPHERIC_DEW_POINT}'.",
        )
    if quantity and quantity not in known:
        table.wrong("quantity", f"{quantity!r} is not known.{near(quantity, known)}")
    elif quantity:
        kept = "ppm" if quantity == analytes.VOLUME_FRACTION else analytes.QUANTITY_UNIT[quantity]
        if units.unit(kept).dimension != units.unit(unit).dimension:
            table.wrong("unit", f"{unit!r} is not a unit of {quantity}. Use one like {kept!r}.")
    return unit, quantity or found


def _at(table: Table) -> tuple[float, ...]:
    try:
        found = numbers(table, "at", least=1)
    except ValueError:
        return (0.0,)
    if len(found) > _MOST_READINGS or any(
        later <= before for before, later in itertools.pairwise(found)
    ):
        table.wrong(
            "at",
            f"state up to {_MOST_READINGS} readings, each above the one before, like [0, 2.5, 5].",
        )
    return found


def _parts(table: Table, unit: str) -> tuple[Part, ...]:
    made: list[Part] = []
    for number, values in enumerate(table.tables("part"), start=1):
        named = str(values.get("name") or "")
        inner = Table(
            values,
            (*table.names, named) if named else table.names,
            f"{table.where}, [[budget.part]] {named!r}"
            if named
            else f"{table.where}, part {number}",
            table.mistakes,
        )
        one = read_part(inner, unit)
        if one is not None:
            made.append(one)
    names = [one.name for one in made]
    for name in {one for one in names if names.count(one) > 1}:
        table.wrong("part", f"the name {name!r} stands twice. Give each part a 'name' of its own.")
    if not made and "part" not in table.values:
        table.wrong("part", "is missing. Write at least one table [[budget.part]].")
    return tuple(made)


def _left_out(table: Table, parts: tuple[Part, ...]) -> tuple[tuple[str, str], ...]:
    values = table.values.get("left_out", {})
    if not isinstance(values, dict):
        table.wrong("left_out", 'write it as a table: [budget.left_out], then drift = "why".')
        return ()
    inner = Table(values, table.names, f"{table.where}, [budget.left_out]", table.mistakes)
    inner.known(tuple(b.NEEDED))
    there = {one.kind for one in parts}
    for kind in there & set(values):
        inner.wrong(kind, "is left out here, but there is a part of this kind. Take one away.")
    return tuple((kind, inner.text(kind, required=True)) for kind in values if kind in b.NEEDED)


def _correlations(table: Table, parts: tuple[Part, ...]) -> tuple[tuple[str, str, float], ...]:
    names = [one.name for one in parts]
    made = []
    pair_of = 2
    for number, values in enumerate(table.tables("correlation"), start=1):
        inner = Table(values, table.names, f"{table.where}, correlation {number}", table.mistakes)
        inner.known(("between", "coefficient"))
        pair = inner.texts("between")
        size = inner.number("coefficient", -1.0, 1.0, "1")
        if len(set(pair)) != pair_of or len(pair) != pair_of or not set(pair) <= set(names):
            inner.wrong("between", f"name two different parts of: {', '.join(names)}.")
        elif size is None:
            if "coefficient" not in values:
                inner.wrong("coefficient", "is missing. Write a number from -1 to 1.")
        else:
            made.append((pair[0], pair[1], size))
    return tuple(made)


def not_below_zero(budget: Budget) -> bool:
    """Tell whether a true value below zero is impossible.

    Parameters
    ----------
    budget : Budget
        The budget.

    Returns
    -------
    bool
        True for contents, humidity and the like; False for temperatures and gauge pressures.
    """
    return units.unit(budget.unit).dimension not in {
        units.TEMPERATURE,
        units.PRESSURE,
        units.PRESSURE_UNSTATED,
    }


def finite(value: float) -> float | None:
    """Give a number for a machine; None for one without end (as JSON has none)."""
    return value if math.isfinite(value) else None
