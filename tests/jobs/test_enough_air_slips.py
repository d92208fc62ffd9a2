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
OWN = form_text().replace("invented = true ", "# invented = true ")
"""The form, as if its figures were somebody's own."""


def asked(folder: Path, *changes: tuple[str, str]) -> Calculation:
    """Ask with the form as one's own, some of it written otherwise."""
    text = OWN
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "plant.toml").write_text(text, encoding="utf-8")
    return enough_air(Where(folder), Request(sheet_file=folder / "plant.toml"), now=NOW)


def test_the_form_holds_as_it_is(tmp_path: Path) -> None:
    """Else the tests below would prove nothing."""
    assert asked(tmp_path).state == HOLDS


def test_the_form_itself_proves_nothing(tmp_path: Path) -> None:
    """Its figures are invented; who forgets to put in their own gets no clean word."""
    file = tmp_path / "form.toml"
    file.write_text(form_text(), encoding="utf-8")
    for made in (
        enough_air(Where(tmp_path), Request(sheet_file=file), now=NOW),
        reserve(Where(tmp_path), ReserveRequest(sheet_file=file), now=NOW),
    ):
        assert made.state == NOT_PROVEN
        assert made.data.get("state", NOT_PROVEN) == NOT_PROVEN
        assert "invented = true" in made.reasons[0]


@pytest.mark.parametrize(
    ("old", "new", "telling"),
    [
        ("purge_percent = 15 ", "# purge_percent = 15 ", "regenerates itself"),
        ("pressure_bar_g = 7.0                 # lowest", "pressure_bar_g = 4.5 # lowest", "falls to 4.5 bar(g)"),
        ("volume_l = 620 ", "volume_l = 0.62 ", "The leak test counts 0.62 L"),
        ("minimum_flow_l_min = 300 ", "minimum_flow_l_min = 6 ", "far below the 170 L/min"),
        ("minimum_flow_l_min = 180", "minimum_flow_l_min = 6", "L/min, not cubic feet"),
        ("free_air_l_min = 1450 ", "free_air_l_min = 87000 ", "1450 L/min go through the treatment"),
        ("highest_flow_l_min = 360 ", "# highest_flow_l_min = 360 ", "valve wide open, is not given"),
        ("length_m = 20", "length_m = 0.02", "0.02 m long"),
        ("altitude_m = 40 ", "altitude_m = 1500 ", "draws in less than its volume"),
        ('[[source]]\nnode = "plant"', '[[source]]\nnode = "hall-1"\npressure_bar_g = 6.0\n\n[[source]]\nnode = "plant"', "A pressure is held at hall-1 itself"),
    ],
)  # fmt: skip
def test_a_slip_is_not_proven(tmp_path: Path, old: str, new: str, telling: str) -> None:
    """With what to look at."""
    made = asked(tmp_path, (old, new))

    assert made.state == NOT_PROVEN
    assert any(telling in one for one in made.reasons)


def test_couplings_that_are_counted_as_nothing_are_told(tmp_path: Path) -> None:
    """A remark: hoses without couplings may be meant."""
    made = asked(
        tmp_path,
        ("loss_coefficient = 8\n", ""),
        ("loss_coefficient = 6 ", "# loss_coefficient = 6 "),
    )
    assert any("counted as nothing" in one for one in made.reasons)


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
    file.write_text(OWN, encoding="utf-8")
    where = Where(recorded)
    made = (
        enough_air(where, Request(supply="hall", sheet_file=file), now=NOW)
        if job == "air"
        else reserve(where, ReserveRequest(supply="hall", sheet_file=file), now=NOW)
    )

    assert made.state == NOT_PROVEN
    assert any("the record has 2 as wearers, and the plant sheet 1" in one for one in made.reasons)


@pytest.mark.parametrize(
    ("changes", "telling"),
    [
        ((("minimum_bar_g = 5.0 ", "minimum_bar_g = 0.5 "),), "bar(g), not MPa"),
        (
            (('equipment = "blasting_helmet"', 'equipment = "demand"'),),
            "If it is a helmet or hood with continuous flow",
        ),
        (
            (
                ("standby = false", "standby = true"),
                ("[[leak_test]] ", '[[compressor]]\nname = "c2"\nfree_air_l_min = 1450\ndeclared_at_bar_g = 8\npurge_percent = 15\n\n[[leak_test]] '),
                ('[[pipe]]\nname = "main"', '[[source]]\nnode = "hall-1"\npressure_bar_g = 7.0\n\n[[pipe]]\nname = "main"'),
            ),
            "which of them is then without air",
        ),
    ],
)  # fmt: skip
def test_other_slips_are_not_proven(
    tmp_path: Path, changes: tuple[tuple[str, str], ...], telling: str
) -> None:
    """With what to look at."""
    made = asked(tmp_path, *changes)

    assert made.state == NOT_PROVEN
    assert any(telling in one for one in made.reasons)


def test_a_cool_day_proves_nothing_of_the_worst(tmp_path: Path) -> None:
    """Asked for 0 °C, while the sheet has up to 32 °C."""
    (tmp_path / "plant.toml").write_text(OWN, encoding="utf-8")
    made = enough_air(
        Where(tmp_path), Request(sheet_file=tmp_path / "plant.toml", intake_c=0.0), now=NOW
    )

    assert made.state == NOT_PROVEN
    assert any("this is not the worst day" in one for one in made.reasons)


def test_a_receiver_of_half_a_litre_does_not_ride_through_a_breath(tmp_path: Path) -> None:
    """A cubic metre was meant; the compressor then has to follow each breath."""
    valve = (
        ('equipment = "continuous_flow_loose"', 'equipment = "demand"'),
        ("minimum_flow_l_min = 180\n", ""),
    )
    large = asked(tmp_path, *valve).data
    small = asked(tmp_path, *valve, ("volume_l = 500\n", "volume_l = 0.5\n")).data

    assert not large["counted_at_peak"]
    assert small["counted_at_peak"]


def lasts(folder: Path, *changes: tuple[str, str]) -> Calculation:
    """Ask how long the reserve lasts, some of the form written otherwise."""
    text = OWN
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "plant.toml").write_text(text, encoding="utf-8")
    return reserve(Where(folder), ReserveRequest(sheet_file=folder / "plant.toml"), now=NOW)


@pytest.mark.parametrize(
    ("changes", "telling"),
    [
        ((("outlet_bar_g = 6.5", "outlet_bar_g = 16\n"), ("lowest_inlet_bar_g = 10 ", "lowest_inlet_bar_g = 20 ")), "bears 8 bar(g) at most"),
        ((("pressure_bar_g = 7.0                 # lowest", "pressure_bar_g = 70 # lowest"),), "no compressor of the sheet is declared for more than 8"),
        ((("outlet_bar_g = 6.5", "outlet_bar_g = 5.4"),), "by which its pressure may fall when air flows"),
    ],
)  # fmt: skip
def test_pressures_that_do_not_go_together_prove_no_reserve(
    tmp_path: Path, changes: tuple[tuple[str, str], ...], telling: str
) -> None:
    """A regulator above what is borne, or hardly above what is needed; a slip of the point."""
    made = lasts(tmp_path, *changes)

    assert made.state == NOT_PROVEN
    assert any(telling in one for one in made.reasons)


def test_the_form_lasts_as_it_is(tmp_path: Path) -> None:
    """Else the tests above would prove nothing."""
    assert lasts(tmp_path).state == HOLDS


@pytest.mark.parametrize(
    ("old", "new", "telling"),
    [
        ("minutes = 10\n", "minutes = 0.2\n", "allowed is 1 to 1440 min"),
        ("intake_humidity_percent = [50, 90] ", "intake_humidity_percent = [0.5, 0.9] ", "90, not 0.9"),
    ],
)  # fmt: skip
def test_figures_in_another_unit_are_refused(
    tmp_path: Path, old: str, new: str, telling: str
) -> None:
    """Hours for minutes, and a share for percent."""
    with pytest.raises(PlantError, match=telling):
        lasts(tmp_path, (old, new))
