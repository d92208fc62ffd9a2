"""``lungwort plant``: what stands behind the outlets, and what can be worked out from it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from lungwort.cli import options as opt
from lungwort.cli import things
from lungwort.cli.plant_air import air
from lungwort.cli.plant_bank import bank
from lungwort.cli.plant_reserve import reserve
from lungwort.cli.plant_treatment import treatment

app = typer.Typer(
    help="What stands behind the outlets: enough air, reserve, banks of cylinders, life of the treatment.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.command()(air)
app.command()(reserve)
app.command()(bank)
app.command()(treatment)

Supply = Annotated[
    str, typer.Argument(metavar="SUPPLY", help="Name or id of the supply.", show_default=False)
]


@app.command()
def form(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Where to write it, like plant.toml.")
    ],
) -> None:
    """Write a plant sheet to fill in, with invented figures and a remark to each.

    Example: lungwort plant form plant.toml
    """
    from lungwort.jobs import plant_sheet as job  # noqa: PLC0415 - keeps --help instant

    job.write_form(file)
    typer.echo(f"Written: {file}")


@app.command("set")
def set_(
    supply: Supply,
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="The plant sheet, TOML.", show_default=False)
    ],
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Put the plant sheet of a supply on record; the version before stays to be seen.

    Example: lungwort plant set hall plant.toml
    """
    from lungwort.jobs import plant_sheet as job  # noqa: PLC0415 - keeps --help instant

    things.done(
        job.record_file(things.session(workspace, by, clock_is_right), supply, file, reason)
    )


@app.command()
def show(
    supply: Supply,
    version: Annotated[
        int | None,
        typer.Option(metavar="N", help="An older version; the one in force if not given."),
    ] = None,
    workspace: opt.Workspace = None,
) -> None:
    """Print the plant sheet of a supply as it is on record, to look at or to change it.

    Example: lungwort plant show hall > plant.toml
    """
    from lungwort.jobs import plant_sheet as job  # noqa: PLC0415 - keeps --help instant

    kept = job.newest(things.where(workspace), supply, version)
    sys.stdout.write(kept.text if kept.text.endswith("\n") else f"{kept.text}\n")
    sys.stderr.write(f"{kept.name}, {kept.origin}, by {kept.by}\n")
