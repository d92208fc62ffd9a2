"""A calculation on paper: question, answer, figures, drawings, and all that they rest on."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from lungwort.paper.calculation import (
    ESTIMATE,
    FAILS,
    HOLDS,
    NOT_PROVEN,
    Calculation,
    Grid,
    Quantity,
    as_json,
    figure,
    shown,
)
from lungwort.paper.plot import plot_svg
from lungwort.paper.sheet import Attached, set_pdf
from lungwort.paper.text import Clock, encodable, zone
from lungwort.verdict.model import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE
from lungwort.verdict.model import NOT_PROVEN as AIR_NOT_PROVEN

if TYPE_CHECKING:
    from collections.abc import Iterable

SHAPE_OF: Final = {
    HOLDS: CONFORMS,
    FAILS: DOES_NOT_CONFORM,
    NOT_PROVEN: AIR_NOT_PROVEN,
    ESTIMATE: NOT_APPLICABLE,
}
"""Which shape and colour stands beside the state of a calculation."""
NOT_A_VERDICT: Final = (
    "A calculation is no verdict on the air: whether it is fit to breathe is judged from what was "
    "measured, against the limits in force."
)


def calculation_pdf(calculation: Calculation) -> bytes:
    """Set a calculation on A4 pages.

    Parameters
    ----------
    calculation : Calculation
        What is shown.

    Returns
    -------
    bytes
        A PDF/A-3b file, the same for the same calculation, with its result attached as JSON.

    Raises
    ------
    OutputError
        Where the page could not be set.
    """
    return set_pdf(
        "calculation.typ",
        page_data(calculation),
        title=f"{calculation.title} {calculation.subject}",
        description=calculation.answer,
        dated=calculation.made_at,
        attached=Attached(
            f"lungwort-{calculation.kind}.json",
            json_text(calculation),
            "What this calculation shows, with all its figures",
        ),
    )


def json_text(calculation: Calculation) -> str:
    """Write the result of a calculation as JSON.

    Parameters
    ----------
    calculation : Calculation
        The calculation.

    Returns
    -------
    str
        JSON; numbers that have no end are null.
    """
    made = _plain(as_json(calculation))
    return json.dumps(made, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:  # noqa: ANN401 - data of any depth
    if isinstance(value, dict):
        return {encodable(str(name)): _plain(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    if isinstance(value, str):
        return encodable(value)
    if isinstance(value, bool) or value is None or isinstance(value, int):
        return value
    if isinstance(value, float):
        return value if value - value == 0.0 else None
    return encodable(str(value))


def quantity_rows(quantities: Iterable[Quantity]) -> list[list[str]]:
    """Write quantities as rows of a table: name, figure with unit, where it comes from."""
    return [[one.name, shown(one), one.source] for one in quantities]


def grid_rows(grid: Grid) -> list[list[str]]:
    """Write the rows of a table that are shown."""
    return [[figure(cell, grid.digits) for cell in row] for row in grid.rows[: grid.most]]


def numeric_columns(grid: Grid) -> list[int]:
    """Tell which columns hold numbers, to set them at the right."""
    return [
        at
        for at in range(len(grid.head))
        if grid.rows
        and all(not isinstance(row[at], str) for row in grid.rows)
        and any(row[at] is not None for row in grid.rows)
    ]


def left_off(grid: Grid) -> str:
    """Say how many rows are not shown; empty for none."""
    more = len(grid.rows) - grid.most
    return f"{more} more rows are in the attached data." if more > 0 else ""


def page_data(calculation: Calculation) -> dict[str, Any]:
    """Put together what the pages say.

    Parameters
    ----------
    calculation : Calculation
        What is shown.

    Returns
    -------
    dict
        Texts and drawings for the page template.
    """
    at = zone(calculation.zone)
    clock = Clock.for_period(at.key, calculation.made_at, calculation.made_at)
    return {
        "title": calculation.title,
        "subject": calculation.subject,
        "made": f"Worked out {clock.time(calculation.made_at)[:-3]} {clock.zone_name}",
        "key": SHAPE_OF[calculation.state],
        "word": calculation.word,
        "answer": calculation.answer,
        "reasons": calculation.reasons,
        "results": {
            "head": ["Result", "Figure", "From"],
            "rows": quantity_rows(calculation.results),
        },
        "inputs": {
            "head": ["What went in", "Figure", "From"],
            "rows": quantity_rows(calculation.inputs),
        },
        "plots": [
            {"title": one.title, "svg": plot_svg(one, calculation.zone), "says": one.says}
            for one in calculation.plots
        ],
        "grids": [
            {
                "title": one.title,
                "head": one.head,
                "rows": grid_rows(one),
                "numeric": numeric_columns(one),
                "note": " ".join(part for part in (one.note, left_off(one)) if part),
            }
            for one in calculation.grids
        ],
        "assumptions": {
            "head": ["Taken for granted", "On what ground", "What it does"],
            "rows": [[one.text, one.source, one.effect] for one in calculation.assumptions],
        },
        "uncertainty": calculation.uncertainty,
        "left_out": calculation.left_out,
        "next_steps": calculation.next_steps,
        "cautions": (*calculation.cautions, NOT_A_VERDICT),
        "sources": calculation.sources,
        "footer": f"{calculation.title} {calculation.subject}",
    }
