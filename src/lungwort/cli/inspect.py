"""``lungwort inspect``: what was understood of a logger's file."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lungwort.cli import options as opt

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from lungwort.jobs.inspect import FileSeen, LogSeen, Seen

_OPEN = 3
_MOST_HEADINGS = 12


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
    from lungwort.jobs.judge import RECIPE, refuse_to_replace  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.reading import Reading  # noqa: PLC0415 - keeps --help instant

    if save_recipe is not None:
        refuse_to_replace(save_recipe, RECIPE)
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


def _line(out: Console, label: str, value: str, style: str = "") -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    text = Text.assemble((f"{label}: ", f"bold {style}".strip()), (value, style))
    out.print(Padding(text, (0, 0, 0, 2), expand=False))


def _item(out: Console, text: str) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    grid = Table.grid(padding=(0, 1))
    grid.add_row("·", Text(text))
    out.print(Padding(grid, (0, 0, 0, 4), expand=False))


def _print_file(out: Console, file: FileSeen) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    out.print(Text(file.name, style="bold"))
    unit_line = f", units in line {file.unit_line}" if file.unit_line else ""
    for label, value in (
        ("SHA-256", file.sha256),
        ("Text", f"{file.encoding}, cut by {file.delimiter}, decimal {file.decimal}"),
        (
            "Lines",
            f"headings in line {file.header_line}{unit_line}, readings from line {file.first_line}",
        ),
        ("Time", file.time),
    ):
        _line(out, label, value)
    if file.columns:
        rows = [(one.heading, one.taken_as, one.unit, one.kept_as) for one in file.columns]
        _table(out, ("column", "taken as", "unit", "kept as"), rows, right_from=4)
    for why, headings in _by_reason(file.unused).items():
        _line(out, "Not used", f"{headings} ({why}).")
    for question in file.questions:
        _line(out, "Open", question, "yellow")
    out.print()


def _by_reason(unused: tuple[tuple[str, str], ...]) -> dict[str, str]:
    """Put headings together that are left alone for one reason; a long list is cut short."""
    groups: dict[str, list[str]] = {}
    for heading, why in unused:
        groups.setdefault(why, []).append(" ".join(heading.split()))
    told = {}
    for why, headings in groups.items():
        more = len(headings) - _MOST_HEADINGS
        told[why] = ", ".join(headings[:_MOST_HEADINGS])
        if more > 0:
            told[why] += f" … and {more} more, all listed with --json"
    return told


def _table(
    out: Console, head: tuple[str, ...], rows: Sequence[tuple[str, ...]], *, right_from: int
) -> None:
    """Show a table, or one line a row where the table is too wide for the screen."""
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    widths = [max(map(len, column)) for column in zip(head, *rows, strict=True)]
    room = out.width - sum(widths) - 2
    gap = 2 if room >= 2 * (len(head) - 1) else 1
    if room < gap * (len(head) - 1):
        for row in rows:
            rest = ", ".join(
                f"{name} {cell or '–'}" for name, cell in zip(head[1:], row[1:], strict=True)
            )
            _item(out, f"{row[0]}: {rest}")
        return
    table = Table(box=None, padding=(0, gap, 0, 0), header_style="bold", pad_edge=False)
    for place, name in enumerate(head):
        table.add_column(name, no_wrap=True, justify="right" if place >= right_from else "left")
    for row in rows:
        table.add_row(*map(Text, row))
    out.print(Padding(table, (0, 0, 0, 2), expand=False))


def _print_log(out: Console, log: LogSeen) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    out.print(Text("Readings", style="bold"))
    for label, value in (
        ("Rows", f"{log.rows_read} read, {log.rows_used} used"),
        ("Period", f"{log.start} to {log.end}"),
        ("Zone", log.zone),
        ("Sampling interval", log.interval),
    ):
        _line(out, label, value)
    head = ("channel", "unit", "lowest", "highest", "good", "suspect", "bad", "missing", "settling")
    _table(out, head, log.channels, right_from=2)
    if log.stretches:
        out.print(Text("Stretches with a quality of their own", style="bold"))
    for cause, channel, times, span, readings, text in log.stretches:
        where = "all channels" if channel == "all" else channel
        count = "" if times == "1 time" else f"{times}, "
        held = "" if cause == "gap" else f", {readings} reading{'s' * (readings != '1')}"
        _item(out, f"{cause}, {where}: {count}{span}{held}: {text.removeprefix(f'{cause}: ')}.")
    if log.refusals:
        out.print(Text("Rows not used", style="bold"))
    several = len({row[0] for row in log.refusals}) > 1
    for name, cause, rows, lines, sample in log.refusals:
        where = f"{name}: " if several else ""
        first = f", first at line {lines}" if lines else ""
        shown = f" ('{sample.strip()}')" if sample.strip(" ;,|\t") else ""
        _item(out, f"{where}{cause}: {rows} row{'s' * (rows != '1')}{first}{shown}.")
    for label, texts in (("Note", log.notes), ("Doubt", log.doubts)):
        for text in texts:
            _line(out, label, text if text.endswith(".") else f"{text}.")
