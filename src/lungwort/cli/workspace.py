"""``lungwort workspace``: make a workspace, look at it, back it up, bring it back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lungwort.cli import options as opt
from lungwort.cli import things

if TYPE_CHECKING:
    from lungwort.jobs.workspace import Made

app = typer.Typer(
    help="The folder in which the record lies: make it, look at it, back it up, bring it back.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Database = Annotated[
    str | None,
    typer.Option(
        "--database",
        metavar="URL",
        help="Empty PostgreSQL database to keep the record in, like postgresql://user@host/name; "
        "else SQLite in the folder.",
    ),
]


@app.command()
def create(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="A new or an empty folder.", show_default=False)
    ],
    name: Annotated[
        str, typer.Option("--name", metavar="TEXT", help="What the workspace is called.")
    ] = ...,  # type: ignore[assignment]
    person: Annotated[
        str,
        typer.Option(
            "--person", metavar="NAME", help="Who answers for the air: the first person on record."
        ),
    ] = ...,  # type: ignore[assignment]
    database: Database = None,
) -> None:
    """Make a workspace with an empty record.

    Example: lungwort workspace create slipway --name "Merrowgate Slipway" --person "Wenna Harkle"
    """
    from lungwort.jobs import workspace as job  # noqa: PLC0415 - keeps --help instant

    _made(job.create(folder, name=name, person=person, now=things.now(), database=database))


@app.command()
def show(workspace: opt.Workspace = None, as_json: opt.AsJson = False) -> None:
    """Say what the workspace holds: where it lies, its database, its journal, how many records.

    Example: lungwort workspace show
    """
    from lungwort.jobs import workspace as job  # noqa: PLC0415 - keeps --help instant

    found = job.show(things.where(workspace), now=things.now())
    if as_json:
        things.print_json(found.plain)
        return
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli.show import console  # noqa: PLC0415 - keeps --help instant

    out = console()
    out.print(Text("Workspace", style="bold"))
    things.facts(out, found.facts)
    out.print()
    out.print(Text("Records in force", style="bold"))
    things.facts(out, tuple((one.words, str(one.number)) for one in found.counts))
    things.remarks(out, found.remarks)


@app.command()
def backup(
    to: Annotated[
        Path,
        typer.Option(
            "--to", metavar="FILE", help="A new file, or a folder in which it gets a name."
        ),
    ] = ...,  # type: ignore[assignment]
    workspace: opt.Workspace = None,
) -> None:
    """Write all of the workspace into one archive, while others may go on working in it.

    Keep it on another disk. It holds everything in readable form: keep it as safe as the workspace.

    Example: lungwort workspace backup --to /media/backup/slipway-2026-03-04.zip
    """
    from lungwort.jobs import workspace as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.text import grouped  # noqa: PLC0415 - keeps --help instant

    saved = job.backup(things.where(workspace), to, now=things.now())
    typer.echo(f"Written: {saved.file} ({grouped(saved.size_bytes)} bytes)")
    typer.echo(f"Next: lungwort workspace restore {saved.file.name} --to FOLDER (to try it)")


@app.command()
def restore(
    archive: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="An archive from 'workspace backup'.", show_default=False
        ),
    ],
    to: Annotated[
        Path, typer.Option("--to", metavar="FOLDER", help="A new or an empty folder.")
    ] = ...,  # type: ignore[assignment]
    database: Database = None,
) -> None:
    """Make a workspace from a backup. Every file in it is held against its digest.

    Example: lungwort workspace restore slipway-2026-03-04.zip --to slipway
    """
    from lungwort.jobs import workspace as job  # noqa: PLC0415 - keeps --help instant

    _made(job.restore(archive, to, database=database))


@app.command()
def upgrade(workspace: opt.Workspace = None) -> None:
    """Bring the database of an older lungwort to the form of this one; a copy is kept.

    Every command that records does so by itself; those that only read ask for it.

    Example: lungwort workspace upgrade
    """
    from lungwort.jobs import workspace as job  # noqa: PLC0415 - keeps --help instant

    _made(job.upgrade(things.where(workspace)))


def _made(made: Made) -> None:
    from lungwort.cli.show import console  # noqa: PLC0415 - keeps --help instant

    typer.echo(made.said)
    things.next_steps(console(), made.next_steps)
