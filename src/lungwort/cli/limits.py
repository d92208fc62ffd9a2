"""``lungwort limits``: list the limit sets, show one, check one's own."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from lungwort.jobs.limits import DocumentGroup, LimitRow, SetView


def limits(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="[ID|FILE]",
            help="Id of a limit set, or a TOML file of your own to check and show. "
            "Without it all sets that come with lungwort are listed.",
            show_default=False,
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object instead of text.")
    ] = False,
) -> None:
    """List the limit sets, show one with its sources, or check one of your own.

    Example: lungwort limits en12021-2014-airline
    """
    from lungwort.jobs import limits as job  # noqa: PLC0415 - keeps --help instant

    if as_json:
        found = job.list_json() if name is None else job.set_json(name)
        sys.stdout.write(json.dumps(found, ensure_ascii=False, indent=2) + "\n")
        return
    from rich.console import Console  # noqa: PLC0415 - keeps --help instant

    console = Console(highlight=False, soft_wrap=False)
    if name is None:
        _print_list(console, job.list_sets())
    else:
        _print_set(console, job.show_set(name))


def _print_list(console: Console, groups: tuple[DocumentGroup, ...]) -> None:
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    widest = max(len(one.id) for group in groups for one in group.sets)

    def table(*rows: tuple[str, str, str, str]) -> Table:
        grid = Table.grid(padding=(0, 1), expand=True)
        grid.add_column(no_wrap=True, min_width=widest + 2)
        grid.add_column(ratio=1)
        grid.add_column(no_wrap=True, justify="right", min_width=6)
        grid.add_column(no_wrap=True, justify="right", min_width=11)
        for row in rows:
            grid.add_row(*map(Text, row))
        return grid

    console.print(table(("  id", "title", "limits", "from memory")))
    for group in groups:
        console.print(Text(group.document, style="bold"))
        console.print(
            table(
                *(
                    (f"  {one.id}", one.title, str(one.limits), str(one.from_memory))
                    for one in group.sets
                )
            )
        )
    console.print()
    console.print(
        Text(
            "'lungwort limits ID' shows one with its sources. Limits from memory: check them "
            "against your own copy of the document."
        )
    )


def _print_set(console: Console, view: SetView) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    one = view.limit_set
    console.print(Text(one.title, style="bold"))
    facts = [
        ("Id", one.id),
        ("Document", one.document),
        ("Edition", one.edition),
        ("Use", one.use),
        (
            "State of mg/m3",
            f"{one.reference_temperature_c:g} °C, {one.reference_pressure_kpa:g} kPa(a)",
        ),
        ("Extends", one.extends),
        ("From", one.origin),
        ("Digest", one.digest),
    ]
    for label, value in facts:
        if value:
            console.print(Text(f"{label}: {value}"))
    for row in view.rows:
        console.print()
        console.print(Text.assemble((f"{row.analyte}: {row.allowed}", "bold"), f"  [{row.key}]"))
        for line in _row_lines(row):
            console.print(Padding(Text(line), (0, 0, 0, 2), expand=False))
    for heading, texts in (("Remarks", one.remarks), ("Cautions", view.cautions)):
        if texts:
            console.print()
            console.print(Text(heading, style="bold"))
            for text in texts:
                console.print(Padding(Text(text), (0, 0, 0, 2), expand=False))


def _row_lines(row: LimitRow) -> list[str]:
    lines = [f"{where}: {bound}" for where, bound in row.rows]
    if not row.required:
        lines.append("Advice: shown, never decides.")
    if row.needs:
        lines.append(f"Applies where this is given: {row.needs}.")
    lines += [
        f"{label}: {value}"
        for label, value in (
            ("Clause", row.clause),
            ("Source", row.source),
            ("Status", row.own_copy or row.status),
            ("Remark", row.remark),
        )
        if value
    ]
    return lines
