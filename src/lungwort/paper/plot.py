"""Draws the plot of a calculation as SVG, for paper and for a page of the browser."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from html import escape
from itertools import zip_longest
from typing import TYPE_CHECKING, Final
from zlib import crc32

from attrs import frozen

from lungwort.errors import OutputError
from lungwort.paper.axis import number_ticks, time_ticks
from lungwort.paper.palette import LIGHT
from lungwort.paper.text import Clock, unit_text, zone

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from lungwort.paper.calculation import Curve, Plot

WIDTH: Final = 700.0
LEFT: Final = 56.0
NARROW: Final = 340.0
"""Width of a drawing for a small screen [SVG unit]."""
_EDGE: Final = 10.0
TOP: Final = 22.0
BOTTOM: Final = 212.0
TIME: Final = "time"
_FONT: Final = "'Source Sans Pro', 'Source Sans 3', system-ui, sans-serif"
_LOOKS: Final = (
    ("trace", 1.8, ""),
    ("excursion", 1.8, "7 3"),
    ("aside", 1.8, "2 3"),
    ("ink", 1.3, "10 3 2 3"),
    ("quiet", 1.3, "4 2"),
)
"""Colour, width and dashes of the curves: no two are told apart by colour alone."""
_LETTER: Final = 5.4
"""Width of a letter of the legend, as a guess on the wide side [SVG unit]."""
_ROW: Final = 16.0
_LABEL_APART: Final = 12.0
_HALO: Final = (
    f'font-weight="600" fill="{LIGHT["limit"]}" stroke="{LIGHT["ground"]}" stroke-width="3" '
    'stroke-linejoin="round" paint-order="stroke"'
)
"""Words that stand on lines keep a strip of the ground around them."""
_TIME_TICKS: Final = 10
_DATE: Final = 66.0
_MOST_POINTS: Final = 1500
_ROOM: Final = 0.06


@frozen
class _Frame:
    """Maps values to the drawing."""

    x_low: float
    x_high: float
    y_low: float
    y_high: float
    right: float

    def x(self, value: float) -> float:
        share = (value - self.x_low) / (self.x_high - self.x_low)
        return LEFT + min(max(share, 0.0), 1.0) * (self.right - LEFT)

    def y(self, value: float) -> float:
        share = (value - self.y_low) / (self.y_high - self.y_low)
        return BOTTOM - min(max(share, 0.0), 1.0) * (BOTTOM - TOP)


def plot_svg(plot: Plot, zone_name: str = "UTC", *, width: float = WIDTH) -> str:
    """Draw a plot.

    Parameters
    ----------
    plot : Plot
        What is drawn.
    zone_name : str
        IANA time zone of an axis of time.
    width : float
        Width of the drawing, 240 or more; letters stay as large as they are [SVG unit].

    Returns
    -------
    str
        One SVG drawing with a description for readers of the screen. Colours are attributes with
        classes beside them, so that a page can set its own.

    Raises
    ------
    OutputError
        Where there is no point to draw.
    """
    frame = _frame_of(plot, width - _EDGE)
    legend, height = _legend(plot, frame.right)
    clip = f"clip{crc32(f'{plot.title} {plot.y_name} {plot.y_unit} {width:g}'.encode()):08x}"
    parts = [
        (
            f'<clipPath id="{clip}"><rect x="{LEFT:g}" y="{TOP:g}" width="{frame.right - LEFT:g}" '
            f'height="{BOTTOM - TOP:g}"/></clipPath>'
        ),
        *_shades(plot, frame),
        *_y_axis(plot, frame),
        *(_time_axis(frame, zone_name) if plot.x_unit == TIME else _x_axis(plot, frame)),
        f'<g clip-path="url(#{clip})">',
        *(piece for place, one in enumerate(plot.curves) for piece in _band(frame, one, place)),
        *(piece for place, one in enumerate(plot.curves) for piece in _curve(frame, one, place)),
        "</g>",
        *_levels(plot, frame),
        *legend,
    ]
    said = escape(f"{plot.title}. {plot.says}".strip())
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="plot" viewBox="0 0 {width:g} {height:g}" '
        f'role="img" aria-label="{said}" font-family="{_FONT}" font-size="11">{"".join(parts)}</svg>'
    )


def _finite(values: Sequence[float]) -> Iterator[float]:
    return (one for one in values if math.isfinite(one))


def _frame_of(plot: Plot, right: float) -> _Frame:
    xs = [x for one in plot.curves for x in _finite(one.x)]
    ys = [y for one in plot.curves for part in (one.y, one.low, one.high) for y in _finite(part)]
    ys += [one.value for one in plot.levels if one.across and math.isfinite(one.value)]
    xs += [one.value for one in plot.levels if not one.across and math.isfinite(one.value)]
    if not xs or not ys:
        raise OutputError(f"the plot {plot.title!r} has nothing to draw.")
    x_low, x_high = min(xs), max(xs)
    if x_high <= x_low:
        x_low, x_high = x_low - 0.5, x_high + 0.5
    if plot.x_unit != TIME and any(one.style in {"points", "steps"} for one in plot.curves):
        # A mark on the frame itself would be cut in half or not be seen.
        x_low, x_high = x_low - _ROOM * (x_high - x_low), x_high + _ROOM * (x_high - x_low)
    y_low, y_high = min(ys), max(ys)
    if y_high <= y_low:
        half = abs(y_high) * 0.1 or 0.5
        y_low, y_high = y_low - half, y_high + half
    room = (y_high - y_low) * _ROOM
    # An axis that begins at nought shows how large a change is against the whole.
    from_zero = y_low >= 0.0 and y_low < y_high * 0.5
    return _Frame(x_low, x_high, 0.0 if from_zero else y_low - room, y_high + room, right)


def _look(place: int) -> tuple[str, str]:
    role, width, dashes = _LOOKS[place % len(_LOOKS)]
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return role, f'stroke="{LIGHT[role]}" stroke-width="{width:g}"{dashed}'


def _runs(curve: Curve, values: Sequence[float]) -> Iterator[list[tuple[float, float]]]:
    """Give the unbroken stretches of a curve, thinned to what can be seen."""
    run: list[tuple[float, float]] = []
    for x, y in _thinned(curve.x, values):
        if math.isfinite(y) and math.isfinite(x):
            run.append((x, y))
        elif run:
            yield run
            run = []
    if run:
        yield run


def _thinned(xs: Sequence[float], ys: Sequence[float]) -> Iterator[tuple[float, float]]:
    step = math.ceil(len(xs) / _MOST_POINTS)
    if step <= 1:
        yield from zip(xs, ys, strict=True)
        return
    for begin in range(0, len(xs), step):
        part = list(zip(xs[begin : begin + step], ys[begin : begin + step], strict=True))
        held = [one for one in part if math.isfinite(one[1])]
        if len(held) < len(part):
            yield part[0][0], math.nan
        if held:
            # Both ends of the values of a step are drawn: a peak never falls between two points.
            yield from sorted(
                {min(held, key=lambda one: one[1]), max(held, key=lambda one: one[1])}
            )


def _path(frame: _Frame, run: list[tuple[float, float]], *, steps: bool = False) -> str:
    first, *rest = ((frame.x(x), frame.y(y)) for x, y in run)
    pieces = [f"M{first[0]:.1f},{first[1]:.1f}"]
    pieces += [f"H{x:.1f}V{y:.1f}" if steps else f"L{x:.1f},{y:.1f}" for x, y in rest]
    return "".join(pieces)


def _curve(frame: _Frame, curve: Curve, place: int) -> list[str]:
    role, look = _look(place)
    drawn: list[str] = []
    if curve.style == "points":
        for run in _runs(curve, curve.y):
            drawn += [
                f'<circle class="mark-{role}" cx="{frame.x(x):.1f}" cy="{frame.y(y):.1f}" r="2.4" '
                f'fill="{LIGHT[role]}"/>'
                for x, y in run
            ]
        return drawn
    for run in _runs(curve, curve.y):
        path = _path(frame, run, steps=curve.style == "steps")
        if len(run) == 1:
            path += "h0.8"
        drawn.append(
            f'<path class="line-{role}" d="{path}" fill="none" {look} stroke-linejoin="round"/>'
        )
    return drawn


def _band(frame: _Frame, curve: Curve, place: int) -> list[str]:
    if not curve.low or not curve.high:
        return []
    role, _ = _look(place)
    drawn = []
    # Thinned alike, so that both edges break at the same places.
    for low, high in zip(_runs(curve, curve.low), _runs(curve, curve.high), strict=False):
        there = "".join(
            f"{'M' if at == 0 else 'L'}{frame.x(x):.1f},{frame.y(y):.1f}"
            for at, (x, y) in enumerate(high)
        )
        back = "".join(f"L{frame.x(x):.1f},{frame.y(y):.1f}" for x, y in reversed(low))
        drawn.append(
            f'<path class="band-{role}" d="{there}{back}Z" fill="{LIGHT[role]}" '
            'fill-opacity="0.16" stroke="none"/>'
        )
    return drawn


def _shades(plot: Plot, frame: _Frame) -> list[str]:
    drawn = []
    for start, end in plot.shades:
        left, right = frame.x(start), frame.x(end)
        drawn.append(
            f'<rect class="shade" x="{left:.1f}" y="{TOP:g}" width="{max(right - left, 1.5):.1f}" '
            f'height="{BOTTOM - TOP:g}" fill="{LIGHT["excursion"]}" fill-opacity="0.14"/>'
        )
    return drawn


def _y_axis(plot: Plot, frame: _Frame) -> list[str]:
    name = plot.y_name + (f" [{unit_text(plot.y_unit)}]" if plot.y_unit else "")
    drawn = [
        f'<text class="quiet" x="2" y="{TOP - 8:g}" fill="{LIGHT["quiet"]}">{escape(name)}</text>'
    ]
    for value, label in number_ticks(frame.y_low, frame.y_high):
        y = frame.y(value)
        drawn.append(
            f'<path class="rule" d="M{LEFT:g},{y:.1f}H{frame.right:g}" stroke="{LIGHT["rule"]}" '
            f'stroke-width="0.6"/><text class="ink" x="{LEFT - 6:g}" y="{y + 3.6:.1f}" '
            f'text-anchor="end" fill="{LIGHT["ink"]}">{label}</text>'
        )
    drawn.append(
        f'<path class="axis" d="M{LEFT:g},{TOP:g}V{BOTTOM:g}H{frame.right:g}" fill="none" '
        f'stroke="{LIGHT["quiet"]}"/>'
    )
    return drawn


def _tick(x: float, label: str, right: float) -> str:
    anchor = "end" if x > right - 14 else "middle"
    return (
        f'<path class="axis" d="M{x:.1f},{BOTTOM:g}v4" stroke="{LIGHT["quiet"]}"/>'
        f'<text class="ink" x="{x:.1f}" y="{BOTTOM + 15:g}" text-anchor="{anchor}" '
        f'fill="{LIGHT["ink"]}">{escape(label)}</text>'
    )


def _fewer(most: int, frame: _Frame) -> int:
    """Give how many ticks a drawing of this width bears."""
    return max(round(most * (frame.right - LEFT) / (WIDTH - _EDGE - LEFT)), 3)


def _under(text: str, right: float) -> str:
    return (
        f'<text class="quiet" x="{right:g}" y="{BOTTOM + 29:g}" text-anchor="end" '
        f'fill="{LIGHT["quiet"]}">{escape(text)}</text>'
    )


def _x_axis(plot: Plot, frame: _Frame) -> list[str]:
    name = plot.x_name + (f" [{unit_text(plot.x_unit)}]" if plot.x_unit else "")
    ticks = number_ticks(frame.x_low, frame.x_high, _fewer(8, frame))
    if not plot.x_unit and all(x == round(x) for one in plot.curves for x in one.x):
        # People and cylinders come whole.
        ticks = tuple((value, f"{value:.0f}") for value, _ in ticks if value == round(value))
    return [
        *(_tick(frame.x(value), label, frame.right) for value, label in ticks),
        _under(name, frame.right),
    ]


def _time_axis(frame: _Frame, zone_name: str) -> list[str]:
    start, end = (datetime.fromtimestamp(one, UTC) for one in (frame.x_low, frame.x_high))
    at = zone(zone_name)
    clock = Clock.for_period(zone_name, start, end)
    ticks = time_ticks(start, end, at, _fewer(_TIME_TICKS, frame))
    drawn = [_under(clock.zone_name, frame.right)]
    last = -_DATE
    for tick, _ in zip_longest(ticks, ticks[1:]):
        x = frame.x(tick.moment.timestamp())
        drawn.append(_tick(x, tick.label, frame.right))
        # The name of the zone stands at the right end of the same line.
        if tick.below and x - last >= _DATE and x < frame.right - 90:
            drawn.append(
                f'<text class="quiet" x="{x:.1f}" y="{BOTTOM + 29:g}" text-anchor="middle" '
                f'fill="{LIGHT["quiet"]}">{escape(tick.below)}</text>'
            )
            last = x
    return drawn


def _levels(plot: Plot, frame: _Frame) -> list[str]:
    colour = LIGHT["limit"]
    look = f'stroke="{colour}" stroke-width="1.3" stroke-dasharray="9 3 2 3"'
    drawn: list[str] = []
    taken: list[float] = []
    for one in sorted((level for level in plot.levels if level.across), key=lambda a: -a.value):
        y = frame.y(one.value)
        label = next(
            (
                place
                for place in (y - 4, y + 12, y - 16, y + 24)
                if TOP + 4 <= place <= BOTTOM
                and all(abs(place - other) >= _LABEL_APART for other in taken)
            ),
            y - 4,
        )
        taken.append(label)
        drawn.append(
            f'<path class="limit" d="M{LEFT:g},{y:.1f}H{frame.right:g}" {look}/>'
            f'<text class="limit-text" x="{frame.right - 3:g}" y="{label:.1f}" text-anchor="end" '
            f"{_HALO}>{escape(one.name)}</text>"
        )
    for place, one in enumerate(level for level in plot.levels if not level.across):
        x = frame.x(one.value)
        side = ("end", -4.0) if x > (LEFT + frame.right) / 2 else ("start", 4.0)
        drawn.append(
            f'<path class="limit" d="M{x:.1f},{TOP:g}V{BOTTOM:g}" {look}/>'
            f'<text class="limit-text" x="{x + side[1]:.1f}" y="{TOP + 11 + 13 * place:.1f}" '
            f'text-anchor="{side[0]}" {_HALO}>{escape(one.name)}</text>'
        )
    return drawn


def _legend(plot: Plot, right: float) -> tuple[list[str], float]:
    drawn: list[str] = []
    x, y = LEFT, BOTTOM + 48.0
    for place, one in enumerate(plot.curves):
        width = 34.0 + _LETTER * len(one.name) + 18.0
        if x > LEFT and x + width > right:
            x, y = LEFT, y + _ROW
        role, look = _look(place)
        if one.low and one.high:
            drawn.append(
                f'<rect class="band-{role}" x="{x:.1f}" y="{y - 9:.1f}" width="26" height="11" '
                f'fill="{LIGHT[role]}" fill-opacity="0.16"/>'
            )
        drawn.append(
            f'<circle class="mark-{role}" cx="{x + 13:.1f}" cy="{y - 3.5:.1f}" r="2.6" fill="{LIGHT[role]}"/>'
            if one.style == "points"
            else f'<path class="line-{role}" d="M{x:.1f},{y - 3.5:.1f}h26" fill="none" {look}/>'
        )
        drawn.append(
            f'<text class="ink" x="{x + 32:.1f}" y="{y:.1f}" fill="{LIGHT["ink"]}">'
            f"{escape(one.name)}</text>"
        )
        x += width
    return drawn, y + 8.0
