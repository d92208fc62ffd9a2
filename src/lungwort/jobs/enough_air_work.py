"""Working out from a plant sheet alone whether there is enough air."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.air.gas import ZERO_CELSIUS_K
from lungwort.errors import PlantError
from lungwort.jobs import enough_air_gaps as gaps
from lungwort.plant import network as net
from lungwort.plant.capacity import (
    ASSUMED_HUMIDITY_PERCENT,
    ASSUMED_INTAKE_C,
    Compressor,
    Site,
    Supply,
    supply,
)
from lungwort.plant.free_air import FREE_PRESSURE_PA, FREE_TEMPERATURE_K, kg_s_of_l_min
from lungwort.plant.leakage import Leakage, leakage
from lungwort.wearers.demand import ASSUMED, Draw, Wearer, draws, told_of
from lungwort.wearers.demand_peak import PeakFlow, peak_flow

if TYPE_CHECKING:
    from lungwort.plant.sheet import PlantSheet

BREATH_S: Final = 3.0
"""Longest breath that receivers have to ride through; own rule [s]."""
BREATH_DIP_BAR: Final = 0.1
"""Fall of pressure that is allowed while they do; own rule [bar]."""
DROP_UNKNOWN: Final = 0.2
"""By how much of itself a fall of pressure may be greater than worked out [-]: friction and K of
couplings; own rule."""
INTAKE_RANGE_C: Final = (-50.0, 60.0)


@frozen(kw_only=True)
class Reached:
    """Pressures at the place of a wearer.

    Parameters
    ----------
    name, at : str
        Wearer and outlet.
    likely_bar_g, low_bar_g : float, optional
        With all on the air at the height of their breaths: as worked out, and with a fall of
        pressure that is greater by `DROP_UNKNOWN` [bar(g)]; None where not all comes through.
    still_bar_g : float
        With nobody on the air [bar(g)].
    minimum_bar_g, maximum_bar_g : float, optional
        Between which the equipment works [bar(g)].
    """

    name: str
    at: str
    likely_bar_g: float | None
    low_bar_g: float | None
    still_bar_g: float
    minimum_bar_g: float | None
    maximum_bar_g: float | None

    @property
    def margin_bar(self) -> float:
        """How far the low end lies above the least that is needed [bar]; minus infinity without."""
        if self.low_bar_g is None:
            return -math.inf
        return self.low_bar_g - (self.minimum_bar_g or 0.0)

    @property
    def too_low(self) -> bool:
        """Whether the pressure as worked out is below the least."""
        if self.minimum_bar_g is None:
            return False
        return self.likely_bar_g is None or self.likely_bar_g < self.minimum_bar_g

    @property
    def too_high(self) -> bool:
        """Whether it is above the greatest with nobody on the air."""
        return self.maximum_bar_g is not None and self.still_bar_g > self.maximum_bar_g + 1e-9


@frozen(kw_only=True)
class Worked:
    """What came out, before it is put into words.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.
    wearers : tuple of Wearer
        All, also those from the record.
    site : Site
        Where the compressors draw in, as counted with.
    supply : Supply
        What they deliver.
    weight : float
        How much more a litre weighs where it is breathed than free air [-].
    mean, peak : tuple of Draw
        What the wearers draw on average, and at the height of their breaths.
    spread : PeakFlow
        Flow of the demand valves together.
    at_peak : bool
        Whether the compressors have to follow the peak, since no receiver evens it out.
    leak : Leakage, optional
        Loss at the working pressure; None where it was not measured.
    reached : tuple of Reached
        Pressure at each wearer that could be worked out.
    share : float
        Share of the draws that comes through, 0 to 1 [-].
    choked : tuple of str
        Pipes in which air moves as fast as it can.
    starved : str
        Outlet that is left without pressure first where not all comes through; empty else.
    lacking : bool
        Whether a pressure is wrong, not only by flows that are assumed.
    gaps : tuple of str
        Why nothing is proven; empty for none.
    told : tuple of str
        What else has to be said of what is declared.
    flowing : Solution, optional
        Pressures and flows in the lines with all breaths at their height; None without a network.
    """

    sheet: PlantSheet
    wearers: tuple[Wearer, ...]
    site: Site
    supply: Supply
    weight: float
    mean: tuple[Draw, ...]
    peak: tuple[Draw, ...]
    spread: PeakFlow
    at_peak: bool
    leak: Leakage | None
    reached: tuple[Reached, ...]
    share: float
    choked: tuple[str, ...]
    starved: str
    lacking: bool
    gaps: tuple[str, ...]
    told: tuple[str, ...]
    flowing: net.Solution | None = None

    @property
    def counted(self) -> tuple[Draw, ...]:
        """Draws that the compressors have to deliver."""
        return self.peak if self.at_peak else self.mean

    @property
    def drawn_l_min(self) -> float:
        """What the wearers need of the compressors, high end [L/min]."""
        return math.fsum(one.flow_l_min for one in self.counted)

    @property
    def needed_l_min(self) -> float:
        """The same with the leaks [L/min]."""
        return self.drawn_l_min + (self.leak.high_l_min if self.leak else 0.0)

    @property
    def margin_l_min(self) -> float:
        """Low end of the supply above what is needed [L/min]."""
        return self.supply.low_l_min - self.needed_l_min

    @property
    def short(self) -> bool:
        """Whether the supply is too little, not only by what was assumed."""
        if self.margin_l_min >= 0:
            return False
        sure = math.fsum(one.flow_l_min for one in self.counted if one.source != ASSUMED)
        return all(
            one.source != ASSUMED for one in self.counted
        ) or self.supply.low_l_min < sure + (self.leak.low_l_min if self.leak else 0.0)


def worked(
    sheet: PlantSheet,
    more: tuple[Wearer, ...] = (),
    *,
    intake_c: float | None = None,
    without: str | None = None,
) -> Worked:
    """Work out whether there is enough air.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.
    more : tuple of Wearer
        Wearers that the sheet does not name.
    intake_c : float, optional
        Highest temperature at the intake in place of the sheet's, -50 to 60 [°C].
    without : str, optional
        Name of a compressor that is out of service.

    Returns
    -------
    Worked
        Supply, demand, pressures, and why nothing may be proven.

    Raises
    ------
    PlantError
        Where there is no compressor or nobody on the air, a name is not known, or a figure is out of
        range.
    """
    wearers = (*sheet.wearers, *more)
    machines = _machines(sheet, without)
    if not wearers:
        raise PlantError(
            f"{sheet.origin} does not say who is on the air. Add a table [[wearer]] for each; "
            "'lungwort plant form' shows how."
        )
    site = _site(sheet, intake_c)
    kelvin = sheet.place.air_temperature_c + ZERO_CELSIUS_K
    weight = (site.atmosphere_pa / FREE_PRESSURE_PA) * (FREE_TEMPERATURE_K / kelvin)
    mean, peak = (draws(wearers, at_peak=at_peak, weight=weight) for at_peak in (False, True))
    valves = [
        one.ventilation_l_min * max(weight, 1.0)
        for one in wearers
        if not one.continuous
        for _ in range(one.simultaneous)
    ]
    leak = _leak(sheet, site)
    reached, flowing = _reached(sheet, peak, site, leak)
    made = Worked(
        sheet=sheet,
        wearers=wearers,
        site=site,
        supply=supply(machines, site),
        weight=weight,
        mean=mean,
        peak=peak,
        spread=peak_flow(valves),
        at_peak=bool(valves) and not rides_through(sheet, mean, peak),
        leak=leak,
        reached=reached,
        share=1.0 if flowing is None else flowing.share,
        choked=() if flowing is None else flowing.choked,
        flowing=flowing,
        starved=_starved(flowing, reached),
        lacking=_lacking(sheet, peak, site, leak),
        gaps=(),
        told=(
            *_sharing(sheet, wearers),
            *gaps.no_losses(sheet),
            *dict.fromkeys(text for one in wearers for text in told_of(one)),
        ),
    )
    found = (
        *gaps.of_wearers(wearers),
        *gaps.of_supply(sheet, machines, intake_c=intake_c),
        *gaps.of_leaks(leak, sheet),
        *_gaps_of_pressure(made),
    )
    return evolve(made, gaps=found)


def _sharing(sheet: PlantSheet, wearers: tuple[Wearer, ...]) -> tuple[str, ...]:
    """Tell where several draw through one hose, since each may have a hose of their own."""
    hoses = {} if sheet.network is None else {
        one.end: one.name for one in sheet.network.pipes if one.kind == "hose"
    }  # fmt: skip
    counts: dict[str, int] = {}
    for one in wearers:
        counts[one.at] = counts.get(one.at, 0) + one.simultaneous
    return tuple(
        f"{count} wearers draw through the one hose {hoses[at]!r} to {at}. If each has a hose of their own, "
        "give each a node and a [[pipe]]."
        for at, count in counts.items()
        if count > 1 and at in hoses
    )


def rides_through(sheet: PlantSheet, mean: tuple[Draw, ...], peak: tuple[Draw, ...]) -> bool:
    """Tell whether the receivers give what a breath takes beyond the mean.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.
    mean, peak : tuple of Draw
        What is drawn on average, and with all breaths at their height.

    Returns
    -------
    bool
        Whether their pressure falls by no more than `BREATH_DIP_BAR` while a breath of
        `BREATH_S` takes all of the difference; own rule.
    """
    beyond = sum(one.flow_l_min for one in peak) - sum(one.flow_l_min for one in mean)
    held = sum(one.volume_l for one in sheet.receivers)
    return beyond * BREATH_S / 60.0 <= held * BREATH_DIP_BAR


def _machines(sheet: PlantSheet, without: str | None) -> tuple[Compressor, ...]:
    if not sheet.compressors:
        raise PlantError(
            f"{sheet.origin} states no compressor. Add a table [[compressor]] for each; "
            "'lungwort plant form' shows how."
        )
    names = [one.name for one in sheet.compressors]
    if without is not None and without not in names:
        raise PlantError(
            f"{sheet.origin} has no compressor {without!r}. It has: "
            f"{', '.join(map(repr, names))}. Name one of them with --without."
        )
    return tuple(
        evolve(one, standby=True) if one.name == without else one for one in sheet.compressors
    )


def _site(sheet: PlantSheet, intake_c: float | None) -> Site:
    place = sheet.place
    low, high = place.intake_temperature_c or ASSUMED_INTAKE_C
    if intake_c is not None:
        if not INTAKE_RANGE_C[0] <= intake_c <= INTAKE_RANGE_C[1]:
            raise PlantError(
                f"--intake {intake_c:g} °C is outside {INTAKE_RANGE_C[0]:g} to "
                f"{INTAKE_RANGE_C[1]:g} °C. Give the highest temperature of the air that is drawn in."
            )
        low, high = min(low, intake_c), intake_c
    return Site(
        altitude_m=place.altitude_m,
        intake_c=(low, high),
        humidity_percent=place.intake_humidity_percent or ASSUMED_HUMIDITY_PERCENT,
    )


def _leak(sheet: PlantSheet, site: Site) -> Leakage | None:
    if not sheet.leak_tests:
        return None
    pressures = [one.pressure_bar_g for one in sheet.network.sources] if sheet.network else []
    if not pressures:
        pressures = [one.declared_at_bar_g for one in sheet.compressors if one.declared_at_bar_g]
    if not pressures:
        pressures = [one.from_bar_g for one in sheet.leak_tests]
    return leakage(
        sheet.leak_tests,
        max(pressures),
        air_c=sheet.place.air_temperature_c,
        atmosphere_pa=site.atmosphere_pa,
    )


def _reached(
    sheet: PlantSheet, peak: tuple[Draw, ...], site: Site, leak: Leakage | None
) -> tuple[tuple[Reached, ...], net.Solution | None]:
    """Give the pressure at each wearer; wearers of the record at no node are left out."""
    if sheet.network is None:
        return (), None
    nodes = set(sheet.network.nodes)
    named = {(one.name, one.at) for one in sheet.wearers}
    there = [one for one in peak if one.at in nodes or (one.name, one.at) in named]
    # Nobody knows where the leaks are; at the outlets they take away the most pressure.
    total = math.fsum(one.flow_l_min for one in there)
    more = 1.0 + (leak.high_l_min / total if leak and total > 0 else 0.0)
    drawn: dict[str, float] = {}
    for one in there:
        drawn[one.at] = drawn.get(one.at, 0.0) + kg_s_of_l_min(one.flow_l_min * more)
    outside, kelvin = site.atmosphere_pa, sheet.place.air_temperature_c + ZERO_CELSIUS_K
    full = net.solve(sheet.network, drawn, temperature_k=kelvin, atmosphere_pa=outside)
    still = net.solve(sheet.network, {}, temperature_k=kelvin, atmosphere_pa=outside)
    found = []
    for one in there:
        at_rest = still.pressure_bar_g(one.at, outside)
        likely = full.pressure_bar_g(one.at, outside) if full.delivered else None
        found.append(
            Reached(
                name=one.name,
                at=one.at,
                likely_bar_g=likely,
                low_bar_g=None if likely is None else likely - DROP_UNKNOWN * (at_rest - likely),
                still_bar_g=at_rest,
                minimum_bar_g=one.minimum_bar_g,
                maximum_bar_g=one.maximum_bar_g,
            )
        )
    return tuple(found), full


def _lacking(sheet: PlantSheet, peak: tuple[Draw, ...], site: Site, leak: Leakage | None) -> bool:
    """Tell whether a pressure is wrong even where those whose flow is assumed draw nothing."""
    sure = tuple(evolve(one, flow_l_min=0.0) if one.source == ASSUMED else one for one in peak)
    reached, flowing = _reached(sheet, sure, site, leak)
    if flowing is not None and not flowing.delivered:
        return True
    return any(one.too_high or one.too_low for one in reached)


def _starved(flowing: net.Solution | None, reached: tuple[Reached, ...]) -> str:
    if flowing is None or flowing.delivered:
        return ""
    return min((one.at for one in reached), key=lambda at: flowing.pressure_pa[at])


def _gaps_of_pressure(made: Worked) -> tuple[str, ...]:
    if made.sheet.network is None:
        return (
            "The sheet has no hoses and pipes, so the pressure that reaches the wearers is not known.",
        )
    found = []
    reached = {(one.name, one.at) for one in made.reached}
    found += [
        f"{one.name} at {one.at} (on record) stands at no node of the sheet's pipes; the pressure "
        "there is not known."
        for one in made.peak
        if (one.name, one.at) not in reached
    ]
    highest = max((one.declared_at_bar_g or 0.0 for one in made.sheet.compressors), default=0.0)
    held = max(one.pressure_bar_g for one in made.sheet.network.sources)
    found += [
        f"{one.name} gets {one.likely_bar_g:.2f} bar(g) as worked out, and may get "
        f"{one.low_bar_g:.2f} bar(g) where hoses and couplings take "
        f"{DROP_UNKNOWN * 100:.0f} % more; {one.minimum_bar_g:g} bar(g) are needed. Measure it."
        for one in made.reached
        if not one.too_low and one.margin_bar < 0 and one.minimum_bar_g is not None
    ]
    bare = [
        f"{one.name} ({one.maximum_bar_g:g} bar(g))"
        for one in made.reached
        if one.maximum_bar_g is not None
        and not one.too_high
        and highest > one.maximum_bar_g
        and one.still_bar_g >= held - 1e-9
    ]
    if bare:
        found.append(
            f"A compressor is declared for {highest:g} bar(g), which is more than these bear: "
            f"{', '.join(bare)}. Put the [[regulator]] between them on the sheet."
        )
    return tuple(found)
