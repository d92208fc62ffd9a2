"""The shapes of JSON that several addresses take and give."""

from __future__ import annotations

import json
from typing import Annotated, Any, Final

from fastapi import Depends, Path, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel, Field

from lungwort.jobs.catalogue.shape import Done
from lungwort.jobs.catalogue.shape import plain as record_plain
from lungwort.web.context import (
    APPROVE,
    KEEP,
    TEST,
    Ctx,
    Looking,
    NotAllowedError,
    needing,
)

LONGEST: Final = 400
Name = Annotated[
    str, Path(max_length=LONGEST, description="Name, number or id of the thing, as on record.")
]
Asked = Annotated[str | None, Query(max_length=LONGEST)]
Json = dict[str, Any]


class Reason(BaseModel):
    """Why something is done."""

    reason: str = Field(max_length=4000, description="Why.")


class Recorded(BaseModel):
    """What was recorded."""

    record: Json = Field(description="What is on record now.")
    said: str = Field(description="One sentence on it.")
    remarks: list[str] = Field(description="What to mind.")
    next_steps: list[str] = Field(description="What to do next.")
    outside: bool = Field(description="Whether what was recorded is outside a limit.")


def recorded(done: Done) -> Recorded:
    """Say what was recorded.

    Parameters
    ----------
    done : Done
        As a job gives it.

    Returns
    -------
    Recorded
        The same.
    """
    return Recorded(
        record=record_plain(done.record),
        said=done.said,
        remarks=list(done.remarks),
        next_steps=list(done.next_steps),
        outside=done.outside,
    )


def answer(plain: object) -> Response:
    """Give values that are JSON already, without looking at each of them again.

    Parameters
    ----------
    plain : object
        JSON values.

    Returns
    -------
    fastapi.responses.Response
        As ``application/json``.
    """
    return Response(
        json.dumps(plain, ensure_ascii=False, allow_nan=False), media_type="application/json"
    )


def by_person(role: str) -> Any:  # noqa: ANN401 - a dependency
    """Make a dependency for what a person must do, and no machine may.

    Parameters
    ----------
    role : str
        The role that is needed.

    Returns
    -------
    callable
        The dependency.
    """
    check = needing(role)

    def checked(request: Request) -> Ctx:
        ctx = check(request)
        if ctx.visit.machine is not None:
            raise NotAllowedError(
                "A machine's token reads, and brings in logs where it may; this needs a person. "
                "Sign in and do it on its page."
            )
        return ctx

    return checked


Tester = Annotated[Ctx, Depends(by_person(TEST))]
Approver = Annotated[Ctx, Depends(by_person(APPROVE))]
Keeper = Annotated[Ctx, Depends(by_person(KEEP))]
Reader = Looking
