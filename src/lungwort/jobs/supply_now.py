"""How one supply stands now, with all that speaks for it and against it, of one moment."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.jobs.opening import Where, opened
from lungwort.register.model import WITHDRAWN, Supply

if TYPE_CHECKING:
    from datetime import date, datetime

    from lungwort.jobs.catalogue.shape import Section
    from lungwort.jobs.finding import FindingShown
    from lungwort.jobs.status import SupplyRow
    from lungwort.plan.due import Due
    from lungwort.plan.evidence import Evidence
    from lungwort.plan.snapshot import Snapshot

MOST: Final = 12
"""Verdicts, tests and certificates that are listed, the newest [1]."""


@frozen
class EvidenceLine:
    """The newest evidence of one limit at one outlet, for a screen.

    Parameters
    ----------
    outlet_id, outlet : str
        The outlet.
    analyte : str
        Its name.
    verdict : str
        What the evidence says.
    proves : bool
        Whether it shows that the limit is kept now.
    rests_on : str
        ``log``, ``test by hand`` or nothing.
    measured : datetime, optional
        When, UTC; None for never.
    age_days : float, optional
        How old it is [d].
    used : float, optional
        Share of the time for which it counts that has gone, 0 to 1; None where it is not known.
    stale_on : date, optional
        First day on which it counts no more.
    why : str
        Why it does not prove that the limit is kept.
    verdict_id : str
        The verdict that says so.
    """

    outlet_id: str
    outlet: str
    analyte: str
    verdict: str
    proves: bool
    rests_on: str
    measured: datetime | None
    age_days: float | None
    used: float | None
    stale_on: date | None
    why: str
    verdict_id: str


@frozen
class Past:
    """Something that was done, for a list.

    Parameters
    ----------
    id : str
        Its id or number.
    time : datetime
        When, UTC.
    when : str
        The same in the site's zone.
    outlet : str
        At which outlet.
    word : str
        What came of it.
    by : str
        Who did it.
    """

    id: str
    time: datetime
    when: str
    outlet: str
    word: str
    by: str


@frozen
class OutletShown:
    """An outlet of the supply.

    Parameters
    ----------
    id, name, place : str
        What it is called, and where it is.
    first, last : datetime, optional
        Its readings on record, UTC.
    newest : datetime, optional
        Where the newest log begins, UTC.
    """

    id: str
    name: str
    place: str
    first: datetime | None
    last: datetime | None
    newest: datetime | None


@frozen
class SupplyNow:
    """How one supply stands now.

    Parameters
    ----------
    supply : Supply
        The record.
    row : SupplyRow, optional
        How it stands; None where it is given up.
    evidence : tuple of EvidenceLine
        Limit by limit, those that prove nothing first.
    outlets : tuple of OutletShown
        Outlets in use.
    verdicts, tests, certificates : tuple of Past
        The newest first.
    findings : tuple of FindingShown
        Open ones first.
    due : tuple of Due
        What is to be done, the first first.
    against_return : tuple of str
        What stands against its return; empty where nothing does or it is not withdrawn.
    facts : tuple of (str, str)
        What is on record of it.
    sections : tuple of Section
        Treatment, hour meter, events, assessments.
    instruments : tuple of (str, str, str)
        Instruments that measured here: id, name, last calibration.
    zone : str
        The site's time zone.
    """

    supply: Supply
    row: SupplyRow | None
    evidence: tuple[EvidenceLine, ...]
    outlets: tuple[OutletShown, ...]
    verdicts: tuple[Past, ...]
    tests: tuple[Past, ...]
    certificates: tuple[Past, ...]
    findings: tuple[FindingShown, ...]
    due: tuple[Due, ...]
    against_return: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    instruments: tuple[tuple[str, str, str], ...]
    zone: str

    @property
    def withdrawn(self) -> bool:
        """Whether nobody may breathe its air."""
        return self.row is not None and self.row.state == WITHDRAWN


def supply_now(where: Where, name: str, *, now: datetime) -> SupplyNow:
    """Tell how a supply stands now.

    Parameters
    ----------
    where : Where
        Which workspace.
    name : str
        Its name or id.
    now : datetime
        The time, UTC.

    Returns
    -------
    SupplyNow
        How it stands.

    Raises
    ------
    UnknownRecordError
        Where there is no such supply.
    """
    from lungwort.jobs.catalogue import showing, supply_view  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.catalogue.supply import NOUN  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.finding import findings_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.status import dues_of, status_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import may_return  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import Site  # noqa: PLC0415 - beside its use

    with opened(where, read_only=True) as workspace:
        register = workspace.register
        supply = showing.found(register, NOUN, name)
        site = showing.newest(register, Site, supply.site_id)
        snapshot = take(register, now)
        _, sections, _ = supply_view.parts(register, supply, site, now=now)
        rows = status_of(snapshot, supply_id=supply.id).rows if supply.in_use else ()
        row = rows[0] if rows else None
        findings = findings_of(snapshot, supply_id=supply.id, closed=True)
        withdrawn = row is not None and row.state == WITHDRAWN
        return SupplyNow(
            supply=supply,
            row=row,
            evidence=() if row is None else _evidence(row, now),
            outlets=_outlets(snapshot, supply),
            verdicts=_verdicts(snapshot, supply),
            tests=_tests(snapshot, supply),
            certificates=_certificates(snapshot, supply),
            findings=tuple(sorted(findings, key=lambda one: not one.is_open)),
            due=tuple(one for one in dues_of(snapshot) if one.supply_id == supply.id),
            against_return=may_return(snapshot, supply.id) if withdrawn else (),
            facts=(("Site", site.name), *showing.fact_lines(NOUN, supply)),
            sections=tuple(one for one in sections if one.title != "Outlets"),
            instruments=_instruments(snapshot, supply),
            zone=site.zone,
        )


def _evidence(row: SupplyRow, now: datetime) -> tuple[EvidenceLine, ...]:
    lines = [_line(one, row.zone, now) for one in row.evidence.limits]
    return tuple(sorted(lines, key=lambda one: (one.proves, one.stale_on is None, one.stale_on)))


def _line(one: Evidence, zone: str, now: datetime) -> EvidenceLine:
    from lungwort.paper.text import Clock, analyte_name  # noqa: PLC0415 - keeps --help instant

    day = 86_400
    age = None if one.age is None else one.age.total_seconds() / day
    used = None
    if one.stale_on is not None and age is not None:
        local = Clock.for_period(zone, None, None).local(now).date()
        left = max(0, (one.stale_on - local).days)
        used = min(1.0, age / (age + left)) if age + left > 0 else 1.0
    return EvidenceLine(
        outlet_id=one.outlet_id,
        outlet=one.outlet,
        analyte=analyte_name(one.analyte),
        verdict=one.verdict,
        proves=one.proves,
        rests_on="" if not one.means else "log" if one.means == "log" else "test by hand",
        measured=one.time,
        age_days=age,
        used=used,
        stale_on=one.stale_on,
        why=one.why,
        verdict_id=one.verdict_id,
    )


def _names(snapshot: Snapshot) -> dict[str, str]:
    outlets = {one.id: one.name for one in snapshot.outlets}
    return outlets | {one.id: one.name for one in snapshot.persons}


def _past(snapshot: Snapshot, supply: Supply, found: list[tuple[Any, ...]]) -> tuple[Past, ...]:
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant

    zone, names = snapshot.zone(supply.id).key, _names(snapshot)
    newest = sorted(found, key=lambda one: one[1], reverse=True)[:MOST]
    return tuple(
        Past(
            id=id_,
            time=time,
            when=Clock.for_period(zone, time, time).time(time),
            outlet=names.get(outlet, outlet),
            word=word,
            by=names.get(by, by),
        )
        for id_, time, outlet, word, by in newest
    )


def _verdicts(snapshot: Snapshot, supply: Supply) -> tuple[Past, ...]:
    return _past(
        snapshot,
        supply,
        [
            (one.id, one.judged_at, one.outlet_id, one.overall, one.by_id)
            for one in snapshot.verdicts
            if one.supply_id == supply.id
        ],
    )


def _tests(snapshot: Snapshot, supply: Supply) -> tuple[Past, ...]:
    here = {one.id for one in snapshot.outlets if one.supply_id == supply.id}
    return _past(
        snapshot,
        supply,
        [
            (one.id, one.started, one.outlet_id, one.state, one.tester_id)
            for one in snapshot.hand_tests
            if one.outlet_id in here
        ],
    )


def _certificates(snapshot: Snapshot, supply: Supply) -> tuple[Past, ...]:
    return _past(
        snapshot,
        supply,
        [
            (one.number, one.issued_at, one.outlet_id, "", one.issued_by_id)
            for one in snapshot.certificates
            if one.supply_id == supply.id
        ],
    )


def _outlets(snapshot: Snapshot, supply: Supply) -> tuple[OutletShown, ...]:
    shown = []
    for one in snapshot.outlets:
        if one.supply_id != supply.id or not one.in_use:
            continue
        logs = [log for log in snapshot.log_imports if log.outlet_id == one.id]
        shown.append(
            OutletShown(
                one.id,
                one.name,
                one.place,
                min((log.start for log in logs if log.start is not None), default=None),
                max((log.end for log in logs if log.end is not None), default=None),
                max((log.start for log in logs if log.start is not None), default=None),
            )
        )
    return tuple(sorted(shown, key=lambda one: one.name.casefold()))


def _instruments(snapshot: Snapshot, supply: Supply) -> tuple[tuple[str, str, str], ...]:
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant

    here = {one.id for one in snapshot.outlets if one.supply_id == supply.id}
    used = {one.instrument_id for one in snapshot.log_imports if one.outlet_id in here}
    clock = Clock.for_period(snapshot.zone(supply.id).key, None, None)
    shown = []
    for one in snapshot.instruments:
        if one.id not in used:
            continue
        last = max(
            (cal.time for cal in snapshot.calibrations if cal.instrument_id == one.id),
            default=None,
        )
        shown.append((one.id, one.name, "" if last is None else clock.day(last)))
    return tuple(shown)
