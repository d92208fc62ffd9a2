"""What the report of a period says, taken from the record."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from lungwort.errors import InputError, LungwortError
from lungwort.jobs.print_period_trends import day_trends, text, value, worse
from lungwort.register.model import CAUSE, CLOSE, CURE, NOTE, Person

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from zoneinfo import ZoneInfo

    from lungwort.paper.period_sheet import (
        DayTrendLine,
        ExcursionLine,
        FindingLine,
        MonitoredLine,
        PeriodSheet,
        StateLine,
        TrendLine,
        VerdictLine,
    )
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import Finding, Supply, TreeHead, VerdictRecord
    from lungwort.register.workspace import Workspace

_A_YEAR: Final = 12


def parse_days(
    begin: str | None, end: str | None, zone: ZoneInfo, *, now: datetime
) -> tuple[datetime, datetime]:
    """Read from which day to which day is reported.

    Parameters
    ----------
    begin, end : str, optional
        First and last day, as ``2026-03-04``; the last day is today if not given, the first one
        lies twelve months before it.
    zone : ZoneInfo
        Zone of the site, whose days they are.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    tuple of (datetime, datetime)
        Begin of the first day and end of the last, UTC.

    Raises
    ------
    InputError
        Where one is no day, they are the wrong way round, or nothing of it has passed.
    """
    from lungwort.plan.days import add_months  # noqa: PLC0415 - keeps --help instant

    today = now.astimezone(zone).date()
    last = _day(end, "--to") if end else today
    first = _day(begin, "--from") if begin else add_months(last, -_A_YEAR) + timedelta(days=1)
    if first > last:
        raise InputError(f"--from {first} lies after --to {last}. Give the earlier day first.")
    if first > today:
        raise InputError(f"--from {first} lies ahead: there is nothing to report yet.")
    return _midnight(first, zone), _midnight(last + timedelta(days=1), zone)


def _day(text: str, option: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError(
            f"{option} {text!r} is no day. Write it year first, like '2026-03-04'."
        ) from error


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)


def period_sheet(
    workspace: Workspace,
    snapshot: Snapshot,
    supply: Supply,
    *,
    start: datetime,
    end: datetime,
    head: TreeHead,
    prepared_by: Person | None = None,
) -> PeriodSheet:
    """Fill the report of a supply over a period.

    Parameters
    ----------
    workspace : Workspace
        The open workspace, for results and logs.
    snapshot : Snapshot
        The record.
    supply : Supply
        The supply.
    start, end : datetime
        The period, UTC; the end is the first moment after it.
    head : TreeHead
        Head of the journal's tree.
    prepared_by : Person, optional
        Who signs.

    Returns
    -------
    PeriodSheet
        The report. What could not be read is named in its notes.
    """
    from lungwort.jobs.certificate_sheet import supply_facts  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.period_sheet import PeriodSheet  # noqa: PLC0415 - keeps --help instant

    site = snapshot.site_of(supply)
    made = _Filling(workspace, snapshot, supply, start, end)
    states = made.states()
    verdicts = made.verdict_records()
    results = made.results(verdicts)
    return PeriodSheet(
        supply=made.titled(supply),
        site="" if site is None else site.title or site.name,
        site_address="" if site is None else site.address,
        supply_facts=supply_facts(supply),
        start=start,
        end=end,
        made_at=snapshot.now,
        zone=made.zone.key,
        workspace_name=workspace.name,
        states=states,
        verdicts=made.verdicts(verdicts),
        certificates=made.certificates(),
        tests=made.tests(),
        findings=made.findings(),
        excursions=made.excursions(results),
        monitored=made.monitored(),
        trends=made.trends(results),
        day_trends=made.day_trends(),
        cartridges=made.cartridges(),
        events=made.events(),
        notes=(*made.notes, *made.state_notes(states)),
        prepared_by="" if prepared_by is None else prepared_by.name,
        role="" if prepared_by is None else prepared_by.role,
        tree_size=head.size,
        tree_root=head.root,
    )


class _Filling:
    """Looks up what belongs into one report."""

    def __init__(
        self,
        workspace: Workspace,
        snapshot: Snapshot,
        supply: Supply,
        start: datetime,
        end: datetime,
    ) -> None:
        self.workspace = workspace
        self.snapshot = snapshot
        self.supply = supply
        self.start = start
        self.end = end
        self.zone = snapshot.zone(supply.id)
        self.people = {one.id: one.name for one in snapshot.persons}
        self.outlets = {one.id: one.name for one in snapshot.outlets if one.supply_id == supply.id}
        self.notes: list[str] = []

    @staticmethod
    def titled(supply: Supply) -> str:
        """Name a supply as paper does."""
        return f"{supply.title} ({supply.name})" if supply.title else supply.name

    def who(self, person_id: str | None) -> str:
        return self.people.get(person_id or "", person_id or "")

    def outlet(self, outlet_id: str | None) -> str:
        return self.outlets.get(outlet_id or "", outlet_id or "")

    def within(self, moment: datetime) -> bool:
        return self.start <= moment < self.end

    def states(self) -> tuple[StateLine, ...]:
        from lungwort.paper.period_sheet import StateLine  # noqa: PLC0415 - keeps --help instant

        records = sorted(
            (one for one in self.snapshot.states if one.supply_id == self.supply.id),
            key=lambda one: (one.time, one.seq),
        )
        before = [one for one in records if one.time < self.start][-1:]
        shown = [*before, *(one for one in records if self.within(one.time))]
        return tuple(
            StateLine(time=one.time, state=one.state, why=one.why, by=self.who(one.by_id))
            for one in shown
        )

    def state_notes(self, states: Sequence[StateLine]) -> list[str]:
        """Say where the state of the last line is not the one that holds."""
        from lungwort.paper.states import STATE_WORDS  # noqa: PLC0415 - keeps --help instant
        from lungwort.plan.state import supply_state  # noqa: PLC0415 - keeps --help instant

        now = supply_state(self.snapshot, self.supply.id)
        if self.end <= self.snapshot.now or not states or states[-1].state == now.state:
            return []
        return [
            (
                "By the order in which it was recorded the supply is now "
                f"{STATE_WORDS[now.state].lower()}: {now.why}"
            )
        ]

    def verdict_records(self) -> list[VerdictRecord]:
        return [
            one
            for one in self.snapshot.verdicts
            if one.supply_id == self.supply.id and self.within(one.judged_at)
        ]

    def verdicts(self, records: Iterable[VerdictRecord]) -> tuple[VerdictLine, ...]:
        from lungwort.paper.period_sheet import VerdictLine  # noqa: PLC0415 - keeps --help instant

        numbers = {one.verdict_id: one.number for one in self.snapshot.certificates}
        return tuple(
            VerdictLine(
                time=one.judged_at,
                outlet=self.outlet(one.outlet_id),
                overall=one.overall,
                limit_set=one.limit_set,
                reasons=(*one.reasons, *one.lapses),
                certificate=numbers.get(one.id, ""),
            )
            for one in records
        )

    def results(
        self, records: Iterable[VerdictRecord]
    ) -> list[tuple[VerdictRecord, dict[str, Any]]]:
        found: list[tuple[VerdictRecord, dict[str, Any]]] = []
        for one in records:
            try:
                content = self.workspace.read_file(one.result_sha256)
                found.append((one, json.loads(content)))
            except (LungwortError, ValueError) as error:
                self.notes.append(
                    f"The result of the verdict {one.id} could not be read, so its excursions and "
                    f"values are missing here: {error}"
                )
        return found

    def excursions(
        self, results: Iterable[tuple[VerdictRecord, dict[str, Any]]]
    ) -> tuple[ExcursionLine, ...]:
        from lungwort.paper.period_sheet import ExcursionLine  # noqa: PLC0415 - keeps --help instant

        found: dict[tuple[str, ...], ExcursionLine] = {}
        for record, result in results:
            outlet = self.outlet(record.outlet_id)
            for one in result["excursions"]:
                # The same stretch of a log may have been judged more than once.
                key = (outlet, one["limit_key"], one["channel"], one["direction"], one["start"])
                line = ExcursionLine(
                    outlet=outlet,
                    analyte=one["analyte"],
                    direction=one["direction"],
                    start=datetime.fromisoformat(one["start"]),
                    duration_s=float(one["duration_s"]),
                    peak=one["peak"],
                    limit=float(one["limit"]),
                    unit=one["unit"],
                )
                if key not in found or line.duration_s > found[key].duration_s:
                    found[key] = line
        return tuple(sorted(found.values(), key=lambda line: (line.start, line.analyte)))

    def trends(
        self, results: Sequence[tuple[VerdictRecord, dict[str, Any]]]
    ) -> tuple[TrendLine, ...]:
        from lungwort.paper.period_drawing import TrendPoint  # noqa: PLC0415 - keeps --help instant
        from lungwort.paper.period_sheet import TrendLine  # noqa: PLC0415 - keeps --help instant

        months = self._months()
        worst: dict[tuple[str, str, str], dict[date, dict[str, Any]]] = {}
        for record, result in results:
            for limit in result["limits"]:
                if limit["verdict"] in {"no_evidence", "not_applicable"}:
                    continue
                month = self._month(record, limit)
                key = (limit["key"], limit["limit"], limit["unit"])
                held = worst.setdefault(key, {})
                if month in months and worse(limit, held.get(month)):
                    held[month] = limit
        lines = []
        for by_month in worst.values():
            if not by_month:
                continue
            any_limit = next(iter(by_month.values()))
            points = tuple(
                TrendPoint(
                    month,
                    value(by_month[month]),
                    text(by_month[month]),
                    by_month[month]["verdict"],
                )
                if month in by_month
                else TrendPoint(month, None, "", "no_evidence")
                for month in months
            )
            lines.append(
                TrendLine(
                    analyte=any_limit["analyte"],
                    limit=any_limit["limit"],
                    unit=any_limit["unit"],
                    lower=any_limit["lower"],
                    upper=any_limit["upper"],
                    required=any_limit["required"],
                    points=points,
                )
            )
        return tuple(lines)

    def day_trends(self) -> tuple[DayTrendLine, ...]:
        lines, told = day_trends(
            self.workspace, self.snapshot, self.supply, start=self.start, end=self.end
        )
        self.notes += told
        return lines

    def _months(self) -> list[date]:
        month = self.start.astimezone(self.zone).date().replace(day=1)
        last = min(self.end, self.snapshot.now) - timedelta(seconds=1)
        months = []
        while month <= last.astimezone(self.zone).date():
            months.append(month)
            month = (month + timedelta(days=32)).replace(day=1)
        return months

    def _month(self, record: VerdictRecord, limit: dict[str, Any]) -> date:
        """Tell the month of a limit's evidence: when the worst was read, else when it was judged."""
        worst = limit["worst"]
        moment = record.judged_at
        if worst is not None and worst["time"]:
            moment = datetime.fromisoformat(worst["time"])
        return moment.astimezone(self.zone).date().replace(day=1)

    def certificates(self) -> tuple[Any, ...]:
        from lungwort.paper.period_sheet import CertificateLine  # noqa: PLC0415 - keeps --help instant

        return tuple(
            CertificateLine(
                number=one.number,
                outlet=self.outlet(one.outlet_id),
                issued_by=self.who(one.issued_by_id),
                issued_at=one.issued_at,
                next_test_by=one.next_test_by,
                remark="digitally signed" if one.digitally_signed else "",
            )
            for one in self.snapshot.certificates
            if one.supply_id == self.supply.id and self.within(one.issued_at)
        )

    def tests(self) -> tuple[Any, ...]:
        from lungwort.paper.period_sheet import HandTestLine  # noqa: PLC0415 - keeps --help instant

        return tuple(
            HandTestLine(
                time=one.ended,
                outlet=self.outlet(one.outlet_id),
                procedure=one.procedure,
                tester=self.who(one.tester_id),
                state=one.state,
                readings=tuple(reading.text for reading in one.readings),
                why=one.why,
            )
            for one in self.snapshot.hand_tests
            if one.outlet_id in self.outlets and self.within(one.ended)
        )

    def findings(self) -> tuple[FindingLine, ...]:
        found = [one for one in self.snapshot.findings if one.supply_id == self.supply.id]
        lines = [
            self._finding(one)
            for one in sorted(found, key=lambda one: one.opened_at)
            if one.opened_at < self.end
        ]
        return tuple(
            line for line in lines if line.closed_at is None or line.closed_at >= self.start
        )

    def _finding(self, finding: Finding) -> FindingLine:
        from lungwort.paper.period_sheet import FindingLine  # noqa: PLC0415 - keeps --help instant
        from lungwort.paper.text import VERDICT_WORDS, Clock  # noqa: PLC0415 - keeps --help instant
        from lungwort.plan.snapshot import by_id  # noqa: PLC0415 - keeps --help instant
        from lungwort.plan.state import finding_open, newest_action  # noqa: PLC0415 - keeps --help instant

        actions = sorted(
            (one for one in self.snapshot.actions if one.finding_id == finding.id),
            key=lambda one: (one.time, one.seq),
        )
        closing = newest_action(self.snapshot, finding.id, CLOSE)
        is_open = finding_open(self.snapshot, finding.id)
        retest = by_id(self.snapshot.verdicts, None if closing is None else closing.verdict_id)
        clock = Clock(self.zone.key, zone_info=self.zone)
        return FindingLine(
            number=finding.number,
            text=finding.text,
            opened_at=finding.opened_at,
            closed_at=None if is_open or closing is None else closing.time,
            analytes=finding.analytes,
            causes=tuple(one.text for one in actions if one.kind == CAUSE),
            cures=tuple(one.text for one in actions if one.kind == CURE),
            notes=tuple(one.text for one in actions if one.kind == NOTE),
            retest=(
                f"{VERDICT_WORDS[retest.overall]}, judged {clock.day(retest.judged_at)}"
                if retest is not None
                else ""
            ),
        )

    def monitored(self) -> tuple[MonitoredLine, ...]:
        from lungwort.paper.period_sheet import MonitoredLine  # noqa: PLC0415 - keeps --help instant

        days: dict[str, set[date]] = {}
        for one in self.snapshot.log_imports:
            if one.outlet_id not in self.outlets or one.start is None or one.end is None:
                continue
            if one.end < self.start or one.start >= self.end:
                continue
            try:
                seen = self._days(one)
            except LungwortError as error:
                self.notes.append(
                    f"The log import {one.id} could not be read, so its days are not counted: "
                    f"{error}"
                )
                continue
            days.setdefault(one.outlet_id, set()).update(seen)
        return tuple(
            MonitoredLine(outlet=self.outlet(outlet_id), days=tuple(sorted(seen)))
            for outlet_id, seen in sorted(days.items(), key=lambda pair: self.outlet(pair[0]))
        )

    def _days(self, one: Any) -> set[date]:  # noqa: ANN401 - a LogImport
        from lungwort.register.store import load_log  # noqa: PLC0415 - keeps --help instant

        log = load_log(self.workspace, [one], start=self.start, end=self.end)
        days: set[date] = set()
        for frame in log.frames():
            local = frame["time"].drop_nulls().dt.convert_time_zone(self.zone.key).dt.date()
            days.update(local.unique().to_list())
        return days

    def cartridges(self) -> tuple[Any, ...]:
        from lungwort.paper.period_sheet import CartridgeLine  # noqa: PLC0415 - keeps --help instant

        stages = {one.id: one.name for one in self.snapshot.stages_of(self.supply.id)}
        lots = {one.id: one.lot_number or one.name for one in self.snapshot.lots}
        return tuple(
            CartridgeLine(
                stage=stages[one.stage_id],
                time=one.time,
                running_hours="" if one.running_hours is None else f"{one.running_hours} h",
                lot=lots.get(one.lot_id or "", ""),
                by=self.who(one.by_id),
            )
            for one in sorted(self.snapshot.cartridge_changes, key=lambda one: one.time)
            if one.stage_id in stages and self.within(one.time)
        )

    def events(self) -> tuple[Any, ...]:
        from lungwort.paper.period_sheet import EventLine  # noqa: PLC0415 - keeps --help instant

        return tuple(
            EventLine(time=one.time, kind=one.kind, text=one.text, by=self.who(one.by_id))
            for one in sorted(self.snapshot.events, key=lambda one: one.time)
            if one.supply_id == self.supply.id and self.within(one.time)
        )
