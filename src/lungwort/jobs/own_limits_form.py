"""A limit set of one's own as a form: from a set to rows that can be typed over, and back to TOML.

A form holds limits that are one number, a range or a wording. What depends on the supply pressure
or on the lowest temperature is taken from the set that is built on, or written in the TOML itself.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.air.units import may_be_thousands
from lungwort.errors import InputError
from lungwort.limits.digest import decimal_text
from lungwort.limits.load import available, limit_set, shipped_ids
from lungwort.limits.model import ANY_READING, RANGE, WORDING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from lungwort.limits.model import Bound, Limit, LimitSet

MOST_ROWS: Final = 60
_SIGNED: Final = re.compile(r"(<=|>=|<|>|≤|≥)\s*(.*)", re.DOTALL)
_KEY: Final = re.compile(r"[a-z0-9]+(?:[._-][a-z0-9]+)*")
_FORMS: Final = frozenset({RANGE, WORDING})


@frozen(kw_only=True)
class Row:
    """A limit as a form holds it; all of it as typed.

    Parameters
    ----------
    key, analyte, quantity, unit : str
        As in the limit; the key is made of the analyte where it is empty.
    lower, upper : str
        At least and at most [unit]; empty for none.
    wording : str
        What a limit in words says.
    averaging, clause, source, status, remark : str
        As in the limit.
    required : bool
        False for advice.
    left_out : bool
        Whether the limit is to be taken out.
    """

    key: str = ""
    analyte: str = ""
    quantity: str = ""
    unit: str = ""
    lower: str = ""
    upper: str = ""
    wording: str = ""
    averaging: str = ANY_READING
    required: bool = True
    clause: str = ""
    source: str = ""
    status: str = ""
    remark: str = ""
    left_out: bool = False

    @property
    def is_empty(self) -> bool:
        """Whether nothing was typed into it."""
        said = (self.key, self.analyte, self.lower, self.upper, self.wording, self.clause)
        return not any(said)


@frozen(kw_only=True)
class Draft:
    """A limit set as a form holds it.

    Parameters
    ----------
    id, title, document, edition, use : str
        As in the set.
    base : str
        Id of the set that it is built on; empty for none.
    temperature_c, pressure_kpa : str
        State to which mg/m3 refer [°C], [kPa, absolute]; not used where it is built on another.
    remarks : str
        A line each.
    rows : tuple of Row
        Its limits.
    taken : tuple of (str, str)
        Limits of the set that it is built on and that no form holds: key, and what is allowed.
    """

    id: str = ""
    title: str = ""
    document: str = ""
    edition: str = ""
    use: str = ""
    base: str = ""
    temperature_c: str = "20"
    pressure_kpa: str = "101.325"
    remarks: str = ""
    rows: tuple[Row, ...] = ()
    taken: tuple[tuple[str, str], ...] = ()


def begin(base: str) -> Draft:
    """Begin a set: empty, or as a copy of one that comes with lungwort.

    Parameters
    ----------
    base : str
        Id of the set; empty for an empty form.

    Returns
    -------
    Draft
        What stands in the form at first. Id, title, document and edition are left to be filled in,
        as they are those of the own set.

    Raises
    ------
    InputError
        Where there is no such set.
    """
    if not base:
        return Draft()
    found = _base(base)
    return Draft(
        base=base,
        use=found.use,
        temperature_c=decimal_text(found.reference_temperature_c),
        pressure_kpa=decimal_text(found.reference_pressure_kpa),
        rows=tuple(_row(one) for one in found if one.kind in _FORMS),
        taken=_taken(found),
    )


def uses() -> tuple[str, ...]:
    """Name the uses of air that sets are for, as those that come with lungwort say it."""
    return tuple(sorted({one.use for one in available()}))


def draft_of(found: LimitSet) -> Draft | None:
    """Bring a set into a form.

    Parameters
    ----------
    found : LimitSet
        The set.

    Returns
    -------
    Draft or None
        None where a form would lose something of it; then its TOML is changed itself.
    """
    base = _base(found.extends) if found.extends in shipped_ids() else None
    if found.extends and base is None:
        return None
    known = {} if base is None else {one.key: one for one in base}
    if any(one.kind not in _FORMS and known.get(one.key) != one for one in found):
        return None
    own = {one.key for one in found}
    if any(one.kind not in _FORMS and one.key not in own for one in known.values()):
        return None
    left_out = tuple(
        evolve(_row(one), left_out=True)
        for one in known.values()
        if one.key not in own and one.kind in _FORMS
    )
    inherited = set() if base is None else set(base.remarks)
    remarks = [
        one
        for one in found.remarks
        if one not in inherited and not one.startswith(f"Built on {found.extends} (")
    ]
    made = Draft(
        id=found.id,
        title=found.title,
        document=found.document,
        edition=found.edition,
        use=found.use,
        base=found.extends,
        temperature_c=decimal_text(found.reference_temperature_c),
        pressure_kpa=decimal_text(found.reference_pressure_kpa),
        remarks="\n".join(remarks),
        rows=(*(_row(one) for one in found if one.kind in _FORMS), *left_out),
        taken=() if base is None else _taken(base),
    )
    from lungwort.limits.load import read_text  # noqa: PLC0415 - beside its use

    # What the form gives back must be the same set, or it is no form for it.
    try:
        again = read_text(toml_of(made), "form")
    except InputError:
        return None
    return made if again.digest == found.digest else None


def toml_of(draft: Draft) -> str:
    """Write a form as the TOML of a limit set; whether it is right is for the loader to say.

    Parameters
    ----------
    draft : Draft
        The form.

    Returns
    -------
    str
        TOML.

    Raises
    ------
    InputError
        Where a number can be read in two ways, a number was changed and its source was not, or
        there is no such set to build on.
    """
    base = _base(draft.base) if draft.base else None
    known = {} if base is None else {one.key: one for one in base if one.kind in _FORMS}
    rows = [one for one in _keyed(draft.rows) if not one.is_empty]
    removed = [one.key for one in rows if one.left_out and one.key in known]
    lines = [
        "format = 1",
        f"id = {_text(draft.id)}",
        f"title = {_text(draft.title)}",
        f"document = {_text(draft.document)}",
        f"edition = {_text(draft.edition)}",
        f"use = {_text(draft.use)}",
    ]
    if base is None:
        lines.append(f"reference_temperature_c = {_number(draft.temperature_c)}")
        lines.append(f"reference_pressure_kpa = {_number(draft.pressure_kpa)}")
    else:
        lines.append(f"extends = [{_text(base.id)}]")
        if removed:
            lines.append(f"remove = [{', '.join(_text(key) for key in removed)}]")
    remarks = [line.strip() for line in draft.remarks.splitlines() if line.strip()]
    if remarks:
        lines += ["remarks = [", *(f"  {_text(line)}," for line in remarks), "]"]
    for row in rows:
        if row.left_out:
            continue
        old = known.get(row.key)
        if old is not None:
            if _same(row, _row(old)):
                continue
            _check_source(row, _row(old))
        lines += ["", *_limit_lines(row)]
    return "\n".join(lines) + "\n"


def _base(base: str) -> LimitSet:
    if base not in shipped_ids():
        raise InputError(
            f"There is no limit set {base!r} that comes with lungwort. Choose one from the list."
        )
    return limit_set(base)


def _taken(found: LimitSet) -> tuple[tuple[str, str], ...]:
    from lungwort.limits.resolve import limit_text  # noqa: PLC0415 - only here

    return tuple((one.key, limit_text(one)) for one in found if one.kind not in _FORMS)


def _row(limit: Limit) -> Row:
    return Row(
        key=limit.key,
        analyte=limit.analyte,
        quantity="" if limit.kind == WORDING else limit.quantity,
        unit=limit.unit,
        lower=_end(limit.lower, ">"),
        upper=_end(limit.upper, "<"),
        wording=limit.wording,
        averaging=limit.averaging,
        required=limit.required,
        clause=limit.clause,
        source=limit.source,
        status=limit.status,
        remark=limit.remark,
    )


def _end(bound: Bound | None, sign: str) -> str:
    if bound is None:
        return ""
    number = decimal_text(bound.value)
    return number if bound.included else f"{sign} {number}"


def _keyed(rows: Sequence[Row]) -> list[Row]:
    """Give each row without a key one that no other has."""
    taken = {one.key for one in rows if one.key}
    made = []
    for one in rows:
        row = one
        if not row.key and not row.is_empty:
            stem = row.analyte if _KEY.fullmatch(row.analyte) else "limit"
            key, number = stem, 2
            while key in taken:
                key, number = f"{stem}-{number}", number + 1
            taken.add(key)
            row = evolve(row, key=key)
        made.append(row)
    return made


def _same(row: Row, old: Row) -> bool:
    return _typed(row) == _typed(old)


def _typed(row: Row) -> Mapping[str, object]:
    """Give what a row says, whatever way its numbers are written."""
    return {
        "analyte": row.analyte,
        "quantity": row.quantity,
        "unit": row.unit,
        "lower": _bound(row.lower, ">=", row) if row.lower else "",
        "upper": _bound(row.upper, "<=", row) if row.upper else "",
        "wording": row.wording,
        "averaging": row.averaging,
        "required": row.required,
        "clause": row.clause,
        "source": row.source,
        "status": row.status,
        "remark": row.remark,
    }


_OF_THE_NUMBER: Final = ("analyte", "quantity", "unit", "lower", "upper", "wording", "averaging")


def _check_source(row: Row, old: Row) -> None:
    # A number of one's own must not stand there as if it were the document's.
    now, before = _typed(row), _typed(old)
    if row.source == old.source and any(now[name] != before[name] for name in _OF_THE_NUMBER):
        raise InputError(
            f"The limit {row.key} says something else than the set that yours is built on, and "
            "names the same source. Say where yours comes from."
        )


def _limit_lines(row: Row) -> list[str]:
    lines = ["[[limit]]", f"key = {_text(row.key)}", f"analyte = {_text(row.analyte)}"]
    if row.wording and not row.lower and not row.upper:
        lines.append(f"wording = {_text(row.wording)}")
    else:
        if row.quantity:
            lines.append(f"quantity = {_text(row.quantity)}")
        lines.append(f"unit = {_text(row.unit)}")
        if row.lower:
            lines.append(f"lower = {_text(_bound(row.lower, '>=', row))}")
        if row.upper:
            lines.append(f"upper = {_text(_bound(row.upper, '<=', row))}")
        if row.wording:
            lines.append(f"wording = {_text(row.wording)}")
    if row.averaging and row.averaging != ANY_READING:
        lines.append(f"averaging = {_text(row.averaging)}")
    if not row.required:
        lines.append("required = false")
    lines += [
        f"{name} = {_text(value)}"
        for name, value in (
            ("clause", row.clause),
            ("source", row.source),
            ("status", row.status),
            ("remark", row.remark),
        )
        if value
    ]
    return lines


def _bound(text: str, sign: str, row: Row) -> str:
    said = text.strip().replace("−", "-").replace("≤", "<=").replace("≥", ">=")
    match = _SIGNED.fullmatch(said)
    given, number = (match[1], match[2].strip()) if match else (sign, said)
    if may_be_thousands(number):
        raise InputError(
            f"The limit {row.key or row.analyte}: {number} can be {number.replace(',', '.')} or "
            f"{number.replace(',', '')}. Write it with a point, or without a comma."
        )
    return f"{given} {number.replace(',', '.')}"


def _number(text: str) -> str:
    said = text.strip().replace("−", "-").replace(",", ".")
    # Whatever is no number is written as text: the loader then says what is wrong, and where.
    return said if re.fullmatch(r"-?(0|[1-9]\d{0,8})(\.\d{1,9})?", said) else _text(said)


def _text(text: str) -> str:
    # A string of JSON is one of TOML, but for the sign DEL.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
