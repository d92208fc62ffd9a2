"""Joining the readings of one or several files into one log, in memory or on disk."""

from __future__ import annotations

import tempfile
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import polars as pl
from attrs import define, evolve, field

from lungwort.errors import LogError
from lungwort.logs.arrange import FILE, Arranged, arrange, clock_doubts, utc
from lungwort.logs.blocks import LINE
from lungwort.logs.model import (
    MISSING,
    PLAIN,
    TIME,
    Channel,
    Log,
    Refusal,
    Source,
    censor_column,
    flag_column,
)
from lungwort.logs.parse import FileParser
from lungwort.logs.quality import Grader

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime

    from lungwort.logs.blocks import Opened
    from lungwort.logs.layout import Layout
    from lungwort.logs.options import ReadOptions

IN_MEMORY_BYTES: Final = 256 << 20
"""Logs with more text than this are kept on disk while they are read [bytes]."""
_PACKED_FACTOR: Final = 8


class _OutOfOrder(Exception):  # noqa: N818 - a signal between two ways of reading, never shown
    pass


@define
class _Gathering:
    parsers: list[FileParser]
    channels: tuple[Channel, ...]
    options: ReadOptions
    total_bytes: int
    progress: Callable[[int, int], None] | None
    notes: list[str] = field(factory=list)
    doubts: list[str] = field(factory=list)
    spool: Any = None


def gather(
    planned: list[tuple[Opened, Layout]],
    options: ReadOptions,
    *,
    now: datetime | None,
    progress: Callable[[int, int], None] | None,
) -> Log:
    """Read files that are understood and join them.

    Parameters
    ----------
    planned : list of (Opened, Layout)
        The files, nothing left open.
    options : ReadOptions
        What the user settled.
    now : datetime, optional
        Present moment, UTC.
    progress : callable, optional
        Called with bytes read and bytes in all.

    Returns
    -------
    Log
        The log.

    Raises
    ------
    LogError
        Where no reading could be used.
    """
    notes: list[str] = []
    planned = _without_copies(planned, notes)
    channels, names = _channels([layout for _, layout in planned])
    total = sum(_text_bytes(opened) for opened, _ in planned)
    parsers = [
        FileParser(opened, layout, options, names[index])
        for index, (opened, layout) in enumerate(planned)
    ]
    gathering = _Gathering(parsers, channels, options, max(total, 1), progress, notes)
    if total > IN_MEMORY_BYTES and all(layout.long is None for _, layout in planned):
        try:
            return _on_disk(gathering, now)
        except _OutOfOrder:
            parsers = [FileParser(p.opened, p.layout, options, p.names) for p in parsers]
            gathering = _Gathering(parsers, channels, options, max(total, 1), progress, list(notes))
    return _in_memory(gathering, now)


def _text_bytes(opened: Opened) -> int:
    packed = opened.raw.is_gzip or bool(opened.raw.member)
    return opened.text_bytes * (_PACKED_FACTOR if packed else 1)


def _without_copies(
    planned: list[tuple[Opened, Layout]], notes: list[str]
) -> list[tuple[Opened, Layout]]:
    seen: dict[tuple[str, str], str] = {}
    kept = []
    for opened, layout in planned:
        key = (opened.raw.sha256, opened.raw.member)
        if len(planned) > 1 and key in seen:
            notes.append(
                f"{opened.raw.name} has the same content as {seen[key]} and was read once."
            )
            continue
        seen[key] = opened.raw.name
        kept.append((opened, layout))
    return kept


def _channels(layouts: list[Layout]) -> tuple[tuple[Channel, ...], list[dict[str, str]]]:
    channels: dict[tuple[str, str, str, int], Channel] = {}
    taken: Counter[str] = Counter()
    names: list[dict[str, str]] = []
    for layout in layouts:
        own: dict[str, str] = {}
        nth: Counter[tuple[str, str, str]] = Counter()
        for column in layout.values:
            kind = (column.analyte, column.quantity, column.canonical_unit)
            nth[kind] += 1
            key = (*kind, nth[kind])
            if key not in channels:
                taken[column.analyte] += 1
                count = taken[column.analyte]
                channels[key] = Channel(
                    name=column.analyte if count == 1 else f"{column.analyte}_{count}",
                    analyte=column.analyte,
                    quantity=column.quantity,
                    unit=column.canonical_unit,
                    heading=column.heading,
                    logged_unit=column.unit,
                    basis=column.basis,
                )
            own[column.heading if layout.long is not None else str(column.index)] = channels[
                key
            ].name
        names.append(own)
    return tuple(channels.values()), names


def _parsed(gathering: _Gathering) -> Iterator[tuple[int, pl.DataFrame]]:
    done = 0
    for index, parser in enumerate(gathering.parsers):
        share = _text_bytes(parser.opened)
        first_rows = 0
        for frame in parser.frames():
            first_rows = first_rows or max(frame.height, 1)
            if gathering.progress is not None:
                gathering.progress(
                    min(
                        done + share * parser.rows_read // max(_rows_guess(parser), 1), done + share
                    ),
                    gathering.total_bytes,
                )
            yield index, frame
        done += share
        if gathering.progress is not None:
            gathering.progress(done, gathering.total_bytes)


def _rows_guess(parser: FileParser) -> int:
    rows = parser.opened.rows[parser.layout.first_line - 1 :][:200]
    width = sum(len(cell) + 1 for row in rows for cell in row) / max(len(rows), 1)
    return int(_text_bytes(parser.opened) / max(width, 1.0))


def _uniform(
    frame: pl.DataFrame, channels: tuple[Channel, ...], censored: set[str]
) -> pl.DataFrame:
    """Give every frame the same columns, empty where a file has no such channel."""
    height = frame.height
    columns = []
    for channel in channels:
        name = channel.name
        if name in frame.columns:
            columns.extend([frame[name], frame[flag_column(name)]])
        else:
            columns.append(pl.Series(name, [None], dtype=pl.Float64).new_from_index(0, height))
            columns.append(
                pl.Series(flag_column(name), [MISSING], dtype=pl.UInt8).new_from_index(0, height)
            )
        censor = censor_column(name)
        if censor in frame.columns:
            censored.add(name)
            columns.append(frame[censor])
        elif name in censored:
            columns.append(pl.Series(censor, [PLAIN], dtype=pl.Int8).new_from_index(0, height))
    return pl.DataFrame([frame[LINE], frame[TIME], *columns])


def _in_memory(gathering: _Gathering, now: datetime | None) -> Log:
    censored: set[str] = set()
    frames = []
    for index, frame in _parsed(gathering):
        whole = _uniform(frame, gathering.channels, censored)
        frames.append(whole.with_columns(pl.lit(index, dtype=pl.Int32).alias(FILE)))
    frames = [_uniform_again(frame, censored) for frame in frames]
    names = [parser.name for parser in gathering.parsers]
    frames = _files_in_time(frames)
    together = frames[0] if len(frames) == 1 else pl.concat(frames, how="diagonal")
    frames.clear()
    if together.height == 0:
        raise _nothing(gathering)
    arranged = arrange(together, names)
    del together
    channels = tuple(evolve(c, censored=c.name in censored) for c in gathering.channels)
    grader = _grader(channels, gathering.options)
    graded = grader.grade(
        arranged.frame.drop(LINE, FILE).with_columns(pl.col(TIME).dt.replace_time_zone("UTC"))
    )
    gathering.notes.extend(arranged.notes)
    gathering.doubts.extend(arranged.doubts)
    return _log(gathering, grader, (graded,), arranged, now)


def _uniform_again(frame: pl.DataFrame, censored: set[str]) -> pl.DataFrame:
    missing = [name for name in sorted(censored) if censor_column(name) not in frame.columns]
    return frame.with_columns(
        pl.lit(PLAIN, dtype=pl.Int8).alias(censor_column(name)) for name in missing
    )


def _files_in_time(frames: list[pl.DataFrame]) -> list[pl.DataFrame]:
    """Put the files in the order of their first time, keeping each file's own order."""
    begins: dict[int, Any] = {}
    for frame in frames:
        if frame.height:
            index, low = int(frame[FILE][0]), frame[TIME].min()
            begins[index] = low if index not in begins else min(begins[index], low)
    filled = [frame for frame in frames if frame.height]
    if len(begins) < 2:  # noqa: PLR2004 - one file has only its own order
        return filled or frames
    return sorted(filled, key=lambda frame: begins[int(frame[FILE][0])])


def _grader(channels: tuple[Channel, ...], options: ReadOptions) -> Grader:
    return Grader(channels, options.settle_s, options.resettle_gap_s, options.trust)


def _on_disk(gathering: _Gathering, now: datetime | None) -> Log:
    """Read a log larger than memory: frame after frame, each graded and written to disk."""
    spool = tempfile.TemporaryDirectory(prefix="lungwort-", ignore_cleanup_errors=True)
    gathering.spool = spool
    folder = Path(spool.name)
    grader: Grader | None = None
    censored: set[str] = {channel.name for channel in gathering.channels}
    channels = tuple(evolve(channel, censored=True) for channel in gathering.channels)
    parts: list[pl.LazyFrame] = []
    last_time: datetime | None = None
    held: pl.DataFrame | None = None
    notes: list[str] = []
    duplicates: dict[int, tuple[int, tuple[int, ...]]] = {}
    names = [parser.name for parser in gathering.parsers]
    for index, frame in _parsed(gathering):
        whole = _uniform(frame, gathering.channels, censored).with_columns(
            pl.lit(index, dtype=pl.Int32).alias(FILE)
        )
        if whole.height == 0:
            continue
        if not whole[TIME].is_sorted() or (last_time is not None and whole[TIME][0] < last_time):
            raise _OutOfOrder
        last_time = whole[TIME][-1]
        if held is not None:
            whole = pl.concat([held, whole])
        arranged = arrange(whole, names)
        for file, (count, lines) in arranged.duplicates.items():
            old, first = duplicates.get(file, (0, ()))
            duplicates[file] = (old + count, first or lines)
        notes.extend(note for note in arranged.notes if note not in notes)
        whole, held = _hold_back(arranged.frame)
        grader = grader or _grader(channels, gathering.options)
        parts.append(_spooled(grader, whole, folder, len(parts)))
    if held is not None and held.height:
        grader = grader or _grader(channels, gathering.options)
        parts.append(_spooled(grader, held, folder, len(parts)))
    if grader is None or not parts:
        raise _nothing(gathering)
    gathering.notes.extend(notes)
    empty = pl.DataFrame(schema={TIME: pl.Datetime("us"), LINE: pl.Int64, FILE: pl.Int32})
    arranged = Arranged(empty, empty, (), (), duplicates)
    return _log(gathering, grader, tuple(parts), arranged, now)


def _hold_back(frame: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Keep the last rows for the next frame, so that no run of equal readings is cut early."""
    most = min(frame.height // 2, 200_000)
    if most == 0:
        return frame.head(0), frame
    values = [
        name
        for name in frame.columns
        if name not in {LINE, FILE, TIME} and not name.endswith(("_flag", "_censor"))
    ]
    tail = frame.tail(most)
    moved = tail.select(
        pl.any_horizontal(
            (pl.col(name) != pl.col(name).shift(1)).fill_null(value=True) for name in values
        ).alias("m")
    )["m"]
    places = moved.arg_true()
    run = most - int(places[-1]) if len(places) else most
    keep = max(run + 1, 2)
    return frame.head(frame.height - keep), frame.tail(keep)


def _spooled(grader: Grader, frame: pl.DataFrame, folder: Path, number: int) -> pl.LazyFrame:
    graded = grader.grade(
        frame.drop(LINE, FILE).with_columns(pl.col(TIME).dt.replace_time_zone("UTC"))
    )
    path = folder / f"part-{number:06d}.parquet"
    graded.write_parquet(path, compression="lz4", statistics=False)
    return pl.scan_parquet(path)


def _nothing(gathering: _Gathering) -> LogError:
    parser = gathering.parsers[0]
    causes = "; ".join(f"{count} rows: {cause}" for cause, count in parser.refused.counts.items())
    line = next((lines[0] for lines in parser.refused.lines.values() if lines), None)
    return LogError(
        f"no row could be used ({causes or 'there are no rows under the headings'}). Look at the file with "
        "'lungwort inspect'.",
        file=parser.name,
        line=line,
    )


def _log(
    gathering: _Gathering,
    grader: Grader,
    parts: tuple[pl.DataFrame | pl.LazyFrame, ...],
    arranged: Arranged,
    now: datetime | None,
) -> Log:
    options = gathering.options
    first_part = parts[0].head(1).lazy().collect()
    last_part = parts[-1].tail(1).lazy().collect()
    start, end = first_part[TIME][0], last_part[TIME][0]
    stated = any(parser.has_offset for parser in gathering.parsers)
    notes = [*gathering.notes]
    for parser in gathering.parsers:
        notes.extend(note for note in (*parser.layout.notes, *parser.notes) if note not in notes)
        if parser.localiser is not None:
            notes.extend(f"{parser.name}: {note}" for note in parser.localiser.notes())
    if not stated and options.zone is None:
        notes.append(
            "No time zone is stated in the file and none was given: its times were taken as UTC."
        )
    notes.extend(_cell_notes(gathering))
    doubts = [*gathering.doubts, *clock_doubts(start, end, now)]
    unplaced = _unplaced(gathering, arranged)
    if unplaced is not None:
        lost = sum(part.height for parser in gathering.parsers for part in parser.untimed)
        if lost:
            doubts.append(
                f"{lost} rows have no time that can be read, so it is not known when their readings were taken"
            )
    channels = tuple(
        evolve(
            channel, censored=channel.censored or censor_column(channel.name) in first_part.columns
        )
        for channel in grader.channels
    )
    for (channel, cause), count in grader.more.items():
        where = channel or "all channels"
        notes.append(
            f"{where}: {count} more readings in stretches of the kind '{cause}' that are not listed apart."
        )
    columns_not_used = {
        heading: why for parser in gathering.parsers for heading, why in parser.layout.unused
    }
    log = Log(
        parts=parts,
        channels=channels,
        sources=tuple(
            _source(parser, index, arranged, options)
            for index, parser in enumerate(gathering.parsers)
        ),
        rows=grader.rows,
        start=start,
        end=end,
        interval_s=grader.interval_s,
        zone=options.zone or "UTC",
        zone_stated=stated or options.zone is not None,
        settle_s=options.settle_s,
        stretches=tuple(
            sorted(grader.stretches, key=lambda stretch: (stretch.start, stretch.channel))
        ),
        notes=tuple(notes),
        columns_not_used=tuple(f"{heading} ({why})" for heading, why in columns_not_used.items()),
        doubts=tuple(doubts),
        channel_doubts=tuple(grader.doubts()),
        unplaced=unplaced,
    )
    if gathering.spool is not None:
        log = evolve(log, spool=gathering.spool)
    return log


def _cell_notes(gathering: _Gathering) -> list[str]:
    notes = []
    for parser in gathering.parsers:
        for name, causes in parser.odd_cells.items():
            for cause, count in sorted(causes.counts.items(), key=lambda item: -item[1])[:8]:
                lines = ", ".join(map(str, causes.lines[cause]))
                notes.append(
                    f"{parser.name}, {name}: {count} cells: {cause} (first at line {lines})."
                )
    return notes


def _unplaced(gathering: _Gathering, arranged: Arranged) -> pl.DataFrame | None:
    frames = [part for parser in gathering.parsers for part in parser.untimed if part.height]
    if arranged.unplaced.height:
        frames.append(arranged.unplaced.drop(LINE, FILE))
    if not frames:
        return None
    censored: set[str] = set()
    whole = [
        _uniform(
            frame if LINE in frame.columns else frame.with_columns(pl.lit(0).alias(LINE)),
            gathering.channels,
            censored,
        )
        for frame in frames
    ]
    whole = [_uniform_again(frame, censored) for frame in whole]
    together = pl.concat(whole, how="diagonal").drop(LINE)
    return together.with_columns(pl.col(TIME).dt.replace_time_zone("UTC"))


def _source(parser: FileParser, index: int, arranged: Arranged, options: ReadOptions) -> Source:
    refusals = list(parser.refusals())
    used = parser.rows_used
    count, lines = arranged.duplicates.get(index, (0, ()))
    if count:
        refusals.append(Refusal("exact duplicate of another row", count, lines))
        used -= count
    count, lines = arranged.reset.get(index, (0, ()))
    if count:
        refusals.append(Refusal("after a clock reset: the time cannot be trusted", count, lines))
        used -= count
    return Source(
        name=parser.name,
        sha256=parser.opened.raw.sha256,
        size_bytes=parser.opened.raw.size_bytes,
        rows_read=parser.rows_read,
        rows_used=max(used, 0),
        refusals=tuple(refusals),
        recipe=options.recipe or "worked out from the file",
    )


__all__ = ["IN_MEMORY_BYTES", "gather", "utc"]
