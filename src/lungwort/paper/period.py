"""The report of a supply over a period: states, verdicts, findings, excursions, trends."""

from __future__ import annotations

from datetime import UTC, timedelta
from itertools import groupby
from typing import TYPE_CHECKING, Any, Final

from lungwort.paper.period_drawing import (
    TIMELINE_LEGEND,
    Mark,
    Stretch,
    TrendPoint,
    timeline,
    trend,
)
from lungwort.paper.sheet import Attached, day_text, json_text, set_pdf
from lungwort.paper.states import STATE_WORDS
from lungwort.paper.text import (
    NO_VALUE,
    VERDICT_WORDS,
    Clock,
    analyte_name,
    count,
    duration,
    grouped,
    month_name,
    number,
    sentence,
    typeset,
    unit_text,
    zone,
)
from lungwort.register.model import DONE, UNDER_TEST, WITHDRAWN
from lungwort.verdict.model import CONFORMS, DOES_NOT_CONFORM, NO_EVIDENCE, NOT_PROVEN

if TYPE_CHECKING:
    from collections.abc import Iterable

    from lungwort.paper.period_sheet import (
        CertificateLine,
        DayTrendLine,
        ExcursionLine,
        FindingLine,
        HandTestLine,
        PeriodSheet,
        TrendLine,
        VerdictLine,
    )

FORMAT: Final = "lungwort-period/1"
ATTACHMENT: Final = "lungwort-period.json"
_MONTHS_A_TABLE: Final = 13
"""A year from day to day touches thirteen months."""


def period_pdf(sheet: PeriodSheet) -> bytes:
    """Set the report of a supply over a period.

    Parameters
    ----------
    sheet : PeriodSheet
        What it says.

    Returns
    -------
    bytes
        A PDF/A-3b file, the same for the same sheet, with what it shows attached as JSON.

    Raises
    ------
    OutputError
        Where the page could not be set.
    """
    data = page_data(sheet)
    return set_pdf(
        "period.typ",
        data,
        title=f"{data['title']}: {sheet.supply}, {data['period']}",
        description=data["headline"],
        dated=sheet.made_at,
        attached=Attached(ATTACHMENT, json_text(FORMAT, sheet), "What this report shows"),
    )


def stretches(sheet: PeriodSheet) -> tuple[Stretch, ...]:
    """Cut the period into stretches of one state.

    Parameters
    ----------
    sheet : PeriodSheet
        The report.

    Returns
    -------
    tuple of Stretch
        In time order and without gaps, up to the moment at which the record was read. Before any
        state was recorded the supply is under test.
    """
    end = min(sheet.end, sheet.made_at)
    if end <= sheet.start:
        return ()
    moments = [(sheet.start, UNDER_TEST)]
    in_order = sorted(sheet.states, key=lambda line: line.time)
    moments += [(max(line.time, sheet.start), line.state) for line in in_order]
    moments = [(moment, state) for moment, state in moments if moment < end]
    ends = [*(moment for moment, _ in moments[1:]), end]
    return tuple(
        Stretch(state, start, until)
        for (start, state), until in zip(moments, ends, strict=True)
        if until > start
    )


def time_withdrawn_s(sheet: PeriodSheet) -> float:
    """Add up how long the supply was withdrawn in the period [s].

    Parameters
    ----------
    sheet : PeriodSheet
        The report.

    Returns
    -------
    float
        Time withdrawn [s].
    """
    return sum(
        (part.end - part.start).total_seconds()
        for part in stretches(sheet)
        if part.state == WITHDRAWN
    )


def page_data(sheet: PeriodSheet) -> dict[str, Any]:
    """Put together what the report says.

    Parameters
    ----------
    sheet : PeriodSheet
        What is known.

    Returns
    -------
    dict
        Texts and lists for the page template.
    """
    clock = Clock.for_period(sheet.zone, sheet.start, sheet.end)
    last = sheet.end - timedelta(seconds=1)
    period = f"{clock.day(sheet.start)} to {clock.day(last)}"
    cut = stretches(sheet)
    return {
        "title": "Breathing air: report of a period",
        "supply": sheet.supply,
        "site_line": f"{sheet.site}, {sheet.site_address}".rstrip(", "),
        "period": period,
        "zone": clock.zone_name,
        "state": cut[-1].state if cut else UNDER_TEST,
        "state_words": STATE_WORDS[cut[-1].state] if cut else "No time of it has passed",
        "state_when": "at its end" if sheet.end <= sheet.made_at else "when the record was read",
        "headline": _headline(sheet),
        "facts": _facts(sheet, clock, cut),
        "timeline": {"svg": _timeline(sheet, cut)},
        "timeline_legend": TIMELINE_LEGEND,
        "states": _states(sheet, clock),
        "verdicts": _verdicts(sheet.verdicts, clock),
        "certificates": _certificates(sheet.certificates, clock),
        "findings": [_finding(line, clock) for line in sheet.findings],
        "excursions": _excursions(sheet.excursions, clock),
        "monitored": _monitored(sheet),
        "trends": [_trend(line) for line in sheet.trends],
        "trend_tables": _trend_tables(sheet.trends),
        "day_trends": _day_trends(sheet.day_trends),
        "tests": _tests(sheet.tests, clock),
        "cartridges": {
            "head": ("Stage", "Changed on", "Hour meter", "Lot", "By"),
            "rows": [
                (line.stage, clock.time(line.time), *_dashed(line.running_hours, line.lot, line.by))
                for line in sheet.cartridges
            ],
        },
        "events": {
            "head": ("When", "Kind", "What", "By"),
            "rows": [
                (clock.time(line.time), line.kind, line.text, line.by) for line in sheet.events
            ],
        },
        "notes": [sentence(typeset(note)) for note in sheet.notes],
        "caution": (
            "This report brings together what is on record. It is no certificate; the standard "
            "itself, local codes and a competent person decide. Days without a log or a test are "
            "days of which nothing is known."
        ),
        "signature": {"name": sheet.prepared_by, "sub": sheet.role},
        "footer": _footer(sheet, clock),
    }


def _dashed(*texts: str) -> tuple[str, ...]:
    return tuple(text or NO_VALUE for text in texts)


def _headline(sheet: PeriodSheet) -> str:
    tally = {
        key: sum(line.overall == key for line in sheet.verdicts)
        for key in (CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN)
    }
    is_open = sum(line.closed_at is None for line in sheet.findings)
    return (
        f"{count(len(sheet.verdicts), 'verdict')}: conforms {tally[CONFORMS]}, "
        f"does not conform {tally[DOES_NOT_CONFORM]}, not proven {tally[NOT_PROVEN]}. "
        f"{count(len(sheet.findings), 'finding')}, of which {is_open} open."
    )


def _facts(sheet: PeriodSheet, clock: Clock, cut: tuple[Stretch, ...]) -> list[tuple[str, str]]:
    withdrawn = time_withdrawn_s(sheet)
    times = sum(part.state == WITHDRAWN for part in cut)
    days = _days_in(sheet)
    seen = {day for line in sheet.monitored for day in line.days}
    done = sum(line.state == DONE for line in sheet.tests)
    return [
        *sheet.supply_facts,
        ("Time withdrawn", f"{duration(withdrawn)}, {count(times, 'time')}" if times else "none"),
        ("Days with a log", f"{len(seen)} of {days}"),
        ("Tests by hand", f"{done} done, {len(sheet.tests) - done} aborted or void"),
        ("Certificates", str(len(sheet.certificates))),
        ("Excursions", grouped(len(sheet.excursions))),
        ("Record read on", f"{clock.time(sheet.made_at)} ({clock.zone_name})"),
    ]


def _days_in(sheet: PeriodSheet) -> int:
    info = zone(sheet.zone)
    first = sheet.start.astimezone(info).date()
    last = (min(sheet.end, sheet.made_at) - timedelta(seconds=1)).astimezone(info).date()
    return max((last - first).days + 1, 0)


def _timeline(sheet: PeriodSheet, cut: tuple[Stretch, ...]) -> str:
    return timeline(
        sheet.start.astimezone(UTC),
        sheet.end.astimezone(UTC),
        zone(sheet.zone),
        states=cut,
        monitored=[(line.outlet, line.days) for line in sheet.monitored],
        marks=[
            ("Verdicts", [Mark(line.time, line.overall) for line in sheet.verdicts]),
            ("Tests by hand", [Mark(line.time, "test") for line in sheet.tests]),
            ("Cartridges changed", [Mark(line.time, "change") for line in sheet.cartridges]),
        ],
    )


def _states(sheet: PeriodSheet, clock: Clock) -> dict[str, Any]:
    lines = sorted(sheet.states, key=lambda line: line.time)
    ends = [*(line.time for line in lines[1:]), min(sheet.end, sheet.made_at)] if lines else []
    return {
        "head": ("From", "State", "Lasted", "Why", "By"),
        "rows": [
            (
                clock.time(line.time),
                STATE_WORDS.get(line.state, line.state),
                duration(max((until - line.time).total_seconds(), 0.0)),
                typeset(line.why),
                line.by,
            )
            for line, until in zip(lines, ends, strict=True)
        ],
    }


def _verdicts(lines: Iterable[VerdictLine], clock: Clock) -> dict[str, Any]:
    return {
        "head": ("Judged", "Outlet", "Verdict", "Why", "Certificate"),
        "rows": [
            (
                clock.time(line.time),
                line.outlet,
                {"key": line.overall, "words": VERDICT_WORDS[line.overall]},
                # What conforms needs no reasons here: the table of values above has them.
                "" if line.overall == CONFORMS else typeset(" ".join(map(sentence, line.reasons))),
                line.certificate or NO_VALUE,
            )
            for line in sorted(lines, key=lambda line: line.time)
        ],
    }


def _certificates(lines: Iterable[CertificateLine], clock: Clock) -> dict[str, Any]:
    return {
        "head": ("Number", "Issued", "Outlet", "By", "Next test by", "Remark"),
        "rows": [
            (
                line.number,
                clock.time(line.issued_at),
                line.outlet,
                line.issued_by,
                day_text(line.next_test_by, "not set"),
                line.remark,
            )
            for line in sorted(lines, key=lambda line: line.issued_at)
        ],
    }


def _tests(lines: Iterable[HandTestLine], clock: Clock) -> dict[str, Any]:
    return {
        "head": ("Ended", "Outlet", "Procedure", "By", "State", "What it says"),
        "rows": [
            (
                clock.time(line.time),
                line.outlet,
                line.procedure,
                line.tester,
                line.state,
                typeset("; ".join(line.readings)) if line.state == DONE else sentence(line.why),
            )
            for line in sorted(lines, key=lambda line: line.time)
        ],
    }


def _finding(line: FindingLine, clock: Clock) -> dict[str, Any]:
    closed = clock.time(line.closed_at) if line.closed_at else "STILL OPEN"
    lasted = ""
    if line.closed_at:
        lasted = f", open for {duration((line.closed_at - line.opened_at).total_seconds())}"
    return {
        "number": line.number,
        "text": sentence(typeset(line.text)),
        "open": line.closed_at is None,
        "facts": [
            ("Opened", clock.time(line.opened_at)),
            ("Of", ", ".join(map(analyte_name, line.analytes)) or NO_VALUE),
            ("Cause", " ".join(map(sentence, line.causes)) or "not on record"),
            ("Cure", " ".join(map(sentence, line.cures)) or "not on record"),
            *((("Notes", " ".join(map(sentence, line.notes))),) if line.notes else ()),
            ("Retest", line.retest or "none on record"),
            ("Closed", f"{closed}{lasted}"),
        ],
    }


def _excursions(lines: Iterable[ExcursionLine], clock: Clock) -> dict[str, Any]:
    def group(line: ExcursionLine) -> tuple[str, str, float, str]:
        return line.analyte, line.direction, line.limit, line.unit

    rows = []
    for (analyte, direction, limit, unit), grouping in groupby(
        sorted(lines, key=lambda line: (*group(line), line.start)), key=group
    ):
        of_it = list(grouping)
        longest = max(of_it, key=lambda line: line.duration_s)
        peaks = [line for line in of_it if line.peak is not None]
        furthest = max(
            peaks,
            key=lambda line: abs((line.peak or 0.0) - line.limit),
            default=None,
        )
        rows.append(
            (
                analyte_name(analyte),
                f"{direction} {number(limit)} {unit_text(unit)}",
                grouped(len(of_it)),
                duration(sum(line.duration_s for line in of_it)),
                f"{duration(longest.duration_s)}, {clock.time(longest.start)}",
                f"{number(furthest.peak)} {unit_text(unit)}, {clock.time(furthest.start)}"
                if furthest
                else NO_VALUE,
                ", ".join(sorted({line.outlet for line in of_it})),
            )
        )
    return {
        "head": ("Of", "Outside", "How many", "In all", "Longest", "Furthest", "Outlets"),
        "rows": rows,
    }


def _monitored(sheet: PeriodSheet) -> dict[str, Any]:
    days = _days_in(sheet)
    rows = []
    for line in sheet.monitored:
        seen = set(line.days)
        share = 100.0 * len(seen) / days if days else 0.0
        first, last = (min(seen), max(seen)) if seen else (None, None)
        rows.append(
            (
                line.outlet,
                grouped(len(seen)),
                grouped(max(days - len(seen), 0)),
                f"{number(share, 3)} %",
                f"{day_text(first)} to {day_text(last)}" if seen else NO_VALUE,
            )
        )
    return {
        "head": ("Outlet", "Days with a log", "Days without", "Share", "First and last"),
        "rows": rows,
        "numeric": (1, 2, 3),
    }


def _trend(line: TrendLine) -> dict[str, Any]:
    return {
        "title": analyte_name(line.analyte) + ("" if line.required else " (advice)"),
        "limit": typeset(line.limit),
        "svg": trend(line.points, line.unit, line.lower, line.upper),
    }


def _day_trends(lines: tuple[DayTrendLine, ...]) -> dict[str, Any]:
    return {
        "head": [
            *("Outlet", "Of what", "Days", "Trend", "Change in 30 days", "Limit"),
            "Reached on about",
        ],
        "rows": [
            [
                line.outlet,
                f"{line.name}, {line.figure}",
                str(line.days),
                line.word,
                typeset(line.change),
                typeset(line.limit),
                line.reached,
            ]
            for line in lines
        ],
        "numeric": [2],
    }


def _trend_tables(lines: tuple[TrendLine, ...]) -> list[dict[str, Any]]:
    months = sorted({point.month for line in lines for point in line.points})
    tables = []
    for at in range(0, len(months), _MONTHS_A_TABLE):
        part = months[at : at + _MONTHS_A_TABLE]
        rows = []
        for line in lines:
            by_month = {point.month: point for point in line.points}
            cells = [_trend_cell(by_month.get(month)) for month in part]
            name = analyte_name(line.analyte) + ("" if line.required else " (advice)")
            rows.append({"name": name, "limit": typeset(line.limit), "cells": cells})
        tables.append(
            {
                "months": [f"{month_name(month.month)} {month.year}" for month in part],
                "rows": rows,
            }
        )
    return tables


def _trend_cell(point: TrendPoint | None) -> dict[str, Any]:
    if point is None or (point.verdict == NO_EVIDENCE and not point.text):
        return {"text": NO_VALUE, "outside": False}
    outside = point.verdict == DOES_NOT_CONFORM
    words = "" if point.verdict in {CONFORMS, DOES_NOT_CONFORM} else VERDICT_WORDS[point.verdict]
    text = typeset(point.text) or VERDICT_WORDS[point.verdict].lower()
    if words and point.text:
        text += f" ({words.lower()})"
    return {"text": text, "outside": outside}


def _footer(sheet: PeriodSheet, clock: Clock) -> str:
    parts = [f"Record: {sheet.workspace_name}, read on {clock.time(sheet.made_at)}"]
    if sheet.tree_root:
        parts.append(f"journal of {grouped(sheet.tree_size)} entries, head {sheet.tree_root}")
    return ", ".join(parts)
