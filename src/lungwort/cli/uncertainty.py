"""``lungwort uncertainty``: how uncertain a reading is."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lungwort.cli import _calculated, things
from lungwort.cli import options as opt


def uncertainty(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="A budget file (TOML).", show_default=False),
    ] = None,
    example: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="An invented example in place of a file: co or o2."),
    ] = None,
    budget: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Budget of the file; all of them where not given."),
    ] = None,
    instrument: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Instrument on record, whose calibrations count."),
    ] = None,
    write: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="A new file for 'lungwort judge --uncertainties' (TOML)."
        ),
    ] = None,
    write_example: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A new file with the example, to be filled in."),
    ] = None,
    pdf: opt.CalculationPdf = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Work out the uncertainty budget of a reading, for the rules of decision.

    Exit code: 0 for an estimate, 3 where a part that is needed is not known.

    Example: lungwort uncertainty budget.toml --instrument analyser-1 --write uncertainties.toml
    """
    from lungwort.jobs import budget as job  # noqa: PLC0415 - keeps --help instant

    request = job.Request(
        file=file,
        example=example,
        budget=budget,
        instrument=instrument,
        write=write,
        write_example=write_example,
    )
    made = job.uncertainty(things.where(workspace), request, now=things.now())
    raise typer.Exit(_calculated.present(made, as_json=as_json, pdf=pdf))
