"""The first set-up: from nothing to a first test, in a few screens that can be left at any time."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from attrs import frozen
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import InputError, LungwortError
from lungwort.jobs import workspace as workspace_job
from lungwort.jobs.catalogue import setting_up
from lungwort.web.context import Ctx, Keeping, NotAllowedError
from lungwort.web.forms import Field, form_page
from lungwort.web.menu import N_
from lungwort.web.posted import Form

if TYPE_CHECKING:
    from collections.abc import Mapping

router = APIRouter()

PLACE: Final = "/welcome"
FIRST: Final = (
    Field(
        name="person",
        label=N_("Your name"),
        option="--person",
        required=True,
        autocomplete="name",
        help=N_("As you sign. You answer for the air until you say otherwise."),
    ),
    Field(
        name="name",
        label=N_("Name of the workplace"),
        option="--name",
        required=True,
        autocomplete="organization",
        help=N_("What this record is called: the firm, the yard, the brigade."),
    ),
    Field(
        name="folder",
        label=N_("Folder on this computer"),
        option="--workspace",
        required=True,
        help=N_("Everything is kept here. It must be new or empty. If in doubt, leave it."),
    ),
)


@frozen(kw_only=True)
class _Screen:
    """How one step of the set-up is shown."""

    heading: str
    why: str
    add: str
    more: str
    place: str
    optional: bool = False


SCREENS: Final = {
    "site": _Screen(
        heading=N_("Your site"),
        why=N_(
            "Where the air is breathed: its time zone, the limits that hold, how long records are kept."
        ),
        add=N_("Enter the site"),
        more=N_("Another site"),
        place="/sites",
    ),
    "supply": _Screen(
        heading=N_("Your supply"),
        why=N_("Where the air comes from: a compressor, a bank of cylinders, a ring main."),
        add=N_("Enter the supply"),
        more=N_("Another supply"),
        place="/supplies",
    ),
    "outlet": _Screen(
        heading=N_("Its outlets"),
        why=N_("Where hoses are plugged in or cylinders are filled: air is tested there."),
        add=N_("Enter an outlet"),
        more=N_("Another outlet"),
        place="/outlets",
    ),
    "instrument": _Screen(
        heading=N_("What measures"),
        why=N_("Your monitor or logger, with what it measures and its newest calibration."),
        add=N_("Enter an instrument"),
        more=N_("Another instrument"),
        place="/instruments",
    ),
    "lot": _Screen(
        heading=N_("Oil indicators and detector tubes"),
        why=N_("What is used up in a test by hand, with its last day of use."),
        add=N_("Enter a lot"),
        more=N_("Another lot"),
        place="/lots",
        optional=True,
    ),
    "person": _Screen(
        heading=N_("People"),
        why=N_("Who tests and who signs, and until when each is competent to test."),
        add=N_("Add a person"),
        more=N_("Another person"),
        place="/people",
    ),
}


@router.get(PLACE)
def welcome(ctx: Keeping) -> Response:
    """Begin the set-up, or go on with it."""
    if ctx.request.app.state.workspace is None:
        return _begin(ctx, {"folder": str(ctx.settings.start_folder)})
    steps = setting_up.steps(ctx.where, now=ctx.now)
    following = next(
        (one for one in steps if not one.done and not SCREENS[one.kind].optional), None
    )
    return ctx.page(
        "welcome/steps.html",
        steps=[(one, SCREENS[one.kind]) for one in steps],
        following=following,
        ready=following is None,
        # What a test with any other thing on record would prove, the thing's own line says.
        lacking=any(
            all(thing.lacks for thing in one.things)
            for one in steps
            if one.things and one.kind in {"site", "instrument", "person"}
        ),
    )


def _begin(ctx: Ctx, values: Mapping[str, str], error: LungwortError | None = None) -> Response:
    if not ctx.settings.on_loopback:
        raise NotAllowedError(
            "A first workspace is made on the computer itself, not over the network. Start lungwort "
            "there and open the page there."
        )
    return form_page(
        ctx,
        "welcome/begin.html",
        title=N_("Welcome"),
        fields=FIRST,
        action=PLACE,
        submit=N_("Begin"),
        values=values,
        error=error,
    )


@router.post(PLACE)
def begin(ctx: Keeping, form: Form) -> Response:
    """Make the first workspace, with the person who sits here."""
    state = ctx.request.app.state
    if state.workspace is not None:
        return ctx.go(PLACE)
    if not ctx.settings.on_loopback:
        return _begin(ctx, form.values)
    try:
        folder = _folder(form.text("folder"))
        made = workspace_job.create(
            folder, name=form.text("name") or "", person=form.text("person") or "", now=ctx.now
        )
    except LungwortError as error:
        return _begin(ctx, form.values, error)
    state.workspace = made.folder
    people = [one for one in setting_up.steps(ctx.where, now=ctx.now) if one.kind == "person"]
    ctx.visit.person = people[0].things[0].name
    state.visits.save(ctx.visit)
    ctx.tell(made.said)
    return ctx.go(PLACE)


def _folder(text: str | None) -> Path:
    if not text:
        raise InputError("No folder is given. Give --workspace.")
    if not text.isprintable():
        raise InputError(f"--workspace {text!r} holds characters that no folder's name has.")
    try:
        folder = Path(text).expanduser()
    except RuntimeError as error:
        raise InputError(f"--workspace {text!r}: {error}") from error
    if not folder.is_absolute():
        raise InputError(
            f"--workspace {text!r} does not say where on this computer it is. Give the whole path, "
            "from its beginning."
        )
    return folder
