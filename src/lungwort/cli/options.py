"""Options that several commands share, written once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

_READING = "How the file is read"

Recipe = Annotated[
    Path | None,
    typer.Option(
        "--recipe",
        metavar="FILE",
        help="Recipe that says how the file is laid out.",
        rich_help_panel=_READING,
    ),
]
Zone = Annotated[
    str | None,
    typer.Option(
        "--zone",
        metavar="ZONE",
        help="Time zone of the logger's clock, such as Europe/London.",
        rich_help_panel=_READING,
    ),
]
DateOrder = Annotated[
    str | None,
    typer.Option(
        "--date-order",
        metavar="dmy|mdy|ymd",
        help="Order of day, month and year.",
        rich_help_panel=_READING,
    ),
]
Decimal = Annotated[
    str | None,
    typer.Option(
        "--decimal", metavar="point|comma", help="Decimal sign.", rich_help_panel=_READING
    ),
]
Delimiter = Annotated[
    str | None,
    typer.Option(
        "--delimiter", metavar="CHAR", help="Delimiter: ; , | or tab.", rich_help_panel=_READING
    ),
]
Encoding = Annotated[
    str | None,
    typer.Option(
        "--encoding",
        metavar="NAME",
        help="Encoding, such as utf-8 or cp1252.",
        rich_help_panel=_READING,
    ),
]
Unit = Annotated[
    list[str] | None,
    typer.Option(
        "--unit",
        metavar="ANALYTE=UNIT",
        help="Unit of a column, such as co=ppm or 'water=°C pressure dew point'; repeat as needed.",
        rich_help_panel=_READING,
    ),
]
Column = Annotated[
    list[str] | None,
    typer.Option(
        "--column",
        metavar="ANALYTE=HEADING",
        help="Column that holds an analyte, such as 'co=Sensor 1'; repeat as needed.",
        rich_help_panel=_READING,
    ),
]
Ignore = Annotated[
    list[str] | None,
    typer.Option(
        "--ignore",
        metavar="HEADING",
        help="Column to leave alone; repeat as needed.",
        rich_help_panel=_READING,
    ),
]
TimeColumn = Annotated[
    list[str] | None,
    typer.Option(
        "--time-column",
        metavar="HEADING",
        help="Column of the time; give it twice for a date and a time column.",
        rich_help_panel=_READING,
    ),
]
Start = Annotated[
    str | None,
    typer.Option(
        "--start", metavar="MOMENT", help="Moment of elapsed second 0.", rich_help_panel=_READING
    ),
]
Missing = Annotated[
    list[str] | None,
    typer.Option(
        "--missing",
        metavar="CODE",
        help="Cell that stands for 'no reading', such as -200; repeat as needed.",
        rich_help_panel=_READING,
    ),
]
HeaderLine = Annotated[
    int | None,
    typer.Option(
        "--header-line", metavar="N", help="Line of the headings, from 1.", rich_help_panel=_READING
    ),
]
Sheet = Annotated[
    str | None,
    typer.Option(
        "--sheet", metavar="NAME", help="Worksheet of a workbook.", rich_help_panel=_READING
    ),
]
Trust = Annotated[
    list[str] | None,
    typer.Option(
        "--trust",
        metavar="ANALYTE",
        help="Analyte whose implausible level is known to be true, such as co2 in synthetic air.",
        rich_help_panel=_READING,
    ),
]
Settle = Annotated[
    str | None,
    typer.Option(
        "--settle",
        metavar="TIME",
        help="Settling time that is not judged; 30min if not given.",
        rich_help_panel=_READING,
    ),
]
SettleGap = Annotated[
    str | None,
    typer.Option(
        "--settle-gap",
        metavar="TIME",
        help="Gap after which the cells settle anew; 10min if not given.",
        rich_help_panel=_READING,
    ),
]

_RECORD = "The record"

Workspace = Annotated[
    Path | None,
    typer.Option(
        "--workspace",
        metavar="DIR",
        envvar="LUNGWORT_WORKSPACE",
        show_envvar=False,
        help="Folder of the workspace; else LUNGWORT_WORKSPACE, else the one around the current folder.",
        rich_help_panel=_RECORD,
    ),
]
By = Annotated[
    str | None,
    typer.Option(
        "--by",
        metavar="NAME",
        envvar="LUNGWORT_BY",
        show_envvar=False,
        help="Who makes the change; else LUNGWORT_BY, else the only person on record.",
        rich_help_panel=_RECORD,
    ),
]
Reason = Annotated[
    str | None,
    typer.Option(
        "--reason",
        metavar="TEXT",
        help="Why what is on record changes; the version before stays.",
        rich_help_panel=_RECORD,
    ),
]
ClockIsRight = Annotated[
    bool,
    typer.Option(
        "--clock-is-right",
        help="Record although the newest entry is ahead of this computer's clock, once you have checked the clock.",
        rich_help_panel=_RECORD,
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]

CalculationPdf = Annotated[
    Path | None,
    typer.Option("--pdf", metavar="FILE", help="Write the calculation as PDF, with its data."),
]
Note = Annotated[
    str | None,
    typer.Option("--note", metavar="TEXT", help="Whatever else is to be remembered."),
]
Rename = Annotated[
    str | None, typer.Option("--name", metavar="NEW", help="Another name for the same thing.")
]
Retire = Annotated[
    bool | None,
    typer.Option(
        "--retire/--in-use",
        help="Take it out of use, or back into it; all that is on record of it stays.",
        show_default=False,
    ),
]
When = Annotated[
    str | None,
    typer.Option(
        "--time",
        metavar="MOMENT",
        help="When it happened, like '2026-03-04 10:00' in the site's time zone (ISO 8601 only); now if not given.",
    ),
]
All = Annotated[bool, typer.Option("--all", help="List also what is no longer in use.")]
History = Annotated[
    bool,
    typer.Option("--history", help="List all versions: who recorded each, when, what, and why."),
]
