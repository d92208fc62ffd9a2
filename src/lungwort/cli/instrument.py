"""``lungwort instrument``: what measures, with its calibrations and bump tests."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lungwort.cli import options as opt
from lungwort.cli import things

app = typer.Typer(
    help="What measures: add, list, show, change; its calibrations and bump tests.",
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
    str, typer.Argument(metavar="NAME", help="Name or id of the instrument.", show_default=False)
]
Voided = Annotated[
    str,
    typer.Argument(
        metavar="NAME|ID",
        help="Name of an instrument, or id of a calibration or bump test.",
        show_default=False,
    ),
]
Type = Annotated[str | None, typer.Option("--type", metavar="TEXT", help="What it is, in words.")]
Serial = Annotated[str | None, typer.Option("--serial", metavar="TEXT", help="Serial number.")]
Channel = Annotated[
    list[str] | None,
    typer.Option(
        "--channel",
        metavar="CHANNEL",
        help="What it measures, like 'co=0-100 ppm ± 2 ppm' (range, and expanded uncertainty k = 2 where known); repeat as needed.",
    ),
]
Months = Annotated[
    str | None,
    typer.Option(
        "--calibration-months",
        metavar="MONTHS",
        help="Months between calibrations; the rule set's if not given, and again with 'none'.",
    ),
]
Days = Annotated[
    str | None,
    typer.Option(
        "--bump-days",
        metavar="DAYS",
        help="Days between bump tests; the rule set's if not given, and again with 'none'.",
    ),
]
Rows = Annotated[
    list[str] | None,
    typer.Option(
        "--row",
        metavar="ROW",
        help="What a channel showed, like 'co=50/48.5/50.1 ppm ± 2 ppm': offered, as found, as left (where it was adjusted), tolerance (where stated; also '± 10 % of reference'); repeat as needed.",
    ),
]
Passed = Annotated[
    bool | None,
    typer.Option(
        "--passed/--failed", help="Whether the instrument may be used.", show_default=False
    ),
]
Until = Annotated[
    str | None,
    typer.Option(
        "--valid-until",
        metavar="DATE",
        help="Last day on which it holds, where its paper says so, like 2027-03-31 (ISO 8601 only).",
    ),
]
DoneBy = Annotated[
    str | None,
    typer.Option(
        "--done-by", metavar="TEXT", help="Who did it, such as the laboratory; you if not given."
    ),
]
Paper = Annotated[
    Path | None,
    typer.Option(
        "--paper", metavar="FILE", help="Its certificate, which is kept in the workspace."
    ),
]


@app.command()
def add(
    name: NewName,
    type_: Type = None,
    serial: Serial = None,
    channel: Channel = None,
    calibration_months: Months = None,
    bump_days: Days = None,
    note: opt.Note = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record a new instrument.

    Example: lungwort instrument add analyser-1 --type "four-gas analyser" --serial 4711
    --channel "co=0-100 ppm ± 2 ppm" --channel "o2=0-25 % ± 0.3 %" --calibration-months 6
    """
    from lungwort.jobs.catalogue import instrument as job  # noqa: PLC0415 - keeps --help instant

    facts = job.InstrumentFacts(
        type=type_,
        serial=serial,
        channels=tuple(channel) if channel else None,
        calibration_months=calibration_months,
        bump_days=bump_days,
        note=note,
    )
    things.done(job.add(things.session(workspace, by, clock_is_right), name, facts))


@app.command("list")
def list_(
    all_: opt.All = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """List the instruments, and what is not in order with them today.

    Example: lungwort instrument list
    """
    from lungwort.jobs.catalogue import instrument as job  # noqa: PLC0415 - keeps --help instant

    found = job.listed(things.where(workspace), now=things.now(), retired_too=all_)
    things.listing(found, as_json)


@app.command()
def show(
    name: Name,
    history: opt.History = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Show an instrument with its calibrations and bump tests.

    Example: lungwort instrument show analyser-1
    """
    from lungwort.jobs.catalogue import instrument as job  # noqa: PLC0415 - keeps --help instant

    found = job.show(things.where(workspace), name, now=things.now(), history=history)
    things.view(found, as_json)


@app.command()
def change(
    name: Name,
    new_name: opt.Rename = None,
    type_: Type = None,
    serial: Serial = None,
    channel: Channel = None,
    calibration_months: Months = None,
    bump_days: Days = None,
    note: opt.Note = None,
    retire: opt.Retire = None,
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record what is different about an instrument. Channels that are given take the place of all before.

    What was on record stays, and 'show --history' lists it.

    Example: lungwort instrument change analyser-1 --bump-days 1 --reason "the maker asks for it"
    """
    from lungwort.jobs.catalogue import instrument as job  # noqa: PLC0415 - keeps --help instant

    facts = job.InstrumentFacts(
        type=type_,
        serial=serial,
        channels=tuple(channel) if channel else None,
        calibration_months=calibration_months,
        bump_days=bump_days,
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
    """Void an instrument, a calibration or a bump test that was recorded by mistake.

    An instrument is refused while anything in force refers to it.

    It stays in the record with the reason, and counts no more.

    Example: lungwort instrument void calibration-abcdefghijklmnop --reason "of another instrument"
    """
    from lungwort.jobs.catalogue import instrument as job  # noqa: PLC0415 - keeps --help instant

    things.done(job.void(things.session(workspace, by, clock_is_right), name, reason))


@app.command()
def calibrate(
    name: Name,
    row: Rows = None,
    passed: Passed = None,
    time: opt.When = None,
    valid_until: Until = None,
    done_by: DoneBy = None,
    paper: Paper = None,
    note: opt.Note = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record a calibration. A row beyond its tolerance did not pass.

    Example: lungwort instrument calibrate analyser-1 --row "co=50/48.5/50.1 ppm ± 2 ppm" --passed
    --valid-until 2027-03-31 --paper certificate.pdf
    """
    from lungwort.jobs.catalogue import instrument as job  # noqa: PLC0415 - keeps --help instant

    facts = job.CalibrationFacts(
        rows=tuple(row or ()),
        passed=passed,
        time=time,
        valid_until=valid_until,
        done_by=done_by,
        note=note,
        paper=paper,
    )
    things.done(job.calibrate(things.session(workspace, by, clock_is_right), name, facts))


@app.command()
def bump(
    name: Name,
    row: Rows = None,
    passed: Passed = None,
    time: opt.When = None,
    valid_until: Until = None,
    done_by: DoneBy = None,
    paper: Paper = None,
    note: opt.Note = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record a bump test. A row beyond its tolerance did not pass.

    Example: lungwort instrument bump analyser-1 --row "co=50/48.5 ppm ± 10 % of reference" --passed
    """
    from lungwort.jobs.catalogue import instrument as job  # noqa: PLC0415 - keeps --help instant

    facts = job.CalibrationFacts(
        rows=tuple(row or ()),
        passed=passed,
        time=time,
        valid_until=valid_until,
        done_by=done_by,
        note=note,
        paper=paper,
    )
    things.done(job.bump(things.session(workspace, by, clock_is_right), name, facts))


@app.command()
def paper(
    calibration: Annotated[
        str,
        typer.Argument(
            metavar="ID",
            help="Id of the calibration, as 'instrument show' gives it.",
            show_default=False,
        ),
    ],
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="A new file.")] = ...,  # type: ignore[assignment]
    workspace: opt.Workspace = None,
) -> None:
    """Write the certificate that is kept with a calibration to a file.

    Example: lungwort instrument paper calibration-abcdefghijklmnop --to certificate.pdf
    """
    from lungwort.jobs.catalogue import instrument as job  # noqa: PLC0415 - keeps --help instant

    typer.echo(f"Written: {job.paper(things.where(workspace), calibration, to)}")
