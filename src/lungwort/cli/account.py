"""``lungwort account``: who may sign in, and machines' tokens."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from lungwort.cli import options as opt
from lungwort.cli import things
from lungwort.errors import InputError

if TYPE_CHECKING:
    from lungwort.jobs.account import Told

app = typer.Typer(
    help="Who may sign in to 'lungwort serve': add, list, change, close; and machines' tokens.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
token_app = typer.Typer(
    help="Tokens with which machines read the record or bring in logs: add, list, revoke.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(token_app, name="token")

PASSWORD: Final = "LUNGWORT_PASSWORD"  # noqa: S105 - the name of a variable

Name = Annotated[
    str, typer.Argument(metavar="NAME", help="Name of the account.", show_default=False)
]
PasswordFile = Annotated[
    Path | None,
    typer.Option(
        "--password-file",
        metavar="FILE",
        help="File whose first line is the password; else LUNGWORT_PASSWORD, else it is asked for.",
    ),
]
MustChange = Annotated[
    bool,
    typer.Option("--must-change", help="The password is to be changed at the next sign-in."),
]
_ROLES: Final = "look|test|approve|keep"


@app.command()
def add(
    person: Annotated[
        str,
        typer.Argument(
            metavar="PERSON", help="Name or id of a person on record.", show_default=False
        ),
    ],
    role: Annotated[
        str,
        typer.Option(
            "--role",
            metavar=_ROLES,
            help="What the account may do, each with all before it; the first one must keep.",
            show_default=False,
        ),
    ],
    name: Annotated[
        str | None,
        typer.Option(
            "--name", metavar="TEXT", help="What is typed at signing in; else the person's name."
        ),
    ] = None,
    must_change: MustChange = False,
    password_file: PasswordFile = None,
    workspace: opt.Workspace = None,
) -> None:
    """Make an account for a person on record. The password has at least 12 characters.

    Once there is an account, everybody signs in, also on this computer.

    Example: lungwort account add "Wenna Harkle" --role keep
    """
    from lungwort.jobs import account as job  # noqa: PLC0415 - keeps --help instant

    _done(
        job.add(
            things.where(workspace),
            person,
            role=role,
            password=_password(password_file),
            now=things.now(),
            name=name,
            must_change=must_change,
        )
    )


@app.command("list")
def list_(workspace: opt.Workspace = None, as_json: opt.AsJson = False) -> None:
    """List the accounts.

    Example: lungwort account list
    """
    from lungwort.jobs import account as job  # noqa: PLC0415 - keeps --help instant

    things.listing(job.listed(things.where(workspace)), as_json)


@app.command()
def change(
    name: Name,
    role: Annotated[
        str | None, typer.Option("--role", metavar=_ROLES, help="What the account may do.")
    ] = None,
    new_name: Annotated[
        str | None,
        typer.Option("--name", metavar="NEW", help="What is typed at signing in from now on."),
    ] = None,
    new_password: Annotated[
        bool,
        typer.Option(
            "--new-password",
            help="Give it a new password, which is asked for; its visits end, and a name that "
            "failed tries have closed is open again.",
        ),
    ] = False,
    must_change: MustChange = False,
    password_file: PasswordFile = None,
    drop_codes: Annotated[
        bool,
        typer.Option(
            "--drop-codes", help="Ask for one-time codes no more, where the device is lost."
        ),
    ] = False,
    workspace: opt.Workspace = None,
) -> None:
    """Change an account: its role, its name, its password.

    Example: lungwort account change "Idris Pellow" --role approve
    """
    from lungwort.jobs import account as job  # noqa: PLC0415 - keeps --help instant

    wanted = new_password or password_file is not None
    if must_change and not wanted:
        raise InputError("--must-change belongs to a new password: give --new-password too.")
    _done(
        job.change(
            things.where(workspace),
            name,
            role=role,
            new_name=new_name,
            password=_password(password_file) if wanted else None,
            must_change=must_change,
            drop_codes=drop_codes,
        )
    )


@app.command()
def close(name: Name, workspace: opt.Workspace = None) -> None:
    """Close an account: its visits end, and its tokens are taken no more.

    What the person did stays on record. The last account that keeps the workspace stays open.

    Example: lungwort account close "Idris Pellow"
    """
    from lungwort.jobs import account as job  # noqa: PLC0415 - keeps --help instant

    _done(job.close(things.where(workspace), name))


@token_app.command("add")
def token_add(
    name: Name,
    label: Annotated[
        str,
        typer.Option("--label", metavar="TEXT", help="What the token is for.", show_default=False),
    ],
    scope: Annotated[
        list[str],
        typer.Option(
            "--scope",
            metavar="read|import",
            help="What it may do; repeat for both.",
            show_default=False,
        ),
    ],
    days: Annotated[
        int, typer.Option("--days", metavar="N", help="How long it is taken [d].")
    ] = 365,
    workspace: opt.Workspace = None,
) -> None:
    """Make a token for a machine, which acts in the name of an account.

    The token alone is printed on the output, and only now; a note on it goes to the error stream.

    Example: lungwort account token add "Wenna Harkle" --label "logger in hall 1" --scope import
    """
    from lungwort.jobs import machine_token as job  # noqa: PLC0415 - keeps --help instant

    made = job.make_token(
        things.where(workspace), name, scopes=scope, label=label, now=things.now(), days=days
    )
    sys.stdout.write(f"{made.secret}\n")
    sys.stderr.write(f"{made.said}\n")


@token_app.command("list")
def token_list(workspace: opt.Workspace = None, as_json: opt.AsJson = False) -> None:
    """List the tokens of machines; the tokens themselves are not kept.

    Example: lungwort account token list
    """
    from lungwort.jobs import machine_token as job  # noqa: PLC0415 - keeps --help instant

    things.listing(job.tokens(things.where(workspace)), as_json)


@token_app.command("revoke")
def token_revoke(
    token: Annotated[
        str,
        typer.Argument(
            metavar="ID", help="Id of the token, as 'list' shows it.", show_default=False
        ),
    ],
    workspace: opt.Workspace = None,
) -> None:
    """Take a token no more.

    Example: lungwort account token revoke 1f0c9a72
    """
    from lungwort.jobs import machine_token as job  # noqa: PLC0415 - keeps --help instant

    typer.echo(job.revoke(things.where(workspace), token))


def _done(told: Told) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli.show import console  # noqa: PLC0415 - keeps --help instant

    out = console()
    out.print(Text(told.said))
    things.remarks(out, told.remarks)
    things.next_steps(out, told.next_steps)


def _password(file: Path | None) -> str:
    # Never from an option's value: those stay in the history and in the list of processes.
    if file is not None:
        try:
            lines = file.read_text(encoding="utf-8").splitlines()
        except (OSError, ValueError) as error:
            raise InputError(f"--password-file {file} cannot be read: {error}.") from error
        if not lines:
            raise InputError(f"--password-file {file} is empty.")
        return lines[0]
    if given := os.environ.get(PASSWORD):
        return given
    if not sys.stdin.isatty():
        raise InputError(
            f"Nobody can be asked for the password here. Set {PASSWORD} or give --password-file."
        )
    import getpass  # noqa: PLC0415 - only at a terminal

    first = getpass.getpass("Password (at least 12 characters): ")
    if getpass.getpass("The same once more: ") != first:
        raise InputError("The password was not typed the same twice. Nothing was changed.")
    return first
