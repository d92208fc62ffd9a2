"""The readings of an outlet over any span, in so many points, with all that is marked on them.

Made for looking, never for judging: nothing here says that air is fit to breathe. No peak is hidden:
where a span holds more readings than points, each point stands for a bucket of time and carries the
least and the greatest reading in it as they were read.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from attrs import evolve, field, frozen

from lungwort.errors import InputError
from lungwort.jobs import _readings_marks as marks
from lungwort.jobs._readings_marks import Aside, Excursion, Line, Moment
from lungwort.jobs._readings_store import LEVELS_S, SECOND_US, Holding, Shelf, holding
from lungwort.jobs.opening import opened

if TYPE_CHECKING:
    from collections.abc import Sequence

    import polars as pl

    from lungwort.jobs.opening import Where
    from lungwort.logs.model import Channel
    from lungwort.register.model import LogImport

POINTS: Final = 1200
LEAST_POINTS: Final = 10
MOST_POINTS: Final = 5000
MOST_LISTED: Final = 300
"""Stretches that are listed one by one; the rest is counted."""

SUSPECT: Final = 1
"""A usable reading in it is doubted."""
NOT_JUDGED: Final = 2
"""It holds readings that no verdict looks at."""
OUTSIDE: Final = 4
"""A usable reading in it is outside a limit on any reading."""
OVER: Final = 8
"""A reading in it was logged as '>': it may have been higher."""
UNDER: Final = 16
"""A reading in it was logged as '<': it may have been lower."""
ASIDE_OUTSIDE: Final = 32
"""A number that no verdict looks at is outside a limit on any reading."""

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_GAP_INTERVALS: Final = 3.0
_EARLIEST: Final = datetime(1971, 1, 1, tzinfo=UTC)
_LATEST: Final = datetime(2199, 1, 1, tzinfo=UTC)


@frozen
class Outside:
    """A stretch outside a limit in which no verdict on record lists an excursion.

    Parameters
    ----------
    channel : str
        Column name.
    start, end : datetime
        From when to when, as near as the points tell, UTC.
    least, greatest : float
        Of the readings in it [unit of the channel].
    judged : bool
        False where its readings are such as no verdict looks at, because of settling or faults.
    """

    channel: str
    start: datetime
    end: datetime
    least: float
    greatest: float
    usable: bool


@frozen
class Points:
    """What is drawn of one channel; all tuples have one entry a point.

    Parameters
    ----------
    channel : Channel
        The channel; values are in its unit.
    lines : tuple of Line
        Its limits.
    time_us : tuple of int
        Begin of the bucket, or time of the reading [µs since 1970-01-01 UTC].
    low, high : tuple of float or None
        Least and greatest usable reading; None where there is none.
    aside_low, aside_high : tuple of float or None
        The same for numbers that no verdict looks at.
    marks : tuple of int
        Sum of `SUSPECT`, `NOT_JUDGED`, `OUTSIDE`, `OVER`, `UNDER` and `ASIDE_OUTSIDE`.
    breaks : tuple of int
        Places of points before which nothing was read for a while: no line leads there.
    readings, usable, suspect, not_judged : int
        Readings in the span by kind [1].
    least, greatest : float, optional
        Of all usable readings in the span.
    outside : tuple of Outside
        Stretches outside that no verdict on record lists.
    outside_unlisted : int
        How many more of them there are [1].
    """

    channel: Channel
    lines: tuple[Line, ...]
    time_us: tuple[int, ...] = field(repr=False)
    low: tuple[float | None, ...] = field(repr=False)
    high: tuple[float | None, ...] = field(repr=False)
    aside_low: tuple[float | None, ...] = field(repr=False)
    aside_high: tuple[float | None, ...] = field(repr=False)
    marks: tuple[int, ...] = field(repr=False)
    breaks: tuple[int, ...] = field(repr=False)
    readings: int
    usable: int
    suspect: int
    not_judged: int
    least: float | None
    greatest: float | None
    outside: tuple[Outside, ...] = ()
    outside_unlisted: int = 0


@frozen
class Readings:
    """The readings of an outlet over a span.

    Parameters
    ----------
    outlet_id, outlet, place : str
        The outlet.
    supply_id, supply : str
        Its supply.
    zone : str
        Time zone of the site.
    limit_set : str
        Limit set that holds; empty for none.
    first, last : datetime, optional
        First and last reading at the outlet, UTC; None where there is none.
    begin, end : datetime, optional
        What is given, both ends included, UTC: what was asked for, within the first and last
        reading and widened to whole buckets.
    width_s : int
        Width of a bucket [s]; 0 where each point is one reading.
    channels : tuple of Points
        A channel each.
    excursions : tuple of Excursion
        Of the verdicts on record, in the span.
    asides : tuple of Aside
        Stretches in the span that are not judged or are doubted, with the reason.
    asides_unlisted : int
        How many more of them there are [1].
    moments : tuple of Moment
        Moments in the span that matter.
    notes : tuple of str
        What must be told beside, in words.
    """

    outlet_id: str
    outlet: str
    place: str
    supply_id: str
    supply: str
    zone: str
    limit_set: str
    first: datetime | None
    last: datetime | None
    begin: datetime | None = None
    end: datetime | None = None
    width_s: int = 0
    channels: tuple[Points, ...] = ()
    excursions: tuple[Excursion, ...] = ()
    asides: tuple[Aside, ...] = ()
    asides_unlisted: int = 0
    moments: tuple[Moment, ...] = ()
    notes: tuple[str, ...] = ()


def readings(
    where: Where,
    outlet: str,
    *,
    now: datetime,
    begin: str | datetime | None = None,
    end: str | datetime | None = None,
    points: int = POINTS,
) -> Readings:
    """Give the readings of an outlet over a span, in so many points.

    Parameters
    ----------
    where : Where
        Which workspace.
    outlet : str
        Name or id of the outlet.
    now : datetime
        The time, with a time zone.
    begin, end : str or datetime, optional
        The span; a text without an offset is in the site's zone. From the first and to the last
        reading where not given.
    points : int
        Points a channel at most [1], from 10 to 5000.

    Returns
    -------
    Readings
        What is drawn.

    Raises
    ------
    UnknownRecordError
        Where there is no such outlet.
    InputError
        Where a moment cannot be read, the span is empty, or the number of points cannot be.
    RegisterError
        Where readings are missing or were altered.
    """
    from lungwort.plan.snapshot import by_id, take  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import Outlet  # noqa: PLC0415 - keeps --help instant

    if not LEAST_POINTS <= points <= MOST_POINTS:
        raise InputError(
            f"{points} points cannot be drawn. Give from {LEAST_POINTS} to {MOST_POINTS}."
        )
    with opened(where, read_only=True) as workspace:
        snapshot = take(workspace.register, now)
        place = workspace.register.get(Outlet, outlet)
        supply = by_id(snapshot.supplies, place.supply_id)
        if supply is None:
            raise InputError(
                f"The supply of the outlet {place.name} is not on record any more. Choose another "
                "outlet."
            )
        zone = snapshot.zone(supply.id).key
        imports = [one for one in snapshot.log_imports if one.outlet_id == place.id]
        made = Readings(
            outlet_id=place.id,
            outlet=place.name,
            place=place.place,
            supply_id=supply.id,
            supply=supply.title or supply.name,
            zone=zone,
            limit_set=snapshot.limit_set_name(supply.id),
            first=min((one.start for one in imports if one.start is not None), default=None),
            last=max((one.end for one in imports if one.end is not None), default=None),
        )
        span = _span(made, begin, end)
        if span is None:
            return made
        held = holding(workspace, place.id, imports)
        lines, told = marks.limit_lines(snapshot, supply, held.channels)
        found, unread = marks.excursions(workspace, snapshot, place)
        tools = [one.instrument_id for one in imports if one.instrument_id]
        matters = marks.moments(snapshot, place, supply, tools)
        drawn = _Drawing(Shelf(workspace, place.id), held, *span, points)
        buckets = drawn.buckets()
    low, high = drawn.begin, drawn.end
    excursions = tuple(one for one in found if one.end >= low and one.start <= high)
    gap_us = drawn.gap_us()
    asides = _asides(held, buckets, low, high, gap_us)
    channels = tuple(
        _points(
            channel,
            buckets,
            lines.get(channel.name, ()),
            [one for one in found if _is_of(one, channel, held)],
            drawn.width_us,
            gap_us,
        )
        for channel in _judged_first(held.channels, lines)
    )
    return evolve(
        made,
        begin=low,
        end=high,
        width_s=drawn.width_us // SECOND_US,
        channels=channels,
        excursions=excursions,
        asides=asides[:MOST_LISTED],
        asides_unlisted=max(len(asides) - MOST_LISTED, 0),
        moments=tuple(one for one in matters if low <= one.time <= high),
        notes=(*told, *unread, *_doubts(held, low, high)),
    )


def _span(
    made: Readings, begin: str | datetime | None, end: str | datetime | None
) -> tuple[datetime, datetime] | None:
    """Settle the span; None where there is nothing in it."""
    low = _moment(begin, made.zone, "--from")
    high = _moment(end, made.zone, "--to")
    if low is not None and high is not None and low >= high:
        raise InputError(
            f"--from {low:%Y-%m-%d %H:%M:%S} UTC does not lie before --to "
            f"{high:%Y-%m-%d %H:%M:%S} UTC. Give the earlier moment first."
        )
    if made.first is None or made.last is None:
        return None
    low = made.first if low is None else max(low, made.first)
    high = made.last if high is None else min(high, made.last)
    return None if low > high else (low, high)


def _moment(given: str | datetime | None, zone: str, option: str) -> datetime | None:
    from lungwort.jobs.inputs import parse_moment  # noqa: PLC0415 - keeps --help instant

    if given is None or given == "":
        return None
    moment = parse_moment(given, zone, option) if isinstance(given, str) else given
    if moment.utcoffset() is None:
        raise InputError(f"{option} {moment.isoformat()} states no time zone. Add one.")
    if not _EARLIEST <= moment < _LATEST:
        raise InputError(
            f"{option} {moment.isoformat()} lies outside the years 1971 to 2198. Give another moment."
        )
    return moment.astimezone(UTC)


class _Drawing:
    """One span of readings, from the coarsest buckets that are fine enough."""

    def __init__(
        self, shelf: Shelf, held: Holding, begin: datetime, end: datetime, points: int
    ) -> None:
        from lungwort.register.buckets import width_for  # noqa: PLC0415 - keeps --help instant

        self.shelf = shelf
        self.held = held
        self.begin = begin
        self.end = end
        self.points = points
        self.width_us = width_for((end - begin).total_seconds(), points) * SECOND_US

    def buckets(self) -> pl.DataFrame:
        import polars as pl  # noqa: PLC0415 - keeps --help instant

        from lungwort.register.buckets import ROWS, START, together, widen  # noqa: PLC0415 - keeps --help instant

        levels = [one for one in LEVELS_S if self.width_us % (one * SECOND_US) == 0]
        if not levels:
            return self._from_readings()
        level_s = levels[-1]
        low = _us(self.begin) // self.width_us * self.width_us
        high = (_us(self.end) // self.width_us + 1) * self.width_us - 1
        pieces = [
            self.shelf.buckets(month, level_s)
            for month in self.held.months
            if _touches(month.name, low, high)
        ]
        found = together(pieces).filter(pl.col(START).is_between(low, high))
        if int(found[ROWS].sum()) <= self.points:
            return self._from_readings()
        self.begin, self.end = _moment_of(low), _moment_of(high)
        return widen(found, self.width_us) if self.width_us > level_s * SECOND_US else found

    def _from_readings(self) -> pl.DataFrame:

        from lungwort.register.buckets import gather, together  # noqa: PLC0415 - keeps --help instant

        low, high = _us(self.begin), _us(self.end)
        cut = []
        for month in self.held.months:
            if not _touches(month.name, low, high):
                continue
            frame, channels = self.shelf.readings(month)
            first = frame["time"].search_sorted(self.begin, side="left")
            last = frame["time"].search_sorted(self.end, side="right")
            cut.append((frame.slice(first, last - first), channels))
        if sum(frame.height for frame, _ in cut) <= self.points:
            self.width_us = 0
        elif self.width_us:
            low = low // self.width_us * self.width_us
            high = (high // self.width_us + 1) * self.width_us - 1
            whole = (_moment_of(low), _moment_of(high))
            if whole != (self.begin, self.end):
                self.begin, self.end = whole
                return self._from_readings()
        pieces = [gather(frame, channels, self.width_us or 1) for frame, channels in cut]
        return together(pieces)

    def gap_us(self) -> int:
        """Give the step after which nothing was read for a while [µs]."""
        steps = [
            facts.interval_s
            for _, facts in self.held.facts
            if facts.interval_s
            and facts.start is not None
            and facts.end is not None
            and facts.start <= self.end
            and facts.end >= self.begin
        ]
        return int(_GAP_INTERVALS * max(steps, default=3600.0) * SECOND_US)


def _touches(month: str, low_us: int, high_us: int) -> bool:
    year, number = int(month[:4]), int(month[5:])
    first = datetime(year, number, 1, tzinfo=UTC)
    after = datetime(year + number // 12, number % 12 + 1, 1, tzinfo=UTC)
    return _us(first) <= high_us and _us(after) > low_us


def _us(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(microseconds=1)


def _moment_of(us: int) -> datetime:
    return _EPOCH + timedelta(microseconds=us)


def _judged_first(channels: Sequence[Channel], lines: dict[str, tuple[Line, ...]]) -> list[Channel]:
    return sorted(channels, key=lambda one: not lines.get(one.name))


def _is_of(one: Excursion, channel: Channel, held: Holding) -> bool:
    if one.analyte != channel.analyte:
        return False
    return channel.name == one.channel or (one.channel, channel.name) in held.renamed


def _points(
    channel: Channel,
    buckets: pl.DataFrame,
    lines: tuple[Line, ...],
    known: list[Excursion],
    width_us: int,
    gap_us: int,
) -> Points:
    import polars as pl  # noqa: PLC0415 - keeps --help instant

    from lungwort.register.buckets import (  # noqa: PLC0415 - keeps --help instant
        FIRST,
        KINDS,
        LAST,
        START,
        column_of,
    )

    name = channel.name
    if column_of(name, "low") not in buckets.columns:
        return Points(channel, lines, (), (), (), (), (), (), (), 0, 0, 0, 0, None, None)
    mine = buckets.select(
        START, FIRST, LAST, *(pl.col(column_of(name, kind)).alias(kind) for kind in KINDS)
    )
    counts = ("usable", "suspect", "bad", "waiting", "unreadable")
    total = mine.select(
        *(pl.col(kind).sum() for kind in counts), pl.col("low").min(), pl.col("high").max()
    ).row(0, named=True)
    aside = int(total["bad"] + total["waiting"] + total["unreadable"])
    seen = mine.filter(
        pl.col("low").is_not_null() | pl.col("aside_low").is_not_null()
    ).with_columns(_marks(lines))
    steps = seen.select((pl.col(FIRST) - pl.col(LAST).shift(1) > gap_us).fill_null(value=False))
    outside = _outside(channel, seen, known, max(width_us, 1), gap_us)
    return Points(
        channel=channel,
        lines=lines,
        time_us=tuple(seen[START].to_list()),
        low=tuple(seen["low"].to_list()),
        high=tuple(seen["high"].to_list()),
        aside_low=tuple(seen["aside_low"].to_list()),
        aside_high=tuple(seen["aside_high"].to_list()),
        marks=tuple(seen["marks"].to_list()),
        breaks=tuple(steps.to_series().arg_true().to_list()),
        readings=int(total["usable"]) + aside,
        usable=int(total["usable"]),
        suspect=int(total["suspect"]),
        not_judged=aside,
        least=total["low"],
        greatest=total["high"],
        outside=outside[:MOST_LISTED],
        outside_unlisted=max(len(outside) - MOST_LISTED, 0),
    )


def _marks(lines: Sequence[Line]) -> pl.Expr:
    import polars as pl  # noqa: PLC0415 - keeps --help instant

    from lungwort.limits.model import ANY_READING  # noqa: PLC0415 - keeps --help instant

    never = pl.lit(value=False)
    outside = aside = never
    for line in lines:
        if not line.required or line.averaging != ANY_READING:
            continue
        if line.upper:
            outside |= pl.col("high") > line.outside_from
            aside |= pl.col("aside_high") > line.outside_from
        else:
            outside |= pl.col("low") < line.outside_from
            aside |= pl.col("aside_low") < line.outside_from
    parts = (
        (SUSPECT, pl.col("suspect") > 0),
        (NOT_JUDGED, pl.sum_horizontal("bad", "waiting", "unreadable") > 0),
        (OUTSIDE, outside),
        (OVER, pl.col("over") > 0),
        (UNDER, pl.col("under") > 0),
        (ASIDE_OUTSIDE, aside),
    )
    return pl.sum_horizontal(
        pl.when(said.fill_null(value=False)).then(pl.lit(bit)).otherwise(0) for bit, said in parts
    ).alias("marks")


def _outside(
    channel: Channel, seen: pl.DataFrame, known: list[Excursion], width_us: int, gap_us: int
) -> tuple[Outside, ...]:
    """Put points outside together to stretches, but for those that a verdict lists."""
    import polars as pl  # noqa: PLC0415 - keeps --help instant

    ends = [(_us(one.start), _us(one.end)) for one in known]
    found: list[list[int | float | bool]] = []
    rows = seen.filter(pl.col("marks") & (OUTSIDE | ASIDE_OUTSIDE) != 0)
    for start, first, last, low, high, a_low, a_high, bits in rows.select(
        "start", "first", "last", "low", "high", "aside_low", "aside_high", "marks"
    ).iter_rows():
        if any(a <= start + width_us and b >= start for a, b in ends):
            continue
        usable = bool(bits & OUTSIDE)
        least, greatest = (low, high) if usable else (a_low, a_high)
        begun = found[-1] if found else None
        if begun and begun[4] == usable and first - begun[1] <= max(gap_us, width_us):
            begun[1:4] = [last, min(begun[2], least), max(begun[3], greatest)]
        else:
            found.append([first, last, least, greatest, usable])
    return tuple(
        Outside(
            channel.name,
            _moment_of(int(first)),
            _moment_of(int(last)),
            float(least),
            float(greatest),
            bool(usable),
        )
        for first, last, least, greatest, usable in found
    )


def _asides(
    held: Holding, buckets: pl.DataFrame, low: datetime, high: datetime, gap_us: int
) -> tuple[Aside, ...]:
    """Add the time in which nothing was read to what the imports say."""
    import polars as pl  # noqa: PLC0415 - keeps --help instant

    from lungwort.logs.stretches import span  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.buckets import FIRST, LAST  # noqa: PLC0415 - keeps --help instant

    said = list(marks.asides(held, low, high))
    told = [(one.start, one.end) for one in said if one.kind == marks.GAP]
    steps = buckets.select(pl.col(LAST).shift(1).alias("a"), pl.col(FIRST).alias("b")).filter(
        pl.col("b") - pl.col("a") > gap_us
    )
    for a, b in steps.iter_rows():
        start, end = _moment_of(a), _moment_of(b)
        if any(one <= start and other >= end for one, other in told):
            continue
        length_s = (end - start).total_seconds()
        said.append(Aside(marks.GAP, "", start, end, f"no readings for {span(length_s)}"))
    return tuple(sorted(said, key=lambda one: (one.start, one.end, one.channel)))


def _doubts(held: Holding, low: datetime, high: datetime) -> tuple[str, ...]:
    """Tell what is doubted of the imports in the span, and channels of one name."""
    told: list[str] = []
    for record, facts in held.facts:
        if not _within(record, low, high):
            continue
        names = ", ".join(one.name for one in record.files)
        told.extend(f"{names}: {doubt}" for doubt in facts.doubts)
        told.extend(f"{names}, channel {name}: {why}" for name, why in facts.channel_doubts)
    told.extend(
        f"Channel {old} stands for different things in different files: the other one is shown as "
        f"{new}."
        for old, new in held.renamed
    )
    return tuple(dict.fromkeys(told))


def _within(record: LogImport, low: datetime, high: datetime) -> bool:
    return (
        record.start is not None
        and record.end is not None
        and record.start <= high
        and record.end >= low
    )
