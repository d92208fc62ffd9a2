"""Uncertainty budgets as a job: files, forms, and instruments on record. All figures are invented."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from attrs import evolve
from tests.plan import build_yard as yard

from lungwort.errors import BudgetError
from lungwort.jobs.budget import Request, uncertainty
from lungwort.jobs.budget_form import budget_of, readings_of
from lungwort.jobs.budget_record import DAYS_A_MONTH, OnRecord, applied, facts_of
from lungwort.jobs.budget_result import calculation_of, highest, made_of
from lungwort.jobs.catalogue.channels import channels
from lungwort.jobs.opening import Where
from lungwort.paper.calculation import ESTIMATE, NOT_PROVEN, as_json
from lungwort.register.model import Calibration, CalibrationRow
from lungwort.verdict import decision
from lungwort.verdict.budget import RECTANGULAR, Budget, Part, work_out
from lungwort.verdict.budget_file import example_text, read_budgets

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
TYPED = {
    "analyte": "co",
    "unit": "ppm",
    "at": "0 2.5 5 10",
    "resolution": "0.1",
    "gas_percent": "2",
    "linearity": "0.3",
    "zero": "0.2",
    "drift_percent": "1",
    "months": "6",
    "temperature_percent": "0.3",
    "within_k": "10",
    "pressure_percent": "0",
    "cross_highest": "0.3",
    "repeatability": "0.1",
    "repeats": "6",
}


def _example(name: str = "co") -> Budget:
    return read_budgets(example_text(name), name)[0]


def _typed(**more: str) -> dict[str, str]:
    return {key: value for key, value in (TYPED | more).items() if value}


def _ask(**more: Any) -> Any:
    return uncertainty(Where(), Request(**more), now=NOW)


def _calibration(days: float, **more: Any) -> Calibration:
    """Build a calibration so many days before the yard's moment."""
    given: dict[str, Any] = {
        "id": f"calibration-{days:g}",
        "seq": 90,
        "instrument_id": "instrument-1",
        "time": yard.NOW - timedelta(days=days),
        "kind": "calibration",
        "passed": True,
        "by": "laboratory (invented)",
    }
    return Calibration(**(given | more))


def _row(reference: str, as_found: str, as_left: str | None = None) -> CalibrationRow:
    left = None if as_left is None else Decimal(as_left)
    return CalibrationRow("co", "ppm", Decimal(reference), Decimal(as_found), left)


def _facts(*calibrations: Calibration) -> OnRecord:
    return facts_of(yard.yard(calibrations=calibrations), yard.METER, _example())


def test_example_is_an_estimate() -> None:
    """All parts are there: an estimate, with the file for the verdict and its cautions."""
    made = _ask(example="co")
    assert made.state == ESTIMATE
    assert "carbon monoxide" in made.answer
    assert "[[uncertainty]]" in made.data["uncertainties_toml"]
    assert any("does not replace a calibration" in one for one in made.cautions)
    assert any("pressure effect" in one for one in made.left_out)
    as_json(made)


def test_the_file_goes_to_the_decision_rules(tmp_path: Path) -> None:
    """What is written is read by the rules, and is never below what the calculation states."""
    target = tmp_path / "u.toml"
    made = _ask(example="o2", write=target)
    found = decision.uncertainties(target).of("o2", "volume_fraction")
    assert found is not None
    for point in made.data["budgets"][0]["points"]:
        assert found.expanded(point["reading"], "%") >= point["needed"]
    with pytest.raises(BudgetError, match="there already"):
        _ask(example="o2", write=target)


def test_not_proven_writes_nothing(tmp_path: Path) -> None:
    """A part that nobody stated: not proven, no figure of U, and no file."""
    made = uncertainty(Where(), Request(form=_typed(zero="")), now=NOW)
    assert made.state == NOT_PROVEN
    assert "nothing is stated on zero" in made.reasons[0]
    assert made.results == ()
    assert made.data["uncertainties_toml"] == ""
    target = tmp_path / "u.toml"
    with pytest.raises(BudgetError, match=r"not written, .*not proven"):
        uncertainty(Where(), Request(form=_typed(zero=""), write=target), now=NOW)
    assert not target.exists()


def test_months_that_nobody_knows_are_not_proven() -> None:
    """A drift without a time is not taken as none."""
    made = uncertainty(Where(), Request(form=_typed(months="")), now=NOW)
    assert made.state == NOT_PROVEN
    assert "time since the calibration is not known" in made.reasons[0]
    assert any("calibrated" in step for step in made.next_steps)


def test_nothing_known_at_all() -> None:
    """Only what is read, and where: all parts are missing, and that is told."""
    text = {"analyte": "co", "unit": "ppm", "at": "5", "drift_percent": "1"}
    made = uncertainty(Where(), Request(form=text), now=NOW)
    assert made.state == NOT_PROVEN
    assert "repeatability" in made.reasons[0]


def test_the_form_says_what_a_file_says() -> None:
    """The same figures typed and written give the same U."""
    text = """format = 1
[[budget]]
name = "form"
analyte = "co"
unit = "ppm"
at = [0, 5]
[[budget.part]]
kind = "resolution"
step = 0.1
[[budget.part]]
kind = "gas"
expanded_percent = 2
[[budget.part]]
kind = "repeatability"
standard_deviation = 0.1
count = 6
"""
    written = read_budgets(text, "b.toml")[0]
    typed = budget_of(
        {
            "analyte": "co",
            "unit": "ppm",
            "at": "0; 5",
            "resolution": "0.1",
            "gas_percent": "2",
            "repeatability": "0.1",
            "repeats": "6",
        }
    )
    assert work_out(typed, 5.0).expanded == work_out(written, 5.0).expanded
    # By hand: 0.1/√12, 1 % of 5 and 0.1; k of 8 degrees of freedom by Welch and Satterthwaite.
    u = math.sqrt(0.1**2 / 12 + 0.05**2 + 0.1**2)
    assert work_out(typed, 5.0).combined == pytest.approx(u)


def test_zero_in_the_form_is_stated_as_none() -> None:
    """A zero is a statement; an open field is not."""
    assert "pressure" in dict(budget_of(_typed()).left_out)
    assert budget_of(_typed(pressure_percent="")).missing() == ("pressure",)
    assert "temperature" in dict(budget_of(_typed(within_k="0")).left_out)


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ({"resolution": "-1"}, "--resolution '-1' is no number of zero or more"),
        ({"resolution": "nan"}, "--resolution 'nan'"),
        ({"zero": "inf"}, "--zero 'inf'"),
        ({"zero": "much"}, "--zero 'much'"),
        ({"within_k": ""}, "--within-k is missing"),
        ({"repeats": ""}, "--repeats is missing"),
        ({"repeats": "1"}, "'count': found 1"),
        ({"at": "0 five"}, "--at: 'five'"),
        ({"at": " "}, "--at is missing"),
        ({"gas_percent": "150"}, "found 150"),
        ({"analyte": "cox"}, "'cox' is not known"),
        ({"months": "120"}, "Calibrate first"),
        ({"analyte": "water", "unit": "°C", "at": "-40"}, "pressure_dew_point"),
    ],
)
def test_refusals_of_the_form(typed: dict[str, str], message: str) -> None:
    """Each message names the field, and what is allowed."""
    with pytest.raises(BudgetError, match=message):
        uncertainty(Where(), Request(form=_typed(**typed)), now=NOW)


def test_readings_are_sorted() -> None:
    """Blanks and semicolons part them; a comma is a point."""
    assert readings_of("5; 0 2,5 5") == [0.0, 2.5, 5.0]


def test_which_budget() -> None:
    """A name that the file does not hold is refused with those it holds."""
    with pytest.raises(BudgetError, match="It holds: co-analyser"):
        _ask(example="co", budget="o2-cell")
    with pytest.raises(BudgetError, match="either a budget file, or --example"):
        _ask()
    with pytest.raises(BudgetError, match="either a budget file, or --example"):
        _ask(example="co", file=Path("b.toml"))


def test_example_is_written(tmp_path: Path) -> None:
    """The file that is written can be worked out as it is."""
    target = tmp_path / "budget.toml"
    first = _ask(write_example=target)
    again = _ask(file=target)
    assert again.answer == first.answer
    assert "invented" in target.read_text("utf-8")


def test_age_comes_from_the_record() -> None:
    """Real months since the newest calibration, never fewer than the budget states."""
    old = _facts(_calibration(300, rows=(_row("50", "50"),)))
    assert old.months == pytest.approx(300 / DAYS_A_MONTH)
    young = _facts(_calibration(30, rows=(_row("50", "50"),)))
    sizes = {}
    for name, facts in (("old", old), ("young", young), ("none", OnRecord())):
        sizes[name] = work_out(applied(_example(), facts), 10.0).expanded
    assert sizes["old"] > sizes["young"] == sizes["none"]


def test_no_calibration_is_not_proven() -> None:
    """An instrument on record without a calibration proves nothing, whatever the budget says."""
    facts = _facts()
    assert facts.months is None
    made = calculation_of((made_of(_example(), facts),), origin="b.toml", now=NOW)
    assert made.state == NOT_PROVEN
    assert "No calibration of instrument four-gas for co" in made.reasons[0]


@pytest.mark.parametrize(
    ("calibration", "told"),
    [
        (_calibration(500), "ran out on"),
        (_calibration(30, passed=False), "did not pass"),
        (
            _calibration(
                30,
                rows=(CalibrationRow("co", "ppm", Decimal(50), Decimal(60), None, Decimal(2)),),
            ),
            "beyond its tolerance",
        ),
    ],
)
def test_calibrations_that_do_not_count(calibration: Calibration, told: str) -> None:
    """Run out, not passed, or left beyond its tolerance: not proven."""
    made = made_of(_example(), _facts(calibration))
    assert made.entry is None
    assert told in made.doubts[0]


def test_what_it_was_left_at_counts() -> None:
    """Left 2 % low, the true value is 2 % higher than shown: U holds that offset."""
    right = applied(_example(), _facts(_calibration(30, rows=(_row("50", "49", "50"),))))
    low = applied(_example(), _facts(_calibration(30, rows=(_row("50", "48", "49"),))))
    assert work_out(low, 10.0).value / work_out(right, 10.0).value == pytest.approx(50 / 49)
    zero = applied(_example(), _facts(_calibration(30, rows=(_row("0", "0.4"),))))
    assert work_out(zero, 0.0).offset < work_out(right, 0.0).offset - 0.39


def test_drift_that_was_seen_counts() -> None:
    """10 % in ten months, where the budget states at most 1 % a month reading low: no less."""
    first = _calibration(330, rows=(_row("50", "50"),))
    second = _calibration(330 - 10 * DAYS_A_MONTH, rows=(_row("50", "40", "50"),))
    facts = _facts(first, second)
    assert facts.drift == pytest.approx(0.2 / 10, rel=1e-6)
    part = next(one for one in applied(_example(), facts).parts if one.kind == "drift")
    assert (part.shape, part.centre) == (RECTANGULAR, 0.0)
    assert part.scale == pytest.approx(0.02, rel=1e-6)
    calm = _facts(first, evolve(second, rows=(_row("50", "49.9", "50"),)))
    kept = next(one for one in applied(_example(), calm).parts if one.kind == "drift")
    assert kept.centre != 0


def test_absolute_drift_is_held_against_the_highest_reading() -> None:
    """A drift stated in ppm is widened at all readings, zero too."""
    drift = Part(name="d", kind="drift", shape=RECTANGULAR, scale=0.01, per_month=True)
    budget = evolve(_example(), parts=(drift,))
    made = applied(budget, OnRecord(drift=0.02, months=1.0))
    assert made.terms[0].scale == pytest.approx(0.02 * 10)
    assert not made.terms[0].relative


def test_calibration_without_rows_says_so() -> None:
    """Its paper is of the whole instrument; what it was left at is taken as right, and told."""
    facts = _facts(_calibration(30))
    assert facts.left == ()
    assert "no row for co" in facts.notes[0]


def test_drift_of_dew_points_is_no_share() -> None:
    """A share of degrees means nothing: what was seen is left at the offset it left."""
    text = """format = 1
[[budget]]
name = "dew"
analyte = "water"
quantity = "pressure_dew_point"
unit = "°C"
at = [-40]
[[budget.part]]
kind = "zero"
limit = 1
"""
    rows = (
        CalibrationRow("water", "°C pressure dew point", Decimal(5), Decimal(7)),
        CalibrationRow("co", "ppm", Decimal(50), Decimal(40)),
    )
    meter = evolve(
        yard.METER, channels=channels(["water=-80-20 °C pressure dew point"], "--channel")
    )
    facts = facts_of(
        yard.yard(calibrations=(_calibration(90, rows=rows), _calibration(30, rows=rows))),
        meter,
        read_budgets(text, "dew.toml")[0],
    )
    assert facts.drift is None
    assert [(one.centre, one.relative) for one in facts.left] == [(-2.0, False)]


def test_an_instrument_that_does_not_measure_it() -> None:
    """A budget of CO is not that of an instrument without CO."""
    bare = evolve(yard.METER, channels=yard.METER.channels[:1])
    with pytest.raises(BudgetError, match="measures o2 by its record"):
        facts_of(yard.yard(instruments=(bare,)), bare, _example())


def test_the_command_that_records_it_can_be_used() -> None:
    """It names all channels, since those given take the place of all before."""
    made = made_of(_example(), _facts(_calibration(30, rows=(_row("50", "50"),))))
    steps = calculation_of((made,), origin="b.toml", now=NOW).next_steps
    step = next(one for one in steps if "lungwort instrument change four-gas" in one)
    assert f"± {highest(made):g} ppm as the uncertainty of co" in step
    texts = [part.split('"')[1] for part in step.split("--channel ")[1:]]
    read = channels(texts, "--channel")
    assert [one.analyte for one in read] == ["o2", "co", "co2"]
    assert read[0].uncertainty == Decimal("0.3")
    assert float(read[1].uncertainty or 0) == highest(made)
    for x in range(11):
        assert highest(made) >= work_out(made.budget, float(x)).around_reading
