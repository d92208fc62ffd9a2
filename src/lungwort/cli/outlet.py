"""``lungwort outlet``: where air is taken and tested."""

from __future__ import annotations

from typing import Annotated

import typer

from lungwort.cli import options as opt
from lungwort.cli import things

app = typer.Typer(
    help="Where air is taken and tested: add, list, show, change; what is worn there.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

NewName = Annotated[
    str,
    typer.Argument(
        metavar="NAME",
        help="Short name that commands accept: letters, digits and - . _",
        show_default=False,
    ),
]
Name = Annotated[
    str, typer.Argument(metavar="NAME", help="Name or id of the outlet.", show_default=False)
]
Voided = Annotated[
    str,
    typer.Argument(
        metavar="NAME|ID", help="Name of an outlet, or id of wearer equipment.", show_default=False
    ),
]
Supply = Annotated[
    str | None,
    typer.Option(
        "--supply",
        metavar="NAME",
        help="Supply of the outlet; the only one if not given. It stays with it.",
    ),
]
Place = Annotated[str | None, typer.Option("--place", metavar="TEXT", help="Where it is.")]


@app.command()
def add(
    name: NewName,
    supply: Supply = None,
    place: Place = None,
    note: opt.Note = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record a new outlet.

    Example: lungwort outlet add hall-1 --supply hall --place "north wall, by the door"
    """
    from lungwort.jobs.catalogue import outlet as job  # noqa: PLC0415 - keeps --help instant

    facts = job.OutletFacts(
        supply=supply,
        place=place,
        note=note,
    )
    things.done(job.add(things.session(workspace, by, clock_is_right), name, facts))


@app.command("list")
def list_(
    supply: Annotated[
        str | None, typer.Option("--supply", metavar="NAME", help="Only those of this supply.")
    ] = None,
    all_: opt.All = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """List the outlets.

    Example: lungwort outlet list --supply hall
    """
    from lungwort.jobs.catalogue import outlet as job  # noqa: PLC0415 - keeps --help instant

    found = job.listed(things.where(workspace), retired_too=all_, supply=supply)
    things.listing(found, as_json)


@app.command()
def show(
    name: Name,
    history: opt.History = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Show an outlet: what is worn there, newest tests and logs.

    Example: lungwort outlet show hall-1
    """
    from lungwort.jobs.catalogue import outlet as job  # noqa: PLC0415 - keeps --help instant

    found = job.show(things.where(workspace), name, history=history)
    things.view(found, as_json)


@app.command()
def change(
    name: Name,
    new_name: opt.Rename = None,
    supply: Supply = None,
    place: Place = None,
    note: opt.Note = None,
    retire: opt.Retire = None,
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record what is different about an outlet. It stays with its supply.

    What was on record stays, and 'show --history' lists it.

    Example: lungwort outlet change hall-1 --retire --reason "pipe cut off"
    """
    from lungwort.jobs.catalogue import outlet as job  # noqa: PLC0415 - keeps --help instant

    facts = job.OutletFacts(
        supply=supply,
        place=place,
        name=new_name,
        note=note,
        in_use=things.in_use(retire),
    )
    at = things.session(workspace, by, clock_is_right)
    things.done(job.change(at, name, facts, reason))


@app.command()
def void(
    name: Voided,
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Void an outlet, or equipment at one, that was recorded by mistake.

    Refused while a test, a log or a verdict refers to it.

    It stays in the record with the reason, and counts no more.

    Example: lungwort outlet void hall-11 --reason "typing mistake"
    """
    from lungwort.jobs.catalogue import outlet as job  # noqa: PLC0415 - keeps --help instant

    things.done(job.void(things.session(workspace, by, clock_is_right), name, reason))


@app.command()
def equipment(
    name: Name,
    what: Annotated[
        str,
        typer.Argument(metavar="WHAT", help="What is worn, like 'half mask'.", show_default=False),
    ],
    minimum_flow: Annotated[
        str | None,
        typer.Option(
            "--minimum-flow",
            metavar="FLOW",
            help="Least flow for one wearer by its maker, such as '170 L/min'; 'none' takes it away.",
        ),
    ] = None,
    lowest_pressure: Annotated[
        str | None,
        typer.Option(
            "--lowest-pressure",
            metavar="PRESSURE",
            help="Lowest pressure at the hose's inlet with which it works, such as '4 bar(g)'.",
        ),
    ] = None,
    highest_pressure: Annotated[
        str | None,
        typer.Option(
            "--highest-pressure",
            metavar="PRESSURE",
            help="Highest pressure at the hose's inlet with which it works, such as '7 bar(g)'.",
        ),
    ] = None,
    count: Annotated[
        str | None,
        typer.Option("--count", metavar="N", help="How many are worn at once; 1 if not given."),
    ] = None,
    new_name: opt.Rename = None,
    note: opt.Note = None,
    retire: opt.Retire = None,
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record what is worn at an outlet, or what is different about it (with --reason).

    Example: lungwort outlet equipment hall-1 hood --minimum-flow "170 L/min" --lowest-pressure
    "4 bar(g)" --highest-pressure "7 bar(g)" --count 2
    """
    from lungwort.jobs.catalogue import outlet as job  # noqa: PLC0415 - keeps --help instant

    facts = job.EquipmentFacts(
        name=new_name,
        minimum_flow_l_min=minimum_flow,
        lowest_pressure_bar_g=lowest_pressure,
        highest_pressure_bar_g=highest_pressure,
        count=count,
        note=note,
        in_use=things.in_use(retire),
    )
    at = things.session(workspace, by, clock_is_right)
    things.done(job.equipment(at, name, what, facts, reason))
