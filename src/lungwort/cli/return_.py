"""``lungwort return``: a supply goes back into service."""

from __future__ import annotations

from typing import Annotated

import typer

from lungwort.cli import options as opt


def return_(
    supply: Annotated[
        str, typer.Argument(metavar="SUPPLY", help="Which supply.", show_default=False)
    ],
    because: Annotated[
        str, typer.Option("--because", metavar="TEXT", help="What else is to be said of it.")
    ] = "",
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
    as_json: opt.AsJson = False,
) -> None:
    """Return a supply to service, or put a new one into service.

    Each open finding needs a cause and a cure, and each outlet in use a conforming verdict whose
    evidence was all taken after them; whatever is missing is listed, and nothing is recorded then.
    The findings are closed in the same change.

    Example: lungwort return main
    """
    from lungwort.cli import things  # noqa: PLC0415 - keeps --help instant
    from lungwort.cli.withdraw import show_state  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.return_ import return_supply  # noqa: PLC0415 - keeps --help instant

    done = return_supply(things.session(workspace, by, clock_is_right), supply, because)
    show_state(done, as_json=as_json)
