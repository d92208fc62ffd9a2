"""``lungwort finding``: what is wrong with a supply, its cause, its cure, and its closing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lungwort.cli import options as opt

if TYPE_CHECKING:
    from lungwort.jobs.finding import FindingShown

app = typer.Typer(
    help="Findings: what is wrong with a supply, its cause, its cure, and its closing.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Number = Annotated[
    str,
    typer.Argument(metavar="NUMBER", help="The finding, such as F-2026-0001.", show_default=False),
]
Said = Annotated[str, typer.Option("--text", metavar="TEXT", help="In words.", show_default=False)]


@app.command("list")
def list_(
    supply: Annotated[
        str | None, typer.Option("--supply", metavar="NAME", help="Only those of one supply.")
    ] = None,
    closed: Annotated[bool, typer.Option("--all", help="List also those that are closed.")] = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """List the open findings.

    Example: lungwort finding list --all
    """
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import show, things  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.finding import list_findings  # noqa: PLC0415 - keeps --help instant

    found = list_findings(things.where(workspace), supply=supply, closed=closed, now=things.now())
    if as_json:
        things.print_json({"findings": [one.plain() for one in found]})
        return
    out = show.console()
    if not found:
        out.print(Text("No finding is on record." if closed else "No finding is open."))
        return
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold", pad_edge=False)
    for name in ("finding", "state", "supply", "outlet", "opened", "what"):
        table.add_column(name, overflow="fold", no_wrap=name == "finding")
    for one in found:
        table.add_row(
            *map(
                Text,
                (
                    one.finding.number,
                    "open" if one.is_open else "closed",
                    one.supply,
                    one.outlet,
                    one.when,
                    one.finding.text,
                ),
            )
        )
    out.print(table)


@app.command()
def show(number: Number, workspace: opt.Workspace = None, as_json: opt.AsJson = False) -> None:
    """Show a finding, what was found out and done about it, and what it still needs.

    Example: lungwort finding show F-2026-0001
    """
    from lungwort.cli import things  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.finding import show_finding  # noqa: PLC0415 - keeps --help instant

    _show(show_finding(things.where(workspace), number, now=things.now()), as_json=as_json)


@app.command("open")
def open_(
    supply: Annotated[
        str, typer.Argument(metavar="SUPPLY", help="Which supply.", show_default=False)
    ],
    text: Said,
    analyte: Annotated[
        list[str] | None,
        typer.Option(
            "--analyte",
            metavar="ANALYTE",
            help="Analyte concerned, such as co; repeat as needed. All of the air if not given.",
        ),
    ] = None,
    outlet: Annotated[
        str | None,
        typer.Option("--outlet", metavar="NAME", help="At which outlet; all if not given."),
    ] = None,
    not_air: Annotated[
        bool,
        typer.Option(
            "--not-air",
            help="It is not about the air, but about its keeping alone, such as a lost log book.",
        ),
    ] = False,
    time: opt.When = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
    as_json: opt.AsJson = False,
) -> None:
    """Open a finding that no verdict opened, such as a smell that somebody noticed.

    It is about the air, and no certificate is issued while it is open, unless --not-air is given.

    Example: lungwort finding open main --analyte odour --text "smell of exhaust"
    """
    from lungwort.cli import things  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.finding import open_finding  # noqa: PLC0415 - keeps --help instant

    session = things.session(workspace, by, clock_is_right)
    _show(
        open_finding(
            session,
            supply,
            text,
            analytes=analyte or (),
            outlet=outlet,
            time=time,
            not_air=not_air,
        ),
        as_json=as_json,
    )


@app.command()
def cause(
    number: Number,
    text: Said,
    time: opt.When = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
    as_json: opt.AsJson = False,
) -> None:
    """Enter what caused a finding.

    Example: lungwort finding cause F-2026-0001 --text "exhaust was drawn in through the intake"
    """
    _add("cause", number, text, time, workspace, by, clock_is_right, as_json)


@app.command()
def cure(
    number: Number,
    text: Said,
    time: opt.When = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
    as_json: opt.AsJson = False,
) -> None:
    """Enter what was done to cure a finding; a retest counts only after it.

    Example: lungwort finding cure F-2026-0001 --text "intake moved to the north wall"
    """
    _add("cure", number, text, time, workspace, by, clock_is_right, as_json)


@app.command()
def note(
    number: Number,
    text: Said,
    time: opt.When = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
    as_json: opt.AsJson = False,
) -> None:
    """Note something on a finding.

    Example: lungwort finding note F-2026-0001 --text "the works doctor was told"
    """
    _add("note", number, text, time, workspace, by, clock_is_right, as_json)


@app.command()
def close(
    number: Number,
    because: Annotated[
        str, typer.Option("--because", metavar="TEXT", help="Why.", show_default=False)
    ],
    not_air: Annotated[
        bool,
        typer.Option("--not-air", help="Close without a retest what was opened with --not-air."),
    ] = False,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
    as_json: opt.AsJson = False,
) -> None:
    """Close a finding: it needs a cause, a cure, and a conforming retest after the cure.

    'lungwort return' closes the findings of a withdrawn supply by itself.

    Example: lungwort finding close F-2026-0001 --because "retested, clean"
    """
    from lungwort.cli import things  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.finding import close_finding  # noqa: PLC0415 - keeps --help instant

    session = things.session(workspace, by, clock_is_right)
    _show(close_finding(session, number, because, not_air=not_air), as_json=as_json)


def _add(
    kind: str,
    number: str,
    text: str,
    time: str | None,
    workspace: Path | None,
    by: str | None,
    clock_is_right: bool,
    as_json: bool,
) -> None:
    from lungwort.cli import things  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.finding import add_action  # noqa: PLC0415 - keeps --help instant

    session = things.session(workspace, by, clock_is_right)
    _show(add_action(session, number, kind, text, time=time), as_json=as_json)


def _show(shown: FindingShown, *, as_json: bool) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import show as screen  # noqa: PLC0415 - keeps --help instant
    from lungwort.cli import things  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.finding import KIND_WORDS  # noqa: PLC0415 - keeps --help instant

    if as_json:
        things.print_json(shown.plain())
        return
    out = screen.console()
    style = "bold red" if shown.is_open else "bold green"
    out.print(Text(f"{shown.finding.number}, {'open' if shown.is_open else 'closed'}", style=style))
    out.print(Text(shown.finding.text))
    things.facts(
        out,
        (
            ("Supply", shown.supply),
            *((("Outlet", shown.outlet),) if shown.outlet else ()),
            ("Opened", f"{shown.when} by {shown.by}"),
            *((("Note", shown.finding.note),) if shown.finding.note else ()),
            *(
                (
                    KIND_WORDS[one.action.kind].capitalize(),
                    f"{one.action.text} ({one.when}, {one.by})",
                )
                for one in shown.actions
            ),
        ),
    )
    things.remarks(out, shown.remarks)
    if shown.lacks:
        out.print(Text("To close it", style="bold"))
        things.remarks(out, shown.lacks)
