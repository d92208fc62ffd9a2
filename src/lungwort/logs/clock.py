"""From the logger's wall clock to UTC, through clock changes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl
from attrs import define, field, frozen

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from numpy.typing import NDArray

_S_US: Final = 1_000_000
_DAY_US: Final = 86_400 * _S_US
_JITTER_US: Final = 30 * _S_US
"""A step back of up to this [µs] is a clock set right or two rows exchanged, no clock change."""


@frozen
class Changes:
    """The clock changes of a zone in a span of time.

    Parameters
    ----------
    instants_us : tuple of int
        UTC moments of the changes [µs since 1970].
    before_us, after_us : tuple of int
        Offset from UTC before and after each [µs].
    first_us : int
        Offset before the first change [µs].
    """

    instants_us: tuple[int, ...]
    before_us: tuple[int, ...]
    after_us: tuple[int, ...]
    first_us: int


def clock_changes(zone: ZoneInfo, first: datetime, last: datetime) -> Changes:
    """Find a zone's clock changes between two wall times, to the second.

    Parameters
    ----------
    zone : zoneinfo.ZoneInfo
        The zone.
    first, last : datetime
        Earliest and latest wall time, without a zone.

    Returns
    -------
    Changes
        The changes, with two days to spare on either side.
    """
    begin = first.replace(tzinfo=UTC) - timedelta(days=2)
    end = last.replace(tzinfo=UTC) + timedelta(days=2)

    def offset(moment: datetime) -> timedelta:
        return moment.astimezone(zone).utcoffset() or timedelta(0)

    instants, before, after = [], [], []
    moment = begin
    while moment < end:
        following = min(moment + timedelta(days=7), end)
        if offset(moment) != offset(following):
            low, high = moment, following
            while high - low > timedelta(seconds=1):
                middle = low + (high - low) / 2
                low, high = (middle, high) if offset(middle) == offset(low) else (low, middle)
            # A change falls on a whole second after low and not after high.
            change = high.replace(microsecond=0)
            instants.append(_us(change))
            before.append(offset(low) // timedelta(microseconds=1))
            after.append(offset(high) // timedelta(microseconds=1))
        moment = following
    return Changes(
        tuple(instants), tuple(before), tuple(after), offset(begin) // timedelta(microseconds=1)
    )


@define
class _Passage:
    """Where in one hour that occurs twice a file has got to."""

    second: bool = False
    open: int = 0
    begun: bool = False


@define
class Localiser:
    """Turns wall times into UTC, block after block, in the order of the file.

    An hour that occurs twice is resolved by the order of the readings: those before the clock went
    back are the first pass, those after it the second. Where readings are too far apart to show a
    step back, the sampling interval tells the passes apart. A file written newest first is taken
    the other way round. A time that does not occur is placed by the offset before the change. All
    are counted, and so are those that no step settles: they are taken as the pass that comes first
    in the file.

    Parameters
    ----------
    zone : zoneinfo.ZoneInfo
        Zone of the logger's clock.
    twice, never : int
        Readings met in an hour that occurs twice, and at times that do not occur.
    twice_unresolved : int
        How many of the first no step back settles, in hours that the file has left.
    first_twice, first_never : datetime, optional
        The first of each, wall time.
    """

    zone: ZoneInfo
    twice: int = 0
    twice_unresolved: int = 0
    never: int = 0
    first_twice: datetime | None = None
    first_never: datetime | None = None
    _last_us: int | None = field(default=None, repr=False)
    _last_utc: int | None = field(default=None, repr=False)
    _direction: int = field(default=0, repr=False)
    _interval_us: int | None = field(default=None, repr=False)
    _passages: dict[int, _Passage] = field(factory=dict, repr=False)

    def to_utc(self, wall: pl.Series) -> pl.Series:
        """Turn wall times into UTC.

        Parameters
        ----------
        wall : polars.Series
            Wall times without a zone (microseconds), in file order; nulls stay null.

        Returns
        -------
        polars.Series
            UTC times without a zone (microseconds).
        """
        if wall.null_count() == len(wall):
            return wall
        if not wall.has_nulls():
            walls = wall.cast(pl.Int64).to_numpy()
            utc = walls - self._offsets(walls)
            return pl.Series(wall.name, utc).cast(pl.Datetime("us"))
        known = wall.is_not_null().to_numpy()
        walls = wall.drop_nulls().cast(pl.Int64).to_numpy()
        placed = np.zeros(len(wall), dtype=np.int64)
        placed[known] = walls - self._offsets(walls)
        frame = pl.DataFrame({"u": placed, "k": known})
        return frame.select(
            pl.when(pl.col("k")).then(pl.col("u")).cast(pl.Datetime("us")).alias(wall.name)
        )[wall.name]

    def _offsets(self, walls: NDArray[np.int64]) -> NDArray[np.int64]:
        self._learn(walls)
        changes = clock_changes(self.zone, _moment(int(walls.min())), _moment(int(walls.max())))
        offsets = np.full(len(walls), changes.first_us, dtype=np.int64)
        for instant, before, after in zip(
            changes.instants_us, changes.before_us, changes.after_us, strict=True
        ):
            low, high = instant + min(before, after), instant + max(before, after)
            offsets[walls >= high] = after
            inside = (walls >= low) & (walls < high)
            if after > before:
                count = int(np.count_nonzero(inside))
                if count:
                    self.never += count
                    self.first_never = self.first_never or _moment(int(walls[inside][0]))
                continue
            if inside.any() or instant in self._passages:
                self._pass_through(walls, inside, offsets, (instant, before, after))
        self._last_us = int(walls[-1])
        self._last_utc = int(walls[-1] - offsets[-1])
        return offsets

    def _learn(self, walls: NDArray[np.int64]) -> None:
        """Learn from the first block which way the file runs and how far readings are apart."""
        if self._direction and self._interval_us is not None:
            return
        steps = np.diff(walls)
        moving = steps[steps != 0]
        if not len(moving):
            return
        self._direction = -1 if np.count_nonzero(moving < 0) > 0.5 * len(moving) else 1
        onward = np.abs(moving[np.sign(moving) == self._direction])
        self._interval_us = int(np.median(onward))

    def _pass_through(
        self,
        walls: NDArray[np.int64],
        inside: NDArray[np.bool_],
        offsets: NDArray[np.int64],
        change: tuple[int, int, int],
    ) -> None:
        instant, before, after = change
        # In a file written newest first, the second pass stands first.
        onward = self._direction or 1
        first, second = (before, after) if onward > 0 else (after, before)
        passage = self._passages.setdefault(instant, _Passage())
        places = np.flatnonzero(inside)
        if len(places):
            self.twice += len(places)
            self.first_twice = self.first_twice or _moment(int(walls[places[0]]))
        at_last = -1
        for place in places.tolist():
            here = int(walls[place])
            previous = int(walls[place - 1]) if place else self._last_us
            earlier = previous
            if previous is not None:
                earlier = previous - int(offsets[place - 1]) if place else self._last_utc
                if abs(here - previous) > _DAY_US:
                    previous = None
            if place - 1 != at_last or (place == 0 and not self._was_inside(change)):
                self._leave(passage)
                passage.second, passage.begun = False, previous is None
            known: bool | None = True
            if not passage.second:
                known = self._gone_back(onward, here, previous, first, second, earlier)
                passage.second = bool(known)
            passage.open = 0 if passage.second else passage.open + (known is None)
            offsets[place] = second if passage.second else first
            at_last = place
        if at_last != len(walls) - 1:
            self._leave(passage)

    def _was_inside(self, change: tuple[int, int, int]) -> bool:
        instant, before, after = change
        return self._last_us is not None and instant + after <= self._last_us < instant + before

    @property
    def unresolved(self) -> int:
        """Readings in an hour that occurs twice that nothing settles, so far."""
        return self.twice_unresolved + sum(
            passage.open for passage in self._passages.values() if passage.begun
        )

    def _leave(self, passage: _Passage) -> None:
        self.twice_unresolved += passage.open
        passage.open = 0

    def _gone_back(
        self,
        onward: int,
        here: int,
        previous: int | None,
        first: int,
        second: int,
        earlier: int | None,
    ) -> bool | None:
        """Tell whether the clock went back between two readings; None where that stays open."""
        interval = self._interval_us or 0
        if previous is not None and onward * (here - previous) < -max(
            _JITTER_US, min(2 * interval, 10 * _JITTER_US)
        ):
            return True
        if earlier is None or interval <= 0.5 * abs(first - second):
            return None
        # Readings too far apart to show a step back: which pass fits the interval?
        slack = max(2 * _S_US, interval // 50)
        as_first = abs(onward * (here - first - earlier) - interval)
        as_second = abs(onward * (here - second - earlier) - interval)
        if as_second <= slack < as_first:
            return True
        return False if as_first <= slack < as_second else None

    def notes(self) -> list[str]:
        """Say in words what the clock changes did.

        Returns
        -------
        list of str
            Sentences; empty where no reading lies in a clock change.
        """
        said = []
        if self.twice and self.first_twice is not None:
            day = f"{self.first_twice:%Y-%m-%d}"
            said.append(
                f"{self.twice} readings fall in an hour that occurs twice in {self.zone.key} (clock change, "
                f"{day}): placed by their order in the file."
            )
        if self.unresolved:
            said.append(
                f"{self.unresolved} of them show no step back of the clock: they were taken as the pass that comes "
                "first in the file. If the logger's clock does not follow summer time, give its fixed zone, such as "
                "--zone Etc/GMT-1."
            )
        if self.never and self.first_never is not None:
            said.append(
                f"{self.never} readings carry a time that does not occur in {self.zone.key} (clock change, "
                f"{self.first_never:%Y-%m-%d}): placed as if the clock had not gone forward. If the logger's clock does "
                "not follow summer time, give its fixed zone, such as --zone Etc/GMT-1."
            )
        return said


def _moment(micro: int) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC).replace(tzinfo=None) + timedelta(microseconds=micro)


def _us(moment: datetime) -> int:
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
