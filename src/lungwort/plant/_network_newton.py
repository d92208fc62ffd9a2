"""Newton's method for a network: flows in all lines and squares of pressure at all nodes at once."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
import scipy.sparse as sp
from attrs import frozen
from scipy.sparse.linalg import splu

from lungwort.plant.free_air import GAS_CONSTANT_J_KG_K, viscosity_pa_s
from lungwort.plant.network import Solution, isothermal_sound_m_s
from lungwort.plant.pipe import friction_factor

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lungwort.air.arrays import FloatArray
    from lungwort.plant.network import Network

_SQUARE: Final = 1e10
"""Squares of pressure are counted in bar²."""
_GRAM: Final = 1e-3
"""Flows are counted in g/s."""
_MOST_STEPS: Final = 80
_TOLERANCE: Final = 1e-10
_MOST_SWITCHES: Final = 40
_SLOPE: Final = 1e-6
"""Step of the flow for the slope of a pipe's law, as a share of it."""
_LEAST_FLOW: Final = 1e-7
_OPEN_LOSS: Final = 1e-3
"""Loss of a regulator that stands open [bar² s/g]: about as much as a wide valve."""
_BACK: Final = 1e-9
"""Flow against the way from which a valve shuts [g/s]."""
_REGULATING, _OPEN, _SHUT = 0, 1, 2


@frozen(eq=False)
class Prepared:
    """A network as arrays."""

    network: Network
    nodes: tuple[str, ...]
    tail: np.ndarray
    head: np.ndarray
    friction_length: FloatArray
    loss: FloatArray
    bore_m: FloatArray
    rough: FloatArray
    square_per_flow: FloatArray
    viscosity: float
    temperature_k: float
    held: dict[int, float]
    reg_tail: np.ndarray
    reg_head: np.ndarray
    reg_set: FloatArray
    atmosphere_pa: float


def prepared(
    network: Network, held_pa: Mapping[str, float], temperature_k: float, atmosphere_pa: float
) -> Prepared:
    """Bring a network into arrays.

    Parameters
    ----------
    network : Network
        The network.
    held_pa : mapping of str to float
        Pressure of each source [Pa(a)].
    temperature_k : float
        Temperature [K].
    atmosphere_pa : float
        Pressure of the air outside [Pa(a)].

    Returns
    -------
    Prepared
        The arrays.
    """
    nodes = network.nodes
    at = {name: place for place, name in enumerate(nodes)}
    bore = np.array([one.bore_mm for one in network.pipes], dtype=np.float64) / 1e3
    area = math.pi * bore**2 / 4.0
    return Prepared(
        network=network,
        nodes=nodes,
        tail=np.array([at[one.begin] for one in network.pipes], dtype=np.int64),
        head=np.array([at[one.end] for one in network.pipes], dtype=np.int64),
        friction_length=np.array([one.length_m for one in network.pipes], dtype=np.float64)
        / np.where(bore > 0.0, bore, 1.0),
        loss=np.array([one.loss_coefficient for one in network.pipes], dtype=np.float64),
        bore_m=bore,
        rough=np.array([one.roughness_mm for one in network.pipes], dtype=np.float64)
        / 1e3
        / np.where(bore > 0.0, bore, 1.0),
        square_per_flow=GAS_CONSTANT_J_KG_K * temperature_k / area**2 * _GRAM**2 / _SQUARE,
        viscosity=float(viscosity_pa_s(temperature_k)),
        temperature_k=temperature_k,
        held={at[name]: pressure**2 / _SQUARE for name, pressure in held_pa.items()},
        reg_tail=np.array([at[one.begin] for one in network.regulators], dtype=np.int64),
        reg_head=np.array([at[one.end] for one in network.regulators], dtype=np.int64),
        reg_set=np.array(
            [(one.set_bar_g * 1e5 + atmosphere_pa) ** 2 / _SQUARE for one in network.regulators],
            dtype=np.float64,
        ),
        atmosphere_pa=atmosphere_pa,
    )


def attempt(made: Prepared, draws_kg_s: Mapping[str, float], share: float) -> Solution | None:
    """Solve a network for a share of all draws.

    Parameters
    ----------
    made : Prepared
        The network.
    draws_kg_s : mapping of str to float
        Draws [kg/s].
    share : float
        Share of each [-].

    Returns
    -------
    Solution or None
        None where so much does not come through.
    """
    draws = np.zeros(len(made.nodes))
    at = {name: place for place, name in enumerate(made.nodes)}
    for node, draw in draws_kg_s.items():
        draws[at[node]] += draw * share / _GRAM
    reg_state = np.full(len(made.reg_set), _REGULATING, dtype=np.int64)
    sources = dict(made.held)
    state: tuple[FloatArray, FloatArray, FloatArray] | None = None
    steps = 0
    for _ in range(_MOST_SWITCHES):
        state, used = _newton(made, draws, reg_state, sources, state)
        steps += used
        if state is None:
            return None
        if not _switched(made, draws, reg_state, sources, state):
            found = _solution(made, draws, share, state, sources, steps)
            # Nobody draws air out of a hose that is under less than the pressure outside.
            low = min(found.pressure_pa.values()) < made.atmosphere_pa * (1.0 - 1e-9)
            return None if low else found
    return None


def _newton(
    made: Prepared,
    draws: FloatArray,
    reg_state: np.ndarray,
    sources: Mapping[int, float],
    start: tuple[FloatArray, FloatArray, FloatArray] | None,
) -> tuple[tuple[FloatArray, FloatArray, FloatArray] | None, int]:
    """Iterate; first without the term of speed, from which a flow that is choked shows itself."""
    if start is None:
        flow = np.full(
            len(made.tail), max(float(draws.sum()), 1e-3) / max(len(made.tail), 1) ** 0.5
        )
        square = np.full(len(made.nodes), max(sources.values()))
        through = np.zeros(len(made.reg_set))
    else:
        flow, square, through = (part.copy() for part in start)
    steps = 0
    for with_speed in (False, True):
        done = False
        for _ in range(_MOST_STEPS):
            steps += 1
            if with_speed and (square <= 0.0).any():
                return None, steps
            step = _step(made, draws, reg_state, sources, (flow, square, through), with_speed)
            if step is None:
                return None, steps
            new_flow, new_square, new_through = step
            if with_speed:
                # No step may leap over the choking pressure, beyond which the law has no meaning.
                new_square = np.maximum(new_square, 0.25 * square)
            settled = _change(new_square, square) < _TOLERANCE
            flow, square, through = new_flow, new_square, new_through
            # The balance of the nodes is linear and holds after each step; only the law of the
            # pipes is left, and where next to nothing flows it alone tells when it is enough.
            if settled and _misfit(made, flow, square, with_speed=with_speed) < _TOLERANCE:
                done = True
                break
        if not done or (square <= 0.0).any():
            return None, steps
        if with_speed and _beyond_choking(made, flow, square):
            return None, steps
    return (flow, square, through), steps


def _change(new: FloatArray, old: FloatArray) -> float:
    if len(new) == 0:
        return 0.0
    return float(np.abs(new - old).max() / max(float(np.abs(new).max()), 1e-12))


def _misfit(made: Prepared, flow: FloatArray, square: FloatArray, *, with_speed: bool) -> float:
    """Give by how much the law of a pipe is missed, as a share of the greatest square [-]."""
    if len(flow) == 0:
        return 0.0
    law = _law(made, flow)
    if with_speed:
        if (square <= 0.0).any():
            return math.inf
        law = law + made.square_per_flow * flow**2 * np.log(square[made.tail] / square[made.head])
    missed = np.abs(square[made.tail] - square[made.head] - law).max()
    return float(missed / np.abs(square).max())


def _beyond_choking(made: Prepared, flow: FloatArray, square: FloatArray) -> bool:
    if len(flow) == 0:
        return False
    lower = np.minimum(square[made.tail], square[made.head])
    return bool((made.square_per_flow * flow**2 > lower * (1.0 + 1e-9)).any())


def _law(made: Prepared, flow: FloatArray) -> FloatArray:
    """Give the fall of the square of pressure along each pipe, without the term of speed [bar²]."""
    size = np.maximum(np.abs(flow), _LEAST_FLOW)
    re = 4.0 * size * _GRAM / (math.pi * made.bore_m * made.viscosity)
    factor = friction_factor(re, made.rough)
    made_: FloatArray = (
        made.square_per_flow * flow * size * (factor * made.friction_length + made.loss)
    )
    return made_


def _step(
    made: Prepared,
    draws: FloatArray,
    reg_state: np.ndarray,
    sources: Mapping[int, float],
    state: tuple[FloatArray, FloatArray, FloatArray],
    with_speed: bool,  # noqa: FBT001 - one of two rounds of one method
) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    flow, square, through = state
    pipes, nodes, regs = len(flow), len(square), len(through)
    law = _law(made, flow)
    by = np.maximum(np.abs(flow), _LEAST_FLOW) * _SLOPE
    slope = (_law(made, flow + by) - _law(made, flow - by)) / (2.0 * by)
    # A coupling without length or loss would have no slope at all.
    slope = np.maximum(slope, 1e-9)
    on_tail, on_head = np.ones(pipes), -np.ones(pipes)
    if with_speed and pipes:
        ratio = np.log(square[made.tail] / square[made.head])
        # |flow| flow |ln| falls along the flow whichever way it goes.
        law = law + made.square_per_flow * flow**2 * ratio
        slope = np.maximum(slope + 2.0 * made.square_per_flow * flow * ratio, 1e-9)
        on_tail = on_tail - made.square_per_flow * flow**2 / square[made.tail]
        on_head = on_head + made.square_per_flow * flow**2 / square[made.head]
    rows, columns, values, right = _pipe_rows(made, flow, square, law, slope, on_tail, on_head)
    _node_rows(made, draws, sources, rows, columns, values, right, pipes, nodes)
    _reg_rows(made, reg_state, rows, columns, values, right, pipes, nodes)
    size = pipes + nodes + regs
    matrix = sp.csc_matrix(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))),
        shape=(size, size),
    )
    try:
        found = splu(matrix).solve(right)
    except RuntimeError:
        return None
    if not np.isfinite(found).all():
        return None
    return found[:pipes], found[pipes : pipes + nodes], found[pipes + nodes :]


_Lists = list[np.ndarray]


def _pipe_rows(
    made: Prepared,
    flow: FloatArray,
    square: FloatArray,
    law: FloatArray,
    slope: FloatArray,
    on_tail: FloatArray,
    on_head: FloatArray,
) -> tuple[_Lists, _Lists, _Lists, FloatArray]:
    """Linearise the law of each pipe about the state: unknowns are the new flow and squares."""
    pipes, nodes = len(flow), len(square)
    each = np.arange(pipes)
    right = np.zeros(pipes + nodes + len(made.reg_set))
    if pipes:
        value = square[made.tail] - square[made.head] - law
        right[:pipes] = (
            -value - slope * flow + on_tail * square[made.tail] + on_head * square[made.head]
        )
    rows = [each, each, each]
    columns = [each, pipes + made.tail, pipes + made.head]
    values = [-slope, on_tail, on_head]
    return rows, columns, values, right


def _node_rows(
    made: Prepared,
    draws: FloatArray,
    sources: Mapping[int, float],
    rows: _Lists,
    columns: _Lists,
    values: _Lists,
    right: FloatArray,
    pipes: int,
    nodes: int,
) -> None:
    """At each node what comes in goes out; at a source the pressure is held instead."""
    free = np.ones(nodes, dtype=bool)
    for place, held in sources.items():
        free[place] = False
        right[pipes + place] = held
    fixed = np.flatnonzero(~free)
    rows.append(pipes + fixed)
    columns.append(pipes + fixed)
    values.append(np.ones(len(fixed)))
    for ends, sign in ((made.tail, -1.0), (made.head, 1.0)):
        there = np.flatnonzero(free[ends]) if len(ends) else np.array([], dtype=np.int64)
        rows.append(pipes + ends[there])
        columns.append(there)
        values.append(np.full(len(there), sign))
    for ends, sign in ((made.reg_tail, -1.0), (made.reg_head, 1.0)):
        there = np.flatnonzero(free[ends]) if len(ends) else np.array([], dtype=np.int64)
        rows.append(pipes + ends[there])
        columns.append(pipes + nodes + there)
        values.append(np.full(len(there), sign))
    right[pipes : pipes + nodes][free] = draws[free]


def _reg_rows(
    made: Prepared,
    reg_state: np.ndarray,
    rows: _Lists,
    columns: _Lists,
    values: _Lists,
    right: FloatArray,
    pipes: int,
    nodes: int,
) -> None:
    for place, state in enumerate(reg_state):
        row, own = pipes + nodes + place, pipes + nodes + place
        tail, head = pipes + int(made.reg_tail[place]), pipes + int(made.reg_head[place])
        if state == _REGULATING:
            parts = [(head, 1.0)]
            right[row] = made.reg_set[place]
        elif state == _OPEN:
            parts = [(tail, 1.0), (head, -1.0), (own, -_OPEN_LOSS)]
        else:
            parts = [(own, 1.0)]
        rows.append(np.full(len(parts), row))
        columns.append(np.array([column for column, _ in parts]))
        values.append(np.array([value for _, value in parts]))


def _switched(
    made: Prepared,
    draws: FloatArray,
    reg_state: np.ndarray,
    sources: dict[int, float],
    state: tuple[FloatArray, FloatArray, FloatArray],
) -> bool:
    """Open, shut and set regulators and non-return valves of sources as the state asks for."""
    flow, square, through = state
    changed = False
    for place, now in enumerate(reg_state):
        before, behind = square[made.reg_tail[place]], square[made.reg_head[place]]
        wanted = now
        if now == _REGULATING and before < made.reg_set[place]:
            wanted = _OPEN
        elif now == _OPEN and behind > made.reg_set[place] * (1.0 + 1e-9):
            wanted = _REGULATING
        if now != _SHUT and wanted == now and through[place] < -_BACK:
            wanted = _SHUT
        elif now == _SHUT and behind < min(before, made.reg_set[place]) * (1.0 - 1e-9):
            wanted = _OPEN if before < made.reg_set[place] else _REGULATING
        if wanted != now:
            reg_state[place] = wanted
            changed = True
    if changed:
        return True
    given = _supplied(made, draws, flow, through)
    for place, held in made.held.items():
        # A source has a non-return valve: air of another does not flow into it.
        if place in sources and given[place] < -_BACK and len(sources) > 1:
            del sources[place]
            return True
        if place not in sources and square[place] < held * (1.0 - 1e-9):
            sources[place] = held
            return True
    return False


def _supplied(
    made: Prepared, draws: FloatArray, flow: FloatArray, through: FloatArray
) -> FloatArray:
    """Give what comes into each node from outside, above what is drawn there [g/s]."""
    balance = np.zeros(len(made.nodes))
    np.add.at(balance, made.tail, -flow)
    np.add.at(balance, made.head, flow)
    np.add.at(balance, made.reg_tail, -through)
    np.add.at(balance, made.reg_head, through)
    return draws - balance


def _solution(
    made: Prepared,
    draws: FloatArray,
    share: float,
    state: tuple[FloatArray, FloatArray, FloatArray],
    sources: Mapping[int, float],
    steps: int,
) -> Solution:
    flow, square, through = state
    pressure = np.sqrt(square * _SQUARE)
    given = _supplied(made, draws, flow, through)
    inner = np.ones(len(made.nodes), dtype=bool)
    inner[list(sources)] = False
    pipes = made.network.pipes
    sound = isothermal_sound_m_s(made.temperature_k)
    if len(flow):
        lower = np.minimum(pressure[made.tail], pressure[made.head])
        area = math.pi * made.bore_m**2 / 4.0
        speed = np.abs(flow) * _GRAM * GAS_CONSTANT_J_KG_K * made.temperature_k / (lower * area)
    else:
        speed = np.zeros(0)
    names = [one.name for one in made.network.lines]
    flows = np.concatenate([flow, through]) * _GRAM
    return Solution(
        delivered=True,
        share=share,
        choked=(),
        pressure_pa=dict(zip(made.nodes, pressure.tolist(), strict=True)),
        flow_kg_s=dict(zip(names, flows.tolist(), strict=True)),
        supplied_kg_s={
            made.nodes[place]: float(given[place]) * _GRAM if place in sources else 0.0
            for place in made.held
        },
        velocity_m_s=dict(zip((one.name for one in pipes), speed.tolist(), strict=True)),
        mach=dict(zip((one.name for one in pipes), (speed / sound).tolist(), strict=True)),
        residual_kg_s=float(np.abs(given[inner]).max(initial=0.0)) * _GRAM,
        iterations=steps,
    )
