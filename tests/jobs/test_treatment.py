"""Life of the treatment from a sheet and a record, both invented."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import polars as pl
import pytest
from attrs import evolve

from lungwort.errors import InputError, PlantError, UnknownRecordError
from lungwort.jobs.opening import Where
from lungwort.jobs.today import today
from lungwort.jobs.treatment import Request, request_of, treatment
from lungwort.jobs.treatment_record import BEYOND_MG_M3
from lungwort.jobs.treatment_words import CAUTIONS
from lungwort.logs.model import GOOD, Channel, Log, Source
from lungwort.logs.options import ReadOptions
from lungwort.paper.calculation import ESTIMATE, FAILS, HOLDS, NOT_PROVEN, Calculation
from lungwort.paper.calculation_sheet import json_text
from lungwort.paper.plot import plot_svg
from lungwort.plan.cartridges import change_due
from lungwort.plan.snapshot import take
from lungwort.register import model as m
from lungwort.register.store import import_log
from lungwort.register.workspace import create_workspace, open_workspace

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
CHANGED = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)
WHO = "Wenna Harkle"

SHEET = """
format = 1
title = "Charging compressor of an invented yard"
[place]
intake_temperature_c = [20, 20]
intake_humidity_percent = [70, 70]
[[treatment]]
name = "cartridge a"
kind = "molecular_sieve"
sorbent_g = 2600
water_capacity_percent = 12
capacity_spread_percent = 0
pressure_bar_g = 225
inlet_above_intake_c = 0
separator_efficiency_percent = 100
flow_l_min = 265
highest_outlet_water_mg_m3 = 25
"""
CATALYST = """
[[treatment]]
name = "cat"
kind = "co_catalyst"
declared_hours = 2000
highest_outlet_water_mg_m3 = 25
"""


def _sheet(folder: Path, text: str = SHEET) -> Path:
    file = folder / "plant.toml"
    file.write_text(text, encoding="utf-8")
    return file


def _workspace(
    folder: Path,
    *,
    hours: tuple[tuple[float, float], ...] = ((10, 1010), (20, 1020), (30, 1030)),
    months: int | None = 2,
    change_hours: int | None = None,
    changed: bool = True,
    stages: tuple[str, ...] = ("cartridge a",),
    water: tuple[str, ...] = (),
) -> Where:
    """Make a workspace: a supply whose cartridge was changed at 1000 h, and its hour meter."""
    place = folder / "yard"
    with create_workspace(place, name="yard", person=WHO, now=CHANGED) as workspace:
        register = workspace.register
        with register.change(who=WHO, now=NOW - timedelta(minutes=5)) as change:
            who = change.who.id
            site = change.add(m.Site(name="slipway", zone="Europe/London"))
            supply = change.add(
                m.Supply(
                    site_id=site.id,
                    name="filling",
                    title="Filling station",
                    kind=m.CHARGING_COMPRESSOR,
                    pressure_bar_g=Decimal(225),
                )
            )
            outlet = change.add(m.Outlet(supply_id=supply.id, name="fill-1"))
            for number, name in enumerate(stages, 1):
                stage = change.add(
                    m.Stage(
                        supply_id=supply.id,
                        name=name,
                        place=number,
                        change_months=months,
                        change_hours=None if change_hours is None else Decimal(change_hours),
                    )
                )
                if changed:
                    change.add(
                        m.CartridgeChange(
                            stage_id=stage.id,
                            time=CHANGED,
                            running_hours=Decimal(1000),
                            by_id=who,
                        )
                    )
            for days, meter in hours:
                change.add(
                    m.RunningHours(
                        supply_id=supply.id,
                        time=CHANGED + timedelta(days=days),
                        hours=Decimal(str(meter)),
                    )
                )
            for days, text in enumerate(water, 3):
                time = CHANGED + timedelta(days=days)
                procedure = workspace.put_file(f"# invented {days}\n".encode())
                change.add(
                    m.HandTest(
                        outlet_id=outlet.id,
                        procedure="invented",
                        procedure_sha256=procedure,
                        state=m.DONE,
                        started=time,
                        ended=time + timedelta(minutes=9),
                        tester_id=who,
                        readings=(m.Reading(text=text, time=time + timedelta(minutes=5)),),
                    )
                )
    return Where(workspace=place)


def _log(where: Where, values: list[float], *, step_s: int = 6 * 3600) -> None:
    """Add an invented log of the atmospheric dew point at the outlet."""
    assert where.workspace is not None
    channel = Channel(
        "dew", "water", "atmospheric_dew_point", "°C", heading="Dew", logged_unit="°C"
    )
    times = [CHANGED + timedelta(hours=1, seconds=step_s * at) for at in range(len(values))]
    content = repr(values).encode()
    log = Log(
        parts=(
            pl.DataFrame(
                {
                    "time": pl.Series(times, dtype=pl.Datetime("us", "UTC")),
                    "dew": pl.Series(values, dtype=pl.Float64),
                    "dew_flag": pl.Series([GOOD] * len(values), dtype=pl.UInt8),
                }
            ),
        ),
        channels=(channel,),
        sources=(Source("log.csv", hashlib.sha256(content).hexdigest(), len(content), 1, 1),),
        rows=len(values),
        start=times[0],
        end=times[-1],
        interval_s=float(step_s),
        zone="UTC",
        zone_stated=True,
    )
    with open_workspace(where.workspace) as workspace:
        outlet = workspace.register.get(m.Outlet, "fill-1")
        with workspace.register.change(who=WHO, now=NOW - timedelta(minutes=1)) as change:
            import_log(
                workspace,
                change,
                log,
                outlet=outlet,
                instrument=None,
                files=[("log.csv", content)],
                options=ReadOptions(zone="UTC"),
                by=change.who,
            )


def _ask(where: Where, sheet: Path, now: datetime = NOW, **more: object) -> Calculation:
    request = evolve(Request(supply="filling", sheet_file=sheet), **more)  # type: ignore[arg-type]  # fields of the request
    return treatment(where, request, now=now)


def _result(made: Calculation, name: str) -> object:
    return next(one.value for one in made.results if one.name == name)


def _record_sheet(where: Where, text: str = SHEET) -> None:
    assert where.workspace is not None
    with (
        open_workspace(where.workspace) as workspace,
        workspace.register.change(who=WHO, now=NOW - timedelta(minutes=1)) as change,
    ):
        change.add(
            m.PlantRecord(
                supply_id=change.get(m.Supply, "filling").id,
                name="plant.toml",
                text=text,
                sheet_digest=hashlib.sha256(text.encode()).hexdigest(),
                time=NOW - timedelta(minutes=1),
                by_id=change.who.id,
            )
        )


def _told_today(where: Where, now: datetime = NOW) -> list[tuple[str, str, tuple[str, ...]]]:
    return [
        (one.urgency, one.what, one.why)
        for one in today(where, now=now).needs
        if one.kind == "treatment"
    ]


# Life by hand, with W = 152.1 mg/m3 (reference table, computed; 225 bar(g), 20 °C): 2600 g x 12 % /
# (152.1 mg/m3 x 15.9 m3/h) = 129.0 h; with 25 % more water 103.2 h, with 25 % less 172 h.


def test_a_new_cartridge_from_a_file_alone(tmp_path: Path) -> None:
    """Without a supply nothing is held against it: an estimate, as by hand above."""
    made = treatment(Where(), Request(sheet_file=_sheet(tmp_path)), now=NOW)

    assert (made.state, made.word) == (ESTIMATE, "estimate")
    life = next(one for one in made.results if one.name.startswith("life at 20 °C"))
    assert life.value == pytest.approx(129.0, rel=0.005)
    assert life.low == pytest.approx(103.2, rel=0.005)
    assert life.high == pytest.approx(172.0, rel=0.005)
    assert made.cautions == CAUTIONS
    assert "promises 1.96 times" in made.grids[0].note
    assert not made.reasons


def test_it_lasts_until_its_planned_change(tmp_path: Path) -> None:
    """1 h a day: 103.2 h are full on the 103rd day after 1 May, 12 August; the plan says 1 July."""
    made = _ask(_workspace(tmp_path), _sheet(tmp_path))

    assert (made.state, made.word) == (HOLDS, "lasts")
    assert _result(made, "change by") == "2026-07-01"
    assert _result(made, "lasts at least through") == "2026-08-12"
    assert made.subject == "Filling station, cartridge a"
    assert made.zone == "Europe/London"


def test_all_faces_can_show_it(tmp_path: Path) -> None:
    """Drawings can be drawn, and the data can be written as JSON and read again."""
    made = _ask(_workspace(tmp_path, water=("water=20 mg/m3",) * 6), _sheet(tmp_path))
    data = json.loads(json_text(made))

    assert len(made.plots) == 2
    assert all("<svg" in plot_svg(one, made.zone) for one in made.plots)
    assert data["data"]["change_by"] == "2026-07-01"
    assert data["data"]["life_h"]["low"] == pytest.approx(103.2, rel=0.005)
    assert data["format"] == "lungwort-treatment/1"


@pytest.mark.parametrize("change_hours", [20, 35, 60, 90, 500])
def test_never_later_than_the_plan_of_changes(tmp_path: Path, change_hours: int) -> None:
    """The plan of changes (`plan.cartridges`) is never contradicted: the earlier day counts."""
    where = _workspace(tmp_path, months=None, change_hours=change_hours)
    made = _ask(where, _sheet(tmp_path))
    with open_workspace(where.workspace or tmp_path, read_only=True) as workspace:
        snapshot = take(workspace.register, NOW)
        plan = change_due(snapshot, snapshot.stages[0])

    assert plan.day is not None
    assert str(_result(made, "change by")) <= str(plan.day)
    if plan.day < NOW.date():
        assert made.state == FAILS


def test_used_up(tmp_path: Path) -> None:
    """4 h a day for 30 days are 120 h, more than the shortest life of 103 h."""
    made = _ask(_workspace(tmp_path, hours=((10, 1040), (20, 1080), (30, 1120))), _sheet(tmp_path))

    assert (made.state, made.word) == (FAILS, "overdue")
    assert "used up on 2026-05-26" in made.reasons[0]


def test_hotter_season_ahead(tmp_path: Path) -> None:
    """At 40 °C the life is 0.35 of that at 20 °C (reference table, computed): 45 h; so not enough."""
    made = _ask(_workspace(tmp_path), _sheet(tmp_path), intake_c=40.0)
    life = next(one for one in made.results if one.name.startswith("life at 40 °C"))

    assert life.value == pytest.approx(129.0 * 0.35, rel=0.02)
    assert made.state != HOLDS


def test_until_a_day_that_is_asked_for(tmp_path: Path) -> None:
    """An earlier day than the plan counts; a later one does not put the plan off."""
    where, sheet = _workspace(tmp_path), _sheet(tmp_path)

    assert _result(_ask(where, sheet, until="2026-06-20"), "change by") == "2026-06-20"
    assert _result(_ask(where, sheet, until="2027-06-20"), "change by") == "2026-07-01"
    with pytest.raises(PlantError, match=r"--until '20\.6\.' is no day"):
        _ask(where, sheet, until="20.6.")


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"changed": False}, "No change of its cartridge is on record"),
        ({"stages": ("other",)}, "No stage of this name is on record"),
        ({"months": None}, "No planned change is on record"),
        ({"months": None, "change_hours": 500, "hours": ((10, 1010), (20, 900))}, "backwards"),
    ],
)
def test_gaps_of_the_record_prove_nothing(
    tmp_path: Path, changes: dict[str, object], told: str
) -> None:
    """What is not on record keeps it from holding, and is told."""
    made = _ask(_workspace(tmp_path, **changes), _sheet(tmp_path))  # type: ignore[arg-type]  # cases

    assert made.state != HOLDS
    assert any(told in one for one in made.reasons)


@pytest.mark.parametrize(
    ("old", "told"),
    [
        ("water_capacity_percent = 12\ncapacity_spread_percent = 0", "water_capacity_percent"),
        ("separator_efficiency_percent = 100", "separator_efficiency_percent"),
        ("flow_l_min = 265", "flow_l_min"),
        ("intake_humidity_percent = [70, 70]", "temperature and humidity at the intake"),
    ],
)
def test_gaps_of_the_sheet_prove_nothing(tmp_path: Path, old: str, told: str) -> None:
    """With and without a record."""
    sheet = _sheet(tmp_path, SHEET.replace(old, ""))

    for made in (
        _ask(_workspace(tmp_path), sheet),
        treatment(Where(), Request(sheet_file=sheet), now=NOW),
    ):
        assert made.state == NOT_PROVEN
        assert any(told in one for one in made.reasons)


def test_air_without_water_has_no_end(tmp_path: Path) -> None:
    """No intake is so dry: nothing is proven, no number is made up, and it can be written."""
    sheet = _sheet(tmp_path, SHEET.replace("[70, 70]", "[0, 0]"))
    made = _ask(_workspace(tmp_path), sheet)

    assert made.state == NOT_PROVEN
    assert any("no intake out of doors stays as dry" in one for one in made.reasons)
    assert not any("nan" in grid.note for grid in made.grids)
    assert _result(made, "change by") == "2026-07-01"
    assert _result(made, "likely through") == "cannot be told"
    assert json.loads(json_text(made))["data"]["life_h"]["likely"] is None


def test_a_flow_below_the_plate_is_told(tmp_path: Path) -> None:
    """A compressor that delivers more than the flow entered makes the life look longer."""
    plate = '[[compressor]]\nname = "c1"\nfree_air_l_min = {}\n'
    told = []
    for delivered in (400, 270):
        sheet = _sheet(tmp_path, SHEET + plate.format(delivered))
        made = treatment(Where(), Request(sheet_file=sheet), now=NOW)
        told.append(any("less than the 400 L/min" in one.text for one in made.assumptions))

    assert told == [True, False]


# --- measured moisture ------------------------------------------------------------------------------


def test_wet_air_by_hand_fails_whatever_is_calculated(tmp_path: Path) -> None:
    """The newest test by hand lies above the 25 mg/m3 allowed."""
    made = _ask(_workspace(tmp_path, water=("water=10 mg/m3", "water=31 mg/m3")), _sheet(tmp_path))

    assert (made.state, made.word) == (FAILS, "wet")
    assert "withdraw" in made.next_steps[0].casefold()
    assert "fill-1" in made.reasons[0]


def test_the_limit_can_be_given(tmp_path: Path) -> None:
    """A lower highest content than the sheet's is held against the readings."""
    where, sheet = _workspace(tmp_path, water=("water=10 mg/m3",)), _sheet(tmp_path)

    assert _ask(where, sheet).state == HOLDS
    assert _ask(where, sheet, highest_water_mg_m3=5.0).state == FAILS


def test_creeping_moisture_by_hand_is_not_proven(tmp_path: Path) -> None:
    """It rises by 2 mg/m3 a day, still below 25 mg/m3."""
    water = tuple(f"water={value} mg/m3" for value in (10, 12, 14, 16, 18, 20))
    made = _ask(_workspace(tmp_path, water=water), _sheet(tmp_path))

    assert made.state == NOT_PROVEN
    assert "creeps upward" in made.reasons[0]
    assert "25 mg/m3 may be reached" in made.reasons[0]


def test_a_log_that_gets_wetter(tmp_path: Path) -> None:
    """Dew points of -60 °C rising to -50 °C in ten days are some 8 to 29 mg/m3.

    By hand, with the saturation pressure over ice (IAPWS R14-08, confirmed): 1.081 Pa and 3.938 Pa of
    101 325 Pa, f 1.0055 to 1.006, at 0.74892 mg/m3 a ppm.
    """
    where = _workspace(tmp_path)
    _log(where, [-60 + n / 4 for n in range(41)])
    made = _ask(where, _sheet(tmp_path))
    grid = next(one for one in made.grids if one.title.startswith("Water measured"))

    assert grid.rows[0][1] == 11
    assert grid.rows[0][3] == pytest.approx(3.938 / 0.101325 * 1.0057 * 0.74892, rel=0.005)
    assert (made.state, made.word) == (FAILS, "wet")


def test_a_log_of_steady_dry_air_holds(tmp_path: Path) -> None:
    """No rise, no doubt; the highest reading of each day counts."""
    where = _workspace(tmp_path)
    _log(where, [-60.0, -58.0, -61.0, -59.0] * 10)
    made = _ask(where, _sheet(tmp_path))

    assert made.state == HOLDS
    assert any(one.title.startswith("Water measured") for one in made.grids)


def test_a_log_wetter_than_the_formulas_is_no_clean_result(tmp_path: Path) -> None:
    """A dew point that cannot be at 1 atm counts as very wet, not as nothing."""
    where = _workspace(tmp_path)
    _log(where, [-60.0] * 20 + [150.0])
    made = _ask(where, _sheet(tmp_path))

    assert made.state == FAILS
    assert any(f"{BEYOND_MG_M3:g}" in one for one in made.left_out)


# --- several stages ---------------------------------------------------------------------------------


def test_a_catalyst_hangs_on_the_stage_before_it(tmp_path: Path) -> None:
    """Dry readings and a drier that holds: all holds; used up drier: the catalyst fails with it."""
    dry = ("water=<20 mg/m3",) * 6
    stages = ("cartridge a", "cat")
    sheet = _sheet(tmp_path, SHEET + CATALYST)
    good = _ask(_workspace(tmp_path, stages=stages, water=dry), sheet)
    (tmp_path / "b").mkdir()
    late = _workspace(tmp_path / "b", stages=stages, water=dry, hours=((10, 1100), (30, 1300)))
    bad = _ask(late, sheet, stage="cat")

    assert good.state == HOLDS
    assert [row[0] for row in next(g for g in good.grids if "All stages" in g.title).rows] == [
        "cartridge a",
        "cat",
    ]
    assert bad.state == FAILS
    assert any("wet air stops a CO catalyst" in one for one in bad.reasons)


def test_a_catalyst_without_measured_moisture_is_not_proven(tmp_path: Path) -> None:
    """It is the stage that comes first, since the drier before it holds."""
    stages = ("cartridge a", "cat")
    made = _ask(_workspace(tmp_path, stages=stages), _sheet(tmp_path, SHEET + CATALYST))

    assert made.state == NOT_PROVEN
    assert made.subject.endswith("cat")
    assert any("No moisture measured" in one for one in made.reasons)


def test_the_worst_stage_comes_first(tmp_path: Path) -> None:
    """Carbon without declared hours is not proven, and stands before the cartridge that holds."""
    carbon = '[[treatment]]\nname = "carbon"\nkind = "activated_carbon"\n'
    where = _workspace(tmp_path, stages=("cartridge a", "carbon"))
    made = _ask(where, _sheet(tmp_path, SHEET + carbon))

    assert made.state == NOT_PROVEN
    assert made.subject.endswith("carbon")
    assert _ask(where, _sheet(tmp_path, SHEET + carbon), stage="cartridge a").state == HOLDS


# --- refusals ---------------------------------------------------------------------------------------


def test_refusals(tmp_path: Path) -> None:
    """Each is told with what to do."""
    sheet = _sheet(tmp_path)
    where = _workspace(tmp_path)

    with pytest.raises(PlantError, match="states no treatment"):
        treatment(Where(), Request(sheet_file=_sheet(tmp_path, "format = 1\n")), now=NOW)
    _sheet(tmp_path)
    with pytest.raises(PlantError, match="has no treatment 'z'"):
        _ask(where, sheet, stage="z")
    with pytest.raises(PlantError, match="--intake 99 °C is outside -50 to 60"):
        _ask(where, sheet, intake_c=99.0)
    with pytest.raises(PlantError, match="neither a supply nor a file"):
        treatment(where, Request(), now=NOW)
    with pytest.raises(UnknownRecordError, match="nobody"):
        _ask(where, sheet, supply="nobody")
    with pytest.raises(InputError, match="--intake 'warm' is no number"):
        request_of({"supply": "filling", "intake_c": "warm"})
    for value in (0.0, -3.0, float("nan"), float("inf")):
        with pytest.raises(PlantError, match=r"--highest-water .* is outside"):
            _ask(where, sheet, highest_water_mg_m3=value)


def test_a_form_is_taken() -> None:
    """Names of the form's fields are those of the request."""
    found = request_of({"supply": "x", "stage": "a", "until": "2026-07-01", "intake_c": "12.5"})

    assert found == Request(supply="x", stage="a", until="2026-07-01", intake_c=12.5)


def test_today_tells_of_a_cartridge_that_is_used_up(tmp_path: Path) -> None:
    """4 h a day: used up on 26 May (by hand above), and the plan says 1 July."""
    where = _workspace(tmp_path, hours=((10, 1040), (20, 1080), (30, 1120)))
    assert _told_today(where) == []
    _record_sheet(where)
    ((urgency, what, why),) = _told_today(where)
    assert (urgency, what) == (
        "late",
        "By calculation the cartridge of cartridge a is to be changed now.",
    )
    assert "used up on 2026-05-26" in why[0]


def test_today_tells_before_the_plan_does(tmp_path: Path) -> None:
    """2 h a day: 103.2 h are full on 21 June, within a month of 1 June and before 1 July."""
    where = _workspace(tmp_path, hours=((10, 1020), (20, 1040), (30, 1060)))
    _record_sheet(where)
    ((urgency, what, _),) = _told_today(where)
    assert urgency == "soon"
    assert what == (
        "By calculation the cartridge of cartridge a lasts until 2026-06-21, before its planned "
        "change on 2026-07-01."
    )
    # 12 August is more than a month ahead, and a plan that is earlier tells by itself.
    for name, months in (("later", 6), ("planned", 2)):
        (tmp_path / name).mkdir()
        other = _workspace(tmp_path / name, months=months)
        _record_sheet(other)
        assert _told_today(other) == []


def test_today_tells_of_wet_air_behind_a_cartridge(tmp_path: Path) -> None:
    """What is measured goes before what is calculated."""
    where = _workspace(tmp_path, water=("water=20 mg/m3", "water=30 mg/m3"))
    _record_sheet(where)
    ((urgency, what, why),) = _told_today(where)
    assert urgency == "late"
    assert what.startswith("The air behind cartridge a is too wet: withdraw the supply")
    assert "above the 25 mg/m3 allowed" in why[0]


def test_today_says_what_rests_on_assumed_figures(tmp_path: Path) -> None:
    """A life that had to be assumed shows nothing either way, so it is not proven."""
    where = _workspace(tmp_path, hours=((10, 1060), (20, 1120), (30, 1180)))
    _record_sheet(where, SHEET.replace("water_capacity_percent = 12\n", ""))
    ((urgency, what, why),) = _told_today(where)
    assert urgency == "not_proven"
    assert "may be used up since 2026-05-" in what
    assert "rests on figures that had to be assumed" in what
    assert any("had to be assumed" in line for line in why)


def test_invented_figures_warn_of_nothing(tmp_path: Path) -> None:
    """Nor do sheets that state no treatment."""
    where = _workspace(tmp_path, hours=((10, 1040), (20, 1080), (30, 1120)))
    _record_sheet(where, SHEET.replace("format = 1", "format = 1\ninvented = true"))
    assert _told_today(where) == []
    _record_sheet(where, "format = 1\n")
    assert _told_today(where) == []


def test_the_plan_is_not_repeated(tmp_path: Path) -> None:
    """A planned change that is past is told by the plan alone."""
    where = _workspace(tmp_path, months=1)
    _record_sheet(where)
    later = NOW + timedelta(days=3)
    assert _told_today(where, later) == []
    assert any("change the cartridge" in one.what for one in today(where, now=later).needs)


def test_a_sheet_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    """A sheet of a form that this version does not know stands on record, and says so."""
    where = _workspace(tmp_path)
    _record_sheet(where, "format = 9\n")
    ((urgency, what, why),) = _told_today(where)
    assert (urgency, what) == (
        "not_proven",
        "How long its treatment lasts could not be worked out.",
    )
    assert "reads 1" in why[0]


def test_colder_air_than_there_ever_is_proves_nothing(tmp_path: Path) -> None:
    """At -50 °C a cartridge would last for ever; by the sheet it is never colder than 20 °C."""
    made = treatment(Where(), Request(sheet_file=_sheet(tmp_path), intake_c=-50.0), now=NOW)
    assert (made.state, made.word) == (NOT_PROVEN, "not proven")
    assert "never gets below 20 °C" in made.reasons[0]
    where = _workspace(tmp_path)
    held = _ask(where, _sheet(tmp_path), intake_c=10.0)
    assert held.state == NOT_PROVEN
    used = _workspace_used(tmp_path)
    failed = _ask(used, _sheet(tmp_path), intake_c=10.0)
    assert failed.state == FAILS
    assert any("never gets below" in text for text in failed.reasons)


def _workspace_used(folder: Path) -> Where:
    (folder / "used").mkdir()
    return _workspace(folder / "used", months=1, hours=((10, 1200), (20, 1400), (30, 1600)))


def test_a_day_needs_a_record(tmp_path: Path) -> None:
    """When the cartridge was changed stands in no sheet."""
    with pytest.raises(PlantError, match="--until says nothing without a supply"):
        treatment(Where(), Request(sheet_file=_sheet(tmp_path), until="2099-01-01"), now=NOW)


def test_invented_figures_are_no_estimate(tmp_path: Path) -> None:
    """As everywhere else."""
    text = SHEET.replace("format = 1", "format = 1\ninvented = true")
    made = treatment(Where(), Request(sheet_file=_sheet(tmp_path, text)), now=NOW)
    assert made.state == NOT_PROVEN
    assert "invented = true" in made.reasons[0]


def test_no_maker_declares_a_hundred_years(tmp_path: Path) -> None:
    """Hours of running, up to eleven years of them."""
    text = SHEET + "declared_hours = 999999\n"
    with pytest.raises(PlantError, match="allowed is 1 to 100000 h"):
        treatment(Where(), Request(sheet_file=_sheet(tmp_path, text)), now=NOW)


HALL = """
format = 1
[place]
altitude_m = 0
intake_temperature_c = [20, 20]
intake_humidity_percent = [70, 70]
[[compressor]]
name = "small"
free_air_l_min = 100
declared_at_bar_g = 8
[[wearer]]
name = "blaster"
at = "fill-1"
equipment = "blasting_helmet"
minimum_flow_l_min = 300
minimum_bar_g = 4.0
maximum_bar_g = 8.0
[[receiver]]
name = "r1"
volume_l = 50
pressure_bar_g = 7.0
[escape]
minutes = 30
"""


def test_today_tells_of_too_little_air(tmp_path: Path) -> None:
    """100 L/min are delivered and 300 are drawn; 50 L at 7 bar(g) last a minute, not 30."""
    where = _workspace(tmp_path)
    _record_sheet(where, HALL)
    found = [one for one in today(where, now=NOW).needs if one.kind in {"air", "reserve"}]
    assert [(one.urgency, one.kind) for one in found] == [("late", "air"), ("late", "reserve")]
    assert "not enough air for all" in found[0].what
    assert "too short to get out" in found[1].what
    assert all(one.why[0] for one in found)
    _record_sheet(where, HALL.replace("format = 1", "format = 1\ninvented = true"))
    assert not [one for one in today(where, now=NOW).needs if one.kind in {"air", "reserve"}]


@pytest.mark.parametrize("grams", [4.2, 100.0, 2600.0])
@pytest.mark.parametrize("hours", [((10, 1010), (30, 1030)), ((10, 1200), (20, 1300), (30, 1301))])
def test_days_of_change_stand_in_order(
    tmp_path: Path, grams: float, hours: tuple[tuple[float, float], ...]
) -> None:
    """At the least, likely, at the most: also where the life was over before the newest reading."""
    text = SHEET.replace("sorbent_g = 2600", f"sorbent_g = {grams}")
    made = _ask(_workspace(tmp_path, hours=hours), _sheet(tmp_path, text))
    days = [
        str(_result(made, name))
        for name in ("lasts at least through", "likely through", "at the most through")
    ]
    assert days == sorted(days)
    assert str(_result(made, "change by")) <= days[0]


def test_a_mild_intake_is_not_the_worst_day(tmp_path: Path) -> None:
    """A life in the season ahead may be asked for; that it is no more is said."""
    text = SHEET.replace("[20, 20]", "[-5, 32]")
    made = treatment(Where(), Request(sheet_file=_sheet(tmp_path, text), intake_c=5.0), now=NOW)
    assert made.state == ESTIMATE
    assert any("is not the worst day" in one for one in made.reasons)
    worst = treatment(Where(), Request(sheet_file=_sheet(tmp_path, text), intake_c=32.0), now=NOW)
    assert not any("worst day" in one for one in worst.reasons)
