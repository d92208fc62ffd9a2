"""Have the evidence of an outlet judged, put the verdict on record, and issue the certificate."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

from attrs import evolve, field, frozen

from lungwort.errors import InputError, OutputError, RegisterError
from lungwort.jobs.asking import record_asked
from lungwort.jobs.evidence_choice import Wanted, choose
from lungwort.jobs.inputs import parse_duration, parse_moment
from lungwort.jobs.issuing import (
    CONFORMS,
    DOES_NOT_CONFORM,
    against_certificate,
    issue,
    open_finding_of,
    second_person,
)
from lungwort.jobs.judging import gather, judge_evidence
from lungwort.jobs.opening import changer, opened
from lungwort.register.model import (
    Approval,
    Certificate,
    Finding,
    Outlet,
    Supply,
    SupplyState,
    TreeHead,
    VerdictRecord,
)

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.evidence_choice import Chosen
    from lungwort.jobs.judging import Judged
    from lungwort.jobs.opening import Where
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.records import Change
    from lungwort.register.workspace import Workspace
    from lungwort.verdict.model import Options, Verdict

_TRIES: Final = 4

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
    ask : bool
        Whether a second person is asked to approve the certificate, which is issued only then.
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
    ask: bool = False
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
    approval : Approval, optional
        What a second person is asked to approve; None where nobody is asked.
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
    approval: Approval | None = None
    pdf: Path | None = None
    remarks: tuple[str, ...] = ()
    next_steps: tuple[str, ...] = ()

    @property
    def exit_code(self) -> int:
        """0 where the air conforms, 1 where it does not, 3 where it is not proven.

        Where a certificate was asked for and the evidence does not carry one, it is 3 as well.
        """
        if self.verdict.overall == DOES_NOT_CONFORM:
            return OUTSIDE
        if self.verdict.overall != CONFORMS:
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
    if request.ask and (request.approved_by or not request.certificate or request.sign_with):
        raise InputError(
            "Where a second person is asked for approval, the certificate is issued when it is "
            "given. Leave out --approved-by, --no-certificate and --sign-with."
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
            f"{error} Certificate {certificate.number} is on record all the same; for a copy: "
            f"'lungwort print certificate {certificate.number} --pdf FILE'."
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
        return _foreseen(done, snapshot, judged, chosen, supply), None
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
    if record.overall == CONFORMS and request.certificate:
        snapshot = take(change, change.now)
        state, evidence = against_certificate(
            snapshot, judged, supply, newer=chosen.newer, narrowed=chosen.narrowed
        )
        if state or evidence:
            done = evolve(
                done, no_certificate=(*state, *evidence), retest=bool(state) and not evidence
            )
        elif request.ask:
            done = evolve(done, approval=record_asked(change, snapshot, record, supply))
        else:
            issued = issue(
                change,
                snapshot,
                judged,
                record,
                supply,
                approver=second_person(change, snapshot, supply, request.approved_by),
                key=key,
                passphrase=request.passphrase,
                workspace_name=workspace.name,
            )
            pdf = issued.pdf
            done = evolve(
                done,
                certificate=issued.certificate,
                head=issued.head,
                remarks=(*done.remarks, *issued.remarks),
            )
    elif record.overall == DOES_NOT_CONFORM:
        opened_now = open_finding_of(change, judged, record, supply, withdraw=request.withdraw)
        done = evolve(
            done,
            finding=opened_now.finding,
            state=opened_now.state,
            retest=opened_now.was_withdrawn,
        )
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
    supply: Supply,
) -> Certified:
    """Say what would stand against a certificate, as if the verdict were on record."""
    if done.verdict.overall != CONFORMS or not done.asked:
        return evolve(done, next_steps=("Nothing was recorded, as --dry-run was given.",))
    newest = max((one.seq for one in snapshot.verdicts), default=0)
    as_if = evolve(judged.record(""), id="verdict-as-if", version=1, seq=newest + 1_000_000_000)
    snapshot = evolve(snapshot, verdicts=(*snapshot.verdicts, as_if))
    state, evidence = against_certificate(
        snapshot, judged, supply, newer=chosen.newer, narrowed=chosen.narrowed
    )
    return evolve(
        done,
        no_certificate=(*state, *evidence),
        retest=bool(state) and not evidence,
        next_steps=("Nothing was recorded, as --dry-run was given.",),
    )


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
    if done.verdict.overall != CONFORMS:
        return (f"Get what is missing, and have it judged anew: 'lungwort certify {outlet}'.",)
    if done.approval is not None:
        return (
            "A second person looks at it and approves it; only then is the certificate issued.",
        )
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

    def of(record: VerdictRecord | Certificate | Approval | Finding | SupplyState | None) -> object:
        return None if record is None else to_plain(record)

    return {
        "outlet": done.outlet,
        "supply": done.supply,
        "result": json.loads(done.result_json),
        "lapses": list(done.lapses),
        "verdict": of(done.record),
        "certificate": of(done.certificate),
        "approval": of(done.approval),
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
