"""How results look in the terminal."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from rich.console import Console
from rich.padding import Padding
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from lungwort.demo.model import Site
    from lungwort.jobs.demo import Shown
    from lungwort.jobs.demo_year import Year
    from lungwort.jobs.judge import View

_PLAIN_WIDTH: Final = 100
_MOST_ROWS: Final = 20
_MARK: Final = {
    "conforms": "●",
    "does_not_conform": "✕",
    "not_proven": "?",
    "undecided": "?",
    "no_evidence": "○",
    "not_applicable": "–",
}
_STYLE: Final = {
    "conforms": "bold green",
    "does_not_conform": "bold red",
    "not_proven": "bold yellow",
    "undecided": "yellow",
    "no_evidence": "yellow",
    "not_applicable": "dim",
}


def console() -> Console:
    """Make the console; where the output goes into a file, lines are 100 characters wide."""
    plain = Console(highlight=False)
    if not plain.is_terminal and "COLUMNS" not in (plain._environ or {}):  # noqa: SLF001 - Rich has no public way to ask
        return Console(highlight=False, width=_PLAIN_WIDTH)
    return plain


@contextmanager
def progress(*, quiet: bool, what: str = "reading") -> Iterator[Callable[[int, int], None] | None]:
    """Show a bar on the error stream while something long is done."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn  # noqa: PLC0415 - only at a terminal

    errors = Console(stderr=True)
    with Progress(
        TextColumn(what), BarColumn(), TaskProgressColumn(), console=errors, transient=True
    ) as bar:
        task = bar.add_task(what, total=1.0)

        def tell(done: int, total: int) -> None:
            bar.update(task, completed=done / max(total, 1))

        yield tell


def verdict(view: View, written: tuple[Path, ...]) -> None:
    """Show a verdict: the word first, then why, then what it rests on."""
    out = console()
    head = Text.assemble(
        (f"{_MARK[view.verdict]} {view.words.upper()}", _STYLE[view.verdict]), f"\n{view.meaning}"
    )
    out.print(
        Panel(head, title=Text(view.place), title_align="left", border_style=_STYLE[view.verdict])
    )
    for label, value in view.facts:
        out.print(Text.assemble((f"{label}: ", "bold"), value))
    _listed(out, "Why", view.reasons)
    out.print()
    out.print(Text("Findings", style="bold"))
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold", pad_edge=False)
    table.add_column("")
    for name in ("analyte", "limit", "worst", "when", "outside", "finding"):
        table.add_column(name, overflow="fold")
    for row in view.findings:
        words = Text(row.words, style=_STYLE[row.verdict])
        table.add_row(
            Text(_MARK[row.verdict], style=_STYLE[row.verdict]),
            Text(row.analyte + (f" [{row.marks}]" if row.marks else "")),
            Text(row.limit),
            Text(row.worst),
            Text(row.when),
            Text(row.outside),
            words,
        )
    out.print(table)
    for mark, meaning in view.marks:
        out.print(Text(f"[{mark}] {meaning}", style="dim"))
    # The required ones that are open stand under 'Why' already.
    others = [row for row in view.findings if row.verdict != "conforms"]
    others = [row for row in others if row.advice or row.verdict == "not_applicable"]
    _listed(out, "Of the others", [f"{row.analyte}, {row.limit}: {row.reason}" for row in others])
    _excursions(out, view)
    _listed(out, "Not judged, and why", view.not_judged)
    _listed(out, "Rows not used", view.refused)
    _listed(out, "Columns not used", view.columns_not_used)
    _listed(out, "Notes", view.notes)
    _listed(out, "Before you act on this", view.cautions)
    if written:
        out.print()
        for path in written:
            out.print(Text(f"Written: {path}"), soft_wrap=True)


def _excursions(out: Console, view: View) -> None:
    out.print()
    out.print(Text("Excursions", style="bold"))
    if not view.excursions:
        out.print(Padding(Text(view.excursions_note), (0, 0, 0, 2)))
        return
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold", pad_edge=False)
    for name in ("", "analyte", "begin", "length", "peak", "mean", "ended"):
        table.add_column(name, overflow="fold")
    for row in view.excursions[:_MOST_ROWS]:
        table.add_row(
            *map(
                Text,
                (
                    row.number,
                    f"{row.analyte} {row.side}",
                    row.start,
                    row.duration,
                    row.peak,
                    row.mean,
                    row.ended,
                ),
            )
        )
    out.print(table)
    for row in view.excursions[:_MOST_ROWS]:
        told = [text for text in row.details if "Peak at" not in text]
        if told:
            out.print(Padding(Text(f"{row.number}: {' '.join(told)}"), (0, 0, 0, 2)))
    left = view.excursions_total - min(len(view.excursions), _MOST_ROWS)
    if left > 0:
        out.print(Padding(Text(f"… and {left} more: see --json, --xlsx or --pdf."), (0, 0, 0, 2)))


def _listed(out: Console, heading: str, texts: tuple[str, ...] | list[str]) -> None:
    if not texts:
        return
    out.print()
    out.print(Text(heading, style="bold"))
    for text in texts[:_MOST_ROWS]:
        out.print(Padding(Text.assemble("· ", text), (0, 0, 0, 2)))
    if len(texts) > _MOST_ROWS:
        out.print(Padding(Text(f"… and {len(texts) - _MOST_ROWS} more: see --json."), (0, 0, 0, 2)))


def demo_head(out: Console, site: Site) -> None:
    """Say what the demonstration is."""
    out.print(
        Text.assemble(
            (f"{site.name}, {site.place}", "bold"), " (invented, from seed ", str(site.seed), ")"
        )
    )
    out.print(
        f"Written to {site.folder}. Each case is judged against its limits below.", soft_wrap=True
    )


def demo_case(out: Console, shown: Shown) -> None:
    """Show one case: what was seeded, what came out, and why."""
    case, verdict = shown.case, shown.verdict
    out.print()
    out.print(Text.assemble((f"{case.title}", "bold"), f"  ({case.outlet})"))
    out.print(Padding(Text(case.story, style="dim"), (0, 0, 0, 2)))
    words = verdict.overall.replace("_", " ").upper()
    out.print(
        Padding(
            Text(f"{_MARK[verdict.overall]} {words}", style=_STYLE[verdict.overall]), (0, 0, 0, 2)
        )
    )
    for reason in verdict.reasons[:3]:
        out.print(Padding(Text(f"· {reason}"), (0, 0, 0, 4)))
    if not shown.as_expected:
        expected = case.expected.overall.replace("_", " ")
        out.print(
            Padding(
                Text(f"! seeded to come out as '{expected}': please report this", style="bold red"),
                (0, 0, 0, 4),
            )
        )


def demo_foot(out: Console, site: Site, cases: list[Shown]) -> None:
    """Say where everything is and what to do next."""
    out.print()
    out.print(Text("Reports (PDF)", style="bold"))
    for shown in cases:
        out.print(Text(f"  {shown.pdf}"), soft_wrap=True)
    right = sum(shown.as_expected for shown in cases)
    out.print()
    out.print(
        f"{right} of {len(cases)} verdicts are the ones that were seeded. {site.readme.name} there tells each story."
    )
    if cases:
        out.print("To judge one yourself, in that folder:")
        out.print(Text(f"  {cases[1 if len(cases) > 1 else 0].case.command}"), soft_wrap=True)


def demo_year(out: Console, year: Year) -> None:
    """Tell the story of the invented year, and how to look at it."""
    out.print()
    out.print(Text("A year of records (invented)", style="bold"))
    for sentence in year.story:
        out.print(Padding(Text(f"· {sentence}"), (0, 0, 0, 2)))
    out.print(
        f"{year.entries} journal entries and {year.certificates} certificates lie in {year.folder}.",
        soft_wrap=True,
    )
    out.print("Look at it with:")
    for words in ("status", "due", "finding list --all", "verify"):
        out.print(Text(f'  lungwort {words} --workspace "{year.folder}"'), soft_wrap=True)
