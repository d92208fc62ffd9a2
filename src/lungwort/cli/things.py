"""What the commands on things share: how a change, a list and a thing are shown."""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console

    from lungwort.jobs.catalogue.shape import Done, Listing, Section, Session, View
    from lungwort.jobs.opening import Where

_IN_ONE_PIECE = frozenset({"id", "name", "number"})


def where(workspace: Path | None) -> Where:
    """Say which workspace is meant: the one that was given, or the one around the current folder."""
    from lungwort.jobs.opening import Where  # noqa: PLC0415 - keeps --help instant

    return Where(workspace, Path.cwd())


def session(workspace: Path | None, by: str | None, clock_is_right: bool) -> Session:
    """Say where, when and by whom something is recorded; here the clock is read."""
    from lungwort.jobs.catalogue.shape import Session  # noqa: PLC0415 - keeps --help instant

    return Session(now(), where(workspace), by, clock_is_right)


def now() -> datetime:
    """Read the clock."""
    return datetime.now(UTC)


def at_terminal() -> bool:
    """Say whether somebody sits there who can be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def in_use(retire: bool | None) -> bool | None:
    """Turn --retire and --in-use into whether the thing is in use; None where neither is given."""
    return None if retire is None else not retire


def print_json(plain: dict[str, Any]) -> None:
    """Print one JSON document and nothing else."""
    sys.stdout.write(json.dumps(plain, ensure_ascii=False, indent=2) + "\n")


def plain(result: Done) -> dict[str, Any]:
    """Give what was recorded as JSON values."""
    from lungwort.jobs.catalogue.shape import plain as written  # noqa: PLC0415 - keeps --help instant

    return written(result.record)


def done(result: Done) -> None:
    """Say what was recorded, what to mind, and what to do next."""
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli.show import console  # noqa: PLC0415 - keeps --help instant

    out = console()
    out.print(Text(result.said))
    remarks(out, result.remarks)
    next_steps(out, result.next_steps)


def remarks(out: Console, texts: tuple[str, ...]) -> None:
    """List what to mind."""
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    for text in texts:
        out.print(Padding(Text.assemble("· ", text), (0, 0, 0, 2), expand=False))


def next_steps(out: Console, texts: tuple[str, ...]) -> None:
    """List what to do next; commands stay on one line, so that they can be copied."""
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    for place, text in enumerate(texts):
        head = "Next: " if place == 0 else "      "
        out.print(Text.assemble((head, "bold"), text), soft_wrap=True)


def listing(result: Listing, as_json: bool) -> None:
    """Show the things of one kind."""
    if as_json:
        print_json(result.plain)
        return
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli.show import console  # noqa: PLC0415 - keeps --help instant

    out = console()
    if result.table.rows:
        _table(out, result.table)
    else:
        out.print(Text(result.table.empty))
    remarks(out, result.remarks)


def view(result: View, as_json: bool) -> None:
    """Show one thing with all that is known of it."""
    if as_json:
        print_json(result.plain)
        return
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli.show import console  # noqa: PLC0415 - keeps --help instant

    out = console()
    out.print(Text(result.title, style="bold"))
    facts(out, result.facts)
    for section in result.sections:
        out.print()
        out.print(Text(section.title, style="bold"))
        if section.rows:
            _table(out, section)
            remarks(out, section.below)
        else:
            out.print(Text(f"  {section.empty}"))
    if result.remarks:
        out.print()
        out.print(Text("To be minded", style="bold"))
        remarks(out, result.remarks)


def facts(out: Console, lines: tuple[tuple[str, str], ...]) -> None:
    """Show facts, each with its label."""
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    for label, value in lines:
        grid.add_row(Text(f"  {label}"), Text(value))
    out.print(grid)


def _table(out: Console, section: Section) -> None:
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold", pad_edge=False)
    table.add_column("")
    for heading in section.headings:
        # A name is there to be copied: it stays in one piece.
        table.add_column(heading, overflow="fold", no_wrap=heading in _IN_ONE_PIECE)
    for row in section.rows:
        table.add_row("", *map(Text, row))
    out.print(table)
