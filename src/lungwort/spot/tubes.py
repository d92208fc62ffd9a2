"""Detector tubes: from the mark that is read to the content, with its uncertainty.

The scale holds for the number of strokes, or the time, and for the air pressure that the tube's
instructions state. Length-of-stain tubes serve for short tests; a tube is no alarm (ISO 17621:2015,
scope, confirmed; OSHA letter of 1994-04-25, confirmed).
"""

from __future__ import annotations

from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_UP, Decimal, InvalidOperation
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air.interval import Interval
from lungwort.errors import RangeError, SpotError

if TYPE_CHECKING:
    from lungwort.spot.devices import TubeKind

SCALE_PRESSURE_HPA: Final = Decimal(1013)
"""Air pressure for which scales hold [hPa]: general rule, from memory."""

LOWEST_PRESSURE_HPA: Final = Decimal(500)
HIGHEST_PRESSURE_HPA: Final = Decimal(1100)
MOST_STROKES: Final = 100
_DIGITS: Final = 3
_UNDER: Final = frozenset({"nothing", "none", "below", "under", "0"})
_OVER: Final = frozenset({"over", "beyond", "above"})


@frozen
class Corrected:
    """A tube's reading after correction.

    Parameters
    ----------
    value : Decimal
        The content, or the end that is known of it [unit of the tube].
    side : str
        ``<`` where nothing was seen up to the first mark, ``>`` where the stain went past the last
        one, else empty.
    uncertainty : Decimal
        Expanded uncertainty (k = 2) [unit of the tube]; 0 where only an end is known.
    unit : str
        The unit.
    factor : Decimal
        What the reading was multiplied with [1].
    """

    value: Decimal
    side: str
    uncertainty: Decimal
    unit: str
    factor: Decimal

    @property
    def interval(self) -> Interval:
        """The content as an interval, from its uncertainty or its open end."""
        if self.side == "<":
            return Interval.less_than(float(self.value), self.unit)
        if self.side == ">":
            return Interval.more_than(float(self.value), self.unit)
        return Interval(
            float(self.value - self.uncertainty),
            float(self.value + self.uncertainty),
            unit=self.unit,
        )


def corrected(
    kind: TubeKind, shown: str, *, pressure_hpa: Decimal, strokes: int | None = None
) -> Corrected:
    """Correct what a tube shows for air pressure and number of strokes.

    Parameters
    ----------
    kind : TubeKind
        The tube.
    shown : str
        The mark as read [unit of the tube], a comma or a point as decimal sign; ``nothing`` for no
        stain up to the first mark, ``over`` for a stain past the last one.
    pressure_hpa : Decimal
        Air pressure at the tube [hPa], 500 to 1100.
    strokes : int, optional
        Strokes that were made [1]; None for those of the scale.

    Returns
    -------
    Corrected
        The content. A reading under the first mark is '< first mark', never 0.

    Raises
    ------
    SpotError
        Where the reading is no number, or other strokes are not allowed by the tube.
    RangeError
        Where pressure or strokes are out of range.

    Notes
    -----
    c = reading · 1013/p · n_scale/n_made (general rules, from memory; the latter only where the
    tube's instructions allow other strokes).

    Examples
    --------
    >>> from lungwort.spot.devices import tube_kind
    >>> one = corrected(tube_kind("tube-co"), "10", pressure_hpa=Decimal(900), strokes=20)
    >>> one.value, one.uncertainty
    (Decimal('5.63'), Decimal('1.69'))
    """
    factor = _factor(kind, pressure_hpa, strokes)
    side, mark = _mark(kind, shown)
    if side:
        rounding = ROUND_UP if side == "<" else ROUND_DOWN
        return Corrected(_rounded(mark * factor, rounding), side, Decimal(0), kind.unit, factor)
    value = mark * factor
    low = value < kind.low_below
    share = kind.relative_uncertainty_low if low else kind.relative_uncertainty
    return Corrected(
        _rounded(value, ROUND_HALF_EVEN), "", _rounded(value * share, ROUND_UP), kind.unit, factor
    )


def _factor(kind: TubeKind, pressure_hpa: Decimal, strokes: int | None) -> Decimal:
    if not LOWEST_PRESSURE_HPA <= pressure_hpa <= HIGHEST_PRESSURE_HPA:
        raise RangeError(
            f"an air pressure of {pressure_hpa} hPa was given; {LOWEST_PRESSURE_HPA} to "
            f"{HIGHEST_PRESSURE_HPA} hPa is possible. Give the air pressure at the tube, not the "
            "line pressure."
        )
    factor = SCALE_PRESSURE_HPA / pressure_hpa
    if strokes is None or strokes == kind.strokes:
        return factor
    if kind.strokes is None:
        raise SpotError(
            f"{kind.title} is read after {kind.sample_min} min, not after strokes. Leave them out."
        )
    if not kind.strokes_may_differ:
        raise SpotError(
            f"{strokes} strokes were made; the scale of {kind.title} holds for {kind.strokes}, and "
            "its data allow no others. Test again with a new tube."
        )
    if not 1 <= strokes <= MOST_STROKES:
        raise RangeError(f"{strokes} strokes were given; 1 to {MOST_STROKES} are possible.")
    return factor * Decimal(kind.strokes) / Decimal(strokes)


def _mark(kind: TubeKind, shown: str) -> tuple[str, Decimal]:
    text = " ".join(shown.lower().replace("−", "-").split())
    text = text.removesuffix(kind.unit.lower()).strip()
    if text in _UNDER:
        return "<", kind.first_mark
    if text in _OVER:
        return ">", kind.last_mark
    sign = text[:1] if text[:1] in {"<", ">"} else ""
    try:
        mark = Decimal(text.removeprefix(sign).strip().replace(",", "."))
    except InvalidOperation:
        mark = Decimal("NaN")
    if not mark.is_finite() or mark < 0:
        raise SpotError(
            f"tube reading {shown!r} is no mark. Write the number on the scale [{kind.unit}], "
            f"'nothing' below the first mark ({kind.first_mark}), or 'over' past the last one "
            f"({kind.last_mark})."
        )
    if sign == ">" or mark > kind.last_mark:
        return ">", min(mark, kind.last_mark)
    if sign == "<" or mark < kind.first_mark:
        return "<", max(mark, kind.first_mark)
    return "", mark


def _rounded(value: Decimal, rounding: str) -> Decimal:
    """Keep three significant digits."""
    if value == 0:
        return value
    places = Decimal(1).scaleb(value.adjusted() - _DIGITS + 1)
    return value.quantize(places, rounding)


def reading_text(
    kind: TubeKind, shown: str, *, pressure_hpa: Decimal, strokes: int | None = None
) -> str:
    """Write a tube's corrected reading in the form that `lungwort.spot.parse.parse_spot` takes.

    Parameters
    ----------
    kind, shown, pressure_hpa, strokes
        As `corrected`.

    Returns
    -------
    str
        Such as ``co=tube: 5.63 ± 1.69 ppm`` or ``oil=tube: <0.1 mg/m3``.

    Raises
    ------
    SpotError, RangeError
        As `corrected`.
    """
    one = corrected(kind, shown, pressure_hpa=pressure_hpa, strokes=strokes)
    if one.side:
        return f"{kind.analyte}=tube: {one.side}{_plain(one.value)} {one.unit}"
    return f"{kind.analyte}=tube: {_plain(one.value)} ± {_plain(one.uncertainty)} {one.unit}"


def _plain(value: Decimal) -> str:
    """Write a number without an exponent and without zeros that say nothing."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
