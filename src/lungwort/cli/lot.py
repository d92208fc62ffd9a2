"""``lungwort lot``: what is used up in tests, with expiry and stock."""

from __future__ import annotations

from typing import Annotated

import typer

from lungwort.cli import options as opt
from lungwort.cli import things

app = typer.Typer(
    help="What is used up in tests: add, list, show, change; what was used of it.",
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
    str, typer.Argument(metavar="NAME", help="Name or id of the lot.", show_default=False)
]
Voided = Annotated[
    str,
    typer.Argument(metavar="NAME|ID", help="Name of a lot, or id of a use.", show_default=False),
]
Kind = Annotated[
    str | None,
    typer.Option(
        "--kind", metavar="KIND", help="oil-indicator, tube, calibration-gas, filter or other."
    ),
]
Device = Annotated[
    str | None,
    typer.Option(
        "--device",
        metavar="TEXT",
        help="Id of the kind of tube or indicator, such as tube-co or banded-oil-indicator; else as on its box.",
    ),
]
Analyte = Annotated[
    str | None,
    typer.Option("--analyte", metavar="ANALYTE", help="What it is for, such as co or oil."),
]
Number = Annotated[
    str | None, typer.Option("--lot-number", metavar="TEXT", help="Lot number as printed.")
]
Expires = Annotated[
    str | None,
    typer.Option(
        "--expires",
        metavar="DATE",
        help="Last day of use, like 2027-12-31 (ISO 8601 only); 'none' takes it away.",
    ),
]
Stock = Annotated[
    str | None,
    typer.Option(
        "--stock", metavar="N", help="How many there were when the lot came; 0 if not given."
    ),
]


@app.command()
def add(
    name: NewName,
    kind: Kind = None,
    device: Device = None,
    analyte: Analyte = None,
    lot_number: Number = None,
    expires: Expires = None,
    stock: Stock = None,
    note: opt.Note = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record a new lot.

    Example: lungwort lot add co-tubes-24 --kind tube --analyte co --lot-number 24-117
    --expires 2027-12-31 --stock 10
    """
    from lungwort.jobs.catalogue import lot as job  # noqa: PLC0415 - keeps --help instant

    facts = job.LotFacts(
        kind=kind,
        device=device,
        analyte=analyte,
        lot_number=lot_number,
        expires=expires,
        stock=stock,
        note=note,
    )
    things.done(job.add(things.session(workspace, by, clock_is_right), name, facts))


@app.command("list")
def list_(
    all_: opt.All = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """List the lots with what is left of each.

    Example: lungwort lot list
    """
    from lungwort.jobs.catalogue import lot as job  # noqa: PLC0415 - keeps --help instant

    found = job.listed(things.where(workspace), now=things.now(), used_up_too=all_)
    things.listing(found, as_json)


@app.command()
def show(
    name: Name,
    history: opt.History = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Show a lot with what was used of it.

    Example: lungwort lot show co-tubes-24
    """
    from lungwort.jobs.catalogue import lot as job  # noqa: PLC0415 - keeps --help instant

    found = job.show(things.where(workspace), name, now=things.now(), history=history)
    things.view(found, as_json)


@app.command()
def change(
    name: Name,
    new_name: opt.Rename = None,
    kind: Kind = None,
    device: Device = None,
    analyte: Analyte = None,
    lot_number: Number = None,
    expires: Expires = None,
    stock: Stock = None,
    note: opt.Note = None,
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record what is different about a lot.

    What was on record stays, and 'show --history' lists it.

    Example: lungwort lot change co-tubes-24 --stock 20 --reason "two boxes came"
    """
    from lungwort.jobs.catalogue import lot as job  # noqa: PLC0415 - keeps --help instant

    facts = job.LotFacts(
        kind=kind,
        device=device,
        analyte=analyte,
        lot_number=lot_number,
        expires=expires,
        stock=stock,
        name=new_name,
        note=note,
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
    """Void a lot, or a use of one, that was recorded by mistake.

    A lot is refused while a test or a use refers to it.

    It stays in the record with the reason, and counts no more.

    Example: lungwort lot void co-tubes-24 --reason "never came"
    """
    from lungwort.jobs.catalogue import lot as job  # noqa: PLC0415 - keeps --help instant

    things.done(job.void(things.session(workspace, by, clock_is_right), name, reason))


@app.command()
def use(
    name: Name,
    count: Annotated[str, typer.Argument(metavar="COUNT", help="How many.", show_default=False)],
    why: Annotated[str | None, typer.Option("--why", metavar="TEXT", help="What for.")] = None,
    time: opt.When = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record that some of a lot was used up or thrown away outside a test.

    Example: lungwort lot use co-tubes-24 2 --why "broken in the box"
    """
    from lungwort.jobs.catalogue import lot as job  # noqa: PLC0415 - keeps --help instant

    at = things.session(workspace, by, clock_is_right)
    things.done(job.use(at, name, count, why=why, time=time))
