"""Arrays of a network, and one step of Newton's method for flows and squares of pressure."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
import scipy.sparse as sp
from attrs import frozen
from scipy.sparse.linalg import splu

from lungwort.plant.free_air import GAS_CONSTANT_J_KG_K, viscosity_pa_s
from lungwort.plant.pipe import friction_factor

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lungwort.air.arrays import FloatArray
    from lungwort.plant.network import Network

    State = tuple[FloatArray, FloatArray, FloatArray]
    """Flows in pipes [g/s], squares of pressure at nodes [bar²], flows in regulators [g/s]."""

SQUARE: Final = 1e10
"""Squares of pressure are counted in bar²."""
GRAM: Final = 1e-3
"""Flows are counted in g/s."""
_SLOPE: Final = 1e-6
"""Step of the flow for the slope of a pipe's law, as a share of it."""
_LEAST_FLOW: Final = 1e-7
_FASTEST: Final = 1.0 - 1e-9
_OPEN_LOSS: Final = 1e-3
"""Loss of a regulator that stands open [bar² s/g]: about as much as a wide valve."""
_SHUT_LEAK: Final = 1e-9
"""What a regulator that is shut lets through towards the pressure that it is set to [g/s per bar²],
so that no pressure is left undetermined; about a hundredth of a litre an hour at most."""
REGULATING, OPEN, SHUT = 0, 1, 2


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
        square_per_flow=GAS_CONSTANT_J_KG_K * temperature_k / area**2 * GRAM**2 / SQUARE,
        viscosity=float(viscosity_pa_s(temperature_k)),
        temperature_k=temperature_k,
        held={at[name]: pressure**2 / SQUARE for name, pressure in held_pa.items()},
        reg_tail=np.array([at[one.begin] for one in network.regulators], dtype=np.int64),
        reg_head=np.array([at[one.end] for one in network.regulators], dtype=np.int64),
        reg_set=np.array(
            [(one.set_bar_g * 1e5 + atmosphere_pa) ** 2 / SQUARE for one in network.regulators],
            dtype=np.float64,
        ),
        atmosphere_pa=atmosphere_pa,
    )


def misfit(made: Prepared, flow: FloatArray, square: FloatArray, *, with_speed: bool) -> float:
    """Give by how much the law of a pipe is missed.

    Parameters
    ----------
    made : Prepared
        The network.
    flow, square : numpy.ndarray
        Flows in pipes [g/s] and squares of pressure at nodes [bar²].
    with_speed : bool
        Whether the term of speed counts.

    Returns
    -------
    float
        The worst, as a share of the greatest square [-].
    """
    if len(flow) == 0:
        return 0.0
    if not with_speed:
        missed = np.abs(square[made.tail] - square[made.head] - _law(made, flow)).max()
        return float(missed / np.abs(square).max())
    if (square <= 0.0).any():
        return math.inf
    fast = _fast(made, flow, square)
    missed = np.abs(fast.fall - _law(made, fast.flow) - fast.quick * fast.ratio).max()
    missed = max(missed, float(np.abs(fast.flow - flow).max()))
    return float(missed / np.abs(square).max())


def _law(made: Prepared, flow: FloatArray) -> FloatArray:
    """Give the fall of the square of pressure along each pipe, without the term of speed [bar²]."""
    size = np.maximum(np.abs(flow), _LEAST_FLOW)
    re = 4.0 * size * GRAM / (math.pi * made.bore_m * made.viscosity)
    factor = friction_factor(re, made.rough)
    made_: FloatArray = (
        made.square_per_flow * flow * size * (factor * made.friction_length + made.loss)
    )
    return made_


@frozen(eq=False)
class _Fast:
    """What the speed of the air does to the law of each pipe."""

    flow: FloatArray
    fall: FloatArray
    quick: FloatArray
    ratio: FloatArray
    choked: np.ndarray


def _fast(made: Prepared, flow: FloatArray, square: FloatArray) -> _Fast:
    """Take a pipe that is choked as one that ends at its choking pressure.

    Where the node behind has less, the air jumps out at the speed of sound and loses the rest there:
    the flow depends on the pressure before alone.
    """
    sign = np.where(flow < 0.0, -1.0, 1.0)
    before = np.where(flow < 0.0, square[made.head], square[made.tail])
    behind = np.where(flow < 0.0, square[made.tail], square[made.head])
    # Nothing is faster than sound at the pressure before, wherever a step may lead.
    most = _FASTEST * np.sqrt(before / made.square_per_flow)
    flow = sign * np.minimum(np.abs(flow), most)
    quick = made.square_per_flow * flow**2
    choked = quick > behind
    end = np.maximum(behind, quick)
    return _Fast(
        flow=flow,
        fall=sign * (before - end),
        quick=quick,
        ratio=sign * np.log(before / end),
        choked=choked,
    )


def step(
    made: Prepared,
    draws: FloatArray,
    reg_state: np.ndarray,
    sources: Mapping[int, float],
    state: State,
    *,
    with_speed: bool,
) -> State | None:
    """Linearise all equations about a state, and solve them.

    Parameters
    ----------
    made : Prepared
        The network.
    draws : numpy.ndarray
        What is drawn at nodes [g/s].
    reg_state : numpy.ndarray
        Whether each regulator regulates, stands open or is shut.
    sources : mapping of int to float
        Squares of pressure that are held, by node [bar²].
    state : tuple of numpy.ndarray
        Flows in pipes, squares of pressure, flows in regulators.
    with_speed : bool
        Whether the term of speed counts.

    Returns
    -------
    tuple of numpy.ndarray or None
        The next state; None where the equations determine none.
    """
    flow, square, through = state
    pipes, nodes, regs = len(flow), len(square), len(through)
    fast = None
    if with_speed and pipes:
        fast = _fast(made, flow, square)
        flow = fast.flow
    law = _law(made, flow)
    by = np.maximum(np.abs(flow), _LEAST_FLOW) * _SLOPE
    slope = (_law(made, flow + by) - _law(made, flow - by)) / (2.0 * by)
    # A coupling without length or loss would have no slope at all.
    slope = np.maximum(slope, 1e-9)
    on_tail, on_head = np.ones(pipes), -np.ones(pipes)
    fall = square[made.tail] - square[made.head]
    if fast is not None:
        fall = fast.fall
        law = law + fast.quick * fast.ratio
        slope = np.maximum(slope + 2.0 * made.square_per_flow * np.abs(flow * fast.ratio), 1e-9)
        on_tail = on_tail - np.abs(fast.quick) / square[made.tail]
        on_head = on_head + np.abs(fast.quick) / square[made.head]
        on_tail[fast.choked & (flow < 0.0)] = 0.0
        on_head[fast.choked & (flow > 0.0)] = 0.0
    rows, columns, values, right = _pipe_rows(
        made, flow, square, fall - law, slope, on_tail, on_head
    )
    _node_rows(made, draws, sources, rows, columns, values, right, pipes, nodes)
    _reg_rows(made, reg_state, square, rows, columns, values, right, pipes, nodes)
    size = pipes + nodes + regs
    if not all(np.isfinite(part).all() for part in (*values, right)):
        return None
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
    value: FloatArray,
    slope: FloatArray,
    on_tail: FloatArray,
    on_head: FloatArray,
) -> tuple[_Lists, _Lists, _Lists, FloatArray]:
    """Linearise the law of each pipe about the state: unknowns are the new flow and squares."""
    pipes, nodes = len(flow), len(square)
    each = np.arange(pipes)
    right = np.zeros(pipes + nodes + len(made.reg_set))
    if pipes:
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
    square: FloatArray,
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
        if state == REGULATING:
            parts = [(head, 1.0)]
            right[row] = made.reg_set[place]
        elif state == OPEN:
            parts = [(tail, 1.0), (head, -1.0), (own, -_OPEN_LOSS)]
        else:
            parts = [(own, 1.0), (head, _SHUT_LEAK)]
            if square[made.reg_tail[place]] < made.reg_set[place]:
                parts.append((tail, -_SHUT_LEAK))
            else:
                right[row] = _SHUT_LEAK * made.reg_set[place]
        rows.append(np.full(len(parts), row))
        columns.append(np.array([column for column, _ in parts]))
        values.append(np.array([value for _, value in parts]))
