"""Following a procedure entry by entry: without a clock, a screen or a disk.

A run is a value. Each function takes one with the present moment and gives the next. A wait that
began at one moment ends after its length, whatever became of the program in between.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from attrs import evolve, frozen

from lungwort.errors import SpotError
from lungwort.spot import procedure_model as m
from lungwort.spot import rows
from lungwort.spot.answers import (
    Consequence,
    followed,
    indicator_of,
    length_of,
    read_tube,
    understood,
    wanted,
)
from lungwort.spot.run_model import (
    ABORTED,
    DONE,
    OPEN,
    REFUSED,
    TAKEN,
    VOIDED,
    Entered,
    Run,
)

if TYPE_CHECKING:
    from datetime import datetime

    from lungwort.spot.procedure_model import Ask, Procedure, Step
    from lungwort.spot.run_model import Context


@frozen(kw_only=True)
class ReadingSaid:
    """What a test says of one analyte.

    Parameters
    ----------
    text : str
        As `lungwort.spot.parse.parse_spot` takes it.
    time : datetime
        When it was read, UTC.
    instrument_id, lot_id : str, optional
        What it was read from.
    """

    text: str
    time: datetime
    instrument_id: str | None = None
    lot_id: str | None = None


@frozen(kw_only=True)
class Outcome:
    """How a test ended.

    Parameters
    ----------
    state : str
        ``done``, ``aborted`` or ``void``.
    why : str
        Why it is void or was aborted.
    readings : tuple of ReadingSaid
        What it says of the air; empty unless it is done.
    doubts : tuple of Consequence
        Why it cannot prove that the air conforms.
    remarks : tuple of str
        What else is to be minded.
    second_person_id : str, optional
        Person who judged the odour.
    used : tuple of str
        Ids of the lots of which one was used up each.
    """

    state: str
    why: str = ""
    readings: tuple[ReadingSaid, ...] = ()
    doubts: tuple[Consequence, ...] = ()
    remarks: tuple[str, ...] = ()
    second_person_id: str | None = None
    used: tuple[str, ...] = ()


def start(procedure: Procedure, context: Context, now: datetime) -> Run:
    """Begin a test.

    Parameters
    ----------
    procedure : Procedure
        What is followed.
    context : Context
        Where and by whom.
    now : datetime
        When, with a time zone.

    Returns
    -------
    Run
        At its first entry.

    Raises
    ------
    SpotError
        Where the time has no zone.
    """
    _aware(now)
    return Run(procedure=procedure, context=context, started=now)


def current(run: Run) -> tuple[Step, Ask] | None:
    """Give what is to be entered next.

    Parameters
    ----------
    run : Run
        The test.

    Returns
    -------
    tuple of (Step, Ask), optional
        None where all is entered, or the test was aborted.
    """
    if run.state != OPEN:
        return None
    for step, ask in run.procedure.asks():
        if applies(run, ask) and not _complete(run, ask):
            return step, ask
    return None


def applies(run: Run, ask: Ask) -> bool:
    """Tell whether something is asked for, by what was entered before."""
    return all(run.given(one.name) == one.word for one in ask.when)


def _complete(run: Run, ask: Ask) -> bool:
    entry = run.in_force(ask.name)
    if entry is None:
        return False
    return ask.kind != m.WAIT or entry.given in {m.END, m.LEFT_OUT}


def wait_left(run: Run, now: datetime) -> timedelta | None:
    """Tell how long the wait that is under way still lasts.

    Parameters
    ----------
    run : Run
        The test.
    now : datetime
        The present moment, with a time zone.

    Returns
    -------
    timedelta, optional
        Nought where it is over; all of it where the clock went back behind its beginning; None
        where none is under way.
    """
    here = current(run)
    if here is None or here[1].kind != m.WAIT:
        return None
    begun, _ = run.wait(here[1].name)
    if begun is None:
        return None
    length = length_of(run, here[1])
    if now < begun:
        return length
    return max(begun + length - now, timedelta(0))


def enter(run: Run, name: str, given: str, now: datetime) -> Run:
    """Enter something.

    Parameters
    ----------
    run : Run
        The test.
    name : str
        Which entry; it must be the next one.
    given : str
        As typed. A wait takes ``begin`` and ``end``; it cannot be skipped, and one that is ended
        early is recorded as cut short.
    now : datetime
        When, with a time zone.

    Returns
    -------
    Run
        With the entry. One that is not accepted stays in it as refused, and is asked for again.

    Raises
    ------
    SpotError
        Where it is not the next one, or cannot be understood; the test is then as it was.
    """
    _aware(now)
    here = _next(run, name)
    step, ask = here
    kept, ref = understood(run, ask, given)
    run = _clock_looked_at(run, now)
    if ask.kind == m.WAIT and kept != m.LEFT_OUT:
        begun, _ = run.wait(ask.name)
        if kept == m.BEGIN and begun is not None and now >= begun:
            raise SpotError(f"{name}: it began already. Enter '{m.END}' when it is over.")
        if kept == m.END and begun is None:
            raise SpotError(f"{name}: it has not begun. Enter '{m.BEGIN}' first.")
        if begun is not None and now < begun:
            note = f"{ask.ask}: the clock went back behind its beginning, so it began anew."
            again = Entered(step=step.id, name=name, given=m.BEGIN, time=now)
            return evolve(run, entries=(*run.entries, again), notes=(*run.notes, note))
    entry = Entered(step=step.id, name=name, given=kept, time=now, ref=ref)
    refused = [one.text for one in followed(run, step, ask, entry) if one.effect == m.REFUSE]
    if refused:
        entry = evolve(entry, state=REFUSED, why=" ".join(refused))
    return evolve(run, entries=(*run.entries, entry))


def _next(run: Run, name: str) -> tuple[Step, Ask]:
    here = current(run)
    if here is None:
        what = "was aborted" if run.state == ABORTED else "is complete: finish it"
        raise SpotError(f"{name}: nothing more can be entered, the test {what}.")
    if here[1].name != name:
        raise SpotError(
            f"{name}: the next entry is {here[1].name!r} (step {here[0].title!r}). Enter that first, "
            "or amend an earlier one."
        )
    return here


def _clock_looked_at(run: Run, now: datetime) -> Run:
    newest = max((one.time for one in run.entries), default=run.started)
    if now >= newest:
        return run
    note = (
        f"The clock went back from {newest:%Y-%m-%d %H:%M:%S} to {now:%Y-%m-%d %H:%M:%S} UTC during "
        "the test."
    )
    return run if note in run.notes else evolve(run, notes=(*run.notes, note))


def amend(run: Run, name: str, given: str, why: str, now: datetime) -> Run:
    """Put something else in the place of an entry; both stay to be seen.

    Parameters
    ----------
    run : Run
        The test.
    name : str
        Which entry.
    given : str
        What it should have been.
    why : str
        Why.
    now : datetime
        When, with a time zone.

    Returns
    -------
    Run
        With the amendment. It counts as read when the first entry was made.

    Raises
    ------
    SpotError
        Where there is no such entry, no reason, it is a wait, it is not accepted, or something that
        was entered after it no longer fits.
    """
    _aware(now)
    if run.state != OPEN:
        raise SpotError("the test was aborted, so nothing can be amended.")
    found = [(step, ask) for step, ask in run.procedure.asks() if ask.name == name]
    if not found or run.in_force(name) is None:
        made = ", ".join(dict.fromkeys(one.name for one in run.entries if one.state == TAKEN))
        raise SpotError(f"{name}: nothing was entered there. Entered so far: {made or 'nothing'}.")
    step, ask = found[0]
    if ask.kind == m.WAIT:
        raise SpotError(f"{name}: the time of a wait cannot be amended. Test again.")
    if not why.strip():
        raise SpotError(f"{name}: an amendment needs a reason. Give one.")
    kept, ref = understood(run, ask, given)
    entry = Entered(
        step=step.id, name=name, given=kept, time=now, ref=ref, why=why.strip(), amends=True
    )
    amended = evolve(run, entries=(*run.entries, entry))
    refused = [one.text for one in followed(amended, step, ask, entry) if one.effect == m.REFUSE]
    if refused:
        raise SpotError(f"{name}: {' '.join(refused)}")
    for _, other in run.procedure.asks():
        later = amended.in_force(other.name)
        if later is None or other.kind == m.WAIT or not applies(amended, other):
            continue
        try:
            understood(amended, other, later.given)
        except SpotError as error:
            raise SpotError(
                f"{name}: with {kept!r} the entry {other.name!r} = {later.given!r} no longer fits: "
                f"{error}"
            ) from None
    return amended


def consequences(run: Run) -> tuple[Consequence, ...]:
    """Tell what follows from all entries that count.

    Parameters
    ----------
    run : Run
        The test.

    Returns
    -------
    tuple of Consequence
        In the order of the procedure.
    """
    told: list[Consequence] = []
    for step, ask in run.procedure.asks():
        entry = run.in_force(ask.name)
        if entry is not None and applies(run, ask):
            told += followed(run, step, ask, entry)
    told += [
        Consequence(m.DOUBT, one.step, f"{one.name} ({one.kind})", one.text)
        for one in run.standing_marks()
    ]
    return tuple(told)


def void_reasons(run: Run) -> tuple[str, ...]:
    """Tell why a test is void; empty where it is not."""
    return tuple(one.text for one in consequences(run) if one.effect == m.VOID)


def abort(run: Run, why: str, now: datetime) -> Run:
    """Give a test up.

    Parameters
    ----------
    run : Run
        The test.
    why : str
        Why.
    now : datetime
        When, with a time zone.

    Returns
    -------
    Run
        Aborted: nothing more can be entered.

    Raises
    ------
    SpotError
        Where it was aborted already, or no reason is given.
    """
    _aware(now)
    if run.state != OPEN:
        raise SpotError("the test was aborted already.")
    if not why.strip():
        raise SpotError("why is the test aborted? Give a reason.")
    return evolve(run, state=ABORTED, why=why.strip(), ended=now)


def finish(run: Run, now: datetime) -> Outcome:
    """Say how a test ended.

    Parameters
    ----------
    run : Run
        Complete, void or aborted.
    now : datetime
        When, with a time zone.

    Returns
    -------
    Outcome
        A void or aborted test says nothing of the air.

    Raises
    ------
    SpotError
        Where something is still to be entered and the test is neither void nor aborted.
    """
    _aware(now)
    told = consequences(run)
    doubts = tuple(one for one in told if one.effect == m.DOUBT)
    remarks = (*(one.text for one in told if one.effect == m.WARN), *run.notes)
    second = next(
        (
            entry.ref
            for _, ask in run.procedure.asks()
            if ask.kind == m.PERSON and (entry := run.in_force(ask.name)) and applies(run, ask)
        ),
        "",
    )
    shared = Outcome(state=DONE, remarks=remarks, second_person_id=second or None, used=_used(run))
    if run.state == ABORTED:
        return evolve(shared, state=ABORTED, why=run.why)
    void = void_reasons(run)
    if void:
        return evolve(shared, state=VOIDED, why=" ".join(dict.fromkeys(void)))
    here = current(run)
    if here is not None:
        raise SpotError(
            f"{here[1].name!r} is still to be entered (step {here[0].title!r}). {wanted(run, here[1])}"
        )
    readings: list[ReadingSaid] = []
    more: list[str] = []
    for _, ask in run.procedure.asks():
        if applies(run, ask):
            reading, said = _reading(run, ask)
            readings += [] if reading is None else [reading]
            more += said
    return evolve(shared, readings=tuple(readings), doubts=doubts, remarks=(*remarks, *more))


def _used(run: Run) -> tuple[str, ...]:
    used = []
    for _, ask in run.procedure.asks():
        if ask.kind != m.LOT or not applies(run, ask):
            continue
        entry = run.in_force(ask.name)
        opened = any(one.name == (ask.used_from or ask.name) for one in run.entries)
        if entry is not None and entry.ref and opened:
            used.append(entry.ref)
    return tuple(used)


def _reading(run: Run, ask: Ask) -> tuple[ReadingSaid | None, list[str]]:
    given = run.given(ask.name)
    time = run.read_at(ask.name)
    if not given or time is None:
        return None, []
    text, remarks = "", []
    if ask.kind == m.NUMBER and ask.analyte:
        text = f"{ask.analyte}={given}"
    elif ask.kind == m.CHOOSE:
        text = next((one.reading for one in ask.choices if one.word == given), "")
    elif ask.kind == m.ROWS:
        kind = indicator_of(run, ask)
        text = rows.rows_reading(kind, rows.read_rows(kind, given))
    elif ask.kind == m.TUBE:
        found = read_tube(run, ask, given)
        text, remarks = found.text, [f"{found.text}: {one}" for one in found.remarks]
    if not text:
        return None, []
    instrument = run.in_force(ask.instrument) if ask.instrument else None
    lot = run.in_force(ask.lot) if ask.lot else None
    return (
        ReadingSaid(
            text=text,
            time=time,
            instrument_id=instrument.ref or None if instrument else None,
            lot_id=lot.ref or None if lot else None,
        ),
        remarks,
    )


def _aware(now: datetime) -> None:
    if now.utcoffset() is None:
        raise SpotError(f"the time {now} has no time zone. Give it in UTC.")
