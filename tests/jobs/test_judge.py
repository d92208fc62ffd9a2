"""The main job, asked the way the terminal asks it. All readings are invented."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import jsonschema
import pytest

from lungwort.errors import InputError, OutputError
from lungwort.jobs import demo
from lungwort.jobs.judge import (
    EXIT_CODES,
    RECIPE,
    Outputs,
    Request,
    as_json,
    check_outputs,
    judge,
    refuse_to_replace,
    view,
    write,
)
from lungwort.jobs.reading import Reading
from lungwort.paper.result import schema

NOW = datetime(2026, 6, 1, tzinfo=UTC)
SPOTS = ("oil=<0.05 mg/m3", "odour=none", "liquid water=none", "water=40 mg/m3")


def write_log(folder: Path, *, co: float = 0.4) -> Path:
    """Write three hours of one-minute readings with the given carbon monoxide in the last hour."""
    lines = ["Time,CO [ppm],CO2 [ppm],O2 [%]"]
    for i in range(180):
        value = co if i >= 120 else 0.4
        lines.append(
            f"2026-03-04 {8 + i // 60:02d}:{i % 60:02d}:00,{value},{430 + i % 5},{20.9 - i % 2 / 10:.1f}"
        )
    path = folder / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def ask(path: Path, **changes: object) -> Request:
    """Ask for the airline limits at 7 bar(g)."""
    usual: dict[str, object] = {
        "files": (path,),
        "limits": "en12021-2014-airline",
        "reading": Reading(zone="Europe/London"),
        "spots": SPOTS,
        "supply_pressure": "7 bar(g)",
    }
    return Request(**{**usual, **changes})  # type: ignore[arg-type]


def test_a_clean_log_conforms(tmp_path: Path) -> None:
    """The verdict carries who judged it with what, so that it can be drawn again."""
    verdict = judge(ask(write_log(tmp_path), outlet="Panel 2"), now=NOW)

    assert verdict.overall == "conforms"
    assert verdict.judged_at == NOW
    assert verdict.log is not None
    assert verdict.log.outlet == "Panel 2"
    assert verdict.conditions.supply_pressure_bar_g == 7.0
    assert EXIT_CODES[verdict.overall] == 0


def test_a_pressure_without_gauge_or_absolute_is_taken_as_gauge_and_told(tmp_path: Path) -> None:
    """'7 bar' on an airline means gauge; that it was taken so stands in the notes."""
    verdict = judge(ask(write_log(tmp_path), supply_pressure="7 bar"), now=NOW)

    assert verdict.conditions.supply_pressure_bar_g == 7.0
    assert "taken as gauge" in verdict.notes[0]


def test_the_period_is_in_the_zone_of_the_site(tmp_path: Path) -> None:
    """--from and --to without an offset are local times."""
    request = ask(
        write_log(tmp_path, co=9.0),
        reading=Reading(zone="America/New_York"),
        begin="2026-03-04 08:30",
        end="2026-03-04 10:00",
    )
    verdict = judge(request, now=NOW)

    assert verdict.start == datetime(2026, 3, 4, 13, 30, tzinfo=UTC)
    assert verdict.end == datetime(2026, 3, 4, 15, 0, tzinfo=UTC)
    assert verdict.overall == "conforms"
    assert judge(ask(write_log(tmp_path, co=9.0)), now=NOW).overall == "does_not_conform"


def test_hand_tests_alone_can_be_judged() -> None:
    """Without a log the hand tests decide."""
    spots = (*SPOTS, "o2=20.9 %", "co=0.5 ppm", "co2=430 ppm")
    request = Request(
        files=(), limits="en12021-2014-airline", spots=spots, supply_pressure="7 bar(g)"
    )

    assert judge(request, now=NOW).overall == "conforms"


def test_the_json_fits_its_schema_and_says_the_same(tmp_path: Path) -> None:
    """What --json prints is valid by the schema that ships with it."""
    verdict = judge(ask(write_log(tmp_path, co=9.0)), now=NOW)
    found = json.loads(as_json(verdict))
    jsonschema.Draft202012Validator(schema()).validate(found)

    assert found["verdict"] == "does_not_conform"
    assert [one["verdict"] for one in found["limits"] if one["analyte"] == "co"] == [
        "does_not_conform"
    ]


def test_the_view_says_what_the_verdict_says(tmp_path: Path) -> None:
    """Screen and verdict agree in word, findings and excursions."""
    verdict = judge(ask(write_log(tmp_path, co=9.0)), now=NOW)
    seen = view(verdict)

    assert seen.verdict == "does_not_conform"
    assert len(seen.findings) == len(verdict.findings)
    assert seen.excursions_total == len(verdict.excursions) == 1
    assert any("settling" in line for line in seen.not_judged)


def test_hand_tests_alone_have_a_view_too() -> None:
    """No log, no period, no files."""
    seen = view(judge(Request(files=(), limits="en12021-2014-airline", spots=SPOTS), now=NOW))

    assert seen.verdict == "not_proven"
    assert not any(label == "Files" for label, _ in seen.facts)


def test_results_are_written(tmp_path: Path) -> None:
    """Each result that is asked for is written, and nothing else."""
    verdict = judge(ask(write_log(tmp_path)), now=NOW)
    outputs = Outputs(
        pdf=tmp_path / "a.pdf",
        html=tmp_path / "a.html",
        xlsx=tmp_path / "a.xlsx",
        json=tmp_path / "a.json",
    )
    check_outputs(outputs, (tmp_path / "log.csv",))
    written = write(verdict, outputs)

    assert {path.name for path in written} == {"a.pdf", "a.html", "a.xlsx", "a.json"}
    assert {path.name for path in tmp_path.iterdir()} == {
        "a.pdf",
        "a.html",
        "a.xlsx",
        "a.json",
        "log.csv",
    }


def test_a_logger_file_is_never_written_over(tmp_path: Path) -> None:
    """A slip of the pen must not destroy the evidence."""
    path = write_log(tmp_path)
    with pytest.raises(InputError, match="written over"):
        check_outputs(Outputs(json=tmp_path / "x" / ".." / "log.csv"), (path,))


def test_a_file_of_another_kind_is_never_replaced(tmp_path: Path) -> None:
    """Neither a log nor a recipe nor anybody's picture is lost to a slip in a name."""
    other = tmp_path / "precious.csv"
    other.write_text("Time,CO [ppm]\n", encoding="utf-8")
    for outputs in (
        Outputs(pdf=other),
        Outputs(html=other),
        Outputs(xlsx=other),
        Outputs(json=other),
    ):
        with pytest.raises(InputError, match="would be lost"):
            check_outputs(outputs)
    with pytest.raises(InputError, match="no recipe"):
        refuse_to_replace(other, RECIPE)

    assert other.read_text(encoding="utf-8") == "Time,CO [ppm]\n"


def test_a_result_of_our_own_may_be_replaced(tmp_path: Path) -> None:
    """Judging again writes the same report again."""
    verdict = judge(ask(write_log(tmp_path)), now=NOW)
    outputs = Outputs(
        pdf=tmp_path / "a.pdf",
        html=tmp_path / "a.html",
        xlsx=tmp_path / "a.xlsx",
        json=tmp_path / "a.json",
    )
    write(verdict, outputs)
    check_outputs(outputs)

    assert len(write(verdict, outputs)) == 4


def test_the_demonstration_leaves_other_folders_alone(tmp_path: Path) -> None:
    """A folder with somebody's README is not written into; our own is."""
    (tmp_path / "README.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="files of yours"):
        demo.write_site(tmp_path)
    demo.write_site(tmp_path / "new")
    demo.write_site(tmp_path / "new")

    assert (tmp_path / "README.txt").read_text(encoding="utf-8") == "mine"


def test_the_period_is_in_the_zone_of_the_recipe(tmp_path: Path) -> None:
    """A zone that stands in the recipe counts for --from and --to as well."""
    recipe = tmp_path / "hall.toml"
    recipe.write_text(
        'format = "lungwort-recipe/1"\n[time]\nzone = "America/New_York"\n', encoding="utf-8"
    )
    request = ask(write_log(tmp_path), reading=Reading(recipe=recipe), begin="2026-03-04 08:30")

    assert judge(request, now=NOW).start == datetime(2026, 3, 4, 13, 30, tzinfo=UTC)


def test_two_results_need_two_names(tmp_path: Path) -> None:
    """One file cannot hold two results."""
    with pytest.raises(InputError, match="two results"):
        check_outputs(Outputs(pdf=tmp_path / "a", html=tmp_path / "a"))


def test_a_missing_folder_is_told_before_the_reading(tmp_path: Path) -> None:
    """No hour of reading ends in a folder that is not there."""
    with pytest.raises(OutputError, match="none"):
        check_outputs(Outputs(pdf=tmp_path / "none" / "a.pdf"))


def test_own_uncertainties_are_used(tmp_path: Path) -> None:
    """Guarded acceptance with a coarse cell leaves a near reading open."""
    path = write_log(tmp_path, co=4.5)
    assert judge(ask(path), now=NOW).overall == "conforms"
    assert judge(ask(path, decision="guarded"), now=NOW).finding("co").verdict == "undecided"


def test_every_case_of_the_demonstration_comes_out_as_seeded(tmp_path: Path) -> None:
    """The job of the demonstration gives the seeded verdict for each case, with a report beside it."""
    site = demo.write_site(tmp_path)
    shown = list(demo.judge_site(site, now=NOW))

    assert len(shown) == 9
    assert [one.case.key for one in shown if not one.as_expected] == []
    assert all(one.pdf.read_bytes().startswith(b"%PDF") for one in shown)
