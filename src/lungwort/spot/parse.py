"""Reading a hand test as a user writes it: ``oil=<0.05 mg/m3``, ``odour=none``."""

from __future__ import annotations

import difflib
import math
import re
from typing import TYPE_CHECKING, Final

from lungwort.air import analytes, units
from lungwort.air.analytes import ANALYTES
from lungwort.air.interval import Interval
from lungwort.errors import QuantityError, SpotError
from lungwort.spot import indicator
from lungwort.spot.model import SpotTest

if TYPE_CHECKING:
    from datetime import datetime

_IN_WORDS: Final = {"odour": "by nose", "liquid_water": "by eye"}
_NOTHING: Final = frozenset(
    {"none", "no", "nothing", "nil", "none noticed", "nothing noticed", "not noticeable"}
    | {"none noticeable", "nothing noticeable", "none seen", "nothing seen", "absent"}
    | {"not noticed", "not seen", "false", "no odour", "no odor", "no smell", "odourless"}
    | {"no liquid water", "no water", "dry"}
)
_SOMETHING: Final = frozenset(
    {"noticeable", "noticed", "yes", "some", "present", "seen", "slight", "strong", "true"}
    | {"significant", "faint", "oily", "found"}
)
_OTHER_NAMES: Final = {
    "odor": "odour",
    "smell": "odour",
    "odour or taste": "odour",
    "taste": "odour",
    "oxygen": "o2",
    "nitrogen oxides": "nox",
    "moisture": "water",
    "humidity": "relative_humidity",
    "free water": "liquid_water",
    "condensate": "liquid_water",
    "oil mist": "oil",
    "particulates": "particles",
    "oil and particles": "oil_and_particles",
    "oil and particulates": "oil_and_particles",
    "oil mist and particulates": "oil_and_particles",
    "oil+particles": "oil_and_particles",
    "oil + particles": "oil_and_particles",
    "sulfur dioxide": "so2",
    "hydrogen sulfide": "h2s",
    "vocs": "voc",
}
_WATER: Final = frozenset(
    {
        analytes.VOLUME_FRACTION,
        analytes.MASS_CONCENTRATION,
        analytes.HUMIDITY_RATIO,
        analytes.ATMOSPHERIC_DEW_POINT,
        analytes.PRESSURE_DEW_POINT,
    }
)
_CONTENTS: Final = frozenset(
    {analytes.VOLUME_FRACTION, analytes.MASS_CONCENTRATION, analytes.HUMIDITY_RATIO}
)
_DEW_POINTS: Final = (
    (re.compile(r"\b(?:atmospheric|atm)\.?\s+(?:dew|frost)[\s-]?point$|\badp$"), "atmospheric"),
    (re.compile(r"\b(?:pressure|line)\s+(?:dew|frost)[\s-]?point$|\bpdp$"), "pressure"),
)
_LOWEST_DEW_POINT_C: Final = -110.0
_HIGHEST_DEW_POINT_C: Final = 100.0

_NUMBER: Final = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[+-]?\d+)?"
_PLAIN = re.compile(rf"^(?P<a>{_NUMBER})\s*(?P<unit>.*)$", re.IGNORECASE)
_SIGNED = re.compile(
    rf"^(?P<sign><=|>=|=<|=>|<|>|≤|≥)\s*(?P<a>{_NUMBER})\s*(?P<unit>.*)$", re.IGNORECASE
)
_BAND = re.compile(
    rf"^(?P<a>{_NUMBER})\s*(?:-|–|to\b|\.\.\.?|…)\s*(?P<b>{_NUMBER})\s*(?P<unit>.*)$",
    re.IGNORECASE,
)
_SPREAD = re.compile(
    rf"^(?P<a>{_NUMBER})\s*(?P<first>[^±]*?)\s*(?:±|\+/-|\+-)\s*(?P<b>{_NUMBER})\s*(?P<unit>.*)$",
    re.IGNORECASE,
)
_THOUSANDS: Final = re.compile(r"^[+-]?[1-9]\d{0,2}[.,]\d{3}$")

HOW: Final = (
    "Write it like 'oil=<0.05 mg/m3', 'oil=0.1-0.5 mg/m3', 'co=2 ppm', 'co=2 ± 0.5 ppm', "
    "'oil=indicator: nothing seen' or 'odour=none'."
)


def parse_spot(text: str, *, time: datetime | None = None) -> SpotTest:
    """Read a hand test as a user writes it.

    Parameters
    ----------
    text : str
        ``analyte=reading``. The reading is a number with its unit (``co=2 ppm``), with a spread
        (``co=2 ± 0.5 ppm``), open (``oil=<0.05 mg/m3``), a band (``oil=0.1-0.5 mg/m3``, which
        leaves out its lower end), a step of the banded indicator (``oil=indicator: 0.1-0.5``), or
        for odour and liquid water a word (``odour=none``). A comma is a decimal sign. Water as a
        temperature says which dew point it is (``water=-50 °C atmospheric dew point``).
    time : datetime, optional
        When the test was done, with a time zone.

    Returns
    -------
    SpotTest
        The test, its value in the canonical unit of its quantity.

    Raises
    ------
    SpotError
        Where the analyte or the unit is not known, the unit is missing or does not fit the
        analyte, or the number cannot be.

    Examples
    --------
    >>> str(parse_spot("oil=<0.05 mg/m3").value)
    '< 0.05 mg/m3'
    >>> parse_spot("odour=none").perceived
    False
    """
    name, sign, reading = text.partition("=")
    if not sign or not name.strip() or not reading.strip():
        raise SpotError(f"hand test {text!r} is not of the form analyte=reading. {HOW}")
    key = _analyte(name, text)
    said = reading.strip().replace("−", "-")
    if key in _IN_WORDS:
        words = " ".join(said.lower().rstrip(".").split())
        if words in _NOTHING or words in _SOMETHING:
            return SpotTest(
                analyte=key,
                quantity=analytes.WORDING,
                perceived=words in _SOMETHING,
                means=_IN_WORDS[key],
                time=time,
                given=text,
            )
        if key == "odour":
            raise SpotError(
                f"hand test {text!r}: an odour is told in words. "
                "Write 'odour=none' or 'odour=noticeable'."
            )
    means, remark, said = _means(key, said, text)
    if means == indicator.MEANS:
        value, quantity = indicator.band(said), analytes.MASS_CONCENTRATION
    else:
        value, quantity = _value(key, said, text)
    _possible(key, quantity, value, text)
    return SpotTest(
        analyte=key,
        quantity=quantity,
        value=value,
        means=means,
        time=time,
        given=text,
        remark=remark,
    )


def _analyte(name: str, text: str) -> str:
    wanted = " ".join(name.lower().replace("_", " ").replace("-", " ").split())
    wanted = wanted.replace("₂", "2").replace("₄", "4").replace("₃", "3")
    known = {key.replace("_", " "): key for key in ANALYTES}
    known |= {one.name: key for key, one in ANALYTES.items()}
    known |= _OTHER_NAMES
    if wanted in known:
        return known[wanted]
    near = difflib.get_close_matches(wanted, known, n=3, cutoff=0.5)
    meant = f"Did you mean {' or '.join(repr(one) for one in near)}?" if near else ""
    listed = "" if near else f"Known: {', '.join(ANALYTES)}."
    raise SpotError(f"hand test {text!r}: analyte {name.strip()!r} is not known. {meant}{listed}")


def _means(key: str, said: str, text: str) -> tuple[str, str, str]:
    """Take off 'indicator:' or 'tube:', and give the means, the remark and the rest."""
    word, sign, rest = said.partition(":")
    how = " ".join(word.lower().split())
    if sign and how in {"indicator", indicator.MEANS}:
        if key != "oil":
            raise SpotError(
                f"hand test {text!r}: the banded indicator is for oil. "
                f"Give {ANALYTES[key].name} as a number with its unit."
            )
        return indicator.MEANS, indicator.REMARK, rest.strip()
    if sign and how in {"tube", "detector tube"}:
        return "detector tube", "", rest.strip()
    if " ".join(said.lower().split()) in _NOTHING:
        if key == "oil":
            raise SpotError(
                f"hand test {text!r}: nothing seen on what? If it was the banded indicator, write "
                "'oil=indicator: nothing seen', which stands for < 0.05 mg/m3; else give the least "
                "content that the means can show, like 'oil=<0.1 mg/m3'."
            )
        raise SpotError(
            f"hand test {text!r}: nothing found says too little. Give the least content that the "
            f"means can show, like '{key}=<1 {ANALYTES[key].unit or 'ppm'}'."
        )
    return "", "", said


def _value(key: str, said: str, text: str) -> tuple[Interval, str]:
    for pattern, build in (
        (_SIGNED, _open_ended),
        (_SPREAD, _with_spread),
        (_BAND, _band),
        (_PLAIN, _plain),
    ):
        match = pattern.match(said)
        if match is not None:
            parts = match.groupdict()
            numbers = [
                _number(parts[which], parts["unit"], text) for which in ("a", "b") if which in parts
            ]
            quantity, unit = _unit(key, parts["unit"], text)
            first = parts.get("first")
            if first and units.unit_name(first) != unit:
                raise SpotError(
                    f"hand test {text!r}: the number is in {first!r} and its spread in {unit!r}. "
                    "Write both in one unit."
                )
            kept = analytes.canonical_unit(key, quantity)
            return build(parts, numbers, unit, kept, text), quantity
    raise SpotError(f"hand test {text!r}: {said!r} is no number with a unit. {HOW}")


def _number(written: str, unit_text: str, text: str) -> float:
    coarse = units.unit_name(unit_text) not in {"%", "°C", "°F", "K"}
    if _THOUSANDS.match(written) and (coarse or "," in written):
        digits = re.sub(r"[.,]", "", written)
        decimal = written.replace(",", ".").rstrip("0")
        raise SpotError(
            f"hand test {text!r}: {written!r} can be read as {digits} or as {decimal}. "
            f"Write {digits} or {decimal}{'0' if decimal.endswith('.') else ''}."
        )
    number = float(written.replace(",", "."))
    if not math.isfinite(number):
        raise SpotError(f"hand test {text!r}: {written!r} is too large for a number. Check it.")
    return number


def _unit(key: str, written: str, text: str) -> tuple[str, str]:
    """Give the quantity and the unit's name."""
    words = " ".join(written.strip().rstrip(".").split())
    which = ""
    for pattern, kind in _DEW_POINTS:
        match = pattern.search(words.lower())
        if match is not None:
            which = kind
            words = words[: match.start()].strip()
    if not words:
        raise SpotError(f"hand test {text!r} has no unit. {HOW}")
    unit = units.unit_name(words)
    if unit is None:
        near = difflib.get_close_matches(words, list(units.UNITS), n=3, cutoff=0.5)
        meant = (
            f"Did you mean {' or '.join(near)}?" if near else f"Known: {', '.join(units.UNITS)}."
        )
        raise SpotError(f"hand test {text!r}: unit {words!r} is not known. {meant}")
    quantity = analytes.quantity_of_unit(unit)
    if key == "water" and quantity == analytes.TEMPERATURE:
        if not which:
            raise SpotError(
                f"hand test {text!r}: a dew point at which pressure? Write "
                f"'{text.strip()} atmospheric dew point' or '{text.strip()} pressure dew point'."
            )
        return (
            analytes.ATMOSPHERIC_DEW_POINT
            if which == "atmospheric"
            else analytes.PRESSURE_DEW_POINT
        ), unit
    if which:
        raise SpotError(
            f"hand test {text!r}: a dew point is a temperature of water. "
            "Write it like 'water=-50 °C atmospheric dew point'."
        )
    fits = _quantities(key)
    if quantity not in fits:
        usual = ", ".join(dict.fromkeys(analytes.canonical_unit(key, one) for one in sorted(fits)))
        raise SpotError(
            f"hand test {text!r}: {ANALYTES[key].name} is not measured in {unit}. "
            f"Use a unit like {usual}."
        )
    return quantity, unit


def _quantities(key: str) -> frozenset[str]:
    if key == "water":
        return _WATER
    own = analytes.quantity_of_unit(ANALYTES[key].unit)
    if own == analytes.VOLUME_FRACTION:
        return frozenset({own, analytes.MASS_CONCENTRATION})
    return frozenset({own})


def _possible(key: str, quantity: str, value: Interval, text: str) -> None:
    lower = value.lower if value.lower != -float("inf") else value.upper
    upper = value.upper if value.upper != float("inf") else value.lower
    if quantity in _CONTENTS and (lower < 0 or upper < 0):
        raise SpotError(
            f"hand test {text!r}: a content below zero cannot be. Check the sign and the spread."
        )
    if quantity in {analytes.ATMOSPHERIC_DEW_POINT, analytes.PRESSURE_DEW_POINT}:
        lowest, highest = _LOWEST_DEW_POINT_C, _HIGHEST_DEW_POINT_C
    elif ANALYTES[key].unit == analytes.canonical_unit(key, quantity):
        lowest, highest = ANALYTES[key].possible
    else:
        return
    if lower < lowest or upper > highest:
        raise SpotError(
            f"hand test {text!r}: {value} cannot be measured; possible is {lowest:g} to "
            f"{highest:g} {value.unit}. Check the number and its unit."
        )


def _scaled(value: float, unit: str, kept: str, text: str) -> float:
    try:
        return float(units.scale(value, unit, kept))
    except QuantityError as error:
        raise SpotError(f"hand test {text!r}: {error}") from error


def _open_ended(
    parts: dict[str, str], numbers: list[float], unit: str, kept: str, text: str
) -> Interval:
    value = _scaled(numbers[0], unit, kept, text)
    included = parts["sign"] not in {"<", ">"}
    if "<" in parts["sign"] or parts["sign"] == "≤":
        return Interval(-float("inf"), value, kept, False, included)
    return Interval(value, float("inf"), kept, included, False)


def _with_spread(
    parts: dict[str, str], numbers: list[float], unit: str, kept: str, text: str
) -> Interval:
    del parts
    middle, spread = numbers
    if spread < 0:
        raise SpotError(
            f"hand test {text!r}: a spread below zero cannot be. Write it without sign."
        )
    low, high = (
        float(f"{_scaled(end, unit, kept, text):.12g}")
        for end in (middle - spread, middle + spread)
    )
    if low < 0 <= middle and units.UNITS[kept].dimension != units.TEMPERATURE:
        # A spread may reach below zero where the content itself cannot.
        low = 0.0
    return Interval(low, high, kept)


def _band(parts: dict[str, str], numbers: list[float], unit: str, kept: str, text: str) -> Interval:
    del parts
    low, high = (_scaled(end, unit, kept, text) for end in numbers)
    if low >= high:
        raise SpotError(
            f"hand test {text!r}: a band from {numbers[0]:g} to {numbers[1]:g} does not rise. "
            "Write the smaller number first."
        )
    return Interval.between(low, high, kept)


def _plain(
    parts: dict[str, str], numbers: list[float], unit: str, kept: str, text: str
) -> Interval:
    del parts
    return Interval.exactly(_scaled(numbers[0], unit, kept, text), kept)
