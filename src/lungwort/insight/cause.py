"""Why did the air go wrong? Causes in order, each with what speaks for it and against it.

Signs are weighed by how much likelier they are under a cause than under anything else. Signs hang
together, so the weights are shortened; something of the belief always stays with "something else",
and where nothing moved clearly no cause is named at all.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from attrs import field, frozen

from lungwort.insight.cause_signs import see
from lungwort.insight.cause_table import OTHER, OTHER_TITLE, CauseTable, causes

if TYPE_CHECKING:
    from lungwort.insight.cause_drivers import Sign
    from lungwort.insight.cause_series import Series
    from lungwort.insight.cause_signs import Seen
    from lungwort.insight.cause_table import Cause

LIKELY: Final = "likely"
POSSIBLE: Final = "possible"
UNLIKELY: Final = "unlikely"
CANNOT_TELL: Final = "cannot be told"

STRONGLY_FOR: Final = "speaks strongly for"
FOR: Final = "speaks for"
NEITHER: Final = "speaks neither way"
AGAINST: Final = "speaks against"
STRONGLY_AGAINST: Final = "speaks strongly against"

TEMPER: Final = 0.9
"""Share of each weight that counts, since signs hang together [1]; own rule."""

MOST_RATIO: Final = 25.0
"""No sign makes a cause more than so many times likelier or less likely [1]; own rule."""

LEFT_TO_OTHER: Final = 0.05
"""Share of the belief that always stays with something else [1]; own rule."""

LEAST_LIKELY: Final = 0.6
LEAST_POSSIBLE: Final = 0.1
_STRONG: Final = 5.0
_SOME: Final = 1.7


@frozen
class Weighed:
    """A sign, and how it weighs for one cause.

    Parameters
    ----------
    sign : Sign
        The sign.
    log_ratio : float
        Natural logarithm of how many times likelier it is under the cause than under anything
        else [1]; as it was counted.
    """

    sign: Sign
    log_ratio: float

    @property
    def word(self) -> str:
        """How it speaks, in words."""
        ratio = math.exp(self.log_ratio)
        if ratio >= _STRONG:
            return STRONGLY_FOR
        if ratio >= _SOME:
            return FOR
        if ratio > 1.0 / _SOME:
            return NEITHER
        return AGAINST if ratio > 1.0 / _STRONG else STRONGLY_AGAINST


@frozen
class Ranked:
    """A cause in its place.

    Parameters
    ----------
    cause : Cause or None
        The cause; None for something else.
    belief : float
        Probability after the readings, 0 to 1 [1].
    weighed : tuple of Weighed
        Its signs, the weightiest first.
    lacking : tuple of str
        Signs that it needs and that were not seen, because a channel was not measured.
    """

    cause: Cause | None
    belief: float
    weighed: tuple[Weighed, ...] = field(default=(), repr=False)
    lacking: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """Its short name."""
        return OTHER if self.cause is None else self.cause.id

    @property
    def title(self) -> str:
        """What it is, in words."""
        return OTHER_TITLE if self.cause is None else self.cause.title

    @property
    def word(self) -> str:
        """How likely it is, in words."""
        if self.belief >= LEAST_LIKELY:
            return LIKELY
        return POSSIBLE if self.belief >= LEAST_POSSIBLE else UNLIKELY

    @property
    def speaks_for(self) -> tuple[Weighed, ...]:
        """Signs for it."""
        return tuple(one for one in self.weighed if one.word in {STRONGLY_FOR, FOR})

    @property
    def speaks_against(self) -> tuple[Weighed, ...]:
        """Signs against it."""
        return tuple(one for one in self.weighed if one.word in {STRONGLY_AGAINST, AGAINST})


@frozen
class Ranking:
    """The causes in order.

    Parameters
    ----------
    ranked : tuple of Ranked
        All causes with something else among them, the likeliest first.
    seen : Seen
        What was made out in the readings.
    told : bool
        Whether a cause stands out enough to be named first.
    why_not : str
        Why none is named; empty where one is.
    """

    ranked: tuple[Ranked, ...]
    seen: Seen = field(repr=False)
    told: bool
    why_not: str = ""

    @property
    def named(self) -> tuple[Ranked, ...]:
        """Give the causes that may be named: likely or possible ones, the likeliest first.

        Empty where no cause stands out at all.
        """
        if not self.seen.clear:
            return ()
        return tuple(one for one in self.ranked if one.cause is not None and one.word != UNLIKELY)


def rank(
    series: Series,
    *,
    zone: str = "UTC",
    intake: Series | None = None,
    table: CauseTable | None = None,
) -> Ranking:
    """Put the causes of an event in order.

    Parameters
    ----------
    series : Series
        Readings at the outlet, with some time before and after the event.
    zone : str
        IANA time zone of the place.
    intake : Series, optional
        Readings at the intake over the same time.
    table : CauseTable, optional
        What readings look like for each cause; those that come with lungwort where not given.

    Returns
    -------
    Ranking
        The causes, with what speaks for and against each.
    """
    return weigh(see(series, zone=zone, intake=intake), table or causes())


def weigh(seen: Seen, table: CauseTable) -> Ranking:
    """Weigh signs.

    Parameters
    ----------
    seen : Seen
        What was made out.
    table : CauseTable
        What readings look like for each cause.

    Returns
    -------
    Ranking
        The causes in order.
    """
    weights = {one.id: _weighed(seen, one, table) for one in table.causes}
    there = {one.feature for one in seen.signs}
    missing = {
        one.id: tuple(need for need in one.needs if need not in there) for one in table.causes
    }
    before = (1.0 - table.other_before) / len(table.causes)
    scores = {
        one.id: math.log(before) + _sum(weights[one.id], bool(missing[one.id]))
        for one in table.causes
    }
    scores[OTHER] = math.log(table.other_before)
    top = max(scores.values())
    raw = {key: math.exp(score - top) for key, score in scores.items()}
    whole = sum(raw.values())
    beliefs = {key: (1.0 - LEFT_TO_OTHER) * one / whole for key, one in raw.items()}
    beliefs[OTHER] += LEFT_TO_OTHER
    ranked = [
        Ranked(one, beliefs[one.id], weights[one.id], missing[one.id]) for one in table.causes
    ]
    ranked.append(Ranked(None, beliefs[OTHER]))
    ranked.sort(key=lambda one: one.belief, reverse=True)
    why_not = _why_not(seen, ranked[0])
    return Ranking(tuple(ranked), seen, told=not why_not, why_not=why_not)


def _sum(weighed: tuple[Weighed, ...], lacking: bool) -> float:  # noqa: FBT001 - a plain yes or no
    """Add the weights; what speaks for a cause counts half where a sign that it needs is lacking."""
    whole = sum(one.log_ratio for one in weighed)
    return whole / 2.0 if lacking and whole > 0.0 else whole


def _weighed(seen: Seen, cause: Cause, table: CauseTable) -> tuple[Weighed, ...]:
    found = []
    most = math.log(MOST_RATIO)
    for sign in seen.signs:
        if sign.feature not in cause.likelihood or sign.outcome not in table.other[sign.feature]:
            found.append(Weighed(sign, 0.0))
            continue
        ratio = (
            cause.likelihood[sign.feature][sign.outcome] / table.other[sign.feature][sign.outcome]
        )
        found.append(Weighed(sign, TEMPER * min(max(math.log(ratio), -most), most)))
    return tuple(sorted(found, key=lambda one: -abs(one.log_ratio)))


def _why_not(seen: Seen, first: Ranked) -> str:
    if not seen.clear:
        return "nothing moved clearly above what ordinary cells do by themselves."
    if first.cause is None:
        return "the readings fit none of the causes that are known here better than anything else."
    if first.word != LIKELY:
        return "several causes fit the readings, and none stands out."
    return ""
