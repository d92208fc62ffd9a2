"""An uncertainty budget that was typed into a form, in place of a file."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from lungwort.air import units
from lungwort.errors import BudgetError
from lungwort.tomlfile import Mistakes, Table
from lungwort.verdict import budget as b
from lungwort.verdict.budget_file import budgets_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lungwort.verdict.budget import Budget

NAME: Final = "form"
_ONE: Final[dict[str, tuple[str, str]]] = {
    "resolution": (b.RESOLUTION, "step"),
    "gas_percent": (b.GAS, "expanded_percent"),
    "linearity": (b.LINEARITY, "limit"),
    "zero": (b.ZERO, "limit"),
    "drift_percent": (b.DRIFT, "per_month_percent"),
    "temperature_percent": (b.TEMPERATURE, "per_k_percent"),
    "pressure_percent": (b.PRESSURE, "per_kpa_percent"),
    "cross_highest": (b.CROSS, "highest"),
    "repeatability": (b.REPEATABILITY, "standard_deviation"),
}
"""Fields that make a part, with its kind and key."""
_BESIDE: Final[dict[str, tuple[str, str]]] = {
    "gas_k": (b.GAS, "k"),
    "months": (b.DRIFT, "months"),
    "within_k": (b.TEMPERATURE, "within_k"),
    "within_kpa": (b.PRESSURE, "within_kpa"),
    "repeats": (b.REPEATABILITY, "count"),
}
NUMBERS: Final = (*_ONE, *_BESIDE)


def option(name: str) -> str:
    """Give the name by which messages call a field."""
    return f"--{name.replace('_', '-')}"


def budget_of(values: Mapping[str, str]) -> Budget:
    """Make a budget of what was typed.

    Parameters
    ----------
    values : mapping of str to str
        Fields with something in them, by name. A zero says that there is no such effect.

    Returns
    -------
    Budget
        The budget; parts that were not filled in are missing from it.

    Raises
    ------
    BudgetError
        Where something typed cannot be used; the message names the field.
    """
    figures = {name: _number(values, name) for name in NUMBERS if name in values}
    parts: dict[str, dict[str, Any]] = {}
    left_out = {}
    for name, (kind, key) in _ONE.items():
        if name not in figures:
            continue
        if figures[name] == 0:
            left_out[kind] = "entered as zero"
            continue
        parts[kind] = {"kind": kind, key: figures[name], "source": "entered"}
    for name, (kind, key) in _BESIDE.items():
        if name in figures and kind in parts:
            parts[kind][key] = figures[name]
    if b.CROSS in parts:
        parts[b.CROSS] |= {"coefficient": 1.0, "lowest": 0.0}
    _complete(parts, left_out)
    fields: dict[str, Any] = {
        "name": NAME,
        "analyte": values.get("analyte", ""),
        "unit": values.get("unit", ""),
        "at": readings_of(values.get("at", "")),
        "quantity": values.get("quantity", ""),
        "sensor": values.get("sensor", ""),
        "instrument": values.get("instrument", ""),
        "used_for": values.get("used_for", "log"),
        "part": list(parts.values()),
    }
    if left_out:
        fields["left_out"] = left_out
    top = Table({"budget": [fields]}, (), "", Mistakes("What was typed", error=BudgetError))
    return budgets_of(top)[0]


def _complete(parts: dict[str, dict[str, Any]], left_out: dict[str, str]) -> None:
    """Ask for what a part needs beside; nothing within which it varies is no effect."""
    needs = {
        b.TEMPERATURE: ("within_k", "within_k", "how far the temperature may be off"),
        b.PRESSURE: ("within_kpa", "within_kpa", "how far the pressure may be off"),
        b.REPEATABILITY: ("count", "repeats", "how many readings it comes from"),
    }
    for kind, (key, field, what) in needs.items():
        if kind not in parts:
            continue
        if key not in parts[kind]:
            raise BudgetError(f"{option(field)} is missing: state {what}.")
        if parts[kind][key] == 0:
            del parts[kind]
            left_out[kind] = "entered as zero"


def readings_of(text: str) -> list[float]:
    """Read the readings at which a budget is worked out.

    Parameters
    ----------
    text : str
        Numbers with blanks or semicolons between them.

    Returns
    -------
    list of float
        The readings, rising.

    Raises
    ------
    BudgetError
        Where one of them is no number, or there is none.
    """
    found = []
    for word in text.replace(";", " ").split():
        if units.may_be_thousands(word.strip(",")):
            raise BudgetError(
                f"--at: {word!r} can be {word.strip(',').replace(',', '')} or "
                f"{word.strip(',').replace(',', '.')}. Write one of the two."
            )
        try:
            value = float(word.strip(",").replace(",", "."))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise BudgetError(
                f"--at: {word!r} is no number. Write the readings with blanks between them, like "
                "'0 2.5 5'."
            )
        found.append(value)
    if not found:
        raise BudgetError(
            "--at is missing: write the readings at which U is wanted, like '0 2.5 5'."
        )
    return sorted(set(found))


def _number(values: Mapping[str, str], name: str) -> float:
    text = values[name]
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value >= 0):
        raise BudgetError(
            f"{option(name)} {text!r} is no number of zero or more. Write it like 0.5; write 0 "
            "where there is no such effect."
        )
    return value
