"""One pipe: friction, pressure drop and choking, held against published examples."""

from __future__ import annotations

import math

import fluids
import pytest
from fluids.friction import Colebrook
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import PlantError
from lungwort.plant import pipe
from lungwort.plant.free_air import (
    FREE_PRESSURE_PA,
    GAS_CONSTANT_J_KG_K,
    KG_PER_L,
    kg_s_of_l_min,
    viscosity_pa_s,
)

BAR = 1e5
ATM = 101_325.0


@pytest.mark.parametrize("reynolds", [4.1e3, 2e4, 1e5, 3e6, 1e8])
@pytest.mark.parametrize("rough", [0.0, 1e-6, 1e-4, 2e-2])
def test_friction_against_colebrook_of_fluids(reynolds: float, rough: float) -> None:
    """Fluids 1.3.1, ``friction.Colebrook`` (exact solution of the formula)."""
    ours = float(pipe.friction_factor(reynolds, rough))

    assert ours == pytest.approx(Colebrook(reynolds, rough), rel=1e-9)


def test_friction_of_slow_flow() -> None:
    """Hagen-Poiseuille: f = 64/Re; and no leap between the two laws."""
    assert float(pipe.friction_factor(640.0, 1e-4)) == pytest.approx(0.1)
    below, above = (float(pipe.friction_factor(re, 1e-4)) for re in (1999.999, 2000.001))
    assert below == pytest.approx(above, rel=1e-5)
    below, above = (float(pipe.friction_factor(re, 1e-4)) for re in (3999.999, 4000.001))
    assert below == pytest.approx(above, rel=1e-5)


def test_isothermal_flow_of_fluids() -> None:
    """The example of fluids.

    Docstring of ``isothermal_gas``: rho 11.3, fd 0.00185, 10 to 9 bar, 1000 m, 0.5 m give
    145.4847572636031 kg/s (confirmed). The law is the same, with the logarithm of the pressures.
    """
    flow = fluids.isothermal_gas(rho=11.3, fd=0.00185, P1=1e6, P2=9e5, L=1000, D=0.5)
    assert flow == pytest.approx(145.4847572636031, rel=1e-12)
    # R T is p1/rho, the density being that at the beginning; f L/D is given and no fitting is there.
    square = (flow / (math.pi * 0.25 / 4.0)) ** 2 * 1e6 / 11.3

    fall = square * (0.00185 * 1000 / 0.5 + 2.0 * math.log(10.0 / 9.0))

    assert fall == pytest.approx(1e12 - 8.1e11, rel=1e-9)


@pytest.mark.parametrize(
    ("l_min", "bore_mm", "length_m", "inlet_bar_g", "outlet_bar_g"),
    [
        (150, 8.0, 10, 5.0, 4.9220),
        (120, 6.3, 20, 4.0, 3.5891),
        (300, 8.0, 10, 5.5, 5.2473),
        (300, 9.5, 30, 5.5, 5.1675),
        (450, 9.5, 60, 6.0, 4.6114),
        (600, 12.7, 100, 7.0, 6.2082),
    ],
)
def test_hoses(
    l_min: float, bore_mm: float, length_m: float, inlet_bar_g: float, outlet_bar_g: float
) -> None:
    """Six hoses.

    Computed with scipy 1.17 and fluids 1.3.1 from the same law: R 287.05, 293.15 K, viscosity
    1.82e-5 Pa s, roughness 1.5 µm, no fittings. Status: computed; to the digits written down.
    """
    end = pipe.outlet_pressure_pa(
        inlet_bar_g * BAR + ATM,
        kg_s_of_l_min(float(l_min)),
        length_m=length_m,
        bore_m=bore_mm / 1e3,
        roughness_m=1.5e-6,
        loss_coefficient=0.0,
        temperature_k=293.15,
        viscosity=1.82e-5,
    )

    assert end is not None
    assert (end - ATM) / BAR == pytest.approx(outlet_bar_g, abs=6e-5)


def test_crane_air_line() -> None:
    """A line of a handbook.

    Crane TP-410, example 7-16: 65 psig, 115 °F, 75 ft of 1 inch schedule 40, 100 scfm. Crane 2.61
    psi from a table of steps; fluids' notebook "7.16 Air Lines" 2.7148 psi (confirmed). The
    handbook's factor for turbulent steel pipe and the standard state of 60 °F are taken; what is
    left between the two is 4 %.
    """
    psi = 6894.757
    bore = 1.049 * 0.0254
    kg_s = 100.0 * 0.3048**3 / 60.0 * 101_325.0 / (GAS_CONSTANT_J_KG_K * 288.706)
    temperature = (115.0 - 32.0) / 1.8 + 273.15
    inlet = 65.0 * psi + ATM
    end = pipe.outlet_pressure_pa(
        inlet,
        kg_s,
        length_m=75 * 0.3048,
        bore_m=bore,
        roughness_m=0.0018 * 0.0254,
        loss_coefficient=0.0,
        temperature_k=temperature,
        viscosity=float(viscosity_pa_s(temperature)),
    )

    assert end is not None
    assert (inlet - end) / psi == pytest.approx(2.61, rel=0.06)
    assert (inlet - end) / psi == pytest.approx(2.7148, rel=0.03)


def test_crane_outlet_to_the_atmosphere() -> None:
    """Another.

    Crane TP-410, example 7-22: 19.3 psig, 100 °F, 10 ft of 1/2 inch schedule 80 to the atmosphere,
    K of the exit 1. Crane 3762 scfh; fluids 3773.57 scfh (confirmed), both adiabatic with a factor
    Y; an isothermal flow passes 3 % less or more.
    """
    psi = 6894.757
    temperature = (100.0 - 32.0) / 1.8 + 273.15
    flow = pipe.flow_kg_s(
        19.3 * psi + ATM,
        ATM,
        length_m=10 * 0.3048,
        bore_m=0.546 * 0.0254,
        roughness_m=0.0018 * 0.0254,
        loss_coefficient=1.0,
        temperature_k=temperature,
        viscosity=float(viscosity_pa_s(temperature)),
    )
    scfh = flow / (101_325.0 / (GAS_CONSTANT_J_KG_K * 288.706)) / 0.3048**3 * 3600.0

    assert scfh == pytest.approx(3762, rel=0.04)


def test_crane_gas_pipeline() -> None:
    """A third.

    Crane TP-410, example 7-18: 100 miles of 14 inch schedule 20 (13.376 inch), 1300 to 300 psia, 40
    °F, natural gas of 75 % methane, 21 % ethane and 4 % propane, 1.1e-5 Pa s. Crane's simplified
    formula gives 107.8 million cubic feet a day, which takes the gas as ideal as we do, and f as
    0.0128; fluids 103.434 with the density of a real gas (confirmed). Of the gas the law knows only R
    times T, so that air of another temperature stands in for it.
    """
    psi = 6894.757
    molar = 0.75 * 16.04246 + 0.21 * 30.06904 + 0.04 * 44.09562
    gas = 8314.462618 / molar
    temperature = (40.0 - 32.0) / 1.8 + 273.15
    flow = pipe.flow_kg_s(
        1300.0 * psi,
        300.0 * psi,
        length_m=160_934.4,
        bore_m=13.376 * 0.0254,
        roughness_m=0.0018 * 0.0254,
        loss_coefficient=0.0,
        temperature_k=temperature * gas / GAS_CONSTANT_J_KG_K,
        viscosity=1.1e-5,
    )
    cubic_feet = flow / (101_325.0 / (gas * 288.706)) / 0.3048**3 * 86_400.0

    assert cubic_feet / 1e6 == pytest.approx(107.8, rel=0.02)


def test_choking_against_fluids() -> None:
    """The example of fluids.

    Docstring of ``P_isothermal_critical_flow``: 10 bar, fd 0.00185, 1000 m, 0.5 m choke at
    389699.73176 Pa (confirmed). At that end the fall of the squares is that of our law.
    """
    outlet = fluids.P_isothermal_critical_flow(P=1e6, fd=0.00185, L=1000.0, D=0.5)
    assert outlet == pytest.approx(389_699.73176, rel=1e-9)

    # m/A = p2/sqrt(R T) there, so that (m/A)² R T is the square of the pressure at the end.
    fall = outlet**2 * (0.00185 * 1000.0 / 0.5 + 2.0 * math.log(1e6 / outlet))

    assert 1e12 - outlet**2 == pytest.approx(fall, rel=1e-6)


def test_more_than_passes_is_refused() -> None:
    """No pressure is given for a flow that chokes the pipe; just below it is the choking pressure."""
    most = pipe.flow_kg_s(6e5, 1e4, **_hose())
    assert pipe.outlet_pressure_pa(6e5, most * 1.001, **_hose()) is None
    end = pipe.outlet_pressure_pa(6e5, most * 0.999999, **_hose())

    assert end == pytest.approx(pipe.choking_pressure_pa(most, 0.008, 293.15), rel=1e-2)
    assert pipe.outlet_pressure_pa(6e5, 10.0, **_hose()) is None


@pytest.mark.parametrize("wrong", [math.nan, math.inf, -1.0])
@pytest.mark.parametrize("key", ["length_m", "bore_m", "loss_coefficient"])
def test_figures_that_no_pipe_has(key: str, wrong: float) -> None:
    """With what was found and what is needed."""
    with pytest.raises(PlantError, match=f"found {wrong:g}; a pipe needs"):
        pipe.outlet_pressure_pa(6e5, 0.001, **{**_hose(), key: wrong})
    with pytest.raises(PlantError, match="mass flow"):
        pipe.outlet_pressure_pa(6e5, wrong, **_hose())
    with pytest.raises(PlantError, match="pressure at the end"):
        pipe.flow_kg_s(6e5, wrong, **_hose())
    with pytest.raises(PlantError, match="pressure at the beginning"):
        pipe.flow_kg_s(wrong, 1e5, **_hose())


@given(st.floats(1.0, 400.0), st.floats(2.0, 9.0))
@settings(max_examples=40, deadline=None)
def test_there_and_back(l_min: float, inlet_bar_g: float) -> None:
    """The flow between the two pressures is the flow that made them."""
    inlet = inlet_bar_g * BAR + ATM
    end = pipe.outlet_pressure_pa(inlet, kg_s_of_l_min(l_min), **_hose())
    if end is not None:
        assert pipe.flow_kg_s(inlet, end, **_hose()) == pytest.approx(
            kg_s_of_l_min(l_min), rel=1e-5, abs=1e-8
        )
        assert end < inlet


def _hose() -> dict[str, float]:
    return {
        "length_m": 10.0,
        "bore_m": 0.008,
        "roughness_m": 1.5e-6,
        "loss_coefficient": 5.0,
        "temperature_k": 293.15,
        "viscosity": 1.82e-5,
    }


def test_free_air() -> None:
    """Density of free air.

    1.2041 kg/m³ at 20 °C and 1 atm: ISO 2533 gives 1.225 at 15 °C, times 288.15/293.15 (from
    memory); CoolProp 8.0 gives 1.2046 for real air (computed).
    """
    assert pytest.approx(1.225 * 288.15 / 293.15, rel=3e-4) == KG_PER_L * 1000.0
    assert pytest.approx(1.2046, rel=5e-4) == KG_PER_L * 1000.0
    assert FREE_PRESSURE_PA == ATM


def test_viscosity() -> None:
    """U.S. Standard Atmosphere 1976, table: 1.7894e-5 Pa s at 288.15 K (from memory)."""
    assert viscosity_pa_s(288.15) == pytest.approx(1.7894e-5, rel=1e-4)
