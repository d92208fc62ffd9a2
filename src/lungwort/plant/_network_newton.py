"""Solving a network: Newton's method, and switching of regulators and sources between its runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from lungwort.errors import PlantError
from lungwort.plant._network_equations import (
    GRAM,
    OPEN,
    REGULATING,
    SHUT,
    SQUARE,
    Prepared,
    misfit,
    step,
)
from lungwort.plant.network import Solution, isothermal_sound_m_s

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lungwort.air.arrays import FloatArray
    from lungwort.plant._network_equations import State

_MOST_STEPS: Final = 80
_TOLERANCE: Final = 1e-10
_MOST_SWITCHES: Final = 40
_BACK: Final = 1e-5
"""Flow against the way from which a valve shuts [g/s]; half a millilitre of free air a minute."""
CHOKED: Final = 1.0 - 1e-6
_NO_END: Final = (
    "the network cannot be solved: the calculation comes to no end, so no pressure is given. Check "
    "bores, lengths, losses and pressures of the plant sheet, and whether regulators feed each other."
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

    Raises
    ------
    PlantError
        Where the calculation comes to no end.
    """
    draws = np.zeros(len(made.nodes))
    at = {name: place for place, name in enumerate(made.nodes)}
    for node, draw in draws_kg_s.items():
        draws[at[node]] += draw * share / GRAM
    reg_state = np.full(len(made.reg_set), REGULATING, dtype=np.int64)
    sources = dict(made.held)
    state: State | None = None
    steps = 0
    for with_speed in (False, True):
        state, used = _settled(
            made, draws, reg_state, sources, state or _start(made, draws), with_speed=with_speed
        )
        steps += used
        if state is None or (state[1] <= 0.0).any():
            return None
    if state is None:
        return None
    found = _solution(made, draws, share, state, sources, steps)
    # Nobody draws air out of a hose that is under less than the pressure outside.
    low = min(found.pressure_pa.values()) < made.atmosphere_pa * (1.0 - 1e-9)
    return None if low else found


def _start(made: Prepared, draws: FloatArray) -> State:
    each = max(float(draws.sum()), 1e-3) / max(len(made.tail), 1) ** 0.5
    return (
        np.full(len(made.tail), each),
        np.full(len(made.nodes), max(made.held.values())),
        np.zeros(len(made.reg_set)),
    )


def _settled(
    made: Prepared,
    draws: FloatArray,
    reg_state: np.ndarray,
    sources: dict[int, float],
    state: State,
    *,
    with_speed: bool,
) -> tuple[State | None, int]:
    """Solve, and switch valves, until all of them are as the state asks for.

    Without the term of speed there is always one solution, if need be with squares below 0, from
    which a flow that does not come through shows itself. With it there may be none.
    """
    steps, careful, begin = 0, False, state
    back: set[int] = set()
    for _ in range(_MOST_SWITCHES + 4 * (len(reg_state) + len(made.held))):
        found, used = _newton(made, draws, reg_state, sources, state, with_speed=with_speed)
        steps += used
        if found is None:
            if with_speed:
                # A source that stood by without the term of speed may be needed with it.
                away = [place for place in made.held if place not in sources and place not in back]
                if not away:
                    return None, steps
                place = min(away, key=lambda one: float(begin[1][one]) / made.held[one])
                back.add(place)
                sources[place] = made.held[place]
                state = begin
                continue
            if careful or len(reg_state) == 0:
                raise PlantError(_NO_END)
            # Some pressure was not determined, as between two regulators without flow.
            careful = True
            reg_state[:] = SHUT
            state = _start(made, draws)
            continue
        state = found
        if not _switched(made, draws, reg_state, sources, state, careful=careful):
            return state, steps
    raise PlantError(_NO_END)


def _newton(
    made: Prepared,
    draws: FloatArray,
    reg_state: np.ndarray,
    sources: Mapping[int, float],
    start: State,
    *,
    with_speed: bool,
) -> tuple[State | None, int]:
    flow, square, through = start
    for steps in range(1, _MOST_STEPS + 1):
        if with_speed and (square <= 0.0).any():
            return None, steps
        with np.errstate(over="ignore", invalid="ignore"):  # seen to in step
            found = step(
                made, draws, reg_state, sources, (flow, square, through), with_speed=with_speed
            )
        if found is None:
            return None, steps
        new_flow, new_square, new_through = found
        if with_speed:
            # No step may lead to where the law has no meaning.
            new_square = np.maximum(new_square, 0.25 * square)
        settled = _change(new_square, square) < _TOLERANCE
        flow, square, through = new_flow, new_square, new_through
        # The balance of the nodes is linear and holds after each step; only the law of the
        # pipes is left, and where next to nothing flows it alone tells when it is enough.
        if settled and misfit(made, flow, square, with_speed=with_speed) < _TOLERANCE:
            return (flow, square, through), steps
    return None, _MOST_STEPS


def _change(new: FloatArray, old: FloatArray) -> float:
    if len(new) == 0:
        return 0.0
    return float(np.abs(new - old).max() / max(float(np.abs(new).max()), 1e-12))


def _switched(
    made: Prepared,
    draws: FloatArray,
    reg_state: np.ndarray,
    sources: dict[int, float],
    state: State,
    *,
    careful: bool,
) -> bool:
    """Open, shut and set regulators and non-return valves of sources as the state asks for."""
    flow, square, through = state
    changed = False
    for place, now in enumerate(reg_state):
        before, behind = square[made.reg_tail[place]], square[made.reg_head[place]]
        wanted = now
        if now == REGULATING and before < made.reg_set[place]:
            wanted = OPEN
        elif now == OPEN and behind > made.reg_set[place] * (1.0 + 1e-9):
            wanted = SHUT if careful and through[place] < _BACK else REGULATING
        if now != SHUT and wanted == now and through[place] < -_BACK:
            wanted = SHUT
        elif now == SHUT and behind < min(before, made.reg_set[place]) * (1.0 - 1e-9):
            wanted = OPEN if before < made.reg_set[place] else REGULATING
        if wanted != now:
            reg_state[place] = wanted
            changed = True
    if changed:
        return True
    given = _supplied(made, draws, flow, through)
    for place, held in made.held.items():
        # A source has a non-return valve: air of another does not flow into it.
        if place in sources and len(sources) > 1 and given[place] < -_BACK:
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
    state: State,
    sources: Mapping[int, float],
    steps: int,
) -> Solution:
    flow, square, through = state
    pressure = np.sqrt(square * SQUARE)
    given = _supplied(made, draws, flow, through)
    inner = np.ones(len(made.nodes), dtype=bool)
    inner[list(sources)] = False
    pipes = made.network.pipes
    sound = isothermal_sound_m_s(made.temperature_k)
    if len(flow):
        lower = np.minimum(square[made.tail], square[made.head])
        mach = np.minimum(np.sqrt(made.square_per_flow * flow**2 / lower), 1.0)
    else:
        mach = np.zeros(0)
    named = [one.name for one in pipes]
    names = [one.name for one in made.network.lines]
    flows = np.concatenate([flow, through]) * GRAM
    return Solution(
        delivered=True,
        share=share,
        choked=tuple(name for name, one in zip(named, mach, strict=True) if one >= CHOKED),
        pressure_pa=dict(zip(made.nodes, pressure.tolist(), strict=True)),
        flow_kg_s=dict(zip(names, flows.tolist(), strict=True)),
        supplied_kg_s={
            made.nodes[place]: float(given[place]) * GRAM if place in sources else 0.0
            for place in made.held
        },
        velocity_m_s=dict(zip(named, (mach * sound).tolist(), strict=True)),
        mach=dict(zip(named, mach.tolist(), strict=True)),
        residual_kg_s=float(np.abs(given[inner]).max(initial=0.0)) * GRAM,
        iterations=steps,
    )
