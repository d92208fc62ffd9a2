"""``lungwort plant treatment``: how long driers and cartridges last."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lungwort.cli import _calculated, things
from lungwort.cli import options as opt


def treatment(
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
    stage: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Stage asked about; the most urgent where not given."),
    ] = None,
    until: Annotated[
        str | None,
        typer.Option(metavar="DAY", help="Day until which it shall last, like 2026-03-04."),
    ] = None,
    intake: Annotated[
        float | None,
        typer.Option(metavar="°C", help="Temperature at the intake in place of the sheet's."),
    ] = None,
    highest_water: Annotated[
        float | None,
        typer.Option(metavar="MG/M3", help="Highest water content allowed behind the treatment."),
    ] = None,
    pdf: opt.CalculationPdf = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Tell how long the treatment lasts, and by when its cartridge is to be changed.

    Exit code: 0 where it lasts until its next change, 1 where it is to be changed now, 3 where that
    is not proven.

    Example: lungwort plant treatment hall --intake 32
    """
    from lungwort.jobs import treatment as job  # noqa: PLC0415 - keeps --help instant

    request = job.Request(
        supply=supply,
        sheet_file=sheet,
        stage=stage,
        until=until,
        intake_c=intake,
        highest_water_mg_m3=highest_water,
    )
    made = job.treatment(things.where(workspace), request, now=things.now())
    raise typer.Exit(_calculated.present(made, as_json=as_json, pdf=pdf))
