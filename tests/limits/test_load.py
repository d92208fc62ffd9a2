"""The loader: every mistake in a user's file is told with its line and what to write instead."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import LimitSetError
from lungwort.limits.check import LIMIT_KEYS
from lungwort.limits.load import available, limit_set, load_file, read_text, shipped_ids
from lungwort.limits.model import Bound, LimitSet

HEAD = """\
format = 1
id = "mine"
title = "Mine"
document = "House rule"
edition = "1"
use = "airline"
reference_temperature_c = 20
reference_pressure_kpa = 101.325
status = "confirmed"
source = "read by me"
"""
CO = """
[[limit]]
key = "co"
analyte = "co"
unit = "ppm"
upper = "<= 5"
"""
FIRST = HEAD.count("\n") + 2  # line of the first [[limit]]


def read(text: str) -> LimitSet:
    """Read a set as a user's file."""
    return read_text(text, "mine.toml")


def limit(**keys: str) -> str:
    """Write one limit; a value stands as it is in the file, '' leaves the key out."""
    base = {"key": '"x"', "analyte": '"co"', "unit": '"ppm"', "upper": '"<= 5"'} | keys
    lines = [f"{key} = {value}" for key, value in base.items() if value]
    return "\n[[limit]]\n" + "\n".join(lines) + "\n"


def mistake(text: str) -> str:
    """Give the message of a set that must be refused."""
    with pytest.raises(LimitSetError, match=r"mine\.toml") as caught:
        read(text)
    message = str(caught.value)
    assert message.endswith(".")
    return message


# Right ones


def test_smallest_set() -> None:
    """What a limit says when nothing more is stated."""
    one = read(HEAD + CO)
    co = one.limit("co")
    assert (one.id, one.origin, one.extends) == ("mine", "mine.toml", "")
    assert co.upper == Bound(5.0, included=True)
    assert co.lower is None
    assert (co.quantity, co.averaging, co.required, co.needs) == (
        "volume_fraction",
        "any reading",
        True,
        "",
    )
    assert (co.status, co.source) == ("confirmed", "read by me")


@pytest.mark.parametrize(
    ("written", "bound"),
    [
        ('"<= 5"', Bound(5.0, included=True)),
        ('"≤5"', Bound(5.0, included=True)),
        ('"=< 5"', Bound(5.0, included=True)),
        ('"< 5.0"', Bound(5.0, included=False)),
        ('"  <   1.5e1 "', Bound(15.0, included=False)),
    ],
)
def test_upper_operators(written: str, bound: Bound) -> None:
    """Every way to write an upper bound."""
    assert read(HEAD + limit(upper=written)).limit("x").upper == bound


@pytest.mark.parametrize(
    ("written", "bound"),
    [
        ('">= 5"', Bound(5.0, included=True)),
        ('"≥ 5"', Bound(5.0, included=True)),
        ('"=> 5"', Bound(5.0, included=True)),
        ('"> 5"', Bound(5.0, included=False)),
    ],
)
def test_lower_operators(written: str, bound: Bound) -> None:
    """Every way to write a lower bound."""
    assert read(HEAD + limit(upper="", lower=written)).limit("x").lower == bound


def test_unit_is_brought_to_its_name() -> None:
    """A spelling of the trade is understood."""
    assert read(HEAD + limit(unit='"ml/m³"')).limit("x").unit == "ppm"


def test_own_status_and_source_win_over_those_of_the_set() -> None:
    """The set's are only the default."""
    one = read(HEAD + limit(status='"from memory"', source='"a letter"')).limit("x")
    assert (one.status, one.source) == ("from memory", "a letter")


def test_every_kind_of_limit() -> None:
    """A table, a margin that needs the temperature, a margin with a default, words."""
    one = read(
        HEAD
        + limit(
            key='"w"',
            analyte='"water"',
            unit='"mg/m3"',
            upper="",
            rows='[\n  { up_to_bar_g = 5, upper = "<= 9" },\n]',
            last_row_serves_above="true",
            averaging='"10 min"',
        )
        + limit(
            key='"m"',
            analyte='"water"',
            quantity='"pressure_dew_point"',
            unit='"°C"',
            upper="",
            margin_c="5",
            needs='"lowest temperature"',
        )
        + limit(key='"odour"', analyte='"odour"', unit="", upper="", wording='"none"')
        + limit(key='"lw"', analyte='"liquid_water"', unit='"g/m3"', upper='"< 0.1"')
    )
    assert [one.limit(key).kind for key in ("w", "m", "odour", "lw")] == [
        "pressure_table",
        "dew_point_margin",
        "wording",
        "range",
    ]


def test_layout_does_not_matter(tmp_path: Path) -> None:
    """Byte order mark, Windows line ends, comments, tables written in other ways."""
    file = tmp_path / "my set.toml"
    text = HEAD + CO
    file.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    plain = read(text)
    assert load_file(file).digest == plain.digest
    inline = HEAD + '\nlimit = [{ key="co", analyte="co", unit="ppm", upper="<= 5" }] # all\n'
    assert read(inline).digest == plain.digest


# Mistakes in the set


@pytest.mark.parametrize(
    ("old", "new", "line", "message"),
    [
        ("format = 1\n", "", None, "key 'format' is missing. Write format = 1 at the top"),
        ("format = 1", "format = 2", 1, "key 'format': found 2; this version of lungwort reads 1"),
        ("format = 1", "format = true", 1, "key 'format': found true;"),
        ('id = "mine"\n', "", None, "key 'id' is missing"),
        ('"mine"', '"My Set"', 2, "found 'My Set'; small letters a to z and digits are allowed"),
        ('"mine"', '"nfpa-1989"', 2, "'nfpa-1989' is a set that comes with lungwort"),
        ('"Mine"', "7", 3, "key 'title': found 7, text in quotes is needed"),
        ('"Mine"', '"  "', 3, "key 'title' is empty"),
        ('"Mine"', r'"a\nb"', 3, r"found 'a\nb', with a line break or control character"),
        ('"House rule"', "false", 4, "key 'document': found false, text in quotes"),
        ("_c = 20", '_c = "20"', 7, "found '20', a number without quotes is needed [°C]"),
        ("_c = 20", "_c = true", 7, "found true, a number without quotes"),
        ("_c = 20", "_c = nan", 7, "found NaN, allowed is -20 to 40 °C"),
        ("_c = 20", "_c = inf", 7, "found Infinity, allowed is -20 to 40 °C"),
        ("_c = 20", "_c = 41", 7, "found 41, allowed is -20 to 40 °C"),
        ("= 101.325", "= 1.01325", 8, "found 1.01325, allowed is 80 to 120 kPa(a)"),
        ("reference_temperature_c = 20\n", "", None, "key 'reference_temperature_c' is missing"),
        (
            '"confirmed"',
            '"confirm"',
            9,
            "allowed are 'confirmed', 'from memory'. Near: 'confirmed'.",
        ),
        ('"confirmed"', "1", 9, "key 'status': found 1, text in quotes is needed"),
        ("use =", "usage =", 6, "key 'usage': this key is not known. Near: 'use'."),
        ("title =", "titel =", 3, "key 'titel': this key is not known. Near: 'title'."),
        ('use = "airline"', 'use = "airline"\nremarks = "one"', 7, "found 'one', a list is needed"),
        ('use = "airline"', 'use = "airline"\nremarks = [1]', 7, "found 1 in the list"),
        ('use = "airline"', 'use = "airline"\nremove = ["co"]', 7, "the set extends no other"),
        ('use = "airline"', 'use = "airline"\nextends = "nfpa-1998"', 7, "Near: 'nfpa-1989'."),
        ('use = "airline"', 'use = "airline"\nextends = 5', 7, "found 5, the id of a set"),
    ],
)
def test_mistakes_in_the_set(old: str, new: str, line: int | None, message: str) -> None:
    """What was found, where, and what is allowed."""
    assert old in HEAD
    told = mistake(HEAD.replace(old, new, 1) + CO)
    assert message in told
    if line is not None:
        assert re.search(rf"line {line}: key", told)


def test_set_without_limits() -> None:
    """Everything would conform to it."""
    assert "the set has no required limit: everything would conform" in mistake(HEAD)
    assert "no required limit" in mistake(HEAD + limit(required="false"))


@pytest.mark.parametrize("wrong", ["[limit]\nkey = 'co'\n", "limit = 3\n", "limit = ['co']\n"])
def test_limits_in_another_form(wrong: str) -> None:
    """A limit is a table in an array."""
    told = mistake(HEAD + wrong)
    assert f"line {FIRST - 1}: key 'limit': each limit begins with a line [[limit]]" in told


# Mistakes in a limit


@pytest.mark.parametrize(
    ("keys", "key_line", "message"),
    [
        # bounds
        (
            {"upper": '"5"'},
            4,
            "found '5' without an operator. Write \"<= 5\" (5 itself is allowed)",
        ),
        ({"upper": "5"}, 4, "found 5, text with an operator is needed"),
        ({"upper": "true"}, 4, "found true, text with an operator is needed"),
        ({"upper": '">= 5"'}, 4, "found '>= 5', the operator points the wrong way"),
        ({"upper": "", "lower": '"<= 5"'}, 4, 'the operator points the wrong way: ">= 5"'),
        ({"upper": '"<= 0,5"'}, 4, "the decimal sign is a point, not a comma"),
        ({"upper": '"<= 5 ppm"'}, 4, "'ppm' does not belong here: the unit stands in the key"),
        ({"upper": '"<= nan"'}, 4, "'nan' is not a number that a limit can have"),
        ({"upper": '"<= inf"'}, 4, "'inf' is not a number that a limit can have"),
        ({"upper": '"<= "'}, 4, "'' is not a number that a limit can have"),
        ({"upper": '"<= 1e999"'}, 4, "inf ppm cannot be"),
        ({"upper": '"<= -1"'}, 4, "-1 ppm cannot be: a volume fraction lies between 0 and 1e+06"),
        ({"unit": '"%"', "upper": '"<= 101"'}, 4, "101 % cannot be"),
        ({"lower": '">= 6"'}, 5, "6 is above the upper bound 5"),
        ({"lower": '"> 5"'}, 5, "with both bounds at 5 nothing at all is allowed"),
        ({"upper": ""}, 1, "the limit says nothing that is allowed. Give one of: lower, upper"),
        ({"wording": '"none"'}, 4, "'upper' and 'wording' stand in one limit"),
        # names
        ({"key": ""}, 0, "key 'key' is missing"),
        ({"key": "7"}, 1, "limit 1, key 'key': found 7, text in quotes"),
        ({"key": '"a b"'}, 1, "found 'a b'; small letters"),
        ({"uper": '"<= 5"', "upper": ""}, 4, "key 'uper': this key is not known. Near: 'upper'."),
        ({"colour": '"red"'}, 5, "key 'colour': this key is not known. Known keys: key, analyte"),
        ({"analyte": ""}, 0, "key 'analyte' is missing"),
        ({"analyte": '"wate"'}, 2, "'wate' is not known. Near: 'water'."),
        ({"analyte": '"Carbon monoxide"'}, 2, "is not known. Its key is 'co'."),
        ({"analyte": '"xyzzy"'}, 2, "'xyzzy' is not known. Known analytes: o2, n2, co"),
        # units and quantities
        ({"unit": ""}, 0, "key 'unit' is missing"),
        ({"unit": '"pppm"'}, 3, "'pppm' is not known. Near: 'ppm'."),
        ({"unit": '"furlong"'}, 3, "'furlong' is not known. Known units: ppm, ppb"),
        ({"unit": '"°C"'}, 3, "co is not limited as temperature; allowed are volume fraction"),
        (
            {"quantity": '"mass_concentration"'},
            3,
            "'ppm' measures a volume fraction, not a mass concentration",
        ),
        ({"quantity": '"volume"'}, 5, "'volume' is not known. Known quantities: atmospheric_dew"),
        ({"quantity": '"volume_fractions"'}, 5, "Near: 'volume_fraction'."),
        ({"analyte": '"oil"'}, 3, "oil is not limited as volume fraction; allowed are mass conc"),
        (
            {"analyte": '"water"', "unit": '"°C"'},
            0,
            "key 'quantity' is missing. State 'atmospheric_dew_point' or 'pressure_dew_point'",
        ),
        (
            {"analyte": '"water"', "unit": '"°C"', "quantity": '"temperature"'},
            5,
            "water is not limited as temperature",
        ),
        (
            {"analyte": '"water"', "unit": '"bar"', "quantity": '"pressure_dew_point"'},
            3,
            "'bar' does not say gauge or absolute. Write bar(g) or bar(a)",
        ),
        (
            {
                "analyte": '"water"',
                "unit": '"°C"',
                "quantity": '"pressure_dew_point"',
                "upper": '"<= 61"',
            },
            4,
            "61 °C cannot be: a pressure dew point lies between -120 and 60 °C",
        ),
        # words
        ({"upper": "", "unit": "", "wording": '"none"'}, 3, "co is limited by numbers"),
        (
            {"analyte": '"odour"', "upper": "", "wording": '"none"'},
            3,
            "a wording has no unit",
        ),
        (
            {
                "analyte": '"odour"',
                "upper": "",
                "unit": "",
                "wording": '"none"',
                "quantity": '"volume_fraction"',
            },
            4,
            "found 'volume_fraction' with a wording. Leave it out",
        ),
        ({"analyte": '"odour"', "upper": "", "unit": "", "wording": '""'}, 3, "'wording' is empty"),
        ({"analyte": '"odour"'}, 3, "odour is not limited as volume fraction; allowed are wording"),
        # the rest
        ({"averaging": '"8h"'}, 5, "found '8h', allowed are 'any reading', '10 min', '15 min'"),
        ({"averaging": "8"}, 5, "found 8, text in quotes is needed"),
        ({"required": '"no"'}, 5, "found 'no', true or false (without quotes) is needed"),
        ({"required": "0"}, 5, "found 0, true or false"),
        ({"status": '"sure"'}, 5, "found 'sure', allowed are 'confirmed', 'from memory'"),
        ({"needs": '"lowest temperature"'}, 5, "only a limit with margin_c"),
        ({"needs": '"lowest temperatur"'}, 5, "Near: 'lowest temperature'."),
        ({"remark": r'"a\u0007"'}, 5, "with a line break or control character"),
        ({"remark": '"' + 80 * "x" + r"\n" + '"'}, 5, "xxx..., with a line break"),
    ],
)
def test_mistakes_in_a_limit(keys: dict[str, str], key_line: int, message: str) -> None:
    """What was found, at which line, and what is allowed."""
    told = mistake(HEAD + limit(**keys))
    assert message in told
    assert f"line {FIRST + key_line}: limit " in told


TABLE = {"analyte": '"water"', "unit": '"mg/m3"', "upper": ""}


@pytest.mark.parametrize(
    ("rows", "line", "message"),
    [
        ("3", 4, "found 3, a list of rows is needed, each like { up_to_bar_g = 10"),
        ("[]", 4, "found [], a list of rows is needed"),
        ("[1]", 4, "found [1], a list of rows is needed"),
        ('[\n{ upper = "<= 5" },\n]', 5, "row 1, key 'up_to_bar_g' is missing. A row is written"),
        ("[\n{ up_to_bar_g = 5 },\n]", 5, "row 1, key 'upper' is missing"),
        ('[\n\n{ up_to_bar_g = "5", upper = "<= 5" },\n]', 6, "found '5', a number without quotes"),
        ('[{ up_to_bar_g = 1001, upper = "<= 5" }]', 4, "allowed is 0 to 1000 bar(g)"),
        ('[{ up_to_bar_g = inf, upper = "<= 5" }]', 4, "found Infinity, allowed is 0 to 1000"),
        ('[{ up_to_bar_g = 5, uper = "<= 5" }]', 4, "key 'uper': this key is not known"),
        ('[{ up_to_bar_g = 5, upper = "5" }]', 4, "found '5' without an operator"),
        ('[{ up_to_bar_g = 5, upper = "<= -5" }]', 4, "-5 mg/m3 cannot be"),
        (
            '[\n{ up_to_bar_g = 5, upper = "<= 5" },\n{ up_to_bar_g = 5, upper = "<= 4" },\n]',
            6,
            "row 2, key 'up_to_bar_g': 5 does not rise above the row before, 5",
        ),
    ],
)
def test_mistakes_in_a_table(rows: str, line: int, message: str) -> None:
    """A row is named by its number and its line."""
    told = mistake(HEAD + limit(**TABLE, rows=rows))
    assert message in told
    assert f"line {FIRST + line}: limit 'x'" in told


def test_rows_written_as_tables_of_their_own() -> None:
    """TOML allows it; the line is still found."""
    told = mistake(
        HEAD
        + limit(**TABLE)
        + '[[limit.rows]]\nup_to_bar_g = 5\nupper = "<= 5"\n[[limit.rows]]\nup_to_bar_g = 9\n'
    )
    assert f"line {FIRST + 7}: limit 'x', row 2, key 'upper' is missing" in told


def test_table_begins_below_its_first_row() -> None:
    """Else the first row would never serve."""
    told = mistake(
        HEAD + limit(**TABLE, rows='[{ up_to_bar_g = 5, upper = "<= 5" }]', table_above_bar_g="5")
    )
    assert "key 'table_above_bar_g': the first row must serve a pressure above this one" in told
    assert "Give one of: rows" in mistake(HEAD + limit(**TABLE, table_above_bar_g="5"))


MARGIN = {
    "analyte": '"water"',
    "quantity": '"pressure_dew_point"',
    "unit": '"°C"',
    "upper": "",
}


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        (MARGIN | {"margin_c": "51"}, "found 51, allowed is 0 to 50 °C"),
        (MARGIN | {"margin_c": "-5"}, "found -5, allowed is 0 to 50 °C"),
        (MARGIN | {"margin_c": '"5"'}, "found '5', a number without quotes is needed [°C]"),
        (MARGIN | {"margin_c": "5", "unit": '"°F"'}, "a margin needs quantity 'atmospheric_dew"),
        (
            MARGIN | {"margin_c": "5", "quantity": '"humidity_ratio"', "unit": '"g/kg"'},
            "a margin needs quantity 'atmospheric_dew_point' or 'pressure_dew_point'",
        ),
        (MARGIN | {"default_upper": '"<= -11"'}, "Give one of: margin_c"),
        (
            MARGIN
            | {"margin_c": "5", "default_upper": '"<= -11"', "needs": '"lowest temperature"'},
            "only a limit with margin_c and without default_upper can need this",
        ),
        (
            MARGIN | {"margin_c": "5", "needs": '"lowest temperature"'},
            "without the lowest temperature no other required limit of water would stand in",
        ),
    ],
)
def test_mistakes_in_a_margin(keys: dict[str, str], message: str) -> None:
    """Its unit, its size, its condition."""
    assert message in mistake(HEAD + CO + limit(**keys))


def test_status_and_source_must_be_stated() -> None:
    """No silent default for where a number comes from."""
    bare = HEAD.replace('status = "confirmed"\nsource = "read by me"\n', "")
    told = mistake(bare + CO)
    assert "key 'source' is missing. State where the numbers come from" in told
    assert "key 'status' is missing. State 'confirmed' (seen in the source) or 'from" in told


def test_key_that_stands_twice() -> None:
    """Both lines are named."""
    told = mistake(HEAD + CO + CO)
    assert f"line {FIRST + 7}: limit 'co', key 'key': 'co' stands already at line {FIRST}." in told
    named = HEAD + "limit = [\n{ key = 'a' },\n{ key = 'a' },\n]\n"
    assert f"line {FIRST + 1}: limit 'a', key 'key': 'a' stands already at line {FIRST}." in (
        mistake(named)
    )


def test_all_mistakes_are_told_together_in_order_of_lines() -> None:
    """Whoever writes a set sees all of them at once."""
    told = mistake(HEAD.replace("title =", "titel =") + limit(unit='"pppm"', upper='"5"'))
    assert told.startswith("mine.toml has 4 mistakes:\n")
    numbers = [int(number) for number in re.findall(r"line (\d+):", told)]
    assert numbers == sorted(numbers) == [3, FIRST + 3, FIRST + 4]
    assert "key 'title' is missing" in told


VALUES = st.one_of(
    st.sampled_from(
        ["true", "nan", "-inf", "1979-05-27", "07:32:00", "[]", "[[]]", "{}", '""', '"x\\ny"']
    ),
    st.integers(-(10**30), 10**30).map(str),
    st.floats(allow_nan=False, allow_infinity=False).map(lambda value: f"{value:.3e}"),
    st.text("<=>≤≥ 0123456789.,eE-+%°Cagmpor/()[]{}", max_size=8).map(json.dumps),
    st.sampled_from(["[{ up_to_bar_g = 5 }]", '[{ upper = "<= 5" }, 3]', '["<= 5"]']),
)
TOP_KEYS = ("format", "id", "use", "extends", "remove", "remarks", "status", "source", "limit")
ALL_KEYS = st.sampled_from([*LIMIT_KEYS, "x"])


@given(st.dictionaries(ALL_KEYS, VALUES, max_size=5), st.sampled_from(TOP_KEYS), VALUES)
@settings(deadline=None, max_examples=400)
def test_whatever_stands_there_it_is_a_set_or_a_clear_mistake(
    keys: dict[str, str], top_key: str, top_value: str
) -> None:
    """No other error gets out, and no number that is not finite gets in."""
    head = "".join(
        line for line in HEAD.splitlines(keepends=True) if not line.startswith(f"{top_key} ")
    )
    for text in (
        HEAD + CO + limit(**keys),
        head + f"{top_key} = {top_value}\n" + (CO if top_key != "limit" else ""),
    ):
        try:
            one = read(text)
        except LimitSetError as error:
            told = str(error)
            assert told.startswith("mine.toml")
            assert told.endswith(".")
        else:
            assert all(
                math.isfinite(bound.value)
                for found in one
                for bound in (found.lower, found.upper, found.default_upper)
                if bound is not None
            )


# Not TOML, not text, not there


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("format = 1\nid == 2\n", r"mine\.toml, line 2, column 5: this is not TOML: invalid value"),
        ('a = "x\n', r"line 1, column 7: this is not TOML: illegal character"),
        ("a = 1\na = 2\n", r"line 2, column 6: this is not TOML: cannot overwrite a value"),
        ("a = [1,", r"mine\.toml, at the end: this is not TOML: .*"),
        ("a = " + 10_000 * "[", "brackets are nested too deeply"),
    ],
)
def test_not_toml(text: str, message: str) -> None:
    """Line and column."""
    with pytest.raises(LimitSetError, match=message):
        read(text)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    """Missing, a folder, another encoding, too large, a name that no file can have."""
    with pytest.raises(LimitSetError, match=r"does not exist\. Check the path"):
        load_file(tmp_path / "none.toml")
    with pytest.raises(LimitSetError, match="cannot be read"):
        load_file(tmp_path)
    with pytest.raises(LimitSetError, match="cannot be read"):
        load_file("a\0b.toml")
    file = tmp_path / "latin.toml"
    file.write_bytes(HEAD.encode() + "unit = '°C'".encode("latin-1"))
    with pytest.raises(LimitSetError, match=rf"latin\.toml, line {FIRST - 1}: not UTF-8 text"):
        load_file(file)
    file.write_bytes(b"#" * 1_000_001)
    with pytest.raises(LimitSetError, match="has 1000001 bytes; a limit set has at most 1000000"):
        load_file(file)


# By id


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("en12021-2014-arline", "Near: 'en12021-2014-airline'"),
        ("EN12021 2014", "Near: en12021-2014-airline, en12021-2014-charging, en12021-2014-oxy"),
        ("iso8573", r"Near: iso8573-1-2010-oil-class-1, .* and 7 more\."),
        ("osha_pel", "Near: osha-pel"),
        ("zzz", r"'zzz' is not known\. 'lungwort limits' lists all"),
        ("", r"limit set '' is not known\. 'lungwort limits' lists all"),
        ("a\0b", "is not known"),
        ("x" * 5000, "is not known"),
    ],
)
def test_unknown_id(name: str, message: str) -> None:
    """Near ones are named, and how to list all."""
    with pytest.raises(LimitSetError, match=message):
        limit_set(name)


@pytest.mark.parametrize("name", ["none.toml", "folder/none", "folder\\none", "NONE.TOML"])
def test_what_looks_like_a_file_is_taken_for_one(name: str) -> None:
    """And not for an id."""
    with pytest.raises(LimitSetError, match=r"limit set file .* does not exist"):
        limit_set(name)


def test_file_by_path_and_by_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file never hides a set that comes with lungwort."""
    monkeypatch.chdir(tmp_path)
    for name in ("mine.toml", "house", "nfpa-1989"):
        Path(name).write_text(HEAD + CO, encoding="utf-8")
    assert limit_set(tmp_path / "mine.toml").id == "mine"
    assert limit_set("mine.toml").origin == "mine.toml"
    assert limit_set("house").origin == "house"
    assert limit_set("nfpa-1989").origin == "shipped"
    assert limit_set(Path("nfpa-1989")).origin == "nfpa-1989"


def test_available_is_in_order_of_documents() -> None:
    """All of them, each once."""
    documents = [one.document.casefold() for one in available()]
    assert documents == sorted(documents)
    assert sorted(one.id for one in available()) == list(shipped_ids())


# Extending


def extending(base: str, rest: str = "") -> str:
    """Write a set that extends others."""
    head = HEAD.replace("reference_temperature_c = 20\nreference_pressure_kpa = 101.325\n", "")
    return head + f"extends = {base}\n" + rest


def test_extend_changes_adds_and_removes() -> None:
    """In the place of the old, at the end, and not at all."""
    base = limit_set("en12021-2014-airline")
    one = read(
        extending('"en12021-2014-airline"', 'remove = ["water_margin"]\nremarks = ["Ours."]\n')
        + limit(key='"co"', upper='"<= 3"')
        + limit(key='"no2"', analyte='"no2"', upper='"<= 0.1"')
    )
    assert [limit.key for limit in one] == [
        *(limit.key for limit in base if limit.key != "water_margin"),
        "no2",
    ]
    assert one.limit("co").upper == Bound(3.0)
    assert one.limit("co").source == "read by me"
    assert one.limit("co2") == base.limit("co2")
    assert one.extends == "en12021-2014-airline"
    assert (one.reference_temperature_c, one.reference_pressure_kpa) == (20.0, 101.325)
    assert one.remarks[0] == (
        f"Built on en12021-2014-airline ({base.title}); changed: co; removed: water_margin; "
        "added: no2. A verdict by this set is not a verdict by that document."
    )
    assert one.remarks[-1] == "Ours."
    assert set(base.remarks) < set(one.remarks)


def test_extend_without_a_change() -> None:
    """It is still told what it is built on."""
    one = read(extending('"osha-pel"'))
    assert one.remarks[0].endswith("; nothing changed.")
    assert list(one) == list(limit_set("osha-pel"))


def test_extend_two_sets() -> None:
    """Purity classes are put together."""
    one = read(extending('["iso8573-1-2010-oil-class-1", "iso8573-1-2010-water-class-4"]'))
    assert [limit.key for limit in one] == ["oil", "water"]
    assert one.extends == "iso8573-1-2010-oil-class-1, iso8573-1-2010-water-class-4"
    assert one.reference_pressure_kpa == 100.0
    # remarks that both share stand once
    assert len(one.remarks) == len(set(one.remarks))


@pytest.mark.parametrize(
    ("base", "rest", "message"),
    [
        ('"nfpa-1989"', 'remove = ["cO"]\n', "has no limit 'cO'. Near: 'co', 'co2'."),
        ('"osha-1910-430-diving"', 'remove = ["zzz"]\n', "It has: co, co2, oil, odour"),
        (
            '"nfpa-1989"',
            'remove = ["co"]\n' + limit(key='"co"'),
            "'co' is removed and written anew",
        ),
        (
            '["iso8573-1-2010-oil-class-1", "iso8573-1-2010-oil-class-2"]',
            "",
            "more than one of these sets has a limit 'oil'",
        ),
        ('["osha-pel", "osha-pel"]', "", "'osha-pel' stands twice"),
        (
            '["osha-pel", "uk-eh40-2020"]',
            "",
            "these sets differ in reference_temperature_c; their numbers do not go together",
        ),
        (
            '"nfpa-1989"',
            "reference_temperature_c = 20\n",
            "found 20, the extended set has 25: its numbers would change their meaning",
        ),
        ('"mine.toml"', "", "Only a set that comes with lungwort can be extended"),
        (
            '"en12021-2014-airline"',
            'remove = ["water"]\n',
            "limit 'water_margin', key 'needs': without the lowest temperature no other",
        ),
    ],
)
def test_mistakes_in_extending(base: str, rest: str, message: str) -> None:
    """A removal that would leave water unjudged is refused, too."""
    assert message in mistake(extending(base, rest))


def test_same_reference_state_may_be_stated_again() -> None:
    """It changes nothing."""
    one = read(extending('"nfpa-1989"', "reference_temperature_c = 25\n"))
    assert one.reference_temperature_c == 25.0


def test_clash_is_settled_by_an_own_limit() -> None:
    """Which of two sets counts is the user's word."""
    both = '["iso8573-1-2010-oil-class-1", "iso8573-1-2010-oil-class-2"]'
    own = limit(key='"oil"', analyte='"oil"', unit='"mg/m3"', upper='"<= 0.05"')
    assert read(extending(both, own)).limit("oil").upper == Bound(0.05)


def test_model_finds_limits_by_key() -> None:
    """And says which it has not."""
    one = read(HEAD + CO)
    assert one.limit("co").analyte == "co"
    with pytest.raises(KeyError, match="o2"):
        one.limit("o2")
