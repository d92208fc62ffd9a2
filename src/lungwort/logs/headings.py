"""From a column's heading to what it measures and in which unit.

Headings are read by whole words, in English, German, French, Spanish and Norwegian. A heading
that is not understood is left alone and listed; one that can mean two things gives a question.
A word that is not known beside an analyte's name can turn a reading into something else ('CO
step', 'CO A1'), so it gives a question too.
"""

from __future__ import annotations

import re
from typing import Final

from attrs import evolve, frozen

from lungwort.air import units as air_units
from lungwort.air.analytes import (
    ANALYTES,
    ATMOSPHERIC_DEW_POINT,
    PRESSURE_DEW_POINT,
    RELATIVE_HUMIDITY,
    quantity_of_unit,
)
from lungwort.logs import vocabulary as words_of
from lungwort.logs.headunits import AT_20_C, bare_unit, fold, measure_doubt, take_unit

DEW_POINT: Final = "dew_point"
"""A dew point of which it is not said whether it is at atmospheric or at line pressure."""

_BY_NAME: Final = {name: key for key, names in words_of.NAMES.items() for name in names}
_LONGEST: Final = max(len(name.split()) for name in _BY_NAME)
_DEW_KEYS: Final = {"adp": ATMOSPHERIC_DEW_POINT, "pdp": PRESSURE_DEW_POINT, "dew": DEW_POINT}
_PLACES: Final = frozenset({"time", "date", "name", "value", "unit"})
_BESIDE: Final = frozenset({"temperature", "pressure", "flow"})
_STATISTICS: Final = words_of.MEANS | words_of.LOWEST | words_of.HIGHEST | words_of.EXPOSURE
_LENGTH: Final = re.compile(
    r"(\d+)(min|mins|minutes?|minuten|m|h|hr|hrs|hours?|std|stunden|s|sec|seconds?|sek|d|days?)"
)


@frozen
class Reading:
    """What a heading says.

    Parameters
    ----------
    key : str
        Analyte key, or ``time``, ``date``, ``name``, ``value``, ``unit``; empty where the heading
        is not understood.
    quantity : str
        Quantity where the words alone settle it (dew points), `DEW_POINT` where they leave it
        open, else empty.
    unit : str
        Unit name found in the heading; empty for none.
    unit_text : str
        What stood where a unit belongs, as written; empty for nothing.
    statistic : str
        Words that say that the column holds an average or a maximum; empty for none.
    doubt : str
        What in the heading leaves open whether the column holds the readings of that analyte;
        empty for nothing.
    measure : str
        What leaves open whether the numbers are in that unit, such as a factor; empty for nothing.
    why : str
        Why a heading with a known name is no column of readings; empty where it is one.
    """

    key: str = ""
    quantity: str = ""
    unit: str = ""
    unit_text: str = ""
    statistic: str = ""
    doubt: str = ""
    measure: str = ""
    why: str = ""


def read_heading(heading: str, unit_row: str = "") -> Reading:
    """Read one heading, with what stands in the unit row below it.

    Parameters
    ----------
    heading : str
        The heading as written.
    unit_row : str
        The cell below it in a row of units; empty for none.

    Returns
    -------
    Reading
        What it says; `Reading.key` is empty where it says nothing known.

    Examples
    --------
    >>> read_heading("Kohlenmonoxid [ml/m³]").key, read_heading("Kohlenmonoxid [ml/m³]").unit
    ('co', 'ppm')
    >>> read_heading("PT08.S1(CO)").key
    ''
    >>> read_heading("CO step [ppm]").doubt
    "the word 'step' is not known"
    """
    unit, unit_text, rest, asides = take_unit(heading)
    below = bare_unit(unit_row)
    doubt = ""
    if below and below not in {"-", "--"}:
        named = air_units.unit_name(below)
        if named is not None and unit and named != unit:
            unit, unit_text = "", f"{unit_text}' above '{below}"
        elif named is not None:
            unit, unit_text = named, below
        elif not unit:
            unit_text = below
            asides = (*asides, below)
        else:
            doubt = f"'{below}' stands under it in the row of units"
    reading = _read_words(heading, rest, unit, unit_text, asides)
    if reading.key and reading.key not in _PLACES | _BESIDE:
        measure = measure_doubt(f"{heading} {below}", reading.unit) or doubt
        return evolve(reading, measure=measure)
    return evolve(reading, doubt="")


def _read_words(
    heading: str, rest: str, unit: str, unit_text: str, asides: tuple[str, ...]
) -> Reading:
    words = fold(rest).replace("/", " ").split()
    beside = [word for aside in asides for word in fold(aside).replace("/", " ").split()]
    empty = Reading(unit=unit, unit_text=unit_text)
    hits = _find_names(words)
    nitric = re.match(r"\s*NO\b(?!\.)", heading) and unit in {"ppm", "ppb", "mg/m3", "ug/m3"}
    if not [hit for hit in hits if hit[0] not in {"name", "value"}] and nitric:
        hits = [("no", words.index("no"), words.index("no") + 1)] if "no" in words else hits
    elif hits and {hit[0] for hit in hits} <= {"name", "value"}:
        inner = [hit for hit in _find_names(beside) if hit[0] in ANALYTES]
        if len({hit[0] for hit in inner}) == 1 and not _left_over(words, hits, ""):
            # 'Sensor 3 [CO] [ppm]': the bracket names what the words only number.
            return _checked(inner[0][0], empty, beside, inner, words)
    if not hits:
        return empty
    key = hits[0][0]
    if len({hit[0] for hit in hits}) > 1:
        key = _decide(hits)
        if not key:
            return evolve(empty, why="its words name several things")
    return _checked(key, empty, words, hits, beside)


def _checked(
    key: str,
    empty: Reading,
    words: list[str],
    hits: list[tuple[str, int, int]],
    beside: list[str],
) -> Reading:
    """Settle a key, minding the words that stand beside its name."""
    inner = _find_names(beside)
    named = {place for _, start, stop in hits for place in range(start, stop)}
    also = {place for _, start, stop in inner for place in range(start, stop)}
    left = [word for place, word in enumerate(words) if place not in named]
    left += [word for place, word in enumerate(beside) if place not in also]
    if key in _PLACES:
        out = words_of.NOT_A_TIME if key in {"time", "date"} else words_of.NOT_A_READING
        no = next((word for word in left if word in out or "alarm" in word), "")
        return (
            evolve(empty, why=f"'{no}' says that it is no such column")
            if no
            else evolve(empty, key=key)
        )
    no = next((word for word in left if word in words_of.NOT_A_READING or "alarm" in word), "")
    if no:
        return evolve(empty, why=f"'{no}' says that it holds no readings")
    if key in {"oil", "water"} and set(left) & words_of.OF_THE_MACHINE:
        return evolve(empty, why="it is of the machine")
    if key == "pressure":
        other = next((word for word in (*words, *beside) if word in words_of.OTHER_PRESSURE), "")
        if other:
            return evolve(empty, why=f"'{other}' says that it is not the line's pressure")
    statistic = next((word for word in left if word in _STATISTICS), "")
    doubt = _left_over(words, hits, key) or _left_over(beside, inner, key)
    other_gas = {hit[0] for hit in inner} - {key, "name", "value"} - set(_PLACES) - _BESIDE
    if other_gas and key not in _DEW_KEYS and (key, *other_gas) != ("hydrocarbons", "ch4"):
        doubt = doubt or "another name stands in brackets"
    if set(left) & words_of.EXPOSURE:
        doubt = f"'{statistic}' says that it is an average over hours or a quarter of an hour"
    elif set(left) & words_of.LOWEST and not _length_before(words, beside):
        doubt = "it holds the lowest reading of each interval"
    elif set(left) & words_of.HIGHEST and key in {"o2", "n2"}:
        doubt = "it holds the highest reading of each interval"
    length = _length_before(words, beside)
    if length:
        statistic = f"{length} average" if statistic in {"", "min"} else f"{length} {statistic}"
        if re.search(r"h|std|d", length):
            doubt = f"'{length}' says that it is an average over hours"
    reading = evolve(empty, key=key, statistic=statistic, doubt=doubt)
    return _settle(reading, words, beside)


def _length_before(words: list[str], beside: list[str]) -> str:
    """Find a length of time among the words, such as '15 min' or '8h'."""
    for some in (words, beside):
        for place, word in enumerate(some):
            if _LENGTH.fullmatch(word):
                return word
            following = some[place + 1] if place + 1 < len(some) else ""
            if word.isdigit() and following and _LENGTH.fullmatch(word + following):
                return f"{word} {following}"
    return ""


def _left_over(words: list[str], hits: list[tuple[str, int, int]], key: str) -> str:
    """Say which word beside the names is not known; empty where all are."""
    named = {place: hit for hit in hits for place in range(hit[1], hit[2])}
    length = _length_before(words, []).split()
    before = ""
    for place, word in enumerate(words):
        if place in named:
            before = "number me" if named[place][0] in {"name", "value"} else named[place][0]
            continue
        numbered = word.isdigit() and (
            before in {"number me", ""} or (len(word) == 1 and before in ANALYTES)
        )
        if numbered and before in {"co", "no"} and word == "2":
            return f"'{before} {word}' can be a number or part of a formula"
        known = (
            word in words_of.NEUTRAL
            or word in _STATISTICS
            or word in length
            or numbered
            or bool(AT_20_C.fullmatch(word) or re.fullmatch(r"(?:ch|kanal|sensor|k)\d{1,2}", word))
            or (key == "voc" and word.startswith("isobut"))
            or word in {"a", "b", "c", "d", "°c", "°"}
            or (
                key in {"adp", "pdp", "dew"}
                and word in words_of.AT_ATMOSPHERE | words_of.AT_PRESSURE
            )
            or (
                key in {"adp", "pdp", "dew"}
                and bool(re.fullmatch(r"\d+|bar|bar[ag]|g|psi[ag]?", word))
            )
        )
        if not known and (key or word not in {"no", "nr"}):
            return f"the word '{word}' is not known"
        before = "number me" if word in words_of.NEUTRAL else before
    return ""


def _find_names(words: list[str]) -> list[tuple[str, int, int]]:
    hits: list[tuple[str, int, int]] = []
    index = 0
    while index < len(words):
        for count in range(min(_LONGEST, len(words) - index), 0, -1):
            name = " ".join(words[index : index + count])
            key = _BY_NAME.get(name)
            # One-letter names mean something only when they stand alone.
            if key is not None and (len(name) > 1 or len(words) == 1):
                hits.append((key, index, index + count))
                index += count
                break
        else:
            index += 1
    return hits


def _decide(hits: list[tuple[str, int, int]]) -> str:
    keys = {hit[0] for hit in hits}
    for ours in ("date", "time"):
        if keys <= {"date", "time"}:
            return "time"
        if ours in keys:
            keys.discard(ours)
    analytes = {key for key in keys if key in ANALYTES and ANALYTES[key].in_air} | (
        keys & set(_DEW_KEYS)
    )
    beside = keys & _BESIDE
    if beside and not analytes & set(_DEW_KEYS):
        # 'O2 cell temperature' is a temperature, not oxygen.
        return next(iter(beside)) if len(beside) == 1 else ""
    if len(analytes) == 1:
        return next(iter(analytes))
    without_labels = keys - {"name", "value", "unit"}
    return next(iter(without_labels)) if len(without_labels) == 1 else ""


def _settle(reading: Reading, words: list[str], beside: list[str]) -> Reading:
    """Name the quantity of what a key stands for."""
    key, unit, quantity = reading.key, reading.unit, ""
    if key in _DEW_KEYS:
        quantity = _dew_point(_DEW_KEYS[key], words, beside)
        key = "water"
    elif key == "humidity":
        key = "relative_humidity" if unit in {"%", "%RH"} else "water"
        if key == "water" and not unit:
            return evolve(reading, key="", doubt="", why="it is not said which humidity")
    if key == "relative_humidity":
        quantity, unit = RELATIVE_HUMIDITY, unit if unit not in {"", "%"} else "%RH"
    if key == "water" and unit == "%RH":
        key, quantity = "relative_humidity", RELATIVE_HUMIDITY
    if key == "pressure" and unit in {"bar", "psi", "kPa", "MPa"}:
        said = {*words, *beside}
        mark = "(a)" if said & words_of.ABSOLUTE else "(g)" if said & words_of.GAUGE else ""
        unit = f"{unit}{mark}"
    return evolve(reading, key=key, quantity=quantity, unit=unit)


def _dew_point(quantity: str, words: list[str], beside: list[str]) -> str:
    """Tell at which pressure a dew point is; words that contradict each other leave it open."""
    said = {*words, *beside}
    atmosphere = bool(said & words_of.AT_ATMOSPHERE) or any(word.startswith("atm") for word in said)
    line = bool(said & words_of.AT_PRESSURE)
    if quantity == PRESSURE_DEW_POINT and atmosphere:
        return DEW_POINT
    if quantity == ATMOSPHERIC_DEW_POINT and said & {"line", "pdp", "sous"}:
        return DEW_POINT
    if quantity == DEW_POINT and atmosphere:
        return DEW_POINT if said & {"line", "pdp", "sous"} else ATMOSPHERIC_DEW_POINT
    if quantity == DEW_POINT and line and not set(words) & words_of.AT_PRESSURE:
        return PRESSURE_DEW_POINT
    return quantity


_FITS: Final[dict[str, frozenset[str]]] = {
    "gas": frozenset({air_units.FRACTION, air_units.MASS}),
    "mass": frozenset({air_units.MASS}),
    "water": frozenset(
        {air_units.FRACTION, air_units.MASS, air_units.MIXING, air_units.TEMPERATURE}
    ),
    "relative_humidity": frozenset({air_units.RELATIVE_HUMIDITY}),
    "temperature": frozenset({air_units.TEMPERATURE}),
    "pressure": frozenset({air_units.PRESSURE, air_units.PRESSURE_UNSTATED}),
    "flow": frozenset({air_units.FLOW}),
}


def dimensions_that_fit(analyte: str) -> frozenset[str]:
    """List the dimensions in which an analyte can be logged.

    Parameters
    ----------
    analyte : str
        Analyte key.

    Returns
    -------
    frozenset of str
        Dimension names of `lungwort.air.units`.
    """
    if analyte in _FITS:
        return _FITS[analyte]
    if analyte in {"oil", "particles", "liquid_water"}:
        return _FITS["mass"]
    return _FITS["gas"]


def quantity_of(analyte: str, reading_quantity: str, unit: str) -> str:
    """Name the quantity of a channel from its heading's words and its unit.

    Parameters
    ----------
    analyte : str
        Analyte key.
    reading_quantity : str
        Quantity that the words settled, or empty.
    unit : str
        Unit name.

    Returns
    -------
    str
        Quantity name, or `DEW_POINT` where a temperature stands for water and it is not said at
        which pressure.
    """
    if reading_quantity and reading_quantity != DEW_POINT:
        return reading_quantity
    if analyte == "water" and air_units.unit(unit).dimension == air_units.TEMPERATURE:
        return DEW_POINT
    return quantity_of_unit(unit)
