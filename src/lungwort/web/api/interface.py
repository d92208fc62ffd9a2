"""The app below ``/api/v1``."""

from __future__ import annotations

from typing import Final

from fastapi import FastAPI
from starlette.datastructures import State

from lungwort import __version__
from lungwort.web.api import catalogue, evidence, looking, record
from lungwort.web.api.problems import PROBLEMS, add_handlers

ABOUT: Final = """
The jobs of lungwort for machines: what the pages and the terminal do, as JSON.

A machine sends `Authorization: Bearer TOKEN`; tokens are made on the page *Accounts* and may read,
or read and bring in logs. A page of this server may use its visit's cookie, with `X-CSRF-Token` on
whatever changes something. Without accounts, on this computer alone, no token is needed to read.

Times are UTC in ISO 8601; units stand in the names of members or beside them. Errors are problem
details (RFC 9457). A verdict helps a competent person decide; it does not replace the standard
itself or local codes.
"""


def make_api(state: State) -> FastAPI:
    """Put the interface together.

    Parameters
    ----------
    state : starlette.datastructures.State
        What the app keeps: settings, workspace, visits.

    Returns
    -------
    fastapi.FastAPI
        To be mounted.
    """
    api = FastAPI(
        title="lungwort",
        version=__version__,
        description=ABOUT,
        docs_url=None,
        redoc_url=None,
        openapi_url="/openapi.json",
        responses=PROBLEMS,
        servers=[{"url": "/api/v1"}],
        root_path_in_servers=False,
    )
    api.state = state
    add_handlers(api)
    for part in (looking, catalogue, evidence, record):
        api.include_router(part.router)
    return api
