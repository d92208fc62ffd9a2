"""What belongs to a supply: stages of its treatment, cartridge changes, hour meter, events."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import InputError, RegisterError
from lungwort.jobs.catalogue import (
    quantities,
    shape,
    typed,
)
from lungwort.jobs.catalogue.shape import Done, Fact, Noun, Session
from lungwort.jobs.opening import site_of, typed_time
from lungwort.register.model import (
    EVENT_KINDS,
    STAGE_KINDS,
    CartridgeChange,
    Event,
    Lot,
    LotUse,
    RunningHours,
    Stage,
    Supply,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from lungwort.register.records import Change, Reader

MOST_STAGES: Final = 50
MOST_MONTHS: Final = 120
_METER_SLACK_H: Final = Decimal(2)
_OF_CARTRIDGES: Final = ("filter", "other")


def _kind(text: str, option: str) -> str:
    return typed.choice(text, STAGE_KINDS, option)


def _place(text: str, option: str) -> int:
    return typed.whole(text, option, 1, MOST_STAGES)


def _hours(text: str, option: str) -> Decimal:
    return quantities.hours(text, option, least=1)


def _months(text: str, option: str) -> int:
    return typed.whole(text, option, 1, MOST_MONTHS, "months")


NOUN: Final = Noun(
    Stage,
    "stage",
    "stages",
    (
        Fact("name", "Name", "--name", typed.short_name),
        Fact("kind", "Kind", "--kind", _kind, shape.kind_words),
        Fact("place", "Place", "--place", _place),
        Fact(
            "change_hours",
            "Changed after hours",
            "--change-hours",
            typed.or_none(_hours),
            lambda value: shape.amount(value, "h"),
        ),
        Fact(
            "change_months",
            "Changed after months",
            "--change-months",
            typed.or_none(_months),
            lambda value: shape.counted(value, "month"),
        ),
        Fact("note", "Note", "--note", typed.words),
    ),
)


@frozen(kw_only=True)
class StageFacts:
    """What is said of a stage, as typed; None where it is not said.

    Parameters
    ----------
    name, kind, place, change_hours, change_months, note : str, optional
        As in `lungwort.register.model.Stage`.
    in_use : bool, optional
        False once it is taken out.
    """

    name: str | None = None
    kind: str | None = None
    place: str | None = None
    change_hours: str | None = None
    change_months: str | None = None
    note: str | None = None
    in_use: bool | None = None


def stage(at: Session, supply: str, name: str, facts: StageFacts, reason: str | None) -> Done:
    """Record a stage of a supply's treatment, or a new version of one that is on record.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    supply : str
        Name or id of the supply.
    name : str
        Name of the stage; a new one is added.
    facts : StageFacts
        What is said of it.
    reason : str, optional
        Why; needed where it is on record already.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a value cannot be used, or a new stage has no kind.
    """
    values, remarks = NOUN.values(facts)
    with at.recording() as (_, change, said):
        owner = change.get(Supply, supply)
        old = change.find(Stage, f"{owner.id}/{name.strip()}")
        if old is not None:
            if facts.in_use is not None:
                values["in_use"] = facts.in_use
            if not values:
                raise InputError(
                    f"Stage {owner.name}/{old.name} is on record already, and nothing is given that "
                    "would change. Give --kind, --place, --change-hours, --change-months, --retire "
                    "or --name."
                )
            new = shape.replaced(change, NOUN, old, values, reason)
            told = shape.told_change(NOUN, old, new, {})
            return Done(new, told, (*said, *remarks))
        record = change.add(_new(change, owner, name, values, facts))
        if record.change_hours is None and record.change_months is None:
            remarks.append(
                "It is not said when its cartridge is changed (--change-hours, --change-months): "
                "nothing will say that a change is due."
            )
    return Done(
        record,
        f"Stage {owner.name}/{record.name}, place {record.place}, is on record.",
        (*said, *remarks),
        (
            (
                f"lungwort supply cartridge {owner.name} {record.name} --hours HOURS (when its cartridge "
                "was changed last)"
            ),
        ),
    )


def _new(
    change: Change, owner: Supply, name: str, values: dict[str, Any], facts: StageFacts
) -> Stage:
    if facts.name is not None or facts.in_use is not None:
        raise InputError(
            f"There is no stage {name!r} of supply {owner.name} on record yet, so it cannot be renamed, "
            "retired or taken back. " + _stage_names(change, owner)
        )
    if "kind" not in values:
        listed = ", ".join(map(typed.dashed, STAGE_KINDS))
        raise InputError(f"What kind of stage is {name!r}? Give --kind with one of: {listed}.")
    known = [one for one in change.all(Stage, supply_id=owner.id) if one.in_use]
    values.setdefault("place", max((one.place for one in known), default=0) + 1)
    return Stage(supply_id=owner.id, **{**values, "name": typed.short_name(name, "NAME")})


def _stage_names(register: Reader, owner: Supply) -> str:
    names = sorted(one.name for one in register.all(Stage, supply_id=owner.id))
    return f"On record: {', '.join(names)}." if names else "None is on record."


def cartridge(
    at: Session,
    supply: str,
    name: str,
    *,
    time: str | None = None,
    hours: str | None = None,
    lot: str | None = None,
    note: str | None = None,
) -> Done:
    """Record that the cartridge of a stage was changed.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    supply, name : str
        Supply and stage.
    time : str, optional
        When; now if not given.
    hours : str, optional
        What the supply's hour meter showed [h]. It is recorded as a reading of the meter as well.
    lot : str, optional
        Lot of the new cartridge; one of it is used up.
    note : str, optional
        What else is to be remembered.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a value cannot be used, or the lot is of another kind.
    """
    showed = quantities.hours(hours, "--hours") if hours is not None else None
    remembered = typed.words(note or "", "--note")
    with at.recording() as (_, change, said):
        owner = change.get(Supply, supply)
        place = _stage(change, owner, name)
        site = site_of(change, owner)
        moment = typed_time(time, site.zone, "--time", now=at.now)
        new_lot = _cartridge_lot(change, lot, moment, said) if lot is not None else None
        if showed is not None:
            _check_meter(change, owner, moment, showed, "--hours")
        record = change.add(
            CartridgeChange(
                stage_id=place.id,
                time=moment,
                running_hours=showed,
                lot_id=new_lot.id if new_lot else None,
                by_id=change.who.id,
                note=remembered,
            )
        )
        if showed is not None:
            change.add(
                RunningHours(
                    supply_id=owner.id,
                    time=moment,
                    hours=showed,
                    note=f"when the cartridge of {place.name} was changed",
                )
            )
        elif place.change_hours is not None:
            said.append(
                f"Stage {place.name} is changed after {shape.amount(place.change_hours, 'h')}, and no "
                "--hours were given: its hours cannot be counted from this change. Void it "
                f"('lungwort supply void {record.id} --reason TEXT') and record it again with them."
            )
        if new_lot is not None:
            said.extend(
                _use_one(change, new_lot, moment, f"cartridge of {owner.name}/{place.name}")
            )
    return Done(
        record,
        f"The cartridge of {owner.name}/{place.name} is recorded as changed "
        f"{_when(site.zone, moment)}.",
        tuple(said),
        (
            f"lungwort test start OUTLET (an outlet of {owner.name}: a change of cartridge asks for a test)",
        ),
    )


def _stage(register: Reader, owner: Supply, name: str) -> Stage:
    found = register.find(Stage, f"{owner.id}/{name.strip()}")
    if found is None:
        names = [one.name for one in register.all(Stage, supply_id=owner.id)]
        raise InputError(
            f"Supply {owner.name} has no stage {name!r}.{typed.near(name, names)} "
            + _stage_names(register, owner)
        )
    if not found.in_use:
        raise InputError(
            f"Stage {owner.name}/{found.name} is taken out. Take it back first with 'lungwort supply "
            f"stage {owner.name} {found.name} --in-use --reason TEXT'."
        )
    return found


def _cartridge_lot(change: Change, name: str, moment: datetime, said: list[str]) -> Lot:
    lot = change.get(Lot, name)
    if lot.kind not in _OF_CARTRIDGES:
        raise InputError(
            f"Lot {lot.name} is of the kind {shape.kind_words(lot.kind)}, not filter. Give the lot of "
            "the cartridge with --lot."
        )
    if lot.expires is not None and lot.expires < moment.date():
        said.append(
            f"Lot {lot.name} expired on {shape.day(lot.expires)}. Put in another cartridge."
        )
    return lot


def left(register: Reader, lot: Lot) -> int:
    """Count what is left of a lot: its stock less all that was used [1]."""
    return lot.stock - sum(one.count for one in register.all(LotUse, lot_id=lot.id))


def _use_one(change: Change, lot: Lot, moment: datetime, why: str) -> list[str]:
    if left(change, lot) < 1:
        return [
            (
                f"None of lot {lot.name} is left on record, so its use was not counted. Put the stock "
                f"right with 'lungwort lot change {lot.name} --stock N --reason TEXT'."
            )
        ]
    change.add(LotUse(lot_id=lot.id, time=moment, count=1, why=why))
    return []


def hours(
    at: Session, supply: str, reading: str, *, time: str | None = None, note: str | None = None
) -> Done:
    """Record what a supply's hour meter shows.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    supply : str
        Name or id of the supply.
    reading : str
        What it shows [h].
    time : str, optional
        When it was read; now if not given.
    note : str, optional
        What else is to be remembered.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where it is no such number.
    RegisterError
        Where it does not fit what was read before or after it.
    """
    showed = quantities.hours(reading, "HOURS")
    remembered = typed.words(note or "", "--note")
    with at.recording() as (_, change, said):
        owner = change.get(Supply, supply)
        site = site_of(change, owner)
        moment = typed_time(time, site.zone, "--time", now=at.now)
        _check_meter(change, owner, moment, showed, "HOURS")
        record = change.add(
            RunningHours(supply_id=owner.id, time=moment, hours=showed, note=remembered)
        )
    return Done(
        record,
        f"The hour meter of {owner.name} is recorded as {shape.amount(showed, 'h')}, "
        f"{_when(site.zone, moment)}.",
        tuple(said),
        ("lungwort due",),
    )


def meter_readings(register: Reader, supply: Supply) -> Iterator[tuple[datetime, Decimal, str]]:
    """Give all readings of a supply's hour meter: time, hours [h], id of the record."""
    for one in register.all(RunningHours, supply_id=supply.id):
        yield one.time, one.hours, one.id
    for place in register.all(Stage, supply_id=supply.id):
        for change in register.all(CartridgeChange, stage_id=place.id):
            if change.running_hours is not None:
                yield change.time, change.running_hours, change.id


def _check_meter(
    register: Reader, owner: Supply, moment: datetime, showed: Decimal, option: str
) -> None:
    """Refuse a reading that a meter which only counts up cannot have shown."""
    readings = sorted(meter_readings(register, owner))
    zone = site_of(register, owner).zone
    before = [one for one in readings if one[0] <= moment][-1:]
    after = [one for one in readings if one[0] > moment][:1]
    for time, known, record_id in before:
        if showed < known:
            raise RegisterError(
                f"{option}: {shape.amount(showed, 'h')} is less than {shape.amount(known, 'h')}, which "
                f"the hour meter of {owner.name} showed {_when(zone, time)}. If that one is wrong, void "
                f"it: 'lungwort supply void {record_id} --reason TEXT'. If the meter was replaced, go "
                "on counting: add what the old one showed last to what the new one shows."
            )
        if showed - known > _most(moment - time):
            raise _too_fast(option, showed, owner, known, _when(zone, time), record_id)
    for time, known, record_id in after:
        if showed > known:
            raise RegisterError(
                f"{option}: {shape.amount(showed, 'h')} is more than {shape.amount(known, 'h')}, which "
                f"the hour meter of {owner.name} showed later, {_when(zone, time)}. Check the number and "
                f"--time. If the later one is wrong, void it: 'lungwort supply void {record_id} "
                "--reason TEXT'."
            )
        if known - showed > _most(time - moment):
            raise _too_fast(option, showed, owner, known, _when(zone, time), record_id)


def _most(span: timedelta) -> Decimal:
    return Decimal(round(span / timedelta(seconds=1))) / 3600 + _METER_SLACK_H


def _too_fast(
    option: str, showed: Decimal, owner: Supply, known: Decimal, when: str, record_id: str
) -> RegisterError:
    return RegisterError(
        f"{option}: {shape.amount(showed, 'h')} cannot be, as the hour meter of {owner.name} showed "
        f"{shape.amount(known, 'h')} {when}, and between the two lie fewer hours than it would have "
        f"counted. Check the number and --time. If the other one is wrong, void it: 'lungwort supply "
        f"void {record_id} --reason TEXT'."
    )


def event(
    at: Session, supply: str, *, kind: str, what: str | None, time: str | None = None
) -> Done:
    """Record something that happened to a supply and asks for a new test.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    supply : str
        Name or id of the supply.
    kind : str
        One of `EVENT_KINDS`.
    what : str, optional
        What happened; needed.
    time : str, optional
        When; now if not given.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a value cannot be used.
    """
    of_kind = typed.choice(kind, EVENT_KINDS, "--kind")
    text = typed.needed_words(what, "--what", "what happened, or what the doubt is")
    with at.recording() as (_, change, said):
        owner = change.get(Supply, supply)
        site = site_of(change, owner)
        moment = typed_time(time, site.zone, "--time", now=at.now)
        record = change.add(
            Event(supply_id=owner.id, kind=of_kind, time=moment, text=text, by_id=change.who.id)
        )
    if of_kind == "doubt":
        said.append(
            "In doubt nobody breathes it: consider 'lungwort withdraw "
            f"{owner.name} --because TEXT' until it is tested."
        )
    return Done(
        record,
        f"{shape.kind_words(of_kind).capitalize()} of {owner.name} is on record, "
        f"{_when(site.zone, moment)}.",
        tuple(said),
        (f"lungwort test start OUTLET (an outlet of {owner.name}: it asks for a new test)",),
    )


def _when(zone: str, moment: datetime) -> str:
    when = shape.clock(zone, [moment])
    return f"at {when.time(moment)} ({when.zone_name})"
