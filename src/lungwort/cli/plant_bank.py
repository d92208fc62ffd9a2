"""``lungwort plant bank``: how many cylinders a bank fills."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lungwort.cli import _calculated, things
from lungwort.cli import options as opt


def bank(
    supply: Annotated[
        str | None,
        typer.Argument(metavar="[SUPPLY]", help="Name or id of the supply.", show_default=False),
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option(
            "--sheet", metavar="FILE", help="A plant sheet in place of the one on record."
        ),
    ] = None,
    wanted: Annotated[
        int | None,
        typer.Option("--wanted", metavar="NUMBER", help="How many cylinders are to be filled."),
    ] = None,
    pdf: opt.CalculationPdf = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Tell how many cylinders a bank fills, how hot they become, and what is left in the bank.

    Exit code: 0 where as many as are wanted can be filled or none are asked for, 1 where not, 3 where
    it depends on how fast they are filled.

    Example: lungwort plant bank charging --wanted 8
    """
    from lungwort.jobs import bank as job  # noqa: PLC0415 - keeps --help instant

    request = job.Request(supply=supply, sheet_file=sheet, wanted=wanted)
    made = job.bank(things.where(workspace), request, now=things.now())
    raise typer.Exit(_calculated.present(made, as_json=as_json, pdf=pdf))
