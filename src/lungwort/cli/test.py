"""``lungwort test``: tests by hand, guided step by step or from a form."""

from __future__ import annotations

import sys
import time as _time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lungwort.cli import options as opt
from lungwort.cli import things
from lungwort.errors import LungwortError

if TYPE_CHECKING:
    from rich.console import Console

    from lungwort.jobs.catalogue.shape import Done
    from lungwort.jobs.hand_test import Stand

_OUTSIDE = 1
_NOT_PROVEN = 3
_INTERRUPTED = 130
_TICK_S = 1.0

app = typer.Typer(
    help="Tests by hand: guided step by step, from a form; list, show, amend, void.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
procedures = typer.Typer(
    help="Procedures that a test follows: list, show.", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(procedures, name="procedures")

TestId = Annotated[
    str,
    typer.Argument(
        metavar="ID", help="Id of the test, as 'test list' shows it.", show_default=False
    ),
]
OpenId = Annotated[
    str | None,
    typer.Argument(
        metavar="ID",
        help="Name of the test under way; the only one if not given.",
        show_default=False,
    ),
]


@app.command()
def start(
    outlet: Annotated[
        str, typer.Argument(metavar="OUTLET", help="Name of the outlet.", show_default=False)
    ],
    procedure: Annotated[
        str | None,
        typer.Option(
            "--procedure",
            metavar="ID|FILE",
            help="Procedure to follow; 'test procedures list' lists them.",
        ),
    ] = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Begin a test by hand and be guided through it.

    Each entry is kept at once: after Ctrl-C or a crash 'test resume' goes on at the same step, and
    waiting times go on by the clock. Leaves with 0 where the test is done, 3 where it is void or not
    finished.

    Example: lungwort test start hose-1 --by "Idris Pellow"
    """
    from lungwort.jobs import hand_test as job  # noqa: PLC0415 - keeps --help instant

    at = things.session(workspace, by, clock_is_right)
    _guide(job.start(at, outlet, procedure=procedure), workspace, by, clock_is_right, begun=True)


@app.command()
def resume(
    test: OpenId = None,
    end_wait: Annotated[
        bool,
        typer.Option("--end-wait", help="End the wait under way now; it is recorded as cut short."),
    ] = False,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Go on with a test that was left or broken off.

    Example: lungwort test resume
    """
    from lungwort.jobs import hand_test as job  # noqa: PLC0415 - keeps --help instant

    found = job.stand(things.where(workspace), test, now=things.now())
    if end_wait and found.ask is not None and found.wait_left_s is not None:
        at = things.session(workspace, by, clock_is_right)
        found = job.enter(at, found.id, found.ask.name, "end")
    _guide(found, workspace, by, clock_is_right, begun=False)


@app.command()
def abort(
    test: OpenId = None,
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Give up a test under way; that it was begun, and why it ended, goes into the record.

    Example: lungwort test abort --reason "compressor tripped"
    """
    from lungwort.jobs import hand_test as job  # noqa: PLC0415 - keeps --help instant

    things.done(job.abort(things.session(workspace, by, clock_is_right), test, reason))


@app.command("from-file")
def from_file(
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE", help="Form that was filled in.", show_default=False),
    ],
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Record a test that was done on paper; 'test form' prints the form.

    Example: lungwort test from-file hose-1.toml
    """
    from lungwort.jobs import hand_test as job  # noqa: PLC0415 - keeps --help instant

    _ended(job.from_file(things.session(workspace, by, clock_is_right), file))


@app.command()
def form(
    procedure: Annotated[
        str,
        typer.Argument(
            metavar="PROCEDURE", help="Id or file of the procedure.", show_default=False
        ),
    ],
    workspace: opt.Workspace = None,
) -> None:
    """Print the form of a procedure, to fill in by hand.

    Example: lungwort test form full-outlet-test > hose-1.toml
    """
    from lungwort.jobs import hand_test as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs import hand_test_views as views  # noqa: PLC0415 - keeps --help instant

    folder = views.workspace_folder(things.where(workspace))
    sys.stdout.write(job.form(views.procedure(folder, procedure)))


@app.command("list")
def list_(
    outlet: Annotated[
        str | None, typer.Option("--outlet", metavar="NAME", help="Only those of one outlet.")
    ] = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """List the tests by hand, those under way first.

    Example: lungwort test list --outlet hose-1
    """
    from lungwort.jobs import hand_test_views as views  # noqa: PLC0415 - keeps --help instant

    things.listing(views.listed(things.where(workspace), now=things.now(), outlet=outlet), as_json)


@app.command()
def show(test: TestId, workspace: opt.Workspace = None, as_json: opt.AsJson = False) -> None:
    """Show a test: what was entered, what it says of the air, and what speaks against it.

    Example: lungwort test show hand-test-abcdefghijklmnop
    """
    from lungwort.jobs import hand_test_views as views  # noqa: PLC0415 - keeps --help instant

    things.view(views.show(things.where(workspace), test, now=things.now()), as_json)


@app.command()
def amend(
    test: TestId,
    entry: Annotated[
        str, typer.Argument(metavar="ENTRY", help="Name of the entry.", show_default=False)
    ],
    value: Annotated[
        str, typer.Argument(metavar="VALUE", help="What it should have been.", show_default=False)
    ],
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Amend an entry of a test, under way or on record; the first entry stays beside it.

    Example: lungwort test amend hand-test-abcdefghijklmnop co 4 --reason "read from the wrong line"
    """
    from lungwort.jobs import hand_test as job  # noqa: PLC0415 - keeps --help instant

    at = things.session(workspace, by, clock_is_right)
    if not test.startswith("open-"):
        _ended(job.amend(at, test, entry, value, reason))
        return
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli.show import console  # noqa: PLC0415 - keeps --help instant

    out = console()
    found = job.amend_entry(at, test, entry, value, reason)
    out.print(Text(f"Amended in {found.id}: {entry} = {found.run.given(entry) or '-'}."))
    things.remarks(out, found.void)


@app.command()
def void(
    test: TestId,
    reason: opt.Reason = None,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
) -> None:
    """Declare a test void: it stays on record and says nothing of the air any more.

    Example: lungwort test void hand-test-abcdefghijklmnop --reason "the indicator was an old one"
    """
    from lungwort.jobs import hand_test as job  # noqa: PLC0415 - keeps --help instant

    things.done(job.void(things.session(workspace, by, clock_is_right), test, reason))


@procedures.command("list")
def procedures_list(workspace: opt.Workspace = None, as_json: opt.AsJson = False) -> None:
    """List the procedures: those that come with lungwort, and your own in the workspace.

    Example: lungwort test procedures list
    """
    from lungwort.jobs import hand_test_views as views  # noqa: PLC0415 - keeps --help instant

    folder = views.workspace_folder(things.where(workspace))
    things.listing(views.procedure_listing(views.procedures(folder)), as_json)


@procedures.command("show")
def procedures_show(
    procedure: Annotated[
        str,
        typer.Argument(
            metavar="PROCEDURE", help="Id or file of the procedure.", show_default=False
        ),
    ],
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Show a procedure step by step, and how well its times and ranges are founded.

    Example: lungwort test procedures show full-outlet-test
    """
    from lungwort.jobs import hand_test_views as views  # noqa: PLC0415 - keeps --help instant

    folder = views.workspace_folder(things.where(workspace))
    things.view(views.procedure_view(views.procedure(folder, procedure)), as_json)


class _Left(Exception):  # noqa: N818 - no error: somebody leaves a test that can be gone on with
    """The test was left."""


def _guide(
    found: Stand, workspace: Path | None, by: str | None, clock_is_right: bool, *, begun: bool
) -> None:
    """Lead through a test until it is recorded or left."""
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli.show import console  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs import hand_test as job  # noqa: PLC0415 - keeps --help instant

    out = console()
    name = found.id
    _head(out, found, begun=begun)
    shown = ""
    try:
        while True:
            things.remarks(out, found.told)
            if found.void:
                out.print(Text("The test is void:", style="bold red"))
                things.remarks(out, found.void)
                given = _asked(out, "Enter 'void' to record it so, or !amend to put an entry right")
                if given.lower() == "void":
                    break
            elif found.ask is None:
                break
            else:
                if found.step is not None and found.step.id != shown:
                    _step(out, found)
                    shown = found.step.id
                given = _given(out, found)
            try:
                found = _entered(out, found, given, (workspace, by, clock_is_right))
            except LungwortError as error:
                out.print(Text(str(error), style="yellow"))
                found = job.stand(things.where(workspace), name, now=things.now())
        _ended(job.finish(things.session(workspace, by, clock_is_right), name))
    except KeyboardInterrupt:
        _leave(out, name)
        raise typer.Exit(_INTERRUPTED) from None
    except _Left:
        _leave(out, name)
        raise typer.Exit(_NOT_PROVEN) from None


def _entered(
    out: Console,
    found: Stand,
    given: str,
    who: tuple[Path | None, str | None, bool],
) -> Stand:
    """Make one entry, or do what a word with ! asks for."""
    from lungwort.jobs import hand_test  # noqa: PLC0415 - keeps --help instant

    word, _, rest = given.partition(" ")
    at = things.session(*who)
    if word.lower() == "!stop":
        raise _Left
    if word.lower() == "!abort":
        reason = rest or _asked(out, "Why is it aborted")
        things.done(hand_test.abort(at, found.id, reason))
        raise typer.Exit(_NOT_PROVEN)
    if word.lower() == "!amend":
        entry = rest.strip() or _asked(out, "Which entry")
        value = _asked(out, f"What {entry} should have been")
        reason = _asked(out, "Why")
        return hand_test.amend_entry(things.session(*who), found.id, entry, value, reason)
    if found.ask is None or found.void:
        return hand_test.stand(things.where(who[0]), found.id, now=things.now())
    return hand_test.enter(at, found.id, found.ask.name, given)


def _given(out: Console, found: Stand) -> str:
    """Ask for the next entry; a wait that is under way counts down instead."""
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    if found.ask is None:
        return ""
    if found.wait_length_s is None:
        return _asked(out, f"{found.ask.ask}", found.wanted)
    if found.wait_left_s is None:
        length = _clock(found.wait_length_s)
        text = _asked(out, f"{found.ask.ask}, {length}. Press Enter when it begins")
        return text or "begin"
    _count_down(out, found)
    out.print(Text(f"{found.ask.ask}: the time is over."))
    return "end"


def _count_down(out: Console, found: Stand) -> None:
    from rich.live import Live  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.jobs.hand_test import left_s  # noqa: PLC0415 - keeps --help instant

    left = left_s(found, things.now())
    if not out.is_terminal:
        if left > 0:
            out.print(Text(f"{_clock(left)} left."))
        while left > 0:
            _sleep(min(left, 60.0))
            left = left_s(found, things.now())
        return
    out.print(Text("Ctrl-C leaves the test; the time goes on, and 'test resume' goes on with it."))
    with Live(console=out, refresh_per_second=4, transient=True) as live:
        while left > 0:
            live.update(Text(f"  {_clock(left)} left", style="bold"))
            _sleep(min(left, _TICK_S))
            left = left_s(found, things.now())


def _sleep(seconds: float) -> None:
    _time.sleep(seconds)


def _clock(seconds: float) -> str:
    whole = max(1, round(seconds))
    minutes, rest = divmod(whole, 60)
    return (
        f"{minutes} min {rest:02d} s"
        if minutes and rest
        else f"{minutes} min"
        if minutes
        else f"{rest} s"
    )


def _asked(out: Console, question: str, wanted: str = "") -> str:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    out.print(Text(question, style="bold"), soft_wrap=True)
    if wanted:
        out.print(Text(f"  {wanted}", style="dim"), soft_wrap=True)
    out.print("> ", end="")
    line = sys.stdin.readline()
    if not line:
        out.print()
        raise _Left
    if not sys.stdin.isatty():
        out.print(Text(line.rstrip("\n")))
    return line.strip()


def _head(out: Console, found: Stand, *, begun: bool) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    run = found.run
    what = "begun" if begun else "gone on with"
    out.print(
        Text(
            f"{run.procedure.title}, outlet {run.context.outlet}, {run.context.tester}: {what} "
            f"as {found.id}.",
            style="bold",
        )
    )
    out.print(Text("Before you begin" if begun else "Mind", style="bold red"))
    things.remarks(out, run.procedure.cautions)
    out.print(
        Text(
            "At any question: !stop leaves (go on with 'lungwort test resume'), !amend puts an earlier "
            "entry right, !abort gives the test up."
        )
    )


def _step(out: Console, found: Stand) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    step = found.step
    if step is None:
        return
    out.print()
    out.print(Text(step.title, style="bold underline"))
    out.print(Text(step.text))
    founded = step.standing or (found.ask.standing if found.ask is not None else "")
    if founded:
        said = f" {step.source}" if step.source else ""
        out.print(Text(f"Times and ranges: {founded}.{said}", style="dim"))


def _leave(out: Console, name: str) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    out.print()
    out.print(
        Text(
            "The test is not finished, and all that was entered is kept. Waiting times go on by the "
            f"clock. Go on with: lungwort test resume {name}"
        ),
        soft_wrap=True,
    )


def _ended(result: Done) -> None:
    things.done(result)
    if result.outside:
        raise typer.Exit(_OUTSIDE)
    if getattr(result.record, "state", "done") != "done":
        raise typer.Exit(_NOT_PROVEN)
