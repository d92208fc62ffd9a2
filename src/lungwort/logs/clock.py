"""From the logger's wall clock to UTC, through clock changes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl
from attrs import define, field

from lungwort.logs.times import clock_changes

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from numpy.typing import NDArray

_HOUR_US: Final = 3_600_000_000


@define
class Localiser:
    """Turns wall times into UTC, block after block, in the order of the file.

    An hour that occurs twice is resolved by order: readings before the clock went back are the
    first pass, those after it the second. A time that does not occur is placed by the offset
    before the change. Both are counted.

    Parameters
    ----------
    zone : zoneinfo.ZoneInfo
        Zone of the logger's clock.
    """

    zone: ZoneInfo
    twice: int = 0
    twice_unresolved: int = 0
    never: int = 0
    first_twice: datetime | None = None
    first_never: datetime | None = None
    _last_us: int | None = field(default=None, repr=False)
    _gone_back: set[int] = field(factory=set, repr=False)

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
        known = wall.is_not_null().to_numpy()
        if not known.any():
            return wall
        micro = wall.cast(pl.Int64).fill_null(0).to_numpy()
        walls = micro[known]
        descending = len(walls) > 2 and np.count_nonzero(np.diff(walls) < 0) > 0.9 * (
            len(walls) - 1
        )
        if descending:
            walls = walls[::-1]
        offsets = self._offsets(walls)
        utc = np.zeros_like(micro)
        placed = walls - offsets
        utc[known] = placed[::-1] if descending else placed
        self._last_us = int(walls[-1])
        frame = pl.DataFrame({"u": utc, "k": known})
        return frame.select(
            pl.when(pl.col("k")).then(pl.col("u")).cast(pl.Datetime("us")).alias(wall.name)
        )[wall.name]

    def _offsets(self, walls: NDArray[np.int64]) -> NDArray[np.int64]:
        first, last = int(walls.min()), int(walls.max())
        changes = clock_changes(self.zone, _moment(first), _moment(last))
        offsets = np.full(len(walls), changes.first_us, dtype=np.int64)
        previous = np.concatenate(
            ([self._last_us if self._last_us is not None else walls[0]], walls[:-1])
        )
        for instant, before, after in zip(
            changes.instants_us, changes.before_us, changes.after_us, strict=True
        ):
            low, high = instant + min(before, after), instant + max(before, after)
            offsets[walls >= high] = after
            inside = (walls >= low) & (walls < high)
            count = int(np.count_nonzero(inside))
            if not count:
                continue
            if after > before:
                self.never += count
                self.first_never = self.first_never or _moment(int(walls[inside][0]))
                continue
            self.twice += count
            self.first_twice = self.first_twice or _moment(int(walls[inside][0]))
            back = np.cumsum((walls < previous) & inside)[inside] > 0
            if instant in self._gone_back:
                back[:] = True
            if back.any():
                self._gone_back.add(instant)
            elif int(walls[-1]) >= high:
                self.twice_unresolved += count
            second = np.flatnonzero(inside)[back]
            offsets[second] = after
        return offsets

    def notes(self) -> list[str]:
        """Say in words what the clock changes did."""
        said = []
        if self.twice and self.first_twice is not None:
            day = f"{self.first_twice:%Y-%m-%d}"
            said.append(
                f"{self.twice} readings fall in an hour that occurs twice in {self.zone.key} (clock change, "
                f"{day}): placed by their order in the file."
            )
        if self.twice_unresolved:
            said.append(
                f"{self.twice_unresolved} of them show no step back of the clock: they were taken as the first pass. "
                "If the logger's clock does not follow summer time, give its fixed zone, such as --zone Etc/GMT-1."
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
