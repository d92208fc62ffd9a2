"""``lungwort cause``: why the air went wrong."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lungwort.cli import _calculated, things
from lungwort.cli import options as opt

_WHAT = "What is looked at"


def cause(
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
        typer.Option(
            metavar="NAME",
            help="Outlet on record, or the name of the files' outlet.",
            rich_help_panel=_WHAT,
        ),
    ] = None,
    finding: Annotated[
        str | None,
        typer.Option(
            metavar="NUMBER",
            help="Finding on record, such as F-2026-0001.",
            rich_help_panel=_WHAT,
        ),
    ] = None,
    intake: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="FILE",
            help="Logger's file of the intake over the same time; repeat as needed.",
            rich_help_panel=_WHAT,
        ),
    ] = None,
    begin: Annotated[
        str | None,
        typer.Option(
            "--from",
            metavar="MOMENT",
            help="Begin of the span: the event with some hours before it.",
            rich_help_panel=_WHAT,
        ),
    ] = None,
    end: Annotated[
        str | None,
        typer.Option("--to", metavar="MOMENT", help="End of the span.", rich_help_panel=_WHAT),
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
    """Tell which causes fit the readings of bad air, with what speaks for and against each.

    A pointer to what to look at first, never a finding. Nothing is recorded. Whatever the cause,
    the air counts as bad until it was tested again and found good.

    Exit code: 0 where a cause stands out, 3 where none can be told.

    Example: lungwort cause log.csv --zone Europe/London --from "2026-03-04 06:00" --to "2026-03-04
    18:00"
    """
    from lungwort.jobs import cause as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.reading import Reading  # noqa: PLC0415 - keeps --help instant

    request = job.Request(
        files=files or (),
        intake=intake or (),
        outlet=outlet,
        finding=finding,
        begin=begin,
        end=end,
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
    made = job.cause(things.where(workspace), request, now=things.now())
    raise typer.Exit(_calculated.present(made, as_json=as_json, pdf=pdf))
