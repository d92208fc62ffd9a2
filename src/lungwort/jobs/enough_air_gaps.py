"""What is missing to prove that there is enough air."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.wearers.demand import ASSUMED, one_flow_l_min
from lungwort.wearers.demand_equipment import LEAST_FLOW

if TYPE_CHECKING:
    from collections.abc import Iterable

    from lungwort.plant.capacity import Compressor
    from lungwort.plant.leakage import Leakage
    from lungwort.plant.sheet import PlantSheet
    from lungwort.wearers.demand import Wearer

DOUBTED_SHARE: Final = 0.6
"""Share of the published least flow below which a declared one is taken for a slip; own rule [-]."""
LOW_PRESSURE_BAR_G: Final = 1.0
"""Least pressure of equipment on a hose below which a figure is taken for a slip; own rule [bar(g)]."""
BREATHS: Final = 4.0
"""Times the mean above which a declared flow is no demand valve's: a breath has pi; own rule [-]."""
SAME_PRESSURE_BAR: Final = 0.05
"""Pressures nearer to each other are the same reading of a gauge; own rule [bar]."""


def of_wearers(wearers: Iterable[Wearer]) -> tuple[str, ...]:
    """Tell what is missing of the wearers.

    Parameters
    ----------
    wearers : iterable of Wearer
        All that are on the air.

    Returns
    -------
    tuple of str
        A sentence for each; empty for nothing.
    """
    found = []
    for one in wearers:
        flow, source = one_flow_l_min(one, at_peak=False)
        if one.minimum_flow_l_min is None:
            counted = f" {flow:.0f} L/min each are assumed." if source == ASSUMED else ""
            found.append(
                f"The least flow of {one.name}, declared by the maker of the equipment, is not "
                f"given.{counted}"
            )
        if not one.continuous and one.work is None:
            found.append(f"How hard {one.name} works is not given; heavy work is assumed.")
        if one.minimum_bar_g is None:
            found.append(f"The least pressure for {one.name} is not given.")
        if one.maximum_bar_g is None:
            found.append(f"The greatest pressure for {one.name} is not given.")
        found += slips(one)
    return tuple(found)


def slips(one: Wearer) -> list[str]:
    """Tell which figures of a wearer look like slips of unit or of equipment.

    Parameters
    ----------
    one : Wearer
        The wearer.

    Returns
    -------
    list of str
        A sentence for each; empty for none.
    """
    found = []
    flow, _ = one_flow_l_min(one, at_peak=False)
    if one.minimum_bar_g is not None and one.minimum_bar_g < LOW_PRESSURE_BAR_G:
        found.append(
            f"{one.name}: a least pressure of {one.minimum_bar_g:g} bar(g) is little for equipment on "
            "a hose. Check the figure and its unit: bar(g), not MPa."
        )
    if not one.continuous and one.minimum_flow_l_min and one.minimum_flow_l_min > BREATHS * flow:
        found.append(
            f"{one.name}: a least flow of {one.minimum_flow_l_min:g} L/min is declared, and "
            f"{flow:.0f} L/min are counted for a demand valve. If it is a helmet or hood with "
            "continuous flow, say so as its equipment."
        )
    least = one.kind.figure(LEAST_FLOW)
    declared = one.minimum_flow_l_min
    if declared and least and declared < DOUBTED_SHARE * least.value:
        found.append(
            f"{one.name}: {declared:g} L/min is far below the {least.value:g} L/min of "
            f"{least.source} ({least.standing}); nobody breathes from so little. Check the figure "
            "and its unit: L/min, not cubic feet or cubic metres."
        )
    return found


def of_supply(
    sheet: PlantSheet, machines: Iterable[Compressor], *, intake_c: float | None = None
) -> tuple[str, ...]:
    """Tell what is missing of the compressors and of the place where they stand.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.
    machines : iterable of Compressor
        The compressors.
    intake_c : float, optional
        Temperature at the intake in place of the sheet's [°C].

    Returns
    -------
    tuple of str
        A sentence for each; empty for nothing.
    """
    found = []
    held = max((one.pressure_bar_g for one in sheet.network.sources), default=0.0) if sheet.network else 0.0  # fmt: skip
    for one in machines:
        if one.standby:
            continue
        if one.declared_at_bar_g is None:
            found.append(f"At which pressure the delivery of {one.name} is declared is not given.")
        elif one.declared_at_bar_g < held:
            found.append(
                f"The delivery of {one.name} is declared for {one.declared_at_bar_g:g} bar(g), and "
                f"{held:g} bar(g) are held at the source; there it may deliver less, or not get so far."
            )
        if "purge_percent" not in one.stated and any(
            stage.regenerates for stage in sheet.treatments
        ):
            found.append(
                f"A drier of the sheet regenerates itself, which may take air away from {one.name}, and "
                "how much is not given (purge_percent; 0 where it takes none)."
            )
    found += [
        (
            f"The pressure in receiver {vessel.name} falls to {vessel.pressure_bar_g:g} bar(g) before "
            f"the compressor cuts in, and {held:g} bar(g) are said to be held at the source. Put the "
            "lower one at the [[source]], or the [[regulator]] between them on the sheet."
        )
        for vessel in sheet.receivers
        if vessel.pressure_bar_g < held - SAME_PRESSURE_BAR
    ]
    if "altitude_m" not in sheet.place.stated:
        found.append("The height above the sea is not given; 0 m is assumed.")
    stated = sheet.place.intake_temperature_c
    if stated is None and intake_c is None:
        found.append("The temperatures at the intake are not given; up to 45 °C is assumed.")
    elif stated is not None and intake_c is not None and intake_c < stated[1]:
        found.append(
            f"An intake of {intake_c:g} °C was asked for, and it gets up to {stated[1]:g} °C by the "
            "sheet: this is not the worst day."
        )
    resting = [one.name for one in machines if one.standby]
    if resting and sheet.network and len(sheet.network.sources) > 1:
        found.append(
            f"{', '.join(resting)} stands by or is out of service, and the sheet has "
            f"{len(sheet.network.sources)} sources of pressure: which of them is then without air is not "
            "known. Leave only those [[source]] that are fed."
        )
    return tuple(found)


def of_leaks(leak: Leakage | None, sheet: PlantSheet) -> tuple[str, ...]:
    """Tell what is missing of the leak test.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.
    leak : Leakage, optional
        The loss; None where it was not measured.

    Returns
    -------
    tuple of str
        A sentence for each; empty for nothing.
    """
    if leak is None:
        return ("No leak test is given, so what the lines lose is not known; nothing is counted.",)
    # A fall too small to be read is no gap: its upper end is counted.
    found = [text for text in leak.doubts if "less than one step" not in text]
    tested = sum(one.volume_l for one in sheet.leak_tests)
    vessels = sum(one.volume_l for one in sheet.receivers)
    if tested < vessels:
        found.append(
            f"The leak test counts {tested:g} L, and the receivers alone hold {vessels:g} L: either they "
            "were shut off from the test, or its volume is wrong. Give the volume of all that was under "
            "pressure, in litres."
        )
    return tuple(found)
