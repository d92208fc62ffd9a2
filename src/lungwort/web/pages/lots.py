"""Lots: what is used up in tests, with expiry and stock."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.air.analytes import ANALYTES
from lungwort.errors import LungwortError
from lungwort.jobs.catalogue import lot as job
from lungwort.register.model import Lot
from lungwort.web.context import Ctx, Testing
from lungwort.web.forms import Field, form_page
from lungwort.web.lists import Cell
from lungwort.web.menu import N_
from lungwort.web.pages._noun_pages import pages
from lungwort.web.pages._nouns import NOTE, Ask, Part, Thing, groups_of, part_of, told
from lungwort.web.posted import Form

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lungwort.jobs.catalogue.shape import View

PLACE: Final = "/lots"
KINDS: Final = (
    ("oil-indicator", N_("Oil indicators")),
    ("tube", N_("Detector tubes")),
    ("calibration-gas", N_("Calibration gas")),
    ("filter", N_("Filters or cartridges")),
    ("other", N_("Something else")),
)


def _asks(ctx: Ctx, _new: bool) -> tuple[Ask, ...]:
    devices = job.known_devices(ctx.where)
    return (
        Ask(
            field=Field(
                name="name",
                label=N_("Short name"),
                option="--name",
                required=True,
                help=N_("As you call the box; without blanks, such as co-tubes-2."),
            )
        ),
        Ask(
            field=Field(
                name="kind",
                label=N_("What it is"),
                kind="choice",
                option="--kind",
                choices=KINDS,
                required=True,
            )
        ),
        Ask(
            field=Field(
                name="device",
                label=N_("Kind of device"),
                kind="choice",
                option="--device",
                groups=(
                    (
                        ctx.gettext("Oil indicators"),
                        tuple((key, title) for key, title, oil in devices if oil),
                    ),
                    (
                        ctx.gettext("Detector tubes"),
                        tuple((key, title) for key, title, oil in devices if not oil),
                    ),
                ),
                help=N_(
                    "Which one it is, so that its scale and range are known. For tubes and oil indicators."
                ),
            )
        ),
        Ask(
            field=Field(
                name="analyte",
                label=N_("For"),
                kind="choice",
                option="--analyte",
                groups=groups_of(
                    ctx.gettext("What it shows"),
                    ((key, ctx.gettext(one.name)) for key, one in ANALYTES.items()),
                ),
                help=N_("Only where no kind of device is chosen."),
            ),
            blank="none",
        ),
        Ask(field=Field(name="lot_number", label=N_("Lot number"), option="--lot-number")),
        Ask(
            field=Field(
                name="expires",
                label=N_("Last day of use"),
                kind="date",
                option="--expires",
                help=N_(
                    "As printed on the box. Without it a test with a tube or an oil indicator proves nothing."
                ),
            ),
            blank="none",
        ),
        Ask(
            field=Field(
                name="stock",
                label=N_("How many there were when it came"),
                kind="number",
                option="--stock",
                required=True,
            ),
            blank="0",
        ),
        Ask(field=NOTE),
    )


def _parts(ctx: Ctx, view: View) -> tuple[Part, ...]:
    lot = view.plain["lot"]["id"]
    used, history = view.sections
    voids = ctx.may("approve")
    rows = tuple(
        (
            *map(Cell, row[:3]),
            Cell(N_("the test") if row[3] else "", href=f"/tests/{row[3]}" if row[3] else ""),
            *(
                (Cell(N_("take out"), href=f"{PLACE}/{lot}/void?part={row[-1]}"),)
                if voids and not row[3]
                else (Cell(""),)
                if voids
                else ()
            ),
        )
        for row in used.rows
    )
    return (
        Part(
            title=used.title,
            headings=(*used.headings[:4], *(("mistake",) if voids else ())),
            rows=rows,
            empty=used.empty,
        ),
        part_of(history),
    )


LOTS: Final = Thing(
    kind=Lot,
    place=PLACE,
    many=N_("Lots"),
    add=N_("Add a lot"),
    adding=N_("A new lot"),
    change=N_("Change a lot"),
    listed=lambda ctx, retired: job.listed(ctx.where, now=ctx.now, used_up_too=retired),
    shown=lambda ctx, name: job.show(ctx.where, name, now=ctx.now, history=True),
    asks=_asks,
    facts=job.LotFacts,
    do_add=job.add,
    do_change=job.change,
    do_void=job.void,
    none_left=N_("Show those that are used up too"),
    sorts={5: "expires", 6: "left"},
    parts=_parts,
    actions=lambda _, view: ((N_("Used some"), f"{PLACE}/{view.plain['lot']['id']}/use", "test"),),
)
router = APIRouter()

USE: Final = (
    Field(name="count", label=N_("How many"), kind="number", option="--count", required=True),
    Field(
        name="why",
        label=N_("What they were used for"),
        option="--why",
        required=True,
        help=N_(
            "Tests by hand count for themselves; this is for all else: broken, expired, thrown away."
        ),
    ),
    Field(
        name="time",
        label=N_("When"),
        kind="moment",
        option="--time",
        help=N_("In the site's time; left empty it is now."),
    ),
)


def _use_form(
    ctx: Ctx, view: View, values: Mapping[str, str], error: LungwortError | None = None
) -> Response:
    lot = view.plain["lot"]
    return form_page(
        ctx,
        "catalogue/form.html",
        title=N_("Used some of a lot"),
        fields=USE,
        action=f"{PLACE}/{lot['id']}/use",
        submit=N_("Record it"),
        values=values,
        error=told(error) if error else None,
        name=lot["name"],
        back=f"{PLACE}/{lot['id']}",
    )


@router.get(f"{PLACE}/{{lot_id}}/use")
def use_page(ctx: Testing, lot_id: str) -> Response:
    """Ask how many of a lot were used."""
    return _use_form(ctx, job.show(ctx.where, lot_id, now=ctx.now), {})


@router.post(f"{PLACE}/{{lot_id}}/use")
def use(ctx: Testing, lot_id: str, form: Form) -> Response:
    """Record that some of a lot were used."""
    view = job.show(ctx.where, lot_id, now=ctx.now)
    lot = view.plain["lot"]
    try:
        done = job.use(
            ctx.session(),
            lot["id"],
            form.text("count") or "",
            why=form.text("why"),
            time=form.text("time"),
        )
    except LungwortError as error:
        return _use_form(ctx, view, form.values, error)
    ctx.tell(done)
    return ctx.go(f"{PLACE}/{lot['id']}")


pages(LOTS, router)
