"""The report as a workbook: numbers as numbers, times as times, text never as a formula."""

from __future__ import annotations

import io
import math
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final

from lungwort.paper import content, method, tables
from lungwort.paper.envelope import Envelope, envelopes, from_us, shown_period
from lungwort.paper.text import (
    ENDED_WORDS,
    VERDICT_MEANING,
    VERDICT_WORDS,
    Clock,
    analyte_name,
    typeset,
    unit_text,
    visible,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from lungwort.limits.model import Bound
    from lungwort.logs.model import Channel, Log
    from lungwort.paper.content import Cover
    from lungwort.verdict.model import Excursion, Finding, Verdict

    Cell = str | float | int | bool | Decimal | date | datetime | None

MOST_ROWS: Final = 1_000_000
"""Rows a sheet takes; the form ends at 1 048 576 (ECMA-376), and a reader needs a few for notes."""
READING_STEPS: Final = 2000
_WIDEST: Final = 70
_LONGEST_CELL: Final = 32_767
_CUT: Final = " [cut short]"


class Book:
    """A workbook with the few formats that the papers need.

    Parameters
    ----------
    clock : Clock
        Shows times in the site's zone.
    dated : datetime, optional
        Date of the file, UTC.
    title : str
        What the file says of itself.
    elsewhere : str
        Where the rows are that a sheet has no room for.
    """

    def __init__(
        self,
        clock: Clock,
        dated: datetime | None,
        *,
        title: str = "Breathing air: verdict",
        elsewhere: str = "the JSON result has all",
    ) -> None:
        import xlsxwriter  # noqa: PLC0415 - only needed here

        self.clock = clock
        self.elsewhere = elsewhere
        self.buffer = io.BytesIO()
        self.file = xlsxwriter.Workbook(
            self.buffer,
            {
                "in_memory": True,
                "strings_to_formulas": False,
                "strings_to_urls": False,
                "strings_to_numbers": False,
                "default_date_format": "yyyy-mm-dd hh:mm:ss",
            },
        )
        # Without a date the file would carry the moment of writing and differ every time.
        created = dated.replace(tzinfo=None) if dated else datetime(2000, 1, 1)  # noqa: DTZ001
        self.file.set_properties({"title": title, "created": created})
        self.head = self.file.add_format(
            {"bold": True, "text_wrap": True, "valign": "top", "bottom": 1, "bg_color": "#f3f1ec"}
        )
        self.wrap = self.file.add_format({"text_wrap": True, "valign": "top"})
        self.bold = self.file.add_format({"bold": True, "valign": "top", "text_wrap": True})
        self.top = self.file.add_format({"valign": "top"})
        self.day = self.file.add_format({"num_format": "yyyy-mm-dd", "valign": "top"})
        self.time = self.file.add_format({"num_format": "yyyy-mm-dd hh:mm:ss", "valign": "top"})

    def sheet(self, name: str, head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Any:  # noqa: ANN401 - no types in xlsxwriter
        """Write a sheet with a heading that stays in sight and filters."""
        page = self.file.add_worksheet(name)
        widths = [len(title) * 0.75 for title in head]
        for column, title in enumerate(head):
            page.write_string(0, column, title, self.head)
        total = 0
        for total, row in enumerate(rows, start=1):
            if total > MOST_ROWS:
                page.write_string(
                    total, 0, f"More rows were left out here; {self.elsewhere}.", self.bold
                )
                break
            for column, value in enumerate(row):
                widths[column] = max(widths[column], self.write(page, total, column, value))
        for column, width in enumerate(widths):
            page.set_column(column, column, min(max(width + 2, 8), _WIDEST))
        page.freeze_panes(1, 0)
        if total:
            page.autofilter(0, 0, min(total, MOST_ROWS), len(head) - 1)
        page.set_landscape()
        page.set_paper(9)
        page.fit_to_pages(1, 0)
        page.repeat_rows(0)
        return page

    def write(self, page: Any, row: int, column: int, value: Cell) -> int:  # noqa: ANN401
        """Write one cell by its kind and tell how wide it is [characters]."""
        if value is None:
            page.write_blank(row, column, None, self.top)
            return 0
        if isinstance(value, bool):
            page.write_string(row, column, "yes" if value else "no", self.top)
            return 3
        if isinstance(value, datetime):
            local = self.clock.local(value).replace(tzinfo=None)
            page.write_datetime(row, column, local, self.time)
            return 18
        if isinstance(value, date):
            page.write_datetime(row, column, value, self.day)
            return 10
        if isinstance(value, int | float | Decimal):
            if not math.isfinite(value):
                return self.write(page, row, column, None)
            page.write_number(row, column, value, self.top)
            return 10
        text = visible(value)
        if len(text) > _LONGEST_CELL:
            text = text[: _LONGEST_CELL - len(_CUT)] + _CUT
        page.write_string(row, column, text, self.wrap)
        return min(len(text), _WIDEST)

    def close(self) -> bytes:
        """Finish the workbook and give its bytes."""
        self.file.close()
        return self.buffer.getvalue()


def to_xlsx(verdict: Verdict, cover: Cover | None = None) -> bytes:
    """Write the report of a verdict as a workbook.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    cover : Cover, optional
        What goes on the first sheet.

    Returns
    -------
    bytes
        An XLSX file with the sheets Verdict, Limits, Excursions, Not judged, Coverage, Readings,
        Hand tests, Sources and Notes. Times are in the site's zone, which their headings name.
    """
    from lungwort.paper.result import digest, to_json  # noqa: PLC0415 - pydantic is heavy

    log = verdict.log
    clock = Clock.for_period(verdict.shown_zone, verdict.start, verdict.end)
    book = Book(clock, verdict.judged_at)
    zone = clock.zone_name
    book.sheet("Verdict", ("What", "Value"), _verdict(verdict, cover, digest(to_json(verdict))))
    book.sheet("Limits", _limit_head(zone), map(_limit, verdict.findings))
    numbered = enumerate(verdict.excursions, start=1)
    book.sheet("Excursions", _excursion_head(zone), (_excursion(i, item) for i, item in numbered))
    book.sheet(
        "Not judged",
        ("Cause", "Channel", f"From ({zone})", f"To ({zone})", "Readings", "What", "Outside of"),
        (
            (
                part.cause,
                part.channel or "all channels",
                part.start,
                part.end,
                part.readings,
                part.text,
                ", ".join(part.outside),
            )
            for part in verdict.not_judged
        ),
    )
    book.sheet("Coverage", _COVERAGE_HEAD, _coverage(verdict))
    period = shown_period(verdict)
    if log is not None and period is not None:
        made = envelopes(log, log.channels, *period, READING_STEPS)
        book.sheet("Readings", _reading_head(log, zone), _readings(log, made))
    book.sheet(
        "Hand tests",
        ("Analyte", "Shown", "Done with", f"When ({zone})", "As entered", "Remark"),
        (
            (
                analyte_name(spot.analyte),
                tables.spot_value(spot),
                spot.means,
                spot.time,
                spot.given,
                spot.remark,
            )
            for spot in verdict.spots
        ),
    )
    book.sheet("Sources", _SOURCE_HEAD, _sources(verdict))
    book.sheet("Notes", ("Kind", "Text"), _notes(verdict))
    return book.close()


def _verdict(verdict: Verdict, cover: Cover | None, digest: str) -> list[tuple[str, Cell]]:
    cover = cover or content.Cover()
    log, limits, conditions = verdict.log, verdict.limit_set, verdict.conditions
    return [
        ("Verdict", VERDICT_WORDS[verdict.overall]),
        ("What that means", VERDICT_MEANING[verdict.overall]),
        *(("Reason", typeset(reason)) for reason in verdict.reasons),
        *(("Before acting on this", caution) for caution in verdict.cautions),
        ("Site", cover.site),
        ("Supply", cover.supply),
        ("Outlet", cover.outlet or (log.outlet if log else "")),
        ("Reference", cover.reference),
        ("Prepared for", cover.prepared_for),
        ("From", verdict.start),
        ("To", verdict.end),
        ("Time zone", verdict.shown_zone),
        ("Limit set", limits.id),
        ("Limits", limits.title),
        ("Document", limits.document),
        ("Edition", limits.edition),
        ("Digest of the limit set (SHA-256)", limits.digest),
        ("Supply pressure [bar(g)]", conditions.supply_pressure_bar_g),
        ("Lowest temperature [°C]", conditions.lowest_temperature_c),
        ("Judged at", verdict.judged_at),
        ("Version of lungwort", verdict.version),
        ("Result as JSON (SHA-256)", digest),
    ]


def _limit_head(zone: str) -> tuple[str, ...]:
    return (
        "Analyte",
        "Verdict",
        "Limit",
        "Lower [unit]",
        "Upper [unit]",
        "Unit",
        "Worst value [unit]",
        "Worst, as shown",
        f"When ({zone})",
        "Margin [unit]",
        "Share of time outside [0 to 1]",
        "Probability that it conforms [0 to 1]",
        "U, k = 2 [unit]",
        "Where U comes from",
        "Coverage [0 to 1]",
        "Required",
        "Standing of the number",
        "Clause",
        "Source",
        "Reason",
        "Remarks",
    )


def _number(bound: Bound | None) -> float | None:
    return bound.value if bound else None


def _limit(finding: Finding) -> tuple[Cell, ...]:
    limit, worst = finding.limit, finding.worst
    return (
        analyte_name(limit.analyte),
        VERDICT_WORDS[finding.verdict] + ("" if limit.required else " (advice)"),
        typeset(finding.limit_text),
        _number(finding.allowed.lower),
        _number(finding.allowed.upper),
        unit_text(limit.unit),
        worst.value if worst else None,
        typeset(worst.text) if worst else None,
        worst.time if worst else None,
        finding.margin,
        finding.share_outside,
        finding.probability,
        finding.uncertainty,
        finding.uncertainty_source,
        finding.coverage.share if finding.coverage else None,
        limit.required,
        limit.status,
        limit.clause,
        limit.source,
        typeset(finding.reason),
        typeset(" ".join((*finding.remarks, limit.remark)).strip()),
    )


def _excursion_head(zone: str) -> tuple[str, ...]:
    return (
        "No.",
        "Analyte",
        "Channel",
        "Direction",
        f"From ({zone})",
        f"To ({zone})",
        "Lasted [s]",
        "Peak [unit]",
        f"Peak at ({zone})",
        "Mean [unit]",
        "Limit [unit]",
        "Unit",
        "Beyond the limit [unit x h]",
        "Readings",
        "Of these suspect",
        "Ended by",
        "Begins after a gap",
        f"May have begun after ({zone})",
        f"May have lasted until ({zone})",
        "Clear of the uncertainty",
    )


def _excursion(place: int, item: Excursion) -> tuple[Cell, ...]:
    return (
        place,
        analyte_name(item.analyte),
        item.channel,
        item.direction,
        item.start,
        item.end,
        item.duration_s,
        item.peak,
        item.peak_time,
        item.mean,
        item.limit,
        unit_text(item.unit),
        item.integral,
        item.samples,
        item.suspect_samples,
        ENDED_WORDS[item.ended_by],
        item.begins_after_gap,
        item.may_have_begun,
        item.may_have_lasted,
        item.clear_of_uncertainty,
    )


_COVERAGE_HEAD: Final = (
    "Channel",
    "Covered [0 to 1]",
    "Readings",
    "Usable",
    "Settling",
    "Suspect",
    "Bad",
    "Missing",
    "Undecided",
)


def _coverage(verdict: Verdict) -> list[tuple[Cell, ...]]:
    return [
        (
            part.channel,
            part.share,
            part.readings,
            part.usable,
            part.settling,
            part.suspect,
            part.bad,
            part.missing,
            part.undecided,
        )
        for part in verdict.coverage
    ]


def _reading_head(log: Log, zone: str) -> tuple[str, ...]:
    head = [f"Step from ({zone})"]
    for channel in log.channels:
        unit = unit_text(channel.unit)
        head += [
            f"{visible(channel.name)}, least [{unit}]",
            f"{visible(channel.name)}, greatest [{unit}]",
        ]
    return tuple(head)


def _readings(log: Log, made: dict[str, Envelope]) -> Iterable[tuple[Cell, ...]]:
    columns: list[Channel] = list(log.channels)
    any_made = made[columns[0].name] if columns else None
    if any_made is None:
        return
    for bucket, edge in enumerate(any_made.edges_us.tolist()):
        row: list[Cell] = [from_us(edge)]
        for channel in columns:
            part = made[channel.name]
            held = part.usable[bucket] > 0
            row += [float(part.low[bucket]), float(part.high[bucket])] if held else [None, None]
        yield tuple(row)


_SOURCE_HEAD: Final = (
    "File",
    "SHA-256",
    "Size [bytes]",
    "Rows read",
    "Rows used",
    "Rows refused",
    "Cause",
    "Rows of this cause",
    "First lines",
    "Text of the first",
    "Layout",
)


def _sources(verdict: Verdict) -> Iterable[tuple[Cell, ...]]:
    for source in verdict.log.sources if verdict.log else ():
        yield (
            source.name,
            source.sha256,
            source.size_bytes,
            source.rows_read,
            source.rows_used,
            source.rows_refused,
            None,
            None,
            None,
            None,
            source.recipe,
        )
        for refusal in source.refusals:
            lines = ", ".join(map(str, refusal.first_lines))
            yield (
                source.name,
                *(None,) * 5,
                refusal.cause,
                refusal.rows,
                lines,
                refusal.sample,
                None,
            )


def _notes(verdict: Verdict) -> Iterable[tuple[Cell, ...]]:
    log = verdict.log
    for doubt in log.all_doubts if log else ():
        yield "Doubt about the log", doubt
    for note in (*verdict.notes, *(log.notes if log else ())):
        yield "Note", note
    for heading, words in method.sentences(verdict):
        yield f"How it was judged: {heading}", words
    for remark in verdict.limit_set.remarks:
        yield "Limit set", remark
    for name in log.columns_not_used if log else ():
        yield "Column not used", name
    if log is not None:
        steps = (
            "The sheet Readings has the least and the greatest usable reading in at most "
            f"{READING_STEPS} steps of the period, not every reading. The logger's files have all."
        )
        yield "Readings", steps
