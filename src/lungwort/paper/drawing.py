"""The marks of a chart, each as a piece of SVG.

Colours stand as attributes for the page of the PDF; the class names let the HTML page set its own.
"""

from __future__ import annotations

from html import escape
from itertools import zip_longest
from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import frozen

from lungwort.paper.axis import number_ticks, time_ticks
from lungwort.paper.envelope import Envelope, from_us, to_us
from lungwort.paper.palette import LIGHT
from lungwort.paper.text import Clock, unit_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.logs.model import Channel
    from lungwort.verdict.model import Excursion

    Span = tuple[int, int]

WIDTH: Final = 700.0
HEIGHT: Final = 178.0
LEFT: Final = 50.0
RIGHT: Final = 606.0
TOP: Final = 20.0
BOTTOM: Final = 144.0
_FONT: Final = "'Source Sans Pro', 'Source Sans 3', system-ui, sans-serif"
_LABEL_APART: Final = 12.0
_NUMBER_APART: Final = 15.0
_SLIVER: Final = 4.0
_TIME_TICKS: Final = 12
_DATE: Final = 62.0
_MIDDLE: Final = 'text-anchor="middle"'
_LEAST_WIDTH: Final = 1.5


@frozen
class LimitLine:
    """One limit as drawn.

    Parameters
    ----------
    value : float
        Where the line stands [unit of the channel].
    text : str
        Label beside it.
    """

    value: float
    text: str


@frozen
class Frame:
    """Maps time and value to the drawing."""

    start_us: int
    end_us: int
    low: float
    high: float

    def x(self, moment_us: float) -> float:
        """Give the place of a moment [microseconds], kept inside the plot [SVG units]."""
        share = (moment_us - self.start_us) / max(self.end_us - self.start_us, 1)
        return LEFT + min(max(share, 0.0), 1.0) * (RIGHT - LEFT)

    def y(self, value: float) -> float:
        """Give the place of a value [unit of the channel] [SVG units]."""
        return BOTTOM - (value - self.low) / (self.high - self.low) * (BOTTOM - TOP)


def hatched(frame: Frame, spans: Sequence[Span], pattern: str, kind: str) -> list[str]:
    """Hatch stretches of time with a pattern; ``kind`` names what they are."""
    drawn: list[str] = []
    for start, end in spans:
        if end < frame.start_us or start > frame.end_us:
            continue
        x = frame.x(start)
        width = max(frame.x(end) - x, _LEAST_WIDTH)
        # A hatch does not show in a sliver: that is filled instead.
        fill = (
            f'fill="url(#{pattern})"'
            if width >= _SLIVER
            else f'fill="{LIGHT["hatch"]}" fill-opacity="0.75"'
        )
        drawn.append(
            f'<rect class="{kind}" x="{x:.1f}" y="{TOP:g}" width="{width:.1f}" '
            f'height="{BOTTOM - TOP:g}" {fill}/>'
        )
    return drawn


def excursions(frame: Frame, numbered: Sequence[tuple[int, Excursion]]) -> list[str]:
    """Shade excursions and bar their tops; those in one place are drawn once."""
    drawn: list[str] = []
    end = -1.0
    for left, right in sorted(_ends(frame, item) for _, item in numbered):
        # Shades would add up where excursions share a place, so each place is shaded once.
        begin = max(left, end)
        if right > begin:
            drawn.append(
                f'<rect class="shade" x="{begin:.1f}" y="{TOP:g}" width="{right - begin:.1f}" '
                f'height="{BOTTOM - TOP:g}" fill="{LIGHT["excursion"]}" fill-opacity="0.16"/>'
                f'<rect class="bar" x="{begin:.1f}" y="{TOP:g}" width="{right - begin:.1f}" '
                f'height="3" fill="{LIGHT["excursion"]}"/>'
            )
            end = right
    return drawn


def _ends(frame: Frame, item: Excursion) -> tuple[float, float]:
    left = round(frame.x(to_us(item.start)), 1)
    return left, max(round(frame.x(to_us(item.end)), 1), left + _LEAST_WIDTH)


def numbers(frame: Frame, numbered: Sequence[tuple[int, Excursion]]) -> list[str]:
    """Write the numbers of the excursions; where room is short, the worst come first."""
    placed: list[float] = []
    drawn: list[str] = []
    for place, item in sorted(numbered, key=lambda pair: -abs(pair[1].peak - pair[1].limit)):
        x = (frame.x(to_us(item.start)) + frame.x(to_us(item.end))) / 2
        if any(abs(x - other) < _NUMBER_APART for other in placed):
            continue
        placed.append(x)
        drawn.append(
            f'<text class="number" x="{x:.1f}" y="{TOP - 5:g}" text-anchor="middle" '
            f'font-weight="600" fill="{LIGHT["excursion"]}">{place}</text>'
        )
    return drawn


def axes(frame: Frame, envelope: Envelope, channel: Channel, clock: Clock) -> list[str]:
    """Draw both axes with their ticks, the unit and the name of the time zone."""
    ink, quiet, rule = LIGHT["ink"], LIGHT["quiet"], LIGHT["rule"]
    drawn = [
        (
            f'<text class="quiet" x="{LEFT - 6:g}" y="{TOP - 6:g}" text-anchor="end" '
            f'fill="{quiet}">{escape(unit_text(channel.unit))}</text>'
        )
    ]
    for value, label in number_ticks(frame.low, frame.high):
        y = frame.y(value)
        drawn.append(
            f'<path class="rule" d="M{LEFT:g},{y:.1f}H{RIGHT:g}" stroke="{rule}" '
            f'stroke-width="0.6"/><text class="ink" x="{LEFT - 6:g}" y="{y + 3.4:.1f}" '
            f'text-anchor="end" fill="{ink}">{label}</text>'
        )
    start, end = from_us(envelope.start_us), from_us(envelope.end_us)
    ticks = time_ticks(start, end, clock.zone_info, _TIME_TICKS)
    for tick, following in zip_longest(ticks, ticks[1:]):
        x = frame.x(to_us(tick.moment))
        drawn.append(
            f'<path class="axis" d="M{x:.1f},{BOTTOM:g}v4" stroke="{quiet}"/>'
            f'<text class="ink" x="{x:.1f}" y="{BOTTOM + 15:g}" text-anchor="middle" '
            f'fill="{ink}">{tick.label}</text>'
        )
        if tick.below:
            # A date that would run into the next one stands further left.
            close = following and following.below and frame.x(to_us(following.moment)) - x < _DATE
            place = f'x="{x + 12:.1f}" text-anchor="end"' if close else f'x="{x:.1f}" {_MIDDLE}'
            drawn.append(
                f'<text class="quiet" {place} y="{BOTTOM + 28:g}" fill="{quiet}">{tick.below}</text>'
            )
    drawn.append(
        f'<path class="axis" d="M{LEFT:g},{TOP:g}V{BOTTOM:g}H{RIGHT:g}" fill="none" '
        f'stroke="{quiet}"/><text class="quiet" x="{WIDTH - 2:g}" y="{TOP - 6:g}" '
        f'text-anchor="end" fill="{quiet}">{escape(clock.zone_name)}</text>'
    )
    return drawn


def limits(frame: Frame, lines: Sequence[LimitLine]) -> list[str]:
    """Draw the limits as lines, with labels that keep apart."""
    colour = LIGHT["limit"]
    drawn: list[str] = []
    lowest_free = BOTTOM + 4.0
    for line in lines:
        y = frame.y(line.value)
        label_y = min(y + 3.4, lowest_free)
        lowest_free = label_y - _LABEL_APART
        drawn.append(
            f'<path class="limit" d="M{LEFT:g},{y:.1f}H{RIGHT:g}" stroke="{colour}" '
            f'stroke-width="1.3" stroke-dasharray="9 3 2 3"/>'
            f'<text class="limit-text" x="{RIGHT + 5:g}" y="{label_y:.1f}" '
            f'font-weight="600" fill="{colour}">{escape(line.text)}</text>'
        )
    return drawn


def trace(frame: Frame, envelope: Envelope, runs: Sequence[np.ndarray]) -> list[str]:
    """Draw the envelope of the usable readings, each run for itself."""
    colour = LIGHT["trace"]
    path: list[str] = []
    middle = (envelope.first_us + envelope.last_us) / 2
    for run in runs:
        xs = [frame.x(float(middle[bucket])) for bucket in run]
        high = [frame.y(float(envelope.high[bucket])) for bucket in run]
        low = [frame.y(float(envelope.low[bucket])) for bucket in run]
        there = [f"{x:.1f},{y:.1f}" for x, y in zip(xs, high, strict=True)]
        back = [f"{x:.1f},{y:.1f}" for x, y in zip(xs, low, strict=True)]
        if len(run) == 1:
            path.append(f"M{there[0]}L{xs[0] + 0.5:.1f},{low[0]:.1f}")
        elif high == low:
            path.append("M" + " ".join(there))
        else:
            path.append("M" + " ".join(there) + " " + " ".join(reversed(back)) + "Z")
    if not path:
        return []
    closed = [piece for piece in path if piece.endswith("Z")]
    opened = [piece for piece in path if not piece.endswith("Z")]
    look = f'stroke="{colour}" stroke-width="1.1" stroke-linejoin="round" stroke-linecap="round"'
    drawn: list[str] = []
    if closed:
        drawn.append(f'<path class="trace area" d="{"".join(closed)}" fill="{colour}" {look}/>')
    if opened:
        drawn.append(f'<path class="trace" d="{"".join(opened)}" fill="none" {look}/>')
    return drawn


def aside(frame: Frame, envelope: Envelope) -> list[str]:
    """Draw readings that were not judged as thin upright strokes."""
    held = np.flatnonzero(np.isfinite(envelope.aside_low))
    if len(held) == 0:
        return []
    middle = envelope.edges_us + (envelope.end_us - envelope.start_us) / envelope.buckets / 2
    pieces: list[str] = []
    for bucket in held:
        x = frame.x(float(middle[bucket]))
        low, high = frame.y(envelope.aside_low[bucket]), frame.y(envelope.aside_high[bucket])
        pieces.append(f"M{x:.1f},{low + 0.6:.1f}V{high - 0.6:.1f}")
    look = f'fill="none" stroke="{LIGHT["aside"]}" stroke-width="1"'
    return [f'<path class="aside" d="{"".join(pieces)}" {look}/>']


def points(frame: Frame, envelope: Envelope) -> list[str]:
    """Mark suspect readings on the time axis and over-range ones above the trace."""
    middle = envelope.edges_us + (envelope.end_us - envelope.start_us) / envelope.buckets / 2
    drawn: list[str] = []
    last_x = -10.0
    pieces: list[str] = []
    for bucket in np.flatnonzero(envelope.suspect):
        x = frame.x(float(middle[bucket]))
        if x - last_x >= 4.0:  # noqa: PLR2004 - triangles stand apart
            pieces.append(f"M{x:.1f},{BOTTOM - 7:g}l3,6h-6Z")
            last_x = x
    if pieces:
        drawn.append(
            f'<path class="suspect" d="{"".join(pieces)}" fill="{LIGHT["ground"]}" '
            f'stroke="{LIGHT["ink"]}" stroke-width="0.9"/>'
        )
    arrows = [
        f"M{frame.x(float(middle[bucket])):.1f},{frame.y(float(envelope.high[bucket])) - 8:.1f}"
        "l3,6h-6Z"
        for bucket in np.flatnonzero(envelope.over_range & (envelope.usable > 0))
    ]
    if arrows:
        drawn.append(f'<path class="over" d="{"".join(arrows)}" fill="{LIGHT["ink"]}"/>')
    return drawn


def patterns(index: int) -> str:
    """Define the two hatches of one chart."""
    return pattern(f"s{index}", crossed=False) + pattern(f"u{index}", crossed=True)


def pattern(name: str, *, crossed: bool) -> str:
    """Make a hatch: lines one way for settling, both ways for unusable."""
    colour = LIGHT["hatch"]
    across = f'<path class="hatch" d="M0,3.5H7" stroke="{colour}" stroke-width="0.7"/>'
    return (
        f'<pattern id="{name}" width="7" height="7" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><path class="hatch" d="M3.5,0V7" stroke="{colour}" '
        f'stroke-width="0.9"/>{across if crossed else ""}</pattern>'
    )


def svg(parts: Sequence[str], patterns: str, described: str) -> str:
    """Put the pieces together into one drawing."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" '
        f'aria-label="{escape(described)}" font-family="{_FONT}" font-size="10.5">'
        f"<defs>{patterns}</defs>{''.join(parts)}</svg>"
    )
