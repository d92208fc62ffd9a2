"""The plain tables of the report."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.limits.model import ANY_READING
from lungwort.paper.text import (
    NO_VALUE,
    Clock,
    analyte_name,
    grouped,
    number,
    percent,
    sentence,
    typeset,
    unit_text,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.spot.model import SpotTest
    from lungwort.verdict.model import Finding, NotJudged, Verdict

MOST_NOT_JUDGED: Final = 60

Row = tuple[str, ...]


@frozen
class SourceRow:
    """One file that was read."""

    name: str
    sha256: str
    rows: str
    used: str
    refused: str
    recipe: str


@frozen
class Table:
    """A plain table.

    Parameters
    ----------
    head : tuple of str
        Headings, with units.
    rows : tuple of tuple of str
        Cells.
    numeric : tuple of int
        Columns that hold numbers and stand to the right.
    """

    head: Row
    rows: tuple[Row, ...]
    numeric: tuple[int, ...] = ()


def not_judged(verdict: Verdict, clock: Clock) -> Table:
    """List what did not enter the verdict."""
    rows = []
    for part in _in_time(verdict)[:MOST_NOT_JUDGED]:
        told = f" Readings outside in it: {'; '.join(part.outside)}." if part.outside else ""
        rows.append(
            (
                part.cause,
                part.channel or "all channels",
                clock.span(part.start, part.end),
                grouped(part.readings),
                sentence(part.text) + told,
            )
        )
    return Table(("Cause", "Channel", "From and to", "Readings", "What it was"), tuple(rows), (3,))


def _in_time(verdict: Verdict) -> tuple[NotJudged, ...]:
    # Refused rows have a table of their own, with their text.
    told = bool(verdict.log and any(source.refusals for source in verdict.log.sources))
    return tuple(part for part in verdict.not_judged if not (told and part.cause == "refused"))


def not_judged_note(verdict: Verdict) -> str:
    """Say what the list of what was not judged leaves open."""
    total = len(_in_time(verdict))
    if total == 0:
        if verdict.log is None:
            return "There is no log, so there are no readings that were left out."
        if any(part.usable < part.readings for part in verdict.coverage):
            return "No stretch of time was left out. The readings not used are counted below."
        return "Every reading in the period was judged."
    if total > MOST_NOT_JUDGED:
        return (
            f"The first {MOST_NOT_JUDGED} of {grouped(total)} entries are printed here. All of "
            "them are in the result file (JSON) and in the workbook."
        )
    return ""


def refused(verdict: Verdict) -> Table:
    """List the rows that could not be read, by file and cause."""
    rows = [
        (
            source.name,
            refusal.cause,
            grouped(refusal.rows),
            ", ".join(map(str, refusal.first_lines)) or NO_VALUE,
            refusal.sample or NO_VALUE,
        )
        for source in (verdict.log.sources if verdict.log else ())
        for refusal in source.refusals
    ]
    return Table(("File", "Cause", "Rows", "First lines", "Text of the first"), tuple(rows), (2,))


def coverage(verdict: Verdict) -> Table:
    """List the coverage of each channel."""
    rows = [
        (
            part.channel,
            percent(part.share),
            *(
                grouped(value)
                for value in (
                    part.readings,
                    part.usable,
                    part.settling,
                    part.suspect,
                    part.bad,
                    part.missing,
                    part.undecided,
                )
            ),
        )
        for part in verdict.coverage
    ]
    head = (
        "Channel",
        "Covered",
        "Readings",
        "Usable",
        "Settling",
        "Suspect",
        "Bad",
        "Missing",
        "Undecided",
    )
    return Table(head, tuple(rows), tuple(range(1, 9)))


def uncertainties(verdict: Verdict) -> Table:
    """List the uncertainties and the probabilities that follow from them."""
    rows = [
        (
            analyte_name(finding.limit.analyte),
            finding.limit_text,
            f"{number(finding.uncertainty, 3)} {finding.limit.unit}",
            percent(finding.probability),
            finding.uncertainty_source or NO_VALUE,
        )
        for finding in verdict.findings
        if finding.uncertainty is not None
    ]
    head = (
        "Analyte",
        "Limit",
        "U (k = 2)",
        "Probability that the worst value conforms",
        "Where U comes from",
    )
    return Table(head, tuple(rows), (2, 3))


def spot_value(spot: SpotTest) -> str:
    """Say what a hand test showed."""
    if spot.value is not None:
        return typeset(str(spot.value))
    if spot.perceived is None:
        return NO_VALUE
    return "noticed" if spot.perceived else "none noticed"


def spots(spots: Sequence[SpotTest], clock: Clock) -> Table:
    """List the tests done by hand."""
    rows = [
        (
            analyte_name(spot.analyte),
            spot_value(spot),
            spot.means or "not stated",
            clock.time(spot.time) if spot.time else "not stated",
            " ".join(part for part in (spot.given, spot.remark) if part) or NO_VALUE,
        )
        for spot in spots
    ]
    return Table(("Analyte", "Shown", "Done with", "When", "As entered"), tuple(rows))


def _bounds(finding: Finding) -> str:
    averaging = finding.limit.averaging
    return finding.limit_text + (f", {averaging}" if averaging != ANY_READING else "")


def limits(verdict: Verdict) -> Table:
    """List the limits with clause, standing and source."""
    rows = [
        (
            analyte_name(finding.limit.analyte),
            _bounds(finding),
            finding.limit.clause or NO_VALUE,
            ("required" if finding.limit.required else "advice") + f", {finding.limit.status}",
            ". ".join(part for part in (finding.limit.source, finding.limit.remark) if part),
        )
        for finding in verdict.findings
    ]
    return Table(("Analyte", "Limit", "Clause", "Standing", "Source and remark"), tuple(rows))


def sources(verdict: Verdict) -> tuple[SourceRow, ...]:
    """List the files that were read."""
    return tuple(
        SourceRow(
            source.name,
            source.sha256,
            grouped(source.rows_read),
            grouped(source.rows_used),
            grouped(source.rows_refused),
            source.recipe,
        )
        for source in (verdict.log.sources if verdict.log else ())
    )


def channels(verdict: Verdict) -> Table:
    """List how each column was understood."""
    rows = [
        (
            channel.name,
            channel.heading or NO_VALUE,
            analyte_name(channel.analyte) + f", {channel.quantity.replace('_', ' ')}",
            unit_text(channel.logged_unit or channel.unit),
            unit_text(channel.unit),
            channel.basis or NO_VALUE,
        )
        for channel in (verdict.log.channels if verdict.log else ())
    ]
    head = (
        "Channel",
        "Heading in the file",
        "Read as",
        "Logged in",
        "Kept in",
        "Taken for granted",
    )
    return Table(head, tuple(rows))
