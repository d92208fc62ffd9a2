"""Hoses, couplings, manifolds and fixed pipe as a tree, a ring or a mesh: pressure at every node.

Each pipe obeys the isothermal law of `lungwort.plant.pipe`; one that is choked passes what its
pressure before lets through, whatever lies behind. At each node what comes in goes out.
Both together are solved by Newton's method for all flows and all squares of pressure at once, with
sparse matrices. Height is left out: air at 8 bar(a) weighs 9.5 kg/m³, which is 0.9 mbar a metre.

References
----------
E. Todini, S. Pilati, A gradient algorithm for the analysis of pipe networks, in: Computer
Applications in Water Supply 1 (1988) 1 (from memory): the same equations for water.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.errors import PlantError
from lungwort.plant._network_checks import PRESSURE_RANGE_BAR_G, check
from lungwort.plant.free_air import GAS_CONSTANT_J_KG_K

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

STANDARD_ATMOSPHERE_PA: Final = 101_325.0
TEMPERATURE_K: Final = 293.15
ATMOSPHERE_RANGE_PA: Final = (20_000.0, 400_000.0)
CHOKED_MACH: Final = 0.95
"""Share of the isothermal speed of sound from which a pipe is called choked [-]."""
_SHARE_STEPS: Final = 40
_PRESSURE_STEPS: Final = 50
_BAR_PA: Final = 1e5


@frozen(kw_only=True)
class Pipe:
    """A hose, a pipe, a coupling or a valve between two nodes.

    Parameters
    ----------
    name : str
        What it is called.
    begin, end : str
        The nodes; air may go either way.
    length_m : float
        Length, 0 to 10 000 [m].
    bore_mm : float
        Inner diameter, 0.5 to 2000 [mm].
    roughness_mm : float
        Roughness of the wall [mm].
    loss_coefficient : float
        Sum of the K of its bends, couplings and valves [-].
    kind : str
        ``pipe``, ``hose``, ``coupling`` or ``valve``.
    """

    name: str
    begin: str
    end: str
    length_m: float
    bore_mm: float
    roughness_mm: float = 0.0015
    loss_coefficient: float = 0.0
    kind: str = "pipe"


@frozen(kw_only=True)
class Source:
    """Where air comes in at a pressure that is held.

    Parameters
    ----------
    node : str
        The node.
    pressure_bar_g : float
        The pressure [bar(g)].
    """

    node: str
    pressure_bar_g: float


@frozen(kw_only=True)
class Regulator:
    """A valve that lets the pressure behind it rise no higher than it is set to, and no air back.

    Parameters
    ----------
    name : str
        What it is called.
    begin, end : str
        Nodes before and behind it.
    set_bar_g : float
        Pressure that it holds [bar(g)].
    """

    name: str
    begin: str
    end: str
    set_bar_g: float


@frozen(kw_only=True)
class Network:
    """What lies between the sources and the outlets.

    Parameters
    ----------
    pipes : tuple of Pipe
        Pipes, with names of their own.
    sources : tuple of Source
        At least one.
    regulators : tuple of Regulator
        Pressure-reducing valves.

    Raises
    ------
    PlantError
        Where a figure is out of range, names are taken twice, a pipe ends where it begins, there is
        no source, or a node cannot be reached from any.
    """

    pipes: tuple[Pipe, ...]
    sources: tuple[Source, ...]
    regulators: tuple[Regulator, ...] = ()

    def __attrs_post_init__(self) -> None:
        """Refuse what cannot be solved."""
        check(self)

    @property
    def nodes(self) -> tuple[str, ...]:
        """Names of all nodes, in the order in which they are first named."""
        named = [one.node for one in self.sources]
        named += [end for one in self.lines for end in (one.begin, one.end)]
        return tuple(dict.fromkeys(named))

    @property
    def lines(self) -> tuple[Pipe | Regulator, ...]:
        """All that joins two nodes: pipes, then regulators."""
        return (*self.pipes, *self.regulators)


@frozen(kw_only=True)
class Solution:
    """Pressures and flows of a network.

    Parameters
    ----------
    delivered : bool
        Whether all that is drawn comes through. Where it does not, the other fields are those of
        ``share`` of each draw, and no pressure of what was asked.
    share : float
        Greatest share of all draws, taken alike, that comes through, 0 to 1 [-].
    choked : tuple of str
        Pipes in which air moves as fast as it can. Where all is delivered, other pipes make up for
        them; where not, pipes that are nearly choked at that share are named too. Where not all is
        delivered and there is none, the pressure falls to that of the air outside before.
    pressure_pa : dict of str to float
        Pressure at each node [Pa(a)].
    flow_kg_s : dict of str to float
        Mass flow in each pipe and regulator, negative from its end to its beginning [kg/s].
    supplied_kg_s : dict of str to float
        Mass flow out of each source [kg/s].
    velocity_m_s : dict of str to float
        Speed of the air at the end of each pipe where it is the faster one [m/s].
    mach : dict of str to float
        The same over the isothermal speed of sound; 1 is choked [-].
    residual_kg_s : float
        Greatest mass flow that a node gains or loses in the solution; rounding [kg/s].
    iterations : int
        Steps of Newton's method [1].
    """

    delivered: bool
    share: float
    choked: tuple[str, ...]
    pressure_pa: dict[str, float]
    flow_kg_s: dict[str, float]
    supplied_kg_s: dict[str, float]
    velocity_m_s: dict[str, float]
    mach: dict[str, float]
    residual_kg_s: float
    iterations: int

    def pressure_bar_g(self, node: str, atmosphere_pa: float = STANDARD_ATMOSPHERE_PA) -> float:
        """Give the pressure at a node.

        Parameters
        ----------
        node : str
            The node.
        atmosphere_pa : float
            Pressure of the air outside [Pa(a)].

        Returns
        -------
        float
            Pressure [bar(g)].
        """
        return (self.pressure_pa[node] - atmosphere_pa) / _BAR_PA


def solve(
    network: Network,
    draws_kg_s: Mapping[str, float],
    *,
    temperature_k: float = TEMPERATURE_K,
    pressures_pa: Mapping[str, float] | None = None,
    atmosphere_pa: float = STANDARD_ATMOSPHERE_PA,
) -> Solution:
    """Work out the pressure at every node for what is drawn.

    Parameters
    ----------
    network : Network
        Pipes and sources.
    draws_kg_s : mapping of str to float
        Mass flow that is taken out at nodes, 0 or more [kg/s].
    temperature_k : float
        Temperature of the air in the lines, 220 to 370 [K].
    pressures_pa : mapping of str to float, optional
        Pressures of sources in place of their own [Pa(a)].
    atmosphere_pa : float
        Pressure of the air outside [Pa(a)].

    Returns
    -------
    Solution
        Pressures and flows; where not all comes through, it says so and how much does.

    Raises
    ------
    PlantError
        Where a draw is negative, no number or at no node, or the network cannot be solved.
    """
    from lungwort.plant._network_equations import prepared  # noqa: PLC0415 - scipy is heavy
    from lungwort.plant._network_newton import attempt  # noqa: PLC0415 - scipy is heavy

    _check_draws(network, draws_kg_s, temperature_k, atmosphere_pa)
    held = _held(network, pressures_pa, atmosphere_pa)
    made = prepared(network, held, temperature_k, atmosphere_pa)
    found = attempt(made, draws_kg_s, 1.0)
    if found is not None:
        return found
    low, high, best = 0.0, 1.0, attempt(made, draws_kg_s, 0.0)
    if best is None:
        raise PlantError(
            "the network cannot be solved even with nobody on the air. Check bores, lengths and "
            "pressures of the plant sheet."
        )
    for _ in range(_SHARE_STEPS):
        middle = (low + high) / 2.0
        tried = attempt(made, draws_kg_s, middle)
        if tried is None:
            high = middle
        else:
            low, best = middle, tried
        if high - low <= 1e-6:  # noqa: PLR2004 - a millionth of the draw
            break
    choked = tuple(name for name, one in best.mach.items() if one >= CHOKED_MACH)
    return evolve(best, delivered=False, share=low, choked=choked)


def least_source_pressure(
    network: Network,
    draws_kg_s: Mapping[str, float],
    least_bar_g: Mapping[str, float],
    *,
    temperature_k: float = TEMPERATURE_K,
    atmosphere_pa: float = STANDARD_ATMOSPHERE_PA,
    highest_bar_g: float = PRESSURE_RANGE_BAR_G[1],
) -> float | None:
    """Find the pressure of all sources at which the worst node is just at its least.

    Parameters
    ----------
    network : Network
        Pipes and sources.
    draws_kg_s : mapping of str to float
        As `solve` [kg/s].
    least_bar_g : mapping of str to float
        Least pressure at nodes [bar(g)].
    temperature_k : float
        Temperature of the air in the lines [K].
    atmosphere_pa : float
        Pressure of the air outside [Pa(a)].
    highest_bar_g : float
        Pressure up to which it is looked for [bar(g)].

    Returns
    -------
    float or None
        The pressure, rounded up by less than 1 mbar [bar(g)]; None where none up to the highest
        does it.

    Raises
    ------
    PlantError
        As `solve`; where a node of ``least_bar_g`` is not in the network.
    """
    from lungwort.plant._network_equations import prepared  # noqa: PLC0415 - scipy is heavy
    from lungwort.plant._network_newton import attempt  # noqa: PLC0415 - scipy is heavy

    _check_draws(network, draws_kg_s, temperature_k, atmosphere_pa)
    known = set(network.nodes)
    for node in least_bar_g:
        if node not in known:
            raise PlantError(_unknown("a least pressure is asked for", node, known))
    for node, least in least_bar_g.items():
        if not 0.0 <= least <= PRESSURE_RANGE_BAR_G[1]:
            raise PlantError(
                f"node {node!r}: a least pressure of {least:g} bar(g) cannot be used. Give "
                f"0 to {PRESSURE_RANGE_BAR_G[1]:g} bar(g)."
            )
    if not 0.0 < highest_bar_g <= PRESSURE_RANGE_BAR_G[1]:
        raise PlantError(
            f"a source of at most {highest_bar_g:g} bar(g) cannot be looked for. Give more than 0, at "
            f"most {PRESSURE_RANGE_BAR_G[1]:g} bar(g)."
        )

    def enough(pressure_bar_g: float) -> bool:
        pa = pressure_bar_g * _BAR_PA + atmosphere_pa
        held = {one.node: pa for one in network.sources}
        found = attempt(prepared(network, held, temperature_k, atmosphere_pa), draws_kg_s, 1.0)
        return found is not None and all(
            found.pressure_bar_g(node, atmosphere_pa) >= least
            for node, least in least_bar_g.items()
        )

    low, high = 0.0, highest_bar_g
    if not enough(high):
        return None
    if enough(low):
        return low
    for _ in range(_PRESSURE_STEPS):
        middle = (low + high) / 2.0
        low, high = (low, middle) if enough(middle) else (middle, high)
        if high - low <= 5e-4:  # noqa: PLR2004 - half a millibar
            break
    return high


def _held(
    network: Network, pressures_pa: Mapping[str, float] | None, atmosphere_pa: float
) -> dict[str, float]:
    held = {one.node: one.pressure_bar_g * _BAR_PA + atmosphere_pa for one in network.sources}
    for node, pressure in (pressures_pa or {}).items():
        if node not in held:
            raise PlantError(_unknown("a pressure is held", node, set(held), "source"))
        if not atmosphere_pa <= pressure <= PRESSURE_RANGE_BAR_G[1] * _BAR_PA + atmosphere_pa:
            raise PlantError(
                f"source {node!r}: {pressure:g} Pa(a) is outside {atmosphere_pa:g} to "
                f"{PRESSURE_RANGE_BAR_G[1]:g} bar(g)."
            )
        held[node] = pressure
    return held


def _check_draws(
    network: Network, draws_kg_s: Mapping[str, float], temperature_k: float, atmosphere_pa: float
) -> None:
    low, high = ATMOSPHERE_RANGE_PA
    if not low <= atmosphere_pa <= high:
        raise PlantError(
            f"the air outside has {atmosphere_pa:g} Pa(a); {low:g} to {high:g} Pa(a) is allowed."
        )
    if not 220.0 <= temperature_k <= 370.0:  # noqa: PLR2004 - what air in a hose may have
        raise PlantError(
            f"the air in the lines has {temperature_k:g} K; 220 to 370 K (-53 to 97 °C) is allowed."
        )
    known = set(network.nodes)
    for node, draw in draws_kg_s.items():
        if node not in known:
            raise PlantError(_unknown("air is drawn", node, known))
        if not 0.0 <= draw < 1e3:  # noqa: PLR2004 - no plant delivers a tonne a second
            raise PlantError(
                f"node {node!r}: a draw of {draw:g} kg/s cannot be used. Give 0 or more."
            )


def _unknown(what: str, node: str, known: Iterable[str], kind: str = "node") -> str:
    import difflib  # noqa: PLC0415 - only for a message

    near = difflib.get_close_matches(node, list(known), n=3, cutoff=0.6)
    hint = f" Near: {', '.join(repr(name) for name in near)}." if near else ""
    listed = ", ".join(repr(name) for name in sorted(known)[:12])
    return (
        f"{what} at {node!r}, which is no {kind} of the network.{hint} "
        f"Known: {listed}. Join it with a [[pipe]], or name the right one."
    )


def isothermal_sound_m_s(temperature_k: float) -> float:
    """Give the isothermal speed of sound in air, at which a pipe chokes.

    Parameters
    ----------
    temperature_k : float
        Temperature [K].

    Returns
    -------
    float
        sqrt(R T) [m/s].
    """
    return float((GAS_CONSTANT_J_KG_K * temperature_k) ** 0.5)
