"""Plant sheets: what stands behind the outlets of a supply, kept as text and checked at every save."""

from __future__ import annotations

from typing import Annotated, Final

from fastapi import APIRouter, Query
from fastapi.responses import Response

from lungwort.errors import LungwortError, PlantError
from lungwort.jobs import plant_form as form_job
from lungwort.jobs import plant_sheet as job
from lungwort.tomlfile import file_text
from lungwort.web.context import Ctx, Keeping, Looking
from lungwort.web.forms import Field, attempt, form_page
from lungwort.web.menu import N_
from lungwort.web.pages._handing import TOML, hand_out
from lungwort.web.pages.plant_rows import sheet_form, with_certain_numbers
from lungwort.web.posted import Form

router = APIRouter()

QUESTIONS: Final = (
    ("/plant/air", N_("Is there enough air?")),
    ("/plant/reserve", N_("How long does the reserve last?")),
    ("/plant/bank", N_("How many cylinders can be filled?")),
    ("/plant/treatment", N_("How long does the treatment last?")),
)


@router.get("/plant")
def plants(ctx: Looking) -> Response:
    """Show which supplies have a plant sheet, and what can be asked of them."""
    return ctx.page("plant/plants.html", plants=job.plants(ctx.where), questions=QUESTIONS)


@router.get("/plant/form.toml")
def form_file(ctx: Looking) -> Response:
    """Hand out a plant sheet to fill in."""
    del ctx
    return hand_out(job.form_text().encode(), "plant.toml", TOML)


def _page(
    ctx: Ctx, supply_id: str, values: dict[str, str], error: LungwortError | None = None
) -> Response:
    found = job.plant_of(ctx.where, supply_id)
    known = found.sheet is not None
    return form_page(
        ctx,
        "plant/sheet.html",
        title=N_("Plant sheet"),
        fields=(
            Field(
                name="text", label=N_("The plant sheet, as TOML"), kind="area", required=not error
            ),
            Field(
                name="file",
                label=N_("Or a file in its place"),
                kind="file",
                help=N_("A plant sheet written with a text editor."),
            ),
            *(
                (
                    Field(
                        name="reason",
                        label=N_("Why it changes"),
                        option="--reason",
                        required=True,
                        help=N_("The version before stays to be seen."),
                    ),
                )
                if known
                else ()
            ),
        ),
        action=f"/plant/sheets/{supply_id}",
        submit=N_("Check and record"),
        values=values,
        error=error,
        plant=found,
    )


@router.get("/plant/sheets/{supply_id}")
def sheet(
    ctx: Looking,
    supply_id: str,
    as_: Annotated[str, Query(alias="as")] = "",
    blank: str = "",
    example: str = "",
    version: int | None = None,
) -> Response:
    """Show the plant sheet of a supply or an older version of it, and take another one."""
    if version is not None:
        return ctx.page("plant/version.html", kept=job.newest(ctx.where, supply_id, version))
    found = job.plant_of(ctx.where, supply_id)
    text = found.sheet.text if found.sheet and not blank else ""
    if as_ != "text" and ctx.may("keep"):
        draft = form_job.draft_of(text or (job.form_text() if example else ""))
        if draft is not None:
            return sheet_form(ctx, found, with_certain_numbers(draft))
        ctx.tell(
            ctx.gettext("This plant sheet holds more than the form does. Change its text instead."),
            kind="minded",
        )
    return _page(ctx, supply_id, {"text": text or job.form_text()})


@router.post("/plant/sheets/{supply_id}")
def record(ctx: Keeping, form: Form, supply_id: str) -> Response:
    """Check a plant sheet and put it on record."""

    def do() -> str:
        sent = form.file("file")
        text = form.text("text") or ""
        name = job.STANDARD_NAME
        if sent is not None:
            text, name = file_text(sent.path, job.WHAT, PlantError), sent.name
        done = job.record(ctx.session(), supply_id, text, name=name, reason=form.text("reason"))
        ctx.tell(done)
        return f"/plant/sheets/{supply_id}?as=text"

    return attempt(ctx, do, again=lambda error: _page(ctx, supply_id, form.values, error))
