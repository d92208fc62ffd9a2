"""Outlets: where air is taken and tested, and what is worn there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import LungwortError, UnknownRecordError
from lungwort.jobs.catalogue import outlet as job
from lungwort.jobs.catalogue import supply as supply_job
from lungwort.jobs.catalogue.shape import ChangedMeanwhileError, Seen
from lungwort.register.model import Outlet, WearerEquipment
from lungwort.web.context import Ctx, Keeping
from lungwort.web.forms import Field, form_page
from lungwort.web.lists import Cell
from lungwort.web.menu import N_
from lungwort.web.pages._noun_pages import pages
from lungwort.web.pages._nouns import (
    NOTE,
    REASON,
    VERSION,
    Ask,
    Part,
    Thing,
    groups_of,
    part_of,
    told,
    typed_values,
    version_in,
)
from lungwort.web.posted import Form, Posted

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from lungwort.jobs.catalogue.shape import View

PLACE: Final = "/outlets"


def _asks(ctx: Ctx, new: bool) -> tuple[Ask, ...]:
    name = Ask(
        field=Field(
            name="name",
            label=N_("Short name"),
            option="--name",
            required=True,
            help=N_("As written on its tag; without blanks, such as hall-1."),
        )
    )
    place = Ask(
        field=Field(
            name="place",
            label=N_("Where it is"),
            option="--place",
            help=N_("So that somebody who does not know the site finds it."),
        )
    )
    if not new:
        return (name, place, Ask(field=NOTE))
    found = supply_job.listed(ctx.where, now=ctx.now)
    supply = Ask(
        field=Field(
            name="supply",
            label=N_("Supply"),
            kind="choice",
            option="--supply",
            required=True,
            groups=groups_of(
                ctx.gettext("On record"),
                ((one["id"], one["title"] or one["name"]) for one in found.plain["supplies"]),
            ),
            help=N_("Whose air comes out of it."),
        )
    )
    return (supply, name, place, Ask(field=NOTE))


def _parts(ctx: Ctx, view: View) -> tuple[Part, ...]:
    outlet = view.plain["outlet"]["id"]
    worn, tests, logs, history = view.sections
    keeps = ctx.may("keep")
    return (
        Part(
            title=worn.title,
            headings=worn.headings[:-1],
            rows=tuple(
                (
                    Cell(row[0], href=f"{PLACE}/{outlet}/worn/{row[-1]}" if keeps else ""),
                    *map(Cell, row[1:-1]),
                )
                for row in worn.rows
            ),
            empty=N_("Nothing on record: a flow test here cannot be held against it."),
            actions=((N_("Add what is worn"), f"{PLACE}/{outlet}/worn/new"),) if keeps else (),
        ),
        part_of(tests, {0: lambda one: f"/tests/{one}"}),
        part_of(logs, {0: lambda one: f"/logs/{one}"}),
        part_of(history),
    )


def _actions(_ctx: Ctx, view: View) -> tuple[tuple[str, str, str], ...]:
    outlet = view.plain["outlet"]
    if not outlet["in_use"]:
        return ((N_("Readings"), f"/readings/{outlet['id']}", "look"),)
    return (
        (N_("Test here"), f"/tests/new?outlet={outlet['id']}", "test"),
        (N_("Bring in a log"), f"/logs/new?outlet={outlet['id']}", "test"),
        (N_("Judge its air"), f"/judge/{outlet['id']}", "test"),
        (N_("Readings"), f"/readings/{outlet['id']}", "look"),
        (N_("Its supply"), f"/supplies/{outlet['supply_id']}", "look"),
    )


OUTLETS: Final = Thing(
    kind=Outlet,
    place=PLACE,
    many=N_("Outlets"),
    add=N_("Add an outlet"),
    adding=N_("A new outlet"),
    change=N_("Change an outlet"),
    retire=N_("Was taken away"),
    back=N_("Is in use again"),
    listed=lambda ctx, retired: job.listed(ctx.where, retired_too=retired),
    shown=lambda ctx, name: job.show(ctx.where, name, history=True),
    asks=_asks,
    facts=job.OutletFacts,
    do_add=job.add,
    do_change=job.change,
    do_void=job.void,
    links={2: ("supply", "/supplies")},
    parts=_parts,
    actions=_actions,
)
router = APIRouter()

WORN: Final = (
    Ask(
        field=Field(
            name="name",
            label=N_("What is worn"),
            option="--name",
            required=True,
            help=N_("For example: blast helmet with hose."),
        )
    ),
    Ask(
        field=Field(
            name="minimum_flow_l_min",
            label=N_("Least flow for one wearer"),
            kind="number",
            option="--minimum-flow",
            unit="L/min",
            help=N_("By the maker's instruction. Another unit may be typed behind the number."),
        ),
        blank="none",
        unit="L/min",
    ),
    Ask(
        field=Field(
            name="lowest_pressure_bar_g",
            label=N_("Lowest pressure at the hose's inlet"),
            kind="number",
            option="--lowest-pressure",
            unit="bar(g)",
        ),
        blank="none",
        unit="bar(g)",
    ),
    Ask(
        field=Field(
            name="highest_pressure_bar_g",
            label=N_("Highest pressure at the hose's inlet"),
            kind="number",
            option="--highest-pressure",
            unit="bar(g)",
        ),
        blank="none",
        unit="bar(g)",
    ),
    Ask(
        field=Field(
            name="count",
            label=N_("Worn at once"),
            kind="number",
            option="--count",
            help=N_("How many wearers at the same time; 1 if nothing is given."),
        ),
        blank="1",
    ),
    Ask(field=NOTE),
)


def _equipment(view: View, key: str) -> Mapping[str, Any]:
    found: Mapping[str, Any] | None = next(
        (one for one in view.plain["equipment"] if one["id"] == key), None
    )
    if found is None:
        raise UnknownRecordError("Nothing of this kind is on record at this outlet any more.")
    return found


def _worn_form(
    ctx: Ctx,
    view: View,
    key: str,
    values: Mapping[str, str],
    error: LungwortError | None = None,
    meanwhile: tuple[tuple[str, str, str, str], ...] = (),
) -> Response:
    outlet = view.plain["outlet"]
    fields = [one.field for one in WORN]
    if key:
        fields += [
            Field(
                name="in_use",
                label=N_("Still worn here"),
                kind="yesno",
                option="--in-use",
                required=True,
            ),
            REASON,
            VERSION,
        ]
    return form_page(
        ctx,
        "catalogue/form.html",
        title=N_("Change what is worn here") if key else N_("What is worn here"),
        fields=fields,
        action=f"{PLACE}/{outlet['id']}/worn/{key or 'new'}",
        submit=N_("Save as a new version") if key else N_("Add it"),
        values=values,
        error=told(error) if error else None,
        name=outlet["name"],
        back=f"{PLACE}/{outlet['id']}",
        meanwhile=meanwhile,
    )


@router.get(f"{PLACE}/{{outlet_id}}/worn/new")
def new_worn_page(ctx: Keeping, outlet_id: str) -> Response:
    """Ask what is worn at an outlet."""
    return _worn_form(ctx, job.show(ctx.where, outlet_id), "", {})


@router.post(f"{PLACE}/{{outlet_id}}/worn/new")
def new_worn(ctx: Keeping, outlet_id: str, form: Form) -> Response:
    """Record what is worn at an outlet."""
    view = job.show(ctx.where, outlet_id)
    given = _given(form, {})
    name = given.pop("name", "")
    try:
        done = job.equipment(
            ctx.session(), view.plain["outlet"]["id"], name, job.EquipmentFacts(**given), None
        )
    except LungwortError as error:
        return _worn_form(ctx, view, "", form.values, error)
    ctx.tell(done.said, remarks=done.remarks)
    return ctx.go(f"{PLACE}/{view.plain['outlet']['id']}")


def _given(form: Posted, before: Mapping[str, str]) -> dict[str, Any]:
    return {
        ask.field.name: ask.given(text)
        for ask in WORN
        if ((text := form.text(ask.field.name)) or "") != before.get(ask.field.name, "").strip()
    }


@router.get(f"{PLACE}/{{outlet_id}}/worn/{{worn_id}}")
def worn_page(ctx: Keeping, outlet_id: str, worn_id: str) -> Response:
    """Ask what is different about what is worn at an outlet."""
    view = job.show(ctx.where, outlet_id)
    worn = _equipment(view, worn_id)
    return _worn_form(ctx, view, worn_id, _worn_values(worn))


def _worn_values(worn: Mapping[str, Any]) -> dict[str, str]:
    return {
        **typed_values(worn, WORN),
        "in_use": "yes" if worn["in_use"] else "no",
        "version": str(worn["version"]),
    }


@router.post(f"{PLACE}/{{outlet_id}}/worn/{{worn_id}}")
def worn(ctx: Keeping, outlet_id: str, worn_id: str, form: Form) -> Response:
    """Record a new version of what is worn at an outlet."""
    view = job.show(ctx.where, outlet_id)
    known = _equipment(view, worn_id)
    in_use = form.text("in_use") != "no"
    given = _given(form, typed_values(known, WORN))
    if in_use != known["in_use"]:
        given["in_use"] = in_use
    facts = job.EquipmentFacts(**given)
    session = evolve(ctx.session(), seen=Seen(WearerEquipment, worn_id, version_in(form)))
    try:
        done = job.equipment(
            session, view.plain["outlet"]["id"], known["name"], facts, form.text("reason")
        )
    except ChangedMeanwhileError as error:
        view = job.show(ctx.where, outlet_id)
        now = _worn_values(_equipment(view, worn_id))
        typed = form.values
        both = tuple(
            (one.field.label, "", now[name], typed.get(name, "").strip())
            for one in WORN
            if typed.get(name := one.field.name, "").strip() != now[name]
        )
        return _worn_form(ctx, view, worn_id, now, error, both)
    except LungwortError as error:
        return _worn_form(ctx, view, worn_id, form.values, error)
    ctx.tell(done.said, remarks=done.remarks)
    return ctx.go(f"{PLACE}/{view.plain['outlet']['id']}")


pages(OUTLETS, router)
