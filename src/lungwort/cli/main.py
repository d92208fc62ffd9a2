"""The ``lungwort`` command: its subcommands, and how errors reach the user."""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer

from lungwort.cli import (
    account,
    finding,
    instrument,
    lot,
    outlet,
    person,
    plant,
    site,
    supply,
    workspace,
)
from lungwort.cli.cause import cause
from lungwort.cli.certificate import certificate
from lungwort.cli.certify import certify
from lungwort.cli.convert import NumberCommand, convert
from lungwort.cli.demo import demo
from lungwort.cli.due import due
from lungwort.cli.exposure import exposure
from lungwort.cli.import_ import import_
from lungwort.cli.inspect import inspect
from lungwort.cli.judge import judge
from lungwort.cli.limits import limits
from lungwort.cli.pack import pack
from lungwort.cli.print_ import app as print_app
from lungwort.cli.return_ import return_
from lungwort.cli.serve import serve
from lungwort.cli.status import status
from lungwort.cli.test import app as test_app
from lungwort.cli.trend import trend
from lungwort.cli.uncertainty import uncertainty
from lungwort.cli.verify import verify
from lungwort.cli.withdraw import withdraw
from lungwort.errors import LungwortError

CANNOT_BE_USED = 2
_INTERRUPTED = 130

app = typer.Typer(
    name="lungwort",
    help=(
        "Is this air fit to breathe, and can it be proved? From a logger's file to a verdict. "
        "A verdict helps a competent person decide; it does not replace the standard itself or local codes."
    ),
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    rich_markup_mode=None,
)
app.command()(judge)
app.command()(inspect)
app.command()(limits)
app.command(cls=NumberCommand)(convert)
app.command()(demo)
app.add_typer(workspace.app, name="workspace")
app.add_typer(site.app, name="site")
app.add_typer(supply.app, name="supply")
app.add_typer(outlet.app, name="outlet")
app.add_typer(instrument.app, name="instrument")
app.add_typer(person.app, name="person")
app.add_typer(lot.app, name="lot")
app.command("import")(import_)
app.command()(certify)
app.command()(withdraw)
app.command("return")(return_)
app.add_typer(finding.app, name="finding")
app.add_typer(test_app, name="test")
print_app.command()(certificate)
app.add_typer(print_app, name="print")
app.command()(pack)
app.command()(verify)
app.command()(status)
app.command()(due)
app.add_typer(plant.app, name="plant")
app.command()(exposure)
app.command()(cause)
app.command()(trend)
app.command()(uncertainty)
app.command()(serve)
app.add_typer(account.app, name="account")


def _version(wanted: bool) -> None:
    if wanted:
        from lungwort import __version__  # noqa: PLC0415 - only here

        typer.echo(f"lungwort {__version__}")
        raise typer.Exit


@app.callback()
def _main(
    version: Annotated[
        bool,
        typer.Option(
            "--version", help="Print the version and stop.", callback=_version, is_eager=True
        ),
    ] = False,
) -> None:
    pass


def run() -> None:
    """Run the command line; every failure leaves with a message and without a traceback."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8", errors="replace")
    try:
        app()
    except LungwortError as error:
        _say(str(error))
        sys.exit(CANNOT_BE_USED)
    except KeyboardInterrupt:
        _say("interrupted; nothing was written.")
        sys.exit(_INTERRUPTED)
    except BrokenPipeError:
        sys.exit(CANNOT_BE_USED)
    except OSError as error:
        _say(f"the system says: {error}. Check the file, the folder and the space on the disk.")
        sys.exit(CANNOT_BE_USED)
    except MemoryError:
        _say(
            "there is not enough memory for this. Close other programs, or judge a shorter period."
        )
        sys.exit(CANNOT_BE_USED)
    except Exception as error:
        # The last net: a fault of lungwort's own must not look like a verdict or a wall of text.
        if os.environ.get("LUNGWORT_DEBUG"):
            raise
        _say(
            f"a fault in lungwort itself ({type(error).__name__}: {error}). There is no verdict. "
            "Set LUNGWORT_DEBUG=1 to see where it happened, and report it."
        )
        sys.exit(CANNOT_BE_USED)


def _say(text: str) -> None:
    sys.stderr.write(f"lungwort: {text}\n")
