"""From the scale of a detector tube to the content that it stands for."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air.interval import Interval
from lungwort.errors import SpotError

if TYPE_CHECKING:
    from lungwort.spot.devices import TubeKind

REFERENCE_PRESSURE_HPA: Final = 1013.0
"""Air pressure for which scales hold [hPa]: general rule, from memory."""

GENERAL_UNCERTAINTY_PERCENT: Final = 50.0
NEAR_LIMIT_UNCERTAINTY_PERCENT: Final = 30.0
UNCERTAINTY_STANDING: Final = "EN 482 style, from memory"
PRESSURE_STANDING: Final = "general rule, from memory"
STROKES_STANDING: Final = "general rule, from memory; only where the tube's instruction allows it"

_LOWEST_HPA: Final = 300.0
_HIGHEST_HPA: Final = 1100.0
_NEAR_LIMIT: Final = (0.5, 2.0)


def pressure_factor(pressure_hpa: float) -> float:
    """Give the factor by which a reading is corrected for the air pressure at the tube.

    Parameters
    ----------
    pressure_hpa : float
        Air pressure at the tube, absolute [hPa]: that of the surroundings, as the air leaves the
        tube into them.

    Returns
    -------
    float
        1013 / p [1].

    Raises
    ------
    SpotError
        Where the pressure cannot be that of the surroundings.

    References
    ----------
    General rule for detector tubes, c = reading × 1013 / p[hPa]; from memory.

    Examples
    --------
    >>> round(pressure_factor(800.0), 4)
    1.2662
    """
    if not _LOWEST_HPA <= pressure_hpa <= _HIGHEST_HPA:
        raise SpotError(
            f"an air pressure of {pressure_hpa:g} hPa cannot be that of the surroundings. Give one "
            f"from {_LOWEST_HPA:g} to {_HIGHEST_HPA:g} hPa, absolute and not reduced to sea level."
        )
    return REFERENCE_PRESSURE_HPA / pressure_hpa


def strokes_factor(kind: TubeKind, used: float) -> float:
    """Give the factor by which a reading is corrected for the strokes or the volume.

    Parameters
    ----------
    kind : TubeKind
        Which tube.
    used : float
        Strokes that were made, or volume in the unit of the tube's own figure [1].

    Returns
    -------
    float
        n_scale / n_used [1].

    Raises
    ------
    SpotError
        Where it differs from what the scale holds for and the tube's data do not allow that.

    References
    ----------
    General rule for detector tubes, c = scale reading × n_scale / n_used; from memory.
    """
    if not (math.isfinite(used) and used > 0.0):
        raise SpotError(f"{used:g} strokes cannot be. Give how many were made.")
    if kind.strokes is None:
        raise SpotError(
            f"for how many strokes the scale of {kind.id} holds is not in its data. Make as many as "
            "its scale says and leave the number out, or write it into a file of the tube's own."
        )
    if used == kind.strokes:
        return 1.0
    if not kind.strokes_may_differ:
        raise SpotError(
            f"{used:g} strokes were made, and the scale of {kind.id} holds for {kind.strokes:g}. Its "
            "data do not allow another number: take a new tube."
        )
    return kind.strokes / used


def relative_uncertainty_percent(
    kind: TubeKind, value: float, limit: float | None = None
) -> tuple[float, str]:
    """Give the relative expanded uncertainty (k = 2) of a tube.

    Parameters
    ----------
    kind : TubeKind
        Which tube.
    value : float
        What it shows, corrected [unit of the tube].
    limit : float, optional
        The limit that it is held against [unit of the tube]; None where it is not known.

    Returns
    -------
    tuple of (float, str)
        Uncertainty [%] and how well it is founded: the tube's own; else 30 % from half the limit to
        twice the limit, and 50 % elsewhere and where no limit is known.

    References
    ----------
    Relative expanded uncertainty up to 30 % at 0.5 to 2 times the limit, up to 50 % at 0.1 to 0.5
    times the limit: EN 482 style, from memory. Outside these nothing is stated; 50 % is taken.
    """
    if kind.relative_uncertainty_percent is not None:
        return kind.relative_uncertainty_percent, kind.standing
    if limit is not None and limit > 0.0:
        low, high = _NEAR_LIMIT
        if low * limit <= value <= high * limit:
            return NEAR_LIMIT_UNCERTAINTY_PERCENT, UNCERTAINTY_STANDING
    return GENERAL_UNCERTAINTY_PERCENT, UNCERTAINTY_STANDING


@frozen
class TubeReading:
    """What a tube says.

    Parameters
    ----------
    value : Interval
        The content [unit of the tube].
    text : str
        As `lungwort.spot.parse.parse_spot` takes it: ``co=tube: 2 ± 0.6 ppm``.
    remarks : tuple of str
        How it was worked out.
    """

    value: Interval
    text: str
    remarks: tuple[str, ...] = ()


def tube_reading(
    kind: TubeKind,
    said: str,
    *,
    pressure_hpa: float,
    strokes: float | None = None,
    limit: float | None = None,
) -> TubeReading:
    """Work out what a tube says from what is seen on its scale.

    Parameters
    ----------
    kind : TubeKind
        Which tube.
    said : str
        What is seen: a number on the scale (``8``), ``< 5`` or ``nothing`` under the first mark,
        ``> 100`` or ``beyond`` past the last one. The unit may follow.
    pressure_hpa : float
        Air pressure at the tube, absolute [hPa].
    strokes : float, optional
        Strokes that were made, or the volume; None where it is what the scale holds for.
    limit : float, optional
        The limit that it is held against [unit of the tube].

    Returns
    -------
    TubeReading
        The content with its uncertainty. Under the first mark it is '< first mark' and past the
        last one '> last mark', both corrected; the end of the scale itself is taken as it stands.

    Raises
    ------
    SpotError
        Where the number cannot be, the unit is another, or a correction is not allowed.

    Examples
    --------
    >>> from lungwort.spot.devices import TubeKind
    >>> tube = TubeKind("a", "A", "co", "ppm", first_mark=5.0, last_mark=100.0)
    >>> tube_reading(tube, "10", pressure_hpa=1013.0).text
    'co=tube: 10 ± 5 ppm'
    >>> tube_reading(tube, "nothing", pressure_hpa=1013.0).text
    'co=tube: <5 ppm'
    """
    sign, number = _seen(kind, said)
    factor = pressure_factor(pressure_hpa)
    remarks = []
    if pressure_hpa != REFERENCE_PRESSURE_HPA:
        remarks.append(
            f"Corrected for {pressure_hpa:g} hPa: × {REFERENCE_PRESSURE_HPA:g}/{pressure_hpa:g} "
            f"({PRESSURE_STANDING})."
        )
    if strokes is not None:
        own = strokes_factor(kind, strokes)
        factor *= own
        if own != 1.0:
            remarks.append(
                f"Corrected for {strokes:g} instead of {kind.strokes:g} strokes ({STROKES_STANDING})."
            )
    if sign == "<":
        edge = rounded(number * factor, up=True)
        remarks.append("Under the first mark; the uncertainty of the mark itself is not in it.")
        value = Interval.less_than(float(edge), kind.unit)
        return TubeReading(value, f"{kind.analyte}=tube: <{edge} {kind.unit}", tuple(remarks))
    if sign == ">":
        edge = rounded(number * factor, up=False)
        remarks.append("Past the last mark: the tube was overloaded, and there may be far more.")
        value = Interval.more_than(float(edge), kind.unit)
        return TubeReading(value, f"{kind.analyte}=tube: >{edge} {kind.unit}", tuple(remarks))
    corrected = number * factor
    percent, standing = relative_uncertainty_percent(kind, corrected, limit)
    middle = rounded(corrected)
    # Rounded up, so that the interval never gets narrower; never below zero.
    spread = rounded(float(middle) * percent / 100.0, up=percent < 100.0)  # noqa: PLR2004 - per cent
    remarks.append(f"Relative expanded uncertainty {percent:g} % ({standing}).")
    value = Interval(float(middle) - float(spread), float(middle) + float(spread), kind.unit)
    text = f"{kind.analyte}=tube: {middle} ± {spread} {kind.unit}"
    return TubeReading(value, text, tuple(remarks))


_SEEN: Final = re.compile(r"(<=|>=|≤|≥|<|>)?\s*(\d+(?:[.,]\d+)?)\s*(.*)")
_UNDER: Final = ("nothing", "none", "nil", "no stain", "under", "under the first mark", "0")
_BEYOND: Final = ("beyond", "over", "past the last mark", "whole scale")
_AMBIGUOUS: Final = re.compile(r"[1-9]\d{0,2}[.,]\d{3}")


def _seen(kind: TubeKind, said: str) -> tuple[str, float]:
    """Give '<', '>' or '' and the number on the scale."""
    words = " ".join(said.lower().split())
    for listed, mark, sign, which in (
        (_UNDER, kind.first_mark, "<", "first"),
        (_BEYOND, kind.last_mark, ">", "last"),
    ):
        if words in listed:
            if mark is None:
                raise SpotError(
                    f"{said.strip()!r}: the {which} mark of {kind.id} is not in its data. Write it, "
                    f"like '{sign} 5 {kind.unit}'."
                )
            return sign, mark
    match = _SEEN.fullmatch(" ".join(said.split()))
    if match is None:
        raise SpotError(
            f"{said.strip()!r} is nothing that is seen on a tube. Write the number on its scale, "
            "'nothing' under the first mark, or 'beyond' past the last one."
        )
    sign, written, unit = match.group(1) or "", match.group(2), match.group(3).strip()
    if _AMBIGUOUS.fullmatch(written):
        digits = re.sub(r"[.,]", "", written)
        raise SpotError(f"{written!r} can be read in two ways. Write {digits}, or one digit more.")
    if unit and unit.lower() != kind.unit.lower():
        raise SpotError(f"{said.strip()!r}: the scale of {kind.id} is in {kind.unit}, not {unit}.")
    number = float(written.replace(",", "."))
    sign = {"<=": "<", "≤": "<", ">=": ">", "≥": ">"}.get(sign, sign)
    if number <= 0.0:
        raise SpotError(
            f"{said.strip()!r}: a tube never shows nought. Write '< first mark', like '< 5'."
        )
    if not sign and kind.first_mark is not None and number < kind.first_mark:
        return "<", kind.first_mark
    if not sign and kind.last_mark is not None and number > kind.last_mark:
        return ">", kind.last_mark
    # A mark told by the user gives no more than the scale does.
    if sign == "<" and kind.first_mark is not None:
        number = max(number, kind.first_mark)
    if sign == ">" and kind.last_mark is not None:
        number = min(number, kind.last_mark)
    return sign, number


def rounded(value: float, *, up: bool | None = None) -> str:
    """Write a number to four significant digits so that it can be read in one way only.

    Parameters
    ----------
    value : float
        The number, above 0.
    up : bool, optional
        True to round up, False to round down, None to the nearest.

    Returns
    -------
    str
        Decimal notation; never three digits after the point behind one to three others, which
        could be thousands.

    Examples
    --------
    >>> rounded(1.23449), rounded(2.0), rounded(1.23401, up=True)
    ('1.2340', '2', '1.2350')
    """
    if value == 0.0:
        return "0"
    places = 3 - math.floor(math.log10(abs(value)))
    scaled = value * 10.0**places
    # A grain of float dust must not count as a digit.
    near = round(scaled)
    if up is None or abs(scaled - near) < 1e-6 * abs(scaled) * 1e-3:
        whole = near
    else:
        whole = math.ceil(scaled) if up else math.floor(scaled)
    text = f"{whole * 10.0**-places:.{max(places, 0)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{text}0" if _AMBIGUOUS.fullmatch(text) else text
