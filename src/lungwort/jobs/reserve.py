"""How long the air lasts when the compressor stops, against the time to get to safe air."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from attrs import evolve, frozen

from lungwort.errors import PlantError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.paper.calculation import Calculation

ESCAPE_RANGE_MIN: Final = (1.0, 1440.0)


@frozen(kw_only=True)
class Request:
    """What is asked.

    Parameters
    ----------
    supply : str, optional
        Name or id of the supply; None to work from a file alone.
    sheet_file : Path, optional
        A plant sheet in place of the one on record.
    escape_min : float, optional
        Time that everybody needs to get to safe air, in place of the sheet's, 1 to 1440 [min].
    """

    supply: str | None = None
    sheet_file: Path | None = None
    escape_min: float | None = None


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
        Where the time cannot be read.
    """
    text = values.get("escape_min")
    try:
        escape = None if text is None else float(text)
    except ValueError:
        raise PlantError(f"--escape {text!r} is no number. Write it like 12.5.") from None
    return Request(supply=values.get("supply"), escape_min=escape)


def reserve(where: Where, request: Request, *, now: datetime) -> Calculation:
    """Tell how long the air of a supply lasts when its compressor stops.

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
        The time until the first wearer has too little, held against the time to get out.

    Raises
    ------
    PlantError
        Where there is no plant sheet, or it does not state enough, or the time to get out is out of
        range.
    UnknownRecordError
        Where there is no such supply.
    """
    from lungwort.jobs.enough_air import on_record, unlike_record  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.plant_sheet import sheet_of, told_of_sheet  # noqa: PLC0415 - the same
    from lungwort.jobs.reserve_result import calculation_of  # noqa: PLC0415 - the same
    from lungwort.jobs.reserve_work import worked  # noqa: PLC0415 - the same
    from lungwort.plant.reserve import Escape  # noqa: PLC0415 - the same

    sheet = sheet_of(where, request.supply, request.sheet_file)
    if request.escape_min is not None:
        low, high = ESCAPE_RANGE_MIN
        if not low <= request.escape_min <= high:
            raise PlantError(
                f"--escape {request.escape_min:g} min is outside {low:g} to {high:g} min. Give the time "
                "that the slowest needs to get to safe air."
            )
        sheet = evolve(sheet, escape=Escape(request.escape_min, "as asked"))
    subject, zone = sheet.title or "plant sheet", "UTC"
    unlike: tuple[str, ...] = ()
    if request.supply is not None:
        more, name, zone = on_record(where, request.supply, sheet)
        unlike = unlike_record(where, request.supply, sheet)
        sheet, subject = evolve(sheet, wearers=(*sheet.wearers, *more)), f"supply {name}"
    found = worked(sheet)
    found = evolve(found, doubts=(*found.doubts, *unlike))
    return told_of_sheet(calculation_of(sheet, found, now=now, subject=subject, zone=zone), sheet)
