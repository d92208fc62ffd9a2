"""Quality of readings: what cannot be a measurement, what is doubtful, what is not judged.

Flags follow QARTOD (IOOS, 2020): good, not evaluated, suspect, bad, missing. The thresholds are
common practice, no source, and stand together in `THRESHOLDS`; a suspect reading is used and
told, a bad one is never used.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl
from attrs import define, field, frozen

from lungwort.air import units
from lungwort.air.analytes import (
    ANALYTES,
    ATMOSPHERIC_DEW_POINT,
    HUMIDITY_RATIO,
    MASS_CONCENTRATION,
    PRESSURE_DEW_POINT,
    VOLUME_FRACTION,
)
from lungwort.logs.cells import CODES
from lungwort.logs.model import (
    BAD,
    GOOD,
    MISSING,
    NOT_EVALUATED,
    SUSPECT,
    TIME,
    UNREADABLE,
    Channel,
    Stretch,
    censor_column,
    flag_column,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

STRETCHES_AT_MOST: Final = 200
"""Stretches listed apart, a channel and cause; more are counted together."""

FROZEN_S: Final = 900.0
"""Channels that vary must stand still together at least so long to be called frozen [s]."""
FROZEN_READINGS: Final = 10
FROZEN_FACTOR: Final = 20.0
"""... and so many times longer than 95 % of their own still runs."""
STUCK_S: Final = 3600.0
"""A single channel must stand still at least so long to be called stuck [s]."""
STUCK_FACTOR: Final = 50.0
NO_NATURAL_AIR_BELOW_PPM: Final = 100.0
"""Outside air holds about 420 ppm of carbon dioxide; less than this is not natural air."""
DEAD_CO_SWING_PPM: Final = 1000.0
"""Carbon dioxide that moves by more comes from burning or breathing: a CO cell must answer."""


@frozen
class Threshold:
    """What makes a reading of one analyte doubtful.

    Parameters
    ----------
    spike : float
        A single reading that stands out from both neighbours by more [canonical unit].
    rate : float
        Change from one reading to the next by more [canonical unit].
    """

    spike: float
    rate: float


THRESHOLDS: Final[dict[str, Threshold]] = {
    "o2": Threshold(0.5, 1.0),
    "co": Threshold(5.0, 20.0),
    "co2": Threshold(200.0, 1000.0),
    "no": Threshold(2.0, 5.0),
    "no2": Threshold(1.0, 3.0),
    "so2": Threshold(1.0, 3.0),
    "h2s": Threshold(2.0, 5.0),
    "voc": Threshold(5.0, 20.0),
}


def possible_range(channel: Channel) -> tuple[float, float]:
    """Give the readings that physics and a small zero error allow.

    Parameters
    ----------
    channel : Channel
        The channel.

    Returns
    -------
    tuple of (float, float)
        Lowest and highest [unit of the channel].
    """
    if channel.quantity in {ATMOSPHERIC_DEW_POINT, PRESSURE_DEW_POINT}:
        return -110.0, 100.0
    if channel.quantity == HUMIDITY_RATIO:
        return -0.01, 622.0
    low, high = _ZERO_ERROR.get(channel.analyte, ANALYTES[channel.analyte].possible)
    if channel.analyte == "water" and channel.quantity == VOLUME_FRACTION:
        return -5.0, 1e6
    if channel.quantity == MASS_CONCENTRATION:
        return low, 5e6
    canonical = ANALYTES[channel.analyte].unit
    if (
        canonical
        and channel.unit != canonical
        and units.unit(channel.unit).dimension == units.unit(canonical).dimension
    ):
        return units.scale(low, canonical, channel.unit), units.scale(high, canonical, channel.unit)
    return low, high


# A cell that reads further below zero than this is off by at least as much: common practice.
_ZERO_ERROR: Final[dict[str, tuple[float, float]]] = {
    "co": (-1.0, 1e6),
    "co2": (-50.0, 1e6),
    "no": (-0.5, 1e6),
    "no2": (-0.5, 1e6),
    "nox": (-0.5, 1e6),
    "so2": (-0.5, 1e6),
    "h2s": (-1.0, 1e6),
    "voc": (-1.0, 1e6),
    "water": (-2.0, 5e6),
    "oil": (-0.05, 1e6),
}


@define
class Extremes:
    """What is kept of a channel over the whole log."""

    low: float = np.inf
    high: float = -np.inf
    readings: int = 0
    implausible: int = 0


@define
class Grader:
    """Flags the readings of a log, frame after frame in time order.

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
    interval_s: float | None = None
    stretches: list[Stretch] = field(factory=list)
    more: dict[tuple[str, str], int] = field(factory=dict)
    notes: list[str] = field(factory=list)
    extremes: dict[str, Extremes] = field(factory=dict)
    rows: int = 0
    _last_us: int | None = field(default=None, repr=False)
    _settle_until_us: int | None = field(default=None, repr=False)
    _settling: Stretch | None = field(default=None, repr=False)

    @property
    def gap_s(self) -> float:
        """Gap after which settling begins anew, as used [s]."""
        return max(self.resettle_gap_s, 3.0 * (self.interval_s or 0.0))

    def grade(self, frame: pl.DataFrame) -> pl.DataFrame:
        """Flag one frame.

        Parameters
        ----------
        frame : polars.DataFrame
            Time-ordered readings with the flags that their text gave.

        Returns
        -------
        polars.DataFrame
            The same rows with final flags.
        """
        if frame.height == 0:
            return frame
        micro = frame[TIME].cast(pl.Int64).to_numpy()
        if self.interval_s is None:
            self.interval_s = median_step_s(micro)
        values = {c.name: _numbers(frame[c.name]) for c in self.channels}
        flags = {c.name: frame[flag_column(c.name)].to_numpy().copy() for c in self.channels}
        censors = {
            c.name: frame[censor_column(c.name)].to_numpy().copy()
            for c in self.channels
            if c.censored
        }
        added: set[str] = set()
        for channel in self.channels:
            name = channel.name
            self._grade_values(channel, values[name], flags[name], micro)
            unreadable = self._codes(channel, values[name], flags[name], micro)
            if unreadable is not None:
                if name not in censors:
                    censors[name] = np.zeros(len(micro), dtype=np.int8)
                    added.add(name)
                censors[name][unreadable] = UNREADABLE
        self._stillness(values, flags, micro)
        self._settle(values, flags, micro)
        self.rows += len(micro)
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
        self,
        channel: Channel,
        value: NDArray[np.float64],
        flag: NDArray[np.uint8],
        micro: NDArray[np.int64],
    ) -> None:
        seen = self.extremes.setdefault(channel.name, Extremes())
        empty = np.isnan(value)
        if empty.all():
            flag[empty & (flag == GOOD)] = MISSING
            self._tell(channel.name, "missing", MISSING, empty, micro, "no reading")
            return
        if empty.any():
            flag[empty & ((flag == GOOD) | (flag == SUSPECT))] = MISSING
            self._tell(channel.name, "missing", MISSING, empty, micro, "no usable reading")
        low, high = float(np.nanmin(value)), float(np.nanmax(value))
        lowest, highest = possible_range(channel)
        if low < lowest or high > highest:
            with np.errstate(invalid="ignore"):
                beyond = (value < lowest) | (value > highest)
            coded = beyond & np.isin(value, CODES)
            flag[coded] = MISSING
            self._tell(channel.name, "code", MISSING, coded, micro, "a code for no reading")
            beyond &= ~coded
            flag[beyond] = BAD
            what = f"readings no sensor can give (outside {lowest:g} to {highest:g} {channel.unit})"
            self._tell(channel.name, "range", BAD, beyond, micro, what)
            value[coded | beyond] = np.nan
            if np.isnan(value).all():
                return
            low, high = float(np.nanmin(value)), float(np.nanmax(value))
        seen.low, seen.high = min(seen.low, low), max(seen.high, high)
        seen.readings += int(np.count_nonzero(~np.isnan(value)))
        if channel.analyte == "co2" and channel.quantity == VOLUME_FRACTION:
            with np.errstate(invalid="ignore"):
                seen.implausible += int(np.count_nonzero(value < NO_NATURAL_AIR_BELOW_PPM))
        threshold = THRESHOLDS.get(channel.analyte)
        if threshold is None or channel.quantity != VOLUME_FRACTION or len(value) < 3:  # noqa: PLR2004 - a spike has two neighbours
            return
        if high - low <= min(threshold.spike, threshold.rate):
            return
        step = np.diff(value)
        with np.errstate(invalid="ignore"):
            before, after = step[:-1], step[1:]
            spike = np.zeros(len(value), dtype=bool)
            spike[1:-1] = (
                (np.abs(before) > threshold.spike)
                & (np.abs(after) > threshold.spike)
                & (np.sign(before) != np.sign(after))
            )
            rate = np.zeros(len(value), dtype=bool)
            rate[1:] = np.abs(step) > threshold.rate
        rate &= ~spike
        for mask, cause, words in (
            (spike, "spike", "a single reading stands out from both neighbours"),
            (rate, "rate", "a jump from one reading to the next"),
        ):
            mask &= flag == GOOD
            if mask.any():
                flag[mask] = SUSPECT
                self._tell(channel.name, cause, SUSPECT, mask, micro, words)

    def _codes(
        self,
        channel: Channel,
        value: NDArray[np.float64],
        flag: NDArray[np.uint8],
        micro: NDArray[np.int64],
    ) -> NDArray[np.bool_] | None:
        """Find readings that may be codes although a sensor could show them."""
        if np.isnan(value).all():
            return None
        low, high = float(np.nanmin(value)), float(np.nanmax(value))
        unreadable: NDArray[np.bool_] | None = None
        for code in CODES:
            if not low <= code <= high:
                continue
            places = np.flatnonzero(value == code)
            if not len(places):
                continue
            others = value[value != code]
            usual = (
                float(np.nanmedian(others))
                if len(others) and not np.isnan(others).all()
                else np.nan
            )
            alone = _stands_alone(value, places, code, usual)
            if not alone.any():
                continue
            if unreadable is None:
                unreadable = np.zeros(len(value), dtype=bool)
            unreadable[places[alone]] = True
        if unreadable is not None:
            flag[unreadable & (flag == GOOD)] = SUSPECT
            self._tell(
                channel.name,
                "code?",
                SUSPECT,
                unreadable,
                micro,
                "a number that loggers write in place of a reading; say with --missing whether it is one",
            )
        return unreadable

    def _stillness(
        self,
        values: dict[str, NDArray[np.float64]],
        flags: dict[str, NDArray[np.uint8]],
        micro: NDArray[np.int64],
    ) -> None:
        if len(micro) < FROZEN_READINGS:
            return
        varying = [
            c.name for c in self.channels if self.extremes[c.name].low < self.extremes[c.name].high
        ]
        joint = np.ones(len(micro) - 1, dtype=bool)
        still_of: dict[str, NDArray[np.bool_]] = {}
        for name in varying:
            still = values[name][1:] == values[name][:-1]
            still_of[name] = still
            joint &= still
        frozen = np.zeros(len(micro), dtype=bool)
        if len(varying) > 1:
            for first, last in _long_runs(joint, micro, FROZEN_S, FROZEN_READINGS, FROZEN_FACTOR):
                frozen[first : last + 1] = True
                listed = ", ".join(varying)
                self._stretch(
                    Stretch(
                        _moment(micro[first]),
                        _moment(micro[last]),
                        "frozen",
                        "",
                        BAD,
                        last - first + 1,
                        f"channels that vary ({listed}) all stood still together: the logger was frozen",
                    )
                )
        if frozen.any():
            for channel in self.channels:
                flag = flags[channel.name]
                flag[frozen & ((flag == GOOD) | (flag == SUSPECT))] = BAD
        for channel in self.channels:
            if (
                channel.name in still_of
                and channel.quantity != "pressure"
                and ANALYTES[channel.analyte].in_air
            ):
                self._stuck(
                    channel,
                    values[channel.name],
                    still_of[channel.name] & ~frozen[1:],
                    flags[channel.name],
                    micro,
                )

    def _stuck(
        self,
        channel: Channel,
        value: NDArray[np.float64],
        still: NDArray[np.bool_],
        flag: NDArray[np.uint8],
        micro: NDArray[np.int64],
    ) -> None:
        for first, last in _long_runs(still, micro, STUCK_S, 30, STUCK_FACTOR):
            at = float(value[first])
            part = slice(first, last + 1)
            usable = flag[part] == GOOD
            resting = at <= self.extremes[channel.name].low or _at_rest(channel, at)
            if resting:
                flag[part][usable] = SUSPECT
                text = f"stood still at {at:g} {channel.unit} although it varies elsewhere: quiet air, or a dead cell"
            else:
                flag[part][usable | (flag[part] == SUSPECT)] = BAD
                text = f"stuck at {at:g} {channel.unit} although it varies elsewhere"
            self._stretch(
                Stretch(
                    _moment(micro[first]),
                    _moment(micro[last]),
                    "still" if resting else "stuck",
                    channel.name,
                    SUSPECT if resting else BAD,
                    last - first + 1,
                    text,
                )
            )

    def _settle(
        self,
        values: dict[str, NDArray[np.float64]],
        flags: dict[str, NDArray[np.uint8]],
        micro: NDArray[np.int64],
    ) -> None:
        gap_us = int(self.gap_s * 1e6)
        settle_us = int(self.settle_s * 1e6)
        steps = np.diff(micro, prepend=self._last_us if self._last_us is not None else micro[0])
        after_gap = np.flatnonzero(steps > gap_us)
        for index in after_gap:
            before = int(micro[index] - steps[index])
            self._stretch(
                Stretch(
                    _moment(before),
                    _moment(micro[index]),
                    "gap",
                    "",
                    0,
                    0,
                    f"no readings for {_span((micro[index] - before) / 1e6)}",
                )
            )
        if settle_us <= 0:
            return
        starts = [int(micro[index]) for index in after_gap]
        if self._last_us is None:
            starts.insert(0, int(micro[0]))
        elif self._settle_until_us is not None and self._settle_until_us > micro[0]:
            self._mark_settling(flags, micro, int(micro[0]), self._settle_until_us, first=False)
        for start in starts:
            self._settle_until_us = start + settle_us
            self._mark_settling(flags, micro, start, start + settle_us, first=True)

    def _mark_settling(
        self,
        flags: dict[str, NDArray[np.uint8]],
        micro: NDArray[np.int64],
        start: int,
        until: int,
        *,
        first: bool,
    ) -> None:
        low, high = np.searchsorted(micro, [start, until], side="left")
        for flag in flags.values():
            part = flag[low:high]
            part[(part == GOOD) | (part == SUSPECT)] = NOT_EVALUATED
        if high <= low:
            return
        text = f"settling: the first {_span(self.settle_s)} after connection or a long gap are not judged"
        if first:
            self._stretch(
                Stretch(
                    _moment(start),
                    _moment(micro[high - 1]),
                    "settling",
                    "",
                    NOT_EVALUATED,
                    int(high - low),
                    text,
                )
            )
        else:
            for place in range(len(self.stretches) - 1, -1, -1):
                if self.stretches[place].cause == "settling":
                    begun = self.stretches[place]
                    self.stretches[place] = Stretch(
                        begun.start,
                        _moment(micro[high - 1]),
                        "settling",
                        "",
                        NOT_EVALUATED,
                        begun.readings + int(high - low),
                        text,
                    )
                    break

    def _tell(
        self,
        channel: str,
        cause: str,
        flag: int,
        mask: NDArray[np.bool_],
        micro: NDArray[np.int64],
        text: str,
    ) -> None:
        places = np.flatnonzero(mask)
        if not len(places):
            return
        breaks = np.flatnonzero(np.diff(places) > 1)
        firsts = places[np.concatenate(([0], breaks + 1))]
        lasts = places[np.concatenate((breaks, [len(places) - 1]))]
        for first, last in zip(firsts[:STRETCHES_AT_MOST], lasts[:STRETCHES_AT_MOST], strict=True):
            count = int(last - first + 1)
            self._stretch(
                Stretch(
                    _moment(micro[first]), _moment(micro[last]), cause, channel, flag, count, text
                )
            )
        for first, last in zip(firsts[STRETCHES_AT_MOST:], lasts[STRETCHES_AT_MOST:], strict=True):
            self.more[channel, cause] = self.more.get((channel, cause), 0) + int(last - first + 1)

    def _stretch(self, stretch: Stretch) -> None:
        key = (stretch.channel, stretch.cause)
        listed = sum(1 for other in self.stretches if (other.channel, other.cause) == key)
        if listed >= STRETCHES_AT_MOST:
            self.more[key] = self.more.get(key, 0) + stretch.readings
            return
        self.stretches.append(stretch)

    def doubts(self) -> list[tuple[str, str]]:
        """Say for which channels the readings as a whole cannot be believed.

        Returns
        -------
        list of (str, str)
            Column name and reason.
        """
        found: list[tuple[str, str]] = []
        for channel in self.channels:
            seen = self.extremes.get(channel.name)
            if seen is None or channel.analyte in self.trust or not seen.readings:
                continue
            if seen.implausible > 0.1 * seen.readings:
                found.append(
                    (
                        channel.name,
                        f"{seen.implausible} of {seen.readings} readings are below {NO_NATURAL_AIR_BELOW_PPM:g} ppm, and "
                        "outside air holds about 420 ppm of carbon dioxide: a wrong unit or a dead cell. If the supply "
                        "really holds none, say so with --trust co2",
                    )
                )
            elif channel.analyte == "o2" and channel.unit == "%" and seen.high <= 1.0:
                found.append(
                    (
                        channel.name,
                        f"no reading is above {seen.high:g} %: this looks like a fraction of 1 and not like per cent. "
                        "Give the unit with --unit o2=mol/mol",
                    )
                )
        found.extend(self._dead_co())
        found.extend(self._all_still())
        return found

    def _dead_co(self) -> list[tuple[str, str]]:
        """A CO cell that never moves while carbon dioxide swings by combustion's measure."""
        swing = [
            e.high - e.low
            for c in self.channels
            if c.analyte == "co2"
            and c.quantity == VOLUME_FRACTION
            and (e := self.extremes.get(c.name))
            and e.readings
        ]
        if not swing or max(swing) < DEAD_CO_SWING_PPM:
            return []
        reason = (
            f"it shows {{at:g}} {{unit}} throughout although carbon dioxide moves by {max(swing):.0f} ppm: test the cell "
            "with gas, it may be dead. If it is known to be right, say so with --trust co"
        )
        return [
            (c.name, reason.format(at=e.low, unit=c.unit))
            for c in self.channels
            if c.analyte == "co"
            and "co" not in self.trust
            and (e := self.extremes.get(c.name))
            and e.readings
            and e.low == e.high
        ]

    def _all_still(self) -> list[tuple[str, str]]:
        alive = [
            c for c in self.channels if (e := self.extremes.get(c.name)) is not None and e.readings
        ]
        if len(alive) < 2 or self.rows < 30 or self.rows * (self.interval_s or 0.0) < STUCK_S / 2:  # noqa: PLR2004 - one channel may well be still
            return []
        if any(self.extremes[c.name].low < self.extremes[c.name].high for c in alive):
            return []
        moving = [
            c
            for c in alive
            if c.analyte in {"co2", "water", "pressure", "temperature", "relative_humidity"}
        ]
        if not moving:
            return []
        reason = "no channel changed at all over the whole log: the logger was frozen or no instrument was connected"
        return [(c.name, reason) for c in alive]


def median_step_s(micro: NDArray[np.int64]) -> float | None:
    """Give the sampling interval: median of the steps that go forward [s]."""
    if len(micro) < 2:  # noqa: PLR2004 - one reading has no step
        return None
    steps = np.diff(micro[: 1 << 20])
    forward = steps[steps > 0]
    return float(np.median(forward)) / 1e6 if len(forward) else None


def _numbers(column: pl.Series) -> NDArray[np.float64]:
    return column.fill_null(np.nan).to_numpy().copy()


def _with_holes(column: pl.Series, flag: NDArray[np.uint8]) -> pl.Series:
    hidden = flag == MISSING
    if not hidden.any():
        return column
    frame = pl.DataFrame({"v": column, "h": hidden})
    return frame.select(pl.when(~pl.col("h")).then(pl.col("v")).alias(column.name))[column.name]


def _stands_alone(
    value: NDArray[np.float64], places: NDArray[np.int64], code: float, usual: float
) -> NDArray[np.bool_]:
    before = _nearest_other(value, places, code, -1)
    after = _nearest_other(value, places, code, 1)
    # Neighbours on the way to the number make it a reading: a rising gas passes through 999 too.
    if code > 0:
        near = np.fmax(before, after) >= 0.5 * code
    else:
        near = np.fmin(before, after) <= 0.5 * code
    if not np.isnan(usual) and abs(usual) >= 0.5 * abs(code) and np.sign(usual) == np.sign(code):
        near |= True
    return ~near


def _nearest_other(
    value: NDArray[np.float64], places: NDArray[np.int64], code: float, step: int
) -> NDArray[np.float64]:
    at = places + step
    out = np.full(len(places), np.nan)
    for _ in range(50):
        valid = (at >= 0) & (at < len(value))
        same = np.zeros(len(places), dtype=bool)
        same[valid] = value[at[valid]] == code
        if not same.any():
            break
        at = np.where(same, at + step, at)
    valid = (at >= 0) & (at < len(value))
    out[valid] = value[at[valid]]
    return out


def _at_rest(channel: Channel, value: float) -> bool:
    if channel.analyte == "o2" and channel.quantity == VOLUME_FRACTION:
        return 20.8 <= units.scale(value, channel.unit, "%") <= 21.0  # noqa: PLR2004 - fresh air
    return value == 0.0 and channel.analyte != "co2"


def _long_runs(
    still: NDArray[np.bool_],
    micro: NDArray[np.int64],
    least_s: float,
    least_readings: int,
    factor: float,
) -> Iterable[tuple[int, int]]:
    """Find runs of readings without change that are long in time and far longer than the rest."""
    moves = np.flatnonzero(~still) + 1
    firsts = np.concatenate(([0], moves))
    lasts = np.concatenate((moves - 1, [len(still)]))
    counts = lasts - firsts + 1
    spans = (micro[lasts] - micro[firsts]) / 1e6
    long_enough = (spans >= least_s) & (counts >= least_readings)
    if not long_enough.any():
        return []
    usual = float(np.percentile(counts[~long_enough], 95)) if (~long_enough).any() else np.inf
    chosen = np.flatnonzero(long_enough & (counts > factor * usual))
    return [(int(firsts[i]), int(lasts[i])) for i in chosen]


def _moment(micro: int | np.int64) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=int(micro))


def _span(seconds: float) -> str:
    if seconds < 120:  # noqa: PLR2004 - seconds up to two minutes
        return f"{seconds:g} s"
    if seconds < 7200:  # noqa: PLR2004 - minutes up to two hours
        return f"{seconds / 60:.3g} min"
    if seconds < 172800:  # noqa: PLR2004 - hours up to two days
        return f"{seconds / 3600:.3g} h"
    return f"{seconds / 86400:.4g} days"
