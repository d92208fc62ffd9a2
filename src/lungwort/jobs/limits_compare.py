"""Two limit sets side by side: which is stricter, where that can be said."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.air.analytes import ANALYTES
from lungwort.limits.load import limit_set
from lungwort.limits.resolve import check_own_copy, limit_text

if TYPE_CHECKING:
    import os

    from lungwort.limits.model import Bound, Limit, LimitSet

SAME: Final = "the same"
FIRST: Final = "the first is stricter"
SECOND: Final = "the second is stricter"
MIXED: Final = "each is stricter on one side"
ONLY_FIRST: Final = "only the first has it"
ONLY_SECOND: Final = "only the second has it"
CANNOT: Final = "cannot be compared"


@frozen
class Side:
    """What one set says.

    Parameters
    ----------
    allowed, clause, status : str
        What is allowed, where it stands, and how well it is founded.
    required : bool
        Whether it must be kept.
    remark : str
        What else is to be minded.
    """

    allowed: str
    clause: str
    status: str
    required: bool
    remark: str = ""


@frozen
class Pair:
    """One analyte in both sets.

    Parameters
    ----------
    analyte : str
        Its name.
    first, second : Side, optional
        What each says; None where it has none.
    word : str
        Which is stricter, where that can be said.
    why : str
        Why it cannot be compared; else what the comparison rests on.
    """

    analyte: str
    first: Side | None
    second: Side | None
    word: str
    why: str = ""


@frozen
class Comparison:
    """Two limit sets side by side.

    Parameters
    ----------
    first, second : LimitSet
        The sets.
    pairs : tuple of Pair
        One an analyte and limit.
    """

    first: LimitSet
    second: LimitSet
    pairs: tuple[Pair, ...]


def compare(first: str | os.PathLike[str], second: str | os.PathLike[str]) -> Comparison:
    """Put two limit sets side by side.

    Nothing is converted: a number of ppm and one of mg/m3, a dew point and a content, or means over
    different times are not compared, and the reason is told.

    Parameters
    ----------
    first, second : str or path
        Ids or files.

    Returns
    -------
    Comparison
        In the order of the first set, then what only the second has.

    Raises
    ------
    LimitSetError
        Where a set is not known or has mistakes.
    """
    one, other = limit_set(first), limit_set(second)
    pairs = []
    left = list(other)
    for limit in one:
        mates = [mate for mate in left if mate.analyte == limit.analyte]
        mate = next((m for m in mates if m.key == limit.key), mates[0] if mates else None)
        if mate is not None:
            left.remove(mate)
        pairs.append(_pair(limit, mate, _states_differ(one, other)))
    pairs += [_pair(None, mate, "") for mate in left]
    return Comparison(one, other, tuple(pairs))


def _pair(first: Limit | None, second: Limit | None, states: str) -> Pair:
    limit = first or second
    assert limit is not None  # noqa: S101 - one of both is there
    word, why = _word(first, second, states)
    return Pair(ANALYTES[limit.analyte].name, _side(first), _side(second), word, why)


def _states_differ(first: LimitSet, second: LimitSet) -> str:
    """Say that a cubic metre of the one is not one of the other; empty where it is."""
    same = (first.reference_temperature_c, first.reference_pressure_kpa) == (
        second.reference_temperature_c,
        second.reference_pressure_kpa,
    )
    return (
        ""
        if same
        else (
            f"A cubic metre is counted at {first.reference_temperature_c:g} °C and "
            f"{first.reference_pressure_kpa:g} kPa(a) in the one, at "
            f"{second.reference_temperature_c:g} °C and {second.reference_pressure_kpa:g} kPa(a) in "
            "the other."
        )
    )


def _side(limit: Limit | None) -> Side | None:
    if limit is None:
        return None
    return Side(
        allowed=limit_text(limit),
        clause=limit.clause,
        status=check_own_copy(limit) or limit.status,
        required=limit.required,
        remark=limit.remark,
    )


def _word(first: Limit | None, second: Limit | None, states: str) -> tuple[str, str]:
    if first is None:
        return ONLY_SECOND, ""
    if second is None:
        return ONLY_FIRST, ""
    why = _against(first, second)
    if not why and "/m3" in first.unit:
        why = states
    if why:
        return CANNOT, why
    lower = _stricter(first.lower, second.lower, upper=False)
    upper = _stricter(first.upper, second.upper, upper=True)
    words = {one for one in (lower, upper) if one != SAME}
    basis = f"Both are held in {first.unit}."
    if first.required != second.required:
        basis += " One of them is advice only."
    if not words:
        return SAME, basis
    return (words.pop(), basis) if len(words) == 1 else (MIXED, basis)


def _against(first: Limit, second: Limit) -> str:
    """Say why two limits cannot be held against each other; empty where they can."""
    if first.wording or second.wording:
        return "One of them is a wording and no number."
    if (first.quantity, first.kind, first.unit) != (second.quantity, second.kind, second.unit):
        return (
            f"One is held in {first.unit} ({first.kind or first.quantity}), the other in "
            f"{second.unit} ({second.kind or second.quantity})."
        )
    if first.averaging != second.averaging:
        return "They hold for different averaging times."
    if first.table or second.table or first.margin_c is not None or second.margin_c is not None:
        return "One of them depends on the pressure or on the lowest temperature."
    if first.default_upper != second.default_upper:
        return "One of them has another bound where the condition is not known."
    if first.needs != second.needs:
        return "They hold under different conditions."
    return ""


def _stricter(first: Bound | None, second: Bound | None, *, upper: bool) -> str:
    if first is None and second is None:
        return SAME
    if first is None or second is None:
        return SECOND if first is None else FIRST
    if first.value == second.value:
        if first.included == second.included:
            return SAME
        return SECOND if first.included else FIRST
    return FIRST if (first.value < second.value) == upper else SECOND
