"""Life of treatment: the sheet, hours by hand, the table of ratios, moisture, and what it comes to."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import theilslopes

from lungwort.errors import PlantError
from lungwort.plant import treatment_moisture as wet
from lungwort.plant import treatment_state as state
from lungwort.plant.running import MeterReading, Running, running
from lungwort.plant.treatment import KEYS_TOP, TreatmentStage, read_treatments
from lungwort.plant.treatment_life import Intake, StageLife, life_at, stage_life
from lungwort.plant.treatment_moisture import Moisture, WaterReading, moisture
from lungwort.plant.treatment_state import Decided, Facts, Planned, change_dates, decide
from lungwort.plant.water_load import Span
from lungwort.tomlfile import opened

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
CHANGED = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)
ZONE = ZoneInfo("UTC")
WET_INTAKE = Intake((20.0, 20.0), (100.0, 100.0))

SHEET = """
format = 1
[[treatment]]
name = "cartridge a"
kind = "molecular_sieve"
sorbent_g = 2600
water_capacity_percent = 12
pressure_bar_g = 225
inlet_above_intake_c = 10
separator_efficiency_percent = 95
flow_l_min = 265
[[treatment]]
name = "carbon"
kind = "activated_carbon"
declared_hours = 500
"""


def _read(text: str) -> tuple[TreatmentStage, ...]:
    top = opened(text, "plant.toml", ("format", *KEYS_TOP), PlantError)
    stages = read_treatments(top)
    top.mistakes.raise_any()
    return stages


def _stage(**changes: Any) -> TreatmentStage:
    made = TreatmentStage(
        name="a",
        kind="molecular_sieve",
        sorbent_g=2600.0,
        water_capacity_percent=12.0,
        pressure_bar_g=225.0,
        inlet_above_intake_c=0.0,
        separator_efficiency_percent=100.0,
        flow_l_min=265.0,
    )
    return evolve(made, **changes)


# --- the sheet --------------------------------------------------------------------------------------


def test_the_sheet_is_read() -> None:
    """All keys come through, in the order of the file."""
    first, second = _read(SHEET)

    assert (first.name, first.sorbent_g, first.flow_l_min) == ("cartridge a", 2600.0, 265.0)
    assert first.capacity_percent is not None
    assert (first.takes_water, second.takes_water) == (True, False)
    assert (second.kind, second.declared_hours, second.order) == ("activated_carbon", 500.0, 1)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("sorbent_g = 2600", "sorbent_gram = 2600", "'sorbent_gram': this key is not known"),
        ("sorbent_g = 2600", "sorbent_g = 0", "found 0, allowed is 1 to"),
        ("sorbent_g = 2600", "sorbent_g = nan", "found nan, allowed is 1 to"),
        ("pressure_bar_g = 225", "pressure_bar_g = -1", "found -1, allowed is 0 to 348.9"),
        ('"molecular_sieve"', '"molecular_sive"', "Near: 'molecular_sieve'"),
        ('kind = "molecular_sieve"', "", "'kind' is missing"),
        ('name = "cartridge a"', "", "number 1, key 'name' is missing"),
        ("declared_hours = 500", "water_capacity_percent = 5", "is of no use for activated carbon"),
        ("declared_hours = 500", "dew_point_c = 3", "for kind 'refrigeration' only"),
        ("declared_hours = 500", "regenerates = true", "is of no use for activated carbon"),
        ("= 95", "= 101", "found 101, allowed is 0 to 100"),
    ],
)
def test_mistakes_in_the_sheet_are_told_with_their_line(old: str, new: str, told: str) -> None:
    """A mistake is named with the place where it stands."""
    with pytest.raises(PlantError, match=rf"plant.toml, line \d+: .*{told}|{told}"):
        _read(SHEET.replace(old, new, 1))


# --- life -------------------------------------------------------------------------------------------


def test_life_by_hand() -> None:
    """The formula m X / (W Q), by hand with W = 152.1 mg/m3 of the table (section 12, computed).

    2600 g x 12 % = 312 g; 265 L/min = 15.9 m3/h; 312 000 / (152.1 x 15.9) = 129.0 h, 2051 m3. The
    ideal gas (77.5 mg/m3) would promise 253 h.
    """
    found = life_at((), _stage(), WET_INTAKE, 20.0)

    assert found.life_h.likely == pytest.approx(129.0, rel=0.005)
    assert found.life_m3.likely == pytest.approx(2051.0, rel=0.005)
    assert found.ideal_life_h == pytest.approx(253.0, rel=0.005)
    # least: 20 % less capacity and 25 % more water; most: 20 % more and 25 % less
    assert found.life_h.low == pytest.approx(129.0 * 0.8 / 1.25, rel=0.005)
    assert found.life_h.high == pytest.approx(129.0 * 1.2 / 0.75, rel=0.005)


# Section 12, "Life ratio relative to 20 °C (water-limited)", standing: computed outside of this
# program; columns 225 bar with f, 330 bar with f, ideal.
RATIOS = [
    (5.0, 2.41, 2.32, 2.68),
    (10.0, 1.78, 1.74, 1.90),
    (15.0, 1.33, 1.31, 1.37),
    (25.0, 0.76, 0.77, 0.74),
    (30.0, 0.58, 0.60, 0.55),
    (40.0, 0.35, 0.37, 0.32),
    (50.0, 0.22, 0.23, 0.19),
    (60.0, 0.14, 0.15, 0.12),
]


@pytest.mark.parametrize(("intake_c", "at_225", "at_330", "ideal"), RATIOS)
def test_life_ratio_is_that_of_the_table(
    intake_c: float, at_225: float, at_330: float, ideal: float
) -> None:
    """Life at a temperature over life at 20 °C, for real air at two pressures and ideal gas."""
    for pressure, ratio in ((225.0, at_225), (330.0, at_330)):
        stage = _stage(pressure_bar_g=pressure)
        there, here = (life_at((), stage, WET_INTAKE, at) for at in (intake_c, 20.0))

        assert there.life_h.likely / here.life_h.likely == pytest.approx(ratio, abs=0.0052)
        assert there.ideal_life_h / here.ideal_life_h == pytest.approx(ideal, abs=0.0052)


@pytest.mark.parametrize(("pressure", "times"), [(225.0, 1.96), (330.0, 2.59)])
def test_ideal_gas_overstates_life(pressure: float, times: float) -> None:
    """Section 12, computed: about 2 times at 225 bar(g), 2.6 times at 330 bar(g), at 20 °C."""
    found = life_at((), _stage(pressure_bar_g=pressure), WET_INTAKE, 20.0)

    assert found.ideal_life_h / found.life_h.likely == pytest.approx(times, rel=0.01)


@settings(max_examples=25, deadline=None)
@given(
    cold=st.floats(-10, 30),
    warmer=st.floats(0.5, 15),
    pressure=st.sampled_from([5.0, 40.0, 225.0, 330.0]),
    efficiency=st.floats(50, 100),
)
def test_hotter_is_never_longer(
    cold: float, warmer: float, pressure: float, efficiency: float
) -> None:
    """A warmer intake shortens the life, whatever the rest is."""
    stage = _stage(pressure_bar_g=pressure, separator_efficiency_percent=efficiency)
    intake = Intake((0.0, 1.0), (40.0, 80.0))
    first, second = (life_at((), stage, intake, at) for at in (cold, cold + warmer))

    assert second.life_h.low <= first.life_h.low
    assert second.life_h.likely <= first.life_h.likely
    assert second.life_h.low <= second.life_h.likely <= second.life_h.high


@pytest.mark.parametrize(
    "changes",
    [
        {"flow_l_min": 530.0},
        {"sorbent_g": 1300.0},
        {"water_capacity_percent": 6.0},
        {"inlet_above_intake_c": 15.0},
        {"separator_efficiency_percent": 90.0},
        {"pressure_bar_g": 100.0},
    ],
)
def test_what_shortens_life(changes: dict[str, Any]) -> None:
    """More flow, less sorbent, a warmer or worse separator and a lower pressure shorten it."""
    assert (
        life_at((), _stage(**changes), WET_INTAKE, 20.0).life_h.likely
        < life_at((), _stage(), WET_INTAKE, 20.0).life_h.likely
    )


def test_thin_air_on_a_mountain_is_counted() -> None:
    """A gauge shows pressure over the air around: at 3000 m 5 bar(g) is 5.70 bar(a), not 6.01.

    The life goes with the absolute pressure as long as the air is saturated, f apart (below 0.2 %).
    """
    stage = _stage(pressure_bar_g=5.0)
    high = life_at((), stage, Intake((20, 20), (100, 100), altitude_m=3000.0), 20.0)
    sea = life_at((), stage, WET_INTAKE, 20.0)

    assert high.life_h.likely / sea.life_h.likely == pytest.approx(5.701 / 6.013, rel=0.006)


def test_a_refrigeration_drier_before_it_lengthens_life() -> None:
    """Behind it the air holds no more than at its dew point.

    729 mg/m3 at 3 °C and 7 bar(g) (section 5.5, computed) against 2242 at 20 °C: 3.08 times.
    """
    cooler = TreatmentStage(
        name="cool",
        kind="refrigeration",
        pressure_bar_g=7.0,
        dew_point_c=3.0,
        separator_efficiency_percent=100.0,
    )
    stage = _stage(pressure_bar_g=7.0, order=1)
    with_it = life_at((cooler, stage), stage, WET_INTAKE, 20.0)
    alone = life_at((stage,), stage, WET_INTAKE, 20.0)

    assert with_it.life_h.likely / alone.life_h.likely == pytest.approx(2242 / 729, rel=0.01)


def test_over_the_year_the_ends_are_those_of_the_seasons() -> None:
    """Shortest at the warmest intake, longest at the coldest, likely in the middle."""
    found = stage_life((_stage(),), "a", Intake((0.0, 30.0), (50.0, 90.0)))
    coldest, middle, warmest = found.seasons

    assert found.life_h == Span(warmest.life_h.low, middle.life_h.likely, coldest.life_h.high)
    assert middle.intake_c == 15.0
    assert not found.doubts


def test_no_water_no_end() -> None:
    """Perfectly dry air never fills it up: the life has no end, and no false number."""
    found = life_at((), _stage(), Intake((20.0, 20.0), (0.0, 0.0)), 20.0)

    assert math.isinf(found.life_h.low)


@pytest.mark.parametrize(
    ("changes", "told", "life"),
    [
        ({"water_capacity_percent": None}, "does not state water_capacity_percent", True),
        ({"water_capacity_percent": 22.0}, "more than molecular sieve takes at equilibrium", True),
        ({"separator_efficiency_percent": None}, "separator_efficiency_percent of 'a'; 90", True),
        ({"flow_l_min": None}, "does not state flow_l_min", False),
        ({"sorbent_g": None, "pressure_bar_g": None}, "state sorbent_g, pressure_bar_g", False),
        ({"kind": "alumina", "water_capacity_percent": None}, "water_capacity_percent", False),
        ({"kind": "activated_carbon"}, "does not follow from the water", False),
        ({"kind": "coalescer"}, "does not follow from the water", False),
        ({"kind": "co_catalyst"}, "does not follow from the water", False),
        ({"regenerates": True}, "molecular sieve that regenerates does not follow", False),
    ],
)
def test_what_is_not_stated_is_a_doubt(changes: dict[str, Any], told: str, life: bool) -> None:  # noqa: FBT001 - a case
    """A missing or unlikely figure keeps the life from being a proof."""
    found = stage_life((_stage(**changes),), "a", WET_INTAKE)

    assert any(told in one for one in found.doubts)
    assert (found.life_h is not None) == life


def test_without_an_intake_there_is_no_life() -> None:
    """No temperature, no number."""
    found = stage_life((_stage(),), "a", None)

    assert found.life_h is None
    assert "temperature and humidity at the intake" in found.doubts[0]


def test_declared_hours_are_an_upper_end() -> None:
    """The maker's hours hold where they are fewer, and are all there is where water tells nothing."""
    both = stage_life((_stage(declared_hours=100.0),), "a", WET_INTAKE)
    carbon = stage_life((_stage(kind="activated_carbon", declared_hours=500.0),), "a", None)

    assert both.life_h is not None
    assert (both.life_h.likely, both.life_h.high) == (100.0, 100.0)
    assert both.life_h.low < 100.0
    assert carbon.life_h == Span.exactly(500.0)
    assert not carbon.doubts
    assert not carbon.by_water


def test_refusals_of_life() -> None:
    """A stage that is not there, and temperatures beyond the formulas, are refused with the remedy."""
    with pytest.raises(PlantError, match=r"no treatment 'b'\. It has: 'a'"):
        stage_life((_stage(),), "b", WET_INTAKE)
    with pytest.raises(PlantError, match="would have 70 °C at an intake of 55 °C"):
        life_at((), _stage(inlet_above_intake_c=15.0), WET_INTAKE, 55.0)
    with pytest.raises(PlantError, match="intake temperatures 30 and 20 do not rise"):
        Intake((30.0, 20.0), (0.0, 1.0))
    with pytest.raises(PlantError, match="does not follow from water"):
        life_at((), _stage(kind="coalescer"), WET_INTAKE, 20.0)


# --- measured moisture ------------------------------------------------------------------------------


def _water(*values: float) -> list[WaterReading]:
    return [
        WaterReading(CHANGED + timedelta(days=n), one, "fill-1") for n, one in enumerate(values)
    ]


def test_a_rising_moisture_is_seen() -> None:
    """The slope is that of scipy.stats.theilslopes; the limit is reached in a straight line."""
    values = [10.0, 11.2, 11.9, 13.1, 14.0, 15.2]
    found = moisture("fill-1", _water(*values), limit_mg_m3=25.0)
    slope = theilslopes(values, range(6), alpha=0.95)

    assert found.state == wet.RISING
    assert found.slope_mg_m3_d is not None
    assert found.slope_mg_m3_d.likely == pytest.approx(slope.slope)
    assert found.reaches is not None
    days = (found.reaches - (CHANGED + timedelta(days=5))) / timedelta(days=1)
    assert days == pytest.approx((25.0 - 15.2) / slope.high_slope)


def test_states_of_moisture() -> None:
    """Above the limit, steady, too few, none."""
    assert moisture("o", _water(10, 30), limit_mg_m3=25.0).state == wet.ABOVE
    assert moisture("o", _water(30, 10), limit_mg_m3=25.0).state == wet.TOO_FEW
    assert moisture("o", _water(10, 11, 10, 9, 11, 10), limit_mg_m3=25.0).state == wet.STEADY
    assert moisture("o", _water(10, 11, 10, 9, 11, 26), limit_mg_m3=25.0).state == wet.ABOVE
    assert moisture("o", _water(9, 8, 7, 6, 5, 4)).state == wet.STEADY
    assert moisture("o", []).state == wet.NONE
    assert moisture("o", []).newest is None


@pytest.mark.parametrize("value", [-1.0, math.nan, math.inf])
def test_water_that_cannot_be_is_refused(value: float) -> None:
    """As a reading and as a limit."""
    with pytest.raises(PlantError, match=r"water content of .* cannot be"):
        WaterReading(CHANGED, value)
    with pytest.raises(PlantError, match=r"highest water content of .* cannot be"):
        moisture("o", [], limit_mg_m3=value)


# --- what it comes to -------------------------------------------------------------------------------


def _ran(hours_a_day: float, days: int = 30) -> Running:
    readings = [
        MeterReading(CHANGED + timedelta(days=n), hours_a_day * n) for n in range(5, days + 1, 5)
    ]
    return running(readings, CHANGED, hours_at_start=0.0)


def _facts(**changes: Any) -> Facts:
    made = Facts(
        life=StageLife(_stage(), None, (), Span(80.0, 129.0, 200.0), by_water=True),
        running=_ran(1.0),
        planned=Planned(date(2026, 7, 1), "Changed, to be changed every 2 months."),
        now=NOW,
        zone=ZONE,
    )
    return evolve(made, **changes)


def test_change_dates_by_hand() -> None:
    """1 h a day, 30 h used on 31 May: 80 h are full 50 days later, on 20 July; 129 h on 7 September."""
    found = change_dates(Span(80.0, 129.0, 200.0), _ran(1.0), ZONE)

    assert found.earliest == date(2026, 7, 20)
    assert found.likely == date(2026, 9, 7)
    assert found.latest == date(2026, 11, 17)


def test_it_lasts_to_the_planned_change() -> None:
    """The shortest life reaches beyond the plan: holds, and the plan's earlier day counts."""
    found = decide(_facts())

    assert (found.state, found.word) == (state.HOLDS, state.LASTS)
    assert found.change_by == date(2026, 7, 1)
    assert found.used is not None
    assert found.used.likely == pytest.approx(31.17 / 129.0, rel=0.01)


def test_it_does_not_reach_the_planned_change() -> None:
    """Not used up yet, but before the plan: not proven, and the earlier day is told."""
    found = decide(_facts(planned=Planned(date(2026, 9, 1))))

    assert found.state == state.NOT_PROVEN
    assert "lasts through 2026-07-20 only" in found.reasons[0]
    assert found.change_by == date(2026, 7, 20)


def test_used_up() -> None:
    """3 h a day for 30 days are 90 h, more than the shortest life of 80 h."""
    found = decide(_facts(running=_ran(3.0)))

    assert (found.state, found.word) == (state.FAILS, state.OVERDUE)
    assert "used up on 2026-05-27" in found.reasons[0]


def test_a_life_that_rests_on_assumptions_shows_nothing() -> None:
    """The same with an assumed figure: not proven, and the day is told."""
    guessed = StageLife(
        _stage(), None, (), Span(80.0, 129.0, 200.0), by_water=True, doubts=("assumed.",)
    )
    found = decide(_facts(life=guessed, running=_ran(3.0)))

    assert (found.state, found.word) == (state.NOT_PROVEN, state.UNKNOWN)
    assert any("had to be assumed" in one and "2026-05-27" in one for one in found.reasons)


def test_the_plan_that_is_past_counts() -> None:
    """A cartridge with life left is overdue all the same where the plan's day is past."""
    found = decide(_facts(planned=Planned(date(2026, 5, 31), "Changed every month.")))

    assert (found.state, found.word) == (state.FAILS, state.OVERDUE)
    assert "due by 2026-05-31" in found.reasons[0]


def test_hours_of_the_warm_season_stay_counted() -> None:
    """Half of the life is used in the summer: in winter half of the longer life is left, not more.

    By hand: 30 h of at least 60 h are used, half of it; 240 h ahead leave 120 h, 120 days at 1 h a
    day from 31 May (with the 1.17 h up to the moment counted as summer too: 115.3 days from 1 June).
    """
    ahead = StageLife(_stage(), None, (), Span(240.0, 300.0, 400.0), by_water=True)
    before = StageLife(_stage(), None, (), Span(60.0, 100.0, 200.0), by_water=True)
    found = decide(_facts(life=ahead, past=before))

    assert found.used is not None
    assert found.used.high == pytest.approx(31.17 / 60, rel=0.01)
    assert found.change is not None
    assert found.change.earliest == date(2026, 9, 24)
    alone = decide(_facts(life=ahead))
    assert alone.change is not None
    assert alone.change.earliest > found.change.earliest


def test_a_hotter_season_ahead_never_lengthens() -> None:
    """Hours used in the cold are not made fewer for the shortest life ahead."""
    ahead = StageLife(_stage(), None, (), Span(60.0, 100.0, 200.0), by_water=True)
    before = StageLife(_stage(), None, (), Span(240.0, 300.0, 400.0), by_water=True)

    with_past, without = decide(_facts(life=ahead, past=before)), decide(_facts(life=ahead))
    assert with_past.change is not None
    assert without.change is not None
    assert with_past.change.earliest <= without.change.earliest


def test_due_soon() -> None:
    """Within 14 days of the day by which it is to be changed."""
    assert decide(_facts(planned=Planned(date(2026, 6, 15)))).word == state.DUE_SOON
    assert decide(_facts(planned=Planned(date(2026, 6, 16)))).word == state.LASTS
    assert decide(_facts(planned=Planned(date(2026, 6, 1)))).state == state.HOLDS


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"running": None}, "No change of its cartridge is on record"),
        ({"planned": Planned()}, "No planned change is on record"),
        ({"planned": Planned(None, "Enter the reading.", told=False)}, "Enter the reading."),
        (
            {"life": StageLife(_stage(), None, (), None, by_water=False, doubts=("no flow.",))},
            "no flow.",
        ),
        ({"moisture": (moisture("fill-1", _water(1, 2, 3, 4, 5, 6)),)}, "creeps upward"),
        (
            {"moisture": (moisture("o", [WaterReading(CHANGED, 20.0, open_ended=True)]),)},
            "went beyond its scale",
        ),
        ({"running": running([], CHANGED, hours_at_start=0.0)}, None),
    ],
)
def test_nothing_is_proven_on_doubts(changes: dict[str, Any], told: str | None) -> None:
    """Each gap or sign keeps it from holding."""
    found = decide(_facts(**changes))

    assert found.state != state.HOLDS
    assert told is None or any(told in one for one in found.reasons)


def test_day_and_night_may_still_be_enough() -> None:
    """No reading since the change, yet a life that outlasts 24 h a day to the planned change."""
    long_life = StageLife(_stage(), None, (), Span(2000.0, 3000.0, 4000.0), by_water=True)
    blind = running([], CHANGED, hours_at_start=0.0)
    found = decide(_facts(life=long_life, running=blind))

    # by hand: 2000 h / 24 h a day = 83.3 days from 1 May, 23 July
    assert found.state == state.HOLDS
    assert found.change is not None
    assert found.change.earliest == date(2026, 7, 23)
    assert any("counted as if it ran day and night" in one for one in found.reasons)


def test_wet_air_counts_more_than_the_calculation() -> None:
    """A newest reading above the limit fails, whatever life is left, and comes first."""
    found = decide(_facts(moisture=(moisture("fill-1", _water(10, 30), limit_mg_m3=25.0),)))

    assert (found.state, found.word) == (state.FAILS, state.WET)
    assert "fill-1" in found.reasons[0]
    assert "above the 25 mg/m3" in found.reasons[0]


def _catalyst(**changes: Any) -> Facts:
    stage = TreatmentStage(
        name="cat", kind="co_catalyst", declared_hours=1000.0, highest_outlet_water_mg_m3=25.0
    )
    dry = moisture("fill-1", _water(10, 11, 10, 9, 11, 10), limit_mg_m3=25.0)
    made = _facts(
        life=stage_life((stage,), "cat", None),
        moisture=(dry,),
        upstream=(Decided("a", state.HOLDS, state.LASTS, ()),),
    )
    return evolve(made, **changes)


def test_a_catalyst_behind_a_good_drier_holds() -> None:
    """Declared hours, a drier before it that holds, and dry readings."""
    assert decide(_catalyst()).state == state.HOLDS


@pytest.mark.parametrize(
    ("changes", "result", "told"),
    [
        ({"upstream": ()}, state.NOT_PROVEN, "No stage that dries"),
        (
            {"upstream": (Decided("a", state.NOT_PROVEN, "", ()),)},
            state.NOT_PROVEN,
            "not proven that the stage 'a'",
        ),
        (
            {"upstream": (Decided("a", state.FAILS, "", ()),)},
            state.FAILS,
            "wet air stops a CO catalyst",
        ),
        ({"moisture": ()}, state.NOT_PROVEN, "measure the moisture behind it"),
        ({"moisture": (Moisture("o", wet.NONE, (), 25.0),)}, state.NOT_PROVEN, "No moisture"),
        (
            {"moisture": (moisture("o", _water(10, 11), limit_mg_m3=25.0),)},
            state.NOT_PROVEN,
            "too few readings of moisture (2)",
        ),
        (
            {"moisture": (moisture("o", _water(10, 11, 10, 9, 10)),)},
            state.NOT_PROVEN,
            "No highest water content",
        ),
        (
            {"moisture": (moisture("o", _water(10, 11, 10, 9, 40), limit_mg_m3=25.0),)},
            state.FAILS,
            "withdraw the supply",
        ),
        (
            {"moisture": (moisture("o", _water(10, 11, 12, 13, 14, 15), limit_mg_m3=25.0),)},
            state.NOT_PROVEN,
            "creeps upward",
        ),
    ],
)
def test_a_catalyst_hangs_on_dry_air(changes: dict[str, Any], result: str, told: str) -> None:
    """Wet air stops it, so that doubt about the drying is doubt about the catalyst."""
    found = decide(_catalyst(**changes))

    assert found.state == result
    assert any(told in one for one in found.reasons)


def test_a_refrigeration_drier_is_never_proven_by_calculation() -> None:
    """It uses nothing up; its dew point is measured."""
    stage = TreatmentStage(name="cool", kind="refrigeration", dew_point_c=3.0, declared_hours=9e4)
    found = decide(_facts(life=stage_life((stage,), "cool", None)))

    assert found.state == state.NOT_PROVEN
    assert any("measured behind it" in one for one in found.reasons)


def test_a_life_without_end_has_no_latest_day() -> None:
    """No end of hours, or no hours a day, is no day; never a made-up one."""
    found = change_dates(Span(80.0, math.inf, math.inf), _ran(1.0), ZONE)

    assert found.likely is None
    assert found.latest is None


@settings(max_examples=25, deadline=None)
@given(rate=st.floats(0.1, 23.0), low=st.floats(10, 500), more=st.floats(1, 500))
def test_earliest_never_later_than_likely(rate: float, low: float, more: float) -> None:
    """The ends of the change stand in order, and its first day is never after the plan's rule.

    The same floor of whole days as the plan of changes has, at the same or a faster rate.
    """
    found = change_dates(Span(low, low + more, low + 2 * more), _ran(rate), ZONE)
    last = CHANGED + timedelta(days=30)
    plan = last.date() + timedelta(days=math.floor((low - 30 * rate) / rate + 1e-9))

    assert found.earliest <= plan
    assert found.likely is None or found.earliest <= found.likely
    assert found.latest is None or found.likely is None or found.likely <= found.latest
