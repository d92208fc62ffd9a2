"""What a test done by hand says of one limit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from lungwort.air.interval import INSIDE, OUTSIDE
from lungwort.spot.together import SUM
from lungwort.verdict import decision
from lungwort.verdict.evidence import (
    NOTHING_IN_HAND,
    Court,
    Evidence,
    expanded_in_limit_unit,
    guard_doubt,
    tidy,
)
from lungwort.verdict.model import CONFORMS, DOES_NOT_CONFORM, GUARDED, UNDECIDED, Worst
from lungwort.verdict.words import analyte_name

if TYPE_CHECKING:
    from lungwort.air.interval import Interval
    from lungwort.spot.model import SpotTest
    from lungwort.verdict.basis import Basis

_LONGEST_HAND_TEST_S: Final = 900.0
"""Detector tubes and the like are not for limits on a longer mean than this [s]: scope of
ISO 17621:2015 (reference period up to 15 min)."""


def of_words(spot: SpotTest) -> Evidence:
    """Say what a judgement by the senses says of a limit in words.

    Parameters
    ----------
    spot : SpotTest
        The hand test, with ``perceived``.
    """
    how = f" ({spot.means})" if spot.means else ""
    if spot.perceived:
        return Evidence(DOES_NOT_CONFORM, f"noticed in a hand test{how}.", spot=spot)
    clean = f"none noticed in a hand test{how}."
    return Evidence(
        UNDECIDED if spot.doubts else CONFORMS,
        _in_doubt(clean, spot) if spot.doubts else clean,
        spot=spot,
        remarks=(spot.remark,) if spot.remark else (),
        doubted=bool(spot.doubts),
    )


def _in_doubt(clean: str, spot: SpotTest) -> str:
    """Say why what would conform proves nothing."""
    return f"{clean.rstrip('.')}, but this proves nothing: {'; '.join(spot.doubts).rstrip('.')}."


def of_spot(spot: SpotTest, value: Interval, basis: Basis, court: Court) -> Evidence:
    """Say what a hand test says of a limit.

    Parameters
    ----------
    spot : SpotTest
        The hand test.
    value : Interval
        What was read [unit of the evidence].
    basis : Basis
        How it is held against the limit.
    court : Court
        What evidence is weighed with.

    Returns
    -------
    Evidence
        The test's word.
    """
    outcome = basis.window.against(value)
    end, margin = _worst_end(value, basis, court)
    worst = Worst(
        value=tidy(basis.value_in_limit_unit(end)),
        unit=court.limit.unit,
        time=spot.time,
        text=str(value),
        logged_value=end if basis.converted else None,
        logged_unit=basis.unit if basis.converted else "",
    )
    expanded: float | None = None
    source = ""
    probability: float | None = None
    if value.is_exact or (spot.parts and np.isfinite(end)):
        entry = court.uncertainties.of(spot.analyte, spot.quantity, decision.HAND_TEST)
        expanded = expanded_in_limit_unit(entry, end, basis)
        if expanded is not None and entry is not None:
            source = entry.text
            if value.is_exact and court.ends != (None, None):
                probability = decision.probability_of_conformity(
                    worst.value, expanded / decision.COVERAGE_FACTOR, *court.ends
                )
    remarks = [*basis.remarks, *((spot.remark,) if spot.remark else ())]
    verdict, reason = _word_of_spot(outcome, spot, value, worst, expanded, court)
    doubted = verdict == CONFORMS and bool(spot.doubts)
    if doubted:
        verdict, reason = UNDECIDED, _in_doubt(reason, spot)
    if margin == 0 and verdict == CONFORMS:
        remarks.append(NOTHING_IN_HAND)
    return Evidence(
        verdict=verdict,
        reason=reason,
        spot=spot,
        worst=worst,
        margin=margin,
        probability=probability,
        uncertainty=expanded,
        uncertainty_source=source,
        remarks=tuple(remarks),
        doubted=doubted,
    )


def _read(spot: SpotTest, value: Interval) -> str:
    if not spot.parts:
        return f"the hand test reads {value}"
    what = "the sum is" if spot.analyte == SUM else f"{analyte_name(spot.analyte)} alone is"
    return f"{what} {value}, worked out from {spot.given}"


def _word_of_spot(
    outcome: str,
    spot: SpotTest,
    value: Interval,
    worst: Worst,
    expanded: float | None,
    court: Court,
) -> tuple[str, str]:
    read = _read(spot, value)
    if court.window_s is not None and court.window_s > _LONGEST_HAND_TEST_S:
        return UNDECIDED, (
            f"{read}, and a single hand test cannot show a mean over {court.limit.averaging}."
        )
    if outcome == OUTSIDE:
        return DOES_NOT_CONFORM, f"{read}, which is outside the limit."
    if court.unsettled:
        return UNDECIDED, f"{read}; {court.unsettled}"
    if outcome != INSIDE:
        return UNDECIDED, f"{read}, which may lie on either side of the limit."
    # A band carries its own uncertainty; a single number does not, nor what it is added to.
    if court.options.decision == GUARDED and (value.is_exact or spot.parts):
        doubt = guard_doubt(worst.value, expanded, court)
        if doubt:
            return UNDECIDED, doubt
    return CONFORMS, f"{read}, which is inside the limit."


def _worst_end(value: Interval, basis: Basis, court: Court) -> tuple[float, float | None]:
    """Choose the end of a band that is nearest to or furthest beyond a bound, with its margin."""
    lower, upper = court.ends
    found: list[tuple[float, float]] = []
    for bound, end, other, sign in (
        (upper, value.upper, value.lower, 1.0),
        (lower, value.lower, value.upper, -1.0),
    ):
        if bound is not None:
            # An end without a number tells nothing; the other end then stands for the band.
            shown = end if np.isfinite(end) else other
            if np.isfinite(shown):
                here = tidy(basis.value_in_limit_unit(shown))
                margin = tidy(sign * (bound - here))
                found.append((margin if np.isfinite(end) or margin <= 0 else np.inf, shown))
    if not found:
        finite = [end for end in (value.upper, value.lower) if np.isfinite(end)]
        return (finite[0] if finite else value.upper), None
    margin, shown = min(found)
    return shown, margin if np.isfinite(margin) else None
