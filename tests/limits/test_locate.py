"""Lines of the parts of a TOML text."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.limits.locate import TOP, find_places

TEXT = '''\
# id = "not this one"
"id" = "a"   # [[limit]]
'title' = "[[limit]] = {"
remarks = [
  "one # [",   # key = 1
  """two
[[limit]]
key = "x"
""",
]
reference.temperature_c = 20

  [[limit]]
  key = "co"
remark = \'\'\'
upper = 5
\'\'\'
unit = "pp\\"m"

[[ limit ]] # the second
rows = [
  { up_to_bar_g = 5, upper = "<= { [" }, { up_to_bar_g = 6, upper = 'x' },

  { up_to_bar_g = 7, nested = [{ a = 1 }] },
]
key = "w"
[other.table]
key = "not in a limit"
'''


@pytest.mark.parametrize(
    ("number", "key", "line"),
    [
        (TOP, "id", 2),
        (TOP, "title", 3),
        (TOP, "remarks", 4),
        (TOP, "reference", 11),
        (TOP, "limit", 13),
        (TOP, "other", 27),
        (TOP, "absent", None),
        (0, "key", 14),
        (0, "remark", 15),
        (0, "unit", 18),
        (0, "upper", 13),  # inside a text: the limit's own line stands for it
        (1, "rows", 21),
        (1, "key", 26),
        (2, "key", None),
    ],
)
def test_lines_of_keys(number: int, key: str, line: int | None) -> None:
    """Counted by hand in the text above."""
    assert find_places(TEXT).key(number, key) == line


def test_lines_of_limits_and_rows() -> None:
    """Counted by hand in the text above."""
    places = find_places(TEXT)
    assert [places.limit(number) for number in range(3)] == [13, 20, None]
    assert [places.row(1, row) for row in range(4)] == [22, 22, 24, 21]


def test_limits_in_one_array() -> None:
    """Each inline table has its line."""
    places = find_places("limit = [\n{ key = 'a' },\n\n{ key = 'b' },\n]\n")
    assert [places.limit(number) for number in range(3)] == [2, 4, None]
    assert places.key(1, "key") == 4


@given(st.lists(st.sampled_from(["", "  ", "# key9 = 1", "#[[limit]]", "\t# x"]), max_size=6))
@settings(deadline=None, max_examples=60)
def test_blank_lines_and_comments_are_counted(between: list[str]) -> None:
    """Wherever they stand."""
    gap = [*between, ""]
    lines = ["id = 'a'", *gap, "[[limit]]", *gap, "key = 'b'", *gap, "unit = 'c'"]
    places = find_places("\n".join(lines))
    assert places.limit(0) == lines.index("[[limit]]") + 1
    assert places.key(0, "key") == lines.index("key = 'b'") + 1
    assert places.key(0, "unit") == lines.index("unit = 'c'") + 1
