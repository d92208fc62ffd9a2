"""What the report says, in the order it says it; paper and page only set it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import asdict, frozen

from lungwort.limits.model import FROM_MEMORY
from lungwort.paper import method, tables
from lungwort.paper.chart import Chart, charts
from lungwort.paper.icons import legend
from lungwort.paper.text import (
    ENDED_WORDS,
    NO_VALUE,
    VERDICT_MEANING,
    VERDICT_WORDS,
    Clock,
    analyte_name,
    count,
    duration,
    grouped,
    number,
    percent,
    sentence,
    typeset,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from lungwort.verdict.model import Excursion, Finding, Verdict

MOST_EXCURSIONS: Final = 100
"""Excursions that paper and page print; all of them are in the JSON and the workbook."""


@frozen
class Cover:
    """What goes on the first page and in the signature block; empty ones are left to fill in.

    Parameters
    ----------
    site, supply, outlet : str
        Where the air was taken; an empty outlet is taken from the log.
    reference : str
        The reader's own number for the report.
    prepared_for : str
        Who gets it.
    competent_person, role : str
        Who signs, and in which role.
    """

    site: str = ""
    supply: str = ""
    outlet: str = ""
    reference: str = ""
    prepared_for: str = ""
    competent_person: str = ""
    role: str = ""


@frozen
class FindingRow:
    """One limit as a row of the table of findings."""

    analyte: str
    limit: str
    worst: str
    when: str
    margin: str
    outside: str
    verdict: str
    words: str
    marks: str
    advice: bool
    reason: str
    remarks: tuple[str, ...]


@frozen
class ExcursionRow:
    """One excursion as a row; ``details`` are sentences that go beneath it."""

    number: str
    analyte: str
    side: str
    start: str
    end: str
    duration: str
    peak: str
    mean: str
    integral: str
    samples: str
    ended: str
    details: tuple[str, ...]


@frozen
class Report:
    """Everything that the report says. Text is plain: whoever sets it escapes it."""

    title: str
    place: str
    verdict: str
    verdict_words: str
    meaning: str
    against: str
    period: str
    timed: bool
    zone: str
    facts: tuple[tuple[str, str], ...]
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]
    findings: tuple[FindingRow, ...]
    marks: tuple[tuple[str, str], ...]
    excursions: tuple[ExcursionRow, ...]
    excursions_note: str
    charts: tuple[Chart, ...]
    legend: tuple[tuple[str, str], ...]
    charts_note: str
    not_judged: tables.Table
    not_judged_note: str
    refused: tables.Table
    columns_not_used: tuple[str, ...]
    coverage: tables.Table
    method: tuple[tuple[str, str], ...]
    uncertainties: tables.Table
    spots: tables.Table
    limits: tables.Table
    limit_remarks: tuple[str, ...]
    sources: tuple[tables.SourceRow, ...]
    channels: tables.Table
    notes: tuple[str, ...]
    signature: tuple[tuple[str, str], ...]
    judged_at: str
    version: str
    digest: str


def report(
    verdict: Verdict, digest: str, cover: Cover | None = None, *, with_charts: bool = True
) -> Report:
    """Put together what the report says.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    digest : str
        SHA-256 of the result's JSON.
    cover : Cover, optional
        What goes on the first page.
    with_charts : bool
        Whether to draw the charts, which a terminal cannot show.

    Returns
    -------
    Report
        The report's content.
    """
    cover = cover or Cover()
    log = verdict.log
    clock = Clock.for_period(verdict.shown_zone, verdict.start, verdict.end)
    drawn = charts(verdict, clock) if with_charts else ()
    shown = verdict.excursions[:MOST_EXCURSIONS]
    place = cover.outlet or (log.outlet if log else "")
    return Report(
        title="Breathing air: verdict and evidence",
        place=place or "Outlet not named",
        verdict=verdict.overall,
        verdict_words=VERDICT_WORDS[verdict.overall],
        meaning=VERDICT_MEANING[verdict.overall],
        against=against(verdict),
        period=clock.span(verdict.start, verdict.end) if log else "Hand tests only, no log",
        timed=log is not None,
        zone=clock.zone_name,
        facts=_facts(verdict, cover, place, clock),
        reasons=tuple(map(sentence, verdict.reasons)),
        cautions=verdict.cautions,
        findings=tuple(_finding(finding, clock) for finding in verdict.findings),
        marks=_marks(verdict),
        excursions=tuple(_excursion(i, item, clock) for i, item in enumerate(shown, start=1)),
        excursions_note=_excursions_note(verdict),
        charts=drawn,
        legend=legend(frozenset().union(*(chart.marks for chart in drawn))),
        charts_note=_charts_note(verdict, clock),
        not_judged=tables.not_judged(verdict, clock),
        not_judged_note=tables.not_judged_note(verdict),
        refused=tables.refused(verdict),
        columns_not_used=log.columns_not_used if log else (),
        coverage=tables.coverage(verdict),
        method=method.sentences(verdict),
        uncertainties=tables.uncertainties(verdict),
        spots=tables.spots(verdict.spots, clock),
        limits=tables.limits(verdict),
        limit_remarks=verdict.limit_set.remarks,
        sources=tables.sources(verdict),
        channels=tables.channels(verdict),
        notes=tuple(map(sentence, _notes(verdict))),
        signature=(
            ("Name", cover.competent_person),
            ("Role", cover.role),
            ("Date", ""),
            ("Signature", ""),
        ),
        judged_at=clock.time(verdict.judged_at) if verdict.judged_at else "not stated",
        version=verdict.version,
        digest=digest,
    )


def _notes(verdict: Verdict) -> tuple[str, ...]:
    log = verdict.log
    if log is None:
        return verdict.notes
    doubts = tuple(f"Doubt about the log: {doubt}" for doubt in log.all_doubts)
    return (*doubts, *verdict.notes, *log.notes)


_DRAWN: Final = frozenset({"svg", "legend"})
_AS_FOUND: Final = frozenset(
    {"refused", "columns_not_used", "spots", "sources", "channels", "digest"}
)


def plain(made: Report, show: Callable[[str], str]) -> dict[str, Any]:
    """Turn the report into plain data, each text passed through a function.

    Parameters
    ----------
    made : Report
        The report.
    show : callable
        Makes a text fit for where it goes.

    Returns
    -------
    dict
        Dictionaries, lists, strings and numbers. Drawings are left alone; units are written as
        print does, save in what is quoted from a file or a user.
    """

    def walk(value: Any, key: str, *, quoted: bool) -> Any:  # noqa: ANN401 - data of any depth
        quoted = quoted or key in _AS_FOUND
        if key in _DRAWN:
            return value
        if isinstance(value, str):
            return show(value if quoted else typeset(value))
        if isinstance(value, dict):
            return {name: walk(part, name, quoted=quoted) for name, part in value.items()}
        if isinstance(value, frozenset):
            return sorted(value)
        if isinstance(value, list | tuple):
            return [walk(part, "", quoted=quoted) for part in value]
        return value

    made_plain: dict[str, Any] = walk(asdict(made), "", quoted=False)
    return made_plain


def against(verdict: Verdict) -> str:
    """Name the limits of a verdict with document and edition, each once."""
    limits = verdict.limit_set
    named = limits.title
    if limits.document not in named:
        named += f" ({limits.document})"
    return named if limits.edition in named else f"{named}, edition {limits.edition}"


def _facts(verdict: Verdict, cover: Cover, place: str, clock: Clock) -> tuple[tuple[str, str], ...]:
    log, conditions, limits = verdict.log, verdict.conditions, verdict.limit_set
    pressure, lowest = conditions.supply_pressure_bar_g, conditions.lowest_temperature_c
    facts = [
        ("Site", cover.site),
        ("Supply", cover.supply),
        ("Outlet", place),
        ("Time zone", _zone(verdict, clock) if log else ""),
        ("Supply pressure", f"{number(pressure)} bar(g)" if pressure is not None else "not given"),
        ("Lowest temperature", f"{number(lowest)} °C" if lowest is not None else "not given"),
    ]
    if log:
        spaced = f", one every {duration(log.interval_s)}" if log.interval_s else ""
        facts.append(("Readings in time", f"{grouped(log.rows)}{spaced}"))
    facts += [
        ("Limit set", f"{limits.id} ({limits.origin})"),
        ("Digest of the limit set", limits.digest),
        ("Reference", cover.reference),
        ("Prepared for", cover.prepared_for),
        ("Judged at", clock.time(verdict.judged_at) if verdict.judged_at else "not stated"),
    ]
    return tuple((label, value) for label, value in facts if value or label in _TO_FILL_IN)


_TO_FILL_IN: Final = frozenset({"Site", "Supply", "Outlet"})


def _zone(verdict: Verdict, clock: Clock) -> str:
    stated = verdict.shown_zone != "UTC" if verdict.log is None else verdict.log.zone_stated
    if stated:
        return clock.zone_name
    return f"{clock.zone_name} (assumed: neither the file nor the user stated one)"


def worst_text(finding: Finding) -> str:
    """Show the worst value of a limit, and as it was logged where that differs."""
    worst = finding.worst
    if worst is None:
        return NO_VALUE
    in_limit_unit = f"{number(worst.value)} {worst.unit}".strip()
    if worst.logged_unit:
        logged = worst.text or f"{number(worst.logged_value)} {worst.logged_unit}"
        return f"{in_limit_unit} (logged as {logged})"
    return worst.text or in_limit_unit


def _finding(finding: Finding, clock: Clock) -> FindingRow:
    limit, worst = finding.limit, finding.worst
    marks = ("" if limit.required else "A") + ("M" if limit.status == FROM_MEMORY else "")
    how, unsettled = finding.allowed.how, finding.allowed.open_reason
    remarks = (unsettled, *finding.remarks) if unsettled else finding.remarks
    return FindingRow(
        analyte=analyte_name(limit.analyte),
        limit=finding.limit_text + (f" ({how})" if how not in finding.limit_text else ""),
        worst=worst_text(finding),
        when=clock.time(worst.time) if worst else NO_VALUE,
        margin=number(finding.margin, 3) + (f" {limit.unit}" if finding.margin is not None else ""),
        outside=percent(finding.share_outside),
        verdict=finding.verdict,
        words=VERDICT_WORDS[finding.verdict] + ("" if limit.required else " (advice)"),
        marks=marks,
        advice=not limit.required,
        reason=sentence(finding.reason),
        remarks=tuple(sentence(one) for one in remarks if one not in finding.reason),
    )


def _marks(verdict: Verdict) -> tuple[tuple[str, str], ...]:
    limits = [finding.limit for finding in verdict.findings]
    marks = [("A", "advice: shown, and never decides the verdict")] * any(
        not limit.required for limit in limits
    )
    marks += [("M", "number from memory: check it against your own copy of the document")] * any(
        limit.status == FROM_MEMORY for limit in limits
    )
    return tuple(marks)


def _excursion(place: int, item: Excursion, clock: Clock) -> ExcursionRow:
    return ExcursionRow(
        number=str(place),
        analyte=analyte_name(item.analyte),
        side=f"{item.direction} {number(item.limit)} {item.unit}",
        start=clock.time(item.start),
        end=clock.time(item.end),
        duration=duration(item.duration_s),
        peak=f"{number(item.peak)} {item.unit}",
        mean=f"{number(item.mean)} {item.unit}",
        integral=f"{number(item.integral, 3)} {item.unit}·h",
        samples=grouped(item.samples),
        ended=ENDED_WORDS[item.ended_by],
        details=tuple(excursion_details(item, clock.time)),
    )


def excursion_details(item: Excursion, shown: Callable[[datetime | None], str]) -> list[str]:
    """Say what must be known of an excursion beside its numbers.

    Parameters
    ----------
    item : Excursion
        The excursion.
    shown : callable
        Shows a time.

    Returns
    -------
    list of str
        Sentences.
    """
    details = [f"Peak at {shown(item.peak_time)}."]
    if item.begins_after_gap:
        since = f" after {shown(item.may_have_begun)}" if item.may_have_begun else ""
        details.append(f"Follows a gap: it may have begun earlier{since}.")
    if item.may_have_lasted:
        details.append(f"A gap follows: it may have lasted until {shown(item.may_have_lasted)}.")
    if item.suspect_samples:
        details.append(f"{count(item.suspect_samples, 'reading')} in it flagged suspect.")
    if item.clear_of_uncertainty is not None:
        stands = "stands" if item.clear_of_uncertainty else "does not stand"
        details.append(f"The peak {stands} clear of the uncertainty.")
    return details


def _excursions_note(verdict: Verdict) -> str:
    total = len(verdict.excursions)
    if total == 0:
        if verdict.log is None:
            return "There is no log, so no excursion could be looked for."
        shortest = verdict.options.min_excursion_s
        if shortest > 0:
            return f"No excursion of at least {duration(shortest)} was found; shorter ones count all the same."
        return "No excursion was found among the judged readings."
    if total > MOST_EXCURSIONS:
        return (
            f"{grouped(total)} excursions were found. The first {MOST_EXCURSIONS} in time are "
            f"printed here, {grouped(total - MOST_EXCURSIONS)} are not. All of them are in the "
            "result file (JSON) and in the workbook."
        )
    return f"{count(total, 'excursion')} in time order."


def _charts_note(verdict: Verdict, clock: Clock) -> str:
    if verdict.log is None:
        return ""
    return (
        f"Times in {clock.zone_name}. Each plot shows the least and the greatest reading in every "
        "step, so that no peak is lost. The line is not drawn across gaps."
    )
