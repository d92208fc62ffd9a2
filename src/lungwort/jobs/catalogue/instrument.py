"""Instruments: what measures, with its calibrations and bump tests."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import frozen

from lungwort.errors import InputError, OutputError
from lungwort.jobs.catalogue import (
    calibration,
    channels,
    quantities,
    shape,
    showing,
    typed,
    voiding,
)
from lungwort.jobs.catalogue.shape import Done, Fact, Listing, Noun, Section, Session, View
from lungwort.jobs.opening import Where, common_zone, opened, typed_time
from lungwort.register.model import BUMP_TEST, CALIBRATION, Calibration, Instrument

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from pathlib import Path

    from lungwort.register.records import Reader

MOST_MONTHS: Final = 120
MOST_DAYS: Final = 730
_SHOWN: Final = 10


def _months(text: str, option: str) -> int:
    return typed.whole(text, option, 1, MOST_MONTHS, "months")


def _days(text: str, option: str) -> int:
    return typed.whole(text, option, 1, MOST_DAYS, "days")


NOUN: Final = Noun(
    Instrument,
    "instrument",
    "instruments",
    (
        Fact("name", "Name", "--name", typed.short_name),
        Fact("type", "Type", "--type", typed.words),
        Fact("serial", "Serial number", "--serial", typed.words),
        Fact(
            "calibration_months",
            "Calibrated every",
            "--calibration-months",
            typed.or_none(_months),
            lambda value: shape.counted(value, "month"),
            "not said: the rule set's interval holds",
        ),
        Fact(
            "bump_days",
            "Bump tested every",
            "--bump-days",
            typed.or_none(_days),
            lambda value: shape.counted(value, "day"),
            "not said: the rule set's interval holds",
        ),
        Fact("note", "Note", "--note", typed.words),
    ),
)
_CHANNELS: Final = Fact(
    "channels", "Channels", "--channel", lambda text, _: text, channels.all_words
)
_WITH_CHANNELS: Final = Noun(
    Instrument, "instrument", "instruments", (*NOUN.facts[:3], _CHANNELS, *NOUN.facts[3:])
)
_CALIBRATION: Final = Noun(Calibration, "calibration", "calibrations", ())


@frozen(kw_only=True)
class InstrumentFacts:
    """What is said of an instrument, as typed; None where it is not said.

    Parameters
    ----------
    name, type, serial, calibration_months, bump_days, note : str, optional
        As in `lungwort.register.model.Instrument`.
    channels : tuple of str, optional
        Each ``analyte=low-high unit ± uncertainty unit``; they take the place of all channels
        before.
    in_use : bool, optional
        False once it is put away.
    """

    name: str | None = None
    type: str | None = None
    serial: str | None = None
    calibration_months: str | None = None
    bump_days: str | None = None
    note: str | None = None
    channels: tuple[str, ...] | None = None
    in_use: bool | None = None


@frozen(kw_only=True)
class CalibrationFacts:
    """What is said of a calibration or a bump test, as typed; None where it is not said.

    Parameters
    ----------
    rows : tuple of str
        Each ``analyte=reference/as found/as left unit ± tolerance unit``.
    passed : bool, optional
        Whether the instrument may be used; needed.
    time, valid_until, done_by, note : str, optional
        When; last day on which it holds; who did it.
    paper : Path, optional
        Its certificate, which is taken into the workspace.
    """

    rows: tuple[str, ...] = ()
    passed: bool | None = None
    time: str | None = None
    valid_until: str | None = None
    done_by: str | None = None
    note: str | None = None
    paper: Path | None = None


def _values(facts: InstrumentFacts) -> tuple[dict[str, Any], list[str]]:
    values, remarks = NOUN.values(facts)
    if facts.channels:
        listed = facts.channels
        none = len(listed) == 1 and listed[0].strip().casefold() == typed.NOTHING
        values["channels"] = () if none else channels.channels(listed, "--channel")
    return values, remarks


def bare_unit(unit: str) -> str:
    """Give a channel's unit as a number beside it bears it: without the words for a dew point."""
    return quantities.bare_unit(unit)


def range_text(channel: Mapping[str, Any]) -> str:
    """Write the range of a channel that is given as JSON values.

    Parameters
    ----------
    channel : mapping
        As in the ``channels`` of `show`.

    Returns
    -------
    str
        Such as '0 to 100 ppm'; its unit alone where it has no range.
    """
    if channel["low"] is None or channel["high"] is None:
        return str(channel["unit"])
    return f"{channel['low']} to {channel['high']} {channel['unit']}".replace("-", "\u2212")


def add(at: Session, name: str, facts: InstrumentFacts) -> Done:
    """Record a new instrument.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Short name.
    facts : InstrumentFacts
        What is said of it.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a value cannot be used, or the name is taken.
    """
    values, remarks = _values(facts)
    values["name"] = typed.short_name(name, "NAME")
    if not values.get("channels"):
        remarks.append(
            "No channels are on record (--channel): readings and calibrations cannot be held against "
            "its ranges."
        )
    with at.recording() as (_, change, said):
        record = change.add(Instrument(**values))
    example = channels.ROW_EXAMPLE
    return Done(
        record,
        f"Instrument {record.name} is on record.",
        (*said, *remarks),
        (
            (
                f"lungwort instrument calibrate {record.name} --row {example} --passed (its newest "
                "calibration: without one, what it measures proves nothing)"
            ),
        ),
    )


def change(at: Session, name: str, facts: InstrumentFacts, reason: str | None) -> Done:
    """Record a new version of an instrument.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Its name or id.
    facts : InstrumentFacts
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
    values, remarks = _values(facts)
    if facts.in_use is not None:
        values["in_use"] = facts.in_use
    if not values:
        options = ", ".join(fact.option for fact in _WITH_CHANNELS.facts)
        raise InputError(f"Nothing is given that would change. Give one or more of {options}.")
    shape.need_reason(reason)
    with at.recording() as (_, changing, said):
        old = changing.get(Instrument, name)
        new = shape.replaced(changing, NOUN, old, values, reason)
        told = shape.told_change(_WITH_CHANNELS, old, new, {})
    return Done(new, told, (*said, *remarks))


def calibrate(at: Session, name: str, facts: CalibrationFacts) -> Done:
    """Record a calibration of an instrument; as `bump`, which is for a bump test."""
    return _calibrated(at, name, facts, CALIBRATION)


def bump(at: Session, name: str, facts: CalibrationFacts) -> Done:
    """Record a bump test of an instrument.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Name or id of the instrument.
    facts : CalibrationFacts
        What is said of it.

    Returns
    -------
    Done
        What was recorded.

    Raises
    ------
    InputError
        Where a value cannot be used; where it is not said whether the instrument passed; or where
        it is said to have passed, and a row shows otherwise.
    """
    return _calibrated(at, name, facts, BUMP_TEST)


def _calibrated(at: Session, name: str, facts: CalibrationFacts, kind: str) -> Done:
    word = calibration.WORDS[kind]
    if facts.passed is None:
        raise InputError(
            f"It is not said how the {word} ended. Give --passed where the instrument may be used, "
            "else --failed."
        )
    valid_until = typed.day(facts.valid_until, "--valid-until") if facts.valid_until else None
    done_by = typed.words(facts.done_by or "", "--done-by")
    note = typed.words(facts.note or "", "--note")
    paper = calibration.paper_content(facts.paper)
    with at.recording() as (workspace, change, said):
        instrument = change.get(Instrument, name)
        rows = channels.rows(facts.rows, "--row", instrument.channels)
        if facts.passed:
            calibration.refuse_if_it_did_not_pass(rows, word)
        zone = common_zone(change)
        moment = typed_time(facts.time, zone, "--time", now=at.now)
        calibration.check_until(valid_until, moment, zone, word)
        record = change.add(
            Calibration(
                instrument_id=instrument.id,
                time=moment,
                kind=kind,
                rows=rows,
                passed=facts.passed,
                valid_until=valid_until,
                by=done_by or change.who.name,
                paper_sha256=workspace.put_file(paper) if paper is not None else "",
                note=note,
            )
        )
        said.extend(calibration.remarks_on(instrument, record, at.now, zone))
    when = shape.clock(zone, [moment])
    return Done(
        record,
        f"The {word} of {instrument.name} at {when.time(moment)} ({when.zone_name}) is on record as "
        f"{'passed' if record.passed else 'failed'}.",
        tuple(said),
        (f"lungwort instrument show {instrument.name}",)
        if record.passed
        else (
            (
                f"lungwort instrument change {instrument.name} --retire --reason TEXT, or have it put right "
                "and calibrated"
            ),
        ),
    )


def void(at: Session, name: str, reason: str | None) -> Done:
    """Void an instrument, or a calibration or bump test of one.

    Parameters
    ----------
    at : Session
        Where, when and by whom.
    name : str
        Name or id of an instrument, or id of a calibration or a bump test.
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
        parts=(_CALIBRATION,),
        instead="For one that is no longer used, use 'lungwort instrument change NAME --retire'.",
    )


def paper(where: Where, calibration_id: str, target: Path) -> Path:
    """Write the paper of a calibration to a file.

    Parameters
    ----------
    where : Where
        Which workspace.
    calibration_id : str
        Id of the calibration.
    target : Path
        A new file.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    InputError
        Where the calibration has no paper.
    OutputError
        Where there is such a file already.
    """
    from lungwort.paper.write import write_bytes  # noqa: PLC0415 - only here

    with opened(where, read_only=True) as workspace:
        record = workspace.register.get(Calibration, calibration_id)
        if not record.paper_sha256:
            raise InputError(f"No paper is on record with {calibration_id}.")
        if target.exists():
            raise OutputError(f"{target} exists already. Give a new file.")
        return write_bytes(workspace.read_file(record.paper_sha256), target)


def lapses(register: Reader, instrument: Instrument, now: datetime) -> tuple[str, ...]:
    """Say why what an instrument measures proves nothing now.

    Parameters
    ----------
    register : Reader
        The record.
    instrument : Instrument
        The instrument.
    now : datetime
        The time, with a time zone.

    Returns
    -------
    tuple of str
        Reasons; empty where it is in order.
    """
    from lungwort.plan.lapses import instrument_lapses  # noqa: PLC0415 - beside its use
    from lungwort.plan.snapshot import take  # noqa: PLC0415 - beside its use

    if instrument.voided or not instrument.in_use:
        return ()
    return instrument_lapses(take(register, now), instrument.id, now)


def listed(where: Where, *, now: datetime, retired_too: bool = False) -> Listing:
    """List the instruments.

    Parameters
    ----------
    where : Where
        Which workspace.
    now : datetime
        The time, with a time zone.
    retired_too : bool
        Whether those that were put away are listed too.

    Returns
    -------
    Listing
        The list.
    """
    with opened(where, read_only=True) as workspace:
        register = workspace.register
        records = register.all(Instrument)
        lapsed = {one.id: lapses(register, one, now) for one in records}
        return showing.listing(
            NOUN,
            records,
            retired_too=retired_too,
            headings=("name", "type", "serial number", "channels", "today"),
            row=lambda one: (
                one.name,
                one.type,
                one.serial,
                channels.all_words(one.channels),
                "in order" if not lapsed[one.id] else " ".join(lapsed[one.id]),
            ),
            more=lambda one: {"lapses": list(lapsed[one.id])},
            empty="No instrument is on record. Next: lungwort instrument add NAME --channel "
            f"{channels.CHANNEL_EXAMPLE}",
        )


def show(where: Where, name: str, *, now: datetime, history: bool = False) -> View:
    """Show an instrument with its calibrations and bump tests.

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
        instrument = showing.found(register, NOUN, name)
        zone = common_zone(register)
        records = sorted(
            register.all(Calibration, instrument_id=instrument.id),
            key=lambda one: (one.time, one.seq),
            reverse=True,
        )
        when = shape.clock(zone, [one.time for one in records])
        sections = []
        for kind, word in calibration.WORDS.items():
            mine = [one for one in records if one.kind == kind]
            rows = tuple(
                (
                    when.time(one.time),
                    "passed" if one.passed else "failed",
                    shape.day(one.valid_until),
                    one.by,
                    one.id,
                )
                for one in mine[:_SHOWN]
            )
            below = tuple(
                f"{when.time(one.time)}: {'; '.join(said)}"
                for one in mine[:_SHOWN]
                if (said := calibration.told(one))
            )
            title = f"{word.capitalize()}s" + (
                f", the newest {_SHOWN} of {len(mine)}" if len(mine) > _SHOWN else ""
            )
            headings = (f"when ({when.zone_name})", "ended", "valid until", "by", "id")
            sections.append(Section(title, headings, rows, "None on record.", below))
        lapsed = lapses(register, instrument, now)
        return showing.view(
            register,
            _WITH_CHANNELS,
            instrument,
            zone,
            sections,
            {
                "instrument": shape.plain(instrument),
                "calibrations": [shape.plain(one) for one in records],
                "lapses": list(lapsed),
            },
            history=history,
            remarks=lapsed,
        )
