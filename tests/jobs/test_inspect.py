"""What `inspect` says of a file, and that a saved recipe gives the very same log again."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from attrs import evolve
from polars.testing import assert_frame_equal
from typer.testing import CliRunner

from lungwort.cli.main import app
from lungwort.errors import LogError, OutputError
from lungwort.jobs import judge as judging
from lungwort.jobs.inspect import as_json, inspect, save_recipe
from lungwort.jobs.reading import Reading
from lungwort.logs.read import read_with

DATA = Path(__file__).parents[1] / "data"
NOW = datetime(2026, 11, 25, tzinfo=UTC)
START = "2003-06-01 12:00"
REAL = {
    "air_quality_co_hourly.csv": Reading(unit=("co=mg/m3",), missing=("-200",), zone="Europe/Rome"),
    "occupancy_co2.txt": Reading(unit=("co2=ppm",), zone="Europe/Brussels"),
    "occupancy_first_200.txt": Reading(unit=("co2=ppm", "water=kg/kg", "temperature=°C"), zone="Europe/Brussels"),
    "train_compressor.csv": Reading(column=("pressure=TP3", "temperature=Oil_temperature"), unit=("pressure=bar(g)", "temperature=°C"), zone="Europe/Lisbon"),
    "fire_gases_10s.csv": Reading(
        column=("o2=O2-1", "co=CO-3", "co2=CO2-4"), unit=("time=s", "o2=mol/mol", "co=mol/mol", "co2=mol/mol"),
        missing=("999.0",), zone="America/New_York", start=START,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REAL)
def test_a_saved_recipe_gives_the_same_log(name: str, tmp_path: Path) -> None:
    """Real logs through inspect, a recipe, and back: the same frame, channels, flags and refusals."""
    path, reading = DATA / name, REAL[name]
    seen = inspect([path], reading, now=NOW, recipe_name="mine")
    assert seen.problem == ""
    saved = save_recipe(seen, tmp_path / "mine.toml")
    assert "start" not in saved.read_text(encoding="utf-8")
    again = Reading(recipe=saved, start=reading.start)
    first = read_with(path, reading.options(), now=NOW)
    second = read_with(path, again.options(), now=NOW)
    assert_frame_equal(first.frame, second.frame)
    assert first.channels == second.channels
    assert first.stretches == second.stretches
    assert (first.rows, first.start, first.end, first.zone) == (
        second.rows,
        second.start,
        second.end,
        second.zone,
    )
    assert first.sources[0].refusals == second.sources[0].refusals
    assert second.sources[0].recipe == "mine"


@pytest.mark.parametrize("name", REAL)
def test_judge_takes_each_real_log(name: str, tmp_path: Path) -> None:
    """With options and with the recipe; none of them proves that air is fit to breathe."""
    path, reading = DATA / name, REAL[name]
    seen = inspect([path], reading, now=NOW, recipe_name="mine")
    recipe = Reading(recipe=save_recipe(seen, tmp_path / "mine.toml"), start=reading.start)
    found = []
    for one in (reading, recipe):
        request = judging.Request(
            files=(path,), limits="osha-1910-134-grade-d-airline", reading=one
        )
        verdict = judging.judge(request, now=NOW)
        found.append([(finding.limit.key, finding.verdict) for finding in verdict.findings])
        assert verdict.overall in {"does_not_conform", "not_proven"}
    assert found[0] == found[1]


def test_what_is_understood_is_said() -> None:
    """Delimiter, lines, time, columns, zone, interval, counts, what was refused."""
    seen = inspect([DATA / "air_quality_co_hourly.csv"], REAL["air_quality_co_hourly.csv"], now=NOW)
    (file,) = seen.files
    assert (file.encoding, file.delimiter, file.decimal) == ("utf-8", "semicolon", "comma")
    assert (file.header_line, file.unit_line, file.first_line) == (1, 0, 2)
    assert file.time == "date and time as text in 'Date' and 'Time'"
    assert [(c.heading, c.taken_as, c.unit, c.kept_as) for c in file.columns] == [
        ("CO(GT)", "carbon monoxide", "mg/m3", "co [mg/m3]"),
        ("RH", "relative humidity", "%RH", "relative_humidity [%RH]"),
    ]
    assert file.unused == (("PT08.S1(CO)", "not understood"),)
    log = seen.log
    assert log is not None
    assert (log.rows_read, log.interval, log.zone) == (9471, "1 h", "Europe/Rome")
    assert log.channels[0][:4] == ("co", "mg/m3", "0.1", "11.9")
    assert any(row[1:3] == ("blank line", "114") for row in log.refusals)
    assert seen.recipe == ""


def test_open_questions_are_all_told_and_no_recipe_is_saved(tmp_path: Path) -> None:
    """Nothing is read before they are settled."""
    seen = inspect([DATA / "fire_gases_10s.csv"], Reading(), now=NOW, recipe_name="mine")
    assert seen.log is None
    assert len(seen.files[0].questions) == 6
    assert all("Choices: " in text and "--" in text for text in seen.files[0].questions)
    with pytest.raises(LogError, match=r"there is no recipe to save yet: questions are open"):
        save_recipe(seen, tmp_path / "mine.toml")
    assert not list(tmp_path.iterdir())


def test_what_shows_only_while_reading_is_told_too(tmp_path: Path) -> None:
    """A date order that stays open is a problem, and no crash."""
    path = tmp_path / "log.csv"
    path.write_text("Time,CO [ppm]\n" + "04/03/2026 10:00,1.5\n" * 20, encoding="utf-8")
    seen = inspect([path], Reading(), now=NOW)
    assert seen.log is None
    assert "--date-order" in seen.problem


def test_a_recipe_that_cannot_be_written(tmp_path: Path) -> None:
    """A folder that is not there."""
    seen = inspect(
        [DATA / "occupancy_co2.txt"], REAL["occupancy_co2.txt"], now=NOW, recipe_name="x"
    )
    with pytest.raises(OutputError):
        save_recipe(seen, tmp_path / "gone" / "mine.toml")


def test_columns_without_a_name_keep_their_place_in_the_recipe(tmp_path: Path) -> None:
    """Headings that are missing or twice there go into a recipe by number."""
    path = tmp_path / "log.csv"
    rows = "\n".join(f"2026-03-17T10:{i:02d}:00Z,{i},{i + 1},7" for i in range(40))
    path.write_text(f",CO [ppm],CO [ppm],\n{rows}\n", encoding="utf-8")
    reading = Reading(column=("co=column 3", "co2=column 4"), unit=("co2=ppm",))
    seen = inspect([path], reading, now=NOW, recipe_name="mine")
    text = seen.recipe
    assert 'heading = "column 3"' in text
    assert 'columns = ["column 1"]' in text
    saved = save_recipe(seen, tmp_path / "mine.toml")
    log = read_with(path, Reading(recipe=saved).options(), now=NOW)
    assert log.frame["co"].to_list()[:2] == [1.0, 2.0]
    assert log.frame["co2"].to_list()[:2] == [7.0, 7.0]


def test_json_is_one_object() -> None:
    """The same content for a machine."""
    seen = inspect([DATA / "occupancy_co2.txt"], REAL["occupancy_co2.txt"], now=NOW)
    plain = json.loads(as_json(seen))
    assert plain["files"][0]["columns"][0]["kept_as"] == "co2 [ppm]"
    assert plain["log"]["rows_read"] == 8143


def options_of(reading: Reading) -> list[str]:
    """Write reading options as a command line has them."""
    words = []
    for name in ("zone", "start"):
        if getattr(reading, name):
            words += [f"--{name}", getattr(reading, name)]
    for name in ("unit", "column", "missing"):
        for text in getattr(reading, name):
            words += [f"--{name}", text]
    return words


@pytest.mark.parametrize("width", [80, 100, 140])
@pytest.mark.parametrize("name", REAL)
def test_the_terminal_breaks_no_word_and_runs_over_no_edge(
    name: str, width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At three widths: table heads whole, no line longer than the screen."""
    monkeypatch.setenv("COLUMNS", str(width))
    result = CliRunner().invoke(app, ["inspect", str(DATA / name), *options_of(REAL[name])])
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert max(map(len, lines)) <= width
    for head in ("taken as", "kept as", "settling", "missing", "Sampling interval", "Zone"):
        assert head in result.stdout


def test_exit_codes(tmp_path: Path) -> None:
    """0 read, 3 questions open, 2 not usable; many unused columns take one line."""
    run = CliRunner().invoke
    assert run(app, ["inspect", str(DATA / "fire_gases_10s.csv")]).exit_code == 3
    recipe = tmp_path / "r.toml"
    reading = evolve(REAL["occupancy_co2.txt"])
    done = run(
        app,
        [
            "inspect",
            str(DATA / "occupancy_co2.txt"),
            *options_of(reading),
            "--save-recipe",
            str(recipe),
        ],
    )
    assert (done.exit_code, recipe.exists()) == (0, True)
    plain = run(
        app, ["inspect", str(DATA / "occupancy_co2.txt"), "--recipe", str(recipe), "--json"]
    )
    assert json.loads(plain.stdout)["problem"] == ""
    wide = tmp_path / "wide.csv"
    rows = "\n".join(f"2026-03-17T10:{i:02d}:00Z," + "1," * 300 + "2.5" for i in range(40))
    wide.write_text(
        "Time," + ",".join(f"X{i}" for i in range(300)) + f",CO [ppm]\n{rows}\n", encoding="utf-8"
    )
    shown = run(app, ["inspect", str(wide)], env={"COLUMNS": "100"})
    assert "X11 … and 288 more, all listed with --json (not understood)." in " ".join(
        shown.stdout.split()
    )
