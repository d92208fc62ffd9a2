"""Approval of certificates by a second person: what waits, looking at it, approving, refusing."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.errors import RegisterError
from lungwort.jobs.asking import record_asked
from lungwort.jobs.catalogue.shape import Done, Session, need_reason
from lungwort.jobs.evidence_choice import Wanted, choose
from lungwort.jobs.issuing import CONFORMS, against_certificate, issue, refuse_not_competent
from lungwort.jobs.judging import judged_again, limits_of
from lungwort.jobs.opening import opened, site_of
from lungwort.register.model import (
    APPROVED,
    ASKED,
    REFUSED,
    Approval,
    Certificate,
    HandTest,
    LogImport,
    Outlet,
    Person,
    Supply,
    VerdictRecord,
)

if TYPE_CHECKING:
    from datetime import datetime, timedelta
    from pathlib import Path

    from lungwort.jobs.judging import Judged
    from lungwort.jobs.opening import Where
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.records import Change
    from lungwort.register.workspace import Workspace
    from lungwort.verdict.model import Verdict

_ANEW: Final = "Have the outlet judged anew and ask for approval again."


@frozen(kw_only=True)
class Waiting:
    """A certificate that a second person is asked to approve, or was asked to.

    Parameters
    ----------
    id : str
        Of the asking; empty for a verdict for which nobody was asked yet.
    verdict_id, outlet_id, outlet, supply, site : str
        What is to be certified.
    zone : str
        Time zone of the site.
    state : str
        ``asked``, ``approved`` or ``refused``; empty where nobody was asked yet.
    asked_at : datetime, optional
        When it was asked for, UTC.
    asked_by, asked_by_id : str
        Who asked and issues the certificate.
    judged_at : datetime
        When it was judged, UTC.
    evidence : tuple of str
        What it was judged from.
    newest : datetime, optional
        When the newest evidence ended, UTC.
    decided_at : datetime, optional
        When it was decided, UTC.
    decided_by, why, certificate : str
        Who decided, why it was refused, and the number of the certificate.
    """

    id: str
    verdict_id: str
    outlet_id: str
    outlet: str
    supply: str
    site: str
    zone: str
    state: str
    asked_at: datetime | None
    asked_by: str
    asked_by_id: str
    judged_at: datetime
    evidence: tuple[str, ...]
    newest: datetime | None
    decided_at: datetime | None = None
    decided_by: str = ""
    why: str = ""
    certificate: str = ""

    def age(self, now: datetime) -> timedelta | None:
        """Tell how old the newest evidence is."""
        return None if self.newest is None else now - self.newest


@frozen(kw_only=True)
class Look:
    """What a second person looks at before deciding.

    Parameters
    ----------
    waiting : Waiting
        What is asked.
    verdict : Verdict
        The verdict on record, drawn again.
    against : tuple of str
        What stands against a certificate as of now; empty where nothing does.
    """

    waiting: Waiting
    verdict: Verdict
    against: tuple[str, ...]


def listed(where: Where | Path | None, *, now: datetime) -> tuple[Waiting, ...]:
    """List what waits for a second person, and what was decided, newest first.

    Parameters
    ----------
    where : Where or path, optional
        Which workspace.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    tuple of Waiting
        All that was asked. An outlet's newest verdict that conforms and has no certificate is
        among them where its site wants a second signature and nobody was asked.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    with opened(where, read_only=True) as workspace:
        snapshot = take(workspace.register, now)
        asked = workspace.register.all(Approval)
        told = [_waiting(workspace, snapshot, one, _verdict(snapshot, one)) for one in asked]
        told += [
            _waiting(workspace, snapshot, None, one)
            for one in _not_asked(workspace, snapshot, asked)
        ]
    return tuple(sorted(told, key=lambda one: one.asked_at or one.judged_at, reverse=True))


def _verdict(snapshot: Snapshot, approval: Approval) -> VerdictRecord:
    found = next((one for one in snapshot.verdicts if one.id == approval.verdict_id), None)
    if found is None:
        raise RegisterError(f"The verdict {approval.verdict_id} counts no more. {_ANEW}")
    return found


def _not_asked(
    workspace: Workspace, snapshot: Snapshot, asked: list[Approval]
) -> list[VerdictRecord]:
    certified = {one.verdict_id for one in snapshot.certificates}
    known = {one.verdict_id for one in asked}
    found = []
    for outlet in workspace.register.all(Outlet):
        site = site_of(workspace.register, outlet)
        mine = [one for one in snapshot.verdicts if one.outlet_id == outlet.id]
        if not outlet.in_use or not site.second_signature or not mine:
            continue
        newest = max(mine, key=lambda one: one.seq)
        if newest.overall == CONFORMS and newest.id not in certified | known:
            found.append(newest)
    return found


def _waiting(
    workspace: Workspace, snapshot: Snapshot, approval: Approval | None, verdict: VerdictRecord
) -> Waiting:
    register = workspace.register
    outlet = register.get(Outlet, verdict.outlet_id)
    supply = register.get(Supply, verdict.supply_id)
    site = site_of(register, supply)
    names = {one.id: one.name for one in register.all(Person)}
    tests = [one for one in snapshot.hand_tests if one.id in verdict.hand_test_ids]
    logs = [one for one in snapshot.log_imports if one.id in verdict.log_import_ids]
    ends = [one.ended for one in tests] + [one.end for one in logs if one.end is not None]
    evidence = [f"test by hand by {names.get(one.tester_id, one.tester_id)}" for one in tests]
    evidence += [f"log {', '.join(file.name for file in one.files)}" for one in logs]
    number = ""
    if approval is not None and approval.certificate_id is not None:
        number = register.get(Certificate, approval.certificate_id).number
    return Waiting(
        id="" if approval is None else approval.id,
        verdict_id=verdict.id,
        outlet_id=outlet.id,
        outlet=outlet.name,
        supply=supply.title or supply.name,
        site=site.name,
        zone=site.zone,
        state="" if approval is None else approval.state,
        asked_at=None if approval is None else approval.asked_at,
        asked_by="" if approval is None else names.get(approval.asked_by_id, ""),
        asked_by_id="" if approval is None else approval.asked_by_id,
        judged_at=verdict.judged_at,
        evidence=tuple(evidence),
        newest=max(ends, default=None),
        decided_at=None if approval is None else approval.decided_at,
        decided_by=""
        if approval is None or approval.decided_by_id is None
        else names.get(approval.decided_by_id, ""),
        why="" if approval is None else approval.why,
        certificate=number,
    )


def look(where: Where | Path | None, approval_id: str, *, now: datetime) -> Look:
    """Show what a second person is asked to approve.

    Parameters
    ----------
    where : Where or path, optional
        Which workspace.
    approval_id : str
        Id of the asking.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    Look
        The verdict as it is on record, and what stands against a certificate now.

    Raises
    ------
    UnknownRecordError
        Where there is no such asking.
    RegisterError
        Where what it was judged from is missing or was altered.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    with opened(where, read_only=True) as workspace:
        approval = workspace.register.get(Approval, approval_id)
        record = workspace.register.get(VerdictRecord, approval.verdict_id)
        judged = _drawn(workspace, record)
        snapshot = take(workspace.register, now)
        against = _against(snapshot, judged, record, approval) if approval.state == ASKED else ()
        return Look(
            waiting=_waiting(workspace, snapshot, approval, record),
            verdict=judged.verdict,
            against=against,
        )


def _drawn(workspace: Workspace, record: VerdictRecord) -> Judged:
    judged = judged_again(workspace, record)
    if hashlib.sha256(judged.result_json).hexdigest() != record.result_sha256:
        raise RegisterError(
            f"The verdict {record.id} was drawn by lungwort {record.program_version} and comes out "
            f"otherwise now. It cannot be certified as it is. {_ANEW}"
        )
    return judged


def _against(
    snapshot: Snapshot, judged: Judged, record: VerdictRecord, approval: Approval | None
) -> tuple[str, ...]:
    """Tell all that stands against the certificate now, as if it were asked for now."""
    outlet = next((one for one in snapshot.outlets if one.id == record.outlet_id), None)
    supply = next((one for one in snapshot.supplies if one.id == record.supply_id), None)
    if outlet is None or supply is None or not outlet.in_use or not supply.in_use:
        return ("The outlet or its supply is on record as given up.",)
    if record.overall != CONFORMS:
        return ("The verdict does not say that the air conforms.",)
    told = []
    newer = [
        one for one in snapshot.verdicts if one.outlet_id == outlet.id and one.seq > record.seq
    ]
    if newer:
        told.append(f"There is a newer verdict of this outlet. {_ANEW}")
    if any(one.verdict_id == record.id for one in snapshot.certificates):
        told.append("This verdict has a certificate already.")
    told += _changed(snapshot, record)
    if limits_of(snapshot, supply).digest != record.limit_set_digest:
        told.append(f"Another limit set holds for supply {supply.name} now. {_ANEW}")
    options = judged.inputs.options
    wanted = Wanted(
        tests=record.hand_test_ids,
        logs=record.log_import_ids,
        no_tests=not record.hand_test_ids,
        no_logs=not record.log_import_ids,
        begin=options.start,
        end=options.end,
    )
    if not told:
        chosen = choose(snapshot, outlet, wanted)
        narrowed = options.end is not None or (
            options.start is not None
            and options.start != choose(snapshot, outlet, evolve(wanted, begin=None)).begin
        )
        state, evidence = against_certificate(
            snapshot, judged, supply, newer=chosen.newer, narrowed=narrowed
        )
        told += [*state, *evidence]
    if approval is not None:
        told += _issuer(snapshot, approval, supply)
    return tuple(dict.fromkeys(told))


def _changed(snapshot: Snapshot, record: VerdictRecord) -> list[str]:
    """Name evidence that is not as it was when it was judged."""
    known: dict[str, HandTest | LogImport] = {
        **{one.id: one for one in snapshot.hand_tests},
        **{one.id: one for one in snapshot.log_imports},
    }
    told = []
    for what, ids in (("test by hand", record.hand_test_ids), ("log", record.log_import_ids)):
        for name in ids:
            one = known.get(name)
            if one is None:
                told.append(f"The {what} {name} that it rests on counts no more. {_ANEW}")
            elif one.seq > record.seq:
                told.append(f"The {what} {name} that it rests on was changed since. {_ANEW}")
    return told


def _issuer(snapshot: Snapshot, approval: Approval, supply: Supply) -> list[str]:
    issuer = next((one for one in snapshot.persons if one.id == approval.asked_by_id), None)
    if issuer is None or not issuer.in_use:
        return [f"Who asked for approval is on record as retired and signs nothing. {_ANEW}"]
    try:
        refuse_not_competent(snapshot, issuer, supply, _ANEW)
    except RegisterError as error:
        return [str(error)]
    return []


def ask(at: Session, verdict_id: str) -> Done:
    """Ask a second person to approve the certificate of a verdict on record.

    Parameters
    ----------
    at : Session
        Where, when and by whom; who asks issues the certificate.
    verdict_id : str
        The verdict.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    RegisterError
        Where something stands against a certificate, or it cannot be asked for.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    with at.recording() as (workspace, change, remarks):
        record = change.get(VerdictRecord, verdict_id)
        snapshot = take(change, change.now)
        against = _against(snapshot, _drawn(workspace, record), record, None)
        if against:
            raise RegisterError(
                f"No certificate may be issued, and nothing was recorded. {' '.join(against)}"
            )
        supply = change.get(Supply, record.supply_id)
        approval = record_asked(change, snapshot, record, supply)
        outlet = change.get(Outlet, record.outlet_id)
        return Done(
            record=approval,
            said=f"A second person is asked to approve the certificate of outlet {outlet.name}.",
            remarks=tuple(remarks),
        )


def approve(at: Session, approval_id: str) -> Done:
    """Approve a certificate as the second person; it is issued at once.

    Parameters
    ----------
    at : Session
        Where, when and by whom; who approves is not who asked.
    approval_id : str
        Id of the asking.

    Returns
    -------
    Done
        The certificate, which names who asked as its issuer.

    Raises
    ------
    RegisterError
        Where it was decided already, the same person asked, or anything stands against a
        certificate as of now: nothing is recorded then.
    StaleRecordError
        Where somebody else decided at the same time.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    with at.recording() as (workspace, change, remarks):
        approval = _undecided(change, approval_id)
        record = change.get(VerdictRecord, approval.verdict_id)
        judged = _drawn(workspace, record)
        snapshot = take(change, change.now)
        against = _against(snapshot, judged, record, approval)
        if against:
            raise RegisterError(
                f"The certificate cannot be issued any more, and nothing was recorded. "
                f"{' '.join(against)}"
            )
        supply = change.get(Supply, record.supply_id)
        issued = issue(
            change,
            snapshot,
            judged,
            record,
            supply,
            approver=change.who,
            key=None,
            passphrase=None,
            workspace_name=workspace.name,
            issuer=change.get(Person, approval.asked_by_id),
        )
        decided = evolve(
            approval,
            state=APPROVED,
            decided_at=change.now,
            decided_by_id=change.who.id,
            certificate_id=issued.certificate.id,
        )
        number = issued.certificate.number
        change.replace(approval, decided, f"Approved: certificate {number}.")
        workspace.put_file(issued.pdf)
        outlet = change.get(Outlet, record.outlet_id)
        until = issued.certificate.next_test_by
        return Done(
            record=issued.certificate,
            said=f"Certificate {number} of outlet {outlet.name} was approved and issued.",
            remarks=(*remarks, *issued.remarks),
            next_steps=(
                (
                    "Note the tree head down outside this computer: it shows later that the record was "
                    "not altered."
                ),
                (
                    f"Test again{'' if until is None else f' by {until.isoformat()}'}, and at once after "
                    "maintenance, moving or any doubt."
                ),
            ),
        )


def refuse(at: Session, approval_id: str, reason: str | None) -> Done:
    """Refuse to approve a certificate; none is issued.

    Parameters
    ----------
    at : Session
        Where, when and by whom; who refuses is not who asked.
    approval_id : str
        Id of the asking.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where there is no reason.
    RegisterError
        Where it was decided already, or the same person asked.
    """
    why = need_reason(reason)
    with at.recording() as (_, change, remarks):
        approval = _undecided(change, approval_id)
        outlet = change.get(Outlet, approval.outlet_id)
        refused = change.replace(
            approval,
            evolve(
                approval,
                state=REFUSED,
                decided_at=change.now,
                decided_by_id=change.who.id,
                why=why,
            ),
            f"Refused: {why}",
        )
        return Done(
            record=refused,
            said=f"The certificate of outlet {outlet.name} was refused. None was issued.",
            remarks=tuple(remarks),
            next_steps=(
                (
                    "Where the refusal is about the air itself, withdraw the supply at once: "
                    f"'lungwort withdraw \"{change.get(Supply, approval.supply_id).name}\"'."
                ),
            ),
        )


def _undecided(change: Change, approval_id: str) -> Approval:
    approval = change.get(Approval, approval_id)
    if approval.state != ASKED:
        raise RegisterError(
            f"This was decided already: it was {approval.state}. Nothing was recorded."
        )
    if approval.asked_by_id == change.who.id:
        raise RegisterError(
            f"{change.who.name} asked for the approval and cannot be the second person as well. "
            "Somebody else decides. Nothing was recorded."
        )
    return approval
