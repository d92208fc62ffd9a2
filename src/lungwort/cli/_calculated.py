"""How a calculation looks in the terminal, and how it is written as JSON or PDF."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Final

from lungwort.paper.calculation import ESTIMATE, FAILS, HOLDS, NOT_PROVEN

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from rich.console import Console

    from lungwort.paper.calculation import Calculation, Grid, Quantity

EXIT: Final = {HOLDS: 0, ESTIMATE: 0, FAILS: 1, NOT_PROVEN: 3}
_MARK: Final = {HOLDS: "●", FAILS: "✕", NOT_PROVEN: "?", ESTIMATE: "–"}
_STYLE: Final = {
    HOLDS: "bold green",
    FAILS: "bold red",
    NOT_PROVEN: "bold yellow",
    ESTIMATE: "bold",
}


def present(calculation: Calculation, *, as_json: bool = False, pdf: Path | None = None) -> int:
    """Show a calculation, write its PDF where one is asked for, and give the exit code.

    Parameters
    ----------
    calculation : Calculation
        What is shown.
    as_json : bool
        Whether to write JSON in place of words.
    pdf : Path, optional
        Where a PDF is written.

    Returns
    -------
    int
        0 where what was asked for holds or nothing is held against it, 1 where it fails, 3 where
        it is not proven.

    Raises
    ------
    OutputError
        Where the PDF cannot be written.
    """
    if pdf is not None:
        from lungwort.jobs.calculated import write_pdf  # noqa: PLC0415 - keeps --help instant

        write_pdf(calculation, pdf)
    if as_json:
        from lungwort.paper.calculation_sheet import json_text  # noqa: PLC0415 - keeps --help instant

        sys.stdout.write(json_text(calculation))
    else:
        _show(calculation, pdf)
    return EXIT[calculation.state]


def _show(made: Calculation, pdf: Path | None) -> None:
    from rich.panel import Panel  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.calculation_sheet import NOT_A_VERDICT  # noqa: PLC0415 - keeps --help instant

    out, style = show.console(), _STYLE[made.state]
    head = Text.assemble((f"{_MARK[made.state]} {made.word.upper()}", style), f"\n{made.answer}")
    title = Text(f"{made.title} {made.subject}".strip())
    out.print(Panel(head, title=title, title_align="left", border_style=style))
    _listed(out, "Why", made.reasons)
    _listed(out, "Next", made.next_steps)
    _quantities(out, "Results", made.results)
    for grid in made.grids:
        _grid(out, grid)
    for plot in made.plots:
        if plot.says:
            _listed(out, plot.title, (plot.says,))
    _quantities(out, "What went in", made.inputs)
    _listed(
        out,
        "Taken for granted",
        [
            "; ".join(
                part
                for part in (
                    f"{one.text.rstrip('.')} ({one.source})" if one.source else one.text,
                    one.effect,
                )
                if part
            )
            for one in made.assumptions
        ],
    )
    _listed(out, "How far it can be trusted", (made.uncertainty,) if made.uncertainty else ())
    _listed(out, "Not taken into account", made.left_out)
    _listed(out, "Sources", made.sources)
    _listed(out, "Before you act on this", (*made.cautions, NOT_A_VERDICT))
    if pdf is not None:
        out.print()
        out.print(Text(f"Written: {pdf}"), soft_wrap=True)


def _heading(out: Console, text: str) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    out.print()
    out.print(Text(text, style="bold"))


def _listed(out: Console, heading: str, texts: Sequence[str]) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    if not texts:
        return
    _heading(out, heading)
    table = Table.grid(padding=(0, 1, 0, 0))
    for text in texts:
        table.add_row(Text("·"), Text(text))
    out.print(Padding(table, (0, 0, 0, 2)))


def _quantities(out: Console, heading: str, quantities: Sequence[Quantity]) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.paper.calculation import shown  # noqa: PLC0415 - keeps --help instant

    if not quantities:
        return
    _heading(out, heading)
    table = Table.grid(padding=(0, 2, 0, 0))
    for one in quantities:
        table.add_row(Text(one.name), Text(shown(one)), Text(one.source, style="dim"))
    out.print(Padding(table, (0, 0, 0, 2)))


def _grid(out: Console, grid: Grid) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.paper.calculation_sheet import (  # noqa: PLC0415 - keeps --help instant
        grid_rows,
        left_off,
        numeric_columns,
    )

    if not grid.rows:
        return
    _heading(out, grid.title)
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold", pad_edge=False)
    numeric = numeric_columns(grid)
    for at, name in enumerate(grid.head):
        table.add_column(Text(name), overflow="fold", justify="right" if at in numeric else "left")
    for at, row in enumerate(grid_rows(grid)):
        style = "bold" if at in grid.marked else ""
        table.add_row(*(Text(cell, style=style) for cell in row))
    out.print(Padding(table, (0, 0, 0, 2)))
    for text in (grid.note, left_off(grid).replace("attached data", "JSON")):
        if text:
            out.print(Padding(Text(text, style="dim"), (0, 0, 0, 2)))
