"""What is kept of a supply, in the browser."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from tests.web.kit import NOW, Visitor, text_of

from lungwort.jobs.catalogue import supply as job
from lungwort.jobs.opening import Where


def supply_of(folder: Path, name: str) -> dict[str, Any]:
    """Give what is on record of a supply."""
    plain = job.show(Where(workspace=folder), name, now=NOW).plain
    return {**plain, **plain["supply"]}


@pytest.fixture
def hall(folder: Path) -> str:
    """Give the id of the hall's compressor."""
    return str(supply_of(folder, "hall-compressor")["id"])


NEW = {
    "name": "yard-compressor",
    "title": "Yard compressor",
    "kind": "ring-main",
    "oil_lubricated": "unknown",
    "pressure_bar_g": "7",
    "lowest_temperature_c": "-5",
}


def test_a_supply_is_added_where_its_page_would_stand(visitor: Visitor, folder: Path) -> None:
    """A supply is added where its page would stand."""
    form = visitor.page("/supplies/new")
    site = re.search(r'<option value="(site-[a-z0-9]+)"', form)
    assert site
    said = visitor.done("/supplies/new", {**NEW, "site": site[1]})
    assert "under test until it is returned to service" in said
    found = supply_of(folder, "yard-compressor")
    assert (found["pressure_bar_g"], found["lowest_temperature_c"]) == ("7", "-5")
    assert found["oil_lubricated"] is None
    assert found["state"]["state"] == "under_test"


def test_a_supply_is_changed_and_nothing_else_with_it(
    visitor: Visitor, folder: Path, hall: str
) -> None:
    """A supply is changed and nothing else with it."""
    before = supply_of(folder, hall)["supply"]
    form = visitor.page(f"/supplies/{hall}/change")
    fields = dict(re.findall(r'<input type="text"[^>]*name="([a-z_]+)"[^>]*value="([^"]*)"', form))
    typed = {
        **fields,
        "site": before["site_id"],
        "kind": "airline-compressor",
        "oil_lubricated": "yes",
        "limit_set": before["limit_set"],
        "note": before["note"],
        "version": str(before["version"]),
        "lowest_temperature_c": "2",
        "reason": "measured in January",
    }
    assert "Version" in visitor.done(f"/supplies/{hall}/change", typed)
    after = supply_of(folder, hall)["supply"]
    assert after["lowest_temperature_c"] == "2"
    ignored = {"version", "reason", "seq", "lowest_temperature_c"}
    assert {k: v for k, v in after.items() if k not in ignored} == {
        k: v for k, v in before.items() if k not in ignored
    }
    assert "changed it meanwhile" in visitor.refused(
        f"/supplies/{hall}/change", {**typed, "lowest_temperature_c": "3"}
    )


def test_a_stage_is_added_and_taken_out(visitor: Visitor, folder: Path, hall: str) -> None:
    """A stage is added and taken out."""
    typed = {"name": "polish", "kind": "carbon", "change_hours": "1000", "change_months": "6"}
    assert "polish" in visitor.done(f"/supplies/{hall}/stages/new", typed)
    stage = next(one for one in supply_of(folder, hall)["stages"] if one["name"] == "polish")
    address = f"/supplies/{hall}/stages/{stage['id']}"
    assert 'value="1000"' in visitor.page(address)
    changed = {
        **typed,
        "place": str(stage["place"]),
        "change_months": "",
        "in_use": "no",
        "version": "1",
        "reason": "not needed",
    }
    visitor.done(address, changed)
    stage = next(one for one in supply_of(folder, hall)["stages"] if one["name"] == "polish")
    assert (stage["in_use"], stage["change_months"], stage["change_hours"]) == (False, None, "1000")
    answer = visitor.post(address, {**changed, "change_hours": "900", "in_use": "yes"})
    assert answer.status_code == 422
    assert "changed it meanwhile" in text_of(answer.text)
    assert "900" in text_of(answer.text)


def test_a_cartridge_is_changed_with_the_hour_meter(
    visitor: Visitor, folder: Path, hall: str
) -> None:
    """A cartridge is changed with the hour meter."""
    stage = supply_of(folder, hall)["stages"][0]["name"]
    known = max(float(one["hours"]) for one in supply_of(folder, hall)["running_hours"])
    said = visitor.refused(f"/supplies/{hall}/cartridges/new", {"stage": stage, "hours": "1"})
    assert "is less than" in said
    visitor.done(f"/supplies/{hall}/cartridges/new", {"stage": stage, "hours": str(known + 1)})
    found = supply_of(folder, hall)
    assert float(found["cartridge_changes"][-1]["running_hours"]) == known + 1
    said = visitor.refused(f"/supplies/{hall}/cartridges/new", {"stage": "no such stage"})
    assert "is not among what can be chosen" in said


def test_the_hour_meter_is_read_and_a_mistake_taken_out(
    visitor: Visitor, folder: Path, hall: str
) -> None:
    """The hour meter is read and a mistake taken out."""
    known = max(float(one["hours"]) for one in supply_of(folder, hall)["running_hours"])
    visitor.done(f"/supplies/{hall}/hours/new", {"hours": str(known + 2)})
    newest = supply_of(folder, hall)["running_hours"][-1]
    assert f"part={newest['id']}" in visitor.page(f"/supplies/{hall}/recorded")
    assert (
        'aria-invalid="true"' in visitor.post(f"/supplies/{hall}/hours/new", {"hours": "many"}).text
    )
    visitor.refused(f"/supplies/{hall}/void", {"part": newest["id"]})
    visitor.done(f"/supplies/{hall}/void", {"part": newest["id"], "reason": "read wrongly"})
    assert newest["id"] not in {one["id"] for one in supply_of(folder, hall)["running_hours"]}


def test_what_happened_asks_for_a_new_test(visitor: Visitor, folder: Path, hall: str) -> None:
    """What happened asks for a new test."""
    visitor.refused(f"/supplies/{hall}/events/new", {"kind": "doubt"})
    said = visitor.done(f"/supplies/{hall}/events/new", {"kind": "doubt", "what": "smells of oil"})
    assert "it asks for a new test" in said
    event = supply_of(folder, hall)["events"][-1]
    assert (event["kind"], event["text"]) == ("doubt", "smells of oil")


def test_a_longer_interval_than_the_answers_lead_to_needs_reasons(
    visitor: Visitor, folder: Path, hall: str
) -> None:
    """A longer interval than the answers lead to needs reasons."""
    address = f"/supplies/{hall}/assessment"
    before = len(supply_of(folder, hall)["assessments"])
    answer = visitor.post(address, {})
    assert answer.status_code == 200
    assert "The answers lead to a test" in text_of(answer.text)
    assert len(supply_of(folder, hall)["assessments"]) == before
    said = visitor.refused(address, {"months": "24"})
    assert "is longer than" in said
    assert "The answers lead to a test" in said
    visitor.done(address, {"months": "24", "why": "invented for this test"})
    decided = supply_of(folder, hall)["assessments"][-1]
    assert (decided["chosen_months"], decided["why"]) == (24, "invented for this test")


def test_a_supply_is_no_longer_in_use(visitor: Visitor, folder: Path, hall: str) -> None:
    """A supply is no longer in use."""
    version = str(supply_of(folder, hall)["version"])
    visitor.refused(f"/supplies/{hall}/retire", {"version": version})
    visitor.done(f"/supplies/{hall}/retire", {"version": version, "reason": "sold"})
    assert supply_of(folder, hall)["in_use"] is False
