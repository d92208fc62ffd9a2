"""The demonstration: write the invented site, judge every case of it, put each on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

from lungwort.errors import InputError
from lungwort.jobs.judge import Outputs, Request, judge, write
from lungwort.jobs.reading import Reading

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime
    from pathlib import Path

    from lungwort.demo.model import Case, Site
    from lungwort.verdict.model import Verdict


@frozen
class Shown:
    """One case of the invented site, judged.

    Parameters
    ----------
    case : Case
        The case, with what must come out.
    verdict : Verdict
        What came out.
    pdf : path
        The report.
    as_expected : bool
        Whether the overall verdict is the one that was seeded.
    """

    case: Case
    verdict: Verdict
    pdf: Path
    as_expected: bool


def write_site(folder: Path) -> Site:
    """Write the invented site into a folder.

    Raises
    ------
    InputError
        Where the folder holds other files.
    OutputError
        Where it cannot be written.
    """
    from lungwort.demo.site import NAME  # noqa: PLC0415 - keeps --help instant
    from lungwort.demo.site import write_site as make  # noqa: PLC0415 - keeps --help instant

    readme = folder / "README.txt"
    ours = readme.is_file() and readme.read_text(encoding="utf-8", errors="replace").startswith(
        NAME
    )
    if folder.is_dir() and any(folder.iterdir()) and not ours:
        raise InputError(f"{folder} holds files of yours, which could be lost. Name a new folder.")
    return make(folder)


def request(case: Case) -> Request:
    """Turn a case into what a user would ask.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    Request
        The same as the case's command line.
    """
    return Request(
        files=case.files,
        limits=case.limit_set,
        reading=Reading(
            recipe=case.recipe,
            zone=case.zone or None,
            date_order=case.date_order or None,
            unit=[f"{analyte}={unit}" for analyte, unit in case.units],
        ),
        spots=case.spots,
        supply_pressure=case.supply_pressure or None,
        lowest_temperature=case.lowest_temperature or None,
        outlet=case.outlet,
    )


def judge_site(site: Site, *, now: datetime) -> Iterator[Shown]:
    """Judge each case of the site and write its report beside it.

    Parameters
    ----------
    site : Site
        The site, written.
    now : datetime
        Present moment.

    Yields
    ------
    Shown
        Each case, judged.
    """
    from lungwort.paper.content import Cover  # noqa: PLC0415 - keeps --help instant

    for case in site.cases:
        verdict = judge(request(case), now=now)
        cover = Cover(site=f"{site.name}, {site.place} (invented)", outlet=case.outlet)
        (pdf,) = write(
            verdict, Outputs(pdf=site.folder / f"{case.files[0].name.split('.')[0]}.pdf"), cover
        )
        yield Shown(case, verdict, pdf, verdict.overall == case.expected.overall)
