"""What the record says of an instrument whose uncertainty is worked out: age, and what it showed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.air import units
from lungwort.errors import BudgetError
from lungwort.register.model import CALIBRATION
from lungwort.verdict.budget import BIAS, NORMAL, RECTANGULAR, Budget, Part

if TYPE_CHECKING:
    from lungwort.plan.snapshot import Snapshot
    from lungwort.register.model import (
        Calibration,
        CalibrationRow,
        Instrument,
        InstrumentChannel,
    )

DAYS_A_MONTH: Final = 365.25 / 12


@frozen(kw_only=True)
class OnRecord:
    """What the record says.

    Parameters
    ----------
    instrument : str
        Its name; empty where no instrument was named.
    channels : tuple of InstrumentChannel
        What it measures, as on record.
    months : float, optional
        Months since its newest calibration; None where there is none that counts [months].
    calibrated : str
        Day of that calibration, year first; empty for none.
    doubts : tuple of str
        Why nothing is proven by it.
    left : tuple of Part
        By how much the newest calibration left it off, which nobody corrects.
    drift : float, optional
        Drift that the two newest calibrations show [share of the reading per month].
    notes : tuple of str
        What else has to be said.
    """

    instrument: str = ""
    channels: tuple[InstrumentChannel, ...] = ()
    months: float | None = None
    calibrated: str = ""
    doubts: tuple[str, ...] = ()
    left: tuple[Part, ...] = ()
    drift: float | None = None
    notes: tuple[str, ...] = ()


def facts_of(snapshot: Snapshot, instrument: Instrument, budget: Budget) -> OnRecord:
    """Look up what the record says of an instrument.

    Parameters
    ----------
    snapshot : Snapshot
        The record; its moment is now.
    instrument : Instrument
        The instrument.
    budget : Budget
        What it is asked for.

    Returns
    -------
    OnRecord
        Age of its calibration, what it was left at, and the drift seen.

    Raises
    ------
    BudgetError
        Where the instrument does not measure what the budget is about.
    """
    from lungwort.plan.calibrations import calibration_standing  # noqa: PLC0415 - keeps --help instant

    if not any(one.analyte == budget.analyte for one in instrument.channels):
        known = ", ".join(one.analyte for one in instrument.channels) or "nothing"
        raise BudgetError(
            f"budget {budget.name!r} is about {budget.analyte}, and instrument {instrument.name} "
            f"measures {known} by its record. Name another instrument, or record the channel."
        )
    standing = calibration_standing(snapshot, instrument, snapshot.now, analyte=budget.analyte)
    newest = standing.newest
    if newest is None:
        return OnRecord(
            instrument=instrument.name,
            channels=instrument.channels,
            doubts=(
                (
                    f"No calibration of instrument {instrument.name} for {budget.analyte} is on "
                    "record, so its drift since then is not known."
                ),
            ),
        )
    day = snapshot.day(newest.time)
    doubts = []
    if standing.fault:
        doubts.append(f"Instrument {instrument.name} on {day} {standing.fault}.")
    elif standing.until is not None and standing.until < snapshot.day(snapshot.now):
        doubts.append(
            f"The calibration of instrument {instrument.name} of {day} ran out on "
            f"{standing.until} ({standing.rule}); the drift stated does not hold beyond."
        )
    return OnRecord(
        instrument=instrument.name,
        channels=instrument.channels,
        months=max((snapshot.now - newest.time).total_seconds(), 0.0) / 86400 / DAYS_A_MONTH,
        calibrated=day.isoformat(),
        doubts=tuple(doubts),
        left=_left(newest, budget),
        drift=_drift(snapshot, newest, budget),
        notes=_notes(newest, budget),
    )


def applied(budget: Budget, record: OnRecord) -> Budget:
    """Put what the record says into a budget; never to make it smaller.

    Parameters
    ----------
    budget : Budget
        The budget.
    record : OnRecord
        What the record says.

    Returns
    -------
    Budget
        With the real age where the record has one (not below what the budget states), with the drift seen where that is the greater,
        and with what the newest calibration left the instrument at.

    Raises
    ------
    BudgetError
        Where the drift since then is as great as the reading.
    """
    if record.drift is not None:
        budget = evolve(
            budget, parts=tuple(_no_less(one, record.drift, budget) for one in budget.parts)
        )
    if record.months is not None:
        budget = _aged(budget, record.months)
    names = {one.name for one in budget.parts}
    return evolve(
        budget,
        parts=(*budget.parts, *(one for one in record.left if one.name not in names)),
    )


def _aged(budget: Budget, months: float) -> Budget:
    stated = [one.months for one in budget.parts if one.per_month and one.months is not None]
    return budget.aged(max([months, *stated]))


def _no_less(one: Part, share: float, budget: Budget) -> Part:
    """Widen a drift to what was seen; one in the unit is held against the highest reading."""
    stated = one.scale + abs(one.centre)
    if not one.per_month:
        return one
    top = 1.0 if one.relative else max(abs(at) for at in budget.at)
    if stated >= share * top:
        return one
    return evolve(
        one,
        shape=RECTANGULAR,
        scale=share * top,
        centre=0.0,
        source="seen between the two newest calibrations on record",
    )


def _rows(record: Calibration, budget: Budget) -> list[CalibrationRow]:
    return [one for one in record.rows if one.analyte == budget.analyte]


def _in_unit(value: object, row: CalibrationRow, budget: Budget) -> float | None:
    """Give a figure of a calibration in the unit of the budget; None where it is of another kind."""
    from lungwort.air.analytes import quantity_of_unit  # noqa: PLC0415 - keeps --help instant
    from lungwort.errors import QuantityError  # noqa: PLC0415 - beside its use
    from lungwort.logs.naming import parse_given_unit  # noqa: PLC0415 - keeps --help instant

    try:
        unit, dew_point = parse_given_unit(row.unit)
        if (dew_point or quantity_of_unit(unit)) != budget.quantity:
            return None
        return float(units.scale(float(str(value)), unit, budget.unit))
    except QuantityError:
        return None


def _off(row: CalibrationRow, shown: object, budget: Budget) -> tuple[float, float] | None:
    """Give what was offered, and what was shown [unit of the budget]."""
    offered, found = (_in_unit(one, row, budget) for one in (row.reference, shown))
    return None if offered is None or found is None else (offered, found)


def _left(record: Calibration, budget: Budget) -> tuple[Part, ...]:
    """Give what the newest calibration left: the worst at a gas, and the worst at zero."""
    degrees = units.unit(budget.unit).dimension == units.TEMPERATURE
    span, zero = 0.0, 0.0
    for row in _rows(record, budget):
        pair = _off(row, row.as_found if row.as_left is None else row.as_left, budget)
        if pair is None:
            continue
        offered, shown = pair
        if degrees or offered <= 0 or shown <= 0:
            zero = max(zero, shown - offered, key=abs)
        else:
            span = max(span, offered / shown - 1.0, key=abs)
    said = f"calibration of {record.time:%Y-%m-%d} on record"
    found = []
    if zero:
        found.append(Part(name="left-at-zero", kind=BIAS, shape=NORMAL, centre=-zero, source=said))
    if span:
        found.append(
            Part(
                name="left-at-span",
                kind=BIAS,
                shape=NORMAL,
                centre=span,
                relative=True,
                source=said,
            )
        )
    return tuple(found)


def _drift(snapshot: Snapshot, newest: Calibration, budget: Budget) -> float | None:
    before = max(
        (
            one
            for one in snapshot.calibrations
            if one.instrument_id == newest.instrument_id
            and one.kind == CALIBRATION
            and one.time < newest.time
            and _rows(one, budget)
        ),
        key=lambda one: one.time,
        default=None,
    )
    if before is None or units.unit(budget.unit).dimension == units.TEMPERATURE:
        return None
    months = (newest.time - before.time).total_seconds() / 86400 / DAYS_A_MONTH
    shares = []
    for row in _rows(newest, budget):
        now = _off(row, row.as_found, budget)
        for old in _rows(before, budget):
            then = _off(old, old.as_found if old.as_left is None else old.as_left, budget)
            if now is None or then is None or min(*now, *then) <= 0:
                continue
            shares.append(abs((now[1] / now[0]) / (then[1] / then[0]) - 1.0))
    # Within a month the repeatability, not the drift, makes the difference.
    return max(shares) / max(months, 1.0) if shares else None


def _notes(newest: Calibration, budget: Budget) -> tuple[str, ...]:
    if _rows(newest, budget):
        return ()
    return (
        (
            f"The calibration of {newest.time:%Y-%m-%d} has no row for {budget.analyte} on record, so "
            "what it was left at is taken as right, by its paper."
        ),
    )
