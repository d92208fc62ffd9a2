"""Who is on the air, and how much of it their equipment draws.

Flows are free air. What the maker declares is taken as litres at 20 °C and 1 atm; where the place
makes the same volume weigh more (below the sea, or in the cold), it is counted up, never down.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import ExposureError
from lungwort.tomlfile import Table
from lungwort.wearers.demand_equipment import (
    ASSUMED_WORK,
    CONTINUOUS,
    GREATEST_FLOW,
    HIGHEST_HOSE_INLET_BAR_G,
    HOOD_PRESSURE,
    KINDS,
    LEAST_FLOW,
    OTHER_USER_L_MIN,
    WORK,
    Equipment,
    equipment,
    work_rate,
)
from lungwort.wearers.demand_peak import peak_of_l_min

if TYPE_CHECKING:
    from collections.abc import Iterable

KEYS_TOP: Final = ("wearer",)
_WEARER: Final = (
    "name",
    "at",
    "equipment",
    "minimum_flow_l_min",
    "highest_flow_l_min",
    "work",
    "minimum_bar_g",
    "maximum_bar_g",
    "count",
    "simultaneous",
)
MOST: Final = 200
FLOW_RANGE_L_MIN: Final = (1.0, 5000.0)
PRESSURE_RANGE_BAR_G: Final = (0.01, 60.0)
ASSUMED_SUIT_L_MIN: Final = 425.0
"""Assumed for a suit or unknown equipment whose flow is not declared: the greatest flow of 42 CFR 84
for continuous flow [L/min]."""

DECLARED: Final = "declared"
ASSUMED: Final = "assumed"
BREATHED: Final = "breathed"


@frozen(kw_only=True)
class Wearer:
    """One wearer, or several alike at one outlet.

    Parameters
    ----------
    name, at : str
        What they are called, and the outlet (a node of the network where there is one).
    equipment : str
        One of `lungwort.wearers.demand_equipment.KINDS`; empty where it is not known.
    minimum_flow_l_min : float, optional
        Least flow for one, declared by the maker, 1 to 5000 [L/min].
    highest_flow_l_min : float, optional
        Flow for one with its valve wide open, by the maker [L/min].
    work : str, optional
        One of `lungwort.wearers.demand_equipment.WORK`.
    minimum_bar_g, maximum_bar_g : float, optional
        Pressures at the outlet between which the equipment works, 0.01 to 60 [bar(g)].
    count, simultaneous : int
        How many there are, and how many of them are on the air at once [1].
    origin : str
        ``plant sheet``, or where else it is from.
    """

    name: str
    at: str
    equipment: str = ""
    minimum_flow_l_min: float | None = None
    highest_flow_l_min: float | None = None
    work: str | None = None
    minimum_bar_g: float | None = None
    maximum_bar_g: float | None = None
    count: int = 1
    simultaneous: int = 1
    origin: str = "plant sheet"

    @property
    def kind(self) -> Equipment:
        """What is published of the equipment."""
        return equipment(self.equipment)

    @property
    def continuous(self) -> bool:
        """Whether air flows all the time."""
        return self.kind.breathing == CONTINUOUS

    @property
    def ventilation_l_min(self) -> float:
        """Mean volume that one breathes, upper end for the work [L/min]."""
        return work_rate(self.work or ASSUMED_WORK).high_l_min


@frozen(kw_only=True)
class Draw:
    """What is drawn at one outlet by wearers alike.

    Parameters
    ----------
    at, name : str
        Outlet and name of the wearers.
    flow_l_min : float
        Free air for all of them together [L/min].
    minimum_bar_g, maximum_bar_g : float, optional
        Pressures at the outlet between which the equipment works [bar(g)].
    people : int
        How many draw [1].
    source : str
        ``declared``, ``assumed`` or ``breathed``.
    """

    at: str
    name: str
    flow_l_min: float
    minimum_bar_g: float | None = None
    maximum_bar_g: float | None = None
    people: int = 1
    source: str = DECLARED


def read_wearers(top: Table) -> tuple[Wearer, ...]:
    """Read who is on the air from a plant sheet.

    Parameters
    ----------
    top : Table
        The top of the sheet; mistakes are noted there.

    Returns
    -------
    tuple of Wearer
        Those without a mistake.
    """
    found: list[Wearer] = []
    for at, values in enumerate(top.tables("wearer"), start=1):
        given = values.get("name")
        name = given if isinstance(given, str) else ""
        where = f"[[wearer]] {name!r}" if name else f"[[wearer]] number {at}"
        table = Table(values, (name,) if name else (), where, top.mistakes)
        table.known(_WEARER)
        before = len(top.mistakes.found)
        made = _wearer(table)
        if any(one.name == made.name for one in found):
            table.wrong("name", "is taken by another [[wearer]]. Give each its own.")
        if len(top.mistakes.found) == before:
            found.append(made)
    return tuple(found)


def _wearer(table: Table) -> Wearer:
    count = _people(table, "count", 1)
    least, most = (table.number(key, *FLOW_RANGE_L_MIN, "L/min") for key in _WEARER[3:5])
    low, high = (table.number(key, *PRESSURE_RANGE_BAR_G, "bar(g)") for key in _WEARER[6:8])
    made = Wearer(
        name=table.text("name", required=True),
        at=table.text("at", required=True),
        equipment=table.choice("equipment", KINDS, ""),
        minimum_flow_l_min=least,
        highest_flow_l_min=most,
        work=table.choice("work", WORK, "") or None,
        minimum_bar_g=low,
        maximum_bar_g=high,
        count=count,
        simultaneous=_people(table, "simultaneous", count),
    )
    if "equipment" not in table.values:
        table.wrong("equipment", f"is missing. Give one of: {', '.join(KINDS)}.")
    if made.simultaneous > made.count:
        table.wrong(
            "simultaneous",
            f"found {made.simultaneous}, and there are {made.count} in all. Give no more than count.",
        )
    if least is not None and most is not None and most < least:
        table.wrong("highest_flow_l_min", f"found {most:g}, below minimum_flow_l_min ({least:g}).")
    if low is not None and high is not None and high <= low:
        table.wrong("maximum_bar_g", f"found {high:g}, not above minimum_bar_g ({low:g}).")
    return made


def _people(table: Table, key: str, default: int) -> int:
    number = table.number(key, 1, MOST, "wearers")
    if number is None:
        return default
    if not number.is_integer():
        table.wrong(key, f"found {number:g}; give a whole number.")
    return int(number)


def one_flow_l_min(wearer: Wearer, *, at_peak: bool) -> tuple[float, str]:
    """Give what one wearer draws.

    Parameters
    ----------
    wearer : Wearer
        The wearer.
    at_peak : bool
        At the height of a breath, for demand valves; else the mean.

    Returns
    -------
    tuple of (float, str)
        Flow at 20 °C and 1 atm [L/min], and whether it is declared, assumed or breathed.
        Continuous flow: the highest that is declared, else the least that is declared; where
        neither is, the greater of the published least flow and that of another user of EN 14594,
        for a suit or unknown equipment the greatest flow of 42 CFR 84. Demand valves: the volume
        breathed at the work, upper end; at the peak pi times that, or the declared flow where that
        is more.

    Examples
    --------
    >>> one_flow_l_min(Wearer(name="a", at="x", equipment="demand", work="rest"), at_peak=False)
    (12.0, 'breathed')
    """
    if wearer.continuous:
        declared = wearer.highest_flow_l_min or wearer.minimum_flow_l_min
        if declared is not None:
            return declared, DECLARED
        published = wearer.kind.figure(LEAST_FLOW)
        if published is None:
            return ASSUMED_SUIT_L_MIN, ASSUMED
        return max(published.value, OTHER_USER_L_MIN), ASSUMED
    source = BREATHED if wearer.work else ASSUMED
    if not at_peak:
        return wearer.ventilation_l_min, source
    peak = peak_of_l_min(wearer.ventilation_l_min)
    declared = max(wearer.minimum_flow_l_min or 0.0, wearer.highest_flow_l_min or 0.0)
    return max(peak, declared), DECLARED if declared > peak else source


def draws(wearers: Iterable[Wearer], *, at_peak: bool, weight: float = 1.0) -> tuple[Draw, ...]:
    """Give what is drawn when as many are on the air at once as may be.

    Parameters
    ----------
    wearers : iterable of Wearer
        The wearers.
    at_peak : bool
        All demand valves at the height of a breath at the same moment; else their means.
    weight : float
        How much more a litre weighs where it is breathed than at 20 °C and 1 atm, 0.3 to 2; below 1
        counts as 1, since no credit is taken for thin air [-].

    Returns
    -------
    tuple of Draw
        One for each wearer of the list; flows are free air.

    Raises
    ------
    ExposureError
        Where the weight is out of range.

    Examples
    --------
    >>> hood = Wearer(name="painters", at="hall", equipment="continuous_flow_loose",
    ...               minimum_flow_l_min=180.0, count=3, simultaneous=2)
    >>> draws([hood], at_peak=True)[0].flow_l_min
    360.0
    """
    if not 0.3 <= weight <= 2.0:  # noqa: PLR2004 - from the highest road to the coldest day
        raise ExposureError(
            f"a litre of air that weighs {weight:g} times as much as at 20 °C and 1 atm cannot be; "
            "0.3 to 2 is allowed. Check height and temperature."
        )
    found = []
    for one in wearers:
        flow, source = one_flow_l_min(one, at_peak=at_peak)
        found.append(
            Draw(
                at=one.at,
                name=one.name,
                flow_l_min=flow * one.simultaneous * max(weight, 1.0),
                minimum_bar_g=one.minimum_bar_g,
                maximum_bar_g=one.maximum_bar_g,
                people=one.simultaneous,
                source=source,
            )
        )
    return tuple(found)


def told_of(wearer: Wearer) -> tuple[str, ...]:
    """Tell where what is declared lies outside what is published.

    Parameters
    ----------
    wearer : Wearer
        The wearer.

    Returns
    -------
    tuple of str
        A sentence for each; empty for none.
    """
    told = []
    least, most = wearer.kind.figure(LEAST_FLOW), wearer.kind.figure(GREATEST_FLOW)
    declared, widest = wearer.minimum_flow_l_min, wearer.highest_flow_l_min
    if declared is not None and least is not None and declared < least.value:
        told.append(
            f"{wearer.name}: {declared:g} L/min is declared, below the least flow of "
            f"{least.value:g} L/min in {least.source} ({least.standing}). Check whether that binds "
            "you, and the figure."
        )
    if most is not None and (declared or 0.0) > most.value:
        told.append(
            f"{wearer.name}: {declared:g} L/min is declared, above the greatest flow of "
            f"{most.value:g} L/min in {most.source} ({most.standing}). Check the figure and its unit."
        )
    elif most is not None and (widest or 0.0) > most.value:
        told.append(
            f"{wearer.name}: {widest:g} L/min with its valve wide open is above the greatest flow "
            f"of {most.value:g} L/min in {most.source} ({most.standing})."
        )
    if (wearer.maximum_bar_g or 0.0) > HIGHEST_HOSE_INLET_BAR_G:
        told.append(
            f"{wearer.name}: a greatest pressure of {wearer.maximum_bar_g:g} bar(g) is entered; "
            f"above {HIGHEST_HOSE_INLET_BAR_G:g} bar(g) at the inlet of the hose 42 CFR 84.148 "
            "(confirmed) wants a pressure relief."
        )
    hood = wearer.kind.figure(HOOD_PRESSURE)
    if hood is not None:
        told.append(
            f"{wearer.name}: {hood.source} ({hood.standing}) allows at most {hood.value:g} kPa at "
            "the hood itself. The pressures here are those at the outlet, before the wearer's hose "
            "and valve; that at the hood is not worked out."
        )
    return tuple(told)
