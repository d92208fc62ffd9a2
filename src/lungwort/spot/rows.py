"""An indicator read row by row: what the state of each row says of the oil content.

More oil fills a row with dots, then joins them to a line, and then begins the row above. A row
cannot be further on than a row below it; where it seems so, the indicator was wet, handled, or held
the wrong way round, and says nothing.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

from lungwort.air.interval import Interval
from lungwort.errors import SpotError
from lungwort.spot import indicator

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.spot.devices import IndicatorKind

NOTHING: Final = "nothing"
DOTS: Final = "dots"
LINE: Final = "line"
STATES: Final = (NOTHING, DOTS, LINE)
_WORDS: Final = {
    NOTHING: NOTHING,
    "none": NOTHING,
    "clear": NOTHING,
    DOTS: DOTS,
    "dot": DOTS,
    "separate dots": DOTS,
    LINE: LINE,
    "joined": LINE,
    "joined line": LINE,
}


def states_of(text: str, kind: IndicatorKind) -> tuple[str, ...]:
    """Read the states of the rows as a user writes them.

    Parameters
    ----------
    text : str
        ``nothing``, ``dots`` or ``line`` for each row, the lowest first, with commas between; one
        word ``nothing`` stands for all rows.
    kind : IndicatorKind
        The indicator.

    Returns
    -------
    tuple of str
        One of `STATES` a row.

    Raises
    ------
    SpotError
        Where a word is not known or the number of rows is another.
    """
    words = [" ".join(word.lower().split()) for word in text.split(",")]
    unknown = [word for word in words if word not in _WORDS]
    if unknown:
        raise SpotError(
            f"row state {unknown[0]!r} is not known. Write nothing, dots or line for each row, the "
            "lowest row first, like 'dots, nothing, nothing'."
        )
    if words == [NOTHING]:
        words = [NOTHING] * len(kind.rows)
    if len(words) != len(kind.rows):
        raise SpotError(
            f"{len(words)} row states were given; {kind.title} has {len(kind.rows)} rows. Give one "
            "state a row, the lowest row first."
        )
    return tuple(_WORDS[word] for word in words)


def interval_of(kind: IndicatorKind, states: Sequence[str]) -> Interval:
    """Turn the states of the rows into the oil content that they stand for.

    Parameters
    ----------
    kind : IndicatorKind
        The indicator.
    states : sequence of str
        One of `STATES` a row, the lowest row first.

    Returns
    -------
    Interval
        Oil content [mg/m3]: above the threshold of the highest joined row, up to the threshold of
        the highest row that shows anything beyond it. Where two rows show separate dots the band
        reaches over both.

    Raises
    ------
    SpotError
        Where a row is further on than a row below it, or the states do not fit the indicator.

    Examples
    --------
    >>> from lungwort.spot.devices import indicator_kind
    >>> str(interval_of(indicator_kind("banded-oil"), ["line", "dots", "nothing"]))
    '> 0.1 to 0.5 mg/m3'
    """
    if len(states) != len(kind.rows) or any(state not in STATES for state in states):
        raise SpotError(
            f"{kind.title} needs one of nothing, dots or line for each of its {len(kind.rows)} rows; "
            f"found {', '.join(states) or 'nothing'}."
        )
    ranks = [STATES.index(state) for state in states]
    for lower, (below, above) in enumerate(pairwise(ranks)):
        if above > below:
            raise SpotError(
                f"the {kind.rows[lower + 1].name} shows {_said(states[lower + 1])} while the "
                f"{kind.rows[lower].name} shows {_said(states[lower])}. Oil fills the rows from the "
                "lowest up, so this cannot be: the indicator may be wet, touched, or held the wrong "
                "way round. Look again; if it stays so, test with a new indicator."
            )
    joined, shown = ranks.count(2), sum(rank > 0 for rank in ranks)
    thresholds = [float(row.threshold_mg_m3) for row in kind.rows]
    unit = indicator.UNIT
    if shown == 0:
        return Interval.less_than(float(kind.first_trace_mg_m3), unit)
    if joined == len(ranks):
        return Interval.more_than(thresholds[-1], unit)
    low = thresholds[joined - 1] if joined else float(kind.first_trace_mg_m3)
    return Interval.between(low, thresholds[max(shown - 1, joined)], unit)


def _said(state: str) -> str:
    return {NOTHING: "nothing", DOTS: "separate dots", LINE: "a joined line"}[state]


def reading_text(kind: IndicatorKind, states: Sequence[str]) -> str:
    """Write what an indicator shows in the form that `lungwort.spot.parse.parse_spot` takes.

    Parameters
    ----------
    kind : IndicatorKind
        The indicator.
    states : sequence of str
        One of `STATES` a row, the lowest row first.

    Returns
    -------
    str
        Such as ``oil=indicator: 0.1-0.5``.

    Raises
    ------
    SpotError
        As `interval_of`.
    """
    value = interval_of(kind, states)
    names = dict(zip(map(str, indicator.bands()), indicator.band_names(), strict=True))
    if str(value) in names:
        return f"oil=indicator: {names[str(value)]}"
    if value.lower == float("-inf"):
        return f"oil=<{value.upper:g} {indicator.UNIT}"
    if value.upper == float("inf"):
        return f"oil=>{value.lower:g} {indicator.UNIT}"
    return f"oil={value.lower:g}-{value.upper:g} {indicator.UNIT}"
