"""Causes of bad air as a result: from files, from the record, in words. Logs are invented."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from lungwort.demo import faults
from lungwort.demo.faults import CLEAN, fault_log
from lungwort.errors import InputError, LogError, RegisterError
from lungwort.jobs.cause import Request, cause, finding_number
from lungwort.jobs.cause_result import CAUTIONS
from lungwort.jobs.opening import Where
from lungwort.jobs.reading import Reading
from lungwort.logs.options import ReadOptions
from lungwort.logs.read import read_log
from lungwort.paper.calculation import ESTIMATE, NOT_PROVEN, Calculation
from lungwort.paper.calculation_sheet import calculation_pdf, json_text
from lungwort.register.model import Outlet, Person, Site, Supply
from lungwort.register.store import import_log
from lungwort.register.workspace import create_workspace

NOW = datetime(2027, 1, 10, 12, 0, tzinfo=UTC)
NOWHERE = Where(Path("/nowhere-at-all"))
DATA = Path(__file__).parents[1] / "data"
SETTLED = Reading(settle="0")


def _file(folder: Path, name: str, seed: int = 1, **more: Any) -> Path:
    path = folder / f"{name}-{seed}{'-intake' if more else ''}.csv"
    path.write_text(fault_log(name, seed).csv(**more), encoding="utf-8")
    return path


def _done(*files: Path, **more: Any) -> Calculation:
    more.setdefault("reading", SETTLED)
    return cause(NOWHERE, Request(files=files, **more), now=NOW)


def test_cause_that_stands_out(tmp_path: Path) -> None:
    """An estimate, never more; with what would confirm it, and what to do first."""
    made = _done(_file(tmp_path, "exhaust"), outlet="hose-1")
    assert made.state == ESTIMATE
    assert made.subject == "hose-1"
    assert "exhaust of an engine" in made.answer
    assert "Confirm it" in made.answer
    assert made.data["causes"][0]["id"] == "exhaust"
    assert any("the intake" in one for one in made.next_steps)
    assert any(one.startswith("To confirm it") for one in made.next_steps)
    assert set(CAUTIONS) < set(made.cautions)
    confirm = next(one for one in made.grids if one.title == "What would confirm it")
    assert all(row[2] and row[3] for row in confirm.rows)
    assert {one.title for one in made.plots} >= {"Carbon monoxide", "Carbon dioxide"}
    assert all(one.says for one in made.plots)


def test_nothing_wrong_names_nothing(tmp_path: Path) -> None:
    """A clean log gives no cause, and does not say that the air is good."""
    made = _done(_file(tmp_path, CLEAN))
    assert made.state == NOT_PROVEN
    assert made.word == "cannot be told"
    assert made.answer.startswith("No cause can be told: nothing moved clearly")
    assert made.next_steps[0].startswith("Nothing moved clearly in these readings")
    assert "is judged with" in made.next_steps[0]
    confirm = next(one for one in made.grids if one.title == "What would confirm it")
    assert confirm.rows == ()


def test_real_room_is_not_blamed_on_anything_for_certain() -> None:
    """Carbon dioxide of a real office alone (UCI 'Occupancy Detection') is not enough to name a cause.

    People were there, so breath is among what is possible; carbon monoxide was not measured.
    """
    made = _done(
        DATA / "occupancy_co2.txt",
        begin="2015-02-05 00:00",
        end="2015-02-06 06:00",
        reading=Reading(settle="0", zone="Europe/Brussels", unit=("CO2=ppm",)),
    )
    assert made.state == NOT_PROVEN
    first = [one["id"] for one in made.data["causes"][:3]]
    assert "breath" in first
    assert any("Carbon monoxide: not measured" in one for one in made.left_out)
    assert "carbon monoxide" in made.next_steps[-1]


def test_intake_decides(tmp_path: Path) -> None:
    """Carbon monoxide at the intake at the same time makes the catalyst likelier, not less."""
    seed = next(
        one
        for one in range(20)
        if (fault := fault_log("catalyst", one)).intake and "water" in fault.values
    )
    outlet, intake = (
        _file(tmp_path, "catalyst", seed),
        _file(tmp_path, "catalyst", seed, intake=True),
    )

    def belief(made: Calculation) -> float:
        return next(float(one["belief"]) for one in made.data["causes"] if one["id"] == "catalyst")

    alone, both = _done(outlet), _done(outlet, intake=(intake,))
    assert belief(both) > belief(alone)
    assert any("air at the intake" in one for one in alone.left_out)
    assert not any("air at the intake" in one for one in both.left_out)


def test_intake_of_another_day_is_told(tmp_path: Path) -> None:
    """Readings of the intake that do not lie in the same time count for nothing, and that is said."""
    outlet, other = _file(tmp_path, "exhaust", 1), _file(tmp_path, "breath", 2)
    made = _done(outlet, intake=(other,))
    assert any("too few of them lie in the same time" in one for one in made.left_out)
    with pytest.raises(LogError, match="the log of the intake"):
        _done(outlet, intake=(other,), begin="2026-10-26 00:00", end="2026-10-27 00:00")


def test_settling_is_not_used(tmp_path: Path) -> None:
    """The first half hour is no sign where the settling time holds."""
    path = _file(tmp_path, CLEAN)
    whole = next(one.value for one in _done(path).inputs if one.name == "Readings in time")
    assert isinstance(whole, int)
    assert whole > 100
    assert _done(path, reading=Reading()).state == NOT_PROVEN


def test_paper_and_data(tmp_path: Path) -> None:
    """It goes on paper and is given as JSON with signs and beliefs that add up to 1."""
    made = _done(_file(tmp_path, "co2_release"))
    plain = json.loads(json_text(made))
    assert plain["format"] == "lungwort-cause/1"
    assert sum(one["belief"] for one in plain["data"]["causes"]) == pytest.approx(1.0)
    assert plain["data"]["seen"]["signs"]
    assert calculation_pdf(made).startswith(b"%PDF")


def test_zone_unknown_and_long_spans_are_said(tmp_path: Path) -> None:
    """What was taken for granted stands in the result."""
    start = datetime(2026, 5, 1, tzinfo=UTC)
    lines = ["time,CO [ppm],CO2 [ppm]"]
    for at in range(1200):
        moment = start + timedelta(minutes=5 * at)
        lines.append(f"{moment:%Y-%m-%d %H:%M:%S},{0.1 * (at % 7):.1f},{430 + at % 5}")
    path = tmp_path / "long.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    texts = [one.text for one in _done(path).assumptions]
    assert any("no time zone" in one for one in texts)
    assert any("All 4 days were looked at as one event" in one for one in texts)


def test_refusals(tmp_path: Path) -> None:
    """What cannot be used is told, with what to do."""
    path = _file(tmp_path, "exhaust")
    with pytest.raises(InputError, match="nothing was given"):
        _done()
    with pytest.raises(InputError, match="both given"):
        _done(path, finding="F-2026-0001")
    with pytest.raises(InputError, match="does not lie before"):
        _done(path, begin="2026-03-02 00:00", end="2026-03-01 00:00")
    with pytest.raises(LogError, match="0 readings lie in the span"):
        _done(path, begin="2020-03-02 00:00", end="2020-03-03 00:00")
    with pytest.raises(RegisterError):
        cause(Where(tmp_path), Request(outlet="hose-1"), now=NOW)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a workspace whose outlet 'panel' has an invented log; never change it."""
    folder = tmp_path_factory.mktemp("cause")
    path = _file(folder, "exhaust")
    log = read_log(path, settle=timedelta(0), now=NOW)
    who, place = "Wenna Harkle", folder / "workspace"
    with create_workspace(place, name="slip", person=who, now=NOW) as workspace:
        with workspace.register.change(who=who, now=NOW) as change:
            person = change.get(Person, who)
            site = change.add(
                Site(name="slip", zone="Asia/Tokyo", limit_set="en12021-2014-airline")
            )
            supply = change.add(Supply(site_id=site.id, name="hall"))
            outlet = change.add(Outlet(supply_id=supply.id, name="panel"))
            change.add(Outlet(supply_id=supply.id, name="bare"))
        with workspace.register.change(who=who, now=NOW) as change:
            import_log(
                workspace,
                change,
                log,
                outlet=outlet,
                instrument=None,
                files=[(path.name, path.read_bytes())],
                options=ReadOptions(),
                by=person,
            )
    return place


def test_record_is_as_the_file(record: Path, tmp_path: Path) -> None:
    """Without an excursion on record the newest day is taken, in the zone of the site."""
    kept = cause(Where(record), Request(outlet="panel"), now=NOW)
    read = _done(_file(tmp_path, "exhaust"))
    assert kept.data["causes"][0]["id"] == read.data["causes"][0]["id"] == "exhaust"
    assert kept.zone == "Asia/Tokyo"
    assert any("newest 24 h" in one.text for one in kept.assumptions)


def test_record_refuses(record: Path) -> None:
    """An outlet without a log, one that is not there, a span without readings."""
    with pytest.raises(InputError, match="no log of the outlet 'bare' is on record"):
        cause(Where(record), Request(outlet="bare"), now=NOW)
    with pytest.raises(InputError, match="ghost"):
        cause(Where(record), Request(outlet="ghost"), now=NOW)
    with pytest.raises(InputError, match="no readings in that span"):
        cause(
            Where(record),
            Request(outlet="panel", begin="2020-01-01 00:00", end="2020-01-02 00:00"),
            now=NOW,
        )


def _log(folder: Path, name: str, level: Any, *, without: range = range(0)) -> Path:
    """Write ten hours of carbon monoxide and dioxide, a reading a minute."""
    begin = datetime(2026, 3, 4, 6, 0, tzinfo=UTC)
    lines = ["Time,CO [ppm],CO2 [ppm]"]
    for at in range(600):
        if at not in without:
            time = begin + timedelta(minutes=at)
            wiggle = (at * 37 % 17) / 100.0
            lines.append(f"{time:%Y-%m-%dT%H:%M:%SZ},{level(at) + wiggle:.2f},{420 + at * 7 % 5}")
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_hole_over_the_event_is_named(tmp_path: Path) -> None:
    """The logger was off while the air was bad: clean before and after proves nothing."""
    path = _log(tmp_path, "hole.csv", lambda _: 1.0, without=range(200, 266))
    made = _done(path)
    assert made.state == NOT_PROVEN
    assert "Nothing is known of" in made.answer
    assert "09:19 to 2026-03-04 10:26 (67 min)" in made.answer
    assert made.reasons[0] in made.answer
    assert "may have been bad there" in made.next_steps[0]
    whole = _done(_log(tmp_path, "whole.csv", lambda _: 1.0))
    assert not any("Nothing is known of" in text for text in whole.reasons)


def test_many_holes_are_counted(tmp_path: Path) -> None:
    """Five are named, the others counted."""
    gaps = {at for first in range(30, 600, 60) for at in range(first, first + 15)}
    path = tmp_path / "holes.csv"
    begin = datetime(2026, 3, 4, 6, 0, tzinfo=UTC)
    rows = [
        f"{begin + timedelta(minutes=at):%Y-%m-%dT%H:%M:%SZ},{1 + at * 37 % 17 / 100:.2f}"
        for at in range(600)
        if at not in gaps
    ]
    path.write_text("Time,CO [ppm]\n" + "\n".join(rows) + "\n", encoding="utf-8")
    reasons = _done(path).reasons
    assert sum(text.startswith("Nothing is known of") for text in reasons) == 5
    assert any("more such holes" in text for text in reasons)


def test_air_that_is_bad_all_along_is_told(tmp_path: Path) -> None:
    """40 ppm from the first reading to the last: nothing moved, and nothing is well."""
    made = _done(_log(tmp_path, "const.csv", lambda _: 40.0))
    assert made.state == NOT_PROVEN
    assert "Carbon monoxide was at 40 ppm or more all along" in made.answer
    assert "take the supply out of use" in made.next_steps[0]
    assert "Nothing moved clearly" not in made.next_steps[0]
    low = tmp_path / "low.csv"
    low.write_text(
        "Time,O2 [%]\n"
        + "".join(
            f"2026-03-04T{6 + at // 60:02d}:{at % 60:02d}:00Z,{17 + at * 37 % 17 / 100:.2f}\n"
            for at in range(300)
        ),
        encoding="utf-8",
    )
    assert "Oxygen was at 17.2 % or less all along" in _done(low).answer


def test_the_log_of_the_outlet_is_no_log_of_the_intake(tmp_path: Path) -> None:
    """It would always agree with itself."""
    path = _file(tmp_path, "exhaust")
    with pytest.raises(InputError, match="is the log of the outlet itself"):
        _done(path, intake=(path,))


def test_what_a_catalyst_lets_through_was_drawn_in(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Exhaust together with a drier that fills up looks like a spent catalyst: exhaust is told as well."""
    first, second = faults._MAKERS["exhaust"], faults._MAKERS["drier_saturating"]

    def both(scene: Any) -> None:
        first(scene)
        second(scene)

    monkeypatch.setitem(faults._MAKERS, "exhaust", both)
    named = 0
    for seed in range(1000, 1008):
        made = _done(_file(tmp_path, "exhaust", seed))
        if made.state == ESTIMATE and made.data["causes"][0]["id"] == "catalyst":
            named += 1
            assert "as where exhaust is drawn in" in made.answer
            assert made.next_steps[0].startswith("Look at the intake first")
    assert named >= 4


def test_finding_number_of_the_address(record: Path) -> None:
    """One that is not on record is refused."""
    with pytest.raises(RegisterError):
        finding_number(Where(record), "F-9999-9999")
