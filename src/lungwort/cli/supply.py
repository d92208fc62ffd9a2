"""``lungwort supply``: the sources of breathing air with their treatment."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from lungwort.cli import options as opt
from lungwort.cli import things

if TYPE_CHECKING:
    from lungwort.jobs.catalogue.assess import Proposed
    from lungwort.plan.questionnaire import Questionnaire

app = typer.Typer(
    help="The sources of breathing air: add, list, show, change; their treatment, hours and events.",
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
    str, typer.Argument(metavar="NAME", help="Name or id of the supply.", show_default=False)
]
Stage = Annotated[
    str, typer.Argument(metavar="STAGE", help="Name of the stage.", show_default=False)
]
Voided = Annotated[
    str,
    typer.Argument(
        metavar="NAME|ID",
        help="Name of a supply, supply/stage, or id of what was recorded of a supply.",
        show_default=False,
    ),
]
Site = Annotated[
    str | None,
    typer.Option(
        "--site",
        metavar="NAME",
        help="Site of the supply; the only one if not given. Another site is a move.",
    ),
]
Title = Annotated[str | None, typer.Option("--title", metavar="TEXT", help="Name as on paper.")]
Kind = Annotated[
    str | None,
    typer.Option(
        "--kind",
        metavar="KIND",
        help="airline-compressor, charging-compressor, cylinder-bank or ring-main.",
    ),
]
Plate = Annotated[
    str | None,
    typer.Option(
        "--plate", metavar="TEXT", help="What the plate on the machine says: serial number, year."
    ),
]
Oil = Annotated[
    str | None,
    typer.Option(
        "--oil-lubricated",
        metavar="yes|no|unknown",
        help="Whether the compressor is lubricated with oil.",
    ),
]
Lubricant = Annotated[
    str | None, typer.Option("--lubricant", metavar="TEXT", help="Which lubricant.")
]
Intake = Annotated[
    str | None, typer.Option("--intake", metavar="TEXT", help="Where it draws its air.")
]
Serves = Annotated[str | None, typer.Option("--serves", metavar="TEXT", help="Who breathes it.")]
Pressure = Annotated[
    str | None,
    typer.Option(
        "--pressure",
        metavar="PRESSURE",
        help="Highest supply pressure, such as '7 bar(g)'; 'none' takes it away.",
    ),
]
Lowest = Annotated[
    str | None,
    typer.Option(
        "--lowest-temperature",
        metavar="TEMPERATURE",
        help="Lowest temperature that the air line or cylinder meets, such as '5 °C'; 'none' takes it away.",
    ),
]
Limits = Annotated[
    str | None,
    typer.Option(
        "--limits",
        metavar="ID|FILE",
        help="Limit set; the site's if not given, and again with 'none'.",
    ),
]


@app.command()
def add(
    name: NewName,
    site: Site = None,
    title: Title = None,
    kind: Kind = None,
    plate: Plate = None,
    oil_lubricated: Oil = None,
    lubricant: Lubricant = None,
    intake: Intake = None,
    serves: Serves = None,
    pressure: Pressure = None,
    lowest_temperature: Lowest = None,
    limits: Limits = None,
    note: opt.Note = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record a new supply. It is under test until it is returned to service.

    Example: lungwort supply add hall --site slipway --kind airline-compressor --oil-lubricated yes
    --pressure "7 bar(g)" --lowest-temperature "5 °C"
    """
    from lungwort.jobs.catalogue import supply as job  # noqa: PLC0415 - keeps --help instant

    facts = job.SupplyFacts(
        site=site,
        title=title,
        kind=kind,
        maker_plate=plate,
        oil_lubricated=oil_lubricated,
        lubricant=lubricant,
        intake=intake,
        serves=serves,
        pressure_bar_g=pressure,
        lowest_temperature_c=lowest_temperature,
        limit_set=limits,
        note=note,
    )
    things.done(job.add(things.session(workspace, by, clock_is_right), name, facts))


@app.command("list")
def list_(
    all_: opt.All = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """List the supplies with their state.

    Example: lungwort supply list
    """
    from lungwort.jobs.catalogue import supply as job  # noqa: PLC0415 - keeps --help instant

    found = job.listed(things.where(workspace), now=things.now(), retired_too=all_)
    things.listing(found, as_json)


@app.command()
def show(
    name: Name,
    history: opt.History = False,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Show a supply: state, treatment, outlets, hour meter, events, assessments.

    Example: lungwort supply show hall
    """
    from lungwort.jobs.catalogue import supply as job  # noqa: PLC0415 - keeps --help instant

    found = job.show(things.where(workspace), name, now=things.now(), history=history)
    things.view(found, as_json)


@app.command()
def change(
    name: Name,
    new_name: opt.Rename = None,
    site: Site = None,
    title: Title = None,
    kind: Kind = None,
    plate: Plate = None,
    oil_lubricated: Oil = None,
    lubricant: Lubricant = None,
    intake: Intake = None,
    serves: Serves = None,
    pressure: Pressure = None,
    lowest_temperature: Lowest = None,
    limits: Limits = None,
    note: opt.Note = None,
    retire: opt.Retire = None,
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record what is different about a supply. Another site is recorded as a move as well.

    What was on record stays, and 'show --history' lists it.

    Example: lungwort supply change hall --pressure "8 bar(g)" --reason "new regulator"
    """
    from lungwort.jobs.catalogue import supply as job  # noqa: PLC0415 - keeps --help instant

    facts = job.SupplyFacts(
        site=site,
        title=title,
        kind=kind,
        maker_plate=plate,
        oil_lubricated=oil_lubricated,
        lubricant=lubricant,
        intake=intake,
        serves=serves,
        pressure_bar_g=pressure,
        lowest_temperature_c=lowest_temperature,
        limit_set=limits,
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
    """Void a supply, or something recorded of one, that was recorded by mistake.

    Refused while anything in force refers to it.

    It stays in the record with the reason, and counts no more.

    Example: lungwort supply void running-hours-abcdefghijklmnop --reason "misread"
    """
    from lungwort.jobs.catalogue import supply as job  # noqa: PLC0415 - keeps --help instant

    things.done(job.void(things.session(workspace, by, clock_is_right), name, reason))


@app.command()
def stage(
    name: Name,
    stage: Stage,
    kind: Annotated[
        str | None,
        typer.Option(
            "--kind",
            metavar="KIND",
            help="separator, filter, drier, carbon, catalyst, cartridge or other.",
        ),
    ] = None,
    place: Annotated[
        str | None,
        typer.Option(
            "--place", metavar="N", help="Place in the air's way, from 1; last if not given."
        ),
    ] = None,
    change_hours: Annotated[
        str | None,
        typer.Option(
            "--change-hours",
            metavar="HOURS",
            help="Running hours after which its cartridge is changed; 'none' takes it away.",
        ),
    ] = None,
    change_months: Annotated[
        str | None,
        typer.Option(
            "--change-months",
            metavar="MONTHS",
            help="Months after which its cartridge is changed; 'none' takes it away.",
        ),
    ] = None,
    new_name: opt.Rename = None,
    note: opt.Note = None,
    retire: opt.Retire = None,
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record a stage of a supply's treatment, or what is different about it (with --reason).

    Example: lungwort supply stage hall fine-filter --kind filter --change-hours 1000
    --change-months 6
    """
    from lungwort.jobs.catalogue import treatment as job  # noqa: PLC0415 - keeps --help instant

    facts = job.StageFacts(
        name=new_name,
        kind=kind,
        place=place,
        change_hours=change_hours,
        change_months=change_months,
        note=note,
        in_use=things.in_use(retire),
    )
    at = things.session(workspace, by, clock_is_right)
    things.done(job.stage(at, name, stage, facts, reason))


@app.command()
def cartridge(
    name: Name,
    stage: Stage,
    hours: Annotated[
        str | None,
        typer.Option("--hours", metavar="HOURS", help="What the supply's hour meter showed."),
    ] = None,
    lot: Annotated[
        str | None,
        typer.Option(
            "--lot", metavar="NAME", help="Lot of the new cartridge; one of it is used up."
        ),
    ] = None,
    time: opt.When = None,
    note: opt.Note = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record that the cartridge of a stage was changed.

    Example: lungwort supply cartridge hall fine-filter --hours 1234.5 --time "2026-03-04 10:00"
    """
    from lungwort.jobs.catalogue import treatment as job  # noqa: PLC0415 - keeps --help instant

    at = things.session(workspace, by, clock_is_right)
    things.done(job.cartridge(at, name, stage, time=time, hours=hours, lot=lot, note=note))


@app.command()
def hours(
    name: Name,
    hours: Annotated[
        str,
        typer.Argument(metavar="HOURS", help="What the hour meter shows.", show_default=False),
    ],
    time: opt.When = None,
    note: opt.Note = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record what a supply's hour meter shows.

    Example: lungwort supply hours hall 1234.5
    """
    from lungwort.jobs.catalogue import treatment as job  # noqa: PLC0415 - keeps --help instant

    at = things.session(workspace, by, clock_is_right)
    things.done(job.hours(at, name, hours, time=time, note=note))


@app.command()
def event(
    name: Name,
    kind: Annotated[
        str,
        typer.Option("--kind", metavar="KIND", help="maintenance, moved, doubt or other."),
    ] = ...,  # type: ignore[assignment]
    what: Annotated[
        str | None, typer.Option("--what", metavar="TEXT", help="What happened.")
    ] = None,
    time: opt.When = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record that a supply was maintained or moved, or is in doubt: it asks for a new test.

    Example: lungwort supply event hall --kind maintenance --what "valves of stage 1 changed"
    """
    from lungwort.jobs.catalogue import treatment as job  # noqa: PLC0415 - keeps --help instant

    at = things.session(workspace, by, clock_is_right)
    things.done(job.event(at, name, kind=kind, what=what, time=time))


@app.command()
def assess(
    name: Name,
    answer: Annotated[
        list[str] | None,
        typer.Option(
            "--answer",
            metavar="QUESTION=ANSWER",
            help="Answer, such as intake=no; repeat as needed. What is left open is asked at a terminal, else it counts as its worst answer.",
        ),
    ] = None,
    months: Annotated[
        str | None,
        typer.Option(
            "--months",
            metavar="MONTHS",
            help="Interval that is decided; without it only the proposal is shown.",
        ),
    ] = None,
    why: Annotated[
        str | None,
        typer.Option(
            "--why", metavar="TEXT", help="Reasons for another interval than the proposed one."
        ),
    ] = None,
    questionnaire: Annotated[
        str | None,
        typer.Option("--questionnaire", metavar="ID|FILE", help="Questions of your own (TOML)."),
    ] = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
    as_json: opt.AsJson = False,
) -> None:
    """Assess how often a supply is tested: a few questions, a proposal with reasons, a decision.

    Example: lungwort supply assess hall --answer source=oil_lubricated --answer intake=nearby
    --months 1
    """
    from lungwort.jobs.catalogue import assess as job  # noqa: PLC0415 - keeps --help instant

    at = things.session(workspace, by, clock_is_right)
    asked = job.questionnaire(questionnaire)
    answers = job.read_answers(answer or ())
    job.propose(at, name, asked, answers)  # mistakes are told before anything is asked
    asking = things.at_terminal() and not as_json
    if asking:
        answers |= _ask(asked, answers)
    proposed = job.propose(at, name, asked, answers)
    if as_json and months is None:
        things.print_json(proposed.plain)
        return
    if not as_json:
        _show_proposal(proposed)
    if asking and months is None:
        months = _line("Months decided, or nothing to record nothing")
        why = why or (_line("Why another interval than proposed, if so") if months else None)
    if months is None:
        typer.echo("Nothing is recorded. Next: the same with --months MONTHS, once it is decided.")
        return
    done = job.decide(at, name, asked, answers, months=months, why=why)
    if as_json:
        things.print_json(proposed.plain | {"recorded": True, "assessment": things.plain(done)})
        return
    things.done(done)


def _ask(asked: Questionnaire, known: dict[str, str]) -> dict[str, str]:
    """Ask what is not answered yet; an empty line leaves a question open."""
    given: dict[str, str] = {}
    for question in asked.questions:
        if question.key in known:
            continue
        typer.echo(f"\n{question.text}")
        for place, choice in enumerate(question.choices, start=1):
            typer.echo(f"  {place}  {choice.text}")
        keys = [choice.key for choice in question.choices]
        while True:
            said = typer.prompt(
                "Number, or nothing to leave it open", default="", show_default=False
            )
            word = str(said).strip()
            if not word:
                break
            if word.isdecimal() and 1 <= int(word) <= len(keys):
                given[question.key] = keys[int(word) - 1]
                break
            typer.echo(f"Give a number from 1 to {len(keys)}.")
    return given


def _line(text: str) -> str | None:
    """Ask for one line; None where nothing is entered."""
    return str(typer.prompt(text, default="", show_default=False)).strip() or None


def _show_proposal(proposed: Proposed) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli.show import console  # noqa: PLC0415 - keeps --help instant

    out = console()
    months = proposed.proposal.months
    word = "month" if months == 1 else f"{months} months"
    out.print(Text(f"The answers lead to a test every {word}.", style="bold"))
    things.remarks(out, proposed.proposal.reasons)
    out.print(Text("Before you act on this", style="bold"))
    things.remarks(out, proposed.proposal.cautions)
