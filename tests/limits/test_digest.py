"""The digest changes with the content, and with nothing else; what is read is what was written."""

from __future__ import annotations

import hashlib
import json
import random
import tomllib
from importlib import resources
from typing import TYPE_CHECKING

import pytest
from attrs import asdict, evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.limits.digest import canonical_bytes, content_digest, decimal_text
from lungwort.limits.load import limit_set, read_text, shipped_ids
from lungwort.limits.model import (
    DEW_POINT_MARGIN,
    PRESSURE_TABLE,
    RANGE,
    WORDING,
    Bound,
    Limit,
    LimitSet,
    PressureRow,
)

if TYPE_CHECKING:
    from collections.abc import Callable

AIRLINE = limit_set("en12021-2014-airline")


# A writer of its own, so that reading is held against something


def quoted(text: str) -> str:
    """Write a TOML string."""
    return json.dumps(text, ensure_ascii=False)


def bound_text(bound: Bound, sign: str) -> str:
    """Write a bound with its operator."""
    return quoted(f"{sign}{'=' if bound.included else ''} {bound.value!r}")


def limit_items(limit: Limit) -> dict[str, str]:
    """Write a limit's keys."""
    items = {
        "key": quoted(limit.key),
        "analyte": quoted(limit.analyte),
        "clause": quoted(limit.clause),
        "source": quoted(limit.source),
        "status": quoted(limit.status),
        "remark": quoted(limit.remark),
        "averaging": quoted(limit.averaging),
        "required": str(limit.required).lower(),
    }
    if limit.kind != WORDING:
        items |= {"unit": quoted(limit.unit), "quantity": quoted(limit.quantity)}
    else:
        items["wording"] = quoted(limit.wording)
    if limit.lower:
        items["lower"] = bound_text(limit.lower, ">")
    if limit.upper:
        items["upper"] = bound_text(limit.upper, "<")
    if limit.default_upper:
        items["default_upper"] = bound_text(limit.default_upper, "<")
    if limit.margin_c is not None:
        items["margin_c"] = repr(limit.margin_c)
    if limit.needs:
        items["needs"] = quoted(limit.needs)
    if limit.kind == PRESSURE_TABLE:
        rows = ", ".join(
            f"{{ upper = {bound_text(row.upper, '<')}, up_to_bar_g = {row.up_to_bar_g!r} }}"
            for row in limit.table
        )
        items["rows"] = f"[{rows}]"
        items["table_above_bar_g"] = repr(limit.table_above_bar_g)
        items["last_row_serves_above"] = str(limit.last_row_serves_above).lower()
    return items


def written(one: LimitSet, order: random.Random | None = None) -> str:
    """Write a set as TOML, its keys in any order."""
    head = {
        "format": "1",
        "id": quoted(one.id),
        "title": quoted(one.title),
        "document": quoted(one.document),
        "edition": quoted(one.edition),
        "use": quoted(one.use),
        "reference_temperature_c": repr(one.reference_temperature_c),
        "reference_pressure_kpa": repr(one.reference_pressure_kpa),
        "remarks": f"[{', '.join(map(quoted, one.remarks))}]",
    }
    blocks = [head, *map(limit_items, one)]
    lines = []
    for number, items in enumerate(blocks):
        pairs = list(items.items())
        if order:
            order.shuffle(pairs)
        lines += ["", "[[limit]]  # next"] if number else []
        lines += [f"{key}={value}" for key, value in pairs]
    return "\n".join(lines) + "\n"


WORDS = st.text(
    st.characters(min_codepoint=32, max_codepoint=0x2FFF, exclude_categories=("C", "Z")),
    min_size=1,
    max_size=12,
)
SIGNS = st.booleans()


@st.composite
def any_limit(draw: st.DrawFn, number: int) -> Limit:
    """Make one limit of any kind."""
    kind = draw(st.sampled_from([RANGE, PRESSURE_TABLE, DEW_POINT_MARGIN, WORDING]))
    limit = Limit(
        key=f"limit_{number}",
        analyte="water",
        quantity="mass_concentration",
        unit="mg/m3",
        kind=kind,
        averaging=draw(st.sampled_from(["any reading", "10 min", "15 min", "8 h"])),
        required=draw(st.booleans()),
        clause=draw(WORDS),
        source=draw(WORDS),
        status=draw(st.sampled_from(["confirmed", "from memory"])),
        remark=draw(st.one_of(st.just(""), WORDS)),
    )
    if kind == RANGE:
        low, high = sorted(
            draw(st.lists(st.floats(0, 1e5, width=32), min_size=2, max_size=2, unique=True))
        )
        return evolve(limit, lower=Bound(low, draw(SIGNS)), upper=Bound(high, draw(SIGNS)))
    if kind == PRESSURE_TABLE:
        pressures = draw(
            st.lists(st.integers(2, 400), min_size=1, max_size=4, unique=True).map(sorted)
        )
        rows = tuple(
            PressureRow(float(p), Bound(draw(st.floats(0, 1e5)), draw(SIGNS))) for p in pressures
        )
        return evolve(limit, table=rows, table_above_bar_g=1.0, last_row_serves_above=draw(SIGNS))
    if kind == DEW_POINT_MARGIN:
        return evolve(
            limit,
            quantity=draw(st.sampled_from(["pressure_dew_point", "atmospheric_dew_point"])),
            unit="°C",
            margin_c=draw(st.floats(0, 50)),
            default_upper=draw(st.one_of(st.none(), st.floats(-100, 50).map(Bound))),
        )
    return evolve(limit, analyte="odour", quantity="wording", unit="", wording=draw(WORDS))


@st.composite
def any_set(draw: st.DrawFn) -> LimitSet:
    """Make a set of one to five limits; the first is required."""
    limits = [draw(any_limit(number)) for number in range(draw(st.integers(1, 5)))]
    limits[0] = evolve(limits[0], required=True)
    return LimitSet(
        id="made-up",
        title=draw(WORDS),
        document=draw(WORDS),
        edition=draw(WORDS),
        use=draw(WORDS),
        limits=tuple(limits),
        reference_temperature_c=draw(st.floats(-20, 40)),
        reference_pressure_kpa=draw(st.floats(80, 120)),
        remarks=tuple(draw(st.lists(WORDS, max_size=2))),
        origin="made-up.toml",
    )


@given(any_set(), st.randoms(use_true_random=False))
@settings(deadline=None, max_examples=150)
def test_what_is_written_is_read(one: LimitSet, order: random.Random) -> None:
    """Round trip through TOML with the keys in any order, digest included."""
    again = read_text(written(one, order), "made-up.toml")
    expected = evolve(one, digest=content_digest(one))
    assert asdict(again) == asdict(expected)


@pytest.mark.parametrize("set_id", shipped_ids())
def test_shipped_sets_survive_a_rewriting(set_id: str) -> None:
    """Layout and order of keys do not enter the digest; the limits' order does."""
    one = limit_set(set_id)
    text = written(evolve(one, id="another"), random.Random(1))  # noqa: S311 - no secret
    again = read_text(text, "another.toml")
    assert again.digest == content_digest(evolve(one, id="another"))
    assert again.digest != one.digest


def test_digest_is_that_of_the_canonical_bytes() -> None:
    """SHA-256 by hashlib; the bytes are JSON with sorted keys, no blanks, and no number."""
    raw = canonical_bytes(AIRLINE)
    assert AIRLINE.digest == hashlib.sha256(raw).hexdigest()
    content = json.loads(raw)
    assert (
        json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode()
        == raw
    )
    assert not list(numbers_in(content))
    assert content["limits"][1]["upper"] == {"included": True, "value": "5"}


def numbers_in(value: object) -> list[float]:
    """Find every bare number in a JSON value."""
    if isinstance(value, bool):
        return []
    if isinstance(value, int | float):
        return [value]
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        return [number for item in value for number in numbers_in(item)]
    return []


def test_numbers_in_finds_numbers() -> None:
    """The search above can fail."""
    assert numbers_in({"a": [1, {"b": 2.5}], "c": True, "d": "3"}) == [1, 2.5]


def _first(change: Callable[[Limit], Limit]) -> LimitSet:
    return evolve(AIRLINE, limits=(change(AIRLINE.limits[0]), *AIRLINE.limits[1:]))


def _water(change: Callable[[Limit], Limit]) -> LimitSet:
    limits = tuple(change(limit) if limit.key == "water" else limit for limit in AIRLINE.limits)
    return evolve(AIRLINE, limits=limits)


ROWS = AIRLINE.limit("water").table
CHANGES: dict[str, LimitSet] = {
    "number": _first(lambda limit: evolve(limit, lower=Bound(19.5))),
    "smallest step of a number": _first(
        lambda limit: evolve(limit, lower=Bound(20.000000000000004))
    ),
    "operator": _first(lambda limit: evolve(limit, lower=Bound(20.0, included=False))),
    "bound left out": _first(lambda limit: evolve(limit, lower=None)),
    "status": _first(lambda limit: evolve(limit, status="confirmed")),
    "source": _first(lambda limit: evolve(limit, source="elsewhere")),
    "clause": _first(lambda limit: evolve(limit, clause="1")),
    "remark": _first(lambda limit: evolve(limit, remark="")),
    "unit": _first(lambda limit: evolve(limit, unit="ppm")),
    "analyte": _first(lambda limit: evolve(limit, analyte="n2")),
    "quantity": _first(lambda limit: evolve(limit, quantity="mass_concentration")),
    "key": _first(lambda limit: evolve(limit, key="oxygen")),
    "averaging": _first(lambda limit: evolve(limit, averaging="8 h")),
    "required": _first(lambda limit: evolve(limit, required=False)),
    "needs": _first(lambda limit: evolve(limit, needs="lowest temperature")),
    "kind": _first(lambda limit: evolve(limit, kind="wording")),
    "wording": _first(lambda limit: evolve(limit, wording="none")),
    "margin": _first(lambda limit: evolve(limit, margin_c=5.0)),
    "default": _first(lambda limit: evolve(limit, default_upper=Bound(-11.0))),
    "row": _water(lambda limit: evolve(limit, table=ROWS[:-1])),
    "pressure of a row": _water(
        lambda limit: evolve(limit, table=(evolve(ROWS[0], up_to_bar_g=6.0), *ROWS[1:]))
    ),
    "operator of a row": _water(
        lambda limit: evolve(
            limit, table=(evolve(ROWS[0], upper=Bound(290, included=False)), *ROWS[1:])
        )
    ),
    "begin of the table": _water(lambda limit: evolve(limit, table_above_bar_g=1.0)),
    "end of the table": _water(lambda limit: evolve(limit, last_row_serves_above=True)),
    "order of limits": evolve(AIRLINE, limits=AIRLINE.limits[::-1]),
    "limit left out": evolve(AIRLINE, limits=AIRLINE.limits[:-1]),
    "id": evolve(AIRLINE, id="x"),
    "title": evolve(AIRLINE, title="x"),
    "document": evolve(AIRLINE, document="x"),
    "edition": evolve(AIRLINE, edition="x"),
    "use": evolve(AIRLINE, use="x"),
    "reference temperature": evolve(AIRLINE, reference_temperature_c=0.0),
    "reference pressure": evolve(AIRLINE, reference_pressure_kpa=100.0),
    "remarks": evolve(AIRLINE, remarks=()),
    "extends": evolve(AIRLINE, extends="x"),
}


@pytest.mark.parametrize("what", CHANGES)
def test_any_change_of_content_changes_the_digest(what: str) -> None:
    """All that decides or is shown."""
    assert content_digest(CHANGES[what]) != AIRLINE.digest


def test_changes_differ_from_each_other() -> None:
    """No two of them collide."""
    assert len({content_digest(one) for one in CHANGES.values()}) == len(CHANGES)


def test_origin_and_digest_do_not_enter() -> None:
    """A file may be renamed."""
    assert content_digest(evolve(AIRLINE, origin="x.toml", digest="")) == AIRLINE.digest


def test_every_field_was_tried() -> None:
    """A field added to the model must be added to the digest and to the list above."""
    tried = {
        name.removeprefix("_")
        for change in CHANGES.values()
        for name in _changed_fields(AIRLINE, change)
    }
    assert tried == {
        *asdict(AIRLINE).keys() - {"digest", "origin"},
        *asdict(AIRLINE.limits[0]).keys(),
    }


def _changed_fields(one: LimitSet, other: LimitSet) -> set[str]:
    fields = {name for name, value in asdict(one).items() if asdict(other)[name] != value}
    for limit, changed in zip(one.limits, other.limits, strict=False):
        fields |= {name for name, value in asdict(limit).items() if asdict(changed)[name] != value}
    return fields


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (5.0, "5"),
        (100.0, "100"),
        (0.1, "0.1"),
        (0.1 + 0.2, "0.30000000000000004"),
        (-11.0, "-11"),
        (-0.0, "0"),
        (1e-7, "0.0000001"),
        (1e22, "10000000000000000000000"),
        (101.325, "101.325"),
    ],
)
def test_decimal_text(value: float, text: str) -> None:
    """Shortest decimal, never an exponent."""
    assert decimal_text(value) == text


@given(st.floats(allow_nan=False, allow_infinity=False))
@settings(deadline=None, max_examples=200)
def test_decimal_text_comes_back(value: float) -> None:
    """No digit is lost."""
    assert float(decimal_text(value)) == value
    assert "e" not in decimal_text(value).lower()


@pytest.mark.parametrize("set_id", shipped_ids())
def test_numbers_of_the_file_are_those_of_the_set(set_id: str) -> None:
    """Held against a plain reading of the file by tomllib."""
    entry = resources.files("lungwort.limits").joinpath("library", f"{set_id}.toml")
    plain = tomllib.loads(entry.read_text(encoding="utf-8"))
    for block, limit in zip(plain["limit"], limit_set(set_id), strict=True):
        assert block["key"] == limit.key
        for side, bound in (("lower", limit.lower), ("upper", limit.upper)):
            if side in block:
                sign, number = block[side].split()
                assert bound == Bound(float(number), included=sign.endswith("="))
            else:
                assert bound is None
