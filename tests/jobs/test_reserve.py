"""How long the reserve lasts, from plant sheets and a record, all invented."""

from __future__ import annotations

import json
import math
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from lungwort.errors import PlantError, UnknownRecordError
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.opening import Where
from lungwort.jobs.plant_sheet import form_text, record
from lungwort.jobs.reserve import Request, request_of, reserve
from lungwort.jobs.reserve_result import down
from lungwort.jobs.reserve_words import CAUTIONS
from lungwort.paper.calculation import FAILS, HOLDS, NOT_PROVEN, Calculation
from lungwort.paper.calculation_sheet import json_text
from lungwort.paper.plot import plot_svg
from lungwort.register import model as m
from lungwort.register.workspace import create_workspace

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
WHO = "Wenna Harkle"

SHEET = """
format = 1
title = "Hall of an invented yard"
[place]
altitude_m = 0
air_temperature_c = 20
[[leak_test]]
volume_l = 520
from_bar_g = 7.0
to_bar_g = 6.8
minutes = 60
temperature_from_c = 20
temperature_to_c = 20
resolution_bar = 0.01
[[wearer]]
name = "painter"
at = "hall-1"
equipment = "continuous_flow_loose"
minimum_flow_l_min = 180
highest_flow_l_min = 180
minimum_bar_g = 4.0
[[source]]
node = "plant"
pressure_bar_g = 7.0
[[pipe]]
name = "hose"
from = "plant"
to = "hall-1"
length_m = 20
bore_mm = 12.7
kind = "hose"
[[receiver]]
name = "r1"
volume_l = 500
pressure_bar_g = 7.0
at = "plant"
[[reserve]]
name = "pack"
cylinders = 2
volume_l = 50
pressure_bar_g = 200
lowest_inlet_bar_g = 10
outlet_bar_g = 5.0
at = "plant"
opens_after_min = 0
[escape]
minutes = 10
why = "down the staging"
"""


def _ask(folder: Path, text: str = SHEET, **more: object) -> Calculation:
    file = folder / "plant.toml"
    file.write_text(text, encoding="utf-8")
    return reserve(Where(), Request(sheet_file=file, **more), now=NOW)  # type: ignore[arg-type]


def _without(text: str, *tables: str) -> str:
    """Take whole tables out of a sheet."""
    parts = text.split("\n[")
    return "\n[".join(one for one in parts if not one.lstrip("[").startswith(tables))


# --- what it comes to --------------------------------------------------------------------------------


def test_long_enough(tmp_path: Path) -> None:
    """By hand, ideal gas: a receiver and cylinders hold far more than 10 minutes of 180 L/min."""
    made = _ask(tmp_path)

    assert (made.state, made.word) == (HOLDS, "long enough")
    assert made.data["doubts"] == []
    lasts = made.data["lasts_min"]
    # 500 L from 7 to 4 bar(g) and 100 L from 200 to 10 bar(g), over 180 L/min and the leak:
    # ideal gas, free air at 1 atm; the hose takes a little, real air is denser below 100 bar.
    drawn = 180.0 + made.data["leak_l_min"]
    by_hand = (500.0 * 3.0 + 100.0 * 190.0) / 1.01325 / drawn
    assert lasts["most"] == pytest.approx(by_hand, rel=0.05)
    assert lasts["least"] < lasts["most"]
    assert made.data["hoses_taken_into_account"]
    assert made.data["least_bar_g"] == pytest.approx(4.0, abs=0.1)
    assert made.data["least_bar_g"] > 4.0
    assert made.cautions == CAUTIONS


def test_too_short(tmp_path: Path) -> None:
    """Without cylinders, and with more time to get out than even the greatest end."""
    made = _ask(tmp_path, _without(SHEET, "reserve]"), escape_min=60.0)

    assert (made.state, made.word) == (FAILS, "too short")
    assert made.data["lasts_min"]["most"] < 60.0
    assert made.data["escape_min"] == 60.0
    assert "Even the greatest time is shorter" in made.reasons[0]
    missing = next(one for one in made.results if one.name == "receiver that is missing")
    assert isinstance(missing.value, float)
    # with that much more it would be long enough, and with a tenth less not
    for share, holds in ((1.0, True), (0.9, False)):
        volume = 500.0 + missing.value * share
        text = _without(SHEET, "reserve]").replace("volume_l = 500\n", f"volume_l = {volume}\n")
        # The same loss, measured on the larger volume in as much more time.
        text = text.replace("volume_l = 520\n", f"volume_l = {volume + 20.0}\n").replace(
            "minutes = 60\n", f"minutes = {60.0 * (volume + 20.0) / 520.0}\n"
        )
        again = _ask(tmp_path, text, escape_min=60.0)
        assert (again.state == HOLDS) is holds


def test_between_the_ends_nothing_is_proven(tmp_path: Path) -> None:
    """Between the least and the greatest time."""
    lasts = _ask(tmp_path).data["lasts_min"]
    middle = (lasts["least"] + lasts["most"]) / 2.0

    made = _ask(tmp_path, escape_min=middle)

    assert made.state == NOT_PROVEN
    assert "it depends on how hard is breathed" in made.reasons[0]


def test_demand_valves_make_a_wide_band(tmp_path: Path) -> None:
    """A sine has its peak at pi times its volume: the least time is about that much shorter."""
    text = SHEET.replace("continuous_flow_loose", "demand").replace(
        "minimum_flow_l_min = 180", 'work = "heavy"'
    )
    made = _ask(tmp_path, text)

    drawn = made.data["drawn_l_min"]
    assert drawn["peak"] == pytest.approx(math.pi * drawn["mean"], rel=1e-9)
    assert len(made.grids[0].rows) == 4
    assert made.data["lasts_min"]["most"] > 2.0 * made.data["lasts_min"]["least"]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "minimum_flow_l_min = 180\nhighest_flow_l_min = 180\n",
            "",
            "What painter draws is not declared",
        ),
        (
            "minimum_bar_g = 4.0\n",
            "minimum_bar_g = 4.0\nmaximum_bar_g = 4.8\n",
            "the regulator of pack lets through 5 bar(g)",
        ),
        ("opens_after_min = 0\n", "", "Whether pack opens by itself is not on the sheet"),
        (
            'at = "plant"\nopens_after_min = 0',
            'at = "hall-1"\nopens_after_min = 0',
            "fed in at several places",
        ),
    ],
)
def test_what_is_doubtful_proves_nothing(tmp_path: Path, old: str, new: str, told: str) -> None:
    """However long it lasts."""
    assert old in SHEET
    made = _ask(tmp_path, SHEET.replace(old, new))

    assert made.state == NOT_PROVEN
    assert any(told in one for one in made.reasons)


@pytest.mark.parametrize(
    ("tables", "told"),
    [
        (("leak_test]",), "No leak test is on the sheet"),
        (("source]", "pipe]"), "Hoses and pipes are not on the sheet"),
        (("escape]",), "Without [escape] nothing can be held against the time"),
    ],
)
def test_what_is_missing_proves_nothing(tmp_path: Path, tables: tuple[str, ...], told: str) -> None:
    """However long it lasts."""
    made = _ask(tmp_path, _without(SHEET, *tables))

    assert made.state == NOT_PROVEN
    assert any(told in one for one in made.reasons)


def test_a_reserve_that_cannot_help(tmp_path: Path) -> None:
    """Its regulator holds less than what is needed: the reason is told, and it does not count."""
    alone = _ask(tmp_path, _without(SHEET, "reserve]")).data["lasts_min"]
    made = _ask(tmp_path, SHEET.replace("outlet_bar_g = 5.0", "outlet_bar_g = 3.0"))

    assert made.data["lasts_min"]["least"] == pytest.approx(alone["least"], rel=0.1)
    assert any("pack does not count: its regulator holds 3 bar(g)" in one for one in made.reasons)


def test_receivers_that_are_too_low_already(tmp_path: Path) -> None:
    """At the pressure at which the compressor cuts in."""
    made = _ask(tmp_path, SHEET.replace("pressure_bar_g = 7.0\nat", "pressure_bar_g = 3.0\nat"))

    assert made.state == FAILS
    assert made.data["lasts_min"] == {"least": 0.0, "most": 0.0}
    assert any("stand at 3 bar(g) already" in one for one in made.reasons)


def test_hoses_that_no_pressure_makes_up_for(tmp_path: Path) -> None:
    """A bore of 1 mm over 200 m: no time is told at all."""
    text = SHEET.replace("length_m = 20", "length_m = 200").replace("bore_mm = 12.7", "bore_mm = 1")
    made = _ask(tmp_path, text)

    assert made.state == FAILS
    assert made.data["least_bar_g"] is None
    assert made.answer.startswith("No pressure at the receivers")
    assert not made.plots
    assert json.loads(json_text(made))["state"] == FAILS


def test_a_longer_hose_never_lasts_longer(tmp_path: Path) -> None:
    """It takes more pressure away."""
    text = _without(SHEET, "reserve]")
    times = [
        _ask(tmp_path, text.replace("length_m = 20", f"length_m = {length}")).data["lasts_min"][
            "most"
        ]
        for length in (1, 20, 200)
    ]
    assert times == sorted(times, reverse=True)
    assert times[0] > times[-1]


# --- how it is shown ----------------------------------------------------------------------------------


def test_times_are_rounded_down() -> None:
    """By hand: never told longer than it is."""
    assert [down(one) for one in (9.99, 10.0, 0.05, 12.34)] == [9.9, 10.0, 0.0, 12.3]


def test_it_can_be_drawn_and_written(tmp_path: Path) -> None:
    """The plot falls to the least pressure; JSON holds the whole result."""
    made = _ask(tmp_path)

    (plot,) = made.plots
    assert "<svg" in plot_svg(plot)
    for curve in plot.curves:
        assert curve.y[0] == pytest.approx(7.0)
        assert curve.y[-1] == pytest.approx(made.data["least_bar_g"], abs=1e-6)
    plain = json.loads(json_text(made))
    assert plain["format"] == "lungwort-reserve/1"
    assert plain["data"]["courses"][0]["feeds"][0]["name"] == "pack"


def test_the_form_that_is_shipped_works(tmp_path: Path) -> None:
    """A time comes out, and both ends are positive."""
    made = _ask(tmp_path, form_text().replace("invented = true ", "# invented = true "))
    assert made.data["lasts_min"]["least"] > 0.0


# --- from the record, and refusals -----------------------------------------------------------------------


def test_from_the_record(tmp_path: Path) -> None:
    """The sheet of the supply is found, and what is worn at outlets that it does not name counts."""
    place = tmp_path / "yard"
    with (
        create_workspace(place, name="yard", person=WHO, now=NOW) as workspace,
        workspace.register.change(who=WHO, now=NOW) as change,
    ):
        site = change.add(m.Site(name="slipway", zone="Europe/London"))
        supply = change.add(
            m.Supply(site_id=site.id, name="hall", title="Hall", kind=m.AIRLINE_COMPRESSOR)
        )
        outlet = change.add(m.Outlet(supply_id=supply.id, name="hall-2"))
        change.add(m.WearerEquipment(outlet_id=outlet.id, name="hood", count=1))
    where = Where(workspace=place)
    # the second outlet is a node of the pipes, and who is there stands on record only
    hose = SHEET[SHEET.index("[[pipe]]") : SHEET.index("[[receiver]]")]
    text = SHEET + hose.replace('"hose"\nfrom', '"hose 2"\nfrom').replace("hall-1", "hall-2")
    with pytest.raises(PlantError, match="no plant sheet on record"):
        reserve(where, Request(supply="hall"), now=NOW)
    record(Session(NOW + timedelta(minutes=1), where, WHO), "hall", text)

    made = reserve(where, Request(supply="hall"), now=NOW + timedelta(minutes=2))

    assert made.zone == "Europe/London"
    assert made.subject.startswith("supply hall (")
    assert "version 1" in made.subject
    assert [one.name for one in made.inputs if " at hall-" in one.name] == [
        "painter at hall-1",
        "hood at hall-2",
    ]
    assert made.state == NOT_PROVEN
    with pytest.raises(UnknownRecordError, match="nowhere"):
        reserve(where, Request(supply="nowhere"), now=NOW)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('at = "plant"\nopens', 'at = "moon"\nopens', "pack stands at 'moon', which is no node"),
        ('at = "hall-1"', 'at = "moon"', "'moon'"),
        ("minimum_bar_g = 4.0\n", "", "states the least pressure of no wearer"),
    ],
)
def test_sheets_that_cannot_be_used(tmp_path: Path, old: str, new: str, told: str) -> None:
    """The message names what to correct."""
    assert old in SHEET
    with pytest.raises(PlantError, match=told):
        _ask(tmp_path, SHEET.replace(old, new))


def test_other_refusals(tmp_path: Path) -> None:
    """Nobody, nothing that holds air, no time, neither supply nor file."""
    with pytest.raises(PlantError, match="does not say who is on the air"):
        _ask(tmp_path, _without(SHEET, "wearer]"))
    with pytest.raises(PlantError, match=r"neither a \[\[receiver\]\] nor"):
        _ask(tmp_path, _without(SHEET, "receiver]", "reserve]"))
    for wrong in (0.0, -3.0, math.nan, math.inf, 5000.0):
        with pytest.raises(PlantError, match=r"--escape .* is outside"):
            _ask(tmp_path, escape_min=wrong)
    with pytest.raises(PlantError, match="neither a supply nor a file"):
        reserve(Where(), Request(), now=NOW)


def test_what_is_typed_into_the_form() -> None:
    """Numbers with a point; words are refused."""
    assert request_of({"supply": "hall", "escape_min": "7.5"}) == Request(
        supply="hall", escape_min=7.5
    )
    assert request_of({}) == Request()
    with pytest.raises(PlantError, match="--escape 'soon' is no number"):
        request_of({"escape_min": "soon"})


def test_litres_of_air_are_no_water_volume(tmp_path: Path) -> None:
    """A cylinder of 50 L at 200 bar(g) holds 10 000 L of air; as a water volume it would last days."""
    made = _ask(tmp_path, SHEET.replace("volume_l = 50\n", "volume_l = 10000\n"))
    assert made.state == NOT_PROVEN
    assert any("litres of air" in text for text in made.reasons)


@pytest.mark.parametrize(
    ("key", "said"),
    [("altitude_m", "height above the sea"), ("air_temperature_c", "air in the lines")],
)
def test_a_place_that_is_not_stated_is_a_doubt(tmp_path: Path, key: str, said: str) -> None:
    """As in the question whether there is enough air: what is assumed proves nothing."""
    text = "\n".join(line for line in SHEET.splitlines() if not line.startswith(key))
    assert text.strip() != SHEET.strip()
    made = _ask(tmp_path, text)
    assert made.state == NOT_PROVEN
    assert any(said in one for one in (made.answer, *made.reasons))


def test_least_flows_alone_prove_no_reserve(tmp_path: Path) -> None:
    """Who flees opens the valve: without the greatest flow the time is too long."""
    text = re.sub(r"highest_flow_l_min = .*\n", "", SHEET)
    made = _ask(tmp_path, text)
    assert made.state == NOT_PROVEN
    assert any("valve wide open, is not given" in one for one in (made.answer, *made.reasons))
