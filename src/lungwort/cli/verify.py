"""``lungwort verify``: recompute the record and say whether it is as it was written."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from lungwort.cli import options as opt

if TYPE_CHECKING:
    from lungwort.jobs.verify import Outcome

_OUTSIDE: Final = "What was kept elsewhere"
_MOST: Final = 20


def verify(
    head: Annotated[
        list[str] | None,
        typer.Option(
            "--head",
            metavar="SIZE:ROOT",
            help="Head that was written down; repeat as needed.",
            rich_help_panel=_OUTSIDE,
        ),
    ] = None,
    certificate: Annotated[
        list[Path] | None,
        typer.Option(
            "--certificate",
            metavar="FILE.pdf",
            help="Certificate that was handed out; repeat as needed.",
            rich_help_panel=_OUTSIDE,
        ),
    ] = None,
    pack: Annotated[
        list[Path] | None,
        typer.Option(
            "--pack",
            metavar="FILE.zip",
            help="Evidence pack that was handed out; repeat as needed.",
            rich_help_panel=_OUTSIDE,
        ),
    ] = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Recompute the whole record: journal, rows, files, readings, certificates, verdicts.

    Nothing is changed. Leaves with 0 where everything fits, 1 where something does not; it then
    names the first thing that does not fit. Write down the head that it shows and keep it elsewhere.

    Example: lungwort verify --certificate YARD-2026-0001.pdf
    """
    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs import verify as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.opening import Where  # noqa: PLC0415 - keeps --help instant

    outside = job.Outside(
        heads=tuple(head or ()), certificates=tuple(certificate or ()), packs=tuple(pack or ())
    )
    with show.progress(quiet=as_json) as tell:
        outcome = job.verify(Where(workspace), outside, progress=tell)
    if as_json:
        sys.stdout.write(json.dumps(job.as_json(outcome), ensure_ascii=False, indent=2) + "\n")
    else:
        _show(outcome, job.SHOWS_NOT)
    raise typer.Exit(outcome.exit_code)


def _show(outcome: Outcome, shows_not: str) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant

    out, checked = show.console(), outcome.checked
    if checked.problems:
        count = len(checked.problems)
        things = "thing does" if count == 1 else "things do"
        out.print(Text(f"✕ THE RECORD DOES NOT FIT: {count} {things} not.", style="bold red"))
        for place, one in enumerate(checked.problems[:_MOST]):
            mark = "First: " if place == 0 else "· "
            out.print(
                Padding(Text.assemble((f"{mark}{one.where}: ", "bold"), one.what), (0, 0, 0, 2))
            )
        if count > _MOST:
            out.print(Padding(Text(f"… and {count - _MOST} more: see --json."), (0, 0, 0, 2)))
        out.print(
            "Keep the folder as it is, do not rely on what is named here, and compare with a backup."
        )
    else:
        out.print(Text("● Everything fits.", style="bold green"))
    out.print(Text(f"Workspace: {outcome.name}, {outcome.folder}"), soft_wrap=True)
    out.print(
        Text(
            f"Checked: {checked.entries} journal entries, {checked.records} rows, {checked.files} "
            f"files, {checked.parts} parts of readings, {checked.certificates} certificates, "
            f"{checked.verdicts} verdicts."
        )
    )
    for compared in outcome.compared:
        out.print(Text(f"Compared with: {compared}."), soft_wrap=True)
    for remark in checked.remarks[:_MOST]:
        out.print(Text(f"Note: {remark}", style="yellow"))
    if len(checked.remarks) > _MOST:
        out.print(f"… and {len(checked.remarks) - _MOST} more notes: see --json.")
    out.print()
    out.print("Head of the record; write it down and keep it elsewhere:")
    out.print(Text(f"  {outcome.head}", style="bold"), soft_wrap=True)
    out.print(Text(shows_not, style="dim"))
