"""A run as JSON, and back without loss: so that a test goes on after a crash."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from functools import cache
from typing import TYPE_CHECKING, Any, Final

import attrs

from lungwort.errors import SpotError
from lungwort.spot.procedure_model import Procedure
from lungwort.spot.procedures import read_procedure
from lungwort.spot.run_model import Run

if TYPE_CHECKING:
    from cattrs import Converter

FORMAT: Final = "lungwort-open-test/1"
WITH_DEVICES: Final = "lungwort-open-test/2"
"""The form of a test in which devices take part; older programs would drop what they sent."""
_OF_DEVICES: Final = ("handled", "marks", "photos")
_SHIPPED: Final = "shipped"


@cache
def _converter() -> Converter:
    from cattrs import Converter  # noqa: PLC0415 - only where a run is written or read

    made = Converter(forbid_extra_keys=True)
    made.register_unstructure_hook(datetime, lambda one: one.astimezone(UTC).isoformat())
    made.register_structure_hook(datetime, lambda text, _: datetime.fromisoformat(text))
    made.register_unstructure_hook(date, lambda one: one.isoformat())
    made.register_structure_hook(date, lambda text, _: date.fromisoformat(text))
    made.register_unstructure_hook(Procedure, lambda one: {"origin": one.origin, "text": one.text})
    made.register_structure_hook(
        Procedure,
        lambda plain, _: read_procedure(
            plain["text"], plain["origin"], shipped=plain["origin"] == _SHIPPED
        ),
    )
    attrs.resolve_types(Run)
    return made


def to_json(run: Run) -> str:
    """Write a run as JSON.

    Parameters
    ----------
    run : Run
        The test.

    Returns
    -------
    str
        One JSON document.
    """
    inside = _converter().unstructure(run)
    form = WITH_DEVICES if any(inside[name] for name in _OF_DEVICES) else FORMAT
    if form == FORMAT:
        inside = {name: value for name, value in inside.items() if name not in _OF_DEVICES}
    plain: dict[str, Any] = {"format": form, "run": inside}
    return json.dumps(plain, ensure_ascii=False, indent=1) + "\n"


def from_json(text: str, name: str) -> Run:
    """Read a run that `to_json` wrote.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file, for messages.

    Returns
    -------
    Run
        Equal to the one that was written.

    Raises
    ------
    SpotError
        Where it is none, or of another form.
    """
    from cattrs import BaseValidationError  # noqa: PLC0415 - only where a run is read

    try:
        plain = json.loads(text)
        form = plain["format"]
    except (ValueError, TypeError, KeyError) as error:
        raise SpotError(
            f"{name} holds no test that is under way ({error}). It was altered or cut; begin the "
            "test anew."
        ) from error
    if form not in {FORMAT, WITH_DEVICES}:
        raise SpotError(
            f"{name} is of the form {form!r}; this version of lungwort reads {FORMAT} and "
            f"{WITH_DEVICES}. Finish the test with the version that began it."
        )
    try:
        return _converter().structure(plain["run"], Run)
    except (BaseValidationError, ValueError, TypeError, KeyError) as error:
        raise SpotError(
            f"{name} holds no whole test ({type(error).__name__}). It was altered or cut; begin the "
            "test anew."
        ) from error
