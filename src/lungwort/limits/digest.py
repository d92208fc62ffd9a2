"""The content digest of a limit set.

A record names the digest of the set that it was judged with. The digest covers everything that
decides a verdict or is shown beside it, and nothing else: neither the layout of the file, nor its
name. Numbers enter as shortest decimal strings, because two programs may print one float in two
ways.
"""

from __future__ import annotations

import hashlib
import json
from decimal import Decimal
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from lungwort.limits.model import Bound, Limit, LimitSet

FORMAT: Final = "1"
"""Version of the canonical form; it changes only when the same content would hash otherwise."""


def decimal_text(value: float) -> str:
    """Write a number as the shortest decimal that stands for it.

    Parameters
    ----------
    value : float
        A finite number, in whatever unit its owner states.

    Returns
    -------
    str
        Without exponent, without trailing zeros.

    Examples
    --------
    >>> decimal_text(5.0), decimal_text(0.1), decimal_text(-0.0), decimal_text(1e-05)
    ('5', '0.1', '0', '0.00001')
    """
    number = Decimal(repr(float(value)))
    return format(number.normalize(), "f") if number else "0"


def _bound(bound: Bound | None) -> dict[str, object] | None:
    if bound is None:
        return None
    return {"value": decimal_text(bound.value), "included": bound.included}


def _limit(limit: Limit) -> dict[str, object]:
    return {
        "key": limit.key,
        "analyte": limit.analyte,
        "quantity": limit.quantity,
        "unit": limit.unit,
        "kind": limit.kind,
        "lower": _bound(limit.lower),
        "upper": _bound(limit.upper),
        "table": [
            {"up_to_bar_g": decimal_text(row.up_to_bar_g), "upper": _bound(row.upper)}
            for row in limit.table
        ],
        "table_above_bar_g": decimal_text(limit.table_above_bar_g),
        "last_row_serves_above": limit.last_row_serves_above,
        "margin_c": None if limit.margin_c is None else decimal_text(limit.margin_c),
        "default_upper": _bound(limit.default_upper),
        "wording": limit.wording,
        "averaging": limit.averaging,
        "required": limit.required,
        "needs": limit.needs,
        "clause": limit.clause,
        "source": limit.source,
        "status": limit.status,
        "remark": limit.remark,
    }


def canonical_bytes(limit_set: LimitSet) -> bytes:
    """Write a limit set in its canonical form.

    Parameters
    ----------
    limit_set : LimitSet
        The set. Its digest and its origin do not enter.

    Returns
    -------
    bytes
        JSON in UTF-8, keys sorted, no white space, numbers as decimal strings.
    """
    content = {
        "format": FORMAT,
        "id": limit_set.id,
        "title": limit_set.title,
        "document": limit_set.document,
        "edition": limit_set.edition,
        "use": limit_set.use,
        "reference_temperature_c": decimal_text(limit_set.reference_temperature_c),
        "reference_pressure_kpa": decimal_text(limit_set.reference_pressure_kpa),
        "remarks": list(limit_set.remarks),
        "extends": limit_set.extends,
        "limits": [_limit(limit) for limit in limit_set.limits],
    }
    text = json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return text.encode("utf-8")


def content_digest(limit_set: LimitSet) -> str:
    """Compute the digest of a limit set's content.

    Parameters
    ----------
    limit_set : LimitSet
        The set; what its field ``digest`` holds does not matter.

    Returns
    -------
    str
        SHA-256 of `canonical_bytes`, lower-case hexadecimal.
    """
    return hashlib.sha256(canonical_bytes(limit_set)).hexdigest()
