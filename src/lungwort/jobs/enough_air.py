"""Whether there is enough air: what the compressors deliver against what the wearers draw."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import evolve, frozen

from lungwort.errors import PlantError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.paper.calculation import Calculation
    from lungwort.plant.sheet import PlantSheet
    from lungwort.wearers.demand import Wearer


@frozen(kw_only=True)
class Request:
    """What is asked.

    Parameters
    ----------
    supply : str, optional
        Name or id of the supply; None to work from a file alone.
    sheet_file : Path, optional
        A plant sheet in place of the one on record.
    intake_c : float, optional
        Highest temperature at the intake, in place of the sheet's, -50 to 60 [°C].
    without : str, optional
        Name of a compressor that is out of service.
    """

    supply: str | None = None
    sheet_file: Path | None = None
    intake_c: float | None = None
    without: str | None = None


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
        Where the temperature cannot be read.
    """
    text = values.get("intake_c")
    try:
        intake = None if text is None else float(text)
    except ValueError:
        raise PlantError(f"--intake {text!r} is no number. Write it like 32.5.") from None
    return Request(supply=values.get("supply"), intake_c=intake, without=values.get("without"))


def enough_air(where: Where, request: Request, *, now: datetime) -> Calculation:
    """Tell whether the compressors of a supply deliver enough air for all who are on it.

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
        Holds where supply, leaks and pressures are shown to be sufficient on the worst day.

    Raises
    ------
    PlantError
        Where there is no plant sheet, or it states no compressor or no wearer.
    UnknownRecordError
        Where there is no such supply.
    """
    from lungwort.jobs.enough_air_result import calculation_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.enough_air_work import worked  # noqa: PLC0415 - the same
    from lungwort.jobs.plant_sheet import sheet_of, told_of_sheet  # noqa: PLC0415 - the same

    sheet = sheet_of(where, request.supply, request.sheet_file)
    more: tuple[Wearer, ...] = ()
    subject, zone = sheet.title, "UTC"
    unlike: tuple[str, ...] = ()
    if request.supply is not None:
        more, subject, zone = on_record(where, request.supply, sheet)
        unlike = unlike_record(where, request.supply, sheet)
    found = worked(sheet, more, intake_c=request.intake_c, without=request.without)
    found = evolve(found, gaps=(*found.gaps, *unlike))
    return told_of_sheet(calculation_of(found, now=now, subject=subject, zone=zone), sheet)


def on_record(where: Where, supply: str, sheet: PlantSheet) -> tuple[tuple[Wearer, ...], str, str]:
    """Find what is worn at outlets of the supply for which the sheet names no wearers.

    Parameters
    ----------
    where : Where
        Which workspace.
    supply : str
        Name or id of the supply.
    sheet : PlantSheet
        The sheet.

    Returns
    -------
    tuple of (tuple of Wearer, str, str)
        Wearers from the record, name of the supply, and time zone of its site.

    Raises
    ------
    UnknownRecordError
        Where there is no such supply.
    """
    from lungwort.jobs.opening import opened, site_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import Outlet, Supply, WearerEquipment  # noqa: PLC0415 - the same
    from lungwort.wearers.demand import Wearer  # noqa: PLC0415 - the same

    named = {one.at.casefold() for one in sheet.wearers}
    found = []
    with opened(where, read_only=True) as workspace, workspace.register.at_one_time() as reader:
        thing = reader.get(Supply, supply)
        zone = site_of(reader, thing).zone
        for outlet in reader.all(Outlet, supply_id=thing.id):
            if not outlet.in_use or outlet.name.casefold() in named:
                continue
            found += [
                Wearer(
                    name=worn.name,
                    at=outlet.name,
                    minimum_flow_l_min=_float(worn.minimum_flow_l_min),
                    minimum_bar_g=_float(worn.lowest_pressure_bar_g),
                    maximum_bar_g=_float(worn.highest_pressure_bar_g),
                    count=worn.count,
                    simultaneous=worn.count,
                    origin="on record",
                )
                for worn in reader.all(WearerEquipment, outlet_id=outlet.id)
                if worn.in_use
            ]
    return tuple(found), thing.name, zone


def unlike_record(where: Where, supply: str, sheet: PlantSheet) -> tuple[str, ...]:
    """Tell where the sheet asks for less at an outlet than what is worn there by the record.

    Parameters
    ----------
    where : Where
        Which workspace.
    supply : str
        Name or id of the supply.
    sheet : PlantSheet
        The sheet.

    Returns
    -------
    tuple of str
        A sentence an outlet; empty for none.

    Raises
    ------
    UnknownRecordError
        Where there is no such supply.
    """
    from lungwort.jobs.opening import opened  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.model import Outlet, Supply, WearerEquipment  # noqa: PLC0415 - the same

    found = []
    with opened(where, read_only=True) as workspace, workspace.register.at_one_time() as reader:
        thing = reader.get(Supply, supply)
        for outlet in reader.all(Outlet, supply_id=thing.id):
            told = [one for one in sheet.wearers if one.at.casefold() == outlet.name.casefold()]
            worn = [one for one in reader.all(WearerEquipment, outlet_id=outlet.id) if one.in_use]
            if outlet.in_use and not told and not worn:
                found.append(
                    f"Outlet {outlet.name} is in use, and neither the plant sheet nor the record says who "
                    "is on the air there. Add a [[wearer]], or retire the outlet."
                )
            if not told or not worn:
                continue
            for what, here, there, unit in (
                ("wearers", sum(one.count for one in told), sum(one.count for one in worn), ""),
                (
                    "least pressure",
                    max((one.minimum_bar_g or 0.0 for one in told), default=0.0),
                    max((_float(one.lowest_pressure_bar_g) or 0.0 for one in worn), default=0.0),
                    " bar(g)",
                ),
                (
                    "least flow of one",
                    max((one.minimum_flow_l_min or 0.0 for one in told), default=0.0),
                    max((_float(one.minimum_flow_l_min) or 0.0 for one in worn), default=0.0),
                    " L/min",
                ),
            ):
                if here < there:
                    found.append(
                        f"At {outlet.name} the record has {there:g}{unit} as {what}, and the plant sheet "
                        f"{here:g}{unit}. Put right whichever is out of date."
                    )
    return tuple(found)


def _float(value: object) -> float | None:
    return None if value is None else float(str(value))
