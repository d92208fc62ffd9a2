"""What was left out, what the reader must be told, and what to mind before acting."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lungwort.limits.model import FROM_MEMORY
from lungwort.limits.resolve import set_cautions
from lungwort.logs import model as logs
from lungwort.spot.together import PARTS, SUM
from lungwort.verdict.blocks import microseconds, moment
from lungwort.verdict.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    GUARDED,
    NOT_PROVEN,
    NotJudged,
)
from lungwort.verdict.tally import Told
from lungwort.verdict.words import amount, analyte_name, count, duration, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from lungwort.limits.model import LimitSet
    from lungwort.logs.model import Channel, Log, Stretch
    from lungwort.spot.model import SpotTest
    from lungwort.verdict.decision import Uncertainties
    from lungwort.verdict.model import Excursion, Finding, Options
    from lungwort.verdict.scan import Extent
    from lungwort.verdict.tally import ChannelTally, Check

    Times = NDArray[np.int64]

SETTLING = "settling"
GAP = "gap"
STILL = "still"
OUTSIDE_PERIOD = "outside the period"
_SHORT_PERIOD_S = 900.0
_LOW_COVERAGE = 0.75
_SPARSE_S = 300.0


def told_of(log: Log, channel: Channel) -> Told:
    """Prepare to tell of readings that are not judged.

    Parameters
    ----------
    log : Log
        The log.
    channel : Channel
        The channel.

    Returns
    -------
    Told
        Places for the readings, one a stretch that concerns the channel.
    """
    own = tuple(
        sorted(
            (one for one in log.stretches if one.channel in {"", channel.name}),
            key=lambda one: one.start,
        )
    )
    return Told(
        stretches=own,
        settling=np.array([one.cause == SETTLING for one in own], np.bool_),
        starts=np.array([microseconds(one.start) for one in own], np.int64),
        ends=np.array([microseconds(one.end) for one in own], np.int64),
    )


def still_of(log: Log, channel: Channel) -> Times:
    """Find the stretches in which a channel stood still at its resting value.

    Parameters
    ----------
    log : Log
        The log.
    channel : Channel
        The channel.

    Returns
    -------
    numpy.ndarray
        Begins and ends [µs UTC], shape (2, n).
    """
    found = sorted(
        (microseconds(one.start), microseconds(one.end))
        for one in log.stretches
        if one.cause == STILL and one.channel in {"", channel.name}
    )
    return np.array(found, np.int64).reshape(-1, 2).T


def _outside_text(check: Check, place: int) -> str:
    window = check.basis.window
    told = check.told
    unit = check.basis.unit
    parts = []
    if told.highest[place] > window.above_from or window.lower is None:
        parts.append(f"highest {amount(float(told.highest[place]), unit)}")
    if window.lower is not None and told.lowest[place] < window.below_from:
        parts.append(f"lowest {amount(float(told.lowest[place]), unit)}")
    readings = count(int(told.counts[place]), "reading")
    name = analyte_name(check.limit.analyte)
    return f"{name}, limit {check.limit.key}: {readings} outside, {', '.join(parts)}"


def _leaves_out(stretch: Stretch) -> bool:
    if stretch.cause == GAP:
        return True
    return stretch.flag in {logs.NOT_EVALUATED, logs.BAD, logs.MISSING}


def not_judged(
    log: Log,
    checks: Sequence[Check],
    extent: Extent,
    first_us: int,
    last_us: int,
) -> list[NotJudged]:
    """List what did not enter the verdict.

    Parameters
    ----------
    log : Log
        The log.
    checks : sequence of Check
        What was held against limits.
    extent : Extent
        How far the log goes.
    first_us, last_us : int
        Readings with ``first_us <= time < last_us`` were judged [µs UTC].

    Returns
    -------
    list of NotJudged
        Stretches clipped to the period, readings outside the period, and rows that were refused.
    """
    listed: list[NotJudged] = []
    told: dict[int, list[str]] = {}
    for check in checks:
        for place in np.flatnonzero(check.told.counts[: check.told.loose]).tolist():
            text = _outside_text(check, place)
            told.setdefault(id(check.told.stretches[place]), []).append(text)
    for stretch in log.stretches:
        start, end = microseconds(stretch.start), microseconds(stretch.end)
        outside = tuple(told.get(id(stretch), ()))
        if (end < first_us or start >= last_us) or not (_leaves_out(stretch) or outside):
            continue
        text = stretch.text or stretch.cause
        if start < first_us or end >= last_us:
            text = f"{text.rstrip('.')}. It reaches beyond the period and is shown cut."
        if outside and stretch.cause == SETTLING:
            text = f"{text.rstrip('.')}. Readings outside limits while settling are not judged, but told."
        listed.append(
            NotJudged(
                cause=stretch.cause,
                channel=stretch.channel,
                start=moment(max(start, first_us)),
                end=moment(min(end, last_us)),
                readings=stretch.readings,
                text=text,
                outside=outside,
            )
        )
    listed.extend(_loose(checks))
    listed.extend(_elsewhere(checks, extent, first_us, last_us))
    listed.sort(key=lambda one: (one.start is None, one.start or moment(0)))
    listed.extend(
        NotJudged(
            cause="refused",
            channel="",
            start=None,
            end=None,
            readings=refusal.rows,
            text=f"{source.name}: {count(refusal.rows, 'row')} not used: {refusal.cause}"
            + (
                f" (line {', '.join(map(str, refusal.first_lines))})" if refusal.first_lines else ""
            ),
        )
        for source in log.sources
        for refusal in source.refusals
    )
    return listed


def _loose(checks: Sequence[Check]) -> list[NotJudged]:
    """Tell readings outside limits that were not judged and lie in no stretch of the log."""
    listed = []
    for check in checks:
        for offset, cause in ((0, SETTLING), (1, "bad")):
            place = check.told.loose + offset
            if check.told.counts[place]:
                listed.append(
                    NotJudged(
                        cause=cause,
                        channel=check.channel.name,
                        start=None,
                        end=None,
                        readings=int(check.told.counts[place]),
                        text="Readings outside a limit that are not judged, but told.",
                        outside=(_outside_text(check, place),),
                    )
                )
    return listed


def _elsewhere(
    checks: Sequence[Check], extent: Extent, first_us: int, last_us: int
) -> list[NotJudged]:
    listed = []
    sides = (
        (2, extent.before, extent.first_us, first_us, "before"),
        (3, extent.after, last_us, extent.last_us, "after"),
    )
    for offset, readings, start, end, word in sides:
        if not readings or start is None or end is None:
            continue
        outside = tuple(
            _outside_text(check, check.told.loose + offset)
            for check in checks
            if check.told.counts[check.told.loose + offset]
        )
        listed.append(
            NotJudged(
                cause=OUTSIDE_PERIOD,
                channel="",
                start=moment(start),
                end=moment(end),
                readings=readings,
                text=f"{count(readings, 'reading')} {word} the period that was asked for.",
                outside=outside,
            )
        )
    return listed


def notes(
    log: Log | None,
    tallies: Sequence[ChannelTally],
    findings: Sequence[Finding],
    listed: Sequence[Excursion],
    unlisted: Sequence[Excursion],
    options: Options,
    spots: Sequence[SpotTest] = (),
) -> tuple[str, ...]:
    """Say what the reader must be told.

    Parameters
    ----------
    log : Log, optional
        The log.
    tallies : sequence of ChannelTally
        What was counted of its channels.
    findings : sequence of Finding
        One a limit.
    listed, unlisted : sequence of Excursion
        Excursions shown, and those too short to be shown.
    options : Options
        How evidence was held against limits.
    spots : sequence of SpotTest
        Hand tests that were given.

    Returns
    -------
    tuple of str
        Whole sentences.
    """
    told: list[str] = []
    told.extend(
        f"Advice, not required: {analyte_name(one.limit.analyte)}, limit {one.limit_text}: "
        f"outside. {one.reason}"
        for one in findings
        if not one.limit.required and one.verdict == DOES_NOT_CONFORM
    )
    if unlisted:
        longest = max(one.duration_s for one in unlisted)
        told.append(
            f"Not listed: {count(len(unlisted), 'excursion')} shorter than "
            f"{duration(options.min_excursion_s)}, the longest {duration(longest)}. "
            "In the verdict they count all the same."
        )
    adjoining = [one for one in listed if one.begins_after_gap or one.ended_by != "returned"]
    if adjoining:
        told.append(
            f"{count(len(adjoining), 'excursion')} next to readings that are missing or not "
            "usable, or to an end of the log, may have lasted longer than shown."
        )
    told.extend(
        f"Channel {one.channel.name}: {count(one.not_numbers, 'reading')} not a number, taken as "
        "bad."
        for one in tallies
        if one.not_numbers
    )
    told.extend(
        f"Channel {one.channel.name}: {count(one.impossible, 'reading')} that cannot be "
        "measurements (beyond what physics and zero drift allow), taken as bad."
        for one in tallies
        if one.impossible
    )
    if log is not None and log.interval_s is not None and log.interval_s >= _SPARSE_S:
        told.append(
            f"The log has a reading every {duration(log.interval_s)}: what happened between two "
            "readings was not seen."
        )
    limited = {one.limit.analyte for one in findings}
    if SUM in limited:
        limited.update(PARTS)
    told.extend(
        f"Hand test {one.given or one.analyte!r}: the limit set has no limit for it; not used."
        for one in spots
        if one.analyte not in limited
    )
    told.extend(
        f"Hand test {one.given or one.analyte!r} cannot prove that the air conforms: "
        f"{'; '.join(one.doubts).rstrip('.')}. Outside a limit it counts all the same."
        for one in spots
        if one.doubts
    )
    if log is not None and not log.zone_stated:
        told.append(
            f"Neither the file nor an option states a time zone; times were taken as {log.zone}."
        )
    if log is not None:
        used = {name for one in findings for name in one.channels}
        idle = [one.name for one in log.channels if one.name not in used]
        if idle:
            told.append(f"Logged, but held against no limit: {', '.join(idle)}.")
    return tuple(told)


def cautions(
    verdict: str,
    limit_set: LimitSet,
    findings: Sequence[Finding],
    options: Options,
    uncertainties: Uncertainties,
    period_s: float | None = None,
) -> tuple[str, ...]:
    """Say what to mind before acting on a verdict.

    Parameters
    ----------
    verdict : str
        The whole.
    limit_set : LimitSet
        The set.
    findings : sequence of Finding
        One a limit.
    options : Options
        How evidence was held against limits.
    uncertainties : Uncertainties
        Expanded uncertainties that were used.
    period_s : float, optional
        Length of the period judged [s]; None without a log.

    Returns
    -------
    tuple of str
        Whole sentences, most pressing first.
    """
    told: list[str] = []
    outside = {
        one.limit.analyte
        for one in findings
        if one.verdict == DOES_NOT_CONFORM and one.limit.required
    }
    if verdict == DOES_NOT_CONFORM:
        told.append(
            "Withdraw the supply now: nobody breathes from it until the cause is found and "
            "removed and a new test conforms."
        )
    if "co" in outside:
        told.append(
            "Whoever may have breathed this air is taken to fresh air and seen by a doctor at "
            "once, also without complaints: carbon monoxide poisoning is easily overlooked."
        )
    if "o2" in outside:
        told.append(
            "Oxygen outside its limits: act at once. Too little takes consciousness without "
            "warning; too much sets clothing and oil on fire."
        )
    if verdict == NOT_PROVEN:
        told.append(
            "Not proven is not fit: do not release the supply on this evidence. Close what is "
            "open and judge again."
        )
    if verdict == CONFORMS:
        told.append(
            "The verdict is for the period and the place that were measured, and for the "
            "contaminants of the limit set only. It does not speak for the time after."
        )
    if verdict == CONFORMS and period_s is not None and period_s < _SHORT_PERIOD_S:
        told.append(
            f"Only {duration(period_s)} were judged. So short a time says little of the supply."
        )
    if options.min_coverage < _LOW_COVERAGE:
        told.append(
            f"The least coverage was lowered to {percent(options.min_coverage)} of the period: "
            "what happened in the rest is not known."
        )
    if options.decision == GUARDED:
        told.append(
            f"Guarded acceptance: a reading must stand clear of the limit by "
            f"{options.guard_factor:g} U (k = 2). Uncertainties: {uncertainties.origin}."
        )
    else:
        told.append(
            "Simple acceptance: readings are held against the limits as they are. For a reading "
            "on the limit the risk that the true value is outside is up to 50 % (ILAC-G8:09/2019)."
        )
    memory = [one.limit.key for one in findings if one.limit.status == FROM_MEMORY]
    if memory:
        told.append(
            f"Limits from memory ({', '.join(memory)}): check against your own copy of the "
            "document before anyone relies on this."
        )
    told.extend(one for one in set_cautions(limit_set) if "from memory" not in one)
    return tuple(told)
