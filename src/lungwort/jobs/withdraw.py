"""Withdraw a supply: nobody breathes its air until it is returned to service."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from attrs import frozen

from lungwort.errors import RegisterError
from lungwort.jobs.finding import text_given
from lungwort.jobs.opening import site_of, typed_time
from lungwort.register.model import WITHDRAWN, Finding, Supply, SupplyState

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from lungwort.jobs.catalogue.shape import Session
    from lungwort.register.records import Change


@frozen
class StateChanged:
    """A supply's new state, for a screen.

    Parameters
    ----------
    state : SupplyState
        The record.
    supply : str
        Name of the supply.
    said : str
        One sentence on it.
    when : str
        When, in the site's zone.
    findings : tuple of str
        Numbers of the findings that led to it, or were closed.
    verdicts : tuple of (str, str)
        Outlets and the verdicts that it rests on.
    remarks : tuple of str
        What to mind.
    next_steps : tuple of str
        What to do next.
    """

    state: SupplyState
    supply: str
    said: str
    when: str
    findings: tuple[str, ...] = ()
    verdicts: tuple[tuple[str, str], ...] = ()
    remarks: tuple[str, ...] = ()
    next_steps: tuple[str, ...] = ()

    def plain(self) -> dict[str, Any]:
        """Give it in JSON values."""
        from lungwort.register.convert import to_plain  # noqa: PLC0415 - keeps --help instant

        return {
            **to_plain(self.state),
            "supply": self.supply,
            "findings": list(self.findings),
            "verdicts": [{"outlet": place, "verdict_id": one} for place, one in self.verdicts],
            "remarks": list(self.remarks),
            "next_steps": list(self.next_steps),
        }


def withdraw(
    session: Session,
    supply: str,
    because: str,
    *,
    findings: Sequence[str] = (),
    time: str | None = None,
) -> StateChanged:
    """Withdraw a supply.

    Parameters
    ----------
    session : Session
        Where, when and by whom.
    supply : str
        Which supply.
    because : str
        Why.
    findings : sequence of str
        Numbers of findings that led to it; those of the supply that are open count in any case.
    time : str, optional
        Since when, as typed; None for now.

    Returns
    -------
    StateChanged
        The new state.

    Raises
    ------
    RegisterError
        Where it is withdrawn already, or a finding is of another supply.
    InputError
        Where no reason is given, or the time cannot be.
    """
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import supply_state  # noqa: PLC0415 - keeps --help instant

    why = text_given(because, "--because")
    with session.recording() as (_, change, remarks):
        thing = change.get(Supply, supply)
        zone = site_of(change, thing).zone
        named = [change.get(Finding, one) for one in findings]
        for one in named:
            if one.supply_id != thing.id:
                raise RegisterError(
                    f"Finding {one.number} is of another supply, not of {thing.name}."
                )
        now = supply_state(take(change, session.now), thing.id)
        clock = Clock.for_period(zone, None, None)
        if now.state == WITHDRAWN:
            since = "" if now.since is None else f" since {clock.time(now.since)}"
            raise RegisterError(
                f"Supply {thing.name} is withdrawn already{since}: {now.why.rstrip('.')}. To add to it, open a "
                "finding with 'lungwort finding open', or note it with 'lungwort finding note'."
            )
        record = record_withdrawal(
            change,
            thing,
            why,
            time=typed_time(time, zone, "--time", now=session.now),
            findings=named,
        )
        return shown(change, record, thing, clock.time(record.time), remarks)


def record_withdrawal(
    change: Change, supply: Supply, why: str, *, time: datetime, findings: Sequence[Finding] = ()
) -> SupplyState:
    """Record a withdrawal within a change.

    Parameters
    ----------
    change : Change
        The change.
    supply : Supply
        The supply.
    why : str
        Why.
    time : datetime
        Since when, UTC.
    findings : sequence of Finding
        Findings that led to it; those of the supply that are open are added.

    Returns
    -------
    SupplyState
        The record.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import open_findings  # noqa: PLC0415 - keeps --help instant

    opened = open_findings(take(change, change.now), supply.id)
    return change.add(
        SupplyState(
            supply_id=supply.id,
            state=WITHDRAWN,
            time=time,
            why=why,
            finding_ids=tuple(dict.fromkeys(one.id for one in (*findings, *opened))),
            by_id=change.who.id,
        )
    )


def shown(
    change: Change, record: SupplyState, supply: Supply, when: str, remarks: Sequence[str] = ()
) -> StateChanged:
    """Put a withdrawal into words."""
    numbers = tuple(change.get(Finding, one).number for one in record.finding_ids)
    steps = [
        f"Hang the notice up where the air is taken: 'lungwort print notice \"{supply.name}\"'.",
    ]
    if numbers:
        steps.append(
            f"Find the cause and enter it: 'lungwort finding cause {numbers[0]} --text TEXT'. Then "
            "the cure with 'lungwort finding cure'."
        )
    steps.append(
        f"Test again after the cure, have it judged, and return it: 'lungwort return \"{supply.name}\"'."
    )
    return StateChanged(
        state=record,
        supply=supply.name,
        said=f"Supply {supply.name} is withdrawn: nobody may breathe its air.",
        when=when,
        findings=numbers,
        remarks=tuple(remarks),
        next_steps=tuple(steps),
    )
