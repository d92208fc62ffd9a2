"""Have the evidence of an outlet judged, put the verdict on record, and issue the certificate."""

from __future__ import annotations

import json
import re
import unicodedata
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

from attrs import evolve, field, frozen

from lungwort.errors import InputError, OutputError, RegisterError
from lungwort.jobs.certificate_sheet import sheet_of
from lungwort.jobs.evidence_choice import Wanted, choose
from lungwort.jobs.finding import finding_number, is_about_air, next_number
from lungwort.jobs.inputs import parse_duration, parse_moment
from lungwort.jobs.judging import gather, judge_evidence
from lungwort.jobs.opening import changer, opened, site_of
from lungwort.jobs.withdraw import record_withdrawal
from lungwort.register.model import (
    CURE,
    NOTE,
    WITHDRAWN,
    Action,
    Certificate,
    Finding,
    Outlet,
    Person,
    Site,
    Supply,
    SupplyState,
    TreeHead,
    VerdictRecord,
)

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime
    from pathlib import Path

    from lungwort.jobs.evidence_choice import Chosen
    from lungwort.jobs.judging import Judged
    from lungwort.jobs.opening import Where
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.records import Change
    from lungwort.register.workspace import Workspace
    from lungwort.verdict.model import Options, Verdict

_CONFORMS: Final = "conforms"
_DOES_NOT_CONFORM: Final = "does_not_conform"
_USUAL_COVERAGE: Final = 0.9
_TRIES: Final = 4
_LONGEST_STEM: Final = 24

CONFORMING: Final = 0
OUTSIDE: Final = 1
NOT_PROVEN: Final = 3


def _texts(values: Iterable[str] | None) -> tuple[str, ...]:
    return tuple(values or ())


@frozen(kw_only=True)
class CertifyRequest:
    """What the user asks to be judged and certified.

    Parameters
    ----------
    outlet : str
        Where the air was taken.
    tests, logs : tuple of str
        Ids of tests by hand and log imports to judge; empty to choose by rule.
    no_tests, no_logs : bool
        Whether to leave all of them out.
    begin, end : str, optional
        Period to judge, as typed.
    by, approved_by : str, optional
        Who has it judged and issues the certificate; the second person who signs it.
    decision : str
        ``simple`` or ``guarded``.
    guard_factor : float
        Width of the guard band in U.
    min_coverage : float
        Least coverage, 0 to 1.
    join, min_excursion : str, optional
        Lengths of time, as for judging.
    certificate : bool
        False to have it judged and recorded only.
    withdraw : bool
        Whether to withdraw the supply at once where the air does not conform.
    pdf : path, optional
        Where to write a copy of the certificate.
    sign_with : path, optional
        PKCS#12 file to sign the PDF with.
    passphrase : bytes, optional
        Its passphrase.
    dry_run : bool
        Whether to judge and record nothing.
    clock_is_right : bool
        Whether the user says that the clock is right, though the record is ahead of it.
    """

    outlet: str
    tests: tuple[str, ...] = field(default=(), converter=_texts)
    logs: tuple[str, ...] = field(default=(), converter=_texts)
    no_tests: bool = False
    no_logs: bool = False
    begin: str | None = None
    end: str | None = None
    by: str | None = None
    approved_by: str | None = None
    decision: str = "simple"
    guard_factor: float = 1.0
    min_coverage: float = 0.9
    join: str | None = None
    min_excursion: str | None = None
    certificate: bool = True
    withdraw: bool = False
    pdf: Path | None = None
    sign_with: Path | None = None
    passphrase: bytes | None = field(default=None, repr=False)
    dry_run: bool = False
    clock_is_right: bool = False


@frozen(kw_only=True)
class Certified:
    """What came of it.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    result_json : str
        The result as JSON, as it is kept.
    lapses : tuple of str
        What the evidence rests on and was not in order.
    outlet, supply : str
        Names.
    record : VerdictRecord, optional
        The verdict on record; None where nothing was recorded.
    certificate : Certificate, optional
        The certificate; None where none was issued.
    finding : Finding, optional
        The finding that it opened, or that it was added to.
    state : SupplyState, optional
        The withdrawal, where it was done.
    head : TreeHead, optional
        Head of the journal's tree that the certificate carries, else after the change.
    no_certificate : tuple of str
        Why no certificate was issued; empty where one was, or none was asked for.
    retest : bool
        Whether the supply's state alone stands against a certificate: the verdict is a retest.
    asked : bool
        Whether a certificate was asked for.
    pdf : path, optional
        The copy that was written.
    remarks : tuple of str
        What was taken for granted.
    next_steps : tuple of str
        What to do next.
    """

    verdict: Verdict
    result_json: str
    lapses: tuple[str, ...]
    outlet: str
    supply: str
    record: VerdictRecord | None = None
    certificate: Certificate | None = None
    finding: Finding | None = None
    state: SupplyState | None = None
    head: TreeHead | None = None
    no_certificate: tuple[str, ...] = ()
    retest: bool = False
    asked: bool = True
    pdf: Path | None = None
    remarks: tuple[str, ...] = ()
    next_steps: tuple[str, ...] = ()

    @property
    def exit_code(self) -> int:
        """0 where the air conforms, 1 where it does not, 3 where it is not proven.

        Where a certificate was asked for and the evidence does not carry one, it is 3 as well.
        """
        if self.verdict.overall == _DOES_NOT_CONFORM:
            return OUTSIDE
        if self.verdict.overall != _CONFORMS:
            return NOT_PROVEN
        withheld = self.asked and self.no_certificate and not self.retest
        return NOT_PROVEN if withheld else CONFORMING


class _ChangedError(Exception):
    """The record was changed while the evidence was judged."""


def certify(folder: Path | Where | None, request: CertifyRequest, now: datetime) -> Certified:
    """Judge the evidence of an outlet, record the verdict, and issue a certificate or open a finding.

    Everything is recorded in one change, or nothing is.

    Parameters
    ----------
    folder : Path or Where, optional
        The workspace.
    request : CertifyRequest
        What is asked.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    Certified
        What came of it.

    Raises
    ------
    InputError
        Where anything that was given cannot be used.
    RegisterError
        Where there is nothing to judge, or the air conforms and the certificate that was asked for
        may not be issued by whom it was asked: nothing is recorded then.
    OutputError
        Where the copy could not be written; what was recorded stays recorded.
    """
    key = _check(request)
    with opened(folder, read_only=request.dry_run) as workspace:
        for _ in range(_TRIES):
            try:
                done, pdf = _once(workspace, request, key, now)
            except _ChangedError:
                continue
            break
        else:
            raise RegisterError(
                "The record went on being changed while the evidence was judged. Nothing was "
                "recorded. Try again."
            )
    if request.pdf is not None and pdf is not None and done.certificate is not None:
        done = evolve(done, pdf=_copied(pdf, request.pdf, done.certificate))
    return done


def _check(request: CertifyRequest) -> bytes | None:
    """Refuse what cannot be done before anything is read; give the content of the key file."""
    from lungwort.jobs.judge import PDF, refuse_to_replace  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.write import checked  # noqa: PLC0415 - keeps --help instant

    for option, given in (("--pdf", request.pdf), ("--sign-with", request.sign_with)):
        if given is not None and not request.certificate:
            raise InputError(
                f"{option} is for a certificate. Leave out --no-certificate or {option}."
            )
    if request.dry_run and request.withdraw:
        raise InputError("--dry-run records nothing. Leave out --withdraw.")
    if request.pdf is not None:
        checked(request.pdf)
        refuse_to_replace(request.pdf, PDF)
    if request.sign_with is None:
        return None
    try:
        return request.sign_with.read_bytes()
    except OSError as error:
        raise InputError(
            f"--sign-with {request.sign_with} cannot be read ({error.strerror or error}). Check the name."
        ) from error


def _copied(pdf: bytes, target: Path, certificate: Certificate) -> Path:
    from lungwort.paper.write import write_bytes  # noqa: PLC0415 - keeps --help instant

    try:
        return write_bytes(pdf, target)
    except OutputError as error:
        raise OutputError(
            f"{error} Certificate {certificate.number} is on record all the same; its PDF is in the workspace as "
            f"files/{certificate.pdf_sha256}."
        ) from error


def _once(
    workspace: Workspace, request: CertifyRequest, key: bytes | None, now: datetime
) -> tuple[Certified, bytes | None]:
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    register = workspace.register
    size = register.head().size
    snapshot = take(register, now)
    outlet = register.get(Outlet, request.outlet)
    supply = register.get(Supply, outlet.supply_id)
    if not outlet.in_use or not supply.in_use:
        what = f"Outlet {outlet.name}" if not outlet.in_use else f"Supply {supply.name}"
        raise RegisterError(f"{what} is on record as given up. Take it back into use first.")
    zone = snapshot.zone(supply.id).key
    wanted = _wanted(request, zone)
    chosen = choose(snapshot, outlet, wanted)
    options = _options(request, chosen)
    judged = judge_evidence(
        workspace,
        outlet,
        chosen.imports,
        chosen.tests,
        options,
        now,
        snapshot=snapshot,
        reasons=chosen.reasons,
        notes=chosen.notes,
    )
    done = Certified(
        verdict=judged.verdict,
        result_json=judged.result_json.decode("utf-8"),
        lapses=judged.lapses,
        outlet=outlet.name,
        supply=supply.name,
        asked=request.certificate,
    )
    if request.dry_run:
        return _foreseen(done, snapshot, judged, chosen, request, supply), None
    who = changer(register, request.by)
    with register.change(who=who.name, now=now, clock_is_right=request.clock_is_right) as change:
        if change.size != size:
            _refuse_changed(take(change, now), outlet, wanted, judged, chosen, options)
        remarks = (who.remark,) if who.remark else ()
        return _record(
            workspace, change, evolve(done, remarks=remarks), judged, chosen, request, key, supply
        )


def _refuse_changed(
    snapshot: Snapshot,
    outlet: Outlet,
    wanted: Wanted,
    judged: Judged,
    chosen: Chosen,
    options: Options,
) -> None:
    """Begin again where what was recorded meanwhile makes another verdict."""
    from lungwort.verdict.inputs import to_bytes  # noqa: PLC0415 - keeps --help instant

    again = choose(snapshot, outlet, wanted)
    if again != chosen or not judged.inputs.judged_at:
        raise _ChangedError
    inputs, _ = gather(
        snapshot,
        outlet,
        again.imports,
        again.tests,
        options,
        judged.inputs.judged_at,
        logs=judged.logs,
        reasons=again.reasons,
        notes=again.notes,
    )
    if to_bytes(inputs) != judged.inputs_json:
        raise _ChangedError


def _wanted(request: CertifyRequest, zone: str) -> Wanted:
    return Wanted(
        tests=request.tests,
        logs=request.logs,
        no_tests=request.no_tests,
        no_logs=request.no_logs,
        begin=None if request.begin is None else parse_moment(request.begin, zone, "--from"),
        end=None if request.end is None else parse_moment(request.end, zone, "--to"),
        newest=not request.certificate,
    )


def _options(request: CertifyRequest, chosen: Chosen) -> Options:
    from lungwort.verdict.judge import check_options  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.model import Options  # noqa: PLC0415 - keeps --help instant

    join = None if request.join is None else parse_duration(request.join, "--join")
    least = (
        timedelta(0)
        if request.min_excursion is None
        else parse_duration(request.min_excursion, "--min-excursion")
    )
    options = Options(
        decision=request.decision,
        guard_factor=request.guard_factor,
        min_coverage=request.min_coverage,
        join_s=None if join is None else join.total_seconds(),
        min_excursion_s=least.total_seconds(),
        start=chosen.begin,
        end=chosen.end,
    )
    check_options(options)
    return options


def _record(
    workspace: Workspace,
    change: Change,
    done: Certified,
    judged: Judged,
    chosen: Chosen,
    request: CertifyRequest,
    key: bytes | None,
    supply: Supply,
) -> tuple[Certified, bytes | None]:
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    record = change.add(judged.record(change.who.id))
    done = evolve(done, record=record)
    pdf = None
    if record.overall == _CONFORMS and request.certificate:
        snapshot = take(change, change.now)
        state, evidence = _against_air(snapshot, judged, chosen, request, supply)
        approver = None
        if not state and not evidence:
            approver = _signers(change, snapshot, request, supply)
            done, pdf = _issue(
                workspace, change, done, judged, request, key, supply, snapshot, approver
            )
        else:
            done = evolve(
                done, no_certificate=(*state, *evidence), retest=bool(state) and not evidence
            )
    elif record.overall == _DOES_NOT_CONFORM:
        done = _open_finding(change, done, judged, request, supply)
    # Before the change ends, so that nothing on record lacks its file.
    workspace.put_file(judged.inputs_json)
    workspace.put_file(judged.result_json)
    if pdf is not None:
        workspace.put_file(pdf)
    if done.head is None:
        done = evolve(done, head=change.head())
    return evolve(done, next_steps=_next_steps(done)), pdf


def _foreseen(
    done: Certified,
    snapshot: Snapshot,
    judged: Judged,
    chosen: Chosen,
    request: CertifyRequest,
    supply: Supply,
) -> Certified:
    """Say what would stand against a certificate, as if the verdict were on record."""
    if done.verdict.overall != _CONFORMS or not request.certificate:
        return evolve(done, next_steps=("Nothing was recorded, as --dry-run was given.",))
    newest = max((one.seq for one in snapshot.verdicts), default=0)
    as_if = evolve(judged.record(""), id="verdict-as-if", version=1, seq=newest + 1_000_000_000)
    snapshot = evolve(snapshot, verdicts=(*snapshot.verdicts, as_if))
    state, evidence = _against_air(snapshot, judged, chosen, request, supply)
    return evolve(
        done,
        no_certificate=(*state, *evidence),
        retest=bool(state) and not evidence,
        next_steps=("Nothing was recorded, as --dry-run was given.",),
    )


def _against_air(
    snapshot: Snapshot,
    judged: Judged,
    chosen: Chosen,
    request: CertifyRequest,
    supply: Supply,
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Tell what stands against a certificate for air whose verdict conforms.

    Gives what the supply's state says, and what the evidence says.
    """
    from lungwort.plan.evidence import supply_evidence  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import open_findings, supply_state  # noqa: PLC0415 - keeps --help instant

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
        for what in chosen.newer
    ]
    if request.min_coverage < _USUAL_COVERAGE:
        evidence.append(
            f"Only {request.min_coverage * 100:g} % of the period had to be covered (--coverage), and a certificate "
            f"asks for {_USUAL_COVERAGE * 100:g} %."
        )
    whole = supply_evidence(snapshot, supply.id, judged.inputs.limit_set)
    mine = [one for one in whole.outlets if one.outlet_id == judged.outlet.id]
    for one in mine:
        if one.overall != _CONFORMS:
            evidence.extend(one.reasons)
    if not mine:
        evidence.append(f"Outlet {judged.outlet.name} is not in use.")
    return tuple(dict.fromkeys(state)), tuple(dict.fromkeys(evidence))


def _signers(
    change: Change, snapshot: Snapshot, request: CertifyRequest, supply: Supply
) -> Person | None:
    """Make sure that those who sign may sign; give the second person."""
    from lungwort.plan.lapses import person_lapses  # noqa: PLC0415 - keeps --help instant

    instead = "Nothing was recorded. Give --no-certificate to have it judged and recorded only."
    lapses = person_lapses(snapshot, change.who.id, change.now, supply_id=supply.id)
    if lapses:
        raise RegisterError(
            f"{change.who.name} may not issue a certificate. {' '.join(lapses)} {instead}"
        )
    site = change.get(Site, supply.site_id)
    if not (request.approved_by or "").strip():
        if site.second_signature:
            raise RegisterError(
                f"At site {site.name} a second person signs each certificate. Give --approved-by NAME. {instead}"
            )
        return None
    approver = change.get(Person, (request.approved_by or "").strip())
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


def _issue(
    workspace: Workspace,
    change: Change,
    done: Certified,
    judged: Judged,
    request: CertifyRequest,
    key: bytes | None,
    supply: Supply,
    snapshot: Snapshot,
    approver: Person | None,
) -> tuple[Certified, bytes]:
    from lungwort.paper.certificate import certificate_pdf  # noqa: PLC0415 - keeps --help instant

    record = done.record
    if record is None:
        raise RegisterError("A certificate needs a verdict on record.")
    site = change.get(Site, supply.site_id)
    number = next_number(change, Certificate, certificate_stem(site, change.now))
    head = change.head()
    next_test_by = _next_test_by(snapshot, judged, supply)
    sheet = sheet_of(
        snapshot,
        judged,
        record,
        number=number,
        issuer=change.who,
        approver=approver,
        head=head,
        next_test_by=next_test_by,
        notes=judged.inputs.notes,
        workspace_name=workspace.name,
        issued_at=change.now,
    )
    pdf = certificate_pdf(judged.verdict, sheet, done.result_json)
    if key is not None:
        from lungwort.paper.sign import sign_pdf  # noqa: PLC0415 - only where it is asked for

        pdf = sign_pdf(pdf, key, request.passphrase, reason=f"Certificate {number}", now=change.now)
    same = [one.number for one in snapshot.certificates if _same_evidence(snapshot, one, record)]
    certificate = change.add(
        Certificate(
            number=number,
            verdict_id=record.id,
            outlet_id=judged.outlet.id,
            supply_id=supply.id,
            issued_at=change.now,
            issued_by_id=change.who.id,
            approved_by_id=None if approver is None else approver.id,
            next_test_by=next_test_by,
            tree_size=head.size,
            tree_root=head.root,
            result_sha256=record.result_sha256,
            pdf_sha256=_sha256(pdf),
            digitally_signed=key is not None,
        )
    )
    told = tuple(f"Certificate {one} rests on the same evidence already." for one in same)
    return evolve(done, certificate=certificate, head=head, remarks=(*done.remarks, *told)), pdf


def _sha256(content: bytes) -> str:
    import hashlib  # noqa: PLC0415 - only here

    return hashlib.sha256(content).hexdigest()


def _same_evidence(snapshot: Snapshot, one: Certificate, record: VerdictRecord) -> bool:
    earlier = next((each for each in snapshot.verdicts if each.id == one.verdict_id), None)
    return earlier is not None and (
        set(earlier.hand_test_ids) == set(record.hand_test_ids)
        and set(earlier.log_import_ids) == set(record.log_import_ids)
    )


def certificate_stem(site: Site, now: datetime) -> str:
    """Give what stands before the running number of a site's certificates.

    Parameters
    ----------
    site : Site
        The site.
    now : datetime
        The time, with a time zone; the year is that of the site's zone.

    Returns
    -------
    str
        Such as ``YARD-2026-``: letters, digits and hyphens alone, so that it can be typed and said.
    """
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant

    flat = unicodedata.normalize("NFKD", site.name).encode("ascii", "ignore").decode("ascii")
    stem = re.sub(r"[^A-Z0-9]+", "-", flat.upper()).strip("-")[:_LONGEST_STEM].strip("-")
    year = Clock.for_period(site.zone, None, None).local(now).year
    return f"{stem or 'SITE'}-{year}-"


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


def _open_finding(
    change: Change, done: Certified, judged: Judged, request: CertifyRequest, supply: Supply
) -> Certified:
    """Open a finding, or add to the one that is open and not cured; withdraw where it is asked."""
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import newest_action, open_findings, supply_state  # noqa: PLC0415 - keeps --help instant

    record = done.record
    if record is None:
        raise RegisterError("A finding needs a verdict on record.")
    outside = [
        one
        for one in judged.verdict.findings
        if one.limit.required and one.verdict == _DOES_NOT_CONFORM
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
    if request.withdraw and not withdrawn:
        why = f"Finding {finding.number}: the air of outlet {judged.outlet.name} does not conform."
        state = record_withdrawal(change, supply, why, time=change.now, findings=(finding,))
    return evolve(done, finding=finding, state=state, retest=withdrawn)


def _next_steps(done: Certified) -> tuple[str, ...]:
    supply, outlet = f'"{done.supply}"', f'"{done.outlet}"'
    if done.certificate is not None:
        day = done.certificate.next_test_by
        until = "" if day is None else f" by {day.isoformat()}"
        return (
            "Note the tree head down outside this computer: it shows later that the record was not altered.",
            f"Test again{until}, and at once after maintenance, moving or any doubt.",
        )
    if done.finding is not None:
        number = done.finding.number
        steps = [f"Hang the notice up where the air is taken: 'lungwort print notice {supply}'."]
        if done.state is None and not done.retest:
            steps.insert(
                0,
                f"Withdraw the supply now: 'lungwort withdraw {supply} --because \"{number}\"'.",
            )
        return (
            *steps,
            f"Enter the cause and the cure: 'lungwort finding cause {number} --text TEXT', 'lungwort finding cure {number} --text TEXT'.",
            f"Test again after the cure, then 'lungwort certify {outlet}' and 'lungwort return {supply}'.",
        )
    if done.verdict.overall != _CONFORMS:
        return (f"Get what is missing, and have it judged anew: 'lungwort certify {outlet}'.",)
    if done.retest:
        return (f"This verdict is a retest. Return the supply: 'lungwort return {supply}'.",)
    return ()


def as_json(done: Certified) -> str:
    """Give what came of it as one JSON document.

    Parameters
    ----------
    done : Certified
        What came of it.

    Returns
    -------
    str
        UTF-8 text, ending with a line break.
    """
    return json.dumps(plain(done), ensure_ascii=False, indent=2) + "\n"


def plain(done: Certified) -> dict[str, Any]:
    """Give what came of it in JSON values."""
    from lungwort.register.convert import to_plain  # noqa: PLC0415 - keeps --help instant

    def of(record: VerdictRecord | Certificate | Finding | SupplyState | None) -> object:
        return None if record is None else to_plain(record)

    return {
        "outlet": done.outlet,
        "supply": done.supply,
        "result": json.loads(done.result_json),
        "lapses": list(done.lapses),
        "verdict": of(done.record),
        "certificate": of(done.certificate),
        "finding": of(done.finding),
        "withdrawal": of(done.state),
        "no_certificate": list(done.no_certificate),
        "retest": done.retest,
        "tree_head": None
        if done.head is None
        else {"size": done.head.size, "root": done.head.root},
        "pdf": None if done.pdf is None else str(done.pdf),
        "remarks": list(done.remarks),
        "next_steps": list(done.next_steps),
    }
