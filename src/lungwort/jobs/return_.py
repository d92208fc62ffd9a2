"""Return a supply to service, once nothing stands against it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lungwort.errors import RegisterError
from lungwort.jobs.finding import close, retests
from lungwort.jobs.judging import limits_of
from lungwort.jobs.opening import opened, site_of
from lungwort.jobs.withdraw import StateChanged
from lungwort.plan.snapshot import by_id
from lungwort.register.model import (
    IN_SERVICE,
    WITHDRAWN,
    Outlet,
    Supply,
    SupplyState,
    VerdictRecord,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.catalogue.shape import Session
    from lungwort.jobs.opening import Where
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Finding


def against(folder: Path | Where | None, supply: str, *, now: datetime) -> tuple[str, ...]:
    """Tell what stands against returning a supply, without changing anything.

    Parameters
    ----------
    folder : Path or Where, optional
        The workspace.
    supply : str
        Which supply.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    tuple of str
        Sentences; empty where it may return.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import may_return  # noqa: PLC0415 - keeps --help instant

    with opened(folder, read_only=True) as workspace:
        thing = workspace.register.get(Supply, supply)
        return may_return(take(workspace.register, now), thing.id)


def return_supply(session: Session, supply: str, because: str = "") -> StateChanged:
    """Return a supply to service and close its findings, in one change.

    Parameters
    ----------
    session : Session
        Where, when and by whom.
    supply : str
        Which supply.
    because : str
        What else is to be said of it.

    Returns
    -------
    StateChanged
        The new state, with the verdicts that it rests on and the findings that were closed.

    Raises
    ------
    RegisterError
        Where anything stands against it; the message lists all of it.
    """
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import may_return, open_findings  # noqa: PLC0415 - keeps --help instant

    with session.recording() as (_, change, remarks):
        thing = change.get(Supply, supply)
        snapshot = take(change, session.now)
        reasons = may_return(snapshot, thing.id)
        if reasons:
            listed = "\n".join(f"  {place}. {why}" for place, why in enumerate(reasons, start=1))
            raise RegisterError(
                f"Supply {thing.name} may not return to service. Against it:\n{listed}"
            )
        findings = open_findings(snapshot, thing.id)
        verdicts = _verdicts(snapshot, thing, findings)
        for finding in findings:
            close(change, finding, *_closing(snapshot, finding, thing))
        record = change.add(
            SupplyState(
                supply_id=thing.id,
                state=IN_SERVICE,
                time=change.now,
                why=because.strip() or "Nothing stands against it.",
                finding_ids=tuple(one.id for one in findings),
                verdict_ids=tuple(one.id for one in verdicts),
                by_id=change.who.id,
            )
        )
        places = {one.id: one.name for one in change.all(Outlet, supply_id=thing.id)}
        clock = Clock.for_period(site_of(change, thing).zone, None, None)
        return StateChanged(
            state=record,
            supply=thing.name,
            said=f"Supply {thing.name} is in service.",
            when=clock.time(record.time),
            findings=tuple(one.number for one in findings),
            verdicts=tuple((places.get(one.outlet_id, one.outlet_id), one.id) for one in verdicts),
            remarks=tuple(remarks),
            next_steps=_next_steps(snapshot, thing, verdicts, places),
        )


def _next_steps(
    snapshot: Snapshot,
    supply: Supply,
    verdicts: Sequence[VerdictRecord],
    places: Mapping[str, str],
) -> tuple[str, ...]:
    from lungwort.plan.state import supply_state  # noqa: PLC0415 - keeps --help instant

    steps = []
    if supply_state(snapshot, supply.id).state == WITHDRAWN:
        steps.append("Take the withdrawn notice down.")
    certified = {one.verdict_id for one in snapshot.certificates}
    steps.extend(
        f"Issue the certificate: 'lungwort certify \"{places.get(one.outlet_id, one.outlet_id)}\"'."
        for one in verdicts
        if one.id not in certified
    )
    return tuple(steps)


def _closing(
    snapshot: Snapshot, finding: Finding, supply: Supply
) -> tuple[str, VerdictRecord | None]:
    found = retests(snapshot, finding)
    said = f"Supply {supply.name} was returned to service"
    if found:
        return f"{said}.", max(found, key=lambda one: (one.judged_at, one.seq))
    place = by_id(snapshot.outlets, finding.outlet_id)
    if place is not None and not place.in_use:
        return f"{said}; outlet {place.name} is no longer in use.", None
    raise RegisterError(
        f"Finding {finding.number} has no conforming retest after its cure. Test again and have "
        "it judged."
    )


def _verdicts(
    snapshot: Snapshot, supply: Supply, findings: tuple[Finding, ...]
) -> list[VerdictRecord]:
    """Find the newest conforming verdict of each outlet in use: what the return rests on."""
    from lungwort.plan.state import retest, retest_after, supply_state  # noqa: PLC0415 - keeps --help instant

    limits = limits_of(snapshot, supply)
    state = supply_state(snapshot, supply.id)
    states = [one for one in snapshot.states if one.supply_id == supply.id]
    served = max((one.seq for one in states if one.state == IN_SERVICE), default=0)
    led = {each for one in states if one.seq > served for each in one.finding_ids}
    concerned = [one for one in snapshot.findings if one in findings or one.id in led]
    found = []
    for outlet in snapshot.outlets_of(supply.id):
        after = retest_after(snapshot, outlet.id, concerned, state)
        newest = retest(snapshot, outlet.id, limits, after)
        if newest is None:
            # May not be, as nothing stands against the return: rather stop than leave it out.
            raise RegisterError(
                f"Outlet {outlet.name} has no conforming verdict by the limits in force. Test it "
                "and have it judged."
            )
        found.append(newest)
    return found
