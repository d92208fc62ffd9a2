"""A first look at a logger's files, for a screen on which what is open is settled by choosing."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.air.analytes import ANALYTES
from lungwort.errors import AmbiguityError, LogError
from lungwort.jobs import inspect as inspecting

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.inspect import FileSeen, LogSeen
    from lungwort.jobs.reading import Reading
    from lungwort.logs.blocks import Opened
    from lungwort.logs.layout import Layout
    from lungwort.logs.model import Log
    from lungwort.logs.options import Question

BUCKETS: Final = 160
MOST_COLUMNS: Final = 200
"""Columns that are shown one by one; of a wider table the first of them."""

_LINES: Final = 8
_CELLS: Final = 14
_LONGEST_CELL: Final = 60
_OPTION: Final = re.compile(r"--([a-z][a-z-]*)(?:\s+('[^']*'|[^\s,.;()]+))?")
_SIGNS: Final = {
    "point is the decimal sign": "point",
    "point groups thousands": "comma",
    "comma groups thousands": "point",
    "comma is the decimal sign": "comma",
}
MOMENT: Final = "moment"


@frozen
class Choice:
    """A way to settle a question.

    Parameters
    ----------
    label : str
        What it says, in words.
    field : str
        Field of `lungwort.jobs.reading.Reading` that it fills.
    value : str
        With what.
    """

    label: str
    field: str
    value: str


@frozen
class Asked:
    """Something that a file leaves open.

    Parameters
    ----------
    file, text : str
        In which file, and what was found.
    choices : tuple of Choice
        The ways to settle it; empty where a moment must be given.
    typed : str
        Field that must be filled by hand where there is no choice, such as ``start``.
    remedy : str
        What to do, as a sentence; it names options.
    several : bool
        Whether several of the choices may hold at once.
    """

    file: str
    text: str
    choices: tuple[Choice, ...]
    typed: str = ""
    remedy: str = ""
    several: bool = False


@frozen
class Heading:
    """A column of a file and what it was taken for.

    Parameters
    ----------
    label : str
        By which it is named in options.
    heading : str
        As in the file.
    role : str
        ``time``, ``ignore``, or the key of an analyte.
    said : str
        In words: unit and quantity, or why it was left alone.
    unit : str
        Unit as it would be given, such as ``°C pressure dew point``; empty where none.
    samples : tuple of str
        Its first cells.
    """

    label: str
    heading: str
    role: str
    said: str
    unit: str
    samples: tuple[str, ...]


@frozen
class FileLook:
    """One file.

    Parameters
    ----------
    seen : FileSeen
        What was understood of it.
    lines : tuple of tuple of str
        Its first lines, cut into cells.
    headings : tuple of Heading
        Its columns; none where it has one reading a row.
    columns : int
        How many columns it has [1].
    time_kind : str
        How the time is written, in words.
    """

    seen: FileSeen
    lines: tuple[tuple[str, ...], ...]
    headings: tuple[Heading, ...]
    columns: int
    time_kind: str


@frozen
class Spark:
    """A small picture of one channel.

    Parameters
    ----------
    name, unit : str
        Channel and its unit.
    low, high : tuple of (float or None)
        Lowest and highest reading of each stretch of time [unit of the channel].
    least, most : str
        Lowest and highest of all, in words.
    """

    name: str
    unit: str
    low: tuple[float | None, ...]
    high: tuple[float | None, ...]
    least: str
    most: str


@frozen
class Look:
    """All of a first look.

    Parameters
    ----------
    files : tuple of FileLook
        The files.
    asked : tuple of Asked
        What is open; nothing can be taken into the record before it is settled.
    log : LogSeen, optional
        What reading gave; None while something is open.
    zone_stated : bool
        Whether the files or the user say in which time zone the clock ran.
    sparks : tuple of Spark
        A picture of each channel.
    problem : str
        Why the files could not be read; empty where they could or something is open.
    """

    files: tuple[FileLook, ...] = ()
    asked: tuple[Asked, ...] = ()
    log: LogSeen | None = None
    zone_stated: bool = True
    sparks: tuple[Spark, ...] = ()
    problem: str = ""

    @property
    def is_ready(self) -> bool:
        """Whether the files can be taken into the record."""
        return self.log is not None


def look(
    files: Sequence[Path],
    reading: Reading,
    *,
    now: datetime,
    progress: Callable[[int, int], None] | None = None,
) -> Look:
    """Look at some files before anything of them is stored.

    Parameters
    ----------
    files : sequence of path
        The files.
    reading : Reading
        What was settled.
    now : datetime
        Present moment, with a time zone.
    progress : callable, optional
        Called with bytes read and bytes in all.

    Returns
    -------
    Look
        What was understood, and what is open. Files that cannot be read at all give a problem.

    Raises
    ------
    InputError
        Where what was settled cannot be used.
    """
    from lungwort.logs.read import plan_files, read_with  # noqa: PLC0415 - keeps --help instant

    options = reading.options()
    try:
        planned = plan_files(list(files), options)
    except LogError as error:
        return _without_plan(files, reading, error)
    seen = tuple(_file(opened, layout) for opened, layout in planned)
    asked = tuple(
        _asked(opened.raw.name, question)
        for opened, layout in planned
        for question in layout.questions
    )
    if asked:
        return Look(files=seen, asked=asked)
    try:
        log = read_with(list(files), options, now=now, progress=progress)
    except AmbiguityError as error:
        return Look(files=seen, asked=(_of_error(error),))
    except LogError as error:
        return Look(files=seen, problem=str(error))
    return Look(
        files=seen,
        log=inspecting._log(log),  # noqa: SLF001 - the same job, for another face
        zone_stated=log.zone_stated,
        sparks=_sparks(log),
    )


def recipe(files: Sequence[Path], reading: Reading, name: str) -> str:
    """Write down how files are read, so that the next of that logger are read alike.

    Parameters
    ----------
    files : sequence of path
        The files.
    reading : Reading
        What was settled.
    name : str
        Name of the recipe.

    Returns
    -------
    str
        The recipe, as TOML.

    Raises
    ------
    LogError
        Where something is still open.
    """
    from lungwort.logs.read import as_error, plan_files  # noqa: PLC0415 - keeps --help instant

    options = reading.options()
    planned = plan_files(list(files), options)
    questions = [
        (opened.raw.name, question) for opened, layout in planned for question in layout.questions
    ]
    if questions:
        raise as_error(questions)
    return inspecting._recipe(planned[0], options, name)  # noqa: SLF001 - the same job, for another face


def _without_plan(files: Sequence[Path], reading: Reading, error: LogError) -> Look:
    """Say why nothing was understood; where no column was, show them to choose from."""
    from lungwort.logs.blocks import open_file  # noqa: PLC0415 - keeps --help instant
    from lungwort.logs.files import find_files  # noqa: PLC0415 - keeps --help instant

    if isinstance(error, AmbiguityError):
        return Look(asked=(_of_error(error),))
    shown = []
    try:
        for raw in find_files(list(files)):
            opened = open_file(raw, reading.options())
            shown.append(_unread(opened))
    except LogError:
        return Look(problem=str(error))
    return Look(files=tuple(shown), problem=str(error))


def _unread(opened: Opened) -> FileLook:
    from lungwort.logs.layout import DELIMITER_NAMES  # noqa: PLC0415 - keeps --help instant
    from lungwort.logs.naming import label_of  # noqa: PLC0415 - keeps --help instant

    rows = [row for row in opened.rows if any(cell.strip() for cell in row)]
    headings = tuple(cell.strip().strip('"') for cell in rows[0]) if rows else ()
    return FileLook(
        seen=inspecting.FileSeen(
            name=opened.raw.name,
            sha256="",
            encoding=opened.raw.encoding or "workbook",
            delimiter=DELIMITER_NAMES.get(opened.delimiter, opened.delimiter),
            decimal="point",
            header_line=1,
            unit_line=0,
            first_line=2,
            time="",
            columns=(),
            unused=(),
            questions=(),
            preamble=(),
        ),
        lines=_lines(opened),
        headings=tuple(
            Heading(
                label=label_of(place, headings),
                heading=_short(heading),
                role="ignore",
                said="",
                unit="",
                samples=_samples(rows[1:], place),
            )
            for place, heading in enumerate(headings[:MOST_COLUMNS])
        ),
        columns=len(headings),
        time_kind="",
    )


def _file(opened: Opened, layout: Layout) -> FileLook:
    seen = inspecting._file(opened, layout)  # noqa: SLF001 - the same job, for another face
    return FileLook(
        seen=evolve(seen, unused=seen.unused[:MOST_COLUMNS]),
        lines=_lines(opened),
        headings=_headings(opened, layout),
        columns=len(layout.headings),
        time_kind=layout.time.kind,
    )


def _lines(opened: Opened) -> tuple[tuple[str, ...], ...]:
    return tuple(
        tuple(_short(cell) for cell in row[:_CELLS]) + (("…",) if len(row) > _CELLS else ())
        for row in opened.rows[:_LINES]
    )


def _short(text: str) -> str:
    """Cut a cell short and show what cannot be printed."""
    shown = "".join(one if one.isprintable() else "\ufffd" for one in text.strip())
    return shown if len(shown) <= _LONGEST_CELL else shown[: _LONGEST_CELL - 1] + "…"


def _samples(rows: Sequence[Sequence[str]], place: int) -> tuple[str, ...]:
    cells = (row[place] for row in rows[:50] if place < len(row) and row[place].strip())
    return tuple(_short(cell) for _, cell in zip(range(3), cells, strict=False))


def _headings(opened: Opened, layout: Layout) -> tuple[Heading, ...]:
    from lungwort.logs.naming import label_of  # noqa: PLC0415 - keeps --help instant

    if layout.long is not None:
        return ()
    values = {one.index: one for one in layout.values}
    why = {
        **{one.column: "open, see above" for one in layout.questions if one.column},
        **dict(layout.unused),
    }
    body = opened.rows[layout.first_line - 1 :]
    told = []
    for place, heading in enumerate(layout.headings[:MOST_COLUMNS]):
        role, said, unit = "ignore", why.get(heading or f"column {place + 1}", ""), ""
        if place in layout.time.columns:
            role, said = "time", layout.time.kind
        elif place in values:
            one = values[place]
            words = inspecting._WORDS.get(one.quantity, "")  # noqa: SLF001 - see above
            role, unit = one.analyte, one.unit + words
            said = one.unit + words + (f" ({one.basis})" if one.basis else "")
        told.append(
            Heading(
                label=label_of(place, layout.headings),
                heading=_short(heading) or f"column {place + 1}",
                role=role,
                said=said,
                unit=unit,
                samples=_samples(body, place),
            )
        )
    return tuple(told)


def _asked(name: str, question: Question) -> Asked:
    return _settled(name, question.text, question.choices, question.remedy)


def _of_error(error: AmbiguityError) -> Asked:
    text = str(error).split(" It can be read as: ", 1)[0]
    where = error.file or ""
    if where and text.startswith(where):
        text = text[len(where) :].lstrip(", ")
        text = text.removeprefix(f"line {error.line}").lstrip(", ")
        text = text.removeprefix(f"column {error.column}").lstrip(":, ")
    return _settled(where, text, error.choices, error.remedy)


def _settled(name: str, text: str, choices: tuple[str, ...], remedy: str) -> Asked:
    """Turn what settles a question at a terminal into choices on a screen."""
    named = [
        (option.replace("-", "_"), value.strip("'")) for option, value in _OPTION.findall(remedy)
    ]
    first = named[0] if named else ("", "")
    made: list[Choice] = []
    several = False
    if first[0] == "start":
        return Asked(name, text, (), "start", remedy)
    if first[0] in {"decimal", "date_order", "sheet"}:
        for one in choices:
            sign = _SIGNS.get(one, one)
            made.append(Choice(one, first[0], sign))
    elif first[0] == "unit" and first[1].startswith("time="):
        made = [Choice(one, "unit", f"time={one}") for one in choices]
    elif first[0] == "unit":
        made = _units(choices, named)
    elif first[0] == "column":
        made, several = _columns(choices, named)
    made += [
        Choice("leave this column alone", "ignore", value)
        for option, value in named
        if option == "ignore" and value and not any(one.value == value for one in made)
    ]
    return Asked(name, text, tuple(made), "" if made else first[0], remedy, several)


def _units(choices: tuple[str, ...], named: list[tuple[str, str]]) -> list[Choice]:
    whom = named[0][1].partition("=")[0]
    given = [value.partition("=")[2] for option, value in named if option == "unit"]
    made = []
    for place, one in enumerate(choices):
        # A dew point's two ways are written out in the remedy, with the unit in front.
        full = next((unit for unit in given if unit.endswith(one) and unit != one), "")
        unit = full or (given[place] if len(given) == len(choices) else one)
        made.append(Choice(one, "unit", f"{whom}={unit}"))
    return made


def _columns(choices: tuple[str, ...], named: list[tuple[str, str]]) -> tuple[list[Choice], bool]:
    option, value = named[0]
    whom, _, label = value.partition("=")
    others = [one for one in named[1:] if one[1]]
    if label in choices:
        return [Choice(one, option, f"{whom}={one}") for one in choices], True
    made = [Choice(choices[0], option, value)]
    made += [
        Choice(text, other, given)
        for text, (other, given) in zip(choices[1:], others, strict=False)
    ]
    return made, False


def _sparks(log: Log) -> tuple[Spark, ...]:
    """Draw each channel small: no peak is hidden, as each stretch keeps its lowest and highest."""
    import polars as pl  # noqa: PLC0415 - keeps --help instant

    from lungwort.logs import model  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.text import number  # noqa: PLC0415 - keeps --help instant

    if log.start is None or log.end is None:
        return ()
    span_us = max(1, int((log.end - log.start).total_seconds() * 1e6))
    begin_us = int(log.start.timestamp() * 1e6)
    lows: dict[str, list[float | None]] = {one.name: [None] * BUCKETS for one in log.channels}
    highs: dict[str, list[float | None]] = {one.name: [None] * BUCKETS for one in log.channels}
    for frame in log.frames():
        place = (
            ((pl.col(model.TIME).cast(pl.Int64) - begin_us) * BUCKETS // (span_us + 1))
            .clip(0, BUCKETS - 1)
            .alias("place")
        )
        values = [
            pl.when(pl.col(model.flag_column(one.name)) != model.BAD)
            .then(pl.col(one.name))
            .fill_nan(None)
            .alias(one.name)
            for one in log.channels
        ]
        cut = (
            frame.select(place, *values)
            .group_by("place")
            .agg(
                *(pl.col(one.name).min().alias(f"low {one.name}") for one in log.channels),
                *(pl.col(one.name).max().alias(f"high {one.name}") for one in log.channels),
            )
        )
        for row in cut.iter_rows(named=True):
            for one in log.channels:
                low, high = row[f"low {one.name}"], row[f"high {one.name}"]
                if low is None or high is None:
                    continue
                at = row["place"]
                for kept, value, pick in (
                    (lows[one.name], low, min),
                    (highs[one.name], high, max),
                ):
                    known = kept[at]
                    kept[at] = value if known is None else pick(value, known)
    return tuple(
        Spark(
            name=one.name,
            unit=one.unit,
            low=tuple(lows[one.name]),
            high=tuple(highs[one.name]),
            least=number(min((v for v in lows[one.name] if v is not None), default=None)),
            most=number(max((v for v in highs[one.name] if v is not None), default=None)),
        )
        for one in log.channels
    )


def analytes() -> tuple[tuple[str, str], ...]:
    """Give what a column can be taken for: key and name.

    Returns
    -------
    tuple of (str, str)
        In the order of the analytes.
    """
    return tuple((key, one.name) for key, one in ANALYTES.items())


def units_for(key: str) -> tuple[str, ...]:
    """Give the units in which an analyte is written.

    Parameters
    ----------
    key : str
        Of the analyte.

    Returns
    -------
    tuple of str
        As they would be given; for water with the words for a dew point.
    """
    from lungwort.air import units as air_units  # noqa: PLC0415 - keeps --help instant
    from lungwort.logs.headings import dimensions_that_fit  # noqa: PLC0415 - keeps --help instant

    fitting = dimensions_that_fit(key)
    found: list[str] = []
    for name, one in air_units.UNITS.items():
        if one.dimension not in fitting:
            continue
        if key == "water" and one.dimension == air_units.TEMPERATURE:
            found += [f"{name} pressure dew point", f"{name} atmospheric dew point"]
        else:
            found.append(name)
    return tuple(found)
