"""What a verdict was drawn from, beside the log: kept as JSON, so that it can be drawn again.

The bytes are canonical (RFC 8785) and hold every number as the shortest text that stands for it:
the same inputs give the same bytes, and the bytes give the same inputs back to the last binary
digit. The limit set is kept whole, not by name, because an edition may change or a user's file be
lost.
"""

from __future__ import annotations

import functools
import json
import types
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final, Union, get_args, get_origin

from attrs import frozen, resolve_types

from lungwort.air.interval import Interval
from lungwort.errors import InputError
from lungwort.limits.digest import content_digest
from lungwort.limits.model import Bound, Conditions, Limit, LimitSet, PressureRow
from lungwort.spot.model import SpotTest
from lungwort.verdict.decision import Uncertainties, Uncertainty
from lungwort.verdict.model import Options

if TYPE_CHECKING:
    from collections.abc import Callable

    from cattrs import Converter

FORMAT: Final = "lungwort-inputs/1"
_TIME: Final = "%Y-%m-%dT%H:%M:%S.%fZ"


@frozen
class Inputs:
    """All that a verdict was drawn from but the log.

    Parameters
    ----------
    limit_set : LimitSet
        The limits, whole.
    conditions : Conditions
        What was known of the supply.
    options : Options
        How evidence was held against limits.
    uncertainties : Uncertainties
        Expanded uncertainties.
    spots : tuple of SpotTest
        Hand tests with their doubts; none that was worked out from others.
    log_doubts : tuple of str
        Doubts about the log that came from outside of it, such as a lapsed calibration.
    channel_doubts : tuple of (str, str)
        The same for one channel of it: column name and reason.
    outlet : str
        Name of the outlet, as shown.
    reasons : tuple of str
        Reasons that stand beside those of the verdict itself, such as a test that was aborted.
    notes : tuple of str
        What the reader must be told beside what the verdict itself says.
    judged_at : datetime, optional
        When, UTC.
    zone : str
        Time zone in which times are shown.
    """

    limit_set: LimitSet
    conditions: Conditions
    options: Options
    uncertainties: Uncertainties
    spots: tuple[SpotTest, ...] = ()
    log_doubts: tuple[str, ...] = ()
    channel_doubts: tuple[tuple[str, str], ...] = ()
    outlet: str = ""
    reasons: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    judged_at: datetime | None = None
    zone: str = "UTC"


def to_bytes(inputs: Inputs) -> bytes:
    """Write inputs as canonical JSON.

    Parameters
    ----------
    inputs : Inputs
        The inputs.

    Returns
    -------
    bytes
        UTF-8.

    Raises
    ------
    InputError
        Where a time states no zone, or a text is not valid Unicode.
    """
    import rfc8785  # noqa: PLC0415 - keeps --help instant

    content = {"format": FORMAT, **_converter().unstructure(inputs, Inputs)}
    try:
        return rfc8785.dumps(content)
    except (rfc8785.CanonicalizationError, UnicodeError) as error:
        raise InputError(
            f"What the verdict was drawn from cannot be kept: {error}. Give text that is valid Unicode."
        ) from error


def from_bytes(content: bytes) -> Inputs:
    """Read inputs that `to_bytes` wrote.

    Parameters
    ----------
    content : bytes
        JSON in UTF-8.

    Returns
    -------
    Inputs
        The very same inputs.

    Raises
    ------
    InputError
        Where it is not such a file, was written by another version, or its limit set does not
        have the digest that it names.
    """
    from cattrs.errors import (  # noqa: PLC0415 - keeps --help instant
        ForbiddenExtraKeysError,
        StructureHandlerNotFoundError,
    )

    try:
        plain = json.loads(content.decode("utf-8"))
    except ValueError as error:
        raise InputError(
            f"This is not what a verdict was drawn from: it is no JSON ({error})."
        ) from error
    if not isinstance(plain, dict) or plain.pop("format", None) != FORMAT:
        raise InputError(
            f"This is not what a verdict was drawn from, or another version of lungwort wrote it: {FORMAT!r} is not named as its format."
        )
    try:
        inputs = _converter().structure(plain, Inputs)
    except (
        KeyError,
        TypeError,
        ValueError,
        AttributeError,
        InputError,
        ForbiddenExtraKeysError,
        StructureHandlerNotFoundError,
    ) as error:
        raise InputError(
            f"What the verdict was drawn from cannot be read ({type(error).__name__}: {error}). "
            "The file was altered, or another version of lungwort wrote it."
        ) from error
    named = inputs.limit_set.digest
    if named and named != content_digest(inputs.limit_set):
        raise InputError(
            f"The limit set {inputs.limit_set.id!r} that the verdict was drawn from does not have the digest that it names. "
            "The file was altered."
        )
    return inputs


def _float_out(value: float) -> str:
    return repr(float(value))


def _float_in(value: object, _: type) -> float:
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is not a number kept as text")
    return float(value)


def _time_out(value: datetime) -> str:
    if value.utcoffset() is None:
        raise InputError(f"The time {value.isoformat()} states no time zone. Add one.")
    return value.astimezone(UTC).strftime(_TIME)


def _time_in(value: str, _: type) -> datetime:
    return datetime.strptime(value, _TIME).replace(tzinfo=UTC)


def _plain_in(value: object, kind: type) -> object:
    if type(value) is not kind:
        raise TypeError(f"{value!r} is not of the kind {kind.__name__}")
    return value


def _optional(kind: object) -> bool:
    return get_origin(kind) in {Union, types.UnionType} and type(None) in get_args(kind)


@functools.cache
def _converter() -> Converter:
    from cattrs import Converter  # noqa: PLC0415 - keeps --help instant

    converter = Converter(
        forbid_extra_keys=True,
        detailed_validation=False,
        unstruct_collection_overrides={tuple: list},
    )
    kinds: list[type[Any]] = [
        *(Bound, PressureRow, Limit, LimitSet, Conditions),
        *(Interval, SpotTest, Uncertainty, Uncertainties, Options, Inputs),
    ]
    named = {one.__name__: one for one in (*kinds, datetime)}
    for one in kinds:
        resolve_types(one, localns=named)
    converter.register_unstructure_hook(float, _float_out)
    converter.register_structure_hook(float, _float_in)
    converter.register_unstructure_hook(datetime, _time_out)
    converter.register_structure_hook(datetime, _time_in)
    for plain in (str, bool):
        converter.register_structure_hook(plain, _plain_in)

    def optional_out(kind: object) -> Callable[[Any], Any]:
        # By the declared kind, so that a whole number in the place of a float is a float as well.
        (inner,) = (one for one in get_args(kind) if one is not type(None))
        hook = converter.get_unstructure_hook(inner)
        return lambda value: None if value is None else hook(value)

    converter.register_unstructure_hook_factory(_optional, optional_out)
    return converter
