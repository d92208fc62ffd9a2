"""When will it go wrong? Trends of an outlet's readings, and when they reach a limit."""

from __future__ import annotations

import math
from datetime import date
from typing import TYPE_CHECKING, Final

from attrs import field, frozen

from lungwort.errors import InputError
from lungwort.jobs.reading import Reading
from lungwort.jobs.trend_words import MEASURES

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.paper.calculation import Calculation

LEAST_COVERAGE_PERCENT: Final = 20.0
_ALL: Final = 100.0


def _paths(values: Iterable[Path]) -> tuple[Path, ...]:
    return tuple(values)


@frozen(kw_only=True)
class Request:
    """What is asked.

    Parameters
    ----------
    outlet : str, optional
        Outlet on record; with files only its name.
    files : tuple of Path
        Logger's files; none to take what is on record.
    limits : str, optional
        Limit set; that in force at the outlet where not given. With files none is in force.
    analyte : str, optional
        What is looked at, such as ``co``; all that has a limit where not given.
    measure : str
        ``p95``, ``median`` or ``highest``.
    begin, end : str, optional
        First and last day, year first, as typed.
    least_coverage_percent : float
        Share of a day that must have been read, 0 to 100 [%].
    reading : Reading
        How files are to be read.
    supply_pressure, lowest_temperature : str, optional
        What a limit may depend on, as typed; those on record where not given.
    """

    outlet: str | None = None
    files: tuple[Path, ...] = field(factory=tuple, converter=_paths)
    limits: str | None = None
    analyte: str | None = None
    measure: str = "p95"
    begin: str | None = None
    end: str | None = None
    least_coverage_percent: float = LEAST_COVERAGE_PERCENT
    reading: Reading = field(factory=Reading)
    supply_pressure: str | None = None
    lowest_temperature: str | None = None


def trend(where: Where, request: Request, *, now: datetime) -> Calculation:
    """Look for trends, and tell when they reach a limit.

    Parameters
    ----------
    where : Where
        Which workspace; it is only opened where no file is given.
    request : Request
        What is asked.
    now : datetime
        The time, UTC.

    Returns
    -------
    Calculation
        It fails where a limit is reached by the newest days, is not proven where there is too little
        to tell, and is an estimate else. It never holds: no trend shows that air stays good.

    Raises
    ------
    InputError
        Where anything that was given cannot be used.
    UnknownRecordError
        Where there is no such outlet.
    """
    from lungwort.jobs.trend_ground import from_files, from_record  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.trend_result import calculation_of  # noqa: PLC0415 - the same

    check(request)
    ground = (
        from_files(where, request, now=now)
        if request.files
        else from_record(where, request, now=now)
    )
    return calculation_of(ground)


def check(request: Request) -> None:
    """Refuse what cannot be meant.

    Parameters
    ----------
    request : Request
        What is asked.

    Raises
    ------
    InputError
        Where an option is outside what is allowed.
    """
    if not request.files and request.outlet is None:
        raise InputError(
            "nothing was given to look at. Name an outlet on record with --outlet, or a logger's file."
        )
    if request.measure not in MEASURES:
        raise InputError(
            f"--figure {request.measure!r} is not known. Use {', '.join(MEASURES[:-1])} or "
            f"{MEASURES[-1]}."
        )
    share = request.least_coverage_percent
    if not (math.isfinite(share) and 0 <= share <= _ALL):
        raise InputError(
            f"--least-coverage {share:g} is no share of a day. Give a number from 0 to 100 (in %)."
        )
    begin, end = days_asked(request)
    if begin is not None and end is not None and begin > end:
        raise InputError(
            f"--from {begin.isoformat()} lies behind --to {end.isoformat()}. Give the earlier day first."
        )


def days_asked(request: Request) -> tuple[date | None, date | None]:
    """Read the days between which it is looked.

    Parameters
    ----------
    request : Request
        What is asked.

    Returns
    -------
    tuple of (date or None, date or None)
        First and last day; None for no end.

    Raises
    ------
    InputError
        Where one is no day.
    """
    return _day(request.begin, "--from"), _day(request.end, "--to")


def _day(text: str | None, option: str) -> date | None:
    if text is None or not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise InputError(
            f"{option} {text!r} is no day. Write it year first, like 2026-03-04."
        ) from None
