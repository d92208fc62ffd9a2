"""What follows from a verdict on record: a certificate, or a finding."""

from __future__ import annotations

import hashlib
from datetime import timedelta
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import RegisterError
from lungwort.jobs.certificate_sheet import sheet_of
from lungwort.jobs.finding import is_about_air
from lungwort.jobs.numbers import certificate_stem, finding_number, next_number
from lungwort.jobs.opening import site_of
from lungwort.jobs.withdraw import record_withdrawal
from lungwort.register.model import (
    CURE,
    NOTE,
    WITHDRAWN,
    Action,
    Certificate,
    Finding,
    Person,
    Site,
    Supply,
    SupplyState,
    TreeHead,
    VerdictRecord,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from lungwort.jobs.judging import Judged
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.records import Change

CONFORMS: Final = "conforms"
DOES_NOT_CONFORM: Final = "does_not_conform"
_USUAL_COVERAGE: Final = 0.9


@frozen
class Issued:
    """A certificate, with its PDF.

    Parameters
    ----------
    certificate : Certificate
        The record.
    head : TreeHead
        Head of the journal's tree that it carries.
    pdf : bytes
        The paper.
    remarks : tuple of str
        What to mind.
    """

    certificate: Certificate
    head: TreeHead
    pdf: bytes
    remarks: tuple[str, ...] = ()


@frozen
class Opened:
    """A finding that a verdict opened or was added to.

    Parameters
    ----------
    finding : Finding
        The finding.
    state : SupplyState, optional
        The withdrawal, where it was done.
    was_withdrawn : bool
        Whether the supply was withdrawn already.
    """

    finding: Finding
    state: SupplyState | None
    was_withdrawn: bool


def against_certificate(
    snapshot: Snapshot,
    judged: Judged,
    supply: Supply,
    *,
    newer: Sequence[str],
    narrowed: bool = False,
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Tell what stands against a certificate for air whose verdict conforms and is on record.

    Parameters
    ----------
    snapshot : Snapshot
        The record, with the verdict.
    judged : Judged
        The verdict with its evidence.
    supply : Supply
        The supply.
    newer : sequence of str
        Newer evidence of the outlet that was left out.
    narrowed : bool
        Whether the user narrowed the period that was judged.

    Returns
    -------
    tuple of (tuple of str, tuple of str)
        What the supply's state says, and what the evidence says.
    """
    from lungwort.plan.evidence import supply_evidence  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import open_findings, supply_state  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.unjudged import said, standing  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.notes import OUTSIDE_PERIOD  # noqa: PLC0415 - keeps --help instant

    state = []
    if supply_state(snapshot, supply.id).state == WITHDRAWN:
        state.append(
            f"Supply {supply.name} is withdrawn. Return it first: 'lungwort return \"{supply.name}\"'."
        )
    state.extend(
        f"Finding {one.number} is open: {one.text.rstrip('.')}."
        for one in open_findings(snapshot, supply.id)
        if is_about_air(one)
    )
    evidence = [
        f"There is newer evidence that was not judged: {what}. Judge it too, with --test and --log, or --from and --to."
        for what in newer
    ]
    outlet = judged.outlet
    certified = _last_certified(snapshot, outlet.id)
    evidence.extend(
        one.todo
        for one in standing(snapshot, outlet.id, after=certified)
        if not any(one.id in what for what in newer)
    )
    if narrowed:
        evidence.extend(
            f"Readings that the chosen period leaves out are outside the limits: {what.rstrip('.')}. Judge them too, "
            "or cure what was wrong and enter it."
            for one in judged.verdict.not_judged
            if one.cause == OUTSIDE_PERIOD
            for what in one.outside
        )
    least = judged.inputs.options.min_coverage
    if least < _USUAL_COVERAGE:
        evidence.append(
            f"Only {least * 100:g} % of the period had to be covered (--coverage), and a certificate "
            f"asks for {_USUAL_COVERAGE * 100:g} %."
        )
    whole = supply_evidence(snapshot, supply.id, judged.inputs.limit_set)
    told_already = said(outlet, standing(snapshot, outlet.id))
    for one in whole.outlets:
        if one.outlet_id == outlet.id and one.overall != CONFORMS:
            evidence.extend(reason for reason in one.reasons if reason != told_already)
    return tuple(dict.fromkeys(state)), tuple(dict.fromkeys(evidence))


def _last_certified(snapshot: Snapshot, outlet_id: str) -> datetime | None:
    """Tell when the evidence of an outlet's last certificate ended; None where there is none."""
    certified = [one.verdict_id for one in snapshot.certificates if one.outlet_id == outlet_id]
    verdicts = [one for one in snapshot.verdicts if one.id in certified]
    tests = {test for one in verdicts for test in one.hand_test_ids}
    logs = {log for one in verdicts for log in one.log_import_ids}
    ends = [one.ended for one in snapshot.hand_tests if one.id in tests]
    ends += [one.end for one in snapshot.log_imports if one.id in logs and one.end is not None]
    return max(ends, default=None)


def refuse_not_competent(snapshot: Snapshot, person: Person, supply: Supply, instead: str) -> None:
    """Make sure that somebody may issue a certificate.

    Parameters
    ----------
    snapshot : Snapshot
        The record.
    person : Person
        Who issues it.
    supply : Supply
        The supply.
    instead : str
        What else can be done, as a sentence.

    Raises
    ------
    RegisterError
        Where the person's competence has lapsed or is not on record.
    """
    from lungwort.plan.lapses import person_lapses  # noqa: PLC0415 - keeps --help instant

    lapses = person_lapses(snapshot, person.id, snapshot.now, supply_id=supply.id)
    if lapses:
        raise RegisterError(
            f"{person.name} may not issue a certificate. {' '.join(lapses)} {instead}"
        )


def second_person(
    change: Change, snapshot: Snapshot, supply: Supply, approved_by: str | None
) -> Person | None:
    """Make sure that those who sign may sign.

    Parameters
    ----------
    change : Change
        The change; who makes it issues the certificate.
    snapshot : Snapshot
        The record.
    supply : Supply
        The supply.
    approved_by : str, optional
        Name of the second person, as given.

    Returns
    -------
    Person or None
        The second person who signs.

    Raises
    ------
    RegisterError
        Where the issuer is not competent, or a second person is missing or cannot sign.
    """
    instead = "Nothing was recorded. Give --no-certificate to have it judged and recorded only."
    refuse_not_competent(snapshot, change.who, supply, instead)
    named = (approved_by or "").strip()
    if not named:
        site = change.get(Site, supply.site_id)
        if site.second_signature:
            raise RegisterError(
                f"At site {site.name} a second person signs each certificate. Give --approved-by NAME. {instead}"
            )
        return None
    approver = change.get(Person, named)
    if approver.id == change.who.id:
        raise RegisterError(
            f"{approver.name} issues the certificate and cannot approve it as well. Give --approved-by with "
            f"another person. {instead}"
        )
    if not approver.in_use:
        raise RegisterError(
            f"{approver.name} is on record as retired and signs nothing. Give --approved-by with "
            f"somebody in use. {instead}"
        )
    return approver


def issue(
    change: Change,
    snapshot: Snapshot,
    judged: Judged,
    record: VerdictRecord,
    supply: Supply,
    *,
    approver: Person | None,
    key: bytes | None,
    passphrase: bytes | None,
    workspace_name: str,
    issuer: Person | None = None,
) -> Issued:
    """Record a certificate within the change that recorded its verdict.

    Parameters
    ----------
    change : Change
        The change; who makes it issues the certificate.
    snapshot : Snapshot
        The record, with the verdict.
    judged : Judged
        The verdict with its evidence.
    record : VerdictRecord
        The verdict on record.
    supply : Supply
        The supply.
    approver : Person, optional
        Second person who signs.
    key, passphrase : bytes, optional
        PKCS#12 file to sign the PDF with, and its passphrase.
    workspace_name : str
        The record that it is kept in.
    issuer : Person, optional
        Who issues it, where another makes the change: the second person, who approves it.

    Returns
    -------
    Issued
        The certificate. Its PDF is not kept yet.

    Raises
    ------
    OutputError
        Where the page could not be set.
    InputError
        Where the PDF could not be signed.
    """
    from lungwort.paper import certificate as paper  # noqa: PLC0415 - keeps --help instant

    issuer = change.who if issuer is None else issuer
    number = next_number(
        change, Certificate, certificate_stem(change.get(Site, supply.site_id), change.now)
    )
    head = change.head()
    next_test_by = _next_test_by(snapshot, judged, supply)
    sheet = sheet_of(
        snapshot,
        judged,
        record,
        number=number,
        issuer=issuer,
        approver=approver,
        head=head,
        next_test_by=next_test_by,
        notes=judged.inputs.notes,
        workspace_name=workspace_name,
        issued_at=change.now,
    )
    pdf = paper.certificate_pdf(judged.verdict, sheet, judged.result_json.decode("utf-8"))
    if key is not None:
        from lungwort.paper.sign import sign_pdf  # noqa: PLC0415 - only where it is asked for

        pdf = sign_pdf(pdf, key, passphrase, reason=f"Certificate {number}", now=change.now)
    same = [one.number for one in snapshot.certificates if _same_evidence(snapshot, one, record)]
    certificate = change.add(
        Certificate(
            number=number,
            verdict_id=record.id,
            outlet_id=judged.outlet.id,
            supply_id=supply.id,
            issued_at=change.now,
            issued_by_id=issuer.id,
            approved_by_id=None if approver is None else approver.id,
            next_test_by=next_test_by,
            tree_size=head.size,
            tree_root=head.root,
            result_sha256=record.result_sha256,
            pdf_sha256=hashlib.sha256(pdf).hexdigest(),
            digitally_signed=key is not None,
        )
    )
    told = tuple(f"Certificate {one} rests on the same evidence already." for one in same)
    return Issued(certificate, head, pdf, told)


def _same_evidence(snapshot: Snapshot, one: Certificate, record: VerdictRecord) -> bool:
    earlier = next((each for each in snapshot.verdicts if each.id == one.verdict_id), None)
    return earlier is not None and (
        set(earlier.hand_test_ids) == set(record.hand_test_ids)
        and set(earlier.log_import_ids) == set(record.log_import_ids)
    )


def _next_test_by(snapshot: Snapshot, judged: Judged, supply: Supply) -> date | None:
    """Give the last day on which all evidence of the outlet still counts."""
    from lungwort.plan.evidence import supply_evidence  # noqa: PLC0415 - keeps --help instant

    whole = supply_evidence(snapshot, supply.id, judged.inputs.limit_set)
    days = [
        one.stale_on
        for outlet in whole.outlets
        if outlet.outlet_id == judged.outlet.id
        for one in outlet.limits
        if one.stale_on is not None
    ]
    return min(days) - timedelta(days=1) if days else None


def open_finding_of(
    change: Change, judged: Judged, record: VerdictRecord, supply: Supply, *, withdraw: bool
) -> Opened:
    """Open a finding for air that does not conform, or add to the one that is open and not cured.

    Parameters
    ----------
    change : Change
        The change that recorded the verdict.
    judged : Judged
        The verdict with its evidence.
    record : VerdictRecord
        The verdict on record.
    supply : Supply
        The supply.
    withdraw : bool
        Whether to withdraw the supply at once.

    Returns
    -------
    Opened
        The finding, and the withdrawal where it was done.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import newest_action, open_findings, supply_state  # noqa: PLC0415 - keeps --help instant

    outside = [
        one
        for one in judged.verdict.findings
        if one.limit.required and one.verdict == DOES_NOT_CONFORM
    ]
    analytes = tuple(dict.fromkeys(one.limit.analyte for one in outside))
    text = f"Outlet {judged.outlet.name}: {' '.join(judged.verdict.reasons[: len(outside)])}"
    snapshot = take(change, change.now)
    going_on = [
        one
        for one in open_findings(snapshot, supply.id)
        if one.outlet_id == judged.outlet.id
        and set(analytes) <= set(one.analytes)
        and newest_action(snapshot, one.id, CURE) is None
    ]
    if going_on:
        finding = going_on[-1]
        change.add(
            Action(
                finding_id=finding.id,
                kind=NOTE,
                time=change.now,
                text=f"Outside again. {text}",
                verdict_id=record.id,
                by_id=change.who.id,
            )
        )
    else:
        finding = change.add(
            Finding(
                number=finding_number(change, site_of(change, supply).zone),
                supply_id=supply.id,
                outlet_id=judged.outlet.id,
                verdict_id=record.id,
                opened_at=change.now,
                text=text,
                analytes=analytes,
                by_id=change.who.id,
            )
        )
    state = None
    withdrawn = supply_state(snapshot, supply.id).state == WITHDRAWN
    if withdraw and not withdrawn:
        why = f"Finding {finding.number}: the air of outlet {judged.outlet.name} does not conform."
        state = record_withdrawal(change, supply, why, time=change.now, findings=(finding,))
    return Opened(finding, state, withdrawn)
