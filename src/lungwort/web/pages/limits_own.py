"""Limit sets of one's own: written as text, checked at every save, kept in the workspace."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import LungwortError
from lungwort.jobs import own_limits as job
from lungwort.jobs.limits import list_sets, shipped_text
from lungwort.web.context import Ctx, Keeping
from lungwort.web.forms import Field, attempt, form_page
from lungwort.web.menu import N_
from lungwort.web.posted import Form

router = APIRouter()


def _page(ctx: Ctx, values: dict[str, str], error: LungwortError | None = None) -> Response:
    return form_page(
        ctx,
        "limits/own.html",
        title=N_("Limit sets of your own"),
        fields=(
            Field(name="name", label="", kind="hidden"),
            Field(
                name="text",
                label=N_("The set, as TOML"),
                kind="area",
                required=True,
                help=N_("Give it an id of its own; it becomes the name of the file."),
            ),
        ),
        action="/limits/own",
        submit=N_("Check and save"),
        values=values,
        error=error,
        own=job.listed(ctx.where),
        groups=list_sets(),
    )


@router.get("/limits/own")
def own(ctx: Keeping, start: str = "", name: str = "") -> Response:
    """Ask for a set: empty, a copy of a shipped one, or one of one's own to be changed."""
    if name:
        return _page(ctx, {"name": name, "text": job.text_of(ctx.where, name)})
    return _page(ctx, {"text": shipped_text(start) if start else ""})


@router.post("/limits/own")
def save(ctx: Keeping, form: Form) -> Response:
    """Check a set and keep it."""

    def do() -> str:
        saved = job.save(ctx.session(), form.text("text") or "", name=form.text("name"))
        ctx.tell(saved.said, remarks=saved.remarks)
        return f"/limits/own?name={saved.name}"

    return attempt(ctx, do, again=lambda error: _page(ctx, form.values, error))
