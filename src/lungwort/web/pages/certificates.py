"""Certificates: which there are, whether one may be shown today, and the paper as it was issued."""

from __future__ import annotations

from typing import Final
from urllib.parse import quote

from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.errors import UnknownRecordError
from lungwort.jobs import certificates as job
from lungwort.web.context import Ctx, Looking
from lungwort.web.lists import Cell, Column, Table, list_page
from lungwort.web.menu import N_
from lungwort.web.pages._handing import PDF, hand_out

router = APIRouter()

PLACE: Final = "/certificates"
_NEVER: Final = frozenset({job.NOT_NOW, job.FINDING, job.VOIDED})


def _mark(standing: str) -> str:
    if standing == job.IN_FORCE:
        return "conforms"
    return "does_not_conform" if standing in _NEVER else "not_proven"


@router.get(PLACE)
def listed(ctx: Looking) -> Response:
    """List the certificates, the newest first."""
    supply = ctx.request.query_params.get("supply", "").strip() or None
    every = job.list_certificates(ctx.where, now=ctx.now)
    found = every
    if supply is not None:
        found = tuple(one for one in every if supply in {one.certificate.supply_id, one.supply})
        if not found and ctx.find("supply", supply) is None:
            raise UnknownRecordError("There is no certificate of a supply of that name.")
    table = Table(
        key="certificates",
        columns=(
            Column("number", N_("Number")),
            Column("standing", N_("Today")),
            Column("supply", N_("Supply")),
            Column("outlet", N_("Outlet")),
            Column("issued", N_("Issued")),
            Column("by", N_("Issued by")),
            Column("next", N_("Next test by")),
        ),
        rows=tuple(_row(ctx, one) for one in reversed(found)),
        empty=N_("No certificate is on record yet. Judge an outlet, and certify what conforms."),
        file_stem="certificates",
    )
    supplies = sorted(
        {(one.certificate.supply_id, one.supply) for one in every}, key=lambda x: x[1]
    )
    return list_page(ctx, "certificates/list.html", table, supplies=supplies, supply=supply)


def _row(ctx: Ctx, one: job.CertificateShown) -> tuple[Cell, ...]:
    record = one.certificate
    day = record.next_test_by
    return (
        Cell(record.number, href=f"{PLACE}/{quote(record.number, safe='')}"),
        Cell(one.standing, mark=_mark(one.standing)),
        Cell(one.supply, href=f"/supplies/{record.supply_id}"),
        Cell(one.outlet, href=f"/outlets/{record.outlet_id}"),
        Cell(one.issued, sort=record.issued_at),
        Cell(one.by),
        Cell("" if day is None else ctx.wording.day(day), sort="" if day is None else str(day)),
    )


@router.get(PLACE + "/{number}")
def certificate(ctx: Looking, number: str) -> Response:
    """Show what a certificate says, and whether it may be shown today."""
    seen = job.show_certificate(ctx.where, number, now=ctx.now)
    return ctx.page(
        "certificates/certificate.html",
        seen=seen,
        one=seen.shown.certificate,
        mark=(
            _mark(seen.shown.standing) if seen.is_included and seen.goes_on else "does_not_conform"
        ),
    )


@router.get(PLACE + "/{number}/pdf")
def paper(ctx: Looking, number: str) -> Response:
    """Give the paper as it was issued, to be looked at or kept."""
    one, content = job.certificate_bytes(ctx.where, number)
    inline = ctx.request.query_params.get("download") is None
    return hand_out(content, f"{one.number}.pdf", PDF, inline=inline)
