"""``lungwort plant reserve``: how long the air lasts when the compressor stops."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lungwort.cli import _calculated, things
from lungwort.cli import options as opt


def reserve(
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
    escape: Annotated[
        float | None,
        typer.Option(
            "--escape", metavar="MINUTES", help="Time to get to safe air, in place of the sheet's."
        ),
    ] = None,
    pdf: opt.CalculationPdf = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Tell how long the air lasts when the compressor stops, against the time to get out.

    Exit code: 0 where it is long enough, 1 where it is too short, 3 where that is not proven.

    Example: lungwort plant reserve hall --escape 10
    """
    from lungwort.jobs import reserve as job  # noqa: PLC0415 - keeps --help instant

    request = job.Request(supply=supply, sheet_file=sheet, escape_min=escape)
    made = job.reserve(things.where(workspace), request, now=things.now())
    raise typer.Exit(_calculated.present(made, as_json=as_json, pdf=pdf))
