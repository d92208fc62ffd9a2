"""What is looked at: how supplies stand, what is due, what is on record."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query
from fastapi.responses import Response

from lungwort.jobs import certificates, convert, due, finding, limits, status
from lungwort.web.api.shapes import Asked, Json, Name, Reader, answer

router = APIRouter(tags=["look"])


@router.get("/status", summary="How the supplies stand", response_model=Json)
def get_status(ctx: Reader, site: Asked = None, supply: Asked = None) -> Response:
    """Tell state, verdict, reasons, weakest evidence and what is due next of each supply."""
    return answer(status.as_json(status.status(ctx.where, now=ctx.now, site=site, supply=supply)))


@router.get("/due", summary="What is due and overdue", response_model=Json)
def get_due(
    ctx: Reader,
    within_days: Annotated[int | None, Query(ge=0, le=3660, description="[d]")] = None,
) -> Response:
    """List tests, calibrations, changes and expiries by day, each with its rule."""
    return answer(due.as_json(due.due(ctx.where, now=ctx.now, within_days=within_days)))


@router.get("/findings", summary="Findings, the oldest first", response_model=list[Json])
def get_findings(
    ctx: Reader, supply: Asked = None, closed: Annotated[bool, Query()] = False
) -> Response:
    """List what is wrong with a supply's air or its keeping; closed ones where asked for."""
    found = finding.list_findings(ctx.where, supply=supply, closed=closed, now=ctx.now)
    return answer([one.plain() for one in found])


@router.get("/findings/{number}", summary="One finding", response_model=Json)
def get_finding(ctx: Reader, number: Name) -> Response:
    """Give a finding with its actions, and what is lacking to close it."""
    return answer(finding.show_finding(ctx.where, number, now=ctx.now).plain())


@router.get("/certificates", summary="Certificates", response_model=list[Json])
def get_certificates(ctx: Reader, supply: Asked = None) -> Response:
    """List the certificates, voided ones too, each with its standing today."""
    found = certificates.list_certificates(ctx.where, supply=supply, now=ctx.now)
    return answer([one.plain() for one in found])


@router.get("/limit-sets", summary="Limit sets", response_model=Json)
def get_limit_sets(ctx: Reader) -> Response:  # noqa: ARG001 - only those who may look
    """List the limit sets that come with lungwort, by document."""
    return answer(limits.list_json())


@router.get("/limit-sets/{name}", summary="One limit set", response_model=Json)
def get_limit_set(
    ctx: Reader,  # noqa: ARG001 - only those who may look
    name: Annotated[str, Path(pattern=r"^[a-z0-9][a-z0-9-]{0,120}$")],
) -> Response:
    """Give each limit with its clause, source and standing."""
    return answer(limits.set_json(name))


@router.get("/convert", summary="Convert one number", response_model=Json)
def get_convert(  # noqa: PLR0917 - as many as a conversion has options
    ctx: Reader,  # noqa: ARG001 - only those who may look
    source: Annotated[str, Query(max_length=80, examples=["24 ppm"])],
    target: Annotated[str, Query(max_length=40, examples=["frost-point"])],
    kind: Asked = None,
    pressure: Asked = None,
    to_pressure: Asked = None,
    gas: Asked = None,
    at: Asked = None,
    at_pressure: Asked = None,
    temperature: Asked = None,
    volume: Asked = None,
    unit: Asked = None,
    molar_mass: Annotated[float | None, Query(gt=0, le=1000, description="[g/mol]")] = None,
    supercooled: Annotated[bool, Query()] = False,
) -> Response:
    """Convert moisture, gas, units or what a cylinder holds, with all that was taken for it."""
    made = convert.convert(
        source,
        target,
        kind=kind,
        pressure=pressure,
        to_pressure=to_pressure,
        gas=gas,
        molar_mass=molar_mass,
        at=at,
        at_pressure=at_pressure,
        temperature=temperature,
        volume=volume,
        unit=unit,
        supercooled=supercooled,
    )
    return answer(made.as_object())
