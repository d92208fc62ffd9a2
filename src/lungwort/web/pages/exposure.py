"""What people have breathed; the form is sent in, so that no name is left behind in an address."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import ExposureError
from lungwort.jobs import exposure as job
from lungwort.jobs.reading import Reading
from lungwort.web.calculated import calculated_post
from lungwort.web.context import Ctx, Looking
from lungwort.web.forms import Field
from lungwort.web.menu import N_
from lungwort.web.posted import Form, Posted

if TYPE_CHECKING:
    from lungwort.paper.calculation import Calculation

router = APIRouter()

FIELDS: Final = (
    Field(
        name="outlet",
        label=N_("Outlet on record"),
        kind="choice",
        many=True,
        option="--outlet",
        help=N_("Its readings on record are taken; or send in a logger's file below."),
    ),
    Field(
        name="files",
        label=N_("Logger's file"),
        kind="file",
        many=True,
        help=N_("Files of one outlet; they are read and not kept."),
    ),
    Field(
        name="stays",
        label=N_("Who was where"),
        kind="rows",
        option="--stay",
        help=N_(
            "A row for each stay at an outlet; where there are more, work it out, and more rows "
            "appear. Nothing for the worst case: somebody there all the time."
        ),
        columns=(
            Field(name="name", label=N_("Name")),
            Field(name="outlet", label=N_("Outlet")),
            Field(name="start", label=N_("From"), kind="moment"),
            Field(name="end", label=N_("To"), kind="moment"),
            Field(
                name="work",
                label=N_("Work"),
                kind="choice",
                choices=(
                    ("rest", N_("rest")),
                    ("light", N_("light")),
                    ("moderate", N_("moderate")),
                    ("heavy", N_("heavy")),
                    ("very_heavy", N_("very heavy")),
                ),
            ),
        ),
    ),
    Field(
        name="stays_file",
        label=N_("Table of stays"),
        kind="file",
        option="--stays",
        help=N_(
            "CSV with the headings name, outlet, start, end and work, in place of the rows; also "
            "height_m, weight_kg, sex and start_cohb_percent where they are known."
        ),
    ),
    Field(
        name="begin",
        label=N_("Begin of the worst case"),
        kind="moment",
        option="--from",
        help=N_("Only where nobody is named; the first reading where nothing is given."),
    ),
    Field(name="end", label=N_("End of the worst case"), kind="moment", option="--to"),
    Field(
        name="limits",
        label=N_("Exposure limits"),
        kind="choice",
        many=True,
        option="--limits",
        help=N_("All where none is chosen. Which of them bind you, the law of your place says."),
    ),
    Field(
        name="zone",
        label=N_("Time zone of the file"),
        option="--zone",
        help=N_("Such as Europe/London; times of the stays are read in it."),
    ),
    Field(
        name="column",
        label=N_("Column of a gas"),
        kind="area",
        option="--column",
        help=N_("Where it is not found by itself, a line each: 'co=Sensor 1'."),
    ),
    Field(
        name="unit",
        label=N_("Unit of a column"),
        kind="area",
        option="--unit",
        help=N_("Where the file does not say it, a line each: 'co=ppm'."),
    ),
    Field(
        name="trust",
        label=N_("Known to be true"),
        option="--trust",
        help=N_(
            "Gases whose readings were doubted and are known to be true, such as 'co' where the cell "
            "answered to gas after it had stood at 0."
        ),
    ),
    Field(
        name="settle",
        label=N_("Settling time"),
        option="--settle",
        help=N_("Readings in it are doubted; 30 min where nothing is given."),
    ),
    Field(name="altitude", label=N_("Altitude"), kind="number", unit="m", option="--altitude"),
    Field(
        name="oxygen",
        label=N_("Oxygen in the air breathed"),
        kind="number",
        unit="%",
        option="--oxygen",
        help=N_("20.9 % where nothing is given."),
    ),
    Field(
        name="ambient",
        label=N_("CO between and after the stays"),
        kind="number",
        unit="ppm",
        option="--ambient",
        help=N_("0 ppm where nothing is given."),
    ),
    Field(
        name="below",
        label=N_("Count the hours until the blood is below"),
        kind="number",
        unit="% COHb",
        option="--below",
        help=N_("2 % where nothing is given."),
    ),
    Field(
        name="above",
        label=N_("List stretches above"),
        kind="number",
        unit="ppm CO",
        option="--above",
        help=N_("5 ppm where nothing is given."),
    ),
)
_SELDOM: Final = frozenset(
    {
        "stays_file",
        "column",
        "unit",
        "trust",
        "settle",
        "altitude",
        "oxygen",
        "ambient",
        "below",
        "above",
    }
)


@router.get("/exposure")
def ask(ctx: Looking) -> Response:
    """Ask who breathed what, and where."""
    return _page(ctx, None)


@router.post("/exposure")
def exposure(ctx: Looking, form: Form) -> Response:
    """Show what was breathed; nothing is recorded."""
    return _page(ctx, form)


def _page(ctx: Ctx, form: Posted | None) -> Response:
    from lungwort.jobs.hand_test_pages import beginning  # noqa: PLC0415 - only here
    from lungwort.wearers.exposure_limits import IDLH_SET, shipped_ids  # noqa: PLC0415 - only here

    places = tuple(
        (one.outlet_id, f"{one.supply} · {one.outlet}") for one in beginning(ctx.where).places
    )
    wanted = ctx.request.query_params.getlist("outlet") if form is None else ()
    for one in dict.fromkeys(wanted):
        if one not in dict(places):
            # A finding may lead to an outlet that is no longer in use; one that never was is refused.
            places = (*places, (one, job.outlet_name(ctx.where, one)))
    names = tuple(dict.fromkeys(one.outlet for one in beginning(ctx.where).places))
    sets = tuple((one, one) for one in shipped_ids() if one != IDLH_SET)
    choices = {"outlet": places, "limits": sets}
    return calculated_post(
        ctx,
        form,
        title=N_("What was breathed?"),
        lead=N_(
            "After bad air: averages against exposure limits, and carboxyhaemoglobin as a screening "
            "estimate. Whoever may have been exposed is sent to a doctor at once, whatever the number."
        ),
        fields=tuple(
            evolve(one, choices=choices[one.name])
            if one.name in choices
            else _with_outlets(one, names)
            for one in FIELDS
        ),
        action="/exposure",
        submit=N_("Work it out"),
        work=lambda sent: _worked_out(ctx, sent),
        seldom=_SELDOM,
    )


def _with_outlets(asked: Field, names: tuple[str, ...]) -> Field:
    """Propose the outlets on record where the rows ask for one."""
    proposals = tuple((one, one) for one in names)
    return evolve(
        asked,
        columns=tuple(
            evolve(one, choices=proposals) if one.name == "outlet" else one for one in asked.columns
        ),
    )


def _worked_out(ctx: Ctx, sent: Posted) -> Calculation:
    return job.exposure(ctx.where, request_of(sent), now=ctx.now)


def request_of(sent: Posted) -> job.Request:
    """Take what was sent in.

    Parameters
    ----------
    sent : Posted
        The form.

    Returns
    -------
    Request
        What is asked.

    Raises
    ------
    ExposureError
        Where a number cannot be read, both a file and an outlet were given, or a set of limits is none that comes with lungwort.
    """
    from lungwort.wearers.exposure_limits import shipped_ids  # noqa: PLC0415 - only here
    from lungwort.wearers.stays import COLUMNS  # noqa: PLC0415 - only here

    limits = sent.texts("limits")
    for one in limits:
        # A name that was sent in must never become a path on the server.
        if one not in shipped_ids():
            raise ExposureError(f"--limits {one!r} is not known. Choose one of the list.")
    files = tuple(one.path for one in sent.files.get("files", ()))
    outlets = sent.texts("outlet")
    if files and outlets:
        raise ExposureError(
            "--outlet: an outlet on record was chosen, and a logger's file was sent in. Take one of "
            "the two; the stays name the outlet of the file."
        )
    table = sent.file("stays_file")
    return job.Request(
        files=files,
        outlets=outlets,
        stays=(*sent.rows("stays", COLUMNS), *sent.lines("stays")),
        stays_file=None if table is None else table.path,
        begin=sent.text("begin"),
        end=sent.text("end"),
        limits=limits,
        altitude_m=_number(sent, "altitude"),
        oxygen_percent=_number(sent, "oxygen"),
        ambient_ppm=_number(sent, "ambient") or 0.0,
        below_percent=_number(sent, "below", 2.0) or 0.0,
        above_ppm=_number(sent, "above", 5.0) or 0.0,
        reading=Reading(
            zone=sent.text("zone"),
            unit=sent.lines("unit"),
            column=sent.lines("column"),
            trust=tuple((sent.text("trust") or "").replace(",", " ").lower().split()),
            settle=sent.text("settle"),
        ),
    )


def _number(sent: Posted, name: str, usual: float | None = None) -> float | None:
    text = sent.text(name)
    if text is None:
        return usual
    try:
        return float(text)
    except ValueError:
        raise ExposureError(f"--{name} {text!r} is no number. Write it like 12.5.") from None
