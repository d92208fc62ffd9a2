"""``lungwort certify``: judge the evidence of an outlet, record the verdict, issue the certificate."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from lungwort.cli import options as opt

if TYPE_CHECKING:
    from rich.console import Console

    from lungwort.jobs.certify import Certified

PASSPHRASE: Final = "LUNGWORT_PKCS12_PASSPHRASE"  # noqa: S105 - the name of the variable, no passphrase
_EVIDENCE = "Evidence"
_RULES = "How it is judged"
_RESULTS = "Results"


def certify(
    outlet: Annotated[
        str, typer.Argument(metavar="OUTLET", help="Where the air was taken.", show_default=False)
    ],
    test: Annotated[
        list[str] | None,
        typer.Option(
            "--test",
            metavar="ID",
            help="Test by hand to judge; the newest one if not given. Repeat as needed.",
            rich_help_panel=_EVIDENCE,
        ),
    ] = None,
    log: Annotated[
        list[str] | None,
        typer.Option(
            "--log",
            metavar="ID",
            help="Log import to judge; those that end within 7 days of the test if not given. Repeat as needed.",
            rich_help_panel=_EVIDENCE,
        ),
    ] = None,
    no_test: Annotated[
        bool,
        typer.Option("--no-test", help="Judge no test by hand.", rich_help_panel=_EVIDENCE),
    ] = False,
    no_log: Annotated[
        bool, typer.Option("--no-log", help="Judge no log.", rich_help_panel=_EVIDENCE)
    ] = False,
    begin: Annotated[
        str | None,
        typer.Option(
            "--from",
            metavar="MOMENT",
            help="Begin of the period to judge, in the site's time zone.",
            rich_help_panel=_EVIDENCE,
        ),
    ] = None,
    end: Annotated[
        str | None,
        typer.Option(
            "--to",
            metavar="MOMENT",
            help="End of the period to judge.",
            rich_help_panel=_EVIDENCE,
        ),
    ] = None,
    decision: Annotated[
        str,
        typer.Option(
            "--decision",
            metavar="simple|guarded",
            help="Decision rule: simple acceptance, or guarded by the uncertainty.",
            rich_help_panel=_RULES,
        ),
    ] = "simple",
    guard_factor: Annotated[
        float,
        typer.Option(
            "--guard-factor",
            metavar="R",
            help="Width of the guard band in U (k = 2).",
            rich_help_panel=_RULES,
        ),
    ] = 1.0,
    coverage: Annotated[
        float,
        typer.Option(
            "--coverage",
            metavar="SHARE",
            help="Least share of the period with usable readings, 0 to 1; a certificate asks for 0.9.",
            rich_help_panel=_RULES,
        ),
    ] = 0.9,
    join: Annotated[
        str | None,
        typer.Option(
            "--join",
            metavar="TIME",
            help="Excursions nearer than this are one; three sampling intervals if not given.",
            rich_help_panel=_RULES,
        ),
    ] = None,
    min_excursion: Annotated[
        str | None,
        typer.Option(
            "--min-excursion",
            metavar="TIME",
            help="Excursions shorter than this count, but are not listed apart.",
            rich_help_panel=_RULES,
        ),
    ] = None,
    no_certificate: Annotated[
        bool,
        typer.Option(
            "--no-certificate",
            help="Have the newest evidence judged and recorded only, such as a log that came in.",
            rich_help_panel=_RESULTS,
        ),
    ] = False,
    approved_by: Annotated[
        str | None,
        typer.Option(
            "--approved-by",
            metavar="NAME",
            help="Second person who signs.",
            rich_help_panel=_RESULTS,
        ),
    ] = None,
    pdf: Annotated[
        Path | None,
        typer.Option(
            "--pdf",
            metavar="FILE",
            help="Write a copy of the certificate; the workspace keeps it in any case.",
            rich_help_panel=_RESULTS,
        ),
    ] = None,
    sign_with: Annotated[
        Path | None,
        typer.Option(
            "--sign-with",
            metavar="FILE",
            help=f"PKCS#12 file to sign the PDF with; its passphrase is asked for, or taken from {PASSPHRASE}.",
            rich_help_panel=_RESULTS,
        ),
    ] = None,
    withdraw: Annotated[
        bool,
        typer.Option(
            "--withdraw",
            help="Withdraw the supply at once where its air does not conform.",
            rich_help_panel=_RESULTS,
        ),
    ] = False,
    dry_run: Annotated[
        bool,
        typer.Option("--dry-run", help="Judge, and record nothing.", rich_help_panel=_RESULTS),
    ] = False,
    workspace: opt.Workspace = None,
    by: opt.By = None,
    clock_is_right: opt.ClockIsRight = False,
    as_json: opt.AsJson = False,
) -> None:
    """Judge the evidence of an outlet, record the verdict, and issue a certificate or open a finding.

    Where the air conforms, a certificate is issued; where it does not, a finding is opened and the
    withdrawal of the supply proposed; where it is not proven, what is missing is told. All of it is
    one change of the record.

    Leaves with 0 where the air conforms, 1 where it does not, 3 where it is not proven or the
    evidence does not carry a certificate, and 2 where something could not be used: nothing is
    recorded then.

    Example: lungwort certify slip-2 --by "Wenna Harkle" --pdf certificate.pdf
    """
    from lungwort.cli import things  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs import certify as job  # noqa: PLC0415 - keeps --help instant

    request = job.CertifyRequest(
        outlet=outlet,
        tests=test or (),
        logs=log or (),
        no_tests=no_test,
        no_logs=no_log,
        begin=begin,
        end=end,
        by=by,
        approved_by=approved_by,
        decision=decision,
        guard_factor=guard_factor,
        min_coverage=coverage,
        join=join,
        min_excursion=min_excursion,
        certificate=not no_certificate,
        withdraw=withdraw,
        pdf=pdf,
        sign_with=sign_with,
        passphrase=_passphrase(sign_with),
        dry_run=dry_run,
        clock_is_right=clock_is_right,
    )
    done = job.certify(things.where(workspace), request, things.now())
    if as_json:
        sys.stdout.write(job.as_json(done))
    else:
        _show(done)
    raise typer.Exit(done.exit_code)


def _passphrase(sign_with: Path | None) -> bytes | None:
    """Take the passphrase from the environment, or ask for it; never from the command line."""
    if sign_with is None:
        return None
    kept = os.environ.get(PASSPHRASE)
    if kept is None and sys.stdin.isatty():
        kept = typer.prompt(
            f"Passphrase of {sign_with.name}",
            hide_input=True,
            default="",
            show_default=False,
            err=True,
        )
    return kept.encode("utf-8") if kept else None


def _show(done: Certified) -> None:
    from attrs import evolve  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import show, things  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.judge import view  # noqa: PLC0415 - keeps --help instant

    seen = evolve(view(done.verdict), place=f"{done.outlet}, supply {done.supply}")
    if done.verdict.log is None:
        seen = evolve(seen, facts=(*seen.facts, ("Times", done.verdict.shown_zone)))
    show.verdict(seen, (done.pdf,) if done.pdf is not None else ())
    out = show.console()
    out.print()
    _recorded(out, done)
    if done.head is not None:
        out.print(
            Text.assemble(("Tree head: ", "bold"), f"{done.head.size} {done.head.root}"),
            soft_wrap=True,
        )
    if done.lapses:
        out.print(Text("What it rests on was not in order", style="bold yellow"))
        things.remarks(out, done.lapses)
    things.remarks(out, done.remarks)
    out.print()
    things.next_steps(out, done.next_steps)


def _recorded(out: Console, done: Certified) -> None:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import things  # noqa: PLC0415 - keeps --help instant

    if done.certificate is not None:
        given = done.certificate
        out.print(Text(f"● CERTIFICATE {given.number}", style="bold green"))
        signed = ", digitally signed" if given.digitally_signed else ""
        facts = [
            ("Result", f"SHA-256 {given.result_sha256}"),
            ("PDF", f"SHA-256 {given.pdf_sha256}{signed}"),
            ("Next test by", "" if given.next_test_by is None else given.next_test_by.isoformat()),
        ]
        for label, value in facts:
            if value:
                out.print(Text.assemble((f"{label}: ", "bold"), value), soft_wrap=True)
    if done.finding is not None:
        out.print(Text(f"✕ FINDING {done.finding.number}", style="bold red"))
        out.print(Text(done.finding.text))
    if done.state is not None:
        out.print(Text(f"■ Supply {done.supply} is withdrawn.", style="bold red"))
    if done.no_certificate:
        out.print(Text("No certificate", style="bold yellow"))
        things.remarks(out, done.no_certificate)
    if done.record is not None:
        out.print(Text.assemble(("Recorded as: ", "bold"), done.record.id), soft_wrap=True)
