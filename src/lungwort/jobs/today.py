"""What needs somebody now: supplies that may not be used, what is late, what is open."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.jobs.opening import Where, opened
from lungwort.register.model import IN_SERVICE, WITHDRAWN

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.jobs.due import Agenda
    from lungwort.jobs.finding import FindingShown
    from lungwort.jobs.status import Status, SupplyRow

STOP: Final = "stop"
"""Air that is outside a limit is in service."""
NOT_PROVEN: Final = "not_proven"
LATE: Final = "late"
OPEN: Final = "open"
GOES_STALE: Final = "goes_stale"
HEADS_FOR_LIMIT: Final = "heads_for_limit"
"""Readings have a trend that reaches a limit."""
SOON: Final = "soon"
URGENCY: Final = (STOP, NOT_PROVEN, LATE, OPEN, HEADS_FOR_LIMIT, GOES_STALE, SOON)
"""What needs somebody first comes first."""
_OF_CARTRIDGE: Final = {"now": LATE, "doubtful": NOT_PROVEN, "soon": SOON}


@frozen
class Need:
    """One thing that needs somebody.

    Parameters
    ----------
    urgency : str
        One of `URGENCY`.
    kind : str
        Kind of the thing: ``supply``, ``finding``, ``outlet``, ``stage``, ``instrument``, ``lot`` …
    id, name : str
        The thing.
    what : str
        What is the matter, or is to be done.
    why : tuple of str
        The reasons.
    supply_id : str
        The supply that it belongs to; empty for none.
    """

    urgency: str
    kind: str
    id: str
    name: str
    what: str
    why: tuple[str, ...] = ()
    supply_id: str = ""


@frozen
class Today:
    """What needs somebody now.

    Parameters
    ----------
    status : Status
        How all supplies stand.
    supplies : tuple of SupplyRow
        The supplies, those that need somebody first.
    needs : tuple of Need
        What needs somebody, the most urgent first.
    under_way : tuple of (str, str, str)
        Tests by hand under way: id, outlet, tester.
    """

    status: Status
    supplies: tuple[SupplyRow, ...]
    needs: tuple[Need, ...]
    under_way: tuple[tuple[str, str, str], ...]


def today(where: Where, *, now: datetime) -> Today:
    """Tell what needs somebody now.

    Parameters
    ----------
    where : Where
        Which workspace.
    now : datetime
        The time, UTC.

    Returns
    -------
    Today
        What needs somebody.

    Raises
    ------
    WorkspaceError
        Where the workspace cannot be used.
    """
    from lungwort.errors import PlanError  # noqa: PLC0415 - beside its use
    from lungwort.jobs.due import due_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.finding import findings_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.hand_test_views import open_tests  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.status import status_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.treatment_warnings import ends  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.trend_warnings import warnings  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    with opened(where, read_only=True) as workspace:
        snapshot = take(workspace.register, now)
        status = status_of(snapshot, workspace=workspace.name)
        try:
            agenda: Agenda | None = due_of(snapshot, workspace=workspace.name)
        except PlanError:
            # The status' notes tell why.
            agenda = None
        findings = findings_of(snapshot)
        ahead = warnings(workspace, snapshot)
        used_up = ends(where, workspace, snapshot)
    needs = [
        *(need for row in status.rows for need in _of_supply(row)),
        *map(_of_finding, findings),
        *(
            Need(
                HEADS_FOR_LIMIT,
                "trend",
                one.outlet_id,
                one.outlet,
                one.text,
                one.why,
                one.supply_id,
            )
            for one in ahead
        ),
        *(
            Need(
                _OF_CARTRIDGE[one.urgency],
                one.question,
                one.supply_id,
                " · ".join(filter(None, (one.supply, one.stage))),
                one.text,
                one.why,
                one.supply_id,
            )
            for one in used_up
        ),
        *(() if agenda is None else _of_agenda(agenda)),
    ]
    return Today(
        status=status,
        supplies=tuple(sorted(status.rows, key=_rank)),
        needs=tuple(sorted(needs, key=lambda one: URGENCY.index(one.urgency))),
        under_way=tuple(
            (one.id, one.run.context.outlet, one.run.context.tester)
            for one in open_tests(where, now=now)
        ),
    )


def _rank(row: SupplyRow) -> int:
    if row.state == IN_SERVICE:
        return {"does_not_conform": 0, "not_proven": 1}.get(row.verdict, 4)
    return 2 if row.state == WITHDRAWN else 3


def _of_supply(row: SupplyRow) -> tuple[Need, ...]:
    if row.state != IN_SERVICE or row.verdict == "conforms":
        return ()
    if row.verdict == "does_not_conform":
        urgency = STOP
        what = "The air does not conform and the supply is in service. Withdraw it now."
    else:
        urgency = NOT_PROVEN
        what = "The supply is in service, and it is not proven that its air conforms."
    return (Need(urgency, "supply", row.supply_id, row.title, what, row.reasons, row.supply_id),)


def _of_finding(shown: FindingShown) -> Need:
    one = shown.finding
    return Need(
        OPEN,
        "finding",
        one.number,
        f"{one.number}, {shown.supply}",
        one.text,
        shown.lacks,
        one.supply_id,
    )


def _of_agenda(agenda: Agenda) -> tuple[Need, ...]:
    from lungwort.jobs.status import when_words  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.due import LATE as IS_LATE  # noqa: PLC0415 - keeps --help instant

    return tuple(
        Need(
            LATE if one.state in IS_LATE else GOES_STALE if one.kind == "test" else SOON,
            one.subject_kind,
            one.subject_id,
            one.subject,
            f"{one.what}, {when_words(one)}",
            (one.why,),
            one.supply_id,
        )
        for one in agenda.items
    )
