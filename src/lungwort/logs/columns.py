"""Which columns of a table become channels, and what of them stays open."""

from __future__ import annotations

import difflib
import re
from collections import Counter
from typing import TYPE_CHECKING

from attrs import define, evolve, field, frozen

from lungwort.air import units as air_units
from lungwort.air.analytes import (
    ANALYTES,
    ATMOSPHERIC_DEW_POINT,
    PRESSURE_DEW_POINT,
    canonical_unit,
)
from lungwort.errors import LogError, QuantityError
from lungwort.logs.headings import (
    DEW_POINT,
    Reading,
    dimensions_that_fit,
    quantity_of,
)
from lungwort.logs.headunits import fold
from lungwort.logs.naming import column_of, label_of, parse_given_unit, unit_in_cells
from lungwort.logs.options import Question

if TYPE_CHECKING:
    from lungwort.logs.options import ReadOptions


@frozen
class ValueColumn:
    """A column that becomes a channel.

    Parameters
    ----------
    index : int
        Place in the row, from 0.
    heading : str
        Heading in the file, or the label in a long file.
    analyte, quantity : str
        What it measures.
    unit : str
        Unit in the file.
    name : str
        Column name in the log.
    basis : str
        What was taken for granted.
    """

    index: int
    heading: str
    analyte: str
    quantity: str
    unit: str
    name: str = ""
    basis: str = ""

    @property
    def canonical_unit(self) -> str:
        """Unit in which the log keeps it; a pressure without a stated zero stays what it is."""
        dimension = air_units.unit(self.unit).dimension
        if dimension == air_units.PRESSURE_UNSTATED:
            return "bar"
        return canonical_unit(self.analyte, self.quantity)


@frozen
class Chosen:
    """The columns that become channels, and what is said of the others.

    Parameters
    ----------
    values : tuple of ValueColumn
        The channels.
    unused : tuple of (str, str)
        Headings left alone, and why.
    questions : tuple of Question
        What must be settled first.
    notes : tuple of str
        What the reader must be told.
    """

    values: tuple[ValueColumn, ...]
    unused: tuple[tuple[str, str], ...] = ()
    questions: tuple[Question, ...] = ()
    notes: tuple[str, ...] = ()


@define
class _Choosing:
    headings: tuple[str, ...]
    options: ReadOptions
    name: str
    line: int
    named: dict[int, str]
    units: dict[int, str]
    values: list[ValueColumn] = field(factory=list)
    unused: list[tuple[str, str]] = field(factory=list)
    questions: list[Question] = field(factory=list)
    notes: list[str] = field(factory=list)

    def shown(self, index: int) -> str:
        """Name a column in words."""
        heading = self.headings[index]
        label = label_of(index, self.headings)
        if heading and label != heading:
            return f"{heading} ({label})"
        return heading or f"{label} (no heading)"

    def leave(self, index: int, why: str) -> None:
        """Leave a column alone."""
        self.unused.append((self.shown(index), why))

    def ask(
        self, index: int, key: str, text: str, choices: tuple[str, ...], remedy: str, why: str
    ) -> None:
        """Ask about a column, or leave it alone where nothing rests on it."""
        if self.options.wanted is not None and key not in self.options.wanted:
            self.leave(index, f"{why}; not needed for this limit set")
        elif not ANALYTES[key].in_air or key == "relative_humidity":
            self.leave(index, why)
        else:
            self.questions.append(
                Question(
                    text, choices, remedy, line=self.line, column=self.shown(index), analyte=key
                )
            )


def choose_columns(
    headings: tuple[str, ...],
    readings: list[Reading],
    body: list[list[str]],
    taken: tuple[int, ...],
    options: ReadOptions,
    *,
    name: str,
    line: int,
) -> Chosen:
    """Choose the columns that become channels.

    Parameters
    ----------
    headings : tuple of str
        Headings, or the labels of a long file.
    readings : list of Reading
        What each of them says.
    body : list of list of str
        Some rows; empty for a long file.
    taken : tuple of int
        Places that the time takes.
    options : ReadOptions
        What the user settled.
    name : str
        File name, for messages.
    line : int
        Line of the headings, from 1.

    Returns
    -------
    Chosen
        Channels, columns left alone, questions and notes.

    Raises
    ------
    LogError
        Where an option names a column, an analyte or a unit that does not exist or fit.
    """
    choosing = _Choosing(
        headings,
        options,
        name,
        line,
        _named(headings, options, name),
        _units(headings, options, name),
    )
    ignored = {fold(text) for text in options.ignore}
    ignored_places = {
        int(match.group(1)) - 1
        for text in options.ignore
        if (match := re.fullmatch(r"column (\d+)", text.strip()))
    }
    seen = {fold(heading) for heading in headings}
    choosing.notes.extend(
        f"--ignore {text!r} names no column of {name}."
        for text in options.ignore
        if fold(text) not in seen and not re.fullmatch(r"column \d+", text.strip())
    )
    for index, reading in enumerate(readings):
        if index in taken:
            continue
        if fold(headings[index]) in ignored - {""} or index in ignored_places:
            choosing.leave(index, "left alone as asked")
        elif headings[index] or any(_cells(body, index)) or index in choosing.named:
            _look_at(choosing, index, reading, _cells(body, index))
    kept, doubled, dropped = _one_a_quantity(choosing)
    return Chosen(
        _with_names(kept),
        (*choosing.unused, *dropped),
        (*choosing.questions, *doubled),
        tuple(choosing.notes),
    )


def _named(headings: tuple[str, ...], options: ReadOptions, name: str) -> dict[int, str]:
    for key, _ in options.columns:
        if key not in ANALYTES:
            near = difflib.get_close_matches(key, list(ANALYTES), n=3, cutoff=0.4)
            raise LogError(
                f"--column {key}=…: {key!r} is no analyte. Near it: {', '.join(near) or 'none'}. "
                f"Known: {', '.join(ANALYTES)}."
            )
    named: dict[int, str] = {}
    for key, text in options.columns:
        by = f"recipe {options.recipe!r}" if options.recipe else f"--column {key}"
        place = column_of(text, headings, name, by)
        if named.get(place, key) != key:
            raise LogError(
                f"the column {text!r} was given for {named[place]} and for {key}. Give it for one.",
                file=name,
            )
        named[place] = key
    return named


def _units(headings: tuple[str, ...], options: ReadOptions, name: str) -> dict[int, str]:
    """Find the columns for which a unit was given by heading."""
    units: dict[int, str] = {}
    for key, text in options.units:
        if key in ANALYTES or key == "time" or not key.strip():
            continue
        by = f"recipe {options.recipe!r}" if options.recipe else f"--unit '{key}={text}'"
        place = column_of(key, headings, name, by)
        units.setdefault(place, text)
    return units


def _look_at(choosing: _Choosing, index: int, reading: Reading, cells: list[str]) -> None:
    """Decide on one column."""
    options = choosing.options
    forced = choosing.named.get(index)
    if forced is None and (options.only_columns or reading.key in choosing.named.values()):
        why = "another column was named for it" if reading.key in ANALYTES else "not named"
        choosing.leave(index, why if reading.key or not reading.why else reading.why)
        return
    key = forced or reading.key
    if key not in ANALYTES:
        other = "another time column" if key in {"time", "date"} else "not understood"
        choosing.leave(index, reading.why or other)
        return
    given = choosing.units.get(index) or next((u for k, u in options.units if k == key), "")
    sure = reading
    if forced is not None:
        if reading.key in ANALYTES and reading.key != forced:
            choosing.notes.append(
                f"'{choosing.shown(index)}' was read as {ANALYTES[forced].name}, as given."
            )
            sure = evolve(reading, quantity="")
        sure = evolve(sure, key=forced, doubt="")
    _value(choosing, index, sure, given, cells)


def _value(choosing: _Choosing, index: int, reading: Reading, given: str, cells: list[str]) -> None:
    """Give a column its unit and quantity, or ask."""
    key, shown = reading.key, choosing.shown(index)
    analyte = ANALYTES[key]
    unit, quantity = _measure(choosing, index, reading, given)
    unit = unit or unit_in_cells(cells)
    open_words = "" if given else reading.measure or reading.doubt
    if not given and not open_words and index not in choosing.named:
        open_words = _numbered_sister(choosing.headings, key)
    if not unit:
        _ask_unit(choosing, index, reading, quantity, open_words)
        return
    if open_words:
        if reading.measure:
            remedy = (
                f"If the numbers are in {unit} at 20 °C as they stand, say so with --unit '{key}={unit}'; "
                f"if not, convert them first, or leave the column alone with --ignore '{label_of(index, choosing.headings)}'."
            )
            choices: tuple[str, ...] = (
                f"the numbers are in {unit}",
                "the numbers are in another measure",
            )
        else:
            label = label_of(index, choosing.headings)
            remedy = f"Settle it with --column '{key}={label}', or leave it alone with --ignore '{label}'."
            choices = (f"it holds the readings of {analyte.name}", "it holds something else")
        choosing.ask(
            index,
            key,
            f"'{shown}' may hold {analyte.name} in {unit}, but {open_words}.",
            choices,
            remedy,
            open_words,
        )
        return
    if key == "relative_humidity" and unit == "%":
        unit = "%RH"
    dimension = air_units.unit(unit).dimension
    if dimension not in dimensions_that_fit(key):
        why = f"'{unit}' is no unit of {analyte.name}"
        if given or index in choosing.named:
            raise LogError(
                f"{why}. Give a unit that fits with --unit, or another column with --column.",
                file=choosing.name,
                column=shown,
            )
        choosing.leave(index, why)
        return
    if key == "water" and unit == "%" and not given:
        label = label_of(index, choosing.headings)
        choosing.ask(
            index,
            key,
            f"'{shown}' can be relative humidity or a volume fraction.",
            ("relative humidity", "volume fraction of water"),
            f"Settle it with --column 'relative_humidity={label}' or --unit 'water=%'.",
            "its '%' can be relative humidity or a volume fraction",
        )
        return
    quantity = quantity_of(key, quantity, unit)
    dew_points = {PRESSURE_DEW_POINT, ATMOSPHERIC_DEW_POINT}
    if quantity in dew_points and dimension != air_units.TEMPERATURE:
        choosing.leave(index, f"a dew point is not measured in '{unit}'")
        return
    if quantity == DEW_POINT:
        choosing.ask(
            index,
            key,
            f"'{shown}' is a dew point, and it is not said whether at atmospheric or at line pressure.",
            ("atmospheric dew point", "pressure dew point"),
            f"Settle it with --unit 'water={unit} atmospheric dew point' or --unit 'water={unit} pressure dew point'.",
            "it is not said at which pressure the dew point is",
        )
        return
    basis = "gauge or absolute is not stated" if dimension == air_units.PRESSURE_UNSTATED else ""
    if reading.statistic:
        choosing.notes.append(
            f"'{shown}' holds a {reading.statistic} over each interval, as its heading says: "
            "shorter peaks may not show."
        )
    choosing.values.append(
        ValueColumn(index, choosing.headings[index], key, quantity, unit, basis=basis)
    )


def _measure(choosing: _Choosing, index: int, reading: Reading, given: str) -> tuple[str, str]:
    """Bring together the unit in the heading and the one given."""
    unit, quantity = reading.unit, reading.quantity
    if not given:
        return unit, quantity
    try:
        stated, stated_quantity = parse_given_unit(given)
    except QuantityError as error:
        raise LogError(
            f"--unit {reading.key}={given}: {error}",
            file=choosing.name,
            column=choosing.shown(index),
        ) from error
    if reading.unit and stated != reading.unit and not (stated == "%RH" and reading.unit == "%"):
        choosing.notes.append(
            f"'{choosing.shown(index)}' says {reading.unit_text or reading.unit}, and was read in {stated}, as given."
        )
    if stated_quantity and quantity in {PRESSURE_DEW_POINT, ATMOSPHERIC_DEW_POINT} - {
        stated_quantity
    }:
        words = stated_quantity.replace("_", " ")
        choosing.notes.append(f"'{choosing.shown(index)}' was read as {words}, as given.")
    if air_units.unit(stated).dimension != air_units.TEMPERATURE and quantity in {
        PRESSURE_DEW_POINT,
        ATMOSPHERIC_DEW_POINT,
        DEW_POINT,
    }:
        quantity = ""
    return stated, stated_quantity or quantity


def _numbered_sister(headings: tuple[str, ...], key: str) -> str:
    """See whether 'CO2' is the second of several CO sensors: CO1, CO2, CO3."""
    gas = {"co2": "co", "no2": "no", "o2": "o", "so2": "so", "o3": "o"}.get(key)
    if gas is None:
        return ""
    words = {word for heading in headings for word in fold(heading).split()}
    others = sorted(word for word in words if re.fullmatch(rf"{gas}[1456789]", word))
    if gas == "co" and "co3" in words:
        others.append("co3")
    return (
        f"'{others[0].upper()}' stands beside it, so it can be the second of several"
        if others
        else ""
    )


def _ask_unit(
    choosing: _Choosing, index: int, reading: Reading, quantity: str, open_words: str
) -> None:
    key = reading.key
    choices = {
        "o2": ("%", "ppm", "mol/mol"),
        "n2": ("%", "ppm"),
        "oil": ("mg/m3",),
        "particles": ("mg/m3",),
        "water": ("mg/m3", "ppm", "g/kg", "kg/kg", "°C atmospheric dew point", "°C pressure dew point"),
    }.get(key, ("ppm", "mg/m3", "%", "mol/mol"))  # fmt: skip
    if quantity in {PRESSURE_DEW_POINT, ATMOSPHERIC_DEW_POINT, DEW_POINT}:
        choices = ("°C atmospheric dew point", "°C pressure dew point")
    odd = f" ('{reading.unit_text}' is not a known unit)" if reading.unit_text else ""
    if "' above '" in reading.unit_text:
        odd = f" that is clear (it says '{reading.unit_text}')"
    more = f", and {open_words}" if open_words else ""
    shown = choosing.shown(index)
    first = f"'{key}={choices[0]}'" if " " in choices[0] else f"{key}={choices[0]}"
    sign = ANALYTES[key].name
    left = label_of(index, choosing.headings)
    choosing.ask(
        index,
        key,
        f"'{shown}' ({sign}) has no unit{odd}{more}.",
        choices,
        f"Settle it with --unit {first} (or one of the others), or leave it alone with --ignore '{left}'.",
        "its unit is not stated" if not odd else f"its unit is not stated{odd}",
    )


def _one_a_quantity(
    choosing: _Choosing,
) -> tuple[list[ValueColumn], list[Question], list[tuple[str, str]]]:
    """Ask where several columns hold the same quantity."""
    options = choosing.options
    questions: list[Question] = []
    dropped: list[tuple[str, str]] = []
    kept: list[ValueColumn] = []
    groups: dict[tuple[str, str], list[ValueColumn]] = {}
    for column in choosing.values:
        groups.setdefault((column.analyte, column.quantity), []).append(column)
    for (analyte, _), group in groups.items():
        beside = not ANALYTES[analyte].in_air or analyte == "relative_humidity"
        if len(group) == 1 or beside or all(column.index in choosing.named for column in group):
            kept.extend(group)
            continue
        if options.wanted is not None and analyte not in options.wanted:
            why = "one of several columns for one analyte; not needed for this limit set"
            dropped.extend((choosing.shown(column.index), why) for column in group)
            continue
        labels = tuple(label_of(column.index, choosing.headings) for column in group)
        shown = ", ".join(repr(choosing.shown(column.index)) for column in group)
        questions.append(
            Question(
                f"{len(group)} columns hold {ANALYTES[analyte].name}: {shown}.",
                labels,
                f"Name the one to use with --column '{analyte}={labels[0]}' (repeat it to use several).",
                line=choosing.line,
                column=choosing.shown(group[0].index),
                analyte=analyte,
            )
        )
    kept.sort(key=lambda column: column.index)
    return kept, questions, dropped


def _with_names(columns: list[ValueColumn]) -> tuple[ValueColumn, ...]:
    seen: Counter[str] = Counter()
    out = []
    for column in columns:
        seen[column.analyte] += 1
        count = seen[column.analyte]
        out.append(
            evolve(column, name=column.analyte if count == 1 else f"{column.analyte}_{count}")
        )
    return tuple(out)


def _cells(body: list[list[str]], index: int) -> list[str]:
    return [row[index].strip() for row in body if index < len(row) and row[index].strip()]
