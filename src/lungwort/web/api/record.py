"""What is done on what was found: withdraw, return, findings; and the head of the record."""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter
from fastapi.responses import Response
from pydantic import BaseModel, Field

from lungwort.jobs import finding, return_, withdraw
from lungwort.jobs.workspace import show as show_workspace
from lungwort.web.api.shapes import (
    Approver,
    Json,
    Name,
    Reader,
    Tester,
    answer,
)

router = APIRouter(tags=["record"])


class Withdraw(BaseModel):
    """Why a supply is withdrawn."""

    because: str = Field(max_length=4000, description="Why.")
    findings: list[str] = Field(default=[], max_length=50, description="Numbers of open findings.")
    time: str | None = Field(default=None, max_length=40, description="When; now if left out.")


class Return(BaseModel):
    """Why a supply is returned."""

    because: str = Field(default="", max_length=4000)


class Find(BaseModel):
    """Something that is wrong."""

    supply: str = Field(max_length=200)
    text: str = Field(max_length=4000)
    analytes: list[str] = Field(default=[], max_length=50)
    outlet: str | None = Field(default=None, max_length=200)
    time: str | None = Field(default=None, max_length=40)
    not_air: bool = False


class Act(BaseModel):
    """What was found out or done about a finding."""

    kind: Literal["cause", "cure", "note"]
    text: str = Field(max_length=4000)
    time: str | None = Field(default=None, max_length=40)


class Close(BaseModel):
    """Why a finding is closed."""

    text: str = Field(max_length=4000)
    not_air: bool = False


@router.post("/supplies/{name}/withdraw", summary="Withdraw a supply", response_model=Json)
def post_withdraw(ctx: Tester, name: Name, body: Withdraw) -> Response:
    """Withdraw a supply: nobody breathes its air until it is returned to service."""
    done = withdraw.withdraw(
        ctx.session(), name, body.because, findings=body.findings, time=body.time
    )
    return answer(done.plain())


@router.get("/supplies/{name}/against-return", summary="What stands against returning it")
def get_against(ctx: Reader, name: Name) -> list[str]:
    """Tell what stands against returning a supply; an empty list where nothing does."""
    return list(return_.against(ctx.where, name, now=ctx.now))


@router.post("/supplies/{name}/return", summary="Return a supply to service", response_model=Json)
def post_return(ctx: Approver, name: Name, body: Return) -> Response:
    """Return a supply to service, once nothing stands against it."""
    return answer(return_.return_supply(ctx.session(), name, body.because).plain())


@router.post("/findings", summary="Open a finding", response_model=Json)
def post_finding(ctx: Tester, body: Find) -> Response:
    """Open a finding that no verdict opened."""
    made = finding.open_finding(
        ctx.session(),
        body.supply,
        body.text,
        analytes=body.analytes,
        outlet=body.outlet,
        time=body.time,
        not_air=body.not_air,
    )
    return answer(made.plain())


@router.post(
    "/findings/{number}/actions", summary="Enter a cause, cure or note", response_model=Json
)
def post_action(ctx: Tester, number: Name, body: Act) -> Response:
    """Enter the cause of a finding, its cure, or a note."""
    made = finding.add_action(ctx.session(), number, body.kind, body.text, time=body.time)
    return answer(made.plain())


@router.post("/findings/{number}/close", summary="Close a finding", response_model=Json)
def post_close(ctx: Approver, number: Name, body: Close) -> Response:
    """Close a finding."""
    made = finding.close_finding(ctx.session(), number, body.text, not_air=body.not_air)
    return answer(made.plain())


@router.get("/workspace", summary="What the workspace holds", response_model=Json)
def get_workspace(ctx: Reader) -> Response:
    """Say what the workspace holds, with the head of its record."""
    return answer(show_workspace(ctx.where, now=ctx.now).plain)
