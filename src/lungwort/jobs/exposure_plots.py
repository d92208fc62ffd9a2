"""Drawings of what people have breathed and of what their blood took up."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lungwort.paper.calculation import Curve, Level, Plot, figure
from lungwort.wearers.averages import fewer_steps

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.wearers.averages import Course
    from lungwort.wearers.exposure import Blood, Person

MOST_DRAWN: Final = 3
"""People who are drawn; figures of all stand in the tables."""
_MOST_STEPS: Final = 3000
_LEVELS: Final = ((2.5, "WHO 2.5 %"), (3.5, "BEI 3.5 %"))
BREATHING_AIR: Final = Level("5 ppm, most in breathing air (EN 12021:2014)", 5.0)
"""So that nobody takes an exposure limit for a limit of the air; confirmed (secondary)."""
_FAR: Final = 4.0
"""A limit more than this many times above all that is drawn would flatten it, and is left out."""


def plots_of(people: Sequence[Person], worst: Person) -> tuple[Plot, ...]:
    """Draw the person hit hardest, and the next ones.

    Parameters
    ----------
    people : sequence of Person
        All of them.
    worst : Person
        Who comes first.

    Returns
    -------
    tuple of Plot
        Two for each who is drawn: what was breathed, and the blood.
    """
    others = sorted(
        (one for one in people if one is not worst),
        key=lambda one: 0.0 if one.blood is None else one.blood.peak_percent[2],
        reverse=True,
    )
    made = []
    for one in (worst, *others)[:MOST_DRAWN]:
        co = one.courses.get("co")
        if co is not None and bool(np.any(co.known)):
            made.append(_air(one, co))
        if one.blood is not None:
            made.append(_blood(one, one.blood))
    return tuple(made)


def _air(one: Person, co: Course) -> Plot:
    less = fewer_steps(co, _MOST_STEPS)
    tops = np.where(less.known, less.highest, math.nan)
    most = float(np.nanmax(tops))
    levels: dict[float, list[str]] = {}
    for finding in one.findings:
        limit = finding.held.limit
        if limit.analyte == "co" and limit.upper <= max(_FAR * most, 20.0):
            levels.setdefault(limit.upper, []).append(limit.averaging)
    holes = [
        (float(less.edges_s[at]), float(less.edges_s[at + 1]))
        for at in np.flatnonzero(~less.known).tolist()
    ]
    unknown = " Shaded: nothing is known." if holes else ""
    return Plot(
        title=f"Carbon monoxide breathed by {one.name}",
        x_name="time",
        x_unit="time",
        y_name="CO",
        y_unit="ppm",
        curves=(
            Curve(
                "CO, highest of each step",
                tuple(less.edges_s.tolist()),
                (*tops.tolist(), float(tops[-1])),
                style="steps",
            ),
        ),
        levels=(
            BREATHING_AIR,
            *(
                Level(f"{upper:g} ppm, {', '.join(dict.fromkeys(names))}", upper)
                for upper, names in sorted(levels.items())
            ),
        ),
        shades=tuple(holes),
        says=f"Readings go up to {figure(most)} ppm.{unknown}",
    )


def _blood(one: Person, blood: Blood) -> Plot:
    low, middle, high = blood.peak_percent
    return Plot(
        title=f"Carbon monoxide in the blood of {one.name}, an estimate",
        x_name="time",
        x_unit="time",
        y_name="COHb",
        y_unit="%",
        curves=(
            Curve(
                "COHb, middle and band",
                tuple(blood.times_s.tolist()),
                tuple(blood.middle.tolist()),
                tuple(blood.low.tolist()),
                tuple(blood.high.tolist()),
            ),
        ),
        levels=(
            *(Level(name, value) for value, name in _LEVELS if value <= _FAR * max(high, 1.0)),
            Level("end of the stay", blood.end_s, across=False),
        ),
        says=(
            f"The middle rises to {figure(middle, 2)} %, the band reaches from {figure(low, 2)} to "
            f"{figure(high, 2)} %; after the stay it falls."
        ),
    )
