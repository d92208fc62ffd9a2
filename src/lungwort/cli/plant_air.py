"""``lungwort plant air``: whether there is enough air."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lungwort.cli import _calculated, things
from lungwort.cli import options as opt


def air(
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
    intake: Annotated[
        float | None,
        typer.Option(
            metavar="°C", help="Highest temperature at the intake in place of the sheet's."
        ),
    ] = None,
    without: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="A compressor that is out of service."),
    ] = None,
    pdf: opt.CalculationPdf = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Tell whether the compressors deliver enough air, and at which pressure it reaches the wearers.

    Exit code: 0 where there is enough, 1 where there is not, 3 where that is not proven.

    Example: lungwort plant air hall --intake 35
    """
    from lungwort.jobs import enough_air as job  # noqa: PLC0415 - keeps --help instant

    request = job.Request(supply=supply, sheet_file=sheet, intake_c=intake, without=without)
    made = job.enough_air(things.where(workspace), request, now=things.now())
    raise typer.Exit(_calculated.present(made, as_json=as_json, pdf=pdf))
