"""What the time of the reserve comes to, with all that it rests on."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from lungwort.jobs.reserve_words import (
    CAUTIONS,
    LEFT_OUT,
    SOURCES,
    assumptions,
    more_receiver_l,
    next_steps,
)
from lungwort.jobs.reserve_work import FAST, MEAN, PEAK, SLOW, Worked
from lungwort.paper.calculation import (
    FAILS,
    HOLDS,
    NOT_PROVEN,
    Calculation,
    Curve,
    Grid,
    Level,
    Plot,
    Quantity,
)

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.plant.sheet import PlantSheet

_WORDS: Final = {HOLDS: "long enough", FAILS: "too short", NOT_PROVEN: "not proven"}
_ALL: Final = (
    (MEAN, SLOW, "mean draw, no cooling"),
    (MEAN, FAST, "mean draw, no heat from walls"),
    (PEAK, SLOW, "peak draw, no cooling"),
    (PEAK, FAST, "peak draw, no heat from walls"),
)


def _cases(worked: Worked) -> tuple[tuple[str, str, str], ...]:
    """Give what is shown: where nobody's draw has a peak of its own, one draw is enough."""
    return _ALL if worked.peak_l_min > worked.mean_l_min else _ALL[2:]


def calculation_of(
    sheet: PlantSheet, worked: Worked, *, now: datetime, subject: str, zone: str = "UTC"
) -> Calculation:
    """Put what was worked out into a calculation.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.
    worked : Worked
        What came out.
    now : datetime
        The time, UTC.
    subject : str
        Of what it is.
    zone : str
        Time zone of its site.

    Returns
    -------
    Calculation
        It holds where even the least time is as long as getting out takes and nothing is in doubt;
        it fails where even the greatest is not.
    """
    state = _state(sheet, worked)
    return Calculation(
        kind="reserve",
        title="How long does the air last if the compressor stops?",
        subject=f"{subject} ({sheet.origin})",
        made_at=now,
        zone=zone,
        state=state,
        word=_WORDS[state],
        answer=_answer(sheet, worked),
        reasons=_reasons(sheet, worked),
        results=_results(sheet, worked),
        inputs=_inputs(sheet, worked),
        grids=_grids(sheet, worked),
        plots=_plots(sheet, worked),
        assumptions=assumptions(sheet, worked),
        uncertainty=_uncertainty(worked),
        cautions=CAUTIONS,
        sources=SOURCES,
        left_out=LEFT_OUT,
        next_steps=next_steps(worked, sheet, holds=state == HOLDS),
        data=_data(sheet, worked, state),
    )


LEAST_ESCAPE_MIN: Final = 1.0
"""Time in which nobody gets to safe air; own rule [min]."""


def _state(sheet: PlantSheet, worked: Worked) -> str:
    needed = None if sheet.escape is None else sheet.escape.minutes
    if worked.least_bar_g is None or (needed is not None and worked.longest_min < needed):
        return FAILS
    if needed is None and worked.longest_min < LEAST_ESCAPE_MIN:
        return FAILS
    if needed is None or worked.doubts or worked.shortest_min < needed:
        return NOT_PROVEN
    return HOLDS


def down(minutes: float) -> float:
    """Round a time down to a tenth of a minute, so that it is never told longer than it is.

    Parameters
    ----------
    minutes : float
        A time [min].

    Returns
    -------
    float
        The time told [min].
    """
    return math.floor(minutes * 10.0) / 10.0


def _answer(sheet: PlantSheet, worked: Worked) -> str:
    if worked.least_bar_g is None:
        return "No pressure at the receivers gives every wearer enough through these lines."
    shortest, longest = down(worked.shortest_min), down(worked.longest_min)
    span = f"{shortest:.1f} min" if shortest == longest else f"{shortest:.1f} to {longest:.1f} min"
    needed = (
        "how long it takes to get to safe air is not on the sheet"
        if sheet.escape is None
        else f"{sheet.escape.minutes:g} min are needed to get to safe air"
    )
    return f"After the compressor stops the air lasts {span}; {needed}."


def _reasons(sheet: PlantSheet, worked: Worked) -> tuple[str, ...]:
    said = []
    if worked.least_bar_g is None:
        said.append(
            "At the height of all breaths the hoses or pipes take away more pressure than any source up "
            "to 60 bar(g) can make up for (too narrow, too long, too many wearers), or a regulator on the "
            "way is set below what a wearer needs."
        )
    elif sheet.escape is not None:
        said.append(_against_escape(sheet.escape.minutes, worked))
    if sheet.escape is None and worked.longest_min < LEAST_ESCAPE_MIN:
        said.append(
            "Nobody gets to safe air in less than a minute: the air is gone at once, and every wearer "
            "needs an escape set of their own."
        )
    elif sheet.escape is None:
        said.append("Without [escape] nothing can be held against the time.")
    if worked.least_bar_g is not None and sheet.receivers:
        start = min(one.pressure_bar_g for one in sheet.receivers)
        if start < worked.least_bar_g:
            said.append(
                f"The receivers stand at {start:g} bar(g) already when the compressor cuts in, and "
                f"{worked.least_bar_g:.2f} bar(g) are needed."
            )
    if worked.courses:
        feeds = worked.courses[PEAK, FAST].feeds
        said += [f"{one.name} does not count: {one.why_not}." for one in feeds if one.why_not]
    return (*said, *worked.doubts)


def _against_escape(needed_min: float, worked: Worked) -> str:
    if worked.shortest_min >= needed_min:
        return "Even the least time is no shorter than it takes to get to safe air."
    if worked.longest_min < needed_min:
        return "Even the greatest time is shorter than it takes to get to safe air."
    return (
        "The least time is shorter than it takes to get to safe air, the greatest is not: it depends on "
        "how hard is breathed and how cold the air in the vessels becomes."
    )


def _results(sheet: PlantSheet, worked: Worked) -> tuple[Quantity, ...]:
    computed = "computed"
    found = []
    if worked.courses:
        shortest, longest = down(worked.shortest_min), down(worked.longest_min)
        found += [
            Quantity("the air lasts", shortest, "min", shortest, longest, computed),
            Quantity(
                "least pressure where it is fed in", worked.least_bar_g, "bar(g)", source=computed
            ),
        ]
        if sheet.escape is not None:
            margin = math.floor((worked.shortest_min - sheet.escape.minutes) * 10.0) / 10.0
            found.append(Quantity("margin of the least time", margin, "min", source=computed))
        coldest = min(one.coldest_c for one in worked.courses.values())
        if sheet.receivers:
            found.append(
                Quantity("coldest air in the receivers, no heat", coldest, "°C", source=computed)
            )
    found += [
        Quantity("drawn on average", worked.mean_l_min, "L/min", source=computed),
        Quantity("drawn at the peak", worked.peak_l_min, "L/min", source=computed),
        Quantity(
            "lost by leaks, upper end",
            worked.leak_l_min,
            "L/min",
            source="not measured" if worked.leak_l_min is None else computed,
        ),
    ]
    more = more_receiver_l(worked, sheet)
    if more is not None:
        found.append(Quantity("receiver that is missing", more, "L", source=computed))
    return tuple(found)


def _inputs(sheet: PlantSheet, worked: Worked) -> tuple[Quantity, ...]:
    entered = "entered"
    found = [
        Quantity(
            f"receiver {one.name}",
            f"{one.volume_l:g} L from {one.pressure_bar_g:g} bar(g)",
            source=entered,
        )
        for one in sheet.receivers
    ]
    found += [
        Quantity(
            f"reserve {one.name}",
            f"{one.cylinders} x {one.volume_l:g} L from {one.pressure_bar_g:g} to "
            f"{one.lowest_inlet_bar_g:g} bar(g), regulator at {one.outlet_bar_g:g} bar(g)",
            source=entered,
        )
        for one in sheet.reserves
    ]
    found += [
        Quantity(
            f"{one.name} at {one.at}",
            f"{one.people} at once, {one.flow_l_min:.0f} L/min at the peak, at least "
            + ("?" if one.minimum_bar_g is None else f"{one.minimum_bar_g:g} bar(g)"),
            source=one.source,
        )
        for one in worked.draws
    ]
    escape = sheet.escape
    found.append(
        Quantity(
            "time to get to safe air",
            None if escape is None else escape.minutes,
            "min",
            source="not stated"
            if escape is None
            else f"entered: {escape.why or 'no reason given'}",
        )
    )
    return tuple(found)


def _grids(sheet: PlantSheet, worked: Worked) -> tuple[Grid, ...]:
    if not worked.courses:
        return ()
    needed = math.inf if sheet.escape is None else sheet.escape.minutes
    cases = _cases(worked)
    lasting = [worked.courses[draw, heat].lasts_min for draw, heat, _ in cases]
    times = Grid(
        "How long it lasts",
        ("case", "drawn with leaks [kg/min]", "lasts [min]"),
        tuple(
            (name, worked.courses[draw, heat].draw_kg_s * 60.0, down(lasts))
            for (draw, heat, name), lasts in zip(cases, lasting, strict=True)
        ),
        marked=tuple(
            at for at, lasts in enumerate(lasting) if sheet.escape is not None and lasts < needed
        ),
        note="Without heat from the walls the air left behind becomes cold, so that more of it stays "
        "behind at the same pressure; every real case lies between.",
    )
    feeds = Grid(
        "Cylinders, at the peak and without heat",
        ("reserve", "can give [kg]", "feeds from [min]", "until [min]", "why not"),
        tuple(
            (one.name, one.usable_kg, one.from_min, one.to_min, one.why_not or None)
            for one in worked.courses[PEAK, FAST].feeds
        ),
        marked=tuple(at for at, one in enumerate(worked.courses[PEAK, FAST].feeds) if one.why_not),
    )
    return (times, feeds) if feeds.rows else (times,)


def _plots(sheet: PlantSheet, worked: Worked) -> tuple[Plot, ...]:
    cases = _cases(worked)
    curves = tuple(
        Curve(
            name,
            course.times_min,
            course.pressures_bar_g,
            style="dashed" if draw == PEAK else "line",
        )
        for draw, heat, name in cases
        if (course := worked.courses.get((draw, heat))) is not None and len(course.times_min) > 1
    )
    if not curves or worked.least_bar_g is None:
        return ()
    levels = [Level("least pressure", worked.least_bar_g)]
    if sheet.escape is not None:
        levels.append(Level("time to get out", sheet.escape.minutes, across=False))
    return (
        Plot(
            "Pressure where the air is fed in",
            "time since the compressor stopped",
            "min",
            "pressure",
            "bar(g)",
            curves,
            tuple(levels),
            says=f"The pressure falls to the least pressure after {down(worked.shortest_min):.1f} to "
            f"{down(worked.longest_min):.1f} min.",
        ),
    )


def _uncertainty(worked: Worked) -> str:
    if not worked.courses:
        return "No time came out, so nothing can be said of its uncertainty."
    return (
        f"Between {down(worked.shortest_min):.1f} and {down(worked.longest_min):.1f} min by breathing and "
        "by heat. Beyond that, a gauge that reads 0.1 bar too high on a receiver that falls by 1 bar "
        "takes a tenth of its time away; volumes on plates are good to a few percent (from memory)."
    )


def _data(sheet: PlantSheet, worked: Worked, state: str) -> dict[str, Any]:
    from attrs import asdict  # noqa: PLC0415 - only here

    return {
        "sheet": {"origin": sheet.origin, "digest": sheet.digest},
        "state": state,
        "escape_min": None if sheet.escape is None else sheet.escape.minutes,
        "lasts_min": {"least": worked.shortest_min, "most": worked.longest_min},
        "least_bar_g": worked.least_bar_g,
        "least_by_place_bar_g": {
            node or "source": least for node, least in worked.least_by_node.items()
        },
        "hoses_taken_into_account": worked.with_network,
        "drawn_l_min": {"mean": worked.mean_l_min, "peak": worked.peak_l_min},
        "leak_l_min": worked.leak_l_min,
        "doubts": list(worked.doubts),
        "courses": [
            {"draw": draw, **asdict(course)} for (draw, _), course in worked.courses.items()
        ],
    }
