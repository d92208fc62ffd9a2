"""Sites, outlets, instruments, lots and people are kept in the browser."""

from __future__ import annotations

import importlib
import re
from html import unescape
from pathlib import Path
from typing import TYPE_CHECKING, get_type_hints

import pytest
from fastapi.routing import APIRoute
from tests.web.kit import NOW, Visitor, text_of

from lungwort.jobs.catalogue import instrument as instrument_job
from lungwort.jobs.catalogue import outlet as outlet_job
from lungwort.jobs.catalogue import person as person_job
from lungwort.jobs.opening import Where

if TYPE_CHECKING:
    from typing import Any

PLACES = ("/people", "/outlets", "/instruments", "/lots", "/sites")
HOSTILE = '<script>alert("x")</script>'


def first_id(visitor: Visitor, place: str) -> str:
    """Give the id of the first thing that is listed."""
    found: list[str] = re.findall(rf'href="{place}/([a-z]+-[a-z0-9]+)"', visitor.page(place))
    return found[0]


def id_of(visitor: Visitor, place: str, name: str) -> str:
    """Give the id of a thing that is listed by name."""
    found = re.search(rf'href="{place}/([a-z]+-[a-z0-9]+)">{name}<', visitor.page(place))
    assert found, f"{name} is not listed at {place}"
    return found[1]


def value_of(html: str, name: str) -> str:
    """Give what stands in an input of a form."""
    found = re.search(rf'name="{re.escape(name)}"[^>]*value="([^"]*)"', html)
    return unescape(found[1]) if found else ""


@pytest.mark.parametrize("place", PLACES)
def test_each_kind_of_thing_has_its_pages(reader: Visitor, place: str) -> None:
    """Each kind of thing has its pages."""
    key = first_id(reader, place)
    for address in (
        f"{place}/new",
        f"{place}/{key}",
        f"{place}/{key}/change",
        f"{place}/{key}/void",
    ):
        html = reader.page(address)
        assert "<h1>" in html
        assert "lungwort " not in text_of(html).replace("lungwort keeps", "")


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("kind", ["csv", "xlsx", "json"])
def test_each_list_can_be_taken_along(reader: Visitor, place: str, kind: str) -> None:
    """Each list can be taken along."""
    answer = reader.get(f"{place}?export={kind}")
    assert answer.status_code == 200
    assert "attachment" in answer.headers["content-disposition"]


def test_a_person_is_added_changed_and_has_left(visitor: Visitor, folder: Path) -> None:
    """A person is added changed and has left."""
    said = visitor.done("/people/new", {"name": "Perran Voss", "role": "fits filters"})
    assert "Perran Voss is on record." in said
    assert "proves nothing" in said
    key = id_of(visitor, "/people", "Perran Voss")
    form = visitor.page(f"/people/{key}/change")
    assert value_of(form, "role") == "fits filters"
    assert value_of(form, "version") == "1"
    typed = {"name": "Perran Voss", "role": "", "competent_until": "2027-06-30", "version": "1"}
    assert "‘Why it changes’ is missing or empty" in visitor.refused(f"/people/{key}/change", typed)
    said = visitor.done(f"/people/{key}/change", {**typed, "reason": "course passed"})
    assert "Version 2" in said
    assert "30 Jun 2027" in said
    shown = person_job.show(Where(workspace=folder), key, now=NOW, history=True).plain
    assert shown["person"]["competent_until"] == "2027-06-30"
    assert shown["person"]["role"] == ""
    assert shown["history"][-1]["recorded_by"] == "Wenna Harkle"
    said = visitor.done(f"/people/{key}/retire", {"version": "2", "reason": "moved away"})
    assert "No longer in use." in said
    assert "Perran Voss" not in text_of(visitor.page("/people"))
    assert "Perran Voss" in text_of(visitor.page("/people?retired=yes"))
    said = visitor.done(f"/people/{key}/retire", {"version": "3", "reason": "came back"})
    assert "No longer in use." not in said
    page = text_of(visitor.page(f"/people/{key}"))
    assert "course passed" in page
    assert "moved away" in page


def test_a_refused_form_keeps_what_was_typed(visitor: Visitor) -> None:
    """A refused form keeps what was typed."""
    answer = visitor.post("/people/new", {"name": "12 34", "role": HOSTILE, "note": "kept"})
    assert answer.status_code == 422
    assert "has no letter in it" in text_of(answer.text)
    assert 'aria-invalid="true"' in answer.text
    assert "<script>alert" not in answer.text
    assert value_of(answer.text, "role") == HOSTILE
    assert ">kept</textarea>" in answer.text


def test_nothing_is_recorded_by_mistake_without_a_reason(visitor: Visitor) -> None:
    """Nothing is recorded by mistake without a reason."""
    visitor.done("/people/new", {"name": "Perran Voss"})
    key = id_of(visitor, "/people", "Perran Voss")
    visitor.refused(f"/people/{key}/void", {})
    visitor.done(f"/people/{key}/void", {"reason": "typed twice"})
    assert "Perran Voss" not in text_of(visitor.page("/people?retired=yes"))
    assert "taken out" in text_of(visitor.page(f"/people/{key}"))


def test_what_others_rest_on_is_not_taken_out(visitor: Visitor) -> None:
    """What others rest on is not taken out."""
    key = id_of(visitor, "/outlets", "hall-1")
    said = visitor.refused(f"/outlets/{key}/void", {"reason": "tidying"})
    assert "cannot be voided" in said


def test_a_change_made_meanwhile_is_not_overwritten(visitor: Visitor, folder: Path) -> None:
    """A change made meanwhile is not overwritten."""
    key = id_of(visitor, "/outlets", "hall-1")
    opened = {"name": "hall-1", "place": "Blasting hall, panel 1", "note": "", "version": "1"}
    visitor.done(f"/outlets/{key}/change", {**opened, "place": "Moved west", "reason": "rebuilt"})
    answer = visitor.post(
        f"/outlets/{key}/change",
        {**opened, "place": "Moved east", "note": "by the door", "reason": "rebuilt"},
    )
    assert answer.status_code == 422
    said = text_of(answer.text)
    assert "Wenna Harkle changed it meanwhile" in said
    for words in ("Blasting hall, panel 1", "Moved west", "Moved east"):
        assert words in said
    assert value_of(answer.text, "version") == "2"
    assert value_of(answer.text, "place") == "Moved east"
    shown = outlet_job.show(Where(workspace=folder), key).plain["outlet"]
    assert (shown["version"], shown["place"], shown["note"]) == (2, "Moved west", "")
    # What only the other one changed is kept where it is saved again.
    answer = visitor.post(
        f"/outlets/{key}/change", {**opened, "note": "by the door", "reason": "rebuilt"}
    )
    assert value_of(answer.text, "place") == "Moved west"


def test_a_way_back_leads_to_these_pages_only(visitor: Visitor) -> None:
    """A way back leads to these pages only."""
    answer = visitor.post("/people/new", {"name": "Perran Voss", "then": "/welcome"})
    assert answer.headers["location"] == "/welcome"
    for place in (
        "//elsewhere.example/",
        "https://elsewhere.example/",
        "/\\elsewhere.example",
        "javascript:x",
    ):
        name = f"Perran {chr(ord('a') + len(place) % 26)}x"
        answer = visitor.post("/people/new", {"name": name, "then": place})
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/people/")


def test_what_is_worn_at_an_outlet(visitor: Visitor, folder: Path) -> None:
    """What is worn at an outlet."""
    key = id_of(visitor, "/outlets", "spray-2")
    typed = {
        "name": "half mask",
        "minimum_flow_l_min": "120",
        "lowest_pressure_bar_g": "4",
        "highest_pressure_bar_g": "7",
        "count": "2",
    }
    said = visitor.done(f"/outlets/{key}/worn/new", typed)
    assert "half mask at outlet spray-2 is on record." in said
    worn = outlet_job.show(Where(workspace=folder), key).plain["equipment"][-1]
    assert (worn["minimum_flow_l_min"], worn["count"]) == ("120", 2)
    said = visitor.refused(
        f"/outlets/{key}/worn/new", {**typed, "name": "hood", "lowest_pressure_bar_g": "8"}
    )
    assert "is not below" in said
    form = visitor.page(f"/outlets/{key}/worn/{worn['id']}")
    assert value_of(form, "minimum_flow_l_min") == "120"
    changed = {
        **typed,
        "minimum_flow_l_min": "6 cfm",
        "version": "1",
        "in_use": "no",
        "reason": "another mask",
    }
    visitor.done(f"/outlets/{key}/worn/{worn['id']}", changed)
    worn = outlet_job.show(Where(workspace=folder), key).plain["equipment"][-1]
    assert worn["in_use"] is False
    said = visitor.refused(f"/outlets/{key}/worn/{worn['id']}", {**changed, "count": "5"})
    assert "changed it meanwhile" in said
    # 1 ft³ is 28.316846592 L by definition of the foot (0.3048 m exactly).
    assert float(worn["minimum_flow_l_min"]) == pytest.approx(6 * 28.316846592, rel=1e-9)


CHANNELS = {
    "name": "monitor-2",
    "analyte.1": "co",
    "low.1": "0",
    "high.1": "50",
    "unit.1": "ppm",
    "uncertainty.1": "1.5",
    "analyte.2": "o2",
    "low.2": "0",
    "high.2": "25",
    "unit.2": "%",
    "uncertainty.2": "",
    "analyte.3": "",
    "low.3": "",
    "high.3": "",
    "unit.3": "",
    "uncertainty.3": "",
}


def instrument_of(folder: Path, key: str) -> dict[str, Any]:
    """Give what is on record of an instrument."""
    plain = instrument_job.show(Where(workspace=folder), key, now=NOW).plain
    return {**plain["instrument"], "calibrations": plain["calibrations"]}


def test_an_instrument_with_channels(visitor: Visitor, folder: Path) -> None:
    """An instrument with channels."""
    answer = visitor.post("/instruments/new", {**CHANNELS, "more_rows": "yes"})
    assert answer.status_code == 200
    assert 'name="analyte.6"' in answer.text
    assert value_of(answer.text, "high.1") == "50"
    visitor.done("/instruments/new", CHANNELS)
    key = id_of(visitor, "/instruments", "monitor-2")
    found = instrument_of(folder, key)["channels"]
    assert found[0] == {
        "analyte": "co",
        "unit": "ppm",
        "low": "0",
        "high": "50",
        "uncertainty": "1.5",
    }
    assert [one["analyte"] for one in found] == ["co", "o2"]
    # A change of something else leaves the channels as they are.
    visitor.done(
        f"/instruments/{key}/change",
        {**CHANNELS, "serial": "X-1", "version": "1", "reason": "read from plate"},
    )
    assert instrument_of(folder, key)["channels"] == found
    said = visitor.refused(
        f"/instruments/{key}/change",
        {**CHANNELS, "high.1": "-5", "serial": "X-1", "version": "2", "reason": "typo"},
    )
    assert "does not rise" in said
    visitor.done(
        f"/instruments/{key}/change",
        {
            **CHANNELS,
            "analyte.2": "",
            "low.2": "",
            "high.2": "",
            "unit.2": "",
            "serial": "X-1",
            "version": "2",
            "reason": "cell removed",
        },
    )
    assert [one["analyte"] for one in instrument_of(folder, key)["channels"]] == ["co"]


def test_a_calibration_with_its_paper(visitor: Visitor, folder: Path) -> None:
    """A calibration with its paper."""
    key = id_of(visitor, "/instruments", "monitor-1")
    form = visitor.page(f"/instruments/{key}/calibrate")
    assert form.index('name="csrf"', form.index("<main")) < form.index('name="passed"')
    typed = {
        "analyte.1": "co",
        "reference.1": "50",
        "found.1": "40",
        "left.1": "",
        "unit.1": "ppm",
        "tolerance.1": "2",
        "analyte.2": "o2",
        "reference.2": "",
        "found.2": "",
        "left.2": "",
        "unit.2": "%",
        "tolerance.2": "",
        "passed": "yes",
        "done_by": "an invented laboratory",
    }
    before = len(instrument_of(folder, key)["calibrations"])
    said = visitor.refused(f"/instruments/{key}/calibrate", typed)
    assert "co" in said
    assert len(instrument_of(folder, key)["calibrations"]) == before
    paper = b"%PDF-1.4 invented"
    visitor.done(
        f"/instruments/{key}/calibrate",
        {**typed, "left.1": "50.1", "then": "/welcome"},
        files={"paper": ("../../paper.pdf", paper, "application/pdf")},
    )
    newest = max(instrument_of(folder, key)["calibrations"], key=lambda one: int(one["seq"]))
    assert newest["rows"] == [
        {
            "analyte": "co",
            "unit": "ppm",
            "reference": "50",
            "as_found": "40",
            "as_left": "50.1",
            "tolerance": "2",
        }
    ]
    answer = visitor.get(f"/instruments/{key}/papers/{newest['id']}")
    assert answer.content == paper
    assert answer.headers["content-type"] == "application/octet-stream"
    assert "attachment" in answer.headers["content-disposition"]
    assert ".pdf" in answer.headers["content-disposition"]
    visitor.done(f"/instruments/{key}/void", {"part": newest["id"], "reason": "wrong instrument"})
    assert newest["id"] not in {one["id"] for one in instrument_of(folder, key)["calibrations"]}


def test_a_bump_test_must_say_how_it_ended(visitor: Visitor) -> None:
    """A bump test must say how it ended."""
    key = id_of(visitor, "/instruments", "monitor-1")
    said = visitor.refused(f"/instruments/{key}/bump", {"done_by": "somebody"})
    assert "It is not said how the bump test ended" in said


def test_a_lot_is_used(visitor: Visitor) -> None:
    """A lot is used."""
    visitor.done(
        "/lots/new",
        {
            "name": "co-tubes",
            "kind": "tube",
            "analyte": "co",
            "expires": "2027-12-31",
            "stock": "10",
        },
    )
    key = id_of(visitor, "/lots", "co-tubes")
    assert "7 left" in visitor.done(f"/lots/{key}/use", {"count": "3", "why": "broken"})
    said = visitor.refused(f"/lots/{key}/use", {"count": "8", "why": "broken"})
    assert "only 7" in said


def test_a_list_takes_nothing_that_it_does_not_offer(visitor: Visitor, tmp_path: Path) -> None:
    """A list takes nothing that it does not offer."""
    secret = tmp_path / "secret.toml"
    secret.write_text("password = 'never shown'", encoding="utf-8")
    typed = {
        "name": "yard-9",
        "zone": "Europe/London",
        "limit_set": str(secret),
        "retention_years": "5",
        "second_signature": "no",
    }
    said = visitor.refused("/sites/new", typed)
    assert "is not among what can be chosen" in said
    assert "never shown" not in said


def test_what_a_list_does_not_know_is_kept(visitor: Visitor, folder: Path) -> None:
    """What a list does not know is kept."""
    from lungwort.jobs.catalogue import lot as lot_job
    from lungwort.jobs.catalogue.shape import Session

    at = Session(NOW, Where(workspace=folder), by="Wenna Harkle")
    made = lot_job.add(
        at,
        "old-tubes",
        lot_job.LotFacts(kind="tube", device="a kind of old", analyte="co", stock="4"),
    )
    form = visitor.page(f"/lots/{made.record.id}/change")
    assert '<option value="a kind of old" selected>' in form


def test_every_address_names_the_role_it_needs() -> None:
    """All may look; those who test enter what happens in use; who approves voids; others keep."""
    from lungwort.web.context import Approving, Keeping, Looking, Testing

    modules = (
        "people",
        "outlets",
        "instruments",
        "lots",
        "sites",
        "supply_assessment",
        "supply_facts",
        "welcome",
        "workspace",
    )
    testing = ("/use", "/bump", "/cartridges/new", "/hours/new", "/events/new")
    keeping = (
        *("/new", "/change", "/retire", "/assessment", "/backup", "/welcome"),
        "/stages/{stage_id}",
    )
    number = 0
    for name in modules:
        for route in importlib.import_module(f"lungwort.web.pages.{name}").router.routes:
            assert isinstance(route, APIRoute)
            role = get_type_hints(route.endpoint, include_extras=True)["ctx"]
            path = route.path
            number += 1
            if path.endswith(("/void", "/calibrate")):
                assert role == Approving, path
            elif path.endswith(testing):
                assert role == Testing, path
            elif "POST" in (route.methods or ()) or path.endswith(keeping) or "/worn/" in path:
                assert role == Keeping, path
            else:
                assert role == Looking, path
    assert number > 60
