"""Evidence packs: all of a supply's evidence in one archive, with its proofs."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Final

from fastapi import APIRouter
from fastapi.responses import FileResponse, Response
from starlette.background import BackgroundTask

from lungwort.errors import LungwortError
from lungwort.jobs import certificates as certificates_job
from lungwort.jobs import pack as job
from lungwort.jobs.catalogue import supply as supply_job
from lungwort.web.context import Ctx, Looking
from lungwort.web.forms import Field, form_page
from lungwort.web.menu import N_
from lungwort.web.posted import Form

router = APIRouter()

PERIOD: Final = (
    Field(
        name="begin",
        label=N_("From"),
        kind="date",
        option="--from",
        help=N_("Left empty it reaches back to the beginning."),
    ),
    Field(name="end", label=N_("To"), kind="date", option="--to-date"),
)
HEADS: Final = Field(
    name="heads",
    label=N_("Heads that the inspector holds"),
    many=True,
    option="--head",
    help=N_("One a line, as SIZE:ROOT, such as from certificates that were kept elsewhere."),
)


def supplies_field(ctx: Ctx) -> Field:
    """Make the field in which a supply is chosen."""
    listed = supply_job.listed(ctx.where, now=ctx.now, retired_too=True).plain["supplies"]
    return Field(
        name="supply",
        label=N_("Supply"),
        kind="choice",
        option="SUPPLY",
        required=True,
        groups=(("", tuple((one["id"], one.get("title") or one["name"]) for one in listed)),),
    )


def _page(
    ctx: Ctx, values: dict[str, str] | None = None, error: LungwortError | None = None
) -> Response:
    numbers = [
        one.certificate.number
        for one in reversed(certificates_job.list_certificates(ctx.where, now=ctx.now))
    ]
    certificate = Field(
        name="certificate",
        label=N_("One certificate and what it rests on"),
        kind="choice",
        option="--certificate",
        groups=(("", tuple((one, one) for one in numbers)),),
    )
    return form_page(
        ctx,
        "packs/packs.html",
        title=N_("Evidence packs"),
        fields=[supplies_field(ctx), *PERIOD, certificate, HEADS],
        action="/packs",
        submit=N_("Make the pack"),
        values=values if values is not None else dict(ctx.request.query_params),
        error=error,
    )


@router.get("/packs")
def packs(ctx: Looking) -> Response:
    """Ask what goes into a pack."""
    return _page(ctx)


@router.post("/packs")
def make(ctx: Looking, form: Form) -> Response:
    """Make a pack and hand it over; the record is not changed."""
    folder = Path(tempfile.mkdtemp(prefix="lungwort-"))
    try:
        heads = tuple(line for text in form.texts("heads") for line in text.split())
        request = job.Request(
            supply=form.text("supply") or "",
            target=folder / "pack.zip",
            begin=form.text("begin"),
            end=form.text("end"),
            certificate=form.text("certificate"),
            heads=heads,
        )
        packed = job.pack(ctx.where, request, now=ctx.now)
    except LungwortError as error:
        shutil.rmtree(folder, ignore_errors=True)
        return _page(ctx, form.values, error)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    stem = "".join(char if char.isalnum() or char in "-._" else "_" for char in packed.supply)
    return FileResponse(
        folder / "pack.zip",
        media_type="application/zip",
        filename=f"evidence-{stem}-{ctx.now:%Y-%m-%d}.zip",
        headers={"X-Pack-SHA256": packed.sha256},
        background=BackgroundTask(shutil.rmtree, folder, ignore_errors=True),
    )
