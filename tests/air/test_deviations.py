"""The largest deviations that docs/explanation/moisture.md states, worked out again."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAProps_Aux, HAPropsSI
from iapws._iapws import _Sublimation_Pressure

from lungwort.air import curve, enhancement, saturation
from lungwort.air.moisture import convert_water

if TYPE_CHECKING:
    from collections.abc import Callable

PAGE = Path(__file__).parents[2] / "docs" / "explanation" / "moisture.md"
PRESSURES_KPA = (20.0, 101.325, 500.0, 801.325, 2000.0, 4100.0, 10_000.0)


def water_against_coolprop() -> float:
    """Relative, in %."""
    grid = np.linspace(0.02, 100.0, 400)
    reference = PropsSI("P", "T", grid + 273.15, "Q", 0, "Water")
    return float(np.max(np.abs(saturation.saturation_pressure_water(grid) / reference - 1))) * 100


def ice_against_iapws() -> float:
    """Relative, in %."""
    grid = np.linspace(-223.0, 0.0, 224)
    reference = np.array([_Sublimation_Pressure(float(t) + 273.15) * 1e6 for t in grid])
    return float(np.max(np.abs(saturation.saturation_pressure_ice(grid) / reference - 1))) * 100


def ice_against_psychrolib() -> float:
    """Relative, in %."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    grid = np.linspace(-60.0, -0.5, 120)
    reference = np.array([psychrolib.GetSatVapPres(float(t)) for t in grid])
    return float(np.max(np.abs(saturation.saturation_pressure_ice(grid) / reference - 1))) * 100


def factor_against_coolprop() -> float:
    """Relative, in %."""
    worst = 0.0
    for pressure_kpa in PRESSURES_KPA:
        for t in (*np.arange(-100.0, 0.0, 5.0), *np.arange(0.5, 95.6, 5.0)):
            point = float(t)
            if point > 0 and saturation.saturation_pressure_water(point) > 950 * pressure_kpa:
                continue
            phase = "ice" if point < 0 else "water"
            reference = HAProps_Aux("f", point + 273.15, pressure_kpa * 1000, 0)[0]
            found = float(enhancement.enhancement_factor(point, pressure_kpa, phase))
            worst = max(worst, abs(found / reference - 1))
    return worst * 100


def factor_against_greenspan(phase: str) -> float:
    """Relative, in %; coefficients as in the test of the enhancement factor."""
    a, b = {
        "ice": (
            (3.64449e-4, 2.9367585e-5, 4.8874766e-7, 4.3669918e-9),
            (-10.7271, 7.6215115e-2, -1.7490155e-4, 2.4668279e-6),
        ),
        "water": (
            (3.53624e-4, 2.9328363e-5, 2.6168979e-7, 8.5813609e-9),
            (-10.7588, 6.3268134e-2, -2.5368934e-4, 6.3405286e-7),
        ),
    }[phase]
    worst = 0.0
    for pressure_kpa in (101.325, 801.325, 2000.0):
        for t in np.linspace(-60.0, 0.0, 61) if phase == "ice" else np.linspace(0.01, 60.0, 61):
            point = float(t)
            ratio = saturation.saturation_pressure(point, phase) / 1000 / pressure_kpa
            alpha = sum(x * point**i for i, x in enumerate(a))
            beta = math.exp(sum(x * point**i for i, x in enumerate(b)))
            reference = math.exp(alpha * (1 - ratio) + beta * (1 / ratio - 1))
            found = float(enhancement.enhancement_factor(point, pressure_kpa, phase))
            worst = max(worst, abs(found / reference - 1))
    return worst * 100


def dew_point_against_coolprop() -> float:
    """Absolute, in °C."""
    worst = 0.0
    for pressure_kpa in PRESSURES_KPA[1:]:
        for t in (*np.arange(-90.0, -2.0, 8.0), *np.arange(1.0, 61.0, 6.0)):
            point = float(t)
            ratio = HAPropsSI("W", "T", 353.15, "P", pressure_kpa * 1000, "D", point + 273.15)
            found = convert_water(
                ratio * 1000,
                "humidity_ratio",
                "pressure_dew_point",
                pressure_bar_g=(pressure_kpa - 101.325) / 100,
            )
            worst = max(worst, abs(float(found.value) - point))
    return worst


def curve_against_formulas() -> float:
    """Absolute, in °C: from the formulas to the content and by the curve back."""
    worst = 0.0
    for pressure_kpa in (10.0, 101.325, 801.325, 4100.0, 10_000.0, 20_000.0, 35_000.0):
        one = curve.saturation_curve(pressure_kpa)
        for phase, ends in (("ice", (one.lowest_c, -5.1)), ("water", (0.02, one.highest_c))):
            grid = np.random.default_rng(1).uniform(*ends, 2000)
            if pressure_kpa <= enhancement.PRESSURE_RANGE_KPA[1]:
                factor = enhancement.enhancement_factor(grid, pressure_kpa, phase)
            else:
                factor = enhancement.estimated_enhancement_factor(grid, pressure_kpa, phase).best
            content = factor * saturation.saturation_pressure(grid, phase) / (pressure_kpa * 1000)
            back = one.temperature(np.asarray(content))
            worst = max(worst, float(np.max(np.abs(back - grid))))
    return worst


def estimate_against_checked() -> float:
    """Relative, in %."""
    worst = 0.0
    for phase, grid in (("ice", np.linspace(-50.0, 0.0, 51)), ("water", np.linspace(0.02, 50, 51))):
        checked = np.asarray(enhancement.enhancement_factor(grid, 10_000.0, phase))
        estimate = enhancement.estimated_enhancement_factor(grid, 10_000.0, phase)
        worst = max(worst, float(np.max(np.abs(np.asarray(estimate.best) / checked - 1))))
    return worst * 100


ROWS: dict[tuple[str, str], Callable[[], float]] = {
    ("saturation pressure over water", "CoolProp (IAPWS-95)"): water_against_coolprop,
    ("saturation pressure over ice", "iapws (R14-08)"): ice_against_iapws,
    ("saturation pressure over ice", "psychrolib (ASHRAE)"): ice_against_psychrolib,
    ("enhancement factor", "CoolProp, humid air"): factor_against_coolprop,
    ("enhancement factor over ice", "Greenspan 1976"): lambda: factor_against_greenspan("ice"),
    ("enhancement factor over water", "Greenspan 1976"): lambda: factor_against_greenspan("water"),
    ("pressure dew point from g/kg", "CoolProp, humid air"): dew_point_against_coolprop,
    ("curve and its inverse", "the formulas themselves"): curve_against_formulas,
    (
        "estimate of the enhancement factor",
        "the checked formula, both at 100 bar(a)",
    ): estimate_against_checked,
}


def stated() -> dict[tuple[str, str], str]:
    """Read the table of the page."""
    text = PAGE.read_text(encoding="utf-8")
    table = text.split("## What was compared")[1].split("\n## ")[0]
    rows = re.findall(r"^\| ([^|]+) \| ([^|]+) \| [^|]+ \| (.+) (?:%|°C) \|$", table, re.MULTILINE)
    return {(what, reference): number for what, reference, number in rows}


def test_every_row_is_worked_out() -> None:
    """No row of the page without a check, and no check without a row."""
    assert set(stated()) == set(ROWS)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: "-".join(row).replace(" ", "_"))
def test_stated_deviation(row: tuple[str, str]) -> None:
    """The number on the page is the one found: not smaller, and not stale."""
    found, printed = ROWS[row](), stated()[row]
    if printed.startswith("below "):  # rounding noise, which differs from machine to machine
        assert found < float(printed.removeprefix("below "))
    else:
        assert 0.8 * float(printed) <= found <= 1.05 * float(printed)
