"""A calculation as it is shown: what was asked, what came out, and all that it rests on.

The same value goes to the terminal, to a page of the browser and on paper, so that all three say
the same.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final, Literal

from attrs import field, frozen, validators

from lungwort.errors import OutputError

if TYPE_CHECKING:
    from datetime import datetime

HOLDS: Final = "holds"
FAILS: Final = "fails"
NOT_PROVEN: Final = "not_proven"
ESTIMATE: Final = "estimate"
STATES: Final = (HOLDS, FAILS, NOT_PROVEN, ESTIMATE)
"""What a calculation can come to: what was asked for is met by the figures given, is not met, cannot
be shown, or the figure is for information and nothing is held against it."""

Cell = str | float | int | None


@frozen
class Quantity:
    """A figure with its unit, and where it comes from.

    Parameters
    ----------
    name : str
        What it is.
    value : float, str or None
        The figure, or words; None where it is not known.
    unit : str
        Its unit; empty for words and pure numbers.
    low, high : float, optional
        Ends of its interval [unit].
    source : str
        Where it comes from: ``entered``, ``on record``, ``assumed``, ``computed`` or a document.
    digits : int
        Significant digits to show [1].
    """

    name: str
    value: float | int | str | None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    source: str = ""
    digits: int = 3


@frozen
class Stated:
    """Something that was taken for granted.

    Parameters
    ----------
    text : str
        What was assumed.
    source : str
        On what ground: a document, ``common practice, no source`` or ``from memory``.
    effect : str
        What it does to the result, such as ``makes the result shorter``.
    """

    text: str
    source: str = ""
    effect: str = ""


@frozen
class Grid:
    """A table.

    Parameters
    ----------
    title : str
        What it holds.
    head : tuple of str
        Names of the columns, with units.
    rows : tuple of tuple
        Cells: words, numbers, or None for what is not known.
    marked : tuple of int
        Rows that fail or come first, counted from 0.
    note : str
        What has to be said below it.
    digits : int
        Significant digits of numbers [1].
    most : int
        Rows that a screen and paper show; the rest is in the JSON [1].
    """

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    marked: tuple[int, ...] = ()
    note: str = ""
    digits: int = 3
    most: int = 40


@frozen
class Curve:
    """One line of a plot.

    Parameters
    ----------
    name : str
        What it is.
    x : tuple of float
        Places along the plot: seconds since 1970 in UTC where the plot is over time, else numbers
        [unit of the plot].
    y : tuple of float
        Values [unit of the plot]; NaN where there is none, which breaks the line.
    low, high : tuple of float
        A band around it [unit of the plot]; empty for none.
    style : str
        ``line``, ``dashed``, ``steps`` or ``points``.
    """

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()
    style: Literal["line", "dashed", "steps", "points"] = "line"


@frozen
class Level:
    """A line across or down a plot, such as a limit or a moment.

    Parameters
    ----------
    name : str
        What it is.
    value : float
        Where it stands [unit of the axis].
    across : bool
        Across the plot, at a value of y; otherwise down, at a value of x.
    """

    name: str
    value: float
    across: bool = True


@frozen
class Plot:
    """A drawing of one or several curves over one axis.

    Parameters
    ----------
    title : str
        What it shows.
    x_name, x_unit : str
        The axis below; the unit ``time`` makes it an axis of time in the zone of the calculation.
    y_name, y_unit : str
        The axis at the left.
    curves : tuple of Curve
        At most five, so that they can be told apart.
    levels : tuple of Level
        Limits and moments.
    shades : tuple of (float, float)
        Stretches along x that are shaded [unit of x].
    says : str
        What one sees in it, in one sentence, for those who do not see it.
    """

    title: str
    x_name: str
    x_unit: str
    y_name: str
    y_unit: str
    curves: tuple[Curve, ...]
    levels: tuple[Level, ...] = ()
    shades: tuple[tuple[float, float], ...] = ()
    says: str = ""


@frozen(kw_only=True)
class Calculation:
    """What was asked, what came out, and all that it rests on.

    Parameters
    ----------
    kind : str
        Which calculation, a short name: ``exposure``, ``enough-air``, ``reserve`` …
    title : str
        The question, as one would ask it.
    subject : str
        Of what: supply, outlet, period.
    made_at : datetime
        When it was worked out, UTC.
    zone : str
        IANA time zone in which times are shown.
    state : str
        One of `STATES`.
    word : str
        The state in the words of this calculation, such as ``sufficient``.
    answer : str
        What came out, in one sentence, with number and unit.
    reasons : tuple of str
        Why, the weightiest first.
    results, inputs : tuple of Quantity
        What came out, and what went in.
    grids : tuple of Grid
        Tables.
    plots : tuple of Plot
        Drawings.
    assumptions : tuple of Stated
        What was taken for granted.
    uncertainty : str
        How far the result can be trusted.
    cautions : tuple of str
        What a person who acts on it has to mind.
    sources : tuple of str
        Where formulas and values were published, with their standing.
    left_out : tuple of str
        What was not taken into account, with the reason.
    next_steps : tuple of str
        What to do now.
    data : dict
        The whole result for machines; numbers, texts, lists and dicts only.
    """

    kind: str
    title: str
    subject: str
    made_at: datetime
    zone: str = "UTC"
    state: str = field(validator=validators.in_(STATES))
    word: str
    answer: str
    reasons: tuple[str, ...] = ()
    results: tuple[Quantity, ...] = ()
    inputs: tuple[Quantity, ...] = ()
    grids: tuple[Grid, ...] = ()
    plots: tuple[Plot, ...] = ()
    assumptions: tuple[Stated, ...] = ()
    uncertainty: str = ""
    cautions: tuple[str, ...] = field(validator=validators.min_len(1))
    sources: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    next_steps: tuple[str, ...] = ()
    data: dict[str, Any] = field(factory=dict, repr=False)


def figure(value: Cell, digits: int = 3) -> str:
    """Write a number with so many significant digits, and never in powers of ten.

    Parameters
    ----------
    value : float, int, str or None
        The number, or words, which stay as they are.
    digits : int
        Significant digits [1].

    Returns
    -------
    str
        A dash for None, and ``more than can be told`` for an infinite number.

    Raises
    ------
    OutputError
        For NaN, which no calculation may show.

    Examples
    --------
    >>> figure(1234.5), figure(0.012345), figure(12, 3), figure(None)
    ('1234', '0.0123', '12', '–')
    """
    if value is None:
        return "–"
    if isinstance(value, str):
        return value
    if isinstance(value, int):
        return str(value)
    if math.isnan(value):
        raise OutputError("a figure of the calculation is not a number; nothing is shown.")
    if math.isinf(value):
        return "no end" if value > 0 else "less than can be told"
    if value == 0:
        return "0"
    rounded = float(f"{value:.{digits - 1}e}")
    places = max(digits - 1 - math.floor(math.log10(abs(rounded))), 0)
    text = f"{rounded:.{places}f}" if places else f"{value:.0f}"
    return text.replace("-", "−")


def shown(quantity: Quantity) -> str:
    """Write a quantity with its unit, and with its interval where it has one.

    Parameters
    ----------
    quantity : Quantity
        The quantity.

    Returns
    -------
    str
        Such as ``12.3 bar(g) (11.9 to 12.7)``.

    Examples
    --------
    >>> shown(Quantity("life", 412.0, "h", low=350.0, high=480.0))
    '412 h (350 to 480 h)'
    """
    unit = f" {quantity.unit}" if quantity.unit else ""
    text = figure(quantity.value, quantity.digits)
    if quantity.value is not None:
        text += unit
    if quantity.low is None and quantity.high is None:
        return text
    low, high = (figure(end, quantity.digits) for end in (quantity.low, quantity.high))
    if low == high == figure(quantity.value, quantity.digits):
        return text
    if quantity.low is None:
        return f"{text} (at most {high}{unit})"
    if quantity.high is None:
        return f"{text} (at least {low}{unit})"
    return f"{text} ({low} to {high}{unit})"


def as_json(calculation: Calculation) -> dict[str, Any]:
    """Give the calculation for machines.

    Parameters
    ----------
    calculation : Calculation
        The calculation.

    Returns
    -------
    dict
        Its words, figures and tables, with ``data``; the points of plots are left out, since they
        are drawn from ``data`` or the evidence.
    """
    from attrs import asdict  # noqa: PLC0415 - only here

    made = asdict(
        calculation, recurse=True, filter=lambda one, _: one.name not in {"plots", "made_at"}
    )
    made["made_at"] = calculation.made_at.isoformat().replace("+00:00", "Z")
    made["format"] = f"lungwort-{calculation.kind}/1"
    return made
