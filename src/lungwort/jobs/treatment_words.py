"""The words of a calculation of a treatment."""

from __future__ import annotations

import math
from datetime import date
from typing import TYPE_CHECKING, Final

from lungwort.paper.calculation import FAILS, HOLDS, Stated, figure
from lungwort.plant.treatment import CO_CATALYST, KIND_WORDS
from lungwort.plant.treatment_life import MIDDLE
from lungwort.plant.treatment_state import WET

if TYPE_CHECKING:
    from lungwort.plant.sheet import PlantSheet
    from lungwort.plant.treatment import TreatmentStage
    from lungwort.plant.treatment_life import SeasonLife, StageLife
    from lungwort.plant.treatment_state import Decided, Facts

MOISTURE: Final = {
    "above": "too wet",
    "open": "beyond its scale",
    "rising": "creeps upward",
    "steady": "does not rise",
    "too_few": "too few for a trend",
    "none": "nothing measured",
}

_NEARLY: Final = 0.9

CAUTIONS: Final = (
    (
        "A calculation from the figures entered; it does not replace a measurement at the wearer, the "
        "equipment maker's instructions, the standard itself, local codes or a competent person."
    ),
    (
        "The cartridge is changed at the earliest of: the day given here, the hours and months that "
        "its maker states, and the first sign of moisture, oil or smell behind it."
    ),
    "Measured moisture counts more than any calculated life.",
)

SOURCES: Final = (
    (
        "Life = mass of sorbent x dynamic capacity / (water load x flow); mass balance of the water "
        "(computed)."
    ),
    (
        "Water of saturated air under pressure: enhancement factor after Hyland and Wexler 1983 and "
        "Herrmann, Kretzschmar and Gatley 2009 (ASHRAE RP-1485), B_aw of Harvey and Huang 2007 "
        "(confirmed); above 100 bar(a) a virial estimate beyond every published range, taken as "
        "uncertain by 25 % (computed)."
    ),
    (
        "Molecular sieve takes about 20 % of its mass at equilibrium at 25 °C and 10 to 15 % in use; "
        "alumina 15 to 20 %, silica gel 30 to 35 % at equilibrium with wet air and far less with dry "
        "(from memory)."
    ),
    "Slope of hour meter and moisture: P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379 (confirmed).",
    "Pressure at a height: ICAO Doc 7488, standard atmosphere (from memory).",
)


def day(value: date | None) -> str:
    """Write a day; words for none, and for one that has no end.

    Parameters
    ----------
    value : date, optional
        The day.

    Returns
    -------
    str
        Such as ``2026-03-04``.
    """
    if value is None:
        return "cannot be told"
    return "no end" if value == date.max else str(value)


def ends(low: float, high: float) -> str:
    """Write two ends, or one number where they are the same.

    Parameters
    ----------
    low, high : float
        The ends.

    Returns
    -------
    str
        Such as ``2 to 32``.
    """
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def when(life: StageLife) -> str:
    """Say for which temperatures of the intake a life holds.

    Parameters
    ----------
    life : StageLife
        How long a new cartridge lasts.

    Returns
    -------
    str
        ``over the year``, or the one temperature.
    """
    found = sorted({one.intake_c for one in life.seasons})
    if len(found) == 1:
        return f"at {found[0]:g} °C at the intake"
    return "over the year"


def kind(stage: TreatmentStage) -> str:
    """Name the kind of a stage in words."""
    return KIND_WORDS[stage.kind]


def middle(life: StageLife) -> SeasonLife:
    """Give the life at the middle temperature."""
    return next(one for one in life.seasons if one.season == MIDDLE)


def answer(life: StageLife, facts: Facts | None, decided: Decided | None) -> str:
    """Say what came out, in one sentence.

    Parameters
    ----------
    life : StageLife
        How long a new cartridge lasts.
    facts : Facts, optional
        What is on record; None without a record.
    decided : Decided, optional
        What it comes to.

    Returns
    -------
    str
        The sentence.
    """
    name = life.stage.name
    if decided is None or facts is None:
        if life.life_h is None:
            return f"How long {name} lasts cannot be told from the sheet."
        low, likely, high = (
            figure(one) for one in (life.life_h.low, life.life_h.likely, life.life_h.high)
        )
        season = f" {when(life)}" if life.seasons else ""
        return (
            f"New, {name} lasts at least {low} h of running{season}, likely {likely} h, "
            f"at the most {high} h."
        )
    by = "" if decided.change_by is None else f"; change it by {day(decided.change_by)}"
    if decided.state == HOLDS:
        return f"{name} lasts until its next change{by}."
    if decided.word == WET:
        return f"The air is too wet: withdraw the supply and change {name} now."
    if decided.state == FAILS:
        return f"{name} is to be changed now. {decided.reasons[0]}"
    return f"It is not proven that {name} lasts until its next change{by}."


def next_steps(life: StageLife, decided: Decided | None) -> tuple[str, ...]:
    """Say what is to be done.

    Parameters
    ----------
    life : StageLife
        How long a new cartridge lasts.
    decided : Decided, optional
        What it comes to; None without a record.

    Returns
    -------
    tuple of str
        Steps, the first first.
    """
    name = life.stage.name
    if decided is None:
        return (
            (
                "Put the sheet on record with 'lungwort plant set', and the hour meter with 'lungwort "
                "supply hours', to learn the day of the next change."
            ),
        )
    measure = f"Measure the moisture behind {name} before the supply is used again."
    if decided.state == FAILS:
        first = (
            "Withdraw the supply with 'lungwort withdraw' until the air is measured dry."
            if decided.word == WET
            else f"Change the cartridge of {name}, and record it with 'lungwort supply cartridge'."
        )
        return (first, measure)
    steps = ["Record the hour meter often: the day gets more certain with each reading."]
    if len({one.intake_c for one in life.seasons}) > 1:
        steps.append(
            "Give the highest temperature at the intake in the time ahead with --intake for a "
            "narrower answer; hours used so far stay counted as over the year."
        )
    if decided.change_by is not None:
        steps.insert(0, f"Have a cartridge for {name} ready before {day(decided.change_by)}.")
    return tuple(steps)


def assumptions(
    life: StageLife, facts: Facts | None, delivered_l_min: float = 0.0
) -> tuple[Stated, ...]:
    """Say what was taken for granted.

    Parameters
    ----------
    life : StageLife
        How long a new cartridge lasts.
    facts : Facts, optional
        What is on record.
    delivered_l_min : float
        What the compressors of the sheet deliver by their plates; 0 for none [L/min].

    Returns
    -------
    tuple of Stated
        The assumptions.
    """
    found: list[Stated] = []
    if life.stage.takes_water:
        found += [
            Stated(
                "Air leaves the separator saturated, and liquid that the separator lets through "
                "goes into the sorbent.",
                "mass balance",
                "makes the result shorter",
            ),
            Stated(
                "All water of the intake reaches the last separator as liquid; what the coolers "
                "between the stages take is not counted.",
                "own choice",
                "makes the result shorter",
            ),
            Stated(
                "The stated capacity may be off by 20 % unless the sheet says otherwise.",
                "from memory",
                "widens the result",
            ),
            Stated(
                "The flow entered passes for every hour that the meter counts.",
                "own choice",
            ),
        ]
    flow = life.stage.flow_l_min
    if life.by_water and flow is not None and flow < delivered_l_min * _NEARLY:
        found.append(
            Stated(
                f"The flow entered, {flow:g} L/min, is less than the {delivered_l_min:g} L/min that "
                "the compressors deliver by their plates: right only where it is the mean over all "
                "hours that the meter counts.",
                "the plant sheet",
                "makes the result longer than at full flow",
            )
        )
    if life.stage.declared_hours is not None:
        found.append(
            Stated(
                f"The declared life of {life.stage.declared_hours:g} h holds for this air and use.",
                "the plant sheet",
            )
        )
    if facts is not None:
        found.append(
            Stated(
                "The supply goes on running as it did since the change; at the most as fast as the "
                "fastest of slope, mean and last stretch.",
                "own choice",
            )
        )
    return tuple(found)


def delivered_l_min(sheet: PlantSheet) -> float:
    """Give the free air that the compressors of a sheet deliver by their plates [L/min]."""
    return sum(one.free_air_l_min for one in sheet.compressors if not one.standby)


def uncertainty(life: StageLife) -> str:
    """Say how far the result can be trusted.

    Parameters
    ----------
    life : StageLife
        How long a new cartridge lasts.

    Returns
    -------
    str
        A sentence or two.
    """
    if not life.by_water:
        return "The life is a declaration; nothing in the record can bear it out."
    estimated = any(one.load.estimated for one in life.seasons)
    return (
        "The ends take in the season, the humidity, the capacity"
        + (
            " and 25 % for the enhancement factor above 100 bar(a), which is a judgement"
            if estimated
            else ""
        )
        + ". They do not take in a leaking bed, channels in it, a separator that is not drained, "
        "or a flow above the one entered."
    )


def left_out(life: StageLife) -> tuple[str, ...]:
    """Say what was not taken into account.

    Parameters
    ----------
    life : StageLife
        How long a new cartridge lasts.

    Returns
    -------
    tuple of str
        What, with the reason.
    """
    found = []
    if life.stage.takes_water:
        found += [
            (
                "Oil in the cartridge: it lowers the capacity for water, and how much is not known "
                "from water alone."
            ),
            (
                "Capacity falls as the bed gets warmer, and with it the life; the figure entered "
                "must be that for the temperature of the bed."
            ),
            "Another sorbent before this one is not counted as help.",
        ]
    if life.stage.kind == CO_CATALYST:
        found.append("Poisoning of the catalyst by oil, sulphur or halogens: it cannot be told.")
    return tuple(found)


def ideal_note(life: StageLife) -> str:
    """Say how far sizing with the ideal gas is off.

    Parameters
    ----------
    life : StageLife
        How long a new cartridge lasts.

    Returns
    -------
    str
        The note below the table.
    """
    one = middle(life)
    if not 0.0 < one.life_h.likely < math.inf:
        return "No water comes to it by these figures, so that they tell nothing of its life."
    holds = one.ideal_life_h / one.life_h.likely
    return (
        f"Here the ideal gas promises {holds:.2f} times the likely life. Of vapour alone it does "
        "so by about 2 times at 225 bar(g) and 2.6 times at 330 bar(g), at 20 °C (computed); it is "
        "shown so that older sizing can be told, and is not to be used."
    )


def used_says(decided: Decided | None) -> str:
    """Say what is seen in the drawing of the used share.

    Parameters
    ----------
    decided : Decided, optional
        What it comes to.

    Returns
    -------
    str
        One sentence.
    """
    if decided is None or decided.used is None:
        return ""
    used = decided.used
    low, likely, high = (f"{100 * one:.0f}" for one in (used.low, used.likely, used.high))
    if low == high:
        return f"By now {likely} % of the life is used."
    return f"By now {likely} % of the life is used, between {low} and {high} %."
