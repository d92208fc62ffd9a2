"""Sites: the places with breathing air."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve
from fastapi import APIRouter

from lungwort.jobs.catalogue import chosen, setting_up
from lungwort.jobs.catalogue import site as job
from lungwort.register.model import Site
from lungwort.web.forms import Field
from lungwort.web.lists import Cell
from lungwort.web.menu import N_
from lungwort.web.pages._noun_pages import pages
from lungwort.web.pages._nouns import NOTE, Ask, Part, Thing, groups_of, part_of

if TYPE_CHECKING:
    from lungwort.jobs.catalogue.shape import View
    from lungwort.web.context import Ctx

PLACE: Final = "/sites"
LIMITS: Final = Field(
    name="limit_set",
    label=N_("Limit set"),
    kind="choice",
    option="--limits",
    help=N_(
        "Against which the air is held. Choose the one that the law, your insurer or your customer "
        "asks for; if in doubt ask a competent person. All limits stand under Limit sets in the menu."
    ),
)


def limit_field(ctx: Ctx) -> Field:
    """Ask for a limit set, grouped by document."""
    from lungwort.jobs import limits  # noqa: PLC0415 - reads all sets

    own = setting_up.own_limit_sets(ctx.where)
    return evolve(
        LIMITS,
        groups=(
            *(((ctx.gettext("Your own"), own),) if own else ()),
            *(
                (
                    group.document,
                    tuple((one.id, f"{one.title} ({ctx.gettext(one.use)})") for one in group.sets),
                )
                for group in limits.list_sets()
            ),
        ),
    )


def _asks(ctx: Ctx, _new: bool) -> tuple[Ask, ...]:
    return (
        Ask(
            field=Field(
                name="name",
                label=N_("Short name"),
                option="--name",
                required=True,
                help=N_("Without blanks, such as north-yard."),
            )
        ),
        Ask(
            field=Field(
                name="title",
                label=N_("Full name"),
                option="--title",
                help=N_("As it stands on certificates."),
            )
        ),
        Ask(field=Field(name="address", label=N_("Address"), kind="area", option="--address")),
        Ask(
            field=Field(
                name="zone",
                label=N_("Time zone"),
                kind="choice",
                option="--zone",
                required=True,
                groups=zones(ctx),
                help=N_("Times of logs and tests are read and shown in it."),
            )
        ),
        Ask(field=limit_field(ctx), blank="none"),
        Ask(
            field=Field(
                name="plan",
                label=N_("Rule set for intervals"),
                kind="choice",
                option="--plan",
                groups=groups_of(ctx.gettext("Rule sets"), chosen.plans()),
                help=N_("How often the air is tested and how long evidence counts."),
            ),
            blank="none",
        ),
        Ask(
            field=Field(
                name="retention_years",
                label=N_("Records are kept"),
                kind="number",
                option="--retention-years",
                unit="years",
                required=True,
                help=N_("At least as long as the law where you are asks for."),
            )
        ),
        Ask(
            field=Field(
                name="second_signature",
                label=N_("Certificates need a second signature"),
                kind="yesno",
                option="--second-signature",
                required=True,
                help=N_("Then a second person looks at each certificate before it is issued."),
            )
        ),
        Ask(field=NOTE),
    )


def zones(ctx: Ctx) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """Offer the time zones, by part of the world."""
    groups: dict[str, list[tuple[str, str]]] = {}
    for name in chosen.zones():
        area, _, place = name.partition("/")
        groups.setdefault(area if place else ctx.gettext("Other"), []).append(
            (name, name.replace("_", " "))
        )
    return tuple((area, tuple(names)) for area, names in groups.items())


def _parts(ctx: Ctx, view: View) -> tuple[Part, ...]:
    supplies, history = view.sections
    site = view.plain["site"]["id"]
    rows = tuple(
        (Cell(row[0], href=f"/supplies/{record['id']}"), *map(Cell, row[1:]))
        for row, record in zip(supplies.rows, view.plain["supplies"], strict=True)
    )
    return (
        Part(
            title=supplies.title,
            headings=supplies.headings,
            rows=rows,
            empty=N_("No supply of this site is on record yet."),
            actions=((N_("Add a supply"), f"/supplies/new?site={site}"),)
            if ctx.may("keep")
            else (),
        ),
        part_of(history),
    )


SITES: Final = Thing(
    kind=Site,
    place=PLACE,
    many=N_("Sites"),
    add=N_("Add a site"),
    adding=N_("A new site"),
    change=N_("Change a site"),
    retire=N_("Was given up"),
    back=N_("Is in use again"),
    listed=lambda ctx, retired: job.listed(ctx.where, retired_too=retired),
    shown=lambda ctx, name: job.show(ctx.where, name, history=True),
    asks=_asks,
    facts=job.SiteFacts,
    do_add=job.add,
    do_change=job.change,
    do_void=job.void,
    parts=_parts,
    start=lambda _: {
        "zone": chosen.zone_of_computer(),
        "retention_years": str(job.RETENTION_YEARS),
        "second_signature": "no",
    },
)
router = APIRouter()
pages(SITES, router)
