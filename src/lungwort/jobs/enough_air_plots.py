"""Drawings of supply and demand."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from lungwort.paper.calculation import Curve, Level, Plot

if TYPE_CHECKING:
    from lungwort.jobs.enough_air_work import Worked
    from lungwort.wearers.demand import Draw


def plots_of(made: Worked) -> tuple[Plot, ...]:
    """Draw demand over the number of wearers, and the pressure at each.

    Parameters
    ----------
    made : Worked
        What was worked out.

    Returns
    -------
    tuple of Plot
        One or two.
    """
    drawn = [_flow(made)]
    if any(one.likely_bar_g is not None for one in made.reached):
        drawn.append(_pressure(made))
    return tuple(drawn)


def _summed(draws: tuple[Draw, ...], leak_l_min: float) -> tuple[float, ...]:
    each = sorted(
        (one.flow_l_min / one.people for one in draws for _ in range(one.people)), reverse=True
    )
    return tuple(leak_l_min + math.fsum(each[:at]) for at in range(1, len(each) + 1))


def _edges(values: tuple[float, ...]) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Give places and values of steps that stand over 1, 2, 3 …, each half a place to both sides."""
    x = tuple(at + end for at in range(len(values)) for end in (0.5, 1.5))
    return x, tuple(one for one in values for _ in range(2))


def _places(values: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(float(at + 1) for at in range(len(values)))


def _flow(made: Worked) -> Plot:
    leak = made.leak.high_l_min if made.leak else 0.0
    mean, peak = _summed(made.mean, leak), _summed(made.peak, leak)
    curves = [Curve("needed, on average", *_edges(mean))]
    if made.spread.mean_l_min:
        curves.append(
            Curve("needed, all breaths at their height", _places(peak), peak, style="points")
        )
    counted = peak if made.at_peak else mean
    fed = sum(one <= made.supply.low_l_min for one in counted)
    levels = [Level("delivered, low end", made.supply.low_l_min)]
    if 0.0 < made.supply.without_largest_l_min < made.supply.low_l_min:
        levels.append(Level("without the largest compressor", made.supply.without_largest_l_min))
    return Plot(
        title="Supply and demand",
        x_name="wearers on the air at once, those who draw most first",
        x_unit="",
        y_name="free air",
        y_unit="L/min",
        curves=tuple(curves),
        levels=tuple(levels),
        says=f"By the flow, the low end of the supply feeds {fed} of {len(mean)} wearers, leaks with them.",
    )


def _pressure(made: Worked) -> Plot:
    found = sorted(made.reached, key=lambda one: one.margin_bar)

    def filled(values: list[float | None]) -> tuple[float, ...]:
        return tuple(math.nan if one is None else one for one in values)

    reached = filled([one.likely_bar_g for one in found])
    still = filled([one.still_bar_g for one in found])
    needed = filled([one.minimum_bar_g for one in found])
    allowed = filled([one.maximum_bar_g for one in found])
    lines = (
        Curve("all on the air", _places(reached), reached, style="points"),
        Curve("nobody on the air", _places(still), still, style="points"),
        Curve("needed", *_edges(needed), style="dashed"),
        Curve("allowed", *_edges(allowed)),
    )
    named = ", ".join(f"{at + 1}: {one.name}" for at, one in enumerate(found[:8]))
    low = sum(one.too_low for one in found)
    return Plot(
        title="Pressure at the wearers",
        x_name=f"wearer ({named}{', …' if len(found) > 8 else ''})",  # noqa: PLR2004 - as listed
        x_unit="",
        y_name="pressure",
        y_unit="bar(g)",
        curves=tuple(one for one in lines if not all(map(math.isnan, one.y))),
        says=f"With all on the air, {low} of {len(found)} entries have less pressure than they need.",
    )
