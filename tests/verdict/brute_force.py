"""A judge in plain Python, one reading at a time, written from the definitions alone.

It shares no code with the package but the one-by-one comparison of `Interval.against`, and serves
as the yardstick for the vectorised kernel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from lungwort.air.interval import INSIDE, OUTSIDE, STRADDLES, Interval

USABLE_FLAGS = {1, 3}


@dataclass
class Row:
    """One reading: time [s], value, flag and censor code."""

    t: int
    value: float | None
    flag: int
    censor: int = 0


@dataclass
class Plain:
    """What the plain judge finds for one channel and one limit."""

    outside: int = 0
    straddling: int = 0
    usable: int = 0
    bad: int = 0
    missing: int = 0
    settling: int = 0
    suspect: int = 0
    readings: int = 0
    outside_s: float = 0.0
    usable_s: float = 0.0
    covered_s: float = 0.0
    covered_good_s: float = 0.0
    period_s: float = 0.0
    highest: float | None = None
    lowest: float | None = None
    excursions: list[dict[str, object]] = field(default_factory=list)


def interval_of(row: Row) -> Interval:
    """Give what a reading says."""
    assert row.value is not None
    if row.censor == -1:
        return Interval.less_than(row.value)
    if row.censor == 1:
        return Interval.more_than(row.value)
    return Interval.exactly(row.value)


@dataclass
class Ask:
    """What the plain judge is asked: bounds [unit], joining time [s] and period [s]."""

    lower: float | None
    upper: float | None
    lower_included: bool = True
    upper_included: bool = True
    interval_s: int = 10
    join_s: float = 30
    start: int | None = None
    end: int | None = None
    settled: int | None = None


def weights_of(rows: list[Row], ask: Ask) -> list[float]:
    """Give how long each reading stands [s]."""
    weights = []
    for i, row in enumerate(rows):
        weight = float(ask.interval_s)
        if i + 1 < len(rows):
            weight = min(rows[i + 1].t - row.t, 1.5 * ask.interval_s)
        if ask.end is not None:
            weight = min(weight, max(ask.end - row.t, 0))
        weights.append(weight)
    return weights


def state_of(row: Row, ask: Ask) -> str:
    """Say what a reading is good for."""
    if (ask.start is not None and row.t < ask.start) or (ask.end is not None and row.t >= ask.end):
        return "elsewhere"
    if row.flag in USABLE_FLAGS and row.censor == 2:
        return "unreadable"
    if row.flag in USABLE_FLAGS and row.value is not None and math.isfinite(row.value):
        return "usable"
    if row.flag in USABLE_FLAGS and row.value is None:
        return "missing"
    return {2: "settling", 9: "missing"}.get(row.flag, "bad")


def word_of(row: Row, state: str, ask: Ask) -> tuple[str, str]:
    """Hold a reading against the bounds; give the word and the side."""
    if state == "unreadable":
        return STRADDLES, ""
    if state != "usable":
        return "", ""
    said = interval_of(row)
    at_most = math.inf if ask.upper is None else ask.upper
    word = said.against(
        at_least=-math.inf if ask.lower is None else ask.lower,
        at_most=at_most,
        at_least_included=ask.lower_included,
        at_most_included=ask.upper_included,
    )
    if word != OUTSIDE:
        return word, ""
    high = said.against(at_most=at_most, at_most_included=ask.upper_included)
    return word, "above" if high == OUTSIDE else "below"


def plain_judge(rows: list[Row], ask: Ask) -> Plain:
    """Judge one channel against one limit, reading by reading."""
    found = Plain()
    weights = weights_of(rows, ask)
    states = [state_of(row, ask) for row in rows]
    said = [word_of(row, state, ask) for row, state in zip(rows, states, strict=True)]
    words, sides = [word for word, _ in said], [side for _, side in said]
    for row, weight, state, word in zip(rows, weights, states, words, strict=True):
        if state == "usable":
            found.usable_s += weight
        if state == "usable" and row.censor == 0 and row.value is not None:
            found.highest = row.value if found.highest is None else max(found.highest, row.value)
            found.lowest = row.value if found.lowest is None else min(found.lowest, row.value)
        if word == OUTSIDE:
            found.outside += 1
            found.outside_s += weight
        found.straddling += word == STRADDLES
        first = ask.start is None and ask.settled is not None and row.t <= ask.settled
        if state != "elsewhere" and not first:
            _count(found, row, state, weight)
    found.period_s = _period(rows, weights, ask)
    for direction in ("above", "below"):
        found.excursions.extend(_excursions(rows, weights, states, words, sides, direction, ask))
    return found


def _count(found: Plain, row: Row, state: str, weight: float) -> None:
    found.readings += 1
    found.usable += state == "usable"
    found.bad += state == "bad"
    found.missing += state == "missing"
    found.settling += state == "settling"
    if state == "usable":
        found.covered_s += weight
        found.suspect += row.flag == 3
        found.covered_good_s += weight * (row.flag == 1)


def _period(rows: list[Row], weights: list[float], ask: Ask) -> float:
    begin: float = rows[0].t if rows else 0
    if ask.settled is not None:
        for row, weight in zip(rows, weights, strict=True):
            if row.t <= ask.settled:
                begin = row.t + weight
    if ask.start is not None:
        begin = ask.start
    finish = rows[-1].t + ask.interval_s if rows else 0
    if ask.end is not None:
        finish = ask.end
    return max(finish - begin, 0)


def _excursions(
    rows: list[Row],
    weights: list[float],
    states: list[str],
    words: list[str],
    sides: list[str],
    direction: str,
    ask: Ask,
) -> list[dict[str, object]]:
    hold, join_s, end = 1.5 * ask.interval_s, ask.join_s, ask.end
    groups: list[list[int]] = []
    for i in range(len(rows)):
        if sides[i] != direction:
            continue
        if groups:
            last = groups[-1][-1]
            gap = rows[i].t - (rows[last].t + weights[last])
            if gap <= 0 or gap < join_s:
                groups[-1].append(i)
                continue
        groups.append([i])
    bound = ask.upper if direction == "above" else ask.lower
    known = [
        state == "usable" and word in {INSIDE, OUTSIDE}
        for state, word in zip(states, words, strict=True)
    ]
    result = []
    for group in groups:
        first, last = group[0], group[-1]
        numbers = [rows[i].value or 0.0 for i in group]
        peak = max(numbers) if direction == "above" else min(numbers)
        seconds = sum(weights[i] for i in group)
        weighted = sum(n * weights[i] for n, i in zip(numbers, group, strict=True))
        assert bound is not None
        beyond = sum(abs(n - bound) * weights[i] for n, i in zip(numbers, group, strict=True))
        after_gap = not (
            first > 0 and known[first - 1] and rows[first].t - rows[first - 1].t <= hold
        )
        begun = None
        if after_gap:
            begun = next((rows[i].t for i in range(first - 1, -1, -1) if known[i]), None)
        lasted = None
        if last + 1 == len(rows) or (end is not None and rows[last + 1].t >= end):
            ended = "log_ended"
        elif known[last + 1] and rows[last + 1].t - rows[last].t <= hold:
            ended = "returned"
        else:
            ended = "data_gap"
            lasted = next((rows[i].t for i in range(last + 1, len(rows)) if known[i]), None)
        result.append(
            {
                "direction": direction,
                "start": rows[first].t,
                "end": rows[last].t + weights[last],
                "peak": peak,
                "peak_time": rows[group[numbers.index(peak)]].t,
                "mean": weighted / seconds if seconds else sum(numbers) / len(numbers),
                "integral": beyond / 3600.0,
                "samples": len(group),
                "ended_by": ended,
                "begins_after_gap": after_gap,
                "may_have_begun": begun,
                "may_have_lasted": lasted,
                "suspect": sum(rows[i].flag == 3 for i in group),
            }
        )
    return result
