"""What must stand beside a clean word, and not far below it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.limits.resolve import not_covered
from lungwort.verdict.words import duration, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lungwort.limits.model import LimitSet
    from lungwort.verdict.model import NotJudged, Options

_MOST_TOLD: Final = 3
_USUAL_COVERAGE: Final = 0.9
_SHORT_S: Final = 900.0


def beside_a_clean_word(
    limit_set: LimitSet, options: Options, aside: Sequence[NotJudged], period_s: float | None
) -> tuple[str, ...]:
    """Say what narrows a verdict that everything conforms.

    Parameters
    ----------
    limit_set : LimitSet
        The limits.
    options : Options
        How it was judged.
    aside : sequence of NotJudged
        What was not judged.
    period_s : float, optional
        Length of the period judged [s]; None without a log.

    Returns
    -------
    tuple of str
        Whole sentences.
    """
    told = [
        f"Outside, though not judged ({one.cause}): {'; '.join(one.outside)}."
        for one in [one for one in aside if one.outside][:_MOST_TOLD]
    ]
    missing = not_covered(limit_set)
    if missing:
        told.append(f"This limit set says nothing of {', '.join(missing)}: nor does this verdict.")
    if options.min_coverage < _USUAL_COVERAGE:
        told.append(
            f"Only {percent(options.min_coverage)} of the period had to be covered (usual: {percent(_USUAL_COVERAGE)})."
        )
    if period_s is not None and period_s < _SHORT_S:
        told.append(f"Only {duration(period_s)} of readings were judged.")
    return tuple(told)
