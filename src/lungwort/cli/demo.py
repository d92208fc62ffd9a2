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
    record: Annotated[
        bool,
        typer.Option(
            "--record/--no-record",
            help="Also make a workspace with a year of invented history, in FOLDER/workspace.",
        ),
    ] = True,
) -> None:
    """Write an invented site with seeded faults, judge every case of it, and write the reports.

    It also makes a workspace in which that site has kept a record for a year: tests, certificates,
    bad air and what was done about it, and what is due now.

    Example: lungwort demo my-demo
    """
    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs import demo as job  # noqa: PLC0415 - keeps --help instant

    now = datetime.now(UTC)
    site = job.write_site(folder)
    out = show.console()
    show.demo_head(out, site)
    cases = []
    for case in job.judge_site(site, now=now):
        show.demo_case(out, case)
        cases.append(case)
    show.demo_foot(out, site, cases)
    if record:
        from lungwort.jobs.demo_year import year_in  # noqa: PLC0415 - keeps --help instant

        with show.progress(quiet=False, what="a year of records") as tell:
            year = year_in(folder, now=now, progress=tell)
        show.demo_year(out, year)
    if not all(case.as_expected for case in cases):
        raise typer.Exit(_NOT_AS_SEEDED)
