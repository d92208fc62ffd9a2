"""What wearers draw: against published figures, Monte Carlo, and the arcsine distribution of scipy."""

from __future__ import annotations

import math
import tomllib
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from lungwort.errors import ExposureError, PlantError
from lungwort.tomlfile import Mistakes, Table
from lungwort.wearers.demand import Draw, Wearer, draws, one_flow_l_min, read_wearers, told_of
from lungwort.wearers.demand_equipment import (
    DEMAND,
    HIGHEST_HOSE_INLET_BAR_G,
    KINDS,
    LEAST_FLOW,
    WORK,
    equipment,
    work_rate,
)
from lungwort.wearers.demand_peak import peak_flow, peak_of_l_min


def _read(text: str) -> tuple[Wearer, ...]:
    top = Table(tomllib.loads(text), (), "", Mistakes("plant.toml", text, error=PlantError))
    found = read_wearers(top)
    top.mistakes.raise_any()
    return found


WEARER = """
[[wearer]]
name = "painter"
at = "hall-1"
equipment = "continuous_flow_loose"
minimum_flow_l_min = 180
minimum_bar_g = 4.0
maximum_bar_g = 7.0
count = 3
simultaneous = 2
"""


@pytest.mark.parametrize(
    ("kind", "cubic_feet_a_minute"),
    [
        # 42 CFR 84 subpart J, table 8 (confirmed): 4 and 6 cubic feet a minute.
        ("continuous_flow_tight", 4),
        ("continuous_flow_loose", 6),
        ("demand", 4),
        ("pressure_demand", 4),
    ],
)
def test_published_least_flows_are_those_of_the_rule(kind: str, cubic_feet_a_minute: int) -> None:
    """The rule gives them in cubic feet and, rounded up to 5 L, in litres."""
    found = equipment(kind).figure(LEAST_FLOW)

    assert found is not None
    exact = cubic_feet_a_minute * 28.316846592  # international foot
    assert 0 <= found.value - exact < 2
    assert found.standing == "confirmed"


def test_pressure_of_the_hose_inlet_is_that_of_the_rule() -> None:
    """42 CFR 84.148 (confirmed): 863 kN/m², that is 125 pounds a square inch."""
    assert pytest.approx(125 * 0.06894757, rel=2e-3) == HIGHEST_HOSE_INLET_BAR_G


def test_breathing_rates_agree_with_other_sources() -> None:
    """Rising with work, and the evaluation rate of IDLH figures lies in heavy work.

    50 L/min: NIOSH, IDLH documentation (confirmed). Rest: oxygen uptake 0.64 ± 0.09 L/min of resting
    divers (NEDU 1-89, confirmed) times 20 (from memory) is about the upper end.
    """
    rates = [work_rate(name) for name in WORK]

    assert all(a.high_l_min <= b.low_l_min + 1e-9 for a, b in pairwise(rates))
    assert rates[3].low_l_min <= 50 <= rates[3].high_l_min
    assert rates[0].high_l_min == pytest.approx(0.64 * 20, rel=0.15)


def test_peak_of_a_sine_is_pi_times_the_mean() -> None:
    """Mathematics, by numerical integration of the positive half of a sine (scipy.integrate.quad)."""
    height = peak_of_l_min(40.0)
    mean, _ = integrate.quad(
        lambda x: height * max(math.sin(x), 0.0), 0, 2 * math.pi, points=[math.pi]
    )

    assert mean / (2 * math.pi) == pytest.approx(40.0, rel=1e-9)


def test_quantile_of_one_is_that_of_the_arcsine_distribution() -> None:
    """scipy.stats.arcsine: half of the time shut, else |sin| with the arcsine law of its square."""
    share = 0.9
    # P(q <= x) = 1/2 + 1/2 P(sin² <= (x/A)²), and sin² of an even phase is arcsine-distributed.
    expected = math.sqrt(stats.arcsine.ppf((share - 0.5) / 0.5)) * math.pi * 40.0

    found = peak_flow([40.0], share).most_of_the_time_l_min

    assert expected <= found <= expected * 1.01


def test_quantile_of_several_is_that_of_random_phases() -> None:
    """Against phases drawn at random (numpy), which knows nothing of convolution."""
    ventilations = [60.0, 60.0, 40.0, 40.0, 20.0, 60.0]
    phases = np.random.default_rng(7).uniform(0, 2 * math.pi, (400_000, len(ventilations)))
    drawn = (np.maximum(np.sin(phases), 0.0) * math.pi * np.array(ventilations)).sum(axis=1)

    found = peak_flow(ventilations)

    assert found.most_of_the_time_l_min == pytest.approx(np.quantile(drawn, 0.999), rel=0.015)
    assert found.mean_l_min == pytest.approx(drawn.mean(), rel=0.005)
    assert found.all_at_once_l_min == pytest.approx(math.pi * sum(ventilations))


def test_many_come_close_to_a_normal_spread() -> None:
    """Central limit: mean n V, variance n (A²/4 - A²/pi²); quantile by scipy.stats.norm."""
    count, volume = 60, 40.0
    height = math.pi * volume
    spread = math.sqrt(count * height**2 * (0.25 - 1 / math.pi**2))
    expected = count * volume + stats.norm.ppf(0.999) * spread

    found = peak_flow([volume] * count)

    assert found.most_of_the_time_l_min == pytest.approx(expected, rel=0.015)
    assert found.most_of_the_time_l_min < 0.6 * found.all_at_once_l_min


@given(st.lists(st.floats(1.0, 120.0), min_size=1, max_size=8))
@settings(max_examples=25, deadline=None)
def test_quantile_lies_between_mean_and_all_at_once(ventilations: list[float]) -> None:
    """The order of the three never changes, and one more wearer never makes it less."""
    found = peak_flow(ventilations)
    more = peak_flow([*ventilations, 30.0])

    assert found.mean_l_min < found.most_of_the_time_l_min <= found.all_at_once_l_min + 1e-9
    assert more.most_of_the_time_l_min >= found.most_of_the_time_l_min * 0.98
    assert more.all_at_once_l_min > found.all_at_once_l_min


def test_nobody_draws_nothing() -> None:
    """No demand valves, no flow."""
    assert peak_flow([]).all_at_once_l_min == 0.0


@pytest.mark.parametrize("volume", [0.0, -1.0, math.nan, math.inf, 301.0])
def test_a_volume_that_cannot_be_is_refused(volume: float) -> None:
    """Zero, negative, no number, too much."""
    with pytest.raises(ExposureError, match="cannot be; above 0 to 300 L/min"):
        peak_flow([40.0, volume])


def test_a_share_that_means_nothing_is_refused() -> None:
    """A share of 1 would be all at once; it is not a quantile."""
    with pytest.raises(ExposureError, match=r"0\.5 to 0\.999999 is allowed"):
        peak_flow([40.0], 1.0)
    with pytest.raises(ExposureError, match="501 wearers"):
        peak_flow([40.0] * 501)


def test_read_wearers_and_what_they_draw() -> None:
    """Two of three are on the air at once; continuous flow has no peak."""
    wearers = _read(WEARER)

    assert wearers[0].count == 3
    expected = Draw(at="hall-1", name="painter", flow_l_min=360.0, minimum_bar_g=4.0, maximum_bar_g=7.0, people=2)  # fmt: skip
    assert draws(wearers, at_peak=False) == (expected,)
    assert draws(wearers, at_peak=True) == (expected,)


def test_all_are_on_the_air_where_nothing_else_is_said() -> None:
    """Without 'simultaneous' the whole count draws."""
    wearers = _read(WEARER.replace("simultaneous = 2\n", ""))

    assert draws(wearers, at_peak=True)[0].people == 3


def test_demand_valve_draws_what_is_breathed() -> None:
    """Heavy work: 60 L/min on average, pi times that at the height of a breath."""
    one = Wearer(name="a", at="x", equipment="demand", work="heavy", minimum_flow_l_min=115.0)

    assert one_flow_l_min(one, at_peak=False) == (60.0, "breathed")
    assert one_flow_l_min(one, at_peak=True)[0] == pytest.approx(60 * math.pi)


def test_declared_flow_of_a_demand_valve_counts_where_it_is_more() -> None:
    """A valve declared for 300 L/min is given that at the peak."""
    one = Wearer(name="a", at="x", equipment="demand", work="rest", minimum_flow_l_min=300.0)

    assert one_flow_l_min(one, at_peak=True) == (300.0, "declared")


def test_unknown_work_counts_as_heavy_and_says_so() -> None:
    """The safe side of what may be, and marked as assumed."""
    one = Wearer(name="a", at="x", equipment="pressure_demand", minimum_flow_l_min=115.0)

    assert one_flow_l_min(one, at_peak=False) == (60.0, "assumed")


@pytest.mark.parametrize(
    ("kind", "flow"),
    # 160 L/min: EN 14594 cl. 5.11.1 (confirmed); 170 and 425: 42 CFR 84 table 8 (confirmed).
    [("continuous_flow_tight", 160.0), ("blasting_helmet", 170.0), ("suit", 425.0), ("", 425.0)],
)
def test_missing_flow_is_assumed_from_what_is_published(kind: str, flow: float) -> None:
    """And never called declared."""
    assert one_flow_l_min(Wearer(name="a", at="x", equipment=kind), at_peak=True) == (
        flow,
        "assumed",
    )


def test_wide_open_valve_counts_where_it_is_declared() -> None:
    """The highest flow is what is drawn."""
    one = Wearer(
        name="a", at="x", equipment="suit", minimum_flow_l_min=300.0, highest_flow_l_min=500.0
    )

    assert one_flow_l_min(one, at_peak=True) == (500.0, "declared")


def test_heavier_air_counts_up_and_thin_air_not_down() -> None:
    """In the cold a litre weighs more; on a mountain no credit is taken."""
    wearers = _read(WEARER)

    assert draws(wearers, at_peak=True, weight=1.1)[0].flow_l_min == pytest.approx(396.0)
    assert draws(wearers, at_peak=True, weight=0.8)[0].flow_l_min == 360.0


@pytest.mark.parametrize("weight", [0.0, -1.0, math.nan, math.inf])
def test_a_weight_that_cannot_be_is_refused(weight: float) -> None:
    """No number and nonsense."""
    with pytest.raises(ExposureError, match="Check height and temperature"):
        draws((), at_peak=True, weight=weight)


def test_a_declared_flow_below_the_published_least_is_told() -> None:
    """With the source and how well it is founded."""
    low = Wearer(name="a", at="x", equipment="continuous_flow_loose", minimum_flow_l_min=120.0)
    fine = Wearer(name="a", at="x", equipment="continuous_flow_loose", minimum_flow_l_min=170.0)

    assert told_of(fine) == ()
    (told,) = told_of(low)
    assert "below the least flow of 170 L/min in 42 CFR 84" in told
    assert "(confirmed)" in told


def test_flows_and_pressures_above_the_published_are_told() -> None:
    """A flow in the wrong unit, a wide valve, and a hose without relief."""
    wrong = Wearer(name="a", at="x", equipment="continuous_flow_tight", minimum_flow_l_min=600.0)
    wide = Wearer(name="a", at="x", equipment="continuous_flow_tight", minimum_flow_l_min=120.0, highest_flow_l_min=500.0)  # fmt: skip
    hose = Wearer(name="a", at="x", equipment="suit", minimum_flow_l_min=600.0, maximum_bar_g=10.0)

    assert "above the greatest flow of 425 L/min" in told_of(wrong)[0]
    assert "valve wide open" in told_of(wide)[0]
    assert "wants a pressure relief" in told_of(hose)[0]


def test_pressure_at_a_blasting_hood_is_told() -> None:
    """Alberta OHS Code s.255 (confirmed): 140 kPa, 20 psi, at the hood, which is not worked out."""
    one = Wearer(name="a", at="x", equipment="blasting_helmet", minimum_flow_l_min=300.0)

    (told,) = told_of(one)
    assert "140 kPa at the hood" in told
    assert "not worked out" in told


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('at = "hall-1"\n', "", "key 'at' is missing"),
        ('"continuous_flow_loose"', '"continous_flow_loose"', "Near: 'continuous_flow_loose'"),
        ('equipment = "continuous_flow_loose"\n', "", "'equipment' is missing. Give one of"),
        ("= 180", "= 0", "found 0, allowed is 1 to 5000 L/min"),
        ("= 180", "= nan", "found nan, allowed is 1 to 5000"),
        ("= 180", "= -3", "found -3, allowed is 1 to 5000"),
        ("simultaneous = 2", "simultaneous = 4", "found 4, and there are 3 in all"),
        ("count = 3", "count = 2.5", "give a whole number"),
        ("maximum_bar_g = 7.0", "maximum_bar_g = 4.0", "found 4, not above minimum_bar_g"),
        ("count = 3", "colour = 3", "'colour': this key is not known"),
        ("count = 3", "count = 3\nhighest_flow_l_min = 100", "found 100, below minimum_flow_l_min"),
    ],
)
def test_mistakes_of_a_sheet_are_told(old: str, new: str, told: str) -> None:
    """Each with what was found and what to do."""
    with pytest.raises(PlantError, match=r"\[\[wearer\]\] 'painter'") as refused:
        _read(WEARER.replace(old, new))
    assert told in str(refused.value)


def test_names_taken_twice_are_refused() -> None:
    """Since results name wearers."""
    with pytest.raises(PlantError, match="taken by another"):
        _read(WEARER + WEARER)


def test_unknown_words_are_refused() -> None:
    """Kinds and rates of work, when not read from a sheet."""
    with pytest.raises(ExposureError, match=r"'mask' is not known\. Known kinds"):
        equipment("mask")
    with pytest.raises(ExposureError, match="'lazy' is not known"):
        work_rate("lazy")
    assert [kind for kind in KINDS if equipment(kind).breathing == DEMAND] == ["demand", "pressure_demand"]  # fmt: skip


def test_every_published_figure_names_its_source() -> None:
    """Nothing is published here without a document and its standing."""
    standings = {"confirmed", "confirmed (secondary)", "from memory"}
    figures = [one for kind in KINDS for one in equipment(kind).published]

    assert len(figures) >= 8
    assert all(one.source and one.standing in standings for one in figures)
    assert {work_rate(name).standing for name in WORK} <= standings
