"""Trends for the report of a period: by months from verdicts, and by days from readings."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from lungwort.errors import LungwortError

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.paper.period_sheet import DayTrendLine
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Supply
    from lungwort.register.workspace import Workspace


def day_trends(
    workspace: Workspace, snapshot: Snapshot, supply: Supply, *, start: datetime, end: datetime
) -> tuple[tuple[DayTrendLine, ...], tuple[str, ...]]:
    """Look for trends in the days of a period.

    Parameters
    ----------
    workspace : Workspace
        The open workspace.
    snapshot : Snapshot
        The record.
    supply : Supply
        The supply.
    start, end : datetime
        The period, UTC; the end is the first moment after it.

    Returns
    -------
    tuple of (tuple of DayTrendLine, tuple of str)
        A line for each limit at each outlet of which there are readings, and what could not be
        looked at.
    """
    from lungwort.jobs.trend import Request  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.trend_ground import ground_of  # noqa: PLC0415 - the same
    from lungwort.jobs.trend_result import trends_of  # noqa: PLC0415 - the same
    from lungwort.jobs.trend_tables import ahead_words, limit_words, slope_words  # noqa: PLC0415 - the same
    from lungwort.jobs.trend_words import FIGURE  # noqa: PLC0415 - the same
    from lungwort.paper.period_sheet import DayTrendLine  # noqa: PLC0415 - the same

    clock = snapshot.zone(supply.id)
    first = start.astimezone(clock).date()
    last = (end - timedelta(seconds=1)).astimezone(clock).date()
    lines, told = [], []
    for outlet in snapshot.outlets:
        if outlet.supply_id != supply.id or not any(
            one.outlet_id == outlet.id
            and one.start is not None
            and one.end is not None
            and one.start < end
            and one.end >= start
            for one in snapshot.log_imports
        ):
            continue
        request = Request(outlet=outlet.id, begin=first.isoformat(), end=last.isoformat())
        try:
            found = trends_of(ground_of(workspace, snapshot, outlet, request))
        except LungwortError as error:
            told.append(f"Trends of the outlet {outlet.name} could not be looked for: {error}")
            continue
        lines += [
            DayTrendLine(
                outlet=outlet.name,
                name=one.name,
                figure=FIGURE[one.trend.measure],
                days=len(one.trend.fitted),
                word=one.trend.word,
                change=slope_words(one),
                limit=limit_words(one),
                reached=ahead_words(one),
            )
            for one in found
        ]
    return tuple(lines), tuple(told)


def worse(limit: dict[str, Any], held: dict[str, Any] | None) -> bool:
    """Tell whether evidence of a limit is worse than that already held for the month.

    Parameters
    ----------
    limit : dict
        What a verdict says of the limit.
    held : dict, optional
        What is held so far; None for nothing.

    Returns
    -------
    bool
        Whether it is.
    """
    if held is None:
        return True
    order = {"does_not_conform": 0, "undecided": 1, "conforms": 2}
    rank, held_rank = order[limit["verdict"]], order[held["verdict"]]
    if rank != held_rank:
        return rank < held_rank
    margin, held_margin = limit["margin"], held["margin"]
    return margin is not None and (held_margin is None or margin < held_margin)


def value(limit: dict[str, Any]) -> float | None:
    """Give the worst value of a limit.

    Parameters
    ----------
    limit : dict
        What a verdict says of the limit.

    Returns
    -------
    float or None
        The value [unit of the limit]; None for none.
    """
    worst = limit["worst"]
    return None if worst is None else worst["value"]


def text(limit: dict[str, Any]) -> str:
    """Write the worst value of a limit.

    Parameters
    ----------
    limit : dict
        What a verdict says of the limit.

    Returns
    -------
    str
        The value as it is shown.
    """
    from lungwort.paper.text import number  # noqa: PLC0415 - keeps --help instant

    worst = limit["worst"]
    if worst is None:
        return ""
    # '< 0.05' stays what it is; a plain number is shown with its few digits.
    if worst["text"][:1] in "<>≤≥" and worst["text"]:
        return str(worst["text"]).removesuffix(f" {worst['unit']}")
    return number(worst["value"]) if worst["value"] is not None else str(worst["text"])
