"""Supplies: the sources of breathing air with their treatment."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, TypeVar

from attrs import frozen

from lungwort.errors import InputError
from lungwort.jobs.catalogue import (
    chosen,
    quantities,
    shape,
    showing,
    treatment,
    typed,
    voiding,
)
from lungwort.jobs.catalogue.shape import Done, Fact, Listing, Noun, Session, Taken, View
from lungwort.jobs.catalogue.site import read_limit_set
from lungwort.jobs.opening import Where, opened
from lungwort.register.model import (
    CHARGING_COMPRESSOR,
    CYLINDER_BANK,
    SUPPLY_KINDS,
    CartridgeChange,
    Event,
    Outlet,
    RiskAssessment,
    RunningHours,
    Site,
    Stage,
    Supply,
)

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.register.records import Reader

Owner = TypeVar("Owner", Site, Supply)

STATE_WORDS: Final = {
    "in_service": "in service",
    "withdrawn": "withdrawn",
    "under_test": "under test",
}
_OF_THE_MACHINE: Final = (
    "kind",
    "oil_lubricated",
    "lubricant",
    "intake",
    "pressure_bar_g",
    "lowest_temperature_c",
)


def _kind(text: str, option: str) -> str:
    return typed.choice(text, SUPPLY_KINDS, option)


def _pressure(text: str, option: str) -> object:
    value, taken = quantities.pressure_bar_g(text, option)
    return Taken(value, (taken,) if taken else ())


NOUN: Final = Noun(
    Supply,
    "supply",
    "supplies",
    (
        Fact("name", "Name", "--name", typed.short_name),
        Fact("title", "Title", "--title", typed.words),
        Fact("kind", "Kind", "--kind", _kind, shape.kind_words),
        Fact("maker_plate", "Plate", "--plate", typed.words),
        Fact(
            "oil_lubricated",
            "Oil-lubricated",
            "--oil-lubricated",
            typed.yes_no_unknown,
            shape.yes_no,
            "not known",
        ),
        Fact("lubricant", "Lubricant", "--lubricant", typed.words),
        Fact("intake", "Draws its air from", "--intake", typed.words),
        Fact("serves", "Serves", "--serves", typed.words),
        Fact(
            "pressure_bar_g",
            "Highest supply pressure",
            "--pressure",
            typed.or_none(_pressure),
            lambda value: shape.amount(value, "bar(g)"),
        ),
        Fact(
            "lowest_temperature_c",
            "Lowest temperature of the line or cylinder",
            "--lowest-temperature",
            typed.or_none(quantities.temperature_c),
            lambda value: shape.amount(value, "°C"),
        ),
        Fact("limit_set", "Limit set", "--limits", read_limit_set),
        Fact("note", "Note", "--note", typed.words),
    ),
)


@frozen(kw_only=True)
class SupplyFacts:
    """What is said of a supply, as typed; None where it is not said.

    Parameters
    ----------
    site : str, optional
        Name of its site; may be left out where there is only one.
    name, title, kind, maker_plate, lubricant, intake, serves, note : str, optional
        As in `lungwort.register.model.Supply`.
    oil_lubricated : str, optional
        ``yes``, ``no`` or ``unknown``.
    pressure_bar_g, lowest_temperature_c : str, optional
        With their units: ``7 bar(g)``, ``5 °C``.
    limit_set : str, optional
        Id or file.
    in_use : bool, optional
        False to retire it.
    """

    site: str | None = None
    name: str | None = None
    title: str | None = None
    kind: str | None = None
    maker_plate: str | None = None
    oil_lubricated: str | None = None
    lubricant: str | None = None
    intake: str | None = None
    serves: str | None = None
    pressure_bar_g: str | None = None
    lowest_temperature_c: str | None = None
    limit_set: str | None = None
    note: str | None = None
    in_use: bool | None = None


def add(at: Session, name: str, facts: SupplyFacts) -> Done:
    """Record a new supply.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Short name.
    facts : SupplyFacts
        What is said of it.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a value cannot be used, the kind is not said, or the name is taken.
    """
    values, remarks = NOUN.values(facts)
    values["name"] = typed.short_name(name, "NAME")
    if "kind" not in values:
        listed = ", ".join(map(typed.dashed, SUPPLY_KINDS))
        raise InputError(f"What kind of supply is it? Give --kind with one of: {listed}.")
    _check_oil(values.get("oil_lubricated"), values.get("lubricant", ""))
    with at.recording() as (_, change, said):
        site = the_one(change, Site, facts.site, "--site", said)
        record = change.add(Supply(site_id=site.id, **chosen.placed(values, change.folder)))
        said.extend(missing(record, site))
    return Done(
        record,
        f"Supply {record.name} of site {site.name} is on record, under test until it is returned "
        "to service.",
        (*said, *remarks),
        (
            f"lungwort supply stage {record.name} NAME --kind filter (each stage of its treatment)",
            f"lungwort outlet add NAME --supply {record.name}",
        ),
    )


def the_one(
    register: Reader, kind: type[Owner], name: str | None, option: str, said: list[str]
) -> Owner:
    """Find the thing that something belongs to.

    Parameters
    ----------
    register : Reader
        The record.
    kind : type
        Of which kind.
    name : str, optional
        As typed; where it is None the only one in use is taken, and ``said`` tells so.
    option : str
        Option that gives it, for the message.
    said : list of str
        What was taken for granted.

    Returns
    -------
    Site or Supply
        The thing.

    Raises
    ------
    InputError
        Where it is not clear which is meant, or it is no longer in use.
    """
    word = kind.KIND
    if name is not None:
        thing = register.get(kind, name)
        if not thing.in_use:
            raise InputError(
                f"{word.capitalize()} {thing.name} is retired. Give another one with {option}, or take "
                f"it back with 'lungwort {word} change {thing.name} --in-use --reason TEXT'."
            )
        return thing
    known = [one for one in register.all(kind) if one.in_use]
    if len(known) == 1:
        said.append(f"Taken for {word} {known[0].name}, the only one in use.")
        return known[0]
    names = ", ".join(sorted(one.name for one in known))
    raise InputError(
        f"Which {word} does it belong to? Give {option} NAME. "
        + (f"On record: {names}." if names else f"None is on record: 'lungwort {word} add NAME'.")
    )


def _check_oil(oil_lubricated: bool | None, lubricant: str) -> None:  # noqa: FBT001 - a fact
    if oil_lubricated is False and lubricant:
        raise InputError(
            f"--oil-lubricated no and --lubricant {lubricant!r} contradict each other. Give the one "
            "that is true."
        )


def missing(supply: Supply, site: Site) -> list[str]:
    """Say what is missing for a verdict.

    Parameters
    ----------
    supply : Supply
        The supply.
    site : Site
        Its site.

    Returns
    -------
    list of str
        What is missing, and what follows.
    """
    remarks = []
    if not supply.limit_set and not site.limit_set:
        remarks.append(
            f"Neither {supply.name} nor its site {site.name} has a limit set (--limits): its air "
            "cannot be certified."
        )
    limits = supply.limit_set or site.limit_set
    charging = supply.kind in {CHARGING_COMPRESSOR, CYLINDER_BANK}
    if limits and not supply.limit_set and charging and "airline" in limits:
        remarks.append(
            f"It takes the limit set of its site, {limits}, which is for air through a hose. For air in "
            f'cylinders give its own: \'lungwort supply change "{supply.name}" --limits ID --reason '
            "TEXT'; 'lungwort limits' lists them."
        )
    if supply.pressure_bar_g is None:
        remarks.append(
            "No highest supply pressure (--pressure): limits on water that depend on it stay not "
            "proven."
        )
    if supply.lowest_temperature_c is None:
        remarks.append(
            "No lowest temperature of the line or cylinder (--lowest-temperature): limits on water "
            "that depend on it stay not proven."
        )
    if supply.oil_lubricated is None and supply.kind != "cylinder_bank":
        remarks.append(
            "It is not said whether the compressor is oil-lubricated (--oil-lubricated): it is "
            "treated as if it were."
        )
    return remarks


def change(at: Session, name: str, facts: SupplyFacts, reason: str | None) -> Done:
    """Record a new version of a supply.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Its name or id.
    facts : SupplyFacts
        What is different. Another site is recorded as a move as well, after which a new test is
        due.
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
    if facts.site is None:
        values, remarks = NOUN.need_values(facts, reason)
    else:
        values, remarks = NOUN.values(facts)
        shape.need_reason(reason)
        if facts.in_use is not None:
            values["in_use"] = facts.in_use
    with at.recording() as (_, changing, said):
        old = changing.get(Supply, name)
        if facts.site is not None:
            values["site_id"] = the_one(changing, Site, facts.site, "--site", said).id
        oil = values.get("oil_lubricated", old.oil_lubricated)
        _check_oil(oil, values.get("lubricant", old.lubricant))
        new = shape.replaced(changing, NOUN, old, values, reason)
        told = shape.told_change(NOUN, old, new, shape.names_by_id(changing))
        if new.site_id != old.site_id:
            changing.add(
                Event(
                    supply_id=new.id,
                    kind="moved",
                    time=changing.now,
                    text=shape.need_reason(reason),
                    by_id=changing.who.id,
                )
            )
            said.append(
                "The move is recorded as an event as well: what was tested before it no longer "
                "counts as a test after it."
            )
        if any(getattr(new, one) != getattr(old, one) for one in _OF_THE_MACHINE):
            said.append(
                "If the machine itself was changed, and not only what was written of it, record that "
                f"too: 'lungwort supply event {new.name} --kind other --what TEXT'. It asks for a new "
                "test."
            )
        if new.in_use and not old.in_use:
            said.append("Its air is to be tested before it is used again.")
    return Done(new, told, (*said, *remarks))


def void(at: Session, name: str, reason: str | None) -> Done:
    """Void a supply, or something that was recorded of it.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Name or id of a supply; ``supply/stage`` for a stage; or the id of a cartridge change, a
        reading of the hour meter, an event or an assessment.
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
    noun: Noun[Any] = treatment.NOUN if "/" in name else NOUN
    parts = tuple(
        Noun[Any](kind, kind.KIND.replace("_", " "), kind.KIND.replace("_", " ") + "s", ())
        for kind in (Stage, CartridgeChange, RunningHours, Event, RiskAssessment)
    )
    return voiding.void(
        at,
        noun,
        name,
        reason,
        parts=parts,
        instead=(
            "To take a supply out of the record's daily use, 'lungwort supply change NAME --retire'; "
            "a stage, 'lungwort supply stage SUPPLY NAME --retire'."
        ),
    )


def listed(where: Where, *, now: datetime, retired_too: bool = False) -> Listing:
    """List the supplies.

    Parameters
    ----------
    where : Where
        Which workspace.
    now : datetime
        The time, with a time zone.
    retired_too : bool
        Whether those that are no longer in use are listed too.

    Returns
    -------
    Listing
        The list.
    """
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - beside its use
    from lungwort.plan.state import supply_state  # noqa: PLC0415 - beside its use

    with opened(where, read_only=True) as workspace:
        register = workspace.register
        snapshot = take(register, now)
        sites = {one.id: one for one in register.all(Site)}
        outlets = register.all(Outlet)

        def names(supply: Supply) -> list[str]:
            return [one.name for one in outlets if one.supply_id == supply.id and one.in_use]

        def state(supply: Supply) -> str:
            return supply_state(snapshot, supply.id).state

        return showing.listing(
            NOUN,
            register.all(Supply),
            retired_too=retired_too,
            headings=("name", "title", "site", "kind", "state", "limit set", "outlets"),
            row=lambda one: (
                one.name,
                one.title,
                sites[one.site_id].name,
                shape.kind_words(one.kind),
                STATE_WORDS[state(one)],
                one.limit_set or sites[one.site_id].limit_set,
                ", ".join(names(one)),
            ),
            more=lambda one: {
                "site": sites[one.site_id].name,
                "state": state(one),
                "outlets": names(one),
            },
            empty="No supply is on record. Next: lungwort supply add NAME --kind airline-compressor",
        )


def show(where: Where, name: str, *, now: datetime, history: bool = False) -> View:
    """Show a supply with its treatment, its outlets and what happened to it.

    Parameters
    ----------
    where : Where
        Which workspace.
    name : str
        Its name or id.
    now : datetime
        The time, with a time zone.
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
    from lungwort.jobs.catalogue import supply_view  # noqa: PLC0415 - only for showing

    with opened(where, read_only=True) as workspace:
        register = workspace.register
        supply = showing.found(register, NOUN, name)
        site = showing.newest(register, Site, supply.site_id)
        facts, sections, plain = supply_view.parts(register, supply, site, now=now)
        return showing.view(
            register,
            NOUN,
            supply,
            site.zone,
            sections,
            plain,
            history=history,
            facts=facts,
            remarks=missing(supply, site) if supply.in_use and not supply.voided else (),
        )
