"""Early warning from plant sheets: cartridges that end before their change, and too little air."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Final

from attrs import frozen

from lungwort.errors import LungwortError
from lungwort.jobs._readings_store import _Kept

if TYPE_CHECKING:
    from lungwort.jobs.opening import Where
    from lungwort.plan.snapshot import Snapshot
    from lungwort.plant.treatment_state import Decided, Facts
    from lungwort.register.model import Supply
    from lungwort.register.workspace import Workspace

AHEAD: Final = timedelta(days=30)
"""How long before the day of a change it is told; own rule."""
NOW: Final = "now"
DOUBTFUL: Final = "doubtful"
SOON: Final = "soon"
_MOST_KEPT: Final = 20


@frozen
class Ends:
    """A cartridge that by calculation is to be changed before the plan says so.

    Parameters
    ----------
    supply_id, supply, stage : str
        The supply, and the stage of its treatment.
    urgency : str
        ``now``, ``doubtful`` or ``soon``.
    question : str
        ``treatment``, ``air`` or ``reserve``: where it is worked out.
    text : str
        What is to be told.
    why : tuple of str
        The reasons.
    """

    supply_id: str
    supply: str
    stage: str
    urgency: str
    text: str
    why: tuple[str, ...]
    question: str = "treatment"


_KEPT: Final[_Kept[tuple[str, str, str], tuple[Ends, ...]]] = _Kept(_MOST_KEPT)


def ends(where: Where, workspace: Workspace, snapshot: Snapshot) -> tuple[Ends, ...]:
    """Tell which cartridges end before the plan has them changed.

    Parameters
    ----------
    where : Where
        Which workspace.
    workspace : Workspace
        The same, open.
    snapshot : Snapshot
        Its record.

    Returns
    -------
    tuple of Ends
        One for each stage of a supply in use whose calculated life is over, or ends within the
        next month and before the plan; none for a sheet whose figures are called invented. What
        cannot be told is not told here: the page of the treatment says what is missing.
    """
    newest = workspace.register.newest()
    hour = f"{snapshot.now:%Y-%m-%dT%H}"
    key = (str(workspace.folder), "" if newest is None else newest.hash, hour)
    known = _KEPT.get(key)
    if known is None:
        known = tuple(_all(where, workspace, snapshot))
        _KEPT.put(key, known)
    return known


def _all(where: Where, workspace: Workspace, snapshot: Snapshot) -> list[Ends]:
    from lungwort.register.model import PlantRecord  # noqa: PLC0415 - only where it is asked

    sheets: dict[str, PlantRecord] = {}
    for one in workspace.register.all(PlantRecord):
        if one.supply_id not in sheets or one.seq > sheets[one.supply_id].seq:
            sheets[one.supply_id] = one
    made = []
    for supply in snapshot.supplies:
        kept = sheets.get(supply.id)
        if supply.in_use and kept is not None:
            try:
                made += _of(where, snapshot, supply, kept.text, kept.name)
                made += _not_enough(where, snapshot, supply, kept.text, kept.name)
            except LungwortError as error:
                made.append(
                    Ends(
                        supply.id,
                        supply.name,
                        "",
                        DOUBTFUL,
                        "How long its treatment lasts could not be worked out.",
                        (str(error),),
                    )
                )
    return made


def _of(where: Where, snapshot: Snapshot, supply: Supply, text: str, name: str) -> list[Ends]:
    from lungwort.jobs.treatment import intake_of  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.treatment_record import on_record  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.treatment_result import Ground  # noqa: PLC0415 - the same
    from lungwort.plant.sheet import read_sheet  # noqa: PLC0415 - the same

    sheet = read_sheet(text, name)
    if sheet.invented or not sheet.treatments:
        return []
    year = intake_of(sheet)
    ground = on_record(
        where, Ground(sheet=sheet, intake=year, year=year, now=snapshot.now), supply.id
    )
    return [
        found
        for facts, decided in ground.told
        if (found := _end(supply, facts, decided)) is not None
    ]


def _not_enough(
    where: Where, snapshot: Snapshot, supply: Supply, text: str, name: str
) -> list[Ends]:
    """Tell where the sheet itself shows too little; what is not proven is told by the questions."""
    from lungwort.jobs import enough_air, reserve  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.calculation import FAILS  # noqa: PLC0415 - the same
    from lungwort.plant.sheet import read_sheet  # noqa: PLC0415 - the same

    sheet = read_sheet(text, name)
    if sheet.invented:
        return []
    made = []
    if sheet.compressors and sheet.wearers:
        air = enough_air.enough_air(where, enough_air.Request(supply=supply.id), now=snapshot.now)
        if air.state == FAILS:
            made.append(
                (air, "By its plant sheet there is not enough air for all who are on it.", "air")
            )
    if (sheet.receivers or sheet.reserves) and sheet.wearers and sheet.escape is not None:
        lasts = reserve.reserve(where, reserve.Request(supply=supply.id), now=snapshot.now)
        if lasts.state == FAILS:
            made.append(
                (lasts, "By its plant sheet the reserve is too short to get out.", "reserve")
            )
    return [
        Ends(supply.id, supply.title or supply.name, "", NOW, told, (one.answer,), question)
        for one, told, question in made
    ]


def _end(supply: Supply, facts: Facts, decided: Decided) -> Ends | None:
    from lungwort.jobs.treatment_words import day  # noqa: PLC0415 - keeps --help instant
    from lungwort.paper.calculation import FAILS  # noqa: PLC0415 - the same
    from lungwort.plant.treatment_state import WET  # noqa: PLC0415 - the same

    planned = facts.planned.day
    today = facts.now.astimezone(facts.zone).date()
    by = decided.change_by
    worked_out = None if decided.change is None else decided.change.earliest
    urgency = SOON
    if decided.word == WET:
        urgency = NOW
        told = f"The air behind {decided.stage} is too wet: withdraw the supply and change it now."
    elif decided.state == FAILS:
        if worked_out is None or worked_out >= today:
            # The planned change is past: the plan says so itself.
            return None
        urgency = NOW
        told = f"By calculation the cartridge of {decided.stage} is to be changed now."
    elif by is None or (planned is not None and by >= planned) or by > today + AHEAD:
        return None
    elif by < today:
        urgency = DOUBTFUL
        told = (
            f"By calculation the cartridge of {decided.stage} may be used up since {day(by)}; that "
            "rests on figures that had to be assumed."
        )
    else:
        later = "" if planned is None else f", before its planned change on {day(planned)}"
        told = f"By calculation the cartridge of {decided.stage} lasts until {day(by)}{later}."
    return Ends(
        supply.id, supply.title or supply.name, decided.stage, urgency, told, decided.reasons
    )
