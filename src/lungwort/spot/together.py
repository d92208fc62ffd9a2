"""Oil and particles together: what tests of one, of the other and of both say of each other.

Some documents limit the sum of oil and particles. A content is never below zero, so that the sum
lies at least as high as either part, and neither part lies higher than the sum.
"""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from lungwort.air import analytes, units
from lungwort.air.interval import Interval
from lungwort.spot.model import SpotTest

if TYPE_CHECKING:
    from collections.abc import Sequence

SUM: Final = "oil_and_particles"
PARTS: Final = ("oil", "particles")
UNIT: Final = "mg/m3"

MEANS: Final = "worked out: oil plus particles"
HIGHEST_COUNT: Final = "Of several tests of one kind the highest counts."


def together(spots: Sequence[SpotTest]) -> tuple[SpotTest, ...]:
    """Work out what hand tests of oil, particles and both say of each other.

    Intervals are added end by end. Of several tests of one kind the highest lower end and the
    highest upper end are taken: the sum is outside where one pair of tests makes it so, and inside
    only where every pair does.

    Parameters
    ----------
    spots : sequence of SpotTest
        Hand tests; those of other analytes, those in words, those that were worked out before and
        those wholly below zero are passed over.

    Returns
    -------
    tuple of SpotTest
        The sum, where oil or particles were tested: of one alone, the least that the sum can be
        (`missing_part` then names the other). For a part that was not tested, or not without a
        doubt, where both were tested together, the most that the part can be. Values in mg/m3;
        `SpotTest.parts` holds the tests that each was worked out from. It is doubtful where a part
        has no test without a doubt.

    Examples
    --------
    >>> from lungwort.spot.parse import parse_spot
    >>> tests = [parse_spot("oil=0.1-0.5 mg/m3"), parse_spot("particles=0.4 mg/m3")]
    >>> [str(one.value) for one in together(tests)]
    ['> 0.5 to 0.9 mg/m3']
    """
    found: dict[str, list[tuple[SpotTest, Interval]]] = {key: [] for key in (*PARTS, SUM)}
    for spot in spots:
        value = _usable(spot)
        if value is not None:
            found[spot.analyte].append((spot, value))
    worked_out = []
    if any(found[part] for part in PARTS):
        worked_out.append(_sum([found[part] for part in PARTS]))
    if found[SUM]:
        worked_out.extend(
            _at_most(part, found[SUM])
            for part in PARTS
            if not found[part] or (_all_in_doubt(found[part]) and not _all_in_doubt(found[SUM]))
        )
    return tuple(worked_out)


def missing_part(spot: SpotTest) -> str:
    """Name the part of a sum that was not tested.

    Parameters
    ----------
    spot : SpotTest
        The test.

    Returns
    -------
    str
        Key of the analyte; empty for a test that is whole.
    """
    if spot.analyte != SUM or not spot.parts:
        return ""
    tested = {one.analyte for one in spot.parts}
    return next((part for part in PARTS if part not in tested), "")


def _usable(spot: SpotTest) -> Interval | None:
    """Give a test's value [mg/m3] with its lower end at zero or above, or None."""
    value = spot.value
    if (
        spot.analyte not in {*PARTS, SUM}
        or spot.parts
        or value is None
        or spot.quantity != analytes.MASS_CONCENTRATION
        or value.upper < 0
    ):
        return None
    unit = value.unit or UNIT
    if units.unit(unit).dimension != units.MASS:
        return None
    lower, upper = (float(units.scale(end, unit, UNIT)) for end in (value.lower, value.upper))
    if lower < 0:
        # '< 0.05' stays open below, so that it is shown as it was written; see _added.
        at = lower if lower == -math.inf else 0.0
        return Interval(at, upper, UNIT, at == 0.0, value.upper_included or upper == at)
    return Interval(lower, upper, UNIT, value.lower_included, value.upper_included)


def _worst(values: Sequence[Interval]) -> Interval:
    """Take the highest lower end and the highest upper end of tests of one kind."""
    low = max(values, key=lambda one: (one.lower, not one.lower_included))
    high = max(values, key=lambda one: (one.upper, one.upper_included))
    return Interval(low.lower, high.upper, UNIT, low.lower_included, high.upper_included)


def _plus(first: float, second: float) -> float:
    # In decimals, as the numbers are written: 0.1 and 0.2 make 0.3, and no dust beyond a limit.
    return float(Decimal(repr(first)) + Decimal(repr(second)))


def _added(first: Interval, second: Interval) -> Interval:
    upper = _plus(first.upper, second.upper)
    upper_included = first.upper_included and second.upper_included
    if first.lower == second.lower == -math.inf and upper < math.inf:
        return Interval(-math.inf, upper, UNIT, lower_included=False, upper_included=upper_included)
    lower = _plus(max(0.0, first.lower), max(0.0, second.lower))
    lower_included = all(one.lower_included or one.lower < 0 for one in (first, second))
    if lower == upper and not (lower_included and upper_included):
        # Ends that lie too near each other to be told apart in a sum.
        upper, upper_included = math.nextafter(upper, math.inf), True
    return Interval(lower, upper, UNIT, lower_included, upper_included)


def _sum(tests: Sequence[Sequence[tuple[SpotTest, Interval]]]) -> SpotTest:
    anything = Interval(0.0, math.inf, UNIT, lower_included=True, upper_included=False)
    first, second = (
        _worst([value for _, value in of_part]) if of_part else anything for of_part in tests
    )
    return _worked_out(SUM, _added(first, second), MEANS, tests)


def _at_most(part: str, tests: Sequence[tuple[SpotTest, Interval]]) -> SpotTest:
    most = _worst([value for _, value in tests])
    value = Interval(
        -math.inf,
        most.upper,
        UNIT,
        lower_included=False,
        upper_included=most.upper_included,
    )
    name = analytes.ANALYTES[part].name
    means = f"worked out: {name} is no more than oil and particles together"
    return _worked_out(part, value, means, [tests])


def _worked_out(
    analyte: str,
    value: Interval,
    means: str,
    tests: Sequence[Sequence[tuple[SpotTest, Interval]]],
) -> SpotTest:
    parts = tuple(spot for of_part in tests for spot, _ in of_part)
    times = {one.time for one in parts}
    remarks = [one.remark for one in parts if one.remark]
    if any(len(of_part) > 1 for of_part in tests):
        remarks.append(HIGHEST_COUNT)
    return SpotTest(
        analyte=analyte,
        quantity=analytes.MASS_CONCENTRATION,
        value=value,
        means=means,
        time=times.pop() if len(times) == 1 else None,
        doubts=_doubts(tests),
        given=" + ".join(
            ", ".join(
                one.given or f"{analytes.ANALYTES[one.analyte].name} {shown}"
                for one, shown in of_part
            )
            for of_part in tests
            if of_part
        ),
        remark=" ".join(dict.fromkeys(remarks)),
        parts=parts,
    )


def _all_in_doubt(tests: Sequence[tuple[SpotTest, Interval]]) -> bool:
    return all(spot.doubts for spot, _ in tests)


def _doubts(tests: Sequence[Sequence[tuple[SpotTest, Interval]]]) -> tuple[str, ...]:
    """Gather the doubts about a part that no test without doubt carries.

    All tests enter the ends, so that what is below a limit with the doubtful ones is below it
    without them: one test of a part that can be relied on is enough.
    """
    doubts = [
        why
        for of_part in tests
        if _all_in_doubt(of_part)
        for spot, _ in of_part
        for why in spot.doubts
    ]
    return tuple(dict.fromkeys(doubts))
