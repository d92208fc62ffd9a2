"""Recipes: what was settled once is settled, and every mistake in one is told with its place."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.logs.made import START, columns, table, write

from lungwort.errors import LogError, RecipeError
from lungwort.logs.model import Channel
from lungwort.logs.options import ReadOptions
from lungwort.logs.read import read_log
from lungwort.logs.recipe import load_recipe, recipe_of, recipe_text

GOOD = """\
format = "lungwort-recipe/1"
name = "hall"
trust = ["co2"]
settle_min = 15
resettle_gap_min = 20

[file]
delimiter = ";"
encoding = "cp1252"
decimal = "comma"
header_line = 3
sheet = "Log"
ignore = ["Door"]
missing = ["-200", 999, 9.9]
only_columns = true

[time]
columns = ["Datum", "Zeit"]
zone = "Europe/Oslo"
date_order = "dmy"
start = 2026-03-04T10:00:00
unit = "s"

[[channel]]
heading = "Sensor 1"
analyte = "co"
unit = "ppm"

[[channel]]
heading = "Sensor 2"
analyte = "water"
unit = "°C pressure dew point"

[[channel]]
heading = "O2 [%]"
analyte = "o2"
"""


def load(tmp_path: Path, text: str) -> ReadOptions:
    """Write a recipe and read it."""
    return load_recipe(write(tmp_path, text, "mine.toml"))


def test_all_keys_are_read(tmp_path: Path) -> None:
    """Each key ends up in its option."""
    assert load(tmp_path, GOOD) == ReadOptions(
        zone="Europe/Oslo",
        date_order="dmy",
        decimal="comma",
        delimiter=";",
        encoding="cp1252",
        units=(("Sensor 1", "ppm"), ("Sensor 2", "°C pressure dew point"), ("time", "s")),
        columns=(("co", "Sensor 1"), ("water", "Sensor 2"), ("o2", "O2 [%]")),
        only_columns=True,
        ignore=("Door",),
        time_columns=("Datum", "Zeit"),
        start=datetime(2026, 3, 4, 10),  # noqa: DTZ001 - a wall time
        missing=("-200", "999", "9.9"),
        sheet="Log",
        header_line=3,
        trust=("co2",),
        settle_s=900.0,
        resettle_gap_s=1200.0,
        recipe="hall",
    )


def test_a_recipe_saved_by_an_editor_with_a_mark(tmp_path: Path) -> None:
    """Some editors put a byte order mark first."""
    path = write(tmp_path, GOOD, "mine.toml", "utf-8-sig")
    assert load_recipe(path).recipe == "hall"


@pytest.mark.parametrize(
    ("start", "wanted"),
    [
        ("2026-03-04T10:00:00Z", datetime(2026, 3, 4, 10, tzinfo=UTC)),
        ('"2026-03-04 10:00"', datetime(2026, 3, 4, 10)),  # noqa: DTZ001 - a wall time
        ("2026-03-04", datetime(2026, 3, 4)),  # noqa: DTZ001 - a wall time
    ],
)
def test_the_start_in_its_forms(tmp_path: Path, start: str, wanted: datetime) -> None:
    """A moment, a text, a day."""
    assert load(tmp_path, GOOD.replace("2026-03-04T10:00:00", start)).start == wanted


@pytest.mark.parametrize(
    ("old", "new", "telling"),
    [
        ('"lungwort-recipe/1"', '"lungwort-recipe/9"', r"format is 'lungwort-recipe/9', and this version reads 'lungwort-recipe/1'"),
        ("name =", "nane =", r"the recipe has an unknown key 'nane'\. Did you mean 'name'\? Known: format, name"),
        ("delimiter =", "delimeter =", r"\[file\] has an unknown key 'delimeter'\. Did you mean 'delimiter'\?"),
        ("date_order =", "order =", r"\[time\] has an unknown key 'order'\. Did you mean 'date_order'\?"),
        ('heading = "Sensor 1"', 'headings = "Sensor 1"', r"channel 1 has an unknown key 'headings'\. Did you mean 'heading'\?"),
        ('heading = "Sensor 2"\n', "", r"channel 2: heading must be text, and is ''"),
        ('analyte = "co"', 'analyte = "CO"', r"channel 1: 'CO' is no analyte\. Near it"),
        ('unit = "ppm"', 'unit = "furlong"', r"channel 1: unit 'furlong' is not known\. Known units: ppm"),
        ('unit = "s"', 'unit = "fortnight"', r"time: unit is 'fortnight', and must be a unit of time: s, ms, min or h"),
        ('"comma"', '"dot"', r"decimal is 'dot', and must be one of point, comma"),
        ('"dmy"', '"ydm"', r"date_order is 'ydm', and must be one of dmy, mdy, ymd"),
        ("header_line = 3", "header_line = 0", r"header_line must be a line number from 1, and is 0"),
        ("header_line = 3", "header_line = true", r"header_line must be a line number from 1, and is True"),
        ("only_columns = true", 'only_columns = "no"', r"only_columns must be true or false, and is 'no'"),
        ("settle_min = 15", "settle_min = -1", r"settle_min must be a number of minutes from 0, and is -1"),
        ("settle_min = 15", 'settle_min = "15"', r"settle_min must be a number of minutes from 0, and is '15'"),
        ('ignore = ["Door"]', 'ignore = "Door"', r"ignore must be a list, and is 'Door'"),
        ('ignore = ["Door"]', "ignore = [true]", r"ignore must be a list of texts or numbers, and holds True"),
        ('zone = "Europe/Oslo"', "zone = 1", r"time: zone must be text, and is 1"),
        ("2026-03-04T10:00:00", '"tomorrow"', r"start is 'tomorrow'; write it like 2026-03-04T10:00:00"),
        ("2026-03-04T10:00:00", "12", r"start is 12; write it like"),
        ("[file]\n", "file = 1\n[files]\n", r"the recipe has an unknown key 'files'"),
        ('name = "hall"', "name = hall", r"is not valid TOML"),
    ],
)  # fmt: skip
def test_every_mistake_is_told(tmp_path: Path, old: str, new: str, telling: str) -> None:
    """File, key, what was found, what is allowed."""
    assert old in GOOD
    with pytest.raises(RecipeError, match=rf"^mine\.toml: {telling}") as caught:
        load(tmp_path, GOOD.replace(old, new, 1))
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    ("text", "telling"),
    [
        ('format = "lungwort-recipe/1"\nchannel = 1\n', "channels are written as"),
        (
            'format = "lungwort-recipe/1"\nchannel = [1]\n',
            "channel 1 must be a table, and 1 is not",
        ),
        ('format = "lungwort-recipe/1"\nfile = 1\n', r"\[file\] must be a table, and 1 is not"),
        ("", "format is None"),
    ],
)
def test_mistakes_of_shape(tmp_path: Path, text: str, telling: str) -> None:
    """Tables that are none."""
    with pytest.raises(RecipeError, match=telling):
        load(tmp_path, text)


def test_recipes_that_cannot_be_opened(tmp_path: Path) -> None:
    """Missing, or no text."""
    with pytest.raises(RecipeError, match=r"gone\.toml: cannot be opened"):
        load_recipe(tmp_path / "gone.toml")
    with pytest.raises(RecipeError, match=r"mine\.toml: is not UTF-8 text"):
        load_recipe(write(tmp_path, b"\xff\xfe\x00", "mine.toml"))


def test_a_recipe_whose_heading_is_not_in_the_file_stops(tmp_path: Path) -> None:
    """Rather than reading the rest."""
    recipe = write(
        tmp_path,
        'format = "lungwort-recipe/1"\n[[channel]]\nheading = "CO [pm]"\nanalyte = "co"\nunit = "ppm"\n',
        "mine.toml",
    )
    log = write(tmp_path, table())
    with pytest.raises(
        LogError,
        match=r"log\.csv: there is no column 'CO \[pm\]' \(given with recipe 'mine'\)\. Near it: 'CO \[ppm\]'",
    ):
        read_log(log, recipe=recipe)


def test_what_is_given_goes_before_the_recipe(tmp_path: Path) -> None:
    """A unit or a zone said now is the one that counts."""
    recipe = write(
        tmp_path,
        'format = "lungwort-recipe/1"\n[time]\nzone = "Europe/Oslo"\n[[channel]]\nheading = "CO [ppm]"\nanalyte = "co"\n',
        "mine.toml",
    )
    text = table(time="%Y-%m-%d %H:%M:%S")
    log = read_log(write(tmp_path, text), recipe=recipe, zone="UTC", units={"co": "ppb"})
    assert log.start == START
    assert columns(log, "co")[0][0] == 0.0012
    assert log.sources[0].recipe == "mine"


TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), min_size=1, max_size=12)


@settings(max_examples=100, deadline=None)
@given(
    headings=st.lists(TEXTS, min_size=1, max_size=4, unique=True),
    name=TEXTS,
    missing=st.lists(TEXTS, max_size=3),
    settle_s=st.integers(0, 100_000),
    zone=st.sampled_from([None, "Europe/Oslo"]),
    decimal=st.sampled_from(["point", "comma"]),
    delimiter=st.sampled_from([",", ";", "\t", "|", '"', "\\"]),
)
def test_what_is_written_is_what_is_loaded(
    headings: list[str],
    name: str,
    missing: list[str],
    settle_s: int,
    zone: str | None,
    decimal: str,
    delimiter: str,
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """Property: any heading, also with quotation marks, line ends and signs of control, comes back."""
    options = ReadOptions(
        zone=zone, decimal=decimal, delimiter=delimiter, missing=tuple(missing), settle_s=float(settle_s), time_columns=tuple(headings[:1])
    )  # fmt: skip
    text = recipe_text(options, [(heading, "co", "ppm") for heading in headings], name)
    back = load_recipe(write(tmp_path_factory.mktemp("any"), text, "mine.toml"))
    assert back.columns == tuple(("co", heading) for heading in headings)
    assert back.units == tuple((heading, "ppm") for heading in headings)
    assert (back.missing, back.recipe, back.zone) == (tuple(missing), name, zone)
    assert (back.decimal, back.delimiter, back.only_columns) == (decimal, delimiter, True)
    assert back.settle_s == pytest.approx(settle_s, rel=1e-9)
    assert back.time_columns == tuple(headings[:1])


CO = Channel("co", "co", "volume_fraction", "ppm", heading="Sensor 1", logged_unit="%")
DEW = Channel("water", "water", "pressure_dew_point", "°C", heading="Sensor 2", logged_unit="°C")


def test_a_log_that_was_read_gives_its_recipe(tmp_path: Path) -> None:
    """With what its columns were taken for, and with the moment of elapsed second 0."""
    options = ReadOptions(
        zone="Europe/Oslo",
        units=(("co", "%"), ("time", "min")),
        start=datetime(2026, 3, 4, 10),  # noqa: DTZ001 - a wall time
        settle_s=60.0,
    )
    back = load(tmp_path, recipe_of(options, [CO, DEW], "hall"))
    assert back.columns == (("co", "Sensor 1"), ("water", "Sensor 2"))
    assert back.units == (
        ("Sensor 1", "%"),
        ("Sensor 2", "°C pressure dew point"),
        ("time", "min"),
    )
    assert (back.start, back.zone, back.settle_s) == (options.start, options.zone, 60.0)
    assert (back.only_columns, back.recipe) == (True, "hall")


@pytest.mark.parametrize("channels", [[], [CO, CO]])
def test_columns_that_cannot_be_named_are_not(tmp_path: Path, channels: list[Channel]) -> None:
    """Several layouts, or one heading twice: only what was settled, the rest as a comment."""
    options = ReadOptions(columns=(("co", "A"),), units=(("A", "ppm"), ("water", "mg/m3")))
    text = recipe_of(options, channels, "x")
    back = load(tmp_path, text)
    assert (back.columns, back.units, back.only_columns) == (
        (("co", "A"),),
        (("A", "ppm"),),
        False,
    )
    assert '# Settled besides: "water=mg/m3"' in text
