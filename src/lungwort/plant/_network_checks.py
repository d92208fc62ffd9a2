"""What a network of pipes must be so that it can be solved."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Final

from lungwort.errors import PlantError

if TYPE_CHECKING:
    from lungwort.plant.network import Network

PRESSURE_RANGE_BAR_G: Final = (0.0, 60.0)
"""Pressures of lines that are solved; above, air is no ideal gas and hoses are others [bar(g)]."""
LENGTH_RANGE_M: Final = (0.0, 10_000.0)
BORE_RANGE_MM: Final = (0.5, 2000.0)
LOSS_RANGE: Final = (0.0, 1e5)
ROUGHEST: Final = 0.05
"""Greatest roughness over bore for which a law of friction holds [-]."""


def check(network: Network) -> None:
    """Refuse a network that cannot be solved.

    Parameters
    ----------
    network : Network
        The network.

    Raises
    ------
    PlantError
        With the name of what is wrong, and what to do.
    """
    if not network.sources:
        raise PlantError(
            "the network has no source of air. Give a [[source]] with its node and pressure_bar_g."
        )
    _check_figures(network)
    for name, times in Counter(one.name for one in network.lines).items():
        if times > 1:
            raise PlantError(
                f"the name {name!r} stands for {times} pipes or regulators. Give each its own."
            )
    for one in network.lines:
        if one.begin == one.end:
            raise PlantError(f"{one.name!r} ends at the node where it begins: {one.begin!r}.")
    places = Counter(one.node for one in network.sources)
    for node, times in places.items():
        if times > 1:
            raise PlantError(f"node {node!r} has {times} sources. Leave one.")
    for reg in network.regulators:
        if reg.end in places:
            raise PlantError(
                f"regulator {reg.name!r} feeds node {reg.end!r}, whose pressure a source holds."
            )
    for node, times in Counter(one.end for one in network.regulators).items():
        if times > 1:
            raise PlantError(
                f"node {node!r} is fed by {times} regulators. Join them by pipes: each regulator needs "
                "a node of its own behind it."
            )
    _check_reached(network)


def _check_reached(network: Network) -> None:
    joined: dict[str, list[str]] = {}
    for one in network.pipes:
        joined.setdefault(one.begin, []).append(one.end)
        joined.setdefault(one.end, []).append(one.begin)
    for reg in network.regulators:
        joined.setdefault(reg.begin, []).append(reg.end)
    reached = {one.node for one in network.sources}
    todo = list(reached)
    while todo:
        for node in joined.get(todo.pop(), ()):
            if node not in reached:
                reached.add(node)
                todo.append(node)
    cut_off = [node for node in network.nodes if node not in reached]
    if cut_off:
        listed = ", ".join(repr(node) for node in cut_off[:8])
        more = f" and {len(cut_off) - 8} more" if len(cut_off) > 8 else ""  # noqa: PLR2004 - as listed
        raise PlantError(
            f"no air can reach {listed}{more}: no pipe leads there from a source. Check the names "
            "of nodes in 'from' and 'to'."
        )


def _check_figures(network: Network) -> None:
    for one in network.pipes:
        for what, value, (low, high), unit in (
            ("bore", one.bore_mm, BORE_RANGE_MM, " mm"),
            ("length", one.length_m, LENGTH_RANGE_M, " m"),
            ("sum of losses", one.loss_coefficient, LOSS_RANGE, ""),
            ("roughness", one.roughness_mm, (0.0, ROUGHEST * one.bore_mm), " mm"),
        ):
            _check_within(f"pipe {one.name!r}: {what}", value, low, high, unit)
    low, high = PRESSURE_RANGE_BAR_G
    for source in network.sources:
        _check_within(
            f"source {source.node!r}: pressure", source.pressure_bar_g, low, high, " bar(g)"
        )
    for reg in network.regulators:
        _check_within(f"regulator {reg.name!r}: set pressure", reg.set_bar_g, low, high, " bar(g)")


def _check_within(what: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise PlantError(
            f"{what} of {value:g}{unit} cannot be used; {low:g} to {high:g}{unit} is allowed. Check "
            "the figure and its unit."
        )
