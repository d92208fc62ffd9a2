"""``lungwort demo``: the main job on an invented site."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

_NOT_AS_SEEDED = 1


def demo(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="[FOLDER]", help="Where to write the invented site.", show_default=True
        ),
    ] = Path("lungwort-demo"),
) -> None:
    """Write an invented site with seeded faults, judge every case of it, and write the reports.

    Example: lungwort demo my-demo
    """
    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs import demo as job  # noqa: PLC0415 - keeps --help instant

    site = job.write_site(folder)
    out = show.console()
    show.demo_head(out, site)
    cases = []
    for case in job.judge_site(site, now=datetime.now(UTC)):
        show.demo_case(out, case)
        cases.append(case)
    show.demo_foot(out, site, cases)
    if not all(case.as_expected for case in cases):
        raise typer.Exit(_NOT_AS_SEEDED)
