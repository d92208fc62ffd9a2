"""What is due and what is overdue, as a list and as a calendar file."""

from __future__ import annotations

from datetime import MAXYEAR
from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import InputError
from lungwort.jobs.opening import opened

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.plan.due import Due
    from lungwort.plan.snapshot import Snapshot

JSON_FORMAT: Final = "lungwort-due/1"
IN_TIME: Final = 0
LATE: Final = 3
_MOST_DAYS: Final = 36_600


@frozen
class Agenda:
    """What is due.

    Parameters
    ----------
    now : datetime
        For which moment, UTC.
    workspace : str
        Name of the workspace.
    items : tuple of Due
        What is late, and what is due within the horizon; late first.
    later : tuple of Due
        What is due after it.
    within_days : int, optional
        The horizon [d]; None for the rule sets' own.
    notes : tuple of str
        What is to be minded beside it.
    exit_code : int
        0, or 3 where something is overdue or was never done.
    """

    now: datetime
    workspace: str
    items: tuple[Due, ...]
    later: tuple[Due, ...]
    within_days: int | None
    notes: tuple[str, ...]
    exit_code: int


def parse_within(text: str | None) -> int | None:
    """Read how far ahead to look.

    Parameters
    ----------
    text : str, optional
        Like ``60d``, ``8w`` or ``60 days``; None for the rule sets' own.

    Returns
    -------
    int, optional
        Days.

    Raises
    ------
    InputError
        Where it is no length of time in days or weeks.

    Examples
    --------
    >>> parse_within("60d"), parse_within("8 weeks")
    (60, 56)
    """
    if text is None:
        return None
    import re  # noqa: PLC0415 - only here

    match = re.fullmatch(r"\s*(\d{1,6})\s*(d|days?|w|weeks?)\s*", text.lower(), re.ASCII)
    days = 0
    if match is not None:
        days = int(match.group(1)) * (7 if match.group(2).startswith("w") else 1)
    if match is None or days > _MOST_DAYS:
        raise InputError(
            f"--within {text!r} is no length of time in days. Write it like 60d or 8w, up to "
            f"{_MOST_DAYS}d."
        )
    return days


def due(where: Where, *, now: datetime, within_days: int | None = None) -> Agenda:
    """Tell what is due in a workspace.

    Parameters
    ----------
    where : Where
        Which workspace.
    now : datetime
        The time, UTC.
    within_days : int, optional
        How far ahead to look [d]; None for the rule sets' own.

    Returns
    -------
    Agenda
        What is due.

    Raises
    ------
    PlanError
        Where a site's rule set cannot be used.
    WorkspaceError
        Where the workspace cannot be used.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    with opened(where, read_only=True) as workspace:
        snapshot = take(workspace.register, now)
        return due_of(snapshot, workspace=workspace.name, within_days=within_days)


def due_of(snapshot: Snapshot, *, workspace: str = "", within_days: int | None = None) -> Agenda:
    """Tell what is due in a snapshot; parameters as `due`.

    Returns
    -------
    Agenda
        What is due.

    Raises
    ------
    PlanError
        Where a site's rule set cannot be used.
    """
    from lungwort.plan import due as plan  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.evidence import clock_behind  # noqa: PLC0415 - keeps --help instant

    found = plan.due(snapshot, horizon_days=within_days)
    late = any(one.state in plan.LATE for one in found)
    behind = clock_behind(snapshot)
    notes = [*behind, *_withdrawn(snapshot), *_retention(snapshot)]
    if not snapshot.supplies_in_use():
        notes.append("No supply in use is on record, so no test of air is planned.")
    return Agenda(
        now=snapshot.now,
        workspace=workspace,
        items=tuple(one for one in found if one.state != plan.LATER),
        later=tuple(one for one in found if one.state == plan.LATER),
        within_days=within_days,
        notes=tuple(notes),
        exit_code=LATE if late or behind else IN_TIME,
    )


def _withdrawn(snapshot: Snapshot) -> list[str]:
    from lungwort.plan.state import supply_state  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import WITHDRAWN  # noqa: PLC0415 - beside its use

    return [
        (
            f"Supply {supply.name} is withdrawn: its tests are not listed, for a test is part of its "
            "return to service."
        )
        for supply in snapshot.supplies_in_use()
        if supply_state(snapshot, supply.id).state == WITHDRAWN
    ]


def _retention(snapshot: Snapshot) -> list[str]:
    from lungwort.plan import rules  # noqa: PLC0415 - keeps --help instant

    told = []
    for site in snapshot.sites:
        plan = rules.load_plan(site.plan)
        years = plan.rule(rules.RETENTION).value
        if site.in_use and site.retention_years < years:
            told.append(
                f"Site {site.name} keeps its records for {site.retention_years} years, and the rule "
                f"set asks for {years} ({plan.said(rules.RETENTION)}). Keep them longer."
            )
    return told


def write_calendar(agenda: Agenda, path: Path) -> Path:
    """Write what is due as a calendar file.

    Parameters
    ----------
    agenda : Agenda
        What is due; what is due later goes in as well.
    path : pathlib.Path
        Where to; an existing file is replaced.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    OutputError
        Where it could not be written.
    """
    from lungwort.paper.calendar import CalendarItem, due_ics  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.write import write_bytes  # noqa: PLC0415 - keeps --help instant

    # A reminder in the past never rings: what is overdue stands on today.
    today = agenda.now.date()
    items = [
        CalendarItem(
            uid=f"{one.kind}-{one.subject_id}@lungwort",
            day=max(one.due, today),
            summary=f"{one.subject}: {one.what}" + ("" if intime_json(one) else f" ({one.state})"),
            description=(
                f"{'' if one.due >= today else f'Overdue since {one.due:%Y-%m-%d}. '}"
                f"{one.why}\nRule: {one.rule}."
            ),
        )
        for one in (*agenda.items, *agenda.later)
        if one.due.year < MAXYEAR
    ]
    name = f"Due: {agenda.workspace}" if agenda.workspace else "Due"
    return write_bytes(due_ics(items, name=name, now=agenda.now), path)


def intime_json(one: Due) -> bool:
    """Tell whether a thing is in time still."""
    from lungwort.plan import due as plan  # noqa: PLC0415 - keeps --help instant

    return one.state not in plan.LATE


def as_json(agenda: Agenda) -> dict[str, Any]:
    """Give what is due as values for JSON.

    Parameters
    ----------
    agenda : Agenda
        What is due.

    Returns
    -------
    dict
        Days as ``YYYY-MM-DD``.
    """
    from lungwort.jobs.status import time_json  # noqa: PLC0415 - keeps --help instant

    return {
        "format": JSON_FORMAT,
        "now": time_json(agenda.now),
        "workspace": agenda.workspace,
        "within_days": agenda.within_days,
        "exit_code": agenda.exit_code,
        "notes": list(agenda.notes),
        "due": [due_json(one) for one in agenda.items],
        "later": [due_json(one) for one in agenda.later],
    }


def due_json(one: Due) -> dict[str, Any]:
    """Give one thing that is due as values for JSON."""
    return {
        "kind": one.kind,
        "subject_kind": one.subject_kind,
        "subject_id": one.subject_id,
        "subject": one.subject,
        "what": one.what,
        "due": one.due.isoformat(),
        "state": one.state,
        "why": one.why,
        "rule": one.rule,
        "supply_id": one.supply_id,
    }
