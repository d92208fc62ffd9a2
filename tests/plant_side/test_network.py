"""Networks of pipes: conservation of mass, trees and rings by hand, and another solver."""

from __future__ import annotations

import math

import fluids
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import root

from lungwort.errors import PlantError
from lungwort.plant.free_air import GAS_CONSTANT_J_KG_K, kg_s_of_l_min, viscosity_pa_s
from lungwort.plant.network import (
    Network,
    Pipe,
    Regulator,
    Solution,
    Source,
    least_source_pressure,
    solve,
)
from lungwort.plant.network_sheet import read_network
from lungwort.plant.pipe import flow_kg_s, outlet_pressure_pa
from lungwort.tomlfile import opened

ATM = 101_325.0


def a_pipe(name: str, begin: str, end: str, **more: float) -> Pipe:
    """Make a hose of 20 m and 10 mm, or another."""
    given = {"length_m": 20.0, "bore_mm": 10.0, **more}
    return Pipe(name=name, begin=begin, end=end, **given)  # type: ignore[arg-type]


def a_network(*pipes: Pipe, bar_g: float = 6.0, regulators: tuple[Regulator, ...] = ()) -> Network:
    """Join pipes to one source at node 's'."""
    return Network(
        pipes=pipes, sources=(Source(node="s", pressure_bar_g=bar_g),), regulators=regulators
    )


def balance(network: Network, solution: Solution, draws: dict[str, float]) -> float:
    """Add up what each node gains, all sources and draws included; give the worst [kg/s]."""
    gained = dict.fromkeys(network.nodes, 0.0)
    for one in network.lines:
        gained[one.begin] -= solution.flow_kg_s[one.name]
        gained[one.end] += solution.flow_kg_s[one.name]
    for node, draw in draws.items():
        gained[node] -= draw * solution.share
    for node, given_ in solution.supplied_kg_s.items():
        gained[node] += given_
    return max(abs(one) for one in gained.values())


def test_a_line_is_worked_out_by_hand_pipe_after_pipe() -> None:
    """Each pipe alone, by bisection; the draws of those behind it flow through it as well."""
    pipes = (
        a_pipe("1", "s", "a", loss_coefficient=4.0),
        a_pipe("2", "a", "b", bore_mm=8.0),
        a_pipe("3", "b", "c", bore_mm=6.3, length_m=12.0),
    )
    draws = {"a": 0.004, "b": 0.003, "c": 0.002}
    found = solve(a_network(*pipes), draws)

    pressure = 6e5 + ATM
    for one, flow in zip(pipes, (0.009, 0.005, 0.002), strict=True):
        end = outlet_pressure_pa(
            pressure,
            flow,
            length_m=one.length_m,
            bore_m=one.bore_mm / 1e3,
            roughness_m=one.roughness_mm / 1e3,
            loss_coefficient=one.loss_coefficient,
            temperature_k=293.15,
            viscosity=float(viscosity_pa_s(293.15)),
        )
        assert end is not None
        pressure = end
        assert found.pressure_pa[one.end] == pytest.approx(pressure, rel=1e-8)
        assert found.flow_kg_s[one.name] == pytest.approx(flow, rel=1e-9)


def test_a_symmetrical_ring_halves_the_flow() -> None:
    """By symmetry; and the pressure is that of one half alone with half the draw."""
    ring = a_network(
        a_pipe("1", "s", "a"), a_pipe("2", "a", "e"), a_pipe("3", "s", "b"), a_pipe("4", "b", "e")
    )
    half = a_network(a_pipe("1", "s", "a"), a_pipe("2", "a", "e"))
    found, alone = solve(ring, {"e": 0.012}), solve(half, {"e": 0.006})

    assert found.flow_kg_s["1"] == pytest.approx(0.006, rel=1e-9)
    assert found.flow_kg_s["4"] == pytest.approx(0.006, rel=1e-9)
    assert found.pressure_pa["e"] == pytest.approx(alone.pressure_pa["e"], rel=1e-9)


def test_a_ring_with_a_break_is_worse_but_still_feeds() -> None:
    """Why rings are laid."""
    whole = (
        a_pipe("1", "s", "a"),
        a_pipe("2", "a", "e"),
        a_pipe("3", "s", "b"),
        a_pipe("4", "b", "e"),
    )
    before = solve(a_network(*whole), {"e": 0.008})
    after = solve(a_network(*whole[:2], whole[3]), {"e": 0.008})

    assert after.pressure_pa["e"] < before.pressure_pa["e"]


def test_a_mesh_against_another_formulation() -> None:
    """scipy.optimize.root for the pressures alone, with the flows of ``fluids.isothermal_gas``.

    Five nodes with a loop inside a loop, pipes long against their losses of speed.
    """
    pipes = (
        a_pipe("1", "s", "a", length_m=40.0),
        a_pipe("2", "s", "b", length_m=60.0),
        a_pipe("3", "a", "b", length_m=30.0, bore_mm=8.0),
        a_pipe("4", "a", "c", length_m=50.0),
        a_pipe("5", "b", "d", length_m=50.0),
        a_pipe("6", "c", "d", length_m=20.0, bore_mm=8.0),
    )
    draws = {"a": 0.004, "b": 0.001, "c": 0.009, "d": 0.004}
    found = solve(a_network(*pipes), draws)
    temperature = 293.15
    viscosity = float(viscosity_pa_s(temperature))

    def flow(one: Pipe, begin: float, end: float) -> float:
        high, low = max(begin, end), min(begin, end)
        if high - low < 1e-3:
            return 0.0
        bore, m = one.bore_mm / 1e3, 0.005
        for _ in range(60):
            factor = fluids.friction.Colebrook(
                max(4.0 * m / (math.pi * bore * viscosity), 4000.0), one.roughness_mm / one.bore_mm
            )
            m = fluids.isothermal_gas(
                rho=high / (GAS_CONSTANT_J_KG_K * temperature),
                fd=factor,
                P1=high,
                P2=low,
                L=one.length_m,
                D=bore,
            )
        return math.copysign(m, begin - end)

    free = ("a", "b", "c", "d")

    def balances(pressures: np.ndarray) -> list[float]:
        at = {"s": 6e5 + ATM, **dict(zip(free, pressures.tolist(), strict=True))}
        gained = {node: -draws[node] for node in free}
        for one in pipes:
            m = flow(one, at[one.begin], at[one.end])
            for node, sign in ((one.begin, -1.0), (one.end, 1.0)):
                if node in gained:
                    gained[node] += sign * m
        return [1e3 * gained[node] for node in free]

    other = root(balances, [6.6e5, 6.5e5, 6.2e5, 6.1e5], tol=1e-10)

    assert other.success
    assert (
        min(abs(one) for one in found.flow_kg_s.values())
        > 4000.0 * math.pi * 0.01 * viscosity / 4.0
    )
    for node, pressure in zip(free, other.x, strict=True):
        assert found.pressure_pa[node] == pytest.approx(pressure, rel=2e-6)


@st.composite
def networks(draw: st.DrawFn) -> tuple[Network, dict[str, float]]:
    """Make a random tree with some pipes more, and draws at some nodes."""
    count = draw(st.integers(2, 12))
    names = ["s", *(f"n{at}" for at in range(1, count))]
    pipes = [
        a_pipe(
            f"t{at}",
            names[draw(st.integers(0, at - 1))],
            names[at],
            length_m=draw(st.floats(0.5, 80.0)),
            bore_mm=draw(st.floats(9.0, 40.0)),
            loss_coefficient=draw(st.floats(0.0, 20.0)),
        )
        for at in range(1, count)
    ]
    for extra in range(draw(st.integers(0, 4))):
        one, other = draw(st.integers(0, count - 1)), draw(st.integers(0, count - 1))
        if one != other:
            pipes.append(a_pipe(f"x{extra}", names[one], names[other], bore_mm=12.0))
    draws = {
        name: kg_s_of_l_min(draw(st.floats(0.0, 120.0)))
        for name in names[1:]
        if draw(st.booleans())
    }
    return a_network(*pipes), draws


@given(networks())
@settings(max_examples=60, deadline=None)
def test_mass_is_conserved_and_more_is_worse(made: tuple[Network, dict[str, float]]) -> None:
    """Nothing is gained or lost; with a quarter more on each outlet no pressure rises."""
    network, draws = made
    found = solve(network, draws)
    total = max(sum(draws.values()), 1e-6)

    assert balance(network, found, draws) <= 1e-9 * total
    assert found.residual_kg_s <= 1e-9 * total
    if found.delivered:
        assert max(found.pressure_pa.values()) <= 6e5 + ATM + 1e-3
        more = solve(network, {node: 1.25 * draw for node, draw in draws.items()})
        if more.delivered:
            for node, pressure in more.pressure_pa.items():
                assert pressure <= found.pressure_pa[node] * (1.0 + 1e-9)


def test_a_large_mesh_is_solved() -> None:
    """2500 nodes, two sources; mass is conserved to rounding."""
    side = 50
    rng = np.random.default_rng(7)
    pipes = []
    for row in range(side):
        for column in range(side):
            for name, down, right in (("v", 1, 0), ("h", 0, 1)):
                if row + down < side and column + right < side:
                    pipes.append(
                        a_pipe(
                            f"{name}{row}-{column}",
                            f"{row}-{column}",
                            f"{row + down}-{column + right}",
                            length_m=float(rng.uniform(5.0, 50.0)),
                            bore_mm=float(rng.uniform(15.0, 50.0)),
                        )
                    )
    network = Network(
        pipes=tuple(pipes),
        sources=(
            Source(node="0-0", pressure_bar_g=7.0),
            Source(node=f"{side - 1}-{side - 1}", pressure_bar_g=7.0),
        ),
    )
    draws = {
        f"{row}-{column}": kg_s_of_l_min(10.0)
        for row in range(0, side, 5)
        for column in range(side)
    }
    found = solve(network, draws)

    assert found.delivered
    assert balance(network, found, draws) <= 1e-9 * sum(draws.values())


def test_nobody_on_the_air() -> None:
    """The pressure is the same everywhere."""
    found = solve(a_network(a_pipe("1", "s", "a"), a_pipe("2", "a", "s")), {"a": 0.0})

    assert found.pressure_pa["a"] == pytest.approx(6e5 + ATM, rel=1e-9)


def test_nobody_on_the_air_behind_a_long_and_thin_hose() -> None:
    """It resists so much that a flow of rounding alone would seem to cost pressure."""
    thin = a_pipe("1", "s", "a", length_m=1000.0, bore_mm=0.74)
    found = solve(a_network(thin), {"a": 1.0})

    assert not found.delivered
    assert found.share < 1e-3
    assert solve(a_network(thin), {}).pressure_pa["a"] == pytest.approx(6e5 + ATM, rel=1e-9)


def test_what_does_not_come_through_is_never_given_a_pressure_as_if_it_did() -> None:
    """The share that does come through, and the pipe that is choked."""
    found = solve(
        a_network(a_pipe("thin", "s", "a", length_m=0.3, bore_mm=3.0), bar_g=10.0), {"a": 0.1}
    )

    assert not found.delivered
    assert found.share < 0.2
    assert found.choked == ("thin",)
    assert found.flow_kg_s["thin"] == pytest.approx(0.1 * found.share, rel=1e-4)
    assert found.mach["thin"] == pytest.approx(1.0, abs=0.03)


def test_a_long_hose_runs_out_of_pressure_before_it_chokes() -> None:
    """Nobody sucks air out of it: the pressure at the end is that outside."""
    found = solve(a_network(a_pipe("long", "s", "a", length_m=200.0), bar_g=4.0), {"a": 0.1})

    assert not found.delivered
    assert found.choked == ()
    assert found.pressure_bar_g("a") == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize(("source_bar_g", "behind_bar_g"), [(6.0, 4.0), (3.5, None)])
def test_a_regulator_holds_its_pressure_or_stands_open(
    source_bar_g: float, behind_bar_g: float | None
) -> None:
    """Open it loses next to nothing."""
    network = a_network(
        a_pipe("1", "s", "a"),
        a_pipe("2", "b", "c"),
        bar_g=source_bar_g,
        regulators=(Regulator(name="r", begin="a", end="b", set_bar_g=4.0),),
    )
    found = solve(network, {"c": 0.006})
    before, behind = found.pressure_bar_g("a"), found.pressure_bar_g("b")

    if behind_bar_g is None:
        assert behind == pytest.approx(before, abs=2e-3)
        assert behind < 3.5
    else:
        assert behind == pytest.approx(behind_bar_g, abs=1e-6)
    assert balance(network, found, {"c": 0.006}) < 1e-12


def test_a_regulator_lets_no_air_back() -> None:
    """What lies behind it is fed by another source at a higher pressure."""
    network = Network(
        pipes=(a_pipe("1", "s", "a"), a_pipe("2", "b", "c")),
        sources=(Source(node="s", pressure_bar_g=3.0), Source(node="c", pressure_bar_g=6.0)),
        regulators=(Regulator(name="r", begin="a", end="b", set_bar_g=4.0),),
    )
    found = solve(network, {"b": 0.001, "a": 0.001})

    assert found.flow_kg_s["r"] == pytest.approx(0.0, abs=kg_s_of_l_min(0.01 / 60.0))
    assert found.supplied_kg_s["s"] == pytest.approx(0.001, rel=1e-6)


def test_a_source_takes_no_air_in() -> None:
    """The weaker of two stands by until the pressure falls to its own."""
    network = Network(
        pipes=(a_pipe("1", "s", "a"), a_pipe("2", "t", "a")),
        sources=(Source(node="s", pressure_bar_g=6.0), Source(node="t", pressure_bar_g=5.0)),
    )
    little, much = solve(network, {"a": 0.001}), solve(network, {"a": 0.03})

    assert little.supplied_kg_s["t"] == 0.0
    assert little.pressure_bar_g("t") > 5.0
    assert much.supplied_kg_s["t"] > 0.0


def test_a_weak_source_is_not_blown_through() -> None:
    """Were the weaker a way out, the short hose between both would be choked.

    Only the stronger feeds; the pressure is that of a network without the weaker one.
    """
    pipes = (a_pipe("1", "s", "t", length_m=0.1), a_pipe("2", "t", "a"))
    alone = solve(a_network(*pipes, bar_g=9.0), {"a": 0.003})
    both = solve(
        Network(
            pipes=pipes,
            sources=(Source(node="t", pressure_bar_g=1.0), Source(node="s", pressure_bar_g=9.0)),
        ),
        {"a": 0.003},
    )

    assert both.delivered
    assert both.supplied_kg_s == {"t": 0.0, "s": pytest.approx(0.003, rel=1e-9)}
    assert both.pressure_pa["a"] == pytest.approx(alone.pressure_pa["a"], rel=1e-9)


@pytest.mark.parametrize("draw_kg_s", np.linspace(0.001, 0.02, 20).tolist())
def test_a_source_steps_in_before_the_hose_of_the_other_is_choked(draw_kg_s: float) -> None:
    """The near one, at 1.4 bar(g) behind a wide pipe, can deliver all that is asked for alone."""
    network = Network(
        pipes=(
            a_pipe("thin", "s", "a", length_m=0.1, bore_mm=3.0, loss_coefficient=0.1),
            a_pipe("wide", "t", "a", length_m=1.0, bore_mm=80.0),
        ),
        sources=(Source(node="s", pressure_bar_g=6.0), Source(node="t", pressure_bar_g=1.4)),
    )
    found = solve(network, {"a": draw_kg_s})

    most = flow_kg_s(
        6e5 + ATM,
        ATM,
        length_m=0.1,
        bore_m=0.003,
        roughness_m=1.5e-6,
        loss_coefficient=0.1,
        temperature_k=293.15,
        viscosity=float(viscosity_pa_s(293.15)),
    )

    assert found.delivered
    assert found.pressure_bar_g("a") > 1.39
    assert found.flow_kg_s["thin"] == pytest.approx(min(draw_kg_s, most), rel=1e-5)
    assert found.choked == (("thin",) if draw_kg_s > most else ())
    assert sum(found.supplied_kg_s.values()) == pytest.approx(draw_kg_s, rel=1e-9)


def test_regulators_in_series_with_an_open_bypass() -> None:
    """The bypass holds more than both are set to: both stay shut, and the bypass carries all."""
    by = a_pipe("by", "s", "c", bore_mm=12.0)
    network = a_network(
        by,
        regulators=(
            Regulator(name="r1", begin="s", end="b", set_bar_g=4.0),
            Regulator(name="r2", begin="b", end="c", set_bar_g=5.0),
        ),
    )
    found, alone = solve(network, {"c": 0.004}), solve(a_network(by), {"c": 0.004})

    assert found.flow_kg_s["by"] == pytest.approx(0.004, rel=1e-6)
    assert found.pressure_pa["c"] == pytest.approx(alone.pressure_pa["c"], rel=1e-6)


@pytest.mark.parametrize(("set_bar_g", "rests_at"), [(4.0, 4.0), (8.0, 6.0)])
def test_behind_a_regulator_without_draw(set_bar_g: float, rests_at: float) -> None:
    """It closes at its own pressure, or gives all there is."""
    network = a_network(
        a_pipe("1", "s", "a"),
        regulators=(Regulator(name="r", begin="a", end="b", set_bar_g=set_bar_g),),
    )

    assert solve(network, {}).pressure_bar_g("b") == pytest.approx(rests_at, abs=1e-6)


def test_three_regulators_in_a_row() -> None:
    """The one that is set higher than what it is fed stands open."""
    network = a_network(
        a_pipe("1", "s", "a"),
        regulators=(
            Regulator(name="r1", begin="a", end="b", set_bar_g=3.0),
            Regulator(name="r2", begin="b", end="c", set_bar_g=5.0),
            Regulator(name="r3", begin="c", end="d", set_bar_g=2.0),
        ),
    )
    found = solve(network, {"d": 0.001})

    assert found.pressure_bar_g("b") == pytest.approx(3.0, abs=1e-6)
    assert found.pressure_bar_g("c") == pytest.approx(3.0, abs=2e-3)
    assert found.pressure_bar_g("d") == pytest.approx(2.0, abs=1e-6)


@st.composite
def trees(draw: st.DrawFn) -> tuple[Network, dict[str, float], list[float | None]]:
    """Make a tree of any bores and draws, and work it out pipe after pipe."""
    count = draw(st.integers(2, 8))
    names = ["s", *(f"n{at}" for at in range(1, count))]
    before = [draw(st.integers(0, at - 1)) for at in range(1, count)]
    pipes = [
        a_pipe(
            f"t{at}",
            names[before[at - 1]],
            names[at],
            length_m=draw(st.floats(0.1, 300.0)),
            bore_mm=10.0 ** draw(st.floats(0.0, 1.8)),
            loss_coefficient=draw(st.floats(0.0, 100.0)),
        )
        for at in range(1, count)
    ]
    through = [10.0 ** draw(st.floats(-7.0, -1.7)) for _ in names]
    draws = dict(zip(names[1:], through[1:], strict=True))
    for at in range(count - 1, 0, -1):
        through[before[at - 1]] += through[at]
    pressures: list[float | None] = [6e5 + ATM]
    for at, one in enumerate(pipes, 1):
        inlet = pressures[before[at - 1]]
        pressures.append(
            inlet
            and outlet_pressure_pa(
                inlet,
                through[at],
                length_m=one.length_m,
                bore_m=one.bore_mm / 1e3,
                roughness_m=one.roughness_mm / 1e3,
                loss_coefficient=one.loss_coefficient,
                temperature_k=293.15,
                viscosity=float(viscosity_pa_s(293.15)),
            )
        )
    return a_network(*pipes), draws, pressures


@given(trees())
@settings(max_examples=25, deadline=None)
def test_trees_deliver_exactly_what_their_pipes_let_through(
    made: tuple[Network, dict[str, float], list[float | None]],
) -> None:
    """Each pipe alone, by bisection: the same pressures, and refused where one is choked."""
    network, draws, pressures = made
    found = solve(network, draws)
    known = [one for one in pressures if one is not None]

    assert found.delivered == (len(known) == len(pressures) and min(known) >= ATM * (1.0 - 1e-9))
    if found.delivered:
        for node, pressure in zip(network.nodes, known, strict=True):
            assert found.pressure_pa[node] == pytest.approx(pressure, rel=1e-7)


def test_least_source_pressure() -> None:
    """With it the worst wearer is at the least, and with a little less below it."""
    network = a_network(a_pipe("1", "s", "a"), a_pipe("2", "a", "b", bore_mm=7.0))
    draws, least = {"a": 0.004, "b": 0.004}, {"a": 3.0, "b": 3.5}
    needed = least_source_pressure(network, draws, least)

    assert needed is not None
    at, below = (
        solve(network, draws, pressures_pa={"s": (needed - less) * 1e5 + ATM})
        for less in (0.0, 0.002)
    )
    assert 3.5 <= at.pressure_bar_g("b") < 3.502
    assert below.pressure_bar_g("b") < 3.5
    assert least_source_pressure(network, {"b": 10.0}, least) is None


def test_a_regulator_bounds_what_more_pressure_brings() -> None:
    """No pressure of the source brings more than it is set to."""
    network = a_network(
        a_pipe("1", "s", "a"),
        a_pipe("2", "b", "c"),
        regulators=(Regulator(name="r", begin="a", end="b", set_bar_g=4.0),),
    )

    assert least_source_pressure(network, {"c": 0.001}, {"c": 4.5}) is None
    assert least_source_pressure(network, {"c": 0.001}, {"c": 3.5}) is not None


@pytest.mark.parametrize(
    ("made", "telling"),
    [
        (lambda: Network(pipes=(a_pipe("1", "s", "a"),), sources=()), "no source of air"),
        (lambda: a_network(a_pipe("1", "s", "a"), a_pipe("1", "a", "b")), "'1' stands for 2"),
        (lambda: a_network(a_pipe("1", "s", "s")), "ends at the node where it begins"),
        (
            lambda: a_network(a_pipe("1", "s", "a"), a_pipe("2", "b", "c")),
            "no air can reach 'b', 'c'",
        ),
        (
            lambda: Network(
                pipes=(a_pipe("1", "s", "a"),),
                sources=(
                    Source(node="s", pressure_bar_g=6.0),
                    Source(node="s", pressure_bar_g=5.0),
                ),
            ),
            "has 2 sources",
        ),
        (
            lambda: a_network(
                a_pipe("1", "s", "a"),
                regulators=(Regulator(name="r", begin="a", end="s", set_bar_g=4.0),),
            ),
            "whose pressure a source holds",
        ),
        (lambda: a_network(a_pipe("1", "s", "a", bore_mm=math.nan)), "'1': bore of nan mm"),
        (lambda: a_network(a_pipe("1", "s", "a", bore_mm=0.0)), "bore of 0 mm cannot be used; 0.5"),
        (lambda: a_network(a_pipe("1", "s", "a", length_m=-1.0)), "length of -1 m"),
        (lambda: a_network(a_pipe("1", "s", "a", roughness_mm=0.6)), "roughness of 0.6 mm"),
        (lambda: a_network(a_pipe("1", "s", "a"), bar_g=math.inf), "'s': pressure of inf"),
        (
            lambda: a_network(
                a_pipe("1", "s", "a"),
                regulators=(Regulator(name="r", begin="a", end="b", set_bar_g=-1.0),),
            ),
            "'r': set pressure of -1",
        ),
    ],
)
def test_what_cannot_be_a_network_is_refused(made: object, telling: str) -> None:
    """With names."""
    with pytest.raises(PlantError, match=telling):
        made()  # type: ignore[operator]


@pytest.mark.parametrize(
    ("draws", "telling"),
    [
        ({"hal-1": 0.1}, "no node of the network. Near: 'hall-1'"),
        ({"hall-1": -0.1}, "draw of -0.1 kg/s"),
        ({"hall-1": math.nan}, "draw of nan"),
        ({"hall-1": math.inf}, "draw of inf"),
    ],
)
def test_draws_that_cannot_be(draws: dict[str, float], telling: str) -> None:
    """With what was found."""
    with pytest.raises(PlantError, match=telling):
        solve(a_network(a_pipe("1", "s", "hall-1")), draws)


def test_other_arguments_that_cannot_be() -> None:
    """Temperatures and pressures outside what air in a hose may have."""
    network = a_network(a_pipe("1", "s", "a"))
    with pytest.raises(PlantError, match="20 K; 220 to 370 K"):
        solve(network, {}, temperature_k=20.0)
    with pytest.raises(PlantError, match="no source of the network"):
        solve(network, {}, pressures_pa={"a": 5e5})
    with pytest.raises(PlantError, match="outside"):
        solve(network, {}, pressures_pa={"s": 5e9})
    with pytest.raises(PlantError, match="a least pressure is asked for"):
        least_source_pressure(network, {}, {"x": 1.0})
    with pytest.raises(PlantError, match="least pressure of nan"):
        least_source_pressure(network, {}, {"a": math.nan})
    with pytest.raises(PlantError, match="at most 0 bar"):
        least_source_pressure(network, {}, {"a": 1.0}, highest_bar_g=0.0)
    with pytest.raises(PlantError, match="air outside has nan"):
        solve(network, {}, atmosphere_pa=math.nan)


SHEET = """format = 1
[[source]]
node = "plant"
pressure_bar_g = 7
[[pipe]]
name = "main"
from = "plant"
to = "hall-1"
length_m = 40
bore_mm = 16
loss_coefficient = 4
kind = "hose"
[[regulator]]
name = "r1"
from = "hall-1"
to = "mask"
set_bar_g = 5.5
"""


def read(text: str) -> Network | None:
    """Read a sheet of a network alone."""
    top = opened(text, "plant.toml", ("format", "source", "pipe", "regulator"), PlantError)
    found = read_network(top)
    top.mistakes.raise_any()
    return found


def test_a_sheet() -> None:
    """Names, numbers, and roughness by kind."""
    network = read(SHEET)

    assert network is not None
    assert network.nodes == ("plant", "hall-1", "mask")
    assert network.pipes[0].roughness_mm == 0.0015
    assert network.regulators[0].set_bar_g == 5.5
    assert read("format = 1\n") is None
    assert read('format = 1\n[[source]]\nnode = "a"\npressure_bar_g = 3\n') is None


@pytest.mark.parametrize(
    ("old", "new", "telling"),
    [
        ("bore_mm = 16", "bore_mm = 0", "line 10: .*bore_mm.*0.5 to 2000 mm"),
        ("bore_mm = 16\n", "", "'bore_mm' is missing"),
        ("length_m = 40", "length_m = nan", "line 9: .*length_m"),
        ("kind = ", "knd = ", "not known. Near: 'kind'"),
        ('kind = "hose"', 'kind = "hoze"', "allowed are"),
        ('to = "hall-1"', 'to = "hall-2"', "no air can reach 'hall-1', 'mask'"),
        ("loss_coefficient = 4", "roughness_mm = 1.6", "a twentieth of the bore"),
        (
            "length_m = 40\nbore_mm = 16\nloss_coefficient = 4",
            "length_m = 0\nbore_mm = 16",
            "nothing would be lost",
        ),
    ],
)
def test_mistakes_in_a_sheet(old: str, new: str, telling: str) -> None:
    """With line, key and what to do."""
    assert old in SHEET
    with pytest.raises(PlantError, match=telling):
        read(SHEET.replace(old, new))
