"""Canonical JSON against the examples that RFC 8785 itself prints."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import RegisterError
from lungwort.register.canonical import canonical, is_canonical, parse

# RFC 8785 (June 2020), section 3.2.2, the sample, without its member "numbers" (floats, which a
# record never holds), and its canonical form as printed in section 3.2.3 (from memory).
SAMPLE = r"""{
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}"""
SAMPLE_CANONICAL = r"""{"literals":[null,true,false],"string":"€$\u000f\nA'B\"\\\\\"/"}"""

# RFC 8785, section 3.2.3: names that sort otherwise by code point than by UTF-16 unit, with the
# order of the values as printed there (from memory).
SORTING = r"""{
  "\u20ac": "Euro Sign",
  "\r": "Carriage Return",
  "\ufb33": "Hebrew Letter Dalet With Dagesh",
  "1": "One",
  "\ud83d\ude00": "Emoji: Grinning Face",
  "\u0080": "Control",
  "\u00f6": "Latin Small Letter O With Diaeresis"
}"""
SORTED_VALUES = [
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
]

VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(st.characters(exclude_categories=["Cs"])), inner, max_size=4)
    ),
    max_leaves=12,
)


def test_sample_of_the_rfc() -> None:
    """Escapes and order are those that the RFC prints."""
    assert canonical(json.loads(SAMPLE)) == SAMPLE_CANONICAL


def test_names_are_sorted_by_utf16_units() -> None:
    """The emoji's first surrogate (D83D) sorts before U+FB33, though its code point is larger."""
    text = canonical(json.loads(SORTING))

    assert list(json.loads(text).values()) == SORTED_VALUES


def test_control_characters_are_escaped_as_the_rfc_says() -> None:
    """RFC 8785, section 3.2.2.2: five short escapes, else lower-case u00xx; U+007F stays."""
    assert canonical("\b\t\n\f\r\x00\x1f\x7f/") == '"\\b\\t\\n\\f\\r\\u0000\\u001f\x7f/"'


@pytest.mark.parametrize("value", [1.0, float("nan"), {"a": [0.5]}, {"a": {"b": 1e300}}, (2.0,)])
def test_floats_are_refused(value: Any) -> None:
    """A measured number is recorded as text."""
    with pytest.raises(RegisterError, match="A float cannot be recorded"):
        canonical(value)


def test_the_message_says_where_the_float_is() -> None:
    """The path leads to it."""
    with pytest.raises(RegisterError, match=r"\(a\.b\[1\] is 0\.5\)"):
        canonical({"a": {"b": [1, 0.5]}})


@pytest.mark.parametrize(
    "value", [2**53, -(2**53), {1: "a"}, {"a": b"bytes"}, "\ud800", {"\ud800": 1}]
)
def test_what_json_readers_disagree_on_is_refused(value: Any) -> None:
    """Large whole numbers, names that are not text, bytes and half surrogate pairs."""
    with pytest.raises(RegisterError, match="cannot be recorded as canonical JSON"):
        canonical(value)


@pytest.mark.parametrize(
    ("text", "telling"),
    [
        ("{", "not JSON"),
        ('{"a":1}x', "not JSON"),
        ('{"a":1,"a":2}', "'a' twice"),
        ("1.0", "number 1.0"),
        ("1e3", "number 1e3"),
        ("NaN", "number NaN"),
        ("9" * 5000, "not JSON"),
        ("[" * 200_000, "nested too deeply"),
    ],
)
def test_reading_is_strict(text: str, telling: str) -> None:
    """What two readers could take differently is not read at all."""
    with pytest.raises(RegisterError, match=telling):
        parse(text)


@pytest.mark.parametrize(
    "text", ['{"a": 1}', '{"b":1,"a":2}', '"\\u0041"', "-0", '{"a":1}\n', '"\\/"', "nonsense", "01"]
)
def test_other_texts_of_the_same_value_are_not_canonical(text: str) -> None:
    """Blanks, order, needless escapes, minus nought, a line break."""
    assert not is_canonical(text)


@given(VALUES)
@settings(deadline=None, max_examples=100)
def test_canonical_text_reads_back_as_the_same_value(value: Any) -> None:
    """Nothing is lost, and writing again gives the same text."""
    text = canonical(value)

    assert parse(text) == value
    assert is_canonical(text)


@given(st.dictionaries(st.text("abc€😀\ufb33", max_size=3), st.integers(0, 9), max_size=6))
@settings(deadline=None, max_examples=60)
def test_order_of_members_does_not_matter(value: dict[str, int]) -> None:
    """Two programs that build the same object differently hash the same bytes."""
    assert canonical(dict(reversed(value.items()))) == canonical(value)
