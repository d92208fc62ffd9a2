"""The plot of one channel over the period, drawn as SVG.

The trace is the envelope of the readings, so that no peak is lost. Limits are lines with their
text, excursions are shaded, barred and numbered, settling and unusable stretches are hatched, and
gaps are left open. Every mark that has a colour has a shape of its own as well.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.air import analytes
from lungwort.limits.model import ANY_READING
from lungwort.logs.model import BAD, MISSING
from lungwort.paper import drawing
from lungwort.paper.envelope import Envelope, envelopes, from_us, shown_period, to_us
from lungwort.paper.text import Clock, analyte_name, count, number, typeset, unit_text
from lungwort.verdict.basis import NotComparable, basis

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from lungwort.logs.model import Channel
    from lungwort.verdict.model import Finding, Verdict

    Span = tuple[int, int]

_BRIDGED_INTERVALS: Final = 3.0


@frozen
class Chart:
    """A drawn channel.

    Parameters
    ----------
    channel : str
        Column name.
    title : str
        Heading over the plot.
    unit : str
        Unit of the vertical axis.
    svg : str
        The drawing.
    description : str
        What the drawing shows, in words, for readers who cannot see it.
    remarks : tuple of str
        What could not be drawn.
    marks : frozenset of str
        Kinds of marks that appear: keys of `LEGEND`.
    """

    channel: str
    title: str
    unit: str
    svg: str
    description: str
    remarks: tuple[str, ...] = ()
    marks: frozenset[str] = frozenset()


LEGEND: Final = {
    "trace": "Readings: least to greatest in each step of the plot",
    "limit": "Limit",
    "excursion": "Excursion, with its number in the table",
    "settling": "Settling, not judged",
    "aside": "Readings that were not judged",
    "unusable": "No usable readings",
    "suspect": "Readings flagged suspect",
    "over_range": "Logged as over range",
}


def charts(verdict: Verdict, clock: Clock) -> tuple[Chart, ...]:
    """Draw every channel of the judged log.

    Parameters
    ----------
    verdict : Verdict
        The verdict with its log.
    clock : Clock
        Shows times in the site's zone.

    Returns
    -------
    tuple of Chart
        One a channel, those held against a limit first; empty without a log or a period.
    """
    log, period = verdict.log, shown_period(verdict)
    if log is None or period is None:
        return ()
    judged = {name for finding in verdict.findings for name in finding.channels}
    order = sorted(log.channels, key=lambda channel: channel.name not in judged)
    gathered = envelopes(log, tuple(order), *period)
    return tuple(
        draw(verdict, channel, gathered[channel.name], clock, index)
        for index, channel in enumerate(order)
    )


def draw(
    verdict: Verdict, channel: Channel, envelope: Envelope, clock: Clock, index: int = 0
) -> Chart:
    """Draw one channel.

    Parameters
    ----------
    verdict : Verdict
        The verdict whose limits and excursions are marked.
    channel : Channel
        The channel.
    envelope : Envelope
        Its envelope over the period.
    clock : Clock
        Shows times in the site's zone.
    index : int
        Number of the chart in its document; keeps names inside the drawing apart.

    Returns
    -------
    Chart
        The drawing with its description.
    """
    lines, remarks = limit_lines(verdict, channel)
    numbered = [
        (place, item)
        for place, item in enumerate(verdict.excursions, start=1)
        if item.channel == channel.name
    ]
    low, high = _scale(envelope, lines)
    frame = drawing.Frame(envelope.start_us, envelope.end_us, low, high)
    bridge_us = _bridge_us(verdict)
    runs = list(envelope.runs(bridge_us))
    settling = _settling(verdict, channel)
    unusable = [
        (start, end)
        for start, end in _minus(_between_runs(envelope, runs, bridge_us), settling)
        if end - start > bridge_us
    ]
    unusable += _short_stretches(verdict, channel, envelope)
    parts: list[str] = []
    parts += drawing.hatched(frame, settling, f"s{index}", "settling")
    parts += drawing.hatched(frame, unusable, f"u{index}", "unusable")
    parts += drawing.excursions(frame, numbered)
    parts += drawing.axes(frame, envelope, channel, clock)
    parts += drawing.limits(frame, lines)
    parts += drawing.aside(frame, envelope)
    parts += drawing.trace(frame, envelope, runs)
    parts += drawing.points(frame, envelope)
    parts += drawing.numbers(frame, numbered)
    marks = {
        "trace": bool(runs),
        "limit": bool(lines),
        "excursion": bool(numbered),
        "settling": bool(settling),
        "aside": bool(np.isfinite(envelope.aside_low).any()),
        "unusable": bool(unusable),
        "suspect": bool(envelope.suspect.any()),
        "over_range": bool(envelope.over_range.any()),
    }
    described = _description(channel, envelope, lines, len(numbered), clock)
    return Chart(
        channel=channel.name,
        title=_title(channel),
        unit=channel.unit,
        svg=drawing.svg(parts, drawing.patterns(index), described),
        description=described,
        remarks=remarks,
        marks=frozenset(key for key, shown in marks.items() if shown),
    )


def limit_lines(
    verdict: Verdict, channel: Channel
) -> tuple[tuple[drawing.LimitLine, ...], tuple[str, ...]]:
    """Find the limits that can be drawn over a channel.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    channel : Channel
        The channel.

    Returns
    -------
    tuple of (tuple of drawing.LimitLine, tuple of str)
        The lines in the channel's unit, and what is said of limits that cannot be drawn.
    """
    lines: dict[tuple[float, str], drawing.LimitLine] = {}
    remarks: list[str] = []
    for finding in verdict.findings:
        if channel.name not in finding.channels:
            continue
        drawn, said = _lines_of(finding, channel, verdict)
        lines.update({(line.value, line.text): line for line in drawn})
        remarks += said
    return tuple(sorted(lines.values(), key=lambda line: line.value)), tuple(dict.fromkeys(remarks))


def _lines_of(
    finding: Finding, channel: Channel, verdict: Verdict
) -> tuple[list[drawing.LimitLine], list[str]]:
    limit, shown = finding.limit, typeset(finding.limit_text)
    how = basis(
        limit,
        finding.allowed,
        quantity=channel.quantity,
        unit=channel.unit,
        limit_set=verdict.limit_set,
        conditions=verdict.conditions,
    )
    if isinstance(how, NotComparable):
        return [], [f"The limit {shown} is not drawn: {typeset(how.reason)}"]
    # Where a conversion is uncertain, the stricter end is drawn.
    ends = (
        (how.window.lower, how.window.lower.high if how.window.lower else None, ("≥", ">")),
        (how.window.upper, how.window.upper.low if how.window.upper else None, ("≤", "<")),
    )
    unit = unit_text(channel.unit)
    mean = f", {limit.averaging}" if limit.averaging != ANY_READING else ""
    lines: list[drawing.LimitLine] = []
    remarks: list[str] = []
    for edge, value, signs in ends:
        if edge is None or value is None:
            continue
        sign = signs[0] if edge.included else signs[1]
        lines.append(drawing.LimitLine(value, f"{sign} {number(value)} {unit}{mean}"))
        if how.converted:
            remarks.append(f"The limit {shown} is drawn at {number(value)} {unit}.")
    if lines and finding.allowed.open_reason:
        remarks.append(
            f"The line marks what is outside in any case. {typeset(finding.allowed.open_reason)}"
        )
    return lines, remarks


def _title(channel: Channel) -> str:
    name = analyte_name(channel.analyte)
    moist = {
        analytes.ATMOSPHERIC_DEW_POINT: " as atmospheric dew or frost point",
        analytes.PRESSURE_DEW_POINT: " as pressure dew or frost point",
    }
    return name + moist.get(channel.quantity, "")


def _scale(envelope: Envelope, lines: Sequence[drawing.LimitLine]) -> tuple[float, float]:
    ends = [line.value for line in lines]
    for part in (envelope.low, envelope.high, envelope.aside_low, envelope.aside_high):
        finite = part[np.isfinite(part)]
        if len(finite):
            ends += [float(finite.min()), float(finite.max())]
    if not ends:
        return 0.0, 1.0
    low, high = min(ends), max(ends)
    room = 0.07 * (high - low) or 0.05 * abs(high) or 1.0
    return (low - room if low < 0.0 or low >= room * 2.0 else min(0.0, low), high + room)


def _bridge_us(verdict: Verdict) -> int:
    interval_s = verdict.log.interval_s if verdict.log else None
    return int((interval_s or 1e9) * _BRIDGED_INTERVALS * 1e6)


def _settling(verdict: Verdict, channel: Channel) -> list[Span]:
    stretches = verdict.log.stretches if verdict.log else ()
    return _merged(
        (to_us(part.start), to_us(part.end))
        for part in stretches
        if part.cause == "settling" and part.channel in {"", channel.name}
    )


def _short_stretches(verdict: Verdict, channel: Channel, envelope: Envelope) -> list[Span]:
    # Longer ones show by themselves as stretches without a usable reading.
    bucket_us = (envelope.end_us - envelope.start_us) / envelope.buckets
    stretches = verdict.log.stretches if verdict.log else ()
    return _merged(
        (to_us(part.start), to_us(part.end))
        for part in stretches
        if (part.cause == "gap" or part.flag in {BAD, MISSING})
        and part.channel in {"", channel.name}
        and to_us(part.end) - to_us(part.start) <= 3 * bucket_us
        and envelope.start_us <= to_us(part.start) <= envelope.end_us
    )


def _merged(spans: Iterable[Span]) -> list[Span]:
    merged: list[Span] = []
    for start, end in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end))
        else:
            merged.append((start, end))
    return merged


def _between_runs(envelope: Envelope, runs: Sequence[np.ndarray], bridge_us: int) -> list[Span]:
    spans: list[Span] = []
    at = envelope.start_us
    for run in runs:
        first, last = int(envelope.first_us[run[0]]), int(envelope.last_us[run[-1]])
        spans.append((at, first))
        at = last
    spans.append((at, envelope.end_us))
    return [(start, end) for start, end in spans if end - start > bridge_us]


def _minus(spans: Sequence[Span], holes: Sequence[Span]) -> list[Span]:
    left = list(spans)
    for begin, stop in holes:
        left = [
            piece
            for start, end in left
            for piece in ((start, min(end, begin)), (max(start, stop), end))
            if piece[1] > piece[0]
        ]
    return left


def _description(
    channel: Channel,
    envelope: Envelope,
    lines: Sequence[drawing.LimitLine],
    excursions: int,
    clock: Clock,
) -> str:
    period = clock.span(from_us(envelope.start_us), from_us(envelope.end_us))
    said = f"{_title(channel)} in {unit_text(channel.unit)}, {period}, times in {clock.zone_name}. "
    if int(envelope.usable.sum()) == 0:
        said += "No usable readings."
    else:
        low, high = float(envelope.low.min()), float(envelope.high.max())
        said += f"Readings from {number(low)} to {number(high)} {unit_text(channel.unit)}."
    if lines:
        said += f" Limits: {', '.join(line.text for line in lines)}."
    said += f" {count(excursions, 'excursion')}." if excursions else " No excursions."
    return said
