"""``lungwort pack``: hand over evidence that an inspector can check without lungwort."""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lungwort.cli import options as opt

if TYPE_CHECKING:
    from lungwort.jobs.pack import Packed


def pack(
    supply: Annotated[
        str, typer.Argument(metavar="SUPPLY", help="Name of the supply.", show_default=False)
    ],
    target: Annotated[
        Path,
        typer.Option("--to", metavar="FILE.zip", help="Where the pack goes.", show_default=False),
    ],
    begin: Annotated[
        str | None,
        typer.Option(
            "--from", metavar="DAY", help="First day, such as 2026-01-01; all if not given."
        ),
    ] = None,
    end: Annotated[
        str | None,
        typer.Option(
            "--to-date", metavar="DAY", help="Last day, such as 2026-03-31; all if not given."
        ),
    ] = None,
    certificate: Annotated[
        str | None,
        typer.Option(
            "--certificate", metavar="NUMBER", help="One certificate and what it rests on."
        ),
    ] = None,
    head: Annotated[
        list[str] | None,
        typer.Option(
            "--head",
            metavar="SIZE:ROOT",
            help="Head that the inspector holds, to be proved too; repeat as needed.",
        ),
    ] = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Make the evidence pack of a supply: one ZIP with a script that checks it.

    It holds certificates, results, readings, loggers' files, tests by hand and the journal's
    entries with proofs. An inspector needs Python alone. The record is not changed.

    Example: lungwort pack yard --to yard-2026.zip --from 2026-01-01 --to-date 2026-12-31
    """
    from lungwort.jobs import pack as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.opening import Where  # noqa: PLC0415 - keeps --help instant

    request = job.Request(
        supply=supply,
        target=target,
        begin=begin,
        end=end,
        certificate=certificate,
        heads=tuple(head or ()),
    )
    packed = job.pack(Where(workspace), request, now=datetime.now(UTC))
    if as_json:
        sys.stdout.write(json.dumps(job.as_json(packed), ensure_ascii=False, indent=2) + "\n")
    else:
        _show(packed)


def _show(packed: Packed) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant

    out = show.console()
    out.print(Text(f"Written: {packed.path} ({packed.size_bytes / 1e6:.1f} MB)"), soft_wrap=True)
    out.print(Text(f"{packed.supply}, {packed.site}: {packed.period}"), soft_wrap=True)
    out.print(
        f"{packed.log_imports} log imports, {packed.hand_tests} tests by hand, {packed.verdicts} "
        f"verdicts, {len(packed.certificates)} certificates; {packed.entries} journal entries with "
        "their proofs."
    )
    if not packed.certificates:
        out.print(Text("Nothing in this pack certifies the air.", style="yellow"))
    for number, says in packed.certificates:
        out.print(Padding(Text(f"· {number}: {says}"), (0, 0, 0, 2)))
    for one in packed.standing:
        out.print(Text(f"! {one}", style="bold yellow"))
    out.print()
    out.print(Text(f"SHA-256 of the file: {packed.sha256}"), soft_wrap=True)
    out.print(Text(f"Head of the journal: {packed.head}"), soft_wrap=True)
    out.print("The inspector unpacks it and runs: python verify_pack.py")
    out.print()
    out.print(Text("What it does not prove", style="bold"))
    for one in packed.proves_not:
        out.print(Padding(Text(f"· {one}"), (0, 0, 0, 2)))
