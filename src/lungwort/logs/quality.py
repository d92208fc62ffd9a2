"""Quality of readings: what cannot be a measurement, what is doubtful, what is not judged.

Flags follow QARTOD (IOOS, 2020): good, not evaluated, suspect, bad, missing. A suspect reading is
used and told; a bad one is never used. Three rules keep a reading outside limits from being lost:

- A number above what a sensor can show may be its over-range: it decides nothing and keeps the
  log from proving anything (`UNREADABLE`), instead of being bad.
- A single channel that stands still stays in use, suspect: a sensor at its end stands still too.
- Of a frozen logger the first reading stands, because it was measured; so does, suspect, a channel
  at the end of its range.
"""

from __future__ import annotations

from itertools import zip_longest
from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl
from attrs import Factory, define, field

from lungwort.air.analytes import ANALYTES, VOLUME_FRACTION
from lungwort.logs.cells import CODES
from lungwort.logs.doubts import channel_doubts
from lungwort.logs.model import (
    BAD,
    GOOD,
    MISSING,
    NOT_EVALUATED,
    PLAIN,
    SUSPECT,
    TIME,
    UNREADABLE,
    Channel,
    Stretch,
    censor_column,
    flag_column,
)
from lungwort.logs.plausible import (
    NO_NATURAL_AIR_BELOW_PPM,
    THRESHOLDS,
    at_rest,
    doubtful_steps,
    first_plain,
    is_co2,
    near_code,
    possible_range,
    stand_alone,
)
from lungwort.logs.stretches import Stretches, moment, span
from lungwort.logs.whole import NOTHING, Edge, WholeLog, possible_readings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lungwort.logs.stillness import Run

    Floats = NDArray[np.float64]
    Flags = NDArray[np.uint8]
    Bools = NDArray[np.bool_]
    Times = NDArray[np.int64]

_CODE_OR_READING: Final = "a number that loggers write in place of a reading"
_SAY_MISSING: Final = "say with --missing whether it stands for none"


@define
class Grader:
    """Flags the readings of a log that may lie in several parts.

    Each part is first shown to `observe` and then, when all were, given to `grade`, both in time
    order. The result does not depend on where the parts begin.

    Parameters
    ----------
    channels : tuple of Channel
        The channels.
    settle_s : float
        Settling time [s].
    resettle_gap_s : float
        Gap after which settling begins anew [s].
    trust : tuple of str
        Analytes whose implausible level is known to be true.
    """

    channels: tuple[Channel, ...]
    settle_s: float
    resettle_gap_s: float
    trust: tuple[str, ...] = ()
    told: Stretches = field(factory=Stretches)
    whole: WholeLog = field(
        init=False, default=Factory(lambda self: WholeLog(self.channels), takes_self=True)
    )
    _spiked: dict[str, bool] = field(factory=dict, repr=False)
    _kept: set[tuple[int, str]] = field(factory=set, repr=False)
    _last: dict[str, Edge] = field(factory=dict, repr=False)
    _last_us: int | None = field(default=None, repr=False)
    _settle_until_us: int | None = field(default=None, repr=False)
    _row: int = field(default=0, repr=False)
    _part: int = field(default=0, repr=False)

    @property
    def interval_s(self) -> float | None:
        """Sampling interval of the whole log [s]; None with fewer than two readings."""
        return self.whole.interval_s

    @property
    def rows(self) -> int:
        """Readings in time."""
        return self.whole.rows

    @property
    def gap_s(self) -> float:
        """Gap after which settling begins anew, as used [s]."""
        return max(self.resettle_gap_s, 3.0 * (self.interval_s or 0.0))

    @property
    def stretches(self) -> list[Stretch]:
        """Stretches found so far."""
        return self.told.listed

    @property
    def more(self) -> dict[tuple[str, str], int]:
        """Channel and cause to readings in stretches that are not listed apart."""
        return self.told.more

    def observe(self, frame: pl.DataFrame) -> None:
        """Take in what can only be known of the whole log.

        Parameters
        ----------
        frame : polars.DataFrame
            A part: time-ordered readings; not empty.
        """
        self.whole.observe(frame)

    def grade(self, frame: pl.DataFrame) -> pl.DataFrame:
        """Flag one part.

        Parameters
        ----------
        frame : polars.DataFrame
            The part, as it was observed; not empty.

        Returns
        -------
        polars.DataFrame
            The same rows with final flags.
        """
        if not self.whole.finished:
            self.whole.finish()
        micro = frame[TIME].cast(pl.Int64).to_numpy()
        self.told.begin_part(micro, self._row)
        flags = {c.name: frame[flag_column(c.name)].to_numpy().copy() for c in self.channels}
        censors: dict[str, NDArray[np.int8]] = {}
        values: dict[str, Floats] = {}
        for channel in self.channels:
            name = channel.name
            censor = np.zeros(len(micro), dtype=np.int8)
            if censor_column(name) in frame.columns:
                censor = frame[censor_column(name)].to_numpy().copy()
            values[name] = self._grade_values(channel, frame, flags[name], censor)
            if censor.any() or censor_column(name) in frame.columns:
                censors[name] = censor
        self._settle(flags, micro)
        self._still(values, flags, len(micro))
        self._row += len(micro)
        self._part += 1
        self._last_us = int(micro[-1])
        columns = [frame[TIME]]
        for channel in self.channels:
            name = channel.name
            columns.append(_with_holes(frame[name], flags[name]))
            columns.append(pl.Series(flag_column(name), flags[name], dtype=pl.UInt8))
            if name in censors:
                columns.append(pl.Series(censor_column(name), censors[name], dtype=pl.Int8))
        return pl.DataFrame(columns)

    def _grade_values(
        self, channel: Channel, frame: pl.DataFrame, flag: Flags, censor: NDArray[np.int8]
    ) -> Floats:
        name = channel.name
        value, logged = possible_readings(channel, frame[channel.name])
        raw = value if logged is None else logged
        empty = np.isnan(raw)
        if empty.any():
            unread = empty & (censor != UNREADABLE)
            flag[unread & ((flag == GOOD) | (flag == SUSPECT))] = MISSING
            self.told.tell(name, "missing", MISSING, unread, "no usable reading")
        if logged is not None:
            self._grade_impossible(channel, logged, flag, censor)
        self._grade_steps(channel, value, flag)
        self._grade_codes(channel, value, flag, censor)
        backwards = first_plain(value[::-1], self._last.get(name, NOTHING).plain)
        self._last[name] = Edge(float(value[-1]), backwards)
        if is_co2(channel) and "co2" not in self.trust:
            low = (value < NO_NATURAL_AIR_BELOW_PPM) & (flag == GOOD)
            if low.any():
                flag[low] = SUSPECT
                self.told.tell(
                    name, "level", SUSPECT, low, "less carbon dioxide than natural air holds"
                )
        return value

    def _grade_impossible(
        self, channel: Channel, value: Floats, flag: Flags, censor: NDArray[np.int8]
    ) -> None:
        name = channel.name
        lowest, highest = possible_range(channel)
        over, under = value > highest, value < lowest
        code = np.isin(value, CODES)
        air = ANALYTES[channel.analyte].in_air
        # Oxygen has a lower limit as well: what lies below its range may be a lack of it.
        unsure = over | under if channel.analyte in {"o2", "n2"} else over
        unsure = unsure & ~(code & (value < 0)) if air else np.zeros(len(value), dtype=bool)
        none = code & (over | under) & ~unsure
        flag[none] = MISSING
        self.told.tell(name, "code", MISSING, none, "a code for no reading")
        outside = f"outside {lowest:g} to {highest:g} {channel.unit}"
        bad = (over | under) & ~none & ~unsure
        flag[bad] = BAD
        self.told.tell(name, "range", BAD, bad, f"readings no sensor can give ({outside})")
        if not unsure.any():
            return
        flag[unsure & (flag == GOOD)] = SUSPECT
        censor[unsure] = UNREADABLE
        self.told.tell(
            name, "code?", SUSPECT, unsure & code, f"{_CODE_OR_READING} ({outside}); {_SAY_MISSING}"
        )
        self.told.tell(
            name,
            "range",
            SUSPECT,
            unsure & ~code,
            f"numbers no sensor can give ({outside}): perhaps over its range; {_SAY_MISSING}",
        )

    def _grade_steps(self, channel: Channel, value: Floats, flag: Flags) -> None:
        name = channel.name
        seen = self.whole.extremes[name]
        before = self._last.get(name, NOTHING).first
        after = seen.edges[self._part + 1].first if self._part + 1 < len(seen.edges) else np.nan
        threshold = THRESHOLDS.get(channel.analyte)
        if threshold is None or channel.quantity != VOLUME_FRACTION:
            return
        if not seen.high - seen.low > min(threshold.spike, threshold.rate):
            return
        spike, rate = doubtful_steps(
            value, before, after, threshold, after_spike=self._spiked.get(name, False)
        )
        self._spiked[name] = bool(spike[-1])
        for mask, cause, words in (
            (spike, "spike", "a single reading stands out from both neighbours"),
            (rate, "rate", "a jump from one reading to the next"),
        ):
            hit = mask & (flag == GOOD)
            if hit.any():
                flag[hit] = SUSPECT
                self.told.tell(name, cause, SUSPECT, hit, words)

    def _grade_codes(
        self, channel: Channel, value: Floats, flag: Flags, censor: NDArray[np.int8]
    ) -> None:
        """Find readings that may be codes although a sensor could show them."""
        seen = self.whole.extremes[channel.name]
        if not seen.coded:
            return
        unreadable = np.zeros(len(value), dtype=bool)
        for code, hits in seen.coded.items():
            others = seen.readings - hits
            # Where the usual reading is of that size, the number is a reading like the others.
            if others and 2 * (seen.near.get(code, 0) - hits) >= others:
                continue
            before = self._last.get(channel.name, NOTHING).plain
            after = next(
                (e.plain for e in seen.edges[self._part + 1 :] if not np.isnan(e.plain)), np.nan
            )
            unreadable |= stand_alone(value, code, near_code(channel, code), before, after)
        unreadable &= censor == PLAIN
        if unreadable.any():
            flag[unreadable & (flag == GOOD)] = SUSPECT
            censor[unreadable] = UNREADABLE
            self.told.tell(
                channel.name, "code?", SUSPECT, unreadable, f"{_CODE_OR_READING}; {_SAY_MISSING}"
            )

    def _settle(self, flags: dict[str, Flags], micro: Times) -> None:
        gap_us = int(self.gap_s * 1e6)
        settle_us = int(self.settle_s * 1e6)
        steps = np.diff(micro, prepend=self._last_us if self._last_us is not None else micro[0])
        after_gap = np.flatnonzero(steps > gap_us)
        for index in after_gap:
            before = int(micro[index] - steps[index])
            self.told.put(
                Stretch(
                    moment(before),
                    moment(micro[index]),
                    "gap",
                    text=f"no readings for {span((micro[index] - before) / 1e6)}",
                )
            )
        if settle_us <= 0:
            return
        starts = [int(micro[index]) for index in after_gap]
        if self._last_us is None:
            starts.insert(0, int(micro[0]))
        elif self._settle_until_us is not None and self._settle_until_us > micro[0]:
            begin = int(micro[0])
            self._mark_settling(flags, micro, begin, min([self._settle_until_us, *starts[:1]]))
        for start, following in zip_longest(starts, starts[1:]):
            self._settle_until_us = start + settle_us
            until = self._settle_until_us
            self._mark_settling(
                flags, micro, start, until if following is None else min(until, following)
            )

    def _mark_settling(self, flags: dict[str, Flags], micro: Times, start: int, until: int) -> None:
        low, high = np.searchsorted(micro, [start, until], side="left")
        if high <= low:
            return
        for flag in flags.values():
            part = flag[low:high]
            part[(part == GOOD) | (part == SUSPECT)] = NOT_EVALUATED
        text = f"settling: the first {span(self.settle_s)} after connection or a long gap are not judged"
        self.told.add("", "settling", NOT_EVALUATED, int(low), int(high) - 1, text)

    def _still(self, values: dict[str, Floats], flags: dict[str, Flags], rows: int) -> None:
        """Mark what the whole log showed to stand still for too long."""
        inside = {
            name: [run for run in runs if run.last >= self._row and run.first < self._row + rows]
            for name, runs in (("", self.whole.frozen), *self.whole.stuck.items())
        }
        varying = ", ".join(c.name for c in self.channels if self.whole.varies(c.name))
        for run in inside[""]:
            first, last = self._part_of(run, rows)
            for channel in self.channels:
                self._freeze(channel, values[channel.name], flags[channel.name], run, (first, last))
            self.told.add(
                "",
                "frozen",
                BAD,
                first,
                last,
                f"channels that vary ({varying}) all stood still together: the logger was frozen",
            )
        for channel in self.channels:
            for run in inside.get(channel.name, []):
                if not any(f.first - 1 <= run.first and run.last <= f.last + 1 for f in inside[""]):
                    self._stick(channel, values[channel.name], flags[channel.name], run)

    def _part_of(self, run: Run, rows: int) -> tuple[int, int]:
        return max(run.first - self._row, 0), min(run.last - self._row, rows - 1)

    def _freeze(
        self, channel: Channel, value: Floats, flag: Flags, run: Run, ends: tuple[int, int]
    ) -> None:
        name = channel.name
        part = slice(ends[0], ends[1] + 1)
        seen = self.whole.extremes[name]
        used = (flag[part] == GOOD) | (flag[part] == SUSPECT)
        spared = np.zeros(len(used), dtype=bool)
        if (run.first, name) not in self._kept and used.any():
            # What is read first was measured: only from the second on is it an echo.
            spared[np.argmax(used)] = True
            self._kept.add((run.first, name))
        if self.whole.varies(name) and ANALYTES[channel.analyte].in_air:
            at_end = value[part] == seen.high
            if channel.analyte in {"o2", "n2"}:
                at_end |= value[part] == seen.low
            flag[part][at_end & used & ~spared] = SUSPECT
            spared |= at_end & used
        hit = (used | (flag[part] == NOT_EVALUATED)) & ~spared
        flag[part][hit] = BAD

    def _stick(self, channel: Channel, value: Floats, flag: Flags, run: Run) -> None:
        first, last = self._part_of(run, len(value))
        at = float(value[first])
        part = flag[first : last + 1]
        part[part == GOOD] = SUSPECT
        resting = at <= self.whole.extremes[channel.name].low or at_rest(channel, at)
        text = (
            f"stood still at {at:g} {channel.unit} although it varies elsewhere: quiet air, or a dead cell"
            if resting
            else f"stuck at {at:g} {channel.unit} although it varies elsewhere: a cell at its end, or one that is stuck"
        )
        cause = "still" if resting else "stuck"
        self.told.add(channel.name, cause, SUSPECT, first, last, text)

    def doubts(self) -> list[tuple[str, str]]:
        """Say for which channels the readings as a whole cannot be believed.

        Returns
        -------
        list of (str, str)
            Column name and reason.
        """
        return channel_doubts(
            self.channels,
            self.whole.extremes,
            self.trust,
            rows=self.whole.rows,
            interval_s=self.interval_s,
        )


def _with_holes(column: pl.Series, flag: Flags) -> pl.Series:
    hidden = flag == MISSING
    if not hidden.any():
        return column
    frame = pl.DataFrame({"v": column, "h": hidden})
    return frame.select(pl.when(~pl.col("h")).then(pl.col("v")).alias(column.name))[column.name]


__all__ = ["Grader", "possible_range"]
