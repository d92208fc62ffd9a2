"""What can be judged at an outlet, and a verdict on record shown again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

from lungwort.jobs.judging import judged_again
from lungwort.jobs.opening import opened, site_of
from lungwort.register.model import (
    DONE,
    Approval,
    Certificate,
    Finding,
    HandTest,
    LogImport,
    Outlet,
    Person,
    Supply,
    VerdictRecord,
)

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.verdict.model import Verdict

_MOST = 30


@frozen(kw_only=True)
class Piece:
    """A piece of evidence that can be chosen.

    Parameters
    ----------
    id, what : str
        Its id, and what it is called.
    start, end : datetime, optional
        When, UTC.
    """

    id: str
    what: str
    start: datetime | None
    end: datetime | None


@frozen(kw_only=True)
class ToJudge:
    """An outlet with its evidence.

    Parameters
    ----------
    outlet_id, outlet, supply_id, supply, site : str
        Which.
    zone : str
        Time zone of the site.
    state : str
        State of the supply.
    second_signature : bool
        Whether a second person signs each certificate there.
    people : tuple of (str, str)
        Ids and names of the people in use.
    tests, logs : tuple of Piece
        The newest evidence, the newest first.
    readings : int
        Readings of all logs of the outlet [1].
    size : int
        Entries of the journal [1].
    """

    outlet_id: str
    outlet: str
    supply_id: str
    supply: str
    site: str
    zone: str
    state: str
    second_signature: bool
    people: tuple[tuple[str, str], ...]
    tests: tuple[Piece, ...]
    logs: tuple[Piece, ...]
    readings: int
    size: int


@frozen(kw_only=True)
class VerdictShown:
    """A verdict on record.

    Parameters
    ----------
    record : VerdictRecord
        As it is on record.
    verdict : Verdict, optional
        Drawn again; None where it was not asked for.
    outlet, supply, supply_id, zone : str
        Of which air, and the time zone of the site.
    by : str
        Who had it judged.
    certificate : str
        Number of its certificate; empty where it has none.
    finding, finding_id : str
        Number and id of the finding that it opened; empty where it opened none.
    approval, approval_state : str
        Id of the asking for a second person's approval, and how far it has come.
    """

    record: VerdictRecord
    verdict: Verdict | None
    outlet: str
    supply: str
    supply_id: str
    zone: str
    by: str
    certificate: str = ""
    finding: str = ""
    finding_id: str = ""
    approval: str = ""
    approval_state: str = ""


def to_judge(where: Where | Path | None, outlet: str, *, now: datetime) -> ToJudge:
    """Say what there is to judge at an outlet.

    Parameters
    ----------
    where : Where or path, optional
        Which workspace.
    outlet : str
        The outlet, by id or name.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    ToJudge
        The outlet and its evidence.

    Raises
    ------
    UnknownRecordError
        Where there is no such outlet.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import supply_state  # noqa: PLC0415 - keeps --help instant

    with opened(where, read_only=True) as workspace:
        register = workspace.register
        one = register.get(Outlet, outlet)
        supply = register.get(Supply, one.supply_id)
        site = site_of(register, supply)
        names = {each.id: each.name for each in register.all(Person)}
        tests = sorted(
            (each for each in register.all(HandTest, outlet_id=one.id) if each.state == DONE),
            key=lambda each: each.ended,
            reverse=True,
        )
        imports = register.all(LogImport, outlet_id=one.id)
        logs = sorted(
            imports,
            key=lambda each: 0.0 if each.end is None else each.end.timestamp(),
            reverse=True,
        )
        return ToJudge(
            outlet_id=one.id,
            outlet=one.name,
            supply_id=supply.id,
            supply=supply.title or supply.name,
            site=site.name,
            zone=site.zone,
            state=supply_state(take(register, now), supply.id).state,
            second_signature=site.second_signature,
            people=tuple((each.id, each.name) for each in register.all(Person) if each.in_use),
            tests=tuple(
                Piece(
                    id=each.id,
                    what=names.get(each.tester_id, each.tester_id),
                    start=each.started,
                    end=each.ended,
                )
                for each in tests[:_MOST]
            ),
            logs=tuple(
                Piece(
                    id=each.id,
                    what=", ".join(file.name for file in each.files),
                    start=each.start,
                    end=each.end,
                )
                for each in logs[:_MOST]
            ),
            readings=sum(each.rows for each in imports),
            size=register.head().size,
        )


def verdict_shown(
    where: Where | Path | None, verdict_id: str, *, draw: bool = True
) -> VerdictShown:
    """Show a verdict on record and what came of it.

    Parameters
    ----------
    where : Where or path, optional
        Which workspace.
    verdict_id : str
        Its id.
    draw : bool
        Whether it is drawn again from its evidence.

    Returns
    -------
    VerdictShown
        The verdict.

    Raises
    ------
    UnknownRecordError
        Where there is no such verdict.
    RegisterError
        Where what it was drawn from is missing or was altered.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        record = register.get(VerdictRecord, verdict_id)
        supply = register.get(Supply, record.supply_id)
        by = register.find(Person, record.by_id)
        certificate = next(iter(register.all(Certificate, verdict_id=record.id)), None)
        finding = next(iter(register.all(Finding, verdict_id=record.id)), None)
        asked = register.all(Approval, verdict_id=record.id)
        newest = max(asked, key=lambda each: each.seq, default=None)
        return VerdictShown(
            record=record,
            verdict=judged_again(workspace, record).verdict if draw else None,
            outlet=register.get(Outlet, record.outlet_id).name,
            supply=supply.title or supply.name,
            supply_id=supply.id,
            zone=site_of(register, supply).zone,
            by=record.by_id if by is None else by.name,
            certificate="" if certificate is None else certificate.number,
            finding="" if finding is None else finding.number,
            finding_id="" if finding is None else finding.id,
            approval="" if newest is None else newest.id,
            approval_state="" if newest is None else newest.state,
        )
