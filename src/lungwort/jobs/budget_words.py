"""What a calculation of uncertainty says in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.air.analytes import ANALYTES
from lungwort.paper.calculation import Stated, figure

if TYPE_CHECKING:
    from lungwort.jobs.budget_result import Made

CAUTIONS: Final = (
    (
        "A calculation from the figures entered; it does not replace a calibration, a measurement at "
        "the wearer, the instrument maker's instructions, the standard itself, local codes or a "
        "competent person."
    ),
    (
        "A budget holds for an instrument that is in order and is used as its maker says. A cell that "
        "is poisoned, worn out or wet is off by more than any budget."
    ),
)
SOURCES: Final = (
    "JCGM 100:2008 (GUM), 4.2, 4.3, 5.1, 5.2, F.2.4.5, G.3, G.4 (formulas from memory)",
    "JCGM 101:2008, 6.4, 7.2, 7.5 to 7.9, 8.1 (formulas from memory)",
    "JCGM 106:2012, 7.2 to 7.4 and 8.3.2, for what the decision rules do with U (confirmed)",
)
ASSUMPTIONS: Final = (
    Stated(
        "The true value is (x + A)(1 + e1)(1 + e2)…: effects in the unit are added, effects that "
        "go with the reading multiply",
        "common practice, no source",
    ),
    Stated(
        "Limits without a shape are taken as rectangular: any value between them is as likely",
        "JCGM 100:2008, 4.3.7",
        "makes U greater than most other shapes",
    ),
    Stated(
        "Readings are not corrected for what moves them to one side; U holds that offset too",
        "JCGM 100:2008, F.2.4.5",
        "makes U greater",
    ),
    Stated(
        "Parts are independent, apart from the correlations stated",
        "common practice, no source",
        "makes U smaller where parts do vary together",
    ),
)
UNCERTAINTY: Final = (
    "U covers about 95 % of true values (95.45 %, k = 2 for a normal spread) if the parts are as "
    "stated; it is no better than they are. The draws begin with the same seed every time; their "
    "ends are certain to about 2 % of u_c."
)


def answer(made: tuple[Made, ...]) -> str:
    """Say what came out, in one sentence a budget.

    Parameters
    ----------
    made : tuple of Made
        The budgets.

    Returns
    -------
    str
        The sentences.
    """
    return " ".join(_said(one) for one in made)


def _said(one: Made) -> str:
    budget = one.budget
    what = ANALYTES[budget.analyte].name
    if one.entry is None:
        return (
            f"The uncertainty of {what} by budget {budget.name} is not proven; the "
            "assumptions that are shipped hold on."
        )
    entry = one.entry
    unit = "K" if entry.unit == "°C" else entry.unit
    parts = []
    if entry.absolute:
        parts.append(f"{entry.absolute:g} {unit}")
    if entry.relative:
        parts.append(f"{entry.relative * 100:g} % of the reading")
    greater = ", whichever is greater," if len(parts) > 1 else ""
    return (
        f"A reading of {what} by budget {budget.name} is uncertain by U = "
        f"{' or '.join(parts)}{greater} with k = 2."
    )


def largest(one: Made) -> str:
    """Say which part weighs most at the highest reading.

    Parameters
    ----------
    one : Made
        A budget.

    Returns
    -------
    str
        A sentence.
    """
    point = one.points[-1]
    top = max(point.worked.shares, key=lambda share: share.contribution)
    return (
        f"At {point.worked.reading:g} {one.budget.unit} most of it comes from {top.name}: "
        f"{figure(top.contribution, 2)} {one.budget.unit} of a combined standard uncertainty of "
        f"{figure(point.worked.combined, 2)} {one.budget.unit}."
    )


def next_steps(one: Made) -> tuple[str, ...]:
    """Say what to do with a budget.

    Parameters
    ----------
    one : Made
        A budget.

    Returns
    -------
    tuple of str
        Sentences.
    """
    budget = one.budget
    if one.entry is None:
        found = []
        if budget.missing():
            found.append(
                "State the parts that are missing, from the instrument's manual or its "
                "certificate, or leave them out under [budget.left_out] with the reason (in a form: "
                "enter 0)."
            )
        if budget.undated or one.record.doubts:
            found.append(
                "Have the instrument calibrated and record it with 'lungwort instrument "
                "calibrate', or state the months since its calibration."
            )
        return tuple(found)
    found = [
        (
            "Put the entry for the decision rules into a file of uncertainties (the command "
            "'uncertainty' writes it to the file after --write), and judge logs with it (the "
            "command 'judge' takes it after --uncertainties)."
        )
    ]
    if one.record.instrument:
        found.append(_recording(one))
    if any(part.per_month for part in budget.parts):
        found.append("U grows with the time since the calibration: work it out again each month.")
    return tuple(found)


def _recording(one: Made) -> str:
    from lungwort.air.analytes import quantity_of_unit  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.budget_result import highest  # noqa: PLC0415 - they need each other
    from lungwort.logs.naming import parse_given_unit  # noqa: PLC0415 - keeps --help instant

    budget, texts = one.budget, []
    for channel in one.record.channels:
        ends = ""
        if channel.low is not None and channel.high is not None:
            ends = f"{channel.low:f}-{channel.high:f} "
        unit, dew_point = parse_given_unit(channel.unit)
        spread = f" ± {channel.uncertainty:f} {unit}" if channel.uncertainty else ""
        kind = dew_point or quantity_of_unit(unit)
        if (channel.analyte, kind, unit) == (budget.analyte, budget.quantity, budget.unit):
            spread = f" ± {highest(one):g} {unit}"
        texts.append(f'--channel "{channel.analyte}={ends}{channel.unit}{spread}"')
    return (
        f"Or record ± {highest(one):g} {budget.unit} as the uncertainty of {budget.analyte}, which "
        f"holds for readings up to {budget.at[-1]:g} {budget.unit} (those above are less certain): "
        f"lungwort instrument change {one.record.instrument} {' '.join(texts)} --reason "
        f'"uncertainty budget {budget.name}"'
    )
