"""What a user types: lengths of time, moments, pressures, temperatures, pairs, reading options."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from lungwort.errors import InputError
from lungwort.jobs.inputs import (
    parse_duration,
    parse_moment,
    parse_pairs,
    parse_pressure_bar_g,
    parse_temperature_c,
)
from lungwort.jobs.reading import Reading


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("30s", 30), ("30 min", 1800), ("10m", 600), ("1.5h", 5400), ("1,5 h", 5400), ("2d", 172800), ("0", 0), ("90 SEC", 90)],
)  # fmt: skip
def test_lengths_of_time(text: str, seconds: float) -> None:
    """With a unit, or nought."""
    assert parse_duration(text, "--settle") == timedelta(seconds=seconds)


@pytest.mark.parametrize("text", ["30", "-5 min", "half an hour", "", "5 fortnights", "1e3s"])
def test_what_is_no_length_of_time(text: str) -> None:
    """A number without a unit could be seconds or minutes."""
    with pytest.raises(InputError, match=r"^--settle .* is no length of time\. Write it like 30s"):
        parse_duration(text, "--settle")


def test_moments() -> None:
    """With an offset, in a zone, or UTC."""
    ten = datetime(2026, 7, 1, 10, tzinfo=UTC)
    assert parse_moment("2026-07-01 10:00", None, "--from") == ten
    assert parse_moment(" 2026-07-01T12:00 ", "Europe/Oslo", "--from") == ten
    assert parse_moment("2026-07-01T10:00Z", "Europe/Oslo", "--from") == ten
    assert parse_moment("2026-07-01T05:00-05:00", None, "--from") == ten
    with pytest.raises(
        InputError, match=r"^--from '01/07/2026' is no moment\. Write it year first"
    ):
        parse_moment("01/07/2026", None, "--from")


@pytest.mark.parametrize(
    ("text", "bar_g", "taken"),
    [
        ("7 bar(g)", 7.0, False),
        ("7 bar", 7.0, True),
        # 1 atm = 1.01325 bar (definition)
        ("8.01325 bar(a)", 7.0, False),
        # 1 psi = 6.894757 kPa (NIST SP 811)
        ("100 psi(g)", 6.894757293, False),
        ("100 psi", 6.894757293, True),
        ("700 kPa", 7.0, True),
        ("0.7 MPa", 7.0, True),
        ("7000 hPa", 7.0, True),
    ],
)
def test_pressures(text: str, bar_g: float, taken: bool) -> None:  # noqa: FBT001 - drawn
    """A pressure without a stated zero is taken as gauge, and that is said."""
    value, said = parse_pressure_bar_g(text, "--supply-pressure")
    assert value == pytest.approx(bar_g, abs=1e-8)
    assert bool(said) == taken


@pytest.mark.parametrize(
    ("text", "telling"),
    [
        ("7", "has no unit"),
        ("-2 bar(g)", r"is -2 bar\(g\)\. Give one above 0 and up to 1000"),
        ("5000 bar(g)", "up to 1000"),
        ("7 °C", "cannot be scaled"),
        ("700000 Pa", r"not known|not clear|write bar\(g\)"),
        ("much", "does not begin with a number"),
    ],
)
def test_what_is_no_pressure(text: str, telling: str) -> None:
    """The option, what was found, what to write."""
    with pytest.raises(InputError, match=rf"(?i)^--supply-pressure .*(?:{telling})"):
        parse_pressure_bar_g(text, "--supply-pressure")


def test_temperatures() -> None:
    """In three units; 41 °F is 5 °C."""
    for text in ("5 °C", "5 C", "41 °F", "278.15 K"):
        assert parse_temperature_c(text, "--lowest-temperature") == pytest.approx(5.0, abs=1e-9)
    with pytest.raises(InputError, match=r"is 300 °C\. Give one from -90 to 100 °C"):
        parse_temperature_c("300 °C", "--lowest-temperature")
    with pytest.raises(InputError, match=r"--lowest-temperature '5 bar\(g\)': .*cannot be scaled"):
        parse_temperature_c("5 bar(g)", "--lowest-temperature")


def test_pairs() -> None:
    """Only the first sign of equality parts name and value."""
    assert parse_pairs(["co = ppm", "a=b=c"], "--unit", "co=ppm") == (("co", "ppm"), ("a", "b=c"))
    for text in ("co", "=ppm", "co="):
        with pytest.raises(
            InputError, match=r"--unit .* is not of the form name=value.*--unit co=ppm"
        ):
            parse_pairs([text], "--unit", "co=ppm")


def test_reading_options() -> None:
    """What is typed ends up in its option."""
    typed = Reading(
        zone="Europe/Oslo",
        date_order="dmy",
        decimal="comma",
        delimiter=";",
        encoding="cp1252",
        sheet="Log",
        unit=["co=ppm"],  # a list, as the command line gives it
        column=("co=Sensor 1",),
        ignore=("Door",),
        time_column=("Zeit",),
        missing=("-200",),
        trust=("co2",),
        start="2026-07-01 12:00",
        header_line=3,
        settle="5min",
        settle_gap="1h",
    )
    options = typed.options(("co",))
    assert options.units == (("co", "ppm"),)
    assert options.columns == (("co", "Sensor 1"),)
    assert (options.ignore, options.time_columns, options.missing) == (
        ("Door",),
        ("Zeit",),
        ("-200",),
    )
    assert (options.trust, options.wanted, options.header_line) == (("co2",), ("co",), 3)
    assert (options.settle_s, options.resettle_gap_s) == (300.0, 3600.0)
    assert options.start == datetime(2026, 7, 1, 10, tzinfo=UTC)
    assert (options.zone, options.date_order, options.decimal) == ("Europe/Oslo", "dmy", "comma")
    assert (options.delimiter, options.encoding, options.sheet) == (";", "cp1252", "Log")


@pytest.mark.parametrize(
    ("text", "stated"),
    [("2026-07-01 12:00", False), ("2026-07-01", False), ("2026-07-01T12:00Z", True), ("20260701T120000-0500", True)],
)  # fmt: skip
def test_a_start_without_any_zone_stays_a_wall_time(text: str, stated: bool) -> None:  # noqa: FBT001 - drawn
    """As the log's own times would."""
    start = Reading(start=text).options().start
    assert start is not None
    assert (start.tzinfo is not None) == stated


def test_a_recipe_is_the_beginning(tmp_path: Path) -> None:
    """What else is given goes before it or is added."""
    path = tmp_path / "mine.toml"
    path.write_text(
        'format = "lungwort-recipe/1"\n[file]\nmissing = ["-200"]\nonly_columns = true\n[time]\nzone = "Europe/Oslo"\n'
        '[[channel]]\nheading = "A"\nanalyte = "co"\nunit = "ppm"\n',
        encoding="utf-8",
    )
    options = Reading(recipe=path, missing=("999",), unit=("co=ppb",), zone="UTC").options()
    assert options.missing == ("-200", "999")
    assert options.units == (("co", "ppb"), ("A", "ppm"))
    assert (options.zone, options.only_columns, options.recipe) == ("UTC", True, "mine")
    other = Reading(recipe=path, column=("co=B",)).options()
    assert (other.columns, other.only_columns) == ((("co", "B"),), False)


@pytest.mark.parametrize("text", ["1,440 min", "2,000s"])
def test_a_length_that_can_be_a_thousandfold_is_refused(text: str) -> None:
    """A minute and a half, or a day: nobody can tell."""
    with pytest.raises(InputError, match="is no length of time"):
        parse_duration(text, "--settle")
    assert parse_duration("1,5 min", "--settle") == timedelta(seconds=90)
