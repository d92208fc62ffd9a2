"""``lungwort withdraw``: nobody breathes the air of a supply until it is returned."""

from __future__ import annotations

from typing import Annotated

import typer

from lungwort.cli import options as opt


def withdraw(
    supply: Annotated[
        str, typer.Argument(metavar="SUPPLY", help="Which supply.", show_default=False)
    ],
    because: Annotated[
        str, typer.Option("--because", metavar="TEXT", help="Why.", show_default=False)
    ],
    finding: Annotated[
        list[str] | None,
        typer.Option(
            "--finding",
            metavar="NUMBER",
            help="Finding that led to it; open ones of the supply count in any case. Repeat as needed.",
        ),
    ] = None,
    time: opt.When = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
    as_json: opt.AsJson = False,
) -> None:
    """Withdraw a supply from service.

    It is returned by 'lungwort return', once the cause and the cure of what was wrong are on record
    and a retest after the cure conforms.

    Example: lungwort withdraw main --because "smell of oil at slip-2"
    """
    from lungwort.cli import things  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.withdraw import withdraw as job  # noqa: PLC0415 - keeps --help instant

    session = things.session(workspace, by, clock_is_right)
    done = job(session, supply, because, findings=finding or (), time=time)
    show_state(done, as_json=as_json)


def show_state(done: object, *, as_json: bool) -> None:
    """Show a supply's new state."""
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import show, things  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.withdraw import StateChanged  # noqa: PLC0415 - keeps --help instant

    if not isinstance(done, StateChanged):
        raise TypeError("a supply's state is shown here")
    if as_json:
        things.print_json(done.plain())
        return
    out = show.console()
    style = "bold red" if done.state.state == "withdrawn" else "bold green"
    out.print(Text(f"{done.said}", style=style))
    things.facts(
        out,
        (
            ("Since", done.when),
            ("Why", done.state.why),
            *((("Findings", ", ".join(done.findings)),) if done.findings else ()),
            *((f"Verdict of {place}", verdict_id) for place, verdict_id in done.verdicts),
        ),
    )
    things.remarks(out, done.remarks)
    things.next_steps(out, done.next_steps)
