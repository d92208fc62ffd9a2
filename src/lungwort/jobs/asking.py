"""Asking a second person to approve the certificate of a verdict on record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lungwort.errors import RegisterError
from lungwort.jobs.issuing import refuse_not_competent
from lungwort.register.model import ASKED, Approval, Certificate, Person, Site

if TYPE_CHECKING:
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Supply, VerdictRecord
    from lungwort.register.records import Change


def record_asked(
    change: Change, snapshot: Snapshot, verdict: VerdictRecord, supply: Supply
) -> Approval:
    """Record that a second person is asked; who makes the change issues the certificate.

    Parameters
    ----------
    change : Change
        The change.
    snapshot : Snapshot
        The record, with the verdict.
    verdict : VerdictRecord
        The verdict, which conforms and which nothing stands against.
    supply : Supply
        Its supply.

    Returns
    -------
    Approval
        What is on record.

    Raises
    ------
    RegisterError
        Where it was asked for or certified already, who asks may not issue a certificate, or
        nobody else is on record who could approve it.
    """
    instead = "Nothing was recorded."
    refuse_not_competent(snapshot, change.who, supply, instead)
    if any(one.verdict_id == verdict.id for one in change.all(Certificate)):
        raise RegisterError("This verdict has a certificate already. Nothing was recorded.")
    if any(
        one.verdict_id == verdict.id and one.state == ASKED
        for one in change.all(Approval, outlet_id=verdict.outlet_id)
    ):
        raise RegisterError(
            "Approval of this verdict was asked for already, and waits. Nothing was recorded."
        )
    if not any(one.in_use and one.id != change.who.id for one in change.all(Person)):
        site = change.get(Site, supply.site_id)
        raise RegisterError(
            f"Nobody but {change.who.name} is on record at {site.name} who could approve a "
            f"certificate. Record a second person first. {instead}"
        )
    return change.add(
        Approval(
            verdict_id=verdict.id,
            outlet_id=verdict.outlet_id,
            supply_id=verdict.supply_id,
            asked_at=change.now,
            asked_by_id=change.who.id,
        )
    )
