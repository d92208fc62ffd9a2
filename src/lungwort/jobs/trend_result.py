"""From days, limits and what is on record to a calculation of trends."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal
from zoneinfo import ZoneInfo

from lungwort.insight import trend as insight
from lungwort.insight.statistics import LEAST_READINGS
from lungwort.insight.trend_said import never_moved, share
from lungwort.jobs import trend_words as words
from lungwort.jobs.trend_plots import plot_of
from lungwort.jobs.trend_tables import (
    MONTH_DAYS,
    Seen,
    as_data,
    changes,
    channels,
    finite,
    limit_words,
    near,
    weeks,
)
from lungwort.paper.calculation import (
    ESTIMATE,
    FAILS,
    NOT_PROVEN,
    Calculation,
    Quantity,
    figure,
)
from lungwort.paper.text import analyte_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from lungwort.insight.statistics import Day
    from lungwort.insight.trend import Bound, Measure
    from lungwort.jobs.trend_ground import Ground, Watched

MOST_DRAWN: Final = 4
_MEASURES: Final[dict[str, tuple[Measure, Measure]]] = {
    "p95": ("high", "low"),
    "median": ("median", "median"),
    "highest": ("greatest", "least"),
}


def trends_of(ground: Ground) -> tuple[Seen, ...]:
    """Look for trends in all channels.

    Parameters
    ----------
    ground : Ground
        The days.

    Returns
    -------
    tuple of Seen
        The most urgent first: limits reached, limits ahead, too little to tell, other trends, none.
    """
    return tuple(sorted(_all_trends(ground), key=_urgency))


def _all_trends(ground: Ground) -> Iterator[Seen]:
    names = _names(ground.watched)
    for one in ground.watched:
        sides: tuple[Bound | None, ...] = one.bounds or (None,)
        for bound in sides:
            upwards = bound is None or bound.upwards
            measure = _MEASURES[ground.measure][0 if upwards else 1]
            # Temperature is never taken out of itself.
            heat = ground.temperature_c if one.channel.analyte != "temperature" else {}
            found = insight.assess(
                one.days,
                bound=bound,
                measure=measure,
                temperature_c=heat or None,
                least_coverage=ground.least_coverage,
            )
            yield Seen(names[one.channel.name], one, found)


def _names(watched: Sequence[Watched]) -> dict[str, str]:
    often = [one.channel.analyte for one in watched]
    return {
        one.channel.name: analyte_name(one.channel.analyte)
        + (f" ({one.channel.name})" if often.count(one.channel.analyte) > 1 else "")
        for one in watched
    }


def _urgency(seen: Seen) -> tuple[int, int]:
    trend = seen.trend
    if trend.reached:
        return 0, 0
    if trend.beyond:
        return 0, 1
    if trend.ahead is not None and trend.towards:
        day = trend.ahead.earliest or trend.ahead.on
        return (1, day.toordinal()) if day is not None else (2, 0)
    if trend.word == insight.MOVED:
        return 2, 1
    if trend.word == insight.TOO_LITTLE:
        return 3, 0
    return (4, 0) if trend.shown else (5, 0)


def calculation_of(ground: Ground) -> Calculation:
    """Make the calculation.

    Parameters
    ----------
    ground : Ground
        All that it rests on.

    Returns
    -------
    Calculation
        It fails where a limit is reached, is not proven where there is too little to tell, and is an
        estimate else; it never holds.
    """
    trends = trends_of(ground)
    state, word = _state(ground, trends)
    return Calculation(
        kind="trend",
        title="When will it go wrong?",
        subject=ground.subject,
        made_at=ground.now,
        zone=ground.zone,
        state=state,
        word=word,
        answer=_answer(ground, trends),
        reasons=(*_silent(ground), *_age(ground), *_reasons(ground, trends), *ground.notes),
        results=_results(trends[0]),
        inputs=_inputs(ground),
        grids=tuple(
            one for one in (channels(trends), changes(ground, trends), weeks(trends[0])) if one.rows
        ),
        plots=tuple(
            plot
            for one in trends[:MOST_DRAWN]
            if (plot := plot_of(one.name, one.watched.channel, one.trend, ground.zone)) is not None
        ),
        assumptions=words.assumptions(ground.least_coverage, ground.by_record),
        uncertainty=words.UNCERTAINTY,
        cautions=words.CAUTIONS,
        sources=words.SOURCES,
        left_out=words.LEFT_OUT,
        next_steps=_next(ground, trends),
        data=as_data(ground, trends),
    )


def _state(
    ground: Ground, trends: Sequence[Seen]
) -> tuple[Literal["fails", "not_proven", "estimate"], str]:
    first = trends[0].trend
    if first.reached:
        return FAILS, "limit reached"
    if first.beyond:
        return NOT_PROVEN, "readings beyond a limit"
    # A trend by figures that may be those of another unit has no day that can be trusted.
    if ground.doubts:
        return NOT_PROVEN, "readings in doubt"
    if _silent(ground):
        return NOT_PROVEN, "newest days missing"
    if first.towards:
        return ESTIMATE, "a trend towards a limit"
    if first.word == insight.MOVED:
        return NOT_PROVEN, insight.MOVED
    if first.word == insight.TOO_LITTLE:
        # A trend elsewhere must not hide that of this one nothing is known.
        return NOT_PROVEN, insight.TOO_LITTLE
    if any(one.trend.still for one in trends):
        return NOT_PROVEN, "newest readings never moved"
    return ESTIMATE, "a trend" if first.shown else insight.NO_TREND


def _answer(ground: Ground, trends: Sequence[Seen]) -> str:
    first = trends[0]
    if first.trend.reached:
        return _reached_words(first)
    if first.trend.beyond:
        return _beyond_words(first)
    begin = ""
    if ground.doubts:
        begin = "The readings themselves are in doubt, so nothing is proven. "
    elif silent := _silent(ground):
        begin = f"{silent[0]} "
    return f"{begin}{_said_of(trends)}"


def _said_of(trends: Sequence[Seen]) -> str:
    first = trends[0]
    if first.trend.shown:
        return trend_words(first)
    if first.trend.word == insight.MOVED:
        return f"{first.name}: {first.trend.reasons[0]}"
    if first.trend.word == insight.TOO_LITTLE:
        names = ", ".join(
            dict.fromkeys(one.name for one in trends if one.trend.word == insight.TOO_LITTLE)
        )
        return f"There is too little to tell of a trend: {names}."
    names = ", ".join(dict.fromkeys(one.name for one in trends))
    return f"No trend is shown: {names}. That is no proof that there is none."


def _beyond_words(seen: Seen) -> str:
    trend, bound = seen.trend, seen.trend.bound
    upwards = bound is None or bound.upwards
    worst = [insight.extreme(one, upwards=upwards) for one in trend.beyond]
    aside = (
        " Some of them lie where the instrument settles; a verdict judges them not, and they are not clean."
        if any(bound is not None and _aside_passes(bound, one) for one in trend.beyond)
        else ""
    )
    return (
        f"{seen.name}: single readings are beyond the limit ({limit_words(seen)}) on {len(trend.beyond)} of "
        f"the newest {insight.NEWEST} days, {'up' if upwards else 'down'} to "
        f"{figure(max(worst) if upwards else min(worst))} {seen.unit}, last on "
        f"{trend.beyond[-1].day.isoformat()}.{aside}"
    )


def _aside_passes(bound: Bound, day: Day) -> bool:
    aside = day.aside_greatest if bound.upwards else day.aside_least
    return aside is not None and bound.passed(aside)


def _silent(ground: Ground) -> tuple[str, ...]:
    """Name the channels that end long before the readings of the log do."""
    found = []
    for one in ground.watched:
        read = [day.day for day in one.days if day.readings]
        if ground.end is None or not read:
            continue
        missing = (ground.end - read[-1]).days
        if missing >= insight.NEWEST:
            found.append(
                f"{analyte_name(one.channel.analyte)}: the log goes on to {ground.end.isoformat()}, with no "
                f"reading that can be used since {read[-1].isoformat()}. Look whether the cell is dead."
            )
    return tuple(found)


def _reached_words(seen: Seen) -> str:
    trend, bound = seen.trend, seen.trend.bound
    last = trend.reached[-1]
    limit = "" if bound is None else f"the limit ({limit_words(seen)})"
    days = len(trend.reached)
    return (
        f"{seen.name}: the {words.FIGURE[trend.measure]} is beyond {limit} on "
        f"{days} of the newest {insight.NEWEST} days, last on {last.day.isoformat()} with "
        f"{figure(getattr(last, trend.measure))} {seen.unit}."
    )


def warning_words(seen: Seen) -> str:
    """Say what of a channel is to be told before anybody asks.

    Parameters
    ----------
    seen : Seen
        A channel.

    Returns
    -------
    str
        That its limit is reached, will be, or that its days went far towards it; empty for nothing.
    """
    trend = seen.trend
    if trend.reached:
        return _reached_words(seen)
    if trend.ahead is not None and (trend.ahead.on or trend.ahead.earliest) is not None:
        return trend_words(seen)
    if trend.word == insight.MOVED and trend.bound is not None:
        first, last = (getattr(trend.used[at], trend.measure) for at in (0, -1))
        if (last > first) == trend.bound.upwards:
            return f"{seen.name}: {trend.reasons[0]}"
    return ""


def trend_words(seen: Seen) -> str:
    """Say a trend, and when it reaches a limit.

    Parameters
    ----------
    seen : Seen
        A channel with a trend.

    Returns
    -------
    str
        A sentence.
    """
    trend, line = seen.trend, seen.trend.line
    if line is None:
        return ""
    slope, low, high = (abs(one) * MONTH_DAYS for one in (line.slope, line.low, line.high))
    low, high = sorted((low, high))
    begin = (
        f"{seen.name}: the {words.FIGURE[trend.measure]} {trend.word} by {figure(slope)} {seen.unit} in "
        f"30 days ({figure(low)} to {figure(high)})"
    )
    if trend.bound is None:
        return f"{begin}; no limit was given to hold it against."
    limit = f"the limit ({limit_words(seen)})"
    ahead = trend.ahead
    if ahead is None:
        return f"{begin}, away from {limit}."
    until = ahead.horizon.isoformat()
    if ahead.on is not None:
        early = (
            "" if ahead.earliest is None else f", at the earliest on {ahead.earliest.isoformat()}"
        )
        late = (
            f", at the latest on {ahead.latest.isoformat()}"
            if ahead.latest is not None
            else f", or not before {until}"
        )
        return f"{begin} and reaches {limit} on about {ahead.on.isoformat()}{early}{late}."
    if ahead.earliest is not None:
        return (
            f"{begin}; it may reach {limit} from {ahead.earliest.isoformat()} on, more likely not before "
            f"{until}."
        )
    return f"{begin}; it does not reach {limit} by {until}, and nothing is said beyond."


def _age(ground: Ground) -> tuple[str, ...]:
    """Say how old the newest day is; of what came after it nothing is known."""
    newest = max((one.days[-1].day for one in ground.watched if one.days), default=None)
    if newest is None:
        return ()
    old = (ground.now.astimezone(ZoneInfo(ground.zone)).date() - newest).days
    if old <= insight.NEWEST:
        return ()
    return (f"The newest day is {newest.isoformat()}, {old} days ago: nothing is known since.",)


def _reasons(ground: Ground, trends: Sequence[Seen]) -> tuple[str, ...]:
    made = []
    for at, one in enumerate(trends):
        if at and (one.trend.reached or one.trend.shown):
            made.append(_reached_words(one) if one.trend.reached else trend_words(one))
        elif (one.trend.reached or one.trend.beyond) and one.trend.shown:
            made.append(trend_words(one))
        if one.trend.beyond and (at or one.trend.reached):
            made.append(_beyond_words(one))
        made.extend(f"{one.name}: {text}" for text in one.trend.reasons)
        made.extend(_still_words(one))
        made.extend(_sensor_words(ground, one))
        made.extend(_censored_words(one))
    return tuple(dict.fromkeys(made))


def _sensor_words(ground: Ground, seen: Seen) -> Iterator[str]:
    """Say how far a drift of the sensor can be told from a change of the air."""
    trend = seen.trend
    for change in trend.changes:
        for beside in near(ground, trend.used[change.index].day):
            if beside.kind == "calibration":
                yield (
                    f"{seen.name}: the change on {trend.used[change.index].day.isoformat()} stands beside a "
                    f"calibration on {beside.day.isoformat()} ({beside.text}): it may be that of the "
                    "instrument and not of the air."
                )
    if not trend.shown:
        return
    first, last = trend.fitted[0].day, trend.fitted[-1].day
    inside = [
        one.day for one in ground.known if one.kind == "calibration" and first < one.day < last
    ]
    if inside:
        yield (
            f"{seen.name}: the trend goes on across a calibration on {inside[-1].isoformat()}, which speaks "
            "against a drift of the sensor, but does not rule it out."
        )
    else:
        known = "is on record" if ground.by_record else "is known"
        yield (
            f"{seen.name}: no calibration {known} within these days, so a drift of the sensor cannot be told "
            "from a change of the air. Check it with test gas."
        )


def _still_words(seen: Seen) -> Iterator[str]:
    trend = seen.trend
    if trend.still and not any("never moved" in text for text in trend.reasons):
        said = never_moved(trend.used[-1].least, insight.STILL_DAYS, trend.by)
        yield f"{seen.name}: {said}"


def _censored_words(seen: Seen) -> Iterator[str]:
    days = seen.trend.used
    over = sum(one.over for one in days)
    under = sum(one.under for one in days)
    if over:
        yield (
            f"{seen.name}: {over} readings were logged as '>' and count with that number; the air was "
            "worse than it."
        )
    if under:
        yield (
            f"{seen.name}: {under} readings were logged as '<' and count with that number; a trend below "
            "it cannot be seen."
        )


def _results(seen: Seen) -> tuple[Quantity, ...]:
    trend, line = seen.trend, seen.trend.line
    made = []
    if line is not None:
        made.append(
            Quantity(
                f"{seen.name}: change of the {words.FIGURE[trend.measure]} in 30 days",
                line.slope * MONTH_DAYS,
                seen.unit,
                finite(line.low * MONTH_DAYS),
                finite(line.high * MONTH_DAYS),
                "computed",
            )
        )
    if trend.test is not None:
        made.append(
            Quantity(
                "probability that days without a trend look like this",
                share(trend.test.p),
                source="computed",
            )
        )
    if trend.ahead is not None:
        ahead = trend.ahead
        made += [
            Quantity(name, day.isoformat(), source="computed")
            for name, day in (
                ("limit reached", ahead.on),
                ("at the earliest", ahead.earliest),
                ("at the latest", ahead.latest),
                ("nothing is said beyond", ahead.horizon),
            )
            if day is not None
        ]
    return tuple(made)


def _inputs(ground: Ground) -> tuple[Quantity, ...]:
    made = [
        Quantity("days of", ground.zone, source="time zone"),
        Quantity(
            "figure of a day",
            {"p95": "95 % level (5 % where low is bad)", "median": "median"}.get(
                ground.measure, "highest reading (lowest where low is bad)"
            ),
            source="entered",
        ),
        Quantity("least share of a day", ground.least_coverage * 100.0, "%", source="entered"),
        Quantity("least readings of a day", LEAST_READINGS, source="own rule"),
        Quantity(
            "limits",
            ground.limit_set or "none",
            source="on record" if ground.by_record else "entered",
        ),
    ]
    made += [Quantity(name, digest, source="file, SHA-256") for name, digest in ground.files]
    return tuple(made)


def _next(ground: Ground, trends: Sequence[Seen]) -> tuple[str, ...]:
    first = trends[0]
    if first.trend.reached or first.trend.beyond:
        return (
            (
                "Nobody breathes this air until a verdict says that it is fit: judge the newest readings "
                "with 'lungwort judge', and withdraw the supply where they are outside."
            ),
            "Look for the cause.",
        )
    if ground.doubts or _silent(ground):
        return (
            "Settle first what is doubtful in the readings: unit, cell, clock. Then look again.",
            "Check the sensor with test gas.",
        )
    if any(one.trend.still for one in trends):
        return (
            "Test the cell with gas: until it answers, nothing is known of this gas.",
            "Read on, and look again when the readings have moved.",
        )
    if first.trend.word == insight.MOVED:
        return (
            "Look for the cause now: cartridge, intake, cooler, oil. No day can be named.",
            "Check the sensor with test gas first: a drift of it looks the same.",
        )
    if first.trend.towards and first.trend.ahead is not None:
        by = first.trend.ahead.earliest or first.trend.ahead.horizon
        return (
            f"Look for the cause before {by.isoformat()}: cartridge, intake, cooler, oil.",
            "Check the sensor with test gas first: a drift of it looks the same.",
        )
    if any(one.trend.word == insight.TOO_LITTLE for one in trends):
        return (f"Read on: a trend needs {insight.LEAST_DAYS} days behind the last change.",)
    return ("Read on, and look again in a month.",)
