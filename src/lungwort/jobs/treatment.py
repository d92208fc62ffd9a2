"""How long the treatment of a supply lasts, and by when its cartridge is to be changed."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.errors import PlantError
from lungwort.plant.treatment import WATER_RANGE_MG_M3

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.paper.calculation import Calculation
    from lungwort.plant.sheet import PlantSheet
    from lungwort.plant.treatment_life import Intake

SUPPLY: Final = "supply"


@frozen(kw_only=True)
class Request:
    """What is asked.

    Parameters
    ----------
    supply : str, optional
        Name or id of the supply; None to work from a file alone.
    sheet_file : Path, optional
        A plant sheet in place of the one on record.
    stage : str, optional
        Stage that is asked about; the one that comes first where not given.
    until : str, optional
        Day until which it shall last, year first; the planned change on record where not given, or
        where that is earlier.
    intake_c : float, optional
        Temperature at the intake in the time ahead, in place of the sheet's [°C].
    highest_water_mg_m3 : float, optional
        Highest water content allowed behind the treatment, in place of the sheet's [mg/m³].
    """

    supply: str | None = None
    sheet_file: Path | None = None
    stage: str | None = None
    until: str | None = None
    intake_c: float | None = None
    highest_water_mg_m3: float | None = None


def request_of(values: Mapping[str, str]) -> Request:
    """Take what was typed into a form.

    Parameters
    ----------
    values : mapping of str to str
        Fields with something in them, by name.

    Returns
    -------
    Request
        What is asked.

    Raises
    ------
    PlantError
        Where a number cannot be read.
    """
    return Request(
        supply=values.get(SUPPLY),
        stage=values.get("stage"),
        until=values.get("until"),
        intake_c=_number(values, "intake_c", "--intake"),
        highest_water_mg_m3=_number(values, "highest_water_mg_m3", "--highest-water"),
    )


def treatment(where: Where, request: Request, *, now: datetime) -> Calculation:
    """Tell how long the treatment lasts, and by when its cartridge is to be changed.

    Parameters
    ----------
    where : Where
        Which workspace.
    request : Request
        What is asked.
    now : datetime
        The time, UTC.

    Returns
    -------
    Calculation
        With a supply: whether the cartridge in use lasts until its next change. With a file alone:
        how long a new one lasts, with nothing held against it.

    Raises
    ------
    PlantError
        Where there is no plant sheet, or it states no treatment.
    UnknownRecordError
        Where there is no such supply.
    """
    from lungwort.jobs.plant_sheet import sheet_of, told_of_sheet  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.treatment_record import on_record  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.treatment_result import Ground, calculation_of  # noqa: PLC0415 - the same

    sheet = sheet_of(where, request.supply, request.sheet_file)
    check(sheet, request)
    ground = Ground(
        sheet=sheet,
        intake=intake_of(sheet, request.intake_c),
        stage=request.stage,
        intake_given=request.intake_c is not None,
        year=intake_of(sheet),
        now=now,
    )
    if request.supply is None:
        if request.until is not None:
            raise PlantError(
                "--until says nothing without a supply: when the cartridge was changed is on its record "
                "only. Name the supply, or leave --until out."
            )
        return _told_of_intake(
            told_of_sheet(calculation_of(ground), sheet), sheet, request.intake_c
        )
    until = day_of(request.until)
    made = calculation_of(
        on_record(
            where,
            ground,
            request.supply,
            until=until,
            highest_water_mg_m3=request.highest_water_mg_m3,
        )
    )
    return _told_of_intake(told_of_sheet(made, sheet), sheet, request.intake_c)


def _told_of_intake(made: Calculation, sheet: PlantSheet, intake_c: float | None) -> Calculation:
    """Let nothing be proven with air that is colder than the sheet says it ever is."""
    from lungwort.paper.calculation import (  # noqa: PLC0415 - keeps --help instant
        ESTIMATE,
        HOLDS,
        NOT_PROVEN,
    )

    stated = sheet.place.intake_temperature_c
    if intake_c is None or stated is None or intake_c >= stated[1]:
        return made
    if intake_c >= stated[0]:
        season = (
            f"An intake of {intake_c:g} °C was asked for, and it gets up to {stated[1]:g} °C by the sheet: "
            "this holds for the season ahead only, and is not the worst day."
        )
        return evolve(made, reasons=(*made.reasons, season))
    why = (
        f"An intake of {intake_c:g} °C was asked for, and by the sheet it never gets below "
        f"{stated[0]:g} °C: cold air holds little water, and the life comes out too long."
    )
    if made.state not in {HOLDS, ESTIMATE}:
        return evolve(made, reasons=(*made.reasons, why))
    data = {**made.data, "state": NOT_PROVEN} if "state" in made.data else made.data
    return evolve(
        made, state=NOT_PROVEN, word="not proven", reasons=(why, *made.reasons), data=data
    )


def check(sheet: PlantSheet, request: Request) -> None:
    """Refuse what cannot be worked out.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.
    request : Request
        What is asked.

    Raises
    ------
    PlantError
        Where the sheet states no treatment, or not the one that is asked about.
    """
    if not sheet.treatments:
        raise PlantError(
            f"{sheet.origin} states no treatment. Add a table [[treatment]] for each stage; "
            "'lungwort plant form' shows how."
        )
    names = [one.name for one in sheet.treatments]
    if request.stage is not None and request.stage not in names:
        raise PlantError(
            f"{sheet.origin} has no treatment {request.stage!r}. It has: "
            f"{', '.join(map(repr, names))}. Name one of them with --stage."
        )
    low, high = WATER_RANGE_MG_M3
    water = request.highest_water_mg_m3
    if water is not None and not low <= water <= high:
        raise PlantError(
            f"--highest-water {water:g} mg/m³ is outside {low:g} to {high:g} mg/m³. Give the water "
            "content that the limits allow."
        )


def intake_of(sheet: PlantSheet, intake_c: float | None = None) -> Intake | None:
    """Give the air that is drawn in.

    Parameters
    ----------
    sheet : PlantSheet
        The sheet.
    intake_c : float, optional
        A temperature in place of the sheet's [°C].

    Returns
    -------
    Intake, optional
        None where temperature or humidity is not stated.

    Raises
    ------
    PlantError
        Where the temperature is out of range.
    """
    from lungwort.plant.treatment_life import Intake  # noqa: PLC0415 - keeps --help instant
    from lungwort.plant.water_load import INTAKE_RANGE_C  # noqa: PLC0415 - keeps --help instant

    place = sheet.place
    temperature_c = place.intake_temperature_c
    if intake_c is not None:
        low, high = INTAKE_RANGE_C
        if not low <= intake_c <= high:
            raise PlantError(
                f"--intake {intake_c:g} °C is outside {low:g} to {high:g} °C. Give the temperature "
                "of the air that is drawn in."
            )
        temperature_c = (intake_c, intake_c)
    if temperature_c is None or place.intake_humidity_percent is None:
        return None
    return Intake(temperature_c, place.intake_humidity_percent, place.altitude_m)


def day_of(text: str | None) -> date | None:
    """Read the day until which it shall last.

    Parameters
    ----------
    text : str, optional
        The day, year first.

    Returns
    -------
    date, optional
        The day; None for none.

    Raises
    ------
    PlantError
        Where it is no day.
    """
    if text is None or not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise PlantError(
            f"--until {text!r} is no day. Write it year first, like 2026-03-04."
        ) from None


def _number(values: Mapping[str, str], name: str, option: str) -> float | None:
    text = values.get(name)
    if text is None:
        return None
    try:
        return float(text)
    except ValueError:
        raise PlantError(f"{option} {text!r} is no number. Write it like 12.5.") from None
