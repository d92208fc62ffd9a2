"""Slips of the pen in a plant sheet, each of which would make too little air look like enough."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from lungwort.errors import PlantError
from lungwort.jobs.catalogue import outlet, site, supply
from lungwort.jobs.catalogue.shape import Session
from lungwort.jobs.enough_air import Request, enough_air
from lungwort.jobs.opening import Where
from lungwort.jobs.plant_sheet import form_text
from lungwort.jobs.reserve import Request as ReserveRequest
from lungwort.jobs.reserve import reserve
from lungwort.jobs.workspace import create
from lungwort.paper.calculation import HOLDS, NOT_PROVEN, Calculation

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def asked(folder: Path, *changes: tuple[str, str]) -> Calculation:
    """Ask with the form, some of it written otherwise."""
    text = form_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "plant.toml").write_text(text, encoding="utf-8")
    return enough_air(Where(folder), Request(sheet_file=folder / "plant.toml"), now=NOW)


def test_the_form_holds_as_it_is(tmp_path: Path) -> None:
    """Else the tests below would prove nothing."""
    assert asked(tmp_path).state == HOLDS


@pytest.mark.parametrize(
    ("old", "new", "telling"),
    [
        ("purge_percent = 15 ", "# purge_percent = 15 ", "regenerates itself"),
        ("pressure_bar_g = 7.0                 # lowest", "pressure_bar_g = 4.5 # lowest", "falls to 4.5 bar(g)"),
        ("volume_l = 620 ", "volume_l = 0.62 ", "The leak test counts 0.62 L"),
        ("minimum_flow_l_min = 300 ", "minimum_flow_l_min = 6 ", "far below the 170 L/min"),
        ("minimum_flow_l_min = 180", "minimum_flow_l_min = 6", "L/min, not cubic feet"),
    ],
)  # fmt: skip
def test_a_slip_is_not_proven(tmp_path: Path, old: str, new: str, telling: str) -> None:
    """With what to look at."""
    made = asked(tmp_path, (old, new))

    assert made.state == NOT_PROVEN
    assert any(telling in one for one in made.reasons)


def test_a_hose_as_wide_as_a_leg_is_refused(tmp_path: Path) -> None:
    """The point was forgotten."""
    with pytest.raises(PlantError, match=r"bore_mm.*found 127 mm for a hose"):
        asked(tmp_path, ("bore_mm = 12.7", "bore_mm = 127"))


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a workspace in which two hoods are worn at hall-1."""
    folder = tmp_path_factory.mktemp("recorded") / "w"
    create(folder, name="Yard (invented)", person="Ada Example", now=NOW)
    at = Session(NOW, Where(folder), "Ada Example")
    site.add(at, "yard", site.SiteFacts(title="Yard (invented)", zone="Europe/London"))
    supply.add(at, "hall", supply.SupplyFacts(kind="airline_compressor"))
    outlet.add(at, "hall-1", outlet.OutletFacts(supply="hall"))
    outlet.equipment(
        at,
        "hall-1",
        "blast hoods",
        outlet.EquipmentFacts(
            minimum_flow_l_min="170 L/min",
            lowest_pressure_bar_g="4 bar(g)",
            highest_pressure_bar_g="8 bar(g)",
            count="2",
        ),
        None,
    )
    return folder


@pytest.mark.parametrize("job", ["air", "reserve"])
def test_fewer_on_the_sheet_than_on_record(recorded: Path, tmp_path: Path, job: str) -> None:
    """Two hoods are worn there; the form has one."""
    file = tmp_path / "plant.toml"
    file.write_text(form_text(), encoding="utf-8")
    where = Where(recorded)
    made = (
        enough_air(where, Request(supply="hall", sheet_file=file), now=NOW)
        if job == "air"
        else reserve(where, ReserveRequest(supply="hall", sheet_file=file), now=NOW)
    )

    assert made.state == NOT_PROVEN
    assert any("the record has 2 as wearers, and the plant sheet 1" in one for one in made.reasons)
