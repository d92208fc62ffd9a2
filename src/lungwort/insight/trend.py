"""When will it go wrong? A trend in days of readings, and the day on which it reaches a limit.

A trend is named only where four things agree: the Mann-Kendall test, widened for days that hang
together; the interval of the slope; no step that explains the days better than a line; and enough
days since the last step or bend. No line is drawn further ahead than it was seen.
"""

from __future__ import annotations

import math
from datetime import date, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from attrs import field, frozen

from lungwort.errors import RangeError
from lungwort.insight import trend_said
from lungwort.insight.change_points import Change, change_points, noise_of, step_instead
from lungwort.insight.mann_kendall import SERIAL, MannKendall, mann_kendall
from lungwort.insight.robust_slope import Slope, crossing, theil_sen
from lungwort.insight.season import Season, without_season
from lungwort.insight.statistics import LEAST_COVERAGE, Day, weeks_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

Measure = Literal["least", "low", "median", "high", "greatest"]

RISES: Final = "rises"
FALLS: Final = "falls"
NO_TREND: Final = "no trend shown"
TOO_LITTLE: Final = "too little to tell"
MOVED: Final = "moved far, one way"
"""The days went far and almost all of them one way, and are too alike to their neighbours for a line
with a date: that is no proof of a trend, and none of the contrary."""
MOVED_TAU: Final = 0.8
"""Kendall's tau from which days go almost all one way; own rule [-]."""
MOVED_SPREADS: Final = 4.0
"""Way from the first to the last days, in standard deviations of days around their neighbours, from
which it is far; own rule [-]."""

LEAST_DAYS: Final = 20
"""Days of one straight piece that a trend needs [1]; own rule."""
MOST_DAYS: Final = 1500
"""Days that are taken one by one [1]; longer series are taken by weeks."""
NEWEST: Final = 7
"""Days up to the newest one that tell whether the limit is reached now [d]; own rule."""
BREAK_STEP: Final = 3.0
"""A step of more than so many spreads of the days breaks a line [1]; own rule."""
BREAK_SLOPE: Final = 3.0
"""A bend after which the slope goes the other way, or differs by more than this factor, breaks a line
[1]; own rule. A smaller one is a curve, and the days before it tell something."""
USUAL_SHARE: Final = 0.5
"""Share of the usual coverage that a day must have to be used [1]; own rule."""
STILL_DAYS: Final = 10
"""Newest days without one other reading after which a cell is doubted [1]; own rule."""
SURE: Final = 0.05
"""Probability below which the test counts [1]."""
_DAYS_OF_WEEK: Final = 3


@frozen
class Bound:
    """A limit that a series must not pass.

    Parameters
    ----------
    value : float
        The limit [unit of the series].
    upwards : bool
        True where what lies above it is bad, False where what lies below.
    name : str
        What it is, such as ``CO, standard``.
    """

    value: float
    upwards: bool = True
    name: str = ""

    def passed(self, value: float) -> bool:
        """Tell whether a value lies beyond it; a value on it does not.

        Parameters
        ----------
        value : float
            The value [unit of the series].

        Returns
        -------
        bool
            Whether it does.
        """
        return value > self.value if self.upwards else value < self.value


@frozen
class Ahead:
    """When a trend reaches a limit.

    Parameters
    ----------
    on : date, optional
        When the line does; None where it does not up to ``horizon``.
    earliest, latest : date, optional
        Interval of that day, to the safe side by whole days; None beyond ``horizon``.
    horizon : date
        As far ahead of the newest day as the line reaches back: nothing is said beyond it.
    """

    on: date | None
    earliest: date | None
    latest: date | None
    horizon: date


@frozen
class Trend:
    """What is to be said of one channel.

    Parameters
    ----------
    word : str
        `RISES`, `FALLS`, `NO_TREND`, `MOVED` or `TOO_LITTLE`.
    reasons : tuple of str
        Why, in words.
    measure : str
        Which figure of the days it is about.
    by : str
        ``day`` or ``week``.
    used : tuple of Day
        Days, or weeks, that were used.
    thin : int
        Days left out because too little was read [1].
    begin : int
        First of ``used`` behind the last change that breaks a line [1].
    changes : tuple of Change
        Steps and bends, places counted in ``used``.
    test : MannKendall, optional
        The test behind the last change.
    line : Slope, optional
        The line there; times are days by their ordinal (1 is the first of January of year 1).
    season : Season, optional
        What was looked for of temperature; None where there is none beside.
    bound : Bound, optional
        The limit.
    reached : tuple of Day
        Of the newest days, used or not, those beyond the limit.
    ahead : Ahead, optional
        When the limit is reached; None where there is no limit, or no trend towards it.
    towards : bool
        Whether the trend leads towards the limit.
    beyond : tuple of Day
        Of the newest days, those with single readings beyond the limit, usable or set aside, that
        the figure of the day does not show.
    still : bool
        Whether no reading of the newest days differs from another, so that the cell may be dead.
    """

    word: str
    reasons: tuple[str, ...]
    measure: str
    by: str
    used: tuple[Day, ...] = field(repr=False)
    thin: int
    begin: int = 0
    changes: tuple[Change, ...] = ()
    test: MannKendall | None = None
    line: Slope | None = None
    season: Season | None = field(default=None, repr=False)
    bound: Bound | None = None
    reached: tuple[Day, ...] = ()
    ahead: Ahead | None = None
    towards: bool = False
    beyond: tuple[Day, ...] = ()
    still: bool = False

    @property
    def shown(self) -> bool:
        """Whether there is a trend."""
        return self.word in {RISES, FALLS}

    @property
    def fitted(self) -> tuple[Day, ...]:
        """Days behind the last change."""
        return self.used[self.begin :]


@frozen
class _Series:
    days: tuple[Day, ...]
    by: str
    thin: int
    times: Floats
    values: Floats


def assess(
    days: Sequence[Day],
    *,
    bound: Bound | None = None,
    measure: Measure = "high",
    temperature_c: Mapping[date, float] | None = None,
    least_coverage: float = LEAST_COVERAGE,
) -> Trend:
    """Tell whether a channel has a trend, and when it reaches a limit.

    Parameters
    ----------
    days : sequence of Day
        Its days, in the order of time, each once.
    bound : Bound, optional
        The limit; None where there is none.
    measure : str
        Which figure of the days: ``high`` (95 % of the readings) where high values are bad.
    temperature_c : mapping of date to float, optional
        Temperature of the days [°C]; days without one are left out of what goes with temperature,
        and where more than a tenth lacks one, nothing is taken out.
    least_coverage : float
        Share of a day that must have been read, 0 to 1 [1].

    Returns
    -------
    Trend
        What is to be said.

    Raises
    ------
    RangeError
        Where days are not in order, the limit is no number, or an argument is out of its range.
    """
    if not 0 <= least_coverage <= 1:
        raise RangeError(
            f"a least coverage of {least_coverage:g} is not a share. Give a number from 0 to 1."
        )
    if bound is not None and not math.isfinite(bound.value):
        raise RangeError(f"a limit of {bound.value} was given. Give a number.")
    if any(one.day >= other.day for one, other in pairwise(days)):
        raise RangeError("the days are not in order. Give each day once, the oldest first.")
    series = _series(days, measure, least_coverage)
    reached = _reached(days, bound, measure)
    beyond = _beyond(days, bound, reached)
    if series.times.size < LEAST_DAYS:
        return Trend(
            TOO_LITTLE,
            (_too_few(series),),
            measure,
            series.by,
            series.days,
            series.thin,
            bound=bound,
            reached=reached,
            beyond=beyond,
        )
    season = _season(series, temperature_c)
    values = series.values if season is None else season.values
    changes = change_points(series.times, values)
    spread = noise_of(values).spread
    begin = max((one.index for one in changes if breaks(one, spread)), default=0)
    found = _judged(_Bounded(series, values, begin, changes), season)
    return Trend(
        found.word,
        found.reasons,
        measure,
        series.by,
        series.days,
        series.thin,
        begin=begin,
        changes=changes,
        test=found.test,
        line=found.line,
        season=season,
        bound=bound,
        reached=reached,
        ahead=_ahead(found, _Bounded(series, values, begin, changes), bound, season),
        towards=_towards(found, bound),
        beyond=beyond,
        still=_never_moved(series.days[-STILL_DAYS:]),
    )


def breaks(change: Change, spread: float) -> bool:
    """Tell whether no line may be laid across a change.

    Parameters
    ----------
    change : Change
        The change.
    spread : float
        Standard deviation of the days around their line [unit of the values].

    Returns
    -------
    bool
        Whether it is a step of more than three spreads, or a bend after which the slope goes the
        other way or differs by more than three times.

    Examples
    --------
    >>> breaks(Change(30, 0.1, 0.2, 0.3), 0.5), breaks(Change(30, 0.1, 0.2, -0.3), 0.5)
    (False, True)
    """
    before, after = change.slope_before, change.slope_after
    if abs(change.step) > BREAK_STEP * spread or before * after <= 0:
        return True
    return not 1 / BREAK_SLOPE <= after / before <= BREAK_SLOPE


def _series(days: Sequence[Day], measure: Measure, least_coverage: float) -> _Series:
    enough = [one for one in days if one.enough(least_coverage)]
    usual = float(np.median([one.coverage for one in enough])) if enough else 0.0
    # Half a day is no day like the others: the morning alone says less of its 95 %.
    used = tuple(one for one in enough if one.coverage >= USUAL_SHARE * usual)
    thin, by = len(days) - len(used), "day"
    if len(used) > MOST_DAYS:
        by = "week"
        used = tuple(one for one in weeks_of(used) if one.days >= _DAYS_OF_WEEK)
    # A week stands for its middle.
    middle = 3.0 if by == "week" else 0.0
    times = np.array([one.day.toordinal() + middle for one in used], dtype=np.float64)
    values = np.array([getattr(one, measure) for one in used], dtype=np.float64)
    return _Series(used, by, thin, times, values)


def _too_few(series: _Series) -> str:
    thin = (
        f" {series.thin} more were left out, because too little was read on them."
        if series.thin
        else ""
    )
    return f"{series.times.size} days can be used; a trend needs {LEAST_DAYS} or more.{thin}"


def _reached(days: Sequence[Day], bound: Bound | None, measure: Measure) -> tuple[Day, ...]:
    if bound is None:
        return ()
    return tuple(
        one
        for one in days
        if days[-1].day - one.day < timedelta(days=NEWEST) and bound.passed(getattr(one, measure))
    )


def extreme(day: Day, *, upwards: bool) -> float:
    """Give the worst reading of a day, usable or set aside.

    Parameters
    ----------
    day : Day
        The day.
    upwards : bool
        True where high readings are bad.

    Returns
    -------
    float
        The greatest or the least [unit of the series]; NaN where there is none.
    """
    pair = (day.greatest, day.aside_greatest) if upwards else (day.least, day.aside_least)
    known = [one for one in pair if one is not None and math.isfinite(one)]
    if not known:
        return math.nan
    return max(known) if upwards else min(known)


def _beyond(days: Sequence[Day], bound: Bound | None, reached: Sequence[Day]) -> tuple[Day, ...]:
    if bound is None:
        return ()
    told = {one.day for one in reached}
    return tuple(
        one
        for one in days
        if days[-1].day - one.day < timedelta(days=NEWEST)
        and one.day not in told
        and bound.passed(extreme(one, upwards=bound.upwards))
    )


def _season(series: _Series, temperature_c: Mapping[date, float] | None) -> Season | None:
    if temperature_c is None:
        return None
    if series.by == "day":
        warm = [temperature_c.get(one.day, math.nan) for one in series.days]
    else:
        warm = [_of_week(temperature_c, one.day) for one in series.days]
    heat = np.array(warm, dtype=np.float64)
    known = np.isfinite(heat)
    if known.mean() < 0.9:  # noqa: PLR2004 - said in the docstring of assess
        return None
    filled = np.interp(series.times, series.times[known], heat[known])
    return without_season(series.times, series.values, filled)


def _of_week(temperature_c: Mapping[date, float], monday: date) -> float:
    found = [
        value
        for number in range(7)
        if (value := temperature_c.get(monday + timedelta(days=number))) is not None
    ]
    return float(np.median(found)) if found else math.nan


@frozen
class _Bounded:
    series: _Series
    values: Floats
    begin: int
    changes: tuple[Change, ...]


@frozen
class _Found:
    word: str
    reasons: tuple[str, ...]
    test: MannKendall | None = None
    line: Slope | None = None


def _judged(of: _Bounded, season: Season | None) -> _Found:
    series, begin = of.series, of.begin
    times, part = series.times[begin:], of.values[begin:]
    if part.size < LEAST_DAYS:
        day = series.days[begin].day
        fitted = series.days[begin:]
        still = (
            (trend_said.never_moved(fitted[0].least, len(fitted), series.by),)
            if _never_moved(fitted) and len(fitted) >= STILL_DAYS
            else ()
        )
        # A curve that grows ever steeper has its last bend near its end, and is not too little.
        bent = any(one.index == begin and not _is_most_of_it(one, of.values) for one in of.changes)
        way = _moved(of.values) if bent else None
        return _Found(
            TOO_LITTLE if way is None else MOVED,
            (
                *still,
                *(() if way is None else (trend_said.moved(*way, of.values.size),)),
                (
                    f"The level or its slope changed on {day.isoformat()}; {part.size} "
                    f"{series.by}s since then are too few for a trend, which needs {LEAST_DAYS}."
                ),
            ),
        )
    fitted = series.days[begin:]
    if _never_moved(fitted):
        return _Found(
            TOO_LITTLE, (trend_said.never_moved(fitted[0].least, len(fitted), series.by),)
        )
    test = mann_kendall(part, correction=SERIAL, without=_without_trend(of))
    line = theil_sen(times, part, factor=test.factor)
    reasons = list(trend_said.season_said(season))
    if test.p >= SURE or not (line.low > 0 or line.high < 0):
        # A fall does not hide the rise behind it, nor quiet months the newest weeks.
        newest = part[-max(LEAST_DAYS, part.size // 3) :]
        for days in (part, newest):
            way = _moved(days)
            if way is not None:
                return _Found(MOVED, (trend_said.moved(*way, days.size), *reasons), test, line)
        return _Found(NO_TREND, (trend_said.not_shown(test, line, SURE), *reasons), test, line)
    step = step_instead(times, part)
    if step is not None:
        day = series.days[begin + step.index].day
        return _Found(
            NO_TREND,
            (
                (
                    f"One step on about {day.isoformat()} explains the {series.by}s better than a "
                    "straight line does."
                ),
                *reasons,
            ),
            test,
            line,
        )
    word = RISES if line.slope > 0 else FALLS
    return _Found(word, (trend_said.said(test, line), *reasons), test, line)


def _never_moved(days: Sequence[Day]) -> bool:
    first = days[0].least
    return all(one.least == first == one.greatest for one in days)


def _is_most_of_it(change: Change, values: Floats) -> bool:
    """Tell whether a step alone is most of the way that the days went."""
    return abs(change.step) > abs(float(values[-1] - values[0])) / 2.0


def _moved(part: Floats) -> tuple[float, float] | None:
    """Give the first and the last level where the days went far and almost all one way."""
    plain = mann_kendall(part)
    quarter = max(part.size // 4, 3)
    first, last = float(np.median(part[:quarter])), float(np.median(part[-quarter:]))
    # What one day differs from the next tells how far chance alone carries it.
    spread = float(np.median(np.abs(np.diff(part)))) * 1.4826 / 2**0.5
    if abs(plain.tau) < MOVED_TAU or abs(last - first) <= MOVED_SPREADS * spread:
        return None
    return first, last


def _without_trend(of: _Bounded) -> Floats:
    """Give what straight lines between the bends leave: what bends is no memory of days."""
    times, part = of.series.times[of.begin :], of.values[of.begin :]
    inner = [one.index - of.begin for one in of.changes if one.index > of.begin]
    if not inner:
        return part - theil_sen(times, part).slope * times
    pieces = []
    for first, last in pairwise([0, *inner, part.size]):
        line = theil_sen(times[first:last], part[first:last])
        level = float(np.median(part[first:last] - line.slope * times[first:last]))
        pieces.append(part[first:last] - line.slope * times[first:last] - level)
    return np.concatenate(pieces)


def _towards(found: _Found, bound: Bound | None) -> bool:
    if bound is None or found.line is None or found.word not in {RISES, FALLS}:
        return False
    return (found.word == RISES) == bound.upwards


def _ahead(found: _Found, of: _Bounded, bound: Bound | None, season: Season | None) -> Ahead | None:
    if bound is None or found.line is None or not _towards(found, bound):
        return None
    times = of.series.times
    first, last = float(times[of.begin]), float(times[-1])
    horizon = last + (last - first)
    # On the worst of its days the season adds its share, and the limit is reached sooner.
    shift = 0.0 if season is None else season.worst_shift(upwards=bound.upwards)
    limit = bound.value - shift
    meets = crossing(found.line, limit)
    if meets is None:
        return Ahead(None, None, None, _day(horizon))
    earliest = min(meets.earliest, _by_last_piece(of, limit))
    return Ahead(
        _within(math.floor(meets.time), horizon),
        _within(math.floor(earliest), horizon),
        None if meets.latest is None else _within(math.ceil(meets.latest), horizon),
        _day(horizon),
    )


def _by_last_piece(of: _Bounded, limit: float) -> float:
    """Tell when the limit is reached as steeply as behind the last bend, where the line was kept.

    A curve that grows ever steeper reaches it before the line does.
    """
    if not of.changes or of.changes[-1].index <= of.begin:
        return math.inf
    last = of.changes[-1]
    times, values = of.series.times[last.index :], of.values[last.index :]
    level = float(np.median(values - last.slope_after * (times - times[-1])))
    away = (limit - level) / last.slope_after if last.slope_after else math.inf
    return float(times[-1]) + away if away >= 0 else math.inf


def _within(time: float, horizon: float) -> date | None:
    return _day(max(time, 1.0)) if time <= horizon else None


def _day(time: float) -> date:
    return date.fromordinal(min(int(time), date.max.toordinal()))
