"""Enough air, from a sheet and a record, both invented."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from fluids.compressible import isothermal_gas
from fluids.friction import friction_factor

from lungwort.errors import PlantError, UnknownRecordError
from lungwort.jobs.enough_air import Request, enough_air, request_of
from lungwort.jobs.enough_air_result import calculation_of, more_alike, state_of
from lungwort.jobs.enough_air_work import Worked, worked
from lungwort.jobs.opening import Where
from lungwort.paper.calculation import FAILS, HOLDS, NOT_PROVEN, Calculation
from lungwort.paper.calculation_sheet import calculation_pdf, json_text
from lungwort.paper.plot import plot_svg
from lungwort.plant.sheet import read_sheet
from lungwort.register import model as m
from lungwort.register.workspace import create_workspace

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
WHO = "Wenna Harkle"

SHEET = """
format = 1
title = "Hall of an invented yard"

[place]
altitude_m = 0
intake_temperature_c = [20, 20]
intake_humidity_percent = [0, 0]

[[compressor]]
name = "c1"
free_air_l_min = 1000
declared_at_bar_g = 8
tolerance_percent = 0

[[leak_test]]
volume_l = 500
from_bar_g = 7.5
to_bar_g = 6.5
minutes = 100
temperature_from_c = 20
temperature_to_c = 20
resolution_bar = 0.01

[[wearer]]
name = "blaster"
at = "hall-1"
equipment = "continuous_flow_loose"
minimum_flow_l_min = 300
highest_flow_l_min = 300
minimum_bar_g = 5.0
maximum_bar_g = 8.0

[[wearer]]
name = "painter"
at = "hall-2"
equipment = "continuous_flow_tight"
minimum_flow_l_min = 200
highest_flow_l_min = 200
minimum_bar_g = 4.0
maximum_bar_g = 8.0
count = 2

[[source]]
node = "plant"
pressure_bar_g = 7.0

[[pipe]]
name = "hose 1"
from = "plant"
to = "hall-1"
length_m = 30
bore_mm = 12.7
roughness_mm = 0.0015
kind = "hose"

[[pipe]]
name = "hose 2"
from = "plant"
to = "hall-2"
length_m = 20
bore_mm = 12.7
roughness_mm = 0.0015
kind = "hose"

[[receiver]]
name = "r1"
volume_l = 500
pressure_bar_g = 7.0
at = "plant"
"""
VALVE = """
[[wearer]]
name = "rescuer"
at = "hall-2"
equipment = "pressure_demand"
minimum_flow_l_min = 115
highest_flow_l_min = 115
work = "heavy"
minimum_bar_g = 4.0
maximum_bar_g = 8.0
simultaneous = 2
count = 2
"""


def _worked(*changes: tuple[str, str], add: str = "") -> Worked:
    text = SHEET + add
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return worked(read_sheet(text, "plant.toml"))


def _made(found: Worked) -> Calculation:
    return calculation_of(found, now=NOW)


def test_supply_leaks_and_demand_are_those_by_hand() -> None:
    """All by hand: 1000 L/min; 300 + 2 · 200; leaks of 500 L that lose 1 bar in 100 min."""
    found = _worked()
    lost = 500 * 1.0 / 1.01325 / 100  # handbook rule V (p1 - p2) / (p0 t), at the mean, 7 bar(g)

    assert found.supply.low_l_min == pytest.approx(1000.0)
    assert found.drawn_l_min == 700.0
    assert found.leak is not None
    assert found.leak.likely_l_min == pytest.approx(lost, rel=2e-3)
    assert found.margin_l_min == pytest.approx(1000 - 700 - found.leak.high_l_min)
    assert state_of(found) == HOLDS
    assert found.gaps == ()


def test_pressure_at_a_wearer_is_that_of_fluids() -> None:
    """fluids.isothermal_gas with fluids.friction_factor, for the blaster's hose alone.

    Its share of the leaks is drawn at the outlet too: 300 of 700 L/min.
    """
    found = _worked()
    assert found.leak is not None
    flow = 300.0 * (1 + found.leak.high_l_min / 700) / 60e3 * 101_325 / (287.05 * 293.15)
    bore, length, begin = 0.0127, 30.0, 8.01325e5
    reynolds = 4 * flow / (math.pi * bore * 1.813e-5)
    friction = friction_factor(Re=reynolds, eD=1.5e-6 / bore)
    low, high = 5e5, begin
    for _ in range(60):  # density at the mean pressure, as fluids asks for it
        end = (low + high) / 2
        rho = (begin + end) / 2 / (287.05 * 293.15)
        flows = isothermal_gas(rho=rho, fd=friction, P1=begin, P2=end, L=length, D=bore)
        low, high = (end, high) if flows > flow else (low, end)

    assert found.reached[0].likely_bar_g == pytest.approx((low - 101_325) / 1e5, abs=0.005)
    assert found.reached[0].still_bar_g == pytest.approx(7.0, abs=1e-6)
    assert found.reached[0].low_bar_g == pytest.approx(
        7.0 - 1.2 * (7.0 - (low - 101_325) / 1e5), abs=0.006
    )


def test_too_little_air_fails() -> None:
    """A compressor of half the size; the answer says how much is missing."""
    made = _made(_worked(("= 1000", "= 500")))

    assert made.state == FAILS
    assert "are missing" in made.answer
    assert "On the worst day" in made.reasons[0]
    assert "add a compressor" in made.next_steps[0]


def test_one_more_and_one_less_cross_the_supply() -> None:
    """What 'more wearers alike' says holds, and one more than that does not."""
    found = _worked()
    more = more_alike(found)
    grown = _worked(('at = "hall-1"', f'at = "hall-1"\ncount = {more + 1}'))
    beyond = _worked(('at = "hall-1"', f'at = "hall-1"\ncount = {more + 2}'))

    assert grown.margin_l_min >= 0
    assert beyond.margin_l_min < 0


def test_a_narrow_hose_fails_by_its_pressure() -> None:
    """Enough air, and too little pressure at one wearer, who is named first."""
    made = _made(_worked(("bore_mm = 12.7", "bore_mm = 6.3")))

    assert made.state == FAILS
    assert "not every wearer has the pressure" in made.answer
    assert made.reasons[0].startswith("blaster at hall-1 gets")
    assert made.grids[1].marked == (0,)


def test_a_hose_that_lets_no_more_through_fails_without_a_pressure() -> None:
    """No pressure is made up; the outlet is named."""
    found = _worked(("bore_mm = 12.7", "bore_mm = 2.5"))
    made = _made(found)

    assert made.state == FAILS
    assert found.share < 1.0
    assert all(one.likely_bar_g is None for one in found.reached)
    assert any("hall-1 is left without pressure first" in reason for reason in made.reasons)
    assert "no pressure can be given" in made.grids[1].note


def test_too_high_a_pressure_with_nobody_on_the_air_fails() -> None:
    """Equipment that bears less than the source holds."""
    made = _made(_worked(("maximum_bar_g = 8.0", "maximum_bar_g = 6.95")))

    assert made.state == FAILS
    assert "with nobody on the air; at most 6.95 bar(g) are allowed" in made.reasons[0]


def test_a_regulator_keeps_the_pressure_down() -> None:
    """With a regulator before the outlet the same equipment is served."""
    regulated = _worked(
        ("maximum_bar_g = 8.0", "maximum_bar_g = 6.0"),
        ('to = "hall-1"', 'to = "before"'),
        add='[[regulator]]\nname = "reg"\nfrom = "before"\nto = "hall-1"\nset_bar_g = 5.8\n',
    )

    assert state_of(regulated) == HOLDS
    assert regulated.reached[0].still_bar_g == pytest.approx(5.8, abs=1e-6)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("minimum_flow_l_min = 300\n", "", "The least flow of blaster"),
        ("minimum_bar_g = 5.0\n", "", "The least pressure for blaster"),
        ("maximum_bar_g = 8.0\n", "", "The greatest pressure for blaster"),
        ("altitude_m = 0\n", "", "The height above the sea is not given"),
        ("intake_temperature_c = [20, 20]\n", "", "The temperatures at the intake are not given"),
        ("declared_at_bar_g = 8\n", "", "At which pressure the delivery of c1"),
        ("declared_at_bar_g = 8\n", "declared_at_bar_g = 6\n", "may deliver less"),
        ("declared_at_bar_g = 8\n", "declared_at_bar_g = 9\n", "blaster (8 bar(g)), painter (8"),
        ("minimum_bar_g = 5.0", "minimum_bar_g = 6.93", "Measure it."),
    ],
)
def test_what_is_missing_is_not_proven(old: str, new: str, told: str) -> None:
    """Never a clean result where a figure is missing or too close."""
    made = _made(_worked((old, new)))

    assert made.state == NOT_PROVEN
    assert any(told in reason for reason in made.reasons)


def test_no_leak_test_is_not_proven() -> None:
    """And a leak test is the next step."""
    begin, end = SHEET.index("[[leak_test]]"), SHEET.index('[[wearer]]\nname = "blaster"')
    made = calculation_of(worked(read_sheet(SHEET[:begin] + SHEET[end:], "plant.toml")), now=NOW)

    assert made.state == NOT_PROVEN
    assert "without the leaks, which are not known" in made.answer
    assert "No leak test is given" in made.reasons[0]
    assert any("leak test" in step for step in made.next_steps)


def test_no_hoses_is_not_proven() -> None:
    """The flow may be enough; the pressure is not known."""
    text = SHEET[: SHEET.index("[[source]]")]
    made = calculation_of(worked(read_sheet(text, "plant.toml")), now=NOW)

    assert made.state == NOT_PROVEN
    assert any("no hoses and pipes" in reason for reason in made.reasons)
    assert len(made.plots) == 1


def test_assumed_flows_never_make_it_fail() -> None:
    """425 L/min are assumed for a suit; with less it may be enough, and that is said."""
    made = _made(
        _worked(
            ("continuous_flow_loose", "suit"),
            ("minimum_flow_l_min = 300\nhighest_flow_l_min = 300\n", ""),
            ("= 1000", "= 800"),
        )
    )

    assert made.state == NOT_PROVEN
    assert "with less it may be enough" in made.reasons[0]


def test_a_pressure_that_is_too_low_by_an_assumed_flow_is_not_proven() -> None:
    """Too little with 425 L/min assumed for a suit; with less it may be enough."""
    suit = (
        ("continuous_flow_loose", "suit"),
        ("minimum_flow_l_min = 300\nhighest_flow_l_min = 300\n", ""),
    )
    made = _made(_worked(*suit, ("bore_mm = 12.7", "bore_mm = 6.3")))

    assert made.state == NOT_PROVEN
    assert made.reasons[0].startswith("blaster at hall-1 gets")


def test_what_others_assume_does_not_hide_a_pressure_that_is_too_low() -> None:
    """The flow of the painter is assumed, and the blaster's hose is too narrow whatever that is."""
    made = _made(
        _worked(
            ("minimum_flow_l_min = 200\nhighest_flow_l_min = 200\n", ""),
            ("bore_mm = 12.7", "bore_mm = 4"),
        )
    )

    assert made.state == FAILS


def test_demand_valves_count_with_their_mean_behind_a_receiver() -> None:
    """Two at heavy work: 120 L/min on average, pi times that at the peak (mathematics)."""
    found = _worked(add=VALVE)

    assert found.drawn_l_min == pytest.approx(820.0)
    assert sum(one.flow_l_min for one in found.peak) == pytest.approx(700 + 120 * math.pi)
    assert 120 < found.spread.most_of_the_time_l_min < 120 * math.pi


def test_demand_valves_count_with_their_peak_without_a_receiver() -> None:
    """Nothing evens out the breaths then."""
    begin = SHEET.index("[[receiver]]")
    found = worked(read_sheet(SHEET[:begin] + VALVE, "plant.toml"))

    assert found.drawn_l_min == pytest.approx(700 + 120 * math.pi)
    assert state_of(found) == FAILS


def test_height_heat_and_damp_only_take_away() -> None:
    """On a mountain and in the heat less is delivered, and no less is counted as needed."""
    sea = _worked()
    high = _worked(("altitude_m = 0", "altitude_m = 1500"))
    hot = _worked(("[20, 20]", "[20, 38]"), ("[0, 0]", "[0, 90]"))
    cold = _worked(("altitude_m = 0", "altitude_m = 0\nair_temperature_c = -10"))

    assert high.supply.low_l_min < sea.supply.low_l_min
    assert hot.supply.low_l_min < sea.supply.low_l_min
    assert high.drawn_l_min == sea.drawn_l_min
    # Air of -10 °C is heavier by 293.15/263.15 (ideal gas).
    assert cold.drawn_l_min == pytest.approx(700 * 293.15 / 263.15)


def test_the_largest_out_of_service_is_shown() -> None:
    """With one machine nothing is left, and reserve air is the next step."""
    made = _made(_worked())

    assert any(
        one.name.startswith("delivered with the largest") and one.value == 0 for one in made.results
    )
    assert any("lungwort plant reserve" in step for step in made.next_steps)


def test_a_compressor_may_be_taken_out() -> None:
    """By its name; another name is refused with those that are known."""
    sheet = read_sheet(SHEET, "plant.toml")
    found = worked(sheet, without="c1")

    assert found.supply.low_l_min == 0.0
    assert state_of(found) == FAILS
    with pytest.raises(PlantError, match=r"no compressor 'c9'\. It has: 'c1'"):
        worked(sheet, without="c9")


def test_the_intake_may_be_given() -> None:
    """Hotter takes away as 293.15/(273.15 + t) says (ideal gas); nonsense is refused."""
    sheet = read_sheet(SHEET, "plant.toml")

    assert worked(sheet, intake_c=40.0).supply.low_l_min == pytest.approx(1000 * 293.15 / 313.15)
    for wrong in (99.0, math.nan, -math.inf):
        with pytest.raises(PlantError, match=r"--intake .* is outside -50 to 60"):
            worked(sheet, intake_c=wrong)


@pytest.mark.parametrize(
    ("key", "told"), [("compressor", "states no compressor"), ("wearer", "who is on the air")]
)
def test_without_machines_or_people_there_is_no_question(key: str, told: str) -> None:
    """It is told which table is missing."""
    parts = [part for part in SHEET.split("\n[[") if not part.startswith(f"{key}]]")]
    with pytest.raises(PlantError, match=told):
        worked(read_sheet("\n[[".join(parts), "plant.toml"))


def test_a_wearer_at_no_node_is_refused() -> None:
    """With the nodes that are known."""
    with pytest.raises(PlantError, match=r"no node of the network\. Near: 'hall-2', 'hall-1'"):
        _worked(('at = "hall-1"', 'at = "hall-7"'))


def test_all_faces_can_show_it(tmp_path: Path) -> None:
    """JSON, drawings and paper, also where nothing comes through."""
    for made in (_made(_worked(add=VALVE)), _made(_worked(("bore_mm = 12.7", "bore_mm = 2.5")))):
        shown = json.loads(json_text(made))
        assert shown["data"]["needed_l_min"] == made.data["needed_l_min"]
        assert all("<svg" in plot_svg(plot, "UTC") for plot in made.plots)
    paper = tmp_path / "air.pdf"
    paper.write_bytes(calculation_pdf(made))
    assert paper.read_bytes().startswith(b"%PDF-")


def _yard(folder: Path, *, flow: str | None) -> Where:
    place = folder / "yard"
    with (
        create_workspace(place, name="yard", person=WHO, now=NOW) as workspace,
        workspace.register.change(who=WHO, now=NOW - timedelta(minutes=5)) as change,
    ):
        site = change.add(m.Site(name="slipway", zone="Europe/London"))
        supply = change.add(
            m.Supply(site_id=site.id, name="hall", title="Hall", kind=m.CHARGING_COMPRESSOR)
        )
        for name in ("hall-1", "hall-3"):
            outlet = change.add(m.Outlet(supply_id=supply.id, name=name))
            change.add(
                m.WearerEquipment(
                    outlet_id=outlet.id,
                    name=f"hood of {name}",
                    minimum_flow_l_min=None if flow is None else Decimal(flow),
                    lowest_pressure_bar_g=Decimal(4),
                    highest_pressure_bar_g=Decimal(8),
                    count=2,
                )
            )
    return Where(workspace=place)


def test_equipment_on_record_counts_where_the_sheet_names_nobody(tmp_path: Path) -> None:
    """hall-1 stands in the sheet, hall-3 does not; that is no node of the pipes, so nothing is proven."""
    where = _yard(tmp_path, flow="120")
    file = tmp_path / "plant.toml"
    file.write_text(SHEET, encoding="utf-8")
    made = enough_air(where, Request(supply="hall", sheet_file=file), now=NOW)

    assert made.data["drawn_l_min"] == pytest.approx(700 + 2 * 120)
    assert made.zone == "Europe/London"
    assert made.subject == "hall"
    assert made.state == NOT_PROVEN
    assert any(
        "hood of hall-3 at hall-3 (on record) stands at no node" in one for one in made.reasons
    )
    assert not any("hood of hall-1" in str(row) for row in made.grids[0].rows)


def test_the_drawing_counts_wearers_as_they_are() -> None:
    """By hand: 300, then 200 each, with the leaks; two of three are fed by 600 L/min."""
    found = _worked(("= 1000", "= 600"))
    assert found.leak is not None
    drawn = _made(found).plots[0]

    assert drawn.curves[0].y[::2] == pytest.approx(
        [x + found.leak.high_l_min for x in (300, 500, 700)]
    )
    assert "feeds 2 of 3 wearers" in drawn.says
    assert drawn.levels[0].value == pytest.approx(600.0)


def test_an_unknown_supply_is_refused(tmp_path: Path) -> None:
    """Even where a sheet is given."""
    where = _yard(tmp_path, flow=None)
    file = tmp_path / "plant.toml"
    file.write_text(SHEET, encoding="utf-8")
    with pytest.raises(UnknownRecordError):
        enough_air(where, Request(supply="elsewhere", sheet_file=file), now=NOW)


def test_what_was_typed_is_read() -> None:
    """Numbers with a point; anything else is refused."""
    assert request_of({"supply": "hall", "intake_c": "32.5"}).intake_c == 32.5
    with pytest.raises(PlantError, match="--intake 'warm' is no number"):
        request_of({"intake_c": "warm"})
