"""From a run to the record of a test by hand, and back so that it can be amended."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from lungwort.errors import RegisterError
from lungwort.register.model import Answer, HandTest, LotUse, Photo, Reading
from lungwort.spot.procedure_model import DOUBT, INSTRUMENT, LOT, PERSON
from lungwort.spot.procedures import read_procedure
from lungwort.spot.run_model import (
    DEVICE_NOTE,
    DOUBT_MARK,
    MARKS,
    REFUSED,
    TAKEN,
    Entered,
    Mark,
    Run,
)
from lungwort.spot.runner import consequences, finish

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from lungwort.register.records import Change, Reader
    from lungwort.spot.run_model import Context, KnownLot, KnownThing

REFUSED_MARK: Final = " (refused)"
AMENDED_MARK: Final = " (amended)"
_CLOCK: Final = "clock went back"
_WHY: Final = re.compile(r"(?P<given>.*?) \[(?P<why>.*)\]", re.DOTALL)


def doubts_of(test: HandTest) -> tuple[str, ...]:
    """Tell why a test on record cannot prove that the air conforms, by its own entries.

    Parameters
    ----------
    test : HandTest
        The test.

    Returns
    -------
    tuple of str
        Sentences; empty where nothing is against it.
    """
    return tuple(one.given for one in test.answers if one.name.endswith(DOUBT_MARK))


def answers_of(run: Run, now: datetime) -> tuple[Answer, ...]:
    """Give all that was entered, with what was refused, what was amended, and what is in doubt.

    Parameters
    ----------
    run : Run
        The test.
    now : datetime
        Present moment, UTC.

    Returns
    -------
    tuple of Answer
        In the order of entry; doubts last.
    """
    listed = []
    for one in run.entries:
        name, given = one.name, one.given
        if one.state == REFUSED:
            name, given = f"{name}{REFUSED_MARK}", f"{given} [{one.why}]"
        elif one.amends:
            name, given = f"{name}{AMENDED_MARK}", f"{given} [{one.why}]"
        listed.append(Answer(step=one.step, name=name, given=given, time=one.time))
    listed += [
        Answer(step=told.step, name=f"{told.name}{DOUBT_MARK}", given=told.text, time=now)
        for told in consequences(run)
        if told.effect == DOUBT
    ]
    return tuple(listed)


def record_of(run: Run, procedure_sha256: str, now: datetime, ended: datetime) -> HandTest:
    """Put together the record of a test that has ended.

    Parameters
    ----------
    run : Run
        Complete, void or aborted.
    procedure_sha256 : str
        The procedure as it was followed, in ``files``.
    now : datetime
        Present moment, UTC.
    ended : datetime
        When the test ended, UTC.

    Returns
    -------
    HandTest
        Without an id.

    Raises
    ------
    SpotError
        Where something is still to be entered.
    """
    outcome = finish(run, now)
    return HandTest(
        outlet_id=run.context.outlet_id,
        procedure=run.procedure.id,
        procedure_sha256=procedure_sha256,
        state=outcome.state,
        why=outcome.why,
        started=run.started,
        ended=ended,
        tester_id=run.context.tester_id,
        second_person_id=outcome.second_person_id,
        answers=answers_of(run, ended),
        readings=tuple(
            Reading(
                text=one.text,
                time=one.time,
                instrument_id=one.instrument_id,
                lot_id=one.lot_id,
            )
            for one in outcome.readings
        ),
        note="\n".join(dict.fromkeys(outcome.remarks)),
    )


def use_lots(change: Change, run: Run, test: HandTest) -> None:
    """Record what a test used up, and take back what it is no longer said to have used.

    Parameters
    ----------
    change : Change
        The open change.
    run : Run
        The test.
    test : HandTest
        Its record.
    """
    used = finish(run, test.ended).used
    before = change.all(LotUse, hand_test_id=test.id)
    for one in before:
        if one.lot_id not in used:
            change.void(one, "the entry of the lot was amended")
    for lot_id in dict.fromkeys(used):
        if lot_id not in {one.lot_id for one in before}:
            change.add(
                LotUse(
                    lot_id=lot_id,
                    time=test.ended,
                    count=used.count(lot_id),
                    why=f"test by hand ({test.state})",
                    hand_test_id=test.id,
                )
            )


def same_test(reader: Reader, run: Run) -> HandTest | None:
    """Find the record of a test that was recorded before; None where it was not.

    Parameters
    ----------
    reader : Reader
        The record.
    run : Run
        The test.

    Returns
    -------
    HandTest, optional
        The one of the same outlet, beginning and tester.
    """
    return next(
        (
            one
            for one in reader.all(HandTest, outlet_id=run.context.outlet_id)
            if one.started == run.started and one.tester_id == run.context.tester_id
        ),
        None,
    )


def add_photos(change: Change, run: Run, test: HandTest) -> None:
    """Record the photos that were taken in a test.

    Parameters
    ----------
    change : Change
        The open change.
    run : Run
        The test.
    test : HandTest
        Its record.
    """
    for one in run.photos:
        change.add(
            Photo(
                hand_test_id=test.id,
                step=one.step,
                name=one.name,
                media_type=one.media_type,
                photo_sha256=one.sha256,
                size_bytes=one.size_bytes,
                time=one.time,
                by_id=test.tester_id,
            )
        )


def run_of(test: HandTest, procedure: bytes, context: Context) -> Run:
    """Build the run of a test on record anew, so that it can be amended.

    Parameters
    ----------
    test : HandTest
        The test.
    procedure : bytes
        The procedure as it was followed.
    context : Context
        What its entries can name now.

    Returns
    -------
    Run
        With all its entries.

    Raises
    ------
    RegisterError
        Where its procedure or its entries cannot be read back.
    """
    # Its id may be a shipped one: what is read is what was followed then.
    found = read_procedure(
        procedure.decode("utf-8", errors="replace"), f"procedure of {test.id}", shipped=True
    )
    kinds = {ask.name: (step.id, ask.kind) for step, ask in found.asks()}
    entries = []
    for one in test.answers:
        if one.name.endswith(DOUBT_MARK):
            continue
        name, given, why = one.name, one.given, ""
        state, amends = TAKEN, False
        for mark in (REFUSED_MARK, AMENDED_MARK):
            if name.endswith(mark):
                match = _WHY.fullmatch(given)
                if match is None:
                    raise RegisterError(f"The entry {name!r} of {test.id} cannot be read back.")
                name, given, why = name.removesuffix(mark), match["given"], match["why"]
                state, amends = (REFUSED if mark == REFUSED_MARK else TAKEN), mark == AMENDED_MARK
        if name not in kinds:
            raise RegisterError(
                f"The test {test.id} has an entry {name!r} that its procedure does not ask for, so it "
                "cannot be amended. Void it and test again."
            )
        ref = _ref(context, kinds[name][1], given)
        entries.append(
            Entered(
                step=one.step,
                name=name,
                given=given,
                time=one.time,
                ref=ref,
                state=state,
                why=why,
                amends=amends,
            )
        )
    return Run(
        procedure=found,
        context=context,
        started=test.started,
        entries=tuple(entries),
        notes=tuple(
            line
            for line in test.note.splitlines()
            if _CLOCK in line or line.startswith(DEVICE_NOTE)
        ),
        marks=_marks(test, len(entries)),
    )


def _marks(test: HandTest, after: int) -> tuple[Mark, ...]:
    """Read back why entries from devices cannot be relied on: no rule finds that anew."""
    found = []
    for one in test.answers:
        for kind in MARKS:
            ending = f" ({kind}){DOUBT_MARK}"
            if one.name.endswith(ending):
                name = one.name.removesuffix(ending)
                found.append(Mark(kind=kind, step=one.step, name=name, text=one.given, after=after))
    return tuple(found)


def _ref(context: Context, kind: str, given: str) -> str:
    known: dict[str, Sequence[KnownThing | KnownLot]] = {
        PERSON: context.persons,
        INSTRUMENT: context.instruments,
        LOT: context.lots,
    }
    return next((one.id for one in known.get(kind, ()) if one.name == given), "")
