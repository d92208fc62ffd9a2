"""``lungwort print certificate``: a copy of a certificate as it was issued."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lungwort.cli import options as opt


def certificate(
    number: Annotated[
        str | None,
        typer.Argument(
            metavar="[NUMBER]", help="Which one; all are listed if not given.", show_default=False
        ),
    ] = None,
    pdf: Annotated[
        Path | None,
        typer.Option(
            "--pdf", metavar="FILE", help="Where to write it; NUMBER.pdf here if not given."
        ),
    ] = None,
    supply: Annotated[
        str | None, typer.Option("--supply", metavar="NAME", help="List those of one supply.")
    ] = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Write a copy of a certificate, byte for byte as it was issued; or list the certificates.

    Example: lungwort print certificate YARD-2026-0001 --pdf certificate.pdf
    """
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import show, things  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.certificates import (  # noqa: PLC0415 - keeps --help instant
        copy_certificate,
        list_certificates,
    )

    where, now = things.where(workspace), things.now()
    out = show.console()
    if number is not None:
        one, path = copy_certificate(where, number, pdf, now=now)
        if as_json:
            things.print_json({**one.plain(), "pdf": str(path)})
            return
        out.print(Text(f"{one.certificate.number}, {one.standing}", style="bold"))
        out.print(Text(f"Written: {path}"), soft_wrap=True)
        return
    found = list_certificates(where, supply=supply, now=now)
    if as_json:
        things.print_json({"certificates": [one.plain() for one in found]})
        return
    if not found:
        out.print(Text("No certificate is on record."))
        return
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold", pad_edge=False)
    for name in ("certificate", "standing", "supply", "outlet", "issued", "by", "next test by"):
        table.add_column(name, overflow="fold", no_wrap=name == "certificate")
    for one in found:
        day = one.certificate.next_test_by
        table.add_row(
            *map(
                Text,
                (
                    one.certificate.number,
                    one.standing,
                    one.supply,
                    one.outlet,
                    one.issued,
                    one.by,
                    "" if day is None else day.isoformat(),
                ),
            )
        )
    out.print(table)
