"""People: who tests, decides and signs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fastapi import APIRouter

from lungwort.jobs.catalogue import person as job
from lungwort.register.model import Person
from lungwort.web.forms import Field
from lungwort.web.menu import N_
from lungwort.web.pages._noun_pages import pages
from lungwort.web.pages._nouns import NOTE, Ask, Thing

if TYPE_CHECKING:
    from lungwort.web.context import Ctx

_ASKS: Final = (
    Ask(
        field=Field(
            name="name",
            label=N_("Name"),
            option="--name",
            required=True,
            autocomplete="off",
            help=N_("As the person signs."),
        )
    ),
    Ask(
        field=Field(
            name="role",
            label=N_("Role"),
            option="--role",
            help=N_("For example: tests by hand and fits filters."),
        )
    ),
    Ask(
        field=Field(
            name="competent_until",
            label=N_("Competent to test until"),
            kind="date",
            option="--competent-until",
            help=N_(
                "Last day of the training or authorisation. Without it a test by this person proves nothing."
            ),
        ),
        blank="none",
    ),
    Ask(field=NOTE),
)


def _asks(_ctx: Ctx, _new: bool) -> tuple[Ask, ...]:
    return _ASKS


PEOPLE: Final = Thing(
    kind=Person,
    place="/people",
    many=N_("People"),
    add=N_("Add a person"),
    adding=N_("A new person"),
    change=N_("Change what is on record of a person"),
    retire=N_("Has left"),
    back=N_("Is back"),
    listed=lambda ctx, retired: job.listed(ctx.where, retired_too=retired),
    shown=lambda ctx, name: job.show(ctx.where, name, now=ctx.now, history=True),
    asks=_asks,
    facts=job.PersonFacts,
    do_add=job.add,
    do_change=job.change,
    do_void=job.void,
    none_left=N_("Show those who have left too"),
    sorts={2: "competent_until"},
)
router = APIRouter()
pages(PEOPLE, router)
