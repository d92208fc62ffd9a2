"""What a user types about numbers and units, held against what they can be."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Final

from lungwort.air import analytes, units
from lungwort.air.analytes import ANALYTES
from lungwort.errors import InputError, QuantityError
from lungwort.jobs.catalogue.typed import near

NUMBER: Final = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)"
DEW_POINT_WORDS: Final = {
    analytes.PRESSURE_DEW_POINT: "pressure dew point",
    analytes.ATMOSPHERIC_DEW_POINT: "atmospheric dew point",
}

_MOST_DIGITS: Final = 24
_THOUSANDS: Final = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
_FINE_UNITS: Final = frozenset({"%", "°C", "°F", "K"})


def decimal_number(written: str, option: str, text: str, unit: str = "") -> Decimal:
    """Read a number as it is written.

    Parameters
    ----------
    written : str
        Digits with a point or a comma as decimal sign.
    option : str
        Option that it was given with, for the message.
    text : str
        All that was typed, for the message.
    unit : str
        Name of its unit, by which it is known whether three decimals are likely.

    Returns
    -------
    Decimal
        The number, with as many decimals as were written.

    Raises
    ------
    InputError
        Where it is no number, or its sign can as well part the thousands.

    Examples
    --------
    >>> decimal_number("48,5", "--row", "48,5 ppm")
    Decimal('48.5')
    """
    said = written.strip().replace("−", "-")
    if re.fullmatch(NUMBER, said, re.ASCII) is None:
        raise InputError(
            f"{option} {text!r}: {written.strip()!r} is no number. Write it like 48.5."
        )
    if len(said) > _MOST_DIGITS:
        raise InputError(f"{option}: a number of {len(said)} digits cannot be meant. Check it.")
    if _THOUSANDS.fullmatch(said) and (unit not in _FINE_UNITS or "," in said):
        grouped = re.sub(r"[.,]", "", said)
        parted = said.replace(",", ".").rstrip("0")
        parted += "0" if parted.endswith(".") else ""
        raise InputError(
            f"{option} {text!r}: {said!r} can be read as {grouped} or as {parted}. "
            f"Write {grouped} or {parted}."
        )
    return Decimal(said.replace(",", "."))


def hours(text: str, option: str, *, least: int = 0) -> Decimal:
    """Read hours.

    Parameters
    ----------
    text : str
        Like ``1234.5`` or ``2000 h``.
    option : str
        Option that it was given with, for the message.
    least : int
        Least that can be meant [h].

    Returns
    -------
    Decimal
        The hours [h].

    Raises
    ------
    InputError
        Where it is no such number.
    """
    said = re.sub(r"\s*(?:h|hours?)$", "", text.strip(), flags=re.IGNORECASE)
    value = decimal_number(said, option, text)
    if not least <= value <= 1_000_000:  # noqa: PLR2004 - more than a century
        raise InputError(f"{option} {text!r} is out of range. Give hours from {least} to 1000000.")
    return value


def exact(value: float) -> Decimal:
    """Bring a number that was converted between units to a decimal, without float dust."""
    return Decimal(f"{value:.9f}").normalize() + Decimal(0)


def pressure_bar_g(text: str, option: str) -> tuple[Decimal, str]:
    """Read a pressure.

    Parameters
    ----------
    text : str
        Like ``7 bar(g)`` or ``100 psi(g)``.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    tuple of (Decimal, str)
        Pressure [bar(g)], and what was taken for granted (empty for nothing).

    Raises
    ------
    InputError
        Where it is not a pressure.
    """
    from lungwort.jobs.inputs import parse_pressure_bar_g  # noqa: PLC0415 - brings in Polars

    _refuse_thousands(text, option)
    value, taken = parse_pressure_bar_g(text, option)
    return exact(value), taken.replace("Supply pressure", f"{option}:")


def temperature_c(text: str, option: str) -> Decimal:
    """Read a temperature.

    Parameters
    ----------
    text : str
        Like ``5 °C`` or ``41 °F``.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    Decimal
        Temperature [°C].

    Raises
    ------
    InputError
        Where it is not a temperature that an air line can have.
    """
    from lungwort.jobs.inputs import parse_temperature_c  # noqa: PLC0415 - brings in Polars

    return exact(parse_temperature_c(text, option))


def flow_l_min(text: str, option: str) -> Decimal:
    """Read a volume flow.

    Parameters
    ----------
    text : str
        Like ``170 L/min`` or ``6 cfm``.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    Decimal
        Flow [L/min].

    Raises
    ------
    InputError
        Where it is not a flow above 0.
    """
    _refuse_thousands(text, option)
    try:
        value, unit = units.parse_quantity(text)
        flow = units.scale(value, unit, "L/min")
    except QuantityError as error:
        raise InputError(f"{option} {text!r}: {error}") from error
    if not 0 < flow <= 100_000:  # noqa: PLR2004 - far beyond any wearer
        raise InputError(f"{option} {text!r} is out of range. Give a flow above 0 L/min.")
    return exact(flow)


def _refuse_thousands(text: str, option: str) -> None:
    match = re.match(rf"\s*({NUMBER})", text)
    if match is not None:
        decimal_number(match.group(1), option, text)


def unit_of(key: str, text: str, option: str) -> str:
    """Read the unit in which an analyte is measured.

    Parameters
    ----------
    key : str
        Key of the analyte.
    text : str
        The unit; for water as a temperature with the words 'pressure dew point' or 'atmospheric
        dew point'.
    option : str
        Option that it was given with, for the message.

    Returns
    -------
    str
        Name of the unit, with the words for a dew point where it is one.

    Raises
    ------
    InputError
        Where the unit is missing, not known or does not fit the analyte.

    Examples
    --------
    >>> unit_of("water", "deg C pressure dew point", "--channel")
    '°C pressure dew point'
    """
    from lungwort.logs.naming import parse_given_unit  # noqa: PLC0415 - brings in Polars

    if not text.strip():
        usual = ANALYTES[key].unit or "ppm"
        raise InputError(f"{option}: {key} has no unit. Write it like '{key}=0-100 {usual}'.")
    if not ANALYTES[key].unit:
        raise InputError(f"{option}: {ANALYTES[key].name} is told in words and not measured.")
    try:
        name, said = parse_given_unit(text)
    except QuantityError:
        meant = near(text.strip(), units.UNITS)
        listed = "" if meant else f" Known: {', '.join(units.UNITS)}."
        raise InputError(f"{option}: unit {text.strip()!r} is not known.{meant}{listed}") from None
    quantity = analytes.quantity_of_unit(name)
    if units.unit(name).dimension == units.PRESSURE_UNSTATED:
        raise InputError(
            f"{option}: {text.strip()!r} does not say gauge or absolute. Write {name}(g) or {name}(a)."
        )
    if said and (key != "water" or quantity != analytes.TEMPERATURE):
        raise InputError(
            f"{option}: a dew point is a temperature of water. Write 'water=… °C pressure dew point'."
        )
    if key == "water" and quantity == analytes.TEMPERATURE and not said:
        raise InputError(
            f"{option}: a dew point at which pressure? Write '{name} pressure dew point' or "
            f"'{name} atmospheric dew point'."
        )
    if quantity not in _quantities(key):
        usual = ", ".join(
            dict.fromkeys(analytes.canonical_unit(key, one) for one in sorted(_quantities(key)))
        )
        raise InputError(
            f"{option}: {ANALYTES[key].name} is not measured in {name}. Use a unit like {usual}."
        )
    return f"{name} {DEW_POINT_WORDS[said]}" if said else name


def bare_unit(unit: str) -> str:
    """Give the name of a unit without the words for a dew point.

    Parameters
    ----------
    unit : str
        As `unit_of` gives it.

    Returns
    -------
    str
        As `lungwort.air.units` knows it.
    """
    for words in DEW_POINT_WORDS.values():
        unit = unit.removesuffix(f" {words}")
    return unit


def _quantities(key: str) -> frozenset[str]:
    own = analytes.quantity_of_unit(ANALYTES[key].unit)
    if key == "water":
        return frozenset(
            {
                analytes.VOLUME_FRACTION,
                analytes.MASS_CONCENTRATION,
                analytes.HUMIDITY_RATIO,
                analytes.RELATIVE_HUMIDITY,
                analytes.TEMPERATURE,
            }
        )
    if own == analytes.VOLUME_FRACTION:
        return frozenset({own, analytes.MASS_CONCENTRATION})
    return frozenset({own})
