"""Several imports of one outlet as one log, by stated rules.

1. Channels are the same where their names are. A name that stands for another analyte, quantity or
   unit in another import stops the merging: such imports are judged apart. A channel that only some
   imports have is missing in the others, which lowers its coverage and never raises it.
2. Readings stand in the order of time. A time in one import only is taken as it is.
3. A time in several imports with equal values counts once. Of its flags the more doubtful one holds,
   with one exception: 'not evaluated' (settling) gives way where another import goes further back
   and shows that the cells had settled. Bad in one and usable in another is suspect: it does not
   prove, and outside a limit it counts.
4. A time in several imports with different values keeps all of them, each flagged suspect, and the
   log gets a doubt that names the files: it cannot prove that the air conforms, and a reading
   outside a limit is found whichever of the two it is. No reading in one import (missing) and one
   in another do not disagree.
5. Several readings of one import at one time are matched in their order.
6. Gaps between imports stay gaps, and the settling of each import stays listed.
7. Stretches, notes, doubts, files and readings without a trusted time of all imports hold for the
   whole.
8. The sampling interval is the median step of the whole, or the shortest interval of any import
   where that is less: coverage is never reckoned by a longer interval than a reading came with.

Readings that do not overlap stay on disk; only what overlaps is in memory, a month at a time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeVar

import polars as pl
from attrs import evolve, frozen

from lungwort.errors import RegisterError
from lungwort.logs.frames import Spool
from lungwort.logs.model import (
    BAD,
    GOOD,
    MISSING,
    NOT_EVALUATED,
    PLAIN,
    SUSPECT,
    TIME,
    Channel,
    Log,
    Stretch,
    censor_column,
    flag_column,
)
from lungwort.logs.stretches import span
from lungwort.logs.whole import WholeLog

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime
    from pathlib import Path

IN_MEMORY_ROWS: Final = 4_000_000
"""Merged readings beyond this many are kept on disk [1]."""

_FROM: Final = "_import"
_PLACE: Final = "_place"
_GAP_INTERVALS: Final = 1.5
_HOW_DIFFERENT: Final = 1.01

T = TypeVar("T")


@frozen
class Disagreement:
    """Times at which imports hold different values.

    Parameters
    ----------
    imports : tuple of int
        Which imports, by their place.
    times : int
        How many times [1].
    channels : tuple of str
        Channels that differ.
    first : datetime
        The first time, UTC.
    values : tuple of float
        What was read then of the first channel [unit of the channel].
    """

    imports: tuple[int, ...]
    times: int
    channels: tuple[str, ...]
    first: datetime
    values: tuple[float, ...]


@frozen
class _Block:
    part: pl.DataFrame | pl.LazyFrame
    place: int
    first: datetime
    last: datetime


def merge_logs(named: Sequence[tuple[str, Log]], *, in_memory_rows: int = IN_MEMORY_ROWS) -> Log:
    """Merge imports of one outlet into one log.

    Parameters
    ----------
    named : sequence of (str, Log)
        What each import is called in messages, and its log.
    in_memory_rows : int
        Merged readings beyond this many are kept on disk [1].

    Returns
    -------
    Log
        The log; a single one as it is.

    Raises
    ------
    RegisterError
        Where there is none, or two hold different things under one channel's name.
    """
    if not named:
        raise RegisterError("No import was given. Name at least one.")
    if len(named) == 1:
        return named[0][1]
    logs = [log for _, log in named]
    names = [name for name, _ in named]
    channels = _channels(named)
    parts, found, spool = _parts(logs, channels, in_memory_rows)
    found_interval, rows, start, end = _measure(parts)
    intervals = sorted({log.interval_s for log in logs if log.interval_s})
    known = [one for one in (found_interval, *intervals) if one]
    filled = [log for log in logs if log.start is not None]
    return Log(
        parts=parts,
        channels=channels,
        sources=_once(source for log in logs for source in log.sources),
        rows=rows,
        start=start,
        end=end,
        interval_s=min(known) if known else None,
        zone=logs[0].zone,
        zone_stated=all(log.zone_stated for log in logs),
        settle_s=max(log.settle_s for log in logs),
        stretches=tuple(
            sorted(
                _once(
                    [
                        *(stretch for log in logs for stretch in log.stretches),
                        *_gaps_between(filled),
                    ]
                ),
                key=lambda one: (one.start, one.channel, one.cause),
            )
        ),
        notes=(
            *_once(note for log in logs for note in log.notes),
            *_notes(named, channels, intervals),
        ),
        columns_not_used=_once(column for log in logs for column in log.columns_not_used),
        outlet=next((log.outlet for log in logs if log.outlet), ""),
        doubts=(
            *_once(doubt for log in logs for doubt in log.doubts),
            *_doubts(found, names, channels),
        ),
        channel_doubts=_once(doubt for log in logs for doubt in log.channel_doubts),
        unplaced=_unplaced(logs, channels),
        spool=(spool, *(log.spool for log in logs)),
    )


def _once(values: Iterable[T]) -> tuple[T, ...]:
    return tuple(dict.fromkeys(values))


def _channels(named: Sequence[tuple[str, Log]]) -> tuple[Channel, ...]:
    taken: dict[str, tuple[str, Channel]] = {}
    for name, log in named:
        for channel in log.channels:
            if channel.name not in taken:
                taken[channel.name] = (name, channel)
                continue
            first_name, first = taken[channel.name]
            mine = (channel.analyte, channel.quantity, channel.unit)
            if mine != (first.analyte, first.quantity, first.unit):
                raise RegisterError(
                    f"{first_name} and {name} cannot be judged as one log: channel {channel.name} is "
                    f"{_what(first)} in the first and {_what(channel)} in the second. Judge them apart."
                )
            bases = _once(one for one in (first.basis, channel.basis) if one)
            taken[channel.name] = (
                first_name,
                evolve(first, censored=first.censored or channel.censored, basis="; ".join(bases)),
            )
    return tuple(channel for _, channel in taken.values())


def _what(channel: Channel) -> str:
    return f"{channel.analyte} as {channel.quantity.replace('_', ' ')} in {channel.unit}"


def columns_of(channels: Sequence[Channel]) -> tuple[str, ...]:
    """List the columns of a log's frames.

    Parameters
    ----------
    channels : sequence of Channel
        The channels.

    Returns
    -------
    tuple of str
        Time, then value, flag and, where it has one, censor code of each channel.
    """
    names = [TIME]
    for channel in channels:
        names.extend([channel.name, flag_column(channel.name)])
        if channel.censored:
            names.append(censor_column(channel.name))
    return tuple(names)


def _alike(
    part: pl.DataFrame | pl.LazyFrame, channels: Sequence[Channel]
) -> pl.DataFrame | pl.LazyFrame:
    """Give a part all columns of the merged log, missing where it has no such channel."""
    own = part.collect_schema().names()
    wanted = columns_of(channels)
    if tuple(own) == wanted:
        return part
    empty = {
        name: expression.alias(name)
        for channel in channels
        for name, expression in (
            (channel.name, pl.lit(None, dtype=pl.Float64)),
            (flag_column(channel.name), pl.lit(MISSING, dtype=pl.UInt8)),
            (censor_column(channel.name), pl.lit(PLAIN, dtype=pl.Int8)),
        )
    }
    return part.select(pl.col(name) if name in own else empty[name] for name in wanted)


def _ends(part: pl.DataFrame | pl.LazyFrame) -> tuple[datetime | None, datetime | None]:
    ends = (
        part.lazy().select(pl.col(TIME).min().alias("a"), pl.col(TIME).max().alias("b")).collect()
    )
    return ends["a"][0], ends["b"][0]


def _parts(
    logs: Sequence[Log], channels: tuple[Channel, ...], in_memory_rows: int
) -> tuple[tuple[pl.DataFrame | pl.LazyFrame, ...], list[Disagreement], Spool | None]:
    blocks = []
    for place, log in enumerate(logs):
        for part in log.parts:
            first, last = _ends(part)
            if first is not None and last is not None:
                blocks.append(_Block(part, place, first, last))
    blocks.sort(key=lambda one: (one.first, one.place))
    found: list[Disagreement] = []
    parts: list[pl.DataFrame | pl.LazyFrame] = []
    spool: Spool | None = None
    held = 0
    for cluster in _clusters(blocks):
        if len({block.place for block in cluster}) == 1:
            parts.extend(_alike(block.part, channels) for block in cluster)
            continue
        frames = [(block.place, _alike(block.part, channels).lazy().collect()) for block in cluster]
        merged, differing = merge_frames(frames, channels)
        found.extend(differing)
        held += merged.height
        if held > in_memory_rows:
            spool = Spool() if spool is None else spool
            path: Path = spool.folder / f"part-{len(parts):06d}.parquet"
            merged.write_parquet(path, compression="lz4")
            parts.append(pl.scan_parquet(path))
        else:
            parts.append(merged)
    if not parts:
        parts.append(_alike(logs[0].parts[0], channels))
    return tuple(parts), found, spool


def _clusters(blocks: Sequence[_Block]) -> list[list[_Block]]:
    """Put parts together that overlap in time or touch at one time."""
    clusters: list[list[_Block]] = []
    reach: datetime | None = None
    for block in blocks:
        if reach is not None and block.first <= reach:
            clusters[-1].append(block)
            reach = max(reach, block.last)
        else:
            clusters.append([block])
            reach = block.last
    return clusters


def merge_frames(
    frames: Sequence[tuple[int, pl.DataFrame]], channels: Sequence[Channel]
) -> tuple[pl.DataFrame, list[Disagreement]]:
    """Merge readings that overlap in time.

    Parameters
    ----------
    frames : sequence of (int, polars.DataFrame)
        Place of the import and its readings, all with the columns of all channels; those of one
        import in the order of time.
    channels : sequence of Channel
        The channels.

    Returns
    -------
    tuple of (polars.DataFrame, list of Disagreement)
        The readings in the order of time, and where they differ.
    """
    wanted = columns_of(channels)
    by_import: dict[int, list[pl.DataFrame]] = {}
    for place, frame in sorted(frames, key=lambda one: one[0]):
        by_import.setdefault(place, []).append(frame.select(wanted))
    whole = {place: _with_place(pl.concat(ones)) for place, ones in by_import.items()}
    stacked = pl.concat(
        [
            frame.with_columns(pl.lit(place).alias(_FROM))
            for place, frame in _without_repeats(whole).items()
        ]
    )
    key = [TIME, _PLACE]
    common = stacked.group_by(key).agg(pl.len().alias("n")).filter(pl.col("n") > 1).select(key)
    alone = stacked.join(common, on=key, how="anti")
    shared = stacked.join(common, on=key, how="semi", maintain_order="left")
    agreed = shared.group_by(key, maintain_order=True).agg(
        pl.col(_FROM).first(), *(one for channel in channels for one in _together(channel))
    )
    differs = [f"{channel.name}_differs" for channel in channels]
    conflict = agreed.filter(pl.any_horizontal(differs))
    pieces = [alone, agreed.filter(~pl.any_horizontal(differs)).select(stacked.columns)]
    found: list[Disagreement] = []
    if conflict.height:
        rows = shared.join(conflict, on=key, how="inner", suffix="_both", maintain_order="left")
        rows = rows.with_columns(one for channel in channels for one in _apart(channel))
        kept = rows.select(stacked.columns).unique(
            subset=[name for name in stacked.columns if name != _FROM],
            keep="first",
            maintain_order=True,
        )
        pieces.append(kept)
        found.append(_disagreement(rows, conflict, channels))
    together = pl.concat(pieces).sort(TIME, _PLACE, _FROM)
    return together.select(wanted), found


def _with_place(frame: pl.DataFrame) -> pl.DataFrame:
    """Count through the readings of each time."""
    if frame[TIME].n_unique() == frame.height:
        return frame.with_columns(pl.lit(0, dtype=pl.Int64).alias(_PLACE))
    return frame.with_columns(pl.int_range(pl.len()).over(TIME).alias(_PLACE))


def _without_repeats(whole: dict[int, pl.DataFrame]) -> dict[int, pl.DataFrame]:
    """Leave out what an import repeats to the letter of one before it: most of an overlap."""
    left = dict(whole)
    places = list(whole)
    for number, place in enumerate(places):
        mine = whole[place]
        repeated = pl.repeat(value=False, n=mine.height, eager=True)
        for earlier in places[:number]:
            repeated |= _repeated(mine, whole[earlier])
        if repeated.any():
            left[place] = mine.filter(~repeated)
    return left


def _repeated(mine: pl.DataFrame, other: pl.DataFrame) -> pl.Series:
    """Tell which readings stand in another import too, where both have the same times."""
    low, high = max(mine[TIME][0], other[TIME][0]), min(mine[TIME][-1], other[TIME][-1])
    here, there = (
        frame.with_row_index("_row").filter(pl.col(TIME).is_between(low, high))
        for frame in (mine, other)
    )
    none = pl.repeat(value=False, n=mine.height, eager=True)
    if not here.height or not here[TIME].equals(there[TIME]):
        return none
    same = pl.repeat(value=True, n=here.height, eager=True)
    for name in mine.columns:
        same &= here[name].eq_missing(there[name])
    first = int(here["_row"][0])
    return pl.concat([none[:first], same, none[first + here.height :]])


def _together(channel: Channel) -> list[pl.Expr]:
    """Expressions that make one reading of those of several imports at one time."""
    name, flag_name = channel.name, flag_column(channel.name)
    value, flag = pl.col(name), pl.col(flag_name)
    number = value.fill_nan(None)
    differs = (number.min() != number.max()).fill_null(value=False)
    good, suspect, bad, waiting = (
        (flag == code).any() for code in (GOOD, SUSPECT, BAD, NOT_EVALUATED)
    )
    made = [
        number.drop_nulls().first().fill_null(value.drop_nulls().first()).alias(name),
        pl.when(suspect | (good & bad))
        .then(SUSPECT)
        .when(good)
        .then(GOOD)
        .when(bad)
        .then(BAD)
        .when(waiting)
        .then(NOT_EVALUATED)
        .otherwise(MISSING)
        .cast(pl.UInt8)
        .alias(flag_name),
        (good | suspect).alias(f"{name}_usable"),
    ]
    if channel.censored:
        censor_name = censor_column(name)
        censor = pl.when(value.is_not_null() | (pl.col(censor_name) != PLAIN)).then(
            pl.col(censor_name)
        )
        differs |= (censor.min() != censor.max()).fill_null(value=False)
        made.append(censor.drop_nulls().first().fill_null(PLAIN).cast(pl.Int8).alias(censor_name))
    made.append(differs.alias(f"{name}_differs"))
    return made


def _apart(channel: Channel) -> list[pl.Expr]:
    """Expressions for readings that are all kept, because a channel differs between them."""
    name, flag_name = channel.name, flag_column(channel.name)
    differs = pl.col(f"{name}_differs")
    flag = pl.col(flag_name)
    usable = flag.is_in([GOOD, SUSPECT])
    settled = (flag == NOT_EVALUATED) & pl.col(f"{name}_usable")
    made = [
        pl.when(differs).then(pl.col(name)).otherwise(pl.col(f"{name}_both")).alias(name),
        pl.when(differs & (usable | settled))
        .then(SUSPECT)
        .when(differs)
        .then(flag)
        .otherwise(pl.col(f"{flag_name}_both"))
        .cast(pl.UInt8)
        .alias(flag_name),
    ]
    if channel.censored:
        censor_name = censor_column(name)
        made.append(
            pl.when(differs)
            .then(pl.col(censor_name))
            .otherwise(pl.col(f"{censor_name}_both"))
            .cast(pl.Int8)
            .alias(censor_name)
        )
    return made


def _disagreement(
    rows: pl.DataFrame, conflict: pl.DataFrame, channels: Sequence[Channel]
) -> Disagreement:
    differing = [one.name for one in channels if conflict[f"{one.name}_differs"].any()]
    first = conflict.sort(TIME, _PLACE).row(0, named=True)
    told = next(name for name in differing if first[f"{name}_differs"])
    at_first = rows.filter((pl.col(TIME) == first[TIME]) & (pl.col(_PLACE) == first[_PLACE])).sort(
        _FROM
    )
    values = at_first[told].drop_nulls().unique(maintain_order=True).to_list()
    return Disagreement(
        imports=tuple(sorted(rows[_FROM].unique().to_list())),
        times=conflict[TIME].n_unique(),
        channels=tuple(differing),
        first=first[TIME],
        values=tuple(values),
    )


def _doubts(
    found: Sequence[Disagreement], names: Sequence[str], channels: Sequence[Channel]
) -> list[str]:
    units = {channel.name: channel.unit for channel in channels}
    by_imports: dict[tuple[int, ...], list[Disagreement]] = {}
    for one in found:
        by_imports.setdefault(one.imports, []).append(one)
    told = []
    for places, ones in by_imports.items():
        first = min(ones, key=lambda one: one.first)
        times = sum(one.times for one in ones)
        differing = _once(name for one in ones for name in one.channels)
        values = " and ".join(f"{value:g}" for value in first.values)
        told.append(
            f"{' and '.join(_once(names[place] for place in places))} disagree at {times} "
            f"time{'s' * (times != 1)} in {', '.join(differing)}, first at "
            f"{first.first:%Y-%m-%d %H:%M:%S} UTC ({first.channels[0]}: {values} "
            f"{units[first.channels[0]]}), so it cannot be told which of them is right"
        )
    return told


def _measure(
    parts: Sequence[pl.DataFrame | pl.LazyFrame],
) -> tuple[float | None, int, datetime | None, datetime | None]:
    whole = WholeLog(())
    start: datetime | None = None
    end: datetime | None = None
    for part in parts:
        times = part.lazy().select(TIME).collect()
        if times.height:
            whole.observe(times)
            start = times[TIME][0] if start is None else start
            end = times[TIME][-1]
    whole.finish()
    return whole.interval_s, whole.rows, start, end


def _gaps_between(logs: Sequence[Log]) -> list[Stretch]:
    """Tell the time between imports in which none has a reading."""
    found: list[Stretch] = []
    reach: datetime | None = None
    for log in sorted(logs, key=lambda one: (one.start, one.end)):
        if log.start is None or log.end is None:
            continue
        if reach is not None:
            length_s = (log.start - reach).total_seconds()
            if length_s > _GAP_INTERVALS * (log.interval_s or 0.0):
                found.append(
                    Stretch(reach, log.start, "gap", text=f"no readings for {span(length_s)}")
                )
        reach = log.end if reach is None else max(reach, log.end)
    return found


def _notes(
    named: Sequence[tuple[str, Log]], channels: Sequence[Channel], intervals: Sequence[float]
) -> list[str]:
    told = [f"{len(named)} imports are judged as one log: {', '.join(name for name, _ in named)}."]
    for channel in channels:
        without = [
            name for name, log in named if channel.name not in {one.name for one in log.channels}
        ]
        if without:
            told.append(f"Channel {channel.name} is missing in {', '.join(without)}.")
    if len(intervals) > 1 and intervals[-1] > _HOW_DIFFERENT * intervals[0]:
        told.append(
            f"The imports were logged every {intervals[0]:g} s up to every {intervals[-1]:g} s: coverage is "
            "reckoned with the shortest. Judge them apart to have each reckoned with its own."
        )
    zones = _once(log.zone for _, log in named)
    if len(zones) > 1:
        told.append(f"The imports name different zones ({', '.join(zones)}): {zones[0]} is shown.")
    return told


def _unplaced(logs: Sequence[Log], channels: Sequence[Channel]) -> pl.DataFrame | None:
    frames = [
        _alike(log.unplaced, channels).lazy().collect() for log in logs if log.unplaced is not None
    ]
    if not frames:
        return None
    # Imports that share a file say the same of it once.
    return pl.concat(frames).unique(maintain_order=True)
