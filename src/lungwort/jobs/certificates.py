"""The certificates on record: which there are, whether one may be shown, and a copy as it was issued."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import InputError, RegisterError
from lungwort.jobs.opening import opened
from lungwort.register.model import (
    IN_SERVICE,
    WITHDRAWN,
    Certificate,
    HandTest,
    LogImport,
    Supply,
    VerdictRecord,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import TreeHead
    from lungwort.register.reader import Reader

VOIDED = "voided"
EXPIRED = "past its next test"
NOT_NOW = "supply withdrawn"
NOT_YET = "supply not in service"
FINDING = "finding open"
REPLACED = "replaced by a newer one"
NO_MORE = "no longer proven"
IN_FORCE = "in force"

WHY: Final = {
    IN_FORCE: (
        "The supply is in service, no finding is open on it, and each required limit is proven at "
        "this outlet today."
    ),
    NOT_NOW: "The supply is withdrawn: nobody may breathe its air.",
    NOT_YET: "The supply is not in service: its air is not released.",
    FINDING: "A finding on the supply is open: look at it before anybody relies on this paper.",
    REPLACED: "A newer certificate was issued for this outlet: show that one.",
    EXPIRED: "The day by which the next test was due has passed: test the air again.",
    NO_MORE: "The evidence no longer proves each required limit today: test or judge the air again.",
    VOIDED: "It was voided and counts no more.",
}
"""Why a certificate may be shown today or may not."""


@frozen
class CertificateShown:
    """A certificate, for a screen.

    Parameters
    ----------
    certificate : Certificate
        The record.
    supply, outlet : str
        Names.
    issued, by : str
        When, in the site's zone, and who.
    standing : str
        ``in force``, ``past its next test``, ``supply withdrawn``, ``supply not in service``,
        ``finding open``, ``replaced by a newer one``, ``no longer proven`` or ``voided``.
    """

    certificate: Certificate
    supply: str
    outlet: str
    issued: str
    by: str
    standing: str

    @property
    def may_be_shown(self) -> bool:
        """Whether it may be shown to somebody as proof of the air today."""
        return self.standing == IN_FORCE

    @property
    def why(self) -> str:
        """Why it may be shown today, or may not, in whole sentences."""
        reason = self.certificate.reason.strip().rstrip(".")
        told = WHY[self.standing]
        return f"{told} Reason: {reason}." if self.standing == VOIDED and reason else told

    def plain(self) -> dict[str, Any]:
        """Give it in JSON values."""
        from lungwort.register.convert import to_plain  # noqa: PLC0415 - keeps --help instant

        return {
            **to_plain(self.certificate),
            "supply": self.supply,
            "outlet": self.outlet,
            "by": self.by,
            "standing": self.standing,
        }


def list_certificates(
    folder: Path | Where | None, *, supply: str | None = None, now: datetime
) -> tuple[CertificateShown, ...]:
    """List the certificates, voided ones too.

    Parameters
    ----------
    folder : Path or Where, optional
        The workspace.
    supply : str, optional
        Of which supply; None for all.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    tuple of CertificateShown
        In the order in which they were issued.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    with opened(folder, read_only=True) as workspace:
        wanted = None if supply is None else workspace.register.get(Supply, supply).id
        snapshot = take(workspace.register, now)
        # The newest version of each stands.
        newest = {one.id: one for one in workspace.register.rows(Certificate)}
    return _shown(snapshot, newest, wanted)


def _shown(
    snapshot: Snapshot, newest: dict[str, Certificate], wanted: str | None
) -> tuple[CertificateShown, ...]:
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant

    names = {one.id: one.name for one in snapshot.supplies}
    names |= {one.id: one.name for one in snapshot.outlets}
    names |= {one.id: one.name for one in snapshot.persons}
    shown = []
    for one in newest.values():
        if wanted not in {None, one.supply_id}:
            continue
        clock = Clock.for_period(snapshot.zone(one.supply_id).key, None, None)
        shown.append(
            CertificateShown(
                certificate=one,
                supply=names.get(one.supply_id, one.supply_id),
                outlet=names.get(one.outlet_id, one.outlet_id),
                issued=clock.time(one.issued_at),
                by=names.get(one.issued_by_id, one.issued_by_id),
                standing=_standing(snapshot, one, list(newest.values())),
            )
        )
    return tuple(sorted(shown, key=lambda one: (one.certificate.issued_at, one.certificate.number)))


def _standing(snapshot: Snapshot, one: Certificate, others: Sequence[Certificate]) -> str:
    """Tell whether a certificate may be shown to somebody today, and why not."""
    from lungwort.plan.state import (  # noqa: PLC0415 - keeps --help instant
        open_findings,
        supply_state,
    )

    last = one.next_test_by
    if one.voided:
        return VOIDED
    state = supply_state(snapshot, one.supply_id).state
    if state == WITHDRAWN:
        return NOT_NOW
    if open_findings(snapshot, one.supply_id):
        return FINDING
    if any(
        other.outlet_id == one.outlet_id and other.seq > one.seq and not other.voided
        for other in others
    ):
        return REPLACED
    if last is not None and snapshot.day(snapshot.now, one.supply_id) > last:
        return EXPIRED
    if not _still_proven(snapshot, one):
        return NO_MORE
    return IN_FORCE if state == IN_SERVICE else NOT_YET


def _still_proven(snapshot: Snapshot, one: Certificate) -> bool:
    from lungwort.jobs.judging import limits_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.evidence import supply_evidence  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import by_id  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.model import CONFORMS  # noqa: PLC0415 - keeps --help instant

    supply = by_id(snapshot.supplies, one.supply_id)
    if supply is None:
        return False
    try:
        evidence = supply_evidence(snapshot, supply.id, limits_of(snapshot, supply))
    except InputError:
        return False
    return any(
        outlet.outlet_id == one.outlet_id and outlet.overall == CONFORMS
        for outlet in evidence.outlets
    )


@frozen(kw_only=True)
class Rest:
    """One piece of evidence behind a certificate.

    Parameters
    ----------
    kind : str
        ``log`` or ``test by hand``.
    id, name : str
        Its id, and what it is called.
    start, end : datetime, optional
        Its time, UTC.
    voided : bool
        Whether it counts no more.
    """

    kind: str
    id: str
    name: str
    start: datetime | None
    end: datetime | None
    voided: bool


@frozen(kw_only=True)
class CertificateView:
    """One certificate with all that a reader asks of it.

    Parameters
    ----------
    shown : CertificateShown
        The certificate and how it stands.
    zone : str
        Zone of its site.
    verdict : VerdictRecord, optional
        The verdict that it certifies, in its newest version.
    rests_on : tuple of Rest
        The evidence of that verdict.
    approved_by : str
        The second person; empty for none.
    next_test_by : date, optional
        Last day of the next test.
    newest : str
        Number of the certificate of the same outlet that is the newest and is not voided.
    entry : int
        Entry of the journal in which it was recorded [1].
    issued_under : str
        Head that the paper shows, ``SIZE:ROOT``.
    head : str
        Head of the journal now, ``SIZE:ROOT``.
    is_included : bool
        Whether its entry is proved to lie under that head.
    goes_on : bool
        Whether the journal now is proved to go on from the head on the paper.
    """

    shown: CertificateShown
    zone: str
    verdict: VerdictRecord | None
    rests_on: tuple[Rest, ...]
    approved_by: str
    next_test_by: date | None
    newest: str
    entry: int
    issued_under: str
    head: str
    is_included: bool
    goes_on: bool

    @property
    def may_be_shown(self) -> bool:
        """Whether it may be shown today; never where it is not proved to lie in the journal."""
        return self.shown.may_be_shown and self.is_included and self.goes_on

    @property
    def why(self) -> str:
        """Why it may be shown today, or may not, in whole sentences."""
        if self.is_included and self.goes_on:
            return self.shown.why
        return (
            "The record was altered: it is not proved that this certificate lies in it. Check it."
        )


def show_certificate(folder: Path | Where | None, number: str, *, now: datetime) -> CertificateView:
    """Show one certificate, a voided one too.

    Parameters
    ----------
    folder : Path or Where, optional
        The workspace.
    number : str
        Its number or id.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    CertificateView
        The certificate, how it stands today, and how it lies in the journal.

    Raises
    ------
    UnknownRecordError
        Where there is none of that number.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    with opened(folder, read_only=True) as workspace:
        snapshot = take(workspace.register, now)
        with workspace.register.at_one_time() as register:
            newest = {one.id: one for one in register.rows(Certificate)}
            wanted = number.strip().casefold()
            one = next(
                (one for one in newest.values() if wanted in {one.number.casefold(), one.id}), None
            )
            if one is None:
                # Raises, and says what comes near.
                one = register.get(Certificate, number)
            shown = next(
                shown
                for shown in _shown(snapshot, {one.id: one for one in newest.values()}, None)
                if shown.certificate.id == one.id
            )
            verdicts = list(register.history(VerdictRecord, one.verdict_id))
            verdict = verdicts[-1] if verdicts else None
            rests_on = _rests_on(register, verdict)
            head = register.head()
            first = register.version(Certificate, one.id, 1).seq
            included, goes_on = _proved(register, first, one, head)
    names = {person.id: person.name for person in snapshot.persons}
    others = [
        other for other in newest.values() if other.outlet_id == one.outlet_id and not other.voided
    ]
    return CertificateView(
        shown=shown,
        zone=snapshot.zone(one.supply_id).key,
        verdict=verdict,
        rests_on=rests_on,
        approved_by=names.get(one.approved_by_id or "", one.approved_by_id or ""),
        next_test_by=one.next_test_by,
        newest=max(others, key=lambda other: other.seq).number if others else "",
        entry=first,
        issued_under=f"{one.tree_size}:{one.tree_root}",
        head=f"{head.size}:{head.root}",
        is_included=included,
        goes_on=goes_on,
    )


def _rests_on(register: Reader, verdict: VerdictRecord | None) -> tuple[Rest, ...]:
    if verdict is None:
        return ()
    found = []
    for thing in verdict.log_import_ids:
        for log in register.history(LogImport, thing)[-1:]:
            name = ", ".join(file.name for file in log.files)
            found.append(
                Rest(
                    kind="log",
                    id=thing,
                    name=name,
                    start=log.start,
                    end=log.end,
                    voided=log.voided,
                )
            )
    for thing in verdict.hand_test_ids:
        found.extend(
            Rest(
                kind="test by hand",
                id=thing,
                name=test.procedure,
                start=test.started,
                end=test.ended,
                voided=test.voided,
            )
            for test in register.history(HandTest, thing)[-1:]
        )
    return tuple(found)


def _proved(register: Reader, seq: int, one: Certificate, head: TreeHead) -> tuple[bool, bool]:
    # Worked out anew from the proofs, by the code that an inspector runs; not taken on trust.
    from lungwort.paper.verify_pack import is_consistent, leaf_hash, root_from_inclusion  # noqa: PLC0415 - only here

    root = bytes.fromhex(head.root)
    leaf = leaf_hash(register.entry(seq).content.encode("utf-8"))
    path = [bytes.fromhex(step) for step in register.inclusion(seq, head.size)]
    included = root_from_inclusion(leaf, seq - 1, head.size, path) == root
    if not 0 < one.tree_size <= head.size:
        return included, False
    steps = [bytes.fromhex(step) for step in register.consistency(one.tree_size, head.size)]
    old = (one.tree_size, bytes.fromhex(one.tree_root))
    return included, is_consistent(old, (head.size, root), steps)


def certificate_bytes(folder: Path | Where | None, number: str) -> tuple[Certificate, bytes]:
    """Give a certificate as it was issued, byte for byte.

    Parameters
    ----------
    folder : Path or Where, optional
        The workspace.
    number : str
        Its number or id.

    Returns
    -------
    tuple of (Certificate, bytes)
        The record in its newest version, and the PDF.

    Raises
    ------
    RegisterError
        Where it was voided, or its file is missing or was altered.
    UnknownRecordError
        Where there is none of that number.
    """
    wanted = number.strip().casefold()
    with opened(folder, read_only=True) as workspace:
        newest = {one.id: one for one in workspace.register.rows(Certificate)}
        one = next(
            (one for one in newest.values() if wanted in {one.number.casefold(), one.id}), None
        )
        if one is None:
            one = workspace.register.get(Certificate, number)
        _refuse_voided(one)
        return one, workspace.read_file(one.pdf_sha256)


def _refuse_voided(one: Certificate) -> None:
    if one.voided:
        raise RegisterError(
            f"Certificate {one.number} was voided and is not handed out any more: "
            f"{one.reason.rstrip('.')}."
        )


def copy_certificate(
    folder: Path | Where | None, number: str, target: Path | None = None, *, now: datetime
) -> tuple[CertificateShown, Path]:
    """Write a copy of a certificate as it was issued, byte for byte.

    Parameters
    ----------
    folder : Path or Where, optional
        The workspace.
    number : str
        Its number.
    target : path, optional
        Where to write it; ``NUMBER.pdf`` in the current folder if not given.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    tuple of (CertificateShown, Path)
        The certificate, and the file.

    Raises
    ------
    RegisterError
        Where it was voided, or its file is missing or was altered.
    UnknownRecordError
        Where there is none of that number.
    OutputError
        Where it cannot be written.
    """
    from pathlib import Path  # noqa: PLC0415 - beside its use

    from lungwort.jobs.judge import PDF, refuse_to_replace  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.write import checked, write_bytes  # noqa: PLC0415 - keeps --help instant

    wanted = number.strip().casefold()
    known = [
        one
        for one in list_certificates(folder, now=now)
        if wanted in {one.certificate.number.casefold(), one.certificate.id}
    ]
    for voided in known:
        _refuse_voided(voided.certificate)
    with opened(folder, read_only=True) as workspace:
        one = workspace.register.get(Certificate, number)
        content = workspace.read_file(one.pdf_sha256)
    path = target or Path(f"{one.number}.pdf")
    checked(path)
    refuse_to_replace(path, PDF)
    write_bytes(content, path)
    return known[0], path
