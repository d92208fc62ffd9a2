"""``lungwort import``: take a logger's files into the record."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lungwort.cli import options as opt
from lungwort.cli import things

if TYPE_CHECKING:
    from rich.console import Console

    from lungwort.jobs.import_log import Imported

_MOST = 20


def import_(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="FILE…", help="Logger's files; several are joined in time.", show_default=False
        ),
    ] = None,
    outlet: Annotated[
        str | None,
        typer.Option("--outlet", metavar="NAME", help="Outlet at which the air was taken."),
    ] = None,
    instrument: Annotated[
        str | None,
        typer.Option("--instrument", metavar="NAME", help="Instrument that measured."),
    ] = None,
    also_here: Annotated[
        str | None,
        typer.Option(
            "--also-here",
            metavar="TEXT",
            help="Why a file that is on record at another outlet belongs to this one too.",
        ),
    ] = None,
    judge: Annotated[
        bool,
        typer.Option(
            "--judge/--no-judge", help="Hold the readings against the supply's limits at once."
        ),
    ] = True,
    list_: Annotated[
        bool,
        typer.Option(
            "--list", help="Import nothing; list what was imported, of one --outlet or of all."
        ),
    ] = False,
    void: Annotated[
        str | None,
        typer.Option(
            "--void",
            metavar="ID",
            help="Import nothing; take out an import that was made by mistake, with --reason.",
        ),
    ] = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    reason: opt.Reason = None,
    clock_is_right: opt.ClockIsRight = False,
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
    as_json: opt.AsJson = False,
) -> None:
    """Take a logger's files into the record of an outlet.

    The files are kept as they came, with all readings and how they were read. The same files twice
    change nothing. The readings are held against the supply's limits at once, and what is outside
    is told; only 'lungwort certify' puts a verdict on record.

    Leaves with 0 where they are on record, 1 where a reading is outside a limit, and 2 where
    something could not be read or used: nothing is recorded then.

    Example: lungwort import march.csv --outlet "Panel 2" --instrument "Logger 1" --zone
    Europe/London --by "Wenna Harkle"

    Example: lungwort import --list --outlet "Panel 2"
    """
    if list_ or void is not None:
        from lungwort.jobs import imports  # noqa: PLC0415 - keeps --help instant

        imports.refuse_other_options(
            files=files, instrument=instrument, also_here=also_here, zone=zone, recipe=recipe
        )
        if void is None:
            things.listing(imports.list_imports(things.where(workspace), outlet), as_json)
            return
        gone = imports.void_import(things.session(workspace, by, clock_is_right), void, reason)
        if as_json:
            things.print_json(things.plain(gone))
        else:
            things.done(gone)
        return
    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs import import_log as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.reading import Reading  # noqa: PLC0415 - keeps --help instant

    request = job.Request(
        files=files or (),
        outlet=outlet or "",
        instrument=instrument,
        reading=Reading(
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
        ),
        by=by,
        also_here=also_here,
        reason=reason,
        judge=judge,
        clock_is_right=clock_is_right,
    )
    with show.progress(quiet=as_json) as tell:
        imported = job.import_files(
            things.where(workspace), request, now=things.now(), progress=tell
        )
    if as_json:
        sys.stdout.write(job.as_json(imported) + "\n")
    else:
        _print(show.console(), imported)
    raise typer.Exit(job.exit_code(imported))


def _print(out: Console, done: Imported) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    out.print(Text(done.said, style="bold green" if done.new else "bold"))
    out.print()
    _fact(out, "Outlet", done.outlet)
    _fact(out, "Instrument", done.instrument or "not named")
    for file in done.record.files:
        _fact(out, "File", f"{file.name}, {file.size_bytes} bytes, SHA-256 {file.sha256}")
    _fact(out, "Rows", f"{done.rows_read} read, {done.rows_used} used")
    _fact(out, "Period", f"{done.period} ({done.zone})")
    _fact(out, "Sampling interval", done.interval)
    if done.unplaced:
        _fact(out, "Without a known time", f"{done.unplaced} readings; outside a limit they count")
    _channels(out, done)
    refused = [
        f"{one.file}: {one.rows} row{'s' * (one.rows != 1)}: {one.cause}"
        + (f" (first at line {', '.join(map(str, one.lines))})" if one.lines else "")
        + (f": {one.sample}" if one.sample.strip(" ;,|\t") else "")
        for one in done.refused
    ]
    _listed(out, "Rows not used", refused)
    _listed(out, "Stretches with a quality of their own", done.stretches)
    _listed(out, "Columns not used", done.columns_not_used)
    _listed(out, "Notes", done.notes)
    _listed(
        out, "Doubts: by itself this log cannot prove that the air conforms", done.doubts, "yellow"
    )
    _listed(out, "Mind", done.remarks, "yellow")
    _held(out, done)
    _listed(out, "Next", done.next_steps)


def _held(out: Console, done: Imported) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    held = done.held
    _listed(out, "What it rests on is not in order", held.lapses, "yellow")
    if held.why_not:
        out.print()
        out.print(Text(f"Not held against limits: {held.why_not}", style="yellow"))
        return
    if not held.overall:
        return
    out.print()
    if done.outside:
        out.print(Text(f"✕ OUTSIDE THE LIMITS of {held.limit_set}", style="bold red"))
    else:
        out.print(
            Text(
                f"Held against {held.limit_set}: no reading that was judged is outside a limit that "
                "must be kept."
            )
        )
    _listed(out, "Outside", held.outside, "red")
    _listed(out, "Outside, though not judged: find out what it was", held.not_judged, "red")


def _fact(out: Console, label: str, value: str) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    out.print(Text.assemble((f"{label}: ", "bold"), value))


def _listed(
    out: Console, heading: str, texts: list[str] | tuple[str, ...], style: str = ""
) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    if not texts:
        return
    out.print()
    out.print(Text(heading, style=f"bold {style}".strip()))
    for text in texts[:_MOST]:
        out.print(Padding(Text.assemble("· ", text), (0, 0, 0, 2)))
    if len(texts) > _MOST:
        out.print(Padding(Text(f"… and {len(texts) - _MOST} more: see --json."), (0, 0, 0, 2)))


def _channels(out: Console, done: Imported) -> None:
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    out.print()
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold", pad_edge=False)
    for place, name in enumerate(("channel", "unit", "lowest", "highest", "usable", "not usable")):
        table.add_column(name, justify="right" if place > 1 else "left", overflow="fold")
    for one in done.channels:
        cells = (one.name, one.unit, one.lowest, one.highest, str(one.usable), str(one.others))
        table.add_row(*map(Text, cells))
    out.print(table)
