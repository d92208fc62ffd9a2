"""How many cylinders a bank fills, from plant sheets and a record, all invented."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from CoolProp.CoolProp import PropsSI

from lungwort.errors import PlantError
from lungwort.jobs.bank import Request, bank, request_of
from lungwort.jobs.bank_words import CAUTIONS
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.opening import Where
from lungwort.jobs.plant_sheet import record
from lungwort.paper.calculation import ESTIMATE, FAILS, HOLDS, NOT_PROVEN, Calculation, Quantity
from lungwort.paper.calculation_sheet import json_text
from lungwort.paper.plot import plot_svg
from lungwort.register import model as m
from lungwort.register.workspace import create_workspace

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
WHO = "Wenna Harkle"

SHEET = """
format = 1
title = "Filling bank of an invented yard"
[[bank]]
name = "low"
cylinders = 2
volume_l = 50
pressure_bar_g = 220
[[bank]]
name = "middle"
cylinders = 2
volume_l = 50
pressure_bar_g = 270
[[bank]]
name = "high"
cylinders = 2
volume_l = 50
pressure_bar_g = 330
[fill]
cylinder_l = 6.8
from_bar_g = 50
to_bar_g = 300
minutes = 5
wall_kg = 7
"""


def _ask(folder: Path, text: str = SHEET, **more: object) -> Calculation:
    file = folder / "plant.toml"
    file.write_text(text, encoding="utf-8")
    return bank(Where(), Request(sheet_file=file, **more), now=NOW)  # type: ignore[arg-type]


def _named(made: Calculation, name: str) -> Quantity:
    return next(one for one in made.results if one.name == name)


def _kg(volume_l: float, pressure_bar_g: float) -> float:
    density = PropsSI("Dmass", "P", (pressure_bar_g + 1.01325) * 1e5, "T", 293.15, "Air")
    return float(density) * volume_l / 1000.0


def test_for_information(tmp_path: Path) -> None:
    """Nothing is wanted: both ends are told."""
    made = _ask(tmp_path)

    ends = made.data["full_fills"]
    assert (made.state, made.cautions) == (ESTIMATE, CAUTIONS)
    assert made.answer.startswith(f"{ends['fewest']} to {ends['most']} cylinders of 6.8 L")
    assert 0 < ends["fewest"] < ends["most"]


def test_the_ends_decide(tmp_path: Path) -> None:
    """Up to the fewest it holds, above the most it fails, between them nothing is proven."""
    ends = _ask(tmp_path).data["full_fills"]
    fewest, most = ends["fewest"], ends["most"]
    expected = {fewest: HOLDS, fewest + 1: NOT_PROVEN, most: NOT_PROVEN, most + 1: FAILS}

    for wanted, state in expected.items():
        assert _ask(tmp_path, wanted=wanted).state == state


def test_free_air_by_the_library(tmp_path: Path) -> None:
    """CoolProp PropsSI: mass over the density at 20 °C and 1 atm."""
    made = _ask(tmp_path)
    litre_kg = PropsSI("Dmass", "P", 101_325, "T", 293.15, "Air") / 1000.0

    each = (_kg(6.8, 300) - _kg(6.8, 50)) / litre_kg
    whole = sum(_kg(100, one) for one in (220, 270, 330)) / litre_kg
    assert _named(made, "free air that one fill takes").value == pytest.approx(each, rel=1e-6)
    assert _named(made, "free air in the bank").value == pytest.approx(whole, rel=1e-6)


def test_heat_and_the_wall_are_told(tmp_path: Path) -> None:
    """Never beyond the pressure asked for; without the wall's mass nothing is told of it."""
    made = _ask(tmp_path)

    for run in made.data["runs"]:
        for one in run["fills"]:
            assert max(one["gauge_bar_g"], one["ended_bar_g"]) <= 300.0 + 1e-6
    assert len(made.data["runs"]) == 5
    bare = _ask(tmp_path, SHEET.replace("wall_kg = 7\n", ""))
    assert len(bare.data["runs"]) == 4
    assert not any("with the wall" in one.name for one in bare.results)
    assert any("wall_kg" in one for one in bare.next_steps)


def test_orders_are_compared(tmp_path: Path) -> None:
    """The cascade first; joined for good, these three fill none."""
    rows = {row[:2]: row[2] for row in _ask(tmp_path).grids[0].rows}

    assert rows["all joined as one", "no warming"] == "0"
    assert int(str(rows["lowest first (cascade)", "no warming"])) > int(
        str(rows["highest first", "no warming"])
    )


def test_a_bank_that_is_too_low(tmp_path: Path) -> None:
    """It says what a cylinder gets at most, rounded down."""
    made = _ask(tmp_path, SHEET.replace("pressure_bar_g = 330", "pressure_bar_g = 290"), wanted=1)

    assert made.state == FAILS
    (told,) = [one for one in made.reasons if "bar(g) at most" in one]
    assert any(f"gets {pressure} bar(g)" in told for pressure in range(285, 290))


def test_a_bank_without_end(tmp_path: Path) -> None:
    """Counting stops: more may be wanted than were counted, and that fails nothing."""
    text = SHEET.replace("cylinder_l = 6.8", "cylinder_l = 0.5").replace(
        "cylinders = 2\nvolume_l = 50\npressure_bar_g = 330",
        "cylinders = 1000\nvolume_l = 100\npressure_bar_g = 330",
    )
    made = _ask(tmp_path, text.replace("from_bar_g = 50", "from_bar_g = 295"), wanted=5000)
    assert made.state == NOT_PROVEN
    assert made.answer.startswith("at least 300 cylinders")


def test_it_can_be_drawn_and_written(tmp_path: Path) -> None:
    """Two plots, one of what is left fill by fill; JSON holds the whole result."""
    made = _ask(tmp_path, wanted=3)

    for plot in made.plots:
        assert "<svg" in plot_svg(plot)
    for curve in made.plots[0].curves:
        assert list(curve.y) == sorted(curve.y, reverse=True)
    plain = json.loads(json_text(made))
    assert plain["format"] == "lungwort-bank/1"
    assert plain["data"]["wanted"] == 3


def test_from_the_record(tmp_path: Path) -> None:
    """The sheet of the supply is found."""
    place = tmp_path / "yard"
    with (
        create_workspace(place, name="yard", person=WHO, now=NOW) as workspace,
        workspace.register.change(who=WHO, now=NOW) as change,
    ):
        site = change.add(m.Site(name="slipway", zone="Europe/London"))
        change.add(m.Supply(site_id=site.id, name="filling", title="Filling", kind=m.CYLINDER_BANK))
    where = Where(workspace=place)
    record(Session(NOW + timedelta(minutes=1), where, WHO), "filling", SHEET)

    made = bank(where, Request(supply="filling"), now=NOW + timedelta(minutes=2))

    assert made.subject.startswith("supply filling (")
    assert "version 1" in made.subject
    assert made.zone == "Europe/London"


def test_refusals(tmp_path: Path) -> None:
    """No bank, nothing that is filled, a number that cannot be."""
    for cut in ("format = 1\n", SHEET[: SHEET.index("[fill]")], "format = 1\n" + SHEET[SHEET.index("[fill]") :]):  # fmt: skip
        with pytest.raises(PlantError, match="states no bank to fill from"):
            _ask(tmp_path, cut)
    for wanted in (0, -2, 1_000_000):
        with pytest.raises(PlantError, match=f"--wanted {wanted} cannot be used"):
            _ask(tmp_path, wanted=wanted)


def test_what_is_typed_into_the_form() -> None:
    """Whole numbers only."""
    assert request_of({"supply": "filling", "wanted": "7"}) == Request(supply="filling", wanted=7)
    assert request_of({}) == Request()
    for wrong in ("7.5", "-1", "many", "²"):
        with pytest.raises(PlantError, match="is no whole number"):
            request_of({"wanted": wrong})


@pytest.mark.parametrize(
    ("old", "new", "telling"),
    [
        (
            "volume_l = 50\npressure_bar_g = 330",
            "volume_l = 10000\npressure_bar_g = 330",
            "litres of",
        ),
        ("wall_kg = 7", "wall_kg = 7\ntemperature_c = 68", "not °F"),
    ],
)
def test_figures_that_cannot_be_prove_nothing(
    tmp_path: Path, old: str, new: str, telling: str
) -> None:
    """Litres of air in place of a water volume make two hundred times too many fills."""
    assert old in SHEET
    for wanted in (None, 1):
        made = _ask(tmp_path, SHEET.replace(old, new), wanted=wanted)
        assert made.state == NOT_PROVEN
        assert telling in made.reasons[0]
