"""Working out how long the reserve lasts, from a plant sheet alone."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air.gas import ZERO_CELSIUS_K
from lungwort.errors import PlantError
from lungwort.jobs import enough_air_gaps as gaps
from lungwort.jobs.enough_air_work import DROP_UNKNOWN
from lungwort.plant import network as net
from lungwort.plant._network_checks import PRESSURE_RANGE_BAR_G
from lungwort.plant.capacity import Site
from lungwort.plant.free_air import (
    FREE_PRESSURE_PA,
    FREE_TEMPERATURE_K,
    kg_s_of_l_min,
)
from lungwort.plant.leakage import leakage
from lungwort.plant.reserve import Course, last
from lungwort.wearers.demand import ASSUMED, Draw, draws

if TYPE_CHECKING:
    from collections.abc import Callable

    from lungwort.plant.filling import Heat
    from lungwort.plant.reserve import Receiver, Reserve
    from lungwort.plant.sheet import PlantSheet

MEAN: Final = "mean"
PEAK: Final = "peak"
SLOW: Final = "slow"
FAST: Final = "fast"


@frozen(kw_only=True)
class Worked:
    """What came out, before it is put into words.

    Parameters
    ----------
    draws : tuple of Draw
        What the wearers draw at the peak.
    mean_l_min, peak_l_min : float
        What all wearers draw, on average and at the height of their breaths [L/min].
    leak_l_min : float, optional
        Loss by leaks, upper end; None where it was not measured [L/min].
    least_bar_g : float, optional
        Least pressure where the reserve feeds in; None where no pressure is enough [bar(g)].
    least_by_node : dict of str to float or None
        The same by place [bar(g)].
    with_network : bool
        Whether hoses and pipes were taken into account.
    courses : dict
        By (mean or peak, slow or fast).
    doubts : tuple of str
        Why nothing is proven, all that was found.
    """

    draws: tuple[Draw, ...]
    mean_l_min: float
    peak_l_min: float
    leak_l_min: float | None
    least_bar_g: float | None
    least_by_node: dict[str, float | None]
    with_network: bool
    courses: dict[tuple[str, str], Course]
    doubts: tuple[str, ...]

    @property
    def shortest_min(self) -> float:
        """Least time: at the peak, without heat from walls [min]."""
        return self.courses[PEAK, FAST].lasts_min if self.courses else 0.0

    @property
    def longest_min(self) -> float:
        """Greatest time: on average, at a constant temperature [min]."""
        return self.courses[MEAN, SLOW].lasts_min if self.courses else 0.0


def worked(sheet: PlantSheet) -> Worked:
    """Work out how long the air lasts when the compressor stops.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.

    Returns
    -------
    Worked
        Times, pressures, and why nothing may be proven.

    Raises
    ------
    PlantError
        Where nobody is on the air, nothing holds air, or no wearer's least pressure is stated.
    """
    if not sheet.wearers:
        raise PlantError(
            f"{sheet.origin} does not say who is on the air. Add a table [[wearer]] for each; "
            "'lungwort plant form' shows how."
        )
    if not sheet.receivers and not sheet.reserves:
        raise PlantError(
            f"{sheet.origin} has neither a [[receiver]] nor a [[reserve]], so nothing holds air when "
            "the compressor stops. Add what there is; 'lungwort plant form' shows how."
        )
    atmosphere_pa = Site(altitude_m=sheet.place.altitude_m).atmosphere_pa
    weight = _weight(sheet, atmosphere_pa)
    mean, peak = (draws(sheet.wearers, at_peak=at_peak, weight=weight) for at_peak in (False, True))
    leak_l_min, doubts = _leak(sheet, atmosphere_pa)
    by_node, more = _least(sheet, peak, atmosphere_pa)
    least = _highest(by_node)
    doubts = [
        *_doubts_of(peak),
        *(text for one in sheet.wearers for text in gaps.slips(one)),
        *(text for one in sheet.wearers for text in gaps.no_greatest_flow(one)),
        *doubts,
        *gaps.of_cylinders(sheet.reserves),
        *gaps.of_place(sheet),
        *gaps.of_lines(sheet),
        *_doubts_of_vessels(sheet, atmosphere_pa),
        *_doubts_of_margin(sheet, least),
    ]
    flows = {MEAN: _sum(mean), PEAK: _sum(peak)}
    courses = {}
    if least is not None:
        for name, flow in flows.items():
            for heat in _HEATS:
                courses[name, str(heat)] = last(
                    sheet.receivers,
                    sheet.reserves,
                    draw_kg_s=kg_s_of_l_min(flow + (leak_l_min or 0.0)),
                    least_bar_g=least,
                    temperature_c=sheet.place.air_temperature_c,
                    heat=heat,
                )
    return Worked(
        draws=peak,
        mean_l_min=flows[MEAN],
        peak_l_min=flows[PEAK],
        leak_l_min=leak_l_min,
        least_bar_g=least,
        least_by_node=by_node,
        with_network=sheet.network is not None,
        courses=courses,
        doubts=(*more, *doubts),
    )


REGULATOR_DROOP: Final = 0.1
"""Share by which the pressure behind a regulator may fall when air flows; common practice, no
source [-]."""
_SAME_PRESSURE_BAR: Final = 0.05
_HEATS: Final[tuple[Heat, ...]] = ("slow", "fast")


def _sum(drawn: tuple[Draw, ...]) -> float:
    return math.fsum(one.flow_l_min for one in drawn)


def _weight(sheet: PlantSheet, atmosphere_pa: float) -> float:
    kelvin = sheet.place.air_temperature_c + ZERO_CELSIUS_K
    return (atmosphere_pa / FREE_PRESSURE_PA) * (FREE_TEMPERATURE_K / kelvin)


def _leak(sheet: PlantSheet, atmosphere_pa: float) -> tuple[float | None, list[str]]:
    if not sheet.leak_tests:
        return None, ["No leak test is on the sheet; what the lines lose is counted as nothing."]
    # Leaks lose most at the highest pressure that still occurs: the one at which it begins.
    begins = [one.pressure_bar_g for one in sheet.receivers]
    begins += [one.outlet_bar_g for one in sheet.reserves]
    if not begins:
        return None, []
    found = leakage(
        sheet.leak_tests,
        max(begins),
        air_c=sheet.place.air_temperature_c,
        atmosphere_pa=atmosphere_pa,
    )
    return found.high_l_min, list(gaps.of_leaks(found, sheet))


def _doubts_of(drawn: tuple[Draw, ...]) -> list[str]:
    doubts = []
    for one in drawn:
        if one.source == ASSUMED:
            doubts.append(
                f"What {one.name} draws is not declared on the sheet; {one.flow_l_min:.0f} L/min are "
                "assumed."
            )
        if one.minimum_bar_g is None:
            doubts.append(f"The least pressure for {one.name} is not on the sheet.")
    return doubts


def _doubts_of_vessels(sheet: PlantSheet, atmosphere_pa: float) -> list[str]:
    """Tell which pressures on the sheet do not go together."""
    doubts = [
        (
            f"{one.name} holds {one.pressure_bar_g:g} bar(g), and no compressor of the sheet is declared "
            f"for more than {highest:g} bar(g). Put right whichever is wrong."
        )
        for highest in [max((m.declared_at_bar_g or 0.0 for m in sheet.compressors), default=0.0)]
        for one in sheet.receivers
        if 0.0 < highest < one.pressure_bar_g
    ]
    feeds = [(one.name, one.at, one.pressure_bar_g, "holds") for one in sheet.receivers]
    feeds += [
        (f"the regulator of {one.name}", one.at, one.outlet_bar_g, "lets through")
        for one in sheet.reserves
    ]
    for name, at, pressure, does in feeds:
        still = _still(sheet, at, pressure, atmosphere_pa)
        doubts += [
            (
                f"{wearer.name} at {wearer.at} bears {wearer.maximum_bar_g:g} bar(g) at most; {name} "
                f"{does} {pressure:g} bar(g), and {still(wearer.at):.3g} bar(g) of it stand there with "
                "nobody on the air. Put the [[regulator]] on the way on the sheet."
            )
            for wearer in sheet.wearers
            if wearer.maximum_bar_g is not None
            and still(wearer.at) > wearer.maximum_bar_g + _SAME_PRESSURE_BAR
        ]
    return doubts + [
        f"Whether {one.name} opens by itself is not on the sheet (opens_after_min); it is taken to."
        for one in sheet.reserves
        if one.opens_after_min is None
    ]


def _still(
    sheet: PlantSheet, at: str, pressure_bar_g: float, atmosphere_pa: float
) -> Callable[[str], float]:
    """Give the pressure at each place with nobody on the air, fed from one place alone."""
    network = sheet.network
    if network is None:
        return lambda _: pressure_bar_g
    node = at or network.sources[0].node
    if pressure_bar_g > PRESSURE_RANGE_BAR_G[1]:
        # No line bears that: it is told as it is, and nothing is solved.
        return lambda _: pressure_bar_g
    fed = net.Network(
        pipes=network.pipes,
        sources=(net.Source(node=node, pressure_bar_g=pressure_bar_g),),
        regulators=network.regulators,
    )
    found = net.solve(fed, {}, atmosphere_pa=atmosphere_pa)
    return lambda place: (
        found.pressure_bar_g(place, atmosphere_pa) if place in found.pressure_pa else pressure_bar_g
    )


def _doubts_of_margin(sheet: PlantSheet, least: float | None) -> list[str]:
    """Tell which regulators hold too little above what is needed to count on them."""
    if least is None:
        return []
    return [
        (
            f"The regulator of {one.name} is set to {one.outlet_bar_g:g} bar(g), and {least:.3g} bar(g) "
            f"are needed: that is within the {REGULATOR_DROOP:.0%} by which its pressure may fall when "
            "air flows. Set it higher, or try it with everybody on the air."
        )
        for one in sheet.reserves
        if least <= one.outlet_bar_g < least * (1.0 + REGULATOR_DROOP)
    ]


def _highest(by_node: dict[str, float | None]) -> float | None:
    found = [one for one in by_node.values() if one is not None]
    return max(found) if found and len(found) == len(by_node) else None


def _least(
    sheet: PlantSheet, peak: tuple[Draw, ...], atmosphere_pa: float
) -> tuple[dict[str, float | None], list[str]]:
    """Find the least pressure at each place where air is fed in."""
    stated = [one.minimum_bar_g for one in peak if one.minimum_bar_g is not None]
    if not stated:
        raise PlantError(
            f"{sheet.origin} states the least pressure of no wearer. Add minimum_bar_g to each "
            "[[wearer]]."
        )
    if sheet.network is None:
        hoses = (
            "Hoses and pipes are not on the sheet, so the pressure that they take away is not taken "
            "into account."
        )
        return {"": max(stated)}, [hoses]
    places, doubts = _places(sheet, sheet.network)
    drawn: dict[str, float] = {}
    needed: dict[str, float] = {}
    for one in peak:
        drawn[one.at] = drawn.get(one.at, 0.0) + kg_s_of_l_min(one.flow_l_min)
        if one.minimum_bar_g is not None:
            needed[one.at] = max(needed.get(one.at, 0.0), one.minimum_bar_g)
    found = {}
    for node in places:
        fed = _fed_from(sheet.network, node)
        pressure = net.least_source_pressure(
            fed,
            drawn,
            needed,
            temperature_k=sheet.place.air_temperature_c + ZERO_CELSIUS_K,
            atmosphere_pa=atmosphere_pa,
        )
        if pressure is not None and needed:
            # The fall of pressure is counted a fifth greater, as where enough air is asked for; it
            # is at most what lies between the source and the one who needs least.
            pressure += DROP_UNKNOWN * max(pressure - min(needed.values()), 0.0)
        found[node] = pressure
    return found, doubts


def _fed_from(network: net.Network, node: str) -> net.Network:
    try:
        return net.Network(
            pipes=network.pipes,
            sources=(net.Source(node=node, pressure_bar_g=1.0),),
            regulators=network.regulators,
        )
    except PlantError as error:
        raise PlantError(
            f"With the compressor stopped, air comes from {node!r} alone, and then: {error} Correct "
            "where the receiver or reserve stands (key 'at')."
        ) from None


def _places(sheet: PlantSheet, network: net.Network) -> tuple[tuple[str, ...], list[str]]:
    sources = tuple(dict.fromkeys(one.node for one in network.sources))
    places: dict[str, str] = {}
    doubts = []
    things: tuple[Receiver | Reserve, ...] = (*sheet.receivers, *sheet.reserves)
    for one in things:
        node = one.at or sources[0]
        if not one.at and len(sources) > 1:
            doubts.append(f"Where {one.name} stands is not on the sheet; {node} is assumed.")
        if node not in network.nodes:
            raise PlantError(
                f"{one.name} stands at {node!r}, which is no node of the pipes. Nodes: "
                f"{', '.join(network.nodes)}. Correct its key 'at'."
            )
        places.setdefault(node, one.name)
    if len(places) > 1:
        doubts.append(
            f"Air is fed in at several places ({', '.join(places)}). Each is taken to feed alone, and "
            "the one that needs the highest pressure counts for all."
        )
    return tuple(places), doubts
