"""How all supplies stand: state, verdict, weakest evidence, what is due next, open findings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import InputError, LimitSetError, PlanError
from lungwort.jobs.opening import opened
from lungwort.register.model import IN_SERVICE, UNDER_TEST, WITHDRAWN

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from lungwort.jobs.opening import Where
    from lungwort.paper.text import Clock
    from lungwort.plan.due import Due
    from lungwort.plan.evidence import Evidence, SupplyEvidence
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Finding, Supply, VerdictRecord

JSON_FORMAT: Final = "lungwort-status/1"
CONFORMS: Final = 0
DOES_NOT_CONFORM: Final = 1
NOT_PROVEN: Final = 3
_EXIT_CODES: Final = {
    "conforms": CONFORMS,
    "not_proven": NOT_PROVEN,
    "does_not_conform": DOES_NOT_CONFORM,
}
_WORST_FIRST: Final = ("does_not_conform", "not_proven", "conforms")

STATE_WORDS: Final = {
    IN_SERVICE: "in service",
    WITHDRAWN: "withdrawn",
    UNDER_TEST: "under test",
}


@frozen
class Weakest:
    """The weakest evidence of a supply, in words.

    Parameters
    ----------
    evidence : Evidence
        The evidence.
    text : str
        What it is, as one line.
    """

    evidence: Evidence
    text: str


@frozen
class SupplyRow:
    """How one supply stands.

    Parameters
    ----------
    supply_id, site, supply, title : str
        Which.
    state, state_words, since, why : str
        In which state, since when in the site's zone, and why.
    verdict : str
        ``conforms``, ``does_not_conform`` or ``not_proven``, by the evidence now and the open
        findings about the air.
    reasons : tuple of str
        Why, where it does not conform or is not proven.
    limit_set : str
        Limit set that it was held against; empty for none.
    weakest : Weakest, optional
        The weakest evidence.
    next_due : Due, optional
        What is due next; None for nothing.
    next_text : str
        The same in words.
    late : int
        How many things are overdue or were never done [1].
    findings : tuple of str
        Numbers of the open findings.
    evidence : SupplyEvidence
        The evidence.
    zone : str
        Time zone of the site.
    since_time : datetime, optional
        Since when it is in its state, UTC.
    """

    supply_id: str
    site: str
    supply: str
    title: str
    state: str
    state_words: str
    since: str
    why: str
    verdict: str
    reasons: tuple[str, ...]
    limit_set: str
    weakest: Weakest | None
    next_due: Due | None
    next_text: str
    late: int
    findings: tuple[str, ...]
    evidence: SupplyEvidence
    zone: str = "UTC"
    since_time: datetime | None = None


@frozen
class Status:
    """How all supplies stand.

    Parameters
    ----------
    now : datetime
        For which moment, UTC.
    workspace : str
        Name of the workspace.
    rows : tuple of SupplyRow
        The supplies, by site and name.
    others : tuple of str
        What else is late and belongs to no supply: instruments, lots, persons.
    notes : tuple of str
        What is to be minded beside the rows.
    exit_code : int
        0 where all supplies in service conform, 1 where one does not, 3 where one is not proven
        or none is in service.
    """

    now: datetime
    workspace: str
    rows: tuple[SupplyRow, ...]
    others: tuple[str, ...]
    notes: tuple[str, ...]
    exit_code: int


def status(
    where: Where, *, now: datetime, site: str | None = None, supply: str | None = None
) -> Status:
    """Tell how the supplies of a workspace stand.

    Parameters
    ----------
    where : Where
        Which workspace.
    now : datetime
        The time, UTC.
    site, supply : str, optional
        Only those of a site; only one supply.

    Returns
    -------
    Status
        How they stand.

    Raises
    ------
    UnknownRecordError
        Where there is no such site or supply.
    InputError
        Where the supply is not at the site.
    WorkspaceError
        Where the workspace cannot be used.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import Site, Supply  # noqa: PLC0415 - beside their use

    with opened(where, read_only=True) as workspace:
        site_id = workspace.register.get(Site, site).id if site else None
        one = workspace.register.get(Supply, supply) if supply else None
        if one is not None and site_id is not None and one.site_id != site_id:
            raise InputError(f"Supply {one.name} is not at site {site}. Leave out --site.")
        snapshot = take(workspace.register, now)
        return status_of(
            snapshot,
            workspace=workspace.name,
            site_id=site_id,
            supply_id=None if one is None else one.id,
        )


def status_of(
    snapshot: Snapshot,
    *,
    workspace: str = "",
    site_id: str | None = None,
    supply_id: str | None = None,
) -> Status:
    """Tell how the supplies of a snapshot stand; parameters as `status`, by id.

    Returns
    -------
    Status
        How they stand. A supply whose limit set or rule set cannot be used is not proven, and the
        reason says so: the others are told all the same.
    """
    from lungwort.plan.due import LATE  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.evidence import clock_behind  # noqa: PLC0415 - keeps --help instant

    supplies = [
        one
        for one in snapshot.supplies_in_use()
        if site_id in {None, one.site_id} and supply_id in {None, one.id}
    ]
    dues, troubles = _dues(snapshot)
    rows = sorted(
        (_row(snapshot, one, [due for due in dues if due.supply_id == one.id]) for one in supplies),
        key=lambda row: (row.site.casefold(), row.supply.casefold()),
    )
    others = tuple(
        f"{due.subject}: {due.what}, {when_words(due)}."
        for due in dues
        if not due.supply_id and due.state in LATE
    )
    notes = [*clock_behind(snapshot), *troubles]
    in_service = [row.verdict for row in rows if row.state == IN_SERVICE]
    if not rows:
        notes.append("No supply in use is on record. Next: lungwort supply add NAME --site NAME")
    elif not in_service:
        notes.append("No supply is in service, so nothing is proved here.")
    worst = next((one for one in _WORST_FIRST if one in in_service), "not_proven")
    return Status(
        now=snapshot.now,
        workspace=workspace,
        rows=tuple(rows),
        others=others,
        notes=tuple(notes),
        exit_code=_EXIT_CODES[worst],
    )


def dues_of(snapshot: Snapshot) -> tuple[Due, ...]:
    """Tell what is due in a snapshot however far ahead; nothing where the rules cannot be used."""
    return _dues(snapshot)[0]


def _dues(snapshot: Snapshot) -> tuple[tuple[Due, ...], tuple[str, ...]]:
    from lungwort.plan.due import due  # noqa: PLC0415 - keeps --help instant

    try:
        return due(snapshot, horizon_days=None), ()
    except PlanError as error:
        return (), (f"What is due cannot be told: {error}",)


def _row(snapshot: Snapshot, supply: Supply, dues: list[Due]) -> SupplyRow:
    from lungwort.paper.text import Clock  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.due import LATE  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import open_findings, supply_state  # noqa: PLC0415 - keeps --help instant

    state = supply_state(snapshot, supply.id)
    found = open_findings(snapshot, supply.id)
    clock = Clock.for_period(snapshot.zone(supply.id).key, None, None)
    evidence = _evidence(snapshot, supply)
    verdict, reasons = _with_findings(*_without_lenient(snapshot, evidence), found)
    site = snapshot.site_of(supply)
    following = dues[0] if dues else None
    return SupplyRow(
        supply_id=supply.id,
        site="" if site is None else site.name,
        supply=supply.name,
        title=supply.title,
        state=state.state,
        state_words=STATE_WORDS[state.state],
        since="" if state.since is None else clock.day(state.since),
        why=state.why,
        verdict=verdict,
        reasons=reasons,
        limit_set=snapshot.limit_set_name(supply.id),
        weakest=_weakest(evidence, clock),
        next_due=following,
        next_text=(
            ""
            if following is None
            else f"{following.subject}: {following.what}, {when_words(following)}"
        ),
        late=sum(due.state in LATE for due in dues),
        findings=tuple(one.number for one in found),
        evidence=evidence,
        zone=clock.zone_name,
        since_time=state.since,
    )


def _without_lenient(snapshot: Snapshot, evidence: SupplyEvidence) -> tuple[str, tuple[str, ...]]:
    """Call no air clean by a verdict alone that was judged more leniently than one that counts."""
    from lungwort.plan.snapshot import by_id  # noqa: PLC0415 - keeps --help instant

    told: list[str] = []
    for one in evidence.limits:
        record = by_id(snapshot.verdicts, one.verdict_id) if one.proves else None
        if record is None or not record.lapses or _said_in_order(snapshot, one, record):
            continue
        told += [f"{one.outlet}: the newest verdict does not count. {why}" for why in record.lapses]
    against = tuple(dict.fromkeys(told))
    if against and evidence.overall == "conforms":
        return "not_proven", against
    return evidence.overall, (*evidence.reasons, *against)


def _said_in_order(snapshot: Snapshot, one: Evidence, lenient: VerdictRecord) -> bool:
    """Tell whether a verdict without lapses says the same of the same evidence."""
    return any(
        record.outlet_id == lenient.outlet_id
        and record.supply_id == lenient.supply_id
        and record.limit_set_digest == lenient.limit_set_digest
        and not record.lapses
        and (word.key, word.verdict, word.evidence_time) == (one.key, one.verdict, one.time)
        for record in snapshot.verdicts
        for word in record.limits
    )


def _with_findings(
    verdict: str, reasons: tuple[str, ...], found: Sequence[Finding]
) -> tuple[str, tuple[str, ...]]:
    """Call no air clean in which something was found that is not cured and tested again."""
    from lungwort.jobs.finding import is_about_air  # noqa: PLC0415 - keeps --help instant

    against = tuple(
        f"Finding {one.number} is open: withdraw the supply, or cure and test again."
        for one in found
        if is_about_air(one)
    )
    if not against:
        return verdict, reasons
    if verdict == "conforms":
        return "not_proven", (*against, *reasons)
    return verdict, (*reasons, *against)


def when_words(due: Due) -> str:
    """Say until when a thing is in time, or since when it is late."""
    from lungwort.plan.days import shown  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.due import NEVER_DONE, OVERDUE  # noqa: PLC0415 - keeps --help instant

    if due.state == NEVER_DONE:
        return "never done"
    return f"overdue since {shown(due.due)}" if due.state == OVERDUE else f"by {shown(due.due)}"


def _evidence(snapshot: Snapshot, supply: Supply) -> SupplyEvidence:
    from lungwort.limits.load import limit_set  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.evidence import SupplyEvidence, supply_evidence  # noqa: PLC0415 - keeps --help instant

    name = snapshot.limit_set_source(supply.id)
    if not name:
        why = (
            "Neither the supply nor its site names a limit set. Give one with "
            f"'lungwort supply change \"{supply.name}\" --limits ID --reason TEXT'."
        )
        return SupplyEvidence("not_proven", (why,))
    try:
        return supply_evidence(snapshot, supply.id, limit_set(name))
    except (LimitSetError, PlanError) as error:
        return SupplyEvidence("not_proven", (str(error),))


def _weakest(evidence: SupplyEvidence, clock: Clock) -> Weakest | None:
    from lungwort.paper.text import analyte_name  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.days import shown  # noqa: PLC0415 - keeps --help instant

    one = evidence.weakest
    if one is None:
        return None
    name = f"{analyte_name(one.analyte)} at {one.outlet}"
    if one.time is None:
        return Weakest(one, f"{name}: none")
    text = f"{name}: {one.means or 'evidence'} of {clock.day(one.time)}"
    if one.proves and one.stale_on is not None:
        text += f", stale on {shown(one.stale_on)}"
    return Weakest(one, text)


def as_json(made: Status) -> dict[str, Any]:
    """Give the status as values for JSON.

    Parameters
    ----------
    made : Status
        The status.

    Returns
    -------
    dict
        Times in ISO 8601, UTC; days as ``YYYY-MM-DD``.
    """
    return {
        "format": JSON_FORMAT,
        "now": time_json(made.now),
        "workspace": made.workspace,
        "exit_code": made.exit_code,
        "notes": list(made.notes),
        "late_beside_supplies": list(made.others),
        "supplies": [_row_json(row) for row in made.rows],
    }


def _row_json(row: SupplyRow) -> dict[str, Any]:
    from lungwort.jobs.due import due_json  # noqa: PLC0415 - keeps --help instant

    return {
        "id": row.supply_id,
        "site": row.site,
        "supply": row.supply,
        "title": row.title,
        "state": row.state,
        "since": None if row.since_time is None else time_json(row.since_time),
        "why": row.why,
        "verdict": row.verdict,
        "reasons": list(row.reasons),
        "limit_set": row.limit_set,
        "weakest": None if row.weakest is None else _evidence_json(row.weakest.evidence),
        "next_due": None if row.next_due is None else due_json(row.next_due),
        "late": row.late,
        "open_findings": list(row.findings),
        "evidence": [_evidence_json(one) for one in row.evidence.limits],
    }


def _evidence_json(one: Evidence) -> dict[str, Any]:
    return {
        "outlet": one.outlet,
        "key": one.key,
        "analyte": one.analyte,
        "verdict": one.verdict,
        "time": None if one.time is None else time_json(one.time),
        "stale_on": None if one.stale_on is None else one.stale_on.isoformat(),
        "fresh": one.fresh,
        "means": one.means,
        "why": one.why,
        "verdict_id": one.verdict_id,
    }


def time_json(moment: datetime) -> str:
    """Write a moment as ISO 8601 in UTC, to the second."""
    from datetime import UTC  # noqa: PLC0415 - only here

    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
