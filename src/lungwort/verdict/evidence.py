"""What one channel or one hand test says of one limit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from attrs import field, frozen

from lungwort.logs.model import ABOVE as MORE_THAN
from lungwort.logs.model import BELOW as LESS_THAN
from lungwort.verdict import decision
from lungwort.verdict.basis import bounds_of
from lungwort.verdict.blocks import moment
from lungwort.verdict.model import (
    ABOVE,
    CONFORMS,
    DOES_NOT_CONFORM,
    GUARDED,
    NO_EVIDENCE,
    UNDECIDED,
    Coverage,
    Options,
    Worst,
)
from lungwort.verdict.words import Clock, amount, count, duration, percent

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from lungwort.limits.model import Allowed, Limit
    from lungwort.spot.model import SpotTest
    from lungwort.verdict.basis import Basis
    from lungwort.verdict.decision import Uncertainties, Uncertainty
    from lungwort.verdict.tally import ChannelTally, Check, Extreme

    Floats = NDArray[np.float64]

NOTHING_IN_HAND: Final = "The reading reaches up to the limit: nothing is in hand."

_SIGNS: Final = {MORE_THAN: "> ", LESS_THAN: "< "}
_MUCH_STILL: Final = 0.1
"""Share of the period from which a channel that stands still is told beside its finding."""


@frozen
class Evidence:
    """What one channel or one hand test says of one limit.

    Parameters
    ----------
    verdict : str
        ``conforms``, ``does_not_conform``, ``undecided`` or ``no_evidence``.
    reason : str
        Why, in words.
    """

    verdict: str
    reason: str
    channel: str = ""
    spot: SpotTest | None = None
    worst: Worst | None = None
    margin: float | None = None
    share_outside: float | None = None
    probability: float | None = None
    uncertainty: float | None = None
    uncertainty_source: str = ""
    coverage: Coverage | None = None
    remarks: tuple[str, ...] = field(default=())
    doubted: bool = False
    """Whether it would conform, were it not for the doubts about the hand test."""


@frozen
class Trust:
    """What speaks against a channel of a log as a whole.

    Parameters
    ----------
    doubts : tuple of str
        Reasons for which it cannot prove that the air conforms.
    lost : str
        What became of the time that is not covered, in words; empty for none.
    """

    doubts: tuple[str, ...] = ()
    lost: str = ""


@frozen
class Court:
    """What every piece of evidence for one limit is weighed with.

    Parameters
    ----------
    limit : Limit
        The limit.
    allowed : Allowed
        Its range with the conditions filled in.
    options : Options
        How evidence is held against limits.
    uncertainties : Uncertainties
        Expanded uncertainties.
    clock : Clock
        Writes times.
    period_us : int
        Length of the period [µs].
    interval_us : int
        Sampling interval of the log [µs]; 0 where it is not known.
    window_s : float, optional
        Window of the mean that the limit is set on [s].
    trust : mapping
        Channel name to what speaks against the channel.
    """

    limit: Limit
    allowed: Allowed
    options: Options
    uncertainties: Uncertainties
    clock: Clock
    period_us: int = 0
    interval_us: int = 0
    window_s: float | None = None
    trust: Mapping[str, Trust] = field(factory=dict)

    @property
    def ends(self) -> tuple[float | None, float | None]:
        """Lower and upper bound that decide [unit of the limit]."""
        lower, upper = bounds_of(self.allowed)
        return (None if lower is None else lower.value, None if upper is None else upper.value)

    @property
    def unsettled(self) -> str:
        """Why nothing can conform to the range; empty where it is settled."""
        if self.allowed.open_reason:
            return self.allowed.open_reason
        if self.ends == (None, None):
            return "the limit states no bound, so nothing can be held against it."
        return ""


def tidy(value: float) -> float:
    """Strip the dust of unit conversions from a number that is shown.

    Parameters
    ----------
    value : float
        The number.
    """
    return float(f"{value:.12g}")


def expanded_in_limit_unit(entry: Uncertainty | None, value: float, basis: Basis) -> float | None:
    """Give U of a reading in the limit's unit.

    Parameters
    ----------
    entry : Uncertainty, optional
        The uncertainty of such readings.
    value : float
        The reading [unit of the evidence].
    basis : Basis
        How the evidence is held against the limit.

    Returns
    -------
    float or None
        U with k = 2 [unit of the limit]; None where it is not known.
    """
    expanded = 0.0 if entry is None else entry.expanded(value, basis.unit)
    if expanded <= 0:
        return None
    low, here, high = basis.to_limit(
        np.array([value - expanded, value, value + expanded], dtype=np.float64)
    ).tolist()
    widest = max(high - here, here - low)
    return tidy(widest) if widest > 0 else None


def clear_test(
    direction: str, bound: float, entry: Uncertainty | None, basis: Basis
) -> Callable[[Floats], list[bool | None]]:
    """Make the test whether peaks stand beyond a bound by more than their uncertainty.

    Parameters
    ----------
    direction : str
        ``above`` or ``below``.
    bound : float
        The bound [unit of the limit].
    entry : Uncertainty, optional
        The uncertainty of such readings.
    basis : Basis
        How the evidence is held against the limit.

    Returns
    -------
    callable
        Tells of peaks [unit of the evidence] whether each is clear; None where U is not known.
    """

    def clear(peaks: Floats) -> list[bool | None]:
        # Different peaks are few, however many excursions there are.
        different, where = np.unique(peaks, return_inverse=True)
        found: list[bool | None] = []
        for peak in different.tolist():
            expanded = expanded_in_limit_unit(entry, peak, basis)
            here = basis.value_in_limit_unit(peak)
            beyond = here - bound if direction == ABOVE else bound - here
            found.append(None if expanded is None else beyond > expanded)
        return [found[index] for index in where.tolist()]

    return clear


def _text_of(extreme: Extreme, unit: str) -> str:
    return f"{_SIGNS.get(extreme.censor, '')}{amount(extreme.value or 0.0, unit)}"


def _worst_of(check: Check, court: Court) -> tuple[Extreme, float | None] | None:
    """Choose the extreme with the least margin; the margin is None where it is not known."""
    lower, upper = court.ends
    found: list[tuple[float, Extreme, float | None]] = []
    for extreme, bound in ((check.highest, upper), (check.lowest, lower)):
        if extreme.value is None:
            continue
        here = tidy(check.basis.value_in_limit_unit(extreme.value))
        margin = None
        rank = float("inf")
        if bound is not None:
            margin = tidy(bound - here if extreme.upper else here - bound)
            rank = margin
            if extreme.is_open and margin > 0:
                rank, margin = -float("inf"), None
        found.append((rank, extreme, margin))
    if not found:
        return None
    _, extreme, margin = min(found, key=lambda one: one[0])
    return extreme, margin


def of_check(check: Check, tally: ChannelTally, court: Court) -> Evidence:
    """Say what a channel's readings say of a limit.

    Parameters
    ----------
    check : Check
        The channel held against the limit.
    tally : ChannelTally
        What was counted of the channel.
    court : Court
        What evidence is weighed with.

    Returns
    -------
    Evidence
        The channel's word.
    """
    coverage = coverage_of(tally, court.period_us, check.straddling)
    chosen = _worst_of(check, court)
    worst: Worst | None = None
    margin: float | None = None
    probability: float | None = None
    uncertainty: float | None = None
    source = ""
    if chosen is not None:
        extreme, margin = chosen
        value = extreme.value or 0.0
        here = tidy(check.basis.value_in_limit_unit(value))
        worst = Worst(
            value=here,
            unit=court.limit.unit,
            time=moment(extreme.time),
            text=_text_of(extreme, check.basis.unit),
            logged_value=value if check.basis.converted else None,
            logged_unit=check.basis.unit if check.basis.converted else "",
        )
        entry = court.uncertainties.of(tally.channel.analyte, tally.channel.quantity)
        uncertainty = expanded_in_limit_unit(entry, value, check.basis)
        if uncertainty is not None and entry is not None:
            source = entry.text
            if not extreme.censor and court.ends != (None, None):
                probability = decision.probability_of_conformity(
                    here, uncertainty / decision.COVERAGE_FACTOR, *court.ends
                )
    verdict, reason = _word(check, tally, court, coverage, worst)
    share = None
    if worst is not None:
        share = check.outside_us / tally.usable_us if tally.usable_us else float(check.outside > 0)
    remarks = list(check.basis.remarks)
    if margin == 0 and verdict == CONFORMS:
        remarks.append(NOTHING_IN_HAND)
    if check.outside_suspect:
        remarks.append(
            f"{count(check.outside_suspect, 'reading')} outside carry the flag suspect "
            "and count all the same."
        )
    if verdict == CONFORMS and tally.suspect:
        remarks.append(f"{count(tally.suspect, 'reading')} inside carry the flag suspect.")
    if verdict == CONFORMS and tally.usable > 1 and tally.smallest == tally.largest:
        remarks.append(
            f"The channel shows {amount(tally.largest or 0.0, tally.channel.unit)} throughout. Quiet air "
            "may look like that, and so does a dead cell: make sure with test gas that it answers."
        )
    if verdict == CONFORMS and tally.covered_still_us > _MUCH_STILL * court.period_us:
        remarks.append(
            f"The channel stood still at its resting value for "
            f"{percent(tally.covered_still_us / court.period_us)} of the period. Quiet air looks "
            "like that, and so does a dead cell: make sure with test gas that it answers."
        )
    if tally.channel.basis:
        remarks.append(f"Channel {tally.channel.name}: {tally.channel.basis}")
    return Evidence(
        verdict=verdict,
        reason=reason,
        channel=tally.channel.name,
        worst=worst,
        margin=margin,
        share_outside=share,
        probability=probability,
        uncertainty=uncertainty,
        uncertainty_source=source,
        coverage=coverage,
        remarks=tuple(remarks),
    )


def coverage_of(tally: ChannelTally, period_us: int, straddling: int) -> Coverage:
    """Turn a channel's counts into its coverage.

    Parameters
    ----------
    tally : ChannelTally
        What was counted.
    period_us : int
        Length of the period [µs].
    straddling : int
        Readings that straddle a bound.
    """
    share = min(1.0, tally.covered_us / period_us) if period_us > 0 else 0.0
    return Coverage(
        channel=tally.channel.name,
        share=share,
        readings=tally.readings,
        usable=tally.usable,
        settling=tally.settling,
        suspect=tally.suspect,
        bad=tally.bad,
        missing=tally.missing,
        undecided=straddling,
    )


def outside_text(check: Check, tally: ChannelTally, court: Court) -> str:
    """Say how a channel's readings are outside.

    Parameters
    ----------
    check : Check
        The channel held against the limit.
    tally : ChannelTally
        What was counted of the channel.
    court : Court
        What evidence is weighed with.
    """
    parts = []
    ends = dict(zip(("below", "above"), court.ends, strict=True))
    for side, how_many, extreme, furthest in (
        ("above", check.above, check.highest, "highest"),
        ("below", check.below, check.lowest, "lowest"),
    ):
        bound = ends[side]
        if how_many and bound is not None and extreme.value is not None:
            here = amount(tidy(check.basis.value_in_limit_unit(extreme.value)), court.limit.unit)
            here = _SIGNS.get(extreme.censor, "") + here
            if check.basis.converted:
                here += f" (logged {_text_of(extreme, check.basis.unit)})"
            what = "mean" if check.of_means else "reading"
            parts.append(
                f"{count(how_many, what)} {side} {amount(bound, court.limit.unit)}, "
                f"the {furthest} {here} at {court.clock.show_us(extreme.time)}"
            )
    share = check.outside_us / tally.usable_us if tally.usable_us else 0.0
    time = f"outside for {duration(check.outside_us / 1e6)} ({percent(share)} of the covered time)"
    return "; ".join([*parts, time]) + "."


def _word(
    check: Check, tally: ChannelTally, court: Court, coverage: Coverage, worst: Worst | None
) -> tuple[str, str]:
    if check.outside:
        return DOES_NOT_CONFORM, outside_text(check, tally, court)
    if worst is None:
        return NO_EVIDENCE, _nothing_usable(tally, court)
    doubt = (
        _not_believed(tally, court)
        or court.unsettled
        or _straddling(check, court)
        or _too_little(tally, court, coverage)
        or _not_clear(check, tally, court)
    )
    if doubt:
        return UNDECIDED, doubt
    what = "every mean" if check.of_means else "every usable reading"
    return CONFORMS, (
        f"{what} is inside; the nearest to the limit is {amount(worst.value, worst.unit)}"
        + (f" (logged {worst.text})" if check.basis.converted else "")
        + f"; {percent(coverage.share)} of the period is covered."
    )


def _nothing_usable(tally: ChannelTally, court: Court) -> str:
    parts = [
        count(how_many, noun, plural)
        for how_many, noun, plural in (
            (tally.settling, "settling", "settling"),
            (tally.missing, "missing", "missing"),
            (tally.bad, "bad", "bad"),
            (tally.unreadable, "unreadable", "unreadable"),
        )
        if how_many
    ]
    told = f" ({', '.join(parts)})" if parts else ""
    reason = f"channel {tally.channel.name} has no usable reading in the period{told}."
    return f"{reason} Also: {court.unsettled}" if court.unsettled else reason


def _straddling(check: Check, court: Court) -> str:
    if not check.straddling or check.straddling_first is None:
        return ""
    when = court.clock.show_us(check.straddling_first)
    if check.of_means:
        return (
            f"{count(check.straddling, 'mean')} over {court.limit.averaging} would be outside, but "
            f"too little of the window is covered to say so, first at {when}."
        )
    return (
        f"{count(check.straddling, 'reading')} may lie on either side of the limit ('<', '>', not "
        f"readable, or too near for the conversion), first at {when}."
    )


def _not_believed(tally: ChannelTally, court: Court) -> str:
    trust = court.trust.get(tally.channel.name)
    if trust is None or not trust.doubts:
        return ""
    return f"{'; '.join(trust.doubts).rstrip('.')}."


def _too_little(tally: ChannelTally, court: Court, coverage: Coverage) -> str:
    if court.interval_us <= 0:
        return (
            "the log has fewer than two readings or no sampling interval, so that nothing can be "
            "said of a stretch of time."
        )
    if court.window_s is not None and court.interval_us > court.window_s * 1e6:
        return (
            f"the log has a reading every {duration(court.interval_us / 1e6)}, which cannot show a "
            f"mean over {court.limit.averaging}."
        )
    if court.period_us <= 0:
        return "no time is left to judge once settling and the chosen period are taken off."
    least = court.options.min_coverage
    # The billionth keeps 0.9 of a period from failing on a rounded product.
    needed_us = least * court.period_us * (1 - 1e-9)
    if tally.covered_us < needed_us:
        trust = court.trust.get(tally.channel.name)
        lost = f" ({trust.lost})" if trust is not None and trust.lost else ""
        return (
            f"usable readings cover {percent(coverage.share)} of the period and at least "
            f"{percent(least)} is required{lost}."
        )
    good_us = tally.covered_us - tally.covered_suspect_us
    if good_us < needed_us:
        return (
            f"readings flagged good cover {percent(good_us / court.period_us)} of the period and "
            f"at least {percent(least)} is required; the rest is suspect or missing."
        )
    return ""


def _not_clear(check: Check, tally: ChannelTally, court: Court) -> str:
    if court.options.decision != GUARDED:
        return ""
    entry = court.uncertainties.of(tally.channel.analyte, tally.channel.quantity)
    for extreme in (check.highest, check.lowest):
        if extreme.value is not None:
            here = tidy(check.basis.value_in_limit_unit(extreme.value))
            expanded = expanded_in_limit_unit(entry, extreme.value, check.basis)
            doubt = guard_doubt(here, expanded, court)
            if doubt:
                return doubt
    return ""


def guard_doubt(value: float, expanded: float | None, court: Court) -> str:
    """Say why guarded acceptance is not met.

    Parameters
    ----------
    value : float
        The reading [unit of the limit].
    expanded : float, optional
        Its U with k = 2 [unit of the limit].
    court : Court
        What evidence is weighed with.

    Returns
    -------
    str
        The reason; empty where it is met.
    """
    if expanded is None:
        return (
            "guarded acceptance was asked for and no uncertainty is known for this reading; "
            "give one in a file of uncertainties."
        )
    factor = court.options.guard_factor
    if decision.accepted(value, *court.ends, expanded, factor):
        return ""
    lowest, highest = decision.acceptance_range(*court.ends, expanded, factor)
    unit = court.limit.unit
    accepted = " and ".join(
        f"{word} {amount(tidy(end), unit)}"
        for word, end in (("from", lowest), ("up to", highest))
        if np.isfinite(end)
    )
    return (
        f"{amount(value, unit)} is inside the limit but not clear of it by the guard band "
        f"w = {factor:g} U = {amount(factor * expanded, unit)}: accepted would be {accepted}."
    )
