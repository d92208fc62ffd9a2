"""``lungwort site``: the places with breathing air."""

from __future__ import annotations

from typing import Annotated

import typer

from lungwort.cli import options as opt
from lungwort.cli import things

app = typer.Typer(
    help="The places with breathing air: add, list, show, change.",
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
    str, typer.Argument(metavar="NAME", help="Name or id of the site.", show_default=False)
]
Title = Annotated[str | None, typer.Option("--title", metavar="TEXT", help="Name as on paper.")]
Address = Annotated[
    str | None, typer.Option("--address", metavar="TEXT", help="Address as on paper.")
]
Zone = Annotated[
    str | None,
    typer.Option(
        "--zone",
        metavar="ZONE",
        help="Time zone of the site, such as Europe/London; UTC if not given.",
    ),
]
Limits = Annotated[
    str | None,
    typer.Option(
        "--limits",
        metavar="ID|FILE",
        help="Limit set that holds where a supply names none; 'lungwort limits' lists them.",
    ),
]
Plan = Annotated[
    str | None,
    typer.Option(
        "--plan", metavar="ID|FILE", help="Rule set for intervals; uk-guidance if not given."
    ),
]
Retention = Annotated[
    str | None,
    typer.Option(
        "--retention-years", metavar="YEARS", help="How long records are kept; 5 if not given."
    ),
]
Second = Annotated[
    str | None,
    typer.Option(
        "--second-signature",
        metavar="yes|no",
        help="Whether a second person must approve certificates; no if not given.",
    ),
]


@app.command()
def add(
    name: NewName,
    title: Title = None,
    address: Address = None,
    zone: Zone = None,
    limits: Limits = None,
    plan: Plan = None,
    retention_years: Retention = None,
    second_signature: Second = None,
    note: opt.Note = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record a new site.

    Example: lungwort site add slipway --title "Merrowgate Slipway" --zone Europe/London
    --limits en12021-2014-airline
    """
    from lungwort.jobs.catalogue import site as job  # noqa: PLC0415 - keeps --help instant

    facts = job.SiteFacts(
        title=title,
        address=address,
        zone=zone,
        limit_set=limits,
        plan=plan,
        retention_years=retention_years,
        second_signature=second_signature,
        note=note,
    )
    things.done(job.add(things.session(workspace, by, clock_is_right), name, facts))


@app.command("list")
def list_(
    all_: opt.All = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """List the sites.

    Example: lungwort site list
    """
    from lungwort.jobs.catalogue import site as job  # noqa: PLC0415 - keeps --help instant

    found = job.listed(things.where(workspace), retired_too=all_)
    things.listing(found, as_json)


@app.command()
def show(
    name: Name,
    history: opt.History = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Show a site with its supplies.

    Example: lungwort site show slipway
    """
    from lungwort.jobs.catalogue import site as job  # noqa: PLC0415 - keeps --help instant

    found = job.show(things.where(workspace), name, history=history)
    things.view(found, as_json)


@app.command()
def change(
    name: Name,
    new_name: opt.Rename = None,
    title: Title = None,
    address: Address = None,
    zone: Zone = None,
    limits: Limits = None,
    plan: Plan = None,
    retention_years: Retention = None,
    second_signature: Second = None,
    note: opt.Note = None,
    retire: opt.Retire = None,
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record what is different about a site.

    What was on record stays, and 'show --history' lists it.

    Example: lungwort site change slipway --plan quarterly --reason "as agreed with the insurer"
    """
    from lungwort.jobs.catalogue import site as job  # noqa: PLC0415 - keeps --help instant

    facts = job.SiteFacts(
        title=title,
        address=address,
        zone=zone,
        limit_set=limits,
        plan=plan,
        retention_years=retention_years,
        second_signature=second_signature,
        name=new_name,
        note=note,
        in_use=things.in_use(retire),
    )
    at = things.session(workspace, by, clock_is_right)
    things.done(job.change(at, name, facts, reason))


@app.command()
def void(
    name: Name,
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Void a site that was recorded by mistake; refused while a supply refers to it.

    It stays in the record with the reason, and counts no more.

    Example: lungwort site void slipwya --reason "typing mistake"
    """
    from lungwort.jobs.catalogue import site as job  # noqa: PLC0415 - keeps --help instant

    things.done(job.void(things.session(workspace, by, clock_is_right), name, reason))
