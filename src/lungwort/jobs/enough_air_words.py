"""The words of a calculation of supply and demand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.jobs.enough_air_work import DROP_UNKNOWN
from lungwort.paper.calculation import FAILS, HOLDS, Stated
from lungwort.plant.leakage import TEMPERATURE_UNKNOWN_K
from lungwort.wearers.demand import ASSUMED, one_flow_l_min
from lungwort.wearers.demand_equipment import work_rate

if TYPE_CHECKING:
    from lungwort.jobs.enough_air_work import Worked

CAUTIONS: Final = (
    (
        "A calculation from the figures entered; it does not replace a measurement at the wearer, the "
        "equipment maker's instructions, the standard itself, local codes or a competent person."
    ),
    "Measure flow and pressure at each wearer with all others on the air before work begins.",
)

_OWN: Final = "own rule"
_HOLD_NOTHING: Final = "makes the supply too high where it is not so"


def answer(made: Worked, state: str) -> str:
    """Say in one sentence what came out.

    Parameters
    ----------
    made : Worked
        What was worked out.
    state : str
        Its state.

    Returns
    -------
    str
        The sentence.
    """
    low, need, over = made.supply.low_l_min, made.needed_l_min, made.margin_l_min
    flows = f"The compressors deliver at least {low:.0f} L/min and {need:.0f} L/min are needed"
    if made.leak is None:
        flows += " without the leaks, which are not known"
    percent = abs(100.0 * over / need)
    if over < 0:
        ends = f"{-over:.0f} L/min ({percent:.0f} %) are missing"
    else:
        ends = f"{over:.0f} L/min ({percent:.0f} %) are to spare"
    said = f"{flows}: {ends}."
    if state == FAILS and over >= 0:
        return f"{said} But not every wearer has the pressure that is needed."
    if state not in {FAILS, HOLDS} and over >= 0:
        return f"{said} But something is missing to prove it."
    return said


def reasons(made: Worked) -> tuple[str, ...]:
    """Say why, the weightiest first.

    Parameters
    ----------
    made : Worked
        What was worked out.

    Returns
    -------
    tuple of str
        Sentences.
    """
    found = []
    if made.margin_l_min < 0:
        assumed = (
            "" if made.short else " Part of what is needed is assumed; with less it may be enough."
        )
        found.append(
            f"On the worst day {-made.margin_l_min:.0f} L/min are missing for all who are on the air "
            f"at once.{assumed}"
        )
    if made.share < 1.0:
        pipes = (
            f"; as fast as it can, air moves in: {', '.join(made.choked)}" if made.choked else ""
        )
        found.append(
            f"Not more than {made.share * 100:.0f} % of what is drawn comes through the pipes at all; "
            f"{made.starved} is left without pressure first{pipes}."
        )
    for one in made.reached:
        if one.too_low and one.likely_bar_g is not None:
            found.append(
                f"{one.name} at {one.at} gets {one.likely_bar_g:.2f} bar(g) with all on the air; "
                f"{one.minimum_bar_g:g} bar(g) are needed."
            )
        if one.too_high:
            found.append(
                f"{one.name} at {one.at} gets {one.still_bar_g:.2f} bar(g) with nobody on the air; "
                f"at most {one.maximum_bar_g:g} bar(g) are allowed."
            )
    found += made.gaps
    if not found:
        found.append(
            "On the worst day the supply covers all who are on the air at once and the leaks, and "
            "the pressure at each wearer is between the least and the greatest, with all on the air "
            "and with nobody on it."
        )
    return (*found, *made.told)


def assumptions(made: Worked) -> tuple[Stated, ...]:
    """List what was taken for granted.

    Parameters
    ----------
    made : Worked
        What was worked out.

    Returns
    -------
    tuple of Stated
        The list.
    """
    found = [
        Stated(
            "A compressor draws in the same volume at any height and temperature; the air that it "
            "delivers is the dry air in that volume",
            "ISO 1217, free air delivery (from memory)",
            "at a height, where it works against a greater ratio of pressures, it delivers somewhat "
            "less than this",
        ),
        Stated(
            "Flows that makers declare are litres at 20 °C and 1 atm; where a litre weighs more at the "
            "wearer it counts for more, and in thin air not for less",
            _OWN,
            "makes the demand too high at a height, since lungs need volume",
        ),
        *_of_machines(made),
        *_of_wearers(made),
    ]
    if made.at_peak:
        found.append(
            Stated(
                "There is no receiver on the sheet, so the compressors have to follow every breath",
                _OWN,
                "makes the demand higher",
            )
        )
    elif made.spread.mean_l_min:
        found.append(
            Stated(
                "A receiver evens out the breaths, so the compressors have to deliver the mean",
                _OWN,
                "makes the demand too low where the receiver is very small",
            )
        )
    if made.leak is not None and not made.leak.with_temperatures:
        found.append(
            Stated(
                f"In a leak test without temperatures the air changed by no more than "
                f"{TEMPERATURE_UNKNOWN_K:g} K",
                _OWN,
                "widens the loss by leaks",
            )
        )
    if made.leak is not None and made.reached:
        found.append(
            Stated("The leaks are at the outlets", _OWN, "makes the pressures at the wearers lower")
        )
    if made.reached:
        found.append(
            Stated(
                f"Hoses and couplings may take {DROP_UNKNOWN * 100:.0f} % more pressure than worked out",
                _OWN,
                "makes the low end of the pressures lower",
            )
        )
    if made.sheet.place.intake_humidity_percent is None:
        found.append(
            Stated("The air at the intake may be anything from dry to saturated", _OWN, "makes the supply lower")
        )  # fmt: skip
    return tuple(found)


def _of_machines(made: Worked) -> list[Stated]:
    found = []
    running = [one for one in made.sheet.compressors if not one.standby]
    if any(one.tolerance_percent is None for one in running):
        found.append(
            Stated(
                "A compressor may deliver less than declared by the tolerance of the standard: "
                + ", ".join(f"{one.name} {one.tolerance:g} %" for one in running if one.tolerance_percent is None),
                "ISO 1217:2009, annex C (from memory)",
                "makes the supply lower",
            )
        )  # fmt: skip
    for key, text in (
        ("wear_percent", "deliver as when they were new"),
        ("duty_percent", "may run all the time"),
        ("purge_percent", "lose no air to driers that regenerate themselves"),
    ):
        names = [one.name for one in running if key not in one.stated]
        if names:
            found.append(
                Stated(f"These compressors {text}: {', '.join(names)}", _OWN, _HOLD_NOTHING)
            )
    return found


def _of_wearers(made: Worked) -> list[Stated]:
    found = []
    valves = [one for one in made.wearers if not one.continuous]
    for name in sorted({one.work or "heavy" for one in valves}):
        rate = work_rate(name)
        found.append(
            Stated(
                f"At {name.replace('_', ' ')} work one person breathes up to {rate.high_l_min:g} L/min",
                f"{rate.source} ({rate.standing})",
                "makes the demand higher for those who breathe less",
            )
        )
    if valves:
        found.append(
            Stated(
                "A breath is half a sine and takes half of the time, so its peak is pi times the mean; "
                "for the pressures all breathe in at the same moment",
                "mathematics; a real breath may be sharper",
                "",
            )
        )
    plain = [one for one in made.wearers if one.continuous]
    narrow = [one.name for one in plain if one.minimum_flow_l_min and not one.highest_flow_l_min]
    if narrow:
        found.append(
            Stated(
                f"These draw their least flow and no more: {', '.join(narrow)}",
                _OWN,
                "makes the demand too low where a valve is opened further; give highest_flow_l_min",
            )
        )
    unknown = [one.name for one in plain if not one.equipment]
    if unknown:
        found.append(
            Stated(
                f"Air flows all the time through the equipment of: {', '.join(unknown)}",
                "the record does not say what kind it is",
                "",
            )
        )
    guessed = [
        f"{one.name} {one_flow_l_min(one, at_peak=False)[0]:g} L/min"
        for one in plain
        if one_flow_l_min(one, at_peak=False)[1] == ASSUMED
    ]
    if guessed:
        found.append(
            Stated(
                f"Flows that are not declared: {', '.join(guessed)}",
                "published least flow of 42 CFR 84 or 160 L/min of EN 14594, 5.11.1, whichever is "
                "more; for suits and unknown equipment 425 L/min of 42 CFR 84 (all confirmed)",
                "keeps the result from being proven",
            )
        )
    return found


def uncertainty(made: Worked) -> str:
    """Say how far it can be trusted.

    Parameters
    ----------
    made : Worked
        What was worked out.

    Returns
    -------
    str
        A few sentences.
    """
    supply = made.supply
    said = (
        f"The supply lies between {supply.low_l_min:.0f} and {supply.high_l_min:.0f} L/min, from the "
        "tolerance of the declared delivery and the weather at the intake; its low end is held against "
        "the high end of what is needed."
    )
    if made.leak is not None:
        said += (
            f" Leaks take {made.leak.low_l_min:.0f} to {made.leak.high_l_min:.0f} L/min, from how "
            "closely gauge and temperature were read."
        )
    if made.reached:
        said += " Pressures are worked out without water, ice, kinks or dirt in the lines."
    return said


def sources(made: Worked) -> tuple[str, ...]:
    """List where formulas and values were published.

    Parameters
    ----------
    made : Worked
        What was worked out.

    Returns
    -------
    tuple of str
        Sources with their standing.
    """
    kinds = {one.kind.kind: one.kind for one in made.wearers}
    published = {
        f"{figure.what}: {figure.value:g} {figure.unit}, {figure.source} ({figure.standing})."
        for kind in kinds.values()
        for figure in kind.published
    }
    return (
        "ISO 1217: free air delivery and its tolerance (from memory).",
        "ICAO Doc 7488, standard atmosphere: pressure at a height (from memory).",
        "Leaks: mass balance of an ideal gas with choked flow (computed).",
        "Pressures: isothermal flow in pipes with Colebrook's friction, solved for the whole network (computed).",
        *sorted(published),
    )


def left_out(made: Worked) -> tuple[str, ...]:
    """List what was not taken into account.

    Parameters
    ----------
    made : Worked
        What was worked out.

    Returns
    -------
    tuple of str
        Each with its reason.
    """
    found = ["Tools and whatever else takes air from the same lines: the sheet does not know them."]
    standing = [one.name for one in made.supply.deliveries if one.standby]
    if standing:
        found.append(
            f"Compressors that stand by or are out of service, since they do not run: {', '.join(standing)}."
        )
    if made.sheet.network is None:
        found.append("Hoses and pipes: they are not on the sheet.")
    found.append(
        "The wearer's own hose and valve behind the outlet: the pressures entered are those at the outlet."
    )
    return tuple(found)


def next_steps(made: Worked, state: str) -> tuple[str, ...]:
    """Say what to do now.

    Parameters
    ----------
    made : Worked
        What was worked out.
    state : str
        Its state.

    Returns
    -------
    tuple of str
        Steps.
    """
    found = []
    if made.margin_l_min < 0:
        found.append("Let fewer wearers on the air at once, or add a compressor.")
    if any(one.too_low for one in made.reached) or made.share < 1.0:
        found.append("Use wider or shorter hoses, or a higher pressure at the source.")
    if any(one.too_high for one in made.reached):
        found.append("Put a pressure regulator before the wearer, or set it lower.")
    if made.leak is None:
        found.append("Do a leak test with nobody on the air, and put it on the sheet.")
    if made.gaps:
        found.append(
            "Put what is missing on the plant sheet, from plates, instructions and measurements."
        )
    if made.supply.without_largest_l_min < made.needed_l_min and state == HOLDS:
        found.append(
            "With the largest compressor out of service there is not enough; see to it that everybody "
            "can then get to safe air: 'lungwort plant reserve'."
        )
    return tuple(found)
