"""The certificates on record: which there are, and a copy of one as it was issued."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from attrs import frozen

from lungwort.errors import InputError, RegisterError
from lungwort.jobs.opening import opened
from lungwort.register.model import WITHDRAWN, Certificate, Supply

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.plan.snapshot import Snapshot

VOIDED = "voided"
EXPIRED = "past its next test"
NOT_NOW = "supply withdrawn"
FINDING = "finding open"
REPLACED = "replaced by a newer one"
NO_MORE = "no longer proven"
IN_FORCE = "in force"


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
        ``in force``, ``past its next test``, ``supply withdrawn``, ``finding open``, ``replaced by
        a newer one``, ``no longer proven`` or ``voided``.
    """

    certificate: Certificate
    supply: str
    outlet: str
    issued: str
    by: str
    standing: str

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
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    with opened(folder, read_only=True) as workspace:
        wanted = None if supply is None else workspace.register.get(Supply, supply).id
        snapshot = take(workspace.register, now)
        # The newest version of each stands.
        newest = {one.id: one for one in workspace.register.rows(Certificate)}
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
    if supply_state(snapshot, one.supply_id).state == WITHDRAWN:
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
    return IN_FORCE if _still_proven(snapshot, one) else NO_MORE


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
    voided = next((one for one in known if one.standing == VOIDED), None)
    if voided is not None:
        raise RegisterError(
            f"Certificate {voided.certificate.number} was voided and is not handed out any more: "
            f"{voided.certificate.reason.rstrip('.')}."
        )
    with opened(folder, read_only=True) as workspace:
        one = workspace.register.get(Certificate, number)
        content = workspace.read_file(one.pdf_sha256)
    path = target or Path(f"{one.number}.pdf")
    checked(path)
    refuse_to_replace(path, PDF)
    write_bytes(content, path)
    return known[0], path
