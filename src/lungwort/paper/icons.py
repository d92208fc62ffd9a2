"""The shapes that go with each verdict, and the samples of the chart's legend, as SVG."""

from __future__ import annotations

from typing import Final

from lungwort.paper.chart import LEGEND
from lungwort.paper.drawing import pattern
from lungwort.paper.palette import LIGHT

_WHITE: Final = 'stroke="#ffffff" stroke-width="2.6" stroke-linecap="round" fill="none"'
_SHAPES: Final = {
    # A disc with a tick, a square with a cross, a lozenge filled on one side, a broken ring, a bar.
    "conforms": '<circle class="fill" cx="12" cy="12" r="11" fill="{c}"/>'
    '<path class="cut" d="M6.8,12.4l3.6,3.7L17.4,8.4" ' + _WHITE + "/>",
    "does_not_conform": '<rect class="fill" x="1.5" y="1.5" width="21" height="21" rx="2" '
    'fill="{c}"/><path class="cut" d="M7.6,7.6l8.8,8.8M16.4,7.6l-8.8,8.8" ' + _WHITE + "/>",
    "undecided": '<path class="line" d="M12,1.6L22.4,12L12,22.4L1.6,12Z" fill="none" stroke="{c}" '
    'stroke-width="1.8"/><path class="fill" d="M12,1.6V22.4L1.6,12Z" fill="{c}"/>',
    "no_evidence": '<circle class="line" cx="12" cy="12" r="9.6" fill="none" stroke="{c}" '
    'stroke-width="2" stroke-dasharray="4.2 3.3"/>',
    "not_applicable": '<path class="line" d="M4,12H20" stroke="{c}" stroke-width="2.6" '
    'stroke-linecap="round" fill="none"/>',
}
_SHAPE_OF: Final = {"not_proven": "undecided"}


def verdict_shape(key: str) -> str:
    """Draw the shape of a verdict.

    Parameters
    ----------
    key : str
        A verdict, overall or of one limit.

    Returns
    -------
    str
        An SVG drawing of 24 by 24 units, hidden from readers of the screen: a word stands beside.
    """
    drawn = _SHAPES[_SHAPE_OF.get(key, key)].replace("{c}", LIGHT[key])
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 24 24" class="shape {key}" '
        f'aria-hidden="true">{drawn}</svg>'
    )


_SAMPLE_HEAD: Final = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 28 14" class="sample" aria-hidden="true">'
)
_TRACE: Final = f'stroke="{LIGHT["trace"]}" stroke-width="1.6" fill="none" stroke-linejoin="round"'
_BOX: Final = 'x="1" y="1" width="26" height="12"'
_SAMPLES: Final = {
    "trace": f'<path class="trace" d="M1,9l5,-3l4,4l4,-7l4,6l5,-2l4,1" {_TRACE}/>',
    "limit": f'<path class="limit" d="M1,7H27" stroke="{LIGHT["limit"]}" stroke-width="1.6" '
    'stroke-dasharray="9 3 2 3"/>',
    "excursion": f'<rect class="shade" {_BOX} fill="{LIGHT["excursion"]}" fill-opacity="0.16"/>'
    f'<rect class="bar" x="1" y="1" width="26" height="3" fill="{LIGHT["excursion"]}"/>',
    "settling": f'<rect {_BOX} fill="url(#legend-s)"/>',
    "unusable": f'<rect {_BOX} fill="url(#legend-u)"/>',
    "aside": f'<path class="aside" d="M4,10V5M7,11V4M10,9V6M13,12V3M16,10V5M19,11V4M22,9V5" '
    f'stroke="{LIGHT["aside"]}" stroke-width="1.4" fill="none"/>',
    "suspect": f'<path class="suspect" d="M9,3l4,8h-8ZM20,3l4,8h-8Z" fill="{LIGHT["ground"]}" '
    f'stroke="{LIGHT["ink"]}"/>',
    "over_range": f'<path class="over" d="M14,3l4,8h-8Z" fill="{LIGHT["ink"]}"/>',
}


def legend(marks: frozenset[str]) -> tuple[tuple[str, str], ...]:
    """Explain the marks that appear in the charts.

    Parameters
    ----------
    marks : frozenset of str
        Keys of `lungwort.paper.chart.LEGEND`.

    Returns
    -------
    tuple of (str, str)
        For each mark a sample as SVG and its words, in a fixed order.
    """
    hatches = {
        "settling": pattern("legend-s", crossed=False),
        "unusable": pattern("legend-u", crossed=True),
    }
    return tuple(
        (f"{_SAMPLE_HEAD}<defs>{hatches.get(key, '')}</defs>{_SAMPLES[key]}</svg>", words)
        for key, words in LEGEND.items()
        if key in marks
    )
