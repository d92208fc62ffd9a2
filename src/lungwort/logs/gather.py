"""Joining the readings of one or several files into one log, in memory or on disk."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

import polars as pl
from attrs import define, evolve, field

from lungwort.errors import LogError
from lungwort.logs.arrange import (
    FILE,
    ROWS,
    USED,
    arrange,
    clock_doubts,
    same_time_words,
)
from lungwort.logs.blocks import LINE
from lungwort.logs.frames import (
    Counted,
    Spool,
    codes_unread,
    part_on_disk,
    uniform,
    with_censors,
)
from lungwort.logs.model import (
    MISSING,
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
    from pathlib import Path

    from lungwort.logs.blocks import Opened
    from lungwort.logs.layout import Layout
    from lungwort.logs.options import ReadOptions

IN_MEMORY_BYTES: Final = 256 << 20
"""Logs with more text than this are kept on disk while they are read [bytes]."""
_PACKED_FACTOR: Final = 8
_CAUSES_AT_MOST: Final = 8
_LONG_JUMP: Final = timedelta(days=300)


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
    if len(planned) == 1:
        return planned
    for opened, layout in planned:
        key = (opened.raw.sha256, opened.raw.member)
        if key in seen:
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


def _in_memory(gathering: _Gathering, now: datetime | None) -> Log:
    censored: set[str] = set()
    frames = []
    for index, frame in _parsed(gathering):
        whole = uniform(frame, gathering.channels, censored)
        frames.append(whole.with_columns(pl.lit(index, dtype=pl.Int32).alias(FILE)))
    frames = [with_censors(frame, censored) for frame in frames]
    names = [parser.name for parser in gathering.parsers]
    frames = _files_in_time(frames)
    together = frames[0] if len(frames) == 1 else pl.concat(frames, how="diagonal")
    frames.clear()
    if ROWS in together.columns:
        # A file with one row a time holds one row in each; its numbers tell whether it was used.
        number = pl.any_horizontal(pl.col(c.name).is_not_null() for c in gathering.channels)
        together = together.with_columns(
            pl.col(ROWS).fill_null(1), pl.coalesce(USED, number.cast(pl.UInt32)).alias(USED)
        )
    if together.height == 0:
        raise _nothing(gathering)
    arranged = arrange(together, names)
    del together
    count = Counted()
    ready = count.take(arranged, gathering.channels)
    if ready.height == 0:
        raise _nothing(gathering)
    channels = tuple(evolve(c, censored=c.name in censored) for c in gathering.channels)
    grader = _grader(channels, gathering.options)
    grader.observe(ready)
    graded = grader.grade(ready)
    return _log(gathering, grader, (graded,), count, now)


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
    """Read a log larger than memory: frame after frame to disk, then each graded with the whole in view."""
    spool = Spool()
    try:
        return _through(spool, gathering, now)
    except BaseException:
        spool.remove()
        raise


def _through(spool: Spool, gathering: _Gathering, now: datetime | None) -> Log:
    grader = _grader(gathering.channels, gathering.options)
    count = Counted()
    raw: list[Path] = []
    censored: set[str] = set()
    held: pl.DataFrame | None = None
    names = [parser.name for parser in gathering.parsers]

    def put(frame: pl.DataFrame) -> None:
        arranged = arrange(frame, names)
        if arranged.unplaced.height:
            raise _OutOfOrder
        ready = count.take(arranged, gathering.channels)
        grader.observe(ready)
        raw.append(spool.folder / f"raw-{len(raw):06d}.parquet")
        ready.write_parquet(raw[-1], compression="lz4", statistics=False)

    for index, frame in _parsed(gathering):
        whole = uniform(frame, gathering.channels, censored).with_columns(
            pl.lit(index, dtype=pl.Int32).alias(FILE)
        )
        if whole.height == 0:
            continue
        if held is not None:
            whole = pl.concat(
                [with_censors(held, censored), with_censors(whole, censored)], how="diagonal"
            )
        # A clock that was set while the log ran needs the whole log to be judged.
        if not whole[TIME].is_sorted() or (whole[TIME].diff() > _LONG_JUMP).any():
            raise _OutOfOrder
        # Rows of one time stay together, so that none is looked at without its duplicates.
        last = whole[TIME] == whole[TIME][-1]
        held = whole.filter(last)
        if held.height < whole.height:
            put(whole.filter(~last))
    if held is None:
        raise _nothing(gathering)
    put(held)
    gathering.spool = spool
    grader.channels = tuple(evolve(c, censored=c.name in censored) for c in gathering.channels)
    parts = []
    for number, path in enumerate(raw):
        frame = with_censors(pl.read_parquet(path, memory_map=False), censored)
        part = spool.folder / f"part-{number:06d}.parquet"
        grader.grade(frame).write_parquet(part, compression="lz4", statistics=False)
        path.unlink()
        parts.append(part)
    added = {
        name for path in parts for name in pl.read_parquet_schema(path) if name.endswith("_censor")
    }
    return _log(
        gathering,
        grader,
        tuple(part_on_disk(path, grader.channels, added) for path in parts),
        count,
        now,
    )


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
    count: Counted,
    now: datetime | None,
) -> Log:
    options = gathering.options
    first_part = parts[0].head(1).lazy().collect()
    last_part = parts[-1].tail(1).lazy().collect()
    start, end = first_part[TIME][0], last_part[TIME][0]
    stated = any(parser.has_offset for parser in gathering.parsers)
    same_time, same_time_doubt = same_time_words(count.differing, count.first_differing, count.rows)
    notes = [*gathering.notes, *count.notes, *([same_time] if same_time else [])]
    for parser in gathering.parsers:
        notes.extend(note for note in (*parser.layout.notes, *parser.notes) if note not in notes)
        if parser.localiser is not None:
            notes.extend(f"{parser.name}: {note}" for note in parser.localiser.notes())
    if not stated and options.zone is None:
        notes.append(
            "No time zone is stated in the file and none was given: its times were taken as UTC."
        )
    notes.extend(_cell_notes(gathering))
    notes.extend(
        f"{parser.name}: {note}"
        for parser in gathering.parsers
        for column in parser.watched
        for note in column.notes()
    )
    doubts = [*count.doubts, *([same_time_doubt] if same_time_doubt else [])]
    doubts.extend(clock_doubts(start, end, now))
    doubts.extend(
        f"{parser.name}: some times carry an offset from UTC and others do not, which cannot be placed"
        for parser in gathering.parsers
        if parser.mixed_offsets
    )
    doubts.extend(
        f"{parser.name}: {parser.ragged.counts['rows']} rows have more or fewer cells than the others (first at line "
        f"{', '.join(map(str, parser.ragged.lines['rows']))}), so it cannot be told which reading in them is whose"
        for parser in gathering.parsers
        if parser.ragged.counts
    )
    doubts.extend(
        f"{parser.name}: {column.doubt()}"
        for parser in gathering.parsers
        for column in parser.watched
        if column.faults and not column.asked
    )
    unplaced, lost = _unplaced(gathering, count)
    if lost:
        doubts.append(
            f"{lost} rows with readings have no time that can be read, so it is not known when they were taken"
        )
    channels = tuple(
        evolve(
            channel, censored=channel.censored or censor_column(channel.name) in first_part.columns
        )
        for channel in grader.channels
    )
    for (channel, cause), more in grader.more.items():
        where = channel or "all channels"
        notes.append(
            f"{where}: {more} more readings in stretches of the kind '{cause}' that are not listed apart."
        )
    columns_not_used = {
        heading: why for parser in gathering.parsers for heading, why in parser.layout.unused
    }
    log = Log(
        parts=parts,
        channels=channels,
        sources=tuple(
            _source(parser, index, count, options) for index, parser in enumerate(gathering.parsers)
        ),
        rows=grader.rows,
        start=start,
        end=end,
        interval_s=grader.interval_s,
        zone=options.zone or "UTC",
        zone_stated=stated or options.zone is not None,
        settle_s=options.settle_s,
        stretches=tuple(sorted(grader.stretches, key=lambda s: (s.start, s.channel, s.cause))),
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
            ordered = sorted(causes.counts.items(), key=lambda item: (-item[1], item[0]))
            for cause, count in ordered[:_CAUSES_AT_MOST]:
                lines = ", ".join(map(str, causes.lines[cause]))
                notes.append(
                    f"{parser.name}, {name}: {count} cells: {cause} (first at line {lines})."
                )
            rest = sum(count for _, count in ordered[_CAUSES_AT_MOST:])
            if rest:
                kinds = len(ordered) - _CAUSES_AT_MOST
                notes.append(
                    f"{parser.name}, {name}: {rest} more cells of {kinds} other kinds that are no plain numbers."
                )
    return notes


def _unplaced(gathering: _Gathering, count: Counted) -> tuple[pl.DataFrame | None, int]:
    """Gather the readings whose time is not known, and say how many rows had no time to read."""
    frames = [part for parser in gathering.parsers for part in parser.untimed if part.height]
    names = [channel.name for channel in gathering.channels]
    lost = 0
    censored: set[str] = set()
    whole = []
    for frame in (*frames, *count.unplaced):
        same = uniform(frame, gathering.channels, censored)
        read = same.filter(
            pl.any_horizontal(pl.col(flag_column(name)) != MISSING for name in names)
        )
        lost += read.height if FILE not in frame.columns else 0
        whole.append(read)
    whole = [with_censors(frame, censored) for frame in whole if frame.height]
    if not whole:
        return None, 0
    together = codes_unread(pl.concat(whole, how="diagonal"), gathering.channels)
    spare = [name for name in (LINE, ROWS, USED) if name in together.columns]
    return together.drop(spare).with_columns(pl.col(TIME).dt.replace_time_zone("UTC")), lost


def _source(parser: FileParser, index: int, count: Counted, options: ReadOptions) -> Source:
    refusals = list(parser.refusals())
    for cause, counts in (
        ("no number in the row", count.empty),
        ("exact duplicate of another row", count.duplicates),
        ("the clock was wrong: the time cannot be trusted", count.reset),
    ):
        rows, lines = counts.get(index, (0, ()))
        if rows:
            refusals.append(Refusal(cause, rows, lines))
    return Source(
        name=parser.name,
        sha256=parser.opened.raw.sha256,
        size_bytes=parser.opened.raw.size_bytes,
        rows_read=parser.rows_read,
        rows_used=parser.rows_read - sum(refusal.rows for refusal in refusals),
        refusals=tuple(refusals),
        recipe=options.recipe or "worked out from the file",
    )


__all__ = ["IN_MEMORY_BYTES", "gather"]
