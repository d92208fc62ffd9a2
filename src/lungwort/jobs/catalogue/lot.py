"""Lots: what is used up in tests, with expiry and stock."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from attrs import evolve, frozen

from lungwort.air.analytes import ANALYTES
from lungwort.errors import InputError, RegisterError
from lungwort.jobs.catalogue import (
    shape,
    showing,
    typed,
    voiding,
)
from lungwort.jobs.catalogue.shape import Done, Fact, Listing, Noun, Section, Session, View
from lungwort.jobs.catalogue.treatment import left
from lungwort.jobs.opening import Where, common_zone, opened, typed_time
from lungwort.register.model import LOT_KINDS, Lot, LotUse

if TYPE_CHECKING:
    from datetime import date, datetime

    from lungwort.register.records import Reader
    from lungwort.register.workspace import Workspace

MOST: Final = 100_000
_SHOWN: Final = 10


def _kind(text: str, option: str) -> str:
    return typed.choice(text, LOT_KINDS, option)


def _stock(text: str, option: str) -> int:
    return typed.whole(text, option, 0, MOST)


def _analyte_words(key: str) -> str:
    return f"{ANALYTES[key].name} ({key})" if key in ANALYTES else key


NOUN: Final = Noun(
    Lot,
    "lot",
    "lots",
    (
        Fact("name", "Name", "--name", typed.short_name),
        Fact("kind", "Kind", "--kind", _kind, shape.kind_words),
        Fact("device", "Device", "--device", typed.words),
        Fact("analyte", "For", "--analyte", typed.analyte_or_nothing, _analyte_words),
        Fact("lot_number", "Lot number", "--lot-number", typed.words),
        Fact("expires", "Last day of use", "--expires", typed.or_none(typed.day), shape.day),
        Fact("stock", "Came with", "--stock", _stock, str, "0"),
        Fact("note", "Note", "--note", typed.words),
    ),
)
_USE: Final = Noun(LotUse, "use", "uses", ())


@frozen(kw_only=True)
class LotFacts:
    """What is said of a lot, as typed; None where it is not said.

    Parameters
    ----------
    name, kind, device, analyte, lot_number, expires, stock, note : str, optional
        As in `lungwort.register.model.Lot`.
    """

    name: str | None = None
    kind: str | None = None
    device: str | None = None
    analyte: str | None = None
    lot_number: str | None = None
    expires: str | None = None
    stock: str | None = None
    note: str | None = None


def _today(now: datetime, zone: str | None) -> date:
    return now.astimezone(ZoneInfo(zone or "UTC")).date()


def remarks_on(lot: Lot, register: Reader, now: datetime) -> list[str]:
    """Say what is to be minded about a lot.

    Parameters
    ----------
    lot : Lot
        The lot.
    register : Reader
        The record.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    list of str
        That it expired, or that none is left, for example.
    """
    remarks = []
    tests = lot.kind in {"oil_indicator", "tube"}
    if lot.expires is None and tests:
        remarks.append(
            f"No last day of use is on record (--expires): a test with lot {lot.name} proves nothing "
            "until it is."
        )
    elif lot.expires is not None and lot.expires < _today(now, common_zone(register)):
        follows = "a test with it proves nothing" if tests else "do not use it"
        remarks.append(f"Lot {lot.name} expired on {shape.day(lot.expires)}: {follows}.")
    if left(register, lot) < 1:
        remarks.append(f"None of lot {lot.name} is left on record.")
    return remarks


def _fitted(lot: Lot, workspace: Workspace) -> tuple[Lot, list[str]]:
    """Hold the device and the analyte of a lot against the kinds of devices that are known."""
    if lot.kind not in {"oil_indicator", "tube"}:
        return lot, []
    from lungwort.jobs._hand_test_files import devices  # noqa: PLC0415 - only for such lots
    from lungwort.spot.devices import IndicatorKind  # noqa: PLC0415 - only for such lots

    known = devices(workspace)
    word = shape.kind_words(lot.kind)
    wanted = lot.device.casefold()
    fitting = [
        one.id for one in known if isinstance(one, IndicatorKind) == (lot.kind == "oil_indicator")
    ]
    device = next((one for one in known if one.id == wanted), None)
    analyte, remarks = lot.analyte, []
    if device is not None:
        if device.id not in fitting:
            raise InputError(
                f"--device {lot.device!r} is no {word}. Give one of: {', '.join(fitting)}; or check "
                "--kind."
            )
        shows = "oil" if isinstance(device, IndicatorKind) else device.analyte
        if analyte not in {"", shows}:
            raise InputError(
                f"--device {device.id!r} shows {shows}, and the lot is for {analyte}. Give the one that "
                "is true with --device or --analyte."
            )
        return evolve(lot, device=device.id, analyte=shows), []
    if lot.device:
        remarks.append(
            f"No {word} {lot.device!r} is known.{typed.near(wanted, fitting)} A test then takes the "
            f"general kind, and says so. Known: {', '.join(fitting)}."
        )
    if lot.kind == "oil_indicator":
        if analyte not in {"", "oil"}:
            raise InputError(
                f"An oil indicator shows oil, and --analyte is {analyte}. Leave it out."
            )
        analyte = "oil"
    if not analyte:
        raise InputError(
            "What are the tubes for? Give --analyte with what they show, such as --analyte co; or "
            f"--device with one of: {', '.join(fitting)}."
        )
    return evolve(lot, analyte=analyte), remarks


def known_devices(where: Where) -> tuple[tuple[str, str, bool], ...]:
    """Name the kinds of indicators and tubes that are known.

    Parameters
    ----------
    where : Where
        Which workspace.

    Returns
    -------
    tuple of (str, str, bool)
        Id, title, and whether it is an oil indicator.
    """
    from lungwort.jobs._hand_test_files import devices  # noqa: PLC0415 - reads their files
    from lungwort.spot.devices import IndicatorKind  # noqa: PLC0415 - beside its use

    with opened(where, read_only=True) as workspace:
        return tuple(
            (one.id, one.title, isinstance(one, IndicatorKind)) for one in devices(workspace)
        )


def add(at: Session, name: str, facts: LotFacts) -> Done:
    """Record a new lot.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Short name.
    facts : LotFacts
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
        listed = ", ".join(map(typed.dashed, LOT_KINDS))
        raise InputError(f"What kind of lot is it? Give --kind with one of: {listed}.")
    with at.recording() as (workspace, change, said):
        fitted, told = _fitted(Lot(**values), workspace)
        remarks += told
        record = change.add(fitted)
        remarks += remarks_on(record, change, at.now)
    return Done(
        record,
        f"Lot {record.name} is on record, {record.stock} in stock.",
        (*said, *remarks),
        (f"lungwort lot use {record.name} COUNT --why TEXT (what is used up outside tests)",),
    )


def change(at: Session, name: str, facts: LotFacts, reason: str | None) -> Done:
    """Record a new version of a lot.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Its name or id.
    facts : LotFacts
        What is different.
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
    values, remarks = NOUN.need_values(facts, reason)
    with at.recording() as (workspace, changing, said):
        old = changing.get(Lot, name)
        if values.keys() & {"kind", "device", "analyte"}:
            fitted, fits = _fitted(evolve(old, **values), workspace)
            values |= {"device": fitted.device, "analyte": fitted.analyte}
            remarks += fits
        new = shape.replaced(changing, NOUN, old, values, reason)
        if left(changing, new) < 0:
            used = new.stock - left(changing, new)
            raise RegisterError(
                f"--stock {new.stock} is less than the {used} of lot {new.name} that are recorded as "
                "used. Give how many there were when the lot came."
            )
        told = shape.told_change(NOUN, old, new, {})
        remarks += remarks_on(new, changing, at.now)
    return Done(new, told, (*said, *remarks))


def use(
    at: Session, name: str, count: str, *, why: str | None = None, time: str | None = None
) -> Done:
    """Record that some of a lot was used up or thrown away.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Name or id of the lot.
    count : str
        How many [1].
    why : str, optional
        What for; needed.
    time : str, optional
        When; now if not given.

    Returns
    -------
    Done
        What was recorded, and what is left.

    Raises
    ------
    InputError
        Where a value cannot be used.
    RegisterError
        Where fewer are left.
    """
    number = typed.whole(count, "COUNT", 1, MOST)
    reason = typed.needed_words(why, "--why", "what they were used for")
    with at.recording() as (_, change, said):
        lot = change.get(Lot, name)
        there = left(change, lot)
        if number > there:
            raise RegisterError(
                f"COUNT {number}: only {there} of lot {lot.name} {'is' if there == 1 else 'are'} left on "
                f"record. Count again, or put the stock right with 'lungwort lot change {lot.name} "
                "--stock N --reason TEXT'."
            )
        moment = typed_time(time, common_zone(change), "--time", now=at.now)
        record = change.add(LotUse(lot_id=lot.id, time=moment, count=number, why=reason))
        said.extend(remarks_on(lot, change, at.now))
    return Done(
        record,
        f"{number} of lot {lot.name} {'is' if number == 1 else 'are'} recorded as used; "
        f"{there - number} left.",
        tuple(said),
    )


def void(at: Session, name: str, reason: str | None) -> Done:
    """Void a lot, or a use of one.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Name or id of a lot, or id of a use.
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
        parts=(_USE,),
        instead="What is left of a lot is thrown away with 'lungwort lot use NAME COUNT --why TEXT'.",
    )


def listed(where: Where, *, now: datetime, used_up_too: bool = False) -> Listing:
    """List the lots.

    Parameters
    ----------
    where : Where
        Which workspace.
    now : datetime
        The time, with a time zone.
    used_up_too : bool
        Whether those of which none is left are listed too.

    Returns
    -------
    Listing
        The list.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        records = register.all(Lot)
        stock = {one.id: left(register, one) for one in records}
        today = _today(now, common_zone(register))
        kept = [one for one in records if used_up_too or stock[one.id] > 0]
        hidden = len(records) - len(kept)
        out = showing.listing(
            NOUN,
            kept,
            retired_too=True,
            headings=("name", "kind", "device", "for", "lot number", "last day of use", "left"),
            row=lambda one: (
                one.name,
                shape.kind_words(one.kind),
                one.device,
                one.analyte,
                one.lot_number,
                shape.day(one.expires)
                + (" (expired)" if one.expires is not None and one.expires < today else ""),
                str(stock[one.id]),
            ),
            more=lambda one: {"left": stock[one.id]},
            empty="No lot is on record. Next: lungwort lot add NAME --kind tube --analyte co "
            "--expires 2027-12-31 --stock 10"
            if not hidden
            else "No lot has anything left.",
        )
        out.plain["not_shown"] = hidden
        if hidden:
            word = "is" if hidden == 1 else "are"
            return Listing(
                out.table, (f"{hidden} with none left {word} not shown: add --all.",), out.plain
            )
        return out


def show(where: Where, name: str, *, now: datetime, history: bool = False) -> View:
    """Show a lot with what was used of it.

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
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        lot = showing.found(register, NOUN, name)
        uses = sorted(
            register.all(LotUse, lot_id=lot.id), key=lambda one: (one.time, one.seq), reverse=True
        )
        zone = common_zone(register)
        when = shape.clock(zone, [one.time for one in uses])
        title = "Used" + (f", the newest {_SHOWN} of {len(uses)}" if len(uses) > _SHOWN else "")
        section = Section(
            title,
            (f"when ({when.zone_name})", "how many", "what for", "test", "id"),
            tuple(
                (when.time(one.time), str(one.count), one.why, one.hand_test_id or "", one.id)
                for one in uses[:_SHOWN]
            ),
        )
        return showing.view(
            register,
            NOUN,
            lot,
            zone,
            [section],
            {
                "lot": shape.plain(lot, left=left(register, lot)),
                "uses": [shape.plain(one) for one in uses],
            },
            history=history,
            facts=[("Left", str(left(register, lot)))],
            remarks=remarks_on(lot, register, now),
        )
