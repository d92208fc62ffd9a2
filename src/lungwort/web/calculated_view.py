"""A calculation as a template shows it."""

from __future__ import annotations

from typing import Any

from attrs import frozen
from markupsafe import Markup

from lungwort.paper.calculation import Calculation, Stated, shown
from lungwort.paper.calculation_sheet import (
    NOT_A_VERDICT,
    SHAPE_OF,
    grid_rows,
    left_off,
    numeric_columns,
)
from lungwort.paper.plot import NARROW, plot_svg


@frozen(kw_only=True)
class View:
    """A calculation as a template shows it.

    Parameters
    ----------
    name : str
        Under which its files are handed out.
    made : Calculation
        The calculation itself.
    key : str
        Whose shape and colour stand beside the answer.
    results, inputs : tuple of (str, str, str)
        Name, figure with unit, and where it comes from.
    plots : tuple of (str, Markup, Markup, str)
        Title, drawing for a wide and for a narrow screen, and what is seen in it.
    grids : tuple of dict
        Title, head, rows, columns of numbers, marked rows and note of each table.
    assumptions : tuple of Stated
        What was taken for granted.
    cautions : tuple of str
        What to mind.
    """

    name: str
    made: Calculation
    key: str
    results: tuple[tuple[str, str, str], ...]
    inputs: tuple[tuple[str, str, str], ...]
    plots: tuple[tuple[str, Markup, Markup, str], ...]
    grids: tuple[dict[str, Any], ...]
    assumptions: tuple[Stated, ...]
    cautions: tuple[str, ...]


def view_of(made: Calculation, name: str) -> View:
    """Prepare a calculation for a template.

    Parameters
    ----------
    made : Calculation
        The calculation.
    name : str
        Under which its files are handed out.

    Returns
    -------
    View
        What the template shows.
    """
    return View(
        name=name,
        made=made,
        key=SHAPE_OF[made.state],
        results=tuple((one.name, shown(one), one.source) for one in made.results),
        inputs=tuple((one.name, shown(one), one.source) for one in made.inputs),
        plots=tuple(
            # Drawn by us, and each text in it is escaped.
            (
                one.title,
                Markup(plot_svg(one, made.zone)),  # noqa: S704
                Markup(plot_svg(one, made.zone, width=NARROW)),  # noqa: S704
                one.says,
            )
            for one in made.plots
        ),
        grids=tuple(
            {
                "title": one.title,
                "head": one.head,
                "rows": grid_rows(one),
                "numeric": numeric_columns(one),
                "marked": one.marked,
                "note": one.note,
                "left_off": left_off(one),
            }
            for one in made.grids
        ),
        assumptions=made.assumptions,
        cautions=(*made.cautions, NOT_A_VERDICT),
    )
