"""What is printed from the record: report of a period, site summary, tags, notice, workbook."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import InputError
from lungwort.jobs.opening import opened
from lungwort.register.model import (
    IN_SERVICE,
    WITHDRAWN,
    Person,
    Site,
    Stage,
    Supply,
    SupplyState,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.jobs.status import SupplyRow, Weakest
    from lungwort.paper.site_summary import DueLine, SupplyLine
    from lungwort.paper.tag import TagSheet
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.reader import Reader

HORIZON_DAYS: Final = 60
_LONGEST_NAME: Final = 80


@frozen
class Printed:
    """What was written.

    Parameters
    ----------
    path : Path
        The file.
    notes : tuple of str
        What is to be said beside it, such as what could not be read.
    """

    path: Path
    notes: tuple[str, ...] = ()


def _path(path: Path | None, paper: str, name: str, suffix: str = ".pdf") -> Path:
    """Give where to write to, by a name of its own where none or only a folder was given."""
    import re  # noqa: PLC0415 - only here
    from pathlib import Path  # noqa: PLC0415 - only here

    if path is not None and not path.is_dir():
        return path
    words = re.sub(r"[^\w.-]+", "-", name)[:_LONGEST_NAME].strip("-.")
    own = f"{paper}-{words}{suffix}" if words else f"{paper}{suffix}"
    return Path(own) if path is None else path / own


def _check(path: Path | None) -> None:
    """Refuse a file that cannot be written, before any work is done."""
    from lungwort.paper.write import checked  # noqa: PLC0415 - keeps --help instant

    if path is not None and not path.is_dir():
        checked(path)


def report(
    where: Where,
    supply: str,
    path: Path | None = None,
    *,
    now: datetime,
    begin: str | None = None,
    end: str | None = None,
    by: str | None = None,
) -> Printed:
    """Print the report of a supply over a period.

    Parameters
    ----------
    where : Where
        Which workspace.
    supply : str
        Name or id of the supply.
    path : Path, optional
        Where to; a name of its own in that folder, or in the current one if not given.
    now : datetime
        The time, UTC.
    begin, end : str, optional
        First and last day, as typed; the last twelve months if not given.
    by : str, optional
        Who signs it.

    Returns
    -------
    Printed
        The file, and what could not be read.

    Raises
    ------
    InputError
        Where a day cannot be used.
    UnknownRecordError
        Where there is no such supply or person.
    OutputError
        Where it could not be written.
    """
    from lungwort.jobs.print_period import parse_days, period_sheet  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.period import period_pdf  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.write import write_bytes  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    _check(path)
    with opened(where, read_only=True) as workspace:
        with workspace.register.at_one_time() as reader:
            thing = reader.get(Supply, supply)
            person = reader.get(Person, by) if by and by.strip() else None
            snapshot, head = take(reader, now), reader.head()
        start, until = parse_days(begin, end, snapshot.zone(thing.id), now=now)
        sheet = period_sheet(
            workspace,
            snapshot,
            thing,
            start=start,
            end=until,
            head=head,
            prepared_by=person,
        )
    return Printed(write_bytes(period_pdf(sheet), _path(path, "report", thing.name)), sheet.notes)


def summary(
    where: Where,
    site: str | None,
    path: Path | None = None,
    *,
    now: datetime,
    within_days: int | None = None,
) -> Printed:
    """Print the summary of a site.

    Parameters
    ----------
    where : Where
        Which workspace.
    site : str, optional
        Name or id of the site; the only one in use if not given.
    path : Path, optional
        Where to; a name of its own in that folder, or in the current one if not given.
    now : datetime
        The time, UTC.
    within_days : int, optional
        How far ahead to look for what is due [d]; 60 if not given.

    Returns
    -------
    Printed
        The file.

    Raises
    ------
    InputError
        Where no site was named and there are several, or none.
    UnknownRecordError
        Where there is no such site.
    OutputError
        Where it could not be written.
    """
    from lungwort.jobs.status import status_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.site_summary import SummarySheet, summary_pdf  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.text import zone  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.write import write_bytes  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    _check(path)
    days = HORIZON_DAYS if within_days is None else within_days
    with opened(where, read_only=True) as workspace:
        with workspace.register.at_one_time() as reader:
            thing = _site(reader, site)
            snapshot, head = take(reader, now), reader.head()
        made = status_of(snapshot, workspace=workspace.name, site_id=thing.id)
        sheet = SummarySheet(
            site=thing.title or thing.name,
            site_address=thing.address,
            made_at=now,
            zone=zone(thing.zone).key,
            workspace_name=workspace.name,
            supplies=tuple(_supply_line(snapshot, row) for row in made.rows),
            due=_due_lines(snapshot, thing, days),
            horizon_days=days,
            tree_size=head.size,
            tree_root=head.root,
        )
    return Printed(write_bytes(summary_pdf(sheet), _path(path, "summary", thing.name)), made.notes)


def _site(reader: Reader, name: str | None) -> Site:
    if name is not None:
        return reader.get(Site, name)
    known = [one for one in reader.all(Site) if one.in_use]
    if len(known) == 1:
        return known[0]
    if not known:
        raise InputError("No site in use is on record. Add one with 'lungwort site add NAME'.")
    names = ", ".join(sorted(one.name for one in known))
    raise InputError(f"There are several sites: {names}. Name one of them.")


def _supply_line(snapshot: Snapshot, row: SupplyRow) -> SupplyLine:
    from lungwort.jobs.certificate_sheet import KIND_WORDS  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.site_summary import SupplyLine  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import by_id  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import open_findings  # noqa: PLC0415 - keeps --help instant

    supply = by_id(snapshot.supplies, row.supply_id)
    judged = [one.judged_at for one in snapshot.verdicts if one.supply_id == row.supply_id]
    # A certificate of a supply that is not in service would look as if it held.
    issued = [
        one
        for one in snapshot.certificates
        if one.supply_id == row.supply_id and row.state == IN_SERVICE
    ]
    # Of several outlets the one whose next test comes first decides.
    newest: dict[str, datetime] = {}
    for one in issued:
        newest[one.outlet_id] = max(one.issued_at, newest.get(one.outlet_id, one.issued_at))
    last = [one for one in issued if newest[one.outlet_id] == one.issued_at]
    days = [one.next_test_by for one in last if one.next_test_by is not None]
    next_test = min(days, default=None)
    weakest = row.weakest
    return SupplyLine(
        supply=f"{row.title} ({row.supply})" if row.title else row.supply,
        kind="" if supply is None else KIND_WORDS.get(supply.kind, supply.kind),
        state=row.state,
        since=row.since_time,
        verdict=row.verdict,
        verdict_at=max(judged, default=None),
        weakest_verdict="" if weakest is None else _weakest_word(weakest),
        weakest=" ".join(row.reasons[:1]) if weakest is None else _weakest_text(weakest),
        certificate=", ".join(sorted(one.number for one in last)),
        next_test_by=next_test,
        next_test_late=(
            next_test is not None and next_test < snapshot.day(snapshot.now, row.supply_id)
        ),
        findings=tuple(
            f"{one.number}: {one.text}" for one in open_findings(snapshot, row.supply_id)
        ),
    )


def _weakest_word(weakest: Weakest) -> str:
    """Give the word of evidence; what conformed once and no longer counts is not proven."""
    from lungwort.verdict.model import CONFORMS, NOT_PROVEN  # noqa: PLC0415 - keeps --help instant

    one = weakest.evidence
    return NOT_PROVEN if one.verdict == CONFORMS and not one.proves else one.verdict


def _weakest_text(weakest: Weakest) -> str:
    one = weakest.evidence
    return f"{weakest.text}. {one.why}" if one.why and not one.proves else weakest.text


def _due_lines(snapshot: Snapshot, site: Site, days: int) -> tuple[DueLine, ...]:
    from lungwort.paper.site_summary import DueLine  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.due import LATER, NEVER_DONE, due  # noqa: PLC0415 - keeps --help instant

    here = {one.id for one in snapshot.supplies if one.site_id == site.id}
    return tuple(
        DueLine(
            state=one.state,
            due=None if one.state == NEVER_DONE else one.due,
            subject=one.subject,
            what=one.what,
            why=one.why,
        )
        for one in due(snapshot, horizon_days=days)
        # What belongs to no supply, such as an instrument, serves every site.
        if one.state != LATER and (not one.supply_id or one.supply_id in here)
    )


def notice(
    where: Where,
    supply: str,
    path: Path | None = None,
    *,
    now: datetime,
    decides: str | None = None,
) -> Printed:
    """Print the notice of a withdrawn supply.

    Parameters
    ----------
    where : Where
        Which workspace.
    supply : str
        Name or id of the supply.
    path : Path, optional
        Where to; a name of its own in that folder, or in the current one if not given.
    now : datetime
        The time, UTC.
    decides : str, optional
        Who decides on its return, as it is to be printed; who withdrew it if not given.

    Returns
    -------
    Printed
        The file.

    Raises
    ------
    InputError
        Where the supply is not withdrawn.
    UnknownRecordError
        Where there is no such supply.
    OutputError
        Where it could not be written.
    """
    from lungwort.paper.notice import NoticeSheet, notice_pdf  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.write import write_bytes  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.state import open_findings, supply_state  # noqa: PLC0415 - keeps --help instant

    _check(path)
    with opened(where, read_only=True) as workspace:
        thing = workspace.register.get(Supply, supply)
        snapshot = take(workspace.register, now)
    state = supply_state(snapshot, thing.id)
    record = _withdrawal(snapshot, thing.id)
    if state.state != WITHDRAWN or record is None or state.since is None:
        raise InputError(
            f"Supply {thing.name} is {state.state.replace('_', ' ')}, not withdrawn, so there is "
            f"no notice to print. Where its air must not be breathed, withdraw it first: "
            f'lungwort withdraw "{thing.name}" --because TEXT'
        )
    people = {one.id: one for one in snapshot.persons}
    person = people.get(record.by_id)
    role = f" ({person.role})" if person is not None and person.role else ""
    named = [one.number for one in snapshot.findings if one.id in record.finding_ids]
    named = named or [one.number for one in open_findings(snapshot, thing.id)]
    site = snapshot.site_of(thing)
    sheet = NoticeSheet(
        supply=f"{thing.title} ({thing.name})" if thing.title else thing.name,
        site="" if site is None else site.title or site.name,
        since=state.since,
        why=state.why,
        withdrawn_by=state.by,
        decides=(decides or "").strip() or f"{state.by}{role}",
        finding=", ".join(named),
        outlets=tuple(_placed(one.name, one.place) for one in snapshot.outlets_of(thing.id)),
        zone=snapshot.zone(thing.id).key,
    )
    return Printed(write_bytes(notice_pdf(sheet), _path(path, "notice", thing.name)))


def _withdrawal(snapshot: Snapshot, supply_id: str) -> SupplyState | None:
    found = [
        one for one in snapshot.states if one.supply_id == supply_id and one.state == WITHDRAWN
    ]
    return max(found, key=lambda one: (one.time, one.seq), default=None)


def _placed(name: str, place: str) -> str:
    return f"{name}, {place}" if place else name


def tags(
    where: Where,
    supply: str,
    path: Path | None = None,
    *,
    now: datetime,
    stages: Sequence[str] = (),
    paper: str = "a6",
) -> Printed:
    """Print the tags of a supply's treatment stages.

    Parameters
    ----------
    where : Where
        Which workspace.
    supply : str
        Name or id of the supply.
    path : Path, optional
        Where to; a name of its own in that folder, or in the current one if not given.
    now : datetime
        The time, UTC.
    stages : sequence of str
        Names of the stages; all of which a change is on record if none is given.
    paper : str
        ``a6`` for one on a page, ``a4`` for four.

    Returns
    -------
    Printed
        The file, and for which stages there is no tag.

    Raises
    ------
    InputError
        Where no change is on record.
    UnknownRecordError
        Where there is no such supply or stage.
    OutputError
        Where it could not be written.
    """
    from lungwort.paper.tag import tag_pdf  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.write import write_bytes  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    _check(path)
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        thing = register.get(Supply, supply)
        named = [register.get(Stage, f"{thing.name}/{one}") for one in stages]
        snapshot = take(register, now)
    wanted = named or [one for one in snapshot.stages_of(thing.id) if one.in_use]
    found = [(stage, _tag(snapshot, thing, stage)) for stage in wanted]
    made = [tag for _, tag in found if tag is not None]
    without = [stage.name for stage, tag in found if tag is None]
    told = f"No change is on record for: {', '.join(without)}." if without else ""
    if not made:
        raise InputError(
            f"No cartridge change is on record for supply {thing.name}"
            + (f" in: {', '.join(without)}" if without else "")
            + ". Record the change first, then print its tag."
        )
    return Printed(
        write_bytes(tag_pdf(made, paper=paper), _path(path, "tag", thing.name)),
        (told,) if told else (),
    )


def _tag(snapshot: Snapshot, supply: Supply, stage: Stage) -> TagSheet | None:
    from lungwort.paper.tag import TagSheet  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.days import add_months  # noqa: PLC0415 - keeps --help instant

    changes = [one for one in snapshot.cartridge_changes if one.stage_id == stage.id]
    change = max(changes, key=lambda one: (one.time, one.seq), default=None)
    if change is None:
        return None
    people = {one.id: one.name for one in snapshot.persons}
    lots = {one.id: one.lot_number or one.name for one in snapshot.lots}
    site = snapshot.site_of(supply)
    next_hours = ""
    if stage.change_hours is not None:
        next_hours = (
            f"{change.running_hours + stage.change_hours} h"
            if change.running_hours is not None
            else f"{stage.change_hours} h after this change"
        )
    return TagSheet(
        supply=f"{supply.title} ({supply.name})" if supply.title else supply.name,
        stage=stage.name,
        site="" if site is None else site.title or site.name,
        kind=f"{stage.kind}, stage {stage.place}",
        changed_at=change.time,
        by=people.get(change.by_id, ""),
        running_hours="" if change.running_hours is None else f"{change.running_hours} h",
        lot=lots.get(change.lot_id or "", ""),
        next_by=(
            None
            if stage.change_months is None
            else add_months(snapshot.day(change.time, supply.id), stage.change_months)
        ),
        next_hours=next_hours,
        zone=snapshot.zone(supply.id).key,
    )


def workbook(where: Where, path: Path | None = None, *, now: datetime) -> Printed:
    """Write the workbook of all tests on record.

    Parameters
    ----------
    where : Where
        Which workspace.
    path : Path, optional
        Where to; a name of its own in that folder, or in the current one if not given.
    now : datetime
        The time, UTC.

    Returns
    -------
    Printed
        The file, and what is to be minded.

    Raises
    ------
    OutputError
        Where it could not be written.
    """
    from lungwort.jobs.print_tests import all_tests  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.all_tests import tests_xlsx  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.write import write_bytes  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant

    _check(path)
    with opened(where, read_only=True) as workspace:
        snapshot = take(workspace.register, now)
        rows, notes = all_tests(snapshot, workspace_name=workspace.name)
    return Printed(write_bytes(tests_xlsx(rows), _path(path, "tests", "", ".xlsx")), notes)
