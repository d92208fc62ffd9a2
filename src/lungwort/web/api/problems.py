"""Errors as problem details.

References
----------
RFC 9457, Problem Details for HTTP APIs.
"""

from __future__ import annotations

import logging
from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException

from lungwort.errors import AmbiguityError, LogError, LungwortError
from lungwort.web.statuses import FAULT, SYSTEM, status_of

LOG: Final = logging.getLogger("lungwort.web.api")
MEDIA: Final = "application/problem+json"


class Problem(BaseModel):
    """Why something was not done."""

    type: str = Field(default="about:blank", description="Always `about:blank`: see the status.")
    title: str = Field(description="The status in words.")
    status: int = Field(description="The HTTP status.")
    detail: str = Field(description="What was found, where, and what to do.")
    choices: list[str] | None = Field(
        default=None, description="Ways in which a file can be read, where it can be read in more."
    )
    file: str | None = Field(default=None, description="The file that was not understood.")
    line: int | None = Field(default=None, description="Its line, from 1.")
    column: str | None = Field(default=None, description="Its column.")
    fields: list[str] | None = Field(
        default=None, description="What in the request could not be used."
    )


PROBLEMS: Final[dict[int | str, dict[str, Any]]] = {
    int(status): {
        "description": words,
        "model": Problem,
        "content": {MEDIA: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
    for status, words in (
        (HTTPStatus.BAD_REQUEST, "The request could not be read."),
        (HTTPStatus.UNAUTHORIZED, "Nobody is signed in, or the token is not known."),
        (HTTPStatus.FORBIDDEN, "Who asks may not do this."),
        (HTTPStatus.NOT_FOUND, "No such thing is on record."),
        (HTTPStatus.CONFLICT, "Somebody changed it meanwhile."),
        (HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "What was sent is too large."),
        (HTTPStatus.UNPROCESSABLE_ENTITY, "What was given cannot be used."),
    )
}
"""What any address may answer with, for the OpenAPI document."""


def problem(status: HTTPStatus | int, detail: str, **more: Any) -> JSONResponse:  # noqa: ANN401 - members of a problem
    """Make a problem.

    Parameters
    ----------
    status : http.HTTPStatus or int
        The status.
    detail : str
        What was found and what to do.
    more : object
        Further members.

    Returns
    -------
    fastapi.responses.JSONResponse
        As ``application/problem+json``.
    """
    found = HTTPStatus(status)
    told = Problem(title=found.phrase, status=int(found), detail=detail, **more)
    return JSONResponse(
        told.model_dump(exclude_none=True), status_code=int(found), media_type=MEDIA
    )


def add_handlers(api: FastAPI) -> None:
    """Let an app tell its errors as problems.

    Parameters
    ----------
    api : fastapi.FastAPI
        The app.
    """
    api.add_exception_handler(LungwortError, _refused)
    api.add_exception_handler(RequestValidationError, _unreadable)
    api.add_exception_handler(HTTPException, _http)
    api.add_exception_handler(OSError, _system)
    api.add_exception_handler(Exception, _fault)


def _refused(_: Request, error: Exception) -> JSONResponse:
    more: dict[str, Any] = {}
    if isinstance(error, LogError):
        more = {"file": error.file, "line": error.line, "column": error.column}
    if isinstance(error, AmbiguityError):
        more["choices"] = list(error.choices)
    return problem(status_of(error), str(error), **more)


def _unreadable(_: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)  # noqa: S101 - registered for this class alone
    fields = [
        f"{'.'.join(str(part) for part in one['loc'])}: {one['msg']}" for one in error.errors()
    ]
    return problem(
        HTTPStatus.UNPROCESSABLE_ENTITY,
        "The request does not have the form that the OpenAPI document says. Nothing was done.",
        fields=fields,
    )


def _http(_: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, HTTPException)  # noqa: S101 - registered for this class alone
    answer = problem(error.status_code, str(error.detail))
    answer.headers.update(dict(error.headers or {}))
    return answer


def _system(request: Request, error: Exception) -> JSONResponse:
    LOG.error("%s %s", request.method, request.url.path, exc_info=error)
    return problem(HTTPStatus.INSUFFICIENT_STORAGE, SYSTEM.format(error=error))


def _fault(request: Request, error: Exception) -> JSONResponse:
    LOG.error("%s %s", request.method, request.url.path, exc_info=error)
    return problem(HTTPStatus.INTERNAL_SERVER_ERROR, FAULT)
