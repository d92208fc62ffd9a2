"""``lungwort inspect``: what was understood of a logger's file."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lungwort.cli import options as opt

if TYPE_CHECKING:
    from rich.console import Console

    from lungwort.jobs.inspect import FileSeen, LogSeen, Seen

_OPEN = 3


def inspect(
    files: Annotated[
        list[Path], typer.Argument(metavar="FILE…", help="Logger's files.", show_default=False)
    ],
    recipe: opt.Recipe = None,
    zone: opt.Zone = None,
    date_order: opt.DateOrder = None,
    decimal: opt.Decimal = None,
    delimiter: opt.Delimiter = None,
    encoding: opt.Encoding = None,
    unit: opt.Unit = None,
    column: opt.Column = None,
    ignore: opt.Ignore = None,
    time_column: opt.TimeColumn = None,
    start: opt.Start = None,
    missing: opt.Missing = None,
    header_line: opt.HeaderLine = None,
    sheet: opt.Sheet = None,
    trust: opt.Trust = None,
    settle: opt.Settle = None,
    settle_gap: opt.SettleGap = None,
    save_recipe: Annotated[
        Path | None,
        typer.Option(
            "--save-recipe", metavar="FILE", help="Write what was understood as a recipe."
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object and nothing else.")
    ] = False,
) -> None:
    """Say what was understood of a logger's file, and what it leaves open. Nothing is judged.

    Leaves with 0 where the files can be read and 3 where questions are open.

    Example: lungwort inspect log.csv --zone Europe/London --save-recipe hall.toml
    """
    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs import inspect as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.reading import Reading  # noqa: PLC0415 - keeps --help instant

    reading = Reading(
        recipe=recipe,
        zone=zone,
        date_order=date_order,
        decimal=decimal,
        delimiter=delimiter,
        encoding=encoding,
        sheet=sheet,
        unit=unit or (),
        column=column or (),
        ignore=ignore or (),
        time_column=time_column or (),
        missing=missing or (),
        trust=trust or (),
        start=start,
        header_line=header_line,
        settle=settle,
        settle_gap=settle_gap,
    )
    with show.progress(quiet=as_json) as tell:
        seen = job.inspect(
            files,
            reading,
            now=datetime.now(UTC),
            progress=tell,
            recipe_name=save_recipe.stem if save_recipe is not None else "",
        )
    if as_json:
        sys.stdout.write(job.as_json(seen) + "\n")
    else:
        _print(show.console(), seen)
    if save_recipe is not None:
        written = job.save_recipe(seen, save_recipe)
        sys.stderr.write(f"Written: {written}\n")
    raise typer.Exit(_OPEN if seen.problem else 0)


def _print(out: Console, seen: Seen) -> None:
    for file in seen.files:
        _print_file(out, file)
    if seen.log is not None:
        _print_log(out, seen.log)
    if seen.problem:
        from rich.text import Text  # noqa: PLC0415 - keeps --help instant

        out.print(Text(f"Not read yet: {seen.problem}", style="bold yellow"))


def _print_file(out: Console, file: FileSeen) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    out.print(Text(file.name, style="bold"))
    unit_line = f", units in line {file.unit_line}" if file.unit_line else ""
    facts = (
        ("SHA-256", file.sha256),
        ("Text", f"{file.encoding}, cut by {file.delimiter}, decimal {file.decimal}"),
        (
            "Lines",
            f"headings in line {file.header_line}{unit_line}, readings from line {file.first_line}",
        ),
        ("Time", file.time),
    )
    for label, value in facts:
        out.print(Padding(Text.assemble((f"{label}: ", "bold"), value), (0, 0, 0, 2)))
    table = Table(box=None, padding=(0, 2, 0, 2), header_style="bold")
    for name in ("column", "taken as", "unit", "kept as"):
        table.add_column(name, overflow="fold")
    for one in file.columns:
        table.add_row(*map(Text, (one.heading, one.taken_as, one.unit, one.kept_as)))
    out.print(table)
    for heading, why in file.unused:
        out.print(Padding(Text(f"Not used: {heading}: {why}."), (0, 0, 0, 2)))
    for question in file.questions:
        out.print(Padding(Text(f"Open: {question}", style="yellow"), (0, 0, 0, 2)))
    out.print()


def _print_log(out: Console, log: LogSeen) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    out.print(Text("Readings", style="bold"))
    for label, value in (
        ("Rows", f"{log.rows_read} read, {log.rows_used} used"),
        ("Period", f"{log.start} to {log.end}"),
        ("Zone", log.zone),
        ("Sampling interval", log.interval),
    ):
        out.print(Padding(Text.assemble((f"{label}: ", "bold"), value), (0, 0, 0, 2)))
    for head, rows in (
        (
            (
                "channel",
                "unit",
                "lowest",
                "highest",
                "good",
                "suspect",
                "bad",
                "missing",
                "settling",
            ),
            log.channels,
        ),
        (("cause", "channel", "", "from and to", "readings", "what was seen"), log.stretches),
        (("file", "rows refused because", "rows", "first lines", "text"), log.refusals),
    ):
        if rows:
            table = Table(box=None, padding=(0, 2, 0, 2), header_style="bold")
            for place, name in enumerate(head):
                table.add_column(name, overflow="fold", no_wrap=place == 0 and len(name) < 8)  # noqa: PLR2004 - not for file names
            for row in rows:
                table.add_row(*map(Text, row))
            out.print(table)
    for label, texts in (("Note", log.notes), ("Doubt", log.doubts)):
        for text in texts:
            out.print(Padding(Text(f"{label}: {text}"), (0, 0, 0, 2)))
