"""``lungwort status``: all supplies on one screen."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Annotated, Final

import typer

from lungwort.cli import options as opt
from lungwort.cli import things

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from lungwort.jobs.status import Status, SupplyRow

_STATE_MARK: Final = {"in_service": "▶", "withdrawn": "■", "under_test": "◌"}
_MOST_REASONS: Final = 3


def status(
    site: Annotated[
        str | None,
        typer.Option("--site", metavar="NAME", help="Only the supplies of one site."),
    ] = None,
    supply: Annotated[
        str | None,
        typer.Option("--supply", metavar="NAME", help="Only one supply, with all its evidence."),
    ] = None,
    workspace: opt.Workspace = None,
    as_json: opt.AsJson = False,
) -> None:
    """Show how all supplies stand: state, verdict, weakest evidence, what is due, open findings.

    Leaves with 0 where all supplies in service conform, 1 where one does not, and 3 where one is
    not proven or none is in service.

    Example: lungwort status --site yard
    """
    from lungwort.jobs import status as job  # noqa: PLC0415 - keeps --help instant

    made = job.status(things.where(workspace), now=things.now(), site=site, supply=supply)
    if as_json:
        sys.stdout.write(json.dumps(job.as_json(made), ensure_ascii=False, indent=2) + "\n")
    else:
        _show(made, full=supply is not None)
    raise typer.Exit(made.exit_code)


def _show(made: Status, *, full: bool) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant

    out = show.console()
    for row in made.rows:
        _show_row(out, row, full=full)
    for heading, texts in (("Late beside the supplies", made.others), ("Mind", made.notes)):
        if texts:
            out.print()
            out.print(Text(heading, style="bold"))
            for text in texts:
                out.print(Padding(Text(f"· {text}"), (0, 0, 0, 2)))


def _show_row(out: Console, row: SupplyRow, *, full: bool) -> None:
    from rich.padding import Padding  # noqa: PLC0415 - keeps --help instant
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    out.print()
    out.print(Text.assemble((row.supply, "bold"), f"  {row.title}".rstrip(), f"  [{row.site}]"))
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True, min_width=16)
    table.add_column(overflow="fold")
    table.add_row(Text("  state"), _state(row))
    table.add_row(Text("  verdict"), _verdict(row))
    if row.verdict != "conforms":
        shown = row.reasons if full else row.reasons[:_MOST_REASONS]
        left = len(row.reasons) - len(shown)
        for reason in shown:
            table.add_row("", Text(f"· {reason}"))
        if left > 0:
            table.add_row("", Text(f"… and {left} more: see --supply {row.supply}."))
    table.add_row(Text("  weakest"), Text(row.weakest.text if row.weakest else "no evidence"))
    late = f" ({row.late} late in all)" if row.late > 1 else ""
    table.add_row(Text("  due next"), Text((row.next_text or "nothing") + late))
    table.add_row(Text("  open findings"), Text(", ".join(row.findings) or "none"))
    out.print(table)
    if full:
        out.print()
        out.print(Padding(_evidence_table(row), (0, 0, 0, 2)))


def _state(row: SupplyRow) -> Text:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    words = row.state_words.upper() if row.state == "withdrawn" else row.state_words
    since = f" since {row.since}" if row.since else ""
    style = "bold red" if row.state == "withdrawn" else "bold"
    return Text.assemble(
        (f"{_STATE_MARK[row.state]} {words}", style), f"{since}: {row.why}" if row.why else since
    )


def _verdict(row: SupplyRow) -> Text:
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    words = verdict_words(row.verdict)
    if row.state == "in_service":
        return words
    # No green word beside air that nobody may breathe.
    rest = "by its evidence alone; not to be breathed until it is returned to service"
    return Text(f"{words.plain}, {rest}", style="bold")


def verdict_words(verdict: str) -> Text:
    """Write a verdict as shape and word, never as a colour alone."""
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant

    words = verdict.replace("_", " ").upper()
    return Text(f"{show._MARK[verdict]} {words}", style=show._STYLE[verdict])  # noqa: SLF001 - the same marks on every screen


def _evidence_table(row: SupplyRow) -> Table:
    from rich.table import Table  # noqa: PLC0415 - keeps --help instant
    from rich.text import Text  # noqa: PLC0415 - keeps --help instant

    from lungwort.paper.text import Clock, analyte_name  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.days import shown  # noqa: PLC0415 - keeps --help instant

    times = [one.time for one in row.evidence.limits if one.time is not None]
    clock = Clock.for_period(row.zone, min(times, default=None), max(times, default=None))
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold", pad_edge=False)
    of = f"of ({clock.zone_name})"
    for name in ("outlet", "limit", "newest evidence", of, "stale on", "counts"):
        table.add_column(name, overflow="fold")
    for one in row.evidence.limits:
        table.add_row(
            Text(one.outlet),
            Text(f"{analyte_name(one.analyte)} [{one.key}]"),
            verdict_words(one.verdict),
            Text(clock.time(one.time)),
            Text("–" if one.stale_on is None else shown(one.stale_on)),
            Text("yes" if one.fresh else "no"),
        )
    return table
