"""What is missing to prove that there is enough air."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.wearers.demand import ASSUMED, one_flow_l_min
from lungwort.wearers.demand_equipment import LEAST_FLOW

if TYPE_CHECKING:
    from collections.abc import Iterable

    from lungwort.plant.bank import Bank
    from lungwort.plant.capacity import Compressor
    from lungwort.plant.leakage import Leakage
    from lungwort.plant.reserve import Reserve
    from lungwort.plant.sheet import PlantSheet
    from lungwort.wearers.demand import Wearer

DOUBTED_SHARE: Final = 0.6
"""Share of the published least flow below which a declared one is taken for a slip; own rule [-]."""
LOW_PRESSURE_BAR_G: Final = 1.0
"""Least pressure of equipment on a hose below which a figure is taken for a slip; own rule [bar(g)]."""
BREATHS: Final = 4.0
"""Times the mean above which a declared flow is no demand valve's: a breath has pi; own rule [-]."""
LARGEST_CYLINDER_L: Final = 200.0
"""Water volume of one cylinder above which a figure is taken for litres of air: cylinders hold up to
150 L (ISO 9809-1, scope; from memory), tubes more; own rule [L]."""
FULL_FROM_BAR_G: Final = 30.0
"""Pressure from which a vessel is a cylinder and no receiver; own rule [bar(g)]."""
TOO_MUCH_AIR: Final = 3.0
"""Times the flow through the treatment above which a delivery is taken for a slip; own rule [-]."""
SHORTEST_HOSE_M: Final = 0.5
"""Length of a hose below which a figure is taken for a slip; own rule [m]."""
HIGH_M: Final = 1000.0
"""Height from which what a compressor draws in is doubted [m]; own rule."""
NO_HEIGHT: Final = "The height above the sea is not given; 0 m is assumed."
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
        found += no_greatest_flow(one)
        if not one.continuous and one.work is None:
            found.append(f"How hard {one.name} works is not given; heavy work is assumed.")
        if one.minimum_bar_g is None:
            found.append(f"The least pressure for {one.name} is not given.")
        if one.maximum_bar_g is None:
            found.append(f"The greatest pressure for {one.name} is not given.")
        found += slips(one)
    return tuple(found)


def no_greatest_flow(one: Wearer) -> list[str]:
    """Tell where only the least flow of equipment is known through which air flows all the time.

    Parameters
    ----------
    one : Wearer
        The wearer.

    Returns
    -------
    list of str
        A sentence, or none.
    """
    if not one.continuous or one.minimum_flow_l_min is None or one.highest_flow_l_min is not None:
        return []
    return [
        (
            f"The greatest flow of {one.name}, with its valve wide open, is not given: {one.minimum_flow_l_min:g} "
            "L/min are counted, the least, and whoever opens it draws more (highest_flow_l_min)."
        )
    ]


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
    found += _against_treatment(sheet, [one for one in machines if not one.standby])
    found += of_lines(sheet)
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
        found.append(NO_HEIGHT)
    elif sheet.place.altitude_m > HIGH_M and any(not one.standby for one in machines):
        found.append(
            f"At {sheet.place.altitude_m:g} m a compressor also draws in less than its volume: how much "
            "less is not counted. Have the delivery declared for this height, or measure it there."
        )
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


def _against_treatment(sheet: PlantSheet, running: list[Compressor]) -> list[str]:
    """Tell where the compressors are said to deliver far more than goes through the treatment."""
    flows = [one.flow_l_min for one in sheet.treatments if one.flow_l_min is not None]
    delivered = sum(one.free_air_l_min for one in running)
    if not flows or delivered <= TOO_MUCH_AIR * max(flows):
        return []
    return [
        (
            f"The compressors are said to deliver {delivered:g} L/min, and {max(flows):g} L/min go through "
            "the treatment. Check both figures and their unit: litres a minute, not an hour; what does not "
            "pass the treatment is no breathing air."
        )
    ]


def of_lines(sheet: PlantSheet) -> list[str]:
    """Tell which hoses and sources of a sheet look like slips.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.

    Returns
    -------
    list of str
        A sentence for each; empty for none.
    """
    if sheet.network is None:
        return []
    hoses = [one for one in sheet.network.pipes if one.kind == "hose"]
    found = [
        f"The hose {one.name!r} is {one.length_m:g} m long by the sheet. Check the figure and its unit."
        for one in hoses
        if one.length_m < SHORTEST_HOSE_M
    ]
    fed = {one.node for one in sheet.network.sources}
    found += [
        f"A pressure is held at {one.at} itself, where {one.name} is on the air, so no hose is counted for "
        "it. Put the [[source]] where the regulator or receiver stands."
        for one in sheet.wearers
        if one.at in fed and hoses
    ]
    return found


def no_losses(sheet: PlantSheet) -> tuple[str, ...]:
    """Tell where couplings, valves and bends are counted as nothing.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.

    Returns
    -------
    tuple of str
        A sentence, or none.
    """
    pipes = () if sheet.network is None else sheet.network.pipes
    if not any(one.kind == "hose" for one in pipes) or any(one.loss_coefficient for one in pipes):
        return ()
    return (
        (
            "No pipe or hose has a loss_coefficient: couplings, valves and bends are counted as nothing, and "
            "often take more than the hose."
        ),
    )


def of_place(sheet: PlantSheet) -> list[str]:
    """Tell what is missing of the place where air is stored.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.

    Returns
    -------
    list of str
        A sentence for each; empty for nothing.
    """
    found = []
    if "altitude_m" not in sheet.place.stated:
        found.append(NO_HEIGHT)
    if "air_temperature_c" not in sheet.place.stated:
        found.append(
            f"The temperature of the air in the lines is not given; {sheet.place.air_temperature_c:g} °C "
            "is assumed."
        )
    return found


def of_cylinders(vessels: Iterable[Reserve | Bank]) -> list[str]:
    """Tell which water volumes look like litres of air.

    Parameters
    ----------
    vessels : iterable of Reserve or Bank
        Cylinders.

    Returns
    -------
    list of str
        A sentence for each; empty for none.
    """
    return [
        f"{one.name}: {one.volume_l:g} L of water volume are given for one cylinder at "
        f"{one.pressure_bar_g:g} bar(g). Cylinders hold 150 L at most as a rule; this looks like litres of "
        "air. Give the water volume that is stamped on it."
        for one in vessels
        if one.volume_l > LARGEST_CYLINDER_L and one.pressure_bar_g >= FULL_FROM_BAR_G
    ]


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
