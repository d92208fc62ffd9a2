"""What each person has breathed: averages held against limits, and the carbon monoxide in the blood.

Nothing here clears anybody. A stretch of which nothing is known is no clean air: averages over it
are lower ends, and for the blood it is taken as bad as the highest reading of the same stay.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import evolve, field, frozen

from lungwort.errors import ExposureError
from lungwort.wearers.averages import (
    HOUR_S,
    SHIFT_S,
    SHORT_S,
    Average,
    Course,
    Run,
    between,
    dose,
    fewer_steps,
    highest_mean,
    joined,
    peak,
    runs_above,
)
from lungwort.wearers.exposure_limits import ExposureLimit, Held, held, high_elsewhere, silent_on
from lungwort.wearers.exposure_oxygen import OutletOxygen, breathed, dangers, gaps, levels
from lungwort.wearers.uptake import HIGHEST_PPM, along
from lungwort.wearers.uptake_people import (
    BAND,
    OXYGEN_PERCENT,
    REST,
    VERY_HEAVY,
    Surroundings,
    Wearer,
    drawn,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from lungwort.air.arrays import FloatArray
    from lungwort.verdict.decision import Uncertainty
    from lungwort.wearers.stays import Stay

CO: Final = "co"
MOST_STEPS: Final = 4000
AFTER_H: Final = 24.0
_AFTER_STEP_MIN: Final = 6.0
_SHORTEST_READINGS: Final = 3


@frozen(eq=False)
class OutletAir:
    """What came out of an outlet.

    Parameters
    ----------
    outlet : str
        Name of the outlet.
    courses : mapping of str to Course
        By analyte, in the unit of the exposure limits: ppm, for oil mg/m3.
    interval_s : mapping of str to float
        Usual time between two readings, by analyte [s].
    doubts : tuple of str
        Why the log cannot be trusted alone, in words.
    oxygen : OutletOxygen, optional
        Oxygen, where it was logged.
    """

    outlet: str
    courses: Mapping[str, Course]
    interval_s: Mapping[str, float] = field(factory=dict)
    doubts: tuple[str, ...] = ()
    oxygen: OutletOxygen | None = None


@frozen(eq=False)
class Question:
    """What is asked.

    Parameters
    ----------
    airs : tuple of OutletAir
        The outlets.
    stays : tuple of Stay
        Who was where; none for the worst case.
    limits : tuple of ExposureLimit
        What it is held against.
    surroundings : Surroundings
        Altitude and oxygen.
    ambient_ppm : float
        Carbon monoxide in the air between and after the stays, 0 to 1000 [ppm].
    below_percent : float
        Carboxyhaemoglobin below which the time after is counted, above 0 [%].
    above_ppm : float
        Carbon monoxide above which a stretch is listed, 0 or more [ppm].
    uncertainties : mapping of str to Uncertainty
        Expanded uncertainty of the sensors by analyte.
    elsewhere : tuple of ExposureLimit
        Limits of sets that were not chosen; they tell what is high where the chosen sets are silent.
    """

    airs: tuple[OutletAir, ...]
    stays: tuple[Stay, ...]
    limits: tuple[ExposureLimit, ...]
    surroundings: Surroundings = field(factory=Surroundings)
    ambient_ppm: float = 0.0
    below_percent: float = 2.0
    above_ppm: float = 5.0
    uncertainties: Mapping[str, Uncertainty] = field(factory=dict)
    elsewhere: tuple[ExposureLimit, ...] = ()

    def __attrs_post_init__(self) -> None:
        """Refuse levels that cannot be."""
        for value, low, high, what in (
            (self.ambient_ppm, 0.0, 1000.0, "carbon monoxide between and after the stays, in ppm,"),
            (self.below_percent, 0.1, 60.0, "the carboxyhaemoglobin to come down to, in %,"),
            (
                self.above_ppm,
                0.0,
                HIGHEST_PPM,
                "the level above which stretches are listed, in ppm,",
            ),
        ):
            if not low <= value <= high:
                raise ExposureError(
                    f"{what} is {value:g}; allowed is {low:g} to {high:g}. Check the figure."
                )


@frozen(eq=False)
class Blood:
    """Carboxyhaemoglobin over time.

    Parameters
    ----------
    times_s : numpy.ndarray
        Moments [s since 1970, UTC].
    low, middle, high : numpy.ndarray
        5th, 50th and 95th of a hundred draws at each [%].
    peak_percent : tuple of (float, float, float)
        The highest that each draw reaches: 5th, 50th and 95th of a hundred [%].
    peak_s : float
        When the middle is highest [s since 1970, UTC].
    end_s : float
        End of the last stay [s since 1970, UTC].
    below_h : tuple of (float or None, float or None)
        Hours after the last stay until the middle, and the upper end, come below the level asked
        for [h]; None for not within a day.
    filled : bool
        Whether stretches of which nothing is known were taken as the highest reading.
    """

    times_s: FloatArray
    low: FloatArray
    middle: FloatArray
    high: FloatArray
    peak_percent: tuple[float, float, float]
    peak_s: float
    end_s: float
    below_h: tuple[float | None, float | None]
    filled: bool


@frozen
class Finding:
    """An exposure held against a limit, with the uncertainty of the sensor.

    Parameters
    ----------
    held : Held
        Average and limit.
    uncertainty : float
        U (k = 2) of the average [unit of the limit].
    told : bool
        Whether it can be told on which side of the limit it lies.
    """

    held: Held
    uncertainty: float
    told: bool


@frozen(eq=False)
class Person:
    """What one person has breathed.

    Parameters
    ----------
    name : str
        Who.
    stays : tuple of Stay
        Where and when.
    courses : mapping of str to Course
        What was breathed by analyte, from the first stay to the last.
    findings : tuple of Finding
        Every limit that anything can be said of.
    blood : Blood, optional
        Carboxyhaemoglobin; None where there is no reading of carbon monoxide.
    shift, mean, worst_shift, short, highest, dose : Average, optional
        Carbon monoxide: sum over 8 h, mean of the stays, worst 8 h in a row, worst 15 min, highest
        reading [ppm] and dose [ppm h].
    runs : tuple of Run
        Stretches above the level asked for.
    holes : tuple of str
        Why nothing is proven, in words.
    assumed : bool
        Whether the stay is a worst case and nobody's own.
    dangers : tuple of str
        What oxygen tells of and no exposure limit holds, in words; the first of ``holes``.
    oxygen_percent : tuple of (float, float), optional
        Lowest and highest reading of oxygen in the stays [%]; None where there is none.
    not_held : tuple of str
        What was logged and is held against no limit over a time, by analyte.
    """

    name: str
    stays: tuple[Stay, ...]
    courses: Mapping[str, Course]
    findings: tuple[Finding, ...]
    blood: Blood | None
    shift: Average | None
    mean: Average | None
    worst_shift: Average | None
    short: Average | None
    highest: Average | None
    dose: Average | None
    runs: tuple[Run, ...]
    holes: tuple[str, ...]
    assumed: bool
    dangers: tuple[str, ...] = ()
    oxygen_percent: tuple[float, float] | None = None
    not_held: tuple[str, ...] = ()

    @property
    def exceeded(self) -> tuple[Finding, ...]:
        """The limits that are exceeded."""
        return tuple(one for one in self.findings if one.held.exceeded)


def worst_case(airs: Sequence[OutletAir], begin: datetime, end: datetime) -> tuple[Stay, ...]:
    """Put somebody on each outlet all the time, at very heavy work, and somebody at rest.

    Parameters
    ----------
    airs : sequence of OutletAir
        The outlets.
    begin, end : datetime
        From when to when, UTC.

    Returns
    -------
    tuple of Stay
        Two for each outlet.
    """
    from lungwort.wearers.stays import Stay  # noqa: PLC0415 - only here

    return tuple(
        Stay(f"anybody on {air.outlet}, {words}", air.outlet, begin, end, work, Wearer())
        for air in airs
        for work, words in ((VERY_HEAVY, "very heavy work"), (REST, "at rest"))
    )


def people(question: Question, *, assumed: bool = False) -> tuple[Person, ...]:
    """Work out what each person has breathed.

    Parameters
    ----------
    question : Question
        What is asked.
    assumed : bool
        Whether the stays are a worst case and nobody's own.

    Returns
    -------
    tuple of Person
        In the order of their first stay in the question.

    Raises
    ------
    ExposureError
        Where there is no stay, or one at an outlet without a log.
    """
    airs = {one.outlet: one for one in question.airs}
    by_name: dict[str, list[Stay]] = {}
    for stay in question.stays:
        if stay.outlet not in airs:
            raise ExposureError(
                f"{stay.name} was on the outlet {stay.outlet!r}, of which there is no log. There is "
                f"one of: {', '.join(repr(name) for name in airs)}. Give the log, or correct the name."
            )
        by_name.setdefault(stay.name, []).append(stay)
    if not by_name:
        raise ExposureError("no stay was given. Say who was where and when.")
    return tuple(
        _person(question, airs, name, sorted(own, key=lambda one: one.start), assumed=assumed)
        for name, own in by_name.items()
    )


def _person(
    question: Question,
    airs: Mapping[str, OutletAir],
    name: str,
    stays: Sequence[Stay],
    *,
    assumed: bool,
) -> Person:
    courses, holes = {}, []
    every = (*question.limits, *question.elsewhere)
    for analyte in dict.fromkeys((CO, *(one.analyte for one in every))):
        parts = [_part(airs[one.outlet], analyte, one) for one in stays]
        if any(part is not None for part in parts):
            # An outlet that is not logged for it is a stretch of which nothing is known.
            known = tuple(
                _nothing(stay) if part is None else part
                for part, stay in zip(parts, stays, strict=True)
            )
            beside = question.ambient_ppm if analyte == CO else 0.0
            courses[analyte] = joined(known, beside)
    asked = {CO, *(one.analyte for one in question.limits)}
    for analyte, one in courses.items():
        if analyte not in asked:
            continue  # of a set that was not chosen: it is only looked at whether it was high
        holes.extend(_holes(analyte, one, max(_interval(airs[s.outlet], analyte) for s in stays)))
    holes.extend(doubt for stay in stays for doubt in airs[stay.outlet].doubts)
    co = courses.get(CO)
    if co is None:
        holes.insert(0, "no carbon monoxide was logged, so nothing can be said of it.")
    findings = _findings(question, courses)
    holes.extend(_untold(one) for one in findings if not one.told)
    not_held = silent_on(question.limits, courses)
    holes[:0] = high_elsewhere({one: courses[one] for one in not_held}, question.elsewhere)
    logged = [airs[stay.outlet].oxygen for stay in stays]
    oxygen = breathed(logged, stays)
    holes.extend(gaps(logged, stays))
    told = dangers(oxygen, question.surroundings.oxygen_percent)
    holes[:0] = told
    return Person(
        name=name,
        stays=tuple(stays),
        courses=courses,
        findings=findings,
        blood=None if co is None else _blood(question, co, stays, oxygen),
        shift=None if co is None else highest_mean(co, 24 * HOUR_S, SHIFT_S),
        mean=None if co is None else _mean(co),
        worst_shift=None if co is None else highest_mean(co, SHIFT_S),
        short=None if co is None else highest_mean(co, SHORT_S),
        highest=None if co is None else peak(co),
        dose=None if co is None else dose(co),
        runs=() if co is None else runs_above(co, question.above_ppm),
        holes=tuple(dict.fromkeys(holes)),
        assumed=assumed,
        dangers=told,
        oxygen_percent=None if oxygen is None else oxygen.range_percent,
        not_held=not_held,
    )


def _interval(air: OutletAir, analyte: str) -> float:
    return air.interval_s.get(analyte, 0.0)


def _part(air: OutletAir, analyte: str, stay: Stay) -> Course | None:
    known = air.courses.get(analyte)
    if known is None:
        return None
    return between(known, stay.start.timestamp(), stay.end.timestamp())


def _nothing(stay: Stay) -> Course:
    unknown, no = np.array([np.nan]), np.zeros(1, dtype=np.bool_)
    edges = np.array([stay.start.timestamp(), stay.end.timestamp()])
    return Course(edges, unknown, unknown, no, no)


def _mean(co: Course) -> Average:
    known = float(co.lengths_s[co.known].sum())
    total = dose(co)
    value = total.value * HOUR_S / known if known else 0.0
    return Average(value, total.at_least, total.start_s, total.end_s)


def _holes(analyte: str, one: Course, interval_s: float) -> list[str]:
    whole = max(one.duration_s, 1e-9)
    found = []
    if one.unknown_s > 0:
        found.append(
            f"{analyte.upper()}: nothing is known of {one.unknown_s / 60:.1f} min of the stay "
            f"({100 * one.unknown_s / whole:.1f} %)."
        )
    if one.doubtful_s > 0:
        found.append(
            f"{analyte.upper()}: readings over {one.doubtful_s / 60:.1f} min of the stay are doubted."
        )
    if bool(one.lower_end.any()):
        found.append(
            f"{analyte.upper()}: readings went beyond what the sensor can show; there was more."
        )
    if interval_s * _SHORTEST_READINGS > SHORT_S:
        found.append(
            f"{analyte.upper()}: readings are {interval_s / 60:.1f} min apart, too far to tell a mean over "
            "15 min; 5 min or less are needed."
        )
    return found


def _findings(question: Question, courses: Mapping[str, Course]) -> tuple[Finding, ...]:
    found = []
    for analyte, one in courses.items():
        known = question.uncertainties.get(analyte)
        for each in held(one, [limit for limit in question.limits if limit.analyte == analyte]):
            value, unit = each.average.value, each.limit.unit
            wide = 0.0 if known is None else known.expanded(value, unit)
            # Nothing was read there at all: the sensor's zero is not held against anybody.
            told = each.exceeded or value + wide <= each.limit.upper
            found.append(Finding(each, wide, told))
    return tuple(found)


def _untold(one: Finding) -> str:
    limit = one.held.limit
    return (
        f"{limit.analyte.upper()}: {one.held.average.value:.3g} {limit.unit} over {limit.averaging} is below "
        f"{limit.upper:g} of {limit.document}, but not by more than the sensor's uncertainty "
        f"({one.uncertainty:.2g} {limit.unit})."
    )


def _blood(
    question: Question, co: Course, stays: Sequence[Stay], oxygen: OutletOxygen | None
) -> Blood | None:
    if not bool(np.any(co.known)):
        return None
    filled = bool(np.any(~co.known))
    less = fewer_steps(co, MOST_STEPS)
    values = np.where(less.known, less.values, float(np.nanmax(co.highest)))
    middles = (less.edges_s[:-1] + less.edges_s[1:]) / 2.0
    surroundings = question.surroundings
    supplied = levels(oxygen, less.edges_s, surroundings.oxygen_percent, surroundings.altitude_m)
    # Between and after the stays nobody breathes what the supply was enriched with.
    beside = (REST, min(surroundings.oxygen_percent, OXYGEN_PERCENT))
    airs = [beside] * values.size
    for stay in stays:
        inside = (middles >= stay.start.timestamp()) & (middles < stay.end.timestamp())
        for at in np.flatnonzero(inside).tolist():
            airs[at] = (stay.work, float(supplied[at]))
    after = round(AFTER_H * 60 / _AFTER_STEP_MIN)
    minutes = np.concatenate((less.lengths_s / 60.0, np.full(after, _AFTER_STEP_MIN)))
    values = np.concatenate((values, np.full(after, question.ambient_ppm)))
    airs += [beside] * after
    # The draws begin at one seed: the same bodies at each level of oxygen.
    by_oxygen = {
        level: drawn(stays[0].wearer, evolve(surroundings, oxygen_percent=level))
        for level in dict.fromkeys(level for _, level in airs)
    }
    kinds = list(dict.fromkeys(airs))
    place = {kind: at for at, kind in enumerate(kinds)}
    draws = by_oxygen[beside[1]]
    inhaled = values[:, None] + np.zeros(draws.sensor.size)
    known = question.uncertainties.get(CO)
    if known is not None:
        wide = np.maximum(known.expanded(0.0, "ppm"), known.relative * values)
        inhaled[: less.values.size] += (wide[:, None] * draws.sensor)[: less.values.size]
    percent = along(
        [by_oxygen[level].people[work] for work, level in kinds],
        [place[kind] for kind in airs],
        minutes,
        np.clip(inhaled, 0.0, HIGHEST_PPM),
        draws.start_percent,
    )
    times = np.concatenate(
        (less.edges_s, less.edges_s[-1] + 60.0 * _AFTER_STEP_MIN * np.arange(1, after + 1))
    )
    low, middle, high = np.percentile(percent, BAND, axis=1)
    at_end = less.edges_s.size - 1
    return Blood(
        times,
        low,
        middle,
        high,
        tuple(float(one) for one in np.percentile(percent.max(axis=0), BAND)),  # type: ignore[arg-type]
        float(times[int(np.argmax(middle))]),
        float(less.edges_s[-1]),
        (
            _below(middle[at_end:], question.below_percent),
            _below(high[at_end:], question.below_percent),
        ),
        filled,
    )


def _below(percent: FloatArray, level: float) -> float | None:
    """Give the hours until it comes below a level and stays there; rounded up to a step."""
    over = np.flatnonzero(percent >= level)
    if not over.size:
        return 0.0
    if over[-1] == percent.size - 1:
        return None
    return float(over[-1] + 1) * _AFTER_STEP_MIN / 60.0
