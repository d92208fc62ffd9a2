"""Measure solving a network of pipes against one bare sparse solution of the same size.

    python bench/network.py --sides 20 40 70

The bare solution factorises once the matrix of the last step of Newton's method, which any program
must do at least once; the ratio tells how many of them the whole answer costs.
"""

from __future__ import annotations

import argparse
import math
import statistics
import time
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from lungwort.plant.free_air import kg_s_of_l_min
from lungwort.plant.network import Network, Pipe, Source, solve

if TYPE_CHECKING:
    from collections.abc import Sequence


def mesh(side: int, seed: int = 5) -> tuple[Network, dict[str, float]]:
    """Make a square mesh with two sources and a wearer at each third node of each third row.

    Parameters
    ----------
    side : int
        Nodes along an edge [1].
    seed : int
        Seed of lengths and bores [1].

    Returns
    -------
    tuple of (Network, dict)
        The mesh, and what is drawn [kg/s].
    """
    rng = np.random.default_rng(seed)
    pipes = [
        Pipe(
            name=f"{name}{row}-{column}",
            begin=f"{row}-{column}",
            end=f"{row + down}-{column + right}",
            length_m=float(rng.uniform(5.0, 50.0)),
            bore_mm=float(rng.uniform(20.0, 60.0)),
        )
        for row in range(side)
        for column in range(side)
        for name, down, right in (("v", 1, 0), ("h", 0, 1))
        if row + down < side and column + right < side
    ]
    network = Network(
        pipes=tuple(pipes),
        sources=(
            Source(node="0-0", pressure_bar_g=7.0),
            Source(node=f"{side - 1}-{side - 1}", pressure_bar_g=7.0),
        ),
    )
    draws = {
        f"{row}-{column}": kg_s_of_l_min(20.0)
        for row in range(0, side, 3)
        for column in range(0, side, 3)
    }
    return network, draws


def bare(side: int) -> float:
    """Factorise and solve a matrix of the same unknowns once.

    Parameters
    ----------
    side : int
        Nodes along an edge [1].

    Returns
    -------
    float
        Time [s].
    """
    network, _ = mesh(side)
    at = {name: place for place, name in enumerate(network.nodes)}
    pipes, nodes = len(network.pipes), len(at)
    each = np.arange(pipes)
    tail = np.array([at[one.begin] for one in network.pipes])
    head = np.array([at[one.end] for one in network.pipes])
    one = np.ones(pipes)
    rows = np.concatenate([each, each, each, pipes + tail, pipes + head, [pipes + at["0-0"]]])
    columns = np.concatenate([each, pipes + tail, pipes + head, each, each, [pipes + at["0-0"]]])
    values = np.concatenate([-one, one, -one, -one, one, [1e6]])
    matrix = sp.csc_matrix((values, (rows, columns)), shape=(pipes + nodes, pipes + nodes))
    right = np.ones(pipes + nodes)
    begin = time.perf_counter()
    splu(matrix).solve(right)
    return time.perf_counter() - begin


def measure(sides: Sequence[int], runs: int) -> list[tuple[int, float, float, int]]:
    """Measure each size some times.

    Parameters
    ----------
    sides : sequence of int
        Nodes along an edge [1].
    runs : int
        How often [1].

    Returns
    -------
    list of (int, float, float, int)
        Nodes, time of the answer [s], ratio to the bare solution, and steps; medians.
    """
    found = []
    for side in sides:
        network, draws = mesh(side)
        times, ratios, steps = [], [], 0
        for _ in range(runs):
            floor = bare(side)
            begin = time.perf_counter()
            solution = solve(network, draws)
            taken = time.perf_counter() - begin
            assert solution.delivered
            assert math.isfinite(solution.residual_kg_s)
            times.append(taken)
            ratios.append(taken / floor)
            steps = solution.iterations
        found.append((side * side, statistics.median(times), statistics.median(ratios), steps))
    return found


def main(arguments: Sequence[str] | None = None) -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sides", type=int, nargs="+", default=[20, 40, 70, 100])
    parser.add_argument("--runs", type=int, default=5)
    given = parser.parse_args(arguments)
    print("| nodes | answer [s] | / one sparse solution | steps |")
    print("| ---: | ---: | ---: | ---: |")
    for nodes, taken, ratio, steps in measure(given.sides, given.runs):
        print(f"| {nodes} | {taken:.3f} | {ratio:.1f} | {steps} |")


if __name__ == "__main__":
    main()
