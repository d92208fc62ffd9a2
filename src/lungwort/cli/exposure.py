"""``lungwort exposure``: what people have breathed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lungwort.cli import _calculated, things
from lungwort.cli import options as opt

_WHO = "Who was where"
_HOW = "How it is worked out"


def exposure(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[FILE…]",
            help="Logger's files of one outlet, joined in time; none to take what is on record.",
            show_default=False,
        ),
    ] = None,
    outlet: Annotated[
        list[str] | None,
        typer.Option(
            "--outlet",
            metavar="NAME",
            help="Outlet of the files, or an outlet on record; repeat as needed.",
            rich_help_panel=_WHO,
        ),
    ] = None,
    log: Annotated[
        list[str] | None,
        typer.Option(
            "--log",
            metavar="OUTLET=FILE",
            help="A further outlet with its logger's file; repeat as needed.",
            rich_help_panel=_WHO,
        ),
    ] = None,
    stay: Annotated[
        list[str] | None,
        typer.Option(
            "--stay",
            metavar="NAME,OUTLET,START,END,WORK",
            help="Who was on which outlet, from when to when, at rest, light, moderate, heavy or very_heavy work; repeat as needed.",
            rich_help_panel=_WHO,
        ),
    ] = None,
    stays: Annotated[
        Path | None,
        typer.Option(
            "--stays",
            metavar="FILE",
            help="Table of stays as CSV: name, outlet, start, end, work.",
            rich_help_panel=_WHO,
        ),
    ] = None,
    begin: Annotated[
        str | None,
        typer.Option(
            "--from", metavar="MOMENT", help="Begin of the worst case.", rich_help_panel=_WHO
        ),
    ] = None,
    end: Annotated[
        str | None,
        typer.Option("--to", metavar="MOMENT", help="End of the worst case.", rich_help_panel=_WHO),
    ] = None,
    limits: Annotated[
        list[str] | None,
        typer.Option(
            "--limits",
            metavar="ID|FILE",
            help="Set of exposure limits, such as uk-eh40-2020; all if not given; repeat as needed.",
            rich_help_panel=_HOW,
        ),
    ] = None,
    altitude: Annotated[
        float | None,
        typer.Option(metavar="M", help="Altitude; sea level if not given.", rich_help_panel=_HOW),
    ] = None,
    oxygen: Annotated[
        float | None,
        typer.Option(
            metavar="%", help="Oxygen in the air; 20.9 if not given.", rich_help_panel=_HOW
        ),
    ] = None,
    ambient: Annotated[
        float,
        typer.Option(
            metavar="PPM", help="CO in the air between and after the stays.", rich_help_panel=_HOW
        ),
    ] = 0.0,
    below: Annotated[
        float,
        typer.Option(
            metavar="%", help="COHb until which the time after is counted.", rich_help_panel=_HOW
        ),
    ] = 2.0,
    above: Annotated[
        float,
        typer.Option(
            metavar="PPM", help="CO above which stretches are listed.", rich_help_panel=_HOW
        ),
    ] = 5.0,
    uncertainties: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Uncertainties of the sensors of your own.", rich_help_panel=_HOW
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
    trust: opt.Trust = None,
    settle: opt.Settle = None,
    settle_gap: opt.SettleGap = None,
    pdf: opt.CalculationPdf = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Work out what people have breathed: averages against exposure limits, and CO in the blood.

    A screening estimate, never medical advice: whoever may have been exposed is sent to a doctor at
    once, whatever the number. Nothing is recorded.

    Exit code: 1 where an exposure limit was exceeded, 3 where it is not proven, else 0, which
    clears nobody.

    Example: lungwort exposure shift.csv --zone Europe/London --stay "A. Example,hall 1,2026-03-04
    08:00,2026-03-04 10:30,heavy"
    """
    from lungwort.jobs import exposure as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.reading import Reading  # noqa: PLC0415 - keeps --help instant

    request = job.Request(
        files=files or (),
        outlets=outlet or (),
        more=job.logs_of(log or ()),
        stays=stay or (),
        stays_file=stays,
        begin=begin,
        end=end,
        limits=limits or (),
        altitude_m=altitude,
        oxygen_percent=oxygen,
        ambient_ppm=ambient,
        below_percent=below,
        above_ppm=above,
        uncertainties=uncertainties,
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
            trust=trust or (),
            settle=settle,
            settle_gap=settle_gap,
        ),
    )
    made = job.exposure(things.where(workspace), request, now=things.now())
    raise typer.Exit(_calculated.present(made, as_json=as_json, pdf=pdf))
