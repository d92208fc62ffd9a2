"""What a calculation shows of hoses and pipes: a table of each, and the pressure along one way."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from attrs import frozen

from lungwort.paper.calculation import Cell, Curve, Grid, Level, Plot
from lungwort.plant.free_air import l_min_of_kg_s

if TYPE_CHECKING:
    from lungwort.plant.network import Network, Solution

MOST_PLACES = 200
"""Pipes along one way that are drawn."""
_STILL_KG_S = 1e-9


@frozen(kw_only=True)
class LinesPart:
    """Parts of a calculation that tell of hoses and pipes.

    Parameters
    ----------
    grid : Grid
        Each hose and pipe, the greatest fall of pressure first.
    plots : tuple of Plot
        Pressure along the way to one node; none where not all that is drawn comes through.
    data : list of dict
        The same as the table, for machines.
    """

    grid: Grid
    plots: tuple[Plot, ...]
    data: list[dict[str, Any]]


def lines_part(
    network: Network,
    solution: Solution,
    *,
    atmosphere_pa: float,
    to: str | None = None,
    least_bar_g: float | None = None,
) -> LinesPart:
    """Make table, drawing and data of what flows in the lines.

    Parameters
    ----------
    network : Network
        The network.
    solution : Solution
        What `lungwort.plant.network.solve` gave for it.
    atmosphere_pa : float
        Pressure of the air outside [Pa(a)].
    to : str, optional
        Node to which the pressure is drawn, such as that of the wearer with the least margin; None
        for the node with the least pressure.
    least_bar_g : float, optional
        Pressure that is needed there [bar(g)].

    Returns
    -------
    LinesPart
        Table, drawing and data. Where not all that is drawn comes through, no pressure is shown.

    Examples
    --------
    >>> from lungwort.plant.network import Network, Pipe, Source, solve
    >>> hose = Pipe(name="hose", begin="plant", end="mask", length_m=10, bore_mm=8)
    >>> lines = Network(pipes=(hose,), sources=(Source(node="plant", pressure_bar_g=5.5),))
    >>> part = lines_part(lines, solve(lines, {"mask": 0.006}), atmosphere_pa=101325.0)
    >>> part.grid.rows[0][:3]
    ('hose', 'plant', 'mask')
    """
    data = [_told(network, solution, place, atmosphere_pa) for place in range(len(network.pipes))]
    data.sort(key=lambda one: (-(one["fall_bar"] or 0.0), -one["percent_of_sound"]))
    rows: list[tuple[Cell, ...]] = [tuple(one.values()) for one in data]
    share = "" if solution.delivered else (
        f" Only {solution.share * 100:.0f} % of what is drawn comes through; flows are those of this "
        "share, and no pressure is given."
    )  # fmt: skip
    grid = Grid(
        "Hoses and pipes, the greatest fall of pressure first",
        (
            "hose or pipe",
            "air comes from",
            "and goes to",
            "bore [mm]",
            "free air [L/min]",
            "speed at the end [m/s]",
            "of the speed of sound [%]",
            "pressure before [bar(g)]",
            "behind [bar(g)]",
            "fall [bar]",
        ),
        tuple(rows),
        marked=tuple(at for at, one in enumerate(data) if one["pipe"] in solution.choked),
        note=f"Free air at 20 °C and 1 atm. Marked: air moves as fast as it can.{share}",
    )
    plots: tuple[Plot, ...] = ()
    if solution.delivered:
        end = to or min(solution.pressure_pa, key=lambda node: solution.pressure_pa[node])
        made = _way(network, solution, end, atmosphere_pa, least_bar_g)
        plots = () if made is None else (made,)
    return LinesPart(grid=grid, plots=plots, data=data)


def _told(network: Network, solution: Solution, place: int, atmosphere_pa: float) -> dict[str, Any]:
    pipe = network.pipes[place]
    flow = solution.flow_kg_s[pipe.name]
    begin, end = (pipe.begin, pipe.end) if flow >= 0.0 else (pipe.end, pipe.begin)
    before: float | None = None
    behind: float | None = None
    if solution.delivered:
        before, behind = (solution.pressure_bar_g(node, atmosphere_pa) for node in (begin, end))
    return {
        "pipe": pipe.name,
        "from": begin,
        "to": end,
        "bore_mm": pipe.bore_mm,
        "flow_l_min": l_min_of_kg_s(abs(flow)),
        "speed_m_s": solution.velocity_m_s[pipe.name],
        "percent_of_sound": 100.0 * solution.mach[pipe.name],
        "before_bar_g": before,
        "behind_bar_g": behind,
        "fall_bar": None if before is None or behind is None else max(before - behind, 0.0),
    }


def _way(
    network: Network,
    solution: Solution,
    end: str,
    atmosphere_pa: float,
    least_bar_g: float | None,
) -> Plot | None:
    """Go from a node against the air, each time into the line that brings the most."""
    feeds: dict[str, tuple[float, str, float]] = {}
    lengths = {pipe.name: pipe.length_m for pipe in network.pipes}
    for one in network.lines:
        flow = solution.flow_kg_s[one.name]
        begin, into = (one.begin, one.end) if flow >= 0.0 else (one.end, one.begin)
        if abs(flow) > max(_STILL_KG_S, feeds.get(into, (0.0, "", 0.0))[0]):
            feeds[into] = (abs(flow), begin, lengths.get(one.name, 0.0))
    way = [(end, 0.0)]
    while way[-1][0] in feeds and len(way) <= MOST_PLACES:
        _, begin, length = feeds[way[-1][0]]
        way.append((begin, length))
    if len(way) == 1:
        return None
    nodes = [node for node, _ in reversed(way)]
    at, x = 0.0, [0.0]
    for _, length in reversed(way[1:]):
        at += length
        x.append(at)
    pressures = tuple(solution.pressure_bar_g(node, atmosphere_pa) for node in nodes)
    levels = () if least_bar_g is None else (Level(f"needed at {end}", least_bar_g),)
    return Plot(
        title=f"Pressure along the way to {end}",
        x_name=f"length of hose and pipe from {nodes[0]}",
        x_unit="m",
        y_name="pressure",
        y_unit="bar(g)",
        curves=(
            Curve("between nodes (drawn straight)", tuple(x), pressures),
            Curve("nodes", tuple(x), pressures, style="points"),
        ),
        levels=levels,
        says=(
            f"From {nodes[0]} to {end} the pressure falls from {pressures[0]:.2f} to "
            f"{pressures[-1]:.2f} bar(g) along {at:.0f} m of hose and pipe."
        ),
    )
