"""``lungwort person``: who tests, decides and signs."""

from __future__ import annotations

from typing import Annotated

import typer

from lungwort.cli import options as opt
from lungwort.cli import things

app = typer.Typer(
    help="Who tests, decides and signs: add, list, show, change.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

NewName = Annotated[
    str, typer.Argument(metavar="NAME", help="Name of the person, in quotes.", show_default=False)
]
Name = Annotated[
    str, typer.Argument(metavar="NAME", help="Name or id of the person.", show_default=False)
]
Role = Annotated[
    str | None, typer.Option("--role", metavar="TEXT", help="What the person does, in words.")
]
Competent = Annotated[
    str | None,
    typer.Option(
        "--competent-until",
        metavar="DATE",
        help="Last day of the competence to test, like 2027-03-31 (ISO 8601 only); 'none' takes it away.",
    ),
]


@app.command()
def add(
    name: NewName,
    role: Role = None,
    competent_until: Competent = None,
    note: opt.Note = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record a new person.

    Example: lungwort person add "Idris Pellow" --role "tests by hand" --competent-until 2027-03-31
    """
    from lungwort.jobs.catalogue import person as job  # noqa: PLC0415 - keeps --help instant

    facts = job.PersonFacts(
        role=role,
        competent_until=competent_until,
        note=note,
    )
    things.done(job.add(things.session(workspace, by, clock_is_right), name, facts))


@app.command("list")
def list_(
    all_: opt.All = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """List the persons.

    Example: lungwort person list
    """
    from lungwort.jobs.catalogue import person as job  # noqa: PLC0415 - keeps --help instant

    found = job.listed(things.where(workspace), retired_too=all_)
    things.listing(found, as_json)


@app.command()
def show(
    name: Name,
    history: opt.History = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Show a person.

    Example: lungwort person show "Idris Pellow" --history
    """
    from lungwort.jobs.catalogue import person as job  # noqa: PLC0415 - keeps --help instant

    found = job.show(things.where(workspace), name, now=things.now(), history=history)
    things.view(found, as_json)


@app.command()
def change(
    name: Name,
    new_name: opt.Rename = None,
    role: Role = None,
    competent_until: Competent = None,
    note: opt.Note = None,
    retire: opt.Retire = None,
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record what is different about a person; --retire for somebody who has left.

    What was on record stays, and 'show --history' lists it.

    Example: lungwort person change "Idris Pellow" --competent-until 2028-03-31 --reason "course passed"
    """
    from lungwort.jobs.catalogue import person as job  # noqa: PLC0415 - keeps --help instant

    facts = job.PersonFacts(
        role=role,
        competent_until=competent_until,
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
    """Void a person who was recorded by mistake; refused while anything on record is theirs.

    It stays in the record with the reason, and counts no more.

    Example: lungwort person void "Idris Pelow" --reason "typing mistake"
    """
    from lungwort.jobs.catalogue import person as job  # noqa: PLC0415 - keeps --help instant

    things.done(job.void(things.session(workspace, by, clock_is_right), name, reason))
