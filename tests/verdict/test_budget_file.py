"""Budgets as files: what is read, what is refused, and what is handed to the decision rules."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.errors import BudgetError
from lungwort.verdict import budget as b
from lungwort.verdict import decision
from lungwort.verdict.budget import work_out
from lungwort.verdict.budget_cover import (
    cover,
    entry_of,
    points,
    rounded_up,
    uncertainties_toml,
)
from lungwort.verdict.budget_file import (
    EXAMPLES,
    example_text,
    finite,
    not_below_zero,
    read_budgets,
)
from lungwort.verdict.budget_parts import EITHER

HEAD = """format = 1
[[budget]]
name = "x"
analyte = "co"
unit = "ppm"
at = [0, 5]
"""
CORRELATED = (
    HEAD
    + "".join(f"[[budget.part]]\nname = '{one}'\nkind = 'zero'\nlimit = 1\n" for one in "abc")
    + "[[budget.correlation]]\nbetween = ['a', 'b']\n"
)


def one_part(text: str) -> b.Part:
    """Read a budget of one part."""
    made = read_budgets(f"{HEAD}[[budget.part]]\n{text}", "b.toml")
    return made[0].parts[0]


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples_are_whole(name: str) -> None:
    """Every example gives all parts needed, and says that it is invented."""
    text = example_text(name)
    (made,) = read_budgets(text, f"{name}.toml")
    assert made.missing() == ()
    assert made.undated == ()
    assert "invented" in text.lower()
    assert all(one.source == "invented" for one in made.parts)


@pytest.mark.parametrize(
    ("text", "standard", "relative"),
    [
        # Each by hand, JCGM 100:2008, 4.3: q/(2√3), U/k, a/√3, a/√6, a/√2, s/√n.
        ("kind='resolution'\nstep=0.1", 0.1 / 2 / math.sqrt(3), False),
        ("kind='gas'\nexpanded_percent=2\nk=2", 0.01, True),
        ("kind='gas'\nexpanded=1.0\nvalue=50", 0.01, True),
        ("kind='linearity'\nlimit=0.3", 0.3 / math.sqrt(3), False),
        ("kind='zero'\nlimit=0.3\nshape='triangular'", 0.3 / math.sqrt(6), False),
        ("kind='temperature'\nper_k_percent=0.3\nwithin_k=10", 0.03 / math.sqrt(3), True),
        (
            "kind='temperature'\nper_k=0.02\nwithin_k=10\nshape='u_shaped'",
            0.2 / math.sqrt(2),
            False,
        ),
        ("kind='pressure'\nper_kpa_percent=0.1\nwithin_kpa=3", 0.003 / math.sqrt(3), True),
        ("kind='cross'\ncoefficient=0.2\nlowest=0\nhighest=3", 0.3 / math.sqrt(3), False),
        ("kind='repeatability'\nstandard_deviation=0.2\ncount=5\nmean_of=4", 0.1, False),
        ("kind='repeatability'\nreadings=[1.0, 2.0, 3.0]", 1.0, False),
        ("kind='bias'\nreads_high_by=0.4\nexpanded=0.2", 0.1, False),
        ("kind='other'\nlimit_percent=3\nshape='normal'", 0.03, True),
    ],
)
def test_kinds_of_part(text: str, standard: float, relative: bool) -> None:  # noqa: FBT001 - a table
    """Standard uncertainty of each kind of part."""
    made = one_part(text)
    assert made.standard == pytest.approx(standard, rel=1e-12)
    assert made.relative is relative


def test_offsets_go_the_right_way() -> None:
    """What makes the reading too high makes the true value lower, and the other way about."""
    assert one_part("kind='bias'\nreads_high_by=0.4\nexpanded=0.2").middle == -0.4
    assert one_part("kind='bias'\nreads_high_by=0.4\nexpanded=0.2\ncorrected=true").middle == 0
    assert one_part("kind='cross'\ncoefficient=0.5\nlowest=0\nhighest=3").middle == -0.75
    low = one_part("kind='drift'\nper_month_percent=1\nmonths=6\ndirection='reads_low'")
    assert low.middle == 0.005
    assert one_part("kind='drift'\nper_month=1\ndirection='reads_high'").middle == -0.5
    assert one_part(f"kind='drift'\nper_month=1\ndirection='{EITHER}'").middle == 0
    # At a lower pressure a cell of partial pressure shows too little: the true content is more.
    thin = one_part("kind='pressure'\ncalibrated_kpa_a=100\nlowest_kpa_a=90\nhighest_kpa_a=90")
    assert thin.middle == pytest.approx(100 / 90 - 1)


def test_degrees_of_freedom_of_repeats() -> None:
    """N - 1 (JCGM 100:2008, 4.2.6)."""
    assert one_part("kind='repeatability'\nreadings=[1.0, 2.0, 3.0]").dof == 2


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("kind='resolution'", "key 'step' is missing"),
        ("name='d'\nkind='resolution'\nstep=0", "line 10: .*'step': found 0"),
        ("kind='resolution'\nstep=-0.1", "found -0.1"),
        ("kind='resolution'\nstep=nan", "found nan"),
        ("kind='resolution'\nstep=inf", "found inf"),
        ("kind='resolution'\nstep='0.1'", "number without quotes"),
        ("kind='resolution'\nsteps=0.1", "not known. Near: 'step'"),
        ("kind='gaz'\nexpanded=1", "allowed are .*'gas'"),
        ("step=0.1", "'kind' is missing"),
        ("kind='gas'\nexpanded=1\nexpanded_percent=2", "either 'expanded'"),
        ("kind='gas'\nexpanded=60\nvalue=50", "as great as the value"),
        ("kind='gas'\nexpanded_percent=120", "found 120"),
        ("kind='drift'\nper_month_percent=20\nmonths=6", "Calibrate first"),
        ("kind='temperature'\nper_k_percent=20\nwithin_k=10", "as great as the reading"),
        ("kind='pressure'\ncalibrated_kpa_a=100\nlowest_kpa_a=90", "'highest_kpa_a' is missing"),
        (
            "kind='pressure'\ncalibrated_kpa_a=100\nlowest_kpa_a=90\nhighest_kpa_a=80",
            "below the lowest",
        ),
        ("kind='cross'\ncoefficient=0\nlowest=0\nhighest=1", "not zero"),
        ("kind='cross'\ncoefficient=1\nlowest=2\nhighest=1", "below the lowest"),
        ("kind='repeatability'\nreadings=[1.0]", "2 or more numbers"),
        ("kind='repeatability'\nreadings=[1.0, 1.0]", "all alike"),
        ("kind='repeatability'\nstandard_deviation=1\ncount=1", "found 1"),
        ("kind='bias'\nexpanded=1", "'reads_high_by' is missing"),
    ],
)
def test_refusals_of_parts(text: str, message: str) -> None:
    """Each mistake is told with what was found and what is allowed."""
    with pytest.raises(BudgetError, match=message):
        one_part(text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "format"),
        ("format = 1\n", "'budget' is missing"),
        (HEAD.replace('"co"', '"cox"'), "'cox' is not known"),
        (HEAD.replace('"ppm"', '"pints"'), "'unit'"),
        (HEAD.replace("[0, 5]", "[5, 0]"), "above the one before"),
        (HEAD.replace("[0, 5]", "[]"), "1 or more"),
        (HEAD + 'quantity = "mass_concentration"\n', "not a unit of mass_concentration"),
        (HEAD + 'quantity = "amount"\n', "'amount' is not known"),
        (HEAD, "'part' is missing"),
        (HEAD + "[budget.left_out]\ndrifts = 'x'\n", "Near: 'drift'"),
        (
            HEAD + "[[budget.part]]\nkind='zero'\nlimit=1\n[budget.left_out]\nzero='no'\n",
            "Take one away",
        ),
        (HEAD + "[[budget.part]]\nkind='zero'\nlimit=1\n" * 2, "stands twice"),
        (HEAD + HEAD.removeprefix("format = 1\n"), "the name 'x' stands twice"),
        (HEAD.replace('unit = "ppm"\n', ""), "'unit' is missing"),
        (HEAD.replace('"co"', '"water"').replace('"ppm"', '"°C"'), "'pressure_dew_point' or"),
        (
            f"{HEAD}left_out = 1\n[[budget.part]]\nkind='zero'\nlimit=1\n",
            r"write it as a table: \[budget.left_out\]",
        ),
        (
            CORRELATED,
            "'coefficient' is missing",
        ),
        (CORRELATED + "coefficient = 2\n", "found 2"),
        (
            CORRELATED + "coefficient = -0.9\n"
            "[[budget.correlation]]\nbetween = ['b', 'c']\ncoefficient = -0.9\n"
            "[[budget.correlation]]\nbetween = ['a', 'c']\ncoefficient = -0.9\n",
            "contradict one another",
        ),
        (
            HEAD + "[[budget.part]]\nkind='zero'\nlimit=1\n[[budget.correlation]]\n"
            "between=['zero', 'gas']\ncoefficient=0.5\n",
            "two different parts",
        ),
    ],
)
def test_refusals_of_files(text: str, message: str) -> None:
    """Mistakes of a budget as a whole."""
    with pytest.raises(BudgetError, match=message):
        read_budgets(text, "b.toml")


def test_unknown_example_is_refused() -> None:
    """The message names those that there are."""
    with pytest.raises(BudgetError, match="There are: co, o2"):
        example_text("co3")


def test_temperatures_may_be_below_zero() -> None:
    """A dew point may; a content may not."""
    (co,) = read_budgets(example_text("co"), "co.toml")
    assert not_below_zero(co)
    text = HEAD.replace('"co"', '"water"').replace('"ppm"', '"°C"').replace("[0, 5]", "[-60, -40]")
    text += 'quantity = "pressure_dew_point"\n[[budget.part]]\nkind="zero"\nlimit=2.0\n'
    (dew,) = read_budgets(text, "dew.toml")
    assert not not_below_zero(dew)
    entry = entry_of(dew, points(dew))
    assert entry.relative == 0
    assert entry.expanded(-50.0, "°C") >= 2 * 2.0 / math.sqrt(3)


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_entry_is_never_less_than_the_budget(name: str, tmp_path: Path) -> None:
    """A round trip through the file that the verdict takes, checked at many readings."""
    (made,) = read_budgets(example_text(name), f"{name}.toml")
    worked = points(made)
    file = tmp_path / "u.toml"
    file.write_text(uncertainties_toml([entry_of(made, worked)], "made for a test"), "utf-8")
    found = decision.uncertainties(file).of(made.analyte, made.quantity)
    assert found is not None
    for point in worked:
        assert found.expanded(point.worked.reading, made.unit) >= point.needed
    for step in range(200):
        reading = made.at[-1] * step / 100
        assert found.expanded(reading, made.unit) >= work_out(made, reading).around_reading


def test_what_has_no_highest_reading_is_covered_far_beyond() -> None:
    """A mass has no highest reading: the entry holds at ten times the highest of the budget."""
    text = HEAD.replace('"co"', '"oil"').replace('"ppm"', '"mg/m3"')
    (made,) = read_budgets(
        text + "[[budget.part]]\nkind='zero'\nlimit=0.1\n"
        "[[budget.part]]\nkind='other'\nlimit_percent=20\n",
        "b.toml",
    )
    entry = entry_of(made, points(made))
    assert entry.expanded(50.0, made.unit) >= work_out(made, 50.0).around_reading
    assert work_out(made, 50.0).around_reading >= 50.0 * 0.2 / math.sqrt(3)


def test_json_has_no_number_without_end() -> None:
    """What is not finite is null for a machine."""
    assert finite(2.5) == 2.5
    assert finite(math.inf) is None
    assert finite(math.nan) is None


def test_correlations_are_read() -> None:
    """A pair and its coefficient come through, and change what is worked out."""
    (tied,) = read_budgets(CORRELATED + "coefficient = 0.5\n", "b.toml")
    assert tied.correlations == (("a", "b", 0.5),)
    # Three of u = 1/√3, two of them with r = 0.5: u² = 3/3 + 2 * 0.5/3 (JCGM 100:2008, 5.2.2).
    assert work_out(tied, 5.0).combined == pytest.approx(math.sqrt(4 / 3), rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.0, 1000.0), st.floats(1e-3, 100.0)),
        min_size=1,
        max_size=12,
        unique_by=lambda pair: pair[0],
    )
)
def test_cover_covers(pairs: list[tuple[float, float]]) -> None:
    """Whatever U is at the readings, the greater of the two parts is not less."""
    readings, needed = zip(*sorted(pairs), strict=True)
    absolute, relative = cover(readings, needed)
    assert 0 <= relative < 1
    for x, u in zip(readings, needed, strict=True):
        assert max(absolute, relative * x) >= u


@given(st.floats(1e-6, 1e6))
def test_rounding_goes_up(value: float) -> None:
    """Never less, and by less than a tenth more."""
    assert value <= rounded_up(value) <= value * 1.1 + 1e-12


def test_nothing_comes_of_nothing() -> None:
    """U of zero, or of no number, is refused: it would make every reading certain."""
    with pytest.raises(BudgetError, match="above zero"):
        cover([1.0], [0.0])
    with pytest.raises(BudgetError, match="zero or more"):
        rounded_up(math.nan)
    text = HEAD + "[[budget.part]]\nkind='drift'\nper_month=1\nmonths=0\n"
    (made,) = read_budgets(text, "b.toml")
    with pytest.raises(BudgetError, match="comes to no uncertainty"):
        entry_of(made, points(made))
