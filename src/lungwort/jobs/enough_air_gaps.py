"""What is missing to prove that there is enough air."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lungwort.wearers.demand import ASSUMED, one_flow_l_min

if TYPE_CHECKING:
    from collections.abc import Iterable

    from lungwort.plant.capacity import Compressor
    from lungwort.plant.leakage import Leakage
    from lungwort.plant.sheet import PlantSheet
    from lungwort.wearers.demand import Wearer


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
    return tuple(found)


def of_supply(
    sheet: PlantSheet, machines: Iterable[Compressor], *, intake_given: bool = False
) -> tuple[str, ...]:
    """Tell what is missing of the compressors and of the place where they stand.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.
    machines : iterable of Compressor
        The compressors.
    intake_given : bool
        Whether the temperature at the intake was given in place of the sheet's.

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
    if "altitude_m" not in sheet.place.stated:
        found.append("The height above the sea is not given; 0 m is assumed.")
    if sheet.place.intake_temperature_c is None and not intake_given:
        found.append("The temperatures at the intake are not given; up to 45 °C is assumed.")
    return tuple(found)


def of_leaks(leak: Leakage | None) -> tuple[str, ...]:
    """Tell what is missing of the leak test.

    Parameters
    ----------
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
    return tuple(text for text in leak.doubts if "less than one step" not in text)
