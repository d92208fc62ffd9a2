"""What is shown of hoses and pipes says what the solution says, and no pressure that is not there."""

from __future__ import annotations

import pytest

from lungwort.jobs._lines import lines_part
from lungwort.plant.free_air import kg_s_of_l_min
from lungwort.plant.network import Network, Pipe, Regulator, Solution, Source, solve

ATM = 101_325.0


def a_pipe(name: str, begin: str, end: str, length_m: float, bore_mm: float = 10.0) -> Pipe:
    """Make a hose."""
    return Pipe(name=name, begin=begin, end=end, length_m=length_m, bore_mm=bore_mm)


def yard(draw_l_min: float) -> tuple[Network, Solution]:
    """Make a main, a regulator and two hoses, one laid down the other way round; invented."""
    network = Network(
        pipes=(
            a_pipe("main", "plant", "hall", 40.0, 20.0),
            a_pipe("one", "low", "a", 10.0),
            a_pipe("two", "b", "low", 30.0),
        ),
        sources=(Source(node="plant", pressure_bar_g=7.0),),
        regulators=(Regulator(name="r", begin="hall", end="low", set_bar_g=5.0),),
    )
    drawn = {node: kg_s_of_l_min(draw_l_min) for node in ("a", "b")}
    return network, solve(network, drawn)


def test_each_hose_is_told_the_way_the_air_goes() -> None:
    """Flows are those drawn; the fall is what lies between the ends; the longer hose loses more."""
    network, solution = yard(300.0)
    part = lines_part(network, solution, atmosphere_pa=ATM)
    by = {one["pipe"]: one for one in part.data}

    assert (by["two"]["from"], by["two"]["to"]) == ("low", "b")
    assert by["two"]["flow_l_min"] == pytest.approx(300.0, rel=1e-6)
    assert by["main"]["flow_l_min"] == pytest.approx(600.0, rel=1e-6)
    assert by["two"]["fall_bar"] > by["one"]["fall_bar"] > 0.0
    assert by["one"]["before_bar_g"] == pytest.approx(5.0, abs=1e-5)
    assert part.grid.rows[0][0] == "two"
    assert len(part.grid.rows[0]) == len(part.grid.head)


def test_the_way_to_the_worst_node_is_drawn() -> None:
    """From the source through the regulator; lengths add up, pressure never rises."""
    network, solution = yard(300.0)
    (plot,) = lines_part(network, solution, atmosphere_pa=ATM, least_bar_g=4.0).plots
    curve = plot.curves[0]

    assert "to b" in plot.title
    assert curve.x == (0.0, 40.0, 40.0, 70.0)
    assert list(curve.y) == sorted(curve.y, reverse=True)
    assert curve.y[0] == pytest.approx(7.0, abs=1e-6)
    assert plot.levels[0].value == 4.0
    (other,) = lines_part(network, solution, atmosphere_pa=ATM, to="a").plots
    assert other.curves[0].x[-1] == 50.0


def test_no_pressure_where_not_all_comes_through() -> None:
    """The share is told instead."""
    network, solution = yard(9000.0)
    part = lines_part(network, solution, atmosphere_pa=ATM)

    assert not solution.delivered
    assert part.plots == ()
    assert all(one["fall_bar"] is None and one["behind_bar_g"] is None for one in part.data)
    assert f"Only {solution.share * 100:.0f} % of what is drawn" in part.grid.note


def test_nobody_on_the_air() -> None:
    """There is no way that air takes."""
    network, solution = yard(0.0)

    assert lines_part(network, solution, atmosphere_pa=ATM).plots == ()
