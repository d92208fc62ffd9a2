"""The job of looking at limit sets: which there are, what stands in one, is my own right."""

from __future__ import annotations

from importlib import resources
from itertools import groupby
from typing import TYPE_CHECKING

from attrs import frozen

from lungwort.air.analytes import ANALYTES
from lungwort.errors import LimitSetError
from lungwort.limits.load import available, limit_set, shipped_ids
from lungwort.limits.model import FROM_MEMORY, Bound, Limit, LimitSet
from lungwort.limits.resolve import check_own_copy, limit_text, not_covered, row_texts, set_cautions

if TYPE_CHECKING:
    import os


@frozen
class SetSummary:
    """One line of the list of limit sets.

    Parameters
    ----------
    id, title, use : str
        As in the set.
    limits : int
        How many limits it has.
    from_memory : int
        How many of them are from memory.
    """

    id: str
    title: str
    use: str
    limits: int
    from_memory: int


@frozen
class DocumentGroup:
    """The limit sets of one document.

    Parameters
    ----------
    document : str
        The document.
    sets : tuple of SetSummary
        Its sets.
    """

    document: str
    sets: tuple[SetSummary, ...]


@frozen
class LimitRow:
    """One limit as it is shown.

    Parameters
    ----------
    key, analyte : str
        Name of the limit, name of the analyte in running text.
    allowed : str
        What is allowed, like '≤ 5 ppm'.
    rows : tuple of (str, str)
        Pressure and bound of each row, of a pressure table.
    required : bool
        False for advice.
    needs : str
        Condition without which the limit does not apply; empty for none.
    clause, source, status, remark : str
        As in the limit.
    own_copy : str
        'check against your own copy' where the limit is from memory, else empty.
    """

    key: str
    analyte: str
    allowed: str
    rows: tuple[tuple[str, str], ...]
    required: bool
    needs: str
    clause: str
    source: str
    status: str
    remark: str
    own_copy: str


@frozen
class SetView:
    """One limit set as it is shown.

    Parameters
    ----------
    limit_set : LimitSet
        The set.
    rows : tuple of LimitRow
        Its limits.
    cautions : tuple of str
        What to mind before acting on it.
    """

    limit_set: LimitSet
    rows: tuple[LimitRow, ...]
    cautions: tuple[str, ...]


def _summary(one: LimitSet) -> SetSummary:
    memory = sum(1 for limit in one if limit.status == FROM_MEMORY)
    return SetSummary(one.id, one.title, one.use, len(one.limits), memory)


def list_sets() -> tuple[DocumentGroup, ...]:
    """List the limit sets that come with lungwort, by document.

    Returns
    -------
    tuple of DocumentGroup
        In order of the documents' names.
    """
    return tuple(
        DocumentGroup(document, tuple(_summary(one) for one in sets))
        for document, sets in groupby(available(), key=lambda one: one.document)
    )


def _row(limit: Limit) -> LimitRow:
    return LimitRow(
        key=limit.key,
        analyte=ANALYTES[limit.analyte].name,
        allowed=limit_text(limit),
        rows=row_texts(limit),
        required=limit.required,
        needs=limit.needs,
        clause=limit.clause,
        source=limit.source,
        status=limit.status,
        remark=limit.remark,
        own_copy=check_own_copy(limit),
    )


def show_set(id_or_path: str | os.PathLike[str]) -> SetView:
    """Load one limit set, shipped or a user's own, and lay it out to be shown.

    Parameters
    ----------
    id_or_path : str or path
        An id or a TOML file.

    Returns
    -------
    SetView
        The set with its rows and cautions.

    Raises
    ------
    LimitSetError
        Where the set is not known or has mistakes.
    """
    one = limit_set(id_or_path)
    return SetView(one, tuple(_row(limit) for limit in one), set_cautions(one))


def shipped_text(set_id: str) -> str:
    """Give the TOML of a set that comes with lungwort, for a copy of one's own.

    Parameters
    ----------
    set_id : str
        Its id.

    Returns
    -------
    str
        TOML.

    Raises
    ------
    LimitSetError
        Where there is none of that id.
    """
    if set_id not in shipped_ids():
        raise LimitSetError(f"There is no limit set {set_id!r}. Choose one from the list.")
    library = resources.files("lungwort.limits").joinpath("library", f"{set_id}.toml")
    return library.read_text(encoding="utf-8")


def list_json() -> dict[str, object]:
    """Give the list of limit sets as plain values for JSON.

    Returns
    -------
    dict
        ``limit_sets``: id, title, document, use, number of limits and of those from memory.
    """
    return {
        "limit_sets": [
            {
                "id": one.id,
                "title": one.title,
                "document": group.document,
                "use": one.use,
                "limits": one.limits,
                "from_memory": one.from_memory,
            }
            for group in list_sets()
            for one in group.sets
        ]
    }


def _bound_json(bound: Bound | None) -> dict[str, object] | None:
    return None if bound is None else {"value": bound.value, "included": bound.included}


def _limit_json(limit: Limit) -> dict[str, object]:
    return {
        "key": limit.key,
        "analyte": limit.analyte,
        "quantity": limit.quantity,
        "unit": limit.unit,
        "kind": limit.kind,
        "text": limit_text(limit),
        "lower": _bound_json(limit.lower),
        "upper": _bound_json(limit.upper),
        "table": [
            {"up_to_bar_g": row.up_to_bar_g, "upper": _bound_json(row.upper)} for row in limit.table
        ],
        "table_above_bar_g": limit.table_above_bar_g,
        "last_row_serves_above": limit.last_row_serves_above,
        "margin_c": limit.margin_c,
        "default_upper": _bound_json(limit.default_upper),
        "wording": limit.wording,
        "averaging": limit.averaging,
        "required": limit.required,
        "needs": limit.needs,
        "clause": limit.clause,
        "source": limit.source,
        "status": limit.status,
        "own_copy": check_own_copy(limit),
        "remark": limit.remark,
    }


def set_json(id_or_path: str | os.PathLike[str]) -> dict[str, object]:
    """Give one limit set as plain values for JSON.

    Parameters
    ----------
    id_or_path : str or path
        An id or a TOML file.

    Returns
    -------
    dict
        Everything in the set, its digest, and its cautions.

    Raises
    ------
    LimitSetError
        Where the set is not known or has mistakes.
    """
    one = limit_set(id_or_path)
    return {
        "id": one.id,
        "title": one.title,
        "document": one.document,
        "edition": one.edition,
        "use": one.use,
        "reference_temperature_c": one.reference_temperature_c,
        "reference_pressure_kpa": one.reference_pressure_kpa,
        "digest": one.digest,
        "extends": one.extends,
        "origin": one.origin,
        "remarks": list(one.remarks),
        "cautions": list(set_cautions(one)),
        "not_covered": list(not_covered(one)),
        "limits": [_limit_json(limit) for limit in one],
    }
