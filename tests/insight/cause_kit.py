"""Runs the finder of causes over invented logs with known causes, and counts what it says."""

from __future__ import annotations

from collections import Counter
from functools import cache

from attrs import frozen

from lungwort.demo import faults
from lungwort.insight.cause import Ranking, rank
from lungwort.insight.cause_series import Series, saturation_of

FIRST_SEED = 1000
"""Seeds from here on were never looked at while likelihoods were chosen."""

CLEAR_SEEDS = 16
MIDDLE_SEEDS = 4
FAINT_SEEDS = 5
NONE_NAMED = "cannot be told"


@frozen
class Outcome:
    """What the finder said of one log."""

    cause: str
    first: str
    three: tuple[str, ...]
    sure: str
    belief: float


def series_of_fault(fault: faults.Fault) -> tuple[Series, Series | None]:
    """Give the readings as the finder takes them."""
    time_s = fault.time_s + fault.start.timestamp()
    outlet = Series(time_s, fault.values, saturation_of(fault.values))
    return outlet, Series(time_s, fault.intake) if fault.intake else None


def ranking_of(cause: str, seed: int, size: str = faults.CLEAR) -> Ranking:
    """Rank the causes of an invented log."""
    outlet, intake = series_of_fault(faults.fault_log(cause, seed, size))
    return rank(outlet, intake=intake)


@cache
def outcomes(size: str, seeds: int) -> tuple[Outcome, ...]:
    """Run all causes over so many seeds."""
    made = []
    for cause in (*faults.CAUSES, faults.CLEAN):
        for seed in range(FIRST_SEED, FIRST_SEED + seeds):
            found = ranking_of(cause, seed, size)
            names = tuple(one.id for one in found.ranked if one.cause is not None)
            first = found.ranked[0].id if found.seen.clear else "other"
            made.append(
                Outcome(
                    cause,
                    first,
                    names[:3],
                    found.ranked[0].id if found.told else NONE_NAMED,
                    found.ranked[0].belief,
                )
            )
    return tuple(made)


def matrix_text(results: tuple[Outcome, ...]) -> str:
    """Write the table of the documentation: what was wrong, and what was named for certain."""
    lines = [
        "| what was wrong | logs | put first | among three | named as likely | another named as likely |",
        "|---|---|---|---|---|---|",
    ]
    for cause in (*faults.CAUSES, faults.CLEAN):
        here = [one for one in results if one.cause == cause]
        sure = Counter(one.sure for one in here)
        wrong = ", ".join(
            f"{name} {count}"
            for name, count in sorted(sure.items())
            if name not in {cause, NONE_NAMED}
        )
        is_fault = cause != faults.CLEAN
        lines.append(
            f"| {cause} | {len(here)} | "
            f"{sum(one.first == cause for one in here) if is_fault else '–'} | "
            f"{sum(cause in one.three for one in here) if is_fault else '–'} | "
            f"{sure[cause] if is_fault else '–'} | {wrong or 'none'} |"
        )
    return "\n".join(lines)
