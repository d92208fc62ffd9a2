"""``lungwort due``: what is due and overdue."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from lungwort.cli import options as opt
from lungwort.cli import things

if TYPE_CHECKING:
    from lungwort.jobs.due import Agenda

_MARK: Final = {"overdue": "✕", "never done": "○", "due": "▸", "later": "·"}
_STYLE: Final = {"overdue": "bold red", "never done": "bold yellow", "due": "yellow", "later": ""}


def due(
    within: Annotated[
        str | None,
        typer.Option(
            "--within",
            metavar="TIME",
            help="How far ahead to look, such as 60d or 8w; the rule set's own if not given.",
        ),
    ] = None,
    ics: Annotated[
        Path | None,
        typer.Option("--ics", metavar="FILE", help="Write it as a calendar file."),
    ] = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """List what is due and what is overdue: tests, cartridges, calibrations, lots, competence.

    Leaves with 3 where something is overdue or was never done, else with 0.

    Example: lungwort due --within 60d --ics due.ics
    """
    from lungwort.jobs import due as job  # noqa: PLC0415 - keeps --help instant

    days = job.parse_within(within)
    agenda = job.due(things.where(workspace), now=things.now(), within_days=days)
    written = None if ics is None else job.write_calendar(agenda, ics)
    if as_json:
        sys.stdout.write(json.dumps(job.as_json(agenda), ensure_ascii=False, indent=2) + "\n")
    else:
        _show(agenda, written)
    raise typer.Exit(agenda.exit_code)


def _show(agenda: Agenda, written: Path | None) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.days import shown  # noqa: PLC0415 - keeps --help instant

    out = show.console()
    if not agenda.items:
        out.print("Nothing is due.")
    for one in agenda.items:
        day = (
            f"by {shown(one.due)}"
            if one.state == "due"
            else f"{one.state.upper()}, {shown(one.due)}"
        )
        if one.state == "never done":
            day = "NEVER DONE"
        out.print(
            Text.assemble(
                (f"{_MARK[one.state]} {day}", _STYLE[one.state]), f"  {one.subject}: {one.what}"
            )
        )
        out.print(Padding(Text(f"{one.why} [{one.rule}]", style="dim"), (0, 0, 0, 4)))
    if agenda.later:
        out.print()
        first = agenda.later[0]
        more = f"{len(agenda.later)} later, the first by {shown(first.due)}: {first.subject}, {first.what}."
        out.print(Text(f"… and {more} See --within or --json."))
    for note in agenda.notes:
        out.print()
        out.print(Text(f"! {note}"))
    if written is not None:
        out.print()
        out.print(Text(f"Written: {written}"), soft_wrap=True)
