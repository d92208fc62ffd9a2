"""Two limit sets side by side: which is stricter, where that can be said."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.air.analytes import ANALYTES, MASS_CONCENTRATION, VOLUME_FRACTION
from lungwort.air.units import scale
from lungwort.limits.load import limit_set
from lungwort.limits.model import FROM_MEMORY, RANGE, WORDING, Bound
from lungwort.limits.resolve import check_own_copy, limit_text

if TYPE_CHECKING:
    import os
    from collections.abc import Callable

    from lungwort.limits.model import Limit, LimitSet

SAME: Final = "the same"
FIRST: Final = "the first is stricter"
SECOND: Final = "the second is stricter"
MIXED: Final = "each is stricter on one side"
ONLY_FIRST: Final = "only the first has it"
ONLY_SECOND: Final = "only the second has it"
CANNOT: Final = "cannot be compared"

_TELLING: Final = 0.05
"""How far apart converted numbers must lie to be told apart, as a share of the larger."""


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

    Numbers are brought to one unit only where that is exact for an ideal gas: ppm and %, mg/m3 of
    two reference states, and ppm and mg/m3 of a gas whose molar mass is known. Where so converted
    numbers lie within one part in twenty of each other, neither is called stricter, as documents
    round theirs. A dew point and a content, or means over different times, are not compared. The
    reason is told each time.

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
    mates = _mates(one, other)
    taken = {mate.key for mate in mates.values()}
    pairs = [_pair(one, limit, other, mates.get(limit.key)) for limit in one]
    pairs += [_pair(one, None, other, mate) for mate in other if mate.key not in taken]
    return Comparison(one, other, tuple(pairs))


def _mates(one: LimitSet, other: LimitSet) -> dict[str, Limit]:
    """Say which limit of the other set stands beside each of the one: the likest of its analyte."""
    found: dict[str, Limit] = {}
    left = {mate.key: mate for mate in other}
    likeness: tuple[Callable[[Limit, Limit], bool], ...] = (
        lambda a, b: _kind(a) == _kind(b) and a.required == b.required and a.needs == b.needs,
        lambda a, b: _kind(a) == _kind(b),
        lambda a, b: a.averaging == b.averaging,
        lambda _a, _b: True,
    )
    for like in likeness:
        for limit in one:
            if limit.key in found:
                continue
            for mate in tuple(left.values()):
                if mate.analyte == limit.analyte and like(limit, mate):
                    found[limit.key] = left.pop(mate.key)
                    break
    return found


def _kind(limit: Limit) -> tuple[str, str, str]:
    return limit.quantity, limit.kind, limit.averaging


def _pair(one: LimitSet, first: Limit | None, other: LimitSet, second: Limit | None) -> Pair:
    limit = first or second
    assert limit is not None  # noqa: S101 - one of both is there
    if first is None or second is None:
        word, why = (ONLY_SECOND if first is None else ONLY_FIRST), ""
    else:
        word, why = _word(one, first, other, second)
    return Pair(ANALYTES[limit.analyte].name, _side(first), _side(second), word, why)


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


def _word(one: LimitSet, first: Limit, other: LimitSet, second: Limit) -> tuple[str, str]:
    why = _against(first, second)
    if why:
        return CANNOT, why
    if first.kind != RANGE:
        return _same_form(one, first, other, second)
    lower, upper, basis, exact = _in_one_unit(one, first, other, second)
    if not basis:
        return CANNOT, (
            f"One is held in {first.unit} ({_words(first)}), the other in {second.unit} "
            f"({_words(second)})."
        )
    ends = ((first.lower, lower, False), (first.upper, upper, True))
    if not exact and any(_near(own, its) for own, its, _ in ends):
        return CANNOT, f"{basis} So converted they lie too near to each other to be told apart."
    words = {_stricter(own, its, upper=is_upper) for own, its, is_upper in ends} - {SAME}
    if first.required != second.required:
        basis += " One of them is advice only."
    if words and FROM_MEMORY in {first.status, second.status}:
        basis += " A number from memory takes part: check it."
    if not words:
        return SAME, basis
    return (words.pop(), basis) if len(words) == 1 else (MIXED, basis)


def _against(first: Limit, second: Limit) -> str:
    """Say why two limits cannot be held against each other; empty where they can."""
    if (first.kind == WORDING) != (second.kind == WORDING):
        return "One of them is a wording and no number."
    if first.averaging != second.averaging:
        return "They hold for different averaging times."
    if first.needs != second.needs:
        return "They hold under different conditions."
    if first.kind != second.kind:
        return "One of them depends on the pressure or on the lowest temperature."
    return ""


def _same_form(one: LimitSet, first: Limit, other: LimitSet, second: Limit) -> tuple[str, str]:
    """Compare two wordings, tables or margins: the same word by word, or not to be compared."""
    if first.kind == WORDING:
        if first.wording.strip().casefold() == second.wording.strip().casefold():
            return SAME, "Both say it in the same words."
        return CANNOT, "Both say it in words, and in different ones."
    numbers = [
        (
            limit.quantity,
            limit.unit,
            limit.table,
            limit.table_above_bar_g,
            limit.last_row_serves_above,
            limit.margin_c,
            limit.default_upper,
            _state(of) if "/m3" in limit.unit else (),
        )
        for of, limit in ((one, first), (other, second))
    ]
    if numbers[0] == numbers[1]:
        return SAME, f"Both are held in {first.unit}, by the same numbers."
    return CANNOT, "Both depend on the pressure or on the lowest temperature, in different ways."


def _words(limit: Limit) -> str:
    return limit.quantity.replace("_", " ")


def _state(of: LimitSet) -> tuple[float, float]:
    return of.reference_temperature_c, of.reference_pressure_kpa


def _in_one_unit(
    one: LimitSet, first: Limit, other: LimitSet, second: Limit
) -> tuple[Bound | None, Bound | None, str, bool]:
    """Bring the second limit's ends to the unit of the first.

    Returns
    -------
    tuple
        Lower and upper end, the basis (empty where there is no way), and whether the numbers stand
        in the documents like that.
    """
    if first.quantity != second.quantity:
        return _by_molar_mass(one, first, other, second)
    same_state = "/m3" not in first.unit or _state(one) == _state(other)
    if first.unit == second.unit and same_state:
        return second.lower, second.upper, f"Both are held in {first.unit}.", True
    factor = 1.0
    if not same_state:
        from lungwort.air.gas import molar_volume_l_mol  # noqa: PLC0415 - loads NumPy

        # What one cubic metre of the other holds, in one of the first.
        factor = float(molar_volume_l_mol(*_state(other)) / molar_volume_l_mol(*_state(one)))
    lower, upper = (
        _scaled(end, second.unit, first.unit, factor) for end in (second.lower, second.upper)
    )
    basis = f"Both are brought to {first.unit}."
    if not same_state:
        basis = (
            f"A cubic metre is counted at {_state_text(one)} in the one, at {_state_text(other)} in "
            f"the other: for an ideal gas {_ends_text(second, second.unit)} of the other are "
            f"{_ends_text(evolve(second, lower=lower, upper=upper), first.unit)} of the one."
        )
    return lower, upper, basis, same_state


def _by_molar_mass(
    one: LimitSet, first: Limit, other: LimitSet, second: Limit
) -> tuple[Bound | None, Bound | None, str, bool]:
    nothing = (None, None, "", False)
    mass = ANALYTES[first.analyte].molar_mass_g_mol
    if mass is None or {first.quantity, second.quantity} != {VOLUME_FRACTION, MASS_CONCENTRATION}:
        return nothing
    from lungwort.air.gas import conversion_factor  # noqa: PLC0415 - loads NumPy

    # mg/m3 are those of the document that states them.
    of = one if first.quantity == MASS_CONCENTRATION else other
    temperature, pressure = _state(of)
    factor = conversion_factor(
        second.unit,
        first.unit,
        molar_mass=mass,
        temperature_c=temperature,
        pressure_kpa=pressure,
    )
    lower, upper = (
        None if end is None else Bound(end.value * factor, end.included)
        for end in (second.lower, second.upper)
    )
    basis = (
        f"For an ideal gas of {mass:g} g/mol at {_state_text(of)}, {_ends_text(second, second.unit)} "
        f"are {_ends_text(evolve(second, lower=lower, upper=upper), first.unit)}."
    )
    return lower, upper, basis, False


def _scaled(end: Bound | None, unit: str, to_unit: str, factor: float) -> Bound | None:
    if end is None:
        return None
    # Through decimals, so that 0.05 % and 500 ppm are the same number.
    value = float(f"{float(scale(end.value, unit, to_unit)):.12g}")
    return Bound(value * factor if factor != 1.0 else value, end.included)


def _state_text(of: LimitSet) -> str:
    return f"{of.reference_temperature_c:g} °C and {of.reference_pressure_kpa:g} kPa(a)"


def _ends_text(limit: Limit, unit: str) -> str:
    ends = [f"{end.value:.4g}" for end in (limit.lower, limit.upper) if end is not None]
    return f"{' to '.join(ends)} {unit}"


def _near(own: Bound | None, its: Bound | None) -> bool:
    if own is None or its is None:
        return False
    return abs(own.value - its.value) <= _TELLING * max(abs(own.value), abs(its.value))


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
