"""What is asked of a supply and of the stages of its treatment."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve

from lungwort.jobs.catalogue import site as site_job
from lungwort.web.forms import Field
from lungwort.web.menu import N_
from lungwort.web.pages._nouns import NOTE, Ask, groups_of
from lungwort.web.pages.sites import limit_field

if TYPE_CHECKING:
    from lungwort.web.context import Ctx

KINDS: Final = (
    ("airline-compressor", N_("Compressor for an airline")),
    ("charging-compressor", N_("Compressor that charges cylinders")),
    ("cylinder-bank", N_("Bank of cylinders")),
    ("ring-main", N_("Ring main")),
)
STAGES: Final = (
    ("separator", N_("Separator")),
    ("filter", N_("Filter")),
    ("drier", N_("Drier")),
    ("carbon", N_("Activated carbon")),
    ("catalyst", N_("Catalyst")),
    ("cartridge", N_("Cartridge")),
    ("other", N_("Something else")),
)
STAGE: Final = (
    Ask(
        field=Field(
            name="name",
            label=N_("Short name"),
            option="--name",
            required=True,
            help=N_("Without blanks, such as carbon-1."),
        )
    ),
    Ask(
        field=Field(
            name="kind",
            label=N_("What it is"),
            kind="choice",
            choices=STAGES,
            option="--kind",
            required=True,
        )
    ),
    Ask(
        field=Field(
            name="place",
            label=N_("Place in the air's way"),
            kind="number",
            option="--place",
            help=N_("1 for the first after the compressor; left empty it is the last."),
        )
    ),
    Ask(
        field=Field(
            name="change_hours",
            label=N_("Changed after"),
            kind="number",
            unit="h",
            option="--change-hours",
            help=N_("Hours of running, by its maker's instruction."),
        ),
        blank="none",
    ),
    Ask(
        field=Field(
            name="change_months",
            label=N_("Changed at the latest after"),
            kind="number",
            unit="months",
            option="--change-months",
        ),
        blank="none",
    ),
    Ask(field=NOTE),
)


def supply_asks(ctx: Ctx, new: bool) -> tuple[Ask, ...]:
    """Ask for what is kept of a supply."""
    sites = site_job.listed(ctx.where).plain["sites"]
    site = Field(
        name="site",
        label=N_("Site"),
        kind="choice",
        option="--site",
        required=True,
        groups=groups_of(
            ctx.gettext("On record"), ((one["id"], one["title"] or one["name"]) for one in sites)
        ),
        help="" if new else N_("Another site is a move, after which a new test is due."),
    )
    return (
        Ask(field=site),
        Ask(
            field=Field(
                name="name",
                label=N_("Short name"),
                option="--name",
                required=True,
                help=N_("Without blanks, such as hall-compressor."),
            )
        ),
        Ask(
            field=Field(
                name="title",
                label=N_("Full name"),
                option="--title",
                help=N_("As it stands on certificates and on the notice."),
            )
        ),
        Ask(
            field=Field(
                name="kind",
                label=N_("What it is"),
                kind="choice",
                choices=KINDS,
                option="--kind",
                required=True,
            )
        ),
        Ask(
            field=Field(
                name="maker_plate",
                label=N_("Plate"),
                option="--plate",
                help=N_("What the plate on the machine says: type, serial number, year."),
            )
        ),
        Ask(
            field=Field(
                name="oil_lubricated",
                label=N_("Is the compressor lubricated with oil?"),
                kind="choice",
                choices=(("yes", N_("Yes")), ("no", N_("No")), ("unknown", N_("Not known"))),
                option="--oil-lubricated",
                required=True,
                help=N_("What is not known is treated as yes."),
            ),
            blank="unknown",
        ),
        Ask(field=Field(name="lubricant", label=N_("Lubricant"), option="--lubricant")),
        Ask(
            field=Field(
                name="intake",
                label=N_("Draws its air from"),
                option="--intake",
                help=N_("Where the intake is, and what stands near it."),
            )
        ),
        Ask(
            field=Field(
                name="serves",
                label=N_("Serves"),
                option="--serves",
                help=N_("Who breathes its air, and at what work."),
            )
        ),
        Ask(
            field=Field(
                name="pressure_bar_g",
                label=N_("Highest supply pressure"),
                kind="number",
                unit="bar(g)",
                option="--pressure",
                help=N_(
                    "Limits on water depend on it. Another unit may be typed behind the number."
                ),
            ),
            blank="none",
            unit="bar(g)",
        ),
        Ask(
            field=Field(
                name="lowest_temperature_c",
                label=N_("Lowest temperature of the line or cylinder"),
                kind="number",
                unit="°C",
                option="--lowest-temperature",
                help=N_("In the coldest night of the year; water must not freeze there."),
            ),
            blank="none",
            unit="°C",
        ),
        Ask(
            field=evolve(
                limit_field(ctx),
                help=N_(
                    "Only where it is another than that of the site: air in cylinders has its own."
                ),
            ),
            blank="none",
        ),
        Ask(field=NOTE),
    )
