"""``lungwort trend``: when it will go wrong."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lungwort.cli import _calculated, things
from lungwort.cli import options as opt


def trend(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[FILE…]",
            help="Logger's files of one outlet, joined in time; none to take what is on record.",
            show_default=False,
        ),
    ] = None,
    outlet: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Outlet on record, or the name of that of the files."),
    ] = None,
    limits: Annotated[
        str | None,
        typer.Option(
            metavar="ID|FILE",
            help="Limit set; that in force at the outlet if not given, none for files.",
        ),
    ] = None,
    analyte: Annotated[
        str | None,
        typer.Option(metavar="KEY", help="Only this, such as co; all with a limit if not given."),
    ] = None,
    figure: Annotated[
        str,
        typer.Option(
            metavar="p95|median|highest", help="Which figure of a day is held against the limit."
        ),
    ] = "p95",
    begin: Annotated[str | None, typer.Option("--from", metavar="DAY", help="First day.")] = None,
    end: Annotated[str | None, typer.Option("--to", metavar="DAY", help="Last day.")] = None,
    least_coverage: Annotated[
        float, typer.Option(metavar="%", help="Share of a day that must have been read.")
    ] = 20.0,
    supply_pressure: Annotated[
        str | None,
        typer.Option(
            metavar="PRESSURE",
            help="Highest supply pressure, such as '7 bar(g)', on which a limit may depend.",
        ),
    ] = None,
    lowest_temperature: Annotated[
        str | None,
        typer.Option(
            metavar="TEMPERATURE", help="Lowest temperature of the line or cylinder, such as '5 C'."
        ),
    ] = None,
    recipe: opt.Recipe = None,
    zone: opt.Zone = None,
    date_order: opt.DateOrder = None,
    decimal: opt.Decimal = None,
    delimiter: opt.Delimiter = None,
    unit: opt.Unit = None,
    column: opt.Column = None,
    ignore: opt.Ignore = None,
    missing: opt.Missing = None,
    sheet: opt.Sheet = None,
    settle: opt.Settle = None,
    settle_gap: opt.SettleGap = None,
    pdf: opt.CalculationPdf = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Tell whether readings rise or fall from day to day, and when they reach a limit.

    Exit code: 1 where the newest days are beyond a limit, 3 where there is too little to tell, else
    0, which proves nothing of tomorrow.

    Example: lungwort trend --outlet "hall 1" --analyte co
    """
    from lungwort.jobs import trend as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.reading import Reading  # noqa: PLC0415 - keeps --help instant

    request = job.Request(
        outlet=outlet,
        files=files or (),
        limits=limits,
        analyte=analyte,
        measure=figure,
        begin=begin,
        end=end,
        least_coverage_percent=least_coverage,
        supply_pressure=supply_pressure,
        lowest_temperature=lowest_temperature,
        reading=Reading(
            recipe=recipe,
            zone=zone,
            date_order=date_order,
            decimal=decimal,
            delimiter=delimiter,
            sheet=sheet,
            unit=unit or (),
            column=column or (),
            ignore=ignore or (),
            missing=missing or (),
            settle=settle,
            settle_gap=settle_gap,
        ),
    )
    made = job.trend(things.where(workspace), request, now=things.now())
    raise typer.Exit(_calculated.present(made, as_json=as_json, pdf=pdf))
