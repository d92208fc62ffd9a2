"""What was understood of a logger's file, before anything is judged."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from attrs import asdict, field, frozen

from lungwort.air.analytes import ANALYTES, ATMOSPHERIC_DEW_POINT, PRESSURE_DEW_POINT
from lungwort.errors import AmbiguityError, LogError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.reading import Reading
    from lungwort.logs.blocks import Opened
    from lungwort.logs.layout import Layout
    from lungwort.logs.model import Log, Stretch
    from lungwort.logs.options import ReadOptions
    from lungwort.paper.text import Clock

_TIME_UNITS: Final = {1.0: "s", 1e-3: "ms", 60.0: "min", 3600.0: "h"}
_WORDS: Final = {
    PRESSURE_DEW_POINT: " pressure dew point",
    ATMOSPHERIC_DEW_POINT: " atmospheric dew point",
}


@frozen
class ColumnSeen:
    """One column and what it was taken for.

    Parameters
    ----------
    heading : str
        As in the file.
    taken_as : str
        In words.
    unit : str
        Unit in the file.
    kept_as : str
        Column and unit in the log.
    """

    heading: str
    taken_as: str
    unit: str
    kept_as: str


@frozen
class FileSeen:
    """What was understood of one file."""

    name: str
    sha256: str
    encoding: str
    delimiter: str
    decimal: str
    header_line: int
    unit_line: int
    first_line: int
    time: str
    columns: tuple[ColumnSeen, ...]
    unused: tuple[tuple[str, str], ...]
    questions: tuple[str, ...]
    preamble: tuple[str, ...]


@frozen
class LogSeen:
    """What reading the files gave."""

    rows_read: int
    rows_used: int
    start: str
    end: str
    zone: str
    interval: str
    channels: tuple[tuple[str, ...], ...]
    stretches: tuple[tuple[str, ...], ...]
    refusals: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]
    doubts: tuple[str, ...]


@frozen
class Seen:
    """All that ``lungwort inspect`` says.

    Parameters
    ----------
    files : tuple of FileSeen
        The files.
    log : LogSeen, optional
        What reading them gave; None while questions are open.
    problem : str
        Why they could not be read; empty where they could.
    recipe : str
        Recipe text; empty where it was not asked for or questions are open.
    """

    files: tuple[FileSeen, ...]
    log: LogSeen | None = None
    problem: str = ""
    recipe: str = field(default="", repr=False)


def inspect(
    files: Sequence[Path],
    reading: Reading,
    *,
    now: datetime,
    progress: Callable[[int, int], None] | None = None,
    recipe_name: str = "",
) -> Seen:
    """Say what was understood of some files, and what is left open.

    Parameters
    ----------
    files : sequence of path
        The files.
    reading : Reading
        What the user settled.
    now : datetime
        Present moment.
    progress : callable, optional
        Called with bytes read and bytes in all.
    recipe_name : str
        Name for a recipe; empty for none.

    Returns
    -------
    Seen
        What was understood.

    Raises
    ------
    InputError
        Where nothing at all can be understood.
    """
    from lungwort.logs.read import plan_files, read_with  # noqa: PLC0415 - keeps --help instant

    options = reading.options()
    planned = plan_files(list(files), options)
    seen = tuple(_file(opened, layout) for opened, layout in planned)
    problem = ""
    log = None
    if not any(layout.questions for _, layout in planned):
        try:
            log = read_with(list(files), options, now=now, progress=progress)
        except (AmbiguityError, LogError) as error:
            problem = str(error)
    else:
        problem = "questions are open; settle them with the options named."
    recipe = ""
    if recipe_name and log is not None:
        recipe = _recipe(planned[0], options, recipe_name)
    return Seen(seen, None if log is None else _log(log), problem, recipe)


def _file(opened: Opened, layout: Layout) -> FileSeen:
    from lungwort.logs.layout import DELIMITER_NAMES  # noqa: PLC0415 - keeps --help instant

    plan = layout.time
    where = " and ".join(
        repr(heading) if heading else f"column {place + 1}"
        for heading, place in zip(plan.headings, plan.columns, strict=True)
    )
    kind = "date and time as text" if plan.kind == "text" else plan.kind
    columns = tuple(
        ColumnSeen(
            column.heading,
            ANALYTES[column.analyte].name + _WORDS.get(column.quantity, ""),
            column.unit + (f" ({column.basis})" if column.basis else ""),
            f"{column.name} [{column.canonical_unit}]",
        )
        for column in layout.values
    )
    long = " (one reading a row)" if layout.long is not None else ""
    return FileSeen(
        name=opened.raw.name,
        sha256=opened.raw.sha256,
        encoding=opened.raw.encoding or "workbook",
        delimiter=DELIMITER_NAMES.get(layout.delimiter, layout.delimiter) + long,
        decimal=layout.decimal,
        header_line=layout.header_line,
        unit_line=layout.unit_line,
        first_line=layout.first_line,
        time=f"{kind} in {where}" + (", stated as UTC" if plan.utc_stated else ""),
        columns=columns,
        unused=layout.unused,
        questions=tuple(
            f"{question.text} Choices: {'; '.join(question.choices)}. {question.remedy}"
            for question in layout.questions
        ),
        preamble=layout.preamble[:10],
    )


def _log(log: Log) -> LogSeen:
    from lungwort.paper.text import Clock, duration, grouped, number  # noqa: PLC0415 - keeps --help instant

    clock = Clock.for_period(log.zone, log.start, log.end)
    counts = _counts(log)
    channels = tuple(
        (
            channel.name,
            channel.unit,
            number(counts[channel.name]["low"]),
            number(counts[channel.name]["high"]),
            *(
                grouped(int(counts[channel.name][key] or 0))
                for key in ("good", "suspect", "bad", "missing", "settling")
            ),
        )
        for channel in log.channels
    )
    refusals = tuple(
        (
            source.name,
            refusal.cause,
            grouped(refusal.rows),
            ", ".join(map(str, refusal.first_lines)),
            refusal.sample,
        )
        for source in log.sources
        for refusal in source.refusals
    )
    stretches = _stretches(log, clock)
    return LogSeen(
        rows_read=sum(source.rows_read for source in log.sources),
        rows_used=sum(source.rows_used for source in log.sources),
        start=clock.time(log.start),
        end=clock.time(log.end),
        zone=log.zone if log.zone_stated else "not stated; taken as UTC",
        interval=duration(log.interval_s) if log.interval_s else "not known",
        channels=channels,
        stretches=stretches,
        refusals=refusals,
        notes=log.notes,
        doubts=log.all_doubts,
    )


def _stretches(log: Log, clock: Clock) -> tuple[tuple[str, ...], ...]:
    """Tell stretches of one kind together, so that a hundred short ones take one line."""
    groups: dict[tuple[str, str, str], list[Stretch]] = {}
    for stretch in log.stretches:
        text = stretch.text if stretch.cause != "gap" else "no readings"
        groups.setdefault((stretch.cause, stretch.channel, text), []).append(stretch)
    rows = []
    for (cause, channel, text), group in groups.items():
        first, last = group[0], group[-1]
        times = "1 time" if len(group) == 1 else f"{len(group)} times"
        readings = sum(one.readings for one in group)
        rows.append(
            (cause, channel or "all", times, clock.span(first.start, last.end), str(readings), text)
        )
    return tuple(rows)


def _counts(log: Log) -> dict[str, dict[str, float | None]]:
    import polars as pl  # noqa: PLC0415 - keeps --help instant

    from lungwort.logs import model  # noqa: PLC0415 - keeps --help instant

    flags = {
        "good": model.GOOD,
        "suspect": model.SUSPECT,
        "bad": model.BAD,
        "missing": model.MISSING,
        "settling": model.NOT_EVALUATED,
    }
    total: dict[str, dict[str, float | None]] = {
        channel.name: {"low": None, "high": None, **dict.fromkeys(flags, 0)}
        for channel in log.channels
    }
    for frame in log.frames():
        for channel in log.channels:
            flag = pl.col(model.flag_column(channel.name))
            value = pl.col(channel.name).filter(flag != model.BAD)
            row = frame.select(
                value.min().alias("low"),
                value.max().alias("high"),
                *((flag == code).sum().alias(name) for name, code in flags.items()),
            ).row(0, named=True)
            mine = total[channel.name]
            for name in flags:
                mine[name] = (mine[name] or 0) + row[name]
            for name, pick in (("low", min), ("high", max)):
                known = [number for number in (mine[name], row[name]) if number is not None]
                mine[name] = pick(known) if known else None
    return total


def _recipe(planned: tuple[Opened, Layout], options: ReadOptions, name: str) -> str:
    from attrs import evolve  # noqa: PLC0415 - only here

    from lungwort.logs.naming import label_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.logs.recipe import recipe_text  # noqa: PLC0415 - keeps --help instant

    opened, layout = planned
    in_table = layout.long is None
    settled = evolve(
        options,
        delimiter=layout.delimiter or None,
        encoding=opened.raw.encoding or None,
        decimal=layout.decimal,
        time_columns=tuple(label_of(place, layout.headings) for place in layout.time.columns),
    )
    if layout.time.kind == "elapsed time":
        given = tuple(pair for pair in options.units if pair[0] != "time")
        settled = evolve(settled, units=(*given, ("time", _TIME_UNITS[layout.time.unit_s])))
    channels = [
        (
            label_of(column.index, layout.headings) if in_table else column.heading,
            column.analyte,
            f"{column.unit}{_WORDS.get(column.quantity, '')}",
        )
        for column in layout.values
    ]
    return recipe_text(settled, channels, name)


def as_json(seen: Seen) -> str:
    """Give what was understood as one JSON object."""
    plain: dict[str, Any] = asdict(seen)
    return json.dumps(plain, ensure_ascii=False, indent=2)


def save_recipe(seen: Seen, path: Path) -> Path:
    """Write the recipe.

    Raises
    ------
    LogError
        Where questions are open, so that there is no recipe yet.
    OutputError
        Where it cannot be written.
    """
    from lungwort.paper.write import write_bytes  # noqa: PLC0415 - keeps --help instant

    if not seen.recipe:
        raise LogError(f"there is no recipe to save yet: {seen.problem}")
    return write_bytes(seen.recipe.encode("utf-8"), path)
