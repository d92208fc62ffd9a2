"""What is kept of a supply: facts, stages, cartridges, hour meter, events, how often it is tested."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import evolve, frozen
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import LungwortError, UnknownRecordError
from lungwort.jobs.catalogue import lot as lot_job
from lungwort.jobs.catalogue import supply as job
from lungwort.jobs.catalogue import treatment
from lungwort.jobs.catalogue.shape import ChangedMeanwhileError, Seen
from lungwort.register.model import Stage, Supply
from lungwort.web.context import Ctx, Keeping, Looking, Testing
from lungwort.web.forms import Field, form_page
from lungwort.web.lists import Cell
from lungwort.web.menu import N_
from lungwort.web.pages._noun_pages import pages
from lungwort.web.pages._nouns import (
    NOTE,
    REASON,
    VERSION,
    Part,
    Thing,
    check_choices,
    groups_of,
    told,
    typed_values,
    version_in,
)
from lungwort.web.pages._supply_asks import STAGE, supply_asks
from lungwort.web.posted import Form, Posted

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from lungwort.jobs.catalogue.shape import Done, Section, View

PLACE: Final = "/supplies"
EVENTS: Final = (
    ("maintenance", N_("Maintenance or repair")),
    ("moved", N_("It was moved")),
    ("doubt", N_("Its air is doubted")),
    ("other", N_("Something else")),
)
WHEN: Final = Field(
    name="time",
    label=N_("When"),
    kind="moment",
    option="--time",
    help=N_("In the site's time; left empty it is now."),
)


def _shown(ctx: Ctx, name: str) -> View:
    view = job.show(ctx.where, name, now=ctx.now, history=True)
    records = [view.plain["supply"], *view.plain["history"]]
    for one in records:
        one["site"] = one["site_id"]
        if one["oil_lubricated"] is None:
            one["oil_lubricated"] = "unknown"
    return view


SUPPLIES: Final = Thing(
    kind=Supply,
    place=PLACE,
    many=N_("Supplies"),
    add=N_("Add a supply"),
    adding=N_("A new supply"),
    change=N_("Change a supply"),
    retire=N_("No longer in use"),
    back=N_("Is in use again"),
    listed=lambda ctx, retired: job.listed(ctx.where, now=ctx.now, retired_too=retired),
    shown=_shown,
    asks=supply_asks,
    facts=job.SupplyFacts,
    do_add=job.add,
    do_change=job.change,
    do_void=job.void,
    form_template="supply_facts/form.html",
    form_values=lambda _, record: {"supply_id": record.get("id", "")},
)
router = APIRouter()


@frozen(kw_only=True)
class _Entry:
    """A form that records one thing of a supply."""

    title: str
    submit: str
    path: str
    fields: Callable[[Ctx, View], tuple[Field, ...]]
    do: Callable[[Ctx, str, Posted], Done]

    def form(
        self,
        ctx: Ctx,
        supply_id: str,
        values: Mapping[str, str],
        error: LungwortError | None = None,
    ) -> Response:
        """Show the form."""
        view = _shown(ctx, supply_id)
        supply = view.plain["supply"]
        return form_page(
            ctx,
            "catalogue/form.html",
            title=self.title,
            fields=self.fields(ctx, view),
            action=f"{PLACE}/{supply['id']}/{self.path}",
            submit=self.submit,
            values=values,
            error=told(error) if error else None,
            name=supply["title"] or supply["name"],
            back=f"{PLACE}/{supply['id']}",
        )

    def take(self, ctx: Ctx, supply_id: str, form: Posted) -> Response:
        """Record what was sent in."""
        view = _shown(ctx, supply_id)
        try:
            check_choices(self.fields(ctx, view), form, {})
            done = self.do(ctx, view.plain["supply"]["id"], form)
        except LungwortError as error:
            return self.form(ctx, supply_id, form.values, error)
        ctx.tell(done)
        return ctx.go(f"{PLACE}/{view.plain['supply']['id']}")


def _add_stage(ctx: Ctx, supply_id: str, form: Posted) -> Done:
    given: dict[str, Any] = {
        ask.field.name: ask.given(text)
        for ask in STAGE
        if (text := form.text(ask.field.name)) is not None
    }
    name = given.pop("name", "")
    return treatment.stage(ctx.session(), supply_id, name, treatment.StageFacts(**given), None)


def _stage_field(ctx: Ctx, view: View) -> Field:
    stages = [one for one in view.plain["stages"] if one["in_use"]]
    return Field(
        name="stage",
        label=N_("Whose cartridge"),
        kind="choice",
        option="--stage",
        required=True,
        groups=groups_of(ctx.gettext("Stages"), ((one["name"], one["name"]) for one in stages)),
    )


def _cartridge_fields(ctx: Ctx, view: View) -> tuple[Field, ...]:
    lots = lot_job.listed(ctx.where, now=ctx.now).plain["lots"]
    return (
        _stage_field(ctx, view),
        WHEN,
        Field(
            name="hours",
            label=N_("What the hour meter showed"),
            kind="number",
            unit="h",
            option="--hours",
            help=N_("Without it the hours of the new cartridge cannot be counted."),
        ),
        Field(
            name="lot",
            label=N_("Lot of the new cartridge"),
            kind="choice",
            option="--lot",
            groups=groups_of(
                ctx.gettext("On record"),
                ((one["id"], one["name"]) for one in lots if one["kind"] in {"filter", "other"}),
            ),
            help=N_("One of it is counted as used."),
        ),
        NOTE,
    )


ENTRIES: Final = {
    "stage": _Entry(
        title=N_("A stage of treatment"),
        submit=N_("Add the stage"),
        path="stages/new",
        fields=lambda _, __: tuple(ask.field for ask in STAGE),
        do=_add_stage,
    ),
    "cartridge": _Entry(
        title=N_("Cartridge changed"),
        submit=N_("Record the change"),
        path="cartridges/new",
        fields=_cartridge_fields,
        do=lambda ctx, supply_id, form: treatment.cartridge(
            ctx.session(),
            supply_id,
            form.text("stage") or "",
            time=form.text("time"),
            hours=form.text("hours"),
            lot=form.text("lot"),
            note=form.text("note"),
        ),
    ),
    "hours": _Entry(
        title=N_("Hour meter"),
        submit=N_("Record the reading"),
        path="hours/new",
        fields=lambda _, __: (
            Field(
                name="hours",
                label=N_("It shows"),
                kind="number",
                unit="h",
                option="--hours",
                required=True,
            ),
            WHEN,
            NOTE,
        ),
        do=lambda ctx, supply_id, form: treatment.hours(
            ctx.session(),
            supply_id,
            form.text("hours") or "",
            time=form.text("time"),
            note=form.text("note"),
        ),
    ),
    "event": _Entry(
        title=N_("Something happened to it"),
        submit=N_("Record it"),
        path="events/new",
        fields=lambda _, __: (
            Field(
                name="kind",
                label=N_("Of which kind"),
                kind="choice",
                choices=EVENTS,
                option="--kind",
                required=True,
                help=N_(
                    "Each asks for a new test. If its air may be harmful, withdraw the supply as well."
                ),
            ),
            Field(
                name="what", label=N_("What happened"), kind="area", option="--what", required=True
            ),
            WHEN,
        ),
        do=lambda ctx, supply_id, form: treatment.event(
            ctx.session(),
            supply_id,
            kind=form.text("kind") or "",
            what=form.text("what"),
            time=form.text("time"),
        ),
    ),
}


@router.get(f"{PLACE}/{{supply_id}}/stages/new")
def new_stage_page(ctx: Keeping, supply_id: str) -> Response:
    """Ask for a stage of treatment."""
    return ENTRIES["stage"].form(ctx, supply_id, {})


@router.post(f"{PLACE}/{{supply_id}}/stages/new")
def new_stage(ctx: Keeping, supply_id: str, form: Form) -> Response:
    """Record a stage of treatment."""
    return ENTRIES["stage"].take(ctx, supply_id, form)


@router.get(f"{PLACE}/{{supply_id}}/cartridges/new")
def cartridge_page(ctx: Testing, supply_id: str) -> Response:
    """Ask which cartridge was changed."""
    return ENTRIES["cartridge"].form(ctx, supply_id, {})


@router.post(f"{PLACE}/{{supply_id}}/cartridges/new")
def cartridge(ctx: Testing, supply_id: str, form: Form) -> Response:
    """Record that a cartridge was changed."""
    return ENTRIES["cartridge"].take(ctx, supply_id, form)


@router.get(f"{PLACE}/{{supply_id}}/hours/new")
def hours_page(ctx: Testing, supply_id: str) -> Response:
    """Ask what the hour meter shows."""
    return ENTRIES["hours"].form(ctx, supply_id, {})


@router.post(f"{PLACE}/{{supply_id}}/hours/new")
def hours(ctx: Testing, supply_id: str, form: Form) -> Response:
    """Record what the hour meter shows."""
    return ENTRIES["hours"].take(ctx, supply_id, form)


@router.get(f"{PLACE}/{{supply_id}}/events/new")
def event_page(ctx: Testing, supply_id: str) -> Response:
    """Ask what happened to a supply."""
    return ENTRIES["event"].form(ctx, supply_id, {})


@router.post(f"{PLACE}/{{supply_id}}/events/new")
def event(ctx: Testing, supply_id: str, form: Form) -> Response:
    """Record what happened to a supply."""
    return ENTRIES["event"].take(ctx, supply_id, form)


def _stage(view: View, stage_id: str) -> Mapping[str, Any]:
    found: Mapping[str, Any] | None = next(
        (one for one in view.plain["stages"] if one["id"] == stage_id), None
    )
    if found is None:
        raise UnknownRecordError("This stage of the supply is not on record.")
    return found


def _stage_form(
    ctx: Ctx,
    supply_id: str,
    stage_id: str,
    values: Mapping[str, str] | None = None,
    error: LungwortError | None = None,
    typed: Mapping[str, str] | None = None,
) -> Response:
    view = _shown(ctx, supply_id)
    supply, stage = view.plain["supply"], _stage(view, stage_id)
    known = {
        **typed_values(stage, STAGE),
        "in_use": "yes" if stage["in_use"] else "no",
        **(values or {}),
        "version": str(stage["version"]),
    }
    fields = (
        *(ask.field for ask in STAGE),
        Field(name="in_use", label=N_("In use"), kind="yesno", option="--in-use", required=True),
        REASON,
        VERSION,
    )
    return form_page(
        ctx,
        "catalogue/form.html",
        title=N_("Change a stage of treatment"),
        fields=fields,
        action=f"{PLACE}/{supply['id']}/stages/{stage['id']}",
        submit=N_("Save as a new version"),
        values=known,
        error=told(error) if error else None,
        name=supply["title"] or supply["name"],
        back=f"{PLACE}/{supply['id']}/recorded",
        meanwhile=[
            (one.label, "", known[one.name], typed.get(one.name, "").strip())
            for one in fields
            if typed
            and one.name in known
            and typed.get(one.name, "").strip() != known[one.name]
            and one.name not in {"version", "reason"}
        ],
    )


@router.get(f"{PLACE}/{{supply_id}}/stages/{{stage_id}}")
def stage_page(ctx: Keeping, supply_id: str, stage_id: str) -> Response:
    """Ask what is different about a stage."""
    return _stage_form(ctx, supply_id, stage_id)


@router.post(f"{PLACE}/{{supply_id}}/stages/{{stage_id}}")
def change_stage(ctx: Keeping, supply_id: str, stage_id: str, form: Form) -> Response:
    """Record a new version of a stage."""
    view = _shown(ctx, supply_id)
    stage = _stage(view, stage_id)
    before = typed_values(stage, STAGE)
    given: dict[str, Any] = {
        ask.field.name: ask.given(text)
        for ask in STAGE
        if ((text := form.text(ask.field.name)) or "") != before[ask.field.name]
    }
    in_use = form.text("in_use") != "no"
    if in_use != stage["in_use"]:
        given["in_use"] = in_use
    session = evolve(ctx.session(), seen=Seen(Stage, stage["id"], version_in(form)))
    try:
        done = treatment.stage(
            session,
            view.plain["supply"]["id"],
            stage["name"],
            treatment.StageFacts(**given),
            form.text("reason"),
        )
    except ChangedMeanwhileError as error:
        return _stage_form(ctx, supply_id, stage_id, None, error, form.values)
    except LungwortError as error:
        return _stage_form(ctx, supply_id, stage_id, form.values, error)
    ctx.tell(done.said, remarks=done.remarks)
    return ctx.go(f"{PLACE}/{view.plain['supply']['id']}/recorded")


# --- what was recorded, to be changed or taken out ---------------------------------------------


@router.get(f"{PLACE}/{{supply_id}}/recorded")
def recorded(ctx: Looking, supply_id: str) -> Response:
    """List all that was recorded of a supply, each with what can be done about it."""
    view = _shown(ctx, supply_id)
    supply = view.plain["supply"]
    treated, _, *others, history = view.sections
    keeps, voids = ctx.may("keep"), ctx.may("approve")
    home = f"{PLACE}/{supply['id']}"
    parts = [
        Part(
            title=treated.title,
            headings=treated.headings,
            rows=tuple(
                (
                    Cell(row[0]),
                    Cell(row[1], href=f"{home}/stages/{one['id']}" if keeps else ""),
                    *map(Cell, row[2:]),
                )
                for row, one in zip(treated.rows, view.plain["stages"], strict=True)
            ),
            empty=N_("No stage of its treatment is on record."),
            actions=((N_("Add a stage of treatment"), f"{home}/stages/new"),) if keeps else (),
        ),
        *(_with_void(one, home, voids=voids) for one in others),
        _with_void(history, home, voids=False),
    ]
    return ctx.page(
        "supply_facts/recorded.html",
        name=supply["title"] or supply["name"],
        home=home,
        parts=parts,
        cartridges=[(one["id"], one["time"]) for one in reversed(view.plain["cartridge_changes"])][
            :10
        ]
        if voids
        else [],
    )


def _with_void(section: Section, home: str, *, voids: bool) -> Part:
    by_id = section.headings[-1] == "id"
    headings = section.headings[:-1] if by_id else section.headings
    rows = []
    for row in section.rows:
        cells = list(map(Cell, row[: len(headings)]))
        if by_id and voids:
            cells.append(
                Cell(N_("take out"), href=f"{home}/void?part={row[-1]}") if row[-1] else Cell("")
            )
        rows.append(tuple(cells))
    return Part(
        title=section.title,
        headings=(*headings, "mistake") if by_id and voids else headings,
        rows=tuple(rows),
        empty=section.empty,
        below=section.below,
    )


pages(SUPPLIES, router, shown_elsewhere=True)
