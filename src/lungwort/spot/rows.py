"""From the rows of a banded oil indicator to the oil content that they stand for."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Final

from lungwort.air.interval import Interval
from lungwort.errors import SpotError
from lungwort.spot import indicator
from lungwort.spot.parse import parse_spot

if TYPE_CHECKING:
    from lungwort.spot.devices import IndicatorKind

NOTHING: Final = "nothing"
DOTS: Final = "separate dots"
LINE: Final = "joined line"
STATES: Final = (NOTHING, DOTS, LINE)
"""What is seen in a row, from the least to the most."""

UNIT: Final = "mg/m3"

_WORDS: Final = {
    **dict.fromkeys(("nothing", "none", "nil", "no", "clean", "nothing seen", "0"), NOTHING),
    **dict.fromkeys(("separate dots", "dots", "dot", "separate", "1"), DOTS),
    **dict.fromkeys(("joined line", "line", "joined", "solid line", "2"), LINE),
}


def read_rows(kind: IndicatorKind, text: str) -> tuple[str, ...]:
    """Read what is seen in each row as a user writes it.

    Parameters
    ----------
    kind : IndicatorKind
        Which indicator.
    text : str
        A state a row from the lowest row up, with commas between: ``line, dots, nothing``.
        ``nothing`` alone stands for all rows.

    Returns
    -------
    tuple of str
        One of `STATES` a row.

    Raises
    ------
    SpotError
        Where a word is not known, or there are more or fewer than the indicator has rows.
    """
    parts = [" ".join(one.lower().split()) for one in re.split(r"[,;/]", text) if one.strip()]
    names = ", ".join(row.name for row in kind.rows)
    how = f"Write a state for each row from the lowest up ({names}): nothing, dots or line."
    states = []
    for part in parts:
        if part not in _WORDS:
            raise SpotError(f"{part!r} is nothing that is seen in a row of the indicator. {how}")
        states.append(_WORDS[part])
    if states == [NOTHING]:
        states = [NOTHING] * len(kind.rows)
    if len(states) != len(kind.rows):
        raise SpotError(
            f"{text.strip()!r} tells of {len(states)} rows, and the indicator has "
            f"{len(kind.rows)}. {how}"
        )
    return tuple(states)


def rows_interval(kind: IndicatorKind, states: tuple[str, ...]) -> Interval:
    """Give the oil content that the rows stand for, always the cautious one.

    Parameters
    ----------
    kind : IndicatorKind
        Which indicator.
    states : tuple of str
        One of `STATES` a row, the lowest row first.

    Returns
    -------
    Interval
        Oil content [mg/m3], from the highest threshold that was reached to the lowest that was
        not. A mark in an upper row counts up to that row's joined line, whatever is below it.

    Raises
    ------
    SpotError
        Where there are not as many states as rows, a state is not known, or an upper row is
        further on than a lower one.

    Notes
    -----
    Oil colours the lowest row first; a row above it can show as much at most.

    Examples
    --------
    >>> from lungwort.spot.devices import shipped_devices
    >>> kind = shipped_devices()[0]
    >>> str(rows_interval(kind, ("separate dots", "nothing", "nothing")))
    '> 0.05 to 0.1 mg/m3'
    """
    if len(states) != len(kind.rows) or any(one not in STATES for one in states):
        raise SpotError(
            f"the indicator has {len(kind.rows)} rows, and each shows one of: {', '.join(STATES)}; "
            f"found {', '.join(states) or 'none'}. Read each row."
        )
    ranks = [STATES.index(one) for one in states]
    for place in range(1, len(ranks)):
        if ranks[place] > ranks[place - 1]:
            above, below = kind.rows[place].name, kind.rows[place - 1].name
            raise SpotError(
                f"this cannot be: row {above!r} shows {states[place]!r} and row {below!r} below it "
                f"only {states[place - 1]!r}. Oil marks the lowest row first, and a row never shows "
                "more than the one below it. Hold the indicator the right way round and read it "
                "again; if it stays so, it is faulty: void the test and take a new one."
            )
    thresholds: list[tuple[float, bool]] = []
    at_least_to = 0.0
    for row, rank in zip(kind.rows, ranks, strict=True):
        if row.dots_mg_m3 is not None:
            thresholds.append((row.dots_mg_m3, rank >= 1))
        elif rank == 1:
            # Dots without a threshold of their own lie anywhere below the row's joined line.
            at_least_to = row.line_mg_m3
        thresholds.append((row.line_mg_m3, rank >= 2))  # noqa: PLR2004 - a joined line
    reached = [value for value, seen in thresholds if seen]
    lower = max(reached, default=0.0)
    open_ones = [
        value for value, seen in thresholds if not seen and value > lower and value >= at_least_to
    ]
    if not reached:
        return Interval.less_than(open_ones[0], UNIT)
    if not open_ones:
        return Interval.more_than(lower, UNIT)
    return Interval.between(lower, open_ones[0], UNIT)


def rows_reading(kind: IndicatorKind, states: tuple[str, ...]) -> str:
    """Write what the rows say as a hand test.

    Parameters
    ----------
    kind : IndicatorKind
        Which indicator.
    states : tuple of str
        One of `STATES` a row, the lowest row first.

    Returns
    -------
    str
        As `lungwort.spot.parse.parse_spot` takes it: ``oil=indicator: nothing seen``.

    Raises
    ------
    SpotError
        As `rows_interval`.
    """
    value = rows_interval(kind, states)
    for name, band in zip(indicator.band_names(), indicator.bands(), strict=True):
        if band == value:
            return f"oil=indicator: {name}"
    if value.lower == -math.inf:
        text = f"oil=<{value.upper:g} {UNIT}"
    elif value.upper == math.inf:
        text = f"oil=>{value.lower:g} {UNIT}"
    else:
        text = f"oil={value.lower:g}-{value.upper:g} {UNIT}"
    if parse_spot(text).value != value:
        raise SpotError(f"the rows stand for {value}, which cannot be written as a hand test.")
    return text


def void_reasons(
    kind: IndicatorKind,
    *,
    seal_intact: bool,
    expired: bool,
    sample_min: float,
    flow_l_min: float | None = None,
) -> tuple[str, ...]:
    """Tell why an indicator that was used so says nothing.

    Parameters
    ----------
    kind : IndicatorKind
        Which indicator.
    seal_intact : bool
        Whether its seal was intact when it was taken out.
    expired : bool
        Whether its lot had expired.
    sample_min : float
        Time for which air was blown through it [min].
    flow_l_min : float, optional
        Flow through it [L/min]; None where it was not measured.

    Returns
    -------
    tuple of str
        Sentences; empty where it may be read.
    """
    told = []
    if not seal_intact:
        told.append("The seal of the indicator was broken. Take a new one.")
    if expired:
        told.append("The lot of the indicator had expired. Take one in date.")
    if sample_min < kind.sample_min:
        told.append(
            f"Air was blown through the indicator for {sample_min:g} min, and its bands hold for "
            f"{kind.sample_min:g} min ({kind.standing})."
        )
    if kind.flow_l_min is not None and flow_l_min is not None:
        low, high = kind.flow_l_min
        if not low <= flow_l_min <= high:
            told.append(
                f"The flow through the indicator was {flow_l_min:g} L/min, and its bands hold for "
                f"{low:g} to {high:g} L/min ({kind.standing})."
            )
    return tuple(told)
