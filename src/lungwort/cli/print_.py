"""``lungwort print``: papers from the record, to hang up, hand over or keep."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lungwort.cli import options as opt

if TYPE_CHECKING:
    from lungwort.jobs.print import Printed

app = typer.Typer(
    help="Papers from the record: report of a period, site summary, tags, withdrawn notice, workbook.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Supply = Annotated[
    str, typer.Argument(metavar="SUPPLY", help="Name or id of the supply.", show_default=False)
]
Pdf = Annotated[
    Path | None,
    typer.Option(
        "--pdf",
        metavar="FILE",
        help="Where to write it; in the current folder by a name of its own if not given.",
    ),
]


@app.command()
def report(
    supply: Supply,
    pdf: Pdf = None,
    begin: Annotated[
        str | None,
        typer.Option(
            "--from",
            metavar="DAY",
            help="First day, such as 2026-01-01; twelve months before the last if not given.",
        ),
    ] = None,
    end: Annotated[
        str | None,
        typer.Option("--to", metavar="DAY", help="Last day; today if not given."),
    ] = None,
    by: Annotated[
        str | None,
        typer.Option("--by", metavar="NAME", help="Who signs it; left to fill in if not given."),
    ] = None,
    workspace: opt.Workspace = None,
) -> None:
    """Print the report of a supply over a period: states, verdicts, findings, excursions, trends.

    Example: lungwort print report yard --from 2026-01-01 --to 2026-12-31 --pdf yard-2026.pdf
    """
    from lungwort.jobs import print as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.opening import Where  # noqa: PLC0415 - keeps --help instant

    _say(
        job.report(
            Where(workspace), supply, pdf, now=datetime.now(UTC), begin=begin, end=end, by=by
        )
    )


@app.command()
def summary(
    pdf: Pdf = None,
    site: Annotated[
        str | None,
        typer.Option("--site", metavar="NAME", help="Which site; the only one if not given."),
    ] = None,
    within: Annotated[
        str | None,
        typer.Option("--within", metavar="TIME", help="How far ahead to look; 60d if not given."),
    ] = None,
    workspace: opt.Workspace = None,
) -> None:
    """Print the summary of a site: all supplies with state, verdict, weakest evidence, what is due.

    Example: lungwort print summary --site slipway --pdf slipway.pdf
    """
    from lungwort.jobs import print as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.due import parse_within  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.opening import Where  # noqa: PLC0415 - keeps --help instant

    days = parse_within(within)
    _say(job.summary(Where(workspace), site, pdf, now=datetime.now(UTC), within_days=days))


@app.command()
def tag(
    supply: Supply,
    pdf: Pdf = None,
    stage: Annotated[
        list[str] | None,
        typer.Option(
            "--stage",
            metavar="NAME",
            help="Which stage; all with a change on record if not given. Repeat as needed.",
        ),
    ] = None,
    paper: Annotated[
        str,
        typer.Option("--paper", metavar="a6|a4", help="One tag on an A6 page, or four on an A4."),
    ] = "a6",
    workspace: opt.Workspace = None,
) -> None:
    """Print the tag of a cartridge change, to be tied to the stage.

    Example: lungwort print tag yard --stage carbon --pdf tag.pdf
    """
    from lungwort.jobs import print as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.opening import Where  # noqa: PLC0415 - keeps --help instant

    _say(
        job.tags(
            Where(workspace),
            supply,
            pdf,
            now=datetime.now(UTC),
            stages=tuple(stage or ()),
            paper=paper,
        )
    )


@app.command()
def notice(
    supply: Supply,
    pdf: Pdf = None,
    decides: Annotated[
        str | None,
        typer.Option(
            "--decides",
            metavar="TEXT",
            help="Who decides that it returns to service; who withdrew it if not given.",
        ),
    ] = None,
    workspace: opt.Workspace = None,
) -> None:
    """Print the notice to hang at a supply that is withdrawn.

    Example: lungwort print notice yard --pdf notice.pdf
    """
    from lungwort.jobs import print as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.opening import Where  # noqa: PLC0415 - keeps --help instant

    _say(job.notice(Where(workspace), supply, pdf, now=datetime.now(UTC), decides=decides))


@app.command("tests")
def workbook(
    xlsx: Annotated[
        Path | None,
        typer.Option("--xlsx", metavar="FILE", help="Where to write it; tests.xlsx if not given."),
    ] = None,
    workspace: opt.Workspace = None,
) -> None:
    """Write all tests, verdicts, certificates, findings, instruments and lots as a workbook.

    Example: lungwort print tests --xlsx tests.xlsx
    """
    from lungwort.jobs import print as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.opening import Where  # noqa: PLC0415 - keeps --help instant

    _say(job.workbook(Where(workspace), xlsx, now=datetime.now(UTC)))


def _say(made: Printed) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant

    out = show.console()
    out.print(Text(f"Written: {made.path}"), soft_wrap=True)
    for note in made.notes:
        out.print(Text(f"Mind: {note}"))
