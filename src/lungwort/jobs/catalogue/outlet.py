"""Outlets: where air is taken and tested, and what is worn there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import evolve, frozen

from lungwort.errors import InputError
from lungwort.jobs.catalogue import (
    quantities,
    shape,
    showing,
    typed,
    voiding,
)
from lungwort.jobs.catalogue.shape import Done, Fact, Listing, Noun, Section, Session, Taken, View
from lungwort.jobs.catalogue.supply import the_one
from lungwort.jobs.opening import Where, opened
from lungwort.register.model import HandTest, LogImport, Outlet, Site, Supply, WearerEquipment

if TYPE_CHECKING:
    from datetime import datetime
    from decimal import Decimal

    from lungwort.register.reader import Reader

MOST_WEARERS: Final = 1000
_TESTS_SHOWN: Final = 10

NOUN: Final = Noun(
    Outlet,
    "outlet",
    "outlets",
    (
        Fact("name", "Name", "--name", typed.short_name),
        Fact("place", "Place", "--place", typed.words),
        Fact("note", "Note", "--note", typed.words),
    ),
)


def _pressure(text: str, option: str) -> Taken:
    value, taken = quantities.pressure_bar_g(text, option)
    return Taken(value, (taken,) if taken else ())


def _count(text: str, option: str) -> int:
    return typed.whole(text, option, 1, MOST_WEARERS)


def _bar(value: Decimal) -> str:
    return shape.amount(value, "bar(g)")


EQUIPMENT: Final = Noun(
    WearerEquipment,
    "wearer equipment",
    "wearer equipment",
    (
        Fact("name", "Name", "--name", typed.words),
        Fact(
            "minimum_flow_l_min",
            "Least flow for one wearer",
            "--minimum-flow",
            typed.or_none(quantities.flow_l_min),
            lambda value: shape.amount(value, "L/min"),
        ),
        Fact(
            "lowest_pressure_bar_g",
            "Lowest pressure at the hose's inlet",
            "--lowest-pressure",
            typed.or_none(_pressure),
            _bar,
        ),
        Fact(
            "highest_pressure_bar_g",
            "Highest pressure at the hose's inlet",
            "--highest-pressure",
            typed.or_none(_pressure),
            _bar,
        ),
        Fact("count", "Worn at once", "--count", _count),
        Fact("note", "Note", "--note", typed.words),
    ),
)


@frozen(kw_only=True)
class OutletFacts:
    """What is said of an outlet, as typed; None where it is not said.

    Parameters
    ----------
    supply : str, optional
        Name of its supply; may be left out where there is only one.
    name, place, note : str, optional
        As in `lungwort.register.model.Outlet`.
    in_use : bool, optional
        False once it is taken away.
    """

    supply: str | None = None
    name: str | None = None
    place: str | None = None
    note: str | None = None
    in_use: bool | None = None


@frozen(kw_only=True)
class EquipmentFacts:
    """What is said of wearer equipment, as typed; None where it is not said.

    Parameters
    ----------
    name, minimum_flow_l_min, lowest_pressure_bar_g, highest_pressure_bar_g : str, optional
        As in `lungwort.register.model.WearerEquipment`, numbers with their units.
    count, note : str, optional
        How many are worn at once [1]; what else is to be remembered.
    in_use : bool, optional
        False once it is put away.
    """

    name: str | None = None
    minimum_flow_l_min: str | None = None
    lowest_pressure_bar_g: str | None = None
    highest_pressure_bar_g: str | None = None
    count: str | None = None
    note: str | None = None
    in_use: bool | None = None


def add(at: Session, name: str, facts: OutletFacts) -> Done:
    """Record a new outlet.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Short name.
    facts : OutletFacts
        What is said of it.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a value cannot be used, it is not clear of which supply it is, or the name is taken.
    """
    values, remarks = NOUN.values(facts)
    values["name"] = typed.short_name(name, "NAME")
    with at.recording() as (_, change, said):
        supply = the_one(change, Supply, facts.supply, "--supply", said)
        record = change.add(Outlet(supply_id=supply.id, **values))
        equipped = bool(change.all(WearerEquipment))
    return Done(
        record,
        f"Outlet {record.name} of supply {supply.name} is on record.",
        (*said, *remarks),
        (
            *(
                ()
                if equipped
                else (f"lungwort outlet equipment {record.name} NAME --minimum-flow '170 L/min'",)
            ),
            "lungwort instrument add NAME --channel 'co=0-100 ppm ± 2 ppm'",
            f"lungwort test start {record.name}, or lungwort import FILE --outlet {record.name}",
        ),
    )


def change(at: Session, name: str, facts: OutletFacts, reason: str | None) -> Done:
    """Record a new version of an outlet.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Its name or id.
    facts : OutletFacts
        What is different. An outlet stays with its supply.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a value cannot be used, nothing would be different, or there is no reason.
    """
    if facts.supply is not None:
        raise InputError(
            "An outlet stays with its supply: what was tested there would else speak for air that "
            "it never had. Retire the outlet (--retire) and add a new one to the other supply; one "
            "that was recorded by mistake is voided with 'lungwort outlet void'."
        )
    values, remarks = NOUN.need_values(facts, reason)
    with at.recording() as (_, changing, said):
        old = changing.get(Outlet, name)
        if values.get("in_use") is False and old.in_use:
            _refuse_unjudged(changing, old, at.now)
        new = shape.replaced(changing, NOUN, old, values, reason)
        told = shape.told_change(NOUN, old, new, {})
    return Done(new, told, (*said, *remarks))


def _refuse_unjudged(changing: Reader, old: Outlet, now: datetime) -> None:
    """Refuse to give up an outlet while what was measured there was not judged.

    What is wrong with its air is wrong with the supply's, and would be forgotten with the outlet.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - keeps --help instant
    from lungwort.plan.unjudged import said, standing  # noqa: PLC0415 - keeps --help instant

    found = standing(take(changing, now), old.id)
    if found:
        raise InputError(f"Outlet {old.name} cannot be retired yet. {said(old, found)}")


def equipment(
    at: Session, outlet: str, name: str, facts: EquipmentFacts, reason: str | None
) -> Done:
    """Record what is worn at an outlet, or a new version of it.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    outlet : str
        Name or id of the outlet.
    name : str
        What it is; new equipment is added.
    facts : EquipmentFacts
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
        Where a value cannot be used, or the pressures contradict each other.
    """
    values, remarks = EQUIPMENT.values(facts)
    called = typed.needed_words(name, "NAME", "what is worn, like 'half mask'")
    if facts.name is not None:
        values["name"] = typed.needed_words(facts.name, "--name", "what is worn, like 'half mask'")
    with at.recording() as (_, change, said):
        where = change.get(Outlet, outlet)
        known = change.all(WearerEquipment, outlet_id=where.id)
        old = next((one for one in known if one.name.casefold() == called.casefold()), None)
        if facts.in_use is not None:
            values["in_use"] = facts.in_use
        if old is None:
            if facts.name is not None or facts.in_use is not None:
                names = ", ".join(sorted(one.name for one in known))
                raise InputError(
                    f"There is no {called!r} at outlet {where.name} on record, so it cannot be "
                    f"renamed, retired or taken back. {f'On record: {names}.' if names else ''}".rstrip()
                )
            made = WearerEquipment(outlet_id=where.id, **{**values, "name": called})
        else:
            if not values:
                raise InputError(
                    f"{old.name} at outlet {where.name} is on record already, and nothing is given "
                    "that would change. Give --minimum-flow, --lowest-pressure, --highest-pressure, "
                    "--count, --name or --retire."
                )
            _refuse_same_name(values.get("name"), old, known, where)
            made = evolve(old, **values)
        _check_pressures(made)
        if old is None:
            record = change.add(made)
            told = f"{called} at outlet {where.name} is on record."
        else:
            record = shape.replaced(change, EQUIPMENT, old, values, reason)
            told = shape.told_change(EQUIPMENT, old, record, {})
    if record.minimum_flow_l_min is None and record.in_use:
        remarks.append(
            "No least flow for one wearer (--minimum-flow, by the maker's instruction): a flow test "
            "at the outlet cannot be held against it."
        )
    return Done(record, told, (*said, *remarks), (f"lungwort outlet show {where.name}",))


def _refuse_same_name(
    name: str | None, old: WearerEquipment, known: list[WearerEquipment], where: Outlet
) -> None:
    if name is None:
        return
    for one in known:
        if one.id != old.id and one.name.casefold() == name.casefold():
            raise InputError(
                f"There is {one.name!r} at outlet {where.name} already ({one.id}). Give another --name."
            )


def _check_pressures(one: WearerEquipment) -> None:
    low, high = one.lowest_pressure_bar_g, one.highest_pressure_bar_g
    if low is not None and high is not None and low >= high:
        raise InputError(
            f"--lowest-pressure {_bar(low)} is not below --highest-pressure {_bar(high)}. Check both."
        )


def void(at: Session, name: str, reason: str | None) -> Done:
    """Void an outlet, or what is worn there.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Name or id of an outlet, or id of wearer equipment.
    reason : str, optional
        Why.

    Returns
    -------
    Done
        What was done.

    Raises
    ------
    RegisterError
        Where something on record refers to it.
    """
    return voiding.void(
        at,
        NOUN,
        name,
        reason,
        parts=(EQUIPMENT,),
        instead="For one that was taken away, use 'lungwort outlet change NAME --retire'.",
    )


def listed(where: Where, *, retired_too: bool = False, supply: str | None = None) -> Listing:
    """List the outlets.

    Parameters
    ----------
    where : Where
        Which workspace.
    retired_too : bool
        Whether those that were taken away are listed too.
    supply : str, optional
        Only those of this supply.

    Returns
    -------
    Listing
        The list.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        supplies = {one.id: one for one in register.all(Supply)}
        records = register.all(Outlet)
        if supply is not None:
            chosen = register.get(Supply, supply)
            records = [one for one in records if one.supply_id == chosen.id]
        worn = [one for one in register.all(WearerEquipment) if one.in_use]

        def names(outlet: Outlet) -> list[str]:
            return [f"{one.count} × {one.name}" for one in worn if one.outlet_id == outlet.id]

        return showing.listing(
            NOUN,
            records,
            retired_too=retired_too,
            headings=("name", "place", "supply", "worn there"),
            row=lambda one: (
                one.name,
                one.place,
                supplies[one.supply_id].name,
                ", ".join(names(one)),
            ),
            more=lambda one: {"supply": supplies[one.supply_id].name},
            empty="No outlet is on record. Next: lungwort outlet add NAME --supply SUPPLY",
        )


def show(where: Where, name: str, *, history: bool = False) -> View:
    """Show an outlet.

    Parameters
    ----------
    where : Where
        Which workspace.
    name : str
        Its name or id.
    history : bool
        Whether all versions are listed.

    Returns
    -------
    View
        What is known of it.

    Raises
    ------
    UnknownRecordError
        Where there is none of that name.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        outlet = showing.found(register, NOUN, name)
        supply = showing.newest(register, Supply, outlet.supply_id)
        site = showing.newest(register, Site, supply.site_id)
        worn = register.all(WearerEquipment, outlet_id=outlet.id)
        tests = register.all(HandTest, outlet_id=outlet.id)
        logs = register.all(LogImport, outlet_id=outlet.id)
        when = shape.clock(
            site.zone,
            [one.ended for one in tests]
            + [time for one in logs for time in (one.start, one.end) if time is not None],
        )
        sections = [
            Section(
                "Worn there",
                ("what", "at once", "least flow for one", "lowest", "highest", "in use", "id"),
                tuple(
                    (
                        one.name,
                        str(one.count),
                        shape.amount(one.minimum_flow_l_min, "L/min"),
                        shape.amount(one.lowest_pressure_bar_g, "bar(g)"),
                        shape.amount(one.highest_pressure_bar_g, "bar(g)"),
                        shape.yes_no(one.in_use),
                        one.id,
                    )
                    for one in worn
                ),
                f"Nothing on record. Next: lungwort outlet equipment {outlet.name} NAME "
                "--minimum-flow '170 L/min'",
            ),
            Section(
                "Newest tests by hand",
                (f"ended ({when.zone_name})", "procedure", "state", "id"),
                tuple(
                    (when.time(one.ended), one.procedure, one.state, one.id)
                    for one in sorted(tests, key=lambda one: one.ended, reverse=True)[:_TESTS_SHOWN]
                ),
                f"None on record. Next: lungwort test start {outlet.name}",
            ),
            Section(
                "Newest logs",
                (f"period ({when.zone_name})", "files", "readings in time", "id"),
                tuple(
                    (
                        when.span(one.start, one.end),
                        ", ".join(file.name for file in one.files),
                        str(one.rows),
                        one.id,
                    )
                    for one in sorted(logs, key=lambda one: one.seq, reverse=True)[:_TESTS_SHOWN]
                ),
                f"None on record. Next: lungwort import FILE --outlet {outlet.name}",
            ),
        ]
        plain: dict[str, Any] = {
            "outlet": shape.plain(outlet, supply=supply.name, site=site.name),
            "equipment": [shape.plain(one) for one in worn],
            "hand_tests": [one.id for one in tests],
            "log_imports": [one.id for one in logs],
        }
        return showing.view(
            register,
            NOUN,
            outlet,
            site.zone,
            sections,
            plain,
            history=history,
            facts=[("Supply", supply.name), ("Site", site.name)],
        )
