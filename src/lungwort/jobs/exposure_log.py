"""From a log to what came out of an outlet, as exposures are worked out from it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import ExposureError, QuantityError

if TYPE_CHECKING:
    from collections.abc import Iterable

    import polars as pl

    from lungwort.air.arrays import FloatArray
    from lungwort.logs.model import Channel, Log, Stretch
    from lungwort.wearers.averages import Course
    from lungwort.wearers.exposure import OutletAir
    from lungwort.wearers.exposure_limits import ExposureLimit
    from lungwort.wearers.exposure_oxygen import OutletOxygen

GAP_INTERVALS: Final = 3.0
"""Usual steps without a reading after which nothing is known: common practice, no source."""
LONGEST_S: Final = 1800.0
"""Longest time that two readings bridge: common practice, no source."""
STILL_READINGS: Final = 30
"""A cell that shows one value in at least so many readings is doubted: own rule."""
STILL_S: Final = 1800.0
"""... where they reach over at least so long [s]: own rule."""
_LEAST: Final = 2
_OXYGEN: Final = "o2"
_DANGEROUS: Final = "co"


@frozen(eq=False)
class Taken:
    """What was taken from a log.

    Parameters
    ----------
    air : OutletAir
        What came out of the outlet.
    left_out : tuple of str
        What of the log could not be used, in words.
    stretches : tuple of Stretch
        Stretches of the log that are missing or doubted, of the channels that were used.
    remarks : tuple of str
        What is to be minded of cells that stood at 0 throughout, in words.
    """

    air: OutletAir
    left_out: tuple[str, ...]
    stretches: tuple[Stretch, ...] = ()
    remarks: tuple[str, ...] = ()


def taken_from(
    log: Log, outlet: str, limits: Iterable[ExposureLimit], trust: Iterable[str] = ()
) -> Taken:
    """Take from a log what exposure limits are about.

    Parameters
    ----------
    log : Log
        The log.
    outlet : str
        Name of the outlet.
    limits : iterable of ExposureLimit
        The limits.
    trust : iterable of str
        Analytes whose level is known to be true, however unlikely.

    Returns
    -------
    Taken
        The air, in the units of the limits.

    Raises
    ------
    ExposureError
        Where the log holds no reading of anything that has an exposure limit.
    """
    from lungwort.wearers.exposure import OutletAir  # noqa: PLC0415 - keeps --help instant

    unit_of = {"co": "ppm", **{one.analyte: one.unit for one in limits}}
    trusted = frozenset(trust)
    courses: dict[str, Course] = {}
    intervals: dict[str, float] = {}
    oxygen: OutletOxygen | None = None
    left_out: list[str] = []
    remarks: list[str] = []
    doubts = [_sentence(one) for one in log.doubts]
    used = {""}
    for analyte, unit in {**unit_of, _OXYGEN: unit_of.get(_OXYGEN, "%")}.items():
        pieces, known_doubts = [], len(doubts)
        for channel in log.channels_of(analyte):
            readings = _readings(log, channel, unit)
            if isinstance(readings, str):
                left_out.append(f"{outlet}: {readings}")
                continue
            pieces.append(readings)
            used.add(channel.name)
            doubts.extend(_doubts_of(log, channel, trusted))
            doubts.extend(_unplaced(log, channel))
        if not pieces:
            continue
        if analyte in unit_of:
            courses[analyte], intervals[analyte] = _laid_out(pieces)
        if analyte == _OXYGEN:
            oxygen = _oxygen(pieces)
        elif analyte not in trusted and len(doubts) == known_doubts:
            told, remark = _still(analyte, unit, pieces)
            doubts.extend(told)
            remarks.extend(f"{outlet}: {one}" for one in remark)
    if not courses:
        found = ", ".join(sorted({one.analyte for one in log.channels})) or "nothing"
        raise ExposureError(
            f"the log of {outlet!r} holds readings of {found}; none of them has an exposure limit, or "
            "there are fewer than two. Name the column with --column 'co=HEADING', or give another "
            "log."
        )
    return Taken(
        OutletAir(outlet, courses, intervals, tuple(dict.fromkeys(doubts)), oxygen),
        tuple(left_out),
        tuple(one for one in log.stretches if one.channel in used),
        tuple(remarks),
    )


def _sentence(text: str) -> str:
    return f"{text.rstrip(' .')}."


def _doubts_of(log: Log, channel: Channel, trusted: frozenset[str]) -> list[str]:
    """Name the doubts about a channel, but for those that what the user knows has settled."""
    settled = f"--trust {channel.analyte}" if channel.analyte in trusted else None
    return [
        f"{channel.analyte.upper()}: {_sentence(why)}"
        for name, why in log.channel_doubts
        if name == channel.name and not (settled and settled in why)
    ]


@frozen(eq=False)
class _Readings:
    """Readings of one channel: times [s], values, and whether each is a lower end or doubted."""

    times_s: FloatArray
    values: FloatArray
    lower_end: FloatArray
    doubtful: FloatArray


def _readings(log: Log, channel: Channel, unit: str) -> _Readings | str:
    """Read one channel; words where it cannot be used."""
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    factor = _factor(channel, unit)
    if factor is None:
        return (
            f"{channel.heading or channel.name} is {channel.quantity.replace('_', ' ')} in "
            f"{channel.unit}, which cannot be held against a limit in {unit}."
        )
    frames = [_plain(frame, channel) for frame in log.frames()]
    columns = [
        np.concatenate([frame[name].to_numpy() for frame in frames])
        for name in ("at", "value", "above", "doubted")
    ]
    if columns[0].size < _LEAST:
        return f"{channel.heading or channel.name} has fewer than two readings."
    return _Readings(
        np.asarray(columns[0], dtype=np.float64) / 1e6,
        np.asarray(columns[1], dtype=np.float64) * factor,
        np.asarray(columns[2], dtype=np.float64),
        np.asarray(columns[3], dtype=np.float64),
    )


def _factor(channel: Channel, unit: str) -> float | None:
    from lungwort.air.gas import conversion_factor  # noqa: PLC0415 - keeps --help instant

    if channel.unit == unit:
        return 1.0
    try:
        return conversion_factor(channel.unit, unit, gas=channel.analyte)
    except QuantityError:
        return None


def _plain(frame: pl.DataFrame, channel: Channel) -> pl.DataFrame:
    """Give time, value, and what is to be minded; a reading that cannot be used is NaN.

    A row in which only other channels were read is no reading at all and is left out: how far apart
    the readings of this channel are tells whether something is missing.
    """
    import polars as pl  # noqa: PLC0415 - keeps --help instant

    from lungwort.logs.model import (  # noqa: PLC0415 - keeps --help instant
        ABOVE,
        BAD,
        NOT_EVALUATED,
        PLAIN,
        SUSPECT,
        TIME,
        UNREADABLE,
        censor_column,
        flag_column,
    )

    censor = censor_column(channel.name)
    flag = pl.col(flag_column(channel.name))
    code = pl.col(censor) if censor in frame.columns else pl.lit(PLAIN)
    useless = (flag == BAD) | (code == UNREADABLE)
    value = pl.col(channel.name)
    return (
        frame.lazy()
        .filter(value.is_not_null() | useless)
        .select(
            pl.col(TIME).dt.epoch("us").alias("at"),
            pl.when(useless | value.is_null()).then(float("nan")).otherwise(value).alias("value"),
            (code == ABOVE).alias("above"),
            flag.is_in([SUSPECT, NOT_EVALUATED]).alias("doubted"),
        )
        .collect()
    )


def _oxygen(pieces: list[_Readings]) -> OutletOxygen:
    """Lay oxygen out twice, so that of several sensors the higher and the lower count."""
    from lungwort.wearers.exposure_oxygen import OutletOxygen  # noqa: PLC0415 - the same

    lack = [_Readings(p.times_s, 100.0 - p.values, p.lower_end, p.doubtful) for p in pieces]
    return OutletOxygen(_laid_out(pieces)[0], _laid_out(lack)[0])


def _still(
    analyte: str, unit: str, pieces: list[_Readings]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Doubt cells of which none ever moved; at 0 most gases are only remarked on.

    Clean air holds none of most gases, and an honest log of them stands at 0. Carbon monoxide at 0
    is doubted all the same: here it is asked whether somebody has breathed it.
    """
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    at, count, length_s = 0.0, 0, 0.0
    for one in pieces:
        read = np.isfinite(one.values)
        if not bool(read.any()):
            continue
        values, times = one.values[read], one.times_s[read]
        if float(values.min()) < float(values.max()):
            return (), ()
        at, count = max(at, float(values[0])), max(count, values.size)
        length_s = max(length_s, float(times[-1] - times[0]))
    if count < STILL_READINGS or length_s < STILL_S:
        return (), ()
    seen = (
        f"{analyte.upper()}: all {count} readings over {length_s / 60:.0f} min show {at:.3g} {unit}"
    )
    if at > 0:
        doubt = (
            f"{seen}, and a cell that works never stands quite still: it may be dead, frozen or not "
            f"connected. Test it with gas; if it answers, say so with --trust {analyte}."
        )
        return (doubt,), ()
    test = "Clean air looks like that, and so does a dead cell: test it with gas"
    if analyte == _DANGEROUS:
        return (f"{seen}. {test}; if it answers, say so with --trust {analyte}.",), ()
    return (), (f"{seen}. {test}.",)


def _unplaced(log: Log, channel: Channel) -> list[str]:
    if log.unplaced is None or channel.name not in log.unplaced.columns:
        return []
    values = log.unplaced[channel.name].drop_nulls()
    if not values.len():
        return []
    most = float(values.max())  # type: ignore[arg-type] # of a column of numbers
    low = channel.analyte == _OXYGEN
    if low:
        most = float(values.min())  # type: ignore[arg-type] # the same
    return [
        (
            f"{values.len()} readings of {channel.heading or channel.name} have no time that can be "
            f"trusted, the {'lowest' if low else 'highest'} {most:g} {channel.unit}; nobody can say who breathed them."
        )
    ]


def _laid_out(pieces: list[_Readings]) -> tuple[Course, float]:
    """Lay the readings of all channels of one thing out; of several the higher one counts."""
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    from lungwort.wearers.averages import course  # noqa: PLC0415 - keeps --help instant

    made = []
    for one in pieces:
        steps = np.diff(one.times_s)
        steps = steps[steps > 0]
        interval_s = float(np.median(steps)) if steps.size else LONGEST_S
        made.append(
            (
                course(
                    one.times_s,
                    one.values,
                    longest_s=min(GAP_INTERVALS * interval_s, LONGEST_S),
                    lower_end=one.lower_end > 0,
                    doubtful=one.doubtful > 0,
                ),
                interval_s,
            )
        )
    found, interval_s = made[0]
    for other, its_interval_s in made[1:]:
        found, interval_s = _higher(found, other), max(interval_s, its_interval_s)
    return found, interval_s


def _higher(one: Course, other: Course) -> Course:
    """Take the higher of two courses at every moment; what neither knows stays unknown."""
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    from lungwort.wearers.averages import Course, between  # noqa: PLC0415 - keeps --help instant

    start = float(min(one.edges_s[0], other.edges_s[0]))
    end = float(max(one.edges_s[-1], other.edges_s[-1]))
    edges = np.union1d(one.edges_s, other.edges_s)
    both = [_on(between(each, start, end), edges) for each in (one, other)]
    return Course(
        edges,
        np.fmax(both[0].values, both[1].values),
        np.fmax(both[0].highest, both[1].highest),
        both[0].lower_end | both[1].lower_end,
        both[0].doubtful | both[1].doubtful,
    )


def _on(of: Course, edges: FloatArray) -> Course:
    import numpy as np  # noqa: PLC0415 - keeps --help instant

    from lungwort.wearers.averages import Course  # noqa: PLC0415 - keeps --help instant

    middles = (edges[:-1] + edges[1:]) / 2.0
    places = np.searchsorted(of.edges_s, middles, side="right") - 1
    return Course(
        edges, of.values[places], of.highest[places], of.lower_end[places], of.doubtful[places]
    )
