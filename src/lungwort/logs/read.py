"""Reading a log: from files to one clean, flagged `Log`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import polars as pl
from attrs import evolve

from lungwort.air.analytes import ANALYTES
from lungwort.errors import AmbiguityError, LogError
from lungwort.logs import times
from lungwort.logs.blocks import Opened, cell_name, cells, open_file
from lungwort.logs.files import find_files
from lungwort.logs.gather import gather
from lungwort.logs.headings import read_heading
from lungwort.logs.layout import Labels, Layout, lay_out, settle_labels
from lungwort.logs.options import (
    DATE_ORDERS,
    DECIMALS,
    DEFAULT_RESETTLE_GAP_S,
    DEFAULT_SETTLE_S,
    Question,
    ReadOptions,
)
from lungwort.logs.recipe import load_recipe

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from lungwort.logs.model import Log

_DAY: Final = timedelta(days=1)


def read_log(
    paths: str | Path | Sequence[str | Path],
    *,
    recipe: str | Path | None = None,
    zone: str | None = None,
    date_order: str | None = None,
    decimal: str | None = None,
    units: Mapping[str, str] | None = None,
    columns: Mapping[str, str] | Sequence[tuple[str, str]] | None = None,
    ignore: Sequence[str] = (),
    time_columns: Sequence[str] = (),
    start: datetime | None = None,
    missing: Sequence[str | float] = (),
    delimiter: str | None = None,
    encoding: str | None = None,
    header_line: int | None = None,
    sheet: str | None = None,
    trust: Sequence[str] = (),
    wanted: Sequence[str] | None = None,
    settle: timedelta | None = None,
    resettle_gap: timedelta | None = None,
    now: datetime | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Log:
    """Read the files of one logger into a clean, flagged log.

    Parameters
    ----------
    paths : path or sequence of paths
        Files; several are joined in time.
    recipe : path, optional
        Recipe that says how the file is laid out; the other arguments go before it.
    zone : str, optional
        IANA time zone of the logger's clock, for times without an offset. Where the file states
        offsets, it only says in which zone times are shown.
    date_order : str, optional
        ``dmy``, ``mdy`` or ``ymd``.
    decimal : str, optional
        ``point`` or ``comma``.
    units : mapping, optional
        Analyte key or heading to unit, such as ``{"water": "°C pressure dew point"}``.
    columns : mapping or sequence of pairs, optional
        Analyte key to heading; repeat a key in a sequence to use several columns.
    ignore : sequence of str
        Headings to leave alone.
    time_columns : sequence of str
        Heading of the time column, or of the date and the time column.
    start : datetime, optional
        Moment of elapsed second 0; taken in ``zone`` where it has no offset.
    missing : sequence of str or float
        Cells that stand for no reading.
    delimiter, encoding, sheet : str, optional
        Where the file needs them said.
    header_line : int, optional
        Line of the headings, from 1.
    trust : sequence of str
        Analytes whose implausible level is known to be true.
    wanted : sequence of str, optional
        Analytes that matter; a question about another column leaves that column unused.
    settle : datetime.timedelta, optional
        Settling time, 30 min where absent.
    resettle_gap : datetime.timedelta, optional
        Gap after which settling begins anew, 10 min where absent.
    now : datetime, optional
        Present moment; readings a day later than this are doubted.
    progress : callable, optional
        Called with bytes read and bytes in all.

    Returns
    -------
    Log
        The readings with flags, stretches, notes and what was refused.

    Raises
    ------
    AmbiguityError
        Where a file can be read in more than one way.
    LogError
        Where a file cannot be read.
    RecipeError
        Where the recipe has a mistake in it.
    """
    options = load_recipe(recipe) if recipe is not None else ReadOptions()
    pairs = tuple(columns.items()) if isinstance(columns, Mapping) else tuple(columns or ())
    changes: dict[str, Any] = {
        "zone": zone,
        "date_order": date_order,
        "decimal": decimal,
        "units": (*(units or {}).items(), *options.units) if units else None,
        "columns": pairs or None,
        "ignore": (*options.ignore, *ignore) if ignore else None,
        "time_columns": tuple(time_columns) or None,
        "start": start,
        "missing": (*options.missing, *(_text(code) for code in missing)) if missing else None,
        "delimiter": delimiter,
        "encoding": encoding,
        "header_line": header_line,
        "sheet": sheet,
        "trust": tuple(trust) or None,
        "wanted": None if wanted is None else tuple(wanted),
        "settle_s": None if settle is None else settle.total_seconds(),
        "resettle_gap_s": None if resettle_gap is None else resettle_gap.total_seconds(),
    }
    options = evolve(options, **{key: value for key, value in changes.items() if value is not None})
    return read_with(paths, options, now=now, progress=progress)


def _text(code: str | float) -> str:
    return code if isinstance(code, str) else f"{code:g}"


def read_with(
    paths: str | Path | Sequence[str | Path],
    options: ReadOptions,
    *,
    now: datetime | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Log:
    """Read the files of one logger with all options in one value; see `read_log`."""
    check_options(options)
    with ThreadPoolExecutor(max_workers=1) as pool:
        planned = plan_files(paths, options)
        for opened, _ in planned:
            opened.raw.start_digest(pool)
        questions = [
            (opened.raw.name, question)
            for opened, layout in planned
            for question in layout.questions
        ]
        if questions:
            raise as_error(questions)
        return gather(planned, options, now=now, progress=progress)


def plan_files(
    paths: str | Path | Sequence[str | Path], options: ReadOptions
) -> list[tuple[Opened, Layout]]:
    """Understand the files before their readings are read.

    Parameters
    ----------
    paths : path or sequence of paths
        Files.
    options : ReadOptions
        What the user settled.

    Returns
    -------
    list of (Opened, Layout)
        One a file; open questions are in the layouts.

    Raises
    ------
    LogError
        Where a file cannot be read at all.
    """
    listed = paths if isinstance(paths, (str, Path)) else list(paths)
    planned = []
    for raw in find_files(listed):
        opened = open_file(raw, options)
        layout = lay_out(opened.rows, opened.delimiter, options, raw.name)
        if layout.long is not None:
            layout = _with_all_labels(opened, layout, options)
        if not layout.values and not layout.questions:
            heard = ", ".join(repr(heading) for heading in layout.headings if heading)[:300]
            raise LogError(
                f"no column was understood among {heard}. Name them with --column, such as "
                "--column 'co=Sensor 1' --unit co=ppm.",
                file=raw.name,
                line=layout.header_line,
            )
        planned.append((opened, layout))
    return planned


def _with_all_labels(opened: Opened, layout: Layout, options: ReadOptions) -> Layout:
    """Look through a whole file with one reading a row: a label may come late."""
    long = layout.long
    if long is None:
        return layout
    labels: Labels = {}
    places = [long.label, long.value, *([] if long.unit is None else [long.unit])]
    names = [cell_name(place) for place in places]
    for block in cells(opened, layout.width, layout.first_line):
        counted = (
            block.frame.select(pl.col(name).str.strip_chars() for name in names)
            .filter(pl.col(names[1]) != "")
            .group_by(names[0], *names[2:], maintain_order=True)
            .len()
        )
        for row in counted.iter_rows():
            label, unit, count = row[0], row[1] if long.unit is not None else "", row[-1]
            if read_heading(label).key not in {"name", "value"}:
                labels.setdefault(label, Counter())[unit] += count
    body = opened.rows[layout.first_line - 1 :]
    return settle_labels(layout, labels, body, options, opened.raw.name)


def as_error(questions: Sequence[tuple[str, Question]]) -> AmbiguityError:
    """Turn open questions into the error that shows them all."""
    name, first = questions[0]
    more = []
    for other_name, question in questions[1:]:
        where = f"{other_name}, " if other_name != name else ""
        more.append(
            f"Also: {where}{question.text} ({'; '.join(question.choices)}) {question.remedy}"
        )
    return AmbiguityError(
        first.text,
        choices=first.choices,
        remedy=" ".join([first.remedy, *more]),
        file=name,
        line=first.line,
        column=first.column,
    )


def check_options(options: ReadOptions) -> None:
    """Refuse options that cannot be meant.

    Raises
    ------
    LogError
        With the option, what was found and what is allowed.
    """
    if options.date_order is not None and options.date_order not in DATE_ORDERS:
        raise LogError(
            f"date order {options.date_order!r} is not known. Use {', '.join(DATE_ORDERS)}."
        )
    if options.decimal is not None and options.decimal not in DECIMALS:
        raise LogError(
            f"decimal sign {options.decimal!r} is not known. Use {' or '.join(DECIMALS)}."
        )
    if options.zone is not None:
        times.zone_info(options.zone)
    for key, value in (("settling time", options.settle_s), ("gap", options.resettle_gap_s)):
        if not 0.0 <= value < 366 * _DAY.total_seconds():
            raise LogError(
                f"a {key} of {value:g} s cannot be meant. Give a time from 0 s to a year."
            )
    for key in options.trust:
        if key not in ANALYTES:
            raise LogError(f"--trust {key}: no such analyte. Known: {', '.join(ANALYTES)}.")


__all__ = [
    "DEFAULT_RESETTLE_GAP_S",
    "DEFAULT_SETTLE_S",
    "as_error",
    "plan_files",
    "read_log",
    "read_with",
]
