"""From all that was measured to one finding a limit, and from the findings to the whole."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.air import analytes
from lungwort.limits.model import FROM_MEMORY, WORDING
from lungwort.limits.resolve import check_own_copy, limit_text
from lungwort.spot.together import SUM
from lungwort.verdict.basis import NotComparable, basis
from lungwort.verdict.hand_tests import of_spot, of_words
from lungwort.verdict.joined import says_nothing
from lungwort.verdict.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    NO_EVIDENCE,
    NOT_APPLICABLE,
    NOT_PROVEN,
    UNDECIDED,
    Finding,
)
from lungwort.verdict.words import analyte_name, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.limits.model import Conditions, Limit, LimitSet
    from lungwort.logs.model import Log
    from lungwort.spot.model import SpotTest
    from lungwort.verdict.evidence import Court, Evidence

_NEARLY_ALL: Final = 0.99
_GRAVITY: Final = {DOES_NOT_CONFORM: 3, UNDECIDED: 2, NO_EVIDENCE: 1, CONFORMS: 0}


def condition_given(limit: Limit, conditions: Conditions) -> bool:
    """Tell whether a limit's condition is known, so that the limit applies.

    Parameters
    ----------
    limit : Limit
        The limit.
    conditions : Conditions
        What is known of the supply.

    Returns
    -------
    bool
        True for a limit without a condition, and for a condition that is not understood: a limit
        is never laid aside because of its wording.
    """
    if "temperature" in limit.needs:
        return conditions.lowest_temperature_c is not None
    if "pressure" in limit.needs:
        return conditions.supply_pressure_bar_g is not None
    return True


def laid_aside(limit_set: LimitSet, conditions: Conditions) -> frozenset[str]:
    """Find the limits that do not apply, because their condition is not given.

    Parameters
    ----------
    limit_set : LimitSet
        The set.
    conditions : Conditions
        What is known of the supply.

    Returns
    -------
    frozenset of str
        Keys of limits. A required limit is laid aside only where another required limit of the
        same analyte stands in.
    """
    applies = {limit.key: condition_given(limit, conditions) for limit in limit_set}
    stands_in = {limit.analyte for limit in limit_set if limit.required and applies[limit.key]}
    return frozenset(
        limit.key
        for limit in limit_set
        if not applies[limit.key] and (not limit.required or limit.analyte in stands_in)
    )


def of_spots(
    spots: Sequence[SpotTest], court: Court, limit_set: LimitSet, conditions: Conditions
) -> tuple[list[Evidence], list[str]]:
    """Say what the hand tests say of one limit.

    Parameters
    ----------
    spots : sequence of SpotTest
        All hand tests.
    court : Court
        What evidence is weighed with.
    limit_set : LimitSet
        The set, for its reference state.
    conditions : Conditions
        What is known of the supply.

    Returns
    -------
    tuple of (list of Evidence, list of str)
        The tests' words, and why tests of this analyte say nothing.
    """
    limit = court.limit
    said: list[Evidence] = []
    unheard: list[str] = []
    for spot in spots:
        if spot.analyte != limit.analyte:
            continue
        given = f"Hand test {spot.given!r}" if spot.given else "A hand test"
        if limit.kind == WORDING:
            if spot.perceived is None:
                unheard.append(f"{given} is a number, and the limit is in words.")
            else:
                said.append(of_words(spot))
        elif spot.value is None:
            unheard.append(f"{given} is in words, and the limit is a number.")
        elif _cannot_be(spot):
            unheard.append(f"{given} lies below zero, which no content can. It was not used.")
        else:
            unit = spot.value.unit or analytes.canonical_unit(spot.analyte, spot.quantity)
            way = basis(
                limit,
                court.allowed,
                quantity=spot.quantity,
                unit=unit,
                limit_set=limit_set,
                conditions=conditions,
            )
            if isinstance(way, NotComparable):
                unheard.append(f"{given}: {way.reason}")
                continue
            word = of_spot(spot, spot.value, way, court)
            nothing = says_nothing(spot, word)
            if nothing:
                unheard.append(nothing)
            else:
                said.append(word)
    return said, unheard


def _cannot_be(spot: SpotTest) -> bool:
    contents = {
        analytes.VOLUME_FRACTION,
        analytes.MASS_CONCENTRATION,
        analytes.HUMIDITY_RATIO,
    }
    return spot.value is not None and spot.quantity in contents and spot.value.upper < 0


def finding(
    court: Court,
    from_log: Sequence[Evidence],
    from_spots: Sequence[Evidence],
    unheard: Sequence[str],
    log: Log | None,
) -> Finding:
    """Put the evidence for one limit together.

    Parameters
    ----------
    court : Court
        The limit and what evidence is weighed with.
    from_log, from_spots : sequence of Evidence
        What the channels and the hand tests say.
    unheard : sequence of str
        Why channels and tests of this analyte say nothing.
    log : Log, optional
        The log.

    Returns
    -------
    Finding
        The finding. Anything outside decides; then anything undecided; a hand test stands in
        where the log has nothing usable, never where the log is undecided. A hand test that would
        conform but for a doubt about it makes the finding undecided only where nothing else
        conforms.
    """
    limit = court.limit
    heard = [*from_log, *from_spots]
    if from_spots:
        heard = [one for one in heard if one.verdict != NO_EVIDENCE]
    if any(one.verdict == CONFORMS for one in heard):
        # Clean evidence without a doubt carries the limit; a doubtful test beside it is told.
        heard = [one for one in heard if not one.doubted]
    remarks: list[str] = []
    if limit.status == FROM_MEMORY:
        remarks.append(f"Limit {check_own_copy(limit)}.")
    if limit.remark:
        remarks.append(limit.remark)
    if not heard:
        return Finding(
            limit=limit,
            allowed=court.allowed,
            verdict=NO_EVIDENCE,
            reason=_nothing(court, unheard, log),
            limit_text=limit_text(limit, court.allowed),
            remarks=tuple(dict.fromkeys(remarks)),
        )
    leading = max(
        heard,
        key=lambda one: (
            _GRAVITY[one.verdict],
            -float("inf") if one.margin is None else -one.margin,
        ),
    )
    log_side = leading if leading.channel else next(iter(from_log), None)
    for one in (*from_log, *from_spots):
        remarks.extend(one.remarks)
        if one is not leading:
            who = f"Channel {one.channel}" if one.channel else "Hand test"
            if one.spot is not None and one.spot.parts:
                who = "Worked out"
            remarks.append(f"{who}: {one.verdict.replace('_', ' ')}: {one.reason}")
    remarks.extend(unheard)
    reason = leading.reason
    if len(from_log) > 1 and leading.channel:
        reason = f"channel {leading.channel}: {reason}"
    return Finding(
        limit=limit,
        allowed=court.allowed,
        verdict=leading.verdict,
        reason=reason,
        limit_text=limit_text(limit, court.allowed),
        worst=leading.worst,
        margin=leading.margin,
        share_outside=None if log_side is None else log_side.share_outside,
        probability=leading.probability,
        uncertainty=leading.uncertainty,
        uncertainty_source=leading.uncertainty_source,
        coverage=None if log_side is None else log_side.coverage,
        channels=tuple(one.channel for one in from_log),
        spots=tuple(one.spot for one in from_spots if one.spot is not None),
        remarks=tuple(dict.fromkeys(remarks)),
    )


def not_applicable(court: Court) -> Finding:
    """Make the finding of a limit whose condition is not given.

    Parameters
    ----------
    court : Court
        The limit.
    """
    limit = court.limit
    return Finding(
        limit=limit,
        allowed=court.allowed,
        verdict=NOT_APPLICABLE,
        reason=f"the limit applies where the {limit.needs} is known, and it is not given.",
        limit_text=limit_text(limit, court.allowed),
        remarks=(f"Give the {limit.needs} where it is known, so that this limit is held too.",),
    )


def _nothing(court: Court, unheard: Sequence[str], log: Log | None) -> str:
    limit = court.limit
    parts: list[str] = []
    if unheard:
        parts.extend(unheard)
    elif log is None:
        parts.append("no hand test of it was given, and no log.")
    else:
        parts.append("the log has no channel of it and no hand test of it was given.")
    if limit.analyte == SUM and not unheard:
        parts.append("Test oil and particles together, or each of the two.")
    if limit.analyte == "water" and log is not None and log.channels_of("relative_humidity"):
        parts.append(
            "The relative humidity in the log is not taken for it: it hangs on the temperature "
            "and pressure at the sensor."
        )
    if court.allowed.open_reason:
        parts.append(f"Also: {court.allowed.open_reason}")
    return " ".join(parts)


def overall(findings: Sequence[Finding]) -> tuple[str, tuple[str, ...]]:
    """Draw the whole from the findings.

    Parameters
    ----------
    findings : sequence of Finding
        One a limit.

    Returns
    -------
    tuple of (str, tuple of str)
        ``does_not_conform``, ``not_proven`` or ``conforms``, and the reasons, most telling first.
        Advice never decides.
    """
    deciding = [one for one in findings if one.limit.required and one.verdict != NOT_APPLICABLE]
    if not deciding:
        return NOT_PROVEN, ("No required limit could be held against anything.",)
    outside = [one for one in deciding if one.verdict == DOES_NOT_CONFORM]
    open_ones = [one for one in deciding if one.verdict in {UNDECIDED, NO_EVIDENCE}]
    outside.sort(key=_telling, reverse=True)
    open_ones.sort(key=lambda one: one.verdict != UNDECIDED)
    reasons = tuple(
        f"{analyte_name(one.limit.analyte)}, limit {one.limit_text}: "
        f"{_PREFIX.get(one.verdict, '')}{one.reason}"
        for one in (*outside, *open_ones)
    )
    if outside:
        return DOES_NOT_CONFORM, reasons
    if open_ones:
        return NOT_PROVEN, reasons
    nearest = min(deciding, key=_room)
    name = analyte_name(nearest.limit.analyte)
    told = [
        f"Every required limit is kept ({len(deciding)} of {len(deciding)}).",
        f"Nearest to its limit: {name}, limit {nearest.limit_text}: {nearest.reason}",
    ]
    covered = [(one.coverage.share, one) for one in deciding if one.coverage is not None]
    if covered:
        share, least = min(covered, key=lambda item: item[0])
        if share < _NEARLY_ALL:
            name = analyte_name(least.limit.analyte)
            told.append(
                f"Least covered: {name}, with usable readings for {percent(share)} of the period."
            )
    told += [
        f"Advice not kept: {analyte_name(one.limit.analyte)}, limit {one.limit_text}: {one.reason}"
        for one in findings
        if not one.limit.required and one.verdict == DOES_NOT_CONFORM
    ]
    return CONFORMS, tuple(told)


_PREFIX: Final = {NO_EVIDENCE: "no evidence: ", UNDECIDED: "undecided: "}


def _scale(one: Finding) -> float:
    bounds = [b.value for b in (one.allowed.lower, one.allowed.upper) if b is not None]
    size = max((abs(value) for value in bounds), default=1.0)
    return size or 1.0


def _telling(one: Finding) -> float:
    """How far beyond its bound a finding's worst value lies, in shares of the bound."""
    return float("inf") if one.margin is None else -one.margin / _scale(one)


def _room(one: Finding) -> float:
    return float("inf") if one.margin is None else one.margin / _scale(one)
