"""From uncertainty budgets to the calculation that is shown."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import BudgetError
from lungwort.jobs import budget_words as words
from lungwort.jobs.budget_record import OnRecord, applied
from lungwort.paper.calculation import (
    ESTIMATE,
    NOT_PROVEN,
    Calculation,
    Curve,
    Grid,
    Plot,
    Quantity,
    figure,
)
from lungwort.verdict.budget import NEEDED, Budget
from lungwort.verdict.budget_cover import (
    Point,
    dense,
    entry_of,
    points,
    rounded_up,
    uncertainties_toml,
)
from lungwort.verdict.budget_coverage import COVERAGE
from lungwort.verdict.budget_file import finite

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.verdict.decision import Uncertainty

KIND: Final = "uncertainty"
TITLE: Final = "How uncertain is a reading?"
_MOST_CURVES: Final = 5


@frozen(kw_only=True)
class Made:
    """A budget, worked out.

    Parameters
    ----------
    budget : Budget
        The budget, with what the record adds to it.
    record : OnRecord
        What the record says.
    points : tuple of Point
        What it comes to at its readings.
    entry : Uncertainty, optional
        What the decision rules take; None where the uncertainty is not proven.
    doubts : tuple of str
        Why it is not proven; empty where it is.
    """

    budget: Budget
    record: OnRecord
    points: tuple[Point, ...]
    entry: Uncertainty | None
    doubts: tuple[str, ...]


def made_of(budget: Budget, record: OnRecord | None = None) -> Made:
    """Work a budget out.

    Parameters
    ----------
    budget : Budget
        The budget, as it was read.
    record : OnRecord, optional
        What the record says of its instrument.

    Returns
    -------
    Made
        With the reasons where a needed part is not known.

    Raises
    ------
    BudgetError
        Where it comes to no uncertainty, or cannot be worked out.
    """
    record = record or OnRecord()
    full = applied(budget, record)
    doubts = list(record.doubts)
    if missing := full.missing():
        doubts.append(
            f"Budget {budget.name}: nothing is stated on "
            + ", ".join(NEEDED[kind] for kind in missing)
            + "."
        )
    if full.undated and not record.doubts:
        doubts.append(
            f"Budget {budget.name}: the time since the calibration is not known, so the part "
            f"{', '.join(full.undated)} cannot be counted."
        )
    if not full.terms and not doubts:
        raise BudgetError(
            f"budget {budget.name!r} has no part that is more than zero: it says nothing. State its "
            "resolution, at the least."
        )
    # With parts that are not known it may well come to nothing, which is told and not refused.
    worked = points(full) if full.terms else ()
    return Made(
        budget=full,
        record=record,
        points=worked,
        entry=None if doubts else entry_of(full, worked),
        doubts=tuple(doubts),
    )


def calculation_of(
    made: tuple[Made, ...], *, origin: str, now: datetime, zone: str = "UTC"
) -> Calculation:
    """Put the calculation together.

    Parameters
    ----------
    made : tuple of Made
        The budgets, worked out.
    origin : str
        Where they come from.
    now : datetime
        The moment, UTC.
    zone : str
        IANA time zone.

    Returns
    -------
    Calculation
        An estimate; not proven where a needed part of a budget is not known.
    """
    doubts = tuple(doubt for one in made for doubt in one.doubts)
    text = "" if doubts else _file(made, origin)
    return Calculation(
        kind=KIND,
        title=TITLE,
        subject=", ".join(one.budget.name for one in made),
        made_at=now,
        zone=zone,
        state=NOT_PROVEN if doubts else ESTIMATE,
        word="not proven" if doubts else "estimate",
        answer=words.answer(made),
        reasons=doubts or tuple(words.largest(one) for one in made),
        results=tuple(quantity for one in made for quantity in _results(one)),
        inputs=tuple(quantity for one in made for quantity in _inputs(one, origin)),
        grids=tuple(grid for one in made for grid in _grids(one)),
        plots=tuple(_plot(one) for one in made if one.points and not one.doubts)[:_MOST_CURVES],
        assumptions=words.ASSUMPTIONS,
        uncertainty=words.UNCERTAINTY,
        cautions=words.CAUTIONS,
        sources=words.SOURCES,
        left_out=tuple(
            f"{one.budget.name}, {NEEDED[kind]}: {why}"
            for one in made
            for kind, why in one.budget.left_out
        )
        + tuple(note for one in made for note in one.record.notes),
        next_steps=tuple(step for one in made for step in words.next_steps(one)),
        data={
            "origin": origin,
            "coverage": COVERAGE,
            "budgets": [_data(one) for one in made],
            "uncertainties_toml": text,
        },
    )


def _file(made: tuple[Made, ...], origin: str) -> str:
    remark = (
        f"Expanded uncertainties (k = 2), worked out from {origin}.\n"
        "U is the greater of 'absolute' [unit] and 'relative' (share of the reading)."
    )
    entries = [one.entry for one in made if one.entry is not None]
    return uncertainties_toml(entries, remark)


def highest(one: Made) -> float:
    """Give the one U that holds at all readings up to the highest of a budget.

    Parameters
    ----------
    one : Made
        A budget that is proven.

    Returns
    -------
    float
        U, rounded up [unit].
    """
    readings, needed = dense(one.budget, one.points)
    top = one.budget.at[-1]
    return rounded_up(max(u for x, u in zip(readings, needed, strict=True) if x <= top))


def _results(one: Made) -> list[Quantity]:
    if one.entry is None:
        return []
    unit = "K" if one.budget.unit == "°C" else one.budget.unit
    found = [
        Quantity(
            f"U at {point.worked.reading:g} {one.budget.unit} ({one.budget.name})",
            rounded_up(point.needed),
            unit,
            source="computed",
            digits=2,
        )
        for point in one.points
    ]
    found.append(
        Quantity(
            f"U for all readings up to {one.budget.at[-1]:g} {one.budget.unit} ({one.budget.name})",
            highest(one),
            unit,
            source="computed",
            digits=2,
        )
    )
    return found


def _inputs(one: Made, origin: str) -> list[Quantity]:
    budget, record = one.budget, one.record
    found = [
        Quantity("budget", budget.name, source=origin),
        Quantity(
            "analyte", f"{budget.analyte}, {budget.quantity.replace('_', ' ')}", source=origin
        ),
        Quantity("sensor", budget.sensor, source=origin),
        Quantity("used for", budget.used_for, source=origin),
    ]
    if record.instrument:
        found.append(Quantity("instrument", record.instrument, source="on record"))
    if record.months is not None:
        found.append(Quantity("calibrated", record.calibrated, source="on record"))
    ages = {part.months for part in budget.parts if part.per_month}
    for age in sorted(age for age in ages if age is not None):
        source = "on record" if age == record.months else origin
        found.append(Quantity("time since the calibration", age, "months", source=source))
    if record.drift is not None:
        found.append(
            Quantity(
                "drift between the two newest calibrations",
                100 * record.drift,
                "% per month",
                source="on record",
            )
        )
    return found


def _grids(one: Made) -> list[Grid]:
    if not one.points:
        return []
    budget = one.budget
    found = [_parts_grid(one)]
    if one.entry is not None:
        found.append(_points_grid(one))
        entry = one.entry
        rows = (
            ("analyte", entry.analyte),
            ("sensor", entry.sensor),
            ("used_for", entry.used_for),
            ("quantity", entry.quantity),
            ("unit", entry.unit),
            ("absolute", f"{entry.absolute:g}"),
            ("relative", f"{entry.relative:g}"),
            ("source", entry.source),
        )
        found.append(
            Grid(
                f"Entry for the decision rules ({budget.name})",
                ("key", "value"),
                rows,
                note="U is the greater of the absolute part and the relative part times the "
                "reading; it is never less than the budget.",
            )
        )
    return found


def _parts_grid(one: Made) -> Grid:
    point = one.points[-1]
    unit = one.budget.unit
    whole = sum(share.contribution**2 for share in point.worked.shares)
    rows = tuple(
        (
            share.name,
            share.kind,
            share.shape,
            f"{figure(100 * share.standard)} %"
            if share.relative
            else f"{figure(share.standard)} {unit}",
            share.sensitivity / 100 if share.relative else share.sensitivity,
            finite(share.dof) or "no end",
            share.contribution,
            100 * share.contribution**2 / whole if whole else 0.0,
        )
        for share in sorted(point.worked.shares, key=lambda share: -share.contribution)
    )
    return Grid(
        f"Parts of {one.budget.name} at a reading of {point.worked.reading:g} {unit}",
        (
            "part",
            "kind",
            "shape",
            "u",
            "sensitivity",
            "degrees of freedom",
            f"adds [{unit}]",
            "of the variance [%]",
        ),
        rows,
        note="The sensitivity of a part that goes with the reading is the reading's change for 1 %.",
    )


def _without_dust(value: float, point: Point) -> float:
    """Give zero for what is zero but for chance."""
    return 0.0 if abs(value) < point.worked.combined / 100 else value


def _points_grid(one: Made) -> Grid:
    unit = one.budget.unit
    rows = tuple(
        (
            point.worked.reading,
            _without_dust(point.worked.value, point),
            point.worked.combined,
            finite(point.worked.dof) or "no end",
            point.worked.factor,
            point.worked.expanded,
            _without_dust(point.drawn.physical_low, point),
            _without_dust(point.drawn.physical_high, point),
            "formula" if point.validation.agrees else "draws",
            rounded_up(point.needed),
        )
        for point in one.points
    )
    return Grid(
        f"{one.budget.name}, reading by reading",
        (
            f"reading [{unit}]",
            f"best estimate [{unit}]",
            f"u_c [{unit}]",
            "degrees of freedom",
            "k",
            f"k u_c [{unit}]",
            f"from, by draws [{unit}]",
            f"to, by draws [{unit}]",
            "interval to state",
            f"U for decisions [{unit}]",
        ),
        rows,
        note="U for decisions reaches from the reading as shown to the farther end of either "
        "interval, rounded up. Where formula and draws differ by more than half a unit of the "
        "second digit of u_c, the interval of the draws is the one to state.",
    )


def _plot(one: Made) -> Plot:
    readings, needed = dense(one.budget, one.points)
    top = one.budget.at[-1]
    pairs = [(x, u) for x, u in zip(readings, needed, strict=True) if x <= top]
    unit = one.budget.unit
    curves = [
        Curve("budget", tuple(x for x, _ in pairs), tuple(u for _, u in pairs)),
    ]
    if one.entry is not None:
        curves.append(
            Curve(
                "entry for decisions",
                tuple(x for x, _ in pairs),
                tuple(one.entry.expanded(x, unit) for x, _ in pairs),
                style="dashed",
            )
        )
    return Plot(
        f"U of {one.budget.name} over the reading",
        "reading",
        unit,
        "U",
        "K" if unit == "°C" else unit,
        tuple(curves),
        says=f"U goes from {figure(pairs[0][1], 2)} to {figure(pairs[-1][1], 2)}; the entry for "
        "decisions is nowhere below it.",
    )


def _data(one: Made) -> dict[str, Any]:
    budget = one.budget
    return {
        "name": budget.name,
        "analyte": budget.analyte,
        "quantity": budget.quantity,
        "unit": budget.unit,
        "used_for": budget.used_for,
        "instrument": one.record.instrument or None,
        "calibrated": one.record.calibrated or None,
        "doubts": list(one.doubts),
        "absolute": None if one.entry is None else one.entry.absolute,
        "relative": None if one.entry is None else one.entry.relative,
        "points": [
            {
                "reading": point.worked.reading,
                "best_estimate": point.worked.value,
                "combined": point.worked.combined,
                "degrees_of_freedom": finite(point.worked.dof),
                "coverage_factor": point.worked.factor,
                "expanded": point.worked.expanded,
                "offset": point.worked.offset,
                "draws": point.drawn.trials,
                "low": point.drawn.low,
                "high": point.drawn.high,
                "physical_low": point.drawn.physical_low,
                "physical_high": point.drawn.physical_high,
                "tolerance": point.validation.tolerance,
                "formula_agrees": point.validation.agrees,
                "needed": None if one.doubts else point.needed,
                "parts": [
                    {
                        "name": share.name,
                        "kind": share.kind,
                        "shape": share.shape,
                        "standard": share.standard,
                        "relative": share.relative,
                        "degrees_of_freedom": finite(share.dof),
                        "sensitivity": share.sensitivity,
                        "contribution": share.contribution,
                    }
                    for share in point.worked.shares
                ],
            }
            for point in one.points
        ],
    }
