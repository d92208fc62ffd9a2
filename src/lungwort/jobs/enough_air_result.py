"""From what was worked out of supply and demand to the calculation that is shown."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from lungwort.jobs import enough_air_plots as plots
from lungwort.jobs import enough_air_words as words
from lungwort.paper.calculation import (
    FAILS,
    HOLDS,
    NOT_PROVEN,
    Calculation,
    Cell,
    Grid,
    Quantity,
)
from lungwort.wearers.demand import one_flow_l_min

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.jobs._lines import LinesPart
    from lungwort.jobs.enough_air_work import Worked

KIND: Final = "enough-air"
TITLE: Final = "Is there enough air?"
WORD: Final = {HOLDS: "enough", FAILS: "not enough", NOT_PROVEN: "not proven"}


def state_of(made: Worked) -> str:
    """Give the state that the figures come to.

    Parameters
    ----------
    made : Worked
        What was worked out.

    Returns
    -------
    str
        ``fails`` where supply or a pressure is outside what is needed, ``not_proven`` where
        something is missing or too close, else ``holds``.
    """
    if made.short or made.lacking:
        return FAILS
    low = made.share < 1.0 or any(one.too_low for one in made.reached)
    if made.margin_l_min < 0 or low or made.gaps:
        return NOT_PROVEN
    return HOLDS


def calculation_of(
    made: Worked, *, now: datetime, subject: str = "", zone: str = "UTC"
) -> Calculation:
    """Put the calculation together.

    Parameters
    ----------
    made : Worked
        What was worked out.
    now : datetime
        The time, UTC.
    subject : str
        Of what; the title of the sheet where nothing is given.
    zone : str
        IANA time zone.

    Returns
    -------
    Calculation
        The calculation.
    """
    state = state_of(made)
    lines = _lines_of(made)
    return Calculation(
        kind=KIND,
        title=TITLE,
        subject=subject or made.sheet.title,
        made_at=now,
        zone=zone,
        state=state,
        word=WORD[state],
        answer=words.answer(made, state),
        reasons=words.reasons(made),
        results=_results(made),
        inputs=_inputs(made),
        grids=tuple(
            grid
            for grid in (
                _wearers(made),
                _pressures(made),
                *(() if lines is None else (lines.grid,)),
                _machines(made),
            )
            if grid.rows
        ),
        plots=(*plots.plots_of(made), *(() if lines is None else lines.plots)),
        assumptions=words.assumptions(made),
        uncertainty=words.uncertainty(made),
        cautions=words.CAUTIONS,
        sources=words.sources(made),
        left_out=words.left_out(made),
        next_steps=words.next_steps(made, state),
        data=_data(made),
    )


def _lines_of(made: Worked) -> LinesPart | None:
    """Tell of each hose and pipe, and of the way to the wearer who comes first to too little."""
    from lungwort.jobs._lines import lines_part  # noqa: PLC0415 - keeps --help instant

    if made.sheet.network is None or made.flowing is None:
        return None
    first = min(made.reached, key=lambda one: one.margin_bar, default=None)
    return lines_part(
        made.sheet.network,
        made.flowing,
        atmosphere_pa=made.site.atmosphere_pa,
        to=None if first is None else first.at,
        least_bar_g=None if first is None else first.minimum_bar_g,
    )


def margin_percent(made: Worked) -> float:
    """Give the margin as a share of what is needed.

    Parameters
    ----------
    made : Worked
        What was worked out.

    Returns
    -------
    float
        Share [%].
    """
    return 100.0 * made.margin_l_min / made.needed_l_min


def more_alike(made: Worked) -> int:
    """Tell how many more of the wearer that draws most the compressors could feed.

    Parameters
    ----------
    made : Worked
        What was worked out.

    Returns
    -------
    int
        How many, by the flow alone [1]; 0 where the margin is not enough for one.
    """
    each = max(one.flow_l_min / one.people for one in made.counted)
    return max(0, math.floor(made.margin_l_min / each + 1e-9))


def _results(made: Worked) -> tuple[Quantity, ...]:
    supply, leak = made.supply, made.leak
    first = min(made.reached, key=lambda one: one.margin_bar, default=None)
    found = [
        Quantity("delivered by the compressors, low end", supply.low_l_min, "L/min", source="computed"),
        Quantity("needed, high end", made.needed_l_min, "L/min", source="computed"),
        Quantity("margin", made.margin_l_min, "L/min", source="computed"),
        Quantity("margin, as a share of what is needed", margin_percent(made), "%", source="computed"),
        Quantity("delivered, in the middle of the intake", supply.likely_l_min, "L/min", low=supply.low_l_min, high=supply.high_l_min, source="computed"),
        Quantity("delivered with the largest one out of service, low end", supply.without_largest_l_min, "L/min", source="computed"),
        Quantity("drawn by the wearers, on average", math.fsum(one.flow_l_min for one in made.mean), "L/min", source="computed"),
        Quantity("drawn with all breaths at their height", math.fsum(one.flow_l_min for one in made.peak), "L/min", source="computed"),
    ]  # fmt: skip
    if made.spread.mean_l_min:
        found.append(
            Quantity("demand valves together, in 99.9 % of the time", made.spread.most_of_the_time_l_min, "L/min", source="computed, breaths independent")
        )  # fmt: skip
    if leak is not None:
        found.append(
            Quantity(f"lost by leaks at {leak.at_bar_g:g} bar(g)", leak.likely_l_min, "L/min", low=leak.low_l_min, high=leak.high_l_min, source="leak test")
        )  # fmt: skip
    found.append(
        Quantity("more wearers like the one that draws most", more_alike(made), source="computed, by the flow alone")
    )  # fmt: skip
    if first is not None and first.minimum_bar_g is not None:
        found.append(
            Quantity("comes first to too little pressure", f"{first.name} at {first.at}", source="computed")
        )  # fmt: skip
        if math.isfinite(first.margin_bar):
            found.append(
                Quantity("its margin, low end", first.margin_bar, "bar", source="computed")
            )
    return tuple(found)


def _inputs(made: Worked) -> tuple[Quantity, ...]:
    place, site, stated = made.sheet.place, made.site, made.sheet.place.stated
    (cold, hot), (dry, damp) = site.intake_c, site.humidity_percent
    return (
        Quantity("plant sheet", made.sheet.title or "without a title", source=made.sheet.origin),
        Quantity("digest of the sheet", made.sheet.digest[:16], source="SHA-256, first 16 digits"),
        Quantity("height above the sea", place.altitude_m, "m", source=_from("altitude_m" in stated)),
        Quantity("temperature at the intake", f"{cold:g} to {hot:g}", "°C", source=_from(place.intake_temperature_c is not None)),
        Quantity("relative humidity there", f"{dry:g} to {damp:g}", "%", source=_from(place.intake_humidity_percent is not None)),
        Quantity("temperature of the air in the lines", place.air_temperature_c, "°C", source=_from("air_temperature_c" in stated)),
        Quantity("leak tests", len(made.sheet.leak_tests), source="entered"),
        Quantity("receivers", len(made.sheet.receivers), source="entered"),
    )  # fmt: skip


def _from(stated: bool) -> str:  # noqa: FBT001 - a word for a flag
    return "entered" if stated else "assumed"


def _wearers(made: Worked) -> Grid:
    rows: list[tuple[Cell, ...]] = []
    for one, mean, peak in zip(made.wearers, made.mean, made.peak, strict=True):
        each, source = one_flow_l_min(one, at_peak=False)
        rows.append(
            (
                one.name,
                one.at,
                one.kind.words,
                f"{one.simultaneous} of {one.count}",
                each,
                mean.flow_l_min,
                peak.flow_l_min,
                f"{source}, {one.origin}",
            )
        )
    return Grid(
        "Who is on the air",
        (
            "wearer",
            "outlet",
            "equipment",
            "at once",
            "each [L/min]",
            "all, mean [L/min]",
            "all, at the peak [L/min]",
            "from",
        ),
        tuple(rows),
        note="Free air at 20 °C and 1 atm. Demand valves: what is breathed, upper end for the work.",
    )


def _pressures(made: Worked) -> Grid:
    ordered = sorted(made.reached, key=lambda one: one.margin_bar)
    rows: list[tuple[Cell, ...]] = [
        (
            one.name,
            one.at,
            one.low_bar_g,
            one.likely_bar_g,
            one.minimum_bar_g,
            one.still_bar_g,
            one.maximum_bar_g,
            "too low" if one.too_low else "too high" if one.too_high else "between",
        )
        for one in ordered
    ]
    return Grid(
        "Pressure at the wearers, the lowest margin first",
        (
            "wearer",
            "outlet",
            "all on the air, low end [bar(g)]",
            "as worked out [bar(g)]",
            "needed [bar(g)]",
            "nobody on the air [bar(g)]",
            "allowed [bar(g)]",
            "is",
        ),
        tuple(rows),
        marked=tuple(at for at, one in enumerate(ordered) if one.too_low or one.too_high),
        note=(
            ""
            if made.share >= 1.0
            else f"Only {made.share * 100:.0f} % of what is drawn comes through; no pressure can be given."
        ),
    )


def _machines(made: Worked) -> Grid:
    return Grid(
        "Compressors",
        (
            "compressor",
            "as declared [L/min]",
            "low end here [L/min]",
            "middle [L/min]",
            "high end [L/min]",
            "counted",
        ),
        tuple(
            (
                one.name,
                one.declared_l_min,
                one.low_l_min,
                one.likely_l_min,
                one.high_l_min,
                "no, stands by" if one.standby else "yes",
            )
            for one in made.supply.deliveries
        ),
        note="All as dry free air at 20 °C and 1 atm.",
    )


def _data(made: Worked) -> dict[str, Any]:
    supply, leak = made.supply, made.leak
    return {
        "sheet_sha256": made.sheet.digest,
        "supply_l_min": {
            "low": supply.low_l_min,
            "likely": supply.likely_l_min,
            "high": supply.high_l_min,
            "without_largest_low": supply.without_largest_l_min,
        },
        "needed_l_min": made.needed_l_min,
        "drawn_l_min": made.drawn_l_min,
        "drawn_peak_l_min": math.fsum(one.flow_l_min for one in made.peak),
        "leak_l_min": None
        if leak is None
        else {"low": leak.low_l_min, "likely": leak.likely_l_min, "high": leak.high_l_min},
        "margin_l_min": made.margin_l_min,
        "margin_percent": margin_percent(made),
        "counted_at_peak": made.at_peak,
        "weight_of_a_litre": made.weight,
        "share_delivered": made.share,
        "choked": list(made.choked),
        "pressures": [
            {
                "wearer": one.name,
                "at": one.at,
                "likely_bar_g": one.likely_bar_g,
                "low_bar_g": one.low_bar_g,
                "nobody_on_bar_g": one.still_bar_g,
                "minimum_bar_g": one.minimum_bar_g,
                "maximum_bar_g": one.maximum_bar_g,
            }
            for one in made.reached
        ],
        "missing": list(made.gaps),
    }
