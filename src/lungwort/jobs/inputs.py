"""What a user types for a job: lengths of time, moments, pressures, temperatures, pairs."""

from __future__ import annotations

import math
import re
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from lungwort.air import units
from lungwort.errors import InputError, QuantityError
from lungwort.logs.times import zone_info

if TYPE_CHECKING:
    from collections.abc import Sequence

_SECONDS: Final = {
    "s": 1,
    "sec": 1,
    "min": 60,
    "m": 60,
    "h": 3600,
    "d": 86400,
    "day": 86400,
    "days": 86400,
}
_LOWEST_C: Final = -90.0
_HIGHEST_C: Final = 100.0


def parse_duration(text: str, option: str) -> timedelta:
    """Read a length of time.

    Parameters
    ----------
    text : str
        Like ``30s``, ``30 min``, ``1.5h``, ``2d`` or ``0``.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    datetime.timedelta
        The length.

    Raises
    ------
    InputError
        Where it is not a length of time.

    Examples
    --------
    >>> parse_duration("30 min", "--settle")
    datetime.timedelta(seconds=1800)
    """
    match = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*([a-z]*)\s*", text.lower())
    if match is not None and not units.may_be_thousands(match.group(1)):
        number, unit = float(match.group(1).replace(",", ".")), match.group(2)
        if unit in _SECONDS or (not unit and number == 0):
            return timedelta(seconds=number * _SECONDS.get(unit, 1))
    raise InputError(f"{option} {text!r} is no length of time. Write it like 30s, 30min, 2h or 0.")


def datetime_of(text: str) -> datetime:
    """Read an ISO 8601 date and time, with an offset where one is written.

    Parameters
    ----------
    text : str
        Like ``2026-03-04 10:00``.

    Returns
    -------
    datetime.datetime
        With a time zone only where the text states one.

    Raises
    ------
    ValueError
        Where it is no such text.
    """
    return datetime.fromisoformat(text.strip())


def parse_moment(text: str, zone: str | None, option: str) -> datetime:
    """Read a moment.

    Parameters
    ----------
    text : str
        ISO 8601, such as ``2026-03-04 10:00`` or ``2026-03-04T10:00:00+01:00``.
    zone : str, optional
        Zone of a moment without an offset; UTC where absent.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    datetime.datetime
        The moment, with a time zone.

    Raises
    ------
    InputError
        Where it is not such a moment.
    """
    try:
        moment = datetime_of(text)
    except ValueError as error:
        raise InputError(
            f"{option} {text!r} is no moment. Write it year first, like '2026-03-04 10:00'."
        ) from error
    if moment.tzinfo is not None:
        return moment
    return moment.replace(tzinfo=zone_info(zone) if zone is not None else ZoneInfo("UTC"))


def parse_pressure_bar_g(text: str, option: str) -> tuple[float, str]:
    """Read a line pressure.

    Parameters
    ----------
    text : str
        Like ``7 bar(g)``, ``8 bar(a)``, ``100 psi(g)`` or ``7 bar``, which is taken as gauge.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    tuple of (float, str)
        Pressure [bar(g)], and what was taken for granted (empty for nothing).

    Raises
    ------
    InputError
        Where it is not a pressure, or not above 0 bar(g).

    Examples
    --------
    >>> parse_pressure_bar_g("7 bar", "--supply-pressure")[0]
    7.0
    """
    try:
        value, unit = units.parse_quantity(text)
        taken = ""
        if units.unit(unit).dimension == units.PRESSURE_UNSTATED:
            taken = f"Supply pressure '{text.strip()}' was taken as gauge pressure."
            unit = {"hPa": "mbar(g)"}.get(unit, f"{unit}(g)")
        bar_g = units.scale(value, unit, "bar(g)")
    except QuantityError as error:
        raise InputError(
            f"{option} {text!r}: {error}{_quotes(text, option, '7 bar(g)')}"
        ) from error
    if not 0.0 < bar_g <= 1000.0:  # noqa: PLR2004 - from nothing to far beyond any cylinder
        raise InputError(
            f"{option} {text!r} is {bar_g:g} bar(g). Give one above 0 and up to 1000 bar(g)."
        )
    return round(bar_g, 9), taken


def parse_temperature_c(text: str, option: str) -> float:
    """Read a temperature.

    Parameters
    ----------
    text : str
        Like ``5 °C``, ``5 C``, ``41 °F`` or ``278 K``.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    float
        Temperature [°C].

    Raises
    ------
    InputError
        Where it is not a temperature that an air line can have.
    """
    try:
        value, unit = units.parse_quantity(text)
        celsius = units.scale(value, unit, "°C")
    except QuantityError as error:
        raise InputError(f"{option} {text!r}: {error}{_quotes(text, option, '5 °C')}") from error
    if not _LOWEST_C <= celsius <= _HIGHEST_C:
        raise InputError(
            f"{option} {text!r} is {celsius:.4g} °C. Give one from {_LOWEST_C:g} to {_HIGHEST_C:g} °C."
        )
    # Down to a hundredth: 20 °F is not -6.6666666666666785 °C, and lower is the safe side.
    return math.floor(celsius * 100.0 + 1e-9) / 100.0


def _quotes(text: str, option: str, example: str) -> str:
    """Hint at quotes where a bare number came, as a value with a blank does without them."""
    bare = re.fullmatch(r"\s*[+-]?[\d.,]+\s*", text)
    return f' A value with a blank in it needs quotes: {option} "{example}".' if bare else ""


def parse_pairs(texts: Sequence[str], option: str, example: str) -> tuple[tuple[str, str], ...]:
    """Read options of the form ``name=value``.

    Parameters
    ----------
    texts : sequence of str
        What was given.
    option : str
        The option, for the message.
    example : str
        A right one, for the message.

    Returns
    -------
    tuple of (str, str)
        Names and values.

    Raises
    ------
    InputError
        Where one has no name or no value.
    """
    pairs = []
    for text in texts:
        name, sign, value = text.partition("=")
        if not sign or not name.strip() or not value.strip():
            raise InputError(
                f"{option} {text!r} is not of the form name=value. Write it like {option} {example}."
            )
        pairs.append((name.strip(), value.strip()))
    return tuple(pairs)
