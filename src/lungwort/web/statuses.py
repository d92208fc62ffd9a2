"""Which HTTP status goes with an error, and what is said where the error is not the reader's."""

from __future__ import annotations

from http import HTTPStatus
from typing import Final

from lungwort.errors import (
    InputError,
    OutputError,
    StaleRecordError,
    UnknownRecordError,
    WorkspaceError,
)
from lungwort.web.context import NobodySignedInError, NotAllowedError

FAULT: Final = (
    "A fault in lungwort itself: what you asked was not done, and nothing here is a verdict. "
    "Try again; if it comes back, write down what you did and report it."
)
SYSTEM: Final = "The system says: {error}. Check the folder and the space on the disk."

_STATUS: Final = (
    (UnknownRecordError, HTTPStatus.NOT_FOUND),
    (StaleRecordError, HTTPStatus.CONFLICT),
    (NotAllowedError, HTTPStatus.FORBIDDEN),
    (NobodySignedInError, HTTPStatus.UNAUTHORIZED),
    (WorkspaceError, HTTPStatus.SERVICE_UNAVAILABLE),
    (InputError, HTTPStatus.UNPROCESSABLE_ENTITY),
    (OutputError, HTTPStatus.INSUFFICIENT_STORAGE),
)


def status_of(error: Exception) -> HTTPStatus:
    """Give the HTTP status that goes with an error of lungwort's.

    Parameters
    ----------
    error : Exception
        The error.

    Returns
    -------
    http.HTTPStatus
        400 or higher.
    """
    return next(
        (status for kind, status in _STATUS if isinstance(error, kind)),
        HTTPStatus.INTERNAL_SERVER_ERROR,
    )
